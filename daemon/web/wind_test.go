package web

import (
	"maps"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// ranOut is the fixture at a time when, by its log, the going train of the Corn
// Hall clock has run down long since; the winder can be reached by nobody.
func ranOut() *desk {
	d := woundDesk()
	d.now = now.Add(9 * 24 * time.Hour)
	d.f.fleet.People = append(d.f.fleet.People, schedule.Person{Slug: "dora", Name: "Dora Pell", Email: "dora@example.org"})
	d.f.fleet.Clocks[0].Duties = append(d.f.fleet.Clocks[0].Duties, schedule.Duty{Person: "dora", Role: schedule.Deputy})
	d.snap = d.f.snapshot()
	d.snap = d.snap.With("corn-hall", d.f.log["corn-hall"], d.model(), d.now)
	return d
}

// A winder who could not wind says why: a note is logged, the clock goes on by
// its log, and the page after it names who is asked next.
func TestCouldNotWind(t *testing.T) {
	d := ranOut()
	s := siteFor(t, d, winder)
	_, body := get(t, s, "/clock/corn-hall/do/wind?subject=going")
	if !strings.Contains(body, `href="/clock/corn-hall/do/unwound?subject=going"`) {
		t.Fatalf("the form to wind does not lead to it: %s", body)
	}
	if button, link := strings.Index(body, "Log the winding"), strings.Index(body, "Could not wind it?"); link < button || strings.Contains(body[button:link], "<details") {
		t.Errorf("it does not stand beside the button: %s", body)
	}
	path := "/clock/corn-hall/do/unwound?subject=going"
	for _, list := range []string{"/due", "/clock/corn-hall"} { // one tap from the line
		if _, body := get(t, s, list); !strings.Contains(body, `Log the winding</a> <a href="`+path+`">Could not<span class="unseen"> wind it</span></a>`) {
			t.Errorf("%s does not lead to it: %s", list, body)
		}
		if _, body := get(t, siteFor(t, woundDesk(), winder), list); strings.Contains(body, `do/unwound?subject=going`) {
			t.Errorf("%s asks of a train that need not be wound yet", list)
		}
	}
	if _, body := get(t, siteFor(t, ranOut(), schedule.Actor{Person: "olive"}), "/due"); strings.Contains(body, "unwound") {
		t.Error("whoever may log nothing is led to it")
	}
	_, body = get(t, s, path)
	checkPage(t, path, body)
	v := filled(t, body)
	for _, bad := range []url.Values{{"reason": {""}}, {"reason": {"boredom"}}, {"reason": {somethingWrong}, "say": {" "}}} {
		for name, values := range bad {
			v[name] = values
		}
		if res, body := send(t, s, path, v); res.StatusCode != 422 || !strings.Contains(body, `id="refused"`) || len(d.logged) > 0 {
			t.Errorf("%v: %d, %d logged", bad, res.StatusCode, len(d.logged))
		}
	}
	v.Set("reason", somethingWrong)
	v.Set("say", "the crank is gone")
	res, _ := send(t, s, path, v)
	if res.StatusCode != http.StatusSeeOther || len(d.logged) != 1 {
		t.Fatalf("%d, %d logged", res.StatusCode, len(d.logged))
	}
	e := d.logged[0]
	if e.Kind != schedule.Noted || e.By != "wim" || e.Note != "Not done: winding of the going train. Because: something is wrong, the crank is gone" {
		t.Errorf("logged %+v", e)
	}
	if a, _ := d.snap.Clock("corn-hall"); !a.Going {
		t.Error("the clock is said to stand")
	}
	if text := pageText(t, s, res.Header.Get("Location")); !strings.Contains(text, "Dora Pell, the deputy, is asked next, by letter") {
		t.Errorf("nobody is named: %s", text)
	}
}

// Where a clock may have run down the form asks whether it went. A no comes to
// four entries in their order, or to none; the hands tell since when.
func TestFoundRunDownAtTheWinding(t *testing.T) {
	d := ranOut()
	s := siteFor(t, d, winder)
	path := "/clock/corn-hall/do/wind"
	_, body := get(t, s, path)
	checkPage(t, path, body)
	text := flat(t, body)
	for _, want := range []string{"Wind both trains", "Going train and strike train", "Was it going when you came?"} {
		if !strings.Contains(text, want) {
			t.Errorf("the form does not say %q: %s", want, text)
		}
	}
	if strings.Contains(flat(t, second(get(t, siteFor(t, woundDesk(), winder), path))), "Was it going") {
		t.Error("it is asked of a clock that goes")
	}
	v := filled(t, body)
	for _, went := range []string{"", "perhaps"} { // nothing is chosen for anybody
		if v.Get("went") != "" {
			t.Fatalf("answered beforehand: %q", v.Get("went"))
		}
		with := maps.Clone(v)
		with.Set("went", went)
		if res, body := send(t, s, path, with); res.StatusCode != 422 || len(d.logged) > 0 || !strings.Contains(body, `id="w-went">Say whether it was going when you came.`) {
			t.Fatalf("%q is %d, and %d logged: %s", went, res.StatusCode, len(d.logged), body)
		}
	}
	yes := siteFor(t, ranOut(), winder)
	with := maps.Clone(v)
	with.Set("went", "yes")
	if res, _ := send(t, yes, path, with); res.StatusCode != http.StatusSeeOther || len(yes.desk.logged) != 1 || yes.desk.logged[0].Kind != schedule.Wound {
		t.Errorf("it went: %d, logged %+v", res.StatusCode, yes.desk.logged)
	}
	v.Set("went", "no")
	v.Set("hands", "03:20")
	d.err = &schedule.Error{Code: schedule.Conflict, Field: "kind", Message: "it stands already"}
	if res, _ := send(t, s, path, v); res.StatusCode != 409 || len(d.logged) != 0 {
		t.Fatalf("refused with %d, and %d logged", res.StatusCode, len(d.logged))
	}
	d.err = nil
	res, body := send(t, s, path, v)
	if res.StatusCode != http.StatusSeeOther || len(d.logged) != 4 {
		t.Fatalf("%d, %d logged: %s", res.StatusCode, len(d.logged), body)
	}
	for i, kind := range []schedule.EntryKind{schedule.Stopped, schedule.Wound, schedule.Started, schedule.Set} {
		if e := d.logged[i]; e.Kind != kind || e.By != "wim" || i > 0 && !e.At.After(d.logged[i-1].At) {
			t.Errorf("entry %d is %+v", i, e)
		}
	}
	stop := d.logged[0]
	a, _ := d.snap.Clock("corn-hall")
	if got := stop.Since.In(a.Zone).Format("15:04"); stop.Cause != schedule.RanDown || got != "03:20" && got != "15:20" {
		t.Errorf("stopped for %s since %v", stop.Cause, stop.Since)
	}
	if !a.Going || *d.logged[3].ErrorLeft != 0 {
		t.Error("it does not go, set right")
	}
	text = pageText(t, s, res.Header.Get("Location"))
	for _, want := range []string{"Found stopped: ran down", "Wound the clock", "Started the clock", "Set the clock"} {
		if !strings.Contains(text, want) {
			t.Errorf("the page after it does not say %q: %s", want, text)
		}
	}
}

func second(_ *http.Response, body string) string { return body }

// A dial shows an hour twice a day: the one is meant that is nearest to when it
// ran out, and never one before it was last seen to go.
func TestSinceTheHandsStood(t *testing.T) {
	noon := time.Date(2026, 11, 20, 12, 0, 0, 0, time.UTC)
	a := schedule.Assessment{Zone: time.UTC, Entries: []schedule.Entry{{Kind: schedule.Wound, At: noon.AddDate(0, 0, -8)}},
		Trains: []schedule.TrainState{{Train: wear.Train{Kind: wear.Going}, Wind: schedule.WindState{Past: true, Stops: noon.AddDate(0, 0, -1)}}}}
	for hands, want := range map[string]time.Time{
		"03:20": time.Date(2026, 11, 19, 15, 20, 0, 0, time.UTC), // 3 h 20 min after it was to stop, not 8 h 40 min before
		"15:20": time.Date(2026, 11, 19, 15, 20, 0, 0, time.UTC),
		"11:00": time.Date(2026, 11, 19, 11, 0, 0, 0, time.UTC),
		"12:00": time.Date(2026, 11, 19, 12, 0, 0, 0, time.UTC),
		"":      {}, "25:00": {}, "soon": {},
	} {
		q := quick{entryForm: entryForm{a: a, values: url.Values{"hands": {hands}}}}
		if got := q.stoodSince(noon); !got.Equal(want) {
			t.Errorf("%q: %v, want %v", hands, got, want)
		}
	}
}

// What was found stopped is said so, with who is told by letter of it.
func TestFoundStoppedSaysWhoIsTold(t *testing.T) {
	d := ranOut()
	s := siteFor(t, d, winder)
	_, body := get(t, s, "/clock/corn-hall/do/stopped")
	v := filled(t, body)
	v.Set("cause", string(schedule.Weather))
	res, body := send(t, s, "/clock/corn-hall/do/stopped", v)
	if res.StatusCode != http.StatusSeeOther {
		t.Fatalf("%d: %s", res.StatusCode, body)
	}
	text := pageText(t, s, res.Header.Get("Location"))
	if !strings.Contains(text, "Found stopped: weather") || !strings.Contains(text, "that it stands") {
		t.Errorf("the page after it says %s", text)
	}
	if strings.Contains(text, "Stopped the clock") {
		t.Error("as if they had stopped it")
	}
	for i := range d.f.fleet.People {
		d.f.fleet.People[i].Email = ""
	}
	d.snap = d.snap.With("corn-hall", d.f.log["corn-hall"], d.model(), d.now)
	if told := (&server{Options: Options{}}).stopTold(t.Context(), d.f.fleet, d.f.fleet.Clocks[0], d.logged[0]); !strings.HasPrefix(told, "Nobody is told of it by letter: tell ") {
		t.Errorf("with no mailbox: %s", told)
	}
}
