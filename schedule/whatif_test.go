package schedule

import (
	"encoding/json"
	"math"
	"reflect"
	"strings"
	"testing"

	"endshake/wear"
)

// washered is a clock with a thrust face that wears 0.10 mm a year towards 0.80
// mm and is at 0.70 mm, oiled once a year and in time.
func washered() Facts {
	c := dial()
	c.Trains[0].Meshes, c.Trains[0].Drive = nil, wear.Electric
	c.Policies = []Policy{{Task: Oiling, Days: 365, Source: "x"}}
	b := &c.Trains[0].Arbors[0].Bearings[0]
	b.Watch, b.Load = nil, 200
	log := axial(2021, 0.20, 0.30, 0.40, 0.50, 0.60, 0.70)
	for day := d("2020-06-01"); day.Year < 2026; day = day.Add(360) {
		log = append(log, did(Oiled, day.String()))
	}
	return Facts{Clock: c, Site: fleetOf("UTC", c).Sites[0], Entries: book(log...)}
}

const whatNow = "2026-01-02"

// life is the likely days until the limit, by the outlook's own dates.
func life(o Outlook) float64 { return float64(o.Likely.Sub(d(whatNow))) }

// A washer takes its thickness from the end-shake, the pocket faced off adds to
// it, and the life is what is left at the bearing's own rate of 0.10 mm a year.
func TestWhatIfAWasher(t *testing.T) {
	f := washered()
	kept, _ := json.Marshal(f.Entries)
	for _, tt := range []struct {
		name        string
		c           Change
		left        float64
		work        RepairWork
		years       float64
		within      float64 // share
		sameAsToday bool
	}{
		{"a washer of 0.50 mm", Change{Washer: mm(0.50)}, 0.20, NewWasher, 6, 0.15, false},
		{"a washer of 0.30 mm", Change{Washer: mm(0.30)}, 0.40, NewWasher, 4, 0.15, false},
		{"a washer of 0.80 mm and 0.30 mm off the pocket", Change{Washer: mm(0.80), FaceOff: mm(0.30)}, 0.20, NewWasher, 6, 0.15, false},
		{"0.05 mm off the pocket", Change{FaceOff: mm(0.05)}, 0.75, Refaced, 0.5, 0.5, false},
		{"whatever leaves 0.25 mm", Change{Fitted: mm(0.25)}, 0.25, OtherWork, 5.5, 0.15, false},
		{"twice as wide a face", Change{Washer: mm(0.50), Outer: mm(35), Inner: mm(13)}, 0.20, NewWasher, 12, 0.15, false},
		{"half as wide a face", Change{Washer: mm(0.50), Outer: mm(18.5), Inner: mm(13)}, 0.20, NewWasher, 3, 0.15, false},
	} {
		before, after, err := WhatIf(f, utc(whatNow), "centre-front", tt.c)
		if err != nil {
			t.Errorf("%s: %v", tt.name, err)
			continue
		}
		if math.Abs(after.Level.Mean-tt.left) > 0.015 || !after.Known || len(after.Parts) != 2 || after.Parts[1].Work != tt.work {
			t.Errorf("%s: leaves %.3f mm by %q, want %.2f by %q", tt.name, after.Level.Mean, after.Parts[len(after.Parts)-1].Work, tt.left, tt.work)
		}
		if got := life(after); !after.Dated || math.Abs(got/(tt.years*365.25)-1) > tt.within || !after.Early.Before(after.Likely) || !after.Likely.Before(after.Late) {
			t.Errorf("%s: dated %v, likely in %.2f years, want %.1f (%v, %v, %v)", tt.name, after.Dated, got/365.25, tt.years, after.Early, after.Likely, after.Late)
		}
		if !strings.Contains(after.Confidence, "work that is only thought of, at the rate shown so far") {
			t.Errorf("%s: %q", tt.name, after.Confidence)
		}
		today := outlookOf(t, byModel(f.Clock, f.Entries, Model{}, whatNow), "centre-front")
		if !reflect.DeepEqual(before, today) {
			t.Errorf("%s: before is not as it stands today", tt.name)
		}
	}
	if now, _ := json.Marshal(f.Entries); string(now) != string(kept) {
		t.Error("something was logged")
	}
}

