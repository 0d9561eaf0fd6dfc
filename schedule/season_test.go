package schedule

import (
	"slices"
	"strings"
	"testing"
	"time"
)

func season(code string) change { return func(e *Entry) { e.Season = code } }

func md(s string) MonthDay {
	v := d("2024-" + s) // a leap year
	return MonthDay{v.Month, v.Day}
}

// lit is a clock whose dial lights are switched on each autumn.
func lit(from, to string) Clock {
	c := alone()
	c.Care.Seasons = []Season{{Code: "lights", Name: "dial lights on", From: md(from), To: md(to), Hazard: []Hazard{Mains, Height}, Reason: "keeps the movement dry", Source: "keeper"}}
	return c
}

func TestDaysOfEveryYear(t *testing.T) {
	for _, tt := range []struct {
		day  string
		year int
		want string
	}{
		{"02-29", 2023, "2023-02-28"}, {"02-29", 2024, "2024-02-29"}, {"02-29", 1900, "1900-02-28"}, {"02-29", 2000, "2000-02-29"},
		{"12-31", 2026, "2026-12-31"}, {"01-01", 2026, "2026-01-01"}, {"04-30", 2026, "2026-04-30"},
	} {
		if got := md(tt.day).in(tt.year).String(); got != tt.want {
			t.Errorf("%s in %d: %s, want %s", tt.day, tt.year, got, tt.want)
		}
	}
	if got := (MonthDay{time.April, 31}).in(2026).String(); got != "2026-04-30" {
		t.Errorf("31 April: %s", got)
	}
	for _, m := range []MonthDay{{}, {0, 1}, {13, 1}, {1, 0}, {1, 32}, {2, 30}, {-1, -1}} {
		if m.real() {
			t.Errorf("%v fits a year", m)
		}
	}
}

// One occurrence a year with its window, over the year's end and a leap day.
func TestSeasonWindows(t *testing.T) {
	for _, tt := range []struct {
		name, from, to, inCare, now string
		done                        string
		window                      string
		state                       TaskState
		missed                      bool
	}{
		{"before it opens", "10-01", "10-31", "2025-11-15", "2026-07-01", "", "2026-10-01 2026-10-31 2026-10-31", Ahead, false},
		{"opens", "10-01", "10-31", "2025-11-15", "2026-10-01", "", "2026-10-01 2026-10-31 2026-10-31", Open, false},
		{"its last good day", "10-01", "10-31", "2025-11-15", "2026-10-31 23:59", "", "2026-10-01 2026-10-31 2026-10-31", Due, false},
		{"late", "10-01", "10-31", "2025-11-15", "2026-11-01", "", "2026-10-01 2026-10-31 2026-10-31", Late, false},
		{"late in spring", "10-01", "10-31", "2025-11-15", "2027-05-01", "", "2026-10-01 2026-10-31 2026-10-31", Late, false},
		{"late the day before the next opens", "10-01", "10-31", "2025-11-15", "2027-09-30", "", "2026-10-01 2026-10-31 2026-10-31", Late, false},
		{"the next opens", "10-01", "10-31", "2025-11-15", "2027-10-01", "", "2027-10-01 2027-10-31 2027-10-31", Open, true},
		{"done", "10-01", "10-31", "2025-11-15", "2026-11-10", "2026-10-05", "2027-10-01 2027-10-31 2027-10-31", Ahead, false},
		{"done late", "10-01", "10-31", "2025-11-15", "2027-03-01", "2027-02-20", "2027-10-01 2027-10-31 2027-10-31", Ahead, false},
		{"done on the first day on which it counts", "10-01", "10-31", "2025-11-15", "2026-10-20", "2026-08-02", "2027-10-01 2027-10-31 2027-10-31", Ahead, false},
		{"done the day before", "10-01", "10-31", "2025-11-15", "2026-10-20", "2026-08-01", "2026-10-01 2026-10-31 2026-10-31", Open, false},
		{"done early for the next, last year's late until then", "10-01", "10-31", "2025-11-15", "2027-08-20", "2027-08-10", "2028-10-01 2028-10-31 2028-10-31", Ahead, false},
		{"came into care in its window", "10-01", "10-31", "2026-10-31", "2026-11-15", "", "2026-10-01 2026-10-31 2026-10-31", Late, false},
		{"came into care after it", "10-01", "10-31", "2026-11-01", "2026-11-15", "", "2027-10-01 2027-10-31 2027-10-31", Ahead, false},
		{"in care long since", "10-01", "10-31", "2020-01-01", "2026-10-10", "", "2026-10-01 2026-10-31 2026-10-31", Open, true},

		{"over the year's end, in it", "12-01", "02-15", "2026-03-01", "2027-01-10", "", "2026-12-01 2027-02-15 2027-02-15", Open, false},
		{"over the year's end, late", "12-01", "02-15", "2026-03-01", "2027-02-16", "", "2026-12-01 2027-02-15 2027-02-15", Late, false},
		{"over the year's end, done in January", "12-01", "02-15", "2026-03-01", "2027-02-16", "2027-01-20", "2027-12-01 2028-02-15 2028-02-15", Ahead, false},
		{"over the year's end, done in December", "12-01", "02-15", "2026-03-01", "2027-02-16", "2026-12-20", "2027-12-01 2028-02-15 2028-02-15", Ahead, false},
		{"over the year's end, done the winter before", "12-01", "02-15", "2025-11-01", "2027-01-10", "2026-02-14", "2026-12-01 2027-02-15 2027-02-15", Open, false},

		{"from a leap day, in a common year", "02-29", "03-10", "2026-06-01", "2027-02-28", "", "2027-02-28 2027-03-10 2027-03-10", Open, false},
		{"from a leap day, in a leap year", "02-29", "03-10", "2027-06-01", "2028-02-28", "", "2028-02-29 2028-03-10 2028-03-10", Ahead, false},
		{"to a leap day", "02-01", "02-29", "2026-06-01", "2027-03-01", "", "2027-02-01 2027-02-28 2027-02-28", Late, false},
		{"one day", "05-01", "05-01", "2026-01-01", "2026-05-01 10:00", "", "2026-05-01 2026-05-01 2026-05-01", Due, false},
		{"all year round, done the day before the next", "01-01", "12-31", "2026-01-01", "2027-01-01", "2026-12-31", "2027-01-01 2027-12-31 2027-12-31", Open, false},
		{"all year round", "01-01", "12-31", "2026-01-01", "2027-01-01", "", "2027-01-01 2027-12-31 2027-12-31", Open, true},
		{"from March round to March", "03-10", "03-09", "2026-01-01", "2026-12-01", "2026-04-01", "2027-03-10 2028-03-09 2028-03-09", Ahead, false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			c := lit(tt.from, tt.to)
			c.InCare = d(tt.inCare)
			var log []Entry
			if tt.done != "" {
				log = book(did(Noted, tt.done, note("on"), season("lights")))
			}
			x := taskOf(t, assess(c, log, tt.now), Seasonal, "lights")
			if windowOf(x) != tt.window || x.State != tt.state || strings.Contains(x.Reason, ", and last year's was not logged (keeps") != tt.missed {
				t.Errorf("%s, %s, %q; want %s, %s", windowOf(x), x.State, x.Reason, tt.window, tt.state)
			}
			checkTask(t, tt.name, x)
		})
	}
}

