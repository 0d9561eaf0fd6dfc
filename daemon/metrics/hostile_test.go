package metrics

import (
	"fmt"
	"io"
	"log/slog"
	"math"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"endshake/schedule"
	"endshake/wear"
)

// hostile is a fleet whose text and numbers come from somebody who means harm,
// twice over, so that every series would be there twice.
func hostile(slug, code, kind string, used, hours float64, due int) *schedule.Snapshot {
	train := schedule.TrainState{Train: wear.Train{Code: code}, RunHours: wear.Exposure{Likely: hours},
		Wind: schedule.WindState{Known: true, Past: true, Stops: time.Unix(int64(due), 0)}}
	bearing := outlook(used)
	bearing.Train.Code, bearing.Bearing.Code, bearing.Level.Mean = code, kind, hours
	bearing.Dated, bearing.Taught, bearing.PerYear = true, true, [3]float64{used, hours, 1}
	bearing.Likely, bearing.Measure = schedule.Date{Year: due, Month: time.Month(due), Day: due}, schedule.Date{Year: due, Month: 1, Day: 1}
	a := schedule.Assessment{
		Clock:     schedule.Clock{Slug: slug},
		LastEntry: time.Unix(int64(due), 0),
		Outlooks:  []schedule.Outlook{bearing, bearing},
		Trains:    []schedule.TrainState{train, train},
		Locks:     []schedule.Lock{{Kind: schedule.LockKind(kind), Why: slug}},
		Time:      schedule.Timekeeping{Known: true, ErrorKnown: true, Error: used, Rate: hours},
		Tasks: []schedule.Task{
			{Kind: schedule.TaskKind(kind), State: schedule.TaskState(kind), Due: schedule.Date{Year: due, Month: 1, Day: 1}},
			{Kind: schedule.Oiling, State: schedule.Late, Due: schedule.Date{Year: due, Month: time.Month(due), Day: due}},
		},
	}
	return &schedule.Snapshot{Now: noon, Clocks: []schedule.Assessment{a, a}}
}

// checkHostile scrapes a fleet and holds what must hold whatever is in it.
func checkHostile(t *testing.T, s *schedule.Snapshot) {
	t.Helper()
	_, reg := ready(t, fixed{snap: s})
	if _, err := reg.Gather(); err != nil {
		t.Fatalf("the scrape is not whole: %v", err)
	}
	text := body(t, reg, slog.New(slog.DiscardHandler))
	f := parse(t, text)
	if f["endshake_clock_going"] == nil {
		t.Fatal("the clock is not in the scrape")
	}
	for name, family := range parse(t, bearingsOf(s)) {
		f[name] = family
	}
	if f["endshake_bearing_limit_meters"] == nil {
		t.Fatal("the bearing is not in the scrape")
	}
	for name, family := range f {
		if strings.HasPrefix(name, "endshake_bearing_") && len(family.GetMetric()) > 1 {
			t.Errorf("%s has %d series for one bearing", name, len(family.GetMetric()))
		}
		if strings.HasPrefix(name, "endshake_clock_") && len(family.GetMetric()) > 5 {
			t.Errorf("%s has %d series for one slug", name, len(family.GetMetric()))
		}
		for _, m := range family.GetMetric() {
			v := m.GetGauge().GetValue() + m.GetCounter().GetValue()
			if math.IsNaN(v) || math.IsInf(v, 0) {
				t.Errorf("%s = %v", name, v)
			}
			for _, l := range m.GetLabel() {
				if len(l.GetValue()) > longest {
					t.Errorf("%s: label %s is %d bytes long", name, l.GetName(), len(l.GetValue()))
				}
			}
		}
	}
}

