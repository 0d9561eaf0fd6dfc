//go:build failpoint

package main

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"net/textproto"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"endshake/daemon"
	"endshake/db"
	"endshake/schedule"
)

// seeds is how often the daemon is killed at each point.
const seeds = 30

// TestKilledTakingIn kills the daemon at three points of taking a message in:
// read and not looked at, stored and not committed, committed and not answered.
// Its mail server tries each again until it is told 250. In the end each message
// is there once, and came to one entry.
func TestKilledTakingIn(t *testing.T) {
	for _, point := range []string{"inward-read", "inward-stored", "inward-committed"} {
		t.Run(point, func(t *testing.T) { killedTakingIn(t, point) })
	}
}

func killedTakingIn(t *testing.T, point string) {
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	random := rand.New(rand.NewPCG(seed, 0))
	dir := filepath.Join(t.TempDir(), "data")
	if status, _, stderr := program(t, "fleet", "load", "--database="+dir, fleetFile); status != 0 {
		t.Fatal(stderr)
	}
	store, err := db.Open(context.Background(), dir)
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	inward := l.Addr().String()
	l.Close()

	type message struct{ token, text string }
	var waiting, sent []message
	kills := 0
	for round := range seeds {
		for i := range 3 {
			m := message{daemon.NewToken(), fmt.Sprintf("not done: reason %c%c of the ladder", 'a'+round/26, 'a'+round%26) + strings.Repeat(" again", i)}
			waiting, sent = append(waiting, m), append(sent, m)
			if err := store.GivePass(context.Background(), "test", time.Now(), schedule.Pass{Token: m.token, Deed: schedule.Answering, Person: "ada",
				Clock: "moot-hall", Task: schedule.Winding, Subject: "going"}); err != nil {
				t.Fatal(err)
			}
		}
		p := startInward(t, dir, inward, fmt.Sprintf("%s:%d", point, 1+random.IntN(3)))
		var again []message
		for _, m := range waiting {
			if !handIn(inward, m.token, m.text) {
				again = append(again, m)
			}
		}
		if len(again) > 0 {
			kills++
		}
		waiting = again
		_ = p.Process.Kill()
		_ = p.Wait()
	}
	p := startInward(t, dir, inward, "")
	defer func() { _ = p.Process.Kill(); _ = p.Wait() }()
	for _, m := range waiting {
		if !handIn(inward, m.token, m.text) {
			t.Fatal("a message is refused when nothing is killed")
		}
	}
	var list []schedule.Inward
	for range 1500 {
		if left, err := store.ToSettle(context.Background(), 1); err == nil && len(left) == 0 {
			break
		}
		time.Sleep(20 * time.Millisecond)
	}
	if list, err = store.Inwards(context.Background(), 10000); err != nil {
		t.Fatal(err)
	}
	times := map[string]int{}
	for _, m := range list {
		times[m.To]++
		if m.State != schedule.Logged {
			t.Errorf("a message is %s: %s", m.State, m.Why)
		}
	}
	log, err := store.Entries(context.Background(), "moot-hall")
	if err != nil {
		t.Fatal(err)
	}
	entries := map[string]int{}
	for _, e := range log {
		if e.Source == "reply" {
			entries[e.Key]++
		}
	}
	for _, m := range sent {
		if n := times["answers+"+m.token+"@clocks.example.org"]; n != 1 {
			t.Errorf("%q is there %d times, want once", m.text, n)
		}
	}
	for key, n := range entries {
		if n != 1 {
			t.Errorf("the entry %s is there %d times", key, n)
		}
	}
	t.Logf("%s: %d rounds, %d of them killed at the point, %d messages, %d kept, %d entries", point, seeds, kills, len(sent), len(list), len(entries))
	if len(entries) != len(sent) || kills < seeds {
		t.Errorf("%d entries of %d messages after %d kills of %d", len(entries), len(sent), kills, seeds)
	}
}

// startInward starts the daemon and waits until it is ready.
func startInward(t *testing.T, dir, inward, failpoint string) *exec.Cmd {
	t.Helper()
	cmd := exec.Command(os.Args[0], "serve", "--database="+dir, "--listen=127.0.0.1:0", "--answers=answers@clocks.example.org", "--inward=lmtp://"+inward)
	cmd.Env = append(os.Environ(), "ENDSHAKE_TEST_AS_PROGRAM=1", "ENDSHAKE_FAILPOINT="+failpoint)
	cmd.SysProcAttr = &syscall.SysProcAttr{}
	pipe, err := cmd.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	var said strings.Builder
	lines := bufio.NewScanner(pipe)
	for lines.Scan() {
		fmt.Fprintln(&said, lines.Text())
		if strings.Contains(lines.Text(), "msg=ready") {
			go io.Copy(io.Discard, pipe)
			return cmd
		}
	}
	_ = cmd.Wait()
	t.Fatalf("the daemon did not get ready:\n%s", said.String())
	return nil
}

// handIn hands a message in over LMTP; true: it was answered 250.
func handIn(addr, token, text string) bool {
	c, err := net.DialTimeout("tcp", addr, 5*time.Second)
	if err != nil {
		return false
	}
	defer c.Close()
	_ = c.SetDeadline(time.Now().Add(20 * time.Second))
	p := textproto.NewConn(c)
	if _, _, err := p.ReadResponse(220); err != nil {
		return false
	}
	for _, s := range []string{"LHLO mx.example.org", "MAIL FROM:<ada@example.org>", "RCPT TO:<answers+" + token + "@clocks.example.org>"} {
		_ = p.PrintfLine("%s", s)
		if _, _, err := p.ReadResponse(2); err != nil {
			return false
		}
	}
	_ = p.PrintfLine("DATA")
	if _, _, err := p.ReadResponse(354); err != nil {
		return false
	}
	_ = p.PrintfLine("From: Ada Wintergarth <ada@example.org>\r\nMessage-ID: <%s@mail.example.org>\r\nSubject: Re: wind\r\n\r\n%s\r\n.", token, text)
	_, _, err = p.ReadResponse(250)
	return err == nil
}
