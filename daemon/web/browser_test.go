package web

import (
	"context"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/chromedp"

	"endshake/schedule"
)

// browser starts Chromium, or skips loudly where there is none; a run that
// counts (ENDSHAKE_CI=1) must have it.
func browser(t *testing.T) context.Context {
	t.Helper()
	var path string
	for _, name := range []string{os.Getenv("CHROMIUM"), "chromium", "chromium-browser", "google-chrome"} {
		if p, err := exec.LookPath(name); name != "" && err == nil {
			path = p
			break
		}
	}
	if path == "" {
		const how = "no Chromium is installed, so nothing was looked at in a browser: install the package chromium, or name its path in CHROMIUM"
		if os.Getenv("ENDSHAKE_CI") == "1" {
			t.Fatal(how)
		}
		t.Skip(how)
	}
	flags := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true),
		chromedp.Flag("disable-background-networking", true), chromedp.Flag("disable-sync", true))
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Minute)
	t.Cleanup(cancel)
	ctx, stop := chromedp.NewExecAllocator(ctx, flags...)
	t.Cleanup(stop)
	ctx, done := chromedp.NewContext(ctx)
	t.Cleanup(done)
	return ctx
}

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
	{"do-wind", "/clock/corn-hall/do/wind?subject=going"}, {"do-measure", "/clock/bell-house/do/measure?subject=worn"}, {"do-oil", "/clock/corn-hall/do/oil"}, {"do-stopped", "/clock/mill/do/stopped"}, {"done", "/clock/corn-hall/done/e001"}, {"log-kinds", "/clock/corn-hall/log"}, {"log-measured", "/clock/corn-hall/log?kind=measured"}, {"log-stopped", "/clock/mill/log?kind=stopped"},
	{"mail", "/mail"}, {"letter", "/mail/m1"}, {"help", "/help"}, {"lost", "/nowhere"},
}

// shotSite is what is looked at: the fixture with the wearing clock, taught and
// cared for.
func shotSite(t *testing.T) site {
	d := wearingDesk()
	d.teach(taught(false))
	careFor(d)
	return siteOf(t, d)
}

// shotOfLinks are pages of letters' links to look at, after those of shotPages;
// of a path with "posted" the handler looks at what a form comes to.
func shotOfLinks(s site) (http.Handler, []struct{ name, path string }) {
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
	posted := http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if q := r.URL.Query(); q.Has("posted") {
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
	}...)
}

// TestInABrowser opens each page wide and on a telephone: nothing may run out
// at the side (WCAG 2.2, 1.4.10), and the browser must have nothing to
// complain of. ENDSHAKE_SHOTS names a folder for pictures.
func TestInABrowser(t *testing.T) {
	ctx := browser(t)
	handler, pages := shotOfLinks(shotSite(t))
	srv := httptest.NewServer(handler)
	defer srv.Close()
	var said complaints
	if err := said.listen(ctx); err != nil {
		t.Fatalf("start Chromium: %v", err)
	}
	shots := os.Getenv("ENDSHAKE_SHOTS")
	for _, look := range []look{{"1280", 1280, "light", ""}, {"390", 390, "light", ""}, {"1280-dark", 1280, "dark", ""}, {"390-dark", 390, "dark", ""}, {"print", 760, "light", "print"}} {
		if shots == "" && look.width == 760 {
			continue
		}
		for _, p := range pages {
			look.open(t, ctx, srv.URL+p.path)
			over := see(t, ctx, sideways)
			if look.width < 500 {
				over = append(over, see(t, ctx, unstacked)...)
			}
			shot(t, ctx, shots, p.name+"-"+look.name)
			if len(over) > 0 {
				t.Errorf("%s at %s runs out at the side: %s", p.name, look.name, strings.Join(over, "; "))
			}
			for _, c := range said.take() {
				if !(strings.Contains(c, "404") && strings.HasPrefix(p.name, "lost") || strings.Contains(c, "410") && strings.HasSuffix(p.name, "-gone") || strings.Contains(c, "422") && strings.HasSuffix(p.name, "-refused")) { // the browser notes what it is answered, as it must
					t.Errorf("%s at %s: the browser complains: %s", p.name, look.name, c)
				}
			}
		}
	}
}

// sideways lists the elements that stand out to the right, if the page scrolls.
const sideways = `document.documentElement.scrollWidth <= window.innerWidth ? [] :
	[...document.querySelectorAll('body *')].filter(e => e.getBoundingClientRect().right > document.documentElement.clientWidth + 1)
	.slice(0, 5).map(e => e.tagName + '.' + e.className + ' ' + Math.round(e.getBoundingClientRect().right))
	.concat('scrollWidth ' + document.documentElement.scrollWidth)`

// unstacked lists the rows that are still rows on a telephone.
const unstacked = `[...document.querySelectorAll('main tr')].filter(e => getComputedStyle(e).display !== 'block').slice(0, 3).map(e => 'row: ' + e.textContent)`

// look is a way to look at a page.
type look struct {
	name   string
	width  int64
	scheme string // light or dark
	media  string // print, or empty
}

