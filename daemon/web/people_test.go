package web

import (
	"context"
	"encoding/json"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"endshake/schedule"
)

// handed are Tokens in memory.
type handed struct{ by []schedule.Machine }

func (p *handed) Machines(context.Context) ([]schedule.Machine, error) { return p.by, nil }

func (p *handed) GiveMachine(_ context.Context, _ string, now time.Time, m schedule.Machine) error {
	if slices.ContainsFunc(p.by, func(x schedule.Machine) bool { return x.Name == m.Name }) {
		return &schedule.Error{Code: schedule.Conflict, Message: "a program of this name has a token already"}
	}
	m.Made = now
	p.by = append(p.by, m)
	return nil
}

func (p *handed) EndMachine(_ context.Context, _ string, _ time.Time, name string) error {
	p.by = slices.DeleteFunc(p.by, func(x schedule.Machine) bool { return x.Name == name })
	return nil
}

func firstLink(e *entrance) string {
	t := nthToken(9999)
	e.book.links.by[t] = schedule.Pass{Token: t, Deed: schedule.First, Person: "first", Ends: e.desk.now.Add(7 * 24 * time.Hour)}
	return "/first/" + t
}

// From nothing to a fleet with its first conservator, who lets another in.
func TestFromTheFirstConservatorOn(t *testing.T) {
	e := newEntrance(t)
	at, b := firstLink(e), e.browser()
	res, body := b.get(at)
	status(t, "the first page", res, 200, "")
	checkPage(t, at, body)
	folded := func(body string) bool { // what only somebody new is asked
		_, after, _ := strings.Cut(body, "<details")
		tag, in, _ := strings.Cut(after, ">")
		in, _, _ = strings.Cut(in, "</details>")
		if !strings.Contains(in, `name="name"`) || !strings.Contains(in, `name="email"`) || !strings.Contains(in, `name="zone"`) || strings.Contains(in, `name="password"`) {
			t.Errorf("folded is %s", in)
		}
		return !strings.Contains(tag, "open")
	}
	if !folded(body) {
		t.Error("who is on the list is asked for a name too")
	}
	if _, body := b.send(at, url.Values{"name": {"Nell Marrowby"}, "zone": {"Mars/Base"}, "password": {goodWord}, "twice": {goodWord}}); folded(body) {
		t.Error("what is wrong is folded away")
	}
	for _, v := range []url.Values{
		{"person": {"edda"}, "password": {"short"}, "twice": {"short"}},
		{"person": {"edda"}, "password": {goodWord}, "twice": {goodWord + "x"}},
		{"person": {"edda"}, "password": {"eddaquillfeather1"}, "twice": {"eddaquillfeather1"}},
		{"name": {""}, "password": {goodWord}, "twice": {goodWord}},
		{"name": {"Nell Marrowby"}, "email": {"nonsense"}, "password": {goodWord}, "twice": {goodWord}},
		{"name": {"Nell Marrowby"}, "email": {"TOM@example.org"}, "password": {goodWord}, "twice": {goodWord}},
		{"name": {"Nell Marrowby"}, "zone": {"Mars/Base"}, "password": {goodWord}, "twice": {goodWord}},
	} {
		res, body := b.send(at, v)
		status(t, v.Encode(), res, 422, "")
		if checkPage(t, at, body); strings.Contains(body, goodWord) || !strings.Contains(body, "Nothing is kept yet") {
			t.Errorf("%v: %s", v, body)
		}
	}
	if len(e.book.accounts)+len(e.desk.saved) > 0 {
		t.Fatalf("%v is kept", e.book.accounts)
	}
	form := url.Values{"name": {"Nell Marrowby"}, "email": {"nell@example.org"}, "zone": {"Europe/London"}, "password": {goodWord}, "twice": {goodWord}}
	res, _ = b.send(at, form)
	status(t, "somebody new", res, 303, "/login?chosen=1")
	a := e.book.accounts["nell-marrowby"]
	if !a.Conservator || !a.Open() || len(e.book.sessions) > 0 {
		t.Fatalf("the account is %+v, with %d sessions", a, len(e.book.sessions))
	}
	res, _ = b.send(at, form)
	status(t, "the link again", res, 410, "")
	res, _ = b.send(firstLink(e), form)
	status(t, "another such link", res, 410, "")
	used := firstLink(e)
	p := e.book.links.by[strings.TrimPrefix(used, "/first/")]
	p.Ended = e.desk.now
	e.book.links.by[p.Token] = p
	if res, body = b.get(used); res.StatusCode != 410 || !strings.Contains(body, "Already used") || !slices.Contains(links(t, used, body), "/login") {
		t.Errorf("a used link answers %d: %s", res.StatusCode, body)
	}
	res, _ = b.send("/login", url.Values{"name": {"nell@example.org"}, "password": {goodWord}})
	status(t, "the password", res, 303, "/")
	res, _ = b.get("/")
	status(t, "anything before the codes", res, 303, "/me/codes")
}

