package wear

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"gonum.org/v1/gonum/mat"
)

// dense is the size at each fact of one part as its joint normal law says, with
// the covariance written out and solved whole: rate[k] wears it before fact k.
type dense struct {
	lnEvidence float64
	mean, v    []float64
}

// denseOf takes a part whose first fact is its start, or the first reading of
// one of unknown size; read says which facts are readings.
func denseOf(h []float64, rate func(k int) float64, phi float64, start Level, y, sd []float64) dense {
	n := len(h)
	prior, cov := make([]float64, n), mat.NewSymDense(n, nil)
	prior[0] = start.Mean
	v := make([]float64, n)
	v[0] = start.SD * start.SD
	for k := 1; k < n; k++ {
		w := rate(k) * (h[k] - h[k-1])
		prior[k], v[k] = prior[k-1]+w, v[k-1]+phi*w
	}
	for i := range n {
		for j := i; j < n; j++ {
			cov.SetSym(i, j, v[i])
		}
	}
	m := n - 1 // all but the first are readings
	s, e := mat.NewSymDense(m, nil), mat.NewVecDense(m, nil)
	for i := range m {
		e.SetVec(i, y[i]-prior[i+1])
		for j := i; j < m; j++ {
			s.SetSym(i, j, cov.At(i+1, j+1))
		}
		s.SetSym(i, i, cov.At(i+1, i+1)+sd[i]*sd[i])
	}
	var chol mat.Cholesky
	if !chol.Factorize(s) {
		panic("not positive definite")
	}
	var x mat.VecDense
	_ = chol.SolveVecTo(&x, e)
	out := dense{lnEvidence: -(mat.Dot(e, &x)+chol.LogDet())/2 - float64(m)*halfLn2Pi, mean: make([]float64, n), v: make([]float64, n)}
	for k := range n {
		c := mat.NewVecDense(m, nil)
		for i := range m {
			c.SetVec(i, cov.At(k, i+1))
		}
		var z mat.VecDense
		_ = chol.SolveVecTo(&z, c)
		out.mean[k], out.v[k] = prior[k]+mat.Dot(c, &x), cov.At(k, k)-mat.Dot(c, &z)
	}
	return out
}

// factsOf are a segment's facts for denseOf.
func factsOf(s Segment) (h []float64, start Level, y, sd []float64) {
	g := s.Readings
	if s.Start != nil {
		start, h = *s.Start, append(h, s.H0)
	} else {
		start, h, g = Level{g[0].Y, g[0].SD}, append(h, g[0].H), g[1:]
	}
	for _, x := range g {
		h, y, sd = append(h, x.H), append(y, x.Y), append(sd, x.SD)
	}
	return h, start, y, sd
}

// exact is a mixture of dense laws, each with its ln weight.
type exact struct {
	ln  []float64
	law []dense
}

func (x *exact) add(ln float64, d dense) { x.ln, x.law = append(x.ln, ln), append(x.law, d) }

// median is where half of what is known of a fact lies below, by bisection.
func (x *exact) median(k int) float64 {
	top := math.Inf(-1)
	for _, l := range x.ln {
		top = max(top, l)
	}
	lo, hi := -10.0, 10.0
	for range 60 {
		mid, below, all := (lo+hi)/2, 0.0, 0.0
		for i, d := range x.law {
			w := math.Exp(x.ln[i] - top)
			all += w
			below += w * Phi((mid-d.mean[k])/math.Sqrt(d.v[k]))
		}
		if below < all/2 {
			lo = mid
		} else {
			hi = mid
		}
	}
	return lo
}

