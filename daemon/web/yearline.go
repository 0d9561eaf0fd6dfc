package web

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"endshake/schedule"
)

// mostYears is how many clocks the outlook has a line for; those that ask for
// least share one line.
const mostYears = 100

// mostToDecide is how many bearings the line of a clock names.
const mostToDecide = 4

// yearLine is what the year ahead asks of one clock: what needs a yes, apart from
// what those named do without one.
type yearLine struct {
	Clock, Name string
	Decide      []likelyLine
	More        int    // bearings that it does not name
	Sure        string // how sure those are
	WorkHours   string // for those, as expected
	Visits      string
	Hours       string
	Winds       string
	WindHours   string
	Who         string // who does what recurs
}

// yearLines are the clocks of a year, the worst first, and the year as a whole.
func yearLines(snap *schedule.Snapshot, y schedule.YearAhead) (lines []yearLine, total yearLine) {
	var rest schedule.ClockYear
	others := 0
	for i, c := range y.Clocks {
		if i >= mostYears {
			others++
			rest.Visits, rest.Hours, rest.Climbs, rest.WindHours = rest.Visits+c.Visits, rest.Hours+c.Hours, rest.Climbs+c.Climbs, rest.WindHours+c.WindHours
			rest.WorkHours += c.WorkHours
			continue
		}
		a, _ := snap.Clock(c.Clock)
		l := newYearLine(c)
		l.Clock, l.Name = c.Clock, a.Clock.Name
		l.Who = schedule.And(peopleIn(snap.Fleet, a.Clock, schedule.Keeper, schedule.Winder))
		var outlooks []schedule.Outlook
		for _, b := range c.Bearings {
			if o, ok := a.Outlook(b.Bearing); ok {
				outlooks = append(outlooks, o)
				l.Decide = append(l.Decide, newLikelyLine(a, o, b))
			}
		}
		l.Sure = sureOf(outlooks) + unsure(snap.Fleet, a.Clock, outlooks...)
		l.More = max(0, len(l.Decide)-mostToDecide)
		l.Decide = l.Decide[:len(l.Decide)-l.More]
		lines = append(lines, l)
	}
	if others > 0 {
		l := newYearLine(rest)
		l.Name = schedule.Count(others, "other clock", "other clocks")
		lines = append(lines, l)
	}
	t := y.Total
	return lines, newYearLine(schedule.ClockYear{Visits: t.Visits, Hours: t.Hours, Climbs: t.Climbs, WindHours: t.WindHours, WorkHours: t.WorkHours[1]})
}

func newYearLine(c schedule.ClockYear) yearLine {
	return yearLine{Visits: count(c.Visits), Hours: tenths(c.Hours), Winds: count(c.Climbs), WindHours: tenths(c.WindHours), WorkHours: tenths(c.WorkHours)}
}

// sureOf says how sure the forecasts of some bearings are: of one with its
// reason, of several how many are how sure.
func sureOf(outlooks []schedule.Outlook) string {
	if len(outlooks) == 1 {
		return sentence(outlooks[0].Confidence)
	}
	var out []string
	for _, word := range []string{"firm", "fair", "weak"} {
		n := 0
		for _, o := range outlooks {
			if strings.HasPrefix(o.Confidence, word) {
				n++
			}
		}
		if n > 0 {
			out = append(out, fmt.Sprintf("%d %s", n, word))
		}
	}
	return sentence(schedule.And(out))
}

// unsure says of which limits nobody has answered for the size, and who is to
// confirm them before money is given; it begins with a space. It is empty where
// all are confirmed.
func unsure(f schedule.Fleet, c schedule.Clock, outlooks ...schedule.Outlook) string {
	var sizes []string
	firm := true
	for _, o := range outlooks {
		if o.Limit == nil || !o.Known || o.Limit.Confirmed() {
			continue
		}
		firm = firm && strings.HasPrefix(o.Confidence, "firm")
		if size := o.Limit.Size.String(); !slices.Contains(sizes, size) {
			sizes = append(sizes, size)
		}
	}
	who := cmp.Or(schedule.And(peopleIn(f, c, schedule.Conservator)), "the conservator")
	begin := map[bool]string{true: " The size is sure; the ", false: " The "}[firm]
	switch len(sizes) {
	case 0:
		return ""
	case 1:
		return fmt.Sprintf("%slimit of %s is a starting value: have %s confirm it first.", begin, sizes[0], who)
	}
	return fmt.Sprintf("%slimits of %s are starting values: have %s confirm them first.", strings.Replace(begin, "size is", "sizes are", 1), schedule.And(sizes), who)
}
