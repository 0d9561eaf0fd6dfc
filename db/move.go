package db

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"endshake/db/failpoint"
	"endshake/schedule"
)

// leftBehind are the tables that a move does not copy, each with why.
var leftBehind = map[string]string{
	versionTable: "each database counts the changes of its own schema",
	"moving":     "it says of one database that a move into it has not ended",
}

// Move is a copy of everything from one database into another, which is empty or
// holds what an earlier move left. It holds both, so that nothing else is written
// to them meanwhile where that can be told: a SQLite file is locked, and on
// PostgreSQL nobody else of this program may be connected.
type Move struct {
	from, to           *Store
	claim              *sql.Conn // holds a server's database for this move; nil: the file is locked
	fromShown, toShown string
	tables             []moveTable
	copied             Extent // of the view that is copied
}

// MovedTable is what became of one table. The sums are the same where both hold
// the same rows, whatever the engine; see rowSum.
type MovedTable struct {
	Name           string
	Rows, Arrived  int64
	FromSum, ToSum string
}

// Same reports whether as much arrived, and the same.
func (m MovedTable) Same() bool { return m.Rows == m.Arrived && m.FromSum == m.ToSum }

// OpenMove opens the two databases of a move and changes neither; the caller
// closes it. It refuses a source whose schema is not the newest, one that is itself
// half of a move, a target that holds a fleet, and either where it is in use. Its
// errors are one sentence.
func OpenMove(ctx context.Context, from, to string) (m *Move, err error) {
	m = &Move{}
	defer func() {
		if err != nil {
			m.Close()
			m = nil
		}
	}()
	if m.from, m.fromShown, err = openAlone(ctx, from, true); err == nil {
		err = m.mayRead(ctx)
	}
	if err != nil {
		return m, fmt.Errorf("--from: %w", err)
	}
	if m.to, m.toShown, err = openAlone(ctx, to, false); err == nil {
		err = m.mayFill(ctx)
	}
	if err != nil {
		return m, fmt.Errorf("--to: %w", err)
	}
	return m, nil
}

// openAlone opens a database that nobody else uses, without a look at its schema.
func openAlone(ctx context.Context, address string, existing bool) (*Store, string, error) {
	s, shown, err := connect(address, existing, true)
	if err != nil {
		return nil, "", err
	}
	within, cancel := context.WithTimeout(ctx, openTimeout)
	defer cancel()
	err = s.greet(within)
	switch {
	case err == nil:
		err = s.alone(within, shown)
	case s.dialect.fault(err) == retryFault:
		err = inUse(shown)
	default:
		err = s.openError(shown, address, err)
	}
	if err != nil {
		s.Close()
		return nil, "", err
	}
	return s, shown, nil
}

func inUse(shown string) error {
	return fmt.Errorf("the database at %s is in use: stop the service and every other endshake that uses it, and try again", shown)
}

// alone sees that no other endshake uses a database, as far as it can be told.
func (s *Store) alone(ctx context.Context, shown string) error {
	if s.dialect.move.others == "" { // it locks its file, and keeps it locked
		tx, err := s.db.BeginTx(ctx, nil)
		switch {
		case s.dialect.fault(err) == retryFault:
			return inUse(shown)
		case err != nil:
			return err
		}
		return tx.Rollback()
	}
	// A service that was stopped a moment ago may not have been let go of yet.
	for tries := 5; ; tries-- {
		n := 0
		if err := s.db.QueryRowContext(ctx, s.dialect.move.others, programName).Scan(&n); err != nil {
			return fmt.Errorf("ask who else uses the database at %s: %w", shown, err)
		}
		switch {
		case n == 0:
			return nil
		case tries == 0:
			return inUse(shown)
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(letGo):
		}
	}
}

// letGo is how long a server is given, a few times, to let go of who has gone.
const letGo = 200 * time.Millisecond

// From and To are the two stores, for what lies beside their files.
func (m *Move) From() *Store { return m.from }

// To is where it all goes.
func (m *Move) To() *Store { return m.to }

