package web

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/getkin/kin-openapi/routers"
	"github.com/getkin/kin-openapi/routers/gorillamux"

	"endshake/daemon/web/api"
	"endshake/schedule"
	"endshake/wear"
)

// tokens are programs by their token, as the store finds them.
type tokens map[string]schedule.Machine

func (t tokens) Machine(_ context.Context, now time.Time, token string) (schedule.Machine, error) {
	read, _ := schedule.ReadToken(token) // which takes capitals for small letters
	m, ok := t[read]
	if !ok || !m.Ended.IsZero() || !m.Ends.After(now) {
		return m, &schedule.Error{Code: schedule.NotFound, Field: "token", Message: "no program has this token"}
	}
	return m, nil
}

// token makes 32 letters of a short word.
func token(word string) string { return (word + strings.Repeat("a", 32))[:32] }

var allScopes = []schedule.Scope{schedule.ScopeRead, schedule.ScopeLog, schedule.ScopeMetrics}

// apiSite is the fixture with nobody logged in, and one program that may all.
func apiSite(t testing.TB, d *desk, programs tokens) http.Handler {
	t.Helper()
	if programs == nil {
		programs = tokens{}
	}
	programs[token("all")] = schedule.Machine{Name: "all", Scopes: allScopes, Ends: now.Add(time.Hour)}
	return New(Options{Desk: d, Album: d, Mailroom: newPost(), Programs: programs, History: d.history, Now: func() time.Time { return d.now },
		Log: slog.New(slog.DiscardHandler)})
}

func bearer(method, path, token, body string) *http.Request {
	r := httptest.NewRequest(method, path, strings.NewReader(body))
	r.Header.Set("Authorization", "Bearer "+token)
	if method == http.MethodPost {
		r.Header.Set("Content-Type", "application/json")
	}
	return r
}

// described is the description, loaded and valid, and its router.
func described(t testing.TB) (*openapi3.T, routers.Router) {
	t.Helper()
	doc, err := openapi3.NewLoader().LoadFromData(api.Description)
	if err != nil {
		t.Fatal(err)
	}
	if err := doc.Validate(context.Background(), openapi3.EnableExamplesValidation()); err != nil {
		t.Fatal(err)
	}
	router, err := gorillamux.NewRouter(doc)
	if err != nil {
		t.Fatal(err)
	}
	return doc, router
}

// held asks the site and holds the answer to the description.
func held(t testing.TB, router routers.Router, h http.Handler, r *http.Request) (*http.Response, string) {
	t.Helper()
	sent, _ := io.ReadAll(r.Body)
	r.Body = io.NopCloser(bytes.NewReader(sent))
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	res := w.Result()
	body := w.Body.Bytes()
	in, err := requestInput(router, r, sent)
	if err != nil {
		t.Fatalf("%s %s: %v", r.Method, r.URL, err)
	}
	err = openapi3filter.ValidateResponse(context.Background(), &openapi3filter.ResponseValidationInput{RequestValidationInput: in,
		Status: res.StatusCode, Header: res.Header, Body: io.NopCloser(bytes.NewReader(body)), Options: &openapi3filter.Options{IncludeResponseStatus: true}})
	if err != nil {
		t.Errorf("%s %s: %v", r.Method, r.URL, err)
	}
	return res, string(body)
}

func requestInput(router routers.Router, r *http.Request, body []byte) (*openapi3filter.RequestValidationInput, error) {
	again := r.Clone(context.Background())
	again.Body = io.NopCloser(bytes.NewReader(body))
	route, params, err := router.FindRoute(again)
	if err != nil {
		return nil, err
	}
	return &openapi3filter.RequestValidationInput{Request: again, Route: route, PathParams: params,
		Options: &openapi3filter.Options{AuthenticationFunc: openapi3filter.NoopAuthenticationFunc, SkipSettingDefaults: true}}, nil
}

