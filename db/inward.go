package db

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"

	"endshake/db/failpoint"
	"endshake/schedule"
)

const inwardColumns = `id, mark, at, mail_from, rcpt_to, title, state, why, person, clock, notice, entry, settled`

// TakeIn keeps a message that came in, in the state Taken. It is false where one
// with the same Mark was kept before: then nothing is changed. When it returns
// without an error the message outlives a crash.
func (s *Store) TakeIn(ctx context.Context, m schedule.Inward) (taken bool, err error) {
	if err := checkStorable(m); err != nil {
		return false, err
	}
	if m.Mark == "" {
		return false, refuse(schedule.Invalid, "mark", "a message that came in has no mark: it could be taken twice")
	}
	if m.ID == "" {
		id, err := uuid.NewV7()
		if err != nil {
			return false, fmt.Errorf("make an ID: %w", err)
		}
		m.ID = id.String()
	}
	raw := m.Raw
	if raw == nil {
		raw = []byte{} // a nil slice would be NULL
	}
	err = s.write(ctx, "take in a message", func(tx *sql.Tx) error {
		taken, err = touched(tx.ExecContext(ctx, `INSERT INTO inward (`+inwardColumns+`, raw)
			VALUES ($1, $2, $3, $4, $5, $6, 'taken', '', '', '', '', '', NULL, $7) ON CONFLICT (mark) DO NOTHING`,
			m.ID, m.Mark, micro(m.At), m.From, m.To, m.Title, raw))
		failpoint.Hit("K25") // stored, and not committed
		return err
	})
	return taken && err == nil, err
}

// ToSettle gives messages in the state Taken with Raw, the first that came
// first, at most n.
func (s *Store) ToSettle(ctx context.Context, n int) ([]schedule.Inward, error) {
	return inwards(ctx, s.db, true, `WHERE state = 'taken' ORDER BY at, id LIMIT $1`, n)
}

// SettleIn records what became of a message in the state Taken (State, Why,
// Person, Clock, Notice, Entry and Settled of m), with notices that it owes, in
// one transaction. A Conflict means that it is settled already, and nothing was
// recorded.
func (s *Store) SettleIn(ctx context.Context, m schedule.Inward, owed ...schedule.Notice) error {
	if err := checkStorable(m); err != nil {
		return err
	}
	if err := checkNotices(owed); err != nil {
		return err
	}
	switch m.State {
	case schedule.Logged, schedule.Held, schedule.PassedBy, schedule.Bounced:
	default:
		return refuse(schedule.Invalid, "state", "a message that came in cannot be settled as %q: use logged, held, passed by or bounced", m.State)
	}
	return s.write(ctx, "settle a message that came in", func(tx *sql.Tx) error {
		if err := settleIn(ctx, tx, m); err != nil {
			return err
		}
		_, err := oweAll(ctx, tx, m.Settled, owed)
		return err
	})
}

// SettleBounce is SettleIn of a message that says that the notice m.Notice came
// back: in the same transaction the notice is refused with the words of m.Why,
// and its address is blamed, as in Bounced.
func (s *Store) SettleBounce(ctx context.Context, m schedule.Inward, b schedule.Blame) error {
	if err := checkStorable(m); err != nil {
		return err
	}
	m.State = schedule.Bounced
	return s.write(ctx, "settle a bounce", func(tx *sql.Tx) error {
		if err := settleIn(ctx, tx, m); err != nil {
			return err
		}
		_, err := bounced(ctx, tx, m.Notice, b, m.Why, m.Settled)
		return err
	})
}

func settleIn(ctx context.Context, tx *sql.Tx, m schedule.Inward) error {
	ok, err := touched(tx.ExecContext(ctx, `UPDATE inward SET state = $1, why = $2, person = $3, clock = $4, notice = $5, entry = $6, settled = $7
		WHERE id = $8 AND state = 'taken'`,
		string(m.State), m.Why, m.Person, m.Clock, m.Notice, m.Entry, micro(m.Settled), m.ID))
	if err == nil && !ok {
		return refuse(schedule.Conflict, "id", "message %s is settled already", m.ID)
	}
	return err
}

// CloseIn closes a message that was held, because somebody has decided; it is
// audited. entry is the ID of the entry that came of it; empty: none.
func (s *Store) CloseIn(ctx context.Context, actor, id, entry string, now time.Time) error {
	if err := checkText("entry", entry); err != nil {
		return err
	}
	return s.write(ctx, "close a message that came in", func(tx *sql.Tx) error {
		var state schedule.InwardState
		err := tx.QueryRowContext(ctx, `SELECT state FROM inward WHERE id = $1`, id).Scan(&state)
		if errors.Is(err, sql.ErrNoRows) {
			return noInward(id)
		}
		if err != nil {
			return err
		}
		ok, err := touched(tx.ExecContext(ctx, `UPDATE inward SET state = 'closed', entry = $1, settled = $2 WHERE id = $3 AND state = 'held'`,
			entry, micro(now), id))
		if err != nil {
			return err
		}
		if !ok {
			return refuse(schedule.Conflict, "id", "the message is %s: only one that is held waits for somebody to decide", state)
		}
		return s.dialect.audit(ctx, tx, now, actor, AuditRow{Action: "closed", Subject: "inward " + id, Detail: entry})
	})
}

