package wear

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// miter is a right-angled bevel pair of equal wheels: 20:20, module 2, 20°.
func miter() Mesh {
	return Mesh{Code: "motion-bevel", Bearing: "rod-foot", Kind: Bevel, Module: 2, PressureAngle: 20, Teeth: 20, Mate: 20}
}

// spur is a pair of spur wheels of 30 teeth, module 1.
func spur(pressure float64) Mesh {
	return Mesh{Code: "minute", Bearing: "centre-front", Kind: Spur, Module: 1, PressureAngle: pressure, Teeth: 30, Mate: 30}
}

// contrate is a wheel of 60 with its teeth on the face, and a pinion of 12.
func contrate() Mesh {
	return Mesh{Code: "escape", Bearing: "contrate-foot", Kind: Contrate, Module: 1, PressureAngle: 20, Teeth: 60, Mate: 12}
}

// TestBevelDrop: a wheel that sinks along its arbor loses the sine of its pitch
// cone in depth, and gains twice that by the tangent of the pressure angle in
// backlash. Worked by hand from the geometry of the cone.
func TestBevelDrop(t *testing.T) {
	pair := func(teeth, mate int) Mesh {
		m := miter()
		m.Teeth, m.Mate = teeth, mate
		return m
	}
	fine := Mesh{Kind: Bevel, Module: 25.4 / 12, PressureAngle: 14.5, Teeth: 24, Mate: 24} // diametral pitch 12
	for _, c := range []struct {
		name                  string
		m                     Mesh
		cone, move            float64
		lost, backlash, depth float64
	}{
		{"miter", miter(), 45, 1, .70710678, .51473164, .82322330},
		{"pinion of 20:40", pair(20, 40), 26.565051, 1, .44721360, .32554487, 1 - .44721360/4},
		{"wheel of 20:40", pair(40, 20), 90 - 26.565051, 1, .89442719, .65108975, .77639320},
		{"12 to the inch", fine, 45, .5, .35355339, .18287025, .91648345},
	} {
		e := c.m.Engage(EndShake, c.move)
		near(t, c.name+": cone", c.m.ConeAngle(), c.cone, 1e-6)
		near(t, c.name+": lost", e.Lost, c.lost, 1e-8)
		near(t, c.name+": backlash", e.Backlash, c.backlash, 1e-8)
		near(t, c.name+": depth", e.Depth, c.depth, 1e-8)
	}
}

// TestQuarterLost: a wheel of module 2 on a cone of 45° that sinks by the square
// root of 2 mm loses 1 mm of depth, a quarter of the working depth of two
// modules; half as much is lost of a module of 4.
func TestQuarterLost(t *testing.T) {
	m := miter()
	for _, c := range []struct{ module, move, depth float64 }{{2, 1.41421356, .75}, {4, 1.41421356, .875}, {4, 2 * 1.41421356, .75}} {
		m.Module = c.module
		near(t, "depth", m.Engage(EndShake, c.move).Depth, c.depth, 1e-8)
	}
	m.Module = 2
	near(t, "lost", m.Engage(EndShake, 1.41421356).Lost, 1, 1e-8)
	// The limit at which it is to be watched is a quarter of the module: half that.
	watch, _, _, _ := m.Limits(EndShake)
	near(t, "watched", watch.MM(), 1.41421356/2, .0005)
}

