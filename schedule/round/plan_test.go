package round

import (
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"
)

// town is a random problem of places on a plane, with people, jobs and marks.
func town(r *rand.Rand, sites, people, jobs, days int) Problem {
	p := Problem{From: 20000, Until: 20000 + days}
	x, y := make([]float64, sites+people), make([]float64, sites+people)
	for i := range x {
		x[i], y[i] = 100*r.Float64(), 100*r.Float64()
	}
	for i := range x {
		var row []float64
		for j := range x {
			row = append(row, math.Hypot(x[i]-x[j], y[i]-y[j]))
		}
		p.Travel = append(p.Travel, row)
	}
	for range sites {
		s := Site{Climb: 5 * r.IntN(7)}
		if r.IntN(3) == 0 {
			s.Notice = r.IntN(10)
		}
		if r.IntN(3) == 0 {
			shut := r.IntN(7)
			for d := range days {
				h := Hours{9 * 60, 16 * 60}
				if d%7 == shut {
					h = Hours{}
				}
				s.Open = append(s.Open, h)
			}
		}
		p.Sites = append(p.Sites, s)
	}
	for q := range people {
		p.People = append(p.People, Person{Home: sites + q, Goes: someWeek(r, days)})
	}
	for range jobs {
		p.Jobs = append(p.Jobs, chore(r, p, sites, people, days))
	}
	return p
}

// someWeek is out on four days of the week.
func someWeek(r *rand.Rand, days int) (goes []Hours) {
	week := r.IntN(100)
	for d := range days {
		h := Hours{8 * 60, 17 * 60}
		if (d+week)%7 > 3 {
			h = Hours{}
		}
		goes = append(goes, h)
	}
	return goes
}

func chore(r *rand.Rand, p Problem, sites, people, days int) Job {
	j := Job{Site: r.IntN(sites), First: p.From - 20 + r.IntN(days+20), Minutes: 5 + r.IntN(60)}
	j.Last = j.First + r.IntN(40)
	j.By = append(j.By, j.Site%people)
	if r.IntN(3) == 0 {
		j.By = append(j.By, r.IntN(people))
	}
	switch r.IntN(40) {
	case 0:
		j.By = nil
	case 1:
		j.Minutes = 200 + r.IntN(400)
	}
	switch r.IntN(4) {
	case 0:
		j.Every, j.Lead, j.Grace = 30+r.IntN(60), r.IntN(10), r.IntN(10)
	case 1:
		j.Every, j.Lead, j.Grace = 182+r.IntN(183), r.IntN(40), r.IntN(40)
	}
	if r.IntN(8) == 0 {
		j.Two = true
		for q := range people {
			if r.IntN(2) == 0 {
				j.With = append(j.With, q)
			}
		}
	}
	return j
}

// marks sets and bars visits by hand.
func marks(r *rand.Rand, p *Problem) {
	any := func(n int) int { return r.IntN(n+1) - 1 }
	days := p.Until - p.From
	for range r.IntN(6) {
		p.Fixed = append(p.Fixed, Fixed{r.IntN(len(p.Sites)), r.IntN(len(p.People)), p.From + r.IntN(days)})
	}
	for range r.IntN(20) {
		p.Barred = append(p.Barred, Barred{any(len(p.Sites)), any(len(p.People)), p.From + r.IntN(days)})
	}
	for _, f := range p.Fixed {
		for i := range p.Barred {
			if p.Barred[i].Day == f.Day {
				p.Barred[i].Day = p.From - 1
			}
		}
	}
}

func TestPlanKeepsEveryRule(t *testing.T) {
	for seed := range uint64(400) {
		t.Run(fmt.Sprint("seed ", seed), func(t *testing.T) {
			r := rand.New(rand.NewPCG(seed, 1))
			p := town(r, 1+r.IntN(12), 1+r.IntN(4), 1+r.IntN(40), 30+r.IntN(120))
			marks(r, &p)
			if r.IntN(5) == 0 {
				for i := range p.Travel {
					p.Travel[i][r.IntN(len(p.Travel))] = math.Inf(1)
				}
			}
			got := Plan(p)
			for _, w := range check(p, got) {
				t.Error(w)
			}
			if again := Plan(p); !reflect.DeepEqual(got, again) {
				t.Error("the same problem has two plans")
			}
		})
	}
}

