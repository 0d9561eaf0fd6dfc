package wear

import (
	"fmt"
	"math"
)

// MeshKind is the kind of a pair of wheels that drive one another.
type MeshKind string

// The kinds.
const (
	Spur     MeshKind = "spur"     // parallel arbors
	Bevel    MeshKind = "bevel"    // crossed arbors, conical wheels
	Contrate MeshKind = "contrate" // teeth on the face of a wheel
)

// Drop says what it does to a mesh when its wheel moves as its bearing wears:
// sinks along its arbor, or is pushed across it.
type Drop string

// What a drop does; empty: not recorded, and taken to open the mesh.
const (
	Opens  Drop = "opens"  // draws the teeth apart
	Closes Drop = "closes" // presses them together
)

// Mesh is a pair of wheels, one of which moves as a bearing wears.
type Mesh struct {
	Code string // unique within the clock: "motion-bevel"
	Name string
	// Bearing is the code of the bearing whose wear moves the wheel: along its
	// arbor where the bearing's shake is end-shake, across it where side-shake.
	Bearing string
	Kind    MeshKind
	Module  float64 // mm; 25.4 over the diametral pitch
	// PressureAngle in degrees, of involute teeth; Cycloidal teeth have none.
	PressureAngle float64
	Cycloidal     bool
	Teeth, Mate   int // of the wheel that moves, and of the other
	// Cone is the half-angle in degrees of the moving wheel's pitch cone; zero:
	// from the teeth, for arbors at right angles. See [Mesh.ConeAngle].
	Cone float64
	Drop Drop
	// Mounted is the shake at which the mesh is at its right depth; zero: as fitted.
	Mounted Length
	// Backlash at the pitch circle at the right depth; zero: not known.
	Backlash Length
	// ToHand is the turns of the minute hand to one of the moving wheel; zero:
	// it does not drive the hands.
	ToHand float64
}

// Engagement is how a pair of wheels meets. A figure that is not known is NaN.
type Engagement struct {
	Lost float64 // depth of engagement lost, mm; negative: too deep
	// Depth is what is left as a share of the working depth: two modules for
	// involute teeth, the sum of the addenda for cycloidal ones; 0: out of mesh,
	// above 1: too deep.
	Depth    float64
	Backlash float64 // mm at the pitch circle, added to that at the right depth
	Contact  float64 // contact ratio: below 1 the drive is not continuous
	Freedom  float64 // of the minute hand from this mesh alone, seconds
}

// What is taken for a slip instead of a fact.
const (
	largestModule   = 50   // mm
	fewestTeeth     = 4    // of the smallest lantern pinions
	mostTeeth       = 2000 // of one wheel
	leastPressure   = 10   // degrees
	greatestPress   = 35   // degrees
	mostTurnsToHand = 10000
	largestMounted  = 100 * Millimetre // as for a reading
)

// Validate reports the first thing that cannot be right about a mesh.
func (m Mesh) Validate() error {
	switch {
	case m.Code == "":
		return fmt.Errorf("a mesh has no code: give it a short one, like motion-bevel")
	case m.Bearing == "":
		return fmt.Errorf("mesh %s names no bearing: give the code of the one whose wear moves its wheel", m.Code)
	case m.Kind != Spur && m.Kind != Bevel && m.Kind != Contrate:
		return fmt.Errorf("mesh %s: kind %q is not known: use %q, %q or %q", m.Code, m.Kind, Spur, Bevel, Contrate)
	case m.Drop != "" && m.Drop != Opens && m.Drop != Closes:
		return fmt.Errorf("mesh %s: what a drop does, %q, is not known: use %q or %q, or leave it out", m.Code, m.Drop, Opens, Closes)
	case m.Mounted < 0 || m.Mounted > largestMounted:
		return fmt.Errorf("mesh %s: the shake it is mounted at, %v, must be between nothing and %v", m.Code, m.Mounted, largestMounted)
	case !(m.ToHand >= 0 && m.ToHand <= mostTurnsToHand):
		return fmt.Errorf("mesh %s: %v turns of the minute hand to one of the wheel must be between 0 and %d", m.Code, m.ToHand, mostTurnsToHand)
	}
	return m.validateTeeth()
}

