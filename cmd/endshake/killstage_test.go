package main

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"endshake/daemon"
	"endshake/daemon/login"
	"endshake/db"
	"endshake/db/dbtest"
	"endshake/schedule"
)

const (
	readers  = 3 // of due-lists that are to be written
	letters  = 3 // that are owed already
	replies  = 3
	forms    = 3
	password = "larch mortar 61 plinth"
	newWord  = "cistern yarrow 88 gantry"
	// stageNotice begins the Message-ID of a letter that is owed already.
	stageNotice = "<kill-"
)

// stage is a database with all that a run needs, of which each has a copy.
type stage struct {
	database string
	noon     time.Time // of today: at that time each run begins
	tokens   []string  // with which replies are answered
	cookies  []*http.Cookie
}

// newStage fills a database: a fleet with three who are to have the due-list of
// the month, letters that are owed, passes to answer with, and somebody who is
// logged in.
func newStage(t *testing.T, database string) *stage {
	t.Helper()
	now := time.Now().UTC()
	s := &stage{database: database, noon: now.Truncate(24 * time.Hour).Add(12 * time.Hour)}
	store := dbtest.Open(t, database)
	ctx := t.Context()
	data, err := os.ReadFile(fleetFile)
	if err != nil {
		t.Fatal(err)
	}
	fleet, err := schedule.ParseFleet(data)
	if err != nil {
		t.Fatal(err)
	}
	for i := range readers {
		slug := fmt.Sprintf("reader%d", i)
		day := min(28, schedule.DateOf(now, time.UTC).Add(-1).Day)
		fleet.People = append(fleet.People, schedule.Person{Slug: slug, Name: "A reader", Email: slug + "@example.org", Zone: "UTC", Mail: schedule.Wishes{Day: day}})
		fleet.Clocks[0].Duties = append(fleet.Clocks[0].Duties, schedule.Duty{Person: slug, Role: schedule.Keeper})
	}
	if err := store.SaveFleet(ctx, "test", now, fleet, nil); err != nil {
		t.Fatal(err)
	}
	if _, _, err := store.Begin(ctx, daemon.LettersJob, "test", now.AddDate(0, 0, -40)); err != nil {
		t.Fatal(err)
	}
	var owed []schedule.Notice
	for i := range letters {
		id := fmt.Sprintf("%s%d@example.org>", stageNotice, i)
		raw := "From: desk@example.org\r\nTo: ada@example.org\r\nSubject: Test\r\nMessage-ID: " + id + "\r\n\r\n" +
			strings.Repeat("Wind it before the weight is down.\r\n", 300) // more than one write
		owed = append(owed, schedule.Notice{Key: id, Kind: schedule.DueList, Person: "ada", From: "desk@example.org", To: "ada@example.org",
			MessageID: id, Title: "Test", Raw: []byte(raw)})
	}
	if _, err := store.Owe(ctx, s.noon.Add(-24*time.Hour), owed); err != nil {
		t.Fatal(err)
	}
	for range replies {
		p := schedule.Pass{Token: daemon.NewToken(), Deed: schedule.Answering, Person: "ada", Clock: "moot-hall", Task: schedule.Winding, Subject: "going"}
		s.tokens = append(s.tokens, p.Token)
		if err := store.GivePass(ctx, "test", s.noon.Add(-24*time.Hour), p); err != nil {
			t.Fatal(err)
		}
	}
	hash, err := login.New().Hash(ctx, password)
	if err != nil {
		t.Fatal(err)
	}
	yesterday := s.noon.Add(-24 * time.Hour)
	if err := store.ChangeAccount(ctx, "test", yesterday, "ada", "password set", func(a *schedule.Account) error {
		a.Hash, a.Changed = hash, yesterday
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	if err := store.Close(); err != nil {
		t.Fatal(err)
	}
	s.logIn(t)
	// Nobody may be connected to what is to be copied, and all of it be in one file.
	if err := dbtest.Open(t, database).Close(); err != nil {
		t.Fatal(err)
	}
	return s
}

// logIn logs ada in early in the day, before a job falls due.
func (s *stage) logIn(t *testing.T) {
	t.Helper()
	p, err := start(t.Context(), s.database, s.noon.Add(-9*time.Hour), "")
	if err != nil {
		t.Fatal(err)
	}
	defer p.kill()
	client := &http.Client{Timeout: time.Minute, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	r, err := client.PostForm(p.url+"/login", url.Values{"name": {"ada"}, "password": {password}, "to": {"/due"}})
	if err != nil {
		t.Fatal(err)
	}
	r.Body.Close()
	if to := r.Header.Get("Location"); r.StatusCode != http.StatusSeeOther || to != "/due" {
		t.Fatalf("logging in answers %s, to %q", r.Status, to)
	}
	s.cookies = r.Cookies()
	s.restful(t)
	_ = p.cmd.Process.Signal(syscall.SIGTERM)
	<-p.done
}

// restful waits until the jobs of yesterday, which are caught up with at the first
// start, are done: a run that is cut short stands as begun for good, once the next
// day's has taken its place.
func (s *stage) restful(t *testing.T) {
	t.Helper()
	store := dbtest.Open(t, s.database)
	defer store.Close()
	for range 600 {
		runs, err := store.Runs(t.Context(), 100)
		if err != nil {
			t.Fatal(err)
		}
		if done := slices.DeleteFunc(runs, func(r db.Run) bool { return r.State != db.RunDone }); len(done) >= 3 { // with that of the letters
			return
		}
		time.Sleep(50 * time.Millisecond)
	}
	t.Fatal("the jobs of the day before are not done")
}

// copy makes a database like it, which is gone with the test.
func (s *stage) copy(t *testing.T) string {
	t.Helper()
	if strings.Contains(s.database, "://") {
		return dbtest.PostgresLike(t, s.database)
	}
	dir := t.TempDir()
	path, err := db.FileOf(s.database)
	if err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, filepath.Base(path)), data, 0o600); err != nil {
		t.Fatal(err)
	}
	return dir
}

// visitor is a browser in which ada is logged in.
func (s *stage) visitor() *http.Client {
	jar, _ := cookiejar.New(nil)
	jar.SetCookies(&url.URL{Scheme: "http", Host: "127.0.0.1"}, s.cookies)
	return &http.Client{Jar: jar, Timeout: 10 * time.Second, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
}

var (
	builtOnce sync.Once
	builtAt   string
	builtErr  error
)

// built is the program as it ships, but for the points at which it can be killed,
// built once for the test process.
func built() (string, error) {
	builtOnce.Do(func() {
		dir, err := os.MkdirTemp("", "endshake-kill-")
		if err != nil {
			builtErr = err
			return
		}
		builtAt = filepath.Join(dir, "endshake")
		if out, err := exec.Command("go", "build", "-tags", "failpoint", "-o", builtAt, ".").CombinedOutput(); err != nil {
			builtErr = fmt.Errorf("%w: %s", err, out)
		}
	})
	return builtAt, builtErr
}

// buildWithFailpoints is built, for tests that run it themselves.
func buildWithFailpoints(t *testing.T) string {
	t.Helper()
	at, err := built()
	if err != nil {
		t.Fatal(err)
	}
	return at
}

// removeBuilt removes it at the end of the test process.
func removeBuilt() {
	if builtAt != "" {
		os.RemoveAll(filepath.Dir(builtAt))
	}
}

// process is a running daemon, or one that has died.
type process struct {
	cmd    *exec.Cmd
	url    string // of its pages; empty: it died before it was ready
	said   *lines
	killed bool // by SIGKILL, once done is closed
	done   chan struct{}
}

// lines are what a process says.
type lines struct {
	mu  sync.Mutex
	all strings.Builder
}

func (l *lines) add(s string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.all.WriteString(s + "\n")
}

func (l *lines) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.all.String()
}

var readyAt = regexp.MustCompile(`msg=ready address=(http://[^/ ]+)/`)

// start starts the daemon as at a time, with a point at which it is to die, and
// waits until it is ready or has died.
func start(ctx context.Context, database string, at time.Time, failpoint string, flags ...string) (*process, error) {
	program, err := built()
	if err != nil {
		return nil, err
	}
	p := &process{cmd: exec.CommandContext(ctx, program, append([]string{"serve", "--database=" + database, "--listen=127.0.0.1:0", "--zone=UTC"}, flags...)...),
		said: &lines{}, done: make(chan struct{})}
	p.cmd.Env = append(os.Environ(), "ENDSHAKE_FAILPOINT="+failpoint, "ENDSHAKE_CLOCK="+time.Until(at).String())
	pipe, err := p.cmd.StderrPipe()
	if err != nil {
		return nil, err
	}
	if err := p.cmd.Start(); err != nil {
		return nil, err
	}
	ready := make(chan string, 1)
	go func() {
		in := bufio.NewScanner(pipe)
		for in.Scan() {
			p.said.add(in.Text())
			if m := readyAt.FindStringSubmatch(in.Text()); m != nil {
				ready <- m[1]
			}
		}
		_, _ = io.Copy(io.Discard, pipe)
		_ = p.cmd.Wait()
		w, ok := p.cmd.ProcessState.Sys().(syscall.WaitStatus)
		p.killed = ok && w.Signaled() && w.Signal() == syscall.SIGKILL
		close(p.done)
	}()
	select {
	case p.url = <-ready:
	case <-p.done:
		if !p.killed {
			return nil, fmt.Errorf("the daemon did not get ready: %s", p.said)
		}
	}
	return p, nil
}

// kill kills it and waits for its end.
func (p *process) kill() {
	_ = p.cmd.Process.Kill()
	<-p.done
}
