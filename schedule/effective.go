package schedule

import (
	"cmp"
	"time"

	"endshake/wear"
)

// Effective gives the log that counts: what a correction replaces is left out,
// and the rest is in order of when it happened. The given slice is not changed.
func Effective(log []Entry) []Entry {
	order := inOrder(log)
	out := make([]Entry, len(order))
	for i, e := range order {
		out[i] = *e
	}
	return out
}

// byTime orders entries by when they happened, then by when they were logged.
func byTime(a, b *Entry) int {
	if c := a.At.Compare(b.At); c != 0 {
		return c
	}
	return cmp.Or(a.RecordedAt.Compare(b.RecordedAt), cmp.Compare(a.ID, b.ID))
}

// concerns reports whether an entry is about a train: its own, or the whole clock.
func (e *Entry) concerns(train string) bool { return e.Train == "" || e.Train == train }

// lastEntry finds the newest entry of a log that matches. It copies each that it
// asks about: where many are asked, [newest] is ten times as quick.
func lastEntry(log []Entry, match func(Entry) bool) (Entry, bool) {
	if e := newest(log, func(e *Entry) bool { return match(*e) }); e != nil {
		return *e, true
	}
	return Entry{}, false
}

// newest finds the newest entry of a log that matches; nil: none does.
func newest(log []Entry, match func(*Entry) bool) *Entry {
	for i := len(log) - 1; i >= 0; i-- {
		if match(&log[i]) {
			return &log[i]
		}
	}
	return nil
}

// running works out a train's run-hours from an effective log.
func running(c Clock, zone *time.Location, log []Entry, t wear.Train) (wear.Running, error) {
	return historyOf(c, zone, log, t).running()
}

// history is what tells whether a train was going.
type history struct {
	begin   time.Time
	reserve time.Duration
	events  []wear.RunEvent
	// vague: how much of the wind is left cannot be told, since the train was
	// wound in part, or stopped at an unknown instant.
	vague bool
}

func (h *history) running() (wear.Running, error) {
	return wear.NewRunning(h.begin, h.reserve, h.events)
}

func (h *history) add(at time.Time, kind wear.RunKind) {
	h.events = append(h.events, wear.RunEvent{At: at, Kind: kind})
}

// historyOf picks a train's history from an effective log.
func historyOf(c Clock, zone *time.Location, log []Entry, t wear.Train) *history {
	h := &history{begin: c.InCare.Start(zone)}
	if t.Drive == wear.HandWound {
		h.reserve = t.Reserve
	}
	for i := range log {
		e := &log[i]
		if !e.concerns(t.Code) {
			continue
		}
		switch e.Kind {
		case Wound:
			h.vague = e.Part
			if t.Drive == wear.HandWound && !e.Part {
				h.add(e.At, wear.RunWound)
			}
		case Stopped:
			stop := wear.RunEvent{At: e.At, Kind: wear.RunStopped, Since: e.Since, Exact: e.Cause.Deliberate()}
			if e.Cause == RanDown && e.Since.IsZero() && (e.Train != "" || c.speaks(t)) {
				stop.Since = h.ranDown(e.At)
			}
			h.events = append(h.events, stop)
			h.vague = h.vague || stop.Since.IsZero() && !stop.Exact
		case Started:
			h.add(e.At, wear.RunStarted)
		case Inspected, Set, Regulated:
			h.add(e.At, wear.RunSeen)
		}
	}
	return h
}

// ranDown is when a train that is found run down stopped: when its wind was
// used up. It is the zero time where what is logged before tells otherwise, or
// nothing.
func (h *history) ranDown(found time.Time) time.Time {
	r, err := h.running()
	if err != nil || h.vague {
		return time.Time{}
	}
	at, ok := r.RunsDown(found)
	if !ok || !at.Before(found) || at.Before(h.events[len(h.events)-1].At) {
		return time.Time{}
	}
	return at
}
