package web

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"golang.org/x/net/html"

	"endshake/schedule"
	"endshake/wear"
)

// buttons are the words of the buttons on a page.
func buttons(t *testing.T, body string) string {
	t.Helper()
	var out []string
	for _, n := range nodes(t, body) {
		if n.Data == "button" {
			out = append(out, textOf(n))
		}
	}
	return strings.Join(out, " | ")
}

// Each kind of task: the page asks, changes nothing, takes one answer, says what
// follows, and takes no second.
func TestAnswers(t *testing.T) {
	for _, tt := range []struct {
		name    string
		kind    schedule.TaskKind
		subject string
		buttons string
		says    url.Values
		want    schedule.Entry // what is logged, but for what all have
		words   []string       // on the page after it
		twice   bool           // may be said again
	}{
		{"wound", schedule.Winding, "going", "Wound | Found stopped | Not done", url.Values{"said": {"done"}},
			schedule.Entry{Kind: schedule.Wound, Train: "going"},
			[]string{"that is logged", "wound the going train", "Next winding of the going train due 2 Dec 2026; it stops about Thu 3 Dec 2026, 10:00."}, false},
		{"all wound", schedule.Winding, "", "All wound | Clock found stopped | Not done", url.Values{"said": {"done"}},
			schedule.Entry{Kind: schedule.Wound}, []string{"that is logged", "Next winding of the going train due", "Next winding of the strike train due"}, false},
		{"wound this morning", schedule.Winding, "strike", "Wound | Found stopped | Not done",
			url.Values{"said": {"done"}, "at-done": {"2026-11-25T08:15"}, "because-done": {"stiff"}},
			schedule.Entry{Kind: schedule.Wound, Train: "strike", Note: "stiff", At: now.Add(-105 * time.Minute)}, []string{"25 Nov 2026, 08:15", "Stiff", "stops about"}, false},
		{"found stopped", schedule.Winding, "going", "Wound | Found stopped | Not done", url.Values{"said": {"stopped"}, "cause-stopped": {"birds"}},
			schedule.Entry{Kind: schedule.Stopped, Detail: schedule.Detail{Cause: schedule.Birds}}, []string{"found stopped: birds", "the clock stands now"}, false},
		{"not wound", schedule.Winding, "going", "Wound | Found stopped | Not done", url.Values{"said": {"not done"}, "because-not-done": {"key lost"}},
			schedule.Entry{Kind: schedule.Noted, Note: "Not done: winding of the going train. Because: key lost"}, []string{"key lost", "goes on working"}, true},
		{"oiled", schedule.Oiling, "", "Oiled | Not done", url.Values{"said": {"done"}}, schedule.Entry{Kind: schedule.Oiled}, []string{"Next oiling due 26 May 2027."}, false},
		{"all well", schedule.Inspection, "", "Checked, all well | Clock found stopped | Not done", url.Values{"said": {"all well"}},
			schedule.Entry{Kind: schedule.Inspected, Detail: schedule.Detail{Found: schedule.Sound}}, []string{"Next inspection due 10 Jun 2027."}, false},
		{"read", schedule.Measuring, "centre-front", "Log the reading | Not done", url.Values{"said": {"reading"}, "value-reading": {"0.60 mm"}, "celsius-reading": {"-2,5"}},
			schedule.Entry{Kind: schedule.Measured, Train: "going", Bearing: "centre-front"}, []string{"0.60 mm", "Measure it again by"}, false},
		{"changed", schedule.TimeChange, "", "Changed | Not done", url.Values{"said": {"done"}},
			schedule.Entry{Kind: schedule.Set, Detail: schedule.Detail{Change: schedule.Date{Year: 2026, Month: 10, Day: 25}}}, []string{"The next change of time is on 28 Mar 2027."}, false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			s := newSite(t)
			p, name := asking(tt.kind, tt.subject), "Corn Hall clock"
			if tt.kind == schedule.TimeChange { // which the other clock waits for
				p.Clock, name = "mill", "Old Mill clock"
			}
			path := "/answer/" + s.links.give(p)
			for _, method := range []string{"GET", "HEAD"} { // as mail scanners do
				r := httptest.NewRequest(method, path+"?said=done", nil)
				r.Header.Set("X-HTTP-Method-Override", "POST")
				res, body := ask(t, s, r)
				if res.StatusCode != 200 || (body == "") != (method == "HEAD") || len(s.desk.logged) > 0 {
					t.Fatalf("%s answers %d with %d bytes, %d logged", method, res.StatusCode, len(body), len(s.desk.logged))
				}
			}
			res, body := get(t, s, path)
			bare(t, path, res, body)
			if got := buttons(t, body); got != tt.buttons {
				t.Errorf("buttons %q, want %q", got, tt.buttons)
			}
			if text := flat(t, body); !strings.Contains(text, name) || !strings.Contains(text, "Caution.") || !strings.Contains(text, "Market square of Osmery") || strings.Contains(text, "Black paste") {
				t.Errorf("asked: %s", text)
			}
			res, body = sendLink(t, s, path, tt.says)
			bare(t, path, res, body)
			text := flat(t, body)
			for _, words := range tt.words {
				if !strings.Contains(text, words) {
					t.Errorf("answers %d without %q: %s", res.StatusCode, words, text)
				}
			}
			if len(s.desk.logged) != 1 {
				t.Fatalf("%d logged: %s", len(s.desk.logged), text)
			}
			wantLogged(t, s.desk.logged[0], tt.want)
			res, body = sendLink(t, s, path, tt.says)
			bare(t, path, res, body)
			if want := map[bool]int{true: 200, false: 410}[tt.twice]; res.StatusCode != want || len(s.desk.logged) != 1 {
				t.Errorf("the second time: %d, %d logged", res.StatusCode, len(s.desk.logged))
			}
			if res, body = get(t, s, path); !tt.twice && (res.StatusCode != 410 || !strings.Contains(flat(t, body), "answered already") || !strings.Contains(flat(t, body), "25 Nov 2026")) {
				t.Errorf("looked at again: %d, %s", res.StatusCode, flat(t, body))
			}
		})
	}
}

