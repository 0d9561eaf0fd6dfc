package db

import (
	"context"
	"database/sql"
)

// Write lets tests put transactions in each other's way.
func (s *Store) Write(ctx context.Context, what string, do func(*sql.Tx) error) error {
	return s.write(ctx, what, do)
}

// MigrateTo brings the schema to an older version than the newest.
func (s *Store) MigrateTo(ctx context.Context, version int64) error {
	p, err := s.provider()
	if err != nil {
		return err
	}
	_, err = p.UpTo(ctx, version)
	return err
}

// Tries is how often a transaction is run at most.
const Tries = tries

// Lose makes the store take an error for a transaction that was lost.
func (s *Store) Lose(is func(error) bool) {
	before := s.dialect.fault
	s.dialect.fault = func(err error) fault {
		if is(err) {
			return retryFault
		}
		return before(err)
	}
}

// LeftBehind are the tables that a move does not copy, with why.
var LeftBehind = leftBehind
