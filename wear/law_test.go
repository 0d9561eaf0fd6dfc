package wear

import (
	"encoding/binary"
	"math"
	"math/rand/v2"
	"strconv"
	"testing"
	"time"

	"gonum.org/v1/gonum/stat/distuv"
)

// worn is one invented bearing whose wear is a gamma process, which only grows:
// increments over dh have mean r dh and variance phi r dh.
type worn struct {
	rng   *rand.Rand
	r     float64
	phi   float64
	level float64
}

func (w *worn) run(dh float64) {
	if dh > 0 {
		w.level += distuv.Gamma{Alpha: w.r * dh / w.phi, Beta: 1 / w.phi, Src: w.rng}.Rand()
	}
}

func (w *worn) read(sd float64) float64 { return w.level + sd*w.rng.NormFloat64() }

// TestCalibrated: with the true settings, invented bearings must cross a limit
// before the 10, 50 and 90 % exposures about that often, and their next reading
// must fall within the 80 % band of the forecast that often. The bounds are
// four binomial deviations about the shares, and for the crossing also the
// slight lateness at 50 % that the law is known to have for growing wear.
func TestCalibrated(t *testing.T) {
	const n, gauge, limit = 1200, .03, .8
	p := Params{Phi: .01, B: 1, C: 1}
	prior := Prior{Mu: math.Log(.012), Om: .5}
	rng := rand.New(rand.NewPCG(5, 6))
	var before [3]int
	inside := 0
	for range n {
		w := worn{rng: rng, r: math.Exp(prior.Mu + prior.Om*rng.NormFloat64()), phi: p.Phi, level: .1}
		s, h := Segment{}, 0.0
		for range 1 + rng.IntN(5) {
			s.Readings = append(s.Readings, Gauge{h, w.read(gauge), gauge})
			dh := 3 + 6*rng.Float64()
			h += dh
			w.run(dh)
		}
		// The reading now due, against its forecast.
		post := filtered(t, prior, p, s)
		f, y := post.Forecast(h, gauge), w.read(gauge)
		if math.Abs(y-f.Mean) < 1.2815515655446*f.SD {
			inside++
		}
		s.Readings = append(s.Readings, Gauge{h, y, gauge})
		post = filtered(t, prior, p, s)
		var at [3]float64
		for i, q := range []float64{.1, .5, .9} {
			at[i] = post.Crossing(limit, h, q).H
		}
		const dh = .25
		for end := h; end <= at[2]; end += dh { // run on until it crosses
			if w.level >= limit {
				for i := range at {
					if end <= at[i] {
						before[i]++
					}
				}
				break
			}
			w.run(dh)
		}
	}
	share := func(what string, k int, want, bias float64) {
		t.Helper()
		near(t, what, float64(k)/n, want, 4*math.Sqrt(want*(1-want)/n)+bias)
	}
	share("crossed before the 10 % exposure", before[0], .1, .01)
	share("crossed before the 50 % exposure", before[1], .5, .02)
	share("crossed before the 90 % exposure", before[2], .9, .01)
	share("next reading in the 80 % band", inside, .8, .01)
}

// TestCalibratedAsLearned: with everything learned from a fleet of 160, of which
// nothing but the readings is known, new bearings of that fleet cross before
// their 10, 50 and 90 % exposures that often, within 3 points; so do the
// unchanged ones of a fleet with misreads, rounding and changes of rate.
func TestCalibratedAsLearned(t *testing.T) {
	for _, c := range []struct {
		name            string
		misread, change float64
	}{{"plain", 0, 0}, {"with misreads and changes", .02, .08}} {
		t.Run(c.name, func(t *testing.T) {
			b := breed{rng: rand.New(rand.NewPCG(23, 24)), misread: c.misread, change: c.change}
			var fleet []History
			for i := range 160 {
				_, h, _ := b.born(i)
				fleet = append(fleet, h)
			}
			l, err := Learn(t.Context(), fleet, Teaching{})
			if err != nil {
				t.Fatal(err)
			}
			const n = 3000
			b.change = 0 // the unchanged ones are judged
			var before [3]int
			for i := range n {
				w, h, at := b.born(i)
				limit := w.level + .1 + .4*b.rng.Float64()
				due := filtered(t, l.Prior(h.Group, h.Prior), l.Params, h.Segments...).Crossings(limit, at)
				step := .02 * math.Max(1, .1/w.r)
				for end := at; end <= due[2].H; end += step {
					if w.level >= limit {
						for k := range due {
							if end <= due[k].H {
								before[k]++
							}
						}
						break
					}
					w.run(step)
				}
			}
			t.Logf("learned grain %.3f, gauge factor %.1f, spread %.2f, exponent %v, quickening %v", l.Params.Phi, l.Params.C, l.Om, l.Params.B, l.Params.Quicken)
			for k, want := range []float64{.1, .5, .9} {
				got := float64(before[k]) / n
				t.Logf("crossed before the %.0f %% exposure: %.3f", 100*want, got)
				near(t, "share that crossed", got, want, .03)
			}
		})
	}
}

