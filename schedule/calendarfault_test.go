package schedule

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"
)

// Letters of the month over a leap day and two new years: one for each month, in that
// month, on whichever day somebody wishes for them. The 29th to the 31st cannot be
// wished for, since not every month has them.
func TestOneLetterEachMonth(t *testing.T) {
	for _, day := range []int{1, 15, 28} {
		f := wish(rota(days8), "ann", func(p *Person) { p.Mail.Day, p.Mail.Hour = day, 7 })
		f.Clocks[0].Duties = []Duty{{"ann", Keeper}}
		f.Clocks[0].InCare = d("2023-01-01")
		got := firstOwed(f, nil, MailRoom{Since: utc("2023-11-30")}, utc("2023-11-30"), utc("2025-02-01"), time.Hour, DueList)
		want := 0
		for m := d("2023-12-01"); m.Before(d("2025-02-01")); m = nextMonth(m) {
			key := fmt.Sprintf("ann|due-list||%04d-%02d", m.Year, m.Month)
			at, ok := got[key]
			if on := DateOf(at, location("Europe/London")); !ok || on != m.Add(day-1) {
				t.Errorf("wished for on day %d: the letter %s is owed on %s", day, key, on)
			}
			want++
		}
		if len(got) != want {
			t.Errorf("wished for on day %d: %d letters in %d months", day, len(got), want)
		}
	}
	for _, day := range []int{29, 30, 31} {
		f := wish(rota(days8), "ann", func(p *Person) { p.Mail.Day = day })
		if err := f.Validate(); err == nil {
			t.Errorf("mail on day %d of the month is taken", day)
		}
	}
}

// What is done every year, first on a leap day, falls due in each year after.
func TestYearlyFromALeapDay(t *testing.T) {
	c := pump()
	c.InCare = d("2023-01-01")
	c.Policies = []Policy{{Task: Inspection, Days: 365, Source: "test"}}
	log, done := []Entry{}, d("2024-02-29")
	for year := 2025; year < 2045; year++ {
		log = append(log, did(Inspected, done.String()+" 10:00", found(Sound)))
		due := taskOf(t, assess(c, book(log...), done.Add(1).String()+" 09:00"), Inspection, "").Due
		if due.Year != year {
			t.Fatalf("done on %s, it falls due on %s: %d is left out", done, due, year)
		}
		done = due
	}
}

// A year of 53 weeks (2026, ISO 8601): the weekly letter comes on each Monday once.
func TestWeeklyLettersOverWeek53(t *testing.T) {
	var mondays []string
	f := rota(days8)
	trouble := MailRoom{Since: utc("2026-12-01"), Trouble: Trouble{Mailboxes: []Mailbox{{Address: "ben@example.org", Stopped: utc("2026-12-02")}}}}
	for key, at := range firstOwed(f, nil, trouble, utc("2026-12-21"), utc("2027-01-13"), time.Hour, MailTrouble) {
		if on := at.In(location("Europe/London")); on.Weekday() != time.Monday {
			t.Errorf("%s comes on a %s", key, on.Weekday())
		} else {
			mondays = append(mondays, DateOf(at, location("Europe/London")).String())
		}
	}
	seen := map[string]bool{}
	for _, m := range mondays {
		if seen[m] {
			t.Errorf("two letters on %s", m)
		}
		seen[m] = true
	}
	for _, m := range []string{"2026-12-21", "2026-12-28", "2027-01-04", "2027-01-11"} {
		if !seen[m] {
			t.Errorf("no letter on %s, only on %v", m, mondays)
		}
	}
}

// A clock that is said to stand in another zone has the same log, and has run for as
// long since the day that it came into care; days to come may change by one, and who was
// asked to wind is not asked again.
func TestZoneOfAClockChanges(t *testing.T) {
	f := rota(days8)
	f.Clocks[0].Trains[0].Reserve = days8
	log := logOf(doneAt(Wound, in("Europe/London", "2026-10-20 18:00"), called("w")))
	now := in("Europe/London", "2026-10-28 20:00")
	moved := f
	moved.Sites, moved.Clocks = slices.Clone(f.Sites), slices.Clone(f.Clocks)
	moved.Sites[0].Zone = "Asia/Tokyo"
	before := Survey(f, log, Model{}, now)
	after := before.Followed(moved, log, nil, Model{}, now)
	anew := Survey(moved, log, Model{}, now)
	a, b := before.Clocks[0], after.Clocks[0]
	hours := b.Trains[0].RunHours.Likely - a.Trains[0].RunHours.Likely // the day it came into care began 9 hours sooner there, or 8
	if hours < 8 || hours > 9 || fmt.Sprint(a.Entries) != fmt.Sprint(b.Entries) {
		t.Errorf("what was is changed: run for %v and %v", a.Trains[0].RunHours, b.Trains[0].RunHours)
	}
	if fmt.Sprint(b.Tasks) != fmt.Sprint(anew.Clocks[0].Tasks) {
		t.Errorf("followed and from nothing differ: %v, %v", b.Tasks, anew.Clocks[0].Tasks)
	}
	x, y := taskOf(t, a, Winding, "going").Due, taskOf(t, b, Winding, "going").Due
	if x.Sub(y) > 1 || y.Sub(x) > 1 {
		t.Errorf("the wind is due on %s, and in the other zone on %s", x, y)
	}
	asked := firstOwed(f, log, MailRoom{}, in("Europe/London", "2026-10-21 00:00"), now, 15*time.Minute, WindReminder)
	if len(asked) == 0 {
		t.Fatal("nobody is asked: the test shows nothing")
	}
	for _, l := range owedOf(anew, MailRoom{}, WindReminder) {
		if _, ok := asked[l.Key]; ok {
			continue
		}
		for key := range asked {
			if strings.HasPrefix(key, l.Person.Slug+"|") {
				t.Errorf("%s, asked as %s, is asked again as %s", l.Person.Slug, key, l.Key)
			}
		}
	}
}