// Every address under /api/ is described with its methods, and the other way
// round; no word of a fixed list is missing from the description.
func TestDescriptionIsWhole(t *testing.T) {
	doc, _ := described(t)
	s := &server{}
	var there []string
	for _, rt := range s.routes() {
		if !ofAPI(rt.path) {
			continue
		}
		there = append(there, rt.path)
		item := doc.Paths.Find(rt.path)
		if item == nil {
			t.Errorf("%s is not described", rt.path)
			continue
		}
		if (item.Get != nil) != (rt.get != nil) || (item.Post != nil) != (rt.post != nil) || len(item.Operations()) != len(methods(rt))-2 {
			t.Errorf("%s answers %v and describes %d operations", rt.path, methods(rt), len(item.Operations()))
		}
		if apiAbout[rt.path] == "" {
			t.Errorf("GET /api does not say what %s is for", rt.path)
		}
	}
	for _, path := range doc.Paths.InMatchingOrder() {
		if !slices.Contains(there, path) {
			t.Errorf("%s is described and not there", path)
		}
	}
	if len(there) < 10 || len(apiAbout) != len(there) {
		t.Errorf("%d addresses, %d of them with words", len(there), len(apiAbout))
	}
	said := doc.Components.Schemas["NewEntry"].Value.Properties
	for field, want := range map[string][]string{
		"kind": wordsOf(schedule.EntryKinds), "cause": wordsOf(schedule.StopCauses), "work": wordsOf(schedule.RepairWorks),
		"oilFound": wordsOf(schedule.OilFounds), "residue": wordsOf(schedule.Residues), "lock": wordsOf(schedule.LockKinds), "clears": wordsOf(schedule.LockKinds),
	} {
		if got := enumOf(said[field].Value); !slices.Equal(got, want) {
			t.Errorf("%s is described as %q, and is %q", field, got, want)
		}
	}
	if got, want := enumOf(doc.Components.Schemas["Task"].Value.Properties["kind"].Value), wordsOf(schedule.TaskKinds); !slices.Equal(got, want) {
		t.Errorf("tasks are described as %q, and are %q", got, want)
	}
}

func wordsOf[T ~string](all []T) (out []string) {
	for _, v := range all {
		out = append(out, string(v))
	}
	return out
}

func enumOf(s *openapi3.Schema) (out []string) {
	for _, v := range s.Enum {
		out = append(out, v.(string))
	}
	return out
}

// Every answer to every address, for every clock and bearing of the fixture, is
// as the description has it; so is every refusal.
func TestEveryAnswerIsAsDescribed(t *testing.T) {
	_, router := described(t)
	for name, d := range map[string]*desk{"plain": newDesk(), "cared": cared(), "worn": wearingDesk()} {
		t.Run(name, func(t *testing.T) {
			h := apiSite(t, d, nil)
			paths := []string{"/api", "/api/openapi.json", "/api/fleet", "/api/fleet?limit=1", "/api/fleet?find=MILL&state=late", "/api/due", "/api/due?limit=2&cursor=1",
				"/api/due?person=tom&kind=oiling", "/api/outlook", "/api/lesson"}
			for _, a := range d.snap.Clocks {
				base := "/api/clocks/" + a.Clock.Slug
				paths = append(paths, base, base+"/log", base+"/log?limit=3", base+"/bearings", base+"/pictures")
				for _, o := range a.Outlooks {
					paths = append(paths, base+"/bearings/"+o.Bearing.Code)
				}
			}
			for _, p := range paths {
				res, body := held(t, router, h, bearer("GET", p, token("all"), ""))
				if res.StatusCode != 200 || res.Header.Get("Content-Type") != "application/json" || res.Header.Get("ETag") == "" {
					t.Errorf("GET %s = %d, %v\n%.300s", p, res.StatusCode, res.Header, body)
				}
			}
			if len(paths) < 25 {
				t.Errorf("only %d addresses were asked", len(paths))
			}
			for p, want := range map[string]int{"/api/clocks/none": 404, "/api/clocks/corn-hall/bearings/none": 404, "/api/clocks/none/bearings/none": 404, "/api/clocks/none/pictures": 404, "/api/clocks/corn-hall/pictures/none": 404, "/api/clocks/corn-hall/pictures?x=1": 400,
				"/api/fleet?limit=0": 400, "/api/fleet?limit=1001": 400, "/api/fleet?limt=5": 400, "/api/fleet?state=lost": 400, "/api/due?kind=x": 400, "/api/due?cursor=-1": 400, "/api?x=1": 400,
				"/api/fleet?find=": 400, "/api/fleet?find=a&find=b": 400, "/api/fleet?%zz": 400, "/api/clocks/corn-hall/log?cursor=none": 400} {
				if res, body := held(t, router, h, bearer("GET", p, token("all"), "")); res.StatusCode != want {
					t.Errorf("GET %s = %d, want %d\n%s", p, res.StatusCode, want, body)
				}
			}
		})
	}
}

