package schedule

import (
	"strings"
	"testing"
	"time"

	"endshake/wear"
)

// weeklyWind is the interval for an eight-day clock: wound weekly, made for
// eight days and a fraction so that a forgotten day is survived (E. Beckett, A
// Rudimentary Treatise on Clocks, Watches and Bells, 8th ed. 1903, p. 197).
var weeklyWind = Policy{Task: Winding, Days: 7, Lead: 2, Grace: 1, Reason: "eight-day clocks are wound weekly", Source: "Beckett 1903, p. 197"}

// dailyWind is that for a 30-hour clock (the same place).
var dailyWind = Policy{Task: Winding, Days: 1, Reason: "30-hour clocks are wound daily", Source: "Beckett 1903, p. 197"}

// wound is a clock of one hand-wound train and nothing to measure.
func wound(reserve time.Duration, policies ...Policy) Clock {
	c := alone()
	c.Trains[0].Reserve, c.Trains[0].Arbors, c.Policies = reserve, nil, policies
	return c
}

// Dates reckoned by hand: wound on Monday 2 March 2026 at 09:00, looked at on
// Wednesday the 4th at noon.
func TestWindingWindow(t *testing.T) {
	at9 := book(did(Wound, "2026-03-02 09:00"))
	for _, tt := range []struct {
		name   string
		clock  Clock
		log    []Entry
		window string // from, due, latest
		state  TaskState
	}{
		{"eight-day clock by policy: a week, and a day's grace", wound(days8, weeklyWind), at9, "2026-03-07 2026-03-09 2026-03-09", Ahead},
		{"eight and a half days: the spare day is nobody's grace", wound(days8+12*time.Hour, weeklyWind), at9, "2026-03-07 2026-03-09 2026-03-09", Ahead},
		{"nine and a half days leave the grace", wound(days8+36*time.Hour, weeklyWind), at9, "2026-03-07 2026-03-09 2026-03-10", Ahead},
		{"no policy: a day before the weight is down", wound(days8), at9, "2026-03-08 2026-03-09 2026-03-09", Ahead},
		{"policy and no reserve known", wound(0, weeklyWind), at9, "2026-03-07 2026-03-09 2026-03-10", Ahead},
		{"policy longer than the reserve: the weight decides", wound(days8, Policy{Task: Winding, Days: 14, Source: "x"}), at9, "2026-03-09 2026-03-09 2026-03-09", Ahead},
		{"30-hour clock two days on", wound(hour30, dailyWind), at9, "2026-03-03 2026-03-03 2026-03-03", Late},
		{"30-hour clock wound this morning", wound(hour30, dailyWind), book(did(Wound, "2026-03-04 09:00")), "2026-03-05 2026-03-05 2026-03-05", Ahead},
		{"30-hour clock without policy, wound this morning", wound(hour30), book(did(Wound, "2026-03-04 09:00")), "2026-03-05 2026-03-05 2026-03-05", Ahead},
		{"twelve hours only", wound(12 * time.Hour), book(did(Wound, "2026-03-04 08:00")), "2026-03-04 2026-03-04 2026-03-04", Due},
		{"a year clock", wound(380 * 24 * time.Hour), book(did(Wound, "2026-03-02 09:00")), "2027-03-15 2027-03-16 2027-03-16", Ahead},
		{"the last full wind counts, not a part", wound(days8, weeklyWind), book(did(Wound, "2026-03-02 09:00"), did(Wound, "2026-03-04 09:00", partly)), "2026-03-07 2026-03-09 2026-03-09", Ahead},
		{"a corrected wind", wound(days8, weeklyWind), book(did(Wound, "2026-03-03 09:00", called("x")), did(Wound, "2026-03-02 09:00", instead("x", "was Monday"))), "2026-03-07 2026-03-09 2026-03-09", Ahead},
		{"never wound: from the first day in care", wound(days8, weeklyWind), nil, "2020-01-06 2020-01-08 2020-01-09", Late},
		{"never wound, no policy", wound(days8), nil, "2020-01-07 2020-01-08 2020-01-09", Late},
	} {
		t.Run(tt.name, func(t *testing.T) {
			got := taskOf(t, assess(tt.clock, tt.log, "2026-03-04 12:00"), Winding, "going")
			if windowOf(got) != tt.window || got.State != tt.state {
				t.Errorf("got %s, %s; want %s, %s (%s)", windowOf(got), got.State, tt.window, tt.state, got.Reason)
			}
		})
	}
}

