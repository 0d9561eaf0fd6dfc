package web

import (
	"fmt"
	"net/url"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"endshake/schedule"
)

// evil tries to be more than words in an element, an attribute, an address, a
// template and a style sheet.
const evil = `"'><x-evil onclick=alert(1)>&lt;{{.}}</td></textarea></title>` + "\u202e" + `javascript:alert(2);}*{display:none`

// keys are the fields that name something, which a fleet's own rules keep to
// small letters; they are left alone so that the pages can be found.
var keys = []string{"Slug", "Code", "Zone", "Site", "Person", "Train", "Bearing", "ID", "Clock", "By", "Replaces", "Subject"}

// spoil puts evil after every text below v that is no key and no word of a
// fixed list, and counts how many there are.
func spoil(v reflect.Value) (n int) {
	switch v.Kind() {
	case reflect.Pointer:
		if !v.IsNil() {
			n = spoil(v.Elem())
		}
	case reflect.Slice:
		for i := range v.Len() {
			n += spoil(v.Index(i))
		}
	case reflect.Struct:
		if v.Type() == reflect.TypeFor[time.Time]() {
			return 0
		}
		for i := range v.NumField() {
			if f := v.Type().Field(i); f.IsExported() && (v.Field(i).Kind() != reflect.String || !slices.Contains(keys, f.Name)) {
				n += spoil(v.Field(i))
			}
		}
	case reflect.String:
		if v.Type() == reflect.TypeFor[string]() {
			v.SetString(v.String() + evil)
			n++
		}
	}
	return n
}

// spoilt is the fixture with evil in every field of its fleet, log and post.
func spoilt(t *testing.T) site {
	d, n := cared(), 0
	n += spoil(reflect.ValueOf(&d.f.fleet))
	for clock := range d.f.log {
		entries := d.f.log[clock]
		n += spoil(reflect.ValueOf(&entries))
	}
	d.teach(taught(true))
	from := cared().snap // what is known by hand is lost where the fleet is assessed
	for i := range d.snap.Clocks {
		a, by := &d.snap.Clocks[i], from.Clocks[i]
		a.Locks, a.Flags, a.Oils, a.Lines, a.Time, a.Change = by.Locks, by.Flags, by.Oils, by.Lines, by.Time, by.Change
		a.Clock.Care = by.Clock.Care
		for _, v := range []any{&a.Locks, &a.Flags, &a.Oils, &a.Lines, &a.Time, &a.Change, &a.Clock.Care, &a.Tasks} {
			n += spoil(reflect.ValueOf(v))
		}
		n += spoil(reflect.ValueOf(&d.snap.Clocks[i].Problems))
		d.snap.Clocks[i].Problems = append(d.snap.Clocks[i].Problems, evil)
	}
	s := siteOf(t, d)
	d.marks = []schedule.RoundMark{{Kind: schedule.BarVisit, Site: "quay", Person: "tom", Day: d.snap.Today().Add(20), Why: evil, By: "tom", At: now}}
	n += spoil(reflect.ValueOf(&s.post.notices[0].Title)) + spoil(reflect.ValueOf(&s.post.notices[0].Reply))
	s.post.notices[1].Title, s.post.notices[1].Reply = evil, evil
	s.post.notices[2].Person = evil
	if n < 200 {
		t.Fatalf("only %d fields were spoilt", n)
	}
	return s
}

// W03 to W08: every page that can be reached, with hostile text in every field.
func TestHostileTextOnEveryPage(t *testing.T) {
	s := spoilt(t)
	seen, shown := map[string]bool{}, 0
	for queue := []string{"/"}; len(queue) > 0; queue = queue[1:] {
		path := queue[0]
		if seen[path] || strings.HasPrefix(path, "/static/") || strings.HasSuffix(path, "/html") || strings.Contains(path, "as=pdf") || ofAPI(path) { // no pages
			continue
		}
		seen[path] = true
		res, body := get(t, s, path)
		if res.StatusCode != 200 {
			t.Errorf("%s answers %d", path, res.StatusCode)
			continue
		}
		checkPage(t, path, body)
		checkTame(t, path, body)
		if strings.Contains(body, "x-evil") {
			shown++
		}
		queue = append(queue, links(t, path, body)...)
	}
	if len(seen) < 60 || shown < 50 {
		t.Errorf("%d pages, and %d of them show what was written: want it shown as words", len(seen), shown)
	}
}

