package web

import (
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"endshake/daemon/browsertest"
	"endshake/schedule"
)

// cold lists what a cold finger would miss on a quick form: what is open, is
// pressed or filled in, and is less than 48 pixels high.
const cold = `[...document.querySelectorAll('form.quick button, form.quick input:not([type=hidden]):not([type=checkbox]), form.quick select, form.quick summary')]
	.filter(e => { const r = e.getBoundingClientRect(); return r.height > 0 && r.height < 48; })
	.map(e => e.tagName + ' ' + (e.name || e.textContent) + ' ' + e.getBoundingClientRect().height)`

// The quick forms are for cold fingers: large, with the button to press within
// the first two screens, and nothing that runs out at the side.
func TestQuickFormsInABrowser(t *testing.T) {
	ctx := browsertest.Start(t)
	s := shotSite(t)
	s.desk.snap.Clocks[0].Clock.Care.Lines = []schedule.Line{{Code: "rope", Name: "Going line", Train: "going"}}
	srv := httptest.NewServer(s)
	defer srv.Close()
	for _, path := range []string{"/clock/corn-hall/do/wind?subject=strike", "/clock/bell-house/do/measure?subject=worn", "/clock/corn-hall/do/oil", "/clock/mill/do/stopped",
		"/clock/corn-hall/do/line", "/clock/corn-hall/card/entry", "/clock/corn-hall/card", "/clock/corn-hall/label", "/labels"} {
		browsertest.Look{Name: "390", Width: 390, Scheme: "light"}.Open(t, ctx, srv.URL+path)
		bad := append(browsertest.See(t, ctx, browsertest.Sideways), browsertest.See(t, ctx, cold)...)
		if len(bad) > 0 {
			t.Errorf("%s: %s", path, strings.Join(bad, "; "))
		}
	}
	// All that is folded away is as large.
	browsertest.Look{Name: "390", Width: 390, Scheme: "dark"}.Open(t, ctx, srv.URL+"/clock/corn-hall/do/wind?subject=strike")
	if _, err := chromedp.Run(ctx, chromedp.Evaluate[bool](`document.querySelectorAll('details').forEach(d => d.open = true), true`)); err != nil {
		t.Fatal(err)
	}
	if bad := browsertest.See(t, ctx, cold); len(bad) > 0 {
		t.Errorf("folded away: %s", strings.Join(bad, "; "))
	}
}
