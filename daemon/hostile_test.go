package daemon

import (
	"bufio"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"endshake/db/dbtest"
	"endshake/schedule"
)

// wire sends bytes to the service as they are, and gives the answers that come
// before it closes the connection.
func (h *house) wire(raw string) (codes []int) {
	h.t.Helper()
	c, err := net.DialTimeout("tcp", h.Addr(), 5*time.Second)
	if err != nil {
		h.t.Fatal(err)
	}
	defer c.Close()
	_ = c.SetDeadline(time.Now().Add(time.Minute))
	go func() { // while the answer is read: a server may refuse before all is sent
		_, _ = io.WriteString(c, raw)
		_ = c.(*net.TCPConn).CloseWrite()
	}()
	for in := bufio.NewReader(c); ; {
		res, err := http.ReadResponse(in, nil)
		if err != nil {
			return codes
		}
		codes = append(codes, res.StatusCode)
		if _, err := io.Copy(io.Discard, res.Body); err != nil {
			return codes
		}
	}
}

// request is a request as it goes over the wire, its body with it.
func request(method, path, head, body string) string {
	return method + " " + path + " HTTP/1.1\r\nHost: 127.0.0.1\r\n" + head + "\r\n" + body
}

// W33: many and large heads, long addresses and forms of ten thousand fields are
// refused by the server as it runs, which goes on, and nothing is logged.
func TestBombsOnTheWire(t *testing.T) {
	h := open(t, "2026-11-25 10:00")
	n := len(h.assessment("moot-hall").Entries)
	heads := func(n int, line string) string { return strings.Repeat(line, n) }
	fields := strings.Repeat("f=&", 10_000)
	form := func(body string) string {
		return fmt.Sprintf("Content-Type: application/x-www-form-urlencoded\r\nContent-Length: %d\r\n", len(body))
	}
	parts := strings.Repeat("--b\r\nContent-Disposition: form-data; name=\"f\"\r\n\r\n\r\n", 10_000) + "--b--\r\n"
	for name, tt := range map[string]struct {
		raw  string
		want []int // any of these
	}{
		"what it takes":           {request("GET", "/due", heads(100, "X-A: b\r\n"), ""), []int{200}},
		"heads of 100 kB":         {request("GET", "/due", "X-A: "+strings.Repeat("x", 100_000)+"\r\n", ""), []int{431}},
		"ten thousand heads":      {request("GET", "/due", heads(10_000, "X-A: b\r\n"), ""), []int{431}},
		"cookies of 200 kB":       {request("GET", "/due", "Cookie: "+strings.Repeat("a=b; ", 40_000)+"\r\n", ""), []int{431}},
		"a head that is folded":   {request("GET", "/due", "X-A: b\r\n"+heads(20_000, " bbbb\r\n"), ""), []int{431}},
		"an address of 100 kB":    {request("GET", "/due?q="+strings.Repeat("x", 100_000), "", ""), []int{431}},
		"an address of 1 MB":      {request("GET", "/due?q="+strings.Repeat("x", 1<<20), "", ""), []int{431}},
		"a path of 1 MB":          {request("GET", "/"+strings.Repeat("x", 1<<20), "", ""), []int{431}},
		"ten thousand fields":     {request("POST", "/clock/moot-hall/log", form(fields), fields), []int{400, 422}},
		"a form of 1 MB":          {request("POST", "/clock/moot-hall/log", form(fields+strings.Repeat("x", 1<<20)), fields+strings.Repeat("x", 1<<20)), []int{413}},
		"ten thousand parts":      {request("POST", "/clock/moot-hall/log", fmt.Sprintf("Content-Type: multipart/form-data; boundary=b\r\nContent-Length: %d\r\n", len(parts)), parts), []int{400, 413, 422}},
		"a name of ten thousands": {request("GET", "/due?"+fields, "", ""), []int{200}},
	} {
		codes := h.wire(tt.raw)
		good := false
		for _, want := range tt.want {
			good = good || len(codes) == 1 && codes[0] == want
		}
		if !good {
			t.Errorf("%s: answered %v, want one of %v", name, codes, tt.want)
		}
		if code, _ := h.get("/healthz"); code != 200 {
			t.Fatalf("after %s the service answers %d", name, code)
		}
	}
	if m := len(h.assessment("moot-hall").Entries); m != n {
		t.Errorf("%d entries were logged", m-n)
	}
}

