package db

import (
	"context"
	"database/sql"
	"fmt"
	"math"
	"strings"
	"time"
)

// AuditRow says who changed what.
type AuditRow struct {
	ID      int64 // 1, 2, 3 ... in the order of commit
	At      time.Time
	Actor   string
	Action  string // logged, logged many, described, learned, resend, exported, erased
	Subject string // what: "clock corn-hall", "notice 0190..."
	Detail  string // what it became: entry ID and kind, or the description as JSON
}

// audit writes audit rows, each chained to the one before, and moves the revision
// on. It comes last in a transaction: from here to the commit no other change gets
// in, so that no two rows follow the same one.
func (d dialect) audit(ctx context.Context, tx *sql.Tx, now time.Time, actor string, rows ...AuditRow) error {
	if err := checkText("actor", actor); err != nil {
		return err
	}
	var last int64
	var told string
	err := tx.QueryRowContext(ctx, d.raise, len(rows)).Scan(&last, &told)
	if err != nil {
		return err
	}
	before, err := hashBefore(ctx, tx, last-int64(len(rows))+1)
	if err != nil {
		return err
	}
	for i, r := range rows {
		r.ID, r.At, r.Actor = last-int64(len(rows)-1-i), micro(now), actor
		l := newLink(before, r)
		_, err := tx.ExecContext(ctx, `INSERT INTO audit (id, at, actor, action, subject, detail, salt, seal, hash) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)`,
			r.ID, r.At, actor, r.Action, r.Subject, r.Detail, l.salt, l.seal, l.hash)
		if err != nil {
			return err
		}
		before = l.hash
	}
	return nil
}

// Exported audits that somebody took clocks, by their slugs, away with their logs.
func (s *Store) Exported(ctx context.Context, actor string, now time.Time, clocks []string) error {
	return s.write(ctx, "audit an export", func(tx *sql.Tx) error {
		return s.dialect.audit(ctx, tx, now, actor, AuditRow{Action: "exported", Subject: "the fleet", Detail: strings.Join(clocks, ", ")})
	})
}

// Revision grows with every change of the log, the fleet or what it taught, by
// any process.
func (s *Store) Revision(ctx context.Context) (int64, error) {
	var n int64
	err := s.db.QueryRowContext(ctx, `SELECT n FROM revision WHERE one = 1`).Scan(&n)
	if err != nil {
		return 0, fmt.Errorf("read the revision: %w", err)
	}
	return n, nil
}

// Audit lists who changed what, newest first, at most limit rows.
func (s *Store) Audit(ctx context.Context, limit int) ([]AuditRow, error) {
	return s.AuditOf(ctx, "", 0, limit)
}

// AuditOf lists what an actor changed, or everybody where none is named, before
// the row of an ID (0: the latest), newest first, at most limit rows. Who was
// erased stands, and is asked for, as Erasure.Name.
func (s *Store) AuditOf(ctx context.Context, actor string, before int64, limit int) ([]AuditRow, error) {
	if before <= 0 {
		before = math.MaxInt64
	}
	gone, err := erasures(ctx, s.db)
	if err != nil {
		return nil, fmt.Errorf("read the audit: %w", err)
	}
	for _, e := range gone {
		if e.Name() == actor {
			actor = e.Person
		}
	}
	var all []AuditRow
	err = each(ctx, s.db, `SELECT id, at, actor, action, subject, detail FROM audit
		WHERE id < $1 AND ($2 = '' OR actor = $2) ORDER BY id DESC LIMIT $3`, []any{before, actor, limit},
		func(rows *sql.Rows) error {
			var r AuditRow
			err := rows.Scan(&r.ID, instant{&r.At}, &r.Actor, &r.Action, &r.Subject, &r.Detail)
			all = append(all, r)
			return err
		})
	if err != nil {
		return nil, fmt.Errorf("read the audit: %w", err)
	}
	renamed(gone, all)
	return all, nil
}
