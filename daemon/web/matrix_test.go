package web

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"endshake/schedule"
)

// The mark stands in all that belongs to the clock of others, and in nothing else.
const mark = "zqxvq"

// strangers gives a site with corn-hall, which kim keeps, wyn winds and owen owns,
// and with a clock of others, which zqxvqkeeper keeps.
func strangers(t *testing.T, mend ...func(*Options)) *entrance {
	d := newDesk()
	f := d.f
	f.fleet.Clocks = f.fleet.Clocks[:3]
	f.fleet.Sites = f.fleet.Sites[:2]
	for _, p := range []string{"kim", "wyn", "owen"} {
		f.fleet.People = append(f.fleet.People, schedule.Person{Slug: p, Name: "Own " + p, Email: p + "@example.org"})
	}
	f.fleet.People = append(f.fleet.People, schedule.Person{Slug: "zqxvqkeeper", Name: "ZQXVQNAMED", Email: "zqxvqmail@example.org"})
	f.fleet.Clocks[0].Duties = append(f.fleet.Clocks[0].Duties, schedule.Duty{Person: "kim", Role: schedule.Keeper},
		schedule.Duty{Person: "wyn", Role: schedule.Winder}, schedule.Duty{Person: "owen", Role: schedule.Owner})
	site, c := &f.fleet.Sites[1], &f.fleet.Clocks[2]
	site.Slug, site.Name, site.Place, site.Access, site.Caution = "zqxvqsite", "ZQXVQSITE", "ZQXVQPLACE", "ZQXVQACCESS", "ZQXVQCAUTION"
	c.Slug, c.Name, c.Site, c.Note = "zqxvqclock", "ZQXVQCLOCK", "zqxvqsite", "ZQXVQNOTE"
	c.Duties = []schedule.Duty{{Person: "zqxvqkeeper", Role: schedule.Keeper}, {Person: "zqxvqkeeper", Role: schedule.Owner}}
	for i := range c.Trains {
		c.Trains[i].Name = "ZQXVQTRAIN"
		for j := range c.Trains[i].Arbors {
			for k := range c.Trains[i].Arbors[j].Bearings {
				c.Trains[i].Arbors[j].Bearings[k].Name = "ZQXVQBEARING"
			}
		}
	}
	for slug, list := range f.log {
		for i := range list {
			if slug == "quay" {
				list[i].Clock, list[i].By, list[i].Note = "zqxvqclock", "zqxvqkeeper", "ZQXVQENTRY"
			}
		}
	}
	f.log["zqxvqclock"] = f.log["quay"]
	delete(f.log, "quay")
	delete(f.log, "bad")
	d.snap = f.snapshot()
	d.album = []schedule.Picture{
		{ID: "p-own", Clock: "corn-hall", Entry: f.log["corn-hall"][0].ID, At: now, Words: "own", JPEG: []byte("own picture"), Small: []byte("own small")},
		{ID: "p-other", Clock: "zqxvqclock", Entry: f.log["zqxvqclock"][0].ID, At: now, Words: "ZQXVQPICTURE", JPEG: []byte("ZQXVQJPEG"), Small: []byte("ZQXVQSMALL")}}
	e := newEntrance(t, append([]func(*Options){func(o *Options) {
		o.Desk, o.Album, o.History, o.SaveFleet = d, d, d.history, d.save
		o.Now = func() time.Time { return d.now }
		o.Programs, o.Tokens = programOf{}, &handed{}
		o.Audit = func(context.Context, string, int64, int) ([]Change, error) {
			return []Change{{1, now, "zqxvqkeeper", "logged", "clock zqxvqclock", "ZQXVQDETAIL"}}, nil
		}
	}}, mend...)...)
	e.desk = d
	e.book.now = func() time.Time { return d.now }
	e.post.notices[0].Person, e.post.notices[0].Title, e.post.notices[0].Clock = "zqxvqkeeper", "ZQXVQTITLE", "zqxvqclock"
	for _, p := range []string{"kim", "wyn", "owen"} {
		e.lets(p)
	}
	e.lets("edda", runsFleet)
	return e
}

// programOf finds the one program, which may read and log one clock.
type programOf struct{}

