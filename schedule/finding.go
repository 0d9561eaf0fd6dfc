package schedule

import (
	"fmt"
	"slices"
	"strings"
)

// Finding is what inspections found to act on of one thing, and that nothing in
// the log has mended since.
type Finding struct {
	Since Date      // found first
	Last  Date      // and last, the same day where once only
	About string    // the train or bearing in words; empty: the whole clock
	Said  []Written // each in words of its own, the oldest first; never empty

	train, bearing string // codes; empty: the whole clock, the whole train
}

// Written is what one inspection wrote of a finding, or several in the same words.
type Written struct {
	Since, Last Date
	Note        string // on one line; empty: nothing
}

// longestFound is how much of a note stands with a finding; the rest is in the log.
const longestFound = 120

// findings are what is to act on, the oldest first. Each thing (the whole clock, a
// train, a bearing) is held apart, and is open until (judgement, no source):
//
//   - its repair or cleaning is logged: of a bearing its own, of a train or of the
//     whole clock a cleaning of all of it, for a new bush or a new line need not be
//     what was meant; or
//   - an inspection of the very same thing finds less, by somebody who does more
//     than wind or own the clock, with a note: the note says why it is no longer
//     so, also where what was mended is neither bearing nor line.
//
// Another look that says "sound" and no more takes nothing back, for it may not
// have seen it; nor do an oiling and a regulation, which are routine.
func findings(a *Assessment) []Finding {
	if was := a.but(); was != nil {
		return was.Findings
	}
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
	on := a.dayOf(e.At)
	said := Written{on, on, strings.TrimSpace(Visible(e.Note))}
	f := Finding{Since: on, Last: on, Said: []Written{said}, train: a.trainCodeOf(e), bearing: e.Bearing}
	i := slices.IndexFunc(open, func(x Finding) bool { return x.train == f.train && x.bearing == f.bearing })
	if i < 0 {
		_, f.About = a.subjectOf(Policy{Train: f.train, Bearing: f.bearing})
		return append(open, f)
	}
	was := &open[i]
	was.Last = on
	switch k := slices.IndexFunc(was.Said, func(x Written) bool { return x.Note == said.Note }); {
	case k >= 0:
		was.Said[k].Last = on
	case said.Note == "": // the same, for all it says
		was.Said[len(was.Said)-1].Last = on
	case len(was.Said) == 1 && was.Said[0].Note == "":
		was.Said[0].Note, was.Said[0].Last = said.Note, on
	default:
		was.Said = append(was.Said, said)
	}
	return open
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
	if e.Kind == Repaired || e.Bearing != "" || e.Line != "" { // work on one part
		return f.bearing != "" && e.Bearing == f.bearing
	}
	return e.Train == "" || e.Train == f.train
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
	if len(f.Said) == 1 {
		return fmt.Sprintf("The inspection of %s found %s to act on%s, and nothing is logged since that mends it.", f.Last.Words(), what, f.Said[0].more(", "))
	}
	var each []string
	for _, s := range f.Said[max(0, len(f.Said)-mostSaid):] {
		on := "on " + s.Last.Words()
		if s.Since != s.Last {
			on = "on " + s.Since.Words() + " and last on " + s.Last.Words()
		}
		each = append(each, on+Written{Note: s.Note}.more(""))
	}
	if n := len(f.Said) - len(each); n > 0 {
		each = append(each, Count(n, "other thing", "other things")+" before")
	}
	return fmt.Sprintf("Inspections found %s to act on, %s, and nothing is logged since that mends it.", what, strings.Join(each, "; "))
}

// mostSaid is how many of what was said of one thing a sentence holds, the newest.
const mostSaid = 4

// more is when something was found first, where that is another day, and what was
// written of it.
func (s Written) more(between string) string {
	out := ""
	if s.Since != s.Last {
		out = between + "first found on " + s.Since.Words()
	}
	if note := []rune(s.Note); len(note) > longestFound {
		out += " (“" + strings.TrimSpace(string(note[:longestFound])) + " …”)"
	} else if len(note) > 0 {
		out += " (“" + s.Note + "”)"
	}
	return out
}

// until says what answers a finding.
func (f Finding) until() string {
	switch {
	case f.bearing != "":
		return "until its repair or cleaning is logged"
	case f.train != "":
		return "until a cleaning of the whole train is logged"
	}
	return "until a cleaning of the whole clock is logged"
}

// mendings ask for the work on what was found.
func mendings(a *Assessment) []Task {
	var out []Task
	for _, f := range a.Findings {
		t := Task{
			Kind: Mending, From: f.Since, Due: f.Since, Latest: f.Since.Add(usual[Mending].grace), Rank: ToAct,
			Reason: strings.TrimSuffix(f.Words(), ".") + "; it is asked for " + f.until() + ", or an inspection of the same finds it sound and says in its note what was mended",
			Source: "judgement, no source", Confidence: "firm: found on " + f.Since.Words(), Evidence: "inspected on " + f.Last.Words(),
		}
		t.Subject, t.About = a.subjectOf(Policy{Train: f.train, Bearing: f.bearing})
		out = append(out, t)
	}
	return out
}