// overload is a town where one person has far more to do than there are days, all
// of it again and again.
func overload(r *rand.Rand, sites, jobs, days int) Problem {
	p := town(r, sites, 1, jobs, days)
	for i := range p.Jobs {
		j := &p.Jobs[i]
		j.By, j.Two, j.With = []int{0}, false, nil
		if j.Every == 0 {
			j.Every, j.Lead, j.Grace = 60+r.IntN(200), r.IntN(30), r.IntN(30)
		}
	}
	return p
}

// A plan of far too much work keeps every rule too: what is not done is said, and a
// day goes to no waste that could hold it.
func TestPlanOfTooMuch(t *testing.T) {
	for seed := range uint64(3) {
		p := overload(rand.New(rand.NewPCG(seed, 3)), 60, 2500, 200)
		got := Plan(p)
		for _, w := range check(p, got) {
			t.Errorf("seed %d: %s", seed, w)
		}
		out := 0
		for _, h := range p.People[0].Goes {
			if h.open() {
				out++
			}
		}
		if len(got.Unmet) < 1000 || len(got.Days) < out { // else it is not too much, or days are left
			t.Errorf("seed %d: %d unmet, out on %d of %d days", seed, len(got.Unmet), len(got.Days), out)
		}
	}
}

func BenchmarkPlan(b *testing.B) {
	towns := map[string]Problem{}
	for _, jobs := range []int{300, 600, 1200} {
		towns[fmt.Sprint(jobs, " jobs")] = town(rand.New(rand.NewPCG(1, 1)), 300, 4, jobs, 365)
	}
	for _, jobs := range []int{1200, 4000} {
		towns[fmt.Sprint(jobs, " jobs, too much for one")] = overload(rand.New(rand.NewPCG(1, 5)), 300, jobs, 365)
	}
	for _, name := range slices.Sorted(maps.Keys(towns)) {
		b.Run(name, func(b *testing.B) {
			p := towns[name]
			var got Result
			for b.Loop() {
				got = Plan(p)
			}
			n := 0
			for _, d := range got.Days {
				n += len(d.Stops)
			}
			b.ReportMetric(float64(len(got.Days)), "days")
			b.ReportMetric(float64(n), "stops")
			b.ReportMetric(float64(len(got.Unmet)), "unmet")
		})
	}
}

// Each day of a plan is in the best of all its orders, as Plan says: all are gone
// through, of days of up to seven stops, for there are too many of more.
func TestPlannedDaysAreTheShortest(t *testing.T) {
	days := 0
	for seed := range uint64(60) {
		r := rand.New(rand.NewPCG(seed, 12))
		p := town(r, 20+r.IntN(20), 1+r.IntN(3), 30+r.IntN(60), 60)
		w := newWays(p.Travel, len(p.Sites))
		for _, d := range Plan(p).Days {
			if len(d.Stops) > 7 {
				continue
			}
			days++
			sum, least := wayAndLeast(p, w, d)
			if sum != least {
				t.Errorf("seed %d, day %d: %d on the way, best %d", seed, d.Day, sum, least)
			}
		}
	}
	if days < 500 {
		t.Errorf("%d days", days)
	}
}

// wayAndLeast are the minutes on the way of a day as it is planned and at the least.
func wayAndLeast(p Problem, w ways, d Day) (sum, least int) {
	q, day := p.People[d.Person], d.Day-p.From
	var calls []call
	var places []int
	for i, s := range d.Stops {
		c := call{i, -far, far, s.Leave - s.Arrive}
		if o := p.Sites[s.Site].Open; o != nil {
			c.open, c.shut = o[day].From, o[day].To
		}
		calls, places = append(calls, c), append(places, s.Site)
	}
	places = append(places, q.Home)
	n := len(places)
	sub := ways{n: n, min: make([]int, n*n)}
	for i, a := range places {
		sum += w.leg(places[(i+n-1)%n], a)
		for k, b := range places {
			sub.min[i*n+k] = w.leg(a, b)
		}
	}
	return sum, leastOfAll(sub, q.Goes[day], calls)
}
