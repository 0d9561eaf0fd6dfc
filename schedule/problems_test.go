package schedule

import (
	"math"
	"strings"
	"testing"
	"time"

	"endshake/wear"
)

// A log that does not fit together is reported, by train, and the rest is
// assessed all the same: no figure and no date rests on what is not known.
func TestProblemsOfATrain(t *testing.T) {
	c := pump()
	c.Policies = []Policy{
		weeklyWind, {Task: Oiling, Train: "going", RunHours: 2400, Source: "x"}, {Task: Oiling, Days: 90, Source: "x"}, {Task: Measuring, Days: 365, Source: "x"},
	}
	log := book(
		did(Wound, "2026-03-02 09:00"), did(Oiled, "2026-03-01"),
		did(Measured, "2021-01-01", gave(0.12)), did(Measured, "2022-01-01", gave(0.14)), did(Measured, "2023-01-01", gave(0.16)),
		did(Measured, "2023-01-01", func(e *Entry) {
			e.Bearing, e.Reading = "second-back", &wear.Reading{Shake: wear.EndShake, Value: mm(0.4)}
		}),
		did(Stopped, "2026-03-04", by(Fault), of("going")), did(Stopped, "2026-03-05", by(Fault), of("going")),
	)
	a := assess(c, log, "2026-03-08 12:00")
	want := "going train: run-hours: stopped at 2026-03-05 00:00 UTC, but the log has it stopped already: log the start before it, or correct one of the two stops."
	if len(a.Problems) != 1 || a.Problems[0] != want || a.Status != "Its log does not fit together: "+want {
		t.Fatalf("%q, %q; want %q", a.Problems, a.Status, want)
	}
	o := outlookOf(t, a, "centre-front")
	if o.Known || o.Dated || o.Over || !o.Early.IsZero() || o.Condition != "" || o.Measure != d("2024-01-01") ||
		!strings.HasPrefix(o.Sentence, "What is logged does not fit together, so there is no forecast; measure by ") || !strings.HasPrefix(o.Confidence, "weak: ") {
		t.Errorf("bush of the train that does not fit: %+v", o.Sentence)
	}
	if r := o.Wear.RateQuantile(.5); !(r > 0) || math.IsInf(r, 0) || len(o.Parts[0].Readings) != 3 {
		t.Errorf("rate %v, %d readings to draw; wanted the prior's rate and all readings", r, len(o.Parts[0].Readings))
	}
	if o := outlookOf(t, a, "second-back"); !o.Known {
		t.Error("the strike train, which fits, has lost its reading")
	}
	if got := taskOf(t, a, Winding, "going"); windowOf(got) != "2026-03-07 2026-03-09 2026-03-09" || !strings.HasPrefix(got.Confidence, "weak: ") {
		t.Errorf("winding %s, %q", windowOf(got), got.Confidence)
	}
	if got := taskOf(t, a, Oiling, "").Due; got != d("2026-05-30") {
		t.Errorf("oiling by calendar due %v", got)
	}
	// 2,400 hours as if it had gone all the time: a hundred days, today and later.
	for _, now := range []string{"2026-03-08", "2026-04-20", "2027-01-01"} {
		if got := taskOf(t, assess(c, log, now), Oiling, "going").Due; got != d("2026-06-09") {
			t.Errorf("%s: oiling by hours due %v, want 2026-06-09", now, got)
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