func TestInvitation(t *testing.T) {
	for name, mend := range map[string]func(*Options){"by letter": func(*Options) {}, "by hand": func(o *Options) { o.Logins.Letter = nil }} {
		t.Run(name, func(t *testing.T) {
			e := newEntrance(t, mend)
			e.lets("edda", runsFleet)
			b := e.in("edda")
			for _, path := range []string{"/people", "/people/invite", "/people/tom"} {
				res, body := b.get(path)
				status(t, path, res, 200, "")
				checkPage(t, path, body)
			}
			res, body := b.send("/people/invite", url.Values{"name": {"Jörg Äpfel"}, "email": {"jorg@example.org"}})
			var link string
			if name == "by letter" {
				status(t, "inviting", res, 303, "/people/joerg-aepfel?done=invited")
				if len(e.book.letters) != 1 || e.book.letters[0].Kind != schedule.Invitation || e.book.letters[0].By != "Edda Quillfeather" {
					t.Fatalf("letters %+v", e.book.letters)
				}
				link = "/join/" + e.book.letters[0].Pass.Token
			} else {
				status(t, "inviting", res, 200, "")
				_, after, _ := strings.Cut(body, "https://clocks.example.org/join/")
				link = "/join/" + after[:32]
				if _, again := b.get("/people/joerg-aepfel"); strings.Contains(again, "/join/") {
					t.Error("the link is shown twice")
				}
			}
			guest := e.browser()
			res, body = guest.get(link)
			status(t, "the link", res, 200, "")
			checkPage(t, link, body)
			if res.Header.Get("Referrer-Policy") != "no-referrer" || len(guest.cookies) > 0 {
				t.Error("the page tells others of its address, or logs in")
			}
			e.desk.now = e.desk.now.Add(6 * 24 * time.Hour)
			res, _ = guest.send(link, url.Values{"password": {goodWord}, "twice": {goodWord}})
			status(t, "choosing", res, 303, "/login?chosen=1")
			res, body = guest.get(link)
			status(t, "the link again", res, 410, "")
			checkPage(t, link, body)
			if !strings.Contains(body, "Already used") || !slices.Contains(links(t, link, body), "/login") || !slices.Contains(links(t, link, body), "/forgot") {
				t.Errorf("a used link does not say so, or leads nowhere: %s", body)
			}
			e.in("joerg-aepfel")
		})
	}
}

func TestInvitationEnds(t *testing.T) {
	e := newEntrance(t)
	e.lets("edda", runsFleet)
	e.lets("tom")
	tom, b := e.in("tom"), e.in("edda")
	b.send("/people/tom", url.Values{"act": {"invite"}})
	b.send("/people/tom", url.Values{"act": {"invite"}})
	links := []string{"/join/" + e.book.letters[0].Pass.Token, "/join/" + e.book.letters[1].Pass.Token}
	res, _ := tom.get("/due")
	status(t, "what was open before", res, 303, "")
	res, _ = e.browser().send("/login", url.Values{"name": {"tom"}, "password": {goodWord}})
	status(t, "the password of before", res, 422, "")
	res, body := e.browser().get(links[0])
	status(t, "the first of two links", res, 410, "")
	if !strings.Contains(body, "It was taken back on") || !strings.Contains(body, "ask your conservator for another") {
		t.Errorf("a link that was taken back says %s", body)
	}
	e.desk.now = e.desk.now.Add(inviteFor + time.Second)
	res, body = e.browser().get(links[1])
	status(t, "a link of more than a week", res, 410, "")
	if !strings.Contains(body, "It ended on") || !strings.Contains(body, "ask your conservator for another") {
		t.Errorf("a link that is over says %s", body)
	}
}

