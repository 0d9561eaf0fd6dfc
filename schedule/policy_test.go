package schedule

import (
	"slices"
	"strings"
	"testing"
	"time"

	"endshake/wear"
)

// Published intervals disagree, so they are data with a source:
//   - 90 days for over 60 points of an E. Howard Model 0 (Cranbury Township
//     Clock Winding Committee, history page);
//   - twice a year (turretclocks.com, owner's advice p. 5);
//   - yearly under contract (annual maintenance scope of a British firm);
//   - a visit at least monthly to a clock that winds itself (Antiquarian
//     Horological Society, The Turret Clock Keeper's Handbook, p. 14).
//
// Due dates by hand from 1 March 2026; 2026 and 2027 are no leap years.
func TestPolicyWindows(t *testing.T) {
	oiled := book(did(Oiled, "2026-03-01 15:00"))
	looked := book(did(Inspected, "2026-03-01 15:00"))
	for _, tt := range []struct {
		name   string
		policy Policy
		log    []Entry
		window string
	}{
		{"oiling every 90 days", Policy{Task: Oiling, Days: 90, Lead: 10, Grace: 14}, oiled, "2026-05-20 2026-05-30 2026-06-13"},
		{"oiling twice a year", Policy{Task: Oiling, Days: 182, Lead: 21, Grace: 30}, oiled, "2026-08-09 2026-08-30 2026-09-29"},
		{"oiling yearly", Policy{Task: Oiling, Days: 365, Lead: 30, Grace: 45}, oiled, "2027-01-30 2027-03-01 2027-04-15"},
		{"with the usual window", Policy{Task: Oiling, Days: 365}, oiled, "2027-02-08 2027-03-01 2027-03-31"},
		{"a visit monthly", Policy{Task: Inspection, Days: 30, Lead: 5, Grace: 7}, looked, "2026-03-26 2026-03-31 2026-04-07"},
		{"every fourth year, over a leap day", Policy{Task: Inspection, Days: 1461, Lead: 30, Grace: 45}, looked, "2030-01-30 2030-03-01 2030-04-15"},
		{"a lead longer than the interval is cut to a quarter", Policy{Task: Oiling, Days: 20, Lead: 40, Grace: 5}, oiled, "2026-03-16 2026-03-21 2026-03-26"},
		{"the usual lead too", Policy{Task: Oiling, Days: 8, Grace: 5}, oiled, "2026-03-07 2026-03-09 2026-03-14"},
		{"2,160 run-hours are 90 days of a clock that goes", Policy{Task: Oiling, RunHours: 2160, Lead: 10, Grace: 14}, oiled, "2026-05-20 2026-05-30 2026-06-13"},
		{"the earlier of the two, days", Policy{Task: Oiling, Days: 60, RunHours: 2160, Lead: 10, Grace: 14}, oiled, "2026-04-20 2026-04-30 2026-05-14"},
		{"the earlier of the two, hours", Policy{Task: Oiling, Days: 120, RunHours: 2160, Lead: 10, Grace: 14}, oiled, "2026-05-20 2026-05-30 2026-06-13"},
		{"cleaning oils as well", Policy{Task: Oiling, Days: 90, Lead: 10, Grace: 14}, book(oiled[0], did(Cleaned, "2026-04-01 10:00")), "2026-06-20 2026-06-30 2026-07-14"},
		{"a repair does not", Policy{Task: Oiling, Days: 90, Lead: 10, Grace: 14}, book(oiled[0], did(Repaired, "2026-04-01 10:00", left(0.1))), "2026-05-20 2026-05-30 2026-06-13"},
		{"the newest counts, in whatever order they were logged", Policy{Task: Oiling, Days: 90, Lead: 10, Grace: 14},
			book(oiled[0], did(Oiled, "2025-06-01 10:00")), "2026-05-20 2026-05-30 2026-06-13"},
		{"never done: from the first day in care", Policy{Task: Oiling, Days: 365, Lead: 30, Grace: 45}, nil, "2020-12-01 2020-12-31 2021-02-14"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			c := alone()
			tt.policy.Source = "given above"
			c.Policies = []Policy{tt.policy}
			got := taskOf(t, assess(c, tt.log, "2026-04-10 12:00"), tt.policy.Task, "")
			if windowOf(got) != tt.window {
				t.Errorf("got %s, want %s", windowOf(got), tt.window)
			}
		})
	}
}

