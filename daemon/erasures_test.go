package daemon

import (
	"context"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"endshake/db"
	"endshake/schedule"
)

// byNed is a reading by ned, typed in by ada, and one the other way round.
func byNed(t *testing.T) []schedule.Entry {
	one, two := reading(t, "2026-10-10 11:00", 0.30), reading(t, "2026-10-11 11:00", 0.31)
	one.By, one.Source = "ned", schedule.PagePrefix+"ada"
	two.By, two.Source = "ada", schedule.PagePrefix+"ned"
	return []schedule.Entry{one, two}
}

// wantNowhere sees that neither the name nor the short name of ned stands on any
// page, and that what he did stands under a number.
func wantNowhere(t *testing.T, h *house) {
	t.Helper()
	paths := []string{"/people", "/audit", "/settings", "/mail", "/inward", "/audit?who=" + url.QueryEscape("person 1, erased"), "/api/v1/clocks", "/api/v1/clocks/moot-hall/entries"}
	for path := range pagesOf(h.desk.Snapshot()) {
		paths = append(paths, path)
	}
	numbered := 0
	for _, path := range paths {
		_, body := h.get(path)
		for _, trace := range []string{"Sallowby", "ned@", `"ned"`, ">ned<", " ned ", "/people/ned", "page, by ned"} {
			if strings.Contains(body, trace) {
				t.Errorf("%s still says %q", path, trace)
			}
		}
		if strings.Contains(body, "erson 1, erased") {
			numbered++
		}
	}
	if numbered < 3 {
		t.Errorf("%d pages speak of person 1: want the clock's and the audit's at least", numbered)
	}
}

// Somebody who was erased stands on no page, as soon as it is done.
func TestErasedOnEveryPage(t *testing.T) {
	h := open(t, "2026-11-25 10:00", byNed(t)...)
	h.settled(3)
	if !strings.Contains(h.page("/clock/moot-hall"), "Ned Sallowby") {
		t.Fatal("the page does not speak of ned before")
	}
	e, err := h.erase(t.Context(), "ada", "ned")
	if err != nil || e.Number != 1 {
		t.Fatalf("erased as %+v, %v", e, err)
	}
	wantNowhere(t, h)
	for _, entry := range h.assessment("moot-hall").Entries {
		if entry.By == "ned" || strings.Contains(entry.Source, "ned") {
			t.Errorf("the desk still has %+v", entry)
		}
	}
	h.set("2026-11-26 07:30") // letters of the next days go to others alone
	h.runner.Wake(t.Context())
	notices, err := h.store.Notices(t.Context(), 100)
	if err != nil {
		t.Fatal(err)
	}
	for _, n := range notices {
		if n.Person == "ned" || strings.HasPrefix(n.To, "ned@") {
			t.Errorf("a letter is owed to somebody erased: %+v", n)
		}
	}
}

// copied copies a file.
func copied(t *testing.T, from, to string) {
	t.Helper()
	data, err := os.ReadFile(from)
	if err == nil {
		err = os.WriteFile(to, data, 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
}

// A backup made before somebody was erased brings them back only until the service
// starts: the list beside the database, or where it was said, erases them again.
func TestRestoredBackupBringsNobodyBack(t *testing.T) {
	for _, named := range []bool{false, true} {
		h := open(t, "2026-11-25 10:00", byNed(t)...)
		h.settled(3)
		h.stop()
		file := filepath.Join(h.dir, "endshake.db")
		list, backup := file+erasedSuffix, filepath.Join(t.TempDir(), "backup.db")
		mend := func(*Config) {}
		if named {
			list = filepath.Join(t.TempDir(), "elsewhere")
			mend = func(c *Config) { c.Erasures = list }
		}
		copied(t, file, backup) // the database was closed: all of it is in the file
		d, _ := locked(t, h, mend)
		if _, err := d.erase(t.Context(), "ada", "ned"); err != nil {
			t.Fatal(err)
		}
		if err := d.life.stop(); err != nil {
			t.Fatal(err)
		}
		data, err := os.ReadFile(list)
		if kept, other := ReadErasures(data); err != nil || other != nil || len(kept) != 1 || kept[0].Person != "ned" || !kept[0].At.Equal(h.clock()) {
			t.Fatalf("the list is %q, %v", data, err)
		}
		if info, err := os.Stat(list); err != nil || info.Mode().Perm() != 0o600 {
			t.Errorf("others can read the list: %v, %v", info, err)
		}
		for _, with := range []string{"", "-wal", "-shm"} {
			os.Remove(file + with)
		}
		copied(t, backup, file)
		if store, err := db.OpenExisting(t.Context(), file); err != nil {
			t.Fatal(err)
		} else {
			f, err := store.Fleet(t.Context())
			if _, back := f.Person("ned"); err != nil || !back {
				t.Fatalf("the backup does not hold ned: %v", err)
			}
			store.Close()
		}
		again, said := locked(t, h, mend)
		f := again.desk.Snapshot().Fleet
		if _, back := f.Person("ned"); back || !strings.Contains(said.String(), "erased again") {
			t.Errorf("the restored backup brought ned back: %s", said)
		}
		log, err := again.store.Entries(context.Background(), "moot-hall")
		if err != nil || len(log) == 0 || log[0].By != "person 1, erased" {
			t.Errorf("the log begins %+v, %v", log[:min(1, len(log))], err)
		}
		c, err := again.store.CheckAudit(t.Context(), h.clock())
		if err != nil || !c.Sound() {
			t.Errorf("the audit after it: %+v, %v", c, err)
		}
		if err := again.life.stop(); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(list, []byte("{\"person\":\"ned\""), 0o600); err != nil {
			t.Fatal(err)
		}
		o := Options{Config: Config{Database: h.dir, Listen: "127.0.0.1:0", BaseURL: "https://clocks.example.org/", Zone: "Europe/London"}, Version: "test", Now: h.clock, Log: again.o.Log}
		mend(&o.Config)
		if _, err := New(t.Context(), o); err == nil || !strings.Contains(err.Error(), "line 1 of the list of erasures") {
			t.Errorf("started over a torn list: %v", err)
		}
	}
}

func FuzzReadErasures(f *testing.F) {
	f.Add([]byte(`{"person":"ned","number":1,"at":"2026-11-25T10:00:00Z"}`))
	f.Add([]byte("\n\n{\"person\":\"\",\"number\":-1}"))
	f.Add([]byte(`{"person":"a","number":1e400,"at":"9999-12-31T23:59:59Z"}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		list, err := ReadErasures(data)
		if err != nil {
			return
		}
		back, err := ReadErasures(FormatErasures(list))
		if err != nil || len(back) != len(list) {
			t.Fatalf("%q comes back as %+v, %v; want %+v", data, back, err, list)
		}
		for i := range list {
			if back[i].Person != list[i].Person || back[i].Number != list[i].Number || !back[i].At.Equal(list[i].At) {
				t.Errorf("%+v comes back as %+v", list[i], back[i])
			}
		}
	})
}
