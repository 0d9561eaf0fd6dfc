package wear

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// bent are the shapes of wear that the properties below must hold for.
func bent() []Params {
	var out []Params
	for _, shape := range [][2]float64{{1, 0}, {.6, 0}, {1.5, 0}, {1, 1}, {1, -1}, {.6, .8}, {1.5, -.8}} {
		p := DefaultParams()
		p.B = shape[0]
		if shape[1] != 0 {
			p.Quicken, p.Reach = shape[1], 2
		}
		out = append(out, p)
	}
	return out
}

// life invents a part's readings, of a rate that suits the exponent.
func life(rng *rand.Rand, b float64) Segment {
	s, h, y := Segment{H0: -3}, 0.0, .1
	if rng.IntN(2) == 0 {
		s.Start = &Level{.1, .02}
	}
	rate := .013 * math.Pow(40, 1-b) * math.Exp(.5*rng.NormFloat64())
	for range 1 + rng.IntN(6) {
		y += rate * (math.Pow(h+12, b) - math.Pow(h+3, b)) * rng.ExpFloat64()
		h += 9
		s.Readings = append(s.Readings, Gauge{h, y + .03*rng.NormFloat64(), .03})
	}
	return s
}

// suited is a prior for such lives.
func suited(b float64) Prior { return Prior{Mu: math.Log(.013) + (1-b)*math.Log(40), Om: .6} }

// TestNothingKnown: a part with neither size nor reading has no level, whatever
// the shape of its wear, and every method that wants one says so; by hand.
func TestNothingKnown(t *testing.T) {
	for _, p := range bent() {
		for name, segs := range map[string][]Segment{"no part": nil, "an unmeasured part": {{H0: 7}}, "a part after another": {first, {H0: 60}}} {
			post := filtered(t, tablePrior, p, segs...)
			if post.Known() || post.Readings() != 0 || post.PChange() != 0 || post.ChangeAfter() != -1 {
				t.Errorf("%s: known %v, %d readings, P(change) %v after %d", name, post.Known(), post.Readings(), post.PChange(), post.ChangeAfter())
			}
			j := post.Judge(Gauge{70, .5, .03})
			for what, v := range map[string]float64{
				"level": post.Level().Mean, "its deviation": post.Level().SD, "level later": post.LevelAt(90).SD,
				"forecast": post.Forecast(90, .03).Mean, "level's quantile": post.LevelQuantile(90, .5),
				"reading's quantile": post.ReadingQuantile(90, .03, .5), "exceed": post.Exceed(1, 90, 70),
				"crossing": post.Crossing(1, 70, .5).H, "score": j.CRPS, "miss": j.MAE,
			} {
				if !math.IsNaN(v) {
					t.Errorf("%s: %s is %v, want none", name, what, v)
				}
			}
			for _, c := range post.Crossings(1, 70) {
				if c.State != Unknown || !math.IsNaN(c.H) {
					t.Errorf("%s: crossing %+v", name, c)
				}
			}
			if median, mean := post.Rate(); !(median > 0 && mean > median) {
				t.Errorf("%s: the rate believed is %v, mean %v", name, median, mean)
			}
		}
	}
	post := filtered(t, tablePrior, DefaultParams(), first)
	for what, v := range map[string]float64{
		"a quantile at nothing": post.LevelQuantile(60, 0), "at one": post.LevelQuantile(60, 1), "of no number": post.LevelQuantile(60, math.NaN()),
		"a reading's at nothing": post.ReadingQuantile(60, .03, 0), "by no gauge": post.ReadingQuantile(60, math.NaN(), .5),
		"by a negative one": post.ReadingQuantile(60, -.03, .5), "no limit": post.Exceed(math.NaN(), 60, 44), "a crossing of none": post.Crossing(math.NaN(), 44, .5).H,
		"a crossing at one": post.Crossing(1, 44, 1).H, "no rate": post.RateQuantile(0),
	} {
		if !math.IsNaN(v) {
			t.Errorf("%s: %v, want none", what, v)
		}
	}
}

