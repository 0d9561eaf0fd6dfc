package web

import (
	"context"
	"net/http"
	"net/http/httptest"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"

	"endshake/daemon/browsertest"
	"endshake/schedule"
)

// signal is what lies between a telephone and the pages: it can be gone, and it
// can lose answers.
type signal struct {
	http.Handler
	gone, losing atomic.Bool
	posts        atomic.Int32
	out          atomic.Bool                      // the reader is not logged in
	odd          atomic.Pointer[http.HandlerFunc] // answers forms in the place of the pages
}

func (s *signal) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	if s.gone.Load() {
		panic(http.ErrAbortHandler) // the line is cut
	}
	if r.Method == http.MethodPost {
		s.posts.Add(1)
		if odd := s.odd.Load(); odd != nil {
			(*odd)(w, r)
			return
		}
		if s.out.Load() {
			w.Header().Set(headWhose, "")
			http.Error(w, "You are not logged in", http.StatusUnauthorized)
			return
		}
		if s.losing.Load() {
			s.Handler.ServeHTTP(httptest.NewRecorder(), r)
			panic(http.ErrAbortHandler)
		}
	}
	s.Handler.ServeHTTP(w, r)
}

// phone is a telephone on a site whose signal comes and goes.
type phone struct {
	t    *testing.T
	ctx  context.Context
	site site
	air  *signal
	url  string
}

func newPhone(t *testing.T) *phone {
	ctx := browsertest.Start(t)
	s := newSite(t)
	s.desk.once = true
	air := &signal{Handler: s}
	srv := httptest.NewServer(air)
	t.Cleanup(srv.Close)
	p := &phone{t, ctx, s, air, srv.URL}
	p.cut(false)
	return p
}

// cut takes the signal away or gives it back: to the telephone, which tells its
// pages, and on the line itself, which its service worker has too.
func (p *phone) cut(gone bool) {
	p.t.Helper()
	p.air.gone.Store(gone)
	_, err := chromedp.Call(p.ctx, network.OverrideNetworkState, network.OverrideNetworkStateParams{Offline: gone, DownloadThroughput: -1, UploadThroughput: -1})
	if err != nil {
		p.t.Fatal(err)
	}
}

func (p *phone) do(a chromedp.Action[chromedp.Void]) {
	p.t.Helper()
	ctx, cancel := context.WithTimeout(p.ctx, time.Minute)
	defer cancel()
	if _, err := chromedp.Run(ctx, a); err != nil {
		p.t.Fatalf("%v; the page says: %s", err, p.text())
	}
}

// press presses a button where it is by then: one that is pressed at a place of the
// screen is missed where a sentence comes in above it.
func (p *phone) press(button string) {
	p.t.Helper()
	for range 300 {
		ok, err := chromedp.Run(p.ctx, chromedp.Evaluate[bool](`(b => { b?.click(); return !!b })(document.querySelector(`+strconv.Quote(button)+`))`))
		if err == nil && ok {
			return
		}
		time.Sleep(100 * time.Millisecond)
	}
	p.t.Fatalf("there is no %s to press: %s", button, p.text())
}

func (p *phone) text() string {
	out, _ := chromedp.Run(p.ctx, chromedp.Evaluate[string](`document.body.innerText`))
	return out
}

// until waits until the page says something.
func (p *phone) until(words string) {
	p.t.Helper()
	for range 300 {
		if strings.Contains(p.text(), words) {
			return
		}
		time.Sleep(100 * time.Millisecond)
	}
	p.t.Fatalf("the page does not say %q: %s", words, p.text())
}

// ready opens the quick form while there is a signal, until the service worker
// looks after it.
func (p *phone) ready(path string) {
	p.t.Helper()
	p.do(chromedp.Navigate(p.url + path))
	for range 300 {
		ok, err := chromedp.Run(p.ctx, chromedp.Evaluate[bool](`(async () => !!navigator.serviceWorker.controller && !!await caches.match(location.href))()`, chromedp.EvalAwaitPromise))
		if err == nil && ok {
			return
		}
		time.Sleep(100 * time.Millisecond)
	}
	p.t.Fatal("no service worker looks after the page")
}

// logged waits until so many entries are logged, and holds that they are no more.
func (p *phone) logged(want int) schedule.Entry {
	p.t.Helper()
	p.site.desk.mu.Lock()
	for range 300 {
		if len(p.site.desk.logged) >= want {
			break
		}
		p.site.desk.mu.Unlock()
		time.Sleep(100 * time.Millisecond)
		p.site.desk.mu.Lock()
	}
	defer p.site.desk.mu.Unlock()
	if n := len(p.site.desk.logged); n != want {
		p.t.Fatalf("%d entries are logged, want %d", n, want)
	}
	if want == 0 {
		return schedule.Entry{}
	}
	return p.site.desk.logged[want-1]
}

const windForm = "/clock/corn-hall/do/wind?subject=strike"

// wind presses the button of the quick form.
func (p *phone) wind(note string) {
	p.t.Helper()
	p.press("form.quick > p.do button")
	p.until(note)
}

