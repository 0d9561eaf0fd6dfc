package wear

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

// plain is a filter without misreads and changes of rate.
func plain(phi, b float64) Params { return Params{Phi: phi, B: b, C: 1} }

var (
	// first has five readings and no known start; second four, two of them at
	// one exposure, and a known start.
	first  = Segment{Readings: []Gauge{{0, .10, .03}, {9.2, .22, .03}, {18.1, .31, .03}, {30.5, .52, .03}, {44, .70, .03}}}
	second = Segment{Start: &Level{.08, .02}, Readings: []Gauge{{6, .15, .02}, {15, .19, .03}, {15, .24, .03}, {40, .38, .04}}}
)

// TestFixedRate: scipy.stats.multivariate_normal with the covariance written
// out, and statsmodels' KalmanFilter for one row; absolute 1e-10.
func TestFixedRate(t *testing.T) {
	for _, c := range []struct {
		name              string
		s                 Segment
		r, phi, b         float64
		l, mean, variance float64
	}{
		{"first", first, .012, .01, 1, 7.23006628506, 0.689975788645, 0.000642672891256},
		{"first, running in", first, .004, .02, .8, -36.5451471961, 0.554882027464, 0.000440025801636},
		{"second", second, .012, .01, 1, 5.17225715942, 0.427210633278, 0.00108167908617},
		{"second, running in", second, .004, .02, .8, 1.07143938117, 0.29031848814, 0.000649408580418},
	} {
		t.Run(c.name, func(t *testing.T) {
			var g grid
			g.lay(around(math.Log(c.r), 0), nodes) // every node at one rate
			var co course
			co.take(tablePrior, plain(c.phi, c.b), []Segment{c.s})
			co.history(&g)
			near(t, "ln likelihood", g.likelihood(7), c.l, 1e-10)
			near(t, "level", g.m[7], c.mean, 1e-10)
			near(t, "variance", g.p[7], c.variance, 1e-10)
		})
	}
}

// TestRateIntegrated: adaptive quadrature over ln rate with the multivariate
// normal likelihood.
func TestRateIntegrated(t *testing.T) {
	type at struct{ h, want float64 }
	for _, c := range []struct {
		name                         string
		s                            Segment
		median, om, limit            float64
		evidence, lnRate, lnSD, rate float64
		level, sd                    float64
		f                            []at
		q                            [3]float64
		q90                          float64 // tolerance of the last
	}{
		{"first", first, .013, .6, 1, 6.08837372, -4.315013039, .14069704, .013498842, .69713422, .027373297,
			[]at{{50, 1.5231e-6}, {60, .098101655}, {80, .96317999}}, [3]float64{60.047625, 66.632720, 75.609928}, .01},
		{"second", second, .005, 1.2, .6, 6.210236849, -4.964734502, .23701278, .0071743789, .38212975, .036405293,
			[]at{{60, .1517109}, {100, .94577597}, {200, .99993458}}, [3]float64{57.902092, 70.943541, 92.483570}, .02},
	} {
		t.Run(c.name, func(t *testing.T) {
			post := filtered(t, Prior{Mu: math.Log(c.median), Om: c.om}, plain(.01, 1), c.s)
			near(t, "evidence", post.Evidence(), c.evidence, 1e-4)
			mean, sd := post.LnRate()
			near(t, "ln rate", mean, c.lnRate, 1e-4)
			near(t, "its deviation", sd, c.lnSD, 2e-4)
			_, rate := post.Rate()
			near(t, "mean rate", rate, c.rate, 1e-5)
			near(t, "level", post.Level().Mean, c.level, 1e-5)
			near(t, "its deviation", post.Level().SD, c.sd, 1e-5)
			for _, f := range c.f {
				near(t, "exceeded", post.Exceed(c.limit, f.h, post.Now()), f.want, 5e-5)
			}
			for i, p := range []float64{.1, .5, .9} {
				within := []float64{.01, .01, c.q90}[i]
				got := post.Crossing(c.limit, post.Now(), p)
				near(t, "crossing", got.H, c.q[i], within)
				if got.State != At {
					t.Errorf("crossing is %q", got.State)
				}
			}
		})
	}
}

