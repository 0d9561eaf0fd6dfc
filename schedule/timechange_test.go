package schedule

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"endshake/wear"
)

// zoneChange is a change as a scan of the wall finds it.
type zoneChange struct {
	at time.Time
	by time.Duration
}

// scanned finds a zone's changes by looking at its wall hour by hour, and minute
// by minute where an hour brought another offset: another way than the zone's
// own bounds.
func scanned(zone *time.Location, from, until time.Time) []zoneChange {
	offset := func(t time.Time) int { _, s := t.In(zone).Zone(); return s }
	var out []zoneChange
	for t := from; t.Before(until); t = t.Add(time.Hour) {
		if offset(t) == offset(t.Add(time.Hour)) {
			continue
		}
		for m := t; m.Before(t.Add(time.Hour)); m = m.Add(time.Minute) {
			if was, is := offset(m), offset(m.Add(time.Minute)); was != is {
				out = append(out, zoneChange{m.Add(time.Minute), time.Duration(is-was) * time.Second})
			}
		}
	}
	return out
}

// listed are a zone's changes by NextChange. Where none comes within two years
// it looks on from there.
func listed(zone *time.Location, from, until time.Time) []zoneChange {
	var out []zoneChange
	for t := from; t.Before(until); {
		at, by, ok := NextChange(zone, t)
		if !ok {
			t = t.AddDate(1, 0, 0)
			continue
		}
		if at.Before(until) {
			out = append(out, zoneChange{at, by})
		}
		t = at
	}
	return out
}

// Zones of every sort: European, with none, of half an hour, southern, with
// changes given up (São Paulo 2019, Mexico 2022), and Morocco, whose changes go
// by the moon. The zone's wall is the judge.
func TestNextChangeAgainstTheWall(t *testing.T) {
	from, until := utc("2016-01-01"), utc("2026-01-01")
	for zone, atLeast := range map[string]int{
		"Europe/London": 20, "Europe/Berlin": 20, "Europe/Lisbon": 20, "Europe/Athens": 20, "America/New_York": 20,
		"Australia/Lord_Howe": 20, "America/Santiago": 18, "Pacific/Auckland": 20, "America/Sao_Paulo": 7, "America/Mexico_City": 14,
		"Africa/Casablanca": 10, "Asia/Tokyo": 0, "Asia/Kolkata": 0,
	} {
		want, got := scanned(location(zone), from, until), listed(location(zone), from, until)
		if fmt.Sprint(got) != fmt.Sprint(want) {
			t.Errorf("%s: by its bounds %v, by its wall %v", zone, got, want)
		}
		if len(want) < atLeast || atLeast == 0 && len(want) > 0 {
			t.Errorf("%s: %d changes in ten years, expected %d", zone, len(want), atLeast)
		}
	}
}

// lastSunday of a month, at one in the morning UTC.
func lastSunday(year int, m time.Month) time.Time {
	t := time.Date(year, m+1, 1, 1, 0, 0, 0, time.UTC).AddDate(0, 0, -1)
	return t.AddDate(0, 0, -int(t.Weekday()))
}

// Directive 2000/84/EC, articles 2 and 3: summer time begins on the last Sunday
// of March and ends on the last of October, at one in the morning UTC, in all
// member states at once.
func TestNextChangeAgainstTheDirective(t *testing.T) {
	for _, name := range []string{"Europe/Berlin", "Europe/Lisbon", "Europe/Athens", "Europe/London"} {
		zone := location(name)
		for year := 2002; year <= 2037; year++ {
			at, by, ok := NextChange(zone, utc(fmt.Sprintf("%d-01-01", year)))
			if want := lastSunday(year, time.March); !ok || !at.Equal(want) || by != time.Hour {
				t.Errorf("%s: %v by %v, want %v", name, at, by, want)
			}
			at, by, ok = NextChange(zone, at)
			if want := lastSunday(year, time.October); !ok || !at.Equal(want) || by != -time.Hour {
				t.Errorf("%s: %v by %v, want %v", name, at, by, want)
			}
		}
	}
}