// What lets others in asks for the password again after a quarter of an hour.
func TestPasswordOnceMore(t *testing.T) {
	e := newEntrance(t, func(o *Options) { o.Tokens = &handed{} })
	e.lets("edda", runsFleet)
	b := e.in("edda")
	e.desk.now = e.desk.now.Add(16 * time.Minute)
	for path, v := range map[string]url.Values{"/people/tom": {"act": {"invite"}}, "/people/invite": {"name": {"X"}}, "/people/programs": {"name": {"x"}}, "/me/codes": {"code": {"1"}}} {
		res, _ := b.send(path, v)
		status(t, path, res, 303, againAt(path))
		_, body := b.get(path)
		if path != "/me/codes" && !strings.Contains(body, "/login/again?to=") {
			t.Errorf("%s does not ask for the password", path)
		}
	}
	res, _ := b.send("/login/again", url.Values{"password": {"wrong"}, "to": {"/people/tom"}})
	status(t, "a wrong one", res, 422, "")
	res, _ = b.send("/login/again", url.Values{"password": {goodWord}, "to": {"/people/tom"}})
	status(t, "the right one", res, 303, "/people/tom")
	res, _ = b.send("/people/tom", url.Values{"act": {"invite"}})
	status(t, "inviting", res, 303, "/people/tom?done=invited")
}

func TestRolesAndRights(t *testing.T) {
	e := newEntrance(t)
	e.lets("edda", runsFleet)
	e.lets("tom")
	b, tom := e.in("edda"), e.in("tom")
	has := func(role schedule.Role) bool {
		c, _ := e.desk.f.fleet.Clock("quay")
		return c.Has("tom", role)
	}
	res, _ := b.send("/people/tom", url.Values{"act": {"give"}, "clock": {"quay"}, "role": {"clockmaker"}})
	status(t, "giving a role", res, 303, "/people/tom?done=give")
	if !has(schedule.Clockmaker) || e.desk.saved[0] != "edda" {
		t.Error("the role is not given")
	}
	b.send("/people/tom", url.Values{"act": {"take"}, "clock": {"quay"}, "role": {"clockmaker"}})
	if has(schedule.Clockmaker) {
		t.Error("the role is not taken back")
	}
	for _, v := range []url.Values{{"act": {"give"}, "clock": {"none"}, "role": {"keeper"}}, {"act": {"give"}, "clock": {"quay"}, "role": {"king"}}, {"act": {"erase"}}, {}} {
		if res, _ := b.send("/people/tom", v); res.StatusCode/100 != 4 {
			t.Errorf("%v answers %d", v, res.StatusCode)
		}
	}
	// The last conservator stays.
	for _, act := range []string{"conservator-end", "ended", "invite"} {
		res, body := b.send("/people/edda", url.Values{"act": {act}})
		status(t, act, res, 409, "")
		if !strings.Contains(body, "last conservator") {
			t.Error(body)
		}
	}
	res, _ = b.send("/people/tom", url.Values{"act": {"conservator"}})
	status(t, "making one", res, 303, "")
	res, _ = tom.get("/due")
	status(t, "what was open before", res, 303, "/login?to=%2Fdue")
	old := b.cookies["__Host-endshake"].Value
	res, _ = b.send("/people/edda", url.Values{"act": {"conservator-end"}})
	status(t, "going", res, 303, "")
	if b.cookies["__Host-endshake"].Value == old {
		t.Error("the cookie stays the same though the rights do not")
	}
	res, _ = b.get("/people")
	status(t, "the people", res, 403, "")
}

// W36: of two who change the same at once, the second is told.
func TestTwoTabs(t *testing.T) {
	e := newEntrance(t)
	e.lets("edda", runsFleet)
	b := e.in("edda")
	versionOn := func(path string) string {
		_, body := b.get(path)
		return hiddenOn(t, body, "version")
	}
	v := versionOn("/people/tom")
	one := url.Values{"act": {"details"}, "version": {v}, "name": {"Tom Barley"}, "email": {"tom@example.org"}}
	two := url.Values{"act": {"details"}, "version": {v}, "name": {"Thomas Barleymow"}, "email": {"tom@example.org"}}
	res, _ := b.send("/people/tom", one)
	status(t, "the first", res, 303, "")
	res, body := b.send("/people/tom", two)
	status(t, "the second", res, 409, "")
	if p, _ := e.desk.f.fleet.Person("tom"); p.Name != "Tom Barley" || !strings.Contains(body, "changed") {
		t.Errorf("he is %q: %s", p.Name, body)
	}
	v = versionOn("/me")
	mine := url.Values{"version": {v}, "units": {"thou"}, "kinds": {"due-list"}, "day": {"3"}, "hour": {"9"}}
	res, _ = b.send("/me", mine)
	status(t, "one's own", res, 303, "/me?done=kept")
	if p, _ := e.desk.f.fleet.Person("edda"); p.Units != "thou" || p.Mail.Day != 3 || p.Mail.Hour != 9 || len(p.Mail.Not) != len(schedule.NoticeKinds)-2 { // she owns none, and is offered no owner's month
		t.Errorf("kept %+v", p)
	}
	res, _ = b.send("/me", mine)
	status(t, "once more from the old form", res, 409, "")
}

