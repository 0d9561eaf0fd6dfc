package main

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"net/http/cookiejar"
	"net/mail"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	sink "endshake/daemon/mail"
	"endshake/db"
	"endshake/schedule"
)

// kills is how often the daemon is killed.
const kills = 20

// TestKilledAtRandomMoments kills the daemon with SIGKILL while entries are
// being logged and mail is going out. Every entry that was acknowledged must
// be there in the end, and no mail may have arrived more than twice.
func TestKilledAtRandomMoments(t *testing.T) {
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
	post := sink.NewSink(10000)
	smtp, err := post.Start("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer post.Stop(context.Background())

	visitor := logInAsAda(t, dir, smtp)
	acked := map[string]bool{}
	owed := 0
	for round := range kills {
		owed += owe(t, store, round, 25)
		p := start(t, dir, smtp)
		stop := make(chan struct{})
		var wg sync.WaitGroup
		wg.Go(func() { logUntil(visitor, p.addr, round, stop, acked) })
		time.Sleep(time.Duration(random.IntN(250)) * time.Millisecond)
		p.kill()
		close(stop)
		wg.Wait()
	}
	// Let the claims of the dead run out, then let one daemon finish the work.
	time.Sleep(mailLease + time.Second)
	p := start(t, dir, smtp)
	settle(t, store)
	p.kill()

	entries, err := store.Entries(context.Background(), "moot-hall")
	if err != nil {
		t.Fatal(err)
	}
	have := map[string]int{}
	for _, e := range entries {
		have[e.Note]++
	}
	for note := range acked {
		if have[note] != 1 {
			t.Errorf("acknowledged entry %q is there %d times, want once", note, have[note])
		}
	}
	times := arrivals(t, post)
	sent, twice, parked := count(t, store, times)
	t.Logf("%d kills: %d entries acknowledged, %d mails owed, %d sent, %d of them arrived twice, %d parked", kills, len(acked), owed, sent, twice, parked)
	if len(acked) == 0 || sent == 0 {
		t.Error("nothing was logged or sent: the test shows nothing")
	}
}

// mailLease is how long the claims of a killed daemon hold in this test.
const mailLease = 2 * time.Second

// owe puts notices into the outbox, as a job would.
func owe(t *testing.T, store *db.Store, round, n int) int {
	t.Helper()
	var notices []schedule.Notice
	for i := range n {
		id := fmt.Sprintf("<round%d-%d@example.org>", round, i)
		notices = append(notices, schedule.Notice{
			Key: id, Kind: schedule.DueList, Person: "ada", From: "desk@example.org", To: "ada@example.org", MessageID: id, Title: "Test",
			Raw: []byte("From: desk@example.org\r\nTo: ada@example.org\r\nSubject: Test\r\nMessage-ID: " + id + "\r\n\r\nWind it.\r\n"),
		})
	}
	if _, err := store.Owe(context.Background(), time.Now(), notices); err != nil {
		t.Fatal(err)
	}
	return n
}

// process is a running daemon.
type process struct {
	cmd  *exec.Cmd
	addr string
}

var readyAt = regexp.MustCompile(`msg=ready address=http://([^/ ]+)/`)

// start starts the daemon as a process of its own and waits until it is ready.
func start(t *testing.T, dir, smtp string) process {
	t.Helper()
	cmd := exec.Command(os.Args[0], "serve", "--database="+dir, "--listen=127.0.0.1:0", "--smtp=smtp://"+smtp,
		"--mail-from=desk@example.org", "--mail-lease="+mailLease.String())
	cmd.Env = append(os.Environ(), "ENDSHAKE_TEST_AS_PROGRAM=1")
	pipe, err := cmd.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	p := process{cmd: cmd}
	t.Cleanup(p.kill)
	var said bytes.Buffer
	lines := bufio.NewScanner(pipe)
	for lines.Scan() {
		fmt.Fprintln(&said, lines.Text())
		if m := readyAt.FindStringSubmatch(lines.Text()); m != nil {
			p.addr = m[1]
			go io.Copy(io.Discard, pipe)
			return p
		}
	}
	t.Fatalf("the daemon did not get ready:\n%s", said.String())
	return p
}

func (p process) kill() {
	_ = p.cmd.Process.Signal(syscall.SIGKILL)
	_ = p.cmd.Wait()
}

// logInAsAda gives ada an account, and a browser in which she is logged in: what
// was let in before a kill is let in after it.
func logInAsAda(t *testing.T, dir, smtp string) *http.Client {
	t.Helper()
	const password = "larch mortar 61 plinth"
	file := filepath.Join(t.TempDir(), "password")
	if err := os.WriteFile(file, []byte(password+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if status, _, stderr := program(t, "account", "set", "ada", "--database="+dir, "--password-file="+file); status != 0 {
		t.Fatal(stderr)
	}
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	client := &http.Client{Jar: jar, Timeout: time.Minute, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	p := start(t, dir, smtp)
	defer p.kill()
	r, err := client.PostForm("http://"+p.addr+"/login", url.Values{"name": {"ada"}, "password": {password}, "to": {"/due"}})
	if err != nil {
		t.Fatal(err)
	}
	r.Body.Close()
	if to := r.Header.Get("Location"); r.StatusCode != http.StatusSeeOther || to != "/due" {
		t.Fatalf("logging in answers %s, to %q", r.Status, to)
	}
	client.Timeout = 5 * time.Second
	return client
}

// logUntil logs notes through the page until told to stop, and keeps those
// that were acknowledged. acked is its own until it returns.
func logUntil(client *http.Client, addr string, round int, stop <-chan struct{}, acked map[string]bool) {
	before := time.Now().Add(-2 * time.Hour).UTC().Format("2006-01-02T15:04") // past in every zone of the test
	for i := 0; ; i++ {
		select {
		case <-stop:
			return
		default:
		}
		note := fmt.Sprintf("note %d of round %d", i, round)
		r, err := client.PostForm("http://"+addr+"/clock/moot-hall/log", url.Values{
			"kind": {"noted"}, "note": {note}, "at": {before}, "by": {"ada"}, "key": {note},
		})
		if err != nil {
			continue
		}
		r.Body.Close()
		if r.StatusCode == http.StatusSeeOther && strings.HasPrefix(r.Header.Get("Location"), "/clock/") {
			acked[note] = true
		}
	}
}

// settle waits until nothing is owed or being sent.
func settle(t *testing.T, store *db.Store) {
	t.Helper()
	for range 1000 {
		c, err := store.NoticeCounts(context.Background())
		if err != nil {
			t.Fatal(err)
		}
		if c[schedule.Owed]+c[schedule.Sending] == 0 {
			return
		}
		time.Sleep(20 * time.Millisecond)
	}
	t.Fatal("mail is still owed after 20 s")
}

// arrivals counts the messages that arrived, by Message-ID.
func arrivals(t *testing.T, post *sink.Sink) map[string]int {
	t.Helper()
	times := map[string]int{}
	for _, a := range post.Arrivals() {
		m, err := mail.ReadMessage(bytes.NewReader(a.Raw))
		if err != nil {
			t.Fatal(err)
		}
		times[m.Header.Get("Message-ID")]++
	}
	return times
}

// count checks each notice against what arrived.
func count(t *testing.T, store *db.Store, times map[string]int) (sent, twice, parked int) {
	t.Helper()
	notices, err := store.Notices(context.Background(), 10000)
	if err != nil {
		t.Fatal(err)
	}
	for _, n := range notices {
		got := times[n.MessageID]
		switch {
		case got > 2:
			t.Errorf("%s arrived %d times, want no more than twice", n.MessageID, got)
		case n.State == schedule.Sent && got == 0:
			t.Errorf("%s is marked sent and never arrived", n.MessageID)
		case n.State != schedule.Sent && n.State != schedule.Parked:
			t.Errorf("%s is %s in the end: %s", n.MessageID, n.State, strings.TrimSpace(n.Reply))
		}
		if n.State == schedule.Sent {
			sent++
		}
		if n.State == schedule.Parked {
			parked++
		}
		if got == 2 {
			twice++
		}
	}
	return sent, twice, parked
}