// What stands on the pages stands here: the figures of the snapshot itself.
func TestAPISaysWhatTheSnapshotSays(t *testing.T) {
	d := newDesk()
	h := apiSite(t, d, nil)
	a, _ := d.snap.Clock("corn-hall")
	o, _ := a.Outlook("centre-front")
	var b api.Bearing
	readJSON(t, h, "/api/clocks/corn-hall/bearings/centre-front", &b)
	n := 0
	for _, p := range b.Parts {
		n += len(p.Readings)
	}
	if n != 5 || b.Sentence != o.Sentence || b.Confidence != o.Confidence || b.Crossing == nil || b.Crossing.P50 != o.Likely || b.MeasureBy != o.Measure {
		t.Errorf("%d readings, %q, %+v", n, b.Sentence, b.Crossing)
	}
	r := b.Parts[len(b.Parts)-1].Readings[4].Reading
	if *r.Value.MM != .57 || *r.Value.Micrometres != 570 || b.LevelLow >= b.Level || b.Level >= b.LevelHigh || b.RateLow >= b.Rate || b.Rate >= b.RateHigh {
		t.Errorf("the last reading is %v, the level %v (%v to %v), the rate %v (%v to %v)", r, b.Level, b.LevelLow, b.LevelHigh, b.Rate, b.RateLow, b.RateHigh)
	}
	var due api.Due
	readJSON(t, h, "/api/due?limit=1000", &due)
	list := d.snap.DueList()
	if due.Today != list.Today || len(due.Tasks) != len(list.Tasks) || due.Total != len(list.Tasks) || due.Next != nil {
		t.Errorf("%d tasks of %d on %s", len(due.Tasks), len(list.Tasks), due.Today)
	}
	var c struct{ Description json.RawMessage }
	readJSON(t, h, "/api/clocks/corn-hall", &c)
	want, err := schedule.FormatClock(a.Clock, a.Zone)
	if err != nil || string(c.Description) != string(want) {
		t.Errorf("the description is %s, want %s", c.Description, want)
	}
	var y schedule.YearAhead
	readJSON(t, h, "/api/outlook", &y)
	if whole := d.snap.YearAhead(); y.Total.Visits != whole.Total.Visits || len(y.Months) != len(whole.Months) {
		t.Errorf("%+v", y.Total)
	}
	d.teach(taught(true))
	var l struct {
		Version     int
		TrackRecord struct {
			Next struct{ CRPSMM, Cover80 float64 }
		}
	}
	readJSON(t, h, "/api/lesson", &l)
	if l.Version != 3 || l.TrackRecord.Next.Cover80 != .798 {
		t.Errorf("%+v", l)
	}
}

func readJSON(t testing.TB, h http.Handler, path string, v any) {
	t.Helper()
	w := httptest.NewRecorder()
	h.ServeHTTP(w, bearer("GET", path, token("all"), ""))
	if err := json.Unmarshal(w.Body.Bytes(), v); err != nil || w.Code != 200 {
		t.Fatalf("GET %s = %d, %v\n%.300s", path, w.Code, err, w.Body)
	}
}

// Lists are read page by page: each thing once, none left out.
func TestAPIPages(t *testing.T) {
	d := newDesk()
	h := apiSite(t, d, nil)
	for path, want := range map[string]int{"/api/fleet": len(d.snap.Clocks), "/api/due": len(d.snap.DueList().Tasks), "/api/clocks/corn-hall/log": len(d.f.log["corn-hall"])} {
		seen, cursor, rounds := map[string]int{}, "", 0
		for ; rounds < 200; rounds++ {
			var page struct {
				Clocks  []struct{ Clock string }
				Tasks   []struct{ Clock, Kind, Subject string }
				Entries []struct{ ID string }
				Next    *string
			}
			at := path + "?limit=3"
			if cursor != "" {
				at += "&cursor=" + cursor
			}
			readJSON(t, h, at, &page)
			for _, x := range page.Clocks {
				seen[x.Clock]++
			}
			for _, x := range page.Tasks {
				seen[fmt.Sprint(x)]++
			}
			for _, x := range page.Entries {
				seen[x.ID]++
			}
			if page.Next == nil {
				break
			}
			cursor = *page.Next
		}
		if len(seen) != want || rounds != (want-1)/3 {
			t.Errorf("%s: %d things on %d pages of 3, want %d", path, len(seen), rounds+1, want)
		}
		for k, n := range seen {
			if n != 1 {
				t.Errorf("%s: %s comes %d times", path, k, n)
			}
		}
	}
}

