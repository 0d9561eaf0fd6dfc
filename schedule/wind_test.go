package schedule

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"endshake/wear"
)

// weighted is the clock of Beckett 1903, pp. 184-185: a great wheel that turns
// in three hours wants 64 turns for eight days, and 30 ft of fall; one line and
// a barrel that just uses it. Its strike is that of p. 197: 35 turns of ten
// lifts for two days.
func weighted() Clock {
	c := pump()
	c.InCare = d("2026-01-01")
	c.Trains[0].Reserve = 0
	c.Trains[0].Weight = &wear.Weight{Fall: mm(9144), Turns: 64, TurnHours: 3}
	c.Trains[1].Reserve, c.Trains[1].StrokesPerDay = 0, 0
	c.Trains[1].Weight = &wear.Weight{Fall: mm(7000), Turns: 35, TurnBlows: 10}
	c.Trains[1].Striking = &wear.Striking{Hours: true}
	for i := range c.Trains {
		c.Trains[i].Arbors = nil
	}
	return c
}

func turns(n float64) change { return func(e *Entry) { e.Turns, e.Part = n, true } }
func fallLeft(v float64) change {
	return func(e *Entry) { l := mm(v); e.FallLeft = &l }
}

// What is left of a wind, worked by hand: 64 turns of three hours.
func TestWindOfAWeight(t *testing.T) {
	going := of("going")
	for _, tt := range []struct {
		name  string
		log   []Entry
		now   string
		left  float64 // hours
		turns float64
		stops string // empty: not known
	}{
		{"nothing logged", nil, "2026-03-04", 0, 0, ""},
		{"a part, and nothing before", []Entry{did(Wound, "2026-03-02", going, turns(10))}, "2026-03-04", 0, 0, ""},
		{"two days after a full wind", []Entry{did(Wound, "2026-03-02", going)}, "2026-03-04", 144, 48, "2026-03-10 00:00"},
		{"and ten turns more", []Entry{did(Wound, "2026-03-02", going), did(Wound, "2026-03-06", going, turns(10))}, "2026-03-06", 126, 42, "2026-03-11 06:00"},
		{"and more than it holds", []Entry{did(Wound, "2026-03-02", going), did(Wound, "2026-03-04", going, turns(40))}, "2026-03-04", 192, 64, "2026-03-12 00:00"},
		{"ten turns when it was down", []Entry{did(Wound, "2026-03-02", going), did(Wound, "2026-03-14", going, turns(10))}, "2026-03-14", 30, 10, "2026-03-15 06:00"},
		{"half of the fall left", []Entry{did(Inspected, "2026-03-02", going, fallLeft(4572))}, "2026-03-03", 72, 24, "2026-03-06 00:00"},
		{"a quarter of it left, though it was wound the day before", []Entry{did(Wound, "2026-03-01", going), did(Inspected, "2026-03-02", going, fallLeft(2286))}, "2026-03-02", 48, 16, "2026-03-04 00:00"},
		{"a quarter left, and sixteen turns put on", []Entry{did(Wound, "2026-03-02", going, fallLeft(2286), turns(16))}, "2026-03-03", 72, 24, "2026-03-06 00:00"},
		{"a quarter left, and wound fully", []Entry{did(Wound, "2026-03-02", going, fallLeft(2286))}, "2026-03-03", 168, 56, "2026-03-10 00:00"},
		{"stopped for a day", []Entry{did(Wound, "2026-03-02", going), did(Stopped, "2026-03-03", going, by(ByHand)), did(Started, "2026-03-04", going)}, "2026-03-05", 144, 48, "2026-03-11 00:00"},
		{"stands", []Entry{did(Wound, "2026-03-02", going), did(Stopped, "2026-03-03", going, by(ByHand))}, "2026-03-05", 168, 56, "2026-03-12 00:00"},
		{"used up", []Entry{did(Wound, "2026-03-02", going)}, "2026-03-11", 0, 0, "2026-03-10 00:00"},
	} {
		w := assess(weighted(), book(tt.log...), tt.now).Trains[0].Wind
		if tt.stops == "" {
			if w.Known || !w.Stops.IsZero() || w.Left != 0 {
				t.Errorf("%s: %+v", tt.name, w)
			}
			continue
		}
		if !w.Known || !near(w.Left.Hours(), tt.left) || !near(w.Turns, tt.turns) || !near(w.Share, tt.turns/64) || !w.Stops.Equal(utc(tt.stops)) {
			t.Errorf("%s: known %v, %v h and %v turns left, stops %v; want %v, %v, %s", tt.name, w.Known, w.Left.Hours(), w.Turns, w.Stops, tt.left, tt.turns, tt.stops)
		}
	}
}

