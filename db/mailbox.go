package db

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"
	"time"

	"endshake/schedule"
)

// mailboxKey is how an address is kept: no server that matters tells capitals
// from small letters.
func mailboxKey(address string) string { return strings.ToLower(address) }

// stopped are the mailboxes that nothing is sent to.
const stopped = `stopped_at IS NOT NULL`

// Mailboxes lists the addresses that nothing is sent to any more, the last
// stopped first, at most limit.
func (s *Store) Mailboxes(ctx context.Context, limit int) ([]schedule.Mailbox, error) {
	return mailboxes(ctx, s.db, `WHERE `+stopped+` ORDER BY stopped_at DESC, address LIMIT $1`, limit)
}

func mailboxes(ctx context.Context, q querier, where string, args ...any) ([]schedule.Mailbox, error) {
	var all []schedule.Mailbox
	err := each(ctx, q, `SELECT address, refusals, stopped_at, why FROM mailbox `+where, args, func(rows *sql.Rows) error {
		var m schedule.Mailbox
		err := rows.Scan(&m.Address, &m.Refusals, instant{&m.Stopped}, &m.Why)
		all = append(all, m)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("read mailboxes: %w", err)
	}
	return all, nil
}

// StopMailbox stops an address at once: nothing is claimed for it any more, and
// what is owed to it is refused with the reason. One that is stopped already
// keeps its day and its reason.
func (s *Store) StopMailbox(ctx context.Context, address, why string, now time.Time) error {
	return s.blameMailbox(ctx, address, schedule.NoSuch, why, now)
}

// BlameMailbox counts a refusal for good of an address, and stops it by the
// rule of [schedule.Mailbox.Refused].
func (s *Store) BlameMailbox(ctx context.Context, address string, b schedule.Blame, why string, now time.Time) error {
	return s.blameMailbox(ctx, address, b, why, now)
}

func (s *Store) blameMailbox(ctx context.Context, address string, b schedule.Blame, why string, now time.Time) error {
	if err := checkText("address", address); err != nil {
		return err
	}
	if err := checkText("why", why); err != nil {
		return err
	}
	if address == "" {
		return refuse(schedule.Invalid, "address", "no address is named: name the one that refuses")
	}
	return s.write(ctx, "count a refusal", func(tx *sql.Tx) error { return blame(ctx, tx, address, b, why, now) })
}

// blame counts a refusal in a transaction.
func blame(ctx context.Context, tx *sql.Tx, address string, b schedule.Blame, why string, now time.Time) error {
	if b == schedule.NoBlame {
		return nil
	}
	key := mailboxKey(address)
	// The first makes the row or takes hold of it, so that no refusal is lost.
	_, err := tx.ExecContext(ctx, `INSERT INTO mailbox (address, refusals, stopped_at, why) VALUES ($1, 0, NULL, '')
		ON CONFLICT (address) DO UPDATE SET refusals = mailbox.refusals`, key)
	if err != nil {
		return err
	}
	list, err := mailboxes(ctx, tx, `WHERE address = $1`, key)
	if err != nil {
		return err
	}
	m := list[0].Refused(b, why, now)
	if m == list[0] {
		return nil
	}
	if _, err := tx.ExecContext(ctx, `UPDATE mailbox SET refusals = $1, stopped_at = $2, why = $3 WHERE address = $4`,
		m.Refusals, stamp(m.Stopped), m.Why, key); err != nil {
		return err
	}
	if m.Stopped.IsZero() {
		return nil
	}
	return refuseOwed(ctx, tx, m, now)
}

// refuseOwed refuses what is owed to a mailbox that is stopped, also what a
// sender that died had claimed for it.
func refuseOwed(ctx context.Context, tx *sql.Tx, m schedule.Mailbox, now time.Time) error {
	reason := m.Reason()
	ids, err := texts(ctx, tx, `UPDATE notice
		SET state = 'refused', reply = $1, owner = '', lease_until = NULL, handed_at = NULL
		WHERE (state = 'owed' OR (state = 'sending' AND lease_until < $2)) AND lower(to_addr) = $3
		RETURNING id`, reason, micro(now), m.Address)
	if err != nil {
		return err
	}
	for _, id := range ids {
		if err := step(ctx, tx, id, now, schedule.StepRefused, reason); err != nil {
			return err
		}
	}
	return nil
}

// refuseStopped refuses what has come to be owed to mailboxes that are stopped.
func (s *Store) refuseStopped(ctx context.Context, tx *sql.Tx, now time.Time) error {
	list, err := mailboxes(ctx, kept{s, tx}, `WHERE `+stopped)
	if err != nil {
		return err
	}
	for _, m := range list {
		if err := refuseOwed(ctx, tx, m, now); err != nil {
			return err
		}
	}
	return nil
}

// wentThrough forgets the refusals of an address that a letter went to. Where
// the letter before came back after the server had taken it, that the server
// takes this one proves nothing yet, so the count stays.
func wentThrough(ctx context.Context, tx *sql.Tx, id, address string) error {
	_, err := tx.ExecContext(ctx, `DELETE FROM mailbox WHERE address = $1 AND stopped_at IS NULL
		AND NOT COALESCE((SELECT n.state = 'refused' AND n.sent_at IS NOT NULL FROM notice n
			WHERE lower(n.to_addr) = $1 AND n.id <> $2 AND n.state IN ('sent', 'refused')
			ORDER BY n.created DESC, n.id DESC LIMIT 1), false)`, mailboxKey(address), id)
	return err
}

// StartMailbox sets an address going again because a person asks for it, with
// no refusals. What was refused meanwhile stays refused until it is resent.
func (s *Store) StartMailbox(ctx context.Context, actor, address string, now time.Time) error {
	key := mailboxKey(address)
	return s.write(ctx, "set a mailbox going", func(tx *sql.Tx) error {
		ok, err := touched(tx.ExecContext(ctx, `DELETE FROM mailbox WHERE address = $1 AND `+stopped, key))
		if err != nil {
			return err
		}
		if !ok {
			return refuse(schedule.NotFound, "address", "the address %q is not stopped: there is nothing to set going", address)
		}
		return s.dialect.audit(ctx, tx, now, actor, AuditRow{Action: "set going", Subject: "mailbox " + key})
	})
}

// Bounced records that a notice which its server had taken came back: it is
// refused, with the words of whoever returned it, and its address is blamed. It
// gives the address. So is one that was handed over and is not known to have been
// taken: the bounce shows it, though it came before that was kept. Any other notice
// is left as it is, but blames all the same.
func (s *Store) Bounced(ctx context.Context, id string, b schedule.Blame, words string, now time.Time) (address string, err error) {
	if err := checkText("words", words); err != nil {
		return "", err
	}
	err = s.write(ctx, "take a bounce", func(tx *sql.Tx) error {
		address, err = bounced(ctx, tx, id, b, words, now)
		return err
	})
	return address, err
}

// bounced records in a transaction that a notice came back.
func bounced(ctx context.Context, tx *sql.Tx, id string, b schedule.Blame, words string, now time.Time) (address string, err error) {
	// The change of nothing holds the row, so that steps are numbered in order.
	again := false
	err = tx.QueryRowContext(ctx, `UPDATE notice SET reply = reply WHERE id = $1
		RETURNING to_addr, state = 'refused' AND sent_at IS NOT NULL`, id).Scan(&address, &again)
	if errors.Is(err, sql.ErrNoRows) {
		return "", noNotice(id)
	}
	if err != nil {
		return "", err
	}
	if _, err := tx.ExecContext(ctx, `UPDATE notice SET state = 'refused', reply = $1, sent_at = COALESCE(sent_at, $3), owner = '', lease_until = NULL, handed_at = NULL
		WHERE id = $2 AND (state = 'sent' OR state = 'sending' AND handed_at IS NOT NULL OR state IN ('owed', 'sending', 'parked') AND uncertain > 0)`,
		"came back: "+words, id, micro(now)); err != nil {
		return "", err
	}
	if err := step(ctx, tx, id, now, schedule.StepBack, words); err != nil {
		return "", err
	}
	if again && b != schedule.NoSuch { // one letter counts once, however many reports of it come
		return address, nil
	}
	return address, blame(ctx, tx, address, b, words, now)
}

// mostTrouble bounds what one weekly letter lists of each.
const mostTrouble = 200

// Trouble is what did not reach its reader: the notices that were refused,
// parked or came back since an instant, those that have been tried, or waited to
// be, for more than a day by now, and the mailboxes that are stopped; the newest
// first.
func (s *Store) Trouble(ctx context.Context, since, now time.Time) (schedule.Trouble, error) {
	var t schedule.Trouble
	err := s.read(ctx, func(tx *sql.Tx) (err error) {
		t.Notices, err = notices(ctx, tx, false, `WHERE (state IN ('refused', 'parked')
				AND COALESCE((SELECT MAX(at) FROM notice_event e WHERE e.notice = notice.id), created) >= $1)
			OR (state IN ('owed', 'sending') AND COALESCE(first_try, next_try) < $2)
			ORDER BY created DESC, id DESC LIMIT $3`, micro(since), micro(now.Add(-24*time.Hour)), mostTrouble)
		if err != nil {
			return err
		}
		for i := range t.Notices {
			n := &t.Notices[i]
			if n.State == schedule.Refused || n.State == schedule.Parked {
				if err := tx.QueryRowContext(ctx, `SELECT MAX(at) FROM notice_event WHERE notice = $1`, n.ID).Scan(instant{&n.Settled}); err != nil {
					return err
				}
			}
		}
		if t.Held, err = inwards(ctx, tx, false, `WHERE state = 'held' ORDER BY at, id LIMIT $1`, mostTrouble); err != nil {
			return err
		}
		t.Mailboxes, err = mailboxes(ctx, tx, `WHERE `+stopped+` ORDER BY stopped_at DESC, address LIMIT $1`, mostTrouble)
		return err
	})
	return t, err
}

// MailStuck gives how many mailboxes are stopped, and since when the notice that
// has waited longest has been tried, or is to be; zero: none waits.
func (s *Store) MailStuck(ctx context.Context) (stoppedBoxes int, oldest time.Time, err error) {
	err = s.db.QueryRowContext(ctx, `SELECT (SELECT count(*) FROM mailbox WHERE `+stopped+`),
		(SELECT MIN(COALESCE(first_try, next_try)) FROM notice WHERE state IN ('owed', 'sending'))`).Scan(&stoppedBoxes, instant{&oldest})
	if err != nil {
		return 0, time.Time{}, fmt.Errorf("look for mail that is stuck: %w", err)
	}
	return stoppedBoxes, oldest, nil
}

// texts runs a query whose rows are one text each.
func texts(ctx context.Context, q querier, query string, args ...any) ([]string, error) {
	var all []string
	err := each(ctx, q, query, args, func(rows *sql.Rows) error {
		var v string
		err := rows.Scan(&v)
		all = append(all, v)
		return err
	})
	return all, err
}
