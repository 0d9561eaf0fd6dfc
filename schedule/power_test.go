package schedule

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"endshake/wear"
)

func meter(h float64) change { return func(e *Entry) { e.Meter = &h } }

// cut is a cut of the mains; an empty end is not known.
func cut(from, to string) change {
	return func(e *Entry) {
		e.CutFrom, e.Note = utc(from), "the mains were off"
		if to != "" {
			e.CutTo = utc(to)
		}
	}
}

// drivenBy is a clock of one train without a hand to wind it.
func drivenBy(drive wear.Drive, reserve time.Duration) Clock {
	c := alone()
	c.InCare = d("2026-01-01")
	c.Trains[0].Drive, c.Trains[0].Reserve, c.Trains[0].Arbors = drive, reserve, nil
	return c
}

// Run-hours through cuts, by hand: in care from 1 January, looked at on 1
// February, 744 hours on. The cut begins on the 10th at noon, 228 hours on.
func TestRunHoursThroughACut(t *testing.T) {
	from := "2026-01-10 12:00"
	short, long := cut(from, "2026-01-10 15:00"), cut(from, "2026-01-11 12:00")
	for _, tt := range []struct {
		name                 string
		drive                wear.Drive
		reserve              time.Duration
		log                  []Entry
		lower, likely, upper float64
		check                bool // a look is asked for
	}{
		{"shorter than it goes on", wear.AutoWound, 6 * time.Hour, []Entry{did(Noted, "2026-01-12", short)}, 744, 744, 744, false},
		{"longer, and nothing since", wear.AutoWound, 6 * time.Hour, []Entry{did(Noted, "2026-01-12", long)}, 234, 234, 744, true},
		{"longer, and started", wear.AutoWound, 6 * time.Hour, []Entry{did(Noted, "2026-01-12", long), did(Started, "2026-01-13 12:00")}, 234 + 444, 234 + 444, 252 + 444, false},
		{"longer, and seen going", wear.AutoWound, 6 * time.Hour, []Entry{did(Noted, "2026-01-12", long), did(Inspected, "2026-01-13 12:00")}, 234 + 444, 744, 744, false},
		{"longer, and found stopped", wear.AutoWound, 6 * time.Hour, []Entry{did(Noted, "2026-01-12", long), did(Stopped, "2026-01-13 12:00", by(Fault))}, 234, 234, 300, false},
		{"nobody knows how long it goes on", wear.AutoWound, 0, []Entry{did(Noted, "2026-01-12", short)}, 228, 744, 744, true},
		{"nobody knows when it ended, noted within its reserve", wear.AutoWound, 6 * time.Hour, []Entry{did(Noted, "2026-01-10 14:00", cut(from, ""))}, 234, 744, 744, true},
		{"nobody knows when it ended, and it lasted a day", wear.AutoWound, 6 * time.Hour, []Entry{did(Noted, "2026-01-11 12:00", cut(from, ""))}, 234, 234, 744, true},
		{"an electric one stands and starts with the mains", wear.Electric, 0, []Entry{did(Noted, "2026-01-12", long)}, 720, 720, 720, true},
		{"and was set since", wear.Electric, 0, []Entry{did(Noted, "2026-01-12", long), did(Set, "2026-01-12 09:00")}, 720, 720, 720, false},
		{"an electric one, nobody knows when it ended", wear.Electric, 0, []Entry{did(Noted, "2026-01-10 14:00", cut(from, ""))}, 228, 742, 744, true},
		{"and seen going since", wear.Electric, 0, []Entry{did(Noted, "2026-01-10 14:00", cut(from, "")), did(Inspected, "2026-01-13 12:00")}, 228 + 444, 742, 744, false},
		{"a hand-wound one does not mind", wear.HandWound, 0, []Entry{did(Noted, "2026-01-12", long)}, 744, 744, 744, false},
		{"of another train", wear.Electric, 0, []Entry{did(Noted, "2026-01-12", long, of("strike"))}, 744, 744, 744, false},
	} {
		a := assess(drivenBy(tt.drive, tt.reserve), book(tt.log...), "2026-02-01")
		if got, want := a.Trains[0].RunHours, (wear.Exposure{Lower: tt.lower, Likely: tt.likely, Upper: tt.upper}); got != want {
			t.Errorf("%s: %+v, want %+v", tt.name, got, want)
		}
		i := slices.IndexFunc(a.Tasks, func(x Task) bool { return x.Kind == PowerCheck })
		if (i >= 0) != tt.check || len(a.Problems) != 0 {
			t.Errorf("%s: %s; wanted a look: %v (%q)", tt.name, titles(a.Tasks), tt.check, a.Problems)
		}
		if i >= 0 {
			checkTask(t, tt.name, a.Tasks[i])
			if x := a.Tasks[i]; x.State != Late || x.Rank != MayHaveStopped || x.Heading() != "may have stopped" || x.Subject != "" || x.What() != "check after the power cut" || !strings.Contains(x.Reason, "the mains were cut on 10 Jan 2026, 12:00") {
				t.Errorf("%s: %s, %q, %q", tt.name, x.State, x.What(), x.Reason)
			}
		}
	}
}

