package wear

import (
	"cmp"
	"slices"
	"time"
)

// cut is when each of the three stops for a cut of the mains, and goes on. An
// empty span: it does not stop.
type cut struct {
	low, likely, upper gap
	over               time.Duration // when the mains came back; never: not known
}

// cut takes a cut of the mains that begins at d.
func (c *runCount) cut(e *RunEvent, d time.Duration) {
	if c.r.reserve > 0 || !c.going {
		return
	}
	over, lasted := never, max(d, c.r.since(e.Lasted))
	if !e.Until.IsZero() {
		over = max(d, c.r.since(e.Until))
		lasted = over
	}
	x := cut{over: over}
	switch {
	case e.Restarts:
		x.low, x.likely = gap{d, over}, gap{d, lasted}
		if over < never {
			x.upper = x.low
		}
	case e.Holds < 0: // it is not known how long it goes on
		x.low = gap{d, never}
	default:
		off := d + min(e.Holds, longest)
		if over > off {
			x.low = gap{off, never}
		}
		if lasted > off {
			x.likely = x.low
		}
	}
	c.cuts = append(c.cuts, x)
}

// restart takes a start of a train that has likely stopped in a cut; ok is
// false where there was none.
func (c *runCount) restart(d time.Duration) (ok bool) {
	off, over, ok := c.stoppedIn(d)
	if !ok {
		return false
	}
	c.r.lower.add(c.at, off)
	c.r.likely.add(c.at, off)
	c.r.upper.addBut(c.at, min(d, over), c.gapsOf(upper))
	c.r.stood.add(off, d)
	c.cuts = nil
	return true
}

// stoppedIn is when the first cut begins to stop a train, and when the last is
// over; ok is false where none does before d.
func (c *runCount) stoppedIn(d time.Duration) (off, over time.Duration, ok bool) {
	off = never
	for _, x := range c.cuts {
		if x.low.from < x.low.to && x.low.from <= d {
			off, over, ok = min(off, x.low.from), max(over, x.over), true
		}
	}
	return max(off, c.at), max(over, off), ok
}

// settle has a train that no wind bounds run from the last event to d, where it
// is going; what a cut may stop later than that is kept.
func (c *runCount) settle(d time.Duration) {
	c.r.lower.addBut(c.at, d, c.gapsOf(lower))
	c.r.upper.addBut(c.at, d, c.gapsOf(upper))
	var gaps []gap
	later := c.cuts[:0]
	for _, x := range c.cuts {
		if x.likely.to < never { // what stops for good did not, for it is going
			gaps = append(gaps, x.likely)
		}
		if x.low.from >= d {
			later = append(later, x)
		}
	}
	c.r.likely.addBut(c.at, d, gaps)
	c.cuts = later
}

// The three figures.
const (
	lower = iota
	likely
	upper
)

// gapsOf are the spans that the cuts take from one of the three.
func (c *runCount) gapsOf(figure int) []gap {
	gaps := make([]gap, len(c.cuts))
	for i, x := range c.cuts {
		gaps[i] = [3]gap{x.low, x.likely, x.upper}[figure]
	}
	slices.SortFunc(gaps, func(a, b gap) int { return cmp.Compare(a.from, b.from) })
	return gaps
}
