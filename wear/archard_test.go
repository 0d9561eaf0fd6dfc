package wear

import (
	"math"
	"strings"
	"testing"
)

// The worked example of the tests below: a steel rod of eight feet by half an
// inch hanging on a washer of 24 mm by 13 mm, one turn an hour for a century.
const (
	rodLoad     = 23.778946
	centuryRevs = 876600
)

// TestArchard: worked by hand or in SciPy from the textbook formulas, apart
// from this code; relative tolerances as given there.
func TestArchard(t *testing.T) {
	// A rod's weight (steel 7850 kg/m³, standard gravity).
	nearRel(t, "rod, N", RodWeight(2438.4, 12.7, 7850), rodLoad, 1e-6)
	nearRel(t, "rod, kg", RodWeight(2438.4, 12.7, 7850)/StandardGravity, 2.424778, 1e-6)

	// A thrust face.
	for k, want := range map[float64]float64{1.7e-5: .06442884, 2e-4: .75798634, 8e-7: .00303195} {
		nearRel(t, "thrust depth", ThrustDepth(k, rodLoad, centuryRevs, 12-6.5), want, 2e-6)
	}
	// Both faces of a thrust bearing.
	nearRel(t, "both faces", ThrustDepth(1.5e-5, 60, 50000, 6)+ThrustDepth(5e-6, 60, 50000, 6), .01, 1e-9)

	// Archard's K in the two conventions of its tables.
	nearRel(t, "K, c = 1", FromArchardK(1e-6, 1200, 1), 8.33333e-7, 1e-5)
	nearRel(t, "K, c = 3", FromArchardK(1e-6, 1200, 3), 2.77778e-7, 1e-5)
	nearRel(t, "mild steel on itself, c = 3", FromArchardK(7e-3, 1176, 3)*100*1, .198413, 1e-5)
	nearRel(t, "mild steel on itself, c = 1", FromArchardK(7e-3, 1176, 1)*100*1, .595238, 1e-5)

	// The crescent of a worn bush.
	for h, want := range map[float64]float64{.02: .10281082, .10: .80268062, .50: 4.75830530} {
		nearRel(t, "crescent", CrescentArea(5.05, 5, h), want, 1e-7)
	}
	near(t, "no crescent", CrescentArea(5.05, 5, 0), 0, 0)
	nearRel(t, "the pivot right out", CrescentArea(5.05, 5, 20), math.Pi*25, 1e-15)

	// A bush, fitting and loose.
	nearRel(t, "fitting", BushDepth(2e-5, 30, centuryRevs, 12), .13769601, 1e-6)
	nearRel(t, "loose", BushDepthExact(2e-5, 30, centuryRevs, 12, 5.05, 5), .15957133, 1e-6)
	nearRel(t, "fitting, little worn", BushDepth(1e-6, 30, centuryRevs, 12), .00688480, 1e-6)
	nearRel(t, "loose, little worn", BushDepthExact(1e-6, 30, centuryRevs, 12, 5.05, 5), .01496171, 1e-6)
	near(t, "unworn", BushDepthExact(0, 30, centuryRevs, 12, 5.05, 5), 0, 0)
	if h := BushDepthExact(1, 30, centuryRevs, 12, 5.05, 5); !math.IsInf(h, 1) {
		t.Errorf("more worn than the geometry knows: %v", h)
	}

	// Side-shake grows by the bush's depth and twice the pivot's loss.
	h, u := BushDepth(2e-5, 30, 1e5, 12), PivotLoss(5e-6, 30, 1e5, 12)
	nearRel(t, "bush", h, .01570796, 1e-6)
	nearRel(t, "pivot", u, .00125, 1e-9)
	nearRel(t, "side-shake", h+2*u, .01820796, 1e-6)

	// Sliding at 9.25 mm.
	for revs, want := range map[float64]float64{1. / 12: .00484329, 1: .05811946, 60: 3.48716785, 120: 6.97433569} {
		nearRel(t, "sliding", SlidingPerHour(9.25, revs), want, 1e-6)
	}

	// Pressure, and pressure times speed at one turn an hour.
	p := Pressure(rodLoad, 12, 6.5)
	nearRel(t, "MPa", p, .07438893, 1e-6)
	nearRel(t, "MPa m/s", p*SlidingPerHour(9.25, 1)/3600, 1.200957e-6, 1e-6)

	// Growth with warmth, free and against a brass frame.
	nearRel(t, "free", ThermalGrowth(2438.4, 11.5e-6, 40), 1.121664, 1e-6)
	nearRel(t, "in brass", ThermalGrowth(2438.4, 19e-6-11.5e-6, 40), .731520, 1e-6)
}