// TestMisreadUpdate: mpmath; relative 1e-11.
func TestMisreadUpdate(t *testing.T) {
	mix := newMixture(&Params{Eps: .02, Out: .3})
	for _, c := range []struct{ y, l, bad, mean, variance float64 }{
		{.25, 1.532055158582, .005640568427952, .2248617781499, .0004558560076156},
		{.35, -3.189977852362, .5679349317454, .2332483478395, .00202667596267},
		{.60, -4.512051908534, 1, .2039603960396, .0008910891089109},
	} {
		mean, variance, l, f, bad := mix.update(.2, .0009, c.y, .0009)
		l += math.Log(f) / 2
		nearRel(t, "ln likelihood", l, c.l, 1e-11)
		nearRel(t, "mean", mean, c.mean, 1e-11)
		nearRel(t, "variance", variance, c.variance, 1e-11)
		if c.bad == 1 {
			near(t, "misread", bad, 1, 1e-5)
		} else {
			nearRel(t, "misread", bad, c.bad, 1e-11)
		}
	}
	// A wild reading by a fine gauge: the good law has no weight left at all.
	mean, variance, l, f, bad := mix.update(.2, 1e-8, 9, 1e-8)
	l += math.Log(f) / 2
	if bad != 1 || !finite(l) || !finite(mean) || !(variance > 0) {
		t.Errorf("a wild reading: level %v (%v), ln likelihood %v, misread %v", mean, variance, l, bad)
	}
	wide := 8.8*8.8/9 + 1e-8 // a misread one's law is as wide as a third of how far it is off
	nearRel(t, "ln likelihood", l, math.Log(.02)-8.8*8.8/(2*wide)-math.Log(wide)/2-halfLn2Pi, 1e-12)
}

// TestRateFromReadings holds the posterior rate against a fine grid over the
// slope's sufficient statistics (SciPy): even wear, exact level. Relative 1e-3.
func TestRateFromReadings(t *testing.T) {
	for _, c := range []struct {
		name                 string
		median               float64
		x, e                 []float64
		sd                   float64
		mean, low, mid, high float64
	}{
		{"four in six years", .005, []float64{0, 2, 4, 6}, []float64{.20, .23, .22, .26}, .02, .00606420, .000662, .005565, .013308},
		{"two, five years apart", .02, []float64{0, 5}, []float64{.30, .31}, .03, .0058991, .000703, .004771, .014926},
	} {
		t.Run(c.name, func(t *testing.T) {
			var s Segment
			for i := range c.x {
				s.Readings = append(s.Readings, Gauge{c.x[i], c.e[i], c.sd})
			}
			post := filtered(t, Prior{Mu: math.Log(c.median), Om: math.Log(5)}, plain(0, 1), s)
			median, mean := post.Rate()
			nearRel(t, "mean", mean, c.mean, 1e-3)
			nearRel(t, "median", median, c.mid, 1e-3)
			nearRel(t, "5 %", post.RateQuantile(.05), c.low, 1e-3)
			nearRel(t, "95 %", post.RateQuantile(.95), c.high, 1e-3)
		})
	}
}

// TestLongHistory: when readings tell far more than the prior, its grid is too
// coarse and the answer must not depend on where its nodes fall. Two readings
// are worked directly: their difference is normal, with mean r L and variance
// phi r L + 2 s², summed over a fine grid of ln r.
func TestLongHistory(t *testing.T) {
	const length, s, n = 1000.0, .03, 20000
	for _, y := range []float64{12, 60} {
		for shift := 0.0; shift < .6; shift += .04 {
			prior := Prior{Mu: math.Log(y/length) + shift, Om: 1.2}
			var sum, mean, square float64
			for i := range n {
				x := math.Log(y/length) + .5*(float64(i)/n-.5)
				v := .01*math.Exp(x)*length + 2*s*s
				e, z := y-math.Exp(x)*length, (x-prior.Mu)/prior.Om
				w := math.Exp(-e*e/(2*v)-z*z/2) / math.Sqrt(v)
				sum, mean, square = sum+w, mean+w*x, square+w*x*x
			}
			mean /= sum
			sd := math.Sqrt(square/sum - mean*mean)
			post := filtered(t, prior, plain(.01, 1), Segment{Readings: []Gauge{{0, 0, s}, {length, y, s}}})
			gotMean, gotSD := post.LnRate()
			near(t, "ln rate", gotMean, mean, 1e-5)
			nearRel(t, "its deviation", gotSD, sd, 1e-4)
		}
	}
}

