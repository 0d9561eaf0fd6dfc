package wear

import (
	"math"
	"testing"
)

// Rules of thumb beside what they are of: Beckett 1903, p. 35 (5,400 a²) and
// p. 51 (10,800 m/M at mid-length; his formula gives 9,600 at a third, where he
// prints 7,200).
func TestRulesOfThumb(t *testing.T) {
	near(t, "2°", CircularRule(2), 6.579736, 1e-6)
	near(t, "2.5° to 2°", CircularRule(2.5)-CircularRule(2), 3.701102, 1e-6)
	near(t, "mid-length", AddedRule(1, .5), 10800, 1e-9)
	near(t, "a third", AddedRule(1, 1./3), 9600, 1e-9)
	near(t, "two thirds", AddedRule(1, 2./3), 9600, 1e-9)
	near(t, "at the ends", AddedRule(1, 0)+AddedRule(1, 1), 0, 1e-9)
	near(t, "605 ms/day a °C", MillionthsFor(-.605), 14.0, .05) // clock pages of a Cambridge college
	for _, m := range []float64{1.2, 11.5, 19} {
		near(t, "there and back", MillionthsFor(HeatRate(m)), m, 1e-12)
	}
	// A rule to first order leaves the exact figure by an order less.
	for _, a := range []float64{.5, 1, 2, 3} {
		near(t, "arc", CircularRule(a)/CircularLoss(a), 1, a*a*1e-4)
	}
	for _, r := range []float64{1e-5, 1e-4, 1e-3} {
		for _, x := range []float64{.2, .5, .8} {
			near(t, "added", AddedRule(r, x)/AddedRate(r, x), 1, r)
		}
	}
}

// The move that takes up the backlash: worked by hand for a miter of 20° and
// 0.15 mm, 0.15 / (2 tan 20° sin 45°); what takes it up adds as much the other
// way.
func TestBindsAt(t *testing.T) {
	m := miter()
	if _, ok := m.BindsAt(EndShake); ok {
		t.Error("a mesh whose backlash is not known is said to bind")
	}
	m.Backlash = 150
	at, ok := m.BindsAt(EndShake)
	if !ok {
		t.Fatal("it is not said when it binds")
	}
	near(t, "binds", at, .29141399, 1e-8)
	near(t, "backlash", m.Engage(EndShake, at).Backlash, .15, 1e-12)
	m.Drop = Closes
	if again, _ := m.BindsAt(EndShake); again != at {
		t.Errorf("it binds at %g where wear closes it, at %g else", again, at)
	}
	if _, act, _, _ := m.Limits(EndShake); math.Abs(act.MM()-at) > .0005 {
		t.Errorf("the limit is %v, though it binds at %g mm", act, at)
	}
	m.Cycloidal, m.PressureAngle = true, 0
	if _, ok := m.BindsAt(EndShake); ok {
		t.Error("cycloidal teeth, which have no pressure angle, are said to bind")
	}
	s := spur(20)
	s.Backlash = 100
	if _, ok := s.BindsAt(EndShake); ok {
		t.Error("a spur wheel that slides in its mesh is said to bind")
	}
}

// Unrounded lengths: a 1/20 in pitch is 1.27 mm, and 1/18 in no whole number of
// micrometres. Whatever ParseLength refuses, ParseMM refuses.
func TestParseMM(t *testing.T) {
	for text, want := range map[string]float64{"1/18 in": 25.4 / 18, "0.201 in": 5.1054, "39.14 in": 994.156, "10.3 m": 10300, "-0.2 mm": -.2} {
		got, err := ParseMM(text)
		if err != nil || math.Abs(got-want) > 1e-12*math.Abs(want) {
			t.Errorf("ParseMM(%q) = %.15g, %v; want %.15g", text, got, err, want)
		}
		if l, err := ParseLength(text); err != nil || l != FromMM(want) {
			t.Errorf("ParseLength(%q) = %v, %v", text, l, err)
		}
	}
	for _, text := range []string{"", "1", "mm", "1 ell", "1e3 mm", "300 m", "NaN mm", "1/0 in"} {
		if mm, err := ParseMM(text); err == nil || mm != 0 {
			t.Errorf("ParseMM(%q) = %g, %v", text, mm, err)
		}
	}
}

// The lines of one clock: its keepers' diary of 2021 has 33.1, 31.8, 33.8 and
// 34.5 m, each a hand's breadth more than the sum.
func TestRopeLength(t *testing.T) {
	for _, c := range []struct{ hung, lead, diary float64 }{{.75, 2.43, 33.1}, {1.07, 2.08, 31.8}, {.73, 3.05, 33.8}, {.64, 3.50, 34.5}} {
		near(t, "rope", RopeLength(3, 10.3, .1, c.hung, c.lead, 2.25), c.diary, .10)
	}
	near(t, "one line", RopeLength(1, 10, 0, 0, 0, 0), 10, 0)
	near(t, "each part hangs as far", RopeLength(4, 10, .5, .5, 2, 1)-RopeLength(3, 10, .5, .5, 2, 1), 9, 1e-12)
}
