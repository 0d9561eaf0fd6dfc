package schedule

import "time"

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
	for _, e := range es {
		if err := Validate(e, fleet, log, m, now); err != nil {
			return nil, &OneOfMany{Key: e.Key, Err: err}
		}
		log = Grown(log[:len(log):len(log)], e)
	}
	return log, nil
}
