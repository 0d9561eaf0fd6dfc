package daemon

import (
	"context"
	"errors"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"endshake/daemon/backup"
	"endshake/db"
	"endshake/db/dbtest"
	"endshake/schedule"
)

// withBackups starts the service with a folder for backups.
func withBackups(t *testing.T, now string) (h *house, folder string) {
	t.Helper()
	h, smtp := furnish(t, t.TempDir(), now, func(*schedule.Fleet) {}, wound(t, "2024-01-01 09:00", "2026-11-23 09:00")...)
	folder = t.TempDir()
	o := h.options(smtp)
	o.Backups = backup.Settings{Folder: folder, Keep: backup.Usual}
	h.start(o)
	for {
		if made, _, err := h.backups.LastBackup(); err != nil || !made.IsZero() {
			return h, folder
		}
		time.Sleep(10 * time.Millisecond)
	}
}

// failed is whether the metrics say that the last backup failed, where the scrape is
// whole or not; -1: they say nothing.
func (h *house) failed() float64 {
	_, body := h.get("/metrics")
	for i, line := range []string{"endshake_backup_failed 0\n", "endshake_backup_failed 1\n"} {
		if strings.Contains(body, line) {
			return float64(i)
		}
	}
	return -1
}

// A backup is made each night, once, and the metrics say when, and whether the last
// one failed; a failed one is tried again two hours later.
func TestBackupEachNight(t *testing.T) {
	h, folder := withBackups(t, "2026-11-25 10:00")
	h.settled(3)
	count := func(want int) {
		t.Helper()
		all, err := backup.List(folder)
		if err != nil || len(all) != want {
			t.Errorf("%d backups, %v; want %d", len(all), err, want)
		}
	}
	wake := func(at string) {
		h.set(at)
		h.backUp(context.Background())
	}
	count(1) // the one of this day
	wake("2026-11-26 04:39")
	count(1)
	wake("2026-11-26 04:41")
	count(2)
	wake("2026-11-26 04:42")
	count(2)
	if got, ok := h.metric("endshake_backup_last_good_timestamp_seconds"); !ok || got != float64(at(t, "2026-11-26 04:41").Unix()) {
		t.Errorf("the newest backup is of %f, %v", got, ok)
	}
	if got, ok := h.metric("endshake_backup_failed"); !ok || got != 0 {
		t.Errorf("failed: %v, %v", got, ok)
	}
	away := folder + "-away" // as a disk that is not there
	if err := os.Rename(folder, away); err != nil {
		t.Fatal(err)
	}
	wake("2026-11-27 04:41")
	if got := h.failed(); got != 1 {
		t.Errorf("with the folder gone, failed: %v", got)
	}
	if code, _ := h.get("/healthz"); code != 200 {
		t.Errorf("the service does not go on: %d", code)
	}
	if err := os.Rename(away, folder); err != nil {
		t.Fatal(err)
	}
	wake("2026-11-27 05:41")
	count(2)
	wake("2026-11-27 06:42")
	count(3)
	if got := h.failed(); got != 0 {
		t.Errorf("with the folder back, failed: %v", got)
	}
	all, err := backup.List(folder)
	if err != nil {
		t.Fatal(err)
	}
	place := filepath.Join(t.TempDir(), "restored")
	if _, err := backup.Restore(t.Context(), backup.Order{Backup: all[0].Path, Database: place}, time.Now()); err != nil {
		t.Error(err)
	}
}

// A clock that stood years ahead for one night stops nothing: the next true night has
// its lesson, its look at the audit and its backup, the copy of the false night goes,
// and until then whoever looks is told of it.
func TestOneNightByAWrongClock(t *testing.T) {
	h, folder := withBackups(t, "2026-11-25 10:00")
	h.settled(3)
	h.runner.letters = nil // by the false night much is late
	night := func(at string) {
		h.set(at)
		h.runner.Wake(context.Background())
		h.backUp(context.Background())
	}
	night("2028-05-01 05:00")
	h.set("2026-11-25 12:00")
	h.backups.look(t.Context(), h.clock())
	if got, _, err := h.backups.LastBackup(); err != nil || !got.Equal(at(t, "2026-11-25 10:00")) {
		t.Errorf("the newest backup is of %v, %v", got, err)
	}
	x := Examination{Database: h.dir, Backups: folder, Now: h.clock}
	if f := check(t, x)["backups"]; !f.Wrong || !strings.Contains(f.Words, "to be of 1 May 2028") || !strings.Contains(f.Words, "25 Nov 2026 at 10:00:00 UTC") {
		t.Errorf("a copy that is ahead: %+v", f)
	}
	night("2026-11-26 05:00")
	for _, j := range Jobs {
		if got := lastRun(t, h.Daemon, j.Name); got != "2026-11-26" {
			t.Errorf("%s was last done for %s", j.Name, got)
		}
	}
	all, err := backup.List(folder)
	if err != nil || len(all) != 2 || !all[0].At.Equal(h.clock()) {
		t.Errorf("the backups are %+v, %v; want those of the 26th and the 25th", all, err)
	}
	if f := check(t, x)["backups"]; f.Wrong {
		t.Errorf("in the end: %+v", f)
	}
	night("2026-11-27 05:00")
	if got := lastRun(t, h.Daemon, backupJob); got != "2026-11-27" {
		t.Errorf("the night after, the backup was last made for %s", got)
	}
}

