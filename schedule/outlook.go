package schedule

import (
	"math"
	"slices"
	"time"

	"endshake/wear"
)

// fittedSD is the uncertainty in mm of a fitted size that names none
// (judgement, no source).
const fittedSD = 0.03

// look works out the outlook of one bearing. With an error it has no forecast,
// and is to be measured as policy says.
func look(a Assessment, m Model, st TrainState, arbor wear.Arbor, b wear.Bearing) (Outlook, error) {
	o := Outlook{
		Bearing: b, Arbor: arbor, Train: st.Train, Counter: st.Train.Counter(),
		PerDay: st.PerDay * st.Train.PerRunHour(),
		Limit:  binding(b),
	}
	per := st.Train.PerRunHour()
	o.Exposure = wear.Exposure{Lower: st.RunHours.Lower * per, Likely: st.RunHours.Likely * per, Upper: st.RunHours.Upper * per}
	o.Parts = parts(a, st, b)
	segs, pair := segments(a, st, o.Parts, b)
	b.Pair = pair
	o.Prior = wear.RatePrior(b, arbor, st.Train)
	var err error
	if !st.unfit {
		o.Wear, err = wear.Filter(o.Prior, m.params(), segs)
	}
	p := forecast{a: a, st: st, o: &o, segs: segs, today: DateOf(a.Now, a.Zone)}
	if st.unfit || err != nil {
		p.unfit(m)
		return o, err
	}
	p.make()
	return o, nil
}

// binding is the limit that a bearing is held to; nil: none.
func binding(b wear.Bearing) *wear.Limit {
	if b.Act != nil {
		return b.Act
	}
	return b.Watch
}

// parts puts a bearing's readings under the part that they were taken on.
func parts(a Assessment, st TrainState, b wear.Bearing) []Part {
	first := Part{From: b.FittedAt}
	if b.Fitted > 0 && !b.FittedAt.IsZero() {
		first.Start = startLevel(b.Fitted, b.FittedSD)
	}
	out := []Part{first}
	per := st.Train.PerRunHour()
	for _, e := range a.Entries {
		if e.Bearing != b.Code {
			continue
		}
		switch {
		case e.Kind == Repaired:
			p := Part{From: e.At, Work: e.Work}
			if e.Fitted > 0 {
				p.Start = startLevel(e.Fitted, e.FittedSD)
			}
			out = append(out, p)
		case e.Kind == Measured && e.Reading != nil:
			last := &out[len(out)-1]
			last.Readings = append(last.Readings, Point{
				At: e.At, Exposure: st.Running.At(e.At).Likely * per, Reading: *e.Reading, Entry: e.ID, By: e.By,
			})
		}
	}
	return out
}

func startLevel(size, sd wear.Length) *wear.Level {
	l := &wear.Level{Mean: size.MM(), SD: sd.MM()}
	if sd == 0 {
		l.SD = fittedSD
	}
	return l
}

// segments turns parts into what the filter takes, exposure in its units, and
// gives the materials that rub now. A repair that changes them starts the rate
// anew.
func segments(a Assessment, st TrainState, parts []Part, b wear.Bearing) ([]wear.Segment, wear.Pair) {
	unit, per := st.Train.Counter().PerUnit(), st.Train.PerRunHour()
	out := make([]wear.Segment, 0, len(parts))
	for _, p := range parts {
		s := wear.Segment{H0: fittedAt(a, st, p) * per / unit, Start: p.Start}
		for _, r := range p.Readings {
			s.Readings = append(s.Readings, wear.Gauge{H: r.Exposure / unit, Y: r.Reading.Value.MM(), SD: r.Reading.SD()})
		}
		out = append(out, s)
	}
	pair, i := b.Pair, 0
	for _, e := range a.Entries {
		if e.Kind != Repaired || e.Bearing != b.Code {
			continue
		}
		i++
		if e.NewPair != "" {
			out[i].Fresh = e.NewPair != pair
			pair = e.NewPair
		}
	}
	return out, pair
}

// fittedAt is the run-hours at which a part was fitted. A part older than the
// log is taken as having run all the time before it: missing data is never
// read as a stop. One of unknown age starts with its first reading.
func fittedAt(a Assessment, st TrainState, p Part) float64 {
	begin := a.Clock.InCare.Start(a.Zone)
	switch {
	case p.From.IsZero():
		return 0
	case p.From.Before(begin):
		return -begin.Sub(p.From).Hours()
	}
	return st.Running.At(p.From).Likely
}

// observed is over how much running the readings tell of the rate: the longest
// span, in units of exposure, in which one part was found at two sizes.
func observed(segs []wear.Segment) float64 {
	longest := 0.0
	for _, s := range slices.Backward(segs) {
		longest = max(longest, span(s))
		if s.Fresh {
			break
		}
	}
	return longest
}

// span is the running between the first and the last known size of a part.
func span(s wear.Segment) float64 {
	n := len(s.Readings)
	switch {
	case n == 0:
		return 0
	case s.Start != nil:
		return s.Readings[n-1].H - s.H0
	}
	return s.Readings[n-1].H - s.Readings[0].H
}

// dayAt is the day on which a train's run-hours reach a total: by the log where
// they have, else at its duty of late from now on, or from when the clock is to
// go again. No answer lies more than farAhead days on.
func (a Assessment) dayAt(st TrainState, runHours float64) Date {
	now := st.RunHours.Likely
	if runHours <= now {
		at := st.Running.When(runHours, a.Clock.InCare.Start(a.Zone))
		if at.IsZero() || at.After(a.Now) {
			at = a.Now
		}
		return a.dayOf(at)
	}
	from := a.Now
	if back := a.Back.Start(a.Zone); a.Resting && back.After(from) {
		from = back
	}
	days := (runHours - now) / st.PerDay
	if !(days < farAhead) {
		days = farAhead
	}
	// To a second, so that a rounding error does not cost a day.
	return a.dayOf(from.Add(time.Duration(math.Round(days*24*3600)) * time.Second))
}

// farAhead is a hundred years: a day so far on stands for never.
const farAhead = 100 * 365

// dayOf is the day of an instant in the clock's zone.
func (a Assessment) dayOf(t time.Time) Date { return DateOf(t, a.Zone) }
