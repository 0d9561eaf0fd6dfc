package daemon

import (
	"bytes"
	"context"
	"errors"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"endshake/daemon/login"
	"endshake/db"
	"endshake/db/dbtest"
	"endshake/schedule"
)

// until waits for something to be so, and says how long it took. It fails only
// where it never is.
func until(t *testing.T, what string, is func() bool) time.Duration {
	t.Helper()
	began := time.Now()
	for !is() {
		if time.Since(began) > 2*time.Minute {
			t.Fatalf("never: %s", what)
		}
		time.Sleep(5 * time.Millisecond)
	}
	took := time.Since(began)
	t.Logf("%s: after %v", what, took.Round(time.Millisecond))
	return took
}

// lines is a log that many may write to.
type lines struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lines) Write(b []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(b)
}

// of are its lines of a level that hold some words.
func (l *lines) of(words string) (n int) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for line := range strings.Lines(l.b.String()) {
		if strings.Contains(line, words) {
			n++
		}
	}
	return n
}

// A daemon whose database goes away says so, shows what it knows, keeps what is
// typed in, and goes on by itself when it is back.
func TestDatabaseGoesAwayAndComesBack(t *testing.T) {
	for name, spoil := range map[string]func(*dbtest.Proxy){
		"cut off":     func(p *dbtest.Proxy) { p.Refuse(); p.Cut() },
		"swallows it": func(p *dbtest.Proxy) { p.Swallow() },
	} {
		t.Run(name, func(t *testing.T) { goesAway(t, spoil) })
	}
}

func goesAway(t *testing.T, spoil func(*dbtest.Proxy)) {
	proxy := dbtest.NewProxy(t, dbtest.Postgres(t))
	h, smtp := furnish(t, proxy.Address, "2026-11-25 10:00", func(*schedule.Fleet) {}, wound(t, "2024-01-01 09:00", "2026-11-23 09:00")...)
	said := &lines{}
	o := h.options(smtp)
	o.Log = slog.New(slog.NewTextHandler(said, nil))
	h.start(o)
	h.settled(3)
	const form = "/clock/moot-hall/log?kind=noted"
	fields, _ := formOf(t, h.page(form))
	fields.Set("note", "A jackdaw in the louvres.")
	ready := func() bool { code, _ := h.get("/readyz"); return code == http.StatusOK }
	until(t, "ready", ready)
	seen := h.clock()
	h.set("2026-11-25 10:03")
	until(t, "known at 10:03", func() bool { _, _, at := h.pulse.Standing(); return at.After(seen) })

	spoil(proxy)
	until(t, "not ready", func() bool { return !ready() })
	until(t, "known to be away", func() bool { return !h.pulse.answers() })
	h.set("2026-11-25 10:05")
	const words = "The database does not answer: what is shown is as it was known on 25 Nov 2026, 10:03 UTC, and nothing can be logged until it answers again."
	for _, path := range []string{"/", "/due", "/outlook", "/clock/moot-hall", "/clock/moot-hall/bearing/centre-front", "/reckoner", "/help", form} {
		page := h.page(path)
		if n := strings.Count(textOf(page), words); n != 1 || strings.Index(page, words) > strings.Index(page, "<h1") {
			t.Errorf("%s says %d times, or below its heading, that the database does not answer", path, n)
		}
	}
	for _, path := range []string{"/mail", "/audit", "/export?clock=moot-hall"} {
		if code, page := h.get(path); code < 500 && code != http.StatusOK || code == http.StatusInternalServerError || !strings.Contains(textOf(page), words) {
			t.Errorf("%s, which is read from the database, answers %d: %.300s", path, code, textOf(page))
		}
	}
	res, err := h.http.Get("http://" + h.Addr() + "/api/fleet")
	if err != nil {
		t.Fatal(err)
	}
	res.Body.Close()
	if res.StatusCode != http.StatusOK || res.Header.Get("Age") != "120" || res.Header.Get("Endshake-Known") != "2026-11-25T10:03:00Z" {
		t.Errorf("the fleet as JSON: %s, Age %q, known %q", res.Status, res.Header.Get("Age"), res.Header.Get("Endshake-Known"))
	}
	if v, ok := h.metric("endshake_database_answers"); !ok || v != 0 {
		t.Errorf("endshake_database_answers is %v, %v", v, ok)
	}
	if v, ok := h.metric("endshake_known_age_seconds"); !ok || v != 120 {
		t.Errorf("endshake_known_age_seconds is %v, %v", v, ok)
	}
	code, page := h.post(form, fields)
	if kept, _ := formOf(t, page); code != http.StatusServiceUnavailable || !strings.Contains(textOf(page), "nothing was logged: send this form again") ||
		kept.Get("note") != fields.Get("note") || kept.Get("key") != fields.Get("key") {
		t.Errorf("a form: %d, with %q under %q", code, kept.Get("note"), kept.Get("key"))
	}
	if code, page := h.post("/people/invite", url.Values{"name": {"Una Thistlewood"}}); code != http.StatusServiceUnavailable || !strings.Contains(textOf(page), "Nothing was kept or changed. Go back") {
		t.Errorf("another form: %d: %.300s", code, textOf(page))
	}
	if code, page := h.post("/api/clocks/moot-hall/log", nil); code < 400 || !strings.HasPrefix(page, "{") {
		t.Errorf("a program: %d: %.300s", code, page)
	}

	proxy.Carry()
	until(t, "ready again", ready)
	if code, page := h.post(form, fields); code != http.StatusOK {
		t.Errorf("the form once more: %d: %.300s", code, textOf(page))
	}
	until(t, "no page says so", func() bool { return !strings.Contains(textOf(h.page("/")), "does not answer") })
	n := 0
	for _, e := range h.assessment("moot-hall").Entries {
		if e.Note == fields.Get("note") {
			n++
		}
	}
	if n != 1 {
		t.Errorf("it is logged %d times", n)
	}
	h.stop()
	if away, back := said.of("the database does not answer"), said.of("the database answers again"); away != 1 || back != 1 || said.of("level=ERROR") != 1 {
		t.Errorf("the log says %d times that it is away, %d times that it is back:\n%s", away, back, said.b.String())
	}
}

