package wear

import (
	"math"
	"math/rand/v2"
	"testing"
)

var forever = math.Inf(1)

// fourSeen is what four lives showed: two still good at 1 and 2 years, one over
// by 4, one over between 2 and 3.5.
func fourSeen() Life {
	return Life{Mu: math.Log(3), S0: .5, Sigma: .5, Seen: []Sighting{{1, forever}, {2, forever}, {0, 4}, {2, 3.5}}}
}

// Values on a grid of 2,001 points, computed independently (SciPy 1.10.1).
func TestLifeOfFourSightings(t *testing.T) {
	for _, points := range []int{lifePoints, 2001} {
		p := fourSeen().posterior(points)
		mean, sd := p.Middle()
		near(t, "middle", mean, 1.052151, 1e-4)
		near(t, "its deviation", sd, .292208, 1e-4)
		for years, want := range map[float64]float64{1: .034501, 2: .267810, 3: .532244, 4: .718169} {
			near(t, "ended by", p.CDF(years), want, 1e-4)
		}
		for risk, want := range map[float64]float64{.05: 1.105445, .10: 1.363714, .20: 1.758760} {
			near(t, "due", p.Quantile(risk), want, 1e-4)
		}
		near(t, "good at 1.5", p.DueAt(.1, 1.5), 1.826672, 1e-4)
		near(t, "risk there", p.Risk(1.5, 1.826672), .1, 1e-5)
	}
}

// With nothing seen a life is lognormal with both deviations: computed
// independently (SciPy 1.10.1). With exact lives the middle is that of a normal
// mean with a normal prior, precision 1/s0² + n/sigma².
func TestLifeClosedForms(t *testing.T) {
	prior := Life{Mu: math.Log(3), S0: .5, Sigma: .5}
	for risk, want := range map[float64]float64{.05: .937560, .10: 1.212177, .50: 3} {
		near(t, "prior alone", prior.Posterior().Quantile(risk), want, 1e-5)
	}
	prior.Seen = []Sighting{{2, 2}, {4, 4}}
	mean, sd := prior.Posterior().Middle()
	near(t, "conjugate middle", mean, 1.0593513, 1e-5)
	near(t, "conjugate deviation", sd, .2886751, 1e-5)
	for _, n := range []int{1, 7, 400, 40000} {
		l := Life{Mu: .3, S0: .4, Sigma: .35}
		for range n {
			l.Seen = append(l.Seen, Sighting{1.7, 1.7})
		}
		precision := 1/(.4*.4) + float64(n)/(.35*.35)
		mean, sd := l.Posterior().Middle()
		near(t, "many exact, middle", mean, (.3/(.4*.4)+float64(n)*math.Log(1.7)/(.35*.35))/precision, 1e-6)
		nearRel(t, "many exact, deviation", sd, 1/math.Sqrt(precision), 1e-3)
	}
}

// drawSightings looks at lives of a true middle in each way.
func drawSightings(r *rand.Rand, n int, mu, sigma float64) (out []Sighting) {
	for range n {
		life := math.Exp(mu + sigma*r.NormFloat64())
		look := .2 + 6*r.Float64()
		switch r.IntN(4) {
		case 0:
			out = append(out, Sighting{life, life})
		case 1:
			out = append(out, Sighting{look * math.Floor(life/look), look * (math.Floor(life/look) + 1)})
		default:
			if life > look {
				out = append(out, Sighting{look, forever})
			} else {
				out = append(out, Sighting{0, look})
			}
		}
	}
	return out
}

// The grid of production is fine enough, however much was seen.
func TestLifeDoesNotHangOnTheGrid(t *testing.T) {
	const seed = 11
	r := rand.New(rand.NewPCG(seed, 1))
	for _, n := range []int{1, 3, 20, 200, 2000} {
		for range 5 {
			l := Life{Mu: r.NormFloat64(), S0: .15 + .5*r.Float64(), Sigma: .2 + .5*r.Float64()}
			l.Seen = drawSightings(r, n, l.Mu+l.S0*r.NormFloat64(), l.Sigma)
			coarse, fine := l.posterior(lifePoints), l.posterior(4001)
			for _, risk := range []float64{.01, .1, .5, .9} {
				if a, b := coarse.Quantile(risk), fine.Quantile(risk); !(math.Abs(a/b-1) < 1e-4) {
					t.Errorf("seed %d, %d seen: due at %v after %v on the grid of production, %v on a fine one", seed, n, risk, a, b)
				}
			}
		}
	}
}

