package dbtest

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5/pgconn"

	"endshake/db"
	"endshake/schedule"
	"endshake/wear"
)

// appendChecked: the check is asked with the whole log, and what it says stands.
func appendChecked(t *testing.T, address string, s *db.Store) {
	withFleet(t, s, 2)
	want := Log(2, 30)
	must(t, s.AppendAll(t.Context(), "tester", Day, want))
	before, err := s.Entries(t.Context(), "clock-1")
	must(t, err)
	rev := revision(t, s)
	asked := 0
	for _, no := range []error{
		fmt.Errorf("plain"),
		&schedule.Error{Code: schedule.Invalid, Message: "not so"},
		&pgconn.PgError{Code: "40001"}, // not the database's, so not to be run again
	} {
		asked = 0
		_, _, err := s.Append(t.Context(), "tester", Day, measured("clock-1", Day, 1), func(log []schedule.Entry) error {
			asked++
			wantEqual(t, "log that the check got", log, before)
			return no
		}, notice("n"))
		if err != no || asked != 1 {
			t.Errorf("asked %d times, got %v, want %v as it is", asked, err, no)
		}
	}
	if revision(t, s) != rev || count(t, address, `SELECT count(*) FROM entry`) != 30 || count(t, address, `SELECT count(*) FROM notice`) != 0 {
		t.Error("a refused entry left something behind")
	}
	never := func([]schedule.Entry) error { return fmt.Errorf("asked of what is stored already") }
	if _, already, err := s.Append(t.Context(), "tester", Day, want[3], never); err != nil || !already {
		t.Errorf("sent again: already %v, %v", already, err)
	}
	_, _, err = s.Append(t.Context(), "tester", Day, measured("nowhere", Day, 1), never)
	wantCode(t, err, schedule.NotFound)
	yes := func([]schedule.Entry) error { asked++; return nil }
	if _, _, err := s.Append(t.Context(), "tester", Day, measured("clock-1", Day, 1), yes); err != nil || asked != 2 {
		t.Errorf("asked %d times in all, %v", asked, err)
	}
	// A log as it was read before is asked about as it is, but never one to which
	// somebody has added since.
	now, err := s.Entries(t.Context(), "clock-1")
	must(t, err)
	for _, known := range [][]schedule.Entry{now, before, nil} {
		no, same := fmt.Errorf("no"), false
		_, _, err := s.AppendTo(t.Context(), "tester", Day, measured("clock-1", Day, 1), known, func(log []schedule.Entry) error {
			wantEqual(t, "log beside a known one", log, now)
			same = len(known) > 0 && &log[0] == &known[0]
			return no
		})
		if err != no || same != (len(known) == len(now)) {
			t.Errorf("of %d known entries, %d stored: taken as they are %v, %v", len(known), len(now), same, err)
		}
	}
}

// fleetChecked: the check is asked with what is stored before the change.
func fleetChecked(t *testing.T, address string, s *db.Store) {
	withFleet(t, s, 3)
	must(t, s.AppendAll(t.Context(), "tester", Day, Log(3, 30)))
	log, err := s.Log(t.Context())
	must(t, err)
	delete(log, "clock-2") // not named below
	f := Fleet(5)
	f.Clocks = append(f.Clocks[:2], f.Clocks[4])
	f.Clocks[1].Note = "changed"
	rev := revision(t, s)
	no := &schedule.Error{Code: schedule.Conflict, Message: "not so"}
	asked := 0
	check := func(stored schedule.Fleet, got map[string][]schedule.Entry) error {
		asked++
		wantEqual(t, "fleet that the check got", stored, Fleet(3))
		wantEqual(t, "logs that the check got", got, log)
		if asked == 1 {
			return no
		}
		return nil
	}
	if err := s.SaveFleet(t.Context(), "tester", Day, f, check); err != no {
		t.Errorf("got %v, want %v as it is", err, no)
	}
	wantFleet(t, s, "after a refusal", Fleet(3))
	if revision(t, s) != rev {
		t.Error("a refused fleet moved the revision")
	}
	must(t, s.SaveFleet(t.Context(), "tester", Day, f, check))
	if asked != 2 {
		t.Errorf("asked %d times, want 2", asked)
	}
}

