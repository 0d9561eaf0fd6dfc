package chart

import (
	"math"
	"slices"
	"strconv"
)

// panel is one point of a sheet.
type panel struct {
	*sheet
	Trend
	bearingChart  // its fan and scales: the fan is drawn as that of a bearing
	first, lowest bool
}

// span is the stretch of hours that the point wants to show.
func (p *panel) span() (low, high float64) {
	low = p.Now
	for _, part := range p.Parts {
		for _, r := range part.Readings {
			low = min(low, r.Hours)
		}
		if !math.IsNaN(part.Start) {
			low = min(low, part.From)
		}
	}
	past := p.Now - low
	if low < p.Now/3 { // from nothing, if that is not far
		low, past = 0, p.Now
	}
	ahead := past * .6
	if p.Late > p.Now {
		ahead = min(max((p.Late-p.Now)*1.1, past*.3), past*1.5)
	}
	if !(ahead > 0) {
		ahead = max(1, p.Now/2)
	}
	return low - past/60, p.Now + ahead
}

// foresee works out the fan up to some hours.
func (p *panel) foresee(until float64) {
	if p.Quantile == nil || !(until > p.Now) {
		return
	}
	for i := range fanParts + 1 {
		share := float64(i*i) / (fanParts * fanParts)
		f := fanPoint{t: p.Now + share*(until-p.Now)}
		ok := true
		for k, prob := range []float64{.10, .25, .50, .75, .90} {
			f.q[k] = p.Quantile(f.t, prob)
			ok = ok && !math.IsNaN(f.q[k]) && !math.IsInf(f.q[k], 0)
		}
		if ok {
			p.fan = append(p.fan, f)
		}
	}
}

// reach is the stretch of sizes that the point wants to show.
func (p *panel) reach() (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	see := func(v float64) {
		if !math.IsNaN(v) && !math.IsInf(v, 0) {
			low, high = min(low, v), max(high, v)
		}
	}
	for _, part := range p.Parts {
		see(part.Start)
		for _, r := range part.Readings {
			see(r.Size - r.SD)
			see(r.Size + r.SD)
		}
	}
	roof := 3 * high
	if !math.IsNaN(p.limit) {
		see(p.limit)
		roof = max(p.limit*1.25, high)
	}
	for _, f := range p.fan {
		see(min(f.q[4], roof))
	}
	if math.IsInf(low, 0) {
		return 0, 0
	}
	return low, high
}

func (p *panel) draw(pen *pen) {
	p.drawAxes(pen)
	p.drawFan(pen)
	p.drawLimit(pen)
	p.drawTurns(pen)
	x := p.x.at(p.Now)
	pen.line(ink, thin, []point{{x, p.y.from}, {x, p.y.to}})
	for i := range p.Parts {
		pen.line(brass, strong, p.path(i))
	}
	p.drawDots(pen)
	p.drawSpan(pen)
	p.labelLimit(pen)
	if p.single() {
		p.drawLabels(pen)
	}
}

// drawAxes draws hairlines at round sizes and ticks at round hours; among
// several, the figures stand at the left and at the foot only.
func (p *panel) drawAxes(pen *pen) {
	lines, apart := 4, 62.0
	if p.single() {
		lines, apart = 7, 80
	}
	sizes, step := p.y.ticks(lines)
	for _, v := range sizes {
		y := p.y.at(v)
		pen.line(hairline, thin, []point{{p.x.from, y}, {p.x.to, y}})
		if p.single() || p.first {
			pen.text(quiet, point{p.x.from - 5, y - 3.5}, end, figure(v, step))
		}
	}
	pen.line(quiet, thin, []point{{p.x.from, p.y.from}, {p.x.to, p.y.from}})
	hours, every := p.x.ticks(int(max(2, (p.x.to-p.x.from)/apart)))
	right := 0.0 // where the last figure ends
	for _, v := range hours {
		x, words := p.x.at(v), hoursFigure(v, every)
		pen.line(quiet, thin, []point{{x, p.y.from}, {x, p.y.from - 4}})
		if w := textWidth(words, small); (p.single() || p.lowest) && x-w/2 > right {
			pen.text(quiet, point{x, p.y.from - 16}, middle, words)
			right = x + w/2 + 8
		}
	}
	switch {
	case p.single():
		pen.text(quiet, point{p.x.from - 5, p.sheet.size.Height - 12}, end, p.unit.Name)
		pen.text(quiet, point{p.x.to, p.y.from - 30}, end, "hours of running")
		p.drawOther(pen)
	default:
		if p == p.panels[0] {
			pen.text(quiet, point{p.x.from - 5, p.y.to + 7}, end, fit(p.unit.Name, 38))
			pen.text(quiet, point{p.sheet.size.Width - 12, 4}, end, "hours of running")
		}
		pen.text(ink, point{p.x.from, p.y.to + 7}, start, fit(p.Name, p.x.to-p.x.from-textWidth(p.Verdict, small)-14))
		c := brass
		if p.Over {
			c = oxide
		}
		pen.text(c, point{p.x.to, p.y.to + 7}, end, p.Verdict)
	}
}

