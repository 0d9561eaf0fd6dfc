package wear

import (
	"math"
	"math/rand/v2"
	"testing"
)

// same holds two answers together, b's exposures being later by shift.
func same(t *testing.T, what string, a, b Posterior, shift, within float64) {
	t.Helper()
	near(t, what+": evidence", b.Evidence(), a.Evidence(), within)
	near(t, what+": P(change)", b.PChange(), a.PChange(), within)
	near(t, what+": level", b.Level().Mean, a.Level().Mean, within)
	near(t, what+": its deviation", b.Level().SD, a.Level().SD, within)
	near(t, what+": level later", b.LevelAt(b.Now()+30).Mean, a.LevelAt(a.Now()+30).Mean, 10*within)
	am, as := a.LnRate()
	bm, bs := b.LnRate()
	near(t, what+": ln rate", bm, am, within)
	near(t, what+": its deviation", bs, as, within)
	near(t, what+": now", b.Now(), a.Now()+shift, within)
	limit := a.Level().Mean + .4
	x, y := a.Crossing(limit, a.Now(), .5), b.Crossing(limit, b.Now(), .5)
	if x.State != y.State {
		t.Errorf("%s: crossing %+v and %+v", what, x, y)
	}
	near(t, what+": crossing", y.H, x.H+shift, 1e-3)
}

// later is a history with every exposure moved.
func later(segs []Segment, by float64) []Segment {
	out := make([]Segment, len(segs))
	for i, s := range segs {
		s.H0 += by
		s.Readings = append([]Gauge(nil), s.Readings...)
		for k := range s.Readings {
			s.Readings[k].H += by
		}
		out[i] = s
	}
	return out
}

// lives are histories of one, two and three parts.
func lives(rng *rand.Rand, b float64) [][]Segment {
	one := life(rng, b)
	end := one.Readings[len(one.Readings)-1].H
	two := later([]Segment{life(rng, b)}, end+10)[0]
	clean := Segment{H0: end + 5, Carry: .03}
	redrawn := two
	redrawn.Redrawn = true
	return [][]Segment{{one}, {one, two}, {one, clean, redrawn}}
}

// TestOriginDoesNotMatter: from which exposure the count began changes nothing,
// as age is counted from a part's own fitting; property.
func TestOriginDoesNotMatter(t *testing.T) {
	for seed := range uint64(6) {
		for _, p := range bent() {
			for _, segs := range lives(rand.New(rand.NewPCG(seed, 67)), p.B) {
				a := filtered(t, suited(p.B), p, segs...)
				for _, by := range []float64{-200, 4096, 3e4} {
					same(t, "moved", a, filtered(t, suited(p.B), p, later(segs, by)...), by, 1e-6)
				}
			}
		}
	}
	// Moving the readings alone makes the part another age, which does matter.
	p := DefaultParams()
	p.B = .6
	old := later([]Segment{first}, 50)
	old[0].H0 = 0
	a, _ := filtered(t, suited(.6), p, first).LnRate()
	b, _ := filtered(t, suited(.6), p, old...).LnRate()
	if b < a+.3 {
		t.Errorf("ln rate %v of a new part, %v of an old one that wears as fast", a, b)
	}
}

// TestCarryInTheMiddle: a part of a history that was cleaned, with next to
// nothing taken off, is one part, wherever the cleaning falls, with the parts
// before it and whatever its shape of wear; property.
func TestCarryInTheMiddle(t *testing.T) {
	for _, p := range bent() {
		rng := rand.New(rand.NewPCG(71, 1))
		before := life(rng, p.B)
		end := before.Readings[len(before.Readings)-1].H
		whole := Segment{H0: end + 2, Start: &Level{.1, .02}}
		for k := range 5 {
			y := .1 + .013*math.Pow(40, 1-p.B)*math.Pow(9*float64(k+1), p.B)
			whole.Readings = append(whole.Readings, Gauge{end + 2 + 9*float64(k+1), y + .03*rng.NormFloat64(), .03})
		}
		want := filtered(t, suited(p.B), p, before, whole)
		for cut := range len(whole.Readings) + 1 {
			a, b := whole, Segment{H0: whole.H0 + 9*float64(cut), Carry: 1e-9}
			a.Readings, b.Readings = whole.Readings[:cut], whole.Readings[cut:]
			got := filtered(t, suited(p.B), p, before, a, b)
			same(t, "cut", want, got, 0, 1e-6)
			if got.Readings() != 5 || got.ChangeAfter() != want.ChangeAfter() {
				t.Errorf("cut after %d: %d readings, changed after %d", cut, got.Readings(), got.ChangeAfter())
			}
			b.Carry = .2
			if cut > 0 && cut < 5 {
				if loose := filtered(t, suited(p.B), p, before, a, b); math.Abs(loose.Evidence()-want.Evidence()) < .01 {
					t.Errorf("cut after %d: 0.2 mm of doubt changes nothing", cut)
				}
			}
		}
	}
}

// TestWarpThroughTheFilter: sizes that follow y' = r exp(k y) exactly are
// forecast by its closed solution y(h) = -ln(exp(-k y0) - k r h)/k, with the
// rate r exp(k y) now, and cross L at (exp(-k y0) - exp(-k L))/(k r); by hand.
// With the wrong k they are not.
func TestWarpThroughTheFilter(t *testing.T) {
	const r, y0, sd, limit = .01, .1, 1e-4, 1.2
	for _, k := range []float64{-1.5, -.4, .5, 1} {
		size := func(h float64) float64 { return -math.Log(math.Exp(-k*y0)-k*r*h) / k }
		s := Segment{H0: 5}
		for h := 0.0; h <= 40; h += 8 {
			s.Readings = append(s.Readings, Gauge{5 + h, size(h), sd})
		}
		p := Params{B: 1, C: 1, Quicken: k, Reach: 3}
		post := filtered(t, tablePrior, p, s)
		near(t, "level", post.Level().Mean, size(40), 2*sd)
		for _, h := range []float64{41, 48, 55} {
			near(t, "level foreseen", post.LevelAt(5+h).Mean, size(h), 1e-3)
			near(t, "its median", post.LevelQuantile(5+h, .5), size(h), 1e-3)
			near(t, "reading foreseen", post.Forecast(5+h, sd).Mean, size(h), 1e-3)
			near(t, "its quantile", post.ReadingQuantile(5+h, sd, .5), size(h), 1e-3)
		}
		median, mean := post.Rate()
		nearRel(t, "median rate", median, r*math.Exp(k*size(40)), 2e-3)
		nearRel(t, "mean rate", mean, r*math.Exp(k*size(40)), 2e-3)
		c := post.Crossing(limit, post.Now(), .5)
		nearRel(t, "crossing", c.H-5, (math.Exp(-k*y0)-math.Exp(-k*limit))/(k*r), 2e-3)
		even := filtered(t, tablePrior, Params{B: 1, C: 1}, s)
		if off := even.LevelAt(60).Mean - size(55); math.Abs(off) < .01 || even.Evidence() > post.Evidence()-10 {
			t.Errorf("k %v: an even rate is only %v off, evidence %v against %v", k, off, even.Evidence(), post.Evidence())
		}
	}
}
