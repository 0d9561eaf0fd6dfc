package web

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"sync"
	"testing"
	"time"

	"endshake/schedule"
)

// passes are Passes in memory.
type passes struct {
	mu       sync.Mutex
	by       map[string]schedule.Pass
	declined []schedule.Decline
	err      error // answered instead, if set
}

func (l *passes) Pass(_ context.Context, token string) (schedule.Pass, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	read, ok := schedule.ReadToken(token)
	p, known := l.by[read]
	if l.err != nil || ok && known {
		return p, l.err
	}
	return p, &schedule.Error{Code: schedule.NotFound, Field: "token", Message: "no pass has this token"}
}

func (l *passes) Decline(_ context.Context, now time.Time, person string, kind schedule.NoticeKind) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, d := range l.declined {
		if d.Person == person && d.Kind == kind {
			return l.err
		}
	}
	l.declined = append(l.declined, schedule.Decline{Person: person, Kind: kind, At: now})
	return l.err
}

func (l *passes) Resume(_ context.Context, _ time.Time, person string, kind schedule.NoticeKind) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	var rest []schedule.Decline
	for _, d := range l.declined {
		if d.Person != person || d.Kind != kind {
			rest = append(rest, d)
		}
	}
	l.declined = rest
	return l.err
}

func (l *passes) Declined(context.Context) ([]schedule.Decline, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.declined, l.err
}

// give keeps a pass under a new token, and returns that.
func (l *passes) give(p schedule.Pass) string {
	l.mu.Lock()
	defer l.mu.Unlock()
	p.Token = strings.Map(func(r rune) rune { return 'a' + r - '0' }, fmt.Sprintf("%032d", len(l.by)+1))
	if p.Made.IsZero() {
		p.Made = now.Add(-time.Hour)
	}
	l.by[p.Token] = p
	return p.Token
}

// asking is a pass of Tom's for a task of the Corn Hall clock.
func asking(kind schedule.TaskKind, subject string) schedule.Pass {
	return schedule.Pass{Deed: schedule.Answering, Person: "tom", Clock: "corn-hall", Task: kind, Subject: subject}
}

