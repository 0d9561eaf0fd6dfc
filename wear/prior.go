package wear

import (
	"fmt"
	"math"
)

// The spread of a prior for the rate and, where nothing is known to work it out
// from, its median: a coefficient of wear is known to a factor of three at
// best (Rabinowicz, J. Lubr. Technol. 103, 1981, abstract). The two starting
// figures are judgement, no source.
const (
	archardOm     = 1.2
	startingRate  = .01 // mm per unit of exposure
	startingOm    = 1.6
	pivotHardness = .1 // wear coefficient of the harder pivot as a share of the bush's: judgement, no source
)

// RatePrior returns what is believed about a bearing's rate of wear before any
// reading, per unit of exposure of its train's counter ([Counter.PerUnit]).
//
// With load and sizes known it is Archard's law with the coefficient of
// [WeightedCoefficient]: on a thrust face the depth of [ThrustDepth], taken to
// stand for washer and collar together; in a bush [BushDepth] and twice the
// [PivotLoss] at a tenth of the coefficient. Otherwise it is a starting value,
// the same for every bearing, and From says what is missing.
func RatePrior(b Bearing, a Arbor, t Train) Prior {
	per := t.Counter().PerUnit()
	missing := missingForPrior(b, a)
	if missing != "" {
		return Prior{Mu: math.Log(startingRate), Om: startingOm, From: fmt.Sprintf(
			"a starting value of %s per %.0f %s, because %s", Fine(startingRate), per, t.Counter(), missing)}
	}
	k, revs := WeightedCoefficient(b.Pair, b.In), a.Revs*per
	var depth float64
	if b.Form == ThrustFace {
		depth = ThrustDepth(k, b.Load, revs, (b.Outer.MM()-b.Inner.MM())/2)
	} else {
		depth = BushDepth(k, b.Load, revs, b.Long.MM()) + 2*PivotLoss(pivotHardness*k, b.Load, revs, b.Long.MM())
	}
	in := b.In
	if in == "" {
		in = Indoors
	}
	return Prior{Mu: math.Log(depth), Om: archardOm, From: fmt.Sprintf(
		"Archard's law for %s at %.4g N, %s", b.Pair, b.Load, in)}
}

// missingForPrior names the first thing that Archard's law wants and the
// bearing does not have; empty: nothing.
func missingForPrior(b Bearing, a Arbor) string {
	switch {
	case !(b.Load > 0) || math.IsInf(b.Load, 0):
		return "its load is not recorded"
	case WeightedCoefficient(b.Pair, b.In) == 0:
		return "its materials are not recorded"
	case !(a.Revs > 0) || math.IsInf(a.Revs, 0):
		return "the turns of its arbor are not recorded"
	case b.Form == ThrustFace && (b.Inner < 0 || b.Outer <= b.Inner):
		return "the diameters of its face are not recorded"
	case b.Form != ThrustFace && b.Long <= 0:
		return "the length of the bush is not recorded"
	}
	return ""
}

// RateKnown reports whether [RatePrior] can work a bearing's rate out: its
// load, sizes, materials and turns are recorded. Otherwise it is a starting value.
func RateKnown(b Bearing, a Arbor) bool { return missingForPrior(b, a) == "" }

// MixedCoefficient returns the mean of the median coefficients of a pair over
// the shares of running with good, aged and dry oil, in mm³/(N m). The shares
// need not sum to 1; an unknown pair, or shares of nothing, give 0.
func MixedCoefficient(p Pair, good, aged, dry float64) float64 {
	sum := good + aged + dry
	if !(sum > 0) {
		return 0
	}
	k := pairs[p]
	return (good*k[Good].median + aged*k[Aged].median + dry*k[Dry].median) / sum
}

// OilWeight returns how much running with oil in a state counts, beside running
// with the states that the surroundings usually bring ([WeightedCoefficient]),
// by the median coefficients of the pair; 1 where they are not known. With
// exposure so weighted, [RatePrior] holds as it stands.
func OilWeight(p Pair, in Surroundings, s OilState) float64 {
	k, _, ok := Coefficient(p, s)
	usual := WeightedCoefficient(p, in)
	if !ok || !(usual > 0) {
		return 1
	}
	return k / usual
}
