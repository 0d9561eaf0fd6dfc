package web

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"endshake/schedule"
	"endshake/wear"

	"golang.org/x/net/html"
)

// panicky is a Desk that breaks.
type panicky struct{}

func (panicky) Snapshot() *schedule.Snapshot {
	return &schedule.Snapshot{Clocks: make([]schedule.Assessment, 1)}
}
func (panicky) Log(context.Context, schedule.Entry) (schedule.Entry, error) {
	panic("broken desk")
}
func (panicky) LogShown(context.Context, schedule.Entry, []schedule.Picture) (schedule.Entry, error) {
	panic("broken desk")
}
func (panicky) LogTogether(context.Context, []schedule.Entry) ([]schedule.Entry, error) {
	panic("broken desk")
}
func (panicky) Logs(context.Context) (map[string][]schedule.Entry, schedule.Model, error) {
	panic("broken desk")
}
func (panicky) LogAnswer(context.Context, schedule.Pass, schedule.Entry) (schedule.Entry, error) {
	panic("broken desk")
}
func (panicky) Facts(context.Context, string) (schedule.Facts, error) { panic("broken desk") }
func (panicky) Lesson() (schedule.Learned, bool)                      { panic("broken desk") }
func (panicky) Former() (schedule.Learned, bool)                      { panic("broken desk") }

