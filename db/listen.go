package db

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
)

// channel is where PostgreSQL tells of a revision that was raised.
const channel = "endshake_revision"

const (
	// listenFor is how long nothing may be told until it is seen that the line
	// still holds, and listenAnswer how long that may take (judgement, no source).
	// Together they are shorter than the wait of a line.
	listenFor    = 15 * time.Second
	listenAnswer = 5 * time.Second
)

// Listen calls told each time that a change of any process is committed, and
// first once it listens: what was changed before, nobody has told. It returns
// when the context ends or the line to the server breaks, with the reason; the
// embedded database tells nothing, so there it returns nil at once. Changes that
// are made together may be told once.
func (s *Store) Listen(ctx context.Context, told func()) error {
	if s.pg == nil {
		return nil
	}
	c, err := pgx.ConnectConfig(ctx, s.pg)
	if err != nil {
		return fmt.Errorf("listen for changes: %w", err)
	}
	defer closeSoon(c)
	if _, err := c.Exec(ctx, `LISTEN `+channel); err != nil {
		return fmt.Errorf("listen for changes: %w", err)
	}
	told()
	for {
		wait, cancel := context.WithTimeout(ctx, listenFor)
		_, err := c.WaitForNotification(wait)
		cancel()
		switch {
		case ctx.Err() != nil:
			return ctx.Err()
		case err == nil:
			told()
			continue
		case !pgconn.Timeout(err):
			return fmt.Errorf("listen for changes: %w", err)
		}
		ask, cancel := context.WithTimeout(ctx, listenAnswer)
		err = c.Ping(ask)
		cancel()
		if err != nil {
			return errors.Join(ctx.Err(), fmt.Errorf("listen for changes: the line is dead: %w", err))
		}
	}
}

// closeSoon closes a connection, and does not wait for a server that is gone.
func closeSoon(c *pgx.Conn) {
	ctx, cancel := context.WithTimeout(context.Background(), time.Second)
	defer cancel()
	_ = c.Close(ctx)
}
