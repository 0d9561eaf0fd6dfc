package db

import (
	"context"
	"database/sql"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"maps"
	"math/bits"
	"slices"
	"strings"
	"time"

	"endshake/schedule"
)

// Extent is how far a database has come, as read in one unchanging view of it.
type Extent struct {
	Schema int64
	Rows   map[string]int64 // of each table, by its name
	Audit  int64            // the number of the last row of the audit; 0: none
	Head   string           // SHA-256 of that row, in hex; empty: none
	Sent   int64            // letters that a mail server has taken
	Newest time.Time        // when the newest entry was written down; zero: none
	// Sums are those of Store.Sums, where they were asked for; nil: they were not.
	Sums map[string]string
	// Broken says which row of the audit does not fit those before it, where the
	// audit was gone through; empty: all fit, or nobody looked.
	Broken string
}

// Same reports whether two databases hold as much, and come from the same changes.
func (e Extent) Same(o Extent) bool {
	return e.Schema == o.Schema && e.Audit == o.Audit && e.Head == o.Head && e.Sent == o.Sent && e.Newest.Equal(o.Newest) && maps.Equal(e.Rows, o.Rows)
}

// Words says what a database holds, in one line.
func (e Extent) Words() string {
	out := fmt.Sprintf("%s, %s, schema %d, %s in the audit", schedule.Count(int(e.Rows["clock"]), "clock", "clocks"),
		schedule.Count(int(e.Rows["entry"]), "entry", "entries"), e.Schema, schedule.Count(int(e.Audit), "row", "rows"))
	if !e.Newest.IsZero() {
		out += ", the newest entry written down on " + Instant(e.Newest)
	}
	if e.Broken != "" {
		out += "; " + e.Broken
	}
	return out
}

// Instant is an instant in words, in UTC.
func Instant(t time.Time) string {
	return schedule.DateOf(t, time.UTC).Words() + " at " + t.UTC().Format("15:04:05") + " UTC"
}

// Extent reads how far the database has come.
func (s *Store) Extent(ctx context.Context) (e Extent, err error) {
	err = s.readAll(ctx, func(tx *sql.Tx) (err error) {
		e, err = s.extent(ctx, tx)
		return err
	})
	return e, err
}

// readAll is read for what may take long.
func (s *Store) readAll(ctx context.Context, do func(*sql.Tx) error) error {
	return readIn(ctx, s.slow, func(tx *sql.Tx) error {
		if s.dialect.unhurried != "" {
			if _, err := tx.ExecContext(ctx, s.dialect.unhurried); err != nil {
				return err
			}
		}
		return do(tx)
	})
}

func (s *Store) extent(ctx context.Context, q querier) (e Extent, err error) {
	defer func() {
		if err != nil {
			err = fmt.Errorf("read how far the database has come: %w", err)
		}
	}()
	tables, err := s.tables(ctx, q)
	if err != nil {
		return e, err
	}
	e.Rows = make(map[string]int64, len(tables))
	for _, name := range tables {
		n := int64(0)
		if err := q.QueryRowContext(ctx, `SELECT count(*) FROM `+quoted(name)).Scan(&n); err != nil {
			return e, err
		}
		e.Rows[name] = n
	}
	if _, ok := e.Rows[versionTable]; ok {
		if err := q.QueryRowContext(ctx, versionQuery).Scan(&e.Schema); err != nil {
			return e, err
		}
	}
	if _, ok := e.Rows["entry"]; ok {
		if err := q.QueryRowContext(ctx, `SELECT MAX(recorded_at) FROM entry`).Scan(instant{&e.Newest}); err != nil {
			return e, err
		}
	}
	if _, ok := e.Rows["notice_event"]; ok {
		if err := q.QueryRowContext(ctx, sentQuery).Scan(&e.Sent); err != nil {
			return e, err
		}
	}
	if _, ok := e.Rows["audit_check"]; !ok { // before there was a chain
		return e, nil
	}
	e.Audit, e.Head, err = auditHead(ctx, q)
	return e, err
}

// sentQuery counts the letters that a server has taken: steps are only added.
const sentQuery = `SELECT count(*) FROM notice_event WHERE what = 'sent'`