func wantLogged(t *testing.T, got, want schedule.Entry) {
	t.Helper()
	if want.At.IsZero() {
		want.At = now
	}
	if got.By != "tom" || got.Source != "link" || !got.At.Equal(want.At) || got.Kind != want.Kind ||
		got.Train != want.Train || got.Bearing != want.Bearing || got.Note != want.Note || got.Cause != want.Cause || got.Found != want.Found || got.Change != want.Change {
		t.Errorf("logged %+v, want %+v", got, want)
	}
	if r := got.Reading; want.Kind == schedule.Measured && (r == nil || r.Value != wear.FromMM(.6) || r.Shake != wear.EndShake || *r.Celsius != -2.5) {
		t.Errorf("reading %+v", r)
	}
}

// Whoever has only a link is told by name whom to tell where it is wrong; the
// conservator mends it on the page of the clock.
func TestAnswersSayWhomToTell(t *testing.T) {
	for _, tt := range []struct {
		name, person string
		change       func(*schedule.Clock)
		want         string
	}{
		{"one conservator", "tom", func(*schedule.Clock) {}, "If that is wrong, tell Edda Quillfeather, the conservator."},
		{"two", "tom", func(c *schedule.Clock) {
			c.Duties = append(c.Duties, schedule.Duty{Person: "eve", Role: schedule.Conservator})
		}, "tell Edda Quillfeather or "},
		{"the conservator", "edda", func(*schedule.Clock) {}, "If that is wrong, correct it on the page of the clock."},
		{"none", "tom", func(c *schedule.Clock) { c.Duties = c.Duties[1:] }, "If that is wrong, tell whoever the letter came from."},
	} {
		s := newSite(t)
		tt.change(&s.desk.f.fleet.Clocks[0])
		s.desk.snap = s.desk.f.snapshot()
		p := asking(schedule.Winding, "going")
		p.Person = tt.person
		_, body := sendLink(t, s, "/answer/"+s.links.give(p), url.Values{"said": {"stopped"}})
		text := flat(t, body)
		if len(s.desk.logged) != 1 || !strings.Contains(text, tt.want) || strings.Contains(text, "page of the clock") != (tt.person == "edda") {
			t.Errorf("%s: %s", tt.name, text)
		}
	}
}

// A form that is sent twice at once logs once.
func TestAnswerIsSentTwice(t *testing.T) {
	s := newSite(t)
	path := "/answer/" + s.links.give(asking(schedule.Winding, "going"))
	var wg sync.WaitGroup
	for i := range 8 {
		wg.Go(func() {
			says := url.Values{"said": {"done"}}
			if i%2 == 1 {
				says = url.Values{"said": {"stopped"}}
			}
			if res, _ := sendLink(t, s, path, says); res.StatusCode != 200 && res.StatusCode != 410 {
				t.Errorf("answers %d", res.StatusCode)
			}
		})
	}
	wg.Wait()
	if len(s.desk.logged) != 1 {
		t.Errorf("%d logged", len(s.desk.logged))
	}
}

