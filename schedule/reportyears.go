package schedule

import (
	"fmt"
	"strings"
)

// fiveYears is the outlook of work, year by year.
func (f fleetPaper) fiveYears() ReportSection {
	y := f.years
	s := ReportSection{Head: "The next five years"}
	s.say("%s", f.sumWords())
	t := ReportTable{Head: []string{"Twelve months from", "Visits", "Hours of work", "New lines for their age", "Bearings at their limit", "Hours for those"},
		Right: []bool{false, true, true, true, true, true}}
	if f.sums.Given() {
		t.Head, t.Right = append(t.Head, f.sums.column("To plan")), append(t.Right, true)
	}
	row := func(name string, m MonthWork) []string {
		cells := []string{name, fmt.Sprint(m.Visits), hoursWords(m.Hours), numberWords(len(m.Parts)), worksWords(m.Works, 1), worksWords(m.Works, float64(usualMinutes[NearLimit])/60)}
		if f.sums.Given() {
			cells = append(cells, f.sums.workWords(m))
		}
		return cells
	}
	if y.Standing.Visits > 0 || y.Standing.Works[1] > 0 || len(y.Standing.Parts) > 0 {
		t.row("", "", row("standing over from before", y.Standing)...)
	}
	for _, m := range y.Months {
		t.row("", "", row(m.Month.Words(), m)...)
	}
	t.Total = row("all five years", y.Total)
	s.add(t)
	if parts := y.Total.Parts; len(parts) > 0 {
		s.note("To have ready: %s.", strings.TrimRight(fewNamed(parts), "."))
	}
	s.note("Visits, hours and lines are firm: what recurs, done on its last good day, at one site together; winding is left out, and so is the way there. Bearings at their limit are an estimate: as expected, and in brackets the range that holds 8 times in 10; ranges of years do not add up to that of all five. " + roundedWords + " The first twelve months and what stands over are those of the outlook. What wears after a bearing was mended once is not foretold.")
	return s
}

func numberWords(n int) string {
	if n == 0 {
		return "–"
	}
	return fmt.Sprint(n)
}

// workWords are what the work of a year comes to, with its range, as bare figures.
func (s Sums) workWords(m MonthWork) string {
	none := m.Works[1] < .05 && m.Works[2] < .5
	switch {
	case none && m.Hours < .05:
		return "–"
	case none && s.Hour == 0:
		return notReckoned
	}
	return rangeOf(s.ofWork(m))
}

// sumWords say in a sentence what the years ask for, and what that comes to.
func (f fleetPaper) sumWords() string {
	t := f.years.Total
	out := fmt.Sprintf("Until %s the clocks are likely to ask for %s and %s of work", f.years.Until.Add(-1).Words(), Count(t.Visits, "visit", "visits"), hoursOf(t.Hours))
	if t.Works[2] >= .5 || t.Works[1] >= .05 {
		out += ", and beside that for work on "
		if low, high := band(t.Works); low == high {
			out += Count(int(low), "bearing", "bearings")
		} else {
			out += fmt.Sprintf("about %s bearings (%.0f to %.0f)", hoursWords(t.Works[1]), low, high)
		}
	}
	if n := len(t.Parts); n > 0 {
		out += ", and for " + Count(n, "new line", "new lines")
	}
	if f.sums.Given() {
		out += f.sums.saidOf(t)
	}
	return out + "."
}

// hoursOf says hours in a sentence.
func hoursOf(h float64) string {
	if words := hoursWords(h); words != "–" && words != "1" {
		return words + " hours"
	} else if words == "1" {
		return "1 hour"
	}
	return "hardly any hours"
}

// likely names the bearings that may come to their limit in those years.
func (f fleetPaper) likely() ReportSection {
	s := ReportSection{Head: "Which bearings may come to their limit in five years"}
	t := forecastTable(true)
	t.Head = append(t.Head, "Chance in five years")
	t.Right = append(make([]bool, len(t.Head)-1), true)
	for _, b := range f.years.Bearings[:min(mostRows, len(f.years.Bearings))] {
		a := f.s.clockAt(b.Clock)
		o, ok := a.Outlook(b.Bearing)
		if !ok {
			continue
		}
		t.row(b.Clock, b.Bearing, append(append([]string{a.Clock.Name}, forecastCells(a, &o)...), chanceWords(b.Chance))...)
	}
	s.add(t)
	if len(t.Rows) > 0 {
		s.note("%s %s", forecastNote, startingWords(t, f.s))
	}
	if n := len(f.years.Bearings) - mostRows; n > 0 {
		s.say("%s likely enough to be named stand on the pages of their clocks.", Count(n, "more bearing", "more bearings"))
	}
	if others := f.years.Others; others.Bearings > 0 && len(t.Rows) > 0 {
		s.note("Named are those with a chance of one in ten or more. %s not named; all together they add %.1f to what is expected.", Count(others.Bearings, "other bearing is", "other bearings are"), others.Chance)
	}
	return s
}