func (programOf) Machine(_ context.Context, _ time.Time, token string) (schedule.Machine, error) {
	if token != nthToken(77) {
		return schedule.Machine{}, &schedule.Error{Code: schedule.NotFound, Message: "no program has this token"}
	}
	return schedule.Machine{Name: "gauge", Scopes: []schedule.Scope{schedule.ScopeRead, schedule.ScopeLog}, Clocks: []string{"corn-hall"}}, nil
}

// placed puts values into a pattern: of one's own clock, of the others', or of
// none that is there. ok is false where a pattern has a part that is not known.
func placed(pattern string, e *entrance, which string) (path string, ok bool) {
	in := map[string]map[string]string{
		"own":   {"clock": "corn-hall", "entry": e.desk.f.log["corn-hall"][3].ID, "id": "p-own", "person": "kim"},
		"other": {"clock": "zqxvqclock", "entry": e.desk.f.log["zqxvqclock"][0].ID, "id": "p-other", "person": "zqxvqkeeper"},
		"none":  {"clock": "none-such", "entry": "none-such", "id": "none-such", "person": "none-such"},
	}[which]
	for k, v := range map[string]string{"bearing": "centre-front", "work": "wound", "sheet": "wind", "n": "1", "hash": "0", "name": "endshake.css",
		"token...": "nothing", "file...": "nothing.ics"} {
		in[k] = v
	}
	if strings.HasPrefix(pattern, "/mail/") {
		in["id"] = "m1"
	}
	path = strings.TrimSuffix(pattern, "{$}")
	for k, v := range in {
		path = strings.ReplaceAll(path, "{"+k+"}", v)
	}
	return path, !strings.Contains(path, "{")
}

// asks are the addresses that are asked for: those of the table, and some with a
// query that names what belongs to others.
func asks(e *entrance) []route {
	all := slices.Clone(e.s.routes())
	for _, rt := range slices.Clone(all) {
		if strings.Contains(rt.path, "{") || rt.get == nil {
			continue
		}
		for _, q := range []string{"find=ZQXVQ%25", "find=%27%20OR%201=1--", "person=zqxvqkeeper", "site=zqxvqsite", "clock=zqxvqclock", "kind=post&sort=1;drop", "place=zqxvqsite", "who=zqxvqkeeper",
			"state=%25", "sort=%27", "bearing=zqxvqclock.centre-front", "limit=9999", "cursor=a"} {
			all = append(all, route{rt.path + "?" + q, rt.need, rt.get, nil})
		}
	}
	return all
}

// Every address with every kind of reader, on a clock of their own and on one of
// others: W09, W10, W11 to W18. Nothing of the others' clock leaves, and what
// is asked for by its name is answered as if it were not there.
func TestEveryAddressWithEveryReader(t *testing.T) {
	asked, seen := 0, 0
	for _, who := range []string{"edda", "kim", "wyn", "owen", "program", "link", "nobody"} {
		e := strangers(t)
		b := e.browser()
		switch who {
		case "program":
			b.head.Set("Authorization", "Bearer "+nthToken(77))
		case "edda", "kim", "wyn", "owen":
			b = e.in(who)
		}
		for _, rt := range asks(e) {
			if rt.path == "/logout" || strings.HasPrefix(rt.path, "/login") || strings.HasPrefix(rt.path, "/forgot") || strings.HasPrefix(rt.path, "/me/codes") { // what is random there holds anything at times
				continue
			}
			for _, method := range []string{"GET", "HEAD", "POST"} {
				if method == "POST" && (rt.post == nil || strings.HasPrefix(rt.path, "/me")) || method != "POST" && rt.get == nil {
					continue
				}
				asked++
				if e.answers(b, who, rt, method) {
					seen++
				}
			}
		}
		for _, entry := range e.desk.logged {
			if entry.Clock != "corn-hall" && who != "edda" {
				t.Errorf("%s has logged on %s", who, entry.Clock)
			}
		}
		if who != "edda" && len(e.desk.saved)+len(e.post.resent)+len(e.book.letters) > 0 {
			t.Errorf("%s has changed what only a conservator may: %v %v", who, e.desk.saved, e.post.resent)
		}
	}
	if asked < 1500 || seen < 30 {
		t.Errorf("%d were asked for, and the conservator saw the others' clock %d times: the test shows nothing", asked, seen)
	}
}