// TestPriorAlone: with nothing measured the answers are those of a log-normal
// rate in closed form.
func TestPriorAlone(t *testing.T) {
	post := filtered(t, tablePrior, DefaultParams())
	if post.Known() || post.Readings() != 0 || post.ChangeAfter() != -1 {
		t.Errorf("nothing was measured, but a level is known: %v", post.Known())
	}
	median, mean := post.Rate()
	nearRel(t, "median", median, .013, 1e-6)
	nearRel(t, "mean", mean, .013*math.Exp(.18), 1e-4)
	nearRel(t, "90 %", post.RateQuantile(.9), .013*math.Exp(.6*1.2815515655446), 1e-4)
	near(t, "evidence of nothing", post.Evidence(), 0, 1e-5)
	for what, v := range map[string]float64{
		"level": post.Level().Mean, "exceed": post.Exceed(1, 5, 0), "quantile": post.LevelQuantile(5, .5),
		"forecast": post.Forecast(5, .03).SD, "crossing": post.Crossing(1, 0, .5).H,
		"a rate's quantile at 1": post.RateQuantile(1),
	} {
		if !math.IsNaN(v) {
			t.Errorf("%s is %v, want none", what, v)
		}
	}
	if s := post.Crossing(1, 0, .5).State; s != Unknown {
		t.Errorf("crossing is %q", s)
	}
	// A part with no size and no reading leaves the level unknown, too.
	if post := filtered(t, tablePrior, DefaultParams(), first, Segment{H0: 60}); post.Known() || post.Now() != 60 {
		t.Errorf("an unmeasured part: known %v, now %v", post.Known(), post.Now())
	}
}

func TestFilterRefuses(t *testing.T) {
	nan, ok := math.NaN(), Gauge{10, .2, .03}
	with := func(change func(*Params)) Params {
		p := DefaultParams()
		change(&p)
		return p
	}
	for _, c := range []struct {
		name  string
		prior Prior
		p     Params
		segs  []Segment
		want  string // empty: taken
	}{
		{"sound", tablePrior, DefaultParams(), []Segment{{Readings: []Gauge{ok}}}, ""},
		{"a smaller reading later", tablePrior, DefaultParams(), []Segment{{Readings: []Gauge{ok, {20, .1, .03}}}}, ""},
		{"NaN size", tablePrior, DefaultParams(), []Segment{{Readings: []Gauge{{10, nan, .03}}}}, "plain sizes"},
		{"infinite exposure", tablePrior, DefaultParams(), []Segment{{Readings: []Gauge{{math.Inf(1), .2, .03}}}}, "either way"},
		{"no gauge", tablePrior, DefaultParams(), []Segment{{Readings: []Gauge{{10, .2, 0}}}}, "must be above nothing"},
		{"a kilometre", tablePrior, DefaultParams(), []Segment{{Readings: []Gauge{{10, 1e6, .03}}}}, "plain sizes"},
		{"backwards", tablePrior, DefaultParams(), []Segment{{Readings: []Gauge{ok, {9, .2, .03}}}}, "cannot run backwards"},
		{"before it was fitted", tablePrior, DefaultParams(), []Segment{{H0: 11, Readings: []Gauge{ok}}}, "before the part was fitted"},
		{"parts out of order", tablePrior, DefaultParams(), []Segment{{Readings: []Gauge{ok}}, {H0: 9}}, "put the parts in order"},
		{"NaN part", tablePrior, DefaultParams(), []Segment{{H0: nan}}, "part 1"},
		{"a start with no uncertainty", tablePrior, DefaultParams(), []Segment{{Start: &Level{.1, 0}}}, "size when fitted"},
		{"wrong even if forgotten", tablePrior, DefaultParams(), []Segment{{Readings: []Gauge{{10, .2, -1}}}, {H0: 20, Fresh: true}}, "part 1"},
		{"no prior", Prior{}, DefaultParams(), nil, "the deviation above nothing"},
		{"NaN prior", Prior{Mu: nan, Om: 1}, DefaultParams(), nil, "the mean must be"},
		{"negative grain", tablePrior, with(func(p *Params) { p.Phi = -1 }), nil, "Phi"},
		{"no exponent", tablePrior, with(func(p *Params) { p.B = 0 }), nil, "B 0"},
		{"no gauge factor", tablePrior, with(func(p *Params) { p.C = nan }), nil, "C NaN"},
		{"all misread", tablePrior, with(func(p *Params) { p.Eps = 1 }), nil, "Eps"},
		{"negative changes", tablePrior, with(func(p *Params) { p.Kappa = -1 }), nil, "Kappa"},
		{"misread by nothing", tablePrior, with(func(p *Params) { p.Out = 0 }), nil, "Out"},
	} {
		_, err := Filter(c.prior, c.p, c.segs)
		switch {
		case c.want == "" && err != nil:
			t.Errorf("%s: refused: %v", c.name, err)
		case c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)):
			t.Errorf("%s: got %v, want a refusal with %q", c.name, err, c.want)
		}
	}
}