// clockAt is the assessment of a clock that the snapshot holds.
func (s *Snapshot) clockAt(slug string) *Assessment {
	for i := range s.Clocks {
		if s.Clocks[i].Clock.Slug == slug {
			return &s.Clocks[i]
		}
	}
	return &Assessment{}
}

// clockByClock is a line for each clock, the one that needs money first first.
func (f fleetPaper) clockByClock() ReportSection {
	s := ReportSection{Head: "Clock by clock"}
	t := ReportTable{Head: []string{"Clock", "Now", "Days it went all day", "Error of the hands", "Hours of work in five years", "Bearings at their limit in five years"},
		Right: []bool{false, false, true, true, true, true}}
	if f.sums.Given() {
		t.Head, t.Right = append(t.Head, f.sums.column("To plan for five years")), append(t.Right, true)
	}
	years := map[string]ClockYear{}
	for _, c := range f.years.Clocks {
		years[c.Clock] = c
	}
	for _, i := range f.ranked() {
		a, p := &f.s.Clocks[i], f.pasts[i]
		c := years[a.Clock.Slug]
		m := MonthWork{Hours: c.Hours, Works: worksOf(a, f.years.From, f.years.Until)}
		cells := []string{a.Clock.Name, mainWords(a), p.daysWords(), p.withinWords(a.Time.Tolerance), hoursWords(c.Hours), worksWords(m.Works, 1)}
		if f.sums.Given() {
			cells = append(cells, f.sums.workWords(m))
		}
		t.row(a.Clock.Slug, "", cells...)
	}
	s.add(t)
	s.note("Days and errors are of %s to %s. Hours leave winding out, and the work on bearings. "+roundedWords, f.from.Words(), f.to.Words())
	return s
}

// worksOf is how many bearings of one clock come to their limit in a time, with the
// range that holds 8 times in 10.
func worksOf(a *Assessment, from, until Date) [3]float64 {
	y := YearAhead{From: from, Until: until, Months: []MonthWork{{Month: from}}}
	var all []wearing
	for k := range a.Outlooks {
		if o := (wearing{Outlook: &a.Outlooks[k]}); o.Limit != nil {
			o.maybe = o.perhaps()
			all = append(all, o)
		}
	}
	y.wear(all)
	return y.Total.Works
}

// ranked are the clocks by number, in the order in which they need money; those that
// need none as they come.
func (f fleetPaper) ranked() []int {
	var out []int
	seen := map[string]bool{}
	at := map[string]int{}
	for i := range f.s.Clocks {
		at[f.s.Clocks[i].Clock.Slug] = i
	}
	for _, of := range byClock(f.needs) {
		slug := of[0].a.Clock.Slug
		out, seen[slug] = append(out, at[slug]), true
	}
	for i := range f.s.Clocks {
		if !seen[f.s.Clocks[i].Clock.Slug] {
			out = append(out, i)
		}
	}
	return out
}

// leftOut says shortly what was not checked.
func (f fleetPaper) leftOut() ReportSection {
	s := ReportSection{Head: "What was not checked"}
	read, never := f.s.readings()
	var looked, errors []string
	unknown := 0
	for i := range f.s.Clocks {
		a, p := &f.s.Clocks[i], f.pasts[i]
		if p.Looks == 0 {
			looked = append(looked, a.Clock.Name)
		}
		if p.Errors == 0 {
			errors = append(errors, a.Clock.Name)
		}
		unknown += len(trainsUnknown(a))
	}
	s.say("%s measured at least once since they were fitted, and %s never.", Capital(Count(read, "bearing was", "bearings were")), Count(never, "bearing", "bearings"))
	if len(looked) > 0 {
		s.say("No inspection is logged in these days for %s.", fewNamed(looked))
	}
	if len(errors) > 0 {
		s.say("Nobody logged how far wrong the hands were of %s.", fewNamed(errors))
	}
	if unknown > 0 {
		s.say("Of %s it is not known how long they ran.", Count(unknown, "train", "trains"))
	}
	s.say("Teeth, pallets, dials, hands and the buildings are not part of these figures.")
	return s
}
