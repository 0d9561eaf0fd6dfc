package web

import (
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"endshake/schedule"
)

// The page that a telephone opens first is one that the worker looks after, and the
// worker is allowed to.
func TestWorkerCoversTheStart(t *testing.T) {
	s := newSite(t)
	_, body := get(t, s, "/")
	at := func(pattern string) *httptest.ResponseRecorder {
		t.Helper()
		m := regexp.MustCompile(pattern).FindStringSubmatch(body)
		if m == nil {
			t.Fatalf("the page has no %s", pattern)
		}
		w := httptest.NewRecorder()
		s.ServeHTTP(w, httptest.NewRequest(http.MethodGet, m[1], nil))
		return w
	}
	var m struct {
		Start string `json:"start_url"`
		Scope string
	}
	if err := json.Unmarshal(at(`rel="manifest" href="([^"]+)"`).Body.Bytes(), &m); err != nil {
		t.Fatal(err)
	}
	script := at(`<script src="([^"]+)"`)
	allowed := script.Header().Get("Service-Worker-Allowed")
	if !strings.HasPrefix(m.Start, allowed) || !strings.HasPrefix(m.Scope, allowed) || allowed == "" {
		t.Errorf("it starts at %q, its pages are %q, the worker may look after %q", m.Start, m.Scope, allowed)
	}
	if !strings.Contains(script.Body.String(), "{scope: '"+allowed+"'}") {
		t.Errorf("the worker is not registered for %q", allowed)
	}
}

// The installed page is opened in the tower without a signal: it says which clocks
// and forms are kept, one of them is filled in, and it is sent once.
func TestInstalledPageWithoutASignal(t *testing.T) {
	p := newPhone(t)
	p.ready(windForm)
	p.cut(true)
	p.do(chromedp.Navigate(p.url + "/"))
	p.until("Your clocks, as they are kept on this phone. What you log is sent when there is a signal.")
	p.until("Wind: winding of the strike train")
	p.do(chromedp.Click(`.offline a[href="` + windForm + `"]`))
	p.until("No signal. This page is as it was on")
	p.wind("Kept on this phone. There is no signal.")
	p.do(chromedp.Navigate(p.url + "/"))
	p.until("Wind, Corn Hall clock, since ")
	p.logged(0)
	p.cut(false)
	p.until("Sent: Wind, Corn Hall clock. It waited since ")
	p.press(`.do a[href="/"]`)
	p.until("The fleet")
	time.Sleep(time.Second)
	if e := p.logged(1); e.Kind != schedule.Wound || e.Train != "strike" {
		t.Errorf("logged %+v", e)
	}
}

// Whoever has few clocks opens the fleet at home, and has their forms in the tower;
// of another login, and after logging out, nothing is shown.
func TestClocksKeptFromTheFleet(t *testing.T) {
	p, _ := sharedPhone(t)
	p.logsIn("wim")
	p.do(chromedp.Navigate(p.url + "/"))
	p.keepsPage("/clock/corn-hall/do/wind")
	p.cut(true)
	p.do(chromedp.Navigate(p.url + "/due")) // or any page that is not kept
	p.until("Your clocks, as they are kept on this phone.")
	p.press(`.offline a[href="/clock/corn-hall/do/wind"]`)
	p.until("No signal. This page is as it was on")
	p.cut(false)
	p.do(chromedp.Navigate(p.url + "/"))
	p.until("Log out")
	p.press("form.who button")
	p.until("You are logged out.")
	p.keeps(false)
	p.cut(true)
	p.do(chromedp.Navigate(p.url + "/"))
	p.until("No page of a clock is kept on this phone.")
	if text := p.text(); strings.Contains(text, "Corn Hall") {
		t.Errorf("whoever comes after is shown: %s", text)
	}
	p.cut(false)
	p.logged(0)
}

func (p *phone) keepsPage(path string) {
	p.t.Helper()
	for range 200 {
		ok, err := chromedp.Run(p.ctx, chromedp.Evaluate[bool](`caches.match('`+path+`').then(hit => !!hit)`, chromedp.EvalAwaitPromise))
		if err == nil && ok {
			return
		}
		time.Sleep(50 * time.Millisecond)
	}
	p.t.Fatalf("%s is not kept", path)
}

// Whoever has a clock no more is refused its page, and it does not stay on their
// telephone.
func TestADutyTakenAwayTakesThePages(t *testing.T) {
	p, e := sharedPhone(t)
	p.logsIn("wim")
	p.do(chromedp.Navigate(p.url + "/"))
	p.keepsPage("/clock/corn-hall/do/wind")
	c, _ := e.desk.f.fleet.Clock("corn-hall")
	c.Duties = slices.DeleteFunc(slices.Clone(c.Duties), func(d schedule.Duty) bool { return d.Person == "wim" })
	if err := e.desk.save(t.Context(), "test", schedule.Fleet{Clocks: []schedule.Clock{c}}, func(schedule.Fleet) error { return nil }); err != nil {
		t.Fatal(err)
	}
	p.do(chromedp.Navigate(p.url + "/clock/corn-hall"))
	p.until("There is no such page")
	p.keeps(false)
}

// A telephone that has the worker of before, over the clocks' pages alone, is left
// with the new one.
func TestWorkerOfBeforeIsReplaced(t *testing.T) {
	const scopes = `navigator.serviceWorker.getRegistrations().then(all => all.map(r => new URL(r.scope).pathname).sort().join(' '))`
	p := newPhone(t)
	p.ready(windForm)
	before := `(async () => {
		const r = await navigator.serviceWorker.register(document.querySelector('script').src, {scope: '/clock/'});
		while (!r.active) await new Promise(ok => setTimeout(ok, 20));
		return ` + scopes + `;
	})()`
	if got, err := chromedp.Run(p.ctx, chromedp.Evaluate[string](before, chromedp.EvalAwaitPromise)); err != nil || got != "/ /clock/" {
		t.Fatalf("registered for %q, %v", got, err)
	}
	p.do(chromedp.Navigate(p.url + "/due"))
	got := ""
	for range 100 {
		if got, _ = chromedp.Run(p.ctx, chromedp.Evaluate[string](scopes, chromedp.EvalAwaitPromise)); got == "/" {
			break
		}
		time.Sleep(50 * time.Millisecond)
	}
	if got != "/" {
		t.Errorf("workers look after %q", got)
	}
	p.cut(true)
	p.do(chromedp.Navigate(p.url + windForm))
	p.until("No signal. This page is as it was on")
	p.wind("Kept on this phone. There is no signal.")
	p.cut(false)
	p.until("Sent: Wind, Corn Hall clock.")
	p.logged(1)
}
