package daemon

import (
	"context"
	"time"

	"endshake/schedule"
)

// RoundBook is the part of the store that holds what was decided by hand of rounds.
type RoundBook interface {
	RoundMarks(ctx context.Context, from schedule.Date) ([]schedule.RoundMark, error)
	MarkRound(ctx context.Context, m schedule.RoundMark) error
	UnmarkRound(ctx context.Context, actor string, m schedule.RoundMark, now time.Time) error
	MoveRound(ctx context.Context, from, to schedule.RoundMark) error
}

// RoundMarks are what was decided by hand of the rounds from a day on, as the store
// has it now: other daemons decide too.
func (d *Desk) RoundMarks(ctx context.Context, from schedule.Date) ([]schedule.RoundMark, error) {
	ctx, cancel := context.WithTimeout(ctx, deskWait)
	defer cancel()
	return d.ledger.RoundMarks(ctx, from)
}

// MarkRound keeps what RoundMark.By decided, and nothing where it cannot be right: a
// *schedule.Error then. Whether they may is asked before, of schedule.Fleet.AllowRound.
func (d *Desk) MarkRound(ctx context.Context, m schedule.RoundMark) error {
	if err := m.Validate(d.Snapshot().Fleet, d.now()); err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(ctx, deskWait)
	defer cancel()
	return d.ledger.MarkRound(ctx, m)
}

// UnmarkRound takes back what was decided, on somebody's word, also of a day that is
// past.
func (d *Desk) UnmarkRound(ctx context.Context, actor string, m schedule.RoundMark, now time.Time) error {
	ctx, cancel := context.WithTimeout(ctx, deskWait)
	defer cancel()
	return d.ledger.UnmarkRound(ctx, actor, m, now)
}

// MoveRound has a visit on another day, or made by another person: the day that it
// was on is ruled out for it. All of it, or nothing.
func (d *Desk) MoveRound(ctx context.Context, from, to schedule.RoundMark) error {
	from.Kind, to.Kind, from.By, from.Tasks = schedule.BarVisit, schedule.SetVisit, to.By, nil
	for _, m := range []schedule.RoundMark{from, to} {
		if err := m.Validate(d.Snapshot().Fleet, d.now()); err != nil {
			return err
		}
	}
	ctx, cancel := context.WithTimeout(ctx, deskWait)
	defer cancel()
	return d.ledger.MoveRound(ctx, from, to)
}
