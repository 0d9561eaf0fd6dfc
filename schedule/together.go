package schedule

import (
	"errors"
	"slices"
	"sort"
	"time"
)

// OneOfMany is what is wrong with one of several entries that are logged
// together, or not at all.
type OneOfMany struct {
	Key string // of the entry
	Err error
}

func (o *OneOfMany) Error() string { return o.Err.Error() }

// Unwrap gives what is wrong.
func (o *OneOfMany) Unwrap() error { return o.Err }

// ValidateTogether is [Validate] of entries of one clock, in the order of their
// times, each by the log with those before it: a *OneOfMany of the first that
// cannot be logged. It gives the log with all of them.
func ValidateTogether(es []Entry, fleet Fleet, log []Entry, m Model, now time.Time) ([]Entry, error) {
	if len(es) == 0 {
		return log, nil
	}
	t := NewTrial(fleet, es[0].Clock, log, m, now)
	for _, e := range es {
		if err := t.Add(e); err != nil {
			return nil, &OneOfMany{Key: e.Key, Err: err}
		}
	}
	return t.Log(), nil
}

// Trial takes entries of one clock into its log, one after the other, each by the
// log with those before it. Nothing is stored.
type Trial struct {
	fleet  Fleet
	clock  Clock
	site   Site
	there  bool // the clock
	model  Model
	now    time.Time
	log    []Entry // its own
	counts []Entry // of log, those that count; log itself where all do
	apart  bool    // counts is not log
	locked bool    // something in the log may lock the clock
}

// NewTrial begins with the log of a clock, corrections included.
func NewTrial(fleet Fleet, clock string, log []Entry, m Model, now time.Time) *Trial {
	t := &Trial{fleet: fleet, model: m, now: now, log: slices.Clone(log)}
	t.of(clock)
	t.settle()
	return t
}

// of names the clock that the trial is of.
func (t *Trial) of(clock string) {
	if t.clock, t.there = t.fleet.Clock(clock); t.there {
		t.site, _ = t.fleet.Site(t.clock.Site)
	}
}

// settle works out anew what counts.
func (t *Trial) settle() {
	t.counts, t.apart, t.locked = t.log, false, false
	if !inPlace(t.log, 0) {
		t.counts, t.apart = Effective(t.log), true
	}
	for i := range t.counts {
		if _, locks := t.clock.locks(&t.counts[i]); locks {
			t.locked = true
		}
	}
}

// Add is [Validate] of an entry; where nothing is wrong it is in the log from then
// on.
func (t *Trial) Add(e Entry) error {
	if err := t.validate(e); err != nil {
		return err
	}
	t.log = placed(t.log, e)
	switch {
	case e.Replaces != "" || e.Undoes != "":
		t.settle()
	case t.apart:
		t.counts = placed(t.counts, e)
	default:
		t.counts = t.log
	}
	_, locks := t.clock.locks(&e)
	t.locked = t.locked || locks
	return nil
}

// Log is the log with all that was added. It is the trial's own.
func (t *Trial) Log() []Entry { return t.log }

// placed puts an entry in its place in a log that may be changed.
func placed(log []Entry, e Entry) []Entry {
	at := sort.Search(len(log), func(i int) bool { return byTime(&log[i], &e) > 0 })
	return slices.Insert(log, at, e)
}

// Merged is a log in order with others of its entries in their places: a log of its
// own.
func Merged(log, more []Entry) []Entry {
	out := append(make([]Entry, 0, len(log)+len(more)), log...)
	out = append(out, more...)
	slices.SortStableFunc(out, func(a, b Entry) int { return byTime(&a, &b) })
	return out
}

// FieldOf is the form field that an error a person can mend names, and "" for others.
func FieldOf(err error) string {
	var e *Error
	if errors.As(err, &e) {
		return e.Field
	}
	return ""
}
