package db

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"endshake/schedule"
)

// Record commits marks of a sender in one transaction and gives the error of
// each, nil where it was recorded. A Conflict or an Invalid is that mark's
// alone; any other error is that of all, and nothing was recorded. Of one
// notice there is at most one mark of each kind. Hand-overs come first, and count
// as made at the latest of their instants.
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
// not the owner's any more; what has come back meanwhile stays refused, and is none.
func (s *Store) Record(ctx context.Context, owner string, marks []schedule.Mark) []error {
	invalid := make([]error, len(marks))
	for i, m := range marks {
		invalid[i] = checkMark(m)
	}
	errs := make([]error, len(marks))
	err := s.write(ctx, "record what became of notices", func(tx *sql.Tx) error {
		copy(errs, invalid)
		if err := s.record(ctx, tx, owner, marks, errs); err != nil {
			return err
		}
		return cameBack(ctx, tx, marks, errs)
	})
	if err != nil {
		for i := range errs {
			errs[i] = err
		}
	}
	return errs
}

// cameBack takes the outcomes of notices that came back before they were kept:
// there is nothing left to record.
func cameBack(ctx context.Context, tx *sql.Tx, marks []schedule.Mark, errs []error) error {
	for i, m := range marks {
		if m.Outcome == nil || schedule.CodeOf(errs[i]) != schedule.Conflict {
			continue
		}
		back := 0
		err := tx.QueryRowContext(ctx, `SELECT count(*) FROM notice WHERE id = $1 AND state = 'refused' AND sent_at IS NOT NULL`, m.Notice).Scan(&back)
		if err != nil {
			return err
		}
		if back > 0 {
			errs[i] = nil
		}
	}
	return nil
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

// record keeps the marks that have no error yet, and gives those that it must
// refuse theirs.
func (s *Store) record(ctx context.Context, tx *sql.Tx, owner string, marks []schedule.Mark, errs []error) error {
	var handed, sent []int
	for i, m := range marks {
		switch {
		case errs[i] != nil:
		case m.Outcome == nil:
			handed = append(handed, i)
		case m.Outcome.State == schedule.Sent:
			sent = append(sent, i)
		}
	}
	if err := s.handOver(ctx, tx, owner, marks, handed, errs); err != nil {
		return err
	}
	if err := s.settleSent(ctx, tx, owner, marks, sent, errs); err != nil {
		return err
	}
	for i, m := range marks {
		if errs[i] != nil || m.Outcome == nil || m.Outcome.State == schedule.Sent {
			continue
		}
		err := settle(ctx, tx, owner, m.Notice, *m.Outcome)
		if said, ok := errors.AsType[refusal](err); ok {
			errs[i] = said.error
		} else if err != nil {
			return err
		}
	}
	return nil
}

// handOver marks notices as handed over, all in one statement, at the latest of
// their instants.
func (s *Store) handOver(ctx context.Context, tx *sql.Tx, owner string, marks []schedule.Mark, which []int, errs []error) error {
	if len(which) == 0 {
		return nil
	}
	var at time.Time
	args := []any{nil, owner}
	for _, i := range which {
		args = append(args, marks[i].Notice)
		if marks[i].At.After(at) {
			at = marks[i].At
		}
	}
	args[0] = micro(at)
	args = append(args, micro(s.leaseTime(at)))
	done := map[string]bool{}
	err := each(ctx, kept{s, tx}, `UPDATE notice SET handed_at = $1
		WHERE id IN `+places(3, len(which))+` AND owner = $2 AND state = 'sending' AND handed_at IS NULL AND lease_until >= $`+strconv.Itoa(len(args))+`
		RETURNING id`, args, func(rows *sql.Rows) error {
		var id string
		err := rows.Scan(&id)
		done[id] = true
		return err
	})
	for _, i := range which {
		if id := marks[i].Notice; !done[id] {
			errs[i] = refuse(schedule.Conflict, "id", "notice %s is not held by %s any more: do not hand it over", id, owner)
		}
	}
	return err
}

// settleSent settles notices that their server took, each kind of statement
// once for all.
func (s *Store) settleSent(ctx context.Context, tx *sql.Tx, owner string, marks []schedule.Mark, which []int, errs []error) error {
	if len(which) == 0 {
		return nil
	}
	n := len(which)
	ids, replies := make([]any, n), make([]any, n)
	var at time.Time
	var cases strings.Builder
	for k, i := range which {
		ids[k], replies[k] = marks[i].Notice, marks[i].Outcome.Reply
		fmt.Fprintf(&cases, " WHEN $%d THEN CAST($%d AS TEXT)", 3+k, 3+n+k)
		if marks[i].Outcome.At.After(at) {
			at = marks[i].Outcome.At
		}
	}
	to, blamed := map[string]string{}, false
	args := append(append([]any{micro(at), owner}, ids...), replies...)
	err := each(ctx, kept{s, tx}, `UPDATE notice SET state = 'sent', sent_at = $1, next_try = $1, reply = CASE id`+cases.String()+` END,
			owner = '', lease_until = NULL, handed_at = NULL
		WHERE id IN `+places(3, n)+` AND owner = $2 AND state = 'sending'
		RETURNING id, to_addr, EXISTS (SELECT 1 FROM mailbox m WHERE m.address = lower(to_addr) AND m.stopped_at IS NULL)`, args, func(rows *sql.Rows) error {
		var id, addr string
		var has bool
		err := rows.Scan(&id, &addr, &has)
		to[id], blamed = addr, blamed || has
		return err
	})
	if err != nil {
		return err
	}
	for _, i := range which {
		if id := marks[i].Notice; to[id] == "" {
			errs[i] = refuse(schedule.Conflict, "id", "notice %s is not held by %s any more: its outcome was not recorded", id, owner)
		}
	}
	var done []any
	for id := range to {
		done = append(done, id)
	}
	if len(done) == 0 {
		return nil
	}
	err = kept{s, tx}.exec(ctx, `INSERT INTO notice_event (notice, n, at, what, words)
		SELECT id, COALESCE((SELECT MAX(e.n) FROM notice_event e WHERE e.notice = id), 0) + 1, sent_at, 'sent', reply
		FROM notice WHERE id IN `+places(1, len(done)), done...)
	if err != nil || !blamed {
		return err
	}
	for id, addr := range to {
		if err := wentThrough(ctx, tx, id, addr); err != nil {
			return err
		}
	}
	return nil
}

// settle settles a notice that was not sent.
func settle(ctx context.Context, tx *sql.Tx, owner, id string, o schedule.Outcome) error {
	if o.NextTry.IsZero() {
		o.NextTry = o.At
	}
	uncertain := 0
	if o.Uncertain {
		uncertain = 1
	}
	var state schedule.NoticeState
	var to string
	err := tx.QueryRowContext(ctx, `UPDATE notice
		SET state = CASE WHEN uncertain + CAST($1 AS INTEGER) >= 2 AND CAST($1 AS INTEGER) = 1 THEN 'parked' ELSE CAST($2 AS TEXT) END,
			uncertain = uncertain + CAST($1 AS INTEGER), next_try = $3, sent_at = NULL, reply = $4,
			owner = '', lease_until = NULL, handed_at = NULL
		WHERE id = $5 AND owner = $6 AND state = 'sending'
		RETURNING state, to_addr`,
		uncertain, string(o.State), micro(o.NextTry), o.Reply, id, owner).Scan(&state, &to)
	if errors.Is(err, sql.ErrNoRows) {
		return refusal{refuse(schedule.Conflict, "id", "notice %s is not held by %s any more: its outcome was not recorded", id, owner)}
	}
	if err != nil {
		return err
	}
	if err := step(ctx, tx, id, o.At, stepOf(state, o), o.Reply); err != nil {
		return err
	}
	if err := blame(ctx, tx, to, o.Blame, o.Reply, o.At); err != nil {
		return fmt.Errorf("count the refusal of notice %s: %w", id, err)
	}
	return nil
}

// stepOf is what an outcome is in the history of its notice.
func stepOf(state schedule.NoticeState, o schedule.Outcome) schedule.StepKind {
	switch {
	case state == schedule.Parked:
		return schedule.StepParked
	case state == schedule.Refused:
		return schedule.StepRefused
	case o.Uncertain:
		return schedule.StepUncertain
	}
	return schedule.StepPutOff
}
