package web

import (
	"encoding/binary"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"

	"endshake/daemon/browsertest"
	"endshake/schedule"
	"endshake/wear"
)

// A form says under which login it was filled in, by a mark that names nobody; it
// is logged under that one alone. Whoever keeps forms is told so by the key.
func TestFormsUnderTheirLogin(t *testing.T) {
	e := keptEntrance(t)
	wim, ned := e.in("wim"), e.in("ned")
	for _, path := range []string{"/clock/corn-hall/do/wind?subject=going", "/clock/corn-hall/log?kind=noted", "/clock/corn-hall/card/entry"} {
		res, body := wim.get(path)
		v := filled(e.t, body)
		mark := v.Get("whose")
		if len(mark) != 16 || res.Header.Get(headWhose) != mark || !strings.Contains(body, `data-whose="`+mark+`"`) || strings.Contains(mark, "wim") {
			t.Fatalf("%s is of %q, its head says %q", path, mark, res.Header.Get(headWhose))
		}
		v.Set("note", "stiff")
		v.Set("key", path)
		v.Set("date-1", "2026-11-24")
		v.Set("time-1", "10:00")
		v.Set("kind-1", "wound")
		v.Set("of-1", "train/going")
		logs := len(e.desk.logged)
		for _, head := range []http.Header{{}, {headKeeps: {"1"}}} {
			ned.head = head
			res, body = ned.send(path, v)
			if status(t, path, res, 409, ""); !strings.Contains(body, "under another login") || res.Header.Get(headLogged) != "" || len(e.desk.logged) > logs {
				t.Errorf("%s: another sends it: %s", path, flat(t, body))
			}
		}
		wim.head = http.Header{headKeeps: {"1"}}
		nobodys := url.Values{"whose": nil}
		for k, x := range v {
			if k != "whose" {
				nobodys[k] = x
			}
		}
		res, _ = wim.send(path, nobodys)
		status(t, path+" of nobody, from what keeps forms", res, 409, "")
		v.Set("mend", "1")
		if res, body = wim.send(path, v); res.StatusCode != 200 || !strings.Contains(body, "Look it over, and send it") || !strings.Contains(body, "data-refused") || len(e.desk.logged) > logs {
			t.Errorf("%s: only to be shown, it answers %s, %d logged", path, res.Status, len(e.desk.logged)-logs)
		}
		v.Del("mend")
		for n := range 2 { // the second time, its answer was lost
			if n == 1 && strings.HasSuffix(path, "/entry") {
				break // the keys of a card are those of its lines, which the store guards
			}
			res, body = wim.send(path, v)
			if status(t, path, res, 201, ""); res.Header.Get(headLogged) != path || !strings.HasPrefix(res.Header.Get("Location"), "/clock/corn-hall") || len(e.desk.logged) != logs+1 {
				t.Errorf("%s: %q at %q, %d logged: %s", path, res.Header.Get(headLogged), res.Header.Get("Location"), len(e.desk.logged)-logs, flat(t, body))
			}
		}
		wim.head = http.Header{}
	}
	if res, _ := e.browser().get("/login"); len(res.Header[http.CanonicalHeaderKey(headWhose)]) != 1 || res.Header.Get(headWhose) != "" {
		t.Error("the page to log in at is somebody's")
	}
}

// keptEntrance is a service where two winders of one clock log in.
func keptEntrance(t *testing.T) *entrance {
	e := newEntrance(t, func(o *Options) { o.Base = "http://127.0.0.1/" })
	e.desk.once, e.desk.loose = true, true
	e.s.Album = e.desk
	f := &e.desk.f.fleet
	for _, p := range []schedule.Person{{Slug: "wim", Name: "Wim Oster", Units: wear.MM}, {Slug: "ned", Name: "Ned Vale", Units: wear.MM}} {
		if _, ok := f.Person(p.Slug); !ok {
			f.People = append(f.People, p)
		}
		f.Clocks[0].Duties = append(f.Clocks[0].Duties, schedule.Duty{Person: p.Slug, Role: schedule.Keeper})
		e.lets(p.Slug)
	}
	e.desk.snap = e.desk.f.snapshot()
	return e
}

// sharedPhone is a telephone on which two people log in.
func sharedPhone(t *testing.T) (*phone, *entrance) {
	ctx := browsertest.Start(t)
	e := keptEntrance(t)
	air := &signal{Handler: e}
	srv := httptest.NewServer(air)
	t.Cleanup(srv.Close)
	p := &phone{t, ctx, site{desk: e.desk}, air, srv.URL}
	p.cut(false)
	return p, e
}

