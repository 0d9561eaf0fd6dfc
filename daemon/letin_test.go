package daemon

import (
	"bytes"
	"context"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"regexp"
	"strings"
	"testing"
	"time"

	"endshake/schedule"
)

// locked is the service of a house in which people log in, as serve starts it; it
// is not running yet. said is its log.
func locked(t *testing.T, h *house, mend ...func(*Config)) (d *Daemon, said *bytes.Buffer) {
	t.Helper()
	said = &bytes.Buffer{}
	c := Config{Database: h.dir, Listen: "127.0.0.1:0", BaseURL: "https://clocks.example.org/", Zone: "Europe/London"}
	for _, m := range mend {
		m(&c)
	}
	d, err := New(context.Background(), Options{Config: c, Version: "test", Now: h.clock, Log: slog.New(slog.NewTextHandler(said, nil))})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { d.life.stop() })
	return d, said
}

// answer is what the service answers to a request from a peer.
func (d *Daemon) answer(t *testing.T, path, remote, host string, head http.Header) (int, string) {
	t.Helper()
	r := httptest.NewRequest("GET", "http://"+host+path, nil)
	r.RemoteAddr = remote
	for k, v := range head {
		r.Header[k] = v
	}
	w := httptest.NewRecorder()
	d.front.server.Handler.ServeHTTP(w, r)
	return w.Code, w.Body.String()
}

var firstAt = regexp.MustCompile(`address=https://clocks\.example\.org(/first/[a-z2-7]{32})`)

// Whoever starts the service is told what its address and what stands in front of
// it leave open.
func TestWarnedOfTheWayIn(t *testing.T) {
	h := open(t, "2026-11-25 10:00")
	h.stop()
	const one, read = "everybody counts as one", "passwords can be read on their way"
	for _, tt := range []struct {
		listen, base, proxy string
		warns               string
	}{
		{"0.0.0.0:0", "https://clocks.example.org/", "", one}, {"127.0.0.1:0", "https://clocks.example.org/", "", one},
		{"0.0.0.0:0", "https://clocks.example.org/", "172.18.0.0/16", ""}, {"0.0.0.0:0", "http://clocks.example.org/", "", read},
		{"127.0.0.1:0", "http://127.0.0.1/", "", ""},
	} {
		d, said := locked(t, h, func(c *Config) {
			c.Listen, c.BaseURL = tt.listen, tt.base
			if tt.proxy != "" {
				c.TrustedProxies = []string{tt.proxy}
			}
		})
		for _, w := range []string{one, read} {
			if strings.Contains(said.String(), w) != (w == tt.warns) {
				t.Errorf("listening on %s as %s behind %q it says: %s", tt.listen, tt.base, tt.proxy, said)
			}
		}
		if err := d.life.stop(); err != nil {
			t.Error(err)
		}
	}
}

// While nobody runs the fleet, each start says once where to begin, and what the
// one before said leads nowhere any more.
func TestFirstConservatorsLink(t *testing.T) {
	h := open(t, "2026-11-25 10:00")
	h.stop()
	d, said := locked(t, h)
	if code, body := d.answer(t, "/", "127.0.0.1:1", "clocks.example.org", nil); code != 303 || strings.Contains(body, "Moot") {
		t.Errorf("whoever is not known gets %d: %s", code, body)
	}
	links := []string{}
	for range 2 {
		said.Reset()
		if err := d.sayFirst(t.Context()); err != nil {
			t.Fatal(err)
		}
		m := firstAt.FindAllStringSubmatch(said.String(), -1)
		if len(m) != 1 {
			t.Fatalf("the log says %s", said)
		}
		links = append(links, m[0][1])
	}
	for i, want := range []int{410, 200} {
		if code, _ := d.answer(t, links[i], "127.0.0.1:1", "clocks.example.org", nil); code != want {
			t.Errorf("link %d answers %d, want %d", i, code, want)
		}
	}
	if strings.Contains(said.String(), "level=ERROR") {
		t.Error(said)
	}
	h.set("2026-12-02 10:01")
	if code, _ := d.answer(t, links[1], "127.0.0.1:1", "clocks.example.org", nil); code != 410 {
		t.Errorf("after more than seven days it answers %d", code)
	}
	boss := schedule.Account{Person: "ada", Conservator: true, Hash: "x", Made: h.clock(), Changed: h.clock()}
	if err := d.store.ChangeAccount(t.Context(), "test", h.clock(), boss.Person, "let in", func(a *schedule.Account) error { *a = boss; return nil }); err != nil {
		t.Fatal(err)
	}
	said.Reset()
	if err := d.sayFirst(t.Context()); err != nil || said.Len() > 0 {
		t.Errorf("with a conservator: %v, %s", err, said)
	}
}

// What listens at every address is found at one that a browser can open.
func TestNear(t *testing.T) {
	for addr, want := range map[string]string{
		"127.0.0.1:8080": "http://127.0.0.1:8080/", "[::1]:80": "http://[::1]:80/", "192.0.2.7:8080": "http://192.0.2.7:8080/",
		"0.0.0.0:8080": "http://127.0.0.1:8080/", "[::]:8080": "http://127.0.0.1:8080/", "clocks.example:80": "http://clocks.example:80/",
	} {
		if got := near(addr); got != want {
			t.Errorf("%s: %s, want %s", addr, got, want)
		}
	}
}