// The band is a twentieth of the run since it was known, a fiftieth where the
// weight was read, and not before it was seen going.
func TestWindBand(t *testing.T) {
	for _, tt := range []struct {
		name        string
		log         []Entry
		early, late float64 // hours from Stops
	}{
		{"from a full wind", []Entry{did(Wound, "2026-03-02")}, -9.6, 9.6},
		{"from the weight", []Entry{did(Inspected, "2026-03-02", of("going"), fallLeft(4572))}, -1.92, 1.92},
		{"seen going six hours before", []Entry{did(Wound, "2026-03-02"), did(Set, "2026-03-09 18:00")}, -6, 9.6},
		{"wound by nobody knows how much", []Entry{did(Wound, "2026-03-02"), did(Wound, "2026-03-05", partly)}, -9.6, 3*24 + 9.6},
	} {
		w := assess(weighted(), book(tt.log...), "2026-03-09 20:00").Trains[0].Wind
		early, late := w.Early.Sub(w.Stops).Hours(), w.Late.Sub(w.Stops).Hours()
		if math.Abs(early-tt.early) > 1e-3 || math.Abs(late-tt.late) > 1e-3 {
			t.Errorf("%s: from %v h to %v h about %v; want %v, %v", tt.name, early, late, w.Stops, tt.early, tt.late)
		}
	}
}

// A strike is spent by blows of the wall: wound fully at nine it has 350, and
// 156 a day. Counted here hour by hour.
func TestWindOfAStrike(t *testing.T) {
	c := weighted()
	blows := func(from, to time.Time, silent func(hour int) bool) (n int) {
		for at := from.Truncate(time.Hour).Add(time.Hour); !at.After(to); at = at.Add(time.Hour) {
			if h := at.Hour(); !silent(h) {
				n += (h+11)%12 + 1
			}
		}
		return n
	}
	for _, tt := range []struct {
		name   string
		silent [2]int
		lifted bool
	}{{"day and night", [2]int{}, false}, {"silent at night", [2]int{22, 7}, false}, {"the hammer lifted at night", [2]int{22, 7}, true}} {
		c.Trains[1].Striking = &wear.Striking{Hours: true, Silent: tt.silent, Lifted: tt.lifted}
		silent := func(h int) bool { return !tt.lifted && tt.silent != [2]int{} && (h >= 22 || h < 7) }
		perDay := blows(utc("2026-03-01 23:30"), utc("2026-03-02 23:30"), silent)
		for _, now := range []string{"2026-03-02 09:30", "2026-03-03 00:10", "2026-03-03 15:00"} {
			a := assess(c, book(did(Wound, "2026-03-02 09:10")), now)
			w, at := a.Trains[1].Wind, utc("2026-03-02 09:10")
			if left := 350 - blows(at, a.Now, silent); !near(w.Share*350, float64(left)) || !near(w.Turns, float64(left)/10) {
				t.Errorf("%s, %s: %v blows left, want %d", tt.name, now, w.Share*350, left)
			}
			if n := blows(at, w.Stops, silent); n < 350 || n-((w.Stops.Hour()+11)%12+1) >= 350 {
				t.Errorf("%s, %s: %d blows until it stops at %v", tt.name, now, n, w.Stops)
			}
			if want := 350 / float64(perDay) * 24; math.Abs(w.Stops.Sub(at).Hours()-want) > 16 {
				t.Errorf("%s: stops after %v h, on average %v", tt.name, w.Stops.Sub(at).Hours(), want)
			}
		}
	}
}