// TestPastOfSteadyWear holds the way that a part went against its joint normal
// law, solved whole at each of 400 rates: of a part whose rate others had shown
// too, and of those others; absolute 2e-5 mm.
func TestPastOfSteadyWear(t *testing.T) {
	prior := Prior{Mu: math.Log(.008), Om: .8}
	second := second
	second.H0 = 50
	for i := range second.Readings {
		second.Readings = append([]Gauge(nil), second.Readings...)
		second.Readings[i].H += 50
	}
	segs := []Segment{first, second}
	past := filtered(t, prior, plain(.01, 1), segs...).Past(prior, plain(.01, 1), segs)
	if past.Parts() != 2 {
		t.Fatalf("%d parts, want 2", past.Parts())
	}
	var all [2]exact
	for i := range 400 {
		z := -5 + 10*float64(i)/399
		rate := func(int) float64 { return math.Exp(prior.Mu + prior.Om*z) }
		var d [2]dense
		ln := -z * z / 2
		for k, s := range segs {
			h, start, y, sd := factsOf(s)
			d[k] = denseOf(h, rate, .01, start, y, sd)
			ln += d[k].lnEvidence
		}
		for k := range segs {
			all[k].add(ln, d[k])
		}
	}
	for i, s := range segs {
		h, _, _, _ := factsOf(s)
		for k := range h {
			near(t, "size", past.At(i, h[k]), all[i].median(k), 2e-5)
		}
	}
	// Between two facts it goes evenly, and on to where the next part followed.
	near(t, "half-way", past.At(0, 37.25), (past.At(0, 30.5)+past.At(0, 44))/2, 1e-9)
	if end := past.At(0, 50); !(end > past.At(0, 44)) {
		t.Errorf("0.0 mm was worn in the six units before the next part: %v", end)
	}
	for _, h := range []float64{-1, 50.1, math.NaN(), math.Inf(1)} {
		if got := past.At(0, h); !math.IsNaN(got) {
			t.Errorf("at %v it is %v, want nothing", h, got)
		}
	}
	if !math.IsNaN(past.At(2, 60)) || !math.IsNaN(past.At(-1, 60)) || !math.IsNaN(Past{}.At(0, 0)) {
		t.Error("a part that is not there has a size")
	}
}

// TestPastOfAChangedRate does the same where the rate may have changed after any
// reading, over both rates. The filter draws what it knew before a change together
// to one normal, so it is good to a twentieth of a gauge's uncertainty.
func TestPastOfAChangedRate(t *testing.T) {
	prior := Prior{Mu: math.Log(.004), Om: .7}
	how := plain(.004, 1)
	how.Kappa, how.Stray = .02, .6
	s := Segment{Start: &Level{.10, .01}, Readings: []Gauge{{8, .13, .015}, {16, .15, .015}, {24, .20, .015}, {32, .36, .015}, {40, .50, .015}}}
	h, start, y, sd := factsOf(s)
	post := filtered(t, prior, how, s)
	if post.ChangeAfter() != 2 {
		t.Fatalf("the rate changed after reading %d (chance %.2f), want 2", post.ChangeAfter(), post.PChange())
	}
	past := post.Past(prior, how, []Segment{s})
	var all exact
	rates := func(take func(ln, r float64), om float64) {
		for i := range 60 {
			z := -5 + 10*float64(i)/59
			take(-z*z/2, math.Exp(prior.Mu+om*z))
		}
	}
	step := 10. / 59 / math.Sqrt(2*math.Pi) // of the rule's sum over one rate
	wide := math.Hypot(prior.Om, how.Stray)
	rates(func(ln, r float64) {
		d := denseOf(h, func(int) float64 { return r }, how.Phi, start, y, sd)
		all.add(ln+d.lnEvidence+math.Log(step), d)
		for j := 2; j < len(h); j++ { // after the first reading at the soonest
			rates(func(again, r2 float64) {
				d := denseOf(h, func(k int) float64 {
					if k >= j {
						return r2
					}
					return r
				}, how.Phi, start, y, sd)
				all.add(ln+again+d.lnEvidence+2*math.Log(step)+math.Log(how.Kappa*(h[j]-h[j-1])), d)
			}, wide)
		}
	}, prior.Om)
	for k := range h {
		near(t, "size", past.At(0, h[k]), all.median(k), .015/20)
	}
}

