package schedule

import (
	"slices"
	"strings"
	"testing"

	"endshake/wear"
)

// kitted is a clock with lines and seasons.
func kitted() Clock {
	c := roped()
	c.Care.Seasons = lit("10-01", "10-31").Care.Seasons
	return c
}

// tell tries an entry on such a clock in a zone, on 20 November 2026.
func tell(zone string, e Entry, log ...Entry) error {
	return Validate(e, fleetOf(zone, kitted()), book(slices.Clone(log)...), Model{}, utc("2026-11-20 12:00"))
}

func TestCareTaken(t *testing.T) {
	const when = "2026-11-10 10:00"
	for name, e := range map[string]Entry{
		"a look at a line":               did(Inspected, when, ofLine("going-line", LineCheck{Wires6: 1, Wires30: 3, Diameter: mm(4.9), Rust: "none"})),
		"with its train":                 did(Inspected, when, of("going"), ofLine("going-line", LineCheck{})),
		"nothing counted":                did(Inspected, when, func(e *Entry) { e.Line = "strike-line" }),
		"wires in six diameters alone":   did(Inspected, when, ofLine("going-line", LineCheck{Wires6: 3})),
		"as many in thirty":              did(Inspected, when, ofLine("going-line", LineCheck{Wires6: 3, Wires30: 3})),
		"a line of no known diameter":    did(Inspected, when, ofLine("strike-line", LineCheck{Diameter: mm(90)})),
		"a visit":                        did(Inspected, when, visiting, found(Act)),
		"a new line":                     did(Repaired, when, newLine("going-line")),
		"a new line and its train":       did(Repaired, when, newLine("going-line"), of("going")),
		"seasonal work noted":            did(Noted, when, note("on"), season("lights")),
		"seasonal work and a look":       did(Inspected, when, found(Sound), season("lights")),
		"a change of time":               did(Set, when, changed("2026-10-25")),
		"a change of time, early":        did(Set, "2026-10-24", changed("2026-10-25")),
		"seasonal work, no words":        did(Noted, when, season("lights")),
		"the time alone, no words":       did(Noted, when, sees(3), warm(8), swings(1.5), func(e *Entry) { e.Pressure = num(1000) }),
		"a lock":                         did(Noted, when, note("x"), locking(DoNotRun)),
		"a bearing repaired as ever":     did(Repaired, when, left(0.1)),
		"a strand of which it is logged": did(Inspected, when, ofLine("going-line", LineCheck{Strand: true})),
	} {
		if err := tell("Europe/London", e); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestCareRefused(t *testing.T) {
	const when = "2026-11-10 10:00"
	for _, tt := range []struct {
		name     string
		e        Entry
		code     Code
		field    string
		sentence string
	}{
		{"unknown line", did(Inspected, when, ofLine("chime-line", LineCheck{})), NotFound, "line", `Pump Room has no line "chime-line": it has going-line, strike-line`},
		{"a lock with no words", did(Noted, when, locking(DoNotRun), sees(3)), Invalid, "note", "a note needs words"},
		{"an error left on a note", did(Noted, when, note("x"), leaves(0)), Invalid, "errorLeft", "only for set"},
		{"a count of no line", did(Inspected, when, func(e *Entry) { e.Check = &LineCheck{} }), Invalid, "line", "say which line was looked at: Pump Room has going-line"},
		{"a line of another train", did(Inspected, when, of("strike"), ofLine("going-line", LineCheck{})), Invalid, "line", `is on the train "going", not on "strike"`},
		{"a line and a bearing", did(Inspected, when, onBearing("centre-front"), ofLine("going-line", LineCheck{})), Invalid, "bearing", "both the line going-line and the bearing centre-front"},
		{"a line on an oiling", did(Oiled, when, func(e *Entry) { e.Line = "going-line" }), Invalid, "line", "only for inspected, repaired"},
		{"a count on a note", did(Noted, when, note("x"), func(e *Entry) { e.Check = &LineCheck{} }), Invalid, "check", "only for inspected"},
		{"fewer wires than none", did(Inspected, when, ofLine("going-line", LineCheck{Wires6: -1})), Invalid, "wires6", "-1 and 0 broken wires cannot be right"},
		{"fewer in thirty than none", did(Inspected, when, ofLine("going-line", LineCheck{Wires30: -1})), Invalid, "wires6", "cannot be right"},
		{"a wire rope of wires", did(Inspected, when, ofLine("going-line", LineCheck{Wires6: 1001})), Invalid, "wires6", "from 0 to 1000"},
		{"a million in thirty", did(Inspected, when, ofLine("going-line", LineCheck{Wires30: 1 << 40})), Invalid, "wires6", "cannot be right"},
		{"fewer in thirty than in six", did(Inspected, when, ofLine("going-line", LineCheck{Wires6: 4, Wires30: 3})), Invalid, "wires30", "3 broken wires in 30 diameters cannot be fewer than the 4 in 6"},
		{"a line of less than nothing", did(Inspected, when, ofLine("going-line", LineCheck{Diameter: -1})), Invalid, "diameter", "check the unit"},
		{"a line as thick as a leg", did(Inspected, when, ofLine("strike-line", LineCheck{Diameter: 101 * wear.Millimetre})), Invalid, "diameter", "check the unit"},
		{"thicker than it can be", did(Inspected, when, ofLine("going-line", LineCheck{Diameter: mm(6.26)})), Invalid, "diameter", "6.26 mm (0.246 in) is far above the 5 mm (0.197 in) that the line has"},
		{"rust with a nought", did(Inspected, when, ofLine("going-line", LineCheck{Rust: "\x00"})), Invalid, "rust", "control character"},
		{"a book on rust", did(Inspected, when, ofLine("going-line", LineCheck{Rust: strings.Repeat("a", 4001)})), Invalid, "rust", "too long"},
		{"a new line of nothing", did(Repaired, when, newLine("")), Invalid, "line", "say which line was replaced: Pump Room has going-line, strike-line"},
		{"a new line that is unknown", did(Repaired, when, newLine("chime-line")), NotFound, "line", "has no line"},
		{"a new line on a bearing", did(Repaired, when, newLine("going-line"), onBearing("centre-front")), Invalid, "bearing", "a new line is no work on a bearing"},
		{"a new line that leaves a freedom", did(Repaired, when, newLine("going-line"), func(e *Entry) { e.Fitted = 100 }), Invalid, "fitted", "leaves no freedom"},
		{"a new line of two metals", did(Repaired, when, newLine("going-line"), pair(wear.SteelOnBrass)), Invalid, "fitted", "no pair of materials"},
		{"a new bush on a line", did(Repaired, when, func(e *Entry) { e.Work, e.Line = NewBush, "going-line" }), Invalid, "line", `the work "new bush" is of a bearing and not of a line`},
		{"a bush with a line", did(Repaired, when, left(0.1), func(e *Entry) { e.Line = "going-line" }), Invalid, "line", "is of a bearing"},
		{"repaired nothing", did(Repaired, when), Invalid, "bearing", "or which line was replaced"},
		{"a visit that is an oiling", did(Oiled, when, visiting), Invalid, "visit", "only for inspected"},
		{"unknown season", did(Noted, when, note("x"), season("heater")), NotFound, "season", `no seasonal work "heater": it has lights (dial lights on)`},
		{"a season on an oiling", did(Oiled, when, season("lights")), Invalid, "season", "only for noted, inspected"},
		{"a change on a wind", did(Wound, when, changed("2026-10-25")), Invalid, "change", "only for set"},
		{"no such change", did(Set, when, changed("2026-10-26")), Invalid, "change", "the clocks of Europe/London do not change on 26 Oct 2026: the one near it is on 25 Oct 2026"},
		{"the change of another year", did(Set, when, changed("2025-10-26")), Invalid, "change", "lies 12 months from this setting"},
		{"a change to come", did(Set, when, changed("2027-03-28")), Invalid, "change", "lies 5 months from this setting"},
		{"a change five days off", did(Set, "2026-10-20 12:00", changed("2026-10-25")), Invalid, "change", "4 days before at the earliest"},
		{"a change of the strike", did(Set, when, of("strike"), changed("2026-10-25")), Invalid, "change", "the strike train has no hands"},
		{"a change in the year 1", did(Set, when, func(e *Entry) { e.Change = Date{1, 1, 1} }), Invalid, "change", "in the year 1 cannot be right"},
		{"a change in the year 9999", did(Set, when, func(e *Entry) { e.Change = Date{9999, 1, 1} }), Invalid, "change", "cannot be right"},
	} {
		t.Run(tt.name, func(t *testing.T) { refused(t, tell("Europe/London", tt.e), tt.code, tt.field, tt.sentence) })
	}
	early := did(Set, "2026-10-21 12:00", changed("2026-10-25"), called("early"))
	if err := tell("Europe/London", early); err != nil {
		t.Errorf("four days before: %v", err)
	}
	again, instead := did(Set, when, changed("2026-10-25")), did(Set, when, changed("2026-10-25"))
	instead.Replaces = "early"
	refused(t, validateTicked(again, []Entry{early}), Conflict, "change", "the change of 25 Oct 2026 is logged already")
	if err := validateTicked(instead, []Entry{early}); err != nil {
		t.Errorf("instead of the first: %v", err)
	}
	refused(t, tell("Asia/Tokyo", did(Set, when, changed("2026-10-25"))), Invalid, "change", "the clocks of Asia/Tokyo do not change on 25 Oct 2026: none is known of")
	bare := func(e Entry) error { return Validate(e, fleetOf("UTC", pump()), nil, Model{}, utc("2026-11-20 12:00")) }
	refused(t, bare(did(Inspected, when, ofLine("x", LineCheck{}))), NotFound, "line", "it has none")
	refused(t, bare(did(Noted, when, note("x"), season("x"))), NotFound, "season", "it has none")
}

// Every change of time that a zone has can be ticked on its own day, at
// midnight or not, and the day after none can.
func TestEveryChangeCanBeTicked(t *testing.T) {
	for _, name := range []string{"Europe/London", "America/Santiago", "Africa/Casablanca", "Australia/Lord_Howe", "America/Havana", "Asia/Gaza"} {
		zone := location(name)
		c := kitted()
		for _, x := range listed(zone, utc("2020-02-01"), utc("2026-11-01")) {
			e := doneAt(Set, x.at, func(e *Entry) { e.Change = DateOf(x.at, zone) })
			if err := validateChange(e, c, zone); err != nil {
				t.Errorf("%s: %v", name, err)
			}
			e.Change = e.Change.Add(3)
			if err := validateChange(e, c, zone); err == nil {
				t.Errorf("%s: %v can be ticked, and there is no change", name, e.Change)
			}
		}
	}
}

// A new description must not leave entries without what they are about.
func TestReplacedLinesAndSeasons(t *testing.T) {
	log := map[string][]Entry{"pump-room": book(did(Inspected, "2026-11-10", ofLine("going-line", LineCheck{})), did(Noted, "2026-11-11", note("on"), season("lights")))}
	now := utc("2026-11-20")
	if err := fleetOf("UTC", kitted()).CanReplace(log, now); err != nil {
		t.Fatal(err)
	}
	noLine, noSeason := kitted(), kitted()
	noLine.Care.Lines, noSeason.Care.Seasons = noLine.Care.Lines[1:], nil
	refused(t, fleetOf("UTC", noLine).CanReplace(log, now), Conflict, "clock pump-room", `an entry (inspected) of 10 Nov 2026 is about the line "going-line", which is no longer described`)
	refused(t, fleetOf("UTC", noSeason).CanReplace(log, now), Conflict, "clock pump-room", `about the seasonal work "lights", which is no longer described`)
}

// Lines are looked at, and the clockmaker comes, by policies with their source.
func TestPoliciesOfLines(t *testing.T) {
	with := func(p ...Policy) error { c := kitted(); c.Policies = p; return fleetOf("UTC", c).Validate() }
	if err := with(Policy{Task: LineLook, Days: 365, Source: "x"}, Policy{Task: LineLook, Line: "going-line", Days: 30, Source: "x"},
		Policy{Task: LineLook, Line: "strike-line", Train: "strike", Days: 30, Source: "x"}, Policy{Task: Visiting, Days: 365, Source: "x"}); err != nil {
		t.Error(err)
	}
	for _, p := range []Policy{
		{Task: LineLook, Line: "chime-line", Days: 30, Source: "x"}, {Task: Oiling, Line: "going-line", Days: 30, Source: "x"},
		{Task: LineLook, Line: "going-line", Train: "strike", Days: 30, Source: "x"},
	} {
		refused(t, with(p), Invalid, "clock pump-room", `names a line`)
	}
	twice := Policy{Task: LineLook, Line: "going-line", Days: 30, Source: "x"}
	refused(t, with(twice, twice), Invalid, "clock pump-room", "two policies for line inspection")
	refused(t, with(Policy{Task: LineAge, Days: 30, Source: "x"}), Invalid, "clock pump-room", `a policy for "new line" is not known: use one of winding, `)
}

// A change of time before a clock's log begins was never this log's to tick.
func TestChangeBeforeTheLog(t *testing.T) {
	for inCare, want := range map[string]string{"2026-10-25": "", "2026-11-01": "the change of 25 Oct 2026 lies before the log of Pump Room begins (1 Nov 2026): leave the day out"} {
		c := kitted()
		c.InCare = d(inCare)
		err := Validate(did(Set, "2026-11-10 10:00", changed("2026-10-25")), fleetOf("Europe/London", c), nil, Model{}, utc("2026-11-20 12:00"))
		if want == "" && err != nil {
			t.Errorf("%s: %v", inCare, err)
		} else if want != "" {
			refused(t, err, Invalid, "change", want)
		}
	}
}