func TestMe(t *testing.T) {
	e := newEntrance(t)
	e.lets("tom")
	b, other := e.in("tom"), e.in("tom")
	res, body := b.get("/me")
	status(t, "the page", res, 200, "")
	checkPage(t, "/me", body)
	v := version(e.desk.f.fleet.People[1])
	for _, wrong := range []url.Values{{"version": {v}, "units": {"furlong"}, "day": {"1"}, "hour": {"7"}}, {"version": {v}, "day": {"31"}, "hour": {"7"}}, {"version": {v}, "day": {"1"}, "hour": {"x"}}, {"version": {v}, "zone": {"Mars"}, "day": {"1"}, "hour": {"7"}}} {
		res, body := b.send("/me", wrong)
		status(t, wrong.Encode(), res, 422, "")
		checkPage(t, "/me", body)
	}
	// The password.
	res, _ = b.send("/me/password", url.Values{"old": {"wrong"}, "password": {goodWord + "!"}, "twice": {goodWord + "!"}})
	status(t, "a wrong old one", res, 422, "")
	res, _ = b.send("/me/password", url.Values{"old": {goodWord}, "password": {"tombarleymow99"}, "twice": {"tombarleymow99"}})
	status(t, "a weak new one", res, 422, "")
	res, _ = b.send("/me/password", url.Values{"old": {goodWord}, "password": {goodWord + "!"}, "twice": {goodWord + "!"}})
	status(t, "a new one", res, 303, "/me?done=password")
	res, _ = b.get("/me")
	status(t, "this browser", res, 200, "")
	res, _ = other.get("/me") // W27
	status(t, "the other browser", res, 303, "/login?to=%2Fme")
	// The calendar, shown once and taken back.
	_, body = b.send("/me/calendar", url.Values{})
	_, after, found := strings.Cut(body, "https://clocks.example.org/calendar/")
	if !found {
		t.Fatal(body)
	}
	at := "/calendar/" + after[:36]
	res, _ = e.browser().get(at)
	status(t, at, res, 200, "")
	b.send("/me/calendar", url.Values{"end": {"yes"}})
	res, _ = e.browser().get(at)
	status(t, "it afterwards", res, 410, "")
	// One's own data.
	res, body = b.get("/me/data")
	status(t, "the data", res, 200, "")
	var mine struct {
		Person  struct{ Email string }
		Entries []struct{ By string }
	}
	if err := json.Unmarshal([]byte(body), &mine); err != nil || mine.Person.Email != "tom@example.org" || len(mine.Entries) == 0 || strings.Contains(body, "argon2id") {
		t.Errorf("%v: %s", err, body)
	}
	for _, entry := range mine.Entries {
		if entry.By != "tom" {
			t.Errorf("an entry by %s", entry.By)
		}
	}
	// Logins ended one by one; another's not.
	e.lets("edda", runsFleet)
	edda := e.in("edda")
	var theirs string
	list, _ := e.s.sessionsOf(context.Background(), "edda")
	theirs = list[0].key
	res, _ = b.send("/me/sessions", url.Values{"session": {theirs}})
	status(t, "another's login", res, 404, "")
	res, _ = edda.get("/")
	status(t, "which goes on", res, 200, "")
	list, _ = e.s.sessionsOf(context.Background(), "tom")
	res, _ = b.send("/me/sessions", url.Values{"session": {list[0].key}})
	status(t, "one's own", res, 303, "/login?ended=1")
}

