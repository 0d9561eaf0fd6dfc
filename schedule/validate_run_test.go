package schedule

import (
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"endshake/wear"
)

// What a log says of stops and starts, tried against a clock that has gone
// since 2020-01-01, but for the given entries.
func TestStopsAndStarts(t *testing.T) {
	stop := did(Stopped, "2026-03-10 09:00", by(ByHand), called("stop"))
	start := did(Started, "2026-03-12 09:00", called("start"))
	rest := did(Stopped, "2026-03-10 09:00", by(Rest), until("2026-05-01"), called("stop"))
	again := did(Stopped, "2026-04-10 09:00", by(Fault), called("again"))
	seen := did(Inspected, "2026-03-09 09:00", found(Sound), called("seen"))
	for _, tt := range []struct {
		name     string
		log      []Entry
		e        Entry
		sentence string // empty: taken
	}{
		{"stop while going", nil, stop, ""},
		{"stop while stopped", []Entry{stop}, did(Stopped, "2026-03-11 09:00", by(Fault)), "the log has it stopped already"},
		{"start while stopped", []Entry{stop}, start, ""},
		{"start while going", []Entry{stop, start}, did(Started, "2026-03-13 09:00"), "the log has it going already"},
		{"start, and never a stop", nil, start, "taken as going since 1 Jan 2020: log first when it stopped"},
		{"start in the first month", nil, did(Started, "2020-01-20 09:00"), ""},
		{"start before the stop", []Entry{stop}, did(Started, "2026-03-09 09:00"), "taken as going since 1 Jan 2020"},
		{"stop put into the past, no start between", []Entry{stop, start}, did(Stopped, "2026-02-01 09:00", by(Weather)), "the log has it stopped already"},
		{"stop put between stop and start", []Entry{stop, start}, did(Stopped, "2026-03-11 09:00", by(Weather)), "the log has it stopped already"},
		{"stop put after the start", []Entry{stop, start}, did(Stopped, "2026-03-20 09:00", by(Weather)), ""},
		{"stop before a later stop", []Entry{stop, start, again}, did(Stopped, "2026-03-20 09:00", by(Weather)), "the log has it stopped already"},
		{"start put between two", []Entry{stop, start, again}, did(Started, "2026-03-20 09:00"), "the log has it going already"},
		{"stopped since before it was started", []Entry{stop, start}, did(Stopped, "2026-03-20 09:00", by(Birds), since("2026-03-11 09:00")), "before it was last logged going"},
		{"stopped since before it was wound", []Entry{did(Wound, "2026-03-19 09:00")}, did(Stopped, "2026-03-20 09:00", by(Birds), since("2026-03-18 09:00")), "before it was last logged going"},
		{"stopped since a good time", []Entry{stop, start}, did(Stopped, "2026-03-20 09:00", by(Birds), since("2026-03-19 09:00")), ""},
		{"of the strike alone", []Entry{stop}, did(Stopped, "2026-03-11 09:00", by(Fault), of("strike")), "strike train: "},
		{"of the strike, the going train being stopped", []Entry{did(Stopped, "2026-03-10 09:00", by(Fault), of("going"), called("g"))},
			did(Stopped, "2026-03-11 09:00", by(Fault), of("strike")), ""},
		{"of the clock, the strike being stopped", []Entry{did(Stopped, "2026-03-10 09:00", by(Fault), of("strike"), called("s"))},
			did(Stopped, "2026-03-11 09:00", by(Fault)), "strike train: "},
		{"inspected at rest", []Entry{rest}, did(Inspected, "2026-04-01 09:00", found(Sound)), ""},
		{"inspected at rest, the start logged", []Entry{stop, start}, did(Inspected, "2026-03-11 09:00", found(Sound)), ""},
		{"set before the start", []Entry{stop, start}, did(Set, "2026-03-12 08:55", wrongBy(nil, num(0))), ""},
		{"regulated after the start", []Entry{stop, start}, did(Regulated, "2026-03-14 08:55"), ""},
		{"set while stopped", []Entry{stop}, did(Set, "2026-03-12 09:00", wrongBy(nil, num(0))), ""},
		{"stopped since before it was seen", []Entry{seen}, did(Stopped, "2026-03-10 09:00", by(Birds), since("2026-03-08 09:00")), "before it was last logged going"},
		{"seen since it is said to have stopped", []Entry{did(Stopped, "2026-03-10 09:00", by(Birds), since("2026-03-08 09:00"), called("b"))}, seen, "before it was last logged going"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			log := book(slices.Clone(tt.log)...)
			err := try(tt.e, "UTC", log)
			if tt.sentence != "" {
				refused(t, err, Conflict, "kind", tt.sentence)
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			tt.e.ID = "new"
			if a := assess(pump(), append(log, tt.e), validNow); len(a.Problems) != 0 {
				t.Errorf("taken, and then it does not fit together: %q", a.Problems)
			}
		})
	}
}