// TestAcross: what a wheel of each kind loses when it moves along its arbor and
// across it. Along and across, the squares of the shares add up to one.
func TestAcross(t *testing.T) {
	pinion := contrate()
	pinion.Teeth, pinion.Mate = 12, 60
	given := miter()
	given.Cone = 30
	for _, c := range []struct {
		name          string
		m             Mesh
		along, across float64
	}{
		{"spur", spur(20), 0, 1},
		{"miter", miter(), math.Sqrt2 / 2, math.Sqrt2 / 2},
		{"cone given", given, .5, math.Sqrt(.75)}, // of 30°, school trigonometry
		{"contrate wheel", contrate(), 1, 0},
		{"its pinion", pinion, 0, 1},
	} {
		near(t, c.name+" along", c.m.Engage(EndShake, 1).Lost, c.along, 1e-15)
		near(t, c.name+" across", c.m.Engage(SideShake, 1).Lost, c.across, 1e-15)
		c.m.Drop = Closes
		near(t, c.name+" closing", c.m.Engage(EndShake, 1).Lost, -c.along, 1e-15)
		if lost := c.m.Engage(EndShake, 1).Lost; lost == 0 && math.Signbit(lost) {
			t.Errorf("%s: nothing lost is printed as -0", c.name)
		}
	}
	m := spur(20)
	m.Backlash, m.ToHand = 50, 1 // so that no figure is NaN
	if still, right := m.Engage(EndShake, 5), m.Engage(EndShake, 0); still != right {
		t.Errorf("a spur wheel that slides in its mesh: %+v, want as it was: %+v", still, right)
	}
	if e := miter().Engage("wobble", 1); !math.IsNaN(e.Lost) || !math.IsNaN(e.Depth) || !math.IsNaN(e.Contact) {
		t.Errorf("an unknown shake gives %+v", e)
	}
}

// TestContactRatio: values of the textbook formula, computed once in Python
// 3.11 apart from this code, c in modules of centre distance or, for the miter,
// of depth.
func TestContactRatio(t *testing.T) {
	twenty40 := spur(20)
	twenty40.Teeth, twenty40.Mate = 20, 40
	for _, c := range []struct {
		name    string
		m       Mesh
		s       Shake
		perMove float64
		at      map[float64]float64
	}{
		{"20°", spur(20), SideShake, 1, map[float64]float64{0: 1.65351, .10: 1.55569, .25: 1.41319, .50: 1.18567, .75: .96886, .7134: 1, .4839: 1.2}},
		{"14.5°", spur(14.5), SideShake, 1, map[float64]float64{0: 1.94662, .10: 1.81842, .25: 1.63645, .50: 1.35536, .75: 1.09596}},
		{"20:40", twenty40, SideShake, 1, map[float64]float64{0: 1.63519}},
		{"miter", miter(), EndShake, 2 * math.Sqrt2, map[float64]float64{0: 1.64030, .25: 1.40039, .5: 1.17391, .7010: 1, .4705: 1.2}},
	} {
		for modules, want := range c.at {
			tolerance := 1e-5
			if want == 1 || want == 1.2 { // the printed c has four digits
				tolerance = 1e-4
			}
			near(t, c.name, c.m.Engage(c.s, modules*c.perMove).Contact, want, tolerance)
		}
	}
}

// TestContactByTheBook: the form used is, but for rounding, that of any
// textbook: [√(ra1²-rb1²) + √(ra2²-rb2²) - a sin αw]/(π m cos α); and for a
// contrate wheel that of a pinion and a rack.
func TestContactByTheBook(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for range 500 {
		m := spur(12 + 20*rng.Float64())
		m.Module = .2 + 5*rng.Float64()
		m.Teeth, m.Mate = 8+rng.IntN(90), 8+rng.IntN(90)
		c := rng.Float64() * m.Module
		sin, cos := math.Sincos(m.PressureAngle * math.Pi / 180)
		r1, r2 := m.Module*float64(m.Teeth)/2, m.Module*float64(m.Mate)/2
		tip := func(r float64) float64 { return math.Sqrt((r+m.Module)*(r+m.Module) - r*r*cos*cos) }
		a := r1 + r2 + c
		working := math.Acos((r1 + r2) * cos / a)
		want := max(0, (tip(r1)+tip(r2)-a*math.Sin(working))/(math.Pi*m.Module*cos))
		near(t, "spur", m.Engage(SideShake, c).Contact, want, 1e-9)

		face := contrate()
		face.Module, face.PressureAngle, face.Mate, face.Teeth = m.Module, m.PressureAngle, m.Mate, m.Mate+1
		want = max(0, (tip(r2)-r2*sin+(m.Module-c)/sin)/(math.Pi*m.Module*cos))
		near(t, "contrate", face.Engage(EndShake, c).Contact, want, 1e-9)
	}
}

