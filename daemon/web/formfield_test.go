package web

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"endshake/schedule"
)

// goodForms is a form of each kind, filled in as a person would.
var goodForms = map[schedule.EntryKind]map[string]string{
	schedule.Wound: {"train": "going", "turns": "12", "part": "on", "errorFound": "12", "errorFoundWay": "slow", "errorLeft": "1", "errorLeftWay": "slow", "fallLeft": "2 m",
		"meter": "1234.5", "meterNew": "", "celsius": "-3", "arc": "1.75", "pressure": "1013", "weight": "75", "corrector": "-0.5"},
	schedule.Oiled: {"train": "going", "bearing": "", "oil": "marine oil", "oilFound": "gummed", "residue": "black", "points": "p-1", "topUp": "on"},
	schedule.Inspected: {"found": "watch", "errorFound": "3", "errorFoundWay": "fast", "errorLeft": "1", "errorLeftWay": "fast", "visit": "on", "train": "going", "line": "rope", "wires6": "1",
		"wires30": "2", "diameter": "5.9 mm", "strand": "", "rust": "at the pulley", "season": "", "points": "p-1", "oilFound": "clean",
		"residue": "clear", "fallLeft": "2 m", "meter": "1234.5", "meterNew": "", "celsius": "4", "arc": "1.75", "pressure": "1013", "weight": "75", "corrector": "0.5"},
	schedule.Measured: {"bearing": "centre-front", "value": "0.58 mm", "gauge": "0.02 mm", "instrument": "feeler", "load": "off", "celsius": "-4.5"},
	schedule.Repaired: {"bearing": "centre-front", "work": "new washer", "fitted": "0.25 mm", "fittedSD": "0.01 mm", "pair": "steel on brass", "line": ""},
	schedule.Stopped:  {"train": "", "cause": "birds", "since": "2026-11-24T08:00", "until": ""},
	schedule.Started:  {"train": ""},
	schedule.Cleaned:  {"train": "strike", "oilFound": "dry", "residue": "green"},
	schedule.Set: {"errorFound": "90", "errorFoundWay": "slow", "errorLeft": "0", "errorLeftWay": "fast",
		"celsius": "4", "arc": "1.75", "pressure": "1013", "weight": "75", "corrector": "0.5"},
	schedule.Regulated: {"nutTurns": "0.25", "nutWay": "down", "grams": "2", "gramsWay": "off", "undoes": "", "errorFound": "3", "errorFoundWay": "slow", "errorLeft": "0", "errorLeftWay": "fast",
		"celsius": "4", "arc": "1.75", "pressure": "1013", "weight": "75", "corrector": "0.5"},
	schedule.Noted: {"season": "lamps", "lock": "", "clears": "", "cutFrom": "2026-11-23T09:00", "cutTo": "2026-11-23T12:00",
		"train": "", "meter": "", "meterNew": "", "errorFound": "3", "errorFoundWay": "fast",
		"celsius": "4", "arc": "1.75", "pressure": "1013", "weight": "75", "corrector": "0.5"},
}

// goodForm is that form with what every kind asks.
func goodForm(kind schedule.EntryKind) url.Values {
	v := url.Values{"kind": {string(kind)}, "at": {"2026-11-24T09:00"}, "by": {"tom"}, "note": {"As found."}, "key": {"k1"}, "old": {""}}
	for name, value := range goodForms[kind] {
		v.Set(name, value)
	}
	return v
}

// Every kind of form asks for just the fields that it reads: what is filled in
// is there again when the form is shown once more.
func TestEveryFormAsksWhatItReads(t *testing.T) {
	s := careSite(t)
	for _, kind := range schedule.EntryKinds {
		_, body := get(t, s, "/clock/corn-hall/log?kind="+string(kind))
		asked, want := filled(t, body), goodForm(kind)
		var missing []string
		for name := range want {
			if !asked.Has(name) && !strings.Contains(body, `name="`+name+`"`) {
				missing = append(missing, name)
			}
		}
		for name := range asked {
			if !want.Has(name) && name != "picture" && name != "whose" { // which are no figures
				missing = append(missing, "not in the test: "+name)
			}
		}
		if len(missing) > 0 {
			t.Errorf("%s: %v", kind, missing)
		}
		checkPage(t, string(kind), body)
	}
}

