package web

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"maps"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/getkin/kin-openapi/openapi3filter"

	"endshake/daemon/web/api"
	"endshake/schedule"
)

// The matrix of programs: scopes by clocks by every address. A leak is an
// answer that tells of a clock that the token does not name, or that its scope
// does not open.
func TestProgramsMatrix(t *testing.T) {
	scopes := [][]schedule.Scope{nil, {schedule.ScopeRead}, {schedule.ScopeLog}, {schedule.ScopeMetrics}, {schedule.ScopeRead, schedule.ScopeLog}, {schedule.ScopeLog, schedule.ScopeMetrics}, allScopes}
	asked := 0
	for i, sc := range scopes {
		for j, clocks := range [][]string{{"corn-hall"}, nil, {"none"}, {"mill", "quay"}} {
			d := newDesk()
			name := token(fmt.Sprintf("m%c%c", 'a'+i, 'a'+j))
			h := apiSite(t, d, tokens{name: {Name: "rota", Scopes: sc, Clocks: clocks, Ends: now.Add(time.Hour)}})
			for _, a := range d.snap.Clocks {
				d.album = append(d.album, schedule.Picture{ID: "p-" + a.Clock.Slug, Clock: a.Clock.Slug, At: now, JPEG: []byte("picture of " + a.Clock.Slug)})
			}
			for _, a := range d.snap.Clocks {
				slug := a.Clock.Slug
				its := clocks == nil || slices.Contains(clocks, slug)
				for _, rt := range (&server{}).apiRoutes() {
					path := strings.NewReplacer("{clock}", slug, "{bearing}", a.Outlooks[0].Bearing.Code, "{picture}", "p-"+slug).Replace(rt.path)
					for _, method := range []string{"GET", "POST"} {
						if method == "POST" && rt.post == nil {
							continue
						}
						asked++
						n := len(d.logged)
						body := fmt.Sprintf(`{"kind":"noted","at":"2026-11-25T09:00:00Z","note":"note %d"}`, asked)
						res, answer := ask(t, h, bearer(method, path, name, body))
						want := 200
						scope := cmp.Or(map[bool]schedule.Scope{true: schedule.ScopeLog}[method == "POST"], schedule.ScopeRead)
						switch {
						case rt.need == anyProgram:
						case !slices.Contains(sc, scope):
							want = 403
						case strings.Contains(rt.path, "{clock}") && !its:
							want = 404
						case method == "POST":
							want = 201
						}
						if res.StatusCode != want {
							t.Errorf("%v of %v: %s %s = %d, want %d\n%.200s", sc, clocks, method, path, res.StatusCode, want, answer)
						}
						if (len(d.logged) > n) != (want == 201) {
							t.Errorf("%v of %v: %s %s logged %d", sc, clocks, method, path, len(d.logged)-n)
						}
						if rt.path == "/api/openapi.json" { // the same to everybody
							if method == "GET" && answer != string(api.Description) {
								t.Error("the description is another one")
							}
							continue
						}
						leaks(t, d, sc, clocks, path, slug, answer)
					}
				}
			}
		}
	}
	if asked < 1000 {
		t.Errorf("only %d questions", asked)
	}
}

// leaks looks in an answer for what belongs to clocks that a token does not name.
func leaks(t *testing.T, d *desk, scopes []schedule.Scope, clocks []string, path, asked, answer string) {
	t.Helper()
	for _, a := range d.snap.Clocks {
		if (clocks == nil || slices.Contains(clocks, a.Clock.Slug)) && slices.Contains(scopes, schedule.ScopeRead) {
			continue
		}
		marks := []string{a.Clock.Name, `"caution":"` + a.Site.Caution, `"levelMm"`, `"tasks":[{`}
		if clocks != nil && slices.Contains(scopes, schedule.ScopeRead) {
			marks = []string{`"` + a.Clock.Name, `"clock":"` + a.Clock.Slug + `"`}
		}
		if asked != a.Clock.Slug { // which the question itself says
			marks = append(marks, `"`+a.Clock.Slug+`"`)
		}
		for _, m := range marks {
			b, _ := json.Marshal(m)
			if strings.Contains(answer, m) || strings.Contains(answer, strings.Trim(string(b), `"`)) && len(b) > 6 {
				if m == `"corn-hall"` && slices.Contains(clocks, "mill") { // both stand at that site
					continue
				}
				t.Errorf("%v of %v: %s tells %q of %s", scopes, clocks, path, m, a.Clock.Slug)
			}
		}
	}
}

