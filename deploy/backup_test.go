package deploy_test

import (
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"endshake/db"
	"endshake/db/dbtest"
)

// filled is a store with a fleet and a log.
func filled(t *testing.T, address string) *db.Store {
	t.Helper()
	s := dbtest.Open(t, address)
	now := time.Date(2026, time.November, 25, 9, 0, 0, 0, time.UTC)
	if err := s.SaveFleet(t.Context(), "test", now, dbtest.Fleet(3), nil); err != nil {
		t.Fatal(err)
	}
	if err := s.AppendAll(t.Context(), "test", now, dbtest.Log(3, 20)); err != nil {
		t.Fatal(err)
	}
	return s
}

// same holds that two stores say the same.
func same(t *testing.T, got, want *db.Store) {
	t.Helper()
	gotFleet, err1 := got.Fleet(t.Context())
	wantFleet, err2 := want.Fleet(t.Context())
	gotLog, err3 := got.Log(t.Context())
	wantLog, err4 := want.Log(t.Context())
	for _, err := range []error{err1, err2, err3, err4} {
		if err != nil {
			t.Fatal(err)
		}
	}
	if len(wantLog) == 0 || !reflect.DeepEqual(gotFleet, wantFleet) || !reflect.DeepEqual(gotLog, wantLog) {
		t.Error("what is restored is not what was backed up")
	}
}

// backup runs the script and gives the name of the copy.
func backup(t *testing.T, database, folder string) string {
	t.Helper()
	c := exec.CommandContext(t.Context(), "./backup.sh", database, folder)
	c.Stderr = os.Stderr
	out, err := c.Output()
	if err != nil {
		t.Fatalf("backup.sh: %v\n%s", err, out)
	}
	copied := strings.TrimSpace(string(out))
	info, err := os.Stat(copied)
	if err != nil {
		t.Fatal(err)
	}
	if info.Mode().Perm() != 0o600 {
		t.Errorf("others can read the backup: %v", info.Mode())
	}
	return copied
}

// A backup of a database in use, restored as the script's head says.
func TestBackupSQLite(t *testing.T) {
	tool(t, "sqlite3", "sqlite3")
	data, folder := t.TempDir(), filepath.Join(t.TempDir(), "it's here")
	if err := os.Mkdir(folder, 0o700); err != nil {
		t.Fatal(err)
	}
	s := filled(t, data)
	copied := backup(t, data, folder)
	restored := filepath.Join(t.TempDir(), "endshake.db")
	b, err := os.ReadFile(copied)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(restored, b, 0o600); err != nil {
		t.Fatal(err)
	}
	same(t, dbtest.Open(t, restored), s)
}

func TestBackupPostgres(t *testing.T) {
	tool(t, "pg_dump", "postgresql-client")
	address, empty := dbtest.Postgres(t), dbtest.Postgres(t)
	s := filled(t, address)
	copied := backup(t, address, t.TempDir())
	if out, err := run(t, "pg_restore", "--no-owner", "--exit-on-error", "--dbname="+empty, copied); err != nil {
		t.Fatalf("pg_restore: %v\n%s", err, out)
	}
	same(t, dbtest.Open(t, empty), s)
}

// Older copies go, as many as KEEP says stay, and nothing else is touched.
func TestBackupKeeps(t *testing.T) {
	tool(t, "sqlite3", "sqlite3")
	data, folder := t.TempDir(), t.TempDir()
	filled(t, data)
	for _, name := range []string{
		"endshake-20200101T000000Z.db", "endshake-20210101T000000Z.db", "endshake-20220101T000000Z.db",
		"endshake-20200101T000000Z.pgdump", "endshake.db", "notes.txt",
	} {
		if err := os.WriteFile(filepath.Join(folder, name), []byte("old"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	t.Setenv("KEEP", "2")
	newest := filepath.Base(backup(t, data, folder))
	var got []string
	entries, err := os.ReadDir(folder)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		got = append(got, e.Name())
	}
	want := []string{"endshake-20200101T000000Z.pgdump", "endshake-20220101T000000Z.db", newest, "endshake.db", "notes.txt"}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("the folder holds %q, want %q", got, want)
	}
}

// Whatever goes wrong is said in one sentence, and leaves nothing behind.
func TestBackupRefuses(t *testing.T) {
	tool(t, "sqlite3", "sqlite3")
	tool(t, "pg_dump", "postgresql-client")
	broken := filepath.Join(t.TempDir(), "broken.db")
	if err := os.WriteFile(broken, []byte(strings.Repeat("not a database ", 500)), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name, keep string
		args       []string
		want       string
	}{
		{"no arguments", "", nil, "say what and where to"},
		{"no such database", "", []string{"no-such-folder"}, "there is no database at no-such-folder"},
		{"not a database", "", []string{broken}, "nothing was kept"},
		{"nobody answers", "", []string{"postgres://127.0.0.1:1/none"}, "pg_dump failed"},
		{"keep nothing", "0", []string{broken}, "KEEP is \"0\""},
		{"keep words", "2 3", []string{broken}, "KEEP is \"2 3\""},
	} {
		t.Run(c.name, func(t *testing.T) {
			folder := t.TempDir()
			t.Setenv("KEEP", c.keep)
			if c.keep == "" {
				t.Setenv("KEEP", "30")
			}
			args := c.args
			if args != nil {
				args = append(args, folder)
			}
			out, err := run(t, "./backup.sh", args...)
			if err == nil || !strings.Contains(out, c.want) {
				t.Errorf("backup.sh %q: %v, %q; want a failure with %q", args, err, out, c.want)
			}
			if left, _ := filepath.Glob(filepath.Join(folder, "*")); len(left) != 0 {
				t.Errorf("it left %q behind", left)
			}
		})
	}
	if out, err := run(t, "./backup.sh", broken, filepath.Join(t.TempDir(), "none")); err == nil || !strings.Contains(out, "is not a folder") {
		t.Errorf("a folder that is not there: %v, %q", err, out)
	}
}