// post sends a form as a browser does, and follows where it leads.
func (h *house) post(path string, fields url.Values) (int, string) {
	h.t.Helper()
	r, err := h.http.PostForm("http://"+h.Addr()+path, fields)
	if err != nil {
		h.t.Fatal(err)
	}
	defer r.Body.Close()
	b, _ := io.ReadAll(r.Body)
	return r.StatusCode, string(b)
}

// A service that is started before its database waits for it, says meanwhile that
// it is not ready, and stops when it is told.
func TestDatabaseAwayAtTheStart(t *testing.T) {
	server := dbtest.OwnServer(t)
	h, smtp := furnish(t, server.Address, "2026-11-25 10:00", func(*schedule.Fleet) {})
	server.Stop()
	free := httptest.NewServer(nil) // for an address that nobody listens on
	addr := free.Listener.Addr().String()
	free.Close()
	o := h.options(smtp)
	o.Listen = addr
	said := &lines{}
	o.Log = slog.New(slog.NewTextHandler(said, nil))
	status := func(path string) int {
		r, err := http.Get("http://" + addr + path)
		if err != nil {
			return 0
		}
		r.Body.Close()
		return r.StatusCode
	}
	run := func(ctx context.Context) <-chan error {
		done := make(chan error, 1)
		go func() {
			d, err := New(ctx, o)
			if err == nil {
				err = d.Run(ctx)
			}
			done <- err
		}()
		until(t, "it lives", func() bool { return status("/healthz") == http.StatusOK })
		return done
	}
	ctx, stop := context.WithCancel(t.Context())
	done := run(ctx)
	for _, path := range []string{"/readyz", "/", "/metrics"} {
		if code := status(path); code != http.StatusServiceUnavailable {
			t.Errorf("%s answers %d while the database is waited for", path, code)
		}
	}
	stop()
	if err := <-done; !errors.Is(err, context.Canceled) {
		t.Errorf("told to stop while it waits: %v", err)
	}
	if status("/healthz") != 0 {
		t.Error("it still answers after it was stopped")
	}

	ctx, stop = context.WithCancel(t.Context())
	done = run(ctx)
	server.Start()
	until(t, "ready once the database is there", func() bool { return status("/readyz") == http.StatusOK })
	stop()
	if err := <-done; err != nil {
		t.Error(err)
	}
	if n := said.of("it is waited for"); n != 2 {
		t.Errorf("of two waits the log tells %d times", n)
	}
	_ = h.sink.Stop(context.Background())
}

