package schedule

import (
	"context"
	"fmt"
	"slices"
	"time"

	"endshake/wear"
)

// When the state of the oil comes into force (judgement, no source).
const (
	// oilGain is the least gain in the score of next readings, as a share.
	oilGain = .02
	// oilForecasts is how many forecasts the score must rest on.
	oilForecasts = 30
	// folds is in how many parts the fleet is scored.
	folds = 4
)

// Histories gives the life of every bearing of a fleet that was ever measured
// and whose log fits together, for the fleet to learn from. The log is by
// Clock.Slug; of the model only its settings and its weighting by oil count.
func Histories(fleet Fleet, log map[string][]Entry, m Model, now time.Time) []wear.History {
	var out []wear.History
	for _, c := range fleet.Clocks {
		site, _ := fleet.Site(c.Site)
		a := open(Facts{Clock: c, Site: site, Entries: log[c.Slug], Model: m}, now)
		for _, st := range a.Trains {
			for _, arbor := range st.Train.Arbors {
				for _, b := range arbor.Bearings {
					if h, ok := historyFor(&a, m, &st, arbor, b); ok {
						out = append(out, h)
					}
				}
			}
		}
	}
	return out
}

// historyFor is the life of one bearing; what the filter would refuse is left
// out, for it is shown as a problem of its clock.
func historyFor(a *Assessment, m Model, st *TrainState, arbor wear.Arbor, b wear.Bearing) (wear.History, bool) {
	if st.unfit {
		return wear.History{}, false
	}
	o := Outlook{Bearing: b}
	r := o.gather(a, m, st)
	if !slices.ContainsFunc(r.segs, func(s wear.Segment) bool { return len(s.Readings) > 0 }) {
		return wear.History{}, false
	}
	b.Pair = r.pair
	physics := wear.RatePrior(b, arbor, st.Train)
	plain := m.params()
	plain.Kappa = 0 // all that is asked is whether it can be filtered
	if _, err := wear.Filter(physics, plain, r.segs); err != nil {
		return wear.History{}, false
	}
	return wear.History{Name: a.Clock.Slug + "/" + b.Code, Group: Group(b, arbor, st.Train), Prior: physics, Segments: r.segs}, true
}

// Teach learns from the whole fleet and scores how well its readings would have
// been forecast, with running weighted by the state of the oil and without.
// The weighting comes into force where it does better by a fiftieth over
// thirty forecasts or more. The version is left for whoever stores it.
//
// A lesson that moves a date may take a task off the list that was due by the
// one before it: an answer rests on the log and the newest lesson alone, the
// same after a restart, and to hold the task it would have to rest on every
// lesson since the last entry.
//
// It takes seconds to minutes; errors are those of the context, or name a
// history that cannot be learned from.
func Teach(ctx context.Context, fleet Fleet, log map[string][]Entry, now time.Time) (Learned, error) {
	out := Learned{FittedAt: now, OilLives: learnOil(oilsOf(fleet, log, now))}
	how := wear.Teaching{}
	with := Histories(fleet, log, Model{}, now)
	var err error
	if out.Model, err = wear.Learn(ctx, with, how); err != nil {
		return Learned{}, err
	}
	if out.Track, err = wear.TrackRecord(ctx, with, how, folds); err != nil {
		return Learned{}, fmt.Errorf("score the fleet's forecasts: %w", err)
	}
	if oiled(fleet) {
		// The weights hang on the exponent that was learned without them.
		weighted := Histories(fleet, log, Model{Learned: &Learned{Model: out.Model, OilInForce: true, OilLives: out.OilLives}}, now)
		if out.WithOil, err = wear.TrackRecord(ctx, weighted, how, folds); err != nil {
			return Learned{}, fmt.Errorf("score the fleet's forecasts by its oil: %w", err)
		}
		if out.OilInForce = oilHelps(out.Track, out.WithOil); out.OilInForce {
			if out.Model, err = wear.Learn(ctx, weighted, how); err != nil {
				return Learned{}, err
			}
		}
	}
	return out, nil
}

// oiled reports whether any oil of the fleet is followed.
func oiled(f Fleet) bool {
	return slices.ContainsFunc(f.Clocks, Clock.oiled)
}

func (c Clock) oiled() bool {
	return slices.ContainsFunc(c.Policies, func(p Policy) bool { return p.Task == Oiling })
}

// oilHelps reports whether weighting by oil forecasts next readings better.
func oilHelps(plain, weighted wear.Track) bool {
	x, y := plain.Next.Ours, weighted.Next.Ours
	return y.Forecasts >= oilForecasts && x.Forecasts == y.Forecasts && y.CRPS <= (1-oilGain)*x.CRPS
}
