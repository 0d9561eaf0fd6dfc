package schedule

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"
)

// ClockReport is the condition report of one clock: what was found, done and measured
// in a time, what is projected from it, what is recommended, and what was not checked.
func (s *Snapshot) ClockReport(slug string, opt ReportOptions) (Report, error) {
	i := slices.IndexFunc(s.Clocks, func(a Assessment) bool { return a.Clock.Slug == slug })
	if i < 0 {
		return Report{}, notFound("clock", "there is no clock %q: see the short names in the fleet file", slug)
	}
	a := s.Clocks[i]
	today := a.dayOf(a.Now)
	from, to, err := opt.period(today)
	if err != nil {
		return Report{}, err
	}
	c := clockPaper{s: s, a: &a, from: from, to: to, past: PastOf(a, from, to), sums: opt.Sums, needs: a.needs(fiveYears(today))}
	slices.SortStableFunc(c.needs, func(x, y moneyNeed) int { return Pressing(&x.task, &y.task) })
	r := Report{Title: "Condition report of " + a.Clock.Name, Lede: c.lede(), Of: placeWords(a.Site), Name: "report-" + slug, Data: today, From: from, To: to}
	r.Sections = []ReportSection{c.safety(), c.identity(), c.recommended(), c.projected(), c.found(), c.done(), c.measured(), c.next(), c.unchecked(), c.money()}
	return r.finished(), nil
}

// lede is the one thing to know of the clock.
func (c clockPaper) lede() string {
	if len(c.needs) == 0 {
		return c.a.Status
	}
	switch name := c.a.Clock.Name; {
	case c.needs[0].unsure:
		return fmt.Sprintf("%s: %s.", name, whyOf(c.needs))
	case !within(c.needs, c.a.dayOf(c.a.Now)):
		return fmt.Sprintf("%s needs no money within a year, as far as is known; it does %s, because %s.", name, c.needs[0].year(), whyOf(c.needs))
	default:
		return fmt.Sprintf("%s needs money: %s.", name, whyOf(c.needs))
	}
}

// fiveYears is the first day beyond what a report looks ahead.
func fiveYears(today Date) Date { return Date{today.Year + yearsAhead, today.Month, today.Day}.Add(0) }

func placeWords(s Site) string {
	if s.Place == "" || strings.EqualFold(s.Name, s.Place) {
		return s.Name
	}
	return s.Name + ", " + strings.TrimRight(s.Place, ". ")
}

// clockPaper is what the parts of a condition report are made of.
type clockPaper struct {
	s        *Snapshot
	a        *Assessment
	from, to Date
	past     Past
	sums     Sums
	needs    []moneyNeed
}

// safety says what can hurt somebody, and what must not run. It never says that
// anything is safe.
func (c clockPaper) safety() ReportSection {
	s := ReportSection{Head: "Before anybody runs it or goes up to it", Warns: true}
	for _, l := range c.a.Locks {
		s.say("%s", l.Words())
	}
	for i := range c.a.Outlooks {
		o := &c.a.Outlooks[i]
		if o.Over && o.Stop != nil && o.Known && o.Level.Mean >= o.Stop.Size.MM() {
			s.say("Stop it: the %s is at the size at which it must not run on, %s (now at %s, last read %s).",
				NameOf(o.Bearing.Name, o.Arbor.Name), o.Stop.Size, levelWords(o), c.a.lastRead(o))
		}
	}
	s.say("%s", Caution("", c.a.Site, c.a.Clock.Cautions))
	s.say("This report does not say that it is safe to run.")
	return s
}

// identity says which clock it is and who looks after it.
func (c clockPaper) identity() ReportSection {
	a := c.a
	s := ReportSection{Head: "The clock"}
	if len(c.needs) > 0 { // else it leads the report
		s.say("%s", a.Status)
	}
	var t ReportTable
	row := func(name, words string) {
		if words != "" {
			t.row("", "", name, words)
		}
	}
	row("Clock", a.Clock.Name+", a "+string(a.Clock.Kind)+" clock")
	row("Place", placeWords(a.Site))
	var trains []string
	bearings := 0
	for _, st := range a.Trains {
		words := NameOfTrain(st.Train)
		if st.unfit {
			words += ", whose running is not known"
		} else {
			words += ", " + Thousands(st.RunHours.Likely) + " run-hours since it came into care"
		}
		trains = append(trains, words)
	}
	bearings = len(a.Outlooks)
	row("Trains", strings.Join(trains, "; "))
	row("Measuring points", Count(bearings, "bearing", "bearings"))
	row("In care since", a.Clock.InCare.Words())
	for _, role := range Roles {
		var names []string
		for _, d := range a.Clock.Duties {
			if d.Role == role {
				names = append(names, c.s.names([]string{d.Person})...)
			}
		}
		row(Capital(string(role)), And(names))
	}
	row("Access", a.Site.Access)
	s.add(t)
	return s
}

