package web

import (
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"endshake/schedule"

	"golang.org/x/net/html"
)

// ask sends a request and returns the answer with its body read.
func ask(t *testing.T, h http.Handler, r *http.Request) (*http.Response, string) {
	t.Helper()
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	res := w.Result()
	body, err := io.ReadAll(res.Body)
	if err != nil {
		t.Fatal(err)
	}
	return res, string(body)
}

func get(t *testing.T, h http.Handler, path string) (*http.Response, string) {
	t.Helper()
	return ask(t, h, httptest.NewRequest("GET", path, nil))
}

// nodes are the elements of a page in order.
func nodes(t *testing.T, body string) []*html.Node {
	t.Helper()
	root, err := html.Parse(strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	var out []*html.Node
	for n := range root.Descendants() {
		if n.Type == html.ElementNode {
			out = append(out, n)
		}
	}
	return out
}

func attr(n *html.Node, name string) (string, bool) {
	for _, a := range n.Attr {
		if a.Key == name {
			return a.Val, true
		}
	}
	return "", false
}

func textOf(n *html.Node) string {
	var b strings.Builder
	for c := range n.Descendants() {
		if c.Type == html.TextNode {
			b.WriteString(c.Data)
		}
	}
	return strings.Join(strings.Fields(b.String()), " ")
}

// within reports whether a node has an ancestor of a name.
func within(n *html.Node, name string) bool {
	for p := n.Parent; p != nil; p = p.Parent {
		if p.Data == name {
			return true
		}
	}
	return false
}

// checkPage checks what holds for every page: WCAG 2.2 success criteria 1.1.1,
// 1.3.1, 2.4.1, 2.4.2, 3.1.1, 3.3.2 and 4.1.2 as far as a parser sees them, and
// the policy against anything inline.
func checkPage(t *testing.T, path, body string) {
	t.Helper()
	ids, labels := map[string]int{}, map[string]bool{}
	count := map[string]int{}
	all := nodes(t, body)
	for _, n := range all {
		if id, ok := attr(n, "id"); ok {
			ids[id]++
		}
		if f, ok := attr(n, "for"); ok && n.Data == "label" {
			labels[f] = true
		}
		count[n.Data]++
	}
	for id, n := range ids {
		if n > 1 {
			t.Errorf("%s: id %q stands %d times", path, id, n)
		}
	}
	for _, name := range []string{"h1", "main", "title", "nav"} {
		if name == "nav" && ofLink(path) != "" {
			continue // leads nowhere else
		}
		if count[name] == 0 || (name == "h1" || name == "main") && count[name] != 1 {
			t.Errorf("%s: %d <%s>", path, count[name], name)
		}
	}
	if want := map[bool]int{true: 0, false: 1}[ofLink(path) != ""]; count["script"] != want {
		t.Errorf("%s: %d scripts, want %d", path, count["script"], want)
	}
	for _, name := range []string{"style", "iframe", "object", "embed"} {
		if count[name] > 0 {
			t.Errorf("%s: there is a <%s>", path, name)
		}
	}
	for _, n := range all {
		checkNode(t, path, n, ids, labels)
	}
}

func checkNode(t *testing.T, path string, n *html.Node, ids map[string]int, labels map[string]bool) {
	t.Helper()
	for _, a := range n.Attr {
		if a.Key == "style" || strings.HasPrefix(a.Key, "on") {
			t.Errorf("%s: <%s> has %s=%q", path, n.Data, a.Key, a.Val)
		}
		if a.Key == "aria-labelledby" || a.Key == "aria-describedby" {
			for _, id := range strings.Fields(a.Val) {
				if ids[id] == 0 {
					t.Errorf("%s: %s names %q, which is not there", path, a.Key, id)
				}
			}
		}
	}
	switch n.Data {
	case "html":
		if lang, _ := attr(n, "lang"); lang == "" {
			t.Errorf("%s: the page has no language", path)
		}
	case "input", "select", "textarea":
		if kind, _ := attr(n, "type"); kind == "hidden" {
			return
		}
		if _, unseen := attr(n, "hidden"); unseen {
			return
		}
		if id, _ := attr(n, "id"); !labels[id] {
			t.Errorf("%s: %s %q has no label", path, n.Data, id)
		}
	case "th":
		if scope, _ := attr(n, "scope"); scope != "col" && scope != "row" && scope != "colgroup" {
			t.Errorf("%s: a table header has scope %q", path, scope)
		}
	case "svg":
		if role, _ := attr(n, "role"); role != "img" || n.FirstChild == nil || n.FirstChild.Data != "title" {
			t.Errorf("%s: a picture has no title", path)
		}
	case "script":
		src, _ := attr(n, "src")
		if _, late := attr(n, "defer"); !late || n.FirstChild != nil || !strings.HasPrefix(src, "/static/") {
			t.Errorf("%s: a script of %q that is not ours alone", path, src)
		}
	case "img":
		if alt, _ := attr(n, "alt"); alt == "" {
			t.Errorf("%s: a picture has no words", path)
		}
	case "a":
		if label, _ := attr(n, "aria-label"); textOf(n) == "" && label == "" && (n.FirstChild == nil || n.FirstChild.Data != "img") {
			t.Errorf("%s: a link has no words", path)
		}
		if href, _ := attr(n, "href"); strings.Contains(href, "@") || strings.Contains(strings.ToLower(href), "%40") {
			t.Errorf("%s: %q prints a mail address", path, href)
		}
	}
}

// links are the addresses on a page, without their fragments; those with a
// fragment on the page itself must have their place there.
func links(t *testing.T, path, body string) []string {
	t.Helper()
	var out []string
	ids := map[string]bool{}
	all := nodes(t, body)
	for _, n := range all {
		if id, ok := attr(n, "id"); ok {
			ids[id] = true
		}
	}
	for _, n := range all {
		href, ok := attr(n, "href")
		if !ok {
			continue
		}
		u, err := url.Parse(href)
		if err != nil || u.Host != "" || u.Scheme != "" {
			t.Errorf("%s: link %q leads away", path, href)
			continue
		}
		if u.Path == "" && u.RawQuery == "" {
			if !ids[u.Fragment] {
				t.Errorf("%s: link %q leads nowhere", path, href)
			}
			continue
		}
		u.Fragment = ""
		out = append(out, u.String())
	}
	return out
}

// TestEveryPage walks from the fleet to every page there is a link to.
func TestEveryPage(t *testing.T) {
	s := newSite(t)
	seen, queue := map[string]bool{}, []string{"/"}
	for len(queue) > 0 {
		path := queue[0]
		queue = queue[1:]
		if seen[path] {
			continue
		}
		seen[path] = true
		res, body := get(t, s, path)
		if res.StatusCode != http.StatusOK {
			t.Errorf("%s answers %d", path, res.StatusCode)
			continue
		}
		if strings.HasPrefix(path, "/static/") || strings.HasSuffix(path, "/html") || ofAPI(path) || printed(t, path, res, body) {
			continue
		}
		checkPage(t, path, body)
		queue = append(queue, links(t, path, body)...)
	}
	for _, want := range []string{"/due", "/mail", "/mail/m1", "/mail/m1/html", "/arrived/1", "/help", "/clock/mill",
		"/clock/bad/bearing/escape-front", "/clock/corn-hall/do/measure?subject=centre-front"} {
		if !seen[want] {
			t.Errorf("no link leads to %s", want)
		}
	}
	if len(seen) < 60 {
		t.Errorf("only %d pages were found", len(seen))
	}
}

// Every task must show its caution, and that local rules decide.
func TestEveryTaskShowsItsCaution(t *testing.T) {
	s := newSite(t)
	for _, path := range []string{"/due", "/clock/corn-hall", "/clock/mill", "/clock/quay", "/clock/bad"} {
		_, body := get(t, s, path)
		rows := 0
		for _, n := range nodes(t, body) {
			if class, _ := attr(n, "class"); n.Data != "li" || class != "task" {
				continue
			}
			rows++
			if !strings.Contains(textOf(n), "Caution.") || !strings.Contains(textOf(n), "Local rules and licensed people decide.") {
				t.Errorf("%s: a task shows no caution: %s", path, textOf(n))
			}
		}
		if rows == 0 {
			t.Errorf("%s lists no task", path)
		}
	}
	for _, kind := range []string{"wound", "measured", "noted", "stopped"} {
		if _, body := get(t, s, "/clock/mill/log?kind="+kind); !strings.Contains(body, "Local rules and licensed people decide.") {
			t.Errorf("the form for %s shows no caution", kind)
		}
	}
}

// A name that tries to be more than a name stays a name, on every page.
func TestHostileNamesStayNames(t *testing.T) {
	s := newSite(t)
	for _, path := range []string{"/", "/due", "/due?person=eve", "/due?person=<script>alert(9)</script>", "/clock/bad", "/clock/bad?logged=<script>",
		"/clock/bad/bearing/escape-front", "/clock/bad/log?kind=oiled", "/mail", "/mail/m1", "/mail/m2", "/mail/m3", "/arrived/1",
		"/clock/bad/log?kind=<script>alert(8)</script>", "/clock/<script>", "/mail/<script>alert(8)</script>"} {
		u := url.URL{Path: path}
		if before, after, ok := strings.Cut(path, "?"); ok {
			u = url.URL{Path: before, RawQuery: strings.NewReplacer("<", "%3C", ">", "%3E", "/", "%2F").Replace(after)}
		}
		_, body := get(t, s, u.String())
		checkPage(t, path, body)
		for _, n := range nodes(t, body) {
			if n.Data == "b" {
				t.Errorf("%s: a name brought a <b> into the page", path)
			}
		}
	}
	_, body := get(t, s, "/clock/bad")
	if !strings.Contains(body, "&lt;script&gt;alert(1)") {
		t.Error("the clock's own name is not on its page")
	}
}

func TestHeaders(t *testing.T) {
	s := newSite(t)
	for _, path := range []string{"/", "/nowhere", "/clock/mill", s.static(t)} {
		res, body := get(t, s, path)
		for name, want := range map[string]string{
			"Content-Security-Policy": "default-src 'none'; style-src 'self'; img-src 'self' data:; form-action 'self'; frame-ancestors 'none'; base-uri 'none'; script-src 'self'; connect-src 'self'; worker-src 'self'; manifest-src 'self'",
			"X-Content-Type-Options":  "nosniff", "Referrer-Policy": "same-origin",
		} {
			if got := res.Header.Get(name); got != want {
				t.Errorf("%s: %s is %q, want %q", path, name, got, want)
			}
		}
		want := "no-store"
		if strings.HasPrefix(path, "/static/") {
			want = "public, max-age=31536000, immutable"
		}
		if got := res.Header.Get("Cache-Control"); got != want {
			t.Errorf("%s: Cache-Control is %q, want %q", path, got, want)
		}
		head, empty := ask(t, s, httptest.NewRequest("HEAD", path, nil))
		if head.StatusCode != res.StatusCode || empty != "" || head.Header.Get("Content-Length") != fmt.Sprint(len(body)) {
			t.Errorf("HEAD %s: %d with %d bytes of body, length %s for %d", path, head.StatusCode, len(empty), head.Header.Get("Content-Length"), len(body))
		}
	}
}

// static is the address of the style sheet.
func (s site) static(t *testing.T) string {
	t.Helper()
	_, body := get(t, s, "/")
	i := slices.IndexFunc(links(t, "/", body), func(l string) bool { return strings.HasSuffix(l, ".css") })
	if i < 0 {
		t.Fatal("the page has no style sheet")
	}
	return links(t, "/", body)[i]
}

func TestWhatIsNotThere(t *testing.T) {
	s := newSite(t)
	for _, tc := range []struct {
		method, path string
		want         int
	}{
		{"GET", "/nowhere", 404}, {"GET", "/clock/none", 404}, {"GET", "/clock/mill/bearing/none", 404}, {"GET", "/clock/none/bearing/none", 404},
		{"GET", "/clock/none/log", 404}, {"POST", "/clock/none/log", 404}, {"GET", "/mail/none", 404}, {"GET", "/mail/none/html", 404},
		{"GET", "/mail/m2/html", 404}, {"GET", "/arrived/0", 404}, {"GET", "/arrived/2", 404}, {"GET", "/arrived/x", 404},
		{"GET", "/clock/mill/log?replaces=none", 404}, {"GET", "/static/0/endshake.css", 404}, {"GET", "/static/../server.go", 307},
		{"GET", "/clock/..%2f..%2fetc/bearing/x", 404}, {"POST", "/", 405}, {"PUT", "/clock/mill/log", 405}, {"DELETE", "/due", 405},
		{"GET", "/mail/m1/resend", 405}, {"TRACE", "/", 405}, {"POST", "/nowhere", 404},
	} {
		res, body := ask(t, s, httptest.NewRequest(tc.method, tc.path, nil))
		if res.StatusCode != tc.want {
			t.Errorf("%s %s answers %d, want %d", tc.method, tc.path, res.StatusCode, tc.want)
		}
		if tc.want == 404 || tc.want == 405 {
			checkPage(t, tc.path, body)
		}
		if tc.want == 405 && res.Header.Get("Allow") == "" {
			t.Errorf("%s %s: no Allow header", tc.method, tc.path)
		}
	}
}

func TestStarting(t *testing.T) {
	d := newDesk()
	d.snap = nil
	s := siteOf(t, d)
	for _, path := range []string{"/", "/due", "/clock/mill", "/clock/mill/log", "/mail"} {
		res, body := get(t, s, path)
		if res.StatusCode != http.StatusServiceUnavailable || res.Header.Get("Retry-After") == "" {
			t.Errorf("%s answers %d while starting", path, res.StatusCode)
		}
		checkPage(t, path, body)
	}
	if res, _ := get(t, s, "/help"); res.StatusCode != http.StatusOK {
		t.Errorf("help answers %d while starting", res.StatusCode)
	}
}

func TestFaultsGiveACleanPage(t *testing.T) {
	s := newSite(t)
	s.post.err = fmt.Errorf("the secret table is gone")
	res, body := get(t, s, "/mail")
	if res.StatusCode != 500 || strings.Contains(body, "secret") {
		t.Errorf("a fault answers %d and says %q", res.StatusCode, body)
	}
	checkPage(t, "/mail", body)
	s.desk.snap.Clocks[0].Outlooks = nil
	s.desk.snap.Clocks[0].Zone = nil
	if res, _ := get(t, s, "/clock/corn-hall"); res.StatusCode != 200 {
		t.Errorf("a clock without a zone answers %d", res.StatusCode)
	}
	broken := New(Options{Everyone: schedule.Actor{Conservator: true}, Desk: panicky{}, Mailroom: s.post})
	if res, _ := get(t, broken, "/reckoner"); res.StatusCode != 500 {
		t.Errorf("a panic answers %d", res.StatusCode)
	}
}

// fetch gets a page and returns its size.
func fetch(t testing.TB, h http.Handler, path string) int {
	w := httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest("GET", path, nil))
	if w.Code != http.StatusOK {
		t.Fatalf("%s answers %d", path, w.Code)
	}
	return w.Body.Len()
}

