// Package deploy_test holds what is shipped beside the program to the program:
// settings, ports, files, metrics and alerts that exist.
package deploy_test

import (
	"debug/elf"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"endshake/daemon"
	"endshake/daemon/metrics"
	"endshake/db/dbtest"
	"endshake/schedule"
)

func TestMain(m *testing.M) { os.Exit(testMain(m)) }

// binDir is where the program is built for the tests.
var binDir string

func testMain(m *testing.M) int {
	var err error
	if binDir, err = os.MkdirTemp("", "endshake-deploy-"); err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	defer os.RemoveAll(binDir)
	return dbtest.Main(m)
}

// read gives a file beside this one.
func read(t *testing.T, name string) string {
	t.Helper()
	b, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// tool finds a program, see dbtest.Need.
func tool(t *testing.T, name, debian string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		dbtest.Need(t, fmt.Sprintf("%s is missing: apt-get install %s", name, debian))
	}
	return path
}

// run runs a program and gives all that it printed.
func run(t *testing.T, name string, args ...string) (string, error) {
	t.Helper()
	out, err := exec.CommandContext(t.Context(), name, args...).CombinedOutput()
	return string(out), err
}

// find gives the first group of every match, each once, sorted.
func find(text, pattern string) []string {
	var all []string
	for _, m := range regexp.MustCompile(pattern).FindAllStringSubmatch(text, -1) {
		all = append(all, m[1])
	}
	slices.Sort(all)
	return slices.Compact(all)
}

// binary builds the program once, in the way of the Dockerfile.
var binary = sync.OnceValues(func() (string, error) {
	file, err := os.ReadFile("Dockerfile")
	if err != nil {
		return "", err
	}
	flags := find(string(file), `(?m)^RUN CGO_ENABLED=0 go build .*-ldflags "([^"]*)"`)
	if len(flags) != 1 {
		return "", fmt.Errorf("the Dockerfile does not build with CGO_ENABLED=0 and -ldflags: %q", flags)
	}
	path := filepath.Join(binDir, "endshake")
	c := exec.Command("go", "build", "-trimpath", "-buildvcs=false", "-ldflags", strings.ReplaceAll(flags[0], "${VERSION}", "v9.8.7"), "-o", path, "../cmd/endshake")
	c.Env = append(os.Environ(), "CGO_ENABLED=0")
	if out, err := c.CombinedOutput(); err != nil {
		return "", fmt.Errorf("%w\n%s", err, out)
	}
	return path, nil
})

// built is the program, built once for all tests.
func built(t *testing.T) string {
	t.Helper()
	path, err := binary()
	if err != nil {
		t.Fatal(err)
	}
	return path
}

// An image made from nothing has no loader: the binary must do without one.
func TestBinaryStandsAlone(t *testing.T) {
	f, err := elf.Open(built(t))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for _, p := range f.Progs {
		if p.Type == elf.PT_INTERP {
			t.Error("the binary asks for a dynamic loader, which an image made from nothing does not have")
		}
	}
	if out, err := run(t, built(t), "version"); err != nil || !strings.Contains(out, "v9.8.7") {
		t.Errorf("endshake version = %q, %v; want the version that the Dockerfile hands in", out, err)
	}
}

// Every setting is in the example file, and what is in the files is a setting.
func TestSettings(t *testing.T) {
	help, err := run(t, built(t), "serve", "--help")
	if err != nil {
		t.Fatal(err)
	}
	settings, flags := find(help, `(ENDSHAKE_[A-Z_]+)`), find(help, `(--[a-z-]+)`)
	if len(settings) < 5 {
		t.Fatalf("the help of serve names few settings: %q", settings)
	}
	example := find(read(t, "endshake.env"), `(?m)^#?(ENDSHAKE_[A-Z_]+)=`)
	if !slices.Equal(example, settings) {
		t.Errorf("endshake.env has %q, endshake serve --help has %q", example, settings)
	}
	compose := read(t, "../docker-compose.yml")
	for _, file := range []string{compose, read(t, "endshake.service"), read(t, "Dockerfile")} {
		for _, s := range find(file, `(?m)(?:^ +|^#?Environment=|^ENV )(ENDSHAKE_[A-Z_]+)[:=]`) {
			if !slices.Contains(settings, s) {
				t.Errorf("%s is set but endshake serve does not know it", s)
			}
		}
	}
	for _, s := range []string{"ENDSHAKE_BASE_URL", "ENDSHAKE_TRUSTED_PROXY"} { // they go together
		if !strings.Contains(compose, "    "+s+": ${"+s+":-") {
			t.Errorf("docker-compose.yml does not pass %s on", s)
		}
	}
	for _, f := range find(strings.Join(find(compose, `command: \["serve", (.*)\]`), " "), `"(--[a-z-]+)"`) {
		if !slices.Contains(flags, f) {
			t.Errorf("docker-compose.yml uses %s, which endshake serve does not know", f)
		}
	}
}