// mistakes are values that a kind of field cannot take, with what is said.
var mistakes = []struct {
	fields []string
	value  string
	says   string
}{
	{[]string{"at", "since"}, "soon", "is no date and time"},
	{[]string{"at", "since"}, "2026-03-29T01:30", "does not exist in Europe/London"},
	{[]string{"at", "since"}, "9999-12-31T23:59", "cannot be right"},
	{[]string{"at"}, "2027-01-01T00:00", "lies in the future"},
	{[]string{"at"}, "2015-03-31T23:59", "is before the log of Corn Hall clock begins"},
	{[]string{"until"}, "1 May", "is not a day"},
	{[]string{"since"}, "2026-11-24T10:00", "after it was found stopped"},
	{[]string{"turns", "nutTurns"}, "a few", "is not a plain number"},
	{[]string{"turns", "nutTurns"}, "1e999", "is not a plain number"},
	{[]string{"turns", "nutTurns"}, "NaN", "is not a plain number"},
	{[]string{"turns", "nutTurns"}, "0x10", "is not a plain number"},
	{[]string{"nutTurns", "grams"}, "-5", "choose the direction beside it"},
	{[]string{"errorFoundWay"}, "", "Choose whether it was fast or slow"},
	{[]string{"errorFound", "errorLeft"}, "a few", errorSaid},
	{[]string{"errorFound", "errorLeft"}, "1e999", errorSaid},
	{[]string{"errorFound", "errorLeft"}, "NaN", errorSaid},
	{[]string{"errorFound", "errorLeft"}, "0x10", errorSaid},
	{[]string{"errorFound", "errorLeft"}, "1 h 30", errorSaid},
	{[]string{"errorFound", "errorLeft"}, "1.35", "can be read in two ways, 1.35 s or 1 min 35 s"},
	{[]string{"turns"}, "-5", "nothing less than 0"},
	{[]string{"cutFrom", "cutTo"}, "soon", "is no date and time"},
	{[]string{"celsius", "corrector"}, "warm", "is not a plain number"},
	{[]string{"celsius", "corrector", "arc", "pressure", "weight", "meter", "grams"}, "+Inf", "is not a plain number"},
	{[]string{"arc", "pressure", "weight", "meter"}, "-1", "nothing less than 0"},
	{[]string{"wires6", "wires30"}, "1.5", "write a whole number"},
	{[]string{"wires6", "wires30"}, "1e9", "write a whole number"},
	{[]string{"wires6", "wires30"}, "-2", "nothing less than 0"},
	{[]string{"points"}, "p-9", "is not offered here"},
	{[]string{"points"}, "dry-1", "is not offered here"}, // it must stay dry
	{[]string{"oilFound", "residue", "line", "season", "lock", "clears", "undoes"}, "splendid", "is not offered here"},
	{[]string{"line"}, "", "Choose the line that was looked at"},
	{[]string{"value", "gauge", "fitted", "fittedSD", "fallLeft", "diameter"}, "0.4", "has no unit"},
	{[]string{"value", "gauge", "fitted", "fittedSD", "fallLeft", "diameter"}, "four mm", "mm"},
	{[]string{"value", "gauge", "fitted", "fittedSD", "fallLeft", "diameter"}, "1e400 mm", "mm"},
	{[]string{"gauge"}, "2 in", "beyond 5 mm"},
	{[]string{"value"}, "", "Give the reading with its unit"},
	{[]string{"by"}, "nobody", "There is no person"},
	{[]string{"train"}, "quarter", "has no train"},
	{[]string{"bearing"}, "escape-rear", "bearing"},
	{[]string{"cause"}, "boredom", "say why it stopped"},
	{[]string{"found"}, "splendid", "is not known"},
	{[]string{"work"}, "magic", "say what was done"},
	{[]string{"pair"}, "cheese on toast", "not known"},
	{[]string{"load"}, "sideways", "is not known"},
	{[]string{"by", "note", "oil", "instrument", "value", "turns", "rust", "fallLeft", "grams"}, "\xff\xfe", "bytes that are not letters"},
	{[]string{"note", "oil", "instrument"}, "bell\x07", "control"},
}

