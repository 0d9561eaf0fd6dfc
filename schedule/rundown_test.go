package schedule

import (
	"strconv"
	"strings"
	"testing"

	"endshake/wear"
)

func out(seconds float64) change { return func(e *Entry) { e.ErrorFound = &seconds } }

// What is put on after a clock was found run down is all that there is: 10 turns
// of three hours are 30 hours, from when it is started.
func TestWoundInPartAfterRunDown(t *testing.T) {
	g := of("going")
	full, down := did(Wound, "2026-03-02", g), did(Stopped, "2026-03-12", by(RanDown))
	early := did(Stopped, "2026-03-06", by(RanDown)) // before its reckoning: four days were left by that
	for _, tt := range []struct {
		name  string
		log   []Entry
		now   string
		turns float64
		stops string // empty: not known
		words string
	}{
		{"wound, and not started yet", []Entry{full, down, did(Wound, "2026-03-12", g, turns(10))}, "2026-03-13", 10, "2026-03-14 06:00", "found run down on 12 Mar 2026; 10 turns more put on until 12 Mar 2026; 30 hours of run left when it goes again"},
		{"and started", []Entry{full, down, did(Wound, "2026-03-12", g, turns(10)), did(Started, "2026-03-13")}, "2026-03-13 12:00", 6, "2026-03-14 06:00", "runs down about 14 Mar 2026, 06:00"},
		{"run down early", []Entry{full, early, did(Wound, "2026-03-06", g, turns(10)), did(Started, "2026-03-06")}, "2026-03-06", 10, "2026-03-07 06:00", "runs down about 7 Mar 2026, 06:00"},
		{"in two parts", []Entry{full, down, did(Wound, "2026-03-12", g, turns(10)), did(Started, "2026-03-12"), did(Wound, "2026-03-13", g, turns(4))}, "2026-03-13", 6, "2026-03-13 18:00", "14 turns more put on until 13 Mar 2026"},
		{"and nothing before", []Entry{down, did(Wound, "2026-03-12", g, turns(10)), did(Started, "2026-03-12")}, "2026-03-12", 10, "2026-03-13 06:00", "found run down on 12 Mar 2026; 10 turns"},
		{"run down again since", []Entry{full, down, did(Wound, "2026-03-12", g, turns(10)), did(Started, "2026-03-12")}, "2026-03-20", 0, "2026-03-13 06:00", "has run down about 13 Mar 2026, 06:00, unless"},
		{"then wound in full", []Entry{full, down, did(Wound, "2026-03-12", g, turns(10)), did(Started, "2026-03-12"), did(Wound, "2026-03-13", g)}, "2026-03-13", 64, "2026-03-21 00:00", "wound in full on 13 Mar 2026"},
		{"nobody knows how much", []Entry{full, down, did(Wound, "2026-03-12", g, partly), did(Started, "2026-03-12")}, "2026-03-13", 0, "", "found run down on 12 Mar 2026; wound in part on 12 Mar 2026, and how much is not logged; how long it goes is not known"},
		{"nobody knows how much, and not started yet", []Entry{full, down, did(Wound, "2026-03-12", g, partly)}, "2026-03-13", 0, "", "and how much is not logged; how long it goes is not known"},
		{"of the strike alone", []Entry{full, did(Stopped, "2026-03-12", by(RanDown), of("strike")), did(Wound, "2026-03-09", g, turns(10))}, "2026-03-09", 18, "2026-03-11 06:00", "wound in full on 2 Mar 2026"},
	} {
		a := assess(weighted(), book(tt.log...), tt.now)
		w, x := a.Trains[0].Wind, taskOf(t, a, Winding, "going")
		checkTask(t, tt.name, x)
		if !strings.Contains(x.Reason, tt.words) || !near(w.Turns, tt.turns) {
			t.Errorf("%s: %v turns, %q; want %v, %q", tt.name, w.Turns, x.Reason, tt.turns, tt.words)
		}
		if (tt.stops == "") != w.Stops.IsZero() || (tt.stops == "") != (w.Lost != "") || tt.stops != "" && !w.Stops.Equal(utc(tt.stops)) {
			t.Errorf("%s: stops %v (%q); want %s", tt.name, w.Stops, w.Lost, tt.stops)
		}
		if tt.stops == "" && (x.Due != d("2026-03-12") || x.Confidence != "weak: how much was put on is not logged" || x.Evidence != "found run down, 12 Mar 2026, 00:00") {
			t.Errorf("%s: %+v", tt.name, x)
		}
	}
}

