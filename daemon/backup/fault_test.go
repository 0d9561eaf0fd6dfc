package backup

import (
	"bytes"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"filippo.io/age"

	"endshake/db"
	"endshake/db/dbtest"
)

// empty sees that a folder holds nothing.
func empty(t *testing.T, folder string) {
	t.Helper()
	entries, err := os.ReadDir(folder)
	must(t, err)
	if len(entries) > 0 {
		t.Errorf("%s was left behind", entries[0].Name())
	}
}

// wantSentence sees that an error says something in one line.
func wantSentence(t *testing.T, err error, want string) {
	t.Helper()
	if err == nil || !strings.Contains(err.Error(), want) || strings.Contains(err.Error(), "\n") {
		t.Errorf("got %v, want a sentence with %q", err, want)
	}
}

// PostgreSQL's programs must be there, and as new as the server.
func TestWithoutPostgresPrograms(t *testing.T) {
	s := filled(t, dbtest.Postgres(t))
	set := Settings{Folder: t.TempDir(), Keep: Usual}
	good, err := Make(t.Context(), s, Settings{Folder: t.TempDir(), Keep: Usual}, dbtest.Day)
	must(t, err)
	bin := t.TempDir()
	t.Setenv("PATH", bin)
	fresh := dbtest.Postgres(t)
	_, err = Make(t.Context(), s, set, dbtest.Day)
	wantSentence(t, err, "pg_dump is missing: install PostgreSQL's client programs")
	_, err = Restore(t.Context(), Order{Backup: good.Path, Database: fresh}, dbtest.Day)
	wantSentence(t, err, "pg_dump is missing")
	for says, want := range map[string]string{
		"pg_dump (PostgreSQL) 9.6.24": "is of PostgreSQL 9 and the server of 15: install postgresql-client-15",
		"nonsense":                    "does not say which version it is",
	} {
		must(t, os.WriteFile(filepath.Join(bin, "pg_dump"), []byte("#!/bin/sh\necho '"+says+"'\n"), 0o700))
		_, err = Make(t.Context(), s, set, dbtest.Day)
		if runtime.GOOS == "linux" {
			wantSentence(t, err, want)
		}
	}
	empty(t, set.Folder)
}

// A password is given to PostgreSQL's programs where others do not see it, and
// stands in no error.
func TestPasswordIsNotShown(t *testing.T) {
	address := dbtest.Postgres(t)
	s := filled(t, strings.Replace(address, "postgres@", "postgres:sesame%25street@", 1))
	bin, saw := t.TempDir(), filepath.Join(t.TempDir(), "saw")
	for _, name := range []string{"pg_dump", "pg_restore"} {
		real, err := exec.LookPath(name)
		must(t, err)
		script := fmt.Sprintf("#!/bin/sh\n[ \"$1\" = --version ] && exec %s --version\necho \"$PGPASSWORD: $*\" >>%s\necho 'sesame%%street is wrong' >&2\nexit 1\n", real, saw)
		must(t, os.WriteFile(filepath.Join(bin, name), []byte(script), 0o700))
	}
	t.Setenv("PATH", bin+":"+os.Getenv("PATH"))
	_, err := Make(t.Context(), s, Settings{Folder: t.TempDir(), Keep: Usual}, dbtest.Day)
	wantSentence(t, err, "pg_dump failed: xxxxx is wrong")
	said, err := os.ReadFile(saw)
	must(t, err)
	if got := string(said); !strings.HasPrefix(got, "sesame%street: ") || strings.Count(got, "sesame") != 1 {
		t.Errorf("pg_dump was given %q", got)
	}
}

// A copy is never begun where it cannot end, and what stands there stays.
func TestMakeRefuses(t *testing.T) {
	s := filled(t, dbtest.SQLite(t))
	_, err := Make(t.Context(), s, Settings{Folder: filepath.Join(t.TempDir(), "none"), Keep: Usual}, dbtest.Day)
	wantSentence(t, err, "is not a folder for backups: make it first")
	folder := t.TempDir()
	there := filepath.Join(folder, nameAt(dbtest.Day, kindSQLite, false))
	must(t, os.WriteFile(there, []byte("mine"), 0o600))
	_, err = Make(t.Context(), s, Settings{Folder: folder, Keep: Usual}, dbtest.Day)
	wantSentence(t, err, "is there already")
	if text, err := os.ReadFile(there); err != nil || string(text) != "mine" {
		t.Errorf("what stood there is %q, %v", text, err)
	}
}

// A database whose pages do not fit together gives no backup, and none goes for it.
func TestNoBackupOfATornDatabase(t *testing.T) {
	folder, path := t.TempDir(), filepath.Join(t.TempDir(), "endshake.db")
	s := filled(t, path)
	set := Settings{Folder: folder, Keep: Keep{1, 0, 0}}
	good, err := Make(t.Context(), s, set, dbtest.Day)
	must(t, err)
	must(t, s.Close())
	tear(t, path)
	torn, err := db.OpenExisting(t.Context(), path)
	if err == nil {
		defer torn.Close()
		_, err = Make(t.Context(), torn, set, dbtest.Day.Add(time.Hour))
	}
	if err == nil {
		t.Fatal("a torn database was backed up")
	}
	t.Log(err)
	if all, _ := List(folder); len(all) != 1 || all[0].Path != good.Path {
		t.Errorf("the folder holds %+v", all)
	}
}