func TestAPIHeads(t *testing.T) {
	d := newDesk()
	h := apiSite(t, d, nil)
	get, _ := ask(t, h, bearer("GET", "/api/fleet", token("all"), ""))
	head, body := ask(t, h, bearer("HEAD", "/api/fleet", token("all"), ""))
	if head.StatusCode != 200 || body != "" || head.Header.Get("ETag") != get.Header.Get("ETag") || head.Header.Get("Content-Length") != get.Header.Get("Content-Length") {
		t.Errorf("HEAD: %d %v", head.StatusCode, head.Header)
	}
	for tags, want := range map[string]int{get.Header.Get("ETag"): 304, `"x", W/` + get.Header.Get("ETag"): 304, `"x"`: 200, "*": 304} {
		r := bearer("GET", "/api/fleet", token("all"), "")
		r.Header.Set("If-None-Match", tags)
		if res, body := ask(t, h, r); res.StatusCode != want || (want == 304) != (body == "") {
			t.Errorf("If-None-Match %s: %d", tags, res.StatusCode)
		}
	}
	for _, tc := range []struct {
		method, path string
		status       int
		allow        string
	}{
		{"OPTIONS", "/api/fleet", 204, "GET, HEAD, OPTIONS"}, {"OPTIONS", "/api/clocks/mill/log", 204, "GET, HEAD, POST, OPTIONS"},
		{"DELETE", "/api/clocks/mill/log", 405, "GET, HEAD, POST, OPTIONS"}, {"PUT", "/api/fleet", 405, "GET, HEAD, OPTIONS"},
		{"POST", "/api/due", 405, "GET, HEAD, OPTIONS"}, {"TRACE", "/api", 405, "GET, HEAD, OPTIONS"}, {"PATCH", "/api/lesson", 405, "GET, HEAD, OPTIONS"},
	} {
		if res, _ := ask(t, h, bearer(tc.method, tc.path, token("all"), "")); res.StatusCode != tc.status || res.Header.Get("Allow") != tc.allow {
			t.Errorf("%s %s = %d, Allow %q", tc.method, tc.path, res.StatusCode, res.Header.Get("Allow"))
		}
	}
	for _, p := range []string{"/api/", "/api/none", "/api/clocks", "/api/clocks/mill/", "/api/clocks/mill/log/e001"} {
		res, body := ask(t, h, bearer("GET", p, token("all"), ""))
		if res.StatusCode != 404 || res.Header.Get("Content-Type") != "application/problem+json" {
			t.Errorf("GET %s = %d %s\n%s", p, res.StatusCode, res.Header.Get("Content-Type"), body)
		}
	}
	d.snap = nil
	if res, body := ask(t, h, bearer("GET", "/api/fleet", token("all"), "")); res.StatusCode != 503 || res.Header.Get("Retry-After") == "" || res.Header.Get("Content-Type") != "application/problem+json" {
		t.Errorf("while starting: %d %s", res.StatusCode, body)
	}
}

func problemOf(t testing.TB, body string) api.Problem {
	t.Helper()
	var p api.Problem
	if err := json.Unmarshal([]byte(body), &p); err != nil {
		t.Fatalf("%v: %s", err, body)
	}
	return p
}

const wound = `{"kind":"wound","at":"2026-11-25T09:00:00Z","train":"going","by":"tom","note":"By hand."}`

func TestAPILogs(t *testing.T) {
	_, router := described(t)
	d := newDesk()
	h := apiSite(t, d, nil)
	before := len(d.f.log["corn-hall"])
	res, body := held(t, router, h, bearer("POST", "/api/clocks/corn-hall/log", token("all"), wound))
	if res.StatusCode != 201 || len(d.logged) != 1 || len(d.f.log["corn-hall"]) != before+1 {
		t.Fatalf("%d %s", res.StatusCode, body)
	}
	e := d.logged[0]
	if e.By != "tom" || e.Source != "token all" || e.Kind != schedule.Wound || !e.At.Equal(now.Add(-time.Hour)) || e.Key != "" || e.Clock != "corn-hall" {
		t.Errorf("logged %+v", e)
	}
	var out api.Logged
	if err := json.Unmarshal([]byte(body), &out); err != nil || out.Entry.ID != e.ID || len(out.Tasks) == 0 {
		t.Errorf("%v %+v", err, out)
	}
	a, _ := d.snap.Clock("corn-hall")
	for i, task := range out.Tasks {
		if task.Kind != a.Tasks[i].Kind || task.Due != a.Tasks[i].Due {
			t.Errorf("task %d is %s due %s, and stands as %s due %s", i, task.Kind, task.Due, a.Tasks[i].Kind, a.Tasks[i].Due)
		}
	}
	// A reading comes back as it was given, to the micrometre, and what does not fit is asked back.
	read := `{"kind":"measured","at":"2026-11-25T09:30:00+01:00","bearing":"centre-front","by":"edda","reading":{"shake":"end-shake","value":{"mm":%s},"gauge":{"micrometres":25},"load":"off"}%s}`
	if res, body := held(t, router, h, bearer("POST", "/api/clocks/corn-hall/log", token("all"), fmt.Sprintf(read, "22.8", ""))); res.StatusCode != 422 || problemOf(t, body).Code != "doubtful" {
		t.Errorf("%d %s", res.StatusCode, body)
	}
	if res, body = held(t, router, h, bearer("POST", "/api/clocks/corn-hall/log", token("all"), fmt.Sprintf(read, ".585", ""))); res.StatusCode != 400 {
		t.Errorf("a figure that JSON has not: %d %s", res.StatusCode, body)
	}
	if res, body = held(t, router, h, bearer("POST", "/api/clocks/corn-hall/log", token("all"), fmt.Sprintf(read, "0.585", ""))); res.StatusCode != 201 {
		t.Fatalf("%d %s", res.StatusCode, body)
	}
	if err := json.Unmarshal([]byte(body), &out); err != nil || *out.Entry.Reading.Value.Micrometres != 585 || *out.Entry.Reading.Gauge.MM != .025 || out.Entry.At != time.Date(2026, 11, 25, 8, 30, 0, 0, time.UTC) {
		t.Errorf("%v %s", err, body)
	}
	if e := d.logged[1]; e.Reading.Value != 585 || e.Reading.Gauge != 25 || e.Reading.Load != wear.LoadOff {
		t.Errorf("logged %+v", e.Reading)
	}
}