func TestCorrections(t *testing.T) {
	for _, tt := range []struct {
		name     string
		e        Entry
		code     Code // empty: taken
		field    string
		sentence string
	}{
		{"a reading", did(Measured, "2026-04-01 10:00", gave(0.22), instead("right", "misread")), "", "", ""},
		{"an oiling to its right day", did(Oiled, "2026-04-30 10:00", instead("oil", "wrong day")), "", "", ""},
		{"without why", did(Oiled, "2026-04-30 10:00", instead("oil", "")), Invalid, "why", "say why"},
		{"of nothing known", did(Oiled, "2026-04-30 10:00", instead("nonsense", "typo")), NotFound, "replaces", "not in this clock's log"},
		{"twice", did(Measured, "2026-04-01 10:00", gave(0.22), instead("slip", "misread")), Conflict, "replaces", "corrected already: correct the newer one instead"},
		{"a start to a note", did(Noted, "2026-03-11 09:00", note("did not go"), instead("start", "it stopped again")), "", "", ""},
		{"a stop to a note, its start left over", did(Noted, "2026-03-10 09:00", note("was going"), instead("stop", "it was the other clock")), Conflict, "kind", "going already"},
		{"a stop to after its start", did(Stopped, "2026-03-12 09:00", by(Birds), instead("stop", "wrong day")), Conflict, "kind", "going already"},
		{"a stop to an hour later", did(Stopped, "2026-03-10 10:00", by(Birds), instead("stop", "wrong hour")), "", "", ""},
		{"a start to before its stop", did(Started, "2026-03-09 09:00", instead("start", "wrong day")), Conflict, "kind", "going"},
		{"a correction by a bad entry", did(Measured, "2026-04-01 10:00", instead("right", "misread")), Invalid, "value", "needs a reading"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			log := kept()
			before := slices.Clone(log)
			err := try(tt.e, "UTC", log)
			if tt.code != "" {
				refused(t, err, tt.code, tt.field, tt.sentence)
			} else if err != nil {
				t.Error(err)
			}
			if !reflect.DeepEqual(log, before) {
				t.Error("the log was changed")
			}
		})
	}
}

// A log that does not fit together, by an older slip or a new description of
// the clock, must take the entries that mend it, one after the other.
func TestBrokenLogsCanBeMended(t *testing.T) {
	log := book(
		did(Stopped, "2026-03-01 09:00", by(Fault), called("a")),
		did(Stopped, "2026-03-05 09:00", by(Fault), called("b")),
		did(Stopped, "2026-03-09 09:00", by(Fault), called("c")),
	)
	steps := []Entry{
		did(Inspected, "2026-03-02 09:00", found(Sound), called("look")),
		did(Started, "2026-03-03 09:00", called("d")),
		did(Noted, "2026-03-09 09:00", note("twice in the book"), instead("c", "the same stop"), called("e")),
	}
	for i, e := range steps {
		if err := try(e, "UTC", log); err != nil {
			t.Fatalf("step %d: %v", i+1, err)
		}
		log = append(log, book(e)...)
	}
	if a := assess(pump(), log, validNow); len(a.Problems) != 0 {
		t.Errorf("mended, and still: %q", a.Problems)
	}
	refused(t, try(did(Stopped, "2026-03-07 09:00", by(Fault)), "UTC", log), Conflict, "kind", "stopped already")
}

// The order in which entries were logged does not matter to what is refused.
func TestValidateLooksAtTheWholeLog(t *testing.T) {
	log := kept()
	slices.Reverse(log)
	refused(t, try(did(Started, "2026-03-10 12:00"), "UTC", log), Conflict, "kind", "going already")
	if err := try(did(Measured, "2026-04-02 10:00", gave(0.2)), "UTC", log); err != nil {
		t.Error(err)
	}
	c := pump()
	c.Trains = []wear.Train{}
	if err := Validate(did(Noted, "2026-04-02 10:00", note("no trains")), fleetOf("UTC", c), nil, Model{}, utc(validNow)); err != nil {
		t.Errorf("a clock without trains: %v", err)
	}
}

// A correction that says what the entry says is refused, however it is written
// down; whatever is different in what it says is a change.
func TestValidateChange(t *testing.T) {
	old := did(Wound, "2026-04-01 10:00", func(e *Entry) {
		e.ID, e.By, e.Note, e.Train, e.Turns = "w", "ned", "stiff", "going", 12
		e.ErrorFound, e.Points = new(-90.0), []string{}
	})
	same := old
	same.ID, same.Replaces, same.Why, same.Source, same.Key, same.Sure, same.ErrorFound, same.Points = "n", "w", "a slip", "command", "k", true, new(-90.0), nil
	same.RecordedAt, same.At = utc("2026-05-01"), old.At.In(time.FixedZone("", 7200)).Add(300*time.Millisecond)
	if err := ValidateChange(same, []Entry{old}); CodeOf(err) != Invalid || !strings.Contains(err.Error(), "says just what the entry says") {
		t.Errorf("nothing is changed: %v", err)
	}
	for name, change := range map[string]func(*Entry){
		"kind": func(e *Entry) { e.Kind = Noted }, "time": func(e *Entry) { e.At = e.At.Add(time.Minute) }, "who": func(e *Entry) { e.By = "" }, "note": func(e *Entry) { e.Note = "" },
		"train": func(e *Entry) { e.Train = "" }, "turns": func(e *Entry) { e.Turns++ }, "part": func(e *Entry) { e.Part = true }, "error": func(e *Entry) { e.ErrorFound = new(90.0) },
		"no error": func(e *Entry) { e.ErrorFound = nil }, "bearing": func(e *Entry) { e.Bearing = "b" }, "points": func(e *Entry) { e.Points = []string{"p"} },
		"no correction": func(e *Entry) { e.Replaces = "" }, "of nothing known": func(e *Entry) { e.Replaces = "x" },
	} {
		e := same
		change(&e)
		if err := ValidateChange(e, []Entry{old}); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}
