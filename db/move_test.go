package db_test

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"endshake/db"
	"endshake/db/dbtest"
	"endshake/schedule"
)

// filled is the address of a database with something in every table, which nobody
// has open.
func filled(t *testing.T, fresh func(testing.TB) string) string {
	t.Helper()
	address := fresh(t)
	s, err := db.Open(t.Context(), address)
	if err != nil {
		t.Fatal(err)
	}
	if _, _, err := s.Migrate(t.Context()); err != nil {
		t.Fatal(err)
	}
	dbtest.Fill(t, s)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	return address
}

// move moves everything, and gives what became of each table.
func move(t *testing.T, from, to string) ([]db.MovedTable, error) {
	t.Helper()
	m, err := db.OpenMove(t.Context(), from, to)
	if err != nil {
		return nil, err
	}
	defer m.Close()
	return m.Run(t.Context(), dbtest.Day)
}

// pairs are the ways that a move can go.
func pairs(t *testing.T, do func(t *testing.T, from, to func(testing.TB) string)) {
	for _, from := range engines {
		for _, to := range engines {
			t.Run(from.name+" to "+to.name, func(t *testing.T) { do(t, from.fresh, to.fresh) })
		}
	}
}

// seen is what a store gives back of all that it holds.
type seen struct {
	fleet    schedule.Fleet
	log      map[string][]schedule.Entry
	audit    []db.AuditRow
	accounts []schedule.Account
	notices  []schedule.Notice
	erased   []schedule.Erasure
	learned  schedule.Learned
	pictures []schedule.Picture
	check    schedule.AuditCheck
}

func look(t *testing.T, s *db.Store) (v seen) {
	t.Helper()
	ctx := t.Context()
	var errs [9]error
	v.fleet, errs[0] = s.Fleet(ctx)
	v.log, errs[1] = s.Log(ctx)
	v.audit, errs[2] = s.Audit(ctx, 1000)
	v.accounts, errs[3] = s.Accounts(ctx)
	v.notices, errs[4] = s.Notices(ctx, 100)
	v.erased, errs[5] = s.Erasures(ctx)
	v.learned, _, errs[6] = s.Learned(ctx)
	v.pictures, errs[7] = s.Pictures(ctx, "clock-1")
	v.check, errs[8] = s.CheckAudit(ctx, dbtest.Day)
	for _, err := range errs {
		if err != nil {
			t.Fatal(err)
		}
	}
	for i := range v.pictures {
		p, err := s.Picture(ctx, v.pictures[i].ID)
		if err != nil {
			t.Fatal(err)
		}
		v.pictures[i] = p
	}
	return v
}

// TestMove: everything arrives, is read back alike by everything that reads, the
// audit chain holds, and the new store goes on where the old one stood.
func TestMove(t *testing.T) {

	pairs(t, func(t *testing.T, fresh, freshTo func(testing.TB) string) {
		from, to := filled(t, fresh), freshTo(t)
		tables, err := move(t, from, to)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range tables {
			if m.Rows == 0 || m.Arrived != m.Rows || m.FromSum != m.ToSum || len(m.FromSum) != 64 {
				t.Errorf("table %s: %+v: Fill puts something into every table, and all of it must arrive", m.Name, m)
			}
		}
		old, s := dbtest.Open(t, from), dbtest.Open(t, to)
		was, is := look(t, old), look(t, s)
		if !reflect.DeepEqual(was, is) {
			t.Errorf("read back:\n got %+v\nwant %+v", is, was)
		}
		if !is.check.Sound() || is.check.Emptied == 0 || is.check.Rows != int64(len(is.audit)) || is.check.Head != was.check.Head {
			t.Errorf("the audit is %+v", is.check)
		}
		wantGoesOn(t, s)
	})

}

// wantGoesOn sees that new rows come after those that were copied.
func wantGoesOn(t *testing.T, s *db.Store) {
	t.Helper()
	ctx := t.Context()
	before, err := s.Revision(ctx)
	if err != nil {
		t.Fatal(err)
	}
	if l, err := s.SaveLearned(ctx, schedule.Learned{FittedAt: dbtest.Day}); err != nil || l.Version != 3 {
		t.Errorf("the next lesson has version %d, %v", l.Version, err)
	}
	if e, err := s.Erase(ctx, "boss", dbtest.Day, "a-winder"); err != nil || e.Number != 2 {
		t.Errorf("the next erasure is %+v, %v", e, err)
	}
	if after, err := s.Revision(ctx); err != nil || after != before+2 {
		t.Errorf("revision %d after %d, %v", after, before, err)
	}
	if c, err := s.CheckAudit(ctx, dbtest.Day); err != nil || !c.Sound() {
		t.Errorf("the audit goes on as %+v, %v", c, err)
	}
	if err := s.Write(ctx, "change the log", func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `UPDATE entry SET note = 'x'`)
		return err
	}); err == nil {
		t.Error("the log can be changed after a move")
	}
}

