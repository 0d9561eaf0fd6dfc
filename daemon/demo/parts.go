package demo

import "endshake/wear"

// startingValue is the source of every size below: no published figure for the
// end-shake or side-shake of public clocks is known.
const startingValue = "starting value, confirm with the conservator (common practice, no source)"

// span is a usual size when fitted and the sizes to watch and to act at, in
// micrometres.
type span struct {
	fitted, watch, act wear.Length
	source             string
}

// Sizes by the place of a bearing in a clock.
var (
	escapeSide = span{60, 150, 200, startingValue}
	trainSide  = span{100, 250, 350, startingValue}
	greatSide  = span{180, 450, 600, startingValue}
	bevelEnd   = span{400, 1100, 1650,
		"starting value from the depth a 2 mm module mitre wheel can lose (a quarter of a module to watch, 0.45 to act), confirm with the conservator"}
	motionSide = span{300, 750, 1000, startingValue}
	houseSide  = span{60, 110, 150, startingValue}
	houseEnd   = span{150, 400, 600, startingValue}
)

// fittedSD is how well a size is known when fitted: to a tenth, and not better
// than a hundredth of a millimetre.
func fittedSD(size wear.Length) wear.Length { return max(10*wear.Micrometre, size/10) }

func limit(size wear.Length, source string) *wear.Limit {
	return &wear.Limit{Size: size, Source: source}
}

// bush is a brass bush with a steel pivot, indoors: load in newtons, pivot
// diameter and bush length in mm.
func bush(code, name string, s span, load, pivot, long float64) wear.Bearing {
	p := wear.FromMM(pivot)
	return wear.Bearing{
		Code: code, Name: name, Form: wear.Bush, Shake: wear.SideShake, Pair: wear.SteelOnBrass, In: wear.Indoors,
		Load: load, Pivot: p, Bore: p + s.fitted, Long: wear.FromMM(long),
		Fitted: s.fitted, FittedSD: fittedSD(s.fitted), Watch: limit(s.watch, s.source), Act: limit(s.act, s.source),
	}
}

// face is a thrust face of steel on brass, indoors: load in newtons, diameters
// in mm.
func face(code, name string, s span, load, outer, inner float64) wear.Bearing {
	return wear.Bearing{
		Code: code, Name: name, Form: wear.ThrustFace, Shake: wear.EndShake, Pair: wear.SteelOnBrass, In: wear.Indoors,
		Load: load, Outer: wear.FromMM(outer), Inner: wear.FromMM(inner),
		Fitted: s.fitted, FittedSD: fittedSD(s.fitted), Watch: limit(s.watch, s.source), Act: limit(s.act, s.source),
	}
}

// of changes the materials of a bearing.
func of(p wear.Pair, b wear.Bearing) wear.Bearing {
	b.Pair = p
	return b
}

// outdoors puts a bearing in the weather.
func outdoors(b wear.Bearing) wear.Bearing {
	b.In = wear.Outdoors
	return b
}

// brassShaft stands a long brass shaft of so many mm on a bearing, in an iron
// post: it grows more than the post.
func brassShaft(length float64, b wear.Bearing) wear.Bearing {
	b.Stand, b.Shaft, b.Frame = wear.FromMM(length), wear.Brass, wear.CastIron
	return b
}

// asFound forgets when a part was fitted: it was there before anyone in care.
func asFound(b wear.Bearing) wear.Bearing {
	b.Fitted, b.FittedSD = 0, 0
	return b
}

// arbor turns revs times an hour (going) or a stroke (strike, chime).
func arbor(code, name string, revs float64, bs ...wear.Bearing) wear.Arbor {
	return wear.Arbor{Code: code, Name: name, Revs: revs, Bearings: bs}
}