// Close closes both.
func (m *Move) Close() error {
	var errs []error
	if m.claim != nil {
		errs = append(errs, m.claim.Close())
	}
	for _, s := range []*Store{m.from, m.to} {
		if s != nil {
			errs = append(errs, s.Close())
		}
	}
	return errors.Join(errs...)
}

// mayRead sees that the source is of this very schema and whole.
func (m *Move) mayRead(ctx context.Context) error {
	if err := m.from.refuseNewer(ctx); err != nil {
		return err
	}
	v, err := m.from.Version(ctx)
	if err != nil {
		return err
	}
	p, err := m.from.provider()
	if err != nil {
		return err
	}
	switch knows := newest(p); {
	case v == 0:
		return fmt.Errorf("there is no fleet in %s: name the database that is to be moved", m.fromShown)
	case v < knows:
		return fmt.Errorf("the database at %s has schema version %d and this endshake moves version %d: make a backup and run endshake migrate on it first", m.fromShown, v, knows)
	}
	return m.from.refuseIncomplete(ctx, m.fromShown)
}

// mayFill sees that nothing of the target would be lost.
func (m *Move) mayFill(ctx context.Context) error {
	if m.from.file != "" && m.from.file == m.to.file {
		return fmt.Errorf("%s is the database to be moved: name another", m.toShown)
	}
	if err := m.to.refuseNewer(ctx); err != nil {
		return err
	}
	if err := m.claimTarget(ctx); err != nil {
		return err
	}
	marked, err := m.to.incomplete(ctx)
	if err != nil || !marked.IsZero() {
		return err
	}
	ours, err := m.from.columns(ctx)
	if err != nil {
		return err
	}
	there, err := m.to.columns(ctx)
	if err != nil {
		return err
	}
	table, err := filled(ctx, m.to.db, slices.DeleteFunc(slices.Sorted(maps.Keys(there)), func(t string) bool { return ours[t] == nil }))
	if err == nil && table != "" {
		err = fmt.Errorf("the database at %s is not empty (there is something in its table %s): name one that is", m.toShown, table)
	}
	return err
}

// claimTarget keeps a second move away from a server's database.
func (m *Move) claimTarget(ctx context.Context) (err error) {
	if m.to.dialect.move.claim == "" {
		return nil
	}
	if m.claim, err = m.to.db.Conn(ctx); err != nil {
		return err
	}
	got := false
	if err = m.claim.QueryRowContext(ctx, m.to.dialect.move.claim).Scan(&got); err == nil && !got {
		err = inUse(m.toShown)
	}
	return err
}

// incomplete is when a move into this database began that has not ended; zero:
// there was none.
func (s *Store) incomplete(ctx context.Context) (began time.Time, err error) {
	ok, err := s.tableExists(ctx, "moving")
	if err != nil || !ok {
		return began, err
	}
	err = each(ctx, s.db, `SELECT began FROM moving`, nil, func(rows *sql.Rows) error { return rows.Scan(instant{&began}) })
	return began, err
}

// refuseIncomplete refuses a database that a move has not filled wholly.
func (s *Store) refuseIncomplete(ctx context.Context, shown string) error {
	began, err := s.incomplete(ctx)
	if err == nil && !began.IsZero() {
		return fmt.Errorf("the database at %s is not whole, for a move into it that began on %s has not ended: run that endshake move again, or name another database",
			shown, began.Format("2 Jan 2006 at 15:04 UTC"))
	}
	return err
}