// Of two who answer two letters for one task at once one is logged, and the
// other is told who was faster.
func TestTwoAnswerAtOnce(t *testing.T) {
	for range 5 {
		s := newSite(t)
		slow := asking(schedule.Winding, "going")
		slow.Person = "edda"
		paths := []string{"/answer/" + s.links.give(asking(schedule.Winding, "going")), "/answer/" + s.links.give(slow)}
		var wg sync.WaitGroup
		said := make([]string, 2)
		for i, path := range paths {
			wg.Go(func() {
				res, body := sendLink(t, s, path, url.Values{"said": {"done"}})
				said[i] = fmt.Sprint(res.StatusCode, " ", flat(t, body))
			})
		}
		wg.Wait()
		slices.Sort(said)
		if len(s.desk.logged) != 1 || !strings.HasPrefix(said[0], "200") || !strings.HasPrefix(said[1], "410") || !strings.Contains(said[1], "logged as wound by ") {
			t.Fatalf("%d logged: %q", len(s.desk.logged), said)
		}
	}
}

// What cannot be is shown again as it was filled in, and nothing is logged.
func TestAnswersAreRefused(t *testing.T) {
	for _, tt := range []struct {
		name, subject string
		kind          schedule.TaskKind
		says          url.Values
		status        int
		field, words  string
	}{
		{"no reason", "going", schedule.Winding, url.Values{"said": {"not done"}}, 422, "because-not-done", "say why"},
		{"in the future", "going", schedule.Winding, url.Values{"said": {"done"}, "at-done": {"2026-11-30T10:00"}}, 422, "at-done", "future"},
		{"long ago", "going", schedule.Winding, url.Values{"said": {"done"}, "at-done": {"2026-01-30T10:00"}}, 422, "at-done", "long before"},
		{"no time at all", "going", schedule.Winding, url.Values{"said": {"done"}, "at-done": {"yesterday"}}, 422, "at-done", ""},
		{"bytes that are no letters", "going", schedule.Winding, url.Values{"said": {"not done"}, "because-not-done": {"\xff\xfe"}}, 422, "because-not-done", "not letters"},
		{"a control character", "going", schedule.Winding, url.Values{"said": {"not done"}, "because-not-done": {"\x1b[2J"}}, 422, "", "control character"},
		{"a reading without its unit", "centre-front", schedule.Measuring, url.Values{"said": {"reading"}, "value-reading": {"0.6"}}, 422, "value-reading", "unit"},
		{"no reading", "centre-front", schedule.Measuring, url.Values{"said": {"reading"}}, 422, "value-reading", "with its unit"},
		{"a reading that is no number", "centre-front", schedule.Measuring, url.Values{"said": {"reading"}, "value-reading": {"NaN mm"}}, 422, "value-reading", ""},
		{"said nothing", "going", schedule.Winding, url.Values{}, 422, "", "is no answer"},
		{"said another thing", "going", schedule.Winding, url.Values{"said": {"reading"}, "value-reading": {"1 mm"}}, 422, "", "is no answer"},
		{"said rubbish", "going", schedule.Winding, url.Values{"said": {"<script>alert(1)</script>"}}, 422, "", "is no answer"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			s := newSite(t)
			path := "/answer/" + s.links.give(asking(tt.kind, tt.subject))
			res, body := sendLink(t, s, path, tt.says)
			bare(t, path, res, body)
			if text := flat(t, body); res.StatusCode != tt.status || !strings.Contains(strings.ToLower(text), tt.words) || len(s.desk.logged) > 0 {
				t.Errorf("answers %d, %d logged: %s", res.StatusCode, len(s.desk.logged), text)
			}
			all := nodes(t, body)
			i := slices.IndexFunc(all, func(n *html.Node) bool { id, _ := attr(n, "id"); return id == "f-"+tt.field })
			if tt.field != "" && i < 0 {
				t.Fatalf("%s is not asked again", tt.field)
			}
			if v := tt.says.Get(tt.field); tt.field != "" && strings.ToValidUTF8(v, "") == v {
				if got, _ := attr(all[i], "value"); got != v {
					t.Errorf("%s is now %q, and was %q", tt.field, got, v)
				}
			}
		})
	}
}