// sendLink posts a form, as the page of a link does: with no origin that tells.
func sendLink(t *testing.T, s site, path string, values url.Values) (*http.Response, string) {
	t.Helper()
	r := httptest.NewRequest("POST", path, strings.NewReader(values.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set("Origin", "null")
	return ask(t, s, r)
}

// bare sees that a page of a link is whole and leads nowhere else, but to a quick
// form, which asks for a login.
func bare(t *testing.T, path string, res *http.Response, body string) {
	t.Helper()
	checkPage(t, path, body)
	for _, n := range nodes(t, body) {
		if href, ok := attr(n, "href"); ok && n.Data == "a" && href != "#main" && !strings.HasPrefix(href, "/clock/corn-hall/do/") {
			t.Errorf("%s leads to %s", path, href)
		}
	}
	if csp := res.Header.Get("Content-Security-Policy"); !strings.HasPrefix(csp, "default-src 'none'") || strings.Contains(csp, "script-src") {
		t.Errorf("%s: the policy is %q", path, csp)
	}
	for name, want := range map[string]string{"Referrer-Policy": "no-referrer", "X-Robots-Tag": "noindex, nofollow", "Cache-Control": "no-store", "Set-Cookie": ""} {
		if got := res.Header.Get(name); got != want {
			t.Errorf("%s: %s is %q, want %q", path, name, got, want)
		}
	}
	if strings.Contains(body, "@") {
		t.Errorf("%s shows an address of mail", path)
	}
}

// A token that opens nothing is answered alike, whatever is wrong with it.
func TestUnknownLinks(t *testing.T) {
	s := newSite(t)
	good := s.links.give(asking(schedule.Winding, "going"))
	calendar := s.links.give(schedule.Pass{Deed: schedule.Following, Person: "tom"})
	for _, root := range linkRoots {
		end := ""
		if root == "/calendar/" {
			end = ".ics"
		}
		var first string
		for i, token := range []string{strings.Repeat("b", 32), "", "x", good[1:], good + "=", good + ".", good + "%20", good + "/" + good, strings.Repeat("a", 4000),
			"'%20OR%201=1", "<script>"} {
			r := httptest.NewRequest("GET", "/", nil)
			r.URL = &url.URL{Path: root + token + end}
			if path, err := url.PathUnescape(r.URL.Path); err == nil {
				r.URL.Path = path
			}
			r.RemoteAddr = fmt.Sprintf("192.0.2.%d:99", i)
			res, body := ask(t, s, r)
			bare(t, root, res, body)
			if i == 0 {
				first = body
			}
			if res.StatusCode != http.StatusNotFound || body != first {
				t.Errorf("%s%.40s: status %d, or other words than for an unknown one", root, token, res.StatusCode)
			}
		}
	}
	// A token is good for its own deed alone; in capitals it is the same.
	for path, want := range map[string]int{
		"/answer/" + good: 200, "/answer/" + strings.ToUpper(good): 200, "/decline/" + good: 404, "/calendar/" + good + ".ics": 404,
		"/calendar/" + calendar + ".ics": 200, "/calendar/" + calendar: 404, "/answer/" + calendar: 404,
	} {
		if res, _ := get(t, s, path); res.StatusCode != want {
			t.Errorf("%s answers %d, want %d", path, res.StatusCode, want)
		}
	}
	if res, _ := sendLink(t, s, "/answer/"+strings.Repeat("b", 32), url.Values{"said": {"done"}}); res.StatusCode != http.StatusNotFound {
		t.Errorf("posted: %d", res.StatusCode)
	}
	if len(s.desk.logged) > 0 || len(s.links.declined) > 0 {
		t.Error("something came of it")
	}
}

// Who guesses gets short answers, and keeps nobody out.
func TestGuessing(t *testing.T) {
	s := newSite(t)
	good := s.links.give(asking(schedule.Winding, "going"))
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	rng := rand.New(rand.NewPCG(seed, 1))
	status := map[int]int{}
	for range 400 {
		guess := make([]byte, 32)
		for i := range guess {
			guess[i] = "abcdefghijklmnopqrstuvwxyz234567"[rng.IntN(32)]
		}
		res, _ := get(t, s, "/answer/"+string(guess))
		status[res.StatusCode]++
	}
	if status[404] != wrongMost || status[429] != 400-wrongMost {
		t.Errorf("answers by status: %v", status)
	}
	if res, _ := get(t, s, "/answer/"+good); res.StatusCode != 200 {
		t.Errorf("the right token is kept out: %d", res.StatusCode)
	}
	s.desk.now = now.Add(wrongFor)
	for i := range wrongMost + 1 {
		if res, _ := get(t, s, "/answer/x"); (res.StatusCode == 404) != (i < wrongMost) {
			t.Errorf("a little later, %d: %d", i, res.StatusCode)
		}
	}
}

// Two households by IPv6 are two; the telephones of one are one.
func TestGuessingByIPv6(t *testing.T) {
	s := newSite(t)
	from := func(remote string) int {
		r := httptest.NewRequest("GET", "/answer/x", nil)
		r.RemoteAddr = remote
		res, _ := ask(t, s, r)
		return res.StatusCode
	}
	for range wrongMost {
		from("[2001:db8:0:1::7]:1")
	}
	if got := from("[2001:db8:0:1::8]:1"); got != 429 {
		t.Errorf("the same household: %d", got)
	}
	if got := from("[2001:db8:0:2::7]:1"); got != 404 {
		t.Errorf("another household: %d", got)
	}
}

func TestWrongTokensAreBounded(t *testing.T) {
	f := failures{wait: most(wrongMost, wrongFor)}
	for i := range 3 * mostWrong {
		f.take(fmt.Sprintf("10.%d.%d.%d", i>>16, i>>8&255, i&255), wrongFor, now)
		if len(f.of) > mostWrong {
			t.Fatalf("%d addresses are remembered", len(f.of))
		}
	}
	for _, tt := range [][2]string{{"192.0.2.1:1", "192.0.2.1:2"}, {"[::ffff:192.0.2.1]:9", "192.0.2.1:2"}, {"[2001:db8::1]:1", "[2001:db8:0:0:ffff::9%eth0]:2"}, {"@", ""}} {
		if origin(tt[0]) != origin(tt[1]) {
			t.Errorf("%s and %s are two: %s, %s", tt[0], tt[1], origin(tt[0]), origin(tt[1]))
		}
	}
	if origin("[2001:db8::1]:1") == origin("[2001:db8:0:1::1]:1") || origin("192.0.2.1:1") == origin("192.0.2.2:1") {
		t.Error("two households are one")
	}
	if f.take("x", wrongFor, now) > 0 || f.take("x", wrongFor, now.Add(-time.Hour)) > 0 {
		t.Error("a clock that is put back shuts somebody out")
	}
}

// No token stands in a log, whatever goes wrong.
func TestTokensAreMasked(t *testing.T) {
	var log strings.Builder
	d := newDesk()
	l := &passes{by: map[string]schedule.Pass{}}
	h := New(Options{Everyone: schedule.Actor{Conservator: true}, Desk: d, Mailroom: newPost(), Passes: l, Now: func() time.Time { return now }, Log: slog.New(slog.NewTextHandler(&log, nil))})
	s := site{Handler: h, desk: d, links: l}
	token := l.give(asking(schedule.Winding, "going"))
	decline := l.give(schedule.Pass{Deed: schedule.Declining, Person: "tom", Kind: schedule.WindReminder})
	d.err = errors.New("the disk is gone")
	if res, body := sendLink(t, s, "/answer/"+token, url.Values{"said": {"done"}}); res.StatusCode != 500 || strings.Contains(body, "disk") {
		t.Errorf("no desk: %d", res.StatusCode)
	}
	l.err = errors.New("the table is gone")
	for _, path := range []string{"/answer/" + token, "/ANSWER/" + token, "/decline/" + decline, "/calendar/" + token + ".ics"} {
		res, body := get(t, s, path)
		if path[1] != 'A' && res.StatusCode != 500 || strings.Contains(body, "table") {
			t.Errorf("%s: %d", path, res.StatusCode)
		}
	}
	if log.Len() == 0 || strings.Contains(log.String(), token) || strings.Contains(log.String(), decline) || !strings.Contains(log.String(), "/answer/…") {
		t.Errorf("logged:\n%s", log.String())
	}
}

// Whatever path is asked for, nothing is logged, nobody panics, and no answer
// but that of the right token shows a clock.
func FuzzLinks(f *testing.F) {
	for _, path := range []string{"/answer/", "/answer/aaaa", "/decline/../answer/x", "/calendar/.ics", "/calendar/aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaab.ics", "/answer/%2e%2e", "/answer/\x00", "//answer//x", "/answer/aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaab"} {
		f.Add(path, true)
		f.Add(path, false)
	}
	s := newSite(f)
	token := s.links.give(asking(schedule.Winding, "going"))
	f.Fuzz(func(t *testing.T, path string, post bool) {
		if !strings.HasPrefix(path, "/") || ofLink(path) == "" {
			path = "/answer/" + path
		}
		r := httptest.NewRequest("GET", "/", nil)
		r.URL = &url.URL{Path: path}
		if post {
			r.Method = "POST"
			r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		}
		w := httptest.NewRecorder()
		s.ServeHTTP(w, r)
		right := strings.EqualFold(path, "/answer/"+token)
		if w.Code >= 500 || w.Code == 200 && !right || !right && strings.Contains(w.Body.String(), "Corn Hall") {
			t.Errorf("%q answers %d", path, w.Code)
		}
		if len(s.desk.logged) > 0 || len(s.links.declined) > 0 {
			t.Fatalf("%q: something came of it", path)
		}
	})
}
