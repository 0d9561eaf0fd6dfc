package dbtest

import (
	"math"
	"strings"
	"testing"
	"time"

	"endshake/db"
	"endshake/schedule"
	"endshake/wear"
)

func fleetRoundTrip(t *testing.T, address string, s *db.Store) {
	empty, err := s.Fleet(t.Context())
	must(t, err)
	wantEqual(t, "empty fleet", empty, schedule.Fleet{})
	want := Fleet(5)
	must(t, want.Validate())
	must(t, s.SaveFleet(t.Context(), "tester", Day, want, nil))
	wantEqual(t, "the fleet given was changed", want, Fleet(5))
	got, err := s.Fleet(t.Context())
	must(t, err)
	wantEqual(t, "fleet", got, want)
}

// What others described since is named where a fleet would undo it; what one did
// oneself, what is the same, and what is new is not.
func fleetUndone(t *testing.T, address string, s *db.Store) {
	undone := func(f schedule.Fleet) []string {
		t.Helper()
		rows, err := s.UndoneBy(t.Context(), "tester", f)
		must(t, err)
		var out []string
		for _, r := range rows {
			out = append(out, r.Subject+" by "+r.Actor)
		}
		return out
	}
	if got := undone(Fleet(3)); got != nil {
		t.Errorf("of a new fleet: %v", got)
	}
	withFleet(t, s, 3)
	f := Fleet(4)
	f.Clocks[0].Name = "otherwise"
	if got := undone(f); got != nil {
		t.Errorf("of one's own: %v", got)
	}
	f = Fleet(3)
	f.Clocks[1].Duties, f.People[1].Email, f.Sites[0].Climate.Daily = nil, "winder@example.org", 4.25
	must(t, s.SaveFleet(t.Context(), "ada", minutes(1), f, nil))
	if got := undone(f); got != nil {
		t.Errorf("of the same: %v", got)
	}
	wantEqual(t, "undone", undone(Fleet(3)), []string{"site tower by ada", "person a-winder by ada", "clock clock-1 by ada"})
	must(t, s.SaveFleet(t.Context(), "tester", minutes(2), Fleet(3), nil))
	if got := undone(f); got != nil {
		t.Errorf("after it was undone: %v", got)
	}
	f.Clocks[0].Name = "not \x00 text"
	if _, err := s.UndoneBy(t.Context(), "tester", f); err == nil {
		t.Error("what cannot be stored was compared")
	}
}

func fleetChanges(t *testing.T, address string, s *db.Store) {
	withFleet(t, s, 3)
	rev := revision(t, s)
	must(t, s.SaveFleet(t.Context(), "tester", Day, Fleet(3), nil))
	if got := revision(t, s); got != rev {
		t.Errorf("saving the same fleet moved the revision from %d to %d", rev, got)
	}

	f := Fleet(3)
	f.Clocks[1].Trains = f.Clocks[1].Trains[1:]
	f.Clocks[1].Trains[0].Arbors[1].Bearings[0].Act.Size = 700
	f.Clocks[1].Trains[0].Meshes = f.Clocks[1].Trains[0].Meshes[1:]
	f.Clocks[1].Duties = nil
	f.Clocks[1].Trains[0].MeterHours = 99999
	f.Clocks[1].Care.Lines[0].MostYears = 15
	f.Sites[0].Climate.Daily = 4.25
	f.People[1].Email = "winder@example.org"
	must(t, s.SaveFleet(t.Context(), "the conservator", minutes(1), f, nil))
	wantFleet(t, s, "after a change", f)
	rows, err := s.Audit(t.Context(), 3)
	must(t, err)
	for i, want := range []string{"clock clock-1", "person a-winder", "site tower"} {
		if r := rows[i]; r.Subject != want || r.Actor != "the conservator" || !r.At.Equal(minutes(1)) {
			t.Errorf("audit row %d is %+v, want %s", i, r, want)
		}
	}
	if !strings.Contains(rows[0].Detail, "700") {
		t.Errorf("the audit does not say what it became: %s", rows[0].Detail)
	}
	if got := revision(t, s); got != rev+3 || rows[0].ID != got {
		t.Errorf("revision %d after three changes from %d, last audit row %d", got, rev, rows[0].ID)
	}
}

// fleetOrder: what a fleet names keeps the place that it should.
func fleetOrder(t *testing.T, address string, s *db.Store) {
	withFleet(t, s, 3)
	f := Fleet(3)
	// Naming one clock alone leaves the others where they are.
	f.Clocks[2].Note = "new note"
	must(t, s.SaveFleet(t.Context(), "tester", Day, schedule.Fleet{Clocks: []schedule.Clock{f.Clocks[2]}}, nil))
	wantFleet(t, s, "after naming one", f)
	// Naming everything in another order takes that order.
	f.Clocks[0], f.Clocks[2] = f.Clocks[2], f.Clocks[0]
	f.Sites[0], f.Sites[1] = f.Sites[1], f.Sites[0]
	rev := revision(t, s)
	must(t, s.SaveFleet(t.Context(), "tester", Day, f, nil))
	wantFleet(t, s, "in another order", f)
	if revision(t, s) <= rev {
		t.Error("a new order did not move the revision")
	}
	// A new clock alone comes last.
	extra := Fleet(5).Clocks[4]
	must(t, s.SaveFleet(t.Context(), "tester", Day, schedule.Fleet{Clocks: []schedule.Clock{extra}}, nil))
	f.Clocks = append(f.Clocks, extra)
	wantFleet(t, s, "with one more", f)
}

