package db_test

import (
	"bufio"
	"context"
	"database/sql"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"endshake/db"
	"endshake/db/dbtest"
	"endshake/schedule"
)

// newest is the version that this binary brings a database to.
const newest = 9

// tablesOf are the tables of a schema version, in an order in which rows fit in.
func tablesOf(version int64) []string {
	all := []string{"site", "person", "clock", "duty", "train", "arbor", "bearing", "policy", "entry", "reading",
		"audit", "revision", "job_run", "notice"}
	if version > 1 {
		all = append(all, "mesh", "learned")
	}
	if version > 4 {
		all = append(all, "notice_body")
	}
	return all
}

// oldFleet is a fleet that a version can hold: 1 no meshes and no long shafts, 2
// no care, 3 no wishes, 8 no rounds.
func oldFleet(version int64) schedule.Fleet {
	f := dbtest.Fleet(6)
	for i := range f.People {
		f.People[i].Mail, f.People[i].Going = schedule.Wishes{}, schedule.Going{}
	}
	for i := range f.Sites {
		f.Sites[i].Reach = schedule.Reach{}
	}
	for _, c := range f.Clocks {
		for i := range c.Policies {
			c.Policies[i].Two = false
		}
	}
	if version > 2 {
		return f
	}
	for i := range f.Sites {
		f.Sites[i].Climate = nil
	}
	for i := range f.Clocks {
		c := &f.Clocks[i]
		c.Care = schedule.Care{}
		for j := range c.Policies {
			p := &c.Policies[j]
			p.Risk, p.Line, p.Minutes = 0, "", 0
		}
		for j := range c.Trains {
			t := &c.Trains[j]
			t.Weight, t.Striking, t.MeterHours = nil, nil, 0
			if version > 1 {
				continue
			}
			t.Meshes = nil
			for _, a := range t.Arbors {
				for j := range a.Bearings {
					b := &a.Bearings[j]
					b.Stand, b.Shaft, b.Frame = 0, "", ""
				}
			}
		}
	}
	return f
}

// beside opens a database without the store.
func beside(t *testing.T, address string) *sql.DB {
	t.Helper()
	driver, source := "pgx", address
	if path, ok := strings.CutPrefix(address, "sqlite:"); ok {
		driver, source = "sqlite", path+"?_pragma=busy_timeout(5000)"
	}
	d, err := sql.Open(driver, source)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { d.Close() })
	return d
}

// atVersion gives the address of a database of an old version with oldFleet, a
// log, notices and a run in it, each row as the version of today writes it.
func atVersion(t *testing.T, fresh func(testing.TB) string, version int64) string {
	t.Helper()
	ctx, source, address := t.Context(), fresh(t), fresh(t)
	s := dbtest.Open(t, source)
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	must(s.SaveFleet(ctx, "tester", dbtest.Day, oldFleet(version), nil))
	must(s.AppendAll(ctx, "tester", dbtest.Day, dbtest.Log(6, 60)))
	_, _, err := s.ClaimRun(ctx, "due-list", schedule.Date{Year: 2026, Month: 11, Day: 1}, "one", dbtest.Day, time.Hour)
	must(err)
	_, err = s.Owe(ctx, dbtest.Day, []schedule.Notice{{Key: "k", Raw: []byte("\x00\xff")}})
	must(err)
	old, err := db.Open(ctx, address)
	must(err)
	defer old.Close()
	must(old.MigrateTo(ctx, version))
	from, to := beside(t, source), beside(t, address)
	_, err = to.Exec(`DELETE FROM revision`)
	must(err)
	for _, table := range tablesOf(version) {
		must(copyTable(from, to, table))
	}
	return address
}

// copyTable copies the columns that the second database has.
func copyTable(from, to *sql.DB, table string) error {
	empty, err := to.Query(`SELECT * FROM ` + table + ` WHERE 1 = 0`)
	if err != nil {
		return err
	}
	columns, err := empty.Columns()
	empty.Close()
	if err != nil {
		return err
	}
	names := strings.Join(columns, ", ")
	source := table
	if table == "notice" && slices.Contains(columns, "raw") { // messages stood with their notices
		source = `notice JOIN notice_body ON notice = id`
	}
	rows, err := from.Query(`SELECT ` + names + ` FROM ` + source)
	if err != nil {
		return err
	}
	defer rows.Close()
	var places []string
	values, at := make([]any, len(columns)), make([]any, len(columns))
	for i := range columns {
		places = append(places, fmt.Sprint("$", i+1))
		at[i] = &values[i]
	}
	for rows.Next() {
		if err := rows.Scan(at...); err != nil {
			return err
		}
		if _, err := to.Exec(`INSERT INTO `+table+` (`+names+`) VALUES (`+strings.Join(places, ", ")+`)`, values...); err != nil {
			return fmt.Errorf("%s: %w", table, err)
		}
	}
	return rows.Err()
}

