package schedule

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"endshake/wear"
)

// moneyNeed is something about a clock that nobody mends without money: a lock, what an
// inspection found to act on, a bearing at its limit or on the way there, a line that
// comes to its age, a stop by a fault.
type moneyNeed struct {
	a    *Assessment
	o    *Outlook // of a bearing; else nil
	task Task     // orders it beside others
	why  string   // a clause: "the fly arbor, front bush is past its limit of ..."
	what string   // the same in few words, without when: for a table
	when string
	sure string
	// unsure: a reading is past a limit and none confirms it yet, so that money is not
	// what it asks for first.
	unsure bool
}

// needs are those of some clocks up to a day, the most pressing first.
func (s *Snapshot) needs(until Date) []moneyNeed {
	var out []moneyNeed
	for i := range s.Clocks {
		out = append(out, s.Clocks[i].needs(until)...)
	}
	slices.SortStableFunc(out, func(x, y moneyNeed) int { return Pressing(&x.task, &y.task) })
	return out
}

// needs are those of one clock, as they come.
func (a *Assessment) needs(until Date) []moneyNeed {
	var out []moneyNeed
	told := map[string]bool{}
	locked := len(a.Locks) > 0
	for i := range a.Tasks {
		t := a.Tasks[i]
		if t.State == Resting || t.Rank == Plain && !t.Due.Before(until) {
			continue
		}
		n := moneyNeed{a: a, task: t, sure: t.Confidence}
		switch {
		case t.Kind == Locked:
			var line string
			if n, line = a.lockNeed(t); line != "" {
				if told["line "+line] {
					continue
				}
				told["line "+line] = true
			}
		case a.lineTold(t): // its lock says it
			continue
		case t.Kind == Mending:
			n.what, n.why = a.foundWords(t)
		case t.Kind == LineAge:
			n.why = fmt.Sprintf("the %s %s to be replaced by %s for its age", t.About, map[bool]string{true: "was", false: "is"}[t.Due.Before(a.dayOf(a.Now))], t.Due.Words())
			n.what, n.task.Latest = "new "+t.About+", for its age", t.Due // one day, not two
		case t.Kind == LineLook && t.Rank == Danger && !locked:
			n.why = fmt.Sprintf("the %s is damaged (found on %s)", t.About, t.Due.Words())
			n.what = n.why
		case t.Kind == Restart && a.faulty():
			n.why = "it stands since " + t.From.Words() + ", stopped by a fault"
			n.what = n.why
		case t.Kind == NearLimit:
			o, ok := a.Outlook(t.Subject)
			if !ok {
				continue
			}
			told[t.Subject] = true
			if n = a.bearingNeed(t, &o); o.readAbove() && !o.Over {
				n = a.unconfirmed(&o)
			}
		default:
			continue
		}
		n.when = cmp.Or(n.when, needWhen(n.task))
		out = append(out, n)
	}
	return append(out, a.comingNeeds(until, told)...)
}

// comingNeeds are the bearings that are on the way to a limit up to a day, or past it
// by a reading that none confirms, where no task was told that asks for the work.
func (a *Assessment) comingNeeds(until Date, told map[string]bool) []moneyNeed {
	var out []moneyNeed
	for i := range a.Outlooks { // on the way to a limit, and nothing is asked for yet
		o := &a.Outlooks[i]
		t := Task{Clock: a.Clock.Slug, Kind: NearLimit, Subject: o.Bearing.Code, About: NameOf(o.Bearing.Name, o.Arbor.Name), State: Ahead,
			Due: o.Early, Latest: o.Likely, Rank: Plain, Minutes: usualMinutes[NearLimit], Reason: o.Sentence}
		if t.Due.IsZero() {
			t.Due, t.Latest = o.Measure, o.Measure
		}
		switch {
		case told[o.Bearing.Code] || a.Resting && a.Back.IsZero():
		case o.readAbove() && !o.Over:
			out = append(out, a.unconfirmed(o))
		case o.Dated && o.Early.Before(until), o.Limit != nil && (wearing{Outlook: o, maybe: o.perhaps()}).reached(until) >= leastChance:
			out = append(out, a.bearingNeed(t, o))
		}
	}
	return out
}

// lockOf is the lock that a task asks to have cleared.
func (a *Assessment) lockOf(t Task) (Lock, bool) {
	i := slices.IndexFunc(a.Locks, func(l Lock) bool { return l.Since == t.Due && strings.HasPrefix(t.Reason, l.Words()) })
	if i < 0 {
		return Lock{}, false
	}
	return a.Locks[i], true
}

// faulty reports that the clock stands by a fault.
func (a *Assessment) faulty() bool {
	stop, ok := lastStop(a)
	return ok && stop.Cause == Fault
}

