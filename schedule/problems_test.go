package schedule

import (
	"math"
	"strings"
	"testing"
	"time"

	"endshake/wear"
)

// What does not fit the rest of a log is reported, by train, and left out; all
// else counts.
func TestProblemsOfATrain(t *testing.T) {
	c := pump()
	c.Policies = []Policy{
		weeklyWind, {Task: Oiling, Train: "going", RunHours: 2400, Source: "x"}, {Task: Measuring, Days: 365, Source: "x"},
	}
	fits := book(
		did(Wound, "2026-03-02 09:00"), did(Oiled, "2026-03-01"),
		did(Measured, "2021-01-01", gave(0.12)), did(Measured, "2022-01-01", gave(0.14)), did(Measured, "2023-01-01", gave(0.16)),
		did(Stopped, "2026-03-04", by(Fault), since("2026-03-04"), of("going")),
	)
	twice := append(fits, book(did(Stopped, "2026-03-05", by(Fault), of("going"), called("twice")))...)
	a, b := assess(c, twice, "2026-03-08 12:00"), assess(c, fits, "2026-03-08 12:00")
	want := "going train: stopped at 2026-03-05 00:00 UTC, but the log has it stopped already: log the start before it, or correct one of the two stops. Until then it counts for nothing in its run-hours."
	if len(a.Problems) != 1 || a.Problems[0] != want || a.Status != "Its log does not fit together: "+want || len(a.Flags) != 0 {
		t.Fatalf("%q, %q, %q; want %q", a.Problems, a.Flags, a.Status, want)
	}
	if len(b.Problems) != 0 || a.Trains[0].RunHours != b.Trains[0].RunHours || a.Trains[0].Wind.Stops != b.Trains[0].Wind.Stops {
		t.Errorf("%q: run-hours %+v, wind %+v; without what does not fit %+v, %+v", b.Problems, a.Trains[0].RunHours, a.Trains[0].Wind, b.Trains[0].RunHours, b.Trains[0].Wind)
	}
	if x, y := outlookOf(t, a, "centre-front"), outlookOf(t, b, "centre-front"); !x.Known || x.Sentence != y.Sentence || x.Early != y.Early {
		t.Errorf("%q, and without what does not fit %q", x.Sentence, y.Sentence)
	}
	if x, y := taskOf(t, a, Oiling, "going"), taskOf(t, b, Oiling, "going"); windowOf(x) != windowOf(y) {
		t.Errorf("oiling %s, and without what does not fit %s", windowOf(x), windowOf(y))
	}
}

// Old entries that contradict one another, or what was logged since, are
// imported and flagged, and what was logged since holds.
func TestOldBookIsFlagged(t *testing.T) {
	old := func(e *Entry) { e.Old = true }
	for _, tt := range []struct {
		name  string
		log   []Entry
		days  float64 // likely, at 2026-02-01, of 31
		flags []string
	}{
		{"two stops of the old book", []Entry{did(Stopped, "2026-01-03", by(ByHand), old), did(Stopped, "2026-01-05", by(ByHand), old), did(Started, "2026-01-07", old)},
			2 + 25, []string{"stopped at 2026-01-05"}},
		{"an old stop that never ends gives way to a stop of today", []Entry{did(Stopped, "2026-01-03", by(ByHand), old), did(Stopped, "2026-01-21", by(ByHand))},
			20, []string{"stopped at 2026-01-03 00:00 UTC, in the old book, does not fit what was logged since"}},
		{"an old start between two of today", []Entry{did(Stopped, "2026-01-11", by(ByHand)), did(Started, "2026-01-12", old), did(Started, "2026-01-21")},
			10 + 11, []string{"started at 2026-01-12 00:00 UTC, in the old book"}},
		{"all that fits", []Entry{did(Stopped, "2026-01-11", by(ByHand), old), did(Started, "2026-01-12", old)}, 30, nil},
	} {
		c := alone()
		c.InCare = d("2026-01-01")
		a := assess(c, book(tt.log...), "2026-02-01")
		if got := a.Trains[0].RunHours.Likely / 24; got != tt.days || len(a.Problems) != 0 || len(a.Flags) != len(tt.flags) {
			t.Errorf("%s: %v days, problems %q, flags %q", tt.name, got, a.Problems, a.Flags)
			continue
		}
		for i, f := range tt.flags {
			if !strings.HasPrefix(a.Flags[i], "going train: "+f) || !strings.HasSuffix(a.Flags[i], "From the old book, it counts for nothing in its run-hours.") {
				t.Errorf("%s: %q", tt.name, a.Flags[i])
			}
		}
		for _, e := range tt.log { // and none is refused when it is logged
			if err := validateRunning(e, c, time.UTC, nil); e.Old && err != nil {
				t.Errorf("%s: %v", tt.name, err)
			}
		}
	}
}