// TestUniformWear: with pressure as 1/r, the mean-radius depth that ThrustDepth
// gives carries the whole load (an identity of the uniform-wear law).
func TestUniformWear(t *testing.T) {
	const outer, inner, load, n = 12.0, 6.5, 100.0, 100000
	var carried float64
	for i := range n {
		r := inner + (outer-inner)*(float64(i)+.5)/n
		pressure := load / (2 * math.Pi * (outer - inner)) / r // N/mm²
		carried += pressure * 2 * math.Pi * r * (outer - inner) / n
		if i%10000 == 0 { // every ring wears equally deep: k p s
			depth := 1e-3 * 1e-5 * pressure * 2 * math.Pi * r * 1000
			nearRel(t, "depth of a ring", depth, ThrustDepth(1e-5, load, 1000, outer-inner), 1e-12)
		}
	}
	nearRel(t, "load", carried, load, 1e-9)
}

func TestCoefficient(t *testing.T) {
	k, gsd, ok := Coefficient(SteelOnBrass, Dry)
	if k != 2e-4 || gsd != 4 || !ok {
		t.Errorf("steel on brass, dry: %v × %v, %v", k, gsd, ok)
	}
	for _, c := range []struct {
		p Pair
		s OilState
	}{{SteelOnPlastic, Film}, {"wood on stone", Good}, {SteelOnBrass, "wet"}} {
		if k, _, ok := Coefficient(c.p, c.s); ok || k != 0 {
			t.Errorf("%s, %s: has a coefficient %v", c.p, c.s, k)
		}
	}
	for p, states := range pairs {
		for _, order := range [][2]OilState{{Film, Good}, {Good, Aged}, {Aged, Dry}, {Dry, Gritty}} {
			if states[order[0]].median > states[order[1]].median {
				t.Errorf("%s wears less %s than %s", p, order[1], order[0])
			}
		}
	}

	// 90 % good, 8 % aged and 2 % dry: worked by hand.
	nearRel(t, "indoors", WeightedCoefficient(SteelOnBrass, Indoors), 6.55e-6, 1e-12)
	nearRel(t, "dry share", .02*2e-4/WeightedCoefficient(SteelOnBrass, Indoors), .610687, 1e-6)
	nearRel(t, "not said", WeightedCoefficient(SteelOnBrass, ""), 6.55e-6, 1e-12)
	nearRel(t, "outdoors", WeightedCoefficient(SteelOnBrass, Outdoors), .7*1.5e-6+.22*1.5e-5+.08*2e-4, 1e-12)
	near(t, "unknown", WeightedCoefficient("wood on stone", Indoors), 0, 0)
}

func TestRatePrior(t *testing.T) {
	face := Bearing{Code: "top", Form: ThrustFace, Shake: EndShake, Pair: SteelOnBrass, In: Indoors, Load: rodLoad,
		Outer: 24 * Millimetre, Inner: 13 * Millimetre}
	bush := Bearing{Code: "front", Form: Bush, Shake: SideShake, Pair: SteelOnBrass, In: Outdoors, Load: 30, Long: 12 * Millimetre}
	hourly := Arbor{Code: "centre", Revs: 1}
	going, strike := Train{Kind: Going}, Train{Kind: Strike, StrokesPerDay: 156}
	with := func(b Bearing, change func(*Bearing)) Bearing { change(&b); return b }

	for _, c := range []struct {
		name   string
		b      Bearing
		a      Arbor
		t      Train
		median float64 // mm a unit
		om     float64
		from   string
	}{
		{"thrust face", face, hourly, going, 6.55e-6 * rodLoad / 5.5, 1.2, "Archard's law for steel on brass at 23.78 N, indoors"},
		{"by strokes", face, Arbor{Revs: .1}, strike, 6.55e-6 * rodLoad / 5.5, 1.2, "Archard's law for steel on brass at 23.78 N, indoors"},
		{"bush", bush, hourly, going, 2.035e-5 * 30 / 12 * (math.Pi + .2), 1.2, "Archard's law for steel on brass at 30 N, outdoors"},
		{"no load", with(face, func(b *Bearing) { b.Load = 0 }), hourly, going, .01, 1.6, "a starting value of 0.010 mm (0.39 thou) per 1000 run-hours, because its load is not recorded"},
		{"no materials", with(face, func(b *Bearing) { b.Pair = "" }), hourly, strike, .01, 1.6, "per 10000 strokes, because its materials are not recorded"},
		{"no diameters", with(face, func(b *Bearing) { b.Outer, b.Inner = 0, 0 }), hourly, going, .01, 1.6, "the diameters of its face"},
		{"no length", with(bush, func(b *Bearing) { b.Long = 0 }), hourly, going, .01, 1.6, "the length of the bush"},
		{"no turns", bush, Arbor{}, going, .01, 1.6, "the turns of its arbor"},
		{"load not a number", with(bush, func(b *Bearing) { b.Load = math.NaN() }), hourly, going, .01, 1.6, "its load"},
	} {
		p := RatePrior(c.b, c.a, c.t)
		nearRel(t, c.name+": median", math.Exp(p.Mu), c.median, 1e-6)
		near(t, c.name+": spread", p.Om, c.om, 0)
		if !strings.Contains(p.From, c.from) {
			t.Errorf("%s: from %q, want %q in it", c.name, p.From, c.from)
		}
		if _, err := Filter(p, DefaultParams(), nil); err != nil {
			t.Errorf("%s: the filter refuses it: %v", c.name, err)
		}
	}
}
