package db

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"

	"endshake/schedule"
)

// learner is who the audit names for what nobody typed.
const learner = "endshake"

// SaveLearned keeps what the fleet has taught under the next version, counting
// from 1, with an audit row, and returns it as it is stored. Two processes never
// give one version twice. It is never changed afterwards. A figure that is no
// number and a missing FittedAt are Invalid.
func (s *Store) SaveLearned(ctx context.Context, l schedule.Learned) (schedule.Learned, error) {
	if err := checkStorable(l); err != nil {
		return schedule.Learned{}, err
	}
	if l.FittedAt.IsZero() {
		return schedule.Learned{}, refuse(schedule.Invalid, "fittedat", "what the fleet taught has no time: say when it was fitted")
	}
	l.FittedAt = micro(l.FittedAt)
	err := s.write(ctx, "save what the fleet taught", func(tx *sql.Tx) error {
		// Held to the end, so that nobody else takes the same number.
		if _, err := tx.ExecContext(ctx, `UPDATE revision SET n = n WHERE one = 1`); err != nil {
			return err
		}
		if err := tx.QueryRowContext(ctx, `SELECT COALESCE(MAX(version), 0) + 1 FROM learned`).Scan(&l.Version); err != nil {
			return err
		}
		body, err := json.Marshal(l)
		if err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, `INSERT INTO learned (version, fitted_at, body) VALUES ($1, $2, $3)`, l.Version, l.FittedAt, string(body))
		if err != nil {
			return err
		}
		return s.dialect.audit(ctx, tx, l.FittedAt, learner, AuditRow{Action: actLearned, Subject: fmt.Sprintf("the fleet, version %d", l.Version),
			Detail: fmt.Sprintf("from %d bearings with %d readings", l.Model.Bearings, l.Model.Readings)})
	})
	if err != nil {
		return schedule.Learned{}, err
	}
	return l, nil
}

// Learned gives what the fleet taught last; false where it was never asked.
func (s *Store) Learned(ctx context.Context) (schedule.Learned, bool, error) {
	return s.learned(ctx, `SELECT body FROM learned ORDER BY version DESC LIMIT 1`)
}

// LearnedVersion gives what the fleet taught under a version; false where there
// is none.
func (s *Store) LearnedVersion(ctx context.Context, version int) (schedule.Learned, bool, error) {
	return s.learned(ctx, `SELECT body FROM learned WHERE version = $1`, version)
}

func (s *Store) learned(ctx context.Context, query string, args ...any) (schedule.Learned, bool, error) {
	var body []byte
	err := s.db.QueryRowContext(ctx, query, args...).Scan(&body)
	if errors.Is(err, sql.ErrNoRows) {
		return schedule.Learned{}, false, nil
	}
	var l schedule.Learned
	if err == nil {
		err = json.Unmarshal(body, &l)
	}
	if err != nil {
		return schedule.Learned{}, false, fmt.Errorf("read what the fleet taught: %w", err)
	}
	return l, true, nil
}