// A reading that does not fit is asked back, and taken on its reader's word.
func TestDoubtfulAnswer(t *testing.T) {
	s := newSite(t)
	path := "/answer/" + s.links.give(asking(schedule.Measuring, "centre-front"))
	says := url.Values{"said": {"reading"}, "value-reading": {"5.8 mm"}}
	res, body := sendLink(t, s, path, says)
	bare(t, path, res, body)
	if text := flat(t, body); res.StatusCode != 422 || !strings.Contains(text, "Is this reading right?") || !strings.Contains(text, "It is as written") || len(s.desk.logged) > 0 {
		t.Fatalf("answers %d: %s", res.StatusCode, text)
	}
	says.Set("value-reading", "5.9 mm")
	says.Set("sure-reading", "5.8 mm") // the word was for another
	if res, _ := sendLink(t, s, path, says); res.StatusCode != 422 || len(s.desk.logged) > 0 {
		t.Fatalf("the word for another reading was taken: %d", res.StatusCode)
	}
	says.Set("sure-reading", "5.9 mm")
	if res, _ := sendLink(t, s, path, says); res.StatusCode != 200 || len(s.desk.logged) != 1 || !s.desk.logged[0].Sure {
		t.Errorf("on its reader's word: %d, %+v", res.StatusCode, s.desk.logged)
	}
}

// Passes that are of no use any more, and why.
func TestAnswersThatAreClosed(t *testing.T) {
	for _, tt := range []struct {
		name   string
		change func(*site, *schedule.Pass)
		words  string
	}{
		{"done by somebody since", func(s *site, _ *schedule.Pass) {
			s.desk.f.add(.01, schedule.Entry{Clock: "corn-hall", Kind: schedule.Wound, By: "edda"})
		}, "This is done: it was logged as wound by Edda Quillfeather at"},
		{"the clock has another keeper", func(s *site, _ *schedule.Pass) { s.desk.f.fleet.Clocks[0].Duties = s.desk.f.fleet.Clocks[0].Duties[:1] }, "has no duty for Corn Hall clock"},
		{"the keeper left", func(s *site, _ *schedule.Pass) {
			s.desk.f.fleet.People = s.desk.f.fleet.People[:1]
			for i := range s.desk.f.fleet.Clocks {
				s.desk.f.fleet.Clocks[i].Duties = nil
			}
		}, "has no duty"},
		{"the clock left", func(s *site, _ *schedule.Pass) { s.desk.f.fleet.Clocks = s.desk.f.fleet.Clocks[1:] }, "not in care here any more"},
		{"45 days over", func(s *site, p *schedule.Pass) { p.Made = now.AddDate(0, 0, -46) }, "ended on"},
		{"taken back", func(s *site, p *schedule.Pass) { p.Ended = now }, "taken back"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			s := newSite(t)
			p := asking(schedule.Winding, "going")
			tt.change(&s, &p)
			s.desk.snap = schedule.Survey(s.desk.f.fleet, s.desk.f.log, schedule.Model{}, now)
			path := "/answer/" + s.links.give(p)
			res, body := get(t, s, path)
			bare(t, path, res, body)
			if text := flat(t, body); res.StatusCode != http.StatusGone || !strings.Contains(text, tt.words) || strings.Contains(text, "Edda") != strings.Contains(tt.words, "Edda") {
				t.Errorf("answers %d: %s", res.StatusCode, text)
			}
			if res, _ := sendLink(t, s, path, url.Values{"said": {"done"}}); res.StatusCode != http.StatusGone || len(s.desk.logged) > 0 {
				t.Errorf("posted: %d, %d logged", res.StatusCode, len(s.desk.logged))
			}
		})
	}
}

