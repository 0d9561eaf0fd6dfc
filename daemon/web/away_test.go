package web

import (
	"context"
	"errors"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/getkin/kin-openapi/routers"

	"endshake/schedule"
)

// standsAs is a database that stands as a test has it.
type standsAs struct {
	answers, takes, open bool
	seen                 time.Time
}

func (d *standsAs) Standing() (answers, takes bool, seen time.Time) {
	return d.answers, d.takes, d.seen
}

func (d *standsAs) Passing(err error) (passing, open bool) { return errors.Is(err, errLost), d.open }

// errLost is what such a database says to what it does not do.
var errLost = errors.New("the line broke")

// gone is one that has not answered for two minutes.
func gone() *standsAs { return &standsAs{seen: now.Add(-2 * time.Minute)} }

// wantHeads holds the heads of an answer that a program goes by to the description:
// each that it carries is described for its status.
func wantHeads(t *testing.T, router routers.Router, r *http.Request, res *http.Response, heads ...string) {
	t.Helper()
	in, err := requestInput(router, r, nil)
	if err != nil {
		t.Fatal(err)
	}
	of := in.Route.Operation.Responses.Status(res.StatusCode)
	if of == nil {
		t.Fatalf("%s %s: %d is not described", r.Method, r.URL, res.StatusCode)
	}
	for _, head := range heads {
		if res.Header.Get(head) == "" {
			t.Errorf("%s %s: %d without %s", r.Method, r.URL, res.StatusCode, head)
		}
		if of.Value.Headers[head] == nil {
			t.Errorf("%s %s: %s of a %d is not described", r.Method, r.URL, head, res.StatusCode)
		}
	}
	for head := range of.Value.Headers {
		if !slices.Contains(heads, head) && res.Header.Get(head) != "" {
			t.Errorf("%s %s: %d with %s, which stands there unasked", r.Method, r.URL, res.StatusCode, head)
		}
	}
}

// While the database is away every address for programs says what it knows and how
// old that is, and what must be read or kept there is answered 503, as described.
// (Age: RFC 9111, 5.1; Retry-After: RFC 9110, 10.2.3.)
func TestAwayIsAsDescribed(t *testing.T) {
	_, router := described(t)
	d, lost := newDesk(), &standsAs{answers: true, takes: true, seen: now}
	programs := tokens{token("all"): {Name: "all", Scopes: allScopes, Ends: now.Add(time.Hour)}}
	o := Options{Desk: d, Album: d, Mailroom: newPost(), Programs: programs, Database: lost, History: d.history, Now: func() time.Time { return d.now }}
	h := newServer(o).handler()
	paths := []string{"/api", "/api/openapi.json", "/api/fleet", "/api/clocks/corn-hall", "/api/clocks/corn-hall/log", "/api/clocks/corn-hall/bearings",
		"/api/clocks/corn-hall/bearings/centre-front", "/api/clocks/corn-hall/pictures", "/api/due", "/api/outlook", "/api/lesson"}
	for _, away := range []bool{false, true} {
		heads := []string{"ETag"}
		if away {
			*lost, heads = *gone(), []string{"ETag", "Age", headKnown}
		}
		for _, path := range paths {
			r := bearer("GET", path, token("all"), "")
			res, _ := held(t, router, h, r)
			if res.StatusCode != 200 || away && (res.Header.Get("Age") != "120" || res.Header.Get(headKnown) != now.Add(-2*time.Minute).UTC().Format(time.RFC3339)) {
				t.Errorf("GET %s, away %v: %d, Age %q, known %q", path, away, res.StatusCode, res.Header.Get("Age"), res.Header.Get(headKnown))
			}
			wantHeads(t, router, r, res, heads...)
			r.Header.Set("If-None-Match", res.Header.Get("ETag"))
			if res, _ = held(t, router, h, r); res.StatusCode != 304 {
				t.Errorf("GET %s again, away %v: %d", path, away, res.StatusCode)
			}
			wantHeads(t, router, r, res, heads...)
		}
	}
	d.err = errLost
	for open, words := range apiAway {
		lost.open = open
		r := bearer("POST", "/api/clocks/corn-hall/log", token("all"), `{"kind":"noted","at":"2026-11-25T09:00:00Z","note":"x"}`)
		res, body := held(t, router, h, r)
		if res.StatusCode != 503 || !strings.Contains(body, sentence(words)) {
			t.Errorf("an entry, open %v: %d %s", open, res.StatusCode, body)
		}
		wantHeads(t, router, r, res, "Retry-After", "Age", headKnown)
	}
	o.Programs = lostPrograms{}
	h = newServer(o).handler()
	for _, path := range paths {
		r := bearer("GET", path, token("all"), "")
		res, _ := held(t, router, h, r)
		if res.StatusCode != 503 {
			t.Errorf("GET %s where no token can be read: %d", path, res.StatusCode)
		}
		wantHeads(t, router, r, res, "Retry-After", "Age", headKnown)
	}
}

// A page says how the database stands above all else, and as of when what it shows
// is known; a form comes back as it was filled in, and nothing is logged.
func TestAwayOnPages(t *testing.T) {
	d, lost := newDesk(), &standsAs{answers: true, seen: now.Add(-2 * time.Minute)}
	s := siteOf(t, d, func(o *Options) { o.Database = lost })
	for answers, want := range map[bool]string{
		false: "The database does not answer: what is shown is as it was known on 25 Nov 2026, 09:58 UTC",
		true:  "The database takes no changes at present: what is shown was read from it on 25 Nov 2026, 09:58 UTC",
	} {
		lost.answers = answers
		for _, path := range []string{"/", "/clock/corn-hall", "/clock/corn-hall/history", "/old-book", "/help"} {
			_, body := get(t, s, path)
			checkPage(t, path, body)
			if text := flat(t, body); strings.Count(text, want) != 1 {
				t.Errorf("%s, answers %v, does not say once %q: %.400s", path, answers, want, text)
			}
		}
	}
	d.err = errLost
	for _, path := range []string{"/clock/corn-hall/log?kind=noted", "/clock/corn-hall/do/wind?subject=going"} {
		res, body := send(t, s, path, url.Values{"kind": {"noted"}, "note": {"A jackdaw."}, "train": {"going"}, "ago": {"5"}})
		checkPage(t, path, body)
		if v := filled(t, body); res.StatusCode != 503 || !strings.Contains(flat(t, body), awayForm) || v.Get("note") != "A jackdaw." {
			t.Errorf("%s: %d with %q", path, res.StatusCode, v.Get("note"))
		}
	}
	if res, body := sendBook(t, s, towerBook, nil); res.StatusCode != 503 || !strings.Contains(flat(t, body), "Nothing was kept or changed") {
		t.Errorf("an old book: %d %.300s", res.StatusCode, flat(t, body))
	}
	if len(d.logged) > 0 {
		t.Errorf("%d entries are logged", len(d.logged))
	}
}

// answered is what the site answers, with its database away where it is so for them.
func (b *visit) answered(r *http.Request) (*http.Response, string) {
	b.e.t.Helper()
	if b.away {
		b.e.s.Database, b.e.desk.err = gone(), errLost
		defer func() { b.e.s.Database, b.e.desk.err = nil, nil }()
	}
	return ask(b.e.t, b.e, r)
}

// lostPrograms are those of a database that does not answer.
type lostPrograms struct{ Programs }

func (lostPrograms) Machine(context.Context, time.Time, string) (schedule.Machine, error) {
	return schedule.Machine{}, errLost
}
