package db

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"endshake/db/failpoint"
	"endshake/schedule"
)

const noticeColumns = `id, key, kind, person, clock, subject, occurrence, from_addr, to_addr, message_id, title,
	state, attempts, uncertain, created, first_try, next_try, sent_at, reply`

// hasBody: a notice has a message.
const hasBody = `EXISTS (SELECT 1 FROM notice_body b WHERE b.notice = notice.id)`

// Owe adds notices that are owed, in one transaction, and counts those that
// were not owed already, nor are covered by one that is. One that was but has no message, because its letter
// could not be written, gives way to the new. A notice gets an ID, the state Owed, and now as
// Created and NextTry, where these are empty.
func (s *Store) Owe(ctx context.Context, now time.Time, notices []schedule.Notice) (added int, err error) {
	if err := checkNotices(notices); err != nil {
		return 0, err
	}
	err = s.writeKeyed(ctx, "owe notices", func(tx *sql.Tx) (err error) {
		added, err = oweAll(ctx, tx, now, notices)
		return err
	})
	if err != nil {
		return 0, err
	}
	return added, nil
}

func checkNotices(notices []schedule.Notice) error {
	for _, n := range notices {
		if err := checkStorable(n); err != nil {
			return err
		}
		if n.Key == "" {
			return refuse(schedule.Invalid, "key", "a notice to %s has no key: it could be owed twice", n.Person)
		}
		for _, p := range n.Passes {
			if err := checkPass(p); err != nil {
				return err
			}
		}
	}
	return nil
}

