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

	"endshake/daemon/export"
	"endshake/schedule"
)

// takenAway is what the file of an export holds.
type takenAway struct {
	head    export.Head
	foot    export.Foot
	fleet   schedule.Fleet
	entries []export.Entry
	shown   []export.Picture
}

// exported reads an export as whoever gets it does, line by line.
func exported(t *testing.T, body string) (out takenAway) {
	t.Helper()
	parts := map[string][]json.RawMessage{"sites": {}, "people": {}, "clocks": {}}
	for _, text := range strings.Split(strings.TrimSuffix(body, "\n"), "\n") {
		var l export.Line
		if err := json.Unmarshal([]byte(text), &l); err != nil {
			t.Fatalf("%v in %.300s", err, text)
		}
		switch {
		case l.Head != nil:
			out.head = *l.Head
		case l.Foot != nil:
			out.foot = *l.Foot
		case l.Entry != nil:
			out.entries = append(out.entries, *l.Entry)
		case l.Picture != nil:
			out.shown = append(out.shown, *l.Picture)
		case l.Site != nil:
			parts["sites"] = append(parts["sites"], l.Site)
		case l.Person != nil:
			parts["people"] = append(parts["people"], l.Person)
		case l.Clock != nil:
			parts["clocks"] = append(parts["clocks"], l.Clock)
		}
	}
	file, err := json.Marshal(parts)
	if err == nil {
		out.fleet, err = schedule.ParseFleet(file)
	}
	if err != nil {
		t.Fatal(err)
	}
	if out.foot.Counts["entry"] != len(out.entries) || out.foot.Counts["clock"] != len(out.fleet.Clocks) || out.head.Format != export.Format {
		t.Errorf("head %+v, foot %+v", out.head, out.foot)
	}
	return out
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
		if h := res.Header; h.Get("Cache-Control") != "no-store" || !strings.HasPrefix(h.Get("Content-Disposition"), "attachment; ") || !strings.HasPrefix(h.Get("Content-Type"), "application/x-ndjson") {
			t.Errorf("%s gets it with %v", who, h)
		}
		out := exported(t, body)
		f := out.fleet
		clocks, addresses, strange := len(f.Clocks), strings.Count(body, "@example.org"), strings.Contains(strings.ToLower(body), mark)
		if who == "edda" && (clocks != 3 || addresses < 4 || !strange || !slices.Equal(audited, []string{"edda corn-hall,mill,zqxvqclock"}) && len(strings.Split(audited[0], ",")) != 3) {
			t.Errorf("the conservator gets %d clocks, %d addresses; audited %v", clocks, addresses, audited)
		}
		if who == "owen" && (clocks != 1 || addresses != 0 || strange || !slices.Equal(audited, []string{"owen corn-hall"}) || len(f.Sites) != 1) {
			t.Errorf("the owner gets %d clocks, %d addresses, of others %v; audited %v", clocks, addresses, strange, audited)
		}
		list := e.desk.f.log["corn-hall"]
		var own []export.Entry
		for _, x := range out.entries {
			if x.Clock == "corn-hall" {
				own = append(own, x)
			}
		}
		if !out.head.At.Equal(e.desk.now.Truncate(time.Second)) || len(own) != len(list) {
			t.Fatalf("%s gets at %v %d entries of %d", who, out.head.At, len(own), len(list))
		}
		if first, want := own[0], list[0]; first.ID != want.ID || first.Kind != want.Kind || !first.At.Equal(want.At) {
			t.Errorf("the first entry is %+v, want %+v", first, want)
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
	if status(t, "what cannot be audited", res, 500, ""); strings.Contains(body, `"head"`) {
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

// The history of a clock, for whoever keeps it next: all its entries oldest first,
// corrected ones struck through, and nobody's address; as a file for those alone who
// may take the clock away, audited, also with no address for who runs the fleet.
func TestHistory(t *testing.T) {
	var audited []string
	e := strangers(t, func(o *Options) {
		o.Exported = func(_ context.Context, actor string, clocks []string) error {
			audited = append(audited, actor+" "+strings.Join(clocks, ","))
			return nil
		}
	})
	for _, who := range []string{"edda", "owen", "kim", "wyn"} {
		audited = nil
		b := e.in(who)
		res, body := b.get("/clock/corn-hall/history")
		status(t, who, res, 200, "")
		checkPage(t, "/clock/corn-hall/history", body)
		if n := strings.Count(body, `<tr id="entry-`); n != len(e.desk.f.log["corn-hall"]) || strings.Contains(body, "@example.org") || len(audited) > 0 {
			t.Errorf("%s sees %d entries, with an address: %v; audited %v", who, n, strings.Contains(body, "@example.org"), audited)
		}
		list := e.desk.f.log["corn-hall"]
		if first, last := strings.Index(body, "entry-"+list[0].ID), strings.Index(body, "entry-"+list[len(list)-1].ID); first < 0 || first > last {
			t.Errorf("the first entry stands at %d, the last at %d", first, last)
		}
		may := who == "edda" || who == "owen"
		if strings.Contains(body, "Give me the file") != may {
			t.Errorf("%s is offered the file: %v", who, !may)
		}
		res, body = b.send("/clock/corn-hall/history", nil)
		if !may {
			status(t, who, res, 403, "")
			continue
		}
		status(t, who, res, 200, "")
		out := exported(t, body)
		if len(out.fleet.Clocks) != 1 || len(out.fleet.Sites) != 1 || strings.Contains(body, "@example.org") || out.head.Whole || len(out.entries) != len(list) {
			t.Errorf("%s gets %d clocks and %d entries, with an address: %v", who, len(out.fleet.Clocks), len(out.entries), strings.Contains(body, "@example.org"))
		}
		if !slices.Equal(audited, []string{who + " corn-hall"}) {
			t.Errorf("audited %v", audited)
		}
	}
	for _, who := range []string{"owen", "kim"} {
		status(t, who, justThe(e.in(who).get("/clock/zqxvqclock/history")), 404, "")
	}
}