// errorSaid is the one sentence about an error that cannot be read.
const errorSaid = "cannot be read as an error: write 90, 1:30 or 2 min, with fast or slow."

// Each mistake in each kind of form is refused with a sentence at the top that
// names it; nothing is logged and nothing that was typed is lost.
func TestEveryMistakeKeepsTheForm(t *testing.T) {
	s := careSite(t)
	tried := map[string]bool{}
	for _, kind := range schedule.EntryKinds {
		for _, m := range mistakes {
			for _, name := range m.fields {
				v := goodForm(kind)
				if !v.Has(name) || name == "line" && m.value == "" && kind != schedule.Inspected {
					continue
				}
				tried[name] = true
				v.Set(name, m.value)
				what := fmt.Sprintf("%s with %s=%q", kind, name, m.value)
				res, body := send(t, s, "/clock/corn-hall/log", v)
				if res.StatusCode != 422 && res.StatusCode != 404 && res.StatusCode != 409 {
					t.Errorf("%s answers %d", what, res.StatusCode)
					continue
				}
				checkPage(t, what, body)
				checkRefusal(t, what, m.says, body)
				checkKept(t, what, name, v, body)
			}
		}
	}
	if len(s.desk.logged) > 0 {
		t.Errorf("%d entries were logged", len(s.desk.logged))
	}
	for kind := range goodForms {
		for name := range goodForm(kind) {
			if !tried[name] && !slices.Contains([]string{"kind", "key", "part", "errorFoundWay", "errorLeftWay", "nutWay",
				"gramsWay", "topUp", "visit", "strand", "meterNew", "old"}, name) {
				t.Errorf("no mistake in the field %s was tried", name)
			}
		}
	}
}

// checkRefusal looks for a sentence that says what is wrong, at the top of the
// page and beside a field.
func checkRefusal(t *testing.T, what, says, body string) {
	t.Helper()
	var top, beside string
	for _, n := range nodes(t, body) {
		if role, _ := attr(n, "role"); role == "alert" {
			top += textOf(n)
		}
		if class, _ := attr(n, "class"); class == "fault" {
			beside += textOf(n)
		}
	}
	for where, said := range map[string]string{"at the top": top, "beside the field": beside} {
		if !strings.Contains(strings.ToLower(said), strings.ToLower(says)) || !strings.HasSuffix(said, ".") {
			t.Errorf("%s: %s it says %q, wanted %q", what, where, said, says)
		}
	}
}

// checkKept looks for all that was typed, but for the field at fault.
func checkKept(t *testing.T, what, fault string, v url.Values, body string) {
	t.Helper()
	again := filled(t, body)
	for name := range v {
		if name != fault && again.Get(name) != v.Get(name) {
			t.Errorf("%s: %s was %q and is now %q", what, name, v.Get(name), again.Get(name))
		}
	}
}

