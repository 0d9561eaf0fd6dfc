package schedule

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"
)

// timeIn is how a clock in a zone keeps time.
func timeIn(zone string, how ChangeHow, now time.Time, log ...Entry) Timekeeping {
	c := held()
	c.Care.Change, c.Care.Tolerance = how, nil
	a := open(Facts{Clock: c, Site: fleetOf(zone, c).Sites[0], Entries: book(log...)}, now)
	return timekeeping(&a)
}

// A clock that gains 1 s a day is found wrong by the change of time and put
// right: the hour is no rate. In the European Union clocks change on the last
// Sundays of March and October at 1:00 UTC (directive 2000/84/EC); on Lord Howe
// Island by half an hour (IANA tz database).
func TestChangeIsNoRate(t *testing.T) {
	for _, c := range []struct {
		name, zone string
		how        ChangeHow
		log        []Entry // of 2026, beyond three looks before
		errors     string  // of each stretch
		last       float64 // error found last, as it counts
	}{
		{"ticked after it", "Europe/London", "", []Entry{did(Set, "2026-10-25 08:00", sees(3624), leaves(0), changed("2026-10-25"))}, "4 1", 24},
		{"found so, and not ticked", "Europe/London", "", []Entry{did(Set, "2026-10-25 08:00", sees(3624), leaves(0))}, "4 1", 24},
		{"with the day alone, so before it", "Europe/London", "", []Entry{did(Set, "2026-10-24 23:00", sees(3624), leaves(0), changed("2026-10-25"))}, "4 1", 24},
		{"with the day alone, not ticked", "Europe/London", "", []Entry{did(Set, "2026-10-24 23:00", sees(3624), leaves(0))}, "4 1", 24},
		{"the hour left out by who logged it", "Europe/London", "", []Entry{did(Set, "2026-10-25 08:00", sees(24), leaves(0), changed("2026-10-25"))}, "4 1", 24},
		{"the evening before", "Europe/London", "", []Entry{did(Set, "2026-10-24 18:00", sees(24), leaves(-3600), changed("2026-10-25"))}, "4 1", 24},
		{"looked at first", "Europe/London", "", []Entry{did(Wound, "2026-10-26 08:00", sees(3625)), did(Set, "2026-10-28 08:00", sees(3627), leaves(0))}, "5 1", 27},
		{"seconds set, and not the hour", "Europe/London", "", []Entry{did(Set, "2026-10-26 08:00", sees(3625), leaves(3600)), did(Set, "2026-10-28 08:00", sees(3602), leaves(0))}, "4 2 1", 2},
		{"looked at, then moved by nobody knows whom", "Europe/London", "", []Entry{did(Wound, "2026-10-26 08:00", sees(3625)), did(Wound, "2026-11-02 08:00", sees(3))}, "4 1", 3},
		{"moved, and not logged", "Europe/London", "", []Entry{did(Wound, "2026-11-02 08:00", sees(3))}, "3 1", 3},
		{"by a motor that failed", "Europe/London", ByMotor, []Entry{did(Set, "2026-10-25 08:00", sees(3624), leaves(0))}, "4 1", 24},
		{"by a motor that did not", "Europe/London", ByMotor, []Entry{did(Wound, "2026-10-26 08:00", sees(25))}, "4", 25},
		{"half an hour back", "Australia/Lord_Howe", "", []Entry{did(Set, "2027-04-05 08:00", sees(1824), leaves(0))}, "4 1", 24},
		{"half an hour on", "Australia/Lord_Howe", "", []Entry{did(Set, "2026-10-05 08:00", sees(-1776), leaves(0))}, "4 1", 24},
		{"an hour off that is no change", "Europe/London", "", []Entry{did(Set, "2026-10-20 08:00", sees(3619), leaves(0))}, "4 1", 3619},
	} {
		at := c.log[0].At.AddDate(0, 0, -24)
		var log []Entry
		for i := range 3 {
			log = append(log, doneAt(Inspected, at.AddDate(0, 0, 7*i), sees(float64(7*i))))
		}
		got := timeIn(c.zone, c.how, c.log[len(c.log)-1].At.AddDate(0, 0, 10), append(log, c.log...)...)
		var n []string
		for _, s := range got.Stretches {
			n = append(n, fmt.Sprint(s.Errors))
		}
		last := 0.0
		for _, e := range got.Errors {
			if !e.Left {
				last = e.Seconds
			} else if e.Seconds != 0 {
				t.Errorf("%s: left %v", c.name, e.Seconds)
			}
		}
		if strings.Join(n, " ") != c.errors || last != c.last {
			t.Errorf("%s: stretches of %v errors, last found %v, want %s and %v", c.name, n, last, c.errors, c.last)
		}
		if c.last < 3600 && (!got.Known || math.Abs(got.Rate-1) > .5) {
			t.Errorf("%s: %s", c.name, got.Sentence)
		}
	}
}

