package schedule

import (
	"cmp"
	"time"
)

// Effective gives the log that counts: what a correction replaces is left out,
// and the rest is in order of when it happened; what takes back an entry that
// was corrected since takes back the correction. The given slice is not changed.
func Effective(log []Entry) []Entry {
	order := inOrder(log)
	out := make([]Entry, len(order))
	for i, e := range order {
		out[i] = *e
	}
	followUndone(out, log)
	followFirst(out, log)
	return out
}

// followFirst lets the corrections that count tell which entry they began with, and
// when that was logged.
func followFirst(counts, log []Entry) {
	var older map[string]string
	var logged map[string]time.Time
	for i := range counts {
		e := &counts[i]
		if e.Replaces == "" {
			continue
		}
		if older == nil {
			older, logged = map[string]string{}, map[string]time.Time{}
			for k := range log {
				logged[log[k].ID] = log[k].RecordedAt
				if old := log[k].Replaces; old != "" {
					older[log[k].ID] = old
				}
			}
		}
		e.first = e.Replaces
		for range len(older) { // no further, should corrections go in a circle
			next, ok := older[e.first]
			if !ok {
				break
			}
			e.first = next
		}
		e.firstLogged = logged[e.first]
	}
}

// followUndone lets the entries that count name those that count now, where
// they take back what was corrected since.
func followUndone(counts, log []Entry) {
	var newer map[string]string
	for i := range counts {
		e := &counts[i]
		if e.Undoes == "" {
			continue
		}
		if newer == nil {
			newer = map[string]string{}
			for k := range log {
				if old := log[k].Replaces; old != "" {
					newer[old] = log[k].ID
				}
			}
		}
		for range len(newer) { // no further, should corrections go in a circle
			next, ok := newer[e.Undoes]
			if !ok {
				break
			}
			e.Undoes = next
		}
	}
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
