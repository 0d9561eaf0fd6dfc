package schedule

import (
	"math"
	"slices"
	"time"

	"endshake/wear"
)

// history is what tells whether a train was going, as far as it was read. It may
// be read on in a copy: nothing of it hangs on what comes later in the log.
type history struct {
	c       Clock
	zone    *time.Location
	t       wear.Train
	begin   time.Time
	reserve time.Duration
	run     *wear.RunLog // nil: there is nothing to start from, and err says why
	err     error
	from    []int // by event: the place of its entry in the log
	// vague: how much of the wind is left cannot be told, since the train was
	// wound in part, or stopped at an unknown instant.
	vague bool
	// mixed: the events are out of order, for a cut is logged after it began.
	mixed bool
	// What else is asked of the log of a train: how often it was wound, when in
	// full for the last time, and when it was started.
	windings int
	woundAt  time.Time
	starts   []time.Time
}

// historyOf picks a train's history from an effective log.
func historyOf(c Clock, zone *time.Location, log []Entry, t wear.Train) *history {
	h := &history{c: c, zone: zone, t: t, begin: c.InCare.Start(zone).In(zone)}
	if t.Drive == wear.HandWound {
		h.reserve = t.Run()
	}
	h.run, h.err = wear.NewRunLog(h.begin, h.reserve)
	h.read(log, 0)
	return h
}

// clone is a copy that may be read on.
func (h *history) clone() *history {
	next := *h
	if h.run != nil {
		next.run = h.run.Clone()
	}
	next.from, next.starts = slices.Clip(h.from), slices.Clip(h.starts)
	return &next
}

// read takes the entries of a log from one on; those before were read.
func (h *history) read(log []Entry, next int) {
	for i := next; i < len(log); i++ {
		if e := &log[i]; e.concerns(h.t.Code) {
			h.take(log, i, e)
		}
	}
	h.order()
}

// take takes an entry that concerns the train.
func (h *history) take(log []Entry, i int, e *Entry) {
	c, t := &h.c, &h.t
	switch e.Kind {
	case Wound, Inspected:
		h.looked(i, e)
	case Stopped:
		stop := wear.RunEvent{At: e.At, Kind: wear.RunStopped, Since: e.Since, Exact: e.Cause.Deliberate(), Old: e.Old}
		if e.Cause == RanDown && e.Since.IsZero() && (e.Train != "" || c.speaks(*t)) {
			stop.Since = h.ranDown(e.At)
		}
		h.add(i, stop)
		h.vague = h.vague || stop.Since.IsZero() && !stop.Exact
	case Started:
		h.starts = append(h.starts, e.At)
		h.add(i, wear.RunEvent{At: e.At, Kind: wear.RunStarted, Old: e.Old})
	case Set, Regulated:
		if back := c.pause(e, h.zone); back > 0 && !ticked(log[:i+1], e) {
			h.add(i, wear.RunEvent{At: e.At, Kind: wear.RunPause, Run: back, Old: e.Old})
		}
		h.add(i, wear.RunEvent{At: e.At, Kind: wear.RunSeen, Old: e.Old})
	case Noted:
		h.cut(i, e)
	}
	if e.Meter != nil && c.its(e, *t) {
		h.add(i, wear.RunEvent{At: e.At, Kind: wear.RunMeter, Meter: *e.Meter, Turnover: t.MeterHours, Renewed: e.MeterNew, Old: e.Old})
	}
}

// add adds an event of an entry of the log.
func (h *history) add(entry int, e wear.RunEvent) {
	if h.run == nil {
		return
	}
	if events := h.run.Events(); len(events) > 0 && e.At.Before(events[len(events)-1].At) {
		h.mixed = true
	}
	h.run.Add(e)
	h.from = append(h.from, entry)
}

// sift works out run-hours, and names what does not fit.
func (h *history) sift() (wear.Running, []wear.Oddity, error) {
	if h.run == nil {
		return wear.Running{}, nil, h.err
	}
	r, odd := h.run.Running()
	return r, odd, nil
}

// order puts the events in order of time.
func (h *history) order() {
	if !h.mixed {
		return
	}
	events, from := h.run.Events(), h.from
	place := make([]int, len(events))
	for i := range place {
		place[i] = i
	}
	slices.SortStableFunc(place, func(a, b int) int { return events[a].At.Compare(events[b].At) })
	h.run, h.err = wear.NewRunLog(h.begin, h.reserve)
	h.from = make([]int, 0, len(from))
	for _, p := range place {
		h.run.Add(*events[p])
		h.from = append(h.from, from[p])
	}
	h.mixed = false
}

// looked adds a wind or an inspection: the weight as it was found, and then what
// was done. Nobody sees a train going whose weight is down.
func (h *history) looked(i int, e *Entry) {
	ch, ok := h.c.chargeOf(e, h.t)
	if ok && ch.read {
		h.add(i, wear.RunEvent{At: e.At, Kind: wear.RunHeight, Run: ch.left, Old: e.Old})
		h.vague = false
	}
	if h.c.foundRight(e, h.t) {
		h.add(i, wear.RunEvent{At: e.At, Kind: wear.RunSeen, Old: e.Old})
	}
	switch {
	case e.Kind == Inspected:
		if !ok || ch.left > 0 {
			h.add(i, wear.RunEvent{At: e.At, Kind: wear.RunSeen, Old: e.Old})
		}
	case ok:
		h.windings++
		if !e.Part {
			h.woundAt = e.At
		}
		h.add(i, wear.RunEvent{At: e.At, Kind: wear.RunWound, Part: e.Part, Run: ch.adds, Old: e.Old})
		h.vague = e.Part && (h.vague || ch.adds == 0)
	}
}