// TestBeforeTheLastFact: what is asked of an exposure before the last fact is
// answered as of that fact, and time goes on from there; property.
func TestBeforeTheLastFact(t *testing.T) {
	for i, p := range bent() {
		post := filtered(t, suited(p.B), p, life(rand.New(rand.NewPCG(uint64(i), 41)), p.B))
		now := post.Now()
		for _, h := range []float64{now - 1e-3, now - 5, -1e5} {
			if post.LevelAt(h) != post.Level() || post.Forecast(h, .03) != post.Forecast(now, .03) {
				t.Errorf("level %v at %v, before that of now, %v", post.LevelAt(h), h, post.Level())
			}
			near(t, "quantile", post.LevelQuantile(h, .2), post.LevelQuantile(now, .2), 0)
			near(t, "reading's quantile", post.ReadingQuantile(h, .03, .2), post.ReadingQuantile(now, .03, .2), 0)
			near(t, "exceed", post.Exceed(.5, h, h), post.Exceed(.5, now, now), 0)
		}
		if l := post.LevelAt(now + 10); !(l.Mean > post.Level().Mean && l.SD > post.Level().SD) {
			t.Errorf("ten units on the level is %v, now %v", l, post.Level())
		}
	}
}

// TestReadingQuantileIsALaw: it inverts the law that readings are scored by, rises
// with the probability, is wider than the size's own by the gauge, and by
// next to no gauge is the size's own; property. Of a size known as normal it is
// the quantile of a normal of both variances; by hand, z(.9) from a table.
func TestReadingQuantileIsALaw(t *testing.T) {
	post := filtered(t, tablePrior, Params{Phi: .01, B: 1, C: 2}, Segment{Start: &Level{.3, .04}})
	near(t, "normal", post.ReadingQuantile(0, .015, .9), .3+1.2815515655446*.05, 1e-6)
	for i, p := range bent() {
		p.C = 1.3
		post := filtered(t, suited(p.B), p, life(rand.New(rand.NewPCG(uint64(i), 43)), p.B))
		h, last := post.Now()+15, math.Inf(-1)
		for _, prob := range []float64{1e-4, .05, .3, .5, .8, .95, 1 - 1e-4} {
			y := post.ReadingQuantile(h, .03, prob)
			near(t, "below it", post.readingBelow(h, y, 1.3*1.3*.03*.03), prob, 1e-6)
			if !(y > last) {
				t.Errorf("at %v it is %v, at less %v", prob, y, last)
			}
			last = y
			near(t, "by next to no gauge", post.ReadingQuantile(h, 1e-6, prob), post.LevelQuantile(h, prob), 1e-4)
		}
		narrow := post.LevelQuantile(h, .95) - post.LevelQuantile(h, .05)
		if wide := post.ReadingQuantile(h, .03, .95) - post.ReadingQuantile(h, .03, .05); !(wide > narrow) {
			t.Errorf("a reading's band %v is no wider than the size's, %v", wide, narrow)
		}
	}
}

// TestCrossingsAreCrossings: the three in one go are those one by one, in every
// state, and in order; property.
func TestCrossingsAreCrossings(t *testing.T) {
	seen := map[CrossingState]int{}
	for seed := range uint64(8) {
		for _, p := range bent() {
			post := filtered(t, suited(p.B), p, life(rand.New(rand.NewPCG(seed, 47)), p.B))
			level := post.Level()
			for _, now := range []float64{post.Now() - 4, post.Now(), post.Now() + 6} {
				for _, limit := range []float64{level.Mean - 4*level.SD, level.Mean, level.Mean + level.SD, level.Mean + .5, level.Mean + 14, 9e4, math.NaN()} {
					last := math.Inf(-1)
					for i, c := range post.Crossings(limit, now) {
						one := post.Crossing(limit, now, [3]float64{.1, .5, .9}[i])
						if seen[c.State]++; c.State != one.State {
							t.Fatalf("limit %v, %v: %+v together, %+v alone", limit, now, c, one)
						}
						if c.State == Unknown {
							continue
						}
						nearRel(t, "crossing", c.H, one.H, 1e-6)
						if c.H < last {
							t.Errorf("limit %v: at %v after %v", limit, c.H, last)
						}
						last = c.H
					}
				}
			}
		}
	}
	for _, s := range []CrossingState{At, Already, Beyond, Unknown} {
		if seen[s] == 0 {
			t.Errorf("no crossing was %q", s)
		}
	}
}

