package schedule

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// Only is the snapshot of some of its clocks: those that the function keeps.
func (s *Snapshot) Only(keep func(Clock) bool) *Snapshot {
	out := &Snapshot{Now: s.Now, Fleet: s.Fleet}
	for i := range s.Clocks {
		if keep(s.Clocks[i].Clock) {
			out.Clocks = append(out.Clocks, s.Clocks[i])
		}
	}
	return out
}

// Owners are the slugs of those who own a clock, in the order of the fleet's people.
func (s *Snapshot) Owners() []string {
	var out []string
	for _, p := range s.Fleet.People {
		if slices.ContainsFunc(s.Clocks, func(a Assessment) bool { return a.Clock.Has(p.Slug, Owner) }) {
			out = append(out, p.Slug)
		}
	}
	return out
}

// fleetPaper is what the parts of a report over several clocks are made of.
type fleetPaper struct {
	s        *Snapshot
	from, to Date
	pasts    []Past // by clock
	sums     Sums
	needs    []moneyNeed
	years    YearAhead
}

func (s *Snapshot) fleetPaper(opt ReportOptions) (fleetPaper, error) {
	today := s.Today()
	from, to, err := opt.period(today)
	if err != nil {
		return fleetPaper{}, err
	}
	f := fleetPaper{s: s, from: from, to: to, sums: opt.Sums, needs: s.needs(fiveYears(today)), years: s.YearsAhead(yearsAhead)}
	for i := range s.Clocks {
		f.pasts = append(f.pasts, PastOf(s.Clocks[i], from, to))
	}
	return f, nil
}

// report is one with what every report over several clocks says of itself.
func (f fleetPaper) report(title, of, name string) Report {
	return Report{Title: title, Lede: f.s.firstWords(f.needs), Of: of, Name: name, Data: f.s.Today(), From: f.from, To: f.to}
}

// OwnerReport is the annual report over all clocks of an owner that the snapshot
// holds; they are named by their slug.
func (s *Snapshot) OwnerReport(owner string, opt ReportOptions) (Report, error) {
	p, ok := s.Fleet.Person(owner)
	own := s.Only(func(c Clock) bool { return c.Has(owner, Owner) })
	if !ok || len(own.Clocks) == 0 {
		return Report{}, notFound("owner", "there is nobody %q who owns a clock: see the short names in the fleet file", owner)
	}
	f, err := own.fleetPaper(opt)
	if err != nil {
		return Report{}, err
	}
	r := f.report("Annual report for "+p.Name, Count(len(own.Clocks), "clock", "clocks"), "report-of-"+owner)
	r.Sections = []ReportSection{f.first(), f.stands(), f.readings(), f.fiveYears(), f.work(), f.soon(), f.unchecked(), f.close()}
	return r.finished(), nil
}

// FleetReport is the short report over all clocks that the snapshot holds, for those
// who decide on money.
func (s *Snapshot) FleetReport(opt ReportOptions) (Report, error) {
	f, err := s.fleetPaper(opt)
	if err != nil {
		return Report{}, err
	}
	r := f.report("Report on the town's clocks", Count(len(s.Clocks), "clock", "clocks"), "report")
	if len(s.Clocks) == 0 {
		r.Lede = "No clock is described, so there is nothing to report."
		return r.finished(), nil
	}
	r.Sections = []ReportSection{f.first(), f.clockByClock(), f.fiveYears(), f.likely(), f.leftOut(), f.close()}
	return r.finished(), nil
}

// first says which clocks need money, the first of them first, and why.
func (f fleetPaper) first() ReportSection {
	s := ReportSection{Head: "Which clock needs money first"}
	t := ReportTable{Head: []string{"", "Clock", "What it needs", "When", "Hours"}, Right: []bool{true, false, false, false, true}}
	if f.sums.Given() {
		t.Head, t.Right = append(t.Head, f.sums.column("To plan")), append(t.Right, true)
	}
	clocks, left := byClock(f.needs), 0
	for i, of := range clocks {
		for k, n := range of {
			if len(t.Rows) >= mostNeeds {
				left++
				continue
			}
			cells := []string{"", "", Capital(n.what), Capital(n.when), hoursWords(float64(n.task.Minutes) / 60)}
			if k == 0 {
				cells[0], cells[1] = fmt.Sprint(i+1), n.a.Clock.Name
			}
			if f.sums.Given() {
				cells = append(cells, cmp.Or(f.sums.ofNeed(n), notReckoned))
			}
			t.row(n.a.Clock.Slug, n.bearing(), cells...)
			if n.o != nil && n.o.Known && len(s.Charts) == 0 {
				s.Charts = append(s.Charts, chartOf(n.a, n.o))
			}
		}
	}
	s.add(t)
	if left > 0 {
		s.note("%s, which press less, stand in the condition reports of their clocks.", Capital(Count(left, "more thing", "more things")))
	}
	if len(clocks) > 0 {
		s.note("First comes what is dangerous, then what inspections found, what is past its limit by most, or by a reading that none confirms yet, what is late, and then what is likely soonest: the month that stands first. Clocks go by their first row. Hours are usual ones, on the clock alone. A range of dates holds 8 times in 10; how sure each is stands further down.")
	}
	f.others(&s, clocks)
	return s
}

