package schedule

import (
	"fmt"
	"slices"
)

// Report is a paper about one clock, or several, as a value: whatever prints it says
// the same words. Every sentence and cell is one line of visible text; lengths stand
// in both systems, mm first ([wear.OwnFirst] turns them).
type Report struct {
	Title string
	Lede  string // the one thing to know
	Of    string // whose clocks it is about, in words
	// Name is short, of small letters, figures and hyphens: for a file.
	Name string
	// Data is the day of the data: everything foretold is seen from it. From and To are
	// the days that it looks back on, both among them.
	Data, From, To Date
	Sections       []ReportSection
}

// ReportSection is a part of a report under a heading: paragraphs first, then
// tables, then charts, then notes.
type ReportSection struct {
	Head   string
	Says   []string
	Warns  bool // its paragraphs say what can hurt somebody, or that something is locked
	Tables []ReportTable
	Charts []ReportChart
	Notes  []string // what the figures mean and where they come from
}

// ReportTable is a table. Where Head is nil its rows are a name and what is said of it.
type ReportTable struct {
	Head  []string
	Right []bool // by column: figures, to be set flush right; nil: none are
	Rows  []ReportRow
	Total []string // the last row, of sums; nil: none
}

// ReportRow is a row of a table. Clock and Bearing are what it is about; either may
// be empty.
type ReportRow struct {
	Cells          []string
	Clock, Bearing string
}

// ReportChart is the chart of a bearing, to be drawn.
type ReportChart struct {
	Clock, Bearing string
	Caption        string
}

// ReportOptions are what a report is to hold.
type ReportOptions struct {
	// From and To are the days to look back on, both among them; zero: the twelve
	// months up to the day of the data.
	From, To Date
	Sums     Sums
}

// Report limits, so that a paper stays one (judgement, no source).
const (
	yearsAhead = 5  // that a planner looks ahead
	mostCharts = 4  // in one report
	mostRows   = 60 // of a table of what happened; what is left out is counted
	soonDays   = 90 // that are asked about as "what comes next"
)

// period gives the days that a report looks back on.
func (o ReportOptions) period(today Date) (from, to Date, err error) {
	to = o.To
	if to.IsZero() {
		to = today
	}
	from = o.From
	if from.IsZero() {
		from = Date{to.Year - 1, to.Month, to.Day}.Add(1)
	}
	switch {
	case o.From.After(today):
		return from, to, invalid("from", "the period begins on %s, after today (the data are of %s): choose a day up to then", from.Words(), today.Words())
	case to.After(today):
		return from, to, invalid("until", "the period ends on %s, which is ahead of the data (%s): choose a day up to then", to.Words(), today.Words())
	case from.After(to):
		return from, to, invalid("from", "the period begins on %s, after it ends on %s: turn them round", from.Words(), to.Words())
	}
	return from, to, nil
}

// say adds a paragraph, unless it is empty.
func (s *ReportSection) say(format string, args ...any) {
	if line := fmt.Sprintf(format, args...); line != "" {
		s.Says = append(s.Says, line)
	}
}

func (s *ReportSection) note(format string, args ...any) {
	s.Notes = append(s.Notes, fmt.Sprintf(format, args...))
}

// add takes in a table, unless it has no rows.
func (s *ReportSection) add(t ReportTable) {
	if len(t.Rows) > 0 {
		s.Tables = append(s.Tables, t)
	}
}

// row adds a row.
func (t *ReportTable) row(clock, bearing string, cells ...string) {
	t.Rows = append(t.Rows, ReportRow{Cells: cells, Clock: clock, Bearing: bearing})
}

// cut leaves the newest rows of a table that would go on for pages, which come last,
// and says how many it left out.
func (t *ReportTable) cut(what string) string {
	more := len(t.Rows) - mostRows
	if more <= 0 {
		return ""
	}
	t.Rows = t.Rows[more:]
	return fmt.Sprintf("The table holds the last %d; %s before them in the period stand in the log.", mostRows, Count(more, what, what+"s"))
}

// finished is a report with every word fit to be printed: on one line, with nothing
// that a reader cannot see, and no section that says nothing.
func (r Report) finished() Report {
	r.Sections = slices.DeleteFunc(r.Sections, func(s ReportSection) bool {
		return len(s.Says)+len(s.Tables)+len(s.Charts)+len(s.Notes) == 0
	})
	r.each(func(s *string) { *s = Visible(*s) })
	return r
}

// each goes through all words of a report.
func (r *Report) each(do func(*string)) {
	list := func(words []string) {
		for i := range words {
			do(&words[i])
		}
	}
	for _, s := range []*string{&r.Title, &r.Lede, &r.Of} {
		do(s)
	}
	for i := range r.Sections {
		s := &r.Sections[i]
		do(&s.Head)
		list(s.Says)
		list(s.Notes)
		for k := range s.Tables {
			t := &s.Tables[k]
			list(t.Head)
			list(t.Total)
			for _, row := range t.Rows {
				list(row.Cells)
			}
		}
		for k := range s.Charts {
			do(&s.Charts[k].Caption)
		}
	}
}

// In gives the report with every word as a function has it, and leaves the report
// itself as it is.
func (r Report) In(words func(string) string) Report {
	r.Sections = slices.Clone(r.Sections)
	for i := range r.Sections {
		s := &r.Sections[i]
		s.Says, s.Notes, s.Charts, s.Tables = slices.Clone(s.Says), slices.Clone(s.Notes), slices.Clone(s.Charts), slices.Clone(s.Tables)
		for k := range s.Tables {
			t := &s.Tables[k]
			t.Head, t.Total, t.Rows = slices.Clone(t.Head), slices.Clone(t.Total), slices.Clone(t.Rows)
			for n := range t.Rows {
				t.Rows[n].Cells = slices.Clone(t.Rows[n].Cells)
			}
		}
	}
	r.each(func(s *string) { *s = words(*s) })
	return r
}

// seenWords says of which day the data are and which days are looked back on.
func (r Report) seenWords() string {
	return fmt.Sprintf("Data of %s. Looking back on %s to %s.", r.Data.Words(), r.From.Words(), r.To.Words())
}

// Under says, below the title, whose clocks it is about and what it looks back on.
func (r Report) Under() string {
	if r.Of == "" {
		return r.seenWords()
	}
	return r.Of + ". " + r.seenWords()
}

// noPromise closes every report.
const noPromise = "Estimates are not promises: measure before you rely on one. This report does not say that anything is safe to run or to climb to. " + deferral

// IsRight reports whether a column holds figures.
func (t ReportTable) IsRight(column int) bool { return column < len(t.Right) && t.Right[column] }

// HeadOf is what stands above a column; empty: nothing does.
func (t ReportTable) HeadOf(column int) string {
	if column < len(t.Head) {
		return t.Head[column]
	}
	return ""
}
