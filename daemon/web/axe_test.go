package web

import (
	"context"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"endshake/daemon/browsertest"
	"endshake/schedule"
)

// notPages are addresses that answer with no page of the layout.
var notPages = []string{"/picture/{id}", "/picture/{id}/small", "/mail/{id}/html", "/arrived/{n}/html", "/calendar/{file...}", "/static/{hash}/{name}", "/me/data"}

// axePaths are the pages of each address that has a blank to fill; an address
// without one is a page by itself. Each template stands once, and again for what
// else it shows.
func axePaths(e *entrance) map[string][]string {
	l := e.book.links
	token := func(base string, p schedule.Pass) []string { return []string{base + l.give(p)} }
	return map[string][]string{
		"/reckoner/{sheet}":                       {"/reckoner/washer", "/reckoner/washer?end-shake=1.15", "/reckoner/wear?rod=8+ft&thick=1%2F2+in&outer=24+mm&inner=13+mm&pair=steel+on+brass&oil=aged&running=100+years&revs-per-hour=1"},
		"/clock/{clock}":                          {"/clock/corn-hall", "/clock/mill", "/clock/lych-gate"},
		"/clock/{clock}/bearing/{bearing}":        {"/clock/bell-house/bearing/worn?washer=0.5+mm&oilDays=90", "/clock/bell-house/bearing/worn?washer=0.5&outer=20+mm", "/clock/quay/bearing/centre-front"},
		"/clock/{clock}/bearing/{bearing}/limits": {"/clock/bell-house/bearing/worn/limits"},
		"/clock/{clock}/do/{work}":                {"/clock/corn-hall/do/wind?subject=going", "/clock/bell-house/do/measure?subject=worn", "/clock/corn-hall/do/oil", "/clock/mill/do/stopped"},
		"/clock/{clock}/done/{entry}":             {"/clock/corn-hall/done/e001"},
		"/clock/{clock}/log":                      {"/clock/corn-hall/log", "/clock/corn-hall/log?kind=measured", "/clock/mill/log?kind=stopped"},
		"/clock/{clock}/label":                    {"/clock/corn-hall/label"},
		"/clock/{clock}/card":                     {"/clock/corn-hall/card"},
		"/clock/{clock}/report":                   {"/clock/corn-hall/report", "/clock/bell-house/report", "/clock/lych-gate/report"},
		"/clock/{clock}/history":                  {"/clock/corn-hall/history", "/clock/bell-house/history", "/clock/lych-gate/history"},
		"/clock/{clock}/card/entry":               {"/clock/corn-hall/card/entry"},
		"/people/{person}":                        {"/people/tom"},
		"/rounds/{person}/{day}":                  {e.roundAt("corn-hall"), "/rounds/tom/2026-12-24"},
		"/people/{person}/erase":                  {"/people/tom/erase"},
		"/mail/{id}":                              {"/mail/m1"},
		"/inward/{id}":                            {"/inward/i1"},
		"/arrived/{n}":                            {"/arrived/1"},
		"/answer/{token...}":                      append(token("/answer/", asking(schedule.Winding, "going")), token("/answer/", asking(schedule.Measuring, "centre-front"))...),
		"/decline/{token...}":                     token("/decline/", schedule.Pass{Deed: schedule.Declining, Person: "tom", Kind: schedule.Standing}),
		"/join/{token...}":                        token("/join/", schedule.Pass{Deed: schedule.Joining, Person: "tom"}),
		"/first/{token...}":                       token("/first/", schedule.Pass{Deed: schedule.First}),
	}
}

// stop is a page to look at, with who is to look at it and what it is answered.
type stop struct {
	path string
	by   string // "known" runs the fleet, "half" owes their code, "nobody" is not logged in
	want int
}

// refusedStops are the pages of axePaths that say what is wrong in their address.
var refusedStops = []string{"/clock/bell-house/bearing/worn?washer=0.5&outer=20+mm", "/reckoner/washer?end-shake=1.15"}