// Only an entry with its code ticks it, and its own hazards stand in its
// caution, beside the clock's.
func TestSeasonTask(t *testing.T) {
	c := lit("10-01", "10-31")
	c.InCare = d("2026-01-01")
	c.Cautions = []Hazard{BirdDirt, Height}
	c.Care.Seasons = append(c.Care.Seasons, Season{Code: "heater", Name: "heater on test", From: md("10-01"), To: md("10-31"), Source: "judgement, no source"})
	for _, tt := range []struct {
		e    Entry
		done bool
	}{
		{did(Noted, "2026-10-05", note("on"), season("lights")), true},
		{did(Inspected, "2026-10-05", season("lights")), true},
		{did(Inspected, "2026-10-05", season("heater")), false},
		{did(Inspected, "2026-10-05"), false},
		{did(Oiled, "2026-10-05", season("lights")), false},
	} {
		x := taskOf(t, assess(c, book(tt.e), "2026-10-10"), Seasonal, "lights")
		if (x.Due == d("2027-10-31")) != tt.done {
			t.Errorf("%s %q: due %v", tt.e.Kind, tt.e.Season, x.Due)
		}
	}
	a := assess(c, book(did(Noted, "2026-10-05", note("on"), season("heater"))), "2026-10-10")
	x, heater := taskOf(t, a, Seasonal, "lights"), taskOf(t, a, Seasonal, "heater")
	for _, h := range []Hazard{Mains, Height, BirdDirt} {
		if n := strings.Count(x.Caution, hazardWords[h]); n != 1 {
			t.Errorf("%s stands %d times in %q", h, n, x.Caution)
		}
	}
	if strings.Contains(heater.Caution, hazardWords[Mains]) || !strings.Contains(heater.Caution, hazardWords[BirdDirt]) || heater.Evidence != "done for this season on 5 Oct 2026" {
		t.Errorf("%+v", heater)
	}
	if x.What() != "dial lights on" || x.Source != "keeper" || x.Reason != "once a year from 1 Oct 2026 to 31 Oct 2026 (keeps the movement dry)" || x.Evidence != "nothing is logged of it for this season" {
		t.Errorf("%+v", x)
	}
	if len(c.Cautions) != 2 {
		t.Error("the clock's own hazards were changed")
	}
	// What passed no validation is left out, and a year beyond all plans is no loop.
	c.Care.Seasons = []Season{{Code: "a"}, {Code: "b", From: MonthDay{13, 1}, To: md("10-31")}, {From: md("10-01"), To: md("10-31")}}
	if got := titles(assess(c, nil, "2026-10-10").Tasks); strings.Contains(got, "season") {
		t.Errorf("tasks of no season: %s", got)
	}
	c = lit("02-29", "02-28")
	for _, year := range []int{-5000, 1, 9999, 1 << 30} {
		c.InCare = Date{year, time.May, 1}
		if x := taskOf(t, assess(c, nil, "2026-10-10"), Seasonal, "lights"); x.Latest.Before(x.From) {
			t.Errorf("in care from the year %d: %s", year, windowOf(x))
		}
	}
}