// lockNeed is what clears a lock, with the code of the line that it is about: a line
// that is damaged wants to be renewed, or cleared by the trade; else the code is empty.
func (a *Assessment) lockNeed(t Task) (n moneyNeed, line string) {
	n = moneyNeed{a: a, task: t, sure: t.Confidence}
	n.why = "it is locked: " + strings.TrimSuffix(strings.TrimSuffix(t.Reason, onlyThey), ". ")
	l, ok := a.lockOf(t)
	if ok {
		n.why = "it is locked, " + clause(l)
	}
	if s, damaged := a.lineOf(l); ok && damaged {
		line = s.Line.Code
		n.why = s.Line.name() + ", to be cleared or renewed"
		if s.Past {
			n.why = "new " + s.Line.name()
		}
		n.why += fmt.Sprintf(": %s, locked, %s", strings.TrimSuffix(l.Why, " ("+s.Line.name()+")"), l.Kind)
		n.task.Minutes = usualMinutes[LineAge]
		for _, t := range a.Tasks {
			if t.Kind == LineAge && t.Subject == line {
				n.task.Minutes = t.Minutes
			}
		}
	}
	n.what = n.why
	return n, line
}

// lineOf is the damaged line that a lock is about.
func (a *Assessment) lineOf(l Lock) (LineState, bool) {
	i := slices.IndexFunc(a.Entries, func(e Entry) bool { return e.ID == l.Entry && l.Entry != "" && e.Kind == Inspected })
	if i < 0 {
		return LineState{}, false
	}
	return a.damagedLine(a.Entries[i].Line)
}

// lineTold reports that what a task asks of a line is told with its lock.
func (a *Assessment) lineTold(t Task) bool {
	return (t.Kind == LineAge || t.Kind == LineLook) && slices.ContainsFunc(a.Locks, func(l Lock) bool {
		s, ok := a.lineOf(l)
		return ok && s.Line.Code == t.Subject
	})
}

// fewFound is how much of what an inspection wrote stands in the order.
const fewFound = 90

// foundWords say what inspections found to act on, in their own words: shortly, and
// in a clause.
func (a *Assessment) foundWords(t Task) (what, why string) {
	of := ""
	if t.About != "" {
		of = " at the " + t.About
	}
	last, notes := "", []string(nil)
	for _, f := range a.Findings {
		if f.About != t.About {
			continue
		}
		last = " (on " + f.Last.Words() + ")"
		if f.Since != f.Last {
			last = " (first on " + f.Since.Words() + ", last on " + f.Last.Words() + ")"
		}
		for _, s := range slices.Backward(f.Said) {
			if s.Note != "" && len(notes) < mostReasons {
				notes = append(notes, "“"+shortened(strings.TrimRight(s.Note, ". "), fewFound)+"”")
			}
		}
	}
	if len(notes) == 0 {
		return "what inspections found to act on, in no words" + of + last, "inspections found something to act on, and no words are logged of it" + of + last
	}
	return "what inspections found" + of + ": " + strings.Join(notes, "; ") + last, "inspections found" + of + " " + strings.Join(notes, " and ") + last
}

// unconfirmed asks for another reading of a bearing of which the last one is past its
// limit while all others speak against that.
func (a *Assessment) unconfirmed(o *Outlook) moneyNeed {
	name, today := NameOf(o.Bearing.Name, o.Arbor.Name), a.dayOf(a.Now)
	t := Task{Clock: a.Clock.Slug, Kind: Measuring, Subject: o.Bearing.Code, About: name, Minutes: usualMinutes[Measuring], Reason: o.Sentence}
	for _, x := range a.Tasks {
		if x.Kind == Measuring && x.Subject == o.Bearing.Code {
			t = x
		}
	}
	t.State, t.Rank, t.Due, t.Latest = Due, AtLimit, o.Measure, o.Measure
	again, when := "read it again by "+o.Measure.Words(), "by "+o.Measure.Words()
	if o.Measure.Before(today) {
		again, when = "read it again now", "now"
	}
	value, limit := lastOf(lastOf(o.Parts).Readings).Reading.Value, o.Limit.Size
	return moneyNeed{a: a, o: o, task: t, sure: o.Confidence, unsure: true, when: when,
		what: fmt.Sprintf("%s: last reading %s is past the limit, not yet confirmed: %s", name, value, again),
		why:  fmt.Sprintf("the last reading of the %s, %s on %s, is past its limit of %s, not yet confirmed: %s", name, value, a.lastRead(o), limit, again),
	}
}

// bearingNeed is the work on a bearing.
func (a *Assessment) bearingNeed(t Task, o *Outlook) moneyNeed {
	name, limit, read := NameOf(o.Bearing.Name, o.Arbor.Name), "", a.lastRead(o)
	n := moneyNeed{a: a, o: o, task: t, sure: o.Confidence, what: "work on the " + name + " (last read " + read + ")"}
	if o.Limit != nil {
		limit = " of " + o.Limit.Size.String()
		if !o.Limit.Confirmed() {
			n.sure += "; the limit is a starting value, to be confirmed first"
		}
	}
	switch {
	case o.Over:
		word := "probably past its limit"
		if o.WithWork() {
			word = "past its limit"
		}
		n.why = fmt.Sprintf("the %s is %s%s, at %s by now (last read %s)", name, word, limit, levelWords(o), read)
		n.when = "now, " + o.past.short()
	case o.Dated:
		n.when = fmt.Sprintf("likely by %s (%s to %s)", o.Likely.MonthWords(), o.Early.MonthWords(), o.Late.MonthWords())
		if t.State == Due || t.State == Late {
			n.when = "plan it now; " + n.when
		}
		n.why = fmt.Sprintf("the %s is likely to reach its limit%s by %s, %s to %s (last read %s)", name, limit, o.Likely.MonthWords(), o.Early.MonthWords(), o.Late.MonthWords(), read)
	case !o.held:
		n.when = "not known; measure by " + o.Measure.Words()
		n.why = fmt.Sprintf("the %s may be at its limit%s, and its readings carry no date (last read %s): measure it by %s", name, limit, read, o.Measure.Words())
	default:
		n.why = fmt.Sprintf("the %s may be at its limit%s, and its readings are too old to tell (last read %s)", name, limit, read)
	}
	return n
}

