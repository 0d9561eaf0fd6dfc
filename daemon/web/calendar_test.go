package web

import (
	"bytes"
	"fmt"
	"net/http/httptest"
	"os"
	"os/exec"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/emersion/go-ical"

	"endshake/schedule"
)

// events fetches a calendar and takes it apart with the library's own reader.
func events(t *testing.T, s site, path string) (raw string, out []ical.Event) {
	t.Helper()
	res, raw := get(t, s, path)
	if res.StatusCode != 200 || res.Header.Get("Content-Type") != "text/calendar; charset=utf-8" || res.Header.Get("Referrer-Policy") != "no-referrer" {
		t.Fatalf("%s answers %d, %v", path, res.StatusCode, res.Header)
	}
	for i, line := range strings.Split(strings.TrimSuffix(raw, "\r\n"), "\r\n") {
		if len(line) > 75 || strings.ContainsAny(line, "\r\n") || strings.ToValidUTF8(line, "?") != line {
			t.Fatalf("line %d is no line of RFC 5545 3.1: %q", i+1, line)
		}
	}
	cal, err := ical.NewDecoder(strings.NewReader(raw)).Decode()
	if err != nil {
		t.Fatal(err)
	}
	return raw, cal.Events()
}

func text(t *testing.T, e ical.Event, name string) string {
	t.Helper()
	v, err := e.Props.Text(name)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func following(person string) schedule.Pass {
	return schedule.Pass{Deed: schedule.Following, Person: person}
}

// The calendar holds the tasks of one person's clocks on the days that the
// due-list names, and when each train stops.
func TestCalendar(t *testing.T) {
	s := newSite(t)
	path := "/calendar/" + s.links.give(following("eve")) + ".ics"
	if _, all := events(t, s, path); len(all) == 0 || slices.ContainsFunc(all, func(e ical.Event) bool { return !strings.Contains(text(t, e, "SUMMARY"), "<script>alert(1)") }) {
		t.Errorf("Eve's calendar is not of her one clock: %d events", len(all))
	}
	raw, all := events(t, s, "/calendar/"+s.links.give(following("tom"))+".ics")
	if strings.Contains(raw, "script") || strings.Contains(raw, "edda") || strings.Contains(raw, "METHOD") || strings.Contains(raw, "ATTENDEE") {
		t.Error("Tom's calendar tells of what is not his")
	}
	by := map[string]ical.Event{}
	for _, e := range all {
		if _, twice := by[text(t, e, "UID")]; twice {
			t.Errorf("two events have the UID %s", text(t, e, "UID"))
		}
		by[text(t, e, "UID")] = e
	}
	today := schedule.Date{Year: 2026, Month: 11, Day: 25}
	seen := 0
	for _, task := range s.desk.snap.DueList().Tasks {
		a, _ := s.desk.snap.Clock(task.Clock)
		e, there := by[schedule.EventUID(task.Clock, task.Kind, task.Subject)]
		if slices.Contains(task.People, "tom") && !a.Clock.Has("tom") {
			t.Errorf("%s of %s is asked of somebody without a role there", task.Kind, task.Clock)
		}
		wanted := slices.Contains(task.People, "tom") && task.State != schedule.Resting && !task.Due.After(today.Add(feedDays))
		if there != wanted {
			t.Errorf("%s, %s of %q: in the calendar %v, want %v", task.Clock, task.Kind, task.Subject, there, wanted)
		}
		if !there || task.Kind == schedule.TimeChange {
			continue
		}
		seen++
		first, last := task.Due, task.Latest
		if task.State == schedule.Late {
			first, last = today, today
		}
		if last.After(today.Add(feedDays)) {
			last = today.Add(feedDays)
		}
		from, to := e.Props.Get("DTSTART"), e.Props.Get("DTEND")
		stamp := func(d schedule.Date) string { return strings.ReplaceAll(d.String(), "-", "") }
		if from.Value != stamp(first) || to.Value != stamp(last.Add(1)) || from.Params.Get("VALUE") != "DATE" {
			t.Errorf("%s, %s: from %s until before %s, want %s to %s", task.Clock, task.Kind, from.Value, to.Value, first, last)
		}
		for _, words := range []string{task.Reason, "Caution: "} {
			if !strings.Contains(text(t, e, "DESCRIPTION"), words) {
				t.Errorf("%s, %s does not say %q: %s", task.Clock, task.Kind, words, text(t, e, "DESCRIPTION"))
			}
		}
		if url := e.Props.Get("URL"); url == nil || url.Value != "https://clocks.example.org/clock/"+task.Clock {
			t.Errorf("%s leads to %+v", task.Kind, url)
		}
	}
	if seen < 8 {
		t.Errorf("only %d tasks were looked at", seen)
	}
	a, _ := s.desk.snap.Clock("corn-hall")
	st, _ := a.Train("going")
	stops := by[schedule.EventUID("corn-hall", "stops", "going")]
	if stops.Component == nil || stops.Props.Get("DTSTART").Value != st.Wind.Stops.UTC().Truncate(time.Minute).Format("20060102T150400Z") || stops.Props.Get("DTEND") != nil {
		t.Errorf("the going train stops at %v, and in the calendar %+v", st.Wind.Stops, stops)
	}
	if e := by[schedule.EventUID("corn-hall", schedule.TimeChange, "")]; e.Component == nil || e.Props.Get("DTSTART").Value != "20270328T010000Z" {
		t.Errorf("the change of time: %+v", e) // Europe/London, IANA tz database: the last Sunday of March, 01:00 UTC
	}
}

// A calendar that has not changed is not sent again, and one that was taken back
// is gone.
func TestCalendarIsFetchedAgain(t *testing.T) {
	s := newSite(t)
	p := following("tom")
	token := s.links.give(p)
	path := "/calendar/" + token + ".ics"
	res, _ := get(t, s, path)
	tag := res.Header.Get("ETag")
	r := httptest.NewRequest("GET", path, nil)
	r.Header.Set("If-None-Match", tag)
	if res, body := ask(t, s, r); res.StatusCode != 304 || body != "" || tag == "" {
		t.Errorf("fetched again: %d, %d bytes, ETag %q", res.StatusCode, len(body), tag)
	}
	if res, body := ask(t, s, httptest.NewRequest("HEAD", path, nil)); res.StatusCode != 200 || body != "" || res.Header.Get("ETag") != tag {
		t.Errorf("HEAD: %d", res.StatusCode)
	}
	s.desk.snap = s.desk.snap.With("corn-hall", append(s.desk.f.log["corn-hall"], schedule.Entry{Clock: "corn-hall", Kind: schedule.Wound, At: now, RecordedAt: now}), schedule.Model{}, now)
	if res, _ := ask(t, s, r); res.StatusCode != 200 || res.Header.Get("ETag") == tag {
		t.Errorf("after it was wound: %d", res.StatusCode)
	}
	if res, _ := ask(t, s, httptest.NewRequest("POST", path, nil)); res.StatusCode != 405 {
		t.Errorf("POST: %d", res.StatusCode)
	}
	for name, change := range map[string]func(*schedule.Pass){"taken back": func(p *schedule.Pass) { p.Ended = now }, "who left": func(p *schedule.Pass) { p.Person = "gone" }} {
		p := following("tom")
		change(&p)
		gone := "/calendar/" + s.links.give(p) + ".ics"
		res, body := get(t, s, gone)
		bare(t, gone, res, body)
		if res.StatusCode != 410 {
			t.Errorf("%s: %d", name, res.StatusCode)
		}
	}
}

// many is a snapshot of 2,000 clocks with ten years of tasks each, all Tom's, with
// hostile names.
func many() *schedule.Snapshot {
	d := newDesk()
	a, _ := d.snap.Clock("corn-hall")
	task := a.Tasks[0]
	out := &schedule.Snapshot{Now: now, Fleet: d.f.fleet}
	for i := range 2000 {
		c := a
		c.Clock.Slug = fmt.Sprintf("clock-%d", i)
		c.Clock.Name = "Hall, east; \\ west\r\nRRULE:FREQ=SECONDLY;COUNT=1000000000\r\nATTENDEE:mailto:x@example.net\u202e " + strings.Repeat("鐘", 40)
		c.Tasks, c.Trains = nil, nil
		for j := range 40 {
			x := task
			x.Clock, x.Subject, x.State = c.Clock.Slug, fmt.Sprint("t", j), schedule.Ahead
			x.Reason = "one, two; three \\ four\nBEGIN:VALARM"
			x.From = schedule.Date{Year: 2026, Month: 11, Day: 26}.Add(91 * j)
			x.Due, x.Latest = x.From, x.From.Add(4000)
			c.Tasks = append(c.Tasks, x)
		}
		out.Clocks = append(out.Clocks, c)
	}
	return out
}

// However many clocks and years, a calendar stays small, and whatever stands in
// a name stays words.
func TestCalendarIsBounded(t *testing.T) {
	s := newSite(t)
	s.desk.snap = many()
	raw, all := events(t, s, "/calendar/"+s.links.give(following("tom"))+".ics")
	if len(all) != mostEvents || len(raw) > 4<<20 {
		t.Errorf("%d events, %d bytes", len(all), len(raw))
	}
	for _, e := range all {
		from, to := e.Props.Get("DTSTART").Value, e.Props.Get("DTEND").Value
		if from > "20271230" || to > "20271231" || len(e.Children) > 0 {
			t.Fatalf("an event from %s to %s with %d parts", from, to, len(e.Children))
		}
		for _, name := range []string{"RRULE", "ATTENDEE", "ORGANIZER", "VALARM"} {
			if e.Props.Get(name) != nil {
				t.Fatalf("an event has %s", name)
			}
		}
		if title := text(t, e, "SUMMARY"); !strings.HasPrefix(title, "Hall, east; \\ west RRULE:FREQ=SECONDLY;COUNT=1000000000 ATTENDEE:mailto:x@example.net 鐘鐘") {
			t.Fatalf("title %q", title)
		}
	}
}

// readByAnother reads calendars with a library in another language.
const readByAnother = `
import sys, icalendar
for path in sys.argv[1:]:
    cal = icalendar.Calendar.from_ical(open(path, "rb").read())
    assert cal["VERSION"] == "2.0" and cal["PRODID"]
    events = cal.walk("VEVENT")
    uids = set()
    for e in events:
        assert e["UID"] not in uids and not uids.add(e["UID"])
        assert e["SUMMARY"] and e["DTSTAMP"].dt and e["DTSTART"].dt
        assert not getattr(e, "errors", []), e.errors
        for name in ("RRULE", "ATTENDEE", "ORGANIZER"):
            assert name not in e, name
    assert len(cal.subcomponents) == len(events)
    print(len(events))
`

// The calendars are read as well by a library that is not ours.
func TestCalendarByAnotherReader(t *testing.T) {
	python := ""
	for _, path := range []string{"python3", "/usr/bin/python3"} { // the second is the one that packages are for
		if exec.Command(path, "-c", "import icalendar").Run() == nil {
			python = path
		}
	}
	if python == "" {
		const how = "no icalendar for python3 is installed, so no other program has read a calendar: install the package python3-icalendar"
		if os.Getenv("ENDSHAKE_CI") == "1" {
			t.Fatal(how)
		}
		t.Skip(how)
	}
	var paths, want []string
	dir := t.TempDir()
	for i, snap := range []*schedule.Snapshot{newDesk().snap, many(), {Now: now, Fleet: newDesk().f.fleet}} {
		s := newSite(t)
		s.desk.snap = snap
		raw, all := events(t, s, "/calendar/"+s.links.give(following("tom"))+".ics")
		paths = append(paths, fmt.Sprintf("%s/%d.ics", dir, i))
		want = append(want, fmt.Sprint(len(all)))
		if err := os.WriteFile(paths[i], []byte(raw), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	out, err := exec.Command(python, append([]string{"-c", readByAnother}, paths...)...).CombinedOutput()
	if got := strings.Fields(string(bytes.TrimSpace(out))); err != nil || !slices.Equal(got, want) {
		t.Errorf("%v: %s; want %v", err, out, want)
	}
}
