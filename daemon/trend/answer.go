package trend

import (
	"fmt"
	"math"

	"endshake/wear"
)

// likely is the probability from which a reading is doubtful.
const likely = .5

// answer answers one point.
func (r *Report) answer(p *point) (Point, error) {
	h := r.history(p)
	post, err := r.filter(h)
	if err != nil {
		return Point{}, fmt.Errorf("%s: point %s: %w", r.how.Name, quote(p.name), err)
	}
	out := r.point(p, post)
	if !p.folded && post.Readings() > 0 {
		err = r.doubts(&out, p, h)
	}
	return out, err
}

func (r *Report) filter(h wear.History) (wear.Posterior, error) {
	return wear.Filter(r.learned.Prior(h.Group, h.Prior), r.learned.Params, h.Segments)
}

// per1000 turns a rate in units of exposure into one in the file's unit per 1000
// hours.
func (r *Report) per1000(rate float64) Num { return Num(rate * 1000 * r.k.hours / r.k.value) }

// point gives the figures of one point.
func (r *Report) point(p *point, post wear.Posterior) Point {
	out := Point{Point: p.name, Group: p.group, Readings: p.readings, Hours: p.last / r.k.hours,
		Level: none, LevelSD: none, Exponent: Num(r.learned.Params.B), At: []At{}, Doubtful: []Doubt{},
		Change: Change{Num(post.PChange()), none}, NextMeasurement: none}
	if post.Known() {
		l := post.LevelAt(p.last)
		out.Level, out.LevelSD = Num(l.Mean/r.k.value), Num(l.SD/r.k.value)
	}
	for i, rate := range post.RateQuantiles(.1, .5, .9) {
		*[]*Num{&out.RateLow, &out.Rate, &out.RateHigh}[i] = r.per1000(rate)
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
	out.Crossing = &Cross{}
	all := post.Crossings(limit, p.last)
	for i, to := range []*Num{&out.Crossing.P10, &out.Crossing.P50, &out.Crossing.P90} {
		if *to = Num(all[i].H / r.k.hours); all[i].State == wear.Beyond {
			*to, out.Crossing.BeyondHorizon = none, true
		}
	}
	likely, unseen := all[1], post.Crossing(limit, p.last, wear.UnseenAct)
	out.Crossing.Already = likely.State == wear.Already
	after := func(c wear.Crossing) float64 {
		if c.State == wear.Beyond {
			return math.Inf(1)
		}
		return c.H - p.last
	}
	out.NextMeasurement = Num((p.last + wear.LookAgain(after(unseen), after(likely), math.Inf(1))) / r.k.hours)
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
