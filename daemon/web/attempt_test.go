package web

import (
	"fmt"
	"log/slog"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"testing"
	"time"

	"endshake/schedule"
)

// Whoever knows a name and asks once a second for ever does not lock its holder
// out, and gets few tries, from however many places: in the browser of before the
// holder is let in at once, and in another, where it is one place, after waiting
// as told.
func TestHolderIsLetInBesideAnAttacker(t *testing.T) {
	for _, places := range []int{1, 12} {
		e := newEntrance(t, func(o *Options) { o.Log = slog.New(slog.DiscardHandler) })
		e.lets("tom")
		home := e.in("tom")
		tried, asked := 0, 0
		tick := func() {
			e.desk.now = e.desk.now.Add(time.Second)
			for i := range places {
				b := e.browser()
				b.from = fmt.Sprintf("198.51.100.%d:9", i+1)
				if res, _ := b.send("/login", url.Values{"name": {"tom"}, "password": {"wrong"}}); res.StatusCode == 422 {
					tried++
				}
			}
		}
		right := func(b *visit) *http.Response {
			asked++
			b.from = fmt.Sprintf("203.0.113.%d:9", asked) // elsewhere each time
			delete(b.cookies, "__Host-endshake")          // as when the browser is closed
			res, _ := b.send("/login", url.Values{"name": {"tom"}, "password": {goodWord}})
			return res
		}
		for second := range 1200 {
			tick()
			if second%300 != 299 {
				continue
			}
			status(t, fmt.Sprintf("the browser of before, %d places", places), right(home), http.StatusSeeOther, "/")
			if places > 1 {
				continue
			}
			other := e.browser()
			res := right(other)
			for n := 0; n < 3 && res.StatusCode == 429; n++ {
				wait, _ := strconv.Atoi(res.Header.Get("Retry-After"))
				for range wait {
					tick()
				}
				res = right(other)
			}
			status(t, "another browser", res, http.StatusSeeOther, "/")
		}
		// Five, and one a minute at last; of those that have had theirs as many.
		if tried < 15 || tried > 70 {
			t.Errorf("%d places tried %d passwords in twenty minutes", places, tried)
		}
	}
}

// What a browser is known by opens nothing, is for one account, and holds until
// the password is another.
func TestKnownBrowser(t *testing.T) {
	e := newEntrance(t)
	e.lets("tom")
	e.lets("edda", runsFleet)
	b := e.in("tom")
	c := b.cookies["__Host-endshake-known"]
	if c == nil || !c.Secure || !c.HttpOnly || c.SameSite != http.SameSiteLaxMode || c.Path != "/" || c.Domain != "" || c.MaxAge <= 0 {
		t.Fatalf("the cookie is %+v", c)
	}
	delete(b.cookies, "__Host-endshake")
	res, _ := b.get("/due")
	status(t, "it alone", res, 303, "/login?to=%2Fdue")
	r := func(value string) *http.Request {
		r, _ := http.NewRequest("GET", "/", nil)
		r.AddCookie(&http.Cookie{Name: c.Name, Value: value})
		return r
	}
	tom, edda := e.book.accounts["tom"], e.book.accounts["edda"]
	if e.s.knows(r(c.Value), tom) == "" {
		t.Error("the browser is not known")
	}
	if e.s.knows(r(c.Value), edda) != "" || e.s.knows(r(c.Value), schedule.Account{}) != "" {
		t.Error("it is known for another account")
	}
	for _, forged := range []string{"", ".", "x.y", "x" + c.Value, c.Value + "x", strings.Split(c.Value, ".")[0]} {
		if e.s.knows(r(forged), tom) != "" {
			t.Errorf("%q is known", forged)
		}
	}
	tom.Hash = "another"
	if e.s.knows(r(c.Value), tom) != "" {
		t.Error("it is known after the password was changed")
	}
	// Wrong ones from a known browser wait as well.
	last := 0
	for range failFree + 1 {
		res, _ := b.send("/login", url.Values{"name": {"tom"}, "password": {"wrong"}})
		last = res.StatusCode
	}
	if last != 429 {
		t.Errorf("many wrong passwords of a known browser: %d", last)
	}
}

// A name and an address of the same person are counted apart, as those of two are
// and of nobody: waiting tells nobody that they belong together.
func TestWaitingTellsNothing(t *testing.T) {
	answers := func(first, second string) string {
		e := newEntrance(t)
		e.lets("tom")
		e.lets("edda", runsFleet)
		out, n := "", 0
		for _, name := range []string{first, second} {
			for range 7 {
				b := e.browser()
				n++
				b.from = fmt.Sprintf("198.51.100.%d:9", n)
				res, _ := b.send("/login", url.Values{"name": {name}, "password": {"wrong"}})
				out += fmt.Sprint(res.StatusCode, res.Header.Get("Retry-After"), " ")
			}
		}
		return out
	}
	want := answers("nobody", "nobody@example.org")
	for _, pair := range [][2]string{{"tom", "tom@example.org"}, {"tom@example.org", "TOM"}, {"tom", "edda@example.org"}, {strings.Repeat("x", 200), strings.Repeat("y", 200)}} {
		if got := answers(pair[0], pair[1]); got != want {
			t.Errorf("%.20s then %.20s: %s, want %s", pair[0], pair[1], got, want)
		}
	}
}

