package daemon

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"sync"
	"testing"
	"time"

	"endshake/daemon/demo"
	"endshake/db/dbtest"
	"endshake/schedule"
)

// manyClocks are the clocks of the invented fleet over and over, each with its
// readings and repairs, and its last months of all else.
func manyClocks(today schedule.Date, n int) (schedule.Fleet, []schedule.Entry) {
	invented, log := demo.Fleet(today, 1)
	out := schedule.Fleet{People: invented.People}
	var entries []schedule.Entry
	for turn := 0; len(out.Clocks) < n; turn++ {
		again := "-" + strconv.Itoa(turn)
		for _, s := range invented.Sites {
			s.Slug, s.Name = s.Slug+again, s.Name+" "+strconv.Itoa(turn)
			out.Sites = append(out.Sites, s)
		}
		for _, c := range invented.Clocks[:min(len(invented.Clocks), n-len(out.Clocks))] {
			es := log[c.Slug]
			c.Slug, c.Name, c.Site = c.Slug+again, c.Name+" "+strconv.Itoa(turn), c.Site+again
			out.Clocks = append(out.Clocks, c)
			for i, e := range es {
				kept := slices.Contains([]schedule.EntryKind{schedule.Measured, schedule.Repaired, schedule.Cleaned}, e.Kind)
				if kept && e.Replaces == "" || i >= len(es)-60 && e.Replaces == "" {
					e.ID, e.Key, e.Clock = "", "", c.Slug
					entries = append(entries, e)
				}
			}
		}
	}
	return out, entries
}

// BenchmarkPages asks the running service, with ten thousand clocks on SQLite,
// over eight connections on the loopback for the fleet page, for what its form
// can ask, for the due-list and for bearings, beside the bytes of the fleet page
// from a file. It gives the slowest but one in a hundred in ms, and requests a
// second as a share of those of the file in the same run.
func BenchmarkPages(b *testing.B) {
	base, desk := running(b, 10_000)
	dir := b.TempDir()
	body := fetched(b, base+"/")
	must(b, os.WriteFile(filepath.Join(dir, "fleet.html"), body, 0o600))
	files := httptest.NewServer(http.FileServer(http.Dir(dir)))
	defer files.Close()
	var asks, bearings []string
	for i := range 200 {
		asks = append(asks, fmt.Sprintf("/?page=%d", i+1), fmt.Sprintf("/?order=used&page=%d", i+1), fmt.Sprintf("/?state=late&page=%d", i+1), fmt.Sprintf("/?q=hall+%d", i))
	}
	for _, a := range desk.Snapshot().Clocks[:200] {
		for _, o := range a.Outlooks[:min(1, len(a.Outlooks))] {
			bearings = append(bearings, "/clock/"+a.Clock.Slug+"/bearing/"+o.Bearing.Code)
		}
	}
	floor := 0.0
	for _, x := range []struct {
		name  string
		base  string
		paths []string
	}{
		{"the same bytes from a file", files.URL, []string{"/fleet.html"}},
		{"fleet", base, []string{"/"}},
		{"fleet, as its form can ask", base, asks},
		{"due", base, []string{"/due"}},
		{"due, place by place", base, []string{"/due?order=place"}},
		{"a bearing", base, bearings[:1]},
		{"200 bearings", base, bearings},
	} {
		b.Run(x.name, func(b *testing.B) {
			for _, path := range x.paths[:min(len(x.paths), 20)] {
				fetched(b, x.base+path) // warm
			}
			times, took := askAll(b, x.base, x.paths)
			slices.Sort(times)
			rate := float64(len(times)) / took.Seconds()
			if x.base == files.URL { // the last run of it, which is the longest
				floor = rate
			}
			b.ReportMetric(float64(times[len(times)*99/100].Microseconds())/1000, "p99-ms")
			b.ReportMetric(rate/floor, "of-file")
			b.ReportMetric(0, "ns/op")
		})
	}
	b.Run("fleet, first after an entry", func(b *testing.B) {
		clock := desk.Snapshot().Clocks[7].Clock.Slug
		var times []time.Duration
		for i := range min(b.N, 40) {
			_, err := desk.Log(b.Context(), schedule.Entry{Clock: clock, Kind: schedule.Noted, At: time.Now().UTC(), Note: fmt.Sprint("round ", i, " of ", time.Now()), Source: "page"})
			must(b, err)
			start := time.Now()
			fetched(b, base+"/")
			times = append(times, time.Since(start))
		}
		slices.Sort(times)
		b.ReportMetric(float64(times[len(times)/2].Microseconds())/1000, "median-ms")
		b.ReportMetric(0, "ns/op")
	})
	b.Logf("the fleet page has %d bytes", len(body))
}

// running is the service with n clocks, until the benchmark ends.
func running(b *testing.B, n int) (base string, desk *Desk) {
	ctx, cancel := context.WithCancel(context.Background())
	dir, now := b.TempDir(), time.Now().UTC()
	s := dbtest.Open(b, dir)
	fleet, log := manyClocks(schedule.DateOf(now, time.UTC), n)
	must(b, s.SaveFleet(ctx, "tester", now, fleet, nil))
	for part := range slices.Chunk(log, 100_000) {
		must(b, s.AppendAll(ctx, "tester", now, part))
	}
	// The lesson of the night is not what is measured.
	today := schedule.DateOf(now, time.UTC)
	_, _, err := s.ClaimRun(ctx, "learn", today, "tester", now, time.Minute)
	must(b, err)
	must(b, s.FinishRun(ctx, "learn", today, "tester", now, "left out", nil, nil))
	d, err := New(ctx, Options{Config: Config{Database: dir, Listen: "127.0.0.1:0", Zone: "UTC"}, Version: "bench", Now: time.Now,
		Log: slog.New(slog.DiscardHandler), Everyone: schedule.Actor{Conservator: true}})
	must(b, err)
	done := make(chan error, 1)
	go func() { done <- d.Run(ctx) }()
	b.Cleanup(func() {
		cancel()
		must(b, <-done)
	})
	b.Logf("%d clocks and %d entries", len(fleet.Clocks), len(log))
	return "http://" + d.Addr(), d.desk
}

// fetched gets a page.
func fetched(b *testing.B, address string) []byte {
	b.Helper()
	res, err := http.Get(address)
	if err != nil {
		b.Fatal(err)
	}
	defer res.Body.Close()
	body, err := io.ReadAll(res.Body)
	if err != nil || res.StatusCode != http.StatusOK {
		b.Fatalf("%s answers %d: %v", address, res.StatusCode, err)
	}
	return body
}

// askAll asks b.N times over eight connections.
func askAll(b *testing.B, base string, paths []string) ([]time.Duration, time.Duration) {
	const connections = 8
	per := (b.N + connections - 1) / connections
	all := make([][]time.Duration, connections)
	var wg sync.WaitGroup
	begin := time.Now()
	for c := range connections {
		wg.Go(func() {
			client := &http.Client{Transport: &http.Transport{DisableCompression: true}}
			defer client.CloseIdleConnections()
			var body bytes.Buffer
			for i := range per {
				start := time.Now()
				res, err := client.Get(base + paths[(i*connections+c)%len(paths)])
				if err != nil {
					b.Error(err)
					return
				}
				body.Reset()
				_, err = body.ReadFrom(res.Body)
				_ = res.Body.Close()
				if err != nil || res.StatusCode != http.StatusOK {
					b.Errorf("answers %d: %v", res.StatusCode, err)
					return
				}
				all[c] = append(all[c], time.Since(start))
			}
		})
	}
	wg.Wait()
	return slices.Concat(all...), time.Since(begin)
}
