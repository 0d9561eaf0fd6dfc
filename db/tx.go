package db

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"time"

	"github.com/jackc/pgx/v5/pgconn"

	"endshake/db/failpoint"
	"endshake/schedule"
)

// tries is how often a transaction that loses against another, or its line to the
// server, is run in all.
const tries = 5

// pause before the next try: doubling from 5 ms, with jitter so that two that
// met do not meet again.
func pause(try int) time.Duration {
	d := 5 * time.Millisecond << try
	return d/2 + rand.N(d)
}

// querier is what reading needs: the database, or a transaction in it.
type querier interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

// refusal is an error of a caller's own check. It goes back as it is.
type refusal struct{ error }

// write runs do in a transaction: committed where do returns nil, else nothing
// is left of it. do may be run again, so it must not keep anything of a run
// that failed. What says what was tried, for internal errors.
func (s *Store) write(ctx context.Context, what string, do func(*sql.Tx) error) error {
	return s.writes(ctx, what, false, do)
}

// writeKeyed is write of what keys tell to be there already: it is run again also
// where the answer to its commit was lost.
func (s *Store) writeKeyed(ctx context.Context, what string, do func(*sql.Tx) error) error {
	return s.writes(ctx, what, true, do)
}

func (s *Store) writes(ctx context.Context, what string, keyed bool, do func(*sql.Tx) error) error {
	if s.writer != nil {
		select {
		case s.writer <- struct{}{}:
			defer func() { <-s.writer }()
		case <-ctx.Done():
			return fmt.Errorf("%s: %w", what, ctx.Err())
		}
	}
	var err error
	for try := range tries {
		err = s.once(ctx, do)
		if said, ok := errors.AsType[refusal](err); ok {
			return said.error
		}
		if err == nil || !s.again(err, keyed) || !sleep(ctx, pause(try)) {
			break
		}
	}
	if err == nil || schedule.CodeOf(err) != "" {
		return err
	}
	if Unsettled(err) {
		return fmt.Errorf("%s: the database broke off before it said whether that is kept: do it once more: %w", what, err)
	}
	if s.dialect.fault(err) == diskFullFault {
		return fmt.Errorf("%s: the disk of the database is full: make room, nothing is lost: %w", what, err)
	}
	return fmt.Errorf("%s: %w", what, err)
}

// again reports whether a transaction that failed is to be run once more: one that
// lost, whose line broke before its commit, or, with keys, after it.
func (s *Store) again(err error, keyed bool) bool {
	if Unsettled(err) {
		return keyed
	}
	f := s.dialect.fault(err)
	return f == retryFault || f == lostFault
}

// once runs do in one transaction. Each of its statements sees what was
// committed before it, so that what is read after a lock is got is the newest.
func (s *Store) once(ctx context.Context, do func(*sql.Tx) error) error {
	tx, err := s.db.BeginTx(ctx, &sql.TxOptions{Isolation: sql.LevelReadCommitted})
	if err != nil {
		return err
	}
	defer tx.Rollback() // does nothing after a commit
	if err := do(tx); err != nil {
		return err
	}
	if err := failpoint.Fail("commit"); err != nil {
		return err
	}
	failpoint.Hit("slow commit")
	err = tx.Commit()
	if err != nil && s.pg != nil && !refusedCommit(err) {
		err = unsettled{err}
	}
	return err
}

// refusedCommit reports whether the server has said that it did not commit.
func refusedCommit(err error) bool {
	e, ok := errors.AsType[*pgconn.PgError](err)
	return ok && postgresFault(e) != lostFault
}

// read runs do over one unchanging view of the database.
func (s *Store) read(ctx context.Context, do func(*sql.Tx) error) error {
	return readIn(ctx, s.db, do)
}

func readIn(ctx context.Context, db *sql.DB, do func(*sql.Tx) error) error {
	tx, err := db.BeginTx(ctx, &sql.TxOptions{Isolation: sql.LevelRepeatableRead, ReadOnly: true})
	if err != nil {
		return err
	}
	defer tx.Rollback()
	return do(tx)
}

// each runs a query and calls row for each row of the answer.
func each(ctx context.Context, q querier, query string, args []any, row func(*sql.Rows) error) error {
	rows, err := q.QueryContext(ctx, query, args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		if err := row(rows); err != nil {
			return err
		}
	}
	return rows.Err()
}

// lockClocks gives the clocks among slugs that are there, and holds them to the
// end of the transaction: nobody else adds to their logs or describes them
// anew. Whoever locks several, or changes the revision as well, locks the clocks
// first and all in one call, so that no two wait for each other.
func (s *Store) lockClocks(ctx context.Context, tx *sql.Tx, slugs []string) (map[string]bool, error) {
	there := map[string]bool{}
	err := parts(slices.Compact(slices.Sorted(slices.Values(slugs))), func(in string, args []any) error {
		return each(ctx, tx, `SELECT slug FROM clock WHERE slug IN `+in+` ORDER BY slug`+s.dialect.forUpdate, args, func(rows *sql.Rows) error {
			var slug string
			err := rows.Scan(&slug)
			there[slug] = true
			return err
		})
	})
	return there, err
}

// parts calls do for a hundred of list at a time, with ($1, ...) and their values.
func parts(list []string, do func(in string, args []any) error) error {
	for part := range slices.Chunk(list, 100) {
		args := make([]any, len(part))
		for i, v := range part {
			args[i] = v
		}
		if err := do(places(1, len(args)), args); err != nil {
			return err
		}
	}
	return nil
}

// touched reports whether a statement changed a row.
func touched(r sql.Result, err error) (bool, error) {
	if err != nil {
		return false, err
	}
	n, err := r.RowsAffected()
	return n > 0, err
}
