package db

import (
	"cmp"
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"math"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/stdlib"

	"endshake/db/failpoint"
)

// moving gives the rows of a table one after the other, each as both engines can
// keep it, and adds them up. It is a pgx.CopyFromSource.
type moving struct {
	rows   *sql.Rows
	table  moveTable
	values []any
	err    error
	sum    rowSum
}

// Next reads the next row.
func (m *moving) Next() bool {
	if m.err != nil || !m.rows.Next() {
		m.err = cmp.Or(m.err, m.rows.Err())
		return false
	}
	if m.values == nil {
		m.values = make([]any, len(m.table.columns))
	}
	at := make([]any, len(m.values))
	for i := range m.values {
		m.values[i], at[i] = nil, &m.values[i]
	}
	if m.err = m.rows.Scan(at...); m.err != nil {
		return false
	}
	for i, v := range m.values {
		if m.values[i], m.err = neutral(m.table.kinds[i], v); m.err != nil {
			m.err = fmt.Errorf("column %s: %w", m.table.columns[i], m.err)
			return false
		}
	}
	m.sum.add(m.values)
	if m.sum.rows%failEvery == 0 {
		failpoint.Hit("M05 amid a table")
	}
	return true
}

// failEvery is after how many rows a test may kill the program.
const failEvery = 10

// Values is the row that was read.
func (m *moving) Values() ([]any, error) { return m.values, nil }

// Err is what went wrong.
func (m *moving) Err() error { return m.err }

// neutral is a value as both engines take it, by what PostgreSQL calls its kind:
// SQLite keeps instants as texts and truth as numbers.
func neutral(kind string, v any) (any, error) {
	switch x := v.(type) {
	case time.Time:
		return micro(x), nil
	case string:
		if kind == "timestamp with time zone" {
			var t time.Time
			err := instant{&t}.Scan(x)
			return micro(t), err
		}
	case int64:
		if kind == "boolean" {
			return x != 0, nil
		}
	case []byte:
		if len(x) == 0 { // nil would be no value
			return []byte{}, nil
		}
	case nil, float64, bool:
	default:
		return nil, fmt.Errorf("a %T is not something that can be moved", v)
	}
	return v, nil
}

// rowSum counts rows and adds up the SHA-256 of each, modulo 2^256, so that it does
// not matter in what order an engine gives them. Of each value the kind, the length
// and the bytes count: a text as it is, an instant as SQLite writes it in UTC, truth
// as 0 or 1, a number as its 64 bits (-0 is 0). Of values that neutral was told the
// kinds of it is the same on both engines.
type rowSum struct {
	rows int64
	sum  [4]uint64
	buf  []byte
}

func (r *rowSum) add(values []any) {
	r.buf = r.buf[:0]
	for _, v := range values {
		r.buf = canonical64(r.buf, v)
	}
	add(&r.sum, sha256.Sum256(r.buf))
	r.rows++
}

// canonical64 appends the bytes by which a value is summed.
func canonical64(b []byte, v any) []byte {
	text := func(kind byte, s string) []byte {
		return append(binary.BigEndian.AppendUint64(append(b, kind), uint64(len(s))), s...)
	}
	number := func(kind byte, n uint64) []byte { return binary.BigEndian.AppendUint64(append(b, kind), n) }
	switch x := v.(type) {
	case string:
		return text('t', x)
	case time.Time:
		return text('t', micro(x).Format(sqliteTime))
	case []byte:
		return text('b', string(x))
	case int64:
		return number('i', uint64(x))
	case bool:
		if x {
			return number('i', 1)
		}
		return number('i', 0)
	case float64:
		return number('f', math.Float64bits(x+0))
	}
	return append(b, 'n')
}

// String is the sum in hexadecimal.
func (r *rowSum) String() string {
	var b [32]byte
	for i, n := range r.sum {
		binary.BigEndian.PutUint64(b[8*i:], n)
	}
	return hex.EncodeToString(b[:])
}

// sum adds up a table as it is now.
func (s *Store) sum(ctx context.Context, t moveTable) (*rowSum, error) {
	conn, err := s.patient(ctx)
	if err != nil {
		return nil, err
	}
	defer conn.Close()
	rows, err := conn.QueryContext(ctx, t.query())
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	return summed(rows, t)
}

// summed adds up the rows that are left.
func summed(rows *sql.Rows, t moveTable) (*rowSum, error) {
	in := &moving{rows: rows, table: t}
	for in.Next() {
	}
	return &in.sum, in.err
}

// patient is a connection whose statements may take as long as they take.
func (s *Store) patient(ctx context.Context) (*sql.Conn, error) {
	conn, err := s.db.Conn(ctx)
	if err != nil || s.dialect.move.patience == "" {
		return conn, err
	}
	if _, err := conn.ExecContext(ctx, s.dialect.move.patience); err != nil {
		conn.Close()
		return nil, err
	}
	return conn, nil
}

