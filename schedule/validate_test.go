package schedule

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"endshake/wear"
)

const validNow = "2026-06-01 12:00"

// kept is the log that entries are tried against: going since 2020, stopped
// for birds in March 2026 and started the next day, one reading corrected.
func kept() []Entry {
	return book(
		did(Wound, "2026-03-01 09:00", called("wind")),
		did(Stopped, "2026-03-10 09:00", by(Birds), called("stop")),
		did(Started, "2026-03-11 09:00", called("start")),
		did(Measured, "2026-04-01 10:00", gave(0.02), called("slip")),
		did(Measured, "2026-04-01 10:00", gave(0.20), called("right"), instead("slip", "decimal point")),
		did(Oiled, "2026-05-01 10:00", called("oil")),
	)
}

func try(e Entry, zone string, log []Entry) error {
	return Validate(e, fleetOf(zone, pump()), log, Model{}, utc(validNow))
}

func num(v float64) *float64 { return &v }

func wrongBy(found, left *float64) change {
	return func(e *Entry) { e.ErrorFound, e.ErrorLeft = found, left }
}

func reading(r wear.Reading) change {
	return func(e *Entry) { e.Bearing, e.Reading = "centre-front", &r }
}

var side = wear.Reading{Shake: wear.SideShake, Value: mm(0.21), Gauge: mm(0.02), Instrument: "dial indicator, 0.01 mm", Load: wear.LoadOff, Celsius: num(8)}

