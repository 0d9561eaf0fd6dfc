package wear

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// TestLimits: shares of the module by judgement (0.25, 0.45, 0.70; cycloidal
// 0.10, 0.25), over the sine or cosine of the cone; binding from the backlash.
func TestLimits(t *testing.T) {
	with := func(m Mesh, change func(*Mesh)) Mesh { change(&m); return m }
	cycloidal := func(m *Mesh) { m.Cycloidal, m.PressureAngle = true, 0 }
	closing := func(m *Mesh) { m.Drop, m.Backlash = Closes, 150 }
	for _, c := range []struct {
		name             string
		m                Mesh
		s                Shake
		watch, act, stop Length
		says             string
	}{
		// 0.5 mm, 0.9 and 1.4 over sin 45°.
		{"miter", miter(), EndShake, 707, 1273, 1980, "bevel mesh, module 2 mm, cone 45°: 0.25, 0.45 and 0.70 of the module lost in depth (judgement); taken to open, which is not recorded"},
		{"said to open", with(miter(), func(m *Mesh) { m.Drop = Opens }), EndShake, 707, 1273, 1980, "(judgement)"},
		{"spur", spur(20), SideShake, 250, 450, 700, "spur mesh, module 1 mm: 0.25"},
		{"spur, along", spur(20), EndShake, 0, 0, 0, ""},
		{"contrate", contrate(), EndShake, 250, 450, 700, "contrate mesh"},
		{"contrate, across", contrate(), SideShake, 0, 0, 0, ""},
		{"cycloidal", with(spur(0), cycloidal), SideShake, 100, 250, 0, "cycloidal: 0.10 and 0.25 of the module"},
		{"cycloidal contrate", with(contrate(), cycloidal), EndShake, 100, 250, 0, "contrate mesh, module 1 mm, cycloidal"},
		// 0.15/(2 tan 20° sin 45°) = 0.29141399 mm, computed once in Python 3.11.
		{"closing", with(miter(), closing), EndShake, 146, 291, 0, "bevel mesh, module 2 mm, cone 45°: closes until its backlash of 0.15 mm (5.9 thou) is gone and it binds"},
		{"closing, backlash not known", with(miter(), func(m *Mesh) { m.Drop = Closes }), EndShake, 0, 0, 0, ""},
		{"closing, cycloidal", with(with(contrate(), closing), cycloidal), EndShake, 0, 0, 0, ""},
		{"no module", with(miter(), func(m *Mesh) { m.Module = 0 }), EndShake, 0, 0, 0, ""},
		{"module not a number", with(miter(), func(m *Mesh) { m.Module = math.NaN() }), EndShake, 0, 0, 0, ""},
		{"unknown shake", miter(), "wobble", 0, 0, 0, ""},
	} {
		watch, act, stop, source := c.m.Limits(c.s)
		if watch != c.watch || act != c.act || stop != c.stop {
			t.Errorf("%s: %v, %v, %v, want %v, %v, %v", c.name, watch, act, stop, c.watch, c.act, c.stop)
		}
		if !strings.Contains(source, c.says) || (source == "") != (c.says == "") {
			t.Errorf("%s: source %q, want %q in it", c.name, source, c.says)
		}
	}
	if _, _, _, source := with(miter(), func(m *Mesh) { m.Drop = Opens }).Limits(EndShake); strings.Contains(source, "not recorded") {
		t.Errorf("a drop that is recorded: %q", source)
	}
}

// TestLimitsMeanWhatTheySay: full-depth teeth at 20° have a contact ratio of
// about 1.4, 1.2 and 1 at the three limits; a closing mesh has no backlash left
// at its act limit.
func TestLimitsMeanWhatTheySay(t *testing.T) {
	for _, m := range []Mesh{miter(), spur(20)} {
		s := EndShake
		if m.Kind == Spur {
			s = SideShake
		}
		watch, act, stop, _ := m.Limits(s)
		near(t, "watch", m.Engage(s, watch.MM()).Contact, 1.4, .03)
		near(t, "act", m.Engage(s, act.MM()).Contact, 1.2, .05)
		near(t, "stop", m.Engage(s, stop.MM()).Contact, 1, .05)
		near(t, "left at stop", m.Engage(s, stop.MM()).Depth, .65, .001)
		m.Drop, m.Backlash = Closes, FromMM(.08*m.Module)
		_, act, _, _ = m.Limits(s)
		left := m.Backlash.MM() + m.Engage(s, act.MM()).Backlash
		// A whole micrometre of move, and the second order of a spur pair, which
		// leaves some backlash and never too little.
		if left < -.001 || left > .1*m.Backlash.MM() {
			t.Errorf("%s: %.4f mm of backlash left where it should bind", m.Kind, left)
		}
	}
}

