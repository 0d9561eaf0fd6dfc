package chart

import (
	"math"
	"time"

	"endshake/schedule"
)

// Many is the size of one of many small charts side by side.
var Many = Size{250, 120}

// Common is the scale that charts side by side share.
type Common struct {
	From, Until time.Time
	Top         float64 // mm; it begins at nothing
}

// farBack is how far back a common scale goes at most: one old reading must not
// press all others into a corner.
const farBack = 40 * year

// CommonOf is the scale on which all outlooks can be seen: from the first
// reading until now, and up to the largest size or limit. Readings above, which
// are likely misread, are drawn at its top.
func CommonOf(all []schedule.Outlook, now time.Time) Common {
	c := Common{From: now.Add(-2 * year), Until: now}
	see := func(v float64) {
		if v > c.Top && !math.IsInf(v, 0) {
			c.Top = v
		}
	}
	oldest := now.Add(-farBack)
	for i := range all {
		o := &all[i]
		if o.Known {
			see(o.Level.Mean)
		}
		if o.Limit != nil {
			see(o.Limit.Size.MM())
		}
		for _, r := range present(*o).Readings {
			if r.Doubt < ringedFrom {
				see(r.Value)
			}
			if r.At.Before(c.From) && r.At.After(oldest) {
				c.From = r.At
			}
		}
	}
	if c.Top <= 0 {
		c.Top = 1
	}
	c.Top *= 1.08
	return c
}

// Multiple draws one bearing on a common scale: the readings of its present part
// as dots, its level as a line, and its limit; mm on the left, thou on the right.
func Multiple(o schedule.Outlook, now time.Time, c Common) Picture {
	return Picture{
		Title: short(schedule.NameOf(o.Bearing.Name, o.Arbor.Name)+", on the scale of its kind", 100),
		Desc:  sparkWords(o),
		Size:  Many,
		draw:  func(p *pen) { drawMultiple(p, o, now, c) },
	}
}

func drawMultiple(p *pen, o schedule.Outlook, now time.Time, c Common) {
	x := scale{seconds(c.From), seconds(c.Until), 34, Many.Width - 30}
	y := scale{0, c.Top, 20, Many.Height - 6}
	inside := func(t, mm float64) point { return point{x.at(x.clamp(t)), y.at(y.clamp(mm))} }
	mm, step := y.ticks(4)
	for _, v := range mm {
		p.line(hairline, thin, []point{{x.from, y.at(v)}, {x.to, y.at(v)}})
		p.text(quiet, point{x.from - 5, y.at(v) - 3.5}, end, figure(v, step))
	}
	p.text(quiet, point{x.from - 5, 5}, end, "mm")
	drawThou(p, y, x.to, 4)
	p.text(quiet, point{x.to + 6, 5}, start, "thou")
	p.text(quiet, point{x.from, 5}, start, c.From.Format("2006"))
	p.text(quiet, point{x.to, 5}, end, "today")
	if o.Limit != nil {
		l := y.at(y.clamp(o.Limit.Size.MM()))
		p.line(oxide, plain, []point{{x.from, l}, {x.to, l}})
	}
	part := present(o)
	var level []point
	for _, pt := range fromLeft(levelNow(o, now), x.low) {
		level = append(level, inside(pt.x, pt.y))
	}
	p.line(brass, strong, level)
	for _, r := range part.Readings {
		if !math.IsNaN(r.Value) {
			p.dot(ink, inside(seconds(r.At), r.Value), 2.2)
		}
	}
	if n := len(level); n > 0 {
		p.dot(brass, level[n-1], 3)
	}
}