func TestNextChangeAtTheEdges(t *testing.T) {
	london := location("Europe/London")
	spring := utc("2026-03-29 01:00")
	for _, tt := range []struct {
		after time.Time
		want  time.Time
	}{
		{spring.Add(-1), spring}, {spring, utc("2026-10-25 01:00")}, {spring.Add(1), utc("2026-10-25 01:00")},
	} {
		if at, _, ok := NextChange(london, tt.after); !ok || !at.Equal(tt.want) {
			t.Errorf("after %v: %v, want %v", tt.after, at, tt.want)
		}
	}
	for _, zone := range []*time.Location{london, time.UTC, location("Asia/Tokyo"), time.FixedZone("x", 3600)} {
		for _, year := range []int{-4000, 1, 1600, 9999, 200000} {
			if at, by, ok := NextChange(zone, time.Date(year, 1, 1, 0, 0, 0, 0, time.UTC)); ok && (by == 0 || at.Year() < year || at.Year() > year+2) {
				t.Errorf("%s in %d: %v by %v", zone, year, at, by)
			}
		}
	}
	// São Paulo gave its changes up in 2019, and Mexico in 2022.
	for zone, last := range map[string]string{"America/Sao_Paulo": "2019-06-01", "America/Mexico_City": "2022-12-01"} {
		if at, _, ok := NextChange(location(zone), utc(last)); ok {
			t.Errorf("%s changes again on %v", zone, at)
		}
	}
}

// striker is a clock in a zone whose striking is described.
func striker(how ChangeHow, s wear.Striking) Clock {
	c := pump()
	c.Trains[1].Striking = &s
	c.Care.Change = how
	return c
}

// in London, at an instant of its wall.
func inLondon(c Clock, log []Entry, now string) Assessment {
	if c.InCare == pump().InCare {
		c.InCare = DateOf(in("Europe/London", now), time.UTC).Add(-100) // since the last change
	}
	f := fleetOf("Europe/London", c)
	return Assess(Facts{Clock: c, Site: f.Sites[0], Entries: log}, in("Europe/London", now))
}

// Moved on by eleven hours from just after 2, a clock strikes 3 to 12 and then 1:
// 76 blows (arithmetic); over all hours from 66 to 77. The clocks of Britain go
// back at 2 by the wall.
func TestBlowsOfAnAdvance(t *testing.T) {
	hours := wear.Striking{Hours: true}
	c := striker(AdvanceEleven, hours)
	a := inLondon(c, nil, "2026-10-20 12:00")
	if a.Change == nil || a.Change.Blows != 76 || !strings.Contains(a.Change.How, "It makes 76 blows") {
		t.Fatalf("%+v", a.Change)
	}
	least, most := 1000, 0
	for h := range 24 {
		n := a.blows(utc("2026-07-01").Add(time.Duration(h)*time.Hour), 11*time.Hour)
		want := 0
		for k := 1; k <= 11; k++ { // July in London is an hour ahead of UTC
			want += (h+1+k+11)%12 + 1
		}
		if n != want || n != hours.Advance(60*(h+1), 11) {
			t.Errorf("from %d o'clock: %d blows, want %d", h+1, n, want)
		}
		least, most = min(least, n), max(most, n)
	}
	if least != 66 || most != 77 {
		t.Errorf("from %d to %d blows, want 66 to 77", least, most)
	}
	// In spring the hands pass one hour, from 1 to 2: two blows, at night too.
	silent := striker(AdvanceEleven, wear.Striking{Hours: true, Silent: [2]int{22, 7}})
	if got := inLondon(silent, nil, "2027-03-20 12:00").Change; got.Blows != 2 {
		t.Errorf("in spring %d blows, want the 2 of two o'clock", got.Blows)
	}
	// Quarters of 4, 8, 12 and 16 blows: forty an hour more (Westminster).
	c.Trains = append(c.Trains, wear.Train{Code: "chime", Kind: wear.Chime, Drive: wear.HandWound, StrokesPerDay: 960, Striking: &wear.Striking{Quarters: [4]int{4, 8, 12, 16}}})
	if got := inLondon(c, nil, "2026-10-20 12:00").Change.Blows; got != 76+11*40 {
		t.Errorf("with Westminster quarters %d blows, want %d", got, 76+11*40)
	}
}

