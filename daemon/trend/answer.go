package trend

import (
	"context"
	"fmt"
	"math"

	"endshake/wear"
)

// unseen is the chance of being over the limit that may be run before somebody
// measures again.
const unseen = .05

// likely is the probability from which a reading is doubtful.
const likely = .5

// answer fills in the document.
func (r *Report) answer(ctx context.Context, fleet []wear.History) error {
	r.Unit, r.RateUnit = r.how.Unit, r.how.Unit+" per 1000 hours"
	r.Limit, r.Gauge = Num(r.how.limit), Num(r.how.gauge)
	r.Points = make([]Point, len(fleet))
	err := each(ctx, len(fleet), func(i int) error {
		p := r.log.points[i]
		post, err := r.filter(fleet[i])
		if err != nil {
			return fmt.Errorf("%s: point %s: %w", r.how.Name, quote(p.name), err)
		}
		r.Points[i] = r.point(p, post)
		if !p.folded && post.Readings() > 0 {
			err = r.doubts(&r.Points[i], p, fleet[i])
		}
		return err
	})
	r.Learned = r.lesson()
	return err
}

func (r *Report) filter(h wear.History) (wear.Posterior, error) {
	return wear.Filter(r.learned.Prior(h.Group, h.Prior), r.learned.Params, h.Segments)
}

// lesson says what was learned.
func (r *Report) lesson() Lesson {
	l := r.learned
	out := Lesson{Taught: l.Taught, Points: l.Bearings, Readings: l.Readings, Exponent: Num(l.Params.B),
		Quickening: Num(l.Params.Quicken * r.k.value), GaugeFactor: Num(l.Params.C), Spread: Num(l.Om), Groups: []Group{}}
	ages, levels, members := map[string][]float64{}, map[string][]float64{}, map[string]int{}
	for i, p := range r.log.points {
		members[p.group]++
		ages[p.group] = append(ages[p.group], p.age())
		if level := r.Points[i].Level; level.Real() {
			levels[p.group] = append(levels[p.group], float64(level))
		}
	}
	for _, name := range r.log.names() {
		rate := math.Exp(l.Prior(name, r.physics).Mu) * r.perThousand(median(ages[name]), median(levels[name]))
		out.Groups = append(out.Groups, Group{name, members[name], Num(rate)})
	}
	return out
}

// perThousand turns a rate as the filter has it into growth per 1000 hours, for
// a part of some age in units and some size: what it will grow by in the next
// unit.
func (r *Report) perThousand(age, level float64) float64 {
	p := r.learned.Params
	quick := math.Exp(p.Quicken * min(max(0, level*r.k.value), p.Reach))
	return quick * (math.Pow(age+1, p.B) - math.Pow(age, p.B)) * 1000 * r.k.hours / r.k.value
}

// point answers one point.
func (r *Report) point(p *point, post wear.Posterior) Point {
	out := Point{Point: p.name, Group: p.group, Readings: p.readings, Hours: p.last / r.k.hours,
		Level: none, LevelSD: none, Exponent: Num(r.learned.Params.B), At: []At{}, Doubtful: []Doubt{},
		Change: Change{Num(post.PChange()), none}, NextMeasurement: none}
	if post.Known() {
		l := post.LevelAt(p.last)
		out.Level, out.LevelSD = Num(l.Mean/r.k.value), Num(l.SD/r.k.value)
	}
	for i, rate := range post.RateQuantiles(.1, .5, .9) {
		*[]*Num{&out.RateLow, &out.Rate, &out.RateHigh}[i] = Num(rate * 1000 * r.k.hours / r.k.value)
	}
	if i := post.ChangeAfter(); i >= 0 {
		parts := r.log.parts(p)
		out.Change.AfterHours = Num(r.log.gauges[parts[len(parts)-1].from+i].H / r.k.hours)
	}
	for _, h := range r.how.At {
		out.At = append(out.At, r.at(p, post, h))
	}
	if !math.IsNaN(r.how.limit) && post.Known() {
		r.crossing(&out, p, post)
	}
	return out
}

// at forecasts a reading at some hours.
func (r *Report) at(p *point, post wear.Posterior, hours float64) At {
	out := At{hours, none, none, none, none, none, none}
	h := hours * r.k.hours
	if h < p.last || !post.Known() {
		return out
	}
	sd := r.how.gauge * r.k.value
	out.Mean = Num(post.Forecast(h, sd).Mean / r.k.value)
	for _, q := range []struct {
		to   *Num
		prob float64
	}{{&out.Q05, .05}, {&out.Q10, .1}, {&out.Q50, .5}, {&out.Q90, .9}, {&out.Q95, .95}} {
		*q.to = Num(post.ReadingQuantile(h, sd, q.prob) / r.k.value)
	}
	return out
}

// crossing says when the limit is reached, and when to measure again.
func (r *Report) crossing(out *Point, p *point, post wear.Posterior) {
	limit := r.how.limit * r.k.value
	cross := func(prob float64) (float64, wear.CrossingState) {
		c := post.Crossing(limit, p.last, prob)
		if c.State == wear.Beyond {
			return math.NaN(), c.State
		}
		return c.H, c.State
	}
	out.Crossing = &Cross{}
	var half float64
	for _, q := range []struct {
		to   *Num
		prob float64
	}{{&out.Crossing.P10, .1}, {&out.Crossing.P50, .5}, {&out.Crossing.P90, .9}} {
		h, state := cross(q.prob)
		*q.to = Num(h / r.k.hours)
		if state == wear.Beyond {
			out.Crossing.BeyondHorizon = true
		}
		if q.prob == .5 {
			out.Crossing.Already = state == wear.Already
			half = p.last + (h-p.last)/2
		}
	}
	next, _ := cross(unseen)
	if half < next {
		next = half
	}
	out.NextMeasurement = Num(next / r.k.hours)
}

// doubts names the readings of the present part that were likely misread.
func (r *Report) doubts(out *Point, p *point, h wear.History) error {
	d, err := wear.Doubts(r.learned.Prior(h.Group, h.Prior), r.learned.Params, h.Segments)
	if err != nil {
		return fmt.Errorf("%s: point %s: %w", r.how.Name, quote(p.name), err)
	}
	parts := r.log.parts(p)
	from := parts[len(parts)-1].from
	for i, prob := range d {
		if prob >= likely {
			out.Doubtful = append(out.Doubtful, Doubt{int(r.log.lines[from+i]), Num(prob)})
		}
	}
	return nil
}