// others names the clocks that need no money, apart from those of which nobody knows
// and those that may come to need some.
func (f fleetPaper) others(s *ReportSection, clocks [][]moneyNeed) {
	var quiet, dark, less []string
	chance := map[string]float64{}
	for _, c := range f.years.Clocks {
		chance[c.Clock] = c.Works
	}
	for i := range f.s.Clocks {
		a := &f.s.Clocks[i]
		switch {
		case slices.ContainsFunc(clocks, func(of []moneyNeed) bool { return of[0].a == a }):
		case chance[a.Clock.Slug] >= leastChance:
			less = append(less, a.Clock.Name)
		case !slices.ContainsFunc(a.Outlooks, func(o Outlook) bool { return a.lastRead(&o) != "never" }):
			dark = append(dark, a.Clock.Name)
		default:
			quiet = append(quiet, a.Clock.Name)
		}
	}
	if len(less) > 0 {
		s.note("Nothing is asked of %s yet, but a bearing may come to its limit within %s: the chance is one in ten or more.", And(less), Count(yearsAhead, "year", "years"))
	}
	if len(clocks) == 0 {
		return // the first sentence says it
	}
	if len(dark) > 0 {
		s.note("How the bearings wear is not known of %s, for none was measured.", And(dark))
	}
	if len(quiet) > 0 {
		s.note("As far as the log and the readings tell, nothing beyond the usual care is foreseen within %s for %s.", Count(yearsAhead, "year", "years"), And(quiet))
	}
}

// mostNeeds is how many pieces of work the report names (judgement, no source).
const mostNeeds = 30

// mainWords say in few words how a clock stands.
func mainWords(a *Assessment) string {
	for _, l := range a.Locks {
		return Capital(string(l.Kind)) + ": " + l.Why
	}
	switch {
	case len(a.Clock.Damage) > 0 || len(a.Trains) == 0 && len(a.Problems) > 0:
		return "Not known: " + strings.TrimSuffix(a.Status, ".")
	case a.Resting:
		return "Resting"
	case a.Stance() == RunOut:
		return "May have stopped"
	case a.Stance() == Unknown:
		return "Not known: a power cut may have stopped it"
	case a.Going:
		return "Going"
	}
	return "Stopped"
}

// daysWords are the days on which a clock went, of those looked back on.
func (p Past) daysWords() string {
	switch {
	case p.Days == 0:
		return "not in care"
	case !p.Known:
		return "not known"
	}
	out := fmt.Sprintf("%d of %d", p.Going, p.Days)
	if p.Unsure > 0 {
		out += fmt.Sprintf(", %d not known", p.Unsure)
	}
	return out
}

// withinWords are how often an error was found within what the clock is held to.
func (p Past) withinWords(tolerance float64) string {
	switch {
	case p.Errors == 0:
		return "none logged"
	case tolerance > 0:
		return fmt.Sprintf("%d of %d within %.0f s", p.Within, p.Errors, tolerance)
	}
	return Count(p.Errors, "look", "looks") + "; no tolerance is set"
}

// stands is a line for each clock: how it is and what became of it.
func (f fleetPaper) stands() ReportSection {
	s := ReportSection{Head: "How each clock is, and what became of it"}
	t := ReportTable{Head: []string{"Clock", "Now", "Days it went all day", "Stopped for", "Error of the hands", "Winding"}}
	for i := range f.s.Clocks {
		a, p := &f.s.Clocks[i], f.pasts[i]
		t.row(a.Clock.Slug, "", a.Clock.Name, mainWords(a), p.daysWords(), p.causeWords(), p.withinWords(a.Time.Tolerance), p.windWords(a))
	}
	s.add(t)
	s.note("Days on which a clock stood for a part count as days on which it stood. What is not logged is not taken for a stop.")
	return s
}

// causeWords count the times for which a clock stood, by cause.
func (p Past) causeWords() string {
	if !p.Known || len(p.Stood) == 0 {
		return "–"
	}
	n := map[string]int{}
	var causes []string
	for _, x := range p.Stood {
		if n[x.Why()]++; n[x.Why()] == 1 {
			causes = append(causes, x.Why())
		}
	}
	for i, why := range causes {
		if n[why] > 1 {
			causes[i] = fmt.Sprintf("%s, %d times", why, n[why])
		}
	}
	return strings.Join(causes, "; ")
}

// windWords say in few words how the winding of a clock was kept.
func (p Past) windWords(a *Assessment) string {
	switch {
	case !p.Hand && len(a.Trains) > 0:
		return "not by hand"
	case p.Days == 0 || !p.Hand:
		return "–"
	case len(p.RanDown) == 0 && p.Unsure > 0:
		return Count(p.Windings, "time", "times") + "; may have run down"
	case len(p.RanDown) == 0:
		return Count(p.Windings, "time", "times")
	}
	return fmt.Sprintf("%s; found run down %s", Count(p.Windings, "time", "times"), Count(len(p.RanDown), "time", "times"))
}

