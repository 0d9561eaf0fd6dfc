package wear

import (
	"math"
	"testing"
)

// TestCycloidalAddendum: factors f of BS 978-2:1952, from a published table of
// its numbers, by leaves of the pinion and ratio of the teeth.
func TestCycloidalAddendum(t *testing.T) {
	for _, c := range []struct {
		leaves, ratio int
		f             float64
	}{
		{6, 3, 1.259}, {6, 12, 1.328}, {7, 10, 1.408}, {8, 6, 1.459}, {10, 8, 1.607}, {12, 8, 1.721}, {16, 12, 1.940},
	} {
		near(t, "f", CycloidalAddendum(c.leaves*c.ratio, c.leaves), c.f, .001)
	}
	// The parts that make it up, to more digits: computed once in Python 3.11.
	near(t, "6/3", CycloidalAddendum(18, 6), 1.25911, 1e-5)
	near(t, "12/8", CycloidalAddendum(96, 12), 1.72107, 1e-5)
}

// TestEpicycloid: the tip is where the curve that a rolling circle draws has
// gone round by a quarter of the pitch, found here by walking along the curve.
func TestEpicycloid(t *testing.T) {
	for _, c := range [][2]int{{72, 8}, {30, 10}, {96, 12}, {40, 16}} {
		R, r := float64(c[0])/2, float64(c[1])/4
		height := 0.0
		for s := 0.0; ; s += 1e-6 { // the angle that the rolling circle's centre has gone round
			x := (R+r)*math.Cos(s) - r*math.Cos((R+r)/r*s)
			y := (R+r)*math.Sin(s) - r*math.Sin((R+r)/r*s)
			if math.Atan2(y, x) >= math.Pi/(2*float64(c[0])) {
				height = math.Hypot(x, y) - R
				break
			}
		}
		near(t, "tip", CycloidalAddendum(c[0], c[1]), .95*height, 1e-4)
	}
}

// TestCycloidalDepth: the addenda of wheel and pinion, BS 978-2:1952 as above:
// pinions of up to 7 leaves 0.855 m, of 8 and 9 0.670, of 10 and more 0.625.
// Which of the two moves makes no difference.
func TestCycloidalDepth(t *testing.T) {
	for _, c := range []struct {
		wheel, leaves int
		want          float64
	}{
		{70, 7, 1.408 + .855}, {48, 8, 1.459 + .670}, {80, 10, 1.607 + .625}, {96, 12, 1.721 + .625},
	} {
		m := Mesh{Kind: Spur, Module: .5, Cycloidal: true, Teeth: c.wheel, Mate: c.leaves}
		depth := m.Engage(SideShake, .1).Depth
		near(t, "depth", depth, 1-.1/(.5*c.want), 1e-3)
		m.Teeth, m.Mate = m.Mate, m.Teeth
		near(t, "the pinion moves", m.Engage(SideShake, .1).Depth, depth, 0)
	}
}
