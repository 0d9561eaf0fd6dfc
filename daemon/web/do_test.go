package web

import (
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// siteFor is a site with somebody as its only reader.
func siteFor(t *testing.T, d *desk, a schedule.Actor) site {
	s := siteOf(t, d)
	o := Options{Everyone: a, Desk: d, Album: d, Mailroom: s.post, Passes: s.links, Base: "https://clocks.example.org/", History: d.history,
		Now: func() time.Time { return d.now }, NewKey: func() string { return "key-1" }}
	s.Handler = New(o)
	return s
}

var winder = schedule.Actor{Person: "wim"}

// wound is the fixture with a winder who measures in thou.
func woundDesk() *desk {
	d := newDesk()
	d.f.fleet.People = append(d.f.fleet.People, schedule.Person{Slug: "wim", Name: "Wim Oster", Units: wear.Thou})
	c := &d.f.fleet.Clocks[0]
	c.Duties = append(c.Duties, schedule.Duty{Person: "wim", Role: schedule.Winder})
	d.snap = d.f.snapshot()
	return d
}

// A winder finds the form for what is due, with their name and the time filled
// in; one press logs it, and the page after it says how the dates moved.
func TestQuickWinding(t *testing.T) {
	d := woundDesk()
	s := siteFor(t, d, winder)
	_, body := get(t, s, "/due")
	if !strings.Contains(body, "/clock/corn-hall/do/wind?subject=strike") {
		t.Fatalf("the due-list does not lead to the quick form: %s", body)
	}
	_, body = get(t, s, "/clock/corn-hall/do/wind?subject=strike")
	checkPage(t, "/clock/corn-hall/do/wind", body)
	text := textOf(nodes(t, body)[0])
	for _, want := range []string{"Winding of the strike train", "Caution.", "Done now, by Wim Oster. Change when or who", "Last time 12 s slow, on 15 Nov 2026", "Log the winding"} {
		if !strings.Contains(text, want) {
			t.Errorf("the form does not say %q: %s", want, text)
		}
	}
	v := filled(t, body)
	if v.Get("by") != "wim" || v.Get("train") != "strike" || v.Get("at") != "2026-11-25T10:00" || v.Get("key") != "key-1" {
		t.Errorf("filled in: %v", v)
	}
	v.Set("errorFound", "1:30")
	v.Set("errorFoundWay", "slow")
	res, _ := send(t, s, "/clock/corn-hall/do/wind?subject=strike", v)
	to := res.Header.Get("Location")
	if res.StatusCode != http.StatusSeeOther || !strings.HasPrefix(to, "/clock/corn-hall/done/") || len(d.logged) != 1 {
		t.Fatalf("answer %d to %q, %d entries", res.StatusCode, to, len(d.logged))
	}
	if e := d.logged[0]; e.Kind != schedule.Wound || e.Train != "strike" || e.By != "wim" || *e.ErrorFound != -90 || !e.At.Equal(now) {
		t.Errorf("logged %+v", e)
	}
	before, _ := newDesk().snap.Clock("corn-hall")
	after, _ := d.snap.Clock("corn-hall")
	why := ""
	due := func(a schedule.Assessment) string {
		for _, task := range a.Tasks {
			if task.Kind == schedule.Winding && task.Subject == "strike" {
				why = task.Reason
				return task.Due.Words()
			}
		}
		return "nothing"
	}
	want := "Winding of the strike train was due " + due(before) + ", now " + due(after) + ". Why: " + sentence(why)
	text = pageText(t, s, to)
	if due(before) == due(after) || !strings.Contains(text, want) || !strings.Contains(text, "Correct this entry") {
		t.Errorf("the page after it says %s, want %q", text, want)
	}
}

// Each quick form logs what it is for with nothing but its few questions.
func TestQuickForms(t *testing.T) {
	d := wearingDesk()
	careFor(d)
	s := siteOf(t, d)
	for _, tt := range []struct {
		path   string
		values url.Values
		kind   schedule.EntryKind
		good   func(e schedule.Entry) bool
	}{
		{"corn-hall/do/look", url.Values{"found": {"sound"}}, schedule.Inspected, func(e schedule.Entry) bool { return e.Found == schedule.Sound }},
		{"corn-hall/do/oil?subject=bearing/centre-front", url.Values{"oil": {"clock oil"}}, schedule.Oiled, func(e schedule.Entry) bool { return e.Bearing == "centre-front" && e.Oil == "clock oil" }},
		{"corn-hall/do/oil?subject=strike", url.Values{"oil": {"clock oil"}}, schedule.Oiled, func(e schedule.Entry) bool { return e.Train == "strike" && e.Bearing == "" }},
		{"corn-hall/do/measure?subject=centre-front", url.Values{"value": {"0,60"}}, schedule.Measured, func(e schedule.Entry) bool {
			return e.Bearing == "centre-front" && e.Reading.Value == wear.FromMM(.6) && e.Reading.Instrument == "dial indicator"
		}},
		// 23 thou is 0.5842 mm, 2/64 in is 0.79375 mm (an inch is 25.4 mm).
		{"corn-hall/do/measure?subject=bearing/centre-front", url.Values{"value": {"23"}, "valueUnit": {"thou"}}, schedule.Measured, func(e schedule.Entry) bool { return e.Reading.Value == 584 }},
		{"corn-hall/do/measure?subject=hammer-front", url.Values{"value": {"2"}, "valueUnit": {"64ths"}}, schedule.Measured, func(e schedule.Entry) bool { return e.Reading.Value == 794 }},
		{"corn-hall/do/measure?subject=hammer-front", url.Values{"value": {"0.8 mm"}, "valueUnit": {"thou"}}, schedule.Measured, func(e schedule.Entry) bool { return e.Reading.Value == 800 }},
		{"corn-hall/do/set", url.Values{"errorFound": {"60"}, "errorFoundWay": {"fast"}, "errorLeft": {"0"}}, schedule.Set, func(e schedule.Entry) bool { return *e.ErrorFound == 60 && *e.ErrorLeft == 0 }},
		{"corn-hall/do/stopped", url.Values{"cause": {"birds"}}, schedule.Stopped, func(e schedule.Entry) bool { return e.Cause == schedule.Birds }},
		{"corn-hall/do/started", nil, schedule.Started, func(e schedule.Entry) bool { return e.Train == "" }},
	} {
		_, body := get(t, s, "/clock/"+tt.path)
		checkPage(t, tt.path, body)
		v := filled(t, body)
		for name, values := range tt.values {
			v[name] = values
		}
		v.Set("at", "") // no time is said: the minute moves on in this test
		d.now = d.now.Add(time.Minute)
		v.Set("at", wallText(d.now, time.UTC))
		n := len(d.logged)
		res, body := send(t, s, "/clock/"+tt.path, v)
		if res.StatusCode != http.StatusSeeOther || len(d.logged) != n+1 {
			t.Errorf("%s with %v: %d: %s", tt.path, tt.values, res.StatusCode, body)
			continue
		}
		if e := d.logged[n]; e.Kind != tt.kind || !tt.good(e) {
			t.Errorf("%s logged %+v, %+v", tt.path, e, e.Reading)
		}
		if res, body := get(t, s, res.Header.Get("Location")); res.StatusCode != 200 {
			t.Errorf("after %s: %d: %s", tt.path, res.StatusCode, body)
		}
	}
}

// What a reader may not log is offered nowhere, and refused.
func TestOnlyAllowedKindsAreOffered(t *testing.T) {
	d := woundDesk()
	c := &d.f.fleet.Clocks[1]
	c.Duties = append(c.Duties, schedule.Duty{Person: "wim", Role: schedule.Owner})
	d.snap = d.f.snapshot()
	s := siteFor(t, d, winder)
	for path, no := range map[string][]string{
		"/due":                 {"do/oil", "do/measure", "kind=repaired", "mill/do", "mill/log"},
		"/clock/corn-hall":     {"do/oil", "do/measure", "kind=repaired", "kind=oiled"},
		"/clock/corn-hall/log": {"kind=oiled", "kind=measured", "kind=repaired"},
		"/clock/mill":          {"mill/do/", "mill/log"},
	} {
		_, body := get(t, s, path)
		for _, x := range no {
			if strings.Contains(body, x) {
				t.Errorf("%s leads to %s", path, x)
			}
		}
	}
	if _, body := get(t, s, "/clock/corn-hall/log"); !strings.Contains(body, "kind=wound") {
		t.Error("what a winder logs is not offered")
	}
	for path, want := range map[string]int{
		"/clock/corn-hall/do/wind": 200, "/clock/corn-hall/do/oil": 403, "/clock/mill/do/wind": 403, "/clock/quay/do/look": 404, "/clock/corn-hall/do/fly": 404,
		"/clock/corn-hall/log?kind=oiled": 403, "/clock/mill/log": 403,
	} {
		if res, _ := get(t, s, path); res.StatusCode != want {
			t.Errorf("%s: %d, want %d", path, res.StatusCode, want)
		}
	}
	v := url.Values{"train": {"going"}, "by": {"eve"}, "at": {"2026-11-25T10:00"}}
	if res, _ := send(t, s, "/clock/corn-hall/do/wind", v); res.StatusCode != 403 || len(d.logged) > 0 {
		t.Errorf("in the name of somebody else: %d, %d logged", res.StatusCode, len(d.logged))
	}
}

// A form that lay on a telephone means its own now; nobody can make that more
// than it is.
func TestPressedAgo(t *testing.T) {
	for ago, want := range map[string]time.Duration{"": 0, "0": 0, "90": 90 * time.Second, "3600.5": 3600*time.Second + 500*time.Millisecond,
		"5184001": -1, "-1": -1, "1e3": -1, "NaN": -1, "Inf": -1, "1h3": -1, "99999999999999999999": -1} {
		a, _ := newDesk().snap.Clock("corn-hall")
		v := url.Values{"kind": {"wound"}, "ago": {ago}}
		if ago == "" {
			v.Set("at", wallText(now, a.Zone))
		}
		e, faults := entryForm{a: a, values: v, now: now}.entry()
		if want < 0 != slices.ContainsFunc(faults, func(f fault) bool { return f.Field == "at" }) || want >= 0 && !e.At.Equal(now.Add(-want)) {
			t.Errorf("%q ago is %v, %v", ago, e.At, faults)
		}
	}
	a, _ := newDesk().snap.Clock("corn-hall")
	e, _ := entryForm{a: a, values: url.Values{"kind": {"wound"}, "ago": {"90"}, "at": {"2026-11-20T08:00"}}, now: now}.entry()
	if !e.At.Equal(time.Date(2026, 11, 20, 8, 0, 0, 0, time.UTC)) {
		t.Errorf("a time that was typed is %v", e.At)
	}
}

// A form that is about one line begins with the line that its heading names, and
// logs a look at that or at nothing: a look at no line would be one at the whole
// clock, and put its inspection off.
func TestTheFormOfALineIsOfALine(t *testing.T) {
	s := careSite(t)
	d := s.desk
	c := &d.f.fleet.Clocks[0]
	c.Care.Lines = append(c.Care.Lines, schedule.Line{Code: "wire", Name: "Strike line", Train: "strike", Diameter: 6 * wear.Millimetre})
	d.f.add(3, schedule.Entry{Clock: "corn-hall", Kind: schedule.Inspected, By: "edda", Detail: schedule.Detail{Line: "wire", Check: &schedule.LineCheck{Strand: true}}})
	d.snap = d.f.snapshot()
	path := "/clock/corn-hall/do/line"
	if _, body := get(t, s, "/clock/corn-hall/do/wind"); !strings.Contains(body, `href="`+path+`"`) {
		t.Error("no other form leads to it")
	}
	_, body := get(t, s, path)
	checkPage(t, path, body)
	if !strings.Contains(body, "<summary>Done now; by whom is not said. Change when or who</summary>") {
		t.Error("who did it, and when, is not said in one line")
	}
	v, head := filled(t, body), "Line inspection of the Strike line"
	if text := flat(t, body); v.Get("line") != "wire" || !strings.Contains(text, "Which line?") || !strings.Contains(text, head) {
		t.Fatalf("begins with %v: %s", v, text)
	}
	v.Set("found", "sound")
	v.Set("line", "")
	res, body := send(t, s, path, v)
	if text := flat(t, body); res.StatusCode != 422 || len(d.logged) > 0 || !strings.Contains(text, "Choose the line that was looked at.") || strings.Contains(text, head) {
		t.Errorf("of no line: %d, %d logged: %s", res.StatusCode, len(d.logged), text)
	}
	v.Set("line", "rope")
	v.Set("wires6", "many")
	if _, body := send(t, s, path, v); strings.Contains(flat(t, body), head) {
		t.Error("of another line, and headed by the first")
	}
	v.Del("wires6")
	if res, body := send(t, s, path, v); res.StatusCode != http.StatusSeeOther || len(d.logged) != 1 || d.logged[0].Line != "rope" {
		t.Errorf("%d, logged %+v: %s", res.StatusCode, d.logged, body)
	}
	if res, _ := get(t, s, "/clock/mill/do/line"); res.StatusCode != 404 {
		t.Errorf("a clock with no line described: %d", res.StatusCode)
	}
}

// A form for a reading begins with the bearing that its heading names, and once
// another is chosen names that or none.
func TestTheFormOfAReadingNamesItsBearing(t *testing.T) {
	d := wearingDesk()
	s := siteOf(t, d)
	a, _ := d.snap.Clock(wearing)
	var wanted []schedule.Task
	for _, task := range a.Tasks {
		if task.Kind == schedule.Measuring {
			wanted = append(wanted, task)
		}
	}
	if len(wanted) < 2 || wanted[0].Subject == "" {
		t.Fatalf("to be measured: %+v", wanted)
	}
	path := "/clock/" + wearing + "/do/measure"
	_, body := get(t, s, path)
	v := filled(t, body)
	if first := wanted[0]; v.Get("bearing") != first.Subject || !strings.Contains(flat(t, body), schedule.Capital(first.What())) {
		t.Errorf("wanted is %s: begins with %v: %s", first.Subject, v, flat(t, body))
	}
	for _, other := range []schedule.Task{wanted[1], {}} {
		v.Set("bearing", other.Subject)
		_, body := send(t, s, path, v) // there is no reading
		text := flat(t, body)
		if !strings.Contains(text, "Nothing is logged yet") || strings.Contains(text, schedule.Capital(wanted[0].What())) || other.Subject != "" && !strings.Contains(text, schedule.Capital(other.What())) {
			t.Errorf("of %q: %s", other.Subject, text)
		}
	}
}
