package dbtest

import (
	"fmt"
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"endshake/db"
	"endshake/schedule"
	"endshake/wear"
)

func entryRoundTrip(t *testing.T, address string, s *db.Store) {
	withFleet(t, s, 3)
	full := reflect.ValueOf(fullEntry().Detail)
	for i := range full.NumField() {
		if full.Field(i).IsZero() {
			t.Errorf("the full entry has no %s: fill it in, so that it is seen to be kept", full.Type().Field(i).Name)
		}
	}
	for _, e := range append(Log(3, 6), fullEntry()) {
		stored, already, err := s.Append(t.Context(), "tester", Day, e, nil)
		must(t, err)
		if already {
			t.Errorf("entry %s was there already", e.ID)
		}
		wantEqual(t, "entry as returned", stored, e)
		log, err := s.Entries(t.Context(), e.Clock)
		must(t, err)
		wantEqual(t, "entry as read", log[len(log)-1], e)
	}
	bare, _, err := s.Append(t.Context(), "tester", Day, schedule.Entry{Clock: "clock-1", Kind: schedule.Noted, At: Day}, nil)
	must(t, err)
	if len(bare.ID) != 36 || bare.ID[14] != '7' || !bare.RecordedAt.Equal(Day) {
		t.Errorf("the store gave ID %q and time %v", bare.ID, bare.RecordedAt)
	}
	rows, err := s.Audit(t.Context(), 1)
	must(t, err)
	if r := rows[0]; r.Subject != "clock clock-1" || r.Detail != "noted "+bare.ID || r.Action != "logged" {
		t.Errorf("audit row %+v", r)
	}
}

// fullEntry has a value in every field.
func fullEntry() schedule.Entry {
	found, left := 12.5, -0.25
	e := schedule.Entry{ID: "01900000-0000-7000-9000-000000000000", Clock: "clock-0", Kind: schedule.Repaired, At: minutes(90),
		Train: "going", Bearing: "centre-front", By: "z-keeper", Note: "two lines\nof it", RecordedAt: minutes(95), Source: "page", Key: "full"}
	e.Reading = &wear.Reading{Shake: wear.SideShake, Value: 123} // no gauge, no temperature
	e.Sure, e.Detail.Turns, e.Part, e.Cause, e.Since = true, 3.25, true, schedule.Birds, minutes(-5)
	e.Until, e.Oil, e.Found = schedule.Date{Year: 2027, Month: 2, Day: 28}, "synthetic", schedule.Watch
	e.Work, e.Fitted, e.FittedSD, e.NewPair = schedule.NewBush, 90, 15, wear.SteelOnSteel
	e.ErrorFound, e.ErrorLeft, e.NutTurns = &found, &left, -0.125
	fullDetail(&e.Detail)
	return e
}

// fullDetail fills in what a clock's care asks.
func fullDetail(d *schedule.Detail) {
	fall, meter, celsius, pressure, arc, weight, corrector := wear.Length(4500000), 9998.5, -3.25, 1013.25, 1.75, 75.5, -0.5
	d.FallLeft, d.Meter, d.MeterNew, d.CutFrom, d.CutTo = &fall, &meter, true, minutes(10), minutes(70)
	d.Points, d.TopUp, d.OilFound, d.Residue, d.Visit = []string{"p-1", "p-2"}, true, schedule.OilGummed, schedule.ResidueBlack, true
	d.Line, d.Check = "rope", &schedule.LineCheck{Wires6: 2, Wires30: 5, Diameter: 5870, Strand: true, Rust: "at the pulley"}
	d.Lock, d.Clears, d.Season = schedule.DoNotRun, schedule.DoNotEnter, "lamps"
	d.Grams, d.Undoes = -2.5, "01900000-0000-7000-8000-000000000001"
	d.Celsius, d.Pressure, d.Arc, d.Weight, d.Corrector = &celsius, &pressure, &arc, &weight, &corrector
	d.Change, d.Old = schedule.Date{Year: 2026, Month: time.October, Day: 25}, true
}

