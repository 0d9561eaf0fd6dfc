package wear

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/stat/distuv"
)

// The worked values here were computed once with SciPy 1.10.1 (norm, gamma,
// brentq), apart from this code, unless another source stands beside them.

// TestLognormalWear: 0.30 mm now, a limit of 0.50, a rate of 0.02 mm a year
// within a factor of 2.
func TestLognormalWear(t *testing.T) {
	w := LognormalWear{Size: .30, Median: .02, GSD: 2}
	near(t, "5 %", w.Until(.50, .05), 3.197788, 1e-6)
	near(t, "10 %", w.Until(.50, .10), 4.113529, 1e-6)
	near(t, "50 %", w.Until(.50, .50), 10, 1e-12) // 0.20 mm at the median
	// gonum's law of the rate: the chance to wear 0.20 mm in that time.
	law := distuv.LogNormal{Mu: math.Log(.02), Sigma: math.Ln2}
	for _, alpha := range []float64{.001, .05, .2, .7, .99} {
		near(t, "gonum", law.Survival(.20/w.Until(.50, alpha)), alpha, 1e-9)
	}
	near(t, "over already", w.Until(.30, .05), 0, 0)
	near(t, "far over already", w.Until(.10, .05), 0, 0)
	near(t, "a rate that is known", LognormalWear{.30, .02, 1}.Until(.50, .05), 10, 1e-12)
}

// TestFilterIsTheLognormalLaw: the filter itself, of a level that is known
// exactly and a rate of which only the prior is, has the rate of LognormalWear:
// 0.20 mm at the rate that is exceeded with so much probability. Its crossing
// sums over rates a quarter of a deviation apart, and where neither the level
// nor the wear blurs them at all it goes in steps of that; it is within one.
func TestFilterIsTheLognormalLaw(t *testing.T) {
	post := filtered(t, Prior{Mu: math.Log(.02), Om: math.Ln2}, Params{B: 1, C: 1}, Segment{Start: &Level{.30, 1e-6}})
	for alpha, want := range map[float64]float64{.05: 3.197788, .10: 4.113529} {
		near(t, "at the rate", .20/post.RateQuantile(1-alpha), want, 1e-3)
	}
	for _, alpha := range []float64{.01, .05, .10, .2, .5, .8} {
		want := LognormalWear{.30, .02, 2}.Until(.50, alpha)
		nearRel(t, "at the rate", .20/post.RateQuantile(1-alpha), want, 1e-3)
		c := post.Crossing(.50, 0, alpha)
		if steps := math.Log(c.H/want) / (math.Ln2 / 4); c.State != At || math.Abs(steps) > 1 {
			t.Errorf("%v: %+v is %.2f steps from %v", alpha, c, steps, want)
		}
	}
}

// TestCrossingByQuadrature: with the grain that wear has, or a gauge's doubt of
// the level, the filter's crossing is that of the log-normal law blurred by
// them, here integrated by gonum over the rate.
func TestCrossingByQuadrature(t *testing.T) {
	const limit = .50
	for _, c := range []struct{ phi, sd float64 }{{.003, 1e-6}, {.01, 1e-6}, {.01, .03}, {0, .03}, {.003, .01}} {
		post := filtered(t, Prior{Mu: math.Log(.02), Om: math.Ln2}, Params{Phi: c.phi, B: 1, C: 1}, Segment{Start: &Level{.30, c.sd}})
		for _, alpha := range []float64{.05, .10, .5, .9} {
			at := post.Crossing(limit, 0, alpha)
			over := quad.Fixed(func(z float64) float64 {
				worn := .02 * math.Exp(z*math.Ln2) * at.H
				return distuv.UnitNormal.Prob(z) * distuv.UnitNormal.CDF((.30+worn-limit)/math.Sqrt(c.sd*c.sd+c.phi*worn))
			}, -8, 8, 2000, quad.Legendre{}, 0)
			if at.State != At || math.Abs(over-alpha) > 1e-5 {
				t.Errorf("grain %v, level ± %v: %+v is the time of %.6f, not of %v", c.phi, c.sd, at, over, alpha)
			}
		}
	}
}

