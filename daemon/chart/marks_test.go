package chart

import (
	"math"
	"strings"
	"testing"

	"endshake/schedule"
	"endshake/wear"
)

// ringed counts the rings in oxide, and dots of paper on dots of ink.
func ringed(o schedule.Outlook) (rings, hollow int) {
	for _, part := range o.Parts {
		for _, r := range part.Readings {
			if r.Doubt >= 0.5 {
				rings++
			}
			if r.Doubt >= 0.9 {
				hollow++
			}
		}
	}
	return rings, hollow
}

// A reading that may be misread has a ring and says so; one that nearly
// certainly is has a hollow dot; no other reading is touched.
func TestDoubtfulReadingsAreMarked(t *testing.T) {
	all := odd(t)
	for name, want := range map[string][2]int{"misread": {1, 0}, "misread between": {1, 1}, "young": {0, 0}, "repaired": {0, 0}, "changed": {0, 0}} {
		o := all[name]
		rings, hollow := ringed(o)
		for _, size := range []Size{Wide, Narrow} {
			svg := Bearing(o, now, utc, size).SVG()
			d := takeApart(t, svg)
			if got := strings.Count(svg, `stroke="#9C1F2E"`) - len(linesOf(d, "#9C1F2E")); got != rings || rings != want[0] {
				t.Errorf("%s, %v: %d rings for %d doubtful readings, want %d", name, size, got, rings, want[0])
			}
			paperDots := 0
			for _, m := range d.dots {
				if m.word == "#FBF8F1" {
					paperDots++
				}
			}
			if paperDots != hollow || hollow != want[1] {
				t.Errorf("%s, %v: %d hollow dots for %d readings, want %d", name, size, paperDots, hollow, want[1])
			}
			again, past := strings.Contains(d.words(), "read again?"), strings.Contains(d.words(), "misread?")
			if again != (name == "misread") || past != (name == "misread between") {
				t.Errorf("%s, %v: the words are %s", name, size, d.words())
			}
		}
	}
}

func linesOf(d drawn, colour string) (out []mark) {
	for _, m := range d.lines {
		if m.word == colour {
			out = append(out, m)
		}
	}
	return out
}

// A change of rate has a tick at the reading after which it came, with words;
// a bearing whose rate has not changed has none.
func TestAChangeOfRateIsMarked(t *testing.T) {
	for name, o := range odd(t) {
		for _, size := range []Size{Wide, Narrow} {
			d := takeApart(t, Bearing(o, now, utc, size).SVG())
			if got := strings.Contains(d.words(), "rate changed"); got == o.Changed.IsZero() {
				t.Errorf("%s, %v: changed %v, and the words are %s", name, size, o.Changed, d.words())
			}
		}
	}
	o := changed(t)
	r, ok := changedAt(o)
	c := newBearingChart(o, now, utc, Wide)
	d := takeApart(t, Bearing(o, now, utc, Wide).SVG())
	found := false
	for _, m := range linesOf(d, "#7F521B") {
		found = found || math.Abs(m.x-c.x.at(seconds(r.At))) < 0.1 && math.Abs(m.y-(c.y.from-4)) < 0.1
	}
	if _, words := d.has("rate changed after " + r.At.Format("Jan 2006")); !ok || !found || !words {
		t.Errorf("no tick at %v: %s", r.At, d.words())
	}
}

// All limits that hold are drawn and named, a mesh's like the conservator's;
// one far above all else is named at the top and does not press the rest down.
func TestAllLimitsThatHold(t *testing.T) {
	d := takeApart(t, Bearing(meshed(t, nil), now, utc, Wide).SVG())
	for _, want := range []string{"watch 0.45 mm (17.7 thou)", "act 1.47 mm (57.9 thou)", "stop 2.18 mm (85.8 thou)"} {
		if _, ok := d.has(want); !ok {
			t.Errorf("%q is missing: %s", want, d.words())
		}
	}
	o := meshed(t, limit(0.5))
	c := newBearingChart(o, now, utc, Wide)
	d = takeApart(t, Bearing(o, now, utc, Wide).SVG())
	if m, ok := d.has("stop 2.18 mm (85.8 thou), above"); !ok || c.y.high > 1.5 || m.y < c.y.at(0.5) {
		t.Errorf("up to %.2f mm: %s", c.y.high, d.words())
	}
	if n := len(linesOf(d, "#9C1F2E")); n != 2 { // watch and act
		t.Errorf("%d lines of limits", n)
	}
}