// Who is let in: tokens that do not hold, wherever they stand, and nobody at all.
func TestTokensThatDoNotHold(t *testing.T) {
	var logged bytes.Buffer
	ended, past := token("ended"), token("past")
	d := newDesk()
	secret := token("secret")
	o := Options{Desk: d, Mailroom: newPost(), History: d.history, Now: func() time.Time { return now }, Log: slog.New(slog.NewTextHandler(&logged, &slog.HandlerOptions{Level: slog.LevelDebug})),
		Programs: tokens{secret: {Name: "all", Scopes: allScopes, Ends: now.Add(time.Hour)},
			ended: {Name: "ended", Scopes: allScopes, Ends: now.Add(time.Hour), Ended: now.Add(-time.Hour)}, past: {Name: "past", Scopes: allScopes, Ends: now}}}
	h := New(o)
	for name, header := range map[string]string{
		"none": "", "ended": "Bearer " + ended, "past its end": "Bearer " + past, "in capitals": "Bearer " + strings.ToUpper(secret), "cut": "Bearer " + secret[:31], "one more": "Bearer " + secret + "a",
		"unknown": "Bearer " + token("unknown"), "no scheme": secret, "another scheme": "Basic " + secret, "empty": "Bearer ", "two": "Bearer " + secret + " " + secret, "a space before": "Bearer  " + secret,
	} {
		for _, path := range []string{"/api", "/api/fleet", "/api/clocks/corn-hall", "/api/clocks/none", "/api/openapi.json"} {
			for _, method := range []string{"GET", "HEAD", "OPTIONS", "POST", "DELETE"} {
				r := httptest.NewRequest(method, path, nil)
				if header != "" {
					r.Header.Set("Authorization", header)
				}
				res, body := ask(t, h, r)
				if res.StatusCode != 401 || !strings.HasPrefix(res.Header.Get("WWW-Authenticate"), "Bearer ") || method != "HEAD" && problemOf(t, body).Status != 401 {
					t.Errorf("%s: %s %s = %d %s", name, method, path, res.StatusCode, body)
				}
			}
		}
	}
	// In an address or a cookie it opens nothing; twice it is none.
	for _, path := range []string{"/api/fleet?token=", "/api/fleet?access_token=", "/api/clocks/", "/api/fleet?authorization=Bearer%20"} {
		if res, _ := ask(t, h, httptest.NewRequest("GET", path+secret, nil)); res.StatusCode != 401 {
			t.Errorf("GET %s = %d", path, res.StatusCode)
		}
	}
	r := httptest.NewRequest("GET", "/api/fleet", nil)
	r.AddCookie(&http.Cookie{Name: "token", Value: secret})
	if res, _ := ask(t, h, r); res.StatusCode != 401 {
		t.Errorf("in a cookie: %d", res.StatusCode)
	}
	r.Header["Authorization"] = []string{"Bearer " + secret, "Bearer " + secret}
	if res, _ := ask(t, h, r); res.StatusCode != 401 {
		t.Errorf("twice: %d", res.StatusCode)
	}
	// A token is for /api alone: no page opens by it.
	for _, path := range []string{"/", "/due", "/clock/corn-hall", "/mail"} {
		if res, body := ask(t, h, bearer("GET", path, secret, "")); res.StatusCode != 303 || strings.Contains(body, "Corn Hall") {
			t.Errorf("GET %s = %d", path, res.StatusCode)
		}
	}
	d.err = fmt.Errorf("the disk is full")
	if res, body := ask(t, h, bearer("POST", "/api/clocks/corn-hall/log", secret, wound)); res.StatusCode != 500 || strings.Contains(body, "disk") {
		t.Errorf("a fault: %d %s", res.StatusCode, body)
	}
	if out := logged.String(); out == "" || strings.Contains(strings.ToLower(out), secret) || strings.Contains(out, ended) || strings.Contains(out, "Bearer") {
		t.Errorf("the log says %s", out)
	}
}

