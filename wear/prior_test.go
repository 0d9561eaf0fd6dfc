package wear

import (
	"math"
	"testing"
)

// 90 % of running with good oil, 8 % with aged and 2 % with none come to a mean
// coefficient of 6.55e-6 for steel on brass, of which the dry part makes
// 0.610687 (computed from the medians 1.5e-6, 1.5e-5 and 2e-4: 1.35e-6 + 1.2e-6
// + 4e-6).
func TestMixedCoefficient(t *testing.T) {
	for _, tt := range []struct {
		pair            Pair
		good, aged, dry float64
		want            float64
	}{
		{SteelOnBrass, .90, .08, .02, 6.55e-6},
		{SteelOnBrass, 90, 8, 2, 6.55e-6},
		{SteelOnBrass, 1, 0, 0, 1.5e-6},
		{SteelOnBrass, 0, 1, 0, 1.5e-5},
		{SteelOnSteel, 0, 0, 3, 1e-3},
		{SteelOnPlastic, .5, .5, 0, 1.5e-6},
		{"oak on oak", .9, .08, .02, 0},
		{SteelOnBrass, 0, 0, 0, 0},
		{SteelOnBrass, math.NaN(), 0, 1, 0},
	} {
		if got := MixedCoefficient(tt.pair, tt.good, tt.aged, tt.dry); math.Abs(got-tt.want) > 1e-9*tt.want {
			t.Errorf("%s at %v/%v/%v: %v, want %v", tt.pair, tt.good, tt.aged, tt.dry, got, tt.want)
		}
	}
	dry, _, _ := Coefficient(SteelOnBrass, Dry)
	if got := .02 * dry / MixedCoefficient(SteelOnBrass, .90, .08, .02); math.Abs(got-.610687) > 5e-7 {
		t.Errorf("the dry part makes %v of the wear, want 0.610687", got)
	}
	// What the surroundings bring is one such mix, for every pair.
	for pair := range pairs {
		for in, mix := range map[Surroundings][3]float64{"": {90, 8, 2}, Indoors: {90, 8, 2}, Outdoors: {70, 22, 8}} {
			want := MixedCoefficient(pair, mix[0], mix[1], mix[2])
			if got := WeightedCoefficient(pair, in); math.Abs(got/want-1) > 1e-12 {
				t.Errorf("%s, %q: %v, want %v", pair, in, got, want)
			}
		}
	}
}

// Weights are against the usual mix: the usual mix itself counts as one hour an
// hour, and the ratio of two states is that of their medians.
func TestOilWeight(t *testing.T) {
	for _, in := range []Surroundings{Indoors, Outdoors, ""} {
		share := indoorShares
		if in == Outdoors {
			share = outdoorShares
		}
		for p := range pairs {
			good, aged, dry := OilWeight(p, in, Good), OilWeight(p, in, Aged), OilWeight(p, in, Dry)
			if sum := share.good*good + share.aged*aged + share.dry*dry; math.Abs(sum-1) > 1e-12 {
				t.Errorf("%s %s: the usual mix weighs %v, want 1", p, in, sum)
			}
			g, _, _ := Coefficient(p, Good)
			d, _, _ := Coefficient(p, Dry)
			if math.Abs(dry/good-d/g) > 1e-9*d/g || !(good < aged && aged < dry) {
				t.Errorf("%s %s: %v, %v, %v", p, in, good, aged, dry)
			}
		}
	}
	if got := OilWeight("oak on oak", Indoors, Dry); got != 1 {
		t.Errorf("unknown materials weigh %v, want 1", got)
	}
	if got := OilWeight(SteelOnPlastic, Indoors, Film); got != 1 { // no figure for that state
		t.Errorf("no coefficient weighs %v, want 1", got)
	}
}

func TestRateKnown(t *testing.T) {
	whole := Bearing{Form: Bush, Pair: SteelOnBrass, Load: 20, Long: 12 * Millimetre}
	face := Bearing{Form: ThrustFace, Pair: SteelOnBrass, Load: 20, Outer: 24 * Millimetre, Inner: 13 * Millimetre}
	for name, tt := range map[string]struct {
		b    Bearing
		a    Arbor
		want bool
	}{
		"bush": {whole, Arbor{Revs: 1}, true}, "face": {face, Arbor{Revs: 1}, true},
		"no turns": {whole, Arbor{}, false}, "no load": {Bearing{Form: Bush, Pair: SteelOnBrass, Long: 12 * Millimetre}, Arbor{Revs: 1}, false},
		"no materials":     {Bearing{Form: Bush, Load: 20, Long: 12 * Millimetre}, Arbor{Revs: 1}, false},
		"face of no width": {Bearing{Form: ThrustFace, Pair: SteelOnBrass, Load: 20}, Arbor{Revs: 1}, false},
	} {
		if got := RateKnown(tt.b, tt.a); got != tt.want {
			t.Errorf("%s: %v, want %v", name, got, tt.want)
		}
		if p := RatePrior(tt.b, tt.a, Train{Kind: Going}); (p.Om == archardOm) != tt.want {
			t.Errorf("%s: the prior is %+v", name, p)
		}
	}
}
