package schedule

import (
	"cmp"
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

// newest finds the newest entry of a log that matches; nil: none does.
func newest(log []Entry, match func(*Entry) bool) *Entry {
	for i := len(log) - 1; i >= 0; i-- {
		if match(&log[i]) {
			return &log[i]
		}
	}
	return nil
}
