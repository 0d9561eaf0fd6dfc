package schedule

import (
	"fmt"
	"slices"
	"time"
)

// overLocks goes through an effective log, and shows each entry with those
// before it whose locks were in force then, the oldest first. It returns those
// in force at the end.
func (c Clock) overLocks(log []Entry, show func(e *Entry, on []*Entry)) []*Entry {
	var on []*Entry
	for i := range log {
		e := &log[i]
		show(e, on)
		if _, ok := c.locks(e); ok {
			on = append(on, e)
		}
		if len(on) > 0 {
			on = slices.DeleteFunc(on, func(was *Entry) bool { return c.lifts(e, was) })
		}
	}
	return on
}

// inForce are the entries whose locks are in force at the end of an effective
// log.
func (c Clock) inForce(log []Entry) []*Entry { return c.overLocks(log, func(*Entry, []*Entry) {}) }

// lifts reports whether an entry takes off the lock that an earlier one put on.
// Whoever clears a lock clears those that were written down by then: what came
// in later they did not know of, but for what is copied from an old book with
// them. Damage found in an old book locks nothing once its line was replaced
// within that book, or by those who may clear a lock.
func (c Clock) lifts(e, was *Entry) bool {
	switch kind, _ := c.locks(was); {
	case e.Kind == Noted && e.Clears != "":
		return kind == e.Clears && (!was.RecordedAt.After(e.RecordedAt) || e.Old && was.Old)
	case e.Kind == Repaired && e.Work == NewLine:
		return was.Old && was.Kind == Inspected && was.Line == e.Line && (e.Old || c.unlocks(e))
	}
	return false
}

// unlocks reports whether an entry is by one of those who may clear a lock.
func (c Clock) unlocks(e *Entry) bool { return e.By != "" && c.Has(e.By, unlockers...) }

// locksOf are the locks in force at the end of an effective log, the oldest
// first: one for each entry that put one on, but for the same damage found
// again.
func locksOf(c Clock, log []Entry, day func(*Entry) Date) []Lock {
	var out []Lock
	on := c.inForce(log)
	for i, e := range on {
		if e.Kind == Inspected && slices.ContainsFunc(on[:i], func(was *Entry) bool { return c.asLocked(was, e) }) {
			continue
		}
		k, _ := c.locks(e)
		out = append(out, Lock{Kind: k, Since: day(e), Why: whyLocked(c, e, day(e)), Entry: e.ID})
	}
	return out
}

// asLocked reports whether two entries lock a clock alike, but for the day.
func (c Clock) asLocked(x, y *Entry) bool {
	one, _ := c.locks(x)
	other, _ := c.locks(y)
	return one == other && x.Kind == y.Kind && x.Line == y.Line && whyLocked(c, x, Date{}) == whyLocked(c, y, Date{})
}

// loses finds a lock in force that an entry takes off, or gives another reason
// or line.
func (c Clock) loses(e *Entry, log, with []Entry) (*Entry, bool) {
	after := c.inForce(with)
	for _, was := range c.inForce(log) {
		stays := slices.ContainsFunc(after, func(x *Entry) bool {
			if e.Replaces != "" && was.ID == e.Replaces {
				return x.Replaces == e.Replaces && c.asLocked(was, x)
			}
			return x.ID == was.ID && x.At.Equal(was.At)
		})
		if !stays {
			return was, true
		}
	}
	return nil, false
}

// mayUnlock refuses what only those may do who may clear a lock.
func (c Clock) mayUnlock(e *Entry, what string) error {
	switch {
	case e.By == "":
		return invalid("by", "say by name who %s: only the conservator or the clockmaker of %s may", what, c.Name)
	case !c.unlocks(e):
		return conflict("by", "%q is neither conservator nor clockmaker of %s, and nobody else %s: give the name of whoever did", e.By, c.Name, what)
	}
	return nil
}

// keepsLocks holds an entry to the locks in force at the end of the log: nobody
// else than those who may clear them takes one off by what an entry comes to,
// nor has a train go under one. The log is the one that counts, with the entry
// and without.
func (c Clock) keepsLocks(e Entry, log []Entry, zone *time.Location, now time.Time) error {
	if len(c.inForce(log)) == 0 { // nothing to hold
		return nil
	}
	if e.RecordedAt.IsZero() { // it will be written down after all the others
		for i := range log {
			e.RecordedAt = later(e.RecordedAt, log[i].RecordedAt.Add(1))
		}
	}
	with := withEntry(log, e)
	copied := e.Old && e.Kind == Repaired && e.Replaces == "" // the old book has it so
	if was, ok := c.loses(&e, log, with); ok && !copied {
		what := fmt.Sprintf("takes off or rewords the lock of %s", DateOf(was.At, zone).Words())
		if err := c.mayUnlock(&e, what); err != nil {
			return err
		}
	}
	return c.staysStopped(&e, log, with, zone, now)
}

// staysStopped refuses an entry by which a train would be going under a lock
// that it does not go under without it: a start dated back, a stop taken away.
func (c Clock) staysStopped(e *Entry, log, with []Entry, zone *time.Location, now time.Time) error {
	forbids := func(was *Entry) bool { return c.forbids(e, was) }
	on := c.inForce(log)
	i := slices.IndexFunc(on, forbids)
	if c.unlocks(e) || i < 0 || !slices.ContainsFunc(c.inForce(with), forbids) {
		return nil
	}
	for _, t := range c.Trains {
		before, _, err := historyOf(c, zone, log, t).sift()
		if err != nil || before.Going(now) {
			continue
		}
		if after, _, err := historyOf(c, zone, with, t).sift(); err == nil && after.Going(now) {
			return conflict("kind", "by this entry the %s would be going while the clock is locked (do not run: %s): log first when it was stopped, or have the conservator or the clockmaker log this, by name",
				NameOfTrain(t), whyLocked(c, on[i], DateOf(on[i].At, zone)))
		}
	}
	return nil
}

// forbids reports whether the lock that an entry put on is against running, and
// holds for another entry: an old book may tell that its own was not kept.
func (c Clock) forbids(e, was *Entry) bool {
	k, _ := c.locks(was)
	return k == DoNotRun && !(e.Old && was.Old)
}

func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

// oldOnly refuses to turn what was logged into what was copied from an old
// book, of which less is asked.
func oldOnly(e Entry, log []Entry, zone *time.Location) error {
	for i := range log {
		was := &log[i]
		if e.Old && e.Replaces != "" && was.ID == e.Replaces && !was.Old {
			return invalid("old", "the entry of %s was not copied from an old book, so its correction cannot be: leave that mark off", DateOf(was.At, zone).Words())
		}
	}
	return nil
}

// lockFlags says which winds and starts of an old book fall within a lock.
func lockFlags(a *Assessment) []string {
	var out []string
	a.Clock.overLocks(a.Entries, func(e *Entry, on []*Entry) {
		if !e.Old || e.Kind != Wound && e.Kind != Started {
			return
		}
		for _, was := range on {
			if k, _ := a.Clock.locks(was); k == DoNotRun {
				out = append(out, fmt.Sprintf("%s while locked on %s (%s: %s). From the old book, it is taken as it stands.",
					Capital(string(e.Kind)), a.dayOf(e.At).Words(), k, whyLocked(a.Clock, was, a.dayOf(was.At))))
				return
			}
		}
	})
	return out
}

// bar has nobody go to a clock that is locked against going in before they ask.
func (a *Assessment) bar(t *Task) {
	if _, shut := a.locked(DoNotEnter); shut && t.Kind != Locked {
		t.Next = "Ask whoever put the lock on first."
	}
}