// Run copies every table, compares both sides, and only then takes the mark off
// that keeps everything else from opening the target. What differs is an error;
// the tables then say where. Killed or broken off at any point, it can be run
// again from the beginning.
func (m *Move) Run(ctx context.Context, now time.Time) ([]MovedTable, error) {
	if _, _, err := m.to.Migrate(ctx); err != nil {
		return nil, err
	}
	failpoint.Hit("M01 made")
	if err := m.mark(ctx, now); err != nil {
		return nil, err
	}
	failpoint.Hit("M02 marked")
	var err error
	if m.tables, err = m.plan(ctx); err != nil {
		return nil, err
	}
	if err := m.to.empty(ctx, m.tables); err != nil {
		return nil, fmt.Errorf("empty the database at %s: %w", m.toShown, err)
	}
	failpoint.Hit("M03 emptied")
	done, err := m.copyAll(ctx)
	if err != nil {
		return nil, err
	}
	failpoint.Hit("M08 all are there")
	for i, t := range m.tables {
		sum, err := m.to.sum(ctx, t)
		if err != nil {
			return nil, fmt.Errorf("read the table %s of %s again: %w", t.name, m.toShown, err)
		}
		done[i].Arrived, done[i].ToSum = sum.rows, sum.String()
		failpoint.Hit("M09 compared one")
	}
	if i := slices.IndexFunc(done, func(t MovedTable) bool { return !t.Same() }); i >= 0 {
		return done, fmt.Errorf("the table %s is not the same in %s: the move is not done, and that database stays marked as not whole; run the move again", done[i].Name, m.toShown)
	}
	if err := m.from.alone(ctx, m.fromShown); err != nil {
		return done, fmt.Errorf("--from: %w, for what was logged meanwhile was not moved", err)
	}
	switch is, err := m.from.Extent(ctx); {
	case err != nil:
		return done, fmt.Errorf("--from: %w", err)
	case !is.Same(m.copied):
		return done, fmt.Errorf("--from: the database at %s was written to while it was moved (it holds %s, and moved were %s): stop whatever uses it, and run the move again",
			m.fromShown, is.Words(), m.copied.Words())
	}
	failpoint.Hit("M10 compared")
	return done, m.unmark(ctx)
}

// mark keeps everything else from opening the target. A mark that is there stays.
func (m *Move) mark(ctx context.Context, now time.Time) error {
	_, err := m.to.db.ExecContext(ctx, `INSERT INTO moving (one, began) VALUES (1, $1) ON CONFLICT (one) DO NOTHING`, micro(now))
	if err != nil {
		return fmt.Errorf("mark the database at %s as not whole: %w", m.toShown, err)
	}
	return nil
}

func (m *Move) unmark(ctx context.Context) error {
	if _, err := m.to.db.ExecContext(ctx, `DELETE FROM moving`); err != nil {
		return fmt.Errorf("take the mark off the database at %s: %w", m.toShown, err)
	}
	failpoint.Hit("M11 done")
	return nil
}

// copyAll copies the tables over one unchanging view of the source, each in one
// transaction of the target.
func (m *Move) copyAll(ctx context.Context) (done []MovedTable, err error) {
	tx, err := m.from.unchanging(ctx)
	if err != nil {
		return nil, fmt.Errorf("--from: %w", err)
	}
	defer tx.Rollback()
	if m.copied, err = m.from.extent(ctx, tx); err != nil {
		return nil, fmt.Errorf("--from: %w", err)
	}
	for _, t := range m.tables {
		failpoint.Hit("M04 before a table")
		rows, err := tx.QueryContext(ctx, t.query())
		if err != nil {
			return nil, fmt.Errorf("read the table %s: %w", t.name, err)
		}
		in := &moving{rows: rows, table: t}
		err = m.to.dialect.move.fill(ctx, m.to, t, in)
		err = errors.Join(err, rows.Close())
		if err != nil {
			return nil, fmt.Errorf("copy the table %s: %w", t.name, err)
		}
		done = append(done, MovedTable{Name: t.name, Rows: in.sum.rows, FromSum: in.sum.String()})
		failpoint.Hit("M06 a table is there")
	}
	if err := m.to.countOn(ctx); err != nil {
		return nil, err
	}
	failpoint.Hit("M07 numbers go on")
	return done, nil
}

