package daemon

import (
	"io"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"endshake/schedule"
)

func TestNewToken(t *testing.T) {
	seen := map[string]bool{}
	for range 1000 {
		token := NewToken()
		if read, ok := schedule.ReadToken(token); !ok || read != token || seen[token] {
			t.Fatalf("token %q", token)
		}
		seen[token] = true
	}
}

// postTo posts as a mail program does: no cookie, no origin.
func (h *house) postTo(path, host, body string) (int, string) {
	h.t.Helper()
	r, err := http.NewRequest("POST", "http://"+h.Addr()+path, strings.NewReader(body))
	if err != nil {
		h.t.Fatal(err)
	}
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	if host != "" {
		r.Host = host
	}
	res, err := (&http.Client{}).Do(r)
	if err != nil {
		h.t.Fatal(err)
	}
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	if err != nil {
		h.t.Fatal(err)
	}
	return res.StatusCode, string(b)
}

// The links of letters on the whole service: an answer moves the due-list and
// counts once, a kind is declined by one click, a calendar is followed and taken
// back. The host of the base address is let in, and no other.
func TestLinks(t *testing.T) {
	h := open(t, "2026-11-25 09:00")
	ctx := t.Context()
	given := h.clock()
	give := func(p schedule.Pass) string {
		t.Helper()
		p.Token, p.Person = NewToken(), "ned"
		if err := h.store.GivePass(ctx, "test", given, p); err != nil {
			t.Fatal(err)
		}
		return p.Token
	}
	wind := schedule.Pass{Deed: schedule.Answering, Clock: "moot-hall", Task: schedule.Winding, Subject: "going"}
	answer, calendar := give(wind), "/calendar/"+give(schedule.Pass{Deed: schedule.Following})+".ics"
	decline := give(schedule.Pass{Deed: schedule.Declining, Kind: schedule.WindReminder})
	h.set("2026-11-25 09:10")
	due := func() string {
		t.Helper()
		a, _ := h.desk.Snapshot().Clock("moot-hall")
		for _, task := range a.Tasks {
			if task.Kind == schedule.Winding && task.Subject == "going" {
				return task.Due.String()
			}
		}
		return "none"
	}
	before := due()
	_, feed := h.get(calendar)
	if status, body := h.get("/answer/" + answer); status != 200 || !strings.Contains(body, "Moot hall") || due() != before {
		t.Fatalf("looked at: %d", status)
	}
	for i, want := range []int{200, 410, 410} {
		status, body := h.postTo("/answer/"+answer, "", url.Values{"said": {"done"}}.Encode())
		if status != want || !strings.Contains(body, "25 Nov 2026, 09:1") {
			t.Errorf("answer %d: %d\n%s", i, status, body)
		}
		h.set("2026-11-25 09:15")
	}
	log, err := h.store.Entries(ctx, "moot-hall")
	if err != nil || len(log) != 1 || log[0].Kind != schedule.Wound || log[0].By != "ned" || log[0].Source != "link" {
		t.Errorf("logged %+v, %v", log, err)
	}
	if after := due(); after == before {
		t.Errorf("the winding is due on %s as before", after)
	}
	if _, again := h.get(calendar); again == feed || !regexp.MustCompile(`(?m)^UID:`).MatchString(again) {
		t.Error("the calendar did not move")
	}
	// Whoever was asked beside finds it done.
	if status, body := h.get("/answer/" + give(wind)); status != 410 || !strings.Contains(body, "This is done") {
		t.Errorf("asked beside: %d", status)
	}
	for host, want := range map[string]int{"clocks.example.net": http.StatusMisdirectedRequest, "127.0.0.1": 200, "localhost:1": 200} {
		if status, _ := h.postTo("/decline/"+decline, host, "List-Unsubscribe=One-Click"); status != want {
			t.Errorf("one click at %s: %d, want %d", host, status, want)
		}
	}
	if list, err := h.store.Declined(ctx); err != nil || len(list) != 1 || list[0].Person != "ned" || list[0].Kind != schedule.WindReminder {
		t.Errorf("declined %+v, %v", list, err)
	}
	if _, err := h.store.EndPasses(ctx, "test", h.clock(), "ned", schedule.Following); err != nil {
		t.Fatal(err)
	}
	if status, _ := h.get(calendar); status != 410 {
		t.Errorf("a calendar that was taken back: %d", status)
	}
}

// Behind a name of its own the service takes one click by that name alone.
func TestOneClickByTheBaseAddress(t *testing.T) {
	reached := false
	next := http.HandlerFunc(func(http.ResponseWriter, *http.Request) { reached = true })
	for host, want := range map[string]bool{"clocks.example.org": true, "CLOCKS.example.org:443": true, "evil.example.net": false, "clocks.example.org.evil.example.net": false} {
		reached = false
		r, err := http.NewRequest("POST", "/decline/x", strings.NewReader("List-Unsubscribe=One-Click"))
		if err != nil {
			t.Fatal(err)
		}
		r.Host = host
		ownHost(Config{BaseURL: "https://clocks.example.org/"}, next).ServeHTTP(discard{http.Header{}}, r)
		if reached != want {
			t.Errorf("%s: let in %v, want %v", host, reached, want)
		}
	}
}

// discard is an answer that nobody reads.
type discard struct{ h http.Header }

func (d discard) Header() http.Header       { return d.h }
func (discard) Write(b []byte) (int, error) { return len(b), nil }
func (discard) WriteHeader(int)             {}