// A form of somebody who has to set up codes first is not taken, and does not look
// as if it were.
func TestFormBeforeCodes(t *testing.T) {
	e := newEntrance(t)
	e.lets("edda", func(a *schedule.Account) { a.Conservator = true })
	b := e.in("edda")
	res, body := b.send("/clock/mill/log", url.Values{"kind": {"wound"}, "at": {"2026-11-25T09:00"}})
	status(t, "a form", res, 401, "")
	if len(e.desk.logged) > 0 || !strings.Contains(body, "Nothing was logged") {
		t.Error(body)
	}
	res, _ = b.get("/clock/mill/log")
	status(t, "a page", res, 303, "/me/codes")
}

// What a conservator does to an account while its holder's own form is under way
// stays done.
func TestOwnAccountChangedMeanwhile(t *testing.T) {
	change := func(mend func(*schedule.Account)) func(*entrance) {
		return func(e *entrance) {
			a := e.book.accounts["tom"]
			mend(&a)
			e.book.accounts["tom"] = a
		}
	}
	newWord := url.Values{"old": {goodWord}, "password": {"another " + goodWord}, "twice": {"another " + goodWord}}
	for name, c := range map[string]struct {
		meanwhile func(*entrance)
		want      int
		ok        func(schedule.Account) bool
	}{
		"ended":                 {change(func(a *schedule.Account) { a.Ended = now }), 409, func(a schedule.Account) bool { return !a.Ended.IsZero() }},
		"invited anew":          {change(func(a *schedule.Account) { a.Hash, a.Changed = "", now }), 409, func(a schedule.Account) bool { return a.Hash == "" }},
		"conservator no longer": {change(func(a *schedule.Account) { a.Conservator = false }), 303, func(a schedule.Account) bool { return !a.Conservator }},
		"a code taken":          {change(func(a *schedule.Account) { a.LastCode += 9 }), 303, func(a schedule.Account) bool { return a.LastCode >= 9 }},
		"gone":                  {func(e *entrance) { delete(e.book.accounts, "tom") }, 409, func(a schedule.Account) bool { return a.Person == "" }},
	} {
		t.Run(name, func(t *testing.T) {
			e := newEntrance(t)
			e.lets("edda", runsFleet)
			e.lets("tom", runsFleet)
			b := e.in("tom")
			e.book.before = func() { e.book.before = nil; c.meanwhile(e) }
			res, _ := b.send("/me/password", newWord)
			status(t, "a new password", res, c.want, "")
			if a := e.book.accounts["tom"]; !c.ok(a) {
				t.Errorf("the account is %+v", a)
			}
		})
	}
}

// Whoever ran the fleet and was sent away does not run it by being invited anew;
// what they were given in letters ended with their access.
func TestInvitedAnewAfterTheEnd(t *testing.T) {
	e := newEntrance(t)
	e.lets("edda", runsFleet)
	e.lets("tom", runsFleet)
	p := asking(schedule.Winding, "going")
	p.Person = "tom"
	token := e.book.links.give(p)
	b := e.in("edda")
	res, _ := b.send("/people/tom", url.Values{"act": {"ended"}})
	status(t, "ending", res, 303, "/people/tom?done=ended")
	if a := e.book.accounts["tom"]; a.Conservator || a.Ended.IsZero() {
		t.Errorf("the account is %+v", a)
	}
	if e.book.links.by[token].Ended.IsZero() {
		t.Error("the link of a letter still answers")
	}
	closed := e.book.accounts["tom"]
	closed.Conservator = true // as kept before
	e.book.accounts["tom"] = closed
	b.send("/people/tom", url.Values{"act": {"invite"}})
	if a := e.book.accounts["tom"]; a.Conservator || !a.Ended.IsZero() {
		t.Errorf("invited anew: %+v", a)
	}
}

// Only under https is a browser told to keep to it.
func TestKeepsToHTTPS(t *testing.T) {
	for base, want := range map[string]string{"https://clocks.example.org/": "max-age=31536000", "http://127.0.0.1:8080/": "", "": ""} {
		e := newEntrance(t, func(o *Options) { o.Base = base })
		for _, path := range []string{"/login", "/api", "/answer/x"} {
			if res, _ := e.browser().get(path); res.Header.Get("Strict-Transport-Security") != want {
				t.Errorf("%s under %q: %q", path, base, res.Header.Get("Strict-Transport-Security"))
			}
		}
	}
}