// W31: a mailbox gets three letters an hour, and nobody is told whether there is
// one.
func TestForgotten(t *testing.T) {
	e := newEntrance(t)
	e.lets("tom")
	e.lets("edda", runsFleet)
	_, want := e.browser().send("/forgot", url.Values{"name": {"nobody@example.org"}})
	b := e.browser()
	for range 10 {
		res, body := b.send("/forgot", url.Values{"name": {"tom@example.org"}})
		if status(t, "asking", res, 200, ""); body != want {
			t.Errorf("whoever is known is answered otherwise: %s", body)
		}
		e.s.late.Wait()
	}
	checkPage(t, "/forgot", want)
	if n := len(e.book.letters); n != 3 || e.book.letters[0].Kind != schedule.NewPassword {
		t.Fatalf("%d letters", n)
	}
	e.desk.now = e.desk.now.Add(time.Hour + time.Second)
	b.send("/forgot", url.Values{"name": {"tom"}})
	e.s.late.Wait()
	last := e.book.letters[len(e.book.letters)-1].Pass
	if len(e.book.letters) != 4 || last.Ends.Sub(e.desk.now) != 10*time.Minute {
		t.Fatalf("%d letters, the last until %v", len(e.book.letters), last.Ends)
	}
	res, _ := e.browser().get("/join/" + last.Token)
	status(t, "the link in another browser", res, 403, "")
	res, _ = e.browser().get("/join/" + e.book.letters[2].Pass.Token)
	status(t, "an earlier link", res, 410, "")
	res, _ = b.get("/join/" + last.Token)
	status(t, "the link where it was asked for", res, 200, "")
	if e.book.accounts["tom"].Hash == "" {
		t.Error("asking alone ends the password")
	}
	res, _ = b.send("/join/"+last.Token, url.Values{"password": {goodWord + "?"}, "twice": {goodWord + "?"}})
	status(t, "choosing", res, 303, "/login?chosen=1")
	b.send("/forgot", url.Values{"name": {"edda"}})
	e.s.late.Wait()
	last = e.book.letters[len(e.book.letters)-1].Pass
	e.desk.now = e.desk.now.Add(10*time.Minute + time.Second)
	res, _ = b.get("/join/" + last.Token)
	status(t, "eleven minutes later", res, 410, "")
	if strings.Contains(e.said.String(), "@example.org") || strings.Contains(e.said.String(), last.Token) {
		t.Error("the log has an address or a token")
	}
}

func TestPrograms(t *testing.T) {
	held := &handed{}
	e := newEntrance(t, func(o *Options) { o.Tokens = held })
	e.lets("edda", runsFleet)
	b := e.in("edda")
	good := url.Values{"name": {"scraper"}, "scopes": {"metrics"}, "ends": {e.desk.now.AddDate(1, 0, 0).Format("2006-01-02")}}
	with := func(key string, value ...string) url.Values {
		v := url.Values{}
		for k, x := range good {
			v[k] = x
		}
		v[key] = value
		return v
	}
	for _, v := range []url.Values{with("name"), with("scopes"), with("scopes", "root"), with("ends", "2099-01-01"), with("ends", "2020-01-01"), with("ends", "x"),
		with("clocks", "none"), with("clocks", "mill"), with("name", strings.Repeat("x", 70))} {
		res, body := b.send("/people/programs", v)
		status(t, v.Encode(), res, 422, "")
		checkPage(t, "/people/programs", body)
	}
	res, body := b.send("/people/programs", good)
	status(t, "giving", res, 200, "")
	m := held.by[0]
	if !strings.Contains(body, m.Token) || len(m.Token) != 32 || m.Ends.Sub(e.desk.now) > 366*24*time.Hour {
		t.Errorf("the token %q until %v", m.Token, m.Ends)
	}
	_, body = b.get("/people/programs")
	if checkPage(t, "/people/programs", body); strings.Contains(body, m.Token) || !strings.Contains(body, "scraper") {
		t.Error("the token is shown twice, or its program not at all")
	}
	res, _ = b.send("/people/programs", good)
	status(t, "the same name again", res, 422, "")
	res, _ = b.send("/people/programs", url.Values{"end": {"scraper"}})
	if status(t, "taking back", res, 303, ""); len(held.by) > 0 {
		t.Error("it is not taken back")
	}
}

