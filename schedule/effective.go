package schedule

import (
	"cmp"
	"slices"
)

// Effective gives the log that counts: what a correction replaces is left out,
// and the rest is in order of when it happened. The given slice is not changed.
func Effective(log []Entry) []Entry {
	replaced := map[string]bool{}
	for _, e := range log {
		if e.Replaces != "" {
			replaced[e.Replaces] = true
		}
	}
	out := make([]Entry, 0, len(log))
	for _, e := range log {
		if !replaced[e.ID] || e.ID == "" {
			out = append(out, e)
		}
	}
	slices.SortStableFunc(out, byTime)
	return out
}

// byTime orders entries by when they happened, then by when they were logged.
func byTime(a, b Entry) int {
	return cmp.Or(a.At.Compare(b.At), a.RecordedAt.Compare(b.RecordedAt), cmp.Compare(a.ID, b.ID))
}

// concerns reports whether an entry is about a train: its own, or the whole clock.
func (e Entry) concerns(train string) bool { return e.Train == "" || e.Train == train }

// lastEntry finds the newest entry of a log that matches.
func lastEntry(log []Entry, match func(Entry) bool) (Entry, bool) {
	for _, e := range slices.Backward(log) {
		if match(e) {
			return e, true
		}
	}
	return Entry{}, false
}