// Walking over six years day by day: an occurrence that was not logged is late
// each day until the next opens, and is named by it; none vanishes.
func TestLateSeasonsDoNotVanish(t *testing.T) {
	for _, w := range [][2]string{{"10-01", "10-31"}, {"12-15", "01-20"}, {"02-29", "03-01"}, {"05-01", "04-30"}, {"07-01", "07-01"}} {
		c := lit(w[0], w[1])
		c.InCare = d("2020-01-01")
		s := c.Care.Seasons[0]
		for day := d("2022-01-01"); day.Year < 2028; day = day.Add(3) {
			a := Assessment{Clock: c, Zone: time.UTC, Now: day.Start(time.UTC)}
			x := a.seasonal(s)
			year := day.Year // of the newest occurrence that has opened
			if s.opens(year).After(day) {
				year--
			}
			if want := s.opens(year); x.From != want {
				t.Fatalf("%v: on %v the task is that from %v, want %v", w, day, x.From, want)
			}
			if day.After(s.closes(year)) != (stateOn(day, x) == Late) || !strings.Contains(x.Reason, "last year's was not logged") && !day.After(s.closes(year)) {
				t.Fatalf("%v: on %v it is %s: %q", w, day, stateOn(day, x), x.Reason)
			}
		}
	}
}

// A clock that rests is to be started on its day, and the asking does not end
// with that day.
func TestStartAgain(t *testing.T) {
	rest := did(Stopped, "2026-11-01", by(Rest), until("2027-04-01"))
	const window = "2027-03-18 2027-04-01 2027-04-04"
	for _, tt := range []struct {
		name, now string
		log       []Entry
		state     TaskState // empty: no such task
	}{
		{"in winter", "2027-01-15", []Entry{rest}, Ahead},
		{"two weeks before", "2027-03-18", []Entry{rest}, Open},
		{"on its day", "2027-04-01 08:00", []Entry{rest}, Due},
		{"a day late", "2027-04-02", []Entry{rest}, Due},
		{"a week late", "2027-04-08", []Entry{rest}, Late},
		{"started", "2027-04-01 12:00", []Entry{rest, did(Started, "2027-04-01 11:00")}, ""},
		{"for work", "2027-03-20", []Entry{did(Stopped, "2026-11-01", by(ForWork), until("2027-04-01"))}, Open},
		{"no day given", "2027-03-20", []Entry{did(Stopped, "2026-11-01", by(Rest))}, ""},
		{"the strike alone", "2027-03-20", []Entry{did(Stopped, "2026-11-01", by(Rest), of("strike"), until("2027-04-01"))}, ""},
		{"a fault", "2027-03-20", []Entry{did(Stopped, "2026-11-01", by(Fault))}, ""},
		{"locked", "2027-04-01", []Entry{rest, strand}, Resting},
	} {
		a := assess(roped(), book(slices.Clone(tt.log)...), tt.now)
		i := slices.IndexFunc(a.Tasks, Task.startsAgain)
		if i < 0 {
			if tt.state != "" {
				t.Errorf("%s: no task", tt.name)
			}
			continue
		}
		x := a.Tasks[i]
		checkTask(t, tt.name, x)
		if x.State != tt.state || windowOf(x) != window || x.What() != "starting it again" || !strings.Contains(x.Reason, "to go again on 1 Apr 2027") {
			t.Errorf("%s: %s, %s: %q; want %s", tt.name, windowOf(x), x.State, x.Reason, tt.state)
		}
	}
}