// unfitEntry makes a measured entry unfit to be stored.
type unfitEntry struct {
	name string
	code schedule.Code // empty: it is stored
	mend func(*schedule.Entry)
}

func unfit(first schedule.Entry) []unfitEntry {
	return []unfitEntry{
		{"as it is", "", func(e *schedule.Entry) {}},
		{"no such clock", schedule.NotFound, func(e *schedule.Entry) { e.Clock = "nowhere" }},
		{"no clock", schedule.NotFound, func(e *schedule.Entry) { e.Clock = "" }},
		{"no time", schedule.Invalid, func(e *schedule.Entry) { e.At = time.Time{} }},
		{"an ID that is taken", schedule.Conflict, func(e *schedule.Entry) { e.ID = first.ID }},
		{"replaces nothing", schedule.NotFound, func(e *schedule.Entry) { e.Replaces = "none" }},
		{"replaces another clock's", schedule.NotFound, func(e *schedule.Entry) { e.Clock, e.Replaces = "clock-1", first.ID }},
		{"not a number", schedule.Invalid, func(e *schedule.Entry) { e.Turns = math.NaN() }},
		{"a point that is no text", schedule.Invalid, func(e *schedule.Entry) { e.Points = []string{"p-1", "\xff"} }},
		{"a weight that is no number", schedule.Invalid, func(e *schedule.Entry) { e.Weight = new(float64); *e.Weight = math.NaN() }},
		{"NUL in a look at a line", schedule.Invalid, func(e *schedule.Entry) { e.Check = &schedule.LineCheck{Rust: "a\x00"} }},
		{"a cut in the year 10000", schedule.Invalid, func(e *schedule.Entry) { e.CutTo = time.Date(12026, 1, 1, 0, 0, 0, 0, time.UTC) }},
		{"no end", schedule.Invalid, func(e *schedule.Entry) { e.Reading.Celsius = new(float64); *e.Reading.Celsius = math.Inf(1) }},
		{"NUL", schedule.Invalid, func(e *schedule.Entry) { e.Oil = "a\x00" }},
		{"NUL in the reading", schedule.Invalid, func(e *schedule.Entry) { e.Reading.Instrument = "\x00" }},
		{"broken UTF-8", schedule.Invalid, func(e *schedule.Entry) { e.Why = "\xc3\x28" }},
		{"a day in the year 10000", schedule.Invalid, func(e *schedule.Entry) { e.Until = schedule.Date{Year: 10000, Month: 1, Day: 1} }},
		{"a day in no year", schedule.Invalid, func(e *schedule.Entry) { e.Until = schedule.Date{Month: 1, Day: 1} }},
		{"no such day", schedule.Invalid, func(e *schedule.Entry) { e.Until = schedule.Date{Year: 2027, Month: 2, Day: 29} }},
	}
}

func entryRefused(t *testing.T, address string, s *db.Store) {
	withFleet(t, s, 2)
	first, _, err := s.Append(t.Context(), "tester", Day, measured("clock-0", Day, 0), nil)
	must(t, err)
	for i, test := range unfit(first) {
		t.Run(test.name, func(t *testing.T) {
			before := count(t, address, `SELECT count(*) FROM entry`)
			e := measured("clock-0", minutes(i+1), i)
			test.mend(&e)
			one, _, err := s.Append(t.Context(), "tester", Day, e, nil)
			many := s.AppendAll(t.Context(), "tester", Day, []schedule.Entry{measured("clock-0", minutes(-i), i), e})
			if test.code == "" {
				must(t, err)
				must(t, many)
				if one.ID == "" {
					t.Error("stored without an ID")
				}
				return
			}
			wantCode(t, err, test.code)
			if schedule.CodeOf(many) == "" {
				t.Errorf("in bulk: %v", many)
			}
			if after := count(t, address, `SELECT count(*) FROM entry`); after != before {
				t.Errorf("%d entries became %d", before, after)
			}
		})
	}
}

