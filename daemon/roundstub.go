package daemon

import (
	"context"
	"time"

	"endshake/schedule"
)

// RoundMarks and the rest keep nothing yet: nothing is decided by hand.
func (d *Desk) RoundMarks(context.Context, schedule.Date) ([]schedule.RoundMark, error) {
	return nil, nil
}

// MarkRound refuses until marks are kept.
func (d *Desk) MarkRound(context.Context, schedule.RoundMark) error { return errNoMarks }

// UnmarkRound refuses until marks are kept.
func (d *Desk) UnmarkRound(context.Context, string, schedule.RoundMark, time.Time) error {
	return errNoMarks
}

// MoveRound refuses until marks are kept.
func (d *Desk) MoveRound(context.Context, schedule.RoundMark, schedule.RoundMark) error {
	return errNoMarks
}

var errNoMarks = &schedule.Error{Code: schedule.Conflict, Message: "nothing can be decided by hand of rounds here yet"}