// tear writes 512 bytes over the middle of a page that holds rows of the log.
func tear(t *testing.T, path string) {
	t.Helper()
	text, err := os.ReadFile(path)
	must(t, err)
	at := bytes.LastIndex(text, []byte("found at ten to four"))
	if at < 0 {
		t.Fatal("the log is not in the file")
	}
	at -= at % 4096
	copy(text[at:at+512], bytes.Repeat([]byte{0xa5}, 512))
	must(t, os.WriteFile(path, text, 0o600))
}

// A backup that is cut short, changed, of something else, or locked to another key
// is refused with a sentence, and nothing is restored.
func TestRestoreRefuses(t *testing.T) {
	key, public := keys(t)
	other, _ := keys(t)
	s := filled(t, dbtest.SQLite(t))
	plain, err := Make(t.Context(), s, Settings{Folder: t.TempDir(), Keep: Usual}, dbtest.Day)
	must(t, err)
	sealed, err := Make(t.Context(), s, Settings{Folder: t.TempDir(), Keep: Usual, Recipients: []age.Recipient{public}}, dbtest.Day)
	must(t, err)
	dump, err := Make(t.Context(), filled(t, dbtest.Postgres(t)), Settings{Folder: t.TempDir(), Keep: Usual}, dbtest.Day)
	must(t, err)
	sealedDump, err := Make(t.Context(), filled(t, dbtest.Postgres(t)), Settings{Folder: t.TempDir(), Keep: Usual, Recipients: []age.Recipient{public}}, dbtest.Day)
	must(t, err)
	changed := func(from string, change func([]byte) []byte) string {
		text, err := os.ReadFile(from)
		must(t, err)
		to := filepath.Join(t.TempDir(), "changed")
		must(t, os.WriteFile(to, change(text), 0o600))
		return to
	}
	half := func(b []byte) []byte { return b[:len(b)/2] }
	flip := func(b []byte) []byte { b[len(b)*2/3] ^= 4; return b }
	torn := filepath.Join(t.TempDir(), "torn.db")
	must(t, os.WriteFile(torn, []byte{}, 0o600))
	text, err := os.ReadFile(plain.Path)
	must(t, err)
	must(t, os.WriteFile(torn, text, 0o600))
	tear(t, torn)
	empty := dbtest.Postgres(t)
	full := dbtest.Postgres(t)
	filled(t, full)
	for _, tc := range []struct{ name, backup, database, key, want string }{
		{"cut", changed(plain.Path, half), "", "", "not sound"},
		{"torn", torn, "", "", "not sound"},
		{"empty", changed(plain.Path, func([]byte) []byte { return nil }), "", "", "is no backup of this program"},
		{"a note", changed(plain.Path, func([]byte) []byte { return []byte("a note") }), "", "", "is no backup of this program"},
		{"encrypted without a key", sealed.Path, "", "", "--key"},
		{"another key", sealed.Path, "", other, "cannot be decrypted with that key"},
		{"no key in the file", sealed.Path, "", plain.Path, "holds no private key"},
		{"encrypted and cut", changed(sealed.Path, half), "", key, "cannot be read to its end"},
		{"encrypted and changed", changed(sealed.Path, flip), "", key, "cannot be read to its end"},
		{"of PostgreSQL into a folder", dump.Path, "", "", "is of a PostgreSQL database"},
		{"of SQLite into a server", plain.Path, empty, "", "is of a SQLite database"},
		{"encrypted, of SQLite, into a server", sealed.Path, empty, key, "is of a SQLite database"},
		{"into a server that has one", dump.Path, full, "", "is not empty"},
		{"a cut dump", changed(dump.Path, half), empty, "", "cannot be read back"},
		{"an encrypted and cut dump", changed(sealedDump.Path, half), empty, key, "cannot be read"},
		{"an encrypted and changed dump", changed(sealedDump.Path, flip), empty, key, "cannot be read"},
		{"an encrypted dump without its end", changed(sealedDump.Path, func(b []byte) []byte { return b[:len(b)-1] }), empty, key, "cannot be read"},
		{"nobody", filepath.Join(t.TempDir(), "none"), "", "", "cannot be read"},
		{"nowhere", plain.Path, filepath.Join(t.TempDir(), "a", "b", "c"), "", "make it first"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			at := t.TempDir()
			if tc.database == "" {
				tc.database = filepath.Join(at, "new")
			}
			_, err := Restore(t.Context(), Order{Backup: tc.backup, Database: tc.database, Key: tc.key}, dbtest.Day)
			wantSentence(t, err, tc.want)
			if entries, _ := os.ReadDir(at); len(entries) > 0 {
				t.Errorf("%s was left behind", entries[0].Name())
			}
		})
	}
	s2, err := db.Open(t.Context(), empty)
	must(t, err)
	defer s2.Close()
	if still, err := s2.Empty(t.Context()); err != nil || !still {
		t.Errorf("the empty database is not empty any more: %v", err)
	}
}