func TestWindingStates(t *testing.T) {
	c, log := wound(days8+36*time.Hour, weeklyWind), book(did(Wound, "2026-03-02 09:00"))
	for _, tt := range []struct {
		now   string
		state TaskState
		says  string
	}{
		{"2026-03-02 09:01", Ahead, "Going. Next: winding of the going train, from 7 Mar 2026."},
		{"2026-03-06 23:59", Ahead, "Next: winding"},
		{"2026-03-07 00:00", Open, "Winding of the going train may be done now, and is due on 9 Mar 2026."},
		{"2026-03-08 23:59", Open, "may be done now"},
		{"2026-03-09 00:00", Due, "Winding of the going train is due now, by 10 Mar 2026."},
		{"2026-03-10 23:59", Due, "is due now"},
		{"2026-03-11 00:00", Late, "Winding of the going train is 1 day late."},
		{"2026-03-31 12:00", Late, "Winding of the going train is 3 weeks late."},
	} {
		a := assess(c, log, tt.now)
		got := taskOf(t, a, Winding, "going")
		if got.State != tt.state || !strings.Contains(a.Status, tt.says) {
			t.Errorf("%s: %s, %q; want %s, %q", tt.now, got.State, a.Status, tt.state, tt.says)
		}
		if w := windowOf(got); w != "2026-03-07 2026-03-09 2026-03-10" {
			t.Errorf("%s: the window has moved to %s", tt.now, w)
		}
	}
}

func TestWindingOnlyOfWhatIsWound(t *testing.T) {
	c := pump()
	c.Policies = []Policy{weeklyWind}
	c.Trains[1].Drive = wear.AutoWound
	a := assess(c, nil, "2026-03-04")
	taskOf(t, a, Winding, "going")
	for _, x := range a.Tasks {
		if x.Kind == Winding && x.Subject != "going" {
			t.Errorf("asks to wind the %s, which winds itself", x.About)
		}
	}
	if a := assess(wound(0), nil, "2026-03-04"); len(a.Tasks) != 0 {
		t.Errorf("no policy and no reserve: asks for %s, wanted no winding", titles(a.Tasks))
	}
}

// Two trains of one clock have each their own wind (Beckett 1903, p. 197: the
// striking part every day or two).
func TestWindingOfEachTrain(t *testing.T) {
	c := pump()
	c.Trains[1].Reserve = 2 * 24 * time.Hour
	c.Policies = []Policy{weeklyWind, {Task: Winding, Train: "strike", Days: 2, Source: "Beckett 1903, p. 197"}}
	log := book(did(Wound, "2026-03-02 09:00"), did(Wound, "2026-03-04 09:00", of("strike")))
	a := assess(c, log, "2026-03-04 12:00")
	if got := windowOf(taskOf(t, a, Winding, "going")); got != "2026-03-07 2026-03-09 2026-03-09" {
		t.Errorf("going: %s", got)
	}
	if got := windowOf(taskOf(t, a, Winding, "strike")); got != "2026-03-05 2026-03-05 2026-03-05" {
		// Down on the 6th at 09:00: the last good day ends at 21:00 on the 5th.
		t.Errorf("strike: %s", got)
	}
}