func TestEntriesThatFit(t *testing.T) {
	const when = "2026-05-20 10:00"
	tried := map[EntryKind]bool{}
	for name, e := range map[string]Entry{
		"wound":                     did(Wound, when),
		"wound in part":             did(Wound, when, of("strike"), partly, func(e *Entry) { e.Turns = 12.5 }),
		"wound and found slow":      did(Wound, when, wrongBy(num(-42), nil)),
		"oiled":                     did(Oiled, when, func(e *Entry) { e.Oil = "light clock oil" }),
		"oiled at one bearing":      did(Oiled, when, onBearing("centre-front")),
		"inspected":                 did(Inspected, when, found(Watch), func(e *Entry) { e.By = "ann" }),
		"inspected and sound":       did(Inspected, when, found(Sound)),
		"an old book's look":        did(Inspected, when, old),
		"an old book's setting":     did(Set, when, old),
		"measured":                  did(Measured, when, reading(side)),
		"measured on its train":     did(Measured, when, reading(side), of("going")),
		"measured smaller":          did(Measured, when, gave(0.15)), // dirt does that
		"measured as large as ever": did(Measured, when, gave(0.90), func(e *Entry) { e.Sure = true }),
		"a strike bearing": did(Measured, when, func(e *Entry) {
			e.Bearing, e.Reading = "second-back", &wear.Reading{Shake: wear.EndShake, Value: mm(0.4)}
		}),
		"cleaned":               did(Cleaned, when),
		"repaired":              did(Repaired, when, left(0.12)),
		"repaired, unmeasured":  did(Repaired, when, left(0)),
		"repaired with a steel": did(Repaired, when, left(0.12), pair(wear.SteelOnSteel)),
		"stopped by hand":       did(Stopped, when, by(ByHand)),
		"found stopped":         did(Stopped, when, by(Weather), since("2026-05-19 23:00")),
		"out of season":         did(Stopped, when, by(Rest), until("2026-10-01")),
		"for work till tomorrow": did(Stopped, when, by(ForWork),
			until("2026-05-21")),
		"strike stopped alone":   did(Stopped, when, by(Fault), of("strike")),
		"set":                    did(Set, when, wrongBy(num(65), num(0))),
		"regulated":              did(Regulated, when, func(e *Entry) { e.NutTurns = -0.25 }),
		"noted":                  did(Noted, when, note("a swift in the louvre\nagain")),
		"noted on the first day": did(Noted, "2020-01-01 00:00", note("taken over")),
		"a minute fast":          did(Noted, "2026-06-01 12:01", note("by a fast telephone")),
	} {
		tried[e.Kind] = true
		if err := try(e, "UTC", kept()); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	if err := try(did(Started, when), "UTC", append(kept(), did(Stopped, "2026-05-19 10:00", by(Fault), called("new")))); err != nil {
		t.Errorf("started: %v", err)
	}
	tried[Started] = true
	for _, k := range EntryKinds {
		if !tried[k] {
			t.Errorf("no good entry of kind %s was tried", k)
		}
	}
}

type wrongEntry struct {
	name     string
	e        Entry
	code     Code
	field    string
	sentence string
}

func TestEntriesRefused(t *testing.T) {
	const when = "2026-05-20 10:00"
	bad := math.NaN()
	for _, w := range []wrongEntry{
		{"unknown clock", did(Wound, when, func(e *Entry) { e.Clock = "big-tom" }), NotFound, "clock", `there is no clock "big-tom"`},
		{"no clock", did(Wound, when, func(e *Entry) { e.Clock = "" }), NotFound, "clock", "there is no clock"},
		{"unknown kind", did("polished", when), Invalid, "kind", `kind "polished" is not known: use one of wound, oiled, `},
		{"no kind", did("", when), Invalid, "kind", "is not known"},
		{"no time", Entry{Clock: "pump-room", Kind: Oiled}, Invalid, "at", "say when it happened"},
		{"in the future", did(Oiled, "2026-06-01 12:03"), Invalid, "at", "1 Jun 2026 12:03 lies in the future"},
		{"next year", did(Oiled, "2027-05-20 10:00"), Invalid, "at", "lies in the future"},
		{"before the log", did(Oiled, "2019-12-31 23:59"), Invalid, "at", "31 Dec 2019 is before the log of Pump Room begins (1 Jan 2020)"},
		{"unknown person", did(Oiled, when, func(e *Entry) { e.By = "eve" }), NotFound, "by", `there is no person "eve"`},
		{"unknown train", did(Wound, when, of("chime")), NotFound, "train", `Pump Room has no train "chime"`},
		{"unknown bearing", did(Oiled, when, onBearing("fly")), NotFound, "bearing", `Pump Room has no bearing "fly"`},
		{"bearing of another train", did(Oiled, when, of("strike"), onBearing("centre-front")), Invalid, "bearing", `is on the train "going", not on "strike"`},
		{"note that is no text", did(Noted, when, note("\xff")), Invalid, "note", "not valid UTF-8"},
		{"note of a book", did(Noted, when, note(strings.Repeat("a", 4001))), Invalid, "note", "too long"},
		{"oil with a nought", did(Oiled, when, func(e *Entry) { e.Oil = "\x00" }), Invalid, "note", "control character"},
		{"key with a nought", did(Oiled, when, func(e *Entry) { e.Key = "\x00" }), Invalid, "note", "control character"},
		{"empty note", did(Noted, when, note(" \n")), Invalid, "note", "a note needs words"},
		{"turns below nothing", did(Wound, when, func(e *Entry) { e.Turns = -3 }), Invalid, "turns", "-3 turns cannot be right"},
		{"turns that are no number", did(Wound, when, func(e *Entry) { e.Turns = bad }), Invalid, "turns", "cannot be right"},
		{"turns on a note", did(Noted, when, note("x"), func(e *Entry) { e.Turns = math.Inf(1) }), Invalid, "turns", "cannot be right"},
		{"unknown condition", did(Inspected, when, found("so-so")), Invalid, "found", `condition "so-so" is not known: use sound, watch or act`},
		{"measured nothing", did(Measured, when, onBearing("centre-front")), Invalid, "value", "needs a reading"},
		{"measured nowhere", did(Measured, when, reading(side), func(e *Entry) { e.Bearing = "" }), Invalid, "bearing", "say which bearing"},
		{"reading of another kind", did(Oiled, when, reading(side)), Invalid, "value", "only for measured, not for oiled"},
		{"cause of a stop", did(Oiled, when, func(e *Entry) { e.Cause = Weather }), Invalid, "cause", "only for stopped"},
		{"condition", did(Noted, when, func(e *Entry) { e.Note, e.Found = "x", Sound }), Invalid, "found", "only for inspected"},
		{"the other shake", did(Measured, when, reading(wear.Reading{Shake: wear.EndShake, Value: 200})), Invalid, "value", "followed by its side-shake, not its end-shake"},
		{"eight times its limit", did(Measured, when, gave(2.81)), Doubtful, "value", "2.81 mm (110.6 thou) does not fit: about 0.20 mm (7.9 thou) was expected. Check the unit and the point."},
		{"no shake", did(Measured, when, reading(wear.Reading{Value: 200})), Invalid, "value", `shake "" is not known`},
		{"negative reading", did(Measured, when, reading(wear.Reading{Shake: wear.SideShake, Value: -1})), Invalid, "value", "is negative"},
		{"reading of a foot", did(Measured, when, reading(wear.Reading{Shake: wear.SideShake, Value: mm(304.8)})), Invalid, "value", "check the unit"},
		{"negative uncertainty", did(Measured, when, reading(wear.Reading{Shake: wear.SideShake, Value: 200, Gauge: -10})), Invalid, "value", "gauge uncertainty -0.01 mm (-0.4 thou) is negative"},
		{"uncertainty of an inch", did(Measured, when, reading(wear.Reading{Shake: wear.SideShake, Value: 200, Gauge: wear.Inch})), Invalid, "value", "check the unit"},
		{"no temperature", did(Measured, when, reading(wear.Reading{Shake: wear.SideShake, Value: 200, Celsius: &bad})), Invalid, "value", "is not a temperature"},
		{"unknown load", did(Measured, when, reading(wear.Reading{Shake: wear.SideShake, Value: 200, Load: "half"})), Invalid, "value", `load state "half"`},
		{"instrument that is no text", did(Measured, when, reading(wear.Reading{Shake: wear.SideShake, Value: 200, Instrument: "\xff"})), Invalid, "note", "not valid UTF-8"},
		{"no cause", did(Stopped, when), Invalid, "cause", "say why it stopped: one of by hand, out of season, "},
		{"unknown cause", did(Stopped, when, by("ghosts")), Invalid, "cause", "say why it stopped"},
		{"stopped after it was found", did(Stopped, when, by(Fault), since("2026-05-20 10:01")), Invalid, "since", "cannot have stopped after it was found"},
		{"stopped by hand earlier", did(Stopped, when, by(ByHand), since("2026-05-20 09:00")), Invalid, "since", "leave that time empty"},
		{"fault until a day", did(Stopped, when, by(Fault), until("2026-07-01")), Invalid, "until", "only for a clock out of season or stopped for work"},
		{"rest until today", did(Stopped, when, by(Rest), until("2026-05-20")), Invalid, "until", "must come after the stop"},
		{"rest until yesterday", did(Stopped, when, by(Rest), until("2026-05-19")), Invalid, "until", "must come after the stop"},
		{"rest of six years", did(Stopped, when, by(Rest), until("2032-05-20")), Invalid, "until", "20 May 2032 is more than 5 years on"},
		{"repaired nothing", did(Repaired, when, func(e *Entry) { e.Work = NewBush }), Invalid, "bearing", "say which bearing was repaired"},
		{"no work", did(Repaired, when, onBearing("centre-front")), Invalid, "work", "say what was done: one of new bush, "},
		{"unknown work", did(Repaired, when, onBearing("centre-front"), func(e *Entry) { e.Work = "prayed" }), Invalid, "work", "say what was done"},
		{"leaves less than nothing", did(Repaired, when, left(-0.1)), Invalid, "fitted", "check the unit"},
		{"leaves a foot", did(Repaired, when, left(304.8)), Invalid, "fitted", "check the unit"},
		{"leaves the limit", did(Repaired, when, left(0.35)), Invalid, "fitted", "0.35 mm (13.8 thou) after the repair is not below the limit of 0.35 mm (13.8 thou)"},
		{"leaves more than the limit", did(Repaired, when, left(0.50)), Invalid, "fitted", "0.50 mm (19.7 thou) after the repair is not below"},
		{"unknown materials", did(Repaired, when, left(0.1), pair("oak on oak")), Invalid, "pair", `material pair "oak on oak" is not known`},
		{"half a day wrong", did(Set, when, wrongBy(num(43201), nil)), Invalid, "errorFound", "beyond 12 hours"},
		{"error that is no number", did(Set, when, wrongBy(num(0), &bad)), Invalid, "errorLeft", "beyond 12 hours"},
		{"two errors, the first named", did(Set, when, wrongBy(&bad, &bad)), Invalid, "errorFound", "beyond 12 hours"},
		{"error on a wind", did(Wound, when, wrongBy(&bad, nil)), Invalid, "errorFound", "beyond 12 hours"},
		{"nut that is no number", did(Regulated, when, func(e *Entry) { e.NutTurns = bad }), Invalid, "nutTurns", "turns of the rating nut"},
		{"nut off its thread", did(Regulated, when, func(e *Entry) { e.NutTurns = -101 }), Invalid, "nutTurns", "turns of the rating nut"},
	} {
		t.Run(w.name, func(t *testing.T) { refused(t, try(w.e, "UTC", kept()), w.code, w.field, w.sentence) })
	}
}

// A length with no unit, or with one nobody knows, never becomes a reading.
func TestUnitOfAReading(t *testing.T) {
	for _, tt := range []struct {
		in   string
		want wear.Length // zero: refused
	}{
		{"0.42 mm", 420}, {"0,42 mm", 420}, {"420 um", 420}, {"16 thou", 406}, {"1/64 in", 397}, // 25.4 mm to the inch
		{"0.42", 0}, {"0.42 furlong", 0}, {"NaN mm", 0}, {"1e3 mm", 0}, {"", 0}, {"mm", 0},
	} {
		v, err := wear.ParseLength(tt.in)
		if (err != nil) != (tt.want == 0) || v != tt.want {
			t.Errorf("%q: got %d, %v", tt.in, v, err)
			continue
		}
		if err == nil {
			if err := try(did(Measured, "2026-05-20 10:00", reading(wear.Reading{Shake: wear.SideShake, Value: v})), "UTC", nil); err != nil {
				t.Errorf("%q: %v", tt.in, err)
			}
		}
	}
}

// A part fitted after the clock came into care has no readings before.
func TestBeforeThePartWasFitted(t *testing.T) {
	c := pump()
	c.Trains[0].Arbors[0].Bearings[0].FittedAt = in("America/New_York", "2024-05-01")
	f := fleetOf("America/New_York", c)
	for _, w := range []wrongEntry{
		{"reading", doneAt(Measured, in("America/New_York", "2024-04-30 23:59"), gave(0.1)), Invalid, "at", "before its part was fitted (1 May 2024)"},
		{"repair", doneAt(Repaired, in("America/New_York", "2024-04-30 23:59"), left(0.1)), Invalid, "at", "before its part was fitted (1 May 2024)"},
	} {
		refused(t, Validate(w.e, f, nil, Model{}, utc(validNow)), w.code, w.field, w.sentence)
		w.e.At = w.e.At.Add(time.Minute)
		if err := Validate(w.e, f, nil, Model{}, utc(validNow)); err != nil {
			t.Errorf("%s on the day itself: %v", w.name, err)
		}
	}
}

// Days are those of the clock's own zone, whatever the instant is in UTC.
func TestValidateInTheOwnZone(t *testing.T) {
	// 20:00 on the 9th in New York is already the 10th in UTC.
	evening := doneAt(Stopped, in("America/New_York", "2026-01-09 20:00"), by(Rest), until("2026-01-10"))
	if err := try(evening, "America/New_York", nil); err != nil {
		t.Errorf("until the next day in New York: %v", err)
	}
	// 09:00 on the 10th in Auckland is still the 9th in UTC.
	morning := doneAt(Stopped, in("Pacific/Auckland", "2026-01-10 09:00"), by(Rest), until("2026-01-10"))
	refused(t, try(morning, "Pacific/Auckland", nil), Invalid, "until", "must come after the stop")

	first := doneAt(Noted, in("Pacific/Auckland", "2020-01-01 00:10"), note("x"))
	if err := try(first, "Pacific/Auckland", nil); err != nil {
		t.Errorf("the first ten minutes in Auckland: %v", err)
	}
	refused(t, try(first, "UTC", nil), Invalid, "at", "before the log")
	late := doneAt(Noted, utc("2026-06-01 12:30"), note("x"))
	refused(t, try(late, "Asia/Kolkata", nil), Invalid, "at", "1 Jun 2026 18:00 lies in the future")
}

func TestWindsOfTrainsThatAreNotWound(t *testing.T) {
	c := pump()
	c.Trains[1].Drive = wear.Electric
	f := fleetOf("UTC", c)
	if err := Validate(did(Wound, "2026-05-20 10:00"), f, nil, Model{}, utc(validNow)); err != nil {
		t.Errorf("whole clock: %v", err)
	}
	refused(t, Validate(did(Wound, "2026-05-20 10:00", of("strike")), f, nil, Model{}, utc(validNow)), Conflict, "train", "no hand-wound train to wind there")
}

func TestRepairsAreHeldToTheOnlyLimit(t *testing.T) {
	c := pump()
	c.Trains[0].Arbors[0].Bearings[0].Act = nil
	f := fleetOf("UTC", c)
	refused(t, Validate(did(Repaired, "2026-05-20 10:00", left(0.26)), f, nil, Model{}, utc(validNow)), Invalid, "fitted", "not below the limit of 0.25 mm (9.8 thou)")
	c.Trains[0].Arbors[0].Bearings[0].Watch = nil
	if err := Validate(did(Repaired, "2026-05-20 10:00", left(0.26)), f, nil, Model{}, utc(validNow)); err != nil {
		t.Errorf("no limit: %v", err)
	}
}

func TestErrors(t *testing.T) {
	err := conflict("kind", "%s of %d", "one", 2)
	if err.Error() != "one of 2" || CodeOf(err) != Conflict {
		t.Errorf("%v, %q", err, CodeOf(err))
	}
	if CodeOf(nil) != "" || CodeOf(errors.ErrUnsupported) != "" {
		t.Error("other errors have a code")
	}
}

// What belongs to another kind of entry is refused: it would be kept and never
// looked at.
func TestDetailOfAnotherKind(t *testing.T) {
	for _, tt := range []struct {
		field string
		set   change
		kinds []EntryKind // that may carry it
	}{
		{"turns", func(e *Entry) { e.Turns = 3 }, []EntryKind{Wound}},
		{"turns", partly, []EntryKind{Wound}},
		{"cause", by(Fault), []EntryKind{Stopped}},
		{"since", since("2026-05-20 09:00"), []EntryKind{Stopped}},
		{"until", until("2026-05-30"), []EntryKind{Stopped}},
		{"oil", func(e *Entry) { e.Oil = "light" }, []EntryKind{Oiled}},
		{"found", found(Sound), []EntryKind{Inspected}},
		{"work", func(e *Entry) { e.Work = Refaced }, []EntryKind{Repaired}},
		{"fitted", func(e *Entry) { e.Fitted = 100 }, []EntryKind{Repaired}},
		{"fitted", func(e *Entry) { e.FittedSD = 10 }, []EntryKind{Repaired}},
		{"pair", pair(wear.SteelOnSteel), []EntryKind{Repaired}},
		{"errorFound", wrongBy(num(3), nil), []EntryKind{Set, Regulated, Wound, Inspected, Noted}},
		{"errorLeft", wrongBy(nil, num(3)), []EntryKind{Set, Regulated, Wound, Inspected}},
		{"nutTurns", func(e *Entry) { e.NutTurns = 0.5 }, []EntryKind{Regulated}},
		{"value", func(e *Entry) { e.Reading = &wear.Reading{} }, []EntryKind{Measured}},
		{"sure", func(e *Entry) { e.Sure = true }, []EntryKind{Set, Regulated, Wound, Inspected, Noted, Measured, Stopped}},
		{"fallLeft", fallLeft(3), []EntryKind{Wound, Inspected}},
		{"meter", meter(3), []EntryKind{Wound, Inspected, Noted}},
		{"meterNew", func(e *Entry) { e.MeterNew = true }, []EntryKind{Wound, Inspected, Noted}},
		{"cutFrom", cut("2026-05-20 09:00", ""), []EntryKind{Noted}},
		{"cutTo", func(e *Entry) { e.CutTo = utc("2026-05-20 09:00") }, []EntryKind{Noted}},
		{"points", func(e *Entry) { e.Points = []string{"fly"} }, []EntryKind{Oiled, Inspected}},
		{"topUp", func(e *Entry) { e.TopUp = true }, []EntryKind{Oiled}},
		{"oilFound", func(e *Entry) { e.OilFound = OilDry }, []EntryKind{Oiled, Cleaned, Inspected}},
		{"residue", func(e *Entry) { e.Residue = ResidueBlack }, []EntryKind{Oiled, Cleaned, Inspected}},
		{"visit", func(e *Entry) { e.Visit = true }, []EntryKind{Inspected}},
		{"line", func(e *Entry) { e.Line = "going-line" }, []EntryKind{Inspected, Repaired}},
		{"check", func(e *Entry) { e.Check = &LineCheck{} }, []EntryKind{Inspected}},
		{"lock", func(e *Entry) { e.Lock = DoNotRun }, []EntryKind{Noted}},
		{"clears", func(e *Entry) { e.Clears = DoNotRun }, []EntryKind{Noted}},
		{"season", func(e *Entry) { e.Season = "lamps" }, []EntryKind{Noted, Inspected}},
		{"grams", func(e *Entry) { e.Grams = -2 }, []EntryKind{Regulated}},
		{"celsius", func(e *Entry) { e.Celsius = num(12) }, []EntryKind{Set, Regulated, Wound, Inspected, Noted}},
		{"pressure", func(e *Entry) { e.Pressure = num(1013) }, []EntryKind{Set, Regulated, Wound, Inspected, Noted}},
		{"arc", func(e *Entry) { e.Arc = num(2) }, []EntryKind{Set, Regulated, Wound, Inspected, Noted}},
		{"weight", func(e *Entry) { e.Weight = num(80) }, []EntryKind{Set, Regulated, Wound, Inspected, Noted}},
		{"corrector", func(e *Entry) { e.Corrector = num(1) }, []EntryKind{Set, Regulated, Wound, Inspected, Noted}},
		{"change", changed("2026-10-25"), []EntryKind{Set}},
	} {
		for _, kind := range EntryKinds {
			err := validateDetail(did(kind, "2026-05-20 10:00", tt.set))
			if known(tt.kinds, kind) {
				if err != nil {
					t.Errorf("%s of %s: %v", tt.field, kind, err)
				}
				continue
			}
			refused(t, err, Invalid, tt.field, fmt.Sprintf("the %s of an entry is only for %s, not for %s", tt.field, list(tt.kinds), kind))
		}
	}
}

// The same again within a minute is a slip of the button or the command.
func TestTheSameTwice(t *testing.T) {
	log := book(did(Oiled, "2026-05-20 10:00", func(e *Entry) { e.Oil = "light" }, called("a")), did(Measured, "2026-05-20 11:00", gave(0.2), called("b")))
	for _, tt := range []struct {
		name  string
		e     Entry
		twice bool
	}{
		{"at once", did(Oiled, "2026-05-20 10:00", func(e *Entry) { e.Oil = "light" }), true},
		{"the same reading", did(Measured, "2026-05-20 11:00", gave(0.2)), true},
		{"a minute on", did(Oiled, "2026-05-20 10:01", func(e *Entry) { e.Oil = "light" }), false},
		{"with other oil", did(Oiled, "2026-05-20 10:00", func(e *Entry) { e.Oil = "heavy" }), false},
		{"by somebody else", did(Oiled, "2026-05-20 10:00", func(e *Entry) { e.Oil, e.By = "light", "ann" }), false},
		{"with a note", did(Oiled, "2026-05-20 10:00", func(e *Entry) { e.Oil, e.Note = "light", "twice" }), false},
		{"of one train", did(Oiled, "2026-05-20 10:00", func(e *Entry) { e.Oil, e.Train = "light", "going" }), false},
		{"another reading", did(Measured, "2026-05-20 11:00", gave(0.21)), false},
		{"as a correction", did(Oiled, "2026-05-20 10:00", func(e *Entry) { e.Oil = "light" }, instead("b", "was oiled, not measured")), false},
	} {
		err := try(tt.e, "UTC", log)
		if !tt.twice && err != nil {
			t.Errorf("%s: %v", tt.name, err)
		}
		if tt.twice {
			refused(t, err, Conflict, "at", "the same was logged at")
		}
	}
}

func TestFew(t *testing.T) {
	many := strings.Split("a b c d e f g h i j k l m n", " ")
	for want, in := range map[string][]string{"none": nil, "a, b": many[:2], "a, b, c, d, e, f, g, h, i, j, k, l": many[:12], "a, b, c, d, e, f, g, h, i, j, k, l and 2 more": many} {
		if got := few(in); got != want {
			t.Errorf("%d words: %q, want %q", len(in), got, want)
		}
	}
}
