package daemon

import (
	"database/sql"
	"log/slog"
	"net/http"
	"slices"
	"strings"
	"testing"

	"endshake/db/dbtest"
	"endshake/schedule"
)

// raw does to a database what the service never would.
func raw(t *testing.T, address string, queries ...string) {
	t.Helper()
	driver, source := "pgx", address
	if !strings.HasPrefix(address, "postgres") {
		driver, source = "sqlite", strings.TrimPrefix(address, "sqlite:")
	}
	d, err := sql.Open(driver, source)
	if err != nil {
		t.Fatal(err)
	}
	defer d.Close()
	d.SetMaxOpenConns(1) // what is set holds for all of them
	for _, q := range queries {
		if _, err := d.Exec(q); err != nil {
			t.Fatalf("%s: %v", q, err)
		}
	}
}

// openLog lets a test change entries.
const openLog = `ALTER TABLE entry DISABLE TRIGGER USER`

// damages are rows as no service writes them, each of the moot hall alone.
var damages = []struct {
	name             string
	sqlite, postgres []string // empty: the engine keeps it out
	want             string
}{
	{"broken JSON in an entry",
		[]string{`DROP TRIGGER entry_no_update`, `UPDATE entry SET detail = '{"Turns":' WHERE clock = 'moot-hall'`},
		[]string{openLog, `UPDATE entry SET detail = '{"Turns":' WHERE clock = 'moot-hall'`}, "unexpected end of JSON"},
	{"JSON of another shape",
		[]string{`DROP TRIGGER entry_no_update`, `UPDATE entry SET detail = '{"Turns":"many"}' WHERE clock = 'moot-hall'`},
		[]string{openLog, `UPDATE entry SET detail = '{"Turns":"many"}' WHERE clock = 'moot-hall'`}, "cannot unmarshal"},
	{"an unknown kind",
		[]string{`DROP TRIGGER entry_no_update`, `UPDATE entry SET kind = 'polished' WHERE clock = 'moot-hall'`},
		[]string{openLog, `UPDATE entry SET kind = 'polished' WHERE clock = 'moot-hall'`}, `no entry of kind "polished"`},
	{"a time that is none",
		[]string{`DROP TRIGGER entry_no_update`, `UPDATE entry SET at = 'yesterday' WHERE clock = 'moot-hall'`}, nil, "yesterday"},
	{"broken UTF-8",
		[]string{`DROP TRIGGER entry_no_update`, `UPDATE entry SET note = CAST(x'66ff66' AS TEXT) WHERE clock = 'moot-hall'`}, nil, "not valid UTF-8"},
	{"a reading less than nothing",
		[]string{`DROP TRIGGER reading_no_update`, `UPDATE reading SET value_um = -300 WHERE clock = 'moot-hall'`},
		[]string{`ALTER TABLE reading DISABLE TRIGGER USER`, `UPDATE reading SET value_um = -300 WHERE clock = 'moot-hall'`}, "less than nothing"},
	{"a temperature that is no number", nil,
		[]string{`ALTER TABLE reading DISABLE TRIGGER USER`, `UPDATE reading SET celsius = 'NaN' WHERE clock = 'moot-hall'`}, "no number"},
	{"an endless temperature",
		[]string{`DROP TRIGGER reading_no_update`, `UPDATE reading SET celsius = 9e999 WHERE clock = 'moot-hall'`}, nil, "no number"},
	{"a load that is no number", nil,
		[]string{`UPDATE bearing SET load_n = 'NaN' WHERE clock = 'moot-hall'`}, "NaN"},
	{"an endless load",
		[]string{`UPDATE bearing SET load_n = 9e999 WHERE clock = 'moot-hall'`}, []string{`UPDATE bearing SET load_n = 'Infinity' WHERE clock = 'moot-hall'`}, "Inf"},
	{"negative hours",
		[]string{`UPDATE train SET reserve_ns = -5 WHERE clock = 'moot-hall'`}, []string{`UPDATE train SET reserve_ns = -5 WHERE clock = 'moot-hall'`}, "less than nothing"},
	{"a negative interval",
		[]string{`UPDATE policy SET days = -7, run_hours = -1 WHERE clock = 'moot-hall'`}, []string{`UPDATE policy SET days = -7, run_hours = -1 WHERE clock = 'moot-hall'`}, "less than nothing"},
	{"broken JSON of the clock",
		[]string{`UPDATE clock SET cautions = '[' WHERE slug = 'moot-hall'`}, []string{`UPDATE clock SET cautions = '[' WHERE slug = 'moot-hall'`}, "clock moot-hall"},
	{"broken JSON of a train",
		[]string{`UPDATE train SET detail = 'null?' WHERE clock = 'moot-hall'`}, []string{`UPDATE train SET detail = 'null?' WHERE clock = 'moot-hall'`}, "train "},
	{"an arbor of no train",
		[]string{`PRAGMA foreign_keys = 0`, `UPDATE arbor SET train_ord = 77 WHERE clock = 'moot-hall'`},
		[]string{`SET session_replication_role = replica`, `UPDATE arbor SET train_ord = 77 WHERE clock = 'moot-hall'`}, "names train 78"},
	{"a bearing of no arbor",
		[]string{`PRAGMA foreign_keys = 0`, `UPDATE bearing SET arbor_ord = -1 WHERE clock = 'moot-hall'`},
		[]string{`SET session_replication_role = replica`, `UPDATE bearing SET arbor_ord = -1 WHERE clock = 'moot-hall'`}, "names arbor 0"},
	{"a clock of no site",
		[]string{`PRAGMA foreign_keys = 0`, `UPDATE clock SET site = 'nowhere' WHERE slug = 'moot-hall'`},
		[]string{`SET session_replication_role = replica`, `UPDATE clock SET site = 'nowhere' WHERE slug = 'moot-hall'`}, `its site "nowhere" is not there`},
	{"a day in no calendar",
		[]string{`UPDATE clock SET in_care = '2026-02-31' WHERE slug = 'moot-hall'`}, []string{`UPDATE clock SET in_care = '2026-02-31' WHERE slug = 'moot-hall'`}, "2026-02-31"},
}

