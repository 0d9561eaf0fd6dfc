package chart

import (
	"math"
	"strings"
	"testing"

	"endshake/schedule"
	"endshake/wear"
)

// On one scale the same size stands at the same height, whichever bearing it is
// of, and words lie on nothing else.
func TestMultiplesShareTheirScale(t *testing.T) {
	a, b := worn(t), worn(t)
	big := *a.Limit
	big.Size *= 3
	b.Limit = &big
	c := CommonOf([]schedule.Outlook{a, b}, now)
	if want := big.Size.MM(); c.Top < want || c.Top > 1.2*want {
		t.Errorf("the scale ends at %.2f mm, want a little above %.2f", c.Top, want)
	}
	high := func(o schedule.Outlook) map[string]float64 {
		p := Multiple(o, now, c)
		d := takeApart(t, p.SVG())
		if hit, out := collisions(d), outside(d, p); len(hit)+len(out) > 0 {
			t.Errorf("%s %s", strings.Join(hit, "; "), strings.Join(out, "; "))
		}
		ticks := map[string]float64{}
		for _, m := range d.texts {
			ticks[m.word] = m.y
		}
		return ticks
	}
	first, second := high(a), high(b)
	if len(first) < 4 {
		t.Errorf("only %d words: %v", len(first), first)
	}
	for word, y := range first {
		if second[word] != y {
			t.Errorf("%q stands at %.1f in one and at %.1f in the other", word, y, second[word])
		}
	}
	alone := CommonOf([]schedule.Outlook{a}, now)
	if alone.Top >= c.Top {
		t.Error("the scale does not follow what is to be seen")
	}
}

// What no clock should give is survived.
func TestMultipleOfTheBroken(t *testing.T) {
	var all []schedule.Outlook
	for name, o := range broken(t) {
		c := CommonOf([]schedule.Outlook{o}, now)
		if !(c.Top > 0) || math.IsInf(c.Top, 0) || !c.From.Before(c.Until) {
			t.Errorf("%s: a scale of %+v", name, c)
		}
		if svg := Multiple(o, now, c).SVG(); strings.Contains(svg, "NaN") || strings.Contains(svg, "Inf") {
			t.Errorf("%s: %s", name, svg)
		}
		all = append(all, o)
	}
	if c := CommonOf(all, now); c.Top > 2*wear.FromMM(1000).MM() {
		t.Errorf("all together end at %v", c.Top)
	}
	if c := CommonOf(nil, now); !(c.Top > 0) {
		t.Errorf("nothing ends at %v", c.Top)
	}
}