// unchanging is a transaction that reads, sees no change of others, and is never
// ended for being long. The file of an embedded database is locked from here on.
func (s *Store) unchanging(ctx context.Context) (*sql.Tx, error) {
	tx, err := s.db.BeginTx(ctx, &sql.TxOptions{Isolation: sql.LevelRepeatableRead, ReadOnly: !s.dialect.local})
	if err != nil {
		return nil, err
	}
	if s.dialect.move.unchanging != "" {
		if _, err := tx.ExecContext(ctx, s.dialect.move.unchanging); err != nil {
			return nil, errors.Join(err, tx.Rollback())
		}
	}
	return tx, nil
}

// moveTable is a table as it is moved.
type moveTable struct {
	name    string
	columns []string
	kinds   []string // as PostgreSQL calls them; empty: neither side is that
}

func (t moveTable) query() string {
	return `SELECT ` + strings.Join(t.columns, ", ") + ` FROM ` + t.name
}

// column is a column of a table.
type column struct{ name, kind string }

// columns are those of each table of the database.
func (s *Store) columns(ctx context.Context) (map[string][]column, error) {
	all := map[string][]column{}
	err := each(ctx, s.db, s.dialect.move.columns, nil, func(rows *sql.Rows) error {
		var table string
		var c column
		err := rows.Scan(&table, &c.name, &c.kind)
		all[table] = append(all[table], c)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("read what tables there are: %w", err)
	}
	return all, nil
}

// plan lists the tables to move, those that others name before those that name
// them. Both sides must have the same.
func (m *Move) plan(ctx context.Context) ([]moveTable, error) {
	from, err := m.from.columns(ctx)
	if err != nil {
		return nil, err
	}
	to, err := m.to.columns(ctx)
	if err != nil {
		return nil, err
	}
	names, err := m.from.inOrder(ctx, slices.Sorted(maps.Keys(from)))
	if err != nil {
		return nil, err
	}
	var out []moveTable
	for _, name := range names {
		if leftBehind[name] != "" {
			continue
		}
		t := moveTable{name: name}
		for _, c := range from[name] {
			i := slices.IndexFunc(to[name], func(x column) bool { return x.name == c.name })
			if i < 0 {
				return nil, fmt.Errorf("the database at %s has no %s.%s: its schema was changed by hand, and it cannot be moved to", m.toShown, name, c.name)
			}
			kind := ""
			switch {
			case !m.to.dialect.local:
				kind = to[name][i].kind
			case !m.from.dialect.local:
				kind = c.kind
			}
			t.columns, t.kinds = append(t.columns, c.name), append(t.kinds, kind)
		}
		out = append(out, t)
	}
	return out, nil
}

// inOrder sorts tables so that each stands after those that its rows name.
func (s *Store) inOrder(ctx context.Context, tables []string) (out []string, err error) {
	needs := map[string][]string{}
	err = each(ctx, s.db, s.dialect.move.foreign, nil, func(rows *sql.Rows) error {
		var table, named string
		err := rows.Scan(&table, &named)
		needs[table] = append(needs[table], named)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("read how tables hang together: %w", err)
	}
	var put func(string)
	begun := map[string]bool{}
	put = func(t string) {
		if begun[t] {
			return
		}
		begun[t] = true
		for _, n := range needs[t] {
			put(n)
		}
		out = append(out, t)
	}
	for _, t := range tables {
		put(t)
	}
	return out, nil
}

// Words is a line about a table for people.
func (m MovedTable) Words() string {
	state := "the same"
	if !m.Same() {
		state = fmt.Sprintf("NOT THE SAME: %d rows with the sum %.12s arrived", m.Arrived, m.ToSum)
	}
	return fmt.Sprintf("%-13s %9d  %.12s  %s", m.Name, m.Rows, m.FromSum, state)
}

// MovedText is what a move prints.
func MovedText(all []MovedTable) string {
	var b strings.Builder
	var rows int64
	fmt.Fprintf(&b, "%-13s %9s  %-12s  %s\n", "table", "rows", "sum", "arrived")
	for _, t := range all {
		rows += t.Rows
		b.WriteString(t.Words() + "\n")
	}
	fmt.Fprintf(&b, "%s, %d rows.\n", schedule.Count(len(all), "table", "tables"), rows)
	return b.String()
}
