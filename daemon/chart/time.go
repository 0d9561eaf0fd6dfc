package chart

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"endshake/schedule"
)

// shownBack is how far back a timekeeping chart goes.
const shownBack = 2 * year

// Time draws how a clock kept time over the last two years: each error seen as a
// dot, those set aside hollow, between what it is held to as lines, with settings
// and regulations as ticks; seconds, fast above and slow below.
func Time(a schedule.Assessment, size Size) Picture {
	size = size.sane(Narrow)
	size.Height = min(size.Height, 230)
	zone := a.Zone
	if zone == nil {
		zone = time.UTC
	}
	d := newTimeChart(a, zone, size)
	return Picture{
		Title: short("How "+a.Clock.Name+" kept time", 80),
		Desc:  d.words(),
		Size:  size,
		draw:  d.draw,
		tips:  func(func(string) string) []tip { return d.tips() },
	}
}

// timeChart is a timekeeping chart laid out.
type timeChart struct {
	errors      []schedule.ErrorSeen
	regulations []schedule.Regulation
	tolerance   float64 // seconds; 0: none
	zone        *time.Location
	size        Size
	x, y        scale
}

func newTimeChart(a schedule.Assessment, zone *time.Location, size Size) timeChart {
	d := timeChart{tolerance: a.Time.Tolerance, zone: zone, size: size}
	from := a.Now.Add(-shownBack)
	for _, e := range a.Time.Errors {
		if e.At.After(from) && !e.At.After(a.Now) && !math.IsNaN(e.Seconds) && !math.IsInf(e.Seconds, 0) {
			d.errors = append(d.errors, e)
		}
	}
	for _, r := range a.Time.Regulations {
		if r.At.After(from) && !r.Undone {
			d.regulations = append(d.regulations, r)
		}
	}
	if n := len(d.errors); n > 0 && d.errors[0].At.Sub(from) > shownBack/2 { // nothing is drawn where nothing was seen
		from = d.errors[0].At.Add(-a.Now.Sub(d.errors[0].At) / 20)
	}
	top := d.reach()
	d.x = scale{seconds(from), seconds(a.Now), 46, size.Width - 10}
	d.y = scale{-top, top, 26, size.Height - 20}
	return d
}

// reach is how many seconds the chart shows each way: what it is held to, and
// nearly all errors; the few far beyond are arrows at its edge.
func (d *timeChart) reach() float64 {
	var sizes []float64
	for _, e := range d.errors {
		if !e.Aside {
			sizes = append(sizes, math.Abs(e.Seconds))
		}
	}
	slices.Sort(sizes)
	top := max(10, 1.3*d.tolerance)
	if n := len(sizes); n > 0 {
		top = max(top, 1.15*sizes[(n-1)*19/20])
		if worst := 1.05 * sizes[n-1]; worst < 1.5*top {
			top = max(top, worst)
		}
	}
	return min(top, 1e7)
}

func (d *timeChart) at(e schedule.ErrorSeen) point {
	return point{d.x.at(seconds(e.At)), d.y.at(d.y.clamp(e.Seconds))}
}

func (d *timeChart) draw(p *pen) {
	values, step := d.y.ticks(5)
	for _, v := range values {
		y := d.y.at(v)
		p.line(hairline, thin, []point{{d.x.from, y}, {d.x.to, y}})
		words := figure(math.Abs(v), step)
		if v == 0 {
			words = "right"
		}
		p.text(quiet, point{d.x.from - 5, y - 3.5}, end, words)
	}
	p.text(quiet, point{2, d.size.Height - 12}, start, "s fast")
	p.text(quiet, point{2, 12}, start, "s slow")
	if d.tolerance > 0 {
		for _, v := range []float64{-d.tolerance, d.tolerance} {
			p.line(oxide, plain, []point{{d.x.from, d.y.at(v)}, {d.x.to, d.y.at(v)}})
		}
		p.label(oxide, point{d.x.to - 3, d.y.at(d.tolerance) + 4}, end, "held to "+figure(d.tolerance, 1)+" s")
	}
	for _, t := range yearTicks(d.x, d.zone, 46) {
		x := d.x.at(seconds(t))
		p.line(quiet, thin, []point{{x, d.y.from}, {x, d.y.from - 4}})
		p.text(quiet, point{x, d.y.from - 16}, middle, t.Format("2006"))
	}
	for _, r := range d.regulations {
		x := d.x.at(seconds(r.At))
		p.line(verdigris, strong, []point{{x, d.y.from - 4}, {x, d.y.from + 7}})
	}
	for i, e := range d.errors {
		if i > 0 && !e.Left && d.errors[i-1].At.Before(e.At) && !e.Aside && !d.errors[i-1].Aside {
			p.line(brass, thin, []point{d.at(d.errors[i-1]), d.at(e)}) // nobody set it between
		}
	}
	for _, e := range d.errors {
		if d.beyond(e) {
			d.drawBeyond(p, e)
			continue
		}
		at := d.at(e)
		switch {
		case e.Aside:
			p.ring(quiet, at, 2.6)
		case e.Left:
			p.dot(verdigris, at, 2.4)
		default:
			p.dot(ink, at, 2.6)
		}
	}
}

