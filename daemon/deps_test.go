package daemon_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io"
	"os"
	"os/exec"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// order is who may import whom, in the manner of go/build's own test of the
// standard library. A package may import what stands to the left of it in a
// chain, and what that may import; names between two signs do not import one
// another. A package that is named nowhere may neither import nor be imported.
const order = `
	wear < schedule/round < schedule < daemon/chart, daemon/calendar
	< db, daemon/mail, daemon/web, daemon/metrics
	< daemon < cmd/endshake;

	daemon/chart < daemon/trend < cmd/endshake;

	daemon/chart < daemon/paper < daemon/web, cmd/endshake;

	schedule < daemon/demo < daemon;

	schedule < daemon/reckon < daemon/web;
	daemon/reckon < cmd/endshake;

	schedule < daemon/oldbook < daemon/web;
	daemon/oldbook < cmd/endshake;

	schedule < daemon/login < daemon/web;
	daemon/login < cmd/endshake;

	schedule < daemon/web/api < daemon/export < daemon/web;
	daemon/export < cmd/endshake;

	db < daemon/backup < daemon, cmd/endshake;

	db < db/dbtest;

	db/failpoint < db, daemon/mail, daemon/backup;
	db/failpoint < daemon, cmd/endshake;

	daemon/browsertest;
`

// pure are the packages that must not reach outside: no files, no network, no
// database, no logging, no clock.
var pure = []string{"wear", "schedule", "schedule/round", "daemon/reckon", "daemon/oldbook"}

// outside are the packages of the standard library that reach outside, with all
// below them.
var outside = []string{"os", "net", "log", "database", "io/fs", "io/ioutil", "syscall", "plugin", "unsafe"}

// harmless are packages below those that only read text, each with its reason.
var harmless = map[string]string{
	"net/mail": "tells whether an address can be one; opens nothing",
}

// edges are the files besides those of cmd that may read the wall clock, each
// with its reason. Everywhere else time is an argument.
var edges = map[string]string{
	"daemon/mail/batch.go":    "deadlines of a network connection",
	"daemon/mail/book.go":     "how long a commit takes, and others wait for it",
	"daemon/mail/dialogue.go": "how long a trial letter has taken so far",
	"daemon/mail/trial.go":    "deadlines of a network connection; when a trial letter began",
	"daemon/mail/inward.go":   "deadlines of a network connection",
	"daemon/mail/line.go":     "deadlines of a network connection",
	"daemon/mail/send.go":     "deadlines of a network connection; the default of Sender.Now",
	"db/failpoint/off.go":     "the time as serve takes it, which tests of kills move",
	"daemon/web/body.go":      "deadlines of a network connection",
	"daemon/mail/sink.go":     "when the loopback mail server took a message",
	"db/open.go":              "how far the clock of a server is ahead of this machine's",
	"db/postgres.go":          "deadlines of a network connection",
}

// clockReaders are the functions of package time that read the wall clock or
// wait for it.
var clockReaders = []string{"Now", "Since", "Until"}

// waiters wait for the wall clock: loops of the daemon may, pure packages not.
var waiters = []string{"Sleep", "After", "AfterFunc", "Tick", "NewTimer", "NewTicker"}

// pkg is what go list says of a package.
type pkg struct {
	ImportPath string
	Dir        string
	GoFiles    []string
	Imports    []string
	Module     struct{ Path, Dir string }
}

// name is the path of the package inside the module.
func (p pkg) name() string { return strings.TrimPrefix(p.ImportPath, p.Module.Path+"/") }

// packages asks go list for every package of the module with code that ships.
func packages(t *testing.T) []pkg {
	t.Helper()
	c := exec.Command("go", "list", "-e", "-json=ImportPath,Dir,GoFiles,Imports,Module", "./...")
	c.Dir = ".."
	out, err := c.Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	var all []pkg
	for d := json.NewDecoder(bytes.NewReader(out)); ; {
		var p pkg
		if err := d.Decode(&p); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		if len(p.GoFiles) > 0 {
			all = append(all, p)
		}
	}
	if len(all) == 0 {
		t.Fatal("go list found no package")
	}
	return all
}

// parseOrder gives for each name all that it may import.
func parseOrder(text string) (map[string][]string, error) {
	may := map[string][]string{}
	for chain := range strings.SplitSeq(strings.TrimSuffix(strings.TrimSpace(text), ";"), ";") {
		var left []string
		for group := range strings.SplitSeq(chain, "<") {
			var names []string
			for n := range strings.SplitSeq(group, ",") {
				if n = strings.TrimSpace(n); n == "" {
					return nil, fmt.Errorf("import order: a name is missing in %q", strings.TrimSpace(chain))
				}
				names = append(names, n)
				may[n] = append(may[n], left...)
			}
			left = names
		}
	}
	// What stands left of what stands left: as many rounds as there can be steps.
	for range may {
		for n, direct := range may {
			for _, l := range direct {
				may[n] = append(may[n], may[l]...)
			}
			slices.Sort(may[n])
			may[n] = slices.Compact(may[n])
		}
	}
	for n := range may {
		if slices.Contains(may[n], n) {
			return nil, fmt.Errorf("import order: %s stands to the left of itself", n)
		}
	}
	return may, nil
}