// Whatever an entry carries can be said, and comes back as it was said; a field
// that is added to an entry and not to what programs say fails here.
func TestAPISaysAllOfAnEntry(t *testing.T) {
	f, day := func(v float64) *float64 { return &v }, schedule.Date{Year: 2026, Month: 10, Day: 25}
	fall := wear.FromMM(1234.567)
	at := time.Date(2026, 11, 25, 9, 0, 0, 123000, time.UTC)
	e := schedule.Entry{Clock: "corn-hall", Kind: schedule.Noted, At: at, Train: "going", Bearing: "centre-front", By: "tom", Note: "a\nb", Replaces: "e1", Why: "slip", Detail: schedule.Detail{
		Reading: &wear.Reading{Shake: wear.SideShake, Value: 421, Gauge: 13, Instrument: "dial", Celsius: f(3), Load: wear.LoadOn}, Sure: true, Turns: 3.5, Part: true, FallLeft: &fall, Meter: f(17), MeterNew: true,
		CutFrom: at.Add(-time.Hour), CutTo: at.Add(-time.Minute), Cause: schedule.Rest, Since: at.Add(-time.Hour), Until: day, Oil: "light", Points: []string{"p", "q"}, TopUp: true, OilFound: schedule.OilGummed, Residue: schedule.ResidueBlack,
		Found: schedule.Watch, Visit: true, Line: "l", Check: &schedule.LineCheck{Wires6: 1, Wires30: 2, Diameter: 7900, Strand: true, Rust: "light"}, Lock: schedule.DoNotRun, Clears: schedule.DoNotEnter, Season: "s", Work: schedule.NewBush, Fitted: 210, FittedSD: 9,
		NewPair: wear.BrassOnBrass, ErrorFound: f(-2), ErrorLeft: f(0), NutTurns: -.25, Grams: 2, Undoes: "e2", Celsius: f(-4), Pressure: f(1013), Arc: f(1.5), Weight: f(90), Corrector: f(.2), Change: day, Old: true}}
	for v, i := reflect.ValueOf(e.Detail), 0; i < v.NumField(); i++ {
		if v.Field(i).IsZero() {
			t.Errorf("%s is not tried: say it under /api/ too", v.Type().Field(i).Name)
		}
	}
	b, err := json.Marshal(api.NewEntry(e, nil).Said)
	if err != nil {
		t.Fatal(err)
	}
	got, err := api.ReadEntry(b, e.Clock)
	if err != nil || !reflect.DeepEqual(got, e) {
		t.Errorf("%v: %s came back as\n%+v, want\n%+v", err, b, got, e)
	}
	doc, _ := described(t)
	var said any
	if err := json.Unmarshal(b, &said); err != nil || doc.Components.Schemas["NewEntry"].Value.VisitJSON(said) != nil {
		t.Errorf("%s is not as described: %v", b, doc.Components.Schemas["NewEntry"].Value.VisitJSON(said))
	}
	if n := len(doc.Components.Schemas["NewEntry"].Value.Properties); n != len(said.(map[string]any)) {
		t.Errorf("%d fields are described, and %d can be said", n, len(said.(map[string]any)))
	}
}