// wantMigrated sees that a store reads what the old version held, and can hold more.
func wantMigrated(t *testing.T, s *db.Store, version int64) {
	t.Helper()
	ctx := t.Context()
	f, err := s.Fleet(ctx)
	if err != nil || !reflect.DeepEqual(f, oldFleet(version)) {
		t.Errorf("the fleet is now %+v, %v", f, err)
	}
	log, err := s.Log(ctx)
	n := 0
	for _, list := range log {
		n += len(list)
	}
	if err != nil || n != 60 || !reflect.DeepEqual(log["clock-1"][0], dbtest.Log(6, 60)[1]) {
		t.Errorf("the log has now %d entries, %v: %+v", n, err, log["clock-1"][0])
	}
	if known, err := s.KnownKeys(ctx, []string{"k"}); err != nil || !known["k"] {
		t.Errorf("the notice is gone: %v, %v", known, err)
	}
	if list, err := s.Notices(ctx, 9); err != nil || len(list) != 1 {
		t.Errorf("notices %+v, %v", list, err)
	} else if n, err := s.Notice(ctx, list[0].ID); err != nil || string(n.Raw) != "\x00\xff" {
		t.Errorf("the message of the notice is %q, %v", n.Raw, err)
	}
	if runs, err := s.Runs(ctx, 9); err != nil || len(runs) != 1 {
		t.Errorf("runs %+v, %v", runs, err)
	}
	rev, err := s.Revision(ctx)
	if err != nil || rev == 0 {
		t.Errorf("revision %d, %v", rev, err)
	}
	// What was written before there was a chain is chained.
	if c, err := s.CheckAudit(ctx, dbtest.Day); err != nil || !c.Sound() || c.Rows != rev {
		t.Errorf("the audit: %+v, %v", c, err)
	}
	// Nothing has changed, so saving it again is no change.
	if err := s.SaveFleet(ctx, "tester", dbtest.Day, oldFleet(version), nil); err != nil {
		t.Error(err)
	}
	if now, err := s.Revision(ctx); err != nil || now != rev {
		t.Errorf("revision %d after %d, %v", now, rev, err)
	}
	if err := s.SaveFleet(ctx, "tester", dbtest.Day, dbtest.Fleet(6), nil); err != nil {
		t.Error(err)
	}
	if f, err := s.Fleet(ctx); err != nil || !reflect.DeepEqual(f, dbtest.Fleet(6)) {
		t.Errorf("with meshes and care the fleet is %+v, %v", f, err)
	}
	if l, err := s.SaveLearned(ctx, schedule.Learned{FittedAt: dbtest.Day}); err != nil || l.Version != 1 {
		t.Errorf("learned version %d, %v", l.Version, err)
	}
}

// left are how many traces each version leaves.
var left = map[int64]int{1: 0, 2: 5, 3: 11, 4: 17, 5: 19, 6: 23, 7: 26, 8: 27, 9: 30}

// traces counts what version 2 brings, three columns and two tables, what 3
// brings, six columns, what 4 brings, a column and five tables, what 5 brings, two
// tables, what 6 brings, four tables, what 7 brings, a column and two tables, what
// 8 brings, a table, and what 9 brings, two columns and a table.
func traces(t *testing.T, d *sql.DB) (n int) {
	t.Helper()
	for _, query := range []string{`SELECT stand_um FROM bearing`, `SELECT shaft FROM bearing`, `SELECT frame FROM bearing`,
		`SELECT code FROM mesh`, `SELECT version FROM learned`, `SELECT detail FROM site`, `SELECT detail FROM clock`,
		`SELECT detail FROM train`, `SELECT risk FROM policy`, `SELECT line FROM policy`, `SELECT minutes FROM policy`,
		`SELECT wishes FROM person`, `SELECT hash FROM pass`, `SELECT kind FROM decline`, `SELECT refusals FROM mailbox`,
		`SELECT words FROM notice_event`, `SELECT mark FROM inward`, `SELECT raw FROM notice_body`, `SELECT key FROM covered`,
		`SELECT secret FROM account`, `SELECT data FROM session`, `SELECT scopes FROM machine`, `SELECT small FROM picture`,
		`SELECT hash FROM audit`, `SELECT broken FROM audit_check`, `SELECT n FROM erased`, `SELECT began FROM moving`,
		`SELECT going FROM person`, `SELECT two FROM policy`, `SELECT why FROM round_mark`} {
		if rows, err := d.Query(query); err == nil {
			n++
			rows.Close()
		}
	}
	return n
}

