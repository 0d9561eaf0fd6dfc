package web

import (
	"context"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/chromedp"

	"endshake/daemon/browsertest"
	"endshake/schedule"
)

// complaints gathers what a browser writes on its console.
type complaints struct {
	mu  sync.Mutex
	all []string
}

func (c *complaints) listen(ctx context.Context) error {
	err := chromedp.Listen(ctx, func(ev any) {
		c.mu.Lock()
		defer c.mu.Unlock()
		if e, ok := ev.(*log.EventEntryAdded); ok {
			c.all = append(c.all, e.Entry.Text+" "+e.Entry.URL)
		}
	})
	if err != nil {
		return err
	}
	_, err = chromedp.Call(ctx, log.Enable, cdp.Empty{})
	return err
}

func (c *complaints) take() []string {
	c.mu.Lock()
	defer c.mu.Unlock()
	out := c.all
	c.all = nil
	return out
}

// shotPages are the pages to look at, each with the name of its picture.
var shotPages = []struct{ name, path string }{
	{"fleet", "/"}, {"due", "/due"}, {"outlook", "/outlook"}, {"timechange", "/timechange"}, {"clock", "/clock/corn-hall"}, {"clock-mill", "/clock/mill"}, {"clock-bad", "/clock/bad"}, {"bearing", "/clock/corn-hall/bearing/centre-front"},
	{"bearing-repaired", "/clock/mill/bearing/centre-rear"}, {"bearing-unknown", "/clock/quay/bearing/centre-front"},
	{"bearing-worn", "/clock/bell-house/bearing/worn"}, {"bearing-misread", "/clock/bell-house/bearing/misread"},
	{"bearing-changed", "/clock/bell-house/bearing/changed"}, {"bearing-untaught", "/clock/bell-house/bearing/untaught"},
	{"bearing-meshed", "/clock/bell-house/bearing/meshed"}, {"bearing-shaft", "/clock/bell-house/bearing/long"},
	{"what-if", "/clock/bell-house/bearing/worn?washer=0.5+mm&oilDays=90"}, {"what-if-meshed", "/clock/bell-house/bearing/meshed?washer=0.2+mm"},
	{"what-if-refused", "/clock/bell-house/bearing/worn?washer=0.5&outer=20+mm"}, {"clock-wearing", "/clock/bell-house"}, {"reckoner", "/reckoner"},
	{"bench", "/reckoner/washer"}, {"bench-reckoned", "/reckoner/pendulum?length=39.14+in&pitch=1%2F18+in&bob=20+kg&added=2+g&rod=steel&warmer=10+C&arc=2.5+deg&arc-to=2+deg"},
	{"bench-wear", "/reckoner/wear?rod=8+ft&thick=1%2F2+in&outer=24+mm&inner=13+mm&pair=steel+on+brass&oil=aged&running=100+years&revs-per-hour=1"}, {"bench-refused", "/reckoner/washer?end-shake=1.15"},
	{"do-wind", "/clock/corn-hall/do/wind?subject=going"}, {"do-measure", "/clock/bell-house/do/measure?subject=worn"}, {"do-oil", "/clock/corn-hall/do/oil"}, {"do-stopped", "/clock/mill/do/stopped"}, {"done", "/clock/corn-hall/done/e001"}, {"label", "/clock/corn-hall/label"}, {"labels", "/labels"}, {"card", "/clock/corn-hall/card"}, {"card-typed", "/clock/corn-hall/card/entry"}, {"log-kinds", "/clock/corn-hall/log"}, {"log-measured", "/clock/corn-hall/log?kind=measured"}, {"log-stopped", "/clock/mill/log?kind=stopped"},
	{"mail", "/mail"}, {"letter", "/mail/m1"}, {"help", "/help"}, {"lost", "/nowhere"},
	{"clock-torn", "/clock/lych-gate"}, {"report", "/report"}, {"report-clock", "/clock/bell-house/report"}, {"history", "/clock/corn-hall/history"}, {"history-torn", "/clock/lych-gate/history"}, {"history-wearing", "/clock/bell-house/history"},
	{"rounds", "/rounds"}, {"rounds-asked", "/rounds?months=99&person=nobody"}, {"round", "/rounds/tom/2026-12-03"}, {"round-lost", "/rounds/tom/2027-01-20"},
	{"old-book", "/old-book"}, {"old-book-logged", "/old-book?logged=412"},
}

// shotSite is what is looked at: the fixture with the wearing clock, taught and
// cared for.
func shotSite(t *testing.T) site {
	d := wearingDesk()
	d.teach(taught(false))
	careFor(d)
	torn(d)
	return siteOf(t, d, func(o *Options) { o.Exported = func(context.Context, string, []string) error { return nil } })
}

// bookShots are what the page of an old book answers to a file.
var bookShots = map[string]string{"asked": towerBook, "well": wellBook, "none": ""}