// A stop puts the run-down off by its own length, and the winding with it.
func TestStopDelaysWinding(t *testing.T) {
	c := wound(days8, weeklyWind)
	base := assess(c, book(did(Wound, "2026-03-02 09:00")), "2026-03-08 12:00")
	for _, tt := range []struct {
		name  string
		log   []Entry
		hours float64
		days  int
	}{
		{"stopped by hand for two days", []Entry{did(Stopped, "2026-03-04 09:00", by(ByHand)), did(Started, "2026-03-06 09:00")}, 48, 2},
		{"stopped for an hour in autumn", []Entry{did(Stopped, "2026-03-04 09:00", by(ByHand)), did(Started, "2026-03-04 10:00")}, 1, 0},
		{"stopped since three days before it was found", []Entry{did(Stopped, "2026-03-06 09:00", by(Birds), since("2026-03-03 09:00")), did(Started, "2026-03-06 09:00")}, 72, 3},
		{"two stops", []Entry{
			did(Stopped, "2026-03-03 09:00", by(ByHand)), did(Started, "2026-03-04 09:00"), did(Stopped, "2026-03-05 09:00", by(ByHand)), did(Started, "2026-03-07 09:00"),
		}, 72, 3},
		{"a stop of the strike", []Entry{did(Stopped, "2026-03-04 09:00", by(ByHand), of("strike")), did(Started, "2026-03-06 09:00", of("strike"))}, 0, 0},
		{"a stop before the wind", []Entry{did(Stopped, "2026-02-20 09:00", by(ByHand)), did(Started, "2026-02-25 09:00")}, 0, 0},
	} {
		a := assess(c, book(append(tt.log, did(Wound, "2026-03-02 09:00"))...), "2026-03-08 12:00")
		if len(a.Problems) > 0 {
			t.Fatalf("%s: %q", tt.name, a.Problems)
		}
		if got := a.Trains[0].RunsDown.Sub(base.Trains[0].RunsDown).Hours(); got != tt.hours {
			t.Errorf("%s: runs down %v hours later, want %v", tt.name, got, tt.hours)
		}
		x, y := taskOf(t, a, Winding, "going"), taskOf(t, base, Winding, "going")
		if x.Due.Sub(y.Due) != tt.days || x.From.Sub(y.From) != tt.days || x.Latest.Sub(y.Latest) != tt.days {
			t.Errorf("%s: %s, want %d days after %s", tt.name, windowOf(x), tt.days, windowOf(y))
		}
	}
}

// A clock that stands keeps its wind: the window stays as far ahead, day by day.
// One that has run down has none left: the window stays where it is, and late.
func TestWindingOfAStoppedClock(t *testing.T) {
	c := wound(days8, weeklyWind)
	stands := book(did(Wound, "2026-03-02 09:00"), did(Stopped, "2026-03-04 09:00", by(Weather), since("2026-03-04 09:00")))
	down := book(did(Wound, "2026-03-02 09:00"), did(Stopped, "2026-03-14 09:00", by(RanDown)))
	early := book(did(Wound, "2026-03-02 09:00"), did(Stopped, "2026-03-06 09:00", by(RanDown))) // was not wound in full
	for _, tt := range []struct {
		now, stands, down, early string
	}{
		{"2026-03-15 12:00", "2026-03-20", "2026-03-09", "2026-03-03"},
		{"2026-03-16 12:00", "2026-03-21", "2026-03-09", "2026-03-03"},
		{"2026-03-30 12:00", "2026-04-04", "2026-03-09", "2026-03-03"},
		{"2026-12-30 12:00", "2027-01-04", "2026-03-09", "2026-03-03"},
	} {
		for _, x := range []struct {
			name, due string
			log       []Entry
			state     TaskState
			says      string
		}{
			{"stands", tt.stands, stands, Ahead, "6 days of run left when it goes again"},
			{"ran down", tt.down, down, Late, "ran down about 10 Mar 2026, 09:00"},
			{"ran down early", tt.early, early, Late, "ran down about 4 Mar 2026, 09:00"},
		} {
			a := assess(c, x.log, tt.now)
			got := taskOf(t, a, Winding, "going")
			if got.Due.String() != x.due || got.State != x.state || !strings.Contains(got.Reason, x.says) {
				t.Errorf("%s, %s: due %s, %s, %q; want %s, %s, %q", tt.now, x.name, got.Due, got.State, got.Reason, x.due, x.state, x.says)
			}
			if a.Going || a.Resting || !strings.HasPrefix(a.Status, "Stopped since ") {
				t.Errorf("%s, %s: going %v, resting %v, %q", tt.now, x.name, a.Going, a.Resting, a.Status)
			}
		}
	}
	full := assess(c, append(book(down...), book(did(Wound, "2026-03-20 09:00", called("w")))...), "2026-03-21 12:00")
	if got := taskOf(t, full, Winding, "going"); got.Due.String() != "2026-03-28" || got.State != Ahead || !strings.Contains(got.Reason, "8 days of run left when it goes again") {
		t.Errorf("wound and not yet started: due %s, %s, %q", got.Due, got.State, got.Reason)
	}
	again := assess(c, append(down, book(did(Wound, "2026-03-20 09:00", called("w")), did(Started, "2026-03-20 09:05", called("s")))...), "2026-03-21 12:00")
	if got := taskOf(t, again, Winding, "going"); got.Due.String() != "2026-03-27" || got.State != Ahead {
		t.Errorf("wound and started again: due %s, %s", got.Due, got.State)
	}
}