// stops are all pages of the table of addresses.
func stops(t *testing.T, e *entrance) (out []stop) {
	blanks := axePaths(e)
	for _, rt := range e.s.routes() {
		if rt.get == nil || ofAPI(rt.path) || slices.Contains(notPages, rt.path) {
			continue
		}
		by, paths := "known", blanks[rt.path]
		switch {
		case rt.path == "/login/code":
			by = "half"
		case rt.need == visitor || rt.need == public:
			by = "nobody"
		}
		if !strings.Contains(strings.ReplaceAll(rt.path, "{$}", ""), "{") {
			paths = append(paths, strings.ReplaceAll(rt.path, "{$}", ""))
		}
		if len(paths) == 0 {
			t.Errorf("%s has no page to audit: name one in axePaths", rt.path)
		}
		for _, path := range paths {
			want := http.StatusOK
			if slices.Contains(refusedStops, path) {
				want = http.StatusUnprocessableEntity
			}
			out = append(out, stop{path, by, want})
		}
	}
	return out
}

// lookers are the browsers of those who look at stops.
func (e *entrance) lookers() map[string]*visit {
	half := e.browser()
	half.send("/login", url.Values{"name": {"edda"}, "password": {goodWord}})
	return map[string]*visit{"known": e.in("edda"), "half": half, "nobody": e.browser()}
}

// audited is a site with a page at every address.
func audited(t *testing.T, mend ...func(*Options)) *entrance {
	d := wearingDesk()
	d.teach(taught(false))
	careFor(d)
	torn(d)
	e := newEntrance(t, append([]func(*Options){func(o *Options) {
		o.Desk, o.Album, o.History, o.SaveFleet = d, d, d.history, d.save
		o.Now = func() time.Time { return d.now }
	}, everyRoom}, mend...)...)
	e.desk = d
	e.book.now = func() time.Time { return d.now }
	e.lets("edda", runsFleet)
	e.lets("tom")
	return e
}

// Every page that the audits look at is answered as a whole page of its own, and
// not by the words for one that is not there.
func TestStopsAreThere(t *testing.T) {
	e := audited(t)
	by, all := e.lookers(), stops(t, e)
	for _, s := range all {
		if res, body := by[s.by].get(s.path); res.StatusCode != s.want || !strings.Contains(body, "<h1") {
			t.Errorf("%s is answered %d, want %d", s.path, res.StatusCode, s.want)
		}
	}
	if len(all) < 45 {
		t.Errorf("only %d pages", len(all))
	}
}