func (p *phone) logsIn(person string) {
	p.t.Helper()
	p.do(chromedp.Navigate(p.url + "/login"))
	p.do(chromedp.SetValue("#f-name", person))
	p.do(chromedp.SetValue("#f-password", goodWord))
	p.press("form.entry button")
	p.until("Log out")
}

// keeps counts the pages that are kept.
func (p *phone) keeps(want bool) {
	p.t.Helper()
	for range 100 {
		n, err := chromedp.Run(p.ctx, chromedp.Evaluate[int](`caches.open('endshake-pages').then(c => c.keys()).then(k => k.length)`, chromedp.EvalAwaitPromise))
		if err == nil && (n > 0) == want {
			return
		}
		time.Sleep(50 * time.Millisecond)
	}
	p.t.Errorf("pages are kept: %t", !want)
}

// One fills in a form without a signal, and logs out or is logged out; another
// logs in on the same telephone: nothing of the first is sent or shown. When the
// first is back it goes once, in their name.
func TestKeptUnderOneLogin(t *testing.T) {
	for _, leaves := range []string{"logs out", "lapses"} {
		t.Run(leaves, func(t *testing.T) {
			p, e := sharedPhone(t)
			p.logsIn("wim")
			p.ready(windForm)
			p.cut(true)
			p.wind("Kept on this phone. There is no signal.")
			p.air.gone.Store(false)
			if leaves == "logs out" {
				p.air.odd.Store(new(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { // the form has no luck meanwhile
					if r.URL.Path == "/logout" {
						e.ServeHTTP(w, r)
						return
					}
					panic(http.ErrAbortHandler)
				})))
				p.cut(false)
				p.do(chromedp.Navigate(p.url + "/"))
				p.until("Log out")
				p.press("form.who button")
				p.until("You are logged out.")
			} else {
				e.book.mu.Lock()
				clear(e.book.sessions)
				e.book.mu.Unlock()
				p.cut(false)
				p.until("You are not logged in. It will be sent once you have logged in.")
				p.keeps(false)
				p.do(chromedp.Navigate(p.url + "/"))
			}
			p.until("Forms that were filled in here wait on this phone.")
			p.keeps(false)
			p.air.odd.Store(nil)
			p.logsIn("ned")
			p.ready("/clock/corn-hall")
			p.until("Forms of another login wait on this phone.")
			if text := p.text(); strings.Contains(text, "Wind, Corn Hall") || strings.Contains(text, "Send it now") {
				t.Errorf("the other is shown: %s", text)
			}
			p.cut(true)
			p.do(chromedp.Navigate(p.url + windForm)) // of which the first had kept a page
			p.until("No signal")
			if text := p.text(); strings.Contains(text, "Wim") {
				t.Errorf("the other is shown a page of the first: %s", text)
			}
			p.cut(false)
			time.Sleep(time.Second)
			p.logged(0)
			p.do(chromedp.Navigate(p.url + "/"))
			p.press("form.who button")
			p.until("You are logged out.")
			p.logsIn("wim")
			p.until("Sent: Wind, Corn Hall clock. It waited since ")
			if got := p.logged(1); got.By != "wim" || strings.Contains(got.Source, "ned") {
				t.Errorf("logged by %q, from %q", got.By, got.Source)
			}
			p.do(chromedp.Navigate(p.url + "/due"))
			time.Sleep(time.Second)
			p.logged(1)
			if text := p.text(); strings.Contains(text, "wait on this phone") {
				t.Errorf("something waits still: %s", text)
			}
		})
	}
}

// A page that stayed open while somebody else logged in sends nothing under their
// login.
func TestAnOldPageUnderAnotherLogin(t *testing.T) {
	p, e := sharedPhone(t)
	p.logsIn("wim")
	p.ready(windForm)
	for name, c := range e.in("ned").cookies { // in another window of this browser
		_, err := chromedp.Call(p.ctx, network.SetCookie, network.SetCookieParams{Name: name, Value: c.Value, URL: p.url})
		if err != nil {
			t.Fatal(err)
		}
	}
	p.wind("Another login is in use here now.")
	p.logged(0)
	p.keeps(false)
	if text := p.text(); strings.Contains(text, "Wind, Corn Hall") {
		t.Errorf("the other is shown it: %s", text)
	}
	p.do(chromedp.Navigate(p.url + "/"))
	p.press("form.who button")
	p.until("You are logged out.")
	p.logsIn("wim")
	p.until("Sent: Wind, Corn Hall clock.")
	if got := p.logged(1); got.By != "wim" {
		t.Errorf("logged by %q", got.By)
	}
}

