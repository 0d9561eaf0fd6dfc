package wear

import (
	"math"
	"testing"
)

// TestWarp: the scale turns y' = r exp(k y) into a constant rate, so that a size
// after exposure r h is the solution y = -ln(exp(-k y0) - k r h)/k of that
// equation, worked by hand; and back is the way there.
func TestWarp(t *testing.T) {
	for _, k := range []float64{-2, -.3, 0, .4, 1.1} {
		w := warp{k, 1.5}
		last := math.Inf(-1)
		for y := -.5; y < 3; y += .01 {
			u, slope := w.to(y)
			near(t, "back", w.from(u), y, 1e-9)
			if u <= last || slope <= 0 {
				t.Fatalf("k %v: not rising at %v", k, y)
			}
			last = u
		}
		if k == 0 {
			continue
		}
		y0, step := .2, .1 // step is r h
		u0, _ := w.to(y0)
		near(t, "after a step", w.from(u0+step), -math.Log(math.Exp(-k*y0)-k*step)/k, 1e-12)
	}
}

// TestQuickening: a part whose wear quickens is told so by the forecast: the
// same readings lead to an earlier crossing, and to a faster rate today than a
// slowing one.
func TestQuickening(t *testing.T) {
	at := func(k float64) Posterior {
		p := DefaultParams()
		p.Quicken, p.Reach = k, 2
		return filtered(t, tablePrior, p, first)
	}
	slow, even, quick := at(-1), at(0), at(1)
	if a, b, c := slow.Crossing(1.5, 44, .5).H, even.Crossing(1.5, 44, .5).H, quick.Crossing(1.5, 44, .5).H; !(a > b && b > c) {
		t.Errorf("crossing at %v when it slows, %v, %v when it quickens", a, b, c)
	}
	a, _ := slow.Rate()
	b, _ := even.Rate()
	c, _ := quick.Rate()
	if !(a < b && b < c) {
		t.Errorf("rate %v when it slows, %v, %v when it quickens", a, b, c)
	}
	for _, p := range []Posterior{slow, quick} {
		l := p.LevelAt(60)
		near(t, "mean and median", l.Mean, p.LevelQuantile(60, .5), l.SD)
		near(t, "deviation", l.SD, (p.LevelQuantile(60, .84134)-p.LevelQuantile(60, .15866))/2, .25*l.SD)
	}
}
