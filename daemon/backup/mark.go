package backup

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"endshake/db"
	"endshake/schedule"
)

// MarkSuffix makes the name of the mark out of that of the database's file.
const MarkSuffix = ".mark"

// Mark is how far a database has come, kept apart from it, so that a start on an
// older copy is noticed.
type Mark struct {
	Audit int64     `json:"audit"` // the last row of the audit
	Head  string    `json:"head"`  // SHA-256 of that row, in hex
	Sent  int64     `json:"sent"`  // letters that a mail server has taken
	At    time.Time `json:"at"`    // when it was kept
	// Restored: a backup was restored then, and nobody has said yet that it is the one
	// to go on from.
	Restored bool `json:"restored,omitempty"`
}

// ReadMark reads a mark; false: there is none yet.
func ReadMark(path string) (m Mark, ok bool, err error) {
	data, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return m, false, nil
	}
	if err == nil {
		err = json.Unmarshal(data, &m)
	}
	if err == nil && (m.Audit < 0 || m.Sent < 0 || m.At.IsZero()) {
		err = errors.New("it is not what this program writes there")
	}
	if err != nil {
		return m, false, fmt.Errorf("the mark of how far the database has come cannot be read from %s (%w): see that this is the newest copy of the database, then remove the mark", path, cause(err))
	}
	return m, true, nil
}

// MarkOf is how far a database has come by now.
func MarkOf(ctx context.Context, store *db.Store, now time.Time) (m Mark, err error) {
	m.At = now.UTC().Truncate(time.Second)
	m.Audit, m.Head, m.Sent, err = store.Reached(ctx)
	return m, err
}

// Keep writes a mark, all of it or nothing.
func (m Mark) Keep(path string) error {
	data, err := json.Marshal(m)
	if err != nil {
		return err
	}
	f, err := os.CreateTemp(filepath.Dir(path), ".mark-*")
	if err == nil {
		defer os.Remove(f.Name())
		_, err = f.Write(append(data, '\n'))
		err = errors.Join(err, f.Sync(), f.Close())
	}
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err == nil {
		err = flush(filepath.Dir(path))
	}
	if err != nil {
		return fmt.Errorf("the mark of how far the database has come cannot be written to %s (%w): make its folder one that this service can write", path, err)
	}
	return nil
}

// Older says in one sentence why a database is not the one of which a mark was
// kept, or an older copy of it; empty: it is that one, and has come as far or further.
func (m Mark) Older(ctx context.Context, store *db.Store) (string, error) {
	now, err := MarkOf(ctx, store, m.At)
	if err != nil {
		return "", err
	}
	when := db.Instant(m.At)
	switch {
	case m.Restored:
		return fmt.Sprintf("this database was restored from a backup on %s", when), nil
	case now.Audit < m.Audit:
		return fmt.Sprintf("this database is an older copy: on %s it had come to change %d, and it stands at %d", when, m.Audit, now.Audit), nil
	case now.Sent < m.Sent:
		return fmt.Sprintf("this database is an older copy: by %s it had sent %s, and it knows of %d", when, schedule.Count(int(m.Sent), "letter", "letters"), now.Sent), nil
	case m.Audit == 0:
		return "", nil
	}
	hash, err := store.AuditHash(ctx, m.Audit)
	if err == nil && hash != m.Head {
		return fmt.Sprintf("this database is another than on %s, or an older copy of it that has gone on: its change %d is not the same", when, m.Audit), nil
	}
	return "", err
}