// refusals are pages that say no: looked up by those who get them, or what a form
// is answered that is sent amiss (form is nil where nothing is sent), also while the
// database is away; and what is asked of an old book.
func refusals(e *entrance) []refusal {
	l := e.book.links
	used := "/join/" + l.give(schedule.Pass{Deed: schedule.Joining, Person: "tom", Ended: now.Add(-time.Hour)})
	join := "/join/" + l.give(schedule.Pass{Deed: schedule.Joining, Person: "tom"})
	first := "/first/" + l.give(schedule.Pass{Deed: schedule.First})
	answer := "/answer/" + l.give(asking(schedule.Measuring, "centre-front"))
	by := e.lookers()
	tom, lost := e.in("tom"), *by["known"]
	lost.away = true
	away := &lost
	return []refusal{
		{"/nowhere", by["known"], nil, 404}, {"/nowhere", by["nobody"], nil, 404}, {"/answer/none", by["nobody"], nil, 404}, {used, by["nobody"], nil, 410},
		{"/people", tom, nil, 403}, {"/mailbox", by["known"], nil, 405},
		{"/login", by["nobody"], url.Values{"name": {"tom"}, "password": {"wrong"}}, 422}, {"/login/again", by["known"], url.Values{"password": {"wrong"}}, 422},
		{"/login/code", by["half"], url.Values{"code": {"000000"}}, 422}, {"/forgot", by["nobody"], url.Values{"name": {"edda"}}, 200},
		{join, by["nobody"], url.Values{"password": {"short"}, "twice": {"short"}}, 422}, {answer, by["nobody"], url.Values{"said": {"reading"}, "value-reading": {"much"}}, 422},
		{"/me", by["known"], url.Values{"version": {"x"}, "units": {"furlong"}, "day": {"31"}, "hour": {"7"}}, 409},
		{"/me/password", by["known"], url.Values{"old": {"wrong"}}, 422}, {"/me/codes", tom, url.Values{"code": {"000000"}}, 422},
		{"/people/invite", by["known"], url.Values{"name": {""}}, 422}, {"/people/programs", by["known"], url.Values{"name": {""}}, 422}, {first, by["nobody"], url.Values{"name": {""}}, 410},
		{"/clock/corn-hall/log?kind=measured", by["known"], url.Values{"kind": {"measured"}, "value": {"much"}}, 422},
		{"/clock/corn-hall/do/measure?subject=centre-front", by["known"], url.Values{"value": {"much"}}, 422},
		{"/clock/corn-hall/card/entry", by["known"], cardLinesOf(map[string]string{"date": "2027-11-24", "time": "09:30", "kind": "wound"}), 422},
		{"/clock/corn-hall/log", by["nobody"], url.Values{"kind": {"noted"}}, 401},
		{e.roundAt("corn-hall"), by["known"], url.Values{"act": {"move"}, "site": {"corn-hall"}, "to": {"2020-01-01"}, "why": {strings.Repeat("x", 301)}}, 422},
		{"/old-book", by["known"], url.Values{"book": {towerBook}}, 200}, {"/old-book", by["known"], url.Values{"book": {wellBook}}, 200}, {"/old-book", by["known"], url.Values{"book": {""}}, 422},
		{"/clock/corn-hall", away, nil, 200}, {"/people/invite", away, url.Values{"name": {"Una"}}, 503},
		{"/clock/corn-hall/log?kind=noted", away, url.Values{"kind": {"noted"}, "note": {"A jackdaw."}, "at": {"2026-11-25T09:00"}}, 503},
	}
}

type refusal struct {
	path string
	by   *visit
	form url.Values
	want int
}

// said is what somebody is answered.
func (f refusal) said() (*http.Response, string) {
	switch {
	case f.form == nil:
		return f.by.get(f.path)
	case f.form.Has("book"):
		kind, body := bookForm(f.by.e.t, f.form.Get("book"), nil)
		return f.by.ask(posting(f.path, kind, body))
	case f.path == "/me/codes": // which shows the secret first
		f.by.get(f.path)
	case ofLink(f.path) != "":
		r := posting(f.path, "application/x-www-form-urlencoded", f.form.Encode())
		r.Header.Del("Sec-Fetch-Site")
		return f.by.ask(r)
	}
	return f.by.send(f.path, f.form)
}

// Every refusal that the audit looks at is answered as it should be.
func TestRefusalsArePages(t *testing.T) {
	e := audited(t)
	for _, f := range refusals(e) {
		res, body := f.said()
		status(t, f.path, res, f.want, "")
		checkPage(t, f.path, body)
	}
}

// TestAxe has axe-core look at every page of the table of addresses, on a desk and
// on a telephone, light and dark, and counts what the browser reports of the pages'
// policy. A new page without a blank is looked at by itself; one with a blank must
// stand in axePaths.
func TestAxe(t *testing.T) {
	axe, look := browsertest.Axe(t), browserFor(t)
	e := audited(t)
	base, all := map[string]string{}, stops(t, e)
	for who, b := range e.lookers() {
		base[who] = as(t, e, b)
	}
	for _, s := range all {
		ctx, said := look()
		axeOne(t, ctx, axe, base[s.by], s.path, s.want, said)
	}
	if len(all) < 45 {
		t.Errorf("only %d pages were audited", len(all))
	}
}

