package daemon

import (
	"bytes"
	"context"
	"encoding/binary"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"log/slog"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"

	"endshake/daemon/browsertest"
	"endshake/daemon/login"
	"endshake/schedule"
)

// TestADayInABrowser has people do with browsers what they do on a day, from the
// link that the service prints at its first start on: each page is without a
// complaint of the browser, runs no script of theirs, and does not run out at the
// side. ENDSHAKE_SHOTS names a folder for pictures.
func TestADayInABrowser(t *testing.T) {
	browser := browsertest.Start(t)
	if err := chromedp.Do(browser, chromedp.Navigate("about:blank")); err != nil {
		t.Fatalf("start Chromium: %v", err)
	}
	d := newDay(t, browser, browsertest.Look{Name: "390-dark", Width: 390, Scheme: "dark"})
	ada := d.visitor("ada")
	ada.becomesFirst()
	asKeeper, asOwner := ada.invites()
	keeper, owner := d.visitor("keeper"), d.visitor("owner")
	keeper.joins(asKeeper, d.keeper)
	keeper.winds()
	picture := keeper.oils()
	keeper.measures()
	ada.corrects()
	owner.joins(asOwner, "council@example.org")
	owner.seesTheirs(picture)
	ada.audits()
	d.stop()
	d.logged()
}

// canary is what is written into a name, a place, a note and a reason: it changes
// the title of the page where a browser takes it for more than words.
const canary = `<script>document.title='sung'</script> <img src=x onerror="document.title='sung'">&lt;b&gt;`

// secretOf is a password of each visitor.
func secretOf(name string) string { return "Plover " + name + " 7 quoin-lamps" }

// daytime is a service with accounts on a fleet, and how it is looked at.
type daytime struct {
	*house
	browser context.Context
	look    browsertest.Look
	book    *logbook
	keeper  string // the short name of whoever is invited
}

// logbook is the log of the service, which many write.
type logbook struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (b *logbook) Write(p []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.text.Write(p)
}

func (b *logbook) String() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.text.String()
}

func newDay(t *testing.T, browser context.Context, look browsertest.Look) *daytime {
	t.Helper()
	past := append(wound(t, "2024-01-01 09:00", "2026-11-23 09:00"), reading(t, "2020-01-10 10:00", 0.24), reading(t, "2023-01-10 10:00", 0.40),
		schedule.Entry{Clock: "moot-hall", Kind: schedule.Inspected, At: at(t, "2026-03-02 10:00").UTC(), By: "ada", Source: "test", Detail: schedule.Detail{Found: schedule.Sound}},
		schedule.Entry{Clock: "moot-hall", Kind: schedule.Oiled, At: at(t, "2025-12-10 10:00").UTC(), By: "ada", Source: "test", Detail: schedule.Detail{Oil: "clock oil"}})
	d := &daytime{browser: browser, look: look, book: &logbook{}}
	var smtp string
	d.house, smtp = furnish(t, t.TempDir(), "2026-11-25 10:00", func(f *schedule.Fleet) {
		for i := range f.Sites {
			f.Sites[i].Place += " " + canary
		}
	}, past...)
	o := d.options(smtp)
	o.Everyone, o.Log = schedule.Actor{}, slog.New(slog.NewTextHandler(d.book, nil))
	d.start(o)
	return d
}

// found waits for what a pattern finds in a text that grows, and gives its first
// group.
func (d *daytime) found(pattern string, text func() string) string {
	d.t.Helper()
	p := regexp.MustCompile(pattern)
	for range 3000 {
		if m := p.FindStringSubmatch(text()); m != nil {
			return m[1]
		}
		time.Sleep(10 * time.Millisecond)
	}
	d.t.Fatalf("nothing like %s came", pattern)
	return ""
}

// visitor is somebody with a browser of their own.
type visitor struct {
	*daytime
	name string
	ctx  context.Context
	mu   sync.Mutex
	said []string // what the browser complains of
}

// tells has a page say in the console what its policy stopped.
const tells = `document.addEventListener('securitypolicyviolation', e => console.error('policy', e.violatedDirective, e.blockedURI, e.sample))`

func (d *daytime) visitor(name string) *visitor {
	d.t.Helper()
	v := &visitor{daytime: d, name: name}
	ctx, cancel := chromedp.NewContext(d.browser, chromedp.WithNewBrowserContext(), chromedp.WithListener(v.hear))
	d.t.Cleanup(cancel)
	v.ctx = ctx
	d.look.Open(d.t, ctx, "about:blank")
	_, err := chromedp.Call(ctx, log.Enable, cdp.Empty{})
	if err == nil {
		_, err = chromedp.Call(ctx, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: tells})
	}
	if err != nil {
		d.t.Fatalf("open a browser for %s: %v", name, err)
	}
	return v
}

