package web

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"endshake/daemon/login"
	"endshake/schedule"
)

// everyRoom opens the pages that stand only where there is something to show: of
// settings, of programs, of who changed what and of mail that came in.
func everyRoom(o *Options) {
	o.Settings = func(context.Context) (Settings, error) { return sampleSettings, nil }
	if o.Tokens == nil {
		o.Tokens = &handed{}
	}
	if o.Audit == nil {
		o.Audit = func(context.Context, string, int64, int) ([]Change, error) {
			return []Change{{ID: 1, At: now, Actor: "tom", Action: "logged", Subject: "clock corn-hall", Detail: "wound"}}, nil
		}
	}
	if o.Exported == nil {
		o.Exported = func(context.Context, string, []string) error { return nil }
		o.Erase = func(context.Context, string, string) (schedule.Erasure, error) {
			return schedule.Erasure{Number: 1}, nil
		}
	}
	o.Inward = &inwardRoom{list: []schedule.Inward{
		{ID: "i1", At: now, From: "tom@example.org", Person: "tom", Clock: "corn-hall", Title: "Re: wind", State: schedule.Held, Why: "it asks a question", Raw: []byte("x")},
		{ID: "i2", At: now, Title: "Undelivered", State: schedule.Bounced, Why: "5.1.1 no such user"}}}
	o.ReadInward = func(schedule.Inward) string { return "Wound it, and is the rope worn?" }
	o.Arrivals = func() []schedule.Arrival {
		return []schedule.Arrival{{Number: 1, At: now, From: "clocks@example.org", To: []string{"tom@example.org"}, Raw: []byte(sample)}}
	}
}

// The mark stands in all that belongs to the clock of others, and in nothing else.
const mark = "zqxvq"