// fillSQLite inserts the rows in one transaction. What they name may come after
// them: that is looked at when it ends.
func fillSQLite(ctx context.Context, s *Store, t moveTable, in *moving) error {
	tx, err := s.db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback()
	if _, err := tx.ExecContext(ctx, s.dialect.move.later); err != nil {
		return err
	}
	insert, err := tx.PrepareContext(ctx, insertText(s.dialect, t.name, strings.Join(t.columns, ", "), 1, len(t.columns)))
	if err != nil {
		return err
	}
	defer insert.Close()
	within := context.WithoutCancel(ctx) // see insertMany
	for in.Next() {
		if _, err := insert.ExecContext(within, in.values...); err != nil {
			return err
		}
		if err := ctx.Err(); err != nil {
			return err
		}
	}
	if in.err != nil {
		return in.err
	}
	return tx.Commit()
}

// fillPostgres has the server take the rows in by COPY, which is one statement: all
// of them or none.
func fillPostgres(ctx context.Context, s *Store, t moveTable, in *moving) error {
	conn, err := s.patient(ctx)
	if err != nil {
		return err
	}
	defer conn.Close()
	return conn.Raw(func(driver any) error {
		_, err := driver.(*stdlib.Conn).Conn().CopyFrom(ctx, pgx.Identifier{t.name}, t.columns, in)
		return err
	})
}

// empty takes everything out of the tables of a move's target, what its schema has
// put there too, in one transaction. The triggers that refuse it stand aside for
// that long.
func (s *Store) empty(ctx context.Context, tables []moveTable) error {
	names := make([]string, len(tables))
	for i, t := range tables {
		names[len(tables)-1-i] = t.name
	}
	return s.dialect.move.empty(ctx, s, names)
}

func emptyPostgres(ctx context.Context, s *Store, names []string) error {
	return s.once(ctx, func(tx *sql.Tx) error {
		queries := []string{`TRUNCATE ` + strings.Join(names, ", ")}
		for _, t := range names {
			queries = append([]string{`ALTER TABLE ` + t + ` DISABLE TRIGGER USER`}, append(queries, `ALTER TABLE `+t+` ENABLE TRIGGER USER`)...)
		}
		return execAll(ctx, tx, queries)
	})
}

func emptySQLite(ctx context.Context, s *Store, names []string) error {
	// It cannot be set amid a transaction; there is one connection.
	if _, err := s.db.ExecContext(ctx, `PRAGMA foreign_keys = OFF`); err != nil {
		return err
	}
	err := s.once(ctx, func(tx *sql.Tx) error {
		var queries, again []string
		err := each(ctx, tx, `SELECT name, sql FROM sqlite_master WHERE type = 'trigger'`, nil, func(rows *sql.Rows) error {
			var name, text string
			err := rows.Scan(&name, &text)
			queries, again = append(queries, `DROP TRIGGER `+name), append(again, text)
			return err
		})
		if err != nil {
			return err
		}
		for _, t := range names {
			queries = append(queries, `DELETE FROM `+t)
		}
		return execAll(ctx, tx, append(queries, again...))
	})
	_, on := s.db.ExecContext(ctx, `PRAGMA foreign_keys = ON`)
	return errors.Join(err, on)
}

func execAll(ctx context.Context, tx *sql.Tx, queries []string) error {
	for _, query := range queries {
		if _, err := tx.ExecContext(ctx, query); err != nil {
			return err
		}
	}
	return nil
}

// countOn has the numbers that a server gives to new rows go on behind the highest
// that was copied. An embedded database looks at its rows.
func (s *Store) countOn(ctx context.Context) error {
	if s.dialect.move.numbered == "" {
		return nil
	}
	type counted struct{ table, column, sequence string }
	var all []counted
	err := each(ctx, s.db, s.dialect.move.numbered, nil, func(rows *sql.Rows) error {
		var c counted
		err := rows.Scan(&c.table, &c.column, &c.sequence)
		all = append(all, c)
		return err
	})
	if err != nil {
		return fmt.Errorf("find the numbers that go on: %w", err)
	}
	for _, c := range all {
		if leftBehind[c.table] != "" {
			continue
		}
		_, err := s.db.ExecContext(ctx, `SELECT setval($1::regclass, GREATEST(COALESCE(MAX(`+c.column+`), 0), 1), COUNT(*) > 0) FROM `+c.table, c.sequence)
		if err != nil {
			return fmt.Errorf("let the numbers of %s.%s go on: %w", c.table, c.column, err)
		}
	}
	return nil
}
