package mail

import (
	"fmt"
	"strings"

	"endshake/schedule"
)

// standing puts the letter about a clock that stands, may stand, or was locked
// into words.
func (w writing) standing() (content, error) {
	v, l := w.card(), w.l
	a, e := l.Clocks[0], l.Entry
	v.Act, v.Figures, v.Head = true, "What is logged", v.Clock
	v.Title, v.Sentence = w.standWords(v.Clock)
	w.n.Title = v.Title
	if e != nil {
		v.Rows = append(v.Rows, pair{"Entry", entryWords(l, a, *e)})
		v.Rows = rowsOf(v.Rows, pair{"Note", clean(e.Note)})
		if e.Kind == schedule.Stopped && !e.Until.IsZero() {
			v.Rows = append(v.Rows, pair{"To go again", e.Until.Words()})
		}
	}
	if len(a.Locks) == 0 && v.Sentence != clean(a.Status) {
		v.Rows = rowsOf(v.Rows, pair{"Status", clean(a.Status)})
	}
	if t := l.Task; t != nil {
		w.n.Subject = t.Subject
		v.Rows = rowsOf(v.Rows, pair{"Due", dueIn(*t)}, pair{"Why", clean(t.Reason)}, pair{"How sure", clean(t.Confidence)})
	}
	v.Actions = w.standActions(a)
	return w.render("card", v, nil)
}

// standWords are the subject and the one thing to know.
func (w writing) standWords(clock string) (title, sentence string) {
	a, e := w.l.Clocks[0], w.l.Entry
	switch {
	case e != nil && e.Kind == schedule.Stopped:
		since := e.At
		if !e.Since.IsZero() {
			since = e.Since
		}
		stands, cause := "has stopped", string(e.Cause)
		if e.Cause.Deliberate() {
			stands = "was stopped"
		}
		if cause == "" || e.Cause == schedule.NotKnown {
			cause = "the cause is not known"
		}
		what := clock
		if t, ok := a.Clock.Train(e.Train); ok {
			what = "The " + name(schedule.NameOfTrain(t)) + " of " + clock
		}
		return fmt.Sprintf("%s %s: %s", clock, stands, clean(cause)),
			fmt.Sprintf("%s %s (%s). It stands since %s.", what, stands, clean(cause), instantWords(a, since))
	case len(a.Locks) > 0:
		k := a.Locks[len(a.Locks)-1]
		for _, l := range a.Locks {
			if e != nil && l.Entry == e.ID {
				k = l
			}
		}
		return fmt.Sprintf("%s is locked: %s", clock, clean(string(k.Kind))),
			fmt.Sprintf("%s was locked on %s: nobody may %s until the conservator or the clockmaker clears it by name.", clock, dayWords(k.Since), locked(k.Kind))
	}
	if t := w.l.Task; t != nil && t.Kind == schedule.PowerCheck {
		return clock + " may have stopped: a power cut", schedule.Capital(strings.TrimSuffix(clean(t.Reason), ".")) + "."
	}
	if t := w.l.Task; t != nil && len(a.Clock.Trains) > 1 {
		if st, ok := a.Train(t.Subject); ok && !st.Wind.Stops.IsZero() {
			about := name(schedule.NameOfTrain(st.Train))
			return fmt.Sprintf("%s: the %s may have stopped", clock, about),
				fmt.Sprintf("By its last logged wind the %s of %s stopped about %s, unless somebody wound it and did not write it down.", about, clock, instantWords(a, st.Wind.Stops))
		}
	}
	return clock + " may have stopped", clean(a.Status)
}

// locked is what a lock forbids.
func locked(k schedule.LockKind) string {
	if k == schedule.DoNotEnter {
		return "go in"
	}
	return "run it"
}

// entryWords says what was logged, when, and by whom.
func entryWords(l schedule.Letter, a schedule.Assessment, e schedule.Entry) string {
	out := string(e.Kind)
	if t, ok := a.Clock.Train(e.Train); ok {
		out += ", " + name(schedule.NameOfTrain(t))
	}
	out += ", " + instantWords(a, e.At)
	if e.By != "" {
		out += ", by " + readerName(l, e.By)
	}
	return clean(out)
}

// standActions says what to do about a clock that stands.
func (w writing) standActions(a schedule.Assessment) []action {
	t := w.l.Task
	switch {
	case len(a.Locks) > 0:
		return []action{{What: "Touch nothing, and tell whoever has a key", How: "The caution above holds until the lock is cleared."}}
	case t != nil:
		return []action{{What: schedule.Capital(clean(t.What())), How: firstStep(*t), Caution: clean(t.Caution), Ask: w.ask(a, *t)}}
	case w.l.Entry == nil:
		return []action{{What: "Telephone somebody who can see the dial", How: "If it goes, ask who wound it, and log that. If not, log since when it stands.", Caution: cautionFor(a, schedule.Winding)}}
	}
	return []action{{What: "Agree who looks at it, and when", How: "Log what you find, and the start when it goes again.", Caution: cautionFor(a, schedule.Inspection)}}
}

// cautionFor is the caution of a kind of work on a clock.
func cautionFor(a schedule.Assessment, kind schedule.TaskKind) string {
	return clean(schedule.Caution(kind, a.Site, a.Clock.Cautions))
}