func TestChangeOfRate(t *testing.T) {
	h, y := []float64{0, 10, 20, 30, 40, 50, 60}, []float64{.1, .2, .3, .4, .7, 1, 1.3}
	post := filtered(t, tablePrior, reference(), Segment{Readings: gauges(h, y)})
	near(t, "P(change)", post.PChange(), .993, .001) // reference implementation
	if post.ChangeAfter() != 3 {
		t.Errorf("changed after reading %d, want 3", post.ChangeAfter())
	}
	still := DefaultParams()
	still.Kappa = 0
	if p := filtered(t, tablePrior, still, Segment{Readings: gauges(h, y)}); p.PChange() != 0 || p.ChangeAfter() != -1 {
		t.Errorf("changes switched off, but P(change) is %v", p.PChange())
	}
	// Too few readings to tell: two, or one with a known start.
	if p := filtered(t, tablePrior, DefaultParams(), Segment{Readings: gauges(h[:2], y[:2])}); p.PChange() != 0 {
		t.Errorf("two readings: P(change) %v", p.PChange())
	}
	if p := filtered(t, tablePrior, DefaultParams(), Segment{Start: &Level{.1, .02}, Readings: gauges(h[1:2], y[1:2])}); p.PChange() != 0 {
		t.Errorf("a start and one reading: P(change) %v", p.PChange())
	}
	if p := filtered(t, tablePrior, DefaultParams(), Segment{Start: &Level{.1, .02}, Readings: gauges(h[1:3], y[1:3])}); p.PChange() == 0 {
		t.Error("a start and two readings leave room for a change, but none was weighed")
	}
}

// TestRepair: a new part starts at its own size, with the old one's rate.
func TestRepair(t *testing.T) {
	before := filtered(t, tablePrior, DefaultParams(), first)
	for _, c := range []struct {
		name  string
		next  Segment
		level float64
		kept  bool
	}{
		{"a known size", Segment{H0: 50, Start: &Level{.08, .02}}, .08, true},
		{"a first reading", Segment{H0: 50, Readings: []Gauge{{51, .09, .03}}}, .09, true},
		{"other materials", Segment{H0: 50, Start: &Level{.08, .02}, Fresh: true}, .08, false},
	} {
		after := filtered(t, tablePrior, DefaultParams(), first, c.next)
		near(t, c.name+": level", after.Level().Mean, c.level, 1e-12)
		mean, sd := after.LnRate()
		wantMean, wantSD := tablePrior.Mu, tablePrior.Om
		if c.kept {
			// The old part's branches with a change are not carried over.
			still := DefaultParams()
			still.Kappa = 0
			wantMean, wantSD = filtered(t, tablePrior, still, first).LnRate()
		}
		near(t, c.name+": ln rate", mean, wantMean, 1e-3)
		near(t, c.name+": its deviation", sd, wantSD, 1e-3)
		if after.Readings() != len(c.next.Readings) {
			t.Errorf("%s: the new part has %d readings", c.name, after.Readings())
		}
	}
	if m, _ := before.Rate(); !(m > 0) {
		t.Errorf("rate before the repair is %v", m)
	}
	// With running-in, the new part is young again and wears faster at first.
	young := Params{Phi: .01, B: .6, C: 1}
	old := filtered(t, tablePrior, young, Segment{Start: &Level{.08, .02}, Readings: []Gauge{{100, .3, .03}}})
	new := filtered(t, tablePrior, young, Segment{Start: &Level{.08, .02}, Readings: []Gauge{{100, .3, .03}}}, Segment{H0: 100, Start: &Level{.08, .02}})
	if a, b := old.LevelAt(110).Mean-old.Level().Mean, new.LevelAt(110).Mean-new.Level().Mean; b <= a {
		t.Errorf("an old part wears %v in ten units and a new one %v", a, b)
	}
}

// TestOrderOfEqualHours: readings at one exposure have no order.
func TestOrderOfEqualHours(t *testing.T) {
	a := []Gauge{{0, .1, .03}, {0, .14, .02}, {10, .2, .03}, {10, .9, .03}, {10, .22, .04}, {20, .31, .03}, {20, .31, .02}, {30, .4, .03}}
	b := slices.Clone(a)
	b[0], b[1] = b[1], b[0]
	b[2], b[4] = b[4], b[2]
	b[5], b[6] = b[6], b[5]
	asGiven := slices.Clone(b)
	x := filtered(t, tablePrior, DefaultParams(), Segment{Readings: a})
	y := filtered(t, tablePrior, DefaultParams(), Segment{Readings: b})
	if x.Evidence() != y.Evidence() || x.Level() != y.Level() || x.Crossing(1, 30, .5) != y.Crossing(1, 30, .5) {
		t.Errorf("in another order: evidence %v and %v, level %v and %v", x.Evidence(), y.Evidence(), x.Level(), y.Level())
	}
	if !slices.Equal(b, asGiven) {
		t.Error("the caller's readings were moved")
	}
}