func noInward(id string) error {
	return refuse(schedule.NotFound, "id", "there is no message %q that came in: see the mail room", id)
}

// Inwards lists messages that came in, newest first, at most limit, without Raw.
func (s *Store) Inwards(ctx context.Context, limit int) ([]schedule.Inward, error) {
	return inwards(ctx, s.db, false, `ORDER BY at DESC, id DESC LIMIT $1`, limit)
}

// Held lists the messages that wait for somebody to decide, oldest first,
// without Raw.
func (s *Store) Held(ctx context.Context) ([]schedule.Inward, error) {
	return inwards(ctx, s.db, false, `WHERE state = 'held' ORDER BY at, id`)
}

// Inward gives one message that came in, with Raw.
func (s *Store) Inward(ctx context.Context, id string) (schedule.Inward, error) {
	list, err := inwards(ctx, s.db, true, `WHERE id = $1`, id)
	if err != nil {
		return schedule.Inward{}, err
	}
	if len(list) == 0 {
		return schedule.Inward{}, noInward(id)
	}
	return list[0], nil
}

// inwards reads messages that came in; where is what follows the table.
func inwards(ctx context.Context, q querier, raw bool, where string, args ...any) ([]schedule.Inward, error) {
	columns := inwardColumns
	if raw {
		columns += `, raw`
	}
	var all []schedule.Inward
	err := each(ctx, q, `SELECT `+columns+` FROM inward `+where, args, func(rows *sql.Rows) error {
		var m schedule.Inward
		to := []any{&m.ID, &m.Mark, instant{&m.At}, &m.From, &m.To, &m.Title, &m.State, &m.Why, &m.Person, &m.Clock, &m.Notice, &m.Entry, instant{&m.Settled}}
		if raw {
			to = append(to, &m.Raw)
		}
		if err := rows.Scan(to...); err != nil {
			return err
		}
		if len(m.Raw) == 0 {
			m.Raw = nil
		}
		all = append(all, m)
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("read the messages that came in: %w", err)
	}
	return all, nil
}

// NoticesTo counts the notices of a kind to an envelope address since a time.
func (s *Store) NoticesTo(ctx context.Context, kind schedule.NoticeKind, to string, since time.Time) (int, error) {
	n := 0
	err := s.db.QueryRowContext(ctx, `SELECT count(*) FROM notice WHERE kind = $1 AND to_addr = $2 AND created >= $3`,
		string(kind), to, micro(since)).Scan(&n)
	if err != nil {
		return 0, fmt.Errorf("count the notices to %s: %w", to, err)
	}
	return n, nil
}

// How long the bodies of mail are kept. What they were, from whom, and what
// became of them stays.
const (
	inwardKept = 30 * 24 * time.Hour
	noticeKept = 90 * 24 * time.Hour
	// passKept is how long a link says what became of its task.
	passKept = 365 * 24 * time.Hour
)

// EmptyOldMail empties the bodies of messages that came in more than 30 days ago,
// and of notices that were sent, refused or parked and are more than 90 days old,
// and counts them; passes for an answer go a year after they were given. What is
// still to be looked at or sent is left whole.
func (s *Store) EmptyOldMail(ctx context.Context, now time.Time) (inward, notices int, err error) {
	err = s.write(ctx, "empty old mail", func(tx *sql.Tx) error {
		inward, notices = 0, 0
		r, err := tx.ExecContext(ctx, `UPDATE inward SET raw = $1 WHERE at < $2 AND length(raw) > 0 AND state <> 'taken'`,
			[]byte{}, micro(now.Add(-inwardKept)))
		if err != nil {
			return err
		}
		if n, err := r.RowsAffected(); err == nil {
			inward = int(n)
		}
		r, err = tx.ExecContext(ctx, `DELETE FROM notice_body WHERE notice IN (SELECT id FROM notice WHERE created < $1 AND state IN ('sent', 'refused', 'parked'))`,
			micro(now.Add(-noticeKept)))
		if err != nil {
			return err
		}
		if n, err := r.RowsAffected(); err == nil {
			notices = int(n)
		}
		_, err = tx.ExecContext(ctx, `DELETE FROM pass WHERE deed = $1 AND made < $2`, string(schedule.Answering), micro(now.Add(-passKept)))
		return err
	})
	return inward, notices, err
}
