package web

import (
	"context"
	"io"
	"log/slog"
	"maps"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"net/url"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"endshake/daemon/login"
	"endshake/schedule"
)

// book is all of Logins in memory, as the store keeps it.
type book struct {
	mu       sync.Mutex
	links    *passes
	accounts map[string]schedule.Account
	sessions map[string][]byte
	audit    []string
	letters  []LinkLetter
	now      func() time.Time
	tokens   int
	before   func() // called before an account is changed
}

func (b *book) Account(_ context.Context, person string) (schedule.Account, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	a, ok := b.accounts[person]
	if !ok {
		return a, &schedule.Error{Code: schedule.NotFound, Message: "no account"}
	}
	return a, nil
}

func (b *book) Accounts(context.Context) ([]schedule.Account, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return slices.SortedFunc(maps.Values(b.accounts), func(x, y schedule.Account) int { return strings.Compare(x.Person, y.Person) }), nil
}

func (b *book) runs() (n int) {
	for _, a := range b.accounts {
		if a.Conservator && a.Open() {
			n++
		}
	}
	return n
}

func (b *book) ChangeAccount(_ context.Context, actor string, now time.Time, person, what string, change func(*schedule.Account) error) error {
	if b.before != nil { // what befalls it while the request is under way
		b.before()
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	was, had := b.accounts[person], b.runs()
	a := was
	if a.Person == "" {
		a = schedule.Account{Person: person, Made: now}
	}
	if err := change(&a); err != nil {
		return err
	}
	b.accounts[a.Person] = a
	if had > 0 && b.runs() == 0 {
		b.accounts[a.Person] = was
		return &schedule.Error{Code: schedule.Conflict, Message: a.Person + " is the last conservator who can log in: let another in first"}
	}
	b.audit = append(b.audit, actor+": "+what+" "+a.Person)
	return nil
}

func (b *book) TakeCode(_ context.Context, person string, step int64) (bool, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	a := b.accounts[person]
	if a.LastCode >= step {
		return false, nil
	}
	a.LastCode = step
	b.accounts[person] = a
	return true, nil
}

func (b *book) GivePass(_ context.Context, actor string, now time.Time, p schedule.Pass) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if p.Made.IsZero() {
		p.Made = now
	}
	b.links.mu.Lock()
	defer b.links.mu.Unlock()
	b.links.by[p.Token] = p
	b.audit = append(b.audit, actor+": pass given "+p.Person)
	return nil
}

func (b *book) EndPasses(_ context.Context, _ string, now time.Time, person string, deed schedule.Deed) (n int, _ error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.links.mu.Lock()
	defer b.links.mu.Unlock()
	for k, p := range b.links.by {
		if p.Person == person && p.Deed == deed && p.Ended.IsZero() {
			p.Ended = now
			b.links.by[k] = p
			n++
		}
	}
	return n, nil
}

func (b *book) Join(ctx context.Context, now time.Time, token string, deed schedule.Deed, person, what string, change func(*schedule.Account) error) error {
	b.links.mu.Lock()
	p, ok := b.links.by[token]
	if !ok || p.Deed != deed || !p.Ended.IsZero() || !p.Ends.IsZero() && !p.Ends.After(now) {
		b.links.mu.Unlock()
		return &schedule.Error{Code: schedule.Conflict, Message: "this link was used already"}
	}
	p.Ended = now
	b.links.by[token] = p
	b.links.mu.Unlock()
	return b.ChangeAccount(ctx, person, now, person, what, change)
}

// nthToken makes a token of a number.
func nthToken(n int) string {
	b := []byte(strings.Repeat("k", 32))
	for i := len(b) - 1; n > 0; i, n = i-1, n/26 {
		b[i] = byte('a' + n%26)
	}
	return string(b)
}

// remembered are the Sessions of a book.
type remembered struct{ b *book }

func (s remembered) FindCtx(_ context.Context, key string) ([]byte, bool, error) {
	s.b.mu.Lock()
	defer s.b.mu.Unlock()
	data, ok := s.b.sessions[key]
	return data, ok, nil
}

