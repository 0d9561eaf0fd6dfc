package schedule

import (
	"strings"
	"testing"
	"time"

	"endshake/wear"
)

// inWinter is a clock that is stopped on 1 November 2026 until 1 April 2027 (a
// winter shutdown of old brittle metal: a town news report of 2020), with
// policies by calendar and by hours.
func inWinter() (Clock, []Entry) {
	c := pump()
	c.InCare = d("2024-11-01")
	c.Policies = []Policy{
		weeklyWind, {Task: Oiling, Days: 90, Source: "x"}, {Task: Oiling, Train: "going", RunHours: 2400, Source: "x"},
		{Task: Inspection, Days: 365, Source: "x"}, {Task: Measuring, RunHours: 8766, Source: "x"},
	}
	return c, book(
		did(Wound, "2026-10-30 09:00"), did(Oiled, "2026-09-01 09:00"), did(Inspected, "2026-09-01 09:00"),
		did(Measured, "2025-11-01 09:00", gave(0.12)), did(Measured, "2026-03-01 09:00", gave(0.13)), did(Measured, "2026-09-01 09:00", gave(0.14)),
		did(Stopped, "2026-11-01 09:00", by(Rest), until("2027-04-01"), called("rest")),
	)
}

func TestRest(t *testing.T) {
	c, log := inWinter()
	for _, now := range []string{"2026-11-01 09:00", "2026-11-02 00:00", "2027-01-15 12:00", "2027-03-31 23:00", "2027-04-01 08:00"} {
		a := assess(c, log, now)
		if a.Going || !a.Resting || a.Back != d("2027-04-01") || a.Status != "Resting until 1 Apr 2027." {
			t.Fatalf("%s: going %v, resting %v until %v: %q", now, a.Going, a.Resting, a.Back, a.Status)
		}
		if len(a.Tasks) < 6 {
			t.Fatalf("%s: only %s", now, titles(a.Tasks))
		}
		for _, x := range a.Tasks {
			if x.State != Resting && !x.startsAgain() {
				t.Errorf("%s: %s %q is %s", now, x.Kind, x.Subject, x.State)
			}
		}
	}
}

// What counts by running lies beyond the rest, and stays where it is as the
// rest goes on; what counts by the calendar does not wait.
func TestDatesBeyondTheRest(t *testing.T) {
	c, log := inWinter()
	at := func(now string) Assessment { return assess(c, log, now) }
	a, b := at("2026-11-02"), at("2027-03-20")
	// Wound on 30 October, stopped two days later: five days of the week are
	// left on 1 April.
	if got := taskOf(t, a, Winding, "going").Due.String(); got != "2027-04-06" {
		t.Errorf("winding due %s, want 2027-04-06", got)
	}
	// 2,400 hours from 1 September: 61 days had run, with the morning of 1
	// November. 38.6 days are left on 1 April at a duty of all day.
	if got := taskOf(t, a, Oiling, "going").Due.String(); got != "2027-05-09" {
		t.Errorf("oiling by hours due %s, want 2027-05-09", got)
	}
	if got := taskOf(t, a, Oiling, "").Due.String(); got != "2026-11-30" {
		t.Errorf("oiling by calendar due %s, want 2026-11-30", got)
	}
	if o := outlookOf(t, a, "centre-front"); !o.Measure.After(d("2027-04-01")) {
		t.Errorf("to be measured on %v, while it stands", o.Measure)
	}
	if x, y := taskOf(t, a, Winding, "going").Due, taskOf(t, b, Winding, "going").Due; x != y {
		t.Errorf("winding has slid from %v to %v while it stood", x, y)
	}
}

// It rests until a start is logged or its day is past; then tasks are as ever.
func TestRestEnds(t *testing.T) {
	c, log := inWinter()
	started := append(log, book(did(Started, "2027-04-01 10:00", called("s")))...)
	early := append(log, book(did(Started, "2027-03-01 10:00", called("s")))...)
	mended := append(log, book(did(Stopped, "2026-11-01 09:00", by(Rest), until("2027-05-01"), instead("rest", "opens later this year"), called("m")))...)
	for _, tt := range []struct {
		name           string
		log            []Entry
		now            string
		going, resting bool
		oiling         TaskState // by calendar, latest 30 December
		says           string
	}{
		{"started on its day", started, "2027-04-01 12:00", true, false, Late, "Going. "},
		{"started a month before", early, "2027-03-01 12:00", true, false, Late, "Going. "},
		{"a day late and no start logged", log, "2027-04-02 00:00", false, false, Late, "Stopped since 1 Nov 2026 (out of season): it was to go again on 1 Apr 2027."},
		{"half a year late", log, "2027-10-01", false, false, Late, "it was to go again on 1 Apr 2027"},
		{"put off by a correction", mended, "2027-04-20", false, true, Resting, "Resting until 1 May 2027."},
	} {
		a := assess(c, tt.log, tt.now)
		if a.Going != tt.going || a.Resting != tt.resting || !strings.Contains(a.Status, tt.says) {
			t.Errorf("%s: going %v, resting %v, %q", tt.name, a.Going, a.Resting, a.Status)
		}
		if got := taskOf(t, a, Oiling, "").State; got != tt.oiling {
			t.Errorf("%s: oiling is %s, want %s", tt.name, got, tt.oiling)
		}
	}
}