func (v *visitor) hear(ev any) {
	v.mu.Lock()
	defer v.mu.Unlock()
	switch e := ev.(type) {
	case *log.EventEntryAdded:
		if e.Entry.Level == log.EntryLevelInfo || strings.HasSuffix(e.Entry.URL, "/favicon.ico") { // it asks for that of its own accord
			return
		}
		v.said = append(v.said, e.Entry.Text+" "+e.Entry.URL)
	case *runtime.EventConsoleAPICalled:
		words := string(e.Type)
		for _, a := range e.Args {
			words += " " + string(a.Value)
		}
		v.said = append(v.said, words)
	case *runtime.EventExceptionThrown:
		v.said = append(v.said, "exception: "+e.ExceptionDetails.Text)
	case *page.EventJavascriptDialogOpening:
		v.said = append(v.said, "dialog: "+e.Message)
	}
}

// run waits no longer than a page may take on a machine with much to do.
func (v *visitor) run(what string, steps ...chromedp.Action[chromedp.Void]) {
	v.t.Helper()
	ctx, cancel := context.WithTimeout(v.ctx, time.Minute)
	defer cancel()
	if err := chromedp.Do(ctx, steps...); err != nil {
		v.t.Fatalf("%s: %s: %v", v.name, what, err)
	}
}

// goes does what leads to a page, and looks at it.
func (v *visitor) goes(what string, want int, steps ...chromedp.Action[chromedp.Void]) {
	v.t.Helper()
	ctx, cancel := context.WithTimeout(v.ctx, time.Minute)
	defer cancel()
	r, err := chromedp.RunResponse(ctx, steps...)
	if err != nil {
		v.t.Fatalf("%s: %s: %v", v.name, what, err)
	}
	v.looks(what, r, want)
}

// looks sees that a page is the one wanted, and that nothing is wrong with it.
func (v *visitor) looks(what string, r *network.Response, want int) {
	v.t.Helper()
	if int(r.Status) != want {
		v.t.Fatalf("%s: %s: %s answers %d, want %d: %.300s", v.name, what, r.URL, r.Status, want, v.text("body"))
	}
	if r.MimeType == "text/html" {
		for _, wrong := range browsertest.See(v.t, v.ctx, browsertest.Sideways) {
			v.t.Errorf("%s: %s runs out at the side: %s", v.name, what, wrong)
		}
		for _, wrong := range browsertest.See(v.t, v.ctx, sung) {
			v.t.Errorf("%s: %s took words for more: %s", v.name, what, wrong)
		}
	}
	v.mu.Lock()
	said := v.said
	v.said = nil
	v.mu.Unlock()
	for _, s := range said {
		if want < 400 || !strings.Contains(s, fmt.Sprintf("status of %d", want)) { // which the browser notes, as it must
			v.t.Errorf("%s: %s: the browser complains: %s", v.name, what, s)
		}
	}
	if dir := os.Getenv("ENDSHAKE_SHOTS"); dir != "" {
		browsertest.Shot(v.t, v.ctx, dir, fmt.Sprintf("day-%s-%s-%s", v.look.Name, v.name, strings.ReplaceAll(what, " ", "-")))
	}
}

// sung lists what came of the canary other than words.
const sung = `[...document.querySelectorAll('main script:not([src]), body script:not([src]), img[src=x], [onerror]')].map(e => e.outerHTML).concat(document.title === 'sung' ? ['the title'] : [])`

func (v *visitor) open(what, path string, want int) {
	v.t.Helper()
	v.goes(what, want, chromedp.Navigate("http://"+v.Addr()+path))
}

// press clicks what leads to another page.
func (v *visitor) press(what, selector string) {
	v.t.Helper()
	v.goes(what, 200, chromedp.Click(selector))
}

// fills types into the fields of a form: names and values in turn.
func (v *visitor) fills(pairs ...string) {
	v.t.Helper()
	for i := 0; i < len(pairs); i += 2 {
		v.run("fill in "+pairs[i], chromedp.SetValue("#f-"+pairs[i], pairs[i+1]))
	}
}