// An earlier answer at hand changes nothing: what is thought of is no plain
// entry, and nothing of the record before it counts after it.
func TestWhatIfWithAnEarlierAnswer(t *testing.T) {
	for name, f := range map[string]Facts{
		"washer": washered(), "bush": {Clock: alone(), Site: fleetOf("UTC").Sites[0], Entries: book(read(2021, 0.12, 0.14, 0.17)...)},
	} {
		bearing := "centre-front"
		was := Assess(f, utc(whatNow))
		with := f
		with.Before = &was
		for _, c := range []Change{{Fitted: mm(0.05)}, {Fitted: mm(0.12)}, {Fitted: mm(0.1), Pair: wear.SteelOnPlastic}} {
			_, want, err := WhatIf(f, utc(whatNow), bearing, c)
			_, got, errWith := WhatIf(with, utc(whatNow), bearing, c)
			if err != nil || errWith != nil {
				t.Fatalf("%s %+v: %v, %v", name, c, err, errWith)
			}
			if math.Abs(got.Level.Mean-c.Fitted.MM()) > 0.001 || got.Level != want.Level || got.Early != want.Early || got.Late != want.Late || got.Sentence != want.Sentence {
				t.Errorf("%s %+v: leaves %.3f mm, %q; with nothing at hand %.3f mm, %q", name, c, got.Level.Mean, got.Sentence, want.Level.Mean, want.Sentence)
			}
		}
	}
}

// More metal never lasts less: the thicker the washer, the later the dates.
func TestThickerLastsLonger(t *testing.T) {
	f := washered()
	var last Outlook
	for i, thick := range []float64{0.1, 0.2, 0.3, 0.4, 0.5, 0.6} {
		_, after, err := WhatIf(f, utc(whatNow), "centre-front", Change{Washer: mm(thick)})
		if err != nil {
			t.Fatal(err)
		}
		if i > 0 && (after.Likely.Before(last.Likely) || after.Level.Mean >= last.Level.Mean) {
			t.Errorf("%v mm: likely %v, thinner %v", thick, after.Likely, last.Likely)
		}
		last = after
	}
}

// Oiling half as often has an oil that lasts a year aged for half the time: the
// mean of 1.5 and 15 is 5.5 times 1.5, so the life goes down to 1/5.5 (medians
// for steel on brass; arithmetic). Nothing is taken apart for it.
func TestWhatIfOiledAtAnotherInterval(t *testing.T) {
	f := washered()
	b := &f.Clock.Trains[0].Arbors[0].Bearings[0]
	b.Act = limitAt(3)
	before, after, err := WhatIf(f, utc(whatNow), "centre-front", Change{OilDays: 730})
	if err != nil {
		t.Fatal(err)
	}
	if len(after.Parts) != 1 || math.Abs(after.Level.Mean-before.Level.Mean) > 1e-9 {
		t.Errorf("%d parts, %.3f mm, was %.3f", len(after.Parts), after.Level.Mean, before.Level.Mean)
	}
	if ratio := life(before) / life(after); math.Abs(ratio-5.5) > 0.1 {
		t.Errorf("lasts %.0f days, was %.0f: a ratio of %.2f, want 5.5", life(after), life(before), ratio)
	}
	if ratio := after.PerYear[1] / before.PerYear[1]; math.Abs(ratio-5.5) > 0.01 {
		t.Errorf("%.4f mm a year, was %.4f", after.PerYear[1], before.PerYear[1])
	}
	_, same, err := WhatIf(f, utc(whatNow), "centre-front", Change{OilDays: 365})
	if err != nil || math.Abs(life(same)-life(before)) > 2 {
		t.Errorf("as it is: %.0f days, was %.0f (%v)", life(same), life(before), err)
	}
	// With the weighting in force the ratio is the same: running counts by it.
	f.Model = inForce()
	before, after, err = WhatIf(f, utc(whatNow), "centre-front", Change{OilDays: 730})
	if err != nil || math.Abs(life(before)/life(after)-5.5) > 0.1 {
		t.Errorf("weighted: %.0f days, was %.0f (%v)", life(after), life(before), err)
	}
}

// Other materials begin at the rate of their kind: physics alone is too vague
// for a date, what a fleet has taught is not.
func TestWhatIfOtherMaterials(t *testing.T) {
	f := washered()
	c := Change{Washer: mm(0.50), Pair: wear.SteelOnPlastic}
	_, after, err := WhatIf(f, utc(whatNow), "centre-front", c)
	if err != nil || after.Taught || after.Dated || !after.Known || !strings.Contains(after.Confidence, "at a rate that no reading has shown") || !strings.Contains(after.Prior.From, "steel on plastic") {
		t.Errorf("taught %v, dated %v, %q, %q (%v)", after.Taught, after.Dated, after.Confidence, after.Prior.From, err)
	}
	if !strings.Contains(after.Sentence, "(fitted at 0.20 mm, 7.9 thou)") {
		t.Errorf("%q", after.Sentence)
	}
	b, arbor, tr, _ := f.Clock.Bearing("centre-front")
	b.Pair = wear.SteelOnPlastic
	f.Model = taught()
	f.Model.Learned.Model.Groups[Group(b, arbor, tr)] = wear.Group{Bearings: 9, Shift: 6}
	_, after, err = WhatIf(f, utc(whatNow), "centre-front", c)
	if err != nil || !after.Dated || !strings.HasPrefix(after.Prior.From, "learned from 9 bearings, steel on plastic") {
		t.Errorf("taught by nine: dated %v, %v to %v, %q (%v)", after.Dated, after.Early, after.Late, after.Prior.From, err)
	}
}

