package trend

import (
	"context"
	"fmt"
	"io"
	"math"

	"endshake/wear"
)

// Report is the answer to a file: what its points have in common, and what it
// takes to answer and draw each of them.
type Report struct {
	Document
	how     *settings
	k       scales
	log     *log
	learned wear.Learned
	physics wear.Prior
}

// falling is what is said of a file of things that become smaller.
const falling = "Most values fall with the hours. Only growth is understood: give what is lost instead of what is left."

// Run reads a CSV file and learns from it; the package's own words say what the
// file must be. The error is a sentence with file, line and column where the
// file is to blame, or that of the options, the reader or the context.
func Run(ctx context.Context, in io.Reader, o Options) (*Report, error) {
	s, err := o.understand()
	if err != nil {
		return nil, err
	}
	l, err := read(ctx, in, s)
	if err != nil {
		return nil, err
	}
	r := &Report{how: s, log: l}
	if r.k, err = l.scale(s); err != nil {
		return nil, err
	}
	r.Unit, r.RateUnit, r.Limit, r.Gauge = s.Unit, s.Unit+" per 1000 hours", Num(s.limit), Num(s.gauge)
	if l.falls() {
		note := falling
		r.Note = &note
	}
	l.fold()
	r.physics = wear.RatePrior(wear.Bearing{}, wear.Arbor{}, wear.Train{Kind: wear.Going})
	if err := r.learn(ctx); err != nil {
		return nil, fmt.Errorf("%s: %w", s.Name, err)
	}
	return r, nil
}

// learn finds what the points have in common, and how well that would have
// forecast them.
func (r *Report) learn(ctx context.Context) (err error) {
	some := r.log.sample(mostSampled)
	fleet := make([]wear.History, len(some))
	for i, p := range some {
		fleet[i] = r.history(p)
	}
	how := wear.Teaching{Plain: r.how.Plain, Guessed: r.log.guessed}
	if r.learned, err = wear.Learn(ctx, fleet, how); err != nil {
		return err
	}
	if r.Learned, err = r.lesson(); err != nil {
		return err
	}
	if len(some) < len(r.log.points) {
		r.Learned.Sample = len(some)
	}
	if r.how.TrackRecord {
		t, err := wear.TrackRecord(ctx, fleet, how, r.how.Folds)
		if err != nil {
			return err
		}
		r.TrackRecord = &Track{r.versus(t.Next), r.versus(t.Last)}
	}
	return nil
}

// lesson says what was learned.
func (r *Report) lesson() (Lesson, error) {
	l := r.learned
	out := Lesson{Taught: l.Taught, Points: l.Bearings, Readings: l.Readings, Exponent: Num(l.Params.B),
		Quickening: Num(l.Params.Quicken * r.k.value), GaugeFactor: Num(l.Params.C), Spread: Num(l.Om), Groups: []Group{}}
	ages, sizes := map[string][]float64{}, map[string][]float64{}
	for _, p := range r.log.points {
		ages[p.group] = append(ages[p.group], p.age())
		parts := r.log.parts(p)
		if _, last := r.log.ends(parts[len(parts)-1]); !math.IsNaN(last) {
			sizes[p.group] = append(sizes[p.group], last)
		}
	}
	for _, name := range r.log.names() {
		rate, err := r.typical(name, median(ages[name]), median(sizes[name]))
		if err != nil {
			return out, err
		}
		out.Groups = append(out.Groups, Group{name, len(ages[name]), rate})
	}
	return out, nil
}

// typical is the rate to be expected of a part of a group, of some age in units
// and some size, before anything else is known of it.
func (r *Report) typical(group string, age, size float64) (Num, error) {
	seen := wear.Segment{Readings: []wear.Gauge{{H: age, Y: size, SD: finest}}}
	post, err := r.filter(wear.History{Group: group, Prior: r.physics, Segments: []wear.Segment{seen}})
	if err != nil {
		return none, fmt.Errorf("group %s: %w", quote(group), err)
	}
	rate, _ := post.Rate()
	return r.per1000(rate), nil
}

// versus scales a score back.
func (r *Report) versus(v wear.Versus) Versus {
	return Versus{r.score(v.Ours), r.score(v.StraightLine)}
}

func (r *Report) score(s wear.Score) Score {
	if s.Forecasts == 0 {
		return Score{0, none, none, none, none}
	}
	return Score{s.Forecasts, Num(s.CRPS / r.k.value), Num(s.MAE / r.k.value), Num(s.Cover80), Num(s.Cover90)}
}
