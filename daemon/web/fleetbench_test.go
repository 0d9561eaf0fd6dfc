package web

import (
	"bytes"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"time"

	"endshake/schedule"
)

// manyClocks is a fleet of many clocks, each assessed on its own, at places of ten and
// looked after by thirty people.
func manyClocks(n int) *schedule.Snapshot {
	f := newFixture()
	hall, log := f.fleet.Clocks[0], f.log
	f.fleet.Clocks, f.log = nil, map[string][]schedule.Entry{}
	for p := range 30 {
		f.fleet.People = append(f.fleet.People, schedule.Person{Slug: fmt.Sprint("keeper-", p), Name: fmt.Sprint("Keeper ", p)})
	}
	for i := range n {
		c := hall
		c.Slug, c.Name = fmt.Sprint("clock-", i), fmt.Sprintf("Clock %d of the vale", i)
		c.Duties = append(slices.Clone(c.Duties), schedule.Duty{Person: fmt.Sprint("keeper-", i%30), Role: schedule.Keeper})
		if i%10 == 0 {
			site := f.fleet.Sites[0]
			site.Slug, site.Name = fmt.Sprint("site-", i/10), fmt.Sprintf("Tower %d", i/10)
			f.fleet.Sites = append(f.fleet.Sites, site)
		}
		c.Site = fmt.Sprint("site-", i/10)
		f.fleet.Clocks = append(f.fleet.Clocks, c)
		entries := log[[]string{"corn-hall", "mill", "bad"}[i%3]]
		for _, e := range entries[max(0, len(entries)-60):] {
			e.Clock = c.Slug
			f.log[c.Slug] = append(f.log[c.Slug], e)
		}
	}
	return f.snapshot()
}

// BenchmarkFleetPage asks over eight connections on the loopback for the fleet
// page of ten thousand clocks, for what its form can ask, for the due-list and a
// bearing's page, beside the bytes of the fleet page from a file. It gives the
// slowest but one in a hundred in ms, and requests a second as a share of those
// of the file in the same run.
func BenchmarkFleetPage(b *testing.B) {
	d := newDesk()
	d.snap = manyClocks(10_000)
	pages := httptest.NewServer(New(Options{Everyone: schedule.Actor{Conservator: true, Person: "edda"}, Desk: d, Mailroom: newPost(),
		Now: func() time.Time { return now }, Log: slog.New(slog.DiscardHandler)}))
	defer pages.Close()
	dir := b.TempDir()
	body := fetched(b, pages.URL+"/")
	if err := os.WriteFile(filepath.Join(dir, "fleet.html"), body, 0o600); err != nil {
		b.Fatal(err)
	}
	files := httptest.NewServer(http.FileServer(http.Dir(dir)))
	defer files.Close()
	var asks []string
	for i := range 200 {
		asks = append(asks, fmt.Sprintf("/?page=%d", i+1), fmt.Sprintf("/?order=used&page=%d", i+1), fmt.Sprintf("/?person=keeper-%d&state=late", i%30), fmt.Sprintf("/?q=clock+%d", i))
	}
	bearing := "/clock/clock-7/bearing/centre-front"
	floor := 0.0
	for _, x := range []struct {
		name  string
		base  string
		paths []string
	}{
		{"the same bytes from a file", files.URL, []string{"/fleet.html"}},
		{"fleet", pages.URL, []string{"/"}},
		{"fleet, as its form can ask", pages.URL, asks},
		{"due", pages.URL, []string{"/due"}},
		{"due, place by place", pages.URL, []string{"/due?order=place"}},
		{"bearing", pages.URL, []string{bearing}},
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
		var times []time.Duration
		for range min(b.N, 40) {
			d.mu.Lock()
			d.snap = d.snap.With("clock-7", d.f.log["mill"], schedule.Model{}, now)
			d.mu.Unlock()
			start := time.Now()
			fetched(b, pages.URL+"/")
			times = append(times, time.Since(start))
		}
		slices.Sort(times)
		b.ReportMetric(float64(times[len(times)/2].Microseconds())/1000, "median-ms")
		b.ReportMetric(0, "ns/op")
	})
	b.Logf("the fleet page has %d bytes", len(body))
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
