package schedule

import (
	"math"
	"testing"

	"endshake/wear"
)

// bent is a model whose wear goes by exposure to a power.
func bent(power float64, oil bool) Model {
	params := wear.DefaultParams()
	params.B = power
	return Model{Params: &params, Learned: &Learned{OilInForce: oil}}
}

// powers are exponents of exposure: wear that slows, goes evenly, quickens.
var powers = []float64{0.5, 1, 1.6}

// grown is what is likely to be worn from a day on in so many years.
func grown(o Outlook, from string, years int) float64 {
	at := func(t Date) float64 { return o.Wear.LevelAt(o.Units(t.Start(o.use.now.Location()))).Mean }
	return at(d(from).Add(years*365)) - at(d(from))
}

// Uniform wear goes by the pressure, so that a face twice as wide wears half as
// fast (depth = k F s / area at the mean radius: Archard's law): half and not a
// quarter, whether its own readings tell the rate or nothing but physics does.
func TestWidthCountsOnce(t *testing.T) {
	for _, n := range []int{0, 1, 2, 6} {
		for _, power := range powers {
			f := washered()
			f.Model = bent(power, false)
			f.Entries = book(axial(2021, 0.20, 0.30, 0.40, 0.50, 0.60, 0.70)[:n]...)
			as := Change{Fitted: mm(0.20), Outer: mm(24), Inner: mm(13)}
			wide := Change{Fitted: mm(0.20), Outer: mm(35), Inner: mm(13)}
			before, same, err := WhatIf(f, utc(whatNow), "centre-front", as)
			if err != nil {
				t.Fatal(err)
			}
			_, after, err := WhatIf(f, utc(whatNow), "centre-front", wide)
			if err != nil {
				t.Fatal(err)
			}
			for i := range after.PerYear {
				if r := after.PerYear[i] / same.PerYear[i]; math.Abs(r-0.5) > 1e-6 {
					t.Errorf("%d readings, power %v: twice as wide wears %.4f times as fast, want 1/2", n, power, r)
				}
			}
			if r := grown(after, whatNow, 5) / grown(same, whatNow, 5); math.Abs(r-0.5) > 1e-6 {
				t.Errorf("%d readings, power %v: in five years %.4f times as much", n, power, r)
			}
			if n == 0 && power == 1 && math.Abs(after.PerYear[1]/before.PerYear[1]-0.5) > 1e-6 {
				t.Errorf("never measured: %.4f mm a year, as it is %.4f", after.PerYear[1], before.PerYear[1])
			}
			if after.Bearing.Outer != mm(35) || after.Bearing.Inner != mm(13) || after.Prior != same.Prior {
				t.Errorf("%d readings: a face of %v to %v, prior %+v, was %+v", n, after.Bearing.Inner, after.Bearing.Outer, after.Prior, same.Prior)
			}
		}
	}
}

// Other materials start from their own prior, in which the width counts, once.
func TestWidthOfOtherMaterials(t *testing.T) {
	f := washered()
	c := Change{Fitted: mm(0.20), Pair: wear.SteelOnPlastic, Outer: mm(24), Inner: mm(13)}
	_, same, err := WhatIf(f, utc(whatNow), "centre-front", c)
	if err != nil {
		t.Fatal(err)
	}
	c.Outer = mm(35)
	_, after, err := WhatIf(f, utc(whatNow), "centre-front", c)
	if r := after.PerYear[1] / same.PerYear[1]; err != nil || math.Abs(r-0.5) > 1e-6 {
		t.Errorf("twice as wide: %.4f times as fast (%v)", r, err)
	}
	if off := same.Prior.Mu - after.Prior.Mu; math.Abs(off-math.Ln2) > 1e-9 {
		t.Errorf("the prior's ln rate is %.4f lower, want ln 2", off)
	}
	// A face of which nothing is recorded has no ratio, but its kind has a rate.
	b := &f.Clock.Trains[0].Arbors[0].Bearings[0]
	b.Outer, b.Inner = 0, 0
	if _, _, err := WhatIf(f, utc(whatNow), "centre-front", c); err != nil {
		t.Errorf("other materials on a face not recorded: %v", err)
	}
	c.Pair = ""
	_, _, err = WhatIf(f, utc(whatNow), "centre-front", c)
	refused(t, err, Conflict, "outer", "are not recorded, so what another width does is not known: record them first")
}

