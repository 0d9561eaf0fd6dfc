package schedule

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"
)

func visiting(e *Entry) { e.Visit = true }

// The yearly visit is done by an inspection that was one, and such a visit is an
// inspection too. A visit and written report each year: the Church Buildings
// Council's note; monthly to a clock that winds itself: the Turret Clock
// Keeper's Handbook, p. 14.
func TestVisitAndInspection(t *testing.T) {
	c := alone()
	c.Policies = []Policy{{Task: Inspection, Days: 30, Source: "Keeper's Handbook p. 14"}, {Task: Visiting, Days: 365, Source: "Church Buildings Council"}}
	for _, tt := range []struct {
		name          string
		log           []Entry
		looked, visit string
	}{
		{"nothing", nil, "2020-01-31", "2020-12-31"},
		{"inspected", []Entry{did(Inspected, "2026-03-01")}, "2026-03-31", "2020-12-31"},
		{"visited", []Entry{did(Inspected, "2026-03-01", visiting)}, "2026-03-31", "2027-03-01"},
		{"visited, then inspected", []Entry{did(Inspected, "2026-03-01", visiting), did(Inspected, "2026-04-01")}, "2026-05-01", "2027-03-01"},
		{"a line looked at", []Entry{did(Inspected, "2026-03-01", ofLine("going-line", LineCheck{}))}, "2020-01-31", "2020-12-31"},
		{"visited, with a line", []Entry{did(Inspected, "2026-03-01", visiting, ofLine("going-line", LineCheck{}))}, "2026-03-31", "2027-03-01"},
		{"oiled", []Entry{did(Oiled, "2026-03-01")}, "2020-01-31", "2020-12-31"},
	} {
		a := assess(c, book(slices.Clone(tt.log)...), "2026-04-10")
		x, y := taskOf(t, a, Inspection, ""), taskOf(t, a, Visiting, "")
		if x.Due.String() != tt.looked || y.Due.String() != tt.visit {
			t.Errorf("%s: inspection %s, visit %s; want %s, %s", tt.name, x.Due, y.Due, tt.looked, tt.visit)
		}
		checkTask(t, tt.name, y)
		if !slices.Equal(y.People, []string{"cleo"}) || y.What() != "yearly visit" {
			t.Errorf("%s: %+v", tt.name, y)
		}
	}
}

// Sooner as a limit nears: the interval times what is left of the limit, by the
// last reading, and never under a quarter.
func TestInspectionNearALimit(t *testing.T) {
	policy := func(c Clock, p ...Policy) Clock { c.Policies = p; return c }
	year := Policy{Task: Inspection, Days: 400, Lead: 40, Grace: 80, Source: "x"}
	looked := did(Inspected, "2026-03-01")
	for _, tt := range []struct {
		name  string
		sizes []float64
		share float64 // of 0.25 mm between 0.10 and 0.35; -1: not known
	}{
		{"never measured", nil, -1},
		{"half used", []float64{0.18, 0.20, 0.225}, 0.5},
		{"a fifth used", []float64{0.12, 0.14, 0.15}, 0.2},
		{"nearly all used", []float64{0.20, 0.25, 0.33}, 0.92},
		{"past it", []float64{0.20, 0.30, 0.40}, 1.2},
		{"no wear at all", []float64{0.10, 0.10, 0.10}, 0},
	} {
		log := append(read(2023, tt.sizes...), looked)
		a := assess(policy(alone(), year), book(log...), "2026-03-10")
		x := taskOf(t, a, Inspection, "")
		want := 400.0
		if tt.share >= 0 {
			want = 400 * math.Max(0.25, 1-tt.share)
		}
		// The level is the filter's and not the last reading: within 0.01 mm.
		if got := float64(x.Due.Sub(d("2026-03-01"))); math.Abs(got-want) > 400*0.01/0.25+1 {
			t.Errorf("%s: after %.0f days, want %.0f", tt.name, got, want)
		}
		if strings.Contains(x.Reason, "cut from every 400 days, since the centre arbor, front bush had gone ") != (tt.share > 0) && tt.name != "no wear at all" {
			t.Errorf("%s: %q", tt.name, x.Reason)
		}
		if tt.share > 1 && windowOf(x) != "2026-05-30 2026-06-09 2026-06-29" { // a quarter of 400, 40 and 80 days
			t.Errorf("%s: %s", tt.name, windowOf(x))
		}
		// The date stands still while nothing new is known.
		for _, now := range []string{"2026-04-10", "2026-09-01", "2027-03-01"} {
			if y := taskOf(t, assess(policy(alone(), year), book(log...), now), Inspection, ""); windowOf(y) != windowOf(x) || y.Reason != x.Reason {
				t.Errorf("%s: on %s it is %s, was %s", tt.name, now, windowOf(y), windowOf(x))
			}
		}
	}
	// It is the subject's own bearings that count: the bush is on the going train.
	two := policy(pump(), Policy{Task: Inspection, Train: "going", Days: 400, Source: "x"}, Policy{Task: Inspection, Train: "strike", Days: 400, Source: "x"},
		Policy{Task: Inspection, Bearing: "centre-front", RunHours: 9600, Source: "x"})
	a := assess(two, book(append(read(2023, 0.20, 0.30, 0.40), looked)...), "2026-03-10")
	for subject, days := range map[string]int{"going": 100, "strike": 400, "centre-front": 100} {
		if got := taskOf(t, a, Inspection, subject).Due.Sub(d("2026-03-01")); got != days {
			t.Errorf("%s: after %d days, want %d", subject, got, days)
		}
	}
}