// shotOfLinks are pages of letters' links to look at, after those of shotPages;
// of a path with "posted" the handler looks at what a form comes to, of one with
// "away" at a page while the database does not answer.
func shotOfLinks(t *testing.T, s site) (http.Handler, []struct{ name, path string }) {
	s.desk.f.add(1, schedule.Entry{Clock: "mill", Kind: schedule.Noted, By: "edda", Note: "strand broken", Detail: schedule.Detail{Lock: schedule.DoNotRun}})
	s.desk.snap = s.desk.snap.With("mill", s.desk.f.log["mill"], s.desk.model(), now)
	answer := func(kind schedule.TaskKind, subject string) string {
		return "/answer/" + s.links.give(asking(kind, subject))
	}
	locked := asking(schedule.Winding, "going")
	locked.Clock = "mill"
	read, wound := answer(schedule.Measuring, "centre-front"), answer(schedule.Winding, "strike")
	decline := func(k schedule.NoticeKind) string {
		return "/decline/" + s.links.give(schedule.Pass{Deed: schedule.Declining, Person: "tom", Kind: k})
	}
	away := siteOf(t, s.desk, func(o *Options) { o.Database = gone() })
	posted := http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		q := r.URL.Query()
		if q.Has("away") {
			away.ServeHTTP(w, r)
			return
		}
		if book, ok := bookShots[q.Get("posted")]; ok && r.URL.Path == "/old-book" {
			kind, body := bookForm(t, book, nil)
			r.Method, r.Body = http.MethodPost, io.NopCloser(strings.NewReader(body))
			r.Header.Set("Content-Type", kind)
		} else if q.Has("posted") {
			r.Method, r.Body = http.MethodPost, io.NopCloser(strings.NewReader(q.Encode()))
			r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		}
		s.ServeHTTP(w, r)
	})
	return posted, append(slices.Clone(shotPages), []struct{ name, path string }{
		{"answer-winding", answer(schedule.Winding, "going")}, {"answer-inspection", answer(schedule.Inspection, "")}, {"answer-reading", read},
		{"answer-reading-refused", read + "?posted&said=reading&value-reading=5.8+mm"}, {"answer-not-refused", answer(schedule.Oiling, "") + "?posted&said=not+done"},
		{"answer-locked", "/answer/" + s.links.give(locked)}, {"answer-on-its-page", answer(schedule.Setting, "")},
		{"answered", answer(schedule.Winding, "") + "?posted&said=not+done&because-not-done=the+stair+is+shut"},
		{"answered-wound-gone", wound + "?posted&said=done"}, // the first time at the first look alone
		{"decline", decline(schedule.Standing)}, {"declined", decline(schedule.WindReminder) + "?posted"}, {"lost-link", "/answer/x"},
		{"old-book-asked", "/old-book?posted=asked"}, {"old-book-well", "/old-book?posted=well"}, {"old-book-none-refused", "/old-book?posted=none"},
		{"away", "/?away"}, {"away-clock", "/clock/corn-hall?away"}, {"away-form", "/clock/corn-hall/do/wind?subject=going&away"},
	}...)
}

// TestInABrowser opens each page wide and on a telephone, there in light and dark:
// nothing may run out at the side (WCAG 2.2, 1.4.10), all can be read (1.4.3) and
// be hit with a finger (2.5.8), and the browser must have nothing to complain of.
// ENDSHAKE_SHOTS names a folder for pictures, of more ways to look.
func TestInABrowser(t *testing.T) {
	handler, pages := shotOfLinks(t, shotSite(t))
	srv := httptest.NewServer(handler)
	defer srv.Close()
	shots := os.Getenv("ENDSHAKE_SHOTS")
	looks := []look{{Name: "1280", Width: 1280, Scheme: "light"}, {Name: "390", Width: 390, Scheme: "light"}, {Name: "390-dark", Width: 390, Scheme: "dark"}}
	if shots != "" {
		looks = append(looks, look{Name: "1280-dark", Width: 1280, Scheme: "dark"}, look{Name: "print", Width: 760, Scheme: "light", Media: "print"})
	}
	for _, look := range looks {
		ctx := browsertest.Start(t) // anew, for none is given more than five minutes
		var said complaints
		if err := said.listen(ctx); err != nil {
			t.Fatalf("start Chromium: %v", err)
		}
		for _, p := range pages {
			look.Open(t, ctx, srv.URL+p.path)
			over := see(t, ctx, browsertest.Sideways)
			if look.Width < 500 {
				over = append(over, see(t, ctx, unstacked)...)
				if faint := see(t, ctx, browsertest.Contrast); len(faint) > 0 {
					t.Errorf("%s at %s: too faint: %s", p.name, look.Name, strings.Join(faint, "; "))
				}
				if small := see(t, ctx, size); len(small) > 0 {
					t.Errorf("%s at %s: too small to hit: %s", p.name, look.Name, strings.Join(small, "; "))
				}
			}
			browsertest.Shot(t, ctx, shots, p.name+"-"+look.Name)
			if len(over) > 0 {
				t.Errorf("%s at %s runs out at the side: %s", p.name, look.Name, strings.Join(over, "; "))
			}
			for _, c := range said.take() {
				of := p.name
				for _, other := range pages { // it may come late
					if strings.HasSuffix(c, " "+srv.URL+other.path) {
						of = other.name
					}
				}
				if !(strings.Contains(c, "404") && strings.HasPrefix(of, "lost") || strings.Contains(c, "410") && strings.HasSuffix(of, "-gone") || strings.Contains(c, "422") && strings.HasSuffix(of, "-refused")) { // the browser notes what it is answered, as it must
					t.Errorf("%s at %s: the browser complains: %s", p.name, look.Name, c)
				}
			}
		}
	}
}