// A change promises a ratio of wear, and wear goes by it whatever the power of
// exposure: 5.5 for oil that is aged for half the time (medians of 1.5 and 15
// for steel on brass; arithmetic), for the part that goes on and for a new one.
func TestWhatIfRatioAtAnyPower(t *testing.T) {
	for _, power := range powers {
		for _, oil := range []bool{false, true} {
			f := washered()
			f.Clock.Trains[0].Arbors[0].Bearings[0].Act = limitAt(3)
			f.Model = bent(power, oil)
			for name, c := range map[string]Change{"goes on": {}, "new": {Fitted: mm(0.2)}} {
				c.OilDays = 365
				_, base, err := WhatIf(f, utc(whatNow), "centre-front", c)
				if err != nil {
					t.Fatal(err)
				}
				c.OilDays = 730
				_, after, err := WhatIf(f, utc(whatNow), "centre-front", c)
				if err != nil {
					t.Fatal(err)
				}
				for _, years := range []int{1, 4, 12} {
					if r := grown(after, whatNow, years) / grown(base, whatNow, years); math.Abs(r-5.5) > 1e-6 {
						t.Errorf("power %v, oil in force %v, %s: in %d years %.4f times as much, want 5.5", power, oil, name, years, r)
					}
				}
				if r := after.PerYear[1] / base.PerYear[1]; math.Abs(r-5.5) > 1e-6 {
					t.Errorf("power %v, oil in force %v, %s: %.4f times as much a year", power, oil, name, r)
				}
				if base.Dated && after.Dated && after.Likely.After(base.Likely) {
					t.Errorf("power %v, %s: worse oil puts %v off to %v", power, name, base.Likely, after.Likely)
				}
			}
		}
	}
}

// A wider face and another interval at once: the ratios multiply.
func TestWhatIfTwoChangesAtOnce(t *testing.T) {
	f := washered()
	f.Model = bent(0.5, false)
	_, base, err := WhatIf(f, utc(whatNow), "centre-front", Change{Fitted: mm(0.2)})
	if err != nil {
		t.Fatal(err)
	}
	_, after, err := WhatIf(f, utc(whatNow), "centre-front", Change{Fitted: mm(0.2), OilDays: 730, Outer: mm(35), Inner: mm(13)})
	if err != nil {
		t.Fatal(err)
	}
	if r := grown(after, whatNow, 3) / grown(base, whatNow, 3); math.Abs(r-5.5/2) > 1e-6 {
		t.Errorf("%.4f times as much, want 2.75", r)
	}
}

// How long its oil lasts may be set in run-hours; other materials start from
// the usual oil, which the change is then held against; and so does a clock that
// never ran. 6.55 and 1.5 are the usual mix and good oil for steel on brass; for
// steel on plastic 0.9 of 1, 0.08 of 2 and 0.02 of 3 are 1.12 (arithmetic).
func TestWhatIfOiledFromTheUsual(t *testing.T) {
	byHours := washered()
	byHours.Clock.Policies[0].Days, byHours.Clock.Policies[0].RunHours = 0, 365*24
	base, after, err := WhatIf(byHours, utc(whatNow), "centre-front", Change{OilDays: 730})
	if r := after.PerYear[1] / base.PerYear[1]; err != nil || math.Abs(r-5.5) > 0.02 {
		t.Errorf("oil that lasts 8,760 run-hours, renewed half as often: %.4f times as much, want 5.5 (%v)", r, err)
	}
	for _, tt := range []struct {
		name  string
		c     Change
		never bool
		want  float64
	}{
		{"other materials", Change{Fitted: mm(0.2), Pair: wear.SteelOnPlastic}, false, 1 / 1.12},
		{"never ran", Change{Fitted: mm(0.2)}, true, 1.5 / 6.55},
	} {
		f := washered()
		if tt.never {
			f.Entries = book(did(Stopped, "2020-01-01", by(ByHand)))
		}
		_, plain, err := WhatIf(f, utc(whatNow), "centre-front", tt.c)
		if err != nil {
			t.Fatal(err)
		}
		tt.c.OilDays = 365
		_, oiled, err := WhatIf(f, utc(whatNow), "centre-front", tt.c)
		if r := grown(oiled, whatNow, 3) / grown(plain, whatNow, 3); err != nil || !tt.never && math.Abs(r-tt.want) > 1e-6 {
			t.Errorf("%s: always in good oil %.4f times as much, want %.4f (%v)", tt.name, r, tt.want, err)
		}
		if got := oiled.use.last() / plain.use.last(); math.Abs(got-tt.want) > 1e-9 {
			t.Errorf("%s: weight %.4f, want %.4f", tt.name, got, tt.want)
		}
	}
}

// A clock that stood for three years has no oil of late to go by: what is
// ahead goes by its whole life, half of it with good and half with aged oil.
func TestWhatIfOiledAfterALongStop(t *testing.T) {
	f := washered()
	f.Entries = book(append(axial(2020, 0.20), axial(2021, 0.30)...)...)
	f.Clock.Policies[0].Days = 366 // 2020 good, 365 days of 2021 aged
	f.Entries = append(f.Entries, book(did(Stopped, "2022-01-01", by(ByHand), called("stop")))...)
	for _, oil := range []bool{false, true} {
		f.Model = bent(1, oil)
		before, after, err := WhatIf(f, utc(whatNow), "centre-front", Change{OilDays: 366})
		if err != nil {
			t.Fatal(err)
		}
		if r := before.PerYear[1] / after.PerYear[1]; math.Abs(r-5.5) > 0.02 {
			t.Errorf("oil in force %v: oiling in time saves a factor of %.3f, want 5.5", oil, r)
		}
	}
}
