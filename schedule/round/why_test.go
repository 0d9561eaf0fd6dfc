package round

import (
	"math"
	"slices"
	"testing"
)

// simple is a site ten minutes from two people who are out from 8 to 16 o'clock on
// ten days, with a job of an hour for the first of them from day 102 to 104.
func simple() Problem {
	goes := make([]Hours, 10)
	for i := range goes {
		goes[i] = Hours{8 * 60, 16 * 60}
	}
	return Problem{
		From: 100, Until: 110,
		Travel: [][]float64{{0, 10, 20, 30}, {10, 0, 20, 30}, {20, 20, 0, 30}, {30, 30, 30, 0}},
		Sites:  []Site{{Climb: 15}, {Climb: 5}},
		People: []Person{{Home: 2, Goes: slices.Clone(goes)}, {Home: 3, Goes: slices.Clone(goes)}},
		Jobs:   []Job{{First: 102, Last: 104, Minutes: 60, By: []int{0}}},
	}
}

// visitOf is on which day and by whom a job is done for the first time.
func visitOf(r Result, job int) (s Stop, person, day int) {
	for _, d := range r.Days {
		for _, s := range d.Stops {
			if slices.ContainsFunc(s.Work, func(w Work) bool { return w.Job == job }) {
				return s, d.Person, d.Day
			}
		}
	}
	return Stop{}, -1, -1
}

// shut makes some days of simple's have no hours.
func shut(h []Hours, days ...int) {
	for _, d := range days {
		h[d-100] = Hours{}
	}
}