func TestPolicyStates(t *testing.T) {
	c := alone()
	c.Policies = []Policy{{Task: Oiling, Days: 90, Lead: 10, Grace: 14, Reason: "dusty room.", Source: "Cranbury history page"}}
	log := book(did(Oiled, "2026-03-01 15:00")) // from 20 May, due 30 May, latest 13 June
	for _, tt := range []struct {
		now   string
		state TaskState
	}{
		{"2026-03-01 15:01", Ahead}, {"2026-05-19 23:59", Ahead}, {"2026-05-20 00:00", Open}, {"2026-05-29 23:59", Open},
		{"2026-05-30 00:00", Due}, {"2026-06-13 23:59", Due}, {"2026-06-14 00:00", Late}, {"2030-01-01 00:00", Late},
	} {
		got := taskOf(t, assess(c, log, tt.now), Oiling, "")
		if got.State != tt.state || windowOf(got) != "2026-05-20 2026-05-30 2026-06-13" {
			t.Errorf("%s: %s, %s; want %s", tt.now, got.State, windowOf(got), tt.state)
		}
		if got.Reason != "oiled on 1 Mar 2026; every 90 days (dusty room)" || got.Source != "Cranbury history page" ||
			got.Confidence != "firm: a fixed interval from what is logged on 1 Mar 2026" {
			t.Errorf("%s: %q, %q, %q", tt.now, got.Reason, got.Confidence, got.Source)
		}
	}
}

// What an entry was about decides which interval it starts anew.
func TestWhichEntriesCount(t *testing.T) {
	policy := func(train, bearing string) Policy {
		return Policy{Task: Oiling, Train: train, Bearing: bearing, Days: 90, Source: "keeper"}
	}
	const first = "2020-03-31" // ninety days from the first day in care
	both := []Entry{did(Oiled, "2026-03-01", of("going")), did(Oiled, "2026-03-11", of("strike"))}
	for _, tt := range []struct {
		name    string
		policy  Policy
		log     []Entry
		subject string
		due     string
		says    string
	}{
		{"the whole clock, by the whole clock", policy("", ""), []Entry{did(Oiled, "2026-03-01")}, "", "2026-05-30", "oiled on 1 Mar 2026"},
		{"the whole clock, by one train", policy("", ""), both[:1], "", first, "no oiling is logged for the strike train"},
		{"the whole clock, by both trains: the one that waits longest", policy("", ""), both, "", "2026-05-30", "oiled on 1 Mar 2026"},
		{"the whole clock, by one bearing", policy("", ""), []Entry{did(Oiled, "2026-03-01", onBearing("centre-front"))}, "", first, "no oiling is logged"},
		{"a train, by the whole clock", policy("strike", ""), []Entry{did(Oiled, "2026-03-01")}, "strike", "2026-05-30", "oiled on 1 Mar 2026"},
		{"a train, by itself", policy("strike", ""), both, "strike", "2026-06-09", "oiled on 11 Mar 2026"},
		{"a train, by the other", policy("strike", ""), both[:1], "strike", first, "no oiling is logged"},
		{"a bearing, by itself", policy("", "centre-front"), []Entry{did(Oiled, "2026-03-01", onBearing("centre-front"))}, "centre-front", "2026-05-30", "oiled on 1 Mar 2026"},
		{"a bearing, by its train", policy("", "centre-front"), both, "centre-front", "2026-05-30", "oiled on 1 Mar 2026"},
		{"a bearing, by the other train", policy("", "centre-front"), both[1:], "centre-front", first, "no oiling is logged"},
		{"a bearing, by another", policy("", "centre-front"), []Entry{did(Oiled, "2026-03-01", onBearing("second-back"))}, "centre-front", first, "no oiling is logged"},
		{"a corrected oiling", policy("", ""), []Entry{did(Oiled, "2026-03-01", called("x")), did(Oiled, "2026-02-01", instead("x", "wrong month"))}, "", "2026-05-02", "oiled on 1 Feb 2026"},
	} {
		c := pump()
		c.Policies = []Policy{tt.policy}
		got := taskOf(t, assess(c, book(slices.Clone(tt.log)...), "2026-04-10 12:00"), Oiling, tt.subject)
		if got.Due.String() != tt.due || !strings.HasPrefix(got.Reason, tt.says+"; every 90 days") {
			t.Errorf("%s: due %s, %q; want %s, %q", tt.name, got.Due, got.Reason, tt.due, tt.says)
		}
	}
}

