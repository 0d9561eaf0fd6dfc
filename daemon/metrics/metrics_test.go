package metrics

import (
	"bytes"
	"context"
	"errors"
	"flag"
	"log/slog"
	"math"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil"
	dto "github.com/prometheus/client_model/go"
	"github.com/prometheus/common/expfmt"
	"github.com/prometheus/common/model"

	"endshake/schedule"
	"endshake/wear"
)

var update = flag.Bool("update", false, "rewrite the golden files")

// fixed is a Source and an Outbox that never changes.
type fixed struct {
	snap  *schedule.Snapshot
	count map[schedule.NoticeState]int
	err   error

	stopped  int
	oldest   time.Time
	stuckErr error

	audit    schedule.AuditCheck // zero: nobody has looked yet
	auditErr error
}

func (f fixed) LastAuditCheck(context.Context) (schedule.AuditCheck, bool, error) {
	return f.audit, !f.audit.At.IsZero(), f.auditErr
}

func (f fixed) MailStuck(context.Context) (int, time.Time, error) {
	return f.stopped, f.oldest, f.stuckErr
}

func (f fixed) Snapshot() *schedule.Snapshot { return f.snap }

func (f fixed) NoticeCounts(context.Context) (map[schedule.NoticeState]int, error) {
	return f.count, f.err
}

func zone(t testing.TB, name string) *time.Location {
	t.Helper()
	z, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return z
}

// noon on 28 March 2026 in London, the day before the clocks go forward.
var noon = time.Date(2026, time.March, 28, 12, 0, 0, 0, time.UTC)

// outlook is a bearing with a level and a limit.
func outlook(used float64) schedule.Outlook {
	return schedule.Outlook{Known: true, Limit: &wear.Limit{}, Used: used}
}

// twoClocks is one clock with everything known and one with nothing known.
func twoClocks(t testing.TB) *schedule.Snapshot {
	day := func(d int) schedule.Date { return schedule.Date{Year: 2026, Month: time.March, Day: d} }
	full := schedule.Assessment{
		Clock:     schedule.Clock{Slug: "corn-hall", Trains: []wear.Train{{Code: "going", Kind: wear.Going}}},
		Zone:      zone(t, "Europe/London"),
		Going:     true,
		LastEntry: noon.Add(-36 * time.Hour),
		Outlooks:  []schedule.Outlook{outlook(0.25), outlook(0.875), {Used: 3}},
		Trains: []schedule.TrainState{
			{Train: wear.Train{Code: "going", Kind: wear.Going}, RunHours: wear.Exposure{Lower: 1, Likely: 1000, Upper: 9999}, Going: true,
				Wind: schedule.WindState{Known: true, Stops: noon.Add(20 * time.Hour)}},
			{Train: wear.Train{Code: "strike", Kind: wear.Strike}, RunHours: wear.Exposure{Likely: 0.5}, Wind: schedule.WindState{Known: true, Past: true, Stops: noon.Add(-time.Hour)}},
			{Train: wear.Train{Code: "chime", Kind: wear.Chime}, RunHours: wear.Exposure{Likely: 0.5}, Wind: schedule.WindState{Known: true, Stops: noon.Add(time.Hour)}}, // silenced
			{Train: wear.Train{Code: "motor", Kind: wear.Strike}, RunHours: wear.Exposure{Likely: 0.5}, Going: true},
		},
		Locks: []schedule.Lock{{Kind: schedule.DoNotRun}},
		Time:  schedule.Timekeeping{Known: true, ErrorKnown: true, Error: -12.5, Rate: -1.25},
		Tasks: []schedule.Task{
			{Kind: schedule.Winding, State: schedule.Late, Due: day(27)},
			{Kind: schedule.Oiling, State: schedule.Ahead, Due: day(31)},
			{Kind: schedule.Oiling, State: schedule.Due, Due: day(30)},
			{Kind: schedule.Oiling, State: schedule.Resting, Due: day(1)},
			{Kind: schedule.Measuring, State: schedule.Ahead},
		},
	}
	bare := schedule.Assessment{Clock: schedule.Clock{Slug: "new-pump"}, Resting: true}
	return &schedule.Snapshot{Now: noon.Add(-90 * time.Second), Clocks: []schedule.Assessment{full, bare}}
}