func logOrder(t *testing.T, address string, s *db.Store) {
	withFleet(t, s, 2)
	at := func(id string, at, recorded int) schedule.Entry {
		return schedule.Entry{ID: id, Clock: "clock-0", Kind: schedule.Noted, At: minutes(at), RecordedAt: minutes(recorded)}
	}
	must(t, s.AppendAll(t.Context(), "tester", Day, []schedule.Entry{
		at("f", 3, 9), at("B", 2, 5), at("a", 2, 5), at("d", 2, 4), at("e", 1, 8)}))
	other := schedule.Entry{ID: "x", Clock: "clock-1", Kind: schedule.Noted, At: Day, RecordedAt: Day}
	must(t, s.AppendAll(t.Context(), "tester", Day, []schedule.Entry{other}))
	log, err := s.Entries(t.Context(), "clock-0")
	must(t, err)
	var order string
	for _, e := range log {
		order += e.ID
	}
	if order != "edBaf" {
		t.Errorf("order %s, want edBaf", order)
	}
	all, err := s.Log(t.Context())
	must(t, err)
	wantEqual(t, "log of the fleet", all, map[string][]schedule.Entry{"clock-0": log, "clock-1": {other}})
	none, err := s.Entries(t.Context(), "nowhere")
	if err != nil || none != nil {
		t.Errorf("an unknown clock has %v, %v", none, err)
	}
}

func appendAll(t *testing.T, address string, s *db.Store) {
	withFleet(t, s, 4)
	want := Log(4, 250) // more than two statements' worth, and a rest
	rev := revision(t, s)
	must(t, s.AppendAll(t.Context(), "tester", Day, append(want, want[7]))) // one key twice
	if got := revision(t, s); got != rev+1 {
		t.Errorf("%d audit rows for the whole, want 1", got-rev)
	}
	must(t, s.AppendAll(t.Context(), "tester", Day, want))
	again := Log(4, 250)
	for i := range again {
		again[i].ID = "" // as from a file: only the key is the same
	}
	must(t, s.AppendAll(t.Context(), "tester", Day, again))
	if got := revision(t, s); got != rev+1 {
		t.Error("the same rows again moved the revision")
	}
	log, err := s.Log(t.Context())
	must(t, err)
	byClock := map[string][]schedule.Entry{}
	for _, e := range want {
		byClock[e.Clock] = append(byClock[e.Clock], e)
	}
	wantEqual(t, "log", log, byClock)

	fix := Log(4, 1)[0]
	fix.ID, fix.Key, fix.Replaces, fix.Why = "fix", "", want[0].ID, "slip of the unit"
	bad := fix
	bad.ID = "fix-again"
	wantCode(t, s.AppendAll(t.Context(), "tester", Day, []schedule.Entry{fix, bad}), schedule.Conflict)
	must(t, s.AppendAll(t.Context(), "tester", Day, []schedule.Entry{fix}))
}

func appendOnly(t *testing.T, address string, s *db.Store) {
	withFleet(t, s, 1)
	_, _, err := s.Append(t.Context(), "tester", Day, measured("clock-0", Day, 1), nil)
	must(t, err)
	_, err = s.SaveLearned(t.Context(), lesson())
	must(t, err)
	d := raw(t, address)
	statements := []string{
		`UPDATE entry SET note = 'x'`, `DELETE FROM entry`,
		`UPDATE reading SET value_um = 1`, `DELETE FROM reading`,
		`UPDATE audit SET actor = 'x'`, `DELETE FROM audit`, `UPDATE audit SET detail = '', salt = substr(salt, 1, 0)`,
		`UPDATE audit SET subject = 'person 1, erased', detail = '', salt = substr(salt, 1, 0)`, `UPDATE audit SET hash = seal`,
		`UPDATE learned SET body = '{}'`, `DELETE FROM learned`,
	}
	if s.Engine() == "postgres" {
		statements = append(statements, `TRUNCATE entry CASCADE`, `TRUNCATE audit`, `TRUNCATE learned`)
	}
	for _, statement := range statements {
		_, err := d.Exec(statement)
		if err == nil || !strings.Contains(err.Error(), "never changed") {
			t.Errorf("%s: %v, want it refused in words", statement, err)
		}
	}
	log, err := s.Entries(t.Context(), "clock-0")
	must(t, err)
	if len(log) != 1 || log[0].Reading == nil || log[0].Reading.Value != 201 {
		t.Errorf("the log is now %+v", log)
	}
}