// TestExceedIsALaw: over many invented histories, F(h) starts at the
// probability of being over now, never falls, agrees with the level's own
// quantiles, and Crossing inverts it.
func TestExceedIsALaw(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for range 200 {
		s := Segment{}
		h, y := 0.0, .1
		for range 1 + rng.IntN(8) {
			s.Readings = append(s.Readings, Gauge{h, y + .03*rng.NormFloat64(), .03})
			h += 12 * rng.Float64()
			y += 12 * .013 * rng.ExpFloat64()
		}
		post := filtered(t, tablePrior, DefaultParams(), s)
		now := post.Now() + 3*rng.Float64()
		limit := post.Level().Mean + .5*rng.NormFloat64()
		last := 0.0
		for dh := 0.0; dh < 120; dh += 4 {
			f := post.Exceed(limit, now+dh, now)
			if !(f >= last && f <= 1) {
				t.Fatalf("F falls from %v to %v at %v", last, f, now+dh)
			}
			last = f
		}
		near(t, "before now is now", post.Exceed(limit, now-1, now), post.Exceed(limit, now, now), 0)
		for _, p := range []float64{.05, .5, .95} {
			c := post.Crossing(limit, now, p)
			switch c.State {
			case At:
				near(t, "F at the crossing", post.Exceed(limit, c.H, now), p, 1e-7)
			case Already:
				if f := post.Exceed(limit, now, now); f < p {
					t.Errorf("already over with probability %v, but F is %v", p, f)
				}
			case Beyond:
				if f := post.Exceed(limit, now+Horizon, now); f >= p {
					t.Errorf("beyond the horizon with probability %v, but F is %v there", p, f)
				}
			}
			size := post.LevelQuantile(now+20, p)
			near(t, "F of a quantile", 1-post.Exceed(size, now+20, now+20), p, 1e-7)
		}
	}
}

func TestForecast(t *testing.T) {
	p := DefaultParams()
	p.C = 2
	post := filtered(t, tablePrior, p, first)
	level, read := post.LevelAt(60), post.Forecast(60, .03)
	near(t, "mean", read.Mean, level.Mean, 0)
	near(t, "deviation", read.SD, math.Sqrt(level.SD*level.SD+.06*.06), 1e-15)
	_, rate := post.Rate()
	near(t, "the level grows at the mean rate", level.Mean-post.Level().Mean, rate*16, 1e-12)
	if post.LevelAt(10) != post.Level() {
		t.Error("before the last fact the level is not the last one")
	}
	if c := post.Crossing(900, 44, .5); c.State != Beyond || c.H != 44+Horizon {
		t.Errorf("a limit out of reach is crossed at %v", c)
	}
}

// TestWorkerForgets: a worker's answer does not hang on what it did before.
func TestWorkerForgets(t *testing.T) {
	known := &Level{.1, .02}
	histories := [][]Segment{
		nil, {{}}, {{Start: known}}, {first}, {second}, {{Start: known, Readings: gauges([]float64{40}, []float64{2})}},
		{first, {H0: 50, Start: known, Redrawn: true, Readings: gauges([]float64{60, 70}, []float64{.2, .9})}},
		{first, {H0: 50, Carry: .03, Readings: gauges([]float64{60}, []float64{1})}, {H0: 61, Carry: .03}},
		{{Readings: gauges([]float64{0, 10, 20, 30, 40, 50, 60}, []float64{.1, .2, .3, .4, .7, 1, 1.3})}},
	}
	bent := DefaultParams()
	bent.B, bent.Quicken, bent.Reach = .8, .5, 2
	var old Worker
	for range 2 {
		for _, p := range []Params{DefaultParams(), bent} {
			for i, h := range histories {
				var fresh Worker
				want, err := fresh.Filter(tablePrior, p, h)
				if err != nil {
					t.Fatal(err)
				}
				got, err := old.Filter(tablePrior, p, h)
				if err != nil {
					t.Fatal(err)
				}
				if fmt.Sprint(*got) != fmt.Sprint(*want) {
					t.Errorf("history %d: another answer from a worker that has worked", i)
				}
			}
			if _, err := Doubts(tablePrior, p, histories[len(histories)-1]); err != nil {
				t.Fatal(err)
			}
		}
	}
}