// ready makes the metrics of a source, registered, without the series of the
// Go runtime and the process, which change from run to run.
func ready(t testing.TB, f fixed) (*Metrics, *prometheus.Registry) {
	t.Helper()
	m := New(Options{Source: f, Outbox: f, Audit: f, Now: func() time.Time { return noon }, Version: "v1.2.3"})
	reg := prometheus.NewPedanticRegistry() // checks each series against its description
	if err := reg.Register(m); err != nil {
		t.Fatal(err)
	}
	return m, reg
}

// body is what a scrape over HTTP gets.
func body(t testing.TB, reg *prometheus.Registry, log *slog.Logger) string {
	t.Helper()
	w := httptest.NewRecorder()
	Handler(reg, log).ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/metrics", nil))
	if w.Code != http.StatusOK {
		t.Fatalf("a scrape answered %d: %s", w.Code, w.Body)
	}
	return w.Body.String()
}

// parse reads a scrape with the parser of the Prometheus project.
func parse(t testing.TB, text string) map[string]*dto.MetricFamily {
	t.Helper()
	p := expfmt.NewTextParser(model.UTF8Validation)
	families, err := p.TextToMetricFamilies(strings.NewReader(text))
	if err != nil {
		t.Fatalf("expfmt cannot read the scrape: %v\n%s", err, text)
	}
	return families
}

// value finds the one series of a family with all the label values given.
func value(families map[string]*dto.MetricFamily, name string, labels ...string) (float64, bool) {
	for _, s := range families[name].GetMetric() {
		has := map[string]bool{}
		for _, l := range s.GetLabel() {
			has[l.GetValue()] = true
		}
		all := true
		for _, l := range labels {
			all = all && has[l]
		}
		if all {
			return s.GetGauge().GetValue() + s.GetCounter().GetValue(), true
		}
	}
	return 0, false
}

func TestSeries(t *testing.T) {
	m, reg := ready(t, fixed{snap: twoClocks(t), count: map[schedule.NoticeState]int{schedule.Owed: 2, schedule.Parked: 1}})
	m.MailTally(3, 2, 1, 0)
	f := parse(t, body(t, reg, slog.New(slog.DiscardHandler)))
	const absent = math.MaxFloat64
	for _, c := range []struct {
		name   string
		labels []string
		want   float64
	}{
		{"endshake_clock_next_due_seconds", []string{"corn-hall", "winding"}, -36 * 3600},
		// 29 March 2026 has 23 hours in London: summer time begins on the last
		// Sunday of March at 01:00 UTC (Directive 2000/84/EC, article 2, which the
		// United Kingdom's Summer Time Order 2002 follows). 12 + 23 hours to go.
		{"endshake_clock_next_due_seconds", []string{"corn-hall", "oiling"}, 35 * 3600},
		{"endshake_clock_next_due_seconds", []string{"corn-hall", "measuring"}, absent},
		{"endshake_clock_next_due_seconds", []string{"new-pump"}, absent},
		{"endshake_clock_limit_used_ratio", []string{"corn-hall"}, 0.875},
		{"endshake_clock_limit_used_ratio", []string{"new-pump"}, absent},
		{"endshake_clock_run_seconds_total", []string{"corn-hall", "going"}, 3.6e6},
		{"endshake_clock_run_seconds_total", []string{"corn-hall", "strike"}, 1800},
		{"endshake_clock_last_entry_age_seconds", []string{"corn-hall"}, 36 * 3600},
		{"endshake_clock_last_entry_age_seconds", []string{"new-pump"}, absent},
		{"endshake_clock_going", []string{"corn-hall"}, 1},
		{"endshake_clock_going", []string{"new-pump"}, 0},
		{"endshake_clock_locked", []string{"corn-hall"}, 1},
		{"endshake_clock_locked", []string{"new-pump"}, 0},
		{"endshake_train_run_left_seconds", []string{"corn-hall", "going"}, 72000},
		{"endshake_train_run_left_seconds", []string{"corn-hall", "strike"}, -3600},
		{"endshake_train_run_left_seconds", []string{"corn-hall", "chime"}, absent},
		{"endshake_train_run_left_seconds", []string{"corn-hall", "motor"}, absent},
		{"endshake_clock_error_seconds", []string{"corn-hall"}, -12.5},
		{"endshake_clock_error_seconds", []string{"new-pump"}, absent},
		{"endshake_clock_rate_seconds_per_day", []string{"corn-hall"}, -1.25},
		{"endshake_clock_rate_seconds_per_day", []string{"new-pump"}, absent},
		{"endshake_clock_tasks", []string{"corn-hall", "ahead"}, 2},
		{"endshake_clock_tasks", []string{"corn-hall", "open"}, 0},
		{"endshake_clock_tasks", []string{"corn-hall", "resting"}, 1},
		{"endshake_clock_tasks", []string{"new-pump", "late"}, 0},
		{"endshake_snapshot_age_seconds", nil, 90},
		{"endshake_notices", []string{"owed"}, 2},
		{"endshake_notices", []string{"sent"}, 0},
		{"endshake_notices", []string{"parked"}, 1},
		{"endshake_mail_results_total", []string{"sent"}, 3},
		{"endshake_mail_results_total", []string{"uncertain"}, 0},
		{"endshake_build_info", []string{"v1.2.3"}, 1},
	} {
		got, ok := value(f, c.name, c.labels...)
		switch {
		case c.want == absent && ok:
			t.Errorf("%s %v = %v, want no such series", c.name, c.labels, got)
		case c.want != absent && (!ok || got != c.want):
			t.Errorf("%s %v = %v (there: %v), want %v", c.name, c.labels, got, ok, c.want)
		}
	}
}

