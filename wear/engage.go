package wear

import (
	"fmt"
	"math"
)

// Engage returns how the wheels meet when the moving one has moved so many mm
// from its right depth: along its arbor as end-shake grows, across it, away
// from the other, as side-shake grows. Where Drop is not recorded the move is
// taken to open the mesh.
//
// Along its arbor a spur wheel loses no depth until its face is past the
// other's, a contrate wheel all of the move, and a bevel the sine of its cone
// angle; across it, the cosine. Backlash is exact for spur wheels (involute
// functions at the working centre distance) and to first order for bevel and
// contrate ones; the contact ratio is that of full-depth teeth of one module's
// addendum, for bevels of the virtual spur teeth z/cos(cone), for a contrate
// wheel of a rack (gear geometry of any textbook, first-order shifts derived
// here). Both are of unworn teeth; worn ones have less. Of cycloidal teeth, or
// where a figure is missing, they are NaN.
func (m Mesh) Engage(s Shake, move float64) Engagement {
	e := Engagement{Lost: move * m.reach(s), Depth: math.NaN(), Backlash: math.NaN(), Contact: math.NaN(), Freedom: math.NaN()}
	if m.Drop == Closes {
		e.Lost = 0 - e.Lost // not -e.Lost, which makes a "-0.00" of nothing
	}
	if !m.moduled() || !toothed(m.Teeth) || !toothed(m.Mate) {
		return e
	}
	e.Depth = max(0, 1-e.Lost/m.workingDepth())
	if !m.involute() {
		return e
	}
	e.Backlash, e.Contact = m.backlash(e.Lost), m.contact(e.Lost)
	if m.Backlash > 0 && m.ToHand > 0 {
		radius := m.Module * float64(m.Teeth) / 2
		turns := max(0, m.Backlash.MM()+e.Backlash) / (2 * math.Pi * radius)
		e.Freedom = 3600 * m.ToHand * turns
	}
	return e
}

// reach is the depth lost per mm moved; NaN for a shake that is not known.
func (m Mesh) reach(s Shake) float64 {
	sin, cos := math.Sincos(radians(m.ConeAngle()))
	switch {
	case s == EndShake:
		return sin
	case s == SideShake && cos < 1e-12: // of 90° in floating point
		return 0
	case s == SideShake:
		return cos
	}
	return math.NaN()
}

// workingDepth is how deep the teeth stand in one another, mm.
func (m Mesh) workingDepth() float64 {
	if m.Cycloidal {
		return m.Module * cycloidalDepth(max(m.Teeth, m.Mate), min(m.Teeth, m.Mate))
	}
	return 2 * m.Module
}

// involuteOf is the involute function of an angle.
func involuteOf(angle float64) float64 { return math.Tan(angle) - angle }

// backlash is what a loss of depth adds at the pitch circle, mm; NaN where the
// teeth cannot stand so deep.
func (m Mesh) backlash(lost float64) float64 {
	pressure := radians(m.PressureAngle)
	if m.Kind != Spur {
		return 2 * lost * math.Tan(pressure)
	}
	right := m.Module * float64(m.Teeth+m.Mate) / 2
	working := right + lost
	cos := right * math.Cos(pressure) / working
	if !(cos > 0 && cos <= 1) {
		return math.NaN()
	}
	return 2 * working * (involuteOf(math.Acos(cos)) - involuteOf(pressure))
}

// contact is the contact ratio at a loss of depth in mm. The differences of
// the textbook form are written as quotients, which hold for a rack too, whose
// radius is without end.
func (m Mesh) contact(lost float64) float64 {
	sin, cos := math.Sincos(radians(m.PressureAngle))
	radius := func(teeth int, cone float64) float64 { return m.Module * float64(teeth) / math.Cos(cone) / 2 }
	r1, r2 := radius(m.Teeth, radians(m.ConeAngle())), radius(m.Mate, m.mateCone())
	beyond := func(r float64) float64 { // along the line of action, from pitch circle to tip
		tip, base := r+m.Module, r*cos
		return m.Module * (2*r + m.Module) / (math.Sqrt(tip*tip-base*base) + r*sin)
	}
	right := r1 + r2
	working, base := right+lost, right*cos
	parted := lost * (2*right + lost) / (math.Sqrt(working*working-base*base) + right*sin)
	return max(0, (beyond(r1)+beyond(r2)-parted)/(math.Pi*m.Module*cos))
}