// V04: what cannot be read of one clock takes nothing with it but that clock. Its page
// says "data problem" and what it is; every other page and the metrics work, its tasks
// are on no list, nobody logs on top of it, and endshake check finds it.
func TestDataProblemOfOneClock(t *testing.T) {
	for _, engine := range []string{"sqlite", "postgres"} {
		for _, d := range damages {
			queries := d.sqlite
			if engine == "postgres" {
				queries = d.postgres
			}
			if len(queries) == 0 {
				continue
			}
			t.Run(engine+" "+d.name, func(t *testing.T) {
				address := t.TempDir() + "/endshake.db"
				if engine == "postgres" {
					address = dbtest.Postgres(t)
				}
				h, smtp := furnish(t, address, "2026-11-25 10:00", func(*schedule.Fleet) {}, append(wound(t, "2024-01-01 09:00", "2026-11-16 09:00"), reading(t, "2026-06-10 10:00", 0.30))...)
				raw(t, address, queries...)
				var said strings.Builder
				o := h.options(smtp)
				o.Log = slog.New(slog.NewTextHandler(&said, nil))
				h.start(o)
				wantProblem(t, h, d.want)
				if f := check(t, Examination{Database: address, Now: h.clock}); !f["clock"].Wrong || !strings.Contains(f["clock"].Words, "moot-hall: data problem") {
					if !f["database"].Wrong { // rows that name others that are not there
						t.Errorf("endshake check finds %+v", f)
					}
				}
				h.stop()
				if !strings.Contains(said.String(), "data problem") || !strings.Contains(said.String(), "clock=moot-hall") {
					t.Errorf("the log does not say it: %s", said.String())
				}
			})
		}
	}
}

// wantProblem looks at every page of a service whose moot hall cannot be read.
func wantProblem(t *testing.T, h *house, want string) {
	t.Helper()
	if code, body := h.get("/clock/moot-hall"); code != http.StatusOK || !strings.Contains(body, "Data problem") || !strings.Contains(strings.ToLower(textOf(body)), strings.ToLower(want)) {
		t.Errorf("the clock's page, %d, says %.900s; want %q", code, textOf(body), want)
	}
	if len(h.assessment("ferry-post").Tasks) == 0 || len(h.assessment("ferry-post").Problems) > 0 {
		t.Errorf("the other clock is touched: %+v", h.assessment("ferry-post").Problems)
	}
	if n := len(h.assessment("moot-hall").Tasks); n > 0 {
		t.Errorf("%d tasks are made of what cannot be read", n)
	}
	for path := range pagesOf(h.desk.Snapshot()) {
		if code, _ := h.get(path); code != http.StatusOK {
			t.Errorf("%s answers %d", path, code)
		}
	}
	for _, path := range []string{"/people", "/audit", "/clock/moot-hall/card", "/clock/moot-hall/log?kind=wound", "/export", "/api/clocks", "/api/clocks/moot-hall", "/readyz"} {
		if code, _ := h.get(path); code >= 500 {
			t.Errorf("%s answers %d", path, code)
		}
	}
	for _, path := range []string{"/export", "/clock/moot-hall/history"} { // a file would look whole
		if code, body := h.post(path, nil); code != http.StatusConflict || !strings.Contains(body, "nothing can be taken away while") && !strings.Contains(body, "Nothing can be taken away while") {
			t.Errorf("a file of %s: %d %.600s", path, code, textOf(body))
		}
	}
	if code, _ := h.post("/clock/ferry-post/history", nil); code != http.StatusOK {
		t.Errorf("a file of the other clock: %d", code)
	}
	if _, body := h.get("/clock/moot-hall/history"); !strings.Contains(body, "not all of this history can be read") {
		t.Error("the history does not say that some of it is missing")
	}
	_, metrics := h.get("/metrics")
	for _, line := range []string{`endshake_clock_data_problem{clock="moot-hall"} 1`, `endshake_clock_data_problem{clock="ferry-post"} 0`} {
		if !strings.Contains(metrics, line) {
			t.Errorf("the metrics lack %s", line)
		}
	}
	if strings.Contains(metrics, "NaN") || strings.Contains(metrics, "Inf\n") || strings.Contains(metrics, `endshake_clock_tasks{clock="moot-hall"`) {
		t.Error("the metrics say something of what cannot be read")
	}
	_, err := h.desk.Log(t.Context(), schedule.Entry{Clock: "moot-hall", Kind: schedule.Noted, At: h.clock(), Note: "x", Source: "test"})
	if schedule.CodeOf(err) != schedule.Conflict || !strings.Contains(err.Error(), "while there is a data problem") {
		t.Errorf("an entry on top of it: %v", err)
	}
	if _, err := h.desk.Log(t.Context(), schedule.Entry{Clock: "ferry-post", Kind: schedule.Noted, At: h.clock(), Note: "x", Source: "test"}); err != nil {
		t.Errorf("an entry for the other clock: %v", err)
	}
	fleet := h.desk.Snapshot().Fleet
	torn, _ := fleet.Clock("moot-hall")
	other, _ := fleet.Clock("ferry-post")
	torn.Note, other.Note = "changed", "changed"
	wantSaved(t, h, schedule.Fleet{Clocks: []schedule.Clock{torn}}, false)
	wantSaved(t, h, schedule.Fleet{Clocks: []schedule.Clock{other}, People: []schedule.Person{renamed(h, fleet.People[0].Slug)}}, true)
}

