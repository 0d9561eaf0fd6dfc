package mail_test

import (
	"context"
	"fmt"
	"log/slog"
	"net"
	"os/exec"
	"strings"
	"testing"
	"time"

	"endshake/daemon/mail"
	"endshake/db"
	"endshake/schedule"
)

const (
	benchLetters = 8000
	benchSize    = 2048 // bytes of a letter
	benchLines   = 4
)

// BenchmarkBesideSMTPSource hands letters from a real outbox on SQLite, every
// mark of it on disk, to Postfix's smtp-sink, and before it has Postfix's
// smtp-source hand as many of the same size, which come from nowhere and are
// kept nowhere, to the same sink over as many kept connections. The ratio of
// the two rates, reported as x-smtp-source, is what the outbox costs.
func BenchmarkBesideSMTPSource(b *testing.B) {
	source, sink := program(b, "smtp-source"), program(b, "smtp-sink")
	addr := startSink(b, sink)
	var theirs, ours time.Duration
	for b.Loop() {
		b.StopTimer()
		store := fullOutbox(b)
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
	store, err := db.Open(context.Background(), b.TempDir())
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { store.Close() })
	if _, _, err := store.Migrate(context.Background()); err != nil {
		b.Fatal(err)
	}
	line := strings.Repeat("x", 70) + "\r\n"
	var owed []schedule.Notice
	for i := range benchLetters {
		id := fmt.Sprintf("<%d@example.org>", i)
		raw := "From: a@example.org\r\nTo: b@example.org\r\nSubject: Bench\r\nMessage-ID: " + id + "\r\n\r\n"
		raw += strings.Repeat(line, (benchSize-len(raw))/len(line)+1)
		owed = append(owed, schedule.Notice{Key: id, Kind: schedule.DueList, Person: "ada", From: "a@example.org", To: "b@example.org",
			MessageID: id, Title: "Bench", Raw: []byte(raw)})
	}
	if _, err := store.Owe(context.Background(), time.Now(), owed); err != nil {
		b.Fatal(err)
	}
	return store
}