// TestMoveSums: the sum of a table does not hang on the engine, and a move there
// and back ends with the same rows.
func TestMoveSums(t *testing.T) {
	a, b, c, d := filled(t, dbtest.SQLite), dbtest.Postgres(t), dbtest.SQLite(t), dbtest.Postgres(t)
	var first []db.MovedTable
	for _, way := range [][2]string{{a, b}, {b, d}, {d, c}, {c, dbtest.SQLite(t)}} {
		tables, err := move(t, way[0], way[1])
		if err != nil {
			t.Fatal(err)
		}
		slices.SortFunc(tables, func(x, y db.MovedTable) int { return strings.Compare(x.Name, y.Name) })
		if first == nil {
			first = tables
		}
		if !reflect.DeepEqual(tables, first) {
			t.Errorf("%v\nand before\n%v", tables, first)
		}
	}
}

// TestEveryTableMoves: each table of both schemas is moved, or named as left behind
// with why.
func TestEveryTableMoves(t *testing.T) {
	for _, engine := range engines {
		t.Run(engine.name, func(t *testing.T) {
			from := filled(t, engine.fresh)
			tables, err := move(t, from, dbtest.SQLite(t))
			if err != nil {
				t.Fatal(err)
			}
			moved := map[string]bool{}
			for _, m := range tables {
				moved[m.Name] = true
			}
			rows, err := beside(t, from).Query(map[string]string{"sqlite": `SELECT name FROM sqlite_master WHERE type = 'table'`,
				"postgres": `SELECT tablename FROM pg_tables WHERE schemaname = 'public'`}[engine.name])
			if err != nil {
				t.Fatal(err)
			}
			defer rows.Close()
			n := 0
			for rows.Next() {
				var name string
				if err := rows.Scan(&name); err != nil {
					t.Fatal(err)
				}
				n++
				if strings.HasPrefix(name, "sqlite_") {
					continue // the engine's own
				}
				if why := db.LeftBehind[name]; moved[name] == (len(why) > 20) {
					t.Errorf("the table %s is moved: %v; left behind because %q", name, moved[name], why)
				}
			}
			if n < 31 {
				t.Errorf("only %d tables", n)
			}
		})
	}
}

// TestMoveNumbersGoOn: what a server numbers by itself goes on behind the highest
// number that was copied.
func TestMoveNumbersGoOn(t *testing.T) {
	from, to := filled(t, dbtest.Postgres), dbtest.Postgres(t)
	s := dbtest.Open(t, to)
	s.Close()
	for _, address := range []string{from, to} {
		d := beside(t, address)
		if _, err := d.Exec(`CREATE TABLE later (id BIGINT GENERATED ALWAYS AS IDENTITY PRIMARY KEY, no BIGSERIAL, words TEXT)`); err != nil {
			t.Fatal(err)
		}
		d.Close()
	}
	d := beside(t, from)
	if _, err := d.Exec(`INSERT INTO later (no, words) SELECT n + 100, 'x' FROM generate_series(1, 7) AS n`); err != nil {
		t.Fatal(err)
	}
	d.Close()
	if _, err := move(t, from, to); err != nil {
		t.Fatal(err)
	}
	var id, no int64
	if err := beside(t, to).QueryRow(`INSERT INTO later (words) VALUES ('y') RETURNING id, no`).Scan(&id, &no); err != nil || id != 8 || no != 108 {
		t.Errorf("the next row is %d, %d, %v; want 8 and 108", id, no, err)
	}
}