func (m Mesh) validateTeeth() error {
	switch {
	case !m.moduled():
		return fmt.Errorf("mesh %s: module %v mm must be above 0 and up to %d; it is 25.4 over the diametral pitch", m.Code, m.Module, largestModule)
	case !toothed(m.Teeth) || !toothed(m.Mate):
		return fmt.Errorf("mesh %s: %d and %d teeth: each wheel must have between %d and %d", m.Code, m.Teeth, m.Mate, fewestTeeth, mostTeeth)
	case m.Cycloidal && m.PressureAngle != 0:
		return fmt.Errorf("mesh %s: cycloidal teeth have no pressure angle: leave out the %v°, or say that they are involute", m.Code, m.PressureAngle)
	case !m.Cycloidal && !m.involute():
		return fmt.Errorf("mesh %s: pressure angle %v° must be between %d and %d: 14.5 and 20 are usual", m.Code, m.PressureAngle, leastPressure, greatestPress)
	case !(m.Cone >= 0 && m.Cone <= 90):
		return fmt.Errorf("mesh %s: cone of %v° must be between 0 and 90", m.Code, m.Cone)
	case m.Kind == Spur && m.Cone != 0:
		return fmt.Errorf("mesh %s: a spur wheel has no cone: leave out the %v°, or say that it is a bevel", m.Code, m.Cone)
	case m.Kind == Bevel && m.mateSine() > 1.01:
		// The two cones share one edge, so their sines are as their teeth; the
		// hundredth is for an angle that was rounded.
		return fmt.Errorf("mesh %s: a wheel of %d teeth with a cone of %v° cannot meet one of %d: check the angle, or leave it out", m.Code, m.Teeth, m.Cone, m.Mate)
	case m.Backlash < 0 || m.Backlash.MM() > math.Pi/2*m.Module:
		return fmt.Errorf("mesh %s: backlash %v must be between nothing and the width of a tooth, %.2f mm", m.Code, m.Backlash, math.Pi/2*m.Module)
	}
	return nil
}

func (m Mesh) moduled() bool { return m.Module > 0 && m.Module <= largestModule }

func (m Mesh) involute() bool {
	return !m.Cycloidal && m.PressureAngle >= leastPressure && m.PressureAngle <= greatestPress
}

func toothed(z int) bool { return z >= fewestTeeth && z <= mostTeeth }

// ConeAngle returns the half-angle in degrees of the moving wheel's pitch
// cone: 0 of a spur wheel; of another, Cone where it is given. Where it is not,
// the arbors are at right angles: the tangent of a bevel's is the ratio of the
// teeth, and of a contrate mesh the wheel with more teeth is taken to carry
// them on its face, at 90, and its pinion to be plain, at 0.
func (m Mesh) ConeAngle() float64 {
	switch {
	case m.Kind == Spur:
		return 0
	case m.Cone != 0:
		return m.Cone
	case m.Kind == Contrate && m.Teeth >= m.Mate:
		return 90
	case m.Kind == Contrate:
		return 0
	}
	return math.Atan2(float64(m.Teeth), float64(m.Mate)) * 180 / math.Pi
}

// mateSine is the sine of a bevel's other cone; above 1 there is no such cone.
func (m Mesh) mateSine() float64 {
	return float64(m.Mate) / float64(m.Teeth) * math.Sin(radians(m.ConeAngle()))
}

// mateCone is the half-angle in radians of the other wheel's pitch cone.
func (m Mesh) mateCone() float64 {
	switch m.Kind {
	case Spur:
		return 0
	case Bevel:
		return math.Asin(min(1, m.mateSine()))
	}
	return radians(90 - m.ConeAngle())
}

func radians(degrees float64) float64 { return degrees * math.Pi / 180 }