func (s remembered) CommitCtx(_ context.Context, key string, data []byte, _ time.Time) error {
	s.b.mu.Lock()
	defer s.b.mu.Unlock()
	s.b.sessions[key] = data
	return nil
}

func (s remembered) DeleteCtx(_ context.Context, key string) error {
	s.b.mu.Lock()
	defer s.b.mu.Unlock()
	delete(s.b.sessions, key)
	return nil
}

func (s remembered) AllCtx(context.Context) (map[string][]byte, error) {
	s.b.mu.Lock()
	defer s.b.mu.Unlock()
	return maps.Clone(s.b.sessions), nil
}

// entry is a site where people log in.
type entrance struct {
	http.Handler
	t    *testing.T
	s    *server
	desk *desk
	post *post
	book *book
	said *strings.Builder // the log
}

const goodWord = "larch mortar 61 plinth"

var weak = login.Weak()

func newEntrance(t *testing.T, mend ...func(*Options)) *entrance {
	t.Helper()
	d, said := newDesk(), &strings.Builder{}
	links := &passes{by: map[string]schedule.Pass{}}
	b := &book{links: links, accounts: map[string]schedule.Account{}, sessions: map[string][]byte{}, now: func() time.Time { return d.now }}
	p := newPost()
	o := Options{Desk: d, Mailroom: p, Passes: links, Base: "https://clocks.example.org/", History: d.history, Now: func() time.Time { return d.now },
		NewKey: func() string { return "key-1" }, Log: slog.New(slog.NewTextHandler(io.MultiWriter(said, t.Output()), nil)), SaveFleet: d.save,
		Logins: &Logins{Accounts: b, Entrances: b, Sessions: remembered{b}, Passwords: weak,
			NewToken: func() string { b.mu.Lock(); defer b.mu.Unlock(); b.tokens++; return nthToken(b.tokens) },
			Letter: func(_ context.Context, l LinkLetter) (bool, error) {
				if l.Person.Email == "" {
					return false, nil
				}
				b.letters = append(b.letters, l)
				return true, b.GivePass(context.Background(), "letter", l.Now, l.Pass)
			}}}
	for _, m := range mend {
		m(&o)
	}
	s := newServer(o)
	s.rounds, s.kit = simpleRounds, simpleKit
	return &entrance{s.handler(), t, s, d, p, b, said}
}

// save keeps a part of the fleet, as the store does.
func (d *desk) save(_ context.Context, actor string, part schedule.Fleet, check func(schedule.Fleet) error) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if err := check(d.f.fleet); err != nil {
		return err
	}
	d.f.fleet = with(d.f.fleet, part)
	d.snap = schedule.Survey(d.f.fleet, d.f.log, d.model(), d.now)
	d.saved = append(d.saved, actor)
	return nil
}

// lets gives somebody an account with goodWord.
func (e *entrance) lets(person string, mend ...func(*schedule.Account)) {
	hash, err := weak.Hash(context.Background(), goodWord)
	if err != nil {
		e.t.Fatal(err)
	}
	a := schedule.Account{Person: person, Hash: hash, Made: now.Add(-time.Hour), Changed: now.Add(-time.Hour)}
	for _, m := range mend {
		m(&a)
	}
	e.book.accounts[person] = a
}

const secret = "GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ"

func runsFleet(a *schedule.Account) { a.Conservator, a.Secret = true, secret }

// visit is by one browser, with its cookies.
type visit struct {
	e       *entrance
	cookies map[string]*http.Cookie
	from    string
	head    http.Header
	away    bool // so is the database, whenever they ask
}

func (e *entrance) browser() *visit {
	return &visit{e, map[string]*http.Cookie{}, "192.0.2.7:4711", http.Header{}, false}
}

func (b *visit) do(method, path string, v url.Values) (*http.Response, string) {
	b.e.t.Helper()
	r := httptest.NewRequest(method, path, strings.NewReader(v.Encode()))
	if v == nil {
		r = httptest.NewRequest(method, path, nil)
	} else {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.Header.Set("Sec-Fetch-Site", "same-origin")
	}
	maps.Copy(r.Header, b.head)
	r.RemoteAddr = b.from
	for _, c := range b.cookies {
		r.AddCookie(c)
	}
	res, body := b.answered(r)
	for _, c := range res.Cookies() {
		b.cookies[c.Name] = c
		if c.MaxAge < 0 {
			delete(b.cookies, c.Name)
		}
	}
	return res, body
}

