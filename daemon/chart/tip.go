package chart

import (
	"fmt"
	"html"
	"math"
	"strings"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// tip is what a pointer held over a place of an SVG is told. The same stands in
// a table beside the picture, for whoever has no pointer.
type tip struct {
	rect
	words string
}

// reach is how far around a reading a pointer finds it.
const reach = 7.0

// writeTips puts tips into an SVG, over all that is drawn.
func writeTips(b *strings.Builder, height float64, tips []tip) {
	for _, t := range tips {
		fmt.Fprintf(b, `<rect x="%.4g" y="%.4g" width="%.4g" height="%.4g" fill="none" pointer-events="all"><title>%s</title></rect>`,
			t.x0, height-t.y1, t.x1-t.x0, t.y1-t.y0, html.EscapeString(clean(t.words)))
	}
}

// tips are those of a bearing chart: of what is to be expected at each New Year,
// and over those of the readings. name gives the name of whoever took one.
func (d *bearingChart) tips(name func(person string) string) []tip {
	out := d.fanTips()
	for _, part := range d.o.Parts {
		for _, r := range part.Readings {
			at := d.at(seconds(r.At), r.Value)
			if !inside(at, d.size) {
				continue
			}
			words := wear.FromMM(r.Value).String()
			if off := math.Abs(r.Value - r.Reading.Value.MM()); off >= 0.0005 {
				words += " (read as " + wear.WithinBrackets(r.Reading.Value.String()) + ")"
			}
			words += ", " + schedule.DateOf(r.At, d.zone).Words()
			if who := name(r.By); r.By != "" && who != "" {
				words += ", " + who
			}
			if r.Doubt >= ringedFrom {
				words += "; may be misread"
			}
			out = append(out, tip{rect{at.x - reach, at.y - reach, at.x + reach, at.y + reach}, words})
		}
	}
	return out
}

func inside(p point, s Size) bool {
	return p.x >= 0 && p.x <= s.Width && p.y >= 0 && p.y <= s.Height // no number is neither
}

// fanTips say what is to be expected at each New Year within the fan, as drawn.
func (d *bearingChart) fanTips() []tip {
	if len(d.fan) < 2 {
		return nil
	}
	var out []tip
	for y := d.now.In(d.zone).Year() + 1; y <= d.now.Year()+30; y++ {
		t := seconds(time.Date(y, time.January, 1, 0, 0, 0, 0, d.zone))
		q, ok := fanAt(d.fan, t)
		if !ok {
			break
		}
		low, high := d.at(t, q[0]), d.at(t, q[4])
		if high.y-low.y < 2*reach {
			mid := (low.y + high.y) / 2
			low.y, high.y = mid-reach, mid+reach
		}
		low.y, high.y = max(low.y, d.y.from), min(high.y, d.y.to)
		if !inside(low, d.size) || high.y <= low.y {
			continue
		}
		out = append(out, tip{rect{low.x - reach, low.y, low.x + reach, high.y}, fmt.Sprintf(
			"1 Jan %d: about %v expected; 8 chances in 10 between %s", y, wear.Hundredths(q[2]), wear.Span(wear.Hundredths(q[0]), "and", wear.Hundredths(q[4])))})
	}
	return out
}

// fanAt is a fan at an instant, on the straight lines that it is drawn with.
func fanAt(fan []fanPoint, t float64) (q [5]float64, ok bool) {
	for i := range fan[1:] {
		a, b := fan[i], fan[i+1]
		if t < a.t || t > b.t || b.t <= a.t {
			continue
		}
		share := (t - a.t) / (b.t - a.t)
		for k := range q {
			q[k] = a.q[k] + share*(b.q[k]-a.q[k])
		}
		return q, true
	}
	return q, false
}
