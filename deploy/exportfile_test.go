package deploy_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"endshake/daemon"
	"endshake/daemon/export"
	"endshake/db"
	"endshake/db/dbtest"
	"endshake/schedule"
)

// original is a store with something in every table. Trains of dbtest run for a
// nanosecond beyond whole seconds, and bearings were fitted at noon of a day, which no
// fleet file says; nor do those here.
func original(t *testing.T, fresh func(testing.TB) string) *db.Store {
	t.Helper()
	s := dbtest.Open(t, fresh(t))
	dbtest.Fill(t, s)
	f, err := s.Fleet(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for i := range f.Clocks {
		for j := range f.Clocks[i].Trains {
			train := &f.Clocks[i].Trains[j]
			train.Reserve = train.Reserve.Truncate(time.Second)
			for k := range train.Arbors {
				for l := range train.Arbors[k].Bearings {
					fitted := &train.Arbors[k].Bearings[l].FittedAt
					*fitted = fitted.Truncate(24 * time.Hour)
				}
			}
		}
	}
	if err := s.SaveFleet(t.Context(), "tester", dbtest.Day, f, nil); err != nil {
		t.Fatal(err)
	}
	return s
}

// exported is that as an export file.
func exported(t *testing.T, fresh func(testing.TB) string) []byte {
	t.Helper()
	return copied(t, original(t, fresh))
}

// seen is what a store gives back of all that an export holds.
type seen struct {
	Fleet    schedule.Fleet
	Log      map[string][]schedule.Entry
	Pictures []schedule.Picture
	Declined []schedule.Decline
	Erased   []schedule.Erasure
	Lessons  []schedule.Learned
	Rounds   []schedule.RoundMark
}

func look(t *testing.T, s *db.Store) (v seen) {
	t.Helper()
	err := s.CopyOut(t.Context(), func(c db.Copying) (err error) {
		ctx := t.Context()
		var errs [5]error
		v.Fleet, errs[0] = c.Fleet(ctx)
		v.Declined, errs[1] = c.Declined(ctx)
		v.Erased, errs[2] = c.Erasures(ctx)
		v.Lessons, errs[3] = c.Lessons(ctx)
		v.Rounds, errs[4] = c.RoundMarks(ctx)
		return errors.Join(errs[:]...)
	})
	if err != nil {
		t.Fatal(err)
	}
	if v.Log, err = s.Log(t.Context()); err != nil {
		t.Fatal(err)
	}
	for _, c := range v.Fleet.Clocks {
		all, err := s.Pictures(t.Context(), c.Slug)
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range all {
			if p, err = s.Picture(t.Context(), p.ID); err != nil {
				t.Fatal(err)
			}
			v.Pictures = append(v.Pictures, p)
		}
	}
	for i := range v.Erased { // whose the number was is in no export
		v.Erased[i].Person = ""
	}
	return v
}

func copied(t *testing.T, s *db.Store) []byte {
	t.Helper()
	var b bytes.Buffer
	if _, err := daemon.CopyOut(t.Context(), s, "tester", "test", dbtest.Day, &b); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// Each line of an export is as export.schema.json describes it, and what the schema
// does not describe it refuses.
func TestExportSchema(t *testing.T) {
	schema, err := jsonschema.NewCompiler().Compile("export.schema.json")
	if err != nil {
		t.Fatal(err)
	}
	valid := func(line []byte) error {
		v, err := jsonschema.UnmarshalJSON(bytes.NewReader(line))
		if err != nil {
			t.Fatal(err)
		}
		return schema.Validate(v)
	}
	kinds := map[string]int{}
	for _, line := range bytes.Split(bytes.TrimSpace(exported(t, dbtest.SQLite)), []byte("\n")) {
		if err := valid(line); err != nil {
			t.Errorf("%v: %.300s", err, line)
		}
		var l map[string]map[string]any
		if err := json.Unmarshal(line, &l); err != nil {
			t.Fatal(err)
		}
		for kind, fields := range l {
			kinds[kind]++
			fields["password"] = "x"
			more, _ := json.Marshal(l)
			if valid(more) == nil {
				t.Errorf("a %s with a password is as the schema describes it", kind)
			}
		}
	}
	for _, kind := range export.Kinds {
		if kinds[kind] == 0 {
			t.Errorf("there is no line of the kind %s", kind)
		}
	}
}

// What is secret, and what speaks of nobody but the service, is not in an export.
func TestExportHoldsNoSecrets(t *testing.T) {
	s := dbtest.Open(t, dbtest.SQLite(t))
	dbtest.Fill(t, s)
	file := string(copied(t, s))
	for _, secret := range []string{"hash of ", "SECRET", "session", "Subject: hello", "\"z-keeper\"", "zoe@", "550 5.1.1", "said by it", "let in", "token"} {
		if i := strings.Index(file, secret); i >= 0 {
			t.Errorf("it holds %q: %.120s", secret, file[max(0, i-40):])
		}
	}
}

// EXPORTFILE.md has a section for each kind of line, in their order, and lists every
// field that it may have and no other.
func TestExportFileFields(t *testing.T) {
	text := read(t, "EXPORTFILE.md")
	row := regexp.MustCompile(`(?m)^\| (\x60[^|]*)\|`)
	word := regexp.MustCompile("`([^`]+)`")
	var titles []string
	for _, part := range strings.Split(text, "\n## ")[1:] {
		title, body, _ := strings.Cut(part, "\n")
		titles = append(titles, strings.Split(title, ", ")...)
		if strings.Contains(title, ",") { // described as in a fleet file
			continue
		}
		var listed []string
		for _, r := range row.FindAllStringSubmatch(body, -1) {
			for _, w := range word.FindAllStringSubmatch(r[1], -1) {
				listed = append(listed, w[1])
			}
		}
		slices.Sort(listed)
		if want := lineFields(t, title); !slices.Equal(listed, want) {
			t.Errorf("section %q lists %q, and the line holds %q", title, listed, want)
		}
	}
	if !slices.Equal(titles, export.Kinds) {
		t.Errorf("the sections are %q, and the kinds of line %q", titles, export.Kinds)
	}
}

// lineFields are the names that a line of a kind is written with.
func lineFields(t *testing.T, kind string) (out []string) {
	t.Helper()
	line := reflect.TypeFor[export.Line]()
	for i := range line.NumField() {
		if name, _, _ := strings.Cut(line.Field(i).Tag.Get("json"), ","); name == kind {
			out = jsonNames(line.Field(i).Type.Elem())
		}
	}
	if len(out) == 0 {
		t.Fatalf("there is no kind of line %q", kind)
	}
	out = slices.DeleteFunc(out, func(s string) bool { return s == "corrected" }) // said by what corrects it
	slices.Sort(out)
	return out
}

func jsonNames(t reflect.Type) (out []string) {
	for i := range t.NumField() {
		f := t.Field(i)
		name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
		if f.Anonymous {
			out = append(out, jsonNames(f.Type)...)
		} else {
			out = append(out, name)
		}
	}
	return out
}

// What a store holds is what another gives back that its export was read into, on
// and between both engines: what is read back, and not only what is written again.
func TestExportIsExact(t *testing.T) {
	engines := map[string]func(testing.TB) string{"sqlite": dbtest.SQLite, "postgres": dbtest.Postgres}
	for from, fresh := range engines {
		s := original(t, fresh)
		file, was := copied(t, s), look(t, s)
		if len(was.Fleet.Clocks) < 4 || len(was.Log["clock-1"]) < 40/4 || len(was.Pictures) < 2 || len(was.Declined) < 1 || len(was.Erased) != 1 || len(was.Lessons) != 2 || len(was.Rounds) < 1 {
			t.Fatalf("there is little to be exact of: %+v", was)
		}
		for to, fresh := range engines {
			t.Run(from+" to "+to, func(t *testing.T) {
				s := dbtest.Open(t, fresh(t))
				if _, err := daemon.CopyIn(t.Context(), s, "tester", dbtest.Day, bytes.NewReader(file)); err != nil {
					t.Fatal(err)
				}
				is := look(t, s)
				w, g := reflect.ValueOf(was), reflect.ValueOf(is)
				for i := range w.NumField() {
					if name := w.Type().Field(i).Name; !reflect.DeepEqual(w.Field(i).Interface(), g.Field(i).Interface()) {
						t.Errorf("%s: was\n%+v\nand is\n%+v", name, w.Field(i), g.Field(i))
					}
				}
			})
		}
	}
}

// What comes out goes in, on both engines, and comes out the same to the byte but
// for the time in the head; all of it goes in, or nothing.
func TestExportGoesInAnywhere(t *testing.T) {
	file := exported(t, dbtest.Postgres)
	for name, fresh := range map[string]func(testing.TB) string{"sqlite": dbtest.SQLite, "postgres": dbtest.Postgres} {
		t.Run(name, func(t *testing.T) {
			s, ctx := dbtest.Open(t, fresh(t)), t.Context()
			for _, bad := range [][]byte{file[:len(file)-1], bytes.Replace(file, []byte("the hour was wrong"), []byte("the hour was right"), 1)} {
				if _, err := daemon.CopyIn(ctx, s, "tester", dbtest.Day, bytes.NewReader(bad)); err == nil {
					t.Fatal("a file that is not whole goes in")
				}
				if f, err := s.Fleet(ctx); err != nil || len(f.Clocks) > 0 {
					t.Fatalf("%d clocks are left of it, %v", len(f.Clocks), err)
				}
			}
			if _, err := daemon.CopyIn(ctx, s, "tester", dbtest.Day, bytes.NewReader(file)); err != nil {
				t.Fatal(err)
			}
			if rows, err := s.Audit(ctx, 5); err != nil || len(rows) != 1 || rows[0].Action != "copied in" || !strings.Contains(rows[0].Detail, "45 entries") {
				t.Errorf("audited as %+v, %v", rows, err)
			}
			if c, err := s.CheckAudit(ctx, dbtest.Day); err != nil || !c.Sound() {
				t.Errorf("the audit: %+v, %v", c, err)
			}
			var again bytes.Buffer
			if _, err := daemon.CopyOut(ctx, s, "tester", "test", dbtest.Day.AddDate(1, 0, 0), &again); err != nil {
				t.Fatal(err)
			}
			_, first, _ := strings.Cut(string(file), "\n")
			if _, rest, _ := strings.Cut(again.String(), "\n"); rest != first {
				was, is := strings.Split(first, "\n"), strings.Split(rest, "\n")
				for i := range min(len(was), len(is)) {
					if was[i] != is[i] {
						t.Fatalf("line %d comes out as\n%s\nand went in as\n%s", i+2, is[i], was[i])
					}
				}
				t.Errorf("%d lines come out, and %d went in", len(is), len(was))
			}
			if _, err := daemon.CopyIn(ctx, s, "tester", dbtest.Day, bytes.NewReader(file)); err == nil || !strings.Contains(err.Error(), "the database is not empty") {
				t.Errorf("it goes in twice: %v", err)
			}
			// A number that was given is not given again, also to nobody else's entries.
			if e, err := s.Erase(ctx, "tester", dbtest.Day, "a-winder"); err != nil || e.Number != 2 {
				t.Errorf("the next erasure is %+v, %v", e, err)
			}
		})
	}
}
