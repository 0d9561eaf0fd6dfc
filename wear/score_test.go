package wear

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// integrated is the continuous ranked probability score by its definition.
func integrated(cdf func(float64) float64, y, lo, hi float64) float64 {
	const n = 40000
	step, sum := (hi-lo)/n, 0.0
	for i := range n {
		x := lo + (float64(i)+.5)*step
		f := cdf(x)
		if x > y {
			f = 1 - f
		}
		sum += f * f
	}
	return sum * step
}

// TestCRPST: the closed forms against the definition, with gonum's Student's t.
func TestCRPST(t *testing.T) {
	for _, nu := range []float64{1, 2, 3, 7, 40} {
		law := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: nu}
		for _, z := range []float64{-3, 0, .4, 6} {
			want := integrated(law.CDF, z, -400, 400)
			near(t, "score", crpsT(z, law), want, 2e-3) // with one degree of freedom there is some beyond
		}
	}
}

// TestCRPSMixture: the closed form, and the rule on an uneven scale, against
// the definition.
func TestCRPSMixture(t *testing.T) {
	bent := DefaultParams()
	bent.Quicken, bent.Reach = -.8, 2
	for _, p := range []Params{DefaultParams(), bent} {
		var w Worker
		post, err := w.Filter(tablePrior, p, []Segment{first})
		if err != nil {
			t.Fatal(err)
		}
		for _, y := range []float64{.6, .8, 1.1} {
			g := Gauge{60, y, .03}
			want := integrated(func(x float64) float64 { return post.readingBelow(60, x, .0009) }, y, -1, 5)
			got := post.Judge(g)
			nearRel(t, "score", got.CRPS, want, 2e-3)
			near(t, "miss", got.MAE, math.Abs(y-post.LevelQuantile(60, .5)), 1e-12)
		}
	}
}

// TestJudgeLine: against FitLine's own prediction and the t interval by hand
// (the line of TestLine, statsmodels' 80 % prediction interval at 60).
func TestJudgeLine(t *testing.T) {
	var x, y []float64
	for _, g := range first.Readings {
		x, y = append(x, g.H), append(y, g.Y)
	}
	for _, c := range []struct {
		y    float64
		in80 float64
		miss float64
	}{{.8675, 1, .91664549215 - .8675}, {.8673, 0, .91664549215 - .8673}, {.9658, 1, .9658 - .91664549215}, {.9659, 0, .9659 - .91664549215}} {
		s, ok := judgeLine(x, y, Gauge{60, c.y, .03})
		if !ok || s.Cover80 != c.in80 {
			t.Errorf("%v: inside 80 %% %v, want %v", c.y, s.Cover80, c.in80)
		}
		near(t, "miss", s.MAE, c.miss, 1e-9)
	}
	if _, ok := judgeLine(x[:1], y[:1], Gauge{60, 1, .03}); ok {
		t.Error("a line was drawn through one point")
	}
	two, ok := judgeLine([]float64{0, 10}, []float64{.1, .2}, Gauge{20, .3, .03})
	near(t, "through two points", two.MAE, 0, 1e-12)
	// sd .03 sqrt(1+4+1): the score of a normal at its middle is sd(sqrt 2-1)/sqrt pi.
	near(t, "its score", two.CRPS, .03*math.Sqrt(6)*(math.Sqrt2-1)/math.SqrtPi, 1e-12)
	if !ok {
		t.Error("no line through two points")
	}
	if _, ok := judgeLine([]float64{5, 5}, []float64{.1, .2}, Gauge{20, .3, .03}); ok {
		t.Error("a line was drawn through one exposure")
	}
}

// TestTrackRecord: on a simulated fleet of clocks, of gauges that misread and
// rates that change, the filter does better than the line and its bands hold
// what they say.
func TestTrackRecord(t *testing.T) {
	fleet, _ := grown{rng: rand.New(rand.NewPCG(11, 1)), points: 120, om: .5, phi: .01, misread: .02, change: .08}.fleet()
	r, err := TrackRecord(context.Background(), fleet, Teaching{}, 4)
	if err != nil {
		t.Fatal(err)
	}
	forecasts := 0
	for _, h := range fleet {
		forecasts += max(0, len(h.Segments[0].Readings)-2) // a line wants two
	}
	for name, v := range map[string]Versus{"next": r.Next, "last": r.Last} {
		o, l := v.Ours, v.StraightLine
		t.Logf("%s: %d forecasts; CRPS %.4f against %.4f, MAE %.4f against %.4f, cover %.2f %.2f against %.2f %.2f", name,
			o.Forecasts, o.CRPS, l.CRPS, o.MAE, l.MAE, o.Cover80, o.Cover90, l.Cover80, l.Cover90)
		if o.Forecasts != forecasts || l.Forecasts != forecasts {
			t.Errorf("%s: %d and %d forecasts, want %d", name, o.Forecasts, l.Forecasts, forecasts)
		}
		if o.CRPS >= .9*l.CRPS {
			t.Errorf("%s: score %v, not clearly better than the line's %v", name, o.CRPS, l.CRPS)
		}
		near(t, name+": share inside 80 %", o.Cover80, .8, .06)
		near(t, name+": share inside 90 %", o.Cover90, .9, .06)
	}
	if _, err := TrackRecord(context.Background(), fleet, Teaching{}, 1); err == nil {
		t.Error("one fold was taken")
	}
	if r, err := TrackRecord(context.Background(), nil, Teaching{}, 4); err != nil || r != (Track{}) {
		t.Errorf("no fleet: %v, %v", r, err)
	}
}