// TestAxeOfRefusals has it look in the same ways at the pages that say no.
func TestAxeOfRefusals(t *testing.T) {
	axe, look := browsertest.Axe(t), browserFor(t)
	e := audited(t)
	for _, f := range refusals(e) {
		ctx, said := look()
		res, body := f.said()
		axeOne(t, ctx, axe, saying(t, e, res.StatusCode, body), f.path, f.want, said)
	}
}

// browserFor gives a browser for each page, and what it complains of: a new one at
// times, for none is given more than five minutes.
func browserFor(t *testing.T) func() (context.Context, *complaints) {
	var ctx context.Context
	said, n := &complaints{}, 0
	return func() (context.Context, *complaints) {
		if n%8 == 0 {
			ctx = browsertest.Start(t)
			if err := said.listen(ctx); err != nil {
				t.Fatalf("start Chromium: %v", err)
			}
		}
		n++
		return ctx, said
	}
}

// saying is the address of a server whose pages all say the same.
func saying(t *testing.T, e *entrance, status int, body string) string {
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if strings.HasPrefix(r.URL.Path, "/static/") {
			e.ServeHTTP(w, r)
			return
		}
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		w.WriteHeader(status)
		_, _ = io.WriteString(w, body)
	}))
	t.Cleanup(srv.Close)
	return srv.URL
}

// as is the address of a server that answers what a browser would be answered.
func as(t *testing.T, e *entrance, b *visit) string {
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		for _, c := range b.cookies {
			r.AddCookie(c)
		}
		e.ServeHTTP(w, r)
	}))
	t.Cleanup(srv.Close)
	return srv.URL
}

// TestAxeFinds shows the audit and the console a page that is wrong in ways that
// each must tell.
func TestAxeFinds(t *testing.T) {
	axe := browsertest.Axe(t)
	ctx := browsertest.Start(t)
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Security-Policy", "default-src 'none'")
		w.Header().Set("Content-Type", "text/html")
		_, _ = io.WriteString(w, `<!doctype html><html><title>x</title><body style="color:red"><img src="data:,x"><font color="#EEEEEE">faint</font><input>`)
	}))
	defer srv.Close()
	var said complaints
	if err := said.listen(ctx); err != nil {
		t.Fatalf("start Chromium: %v", err)
	}
	wrong := strings.Join(browsertest.Audit(t, ctx, axe, srv.URL), "\n")
	for _, rule := range []string{"image-alt", "color-contrast", "label", "html-has-lang", "landmark-one-main"} {
		if !strings.Contains(wrong, "1280 light: "+rule+":") {
			t.Errorf("the audit does not find %s in: %s", rule, wrong)
		}
	}
	if console := strings.Join(said.take(), "\n"); !strings.Contains(console, "Content Security Policy") {
		t.Errorf("no report of the policy in: %s", console)
	}
}

// axeOne looks at one page, which must be answered as it should be.
func axeOne(t *testing.T, ctx context.Context, axe, base, path string, want int, said *complaints) {
	t.Helper()
	once := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	res, err := once.Get(base + path)
	if err != nil {
		t.Fatal(err)
	}
	res.Body.Close()
	if res.StatusCode != want {
		t.Errorf("%s answers %d, want %d: another page was audited", path, res.StatusCode, want)
	}
	wrong := browsertest.Audit(t, ctx, axe, base+path)
	if at := see(t, ctx, "[location.pathname]")[0]; !strings.HasPrefix(path, at) {
		t.Errorf("%s was not looked at: it leads to %s", path, at)
	}
	for _, wrong := range wrong {
		t.Errorf("%s at %s", path, wrong)
	}
	for _, c := range said.take() {
		if !strings.Contains(c, "the server responded with a status of") {
			t.Errorf("%s: the browser complains: %s", path, c)
		}
	}
}