func (b *visit) get(path string) (*http.Response, string) { return b.do("GET", path, nil) }

func (b *visit) send(path string, v url.Values) (*http.Response, string) {
	return b.do("POST", path, v)
}

// in is a browser in which somebody has logged in.
func (e *entrance) in(person string) *visit {
	e.t.Helper()
	b := e.browser()
	res, body := b.send("/login", url.Values{"name": {person}, "password": {goodWord}})
	if strings.HasPrefix(res.Header.Get("Location"), "/login/code") {
		code, _ := login.CodeAt(e.book.accounts[person].Secret, e.desk.now)
		res, body = b.send(res.Header.Get("Location"), url.Values{"code": {code}})
	}
	if res.StatusCode != http.StatusSeeOther || res.Header.Get("Location") != "/" {
		e.t.Fatalf("%s is not let in: %s to %q: %s", person, res.Status, res.Header.Get("Location"), body)
	}
	return b
}

func status(t *testing.T, what string, res *http.Response, want int, to string) {
	t.Helper()
	if res.StatusCode != want || to != "" && res.Header.Get("Location") != to {
		t.Errorf("%s answers %s to %q, want %d to %q", what, res.Status, res.Header.Get("Location"), want, to)
	}
}

func TestLogIn(t *testing.T) {
	e := newEntrance(t)
	e.lets("tom")
	e.lets("eve", func(a *schedule.Account) { a.Ended = now })
	b := e.browser()
	res, _ := b.get("/due?person=tom")
	status(t, "a page of one's own", res, 303, "/login?to=%2Fdue%3Fperson%3Dtom")
	res, body := b.get(res.Header.Get("Location"))
	status(t, "the login page", res, 200, "")
	checkPage(t, "/login", body)
	if strings.Contains(body, "Corn") || len(b.cookies) != 0 {
		t.Errorf("whoever is not logged in reads %s with %v", body, b.cookies)
	}
	for _, v := range []url.Values{
		{"name": {"tom"}, "password": {"wrong"}}, {"name": {"nobody"}, "password": {goodWord}}, {"name": {"eve"}, "password": {goodWord}},
		{"name": {""}, "password": {""}}, {}, {"name": {"tom"}}, {"name": {"TOM"}, "password": {goodWord + " "}}, {"name": {"edda"}, "password": {goodWord}},
	} {
		e.desk.now = e.desk.now.Add(20 * time.Minute)
		res, body := e.browser().send("/login", v)
		status(t, v.Encode(), res, 422, "")
		if checkPage(t, "/login", body); !strings.Contains(body, wrongLogin) || len(res.Cookies()) > 0 {
			t.Errorf("%v: %s", v, body)
		}
	}
	for _, name := range []string{"tom", " Tom ", "tom@example.org", "Tom@Example.org"} {
		b := e.browser()
		res, _ := b.send("/login", url.Values{"name": {name}, "password": {goodWord}, "to": {"/due?person=tom"}})
		status(t, name, res, 303, "/due?person=tom")
		c := b.cookies["__Host-endshake"]
		if c == nil || !c.Secure || !c.HttpOnly || c.SameSite != http.SameSiteLaxMode || c.Path != "/" || c.Domain != "" || len(c.Value) < 43 {
			t.Errorf("the cookie is %v", c)
		}
		res, body := b.get("/due")
		status(t, "the page after it", res, 200, "")
		checkPage(t, "/due", body)
		if !strings.Contains(body, `action="/logout"`) || !strings.Contains(body, ">Tom Barleymow</a>") {
			t.Errorf("the page does not say who is logged in: %s", body)
		}
	}
	for key := range e.book.sessions {
		if len(key) != 43 || b.cookies[key] != nil {
			t.Errorf("a session is kept under %q", key)
		}
	}
	if log := e.said.String(); strings.Contains(log, goodWord) || strings.Contains(log, "@example") || !strings.Contains(log, "log-in refused") {
		t.Error("the log has a password or an address, or no refusal")
	}
}

