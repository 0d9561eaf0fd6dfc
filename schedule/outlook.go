package schedule

import (
	"cmp"
	"math"
	"slices"
	"time"

	"endshake/wear"
)

// fittedSD is the uncertainty in mm of a fitted size that names none
// (judgement, no source).
const fittedSD = 0.03

// cleanedSD is the uncertainty in mm that a strip and clean adds to a level: the
// dirt that filled the freedom, and the old oil, are gone (judgement, no source).
const cleanedSD = 0.03

// suppose is what an outlook takes for granted beside the log.
type suppose struct {
	// fitted: a part that is only thought of; its size counts as known, and a
	// date may be given before it was ever read.
	fitted bool
	// ahead is by how much wear goes faster from now on; zero: as it does. It is
	// a ratio of rates, whatever the power of exposure that wear goes by.
	ahead float64
}

// record is what the log holds of one bearing, as the filter takes it.
type record struct {
	parts []Part
	segs  []wear.Segment
	of    []int     // by segment: its part
	pair  wear.Pair // what rubs now
	oiled oilRun
	black Date // its oil was last found black with metal
	lent  bool // all are those of an earlier answer, not to be changed
}

// gather fills in what the log and the clock tell of a bearing, but for what is
// likely of it, and gives its record.
func (o *Outlook) gather(a *Assessment, m Model, st *TrainState) record {
	b := o.Bearing
	r, whole := a.lend(b.Code, st)
	if !r.lent {
		r.parts, r.pair = parts(a, st, b), b.Pair
		for i := range r.parts {
			r.pair = cmp.Or(r.parts[i].pair, r.pair)
		}
		r.black = a.blackResidue(b.Code)
	}
	if r.oiled.fresh.IsZero() {
		r.oiled, _ = oilRunOf(a, st, b)
	}
	b.Pair = r.pair
	o.Parts, o.use = r.parts, usageOf(a, st, m.params().B)
	if !r.oiled.fresh.IsZero() {
		o.oil(a, st, b, r.oiled.spans(st, a.Now), m.oil())
	}
	o.limits(a.Clock)
	if !whole || !o.use.plain(a.reuse.outlook(b.Code).use, later(a.LastEntry, b.FittedAt)) {
		r.segs, r.of = nil, nil
		r.segment(o)
		r.redraw(o.Limit)
	}
	return r
}

// look works out the outlook of one bearing. With an error it has no forecast,
// and is to be measured as policy says.
func look(a *Assessment, m Model, st *TrainState, arbor wear.Arbor, b wear.Bearing, s suppose) (o Outlook, err error) {
	err = o.look(a, m, st, arbor, b, s)
	return o, err
}

func (o *Outlook) look(a *Assessment, m Model, st *TrainState, arbor wear.Arbor, b wear.Bearing, s suppose) error {
	*o = Outlook{
		Bearing: b, Arbor: arbor, Train: st.Train, Counter: st.Train.Counter(),
		PerDay: st.PerDay * st.Train.PerRunHour(),
	}
	o.duty = dutyOf(st)
	per := st.Train.PerRunHour()
	o.Exposure = wear.Exposure{Lower: st.RunHours.Lower * per, Likely: st.RunHours.Likely * per, Upper: st.RunHours.Upper * per}
	r := o.gather(a, m, st)
	if s.fitted { // what is asked is how long it lasts at its own rate
		r.segs[len(r.segs)-1].Redrawn = false
	}
	if s.ahead > 0 {
		o.use.fit(r.parts)
		o.use.weigh(st.RunHours.Likely, o.use.last()*s.ahead)
	}
	b.Pair = r.pair
	o.Prior = r.priorOf(b, arbor, st.Train, a, m)
	p := forecast{a: a, m: m, st: st, o: o, segs: r.segs, today: DateOf(a.Now, a.Zone), suppose: s}
	var err error
	if was := a.reuse.outlook(b.Code); !st.unfit {
		if p.was = r.recall(o, was, m.params()); p.was != nil {
			o.Wear = was.Wear
		} else {
			if r.lent {
				r.parts, r.lent = undoubted(r.parts), false
				o.Parts = r.parts
			}
			if o.Wear, err = wear.Filter(o.Prior, m.params(), r.segs); err == nil {
				err = r.doubt(o.Prior, m.params())
			}
		}
	}
	if st.unfit || err != nil {
		p.unfit(m)
		return err
	}
	r.lent = false
	o.memo = &memo{record: r, learned: m.Learned, params: m.params(), found: -1}
	p.memo = o.memo
	p.make()
	return nil
}