// W34: what a proxy in front could take for other requests is refused, or taken in
// one way only: what may be hidden behind it is never answered as a request of its
// own.
func TestRequestsInTwoMeanings(t *testing.T) {
	h := open(t, "2026-11-25 10:00")
	if codes := h.wire(request("GET", "/healthz", "", "") + request("GET", "/people", "", "")); len(codes) != 2 || codes[1] != 200 {
		t.Fatalf("two requests on one connection are answered %v: the test shows nothing", codes)
	}
	smuggled := request("GET", "/people", "", "")
	length := fmt.Sprintf("Content-Length: %d\r\n", len(smuggled))
	chunked := "Transfer-Encoding: chunked\r\n"
	for name, tt := range map[string]struct {
		head, body string
		taken      bool // may be taken, for it has one meaning; else it is refused as none
	}{
		"two lengths":                     {"Content-Length: 0\r\n" + length, smuggled, false},
		"two lengths, turned":             {length + "Content-Length: 0\r\n", smuggled, false},
		"a length in a list":              {"Content-Length: 0, 44\r\n", smuggled, false},
		"a signed length":                 {"Content-Length: +0\r\n", smuggled, false},
		"a length below nothing":          {"Content-Length: -1\r\n", smuggled, false},
		"a length beyond all":             {"Content-Length: 99999999999999999999\r\n", smuggled, false},
		"a length in sixteens":            {"Content-Length: 0x0\r\n", smuggled, false},
		"a coding not known":              {"Transfer-Encoding: xchunked\r\n", smuggled, false},
		"two codings":                     {chunked + "Transfer-Encoding: identity\r\n", "0\r\n\r\n" + smuggled, false},
		"codings in a list":               {"Transfer-Encoding: identity, chunked\r\n", "0\r\n\r\n" + smuggled, false},
		"a space before a colon":          {"Content-Length : 44\r\n", smuggled, false},
		"a coding with a space before it": {"Transfer-Encoding : chunked\r\n", "0\r\n\r\n" + smuggled, false},
		"a hidden coding":                 {"Transfer-Encoding:\x0bchunked\r\n", smuggled, false},
		"two hosts":                       {"Host: evil.example\r\nContent-Length: 0\r\n", smuggled, false},
		"a head with no name":             {": x\r\nContent-Length: 0\r\n", smuggled, false},
		"a carriage return in a head":     {"X-A: b\rContent-Length: 0\r\n", smuggled, false},
		"a length and a coding":           {length + chunked, "0\r\n\r\n" + smuggled, true},
		"a coding and a length":           {chunked + length, "0\r\n\r\n" + smuggled, true},
		"a coding and no length":          {chunked + "Content-Length: 0\r\n", "0\r\n\r\n" + smuggled, true},
		"a coding that is folded":         {length + "Transfer-Encoding:\r\n chunked\r\n", "0\r\n\r\n" + smuggled, true},
		"a length that is folded":         {"X-A: b\r\n Content-Length: 0\r\n" + length, smuggled, true},
		"a chunk in sixteens":             {chunked, "0x0\r\n\r\n" + smuggled, true},
		"a signed chunk":                  {chunked, "+0\r\n\r\n" + smuggled, true},
		"a chunk below nothing":           {chunked, "-1\r\n\r\n" + smuggled, true},
		"a chunk beyond all":              {chunked, "ffffffffffffffff0\r\n\r\n" + smuggled, true},
		"a chunk that wraps around":       {chunked, "10000000000000000\r\n\r\n" + smuggled, true},
		"a chunk with a space":            {chunked, "0 \r\n\r\n" + smuggled, true},
		"a chunk that says more":          {chunked, "0;x=\"\n\"\r\n\r\n" + smuggled, true},
		"a chunk that ends in half":       {chunked, "2\r\nxx0\r\n\r\n" + smuggled, true},
		"a chunk with a bare line":        {chunked, "0\n\n" + smuggled, true},
		"a trailer with a length":         {chunked, "0\r\nContent-Length: 44\r\n\r\n" + smuggled, true},
		"an end that is not one":          {chunked, "0\r\nX: y\r\n\r\n" + smuggled, true},
	} {
		codes := h.wire(request("POST", "/mailbox", "Content-Type: application/x-www-form-urlencoded\r\n"+tt.head, tt.body))
		switch {
		case len(codes) > 1:
			t.Errorf("%s: what came after it was answered as well: %v", name, codes)
		case !tt.taken && (len(codes) == 0 || codes[0] != 400 && codes[0] != 501):
			t.Errorf("%s: answered %v, want it refused", name, codes)
		case tt.taken && (len(codes) == 0 || codes[0] < 400):
			t.Errorf("%s: answered %v, want an answer that it is amiss", name, codes)
		}
	}
}

// metacharacters would be more than words in SQL, in LIKE or in a search.
var metacharacters = []string{"'", `"`, "%", "_", "*", "\\", ";", "--", "' OR '1'='1", `" OR "1"="1`, "') OR 1=1 --", "'; DROP TABLE entry; --", "' UNION SELECT 1,2,3,4,5,6 --", "$1", "?", ":a", "\x00", "ada%", "a_a", "\u2019", "%' ESCAPE '%"}

