package web

import (
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"endshake/schedule"
)

// What a form fills in for a correction must read back as the same entry, to
// the second and through the hour that comes twice.
func TestCorrectionChangesNothingByItself(t *testing.T) {
	f := newFixture()
	// In London 01:30 of 25 October 2026 came at 00:30 and again at 01:30 UTC
	// (IANA time zone database).
	twice := time.Date(2026, 10, 25, 1, 30, 40, 0, time.UTC)
	for i, at := range []time.Time{twice.Add(-time.Hour), twice} {
		f.log["corn-hall"] = append(f.log["corn-hall"], schedule.Entry{ID: "twice" + string(rune('0'+i)), Clock: "corn-hall", Kind: schedule.Inspected, At: at, RecordedAt: now})
	}
	f.log["mill"] = append(f.log["mill"], schedule.Entry{ID: "since", Clock: "mill", Kind: schedule.Stopped, At: twice.Add(5 * time.Hour), RecordedAt: now,
		Detail: schedule.Detail{Cause: schedule.Weather, Since: twice}})
	snap, seen := f.snapshot(), 0
	for _, a := range snap.Clocks {
		for _, e := range a.Entries {
			v := valuesOf(e, a.Zone)
			v.Set("replaces", e.ID)
			v.Set("why", "to see")
			got, faults := entryForm{a: a, fleet: snap.Fleet, values: v, now: now}.entry()
			if len(faults) > 0 {
				t.Fatalf("%s %s: %v", a.Clock.Slug, e.ID, faults)
			}
			want := e
			want.ID, want.RecordedAt, want.Source, want.Replaces, want.Why, want.Key = "", time.Time{}, "page", e.ID, "to see", ""
			if words(got) != words(want) {
				t.Errorf("%s\nbecomes\n%s", words(want), words(got))
			}
			seen++
		}
	}
	if seen < 100 {
		t.Errorf("only %d entries were tried", seen)
	}
}

// A time that was changed is what the wall shows, whatever it was before.
func TestCorrectionOfTheTime(t *testing.T) {
	s := newSite(t)
	var old schedule.Entry
	for _, e := range s.desk.f.log["corn-hall"] {
		if e.Kind == schedule.Inspected {
			old = e
		}
	}
	path := "/clock/corn-hall/log"
	_, body := get(t, s, path+"?replaces="+old.ID)
	v := filled(t, body)
	v.Set("why", "another day")
	v.Set("at", "2026-07-01T12:00")
	if res, body := send(t, s, path, v); res.StatusCode != http.StatusSeeOther {
		t.Fatalf("answers %d: %s", res.StatusCode, body)
	}
	if got := s.desk.logged[0].At; !got.Equal(time.Date(2026, 7, 1, 11, 0, 0, 0, time.UTC)) {
		t.Errorf("logged at %v", got)
	}
}

// Somebody stops a clock at 08:00:40, and starts it by the form at 08:00:55:
// the form cannot say the seconds, so its minute means now.
func TestStartedInTheMinuteOfTheStop(t *testing.T) {
	d := newDesk()
	d.now = time.Date(2026, 11, 25, 13, 0, 40, 0, time.UTC) // 08:00 at the quay, five hours west
	s := siteOf(t, d)
	resting, err := d.Log(t.Context(), schedule.Entry{Clock: "quay", Kind: schedule.Started, At: d.now.Add(-time.Hour)})
	if err != nil {
		t.Fatalf("%+v: %v", resting, err)
	}
	if _, err := d.Log(t.Context(), schedule.Entry{Clock: "quay", Kind: schedule.Stopped, At: d.now, Detail: schedule.Detail{Cause: schedule.ByHand}}); err != nil {
		t.Fatal(err)
	}
	_, body := get(t, s, "/clock/quay/log?kind=started")
	v := filled(t, body)
	if v.Get("at") != "2026-11-25T08:00" {
		t.Fatalf("the form begins at %q", v.Get("at"))
	}
	d.now = d.now.Add(15 * time.Second)
	if res, body := send(t, s, "/clock/quay/log", v); res.StatusCode != http.StatusSeeOther {
		t.Fatalf("answers %d: %s", res.StatusCode, body)
	}
	if got := d.logged[len(d.logged)-1]; !got.At.Equal(d.now) || got.At.Location() != time.UTC {
		t.Errorf("logged at %v, want %v", got.At, d.now)
	}
	// A minute that is over is its beginning, as the wall showed it.
	v.Set("kind", "noted")
	v.Set("note", "It goes.")
	d.now = d.now.Add(time.Minute)
	send(t, s, "/clock/quay/log", v)
	if got := d.logged[len(d.logged)-1]; !got.At.Equal(time.Date(2026, 11, 25, 13, 0, 0, 0, time.UTC)) {
		t.Errorf("logged at %v", got.At)
	}
}

// In the second of two hours with one name, now is the second.
func TestNowInAnHourThatComesTwice(t *testing.T) {
	d := newDesk()
	d.now = time.Date(2026, 11, 1, 6, 30, 20, 0, time.UTC) // 01:30 in New York for the second time
	d.snap = schedule.Survey(d.f.fleet, d.f.log, schedule.Model{}, d.now)
	s := siteOf(t, d)
	_, body := get(t, s, "/clock/quay/log?kind=inspected")
	v := filled(t, body)
	v.Set("found", "sound")
	if res, body := send(t, s, "/clock/quay/log", v); res.StatusCode != http.StatusSeeOther {
		t.Fatalf("answers %d: %s", res.StatusCode, body)
	}
	if got := d.logged[0].At; !got.Equal(d.now) {
		t.Errorf("logged at %v, an hour early", got)
	}
}