// breed makes bearings of a fleet in three groups.
type breed struct {
	rng             *rand.Rand
	misread, change float64
}

// born is one bearing after its last reading, with its history and exposure.
func (b breed) born(i int) (*worn, History, float64) {
	medians := []float64{.004, .01, .025}
	group := i % len(medians)
	w := &worn{rng: b.rng, r: medians[group] * math.Exp(.5*b.rng.NormFloat64()), phi: .01, level: .1}
	h := History{Name: strconv.Itoa(i), Group: strconv.Itoa(group), Prior: Prior{Mu: math.Log(.02), Om: 1.2}}
	s, at, n := Segment{}, 0.0, 2+b.rng.IntN(7)
	turn := n
	if b.rng.Float64() < b.change {
		turn = n / 2
	}
	for k := range n {
		if k == turn {
			w.r = medians[group] * math.Exp(.5*b.rng.NormFloat64())
		}
		if k > 0 {
			dh := 4 + 18*b.rng.Float64()
			at += dh
			w.run(dh)
		}
		y := w.read(.03)
		if b.rng.Float64() < b.misread {
			y += .15 + .35*b.rng.Float64()
		}
		if b.misread > 0 {
			y = math.Round(100*y) / 100
		}
		s.Readings = append(s.Readings, Gauge{at, y, .03})
	}
	h.Segments = []Segment{s}
	return w, h, at
}

// TestBetterThanALine: the next reading of invented bearings with few readings,
// some of them misread, is forecast with a smaller mean error than by a
// straight line, which is what the filter stands in for.
func TestBetterThanALine(t *testing.T) {
	const n, gauge = 600, .03
	prior := Prior{Mu: math.Log(.012), Om: .5}
	rng := rand.New(rand.NewPCG(7, 8))
	var byFilter, byLine float64
	for range n {
		w := worn{rng: rng, r: math.Exp(prior.Mu + prior.Om*rng.NormFloat64()), phi: .01, level: .1}
		var s Segment
		var x, y []float64
		h := 0.0
		for range 3 + rng.IntN(4) {
			e := w.read(gauge)
			if rng.Float64() < .02 {
				e += .3 * rng.NormFloat64()
			}
			s.Readings = append(s.Readings, Gauge{h, e, gauge})
			x, y = append(x, h), append(y, e)
			dh := 4 + 10*rng.Float64()
			h += dh
			w.run(dh)
		}
		line, err := FitLine(x, y)
		if err != nil {
			t.Fatal(err)
		}
		next, _ := line.Predict(h)
		byLine += math.Abs(next-w.level) / n
		byFilter += math.Abs(filtered(t, prior, DefaultParams(), s).LevelAt(h).Mean-w.level) / n
	}
	t.Logf("mean error: filter %.4f mm, line %.4f mm", byFilter, byLine)
	if byFilter > .95*byLine {
		t.Errorf("mean error %.4f mm is not clearly below the line's %.4f mm", byFilter, byLine)
	}
}