// Who was let in lately is let in again while the database is away, with the rights
// that they had, and no longer than that is remembered; nobody else is.
func TestReadersWhileTheDatabaseIsAway(t *testing.T) {
	proxy := dbtest.NewProxy(t, dbtest.Postgres(t))
	h, _ := furnish(t, proxy.Address, "2026-11-25 10:00", func(*schedule.Fleet) {})
	t.Cleanup(func() { _ = h.sink.Stop(context.Background()) })
	d, _ := locked(t, h)
	const word = "larch mortar 61 plinth"
	hash, err := login.New().Hash(t.Context(), word)
	if err != nil {
		t.Fatal(err)
	}
	machine := schedule.Machine{Name: "display", Token: NewToken(), Scopes: []schedule.Scope{schedule.ScopeRead}, Clocks: []string{"moot-hall"}, Ends: h.clock().Add(10 * time.Minute)}
	err = errors.Join(d.store.ChangeAccount(t.Context(), "test", h.clock(), "ned", "let in", func(a *schedule.Account) error { a.Hash, a.Changed = hash, h.clock(); return nil }),
		d.store.GiveMachine(t.Context(), "test", h.clock(), machine))
	if err != nil {
		t.Fatal(err)
	}
	ask := func(method, path string, cookies []*http.Cookie, token, body string) *http.Response {
		r := httptest.NewRequest(method, "http://clocks.example.org"+path, strings.NewReader(body))
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.Header.Set("Sec-Fetch-Site", "same-origin")
		if token != "" {
			r.Header.Set("Authorization", "Bearer "+token)
		}
		for _, c := range cookies {
			r.AddCookie(c)
		}
		w := httptest.NewRecorder()
		d.front.server.Handler.ServeHTTP(w, r)
		return w.Result()
	}
	logIn := func() []*http.Cookie {
		return ask("POST", "/login", nil, "", url.Values{"name": {"ned"}, "password": {word}}.Encode()).Cookies()
	}
	lately, before := logIn(), logIn()
	want := func(when, path string, cookies []*http.Cookie, token string, code int) {
		t.Helper()
		if got := ask("GET", path, cookies, token, ""); got.StatusCode != code {
			b, _ := io.ReadAll(got.Body)
			t.Errorf("%s, %s: %s, want %d: %.200s", when, path, got.Status, code, textOf(string(b)))
		}
	}
	want("before", "/due", lately, "", 200)
	want("before", "/api/fleet", nil, machine.Token, 200)
	proxy.Refuse()
	proxy.Cut()
	want("before it is known", "/due", lately, "", 200)
	d.pulse.look(t.Context())
	h.set("2026-11-25 10:06") // when the use of a session would be noted
	want("away", "/due", lately, "", 200)
	want("away", "/people", lately, "", 403) // as with the database
	want("not seen lately", "/due", before, "", 503)
	want("never seen", "/due", []*http.Cookie{{Name: "__Host-endshake", Value: "forged"}}, "", 503)
	want("nobody", "/due", nil, "", 303)
	want("a program", "/api/fleet", nil, machine.Token, 200)
	want("an unknown program", "/api/fleet", nil, NewToken(), 503)
	if res := ask("POST", "/logout", lately, "", ""); res.StatusCode != 503 {
		t.Errorf("logging out while it is away: %s", res.Status)
	}
	h.set("2026-11-25 10:11")
	want("a program whose time is over", "/api/fleet", nil, machine.Token, 401)
	h.set("2026-11-25 10:16")
	want("longer away than is remembered", "/due", lately, "", 503)
	proxy.Carry()
	d.pulse.look(t.Context())
	want("back", "/due", lately, "", 200)
	want("back", "/due", before, "", 200)
}