// TestExceedBent: what is over stays over, with wear bent by age, by depth, and
// by both; property.
func TestExceedBent(t *testing.T) {
	for seed := range uint64(12) {
		for _, p := range bent() {
			rng := rand.New(rand.NewPCG(seed, 53))
			post := filtered(t, suited(p.B), p, life(rng, p.B))
			now := post.Now() + 3*rng.Float64()
			for _, above := range []float64{-3, -.2, -.02, .05, .5, 3} {
				limit, last := post.Level().Mean+above, -1.0
				for dh := 0.0; dh < 2000; dh = dh*1.4 + .5 {
					f := post.Exceed(limit, now+dh, now)
					if !(f >= last && f >= 0 && f <= 1) {
						t.Fatalf("exponent %v, quickening %v, %v above: from %v to %v at %v", p.B, p.Quicken, above, last, f, dh)
					}
					last = f
				}
				if above == .05 && last < .5 {
					t.Errorf("exponent %v, quickening %v: %v in 2000 units", p.B, p.Quicken, last)
				}
			}
		}
	}
}

// TestRateQuantiles: in one go as one by one, rising, and with the median that
// Rate gives; property.
func TestRateQuantiles(t *testing.T) {
	probs := []float64{.001, .02, .1, .25, .5, .75, .9, .98, .999}
	for i, p := range bent() {
		post := filtered(t, suited(p.B), p, life(rand.New(rand.NewPCG(uint64(i), 59)), p.B))
		all, last := post.RateQuantiles(probs...), 0.0
		for k, q := range all {
			if q != post.RateQuantile(probs[k]) || !(q > last) {
				t.Errorf("at %v: %v together, %v alone, %v at less", probs[k], q, post.RateQuantile(probs[k]), last)
			}
			last = q
		}
		median, mean := post.Rate()
		near(t, "median", all[4], median, 0)
		if !(mean > all[1] && mean < all[7]) {
			t.Errorf("mean rate %v is not within %v", mean, all)
		}
		if got := post.RateQuantiles(.5, 2); len(got) != 2 || !math.IsNaN(got[1]) || got[0] != median {
			t.Errorf("with no probability among them: %v", got)
		}
	}
}

// TestRateIsGrowth: whatever the exponent, the mean rate is what the mean size
// grows by over the next unit; property, from the doc comment of Rate. Of a rate
// known to be r the growth of a part of age a is r((a+1)^B - a^B); by hand.
func TestRateIsGrowth(t *testing.T) {
	for i, b := range []float64{.4, .6, 1, 1.5, 2} {
		p := DefaultParams()
		p.B = b
		post := filtered(t, suited(b), p, life(rand.New(rand.NewPCG(uint64(i), 61)), b))
		_, mean := post.Rate()
		nearRel(t, fmt.Sprint("growth with exponent ", b), post.LevelAt(post.Now()+1).Mean-post.Level().Mean, mean, 1e-9)
		sure := filtered(t, Prior{Mu: math.Log(.02), Om: 1e-4}, Params{B: b, C: 1}, Segment{H0: 4, Start: &Level{.1, .01}, Readings: []Gauge{{13, .1 + .02*math.Pow(9, b), .03}}})
		median, _ := sure.Rate()
		nearRel(t, "by hand", median, .02*(math.Pow(10, b)-math.Pow(9, b)), 1e-4)
	}
}

// TestNoInstant: asked as of no exposure at all, there is no answer; by hand.
func TestNoInstant(t *testing.T) {
	post := filtered(t, tablePrior, DefaultParams(), first)
	for _, now := range []float64{math.Inf(-1), math.Inf(1), math.NaN()} {
		for i, c := range post.Crossings(1, now) {
			if c.State != Unknown || post.Crossing(1, now, .5).State != Unknown {
				t.Errorf("as of %v: crossing %d is %v, %s", now, i, c.H, c.State)
			}
		}
	}
}
