package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/mail"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	sink "endshake/daemon/mail"
	"endshake/db"
	"endshake/schedule"
)

const (
	killSeeds   = 30 // runs for each point
	killLetters = 3  // owed in each run; the seed says at which the process dies
	killLease   = 3 * time.Second
)

// killPoints are the moments of sending at which the process is killed, and how
// many letters may have come twice then: one, where the server may have taken
// it before we could keep that.
var killPoints = map[string]int{
	"K15":      0, // the letter is claimed, nothing is connected
	"K16":      0, // the server is greeted
	"K17 open": 1, // the recipient is taken, and what became of the letter before not kept
	"K17":      0, // both are kept: that, and this one as handed over
	"K18":      0, // in the body, before the final dot
	"K19":      1, // the final dot is sent, and its answer not read
	"K20":      1, // the answer is read, and not kept
	"K21":      0, // it is kept, before QUIT
}

// killRun is one daemon with a folder and a receiving server of its own.
type killRun struct {
	point string
	nth   int
	dir   string
	sink  *sink.Sink
	smtp  string
	ids   []string
}

// TestKilledAtEachPoint kills the daemon with SIGKILL at each point of sending,
// and lets another finish the work. By the ledger of the receiving server no
// letter may be lost, and none may have come twice but where nobody can know.
func TestKilledAtEachPoint(t *testing.T) {
	program := buildWithFailpoints(t)
	seeds := killSeeds
	if testing.Short() {
		seeds = 3
	}
	empty := emptyFleet(t)
	var runs []*killRun
	for point := range killPoints {
		for seed := range seeds {
			nth := 1 + seed%killLetters
			if point == "K15" || point == "K16" || point == "K21" {
				nth = 1 // once a line
			}
			runs = append(runs, newKillRun(t, empty, point, nth, killLetters))
		}
	}
	began := time.Now()
	two(runs, func(r *killRun) { r.die(t, program) })
	time.Sleep(killLease + 100*time.Millisecond) // the claims of the dead run out
	two(runs, func(r *killRun) { r.finish(t, program) })
	twice := map[string]int{}
	for _, r := range runs {
		got := r.ledger(t)
		again := 0
		for _, id := range r.ids {
			switch n := got[id]; {
			case n == 0:
				t.Errorf("%s at letter %d: %s is lost", r.point, r.nth, id)
			case n == 2:
				again++
			case n > 2:
				t.Errorf("%s at letter %d: %s came %d times", r.point, r.nth, id, n)
			}
		}
		if again > killPoints[r.point] {
			t.Errorf("%s at letter %d: %d letters came twice, want %d at most", r.point, r.nth, again, killPoints[r.point])
		}
		twice[r.point] += again
	}
	t.Logf("%d kills in %v; came twice, by point: %v", len(runs), time.Since(began).Round(time.Second), twice)
	// At K20 the server has surely taken it: a test that kills somewhere else shows nothing.
	if twice["K20"] != seeds {
		t.Errorf("%d of %d letters killed at K20 came twice: it is not killed where it should be", twice["K20"], seeds)
	}
}

// TestKilledAgainAndAgain kills the daemon five times in a row after the server
// took the same letter (K22): it comes twice at most, and is then parked.
func TestKilledAgainAndAgain(t *testing.T) {
	program := buildWithFailpoints(t)
	empty := emptyFleet(t)
	var runs []*killRun
	for range 4 {
		runs = append(runs, newKillRun(t, empty, "K20", 1, 1))
	}
	for range 2 {
		two(runs, func(r *killRun) { r.die(t, program) })
		time.Sleep(killLease + 100*time.Millisecond)
	}
	for range 3 { // it is not sent any more, so there is nothing to die of
		two(runs, func(r *killRun) { r.finish(t, program) })
	}
	for _, r := range runs {
		if got := r.ledger(t)[r.ids[0]]; got != 2 {
			t.Errorf("%s came %d times, want twice", r.ids[0], got)
		}
		if n := r.notices(t)[0]; n.State != schedule.Parked || n.Uncertain != 2 {
			t.Errorf("it is %s with %d uncertain, want parked with 2", n.State, n.Uncertain)
		}
	}
}

// TestKilledTwiceBeforeTheDot kills the daemon twice when the same letter is marked
// and its final dot not sent. It is parked though no copy of it came, for nobody can
// know that; so it must be shown to a person, in words that claim neither.
func TestKilledTwiceBeforeTheDot(t *testing.T) {
	program := buildWithFailpoints(t)
	empty := emptyFleet(t)
	runs := []*killRun{newKillRun(t, empty, "K17", 1, 1), newKillRun(t, empty, "K18", 1, 1)}
	for range 2 {
		two(runs, func(r *killRun) { r.die(t, program) })
		time.Sleep(killLease + 100*time.Millisecond)
	}
	two(runs, func(r *killRun) { r.finish(t, program) })
	for _, r := range runs {
		if got := r.ledger(t)[r.ids[0]]; got > 1 {
			t.Errorf("%s: it came %d times, want once at most", r.point, got)
		}
		n := r.notices(t)[0]
		if n.State != schedule.Parked || n.Uncertain != 2 || !strings.HasPrefix(n.Reply, "perhaps ") || !strings.Contains(n.Reply, "ask the reader") {
			t.Errorf("%s: it is %s with %d uncertain: %q; want parked with 2, and words that doubt", r.point, n.State, n.Uncertain, n.Reply)
		}
		store := r.open(t)
		trouble, err := store.Trouble(t.Context(), time.Now().Add(-time.Hour), time.Now()) // what the weekly letter tells
		if err != nil || !slices.ContainsFunc(trouble.Notices, func(m schedule.Notice) bool { return m.ID == n.ID && m.State == schedule.Parked }) {
			t.Errorf("%s: the weekly letter does not tell of it: %+v, %v", r.point, trouble.Notices, err)
		}
		steps, err := store.Steps(t.Context(), n.ID) // what the mail room shows
		if err != nil || len(steps) == 0 || steps[len(steps)-1].What != schedule.StepParked || steps[len(steps)-1].Words != n.Reply {
			t.Errorf("%s: the mail room shows %+v, %v", r.point, steps, err)
		}
		store.Close()
	}
}

