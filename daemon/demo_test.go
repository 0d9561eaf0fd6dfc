package daemon

import (
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"endshake/db"
)

func TestDemoOnce(t *testing.T) {
	start := time.Now()
	day := at(t, "2026-11-25 09:00")
	demo, err := NewDemo(context.Background(), DemoOptions{Listen: "127.0.0.1:0", Seed: 1, Version: "test",
		Now: func() time.Time { return day.Add(time.Since(start)) }, Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	var out strings.Builder
	if err := demo.Once(context.Background(), dir, &out); err != nil {
		t.Fatal(err)
	}
	var list struct {
		Today string
		Tasks []map[string]any
	}
	b, err := os.ReadFile(filepath.Join(dir, "due.json"))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(b, &list); err != nil || list.Today != "2026-11-25" || len(list.Tasks) == 0 {
		t.Errorf("due.json: %v, today %q, %d tasks", err, list.Today, len(list.Tasks))
	}
	for _, pattern := range []string{"mail/*.eml", "pages/fleet.html", "pages/clock-*.html", "pages/bearing-*.html", "pages/rounds.html", "pages/report.html", "pages/report-of-*.html", "pages/report-corn-hall.html", "due.txt", "metrics.txt", "bearings.txt"} {
		if got, _ := filepath.Glob(filepath.Join(dir, pattern)); len(got) == 0 {
			t.Errorf("no file %s", pattern)
		}
	}
	if !strings.Contains(out.String(), "12 clocks") {
		t.Errorf("summary %q, want 12 clocks named", out.String())
	}
	// The lesson comes before the mail and the pages, which speak from it.
	for pattern, want := range map[string]string{
		"pages/bearing-town-hall-strike-second-front.html": "learned from ",
		"pages/bearing-town-hall-centre-front.html":        "does not fit the others",
		"pages/bearing-reading-room-bevel-foot.html":       "rate changed after",
		"pages/reckoner.html":                              "The lesson of 25 Nov 2026",
		"mail/*.eml":                                       "Subject: Town Hall: centre arbor, front bush is to be read again",
	} {
		found := false
		names, _ := filepath.Glob(filepath.Join(dir, pattern))
		for _, name := range names {
			b, err := os.ReadFile(name)
			found = found || err == nil && strings.Contains(string(b), want)
		}
		if !found {
			t.Errorf("none of %d files %s says %q", len(names), pattern, want)
		}
	}
}

// Somebody of the invented fleet has a calendar, which is there.
func TestDemoHasACalendar(t *testing.T) {
	d, err := NewDemo(t.Context(), DemoOptions{Listen: "127.0.0.1:0", Seed: 1, Now: func() time.Time { return at(t, "2026-11-25 09:00") }, Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	defer d.life.stop()
	w := httptest.NewRecorder()
	d.front.server.Handler.ServeHTTP(w, httptest.NewRequest("GET", "http://"+d.Addr()+d.Calendar, nil))
	if d.Reader == "" || w.Code != 200 || !strings.Contains(w.Body.String(), "BEGIN:VEVENT") {
		t.Errorf("%s at %s answers %d: %.200s", d.Reader, d.Calendar, w.Code, w.Body)
	}
}

// From process start to ready is what a newcomer waits for; the database alone
// is the baseline.
func BenchmarkDemoReady(b *testing.B) {
	log := slog.New(slog.DiscardHandler)
	b.Run("demo", func(b *testing.B) {
		for range b.N {
			d, err := NewDemo(context.Background(), DemoOptions{Listen: "127.0.0.1:0", Seed: 1, Now: time.Now, Log: log})
			if err != nil {
				b.Fatal(err)
			}
			if err := d.life.stop(); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("empty database", func(b *testing.B) {
		for i := range b.N {
			s, err := db.Open(context.Background(), filepath.Join(b.TempDir(), fmt.Sprint(i)))
			if err != nil {
				b.Fatal(err)
			}
			if _, _, err := s.Migrate(context.Background()); err != nil {
				b.Fatal(err)
			}
			s.Close()
		}
	})
}
