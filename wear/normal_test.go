package wear

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// TestLnPhi: mpmath to 40 digits; relative 1e-12.
func TestLnPhi(t *testing.T) {
	for z, want := range map[float64]float64{
		-1: -1.8410216450093, -5: -15.064998393989, -10: -53.231285150512,
		-38: -726.55721601882, -50: -1254.8313611394, -300: -45006.622732119,
	} {
		nearRel(t, "lnPhi", LnPhi(z), want, 1e-12)
	}
	// The two formulas meet, and the upper tail keeps its digits.
	nearRel(t, "at the seam", LnPhi(-30-1e-9), LnPhi(-30+1e-9), 1e-9)
	nearRel(t, "upper tail", LnPhi(10), -Phi(-10), 1e-12)
	for _, z := range []float64{-8, -2, -.5, 0, .5, 2, 6} {
		nearRel(t, "gonum", Phi(z), distuv.UnitNormal.CDF(z), 1e-13)
		near(t, "log of Phi", LnPhi(z), math.Log(Phi(z)), 1e-13*math.Abs(math.Log(Phi(z)))+1e-16)
	}
}

func TestQuickPhi(t *testing.T) {
	for z := -12.0; z < 12; z += 1. / 1024 {
		near(t, "table", quickPhi(z), Phi(z), 1e-9)
		nearRel(t, "table, in the tail", quickPhi(z), Phi(z), 1e-5)
		if next := quickPhi(z + 1./1024); next < quickPhi(z) {
			t.Errorf("falls at %v", z)
		}
	}
	if !math.IsNaN(quickPhi(math.NaN())) || quickPhi(math.Inf(1)) != 1 || quickPhi(math.Inf(-1)) != 0 {
		t.Error("wrong beyond the table")
	}
}

func TestSolve(t *testing.T) {
	for _, c := range []struct {
		name         string
		f            func(float64) float64
		lo, hi, want float64
	}{
		{"a line", func(x float64) float64 { return x - .25 }, 0, 1, .25},
		{"a cube", func(x float64) float64 { return x*x*x - 8 }, 0, 100, 2},
		{"flat, then steep", func(x float64) float64 { return Phi(50*(x-70)) - .1 }, 0, 1000, 70 + distuv.UnitNormal.Quantile(.1)/50},
		{"a step", func(x float64) float64 { return math.Copysign(1, x-3) }, 0, 10, 3},
		{"over at the low end", func(x float64) float64 { return x + 1 }, 0, 1, 0},
		{"under at the high end", func(x float64) float64 { return x - 2 }, 0, 1, 1},
	} {
		calls := 0
		got := solve(func(x float64) float64 { calls++; return c.f(x) }, c.lo, c.hi)
		near(t, c.name, got, c.want, 1e-10*(c.hi-c.lo))
		if calls > 40 {
			t.Errorf("%s took %d evaluations; bisection takes 36", c.name, calls)
		}
	}
	calls := 0
	solve(func(x float64) float64 { calls++; return math.NaN() }, 0, 1)
	if calls > 1000 {
		t.Errorf("not a number: %d evaluations", calls)
	}
}

// TestQuickExp: against math.Exp.
func TestQuickExp(t *testing.T) {
	for x := -720.0; x < 715; x += .0137 {
		if got, want := quickExp(x), math.Exp(x); math.Abs(got-want) > 2e-13*want {
			t.Fatalf("quickExp(%v): got %v, want %v", x, got, want)
		}
	}
	if quickExp(0) != 1 || !math.IsNaN(quickExp(math.NaN())) {
		t.Errorf("quickExp(0) %v, of no number %v", quickExp(0), quickExp(math.NaN()))
	}
}

// quickBell is quickPhi with the density of the standard normal beside it.
func TestQuickBell(t *testing.T) {
	for z := -9.0; z <= 9; z += 0.00731 {
		phi, density := quickBell(z)
		if phi != quickPhi(z) {
			t.Fatalf("at %v it gives %v, quickPhi %v", z, phi, quickPhi(z))
		}
		if want := math.Exp(-z*z/2) / math.Sqrt(2*math.Pi); math.Abs(density-want) > 1e-6 {
			t.Fatalf("the density at %v is %v, want %v", z, density, want)
		}
	}
}