// who is the name of somebody in the log.
func (c clockPaper) who(slug string) string {
	if slug == "" {
		return "not recorded"
	}
	return cmp.Or(strings.Join(c.s.names([]string{slug}), ""), slug)
}

// during gives the entries of the period of some kinds, oldest first.
func (c clockPaper) during(kinds ...EntryKind) []*Entry {
	var out []*Entry
	for i := range c.a.Entries {
		e := &c.a.Entries[i]
		if d := c.a.dayOf(e.At); !d.Before(c.from) && !d.After(c.to) && slices.Contains(kinds, e.Kind) {
			out = append(out, e)
		}
	}
	return out
}

// log puts entries into a table.
func (c clockPaper) log(entries []*Entry) ReportTable {
	t := ReportTable{Head: []string{"Day", "What", "By", "Note"}}
	for _, e := range entries {
		t.row("", "", c.a.dayOf(e.At).Words(), Capital(EntryWords(c.a.Clock, c.zone(), *e)), c.who(e.By), shortened(Visible(e.Note), 400))
	}
	return t
}

func (c clockPaper) zone() *time.Location {
	if c.a.Zone == nil {
		return time.UTC
	}
	return c.a.Zone
}

// found says what became of it and what was seen.
func (c clockPaper) found() ReportSection {
	s := ReportSection{Head: "What was found"}
	if c.past.Days == 0 {
		s.say("It was not in care in these days.")
		return s
	}
	s.say("Going: %s.", c.past.GoingWords(c.a.Zone))
	s.say("Error of the hands: %s.%s", c.past.ErrorWords(c.a.Time.Tolerance), inFront(c.a.Time.Sentence))
	for _, f := range c.a.Findings {
		s.say("%s", f.Words())
	}
	for _, p := range c.a.Problems {
		s.say("Its log does not fit together: %s", p)
	}
	t := c.log(c.during(Inspected, Stopped, Started))
	if more := t.cut("entry"); more != "" {
		s.note("%s", strings.Replace(more, "entrys", "entries", 1))
	}
	if len(t.Rows) == 0 {
		s.say("No inspection and no stop is logged in these days.")
	}
	s.add(t)
	return s
}

func inFront(s string) string {
	if s == "" {
		return ""
	}
	return " " + s
}

// done says what was done, by whom and when.
func (c clockPaper) done() ReportSection {
	s := ReportSection{Head: "What was done"}
	switch {
	case c.past.Days == 0:
		return ReportSection{}
	case c.past.Hand:
		s.say("Winding: %s.", c.past.WindingWords())
	case len(c.a.Trains) > 0:
		s.say("Nobody winds it by hand.")
	}
	t := c.log(c.during(Oiled, Cleaned, Repaired, Regulated, Set))
	if more := t.cut("entry"); more != "" {
		s.note("%s", strings.Replace(more, "entrys", "entries", 1))
	}
	if len(t.Rows) == 0 {
		s.say("No other work is logged in these days.")
	}
	s.add(t)
	return s
}

// measured holds readings against limits.
func (c clockPaper) measured() ReportSection {
	s := ReportSection{Head: "What was measured"}
	t := ReportTable{Head: []string{"Day", "Bearing", "Reading", "Limit", "By"}}
	for _, e := range c.during(Measured) {
		o, ok := c.a.Outlook(e.Bearing)
		if e.Reading == nil || !ok {
			continue
		}
		limit := "none is set"
		if o.Limit != nil {
			limit = o.Limit.Size.String()
			if e.Reading.Value >= o.Limit.Size {
				limit += ", reached"
			}
		}
		t.row("", o.Bearing.Code, c.a.dayOf(e.At).Words(), Capital(NameOf(o.Bearing.Name, o.Arbor.Name)), e.Reading.Value.String()+" "+string(e.Reading.Shake), limit, c.who(e.By))
	}
	if more := t.cut("reading"); more != "" {
		s.note("%s", more)
	}
	if len(t.Rows) == 0 {
		s.say("No reading is logged in these days.")
	}
	s.add(t)
	return s
}