func TestWindingReasons(t *testing.T) {
	c := wound(days8, weeklyWind)
	one := book(did(Wound, "2026-03-02 09:00"))
	for _, tt := range []struct {
		name             string
		clock            Clock
		log              []Entry
		now              string
		reason, sureness string
	}{
		{"by policy", c, one, "2026-03-04", "wound in full on 2 Mar 2026 (eight-day clocks are wound weekly); runs down about 10 Mar 2026, 09:00", "firm: from the logged wind"},
		{"by the reserve", wound(hour30), one, "2026-03-02 12:00", "wound in full on 2 Mar 2026 (a full wind runs 30 hours); runs down about 3 Mar 2026, 15:00", "firm"},
		{"nobody logged", c, one, "2026-04-04", "has run down about 10 Mar 2026, 09:00, unless somebody wound it and did not log it", "firm"},
		{"reserve not known", wound(0, weeklyWind), one, "2026-03-04", "wound in full on 2 Mar 2026 (eight-day clocks are wound weekly)", "firm"},
		{"never wound", c, nil, "2026-03-04", "no full wind is logged (eight-day clocks are wound weekly)", "weak: counted from the first day in care"},
		{"after a stop", c, book(one[0], did(Stopped, "2026-03-03 09:00", by(ByHand)), did(Started, "2026-03-05 09:00")), "2026-03-06",
			"runs down about 12 Mar 2026, 09:00; stopped for 48 hours in between", "fair: from the logged wind and stops"},
	} {
		got := taskOf(t, assess(tt.clock, tt.log, tt.now), Winding, "going")
		if !strings.HasSuffix(got.Reason, tt.reason) || !strings.HasPrefix(got.Confidence, tt.sureness) {
			t.Errorf("%s: %q, %q; want %q, %q", tt.name, got.Reason, got.Confidence, tt.reason, tt.sureness)
		}
	}
	if got := taskOf(t, assess(c, one, "2026-03-04"), Winding, "going").Source; got != "Beckett 1903, p. 197" {
		t.Errorf("source %q", got)
	}
}

// A wind an hour before midnight, and the changes of clocks, do not move the
// due day: seven days on are seven days of the wall.
func TestWindingOverTimeChanges(t *testing.T) {
	for _, tt := range []struct{ zone, wound, due string }{
		{"Europe/London", "2026-10-24 00:30", "2026-10-31"}, // 168 hours on is 23:30 on the 30th
		{"Europe/London", "2026-03-28 23:30", "2026-04-04"}, // and here 00:30 on the 5th
		{"America/New_York", "2026-03-07 23:30", "2026-03-14"},
		{"Pacific/Auckland", "2026-09-26 23:30", "2026-10-03"},
		{"Pacific/Apia", "2011-12-27 09:00", "2012-01-03"},
	} {
		c := wound(days8+12*time.Hour, weeklyWind)
		c.InCare = d("2010-01-01")
		f := fleetOf(tt.zone, c)
		at := in(tt.zone, tt.wound)
		a := Assess(Facts{Clock: c, Site: f.Sites[0], Entries: book(doneAt(Wound, at))}, at.Add(time.Hour))
		if got := taskOf(t, a, Winding, "going").Due.String(); got != tt.due {
			t.Errorf("wound %s in %s: due %s, want %s", tt.wound, tt.zone, got, tt.due)
		}
	}
}