// The key guards an entry for its sender and clock, and says nothing of others'.
func TestAPIKey(t *testing.T) {
	d := newDesk()
	other := token("other")
	h := apiSite(t, d, tokens{other: {Name: "other", Scopes: allScopes, Ends: now.Add(time.Hour)}})
	seen := map[string]bool{}
	for _, tc := range []struct{ token, clock, key string }{
		{token("all"), "corn-hall", "k1"}, {token("all"), "mill", "k1"}, {other, "mill", "k1"}, {other, "mill", "pass aaaa"[:4]},
	} {
		r := bearer("POST", "/api/clocks/"+tc.clock+"/log", tc.token, strings.Replace(wound, "09:00", fmt.Sprintf("0%d:00", len(seen)+1), 1))
		r.Header.Set("Idempotency-Key", tc.key)
		if res, body := ask(t, h, r); res.StatusCode != 201 {
			t.Fatalf("%+v: %d %s", tc, res.StatusCode, body)
		}
		e := d.logged[len(d.logged)-1]
		if seen[e.Key] || !strings.HasPrefix(e.Key, "api token ") || !strings.HasSuffix(e.Key, " "+tc.clock+" "+tc.key) {
			t.Errorf("%+v has the key %q", tc, e.Key)
		}
		seen[e.Key] = true
	}
	for _, key := range []string{"with space", "umläut", strings.Repeat("k", 101), "a\tb"} {
		r := bearer("POST", "/api/clocks/mill/log", token("all"), wound)
		r.Header["Idempotency-Key"] = []string{key}
		if res, body := ask(t, h, r); res.StatusCode != 400 || problemOf(t, body).Field != "Idempotency-Key" {
			t.Errorf("key %q: %d %s", key, res.StatusCode, body)
		}
	}
}