// An error has its direction from the choice or from its sign: there is no
// usual one, and the two must agree. What is right needs none.
func TestDirectionOfAnError(t *testing.T) {
	for _, tt := range []struct {
		text, way string
		want      float64
		fault     string // field; empty: it is taken
	}{
		{"90", "fast", 90, ""}, {"90", "slow", -90, ""}, {"+90", "", 90, ""}, {"-1:30", "", -90, ""}, {"\u22121 min 30 s", "", -90, ""}, {"+ 12,5", "fast", 12.5, ""},
		{"-12", "slow", -12, ""}, {"0", "", 0, ""}, {"0", "slow", 0, ""}, {"90", "", 0, "errorFoundWay"}, {"90", "sideways", 0, "errorFoundWay"}, {"+90", "slow", 0, "errorFoundWay"},
		{"-90", "fast", 0, "errorFoundWay"}, {"--90", "", 0, "errorFound"}, {"-", "", 0, "errorFound"}, {"+NaN", "", 0, "errorFound"}, {"+Inf", "", 0, "errorFound"},
		{"1:35 fast", "", 95, ""}, {"95 s slow", "", -95, ""}, {"2 min fast", "fast", 120, ""}, {"95 slow", "fast", 0, "errorFoundWay"}, {"1.35", "fast", 0, "errorFound"}, {"1.35 s", "fast", 1.35, ""},
	} {
		r := reader{entryForm: entryForm{values: url.Values{"errorFound": {tt.text}, "errorFoundWay": {tt.way}}}, asks: map[string]field{"errorFound": {}}}
		got := r.signed("errorFound", "errorFoundWay")
		switch {
		case tt.fault == "" && (got == nil || *got != tt.want || len(r.faults) > 0):
			t.Errorf("%q and %q: %v, %v", tt.text, tt.way, got, r.faults)
		case tt.fault != "" && (len(r.faults) != 1 || r.faults[0].Field != tt.fault):
			t.Errorf("%q and %q: %v", tt.text, tt.way, r.faults)
		}
		for _, q := range []field{way("w", "It was")} {
			if q.Options[0].Value != "" {
				t.Errorf("a direction is chosen beforehand: %v", q.Options)
			}
		}
	}
}

// A form that is sent again after its mistake was mended is logged.
func TestMendedFormIsLogged(t *testing.T) {
	for _, kind := range schedule.EntryKinds {
		s := careSite(t)
		if kind == schedule.Started { // only a clock that stands can be started
			send(t, s, "/clock/corn-hall/log", url.Values{"kind": {"stopped"}, "cause": {"by hand"}, "at": {"2026-11-24T08:00"}})
		}
		before := len(s.desk.logged)
		v := goodForm(kind)
		v.Set("at", "soon")
		_, body := send(t, s, "/clock/corn-hall/log", v)
		mended := filled(t, body)
		mended.Set("at", "2026-11-24T09:00")
		res, body := send(t, s, "/clock/corn-hall/log", mended)
		if res.StatusCode != http.StatusSeeOther || len(s.desk.logged) != before+1 {
			t.Errorf("%s answers %d: %s", kind, res.StatusCode, body)
			continue
		}
		direct := careSite(t)
		if kind == schedule.Started {
			send(t, direct, "/clock/corn-hall/log", url.Values{"kind": {"stopped"}, "cause": {"by hand"}, "at": {"2026-11-24T08:00"}})
		}
		send(t, direct, "/clock/corn-hall/log", goodForm(kind))
		if got, want := words(s.desk.logged[before]), words(direct.desk.logged[before]); got != want {
			t.Errorf("%s: mended it becomes\n%s\nand at once\n%s", kind, got, want)
		}
	}
}

// What a kind of form does not ask is not read, whatever is sent along.
func TestFieldsOfOtherKindsAreNotRead(t *testing.T) {
	for _, kind := range schedule.EntryKinds {
		s := careSite(t)
		v := url.Values{}
		for _, other := range schedule.EntryKinds {
			for name := range goodForms[other] {
				v.Set(name, "nonsense")
			}
		}
		for name, values := range goodForm(kind) {
			v[name] = values
		}
		if kind == schedule.Started {
			continue // the clock goes
		}
		for _, extra := range []string{"id", "clock", "source", "recordedAt", "why"} {
			v.Set(extra, "forged")
		}
		res, body := send(t, s, "/clock/corn-hall/log", v)
		if res.StatusCode != http.StatusSeeOther {
			t.Errorf("%s answers %d: %s", kind, res.StatusCode, body)
			continue
		}
		if got := words(s.desk.logged[0]); strings.Contains(got, "nonsense") || strings.Contains(got, "forged") || !strings.Contains(got, `"Source":"page"`) {
			t.Errorf("%s: what was not asked got in: %s", kind, got)
		}
	}
}

