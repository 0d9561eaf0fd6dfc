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

// careSite is the fixture with a Corn Hall whose care is described, and a chime
// that a motor winds.
func careSite(t testing.TB) site {
	t.Helper()
	d := newDesk()
	c := &d.f.fleet.Clocks[0]
	c.Trains[0].MeterHours = 10000
	c.Trains[0].Weight = &wear.Weight{Fall: 9 * 1000 * wear.Millimetre, Barrel: 200 * wear.Millimetre, Line: 6 * wear.Millimetre, TurnHours: 12}
	c.Trains = append(c.Trains, wear.Train{Code: "chime", Name: "chime train", Kind: wear.Chime, Drive: wear.AutoWound, StrokesPerDay: 480})
	c.Care = schedule.Care{
		Points: []schedule.OilPoint{
			{Code: "p-1", Name: "Centre, front", Train: "going", Amount: "1 drop", Oil: "no. 5"}, {Code: "p-2", Train: "going"},
			{Code: "dry-1", Name: "Clutch", Dry: true, Why: "it slips"}},
		Lines:   []schedule.Line{{Code: "rope", Name: "Going line", Train: "going", Diameter: 6 * wear.Millimetre}},
		Seasons: []schedule.Season{{Code: "lamps", Name: "dial lights on", From: schedule.MonthDay{Month: time.October, Day: 1}, To: schedule.MonthDay{Month: time.November, Day: 30}, Source: "keeper"}},
	}
	if err := d.f.fleet.Validate(); err != nil {
		t.Fatal(err)
	}
	d.f.add(60, schedule.Entry{Clock: "corn-hall", Kind: schedule.Regulated, By: "tom", Detail: schedule.Detail{NutTurns: 0.5}})
	d.snap = d.f.snapshot()
	return siteOf(t, d)
}

// A clock is not asked what it does not have.
func TestOnlyWhatTheClockHas(t *testing.T) {
	s := newSite(t)
	for _, tt := range []struct {
		clock, kind string
		not         []string
	}{
		{"corn-hall", "oiled", []string{"points"}},
		{"corn-hall", "inspected", []string{"points", "line", "wires6", "season", "meter"}},
		{"corn-hall", "noted", []string{"season", "cutFrom", "meter"}},
		{"corn-hall", "repaired", []string{"line"}},
		{"bad", "set", []string{"change"}}, // its zone has no changes
		{"corn-hall", "regulated", []string{"undoes"}},
		{"quay", "set", []string{"arc", "weight", "corrector"}}, // it has no pendulum
		{"quay", "inspected", []string{"fallLeft"}},
	} {
		_, body := get(t, s, "/clock/"+tt.clock+"/log?kind="+tt.kind)
		for _, name := range tt.not {
			if strings.Contains(body, `name="`+name+`"`) {
				t.Errorf("%s, %s: asks for %s", tt.clock, tt.kind, name)
			}
		}
		// Nor is it read, if it comes.
		v := url.Values{"kind": {tt.kind}, "at": {"2026-11-24T09:00"}, "note": {"x"}, "bearing": {"centre-front"}, "work": {"refaced"}}
		for _, name := range tt.not {
			v.Set(name, "nonsense")
		}
		if res, _ := send(t, s, "/clock/"+tt.clock+"/log", v); res.StatusCode == 303 {
			if got := words(s.desk.logged[len(s.desk.logged)-1]); strings.Contains(got, "nonsense") {
				t.Errorf("%s, %s: what was not asked got in: %s", tt.clock, tt.kind, got)
			}
		}
	}
}