func (v *visitor) text(selector string) string {
	v.t.Helper()
	all := browsertest.See(v.t, v.ctx, fmt.Sprintf(`[...document.querySelectorAll(%q)].map(e => e.textContent.trim().replace(/\s+/g, ' '))`, selector))
	return strings.Join(all, "\n")
}

// says sees that a part of the page says something.
func (v *visitor) says(what, selector, want string) {
	v.t.Helper()
	if got := v.text(selector); !strings.Contains(got, want) {
		v.t.Errorf("%s: %s: %q does not say %q", v.name, what, got, want)
	}
}

// dates are the days on which the tasks of a clock are due, by its page.
func (v *visitor) dates(what string) map[string]string {
	v.t.Helper()
	v.open(what, "/clock/moot-hall", 200)
	out := map[string]string{}
	for _, row := range browsertest.See(v.t, v.ctx, `[...document.querySelectorAll('#year ~ details tbody tr')].map(r => r.cells[0].textContent.trim() + '|' + r.cells[3].textContent.trim())`) {
		task, due, _ := strings.Cut(row, "|")
		out[task] = due
	}
	return out
}

const send = "main form.entry button[type=submit]"

// chooses has the holder of a link choose a password.
func (v *visitor) chooses() {
	v.t.Helper()
	v.fills("password", secretOf(v.name), "twice", secretOf(v.name))
	v.press("password chosen", send)
	v.says("password chosen", ".lede", "Your password is kept")
}

func (v *visitor) logsIn(as string) {
	v.t.Helper()
	v.fills("name", as, "password", secretOf(v.name))
	v.press("logged in", send)
}

// becomesFirst comes by the link that was printed, and sets up one-time codes.
func (v *visitor) becomesFirst() {
	v.t.Helper()
	path := v.found(`address=http://127\.0\.0\.1(/first/[^\s"]+)`, v.book.String)
	v.open("asked to log in", "/", 200)
	v.says("asked to log in", "h1", "Log in")
	v.open("first link", path, 200)
	v.fills("person", "ada")
	v.chooses()
	v.logsIn("ada@example.org")
	v.says("logged in", "h1", "One-time codes")
	v.fills("code", v.code(strings.ReplaceAll(v.text(".secret"), " ", "")))
	v.press("codes set up", send)
	v.open("first link again", path, 410)
}

// code is what the telephone shows.
func (v *visitor) code(secret string) string {
	v.t.Helper()
	code, err := login.CodeAt(secret, v.clock())
	if err != nil {
		v.t.Fatal(err)
	}
	return code
}

// invites lets in a keeper, who is new and has no address, and an owner, who has
// one; it gives the paths of their links.
func (v *visitor) invites() (keeper, owner string) {
	v.t.Helper()
	v.open("people", "/people", 200)
	v.press("invite", "main a.first")
	v.fills("name", "Tilda Reedmace "+canary)
	v.press("link shown", send)
	v.says("link shown", "h1", "Tilda Reedmace "+canary)
	link := v.text(".secret")
	v.keeper = strings.TrimSpace(v.text("dl.facts dt:nth-of-type(3) + dd"))
	v.fills("clock", "moot-hall", "role", "keeper")
	v.press("role given", "button[value=give]")
	if again := v.text(".secret"); again != "" {
		v.t.Errorf("the link is shown twice: %s", again)
	}
	v.open("owner", "/people/council", 200)
	v.press("letter sent", "button[value=invite]")
	owner = v.found(`http://127\.0\.0\.1(/join/[\w-]+)`, func() string {
		var all strings.Builder
		for _, a := range v.sink.Arrivals() {
			if a.To[0] == "council@example.org" {
				all.WriteString(strings.ReplaceAll(strings.ReplaceAll(string(a.Raw), "=\r\n", ""), "=3D", "=")) // RFC 2045, 6.7
			}
		}
		return all.String()
	})
	return v.found(`^http://127\.0\.0\.1(/join/[\w-]+)$`, func() string { return link }), owner
}

func (v *visitor) joins(path, as string) {
	v.t.Helper()
	v.open("link", path, 200)
	v.chooses()
	v.logsIn(as)
	v.says("logged in", "h1", "The fleet")
}

// does fills in a quick form; what it says moved must stand on the clock's page.
func (v *visitor) does(work, task string, fill func()) {
	v.t.Helper()
	before := v.dates("before " + work)
	v.press(work+" form", fmt.Sprintf("main nav a[href^='/clock/moot-hall/do/%s']", work))
	fill()
	v.press(work+" logged", send)
	v.says(work+" logged", "h1", "Logged")
	v.says(work+" logged", "main ul", "was due "+before[task])
	moved := v.text("main ul")
	after := v.dates("after " + work)
	if before[task] == "" || after[task] == before[task] || !strings.Contains(moved, after[task]) {
		v.t.Errorf("%s: %q is due %q after %s, was due %q; the page says %q", v.name, task, after[task], work, before[task], moved)
	}
}