// answers asks for one address on either clock and checks what comes. It reports
// whether anything of the others' clock came.
func (e *entrance) answers(b *visit, who string, rt route, method string) (seen bool) {
	t := e.t
	var form url.Values
	if method == "POST" {
		form = url.Values{"kind": {"wound"}, "at": {"2026-11-24T09:00"}, "by": {""}, "act": {"give"}, "clock": {"zqxvqclock"}, "role": {"keeper"}}
	}
	do := func(which string) (*http.Response, string, string) {
		path, ok := placed(rt.path, e, which)
		if !ok {
			t.Errorf("the test does not know all parts of %s", rt.path)
		}
		res, body := b.do(method, path, form)
		return res, body, path
	}
	what := fmt.Sprintf("%s %s by %s", method, rt.path, who)
	other, body, at := do("other")
	own, ownBody, _ := do("own")
	if who == "edda" {
		if strings.Contains(strings.ToLower(body), mark+"clock") {
			return true
		}
		if other.StatusCode >= 500 || own.StatusCode >= 500 {
			t.Errorf("%s answers %d and %d", what, other.StatusCode, own.StatusCode)
		}
		return false
	}
	for i, text := range []string{body, ownBody} {
		low := strings.ToLower(text + fmt.Sprint([]http.Header{other.Header, own.Header}[i]))
		for _, echoed := range []string{"zqxvqclock.centre-front", "zqxvqclock", "zqxvqkeeper", "zqxvqsite", "zqxvq%25", "zqxvq%"} {
			if strings.Contains(strings.ToLower(at), strings.ToLower(echoed)) {
				low = strings.ReplaceAll(low, echoed, "")
			}
		}
		if at := strings.Index(low, mark); at >= 0 {
			t.Errorf("%s tells of the others' clock: %.120s", what, low[max(0, at-40):])
		}
	}
	e.checkLeave(what, who, rt, own, other)
	if path, _ := placed(rt.path, e, "none"); path != at && known404(other) {
		none, noneBody, _ := do("none")
		echo := strings.NewReplacer("zqxvqclock", "none-such", "zqxvqkeeper", "none-such", "p-other", "none-such", e.desk.f.log["zqxvqclock"][0].ID, "none-such")
		if none.StatusCode != other.StatusCode || echo.Replace(body) != noneBody {
			t.Errorf("%s answers %d for the others' and %d for what is not there, or in other words: %s\n%s", what, other.StatusCode, none.StatusCode, body, noneBody)
		}
	}
	return false
}

// known404 reports whether an answer is that there is nothing.
func known404(r *http.Response) bool { return r.StatusCode == http.StatusNotFound }

// checkLeave holds an answer to what the route needs.
func (e *entrance) checkLeave(what, who string, rt route, own, other *http.Response) {
	t := e.t
	in := slices.Contains([]string{"kim", "wyn", "owen"}, who) || who == "program" && ofAPI(strings.Split(rt.path, "?")[0])
	named := strings.Contains(rt.path, "{clock}") || strings.HasPrefix(rt.path, "/picture/")
	switch {
	case own.StatusCode >= 500 || other.StatusCode >= 500:
		t.Errorf("%s answers %d and %d", what, own.StatusCode, other.StatusCode)
	case rt.need == public || rt.need == visitor:
		if own.StatusCode == 303 || strings.HasPrefix(rt.path, "/answer") && own.StatusCode != 404 && own.StatusCode != 429 {
			t.Errorf("%s answers %d", what, own.StatusCode)
		}
	case !in && own.StatusCode != 303 && own.StatusCode != 401:
		t.Errorf("%s answers %d to whoever is not logged in", what, own.StatusCode)
	case in && slices.Contains([]schedule.Action{schedule.RunMail, schedule.RunPeople, schedule.ReadAudit}, rt.need) && (own.StatusCode != 403 || other.StatusCode != 403):
		t.Errorf("%s answers %d and %d, want 403", what, own.StatusCode, other.StatusCode)
	case in && named && other.StatusCode != 404 && other.StatusCode != 405:
		t.Errorf("%s answers %d for the clock of others", what, other.StatusCode)
	}
}