// A reading that is misread moves the way there no more than none would.
func TestPastOfAMisread(t *testing.T) {
	prior, how := Prior{Mu: math.Log(.01), Om: .6}, DefaultParams()
	good := Segment{Readings: []Gauge{{0, .10, .02}, {10, .19, .02}, {20, .31, .02}, {40, .50, .02}, {50, .61, .02}}}
	odd := good
	odd.Readings = append(append([]Gauge(nil), good.Readings[:3]...), Gauge{30, 1.4, .02}, good.Readings[3], good.Readings[4])
	a, b := filtered(t, prior, how, good).Past(prior, how, []Segment{good}), filtered(t, prior, how, odd).Past(prior, how, []Segment{odd})
	for _, h := range []float64{0, 10, 20, 30, 40, 50} {
		near(t, "size beside a misread", b.At(0, h), a.At(0, h), .01)
	}
	// And where it is the first of a part of unknown size.
	odd.Readings = append([]Gauge{{-10, 1.4, .02}}, good.Readings...)
	odd.H0 = -10
	b = filtered(t, prior, how, odd).Past(prior, how, []Segment{odd})
	for _, h := range []float64{0, 10, 20, 40, 50} {
		near(t, "size after a misread", b.At(0, h), a.At(0, h), .02)
	}
}

// Whatever happened to a bearing, the way there ends where the forecast begins,
// and whoever asks with another history gets an answer and no panic.
func TestPastEndsInTheForecast(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	rng := rand.New(rand.NewPCG(seed, 11))
	for range 300 {
		prior, how := Prior{Mu: math.Log(.01) + rng.NormFloat64(), Om: .2 + rng.Float64()}, DefaultParams()
		if rng.IntN(3) == 0 {
			how.B = .6 + rng.Float64()
		}
		if rng.IntN(3) == 0 {
			how.Quicken, how.Reach = 3*rng.NormFloat64(), 1
		}
		if rng.IntN(3) == 0 {
			how.Eps, how.Kappa = 0, 0
		}
		segs := someLife(rng)
		post := filtered(t, prior, how, segs...)
		past := post.Past(prior, how, segs)
		if !post.Known() { // and so not where it went
			if n := past.Parts(); n > 0 && !math.IsNaN(past.At(n-1, post.Now())) {
				t.Fatalf("seed %d: nothing is known, but it was %v", seed, past.At(n-1, post.Now()))
			}
			continue
		}
		got, want := past.At(past.Parts()-1, post.Now()), post.LevelQuantile(post.Now(), .5)
		if last := segs[len(segs)-1]; last.Carry > 0 && len(last.Readings) == 0 {
			want = got // the cleaning since made its law a wider one
		}
		if !(math.Abs(got-want) < 1e-4*max(1, math.Abs(want))+.02*post.Level().SD) {
			t.Fatalf("seed %d: the way there ends at %v and the forecast begins at %v: %+v of %+v", seed, got, want, how, segs)
		}
		for _, s := range segs {
			for _, g := range s.Readings {
				for i := range past.Parts() {
					if size := past.At(i, g.H); math.IsInf(size, 0) {
						t.Fatalf("seed %d: size %v at %v", seed, size, g.H)
					}
				}
			}
		}
		more := slices.Clone(segs)
		last := &more[len(more)-1]
		last.Readings = append(slices.Clip(last.Readings), Gauge{post.Now() + 1, .5, .02})
		if post.Past(prior, how, more).Parts() != 0 {
			t.Fatalf("seed %d: the history of another is taken for its own", seed)
		}
		if none := post.Past(Prior{}, how, segs); none.Parts() != 0 {
			t.Fatalf("seed %d: a prior that nobody may have is taken", seed)
		}
	}
}

// someLife is a random history of one to three parts.
func someLife(rng *rand.Rand) []Segment {
	var out []Segment
	h := 0.0
	for range 1 + rng.IntN(3) {
		s := Segment{H0: h}
		size := .1
		if rng.IntN(2) == 0 {
			s.Start = &Level{size, .02}
		}
		if len(out) > 0 {
			s.Redrawn, s.Fresh = rng.IntN(2) == 0, rng.IntN(4) == 0
			if rng.IntN(4) == 0 && len(out[len(out)-1].Readings) > 0 {
				s = Segment{H0: h, Carry: .03}
			}
		}
		rate := .01 * math.Exp(rng.NormFloat64()/2)
		for range rng.IntN(7) {
			step := 10 * rng.Float64()
			if rng.IntN(5) == 0 {
				step = 0
			}
			h, size = h+step, size+rate*step
			if rng.IntN(6) == 0 {
				rate *= 3
			}
			y := size + .02*rng.NormFloat64()
			if rng.IntN(15) == 0 {
				y += .6
			}
			s.Readings = append(s.Readings, Gauge{h, y, .02})
		}
		out = append(out, s)
	}
	return out
}
