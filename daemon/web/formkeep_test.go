package web

import (
	"net/url"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// fill is one detail of an entry, with what has to stand beside it.
type fill struct {
	name string
	set  func(*schedule.Entry)
}

// fills are all details of an entry, by the name of their field.
func fills() []fill {
	num := func(v float64) *float64 { return &v }
	fall := wear.Length(2000000)
	return []fill{
		{"Reading", func(e *schedule.Entry) {
			e.Bearing = "centre-front"
			e.Reading = &wear.Reading{Shake: wear.EndShake, Value: 587, Gauge: 13, Instrument: "feeler", Load: wear.LoadOff, Celsius: num(-4.5)}
		}},
		{"Sure", func(e *schedule.Entry) { e.Sure = true }},
		{"Turns", func(e *schedule.Entry) { e.Turns = 1.5 }},
		{"Part", func(e *schedule.Entry) { e.Part = true }},
		{"FallLeft", func(e *schedule.Entry) { e.FallLeft = &fall }},
		{"Meter", func(e *schedule.Entry) { e.Meter = num(12.5) }},
		{"MeterNew", func(e *schedule.Entry) { e.MeterNew, e.Meter = true, num(12.5) }},
		{"CutFrom", func(e *schedule.Entry) { aboutMains(e); e.CutFrom = now.Add(-40*time.Hour + 13*time.Second) }},
		{"CutTo", func(e *schedule.Entry) {
			aboutMains(e)
			e.CutFrom, e.CutTo = now.Add(-40*time.Hour), now.Add(-30*time.Hour)
		}},
		{"Cause", func(e *schedule.Entry) { e.Cause = schedule.Birds }},
		{"Since", func(e *schedule.Entry) { e.Cause, e.Since = schedule.Birds, now.Add(-30*time.Hour+7*time.Second) }},
		{"Until", func(e *schedule.Entry) { e.Cause, e.Until = schedule.Rest, schedule.Date{Year: 2027, Month: 4, Day: 1} }},
		{"Oil", func(e *schedule.Entry) { e.Oil = "no. 5" }},
		{"Points", func(e *schedule.Entry) { e.Points = []string{"p-1", "p-2"} }},
		{"TopUp", func(e *schedule.Entry) { e.TopUp = true }},
		{"OilFound", func(e *schedule.Entry) { e.OilFound = schedule.OilGummed }},
		{"Residue", func(e *schedule.Entry) { e.Residue = schedule.ResidueBlack }},
		{"Found", func(e *schedule.Entry) { e.Found = schedule.Watch }},
		{"Visit", func(e *schedule.Entry) { e.Visit = true }},
		{"Line", func(e *schedule.Entry) { aboutLine(e) }},
		{"Check", func(e *schedule.Entry) {
			aboutLine(e)
			e.Check = &schedule.LineCheck{Wires6: 2, Wires30: 5, Diameter: 5900, Strand: true, Rust: "at the pulley"}
		}},
		{"Lock", func(e *schedule.Entry) { e.Lock = schedule.DoNotRun }},
		{"Clears", func(e *schedule.Entry) { e.Clears = schedule.DoNotEnter }},
		{"Season", func(e *schedule.Entry) { e.Season = "lamps" }},
		{"Work", func(e *schedule.Entry) { e.Work = schedule.NewWasher }},
		{"Fitted", func(e *schedule.Entry) { e.Fitted = 251 }},
		{"FittedSD", func(e *schedule.Entry) { e.FittedSD = 11 }},
		{"NewPair", func(e *schedule.Entry) { e.NewPair = wear.SteelOnSteel }},
		{"ErrorFound", func(e *schedule.Entry) { e.ErrorFound = num(-4) }},
		{"ErrorLeft", func(e *schedule.Entry) { e.ErrorLeft = num(1.5) }},
		{"NutTurns", func(e *schedule.Entry) { e.NutTurns = -.25 }},
		{"Grams", func(e *schedule.Entry) { e.Grams = 2.5 }},
		{"Undoes", func(e *schedule.Entry) { e.Undoes = "an-earlier-one" }},
		{"Celsius", func(e *schedule.Entry) { e.Celsius = num(-3) }},
		{"Pressure", func(e *schedule.Entry) { e.Pressure = num(1013.5) }},
		{"Arc", func(e *schedule.Entry) { e.Arc = num(1.75) }},
		{"Weight", func(e *schedule.Entry) { e.Weight = num(75) }},
		{"Corrector", func(e *schedule.Entry) { e.Corrector = num(-.5) }},
		{"Change", func(e *schedule.Entry) { e.Change = schedule.Date{Year: 2026, Month: 10, Day: 25} }},
		{"Old", func(e *schedule.Entry) { e.Old = true }},
	}
}

// aboutLine has an entry tell of the line, and so of no bearing.
func aboutLine(e *schedule.Entry) {
	e.Line = "rope"
	switch e.Kind {
	case schedule.Inspected: // a line is named because it was looked at
		e.Bearing, e.Check = "", &schedule.LineCheck{}
	case schedule.Repaired:
		e.Bearing, e.Work = "", schedule.NewLine
	}
}

// aboutMains has a note tell of the train that the mains wind.
func aboutMains(e *schedule.Entry) {
	if e.Kind == schedule.Noted {
		e.Train, e.Bearing = "chime", ""
	}
}

// plainEntry is an entry of a kind with no more than it needs, but for the train
// and the bearing that every kind may name.
func plainEntry(kind schedule.EntryKind) schedule.Entry {
	e := schedule.Entry{Clock: "corn-hall", Kind: kind, At: now.Add(-25*time.Hour + 3*time.Second), By: "edda", Note: "As found.",
		Train: "going", Bearing: "centre-front"}
	switch kind {
	case schedule.Measured:
		e.Reading = &wear.Reading{Shake: wear.EndShake, Value: 587}
	case schedule.Repaired:
		e.Work = schedule.Refaced
	case schedule.Stopped:
		e.Cause = schedule.Birds
	}
	return e
}

// allowed reports whether the validator lets a kind of entry carry a detail: it
// says so where it does not, and may still find other things wrong.
func allowed(s site, e schedule.Entry) bool {
	err := schedule.Validate(e, s.desk.f.fleet, s.desk.f.log["corn-hall"], schedule.Model{}, now)
	return err == nil || !slices.ContainsFunc([]string{"is only for", "only a regulation", "needs the mains"}, func(why string) bool { return strings.Contains(err.Error(), why) })
}

// Correcting by the form loses nothing of an entry that the validator takes, of
// any kind: not with all details at once, nor with each alone.
func TestCorrectionLosesNothing(t *testing.T) {
	for name, s := range map[string]site{"described": careSite(t), "not described": newSite(t)} {
		judge, tried := careSite(t), 0 // what is refused is told by a clock that has all
		for _, kind := range schedule.EntryKinds {
			all := plainEntry(kind)
			seen := map[string]bool{}
			for _, f := range fills() {
				one := plainEntry(kind)
				if f.set(&one); seen[f.name] || !allowed(judge, one) {
					continue
				}
				seen[f.name] = true
				tried++
				correctsTo(t, s, name+", "+f.name, one)
				f.set(&all)
			}
			all.Train, all.Bearing = "going", "centre-front"
			correctsTo(t, s, name+", all", all)
			for _, want := range map[schedule.EntryKind][]string{schedule.Set: {"ErrorLeft", "Change", "Arc"}, schedule.Wound: {"ErrorLeft", "Turns"},
				schedule.Inspected: {"ErrorLeft", "Check"}, schedule.Regulated: {"ErrorFound", "ErrorLeft", "Undoes"}, schedule.Noted: {"Weight", "Clears", "CutFrom", "CutTo"}}[kind] {
				if !seen[want] {
					t.Errorf("%s: %s was not tried", kind, want)
				}
			}
			if kind == schedule.Oiled && seen["Turns"] {
				t.Error("what is not allowed was tried")
			}
		}
		if tried < 75 {
			t.Errorf("%d details were tried", tried)
		}
	}
	names := map[string]bool{}
	for _, f := range fills() {
		names[f.name] = true
	}
	for typ, i := reflect.TypeFor[schedule.Detail](), 0; i < typ.NumField(); i++ {
		if !names[typ.Field(i).Name] {
			t.Errorf("no entry was tried with %s", typ.Field(i).Name)
		}
	}
}

// correctsTo sends the form that corrects an entry as it is shown.
func correctsTo(t *testing.T, s site, what string, want schedule.Entry) {
	t.Helper()
	want.ID = "e-1"
	a, _ := s.desk.snap.Clock("corn-hall")
	a.Entries = append(slices.Clone(a.Entries), want)
	f := entryForm{a: a, fleet: s.desk.f.fleet, values: valuesOf(want, a.Zone), now: now}
	f.values.Set("replaces", "e-1")
	sent := url.Values{"kind": {string(want.Kind)}, "replaces": {"e-1"}}
	for _, q := range f.fields(want.Kind, nil) {
		if q.Value != "" {
			sent.Set(q.Name, q.Value)
		}
		for _, tick := range q.Ticks {
			if tick.On {
				sent.Add(q.Name, tick.Value)
			}
		}
	}
	sent.Set("why", "a slip")
	f.values = sent
	got, faults := f.entry()
	want.ID, want.Replaces, want.Why, want.Source = "", "e-1", "a slip", "page"
	if len(faults) > 0 || !reflect.DeepEqual(got, want) {
		t.Errorf("%s, %s: %v\n got %s\nwant %s", what, want.Kind, faults, words(got), words(want))
	}
}

// Each form shows the caution of what it logs.
func TestFormCautions(t *testing.T) {
	s := careSite(t)
	s.desk.f.fleet.Clocks[0].Care.Seasons[0].Hazard = []schedule.Hazard{schedule.Mains}
	s.desk.snap = s.desk.f.snapshot()
	own := func(kind schedule.TaskKind) string {
		return strings.TrimSuffix(schedule.Caution(kind, schedule.Site{}, nil), " Local rules and licensed people decide.")
	}
	under := "Never stand under a weight"
	for query, want := range map[string][]string{
		"kind=wound": {own(schedule.Winding)}, "kind=oiled": {own(schedule.Oiling)}, "kind=cleaned": {own(schedule.Oiling)},
		"kind=measured": {own(schedule.Measuring)}, "kind=repaired": {own(schedule.NearLimit)},
		"kind=set": {own(schedule.Setting)}, "kind=regulated": {own(schedule.Setting)},
		"kind=set&change=2026-10-25": {own(schedule.TimeChange)}, "kind=set&change=2026-10-24": {own(schedule.Setting)},
		"kind=inspected": {own(schedule.Inspection)}, "kind=inspected&line=rope": {own(schedule.LineLook)}, "kind=inspected&visit=on": {own(schedule.Visiting)},
		"kind=repaired&line=rope": {own(schedule.LineAge)}, "kind=noted&season=lamps": {own(schedule.Seasonal), "a competent electrician"},
		"kind=started": {own(schedule.Inspection), under}, "kind=stopped": {own(schedule.Inspection), under}, "kind=noted": {own(schedule.Inspection), under},
	} {
		text := pageText(t, s, "/clock/corn-hall/log?"+query)
		for _, w := range append(want, "Low beam on the ladder", "Local rules and licensed people decide.") {
			if !strings.Contains(text, w) {
				t.Errorf("%s does not warn %q: %s", query, w, text)
			}
		}
	}
	if text := pageText(t, s, "/clock/quay/log?kind=started"); strings.Contains(text, under) {
		t.Error("an electric clock is said to have weights")
	}
	s.desk.f.add(1, schedule.Entry{Clock: "corn-hall", Kind: schedule.Noted, By: "tom", Note: "rope frayed", Detail: schedule.Detail{Lock: schedule.DoNotRun}})
	s.desk.snap = s.desk.f.snapshot()
	for _, kind := range []string{"noted", "started", "stopped"} {
		if text := pageText(t, s, "/clock/corn-hall/log?kind="+kind); !strings.Contains(text, own(schedule.Locked)) {
			t.Errorf("%s of a locked clock does not warn of the lock", kind)
		}
	}
}

// A link to the repair of a line has chosen the work, and no other link has.
func TestNewLineIsChosen(t *testing.T) {
	s := careSite(t)
	for query, want := range map[string]string{"kind=repaired&line=rope": "new line", "kind=repaired": "", "kind=repaired&bearing=centre-front": ""} {
		if _, body := get(t, s, "/clock/corn-hall/log?"+query); filled(t, body).Get("work") != want {
			t.Errorf("%s chooses %q, want %q", query, filled(t, body).Get("work"), want)
		}
	}
}

// The tick of a change of time is not offered for a day that has none there.
func TestNoTickWithoutChange(t *testing.T) {
	s := careSite(t)
	for path, want := range map[string]bool{
		"corn-hall/log?kind=set&change=2026-10-25": true, "corn-hall/log?kind=set&change=2026-10-24": false,
		"corn-hall/log?kind=set&change=2026-11-01": false, "quay/log?kind=set&change=2026-11-01": true, // the first Sunday of November
		"bad/log?kind=set&change=2026-10-25": false, "corn-hall/log?kind=set&change=9999-12-31": false, "corn-hall/log?kind=set&change=0001-01-01": false,
	} {
		if _, body := get(t, s, "/clock/"+path); strings.Contains(body, `name="change"`) != want {
			t.Errorf("%s offers the tick: %v", path, !want)
		}
	}
}

// Who has no weight to wind is not told to wind it.
func TestSilentTimeByDrive(t *testing.T) {
	s := newSite(t)
	for clock, want := range map[string]string{"mill": "when you wind it, write down", "quay": "when you look at it, write down"} {
		if text := pageText(t, s, "/clock/"+clock); !strings.Contains(text, want) {
			t.Errorf("%s does not say %q", clock, want)
		}
	}
}

// Of one there is one.
func TestOneBrokenWire(t *testing.T) {
	got := strings.Join(schedule.LookWords(schedule.LineCheck{Wires6: 1, Wires30: 2}), ", ")
	if want := "1 broken wire in six diameters, 2 broken wires in thirty diameters"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}

// A correction begins with what the entry says, shows it beside each question, and
// folds away what its kind could say and it does not; why it is corrected is asked
// last, and the caution of the work comes after the form.
func TestCorrectionShowsWhatWas(t *testing.T) {
	s := careSite(t)
	var e schedule.Entry
	for _, x := range s.desk.f.log["corn-hall"] {
		if x.Kind == schedule.Measured {
			e = x
		}
	}
	if e.ID == "" {
		t.Fatal("nobody measured it")
	}
	_, body := get(t, s, "/clock/corn-hall/log?kind=measured&replaces="+e.ID)
	checkPage(t, "a correction", body)
	_, form, _ := strings.Cut(body, "<form class=\"entry\"")
	shown, more, ok := strings.Cut(form, "<details")
	at := func(text, part string) int {
		if i := strings.Index(text, part); i >= 0 {
			return i
		}
		t.Fatalf("there is no %s: %s", part, text)
		return 0
	}
	if !ok || at(shown, `name="at"`) > at(shown, `name="value"`) || at(shown, `name="value"`) > at(shown, `name="why"`) {
		t.Errorf("why is asked before what is corrected: %s", shown)
	}
	if at(body, `class="lede"`) > at(body, `name="at"`) || at(body, `class="caution"`) < at(body, "</form>\n<p class=\"fine\">The entry stays in the log") || strings.Count(body, "Caution.") != 1 || strings.Contains(body, "<s>") {
		t.Errorf("the correction does not begin with what is corrected: %s", body)
	}
	for _, name := range []string{"celsius", "old"} {
		if strings.Contains(shown, `name="`+name+`"`) || !strings.Contains(more, `name="`+name+`"`) {
			t.Errorf("%s, of which the entry says nothing, is not folded away", name)
		}
	}
	if want := "As logged: " + e.Reading.Value.String(); !strings.Contains(shown, want) || strings.Contains(more, "As logged") {
		t.Errorf("the form lacks %q, or shows what was not said", want)
	}
	// Of another kind it is the form of that kind, whole.
	if _, body := get(t, s, "/clock/corn-hall/log?kind=oiled&replaces="+e.ID); !strings.Contains(body, `name="oil"`) || !strings.Contains(body, "As logged: ") {
		t.Error("as another kind it asks not for the oil, or does not say of which bearing it was")
	}
}

// A correction that changes nothing is refused in one sentence, and so is one that
// is sent so by the quick way; a picture put to it is a change, and so is any field.
func TestCorrectionOfNothing(t *testing.T) {
	for _, kind := range []schedule.EntryKind{schedule.Measured, schedule.Wound, schedule.Oiled, schedule.Noted} {
		s := careSite(t)
		var e schedule.Entry
		for _, x := range s.desk.f.log["corn-hall"] {
			if x.Kind == kind && !slices.ContainsFunc(s.desk.f.log["corn-hall"], func(y schedule.Entry) bool { return y.Replaces == x.ID }) {
				e = x
			}
		}
		if e.ID == "" {
			continue
		}
		_, body := get(t, s, "/clock/corn-hall/log?kind="+string(kind)+"&replaces="+e.ID)
		v := filled(t, body)
		v.Set("why", "a slip")
		res, body := send(t, s, "/clock/corn-hall/log", v)
		checkPage(t, "a correction of nothing", body)
		if res.StatusCode != 422 || len(s.desk.logged) > 0 || !strings.Contains(flat(t, body), "The correction says just what the entry says: change what is wrong in it, or leave the entry as it is.") {
			t.Errorf("%s: %d, %d logged: %s", kind, res.StatusCode, len(s.desk.logged), flat(t, body))
		}
		v = filled(t, body)
		v.Set("note", v.Get("note")+" looked at twice")
		if res, body := send(t, s, "/clock/corn-hall/log", v); res.StatusCode != 303 || len(s.desk.logged) != 1 {
			t.Errorf("%s with another note: %d: %s", kind, res.StatusCode, flat(t, body))
		}
	}
}

// A fold with an answer in it is open, also where that is no more than which way
// it went; what a browser sends of itself opens none.
func TestFoldsWithAnswersAreOpen(t *testing.T) {
	s := careSite(t)
	for name, tt := range map[string]struct {
		v    url.Values
		open bool
	}{
		"which way":  {url.Values{"kind": {"wound"}, "at": {"soon"}, "errorLeftWay": {"slow"}}, true},
		"how far":    {url.Values{"kind": {"wound"}, "at": {"soon"}, "errorLeft": {"3"}}, true},
		"nothing":    {url.Values{"kind": {"wound"}, "at": {"soon"}, "errorLeftWay": {""}}, false},
		"of itself":  {url.Values{"kind": {"regulated"}, "at": {"soon"}, "gramsWay": {"on"}}, false},
		"the other":  {url.Values{"kind": {"regulated"}, "at": {"soon"}, "gramsWay": {"off"}}, true},
		"not of one": {url.Values{"kind": {"regulated"}, "at": {"soon"}, "nutTurns": {"1"}}, false},
	} {
		_, body := send(t, s, "/clock/corn-hall/log", tt.v)
		_, form, _ := strings.Cut(body, `<form class="entry"`)
		if got := strings.Contains(form, "<details open"); got != tt.open {
			t.Errorf("%s: open %v: %s", name, got, form)
		}
	}
}