// checkImports says what is wrong with the imports of one package.
func checkImports(p pkg, may map[string][]string) (wrong []string) {
	name := p.name()
	allowed, known := may[name]
	if !known {
		return []string{fmt.Sprintf("package %s has no place in the import order: give it one in daemon/deps_test.go, or put its code into a package that has", name)}
	}
	for _, i := range p.Imports {
		own, inModule := strings.CutPrefix(i, p.Module.Path+"/")
		switch {
		case inModule && !slices.Contains(allowed, own):
			wrong = append(wrong, fmt.Sprintf("%s imports %s, which is not to its left in the import order: have %s take what it needs through an interface or a value of its own, and let daemon put the two together", name, own, name))
		case slices.Contains(pure, name) && harmless[i] == "" && slices.ContainsFunc(outside, func(o string) bool { return i == o || strings.HasPrefix(i, o+"/") }):
			wrong = append(wrong, fmt.Sprintf("%s imports %s, but it must not reach outside: have its caller do that and hand in the facts", name, i))
		}
	}
	return wrong
}

// checkClock says where a file reads the wall clock though it must not. It
// also reports whether the file reads it at all.
func checkClock(file string, src any, named bool) (wrong []string, reads bool, err error) {
	set := token.NewFileSet()
	f, err := parser.ParseFile(set, file, src, parser.SkipObjectResolution)
	if err != nil {
		return nil, false, err
	}
	local := ""
	for _, i := range f.Imports {
		if p, _ := strconv.Unquote(i.Path.Value); p == "time" {
			local = "time"
			if i.Name != nil {
				local = i.Name.Name
			}
		}
	}
	folder, _, _ := strings.Cut(file, "/")
	isPure := slices.Contains(pure, path.Dir(file))
	if local == "." {
		return []string{file + ": import time by its name, so that it can be seen where the clock is read"}, false, nil
	}
	ast.Inspect(f, func(n ast.Node) bool {
		s, ok := n.(*ast.SelectorExpr)
		if !ok {
			return true
		}
		x, ok := s.X.(*ast.Ident)
		if !ok || local == "" || x.Name != local {
			return true
		}
		at := fmt.Sprintf("%s:%d", file, set.Position(s.Pos()).Line)
		switch {
		case slices.Contains(clockReaders, s.Sel.Name):
			reads = true
			if isPure || (folder != "cmd" && !named) {
				wrong = append(wrong, fmt.Sprintf("%s: time.%s: take now as an argument (or a func() time.Time in the options of what runs), so that tests can choose the time", at, s.Sel.Name))
			}
		case isPure && slices.Contains(waiters, s.Sel.Name):
			wrong = append(wrong, fmt.Sprintf("%s: time.%s: only the daemon waits; give back when to look again", at, s.Sel.Name))
		}
		return true
	})
	return wrong, reads, nil
}

func TestImportOrder(t *testing.T) {
	may, err := parseOrder(order)
	if err != nil {
		t.Fatal(err)
	}
	found := map[string]bool{}
	for _, p := range packages(t) {
		found[p.name()] = true
		for _, w := range checkImports(p, may) {
			t.Error(w)
		}
	}
	for name := range may {
		if !found[name] {
			t.Errorf("the import order names %s, which is not there: remove the name from daemon/deps_test.go", name)
		}
	}
}

func TestClockIsAnArgument(t *testing.T) {
	used := map[string]bool{}
	for _, p := range packages(t) {
		for _, f := range p.GoFiles {
			rel, err := filepath.Rel(p.Module.Dir, filepath.Join(p.Dir, f))
			if err != nil {
				t.Fatal(err)
			}
			rel = filepath.ToSlash(rel)
			src, err := os.ReadFile(filepath.Join(p.Dir, f))
			if err != nil {
				t.Fatal(err)
			}
			wrong, reads, err := checkClock(rel, src, edges[rel] != "")
			if err != nil {
				t.Fatal(err)
			}
			used[rel] = reads
			for _, w := range wrong {
				t.Error(w)
			}
		}
	}
	for f := range edges {
		if !used[f] {
			t.Errorf("%s is listed as an edge but does not read the clock: remove it from edges in daemon/deps_test.go", f)
		}
	}
}