// invented returns a mesh that is sound, of any kind.
func invented(rng *rand.Rand) Mesh {
	m := Mesh{Code: "x", Bearing: "y", Kind: []MeshKind{Spur, Bevel, Contrate}[rng.IntN(3)],
		Module: .1 + 8*rng.Float64(), PressureAngle: 10 + 25*rng.Float64(),
		Teeth: 4 + rng.IntN(150), Mate: 4 + rng.IntN(150), Drop: Opens, Backlash: 10, ToHand: 1}
	if rng.IntN(4) == 0 {
		m.Cycloidal, m.PressureAngle = true, 0
	}
	return m
}

// TestMoreMovementNeverDeepens: as an opening mesh moves, depth and contact
// never grow, backlash and freedom never shrink; limits are in order.
func TestMoreMovementNeverDeepens(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	for range 300 {
		m := invented(rng)
		if err := m.Validate(); err != nil {
			t.Fatalf("%+v: %v", m, err)
		}
		for _, s := range []Shake{EndShake, SideShake} {
			last := m.Engage(s, 0)
			near(t, "at its right depth", last.Depth, 1, 0)
			for move := .05; move < 3*m.Module; move *= 1.3 {
				e := m.Engage(s, move)
				if e.Lost < last.Lost || e.Depth > last.Depth || e.Contact > last.Contact+1e-12 ||
					e.Backlash < last.Backlash-1e-12 || e.Freedom < last.Freedom-1e-9 {
					t.Fatalf("%+v, %s: %v mm makes of %+v %+v", m, s, move, last, e)
				}
				last = e
			}
			watch, act, stop, source := m.Limits(s)
			if watch > act || stop != 0 && act > stop || (source == "") != (act == 0) {
				t.Fatalf("%+v, %s: limits %v, %v, %v from %q", m, s, watch, act, stop, source)
			}
		}
	}
}

// TestMeshScales: a mesh twice as large in every length has limits twice as
// far, the same share of depth and contact, and twice the backlash.
func TestMeshScales(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	for range 300 {
		m := invented(rng)
		if rng.IntN(2) == 0 {
			m.Drop = Closes
		}
		big := m
		big.Module, big.Backlash, big.Mounted = 2*m.Module, 2*m.Backlash, 2*m.Mounted
		for _, s := range []Shake{EndShake, SideShake} {
			w, a, x, _ := m.Limits(s)
			bw, ba, bx, _ := big.Limits(s)
			for _, p := range [][2]Length{{w, bw}, {a, ba}, {x, bx}} {
				if d := p[1] - 2*p[0]; d < -1 || d > 1 { // both are rounded to a micrometre
					t.Fatalf("%+v, %s: limit %v becomes %v", m, s, p[0], p[1])
				}
			}
			move := .3 * m.Module
			e, f := m.Engage(s, move), big.Engage(s, 2*move)
			near(t, "lost", f.Lost, 2*e.Lost, 1e-12)
			near(t, "depth", f.Depth, e.Depth, 1e-12)
			if !m.Cycloidal {
				near(t, "contact", f.Contact, e.Contact, 1e-9)
				near(t, "backlash", f.Backlash, 2*e.Backlash, 1e-9)
				near(t, "freedom", f.Freedom, e.Freedom, 1e-6)
			}
		}
	}
}

// TestLimitsInBothUnits: a limit that is printed in either unit and read back
// is the same limit, within the tenth of a thou that is printed.
func TestLimitsInBothUnits(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 10))
	for range 200 {
		m := invented(rng)
		_, act, _, _ := m.Limits(EndShake)
		for _, u := range []Unit{MM, Thou} {
			back, err := ParseLength(act.In(u))
			if err != nil || back-act > 2 || act-back > 2 {
				t.Fatalf("%v is read from %q as %v, %v", act, act.In(u), back, err)
			}
		}
	}
}
