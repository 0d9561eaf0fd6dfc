package web

import (
	"net/http/httptest"
	"os"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"endshake/daemon/browsertest"
)

// TestGoingInABrowser fills in how somebody goes on rounds as a person does, wide and on
// a telephone: first wrongly, which is said at the field with the form still open, then
// rightly.
func TestGoingInABrowser(t *testing.T) {
	ctx := browsertest.Start(t)
	d := wearingDesk()
	s := siteOf(t, d, func(o *Options) { o.SaveFleet = d.save })
	srv := httptest.NewServer(s)
	defer srv.Close()
	do := func(a chromedp.Action[chromedp.Void]) {
		t.Helper()
		if _, err := chromedp.Run(ctx, a); err != nil {
			t.Fatal(err)
		}
	}
	const keep = `button[value="going"]`
	for _, look := range []look{{Name: "1280", Width: 1280, Scheme: "light"}, {Name: "390", Width: 390, Scheme: "light"}} {
		look.Open(t, ctx, srv.URL+"/people/tom")
		do(chromedp.Click(`details:has(` + keep + `) summary`))
		do(chromedp.WaitVisible("#f-outFrom"))
		do(chromedp.SetValue("#f-outFrom", "08:00"))
		do(chromedp.SetValue("#f-outTo", "18:00"))
		do(chromedp.SetValue("#f-home", "behind the church"))
		do(chromedp.SetValue("#f-away", "2027-05-03 to 2027-05-14: holidays"))
		do(chromedp.Click(keep))
		do(chromedp.WaitVisible(".fault"))
		bad := append(see(t, ctx, browsertest.Sideways), see(t, ctx, browsertest.Contrast)...)
		if look.Width < 500 {
			bad = append(bad, see(t, ctx, size)...)
		}
		if len(bad) > 0 {
			t.Errorf("at %s: %s", look.Name, strings.Join(bad, "; "))
		}
		browsertest.Shot(t, ctx, os.Getenv("ENDSHAKE_SHOTS"), "person-rounds-refused-"+look.Name)
		do(chromedp.SetValue("#f-home", "47.312, -31.215"))
		do(chromedp.Click(keep))
		do(chromedp.WaitVisible(".logged"))
		browsertest.Shot(t, ctx, os.Getenv("ENDSHAKE_SHOTS"), "person-rounds-kept-"+look.Name)
	}
	if p, _ := s.desk.f.fleet.Person("tom"); p.Going.Home == nil || len(p.Going.Away) != 1 || p.Going.To != 18*60 {
		t.Errorf("kept %+v", p.Going)
	}
}
