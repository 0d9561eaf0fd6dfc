package web

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"endshake/daemon/web/api"
	"endshake/schedule"
)

// takenAway is what the file of an export holds.
type takenAway struct {
	AsOf  time.Time       `json:"asOf"`
	Fleet json.RawMessage `json:"fleet"`
	Logs  []api.Log       `json:"logs"`
}

// exported reads an export as whoever gets it does: the fleet by ParseFleet.
func exported(t *testing.T, body string) (schedule.Fleet, takenAway) {
	t.Helper()
	var out takenAway
	if err := json.Unmarshal([]byte(body), &out); err != nil {
		t.Fatalf("%v in %.300s", err, body)
	}
	f, err := schedule.ParseFleet(out.Fleet)
	if err != nil {
		t.Fatal(err)
	}
	return f, out
}

// What one takes away: the conservator the whole fleet, an owner their clocks with
// no address, and who only looks after one, or is nobody, nothing. It is audited
// before it goes. (OWASP WSTG 4.5.2: what is others' is not given by another way in.)
func TestExport(t *testing.T) {
	var audited []string
	e := strangers(t, func(o *Options) {
		o.Exported = func(_ context.Context, actor string, clocks []string) error {
			audited = append(audited, actor+" "+strings.Join(clocks, ","))
			return nil
		}
	})
	for _, who := range []string{"edda", "owen"} {
		audited = nil
		b := e.in(who)
		for _, path := range map[string][]string{"owen": {"/me"}, "edda": {"/people", "/me"}}[who] {
			if _, body := b.get(path); !strings.Contains(body, `href="/export"`) {
				t.Errorf("%s of %s does not lead to it", path, who)
			}
		}
		res, body := b.get("/export")
		status(t, "the page for "+who, res, 200, "")
		checkPage(t, "/export", body)
		if len(audited) > 0 {
			t.Errorf("looking at the page is audited: %v", audited)
		}
		res, body = b.send("/export", nil)
		status(t, who, res, 200, "")
		if h := res.Header; h.Get("Cache-Control") != "no-store" || !strings.HasPrefix(h.Get("Content-Disposition"), "attachment; ") || !strings.HasPrefix(h.Get("Content-Type"), "application/json") {
			t.Errorf("%s gets it with %v", who, h)
		}
		f, out := exported(t, body)
		clocks, addresses, strange := len(f.Clocks), strings.Count(body, "@example.org"), strings.Contains(strings.ToLower(body), mark)
		if who == "edda" && (clocks != 3 || addresses < 4 || !strange || !slices.Equal(audited, []string{"edda corn-hall,mill,zqxvqclock"}) && len(strings.Split(audited[0], ",")) != 3) {
			t.Errorf("the conservator gets %d clocks, %d addresses; audited %v", clocks, addresses, audited)
		}
		if who == "owen" && (clocks != 1 || addresses != 0 || strange || !slices.Equal(audited, []string{"owen corn-hall"}) || len(f.Sites) != 1) {
			t.Errorf("the owner gets %d clocks, %d addresses, of others %v; audited %v", clocks, addresses, strange, audited)
		}
		if !out.AsOf.Equal(e.desk.now.Truncate(time.Second)) || len(out.Logs) != clocks || len(out.Logs[0].Entries) != len(e.desk.f.log["corn-hall"]) || out.Logs[0].Clock != "corn-hall" {
			t.Errorf("%s gets logs of %d clocks, the first with %d entries", who, len(out.Logs), len(out.Logs[0].Entries))
		}
		list := e.desk.f.log["corn-hall"]
		if first, last := out.Logs[0].Entries[0], list[len(list)-1]; first.ID != last.ID || first.Kind != last.Kind || !first.At.Equal(last.At) {
			t.Errorf("the first entry is %+v, want %+v", first, last)
		}
	}
	audited = nil
	for _, who := range []string{"kim", "wyn"} {
		b := e.in(who)
		for _, res := range []*http.Response{justThe(b.get("/export")), justThe(b.send("/export", nil))} {
			status(t, who, res, 403, "")
		}
		if _, body := b.get("/me"); strings.Contains(body, "/export") {
			t.Errorf("the page of %s leads to what they may not do", who)
		}
	}
	b := e.browser()
	status(t, "nobody", justThe(b.get("/export")), 303, "/login?to=%2Fexport")
	status(t, "nobody", justThe(b.send("/export", nil)), 401, "")
	if len(audited) > 0 {
		t.Errorf("refused, and audited: %v", audited)
	}
}

func justThe(res *http.Response, _ string) *http.Response { return res }

// It is given to whoever gave the password lately and asks from these pages, and
// not where it cannot be audited; what breaks off does not look whole.
func TestExportRefused(t *testing.T) {
	var audits int
	var auditErr, logErr error
	e := strangers(t, func(o *Options) {
		o.Exported = func(context.Context, string, []string) error { audits++; return auditErr }
		o.History = func(context.Context, string) ([]schedule.Entry, error) { return nil, logErr }
	})
	b := e.in("edda")
	b.head.Set("Origin", "https://elsewhere.example.org")
	b.head.Set("Sec-Fetch-Site", "cross-site")
	res, _ := b.send("/export", nil)
	status(t, "from another site", res, 403, "")
	b.head.Del("Origin")
	b.head.Del("Sec-Fetch-Site")
	e.desk.now = e.desk.now.Add(sureFor + time.Minute)
	res, _ = b.send("/export", nil)
	status(t, "without the password once more", res, 303, "/login/again?to=%2Fexport")
	if _, body := b.get("/export"); !strings.Contains(body, "Give your password") || strings.Contains(body, "<button type=\"submit\">Give me") {
		t.Error("the button stands there before the password is given")
	}
	if audits > 0 {
		t.Error("refused, and audited")
	}
	res, _ = b.send("/login/again", url.Values{"password": {goodWord}, "to": {"/export"}})
	status(t, "the password", res, 303, "/export")
	auditErr = errors.New("disk full")
	res, body := b.send("/export", nil)
	if status(t, "what cannot be audited", res, 500, ""); strings.Contains(body, `"fleet"`) {
		t.Error("it was given all the same")
	}
	auditErr, logErr = nil, errors.New("the log is away")
	broken := false
	func() {
		defer func() { broken = recover() == http.ErrAbortHandler }()
		b.send("/export", nil)
	}()
	if !broken {
		t.Error("an export without a log ended as if it were whole")
	}
	for _, path := range []string{"/export"} { // no service that audits it, no export
		other := strangers(t, func(o *Options) { o.Exported = nil })
		status(t, path, justThe(other.in("edda").get(path)), 404, "")
	}
}
