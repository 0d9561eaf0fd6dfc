package schedule

import "time"

// ChangeState is the next change of a clock's zone, or the last while it is not
// yet done.
type ChangeState struct {
	At    time.Time     // the instant at which the zone's clocks change
	On    Date          // the day of it there
	By    time.Duration // + put on, - put back
	How   string        // what to do with this clock, in words
	Blows int           // that its striking trains make while it is done
	Done  string        // Entry.ID that ticks it; empty: not done
}

// NextChange is the first change of a zone's clocks after an instant; ok is
// false where none comes within two years.
func NextChange(zone *time.Location, after time.Time) (at time.Time, by time.Duration, ok bool) {
	return time.Time{}, 0, false
}

// changeOf is the change that a clock waits for; nil: none.
func changeOf(a Assessment) *ChangeState { return nil }

// changeTasks is the task of the next change of time.
func changeTasks(a Assessment) []Task { return nil }