// TestUnitsDoNotMatter: the same history in other units of size or exposure, or
// from another zero, gives the same answer in those units.
func TestUnitsDoNotMatter(t *testing.T) {
	h, y := []float64{0, 10, 20, 30, 40, 55}, []float64{.1, .2, .9, .4, .52, .75}
	base := filtered(t, tablePrior, DefaultParams(), Segment{Start: &Level{.1, .02}, Readings: gauges(h, y)})
	for _, c := range []struct {
		name                   string
		size, span, zero, from float64
	}{
		{"inches", 1 / 25.4, 1, 0, 0},
		{"days of running", 1, 1000. / 24, 0, 0},
		{"a longer arbor", 1, 1, 3, 0},
		{"counted from elsewhere", 1, 1, 0, 170},
		{"all at once", 1 / 25.4, 1000. / 24, .2, 30},
	} {
		p := DefaultParams()
		p.Phi, p.Out, p.Kappa = p.Phi*c.size, p.Out*c.size, p.Kappa/c.span
		prior := Prior{Mu: tablePrior.Mu + math.Log(c.size/c.span), Om: tablePrior.Om}
		s := Segment{H0: c.from, Start: &Level{.1*c.size + c.zero, .02 * c.size}}
		for i := range h {
			s.Readings = append(s.Readings, Gauge{c.from + h[i]*c.span, c.zero + y[i]*c.size, .03 * c.size})
		}
		post := filtered(t, prior, p, s)
		near(t, c.name+": P(change)", post.PChange(), base.PChange(), 1e-9)
		nearRel(t, c.name+": level", post.Level().Mean, c.zero+base.Level().Mean*c.size, 1e-9)
		limit, now := c.zero+1.2*c.size, c.from+55*c.span
		near(t, c.name+": exceeded", post.Exceed(limit, c.from+80*c.span, now), base.Exceed(1.2, 80, 55), 1e-9)
		if c.span == 1 { // the horizon is in units of exposure
			nearRel(t, c.name+": crossing", post.Crossing(limit, now, .5).H, c.from+base.Crossing(1.2, 55, .5).H, 1e-7)
		}
	}
}

// TestMoreIsSooner: a larger reading brings the crossing forward, a higher
// limit and a higher probability put it back.
func TestMoreIsSooner(t *testing.T) {
	at := func(last, limit, p float64) float64 {
		post := filtered(t, tablePrior, plain(.01, 1), Segment{Readings: gauges([]float64{0, 10, 20}, []float64{.1, .2, last})})
		return post.Crossing(limit, 20, p).H
	}
	for last := .2; last < .5; last += .02 {
		if a, b := at(last, .8, .5), at(last+.02, .8, .5); b >= a {
			t.Errorf("reading %v crosses at %v, a larger one at %v", last, a, b)
		}
		if a, b := at(last, .8, .5), at(last, .82, .5); b <= a {
			t.Errorf("limit 0.80 is crossed at %v, 0.82 at %v", a, b)
		}
		if a, b := at(last, .8, .1), at(last, .8, .2); b <= a {
			t.Errorf("with 10 %% at %v, with 20 %% at %v", a, b)
		}
	}
}

// FuzzFilter: whatever the numbers, the filter refuses them or gives finite
// answers that are in order.
func FuzzFilter(f *testing.F) {
	f.Add(-4.3, .6, .01, .02, .003, .1, .02, 10.0, .25, .03, 20.0, .9, .03)
	f.Add(-4.3, 1.2, 0.0, 0.0, 0.0, .1, 1e-6, 1e6, 1e5, 1e-6, 1e6, -1e5, 1e-6)
	f.Add(50.0, 10.0, 1e5, .99, 1e3, -1e5, 1e5, 0.0, 0.0, 1e5, 1e-300, 0.0, 1e5)
	f.Fuzz(func(t *testing.T, mu, om, phi, eps, kappa, y0, sd0, h1, y1, sd1, h2, y2, sd2 float64) {
		p := DefaultParams()
		p.Phi, p.Eps, p.Kappa = phi, eps, kappa
		s := Segment{Start: &Level{y0, sd0}, Readings: []Gauge{{h1, y1, sd1}, {h2, y2, sd2}}}
		post, err := Filter(Prior{Mu: mu, Om: om}, p, []Segment{s})
		if err != nil {
			return
		}
		l := post.Level()
		median, mean := post.Rate()
		c := post.Exceed(1, post.Now()+1, post.Now())
		for _, v := range []float64{l.Mean, l.SD, median, mean, c, post.PChange(), post.Evidence(), post.Crossing(1, post.Now(), .5).H, post.LevelQuantile(post.Now(), .5)} {
			if !finite(v) {
				t.Fatalf("level %v, rate %v %v, exceed %v, change %v, evidence %v", l, median, mean, c, post.PChange(), post.Evidence())
			}
		}
		if !(c >= 0 && c <= 1 && l.SD >= 0 && median > 0) {
			t.Fatalf("level %v, rate %v, exceed %v", l, median, c)
		}
	})
}