// A browser that is logged in may use the same addresses, and no other site may
// through it; a program needs no such guard, and a cookie does not help it.
func TestAPIAcrossOrigins(t *testing.T) {
	d := newDesk()
	h := New(Options{Desk: d, Mailroom: newPost(), Everyone: schedule.Actor{Person: "tom"}, History: d.history, Now: func() time.Time { return now }, Log: slog.New(slog.DiscardHandler),
		Programs: tokens{token("all"): {Name: "all", Scopes: allScopes, Ends: now.Add(time.Hour)}}})
	post := func(site, auth string) *http.Request {
		r := httptest.NewRequest("POST", "/api/clocks/corn-hall/log", strings.NewReader(fmt.Sprintf(`{"kind":"noted","at":"2026-11-25T09:00:00Z","note":"from %s, %s"}`, site, auth)))
		r.Header.Set("Content-Type", "application/json")
		r.Header.Set("Sec-Fetch-Site", site)
		if auth != "" {
			r.Header.Set("Authorization", auth)
		}
		return r
	}
	for _, tc := range []struct {
		site, auth string
		want       int
		source     string
	}{
		{"same-origin", "", 201, "page"}, {"cross-site", "", 403, ""}, {"same-site", "", 403, ""}, {"cross-site", "Bearer " + token("all"), 201, "token all"},
		{"same-origin", "Bearer " + token("none"), 401, ""}, {"cross-site", "Bearer " + token("none"), 401, ""}, {"cross-site", "Basic dG9tOnRvbQ==", 401, ""},
	} {
		n := len(d.logged)
		res, body := ask(t, h, post(tc.site, tc.auth))
		if res.StatusCode != tc.want || res.Header.Get("Access-Control-Allow-Origin") != "" {
			t.Errorf("%s %s: %d %s", tc.site, tc.auth, res.StatusCode, body)
		}
		if (tc.want == 201) != (len(d.logged) == n+1) {
			t.Errorf("%s %s: logged %d", tc.site, tc.auth, len(d.logged)-n)
		}
		if tc.want == 201 {
			if e := d.logged[n]; e.Source != tc.source || (tc.auth == "") != (e.By == "tom") {
				t.Errorf("logged by %q, from %q", e.By, e.Source)
			}
		}
	}
	// In a colleague's name it is kept who it was, as with the form; in that of
	// whoever has nothing to do with the clock it is refused, as there.
	for by, want := range map[string]string{"edda": schedule.PagePrefix + "tom", "tom": "page", "eve": ""} {
		r := post("same-origin", "")
		r.Body = io.NopCloser(strings.NewReader(fmt.Sprintf(`{"kind":"noted","at":"2026-11-25T09:00:00Z","note":"by %s","by":%q}`, by, by)))
		n := len(d.logged)
		res, body := ask(t, h, r)
		switch {
		case want == "" && (res.StatusCode != 403 || len(d.logged) != n):
			t.Errorf("in the name of %s: %d %s", by, res.StatusCode, body)
		case want != "" && (res.StatusCode != 201 || d.logged[n].By != by || d.logged[n].Source != want):
			t.Errorf("in the name of %s: %d %s", by, res.StatusCode, body)
		}
	}
	// tom looks after three clocks; the fourth is not there.
	if res, _ := get(t, h, "/api/clocks/bad"); res.StatusCode != 404 {
		t.Errorf("another's clock: %d", res.StatusCode)
	}
	_, theirs := get(t, h, "/api/clocks/bad")
	_, none := get(t, h, "/api/clocks/bat")
	if theirs != strings.Replace(none, "bat", "bad", 1) {
		t.Errorf("%s and %s", theirs, none)
	}
}

// Hostile text in every field is words in JSON too: as described, and nothing
// that a browser would take for a page.
func TestHostileTextInJSON(t *testing.T) {
	_, router := described(t)
	s := spoilt(t)
	h := apiSite(t, s.desk, nil)
	shown := 0
	paths := []string{"/api/fleet", "/api/due", "/api/outlook", "/api/lesson"}
	for _, a := range s.desk.snap.Clocks {
		base := "/api/clocks/" + a.Clock.Slug
		paths = append(paths, base, base+"/log", base+"/bearings")
		for _, o := range a.Outlooks {
			paths = append(paths, base+"/bearings/"+o.Bearing.Code)
		}
	}
	for _, path := range append(paths, "/api/clocks/"+"%3Cscript%3E", "/api/clocks/corn-hall/bearings/%22%3Cx-evil") {
		res, body := held(t, router, h, bearer("GET", path, token("all"), ""))
		if strings.ContainsAny(body, "<>") || res.Header.Get("X-Content-Type-Options") != "nosniff" || !strings.HasPrefix(res.Header.Get("Content-Type"), "application/") {
			t.Errorf("%s: %v %.200s", path, res.Header, body)
		}
		if strings.Contains(body, "x-evil") {
			shown++
		}
	}
	if shown < len(paths)-4 {
		t.Errorf("%d of %d answers show what was written", shown, len(paths))
	}
}

