package reckon

import (
	"fmt"
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
		b.change(zone, start, at, by)
	},
}

// change is one change, and what it costs.
func (b *bench) change(zone *time.Location, start, at time.Time, by time.Duration) {
	before, after := at.Add(-time.Nanosecond).In(zone), at.In(zone)
	days := at.Sub(start).Hours() / 24
	day := schedule.DateOf(after, zone)
	b.shown("in", "The next change", days, "days", fmt.Sprintf("%s %s, %s to go", after.Format("Monday"), day.Words(), schedule.Days(int(days))), "search of the zone", tzdb)
	old := at.UTC().Add(time.Duration(offset(before)) * time.Second)
	b.shown("by", "The hands are put", by.Minutes(), "min", fmt.Sprintf("%s %s, from %s to %s", map[bool]string{true: "on", false: "back"}[by > 0],
		showHours(max(by, -by).Hours()), old.Format("15:04"), after.Format("15:04")), "offset after − offset before", tzdb)
	s := wear.Striking{Hours: true, Half: b.count("half")}
	if by > 0 {
		b.result("blows", "Blows of an hour-striking clock put on at 2 o'clock", float64(s.Advance(60, int(max(1, by.Hours())))), "blows", "blows of the hour passed, let strike as it goes", arithmetic)
		b.remark("Put it on and let it strike as it goes; winding falls due an hour sooner on the striking side only.")
		return
	}
	n := s.Advance(2*60, 11)
	b.result("stop", "Stopped instead, it stands for", max(by, -by).Hours(), "h", "the change itself", arithmetic)
	b.result("blows", "Blows if it is put on 11 hours instead, from 2 o'clock", float64(n), "blows", "blows of the hours passed, added up", arithmetic)
	b.result("blows-days", "Of the striking wind that takes", float64(n)/float64(s.PerDay()), "days", "blows / blows a day", arithmetic)
	b.remark("Never put the hands of a striking clock back: stop it for the hour, or put it on 11 hours and let each hour strike (AHS handbook, p. 17; %s).", beckett("167"))
}

// offset of an instant's zone from UTC in seconds.
func offset(t time.Time) int {
	_, o := t.Zone()
	return o
}
