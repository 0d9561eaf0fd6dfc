package chart

import (
	"math"

	"endshake/wear"
)

// words places the labels of a bearing chart's marks.
type words struct {
	chart *bearingChart
	pen   *pen
	marks []rect // readings with their bars, which no words may hide
}

// place is where a label may stand.
type place struct {
	at point
	a  anchor
}

func wordsOf(d *bearingChart, p *pen) words {
	w := words{chart: d, pen: p}
	for _, part := range d.o.Parts {
		for _, r := range part.Readings {
			at, sd := d.at(seconds(r.At), r.Value), d.y.of(r.SD)
			w.marks = append(w.marks, rect{at.x - dotSize - 1, at.y - max(sd, dotSize) - 1, at.x + dotSize + 1, at.y + max(sd, dotSize) + 1})
		}
	}
	return w
}

// drawWords writes what the lines and bands are on the lines and bands.
func (d *bearingChart) drawWords(p *pen) {
	w := wordsOf(d, p)
	w.doubts()
	switch {
	case !d.o.Known:
		w.unknown()
	case !foreseen(d.o):
		w.last()
		w.untaught()
	default:
		w.now()
	}
	if d.after != nil {
		w.then()
	} else {
		w.bands(half, eighty)
	}
}

// What the bands of a fan are called, wide and narrow.
var (
	half   = [2]string{"half of the chances", "5 in 10"}
	eighty = [2]string{"8 chances in 10", "8 in 10"}
)

// fits takes the longer of two texts where there is room for it.
func (w *words) fits(text [2]string) string {
	if w.chart.size.narrow() {
		return text[1]
	}
	return text[0]
}

// clear reports whether a text would lie on no other words, no reading and no
// limit, and within the frame.
func (w *words) clear(at place, text string) bool {
	d, r := w.chart, covers(at.at, at.a, text)
	if r.x0 < d.x.from+2 || r.x1 > d.x.to-2 || r.y0 < d.y.from || r.y1 > d.y.to+2 || !w.pen.free(at.at, at.a, text) {
		return false
	}
	if w.hides(r) > 0 {
		return false
	}
	for _, l := range d.limits() {
		if y := d.y.at(l.limit.Size.MM()); y > r.y0-1 && y < r.y1+1 {
			return false
		}
	}
	return true
}

// label writes a text at the first place where it is clear, else where it lies on
// no other words and on the fewest readings, though it may lie on a line; where
// there is none it is left out, for two words on one another are none; so is that
// of a mark that is nowhere.
func (w *words) label(c colour, text string, places []place) {
	if !places[0].at.finite() {
		return
	}
	for _, p := range places {
		if w.clear(p, text) {
			w.pen.label(c, p.at, p.a, text)
			return
		}
	}
	best, least := place{}, math.MaxInt
	for _, p := range append(places, w.everywhere()...) {
		if p.at = w.inside(p, text); !w.upright(p, text) || !w.pen.free(p.at, p.a, text) {
			continue
		}
		if n := w.hides(covers(p.at, p.a, text)); n < least {
			best, least = p, n
		}
	}
	if least < math.MaxInt {
		w.pen.label(c, best.at, best.a, text)
	}
}

// hides is how many readings lie under a box.
func (w *words) hides(r rect) (n int) {
	for _, m := range w.marks {
		if m.overlaps(r) {
			n++
		}
	}
	return n
}

// upright reports whether a text is within the frame from head to foot.
func (w *words) upright(at place, text string) bool {
	r := covers(at.at, at.a, text)
	return r.y0 >= w.chart.y.from && r.y1 <= w.chart.y.to+2
}

// everywhere are places all over the frame, the left half first.
func (w *words) everywhere() []place {
	var out []place
	for _, share := range []float64{0, .5, 1} {
		out = append(out, w.down(w.chart.x.from+share*(w.chart.x.to-w.chart.x.from), start)...)
	}
	return out
}

// inside moves a label into the frame from the left and the right.
func (w *words) inside(at place, text string) point {
	d, r := w.chart, covers(at.at, at.a, text)
	return point{at.at.x + max(0, d.x.from+4-r.x0) - max(0, r.x1-d.x.to), at.at.y}
}

// unknown says what is missing of a bearing that was never measured, or not
// since its last work.
func (w *words) unknown() {
	d := w.chart
	text := [2]string{"Nothing is measured yet: no level, no forecast.", "Nothing is measured yet."}
	for _, part := range d.o.Parts {
		if len(part.Readings) > 0 {
			text = [2]string{"Not measured since the last work: no level, no forecast.", "Not measured since the work."}
		}
	}
	w.label(quiet, w.fits(text), w.down((d.x.from+d.x.to)/2, middle))
}

// untaught says why there is no fan.
func (w *words) untaught() {
	d := w.chart
	x := (d.x.at(seconds(d.now)) + d.x.to) / 2
	w.label(quiet, w.fits([2]string{"No rate is known yet: no forecast.", "No forecast yet."}), w.down(x, middle))
}

// down are places below one another, from the middle on.
func (w *words) down(x float64, a anchor) []place {
	d := w.chart
	var out []place
	for _, share := range []float64{.5, .4, .6, .3, .7, .2, .8, .1, .9} {
		out = append(out, place{point{x, d.y.from + share*(d.y.to-d.y.from)}, a})
	}
	return out
}

