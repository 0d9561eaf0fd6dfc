package wear

import (
	"fmt"
	"time"
)

// runCount walks the events of a train in order.
type runCount struct {
	r      Running
	events []*RunEvent
	out    map[int]string // those left out, and why

	at, last time.Duration // settled until; the last event of all
	stopped  bool          // it began so
	going    bool
	// The last events that set whether it goes, and that showed it going or
	// touched it: what a contradiction is with. -1: none.
	lastState, lastShown int
	// bound: hand-wound, and something is known of its wind: the two below hold.
	// exact: what is left is known.
	bound, exact bool
	// While going: the instants at which the wind runs out for Lower and for
	// the others. While stopped: what is left of it.
	lowDue, due time.Duration
	cuts        []cut // since it was settled
	pauses      []gap
	meters      meterReadings
}

// manyOld is how many old events may give way to later ones before those are
// left out in their turn: each costs a walk.
const manyOld = 200

// stamp is an instant on the wall of the zone in which the history's start is
// given.
func (c *runCount) stamp(t time.Time) string {
	return t.In(c.r.from.Location()).Format(stampAs)
}

const stampAs = "2006-01-02 15:04 MST"

// begin puts the count at the start of a history of which some is left out.
func (c *runCount) begin(r Running, events []*RunEvent, out map[int]string) {
	*c = runCount{r: Running{from: r.from, reserve: r.reserve}, events: events, out: out, lastState: -1, lastShown: -1}
	c.stopped = c.startsStopped()
	c.going = !c.stopped
}

// walkAgain takes all events anew, as often as an old one has to give way.
func (c *runCount) walkAgain(out map[int]string) {
	for again := true; again; out = c.out {
		c.begin(c.r, c.events, out)
		again = false
		for i := 0; i < len(c.events) && !again; i++ {
			again = c.step(i)
		}
	}
}

// step takes an event, unless it is left out. All must be taken again when an
// old one has to give way.
func (c *runCount) step(i int) (again bool) {
	if _, left := c.out[i]; left {
		return false
	}
	e := c.events[i]
	d := c.r.since(e.At)
	with, err := -1, c.order(e, d)
	if err == nil {
		with, err = c.take(i, e, d)
	}
	switch {
	case err == nil:
		c.last = d
	case !e.Old && with >= 0 && c.events[with].Old && len(c.out) < manyOld:
		c.leaveOut(with, fmt.Sprintf("%s at %s, in the old book, does not fit what was logged since", c.events[with].Kind, c.stamp(c.events[with].At)))
		return true
	default:
		c.leaveOut(i, err.Error())
	}
	return false
}

func (c *runCount) leaveOut(i int, why string) {
	if c.out == nil {
		c.out = map[int]string{}
	}
	c.out[i] = why
}

// startsStopped reports whether a history begins with a start: winds for it
// may come first, but none more than a day before, or the train was going, as
// it was where a cut of the mains came first.
func (c *runCount) startsStopped() bool {
	first := -1
	for i := range c.events {
		e := c.events[i]
		if _, left := c.out[i]; left || e.Kind == RunMeter || e.Kind == RunPause || e.Kind == RunCut && c.r.reserve > 0 {
			continue
		}
		if first < 0 {
			first = i
		}
		if e.Kind != RunWound && e.Kind != RunHeight {
			return e.Kind == RunStarted && e.At.Sub(c.events[first].At) <= 24*time.Hour
		}
	}
	return false
}

// order refuses an event that is out of the order of time.
func (c *runCount) order(e *RunEvent, d time.Duration) error {
	switch {
	case d < 0:
		return fmt.Errorf("the event of %s is before the history starts: begin the history earlier", c.stamp(e.At))
	case d < c.last:
		return fmt.Errorf("the event of %s comes after a later one: put the events in order of time", c.stamp(e.At))
	case d > longest:
		return fmt.Errorf("the event of %s is more than 200 years after the start of the history: check the year", c.stamp(e.At))
	}
	return nil
}

