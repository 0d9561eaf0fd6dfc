package web

import (
	"fmt"
	"math"
	"net/http"

	"endshake/schedule"
)

// outlookPage is the work of the twelve months to come.
type outlookPage struct {
	Lede   string
	Months []monthLine
	Total  monthLine
	Kinds  []pair // firm tasks of the year, by kind
	Parts  []string
	Change string
}

// monthLine is the work of one month; what there is none of is empty.
type monthLine struct {
	Month, Visits, Hours, Winds, WindHours, Drops, Works, WorkHours, Parts string
}

func (s *server) outlook(w http.ResponseWriter, r *http.Request) {
	snap, ok := s.snapshot(w, r)
	if !ok {
		return
	}
	page := newOutlookPage(snap.YearAhead())
	page.Change = changeLink(snap)
	if len(snap.Clocks) == 0 {
		page = outlookPage{Lede: noClocks}
	}
	s.show(w, r, http.StatusOK, "outlook", view{Title: "Outlook", Here: "/outlook", Body: page})
}

func newOutlookPage(y schedule.YearAhead) outlookPage {
	page := outlookPage{Lede: y.Sentence(), Total: newMonthLine(y.Total), Parts: y.Total.Parts}
	for _, m := range y.Months {
		l := newMonthLine(m)
		l.Month = m.Month.MonthWords()
		page.Months = append(page.Months, l)
	}
	for _, kind := range schedule.TaskKinds {
		if n := y.Total.Tasks[kind]; n > 0 {
			page.Kinds = append(page.Kinds, pair{string(kind), schedule.Count(n, "time", "times")})
		}
	}
	return page
}

func newMonthLine(m schedule.MonthWork) monthLine {
	l := monthLine{
		Visits: count(m.Visits), Hours: tenths(m.Hours), Winds: count(m.Winds), WindHours: tenths(m.WindHours), Drops: tenths(math.Ceil(m.Drops)),
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

// likely prints what is to be expected with its range of 8 chances in 10;
// nothing where it is as good as nothing.
func likely(v [3]float64) string {
	if !finite(v[0]) || !finite(v[1]) || !finite(v[2]) || v[1] < 0.05 && v[2] < 0.5 {
		return ""
	}
	mean := tenths(v[1])
	if v[2] < 0.5 {
		return mean
	}
	if mean == "" {
		mean = "0"
	}
	return fmt.Sprintf("%s (%.0f to %.0f)", mean, v[0], v[2])
}
