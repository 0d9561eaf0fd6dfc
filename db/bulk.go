package db

import (
	"cmp"
	"context"
	"database/sql"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"endshake/db/failpoint"
	"endshake/schedule"
)

// AppendAll logs many entries in one transaction, all or none, with one audit
// row for the whole. An entry whose Key is stored already, or comes twice, and
// that says the same is passed over, so that the same file may be brought in
// again. An entry to correct must come before its correction. Errors are as for
// Append; nothing is asked of the logs but that the entries can be put in them.
func (s *Store) AppendAll(ctx context.Context, actor string, now time.Time, es []schedule.Entry) error {
	ready := make([]schedule.Entry, len(es))
	for i, e := range es {
		var err error
		if ready[i], err = prepare(now, e); err != nil {
			return err
		}
	}
	err := s.write(ctx, "log many entries", func(tx *sql.Tx) error {
		clocks := make([]string, len(ready))
		for i, e := range ready {
			clocks[i] = e.Clock
		}
		if _, err := s.lockClocks(ctx, tx, clocks); err != nil {
			return err
		}
		n, err := s.insertEntries(ctx, tx, ready)
		if err != nil || n == 0 {
			return err
		}
		return s.dialect.audit(ctx, tx, now, actor, AuditRow{Action: actMany, Subject: "the log", Detail: fmt.Sprintf("%d entries", n)})
	})
	switch s.dialect.fault(err) {
	case uniqueFault:
		return refuse(schedule.Conflict, "", "nothing was logged: an entry has an ID or a key that is taken, or corrects one that was corrected already")
	case foreignFault:
		return refuse(schedule.NotFound, "", "nothing was logged: an entry names a clock, or an entry to correct, that is not there")
	}
	return err
}

// insertEntries inserts the entries that are new, and their readings, and counts
// them. Their clocks are locked.
func (s *Store) insertEntries(ctx context.Context, tx *sql.Tx, es []schedule.Entry) (n int, err error) {
	if es, err = withoutKnown(ctx, tx, es); err != nil {
		return 0, err
	}
	if err := insertMany(ctx, tx, s.dialect, "entry", entryColumns, es, entryArgs); err != nil {
		return 0, err
	}
	failpoint.Hit("K32 amid") // the entries are stored, and none of their readings
	var measured []schedule.Entry
	for _, e := range es {
		if e.Reading != nil {
			measured = append(measured, e)
		}
	}
	return len(es), insertMany(ctx, tx, s.dialect, "reading", readingColumns, measured, readingArgs)
}

// withoutKnown leaves out the entries whose key is stored already, or came
// before among es; they must say the same as what has it.
func withoutKnown(ctx context.Context, tx *sql.Tx, es []schedule.Entry) ([]schedule.Entry, error) {
	var keys []string
	for _, e := range es {
		if e.Key != "" {
			keys = append(keys, e.Key)
		}
	}
	if len(keys) == 0 {
		return es, nil
	}
	known, err := byKeys(ctx, tx, keys)
	if err != nil {
		return nil, err
	}
	fresh := make([]schedule.Entry, 0, len(es))
	for _, e := range es {
		if old, ok := known[e.Key]; ok {
			if err := sameForm(old, e); err != nil {
				return nil, err
			}
			continue
		}
		if e.Key != "" {
			known[e.Key] = e
		}
		fresh = append(fresh, e)
	}
	return fresh, nil
}

// byKeys gives the stored entries that have one of the keys. Most keys are new,
// and a look at the index alone is quick: a join, since for so many keys in an IN
// PostgreSQL would go through the whole table.
func byKeys(ctx context.Context, tx *sql.Tx, keys []string) (map[string]schedule.Entry, error) {
	var ids []string
	err := parts(keys, func(in string, args []any) error {
		values := strings.ReplaceAll(in, ", ", "), (") // ($1), ($2) ...
		return each(ctx, tx, `SELECT id FROM (VALUES `+values+`) AS k JOIN entry ON key = column1 WHERE key <> ''`, args, func(rows *sql.Rows) error {
			var id string
			err := rows.Scan(&id)
			ids = append(ids, id)
			return err
		})
	})
	if err != nil {
		return nil, err
	}
	known := make(map[string]schedule.Entry, len(ids))
	err = parts(ids, func(in string, args []any) error {
		log, err := entries(ctx, tx, nil, ` WHERE e.id IN `+in, args...)
		for _, list := range log {
			for _, e := range list {
				known[e.Key] = e
			}
		}
		return err
	})
	return known, err
}

// insertMany inserts a row for each of list, the dialect's batch to a statement.
func insertMany[T any](ctx context.Context, tx *sql.Tx, d dialect, table, columns string, list []T, row func(T) ([]any, error)) error {
	within := ctx
	if d.local { // a watch over each statement would cost as much as a row
		within = context.WithoutCancel(ctx)
	}
	var full *sql.Stmt
	var args []any
	for part := range slices.Chunk(list, d.batch) {
		args = args[:0]
		for _, v := range part {
			values, err := row(v)
			if err != nil {
				return err
			}
			args = append(args, values...)
		}
		var err error
		switch {
		case len(part) == len(list) || len(part) < d.batch:
			_, err = tx.ExecContext(within, insertText(d, table, columns, len(part), len(args)/len(part)), args...)
		case full == nil:
			if full, err = tx.PrepareContext(ctx, insertText(d, table, columns, len(part), len(args)/len(part))); err != nil {
				return err
			}
			defer full.Close()
			fallthrough
		default:
			_, err = full.ExecContext(within, args...)
		}
		if err != nil {
			return cmp.Or(ctx.Err(), err)
		}
	}
	return nil
}

// insertText is an insert of n rows with width columns.
func insertText(d dialect, table, columns string, n, width int) string {
	rows := make([]string, n)
	for i := range rows {
		if d.local { // SQLite looks up $1 by its name
			rows[i] = "(?" + strings.Repeat(", ?", width-1) + ")"
		} else {
			rows[i] = places(i*width+1, width)
		}
	}
	return "INSERT INTO " + table + " (" + columns + ") VALUES " + strings.Join(rows, ", ")
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
