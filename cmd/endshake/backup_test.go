package main

import (
	"database/sql"
	"errors"
	"fmt"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"endshake/daemon/backup"
	"endshake/db"
	"endshake/db/dbtest"
)

// Backup, look, drill and restore, by commands alone.
func TestBackupCommands(t *testing.T) {
	dir, folder := filepath.Join(t.TempDir(), "data"), t.TempDir()
	at, into := "--database="+dir, "--backups="+folder
	if status, _, stderr := program(t, "fleet", "load", at, fleetFile); status != 0 {
		t.Fatal(stderr)
	}
	step := func(wantStatus int, want string, args ...string) string {
		t.Helper()
		status, stdout, stderr := program(t, args...)
		if status != wantStatus || !strings.Contains(stdout+stderr, want) {
			t.Fatalf("endshake %s: status %d, stdout %q, stderr %q; want %d and %q", strings.Join(args, " "), status, stdout, stderr, wantStatus, want)
		}
		return stdout
	}
	step(1, "mend  backups   there is none in", "check", at, into)
	step(1, "--backups: say into which folder", "backup", at)
	step(1, "--backups-keep:", "backup", at, into, "--backups-keep=0,0,0")
	step(1, "--backups-for:", "backup", at, into, "--backups-for=age1nonsense")
	file, _, _ := strings.Cut(step(0, "It holds 2 clocks, 0 entries", "backup", at, into), "\n")
	if _, err := os.Stat(file); err != nil {
		t.Fatal(err)
	}
	step(0, "ok    backups   1, the newest of", "check", at, into)
	step(0, "Every row of ", "backup", "drill", at)
	step(0, "Restored and checked in ", "backup", "drill", at, file)
	step(1, "nothing is ever restored over another", "backup", "restore", at, file)
	fresh := "--database=" + filepath.Join(t.TempDir(), "fresh")
	step(0, "There was no list of who was erased", "backup", "restore", fresh, file)
	step(0, `"slug": "moot-hall"`, "fleet", "print", fresh)
	step(0, "ok    database", "check", fresh)
	// A list that lies in the place already is gone by.
	third := t.TempDir()
	if err := os.WriteFile(filepath.Join(third, "endshake.db.erased"), []byte(`{"person":"ned","number":1,"at":"2026-11-25T10:00:00Z"}`+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	step(0, "1 person had to be erased again", "backup", "restore", "--database="+third, file)
	if out := step(0, "moot-hall", "fleet", "print", "--database="+third); strings.Contains(out, "Sallowby") {
		t.Error("the backup brought somebody back who was erased")
	}
}

// V01: an older program leaves a newer schema alone, on both engines: every command
// fails with a sentence that names both versions, and nothing is changed.
func TestOlderProgramOnNewerSchema(t *testing.T) {
	for name, fresh := range map[string]func(testing.TB) string{"sqlite": dbtest.SQLite, "postgres": dbtest.Postgres} {
		t.Run(name, func(t *testing.T) {
			address := fresh(t)
			s := dbtest.Open(t, address)
			newest, err := s.Newest()
			if err != nil {
				t.Fatal(err)
			}
			driver, source := "pgx", address
			if path, ok := strings.CutPrefix(address, "sqlite:"); ok {
				driver, source = "sqlite", path
			}
			d, err := sql.Open(driver, source)
			if err != nil {
				t.Fatal(err)
			}
			defer d.Close()
			if _, err := d.Exec(`INSERT INTO goose_db_version (version_id, is_applied) VALUES ($1, $2)`, newest+3, true); err != nil {
				t.Fatal(err)
			}
			before, err := s.Sums(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			want := fmt.Sprintf("has schema version %d but this endshake knows only up to %d", newest+3, newest)
			for _, args := range [][]string{{"serve", "--listen=127.0.0.1:0"}, {"migrate"}, {"due"}, {"fleet", "load", fleetFile}, {"backup", "--backups=" + t.TempDir()}, {"check"}} {
				status, stdout, stderr := program(t, append(args, "--database="+address)...)
				if status != 1 || !strings.Contains(stdout+stderr, want) {
					t.Errorf("endshake %s: status %d, %s%s; want %q", args[0], status, stdout, stderr, want)
				}
			}
			if after, err := s.Sums(t.Context()); err != nil || !maps.Equal(before, after) {
				t.Errorf("it changed something: %v", err)
			}
		})
	}
}

// K29, K30: a backup that is killed while it is written, or once it has its name, on
// both engines: what has the name of a backup is whole, the one before is as it was,
// and the next one is made.
func TestBackupKilled(t *testing.T) {
	built := buildWithFailpoints(t)
	for name, fresh := range map[string]func(testing.TB) string{"sqlite": dbtest.SQLite, "postgres": dbtest.Postgres} {
		for point, want := range map[string]int{"K29:1": 1, "K30:1": 2} {
			t.Run(name+" "+point, func(t *testing.T) {
				address, folder := fresh(t), t.TempDir()
				s := dbtest.Open(t, address)
				if err := s.SaveFleet(t.Context(), "test", dbtest.Day, dbtest.Fleet(3), nil); err != nil {
					t.Fatal(err)
				}
				if err := s.AppendAll(t.Context(), "test", dbtest.Day, dbtest.Log(3, 600)); err != nil {
					t.Fatal(err)
				}
				sums, err := s.Sums(t.Context())
				if err != nil {
					t.Fatal(err)
				}
				if _, err := backup.Make(t.Context(), s, backup.Settings{Folder: folder, Keep: backup.Usual}, dbtest.Day); err != nil {
					t.Fatal(err)
				}
				c := exec.Command(built, "backup", "--database="+address, "--backups="+folder, "--backups-keep=0,0,50")
				c.Env = append(os.Environ(), "ENDSHAKE_FAILPOINT="+point)
				out, err := c.CombinedOutput()
				var exit *exec.ExitError
				if !errors.As(err, &exit) || exit.Sys().(syscall.WaitStatus).Signal() != syscall.SIGKILL {
					t.Fatalf("it was not killed: %v, %s", err, out)
				}
				if n := wantWholeBackups(t, folder, fresh, sums); n != want {
					t.Errorf("%d backups, want %d", n, want)
				}
				if out, err := exec.Command(built, "backup", "--database="+address, "--backups="+folder, "--backups-keep=50,0,50").CombinedOutput(); err != nil {
					if strings.Contains(string(out), "is there already") || strings.Contains(string(out), "file exists") { // within the same second
						time.Sleep(time.Second)
						out, err = exec.Command(built, "backup", "--database="+address, "--backups="+folder).CombinedOutput()
					}
					if err != nil {
						t.Errorf("the next one: %v, %s", err, out)
					}
				}
				wantWholeBackups(t, folder, fresh, sums)
			})
		}
	}
}

// wantWholeBackups restores each backup in a folder, sees that it holds what it
// should, and counts them.
func wantWholeBackups(t *testing.T, folder string, fresh func(testing.TB) string, sums map[string]string) int {
	t.Helper()
	all, err := backup.List(folder)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range all {
		place := fresh(t)
		if strings.HasPrefix(place, "sqlite:") {
			place = filepath.Join(t.TempDir(), "new")
		}
		if _, err := backup.Restore(t.Context(), backup.Order{Backup: f.Path, Database: place}, dbtest.Day); err != nil {
			t.Errorf("%s: %v", f.Path, err)
			continue
		}
		s, err := db.OpenExisting(t.Context(), place)
		if err != nil {
			t.Fatal(err)
		}
		if got, err := s.Sums(t.Context()); err != nil || !maps.Equal(got, sums) {
			t.Errorf("%s does not hold what was backed up: %v", f.Path, err)
		}
		s.Close()
	}
	return len(all)
}