// fit cuts a text to a width.
func fit(s string, width float64) string {
	for n := len([]rune(s)); n > 1 && textWidth(s, small)*roomy > width; n-- {
		s = short(s, n)
	}
	return s
}

// drawOther draws the ticks of the other unit at the right edge.
func (p *panel) drawOther(pen *pen) {
	if p.unit.Other == "" {
		return
	}
	other := scale{p.y.low * p.unit.Per, p.y.high * p.unit.Per, p.y.from, p.y.to}
	sizes, step := other.ticks(7)
	for _, v := range sizes {
		y := other.at(v)
		pen.line(quiet, thin, []point{{p.x.to, y}, {p.x.to + 3, y}})
		pen.text(quiet, point{p.x.to + 6, y - 3.5}, start, figure(v, step))
	}
	pen.text(quiet, point{p.sheet.size.Width - 2, p.sheet.size.Height - 12}, end, p.unit.Other)
}

// drawLimit draws the limit.
func (p *panel) drawLimit(pen *pen) {
	if y := p.y.at(p.limit); !math.IsNaN(y) {
		pen.line(oxide, plain, []point{{p.x.from, y}, {p.x.to, y}})
	}
}

// labelLimit writes what the limit is, in the first of several panels, at its
// left end, where the level is seldom near it; a point that is over it has its
// fan above the right end, and room below.
func (p *panel) labelLimit(pen *pen) {
	if math.IsNaN(p.limit) || p != p.panels[0] {
		return
	}
	words, at, a := "limit "+strconv.FormatFloat(p.limit, 'g', 6, 64)+" "+p.unit.Name, point{p.x.from + 3, p.y.at(p.limit) + 4}, start
	if p.Over {
		at, a = point{p.x.to - 3, at.y - 16}, end
	}
	pen.label(oxide, at, a, words)
}

// drawSpan marks on the limit when it is likely to be reached, 8 times in 10,
// and the middle of that as a diamond.
func (p *panel) drawSpan(pen *pen) {
	if math.IsNaN(p.limit) || p.Over || !(p.Early < p.x.high) {
		return
	}
	late := p.Late
	if math.IsNaN(late) {
		late = p.x.high
	}
	y := p.y.at(p.limit)
	pen.line(oxide, 3.5, []point{{p.x.at(max(p.Early, p.Now)), y}, {p.x.at(p.x.clamp(late)), y}})
	if p.Likely < p.x.high {
		x, r := p.x.at(p.Likely), 3.5
		if p.single() {
			r = 5
		}
		pen.fill(oxide, []point{{x - r, y}, {x, y + r}, {x + r, y}, {x, y - r}})
	}
}

// drawTurns marks where one part follows another, and where the rate changed.
func (p *panel) drawTurns(pen *pen) {
	for i, part := range p.Parts {
		if part.Work == "" || (i == 0 && part.From <= p.x.low) || part.From < p.x.low {
			continue
		}
		x := p.x.at(part.From)
		pen.line(verdigris, plain, []point{{x, p.y.from}, {x, p.y.to}}, 1.5, 3)
		pen.line(verdigris, strong, []point{{x, p.y.from - 4}, {x, p.y.from + 6}})
		if words := part.Work + " at " + hoursFigure(part.From, 1) + " h"; p.single() {
			at := point{min(x, p.x.to-textWidth(words, small)), p.y.to + 5}
			if pen.free(at, start, words) {
				pen.label(verdigris, at, start, words)
			}
		}
	}
	if p.Changed >= p.x.low {
		x := p.x.at(p.Changed)
		pen.line(brass, thin, []point{{x, p.y.from}, {x, p.y.to}}, 3, 3)
		if words := "rate changed"; p.single() {
			pen.label(brass, point{min(x+4, p.x.to-textWidth(words, small)), p.y.from + 5}, start, words)
		}
	}
}

