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
			n.why = "it is locked: " + strings.TrimSuffix(strings.TrimSuffix(t.Reason, onlyThey), ". ")
			if l, ok := a.lockOf(t); ok {
				n.why = "it is locked, " + clause(l)
			}
			n.what = n.why
		case t.Kind == Mending:
			n.what, n.why = a.foundWords(t)
		case t.Kind == LineAge:
			n.why = fmt.Sprintf("the %s %s to be replaced by %s for its age", t.About, map[bool]string{true: "was", false: "is"}[t.Due.Before(a.dayOf(a.Now))], t.Due.Words())
			n.what = "new " + t.About + ", for its age"
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
			n = a.bearingNeed(t, &o)
		default:
			continue
		}
		n.when = cmp.Or(n.when, needWhen(t))
		out = append(out, n)
	}
	for i := range a.Outlooks { // on the way to a limit, and nothing is asked for yet
		o := &a.Outlooks[i]
		if told[o.Bearing.Code] || !o.Dated || !o.Early.Before(until) || a.Resting && a.Back.IsZero() {
			continue
		}
		t := Task{Clock: a.Clock.Slug, Kind: NearLimit, Subject: o.Bearing.Code, About: NameOf(o.Bearing.Name, o.Arbor.Name), State: Ahead,
			Due: o.Early, Latest: o.Likely, Rank: Plain, Minutes: usualMinutes[NearLimit], Reason: o.Sentence}
		out = append(out, a.bearingNeed(t, o))
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

// longestSaid is how much of a note of an inspection leads a report (judgement, no
// source).
const longestSaid = 60

// foundWords say what inspections found to act on: in few words, and in a clause.
func (a *Assessment) foundWords(t Task) (what, why string) {
	of, said, when := "", "", ""
	if t.About != "" {
		of = " at the " + t.About
	}
	for _, f := range a.Findings {
		if f.About != t.About {
			continue
		}
		if note := lastOf(f.Said).Note; note != "" {
			said = " (“" + shortened(note, longestSaid) + "”)"
		}
		when = " on " + f.Last.Words()
		if f.Since != f.Last {
			when = ", first on " + f.Since.Words() + " and last" + when
		}
	}
	return "what inspections found to act on" + of + said + when, "inspections found something to act on" + of + said + when
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
		n.when = o.Early.MonthWords() + " to " + o.Late.MonthWords()
		n.why = fmt.Sprintf("the %s is likely to reach its limit%s between %s and %s (last read %s)", name, limit, o.Early.MonthWords(), o.Late.MonthWords(), read)
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
		return fmt.Sprintf("%s needs money first: %s.", clocks[0][0].a.Clock.Name, whyOf(clocks[0]))
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