// A disk of the backups that never answers holds up no letter, no scrape and no stop.
func TestBackupHangs(t *testing.T) {
	h, smtp := furnish(t, t.TempDir(), "2026-11-25 10:00", func(*schedule.Fleet) {}, wound(t, "2024-01-01 09:00", "2026-11-23 09:00")...)
	o := h.options(smtp)
	o.Backups = backup.Settings{Folder: t.TempDir(), Keep: backup.Usual}
	begun, answer := make(chan struct{}), make(chan struct{})
	defer close(answer)
	h.before = func() {
		h.backups.copy = func(context.Context, *db.Store, backup.Settings, time.Time) (backup.Made, error) {
			close(begun)
			<-answer
			return backup.Made{}, errors.New("too late")
		}
	}
	h.start(o)
	<-begun
	h.settled(3)
	if code, body := h.get("/metrics"); code != 200 || strings.Contains(body, "endshake_backup_last_good_timestamp_seconds ") {
		t.Errorf("the scrape: %d", code)
	}
	h.stop() // which fails the test where something did not end
}

// What hangs is given up after its time, nothing new is begun beside it, and once it
// has come to an end backups are made again.
func TestBackupIsGivenUp(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		answer := make(chan struct{})
		b := newBackups(nil, backup.Settings{Folder: t.TempDir()}, slog.New(slog.DiscardHandler))
		b.copy = func(context.Context, *db.Store, backup.Settings, time.Time) (backup.Made, error) {
			<-answer
			return backup.Made{}, nil
		}
		for i, want := range []time.Duration{backupTime + letGo, 0} {
			began := time.Now()
			_, err := b.make(t.Context(), time.Now)
			if took := time.Since(began); !errors.Is(err, errStuck) || took != want || took >= backupLease {
				t.Errorf("try %d ended after %v with %v; want %v", i, took, err, want)
			}
		}
		if b.look(t.Context(), time.Now()); !errors.Is(b.unread, errStuck) || !b.failed {
			t.Errorf("it says %v, failed %v", b.unread, b.failed)
		}
		close(answer)
		synctest.Wait()
		if _, err := b.make(t.Context(), time.Now); err != nil || b.failed {
			t.Errorf("once the disk answers: %v", err)
		}
		b.copy = func(context.Context, *db.Store, backup.Settings, time.Time) (backup.Made, error) { panic("a bad disk") }
		for range 2 { // the second has its turn all the same
			if _, err := b.make(t.Context(), time.Now); err == nil || !strings.Contains(err.Error(), "a bad disk") {
				t.Errorf("a panic gives %v", err)
			}
		}
	})
}

// A folder that is not there is refused at the start.
func TestBackupFolderMustBeThere(t *testing.T) {
	h, smtp := furnish(t, t.TempDir(), "2026-11-25 10:00", func(*schedule.Fleet) {})
	o := h.options(smtp)
	o.Backups.Folder = filepath.Join(t.TempDir(), "none")
	if _, err := New(t.Context(), o); err == nil || !strings.Contains(err.Error(), "--backups: ") || !strings.Contains(err.Error(), "make it first") {
		t.Errorf("started with %v", err)
	}
}

// heard starts a service that is not to run, and gives what its log says.
func heard(t *testing.T, o Options) (*Daemon, string, error) {
	t.Helper()
	var said strings.Builder
	o.Log = slog.New(slog.NewTextHandler(&said, nil))
	d, err := New(t.Context(), o)
	return d, said.String(), err
}