// Whatever is left of a database keeps a restore away: an old journal would be
// played into what is restored.
func TestRestoreIsNeverOver(t *testing.T) {
	m, err := Make(t.Context(), filled(t, dbtest.SQLite(t)), Settings{Folder: t.TempDir(), Keep: Usual}, dbtest.Day)
	must(t, err)
	for _, name := range []string{"endshake.db", "endshake.db-wal", "endshake.db-shm", "endshake.db-journal"} {
		folder := t.TempDir()
		must(t, os.WriteFile(filepath.Join(folder, name), []byte("mine"), 0o600))
		_, err := Restore(t.Context(), Order{Backup: m.Path, Database: folder}, dbtest.Day)
		wantSentence(t, err, name+" is there, and nothing is ever restored over another")
		entries, _ := os.ReadDir(folder)
		if text, err := os.ReadFile(filepath.Join(folder, name)); err != nil || string(text) != "mine" || len(entries) != 1 {
			t.Errorf("%s: %q, %v, %d files", name, text, err, len(entries))
		}
	}
}

// A row of the audit that was changed beside the service cannot be mended, and is
// no reason to be without backups: every one says so.
func TestBrokenAuditIsCopied(t *testing.T) {
	address := dbtest.SQLite(t)
	s := filled(t, address)
	d, err := sql.Open("sqlite", strings.TrimPrefix(address, "sqlite:")+"?_pragma=busy_timeout(5000)")
	must(t, err)
	defer d.Close()
	for _, statement := range []string{`DROP TRIGGER audit_no_update`, `UPDATE audit SET detail = 'nothing' WHERE id = 2`} {
		_, err := d.Exec(statement)
		must(t, err)
	}
	m, err := Make(t.Context(), s, Settings{Folder: t.TempDir(), Keep: Usual}, dbtest.Day)
	must(t, err)
	r, err := Restore(t.Context(), Order{Backup: m.Path, Database: filepath.Join(t.TempDir(), "endshake.db")}, dbtest.Day)
	must(t, err)
	for _, words := range []string{m.Extent.Words(), r.Words()} {
		if !strings.Contains(words, "row 2 of its audit does not fit those before it") {
			t.Errorf("said: %s", words)
		}
	}
}

// Any bit of a copy that flips is noticed before anything is restored: plain by what
// lies beside it, encrypted by itself.
func TestFlippedBits(t *testing.T) {
	key, public := keys(t)
	s := filled(t, dbtest.SQLite(t))
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 2))
	for _, sealed := range []bool{true, false} {
		set := Settings{Folder: t.TempDir(), Keep: Usual}
		if sealed {
			set.Recipients = []age.Recipient{public}
		}
		m, err := Make(t.Context(), s, set, dbtest.Day)
		must(t, err)
		text, err := os.ReadFile(m.Path)
		must(t, err)
		for range 60 {
			at, bit := r.IntN(len(text)), byte(1)<<r.IntN(8)
			text[at] ^= bit
			must(t, os.WriteFile(m.Path, text, 0o600))
			text[at] ^= bit
			place := filepath.Join(t.TempDir(), "endshake.db")
			if _, err := Restore(t.Context(), Order{Backup: m.Path, Database: place, Key: key}, dbtest.Day); err == nil {
				t.Errorf("byte %d, bit %d went unnoticed, encrypted %v", at, bit, sealed)
			}
			if _, err := os.Stat(place); !errors.Is(err, fs.ErrNotExist) {
				t.Errorf("byte %d, bit %d: refused, and something was left behind", at, bit)
			}
		}
		must(t, os.WriteFile(m.Path, text, 0o600))
		if _, err := Restore(t.Context(), Order{Backup: m.Path, Database: filepath.Join(t.TempDir(), "endshake.db"), Key: key}, dbtest.Day); err != nil {
			t.Errorf("with all bits put right: %v", err)
		}
	}
}

// Without what says its SHA-256, as where only the copy was carried off, that is said.
func TestRestoreWithoutASum(t *testing.T) {
	m, err := Make(t.Context(), filled(t, dbtest.SQLite(t)), Settings{Folder: t.TempDir(), Keep: Usual}, dbtest.Day)
	must(t, err)
	if out, err := exec.Command("sha256sum", "--version").CombinedOutput(); err == nil {
		c := exec.Command("sha256sum", "-c", filepath.Base(m.Path)+sumEnd)
		c.Dir = filepath.Dir(m.Path)
		if out, err := c.CombinedOutput(); err != nil {
			t.Errorf("sha256sum -c: %v, %s", err, out)
		}
	} else {
		t.Logf("sha256sum is not here: %v, %s", err, out)
	}
	must(t, os.Remove(m.Path+sumEnd))
	r, err := Restore(t.Context(), Order{Backup: m.Path, Database: filepath.Join(t.TempDir(), "endshake.db")}, dbtest.Day)
	must(t, err)
	if !strings.Contains(r.Words(), "a bit that flipped in a text or a figure would not have been noticed") {
		t.Errorf("it says %q", r.Words())
	}
}