// TestBacklash: of spur wheels drawn apart, in modules, computed once in Python
// 3.11; and against the other way to it: at the working pitch circle the tooth
// of each wheel is r(s/r₀ + 2 inv α - 2 inv αw) thick (gear geometry of any
// textbook), and backlash is what two teeth leave of the pitch there.
func TestBacklash(t *testing.T) {
	near(t, "a quarter", spur(20).Engage(SideShake, .25).Backlash, .18911, 1e-5)
	near(t, "a half", spur(20).Engage(SideShake, .5).Backlash, .39207, 1e-5)
	near(t, "first order", 2*.25*math.Tan(20*math.Pi/180), .18199, 1e-5)
	rng := rand.New(rand.NewPCG(3, 4))
	for range 500 {
		m := spur(12 + 20*rng.Float64())
		m.Module = .2 + 5*rng.Float64()
		m.Teeth, m.Mate = 8+rng.IntN(90), 8+rng.IntN(90)
		c := (rng.Float64() - .1) * m.Module // a little too deep, too
		alpha := m.PressureAngle * math.Pi / 180
		a0 := m.Module * float64(m.Teeth+m.Mate) / 2
		cos := a0 * math.Cos(alpha) / (a0 + c)
		if cos > 1 {
			continue // below the base circles: no such mesh
		}
		working := math.Acos(cos)
		left := 0.0
		for _, z := range []int{m.Teeth, m.Mate} {
			r0 := m.Module * float64(z) / 2
			r := r0 * (a0 + c) / a0
			left += math.Pi*r/float64(z) - r*(math.Pi*m.Module/2/r0+2*(math.Tan(alpha)-alpha)-2*(math.Tan(working)-working))
		}
		near(t, "by the teeth", m.Engage(SideShake, c).Backlash, left, 1e-9)
	}
	if j := spur(20).Engage(SideShake, -5).Backlash; !math.IsNaN(j) {
		t.Errorf("wheels pressed through one another have a backlash of %v", j)
	}
}

// TestFreedom: backlash of one whole pitch lets the wheel turn by one tooth, so
// the hand by as much of its 3600 s as one tooth is of the wheel.
func TestFreedom(t *testing.T) {
	m := miter()
	m.Backlash, m.ToHand = FromMM(math.Pi*2), 1 // a pitch of module 2
	near(t, "a pitch", m.Engage(EndShake, 0).Freedom, 3600./20, .02)
	m.ToHand = 12 // the wheel turns once in twelve hours
	near(t, "an hour wheel", m.Engage(EndShake, 0).Freedom, 12*3600./20, .2)
	m.ToHand, m.Backlash = 1, 150
	// 0.15 mm and what 1 mm of drop adds, on a pitch radius of 20 mm.
	near(t, "with a drop", m.Engage(EndShake, 1).Freedom, (.15+.51473164)/20*3600/(2*math.Pi), 1e-6)
	m.Drop = Closes
	near(t, "bound", m.Engage(EndShake, 1).Freedom, 0, 0)
	for _, change := range []func(*Mesh){
		func(m *Mesh) { m.ToHand = 0 },
		func(m *Mesh) { m.Backlash = 0 },
		func(m *Mesh) { m.Cycloidal, m.PressureAngle = true, 0 },
	} {
		m := m
		change(&m)
		if f := m.Engage(EndShake, 1).Freedom; !math.IsNaN(f) {
			t.Errorf("%+v: freedom of %v s, where it cannot be known", m, f)
		}
	}
}