// unreadable: a row that others have put there is an error that names it, and
// not an entry that is silently missing; other clocks' logs are read.
func unreadable(t *testing.T, address string, s *db.Store) {
	withFleet(t, s, 2)
	must(t, s.AppendAll(t.Context(), "tester", Day, Log(2, 4)))
	_, err := raw(t, address).Exec(`INSERT INTO entry (id, clock, kind, at, train, bearing, person, note, detail, why, recorded_at, source, key)
		SELECT 'odd one', clock, kind, at, '', '', '', '', '{"until":"10000-01-01"}', '', recorded_at, '', '' FROM entry WHERE key = 'row-0'`)
	must(t, err)
	for clock, bad := range map[string]bool{"clock-0": true, "clock-1": false} {
		_, err := s.Entries(t.Context(), clock)
		if (err != nil) != bad || (bad && !strings.Contains(err.Error(), "entry odd one: ")) {
			t.Errorf("%s: %v", clock, err)
		}
	}
	if _, err := s.Log(t.Context()); err == nil {
		t.Error("the log of the fleet was read without an entry")
	}
}

func corrections(t *testing.T, address string, s *db.Store) {
	withFleet(t, s, 1)
	first, _, err := s.Append(t.Context(), "tester", Day, measured("clock-0", Day, 1), nil)
	must(t, err)
	fix := measured("clock-0", Day, 2)
	fix.Replaces, fix.Why = first.ID, "read in thou"
	second, _, err := s.Append(t.Context(), "tester", minutes(1), fix, nil)
	must(t, err)
	_, _, err = s.Append(t.Context(), "tester", minutes(2), fix, nil)
	wantCode(t, err, schedule.Conflict)
	fix.Replaces = second.ID
	third, _, err := s.Append(t.Context(), "tester", minutes(2), fix, nil)
	must(t, err)
	log, err := s.Entries(t.Context(), "clock-0")
	must(t, err)
	wantEqual(t, "log", log, []schedule.Entry{first, second, third})
	if counts := schedule.Effective(log); len(counts) != 1 || counts[0].ID != third.ID {
		t.Errorf("log that counts %+v, want the third alone", counts)
	}
}

// atomicAppend: an entry whose owed notice cannot be stored leaves nothing.
func atomicAppend(t *testing.T, address string, s *db.Store) {
	withFleet(t, s, 1)
	taken := notice("taken")
	taken.ID = "an-id"
	_, err := s.Owe(t.Context(), Day, []schedule.Notice{taken})
	must(t, err)
	rev := revision(t, s)
	clash := notice("another key")
	clash.ID = "an-id" // fails only once it is inserted, after the entry
	_, _, err = s.Append(t.Context(), "tester", Day, measured("clock-0", Day, 1), nil, notice("good"), clash)
	if err == nil {
		t.Fatal("the second notice took an ID that is taken")
	}
	_, _, err = s.Append(t.Context(), "tester", Day, measured("clock-0", Day, 1), nil, schedule.Notice{To: "zoe@example.org"})
	wantCode(t, err, schedule.Invalid)
	for table, want := range map[string]int{"entry": 0, "reading": 0, "notice": 1} {
		if n := count(t, address, `SELECT count(*) FROM `+table); n != want {
			t.Errorf("%d rows in %s, want %d", n, table, want)
		}
	}
	if revision(t, s) != rev {
		t.Error("the revision moved")
	}
}

