package db

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"time"

	"modernc.org/sqlite"

	"endshake/db/failpoint"
)

// CopyTo writes a whole copy of the database, as it stands at one moment, to a file
// that must not be there yet, and looks through the copy before it returns what it
// holds. Others may go on writing meanwhile. On SQLite the copy is a database; on
// PostgreSQL it is what pg_dump writes in its custom format, and pg_dump and
// pg_restore must be installed. It is not flushed to the disk. After an error
// nothing is left at path. With sums, what is copied is read and summed as well, see
// Sums, and Extent.Sums holds that.
func (s *Store) CopyTo(ctx context.Context, path string, sums bool) (e Extent, err error) {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return e, fmt.Errorf("the copy cannot be begun: %w", err)
	}
	defer func() {
		if err != nil {
			for _, end := range []string{"", "-wal", "-shm", "-journal"} {
				os.Remove(path + end)
			}
		}
	}()
	if err := f.Close(); err != nil {
		return e, err
	}
	if s.file == "" {
		return s.dump(ctx, path, sums)
	}
	before, err := s.copyPages(ctx, path, sums)
	if err != nil {
		return e, s.copyError(err)
	}
	if e, err = CheckFile(ctx, path); err != nil {
		return e, fmt.Errorf("the copy was written and is not sound: %w", err)
	}
	if !e.Same(before) {
		return e, fmt.Errorf("the copy is not what was copied: it holds %s, and the database held %s", e.Words(), before.Words())
	}
	before.Broken = e.Broken
	return before, nil
}

func (s *Store) copyError(err error) error {
	if s.dialect.fault(err) == diskFullFault {
		return fmt.Errorf("copy the database: the disk of the copy is full, make room there: %w", err)
	}
	return fmt.Errorf("copy the database: %w", err)
}

// pagesAtOnce are copied between two looks at whether it is still wanted.
const pagesAtOnce = 64

// copyPages copies the pages as they stand in one view, which other writers leave
// alone, and gives what that view holds.
func (s *Store) copyPages(ctx context.Context, path string, sums bool) (e Extent, err error) {
	conn, err := s.db.Conn(ctx)
	if err != nil {
		return e, err
	}
	defer conn.Close()
	tx, err := conn.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return e, err
	}
	defer tx.Rollback()
	if e, err = s.extent(ctx, tx); err != nil {
		return e, err
	}
	if sums {
		if e.Sums, err = s.sums(ctx, tx); err != nil {
			return e, err
		}
	}
	return e, conn.Raw(func(driver any) (err error) {
		from, ok := driver.(interface {
			NewBackup(string) (*sqlite.Backup, error)
		})
		if !ok {
			return errors.New("the driver makes no copies")
		}
		// Nobody needs to take back what is half written, and CopyTo flushes nothing.
		b, err := from.NewBackup(fileURL(path, "_pragma=journal_mode(OFF)&_pragma=synchronous(OFF)"))
		if err != nil {
			return err
		}
		defer func() {
			if end := b.Finish(); err == nil { // which says again what went wrong before
				err = end
			}
		}()
		for more := true; more; {
			if err := ctx.Err(); err != nil {
				return err
			}
			if more, err = b.Step(pagesAtOnce); err != nil {
				return err
			}
			failpoint.Hit("K29") // part of the copy, or all of it, is written
		}
		return nil
	})
}

// fileURL names a file to the driver, whatever letters are in its path.
func fileURL(path, query string) string {
	if abs, err := filepath.Abs(path); err == nil { // a URL takes the first part of any other for a host
		path = abs
	}
	u := url.URL{Scheme: "file", Path: path, RawQuery: query}
	return u.String()
}

// CheckFile looks through a SQLite database that nobody writes to: that its pages
// and its rows fit together, and that this program knows its schema; and gives what
// it holds, and whether its audit is whole. A file that was copied with its journal to be
// kept apart is turned into one that needs none.
func CheckFile(ctx context.Context, path string) (e Extent, err error) {
	if _, err := os.Stat(path); err != nil {
		return e, fmt.Errorf("there is no database at %s", path)
	}
	d, err := sql.Open("sqlite", fileURL(path, "_pragma=journal_mode(DELETE)&"+sqliteTimes))
	if err != nil {
		return e, err
	}
	s := newStore(d, sqliteDialect)
	defer func() { err = errors.Join(err, s.Close()) }()
	if err := s.greet(ctx); err != nil {
		return e, s.openError(path, path, err)
	}
	if err := s.CheckPages(ctx); err != nil {
		return e, fmt.Errorf("%s: %w", path, err)
	}
	if err := s.refuseSchema(ctx, path, true); err != nil {
		return e, err
	}
	return s.checked(ctx)
}