// look and see are written often here.
type look = browsertest.Look

var see = browsertest.See

// unstacked lists the rows that are still rows on a telephone.
const unstacked = `[...document.querySelectorAll('main tr')].filter(e => e.getClientRects().length && getComputedStyle(e).display !== 'block').slice(0, 3).map(e => 'row: ' + e.textContent)`

// size lists what is too small to be hit with a finger on a telephone: buttons,
// fields, folds and links that stand alone under 44 pixels high (WCAG 2.2, 2.5.5),
// anything that is hit under 24 by 24 (2.5.8), and links in a sentence whose lines
// stand closer than 24.
const size = `(() => {
	const plain = s => s.replace(/[^\p{L}\p{N}]/gu, '');
	const inSentence = e => {
		const box = e.closest('p, li, td, th, dd, dt, h1, h2, h3, figcaption, caption, summary') || e.parentElement;
		const links = [...box.querySelectorAll('a')].map(x => x.textContent).join('');
		return e.tagName === 'A' && !e.closest('.do, nav') && plain(box.textContent).length - plain(links).length > 2;
	};
	return [...document.querySelectorAll('a, button, summary, input:not([type=hidden]), select, textarea')].filter(e => {
		const r = e.getBoundingClientRect(), tick = e.type === 'checkbox' || e.type === 'radio';
		if (r.width === 0 || e.closest('.skip') || e.querySelector('img')) return false;
		if (inSentence(e)) return getComputedStyle(e).display === 'inline' && parseFloat(getComputedStyle(e).lineHeight) < 24;
		return r.width < 24 || r.height < (tick ? 24 : 43.9);
	}).slice(0, 9).map(e => e.tagName + ' ' + (e.textContent || e.name) + ' ' + JSON.stringify(e.getBoundingClientRect()));
})()`

// lonely lists a line of the top that holds one word, below one that holds more.
const lonely = `(() => {
	const lines = new Map();
	for (const e of document.querySelectorAll('.top nav li')) { const y = Math.round(e.getBoundingClientRect().top); lines.set(y, [...(lines.get(y) || []), e.textContent]); }
	return [...lines.values()].filter(l => lines.size > 1 && l.length < 2).map(l => l.join());
})()`

// The top line has no word alone in a row, for whoever runs the fleet and for whoever
// winds, on telephones of several widths.
func TestTopLineInABrowser(t *testing.T) {
	ctx := browsertest.Start(t)
	for name, actor := range map[string]schedule.Actor{"a conservator": {Conservator: true}, "a winder": winder} {
		srv := httptest.NewServer(siteFor(t, woundDesk(), actor))
		for _, width := range []int64{320, 360, 375, 390, 412, 430} {
			look{Name: "telephone", Width: width, Scheme: "light"}.Open(t, ctx, srv.URL+"/due")
			if got := append(see(t, ctx, lonely), see(t, ctx, browsertest.Sideways)...); len(got) > 0 {
				t.Errorf("%s at %d: %q", name, width, got)
			}
		}
		srv.Close()
	}
}

