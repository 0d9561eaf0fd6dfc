package db

import (
	"context"
	"errors"
	"fmt"
)

// ErrReadOnly is the error of a database that answers but takes no changes, like
// a standby server.
var ErrReadOnly = errors.New("the database takes no changes: it is a copy that can only be read, or was set so")

// ErrNewer is the error of a database whose schema another program has brought further
// than this one knows.
var ErrNewer = errors.New("the schema of the database is newer than this endshake knows: run the newer one in its place, or stop both and restore the backup made before")

// Ready reports whether the database answers and takes changes: nil, ErrReadOnly,
// ErrNewer, or why it does not answer. It waits for nothing but the database.
func (s *Store) Ready(ctx context.Context) error {
	var refuses bool
	if err := s.side.QueryRowContext(ctx, s.dialect.ready).Scan(&refuses); err != nil {
		return fmt.Errorf("ask whether the database answers: %w", err)
	}
	knows, err := s.Newest()
	if err != nil {
		return err
	}
	var has int64
	if err := s.side.QueryRowContext(ctx, versionQuery).Scan(&has); err != nil {
		return fmt.Errorf("ask whether the schema is as it was: %w", err)
	}
	switch {
	case has > knows:
		return ErrNewer
	case refuses:
		return ErrReadOnly
	}
	return nil
}

// Waited counts how often something had to wait for a free connection.
func (s *Store) Waited() int64 { return s.db.Stats().WaitCount }

// Passing reports whether an error comes of how a database stands, and not of
// what was asked of it: it does not answer, or not in time, takes no changes, has
// no room, or others were faster time and again. The same may go through later.
func Passing(err error) bool {
	if errors.Is(err, ErrReadOnly) || errors.Is(err, ErrNewer) || errors.Is(err, context.DeadlineExceeded) || Unsettled(err) {
		return true
	}
	switch sqliteFault(err) {
	case retryFault, diskFullFault:
		return true
	}
	switch postgresFault(err) {
	case retryFault, lostFault, readOnlyFault, slowFault, diskFullFault:
		return true
	}
	return false
}

// unsettled is the error of a commit whose answer was lost.
type unsettled struct{ error }

func (u unsettled) Unwrap() error { return u.error }

// Unsettled reports whether it is not known if what was to be kept is: the line
// broke between the commit and its answer. What has a key is settled by doing the
// same once more.
func Unsettled(err error) bool {
	_, ok := errors.AsType[unsettled](err)
	return ok
}