// W09 and W10: what stands in the addresses and forms of lists is a value to the
// store, on both engines: nothing matches that does not hold it as it is, nothing
// is changed, and no answer is a fault.
func TestMetacharactersOnAStore(t *testing.T) {
	t.Run("sqlite", func(t *testing.T) { metacharactersOn(t, t.TempDir()) })
	t.Run("postgres", func(t *testing.T) { metacharactersOn(t, dbtest.Postgres(t)) })
}

func metacharactersOn(t *testing.T, database string) {
	h := openOn(t, database, "2026-11-25 10:00", append(wound(t, "2024-01-01 09:00", "2026-11-16 09:00"), reading(t, "2023-01-10 10:00", 0.40))...)
	h.settled(1)
	rows := func() string {
		all, err := h.store.AuditOf(t.Context(), "", 0, 1000)
		if err != nil {
			t.Fatal(err)
		}
		entries, err := h.store.Entries(t.Context(), "moot-hall")
		if err != nil {
			t.Fatal(err)
		}
		notices, err := h.store.Notices(t.Context(), 1000)
		if err != nil || len(all) < 2 || len(entries) < 100 || len(notices) == 0 {
			t.Fatalf("%d rows of the audit, %d entries, %d letters: %v", len(all), len(entries), len(notices), err)
		}
		return fmt.Sprint(len(all), len(entries), len(notices))
	}
	none := "Nothing was changed by whoever is asked for."
	if page := textOf(h.page("/audit?who=test")); strings.Contains(page, none) {
		t.Fatal("the audit does not find who is there: the test shows nothing")
	}
	if page := textOf(h.page("/?q=moot")); strings.Contains(page, "0 of") {
		t.Fatal("the fleet does not find what is there: the test shows nothing")
	}
	before := rows()
	for _, m := range metacharacters {
		q, p := url.QueryEscape(m), url.PathEscape(m)
		if code, body := h.get("/audit?who=" + q); code != 200 || !strings.Contains(textOf(body), none) {
			t.Errorf("/audit?who=%s answers %d: %.300s", q, code, textOf(body))
		}
		for _, list := range []string{"/?q=", "/due?q="} {
			code, body := h.get(list + q)
			if found := !strings.Contains(body, " 0 of ") && !strings.Contains(body, ">0 of ") && !strings.Contains(textOf(body), "0 tasks"); code != 200 || found && schedule.Visible(m) != "" && !strings.ContainsAny(m, "\x00") {
				t.Errorf("%s%s answers %d and finds something: %.400s", list, q, code, textOf(body))
			}
		}
		for _, path := range []string{"/?person=" + q, "/?place=" + q, "/?state=" + q, "/?order=" + q, "/?page=" + q, "/due?kind=" + q, "/due?person=" + q, "/due?place=" + q, "/due?state=" + q, "/due?order=" + q,
			"/compare?kind=" + q, "/compare?page=" + q, "/labels?from=" + q, "/timechange?day=" + q, "/audit?before=" + q, "/audit?who=test&before=" + q, "/mail?going=" + q,
			"/clock/moot-hall?before=" + q, "/clock/moot-hall?logged=" + q} {
			if code, body := h.get(path); code >= 500 || strings.Contains(strings.ToLower(body), "sql") {
				t.Errorf("%s answers %d: %.300s", path, code, textOf(body))
			}
		}
		for _, path := range []string{"/clock/%s", "/clock/moot-hall/bearing/%s", "/clock/moot-hall/done/%s", "/mail/%s", "/inward/%s", "/people/%s", "/picture/%s", "/answer/%s", "/decline/%s", "/calendar/%s.ics", "/clock/moot-hall/log?replaces=%s"} {
			if code, body := h.get(fmt.Sprintf(path, p)); code != 404 && code != 429 {
				t.Errorf("%s with %q answers %d: %.300s", path, m, code, textOf(body))
			}
		}
		for path, v := range map[string]url.Values{"/mailbox": {"address": {m}}, "/mail/" + p + "/resend": {}, "/clock/moot-hall/log": {"kind": {m}, "note": {m}, "by": {m}}, "/people/ada": {"act": {m}, "clock": {m}, "role": {m}}} {
			res, err := h.http.PostForm("http://"+h.Addr()+path, v)
			if err != nil {
				t.Fatal(err)
			}
			res.Body.Close()
			if res.StatusCode/100 != 4 {
				t.Errorf("%s with %q answers %d", path, m, res.StatusCode)
			}
		}
		if after := rows(); after != before {
			t.Fatalf("%q has changed something: %s, before %s", m, after, before)
		}
	}
}