func TestChangeHow(t *testing.T) {
	hours := wear.Striking{Hours: true}
	for _, tt := range []struct {
		how            ChangeHow
		spring, autumn string
		blows          [2]int
	}{
		{StopAnHour, "Put the hands on by an hour, letting it strike", "Stop the pendulum for an hour. Never force the hands back.", [2]int{2, 0}},
		{AdvanceEleven, "Put the hands on by an hour, letting it strike", "Put the hands on by 11 hours, letting it strike every hour as it goes. Never force", [2]int{2, 76}},
		{ByMotor, "Look whether its motor has put it on by an hour", "Look whether its motor has taken off an hour", [2]int{}},
		{ByClutch, "Free the setting clutch and put the hands on by an hour.", "turn the hands back by an hour, only while they go freely and never when it has warned. Never force", [2]int{}},
		{"", "Put the hands on by an hour", "which of the two is not described for this clock. Never force", [2]int{2, 0}},
	} {
		c := striker(tt.how, hours)
		c.Care.Bell, c.Care.ChangeNote = true, "the sexton lets you in by the south door."
		spring, autumn := inLondon(c, nil, "2027-03-20 12:00").Change, inLondon(c, nil, "2026-10-20 12:00").Change
		if !strings.HasPrefix(spring.How, tt.spring) || spring.Blows != tt.blows[0] || spring.By != time.Hour || spring.On != d("2027-03-28") {
			t.Errorf("%q in spring: %+v", tt.how, *spring)
		}
		if !strings.Contains(autumn.How, tt.autumn) || autumn.Blows != tt.blows[1] || autumn.By != -time.Hour || autumn.On != d("2026-10-25") {
			t.Errorf("%q in autumn: %+v", tt.how, *autumn)
		}
		for _, s := range []*ChangeState{spring, autumn} {
			if !strings.HasSuffix(s.How, "Silence the bell first. The sexton lets you in by the south door.") {
				t.Errorf("%q: %q", tt.how, s.How)
			}
			if strings.Contains(s.How, "count wheel") == (tt.how == ByMotor) {
				t.Errorf("%q: of the count wheel it says %q", tt.how, s.How)
			}
			checkWords(t, string(tt.how), s.How)
		}
	}
	mute := alone()
	mute.Care.Change = AdvanceEleven
	if how := inLondon(mute, nil, "2026-10-20 12:00").Change.How; strings.Contains(how, "strike") || strings.Contains(how, "count wheel") || strings.Contains(how, "blow") {
		t.Errorf("of a clock that does not strike: %q", how)
	}
	still := book(did(Stopped, "2026-10-01", by(Fault)))
	if how := inLondon(mute, still, "2026-10-20 12:00").Change.How; !strings.Contains(how, "By its log it stands") {
		t.Errorf("of a clock that stands: %q", how)
	}
	// Half an hour on Lord Howe Island: back by going on eleven and a half.
	f := fleetOf("Australia/Lord_Howe", mute)
	mute.InCare = d("2025-12-01")
	a := Assess(Facts{Clock: mute, Site: f.Sites[0]}, utc("2026-03-20"))
	if how := a.Change.How; !strings.HasPrefix(how, "Put the hands on by 11 hours and 30 minutes.") || a.Change.By != -30*time.Minute {
		t.Errorf("Lord Howe: %q", how)
	}
}

func changed(day string) change { return func(e *Entry) { e.Change = d(day) } }

