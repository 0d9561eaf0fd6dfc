package deploy_test

import (
	"bytes"
	"encoding/json"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"endshake/daemon"
	"endshake/daemon/export"
	"endshake/db"
	"endshake/db/dbtest"
)

// exported is a store with something in every table as an export file.
func exported(t *testing.T, fresh func(testing.TB) string) []byte {
	t.Helper()
	s := dbtest.Open(t, fresh(t))
	dbtest.Fill(t, s)
	// Its trains run for a nanosecond beyond whole seconds, which no fleet file says.
	again := dbtest.Open(t, fresh(t))
	if _, err := daemon.CopyIn(t.Context(), again, "tester", dbtest.Day, bytes.NewReader(copied(t, s))); err != nil {
		t.Fatal(err)
	}
	return copied(t, again)
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