// Turns tell nothing where it is not described how long one runs, nor where it
// is not said of which train: the task says which of the two.
func TestTurnsThatTellNothing(t *testing.T) {
	c := pump()
	c.InCare, c.Trains[0].Reserve = d("2026-01-01"), hour30
	for _, tt := range []struct {
		name, want string
		wind       Entry
	}{
		{"none logged", "and how much is not logged", did(Wound, "2026-03-02 20:00", of("going"), partly)},
		{"a turn not described", "turns are logged, but how long a turn runs is not described", did(Wound, "2026-03-02 20:00", of("going"), turns(10))},
		{"of no train", "turns are logged, but not of which train", did(Wound, "2026-03-02 20:00", turns(10))},
	} {
		for _, before := range [][]Entry{{did(Wound, "2026-03-02 09:00")}, {did(Stopped, "2026-03-02 09:00", by(RanDown)), did(Started, "2026-03-02 21:00")}} {
			x := taskOf(t, assess(c, book(append(before, tt.wind)...), "2026-03-03 09:00"), Winding, "going")
			if !strings.Contains(x.Reason, tt.want) || !strings.HasPrefix(x.Confidence, "weak: ") || strings.Contains(x.Reason+x.Confidence, "not logged") != (tt.name == "none logged") {
				t.Errorf("%s: %q, %q", tt.name, x.Reason, x.Confidence)
			}
		}
	}
}

// One that goes by the log and is past what is known of its wind either probably
// stopped, or it is said why what is left is not known.
func TestNoWindLeftAndGoing(t *testing.T) {
	one := did(Wound, "2026-03-02 09:00")
	for _, tt := range []struct {
		name string
		log  []Entry
		past bool
		lost string
	}{
		{"nothing since", []Entry{one}, true, ""},
		{"seen going", []Entry{one, did(Inspected, "2026-03-12 09:00")}, false, "it was seen going on 12 Mar 2026, after its logged wind was used up, so somebody wound it"},
		{"wound in part", []Entry{one, did(Wound, "2026-03-12 09:00", partly)}, false, "wound in part on 12 Mar 2026, and how much is not logged"},
		{"started with no wind", []Entry{one, did(Stopped, "2026-03-11", by(RanDown)), did(Started, "2026-03-12")}, false, "it was seen going on 12 Mar 2026"},
		{"within its wind", []Entry{did(Wound, "2026-03-12 09:00")}, false, ""},
	} {
		a := assess(wound(days8, weeklyWind), book(tt.log...), "2026-03-14")
		w := a.Trains[0].Wind
		if w.Past != tt.past || !strings.HasPrefix(w.Lost, tt.lost) || (w.Lost == "") != (tt.lost == "") {
			t.Errorf("%s: past %v, %q", tt.name, w.Past, w.Lost)
		}
		x := taskOf(t, a, Winding, "going")
		rank, head := Rank(0), ""
		switch {
		case tt.past:
			rank, head = MayHaveStopped, "may have stopped"
		case tt.lost != "":
			rank, head = StopsSoon, "stops soon"
		}
		if rank != 0 && (x.Rank != rank || x.Heading() != head) || a.ProbablyStopped() != tt.past {
			t.Errorf("%s: rank %d, %q, probably stopped %v", tt.name, x.Rank, x.Heading(), a.ProbablyStopped())
		}
	}
	for from, to := range map[Rank]Rank{Danger: MayHaveStopped, MayHaveStopped: StopsSoon, StopsSoon: AtLimit} {
		if Pressing(&Task{Rank: from, State: Open}, &Task{Rank: to, State: Late}) >= 0 {
			t.Errorf("rank %d does not come before %d", from, to)
		}
	}
}

// A clock that probably stopped has no error now; what is due of its time stays
// due, for nobody has logged that it stands.
func TestNoErrorOfAStoppedClock(t *testing.T) {
	c := wound(days8, weeklyWind)
	c.Care.Tolerance = &Tolerance{Seconds: 60, Source: "keeper"}
	log := []Entry{did(Wound, "2026-03-02 09:00")}
	for i, day := range []string{"2026-03-02", "2026-03-04", "2026-03-06", "2026-03-08"} {
		log = append(log, did(Inspected, day+" 10:00", out(float64(4*i))))
	}
	if a := assess(c, book(log...), "2026-03-09"); !a.Time.ErrorKnown || a.ProbablyStopped() {
		t.Fatalf("while it goes: %+v", a.Time)
	}
	a := assess(c, book(log...), "2026-03-11")
	if a.Time.ErrorKnown || a.Time.Error != 0 || a.Time.Early.IsZero() || !a.ProbablyStopped() || !a.Going {
		t.Errorf("past its wind: %+v, probably stopped %v", a.Time, a.ProbablyStopped())
	}
}