// D11 and D10: an older copy in the place of the database, or one that lost what its
// journal held, is noticed at the start. Nothing is written or sent, every page says
// so, and the mark stays; with consent it goes on, and from then on without asking.
func TestOlderCopySendsNothing(t *testing.T) {
	h, smtp := furnish(t, t.TempDir(), "2026-11-25 10:00", func(*schedule.Fleet) {}, wound(t, "2024-01-01 09:00", "2026-11-23 09:00")...)
	file := filepath.Join(h.dir, "endshake.db")
	older := filepath.Join(t.TempDir(), "older.db")
	copied(t, file, older)
	h.start(h.options(smtp))
	h.settled(3)
	h.stop()
	sent := len(h.sink.Arrivals())
	mark := file + backup.MarkSuffix
	was, err := os.ReadFile(mark)
	if err != nil || sent != 3 {
		t.Fatalf("%d letters, %v", sent, err)
	}
	copied(t, older, file)
	// The mail server of the house is gone with it; another one takes what comes.
	again, smtp := furnish(t, t.TempDir(), "2026-11-25 11:00", func(*schedule.Fleet) {})
	again.dir = h.dir
	var said strings.Builder
	o := again.options(smtp)
	o.Log = slog.New(slog.NewTextHandler(&said, nil))
	again.start(o)
	again.runner.Wake(context.Background())
	if !strings.Contains(said.String(), "no letter is written or sent: this database is an older copy") {
		t.Errorf("the log says %s", said.String())
	}
	if page := textOf(again.page("/")); !strings.Contains(page, "No letter is written or sent: this database is an older copy") || !strings.Contains(page, "--from-backup") {
		t.Errorf("the page says %.300s", page)
	}
	again.stop()
	if n := len(again.sink.Arrivals()); n != 0 {
		t.Errorf("%d letters went out unasked", n)
	}
	if now, err := os.ReadFile(mark); err != nil || string(now) != string(was) {
		t.Errorf("the mark became %s, %v; it was %s", now, err, was)
	}
	third, smtp := furnish(t, t.TempDir(), "2026-11-25 12:00", func(*schedule.Fleet) {})
	third.dir = h.dir
	o = third.options(smtp)
	o.FromBackup = true
	third.start(o)
	third.settled(3)
	third.stop()
	if n := len(third.sink.Arrivals()); n != 3 {
		t.Errorf("%d letters went out when it was asked for, want the 3 that this copy owes", n)
	}
	d, log, err := heard(t, Options{Config: Config{Database: h.dir, Listen: "127.0.0.1:0", Zone: "Europe/London"}, Now: third.clock})
	if err != nil || d.held != "" || strings.Contains(log, "older") {
		t.Errorf("started once more: %v, %q, %s", err, d.held, log)
	}
	if d != nil {
		_ = d.life.stop()
	}
}

// D03: a torn page is found at the start, and the service does not go on with it.
func TestTornDatabaseIsRefused(t *testing.T) {
	h, smtp := furnish(t, t.TempDir(), "2026-11-25 10:00", func(*schedule.Fleet) {}, wound(t, "2018-01-01 09:00", "2026-11-23 09:00")...)
	file := filepath.Join(h.dir, "endshake.db")
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	at := strings.LastIndex(string(text), "2018-01-") / 4096 * 4096
	for i := range 512 {
		text[at+i] = byte(i * 7)
	}
	if err := os.WriteFile(file, text, 0o600); err != nil {
		t.Fatal(err)
	}
	d, _, err := heard(t, h.options(smtp))
	if err == nil || !strings.Contains(err.Error(), "is damaged") || !strings.Contains(err.Error(), "endshake backup restore") || strings.Contains(err.Error(), "\n") {
		t.Errorf("started on a torn database: %v, %v", d, err)
	}
}

// check gives what a look at a database finds, by what was looked at; of several of
// one, the first that is wrong.
func check(t *testing.T, x Examination) map[string]Finding {
	t.Helper()
	found := map[string]Finding{}
	for _, f := range Check(t.Context(), x) {
		if was, ok := found[f.What]; !ok || !was.Wrong {
			found[f.What] = f
		}
		if strings.Contains(f.Words, "\n") || f.Words == "" {
			t.Errorf("not one line: %+v", f)
		}
	}
	return found
}