// A clock of thirty hours is wound every day: on the next day, and never on that
// of the winding. It presses from a third of its run before it stops.
func TestWoundEveryDay(t *testing.T) {
	c := wound(30 * time.Hour)
	log := book(did(Wound, "2026-03-04 08:00"))
	for _, tt := range []struct {
		now   string
		state TaskState
		rank  Rank
	}{
		{"2026-03-04 08:01", Ahead, Plain}, {"2026-03-04 23:59", Ahead, Plain}, {"2026-03-05 00:00", Due, Plain},
		{"2026-03-05 03:59", Due, Plain}, {"2026-03-05 04:00", Due, StopsSoon}, {"2026-03-05 13:00", Due, StopsSoon},
	} {
		got := taskOf(t, assess(c, log, tt.now), Winding, "going")
		if got.Due != d("2026-03-05") || got.Latest != d("2026-03-05") || got.State != tt.state || got.Rank != tt.rank {
			t.Errorf("%s: %s, %s, rank %v; want %s, rank %v", tt.now, windowOf(got), got.State, got.Rank, tt.state, tt.rank)
		}
	}
	short := book(did(Wound, "2026-03-04 00:30")) // its spare begins on the day itself
	if got := taskOf(t, assess(wound(25*time.Hour), short, "2026-03-04 12:00"), Winding, "going"); windowOf(got) != "2026-03-05 2026-03-05 2026-03-05" {
		t.Errorf("25 hours from half past midnight: %s", windowOf(got))
	}
	for run, want := range map[time.Duration]time.Duration{30 * time.Hour: 6 * time.Hour, 10 * time.Hour: 2 * time.Hour, 48 * time.Hour: 24 * time.Hour, 192 * time.Hour: 24 * time.Hour} {
		if got := spareOf(run); got != want {
			t.Errorf("a run of %v spares %v, want %v", run, got, want)
		}
	}
}

// Where neither a run nor days are known, that is said.
func TestRunNotDescribed(t *testing.T) {
	const says = "The run of the going train is not described: give its reserve, or days for winding, and it can be said when it wants winding."
	if a := assess(wound(0), nil, "2026-03-04"); len(a.Flags) != 1 || a.Flags[0] != says {
		t.Errorf("%q, want %q", a.Flags, says)
	}
	for _, c := range []Clock{wound(0, weeklyWind), wound(days8)} {
		if a := assess(c, nil, "2026-03-04"); len(a.Flags) != 0 {
			t.Errorf("%q of a train that is described", a.Flags)
		}
	}
}

// A stop of which nobody knows when it began may have been short: then the train
// has spent nearly all that it spent without the stop, and its winding is asked
// for as if it had. Where the beginning is logged there is no such doubt.
func TestWindingAfterAStopOfUnknownLength(t *testing.T) {
	c := wound(days8)
	began := "2026-03-08 08:56" // minutes before it was found
	log := func(changes ...change) []Entry {
		return book(did(Wound, "2026-03-02 09:00"), did(Stopped, "2026-03-08 09:00", append(changes, by(Fault))...), did(Started, "2026-03-08 09:04"))
	}
	never := assess(c, book(did(Wound, "2026-03-02 09:00")), "2026-03-08 12:00").Trains[0].Wind
	known := assess(c, log(since(began)), "2026-03-08 12:00").Trains[0].Wind
	open := assess(c, log(), "2026-03-08 12:00").Trains[0].Wind
	if d := known.Early.Sub(never.Early); d < 0 || d > 10*time.Minute {
		t.Errorf("a stop of eight minutes moves the early end by %v", d)
	}
	if d := open.Stops.Sub(never.Stops); d < 48*time.Hour {
		t.Errorf("likely it stood a while, and so goes longer: %v", d)
	}
	if d := open.Early.Sub(never.Early); d < 0 || d > 10*time.Minute {
		t.Errorf("it may have stood for no time, and the early end is moved by %v", d)
	}
	if !open.Late.After(open.Stops.Add(24 * time.Hour)) {
		t.Errorf("it may have stood since it was wound: stops %v, late %v", open.Stops, open.Late)
	}
	x, y := taskOf(t, assess(c, log(), "2026-03-08 12:00"), Winding, "going"), taskOf(t, assess(c, log(since(began)), "2026-03-08 12:00"), Winding, "going")
	if d := x.Due.Sub(y.Due); d < -1 || d > 1 {
		t.Errorf("due %s where nobody knows how long it stood, %s where it stood for minutes", x.Due, y.Due)
	}
}