// Put back an hour by eleven hours on, at nine in the morning after the change
// when the dial shows ten: it strikes 11, 12, 1 ... 9, which is 78 less ten. At
// ten by the wall it strikes for the second time that morning.
func TestElevenHoursOn(t *testing.T) {
	c := weighted()
	c.Care.Change = AdvanceEleven
	zone := location("Europe/London")
	f := fleetOf("Europe/London", c)
	left := func(log ...Entry) float64 {
		a := Assess(Facts{Clock: c, Site: f.Sites[0], Entries: book(log...)}, in("Europe/London", "2026-10-25 09:30"))
		return a.Trains[1].Wind.Share * 350
	}
	full := doneAt(Wound, in("Europe/London", "2026-10-24 21:30"))
	set := doneAt(Set, in("Europe/London", "2026-10-25 09:05"), changed("2026-10-25"))
	plain, moved := left(full), left(full, set)
	// 22, 23, 0 ... 9 o'clock by the wall, one o'clock but once: 10+11+12 and 45.
	if plain != 350-78 {
		t.Errorf("by the wall %v blows are left, want %d", plain, 350-78)
	}
	// And ten, which it struck before it was set, with the 68 of eleven hours.
	if moved != plain-10-68 {
		t.Errorf("set by eleven hours on, %v blows are left, want %v", moved, plain-78)
	}
	c.Care.Change = ByMotor
	if got := left(full, set); got != plain {
		t.Errorf("set by its motor, %v blows are left, want %v", got, plain)
	}
	if by := putBack(d("2026-10-25"), zone); by != time.Hour {
		t.Errorf("put back by %v", by)
	}
}

func TestPutBack(t *testing.T) {
	for _, tt := range []struct {
		zone, day string
		want      time.Duration
	}{
		{"Europe/London", "2026-10-25", time.Hour}, {"Europe/London", "2026-03-29", 0}, {"Europe/London", "2026-10-26", 0}, {"Europe/London", "2026-10-24", 0},
		{"America/New_York", "2026-11-01", time.Hour}, {"Australia/Lord_Howe", "2026-04-05", 30 * time.Minute},
		{"America/Havana", "2026-11-01", time.Hour}, {"Asia/Beirut", "2026-10-24", time.Hour}, {"Asia/Beirut", "2026-10-25", 0}, {"UTC", "2026-10-25", 0},
	} {
		if got := putBack(d(tt.day), location(tt.zone)); got != tt.want {
			t.Errorf("%s, %s: %v, want %v", tt.zone, tt.day, got, tt.want)
		}
	}
}