func auditHead(ctx context.Context, q querier) (n int64, head string, err error) {
	var hash []byte
	err = q.QueryRowContext(ctx, `SELECT id, hash FROM audit ORDER BY id DESC LIMIT 1`).Scan(&n, &hash)
	if errors.Is(err, sql.ErrNoRows) {
		return 0, "", nil
	}
	return n, hex.EncodeToString(hash), err
}

// LastChange is when the newest row of the audit was written; zero where there is none.
func (s *Store) LastChange(ctx context.Context) (at time.Time, err error) {
	err = s.db.QueryRowContext(ctx, `SELECT at FROM audit ORDER BY id DESC LIMIT 1`).Scan(instant{&at})
	if errors.Is(err, sql.ErrNoRows) {
		return time.Time{}, nil
	}
	if err != nil {
		return time.Time{}, fmt.Errorf("read when the newest change was made: %w", err)
	}
	return at, nil
}

// AuditHash is the SHA-256 of a row of the audit, in hex; empty where it has no
// such row.
func (s *Store) AuditHash(ctx context.Context, row int64) (string, error) {
	var hash []byte
	err := s.db.QueryRowContext(ctx, `SELECT hash FROM audit WHERE id = $1`, row).Scan(&hash)
	if errors.Is(err, sql.ErrNoRows) {
		return "", nil
	}
	if err != nil {
		return "", fmt.Errorf("read row %d of the audit: %w", row, err)
	}
	return hex.EncodeToString(hash), nil
}

// tables are those of the schema in use, by name.
func (s *Store) tables(ctx context.Context, q querier) (names []string, err error) {
	err = each(ctx, q, s.dialect.tables, nil, func(rows *sql.Rows) error {
		var name string
		err := rows.Scan(&name)
		names = append(names, name)
		return err
	})
	slices.Sort(names)
	return names, err
}

// quoted is the name of a table or column as both engines take any.
func quoted(name string) string { return `"` + strings.ReplaceAll(name, `"`, `""`) + `"` }

// Sums reads every row of every table, and gives for each table a hash that does
// not depend on the order of its rows, see rowSum. Two databases of one engine with the same sums hold the same; it tells what went wrong by
// accident, and not what somebody arranged.
func (s *Store) Sums(ctx context.Context) (sums map[string]string, err error) {
	err = s.readAll(ctx, func(tx *sql.Tx) (err error) {
		sums, err = s.sums(ctx, tx)
		return err
	})
	return sums, err
}

func (s *Store) sums(ctx context.Context, q querier) (map[string]string, error) {
	tables, err := s.tables(ctx, q)
	if err != nil {
		return nil, fmt.Errorf("read every row: %w", err)
	}
	sums := make(map[string]string, len(tables))
	for _, name := range tables {
		if sums[name], err = sumOf(ctx, q, name); err != nil {
			return nil, fmt.Errorf("read every row of %s: %w", name, err)
		}
	}
	return sums, nil
}

func sumOf(ctx context.Context, q querier, table string) (string, error) {
	rows, err := q.QueryContext(ctx, `SELECT * FROM `+quoted(table))
	if err != nil {
		return "", err
	}
	defer rows.Close()
	columns, err := rows.Columns()
	if err != nil {
		return "", err
	}
	// Of no kinds: each value as its engine gives it.
	sum, err := summed(rows, moveTable{name: table, columns: columns, kinds: make([]string, len(columns))})
	return sum.String(), err
}

// add adds a hash to a total, modulo 2^256.
func add(total *[4]uint64, sum [32]byte) {
	carry := uint64(0)
	for i := 3; i >= 0; i-- {
		w := binary.BigEndian.Uint64(sum[i*8:])
		total[i], carry = bits.Add64(total[i], w, carry)
	}
}

// Reached is how far the database has come: the last row of the audit with its
// SHA-256 in hex, and how many letters a mail server has taken.
func (s *Store) Reached(ctx context.Context) (row int64, head string, sent int64, err error) {
	err = s.read(ctx, func(tx *sql.Tx) error {
		if row, head, err = auditHead(ctx, tx); err != nil {
			return err
		}
		return tx.QueryRowContext(ctx, sentQuery).Scan(&sent)
	})
	if err != nil {
		err = fmt.Errorf("read how far the database has come: %w", err)
	}
	return row, head, sent, err
}