// strangers gives a site with corn-hall, which kim keeps, wyn winds and owen owns,
// and with a clock of others, which zqxvqkeeper keeps.
func strangers(t *testing.T, mend ...func(*Options)) *entrance {
	d := newDesk()
	f := d.f
	f.fleet.Clocks = f.fleet.Clocks[:3]
	f.fleet.Sites = f.fleet.Sites[:2]
	for _, p := range []string{"kim", "wyn", "owen"} {
		f.fleet.People = append(f.fleet.People, schedule.Person{Slug: p, Name: "Own " + p, Email: p + "@example.org"})
	}
	f.fleet.People = append(f.fleet.People, schedule.Person{Slug: "zqxvqkeeper", Name: "ZQXVQNAMED", Email: "zqxvqmail@example.org"})
	f.fleet.Clocks[0].Duties = append(f.fleet.Clocks[0].Duties, schedule.Duty{Person: "kim", Role: schedule.Keeper},
		schedule.Duty{Person: "wyn", Role: schedule.Winder}, schedule.Duty{Person: "owen", Role: schedule.Owner})
	site, c := &f.fleet.Sites[1], &f.fleet.Clocks[2]
	site.Slug, site.Name, site.Place, site.Access, site.Caution = "zqxvqsite", "ZQXVQSITE", "ZQXVQPLACE", "ZQXVQACCESS", "ZQXVQCAUTION"
	c.Slug, c.Name, c.Site, c.Note = "zqxvqclock", "ZQXVQCLOCK", "zqxvqsite", "ZQXVQNOTE"
	c.Duties = []schedule.Duty{{Person: "zqxvqkeeper", Role: schedule.Keeper}, {Person: "zqxvqkeeper", Role: schedule.Owner}}
	for i := range c.Trains {
		c.Trains[i].Name = "ZQXVQTRAIN"
		for j := range c.Trains[i].Arbors {
			for k := range c.Trains[i].Arbors[j].Bearings {
				c.Trains[i].Arbors[j].Bearings[k].Name = "ZQXVQBEARING"
			}
		}
	}
	for slug, list := range f.log {
		for i := range list {
			if slug == "quay" {
				list[i].Clock, list[i].By, list[i].Note = "zqxvqclock", "zqxvqkeeper", "ZQXVQENTRY"
			}
		}
	}
	f.log["zqxvqclock"] = f.log["quay"]
	delete(f.log, "quay")
	delete(f.log, "bad")
	d.snap = f.snapshot()
	d.album = []schedule.Picture{
		{ID: "p-own", Clock: "corn-hall", Entry: f.log["corn-hall"][0].ID, At: now, Words: "own", JPEG: []byte("own picture"), Small: []byte("own small")},
		{ID: "p-other", Clock: "zqxvqclock", Entry: f.log["zqxvqclock"][0].ID, At: now, Words: "ZQXVQPICTURE", JPEG: []byte("ZQXVQJPEG"), Small: []byte("ZQXVQSMALL")}}
	e := newEntrance(t, append([]func(*Options){func(o *Options) {
		o.Desk, o.Album, o.History, o.SaveFleet = d, d, d.history, d.save
		o.Now = func() time.Time { return d.now }
		o.Programs, o.Tokens = programOf{}, &handed{}
		o.Audit = func(context.Context, string, int64, int) ([]Change, error) {
			return []Change{{1, now, "zqxvqkeeper", "logged", "clock zqxvqclock", "ZQXVQDETAIL"}}, nil
		}
		o.Exported = func(_ context.Context, actor string, clocks []string) error {
			d.saved = append(d.saved, actor+" took away "+strings.Join(clocks, ", "))
			return nil
		}
		o.Erase = func(_ context.Context, actor, person string) (schedule.Erasure, error) {
			d.saved = append(d.saved, actor+" erased "+person)
			return schedule.Erasure{Person: person, Number: 1}, nil
		}
		everyRoom(o)
		o.Inward = &inwardRoom{list: []schedule.Inward{
			{ID: "i-own", At: now, From: "kim@example.org", Person: "kim", Clock: "corn-hall", Title: "Re: wind", State: schedule.Held, Why: "it asks a question", Raw: []byte("x")},
			{ID: "i-other", At: now, From: "zqxvqmail@example.org", Person: "zqxvqkeeper", Clock: "zqxvqclock", Title: "ZQXVQSUBJECT", State: schedule.Held, Why: "it asks a question", Raw: []byte("x")}}}
	}}, mend...)...)
	e.desk = d
	e.s.rounds = roundsBy(map[string]string{"corn-hall": "kim", "zqxvqsite": "zqxvqkeeper"})
	d.marks = []schedule.RoundMark{{Kind: schedule.BarVisit, Site: "corn-hall", Person: "kim", Day: d.snap.Today().Add(30), Why: "own reason", By: "kim", At: now},
		{Kind: schedule.BarVisit, Site: "zqxvqsite", Person: "zqxvqkeeper", Day: d.snap.Today().Add(30), Why: "ZQXVQMARK", By: "zqxvqkeeper", At: now}}
	e.book.now = func() time.Time { return d.now }
	e.post.notices[0].Person, e.post.notices[0].Title, e.post.notices[0].Clock = "zqxvqkeeper", "ZQXVQTITLE", "zqxvqclock"
	e.post.boxes = []schedule.Mailbox{{Address: "kim@example.org", Stopped: now, Why: "550"}, {Address: "zqxvqmail@example.org", Stopped: now, Why: "550"}}
	for _, p := range []string{"kim", "wyn", "owen"} {
		e.lets(p)
	}
	e.lets("edda", runsFleet)
	return e
}

// programOf finds the one program, which may read and log one clock.
type programOf struct{}

func (programOf) Machine(_ context.Context, _ time.Time, token string) (schedule.Machine, error) {
	if token != nthToken(77) {
		return schedule.Machine{}, &schedule.Error{Code: schedule.NotFound, Message: "no program has this token"}
	}
	return schedule.Machine{Name: "gauge", Scopes: []schedule.Scope{schedule.ScopeRead, schedule.ScopeLog}, Clocks: []string{"corn-hall"}}, nil
}

// reader is a browser of one of the readers, or their program.
func (e *entrance) reader(who string) *visit {
	e.t.Helper()
	b := e.browser()
	switch who {
	case "program":
		b.head.Set("Authorization", "Bearer "+nthToken(77))
	case "edda", "kim", "wyn", "owen":
		b = e.in(who)
	}
	return b
}

// linkRootOf is where the pages of a pass stand.
var linkRootOf = map[schedule.Deed]string{schedule.Answering: "/answer/", schedule.Declining: "/decline/", schedule.Following: "/calendar/",
	schedule.Joining: "/join/", schedule.First: "/first/"}