// On this machine alone there is no https, and the cookie says so.
func TestCookieWithoutHTTPS(t *testing.T) {
	e := newEntrance(t, func(o *Options) { o.Base = "" })
	e.lets("tom")
	if c := e.in("tom").cookies["endshake"]; c == nil || c.Secure || !c.HttpOnly || c.SameSite != http.SameSiteLaxMode {
		t.Errorf("the cookie is %v", c)
	}
}

// W25: a cookie that somebody planted before is not the one that is let in.
func TestSessionFixation(t *testing.T) {
	e := newEntrance(t)
	e.lets("tom")
	e.lets("edda", runsFleet)
	for _, planted := range []string{strings.Repeat("A", 43), "x", ""} {
		b := e.browser()
		b.cookies["__Host-endshake"] = &http.Cookie{Name: "__Host-endshake", Value: planted}
		res, _ := b.send("/login", url.Values{"name": {"tom"}, "password": {goodWord}})
		status(t, "logging in", res, 303, "/")
		if b.cookies["__Host-endshake"].Value == planted {
			t.Error("the planted cookie is let in")
		}
	}
	// One that is known for something else is changed as well: at the password and
	// at the code.
	b := e.browser()
	seen := map[string]bool{}
	note := func() {
		v := b.cookies["__Host-endshake"].Value
		if seen[v] {
			t.Errorf("the cookie stays the same")
		}
		seen[v] = true
	}
	b.send("/forgot", url.Values{"name": {"tom"}})
	note()
	res, _ := b.send("/login", url.Values{"name": {"edda"}, "password": {goodWord}})
	note()
	if res2, _ := b.get("/"); res2.StatusCode != 303 {
		t.Error("half of a login is let in")
	}
	code, _ := login.CodeAt(secret, e.desk.now)
	b.send(res.Header.Get("Location"), url.Values{"code": {code}})
	note()
	res, _ = b.get("/")
	status(t, "the fleet", res, 200, "")
	if len(e.book.sessions) != 1+3 {
		t.Errorf("%d sessions are kept, want those of the three and one", len(e.book.sessions))
	}
}

// W26: the cookie of before is worth nothing after logging out.
func TestOldCookieAfterLogOut(t *testing.T) {
	e := newEntrance(t)
	e.lets("tom")
	b := e.in("tom")
	old := *b.cookies["__Host-endshake"]
	res, _ := b.get("/logout")
	status(t, "a link to log out", res, 405, "")
	res, _ = b.send("/logout", url.Values{})
	status(t, "logging out", res, 303, "/login?ended=1")
	b.cookies["__Host-endshake"] = &old
	res, _ = b.get("/due")
	status(t, "the old cookie", res, 303, "/login?to=%2Fdue")
	if len(e.book.sessions) != 0 {
		t.Errorf("%d sessions are left", len(e.book.sessions))
	}
}

func TestSessionsEnd(t *testing.T) {
	for name, c := range map[string]struct {
		mend  func(e *entrance)
		after []time.Duration // uses
		in    bool
	}{
		"used each half day":        {nil, []time.Duration{11 * time.Hour, 11 * time.Hour, 11 * time.Hour}, true},
		"left alone for half a day": {nil, []time.Duration{12*time.Hour + time.Minute}, false},
		"used for a fortnight":      {nil, slices.Repeat([]time.Duration{8 * time.Hour}, 43), false},
		// W27: what was let in by the old password is let in no more.
		"password changed": {func(e *entrance) {
			e.lets("tom", func(a *schedule.Account) { a.Changed = e.desk.now })
		}, []time.Duration{time.Second}, false},
		"account closed": {func(e *entrance) {
			e.lets("tom", func(a *schedule.Account) { a.Ended = e.desk.now })
		}, []time.Duration{time.Second}, false},
		"account gone": {func(e *entrance) { delete(e.book.accounts, "tom") }, []time.Duration{time.Second}, false},
	} {
		t.Run(name, func(t *testing.T) {
			e := newEntrance(t)
			e.lets("tom")
			b, want := e.in("tom"), 200
			if c.mend != nil {
				e.desk.now = e.desk.now.Add(time.Second)
				c.mend(e)
			}
			for i, d := range c.after {
				e.desk.now = e.desk.now.Add(d)
				if i == len(c.after)-1 && !c.in {
					want = 303
				}
				res, _ := b.get("/due")
				status(t, "a use", res, want, "")
			}
			if !c.in && len(e.book.sessions) > 0 {
				t.Error("the session is kept though it is over")
			}
		})
	}
}