// With something done today there is a second fan, of that outlook and no
// other, in dashes and with its words; what was drawn before is still there.
func TestWhatIf(t *testing.T) {
	before, after := supposed(t, schedule.Change{Washer: wear.FromMM(.3)})
	for _, size := range []Size{Wide, Narrow} {
		p := WhatIf(before, after, now, utc, size)
		d := takeApart(t, p.SVG())
		d.sound(t, p)
		for _, want := range []string{"if done today", "as it is", "then 0.19 mm (7.5 thou)", "now about 0.49 mm (19.3 thou)", "act 0.80 mm (31.5 thou)", "today"} {
			if _, ok := d.has(room(size, want)); !ok {
				t.Errorf("%v: %q is missing: %s", size, want, d.words())
			}
		}
		if c := append(collisions(d), outside(d, p)...); len(c) > 0 {
			t.Errorf("%v: %s", size, strings.Join(c, "; "))
		}
		if !strings.Contains(p.Desc, before.Sentence) || !strings.Contains(p.Desc, "If done today: "+after.Sentence) {
			t.Errorf("desc %q", p.Desc)
		}
	}
	c := newWhatIfChart(before, after, now, utc, Wide)
	if first := c.then[0].q[2]; math.Abs(first-after.Level.Mean) > 1e-6 || math.Abs(c.fan[0].q[2]-before.Level.Mean) > 1e-6 {
		t.Errorf("the fans begin at %v and %v, want %v and %v", c.fan[0].q[2], first, before.Level.Mean, after.Level.Mean)
	}
	plain := takeApart(t, Bearing(before, now, utc, Wide).SVG())
	if n := len(linesOf(plain, "#2F6B5E")); n != 0 {
		t.Errorf("with nothing done %d lines of it are drawn", n)
	}
}

// Oiling more often bends the fan and moves no level.
func TestWhatIfOiled(t *testing.T) {
	before, after := supposed(t, schedule.Change{OilDays: 90})
	c := newWhatIfChart(before, after, now, utc, Wide)
	last := len(c.fan) - 1
	if math.Abs(c.then[0].q[2]-c.fan[0].q[2]) > 1e-9 || !(c.then[last].q[2] < c.fan[last].q[2]) {
		t.Errorf("from %v to %v, as it is from %v to %v", c.then[0].q[2], c.then[last].q[2], c.fan[0].q[2], c.fan[last].q[2])
	}
	for _, size := range []Size{Wide, Narrow} {
		d := takeApart(t, WhatIf(before, after, now, utc, size).SVG())
		if c := collisions(d); len(c) > 0 {
			t.Errorf("%v: %s", size, strings.Join(c, "; "))
		}
	}
}

// Where the second fan's middle crosses the limit is the day that is stated of it,
// also of a bearing that is past its limit as it is; and it is in the picture.
func TestWhatIfCrossesOnTheStatedDay(t *testing.T) {
	for _, act := range []float64{.45, .6, .8} {
		f := facts(wear.Bearing{Form: wear.ThrustFace, Pair: wear.SteelOnBrass, Act: limit(act), Outer: 18000, Inner: 10000},
			[]took{{9, .20}, {7, .26}, {5, .33}, {3, .38}, {1, .47}})
		before, after, err := schedule.WhatIf(f, now, "centre-front", schedule.Change{Washer: wear.FromMM(.3)})
		if err != nil || before.Over != (act < .49) || !after.Dated {
			t.Fatalf("act at %v: over %v, then dated %v: %v", act, before.Over, after.Dated, err)
		}
		for _, size := range []Size{Wide, Narrow} {
			c := newWhatIfChart(before, after, now, utc, size)
			then := *c
			then.fan = c.then
			x, ok := then.middleAt(act)
			if stated := c.x.at(seconds(after.Likely.Start(utc))); !ok || math.Abs(x-stated) > 1.5 {
				t.Errorf("act at %v, %v: the middle is at the limit at %v (%v), the stated day, %v, is at %v", act, size, x, ok, after.Likely, stated)
			}
		}
	}
}