// readings holds what bears on money of all bearings, against their limits.
func (f fleetPaper) readings() ReportSection {
	s := ReportSection{Head: "Readings against limits, and what is to be expected"}
	t := forecastTable(true)
	t.Head = append(t.Head, "Chance in five years")
	t.Right = append(make([]bool, len(t.Head)-1), true)
	chances := map[[2]string]string{}
	for _, b := range f.years.Bearings {
		chances[[2]string{b.Clock, b.Bearing}] = chanceWords(b.Chance)
	}
	until, others, never := fiveYears(f.s.Today()), 0, 0
	for i := range f.s.Clocks {
		a := &f.s.Clocks[i]
		for k := range a.Outlooks {
			o := &a.Outlooks[k]
			switch {
			case a.lastRead(o) == "never":
				never++
			case o.Condition == Watch || o.Condition == Act || o.Dated && o.Early.Before(until):
				cells := append([]string{a.Clock.Name}, forecastCells(a, o)...)
				t.row(a.Clock.Slug, o.Bearing.Code, append(cells, cmp.Or(chances[[2]string{a.Clock.Slug, o.Bearing.Code}], "less than 10 %"))...)
			default:
				others++
			}
		}
	}
	s.add(t)
	say := s.say
	if len(t.Rows) > 0 { // the bearings that it is about come first
		say = s.note
	}
	if others > 0 {
		say("%s not likely to come to a limit within %s, or %s no limit or no date.", Count(others, "other bearing was read and is", "other bearings were read and are"),
			Count(yearsAhead, "year", "years"), map[bool]string{true: "has", false: "have"}[others == 1])
	}
	if never > 0 {
		say("%s: nothing is foretold of %s.", Capital(Count(never, "bearing was never measured", "bearings were never measured")), map[bool]string{true: "it", false: "them"}[never == 1])
	}
	if len(t.Rows) > 0 {
		s.note("%s %s", forecastNote, startingWords(t, f.s))
	}
	return s
}

// work counts what was done, clock by clock.
func (f fleetPaper) work() ReportSection {
	s := ReportSection{Head: "Work done"}
	kinds := []EntryKind{Oiled, Inspected, Measured, Cleaned, Repaired, Regulated, Set}
	t := ReportTable{Head: []string{"Clock"}, Right: []bool{false}}
	for _, k := range kinds {
		t.Head, t.Right = append(t.Head, Capital(string(k))), append(t.Right, true)
	}
	t.Head, t.Right = append(t.Head, "Last work"), append(t.Right, false)
	for i := range f.s.Clocks {
		a := &f.s.Clocks[i]
		n, last := map[EntryKind]int{}, ""
		for k := range a.Entries {
			if e := &a.Entries[k]; slices.Contains(kinds, e.Kind) && !a.dayOf(e.At).Before(f.from) && !a.dayOf(e.At).After(f.to) {
				n[e.Kind]++
				last = a.dayOf(e.At).Words()
			}
		}
		cells := []string{a.Clock.Name}
		for _, k := range kinds {
			cells = append(cells, cmp.Or(strings.TrimPrefix(fmt.Sprint(n[k]), "0"), "–"))
		}
		t.row(a.Clock.Slug, "", append(cells, cmp.Or(last, "none is logged"))...)
	}
	s.add(t)
	s.note("Times that are logged, from %s to %s. Who did each, and when, stands in the condition report of the clock.", f.from.Words(), f.to.Words())
	return s
}

// soon holds what falls due, winding left out.
func (f fleetPaper) soon() ReportSection {
	s := ReportSection{Head: fmt.Sprintf("Due within %d days, beside winding", soonDays)}
	t := soonTable(true)
	for i := range f.s.Clocks {
		a := &f.s.Clocks[i]
		soonRows(&t, f.s, a, []string{a.Clock.Name})
	}
	s.add(t)
	for i := range f.s.Clocks {
		if a := &f.s.Clocks[i]; a.Site.Access != "" {
			line := fmt.Sprintf("Access to %s: %s", a.Site.Name, a.Site.Access)
			if !slices.Contains(s.Notes, line) {
				s.note("%s", line)
			}
		}
	}
	return s
}

// unchecked says of each clock what nobody looked at.
func (f fleetPaper) unchecked() ReportSection {
	s := ReportSection{Head: "What was not checked"}
	t := ReportTable{}
	for i := range f.s.Clocks {
		a := &f.s.Clocks[i]
		lines := notChecked(a, f.pasts[i], f.from)
		if lines = lines[:len(lines)-1]; len(lines) > 0 { // the last holds for all
			t.row(a.Clock.Slug, "", a.Clock.Name, strings.Join(lines, " "))
		}
	}
	s.add(t)
	s.say("Teeth, pallets, dials, hands and the buildings are not part of these figures.")
	return s
}

// close says what the figures mean, and what they do not.
func (f fleetPaper) close() ReportSection {
	return ReportSection{Head: "How to read this", Notes: []string{f.sums.Words(), noPromise}}
}