// Whatever the zone, the way and the hour at which it is done, a clock whose
// hands are put right after each change keeps the rate that it has.
func TestChangesLeaveTheRate(t *testing.T) {
	const seed1, seed2 = 31, 13
	rng := rand.New(rand.NewPCG(seed1, seed2))
	zones := []string{"Europe/London", "America/New_York", "Australia/Lord_Howe", "Pacific/Chatham", "America/Santiago"}
	for range 300 {
		zone, err := time.LoadLocation(zones[rng.IntN(len(zones))])
		if err != nil {
			t.Fatal(err)
		}
		rate := 4*rng.Float64() - 2
		how := append([]ChangeHow{""}, ChangeHows...)[rng.IntN(len(ChangeHows)+1)]
		change, by, ok := NextChange(zone, utc("2024-01-01").AddDate(0, 0, rng.IntN(700)))
		if !ok {
			t.Fatalf("%s does not change", zone)
		}
		begin := change.AddDate(0, 0, -40-rng.IntN(60)) // after the change before
		set := change.Add(time.Duration(rng.IntN(20*24*60)) * time.Minute)
		var log []Entry
		for at := begin; at.Before(set.AddDate(0, 0, 60)); at = at.Add(time.Duration(5+rng.IntN(5)) * 24 * time.Hour) {
			v := rate * at.Sub(begin).Hours() / 24
			switch {
			case at.After(set):
				v = rate * at.Sub(set).Hours() / 24
			case !at.Before(change):
				v -= by.Seconds()
			}
			log = append(log, doneAt(Inspected, at, sees(v)))
		}
		log = append(log, doneAt(Set, set, sees(rate*set.Sub(begin).Hours()/24-by.Seconds()), leaves(0)))
		got := timeIn(zone.String(), how, set.AddDate(0, 0, 61), log...)
		for _, s := range got.Stretches {
			if s.SD > 0 && math.Abs(s.Rate-rate) > .02 {
				t.Fatalf("seeds %d, %d: %s, %q, set %v: %v s a day from %v to %v, is %v", seed1, seed2, zone, how, set.Sub(change), s.Rate, s.From, s.To, rate)
			}
		}
		if len(got.Stretches) != 2 || got.Wander > usualWander {
			t.Fatalf("seeds %d, %d: %s, %q: %d stretches, wander %v", seed1, seed2, zone, how, len(got.Stretches), got.Wander)
		}
	}
}

// A change that a setting on its day ticks is not asked for any more, even where
// the entry has a day alone.
func TestChangeTickedByTheHour(t *testing.T) {
	for when, done := range map[string]bool{"2026-10-24 23:00": true, "2026-10-25 08:00": true, "2026-10-24 12:00": false} {
		a := inLondon(held(), book(did(Set, when, sees(3610), leaves(0))), "2026-10-26 12:00")
		if s := a.changeAt(utc("2026-10-25 01:00"), -time.Hour); (s.Done != "") != done {
			t.Errorf("%s: ticked by %q", when, s.Done)
		}
	}
}

// A clock that does not go has no error now. One that somebody stopped is not to
// be set; of one that has only run down by its log what was due stays due.
func TestNoErrorWhileItStands(t *testing.T) {
	log := weeks("2026-01-01", 0, 30, 60, 90)
	wound := append(log, did(Wound, "2026-01-22 13:00"))
	for _, c := range []struct {
		name, now string
		log       []Entry
		says      string // empty: it goes
	}{
		{"going", "2026-01-25", wound, ""},
		{"stopped", "2026-02-10", append(wound, did(Stopped, "2026-01-24 09:00", by(Fault))), "; it stands, so its error now is not known"},
		{"resting", "2026-02-10", append(wound, did(Stopped, "2026-01-24 09:00", by(Rest))), "; it stands, so its error now is not known"},
		{"past its run", "2026-02-20", wound, "; by its log it has run down and stands, so its error now is not known"},
	} {
		a := assess(held(), book(c.log...), c.now)
		setting := false
		for _, task := range a.Tasks {
			setting = setting || task.Kind == Setting
		}
		goes := c.says == ""
		if !a.Time.Known || a.Time.ErrorKnown != goes || setting != (goes || c.name == "past its run") || !strings.Contains(a.Time.Sentence, c.says) || goes && strings.Contains(a.Time.Sentence, "stands") {
			t.Errorf("%s: error %v, setting asked %v: %s", c.name, a.Time.ErrorKnown, setting, a.Time.Sentence)
		}
	}
}

// A stretch of no errors and no length says nothing, but the present one.
func TestEmptyStretches(t *testing.T) {
	got := timeOf(held(), "2026-02-01", append(weeks("2026-01-01", 0, 7), did(Set, "2026-01-09 09:00"), did(Set, "2026-01-09 09:00", note("again")), did(Stopped, "2026-02-01", by(ByHand)))...)
	for i, s := range got.Stretches {
		if last := i == len(got.Stretches)-1; !last && s.Errors == 0 && !s.To.After(s.From) {
			t.Errorf("stretch %d: %+v", i, s)
		}
	}
	if len(got.Stretches) != 3 {
		t.Errorf("%d stretches", len(got.Stretches))
	}
}

// Looking at the time alone tells of the rate, and is no inspection.
func TestTimeAloneIsNoInspection(t *testing.T) {
	c := held()
	c.Policies = []Policy{{Task: Inspection, Days: 30, Source: "x"}}
	log := book(did(Inspected, "2026-01-02"), did(Noted, "2026-01-10", sees(0), warm(8)), did(Noted, "2026-01-20", sees(10)))
	a := assess(c, log, "2026-01-21")
	if got := a.Time; !got.Known || math.Abs(got.Rate-1) > 1e-9 || len(got.Errors) != 2 {
		t.Errorf("%+v", got)
	}
	if task := taskOf(t, a, Inspection, ""); task.Due != d("2026-02-01") {
		t.Errorf("inspection due %v: the time alone counted", task.Due)
	}
}