func TestWhatIfRefuses(t *testing.T) {
	bare := washered()
	bare.Clock.Policies, bare.Entries = nil, nil
	bush := Facts{Clock: alone(), Site: fleetOf("UTC").Sites[0], Entries: book(read(2021, 0.12, 0.14)...)}
	unfit := washered()
	unfit.Clock.Trains[0].Drive, unfit.Clock.Trains[0].Reserve = wear.HandWound, -1
	noPair := washered()
	noPair.Clock.Trains[0].Arbors[0].Bearings[0].Pair = ""
	for _, tt := range []struct {
		name     string
		f        Facts
		bearing  string
		c        Change
		code     Code
		field    string
		sentence string
	}{
		{"nothing", washered(), "centre-front", Change{}, Invalid, "washer", "say what to change"},
		{"no such bearing", washered(), "fly", Change{Fitted: 100}, NotFound, "bearing", `has no bearing "fly": it has centre-front`},
		{"leaves nothing", washered(), "centre-front", Change{Washer: mm(0.8)}, Conflict, "washer", "a washer of 0.80 mm (31.5 thou) leaves nothing of a freedom of about 0.7"},
		{"leaves nothing for all that is faced off", washered(), "centre-front", Change{Washer: mm(2), FaceOff: mm(1)}, Conflict, "washer", "a washer of 2.00 mm (78.7 thou) leaves nothing of a freedom of about 1.7"},
		{"past the limit", washered(), "centre-front", Change{FaceOff: mm(0.5)}, Conflict, "fitted", "after the work is not below the limit of 0.80 mm (31.5 thou)"},
		{"a washer on a bush", bush, "centre-front", Change{Washer: mm(0.1)}, Invalid, "washer", "centre-front is a bush and takes no washer"},
		{"thinner than nothing", washered(), "centre-front", Change{Washer: -1}, Invalid, "washer", "cannot be right"},
		{"a foot thick", washered(), "centre-front", Change{Washer: mm(304.8)}, Invalid, "washer", "304.8 mm (12.0 in) cannot be right"},
		{"a face without a hole", washered(), "centre-front", Change{Washer: mm(0.1), Outer: mm(20)}, Invalid, "outer", "give both diameters"},
		{"inside out", washered(), "centre-front", Change{Washer: mm(0.1), Outer: mm(10), Inner: mm(20)}, Invalid, "outer", "must be larger than the inner"},
		{"oak", washered(), "centre-front", Change{Washer: mm(0.1), Pair: "oak on oak"}, Invalid, "pair", `"oak on oak" is not known`},
		{"oiled every minus one day", washered(), "centre-front", Change{OilDays: -1}, Invalid, "oilDays", "cannot be right"},
		{"oil that nobody knows", bare, "centre-front", Change{OilDays: 100}, Conflict, "oilDays", "no oiling interval is set for centre-front"},
		{"materials that nobody knows", noPair, "centre-front", Change{OilDays: 100}, Conflict, "oilDays", "the materials of centre-front are not recorded"},
		{"never measured", bare, "centre-front", Change{Washer: mm(0.1)}, Conflict, "fitted", "is not known, so what the work leaves cannot be worked out"},
		{"a running of which nothing is known", unfit, "centre-front", Change{Washer: mm(0.1)}, Conflict, "bearing", "does not fit together"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, _, err := WhatIf(tt.f, utc(whatNow), tt.bearing, tt.c)
			refused(t, err, tt.code, tt.field, tt.sentence)
		})
	}
	// The freedom left may be given for one that was never measured.
	if _, after, err := WhatIf(bare, utc(whatNow), "centre-front", Change{Fitted: mm(0.15)}); err != nil || !after.Known || after.Dated {
		t.Errorf("fitted at 0.15 mm: known %v, dated %v, %v", after.Known, after.Dated, err)
	}
}
