package db

import (
	"context"
	"database/sql"
	"fmt"
	"slices"
	"time"

	"endshake/schedule"
)

// Decline keeps that a person will have no more mail of a kind, and audits it;
// doing it again changes nothing.
func (s *Store) Decline(ctx context.Context, now time.Time, person string, kind schedule.NoticeKind) error {
	if err := checkText("person", person); err != nil {
		return err
	}
	if !slices.Contains(schedule.NoticeKinds, kind) {
		return refuse(schedule.Invalid, "kind", "there is no mail of the kind %q", kind)
	}
	return s.write(ctx, "decline mail", func(tx *sql.Tx) error {
		ok, err := touched(tx.ExecContext(ctx, `INSERT INTO decline (person, kind, at) VALUES ($1, $2, $3) ON CONFLICT (person, kind) DO NOTHING`,
			person, string(kind), micro(now)))
		if err != nil || !ok {
			return err
		}
		return s.dialect.audit(ctx, tx, now, person, AuditRow{Action: "declined", Subject: "person " + person, Detail: string(kind)})
	})
}

// Resume takes a decline back, and audits it; where there is none it changes
// nothing.
func (s *Store) Resume(ctx context.Context, now time.Time, person string, kind schedule.NoticeKind) error {
	return s.write(ctx, "have mail again", func(tx *sql.Tx) error {
		ok, err := touched(tx.ExecContext(ctx, `DELETE FROM decline WHERE person = $1 AND kind = $2`, person, string(kind)))
		if err != nil || !ok {
			return err
		}
		return s.dialect.audit(ctx, tx, now, person, AuditRow{Action: "resumed", Subject: "person " + person, Detail: string(kind)})
	})
}

// Declined lists what people declined, in the order of person and kind.
func (s *Store) Declined(ctx context.Context) ([]schedule.Decline, error) {
	return declined(ctx, s.db)
}

func declined(ctx context.Context, q querier) ([]schedule.Decline, error) {
	var all []schedule.Decline
	err := each(ctx, q, `SELECT person, kind, at FROM decline ORDER BY person, kind`, nil, func(rows *sql.Rows) error {
		var d schedule.Decline
		err := rows.Scan(&d.Person, &d.Kind, instant{&d.At})
		all = append(all, d)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("read what is declined: %w", err)
	}
	return all, nil
}
