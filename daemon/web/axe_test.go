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
		"/reckoner/{sheet}":                {"/reckoner/washer", "/reckoner/washer?end-shake=1.15", "/reckoner/wear?rod=8+ft&thick=1%2F2+in&outer=24+mm&inner=13+mm&pair=steel+on+brass&oil=aged&running=100+years&revs-per-hour=1"},
		"/clock/{clock}":                   {"/clock/corn-hall", "/clock/mill"},
		"/clock/{clock}/bearing/{bearing}": {"/clock/bell-house/bearing/worn?washer=0.5+mm&oilDays=90", "/clock/bell-house/bearing/worn?washer=0.5&outer=20+mm", "/clock/quay/bearing/centre-front"},
		"/clock/{clock}/do/{work}":         {"/clock/corn-hall/do/wind?subject=going", "/clock/bell-house/do/measure?subject=worn", "/clock/corn-hall/do/oil", "/clock/mill/do/stopped"},
		"/clock/{clock}/done/{entry}":      {"/clock/corn-hall/done/e001"},
		"/clock/{clock}/log":               {"/clock/corn-hall/log", "/clock/corn-hall/log?kind=measured", "/clock/mill/log?kind=stopped"},
		"/clock/{clock}/label":             {"/clock/corn-hall/label"},
		"/clock/{clock}/card":              {"/clock/corn-hall/card"},
		"/clock/{clock}/card/entry":        {"/clock/corn-hall/card/entry"},
		"/people/{person}":                 {"/people/tom"},
		"/mail/{id}":                       {"/mail/m1"},
		"/inward/{id}":                     {"/inward/i1"},
		"/arrived/{n}":                     {"/arrived/1"},
		"/answer/{token...}":               append(token("/answer/", asking(schedule.Winding, "going")), token("/answer/", asking(schedule.Measuring, "centre-front"))...),
		"/decline/{token...}":              token("/decline/", schedule.Pass{Deed: schedule.Declining, Person: "tom", Kind: schedule.Standing}),
		"/join/{token...}":                 token("/join/", schedule.Pass{Deed: schedule.Joining, Person: "tom"}),
		"/first/{token...}":                token("/first/", schedule.Pass{Deed: schedule.First}),
	}
}

// TestAxe has axe-core look at every page of the table of addresses, and counts
// what the browser reports of the pages' policy. A new page without a blank is
// looked at by itself; one with a blank must stand in axePaths.
func TestAxe(t *testing.T) {
	axe := browsertest.Axe(t)
	ctx := browsertest.Start(t)
	d := wearingDesk()
	d.teach(taught(false))
	careFor(d)
	e := newEntrance(t, func(o *Options) {
		o.Desk, o.Album, o.History = d, d, d.history
		o.Arrivals = func() []schedule.Arrival {
			return []schedule.Arrival{{Number: 1, At: now, From: "clocks@example.org", To: []string{"tom@example.org"}, Raw: []byte(sample)}}
		}
	})
	e.lets("edda", runsFleet)
	e.lets("tom")
	half := e.browser()
	half.send("/login", url.Values{"name": {"edda"}, "password": {goodWord}})
	known, nobody, asked := as(t, e, e.in("edda")), as(t, e, e.browser()), as(t, e, half)
	var said complaints
	if err := said.listen(ctx); err != nil {
		t.Fatalf("start Chromium: %v", err)
	}
	blanks, seen := axePaths(e), 0
	for _, rt := range e.s.routes() {
		if rt.get == nil || ofAPI(rt.path) || slices.Contains(notPages, rt.path) {
			continue
		}
		base, paths := known, blanks[rt.path]
		switch {
		case rt.path == "/login/code":
			base = asked
		case rt.need == visitor || rt.need == public:
			base = nobody
		}
		if !strings.Contains(strings.ReplaceAll(rt.path, "{$}", ""), "{") {
			paths = append(paths, strings.ReplaceAll(rt.path, "{$}", ""))
		}
		if len(paths) == 0 {
			t.Errorf("%s has no page to audit: name one in axePaths", rt.path)
		}
		for _, path := range paths {
			if seen++; seen%20 == 0 { // no browser is given more than five minutes
				ctx = browsertest.Start(t)
				if err := said.listen(ctx); err != nil {
					t.Fatalf("start Chromium: %v", err)
				}
			}
			axeOne(t, ctx, axe, base, path, &said)
		}
	}
	axeOne(t, ctx, axe, known, "/nowhere", &said)
	if seen < 30 {
		t.Errorf("only %d pages were audited", seen)
	}
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

func axeOne(t *testing.T, ctx context.Context, axe, base, path string, said *complaints) {
	t.Helper()
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