// Readings that do not fit together: the description of the clock was changed,
// and the part is said to have been fitted after it was measured.
func TestProblemsOfABearing(t *testing.T) {
	c := alone()
	c.Trains[0].Arbors[0].Bearings[0].FittedAt = utc("2022-06-01")
	a := assess(c, book(read(2021, 0.12, 0.14, 0.16)...), "2024-01-08")
	if len(a.Problems) != 1 || !strings.HasPrefix(a.Problems[0], "bearing centre-front: wear filter: part 1: reading 1: ") || !a.Going {
		t.Fatalf("%q, going %v", a.Problems, a.Going)
	}
	o := outlookOf(t, a, "centre-front")
	if o.Known || o.Dated || o.Measure != d("2023-01-01").Add(usualMeasuring) {
		t.Errorf("known %v, dated %v, measure by %v", o.Known, o.Dated, o.Measure)
	}
	got := taskOf(t, a, Measuring, "centre-front")
	if got.Due != o.Measure || got.Confidence != "weak: what is logged does not fit together" {
		t.Errorf("%s, %q", windowOf(got), got.Confidence)
	}
}

// Facts that passed no validation make no panic and no nonsense.
func TestFactsThatWereNeverValidated(t *testing.T) {
	site := fleetOf("UTC").Sites[0]
	for name, f := range map[string]Facts{
		"policies for nothing": {Clock: Clock{InCare: d("2020-01-01"), Policies: []Policy{{Task: Oiling}, {Task: Winding}, {Task: "x"}, {Task: Inspection, Train: "gone", RunHours: 5}}}},
		"no strokes": {Site: site, Clock: Clock{InCare: d("2020-01-01"), Trains: []wear.Train{{Code: "s", Kind: wear.Strike, Drive: wear.Electric, Arbors: []wear.Arbor{
			{Bearings: []wear.Bearing{{Code: "b", Act: limitAt(1)}}}}}}},
			Entries: []Entry{{Kind: Measured, Bearing: "b", At: utc("2021-01-01"), Detail: Detail{Reading: &wear.Reading{Value: 400}}}, {Kind: Measured, Bearing: "b", At: utc("2022-01-01"), Detail: Detail{Reading: &wear.Reading{Value: 500}}}}},
		"unknown zone":       {Site: Site{Zone: "Nowhere"}, Clock: pump(), Entries: read(2021, 0.1, 0.2)},
		"reading of nothing": {Site: site, Clock: pump(), Entries: []Entry{did(Measured, "2021-01-01", onBearing("centre-front"))}},
		"unknown things":     {Site: site, Clock: pump(), Entries: []Entry{did("danced", "2021-01-01"), did(Wound, "2021-01-01", of("gone")), did(Repaired, "2021-01-02", onBearing("gone"))}},
	} {
		a := Assess(f, utc("2026-01-01"))
		for _, x := range a.Tasks {
			checkTask(t, name, x)
		}
		for _, o := range a.Outlooks {
			checkOutlook(t, name, o)
		}
		if a.Status == "" {
			t.Errorf("%s: no status", name)
		}
	}
}

// checkTask holds what is true of every task.
func checkTask(t *testing.T, where string, x Task) {
	t.Helper()
	if x.From.After(x.Due) || x.Due.After(x.Latest) {
		t.Errorf("%s: %s %q: window %s is out of order", where, x.Kind, x.Subject, windowOf(x))
	}
	if !known(TaskStates, x.State) || !known(TaskKinds, x.Kind) && x.Kind != "x" {
		t.Errorf("%s: %s %q is %q", where, x.Kind, x.Subject, x.State)
	}
	if !strings.HasSuffix(x.Caution, "Local rules and licensed people decide.") {
		t.Errorf("%s: the caution of %s ends %q", where, x.Kind, x.Caution)
	}
	seen := map[string]bool{}
	for _, p := range x.People {
		if p == "" || seen[p] {
			t.Errorf("%s: people of %s: %q", where, x.Kind, x.People)
		}
		seen[p] = true
	}
	for _, s := range []string{x.Reason, x.Confidence, x.What()} {
		checkWords(t, where, s)
	}
	switch x.Confidence[:4] {
	case "firm", "fair", "weak":
	default:
		t.Errorf("%s: confidence %q", where, x.Confidence)
	}
}

