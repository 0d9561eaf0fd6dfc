package wear

import "math"

// OilState is the state of the oil between two faces, as it bears on wear.
type OilState string

// The oil states. Film is full separation, which no slow clock arbor reaches;
// it is here for completeness only.
const (
	Film   OilState = "film"
	Good   OilState = "good"   // fresh and clean
	Aged   OilState = "aged"   // darkened, thick
	Dry    OilState = "dry"    // none left
	Gritty OilState = "gritty" // dust, sand or rust paste
)

// coefficient is a log-normal belief about a wear coefficient: its median in
// mm³/(N m) and its geometric standard deviation.
type coefficient struct{ median, gsd float64 }

// pairs holds the wear coefficients: Archard's K by class of pair and
// lubrication (Rabinowicz, J. Lubr. Technol. 103, 1981, class table from
// memory), divided by the hardness of the softer part and rounded by
// judgement. Published figures of one class span one to one and a half
// decades, hence deviations of 4 and 5: no figure here is better than that.
var pairs = map[Pair]map[OilState]coefficient{
	SteelOnBrass:   {Film: {8e-8, 5}, Good: {1.5e-6, 5}, Aged: {1.5e-5, 5}, Dry: {2e-4, 4}, Gritty: {1e-3, 4}},
	SteelOnSteel:   {Film: {1.5e-7, 5}, Good: {5e-6, 5}, Aged: {5e-5, 5}, Dry: {1e-3, 5}, Gritty: {1e-3, 4}},
	BrassOnBrass:   {Film: {8e-7, 5}, Good: {2e-5, 5}, Aged: {2e-4, 5}, Dry: {1e-3, 4}, Gritty: {2e-3, 4}},
	SteelOnPlastic: {Good: {1e-6, 4}, Aged: {2e-6, 4}, Dry: {3e-6, 4}, Gritty: {1e-4, 5}},
}

// Coefficient returns the wear coefficient of a pair in an oil state: the
// median in mm³/(N m), and the geometric standard deviation of the belief.
// ok is false where none is known.
func Coefficient(p Pair, s OilState) (median, gsd float64, ok bool) {
	c, ok := pairs[p][s]
	return c.median, c.gsd, ok
}

// shares is how much of its running a bearing spends in each oil state.
type shares struct{ good, aged, dry float64 }

// Both rows are judgement, no source. The dry share, small as it is, makes
// most of the wear.
var (
	indoorShares  = shares{good: .90, aged: .08, dry: .02}
	outdoorShares = shares{good: .70, aged: .22, dry: .08}
)

// WeightedCoefficient returns the mean of the median coefficients of a pair
// over the oil states that the surroundings bring, in mm³/(N m): good, aged
// and dry for 90, 8 and 2 % of the running indoors and 70, 22 and 8 % outdoors.
// Surroundings that are not given are taken as indoors; an unknown pair gives 0.
func WeightedCoefficient(p Pair, in Surroundings) float64 {
	share := indoorShares
	if in == Outdoors {
		share = outdoorShares
	}
	return MixedCoefficient(p, share.good, share.aged, share.dry)
}

// FromArchardK turns Archard's dimensionless K into a coefficient in
// mm³/(N m). hardnessMPa is that of the softer part; c is 1 where the table's
// law is V = K F s/H and 3 where it is V = K F s/(3 H): tables mix the two.
func FromArchardK(K, hardnessMPa float64, c float64) float64 { return 1000 * K / (c * hardnessMPa) }

// ThrustDepth returns the depth in mm worn off one annular thrust face: k in
// mm³/(N m), load in newtons, width its outer less its inner radius in mm.
// The mean-radius form equals the steady solution in which pressure falls with
// the radius, so it is exact for a run-in face.
func ThrustDepth(k, load, revs float64, width float64) float64 { return 1e-3 * k * load * revs / width }

// BushDepth returns the depth in mm worn into a bush that fits its pivot: k in
// mm³/(N m), load in newtons, long the bush's length in mm. The diameter
// cancels out.
func BushDepth(k, load, revs, long float64) float64 { return 1e-3 * math.Pi * k * load * revs / long }

// PivotLoss returns the radius in mm that a pivot loses all round while it
// turns under a steady load; arguments as for [BushDepth]. Side-shake grows by
// twice this, besides the bush's depth.
func PivotLoss(k, load, revs, long float64) float64 { return 1e-3 * k * load * revs / long }

// CrescentArea returns the area in mm² of the crescent that a pivot has worn
// when it has sunk h mm into the bore from first contact; all in mm. It is the
// part of the pivot's circle outside the bore's, so it holds for h up to about
// the pivot's radius.
func CrescentArea(boreRadius, pivotRadius, h float64) float64 {
	R, r := boreRadius, pivotRadius
	d := R - r + h
	switch {
	case h <= 0:
		return 0
	case d >= R+r:
		return math.Pi * r * r
	}
	angle := func(c float64) float64 { return math.Acos(max(-1, min(1, c))) }
	lens := R*R*angle((d*d+R*R-r*r)/(2*d*R)) + r*r*angle((d*d+r*r-R*R)/(2*d*r)) -
		0.5*math.Sqrt(max(0, (-d+R+r)*(d+R-r)*(d-R+r)*(d+R+r)))
	return math.Pi*r*r - lens
}

// BushDepthExact returns the depth in mm worn into a bush whose bore is larger
// than its pivot, by solving for the crescent of the worn volume; arguments as
// for [BushDepth], radii in mm. A new, loose bush wears faster at first than
// [BushDepth] says. The answer is +Inf when the volume is more than the
// geometry describes.
func BushDepthExact(k, load, revs, long, boreRadius, pivotRadius float64) float64 {
	area := k * load * math.Pi * 2 * pivotRadius * revs * 1e-3 / long
	switch {
	case area <= 0:
		return 0
	case !(area < math.Pi*pivotRadius*pivotRadius):
		return math.Inf(1)
	}
	return solve(func(h float64) float64 { return CrescentArea(boreRadius, pivotRadius, h) - area }, 0, 2*pivotRadius)
}

// SlidingPerHour returns the sliding distance in metres an hour at a radius
// in mm.
func SlidingPerHour(radius, revsPerHour float64) float64 {
	return 2 * math.Pi * radius * revsPerHour / 1000
}

// ThermalGrowth returns by how many mm a length in mm grows when it warms by
// dC, alpha being the expansion coefficient per °C. Against a frame of another
// metal use the difference of the two. A long shaft moves more by the season
// than its washer wears in decades.
func ThermalGrowth(lengthMM, alpha, dC float64) float64 { return lengthMM * alpha * dC }

// Pressure returns the mean pressure in MPa on an annular face: load in
// newtons, radii in mm. Speeds in a clock are so low that pressure is good for
// catching a mistyped size or load and for nothing else.
func Pressure(load, outerRadius, innerRadius float64) float64 {
	return load / (math.Pi * (outerRadius*outerRadius - innerRadius*innerRadius))
}

// StandardGravity in m/s² (ISO 80000-3).
const StandardGravity = 9.80665

// RodWeight returns the weight in newtons of a round rod: sizes in mm, density
// in kg/m³ (steel 7850).
func RodWeight(lengthMM, diameterMM, density float64) float64 {
	return StandardGravity * density * 1e-9 * lengthMM * math.Pi / 4 * diameterMM * diameterMM
}
