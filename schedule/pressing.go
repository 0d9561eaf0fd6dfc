package schedule

import (
	"cmp"
	"slices"
	"time"
)

// stopsSoon is how long before a train is likely to stop its winding presses, at
// most; one of a short run presses for a third of it
// (judgement, no source).
const stopsSoon = 48 * time.Hour

// Pressing orders tasks as a conservator would act: danger first, then what
// may have stopped or stops soon, then what was found to act on, what is at its
// limit, and what is late; the rest by state, and all by their last good day.
func Pressing(a, b *Task) int {
	first := func(t *Task) int { // of danger, what is in force before what is suspected
		if t.Rank == Danger && t.Kind == Locked {
			return 0
		}
		return 1
	}
	if c := cmp.Compare(a.Rank, b.Rank); c != 0 { // which is most often the answer
		return c
	}
	return cmp.Or(cmp.Compare(first(a), first(b)),
		cmp.Compare(b.Excess, a.Excess),
		cmp.Compare(slices.Index(TaskStates, a.State), slices.Index(TaskStates, b.State)),
		a.Latest.compare(b.Latest), cmp.Compare(a.Clock, b.Clock),
		cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.Subject, b.Subject))
}

// Heading is what a task stands under in the due-list: its rank, or where that
// is none, its state.
func (t Task) Heading() string { return cmp.Or(RankWords[t.Rank], string(t.State)) }

// rankOf is how a task presses. What is ahead or rests presses nobody.
func (a *Assessment) rankOf(t Task) Rank {
	switch t.State {
	case Resting, Ahead:
		if t.Kind != Locked {
			return Plain
		}
	}
	now := t.State == Due || t.State == Late
	switch t.Kind {
	case Locked:
		return Danger
	case Winding:
		st, ok := a.Train(t.Subject)
		switch {
		case ok && st.Wind.Past:
			return MayHaveStopped
		case ok && st.Going && (!st.RunsDown.IsZero() && st.RunsDown.Sub(a.Now) <= min(stopsSoon, st.Train.Run()/3) || st.Wind.Lost != ""):
			return StopsSoon
		}
	case PowerCheck:
		return MayHaveStopped
	case NearLimit:
		o, _ := a.Outlook(t.Subject)
		if o.Over && o.Stop != nil && o.Known && o.Level.Mean >= o.Stop.Size.MM() {
			return Danger
		}
		if now {
			return AtLimit
		}
	case LineAge:
		if now {
			return AtLimit
		}
	}
	if t.State == Late {
		return PastItsDay
	}
	return Plain
}

// usualMinutes is how long a job takes where no policy says (judgement, no
// source): the hands on the clock alone, without the way there.
var usualMinutes = map[TaskKind]int{
	Winding: 15, Oiling: 90, Inspection: 45, Measuring: 60, NearLimit: 480, Mending: 120, Locked: 120, LineLook: 30, LineAge: 300,
	Visiting: 180, Setting: 20, TimeChange: 60, Seasonal: 30, PowerCheck: 20, Restart: 60,
}

// nextSteps is the cheapest next step for each kind of task, where the task
// itself knows none better.
var nextSteps = map[TaskKind]string{
	Winding:    "Wind it, and log the turns.",
	Oiling:     "Wipe a pivot and look: clean, darkened, gummed or dry? Log what you find even if you do not oil.",
	Inspection: "Look and listen for five minutes, and log what you find.",
	Measuring:  "Take one reading with the same gauge as last time.",
	Mending:    "Read what the inspection wrote, and agree with the clockmaker on a day.",
	Locked:     "Ask who put the lock on what they saw.",
	LineLook:   "Feel the line with a gloved hand over its whole length while it is wound.",
	LineAge:    "Ask for a price for a new line in good time.",
	Visiting:   "Ask the clockmaker for a day.",
	Setting:    "Hear the hour against a telephone's clock, and log the error.",
	TimeChange: "Agree with whoever lets you in.",
	Seasonal:   "Ask whoever is next in the building to do it.",
	PowerCheck: "Telephone somebody who can see the dial.",
	Restart:    "Ask whoever found it what they saw and heard, and look before anything is touched.",
}

// complete fills in what a task left open: rank, evidence, next step, length.
func (a *Assessment) complete(t *Task) {
	if t.Rank == 0 {
		t.Rank = a.rankOf(*t)
	}
	if t.Next == "" {
		t.Next = nextSteps[t.Kind]
	}
	if t.Minutes == 0 {
		t.Minutes = usualMinutes[t.Kind]
		if p, ok := a.behind(*t); ok && p.Minutes > 0 {
			t.Minutes = p.Minutes
		}
	}
	if t.Evidence == "" {
		t.Evidence = a.evidence(*t)
	}
}

// behind is the policy that a task comes of, if one does.
func (a *Assessment) behind(t Task) (Policy, bool) {
	switch t.Kind {
	case LineLook:
		i := slices.IndexFunc(a.Clock.Care.Lines, func(l Line) bool { return l.Code == t.Subject })
		if i < 0 {
			return Policy{}, false
		}
		return a.Clock.linePolicy(a.Clock.Care.Lines[i])
	case Oiling, Inspection, Visiting:
		i := slices.IndexFunc(a.Clock.Policies, func(p Policy) bool {
			code, _ := a.subjectOf(p)
			return p.Task == t.Kind && code == t.Subject
		})
		if i < 0 {
			return Policy{}, false
		}
		return a.Clock.Policies[i], true
	}
	if _, _, train, ok := a.Clock.Bearing(t.Subject); ok {
		return a.Clock.policy(t.Kind, train.Code, t.Subject)
	}
	return a.Clock.policy(t.Kind, t.Subject, "")
}

// answer is the last entry that bears on a task; nil: none.
func (a *Assessment) answer(t Task) *Entry {
	_, _, train, _ := a.Clock.Bearing(t.Subject)
	kinds := answers[t.Kind]
	return newest(a.Entries, func(e *Entry) bool {
		return slices.Contains(kinds, e.Kind) && (t.Subject == "" || e.Bearing == t.Subject || e.Line == t.Subject && e.Line != "" ||
			e.Bearing == "" && e.Line == "" && (e.concerns(t.Subject) || e.concerns(train.Code) && train.Code != ""))
	})
}

// evidence is the last entry that bears on a task, in words.
func (a *Assessment) evidence(t Task) string {
	switch t.Kind {
	case Measuring, NearLimit, TimeChange, Inspection, Visiting: // always said here
		if was := a.reuse.task(t.Kind, t.Subject); was != nil && a.sameLog() {
			return was.Evidence
		}
	}
	e := a.answer(t)
	if e == nil {
		return "nothing is logged of it; it rests on the clock's description"
	}
	return string(e.Kind) + " on " + a.dayOf(e.At).Words()
}

// answers are the kinds of entry that bear on a kind of task.
var answers = map[TaskKind][]EntryKind{
	Winding: {Wound}, Oiling: {Oiled, Cleaned, Inspected}, Inspection: {Inspected}, Measuring: {Measured, Repaired},
	NearLimit: {Measured, Repaired}, Mending: {Inspected}, Locked: {Noted, Inspected}, LineLook: {Inspected, Repaired}, LineAge: {Repaired},
	Visiting: {Inspected}, Setting: {Set, Regulated, Wound, Inspected, Noted}, TimeChange: {Set}, Seasonal: {Noted, Inspected},
	PowerCheck: {Noted, Started, Inspected}, Restart: {Stopped},
}