// Pages are asked for while others are, and while something is logged: what each
// shows is one answer, and the race detector finds nothing.
func TestPagesSideBySide(t *testing.T) {
	s := siteOf(t, wearingDesk())
	var wg sync.WaitGroup
	for range 4 {
		wg.Go(func() {
			for _, path := range []string{"/", "/due", "/outlook", "/timechange", "/clock/corn-hall", "/clock/bell-house/bearing/worn",
				"/clock/bell-house/bearing/worn?washer=0.5+mm&oilDays=90", "/clock/corn-hall/log?kind=measured", "/mail", "/mail/m1", "/reckoner/washer", "/help"} {
				if res, _ := get(t, s, path); res.StatusCode != 200 {
					t.Errorf("%s answers %d", path, res.StatusCode)
				}
			}
		})
	}
	for i := range 8 {
		e := schedule.Entry{Clock: "corn-hall", Kind: schedule.Noted, By: "tom", At: now.Add(-time.Minute), Note: fmt.Sprint("Note ", i)}
		if _, err := s.desk.Log(t.Context(), e); err != nil {
			t.Error(err)
		}
	}
	wg.Wait()
}

// A telephone keeps the pages on its home screen by a manifest of our own, with a
// picture of our own; the page of a letter's link has none.
func TestManifest(t *testing.T) {
	s := newSite(t)
	_, body := get(t, s, "/")
	var at string
	for _, n := range nodes(t, body) {
		if rel, _ := attr(n, "rel"); rel == "manifest" {
			at, _ = attr(n, "href")
		}
	}
	res, text := get(t, s, at)
	var m struct {
		Name, Start_url, Scope, Theme_color, Background_color string
		Icons                                                 []struct{ Src, Type string }
	}
	if err := json.Unmarshal([]byte(text), &m); err != nil || res.StatusCode != 200 || res.Header.Get("Content-Type") != "application/manifest+json" {
		t.Fatalf("%s answers %d %s: %v", at, res.StatusCode, res.Header.Get("Content-Type"), err)
	}
	if !strings.HasPrefix(m.Name, "endshake") || m.Start_url != "/" || m.Scope != "/" || m.Theme_color != "#FBF8F1" || m.Background_color != "#FBF8F1" || len(m.Icons) != 1 {
		t.Errorf("the manifest says %+v", m)
	}
	if res, text := get(t, s, m.Icons[0].Src); res.StatusCode != 200 || res.Header.Get("Content-Type") != m.Icons[0].Type || !strings.HasPrefix(text, "<svg ") || strings.Contains(text, "href") {
		t.Errorf("its picture answers %d: %s", res.StatusCode, text)
	}
	if res, _ := get(t, s, "/"); !strings.Contains(res.Header.Get("Content-Security-Policy"), "manifest-src 'self'") {
		t.Error("a page may not load it")
	}
	if _, body := get(t, s, "/answer/x"); strings.Contains(body, "manifest") {
		t.Error("the page of a link has one")
	}
}
