package db

import (
	"context"
	"database/sql"
	"fmt"
	"time"

	"endshake/schedule"
)

// step adds a step to the history of a notice. It comes after a change of the
// notice in the same transaction, which holds its row, so no two steps get the
// same number.
func step(ctx context.Context, tx *sql.Tx, id string, at time.Time, what schedule.StepKind, words string) error {
	_, err := tx.ExecContext(ctx, `INSERT INTO notice_event (notice, n, at, what, words)
		SELECT CAST($1 AS TEXT), COALESCE(MAX(n), 0) + 1, $2, CAST($3 AS TEXT), CAST($4 AS TEXT) FROM notice_event WHERE notice = $1`,
		id, micro(at), string(what), words)
	if err != nil {
		return fmt.Errorf("note that notice %s was %s: %w", id, what, err)
	}
	return nil
}

// Steps gives what became of a notice, step by step, oldest first.
func (s *Store) Steps(ctx context.Context, id string) ([]schedule.Step, error) {
	var all []schedule.Step
	err := each(ctx, s.db, `SELECT at, what, words FROM notice_event WHERE notice = $1 ORDER BY n`, []any{id}, func(rows *sql.Rows) error {
		var st schedule.Step
		err := rows.Scan(instant{&st.At}, &st.What, &st.Words)
		all = append(all, st)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("read the steps of notice %s: %w", id, err)
	}
	return all, nil
}
