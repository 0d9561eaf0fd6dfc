package backup

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"filippo.io/age"

	"endshake/db"
	"endshake/db/dbtest"
	"endshake/schedule"
)

func TestMain(m *testing.M) { os.Exit(dbtest.Main(m)) }

var engines = []struct {
	name  string
	fresh func(testing.TB) string
}{{"sqlite", dbtest.SQLite}, {"postgres", dbtest.Postgres}}

// filled is a store with a fleet, a log and a login.
func filled(t testing.TB, address string) *db.Store {
	t.Helper()
	s := dbtest.Open(t, address)
	must(t, s.SaveFleet(t.Context(), "test", dbtest.Day, dbtest.Fleet(3), nil))
	must(t, s.AppendAll(t.Context(), "test", dbtest.Day, dbtest.Log(3, 60)))
	must(t, s.Sessions(func() time.Time { return dbtest.Day }).CommitCtx(t.Context(), "hash", []byte("who"), dbtest.Day.Add(time.Hour)))
	return s
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// sums are those of every table.
func sums(t *testing.T, s *db.Store) map[string]string {
	t.Helper()
	all, err := s.Sums(t.Context())
	must(t, err)
	return all
}

// vacantPlace is an address at which nothing is yet: for SQLite a folder that is not
// there.
func vacantPlace(t *testing.T, fresh func(testing.TB) string) string {
	address := fresh(t)
	if strings.HasPrefix(address, "sqlite:") {
		return filepath.Join(t.TempDir(), "new ?#%41 place")
	}
	return address
}

// keys makes a private key in a file, and its public one.
func keys(t *testing.T) (private string, public age.Recipient) {
	t.Helper()
	k, err := age.GenerateX25519Identity()
	must(t, err)
	private = filepath.Join(t.TempDir(), "key")
	must(t, os.WriteFile(private, []byte("# made for a test\n"+k.String()+"\n"), 0o600))
	return private, k.Recipient()
}

// What is restored is what was backed up, row by row, plain and encrypted, on both
// engines; the copy is its owner's alone, and nothing else lies beside it.
func TestBackupAndRestore(t *testing.T) {
	for _, engine := range engines {
		for _, sealed := range []bool{false, true} {
			t.Run(fmt.Sprintf("%s sealed %v", engine.name, sealed), func(t *testing.T) {
				folder := filepath.Join(t.TempDir(), "it's ?#%41 here")
				must(t, os.Mkdir(folder, 0o700))
				s := filled(t, engine.fresh(t))
				want := sums(t, s)
				set, key := Settings{Folder: folder, Keep: Usual}, ""
				if sealed {
					private, public := keys(t)
					key, set.Recipients = private, []age.Recipient{public}
				}
				m, err := Make(t.Context(), s, set, dbtest.Day)
				must(t, err)
				wantAlone(t, m, sealed)
				if m.Extent.Rows["entry"] != 60 || m.Extent.Audit == 0 || len(m.Extent.Head) != 64 || m.Extent.Rows["clock"] != 3 {
					t.Errorf("it holds %+v", m.Extent)
				}
				place := vacantPlace(t, engine.fresh)
				r, err := Restore(t.Context(), Order{Backup: m.Path, Database: place, Key: key}, dbtest.Day)
				must(t, err)
				if !r.Summed || !r.At.Equal(m.At) || !r.Extent.Same(m.Extent) {
					t.Errorf("restored %+v, want what was made: %+v", r, m)
				}
				back := dbtest.Open(t, place)
				if got := sums(t, back); !maps.Equal(got, want) {
					t.Errorf("what differs: %v", differing(got, want))
				}
				// It goes on from there.
				e := schedule.Entry{Clock: "clock-1", Kind: schedule.Noted, At: dbtest.Day, Note: "after", Source: "test"}
				_, _, err = back.Append(t.Context(), "test", dbtest.Day, e, nil)
				must(t, err)
				if c, err := back.CheckAudit(t.Context(), dbtest.Day); err != nil || !c.Sound() {
					t.Errorf("the audit: %+v, %v", c, err)
				}
				if _, err := Restore(t.Context(), Order{Backup: m.Path, Database: place, Key: key}, dbtest.Day); err == nil {
					t.Error("it was restored over another")
				}
			})
		}
	}
}

// wantAlone sees that a folder holds one copy of the right name and mode.
func wantAlone(t *testing.T, m Made, sealed bool) {
	t.Helper()
	entries, err := os.ReadDir(filepath.Dir(m.Path))
	must(t, err)
	want := []string{nameAt(dbtest.Day, m.Kind, sealed)}
	if !sealed {
		want = append(want, want[0]+sumEnd)
	}
	if len(entries) != len(want) || entries[0].Name() != want[0] || entries[len(want)-1].Name() != want[len(want)-1] {
		t.Errorf("the folder holds %v", entries)
	}
	info, err := os.Stat(m.Path)
	must(t, err)
	if info.Mode().Perm() != 0o600 {
		t.Errorf("others can read the backup: %v", info.Mode())
	}
	if all, err := List(filepath.Dir(m.Path)); err != nil || len(all) != 1 || all[0] != m.File {
		t.Errorf("listed %+v, %v; want %+v", all, err, m.File)
	}
	text, err := os.ReadFile(m.Path)
	must(t, err)
	if has := bytes.Contains(text, []byte("found at ten to four")); sealed && has {
		t.Error("it is said to be encrypted, and can be read")
	}
}

// Whoever was erased since a backup is erased again before anybody can read it, and
// logins are over.
func TestRestoreErasesAgain(t *testing.T) {
	for _, engine := range engines {
		t.Run(engine.name, func(t *testing.T) {
			s := filled(t, engine.fresh(t))
			set := Settings{Folder: t.TempDir(), Keep: Usual}
			m, err := Make(t.Context(), s, set, dbtest.Day)
			must(t, err)
			e, err := s.Erase(t.Context(), "test", dbtest.Day, "z-keeper")
			must(t, err)
			place := vacantPlace(t, engine.fresh)
			asked := "?"
			r, err := Restore(t.Context(), Order{Backup: m.Path, Database: place, Erasures: func(file string) ([]schedule.Erasure, error) {
				asked = file
				return []schedule.Erasure{e}, nil
			}}, dbtest.Day)
			must(t, err)
			if want, _ := db.FileOf(place); asked != want {
				t.Errorf("the list was looked for beside %q, want %q", asked, want)
			}
			if !reflect.DeepEqual(r.Erased, []schedule.Erasure{e}) || !strings.Contains(r.Words(), "1 person had to be erased again") {
				t.Errorf("erased again: %+v; %s", r.Erased, r.Words())
			}
			back := dbtest.Open(t, place)
			f, err := back.Fleet(t.Context())
			must(t, err)
			if _, there := f.Person("z-keeper"); there {
				t.Error("the backup brought them back")
			}
			if open, err := back.Sessions(func() time.Time { return dbtest.Day }).AllCtx(t.Context()); err != nil || len(open) != 0 {
				t.Errorf("still logged in: %v, %v", open, err)
			}
		})
	}
}

// A list that cannot be read stops a restore, and a SQLite place is left as it was.
func TestRestoreLeavesNothingHalf(t *testing.T) {
	s := filled(t, dbtest.SQLite(t))
	m, err := Make(t.Context(), s, Settings{Folder: t.TempDir(), Keep: Usual}, dbtest.Day)
	must(t, err)
	place := filepath.Join(t.TempDir(), "new")
	_, err = Restore(t.Context(), Order{Backup: m.Path, Database: place, Erasures: func(string) ([]schedule.Erasure, error) {
		return nil, fmt.Errorf("the list cannot be read")
	}}, dbtest.Day)
	if err == nil || !strings.Contains(err.Error(), "the list cannot be read") {
		t.Errorf("restored without the list: %v", err)
	}
	if _, err := os.Stat(place); err == nil {
		t.Error("it left a folder behind")
	}
}

// A drill while entries are logged: every row that was there when the copy began is
// in what was restored, and not half an entry of what came after.
func TestDrillUnderLoad(t *testing.T) {
	for _, engine := range engines {
		t.Run(engine.name, func(t *testing.T) {
			s := filled(t, engine.fresh(t))
			ctx, stop := context.WithCancel(t.Context())
			var logged atomic.Int64
			done := make(chan error, 1)
			go func() {
				for i := 0; ctx.Err() == nil; i++ {
					e := dbtest.Log(3, 1)[0]
					e.ID, e.Key, e.At = "", fmt.Sprint("load ", i), dbtest.Day.Add(time.Duration(i)*time.Second)
					if _, _, err := s.Append(context.WithoutCancel(ctx), "load", dbtest.Day, e, nil); err != nil {
						done <- err
						return
					}
					logged.Add(1)
				}
				done <- nil
			}()
			for logged.Load() < 20 {
				time.Sleep(time.Millisecond)
			}
			before := logged.Load()
			place := vacantPlace(t, engine.fresh)
			d, err := Drill(t.Context(), s, Order{Database: place}, time.Now)
			after := logged.Load()
			stop()
			must(t, <-done)
			must(t, err)
			n := d.Extent.Rows["entry"] - 60
			if n < before || n > after || d.Extent.Rows["reading"] != 20+n || d.Tables != len(d.Extent.Rows) {
				t.Errorf("%d entries restored with %d readings, of %d tables; logged were %d before and %d after", n, d.Extent.Rows["reading"], d.Tables, before, after)
			}
			if after == before {
				t.Error("nothing was logged meanwhile: this shows nothing")
			}
			words := d.Words()
			if strings.Contains(words, "lay beside it") {
				t.Errorf("what was copied just now is said to lack its sum: %q", words)
			}
			for _, want := range []string{"Copied and checked in ", "Restored and checked in ", "Every row of "} {
				if !strings.Contains(words, want) {
					t.Errorf("the drill says %q", words)
				}
			}
			t.Logf("%d entries logged meanwhile; copied in %v, restored in %v", after-before, d.Copied, d.Back)
		})
	}
}

// The mark tells a database that goes on from an older copy of it, and from another.
func TestMark(t *testing.T) {
	ctx := t.Context()
	s := filled(t, dbtest.SQLite(t))
	copyOf := func() *db.Store {
		path := filepath.Join(t.TempDir(), "copy.db")
		_, err := s.CopyTo(ctx, path, false)
		must(t, err)
		return dbtest.Open(t, path)
	}
	note := func(s *db.Store, text string) {
		_, _, err := s.Append(ctx, "test", dbtest.Day, schedule.Entry{Clock: "clock-1", Kind: schedule.Noted, At: dbtest.Day, Note: text, Source: "test"}, nil)
		must(t, err)
	}
	send := func(s *db.Store) {
		_, err := s.Owe(ctx, dbtest.Day, []schedule.Notice{{Key: "k", Kind: schedule.DueList, To: "a@example.org", Raw: []byte("x")}})
		must(t, err)
		got, err := s.ClaimNotices(ctx, "one", dbtest.Day, time.Hour, 1)
		if err != nil || len(got) != 1 {
			t.Fatalf("%v, %v", got, err)
		}
		for _, o := range []*schedule.Outcome{nil, {At: dbtest.Day, State: schedule.Sent}} {
			for _, err := range s.Record(ctx, "one", []schedule.Mark{{Notice: got[0].ID, At: dbtest.Day, Outcome: o}}) {
				must(t, err)
			}
		}
	}
	path := filepath.Join(t.TempDir(), "mark")
	if _, ok, err := ReadMark(path); ok || err != nil {
		t.Errorf("a mark that is not there: %v, %v", ok, err)
	}
	keep := func() Mark {
		m, err := MarkOf(ctx, s, dbtest.Day)
		must(t, err)
		must(t, m.Keep(path))
		back, ok, err := ReadMark(path)
		if err != nil || !ok || back != m {
			t.Errorf("kept %+v, read %+v, %v", m, back, err)
		}
		return m
	}
	older := copyOf()
	keep()
	tell := func(name string, m Mark, s *db.Store, want string) {
		t.Helper()
		if why, err := m.Older(ctx, s); err != nil || (want == "") != (why == "") || !strings.Contains(why, want) {
			t.Errorf("%s: %q, %v; want %q", name, why, err, want)
		}
	}
	tell("itself", keep(), s, "")
	tell("a copy that is as far", keep(), older, "")
	send(s)
	tell("without a letter that was sent", keep(), older, "by 25 Nov 2026 at 09:30:00 UTC it had sent 1 letter, and it knows of 0")
	was := keep()
	note(s, "one")
	tell("itself, further on", was, s, "")
	tell("an older copy", keep(), older, "is an older copy: on 25 Nov 2026")
	send(older)
	note(older, "another")
	note(older, "and more")
	tell("an older copy that went on", keep(), older, "is another than on")
	for _, bad := range []string{"", "{", `{"audit":-1,"at":"2026-11-25T00:00:00Z"}`, `{"audit":1}`, "null"} {
		must(t, os.WriteFile(path, []byte(bad), 0o600))
		if _, _, err := ReadMark(path); err == nil || !strings.Contains(err.Error(), "remove the mark") {
			t.Errorf("the mark %q: %v", bad, err)
		}
	}
	if data, _ := json.Marshal(was); !bytes.Contains(data, []byte(was.Head)) {
		t.Errorf("the mark is written as %s", data)
	}
}
