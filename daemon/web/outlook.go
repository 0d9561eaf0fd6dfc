package web

import (
	"cmp"
	"fmt"
	"math"
	"net/http"

	"endshake/schedule"
)

// outlookPage is the work of the twelve months to come.
type outlookPage struct {
	Lede            string
	Standing        monthLine
	Months          []monthLine
	Years           []yearLine
	YearsSum        yearLine
	Total           monthLine
	Bearings        []likelyLine
	Rest            *restLine // bearings that are left out; nil: none
	NowSum, YearSum string    // of all bearings, as the tables above have them
	Kinds           []pair    // firm tasks of the year, by kind
	Parts           []string
	Change          string
}

// mostLikely is how many bearings the page names.
const mostLikely = 60

// likelyLine is a bearing that may come to its limit.
type likelyLine struct {
	Clock, ClockName, Bearing, Name, Chance, When string
	ByNow, ByYear                                 string // chances, as they are counted
}

// restLine is what bearings that are not named add to the counts.
type restLine struct{ Bearings, ByNow, ByYear string }

// mostParts is how many parts to have ready a page names.
const mostParts = 60

// monthLine is the work of one month; what there is none of is empty.
type monthLine struct {
	Month, Visits, Hours, Winds, WindHours, Drops, Works, WorkHours, Parts string
}

func (s *server) outlook(w http.ResponseWriter, r *http.Request) {
	rd, ok := s.reader(w, r)
	if !ok {
		return
	}
	s.showKept(w, r, rd, "/outlook", "outlook", func() view {
		page := outlookPage{Lede: noClocks}
		if len(rd.seen.Clocks) > 0 {
			y := rd.seen.YearAhead()
			page = newOutlookPage(y)
			page.Bearings, page.Rest = likelyLines(rd.seen, y)
			page.NowSum, page.YearSum = cmp.Or(tenths(y.Standing.Works[1]), "0"), cmp.Or(tenths(y.Total.Works[1]), "0")
			page.Years, page.YearsSum = yearLines(rd.seen, y)
			page.Change = rd.change()
		}
		return view{Title: "Outlook for the year", Here: "/outlook", Body: page}
	})
}

func newOutlookPage(y schedule.YearAhead) outlookPage {
	page := outlookPage{Lede: outlookLede(y), Standing: newMonthLine(y.Standing), Total: newMonthLine(y.Total), Parts: y.Total.Parts}
	if more := len(page.Parts) - mostParts; more > 0 {
		page.Parts = append(page.Parts[:mostParts:mostParts], fmt.Sprintf("and %s more: the due-list names each with its day", thousands(more)))
	}
	for _, m := range y.Months {
		l := newMonthLine(m)
		l.Month = y.Name(m)
		page.Months = append(page.Months, l)
	}
	for _, kind := range schedule.TaskKinds {
		if n := y.Total.Tasks[kind]; n > 0 {
			page.Kinds = append(page.Kinds, pair{schedule.Task{Kind: kind}.What(), schedule.Count(n, "time", "times")})
		}
	}
	return page
}

// likelyLines name the bearings that may come to their limit, and put those that
// are too many to those that are not named, so that the lines add up to the counts.
func likelyLines(snap *schedule.Snapshot, y schedule.YearAhead) (lines []likelyLine, rest *restLine) {
	others := y.Others
	for i, b := range y.Bearings {
		if i >= mostLikely {
			others.Add(b)
			continue
		}
		a, _ := snap.Clock(b.Clock)
		o, _ := a.Outlook(b.Bearing)
		lines = append(lines, newLikelyLine(a, o, b))
	}
	if others.Bearings > 0 {
		rest = &restLine{schedule.Count(others.Bearings, "other bearing", "other bearings"), cmp.Or(tenths(others.ChanceNow), "0"), cmp.Or(tenths(others.Chance), "0")}
	}
	return lines, rest
}

func newLikelyLine(a schedule.Assessment, o schedule.Outlook, b schedule.LikelyWork) likelyLine {
	l := likelyLine{Clock: a.Clock.Slug, ClockName: a.Clock.Name, Bearing: b.Bearing, Name: schedule.NameOf(o.Bearing.Name, o.Arbor.Name), Chance: chance(b.Chance), ByYear: chance(b.Chance)}
	if b.ChanceNow >= 0.005 {
		l.ByNow = chance(b.ChanceNow)
	}
	switch {
	case b.Now:
		l.Chance, l.When, l.ByNow, l.ByYear = "", "at its limit now", percent(1), percent(1)
	case b.Likely.IsZero():
		l.When = "perhaps past its limit now: read it again"
	default:
		l.When = "likely by " + b.Likely.MonthWords()
	}
	return l
}