// checkTame looks for what hostile text would have become.
func checkTame(t *testing.T, path, body string) {
	t.Helper()
	for _, n := range nodes(t, body) {
		if n.Data == "x-evil" {
			t.Errorf("%s: a text became an element", path)
		}
		for _, a := range n.Attr {
			low := strings.ToLower(a.Val)
			if (a.Key == "href" || a.Key == "action" || a.Key == "src") && (strings.HasPrefix(low, "javascript:") || strings.HasPrefix(low, "//")) {
				t.Errorf("%s: %s leads to %q", path, a.Key, a.Val)
			}
			if strings.Contains(a.Key, "evil") || strings.Contains(a.Key, "<") {
				t.Errorf("%s: a text became the attribute %q", path, a.Key)
			}
		}
	}
}

// W01, W07: addresses that were typed or forged answer with a whole page that repeats
// nothing of theirs as markup.
func TestHostileAddresses(t *testing.T) {
	s := newSite(t)
	for _, form := range []struct {
		path string // with a %s for the text
		want int
	}{
		{"/%s", 404}, {"/clock/%s", 404}, {"/clock/mill/bearing/%s", 404}, {"/clock/%s/log", 404}, {"/mail/%s", 404}, {"/mail/%s/html", 404},
		{"/arrived/%s", 404}, {"/arrived/%s/html", 404}, {"/static/%s/endshake.css", 404}, {"/static/0/%s", 404},
		{"/rounds/%s/2026-12-03", 404}, {"/rounds/tom/%s", 404}, {"/rounds?months=%s", 200}, {"/rounds?person=%s", 200}, {"/rounds?did=not&who=%s", 200}, {"/rounds?did=set&site=%s&day=2026-12-03&who=tom", 200},
		{"/due?person=%s", 200}, {"/due?kind=%s", 200}, {"/clock/mill?before=%s", 200}, {"/clock/mill?logged=%s", 200},
		{"/clock/mill/log?kind=%s", 200}, {"/clock/mill/log?kind=wound&train=%s", 200}, {"/clock/mill/log?kind=measured&bearing=%s", 200},
		{"/clock/mill/log?kind=noted&by=%s", 200}, {"/clock/mill/log?replaces=%s", 404}, {"/mail/m1?again=%s", 200}, {"/reckoner?x=%s", 200}, {"/reckoner/%s", 404},
		{"/clock/mill/bearing/centre-front?washer=%s", 422}, {"/clock/mill/bearing/centre-front?pair=%s", 422}, {"/clock/mill/bearing/centre-front?oilDays=%s", 422},
	} {
		for _, text := range []string{evil, "\x00", "\xff\xfe", "..", "a b", strings.Repeat("x", 4000), "%2e%2e"} {
			path := fmt.Sprintf(form.path, url.PathEscape(text))
			if strings.Contains(form.path, "?") {
				path = fmt.Sprintf(form.path, url.QueryEscape(text))
			}
			res, body := get(t, s, path)
			if res.StatusCode == 307 && text == ".." {
				continue // the mux cleans the path
			}
			if res.StatusCode != form.want {
				t.Errorf("%.60s answers %d, want %d", path, res.StatusCode, form.want)
			}
			checkPage(t, path, body)
			checkTame(t, path, body)
		}
	}
}