func keys(t *testing.T, address string, s *db.Store) {
	withFleet(t, s, 2)
	e := measured("clock-0", Day, 1)
	e.Key = "form-1"
	first, already, err := s.Append(t.Context(), "tester", Day, e, nil, notice("n1"))
	must(t, err)
	if already {
		t.Error("the first was there already")
	}
	rev := revision(t, s)
	second, already, err := s.Append(t.Context(), "tester", minutes(1), e, nil, notice("n2"))
	must(t, err)
	if !already {
		t.Error("the second was not there already")
	}
	wantEqual(t, "the second", second, first)
	if revision(t, s) != rev || count(t, address, `SELECT count(*) FROM notice`) != 1 {
		t.Error("the second left something behind")
	}
	e.Key = "" // not guarded
	for range 2 {
		if _, already, err = s.Append(t.Context(), "tester", Day, e, nil); err != nil || already {
			t.Errorf("without a key: already %v, %v", already, err)
		}
	}
}

// forms are what may come again with the key of fullEntry.
var forms = []struct {
	name string
	same bool
	mend func(*schedule.Entry)
}{
	{"as it is", true, func(e *schedule.Entry) {}},
	{"from another zone", true, func(e *schedule.Entry) { e.At = e.At.In(time.FixedZone("far", 3600)).Add(time.Nanosecond) }},
	{"logged later, by another way", true, func(e *schedule.Entry) { e.ID, e.RecordedAt, e.Source = "", minutes(500), "command" }},
	{"another clock", false, func(e *schedule.Entry) { e.Clock = "clock-1" }},
	{"kind", false, func(e *schedule.Entry) { e.Kind = schedule.Stopped }},
	{"at", false, func(e *schedule.Entry) { e.At = e.At.Add(time.Microsecond) }},
	{"train", false, func(e *schedule.Entry) { e.Train = "strike" }},
	{"bearing", false, func(e *schedule.Entry) { e.Bearing = "centre-back" }},
	{"by", false, func(e *schedule.Entry) { e.By = "a-winder" }},
	{"note", false, func(e *schedule.Entry) { e.Note = "" }},
	{"replaces", false, func(e *schedule.Entry) { e.Replaces = Log(2, 1)[0].ID }},
	{"why", false, func(e *schedule.Entry) { e.Why = "a slip" }},
	{"detail", false, func(e *schedule.Entry) { e.Until = schedule.Date{Year: 2027, Month: 3, Day: 1} }},
	{"not sure", false, func(e *schedule.Entry) { e.Sure = false }},
	{"no detail", false, func(e *schedule.Entry) { e.Detail = schedule.Detail{} }},
	{"reading", false, func(e *schedule.Entry) { e.Reading = &wear.Reading{Shake: wear.SideShake, Value: 124} }},
}

// keySaysTheSame: a key answers only for the entry it came with.
func keySaysTheSame(t *testing.T, address string, s *db.Store) {
	withFleet(t, s, 2)
	must(t, s.AppendAll(t.Context(), "tester", Day, Log(2, 3)))
	first := fullEntry()
	_, _, err := s.Append(t.Context(), "tester", Day, first, nil)
	must(t, err)
	for _, test := range forms {
		t.Run(test.name, func(t *testing.T) {
			rev := revision(t, s)
			e := fullEntry()
			test.mend(&e)
			got, already, err := s.Append(t.Context(), "tester", Day, e, nil)
			many := s.AppendAll(t.Context(), "tester", Day, []schedule.Entry{measured("clock-0", Day, 1), e})
			if test.same {
				must(t, err)
				must(t, many)
				wantEqual(t, "what was logged", got, first)
				if !already {
					t.Error("not there already")
				}
				return
			}
			for _, err := range []error{err, many} {
				wantCode(t, err, schedule.Conflict)
				if !strings.Contains(err.Error(), "this form was logged already as repaired on 25 Nov 2026 at 11:00 UTC: ") {
					t.Errorf("got %q", err)
				}
			}
			if revision(t, s) != rev {
				t.Error("a refused key left something behind")
			}
		})
	}
	one, two := measured("clock-0", Day, 1), measured("clock-0", Day, 2)
	one.Key, two.Key = "twice", "twice"
	wantCode(t, s.AppendAll(t.Context(), "tester", Day, []schedule.Entry{one, two}), schedule.Conflict)
}