// What the description refuses is refused, and what cannot be right too, with
// the field at fault; nothing is logged.
func TestAPIRefuses(t *testing.T) {
	_, router := described(t)
	d := newDesk()
	h := apiSite(t, d, nil)
	with := func(more string) string { return strings.TrimSuffix(wound, "}") + "," + more + "}" }
	measured := func(reading string) string {
		return `{"kind":"measured","at":"2026-11-25T09:00:00Z","bearing":"centre-front","reading":` + reading + `}`
	}
	for body, want := range map[string]struct {
		status int
		field  string
	}{
		``: {400, ""}, `null`: {400, ""}, `[]`: {400, ""}, `"x"`: {400, ""}, `{`: {400, ""}, `{}`: {400, "at"}, wound + wound: {400, ""}, wound + "x": {400, ""}, "\xff": {400, ""},
		`{"kind":"wound"}`: {400, "at"}, `{"at":"2026-11-25T09:00:00Z"}`: {400, "kind"}, `{"kind":"sung","at":"2026-11-25T09:00:00Z"}`: {400, "kind"},
		`{"kind":"wound","at":"yesterday"}`: {400, "at"}, `{"kind":"wound","at":"2026-11-25"}`: {400, "at"}, `{"kind":"wound","at":1764064800}`: {400, "at"},
		`{"kind":"wound","at":"0001-01-01T00:00:00+10:00"}`: {400, "at"}, `{"kind":"wound","at":"9999-12-31T23:59:59-10:00"}`: {400, "at"},
		// Mass assignment.
		with(`"id":"x"`): {400, "id"}, with(`"recordedAt":"2020-01-01T00:00:00Z"`): {400, "recordedAt"}, with(`"clock":"mill"`): {400, "clock"}, with(`"source":"page"`): {400, "source"},
		with(`"role":"conservator"`): {400, "role"}, with(`"owner":"tom"`): {400, "owner"}, with(`"key":"k"`): {400, "key"}, with(`"corrected":{}`): {400, "corrected"},
		with(`"Note":"x"`): {400, "Note"}, with(`"note":"twice"`): {400, "note"}, with(`"why":null`): {400, "why"}, with(`"why":""`): {400, "why"}, with(`"turns":"3"`): {400, "turns"},
		with(`"turns":1e999`): {400, ""}, with(`"turns":NaN`): {400, ""}, with(`"points":"p"`): {400, "points"}, with(`"points":[["p"]]`): {400, "points"}, with(`"part":1`): {400, "part"},
		with(`"cause":"boredom"`): {400, "cause"}, with(`"oilFound":"old"`): {400, "oilFound"}, with(`"until":"soon"`): {400, "until"}, with(`"check":{"wires6":-1}`): {400, "check"}, with(`"check":{"wires6":1.5}`): {400, ""},
		with(`"note2":` + strings.Repeat(`[`, 20000) + strings.Repeat(`]`, 20000)): {400, "note2"}, with(`"reading":` + strings.Repeat(`{"reading":`, 5000) + `1` + strings.Repeat(`}`, 5000)): {400, "reading.reading"},
		measured(`{"shake":"end-shake"}`): {400, "reading.value"}, measured(`{"value":{"mm":0.5}}`): {400, "reading.shake"}, measured(`{"shake":"end-shake","value":{}}`): {400, "reading.value"},
		measured(`{"shake":"end-shake","value":0.5}`): {400, "reading.value"}, measured(`{"shake":"end-shake","value":{"mm":0.5,"micrometres":600}}`): {400, "reading.value"},
		measured(`{"shake":"end-shake","value":{"mm":1e30}}`): {400, "reading.value"}, measured(`{"shake":"end-shake","value":{"thou":5}}`): {400, "reading.value.thou"},
		measured(`{"shake":"end-shake","value":{"mm":0.5},"Entry":"x"}`): {400, "reading.Entry"},
		// It fits the description and cannot be right.
		strings.Replace(wound, "2026", "2027", 1): {422, "at"}, strings.Replace(wound, "going", "none", 1): {404, "train"}, with(`"turns":-1`): {422, "turns"}, with(`"oil":"any"`): {422, "oil"},
		with(`"replaces":"none","why":"x"`): {403, ""}, measured(`{"shake":"side-shake","value":{"mm":0.5}}`): {422, "reading"}, with(`"turns":1e300`): {422, "turns"},
		strings.Replace(wound, `"tom"`, `"nobody"`, 1): {403, ""}, strings.Replace(wound, `"tom"`, `"eve"`, 1): {403, ""},
		`{"kind":"noted","at":"2026-11-25T09:00:00Z","note":"x","clears":"do not run","by":"edda"}`: {403, ""},
		`{"kind":"regulated","at":"2026-11-25T09:00:00Z","nutTurns":1e9}`:                           {422, "nutTurns"}, `{"kind":"noted","at":"2026-11-25T09:00:00Z","note":"` + strings.Repeat("x", 30000) + `"}`: {422, "note"},
	} {
		r := bearer("POST", "/api/clocks/corn-hall/log", token("all"), body)
		in, err := requestInput(router, r, []byte(body))
		if err != nil {
			t.Fatal(err)
		}
		res, answer := held(t, router, h, r)
		if p := problemOf(t, answer); res.StatusCode != want.status || p.Status != want.status || want.field != "" && p.Field != want.field || !strings.HasSuffix(p.Detail, ".") || strings.Contains(p.Detail, "reflect") {
			t.Errorf("%.150s: %s, want %d of %q", body, answer, want.status, want.field)
		}
		refused := openapi3filter.ValidateRequest(context.Background(), in) != nil
		if refused && res.StatusCode != 400 {
			t.Errorf("%.150s: the description refuses it, and the answer is %d", body, res.StatusCode)
		}
		if !refused && want.status == 400 && !slices.Contains(looser, body) {
			t.Errorf("%.150s: refused, and the description lets it through", body)
		}
	}
	for kind, want := range map[string]int{"": 415, "text/plain": 415, "application/x-www-form-urlencoded": 415, "application/jsonp": 415, "application/problem+json": 415, "application/json; charset=utf-8": 422} {
		r := bearer("POST", "/api/clocks/corn-hall/log", token("all"), strings.Replace(wound, "2026", "2027", 1))
		if r.Header.Set("Content-Type", kind); kind == "" {
			r.Header.Del("Content-Type")
		}
		if res, body := held(t, router, h, r); res.StatusCode != want {
			t.Errorf("%q: %d %s", kind, res.StatusCode, body)
		}
	}
	if res, body := held(t, router, h, bearer("POST", "/api/clocks/corn-hall/log", token("all"), wound+strings.Repeat(" ", mostBody))); res.StatusCode != 413 {
		t.Errorf("too large: %d %s", res.StatusCode, body)
	}
	if len(d.logged) != 0 {
		t.Errorf("logged %+v", d.logged)
	}
}

// looser are bodies that no schema can refuse: said twice, in two units that
// differ, in years that no log holds, beyond any length.
var looser = []string{
	strings.TrimSuffix(wound, "}") + `,"note":"twice"}`, `{"kind":"wound","at":"0001-01-01T00:00:00+10:00"}`, `{"kind":"wound","at":"9999-12-31T23:59:59-10:00"}`,
	`{"kind":"measured","at":"2026-11-25T09:00:00Z","bearing":"centre-front","reading":{"shake":"end-shake","value":{"mm":0.5,"micrometres":600}}}`,
	`{"kind":"measured","at":"2026-11-25T09:00:00Z","bearing":"centre-front","reading":{"shake":"end-shake","value":{"mm":1e30}}}`,
	wound + wound, wound + "x",
}