// passes gives a pass of each deed: of one's own, good ones of kim's; of others,
// such as open nothing more, for a clock that is not kim's, for somebody who is
// not there, or used. Their tokens are always the same.
func (e *entrance) passes(which string) map[schedule.Deed]string {
	gone := now.Add(-time.Minute)
	all := []schedule.Pass{
		{Deed: schedule.Answering, Person: "kim", Clock: "corn-hall", Task: schedule.Winding, Subject: "going"},
		{Deed: schedule.Declining, Person: "kim", Kind: schedule.WindReminder},
		{Deed: schedule.Following, Person: "kim"},
		{Deed: schedule.Joining, Person: "kim", Ends: now.Add(time.Hour)},
		{Deed: schedule.First, Person: "first", Ends: now.Add(time.Hour)},
	}
	out := map[schedule.Deed]string{}
	for i, p := range all {
		if which == "other" {
			switch p.Deed {
			case schedule.Answering:
				p.Clock = "zqxvqclock"
			case schedule.First:
				p.Ended = gone
			default:
				p.Person = "nobody-here"
			}
		}
		p.Token, p.Made = nthToken(500+10*i+len(which)), now.Add(-time.Hour)
		e.book.links.mu.Lock()
		e.book.links.by[p.Token] = p
		e.book.links.mu.Unlock()
		out[p.Deed] = p.Token
	}
	return out
}

// placed puts into a pattern what is one's own, what is of others, or what is
// nowhere. Only a link knows tokens that are.
func (e *entrance) placed(pattern, who, which string) string {
	e.t.Helper()
	in := map[string]map[string]string{
		"own":   {"clock": "corn-hall", "entry": e.desk.f.log["corn-hall"][3].ID, "id": "p-own", "person": "kim"},
		"other": {"clock": "zqxvqclock", "entry": e.desk.f.log["zqxvqclock"][0].ID, "id": "p-other", "person": "zqxvqkeeper"},
		"none":  {"clock": "none-such", "entry": "none-such", "id": "none-such", "person": "none-such"},
	}[which]
	for root, own := range map[string]string{"/mail/": "m3", "/inward/": "i-own"} {
		if strings.HasPrefix(pattern, root) {
			in["id"] = map[string]string{"own": own, "other": map[string]string{"/mail/": "m1", "/inward/": "i-other"}[root]}[which]
		}
	}
	for k, v := range map[string]string{"bearing": "centre-front", "work": "look", "sheet": "washer", "n": "1", "name": "endshake.css",
		"hash": e.s.views.files.byName["endshake.css"].hash, "day": e.desk.snap.Today().Add(8).String(), "token...": "nothing", "file...": "nothing.ics"} {
		in[k] = v
	}
	if root := ofLink(pattern); root != "" && who == "link" && which != "none" {
		for deed, token := range e.passes(which) {
			if linkRootOf[deed] == root {
				in["token..."], in["file..."] = token, token+".ics"
			}
		}
	}
	in["picture"] = in["id"]
	path := strings.TrimSuffix(pattern, "{$}")
	for k, v := range in {
		path = strings.ReplaceAll(path, "{"+k+"}", v)
	}
	if strings.Contains(path, "{") {
		e.t.Errorf("the test does not know all parts of %s", pattern)
	}
	return path
}

// kept is all that a form may change, in words, but for who is logged in.
func (e *entrance) kept() string {
	e.book.mu.Lock()
	defer e.book.mu.Unlock()
	var passes []string
	for token, p := range e.book.links.by {
		if ofTest := p.Made.Equal(now.Add(-time.Hour)); !ofTest || p.Ended.Equal(now) {
			passes = append(passes, fmt.Sprint(token, p.Deed, p.Ended))
		}
	}
	slices.Sort(passes)
	programs, _ := e.s.Tokens.Machines(context.Background())
	held, _ := e.s.Inward.Inwards(context.Background(), 10)
	return fmt.Sprint(len(e.desk.marks), e.desk.marks, len(e.desk.logged), len(e.desk.album), e.desk.saved, e.post.resent, e.post.started, len(e.book.letters), e.book.accounts, e.book.audit, e.book.links.declined,
		passes, len(programs), held)
}

