package db

import (
	"context"
	"database/sql"
	"fmt"
	"time"
)

// Sessions are what is remembered of logins. The keys that it is given are
// hashes already. Nothing of a login is audited here.
type Sessions struct {
	store *Store
	now   func() time.Time
}

// Sessions gives the logins as they are kept; now is the wall clock.
func (s *Store) Sessions(now func() time.Time) Sessions { return Sessions{s, now} }

// FindCtx gives what is remembered under a key; found is false where nothing is,
// or its time is over.
func (s Sessions) FindCtx(ctx context.Context, key string) (data []byte, found bool, err error) {
	err = each(ctx, s.store.db, `SELECT data FROM session WHERE hash = $1 AND ends > $2`, []any{key, micro(s.now())}, func(rows *sql.Rows) error {
		found = true
		return rows.Scan(&data)
	})
	if err != nil {
		return nil, false, fmt.Errorf("read a session: %w", err)
	}
	return data, found, nil
}

// CommitCtx remembers data under a key until an instant. What was ended meanwhile
// stays so: a request that was under way does not bring it back.
func (s Sessions) CommitCtx(ctx context.Context, key string, data []byte, ends time.Time) error {
	return s.store.write(ctx, "keep a session", func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `INSERT INTO session (hash, data, ends) VALUES ($1, $2, $3) ON CONFLICT (hash)
			DO UPDATE SET data = $2, ends = $3 WHERE session.ends > $4`, key, data, micro(ends), micro(s.now()))
		return err
	})
}

// DeleteCtx ends a key, and forgets what was under it. That it ended is known
// until EmptySessions.
func (s Sessions) DeleteCtx(ctx context.Context, key string) error {
	return s.store.write(ctx, "end a session", func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `UPDATE session SET data = $1, ends = $2 WHERE hash = $3 AND ends > $2`, []byte{}, micro(s.now()), key)
		return err
	})
}

// AllCtx gives all that is remembered and not over, by key.
func (s Sessions) AllCtx(ctx context.Context) (map[string][]byte, error) {
	all := map[string][]byte{}
	err := each(ctx, s.store.db, `SELECT hash, data FROM session WHERE ends > $1`, []any{micro(s.now())}, func(rows *sql.Rows) error {
		var key string
		var data []byte
		err := rows.Scan(&key, &data)
		all[key] = data
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("read the sessions: %w", err)
	}
	return all, nil
}

// overFor is how long it is known that a session ended: far longer than any
// request.
const overFor = 24 * time.Hour

// EmptySessions forgets what has been over for a day, and counts it.
func (s *Store) EmptySessions(ctx context.Context, now time.Time) (n int64, err error) {
	err = s.write(ctx, "forget sessions", func(tx *sql.Tx) error {
		r, err := tx.ExecContext(ctx, `DELETE FROM session WHERE ends <= $1`, micro(now.Add(-overFor)))
		if err == nil {
			n, err = r.RowsAffected()
		}
		return err
	})
	return n, err
}

// EndSessions forgets all that is remembered of logins: everybody logs in anew.
func (s *Store) EndSessions(ctx context.Context) error {
	return s.write(ctx, "end all sessions", func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `DELETE FROM session`)
		return err
	})
}