// whyNot are changes of the simple problem, with what becomes of its job.
var whyNot = []struct {
	name   string
	change func(p *Problem)
	why    Why // 0: it is done in time
	person int
	day    int
}{
	{"as it is", func(p *Problem) {}, 0, 0, 104},
	{"nobody may", func(p *Problem) { p.Jobs[0].By = nil }, NobodyMay, -1, -1},
	{"not out", func(p *Problem) { shut(p.People[0].Goes, 102, 103, 104) }, NobodyGoes, 0, 105},
	{"not out on the last", func(p *Problem) { shut(p.People[0].Goes, 104) }, 0, 0, 103},
	{"never out", func(p *Problem) { p.People[0].Goes = nil }, NobodyGoes, -1, -1},
	{"the other goes", func(p *Problem) {
		shut(p.People[0].Goes, 102, 103, 104)
		p.Jobs[0].By = []int{0, 1}
	}, 0, 1, 104},
	{"the first goes", func(p *Problem) {
		shut(p.People[0].Goes, 104)
		p.Jobs[0].By = []int{0, 1}
	}, 0, 0, 103},
	{"shut", func(p *Problem) {
		p.Sites[0].Open = slices.Clone(p.People[0].Goes)
		shut(p.Sites[0].Open, 102, 103, 104, 105)
	}, Shut, 0, 106},
	{"open in the evening", func(p *Problem) {
		p.Sites[0].Open = make([]Hours, 10)
		for i := range p.Sites[0].Open {
			p.Sites[0].Open[i] = Hours{17 * 60, 20 * 60}
		}
	}, Shut, -1, -1},
	{"notice", func(p *Problem) { p.Sites[0].Notice = 7 }, TooSoon, 0, 107},
	{"no way", func(p *Problem) { p.Travel[2][0] = math.Inf(1) }, NoWay, -1, -1},
	{"no way back", func(p *Problem) { p.Travel[0][2] = math.Inf(1) }, NoWay, -1, -1},
	{"too far", func(p *Problem) { p.Travel[0][2] = 470 }, NoWay, -1, -1},
	{"too long", func(p *Problem) { p.Jobs[0].Minutes = 8*60 - 20 - 20 - 15 + 1 }, TooLong, -1, -1},
	{"just as long", func(p *Problem) { p.Jobs[0].Minutes = 8*60 - 20 - 20 - 15 }, 0, 0, 104},
	{"by hand", func(p *Problem) {
		p.Barred = []Barred{{0, 0, 102}, {-1, -1, 103}, {0, -1, 104}, {-1, 0, 105}, {1, 0, 106}, {0, 1, 106}}
	}, ByHand, 0, 106},
	{"no second", func(p *Problem) {
		p.Jobs[0].Two, p.Jobs[0].With = true, []int{1, 0}
		shut(p.People[1].Goes, 102, 103, 104, 105)
	}, NoSecond, 0, 106},
	{"a second earlier", func(p *Problem) {
		p.Jobs[0].Two, p.Jobs[0].With = true, []int{1}
		shut(p.People[1].Goes, 103, 104)
	}, 0, 0, 102},
	{"the second is out", func(p *Problem) {
		p.Jobs[0].Two, p.Jobs[0].With = true, []int{1}
		p.Fixed = []Fixed{{1, 1, 102}, {1, 1, 103}, {1, 1, 104}}
	}, NoSecond, 0, 105},
	{"somebody will be found", func(p *Problem) { p.Jobs[0].Two = true }, 0, 0, 104},
	{"full", func(p *Problem) {
		for d := 102; d <= 104; d++ {
			p.Jobs = append(p.Jobs, Job{Site: 1, First: d, Last: d, Minutes: 430, By: []int{0}})
		}
		p.Jobs[0].Minutes = 400
	}, Full, 0, 105},
	{"full, and another may", func(p *Problem) {
		for d := 102; d <= 104; d++ {
			p.Jobs = append(p.Jobs, Job{Site: 1, First: d, Last: d, Minutes: 430, By: []int{0}})
		}
		p.Jobs[0].Minutes, p.Jobs[0].By = 400, []int{0, 1}
	}, 0, 1, 104},
	{"over", func(p *Problem) { p.Jobs[0].First, p.Jobs[0].Last = 50, 60 }, 0, 0, 100},
	{"over, and notice", func(p *Problem) {
		p.Jobs[0].First, p.Jobs[0].Last, p.Sites[0].Notice = 50, 60, 3
	}, 0, 0, 103},
	{"over, never", func(p *Problem) {
		p.Jobs[0].First, p.Jobs[0].Last, p.Sites[0].Notice = 50, 60, 30
	}, TooSoon, -1, -1},
	{"kept by hand", func(p *Problem) { p.Fixed = []Fixed{{0, 0, 103}} }, 0, 0, 103},
	{"kept by hand for somebody else", func(p *Problem) { p.Fixed = []Fixed{{0, 1, 103}} }, 0, 0, 104},
	{"kept by hand where it is shut and nobody goes", func(p *Problem) {
		p.Sites[0].Open, p.People[0].Goes = []Hours{}, nil
		p.Travel[2][0] = math.Inf(1)
		p.Fixed = []Fixed{{0, 0, 103}}
	}, 0, 0, 103},
	{"kept by hand after the window", func(p *Problem) {
		shut(p.People[0].Goes, 102, 103, 104, 105, 106)
		p.Fixed = []Fixed{{0, 0, 106}}
	}, NobodyGoes, 0, 106},
	{"beyond the plan", func(p *Problem) { p.Jobs[0].Last = 110 }, 0, -1, -1},
}

func TestWhyNot(t *testing.T) {
	for _, c := range whyNot {
		t.Run(c.name, func(t *testing.T) {
			p := simple()
			c.change(&p)
			got := Plan(p)
			for _, w := range check(p, got) {
				t.Error(w)
			}
			_, person, day := visitOf(got, 0)
			if person != c.person || day != c.day {
				t.Errorf("done by %d on day %d, want %d on %d", person, day, c.person, c.day)
			}
			why := Why(0)
			for _, u := range got.Unmet {
				if u.Job == 0 {
					if why = u.Why; u.Day != c.day {
						t.Errorf("unmet until day %d, want %d", u.Day, c.day)
					}
				}
			}
			if why != c.why {
				t.Errorf("why %d, want %d: %+v", why, c.why, got.Unmet)
			}
		})
	}
}

