package web

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

	"endshake/schedule"
)

// W02: a form of another site changes nothing, with or without the reader's
// cookie, nor does a link.
func TestFormsOfOtherSites(t *testing.T) {
	e := strangers(t)
	b, kim := e.in("edda"), e.in("kim")
	sessions := len(e.book.sessions)
	for _, head := range []http.Header{
		{"Sec-Fetch-Site": {"cross-site"}}, {"Sec-Fetch-Site": {"same-site"}}, {"Sec-Fetch-Site": {""}, "Origin": {"https://evil.example"}},
		{"Sec-Fetch-Site": {""}, "Origin": {"null"}}, {"Sec-Fetch-Site": {""}, "Origin": {"http://clocks.example.org.evil.example"}},
	} {
		b.head, kim.head = head, head
		for path, v := range map[string]url.Values{
			"/people/tom": {"act": {"conservator"}}, "/people/invite": {"name": {"X"}}, "/people/programs": {"name": {"x"}}, "/me": {"version": {"x"}},
			"/me/password": {"old": {goodWord}}, "/me/calendar": {}, "/logout": {}, "/mail/m2/resend": {}, "/login/again": {"password": {goodWord}},
			"/login": {"name": {"tom"}, "password": {goodWord}}, "/forgot": {"name": {"tom"}},
		} {
			res, body := b.send(path, v)
			if res.StatusCode != 403 || len(res.Cookies()) > 0 {
				t.Errorf("%v %s answers %d: %.80s", head, path, res.StatusCode, body)
			}
		}
		res, _ := kim.send("/clock/corn-hall/log", url.Values{"kind": {"noted"}, "note": {"x"}, "at": {"2026-11-24T09:00"}})
		status(t, "a log entry", res, 403, "")
	}
	e.s.late.Wait()
	if len(e.desk.logged)+len(e.desk.saved)+len(e.post.resent)+len(e.book.letters) > 0 || len(e.book.sessions) != sessions {
		t.Error("something was changed")
	}
	// Nothing that changes something is done by a GET.
	b.head = http.Header{}
	for _, rt := range e.s.routes() {
		if rt.post == nil || rt.get != nil {
			continue
		}
		path := e.placed(rt.path, "edda", "own")
		res, _ := b.get(path)
		status(t, "GET "+path, res, 405, "")
	}
}