// send posts a form as a browser on these pages does.
func send(t *testing.T, h http.Handler, path string, values url.Values) (*http.Response, string) {
	t.Helper()
	r := httptest.NewRequest("POST", path, strings.NewReader(values.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set("Sec-Fetch-Site", "same-origin")
	return ask(t, h, r)
}

// filled are the values that a form on a page would send.
func filled(t *testing.T, body string) url.Values {
	t.Helper()
	v := url.Values{}
	for _, n := range nodes(t, body) {
		name, _ := attr(n, "name")
		if name == "" || !within(n, "form") {
			continue
		}
		switch n.Data {
		case "input":
			kind, _ := attr(n, "type")
			_, checked := attr(n, "checked")
			value, _ := attr(n, "value")
			if kind != "checkbox" || checked {
				v.Add(name, value)
			}
		case "textarea":
			if n.FirstChild != nil {
				v.Set(name, n.FirstChild.Data)
			}
		case "select":
			v.Set(name, chosen(n))
		}
	}
	return v
}

// chosen is the option that a browser has chosen.
func chosen(n *html.Node) string {
	first, found := "", false
	for o := range n.Descendants() {
		if o.Data != "option" {
			continue
		}
		value, _ := attr(o, "value")
		if _, ok := attr(o, "selected"); ok {
			return value
		}
		if !found {
			first, found = value, true
		}
	}
	return first
}

// What the entries of the table below point to.
var (
	slow, zero, warm = -90.0, 0.0, 4.5
	summer           = time.Date(2026, 7, 25, 13, 30, 0, 0, time.UTC) // 14:30 in London
)

// formsAndEntries are forms filled in as a person would, and the entry meant.
var formsAndEntries = []struct {
	kind   schedule.EntryKind
	values map[string]string
	want   schedule.Entry
}{
	{schedule.Wound, map[string]string{"train": "going", "turns": "64", "part": "on", "errorFound": "90", "errorFoundWay": "slow"},
		schedule.Entry{Train: "going", Detail: schedule.Detail{Turns: 64, Part: true, ErrorFound: &slow}}},
	{schedule.Oiled, map[string]string{"bearing": "centre-front", "oil": "marine oil"},
		schedule.Entry{Bearing: "centre-front", Detail: schedule.Detail{Oil: "marine oil"}}},
	{schedule.Inspected, map[string]string{"found": "watch"}, schedule.Entry{Detail: schedule.Detail{Found: schedule.Watch}}},
	// 23 thou is 0.5842 mm and 5/64 in is 1.984375 mm (an inch is 25.4 mm).
	{schedule.Measured, map[string]string{"bearing": "centre-front", "value": "23 thou", "gauge": "0.02 mm", "instrument": "feeler", "celsius": "4,5", "load": "off"},
		schedule.Entry{Bearing: "centre-front", Detail: schedule.Detail{Reading: &wear.Reading{Shake: wear.EndShake, Value: 584, Gauge: 20, Instrument: "feeler", Celsius: &warm, Load: wear.LoadOff}}}},
	{schedule.Measured, map[string]string{"bearing": "hammer-front", "value": "5/64 in"},
		schedule.Entry{Bearing: "hammer-front", Detail: schedule.Detail{Reading: &wear.Reading{Shake: wear.EndShake, Value: 1984}}}},
	{schedule.Repaired, map[string]string{"bearing": "centre-front", "work": "new washer", "fitted": "0.25 mm", "fittedSD": "0.01 mm", "pair": "steel on plastic"},
		schedule.Entry{Bearing: "centre-front", Detail: schedule.Detail{Work: schedule.NewWasher, Fitted: 250, FittedSD: 10, NewPair: wear.SteelOnPlastic}}},
	{schedule.Stopped, map[string]string{"cause": "birds", "since": "2026-07-25T12:00"},
		schedule.Entry{Detail: schedule.Detail{Cause: schedule.Birds, Since: summer.Add(-150 * time.Minute)}}},
	{schedule.Stopped, map[string]string{"cause": "for work", "until": "2027-05-01"},
		schedule.Entry{Detail: schedule.Detail{Cause: schedule.ForWork, Until: schedule.Date{Year: 2027, Month: 5, Day: 1}}}},
	{schedule.Set, map[string]string{"errorFound": "90", "errorFoundWay": "slow", "errorLeft": "0"},
		schedule.Entry{Detail: schedule.Detail{ErrorFound: &slow, ErrorLeft: &zero}}},
	{schedule.Regulated, map[string]string{"nutTurns": "0.25", "nutWay": "down"}, schedule.Entry{Detail: schedule.Detail{NutTurns: -.25}}},
	{schedule.Cleaned, map[string]string{"train": "strike"}, schedule.Entry{Train: "strike"}},
	{schedule.Noted, map[string]string{"note": "Owls.\r\nTwo of them."}, schedule.Entry{Note: "Owls.\nTwo of them."}},
}

// Each kind of form gives the entry meant.
func TestFormsRoundTrip(t *testing.T) {
	for _, tc := range formsAndEntries {
		t.Run(fmt.Sprint(tc.kind, tc.values), func(t *testing.T) {
			s := newSite(t)
			_, body := get(t, s, "/clock/corn-hall/log?kind="+string(tc.kind))
			v := filled(t, body)
			if v.Get("at") != "2026-11-25T10:00" || v.Get("key") != "key-1" {
				t.Errorf("the form begins with %v: want now and a key", v)
			}
			v.Set("at", "2026-07-25T14:30")
			v.Set("by", "tom")
			for name, value := range tc.values {
				if !v.Has(name) && name != "note" && name != "part" {
					t.Errorf("the form does not ask for %s", name)
				}
				v.Set(name, value)
			}
			res, body := send(t, s, "/clock/corn-hall/log", v)
			if res.StatusCode != http.StatusSeeOther {
				t.Fatalf("answers %d: %s", res.StatusCode, body)
			}
			got := s.desk.logged[0]
			want := tc.want
			want.ID, want.RecordedAt, want.Clock, want.Kind, want.At = got.ID, now, "corn-hall", tc.kind, summer
			want.By, want.Source, want.Key = "tom", "page", "key-1"
			if words(got) != words(want) {
				t.Errorf("logged\n%s\nwant\n%s", words(got), words(want))
			}
			_, page := get(t, s, res.Header.Get("Location"))
			said := schedule.Capital(string(tc.kind))
			if tc.want.Cause == schedule.Birds {
				said = "Found stopped: birds"
			}
			if !strings.Contains(page, said) || !strings.Contains(page, `class="first" href="/clock/corn-hall">To the clock</a>`) {
				t.Errorf("the page after it does not say what was logged, or leads nowhere: %s", page)
			}
			checkPage(t, "after "+string(tc.kind), page)
		})
	}
}

// words prints an entry with what its pointers point to.
func words(e schedule.Entry) string {
	deref := func(p *float64) string {
		if p == nil {
			return "nil"
		}
		return fmt.Sprint(*p)
	}
	out := fmt.Sprint(deref(e.ErrorFound), deref(e.ErrorLeft))
	if r := e.Reading; r != nil {
		out += fmt.Sprint(r.Shake, r.Value, r.Gauge, r.Instrument, r.Load, deref(r.Celsius))
	}
	detail, err := json.Marshal(e.Detail) // pointers by what they point at
	if err != nil {
		panic(err)
	}
	e.Detail = schedule.Detail{}
	exported, err := json.Marshal(e)
	if err != nil {
		panic(err)
	}
	return out + string(detail) + string(exported)
}

func TestConflictAnswers409(t *testing.T) {
	s := newSite(t)
	res, body := send(t, s, "/clock/corn-hall/log", url.Values{"kind": {"started"}, "at": {"2026-11-24T09:00"}})
	if res.StatusCode != http.StatusConflict || !strings.Contains(body, "going already") {
		t.Errorf("starting a clock that goes answers %d", res.StatusCode)
	}
	s.desk.err = errors.New("the disk is full of secrets")
	res, body = send(t, s, "/clock/corn-hall/log", url.Values{"kind": {"cleaned"}, "at": {"2026-11-24T09:00"}})
	if res.StatusCode != 500 || strings.Contains(body, "secrets") {
		t.Errorf("a fault answers %d: %s", res.StatusCode, body)
	}
	res, body = send(t, s, "/clock/corn-hall/log", url.Values{"kind": {"polished"}})
	if res.StatusCode != 422 || !strings.Contains(body, "Choose what happened first") {
		t.Errorf("an unknown kind answers %d", res.StatusCode)
	}
}

// A form of another site is refused, whatever it says (CSRF).
func TestForeignFormsAreRefused(t *testing.T) {
	for name, set := range map[string]func(*http.Request){
		"another site":   func(r *http.Request) { r.Header.Set("Sec-Fetch-Site", "cross-site") },
		"a sister site":  func(r *http.Request) { r.Header.Set("Sec-Fetch-Site", "same-site") },
		"another origin": func(r *http.Request) { r.Header.Set("Origin", "https://elsewhere.example.org") },
	} {
		s := newSite(t)
		for _, path := range []string{"/clock/corn-hall/log", "/mail/m2/resend"} {
			r := httptest.NewRequest("POST", path, strings.NewReader("kind=cleaned&at=2026-11-24T09:00"))
			r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
			set(r)
			res, body := ask(t, s, r)
			if res.StatusCode != http.StatusForbidden {
				t.Errorf("%s: %s answers %d", name, path, res.StatusCode)
			}
			checkPage(t, name, body)
		}
		if len(s.desk.logged)+len(s.post.resent) > 0 {
			t.Errorf("%s: something was done", name)
		}
	}
}

func TestBodiesThatAreNotForms(t *testing.T) {
	for _, tc := range []struct {
		name, kind, body string
		want             int
	}{
		{"too large", "application/x-www-form-urlencoded", "note=" + strings.Repeat("a", mostBody), 413},
		{"another kind", "application/json", "{}", 415},
		{"no kind", "", "kind=cleaned", 415},
		{"bad escapes", "application/x-www-form-urlencoded", "kind=%zz", 400},
	} {
		s := newSite(t)
		r := httptest.NewRequest("POST", "/clock/corn-hall/log", strings.NewReader(tc.body))
		r.Header.Set("Content-Type", tc.kind)
		res, body := ask(t, s, r)
		if res.StatusCode != tc.want || len(s.desk.logged) > 0 {
			t.Errorf("%s answers %d, want %d", tc.name, res.StatusCode, tc.want)
		}
		checkPage(t, tc.name, body)
	}
}

func TestCorrection(t *testing.T) {
	s := newSite(t)
	old := s.desk.f.log["corn-hall"][0]
	for _, e := range s.desk.f.log["corn-hall"] {
		if e.Kind == schedule.Measured {
			old = e
		}
	}
	_, body := get(t, s, "/clock/corn-hall/log?kind=measured&replaces="+old.ID)
	v := filled(t, body)
	if v.Get("value") != old.Reading.Value.In(wear.MM) || v.Get("bearing") != old.Bearing || v.Get("replaces") != old.ID {
		t.Fatalf("the form is filled with %v, want what %+v says", v, old)
	}
	v.Set("value", (old.Reading.Value + 10*wear.Micrometre).In(wear.MM))
	if res, body := send(t, s, "/clock/corn-hall/log", v); res.StatusCode != 422 || !strings.Contains(body, "Say why") {
		t.Errorf("a correction without a reason answers %d", res.StatusCode)
	}
	v.Set("why", "read the wrong scale")
	res, _ := send(t, s, "/clock/corn-hall/log", v)
	if res.StatusCode != http.StatusSeeOther {
		t.Fatalf("answers %d", res.StatusCode)
	}
	logged := s.desk.logged[0]
	a, _ := s.desk.snap.Clock("corn-hall")
	var page string
	for _, e := range a.Entries { // the log is paged: from just before it
		if e.At.After(logged.At) {
			_, page = get(t, s, "/clock/corn-hall?before="+e.ID)
			break
		}
	}
	if !strings.Contains(page, "corrects an earlier entry: read the wrong scale") {
		t.Error("the log does not show the correction with its reason")
	}
	if res, _ := get(t, s, "/clock/corn-hall/log?replaces="+old.ID); res.StatusCode != 404 {
		t.Errorf("correcting it twice answers %d", res.StatusCode)
	}
}

func TestCorrectedEntriesAreStruckThrough(t *testing.T) {
	s := newSite(t)
	_, body := get(t, s, "/clock/corn-hall")
	struck := 0
	for _, n := range nodes(t, body) {
		if class, _ := attr(n, "class"); n.Data == "tr" && class == "struck" {
			struck++
			if !strings.Contains(textOf(n), "corrected: slow, not fast") || strings.Contains(textOf(n), "correct ") && strings.HasSuffix(textOf(n), "correct") {
				t.Errorf("a corrected entry says %q", textOf(n))
			}
		}
	}
	if struck != 1 {
		t.Errorf("%d entries are struck through, want 1", struck)
	}
}

// Whatever is typed, the form is read without a panic, and what comes out is
// either refused or in the shape that entries have.
func FuzzForm(f *testing.F) {
	f.Add("measured", "centre-front", "0.42 mm", "2026-11-24T09:00", "12")
	f.Add("stopped", "", "5/64 in", "2026-03-29T01:30", "-1e9")
	f.Add("set", "x", "NaN", "", "0x1p-2")
	a := newFixture().snapshot().Clocks[0]
	f.Fuzz(func(t *testing.T, kind, bearing, length, at, number string) {
		v := url.Values{"kind": {kind}, "bearing": {bearing}, "train": {bearing}, "value": {length}, "gauge": {length}, "fitted": {length},
			"at": {at}, "since": {at}, "until": {at}, "turns": {number}, "errorFound": {number}, "errorLeft": {number}, "celsius": {number}, "nutTurns": {number}, "note": {number}}
		e, faults := entryForm{a: a, values: v, now: now}.entry()
		if len(faults) > 0 {
			return
		}
		if e.At.IsZero() || e.At.Location() != time.UTC || e.Clock != a.Clock.Slug {
			t.Errorf("entry %+v is out of shape", e)
		}
		if e.Kind == schedule.Measured && e.Reading == nil {
			t.Error("measured without a reading")
		}
	})
}