// scrapes are the addresses of the metrics, with what stands there.
var scrapes = map[string]string{"/metrics": "endshake_clock_", "/metrics/bearings": "endshake_bearing_"}

// The metrics are for programs on this machine that speak for themselves, and for
// those with a token that may read them.
func TestWhoReadsTheMetrics(t *testing.T) {
	h := open(t, "2026-11-25 10:00")
	h.stop()
	d, _ := locked(t, h)
	token := map[schedule.Scope]string{}
	for _, s := range schedule.Scopes {
		token[s] = NewToken()
		m := schedule.Machine{Name: string(s), Token: token[s], Scopes: []schedule.Scope{s}, Ends: h.clock().Add(time.Hour)}
		if err := d.store.GiveMachine(t.Context(), "test", h.clock(), m); err != nil {
			t.Fatal(err)
		}
	}
	one := NewToken()
	if err := d.store.GiveMachine(t.Context(), "test", h.clock(), schedule.Machine{Name: "one", Token: one, Scopes: []schedule.Scope{schedule.ScopeMetrics}, Clocks: []string{"moot-hall"}, Ends: h.clock().Add(time.Hour)}); err != nil {
		t.Fatal(err)
	}
	shows := func(token string) http.Header { return http.Header{"Authorization": {"Bearer " + token}} }
	for _, c := range []struct {
		name, remote, host string
		head               http.Header
		want               int
	}{
		{"this machine", "127.0.0.1:9", "127.0.0.1:8080", nil, 200},
		{"this machine by IPv6", "[::1]:9", "localhost", nil, 200},
		{"a proxy on this machine", "127.0.0.1:9", "clocks.example.org", http.Header{"X-Forwarded-For": {"192.0.2.7"}}, 401},
		{"a proxy that says so otherwise", "127.0.0.1:9", "clocks.example.org", http.Header{"Forwarded": {"for=192.0.2.7"}}, 401},
		{"a proxy that says nothing", "127.0.0.1:9", "clocks.example.org", nil, 401},
		{"another machine", "192.0.2.7:9", "clocks.example.org", nil, 401},
		{"another that claims to be this", "192.0.2.7:9", "clocks.example.org", http.Header{"X-Forwarded-For": {"127.0.0.1"}}, 401},
		{"another name of this machine", "127.0.0.1:9", "evil.example", nil, 421},
		{"no token", "192.0.2.7:9", "endshake:8080", shows(""), 421},
		{"a guess", "192.0.2.7:9", "endshake:8080", shows(NewToken()), 401},
		{"a guess from here", "127.0.0.1:9", "127.0.0.1", shows(NewToken()), 401},
		{"a token to read", "192.0.2.7:9", "endshake:8080", shows(token[schedule.ScopeRead]), 401},
		{"a token to log", "192.0.2.7:9", "endshake:8080", shows(token[schedule.ScopeLog]), 401},
		{"a token for one clock", "192.0.2.7:9", "endshake:8080", shows(one), 401},
		{"a token for the metrics", "192.0.2.7:9", "endshake:8080", shows(token[schedule.ScopeMetrics]), 200},
		{"it through a proxy", "127.0.0.1:9", "clocks.example.org", http.Header{"Authorization": {"bearer " + token[schedule.ScopeMetrics]}, "X-Forwarded-For": {"192.0.2.7"}}, 200},
	} {
		for path, says := range scrapes {
			code, body := d.answer(t, path, c.remote, c.host, c.head)
			if code != c.want || strings.Contains(body, says) != (c.want == 200) {
				t.Errorf("%s: %s: %d, want %d: %.80s", path, c.name, code, c.want, body)
			}
		}
	}
	if err := d.life.stop(); err != nil {
		t.Fatal(err)
	}
	behind, _ := locked(t, h, func(c *Config) { c.TrustedProxies = []string{"127.0.0.1"} })
	for path := range scrapes {
		if code, _ := behind.answer(t, path, "127.0.0.1:9", "127.0.0.1:8080", nil); code != 401 {
			t.Errorf("%s: a proxy that was named and says nothing: %d", path, code)
		}
	}
	for _, path := range []string{"/healthz", "/readyz"} { // a probe knows no name
		if code, _ := behind.answer(t, path, "10.0.0.9:1", "10.0.0.4:8080", nil); code != 200 {
			t.Errorf("%s answers %d", path, code)
		}
	}
	if code, _ := behind.answer(t, "/", "192.0.2.7:9", "evil.example", nil); code != 421 {
		t.Errorf("a page by another name answers %d", code)
	}
	h.set("2026-11-25 11:01")
	for path := range scrapes {
		if code, _ := behind.answer(t, path, "192.0.2.7:9", "endshake:8080", shows(token[schedule.ScopeMetrics])); code != 401 {
			t.Errorf("%s: a token that is over answers %d", path, code)
		}
	}
}
