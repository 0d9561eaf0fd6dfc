package db

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"endshake/schedule"
)

// Record commits marks of a sender in one transaction, in their order, and gives
// the error of each, nil where it was recorded. A Conflict or an Invalid is that
// mark's alone; any other error is that of all, and nothing was recorded.
//
// A mark without an outcome says that a message is about to be handed over. It
// must be recorded before the last byte that makes the server take the message.
// A Conflict means that the claim is not the owner's any more, or its lease is
// over: the message must not be handed over.
//
// A mark with an outcome says what became of a try to send, and gives the claim
// back. An uncertain outcome is counted, and the second one parks the notice
// whatever the state asked for. A zero NextTry is taken as At. A refusal that
// blames the address counts for its mailbox. A Conflict means that the claim was
// not the owner's any more.
func (s *Store) Record(ctx context.Context, owner string, marks []schedule.Mark) []error {
	own := make([]error, len(marks)) // of a mark alone
	for i, m := range marks {
		own[i] = checkMark(m)
	}
	errs := make([]error, len(marks))
	err := s.write(ctx, "record what became of notices", func(tx *sql.Tx) error {
		copy(errs, own)
		for i, m := range marks {
			if errs[i] != nil {
				continue
			}
			err := record(ctx, tx, owner, m)
			if said, ok := errors.AsType[refusal](err); ok {
				errs[i] = said.error
			} else if err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		for i := range errs {
			errs[i] = err
		}
	}
	return errs
}

func checkMark(m schedule.Mark) error {
	if m.Outcome == nil {
		return checkStorable(m)
	}
	if err := checkStorable(*m.Outcome); err != nil {
		return err
	}
	switch m.Outcome.State {
	case schedule.Owed, schedule.Refused, schedule.Parked, schedule.Sent:
	default:
		return refuse(schedule.Invalid, "state", "a try to send cannot end as %q: use owed, sent, refused or parked", m.Outcome.State)
	}
	if m.Outcome.State == schedule.Sent && m.Outcome.Uncertain {
		return refuse(schedule.Invalid, "uncertain", "notice %s was taken by the server: that is certain", m.Notice)
	}
	return nil
}

// record keeps one mark. What it refuses, it has not changed.
func record(ctx context.Context, tx *sql.Tx, owner string, m schedule.Mark) error {
	if m.Outcome != nil {
		return settle(ctx, tx, owner, m.Notice, *m.Outcome)
	}
	ok, err := touched(tx.ExecContext(ctx, `UPDATE notice SET handed_at = $1
		WHERE id = $2 AND owner = $3 AND state = 'sending' AND handed_at IS NULL AND lease_until >= $1`, micro(m.At), m.Notice, owner))
	if err != nil || ok {
		return err
	}
	return refusal{refuse(schedule.Conflict, "id", "notice %s is not held by %s any more: do not hand it over", m.Notice, owner)}
}

func settle(ctx context.Context, tx *sql.Tx, owner, id string, o schedule.Outcome) error {
	if o.NextTry.IsZero() {
		o.NextTry = o.At
	}
	uncertain, sent := 0, any(nil)
	if o.Uncertain {
		uncertain = 1
	}
	if o.State == schedule.Sent {
		sent = micro(o.At)
	}
	var state schedule.NoticeState
	var to string
	err := tx.QueryRowContext(ctx, `UPDATE notice
		SET state = CASE WHEN uncertain + CAST($1 AS INTEGER) >= 2 AND CAST($1 AS INTEGER) = 1 THEN 'parked' ELSE CAST($2 AS TEXT) END,
			uncertain = uncertain + CAST($1 AS INTEGER), next_try = $3, sent_at = $4, reply = $5,
			owner = '', lease_until = NULL, handed_at = NULL
		WHERE id = $6 AND owner = $7 AND state = 'sending'
		RETURNING state, to_addr`,
		uncertain, string(o.State), micro(o.NextTry), sent, o.Reply, id, owner).Scan(&state, &to)
	if errors.Is(err, sql.ErrNoRows) {
		return refusal{refuse(schedule.Conflict, "id", "notice %s is not held by %s any more: its outcome was not recorded", id, owner)}
	}
	if err != nil {
		return err
	}
	if err := step(ctx, tx, id, o.At, stepOf(state, o), o.Reply); err != nil {
		return err
	}
	if state == schedule.Sent {
		return wentThrough(ctx, tx, id, to)
	}
	if err := blame(ctx, tx, to, o.Blame, o.Reply, o.At); err != nil {
		return fmt.Errorf("count the refusal of notice %s: %w", id, err)
	}
	return nil
}

// stepOf is what an outcome is in the history of its notice.
func stepOf(state schedule.NoticeState, o schedule.Outcome) schedule.StepKind {
	switch {
	case state == schedule.Sent:
		return schedule.StepSent
	case state == schedule.Parked:
		return schedule.StepParked
	case state == schedule.Refused:
		return schedule.StepRefused
	case o.Uncertain:
		return schedule.StepUncertain
	}
	return schedule.StepPutOff
}
