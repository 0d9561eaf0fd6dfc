package schedule

import (
	"fmt"
	"slices"
	"strings"
)

// Finding is something that an inspection found to act on, and that nothing in
// the log has mended since.
type Finding struct {
	Since Date   // found first
	Last  Date   // and last, the same day where once only
	About string // the train or bearing in words; empty: the whole clock
	Note  string // what the last of those inspections wrote of it, on one line; empty: nothing

	train, bearing string // codes; empty: the whole clock, the whole train
	entry          string // Entry.ID of the last
}

// longestFound is how much of a note stands with a finding; the rest is in the log.
const longestFound = 120

// findings are what is to act on, the oldest first. Each thing (the whole clock, a
// train, a bearing) is held apart, and is open until (judgement, no source):
//
//   - its repair or cleaning is logged: a repair of a bearing is one of that
//     bearing and of its train, but not of a clock of which no part was named; or
//   - an inspection of the very same thing finds less, by somebody who does more
//     than wind or own the clock, with a note: the note says why it is no longer
//     so, also where what was mended is neither bearing nor line.
//
// Another look that says "sound" and no more takes nothing back, for it may not
// have seen it; nor do an oiling and a regulation, which are routine.
func findings(a *Assessment) []Finding {
	var open []Finding
	for i := range a.Entries {
		e := &a.Entries[i]
		switch {
		case e.Kind == Repaired || e.Kind == Cleaned:
			open = slices.DeleteFunc(open, func(f Finding) bool { return a.mends(e, f) })
		case e.Kind != Inspected || e.Found == "" || e.Line != "" && !e.Visit: // a look at a line is the line's
		case e.Found == Act:
			open = a.found(open, e)
		case strings.TrimSpace(e.Note) != "" && a.overlooks(e):
			train := a.trainCodeOf(e)
			open = slices.DeleteFunc(open, func(f Finding) bool { return f.train == train && f.bearing == e.Bearing })
		}
	}
	return open
}

// found takes in one that an inspection found, beside those that are open.
func (a *Assessment) found(open []Finding, e *Entry) []Finding {
	f := Finding{Since: a.dayOf(e.At), Last: a.dayOf(e.At), Note: Visible(e.Note), train: a.trainCodeOf(e), bearing: e.Bearing, entry: e.ID}
	if i := slices.IndexFunc(open, func(x Finding) bool { return x.train == f.train && x.bearing == f.bearing }); i >= 0 {
		f.Since = open[i].Since
		if f.Note == "" {
			f.Note = open[i].Note
		}
		open[i] = f
		return open
	}
	_, f.About = a.subjectOf(Policy{Train: f.train, Bearing: f.bearing})
	return append(open, f)
}

// trainCodeOf is the train that an entry is about, by its bearing where it names
// that alone; empty: the whole clock.
func (a *Assessment) trainCodeOf(e *Entry) string {
	if _, _, t, ok := a.Clock.Bearing(e.Bearing); ok && e.Bearing != "" {
		return t.Code
	}
	return e.Train
}

// mends reports whether a repair or a cleaning is of what was found.
func (a *Assessment) mends(e *Entry, f Finding) bool {
	switch {
	case f.train == "": // no part was named: mending one of them may not have been it
		return e.Kind == Cleaned && e.Bearing == "" && e.Line == "" && e.Train == ""
	case f.bearing != "" && e.Kind == Repaired:
		return e.Bearing == f.bearing
	case e.Line != "":
		l, ok := a.Clock.line(e.Line)
		return ok && l.Train == f.train && f.bearing == ""
	case e.Kind == Cleaned && e.Bearing != "" && f.bearing != "":
		return e.Bearing == f.bearing
	}
	train := a.trainCodeOf(e)
	return train == "" || train == f.train
}

// overlooks reports whether an entry is by somebody who may say that what another
// found is sound: whoever only winds or owns the clock may not. A name that has no
// duty for it now had one once, or runs the fleet.
func (a *Assessment) overlooks(e *Entry) bool {
	other := true
	for _, d := range a.Clock.Duties {
		if d.Person != e.By {
			continue
		}
		if d.Role != Winder && d.Role != Owner {
			return true
		}
		other = false
	}
	return other
}

// Words say what is to act on, in one sentence.
func (f Finding) Words() string {
	what := "something"
	if f.About != "" {
		what = "the " + f.About
	}
	out := fmt.Sprintf("The inspection of %s found %s to act on", f.Last.Words(), what)
	if f.Since != f.Last {
		out += ", first found on " + f.Since.Words()
	}
	if note := []rune(f.Note); len(note) > longestFound {
		out += " (“" + strings.TrimSpace(string(note[:longestFound])) + " …”)"
	} else if len(note) > 0 {
		out += " (“" + f.Note + "”)"
	}
	return out + ", and no repair or cleaning of it is logged since."
}

// mendings ask for the work on what was found.
func mendings(a *Assessment) []Task {
	var out []Task
	for _, f := range a.Findings {
		t := Task{
			Kind: Mending, From: f.Since, Due: f.Since, Latest: f.Since.Add(usual[Mending].grace), Rank: ToAct,
			Reason: strings.TrimSuffix(f.Words(), ".") + "; it is asked for until its repair or cleaning is logged, or an inspection of the same finds it sound and says why in its note",
			Source: "judgement, no source", Confidence: "firm: found on " + f.Since.Words(), Evidence: "inspected on " + f.Last.Words(),
		}
		t.Subject, t.About = a.subjectOf(Policy{Train: f.train, Bearing: f.bearing})
		out = append(out, t)
	}
	return out
}