// A session that was ended counts as ended while the database is away.
func TestRecall(t *testing.T) {
	now := time.Date(2026, 11, 25, 10, 0, 0, 0, time.UTC)
	p := newPulse(nil, func() time.Time { return now }, slog.New(slog.DiscardHandler), func() {})
	var m recall[string]
	lost := errors.New("lost")
	read := func(v string, err error) (string, error) {
		return asked(t.Context(), p, &m, "k", func(context.Context) (string, error) { return v, err })
	}
	gone := &schedule.Error{Code: schedule.NotFound}
	for i, tt := range []struct {
		away      bool
		reads     string
		err       error
		want      string
		wantError error
	}{
		{false, "one", nil, "one", nil},
		{true, "two", nil, "one", nil}, // it is not asked
		{false, "", context.DeadlineExceeded, "one", nil},
		{false, "", lost, "", lost}, // which is not of the database being away
		{true, "", nil, "one", nil},
		{false, "", gone, "", gone},
		{true, "", nil, "", errAway},
	} {
		p.state.Store(&stood{answers: !tt.away, takes: !tt.away})
		if got, err := read(tt.reads, tt.err); got != tt.want || !errors.Is(err, tt.wantError) {
			t.Errorf("step %d: %q, %v; want %q, %v", i, got, err, tt.want, tt.wantError)
		}
	}
	for i := range 2 * mostRecall {
		now = now.Add(time.Millisecond)
		m.keep(strings.Repeat("x", i+1), "v", now)
	}
	if _, ok := m.find(strings.Repeat("x", 2*mostRecall), now); len(m.of) != mostRecall || !ok {
		t.Errorf("%d are kept, the last of them: %v", len(m.of), ok)
	}
}

// Each change of state is said once, one broken line is none, and asking stops.
func TestPulse(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		said, back := &lines{}, 0
		var answers []error // of each time it is asked; then nil
		p := newPulse(func(ctx context.Context) error {
			if len(answers) == 0 {
				return nil
			}
			err := answers[0]
			answers = answers[1:]
			if err == context.DeadlineExceeded {
				<-ctx.Done()
				return ctx.Err()
			}
			return err
		}, time.Now, slog.New(slog.NewTextHandler(said, nil)), func() { back++ })
		lost := errors.New("lost")
		for i, tt := range []struct {
			answers        []error
			answered, take bool
			away, back     int // lines so far
		}{
			{[]error{lost}, true, true, 0, 0},
			{[]error{lost, lost}, false, false, 1, 0},
			{[]error{lost}, false, false, 1, 0},
			{nil, true, true, 1, 1},
			{[]error{db.ErrReadOnly}, true, false, 2, 1},
			{[]error{db.ErrReadOnly}, true, false, 2, 1},
			{nil, true, true, 2, 2},
			{[]error{context.DeadlineExceeded, context.DeadlineExceeded}, false, false, 3, 2},
		} {
			answers = tt.answers
			began := time.Now()
			p.look(t.Context())
			if a, k, _ := p.Standing(); a != tt.answered || k != tt.take || said.of("level=ERROR") != tt.away || said.of("answers again") != tt.back {
				t.Errorf("step %d: answers %v, takes %v, said\n%s", i, a, k, said.b.String())
			}
			if took := time.Since(began) + pulseEvery; took > 10*time.Second {
				t.Errorf("step %d is known after %v", i, took)
			}
		}
		if back != 3 { // that it can be read again is a reason to look as well
			t.Errorf("told %d times that it is back", back)
		}
		ctx, cancel := context.WithCancel(t.Context())
		ended := make(chan struct{})
		go func() { defer close(ended); p.run(ctx) }()
		time.Sleep(5 * pulseEvery)
		cancel()
		<-ended
	})
}
