package trend

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"endshake/daemon/chart"
	"endshake/wear"
)

// Picture draws the points: one large, several side by side, and of more than a
// page holds the most pressing, those that reach the limit soonest.
func (r *Report) Picture() (chart.Picture, error) {
	order := make([]int, len(r.Points))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return r.pressing(a, b) })
	order = order[:min(len(order), chart.MostTrends)]
	var all []chart.Trend
	for _, i := range order {
		t, err := r.trend(i)
		if err != nil {
			return chart.Picture{}, err
		}
		all = append(all, t)
	}
	title := "Readings and what they lead to: " + count(len(all), "point")
	if len(all) < len(r.Points) {
		title += fmt.Sprintf(", the most pressing of %s", grouped(float64(len(r.Points))))
	}
	desc := title + "."
	if len(all) == 1 {
		title = all[0].Name + " over its hours of running"
		desc = all[0].Name + ": " + all[0].Verdict + "."
	}
	return chart.Trends(all, r.chartUnit(), float64(r.Limit), title, desc), nil
}

// pressing compares two points: over the limit first, the farthest over before;
// then by when the limit is likely reached; without that, as in the file.
func (r *Report) pressing(a, b int) int {
	key := func(i int) (over, when float64) {
		p := &r.Points[i]
		switch {
		case p.Crossing == nil:
			return 0, math.Inf(1)
		case p.Crossing.Already:
			return -float64(p.Level), 0
		case !p.Crossing.P50.Real():
			return 0, math.MaxFloat64
		}
		return 0, float64(p.Crossing.P50) - p.Hours
	}
	overA, whenA := key(a)
	overB, whenB := key(b)
	return cmp.Or(cmp.Compare(whenA, whenB), cmp.Compare(overA, overB))
}

// chartUnit is the unit of the chart, with the other system beside it.
func (r *Report) chartUnit() chart.TrendUnit {
	u := chart.TrendUnit{Name: r.Unit}
	switch mm := r.how.mm; {
	case mm == 0:
	case mm == 1 || mm == millimetres["um"]:
		u.Other, u.Per = "thou", mm/millimetres["thou"]
	default:
		u.Other, u.Per = "mm", mm
	}
	return u
}

// trend is a point as the chart takes it.
func (r *Report) trend(i int) (chart.Trend, error) {
	in, p := r.log.points[i], &r.Points[i]
	history, _ := r.history(in)
	post, err := r.filter(history)
	if err != nil {
		return chart.Trend{}, fmt.Errorf("%s: point %s: %w", r.how.Name, quote(in.name), err)
	}
	t := chart.Trend{Name: p.Point, Now: p.Hours, Exponent: r.learned.Params.B, Changed: float64(p.Change.AfterHours),
		Early: math.NaN(), Likely: math.NaN(), Late: math.NaN(), Verdict: r.verdict(p)}
	if post.Known() {
		t.Quantile = func(hours, prob float64) float64 { return post.LevelQuantile(hours*r.k.hours, prob) / r.k.value }
	}
	if q, reach := r.learned.Params.Quicken*r.k.value, r.learned.Params.Reach/r.k.value; q != 0 {
		t.Even = func(size float64) float64 { return even(size, q, reach) }
	}
	if c := p.Crossing; c != nil {
		t.Early, t.Likely, t.Late, t.Over = float64(c.P10), float64(c.P50), float64(c.P90), c.Already
	}
	doubtful := map[float64]bool{}
	for _, d := range p.Doubtful {
		doubtful[float64(d.Row)] = true
	}
	for k, s := range r.log.parts(in) {
		seg := history.Segments[k]
		part := chart.TrendPart{From: seg.H0 / r.k.hours, Start: math.NaN()}
		if seg.Start != nil {
			part.Start = seg.Start.Mean / r.k.value
		}
		if s.turn != nil {
			part.Work = s.turn.work
		}
		for j, g := range seg.Readings {
			part.Readings = append(part.Readings, chart.TrendReading{Hours: g.H / r.k.hours, Size: g.Y / r.k.value, SD: g.SD / r.k.value,
				Doubtful: !in.folded && doubtful[float64(r.log.lines[s.from+j])]})
		}
		t.Parts = append(t.Parts, part)
	}
	return t, nil
}

// verdict is what to know of a point first.
func (r *Report) verdict(p *Point) string {
	switch c := p.Crossing; {
	case !p.Level.Real():
		return "nothing measured"
	case c == nil:
		return "about " + figure(float64(p.Level)) + " " + r.Unit
	case c.Already:
		return "over the limit"
	case !c.P50.Real():
		return "far from it"
	default:
		return "near " + grouped(roundHours(float64(c.P50), math.Round)) + " h"
	}
}

// history is a point's life as the filter takes it.
func (r *Report) history(p *point) (h wear.History, folded bool) {
	h = wear.History{Name: p.name, Group: p.group, Prior: r.physics}
	for _, s := range r.log.parts(p) {
		seg := wear.Segment{Readings: r.log.gauges[s.from:s.to:s.to]}
		if p.folded {
			seg.Readings = seg.Readings[:min(len(seg.Readings), mostReadings)]
		} else if seg.Readings = fold(seg.Readings); len(seg.Readings) < s.to-s.from {
			folded = true
		}
		if s.turn != nil {
			g := s.turn.gauge
			if seg.H0 = g.H; !math.IsNaN(g.Y) {
				seg.Start = &wear.Level{Mean: g.Y, SD: g.SD}
			}
		}
		h.Segments = append(h.Segments, seg)
	}
	return h, folded
}

// even turns sizes into a scale on which wear goes evenly, where its rate grows
// by a share q of itself for each unit of size from nothing up to reach.
func even(size, q, reach float64) float64 {
	in := min(max(0, size), reach)
	return size - in - math.Expm1(-q*in)/q + (math.Exp(-q*reach)-1)*max(0, size-reach)
}
