package schedule

import (
	"math"
	"time"
)

// turn is a change of the zone's time as a clock's errors meet it: until its
// hands are moved it is wrong by the whole of it, which is no rate.
type turn struct {
	at time.Time
	on Date
	by float64 // seconds, + put on; 0: none, or only a name changes
}

// hands is how a clock's hands stand to the changes of its zone's time.
type hands struct {
	still     time.Time // until when the zone's time does not change
	was, next turn
	made      bool // moved for the last change, as far as anything tells
	early     bool // moved for the next already
	open      bool // no error was seen since the last change
	off       bool // the last error seen was wrong by the last change
}

// turnAt is the change of time at an instant.
func (k *timekeeper) turnAt(at time.Time) turn {
	if at.IsZero() {
		return turn{}
	}
	_, before := at.Add(-1).In(k.a.Zone).Zone()
	_, after := at.In(k.a.Zone).Zone()
	return turn{at: at, on: k.a.dayOf(at), by: float64(after - before)}
}

// pass keeps up with the zone's time.
func (k *timekeeper) pass(at time.Time) {
	h := &k.hands
	if !h.still.IsZero() && at.Before(h.still) {
		return
	}
	first := h.still.IsZero()
	start, end := at.In(k.a.Zone).ZoneBounds()
	made := h.early && h.next.at.Equal(start)
	*h = hands{still: end, was: k.turnAt(start), next: k.turnAt(end), made: made}
	h.open = !first && !made && h.was.by != 0
	if first && h.was.at.Before(k.begin) { // done before it came into care
		h.made = true
	}
	if end.IsZero() {
		h.still = at.AddDate(1000, 0, 0)
	}
}

// near reports whether an error is that of a clock whose hands were not moved
// for a change, but for what else it is wrong by.
func (t turn) near(seconds float64) bool {
	return t.by != 0 && math.Abs(seconds+t.by) <= math.Min(changeNear.Seconds(), math.Abs(t.by)/3)
}

// whole is an error with a change of time taken out for which the hands were
// not moved yet, or were moved before it came; moved reports that they were
// moved since the last error. An entry that ticks the change may have left the
// hour out by itself; one with no hour of its day, or before the change, may
// tick it all the same.
func (k *timekeeper) whole(e *Entry, seconds float64, left bool) (v float64, moved bool) {
	h := &k.hands
	ahead := !h.early && h.next.by != 0 && (e.Change == h.next.on || e.Change.IsZero() && !left && k.a.dayOf(e.At) == h.next.on)
	behind := !h.made && h.was.by != 0 && (e.Change == h.was.on || e.Change.IsZero() && e.At.Before(h.was.at.AddDate(0, 0, changeFound)))
	ticks := !e.Change.IsZero() && !left
	switch {
	case left && (ahead && e.Change == h.next.on || h.early) && h.next.near(-seconds): // moved beforehand
		return seconds - h.next.by, false
	case !left && h.early && h.next.near(-seconds):
		return seconds - h.next.by, false
	case ahead && !left && h.next.near(seconds):
		return seconds + h.next.by, false
	case ahead && ticks:
		return seconds, false
	case behind && h.was.near(seconds) && !(left && e.Change == h.was.on):
		h.off, h.open = true, false
		return seconds + h.was.by, false
	case behind && ticks && math.Abs(seconds) <= changeNear.Seconds():
		h.open = false
		return seconds, false
	}
	moved = h.off || h.open && k.a.Clock.Care.Change != ByMotor
	h.made, h.off, h.open = true, false, false
	return seconds, moved
}

// moves takes in what an entry does to the hands.
func (k *timekeeper) moves(e *Entry) {
	h := &k.hands
	switch {
	case e.Kind == Set && h.next.by != 0 && (e.Change == h.next.on || e.Change.IsZero() && k.a.dayOf(e.At) == h.next.on && e.ErrorFound != nil && h.next.near(*e.ErrorFound)):
		h.early = true
	case e.Kind == Set, e.Kind == Started:
		h.made = h.made || !h.off || e.ErrorLeft == nil || !h.was.near(*e.ErrorLeft) || e.Change == h.was.on
		h.off, h.open = h.off && !h.made, false
	}
}