func TestParseOrder(t *testing.T) {
	for _, c := range []struct{ text, of, want string }{
		{"a < b < c", "c", "a b"},
		{"a < b < c", "a", ""},
		{"a < b, c < d; a < e < d;", "d", "a b c e"},
		{"a < b, c < d; a < e < d;", "c", "a"},
		{"c < d; b < c; a < b", "d", "a b c"},
		{"a < b; b < a", "", "stands to the left of itself"},
		{"a < a", "", "stands to the left of itself"},
		{"a < < b", "", "a name is missing"},
		{"a, < b", "", "a name is missing"},
		{"", "", "a name is missing"},
	} {
		may, err := parseOrder(c.text)
		if c.of == "" {
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("parseOrder(%q) = %v, want an error with %q", c.text, err, c.want)
			}
			continue
		}
		if got := strings.Join(may[c.of], " "); err != nil || got != c.want {
			t.Errorf("parseOrder(%q): %s may import %q, %v; want %q", c.text, c.of, got, err, c.want)
		}
	}
}

// TestRules shows each rule imports that keep it and imports that break it.
func TestRules(t *testing.T) {
	may, err := parseOrder(order)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name, imports string
		wrong         int
	}{
		{"wear", "math fmt time errors strings", 0},
		{"wear", "endshake/schedule", 1},
		{"wear", "os", 1},
		{"schedule", "endshake/wear net/mail", 0},
		{"schedule", "net/url log/slog database/sql os/exec log", 5},
		{"schedule", "sort maps slices osmosis/x netting", 0},
		{"schedule", "endshake/schedule/round", 0},
		{"schedule/round", "math/rand/v2 slices", 0},
		{"schedule/round", "endshake/schedule os", 2},
		{"daemon/chart", "endshake/wear endshake/schedule os", 0},
		{"daemon/chart", "endshake/daemon/web", 1},
		{"daemon/web", "endshake/daemon/chart net/http", 0},
		{"daemon/web", "endshake/db", 1},
		{"daemon/mail", "endshake/daemon/web endshake/daemon/metrics", 2},
		{"daemon/metrics", "endshake/daemon", 1},
		{"daemon/demo", "endshake/wear endshake/schedule", 0},
		{"daemon/reckon", "endshake/wear endshake/schedule", 0},
		{"daemon/reckon", "endshake/daemon/chart os", 2},
		{"daemon/oldbook", "endshake/wear endshake/schedule archive/zip", 0},
		{"daemon/oldbook", "endshake/daemon/trend net/http", 2},
		{"daemon/demo", "endshake/daemon/chart endshake/db", 2},
		{"daemon", "endshake/db endshake/daemon/mail endshake/daemon/demo endshake/wear", 0},
		{"daemon", "endshake/db/dbtest", 1},
		{"cmd/endshake", "endshake/daemon endshake/db/dbtest", 1},
		{"db/dbtest", "endshake/db endshake/schedule testing", 0},
		{"daemon/browsertest", "testing github.com/chromedp/chromedp", 0},
		{"daemon/web", "endshake/daemon/browsertest", 1},
		{"daemon/elsewhere", "fmt", 1},
	} {
		p := pkg{ImportPath: "endshake/" + c.name, Imports: strings.Fields(c.imports)}
		p.Module.Path = "endshake"
		if got := checkImports(p, may); len(got) != c.wrong {
			t.Errorf("%s importing %s: %d faults, want %d: %q", c.name, c.imports, len(got), c.wrong, got)
		}
	}
}

func TestCheckClock(t *testing.T) {
	for _, c := range []struct {
		file, code string
		named      bool
		wrong      int
		reads      bool
	}{
		{"wear/a.go", `import "time"; var d = time.Hour; var t = time.Unix(1, 0)`, false, 0, false},
		{"wear/a.go", `import "time"; var t = time.Now()`, false, 1, true},
		{"wear/a.go", `import "time"; var t = time.Now()`, true, 1, true},
		{"wear/a.go", `import "time"; var f = time.Since`, false, 1, true},
		{"wear/a.go", `import "time"; func f() { time.Sleep(1); <-time.After(1) }`, false, 2, false},
		{"schedule/a.go", `import clock "time"; var t = clock.Now()`, false, 1, true},
		{"schedule/a.go", `import . "time"; var t = Now()`, false, 1, false},
		{"schedule/a.go", `import "example.org/other/time"; var t = time.Now()`, false, 0, false},
		{"schedule/a.go", `type x struct{ Now func() }; func f(time x) { time.Now() }`, false, 0, false},
		{"daemon/a.go", `import "time"; func f() { time.Sleep(1) }`, false, 0, false},
		{"daemon/a.go", `import "time"; func f(t time.Time) { _ = time.Until(t) }`, false, 1, true},
		{"daemon/a.go", `import "time"; func f(t time.Time) { _ = time.Until(t) }`, true, 0, true},
		{"cmd/endshake/a.go", `import "time"; var now = time.Now`, false, 0, true},
	} {
		wrong, reads, err := checkClock(c.file, "package p; "+c.code, c.named)
		if err != nil || len(wrong) != c.wrong || reads != c.reads {
			t.Errorf("%s: %s: %d faults, reads %v, %v; want %d, %v: %q", c.file, c.code, len(wrong), reads, err, c.wrong, c.reads, wrong)
		}
	}
}