// What is asked often stands first and is little; the rest waits under More,
// which is open where it is answered or at fault.
func TestFewQuestionsFirst(t *testing.T) {
	s := careSite(t)
	first := func(body string) string {
		before, _, _ := strings.Cut(body, "<details")
		return before
	}
	for _, kind := range schedule.EntryKinds {
		_, body := get(t, s, "/clock/corn-hall/log?kind="+string(kind))
		if n := strings.Count(first(body), `class="field"`) - strings.Count(first(body), `type="file"`); n > 9 { // a picture is an offer, no question
			t.Errorf("%s asks %d questions at once", kind, n)
		}
		if strings.Count(body, "<details") != 1 || strings.Contains(body, "<details open") {
			t.Errorf("%s: More is missing, or open", kind)
		}
	}
	for query, name := range map[string]string{
		"kind=inspected&line=rope": "wires6", "kind=inspected&visit=on": "visit", "kind=noted&clears=do+not+run": "clears",
		"kind=noted&season=lamps": "season", "kind=set&change=2026-10-25": "change",
	} {
		if _, body := get(t, s, "/clock/corn-hall/log?"+query); !strings.Contains(first(body), `name="`+name+`"`) {
			t.Errorf("%s: %s does not stand with the first", query, name)
		}
	}
	v := goodForm(schedule.Wound)
	v.Set("arc", "wide")
	if _, body := send(t, s, "/clock/corn-hall/log", v); !strings.Contains(body, "<details open") {
		t.Error("More hides a fault")
	}
}

// details are what each kind of entry may carry (schedule.Detail).
func detailsOf(kind schedule.EntryKind) schedule.Detail {
	num := func(v float64) *float64 { return &v }
	fall := wear.Length(2000000)
	going := schedule.Detail{Celsius: num(-3), Pressure: num(1013.5), Arc: num(1.75), Weight: num(75), Corrector: num(-0.5)}
	d := schedule.Detail{}
	switch kind {
	case schedule.Wound:
		d = going
		d.Turns, d.Part, d.FallLeft, d.Meter, d.MeterNew, d.ErrorFound = 30.5, true, &fall, num(0), true, num(-4)
	case schedule.Oiled:
		d.Oil, d.Points, d.TopUp, d.OilFound, d.Residue = "no. 5", []string{"p-1", "p-2"}, true, schedule.OilGummed, schedule.ResidueBlack
	case schedule.Inspected:
		d = going
		d.Found, d.Visit, d.Line, d.Season, d.Points = schedule.Watch, true, "rope", "lamps", []string{"p-2"}
		d.Check = &schedule.LineCheck{Wires6: 2, Wires30: 5, Diameter: 5900, Strand: true, Rust: "at the pulley"}
		d.FallLeft, d.Meter, d.ErrorFound, d.OilFound, d.Residue = &fall, num(9998.5), num(3), schedule.OilClean, schedule.ResidueClear
	case schedule.Cleaned:
		d.OilFound, d.Residue = schedule.OilDry, schedule.ResidueGreen
	case schedule.Repaired:
		d.Line, d.Work = "rope", schedule.NewLine
	case schedule.Set:
		d = going
		d.ErrorFound, d.ErrorLeft, d.Change = num(-90), num(0), schedule.Date{Year: 2026, Month: 10, Day: 25}
	case schedule.Regulated:
		d = going
		d.NutTurns, d.Grams, d.Undoes = -0.25, -2.5, "an-earlier-one"
	case schedule.Noted:
		d = going
		d.ErrorFound = num(7)
		d.Lock, d.Season, d.Meter, d.MeterNew, d.Weight = schedule.DoNotRun, "lamps", num(12.5), true, num(80)
		d.CutFrom, d.CutTo = time.Date(2026, 11, 1, 10, 0, 13, 0, time.UTC), time.Date(2026, 11, 1, 12, 0, 0, 0, time.UTC)
		d.Clears = schedule.DoNotEnter
	}
	d.Old = true
	return d
}

