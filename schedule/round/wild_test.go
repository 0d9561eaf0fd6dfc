package round

import (
	"math"
	"math/rand/v2"
	"testing"
)

// TestWildProblems holds that nothing that a caller can hand in breaks the plan,
// and that each day of it can be read.
func TestWildProblems(t *testing.T) {
	for seed := range uint64(3000) {
		r := rand.New(rand.NewPCG(seed, 9))
		p := wild(r)
		got := Plan(p)
		for _, d := range got.Days {
			if d.Person < 0 || d.Person >= len(p.People) || len(d.Stops) == 0 || math.IsNaN(d.Travel) || math.IsInf(d.Travel, 0) {
				t.Fatalf("seed %d: %+v", seed, d)
			}
			for _, s := range d.Stops {
				if s.Site < 0 || s.Site >= len(p.Sites) || s.Second >= len(p.People) || s.Leave < s.Arrive || s.Binding >= len(s.Work) {
					t.Fatalf("seed %d: %+v", seed, s)
				}
			}
		}
		for _, u := range got.Unmet {
			if u.Why < NobodyMay || u.Why > Full {
				t.Fatalf("seed %d: %+v", seed, u)
			}
		}
	}
}

// odd is a number that is sometimes usual and sometimes not.
func odd(r *rand.Rand, usual int) int {
	switch r.IntN(12) {
	case 0:
		return math.MaxInt
	case 1:
		return math.MinInt
	case 2:
		return -r.IntN(usual + 1)
	case 3:
		return 0
	case 4:
		return 1 << 40
	}
	return r.IntN(usual + 1)
}

func oddHours(r *rand.Rand, days int) []Hours {
	if r.IntN(4) == 0 {
		return nil
	}
	h := make([]Hours, r.IntN(days+3))
	for i := range h {
		h[i] = Hours{odd(r, 600), odd(r, 1440)}
		if r.IntN(2) == 0 {
			h[i] = Hours{480, 1020}
		}
	}
	return h
}

func oddPeople(r *rand.Rand) []int {
	var by []int
	for range r.IntN(4) {
		by = append(by, odd(r, 3))
	}
	return by
}

func wild(r *rand.Rand) Problem {
	days := r.IntN(40)
	p := Problem{From: odd(r, 20000)}
	p.Until = p.From + days
	if r.IntN(10) == 0 {
		p.Until = odd(r, 20000)
	}
	places := r.IntN(8)
	for range places {
		row := make([]float64, r.IntN(places+2))
		for i := range row {
			row[i] = []float64{100 * r.Float64(), math.Inf(1), math.NaN(), -5, 1e300, math.Inf(-1), 10, 20, 30}[r.IntN(9)]
		}
		p.Travel = append(p.Travel, row)
	}
	for range r.IntN(6) {
		p.Sites = append(p.Sites, Site{Open: oddHours(r, days), Climb: odd(r, 30), Notice: odd(r, 10)})
	}
	for range r.IntN(4) {
		p.People = append(p.People, Person{Home: odd(r, places), Goes: oddHours(r, days)})
	}
	for range r.IntN(10) {
		first := p.From + r.IntN(40) - 10
		if r.IntN(5) == 0 {
			first = odd(r, 30000)
		}
		p.Jobs = append(p.Jobs, Job{
			Site: odd(r, 6), First: first, Last: first + odd(r, 20), Minutes: odd(r, 60), By: oddPeople(r), Two: r.IntN(3) == 0, With: oddPeople(r),
			Every: odd(r, 20), Lead: odd(r, 10), Grace: odd(r, 10),
		})
	}
	for range r.IntN(5) {
		p.Fixed = append(p.Fixed, Fixed{odd(r, 6), odd(r, 3), p.From + odd(r, 40)})
		p.Barred = append(p.Barred, Barred{odd(r, 6), odd(r, 3), p.From + odd(r, 40)})
	}
	return p
}

func TestNothingToPlan(t *testing.T) {
	site := []Site{{}}
	job := []Job{{First: 0, Last: 5, Minutes: 10, By: []int{0}}}
	for name, p := range map[string]Problem{
		"nothing":            {},
		"no day":             {From: 5, Until: 5, Sites: site, Jobs: job},
		"no site":            {Until: 10, People: []Person{{Goes: make([]Hours, 10)}}},
		"the last day first": {From: 10, Until: 0},
	} {
		if got := Plan(p); len(got.Days) > 0 || len(got.Unmet) > 0 {
			t.Errorf("%s: %+v", name, got)
		}
	}
	got := Plan(Problem{Until: 10, Sites: site, Jobs: job})
	if len(got.Days) != 0 || len(got.Unmet) != 1 || got.Unmet[0].Why != NobodyMay || got.Unmet[0].Day != -1 {
		t.Errorf("no person: %+v", got)
	}
}