// Times typed into the form are those of the wall where the clock stands
// (changes of clocks: IANA time zone database).
func TestFormTakesWallTimes(t *testing.T) {
	for _, tc := range []struct{ clock, at, want, says string }{
		{"corn-hall", "2026-07-01T12:00", "2026-07-01T11:00:00Z", ""},
		{"corn-hall", "2026-10-25T01:30", "2026-10-25T00:30:00Z", ""}, // twice: the first
		{"corn-hall", "2026-07-01T12:00:30", "2026-07-01T11:00:30Z", ""},
		{"corn-hall", "2026-03-29T01:30", "", "29 Mar 2026, 01:30 does not exist in Europe/London"},
		{"quay", "2026-11-01T01:30", "2026-11-01T05:30:00Z", ""},
		{"quay", "2026-03-08T02:30", "", "does not exist in America/New_York"},
		{"bad", "2026-03-29T01:30", "2026-03-29T01:30:00Z", ""}, // UTC leaves nothing out
		{"bad", "1066-10-14T09:00", "", "The year 1066 cannot be right"},
		{"bad", "<script>alert(1)</script>", "", "is no date and time"},
	} {
		s := newSite(t)
		res, body := send(t, s, "/clock/"+tc.clock+"/log", url.Values{"kind": {"noted"}, "note": {"x"}, "at": {tc.at}})
		if tc.want == "" {
			if res.StatusCode != 422 || !strings.Contains(body, tc.says) || len(s.desk.logged) > 0 {
				t.Errorf("%s at %s answers %d without %q", tc.clock, tc.at, res.StatusCode, tc.says)
			}
			checkPage(t, tc.at, body)
			continue
		}
		if len(s.desk.logged) != 1 || s.desk.logged[0].At.Format(time.RFC3339) != tc.want {
			t.Errorf("%s at %s: %d, logged %v, want %s", tc.clock, tc.at, res.StatusCode, s.desk.logged, tc.want)
		}
	}
}

// Instants on pages are on the wall where the clock stands, on both sides of a
// change of clocks, and days do not slip at midnight.
func TestPagesShowTheWallOfTheClock(t *testing.T) {
	d := newDesk()
	for _, at := range []string{"2026-10-25T00:30:00Z", "2026-10-25T02:30:00Z", "2026-06-30T23:15:00Z"} {
		when, err := time.Parse(time.RFC3339, at)
		if err != nil {
			t.Fatal(err)
		}
		for _, clock := range []string{"mill", "quay"} {
			if _, err := d.Log(t.Context(), schedule.Entry{Clock: clock, Kind: schedule.Noted, At: when, Note: "seen", By: "edda"}); err != nil {
				t.Fatal(err)
			}
		}
	}
	s := siteOf(t, d)
	for clock, want := range map[string][]string{
		"mill": {"25 Oct 2026, 01:30", "25 Oct 2026, 02:30", "1 Jul 2026, 00:15"},
		"quay": {"24 Oct 2026, 20:30", "24 Oct 2026, 22:30", "30 Jun 2026, 19:15"},
	} {
		_, body := get(t, s, "/clock/"+clock)
		var log string
		for _, n := range nodes(t, body) {
			if id, _ := attr(n, "id"); strings.HasPrefix(id, "entry-") {
				log += textOf(n) + "\n"
			}
		}
		for _, w := range want {
			if !strings.Contains(log, w) {
				t.Errorf("%s: the log does not show %q:\n%s", clock, w, log)
			}
		}
	}
	for path, want := range map[string]string{"/clock/mill/log": "Europe/London", "/clock/quay/log": "America/New_York"} {
		if _, body := get(t, s, path+"?kind=noted"); !strings.Contains(body, want) {
			t.Errorf("%s does not say that times are those of %s", path, want)
		}
	}
}

// Whoever lives in another zone reads when a page was made in their own, and that
// the times of a clock are those where it stands: in November Paris is an hour
// ahead of London (tz database).
func TestTimesWhereTheClockStands(t *testing.T) {
	e := newEntrance(t)
	for i := range e.desk.f.fleet.People {
		if p := &e.desk.f.fleet.People[i]; p.Slug == "edda" {
			p.Zone = "Europe/Paris"
		}
	}
	e.desk.snap = e.desk.f.snapshot()
	e.lets("edda", runsFleet)
	e.lets("tom")
	paris, none := e.in("edda"), e.in("tom")
	for _, path := range []string{"/clock/corn-hall", "/clock/corn-hall/bearing/centre-front", "/clock/corn-hall/do/wind", "/clock/corn-hall/log?kind=wound", "/clock/corn-hall/card"} {
		_, body := paris.get(path)
		if !strings.Contains(body, "Times here are those where the clock stands (Europe/London): 10:00 there is 11:00 on 25 Nov with you (Europe/Paris).") ||
			!strings.Contains(body, "As of 25 Nov 2026, 11:00 your time.") {
			t.Errorf("%s does not say whose times it tells: %s", path, body)
		}
		if _, body = none.get(path); strings.Contains(body, "Times here are") || !strings.Contains(body, "As of 25 Nov 2026, 10:00 UTC.") {
			t.Errorf("%s tells somebody of no zone of another: %s", path, body)
		}
	}
	if _, body := paris.get("/clock/corn-hall/do/wind"); !strings.Contains(body, "On the wall clock there, where it is 10:00 now (Europe/London).") {
		t.Errorf("the form does not say in whose time it asks: %s", body)
	}
	london, err := time.LoadLocation("Europe/London")
	if err != nil {
		t.Fatal(err)
	}
	if there(now, london, time.UTC) != "" || there(now.AddDate(0, 8, 0), london, time.UTC) == "" { // Greenwich and British summer time
		t.Error("London differs from UTC in summer alone")
	}
}
