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
		return audit(ctx, tx, now, actor, AuditRow{Action: "logged many", Subject: "the log", Detail: fmt.Sprintf("%d entries", n)})
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
	rows := make([][]any, len(es))
	var readings [][]any
	for i, e := range es {
		if rows[i], err = entryArgs(e); err != nil {
			return 0, err
		}
		if e.Reading != nil {
			readings = append(readings, readingArgs(e))
		}
	}
	if err := s.insertMany(ctx, tx, "entry", entryColumns, rows); err != nil {
		return 0, err
	}
	return len(es), s.insertMany(ctx, tx, "reading", readingColumns, readings)
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
	known := make(map[string]schedule.Entry, len(keys))
	err := parts(keys, func(in string, args []any) error {
		log, err := entries(ctx, tx, ` WHERE e.key <> '' AND e.key IN `+in, args...)
		for _, list := range log {
			for _, e := range list {
				known[e.Key] = e
			}
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	var fresh []schedule.Entry
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

// insertMany inserts rows of equal length, the dialect's batch to a statement.
func (s *Store) insertMany(ctx context.Context, tx *sql.Tx, table, columns string, rows [][]any) error {
	var full *sql.Stmt
	for part := range slices.Chunk(rows, s.dialect.batch) {
		var err error
		args, text := slices.Concat(part...), insertText(table, columns, len(part), len(part[0]))
		if len(part) < s.dialect.batch {
			_, err = tx.ExecContext(ctx, text, args...)
		} else {
			if full == nil {
				if full, err = tx.PrepareContext(ctx, text); err != nil {
					return err
				}
				defer full.Close()
			}
			_, err = full.ExecContext(ctx, args...)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// insertText is an insert of n rows with width columns.
func insertText(table, columns string, n, width int) string {
	var b strings.Builder
	fmt.Fprintf(&b, "INSERT INTO %s (%s) VALUES ", table, columns)
	for i := range n {
		if i > 0 {
			b.WriteString(", ")
		}
		b.WriteString(places(i*width+1, width))
	}
	return b.String()
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