// take takes an event. One that contradicts another changes nothing; with is
// the other, or -1.
func (c *runCount) take(i int, e *RunEvent, d time.Duration) (with int, err error) {
	switch e.Kind {
	case RunStarted:
		if !c.going {
			c.start(d)
		} else if !c.restart(d) {
			return c.lastState, fmt.Errorf("started at %s, but the log has it going already: log the stop before it, or correct one of the two starts", c.stamp(e.At))
		}
		c.lastState = i
	case RunStopped:
		if !c.going {
			return c.lastState, fmt.Errorf("stopped at %s, but the log has it stopped already: log the start before it, or correct one of the two stops", c.stamp(e.At))
		}
		if err := c.stop(e, d); err != nil {
			return c.lastShown, err
		}
		c.lastState = i
	case RunWound:
		c.wind(e, d)
	case RunSeen:
		if c.going {
			c.shown(d)
		} else {
			c.r.stood.add(c.at, d)
		}
	case RunHeight:
		c.height(e, d)
	case RunCut:
		c.cut(e, d)
		return -1, nil
	case RunMeter:
		return c.meters.take(meterReading{event: i, at: d, shows: e.Meter, turnover: e.Turnover, renewed: e.Renewed}, e.At.In(c.r.from.Location()))
	case RunPause:
		c.pause(i, e, d)
		return -1, nil
	default:
		return -1, fmt.Errorf("the event of %s has unknown kind %q", c.stamp(e.At), e.Kind)
	}
	c.at, c.lastShown = d, i
	return -1, nil
}

// start lets a stopped train go on.
func (c *runCount) start(d time.Duration) {
	c.r.stood.add(c.at, d)
	c.going, c.lowDue, c.due, c.cuts = true, d+c.lowDue, d+c.due, nil
}

// shown has it run from the last event to d, which proves it going then.
func (c *runCount) shown(d time.Duration) {
	if !c.bound || d <= c.due {
		c.settle(d)
		c.lowDue = max(c.lowDue, d)
		return
	}
	c.r.likely.add(c.at, d)
	c.r.upper.add(c.at, d)
	c.r.lower.add(c.at, c.lowDue) // and then a wind nobody wrote down
	c.lowDue, c.due, c.exact = d, d+c.r.reserve, false
}

// wind has it run from the last event to a wind at d.
func (c *runCount) wind(e *RunEvent, d time.Duration) {
	if !c.going {
		c.r.stood.add(c.at, d)
		c.put(e, d, 0)
		return
	}
	low, likely := d, d
	if c.bound {
		low = min(d, max(c.at, c.lowDue))
		if d > c.due && d-c.due <= c.r.reserve {
			likely = c.due
		}
	}
	c.r.lower.add(c.at, low)
	c.r.likely.add(c.at, likely)
	c.r.upper.add(c.at, d)
	c.put(e, d, d)
}

// put adds a wind at d to what is left, which is reckoned from base.
func (c *runCount) put(e *RunEvent, d, base time.Duration) {
	full := c.r.reserve
	if full == 0 {
		return
	}
	low, due := max(0, c.lowDue-base), max(0, c.due-base)
	if !c.bound {
		low, due = 0, full
	}
	switch {
	case !e.Part:
		low, due, c.exact = full, full, true
	case e.Run > 0:
		low, due = min(full, low+min(e.Run, full)), min(full, due+min(e.Run, full))
	case !c.bound:
		return // nothing to count from
	default:
		due, c.exact = full, false
	}
	c.bound, c.lowDue, c.due = true, base+low, base+due
	if c.exact {
		c.r.charges = append(c.r.charges, charge{d, due})
	}
}

// height takes the run that a weight has left.
func (c *runCount) height(e *RunEvent, d time.Duration) {
	if c.r.reserve == 0 {
		if c.going {
			c.shown(d)
		} else {
			c.r.stood.add(c.at, d)
		}
		return
	}
	left, base := min(max(0, e.Run), c.r.reserve), d
	switch {
	case !c.going:
		c.r.stood.add(c.at, d)
		base = 0
	case c.bound && d > c.due && left == 0: // it ran down, and nobody wound it
		c.r.lower.add(c.at, c.lowDue)
		c.r.likely.add(c.at, c.due)
		c.r.upper.add(c.at, d)
	default:
		c.shown(d)
	}
	c.bound, c.exact, c.lowDue, c.due = true, true, base+left, base+left
	c.r.charges = append(c.r.charges, charge{d, left})
}

