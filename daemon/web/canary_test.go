package web

import (
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

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

// canaried has a canary typed into every text field of every form: into all of a
// form at once, and into one beside what stands in the others, so that some are
// kept. It gives the pages, and who looks at each.
func canaried(t *testing.T) (*entrance, map[string]*visit, []stop) {
	e := audited(t, func(o *Options) { o.Logins.Passwords = weak })
	by, all := e.lookers(), stops(t, e)
	forms, fields := 0, 0
	sendIt := func(who, path string, v url.Values) {
		res, body := by[who].send(path, v)
		if res.StatusCode == http.StatusInternalServerError {
			t.Errorf("%s with %v is a fault", path, v)
		}
		tameOfCanary(t, path, body)
		if res.StatusCode == http.StatusSeeOther && strings.HasPrefix(res.Header.Get("Location"), "/login") && who == "known" {
			e.desk.now = e.desk.now.Add(time.Minute) // a code is good once
			by[who] = e.in("edda")
		}
	}
	for _, s := range all {
		res, body := by[s.by].get(s.path)
		if res.StatusCode != s.want && ofLink(s.path) == "" { // a link may have been used by then
			t.Errorf("%s answers %d, want %d: nothing can be typed there", s.path, res.StatusCode, s.want)
		}
		for _, f := range textForms(t, s.path, body) {
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
						sendIt(s.by, f.action, one)
					}
					all.Set(name, canary)
				}
				sendIt(s.by, f.action, all)
			}
		}
	}
	if forms < 20 || fields < 60 {
		t.Errorf("only %d forms with %d text fields were found", forms, fields)
	}
	t.Logf("%d forms with %d text fields", forms, fields)
	return e, by, all
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

// after is a page as it stands once canaries were typed everywhere: there still, but
// for links that were used and lists that were asked for too often.
func after(t *testing.T, by map[string]*visit, s stop) string {
	t.Helper()
	res, body := by[s.by].get(s.path)
	if s.by == "known" && res.StatusCode != s.want {
		t.Errorf("%s answers %d afterwards, want %d", s.path, res.StatusCode, s.want)
	}
	return body
}

// What is typed into any text field is words on every page after.
func TestCanaryInEveryTextField(t *testing.T) {
	_, by, all := canaried(t)
	shown := 0
	for _, s := range all {
		body := after(t, by, s)
		tameOfCanary(t, s.path, body)
		if strings.Contains(body, "&lt;script&gt;canary") {
			shown++
		}
	}
	if shown < 5 {
		t.Errorf("%d pages show what was typed: want it kept and shown as words", shown)
	}
}

// The browser has nothing to report of the pages after.
func TestCanaryInABrowser(t *testing.T) {
	ctx := browsertest.Start(t)
	e, by, all := canaried(t)
	base := map[string]string{}
	for who, b := range by {
		base[who] = as(t, e, b)
	}
	var said complaints
	if err := said.listen(ctx); err != nil {
		t.Fatalf("start Chromium: %v", err)
	}
	looked := 0
	for _, s := range all {
		if !strings.Contains(after(t, by, s), "canary") {
			continue
		}
		looked++
		look{Name: "1280", Width: 1280, Scheme: "light"}.Open(t, ctx, base[s.by]+s.path)
		for _, c := range said.take() {
			if !strings.Contains(c, "the server responded with a status of") {
				t.Errorf("%s: the browser complains: %s", s.path, c)
			}
		}
	}
	if looked < 5 {
		t.Errorf("only %d pages that show what was typed were looked at", looked)
	}
}