// W22: after logging in nobody is sent to another site.
func TestOpenRedirect(t *testing.T) {
	e := newEntrance(t)
	e.lets("tom")
	for to, want := range map[string]string{
		"/due?person=tom#x": "/due?person=tom#x", "/clock/mill": "/clock/mill", "": "/",
		"//evil": "/", `\evil`: "/", `/\evil`: "/", "https:evil": "/", "https://evil": "/", "/%5cevil": "/", "/%2fevil": "/", "///evil": "/", "javascript:alert(1)": "/",
		"/\t/evil": "/", "/ /evil": "/", "evil": "/", "/\r\nSet-Cookie: x": "/", "http:/evil": "/", "/login": "/", "/login/again?to=/": "/", "/logout": "/", "//evil\\@x": "/",
		"/%09/evil": "/", "/\x00": "/", "/%zz": "/", "./evil": "/", "@evil": "/",
	} {
		b := e.browser()
		res, _ := b.send("/login", url.Values{"name": {"tom"}, "password": {goodWord}, "to": {to}})
		status(t, to, res, 303, want)
		_, body := e.browser().get("/login?" + url.Values{"to": {to}}.Encode())
		for _, n := range nodes(t, body) {
			if name, _ := attr(n, "name"); name == "to" {
				if v, _ := attr(n, "value"); v != want {
					t.Errorf("the form goes on to %q for %q", v, to)
				}
			}
		}
	}
}

// W28: an account gives five wrong tries in a quarter of an hour, then ever
// longer waits, and is never locked.
func TestBruteForceOfOneAccount(t *testing.T) {
	e := newEntrance(t)
	e.lets("tom")
	try := func(i int, word string) *http.Response {
		b := e.browser()
		b.from = netip.AddrPortFrom(netip.AddrFrom4([4]byte{192, 0, 2, byte(i)}), 1).String() // each from elsewhere
		res, _ := b.send("/login", url.Values{"name": {"tom"}, "password": {word}})
		return res
	}
	for i := range 5 {
		status(t, "one of five", try(i, "wrong"), 422, "")
	}
	for i := range 200 { // sixth to last within the same second
		status(t, "one too many", try(i, goodWord[:i%20]), 429, "")
	}
	work := weak.Work()
	if status(t, "the right one too", try(1, goodWord), 429, ""); weak.Work() != work {
		t.Error("a try that waits is worked on")
	}
	tried, start := 0, e.desk.now
	for e.desk.now.Sub(start) < time.Hour {
		e.desk.now = e.desk.now.Add(time.Second)
		if try(7, "wrong").StatusCode == 422 {
			tried++
		}
	}
	if tried > 75 || tried < 20 {
		t.Errorf("%d tries in an hour of asking each second", tried)
	}
	e.desk.now = e.desk.now.Add(longestWait + time.Second)
	status(t, "its holder a minute later", try(8, goodWord), 303, "/")
	status(t, "and a slip after that", try(8, "wrong"), 422, "")
}

