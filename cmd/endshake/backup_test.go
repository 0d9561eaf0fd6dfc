package main

import (
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"filippo.io/age"

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
	scratch := t.TempDir()
	step(0, "Every row of ", "backup", "drill", at, "--scratch="+scratch)
	if left, err := os.ReadDir(scratch); err != nil || len(left) > 0 {
		t.Errorf("a drill leaves %v behind, %v", left, err)
	}
	step(1, "--scratch: nothing can be written there", "backup", "drill", at, "--scratch="+filepath.Join(scratch, "none"))
	step(1, "nothing is ever restored over another", "backup", "restore", at, "--nobody-erased", file)
	fresh := "--database=" + filepath.Join(t.TempDir(), "fresh")
	step(1, "name it with --erasures", "backup", "restore", fresh, file)
	step(1, "name it with --erasures", "backup", "restore", fresh, "--erasures="+folder+"/none", file)
	step(0, "Start the service with --from-backup the first time", "backup", "restore", fresh, "--nobody-erased", file)
	step(0, `"slug": "moot-hall"`, "fleet", "print", fresh)
	step(1, "mend  mark      this database was restored from a backup on", "check", fresh)
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
// both engines, plain and encrypted: what has the name of a backup is whole, the one
// before is as it was, the next one is made, and of what is to be encrypted nothing
// lies about that is not.
func TestBackupKilled(t *testing.T) {
	built := buildWithFailpoints(t)
	for name, fresh := range map[string]func(testing.TB) string{"sqlite": dbtest.SQLite, "postgres": dbtest.Postgres} {
		for point, want := range map[string]int{"K29:1": 1, "K30:1": 2} {
			for _, sealed := range []bool{false, true} {
				t.Run(fmt.Sprintf("%s %s sealed %v", name, point, sealed), func(t *testing.T) {
					k := killedBackup{address: fresh(t), folder: t.TempDir(), temp: t.TempDir(), built: built, fresh: fresh}
					if sealed {
						k.seal(t)
					}
					k.run(t, point, want)
				})
			}
		}
	}
}

// killedBackup is a database, and the folder that backups of it go into.
type killedBackup struct {
	address, folder, temp string // temp is where the program makes its temporary files
	built                 string
	fresh                 func(testing.TB) string
	public, key           string // whom they are encrypted for, and the file of the private key; empty: they are not
}

func (k *killedBackup) seal(t *testing.T) {
	t.Helper()
	id, err := age.GenerateX25519Identity()
	if err != nil {
		t.Fatal(err)
	}
	k.public, k.key = id.Recipient().String(), filepath.Join(t.TempDir(), "key")
	if err := os.WriteFile(k.key, []byte(id.String()), 0o600); err != nil {
		t.Fatal(err)
	}
}

// make runs the program.
func (k *killedBackup) make(keep, point string) (string, error) {
	c := exec.Command(k.built, "backup", "--database="+k.address, "--backups="+k.folder, "--backups-keep="+keep)
	if k.public != "" {
		c.Args = append(c.Args, "--backups-for="+k.public)
	}
	c.Env = append(os.Environ(), "ENDSHAKE_FAILPOINT="+point, "TMPDIR="+k.temp)
	out, err := c.CombinedOutput()
	return string(out), err
}

func (k *killedBackup) run(t *testing.T, point string, want int) {
	s := dbtest.Open(t, k.address)
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
	set := backup.Settings{Folder: k.folder, Keep: backup.Usual}
	if k.public != "" {
		if set.Recipients, err = backup.ReadRecipients([]string{k.public}); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := backup.Make(t.Context(), s, set, dbtest.Day); err != nil {
		t.Fatal(err)
	}
	out, err := k.make("0,0,50", point)
	var exit *exec.ExitError
	if !errors.As(err, &exit) || exit.Sys().(syscall.WaitStatus).Signal() != syscall.SIGKILL {
		t.Fatalf("it was not killed: %v, %s", err, out)
	}
	if k.public != "" {
		k.wantNothingPlain(t)
	}
	if n := k.wantWhole(t, sums); n != want {
		t.Errorf("%d backups, want %d", n, want)
	}
	if out, err := k.make("50,0,50", ""); err != nil {
		if strings.Contains(out, "is there already") || strings.Contains(out, "file exists") { // within the same second
			time.Sleep(time.Second)
			out, err = k.make("7,4,12", "")
		}
		if err != nil {
			t.Errorf("the next one: %v, %s", err, out)
		}
	}
	k.wantWhole(t, sums)
}

// wantNothingPlain sees that nothing that is not encrypted lies in the folder of the
// backups, or where temporary files do.
func (k *killedBackup) wantNothingPlain(t *testing.T) {
	t.Helper()
	for _, folder := range []string{k.folder, k.temp} {
		err := filepath.WalkDir(folder, func(path string, d fs.DirEntry, err error) error {
			if err != nil || !d.Type().IsRegular() {
				return err
			}
			if _, sealed, err := backup.Look(path); err == nil && !sealed {
				t.Errorf("%s was left behind, and is not encrypted", path)
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
}

// wantWhole restores each backup in a folder, sees that it holds what it
// should, and counts them.
func (k *killedBackup) wantWhole(t *testing.T, sums map[string]string) int {
	t.Helper()
	all, err := backup.List(k.folder)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range all {
		place := k.fresh(t)
		if strings.HasPrefix(place, "sqlite:") {
			place = filepath.Join(t.TempDir(), "new")
		}
		if _, err := backup.Restore(t.Context(), backup.Order{Backup: f.Path, Database: place, Key: k.key}, dbtest.Day); err != nil {
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