// A wind logged without a signal is kept, said to be, and sent once when there is
// one again: the page had stayed open.
func TestKeptWithoutASignal(t *testing.T) {
	p := newPhone(t)
	p.ready(windForm)
	p.cut(true)
	p.wind("Kept on this phone. There is no signal. It will be sent when there is one.")
	p.until("Wind, Corn Hall clock, since ")
	p.logged(0)
	p.site.desk.mu.Lock()
	p.site.desk.now = now.Add(2 * time.Hour) // by the clock of the service
	p.site.desk.mu.Unlock()
	p.cut(false)
	p.until("Sent: Wind, Corn Hall clock. It waited since ")
	e := p.logged(1)
	if e.Kind != schedule.Wound || e.Train != "strike" || e.At.After(now.Add(2*time.Hour)) || e.At.Before(now.Add(2*time.Hour-2*time.Minute)) {
		t.Errorf("logged %+v", e)
	}
	p.do(chromedp.Navigate(p.url + "/clock/corn-hall"))
	time.Sleep(time.Second)
	p.logged(1)
	if strings.Contains(p.text(), "Kept on this phone") {
		t.Error("it is said to wait still")
	}
}

// The page is closed in the tower, the form opened again there from what was
// kept, and sent a second time: two winds. Both are sent at the next page opened.
func TestKeptWhileThePageIsClosed(t *testing.T) {
	p := newPhone(t)
	p.ready(windForm)
	p.cut(true)
	for i := range 2 {
		p.do(chromedp.Navigate(p.url + windForm))
		p.until("No signal. This page is as it was on")
		p.wind("Kept on this phone. ")
		if i == 0 {
			p.do(chromedp.Navigate("about:blank"))
		}
	}
	p.do(chromedp.Navigate("about:blank"))
	p.logged(0)
	p.site.desk.mu.Lock()
	p.site.desk.loose = true // two winds of one minute are no double here
	p.site.desk.mu.Unlock()
	p.cut(false)
	p.do(chromedp.Navigate(p.url + "/due"))
	p.until("Sent: Wind, Corn Hall clock.")
	p.logged(2)
}

// The answer is lost after the wind was logged: it is sent again, and stands in
// the log once.
func TestAnAnswerLost(t *testing.T) {
	p := newPhone(t)
	p.ready(windForm)
	p.air.losing.Store(true)
	p.wind("Kept on this phone")
	p.logged(1)
	p.do(chromedp.Navigate("about:blank")) // or the page that is left sends it, and says so
	p.air.losing.Store(false)
	p.cut(false)
	p.do(chromedp.Navigate(p.url + "/due"))
	p.until("Sent: Wind, Corn Hall clock.")
	p.logged(1)
	if n := p.air.posts.Load(); n < 2 {
		t.Errorf("it was sent %d times", n)
	}
}

// What is refused is not lost: the sentence stands with it, and it can be opened
// as it was filled in.
func TestKeptAndRefused(t *testing.T) {
	p := newPhone(t)
	p.ready(windForm)
	p.cut(true)
	p.do(chromedp.SetValue("#f-errorFound", "soon"))
	p.wind("Kept on this phone")
	p.cut(false)
	p.until("write 90, 1:30 or 2 min, with fast or slow")
	p.logged(0)
	p.press("#kept button")
	p.until("Nothing is logged yet")
	if v, err := chromedp.Run(p.ctx, chromedp.Evaluate[string](`document.querySelector('#f-errorFound').value`)); err != nil || v != "soon" {
		t.Errorf("it is filled in with %q, %v", v, err)
	}
	p.do(chromedp.SetValue("#f-errorFound", "30"))
	p.do(chromedp.SetValue("#f-errorFoundWay", "fast"))
	p.wind("Winding of the strike train was due")
	p.logged(1)
	p.do(chromedp.Navigate(p.url + "/due"))
	time.Sleep(time.Second)
	if strings.Contains(p.text(), "Not logged") {
		t.Errorf("what was mended is said to be refused still: %s", p.text())
	}
}

// On other pages what is refused is one short sentence, and speaks of no box to
// tick that is not there.
func TestRefusedInShort(t *testing.T) {
	p := newPhone(t)
	_, asked := send(t, siteOf(t, wearingDesk()), "/clock/"+wearing+"/log", doubtful())
	p.air.odd.Store(new(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set(headWhose, "all")
		w.WriteHeader(http.StatusUnprocessableEntity)
		_, _ = w.Write([]byte(asked))
	})))
	p.ready(windForm)
	p.wind("or tick here that it is right")
	p.do(chromedp.Navigate(p.url + "/due"))
	p.until("Open it to mend")
	text := p.text()
	_, said, _ := strings.Cut(text, "Not logged: Wind, Corn Hall clock, since ")
	said, _, _ = strings.Cut(said, "\n")
	if _, why, _ := strings.Cut(said, ". "); why != "25.4 mm (1.000 in) does not fit: about 1.01 mm (39.8 thou) was expected." {
		t.Errorf("it says %q: %s", said, text)
	}
}

// A form whose reader is not logged in any more is kept until they are.
func TestKeptForALogin(t *testing.T) {
	p := newPhone(t)
	p.ready(windForm)
	p.air.out.Store(true)
	p.wind("You are not logged in. It will be sent once you have logged in.")
	p.logged(0)
	p.do(chromedp.Navigate(p.url + "/clock/corn-hall"))
	p.until("Log in, and it is sent")
	p.air.out.Store(false)
	p.do(chromedp.Navigate(p.url + "/clock/corn-hall"))
	p.until("Sent: Wind, Corn Hall clock.")
	p.logged(1)
}