// TestADoubtInABrowser logs a reading that does not fit, as a person does: it
// is asked back, and the box that it is right is there to be checked.
func TestADoubtInABrowser(t *testing.T) {
	ctx := browsertest.Start(t)
	s := shotSite(t)
	srv := httptest.NewServer(s)
	defer srv.Close()
	do := func(a chromedp.Action[chromedp.Void]) {
		t.Helper()
		if _, err := chromedp.Run(ctx, a); err != nil {
			t.Fatal(err)
		}
	}
	for _, look := range []look{{Name: "1280", Width: 1280, Scheme: "light"}, {Name: "390", Width: 390, Scheme: "light"}} {
		look.Open(t, ctx, srv.URL+"/clock/bell-house/log?kind=measured&bearing=worn")
		do(chromedp.SetValue("#f-value", "25.4 mm"))
		do(chromedp.Click("main button[type=submit]"))
		do(chromedp.WaitVisible("#f-sure"))
		bad := append(see(t, ctx, browsertest.Sideways), see(t, ctx, browsertest.Contrast)...)
		if look.Width < 500 {
			bad = append(bad, see(t, ctx, size)...)
		}
		if len(bad) > 0 {
			t.Errorf("at %s: %s", look.Name, strings.Join(bad, "; "))
		}
		browsertest.Shot(t, ctx, os.Getenv("ENDSHAKE_SHOTS"), "log-doubt-"+look.Name)
	}
	if len(s.desk.logged) > 0 {
		t.Fatal("it is logged before anybody said that it is right")
	}
	do(chromedp.Click("#f-sure"))
	do(chromedp.Click("main button[type=submit]"))
	do(chromedp.WaitVisible(".logged"))
	if len(s.desk.logged) != 1 || !s.desk.logged[0].Sure {
		t.Errorf("%d entries are logged", len(s.desk.logged))
	}
}

// TestFirstScreenInABrowser: a telephone shows a task of the due-list whole, and
// the next begun, before anybody scrolls, and the card of a clock is one sheet of A4.
func TestFirstScreenInABrowser(t *testing.T) {
	ctx := browsertest.Start(t)
	srv := httptest.NewServer(newSite(t))
	defer srv.Close()
	look{Name: "390", Width: 390, Scheme: "light"}.Open(t, ctx, srv.URL+"/due")
	const whole = `[...document.querySelectorAll('li.task')].filter(e => e.getBoundingClientRect().bottom <= innerHeight).map(e => e.textContent)`
	const begun = `[...document.querySelectorAll('li.task')].filter(e => e.getBoundingClientRect().top <= innerHeight - 40).map(e => e.textContent)`
	if got, more := see(t, ctx, whole), see(t, ctx, begun); len(got) < 1 || len(more) < 2 {
		t.Errorf("a telephone shows %d tasks whole: %q", len(got), got)
	}
	for _, clock := range []string{"corn-hall", "mill"} {
		look{Name: "1280", Width: 1280, Scheme: "light"}.Open(t, ctx, srv.URL+"/clock/"+clock+"/card")
		if n := browsertest.Sheets(t, ctx); n != 1 {
			t.Errorf("the card of %s is printed on %d sheets", clock, n)
		}
		// A pen writes a date, a time and a word in these (judgement, no source), on
		// the 188 mm that A4 leaves within its margins.
		look{Name: "paper", Width: 711, Scheme: "light", Media: "print"}.Open(t, ctx, srv.URL+"/clock/"+clock+"/card")
		const narrow = `[...document.querySelectorAll('.lines tbody tr:first-child td')].map(e => e.getBoundingClientRect())
			.map((r, i) => [r.width / 96 * 25.4, [17, 15, 24, 24, 18, 18, 18, 24][i], r.height / 96 * 25.4]).filter(([w, least, h]) => w < least || h < 8).map(r => r.join(' '))`
		if got := see(t, ctx, narrow); len(got) > 0 {
			t.Errorf("the card of %s has columns too narrow to write in, in mm: %q", clock, got)
		}
	}
}

// TestClockOnPaperInABrowser: the page of a clock is printed on three sheets of
// A4 at the most, without what only a screen has a use for.
func TestClockOnPaperInABrowser(t *testing.T) {
	ctx := browsertest.Start(t)
	srv := httptest.NewServer(newSite(t))
	defer srv.Close()
	for _, clock := range []string{"corn-hall", "mill"} {
		look{Name: "1280", Width: 1280, Scheme: "light"}.Open(t, ctx, srv.URL+"/clock/"+clock)
		if n := browsertest.Sheets(t, ctx); n > 3 {
			t.Errorf("the page of %s is printed on %d sheets", clock, n)
		}
	}
}

// TestHistoryOnPaperInABrowser: whoever keeps a clock next gets all of its log on
// paper, each entry with its note.
func TestHistoryOnPaperInABrowser(t *testing.T) {
	ctx := browsertest.Start(t)
	s := newSite(t)
	srv := httptest.NewServer(s)
	defer srv.Close()
	look{Name: "paper", Width: 711, Scheme: "light", Media: "print"}.Open(t, ctx, srv.URL+"/clock/corn-hall/history")
	const printed = `[...document.querySelectorAll('.log tbody tr')].filter(e => e.getClientRects().length).map(e => e.innerText)`
	got, want := see(t, ctx, printed), s.desk.f.log["corn-hall"]
	if len(got) != len(want) || !strings.Contains(strings.Join(got, "\n"), "Black paste at the centre arbor.") {
		t.Errorf("%d entries of %d are printed, or without their notes: %.300q", len(got), len(want), got)
	}
}