func (v *visitor) winds() {
	v.t.Helper()
	v.does("wind", "Winding of the going train", func() {})
}

// oils with a picture that says where it was taken, and a note; it gives the ID of
// the picture.
func (v *visitor) oils() string {
	v.t.Helper()
	file := filepath.Join(v.t.TempDir(), "fly.jpg")
	if err := os.WriteFile(file, photograph(v.t), 0o600); err != nil {
		v.t.Fatal(err)
	}
	v.does("oil", "Oiling", func() {
		v.fills("oil", "clock oil")
		v.run("unfold", chromedp.Click("form.quick > details:last-of-type summary"))
		v.fills("note", "Black paste "+canary)
		v.run("choose a picture", chromedp.SetUploadFiles("#f-picture", []string{file}))
	})
	v.says("oiled", "#log ~ table", "Black paste "+canary)
	v.says("the place", "#site ~ dl", canary)
	all, err := v.store.Pictures(v.t.Context(), "moot-hall")
	if err != nil || len(all) != 1 {
		v.t.Fatalf("%d pictures are kept, %v; want 1", len(all), err)
	}
	kept, err := v.store.Picture(v.t.Context(), all[0].ID)
	if err != nil {
		v.t.Fatal(err)
	}
	for _, data := range [][]byte{kept.JPEG, kept.Small} {
		if _, err := jpeg.Decode(bytes.NewReader(data)); err != nil || bytes.Contains(data, []byte("Exif")) || bytes.Contains(data, []byte("LATITUDE")) {
			v.t.Errorf("a picture of %d bytes is kept, %v, with where it was taken", len(data), err)
		}
	}
	v.open("picture", "/picture/"+kept.ID, 200)
	v.open("small picture", "/picture/"+kept.ID+"/small", 200)
	return kept.ID
}

// photograph is a JPEG as a telephone sends it, with a block that says where it
// was (Exif 2.3, 4.5.4: APP1 stands right after the start).
func photograph(t *testing.T) []byte {
	t.Helper()
	img := image.NewRGBA(image.Rect(0, 0, 640, 480))
	for i := range 640 * 480 {
		img.Set(i%640, i/640, color.RGBA{uint8(i % 640 / 3), uint8(i / 640 / 2), 90, 255})
	}
	var out bytes.Buffer
	if err := jpeg.Encode(&out, img, nil); err != nil {
		t.Fatal(err)
	}
	block := []byte("Exif\x00\x00MM\x00\x2a\x00\x00\x00\x08\x00\x00\x00\x00\x00\x00GPS-LATITUDE-51.4779")
	head := append([]byte{0xff, 0xd8, 0xff, 0xe1}, binary.BigEndian.AppendUint16(nil, uint16(len(block)+2))...)
	return slices.Concat(head, block, out.Bytes()[2:])
}

func (v *visitor) measures() {
	v.t.Helper()
	v.does("measure", "Measuring of the centre arbor, front bush", func() {
		v.fills("bearing", "centre-front", "value", "0.60")
	})
}

// corrects has the conservator correct what the keeper wound.
func (v *visitor) corrects() {
	v.t.Helper()
	v.set("2026-11-25 11:00")
	v.open("clock", "/clock/moot-hall", 200)
	row := `[...document.querySelectorAll('#log ~ table tbody tr')].filter(r => r.cells[1].textContent.includes('ound') && r.cells[2].textContent.includes('Tilda')).map(r => r.id)`
	ids := browsertest.See(v.t, v.ctx, row)
	if len(ids) != 1 {
		v.t.Fatalf("the keeper wound %d times by the page, want once: %s", len(ids), v.text("#log ~ table"))
	}
	v.press("correct form", "#"+ids[0]+" a[href*=replaces]")
	v.fills("at", "2026-11-24T16:00", "why", "It was the day before "+canary)
	v.press("corrected", send)
	v.open("clock again", "/clock/moot-hall", 200)
	struck := browsertest.See(v.t, v.ctx, `[...document.querySelectorAll('#log ~ table tr.struck')].map(r => r.id + ' ' + getComputedStyle(r.querySelector('s')).textDecorationLine + ' ' + r.textContent.replace(/\s+/g, ' '))`)
	if len(struck) != 1 || !strings.HasPrefix(struck[0], ids[0]+" line-through ") || !strings.Contains(struck[0], "corrected") {
		v.t.Errorf("struck through are %q, want what the keeper wound", struck)
	}
	v.says("corrected", "#log ~ table tr:not(.struck)", "It was the day before "+canary)
	v.says("corrected", "#log ~ table tr:not(.struck)", "24 Nov 2026")
}

