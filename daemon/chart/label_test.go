package chart

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// boxOf is what a text covers: letters of 11 units rise 8 above their base and
// hang 2 below it (the built-in font's own measures, less the room above).
func boxOf(m mark) rect {
	w, x := textWidth(m.word, small), m.x
	switch m.anchor {
	case "middle":
		x -= w / 2
	case "end":
		x -= w
	}
	return rect{x, m.y - 2, x + w, m.y + 8}
}

// collisions lists the pairs of texts that lie on one another.
func collisions(d drawn) []string {
	var out []string
	for i, a := range d.texts {
		for _, b := range d.texts[:i] {
			if boxOf(a).overlaps(boxOf(b)) {
				out = append(out, fmt.Sprintf("%q at %.0f, %.0f on %q at %.0f, %.0f", a.word, a.x, a.y, b.word, b.x, b.y))
			}
		}
	}
	return out
}

// outside lists the texts that run out of the picture.
func outside(d drawn, p Picture) []string {
	var out []string
	for _, m := range d.texts {
		if r := boxOf(m); r.x0 < -0.5 || r.x1 > p.Size.Width+0.5 || r.y0 < -0.5 || r.y1 > p.Size.Height+0.5 {
			out = append(out, fmt.Sprintf("%q from %.0f, %.0f to %.0f, %.0f", m.word, r.x0, r.y0, r.x1, r.y1))
		}
	}
	return out
}

// Across a telephone of 390 pixels, with margins of 17, the narrow picture has
// letters of 13 pixels, and across one of 360 of 12.
func TestNarrowLettersCanBeRead(t *testing.T) {
	for screen, least := range map[float64]float64{390: 13, 360: 12} {
		if got := small * (screen - 34) / Narrow.Width; got < least {
			t.Errorf("across %v pixels letters are %.1f pixels, want %v", screen, got, least)
		}
	}
}

// Whatever a bearing went through, no words of its chart lie on others or run out
// of the picture, with and without a second fan.
func TestRandomLabelsKeepApart(t *testing.T) {
	second := 0
	random(t, 150, func(t *testing.T, f schedule.Facts, o schedule.Outlook) {
		before, after, err := schedule.WhatIf(f, now, o.Bearing.Code, schedule.Change{Fitted: wear.FromMM(max(.02, o.Level.Mean/2))})
		for _, size := range []Size{Wide, Narrow} {
			all := map[string]Picture{"as it is": Bearing(o, now, utc, size)}
			if err == nil {
				all["what if"] = WhatIf(before, after, now, utc, size)
				second++
			}
			for name, p := range all {
				d := takeApart(t, p.SVG())
				if c := append(collisions(d), outside(d, p)...); len(c) > 0 {
					t.Errorf("%s, %v: %s", name, size, strings.Join(c, "; "))
				}
			}
		}
	})
	if !t.Failed() && second < 50 {
		t.Errorf("%d pictures had a second fan: too few", second)
	}
}

// There as on a wide page no words may lie on others or run out of the picture.
func TestLabelsKeepApart(t *testing.T) {
	all := odd(t)
	all["worn"] = worn(t)
	for name, o := range all {
		for _, size := range []Size{Wide, Narrow} {
			p := Bearing(o, now, utc, size)
			d := takeApart(t, p.SVG())
			if c := collisions(d); len(c) > 0 {
				t.Errorf("%s, %v: %s", name, size, strings.Join(c, "; "))
			}
			if c := outside(d, p); len(c) > 0 {
				t.Errorf("%s, %v: out of the picture: %s", name, size, strings.Join(c, "; "))
			}
		}
	}
}

// However close the limits, and wherever the level stands between them, the
// words of both are there and lie on nothing.
func TestCloseLimitsKeepTheirWords(t *testing.T) {
	for _, watch := range []float64{0.1, 0.3, 0.5, 0.6, 0.7, 0.75, 0.78, 0.79, 0.799} {
		for _, level := range []float64{0.05, 0.3, 0.5, 0.7, 0.79, 0.9, 1.2} {
			o := invent(t, wear.Bearing{Watch: limit(watch), Act: limit(0.8)}, []took{{6, level * .6}, {4, level * .75}, {2, level * .88}, {.2, level}})
			for _, size := range []Size{Wide, Narrow} {
				p := Bearing(o, now, utc, size)
				d := takeApart(t, p.SVG())
				for _, want := range []string{"watch " + wear.FromMM(watch).String(), "act 0.80 mm (31.5 thou)"} {
					if _, ok := d.has(room(size, want)); !ok {
						t.Errorf("watch %v, level %v, %v: %q is missing", watch, level, size, want)
					}
				}
				if c := append(collisions(d), outside(d, p)...); len(c) > 0 {
					t.Errorf("watch %v, level %v, %v: %s", watch, level, size, strings.Join(c, "; "))
				}
			}
		}
	}
}

// Many repairs on a few years: those whose words have no room are left to the
// list of readings.
func TestManyRepairsKeepApart(t *testing.T) {
	var repairs []schedule.Entry
	for i := range 8 {
		repairs = append(repairs, schedule.Entry{ID: fmt.Sprint("r", i), Clock: "mill", Kind: schedule.Repaired, Bearing: "centre-front",
			At: now.Add(-time.Duration(8-i) * year / 3), Detail: schedule.Detail{Work: schedule.NewBush, Fitted: wear.FromMM(.2)}})
	}
	o := invent(t, wear.Bearing{Act: limit(.8)}, []took{{9, .3}, {3, .5}, {.1, .22}}, repairs...)
	for _, size := range []Size{Wide, Narrow} {
		p := Bearing(o, now, utc, size)
		d := takeApart(t, p.SVG())
		if c := append(collisions(d), outside(d, p)...); len(c) > 0 {
			t.Errorf("%v: %s", size, strings.Join(c, "; "))
		}
		if !strings.Contains(d.words(), "new bush") {
			t.Errorf("%v: no repair has words", size)
		}
	}
}
