package reckon

import (
	"fmt"
	"math"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

const tzdb = "IANA time zone database"

var timeChange = Sheet{
	Name: "timechange", Title: "Time changes", Caution: care(schedule.TimeChange),
	About: "When the clocks of a zone change next, and what doing it costs a clock.",
	Inputs: []Input{
		{Name: "zone", What: "the zone", Kind: Zone, Needed: true},
		{Name: "from", What: "the day from which to look; else today", Kind: Day},
		{Name: "half", What: "the blows at the half-hour of a striking clock", Kind: Count, Usual: "0", Most: 100},
	},
	Example: []string{"zone", "Europe/London", "from", "2026-11-25"},
	reckon: func(b *bench) {
		zone, from := b.read["zone"].zone, b.today
		if b.has("from") {
			from = b.read["from"].day
		}
		if from.IsZero() {
			b.fault("from", "no day is known to look from: give one, like 2026-11-25")
			return
		}
		start := from.Start(zone)
		at, by, ok := schedule.NextChange(zone, start)
		if !ok {
			b.remark("The clocks of %s do not change within two years of %s.", zone, from.Words())
			b.shown("changes", "Changes within two years", 0, "", "none", "search of the zone", tzdb)
			return
		}
		b.change(zone, from, at, by)
	},
}

// change is one change, and what it costs.
func (b *bench) change(zone *time.Location, from schedule.Date, at time.Time, by time.Duration) {
	after := at.In(zone)
	old := at.UTC().Add(offsetOf(after) - by) // what the wall shows when it comes
	size := max(by, -by).Hours()
	// A change at midnight may put the hands back into the day before: the day
	// is the one that the wall shows when it comes.
	day := schedule.DateOf(old, time.UTC)
	days, on := day.Sub(from), "the same day"
	if days != 0 {
		on = schedule.Days(days) + " on"
	}
	b.shown("in", "The next change", float64(days), "days", fmt.Sprintf("%s %s, %s", old.Format("Monday"), day.Words(), on), "search of the zone, days by the calendar", tzdb)
	to := after.Format("15:04")
	switch d := schedule.DateOf(after, zone).Sub(day); {
	case d < 0:
		to += " of the day before"
	case d > 0:
		to += " of a later day"
	}
	b.shown("by", "The hands are put", by.Minutes(), "min", fmt.Sprintf("%s %s, from %s to %s", map[bool]string{true: "on", false: "back"}[by > 0],
		showHours(size), old.Format("15:04"), to), "offset after − offset before", tzdb)
	if size != math.Trunc(size) || size > 12 {
		b.remark("That is no whole hour: ask how this clock is set before the hands are moved.")
		return
	}
	s, minute := wear.Striking{Hours: true, Half: b.count("half")}, 60*old.Hour()+old.Minute()
	const how = "blows of the hours passed, added up"
	if by > 0 {
		b.shown("blows", fmt.Sprintf("Blows while it is put on, from %s", old.Format("15:04")), float64(s.Advance(minute, int(size))), "blows",
			schedule.Count(s.Advance(minute, int(size)), "blow", "blows"), how, arithmetic)
		b.remark("Put it on and let it strike as it goes (AHS handbook, p. 17).")
		return
	}
	n := s.Advance(minute, 12-int(size))
	b.result("stop", "Stopped for it, it stands", size, "h", "the change itself", arithmetic)
	b.shown("blows", fmt.Sprintf("Put on %d h instead, from %s, it strikes", 12-int(size), old.Format("15:04")), float64(n), "blows", schedule.Count(n, "blow", "blows"), how, arithmetic)
	b.result("blows-days", "Of the striking wind that takes", float64(n)/float64(s.PerDay()), "days", "blows / blows a day", arithmetic)
	b.remark("Never put the hands of a striking clock back: stop it for the hour, or put it on 11 hours and let each hour strike (AHS handbook, p. 17; %s).", beckett("167"))
}

// offsetOf is how far a zone's wall clocks are from UTC at an instant.
func offsetOf(t time.Time) time.Duration {
	_, seconds := t.Zone()
	return time.Duration(seconds) * time.Second
}