// Stopped for an hour while the zone's clocks are put back, it runs an hour
// less and wants winding an hour later; nothing else changes. Logged as a stop
// as well, it counts once.
func TestStoppedForAnHour(t *testing.T) {
	c := alone()
	c.InCare, c.Care.Change = d("2026-10-01"), StopAnHour
	f := fleetOf("Europe/London", c)
	look := func(log ...Entry) TrainState {
		a := Assess(Facts{Clock: c, Site: f.Sites[0], Entries: book(log...)}, utc("2026-10-28 09:00"))
		if len(a.Problems) != 0 {
			t.Fatalf("%q", a.Problems)
		}
		return a.Trains[0]
	}
	full := did(Wound, "2026-10-23 09:00")
	plain := look(full, did(Set, "2026-10-25 08:00"))
	for name, log := range map[string][]Entry{
		"ticked off":                      {full, did(Set, "2026-10-25 08:00", changed("2026-10-25"))},
		"logged as a stop":                {full, did(Stopped, "2026-10-25 07:00", by(ByHand)), did(Started, "2026-10-25 08:00"), did(Set, "2026-10-25 08:00")},
		"both":                            {full, did(Stopped, "2026-10-25 07:00", by(ByHand)), did(Started, "2026-10-25 08:00"), did(Set, "2026-10-25 08:05", changed("2026-10-25"))},
		"ticked off before the stop":      {full, did(Set, "2026-10-25 06:55", changed("2026-10-25")), did(Stopped, "2026-10-25 07:00", by(ByHand)), did(Started, "2026-10-25 08:00")},
		"wound within the hour, and then": {full, did(Oiled, "2026-10-25 07:30"), did(Set, "2026-10-25 08:00", changed("2026-10-25"))},
	} {
		got := look(log...)
		for _, x := range [][2]float64{{got.RunHours.Lower, plain.RunHours.Lower}, {got.RunHours.Likely, plain.RunHours.Likely}, {got.RunHours.Upper, plain.RunHours.Upper}} {
			if !near(x[0], x[1]-1) {
				t.Errorf("%s: %v run-hours, want an hour less than %v", name, x[0], x[1])
			}
		}
		if by := got.Wind.Stops.Sub(plain.Wind.Stops); by != time.Hour || !got.RunsDown.Equal(got.Wind.Stops) {
			t.Errorf("%s: stops %v later", name, by)
		}
	}
	twice := look(full, did(Set, "2026-10-25 08:00", changed("2026-10-25"), called("one")), did(Set, "2026-10-26 08:00", changed("2026-10-25"), called("two")))
	if !near(twice.RunHours.Likely, plain.RunHours.Likely-1) {
		t.Errorf("ticked twice: %v run-hours, want an hour less than %v", twice.RunHours.Likely, plain.RunHours.Likely)
	}
	spring := look(full, did(Set, "2026-10-25 08:00", changed("2026-03-29")))
	if spring.RunHours != plain.RunHours {
		t.Errorf("a change in spring takes nothing off: %+v", spring.RunHours)
	}
}

// A clock past its run-down with nothing logged since says so.
func TestPastItsWind(t *testing.T) {
	by10 := "By its last logged wind it stopped about 10 Mar 2026, 09:00, unless somebody wound it and did not write it down. "
	one := did(Wound, "2026-03-02 09:00")
	for _, tt := range []struct {
		name string
		log  []Entry
		now  string
		past bool
		says string
	}{
		{"within its wind", []Entry{one}, "2026-03-10 08:59", false, "Going. "},
		{"past it", []Entry{one}, "2026-03-10 09:00", true, by10},
		{"long past it", []Entry{one}, "2026-12-10 09:00", true, by10},
		{"oiled since, which shows nothing", []Entry{one, did(Oiled, "2026-03-12 09:00")}, "2026-03-14", true, by10},
		{"seen before", []Entry{one, did(Inspected, "2026-03-09 09:00")}, "2026-03-14", true, by10},
		{"seen going since", []Entry{one, did(Inspected, "2026-03-12 09:00")}, "2026-03-14", false, "Going. "},
		{"stopped since", []Entry{one, did(Stopped, "2026-03-12 09:00", by(Birds))}, "2026-03-14", false, "Stopped since 12 Mar 2026 (birds). "},
		{"wound since", []Entry{one, did(Wound, "2026-03-13 09:00")}, "2026-03-14", false, "Going. "},
		{"wound in part since, nobody knows how much", []Entry{one, did(Wound, "2026-03-13 09:00", partly)}, "2026-03-14", false, "Going. "},
		{"and that is used up for certain", []Entry{one, did(Wound, "2026-03-13 09:00", partly)}, "2026-03-24", true, by10},
	} {
		a := assess(wound(days8, weeklyWind), book(tt.log...), tt.now)
		if a.Trains[0].Wind.Past != tt.past || !strings.HasPrefix(a.Status, tt.says) {
			t.Errorf("%s: past %v, %q; want %v, %q", tt.name, a.Trains[0].Wind.Past, a.Status, tt.past, tt.says)
		}
		checkTask(t, tt.name, taskOf(t, a, Winding, "going"))
	}
	c := pump() // a strike alone that is past its wind does not stop the clock
	c.Trains[1].Reserve = 2 * 24 * time.Hour
	a := assess(c, book(one), "2026-03-05")
	if want := "Going, but by its last logged wind the strike train stopped about 4 Mar 2026, 09:00, unless"; !strings.HasPrefix(a.Status, want) {
		t.Errorf("%q, want %q", a.Status, want)
	}
}