// charge is what an entry tells of the run that is left in a train.
type charge struct {
	at   time.Time
	read bool          // the height of the weight was, and left so much
	left time.Duration // before any winding
	full bool          // it was wound fully
	adds time.Duration // wound in part: so much put on; 0: not known how much
	part bool
	// untold is why it is not known how much a wind in part put on; empty: it is.
	untold string
}

// Why a wind in part does not tell how much it put on.
const (
	notLogged    = "how much is not logged"
	turnNotKnown = "turns are logged, but how long a turn runs is not described"
	whoseTurns   = "turns are logged, but not of which train"
)

// nearRight is the most, in seconds, that a clock's hands may be found out by
// for them to show that it went until then: one that had stopped is so near by
// chance one time in thirty-six (judgement, no source).
const nearRight = 600.0

// foundRight reports whether a wind says that the hands a train drives were
// found about right: it had gone on until then.
func (c Clock) foundRight(e *Entry, t wear.Train) bool {
	return e.Kind == Wound && e.ErrorFound != nil && math.Abs(*e.ErrorFound) <= nearRight && c.speaks(t) &&
		(e.FallLeft == nil || *e.FallLeft > 0) // nobody sees a train going whose weight is down
}

// chargeOf is what a wind, or a look at a weight, tells of the run left in a
// hand-wound train; ok is false where it tells nothing.
func (c Clock) chargeOf(e *Entry, t wear.Train) (ch charge, ok bool) {
	if t.Drive != wear.HandWound || !e.concerns(t.Code) || e.Kind != Wound && e.Kind != Inspected {
		return charge{}, false
	}
	ch.at = e.At
	if e.FallLeft != nil && t.Weight != nil && t.PerTurn() > 0 && c.its(e, t) {
		ch.read = true
		ch.left = min(t.Run(), max(0, time.Duration(t.Weight.TurnsOf(*e.FallLeft)*float64(t.PerTurn()))))
	}
	if e.Kind == Wound {
		ch.full, ch.part = !e.Part, e.Part
		if e.Part && c.its(e, t) {
			ch.adds = time.Duration(min(e.Turns*float64(t.PerTurn()), float64(t.Run())))
		}
		switch {
		case ch.adds > 0 || !e.Part:
		case e.Turns > 0 && c.its(e, t):
			ch.untold = turnNotKnown
		case e.Turns > 0:
			ch.untold = whoseTurns
		default:
			ch.untold = notLogged
		}
	}
	return ch, ch.read || e.Kind == Wound
}

// its reports whether the figures of an entry are one train's: turns, the height
// of a weight, the hours of a meter. An entry of the whole clock has them only
// of its one hand-wound train, or its one train.
func (c Clock) its(e *Entry, t wear.Train) bool {
	if e.Train != "" {
		return e.Train == t.Code
	}
	n := 0
	for i := range c.Trains {
		if e.Kind != Wound && e.FallLeft == nil || c.Trains[i].Drive == wear.HandWound {
			n++
		}
	}
	return n == 1
}

// cut adds a cut of the mains, which does nothing to a hand-wound train.
func (h *history) cut(i int, e *Entry) {
	t := &h.t
	if e.CutFrom.IsZero() || t.Drive == wear.HandWound {
		return
	}
	from := e.CutFrom
	if from.Before(h.begin) {
		from = h.begin
	}
	x := wear.RunEvent{At: from, Kind: wear.RunCut, Until: e.CutTo, Lasted: e.At, Holds: t.Reserve, Restarts: t.Drive == wear.Electric, Old: e.Old}
	if x.Holds == 0 && !x.Restarts {
		x.Holds = -1 // not known
	}
	h.add(i, x)
}

// pause is how long a clock was stopped for its hands to be put back by the
// setting e; 0: it was not.
func (c Clock) pause(e *Entry, zone *time.Location) time.Duration {
	if e.Kind != Set || e.Change.IsZero() || c.Care.Change != StopAnHour {
		return 0
	}
	return putBack(e.Change, zone)
}

// putBack is by how much the zone's clocks are put back on a day; 0: they are
// not.
func putBack(day Date, zone *time.Location) time.Duration {
	_, before := day.Start(zone).Zone()
	_, after := day.Add(1).Start(zone).Zone()
	return max(0, time.Duration(before-after)*time.Second)
}

// ranDown is when a train that is found run down stopped: when its wind was
// used up. It is the zero time where what is logged before tells otherwise, or
// nothing.
func (h *history) ranDown(found time.Time) time.Time {
	if h.vague || h.reserve == 0 || h.run == nil {
		return time.Time{}
	}
	r, _ := h.run.Running()
	at, ok := r.RunsDown(found)
	if events := h.run.Events(); !ok || !at.Before(found) || at.Before(events[len(events)-1].At) {
		return time.Time{}
	}
	return at
}