// The two ways of weighing agree, and so does an order the other way round.
func TestLifeQuickAndSlow(t *testing.T) {
	const seed = 5
	r := rand.New(rand.NewPCG(seed, 1))
	for range 50 {
		l := Life{Mu: 1, S0: .4, Sigma: .4, Seen: drawSightings(r, 12, 1, .4)}
		var spans [][2]float64
		for _, s := range l.Seen {
			from, to, _ := s.span()
			spans = append(spans, [2]float64{from, to})
		}
		var quick, slow LifePosterior
		quick.grid(-1.4, 3.4, lifePoints)
		slow.grid(-1.4, 3.4, lifePoints)
		if !quick.quick(l, spans) {
			t.Fatalf("seed %d: twelve sightings are not too many for plain products", seed)
		}
		slow.slow(l, spans)
		quick.moments()
		slow.moments()
		near(t, "middle", quick.mean, slow.mean, 1e-7)
		near(t, "deviation", quick.sd, slow.sd, 1e-6)
	}
}

// What can be said of a life, whatever was seen of others: chances are chances,
// later is likelier, a good look puts the due age off, and a due age is where
// the chance is the risk.
func TestLifeProperties(t *testing.T) {
	const seed = 21
	r := rand.New(rand.NewPCG(seed, 2))
	for range 300 {
		l := Life{Mu: 2 * r.NormFloat64(), S0: r.Float64(), Sigma: .05 + r.Float64(), Capped: r.IntN(2) == 0}
		l.Seen = drawSightings(r, r.IntN(12), l.Mu, l.Sigma)
		p := l.Posterior()
		good := p.Median() * r.Float64()
		last := good
		for _, risk := range []float64{.01, .05, .1, .3, .5, .9} {
			due := p.DueAt(risk, good)
			if due < last || !(math.Abs(p.Risk(good, due)-risk) < 1e-6) || due < p.Quantile(risk)*(1-1e-8) {
				t.Fatalf("seed %d, %+v: good at %v, due at %v after %v where the risk is %v; with nothing seen after %v", seed, l, good, risk, due, p.Risk(good, due), p.Quantile(risk))
			}
			last = due
		}
		near(t, "all", p.CDF(0)+p.Survives(0)+p.Survives(forever)+p.CDF(forever), 2, 0)
		// A good look at another never brings the due age forward, and an end never
		// puts it off; but for a hair under a cap, which holds the middle alone.
		hair := 1e-7
		if l.Capped {
			hair = .02
		}
		at := .1 + 5*r.Float64()
		with := func(s Sighting) float64 {
			more := l
			more.Seen = append(append([]Sighting(nil), l.Seen...), s)
			return more.Posterior().Quantile(.1)
		}
		if before := p.Quantile(.1); with(Sighting{at, forever}) < before*(1-hair) || with(Sighting{0, at}) > before*(1+hair) {
			t.Errorf("seed %d, %+v: due after %v, with one good at %v after %v, with one over by then %v", seed, l, before, at, with(Sighting{at, forever}), with(Sighting{0, at}))
		}
	}
}

// Oil renewed after a year whatever it looks like tells no more than that it
// lasts a year: a hundred such looks raise nothing, as long as nobody saw any
// last longer than was believed.
func TestLifeCap(t *testing.T) {
	l := Life{Mu: math.Log(3), S0: .4, Sigma: .4, Capped: true}
	before := l.Posterior()
	for range 100 {
		l.Seen = append(l.Seen, Sighting{1, forever})
	}
	mean, _ := l.Posterior().Middle()
	near(t, "after a hundred good years", mean, math.Log(3), 1e-9)
	if l.Posterior().Quantile(.1) > 1.3*before.Quantile(.1) {
		t.Errorf("due after %v before and %v since", before.Quantile(.1), l.Posterior().Quantile(.1))
	}
	free := l
	free.Capped = false
	if up, _ := free.Posterior().Middle(); up < math.Log(3)+.1 {
		t.Errorf("without the cap they would raise the middle to %v only", math.Exp(up))
	}
	l.Seen = append(l.Seen, Sighting{5, forever}, Sighting{5, forever}, Sighting{5, forever})
	if up, _ := l.Posterior().Middle(); up <= math.Log(3) || up > math.Log(5) {
		t.Errorf("three that were good at five years raise the middle to %v", math.Exp(up))
	}
}