// TestMoveRefused: what a move will not begin with, each in one sentence, and
// nothing is changed.
func TestMoveRefused(t *testing.T) {
	pairs(t, func(t *testing.T, fresh, freshTo func(testing.TB) string) {
		ctx := t.Context()
		from := filled(t, fresh)
		refused := func(what, from, to, want string) {
			t.Helper()
			m, err := db.OpenMove(ctx, from, to)
			if err == nil {
				m.Close()
				t.Errorf("%s is moved", what)
				return
			}
			if s := err.Error(); !strings.Contains(s, want) || strings.Contains(s, "\n") {
				t.Errorf("%s is refused with %q, want %q", what, s, want)
			}
		}
		old := fresh(t)
		s, err := db.Open(ctx, old)
		if err != nil {
			t.Fatal(err)
		}
		if err := s.MigrateTo(ctx, 6); err != nil {
			t.Fatal(err)
		}
		s.Close()
		refused("an older schema", old, freshTo(t), "run endshake migrate on it first")
		if s, err = db.Open(ctx, old); err != nil {
			t.Fatal(err)
		}
		if v, err := s.Version(ctx); err != nil || v != 6 {
			t.Errorf("the source was brought to version %d, %v", v, err)
		}
		s.Close()
		refused("a target with a fleet", from, filled(t, freshTo), "is not empty")
		refused("itself", from, from, "--to")
		refused("nothing", fresh(t), freshTo(t), "--from: there is no ")
		using := dbtest.Open(t, from)
		refused("a database that is in use", from, freshTo(t), "is in use: stop the service")
		using.Close()
		to := freshTo(t)
		using = dbtest.Open(t, to)
		refused("a target in use", from, to, "is in use: stop the service")
		using.Close()
		first, err := db.OpenMove(ctx, from, to)
		if err != nil {
			t.Fatal(err)
		}
		defer first.Close()
		refused("a target of another move", from, to, "is in use")
	})
}

// TestMarked: a target that is not whole is opened by nothing but another move,
// which makes it whole.
func TestMarked(t *testing.T) {
	pairs(t, func(t *testing.T, fresh, freshTo func(testing.TB) string) {
		ctx := t.Context()
		from, to := filled(t, fresh), filled(t, freshTo)
		d := beside(t, to)
		if _, err := d.Exec(`INSERT INTO moving (one, began) VALUES (1, $1)`, "2026-11-25 09:30:00+00:00"); err != nil {
			t.Fatal(err)
		}
		d.Close()
		for name, open := range map[string]func(context.Context, string) (*db.Store, error){"Open": db.Open, "OpenExisting": db.OpenExisting} {
			s, err := open(ctx, to)
			if err == nil {
				s.Close()
				t.Fatalf("%s opens it", name)
			}
			if s := err.Error(); !strings.Contains(s, "is not whole, for a move into it that began on 25 Nov 2026 at 09:30 UTC has not ended: run that endshake move again") || strings.Contains(s, "\n") {
				t.Errorf("%s says %q", name, s)
			}
		}
		if _, err := move(t, to, freshTo(t)); err == nil || !strings.Contains(err.Error(), "--from: the database at") {
			t.Errorf("what is not whole is moved on: %v", err)
		}
		if _, err := move(t, from, to); err != nil {
			t.Fatal(err)
		}
		was, is := look(t, dbtest.Open(t, from)), look(t, dbtest.Open(t, to))
		if !reflect.DeepEqual(was, is) {
			t.Errorf("made anew:\n got %+v\nwant %+v", is, was)
		}
	})
}

// TestMoveTellsADifference: a row that is not the same on the other side ends the
// move with the mark still there.
func TestMoveTellsADifference(t *testing.T) {
	from, to := filled(t, dbtest.SQLite), dbtest.SQLite(t)
	s := dbtest.Open(t, to)
	s.Close()
	d := beside(t, to)
	if _, err := d.Exec(`CREATE TRIGGER slip AFTER INSERT ON site BEGIN UPDATE site SET place = place || ' ' WHERE slug = 'annexe'; END`); err != nil {
		t.Fatal(err)
	}
	d.Close()
	tables, err := move(t, from, to)
	if err == nil || !strings.Contains(err.Error(), "the table site is not the same") {
		t.Fatalf("the move ends with %v", err)
	}
	for _, m := range tables {
		if m.Same() != (m.Name != "site") {
			t.Errorf("%+v", m)
		}
	}
	if text := db.MovedText(tables); !strings.Contains(text, "NOT THE SAME") {
		t.Errorf("it prints\n%s", text)
	}
	if _, err := db.Open(t.Context(), to); err == nil {
		t.Error("it can be opened")
	}
}