// TestNormalWear: 0.30 ± 0.02 mm now, 0.020 ± 0.005 a year, a limit of 0.50;
// and a clock 14.2 ± 0.6 s out that drifts by 0.514 ± 0.0247 s a day, to 60 s.
func TestNormalWear(t *testing.T) {
	w := NormalWear{Size: Level{.30, .02}, Rate: Level{.02, .005}}
	near(t, "5 %", w.Until(.50, .05), 6.767392, 1e-6)
	for after, want := range map[float64]float64{4: 1.10452e-5, 6: .0132501, 8: .1855467} {
		nearRel(t, "over", w.Over(.50, after), want, 1e-5)
	}
	drift := NormalWear{Size: Level{14.2, .6}, Rate: Level{.514, .0247}}
	near(t, "drift, 5 %", drift.Until(60, .05), 82.3208, 1e-4)
	near(t, "drift, median", drift.Until(60, .5), 89.1051, 1e-4)

	// School algebra: with nothing unsure but the process, of variance 4t, and
	// no drift, one deviation is a distance of 6 at t = 9.
	wander := NormalWear{Process: 4}
	near(t, "wander", wander.Over(6, 9), Phi(-1), 1e-12)
	near(t, "wander until", wander.Until(6, Phi(-1)), 9, 1e-8)
	// Level and rate wholly bound to one another add their deviations.
	bound := NormalWear{Size: Level{0, 1}, Rate: Level{0, .5}, Cov: .5}
	near(t, "bound", bound.Over(3, 4), Phi(-1), 1e-12)
	// Nothing unsure at all: a step.
	sure := NormalWear{Size: Level{Mean: 1}, Rate: Level{Mean: .5}}
	near(t, "before", sure.Over(3, 3.9), 0, 0)
	near(t, "after", sure.Over(3, 4), 1, 0)
	near(t, "the step", sure.Until(3, .05), 4, 1e-8)
	// A size that stands still, and is likely enough below, never gets there.
	if got := (NormalWear{Size: Level{.30, .02}}).Until(.50, .05); !math.IsInf(got, 1) {
		t.Errorf("a size that stands still is over at %v", got)
	}
	near(t, "over already", w.Until(.32, .10), 0, 0)
}

// TestGammaWear: shape 2 a year and 100 per mm, that is 0.02 mm a year, with
// 0.2 mm left.
func TestGammaWear(t *testing.T) {
	w := GammaWear{Shape: 2, Rate: 100}
	for after, want := range map[float64]float64{4: 7.78590e-4, 6: .02138683, 8: .1565131, 10: .4702573} {
		nearRel(t, "over", w.Over(.2, after), want, 1e-5)
	}
	near(t, "5 %", w.Until(.2, .05), 6.726905, 1e-6)
	// gonum's gamma law, and at shape 1 the exponential: e^-ud.
	for _, after := range []float64{.3, 1, 7.5, 40} {
		nearRel(t, "gonum", w.Over(.2, after), distuv.Gamma{Alpha: 2 * after, Beta: 100}.Survival(.2), 1e-9)
	}
	nearRel(t, "exponential", w.Over(.03, .5), math.Exp(-3), 1e-12)
	near(t, "no time", w.Over(.2, 0), 0, 0)
	near(t, "nothing left", w.Over(0, 0), 1, 0)
	near(t, "nothing left until", w.Until(-.1, .05), 0, 0)
}

// TestWeibullLife: scale 5, shape 2.5, good at 2 years: the chance is 10 % at
// an age of 2.660621; with shape 1, -ln(0.9)/0.1 at any age (the constant
// hazard of calibration intervals: NCSLI RP-1, from memory).
func TestWeibullLife(t *testing.T) {
	w := WeibullLife{Scale: 5, Shape: 2.5}
	near(t, "10 %", 2+w.Until(2, .10), 2.660621, 1e-6)
	for _, age := range []float64{0, 3, 50} {
		near(t, "constant hazard", WeibullLife{10, 1}.Until(age, .10), 1.053605, 1e-6)
	}
	law := distuv.Weibull{K: 2.5, Lambda: 5} // gonum
	for _, alpha := range []float64{.01, .2, .9} {
		after := w.Until(2, alpha)
		near(t, "gonum", 1-law.Survival(2+after)/law.Survival(2), alpha, 1e-9)
	}
	near(t, "from new, the scale", w.Until(0, 1-1/math.E), 5, 1e-12) // by definition of the scale
}