// The form that corrects an entry holds all that it says, whether or not the
// clock's description leads to the question still.
func TestCorrectionKeepsAll(t *testing.T) {
	seen := map[string]bool{}
	for name, s := range map[string]site{"described": careSite(t), "not described": newSite(t)} {
		for _, kind := range schedule.EntryKinds {
			a, _ := s.desk.snap.Clock("corn-hall")
			want := schedule.Entry{ID: "e-1", Clock: "corn-hall", Kind: kind, At: now.Add(-time.Hour), Detail: detailsOf(kind), Note: "n"}
			a.Entries = append(slices.Clone(a.Entries), want)
			values := valuesOf(want, a.Zone)
			values.Set("replaces", "e-1")
			values.Set("why", "a slip")
			f := entryForm{a: a, fleet: s.desk.f.fleet, values: values, now: now}
			asked := map[string]bool{}
			for _, q := range f.fields(kind, nil) {
				asked[q.Name] = true
				if q.More && q.filled() {
					t.Errorf("%s, %s: %s, which the entry answers, is folded away", name, kind, q.Name)
				}
			}
			for n := range values {
				if values.Get(n) != "" && !asked[n] && n != "kind" && n != "replaces" {
					t.Errorf("%s, %s: the form has no %s", name, kind, n)
				}
			}
			got, faults := f.entry()
			if kind == schedule.Measured {
				continue // its reading has tests of its own
			}
			if len(faults) > 0 || !reflect.DeepEqual(got.Detail, want.Detail) {
				t.Errorf("%s, %s: %v\n got %s\nwant %s", name, kind, faults, words(got), words(want))
			}
			for v, i := reflect.ValueOf(want.Detail), 0; i < v.NumField(); i++ {
				if !v.Field(i).IsZero() {
					seen[v.Type().Field(i).Name] = true
				}
			}
		}
	}
	for typ, i := reflect.TypeFor[schedule.Detail](), 0; i < typ.NumField(); i++ {
		if name := typ.Field(i).Name; !seen[name] && !slices.Contains([]string{"Reading", "Sure", "Cause", "Since", "Until", "Fitted", "FittedSD", "NewPair"}, name) {
			t.Errorf("no entry was tried with %s", name)
		}
	}
}

// A log says in words all that an entry carries.
func TestEntryWordsOfCare(t *testing.T) {
	a, _ := careSite(t).desk.snap.Clock("corn-hall")
	for kind, want := range map[schedule.EntryKind][]string{
		schedule.Wound:     {"30.5 turns", "not wound fully", "2.00 m (6 ft 7 in) of fall left", "hour meter at 0 h", "meter put back or replaced", "-3 °C", "1013.5 hPa", "arc 1.75° to one side", "driving weight 75 kg", "corrector added -0.5 s a day", "found 4 s slow"},
		schedule.Oiled:     {"topped up", "with no. 5", "at Centre, front; p-2", "old oil gummed", "residue black"},
		schedule.Inspected: {"found watch", "the yearly visit, with a report", "Going line", "a strand broken", "2 broken wires in six diameters", "5 broken wires in thirty diameters", "5.9 mm (0.232 in) thick", "rust: at the pulley", "dial lights on"},
		schedule.Repaired:  {"new line", "Going line"},
		schedule.Set:       {"found 90 s slow", "left right", "for the change of time on 25 Oct 2026"},
		schedule.Regulated: {"bob lowered by 0.25 turns", "2.5 g taken off the pendulum", "taking back an earlier one"},
		schedule.Noted:     {"lock put on: do not run", "lock taken off: do not enter", "mains cut from", "dial lights on", "from an old book"},
	} {
		got := schedule.EntryWords(a.Clock, a.Zone, schedule.Entry{Kind: kind, Detail: detailsOf(kind)})
		for _, w := range want {
			if !strings.Contains(got, w) {
				t.Errorf("%s: no %q in %q", kind, w, got)
			}
		}
	}
	clean := schedule.Entry{Kind: schedule.Inspected, Detail: schedule.Detail{Line: "gone", Check: &schedule.LineCheck{}}}
	if got := schedule.EntryWords(a.Clock, a.Zone, clean); got != "inspected the clock: line gone, no broken wire seen" {
		t.Errorf("a clean look: %q", got)
	}
	many := schedule.Entry{Kind: schedule.Oiled, Detail: schedule.Detail{Points: []string{"a", "b", "c", "d", "e", "f"}}}
	if got := schedule.EntryWords(a.Clock, a.Zone, many); !strings.HasSuffix(got, "at a; b; c; d; and 2 more points") {
		t.Errorf("many points: %q", got)
	}
}