// Run-hours are those of the train that a policy is about.
func TestRunHoursOfWhichTrain(t *testing.T) {
	log := book(
		did(Oiled, "2026-03-01"),
		did(Stopped, "2026-03-01 00:00", by(Fault), of("strike"), since("2026-03-01")), did(Started, "2026-03-21", of("strike")),
	)
	for _, tt := range []struct {
		policy Policy
		want   string
	}{
		{Policy{Task: Oiling, RunHours: 2160}, "2026-05-30"},                                 // the clock goes by its going train
		{Policy{Task: Oiling, Train: "going", RunHours: 2160}, "2026-05-30"},                 //
		{Policy{Task: Oiling, Train: "strike", RunHours: 2160}, "2026-06-19"},                // twenty days later
		{Policy{Task: Oiling, Bearing: "second-back", RunHours: 2160}, "2026-06-19"},         // on the strike train
		{Policy{Task: Oiling, Bearing: "centre-front", RunHours: 2160}, "2026-05-30"},        //
		{Policy{Task: Oiling, Train: "strike", RunHours: 2160, Days: 90}, "2026-05-30"},      //
		{Policy{Task: Oiling, Train: "strike", RunHours: 24 * 31, Days: 1000}, "2026-04-21"}, // in the past, by the log
	} {
		c := pump()
		tt.policy.Source = "keeper"
		c.Policies = []Policy{tt.policy}
		// A day before the first of the dates: what lies ahead is a few weeks only,
		// so that twenty stopped days in three years hardly tell in the duty.
		a := assess(c, log, "2026-05-29 00:00")
		got := a.Tasks[slices.IndexFunc(a.Tasks, func(x Task) bool { return x.Kind == Oiling })]
		if d := got.Due.Sub(d(tt.want)); d != 0 {
			t.Errorf("%+v: due %s, want %s", tt.policy, got.Due, tt.want)
		}
	}
}

// A stop puts run-hours off by its own length, at a duty of all day ahead; the
// calendar it does not touch.
func TestStopDelaysRunHours(t *testing.T) {
	c := alone()
	c.InCare = d("2026-03-01") // less than a month before: the duty ahead is all day
	c.Policies = []Policy{{Task: Oiling, RunHours: 2160, Source: "x"}, {Task: Inspection, Days: 90, Source: "x"}}
	base := assess(c, nil, "2026-03-20")
	for _, tt := range []struct {
		name string
		log  []Entry
		days int
	}{
		{"five days by hand", []Entry{did(Stopped, "2026-03-05", by(ByHand)), did(Started, "2026-03-10")}, 5},
		{"found on the fifth day, since the first", []Entry{did(Stopped, "2026-03-10", by(Birds), since("2026-03-05")), did(Started, "2026-03-10")}, 5},
		{"two stops", []Entry{did(Stopped, "2026-03-05", by(ByHand)), did(Started, "2026-03-07"), did(Stopped, "2026-03-10", by(ByHand)), did(Started, "2026-03-14")}, 6},
		{"a stop that lasts", []Entry{did(Stopped, "2026-03-05", by(Fault), since("2026-03-05"))}, 15},
		{"one that is gone by correction", []Entry{did(Stopped, "2026-03-05", by(ByHand), called("x")), did(Noted, "2026-03-05", note("no"), instead("x", "other clock"))}, 0},
	} {
		a := assess(c, book(tt.log...), "2026-03-20")
		if got := taskOf(t, a, Oiling, "").Due.Sub(taskOf(t, base, Oiling, "").Due); got != tt.days {
			t.Errorf("%s: due %d days later, want %d", tt.name, got, tt.days)
		}
		if got := taskOf(t, a, Inspection, "").Due; got != taskOf(t, base, Inspection, "").Due {
			t.Errorf("%s: inspection moved to %s", tt.name, got)
		}
	}
}