// question is a request that an address takes, filled in as one may who can do
// everything there.
func (e *entrance) question(b *visit, pattern, path, who, which string) *http.Request {
	e.t.Helper()
	name, at := who, "2026-11-24T09:30"
	if !slices.Contains([]string{"edda", "kim", "wyn", "owen"}, who) {
		name = ""
	}
	person, _ := e.desk.f.fleet.Person(name)
	clock, _ := e.desk.f.fleet.Clock(map[string]string{"own": "corn-hall", "other": "zqxvqclock"}[which])
	if pattern == "/api/clocks/{clock}/log" {
		return posting(path, "application/json", `{"kind":"noted","at":"2026-11-24T09:30:00Z","note":"seen"}`)
	}
	if pattern == "/old-book" {
		kind, body := bookForm(e.t, "date,clock,what\n2026-11-24,"+clock.Slug+",inspected\n", url.Values{"keep": {"yes"}})
		return posting(path, kind, body)
	}
	if pattern == "/me/codes" { // the code that the page shows is typed back
		_, page := b.get(path)
		code, _ := login.CodeAt(secretOn(page), e.desk.now)
		return posting(path, "application/x-www-form-urlencoded", url.Values{"code": {code}}.Encode())
	}
	of := name
	if which == "other" {
		of = map[bool]string{true: "edda", false: "kim"}[name == "kim"]
		e.in(of)
	}
	session := ""
	if name != "" {
		if list, err := e.s.sessionsOf(context.Background(), of); err != nil || len(list) == 0 {
			e.t.Fatalf("%s has no session: %v", of, err)
		} else {
			session = list[0].key
		}
	}
	v := map[string]url.Values{
		"/clock/{clock}/bearing/{bearing}/limits": {"version": {version(clock)}, "act": {"1.9 mm"}, "actSource": {"Edda, by hand"}},
		"/clock/{clock}/do/{work}":                {"found": {"sound"}, "at": {at}, "by": {name}},
		"/clock/{clock}/card/entry":               cardLinesOf(map[string]string{"date": "2026-11-24", "time": "09:30", "kind": "noted", "note": "seen", "by": name}),
		"/clock/{clock}/log":                      {"kind": {"noted"}, "note": {"seen"}, "at": {at}, "by": {name}},
		"/people/invite":                          {"name": {"Nell Marrowby"}, "email": {"nell@example.org"}},
		"/people/programs":                        {"name": {"scraper"}, "scopes": {"metrics"}, "ends": {"2027-05-01"}},
		"/people/{person}":                        {"act": {"give"}, "clock": {"mill"}, "role": {"keeper"}},
		"/people/{person}/erase":                  {"sure": {map[string]string{"own": "kim", "other": "zqxvqkeeper"}[which]}}, "/export": {}, "/clock/{clock}/history": {},
		"/rounds/{person}/{day}": {"act": {"set"}}, "/rounds": {"kind": {"not"}, "day": {e.desk.snap.Today().Add(30).String()},
			"site": {map[string]string{"own": "corn-hall", "other": "zqxvqsite"}[which]}, "person": {map[string]string{"own": "kim", "other": "zqxvqkeeper"}[which]}},
		"/mail/{id}/resend": {}, "/mailbox": {"address": {map[string]string{"own": "kim@example.org", "other": "zqxvqmail@example.org"}[which]}},
		"/inward/{id}": {}, "/answer/{token...}": {"said": {"done"}}, "/decline/{token...}": {"List-Unsubscribe": {"One-Click"}},
		"/join/{token...}":  {"password": {goodWord + "!"}, "twice": {goodWord + "!"}},
		"/first/{token...}": {"person": {"kim"}, "password": {goodWord + "!"}, "twice": {goodWord + "!"}},
		"/login":            {"name": {"kim"}, "password": {goodWord}}, "/login/code": {"code": {"123456"}}, "/login/again": {"password": {goodWord}},
		"/logout": {}, "/forgot": {"name": {"kim"}}, "/me/codes/end": {}, "/me/calendar": {}, "/me/sessions": {"session": {session}},
		"/me":          {"version": {version(person)}, "units": {"thou"}, "day": {"2"}, "hour": {"8"}},
		"/me/password": {"old": {goodWord}, "password": {goodWord + "!"}, "twice": {goodWord + "!"}},
	}
	form, ok := v[pattern]
	if !ok {
		e.t.Errorf("the test does not know how to fill in %s", pattern)
	}
	q := posting(path, "application/x-www-form-urlencoded", form.Encode())
	if ofLink(path) != "" { // its page tells no origin, nor does a mail program
		q.Header.Del("Sec-Fetch-Site")
		q.Header.Set("Origin", "null")
	}
	return q
}

// secretOn is the secret that the page of one-time codes shows, in groups of four.
func secretOn(page string) string {
	_, after, _ := strings.Cut(page, `<span class="secret">`)
	secret, _, _ := strings.Cut(after, "<")
	return strings.ReplaceAll(secret, " ", "")
}
