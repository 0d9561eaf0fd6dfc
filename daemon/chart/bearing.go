package chart

import (
	"math"
	"time"

	"endshake/schedule"
)

const year = 365.25 * 24 * time.Hour

// Bearing draws the chart of one bearing: its readings as dots with gauge bars,
// those that may be misread ringed, the level of each part as a line, what is to
// be expected as a fan from today, the limits that hold as labelled lines, and
// repairs and a change of rate as ticks with their words; mm on the left, thou
// on the right. What is not known is left out and said in words: where the
// readings carry no rate the level ends with the last of them.
func Bearing(o schedule.Outlook, now time.Time, zone *time.Location, size Size) Picture {
	size = size.sane(Narrow)
	if zone == nil {
		zone = time.UTC
	}
	d := newBearingChart(o, now, zone, size)
	desc := o.Sentence
	if desc == "" {
		desc = sparkWords(o)
	}
	return Picture{
		Title: short(o.Bearing.Name+": "+string(o.Bearing.Shake)+" over the years", 120),
		Desc:  desc,
		Size:  size,
		draw:  d.draw,
		tips:  d.tips,
	}
}

// bearingChart is a bearing chart laid out: everything is known but the pen.
type bearingChart struct {
	o     schedule.Outlook
	now   time.Time
	zone  *time.Location
	size  Size
	paths [][]point // level of each part: seconds and mm
	fan   []fanPoint
	after *schedule.Outlook // as it would be with something done today; nil: nothing
	then  []fanPoint        // what would be expected then
	x, y  scale
}

func newBearingChart(o schedule.Outlook, now time.Time, zone *time.Location, size Size) *bearingChart {
	d := &bearingChart{o: o, now: now, zone: zone, size: size, paths: levelPaths(o, now)}
	d.layOut()
	return d
}

// layOut finds the scales, and the fans as far as they go.
func (d *bearingChart) layOut() {
	d.x = scale{seconds(d.earliest()), seconds(d.horizon()), 38, d.size.Width - 38}
	until := time.Unix(int64(d.x.high), 0)
	d.fan = fanOf(d.o, d.now, until)
	if d.after != nil {
		d.then = fanOf(*d.after, d.now, until)
	}
	d.y = d.heights()
}

// earliest is where the chart begins: with the first part's fitting, but not
// more than five years before anything was measured.
func (d *bearingChart) earliest() time.Time {
	first := d.now.Add(-2 * year)
	for _, part := range d.o.Parts {
		for _, r := range part.Readings {
			if r.At.Before(first) {
				first = r.At
			}
		}
	}
	oldest := first.Add(-5 * year)
	for _, part := range d.o.Parts {
		if !part.From.IsZero() && part.From.Before(first) && part.From.After(oldest) {
			first = part.From
		}
	}
	return first.Add(-d.now.Sub(first) / 40)
}

// horizon is how far ahead the chart looks: past the likely crossing where
// there is one, within 4 to 15 years, and never much more than the past shown;
// with something done today as far as 25 years, and up to 45 where it is only then
// as likely as not reached.
func (d *bearingChart) horizon() time.Time {
	past, most := d.now.Sub(d.earliest()), 15*year
	most = min(most, max(past*3/2, 8*year))
	ahead := d.lateAhead(d.o)
	if d.after != nil {
		ahead, most = max(ahead, d.lateAhead(*d.after)), 25*year
		if d.after.Dated && !d.after.Over {
			most = min(max(most, d.ahead(d.after.Likely)), 45*year)
		}
	}
	return d.now.Add(max(min(ahead, most), 4*year))
}

// lateAhead is a little beyond the late date of a crossing, or five years.
func (d *bearingChart) lateAhead(o schedule.Outlook) time.Duration {
	if o.Dated && !o.Late.IsZero() {
		return d.ahead(o.Late)
	}
	return 5 * year
}

// ahead is until a little beyond a day.
func (d *bearingChart) ahead(day schedule.Date) time.Duration {
	return day.Start(d.zone).Sub(d.now) / 10 * 11 // divided first: times 11 might not fit
}

