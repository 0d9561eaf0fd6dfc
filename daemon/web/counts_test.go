package web

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"endshake/schedule"
)

// crowd puts n clocks of others beside those of a desk: enough for lists of two
// pages, each with a log and with work that is due.
func crowd(d *desk, n int) {
	f := d.f
	i := slices.IndexFunc(f.fleet.Clocks, func(c schedule.Clock) bool { return c.Slug == "zqxvqclock" })
	for k := range n {
		c := f.fleet.Clocks[i]
		c.Slug, c.Name = fmt.Sprintf("zqxvqclock-%d", k), fmt.Sprintf("ZQXVQCLOCK %d", k)
		f.fleet.Clocks = append(f.fleet.Clocks, c)
		for _, e := range f.log["zqxvqclock"] {
			e.ID, e.Clock = fmt.Sprintf("%s-%d", e.ID, k), c.Slug
			f.log[c.Slug] = append(f.log[c.Slug], e)
		}
		f.read(1400, c.Slug, "centre-front", .5)
		f.read(400, c.Slug, "centre-front", .9)
	}
	d.snap = f.snapshot()
}

// alone leaves a desk with corn-hall, and with nobody who does not look after it.
func alone(d *desk) {
	f := d.f
	f.fleet.Clocks = f.fleet.Clocks[:1]
	f.fleet.Sites = f.fleet.Sites[:1]
	f.fleet.People = slices.DeleteFunc(f.fleet.People, func(p schedule.Person) bool { return !f.fleet.Clocks[0].Has(p.Slug) })
	for slug := range f.log {
		if slug != "corn-hall" {
			delete(f.log, slug)
		}
	}
	d.snap = f.snapshot()
}

// listNames are the names that the lists have in their addresses, each with a value
// of what is a reader's own and one of what is of others.
var listNames = map[string]map[string][2]string{
	"/{$}": {"q": {"corn", "ZQXVQ"}, "person": {"kim", "zqxvqkeeper"}, "place": {"corn-hall", "zqxvqsite"}, "state": {"open", "resting"}, "order": {"name", "worst"}, "page": {"1", "2"}},
	"/due": {"q": {"corn", "ZQXVQ"}, "person": {"kim", "zqxvqkeeper"}, "place": {"corn-hall", "zqxvqsite"}, "state": {"late", "resting"}, "kind": {"oiling", "measuring"},
		"order": {"place", "pressing"}, "page": {"1", "2"}},
	"/rounds":     {"months": {"1", "12"}, "person": {"kim", "zqxvqkeeper"}},
	"/me/rounds":  {},
	"/compare":    {"kind": {"steel on brass | indoors | by run-hours | rate from physics", "x"}},
	"/labels":     {"from": {"0", "48"}},
	"/timechange": {"day": {"2026-10-25", "2027-03-14"}},
	"/report":     {"owner": {"all", "zqxvqkeeper"}, "from": {"2026-01-01", "2026-02-01"}, "until": {"2026-11-01", "2026-11-02"}, "as": {"", "pdf"}},
	"/outlook":    {}, "/help": {}, "/reckoner": {},
	"/api/fleet": {"find": {"corn", "ZQXVQ"}, "site": {"corn-hall", "zqxvqsite"}, "kind": {"turret", "post"}, "state": {"late", "resting"}, "limit": {"1", "1000"}, "cursor": {"a", "zqxvqclock"}},
	"/api/due": {"clock": {"corn-hall", "zqxvqclock"}, "person": {"kim", "zqxvqkeeper"}, "kind": {"oiling", "measuring"}, "state": {"late", "resting"},
		"limit": {"1", "1000"}, "cursor": {"0", "5"}},
	"/api/outlook": {}, "/api/lesson": {},
	"/clock/corn-hall": {"before": {"e010", "e200"}}, "/clock/corn-hall/bearing/centre-front": {}, "/clock/corn-hall/card": {}, "/clock/corn-hall/label": {},
	"/api/clocks/corn-hall/log": {"limit": {"2", "1000"}}, "/api/clocks/corn-hall": {}, "/api/clocks/corn-hall/bearings": {},
}

// W09, W14 and W17: whoever looks after one clock reads the same, to the letter,
// whether sixty clocks of others stand beside it or none: lists, their counts and
// pages, filters, the calendar. So nothing can be told from it of the others, not
// even how many they are.
func TestOthersMakeNoDifference(t *testing.T) {
	crowded, single := strangers(t), strangers(t)
	crowd(crowded.desk, 60)
	alone(single.desk)
	// Somebody logs something there meanwhile.
	crowded.desk.snap = crowded.desk.snap.With("zqxvqclock-3", crowded.desk.f.log["zqxvqclock-3"], schedule.Model{}, now.Add(5*time.Minute))
	for _, who := range []string{"kim", "wyn", "owen", "program"} {
		a, b := crowded.reader(who), single.reader(who)
		for path, names := range listNames {
			if who == "program" && !ofAPI(path) {
				continue
			}
			asks := []string{""}
			for name, values := range names {
				for _, v := range values {
					asks = append(asks, "?"+url.Values{name: {v}}.Encode())
				}
			}
			for _, q := range asks {
				at := strings.TrimSuffix(path, "{$}") + q
				with, body := a.get(at)
				without, same := b.get(at)
				if with.StatusCode != without.StatusCode || body != same {
					t.Errorf("%s by %s tells whether there are others: %d and %d\n%s", at, who, with.StatusCode, without.StatusCode, differing(body, same))
				}
			}
		}
	}
	for _, e := range []*entrance{crowded, single} {
		e.passes("own")
	}
	at := crowded.placed("/calendar/{file...}", "link", "own")
	with, body := crowded.browser().get(at)
	if without, same := single.browser().get(at); with.StatusCode != 200 || without.StatusCode != 200 || body != same || !strings.Contains(body, "BEGIN:VEVENT") {
		t.Errorf("the calendar tells whether there are others: %d, %d\n%s", with.StatusCode, without.StatusCode, differing(body, same))
	}
}