// TestSourceIsOnlyRead: the file of the source is the same to the byte.
func TestSourceIsOnlyRead(t *testing.T) {
	from := filled(t, dbtest.SQLite)
	hash := func() string {
		data, err := os.ReadFile(strings.TrimPrefix(from, "sqlite:"))
		if err != nil {
			t.Fatal(err)
		}
		return fmt.Sprintf("%x", sha256.Sum256(data))
	}
	before := hash()
	for _, to := range []string{dbtest.SQLite(t), dbtest.Postgres(t)} {
		if _, err := move(t, from, to); err != nil {
			t.Fatal(err)
		}
	}
	if after := hash(); after != before {
		t.Errorf("the file was %s and is %s", before, after)
	}
	left, err := filepath.Glob(strings.TrimPrefix(from, "sqlite:") + "*")
	if err != nil || len(left) != 1 {
		t.Errorf("left beside it: %v, %v", left, err)
	}
}

// breaking is a context that ends when it is asked for its end the at-th time, which
// every question to a database does.
type breaking struct {
	context.Context
	end   func()
	asked *atomic.Int64
	at    int64
}

func (b breaking) Done() <-chan struct{} {
	if b.asked.Add(1) == b.at {
		b.end()
	}
	return b.Context.Done()
}

// TestMoveBrokenOff: whoever ends a move in its midst leaves a target that says so,
// and another move into it is whole.
func TestMoveBrokenOff(t *testing.T) {
	pairs(t, func(t *testing.T, fresh, freshTo func(testing.TB) string) {
		from := filled(t, fresh)
		s := dbtest.Open(t, from)
		was := look(t, s)
		s.Close() // who is moved is alone
		run := func(to string, at int64) (asked int64, err error) {
			m, err := db.OpenMove(t.Context(), from, to)
			if err != nil {
				t.Fatal(err)
			}
			defer m.Close()
			ctx, end := context.WithCancel(t.Context())
			defer end()
			b := breaking{ctx, end, new(atomic.Int64), at}
			_, err = m.Run(b, dbtest.Day)
			return b.asked.Load(), err
		}
		all, err := run(freshTo(t), -1)
		if err != nil || all < 100 {
			t.Fatalf("a move asks %d times, %v", all, err)
		}
		for _, at := range []int64{all / 2, all * 9 / 10} {
			to := freshTo(t)
			if _, err := run(to, at); err == nil {
				t.Errorf("ended at %d of %d questions, it is done", at, all)
			}
			if _, err := db.Open(t.Context(), to); err == nil || !strings.Contains(err.Error(), "is not whole, for a move into it") {
				t.Errorf("ended at %d of %d questions, it is opened with %v", at, all, err)
			}
			if _, err := move(t, from, to); err != nil {
				t.Fatal(err)
			}
			if is := look(t, dbtest.Open(t, to)); !reflect.DeepEqual(was, is) {
				t.Errorf("in the end:\n got %+v\nwant %+v", is, was)
			}
		}
	})
}

// TestMoveTellsWhatWasWrittenMeanwhile: what somebody who is not known to be there
// writes into a server while it is moved, and goes, is in no copy, and the move says so.
func TestMoveTellsWhatWasWrittenMeanwhile(t *testing.T) {
	ctx, from, to := t.Context(), filled(t, dbtest.Postgres), dbtest.SQLite(t)
	m, err := db.OpenMove(ctx, from, to)
	if err != nil {
		t.Fatal(err)
	}
	d := beside(t, from)
	tx, err := d.BeginTx(ctx, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer tx.Rollback()
	if _, err := tx.Exec(`LOCK TABLE job_run IN ACCESS EXCLUSIVE MODE`); err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() {
		_, err := m.Run(ctx, dbtest.Day)
		ended <- err
	}()
	for waits := false; !waits; { // it has its view by then
		select {
		case err := <-ended:
			t.Fatalf("it did not wait for a table that is locked: %v", err)
		case <-time.After(10 * time.Millisecond):
		}
		if err := d.QueryRow(`SELECT count(*) > 0 FROM pg_locks WHERE NOT granted AND relation = 'job_run'::regclass`).Scan(&waits); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := tx.Exec(`INSERT INTO job_run (job, occurrence, state, attempt, owner, done_at, note) VALUES ('learn', '2026-11-02', 'done', 1, 'x', now(), '')`); err != nil {
		t.Fatal(err)
	}
	if err := tx.Commit(); err != nil {
		t.Fatal(err)
	}
	if err := <-ended; err == nil || !strings.Contains(err.Error(), "was written to while it was moved") {
		t.Errorf("the move ends with %v", err)
	}
	m.Close()
	if _, err := db.Open(ctx, to); err == nil || !strings.Contains(err.Error(), "is not whole, for a move into it") {
		t.Errorf("the target is opened with %v", err)
	}
	if _, err := move(t, from, to); err != nil {
		t.Errorf("once nobody writes: %v", err)
	}
}