// drawDots draws each reading with a bar of one standard uncertainty each way,
// hollow where it was likely misread.
func (p *panel) drawDots(pen *pen) {
	n := 0
	for _, part := range p.Parts {
		n += len(part.Readings)
	}
	size, width := dotSize, plain
	if !p.single() {
		size, width = 2.3, thin
	}
	if float64(n)*4*size > p.x.to-p.x.from {
		size, width = 1.5, thin
	}
	for _, part := range p.Parts {
		for _, r := range part.Readings {
			at := func(v float64) point { return point{p.x.at(r.Hours), p.y.at(p.y.clamp(v))} }
			pen.line(ink, width, []point{at(r.Size - r.SD), at(r.Size + r.SD)})
			if pen.dot(ink, at(r.Size), size); r.Doubtful {
				pen.dot(paper, at(r.Size), size-width)
			}
		}
	}
}

// path is the level of a part, which nothing stands above that comes before it;
// that of the part in place ends in the level now.
func (p *panel) path(i int) []point {
	part := p.Parts[i]
	if part.Level == nil {
		return nil
	}
	var stops []float64
	if !math.IsNaN(part.Start) {
		stops = append(stops, part.From)
	}
	for _, r := range part.Readings {
		stops = append(stops, r.Hours)
	}
	if len(stops) == 0 {
		return nil
	}
	const steps = 40
	first, last := slices.Min(stops), slices.Max(stops)
	for k := range steps {
		stops = append(stops, first+(last-first)*float64(k)/steps)
	}
	slices.Sort(stops)
	var out []point
	least := math.Inf(1)
	for _, h := range slices.Backward(slices.Compact(stops)) {
		if size := part.Level(h); !math.IsNaN(size) {
			least = min(least, size)
			out = append(out, point{p.x.at(h), p.y.at(p.y.clamp(least))})
		}
	}
	slices.Reverse(out)
	return out
}

// drawLabels writes what the marks of a single panel are.
func (p *panel) drawLabels(pen *pen) {
	if p.Quantile == nil || len(p.fan) == 0 {
		pen.label(quiet, point{(p.x.from + p.x.to) / 2, (p.y.from + p.y.to) / 2}, middle, "Nothing is measured: no level, no forecast.")
		return
	}
	now := p.fan[0].q[2]
	at := point{p.x.at(p.Now), p.y.at(now)}
	pen.dot(brass, at, dotSize+0.6)
	pen.ring(paper, at, dotSize+0.6)
	if math.Abs(now) < (p.y.high-p.y.low)/1e4 {
		now = 0
	}
	words := "now about " + sizeFigure(now) + " " + p.unit.Name
	at.x -= 8
	if at.y += 12; at.y+small > p.y.to {
		at.y -= 30
	}
	if w := textWidth(words, small); at.x-w < p.x.from+4 {
		at.x = p.x.from + 4 + w
	}
	pen.label(brass, at, end, words)
	p.labelBand(pen, 0, "8 chances in 10", func(x float64) float64 { return p.fanAt(x, 0) - 13 })
	p.labelBand(pen, 1, "half of the chances", func(x float64) float64 {
		return p.fanAt(x+textWidth("half of the chances", small), 1) + 3
	})
}

// labelBand writes the words of a band at the first place that is free.
func (p *panel) labelBand(pen *pen, k int, words string, base func(x float64) float64) {
	now := p.x.at(p.Now)
	for _, share := range []float64{.55, .4, .7, .25} {
		at := point{now + (p.x.to-now)*share, 0}
		w := roomy * textWidth(words, small)
		if at.y = base(at.x); at.x+w > p.x.to-2 || at.y < p.y.from+4 || at.y > p.y.to-8 || !pen.free(at, start, words) {
			continue
		}
		if l := p.y.at(p.limit); l > at.y-4 && l < at.y+small+2 || k == 1 && at.y+small > p.fanAt(at.x, 2) {
			continue
		}
		pen.text(brass, at, start, words)
		return
	}
}
