package schedule

import (
	"math"
	"slices"
	"sort"
	"time"

	"endshake/wear"
)

// usage is how much a bearing has been used, as its wear goes by it: its
// running, in units of exposure, where the weighting by oil is in force worth
// more with the oil old or gone. It is linear in run-hours between its knots.
type usage struct {
	running    wear.Running
	per, unit  float64   // of the counter: in an hour of running, and in a unit
	begin, now time.Time // what the running is known from and to
	from       time.Time // when it runs on: now, or the end of a rest
	perDay     float64   // run-hours a day from then on
	knots      []knot    // by run-hours; none: each hour counts as it is
}

// knot is where another weight begins: at so many run-hours the weighted ones
// are so many, and grow by slope from there.
type knot struct{ run, worn, slope float64 }

// usageOf is the plain usage of a train's bearings.
func usageOf(a Assessment, st TrainState) usage {
	u := usage{
		running: st.Running, per: st.Train.PerRunHour(), unit: st.Train.Counter().PerUnit(),
		begin: a.Clock.InCare.Start(a.Zone), now: a.Now, from: a.Now, perDay: st.PerDay,
	}
	if back := a.Back.Start(a.Zone); a.Resting && back.After(a.Now) {
		u.from = back
	}
	return u
}

// weigh lets running count by so much from so many run-hours on.
func (u *usage) weigh(run, slope float64) {
	if n := len(u.knots); n > 0 && u.knots[n-1].run >= run {
		u.knots[n-1].slope = slope
		return
	}
	u.knots = append(slices.Clip(u.knots), knot{run, u.worn(run), slope})
}

// last is the weight of running from now on.
func (u usage) last() float64 {
	if n := len(u.knots); n > 0 {
		return u.knots[n-1].slope
	}
	return 1
}

// worn is the weighted run-hours of plain ones. Before the first knot, and so
// before the log, each counts as it is.
func (u usage) worn(run float64) float64 {
	i := sort.Search(len(u.knots), func(i int) bool { return u.knots[i].run > run }) - 1
	if i < 0 {
		return run
	}
	k := u.knots[i]
	return k.worn + (run-k.run)*k.slope
}

// run is the plain run-hours of weighted ones.
func (u usage) run(worn float64) float64 {
	i := sort.Search(len(u.knots), func(i int) bool { return u.knots[i].worn > worn }) - 1
	if i < 0 {
		return worn
	}
	k := u.knots[i]
	return k.run + (worn-k.worn)/k.slope
}

// hours is the run-hours at an instant. Before the log it is taken as going all
// the time: missing data is never read as a stop.
func (u usage) hours(t time.Time) float64 {
	switch {
	case t.Before(u.begin):
		return -u.begin.Sub(t).Hours()
	case t.After(u.from):
		return u.running.At(u.now).Likely + t.Sub(u.from).Hours()/24*u.perDay
	case t.After(u.now):
		t = u.now
	}
	return u.running.At(t).Likely
}

// at is the exposure in units at an instant.
func (u usage) at(t time.Time) float64 { return u.worn(u.hours(t)) * u.per / u.unit }

// aYear is the exposure in units of a year from now on.
func (u usage) aYear() float64 { return u.perDay * u.last() * u.per / u.unit * 365.25 }

// Units is the exposure, in the units that Wear goes by, at an instant: by the
// log up to now, and at the duty to expect beyond. It differs from the
// exposure on the train's counter where running is weighted by the state of
// the oil.
func (o Outlook) Units(at time.Time) float64 { return o.use.at(at) }

// oilSpan is running with the oil in one state, in run-hours.
type oilSpan struct {
	from, to float64
	state    wear.OilState
}

// oilSpans tells how a bearing's oil was while it ran, by its oiling policy:
// good until its oiling is due, aged until twice the interval, then dry
// (judgement, no source). It is taken as freshly oiled on the first day in
// care, as oiling is due from there, and at a repair. ok is false without a
// policy.
func oilSpans(a Assessment, st TrainState, b wear.Bearing) (spans []oilSpan, ok bool) {
	p, ok := a.Clock.policy(Oiling, st.Train.Code, b.Code)
	if !ok {
		return nil, false
	}
	fresh := []time.Time{a.Clock.InCare.Start(a.Zone)}
	for _, e := range a.Entries {
		oiled := (e.Kind == Oiled || e.Kind == Cleaned) && e.concerns(st.Train.Code) && (e.Bearing == "" || e.Bearing == b.Code)
		if oiled || e.Kind == Repaired && e.Bearing == b.Code {
			fresh = append(fresh, e.At)
		}
	}
	for i, at := range fresh {
		until := a.Now
		if i+1 < len(fresh) {
			until = fresh[i+1]
		}
		from := at
		for _, s := range []struct {
			state     wear.OilState
			intervals int
		}{{wear.Good, 1}, {wear.Aged, 2}, {wear.Dry, 0}} {
			end := until
			if s.intervals > 0 {
				end = earlier(until, a.oilLasts(p, st, at, s.intervals))
			}
			if x, y := st.Running.At(from).Likely, st.Running.At(end).Likely; y > x {
				spans = append(spans, oilSpan{x, y, s.state})
			}
			from = end
		}
	}
	return spans, true
}