// binding is the limit that the conservator holds a bearing to; nil: none.
func binding(b wear.Bearing) *wear.Limit {
	if b.Act != nil {
		return b.Act
	}
	return b.Watch
}

// parts puts a bearing's readings under the part that they were taken on.
func parts(a *Assessment, st *TrainState, b wear.Bearing) []Part {
	first := Part{From: b.FittedAt}
	if b.Fitted > 0 && !b.FittedAt.IsZero() {
		first.Start = startLevel(b.Fitted, b.FittedSD)
	}
	out := []Part{first}
	per := st.Train.PerRunHour()
	for i := range a.Entries {
		e := &a.Entries[i]
		if e.Kind == Cleaned && e.concerns(st.Train.Code) && (e.Bearing == "" || e.Bearing == b.Code) {
			last := &out[len(out)-1]
			if last.From.IsZero() || a.dayOf(e.At) != a.dayOf(last.From) { // what was fitted that day is clean
				last.Cleaned = append(last.Cleaned, e.At)
			}
		}
		if e.Bearing != b.Code {
			continue
		}
		switch {
		case e.Kind == Repaired:
			p := Part{From: e.At, Work: e.Work, pair: e.NewPair}
			if e.Fitted > 0 {
				p.Start = startLevel(e.Fitted, e.FittedSD)
			}
			out = append(out, p)
		case e.Kind == Measured && e.Reading != nil:
			last := &out[len(out)-1]
			value, sd := b.Corrected(*e.Reading)
			last.Readings = append(last.Readings, Point{
				At: e.At, Exposure: st.Running.At(e.At).Likely * per, Reading: *e.Reading, Entry: e.ID, By: e.By, Value: value, SD: sd,
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

// pairNow is the materials that rub now.
func pairNow(a *Assessment, b wear.Bearing) wear.Pair {
	e := newest(a.Entries, func(e *Entry) bool { return e.Kind == Repaired && e.Bearing == b.Code && e.NewPair != "" })
	if e != nil {
		return e.NewPair
	}
	return b.Pair
}

// segment turns the parts into what the filter takes. A repair that changes the
// materials starts the rate anew; a strip and clean carries the level on.
func (r *record) segment(o *Outlook) {
	for i, p := range r.parts {
		s := wear.Segment{Start: p.Start, H0: o.use.at(p.begins(o.use.begin))}
		cleaned := p.Cleaned
		for _, x := range p.Readings {
			for ; len(cleaned) > 0 && !cleaned[0].After(x.At); cleaned = cleaned[1:] {
				s = r.carry(s, i)
			}
			s.Readings = append(s.Readings, wear.Gauge{H: o.use.at(x.At), Y: x.Value, SD: x.SD})
		}
		if len(cleaned) > 0 {
			s = r.carry(s, i)
		}
		r.add(s, i)
	}
	pair := o.Bearing.Pair
	for i := range r.parts {
		if p := r.parts[i].pair; p != "" && p != pair {
			r.segs[slices.Index(r.of, i)].Fresh = true
			pair = p
		}
	}
}

func (r *record) add(s wear.Segment, part int) { r.segs, r.of = append(r.segs, s), append(r.of, part) }

// carry ends a segment of a part where it was cleaned, and gives the next. With
// no size known there is nothing to carry, and twice with no reading between
// is once.
func (r *record) carry(s wear.Segment, part int) wear.Segment {
	n := len(s.Readings)
	if n == 0 && s.Start == nil {
		return s
	}
	r.add(s, part)
	next := wear.Segment{H0: s.H0, Carry: cleanedSD}
	if n > 0 {
		next.H0 = s.Readings[n-1].H // the last fact; what it wore since is reckoned from there
	}
	return next
}

// redraw marks the repairs for excess wear: after one the rate may be another.
func (r *record) redraw(limit *wear.Limit) {
	for i := 1; i < len(r.parts) && limit != nil; i++ {
		before := r.parts[i-1].Readings
		if n := len(before); n > 0 && before[n-1].Value >= watchShare*limit.Size.MM() {
			s := &r.segs[slices.Index(r.of, i)]
			s.Redrawn = !s.Fresh
		}
	}
}

// doubt finds how likely each reading is misread, beside those of its own part
// and the parts before.
func (r *record) doubt(prior wear.Prior, params wear.Params) error {
	for i := range r.segs {
		part := r.of[i]
		if i+1 < len(r.segs) && r.of[i+1] == part {
			continue // not the last of its part
		}
		points := r.parts[part].Readings
		if len(points) == 0 || len(points) == 1 && r.parts[part].Start == nil {
			continue // nothing to hold it against
		}
		doubts, err := wear.Doubts(prior, params, r.segs[:i+1])
		if err != nil {
			return err
		}
		for k, d := range doubts[:min(len(doubts), len(points))] {
			points[len(points)-len(doubts)+k].Doubt = d
		}
	}
	return nil
}

// observed is over how much running the readings tell of the rate: the longest
// span, in units of exposure, in which one part was found at two sizes.
func observed(segs []wear.Segment) float64 {
	longest, first, known := 0.0, 0.0, false
	for _, s := range segs {
		if s.Fresh {
			longest = 0
		}
		if s.Carry == 0 {
			first, known = s.H0, s.Start != nil
		}
		for _, x := range s.Readings {
			if !known {
				first, known = x.H, true
			}
			longest = max(longest, x.H-first)
		}
	}
	return longest
}

// sized reports whether the present part has two sizes, so that a date may be
// given: readings with running between them, the size when fitted counting as
// one. Of a part that was cleaned, one reading since is enough.
func sized(segs []wear.Segment) bool {
	s := segs[len(segs)-1]
	n := len(s.Readings)
	switch {
	case n == 0:
		return false
	case s.Carry > 0:
		return true
	case s.Start != nil:
		return s.Readings[n-1].H > s.H0
	}
	return s.Readings[n-1].H > s.Readings[0].H
}

// dayAt is the day on which a train's run-hours reach a total: by the log where
// they have, else at its duty of late from now on, or from when the clock is to
// go again. What one that stands has not reached comes tomorrow at the soonest,
// for today it would slide from day to day. No answer lies more than farAhead
// days on.
func (a *Assessment) dayAt(st *TrainState, runHours float64) Date {
	return a.dayFrom(st, runHours, a.runsOn())
}

// dayFrom is dayAt for a train that runs on from an instant.
func (a *Assessment) dayFrom(st *TrainState, runHours float64, from time.Time) Date {
	now := st.RunHours.Likely
	if runHours <= now {
		at := st.Running.When(runHours, a.inCare())
		if at.IsZero() || at.After(a.Now) {
			at = a.Now
		}
		return a.dayOf(at)
	}
	days := (runHours - now) / st.PerDay
	if !(days < farAhead) {
		days = farAhead
	}
	// To a second, so that a rounding error does not cost a day.
	day := a.dayOf(from.Add(time.Duration(math.Round(days*24*3600)) * time.Second))
	if st.Going {
		return day
	}
	if tomorrow := a.dayOf(from).Add(1); day.Before(tomorrow) {
		return tomorrow
	}
	return day
}

// runsOn is from when a clock's trains run on: now, or when it is to go again.
func (a *Assessment) runsOn() time.Time {
	if a.Resting {
		return later(a.Now, a.Back.Start(a.Zone))
	}
	return a.Now
}

// farAhead is a hundred years: a day so far on stands for never.
const farAhead = 100 * 365

// dayOf is the day of an instant in the clock's zone.
func (a *Assessment) dayOf(t time.Time) Date { return DateOf(t, a.Zone) }