// A form of another site logs nothing, though it has a token; nor does what is no
// form, or one too large.
func TestAnswersOfOtherForms(t *testing.T) {
	s := newSite(t)
	path := "/answer/" + s.links.give(asking(schedule.Winding, "going"))
	const form = "application/x-www-form-urlencoded"
	for _, tt := range []struct {
		name, kind, body string
		header           [2]string
		want             int
	}{
		{"cross-site", form, "said=done", [2]string{"Sec-Fetch-Site", "cross-site"}, 403},
		{"JSON", "application/json", `{"said":"done"}`, [2]string{}, 415},
		{"plain text", "text/plain", "said=done", [2]string{}, 415},
		{"no kind", "", "said=done", [2]string{}, 415},
		{"too large", form, "said=done&because-done=" + strings.Repeat("x", mostBody), [2]string{}, 413},
		{"broken", form, "said=%zz", [2]string{}, 400},
	} {
		r := httptest.NewRequest("POST", path, strings.NewReader(tt.body))
		if tt.kind != "" {
			r.Header.Set("Content-Type", tt.kind)
		}
		if tt.header[0] != "" {
			r.Header.Set(tt.header[0], tt.header[1])
		}
		res, body := ask(t, s, r)
		bare(t, path, res, body)
		if res.StatusCode != tt.want || len(s.desk.logged) > 0 {
			t.Errorf("%s: %d, %d logged", tt.name, res.StatusCode, len(s.desk.logged))
		}
	}
	for _, method := range []string{"PUT", "DELETE", "PATCH", "TRACE", "OPTIONS"} {
		res, body := ask(t, s, httptest.NewRequest(method, path, strings.NewReader("said=done")))
		bare(t, path, res, body)
		if res.StatusCode != 405 || res.Header.Get("Allow") != "GET, HEAD, POST" {
			t.Errorf("%s: %d, Allow %q", method, res.StatusCode, res.Header.Get("Allow"))
		}
	}
	// The host that was asked for goes into no page.
	r := httptest.NewRequest("GET", path, nil)
	r.Host = "evil.example.net"
	r.Header.Set("X-Forwarded-Host", "evil.example.net")
	if _, body := ask(t, s, r); strings.Contains(body, "evil") {
		t.Error("the host of the request stands in the page")
	}
	// The page's own form is let in where a browser tells no origin.
	if res, _ := sendLink(t, s, path, url.Values{"said": {"done"}}); res.StatusCode != 200 {
		t.Errorf("the page's own form: %d", res.StatusCode)
	}
}

// A locked clock says so, and is not offered as wound.
func TestAnswerOfALockedClock(t *testing.T) {
	s := newSite(t)
	s.desk.f.add(1, schedule.Entry{Clock: "corn-hall", Kind: schedule.Noted, By: "edda", Note: "strand broken", Detail: schedule.Detail{Lock: schedule.DoNotRun}})
	s.desk.snap = s.desk.f.snapshot()
	path := "/answer/" + s.links.give(asking(schedule.Winding, "going"))
	res, body := get(t, s, path)
	bare(t, path, res, body)
	if text := flat(t, body); !strings.Contains(text, "Locked: do not run") || !strings.Contains(text, "must not be wound") || buttons(t, body) != "Found stopped | Not done" {
		t.Errorf("asked: %s", text)
	}
	res, body = sendLink(t, s, path, url.Values{"said": {"done"}})
	if res.StatusCode != http.StatusConflict || !strings.Contains(flat(t, body), "while it is locked") || len(s.desk.logged) > 0 {
		t.Errorf("wound all the same: %d", res.StatusCode)
	}
	if res, _ = sendLink(t, s, path, url.Values{"said": {"stopped"}, "cause-stopped": {"by hand"}}); res.StatusCode != 200 || len(s.desk.logged) != 1 {
		t.Errorf("stopped by hand: %d", res.StatusCode)
	}
}

// What only a form of the pages can hold is asked for in words, with the way to
// the quick form where there is one.
func TestAnswerThatALinkCannotTake(t *testing.T) {
	s := newSite(t)
	for i, kind := range []schedule.TaskKind{schedule.Locked, schedule.LineLook, schedule.Visiting, schedule.Setting, schedule.Measuring} {
		path := "/answer/" + s.links.give(asking(kind, ""))
		res, body := get(t, s, path)
		bare(t, path, res, body)
		want := "log it on its own page"
		if _, ok := jobOf(kind); !ok {
			want = "tell Edda Quillfeather, the conservator"
		}
		if res.StatusCode != 200 || buttons(t, body) != "" || !strings.Contains(flat(t, body), want) {
			t.Errorf("%s: %d, %s", kind, res.StatusCode, flat(t, body))
		}
		if res, _ := sendLink(t, s, path, url.Values{"said": {"done"}, "because-done": {fmt.Sprint(i)}}); res.StatusCode != 422 || len(s.desk.logged) > 0 {
			t.Errorf("%s posted: %d", kind, res.StatusCode)
		}
	}
}

// Hostile names stay words.
func TestHostileAnswer(t *testing.T) {
	s := newSite(t)
	p := asking(schedule.Winding, "going")
	p.Clock, p.Person = "bad", "eve"
	path := "/answer/" + s.links.give(p)
	res, body := get(t, s, path)
	bare(t, path, res, body)
	res, body = sendLink(t, s, path, url.Values{"said": {"not done"}, "because-not-done": {`"'><script>alert(1)</script>{{.}}`}})
	bare(t, path, res, body)
	if res.StatusCode != 200 || strings.Contains(body, "<script") {
		t.Errorf("answers %d: %s", res.StatusCode, body)
	}
}