// FuzzNewRunning: any log gives totals that are in order, what does not fit left
// out, and is refused where anything does not.
func FuzzNewRunning(f *testing.F) {
	f.Add(uint8(8), []byte{2, 0, 0, 2, 7, 0, 2, 10, 0, 3, 7, 0})
	f.Add(uint8(0), []byte{1, 5, 1, 0, 5, 0, 1, 5, 3})
	f.Add(uint8(16), []byte{2, 0, 0, 2, 7, 36, 4, 10, 40, 7, 3, 2, 1, 7, 0})
	f.Add(uint8(0), []byte{5, 5, 33, 3, 9, 0, 5, 20, 240, 0, 3, 0, 6, 4, 20, 6, 9, 31, 6, 9, 3})
	f.Fuzz(func(t *testing.T, reserve uint8, log []byte) {
		kinds := []RunKind{RunStarted, RunStopped, RunWound, RunSeen, RunHeight, RunCut, RunMeter, RunPause, "other"}
		var events []RunEvent
		at := 0.0
		for ; len(log) >= 3; log = log[3:] {
			at += float64(log[1]) / 4
			e := RunEvent{At: day(at), Kind: kinds[int(log[0])%len(kinds)], Exact: log[2]&1 == 1}
			if log[2]&2 == 2 {
				e.Since = day(at - float64(log[2])/16)
			}
			e.Run, e.Part, e.Old = time.Duration(log[2])*time.Hour/2, log[2]&4 == 4, log[2]&8 == 8
			e.Holds, e.Restarts, e.Lasted = time.Duration(int8(log[2]))*time.Hour, log[2]&16 == 16, day(at+float64(log[1])/8)
			if log[2]&32 == 32 {
				e.Until = day(at - 1 + float64(log[2])/32)
			}
			e.Meter, e.Turnover, e.Renewed = float64(log[2])*7, float64(log[1])*100, log[2]&64 == 64
			events = append(events, e)
		}
		hold := time.Duration(reserve) * 12 * time.Hour
		r, odd, err := Sift(day0, hold, events)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := NewRunning(day0, hold, events); (err == nil) != (len(odd) == 0) {
			t.Fatalf("%d events do not fit, and strictly: %v", len(odd), err)
		}
		seed := binary.LittleEndian.Uint64(append(log, make([]byte, 8)...))
		checkLedger(t, r, min(at, 70000)+20, rand.New(rand.NewPCG(seed, 1)))
		checkGrowing(t, hold, events, rand.New(rand.NewPCG(seed, 2)))
	})
}

// TestPeakOnABell: one reading far from a known start is either right, and the
// rate a narrow peak, or misread, and the rate as it was believed: the evidence
// of the two, with and without a change of rate to explain it, against their
// integral on a fine grid.
func TestPeakOnABell(t *testing.T) {
	normal := func(x, mean, v float64) float64 { return math.Exp(-(x-mean)*(x-mean)/(2*v)) / math.Sqrt(2*math.Pi*v) }
	p := DefaultParams()
	p.Kappa = 0
	for _, om := range []float64{.4, 1.2, 1.6} {
		for _, y := range []float64{.15, .4, .9, 2, 4} {
			prior, start, h := Prior{Mu: math.Log(.005), Om: om}, Level{.1, .01}, 40.0
			const n = 40000
			whole, right := 0.0, 0.0
			for i := range n {
				z := -10 + 20*(float64(i)+.5)/n
				w := math.Exp(prior.Mu+om*z) * h
				v := start.SD*start.SD + p.Phi*w
				good := (1 - p.Eps) * normal(y, start.Mean+w, v+.03*.03)
				off := y - start.Mean - w
				bad := p.Eps * normal(y, start.Mean+w, v+max(p.Out*p.Out, off*off/far2))
				whole += normal(z, 0, 1) * (good + bad) * 20 / n
				right += normal(z, 0, 1) * good * 20 / n
			}
			seg := Segment{Start: &start, Readings: []Gauge{{h, y, .03}}}
			post := filtered(t, prior, p, seg)
			near(t, "ln evidence", post.Evidence(), math.Log(whole), .03)
			doubt, err := Doubts(prior, p, []Segment{seg})
			if err != nil {
				t.Fatal(err)
			}
			near(t, "doubt", doubt[0], 1-right/whole, .05)
		}
	}
}