// Shares of the module that may be lost in depth. Involute: the contact ratio
// of full-depth teeth is then about 1.4, 1.2 and 1. Cycloidal teeth drive
// unevenly at small errors of depth already; what would stop them is not known.
// Judgement, no source.
var (
	involuteShares  = [3]float64{.25, .45, .70}
	cycloidalShares = [3]float64{.10, .25}
)

// flat is the depth lost per move, as a share, under which a move is taken to
// go along the teeth.
const flat = .01

// Limits returns by how much shake may grow, from that at which the mesh is at
// its right depth ([Mesh].Mounted), until the mesh is to be watched, mended,
// and no longer run; zero where none can be worked out. source says in plain
// words what the limits come from; empty where there are none.
//
// They are shares of the module that an opening mesh may lose in depth: 0.25,
// 0.45 and 0.70 of involute teeth, 0.10 and 0.25 of cycloidal ones. A closing
// mesh of involute teeth is to be mended before it binds, where its backlash
// is taken up, and watched at half of that; the first-order figure used is a
// little early for spur wheels. Where Drop is not recorded the mesh is taken
// to open, and source says so.
func (m Mesh) Limits(s Shake) (watch, act, stop Length, source string) {
	reach := m.reach(s)
	if !(reach > flat) || !m.moduled() {
		return 0, 0, 0, ""
	}
	if m.Drop == Closes {
		return m.binding(reach)
	}
	shares, share := involuteShares, "0.25, 0.45 and 0.70"
	if m.Cycloidal {
		shares, share = cycloidalShares, "0.10 and 0.25"
	}
	at := func(i int) Length { return FromMM(shares[i] * m.Module / reach) }
	source = fmt.Sprintf("%s: %s of the module lost in depth (judgement)", m.words(), share)
	if m.Drop == "" {
		source += "; taken to open, which is not recorded"
	}
	return at(0), at(1), at(2), source
}

// binding is Limits of a closing mesh.
func (m Mesh) binding(reach float64) (watch, act, stop Length, source string) {
	if !m.involute() || m.Backlash <= 0 {
		return 0, 0, 0, ""
	}
	at := m.bindsAt(reach)
	return FromMM(at / 2), FromMM(at), 0, fmt.Sprintf(
		"%s: closes until its backlash of %v is gone and it binds (watch at half: judgement)", m.words(), m.Backlash)
}

// bindsAt is the move in mm into mesh that takes up the backlash, to first order.
func (m Mesh) bindsAt(reach float64) float64 {
	return m.Backlash.MM() / (2 * math.Tan(radians(m.PressureAngle)) * reach)
}

// BindsAt is the move in mm that presses the wheels together until their
// backlash is gone and they bind, to first order, whichever way Drop says that
// wear moves them; ok is false where it cannot be worked out.
func (m Mesh) BindsAt(s Shake) (mm float64, ok bool) {
	reach := m.reach(s)
	if !(reach > flat) || !m.involute() || m.Backlash <= 0 {
		return 0, false
	}
	return m.bindsAt(reach), true
}

// words names a mesh by what its limits depend on: "bevel mesh, module 2 mm,
// cone 45°, cycloidal".
func (m Mesh) words() string {
	w := fmt.Sprintf("%s mesh, module %.4g mm", m.Kind, m.Module)
	if m.Kind == Bevel {
		w += fmt.Sprintf(", cone %.3g°", m.ConeAngle())
	}
	if m.Cycloidal {
		w += ", cycloidal"
	}
	return w
}