// TestMissingFigures: what cannot be worked out is NaN, and the rest is there.
func TestMissingFigures(t *testing.T) {
	cycloidal := spur(0)
	cycloidal.Cycloidal = true
	e := cycloidal.Engage(SideShake, .2)
	near(t, "lost", e.Lost, .2, 0)
	if math.IsNaN(e.Depth) || !math.IsNaN(e.Backlash) || !math.IsNaN(e.Contact) {
		t.Errorf("cycloidal: %+v", e)
	}
	for name, change := range map[string]func(*Mesh){
		"no module":  func(m *Mesh) { m.Module = 0 },
		"NaN module": func(m *Mesh) { m.Module = math.NaN() },
		"no teeth":   func(m *Mesh) { m.Teeth = 0 },
		"no mate":    func(m *Mesh) { m.Mate = 0 },
	} {
		m := spur(20)
		change(&m)
		e := m.Engage(SideShake, .2)
		near(t, name, e.Lost, .2, 0)
		if !math.IsNaN(e.Depth) || !math.IsNaN(e.Backlash) || !math.IsNaN(e.Contact) || !math.IsNaN(e.Freedom) {
			t.Errorf("%s: %+v", name, e)
		}
	}
	m := spur(0) // its pressure angle is missing
	if e := m.Engage(SideShake, .2); e.Depth != .9 || !math.IsNaN(e.Backlash) || !math.IsNaN(e.Contact) {
		t.Errorf("no pressure angle: %+v", e)
	}
}

func TestMeshValidate(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*Mesh)
		want   string // empty: sound
	}{
		{"a miter", func(*Mesh) {}, ""},
		{"all recorded", func(m *Mesh) { m.Drop, m.Mounted, m.Backlash, m.ToHand = Closes, 250, 150, 12 }, ""},
		{"a spur pair", func(m *Mesh) { *m = spur(14.5) }, ""},
		{"a contrate pair", func(m *Mesh) { *m = contrate() }, ""},
		{"cycloidal", func(m *Mesh) { m.Cycloidal, m.PressureAngle = true, 0 }, ""},
		{"a cone, rounded", func(m *Mesh) { m.Teeth, m.Mate, m.Cone = 19, 40, 28.4 }, ""},
		{"no code", func(m *Mesh) { m.Code = "" }, "no code"},
		{"no bearing", func(m *Mesh) { m.Bearing = "" }, "names no bearing"},
		{"unknown kind", func(m *Mesh) { m.Kind = "worm" }, `kind "worm"`},
		{"no kind", func(m *Mesh) { m.Kind = "" }, "is not known"},
		{"unknown drop", func(m *Mesh) { m.Drop = "sideways" }, "what a drop does"},
		{"module of nothing", func(m *Mesh) { m.Module = 0 }, "module 0 mm"},
		{"module below nothing", func(m *Mesh) { m.Module = -2 }, "module -2 mm"},
		{"module of a crane", func(m *Mesh) { m.Module = 51 }, "up to 50"},
		{"module not a number", func(m *Mesh) { m.Module = math.NaN() }, "module NaN"},
		{"module without end", func(m *Mesh) { m.Module = math.Inf(1) }, "module +Inf"},
		{"three teeth", func(m *Mesh) { m.Teeth = 3 }, "3 and 20 teeth"},
		{"no mate", func(m *Mesh) { m.Mate = 0 }, "20 and 0 teeth"},
		{"teeth below nothing", func(m *Mesh) { m.Teeth = -20 }, "-20 and 20 teeth"},
		{"too many teeth", func(m *Mesh) { m.Mate = 2001 }, "between 4 and 2000"},
		{"no pressure angle", func(m *Mesh) { m.PressureAngle = 0 }, "pressure angle 0°"},
		{"flat pressure angle", func(m *Mesh) { m.PressureAngle = 9 }, "between 10 and 35"},
		{"steep pressure angle", func(m *Mesh) { m.PressureAngle = 36 }, "between 10 and 35"},
		{"pressure angle not a number", func(m *Mesh) { m.PressureAngle = math.NaN() }, "pressure angle NaN°"},
		{"cycloidal with a pressure angle", func(m *Mesh) { m.Cycloidal = true }, "cycloidal teeth have no pressure angle"},
		{"cone below nothing", func(m *Mesh) { m.Cone = -1 }, "cone of -1°"},
		{"cone past flat", func(m *Mesh) { m.Cone = 91 }, "between 0 and 90"},
		{"cone not a number", func(m *Mesh) { m.Cone = math.NaN() }, "cone of NaN°"},
		{"spur with a cone", func(m *Mesh) { *m = spur(20); m.Cone = 45 }, "a spur wheel has no cone"},
		{"a cone that cannot be", func(m *Mesh) { m.Mate, m.Cone = 40, 60 }, "cannot meet one of 40"},
		{"negative backlash", func(m *Mesh) { m.Backlash = -1 }, "backlash"},
		{"backlash of a tooth", func(m *Mesh) { m.Backlash = 3200 }, "the width of a tooth, 3.14 mm"},
		{"negative mounting", func(m *Mesh) { m.Mounted = -1 }, "mounted at"},
		{"mounting of a beam", func(m *Mesh) { m.Mounted = 101 * Millimetre }, "mounted at"},
		{"hand turning back", func(m *Mesh) { m.ToHand = -1 }, "-1 turns of the minute hand"},
		{"hand too fast", func(m *Mesh) { m.ToHand = 1e5 }, "between 0 and 10000"},
		{"hand not a number", func(m *Mesh) { m.ToHand = math.NaN() }, "NaN turns"},
	} {
		m := miter()
		c.change(&m)
		err := m.Validate()
		switch {
		case c.want == "" && err != nil:
			t.Errorf("%s: refused: %v", c.name, err)
		case c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)):
			t.Errorf("%s: got %v, want a refusal with %q", c.name, err, c.want)
		}
	}
}