// W29: an address gives thirty wrong tries in a quarter of an hour, over however
// many accounts, and those who log in from there rightly take none of them.
func TestManyAccountsFromOneAddress(t *testing.T) {
	e := newEntrance(t)
	e.lets("tom")
	for range 100 {
		e.in("tom")
	}
	count := map[int]int{}
	for i := range 60 {
		res, _ := e.browser().send("/login", url.Values{"name": {"name" + strings.Repeat("x", i)}, "password": {"wrong"}})
		count[res.StatusCode]++
	}
	if count[422] != 30 || count[429] != 30 {
		t.Errorf("of 60 tries %v", count)
	}
	b := e.browser()
	b.from = "[2001:db8:1:2::1]:5"
	res, _ := b.send("/login", url.Values{"name": {"tom"}, "password": {goodWord}})
	status(t, "from elsewhere", res, 303, "/")
	e.desk.now = e.desk.now.Add(failFor + time.Second)
	e.in("tom")
}

// W24: X-Forwarded-For is believed only of a proxy that was named.
func TestForwardedFor(t *testing.T) {
	proxies := []netip.Prefix{netip.MustParsePrefix("10.0.0.0/8"), netip.MustParsePrefix("fd00::/8")}
	for _, c := range []struct{ remote, head, want string }{
		{"192.0.2.7:1", "", "192.0.2.7"}, {"192.0.2.7:1", "203.0.113.9", "192.0.2.7"}, {"10.0.0.1:1", "203.0.113.9", "203.0.113.9"},
		{"10.0.0.1:1", "127.0.0.1, 203.0.113.9", "203.0.113.9"}, {"10.0.0.1:1", "203.0.113.9, 10.0.0.2", "203.0.113.9"},
		{"10.0.0.1:1", "203.0.113.9, junk", "10.0.0.1"}, {"10.0.0.1:1", "", "10.0.0.1"}, {"[fd00::1]:1", "2001:db8::5", "2001:db8::5"},
		{"[::ffff:10.0.0.1]:1", "203.0.113.9:443", "203.0.113.9"}, {"10.0.0.1:1", "10.0.0.3, 10.0.0.2", "10.0.0.3"}, {"nowhere", "203.0.113.9", "nowhere"},
	} {
		r := httptest.NewRequest("GET", "/", nil)
		r.RemoteAddr = c.remote
		if c.head != "" {
			r.Header.Set("X-Forwarded-For", c.head)
		}
		if got := peer(r, proxies); got != c.want {
			t.Errorf("%s saying %q comes from %s, want %s", c.remote, c.head, got, c.want)
		}
	}
	// So nobody counts as somebody else by a header of their own.
	e := newEntrance(t, func(o *Options) { o.Logins.Proxies = proxies })
	count := map[int]int{}
	for i := range 40 {
		b := e.browser()
		b.head.Set("X-Forwarded-For", netip.AddrFrom4([4]byte{203, 0, 113, byte(i)}).String())
		res, _ := b.send("/login", url.Values{"name": {"n" + strings.Repeat("x", i)}, "password": {"wrong"}})
		count[res.StatusCode]++
	}
	if count[429] != 10 {
		t.Errorf("of 40 tries %v", count)
	}
}

// W30: a name that nobody has takes the work of one that somebody has, and the
// same answer, also where there is one who may not log in.
func TestUnknownNamesTakeTheSameWork(t *testing.T) {
	e := newEntrance(t)
	e.lets("tom")
	e.lets("eve", func(a *schedule.Account) { a.Ended = now })
	e.lets("edda", func(a *schedule.Account) { a.Hash = "" })
	var first string
	for _, name := range []string{"tom", "nobody", "eve", "edda", "tom@example.org", "", "tom\x00"} {
		before := weak.Work()
		res, body := e.browser().send("/login", url.Values{"name": {name}, "password": {"wrong"}})
		if res.StatusCode != 422 || weak.Work() != before+1 {
			t.Errorf("%q answers %d after %d passwords", name, res.StatusCode, weak.Work()-before)
		}
		body = strings.Replace(body, `value="`+name+`"`, `value=""`, 1)
		body = strings.Replace(body, "tom\ufffd", "", 1)
		if first == "" {
			first = body
		} else if body != first {
			t.Errorf("%q is answered otherwise: %s", name, body)
		}
	}
	// And what waits is told the same.
	for _, name := range []string{"tom", "nobody2"} {
		var last *http.Response
		for range 8 {
			last, _ = e.browser().send("/login", url.Values{"name": {name}, "password": {"wrong"}})
		}
		if last.StatusCode != 429 || last.Header.Get("Retry-After") == "" {
			t.Errorf("%q answers %d at last", name, last.StatusCode)
		}
	}
}