// beyond reports whether an error is too large for the chart.
func (d *timeChart) beyond(e schedule.ErrorSeen) bool {
	return e.Seconds < d.y.low || e.Seconds > d.y.high
}

// drawBeyond draws an error too large for the chart as an arrow at its edge, with
// how large it is beside it, where that lies on no other words.
func (d *timeChart) drawBeyond(p *pen, e schedule.ErrorSeen) {
	at, into := d.at(e), 7.0
	if e.Seconds > 0 {
		into = -into
	}
	c := ink
	if e.Aside {
		c = quiet
	}
	p.fill(c, []point{at, {at.x - 4, at.y + into}, {at.x + 4, at.y + into}})
	words, base := errorSize(e), at.y+into/2-3.5
	for _, row := range []float64{0, 1, -1, 2, 3} { // the row of the arrow, then further in
		y := base + row*math.Copysign(small+3, into)
		for _, side := range []place{{point{at.x - 7, y}, end}, {point{at.x + 7, y}, start}} {
			r := covers(side.at, side.a, words)
			if r.x0 >= d.x.from && r.x1 <= d.x.to && r.y0 >= d.y.from-4 && r.y1 <= d.y.to+small && p.free(side.at, side.a, words) {
				p.label(c, side.at, side.a, words)
				return
			}
		}
	}
}

// tips tell each error.
func (d *timeChart) tips() []tip {
	var out []tip
	for _, e := range d.errors {
		at := d.at(e)
		out = append(out, tip{rect{at.x - 5, at.y - 5, at.x + 5, at.y + 5}, schedule.DateOf(e.At, d.zone).Words() + ": " + errorSaid(e)})
	}
	return out
}

func errorSaid(e schedule.ErrorSeen) string {
	out := errorSize(e)
	switch {
	case e.Left:
		out += ", as left"
	case e.Aside:
		out += ", set aside"
	}
	return out
}

// errorSize says how far a clock was off, and which way.
func errorSize(e schedule.ErrorSeen) string {
	switch {
	case e.Seconds > 0:
		return timeOff(e.Seconds) + " fast"
	case e.Seconds < 0:
		return timeOff(-e.Seconds) + " slow"
	}
	return "right"
}

// timeOff prints seconds as people say them: "75 s", "4 min 20 s", "54 min",
// "3 h 5 min", "2 days".
func timeOff(s float64) string {
	switch n := math.Round(s); {
	case n <= 120:
		return strconv.FormatFloat(math.Round(10*s)/10, 'g', 3, 64) + " s"
	case n < 600:
		return strings.TrimSuffix(fmt.Sprintf("%d min %d s", int(n)/60, int(n)%60), " 0 s")
	case n < 119.5*60:
		return fmt.Sprintf("%.0f min", n/60)
	case n < 48*3600:
		m := int(math.Round(n / 60))
		return strings.TrimSuffix(fmt.Sprintf("%d h %d min", m/60, m%60), " 0 min")
	}
	return schedule.Thousands(s/86400) + " days"
}

// words say what the chart shows.
func (d *timeChart) words() string {
	n := len(d.errors)
	if n == 0 {
		return "No error was written down in the last two years."
	}
	out := fmt.Sprintf("%s, the last on %s: %s.", schedule.Count(n, "error", "errors"), schedule.DateOf(d.errors[n-1].At, d.zone).Words(), errorSaid(d.errors[n-1]))
	if d.tolerance > 0 {
		over := 0
		for _, e := range d.errors {
			if math.Abs(e.Seconds) > d.tolerance && !e.Left && !e.Aside {
				over++
			}
		}
		out += fmt.Sprintf(" %d were beyond the %g s that it is held to.", over, d.tolerance)
	}
	return out
}