// around are places to all sides of a mark, the left first.
func around(at point) []place {
	var out []place
	for _, dy := range []float64{12, 24, 36, -22, -34, 48, -46, 62} {
		out = append(out, place{point{at.x - 8, at.y + dy}, end})
	}
	for _, dy := range []float64{12, 24, -22, -34, 40} {
		out = append(out, place{point{at.x + 8, at.y + dy}, start})
	}
	return out
}

// now labels the level of today, left of the mark.
func (w *words) now() {
	d := w.chart
	at := d.at(seconds(d.now), d.median())
	w.pen.dot(brass, at, dotSize+0.6)
	w.pen.ring(paper, at, dotSize+0.6)
	now := w.hundredth(d.median())
	w.label(brass, w.fits([2]string{"now about " + now, "now " + now}), around(at))
}

// last labels the level of the last fact, which is all that is known.
func (w *words) last() {
	d := w.chart
	when := asOf(d.o, d.now)
	at := d.at(seconds(when), d.median())
	text := w.hundredth(d.median()) + " in " + when.In(d.zone).Format("Jan 2006")
	places := around(at)
	if right := (place{point{at.x + 8, at.y + 12}, start}); covers(right.at, start, text).x1 < d.x.at(seconds(d.now)) {
		places = append([]place{right}, places...) // what lies left is the way there
	}
	w.label(brass, text, places)
}

// sizeWords says a size in both systems; where there is no room for that in the
// reader's own, and the axes to both sides have the other.
func (d *bearingChart) sizeWords(p *pen, l wear.Length) string {
	if d.size.narrow() {
		return l.In(p.units)
	}
	return l.String()
}

// hundredth says a size as it is known.
func (w *words) hundredth(mm float64) string {
	return w.chart.sizeWords(w.pen, wear.Hundredths(mm))
}

// doubts marks in words the readings that may be misread: the very last can be
// read again; of an older one that is past.
func (w *words) doubts() {
	d := w.chart
	for i, part := range d.o.Parts {
		for k, r := range part.Readings {
			if r.Doubt < ringedFrom {
				continue
			}
			text := "misread?"
			if i == len(d.o.Parts)-1 && k == len(part.Readings)-1 {
				text = "read again?"
			}
			at, sd := d.at(seconds(r.At), r.Value), d.y.of(r.SD)
			up, down := max(sd, dotSize+3)+5, max(sd, dotSize+3)+12
			w.label(oxide, text, []place{{point{at.x, at.y + up}, middle}, {point{at.x, at.y - down}, middle},
				{point{at.x - 10, at.y - 3}, end}, {point{at.x + 10, at.y - 3}, start}, {point{at.x, at.y + up + 12}, middle}})
		}
	}
}

// then labels the two fans of a chart with something done today, and the level
// that the work would leave.
func (w *words) then() {
	d := w.chart
	w.asItIs()
	left := w.hundredth(d.after.Level.Mean)
	if d.after.Known && (!d.o.Known || left != w.hundredth(d.median())) {
		at := d.at(seconds(d.now), d.after.Level.Mean)
		w.pen.dot(verdigris, at, dotSize+0.6)
		w.pen.ring(paper, at, dotSize+0.6)
		w.label(verdigris, "then "+left, around(at))
	}
	if len(d.then) < 2 {
		return
	}
	today := d.x.at(seconds(d.now))
	for _, share := range []float64{0.55, 0.4, 0.7, 0.25, 0.1} {
		x := today + (d.x.to-today)*share
		for _, base := range []float64{d.heightAt(d.then, x, 0) - 13, d.heightAt(d.then, x, 4) + 5} {
			if w.place(verdigris, x, base, "if done today") {
				return
			}
		}
	}
}

// asItIs labels the fan of nothing done: above it, for the other lies below, and
// below it where there is no room.
func (w *words) asItIs() {
	const text = "as it is"
	d := w.chart
	if len(d.fan) < 2 {
		return
	}
	today := d.x.at(seconds(d.now))
	for _, share := range []float64{0.25, 0.1, 0.4, 0.55} {
		x := today + (d.x.to-today)*share
		if w.place(brass, x, d.fanAt(x+textWidth(text, small), 4)+4, text) {
			return
		}
	}
	w.bands([2]string{text, text}, [2]string{text, text})
}

// bands labels the fan where there is height for it: the inner band inside
// along its lower edge, the outer one below it. Edges rise to the right, so the
// words begin where they clear the edge.
func (w *words) bands(inner, outer [2]string) {
	d := w.chart
	if len(d.fan) < 2 {
		return
	}
	in, out := w.fits(inner), w.fits(outer)
	today := d.x.at(seconds(d.now))
	for _, share := range []float64{0.55, 0.4, 0.7, 0.25} {
		x := today + (d.x.to-today)*share
		if !w.place(brass, x, d.fanAt(x, 0)-13, out) {
			continue
		}
		base := d.fanAt(x+textWidth(in, small), 1) + 3
		if in != out && base+small < d.fanAt(x, 2) {
			w.place(brass, x, base, in)
		}
		return
	}
}

// place writes a label of the fan unless it would lie on a limit or on other
// words, or leave the frame.
func (w *words) place(c colour, x, base float64, text string) bool {
	d := w.chart
	if base < d.y.from+4 || base > d.y.to-8 || !w.clear(place{point{x, base}, start}, text) {
		return false
	}
	if d.after != nil { // the other fan may lie behind
		w.pen.label(c, point{x, base}, start, text)
	} else {
		w.pen.text(c, point{x, base}, start, text)
	}
	return true
}