// OneFile has a SQLite database that nobody uses in one file, without a journal.
func OneFile(ctx context.Context, path string) error {
	d, err := sql.Open("sqlite", fileURL(path, "_pragma=busy_timeout(5000)"))
	if err != nil {
		return err
	}
	var mode string
	err = d.QueryRowContext(ctx, `PRAGMA journal_mode = DELETE`).Scan(&mode)
	if err == nil && mode != "delete" {
		err = fmt.Errorf("%s cannot be had without its journal: somebody uses it", path)
	}
	return errors.Join(err, d.Close())
}

// checked gives the extent of a database, and goes through its audit. One that is
// broken stays so, since its rows are never changed: a copy is wanted all the more.
func (s *Store) checked(ctx context.Context) (Extent, error) {
	e, err := s.Extent(ctx)
	if err != nil || e.Head == "" {
		return e, err
	}
	c, err := s.CheckAudit(ctx, e.Newest)
	if err == nil && !c.Sound() {
		e.Broken = fmt.Sprintf("row %d of its audit does not fit those before it (%s)", c.Broken, c.Why)
	}
	return e, err
}

// mostFaults is how many faults of a file are told.
const mostFaults = 3

// CheckPages sees that the database can be read whole: on SQLite by its own check of
// every page and index and of what names rows that are not there, on PostgreSQL by
// reading every row. Its error says what is wrong.
func (s *Store) CheckPages(ctx context.Context) error {
	if s.dialect.name != sqliteDialect.name {
		_, err := s.Sums(ctx)
		return err
	}
	return s.faults(ctx, `PRAGMA integrity_check(5)`,
		`SELECT 'a row of ' || "table" || ' names one of ' || parent || ' that is not there' FROM pragma_foreign_key_check LIMIT 5`)
}

// startWait is how long a start waits for the look at its pages. It takes 4 s a GB of
// entries, less of pictures, and what the disk takes to read them: beyond that the
// nightly backup and endshake check look at all of them. Judgement, no source.
const startWait = 10 * time.Second

// CheckStart is as much of CheckPages as a start can wait for: on SQLite that the
// pages and what lies on them fit together, as far as can be seen in ten seconds, on
// PostgreSQL, which has an eye on its pages itself, nothing.
func (s *Store) CheckStart(ctx context.Context) error { return s.checkStart(ctx, startWait) }

func (s *Store) checkStart(ctx context.Context, wait time.Duration) error {
	if s.dialect.name != sqliteDialect.name {
		return nil
	}
	within, cancel := context.WithTimeout(ctx, wait)
	defer cancel()
	err := s.faults(within, `PRAGMA quick_check(5)`)
	if errors.Is(err, context.DeadlineExceeded) && ctx.Err() == nil {
		return nil
	}
	if err != nil {
		return fmt.Errorf("the database %s is damaged: %w: keep its files apart, and restore the newest backup with endshake backup restore; endshake check says more", s.file, err)
	}
	return nil
}

// faults gives what the queries find, as an error.
func (s *Store) faults(ctx context.Context, queries ...string) error {
	var faults []string
	for _, query := range queries {
		found, err := texts(ctx, s.db, query)
		if err != nil {
			return fmt.Errorf("its pages cannot be read: %w", err)
		}
		for _, f := range found {
			if f != "ok" { // the first line also says in which database
				faults = append(faults, strings.Join(strings.Fields(strings.TrimPrefix(f, "*** in database main ***")), " "))
			}
		}
	}
	if len(faults) == 0 {
		return nil
	}
	faults = faults[:min(len(faults), mostFaults)]
	return fmt.Errorf("its pages do not fit together (%s)", strings.Join(faults, "; "))
}
