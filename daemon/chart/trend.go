package chart

import (
	"fmt"
	"math"
	"strconv"
)

// Trend is what a file of readings says of one point, by hours of running
// instead of the calendar.
type Trend struct {
	Name  string
	Now   float64     // hours of the last fact
	Parts []TrendPart // oldest first; the last one is in place
	// Quantile is the size that is not exceeded at some hours, from Now on, with
	// a given probability; NaN or nil: not known.
	Quantile func(hours, prob float64) float64
	// Changed is the hours after which the rate has likely changed; NaN: none.
	Changed float64
	// Early, Likely and Late are the hours by which the limit is reached with a
	// chance of 10, 50 and 90 %; NaN: none, or too far ahead to say.
	Early, Likely, Late float64
	Over                bool // over the limit now, as likely as not
	// Verdict is what to know first, in a few words.
	Verdict string
}

// TrendPart is the life of one part of a point.
type TrendPart struct {
	From     float64 // hours when it was fitted
	Start    float64 // its size then; NaN: not known
	Work     string  // what was done then; empty: nothing to tell
	Readings []TrendReading
	// Level is the size that all readings tell of it at some hours, from its first
	// fact to its last; NaN or nil: not known.
	Level func(hours float64) float64
}

// TrendReading is one reading with its standard uncertainty.
type TrendReading struct {
	Hours, Size, SD float64
	Doubtful        bool // likely misread: drawn hollow
}

// TrendUnit is the unit of the sizes of trends, and another to show beside it.
type TrendUnit struct {
	Name  string
	Other string  // empty: none
	Per   float64 // of the other in one of the unit
}

// The sizes of small trends, and how many stand in a picture at most.
const (
	mostTrends  = 24
	trendWidth  = 250.0
	trendHeight = 165.0
)

// MostTrends is how many points one picture holds.
const MostTrends = mostTrends

// Trends draws points by their hours of running: a single one as large as a
// bearing chart, several side by side at one scale, in the order given, up to
// [MostTrends]. limit is NaN where there is none.
func Trends(all []Trend, unit TrendUnit, limit float64, title, desc string) Picture {
	all = all[:min(len(all), mostTrends)]
	s := sheet{unit: unit, limit: limit, columns: 1, size: Wide}
	if n := len(all); n > 1 {
		s.columns = 3
		if n <= 4 {
			s.columns = 2
		}
		rows := (n + s.columns - 1) / s.columns
		s.size = Size{float64(s.columns)*trendWidth + 52, float64(rows)*trendHeight + 34}
	}
	s.lay(all)
	return Picture{Title: short(title, 120), Desc: desc, Size: s.size, draw: s.draw}
}

// sheet is a picture of trends laid out.
type sheet struct {
	unit    TrendUnit
	limit   float64
	columns int
	size    Size
	panels  []*panel
}

func (s *sheet) single() bool { return len(s.panels) == 1 }

// lay gives every point its panel, and all panels one scale.
func (s *sheet) lay(all []Trend) {
	for _, t := range all {
		s.panels = append(s.panels, &panel{sheet: s, Trend: t})
	}
	x, y := scale{math.Inf(1), 1, 0, 0}, scale{0, 0, 0, 0}
	for _, p := range s.panels {
		low, high := p.span()
		x.low, x.high = min(x.low, low), max(x.high, high)
	}
	if len(s.panels) == 0 {
		x.low = 0
	}
	low, high := math.Inf(1), 0.0
	for _, p := range s.panels {
		p.foresee(x.high)
		l, h := p.reach()
		low, high = min(low, l), max(high, h)
	}
	if high <= 0 {
		high = 1
	}
	y.high = high * 1.08
	switch {
	case low < 0:
		y.low = low
	case s.single() && low > high*.6 && low < high:
		y.low = max(0, low-(high-low)*.3)
	}
	for i, p := range s.panels {
		p.x, p.y = x, y
		if s.single() {
			p.x.from, p.x.to, p.y.from, p.y.to = 46, s.size.Width-38, 34, s.size.Height-26
			continue
		}
		left := 44 + float64(i%s.columns)*trendWidth
		top := s.size.Height - 4 - float64(i/s.columns)*trendHeight
		p.x.from, p.x.to, p.y.from, p.y.to = left, left+trendWidth-16, top-trendHeight+14, top-22
		p.first = i%s.columns == 0
		p.lowest = i+s.columns >= len(s.panels)
	}
}

func (s *sheet) draw(p *pen) {
	if len(s.panels) == 0 {
		p.label(quiet, point{s.size.Width / 2, s.size.Height / 2}, middle, "No point has a reading.")
		return
	}
	for _, one := range s.panels {
		one.draw(p)
	}
}

// hoursFigure prints a tick of hours, thousands apart.
func hoursFigure(v, step float64) string {
	s := figure(v, step)
	if step >= 1 {
		for i := len(s) - 3; i > 0; i -= 3 {
			s = s[:i] + "," + s[i:]
		}
	}
	return s
}

// sizeFigure prints a size to three digits.
func sizeFigure(v float64) string {
	a := math.Abs(v)
	if a == 0 || a >= 1e6 || a < 1e-4 {
		return fmt.Sprintf("%.3g", v)
	}
	return strconv.FormatFloat(v, 'f', max(0, 2-int(math.Floor(math.Log10(a)))), 64)
}
