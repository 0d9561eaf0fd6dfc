package metrics

import (
	"io"
	"math"
	"net/http"
	"net/http/httptest"
	"os"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// bearingsOf is what a scrape of the bearings of a snapshot gets.
func bearingsOf(s *schedule.Snapshot) string {
	w := httptest.NewRecorder()
	NewBearings(fixed{snap: s}).ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/metrics/bearings", nil))
	return w.Body.String()
}

// threeBearings is a clock with a bearing of which all is known, one that was
// measured once, and one that never was.
func threeBearings(t testing.TB) *schedule.Snapshot {
	going := wear.Train{Code: "going"}
	full := schedule.Outlook{
		Train: going, Bearing: wear.Bearing{Code: "centre-front"}, Known: true, Taught: true, Dated: true,
		Level: wear.Level{Mean: 0.42, SD: 0.02}, Limit: &wear.Limit{Size: 800}, Used: 0.525, PerYear: [3]float64{0.01, 0.03, 0.05},
		Likely:  schedule.Date{Year: 2026, Month: time.October, Day: 1},
		Measure: schedule.Date{Year: 2026, Month: time.March, Day: 29},
	}
	once := schedule.Outlook{Train: going, Bearing: wear.Bearing{Code: "centre-back"}, Known: true, Level: wear.Level{Mean: 0.254},
		PerYear: [3]float64{1, 2, 3}, Measure: schedule.Date{Year: 2027, Month: time.January, Day: 4},
		// Not Dated: this is when it may have been over, and no day to show.
		Likely: schedule.Date{Year: 2025, Month: time.June, Day: 1}}
	never := schedule.Outlook{Train: wear.Train{Code: "strike"}, Bearing: wear.Bearing{Code: "fly-front"}, Limit: &wear.Limit{Size: 794}}
	a := schedule.Assessment{Clock: schedule.Clock{Slug: "corn-hall"}, Zone: zone(t, "Europe/London"), Outlooks: []schedule.Outlook{full, once, never}}
	return &schedule.Snapshot{Now: noon, Clocks: []schedule.Assessment{a}}
}

func TestBearings(t *testing.T) {
	f := parse(t, bearingsOf(threeBearings(t)))
	const absent = math.MaxFloat64
	for _, c := range []struct {
		name             string
		front, back, fly float64
	}{
		{"endshake_bearing_level_meters", 0.00042, 0.000254, absent},
		// 1/32 in, as limits are often given, is 0.79375 mm: 794 µm.
		{"endshake_bearing_limit_meters", 0.0008, absent, 0.000794},
		{"endshake_bearing_limit_used_ratio", 0.525, absent, absent},
		{"endshake_bearing_wear_meters_per_year", 0.00003, absent, absent},
		// Midnight of 1 October 2026 in London, an hour before that of UTC:
		// summer time ends on the last Sunday of October (Directive 2000/84/EC,
		// article 3). 20,727 days after 1 January 1970.
		{"endshake_bearing_limit_reached_timestamp_seconds", 20727*86400 - 3600, absent, absent},
		// 29 March 2026, whose first hour is still winter's: 20,541 days; 4 January 2027: 20,822.
		{"endshake_bearing_measure_by_timestamp_seconds", 20541 * 86400, 20822 * 86400, absent},
	} {
		for bearing, want := range map[string]float64{"centre-front": c.front, "centre-back": c.back, "fly-front": c.fly} {
			got, ok := value(f, c.name, "corn-hall", bearing)
			if ok != (want != absent) || ok && math.Abs(got-want) > 1e-9*want {
				t.Errorf("%s of %s = %v (there: %v), want %v", c.name, bearing, got, ok, want)
			}
		}
	}
	if got, ok := value(f, "endshake_bearings_assessed_timestamp_seconds"); !ok || got != float64(noon.Unix()) {
		t.Errorf("assessed = %v, %v; want %v", got, ok, noon.Unix())
	}
	if _, ok := value(f, "endshake_bearing_level_meters", "corn-hall", "going", "centre-front"); !ok {
		t.Error("the train of a bearing is not among its labels")
	}
	if n := len(f); n != len(bearingFamilies)+1 {
		t.Errorf("%d families, want %d", n, len(bearingFamilies)+1)
	}
}

// A date beyond what anybody plans for is none.
func TestBearingBeyond(t *testing.T) {
	s := threeBearings(t)
	s.Clocks[0].Outlooks[0].Beyond = true
	if v, ok := value(parse(t, bearingsOf(s)), "endshake_bearing_limit_reached_timestamp_seconds", "centre-front"); ok {
		t.Errorf("a bearing that lasts beyond 40 years reaches its limit at %v, want no such series", v)
	}
}

func TestBearingsGolden(t *testing.T) {
	const golden = "testdata/bearings.prom"
	got := bearingsOf(threeBearings(t))
	if *update {
		if err := os.WriteFile(golden, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("the scrape differs from %s; if that is meant, run the test with -update:\n%s", golden, got)
	}
}

// swapped is a source whose snapshot changes.
type swapped struct {
	sync.Mutex
	snap *schedule.Snapshot
}

func (s *swapped) Snapshot() *schedule.Snapshot {
	s.Lock()
	defer s.Unlock()
	return s.snap
}

func (s *swapped) set(snap *schedule.Snapshot) {
	s.Lock()
	defer s.Unlock()
	s.snap = snap
}

// A scrape tells of the newest snapshot, also while others scrape and snapshots
// come; before the first there is nothing.
func TestBearingsFollow(t *testing.T) {
	source := &swapped{}
	b := NewBearings(source)
	if text := b.newest(); len(text) != 0 {
		t.Errorf("before the first snapshot: %q", text)
	}
	level := func() float64 {
		w := httptest.NewRecorder()
		b.ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/metrics/bearings", nil))
		if got := w.Header().Get("Content-Type"); !strings.HasPrefix(got, "text/plain; version=0.0.4") {
			t.Errorf("Content-Type = %q", got)
		}
		v, _ := value(parse(t, w.Body.String()), "endshake_bearing_level_meters", "centre-front")
		return v
	}
	var wg sync.WaitGroup
	for i := 1; i <= 20; i++ {
		s := threeBearings(t)
		s.Clocks[0].Outlooks[0].Level.Mean = float64(i)
		source.set(s)
		for range 3 {
			wg.Go(func() {
				if got := level(); got < float64(i)/1000 {
					t.Errorf("a scrape after snapshot %d has a level of %v", i, got)
				}
			})
		}
	}
	wg.Wait()
	if got := level(); got != 0.02 {
		t.Errorf("the level after the last snapshot is %v, want 0.02", got)
	}
}

// measured is a fleet of n bearings, ten a clock, of which all is known: six
// series each.
func measured(t testing.TB, n int) *schedule.Snapshot {
	full := threeBearings(t).Clocks[0]
	full.Outlooks = full.Outlooks[:1]
	s := &schedule.Snapshot{Now: noon}
	for len(s.Clocks)*10 < n {
		a := full
		a.Clock.Slug = "clock-" + time.Unix(int64(len(s.Clocks)), 0).UTC().Format("150405")
		a.Outlooks = nil
		for i := range min(10, n-len(s.Clocks)*10) {
			o := full.Outlooks[0]
			o.Bearing.Code = "bearing-" + string(rune('a'+i))
			o.Level.Mean += float64(len(s.Clocks)*10+i) / 7919 // as long as real figures are
			o.Used, o.PerYear[1] = o.Level.Mean/0.8, o.Level.Mean/11
			a.Outlooks = append(a.Outlooks, o)
		}
		s.Clocks = append(s.Clocks, a)
	}
	return s
}

// tenThousand is a fleet whose bearings come to 10,000 series.
func tenThousand(t testing.TB) *schedule.Snapshot { return measured(t, 10_000/len(bearingFamilies)+1) }

// nowhere is a client that throws away what it gets.
type nowhere struct {
	head http.Header
	n    int
}

func (w *nowhere) Header() http.Header         { return w.head }
func (w *nowhere) WriteHeader(int)             {}
func (w *nowhere) Write(b []byte) (int, error) { w.n += len(b); return len(b), nil }

// A scrape of 10,000 series takes hardly any memory, so that a large fleet that
// is scraped often makes no work for the garbage collector.
func TestBearingsTakeNoMemory(t *testing.T) {
	b := NewBearings(fixed{snap: tenThousand(t)})
	w, r := &nowhere{head: http.Header{}}, httptest.NewRequest(http.MethodGet, "/metrics/bearings", nil)
	b.ServeHTTP(w, r)
	if lines := strings.Count(string(b.text), "\n"); lines < 10_000 || w.n != len(b.text) {
		t.Fatalf("%d lines, %d bytes of %d", lines, w.n, len(b.text))
	}
	const scrapes = 20
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	for range scrapes {
		b.ServeHTTP(w, r)
	}
	runtime.ReadMemStats(&after)
	each := (after.TotalAlloc - before.TotalAlloc) / scrapes
	t.Logf("%d series, %d bytes: %d bytes of memory a scrape", strings.Count(string(b.text), "\n")-2*(len(bearingFamilies)+1), len(b.text), each)
	if each > 100_000 {
		t.Errorf("a scrape takes %d bytes of memory, want less than 100,000", each)
	}
}

// alternate scrapes two handlers in turn, in one run, and reports how many times
// as long the first takes as the second: over loopback, not compressed.
func alternate(b *testing.B, ours, floor http.Handler) {
	servers := [2]*httptest.Server{httptest.NewServer(ours), httptest.NewServer(floor)}
	var took [2]time.Duration
	fetch := func(i int) {
		r, err := http.NewRequest(http.MethodGet, servers[i].URL, nil)
		if err != nil {
			b.Fatal(err)
		}
		r.Header.Set("Accept-Encoding", "identity")
		began := time.Now()
		resp, err := servers[i].Client().Do(r)
		if err != nil {
			b.Fatal(err)
		}
		if _, err := io.Copy(io.Discard, resp.Body); err != nil || resp.Body.Close() != nil {
			b.Fatal(err)
		}
		took[i] += time.Since(began)
	}
	for i := range servers {
		defer servers[i].Close()
		fetch(i)
	}
	took = [2]time.Duration{}
	for b.Loop() {
		fetch(0)
		fetch(1)
	}
	b.ReportMetric(float64(took[0])/float64(took[1]), "x-same-bytes")
	b.ReportMetric(float64(took[0].Nanoseconds())/float64(b.N), "ns/scrape")
	b.ReportMetric(0, "ns/op")
}

// BenchmarkBearings is one scrape of 10,000 series of bearings beside one of the
// same bytes ready-made: of one snapshot, as it mostly is, and with a snapshot
// that came since the scrape before, where all is written anew.
func BenchmarkBearings(b *testing.B) {
	snap := tenThousand(b)
	text := []byte(bearingsOf(snap))
	floor := http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { _, _ = w.Write(text) })
	b.Run("one snapshot", func(b *testing.B) { alternate(b, NewBearings(fixed{snap: snap}), floor) })
	b.Run("new snapshot", func(b *testing.B) {
		source := &swapped{snap: snap}
		bearings := NewBearings(source)
		alternate(b, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			s := *snap
			source.set(&s)
			bearings.ServeHTTP(w, r)
		}), floor)
	})
}