func oweAll(ctx context.Context, tx *sql.Tx, now time.Time, notices []schedule.Notice) (added int, err error) {
	for _, n := range notices {
		n, err := completed(now, n)
		if err != nil {
			return 0, err
		}
		var covered bool // by a letter that another desk may have owed meanwhile
		if err := tx.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM covered JOIN notice ON notice.id = covered.notice WHERE covered.key = $1 AND `+stands+`)`, n.Key).Scan(&covered); err != nil {
			return 0, fmt.Errorf("owe notice %s: %w", n.Key, err)
		}
		if covered {
			continue
		}
		if _, err := tx.ExecContext(ctx, `DELETE FROM notice WHERE key = $1 AND attempts = 0 AND NOT `+hasBody, n.Key); err != nil {
			return 0, fmt.Errorf("owe notice %s: %w", n.Key, err)
		}
		// One refused at another address, which was mended since, keeps its steps and gives up its key.
		if _, err := tx.ExecContext(ctx, `UPDATE notice SET key = key || '|' || id WHERE key = $1 AND state = 'refused' AND lower(to_addr) <> lower($2)`, n.Key, n.To); err != nil {
			return 0, fmt.Errorf("owe notice %s: %w", n.Key, err)
		}
		ok, err := touched(tx.ExecContext(ctx, `INSERT INTO notice (`+noticeColumns+`, owner)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19, '')
			ON CONFLICT (key) DO NOTHING`,
			n.ID, n.Key, string(n.Kind), n.Person, n.Clock, n.Subject, n.Occurrence, n.From, n.To, n.MessageID, n.Title,
			string(n.State), n.Attempts, n.Uncertain, micro(n.Created), stamp(n.FirstTry), micro(n.NextTry), stamp(n.SentAt), n.Reply))
		if err != nil {
			return 0, fmt.Errorf("owe notice %s: %w", n.Key, err)
		}
		if !ok {
			continue
		}
		added++
		if len(n.Raw) > 0 {
			if _, err := tx.ExecContext(ctx, `INSERT INTO notice_body (notice, raw) VALUES ($1, $2)`, n.ID, n.Raw); err != nil {
				return 0, fmt.Errorf("owe notice %s: %w", n.Key, err)
			}
		}
		failpoint.Hit("K23") // one of several letters is owed, and nothing is committed
		if err := insertPasses(ctx, tx, n.Passes...); err != nil {
			return 0, err
		}
		if len(n.Passes) > 0 {
			failpoint.Hit("K33") // its tokens are stored, and nothing is committed
		}
		for _, k := range n.Covers {
			if _, err := tx.ExecContext(ctx, `INSERT INTO covered (key, notice) VALUES ($1, $2) ON CONFLICT DO NOTHING`, k, n.ID); err != nil {
				return 0, fmt.Errorf("owe notice %s, which covers %s: %w", n.Key, k, err)
			}
		}
		what := schedule.StepOwed
		if n.State == schedule.Refused { // it could not be written
			what = schedule.StepRefused
		}
		if err := step(ctx, tx, n.ID, n.Created, what, n.Reply); err != nil {
			return 0, err
		}
	}
	return added, nil
}

func completed(now time.Time, n schedule.Notice) (schedule.Notice, error) {
	if n.ID == "" {
		id, err := uuid.NewV7()
		if err != nil {
			return n, fmt.Errorf("make an ID: %w", err)
		}
		n.ID = id.String()
	}
	if n.State == "" {
		n.State = schedule.Owed
	}
	if n.Created.IsZero() {
		n.Created = now
	}
	if n.NextTry.IsZero() {
		n.NextTry = now
	}
	n.Passes = slices.Clone(n.Passes)
	for i := range n.Passes {
		p := &n.Passes[i]
		p.Notice = n.ID
		if p.Made.IsZero() {
			p.Made = now
		}
	}
	return n, nil
}

// claimable are the notices that may be claimed at $3, by the clock of leases where
// those count: first those that a sender left behind whose lease is over, and not yet uncertain twice, then those that
// are owed and due. An index leads to each by the state; where the rows are
// known by their IDs, stateHere has the engine not follow it.
var claimable = []string{
	`state = 'sending' AND lease_until < $3 AND (handed_at IS NULL OR uncertain = 0)`,
	`state = 'owed' AND next_try <= $3`,
}

func stateHere(cond string) string { return strings.Replace(cond, "state =", "state || '' =", 1) }

// ClaimNotices claims at most n notices for an owner until the lease is over,
// those that a sender left behind first, then the longest due, and returns them with Raw. Each is claimed by one
// owner at a time. The first claim is a notice's FirstTry.
//
// A sender records a mark before the body of a message, and its outcome when it
// has the reply. A claim whose lease ran out before the mark is simply claimed
// again. One that ran out after it may or may not have gone out: it is
// counted as uncertain and claimed again once; the second time it is parked and
// not returned, so that nothing goes out more than twice.
func (s *Store) ClaimNotices(ctx context.Context, owner string, now time.Time, lease time.Duration, n int) ([]schedule.Notice, error) {
	var claimed []schedule.Notice
	err := s.write(ctx, "claim notices", func(tx *sql.Tx) error {
		claimed = nil
		if err := s.ahead(ctx, tx); err != nil {
			return err
		}
		if err := s.refuseStopped(ctx, tx, now); err != nil {
			return err
		}
		if err := s.park(ctx, tx, now); err != nil {
			return err
		}
		ids := []string{}
		for i, claimable := range claimable {
			at := now
			if i == 0 {
				at = s.leaseTime(now)
			}
			// On PostgreSQL a row that another sender is claiming is passed over, for
			// who waits for it comes back with nothing. The condition stands outside as
			// well, should it have been claimed before this one gets its lock.
			more, err := texts(ctx, kept{s, tx}, `UPDATE notice
				SET state = 'sending', owner = $1, lease_until = $2, attempts = attempts + 1, first_try = COALESCE(first_try, $5),
					uncertain = uncertain + CASE WHEN handed_at IS NULL THEN 0 ELSE 1 END, handed_at = NULL
				WHERE id IN (SELECT id FROM notice WHERE `+claimable+`
					AND NOT EXISTS (SELECT 1 FROM mailbox m WHERE m.address = lower(to_addr) AND m.stopped_at IS NOT NULL)
					ORDER BY next_try, id LIMIT $4`+s.dialect.skipLocked+`) AND `+stateHere(claimable)+`
				RETURNING id`, owner, micro(s.leaseTime(now).Add(lease)), micro(at), n-len(ids), micro(now))
			if err != nil {
				return err
			}
			ids = append(ids, more...)
		}
		if len(ids) == 0 {
			return nil
		}
		args := make([]any, len(ids))
		for i, id := range ids {
			args[i] = id
		}
		err := kept{s, tx}.exec(ctx, `INSERT INTO notice_event (notice, n, at, what, words)
			SELECT id, COALESCE((SELECT MAX(e.n) FROM notice_event e WHERE e.notice = id), 0) + 1, $`+strconv.Itoa(len(args)+1)+`, 'tried', ''
			FROM notice WHERE id IN `+places(1, len(ids)), append(args, micro(now))...)
		if err != nil {
			return err
		}
		claimed, err = notices(ctx, kept{s, tx}, true, `WHERE id IN `+places(1, len(ids))+` ORDER BY next_try, id`, args...)
		return err
	})
	if err != nil {
		return nil, err
	}
	return claimed, nil
}

// parkedWords is what is kept of a notice whose sender died twice after it had
// marked it: of either time nobody knows whether it went out.
const parkedWords = "perhaps handed over twice, and never answered: ask the reader whether it came"

// park parks what was handed over a second time by a sender whose lease is over.
func (s *Store) park(ctx context.Context, tx *sql.Tx, now time.Time) error {
	ids, err := texts(ctx, kept{s, tx}, `UPDATE notice
		SET state = 'parked', uncertain = uncertain + 1, owner = '', lease_until = NULL, handed_at = NULL, reply = $2
		WHERE state = 'sending' AND lease_until < $1 AND handed_at IS NOT NULL AND uncertain > 0
		RETURNING id`, micro(s.leaseTime(now)), parkedWords)
	if err != nil {
		return err
	}
	for _, id := range ids {
		if err := step(ctx, tx, id, now, schedule.StepParked, parkedWords); err != nil {
			return err
		}
	}
	return nil
}

// Resend owes a refused or parked notice anew because a person asks for it: as
// if it had never been tried.
func (s *Store) Resend(ctx context.Context, actor, id string, now time.Time) error {
	return s.write(ctx, "resend a notice", func(tx *sql.Tx) error {
		var state schedule.NoticeState
		var to string
		err := tx.QueryRowContext(ctx, `SELECT state, to_addr FROM notice WHERE id = $1`, id).Scan(&state, &to)
		if errors.Is(err, sql.ErrNoRows) {
			return noNotice(id)
		}
		if err != nil {
			return err
		}
		boxes, err := mailboxes(ctx, tx, `WHERE address = $1 AND `+stopped, mailboxKey(to))
		if err != nil {
			return err
		}
		if len(boxes) > 0 {
			return refuse(schedule.Conflict, "id", "%s; set the address going in the mail room first, then send again", boxes[0].Reason())
		}
		ok, err := touched(tx.ExecContext(ctx, `UPDATE notice SET state = 'owed', attempts = 0, uncertain = 0, first_try = NULL, sent_at = NULL, next_try = $1
			WHERE id = $2 AND state IN ('refused', 'parked')`, micro(now), id))
		if err != nil {
			return err
		}
		if !ok {
			return refuse(schedule.Conflict, "id", "the notice is %s: only a refused or parked one can be sent again", state)
		}
		if err := step(ctx, tx, id, now, schedule.StepAgain, "by "+actor); err != nil {
			return err
		}
		return s.dialect.audit(ctx, tx, now, actor, AuditRow{Action: "resend", Subject: "notice " + id})
	})
}

func noNotice(id string) error {
	return refuse(schedule.NotFound, "id", "there is no notice %q: see the list of notices", id)
}

// Notices lists notices, newest first, at most limit, without Raw.
func (s *Store) Notices(ctx context.Context, limit int) ([]schedule.Notice, error) {
	return notices(ctx, s.db, false, `ORDER BY created DESC, id DESC LIMIT $1`, limit)
}

// Notice gives one notice, with Raw.
func (s *Store) Notice(ctx context.Context, id string) (schedule.Notice, error) {
	list, err := notices(ctx, s.db, true, `WHERE id = $1`, id)
	if err != nil {
		return schedule.Notice{}, err
	}
	if len(list) == 0 {
		return schedule.Notice{}, noNotice(id)
	}
	return list[0], nil
}

// notices reads notices; where is what comes after the table in the query.
func notices(ctx context.Context, q querier, raw bool, where string, args ...any) ([]schedule.Notice, error) {
	columns := noticeColumns
	if raw {
		columns += `, (SELECT raw FROM notice_body b WHERE b.notice = notice.id)`
	}
	var all []schedule.Notice
	err := each(ctx, q, `SELECT `+columns+` FROM notice `+where, args, func(rows *sql.Rows) error {
		var n schedule.Notice
		to := []any{&n.ID, &n.Key, &n.Kind, &n.Person, &n.Clock, &n.Subject, &n.Occurrence, &n.From, &n.To, &n.MessageID, &n.Title,
			&n.State, &n.Attempts, &n.Uncertain, instant{&n.Created}, instant{&n.FirstTry}, instant{&n.NextTry}, instant{&n.SentAt}, &n.Reply}
		if raw {
			to = append(to, &n.Raw)
		}
		if err := rows.Scan(to...); err != nil {
			return err
		}
		if len(n.Raw) == 0 {
			n.Raw = nil
		}
		all = append(all, n)
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("read notices: %w", err)
	}
	return all, nil
}

// NoticeCounts counts the notices in each state; a state that none is in is
// left out.
func (s *Store) NoticeCounts(ctx context.Context) (map[schedule.NoticeState]int, error) {
	counts := map[schedule.NoticeState]int{}
	err := each(ctx, s.db, `SELECT state, count(*) FROM notice GROUP BY state`, nil, func(rows *sql.Rows) error {
		var state schedule.NoticeState
		var n int
		err := rows.Scan(&state, &n)
		counts[state] = n
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("count the notices: %w", err)
	}
	return counts, nil
}