func hostileText(t *testing.T, address string, s *db.Store) {
	withFleet(t, s, 1)
	for i, text := range []string{
		`Robert'); DROP TABLE entry; --`, `"quoted" 'twice' \ $1 ? :x %s`, "🕰️ ticks 👩‍🔧", "שעון \u202eabc", "e\u0301 and é",
		"2026-01-01", "2026-01-01 10:00:00", "2026-01-01T10:00:00Z", "12:30", "0", "1e5", "true", "null", "{}", "[]", "<b>&amp;",
		"\t tab \r\n\x01\x7f", "\u2028\ufeff\ufffd", strings.Repeat("long ", 20000),
	} {
		e := schedule.Entry{Clock: "clock-0", Kind: schedule.Noted, At: minutes(i), Train: text, Bearing: text, By: text,
			Note: text, Why: text, Source: text, Key: text}
		e.Oil, e.Reading = text, &wear.Reading{Shake: wear.EndShake, Instrument: text}
		want, _, err := s.Append(t.Context(), text, Day, e, nil)
		must(t, err)
		log, err := s.Entries(t.Context(), "clock-0")
		must(t, err)
		wantEqual(t, "entry", log[len(log)-1], want)
		if same, already, err := s.Append(t.Context(), text, Day, e, nil); err != nil || !already || same.ID != want.ID {
			t.Errorf("by key %.20q: already %v, %v", text, already, err)
		}
		n := schedule.Notice{Key: text, Person: text, Subject: text, Occurrence: text, Title: text, Reply: text, Raw: []byte(text), NextTry: minutes(i)}
		_, err = s.Owe(t.Context(), Day, []schedule.Notice{n})
		must(t, err)
		claimed, err := s.ClaimNotices(t.Context(), text, minutes(i), time.Hour, 10)
		must(t, err)
		if len(claimed) != 1 || claimed[0].Title != text || claimed[0].Reply != text || string(claimed[0].Raw) != text || claimed[0].Key != text {
			t.Errorf("notice with %.20q came back as %+v", text, claimed)
		}
	}
}

// microTimes: both engines keep whole microseconds, in UTC, whatever the zone
// the time came in.
func microTimes(t *testing.T, address string, s *db.Store) {
	withFleet(t, s, 1)
	zone := time.FixedZone("far", 5*3600+45*60)
	for i, at := range []time.Time{
		time.Date(2026, 3, 29, 1, 30, 0, 999999999, time.UTC),
		time.Date(1752, 9, 2, 23, 59, 59, 1000, zone),
		time.Date(1969, 12, 31, 23, 59, 59, 999999500, time.UTC),
		time.Date(9999, 12, 31, 12, 0, 0, 0, zone),
		time.Date(2026, 1, 1, 0, 0, 0, 500000000, time.Local),
	} {
		id := fmt.Sprint("micro-", i)
		e := schedule.Entry{ID: id, Clock: "clock-0", Kind: schedule.Noted, At: at, RecordedAt: at}
		e.Since = at
		stored, _, err := s.Append(t.Context(), "tester", at, e, nil)
		must(t, err)
		log, err := s.Log(t.Context())
		must(t, err)
		want := at.UTC().Truncate(time.Microsecond)
		for _, got := range log["clock-0"] {
			if got.ID == id && (got.At != want || got.RecordedAt != want || got.Since != want || stored.At != want) {
				t.Errorf("%v came back as %v, %v, %v", at, got.At, got.RecordedAt, got.Since)
			}
		}
		rows, err := s.Audit(t.Context(), 1)
		must(t, err)
		if rows[0].At != want {
			t.Errorf("audit has %v, want %v", rows[0].At, want)
		}
	}
	_, _, err := s.Append(t.Context(), "tester", Day, schedule.Entry{Clock: "clock-0", At: time.Date(10000, 1, 1, 0, 0, 0, 0, time.UTC)}, nil)
	wantCode(t, err, schedule.Invalid)
}
