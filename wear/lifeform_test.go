package wear

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// The chances of all ages between cuts add up to one, in the middle and far
// out, and those of a narrow stretch are its density by its width.
func TestLifeFormsAddUp(t *testing.T) {
	const seed = 51
	r := rand.New(rand.NewPCG(seed, 1))
	for name, f := range map[LifeForm]form{LogNormal: logNormal{}, Weibull: weibull{}} {
		for range 100 {
			cuts := []float64{math.Inf(-1), math.Inf(1)}
			for range 1 + r.IntN(6) {
				cuts = append(cuts, 3*r.NormFloat64())
			}
			slices.Sort(cuts)
			sum := 0.0
			for i := range len(cuts) - 1 {
				sum += math.Exp(f.lik(cuts[i], cuts[i+1]))
			}
			near(t, string(name)+": all ages", sum, 1, 1e-9)
			z := 2 * r.NormFloat64()
			near(t, string(name)+": narrow", f.lik(z, z+1e-7), f.lik(z, z)+math.Log(1e-7), 1e-4)
			near(t, string(name)+": not so narrow", f.lik(z-2e-6, z+2e-6), f.lik(z, z)+math.Log(4e-6), 1e-4)
			near(t, string(name)+": survival", math.Exp(f.lik(z, math.Inf(1))), f.survives(z), 1e-9)
			if math.Abs(z) < 4 { // further out survival has lost its digits
				near(t, string(name)+": and back", f.at(f.survives(z)), z, 1e-6)
			}
		}
		for _, far := range []float64{-1e300, -800, -40, 40, 800, 1e300} {
			for _, l := range []float64{f.lik(far, math.Inf(1)), f.lik(math.Inf(-1), far), f.lik(far, far+1), f.lik(far, far)} {
				if math.IsNaN(l) || l > 0 {
					t.Errorf("%s at %v: ln likelihood %v", name, far, l)
				}
			}
		}
	}
}

// Of exact lives the lognormal fit is the mean and the deviation of the
// logarithms, and a Weibull fit of lives that end at a constant rate has a shape
// near one and a scale near their mean.
func TestFitLifeOfExactLives(t *testing.T) {
	const seed = 61
	r := rand.New(rand.NewPCG(seed, 1))
	for range 20 {
		var seen []Sighting
		var ln []float64
		sum, squares := 0.0, 0.0
		for range 30 {
			x := 1.3 + .4*r.NormFloat64()
			ln, sum = append(ln, x), sum+x
			seen = append(seen, Sighting{math.Exp(x), math.Exp(x)})
		}
		mean := sum / 30
		for _, x := range ln {
			squares += (x - mean) * (x - mean)
		}
		fit, err := FitLife(LogNormal, seen)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "middle", fit.Middle, mean, 1e-6)
		near(t, "spread", fit.Spread, math.Sqrt(squares/30), 1e-6)
	}
	var seen []Sighting
	total := 0.0
	for range 4000 {
		x := 3 * r.ExpFloat64()
		total += x
		seen = append(seen, Sighting{x, x})
	}
	fit, err := FitLife(Weibull, seen)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "constant rate: shape", 1/fit.Spread, 1, .04)
	nearRel(t, "constant rate: scale", math.Exp(fit.Middle), total/4000, .05)
}

// A fit is a top: no small step of either figure does better.
func TestFitLifeIsATop(t *testing.T) {
	const seed = 71
	r := rand.New(rand.NewPCG(seed, 1))
	for range 40 {
		seen := drawSightings(r, 8+r.IntN(60), r.NormFloat64(), .2+.6*r.Float64())
		for _, name := range []LifeForm{LogNormal, Weibull} {
			fit, err := FitLife(name, seen)
			if err != nil {
				continue
			}
			f, _ := name.form()
			value := func(mu, spread float64) float64 {
				sum := 0.0
				for _, s := range seen {
					if a, b, ok := s.span(); ok {
						if sum += f.lik((a-mu)/spread, (b-mu)/spread); a == b {
							sum -= math.Log(spread) + a
						}
					}
				}
				return sum
			}
			top := value(fit.Middle, fit.Spread)
			near(t, "ln likelihood", fit.LnLik, top, 1e-6)
			for _, step := range []float64{-.01, .01} {
				if value(fit.Middle+step, fit.Spread) > top || value(fit.Middle, fit.Spread*(1+step)) > top {
					t.Errorf("seed %d, %s, %v: a step of %v does better than %+v", seed, name, seen, step, fit)
				}
			}
		}
	}
}