// A bearing that has the code of a train is not taken for it.
func TestSubjectsThatShareACode(t *testing.T) {
	c := pump()
	c.Trains[0].Arbors[0].Bearings[0].Code = "strike"
	for _, kind := range []TaskKind{Oiling, Inspection} {
		c.Policies = append(c.Policies, Policy{Task: kind, Train: "strike", Days: 300, Minutes: 7, Source: "x"}, Policy{Task: kind, Bearing: "strike", Days: 100, Minutes: 9, Source: "x"})
	}
	if err := fleetOf("UTC", c).Validate(); err != nil {
		t.Fatal(err)
	}
	a := assess(c, nil, "2020-02-01")
	for _, kind := range []TaskKind{Oiling, Inspection} {
		train, bearing := taskOf(t, a, kind, "strike"), taskOf(t, a, kind, "bearing/strike")
		if train.Due != c.InCare.Add(300) || train.About != "strike train" || train.Minutes != 7 {
			t.Errorf("%s of the train: %+v", kind, train)
		}
		if bearing.Due != c.InCare.Add(100) || bearing.About != "centre arbor, front bush" || bearing.Minutes != 9 {
			t.Errorf("%s of the bearing: %+v", kind, bearing)
		}
	}
}

// A due date must not slide as days go by without a new fact; nor with the
// time of day.
func TestDueDatesStandStill(t *testing.T) {
	c := pump()
	c.Policies = []Policy{
		weeklyWind, {Task: Oiling, RunHours: 4383, Source: "x"}, {Task: Inspection, Days: 365, Source: "x"},
		{Task: Measuring, Days: 365, Source: "x"}, {Task: Oiling, Bearing: "second-back", RunHours: 1000, Source: "x"},
	}
	log := book(append(weekly("2026-01-01", 9),
		did(Oiled, "2026-01-05"), did(Inspected, "2026-01-05"), did(Measured, "2023-01-05", gave(0.12)),
		did(Measured, "2024-01-05", gave(0.14)), did(Measured, "2025-01-05", gave(0.16)), did(Measured, "2026-01-05", gave(0.18)))...)
	base := assess(c, log, "2026-03-01 00:00")
	for h := 0; h < 24*400; h += 7 {
		now := utc("2026-03-01").Add(time.Duration(h) * time.Hour)
		a := Assess(Facts{Clock: c, Site: base.Site, Entries: log}, now)
		for _, x := range base.Tasks {
			if x.Kind == NearLimit {
				continue
			}
			if y := taskOf(t, a, x.Kind, x.Subject); windowOf(y) != windowOf(x) {
				t.Fatalf("%v: %s %q is now %s, was %s", now, x.Kind, x.Subject, windowOf(y), windowOf(x))
			}
		}
		x, y := outlookOf(t, base, "centre-front"), outlookOf(t, a, "centre-front")
		if !x.Dated || x.Early != y.Early || x.Likely != y.Likely || x.Late != y.Late || x.Measure != y.Measure {
			t.Fatalf("%v: forecast is now %v %v %v, measure %v; was %v %v %v, %v", now, y.Early, y.Likely, y.Late, y.Measure, x.Early, x.Likely, x.Late, x.Measure)
		}
	}
}

// The duty of late: three whole years, less where the log is shorter, and not a
// stop longer than a season.
func TestDutyOfLate(t *testing.T) {
	winter := func(year string) []Entry {
		next := d(year + "-01-01").Add(366).String()[:4]
		return []Entry{did(Stopped, year+"-11-01", by(Rest), until(next+"-04-01")), did(Started, next+"-04-01")}
	}
	for _, tt := range []struct {
		name   string
		inCare string
		log    []Entry
		now    string
		want   float64
	}{
		{"always going", "2020-01-01", nil, "2026-06-01", 24},
		{"three weeks in care, two of them stopped", "2026-05-11", []Entry{did(Stopped, "2026-05-12", by(ByHand)), did(Started, "2026-05-26")}, "2026-06-01", 24},
		{"sixty days in care, thirty stopped", "2026-04-02", []Entry{did(Stopped, "2026-04-03", by(ByHand)), did(Started, "2026-05-03")}, "2026-06-01", 12},
		// 151 days of rest in each of three years of 365.25 on the average: 1096 days.
		{"rests each winter", "2020-01-01", slices.Concat(winter("2023"), winter("2024"), winter("2025")), "2026-06-01", 24 * (1096 - 152 - 151 - 151) / 1096.0},
		{"back from five years of repair", "2020-01-01", []Entry{did(Stopped, "2021-03-01", by(ForWork)), did(Started, "2026-03-01")}, "2026-06-01", 24},
		{"back last week from five years of repair", "2020-01-01", []Entry{did(Stopped, "2021-03-01", by(ForWork)), did(Started, "2026-05-25")}, "2026-06-01", 24},
		{"stopped for half of three years, in two spells", "2020-01-01", []Entry{
			did(Stopped, "2023-06-02", by(Fault), since("2023-06-02")), did(Started, "2024-03-02"), did(Stopped, "2024-06-02", by(Fault), since("2024-06-02")), did(Started, "2025-03-03"),
		}, "2026-06-01", 24 * (1096 - 275 - 274) / 1096.0},
	} {
		c := alone()
		c.InCare = d(tt.inCare)
		a := assess(c, book(tt.log...), tt.now)
		if got := a.Trains[0].PerDay; got < tt.want-0.03 || got > tt.want+0.03 {
			t.Errorf("%s: %.3f hours a day, want %.3f (%q)", tt.name, got, tt.want, a.Problems)
		}
	}
}

