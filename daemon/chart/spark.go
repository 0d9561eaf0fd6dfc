package chart

import (
	"fmt"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// Small is the size of a trend in a list.
var Small = Size{120, 30}

// Spark draws the present part of a bearing as a small trend: its readings, the
// level now, and its limit as a line along the top. It has no words of its own:
// the list beside it says the figures.
func Spark(o schedule.Outlook, now time.Time) Picture {
	return Picture{
		Title: short(o.Bearing.Name+", trend", 80),
		Desc:  sparkWords(o),
		Size:  Small,
		draw:  func(p *pen) { drawSpark(p, o, now) },
	}
}

func sparkWords(o schedule.Outlook) string {
	s := "Nothing is measured yet."
	if r := present(o).Readings; len(r) == 1 {
		s = fmt.Sprintf("One reading of %v.", r[0].Reading.Value)
	} else if len(r) > 1 {
		s = fmt.Sprintf("%d readings, the first %v in %d, the last %v in %d.", len(r), r[0].Reading.Value, r[0].At.Year(),
			r[len(r)-1].Reading.Value, r[len(r)-1].At.Year())
	}
	if o.Limit != nil {
		s += fmt.Sprintf(" The limit is %v.", o.Limit.Size)
	}
	return s
}

// present is the part in the bearing now.
func present(o schedule.Outlook) schedule.Part {
	if len(o.Parts) == 0 {
		return schedule.Part{}
	}
	return o.Parts[len(o.Parts)-1]
}

func drawSpark(p *pen, o schedule.Outlook, now time.Time) {
	part := present(o)
	pts := levelNow(o, now)
	first, top := seconds(now)-365*86400, 0.0
	for _, pt := range pts {
		first, top = min(first, pt.x), max(top, pt.y)
	}
	for _, r := range part.Readings {
		first, top = min(first, seconds(r.At)), max(top, r.Value)
	}
	if o.Limit != nil {
		top = max(top, o.Limit.Size.MM())
	}
	if top <= 0 {
		top = wear.Millimetre.MM()
	}
	x := scale{first, seconds(now), 4, Small.Width - 5}
	y := scale{0, top, 3, Small.Height - 4}
	p.line(hairline, thin, []point{{0, y.from}, {Small.Width, y.from}})
	if o.Limit != nil {
		l := y.at(o.Limit.Size.MM())
		p.line(oxide, plain, []point{{0, l}, {Small.Width, l}})
	}
	for i, pt := range pts {
		pts[i] = point{x.at(pt.x), y.at(pt.y)}
	}
	p.line(brass, plain, pts)
	for _, r := range part.Readings {
		p.dot(ink, point{x.at(seconds(r.At)), y.at(r.Value)}, 1.7)
	}
	if n := len(pts); n > 0 {
		p.dot(brass, pts[n-1], 2.4)
	}
}