// What the task of a winding says of how it is known.
func TestWindingWords(t *testing.T) {
	c := weighted()
	g := of("going")
	for _, tt := range []struct {
		name                         string
		log                          []Entry
		reason, evidence, confidence string
	}{
		{"a full wind", []Entry{did(Wound, "2026-03-02 09:00", g, func(e *Entry) { e.Turns = 56 })},
			"wound in full on 2 Mar 2026 (a full wind runs 8 days); runs down about 10 Mar 2026, 09:00", "a full wind of 56 turns, 2 Mar 2026, 09:00",
			"firm: from the logged wind; nine times in ten it stops between 9 Mar 2026, 23:24 and 10 Mar 2026, 18:36"},
		{"and two parts", []Entry{did(Wound, "2026-03-02 09:00", g), did(Wound, "2026-03-03 09:00", g, turns(4)), did(Wound, "2026-03-04 09:00", g, turns(2.5))},
			"wound in full on 2 Mar 2026 (a full wind runs 8 days); 6.5 turns more put on until 4 Mar 2026; runs down about 11 Mar 2026, 04:30",
			"a full wind, 2 Mar 2026, 09:00, and 2 winds in part since", "firm: from the logged wind; "},
		{"the weight", []Entry{did(Inspected, "2026-03-04 09:00", g, fallLeft(4572))},
			"4.57 m (15 ft 0 in) left to fall on 4 Mar 2026 (a full wind runs 8 days); runs down about 8 Mar 2026, 09:00", "the height of the weight, 4 Mar 2026, 09:00",
			"firm: from the height of the weight; nine times in ten it stops between 8 Mar 2026, 07:04 and 8 Mar 2026, 10:55"},
		{"in part, nobody knows how much", []Entry{did(Wound, "2026-03-02 09:00", g), did(Wound, "2026-03-03 09:00", g, partly)},
			"wound in part on 3 Mar 2026, and how much is not logged; runs down about 10 Mar 2026, 09:00", "a full wind, 2 Mar 2026, 09:00", "weak: how much was put on is not logged; "},
		{"seen going after it was used up", []Entry{did(Wound, "2026-02-20 09:00", g), did(Inspected, "2026-03-02 09:00", g)},
			"wound in full on 20 Feb 2026 (a full wind runs 8 days); would have run down about 28 Feb 2026, 09:00", "a full wind, 20 Feb 2026, 09:00",
			"weak: it was seen going on 2 Mar 2026, after its logged wind was used up, so somebody wound it and did not log it"},
	} {
		got := taskOf(t, assess(c, book(tt.log...), "2026-03-04 12:00"), Winding, "going")
		if !strings.HasSuffix(got.Reason, tt.reason) || got.Evidence != tt.evidence || !strings.HasPrefix(got.Confidence, tt.confidence) {
			t.Errorf("%s:\n%q\n%q\n%q\nwant\n%q\n%q\n%q", tt.name, got.Reason, got.Evidence, got.Confidence, tt.reason, tt.evidence, tt.confidence)
		}
		checkTask(t, tt.name, got)
	}
}

