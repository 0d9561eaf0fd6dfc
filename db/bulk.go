package db

import (
	"context"
	"database/sql"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"endshake/schedule"
)

// AppendAll logs many entries in one transaction, all or none, with one audit
// row for the whole. An entry whose Key is stored already, or comes twice, is
// passed over, so that the same file may be brought in again. An entry to
// correct must come before its correction. Errors are as for Append.
func (s *Store) AppendAll(ctx context.Context, actor string, now time.Time, es []schedule.Entry) error {
	ready := make([]schedule.Entry, len(es))
	for i, e := range es {
		var err error
		if ready[i], err = prepare(now, e); err != nil {
			return err
		}
	}
	err := s.write(ctx, "log many entries", func(tx *sql.Tx) error {
		n, err := s.insertEntries(ctx, tx, ready)
		if err != nil || n == 0 {
			return err
		}
		return audit(ctx, tx, now, actor, AuditRow{Action: "logged many", Subject: "the log", Detail: fmt.Sprintf("%d entries", n)})
	})
	switch s.dialect.fault(err) {
	case uniqueFault:
		return refuse(schedule.Conflict, "", "nothing was logged: an entry has an ID that is taken, or corrects one that was corrected already")
	case foreignFault:
		return refuse(schedule.NotFound, "", "nothing was logged: an entry names a clock, or an entry to correct, that is not there")
	}
	return err
}

// insertEntries inserts entries but those whose key is there, and their
// readings; it counts the entries inserted.
func (s *Store) insertEntries(ctx context.Context, tx *sql.Tx, es []schedule.Entry) (n int, err error) {
	var entryRows, readingRows [][]any
	for _, e := range es {
		args, err := entryArgs(e)
		if err != nil {
			return 0, err
		}
		entryRows = append(entryRows, args)
		if e.Reading != nil {
			readingRows = append(readingRows, readingArgs(e))
		}
	}
	n, err = s.insertMany(ctx, tx, "entry", entryColumns, "ON CONFLICT (key) WHERE key <> '' DO NOTHING", entryRows)
	if err != nil {
		return 0, err
	}
	if n < len(es) { // some were passed over, and so must their readings be
		readingRows, err = s.withEntry(ctx, tx, readingRows)
		if err != nil {
			return 0, err
		}
	}
	_, err = s.insertMany(ctx, tx, "reading", readingColumns, "ON CONFLICT (entry_id) DO NOTHING", readingRows)
	return n, err
}

// withEntry keeps the readings whose entries are there.
func (s *Store) withEntry(ctx context.Context, tx *sql.Tx, rows [][]any) ([][]any, error) {
	there := map[any]bool{}
	for part := range slices.Chunk(rows, 100) {
		ids := make([]any, len(part))
		for i, r := range part {
			ids[i] = r[0]
		}
		err := each(ctx, tx, `SELECT id FROM entry WHERE id IN `+places(1, len(ids)), ids, func(rows *sql.Rows) error {
			var id string
			err := rows.Scan(&id)
			there[id] = true
			return err
		})
		if err != nil {
			return nil, err
		}
	}
	return slices.DeleteFunc(rows, func(r []any) bool { return !there[r[0]] }), nil
}

// insertMany inserts rows of equal length, the dialect's batch to a statement,
// and counts those inserted.
func (s *Store) insertMany(ctx context.Context, tx *sql.Tx, table, columns, conflict string, rows [][]any) (n int, err error) {
	var full *sql.Stmt
	for part := range slices.Chunk(rows, s.dialect.batch) {
		args := slices.Concat(part...)
		var result sql.Result
		if len(part) < s.dialect.batch {
			result, err = tx.ExecContext(ctx, insertText(table, columns, conflict, len(part), len(part[0])), args...)
		} else {
			if full == nil {
				full, err = tx.PrepareContext(ctx, insertText(table, columns, conflict, len(part), len(part[0])))
				if err != nil {
					return 0, err
				}
				defer full.Close()
			}
			result, err = full.ExecContext(ctx, args...)
		}
		if err != nil {
			return 0, err
		}
		inserted, err := result.RowsAffected()
		if err != nil {
			return 0, err
		}
		n += int(inserted)
	}
	return n, nil
}

// insertText is an insert of n rows with width columns.
func insertText(table, columns, conflict string, n, width int) string {
	var b strings.Builder
	fmt.Fprintf(&b, "INSERT INTO %s (%s) VALUES ", table, columns)
	for i := range n {
		if i > 0 {
			b.WriteString(", ")
		}
		b.WriteString(places(i*width+1, width))
	}
	return b.String() + " " + conflict
}

// places is ($first, ... ) with n placeholders.
func places(first, n int) string {
	var b strings.Builder
	for i := range n {
		b.WriteString(", $")
		b.WriteString(strconv.Itoa(first + i))
	}
	return "(" + strings.TrimPrefix(b.String(), ", ") + ")"
}