func TestAuditPage(t *testing.T) {
	var asked []any
	e := newEntrance(t, func(o *Options) {
		o.Audit = func(_ context.Context, actor string, before int64, limit int) (out []Change, _ error) {
			asked = append(asked, actor, before, limit)
			for i := range limit {
				out = append(out, Change{ID: 500 - int64(i), At: now, Actor: "tom", Action: "logged", Subject: "clock mill", Detail: evil})
			}
			return out, nil
		}
	})
	e.lets("edda", runsFleet)
	b := e.in("edda")
	for path, want := range map[string]string{"/audit": "", "/audit?who=tom&before=77": "tom"} {
		asked = nil
		res, body := b.get(path)
		status(t, path, res, 200, "")
		checkPage(t, path, body)
		checkTame(t, path, body)
		if asked[0] != want || !strings.Contains(body, "before=401") || !strings.Contains(body, "Tom Barleymow") {
			t.Errorf("%s asks for %v", path, asked)
		}
	}
}

// A change is said in words, with a way to what it is of.
func TestAuditLines(t *testing.T) {
	snap := newFixture().snapshot()
	name := func(slug string) string {
		a, _ := snap.Clock(slug)
		return a.Clock.Name
	}
	for _, x := range []struct {
		c    Change
		want auditLine
	}{
		{Change{Actor: "tom", Action: "logged", Subject: "clock mill", Detail: "wound 01a215f0-0000-7000-8000-000000000000"}, auditLine{Who: "Tom Barleymow", What: "logged", Of: name("mill"), Address: "/clock/mill", Detail: "wound"}},
		{Change{Actor: "command", Action: "described", Subject: "person tom", Detail: `{"Slug":"tom"}`}, auditLine{Who: "command", What: "described", Of: "Tom Barleymow", Address: "/people/tom", Raw: `{"Slug":"tom"}`}},
		{Change{Actor: "demo", Action: "logged many", Subject: "the log", Detail: "12 entries"}, auditLine{Who: "demo", What: "logged many", Of: "the log", Detail: "12 entries"}},
		{Change{Actor: "tom", Action: "pass given", Subject: "person gone", Detail: "following"}, auditLine{Who: "Tom Barleymow", What: "pass given", Of: "person gone", Detail: "following"}},
	} {
		x.c.At, x.want.When = now, schedule.Instant(now, time.UTC)
		if got := newAuditLine(x.c, snap); got != x.want {
			t.Errorf("%+v, want %+v", got, x.want)
		}
	}
}

// The page of the audit says whether its rows fit together, and loudly where not.
func TestAuditPageSaysWhetherItFits(t *testing.T) {
	var c schedule.AuditCheck
	e := newEntrance(t, func(o *Options) {
		o.Audit = func(context.Context, string, int64, int) ([]Change, error) { return nil, nil }
		o.AuditCheck = func(context.Context) (schedule.AuditCheck, bool, error) { return c, !c.At.IsZero(), nil }
	})
	e.lets("edda", runsFleet)
	b := e.in("edda")
	for _, test := range []struct {
		c     schedule.AuditCheck
		want  string
		alert bool
	}{
		{schedule.AuditCheck{}, "for the first time tonight", false},
		{schedule.AuditCheck{At: now, Rows: 5}, "Every row fits those before it, looked at", false},
		{schedule.AuditCheck{At: now, Rows: 5, Broken: 6, Why: evil}, "Row 6 does not fit those before it", true},
	} {
		c = test.c
		res, body := b.get("/audit")
		status(t, test.want, res, 200, "")
		checkPage(t, "/audit", body)
		checkTame(t, "/audit", body)
		if !strings.Contains(body, test.want) || strings.Contains(body, `role="alert"`) != test.alert {
			t.Errorf("want %q, alert %v in %s", test.want, test.alert, body)
		}
	}
}

// Letters with a link are for their reader alone, not for whoever runs the mail.
func TestMailRoomKeepsLinks(t *testing.T) {
	e := newEntrance(t)
	e.lets("edda", runsFleet)
	e.post.notices = append(e.post.notices, schedule.Notice{ID: "m9", Kind: schedule.NewPassword, Person: "tom", Title: "Choose a new password", Raw: []byte(sample), State: schedule.Sent})
	b := e.in("edda")
	if _, body := b.get("/mail/m9"); strings.Contains(body, "going train") || !strings.Contains(body, "for its reader alone") {
		t.Error(body)
	}
	res, _ := b.get("/mail/m9/html")
	status(t, "its HTML", res, http.StatusNotFound, "")
}
