package chart

import (
	"math"

	"endshake/wear"
)

// words places the labels of a bearing chart's marks.
type words struct {
	chart *bearingChart
	pen   *pen
}

// now labels the level of today, left of the mark and on the side away from
// the line that leads to it.
func (w *words) now() {
	d := w.chart
	level := wear.FromMM(math.Round(d.median()*100) / 100)
	at := d.at(seconds(d.now), d.median())
	w.pen.dot(brass, at, dotSize+0.6)
	w.pen.ring(paper, at, dotSize+0.6)
	text := "now about " + level.String()
	base, left := at.y+12, at.x-8-roomy*textWidth(text, small)
	for _, part := range d.o.Parts { // clear of the readings above which it would lie
		for _, r := range part.Readings {
			top := d.at(seconds(r.At), r.Reading.Value.MM()+r.Reading.SD())
			if top.x > left-dotSize && top.x < at.x && top.y > base-6 && top.y-2*d.y.of(r.Reading.SD()) < base+small+4 {
				base = top.y + 6
			}
		}
	}
	for _, l := range d.limits() {
		if y := d.y.at(l.limit.Size.MM()); base+small > y && base < y+3 {
			base = y + 5
		}
	}
	w.pen.label(brass, point{max(at.x-8, d.x.from+4+textWidth(text, small)), base}, end, text)
}

// bands labels the fan where there is height for it: the inner band inside
// along its lower edge, the outer one below it. Edges rise to the right, so the
// words begin where they clear the edge.
func (w *words) bands() {
	d := w.chart
	if len(d.fan) < 2 {
		return
	}
	half, eighty := "half of the chances", "8 chances in 10"
	if d.size.narrow() {
		half, eighty = "5 in 10", "8 in 10"
	}
	today := d.x.at(seconds(d.now))
	for _, share := range []float64{0.55, 0.4, 0.7, 0.25} {
		x := today + (d.x.to-today)*share
		if !w.place(x, d.fanAt(x, 0)-13, eighty) {
			continue
		}
		base := d.fanAt(x+textWidth(half, small), 1) + 3
		if base+small < d.fanAt(x, 2) {
			w.place(x, base, half)
		}
		return
	}
}

// place writes a label of the fan unless it would lie on a limit or on other
// words, or leave the frame.
func (w *words) place(x, base float64, text string) bool {
	d := w.chart
	if base < d.y.from+4 || base > d.y.to-8 || x+roomy*textWidth(text, small) > d.x.to-2 {
		return false
	}
	for _, l := range d.limits() {
		if y := d.y.at(l.limit.Size.MM()); y > base-4 && y < base+small+2 {
			return false
		}
	}
	if !w.pen.free(point{x, base}, start, text) {
		return false
	}
	w.pen.text(brass, point{x, base}, start, text)
	return true
}