func wantFleet(t *testing.T, s *db.Store, what string, want schedule.Fleet) {
	t.Helper()
	got, err := s.Fleet(t.Context())
	must(t, err)
	wantEqual(t, "fleet "+what, got, want)
}

func revision(t *testing.T, s *db.Store) int64 {
	t.Helper()
	n, err := s.Revision(t.Context())
	must(t, err)
	return n
}

func fleetRefused(t *testing.T, address string, s *db.Store) {
	withFleet(t, s, 2)
	tests := []struct {
		name string
		code schedule.Code // empty: it is stored
		mend func(*schedule.Fleet)
	}{
		{"as it is", "", func(f *schedule.Fleet) {}},
		{"no such site", schedule.NotFound, func(f *schedule.Fleet) { f.Clocks[1].Site = "nowhere" }},
		{"no such person", schedule.NotFound, func(f *schedule.Fleet) { f.Clocks[1].Duties[0].Person = "nobody" }},
		{"a bearing twice", schedule.Invalid, func(f *schedule.Fleet) {
			a := &f.Clocks[1].Trains[1].Arbors[1]
			a.Bearings[1].Code = a.Bearings[0].Code
		}},
		{"a mesh twice", schedule.Invalid, func(f *schedule.Fleet) {
			f.Clocks[1].Trains[0].Meshes = f.Clocks[1].Trains[1].Meshes[:1]
		}},
		{"a module that is no number", schedule.Invalid, func(f *schedule.Fleet) { f.Clocks[1].Trains[1].Meshes[0].Module = math.NaN() }},
		{"a month that has no mean", schedule.Invalid, func(f *schedule.Fleet) {
			f.Sites[0].Climate = &schedule.Climate{Months: [12]float64{3: math.NaN()}}
		}},
		{"a tolerance without end", schedule.Invalid, func(f *schedule.Fleet) { f.Clocks[1].Care.Tolerance = &schedule.Tolerance{Seconds: math.Inf(1)} }},
		{"a blow that is no number", schedule.Invalid, func(f *schedule.Fleet) { f.Clocks[1].Trains[0].Weight = &wear.Weight{TurnBlows: math.NaN()} }},
		{"a line fitted on no day", schedule.Invalid, func(f *schedule.Fleet) {
			f.Clocks[1].Care.Lines = []schedule.Line{{Code: "rope", Train: "strike", FittedAt: schedule.Date{Year: 2027, Month: 2, Day: 29}}}
		}},
		{"NUL in a season", schedule.Invalid, func(f *schedule.Fleet) { f.Clocks[1].Care.Seasons = []schedule.Season{{Name: "a\x00"}} }},
		{"a chance that is no number", schedule.Invalid, func(f *schedule.Fleet) { f.Clocks[1].Policies[0].Risk = math.NaN() }},
		{"NUL in a note", schedule.Invalid, func(f *schedule.Fleet) { f.Clocks[1].Note = "a\x00b" }},
		{"broken UTF-8 deep inside", schedule.Invalid, func(f *schedule.Fleet) {
			f.Clocks[1].Trains[1].Arbors[1].Bearings[0].Act = &wear.Limit{Size: 600, Source: "\xff"}
		}},
		{"in care since before any year", schedule.Invalid, func(f *schedule.Fleet) { f.Clocks[1].InCare.Year = 0 }},
		{"in care since the year 10000", schedule.Invalid, func(f *schedule.Fleet) { f.Clocks[1].InCare.Year = 10000 }},
		{"a year that is none", schedule.Invalid, func(f *schedule.Fleet) {
			f.Clocks[1].Trains[1].Arbors[1].Bearings[0].FittedAt = time.Date(12026, 1, 1, 0, 0, 0, 0, time.UTC)
		}},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			f := Fleet(2)
			f.Clocks[0].Note = "changed by " + test.name
			test.mend(&f)
			err := s.SaveFleet(t.Context(), "tester", Day, f, nil)
			got, readErr := s.Fleet(t.Context())
			must(t, readErr)
			if test.code == "" {
				must(t, err)
				wantEqual(t, "fleet", got, f)
				return
			}
			wantCode(t, err, test.code)
			if got.Clocks[0].Note == f.Clocks[0].Note {
				t.Error("half of a refused fleet was stored")
			}
		})
	}
}

// size: a database takes room, and more with a large log in it.
func size(t *testing.T, address string, s *db.Store) {
	before, err := s.Size(t.Context())
	must(t, err)
	withFleet(t, s, 4)
	var log []schedule.Entry
	for i := range 4000 {
		log = append(log, measured("clock-0", minutes(i), i))
	}
	must(t, s.AppendAll(t.Context(), "tester", Day, log))
	if after, err := s.Size(t.Context()); err != nil || before < 4096 || after < before+100_000 {
		t.Errorf("%d bytes, and %d with 4000 entries: %v", before, after, err)
	}
}