// TestTimesOfADay holds the times of a round that waits for a site to open.
func TestTimesOfADay(t *testing.T) {
	p := simple()
	p.Sites[0].Open = make([]Hours, 10)
	p.Sites[0].Open[4] = Hours{10 * 60, 12 * 60}
	d := Plan(p).Days[0]
	s := d.Stops[0]
	if d.Leave != 9*60+40 || s.Arrive != 10*60 || s.Leave != 11*60+15 || d.Back != 11*60+35 || d.Travel != 40 {
		t.Errorf("%+v", d)
	}
	if s.First != 102 || s.Last != 104 || s.Binding != 0 || s.Second != -1 || s.Two || s.Fixed {
		t.Errorf("%+v", s)
	}
}

// TestTogether holds that what may be done is done when somebody is there, and
// that a second is only out with one round.
func TestTogether(t *testing.T) {
	p := simple()
	p.Jobs = append(p.Jobs,
		Job{First: 100, Last: 120, Minutes: 10, By: []int{0}},
		Job{Site: 1, First: 101, Last: 108, Minutes: 10, By: []int{0}, Two: true, With: []int{1}},
		Job{First: 105, Last: 109, Minutes: 10, By: []int{0}},
	)
	got := Plan(p)
	for _, w := range check(p, got) {
		t.Error(w)
	}
	if len(got.Days) != 2 || got.Days[0].Day != 104 || len(got.Days[0].Stops) != 2 {
		t.Errorf("%+v", got.Days)
	}
	if s, _, day := visitOf(got, 2); s.Second != 1 || !s.Two || day != 104 {
		t.Errorf("%+v on day %d", s, day)
	}
	if s, _, day := visitOf(got, 1); len(s.Work) != 2 || day != 104 {
		t.Errorf("%+v on day %d", s, day)
	}
}

// TestComesAgain holds the windows of a job that comes again to the days on which
// it was done.
func TestComesAgain(t *testing.T) {
	p := simple()
	j := &p.Jobs[0]
	j.First, j.Last, j.Every, j.Lead, j.Grace = 100, 101, 3, 1, 1
	got := Plan(p)
	var days []int
	for i, d := range got.Days {
		days = append(days, d.Day)
		if w := d.Stops[0].Work[0]; w.Again != i || i > 0 && (w.First != days[i-1]+2 || w.Last != days[i-1]+4) {
			t.Errorf("%+v after days %v", w, days)
		}
	}
	if !slices.Equal(days, []int{101, 105, 109}) {
		t.Errorf("done on %v", days)
	}
}

// TestOneSecondForARound holds that who comes along to one site of a round comes
// along to the next, and takes no other's day: by hand, jobs at two sites that need
// two in one window are one day with one second.
func TestOneSecondForARound(t *testing.T) {
	p := simple()
	p.Jobs = []Job{
		{Site: 0, First: 102, Last: 104, Minutes: 60, By: []int{0}, Two: true, With: []int{1}},
		{Site: 1, First: 102, Last: 104, Minutes: 60, By: []int{0}, Two: true, With: []int{2, 1}},
	}
	p.People = append(p.People, p.People[1])
	got := Plan(p)
	for _, w := range check(p, got) {
		t.Error(w)
	}
	if len(got.Days) != 1 || len(got.Days[0].Stops) != 2 || len(got.Unmet) > 0 {
		t.Fatalf("%+v", got)
	}
	p.Jobs[1].With = []int{1}
	got = Plan(p)
	if len(got.Days) != 1 || len(got.Days[0].Stops) != 2 || got.Days[0].Stops[0].Second != 1 || got.Days[0].Stops[1].Second != 1 {
		t.Errorf("%+v", got)
	}
}
