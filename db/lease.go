package db

import (
	"context"
	"fmt"
	"time"
)

// ahead learns how far the clock of a server is ahead of this machine's: leases are held
// by the server's, so that two services whose clocks differ agree on when one is over.
// What lies within the time that asking took is no difference. The one embedded
// database is of this machine.
func (s *Store) ahead(ctx context.Context, q querier) error {
	if s.pg == nil {
		return nil
	}
	var at time.Time
	asked := s.host().Truncate(time.Microsecond)
	if err := q.QueryRowContext(ctx, s.dialect.clock).Scan(instant{&at}); err != nil {
		return fmt.Errorf("ask the database for its time: %w", err)
	}
	answered := s.host()
	switch {
	case at.Before(asked):
		s.serverAhead.Store(int64(at.Sub(asked)))
	case at.After(answered):
		s.serverAhead.Store(int64(at.Sub(answered)))
	default:
		s.serverAhead.Store(0)
	}
	return nil
}

// leaseTime is an instant of this machine by the clock that leases are held by, as that
// was when something was claimed last.
func (s *Store) leaseTime(now time.Time) time.Time {
	return now.Add(time.Duration(s.serverAhead.Load()))
}
