package main

import (
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"endshake/db"
	"endshake/db/dbtest"
)

// importPoints are the moments of an old book, and of an export file, at which the
// process is killed while it takes it in (K32), and whether all of it is there then.
var importPoints = map[string][]struct {
	point string
	all   bool
}{
	"old-book": {{"K32:1", false}, {"K32 amid:1", false}, {"K32 stored:1", false}, {"K32 open:1", false}, {"K32 kept:1", true}},
	"copy": {{"I01:1", false}, {"I02:1", false}, {"I02:3", false}, {"I03:1", false}, {"I03:2", false}, {"I04:1", false},
		{"I05:1", false}, {"I06:1", true}},
}

// TestImportKilled kills what takes much in at once: there is nothing of it, or all,
// and the same command again makes it whole, or sees that it is there.
func TestImportKilled(t *testing.T) {
	program := buildWithFailpoints(t)
	file := filepath.Join(t.TempDir(), "fleet.jsonl")
	command := func(t *testing.T, args ...string) (string, error) {
		out, err := exec.Command(program, args...).CombinedOutput()
		return string(out), err
	}
	if out, err := command(t, "copy", "out", "--database", filledForMove(t, dbtest.SQLite), "--out", file); err != nil {
		t.Fatal(out)
	}
	book := []string{"old-book", "../../deploy/oldbook.example.csv", "--answers", "../../deploy/oldbook.answers.json", "--keep", "--database"}
	for engine, fresh := range map[string]func(testing.TB) string{"sqlite": dbtest.SQLite, "postgres": dbtest.Postgres} {
		t.Run(engine, func(t *testing.T) {
			kills := 0
			for _, k := range importPoints["old-book"] {
				address := fresh(t)
				if out, err := command(t, "fleet", "load", "--database", address, "../../deploy/fleet.example.json"); err != nil {
					t.Fatal(out)
				}
				before := taken(t, address)
				args := append(book[:len(book):len(book)], address)
				killCommand(t, program, k.point, args...)
				after := taken(t, address)
				out, err := command(t, args...)
				whole := taken(t, address)
				if err != nil || whole.entries == before.entries || whole.audited != 2 { // a row for each clock
					t.Errorf("%s: in the end %+v, %v\n%s", k.point, whole, err, out)
				}
				if want := map[bool]imported{false: before, true: whole}[k.all]; after != want {
					t.Errorf("%s: there is %+v then, want %+v", k.point, after, want)
				}
				kills++
			}
			for _, k := range importPoints["copy"] {
				address := fresh(t)
				args := []string{"copy", "in", "--database", address, file}
				killCommand(t, program, k.point, args...)
				after := taken(t, address)
				out, err := command(t, args...)
				whole := taken(t, address)
				if full := strings.Contains(out, "the database is not empty"); (err != nil) != k.all || full != k.all || whole.clocks != 4 || whole.pictures != 2 || whole.audited != 1 {
					t.Errorf("%s: in the end %+v, %v\n%s", k.point, whole, err, out)
				}
				if want := map[bool]imported{true: whole}[k.all]; after != want {
					t.Errorf("%s: there is %+v then, want %+v", k.point, after, want)
				}
				kills++
			}
			t.Logf("%d kills", kills)
		})
	}
}

// imported is what a database holds of what was taken in; audited counts the rows
// that say so.
type imported struct{ clocks, people, entries, readings, pictures, lessons, audited int64 }

// taken sees that the audit is sound, and gives what there is.
func taken(t *testing.T, address string) (v imported) {
	t.Helper()
	s, err := db.OpenExisting(t.Context(), address)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if c, err := s.CheckAudit(t.Context(), dbtest.Day); err != nil || !c.Sound() {
		t.Errorf("the audit: %+v, %v", c, err)
	}
	e, err := s.Extent(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	rows, err := s.Audit(t.Context(), 1000)
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range rows {
		if r.Action == "logged together" || r.Action == "copied in" {
			v.audited++
		}
	}
	v.clocks, v.people, v.entries, v.readings, v.pictures, v.lessons = e.Rows["clock"], e.Rows["person"], e.Rows["entry"], e.Rows["reading"], e.Rows["picture"], e.Rows["learned"]
	return v
}