// Pages of one clock are not found under another.
func TestBearingsOfOtherClocks(t *testing.T) {
	s := newSite(t)
	for path, want := range map[string]int{
		"/clock/corn-hall/bearing/hammer-front": 200, "/clock/quay/bearing/hammer-front": 404, // the quay clock does not strike
		"/clock/corn-hall/bearing/": 404, "/clock/corn-hall/bearing": 404, "/clock/": 404, "/clock": 404,
		"/clock/CORN-HALL": 404, "/clock/corn-hall/": 404, "/clock/corn-hall/log/": 404, "/due/": 404, "/mail/": 404, "/help/x": 404,
	} {
		res, body := get(t, s, path)
		if res.StatusCode != want {
			t.Errorf("%s answers %d, want %d", path, res.StatusCode, want)
		}
		checkPage(t, path, body)
	}
	// An entry of one clock cannot be corrected in the log of another.
	id := s.desk.f.log["mill"][0].ID
	if res, _ := get(t, s, "/clock/mill/log?replaces="+id); res.StatusCode != 200 {
		t.Errorf("its own entry answers %d", res.StatusCode)
	}
	if res, _ := get(t, s, "/clock/quay/log?replaces="+id); res.StatusCode != 404 {
		t.Errorf("another clock's entry answers %d", res.StatusCode)
	}
	v := url.Values{"kind": {"noted"}, "note": {"x"}, "at": {"2026-11-24T09:00"}, "replaces": {id}, "why": {"to see"}}
	if res, body := send(t, s, "/clock/quay/log", v); res.StatusCode/100 != 4 || len(s.desk.logged) > 0 {
		t.Errorf("correcting another clock's entry answers %d: %s", res.StatusCode, body)
	}
}

// Windows of tasks run over changes of clocks and midnights: what a page says
// of days is counted on the calendar of the clock's own wall, not in hours.
func TestDaysOnPagesAcrossChangesOfClocks(t *testing.T) {
	for _, at := range []string{"2026-03-28T23:30:00Z", "2026-03-29T00:30:00Z", "2026-10-24T23:30:00Z", "2026-10-25T00:30:00Z", "2026-11-01T04:30:00Z", "2026-12-31T23:59:00Z"} {
		when, err := time.Parse(time.RFC3339, at)
		if err != nil {
			t.Fatal(err)
		}
		d := newDesk()
		d.now = when
		d.snap = schedule.Survey(d.f.fleet, d.f.log, schedule.Model{}, when)
		s, seen := siteOf(t, d), 0
		for _, a := range d.snap.Clocks {
			_, body := get(t, s, "/clock/"+a.Clock.Slug)
			text := strings.Join(strings.Fields(body), " ")
			for _, task := range a.Tasks {
				window := fmt.Sprintf("from %s to %s, due %s", task.From.Words(), task.Latest.Words(), task.Due.Words())
				if !strings.Contains(text, window) {
					t.Errorf("%s at %s: the page does not show the window %s", a.Clock.Slug, at, window)
				}
				day, words := task.Due, "Due %s, in %s."
				if task.State == schedule.Ahead {
					day, words = task.From, "May be done from %s, in %s."
				}
				n := midnights(when.In(a.Zone), day)
				if task.State == schedule.Late || task.State == schedule.Resting || n <= 0 {
					continue
				}
				seen++
				if want := fmt.Sprintf(words, day.Words(), schedule.Days(n)); !strings.Contains(text, want) {
					t.Errorf("%s at %s: the page does not say %q", a.Clock.Slug, at, want)
				}
			}
		}
		if seen == 0 {
			t.Errorf("at %s no task has days to go", at)
		}
	}
}

// midnights counts by walking how many days lie ahead until a date begins.
func midnights(from time.Time, to schedule.Date) (n int) {
	y, m, d := from.Date()
	for t := time.Date(y, m, d, 12, 0, 0, 0, from.Location()); n < 5000; n++ {
		if ty, tm, td := t.Date(); (schedule.Date{Year: ty, Month: tm, Day: td}) == to {
			return n
		}
		t = t.AddDate(0, 0, 1)
	}
	return -1
}
