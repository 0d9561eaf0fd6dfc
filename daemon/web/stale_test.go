package web

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"

	"endshake/schedule"
)

// Each form that changes what is described or logged, filled in twice from one
// page in two tabs (W36): the first is taken, and the second is told that
// something was changed meanwhile, and changes nothing. Roles are given and taken
// one by one, so that of two who give different ones both are kept.
func TestStaleForms(t *testing.T) {
	e := audited(t)
	b := e.in("edda")
	shown := func(path, button string) url.Values {
		t.Helper()
		_, body := b.get(path)
		for _, f := range textForms(t, path, body) {
			if f.values.Has(button) {
				return f.values
			}
		}
		t.Fatalf("%s has no form with %s", path, button)
		return nil
	}
	and := func(v url.Values, more ...string) url.Values {
		out := url.Values{}
		for k, x := range v {
			out[k] = slices.Clone(x)
		}
		for i := 0; i < len(more); i += 2 {
			out.Set(more[i], more[i+1])
		}
		return out
	}
	person, me := shown("/people/tom", "version"), shown("/me", "version")
	old := e.desk.f.log["corn-hall"][0]
	for _, x := range e.desk.f.log["corn-hall"] {
		if x.Kind == schedule.Oiled {
			old = x
		}
	}
	correct := "/clock/corn-hall/log?kind=oiled&replaces=" + old.ID
	correction := and(shown(correct, "why"), "why", "the other oil")
	for _, tt := range []struct {
		name, path string
		one, two   url.Values
	}{
		{"somebody's details", "/people/tom", and(person, "act", "details", "name", "Tom Barley"), and(person, "act", "details", "name", "Thomas Barleymow")},
		{"one's own settings", "/me", and(me, "day", "3"), and(me, "day", "4")},
		{"a correction", "/clock/corn-hall/log", and(correction, "oil", "clock oil", "key", "tab one"), and(correction, "oil", "thick oil", "key", "tab two")},
		{"a message that is settled", "/inward/i1", url.Values{}, url.Values{}},
	} {
		res, body := b.send(tt.path, tt.one)
		status(t, tt.name+", the first", res, http.StatusSeeOther, "")
		if res.StatusCode != http.StatusSeeOther {
			t.Log(flat(t, body))
		}
		kept := e.kept()
		res, body = b.send(tt.path, tt.two)
		if status(t, tt.name+", the second", res, http.StatusConflict, ""); e.kept() != kept {
			t.Errorf("%s: the second has changed something", tt.name)
		}
		checkPage(t, tt.path, body)
	}
	// A program is told the same.
	body := fmt.Sprintf(`{"kind":"oiled","at":%q,"oil":"thick oil","by":"edda","replaces":%q,"why":"the other oil"}`, old.At.Format("2006-01-02T15:04:05Z07:00"), old.ID)
	n := len(e.desk.logged)
	if res, answer := b.ask(posting("/api/clocks/corn-hall/log", "application/json", body)); res.StatusCode != http.StatusConflict || len(e.desk.logged) != n {
		t.Errorf("a program that corrects what was corrected is answered %d: %s", res.StatusCode, answer)
	}
	// Roles from two tabs: neither takes away what the other gave.
	for _, role := range []string{"clockmaker", "winder"} {
		res, _ := b.send("/people/eve", url.Values{"act": {"give"}, "clock": {"quay"}, "role": {role}})
		status(t, "giving "+role, res, http.StatusSeeOther, "")
	}
	quay, _ := e.desk.f.fleet.Clock("quay")
	for _, role := range []schedule.Role{schedule.Clockmaker, schedule.Winder} {
		if !slices.Contains(quay.Duties, schedule.Duty{Person: "eve", Role: role}) {
			t.Errorf("eve is not %s of the quay clock: %v", role, quay.Duties)
		}
	}
}

// A role is not given on a clock that somebody else has changed in the store since
// this service looked (W36): their change would be lost.
func TestRoleOnAClockThatWasChanged(t *testing.T) {
	e := audited(t)
	b := e.in("edda")
	fleet := &e.desk.f.fleet
	i := slices.IndexFunc(fleet.Clocks, func(c schedule.Clock) bool { return c.Slug == "quay" })
	fleet.Clocks = slices.Clone(fleet.Clocks)
	fleet.Clocks[i].Note = "changed by another process" // the snapshot does not know of it yet
	for _, act := range []string{"give", "take"} {
		role := map[string]string{"give": "clockmaker", "take": "keeper"}[act]
		res, _ := b.send("/people/tom", url.Values{"act": {act}, "clock": {"quay"}, "role": {role}})
		status(t, act, res, http.StatusConflict, "")
	}
	if fleet.Clocks[i].Note != "changed by another process" || len(e.desk.saved) > 0 {
		t.Error("the change of another process is lost")
	}
}

// W21: who wrote an entry down, when, and by which way is not said by whoever logs
// it, by card or as a program.
func TestWrittenDownByWhom(t *testing.T) {
	e := strangers(t)
	kim := e.in("kim")
	v := cardLinesOf(map[string]string{"date": "2026-11-24", "time": "09:30", "kind": "noted", "note": "seen", "by": "tom"})
	for _, name := range []string{"recordedAt", "RecordedAt", "recorded-at", "source", "Source", "id", "ID", "actor"} {
		v.Set(name, "2001-01-01T00:00")
		v.Set(name+"-1", "2001-01-01T00:00")
	}
	res, body := kim.send("/clock/corn-hall/card/entry", v)
	if res.StatusCode != http.StatusSeeOther || len(e.desk.logged) != 1 {
		t.Fatalf("a card answers %d: %s", res.StatusCode, flat(t, body))
	}
	if got := e.desk.logged[0]; !got.RecordedAt.Equal(now) || got.By != "tom" || !strings.Contains(got.Source, "kim") || got.ID == "2001-01-01T00:00" {
		t.Errorf("by card: %+v", got)
	}
	program := e.reader("program")
	at := "/api/clocks/corn-hall/log"
	for _, field := range []string{"recordedAt", "recorded", "source", "id", "actor", "key", "clock", "recordedBy"} {
		said := map[string]any{"kind": "noted", "at": "2026-11-24T09:30:00Z", "note": "seen", field: "2001-01-01T00:00:00Z"}
		raw, err := json.Marshal(said)
		if err != nil {
			t.Fatal(err)
		}
		for who, b := range map[string]*visit{"a program": program, "kim": kim} {
			if res, body := b.ask(posting(at, "application/json", string(raw))); res.StatusCode != http.StatusBadRequest || len(e.desk.logged) != 1 {
				t.Errorf("%s that says %s is answered %d: %s", who, field, res.StatusCode, body)
			}
		}
	}
	for who, tt := range map[string]struct {
		b          *visit
		by, source string
	}{"a program": {program, "", schedule.ProgramPrefix + "gauge"}, "kim": {kim, "kim", "page"}} {
		n := len(e.desk.logged)
		res, body := tt.b.ask(posting(at, "application/json", fmt.Sprintf(`{"kind":"noted","at":"2026-11-24T09:30:00Z","note":"by %s"}`, who)))
		if res.StatusCode != http.StatusCreated || len(e.desk.logged) != n+1 {
			t.Fatalf("%s is answered %d: %s", who, res.StatusCode, body)
		}
		if got := e.desk.logged[n]; !got.RecordedAt.Equal(now) || got.By != tt.by || got.Source != tt.source {
			t.Errorf("by %s: %+v, want by %q from %q", who, got, tt.by, tt.source)
		}
	}
}