// A look at what is in order finds nothing, on both engines, and changes nothing.
func TestCheckFindsNothing(t *testing.T) {
	for name, fresh := range map[string]func(testing.TB) string{"sqlite": dbtest.SQLite, "postgres": dbtest.Postgres} {
		t.Run(name, func(t *testing.T) {
			address, folder := fresh(t), t.TempDir()
			s := dbtest.Open(t, address)
			now := func() time.Time { return time.Now() }
			if err := s.SaveFleet(t.Context(), "test", dbtest.Day, dbtest.Fleet(3), nil); err != nil {
				t.Fatal(err)
			}
			if _, err := backup.Make(t.Context(), s, backup.Settings{Folder: folder, Keep: backup.Usual}, now()); err != nil {
				t.Fatal(err)
			}
			before, err := s.Sums(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			var said strings.Builder
			found := Check(t.Context(), Examination{Database: address, Backups: folder, Now: now})
			if sound, err := WriteFindings(&said, found); err != nil || !sound || len(found) < 9 || strings.Count(said.String(), "\n") != len(found) {
				t.Errorf("%v, %v:\n%s", sound, err, said.String())
			}
			after, err := s.Sums(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			for table, sum := range before {
				if after[table] != sum {
					t.Errorf("the table %s was changed", table)
				}
			}
		})
	}
}

// What is wrong is named, with what mends it.
func TestCheckFinds(t *testing.T) {
	folder := t.TempDir()
	path := filepath.Join(folder, "endshake.db")
	s := dbtest.Open(t, path)
	fail := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	fail(s.SaveFleet(t.Context(), "test", dbtest.Day, dbtest.Fleet(3), nil))
	_, err := s.Owe(t.Context(), dbtest.Day.Add(-48*time.Hour), []schedule.Notice{{Key: "k", To: "a@example.org", Raw: []byte("x")}})
	fail(err)
	now := dbtest.Day
	note := schedule.Entry{Clock: "clock-1", Kind: schedule.Noted, At: now, Note: "x", Source: "test"}
	_, _, err = s.Append(t.Context(), "test", now.Add(time.Hour), note, nil) // written down an hour ahead
	fail(err)
	old := t.TempDir()
	_, err = backup.Make(t.Context(), s, backup.Settings{Folder: old, Keep: backup.Usual}, now.Add(-27*time.Hour))
	fail(err)
	m, err := backup.MarkOf(t.Context(), s, now)
	fail(err)
	m.Audit += 5
	fail(m.Keep(path + backup.MarkSuffix))
	found := check(t, Examination{Database: path, Backups: old, Now: func() time.Time { return now }})
	for what, want := range map[string]string{
		"mail": "1 letter has waited for more than a day", "time": "is still ahead: set this machine's clock right",
		"mark": "is an older copy", "backups": "the newest of 1 is of 24 Nov 2026 at 06:30:00 UTC",
	} {
		if f := found[what]; !f.Wrong || !strings.Contains(f.Words, want) {
			t.Errorf("%s: %+v, want %q", what, f, want)
		}
	}
	for _, what := range []string{"database", "schema", "audit", "rebuild", "disk"} {
		if f := found[what]; f.Wrong || f.Words == "" {
			t.Errorf("%s: %+v, want it in order", what, f)
		}
	}
	if f := check(t, Examination{Database: path, Backups: t.TempDir(), Now: time.Now})["backups"]; !f.Wrong || !strings.Contains(f.Words, "there is none in") {
		t.Errorf("an empty folder: %+v", f)
	}
	if f := check(t, Examination{Database: filepath.Join(folder, "none"), Now: time.Now})["database"]; !f.Wrong || !strings.Contains(f.Words, "there is no database at") {
		t.Errorf("no database: %+v", f)
	}
	// An audit that was changed beside the service.
	fail(s.Close())
	raw(t, path, `DROP TRIGGER audit_no_update`, `UPDATE audit SET actor = 'somebody' WHERE id = 3`)
	if f := check(t, Examination{Database: path, Now: time.Now})["audit"]; !f.Wrong || !strings.Contains(f.Words, "Row 3 does not fit") {
		t.Errorf("a changed audit: %+v", f)
	}
	small := dbtest.SmallDisk(t, 2<<20)
	copied(t, path, filepath.Join(small, "endshake.db"))
	if f := check(t, Examination{Database: small, Now: time.Now})["disk"]; !f.Wrong || !strings.Contains(f.Words, "make room") {
		t.Errorf("a small disk: %+v", f)
	}
}
