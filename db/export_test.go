package db

import (
	"context"
	"database/sql"
)

// Write lets tests put transactions in each other's way.
func (s *Store) Write(ctx context.Context, what string, do func(*sql.Tx) error) error {
	return s.write(ctx, what, do)
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