// The example of a fleet can be loaded, and shows what a fleet file can say of
// wheels and of long shafts.
func TestExampleFleet(t *testing.T) {
	fleet, err := schedule.ParseFleet([]byte(read(t, "fleet.example.json")))
	if err != nil {
		t.Fatal(err)
	}
	meshes, shafts := 0, 0
	for _, c := range fleet.Clocks {
		for _, train := range c.Trains {
			meshes += len(train.Meshes)
			for _, m := range train.Meshes {
				b, _, _, _ := c.Bearing(m.Bearing)
				if _, act, stop, source := m.Limits(b.Shake); act <= 0 || stop <= act || source == "" {
					t.Errorf("mesh %s gives no limits: %v, %v, %q", m.Code, act, stop, source)
				}
			}
			for _, a := range train.Arbors {
				for _, b := range a.Bearings {
					if b.Stand > 0 && b.Growth(25) != 0 {
						shafts++
					}
				}
			}
		}
	}
	if meshes == 0 || shafts == 0 {
		t.Errorf("%d meshes and %d long shafts, want one of each at least", meshes, shafts)
	}
}

// names gives every metric of the daemon as it is asked for.
func names(t *testing.T) []string {
	t.Helper()
	m := metrics.New(metrics.Options{Now: time.Now})
	ch := make(chan *prometheus.Desc)
	go func() { m.Describe(ch); close(ch) }()
	var all []string
	for d := range ch {
		for _, n := range find(d.String(), `fqName: "([^"]+)"`) {
			all = append(all, n)
			if strings.HasSuffix(n, "_duration_seconds") { // the histogram
				all = append(all, n+"_bucket", n+"_sum", n+"_count")
			}
		}
	}
	w := httptest.NewRecorder()
	metrics.NewBearings(empty{}).ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/metrics/bearings", nil))
	return append(all, find(w.Body.String(), `(?m)^# HELP (\S+)`)...)
}

// empty is a fleet of nothing.
type empty struct{}

func (empty) Snapshot() *schedule.Snapshot { return &schedule.Snapshot{} }

func TestMetricsExist(t *testing.T) {
	known := names(t)
	jobs := []string{daemon.LettersJob}
	for _, j := range daemon.Jobs {
		jobs = append(jobs, j.Name)
	}
	for _, file := range []string{"prometheus/rules.yml", "prometheus/rules_test.yml", "prometheus/rules_days_test.yml", "grafana/endshake.json"} {
		text := read(t, file)
		used := find(text, `\b(endshake_[a-z_]+)`)
		if len(used) == 0 {
			t.Errorf("%s uses no metric", file)
		}
		for _, n := range used {
			if !slices.Contains(known, n) {
				t.Errorf("%s uses %s, which the daemon does not have", file, n)
			}
		}
		for _, job := range find(text, `name=\\?"([a-z-]+)`) {
			if !slices.Contains(jobs, job) {
				t.Errorf("%s asks for the job %s, which the daemon does not have", file, job)
			}
		}
	}
	for _, job := range jobs {
		if !strings.Contains(read(t, "prometheus/rules.yml"), fmt.Sprintf("name=%q", job)) {
			t.Errorf("no alert is raised when the job %s is missed", job)
		}
	}
}

func TestPrometheusFiles(t *testing.T) {
	promtool := tool(t, "promtool", "prometheus")
	tests := []string{"prometheus/rules_test.yml", "prometheus/rules_days_test.yml"}
	for _, args := range [][]string{
		{"check", "config", "prometheus/prometheus.yml"},
		{"check", "rules", "prometheus/rules.yml"},
		append([]string{"test", "rules"}, tests...),
	} {
		if out, err := run(t, promtool, args...); err != nil {
			t.Errorf("promtool %s: %v\n%s", strings.Join(args, " "), err, out)
		}
	}
	rules, examples := read(t, "prometheus/rules.yml"), read(t, tests[0])+read(t, tests[1])
	for _, a := range find(rules, `alert: (\w+)`) {
		if !regexp.MustCompile(`alertname: ` + a + `\n +eval_time: \w+\n +exp_alerts:`).MatchString(examples) {
			t.Errorf("the alert %s has no example that raises it", a)
		}
	}
	// The examples must notice a changed figure.
	dir := t.TempDir()
	for name, text := range map[string]string{"rules.yml": strings.Replace(rules, "> 0.9", "> 0.93", 1), "rules_test.yml": read(t, tests[0])} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if out, err := run(t, promtool, "test", "rules", filepath.Join(dir, "rules_test.yml")); err == nil {
		t.Errorf("a changed figure in an alert goes unnoticed:\n%s", out)
	}
}