// W19 to W21: what a form says of who somebody is, whose a clock is and when
// something was written down counts for nothing.
func TestFormsSayNoMoreThanTheyAsk(t *testing.T) {
	e := strangers(t)
	kim := e.in("kim")
	extra := url.Values{"conservator": {"true"}, "role": {"conservator"}, "Conservator": {"1"}, "owner": {"kim"}, "hash": {"x"}, "secret": {"x"}, "person": {"edda"},
		"recordedAt": {"2001-01-01T00:00"}, "RecordedAt": {"2001-01-01"}, "source": {"reply"}, "Source": {"reply"}, "actor": {"edda"}, "id": {"x"}, "ID": {"x"}, "email": {"x@example.org"}, "slug": {"edda"}, "name": {"Edda"}}
	form := func(v url.Values) url.Values {
		out := url.Values{}
		for k, x := range extra {
			out[k] = x
		}
		for k, x := range v {
			out[k] = x
		}
		return out
	}
	p, _ := e.desk.f.fleet.Person("kim")
	res, _ := kim.send("/me", form(url.Values{"version": {version(p)}, "units": {"mm"}, "day": {"1"}, "hour": {"7"}}))
	status(t, "one's own settings", res, 303, "/me?done=kept")
	now, _ := e.desk.f.fleet.Person("kim")
	if now.Name != p.Name || now.Email != p.Email || e.book.accounts["kim"].Conservator {
		t.Errorf("%+v became %+v", p, now)
	}
	res, _ = kim.send("/clock/corn-hall/log", form(url.Values{"kind": {"noted"}, "note": {"seen"}, "at": {"2026-11-24T09:00"}, "by": {"tom"}}))
	if res.StatusCode != 303 || len(e.desk.logged) != 1 {
		t.Fatalf("logging answers %s", res.Status)
	}
	// In another keeper's name it may be, and who logged it stands beside it.
	got := e.desk.logged[0]
	if got.By != "tom" || got.Source != schedule.PagePrefix+"kim" || got.RecordedAt.Year() == 2001 || got.ID == "x" {
		t.Errorf("logged %+v", got)
	}
	for _, by := range []string{"zqxvqkeeper", "nobody"} {
		if res, _ := kim.send("/clock/corn-hall/log", url.Values{"kind": {"noted"}, "note": {"x"}, "at": {"2026-11-24T09:00"}, "by": {by}}); res.StatusCode/100 != 4 {
			t.Errorf("in the name of %s: %s", by, res.Status)
		}
	}
	// W12: nor is another's entry corrected, or one of another clock, by its ID.
	for _, id := range []string{e.desk.f.log["corn-hall"][3].ID, e.desk.f.log["zqxvqclock"][0].ID, "none"} {
		v := url.Values{"kind": {"noted"}, "note": {"x"}, "at": {"2026-11-24T09:00"}, "by": {"kim"}, "replaces": {id}, "why": {"to see"}}
		if res, _ := kim.send("/clock/corn-hall/log", v); res.StatusCode/100 != 4 {
			t.Errorf("correcting %s: %s", id, res.Status)
		}
	}
	res, _ = e.in("wyn").send("/clock/corn-hall/log", url.Values{"kind": {"oiled"}, "at": {"2026-11-24T09:00"}, "by": {"wyn"}})
	status(t, "a winder oiling", res, 403, "")
	res, _ = e.in("owen").send("/clock/corn-hall/log", url.Values{"kind": {"wound"}, "at": {"2026-11-24T09:00"}, "by": {"owen"}})
	status(t, "an owner winding", res, 403, "")
	if len(e.desk.logged) != 1 {
		t.Errorf("%d entries are logged", len(e.desk.logged))
	}
}

// W32: other methods, and headers that ask for other methods, do nothing.
func TestOtherMethods(t *testing.T) {
	e := strangers(t)
	b := e.in("edda")
	for _, m := range []string{"PUT", "DELETE", "PATCH", "TRACE", "CONNECT", "OPTIONS", "FOO"} {
		for _, path := range []string{"/", "/people/tom", "/me", "/login", "/clock/corn-hall/log", "/mail/m2/resend", "/static/0/endshake.css"} {
			if m == "CONNECT" && path == "/" {
				continue
			}
			b.head = http.Header{"X-Secret": {"told"}}
			res, body := b.do(m, path, nil)
			if res.StatusCode != 405 || strings.Contains(body, "told") {
				t.Errorf("%s %s answers %d: %.80s", m, path, res.StatusCode, body)
			}
		}
	}
	for _, head := range []string{"X-HTTP-Method-Override", "X-Method-Override", "X-HTTP-Method"} {
		b.head = http.Header{head: {"POST"}}
		res, _ := b.get("/mail/m2/resend?_method=POST")
		status(t, head, res, 405, "")
	}
	b.head = http.Header{}
	res, body := b.do("HEAD", "/people", nil)
	if res.StatusCode != 200 || body != "" {
		t.Errorf("HEAD answers %d with %d bytes", res.StatusCode, len(body))
	}
	if len(e.post.resent)+len(e.desk.saved) > 0 {
		t.Error("something was done")
	}
}

// W23: links that are sent and shown name the address that was set, whatever a
// request calls this host.
func TestHostInLinks(t *testing.T) {
	e := newEntrance(t, func(o *Options) { o.Logins.Letter = nil })
	e.lets("edda", runsFleet)
	b := e.in("edda")
	for path, v := range map[string]url.Values{"/people/tom": {"act": {"invite"}}, "/me/calendar": {}} {
		r := httptest.NewRequest("POST", path, strings.NewReader(v.Encode()))
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.Host = "evil.example"
		for _, h := range []string{"X-Forwarded-Host", "X-Forwarded-Proto", "X-Original-Host", "Forwarded"} {
			r.Header.Set(h, "evil.example")
		}
		r.AddCookie(b.cookies["__Host-endshake"])
		res, body := ask(t, e, r)
		if res.StatusCode != 200 || strings.Contains(body, "evil") || !strings.Contains(body, "https://clocks.example.org/") {
			t.Errorf("%s answers %d: %s", path, res.StatusCode, body)
		}
	}
}