func TestWhoDoesIt(t *testing.T) {
	c := alone()
	c.Policies = []Policy{weeklyWind, {Task: Oiling, Days: 90, Source: "x"}, {Task: Inspection, Days: 90, Source: "x"}}
	a := assess(c, nil, "2026-04-10")
	for _, tt := range []struct {
		kind TaskKind
		subj string
		want []string
	}{
		{Winding, "going", []string{"ben", "ann"}},           // winder, then deputy; ann once though she is keeper too
		{Oiling, "", []string{"ann", "cleo"}},                // keeper and deputy, then conservator
		{Inspection, "", []string{"ann", "cleo"}},            //
		{Measuring, "centre-front", []string{"ann", "cleo"}}, // the owner does none of it
	} {
		if got := taskOf(t, a, tt.kind, tt.subj).People; !slices.Equal(got, tt.want) {
			t.Errorf("%s: %v, want %v", tt.kind, got, tt.want)
		}
	}
	c.Duties = nil
	for _, x := range assess(c, nil, "2026-04-10").Tasks {
		if x.People == nil || len(x.People) != 0 {
			t.Errorf("%s with nobody named: people %#v, want an empty list", x.Kind, x.People)
		}
	}
}

// A policy finds its subject: a bearing before a train before the clock.
func TestPolicyThatFitsBest(t *testing.T) {
	c := pump()
	c.Policies = []Policy{
		{Task: Measuring, Days: 1, Source: "clock"}, {Task: Measuring, Train: "going", Days: 2, Source: "train"},
		{Task: Measuring, Bearing: "centre-front", Days: 3, Source: "bearing"}, {Task: Oiling, Days: 4, Source: "other"},
	}
	for _, tt := range []struct {
		train, bearing string
		want           int
	}{
		{"going", "centre-front", 3}, {"going", "other", 2}, {"strike", "second-back", 1}, {"", "", 1},
	} {
		if p, ok := c.policy(Measuring, tt.train, tt.bearing); !ok || p.Days != tt.want {
			t.Errorf("%s %s: %d days, want %d", tt.train, tt.bearing, p.Days, tt.want)
		}
	}
	if _, ok := c.policy(Inspection, "going", ""); ok {
		t.Error("found a policy for inspection")
	}
	if p, set := c.measuringPolicy("going", "centre-front"); !set || p.Days != 3 {
		t.Errorf("measuring: %+v, %v", p, set)
	}
	if p, set := (Clock{}).measuringPolicy("going", "x"); set || p.Days != usualMeasuring || p.Source == "" {
		t.Errorf("no policy: %+v, %v; wanted the usual one, with a source", p, set)
	}
	for _, tt := range []struct {
		p    Policy
		want int
	}{{Policy{Days: 90}, 90}, {Policy{RunHours: 240}, 10}, {Policy{Days: 5, RunHours: 240}, 5}, {Policy{Days: 15, RunHours: 240}, 10}} {
		if got := tt.p.interval(); got != tt.want {
			t.Errorf("%+v: interval %d, want %d", tt.p, got, tt.want)
		}
	}
	if got := (&Assessment{Clock: Clock{Trains: []wear.Train{}}}).trainOf(Policy{}); !got.unfit {
		t.Error("a clock without trains has one that is known")
	}
}
