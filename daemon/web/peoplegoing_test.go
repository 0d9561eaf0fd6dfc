package web

import (
	"net/url"
	"reflect"
	"strings"
	"testing"
	"time"

	"endshake/schedule"
)

func goingForm(t *testing.T, b *visit, change url.Values) url.Values {
	t.Helper()
	_, body := b.get("/people/tom")
	v := url.Values{"act": {"going"}, "version": {hiddenOn(t, body, "version")}, "outDays": {"Mon", "Thu"}, "outFrom": {"8:00"}, "outTo": {"18:00"},
		"home": {" 47.312, -31.215 "}, "away": {"2027-05-03 to 2027-05-14: holidays: at sea\r\n\r\n2027-06-01\r\n"}}
	for k, x := range change {
		v[k] = x
	}
	return v
}

// How somebody goes on rounds is kept as it was said, stands on their page as it is
// kept, and is told of nobody who does not run the fleet.
func TestGoingIsKept(t *testing.T) {
	e := newEntrance(t)
	e.lets("edda", runsFleet)
	e.lets("tom")
	b := e.in("edda")
	form := goingForm(t, b, nil)
	res, _ := b.send("/people/tom", form)
	status(t, "keeping it", res, 303, "/people/tom?done=going")
	day := func(m time.Month, d int) schedule.Date { return schedule.Date{Year: 2027, Month: m, Day: d} }
	want := schedule.Going{Home: &schedule.Where{Lat: 47.312, Lon: -31.215}, Days: schedule.Weekdays{time.Monday, time.Thursday}, From: 480, To: 1080,
		Away: []schedule.Span{{From: day(5, 3), Until: day(5, 14), Why: "holidays: at sea"}, {From: day(6, 1), Until: day(6, 1)}}}
	p, _ := e.desk.f.fleet.Person("tom")
	if !reflect.DeepEqual(p.Going, want) || p.Name == "" || p.Email == "" {
		t.Errorf("kept as %+v", p)
	}
	res, _ = b.send("/people/tom", form)
	status(t, "once more from the old form", res, 409, "")

	_, body := b.get("/people/tom")
	checkPage(t, "/people/tom", body)
	for _, want := range []string{`value="Mon" checked`, `value="Thu" checked`, `value="08:00"`, `value="18:00"`, `value="47.312, -31.215"`,
		"2027-05-03 to 2027-05-14: holidays: at sea\n2027-06-01</textarea>", "Mon, Thu, 08:00 to 18:00, from 47.312, -31.215"} {
		if !strings.Contains(body, want) {
			t.Errorf("the page has no %s", want)
		}
	}
	if strings.Contains(body, `value="Tue" checked`) {
		t.Error("Tuesday is ticked")
	}
	same := goingForm(t, b, nil) // what the page shows, sent back, changes nothing
	before := p
	b.send("/people/tom", same)
	if p, _ := e.desk.f.fleet.Person("tom"); !reflect.DeepEqual(p, before) {
		t.Errorf("sent back it is %+v", p)
	}
	tom := e.in("tom")
	if _, body := tom.get("/me/data"); !strings.Contains(body, "47.312") {
		t.Error("he is not told what is kept of him")
	}
	res, _ = tom.send("/people/tom", same)
	status(t, "of somebody who does not run the fleet", res, 403, "")
	res, _ = b.send("/people/tom", goingForm(t, b, url.Values{"outDays": nil, "outFrom": {""}, "outTo": {""}, "home": {""}, "away": {""}}))
	status(t, "going on none", res, 303, "")
	if p, _ := e.desk.f.fleet.Person("tom"); !reflect.DeepEqual(p.Going, schedule.Going{}) {
		t.Errorf("going on none is kept as %+v", p.Going)
	}
}

// What cannot be right is said at its field, with what was typed, and nothing is kept.
func TestGoingRefused(t *testing.T) {
	e := newEntrance(t)
	e.lets("edda", runsFleet)
	b := e.in("edda")
	for name, c := range map[string]struct{ field, value, sentence string }{
		"a day that is none":  {"outDays", "Fun", "is not known: use Mon, Tue"},
		"a day twice":         {"outDays", "Mon", "Monday is given twice"},
		"no hour":             {"outFrom", "early", "is not understood: write hour and minute"},
		"no hour at all":      {"outTo", "", "Give a time of day"},
		"back before":         {"outTo", "07:00", "are no hours of one day"},
		"a town":              {"home", "behind the church", "Write two figures in degrees"},
		"one figure":          {"home", "47", "Write two figures in degrees"},
		"no place":            {"home", "NaN, 3", "a latitude of NaN cannot be right"},
		"off the Earth":       {"home", "47, 200", "a longitude of 200 cannot be right"},
		"a date of two ways":  {"away", "03/04/2027", "is not a day"},
		"away to no day":      {"away", "2027-05-03 to soon", "is not a day"},
		"away backwards":      {"away", "2027-05-03 to 2027-05-01", "ends before it begins"},
		"a script":            {"home", `<script>alert(1)</script>`, "Write two figures"},
		"a reason for a book": {"away", "2027-05-03: " + strings.Repeat("x", 501), "too long"},
		"away for ever":       {"away", strings.Repeat("2027-05-03\n", 401), "too many"},
	} {
		value := []string{c.value}
		if name == "a day twice" {
			value = []string{"Mon", "Mon"}
		}
		res, body := b.send("/people/tom", goingForm(t, b, url.Values{c.field: value}))
		status(t, name, res, 422, "")
		checkPage(t, "/people/tom", body)
		if !strings.Contains(body, c.sentence) || !strings.Contains(body, `href="#f-`+c.field) {
			t.Errorf("%s: no %q at %s", name, c.sentence, c.field)
		}
		if strings.Contains(body, "<script>alert") {
			t.Errorf("%s: a script stands on the page", name)
		}
		if p, _ := e.desk.f.fleet.Person("tom"); p.Going.Goes() || len(e.desk.saved) > 0 {
			t.Errorf("%s: kept %+v", name, p.Going)
		}
	}
}