// TestLookAgain: half of what is left at the rate so far, from a published
// worksheet of API 510: (0.4-0.3)/0.100 = 1.00 years left, so 0.50; and one
// with (0.375-0.250)/0.020 = 6.25, so 3.125. Then at most 10 years there.
func TestLookAgain(t *testing.T) {
	never := math.Inf(1)
	for _, c := range []struct {
		name                     string
		unseen, left, most, want float64
	}{
		{"half the life left", never, (.4 - .3) / .100, 10, .50},
		{"half the life left, again", never, (.375 - .250) / .020, 10, 3.125},
		{"the chance binds", 2, 6.25, 10, 2},
		{"the conservator binds", 12, 60, 10, 10},
		{"nothing binds", never, never, never, never},
		{"over already", 0, -3, 10, 0},
	} {
		if got := LookAgain(c.unseen, c.left, c.most); got != c.want && !(math.Abs(got-c.want) < 1e-12) {
			t.Errorf("%s: got %v, want %v", c.name, got, c.want)
		}
	}
	for _, got := range []float64{LookAgain(math.NaN(), 1, 1), LookAgain(1, math.NaN(), 1), LookAgain(1, 1, math.NaN())} {
		if !math.IsNaN(got) {
			t.Errorf("no figure gives %v", got)
		}
	}
}

// TestUntilIsWhenOver: the two sides of each law agree; a smaller chance, less
// left to wear or a faster rate never give more time; all lengths twice as
// large change nothing.
func TestUntilIsWhenOver(t *testing.T) {
	normal := NormalWear{Level{.30, .02}, Level{.02, .005}, 1e-5, 1e-4}
	twice := NormalWear{Level{.60, .04}, Level{.04, .010}, 4e-5, 4e-4}
	gamma := GammaWear{3, 80}
	last := [4]float64{}
	for alpha := .002; alpha < .95; alpha += .02 {
		now := [4]float64{
			LognormalWear{.3, .02, 1.8}.Until(.5, alpha), normal.Until(.5, alpha), gamma.Until(.2, alpha), WeibullLife{5, 2}.Until(2, alpha),
		}
		near(t, "normal", normal.Over(.5, now[1]), alpha, 1e-8)
		near(t, "gamma", gamma.Over(.2, now[2]), alpha, 1e-8)
		nearRel(t, "normal, scaled", twice.Until(1, alpha), now[1], 1e-8)
		nearRel(t, "gamma, scaled", GammaWear{3, 40}.Until(.4, alpha), now[2], 1e-8)
		nearRel(t, "lognormal, scaled", LognormalWear{.6, .04, 1.8}.Until(1, alpha), now[0], 1e-12)
		for i := range now {
			if !(now[i] > last[i]) {
				t.Fatalf("law %d: %v at a chance of %v, after %v at less", i, now[i], alpha, last[i])
			}
		}
		last = now
		faster := normal
		faster.Rate.Mean *= 1.5
		for i, less := range []float64{
			LognormalWear{.35, .02, 1.8}.Until(.5, alpha), faster.Until(.5, alpha), gamma.Until(.15, alpha), WeibullLife{5, 2}.Until(3, alpha),
		} {
			if less > now[i] {
				t.Fatalf("law %d: %v with less left than %v", i, less, now[i])
			}
		}
	}
}

// TestNoFigure: what is no chance, or no law, gives no figure.
func TestNoFigure(t *testing.T) {
	nan := math.NaN()
	for name, got := range map[string]float64{
		"chance of nothing":     LognormalWear{.3, .02, 2}.Until(.5, 0),
		"chance of one":         WeibullLife{5, 2}.Until(1, 1),
		"chance below nothing":  GammaWear{2, 100}.Until(.2, -1),
		"chance not a number":   NormalWear{Rate: Level{1, 1}}.Until(1, nan),
		"no rate":               LognormalWear{.3, 0, 2}.Until(.5, .05),
		"spread below 1":        LognormalWear{.3, .02, .5}.Until(.5, .05),
		"no shape":              GammaWear{0, 100}.Until(.2, .05),
		"rate not a number":     GammaWear{2, nan}.Over(.2, 1),
		"left not a number":     GammaWear{2, 100}.Over(nan, 1),
		"no scale":              WeibullLife{0, 2}.Until(1, .05),
		"age below nothing":     WeibullLife{5, 2}.Until(-1, .05),
		"age not a number":      WeibullLife{5, 2}.Until(nan, .05),
		"size not a number":     NormalWear{Size: Level{nan, .1}}.Until(1, .05),
		"limit not a number":    NormalWear{Size: Level{1, 0}}.Over(nan, 1),
		"variance not a number": NormalWear{Size: Level{1, nan}}.Over(2, 1),
	} {
		if !math.IsNaN(got) {
			t.Errorf("%s: %v", name, got)
		}
	}
}