// A clock that stood nobody knows for how long may stop as early as if it had not
// stood at all: its last good day takes that in.
func TestLastGoodDayTakesInAStopOfUnknownLength(t *testing.T) {
	full := did(Wound, "2026-03-02 09:00")
	last := func(log ...Entry) Task {
		x := taskOf(t, assess(wound(days8, Policy{}), book(append([]Entry{full}, log...)...), "2026-03-06 12:00"), Winding, "going")
		checkTask(t, "doubt", x)
		return x
	}
	went := last()
	stop := func(c ...change) Entry { return did(Stopped, "2026-03-05 09:00", append(c, by(Fault))...) }
	again := did(Started, "2026-03-05 10:00")
	known := last(stop(func(e *Entry) { e.Since = utc("2026-03-03 09:00") }), again)
	doubt := last(stop(), again)
	if !known.Latest.After(went.Latest) || doubt.Latest.After(went.Latest) {
		t.Errorf("last day %s if it went on, %s if it stood two days, %s where nobody knows", went.Latest, known.Latest, doubt.Latest)
	}
	if want := "it may have stood in between, nobody knows for how long: for "; !strings.Contains(doubt.Reason, want) || strings.Contains(known.Reason, want) {
		t.Errorf("%q\n%q", doubt.Reason, known.Reason)
	}
}

func TestWindings(t *testing.T) {
	log := book(append(weekly("2026-01-05", 10), did(Wound, "2026-03-01", of("strike"), called("s")), did(Wound, "2026-03-02", of("going"), partly, called("p")))...)
	a := assess(weighted(), log, "2026-04-01")
	if g, s := a.Trains[0].Wind.Windings, a.Trains[1].Wind.Windings; g != 11 || s != 11 {
		t.Errorf("%d windings of the going train, %d of the strike; want 11 of each", g, s)
	}
}

// Over many logs what is left is within a full wind, less as time passes while
// nothing is wound, and it stops when it is used up.
func TestWindIsALedger(t *testing.T) {
	const seed = 9
	t.Logf("seed %d", seed)
	rng := rand.New(rand.NewPCG(seed, 2))
	for range 150 {
		c := weighted()
		var log []Entry
		at, going := utc("2026-01-02 09:00"), true
		for range 1 + rng.IntN(12) {
			at = at.Add(time.Duration(rng.IntN(100)) * time.Hour)
			switch k := rng.IntN(8); {
			case k < 3:
				log = append(log, doneAt(Wound, at))
			case k == 3:
				log = append(log, doneAt(Wound, at, of("strike"), turns(float64(1+rng.IntN(20)))))
			case k == 4:
				log = append(log, doneAt(Inspected, at, of("going"), fallLeft(float64(rng.IntN(9144)))))
			case k == 5:
				log = append(log, doneAt(Wound, at, partly))
			case going:
				log, going = append(log, doneAt(Stopped, at, by(ByHand))), false
			default:
				log, going = append(log, doneAt(Started, at)), true
			}
		}
		f := fleetOf("UTC", c)
		look := func(now time.Time) Assessment {
			return Assess(Facts{Clock: c, Site: f.Sites[0], Entries: book(log...)}, now)
		}
		a, b := look(at), look(at.Add(7*time.Hour))
		for i, st := range a.Trains {
			x, y := st.Wind, b.Trains[i].Wind
			if len(a.Problems) > 0 || x.Share < 0 || x.Share > 1+1e-9 || y.Share > x.Share+1e-9 || x.Early.After(x.Stops) || x.Stops.After(x.Late) || x.Spare < 0 {
				t.Fatalf("%s: %q %+v, then %+v; %s", st.Train.Code, a.Problems, x, y, kindsOf(log))
			}
			if !going && x.Share != y.Share {
				t.Fatalf("%s stands, and spends %v; %s", st.Train.Code, x.Share-y.Share, kindsOf(log))
			}
			if end := look(x.Stops).Trains[i].Wind; x.Known && going && x.Stops.After(at) && end.Share > 1e-9 {
				t.Fatalf("%s stops at %v with %v left; %s", st.Train.Code, x.Stops, end.Share, kindsOf(log))
			}
		}
	}
}

func kindsOf(log []Entry) string {
	var out []string
	for _, e := range log {
		out = append(out, fmt.Sprintf("%s %s %q %v", e.At.Format("2 Jan 15:04"), e.Kind, e.Train, e.Turns))
	}
	return strings.Join(out, ", ")
}