// Whoever cannot be read is written no letter, and nothing of them can be changed; so
// say the pages, the log and endshake check. Everybody else has theirs. Rows that
// belong to nothing that is there are told too.
func TestDataProblemOfAPerson(t *testing.T) {
	for _, engine := range []string{"sqlite", "postgres"} {
		t.Run(engine, func(t *testing.T) {
			address, off := t.TempDir()+"/endshake.db", `PRAGMA foreign_keys = 0`
			if engine == "postgres" {
				address, off = dbtest.Postgres(t), `SET session_replication_role = replica`
			}
			h, smtp := furnish(t, address, "2026-11-25 10:00", func(*schedule.Fleet) {}, wound(t, "2024-01-01 09:00", "2026-11-23 09:00")...)
			raw(t, address, off, `UPDATE person SET wishes = '{"not":' WHERE slug = 'ned'`, `UPDATE policy SET clock = 'nowhere' WHERE clock = 'ferry-post'`)
			var said strings.Builder
			o := h.options(smtp)
			o.Log = slog.New(slog.NewTextHandler(&said, nil))
			h.start(o)
			h.settled(2)
			for _, a := range h.sink.Arrivals() {
				if slices.Contains(a.To, "ned@example.org") {
					t.Error("a letter went to somebody whose wishes cannot be read")
				}
			}
			if page := h.page("/people"); !strings.Contains(textOf(page), "data problem") {
				t.Errorf("the people: %s", textOf(page))
			}
			if page := h.page("/people/ned"); !strings.Contains(page, "Data problem") || !strings.Contains(page, "unexpected end of JSON") {
				t.Errorf("the person's page: %s", textOf(page))
			}
			found := check(t, Examination{Database: address, Now: h.clock})
			for what, want := range map[string]string{"person": "ned: data problem, so no letter is written to them", "rows": "nowhere"} {
				if f := found[what]; !f.Wrong || !strings.Contains(f.Words, want) {
					if engine == "postgres" || !found["database"].Wrong { // rows that name others that are not there
						t.Errorf("endshake check finds %+v, want %q", f, want)
					}
				}
			}
			wantSaved(t, h, schedule.Fleet{People: []schedule.Person{renamed(h, "ned")}}, false)
			wantSaved(t, h, schedule.Fleet{People: []schedule.Person{renamed(h, "ada")}}, true)
			h.stop()
			for _, want := range []string{"person=ned", "no letter is written to this person", "some rows belong to nothing that is there"} {
				if !strings.Contains(said.String(), want) {
					t.Errorf("the log lacks %q: %s", want, said.String())
				}
			}
		})
	}
}

// renamed is a person as the fleet file has them, under a longer name.
func renamed(h *house, slug string) schedule.Person {
	p, _ := h.desk.Snapshot().Fleet.Person(slug)
	p.Damage, p.Name = nil, p.Name+" the Elder"
	return p
}

// wantSaved keeps a part of the fleet, which is refused with a sentence or not.
func wantSaved(t *testing.T, h *house, part schedule.Fleet, want bool) {
	t.Helper()
	err := h.saveFleet(t.Context(), "test", part, func(schedule.Fleet) error { return nil })
	switch {
	case want && err != nil:
		t.Errorf("%+v could not be changed: %v", part, err)
	case !want && (schedule.CodeOf(err) != schedule.Conflict || !strings.Contains(err.Error(), "cannot be changed while there is a data problem with it")):
		t.Errorf("what cannot be read was to be changed, and it says %v", err)
	}
}