// checkOutlook holds what is true of every outlook.
func checkOutlook(t *testing.T, where string, o Outlook) {
	t.Helper()
	checkWords(t, where, o.Sentence)
	checkWords(t, where, o.Why)
	if o.Measure.IsZero() {
		t.Errorf("%s: %s is to be measured on no day", where, o.Bearing.Code)
	}
	switch {
	case o.Dated && (o.Early.IsZero() || o.Early.After(o.Likely) || o.Likely.After(o.Late)):
		t.Errorf("%s: %s dated %v, %v, %v", where, o.Bearing.Code, o.Early, o.Likely, o.Late)
	case !o.Dated && !o.Over && (!o.Early.IsZero() || !o.Likely.IsZero() || !o.Late.IsZero()):
		t.Errorf("%s: %s has dates that its readings cannot carry: %v, %v, %v", where, o.Bearing.Code, o.Early, o.Likely, o.Late)
	case o.Known && (math.IsNaN(o.Level.Mean) || math.IsNaN(o.Level.SD) || !(o.Used >= 0)):
		t.Errorf("%s: %s at %v, used %v", where, o.Bearing.Code, o.Level, o.Used)
	case o.Known != (o.Condition != ""):
		t.Errorf("%s: %s is known %v, condition %q", where, o.Bearing.Code, o.Known, o.Condition)
	}
	for _, r := range o.PerYear {
		if math.IsNaN(r) || r < 0 {
			t.Errorf("%s: %s wears %v", where, o.Bearing.Code, o.PerYear)
		}
	}
	checkDoubts(t, where, o)
	checkLimits(t, where, o)
	if w := o.Oil; w != nil && (math.Abs(w.Good+w.Aged+w.Dry-1) > 1e-9 || min(w.Good, w.Aged, w.Dry) < 0 || !(w.Late >= 0 && w.Late < 1)) {
		t.Errorf("%s: %s: oil %+v", where, o.Bearing.Code, *w)
	}
}

// checkDoubts holds what is said of readings and of the rate to one another.
func checkDoubts(t *testing.T, where string, o Outlook) {
	t.Helper()
	sum, last := 0.0, 0.0
	for i, p := range o.Parts {
		for _, r := range p.Readings {
			if !(r.Doubt >= 0 && r.Doubt <= 1) || !(r.SD > 0) {
				t.Errorf("%s: %s: %+v", where, o.Bearing.Code, r)
			}
			if i == len(o.Parts)-1 {
				sum, last = sum+r.Doubt, r.Doubt
			}
		}
	}
	switch {
	case sum > 1+1e-9:
		t.Errorf("%s: %s: the doubts of one part sum to %v", where, o.Bearing.Code, sum)
	case o.ReadAgain != (last >= 0.5):
		t.Errorf("%s: %s: read again %v, the last misread with probability %v", where, o.Bearing.Code, o.ReadAgain, last)
	case o.ReadAgain && (o.Condition == Sound || o.Condition == Act && !o.Over || !strings.Contains(o.Confidence, "re-measure before acting")):
		t.Errorf("%s: %s: read again, and yet %s, %q", where, o.Bearing.Code, o.Condition, o.Confidence)
	case !o.Changed.IsZero() && (o.Wear.PChange() <= 0.5 || o.Measure.Sub(o.seen) > afterChange):
		t.Errorf("%s: %s: changed after %v with probability %v, measured by %v", where, o.Bearing.Code, o.Changed, o.Wear.PChange(), o.Measure)
	}
}

// checkLimits holds the limits in order, and the binding one to be one of them.
func checkLimits(t *testing.T, where string, o Outlook) {
	t.Helper()
	for _, l := range []*wear.Limit{o.Watch, o.Act, o.Stop} {
		if l != nil && (l.Size <= 0 || l.Source == "" || o.Limit == nil || l != o.Watch && l.Size < o.Limit.Size || l == o.Watch && l.Size > o.Limit.Size) {
			t.Errorf("%s: %s: a limit %+v beside the binding %+v", where, o.Bearing.Code, l, o.Limit)
		}
	}
	if o.Limit != nil && o.Limit != o.Watch && o.Limit != o.Act && o.Limit != o.Stop {
		t.Errorf("%s: %s: the binding limit is none of the three", where, o.Bearing.Code)
	}
}

// checkWords refuses what no sentence may hold.
func checkWords(t *testing.T, where, s string) {
	t.Helper()
	if strings.TrimSpace(s) == "" {
		t.Errorf("%s: an empty sentence", where)
	}
	for _, bad := range []string{"NaN", "Inf", "%!", "0001", "no date", "()", "  ", "e+", " 1 hours", " 1 days", "<nil>"} {
		if strings.Contains(s, bad) {
			t.Errorf("%s: %q holds %q", where, s, bad)
		}
	}
}

func TestZoneOfFacts(t *testing.T) {
	a := Assess(Facts{Clock: pump(), Site: fleetOf("Pacific/Auckland").Sites[0]}, utc("2026-01-01 12:00"))
	if a.Zone.String() != "Pacific/Auckland" || a.dayOf(a.Now) != d("2026-01-02") {
		t.Errorf("zone %v, day %v", a.Zone, a.dayOf(a.Now))
	}
	if a := Assess(Facts{Clock: pump()}, utc("2026-01-01")); a.Zone != time.UTC {
		t.Errorf("no zone: %v", a.Zone)
	}
}
