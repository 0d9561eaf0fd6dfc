package chart

import (
	"math"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

const year = 365.25 * 24 * time.Hour

// Bearing draws the chart of one bearing: its readings as dots with gauge bars,
// the level of each part as a line, what is to be expected as a fan from today,
// the limits as labelled lines, and repairs as ticks with their words; mm on
// the left, thou on the right. What is not known is left out and said in words.
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
	x, y  scale
}

func newBearingChart(o schedule.Outlook, now time.Time, zone *time.Location, size Size) *bearingChart {
	d := &bearingChart{o: o, now: now, zone: zone, size: size}
	for i, part := range o.Parts {
		d.paths = append(d.paths, levelPath(o, part, now, i == len(o.Parts)-1))
	}
	d.x = scale{seconds(d.earliest()), seconds(d.horizon()), 38, size.Width - 38}
	d.fan = fanOf(o, now, time.Unix(int64(d.x.high), 0))
	d.y = d.heights()
	return d
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
// there is one, within 4 to 15 years, and never much more than the past shown.
func (d *bearingChart) horizon() time.Time {
	ahead := 5 * year
	if d.o.Dated && !d.o.Late.IsZero() {
		ahead = d.o.Late.Start(d.zone).Sub(d.now) / 10 * 11 // divided first: times 11 might not fit
	}
	past := d.now.Sub(d.earliest())
	ahead = min(ahead, max(past*3/2, 8*year), 15*year)
	return d.now.Add(max(ahead, 4*year))
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
	for _, part := range d.o.Parts {
		for _, r := range part.Readings {
			see(r.Reading.Value.MM() - r.Reading.SD())
			see(r.Reading.Value.MM() + r.Reading.SD())
		}
	}
	for _, path := range d.paths {
		for _, pt := range path {
			see(pt.y)
		}
	}
	roof := math.Inf(1)
	for _, l := range d.limits() {
		see(l.limit.Size.MM())
		roof = l.limit.Size.MM() * 1.25
	}
	if math.IsInf(roof, 1) {
		roof = 3 * high
	}
	roof = max(roof, 1.25*high)
	for _, f := range d.fan {
		see(min(f.q[4], roof))
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

// named is a limit with its word.
type named struct {
	word  string
	limit *wear.Limit
}

// median is the level today that is as likely too large as too small. The
// mean would lie far above it where little is known.
func (d *bearingChart) median() float64 { return levelAt(d.o, 0, 0.5) }

// limits are those set, the smaller first.
func (d *bearingChart) limits() []named {
	var out []named
	if l := d.o.Bearing.Watch; l != nil {
		out = append(out, named{"watch", l})
	}
	if l := d.o.Bearing.Act; l != nil {
		out = append(out, named{"act", l})
	}
	if len(out) == 0 && d.o.Limit != nil {
		out = append(out, named{"limit", d.o.Limit})
	}
	return out
}

// at is the place of a size at an instant.
func (d *bearingChart) at(t, mm float64) point { return point{d.x.at(t), d.y.at(mm)} }

func (d *bearingChart) draw(p *pen) {
	d.drawGrid(p)
	d.drawFan(p)
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
	inThou := scale{d.y.low * 1000 / 25.4, d.y.high * 1000 / 25.4, d.y.from, d.y.to}
	thou, step := inThou.ticks(lines)
	for _, v := range thou {
		y := inThou.at(v)
		p.line(quiet, thin, []point{{d.x.to, y}, {d.x.to + 3, y}})
		p.text(quiet, point{d.x.to + 6, y - 3.5}, start, figure(v, step))
	}
	p.text(quiet, point{d.size.Width - 2, d.size.Height - 12}, end, "thou")
	p.line(quiet, thin, []point{{d.x.from, d.y.from}, {d.x.to, d.y.from}})
	for _, t := range yearTicks(d.x, d.zone, 46) {
		x := d.x.at(seconds(t))
		p.line(quiet, thin, []point{{x, d.y.from}, {x, d.y.from - 4}})
		p.text(quiet, point{x, d.y.from - 16}, middle, t.Format("2006"))
	}
}

// drawLimits draws each limit with its words at the right edge, the upper
// above its line and the lower below, so that two close ones keep apart.
func (d *bearingChart) drawLimits(p *pen) {
	all := d.limits()
	for i, l := range all {
		y := d.y.at(l.limit.Size.MM())
		var dash []float64
		if l.word == "watch" {
			dash = []float64{5, 3}
		}
		p.line(oxide, plain, []point{{d.x.from, y}, {d.x.to, y}}, dash...)
		base := y + 4
		if i < len(all)-1 {
			base = y - 12
		}
		p.label(oxide, point{d.x.to - 3, base}, end, l.word+" "+l.limit.Size.String())
	}
}

// drawCrossing marks on the binding limit the span in which it is likely to be
// reached, 8 times in 10, with the likeliest half-way date as a diamond.
func (d *bearingChart) drawCrossing(p *pen) {
	if !d.o.Dated || d.o.Over || d.o.Limit == nil || d.o.Early.IsZero() {
		return
	}
	at := func(day schedule.Date) float64 {
		if day.IsZero() {
			return d.x.to
		}
		return d.x.at(d.x.clamp(seconds(day.Start(d.zone))))
	}
	y, x0, x1 := d.y.at(d.o.Limit.Size.MM()), at(d.o.Early), at(d.o.Late)
	p.line(oxide, 3.5, []point{{x0, y}, {x1, y}})
	if x := at(d.o.Likely); !d.o.Likely.IsZero() && !d.o.Beyond && x < d.x.to {
		p.fill(oxide, []point{{x - 5, y}, {x, y + 5}, {x + 5, y}, {x, y - 5}})
	}
}

// drawReadings draws each reading with a bar of one standard uncertainty each
// way, smaller where they would run into one another.
func (d *bearingChart) drawReadings(p *pen) {
	n := 0
	for _, part := range d.o.Parts {
		n += len(part.Readings)
	}
	size, width, cap := dotSize, plain, 2.5
	if float64(n)*4*dotSize > d.x.to-d.x.from {
		size, width, cap = 1.6, thin, 0
	}
	for _, part := range d.o.Parts {
		for _, r := range part.Readings {
			v, sd, t := r.Reading.Value.MM(), r.Reading.SD(), seconds(r.At)
			top, foot := d.at(t, v+sd), d.at(t, max(v-sd, d.y.low))
			p.line(ink, width, []point{foot, top})
			p.line(ink, width, []point{{foot.x - cap, foot.y}, {foot.x + cap, foot.y}})
			p.line(ink, width, []point{{top.x - cap, top.y}, {top.x + cap, top.y}})
			p.dot(ink, d.at(t, v), size)
		}
	}
}

// drawRepairs marks where one part follows another, with its words at the top;
// words that would run into the ones before are left to the list of readings.
func (d *bearingChart) drawRepairs(p *pen) {
	free := d.x.from
	for i, part := range d.o.Parts {
		t := seconds(part.From)
		if part.From.IsZero() || t < d.x.low || t > d.x.high || (i == 0 && part.Work == "") {
			continue
		}
		x := d.x.at(t)
		p.line(verdigris, plain, []point{{x, d.y.from}, {x, d.y.to}}, 1.5, 3)
		p.line(verdigris, strong, []point{{x, d.y.from - 4}, {x, d.y.from + 6}})
		words := string(part.Work)
		if words == "" {
			words = "new part"
		}
		if !d.size.narrow() {
			words += ", " + part.From.In(d.zone).Format("Jan 2006")
		}
		w, left := textWidth(words, small), x
		if left+w > d.x.to {
			left = d.x.to - w
		}
		if left >= free {
			p.label(verdigris, point{left, d.y.to + 5}, start, words)
			free = left + w + 8
		}
	}
}

func (d *bearingChart) drawToday(p *pen) {
	x := d.x.at(seconds(d.now))
	p.line(ink, thin, []point{{x, d.y.from - 4}, {x, d.y.to}})
	y := d.y.from + 5
	if d.o.Known && d.y.at(d.median()) < y+30 { // the level of today has its own words there
		y = d.y.to - small
	}
	p.label(ink, point{x - 4, y}, end, "today")
}

// drawWords writes what the lines and bands are on the lines and bands.
func (d *bearingChart) drawWords(p *pen) {
	w := words{chart: d, pen: p}
	if !d.o.Known {
		text := "Nothing is measured yet: no level, no forecast."
		if d.size.narrow() {
			text = "Nothing is measured yet."
		}
		p.label(quiet, point{(d.x.from + d.x.to) / 2, (d.y.from + d.y.to) / 2}, middle, text)
		return
	}
	w.now()
	w.bands()
}
