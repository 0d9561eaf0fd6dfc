package db

import (
	"context"
	"embed"
	"fmt"
	"time"

	"github.com/pressly/goose/v3"
)

//go:embed migration
var migrations embed.FS

// versionTable is where goose keeps which migrations were applied.
const versionTable = "goose_db_version"

const versionQuery = `SELECT version_id FROM ` + versionTable + ` ORDER BY version_id DESC LIMIT 1`

// Version is the number of the schema that the database has; zero for an
// empty one.
func (s *Store) Version(ctx context.Context) (int64, error) {
	ok, err := s.tableExists(ctx, versionTable)
	if err != nil || !ok {
		return 0, err
	}
	var v int64
	err = s.db.QueryRowContext(ctx, versionQuery).Scan(&v)
	if err != nil {
		return 0, fmt.Errorf("read the schema's version: %w", err)
	}
	return v, nil
}

// Migrate brings the schema to the newest that this binary knows, and reports
// where it was and where it is. Each step is wholly done or not at all. Several
// processes may call it at once. A newer schema is refused and left alone.
func (s *Store) Migrate(ctx context.Context) (from, to int64, err error) {
	if err := s.refuseNewer(ctx); err != nil {
		return 0, 0, err
	}
	if from, err = s.Version(ctx); err != nil {
		return 0, 0, err
	}
	p, err := s.provider()
	if err != nil {
		return from, from, err
	}
	// SQLite has no lock that lasts over migrations: whoever comes second fails
	// on what the first has just made, and finds it done on the next look.
	// That may be so at each migration.
	for try := range tries + int(newest(p)) {
		if _, err = p.Up(ctx); err == nil {
			break
		}
		if !sleep(ctx, pause(min(try, tries))) {
			break
		}
	}
	if err != nil {
		return from, from, fmt.Errorf("bring the schema from version %d to %d: %w", from, newest(p), err)
	}
	if to, err = s.Version(ctx); err != nil {
		return from, to, err
	}
	return from, to, s.chain(ctx)
}

func (s *Store) provider() (*goose.Provider, error) {
	folder, err := s.dialect.sub()
	if err != nil {
		return nil, err
	}
	options, err := s.dialect.options()
	if err != nil {
		return nil, err
	}
	return goose.NewProvider(s.dialect.goose, s.db, folder, options...)
}

// newest is the number of the last migration in this binary.
func newest(p *goose.Provider) int64 {
	all := p.ListSources()
	return all[len(all)-1].Version
}

// Newest is the number of the newest schema that this binary knows.
func (s *Store) Newest() (int64, error) { return s.knows() }

func (s *Store) refuseNewer(ctx context.Context) error {
	has, err := s.Version(ctx)
	if err != nil {
		return err
	}
	knows, err := s.Newest()
	if err != nil {
		return err
	}
	if has > knows {
		return fmt.Errorf("the database has schema version %d but this endshake knows only up to %d: run the newer endshake, or restore the backup made before it", has, knows)
	}
	return nil
}

func (s *Store) tableExists(ctx context.Context, name string) (bool, error) {
	var n int
	err := s.db.QueryRowContext(ctx, s.dialect.hasTable, name).Scan(&n)
	return n > 0, err
}

// sleep waits, unless the context ends first.
func sleep(ctx context.Context, d time.Duration) bool {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return true
	case <-ctx.Done():
		return false
	}
}