// FuzzMesh: whatever a mesh holds there is no panic, and one that is taken has
// a depth, and limits in order that a length can hold.
func FuzzMesh(f *testing.F) {
	f.Add(uint8(1), 2., 20., 20, 20, 0., uint8(0), int64(150), 12., 1., false)
	f.Add(uint8(0), 1., 0., 60, 8, 0., uint8(1), int64(0), 0., -3., true)
	f.Add(uint8(2), .5, 14.5, 60, 12, 90., uint8(2), int64(80), 1., 1e300, false)
	f.Add(uint8(3), math.NaN(), math.Inf(1), -1, 1<<40, -0., uint8(3), int64(-1), math.NaN(), math.Inf(-1), false)
	f.Fuzz(func(t *testing.T, kind uint8, module, pressure float64, teeth, mate int, cone float64, drop uint8, backlash int64, toHand, move float64, cycloidal bool) {
		m := Mesh{Code: "x", Bearing: "y", Kind: []MeshKind{Spur, Bevel, Contrate, "worm"}[kind%4], Module: module, PressureAngle: pressure,
			Cycloidal: cycloidal, Teeth: teeth, Mate: mate, Cone: cone, Drop: []Drop{"", Opens, Closes, "sideways"}[drop%4],
			Backlash: Length(backlash), ToHand: toHand}
		err := m.Validate()
		for _, s := range []Shake{EndShake, SideShake} {
			e := m.Engage(s, move)
			watch, act, stop, _ := m.Limits(s)
			if err != nil {
				continue
			}
			if finite(move) && (math.IsNaN(e.Lost) || math.IsNaN(e.Depth) || e.Depth < 0) {
				t.Errorf("%+v moved %v: %+v", m, move, e)
			}
			if e.Contact < 0 || e.Freedom < 0 {
				t.Errorf("%+v moved %v: %+v", m, move, e)
			}
			if watch < 0 || watch > act || stop != 0 && stop < act || act > MaxLength || stop > MaxLength {
				t.Errorf("%+v: limits %v, %v, %v", m, watch, act, stop)
			}
		}
	})
}