// Hands found about right show that the clock went on until it was wound, ten
// minutes out at the most; they show nothing of the strike, and a weight that is
// down shows the contrary.
func TestHandsFoundRightShowItGoing(t *testing.T) {
	first := did(Wound, "2026-03-02")
	for _, tt := range []struct {
		name   string
		wind   Entry
		likely float64 // hours from 2 March to 12 March, ten days of 8
	}{
		{"no error logged", did(Wound, "2026-03-12"), 192},
		{"right", did(Wound, "2026-03-12", out(0)), 240},
		{"ten minutes slow", did(Wound, "2026-03-12", out(-600)), 240},
		{"more than ten minutes", did(Wound, "2026-03-12", out(601)), 192},
		{"two hours slow", did(Wound, "2026-03-12", out(-7200)), 192},
		{"in part", did(Wound, "2026-03-12", out(3), partly), 240},
		{"with the weight down", did(Wound, "2026-03-12", out(3), of("going"), fallLeft(0)), 192},
	} {
		c := weighted()
		a := assess(c, book(first, tt.wind), "2026-03-12")
		from := utc("2026-03-02")
		if got := a.Trains[0].Running.Between(from, a.Now); !near(got.Likely, tt.likely) || !near(got.Upper, 240) || !near(got.Lower, 192) {
			t.Errorf("%s: %+v, want %v likely", tt.name, got, tt.likely)
		}
	}
	strike := assess(pump(), book(first, did(Wound, "2026-03-12", out(0))), "2026-03-12").Trains[1]
	if got := strike.Running.Between(utc("2026-03-02"), utc("2026-03-12")).Likely; !near(got, 192) {
		t.Errorf("the strike ran %v h: the hands show nothing of it", got)
	}
	// A clock once past its wind that is wound with its hands right was wound in
	// between, and says so no more.
	a := assess(wound(days8, weeklyWind), book(first, did(Wound, "2026-03-12", out(0), partly)), "2026-03-13")
	if a.ProbablyStopped() || !strings.Contains(a.Trains[0].Wind.Lost, "seen going on 12 Mar 2026") {
		t.Errorf("%+v", a.Trains[0].Wind)
	}
}

// A limit that makes a visit to several bearings due is named with its bearing,
// and a limit long passed is not said to be just reached.
func TestWhoseLimit(t *testing.T) {
	c := alone()
	other := bush()
	other.Code, other.Name, other.Act, other.Watch = "centre-back", "back bush", limitAt(0.9), nil
	c.Trains[0].Arbors = []wear.Arbor{{Code: "centre", Name: "centre arbor", Revs: 1, Bearings: []wear.Bearing{bush(), other}}}
	c.Policies = []Policy{{Task: Measuring, Days: 3650, Lead: 3000, Source: "keeper"}, {Task: Inspection, Days: 365, Source: "keeper"}}
	log := []Entry{
		did(Measured, "2025-01-01", gave(0.16), onBearing("centre-front")), did(Measured, "2026-01-01", gave(0.18), onBearing("centre-front")),
		did(Measured, "2025-01-01", gave(0.11), onBearing("centre-back")), did(Measured, "2026-01-01", gave(0.12), onBearing("centre-back")),
	}
	x := taskOf(t, assess(c, book(log...), "2026-02-01"), Measuring, "")
	if !strings.HasPrefix(x.Reason, "first the centre arbor, front bush: from then on the chance that it has passed its watch limit of 0.25 mm (9.8 thou) unseen") || !strings.HasSuffix(x.Reason, "; with it the centre arbor, back bush") {
		t.Errorf("%q", x.Reason)
	}
	worn := &c.Trains[0].Arbors[0].Bearings[0]
	worn.Watch, worn.Act = nil, limitAt(0.14)
	insp := taskOf(t, assess(c, book(log...), "2026-03-02"), Inspection, "")
	_, words, _ := strings.Cut(insp.Reason, "the centre arbor, front bush had gone ")
	share, _, _ := strings.Cut(words, " %")
	if n, err := strconv.ParseFloat(share, 64); err != nil || n < 150 || n > 250 { // (0.18 - 0.10) / (0.14 - 0.10), within what the readings leave open
		t.Errorf("%q", insp.Reason)
	}
}