// What answers in the place of the service is never taken for it: a network that
// wants a login of its own, a service that is ill, one that leads elsewhere.
func TestKeptFromStrangers(t *testing.T) {
	portal := func(w http.ResponseWriter, _ *http.Request) { fmt.Fprint(w, "<h1>Welcome to the network</h1>") }
	for name, tt := range map[string]struct {
		odd  http.HandlerFunc
		says string
	}{
		"led elsewhere": {func(w http.ResponseWriter, r *http.Request) { http.Redirect(w, r, "/reckoner", http.StatusSeeOther) }, "Something else answered"},
		"a page":        {portal, "Something else answered"},
		"made":          {func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusCreated) }, "Something else answered"},
		"ill":           {func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusBadGateway) }, "does not answer as it should"},
		"busy":          {func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusTooManyRequests) }, "does not answer as it should"},
	} {
		t.Run(name, func(t *testing.T) {
			p := newPhone(t)
			p.ready(windForm)
			p.air.odd.Store(&tt.odd)
			p.wind(tt.says)
			for range 100 { // and as what waits
				if p.air.posts.Load() >= 2 {
					break
				}
				time.Sleep(50 * time.Millisecond)
			}
			p.logged(0)
			p.do(chromedp.Navigate("about:blank")) // or the page that is left sends it, and says so
			p.air.odd.Store(nil)
			p.do(chromedp.Navigate(p.url + "/due"))
			p.until("Sent: Wind, Corn Hall clock.")
			p.logged(1)
		})
	}
}

// A sending that gets no answer is ended before the next begins.
func TestASlowSendingIsEnded(t *testing.T) {
	p := newPhone(t)
	p.ready(windForm)
	var under, most, ended atomic.Int32
	p.air.odd.Store(new(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if n := under.Add(1); n > most.Load() {
			most.Store(n)
		}
		if ended.Load() > 0 { // the next
			under.Add(-1)
			p.air.Handler.ServeHTTP(w, r)
			return
		}
		_, _ = io.Copy(io.Discard, r.Body) // what is not read is not known to be given up
		<-r.Context().Done()
		ended.Add(1)
		under.Add(-1)
		panic(http.ErrAbortHandler)
	})))
	p.wind("Sent: Wind, Corn Hall clock.")
	p.logged(1)
	if most.Load() != 1 || ended.Load() != 1 {
		t.Errorf("%d sendings at once, %d ended", most.Load(), ended.Load())
	}
}

// chooses puts a picture into the form that is open.
func (p *phone) chooses() {
	p.t.Helper()
	path := filepath.Join(p.t.TempDir(), "arbor.jpg")
	if err := os.WriteFile(path, photo(p.t, corner(640, 480), exif(binary.BigEndian, 1)), 0o644); err != nil {
		p.t.Fatal(err)
	}
	p.do(chromedp.SetUploadFiles("#f-picture", []string{path}))
}

func (p *phone) pictures(want int) {
	p.t.Helper()
	p.site.desk.mu.Lock()
	defer p.site.desk.mu.Unlock()
	if n := len(p.site.desk.album); n != want {
		p.t.Errorf("%d pictures are kept with the log, want %d", n, want)
	}
}

// The pictures of a form are kept with it: while the service is ill, while it is
// refused, whether at once or after it waited, and while it is mended.
func TestPicturesAreKeptWithTheForm(t *testing.T) {
	for _, waits := range []bool{false, true} {
		t.Run(fmt.Sprint("waits: ", waits), func(t *testing.T) {
			p := newPhone(t)
			p.ready(windForm)
			p.chooses()
			p.do(chromedp.SetValue("#f-errorFound", "soon"))
			if waits {
				p.air.odd.Store(new(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusServiceUnavailable) })))
				p.wind("The service does not answer as it should.")
				p.air.odd.Store(nil)
				p.do(chromedp.Navigate(p.url + "/due"))
			} else {
				p.wind("Nothing is logged yet")
				p.until("The picture that you chose is still here.")
				p.do(chromedp.Navigate(p.url + "/due")) // and goes away from it
			}
			p.until("write 90, 1:30 or 2 min, with fast or slow")
			p.press("#kept button") // of what is refused there is one, and this opens it
			p.until("Nothing is logged yet")
			p.until("The picture that you chose is still here.")
			if text := p.text(); strings.Contains(text, "Not logged: Wind") || strings.Contains(text, "Choose the picture") {
				t.Errorf("the form that is open is said to wait too: %s", text)
			}
			p.logged(0)
			p.do(chromedp.SetValue("#f-errorFound", "30"))
			p.do(chromedp.SetValue("#f-errorFoundWay", "fast"))
			p.wind("Winding of the strike train was due")
			p.logged(1)
			p.pictures(1)
			p.do(chromedp.Navigate(p.url + "/due"))
			time.Sleep(time.Second)
			if strings.Contains(p.text(), "Not logged") {
				t.Error("what was mended is said to be refused still")
			}
		})
	}
}