// differing is where two texts begin to differ.
func differing(a, b string) string {
	i := 0
	for i < min(len(a), len(b)) && a[i] == b[i] {
		i++
	}
	from := max(0, i-80)
	return fmt.Sprintf("%.240s\n%.240s", a[from:], b[from:])
}

// The names that the tests ask lists by are ones that the lists have: each makes a
// difference to whoever runs the fleet.
func TestListNamesAreRead(t *testing.T) {
	e := strangers(t)
	crowd(e.desk, 60)
	b := e.in("edda")
	for path, names := range listNames {
		for name, values := range names {
			at := strings.TrimSuffix(path, "{$}")
			_, one := b.get(at + "?" + url.Values{name: {values[0]}}.Encode())
			_, two := b.get(at + "?" + url.Values{name: {values[1]}}.Encode())
			if one == two {
				t.Errorf("%s does not read %s: %q and %q come to the same", path, name, values[0], values[1])
			}
		}
	}
}

// What lists count is what their reader may see: of 63 clocks a keeper has one.
func TestListsCountOnesOwn(t *testing.T) {
	e := strangers(t)
	crowd(e.desk, 60)
	hall, _ := e.desk.snap.Clock("corn-hall")
	all := 0
	for _, a := range e.desk.snap.Clocks {
		all += len(a.Tasks)
	}
	year := e.desk.snap.Seen(schedule.Actor{Person: "kim"}).YearAhead().Total.Visits
	if all < 100 || len(hall.Tasks) < 5 || len(hall.Tasks) >= all || year >= e.desk.snap.YearAhead().Total.Visits {
		t.Fatalf("%d tasks of %d: the test shows nothing", len(hall.Tasks), all)
	}
	total := func(b *visit, path string) int {
		res, body := b.get(path)
		var v struct{ Total int }
		if err := json.Unmarshal([]byte(body), &v); err != nil || res.StatusCode != http.StatusOK {
			t.Fatalf("%s: %v, %s", path, err, body)
		}
		return v.Total
	}
	for _, tt := range []struct {
		who           string
		clocks, tasks int
	}{{"edda", 63, all}, {"kim", 1, len(hall.Tasks)}, {"owen", 1, len(hall.Tasks)}, {"wyn", 1, len(hall.Tasks)}, {"program", 1, len(hall.Tasks)}} {
		b := e.reader(tt.who)
		if got := total(b, "/api/fleet"); got != tt.clocks {
			t.Errorf("%s has %d clocks, want %d", tt.who, got, tt.clocks)
		}
		if got := total(b, "/api/due"); got != tt.tasks {
			t.Errorf("%s has %d tasks, want %d", tt.who, got, tt.tasks)
		}
		if tt.who == "program" {
			continue
		}
		if _, body := b.get("/?order=name"); !strings.Contains(body, schedule.Count(tt.clocks, "clock", "clocks")) {
			t.Errorf("the fleet page of %s does not count %d clocks", tt.who, tt.clocks)
		}
		_, body := b.get("/labels")
		if got, want := strings.Count(body, "Code that leads to the page of "), min(tt.clocks, labelsAtOnce); got != want {
			t.Errorf("%s has %d labels, want %d", tt.who, got, want)
		}
		if _, body := b.get("/outlook"); tt.who != "edda" && !strings.Contains(body, "ask for "+schedule.Count(year, "visit", "visits")) {
			t.Errorf("the outlook of %s does not count the %d visits to corn-hall", tt.who, year)
		}
	}
}

// The lesson is of the whole fleet, and all may see what their forecasts rest on
// and how good they were: how many bearings taught, and of what kinds, but not
// whose, and no clock, place or person.
func TestTheLessonNamesNobody(t *testing.T) {
	e := strangers(t)
	crowd(e.desk, 5)
	l, err := schedule.Teach(t.Context(), e.desk.f.fleet, e.desk.f.log, now)
	if err != nil || l.Model.Bearings < 6 {
		t.Fatalf("%d bearings have taught: %v", l.Model.Bearings, err)
	}
	e.desk.teach(l)
	for _, who := range []string{"kim", "owen", "program"} {
		for _, path := range []string{"/api/lesson", "/reckoner", "/compare", "/clock/corn-hall/bearing/centre-front", "/help"} {
			if who == "program" && !ofAPI(path) {
				continue
			}
			res, body := e.reader(who).get(path)
			if res.StatusCode != http.StatusOK {
				t.Errorf("%s answers %s %d", path, who, res.StatusCode)
			}
			e.tells(path+" by "+who, path, res, body)
		}
	}
}
