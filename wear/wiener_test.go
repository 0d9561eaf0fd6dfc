package wear

import (
	"math"
	"testing"
)

// TestInverseGaussian: mpmath to 40 digits, to which scipy.stats.invgauss
// agrees to 12; absolute 1e-10.
func TestInverseGaussian(t *testing.T) {
	for _, c := range []struct{ d, r, s2, t, want float64 }{
		{.3, .02, .0002, 10, 0.015579764927901},
		{.3, .02, .0002, 15, 0.53612208352799},
		{.3, .02, .0002, 20, 0.95332152763458},
		{.05, .004, .00004, 5, 0.025131342202622},
		{2, .05, .0001, 38, 0.054069920566547},
		{2, .05, .0001, 41, 0.78720887189911},
		{.5, .001, .0005, 200, 0.27061367044245},
		{10, .1, .00001, 99.5, 0.056650652166755},
		{0, .1, .1, 1, 1},
		{1, .1, .1, 0, 0},
	} {
		near(t, "probability", InverseGaussianCDF(c.d, c.r, c.s2, c.t), c.want, 1e-10)
	}
	for p, want := range map[float64]float64{.1: 11.6957089, .5: 14.75474469, .9: 18.61929055} {
		nearRel(t, "quantile", InverseGaussianQuantile(.3, .02, .0002, p), want, 1e-7)
	}
	if q := InverseGaussianQuantile(.3, 0, .0002, .5); !math.IsInf(q, 1) {
		t.Errorf("a level that does not drift crosses at %v", q)
	}
	if q := InverseGaussianQuantile(0, .02, .0002, .5); q != 0 {
		t.Errorf("a level at its limit crosses at %v", q)
	}
}

// TestWienerCrossing: scipy.integrate.quad over the exact law, absolute 1e-7;
// the level-exceedance law beside it in closed form.
func TestWienerCrossing(t *testing.T) {
	for _, c := range []struct{ m, p, limit, r, s2, t, crossed, exceeded float64 }{
		{.5, .0004, .6, .01, .0001, 5, 0.06055528759, 0.0477903522728},
		{.58, .0009, .6, .01, .0001, 1, 0.4259517417, 0.375914817023},
	} {
		near(t, "crossed", WienerCrossing(c.m, c.p, c.limit, c.r, c.s2, c.t), c.crossed, 1e-7)
		one := sure(c.m, c.p, c.r, c.s2/c.r)
		near(t, "exceeded", one.Exceed(c.limit, c.t, 0), c.exceeded, 1e-9)
	}
	near(t, "a known start", WienerCrossing(.3, 0, .6, .02, .0002, 15), InverseGaussianCDF(.3, .02, .0002, 15), 0)
	near(t, "far over", WienerCrossing(2, .0001, .6, .02, .0002, 15), 1, 0)
}

// sure is a posterior whose rate is known.
func sure(m, p, r, phi float64) Posterior {
	at := []node{{1, r, m, p}}
	return Posterior{nodes: at, moments: momentsOf(at), known: true, phi: phi, c: 1, b: 1}
}
