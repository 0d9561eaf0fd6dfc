package web

import (
	"context"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"endshake/daemon/browsertest"
)

// openAll opens whatever is folded.
const openAll = `document.querySelectorAll('details').forEach(d => d.open = true), true`

// TestRoundsInABrowser decides of a visit as a person does, wide and on a telephone:
// first with the day that it is on, which is said at the field with what was typed, then
// rightly. All that is folded is as large as the rest.
func TestRoundsInABrowser(t *testing.T) {
	ctx := browsertest.Start(t)
	do := func(a chromedp.Action[chromedp.Void]) {
		t.Helper()
		if _, err := chromedp.Run(ctx, a); err != nil {
			t.Fatal(err)
		}
	}
	for _, look := range []look{{Name: "1280", Width: 1280, Scheme: "light"}, {Name: "390", Width: 390, Scheme: "dark"}} {
		s := shotSite(t)
		srv := httptest.NewServer(s)
		look.Open(t, ctx, srv.URL+roundAt(s.desk.snap, "quay"))
		if _, err := chromedp.Run(ctx, chromedp.Evaluate[bool](openAll)); err != nil {
			t.Fatal(err)
		}
		seeRound(t, ctx, look, "round-unfolded")
		do(chromedp.SetValue("#stop-2-to", "2026-12-03")) // which it is on; one that is over the browser refuses by itself
		do(chromedp.SetValue("#stop-2-why", "the tide is out"))
		do(chromedp.Click(`form:has(#stop-2-to) button[value="move"]`))
		do(chromedp.WaitVisible(".fault"))
		seeRound(t, ctx, look, "round-refused")
		if len(s.desk.marks) > 0 {
			t.Errorf("kept: %+v", s.desk.marks)
		}
		do(chromedp.SetValue("#stop-2-to", "2026-12-10"))
		do(chromedp.Click(`form:has(#stop-2-to) button[value="move"]`))
		do(chromedp.WaitVisible(".logged"))
		seeRound(t, ctx, look, "round-moved")
		if len(s.desk.marks) != 2 || s.desk.marks[1].Why != "the tide is out" {
			t.Errorf("kept: %+v", s.desk.marks)
		}
		look.Open(t, ctx, srv.URL+"/rounds")
		seeRound(t, ctx, look, "rounds-decided")
		srv.Close()
	}
}

// seeRound looks at the page that is open.
func seeRound(t *testing.T, ctx context.Context, look look, name string) {
	t.Helper()
	bad := append(see(t, ctx, browsertest.Sideways), see(t, ctx, browsertest.Contrast)...)
	if look.Width < 500 {
		bad = append(bad, see(t, ctx, size)...)
	}
	if len(bad) > 0 {
		t.Errorf("%s at %s: %s", name, look.Name, strings.Join(bad, "; "))
	}
	browsertest.Shot(t, ctx, os.Getenv("ENDSHAKE_SHOTS"), name+"-"+look.Name)
}

// TestMyRoundsInABrowser: somebody in a tower finds their next day on the first
// screen of a telephone, with what leads to its list.
func TestMyRoundsInABrowser(t *testing.T) {
	ctx := browsertest.Start(t)
	kim := strangers(t).in("kim")
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		res, body := kim.get(r.URL.RequestURI())
		w.Header().Set("Content-Type", res.Header.Get("Content-Type"))
		w.WriteHeader(res.StatusCode)
		_, _ = io.WriteString(w, body)
	}))
	defer srv.Close()
	for _, look := range []look{{Name: "390", Width: 390, Scheme: "light"}, {Name: "390-dark", Width: 390, Scheme: "dark"}, {Name: "1280", Width: 1280, Scheme: "light"}} {
		look.Open(t, ctx, srv.URL+"/me/rounds")
		const first = `[...document.querySelectorAll('a.first')].filter(e => { const r = e.getBoundingClientRect(); return r.bottom <= innerHeight && r.height >= 44; }).map(e => e.textContent)`
		if got := see(t, ctx, first); len(got) != 1 {
			t.Errorf("at %s the first screen leads to %q", look.Name, got)
		}
		if _, err := chromedp.Run(ctx, chromedp.Evaluate[bool](openAll)); err != nil {
			t.Fatal(err)
		}
		seeRound(t, ctx, look, "my-rounds")
	}
}

// TestRoundOnPaperInABrowser: a day is printed with each clock on a sheet of its own,
// all of it open, and with no form.
func TestRoundOnPaperInABrowser(t *testing.T) {
	ctx := browsertest.Start(t)
	s := newSite(t)
	srv := httptest.NewServer(s)
	defer srv.Close()
	look{Name: "paper", Width: 711, Scheme: "light", Media: "print"}.Open(t, ctx, srv.URL+roundAt(s.desk.snap, "quay"))
	// A4 within margins of 11 mm is 275 mm high, 1039 pixels.
	const sheets = `[...document.querySelectorAll('.sheet')].map(e => getComputedStyle(e).breakBefore + ' ' + (e.getBoundingClientRect().height < 1039 ? 'true' : e.getBoundingClientRect().height) + ' ' + (e.querySelector('.blank').getBoundingClientRect().height >= 34) + ' ' + (e.querySelector('svg.code').getBoundingClientRect().width >= 90))`
	got := see(t, ctx, sheets)
	if want := "page true true true"; len(got) != 3 || got[0] != want || got[1] != want || got[2] != want {
		t.Errorf("sheets that break before, fit on a page, and have room for a reading and a code: %q", got)
	}
	const forms = `[...document.querySelectorAll('main form, main button, nav')].filter(e => e.getClientRects().length).map(e => e.textContent)`
	if got := see(t, ctx, forms); len(got) > 0 {
		t.Errorf("printed: %q", got)
	}
	if n := browsertest.Sheets(t, ctx); n < 4 || n > 7 {
		t.Errorf("a day with three clocks is printed on %d sheets", n)
	}
}