// Whatever is put in, an answer comes out that is an age or +Inf, and chances
// stay chances.
func TestLifeSurvivesAnything(t *testing.T) {
	nan := math.NaN()
	odd := []Sighting{{nan, 1}, {1, nan}, {-1, 2}, {3, 1}, {forever, forever}, {0, forever}, {0, 0}, {1e300, forever}, {0, 1e-300}, {1e-9, 1e9}, {5, 5}}
	for _, seen := range [][]Sighting{nil, odd[:6], odd, {{0, 1e-6}, {1e6, forever}}, {{0, 0}}} {
		l := Life{Mu: 1, S0: .4, Sigma: .4, Seen: seen}
		for _, capped := range []bool{false, true} {
			l.Capped = capped
			p := l.Posterior()
			for _, years := range []float64{-1, 0, 1e-300, 1, 1e300, forever, nan} {
				if c := p.CDF(years); !(c >= 0 && c <= 1) {
					t.Errorf("%v: ended by %v with chance %v", seen, years, c)
				}
				if d := p.DueAt(.1, years); !(d >= 0) {
					t.Errorf("%v: good at %v, due at %v", seen, years, d)
				}
				if r := p.Risk(years, 2); !(r >= 0 && r <= 1) {
					t.Errorf("%v: good at %v, risk %v", seen, years, r)
				}
			}
			for _, risk := range []float64{-1, 0, 1e-300, 1 - 1e-16, 1, 2, nan} {
				if d := p.DueAt(risk, 1); !(d >= 1) {
					t.Errorf("%v: risk %v, due at %v", seen, risk, d)
				}
			}
		}
	}
	// What says nothing changes nothing.
	plain := Life{Mu: 1, S0: .4, Sigma: .4}.Posterior()
	if got := (Life{Mu: 1, S0: .4, Sigma: .4, Seen: odd[:6]}).Posterior().Median(); got != plain.Median() {
		t.Errorf("sightings that say nothing moved the median from %v to %v", plain.Median(), got)
	}
	// Ten thousand looks are far too many for plain products.
	many := Life{Mu: 1, S0: .4, Sigma: .4}
	for range 5000 {
		many.Seen = append(many.Seen, Sighting{2, forever}, Sighting{0, 2})
	}
	near(t, "half of a crowd ended by 2", many.Posterior().CDF(2), .5, 1e-4)
	for _, l := range []Life{{}, {Mu: nan, S0: 1, Sigma: 1}, {S0: nan, Sigma: 1}, {Mu: 1, S0: 0, Sigma: .5, Seen: odd}, {Mu: 1, S0: 1e-9, Sigma: 1e-9, Seen: odd}} {
		l.Posterior().DueAt(.1, 1) // ends
	}
}

// The ln likelihood is that of the form, so that a fleet may learn from it.
func TestLifeLnLik(t *testing.T) {
	l := Life{Sigma: .5, Seen: []Sighting{{1, forever}, {0, 4}, {2, 3.5}, {3, 3}, {0, forever}}}
	mu := .7
	z := func(years float64) float64 { return (math.Log(years) - mu) / .5 }
	want := math.Log(1-Phi(z(1))) + math.Log(Phi(z(4))) + math.Log(Phi(z(3.5))-Phi(z(2))) - z(3)*z(3)/2 - math.Log(.5*math.Sqrt(2*math.Pi))
	near(t, "ln likelihood", l.LnLik(mu), want, 1e-12)
	if !(Sighting{0, 2}).Ended() || (Sighting{2, forever}).Ended() || (Sighting{2, math.NaN()}).Ended() {
		t.Error("which sightings saw an end is wrong")
	}
}

// BenchmarkLife is a posterior of thirty sightings and its due age;
// BenchmarkLifePrior, with none, is its baseline.
func BenchmarkLife(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 1))
	l := Life{Mu: 1, S0: .4, Sigma: .4, Seen: drawSightings(r, 30, 1, .4)}
	for b.Loop() {
		l.Posterior().DueAt(.1, .5)
	}
}

// BenchmarkLifePrior is the baseline of BenchmarkLife.
func BenchmarkLifePrior(b *testing.B) {
	l := Life{Mu: 1, S0: .4, Sigma: .4}
	for b.Loop() {
		l.Posterior().DueAt(.1, .5)
	}
}

// Three of eleven, from Jeffreys' prior: computed independently with SciPy 1.10.1
// (stats.beta).
func TestShare(t *testing.T) {
	low, mean, high := Share(3, 8)
	near(t, "low", low, .105807, 1e-6)
	near(t, "mean", mean, .291667, 1e-6)
	near(t, "high", high, .518415, 1e-6)
	if low, mean, high = Share(0, 0); !(low > 0 && low < .05 && mean == .5 && high > .95 && high < 1) {
		t.Errorf("of nothing: %v, %v, %v", low, mean, high)
	}
	if _, mean, _ = Share(-1, -1); mean != .5 {
		t.Errorf("of less than nothing: %v", mean)
	}
}