func TestHostile(t *testing.T) {
	inf := math.Inf(1)
	for name, s := range map[string]*schedule.Snapshot{
		"empty":         hostile("", "", "", 0, 0, 0),
		"not UTF-8":     hostile("corn\xff\xfe", "go\xc3", "\xff", 0.5, 1, 2026),
		"line feeds":    hostile("a\"} 1\nendshake_clock_going{clock=\"b", "\n# TYPE x counter\n", "\n", 0.5, 1, 2026),
		"backslashes":   hostile(`\`, `\\n\"`, `\`, 0.5, 1, 2026),
		"NaN":           hostile("a", "b", "c", math.NaN(), math.NaN(), 2026),
		"infinite":      hostile("a", "b", "c", inf, -inf, 2026),
		"negative":      hostile("a", "b", "c", -1, -1, -2026),
		"overflows":     hostile("a", "b", "c", math.MaxFloat64, math.MaxFloat64, math.MaxInt32),
		"endless":       hostile(strings.Repeat("é", 1<<16), strings.Repeat("x", 1<<16), "c", 0, 0, 2026),
		"NUL and emoji": hostile("\x00\U0001F550", "\u202e", "c", 0, 0, 2026),
	} {
		t.Run(name, func(t *testing.T) { checkHostile(t, s) })
	}
}

// Two slugs that are the same once they are made valid must not cost a family.
func TestSlugsThatMeet(t *testing.T) {
	s := hostile("a\xff", "b", "c", 0.5, 1, 2026)
	s.Clocks[1].Clock.Slug = "a\xfe"
	checkHostile(t, s)
}

func TestLabel(t *testing.T) {
	for in, want := range map[string]string{
		"corn-hall":              "corn-hall",
		"":                       "",
		"Rathaus Süd":            "Rathaus Süd",
		"a\xff\xfeb":             "a\uFFFDb",
		strings.Repeat("x", 300): strings.Repeat("x", longest),
		// A cut through a letter must not leave half of it.
		strings.Repeat("x", longest-1) + "é": strings.Repeat("x", longest-1),
		// What is put in for bytes that are no letters counts too.
		strings.Repeat("x\xff", longest): strings.Repeat("x\uFFFD", longest/4),
	} {
		if got := label(in); got != want {
			t.Errorf("label(%q) = %q, want %q", in, got, want)
		}
	}
}

func FuzzScrape(f *testing.F) {
	f.Add("corn-hall", "going", "oiling", 0.5, 1000.0, 2026)
	f.Add("\xff\n\"\\", "", "\x00", math.NaN(), math.Inf(1), -1)
	f.Fuzz(func(t *testing.T, slug, code, kind string, used, hours float64, due int) {
		checkHostile(t, hostile(slug, code, kind, used, hours, due))
	})
}

// many is a fleet of n clocks with three trains each and a task of each kind.
func many(b *testing.B, n int) *schedule.Snapshot {
	one := twoClocks(b).Clocks[0]
	one.Trains = append(one.Trains, schedule.TrainState{Train: wear.Train{Code: "chime"}, RunHours: wear.Exposure{Likely: 77}})
	for _, k := range schedule.TaskKinds {
		one.Tasks = append(one.Tasks, schedule.Task{Kind: k, State: schedule.Open, Due: schedule.Date{Year: 2026, Month: time.May, Day: 3}})
	}
	s := &schedule.Snapshot{Now: noon}
	for i := range n {
		a := one
		a.Clock.Slug = fmt.Sprintf("clock-%05d", i)
		s.Clocks = append(s.Clocks, a)
	}
	return s
}

// scrapeOver times scrapes of a handler over loopback, read to the end and not
// compressed.
func scrapeOver(b *testing.B, h http.Handler) {
	server := httptest.NewServer(h)
	defer server.Close()
	r, err := http.NewRequest(http.MethodGet, server.URL, nil)
	if err != nil {
		b.Fatal(err)
	}
	r.Header.Set("Accept-Encoding", "identity")
	b.ReportAllocs()
	for b.Loop() {
		resp, err := server.Client().Do(r)
		if err != nil {
			b.Fatal(err)
		}
		n, err := io.Copy(io.Discard, resp.Body)
		if err != nil || resp.Body.Close() != nil {
			b.Fatal(err)
		}
		b.SetBytes(n)
	}
}

// BenchmarkScrape is one scrape of 2,000 clocks. Its baseline,
// BenchmarkSameBytes, serves the same bytes ready-made: the ratio of the two is
// what the collector costs.
func BenchmarkScrape(b *testing.B) {
	m := New(Options{Source: fixed{snap: many(b, 2000)}, Now: func() time.Time { return noon }})
	reg := prometheus.NewRegistry()
	if err := m.Register(reg); err != nil {
		b.Fatal(err)
	}
	scrapeOver(b, Handler(reg, slog.New(slog.DiscardHandler)))
}

// BenchmarkSameBytes is the baseline of BenchmarkScrape.
func BenchmarkSameBytes(b *testing.B) {
	_, reg := ready(b, fixed{snap: many(b, 2000)})
	text := []byte(body(b, reg, slog.New(slog.DiscardHandler)))
	scrapeOver(b, http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { _, _ = w.Write(text) }))
}