// projected says of every bearing what is to be expected, and how sure that is.
func (c clockPaper) projected() ReportSection {
	s := ReportSection{Head: "What is to be expected of its bearings"}
	t := forecastTable(false)
	for i := range c.a.Outlooks {
		o := &c.a.Outlooks[i]
		t.row(c.a.Clock.Slug, o.Bearing.Code, forecastCells(c.a, o)...)
		if len(s.Charts) < mostCharts && o.Known && o.Limit != nil && (o.Condition != Sound && o.Condition != "" || len(s.Charts) == 0) {
			s.Charts = append(s.Charts, chartOf(c.a, o))
		}
	}
	s.add(t)
	if len(t.Rows) == 0 {
		s.say("No bearing is described, so nothing is foretold.")
		return s
	}
	s.note("%s %s", forecastNote, startingWords(t, c.s))
	for _, x := range c.a.Oils {
		s.note("%s", oilStands(x))
	}
	return s
}

// oilStands say how the oil of something stands.
func oilStands(x OilState) string {
	what := "Oil"
	if x.About != "" {
		what += " of the " + x.About
	}
	since := "no oiling is logged"
	if !x.Since.IsZero() {
		since = "last oiled on " + x.Since.Words()
	}
	switch {
	case x.Risk >= .005:
		return fmt.Sprintf("%s: %s; the chance that it no longer does its work is %s.", what, since, chanceWords(x.Risk))
	case x.Since.IsZero():
		return what + ": no oiling is logged, so it is not known whether it does its work."
	}
	return fmt.Sprintf("%s: %s; hardly any chance that it no longer does its work.", what, since)
}

// recommended ranks what is to be done beyond the usual round.
func (c clockPaper) recommended() ReportSection {
	s := ReportSection{Head: "What is recommended, the most pressing first"}
	t := ReportTable{Head: []string{"", "What", "When", "How sure", "Who", "Hours"}, Right: []bool{true, false, false, false, false, true}}
	if c.sums.Given() {
		t.Head, t.Right = append(t.Head, c.sums.column("To plan")), append(t.Right, true)
	}
	taken := map[[2]string]bool{}
	all := slices.Clone(c.needs)
	for _, n := range c.needs {
		taken[[2]string{string(n.task.Kind), n.task.Subject}] = true
	}
	for i := range c.a.Tasks {
		t := c.a.Tasks[i]
		if t.Rank < Plain && t.State != Resting && !taken[[2]string{string(t.Kind), t.Subject}] && !c.a.lineTold(t) {
			all = append(all, moneyNeed{a: c.a, task: t, why: t.What() + ": " + strings.TrimSuffix(t.Reason, "."), when: needWhen(t), sure: t.Confidence})
		}
	}
	slices.SortStableFunc(all, func(x, y moneyNeed) int { return Pressing(&x.task, &y.task) })
	var sources []string
	for i, n := range all[:min(mostRows, len(all))] {
		why, from := withoutAddresses(n.why)
		sources = append(sources, from...)
		cells := []string{fmt.Sprint(i + 1), Capital(why), Capital(n.when), Capital(n.sure), cmp.Or(And(c.s.names(n.task.People)), "nobody is named"), hoursWords(float64(n.task.Minutes) / 60)}
		if c.sums.Given() {
			cells = append(cells, cmp.Or(c.sums.ofNeed(n), notReckoned))
		}
		t.row(c.a.Clock.Slug, n.task.Subject, cells...)
	}
	slices.Sort(sources)
	if sources = slices.Compact(sources); len(sources) > 0 {
		s.note("Sources: %s.", strings.Join(sources, "; "))
	}
	if len(t.Rows) == 0 {
		s.say("Nothing beyond its usual care is wanted now, as far as the log and the readings tell.")
	}
	s.add(t)
	return s
}

// next says what falls due soon, who does it, and how they get in.
func (c clockPaper) next() ReportSection {
	s := ReportSection{Head: fmt.Sprintf("Due within %d days", soonDays)}
	t := soonTable(false)
	soonRows(&t, c.s, c.a, nil)
	if len(t.Rows) == 0 {
		s.say("Nothing falls due.")
	}
	s.add(t)
	if c.a.Site.Access != "" {
		s.say("Access: %s", c.a.Site.Access)
	}
	return s
}

func (c clockPaper) unchecked() ReportSection {
	s := ReportSection{Head: "What was not checked"}
	for _, line := range notChecked(c.a, c.past, c.from) {
		s.say("%s", line)
	}
	return s
}

func (c clockPaper) money() ReportSection {
	return ReportSection{Head: "How to read this", Notes: []string{c.sums.Words(), noPromise}}
}

// trainsUnknown names the trains of which it is not known how long they ran.
func trainsUnknown(a *Assessment) []string {
	var out []string
	for _, st := range a.Trains {
		if st.unfit {
			out = append(out, NameOfTrain(st.Train))
		}
	}
	return out
}