// outlookLede is the one thing to know of the year's work, in the figures of the
// table below it.
func outlookLede(y schedule.YearAhead) string {
	t := newMonthLine(y.Total)
	s := fmt.Sprintf("The twelve months from %s ask for %s and %s of work on the clocks",
		y.From.Words(), schedule.Count(y.Total.Visits, "visit", "visits"), hoursOf(y.Total.Hours))
	if y.Total.Climbs > 0 {
		s += ", beside " + schedule.Count(y.Total.Climbs, "climb to wind", "climbs to wind")
		if t.WindHours != "" {
			s += ", " + hoursOf(y.Total.WindHours) + " in all"
		}
	}
	if y.Standing.Visits > 0 {
		s += fmt.Sprintf(". Of that, %s and %s stand over from before today",
			schedule.Count(y.Standing.Visits, "visit", "visits"), hoursOf(y.Standing.Hours))
	}
	if t.Works == "" {
		return s + ". No bearing is likely to come to its limit."
	}
	h := y.Total.WorkHours
	s += fmt.Sprintf(". Wear adds work on %s, %s of it", aboutBearings(y.Total.Works), hoursOf(h[1]))
	if h[2] < 0.5 || alike(h) {
		return s + "."
	}
	return s + fmt.Sprintf(" (between %.0f and %.0f).", h[0], h[2])
}

// aboutBearings says on how many bearings wear is likely to ask for work: "1
// bearing", where that is as good as sure "about" is left out.
func aboutBearings(works [3]float64) string {
	n := cmp.Or(tenths(works[1]), "0")
	about := "about "
	if works[0] == works[2] && works[0] == works[1] {
		about = ""
	}
	if n == "1" {
		return about + "1 bearing"
	}
	return about + n + " bearings"
}

// alike reports whether a range begins and ends at what is expected, as printed:
// it then tells nothing more.
func alike(v [3]float64) bool {
	whole := cmp.Or(tenths(v[1]), "0")
	return fmt.Sprintf("%.0f", v[0]) == whole && fmt.Sprintf("%.0f", v[2]) == whole
}

// hoursOf says hours as the table does.
func hoursOf(v float64) string {
	if v = math.Max(v, 0); tenths(v) == "1" {
		return "1 hour"
	}
	return cmp.Or(tenths(v), "hardly any") + " hours"
}

func newMonthLine(m schedule.MonthWork) monthLine {
	l := monthLine{
		Visits: count(m.Visits), Hours: tenths(m.Hours), Winds: count(m.Climbs), WindHours: tenths(m.WindHours), Drops: tenths(math.Ceil(m.Drops)),
		Works: likely(m.Works), WorkHours: likely(m.WorkHours), Parts: count(len(m.Parts)),
	}
	if l.Works == "" {
		l.WorkHours = ""
	}
	return l
}

// count prints a number of things, and nothing for none.
func count(n int) string {
	if n <= 0 {
		return ""
	}
	return schedule.Thousands(float64(n))
}

// tenths prints a figure to a tenth, a large one whole, and nothing for none.
func tenths(v float64) string {
	switch {
	case !finite(v) || v < 0.05:
		return ""
	case v < 20 && math.Round(v*10) != 10*math.Round(v):
		return fmt.Sprintf("%.1f", v)
	}
	return schedule.Thousands(v)
}

// leastExpected is the count from which what may come in a month, but hardly
// does, is printed (judgement, no source).
const leastExpected = 0.25

// likely prints what is to be expected with its range of 8 chances in 10;
// nothing where it is as good as nothing.
func likely(v [3]float64) string {
	if !finite(v[0]) || !finite(v[1]) || !finite(v[2]) || v[1] < 0.05 && v[2] < 0.5 {
		return ""
	}
	mean := tenths(v[1])
	if v[2] < 0.5 && v[1] < leastExpected {
		return "" // hardly to be expected, and in the year's figure all the same
	}
	if v[2] < 0.5 || alike(v) {
		return mean
	}
	if mean == "" {
		mean = "0"
	}
	return fmt.Sprintf("%s (%.0f to %.0f)", mean, v[0], v[2])
}