// stop takes a stop logged at d.
func (c *runCount) stop(e *RunEvent, d time.Duration) error {
	known := d
	if !e.Exact && !e.Since.IsZero() {
		known = c.r.since(e.Since)
	}
	switch {
	case known > d:
		return fmt.Errorf("stopped at %s, but said to have stood since later: correct the entry", c.stamp(e.At))
	case known < c.at:
		return fmt.Errorf("stopped at %s, but said to have stood since before it was last logged going, at %s: correct one of the two",
			c.stamp(e.At), c.stamp(c.r.from.Add(c.at)))
	case e.Exact || !e.Since.IsZero():
		c.shown(known)
		c.lowDue, c.due = max(0, c.lowDue-known), max(0, c.due-known)
	default:
		known = c.lost(d)
	}
	c.r.stood.add(known, d)
	c.going, c.cuts = false, nil
	return nil
}

// lost has it run from the last event to an unknown instant before d, and
// returns the likely one.
func (c *runCount) lost(d time.Duration) time.Duration {
	if off, _, ok := c.stoppedIn(d); ok { // the cut stopped it
		c.r.lower.add(c.at, off)
		c.r.likely.add(c.at, off)
		c.r.upper.addBut(c.at, d, c.gapsOf(upper))
		return off
	}
	end := d
	if c.bound {
		end = max(c.at, min(d, c.due))
	}
	likely := c.at + (end-c.at)/2
	c.r.likely.add(c.at, likely)
	c.r.upper.add(c.at, end)
	c.lowDue, c.due = max(0, c.lowDue-end), max(0, c.due-likely)
	return likely
}

// pause takes so much off up to d, unless a stop or start close by says it
// already.
func (c *runCount) pause(i int, e *RunEvent, d time.Duration) {
	if !c.going || e.Run <= 0 || e.Run > 24*time.Hour || c.saidNear(i) {
		return
	}
	from := max(0, d-e.Run)
	wait := d - from
	if n := len(c.r.charges); n > 0 {
		wait = d - max(from, c.r.charges[n-1].at)
	}
	for _, due := range []*time.Duration{&c.lowDue, &c.due} {
		if c.bound && *due > from { // it had not run down before
			*due += wait
		}
	}
	c.pauses = append(c.pauses, gap{from, d})
}

// saidWithin is how near to a pause a stop or a start says the same.
const saidWithin = 24 * time.Hour

// saidNear reports whether a stop, a start or a pause before is logged within a
// day of an event.
func (c *runCount) saidNear(i int) bool {
	at := c.events[i].At
	says := func(j int) bool {
		_, left := c.out[j]
		k := c.events[j].Kind
		return !left && (k == RunStarted || k == RunStopped || k == RunPause && j < i)
	}
	for j := i - 1; j >= 0 && at.Sub(c.events[j].At) < saidWithin; j-- {
		if says(j) {
			return true
		}
	}
	for j := i + 1; j < len(c.events) && c.events[j].At.Sub(at) < saidWithin; j++ {
		if says(j) {
			return true
		}
	}
	return false
}

// finish lets the last state run on, and then takes off the pauses and does what
// the meter says.
func (c *runCount) finish() {
	switch {
	case !c.going:
		c.r.stood.add(c.at, never)
	case c.bound:
		c.r.lower.add(c.at, max(c.at, c.lowDue))
		c.r.likely.add(c.at, never)
		c.r.upper.add(c.at, never)
	default:
		c.r.lower.addBut(c.at, never, c.gapsOf(lower))
		c.r.likely.addBut(c.at, never, c.gapsOf(likely))
		c.r.upper.addBut(c.at, never, c.gapsOf(upper))
	}
	for _, s := range []*stretches{&c.r.lower, &c.r.likely, &c.r.upper} {
		*s = s.without(c.pauses)
	}
	c.r.stood = c.r.stood.with(c.pauses)
	c.r.byMeter(c.meters.spans)
}
