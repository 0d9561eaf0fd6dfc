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
		if strings.Contains(x.Reason, " instead of every 400 days, since the centre arbor, front bush had gone ") != (tt.share > 0) && tt.name != "no wear at all" {
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

// What was found to act on stands until it is mended, and is looked at again in
// thirty days; another look that says "sound" and no more takes nothing back.
func TestActStandsUntilMended(t *testing.T) {
	bad := did(Inspected, "2026-03-01", found(Act))
	with := func(p ...Policy) Clock { c := pump(); c.Policies = p; return c }
	year := Policy{Task: Inspection, Days: 365, Source: "x"}
	on := func(code string) change { return onBearing(code) }
	look := func(kind EntryKind, day string, changes ...change) Entry { return did(kind, day, changes...) }
	for _, tt := range []struct {
		name    string
		c       Clock
		log     []Entry
		due     string // of the inspection; empty: no such task
		mending string // days from which each mending stands
	}{
		{"by policy", with(year), []Entry{bad}, "2026-03-31", "2026-03-01"},
		{"with no policy", with(), []Entry{bad}, "2026-03-31", "2026-03-01"},
		{"watch", with(year), []Entry{look(Inspected, "2026-03-01", found(Watch))}, "2027-03-01", ""},
		{"sound, no policy", with(), []Entry{look(Inspected, "2026-03-01", found(Sound))}, "", ""},
		{"a line to act on, no policy", with(), []Entry{look(Inspected, "2026-03-01", found(Act), ofLine("going-line", LineCheck{}))}, "", ""},
		{"one part repaired", with(year), []Entry{bad, look(Repaired, "2026-03-05", left(0.1))}, "2026-03-31", "2026-03-01"},
		{"cleaned", with(year), []Entry{bad, look(Cleaned, "2026-03-05")}, "2027-03-01", ""},
		{"repaired before", with(year), []Entry{bad, look(Repaired, "2026-02-25", left(0.1))}, "2026-03-31", "2026-03-01"},
		{"oiled", with(year), []Entry{bad, look(Oiled, "2026-03-05")}, "2026-03-31", "2026-03-01"},
		{"regulated", with(year), []Entry{bad, look(Regulated, "2026-03-05", note("half a turn up"))}, "2026-03-31", "2026-03-01"},
		{"still bad", with(year), []Entry{bad, look(Inspected, "2026-03-28", found(Act))}, "2026-04-27", "2026-03-01"},
		{"looked at, and not said how", with(year), []Entry{bad, look(Inspected, "2026-03-28")}, "2026-04-27", "2026-03-01"},
		{"said to be sound and no more", with(year), []Entry{bad, look(Inspected, "2026-03-28", found(Sound), doneBy("ann"))}, "2026-04-27", "2026-03-01"},
		{"sound, and why, by the keeper", with(year), []Entry{bad, look(Inspected, "2026-03-28", found(Sound), doneBy("ann"), note("the crutch was pinned anew"))}, "2027-03-28", ""},
		{"less, and why, by the conservator", with(year), []Entry{bad, look(Inspected, "2026-03-28", found(Watch), doneBy("cleo"), note("an old crack, it has not grown"))}, "2027-03-28", ""},
		{"sound, and why, by the winder", with(year), []Entry{bad, look(Inspected, "2026-03-28", found(Sound), doneBy("ben"), note("looks fine to me"))}, "2026-04-27", "2026-03-01"},
		{"sound, and why, of another thing", with(year), []Entry{bad, look(Inspected, "2026-03-28", found(Sound), doneBy("ann"), of("strike"), note("the strike is well"))}, "2026-03-31", "2026-03-01"},
		{"a shorter policy", with(Policy{Task: Inspection, Days: 14, Source: "x"}), []Entry{bad}, "2026-03-15", "2026-03-01"},
		{"on a train that it was not about", with(Policy{Task: Inspection, Train: "strike", Days: 365, Source: "x"}), []Entry{look(Inspected, "2026-03-01", found(Act), of("going"))}, "2020-12-31", "2026-03-01"},
		{"of a train, its bearing repaired", with(), []Entry{look(Inspected, "2026-03-01", found(Act), of("going")), look(Repaired, "2026-03-05", left(0.1))}, "2026-03-31", "2026-03-01"},
		{"of a train, which is cleaned", with(), []Entry{look(Inspected, "2026-03-01", found(Act), of("going")), look(Cleaned, "2026-03-05", of("going"))}, "", ""},
		{"of a train, one bearing of it cleaned", with(), []Entry{look(Inspected, "2026-03-01", found(Act), of("going")), look(Cleaned, "2026-03-05", on("centre-front"))}, "2026-03-31", "2026-03-01"},
		{"of the clock, one train cleaned", with(), []Entry{bad, look(Cleaned, "2026-03-05", of("going"))}, "2026-03-31", "2026-03-01"},
		{"of a train, its line replaced", with(), []Entry{look(Inspected, "2026-03-01", found(Act), of("going")), look(Repaired, "2026-03-05", newLine("going-line"))}, "2026-03-31", "2026-03-01"},
		{"of a bearing, the clock cleaned", with(), []Entry{look(Inspected, "2026-03-01", found(Act), on("centre-front")), look(Cleaned, "2026-03-05")}, "", ""},
		{"of another train than that of the repair", with(), []Entry{look(Inspected, "2026-03-01", found(Act), of("strike")), look(Repaired, "2026-03-05", left(0.1))}, "2026-03-31", "2026-03-01"},
		{"of a bearing, which is repaired", with(), []Entry{look(Inspected, "2026-03-01", found(Act), on("centre-front")), look(Repaired, "2026-03-05", left(0.1))}, "", ""},
		{"two things, one of them mended", with(), []Entry{look(Inspected, "2026-03-01", found(Act), of("strike")), look(Inspected, "2026-03-03", found(Act), on("centre-front")), look(Repaired, "2026-03-05", left(0.1))}, "2026-03-31", "2026-03-01"},
		{"two things", with(), []Entry{look(Inspected, "2026-03-01", found(Act), of("strike")), look(Inspected, "2026-03-03", found(Act), of("going"))}, "2026-04-02", "2026-03-01 2026-03-03"},
	} {
		a := assess(tt.c, book(slices.Clone(tt.log)...), "2026-03-29")
		var got, work []string
		for _, x := range a.Tasks {
			switch x.Kind {
			case Inspection:
				checkTask(t, tt.name, x)
				got = append(got, x.Due.String())
				if again := strings.Contains(x.Reason, "found something to act on"); again != slices.Contains([]string{"2026-03-31", "2026-04-02", "2026-04-27"}, x.Due.String()) {
					t.Errorf("%s: %q", tt.name, x.Reason)
				}
			case Mending:
				checkTask(t, tt.name, x)
				work = append(work, x.Due.String())
				if x.Rank != ToAct || x.State != Due || x.Latest != x.Due.Add(30) || x.Heading() != "to act on" || !strings.Contains(x.Reason, "nothing is logged since that mends it; it is asked for until ") {
					t.Errorf("%s: %+v", tt.name, x)
				}
			}
		}
		slices.Sort(work)
		if strings.Join(got, " ") != tt.due || strings.Join(work, " ") != tt.mending {
			t.Errorf("%s: inspection due %v, want %q; mending since %v, want %q", tt.name, got, tt.due, work, tt.mending)
		}
		if len(a.Findings) != len(work) {
			t.Errorf("%s: %d findings and %d tasks", tt.name, len(a.Findings), len(work))
		}
	}
	if x := taskOf(t, assess(with(year), book(bad), "2026-03-10"), Inspection, ""); windowOf(x) != "2026-03-24 2026-03-31 2026-04-07" || x.Confidence != "firm: from what is logged on 1 Mar 2026" {
		t.Errorf("%s, %q", windowOf(x), x.Confidence)
	}
}

// A finding is told in one sentence, which names the thing, the day and what was
// written of it; a note of any length and on many lines stays one sentence.
func TestFindingWords(t *testing.T) {
	c := pump()
	for _, tt := range []struct {
		name string
		log  []Entry
		want string
	}{
		{"the clock", []Entry{did(Inspected, "2026-03-01", found(Act))},
			"The inspection of 1 Mar 2026 found something to act on, and nothing is logged since that mends it."},
		{"a train, with a note", []Entry{did(Inspected, "2026-03-01", found(Act), of("strike"), note("the fly\narbor is cracked"))},
			"The inspection of 1 Mar 2026 found the strike train to act on (“the fly arbor is cracked”), and nothing is logged since that mends it."},
		{"found twice", []Entry{did(Inspected, "2026-03-01", found(Act), note("crack")), did(Inspected, "2026-03-20", found(Act))},
			"The inspection of 20 Mar 2026 found something to act on, first found on 1 Mar 2026 (“crack”), and nothing is logged since that mends it."},
		{"two things of the clock", []Entry{did(Inspected, "2026-03-01", found(Act), note("the crutch is loose")), did(Inspected, "2026-03-20", found(Act), note("the line frays")), did(Inspected, "2026-03-22", found(Act), note("the line frays"))},
			"Inspections found something to act on, on 1 Mar 2026 (“the crutch is loose”); on 20 Mar 2026 and last on 22 Mar 2026 (“the line frays”), and nothing is logged since that mends it."},
		{"first without a word", []Entry{did(Inspected, "2026-03-01", found(Act)), did(Inspected, "2026-03-20", found(Act), note("crack"))},
			"The inspection of 20 Mar 2026 found something to act on, first found on 1 Mar 2026 (“crack”), and nothing is logged since that mends it."},
		{"five things", []Entry{did(Inspected, "2026-03-01", found(Act), note("a")), did(Inspected, "2026-03-02", found(Act), note("b")), did(Inspected, "2026-03-03", found(Act), note("c")), did(Inspected, "2026-03-04", found(Act), note("d")), did(Inspected, "2026-03-05", found(Act), note("e"))},
			"Inspections found something to act on, on 2 Mar 2026 (“b”); on 3 Mar 2026 (“c”); on 4 Mar 2026 (“d”); on 5 Mar 2026 (“e”); 1 other thing before, and nothing is logged since that mends it."},
		{"a long note", []Entry{did(Inspected, "2026-03-01", found(Act), note(strings.Repeat("é", 121)))},
			"The inspection of 1 Mar 2026 found something to act on (“" + strings.Repeat("é", 120) + " …”), and nothing is logged since that mends it."},
	} {
		a := assess(c, book(tt.log...), "2026-03-29")
		if len(a.Findings) != 1 || a.Findings[0].Words() != tt.want {
			t.Errorf("%s: %+v, want %q", tt.name, a.Findings, tt.want)
		}
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