func TestOneTimeCodes(t *testing.T) {
	e := newEntrance(t)
	e.lets("edda", runsFleet)
	b := e.browser()
	res, _ := b.send("/login", url.Values{"name": {"edda"}, "password": {goodWord}, "to": {"/mail"}})
	status(t, "the password", res, 303, "/login/code?to=%2Fmail")
	at := res.Header.Get("Location")
	res, body := b.get(at)
	status(t, "the page for the code", res, 200, "")
	checkPage(t, at, body)
	for _, wrong := range []string{"", "000000", "12345", "abcdef"} {
		res, body := b.send(at, url.Values{"code": {wrong}})
		status(t, wrong, res, 422, "")
		checkPage(t, at, body)
	}
	code, _ := login.CodeAt(secret, e.desk.now)
	res, _ = b.send(at, url.Values{"code": {code}})
	status(t, "the code", res, 303, "/mail")
	res, _ = b.get("/mail")
	status(t, "the mail room", res, 200, "")
	// The same code again, in another browser.
	other := e.browser()
	other.send("/login", url.Values{"name": {"edda"}, "password": {goodWord}})
	res, _ = other.send(at, url.Values{"code": {code}})
	status(t, "a code twice", res, 422, "")
	// Too late after the password.
	late := e.browser()
	late.send("/login", url.Values{"name": {"edda"}, "password": {goodWord}})
	e.desk.now = e.desk.now.Add(halfFor + time.Minute)
	code, _ = login.CodeAt(secret, e.desk.now)
	res, _ = late.send(at, url.Values{"code": {code}})
	status(t, "a code too late", res, 303, "/login")
	res, _ = e.browser().send(at, url.Values{"code": {code}})
	status(t, "a code without a password", res, 303, "/login")
}

// A conservator sets up codes before anything else.
func TestConservatorsSetUpCodes(t *testing.T) {
	e := newEntrance(t)
	e.lets("edda", func(a *schedule.Account) { a.Conservator = true })
	b, other := e.in("edda"), e.in("edda")
	for _, path := range []string{"/", "/mail", "/clock/mill", "/due"} {
		res, _ := b.get(path)
		status(t, path, res, 303, "/me/codes")
	}
	res, body := b.get("/me/codes")
	status(t, "the page", res, 200, "")
	shown := ""
	for _, n := range nodes(t, body) {
		if c, _ := attr(n, "class"); c == "secret" {
			shown = strings.ReplaceAll(textOf(n), " ", "")
		}
		if src, ok := attr(n, "src"); ok && n.Data == "img" && !strings.HasPrefix(src, "data:image/png;base64,iVBOR") {
			t.Errorf("the picture is %.40s", src)
		}
	}
	if _, again := b.get("/me/codes"); len(shown) != 32 || !strings.Contains(strings.ReplaceAll(again, " ", ""), shown) {
		t.Errorf("the secret %q does not stay", shown)
	}
	res, body = b.send("/me/codes", url.Values{"code": {"123456"}})
	status(t, "another code", res, 422, "")
	if e.book.accounts["edda"].Secret != "" || !strings.Contains(body, "not the code of now") {
		t.Error("a secret is kept that nobody has")
	}
	code, _ := login.CodeAt(shown, e.desk.now)
	before := b.cookies["__Host-endshake"].Value
	res, _ = b.send("/me/codes", url.Values{"code": {code}})
	status(t, "its code", res, 303, "/me?codes=1")
	if a := e.book.accounts["edda"]; a.Secret != shown || a.LastCode == 0 || b.cookies["__Host-endshake"].Value == before {
		t.Errorf("the account is %+v", a)
	}
	res, _ = b.get("/mail")
	status(t, "the mail room", res, 200, "")
	res, _ = other.get("/mail")
	status(t, "another browser", res, 303, "/login?to=%2Fmail")
	res, _ = b.send("/me/codes/end", url.Values{})
	status(t, "going without", res, 403, "")
}
