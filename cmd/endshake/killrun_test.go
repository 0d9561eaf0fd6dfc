package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"net/http"
	"net/mail"
	"net/textproto"
	"net/url"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	sink "endshake/daemon/mail"
	"endshake/db"
	"endshake/schedule"
)

// killRun is one database with a receiving server of its own, and what was
// acknowledged to those who logged, answered and asked.
type killRun struct {
	killPoint
	t        *testing.T
	stage    *stage
	rand     *rand.Rand
	database string
	sink     *sink.Sink
	flags    []string
	inward   string    // socket
	at       time.Time // of the next start
	visitor  *http.Client
	acked    map[string]bool // notes of forms, and tokens of replies
	acted    bool            // act is done
	onAck    func()          // nil: nothing
	what     string          // which hit, for messages
	tally    tally
}

// tally counts what came of runs.
type tally struct{ kills, entries, replies, letters, twice, parked, jobs, audit int }

func (a *tally) add(b tally) {
	a.kills += b.kills
	a.entries += b.entries
	a.replies += b.replies
	a.letters += b.letters
	a.twice += b.twice
	a.parked += b.parked
	a.jobs += b.jobs
	a.audit += b.audit
}

func newKillRun(t *testing.T, s *stage, k killPoint, random *rand.Rand) *killRun {
	t.Helper()
	r := &killRun{killPoint: k, t: t, stage: s, rand: random, database: s.copy(t), sink: sink.NewSink(1000), at: s.noon,
		visitor: s.visitor(), acked: map[string]bool{}, inward: filepath.Join(t.TempDir(), "in")}
	smtp, err := r.sink.Start("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { r.sink.Stop(context.Background()) })
	r.flags = []string{"--smtp=smtp://" + smtp, "--mail-from=desk@example.org", "--base-url=http://127.0.0.1/",
		"--answers=answers@clocks.example.org", "--inward=lmtp+unix:" + r.inward}
	return r
}

func (r *killRun) errorf(format string, args ...any) {
	r.t.Errorf("%s: %s", r.what, fmt.Sprintf(format, args...))
}

// run has the daemon die, as often as is said, and another finish the work. Each
// starts later than the leases of the dead last.
func (r *killRun) run() {
	for i := range max(r.deaths, 1) {
		r.what = fmt.Sprintf("death %d", i+1)
		if !r.die() {
			return
		}
		r.half()
		r.at = r.at.Add(45 * time.Minute)
	}
	for key := range r.acked {
		if strings.HasPrefix(key, "note") {
			r.tally.entries++
		} else {
			r.tally.replies++
		}
	}
	r.finish()
	r.check()
}

// die runs the daemon until it is killed, amid all that people do.
func (r *killRun) die() bool {
	failpoint := ""
	if r.point != "" {
		failpoint = fmt.Sprintf("%s:%d", r.point, r.after+1+r.rand.IntN(r.hits))
		switch {
		case r.fault == "":
		case strings.HasPrefix(r.fault, "sleep"):
			failpoint = r.point + ":1+:" + r.fault
		default:
			failpoint += ":" + r.fault
		}
		r.what += " at " + failpoint
	}
	flags := r.flags
	if !r.sends {
		flags = append(slices.Clone(flags), "--smtp=smtp://127.0.0.1:1")
	}
	p, err := start(context.Background(), r.database, r.at, failpoint, flags...)
	if err != nil {
		r.errorf("%v", err)
		return false
	}
	if r.end != nil {
		if r.end(r, p) {
			r.tally.kills++
		}
		return true
	}
	if r.fault != "" {
		return r.outlives(p)
	}
	r.acts(p)
	select {
	case <-p.done:
	case <-time.After(20 * time.Second):
		p.kill()
		r.errorf("the daemon went on: %s", p.said)
		return false
	}
	if !p.killed {
		r.errorf("the daemon ended otherwise: %s", p.said)
		return false
	}
	r.tally.kills++
	return true
}

// outlives has people act until everything is acknowledged by a daemon that met a
// fault, and then tells it to stop.
func (r *killRun) outlives(p *process) bool {
	defer p.kill()
	for limit := time.Now().Add(2 * time.Minute); len(r.acked) < forms+replies; time.Sleep(10 * time.Millisecond) {
		if r.acts(p); time.Now().After(limit) {
			r.errorf("not everything is acknowledged: %v: %s", r.acked, p.said)
			return false
		}
	}
	_ = p.cmd.Process.Signal(syscall.SIGTERM)
	select {
	case <-p.done:
	case <-time.After(time.Minute):
	}
	if p.killed || !p.cmd.ProcessState.Success() {
		r.errorf("the daemon did not stop in order: %s", p.said)
	}
	return true
}

// onAnswer kills the daemon as soon as one of the answers is there.
func onAnswer(r *killRun, p *process) bool {
	n := 1 + r.rand.IntN(forms+replies)
	r.onAck = func() {
		if n--; n == 0 {
			p.kill()
		}
	}
	r.acts(p)
	r.onAck = nil
	p.kill()
	return p.killed
}

// atAnyTime kills the daemon within a quarter of a second.
func atAnyTime(r *killRun, p *process) bool {
	return r.beside(p, func() {
		time.Sleep(time.Duration(r.rand.IntN(250)) * time.Millisecond)
		p.kill()
	})
}

// whileStopping tells the daemon to stop, and kills it before a second is over,
// unless it has stopped.
func whileStopping(r *killRun, p *process) bool {
	return r.beside(p, func() {
		time.Sleep(time.Duration(r.rand.IntN(100)) * time.Millisecond)
		_ = p.cmd.Process.Signal(syscall.SIGTERM)
		select {
		case <-p.done:
		case <-time.After(time.Duration(r.rand.IntN(1000)) * time.Millisecond / time.Duration(1+r.rand.IntN(20))):
		}
		p.kill()
	})
}

// beside kills the daemon while people act.
func (r *killRun) beside(p *process, kill func()) bool {
	acted := make(chan struct{})
	go func() {
		defer close(acted)
		r.acts(p)
	}()
	kill()
	<-acted
	return p.killed
}

// acts does what was not acknowledged yet: forms, replies, and what else there is.
func (r *killRun) acts(p *process) {
	if p.url == "" {
		return
	}
	for i := range forms {
		note := fmt.Sprintf("note %d", i)
		if !r.acked[note] && r.fill(p, note) {
			r.ack(note)
		}
	}
	for i, token := range r.stage.tokens {
		text := "not done: reason " + strings.Repeat("again ", i) + "of the ladder"
		if !r.acked[token] && handIn(r.inward, token, text) {
			r.ack(token)
		}
	}
	if r.act != nil && !r.acted {
		r.acted = r.act(r, p)
	}
}

func (r *killRun) ack(key string) {
	r.acked[key] = true
	if r.onAck != nil {
		r.onAck()
	}
}

// fill sends the form of a note; true: it is said that it is logged.
func (r *killRun) fill(p *process, note string) bool {
	to := r.post(p, "/clock/moot-hall/log", url.Values{"kind": {"noted"}, "note": {note},
		"at": {r.stage.noon.Add(-2 * time.Hour).Format("2006-01-02T15:04")}, "by": {"ada"}, "key": {note}})
	return strings.HasPrefix(to, "/clock/")
}

// post sends a form, and gives where its answer leads; empty: there is none.
func (r *killRun) post(p *process, path string, form url.Values) string {
	a, err := r.visitor.PostForm(p.url+path, form)
	if err != nil {
		return ""
	}
	defer a.Body.Close()
	_, _ = io.Copy(io.Discard, a.Body)
	return a.Header.Get("Location")
}

// changePassword has ada choose another password, and sees that a cookie of before
// is worth nothing then.
func changePassword(r *killRun, p *process) bool {
	if r.post(p, "/me/password", url.Values{"old": {password}, "password": {newWord}, "twice": {newWord}}) != "/me?done=password" {
		return false
	}
	a, err := r.stage.visitor().Get(p.url + "/me")
	if err != nil {
		return false
	}
	a.Body.Close()
	if a.StatusCode == http.StatusOK {
		r.errorf("a cookie of before the new password still opens pages")
	}
	return true
}

// askForPassword has ada ask for a letter with a link to a new password, which is
// written after the answer.
func askForPassword(r *killRun, p *process) bool {
	if len(r.notices(schedule.NewPassword)) == 0 {
		r.post(p, "/forgot", url.Values{"name": {"ada"}})
	}
	for range 100 {
		if len(r.notices(schedule.NewPassword)) > 0 {
			return true
		}
		select {
		case <-p.done:
			return false
		case <-time.After(20 * time.Millisecond):
		}
	}
	return false
}

// handIn hands a reply in over LMTP; true: it was answered 250.
func handIn(socket, token, text string) bool {
	c, err := net.DialTimeout("unix", socket, 5*time.Second)
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

// finish runs a daemon that nobody kills until all is done.
func (r *killRun) finish() {
	r.what = "at the end"
	p, err := start(context.Background(), r.database, r.at, "", r.flags...)
	if err != nil {
		r.errorf("%v", err)
		return
	}
	defer p.kill()
	store := r.open()
	defer store.Close()
	limit := time.After(20 * time.Second)
	for {
		r.acts(p)
		waits := r.waits(store)
		if waits == "" {
			return
		}
		select {
		case <-limit:
			r.errorf("%s: %s", waits, p.said)
			return
		case <-time.After(10 * time.Millisecond):
		}
	}
}

func (r *killRun) open() *db.Store {
	store, err := db.Open(context.Background(), r.database)
	if err != nil {
		panic(err)
	}
	return store
}

// waits says what is not done yet; empty: nothing.
func (r *killRun) waits(store *db.Store) string {
	ctx := context.Background()
	c, err := store.NoticeCounts(ctx)
	if err != nil || c[schedule.Owed]+c[schedule.Sending] > 0 {
		return fmt.Sprintf("letters wait: %v, %v", c, err)
	}
	if left, err := store.ToSettle(ctx, 1); err != nil || len(left) > 0 {
		return fmt.Sprintf("replies wait, %v", err)
	}
	if len(r.acked) < forms+replies || r.act != nil && !r.acted {
		return fmt.Sprintf("not everything is acknowledged: %v", r.acked)
	}
	if done := r.jobs(store); len(done) < 2 || len(r.notices(schedule.DueList)) < letters+readers {
		return fmt.Sprintf("of the jobs only these are done, or due-lists are missing: %v", done)
	}
	return ""
}

// notices are those of a kind.
func (r *killRun) notices(kind schedule.NoticeKind) (out []schedule.Notice) {
	store := r.open()
	defer store.Close()
	list, err := store.Notices(context.Background(), 1000)
	if err != nil {
		r.errorf("%v", err)
	}
	for _, n := range list {
		if n.Kind == kind {
			out = append(out, n)
		}
	}
	return out
}

// arrived counts by Message-ID what the receiving server took.
func (r *killRun) arrived() map[string]int {
	times := map[string]int{}
	for _, a := range r.sink.Arrivals() {
		m, err := mail.ReadMessage(bytes.NewReader(a.Raw))
		if err != nil {
			r.errorf("%v", err)
			continue
		}
		times[m.Header.Get("Message-ID")]++
	}
	return times
}