// Hostile text in any field that takes text stays text, when it is refused and
// when it is logged.
func TestHostileTextInEveryField(t *testing.T) {
	const bad = `"><x-evil onclick="alert(1)">&amp;{{.}}</textarea></select>`
	for _, kind := range schedule.EntryKinds {
		for name := range goodForm(kind) {
			s := careSite(t)
			v := goodForm(kind)
			v.Set(name, bad)
			res, body := send(t, s, "/clock/corn-hall/log", v)
			what := fmt.Sprintf("%s with %s", kind, name)
			if res.StatusCode == http.StatusSeeOther {
				_, body = get(t, s, res.Header.Get("Location"))
			}
			checkPage(t, what, body)
			for _, n := range nodes(t, body) {
				if n.Data == "x-evil" {
					t.Errorf("%s: the text became an element", what)
				}
			}
			if again := filled(t, body); res.StatusCode == 422 && name == "note" && again.Get(name) != bad {
				t.Errorf("%s: the text is now %q", what, again.Get(name))
			}
		}
	}
}

// The form that a link opens is filled in from it, and only with what fits.
func TestFormsOpenedByLinks(t *testing.T) {
	s := careSite(t)
	for _, tc := range []struct{ query, field, want string }{
		{"kind=measured&bearing=escape-front", "bearing", "escape-front"},
		{"kind=measured&bearing=none", "bearing", ""},
		{"kind=wound&train=strike", "train", "strike"},
		{"kind=wound&train=none", "train", ""},
		{"kind=noted&by=tom", "by", "tom"},
		{"kind=noted&by=eve", "by", "eve"}, // no duty here, but known
		{"kind=noted&by=none", "by", ""},
		{"kind=noted&note=planted", "note", ""},
		{"kind=inspected&line=rope", "line", "rope"},
		{"kind=inspected&line=none", "line", ""},
		{"kind=inspected&visit=on", "visit", "on"},
		{"kind=inspected&found=act", "found", ""},
		{"kind=repaired&line=rope", "line", "rope"},
		{"kind=noted&season=lamps", "season", "lamps"},
		{"kind=noted&season=none", "season", ""},
		{"kind=noted&clears=do+not+run", "clears", "do not run"},
		{"kind=noted&lock=do+not+run", "lock", ""},
		{"kind=set&change=2026-10-25", "change", "2026-10-25"},
		{"kind=set&change=2026-13-45", "change", ""},
		{"kind=set&change=%3Cb%3E", "change", ""},
		{"kind=noted&change=2026-10-25", "change", ""},
		{"kind=noted&at=1999-01-01T00:00", "at", "2026-11-25T10:00"},
		{"kind=noted&key=planted", "key", "key-1"},
	} {
		_, body := get(t, s, "/clock/corn-hall/log?"+tc.query)
		if got := filled(t, body).Get(tc.field); got != tc.want {
			t.Errorf("%s: %s is %q, want %q", tc.query, tc.field, got, tc.want)
		}
	}
	if res, body := get(t, s, "/clock/corn-hall/log?kind=polished"); res.StatusCode != 200 || !strings.Contains(body, "What happened?") {
		t.Errorf("an unknown kind answers %d without asking what happened", res.StatusCode)
	}
}

// An error with hundredths comes back from the form of its correction as it was,
// and is not asked back.
func TestHundredthsOfAnErrorAreKept(t *testing.T) {
	for _, want := range []float64{1.35, -12.05, 90, -0.5, 0} {
		v := valuesOf(schedule.Entry{Kind: schedule.Wound, Detail: schedule.Detail{ErrorFound: &want}}, time.UTC)
		r := reader{entryForm: entryForm{values: v}, asks: map[string]field{"errorFound": {}}}
		if got := r.signed("errorFound", "errorFoundWay"); got == nil || *got != want || len(r.faults) > 0 {
			t.Errorf("%v comes back as %v, %v", want, got, r.faults)
		}
	}
}