// oilLasts is when so many intervals of an oiling policy are over.
func (a Assessment) oilLasts(p Policy, st TrainState, at time.Time, intervals int) time.Time {
	never := at.AddDate(200, 0, 0)
	end := never
	if p.Days > 0 {
		end = a.dayOf(at).Add(p.Days * intervals).Start(a.Zone)
	}
	if p.RunHours > 0 {
		if t := st.Running.When(st.Running.At(at).Likely+p.RunHours*float64(intervals), at); !t.IsZero() {
			end = earlier(end, t)
		}
	}
	return end
}

func earlier(a, b time.Time) time.Time {
	if b.Before(a) {
		return b
	}
	return a
}

// mixOf is the shares of running since so many run-hours in each state of the
// oil; ok is false where it has not run.
func mixOf(spans []oilSpan, since float64) (w OilWear, ok bool) {
	sum := 0.0
	for _, s := range spans {
		run := s.to - math.Max(s.from, since)
		if run <= 0 {
			continue
		}
		sum += run
		switch s.state {
		case wear.Good:
			w.Good += run
		case wear.Aged:
			w.Aged += run
		case wear.Dry:
			w.Dry += run
		}
	}
	if sum == 0 {
		return OilWear{Good: 1}, false
	}
	w.Good, w.Aged, w.Dry = w.Good/sum, w.Aged/sum, w.Dry/sum
	return w, true
}

// coefficient is the mean wear coefficient of the mix; 0 for unknown materials.
func (w OilWear) coefficient(p wear.Pair) float64 {
	return wear.MixedCoefficient(p, w.Good, w.Aged, w.Dry)
}

// late is the share of wear that oil always good would have saved.
func (w OilWear) late(p wear.Pair) float64 {
	good, _, _ := wear.Coefficient(p, wear.Good)
	if k := w.coefficient(p); k > 0 {
		return 1 - good/k
	}
	return 0
}

// oiledEvery is the mix that comes of oiling every so many days an oil that
// lasts so many.
func oiledEvery(days, lasts int) OilWear {
	n, l := float64(days), float64(lasts)
	good := math.Min(n, l)
	aged := math.Min(n-good, l)
	return OilWear{Good: good / n, Aged: aged / n, Dry: (n - good - aged) / n}
}

// latelyMix is the mix of the last three years, to be expected ahead.
func latelyMix(a Assessment, st TrainState, spans []oilSpan) OilWear {
	mix, _ := mixOf(spans, st.Running.At(a.Now.AddDate(-recent, 0, 0)).Likely)
	return mix
}

// weighByOil weights a usage by the state of the oil.
func weighByOil(u *usage, a Assessment, st TrainState, b wear.Bearing, spans []oilSpan) {
	usual := wear.WeightedCoefficient(b.Pair, b.In)
	if len(spans) == 0 || !(usual > 0) {
		return
	}
	for _, s := range spans {
		u.weigh(s.from, wear.OilWeight(b.Pair, b.In, s.state))
	}
	u.weigh(st.RunHours.Likely, latelyMix(a, st, spans).coefficient(b.Pair)/usual)
}

// oil fills in what the oil did to the present part and, where that is in
// force, weights the running by it.
func (o *Outlook) oil(a Assessment, st TrainState, b wear.Bearing, spans []oilSpan, inForce bool) {
	from := 0.0
	if p := o.Parts[len(o.Parts)-1]; !p.From.IsZero() {
		from = o.use.hours(p.From)
	}
	if mix, ran := mixOf(spans, from); ran {
		mix.Late, mix.InForce = mix.late(b.Pair), inForce
		o.Oil = &mix
	}
	if inForce {
		weighByOil(&o.use, a, st, b, spans)
	}
}