// However many trains a cut stopped, one look is asked for; it names them where
// it is known how the others stand, or where it is another thing for each.
func TestOneLookAfterACut(t *testing.T) {
	two := drivenBy(wear.AutoWound, 6*time.Hour)
	strike := pump().Trains[1]
	strike.Drive, strike.Reserve, strike.Arbors = wear.AutoWound, 6*time.Hour, nil
	two.Trains = append(two.Trains, strike)
	unlike := two
	unlike.Trains = slices.Clone(two.Trains)
	unlike.Trains[1].Drive, unlike.Trains[1].Reserve = wear.Electric, 0
	wound := two
	wound.Trains = slices.Clone(two.Trains)
	wound.Trains[1].Drive = wear.HandWound
	out := did(Noted, "2026-01-12", cut("2026-01-10 12:00", "2026-01-11 12:00"))
	same := "the mains were cut on 10 Jan 2026, 12:00 for 24 hours; it goes on for about 6 hours without them"
	for _, tt := range []struct {
		name         string
		c            Clock
		log          []Entry
		what, reason string
	}{
		{"both alike", two, []Entry{out}, "check after the power cut", same},
		{"one seen since", two, []Entry{out, did(Inspected, "2026-01-13", of("strike"))}, "check of the going train after the power cut", same},
		{"the other wound by hand", wound, []Entry{out}, "check of the going train after the power cut", same},
		{"driven otherwise", unlike, []Entry{out}, "check after the power cut",
			"going train: " + same + "; strike train: the mains were cut on 10 Jan 2026, 12:00 for 24 hours; it starts again with the mains, but is slow by as much, unless it sets itself"},
	} {
		var got []Task
		for _, x := range assess(tt.c, book(tt.log...), "2026-02-01").Tasks {
			if x.Kind == PowerCheck {
				got = append(got, x)
			}
		}
		if len(got) != 1 || got[0].Subject != "" || got[0].What() != tt.what || got[0].Reason != tt.reason {
			t.Errorf("%s: %+v", tt.name, got)
		}
	}
}

// An hour meter has the say between its readings.
func TestRunHoursByMeter(t *testing.T) {
	c := drivenBy(wear.Electric, 0)
	c.Trains[0].MeterHours = 10000
	for _, tt := range []struct {
		name   string
		log    []Entry
		likely float64 // of 744
	}{
		{"less than the log has it", []Entry{did(Inspected, "2026-01-10", meter(500)), did(Inspected, "2026-01-20", meter(620))}, 744 - 240 + 120},
		{"turned over", []Entry{did(Inspected, "2026-01-10", meter(9987.4)), did(Noted, "2026-01-12", meter(12.9), note("x"))}, 744 - 48 + 25.5},
		{"replaced, without a word", []Entry{did(Inspected, "2026-01-10", meter(5000)), did(Noted, "2026-01-12", meter(12.9), note("x"))}, 744},
		{"replaced, as is said", []Entry{did(Inspected, "2026-01-10", meter(9987.4)), did(Noted, "2026-01-12", meter(0), note("x"), func(e *Entry) { e.MeterNew = true }), did(Inspected, "2026-01-22", meter(200))}, 744 - 240 + 200},
	} {
		a := assess(c, book(tt.log...), "2026-02-01")
		if got := a.Trains[0].RunHours.Likely; !near(got, tt.likely) || len(a.Problems) != 0 {
			t.Errorf("%s: %v h, %q; want %v", tt.name, got, a.Problems, tt.likely)
		}
	}
	// One that shows more than the time that has passed is refused, and what is
	// copied from an old book flagged.
	first := did(Inspected, "2026-01-10", meter(500), called("a"))
	more := did(Inspected, "2026-01-12", meter(620), called("b"))
	refused(t, validateRunning(more, c, time.UTC, []Entry{first}), Conflict, "kind", "120.0 h more than at its reading before, but only 48.0 h have passed")
	more.Old = true
	a := assess(c, []Entry{first, more}, "2026-02-01")
	if len(a.Flags) != 1 || !strings.Contains(a.Flags[0], "120.0 h more") || a.Trains[0].RunHours.Likely != 744 {
		t.Errorf("%q, %v", a.Flags, a.Trains[0].RunHours)
	}
}