// buildWithFailpoints builds the program as it ships, but for the points at which
// it can be killed.
func buildWithFailpoints(t *testing.T) string {
	t.Helper()
	at := filepath.Join(t.TempDir(), "endshake")
	if out, err := exec.Command("go", "build", "-tags", "failpoint", "-o", at, ".").CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	return at
}

// emptyFleet is a database file with the test fleet and nothing owed.
func emptyFleet(t *testing.T) []byte {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "data")
	if status, _, stderr := program(t, "fleet", "load", "--database="+dir, fleetFile); status != 0 {
		t.Fatal(stderr)
	}
	data, err := os.ReadFile(filepath.Join(dir, "endshake.db"))
	if err != nil {
		t.Fatal(err)
	}
	return data
}

func newKillRun(t *testing.T, empty []byte, point string, nth, letters int) *killRun {
	t.Helper()
	r := &killRun{point: point, nth: nth, dir: t.TempDir(), sink: sink.NewSink(100)}
	if err := os.WriteFile(filepath.Join(r.dir, "endshake.db"), empty, 0o600); err != nil {
		t.Fatal(err)
	}
	var err error
	if r.smtp, err = r.sink.Start("127.0.0.1:0"); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { r.sink.Stop(context.Background()) })
	var owed []schedule.Notice
	for i := range letters {
		id := fmt.Sprintf("<kill-%d@example.org>", i)
		r.ids = append(r.ids, id)
		raw := "From: desk@example.org\r\nTo: ada@example.org\r\nSubject: Test\r\nMessage-ID: " + id + "\r\n\r\n" +
			strings.Repeat("Wind it before the weight is down.\r\n", 300) // more than one write
		owed = append(owed, schedule.Notice{Key: id, Kind: schedule.DueList, Person: "ada", From: "desk@example.org", To: "ada@example.org",
			MessageID: id, Title: "Test", Raw: []byte(raw)})
	}
	store := r.open(t)
	defer store.Close()
	if _, err := store.Owe(context.Background(), time.Now(), owed); err != nil {
		t.Fatal(err)
	}
	return r
}

func (r *killRun) open(t *testing.T) *db.Store {
	t.Helper()
	store, err := db.Open(context.Background(), r.dir)
	if err != nil {
		t.Fatal(err)
	}
	return store
}

func (r *killRun) notices(t *testing.T) []schedule.Notice {
	t.Helper()
	store := r.open(t)
	defer store.Close()
	list, err := store.Notices(context.Background(), 100)
	if err != nil {
		t.Fatal(err)
	}
	var own []schedule.Notice
	for _, n := range list {
		if strings.HasPrefix(n.MessageID, "<kill-") {
			own = append(own, n)
		}
	}
	return own
}

func (r *killRun) command(program, failpoint string) *exec.Cmd {
	cmd := exec.Command(program, "serve", "--database="+r.dir, "--listen=127.0.0.1:0", "--smtp=smtp://"+r.smtp,
		"--mail-from=desk@example.org", "--mail-lease="+killLease.String())
	cmd.Env = append(os.Environ(), "ENDSHAKE_FAILPOINT="+failpoint)
	return cmd
}

// die runs the daemon until it is killed at its point.
func (r *killRun) die(t *testing.T, program string) {
	cmd := r.command(program, fmt.Sprintf("%s:%d", r.point, r.nth))
	late := time.AfterFunc(time.Minute, func() { _ = cmd.Process.Signal(syscall.SIGTERM) })
	defer late.Stop()
	out, err := cmd.CombinedOutput()
	var exit *exec.ExitError
	if !errors.As(err, &exit) || exit.Sys().(syscall.WaitStatus).Signal() != syscall.SIGKILL {
		t.Errorf("%s at letter %d: the daemon was not killed: %v\n%s", r.point, r.nth, err, out)
	}
}

// finish runs a daemon that nobody kills until nothing of ours is owed.
func (r *killRun) finish(t *testing.T, program string) {
	cmd := r.command(program, "")
	cmd.Stderr = io.Discard
	if err := cmd.Start(); err != nil {
		t.Error(err)
		return
	}
	defer func() {
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
	}()
	for range 1500 {
		waits := 0
		for _, n := range r.notices(t) {
			if n.State == schedule.Owed || n.State == schedule.Sending {
				waits++
			}
		}
		if waits == 0 {
			return
		}
		time.Sleep(20 * time.Millisecond)
	}
	t.Errorf("%s at letter %d: mail is still owed: %+v", r.point, r.nth, r.notices(t))
}

// ledger counts by Message-ID what the receiving server took.
func (r *killRun) ledger(t *testing.T) map[string]int {
	t.Helper()
	times := map[string]int{}
	for _, a := range r.sink.Arrivals() {
		m, err := mail.ReadMessage(strings.NewReader(string(a.Raw)))
		if err != nil {
			t.Fatal(err)
		}
		times[m.Header.Get("Message-ID")]++
	}
	return times
}

// two does something for each run, two at a time.
func two(runs []*killRun, do func(*killRun)) {
	next := make(chan *killRun)
	var wg sync.WaitGroup
	for range 2 {
		wg.Go(func() {
			for r := range next {
				do(r)
			}
		})
	}
	for _, r := range runs {
		next <- r
	}
	close(next)
	wg.Wait()
}