func TestStanding(t *testing.T) {
	for _, tt := range []struct {
		name           string
		change         func(*Clock)
		log            []Entry
		going, resting bool
		status         string
	}{
		{"nothing logged", nil, nil, true, false, "Going. "},
		{"by hand", nil, []Entry{did(Stopped, "2026-03-01", by(ByHand))}, false, false, "Stopped since 1 Mar 2026 (by hand). "},
		{"for work, no day set", nil, []Entry{did(Stopped, "2026-03-01", by(ForWork))}, false, true, "Resting, with no day set to go again."},
		{"out of season", nil, []Entry{did(Stopped, "2026-03-01", by(Rest), until("2026-05-01"))}, false, true, "Resting until 1 May 2026."},
		{"the strike rests", nil, []Entry{did(Stopped, "2026-03-01", by(Rest), of("strike"))}, true, false, "Going. "},
		{"the going train rests", nil, []Entry{did(Stopped, "2026-03-01", by(Rest), of("going"))}, false, true, "Resting, "},
		{"the strike was stopped after the clock", nil, []Entry{did(Stopped, "2026-03-01", by(Fault), of("going")), did(Stopped, "2026-03-02", by(Rest), of("strike"))}, false, false, "Stopped since 1 Mar 2026 (fault). "},
		{"stopped, started, stopped", nil, []Entry{did(Stopped, "2026-03-01", by(Rest)), did(Started, "2026-03-05"), did(Stopped, "2026-03-08", by(Birds))}, false, false, "Stopped since 8 Mar 2026 (birds). "},
		{"a strike alone", func(c *Clock) { c.Trains = c.Trains[1:] }, []Entry{did(Stopped, "2026-03-01", by(Rest), of("strike"))}, false, true, "Resting, "},
		{"strike and chime, no going train", func(c *Clock) {
			c.Trains[0] = wear.Train{Code: "chime", Kind: wear.Chime, Drive: wear.Electric, StrokesPerDay: 960}
		}, nil, true, false, "Going. "},
		{"no trains", func(c *Clock) { c.Trains = nil }, nil, false, false, "Going. Nothing is due."},
		{"an entry of an hour ahead is not known yet", nil, []Entry{did(Stopped, "2026-04-10 13:00", by(ByHand))}, true, false, "Going"},
	} {
		c := pump()
		if tt.change != nil {
			tt.change(&c)
		}
		a := assess(c, book(tt.log...), "2026-04-10 12:00")
		if a.Going != tt.going || a.Resting != tt.resting || !strings.HasPrefix(a.Status, tt.status) {
			t.Errorf("%s: going %v, resting %v, %q; want %v, %v, %q", tt.name, a.Going, a.Resting, a.Status, tt.going, tt.resting, tt.status)
		}
	}
}

// A clock can be looked at as it stood on an earlier day.
func TestAsItStood(t *testing.T) {
	c, log := inWinter()
	a := assess(c, log, "2026-03-01 10:00")
	if got := len(a.Entries); got != 2 || !a.LastEntry.Equal(utc("2026-03-01 09:00")) || !a.Going {
		t.Errorf("on 1 March: %d entries, the last %v, going %v", got, a.LastEntry, a.Going)
	}
	if o := outlookOf(t, a, "centre-front"); len(o.Parts[0].Readings) != 2 {
		t.Errorf("on 1 March: %d readings, want 2", len(o.Parts[0].Readings))
	}
	soon := book(did(Wound, "2026-03-01 10:01"))
	if a := assess(c, soon, "2026-03-01 10:00"); len(a.Entries) != 1 {
		t.Error("a wind logged by a telephone a minute fast is left out")
	}
	if a := Assess(Facts{}, time.Time{}); a.Status != "Going. Nothing is due." || len(a.Tasks) != 0 {
		t.Errorf("no facts at all: %q, %s", a.Status, titles(a.Tasks))
	}
}

// Work on a worn bearing does not rest: out of season is the time for it.
func TestWornBearingDoesNotRest(t *testing.T) {
	log := append(read(2021, 0.20, 0.30, 0.40), did(Stopped, "2023-11-01", by(Rest), until("2024-04-01")))
	a := assess(alone(), book(log...), "2024-01-01")
	if x := taskOf(t, a, NearLimit, "centre-front"); !a.Resting || x.State != Late {
		t.Errorf("resting %v, and work on a bearing past its limit is %s", a.Resting, x.State)
	}
	if x := taskOf(t, a, Measuring, "centre-front"); x.State != Resting {
		t.Errorf("measuring it is %s", x.State)
	}
}