func TestValidateWindAndCut(t *testing.T) {
	two := weighted()
	one := two
	one.Trains = slices.Clone(two.Trains[:1])
	metered := drivenBy(wear.Electric, 0)
	metered.Trains[0].MeterHours = 10000
	g := of("going")
	for _, tt := range []struct {
		name     string
		c        Clock
		e        Entry
		field    string // empty: taken
		sentence string
	}{
		{"turns within a full wind", two, did(Wound, "2026-03-02", g, turns(64)), "", ""},
		{"turns beyond it", two, did(Wound, "2026-03-02", g, turns(90)), "turns", "90 turns are more than a full wind of the going train holds, 64"},
		{"turns that are no number", two, did(Wound, "2026-03-02", g, turns(math.NaN())), "turns", "cannot be right"},
		{"height within the fall", two, did(Wound, "2026-03-02", g, fallLeft(9144)), "", ""},
		{"height beyond it", two, did(Wound, "2026-03-02", g, fallLeft(9145)), "fallLeft", "more than the whole fall of the going train"},
		{"height below nothing", two, did(Inspected, "2026-03-02", g, fallLeft(-1)), "fallLeft", "cannot have"},
		{"height of one of two weights", two, did(Inspected, "2026-03-02", fallLeft(100)), "train", "say which train's weight it is: one of going, strike"},
		{"height of the only one", one, did(Inspected, "2026-03-02", found(Sound), fallLeft(100)), "", ""},
		{"height of no weight", metered, did(Inspected, "2026-03-02", fallLeft(100)), "fallLeft", "no weight of a hand-wound train"},
		{"meter", metered, did(Inspected, "2026-03-02", found(Sound), meter(9999.9)), "", ""},
		{"meter beyond where it turns over", metered, did(Inspected, "2026-03-02", meter(10000)), "meter", "turns over at 10000 h and cannot show 10000"},
		{"meter below nothing", metered, did(Inspected, "2026-03-02", meter(-1)), "meter", "cannot show -1"},
		{"meter that is no number", metered, did(Inspected, "2026-03-02", meter(math.NaN())), "meter", "cannot show NaN"},
		{"meter beyond all", one, did(Inspected, "2026-03-02", meter(2e7)), "meter", "cannot show 2e+07"},
		{"meter of one of two trains", two, did(Inspected, "2026-03-02", meter(1)), "train", "say which train's hour meter it is"},
		{"a new meter that shows nothing", metered, did(Noted, "2026-03-02", note("new"), func(e *Entry) { e.MeterNew = true }), "meter", "log what it shows from now on"},
		{"a cut", metered, did(Noted, "2026-03-02", cut("2026-03-01", "2026-03-01 05:00")), "", ""},
		{"a cut with no end known", metered, did(Noted, "2026-03-02", cut("2026-03-01", "")), "", ""},
		{"an end without a beginning", metered, did(Noted, "2026-03-02", note("x"), func(e *Entry) { e.CutTo = utc("2026-03-01") }), "cutFrom", "say when the mains went"},
		{"a cut the wrong way round", metered, did(Noted, "2026-03-02", cut("2026-03-01 05:00", "2026-03-01")), "cutTo", "before they went"},
		{"a cut of no time", metered, did(Noted, "2026-03-02", cut("2026-03-01 05:00", "2026-03-01 05:00")), "cutTo", "before they went"},
		{"a cut yet to come", metered, did(Noted, "2026-03-02", cut("2026-03-03", "")), "cutFrom", "after this was noted"},
		{"an end yet to come", metered, did(Noted, "2026-03-02", cut("2026-03-01", "2026-12-01")), "cutTo", "in the future"},
		{"a cut before the log", metered, did(Noted, "2026-03-02", cut("2025-12-31", "2026-01-02")), "cutFrom", "before the log begins"},
		{"a strike silenced", two, did(Stopped, "2026-03-02", of("strike"), by(Silenced)), "", ""},
		{"a clock silenced", two, did(Stopped, "2026-03-02", by(Silenced)), "cause", "only a striking or chiming train can be silenced"},
		{"a going train silenced", two, did(Stopped, "2026-03-02", g, by(Silenced)), "cause", "only a striking or chiming train can be silenced"},
	} {
		tt.c.InCare = d("2026-01-01")
		err := Validate(tt.e, fleetOf("UTC", tt.c), nil, Model{}, utc("2026-05-01"))
		if tt.field != "" {
			t.Run(tt.name, func(t *testing.T) { refused(t, err, Invalid, tt.field, tt.sentence) })
		} else if err != nil {
			t.Errorf("%s: %v", tt.name, err)
		}
	}
}

// A strike that is silenced keeps its strokes and its wind; the clock goes on.
func TestSilenced(t *testing.T) {
	c := pump()
	c.InCare = d("2026-01-01")
	log := book(did(Wound, "2026-01-05"), did(Stopped, "2026-01-06", of("strike"), by(Silenced)), did(Started, "2026-01-09", of("strike")))
	a := assess(c, log, "2026-01-10")
	g, s := a.Trains[0], a.Trains[1]
	if !a.Going || !strings.HasPrefix(a.Status, "Going. ") || g.RunHours.Likely != 9*24 || s.RunHours.Likely != 6*24 {
		t.Errorf("%q, %v, %v", a.Status, g.RunHours, s.RunHours)
	}
	if by := s.Wind.Stops.Sub(g.Wind.Stops); by != 3*24*time.Hour {
		t.Errorf("the strike stops %v later", by)
	}
	if a := assess(c, log[:2], "2026-01-08"); !a.Going || !strings.HasPrefix(a.Status, "Going. ") || a.Trains[1].Going {
		t.Errorf("while it is silent: %q, the strike going %v", a.Status, a.Trains[1].Going)
	}
}
