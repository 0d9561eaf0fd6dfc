package web

import (
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"endshake/daemon/browsertest"
)

// canaries are what is written into every text field of every form.
var canaries = []string{`"><script>canary</script>`, `{{.}}canary`, `javascript:canary`}

// textForm is a form that sends something, as it stands on a page.
type textForm struct {
	action string
	values url.Values // as a browser sends it untouched
	texts  []string   // the fields to type in
}

// textForms are those of a page that post, but for the one that logs out.
func textForms(t *testing.T, page, body string) (out []textForm) {
	for _, n := range nodes(t, body) {
		if method, _ := attr(n, "method"); n.Data != "form" || !strings.EqualFold(method, "post") {
			continue
		}
		f := textForm{values: url.Values{}}
		if f.action, _ = attr(n, "action"); f.action == "" {
			f.action = page
		}
		for c := range n.Descendants() {
			f.take(c)
		}
		if len(f.texts) > 0 && f.action != "/logout" {
			out = append(out, f)
		}
	}
	return out
}

func (f *textForm) take(n *html.Node) {
	name, _ := attr(n, "name")
	value, _ := attr(n, "value")
	kind, _ := attr(n, "type")
	switch {
	case name == "":
	case n.Data == "textarea":
		f.texts = append(f.texts, name)
		f.values.Set(name, textOf(n))
	case n.Data == "input" && slices.Contains([]string{"checkbox", "radio", "submit", "file"}, kind):
		if _, on := attr(n, "checked"); on {
			f.values.Add(name, value)
		}
	case n.Data == "input":
		f.values.Set(name, value)
		if kind != "hidden" && kind != "password" {
			f.texts = append(f.texts, name)
		}
	case n.Data == "select":
		for c := range n.Descendants() {
			v, _ := attr(c, "value")
			if _, on := attr(c, "selected"); c.Data == "option" && (on || f.values.Get(name) == "") {
				f.values.Set(name, v)
			}
		}
	}
}

// pagePaths are all pages of the table of addresses.
func pagePaths(e *entrance) (out []string) {
	blanks := axePaths(e)
	for _, rt := range e.s.routes() {
		switch path := strings.ReplaceAll(rt.path, "{$}", ""); {
		case rt.get == nil || ofAPI(rt.path) || slices.Contains(notPages, rt.path):
		case strings.Contains(path, "{"):
			out = append(out, blanks[rt.path]...)
		default:
			out = append(out, path)
		}
	}
	return out
}

// canaried has a canary typed into every text field of every form: into all of a
// form at once, and into one beside what stands in the others, so that some are
// kept. It gives the pages.
func canaried(t *testing.T) (*entrance, *visit, []string) {
	e := newEntrance(t, func(o *Options) { o.Logins.Passwords = weak })
	e.lets("edda", runsFleet)
	b, paths := e.in("edda"), pagePaths(e)
	forms, fields := 0, 0
	sendIt := func(path string, v url.Values) {
		res, body := b.send(path, v)
		if res.StatusCode == http.StatusInternalServerError {
			t.Errorf("%s with %v is a fault", path, v)
		}
		tameOfCanary(t, path, body)
		if res.StatusCode == http.StatusSeeOther && strings.HasPrefix(res.Header.Get("Location"), "/login") {
			b = e.in("edda")
		}
	}
	for _, path := range paths {
		res, body := b.get(path)
		if res.StatusCode != http.StatusOK {
			continue // answered to another reader; TestAxe looks at those
		}
		for _, f := range textForms(t, path, body) {
			forms, fields = forms+1, fields+len(f.texts)
			for i, canary := range canaries {
				all := url.Values{}
				for k, v := range f.values {
					all[k] = slices.Clone(v)
				}
				for _, name := range f.texts {
					if i == 0 {
						one := url.Values{}
						for k, v := range f.values {
							one[k] = slices.Clone(v)
						}
						one.Set(name, canary)
						sendIt(f.action, one)
					}
					all.Set(name, canary)
				}
				sendIt(f.action, all)
			}
		}
	}
	if forms < 15 || fields < 40 {
		t.Errorf("only %d forms with %d text fields were found", forms, fields)
	}
	return e, b, paths
}

// tameOfCanary looks for what a canary would have become.
func tameOfCanary(t *testing.T, path, body string) {
	t.Helper()
	for _, n := range nodes(t, body) {
		if n.Data == "script" && strings.Contains(textOf(n), "canary") {
			t.Errorf("%s: what was typed became a script", path)
		}
		for _, a := range n.Attr {
			if (a.Key == "href" || a.Key == "src" || a.Key == "action") && strings.HasPrefix(strings.ToLower(a.Val), "javascript:") {
				t.Errorf("%s: %s leads to %q", path, a.Key, a.Val)
			}
		}
	}
}

// What is typed into any text field is words on every page after.
func TestCanaryInEveryTextField(t *testing.T) {
	_, b, paths := canaried(t)
	shown := 0
	for _, path := range paths {
		_, body := b.get(path)
		tameOfCanary(t, path, body)
		if strings.Contains(body, "&lt;script&gt;canary") {
			shown++
		}
	}
	if shown < 2 {
		t.Errorf("%d pages show what was typed: want it kept and shown as words", shown)
	}
}

// The browser has nothing to report of the pages after.
func TestCanaryInABrowser(t *testing.T) {
	ctx := browsertest.Start(t)
	e, b, paths := canaried(t)
	base := as(t, e, b)
	var said complaints
	if err := said.listen(ctx); err != nil {
		t.Fatalf("start Chromium: %v", err)
	}
	for _, path := range paths {
		if res, body := b.get(path); res.StatusCode != http.StatusOK || !strings.Contains(body, "canary") {
			continue
		}
		look{Name: "1280", Width: 1280, Scheme: "light"}.Open(t, ctx, base+path)
		for _, c := range said.take() {
			t.Errorf("%s: the browser complains: %s", path, c)
		}
	}
}
