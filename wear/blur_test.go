package wear

import (
	"math"
	"testing"
)

// A reading's quantile undoes the probability of a reading below it, is the
// level's where the gauge is perfect, and lies farther out where it is not.
func TestReadingQuantile(t *testing.T) {
	post, err := Filter(Prior{Mu: math.Log(.013), Om: .6}, DefaultParams(),
		[]Segment{{Readings: []Gauge{{0, .1, .03}, {9.2, .22, .03}, {18.1, .31, .03}, {30.5, .52, .03}}}})
	if err != nil {
		t.Fatal(err)
	}
	const h, sd = 44, .03
	for _, prob := range []float64{.05, .1, .5, .9, .95} {
		y := post.ReadingQuantile(h, sd, prob)
		if got := post.readingBelow(h, y, sd*sd*post.c*post.c); math.Abs(got-prob) > 1e-8 {
			t.Errorf("P(reading below its %v quantile %v) = %v", prob, y, got)
		}
		level := post.LevelQuantile(h, prob)
		if got := post.ReadingQuantile(h, 0, prob); math.Abs(got-level) > 1e-8 {
			t.Errorf("with a perfect gauge %v, want the level's %v", got, level)
		}
		if prob < .5 && y >= level || prob > .5 && y <= level {
			t.Errorf("the %v quantile of a reading, %v, is not outside the level's, %v", prob, y, level)
		}
	}
	for _, bad := range []float64{0, 1, -1, math.NaN()} {
		if got := post.ReadingQuantile(h, sd, bad); !math.IsNaN(got) {
			t.Errorf("probability %v: %v, want NaN", bad, got)
		}
	}
	if got := post.ReadingQuantile(h, -1, .5); !math.IsNaN(got) {
		t.Errorf("negative uncertainty: %v, want NaN", got)
	}
}