// A clock that goes by its log, and whose hands are past their last logged wind,
// counts as stopped; one whose strike alone is does not.
func TestProbablyStoppedIsNotGoing(t *testing.T) {
	for i, want := range []float64{0, 1} {
		snap := twoClocks(t)
		a := &snap.Clocks[0]
		a.Trains[0].Wind.Past, a.Trains[1].Wind.Past = i == 0, i == 1
		_, reg := ready(t, fixed{snap: snap})
		if got, ok := value(parse(t, body(t, reg, slog.New(slog.DiscardHandler))), "endshake_clock_going", "corn-hall"); !ok || got != want {
			t.Errorf("train %d past its wind: going %v (there: %v), want %v", i, got, ok, want)
		}
	}
}

func TestGolden(t *testing.T) {
	const golden = "testdata/clocks.prom"
	_, reg := ready(t, fixed{snap: twoClocks(t)})
	names := []string{"endshake_clock_next_due_seconds", "endshake_clock_limit_used_ratio", "endshake_clock_run_seconds_total",
		"endshake_clock_last_entry_age_seconds", "endshake_clock_going", "endshake_clock_locked", "endshake_train_run_left_seconds",
		"endshake_clock_error_seconds", "endshake_clock_rate_seconds_per_day", "endshake_clock_tasks", "endshake_snapshot_age_seconds", "endshake_notices"}
	if *update {
		var out bytes.Buffer
		families, err := reg.Gather()
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range families {
			for _, n := range names {
				if f.GetName() == n {
					if _, err := expfmt.MetricFamilyToText(&out, f); err != nil {
						t.Fatal(err)
					}
				}
			}
		}
		if err := os.WriteFile(golden, out.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.Open(golden)
	if err != nil {
		t.Fatal(err)
	}
	defer want.Close()
	if err := testutil.GatherAndCompare(reg, want, names...); err != nil {
		t.Errorf("the scrape differs from %s; if that is meant, run the test with -update: %v", golden, err)
	}
}

func TestJobDone(t *testing.T) {
	m, reg := ready(t, fixed{})
	m.JobDone("due-list", 3*time.Second, noon, nil)
	m.JobDone("due-list", -time.Second, noon.Add(time.Hour), errors.New("no disk"))
	m.JobDone("\xff\n\"", time.Second, noon, errors.New("no disk"))
	text := body(t, reg, slog.New(slog.DiscardHandler))
	f := parse(t, text)
	if got, _ := value(f, "endshake_job_last_done_timestamp_seconds", "due-list"); got != float64(noon.Unix()) {
		t.Errorf("last done = %v, want %v: a failed run must not move it", got, noon.Unix())
	}
	if got, ok := value(f, "endshake_job_last_done_timestamp_seconds", "\uFFFD\n\""); ok {
		t.Errorf("a job that only failed was last done at %v, want no such series", got)
	}
	for result, want := range map[string]float64{"done": 1, "failed": 1} {
		if got, _ := value(f, "endshake_job_runs_total", "due-list", result); got != want {
			t.Errorf("runs with result %s = %v, want %v", result, got, want)
		}
	}
	if want := `endshake_job_duration_seconds_sum{name="due-list"} 3` + "\n"; !strings.Contains(text, want) {
		t.Errorf("the scrape lacks %q: a negative length of a run must count as 0", want)
	}
}

func TestEntryLogged(t *testing.T) {
	m, reg := ready(t, fixed{})
	m.EntryLogged(schedule.Wound)
	m.EntryLogged("made up")
	m.EntryLogged("also made up")
	m.MailTally(1, -5, 0, 0)
	f := parse(t, body(t, reg, slog.New(slog.DiscardHandler)))
	for kind, want := range map[string]float64{"wound": 1, "oiled": 0, "other": 2} {
		if got, ok := value(f, "endshake_entries_logged_total", kind); !ok || got != want {
			t.Errorf("entries of kind %s = %v, want %v", kind, got, want)
		}
	}
	if got := len(f["endshake_entries_logged_total"].GetMetric()); got != len(schedule.EntryKinds)+1 {
		t.Errorf("%d kinds, want %d: unknown ones share the kind other", got, len(schedule.EntryKinds)+1)
	}
}

func TestNoSnapshot(t *testing.T) {
	_, reg := ready(t, fixed{})
	for name := range parse(t, body(t, reg, slog.New(slog.DiscardHandler))) {
		if strings.HasPrefix(name, "endshake_clock_") || strings.HasPrefix(name, "endshake_snapshot_") {
			t.Errorf("%s is there before the first snapshot", name)
		}
	}
	m := New(Options{Source: fixed{}, Now: func() time.Time { return noon }})
	if n := testutil.CollectAndCount(m, "endshake_notices"); n != 0 {
		t.Errorf("%d series about notices without an outbox, want none", n)
	}
}

func TestOutboxFails(t *testing.T) {
	var log bytes.Buffer
	_, reg := ready(t, fixed{snap: twoClocks(t), err: errors.New("database is locked")})
	h := slog.New(slog.NewTextHandler(&log, nil))
	if f := parse(t, body(t, reg, h)); f["endshake_clock_going"] == nil || f["endshake_notices"] != nil {
		t.Error("want the clocks without the notices when the outbox fails")
	}
	if !strings.Contains(log.String(), "database is locked") {
		t.Errorf("the log does not say why: %q", log.String())
	}
	// The second scrape shows the fault of the first.
	f := parse(t, body(t, reg, h))
	if got, _ := value(f, "promhttp_metric_handler_errors_total", "gathering"); got != 1 {
		t.Errorf("promhttp_metric_handler_errors_total = %v after one fault, want 1", got)
	}
}

func TestMailThatIsStuck(t *testing.T) {
	for _, tc := range []struct {
		what    string
		outbox  fixed
		stopped float64
		wait    float64
	}{
		{"nothing waits", fixed{}, 0, 0},
		{"an hour and a half", fixed{stopped: 3, oldest: noon.Add(-90 * time.Minute)}, 3, 5400},
		{"to be tried later", fixed{oldest: noon.Add(time.Hour)}, 0, 0},
	} {
		_, reg := ready(t, tc.outbox)
		f := parse(t, body(t, reg, slog.New(slog.DiscardHandler)))
		for name, want := range map[string]float64{"endshake_mailboxes_stopped": tc.stopped, "endshake_notice_longest_wait_seconds": tc.wait} {
			if got, ok := value(f, name); !ok || got != want {
				t.Errorf("%s: %s = %v, want %v", tc.what, name, got, want)
			}
		}
	}
	var log bytes.Buffer
	_, reg := ready(t, fixed{stuckErr: errors.New("database is locked")})
	f := parse(t, body(t, reg, slog.New(slog.NewTextHandler(&log, nil))))
	if f["endshake_notices"] == nil || f["endshake_mailboxes_stopped"] != nil || !strings.Contains(log.String(), "database is locked") {
		t.Errorf("want the notices without the mailboxes when those cannot be asked, and a word in the log: %q", log.String())
	}
}

func TestAuditSound(t *testing.T) {
	for _, tc := range []struct {
		what string
		f    fixed
		want float64
		ok   bool
	}{
		{"nobody has looked", fixed{}, 0, false},
		{"all fits", fixed{audit: schedule.AuditCheck{At: noon, Rows: 7}}, 1, true},
		{"a row does not", fixed{audit: schedule.AuditCheck{At: noon, Rows: 7, Broken: 8}}, 0, true},
		{"the database is away", fixed{audit: schedule.AuditCheck{At: noon}, auditErr: errors.New("database is locked")}, 0, false},
	} {
		_, reg := ready(t, tc.f)
		if got, ok := value(parse(t, body(t, reg, slog.New(slog.DiscardHandler))), "endshake_audit_sound"); ok != tc.ok || got != tc.want {
			t.Errorf("%s: endshake_audit_sound = %v, %v; want %v, %v", tc.what, got, ok, tc.want, tc.ok)
		}
	}
}

func TestNoPersonalData(t *testing.T) {
	const secret = "Zzyx-Personal"
	s := twoClocks(t)
	s.Fleet.People = []schedule.Person{{Slug: secret, Name: secret, Email: secret + "@example.org"}}
	a := &s.Clocks[0]
	a.Clock.Name, a.Clock.Note, a.Status = secret, secret, secret
	a.Site = schedule.Site{Slug: secret, Name: secret, Place: secret, Access: secret}
	a.Clock.Duties = []schedule.Duty{{Person: secret, Role: schedule.Owner}}
	a.Entries = []schedule.Entry{{By: secret, Note: secret}}
	a.Problems = []string{secret}
	for i := range a.Tasks {
		a.Tasks[i].People = []string{secret}
		a.Tasks[i].About, a.Tasks[i].Subject = secret, secret
	}
	for i := range a.Outlooks {
		o := &a.Outlooks[i]
		o.Sentence, o.Why, o.Confidence, o.Bearing.Name, o.Arbor.Name, o.Arbor.Code = secret, secret, secret, secret, secret, secret
		if o.Limit != nil {
			o.Limit.Source = secret
		}
	}
	_, reg := ready(t, fixed{snap: s})
	if text := body(t, reg, slog.New(slog.DiscardHandler)) + bearingsOf(s); strings.Contains(text, secret) {
		t.Errorf("the scrape tells more than slugs and codes:\n%s", text)
	}
}

func TestLint(t *testing.T) {
	m, reg := ready(t, fixed{snap: twoClocks(t)})
	m.JobDone("due-list", time.Second, noon, nil)
	problems, err := testutil.GatherAndLint(reg)
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range problems {
		t.Errorf("%s: %s", p.Metric, p.Text)
	}
}

// TestPromtool lets the Prometheus project's own tool judge a whole scrape.
func TestPromtool(t *testing.T) {
	promtool := need(t, "promtool", "prometheus")
	m := New(Options{Source: fixed{snap: twoClocks(t)}, Outbox: fixed{}, Now: func() time.Time { return noon }})
	reg := prometheus.NewRegistry()
	if err := m.Register(reg); err != nil {
		t.Fatal(err)
	}
	m.JobDone("due-list", time.Second, noon, nil)
	check := func(text string) (string, error) {
		c := exec.Command(promtool, "check", "metrics")
		c.Stdin = strings.NewReader(text)
		out, err := c.CombinedOutput()
		return string(out), err
	}
	handler := slog.New(slog.DiscardHandler)
	for _, text := range []string{body(t, reg, handler), bearingsOf(twoClocks(t)), bearingsOf(&schedule.Snapshot{Now: noon})} {
		if out, err := check(text); err != nil || out != "" {
			t.Errorf("promtool check metrics: %v\n%s", err, out)
		}
	}
	if out, err := check("# TYPE run_hours counter\nrun_hours 1\n"); err == nil {
		t.Errorf("promtool took a counter without help, unit and _total: %s", out)
	}
	if err := m.Register(reg); err == nil {
		t.Error("registering twice was not refused")
	}
}

// need finds a tool, and skips where it is absent unless ENDSHAKE_CI=1.
func need(t testing.TB, tool, debian string) string {
	t.Helper()
	path, err := exec.LookPath(tool)
	if err == nil {
		return path
	}
	msg := tool + " is missing: apt-get install " + debian
	if os.Getenv("ENDSHAKE_CI") == "1" {
		t.Fatal(msg)
	}
	t.Skip(msg)
	return ""
}

// TestSideBySide is for the race detector: recording while scraping.
func TestSideBySide(t *testing.T) {
	m, reg := ready(t, fixed{snap: twoClocks(t)})
	var wg sync.WaitGroup
	for range 4 {
		wg.Go(func() {
			for range 50 {
				m.JobDone("assess", time.Second, noon, nil)
				m.MailTally(1, 1, 1, 1)
				m.EntryLogged(schedule.Oiled)
				if _, err := reg.Gather(); err != nil {
					t.Error(err)
				}
			}
		})
	}
	wg.Wait()
	f := parse(t, body(t, reg, slog.New(slog.DiscardHandler)))
	if got, _ := value(f, "endshake_mail_results_total", "refused"); got != 200 {
		t.Errorf("200 refusals by four writers counted %v", got)
	}
}
