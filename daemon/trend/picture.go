package trend

import (
	"cmp"
	"context"
	"fmt"
	"math"

	"endshake/daemon/chart"
	"endshake/wear"
)

// Picture draws the points: one large, several side by side, and of more than a
// page holds the most pressing, those that reach the limit soonest. The error is
// that of the context.
func (r *Report) Picture(ctx context.Context) (chart.Picture, error) {
	pressing, err := r.pressing(ctx)
	if err != nil {
		return chart.Picture{}, err
	}
	var all []chart.Trend
	for _, p := range pressing {
		t, err := r.trend(p)
		if err != nil {
			return chart.Picture{}, err
		}
		all = append(all, t)
	}
	title := "Readings and what they lead to: " + count(len(all), "point")
	if n := len(r.log.points); len(all) < n {
		title += fmt.Sprintf(", the most pressing of %s", grouped(float64(n)))
	}
	desc := title + "."
	if len(all) == 1 {
		title = all[0].Name + " over its hours of running"
		desc = all[0].Name + ": " + all[0].Verdict + "."
	}
	return chart.Trends(all, r.chartUnit(), float64(r.Limit), title, desc), nil
}

// urgency is how soon a point reaches the limit, in units from its last row, and
// how far it is below it; without a limit or a level it comes last.
type urgency struct {
	of          *point
	when, below float64
}

// before compares two: over the limit first, the farthest over before; then by
// when the limit is likely reached; otherwise as in the file.
func (u urgency) before(o urgency) int {
	return cmp.Or(cmp.Compare(u.when, o.when), cmp.Compare(u.below, o.below), cmp.Compare(u.of.number, o.of.number))
}

// pressing gives the points to draw, the most pressing first.
func (r *Report) pressing(ctx context.Context) ([]*point, error) {
	if math.IsNaN(r.how.limit) {
		return r.log.points[:min(len(r.log.points), chart.MostTrends)], nil
	}
	first := least[urgency]{most: chart.MostTrends, compare: urgency.before}
	err := inOrder(ctx, len(r.log.points), func(i int) (urgency, error) { return r.urgency(r.log.points[i]) },
		func(u urgency) error {
			first.add(u)
			return nil
		})
	var out []*point
	for _, u := range first.sorted() {
		out = append(out, u.of)
	}
	return out, err
}

func (r *Report) urgency(p *point) (urgency, error) {
	post, err := r.filter(r.history(p))
	if err != nil {
		return urgency{}, fmt.Errorf("%s: point %s: %w", r.how.Name, quote(p.name), err)
	}
	limit := r.how.limit * r.k.value
	switch c := post.Crossing(limit, p.last, .5); c.State {
	case wear.Already:
		return urgency{p, 0, limit - post.LevelAt(p.last).Mean}, nil
	case wear.At, wear.Beyond:
		return urgency{p, c.H - p.last, 0}, nil
	}
	return urgency{p, math.Inf(1), 0}, nil
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
func (r *Report) trend(in *point) (chart.Trend, error) {
	history := r.history(in)
	post, err := r.filter(history)
	if err != nil {
		return chart.Trend{}, fmt.Errorf("%s: point %s: %w", r.how.Name, quote(in.name), err)
	}
	p, err := r.answer(in)
	if err != nil {
		return chart.Trend{}, err
	}
	t := chart.Trend{Name: p.Point, Now: p.Hours, Changed: float64(p.Change.AfterHours),
		Early: math.NaN(), Likely: math.NaN(), Late: math.NaN(), Verdict: r.verdict(&p)}
	if post.Known() {
		t.Quantile = func(hours, prob float64) float64 { return post.LevelQuantile(hours*r.k.hours, prob) / r.k.value }
	}
	past := post.Past(r.learned.Prior(history.Group, history.Prior), r.learned.Params, history.Segments)
	if c := p.Crossing; c != nil {
		t.Early, t.Likely, t.Late, t.Over = float64(c.P10), float64(c.P50), float64(c.P90), c.Already
	}
	doubtful := map[float64]bool{}
	for _, d := range p.Doubtful {
		doubtful[float64(d.Row)] = true
	}
	for k, s := range r.log.parts(in) {
		seg := history.Segments[k]
		part := chart.TrendPart{From: seg.H0 / r.k.hours, Start: math.NaN(),
			Level: func(hours float64) float64 { return past.At(k, hours*r.k.hours) / r.k.value }}
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