func (l look) open(t *testing.T, ctx context.Context, url string) {
	t.Helper()
	_, err := chromedp.Call(ctx, emulation.SetDeviceMetricsOverride,
		emulation.SetDeviceMetricsOverrideParams{Width: l.width, Height: 850, DeviceScaleFactor: 1, Mobile: l.width < 500})
	if err == nil {
		_, err = chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: l.media,
			Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: l.scheme}}})
	}
	if err == nil {
		err = chromedp.Do(ctx, chromedp.Navigate(url))
	}
	if err != nil {
		t.Fatalf("open %s at %s: %v", url, l.name, err)
	}
}

// see runs an expression that lists what is wrong on the page.
func see(t *testing.T, ctx context.Context, expression string) []string {
	t.Helper()
	out, err := chromedp.Run(ctx, chromedp.Evaluate[[]string](expression))
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// shot writes the whole page as PNG to a folder, if one is named.
func shot(t *testing.T, ctx context.Context, dir, name string) {
	t.Helper()
	if dir == "" {
		return
	}
	data, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
	if err == nil {
		err = os.WriteFile(filepath.Join(dir, name+".png"), data, 0o644)
	}
	if err != nil {
		t.Fatalf("picture of %s: %v", name, err)
	}
}

// contrast works out in the browser the contrast ratio of every text with the
// paper behind it, by the formula of WCAG 2.2 (relative luminance), and lists
// those below 4.5 (success criterion 1.4.3).
const contrast = `(() => {
	const lum = c => { const v = c.map(x => (x /= 255) <= 0.04045 ? x / 12.92 : ((x + 0.055) / 1.055) ** 2.4); return 0.2126*v[0] + 0.7152*v[1] + 0.0722*v[2]; };
	const parse = s => s.match(/[\d.]+/g).map(Number);
	const behind = e => { for (; e; e = e.parentElement) { const c = parse(getComputedStyle(e).backgroundColor); if (c.length < 4 || c[3] > 0) return c; } return [255,255,255]; };
	const bad = [];
	for (const e of document.querySelectorAll('body *')) {
		if (![...e.childNodes].some(n => n.nodeType === 3 && n.data.trim())) continue;
		if (['TITLE','DESC','OPTION'].includes(e.tagName.toUpperCase())) continue;
		const style = getComputedStyle(e), svg = e.namespaceURI.includes('svg');
		const a = lum(parse(svg ? style.fill : style.color)), b = lum(behind(e));
		const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
		if (ratio < 4.5) bad.push(e.tagName + '.' + e.getAttribute('class') + ' ' + ratio.toFixed(2) + ' ' + e.textContent.trim().slice(0, 30));
	}
	return bad.slice(0, 5);
})()`

// size lists what is too small to be hit with a finger on a telephone: links
// that stand alone, buttons and fields under 24 by 24 pixels (WCAG 2.2, 2.5.8).
const size = `[...document.querySelectorAll('button, input:not([type=hidden]), select, textarea, nav a, .do a')]
	.filter(e => { const r = e.getBoundingClientRect(); return r.width > 0 && (r.width < 24 || r.height < 24); })
	.map(e => e.tagName + ' ' + (e.textContent || e.name) + ' ' + JSON.stringify(e.getBoundingClientRect()))`

func TestContrastAndTargets(t *testing.T) {
	ctx := browser(t)
	handler, pages := shotOfLinks(shotSite(t))
	srv := httptest.NewServer(handler)
	defer srv.Close()
	for _, scheme := range []string{"light", "dark"} {
		for _, p := range pages {
			look{"390", 390, scheme, ""}.open(t, ctx, srv.URL+p.path)
			faint, small := see(t, ctx, contrast), see(t, ctx, size)
			if len(faint) > 0 {
				t.Errorf("%s, %s: too faint: %s", p.name, scheme, strings.Join(faint, "; "))
			}
			if len(small) > 0 {
				t.Errorf("%s, %s: too small to hit: %s", p.name, scheme, strings.Join(small, "; "))
			}
		}
	}
}

// TestADoubtInABrowser logs a reading that does not fit, as a person does: it
// is asked back, and the box that it is right is there to be checked.
func TestADoubtInABrowser(t *testing.T) {
	ctx := browser(t)
	s := shotSite(t)
	srv := httptest.NewServer(s)
	defer srv.Close()
	do := func(a chromedp.Action[chromedp.Void]) {
		t.Helper()
		if _, err := chromedp.Run(ctx, a); err != nil {
			t.Fatal(err)
		}
	}
	for _, look := range []look{{"1280", 1280, "light", ""}, {"390", 390, "light", ""}} {
		look.open(t, ctx, srv.URL+"/clock/bell-house/log?kind=measured&bearing=worn")
		do(chromedp.SetValue("#f-value", "25.4 mm"))
		do(chromedp.Click("main button[type=submit]"))
		do(chromedp.WaitVisible("#f-sure"))
		bad := append(see(t, ctx, sideways), append(see(t, ctx, contrast), see(t, ctx, size)...)...)
		if len(bad) > 0 {
			t.Errorf("at %s: %s", look.name, strings.Join(bad, "; "))
		}
		shot(t, ctx, os.Getenv("ENDSHAKE_SHOTS"), "log-doubt-"+look.name)
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