// lastRead is the day on which the present part of a bearing was last read, in words.
func (a *Assessment) lastRead(o *Outlook) string {
	if n := len(o.Parts); n > 0 {
		if r := o.Parts[n-1].Readings; len(r) > 0 {
			return a.dayOf(r[len(r)-1].At).Words()
		}
	}
	return "never"
}

// levelWords are the sizes between which a bearing's lies in 8 cases of 10.
func levelWords(o *Outlook) string {
	low, high := wear.Hundredths(max(0, o.Level.Mean-tenth*o.Level.SD)), wear.Hundredths(o.Level.Mean+tenth*o.Level.SD)
	if low == high {
		return low.String()
	}
	return wear.Span(low, "to", high)
}

// needWhen says when the work of a task is wanted.
func needWhen(t Task) string {
	switch {
	case t.State == Late && t.Rank != Danger:
		return "now, due since " + t.Due.Words()
	case t.Rank < Plain || t.State == Due || t.State == Late:
		return "now"
	}
	return "by " + t.Latest.MonthWords()
}

// byClock puts needs under their clocks, in the order in which clocks come first.
func byClock(all []moneyNeed) [][]moneyNeed {
	var out [][]moneyNeed
	at := map[string]int{}
	for _, n := range all {
		i, ok := at[n.a.Clock.Slug]
		if !ok {
			i = len(out)
			at[n.a.Clock.Slug] = i
			out = append(out, nil)
		}
		out[i] = append(out[i], n)
	}
	return out
}

// mostReasons is how many reasons a sentence holds.
const mostReasons = 2

// whyOf joins the first reasons of one clock's needs in a clause.
func whyOf(of []moneyNeed) string {
	var out []string
	for _, n := range of[:min(mostReasons, len(of))] {
		out = append(out, n.why)
	}
	return strings.Join(out, "; ")
}

// firstWords say in one sentence which clock needs money first, and why.
func (s *Snapshot) firstWords(needs []moneyNeed) string {
	clocks := byClock(needs)
	if len(clocks) > 0 {
		name, of := clocks[0][0].a.Clock.Name, clocks[0]
		switch {
		case of[0].unsure:
			return fmt.Sprintf("%s comes first: %s.", name, whyOf(of))
		case !within(needs, s.Today()):
			return fmt.Sprintf("No clock needs money within a year, as far as is known; %s comes first, %s, because %s.", name, of[0].year(), whyOf(of))
		}
		return fmt.Sprintf("%s needs money first: %s.", name, whyOf(of))
	}
	read, unread := s.readings()
	if read == 0 {
		return fmt.Sprintf("No clock is known to need money beyond its usual care within %s, but no bearing was measured yet, so nothing tells how they wear.", Count(yearsAhead, "year", "years"))
	}
	out := fmt.Sprintf("No clock needs money beyond its usual care within %s, as far as the readings of %s tell", Count(yearsAhead, "year", "years"), Count(read, "bearing", "bearings"))
	if unread > 0 {
		out += fmt.Sprintf("; of %s nothing is known, for nobody measured them", Count(unread, "more bearing", "more bearings"))
	}
	return out + "."
}

// within reports that something may want money in the twelve months from a day.
func within(needs []moneyNeed, today Date) bool {
	year := Date{today.Year + 1, today.Month, today.Day}.Add(0)
	return slices.ContainsFunc(needs, func(n moneyNeed) bool {
		t := n.task
		return t.Rank < Plain || t.State == Due || t.State == Late || t.Due.Before(year)
	})
}

// year is that in which a need is likely to come.
func (n moneyNeed) year() string {
	if n.o != nil && n.o.Dated {
		return fmt.Sprintf("likely in %d", n.o.Likely.Year)
	}
	return fmt.Sprintf("in %d", n.task.Due.Year)
}

// readings count the bearings that were read since they were fitted, and the others.
func (s *Snapshot) readings() (read, unread int) {
	for i := range s.Clocks {
		a := &s.Clocks[i]
		for k := range a.Outlooks {
			if a.lastRead(&a.Outlooks[k]) == "never" {
				unread++
			} else {
				read++
			}
		}
	}
	return read, unread
}

// bearing is the code of the bearing that a need is about; empty: of none.
func (n moneyNeed) bearing() string {
	if n.o == nil {
		return ""
	}
	return n.o.Bearing.Code
}