// W33: many heads, many fields and long addresses are refused or answered, and
// nothing else happens.
func TestBombs(t *testing.T) {
	e := strangers(t)
	e.lets("tom")
	b := e.in("tom")
	many := url.Values{}
	for i := range 10000 {
		many.Add("f"+nthToken(i), "")
	}
	for _, path := range []string{"/login", "/me", "/forgot", "/clock/corn-hall/log", "/me/password"} {
		if res, _ := b.send(path, many); res.StatusCode/100 != 4 {
			t.Errorf("ten thousand fields to %s answer %d", path, res.StatusCode)
		}
	}
	long := strings.Repeat("x", 1<<20)
	for _, path := range []string{"/login?to=/" + long, "/" + long, "/due?person=" + long, "/join/" + long, "/me?done=" + long} {
		res, body := e.browser().get(path)
		if res.StatusCode >= 500 || len(body) > 3<<20 {
			t.Errorf("a long address answers %d with %d bytes", res.StatusCode, len(body))
		}
	}
	res, _ := e.browser().send("/login", url.Values{"name": {long[:50<<10]}, "password": {"x"}})
	status(t, "a long name", res, 422, "")
	b.head.Set("Cookie", strings.Repeat("a=b; ", 20000))
	if res, _ := b.get("/due"); res.StatusCode >= 500 {
		t.Errorf("many cookies answer %d", res.StatusCode)
	}
}

// W01: paths that climb out of where they stand, plain, encoded and encoded
// twice, lead to no file, and past no door.
func TestPathsThatClimb(t *testing.T) {
	e := strangers(t)
	kim := e.in("kim")
	for _, root := range []string{"/static/0/", "/clock/corn-hall/", "/picture/", "/login/", "/join/", "/calendar/", "/people/", "/api/clocks/corn-hall/", "/"} {
		for _, climb := range []string{"../../../etc/passwd", "..%2f..%2f..%2fetc%2fpasswd", "%2e%2e/%2e%2e/etc/passwd", "%252e%252e%252fetc%252fpasswd", "..%5c..%5cetc%5cpasswd",
			"../people", "..%2fpeople", "%2e%2e%2fpeople", "%252e%252e%252fpeople", "../../people/kim", "..%2f..%2fpage%2flayout.html", "..;/people", ".%00./people"} {
			for who, b := range map[string]*visit{"nobody": e.browser(), "kim": kim} {
				r, err := http.NewRequest("GET", "http://clocks.example.org"+root+climb, nil)
				if err != nil { // Go itself sends no such thing
					continue
				}
				r.RequestURI, r.RemoteAddr = root+climb, b.from
				for _, c := range b.cookies {
					r.AddCookie(c)
				}
				res, body := ask(t, e, r)
				if res.StatusCode == 200 && !strings.Contains(body, "<title>") || res.StatusCode >= 500 || strings.Contains(body, "root:") || strings.Contains(body, "{{") || strings.Contains(strings.ToLower(body), mark) {
					t.Errorf("%s gets %d for %s%s: %.100s", who, res.StatusCode, root, climb, body)
				}
			}
		}
	}
}

// W06: what is given to be kept as a file is called by a short name of ours, and
// by nothing that anybody typed.
func TestFileNames(t *testing.T) {
	e := strangers(t)
	for i := range e.desk.f.fleet.People {
		e.desk.f.fleet.People[i].Name += `"; filename="evil.exe`
	}
	e.desk.snap = e.desk.f.snapshot()
	res, _ := e.in("kim").get("/me/data")
	if got := res.Header.Get("Content-Disposition"); got != `attachment; filename="endshake-kim.json"` {
		t.Errorf("the file is called %s", got)
	}
}