// heights scales the sizes, from nothing at all unless that would press what
// there is to see into the upper half.
func (d *bearingChart) heights() scale {
	low, high := math.Inf(1), 0.0
	see := func(v float64) {
		if v >= 0 && !math.IsInf(v, 0) {
			low, high = min(low, v), max(high, v)
		}
	}
	d.eachSize(see)
	roof := math.Inf(1)
	for _, l := range d.limits() {
		mm, binds := l.limit.Size.MM(), d.o.Limit == nil || l.limit.Size <= d.o.Limit.Size
		if binds || mm <= 2*high { // one far above all else is only named
			see(mm)
			roof = mm * 1.25
		}
	}
	if math.IsInf(roof, 1) {
		roof = 3 * high
	}
	roof = max(roof, 1.25*high)
	for _, fan := range [][]fanPoint{d.fan, d.then} {
		for _, f := range fan {
			see(min(f.q[0], roof))
			see(min(f.q[4], roof))
		}
	}
	if high <= 0 {
		high = 1
	}
	if low < high*0.6 || !d.o.Known {
		low = 0
	} else {
		low = max(0, low-(high-low)*0.3)
	}
	return scale{low, high + (high-low)*0.10, 34, d.size.Height - 26}
}

// eachSize gives the sizes that must be seen: readings with their bars, levels,
// and sizes as fitted.
func (d *bearingChart) eachSize(see func(mm float64)) {
	for _, part := range d.o.Parts {
		if part.Start != nil {
			see(part.Start.Mean)
		}
		for _, r := range part.Readings {
			see(r.Value - r.SD)
			see(r.Value + r.SD)
		}
	}
	for _, path := range d.paths {
		for _, pt := range path {
			see(pt.y)
		}
	}
	if d.after != nil && d.after.Known {
		see(d.after.Level.Mean)
	}
}

// at is the place of a size at an instant.
func (d *bearingChart) at(t, mm float64) point { return point{d.x.at(t), d.y.at(mm)} }

func (d *bearingChart) draw(p *pen) {
	d.drawGrid(p)
	d.drawFan(p)
	d.drawThen(p)
	d.drawLimits(p)
	d.drawRepairs(p)
	d.drawToday(p)
	for _, path := range d.paths {
		var pts []point
		for _, pt := range fromLeft(path, d.x.low) {
			pts = append(pts, d.at(pt.x, pt.y))
		}
		p.line(brass, strong, pts)
	}
	d.drawReadings(p)
	d.drawCrossing(p)
	d.drawThenCrossing(p)
	d.drawChange(p)
	d.drawWords(p)
}

// fromLeft cuts off what lies before the left edge.
func fromLeft(path []point, left float64) []point {
	for len(path) > 1 && path[1].x <= left {
		path = path[1:]
	}
	if len(path) < 2 || path[0].x >= left {
		return path
	}
	a, b := path[0], path[1]
	cut := point{left, a.y + (b.y-a.y)*(left-a.x)/(b.x-a.x)}
	return append([]point{cut}, path[1:]...)
}

// drawThou draws ticks in thou at the right of a scale in mm.
func drawThou(p *pen, mm scale, x float64, lines int) {
	inThou := scale{mm.low * 1000 / 25.4, mm.high * 1000 / 25.4, mm.from, mm.to}
	thou, step := inThou.ticks(lines)
	for _, v := range thou {
		y := inThou.at(v)
		p.line(quiet, thin, []point{{x, y}, {x + 3, y}})
		p.text(quiet, point{x + 6, y - 3.5}, start, figure(v, step))
	}
}

// drawGrid draws hairlines at round sizes in mm, ticks in thou, and the years.
func (d *bearingChart) drawGrid(p *pen) {
	lines := 7
	if d.size.narrow() {
		lines = 6
	}
	mm, step := d.y.ticks(lines)
	for _, v := range mm {
		y := d.y.at(v)
		p.line(hairline, thin, []point{{d.x.from, y}, {d.x.to, y}})
		p.text(quiet, point{d.x.from - 5, y - 3.5}, end, figure(v, step))
	}
	p.text(quiet, point{d.x.from - 5, d.size.Height - 12}, end, "mm")
	drawThou(p, d.y, d.x.to, lines)
	p.text(quiet, point{d.size.Width - 2, d.size.Height - 12}, end, "thou")
	p.line(quiet, thin, []point{{d.x.from, d.y.from}, {d.x.to, d.y.from}})
	for _, t := range yearTicks(d.x, d.zone, 46) {
		x := d.x.at(seconds(t))
		p.line(quiet, thin, []point{{x, d.y.from}, {x, d.y.from - 4}})
		p.text(quiet, point{x, d.y.from - 16}, middle, t.Format("2006"))
	}
}