// Every kind of task leads to the form that logs it, filled in with what it tells.
func TestTasksLeadToForms(t *testing.T) {
	s := careSite(t)
	a, _ := s.desk.snap.Clock("corn-hall")
	for _, kind := range schedule.TaskKinds {
		if _, ok := answeredBy[kind]; !ok {
			t.Errorf("%s leads nowhere", kind)
		}
	}
	for _, tt := range []struct {
		kind          schedule.TaskKind
		subject, want string
	}{
		{schedule.Winding, "going", "do/wind?subject=going"},
		{schedule.Locked, "do-not-run", "log?clears=do+not+run&kind=noted"},
		{schedule.LineLook, "rope", "do/line?subject=rope"},
		{schedule.LineAge, "rope", "log?kind=repaired&line=rope"},
		{schedule.Visiting, "", "log?kind=inspected&visit=on"},
		{schedule.Setting, "", "do/set"},
		{schedule.TimeChange, "", "do/change"},
		{schedule.Seasonal, "lamps", "do/season?subject=lamps"},
		{schedule.PowerCheck, "chime", "do/power?subject=chime"},
		{schedule.Oiling, "centre-front", "do/oil?subject=centre-front"},
	} {
		a.Change = &schedule.ChangeState{On: schedule.Date{Year: 2027, Month: 3, Day: 28}}
		l := newTaskLine(schedule.Actor{Conservator: true}, s.desk.f.fleet, a, schedule.Task{Clock: "corn-hall", Kind: tt.kind, Subject: tt.subject})
		if want := "/clock/corn-hall/" + tt.want; l.Form != want {
			t.Errorf("%s leads to %s, want %s", tt.kind, l.Form, want)
			continue
		}
		if res, body := get(t, s, l.Form); res.StatusCode != 200 || !strings.Contains(body, "<button") {
			t.Errorf("%s answers %d", l.Form, res.StatusCode)
		}
	}
}

// The change of time is ticked off by the box, and only for the day that it names.
func TestChangeOfTimeIsTicked(t *testing.T) {
	s := careSite(t)
	day := schedule.Date{Year: 2026, Month: 10, Day: 25}
	_, body := get(t, s, "/clock/corn-hall/log?kind=set&change=2026-10-25")
	if !strings.Contains(body, "This was for the change of time on 25 Oct 2026") {
		t.Errorf("the box does not say which change: %s", body)
	}
	v := goodForm(schedule.Set)
	v.Set("change", "2026-10-25")
	if res, body := send(t, s, "/clock/corn-hall/log", v); res.StatusCode != 303 || s.desk.logged[0].Change != day {
		t.Errorf("answers %d: %s", res.StatusCode, body)
	}
	a, _ := s.desk.snap.Clock("corn-hall")
	a.Change = &schedule.ChangeState{On: day.Add(40)}
	for days, want := range map[int]bool{-61: false, -60: true, 0: true, 7: true, 8: false} {
		a.Change.On = schedule.DateOf(a.Now, a.Zone).Add(days)
		f := entryForm{a: a, values: url.Values{"kind": {"set"}}, now: now}
		if got := len(f.changeFields()) == 1; got != want {
			t.Errorf("a change %d days ahead is offered: %v", days, got)
		}
	}
	a.Change.On, a.Change.Done = day.Add(31), "e-1"
	if f := (entryForm{a: a, values: url.Values{}}); len(f.changeFields()) != 0 {
		t.Error("a change that is done is offered again")
	}
}

// Hostile words in what is described of a clock's care stay words on every form
// that offers them.
func TestHostileCareOnForms(t *testing.T) {
	s := careSite(t)
	c := &s.desk.f.fleet.Clocks[0]
	if n := spoil(reflect.ValueOf(&c.Care)); n < 15 {
		t.Fatalf("only %d texts were spoilt", n)
	}
	entries := s.desk.f.log["corn-hall"]
	for _, kind := range schedule.EntryKinds {
		e := schedule.Entry{ID: "h-" + string(kind), Clock: "corn-hall", Kind: kind, At: now.Add(-time.Hour), Detail: detailsOf(kind)}
		spoil(reflect.ValueOf(&e.Detail))
		entries = append(entries, e)
	}
	s.desk.f.log["corn-hall"] = entries
	s.desk.snap = s.desk.f.snapshot()
	shown := 0
	for _, path := range []string{"/clock/corn-hall"} {
		_, body := get(t, s, path)
		checkPage(t, path, body)
		checkTame(t, path, body)
		shown += strings.Count(body, "x-evil")
	}
	for _, kind := range schedule.EntryKinds {
		for _, query := range []string{"", "&replaces=h-" + string(kind)} {
			path := "/clock/corn-hall/log?kind=" + string(kind) + query
			_, body := get(t, s, path)
			checkPage(t, path, body)
			checkTame(t, path, body)
			shown += strings.Count(body, "x-evil")
		}
	}
	if shown < 30 {
		t.Errorf("what was written is shown %d times", shown)
	}
}