// seesTheirs has an owner look at their clock, and at all that there is of
// another's.
func (v *visitor) seesTheirs(picture string) {
	v.t.Helper()
	v.open("fleet", "/", 200)
	v.says("fleet", "main", "Ferry post clock")
	for _, path := range []string{"", "/label", "/card"} {
		v.open("own"+path[min(1, len(path)):], "/clock/ferry-post"+path, 200)
	}
	v.open("own json", "/api/clocks/ferry-post", 200)
	if v.look.Width < 500 {
		v.open("refused", "/clock/moot-hall", 404)
		return // the other look has been at all of it
	}
	for _, all := range []string{"/", "/due", "/outlook", "/compare", "/timechange", "/labels", "/api/fleet", "/api/due", "/api/outlook", "/me"} {
		v.open("all of "+strings.ReplaceAll(all, "/", "-"), all, 200)
		if strings.Contains(strings.ToLower(v.text("body")), "moot") {
			v.t.Errorf("%s speaks of another's clock to the owner", all)
		}
	}
	for _, path := range []string{"/clock/%s", "/clock/%s/log", "/clock/%s/log?kind=wound", "/clock/%s/do/wind", "/clock/%s/done/x", "/clock/%s/label", "/clock/%s/card", "/clock/%s/card/entry",
		"/clock/%s/bearing/centre-front", "/api/clocks/%s", "/api/clocks/%s/log", "/api/clocks/%s/bearings", "/api/clocks/%s/bearings/centre-front"} {
		var said [2]string
		for i, clock := range []string{"moot-hall", "no-such"} {
			at := fmt.Sprintf(path, clock)
			v.open("refused"+strings.NewReplacer("/", "-", "?", "-").Replace(at), at, 404)
			said[i] = strings.ReplaceAll(v.text("body"), clock, "*")
		}
		if said[0] != said[1] || !strings.HasPrefix(path, "/api") && !strings.Contains(said[0], "There is no such page") && !strings.Contains(said[0], "here is no clock") {
			v.t.Errorf("%s of another's clock: %.200q, of none: %.200q", path, said[0], said[1])
		}
	}
	for _, path := range []string{"/picture/" + picture, "/picture/" + picture + "/small", "/calendar/moot-hall.ics"} {
		v.open("refused "+strings.ReplaceAll(path[1:8], "/", "-"), path, 404)
	}
	for _, path := range []string{"/people", "/audit", "/mail", "/settings"} {
		v.open("barred"+strings.ReplaceAll(path, "/", "-"), path, 403)
	}
	v.open("me", "/me", 200)
	v.press("calendar", "form[action='/me/calendar'] button:not([name])")
	code, feed := v.get(strings.TrimPrefix(v.text(".secret"), "http://127.0.0.1"))
	if code != 200 || !strings.Contains(feed, "Ferry post") || strings.Contains(feed, "Moot") {
		t := v.t
		t.Errorf("the calendar of the owner answers %d with %.300q; want their clock alone", code, feed)
	}
}

// audits has the conservator log out and in again, by a code, and read who did
// what.
func (v *visitor) audits() {
	v.t.Helper()
	a, err := v.store.Account(v.t.Context(), "ada")
	if err != nil {
		v.t.Fatal(err)
	}
	v.press("logged out", "form.who button")
	v.logsIn("ada")
	v.says("logged in", "h1", "The code")
	v.fills("code", v.code(a.Secret))
	v.press("code given", send)
	v.open("audit", "/audit", 200)
	for _, name := range []string{"Tilda Reedmace " + canary, "Ada Wintergarth"} {
		v.says("audit", "main", name)
	}
}

// logged sees that the service had no trouble and wrote no secret into its log.
func (d *daytime) logged() {
	d.t.Helper()
	text := d.book.String()
	for _, no := range []string{"level=ERROR", "quoin", "/join/", "panic"} {
		if strings.Contains(text, no) {
			d.t.Errorf("the log of the service has %q: %s", no, text)
		}
	}
}