// Entries thrown together from what may be said and what may not: the answer is
// no fault of ours, it is as described, and what the description refuses is
// refused as not fitting it.
func TestAnyPostIsAnswered(t *testing.T) {
	doc, router := described(t)
	seed := uint64(time.Now().UnixNano())
	rng := rand.New(rand.NewPCG(seed, 1))
	t.Logf("seed %d", seed)
	values := map[string][]string{
		"string":  {`"going"`, `"centre-front"`, `"tom"`, `"edda"`, `"eve"`, `"e001"`, `"x"`, `""`, `"\u0000"`, `"\u202e"`, `"` + strings.Repeat("y", 9000) + `"`, `7`, `null`, `[]`},
		"number":  {`0`, `1`, `-1`, `0.42`, `3.5e3`, `1e18`, `-1e300`, `1e309`, `"1"`, `null`, `12`},
		"boolean": {`true`, `false`, `0`, `"true"`},
		"instant": {`"2026-11-25T09:00:00Z"`, `"2026-11-24T09:00:00+01:00"`, `"2030-01-01T00:00:00Z"`, `"1700-01-01T00:00:00Z"`, `"0001-01-01T00:00:00Z"`, `"2026-02-30T00:00:00Z"`, `"now"`, `5`},
		"day":     {`"2026-10-25"`, `"2027-01-01"`, `"9999-12-31"`, `"0000-01-01"`, `"2026-13-01"`, `""`},
		"array":   {`[]`, `["a"]`, `["a","a"]`, `[1]`, `"a"`, `[[]]`},
		"object": {`{}`, `{"mm":0.5}`, `{"micrometres":420}`, `{"mm":-3}`, `{"mm":0.5,"micrometres":500}`, `{"mm":1e12}`, `{"micrometres":9223372036854775807}`, `{"wires6":3,"strand":true}`, `{"diameter":{"mm":7}}`,
			`{"shake":"end-shake","value":{"mm":0.6}}`, `{"shake":"side-shake","value":{"mm":0.6},"load":"on","celsius":-80}`, `{"shake":"end-shake","value":{"mm":0.6},"x":1}`, `"0.5 mm"`},
	}
	props := doc.Components.Schemas["NewEntry"].Value.Properties
	names := slices.Sorted(maps.Keys(props))
	d := newDesk()
	h, fresh := apiSite(t, d, nil), d.snap
	counts := map[int]int{}
	for range 1500 {
		var parts []string
		add := func(name string) {
			p := props[name].Value
			kind := "object"
			if p.Type != nil {
				kind = p.Type.Slice()[0]
			}
			kind = cmp.Or(map[string]string{"date-time": "instant", "date": "day"}[p.Format], kind)
			pool := values[cmp.Or(map[string]string{"integer": "number"}[kind], kind)]
			v := pool[rng.IntN(len(pool))]
			if len(p.Enum) > 0 && rng.IntN(10) > 0 {
				v = fmt.Sprintf("%q", p.Enum[rng.IntN(len(p.Enum))])
			} else if rng.IntN(3) > 0 {
				v = pool[0]
			}
			parts = append(parts, fmt.Sprintf("%q:%s", name, v))
		}
		add("kind")
		add("at")
		for range rng.IntN(5) {
			add(names[rng.IntN(len(names))])
		}
		body := "{" + strings.Join(parts, ",") + "}"
		r := bearer("POST", "/api/clocks/corn-hall/log", token("all"), body)
		in, err := requestInput(router, r, []byte(body))
		if err != nil {
			t.Fatal(err)
		}
		refused := openapi3filter.ValidateRequest(context.Background(), in)
		res, answer := held(t, router, h, r)
		counts[res.StatusCode]++
		if res.StatusCode >= 500 || refused != nil && res.StatusCode != 400 {
			t.Errorf("%s: %d %s\nthe description says %v", body, res.StatusCode, answer, refused)
		}
		if len(d.logged) > 0 {
			d.f, d.snap, d.logged = newFixture(), fresh, nil
		}
	}
	t.Logf("answers: %v", counts)
	for _, want := range []int{201, 400, 422} {
		if counts[want] < 20 {
			t.Errorf("only %d answers of %d among %v: nothing was tried", counts[want], want, counts)
		}
	}
}
