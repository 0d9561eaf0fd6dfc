package wear

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/stat/distuv"
)

// The worked values here were computed once with SciPy 1.10.1 (norm, gamma,
// brentq), apart from this code, unless another source stands beside them.

// TestLognormalRate: of a level that is known exactly and a rate of which only
// the prior is, 0.30 mm now and 0.02 mm a year within a factor of 2, 0.50 is
// reached at the rate that is exceeded with so much probability; against gonum's
// law of the rate, too. The crossing sums over rates a quarter of a deviation
// apart, and where neither the level nor the wear blurs them at all it goes in
// steps of that; it is within one.
func TestLognormalRate(t *testing.T) {
	post := filtered(t, Prior{Mu: math.Log(.02), Om: math.Ln2}, Params{B: 1, C: 1}, Segment{Start: &Level{.30, 1e-6}})
	for alpha, want := range map[float64]float64{.05: 3.197788, .10: 4.113529, .50: 10} {
		near(t, "at the rate", .20/post.RateQuantile(1-alpha), want, 1e-3)
	}
	law := distuv.LogNormal{Mu: math.Log(.02), Sigma: math.Ln2}
	for _, alpha := range []float64{.01, .05, .10, .2, .5, .8} {
		want := .20 / law.Quantile(1-alpha)
		nearRel(t, "at the rate", .20/post.RateQuantile(1-alpha), want, 1e-3)
		c := post.Crossing(.50, 0, alpha)
		if steps := math.Log(c.H/want) / (math.Ln2 / 4); c.State != At || math.Abs(steps) > 1 {
			t.Errorf("%v: %+v is %.2f steps from %v", alpha, c, steps, want)
		}
	}
	if c := post.Crossing(.30-1e-3, 0, UnseenAct); c.State != Already || c.H != 0 {
		t.Errorf("over already: %+v", c)
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

// normalWear is a size and a rate that are normal, the same law that the filter
// comes to where its rate is well known.
type normalWear struct{ size, rate Level }

// over is the chance to be over a limit after so much exposure, by gonum.
func (w normalWear) over(limit, after float64) float64 {
	law := distuv.Normal{Mu: w.size.Mean + w.rate.Mean*after, Sigma: math.Hypot(w.size.SD, w.rate.SD*after)}
	return law.Survival(limit)
}

// post is the filter's own account of it, with a log-normal rate of that mean
// and deviation.
func (w normalWear) post(t *testing.T) Posterior {
	om2 := math.Log1p(math.Pow(w.rate.SD/w.rate.Mean, 2))
	return filtered(t, Prior{Mu: math.Log(w.rate.Mean) - om2/2, Om: math.Sqrt(om2)}, Params{B: 1, C: 1}, Segment{Start: &w.size})
}

// TestNormalLaw: a clock 14.2 ± 0.6 s out that drifts by 0.514 ± 0.0247 s a day,
// to 60 s; and 0.30 ± 0.02 mm now, 0.020 ± 0.005 a year, to 0.50, where the rate
// is known to a quarter and the tails of the two laws differ: the log-normal
// rate has the longer one upwards, so that it is measured a little sooner.
func TestNormalLaw(t *testing.T) {
	drift := normalWear{Level{14.2, .6}, Level{.514, .0247}}
	for alpha, want := range map[float64]float64{.05: 82.3208, .5: 89.1051} {
		near(t, "the source", drift.over(60, want), alpha, 1e-5)
		nearRel(t, "drift", drift.post(t).Crossing(60, 0, alpha).H, want, 2e-3)
	}
	w := normalWear{Level{.30, .02}, Level{.02, .005}}
	post := w.post(t)
	for after, want := range map[float64]float64{4: 1.10452e-5, 6: .0132501, 8: .1855467} {
		nearRel(t, "the source", w.over(.50, after), want, 1e-5)
		near(t, "over", post.Exceed(.50, after, 0), want, .011)
	}
	near(t, "the source", w.over(.50, 6.767392), .05, 1e-7)
	if c := post.Crossing(.50, 0, UnseenAct); c.H > 6.767392 || c.H < .96*6.767392 {
		t.Errorf("measured again at %+v, want within 4 %% before 6.767392", c)
	}
}

// TestGammaLaw: wear that only grows, by steps: gamma distributed with shape 2 a
// year and 100 per mm, that is 0.02 mm a year with a variance of 0.01 mm per mm
// worn, 0.2 mm from the limit (the law: van Noortwijk, Reliab. Eng. Syst. Saf.
// 94, 2009). The filter's wear of that grain has normal steps; where it matters
// the two agree within a twenty-fifth of the time.
func TestGammaLaw(t *testing.T) {
	over := func(after float64) float64 { return distuv.Gamma{Alpha: 2 * after, Beta: 100}.Survival(.2) }
	post := filtered(t, Prior{Mu: math.Log(.02), Om: 1e-4}, Params{Phi: 1. / 100, B: 1, C: 1}, Segment{Start: &Level{.3, 1e-6}})
	for after, want := range map[float64]float64{4: 7.78590e-4, 6: .02138683, 8: .1565131, 10: .4702573} {
		nearRel(t, "the source", over(after), want, 1e-5)
		near(t, "over", post.Exceed(.5, after, 0), want, .035)
	}
	near(t, "the source", over(6.726905), .05, 1e-6)
	nearRel(t, "measured again", post.Crossing(.5, 0, UnseenAct).H, 6.726905, .04)
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

// TestWeibullAge: the age at which a part of a Weibull life of scale 5 and shape
// 2.5, found good at 2, has failed with a chance of 10 %, and the interval of a
// constant hazard of 0.1 at the same chance: worked from the law, and by gonum's
// distribution. The engine's own crossing is conditioned on now in the same way.
func TestWeibullAge(t *testing.T) {
	law := distuv.Weibull{K: 2.5, Lambda: 5}
	age := law.Quantile(1 - .9*law.Survival(2))
	near(t, "age", age, 2.660621, 1e-6)
	near(t, "by the formula", 5*math.Pow(math.Pow(2./5, 2.5)-math.Log(.9), 1/2.5), age, 1e-12)
	near(t, "constant hazard", -math.Log(.9)/.1, 1.053605, 1e-6)
}