// What was found to act on is looked at again in thirty days, until something is
// repaired or another look finds it better.
func TestActIsLookedAtAgain(t *testing.T) {
	bad := did(Inspected, "2026-03-01", found(Act))
	with := func(p ...Policy) Clock { c := pump(); c.Policies = p; return c }
	year := Policy{Task: Inspection, Days: 365, Source: "x"}
	for _, tt := range []struct {
		name string
		c    Clock
		log  []Entry
		due  string // empty: no such task
	}{
		{"by policy", with(year), []Entry{bad}, "2026-03-31"},
		{"with no policy", with(), []Entry{bad}, "2026-03-31"},
		{"watch", with(year), []Entry{did(Inspected, "2026-03-01", found(Watch))}, "2027-03-01"},
		{"sound, no policy", with(), []Entry{did(Inspected, "2026-03-01", found(Sound))}, ""},
		{"a line to act on, no policy", with(), []Entry{did(Inspected, "2026-03-01", found(Act), ofLine("going-line", LineCheck{}))}, ""},
		{"repaired", with(year), []Entry{bad, did(Repaired, "2026-03-05", left(0.1))}, "2027-03-01"},
		{"repaired before", with(year), []Entry{bad, did(Repaired, "2026-02-25", left(0.1))}, "2026-03-31"},
		{"oiled", with(year), []Entry{bad, did(Oiled, "2026-03-05")}, "2026-03-31"},
		{"still bad", with(year), []Entry{bad, did(Inspected, "2026-03-28", found(Act))}, "2026-04-27"},
		{"looked at, and not said how", with(year), []Entry{bad, did(Inspected, "2026-03-28")}, "2026-04-27"},
		{"found better", with(year), []Entry{bad, did(Inspected, "2026-03-28", found(Watch))}, "2027-03-28"},
		{"a shorter policy", with(Policy{Task: Inspection, Days: 14, Source: "x"}), []Entry{bad}, "2026-03-15"},
		{"on a train that it was not about", with(Policy{Task: Inspection, Train: "strike", Days: 365, Source: "x"}), []Entry{did(Inspected, "2026-03-01", found(Act), of("going"))}, "2020-12-31"},
	} {
		a := assess(tt.c, book(slices.Clone(tt.log)...), "2026-03-29")
		var got []string
		for _, x := range a.Tasks {
			if x.Kind != Inspection {
				continue
			}
			checkTask(t, tt.name, x)
			got = append(got, x.Due.String())
			if again := strings.Contains(x.Reason, "something to act on"); again != (tt.due == "2026-03-31" || tt.due == "2026-04-27") {
				t.Errorf("%s: %q", tt.name, x.Reason)
			}
		}
		if want := tt.due; strings.Join(got, " ") != want {
			t.Errorf("%s: due %v, want %q", tt.name, got, want)
		}
	}
	if x := taskOf(t, assess(with(year), book(bad), "2026-03-10"), Inspection, ""); windowOf(x) != "2026-03-24 2026-03-31 2026-04-07" || x.Confidence != "firm: from what is logged on 1 Mar 2026" {
		t.Errorf("%s, %q", windowOf(x), x.Confidence)
	}
}

// For any made clock the cut interval lies between a quarter and all of it.
func TestCutIntervals(t *testing.T) {
	for seed := range uint64(30) {
		c, log := made(seed)
		p := Policy{Task: Inspection, Days: 1 + int(seed*37%900), RunHours: float64(seed * 700 % 9000), Source: "x"}
		for _, on := range []string{"", "going", "strike"} {
			p.Train = on
			a := Assess(Facts{Clock: c, Site: fleetOf("UTC").Sites[0], Entries: log}, utc("2026-03-01").Add(time.Duration(seed)*time.Hour))
			share, _ := a.usedShare(p)
			q := p.shortened(share)
			if q.Days > p.Days || float64(q.Days) < 0.25*float64(p.Days)-1 || q.RunHours > p.RunHours || q.RunHours < 0.25*p.RunHours {
				t.Errorf("seed %d, %q: %d days of %d, %v hours of %v", seed, on, q.Days, p.Days, q.RunHours, p.RunHours)
			}
		}
	}
}
