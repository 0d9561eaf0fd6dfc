package schedule

import (
	"fmt"
	"math"
	"testing"
)

// What can be logged of oil, and what cannot.
func TestOilEntriesRefused(t *testing.T) {
	c := pump()
	c.Care.Points = []OilPoint{
		pt("front", func(p *OilPoint) { p.Train, p.Bearing = "", "centre-front" }), pt("hammer", onTrain("strike")), pt("loose", onTrain("")),
		pt("clutch", func(p *OilPoint) { p.Name = "the setting clutch"; dry("it would slip")(p) }),
		pt("teeth", func(p *OilPoint) { p.Train, p.Bearing, p.Dry = "", "second-back", true }),
	}
	fleet := fleetOf("UTC", c)
	at := func(k EntryKind, changes ...change) Entry { return did(k, "2024-01-01", changes...) }
	for _, tt := range []struct {
		e               Entry
		code            Code
		field, sentence string
	}{
		{at(Oiled, points("front", "loose"), withOil("clock oil"), oilFound(OilDarkened), residue(ResidueGreen), toppedUp), "", "", ""},
		{at(Oiled, of("strike"), points("hammer", "loose")), "", "", ""},
		{at(Oiled, onBearing("centre-front"), points("front")), "", "", ""},
		{at(Oiled, onBearing("centre-front")), "", "", ""},
		{at(Inspected, found(Watch), points("clutch"), oilFound(OilDry)), "", "", ""},
		{at(Cleaned, oilFound(OilGummed), residue(ResidueBlack)), "", "", ""},
		{at(Oiled, oilFound("sticky")), Invalid, "oilFound", "use one of clean, darkened, gummed, dry"},
		{at(Oiled, residue("blue")), Invalid, "residue", "use one of clear, green, black"},
		{at(Oiled, points("back")), NotFound, "points", `has no oil point "back": it has front, hammer, loose, clutch, teeth`},
		{at(Oiled, points("front", "front")), Invalid, "points", "named twice"},
		{at(Oiled, of("strike"), points("front")), Invalid, "points", `on the train "going", not on "strike"`},
		{at(Oiled, onBearing("centre-front"), points("loose")), Invalid, "points", `not at the bearing "centre-front"`},
		{at(Oiled, points("front", "clutch")), Conflict, "points", "the setting clutch must stay dry, because it would slip: leave it out"},
		{at(Oiled, onBearing("second-back")), Conflict, "bearing", "teeth must stay dry: leave it out"},
		{at(Cleaned, points("front")), Invalid, "points", "only for oiled, inspected"},
		{at(Noted, note("x"), oilFound(OilClean)), Invalid, "oilFound", "only for oiled, cleaned, inspected"},
		{at(Noted, note("x"), residue(ResidueClear)), Invalid, "residue", "only for oiled, cleaned, inspected"},
		{at(Inspected, toppedUp), Invalid, "topUp", "only for oiled"},
	} {
		err := Validate(tt.e, fleet, nil, Model{}, utc("2024-06-01"))
		what := fmt.Sprintf("%s %+v", tt.e.Kind, tt.e.Detail)
		if tt.code == "" {
			if err != nil {
				t.Errorf("%s: %v", what, err)
			}
			continue
		}
		t.Run(what, func(t *testing.T) { refused(t, err, tt.code, tt.field, tt.sentence) })
	}
}

// A risk is a share up to a half, for oiling alone, and does for an interval.
func TestOilRiskOfPolicies(t *testing.T) {
	for _, tt := range []struct {
		p    Policy
		says string
	}{
		{Policy{Task: Oiling, Risk: .1}, ""},
		{Policy{Task: Oiling, Risk: .5, Days: 365}, ""},
		{Policy{Task: Oiling, Days: 365}, ""},
		{Policy{Task: Oiling}, "has no interval: give days or run-hours, or a risk"},
		{Policy{Task: Oiling, Risk: .51}, "a risk of 0.51 cannot be right"},
		{Policy{Task: Oiling, Risk: -.1, Days: 365}, "cannot be right"},
		{Policy{Task: Oiling, Risk: math.NaN(), Days: 365}, "cannot be right"},
		{Policy{Task: Oiling, Risk: math.Inf(1)}, "cannot be right"},
		{Policy{Task: Inspection, Risk: .1, Days: 365}, "a risk is only for oiling"},
		{Policy{Task: Measuring, Risk: .1}, "a risk is only for oiling"},
		{Policy{Task: Measuring, Risk: math.NaN(), Days: 1}, "a risk is only for oiling"},
		{Policy{Task: Inspection}, "has no interval"},
	} {
		c := alone()
		tt.p.Source = "x"
		c.Policies = []Policy{tt.p}
		err := fleetOf("UTC", c).Validate()
		if tt.says == "" {
			if err != nil {
				t.Errorf("%+v: %v", tt.p, err)
			}
			continue
		}
		refused(t, err, Invalid, "clock pump-room", tt.says)
	}
}

// With a risk and no interval the oil is good until new oil comes to the risk,
// and aged until half of the lives are over: 515 and 1,095 days of mineral oil in
// a closed case, from 3 years within a factor of 1.8, worked by hand.
func TestOilSpansByRisk(t *testing.T) {
	log := book(append(read(2021, .12, .14), did(Oiled, "2021-01-01"))...)
	o := outlookOf(t, assess(mapped(), log, "2025-01-01"), "centre-front")
	days := 1461.0 + 366 // since it came into care: a year as freshly oiled, then this oil
	for _, x := range []struct{ got, want float64 }{{o.Oil.Good, (366 + 515) / days}, {o.Oil.Aged, (1095 - 515) / days}, {o.Oil.Dry, (1461 - 1095) / days}} {
		if math.Abs(x.got-x.want) > 2/days {
			t.Errorf("share %v, want %v: %+v", x.got, x.want, o.Oil)
		}
	}
	// And another interval can be thought of: sooner is better.
	f := fleetOf("UTC", mapped())
	facts := Facts{Clock: mapped(), Site: f.Sites[0], Entries: log}
	before, after, err := WhatIf(facts, utc("2025-01-01"), "centre-front", Change{OilDays: 180})
	if err != nil || !(after.PerYear[1] < before.PerYear[1]) {
		t.Errorf("%v a year now, %v with oil twice a year (%v)", before.PerYear[1], after.PerYear[1], err)
	}
}

// Topping up, and oil somewhere else, leave the oil of a bearing as old as it
// was.
func TestOilSpansOfItsOwnPoints(t *testing.T) {
	c := oiling(365)
	c.Care.Points = []OilPoint{pt("front", func(p *OilPoint) { p.Bearing = "centre-front" }), pt("back")}
	mix := func(changes ...change) OilWear {
		a := assess(c, book(append(read(2021, .12, .14), did(Oiled, "2021-01-01", changes...))...), "2022-01-01")
		return *outlookOf(t, a, "centre-front").Oil
	}
	good := mix().Good
	for name, other := range map[string]OilWear{"topped up": mix(toppedUp), "elsewhere": mix(points("back"))} {
		if !(other.Good < good-.2) || other.Aged == 0 {
			t.Errorf("%s: %+v, oiled %v good", name, other, good)
		}
	}
	if got := mix(points("front")); got.Good != good {
		t.Errorf("its point named: %v good, want %v", got.Good, good)
	}
}