// What a posterior says is right as often as it says: of true middles drawn from
// what is believed, each tenth of the posterior holds a tenth.
func TestLifeIsCalibrated(t *testing.T) {
	const seed, draws = 81, 3000
	r := rand.New(rand.NewPCG(seed, 1))
	var tenths [10]int
	over := 0
	for range draws {
		l := Life{Mu: .5, S0: .45, Sigma: .3}
		mu := l.Mu + l.S0*r.NormFloat64()
		l.Seen = drawSightings(r, r.IntN(8), mu, l.Sigma)
		p := l.Posterior()
		below := 0.0
		for i, m := range p.middles {
			if m < mu {
				below += p.weights[i]
			}
		}
		if len(p.middles) == 1 { // nothing seen: the plain normal
			below = Phi((mu - l.Mu) / l.S0)
		}
		tenths[min(9, int(10*below))]++
		if math.Exp(mu+l.Sigma*r.NormFloat64()) < p.Quantile(.1) {
			over++
		}
	}
	// Within five deviations of a count, for the grid rounds the place of a true
	// middle by up to a step.
	for i, n := range tenths {
		if math.Abs(float64(n)-draws/10) > 5*math.Sqrt(draws*.09) {
			t.Errorf("seed %d: %d of %d true middles in tenth %d", seed, n, draws, i)
		}
	}
	if math.Abs(float64(over)-draws/10) > 4*math.Sqrt(draws*.09) {
		t.Errorf("seed %d: %d of %d lives were over before they were due", seed, over, draws)
	}
}

// The loop that multiplies by Phi is Phi, and by the bell is the bell.
func TestTimesPhi(t *testing.T) {
	const seed = 91
	r := rand.New(rand.NewPCG(seed, 1))
	for range 200 {
		z, step := 12*r.NormFloat64(), r.NormFloat64()
		w, v := make([]float64, 60), make([]float64, 60)
		for i := range w {
			w[i], v[i] = 1, 1
		}
		timesPhi(w, z, step)
		timesBell(v, z, step)
		for i := range w {
			x := z + float64(i)*step
			near(t, "Phi", w[i], Phi(x), 1e-9)
			near(t, "bell", v[i], math.Exp(-x*x/2), 1e-12)
		}
	}
}

// With hardly any belief beforehand, and the spread that was fitted, the middle
// of the grid is that of maximum likelihood: the turbine wheels and the cracks
// of Nelson 1982, of which the fits are checked elsewhere. So many are far too
// many for plain products.
func TestLifeAgreesWithTheFit(t *testing.T) {
	for _, tt := range []struct {
		seen           []Sighting
		middle, spread float64
	}{{wheelsOf(), 3.699908, .719886}, {cracksOf(), 4.026854, .998525}} {
		for _, mu := range []float64{1, 3, 6} {
			mean, sd := (Life{Mu: mu, S0: 4, Sigma: tt.spread, Seen: tt.seen}).Posterior().Middle()
			near(t, "middle", mean, tt.middle, .01)
			// The deviation is what the curve of the likelihood says: half a unit
			// of ln likelihood down at one deviation.
			l := Life{Sigma: tt.spread, Seen: tt.seen}
			drop := l.LnLik(mean) - (l.LnLik(mean-sd)+l.LnLik(mean+sd))/2
			near(t, "drop at a deviation", drop, .5, .02)
		}
	}
}

// More of the same leaves the middle and narrows it by the root of how much more.
func TestLifeNarrows(t *testing.T) {
	const seed = 101
	r := rand.New(rand.NewPCG(seed, 1))
	seen := drawSightings(r, 200, 1, .4)
	var last float64
	var all []Sighting
	for i := range 4 {
		for range 1 << max(0, i-1) { // 1, 2, 4 and 8 times as much in all
			all = append(all, seen...)
		}
		mean, sd := (Life{Mu: 1, S0: 5, Sigma: .4, Seen: all}).Posterior().Middle()
		near(t, "middle", mean, 1, .1)
		if i > 0 {
			nearRel(t, "narrower by", last/sd, math.Sqrt2, .01)
		}
		last = sd
	}
}

// A change of unit changes the unit of the answer and nothing else.
func TestLifeInAnotherUnit(t *testing.T) {
	const seed = 111
	r := rand.New(rand.NewPCG(seed, 1))
	for range 50 {
		years := Life{Mu: r.NormFloat64(), S0: .4, Sigma: .5, Capped: r.IntN(2) == 0}
		years.Seen = drawSightings(r, r.IntN(9), years.Mu, .5)
		days := years
		days.Mu += math.Log(365.25)
		days.Seen = nil
		for _, s := range years.Seen {
			days.Seen = append(days.Seen, Sighting{365.25 * s.From, 365.25 * s.To})
		}
		good := r.Float64()
		for _, risk := range []float64{.05, .5} {
			nearRel(t, "due in days", days.Posterior().DueAt(risk, 365.25*good), 365.25*years.Posterior().DueAt(risk, good), 1e-6)
		}
	}
}