// TestMigrate: a database of each older version goes to the newest and holds the
// same; a step that fails on its way leaves nothing of itself.
func TestMigrate(t *testing.T) {
	for _, step := range []struct {
		from       int64
		stop, mend string // stop the last thing that the next step makes
		traces     int    // with that
	}{
		{1, `CREATE VIEW learned AS SELECT 1 AS one`, `DROP VIEW learned`, 0},
		{2, `ALTER TABLE policy ADD COLUMN minutes INTEGER`, `ALTER TABLE policy DROP COLUMN minutes`, 6},
		{3, `CREATE VIEW inward AS SELECT 1 AS one`, `DROP VIEW inward`, 11},
		{4, `CREATE VIEW covered AS SELECT 1 AS one`, `DROP VIEW covered`, 17},
		{5, `CREATE VIEW picture AS SELECT 1 AS one`, `DROP VIEW picture`, 19},
		{6, `CREATE VIEW erased AS SELECT 1 AS one`, `DROP VIEW erased`, 23},
		{7, `CREATE VIEW moving AS SELECT 1 AS one`, `DROP VIEW moving`, 26},
	} {
		for _, engine := range engines {
			t.Run(fmt.Sprintf("%s from %d", engine.name, step.from), func(t *testing.T) {
				ctx, address := t.Context(), atVersion(t, engine.fresh, step.from)
				s, err := db.OpenExisting(ctx, address)
				if err != nil {
					t.Fatal(err)
				}
				defer s.Close()
				d := beside(t, address)
				if _, err := d.Exec(step.stop); err != nil {
					t.Fatal(err)
				}
				want := fmt.Sprintf("from version %d to %d", step.from, newest)
				if from, to, err := s.Migrate(ctx); err == nil || from != step.from || to != from || !strings.Contains(err.Error(), want) {
					t.Errorf("with something in its way: from %d to %d, %v", from, to, err)
				}
				if v, err := s.Version(ctx); err != nil || v != step.from || traces(t, d) != step.traces {
					t.Errorf("half done: version %d, %v, %d traces", v, err, traces(t, d))
				}
				if _, err := d.Exec(step.mend); err != nil {
					t.Fatal(err)
				}
				d = beside(t, address) // the first has plans of the column that was in the way
				gone, cancel := context.WithCancel(ctx)
				cancel()
				if _, _, err := s.Migrate(gone); err == nil {
					t.Error("migrated for somebody who has gone")
				}
				if from, to, err := s.Migrate(ctx); err != nil || from != step.from || to != newest || traces(t, d) != left[newest] {
					t.Errorf("from %d to %d, %v, %d traces", from, to, err, traces(t, d))
				}
				wantMigrated(t, s, step.from)
			})
		}
	}
}

// migrateEnv names the database that a child process migrates.
const migrateEnv = "ENDSHAKE_TEST_MIGRATE"

func migrateChild(address string) int {
	ctx := context.Background()
	s, err := db.Open(ctx, address)
	if err == nil {
		fmt.Println("begun")
		_, _, err = s.Migrate(ctx)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	return 0
}

// TestMigrateKilled kills a process while it migrates: one of the versions is
// there, whole, and the next process goes on from it.
func TestMigrateKilled(t *testing.T) {
	for _, engine := range engines {
		t.Run(engine.name, func(t *testing.T) {
			killed := map[int64]int{}
			for range 3 {
				address := atVersion(t, engine.fresh, 1)
				killMigration(t, address, time.Duration(rand.IntN(12))*time.Millisecond)
				s, err := db.OpenExisting(t.Context(), address)
				if err != nil {
					t.Fatal(err)
				}
				defer s.Close()
				killed[wantWhole(t, s, beside(t, address))]++
				if _, to, err := s.Migrate(t.Context()); err != nil || to != newest {
					t.Errorf("then to %d, %v", to, err)
				}
				wantMigrated(t, s, 1)
			}
			t.Logf("killed at version: %v", killed)
		})
	}
}

// wantWhole sees that the schema is that of its version, and gives it. What a
// killed process asked of a server may still be done while we look.
func wantWhole(t *testing.T, s *db.Store, d *sql.DB) int64 {
	t.Helper()
	for {
		before, err := s.Version(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		n := traces(t, d)
		after, err := s.Version(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if before != after {
			continue
		}
		if n != left[after] {
			t.Errorf("torn: version %d with %d traces", after, n)
		}
		return after
	}
}

// killMigration lets a child migrate for a while.
func killMigration(t *testing.T, address string, after time.Duration) {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	child := exec.Command(self)
	child.Env = append(os.Environ(), migrateEnv+"="+address)
	child.Stderr = os.Stderr
	out, err := child.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := child.Start(); err != nil {
		t.Fatal(err)
	}
	if !bufio.NewScanner(out).Scan() {
		t.Error("the child never began")
	}
	time.Sleep(after)
	child.Process.Kill()
	child.Wait() // the kill is its error, unless it was done
}