// The task opens three days before, is good until the day after, and stays late
// until a setting ticks it or the next is within its window.
func TestChangeTask(t *testing.T) {
	c := alone()
	c.Care.Change, c.InCare = StopAnHour, d("2026-05-01")
	const window = "2026-10-22 2026-10-25 2026-10-26"
	for _, tt := range []struct {
		name, now string
		log       []Entry
		window    string
		state     TaskState
	}{
		{"months before", "2026-06-01 12:00", nil, window, Ahead},
		{"the day before it opens", "2026-10-21 23:59", nil, window, Ahead},
		{"three days before", "2026-10-22 00:00", nil, window, Open},
		{"the day", "2026-10-25 00:30", nil, window, Due},
		{"the day after", "2026-10-26 23:00", nil, window, Due},
		{"two days after", "2026-10-27 00:00", nil, window, Late},
		{"a month after", "2026-11-25 12:00", nil, window, Late},
		{"sixty days after", "2026-12-23 12:00", nil, window, Late},
		{"the day before the next is within its window", "2027-03-24 12:00", nil, window, Late},
		{"which then takes its place", "2027-03-25 12:00", nil, "2027-03-25 2027-03-28 2027-03-29", Open},
		{"ticked by the strike alone", "2026-10-26 12:00", []Entry{did(Set, "2026-10-25 08:00", of("strike"), changed("2026-10-25"))}, window, Due},
		{"ticked", "2026-10-26 12:00", []Entry{did(Set, "2026-10-25 08:00", changed("2026-10-25"))}, "2027-03-25 2027-03-28 2027-03-29", Ahead},
		{"ticked by what was found", "2026-10-26 12:00", []Entry{did(Set, "2026-10-25 08:00", wrongBy(num(3612), num(0)))}, "2027-03-25 2027-03-28 2027-03-29", Ahead},
		{"found right by the new time", "2026-10-26 12:00", []Entry{did(Inspected, "2026-10-25 08:00", wrongBy(num(60), nil))}, "2027-03-25 2027-03-28 2027-03-29", Ahead},
		{"another error", "2026-10-26 12:00", []Entry{did(Set, "2026-10-25 08:00", wrongBy(num(1500), num(0)))}, window, Due},
		{"slow instead of fast", "2026-10-26 12:00", []Entry{did(Set, "2026-10-25 08:00", wrongBy(num(-3600), num(0)))}, window, Due},
		{"an hour wrong before the change", "2026-10-26 12:00", []Entry{did(Set, "2026-10-20 08:00", wrongBy(num(3600), num(0)))}, window, Due},
		{"another change ticked", "2026-10-26 12:00", []Entry{did(Set, "2026-03-29 08:00", changed("2026-03-29"))}, window, Due},
		{"set without a word", "2026-10-26 12:00", []Entry{did(Set, "2026-10-25 08:00")}, window, Due},
		{"inspected an hour fast", "2026-10-26 12:00", []Entry{did(Inspected, "2026-10-25 08:00", wrongBy(num(3600), nil))}, window, Due},
		{"the tick corrected away", "2026-10-26 12:00", []Entry{did(Set, "2026-10-25 08:00", changed("2026-10-25"), called("x")), did(Noted, "2026-10-25 08:00", note("no"), instead("x", "other clock"))}, window, Due},
		{"resting", "2026-10-25 12:00", []Entry{did(Stopped, "2026-10-01", by(Rest), until("2027-04-01"))}, window, Resting},
	} {
		a := inLondon(c, book(tt.log...), tt.now)
		got := taskOf(t, a, TimeChange, "")
		if windowOf(got) != tt.window || got.State != tt.state {
			t.Errorf("%s: %s, %s; want %s, %s", tt.name, windowOf(got), got.State, tt.window, tt.state)
		}
		checkTask(t, tt.name, got)
	}
	early := inLondon(c, book(did(Set, "2026-10-23 08:00", changed("2026-10-25"))), "2026-10-24 12:00")
	if early.Change == nil || early.Change.Done == "" || strings.Contains(titles(early.Tasks), "time change") {
		t.Errorf("done two days before: %+v; %s", early.Change, titles(early.Tasks))
	}
	next := taskOf(t, inLondon(c, nil, "2027-03-25 12:00"), TimeChange, "")
	if !strings.HasPrefix(next.Reason, "Put the hands on by an hour. ") || !strings.HasSuffix(next.Reason, " The time of day goes forward by an hour on 28 Mar 2027 (Europe/London), and the change of 25 Oct 2026 was not logged.") {
		t.Errorf("the next change says %q", next.Reason)
	}
	// In autumn the method stands first, and hands are nowhere said to be put back.
	for _, way := range []ChangeHow{"", StopAnHour, AdvanceEleven, ByMotor, ByClutch} {
		c.Care.Change = way
		back := taskOf(t, inLondon(c, nil, "2026-10-24 12:00"), TimeChange, "")
		if strings.Contains(back.Reason, "put back") || strings.Contains(back.Reason, "put it back") || strings.HasPrefix(back.Reason, "The time") || way != ByMotor && !strings.Contains(back.Reason, "Never force the hands back.") {
			t.Errorf("%q: %q", way, back.Reason)
		}
	}
	c.Care.Change = ""
	c.InCare = d("2026-11-01")
	if got := inLondon(c, nil, "2026-11-05 12:00").Change; got.On != d("2027-03-28") {
		t.Errorf("a change before the clock came into care is asked for: %+v", got)
	}
	for _, zone := range []string{"Asia/Tokyo", "Asia/Kolkata", "UTC", "America/Sao_Paulo"} {
		f := fleetOf(zone, alone())
		a := Assess(Facts{Clock: alone(), Site: f.Sites[0]}, utc("2026-10-20"))
		if a.Change != nil || strings.Contains(titles(a.Tasks), "time change") {
			t.Errorf("%s: %+v", zone, a.Change)
		}
	}
}
