package daemon

import (
	"context"
	"fmt"
	"log/slog"
	"net"
	"os/exec"
	"strings"
	"sync"
	"testing"
	"time"

	"endshake/daemon/mail"
	"endshake/db"
	"endshake/db/dbtest"
	"endshake/schedule"
)

const (
	benchLetters = 8000
	benchSize    = 2048 // bytes of a letter
	benchLines   = 4
)

// BenchmarkBesideSMTPSource hands letters to Postfix's smtp-sink, and before that
// has Postfix's smtp-source hand as many of the same size, which come from
// nowhere and are kept nowhere, to the same sink over as many kept connections.
// The ratio of the two rates is reported as x-smtp-source: from an outbox in
// memory, which is what the sending alone comes to, and from a real one on
// SQLite, every mark of it on the disk before the letter goes on, which is what
// the promise that none is lost or doubled costs.
func BenchmarkBesideSMTPSource(b *testing.B) {
	for _, x := range []struct {
		name   string
		outbox func(b *testing.B) mail.Outbox
	}{
		{"in memory", func(*testing.B) mail.Outbox { return &heap{owed: benchOwed()} }},
		{"on disk", func(b *testing.B) mail.Outbox { return fullOutbox(b) }},
	} {
		b.Run(x.name, func(b *testing.B) { besideSMTPSource(b, x.outbox) })
	}
}

func besideSMTPSource(b *testing.B, outbox func(b *testing.B) mail.Outbox) {
	source, sink := program(b, "smtp-source"), program(b, "smtp-sink")
	addr := startSink(b, sink)
	var theirs, ours time.Duration
	for b.Loop() {
		b.StopTimer()
		store := outbox(b)
		began := time.Now()
		out, err := exec.Command(source, "-d", "-s", fmt.Sprint(benchLines), "-m", fmt.Sprint(benchLetters), "-l", fmt.Sprint(benchSize),
			"-f", "a@example.org", "-t", "b@example.org", addr).CombinedOutput()
		if err != nil {
			b.Fatalf("smtp-source: %v: %s", err, out)
		}
		theirs += time.Since(began)
		server, err := mail.ParseServer("smtp://" + addr)
		if err != nil {
			b.Fatal(err)
		}
		s := mail.Sender{Outbox: store, Server: server, Owner: "bench", Lines: benchLines, Log: slog.New(slog.DiscardHandler)}
		b.StartTimer()
		began = time.Now()
		tally, err := s.Drain(context.Background())
		ours += time.Since(began)
		if err != nil || tally.Sent != benchLetters {
			b.Fatalf("%+v, %v", tally, err)
		}
	}
	b.ReportMetric(theirs.Seconds()/ours.Seconds(), "x-smtp-source")
	b.ReportMetric(float64(b.N*benchLetters)/ours.Seconds(), "letters/s")
	b.ReportMetric(float64(b.N*benchLetters)/theirs.Seconds(), "theirs/s")
}

// heap is an outbox in memory, which forgets what it hands out.
type heap struct {
	mu   sync.Mutex
	owed []schedule.Notice
}

func (h *heap) ClaimNotices(_ context.Context, _ string, _ time.Time, _ time.Duration, n int) ([]schedule.Notice, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	n = min(n, len(h.owed))
	out := h.owed[:n]
	h.owed = h.owed[n:]
	return out, nil
}

func (h *heap) Record(_ context.Context, _ string, marks []schedule.Mark) []error {
	return make([]error, len(marks))
}

// program finds one of Postfix's programs, or leaves the benchmark out loudly.
func program(b *testing.B, name string) string {
	b.Helper()
	for _, at := range []string{name, "/usr/sbin/" + name} {
		if path, err := exec.LookPath(at); err == nil {
			return path
		}
	}
	b.Skipf("LEFT OUT: there is no %s here: install Postfix's test programs (Debian: postfix) to measure beside it", name)
	return ""
}

// startSink runs smtp-sink on a free port until the benchmark ends.
func startSink(b *testing.B, path string) string {
	b.Helper()
	free, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		b.Fatal(err)
	}
	addr := free.Addr().String()
	free.Close()
	args := []string{addr, "200"}
	if exec.Command("id", "-u").Run() == nil {
		if out, _ := exec.Command("id", "-u").Output(); strings.TrimSpace(string(out)) == "0" {
			args = append([]string{"-u", "nobody"}, args...)
		}
	}
	cmd := exec.Command(path, args...)
	if err := cmd.Start(); err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { cmd.Process.Kill(); cmd.Wait() })
	for range 100 {
		if c, err := net.Dial("tcp", addr); err == nil {
			c.Close()
			return addr
		}
		time.Sleep(20 * time.Millisecond)
	}
	b.Fatalf("smtp-sink does not listen on %s", addr)
	return ""
}

// fullOutbox is an outbox on SQLite with letters that are owed.
func fullOutbox(b *testing.B) *db.Store {
	b.Helper()
	store := dbtest.Open(b, b.TempDir())
	if _, err := store.Owe(context.Background(), time.Now(), benchOwed()); err != nil {
		b.Fatal(err)
	}
	return store
}

// benchOwed are the letters.
func benchOwed() []schedule.Notice {
	line := strings.Repeat("x", 70) + "\r\n"
	var owed []schedule.Notice
	for i := range benchLetters {
		id := fmt.Sprintf("<%d@example.org>", i)
		raw := "From: a@example.org\r\nTo: b@example.org\r\nSubject: Bench\r\nMessage-ID: " + id + "\r\n\r\n"
		raw += strings.Repeat(line, (benchSize-len(raw))/len(line)+1)
		owed = append(owed, schedule.Notice{Key: id, Kind: schedule.DueList, Person: "ada", From: "a@example.org", To: "b@example.org",
			MessageID: id, Title: "Bench", Raw: []byte(raw), ID: fmt.Sprintf("letter-%d", i)})
	}
	return owed
}