// FuzzAPIEntry: whatever is posted, the answer is no fault of ours, what the
// description refuses is not logged, and what is logged can be read back.
func FuzzAPIEntry(f *testing.F) {
	for _, s := range append([]string{wound, `{"kind":"noted","at":"2026-11-25T09:00:00Z","note":"a","meterHours":3,"train":"going"}`,
		`{"kind":"stopped","at":"2026-11-25T09:00:00Z","cause":"weather","since":"2026-11-24T09:00:00Z"}`, `{"kind":"stopped","at":"2026-11-25T09:00:00Z","cause":"for work","until":"2027-01-01"}`,
		`{"kind":"inspected","at":"2026-11-25T09:00:00Z","found":"sound","oilFound":"clean","residue":"clear","points":["a"],"line":"x","check":{"wires6":1,"diameter":{"mm":7.9}}}`,
		`{"kind":"repaired","at":"2026-11-25T09:00:00Z","bearing":"centre-front","work":"new washer","fitted":{"mm":0.2},"fittedSd":{"micrometres":20},"newPair":"steel on steel"}`,
		`{"kind":"set","at":"2026-11-25T09:00:00Z","errorFoundSeconds":-3,"errorLeftSeconds":0,"change":"2026-10-25"}`}, looser...) {
		f.Add(s)
	}
	_, router := described(f)
	d := newDesk()
	h, fresh := apiSite(f, d, nil), d.snap
	f.Fuzz(func(t *testing.T, body string) {
		if len(d.logged) > 0 {
			d.f, d.snap, d.logged = newFixture(), fresh, nil
		}
		r := bearer("POST", "/api/clocks/corn-hall/log", token("all"), body)
		in, err := requestInput(router, r, []byte(body))
		if err != nil {
			t.Fatal(err)
		}
		refused := openapi3filter.ValidateRequest(context.Background(), in)
		res, answer := held(t, router, h, r)
		if res.StatusCode >= 500 || refused != nil && res.StatusCode == 201 {
			t.Errorf("%q: %d %s\nthe description says %v", body, res.StatusCode, answer, refused)
		}
		if res.StatusCode == 201 {
			for _, p := range []string{"/api/clocks/corn-hall/log", "/api/clocks/corn-hall", "/api/due", "/api/outlook"} {
				if res, b := held(t, router, h, bearer("GET", p, token("all"), "")); res.StatusCode != 200 {
					t.Errorf("after %q, GET %s = %d %s", body, p, res.StatusCode, b)
				}
			}
		}
	})
}

// shellWords splits a line as a shell does, with $TOKEN put in.
func shellWords(line, token string) (out []string) {
	var quote rune
	word, in := "", false
	for _, c := range line {
		switch {
		case quote != 0 && c == quote:
			quote = 0
		case quote == 0 && (c == '"' || c == '\''):
			quote, in = c, true
		case quote == 0 && c == ' ':
			if in {
				out = append(out, strings.ReplaceAll(word, "$TOKEN", token))
			}
			word, in = "", false
		default:
			word, in = word+string(c), true
		}
	}
	return append(out, strings.ReplaceAll(word, "$TOKEN", token))
}

// The lines that the help for programmers shows do what it says, as they stand.
func TestLinesForTheShellWork(t *testing.T) {
	_, router := described(t)
	d := newDesk()
	page := New(Options{Desk: d, Mailroom: newPost(), Everyone: schedule.Actor{Person: "tom"}, History: d.history, Now: func() time.Time { return d.now }, Base: "https://clocks.example.org/", Log: slog.New(slog.DiscardHandler)})
	_, body := get(t, page, "/help/api")
	checkPage(t, "/help/api", body)
	h := apiSite(t, d, nil)
	var got []int
	for _, n := range nodes(t, body) {
		if n.Data != "pre" {
			continue
		}
		words := shellWords(n.FirstChild.Data, token("all"))
		r := httptest.NewRequest("GET", words[len(words)-1], nil)
		for i, w := range words[:len(words)-1] {
			switch w {
			case "-H":
				name, value, _ := strings.Cut(words[i+1], ": ")
				r.Header.Set(name, value)
			case "-d":
				head := r.Header
				r = httptest.NewRequest("POST", words[len(words)-1], strings.NewReader(words[i+1]))
				r.Header = head
			}
		}
		res, answer := held(t, router, h, r)
		if words[0] != "curl" || res.StatusCode >= 300 {
			t.Errorf("%q = %d %s", words, res.StatusCode, answer)
		}
		got = append(got, res.StatusCode)
	}
	if !slices.Equal(got, []int{200, 200, 201}) || len(d.logged) != 1 || d.logged[0].Kind != schedule.Noted || d.logged[0].Key == "" {
		t.Errorf("the lines were answered %v, and logged %+v", got, d.logged)
	}
}
