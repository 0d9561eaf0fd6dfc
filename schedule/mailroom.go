package schedule

import (
	"slices"
	"time"
)

// MailRoom is what letters hang on beside the fleet and its log.
type MailRoom struct {
	// Since is when mail was first switched on: letters of before it are not
	// owed.
	Since time.Time
	// Declined is what people declined by a letter's own link.
	Declined []Decline
	// Stopped are the addresses that nothing is sent to any more.
	Stopped []string
	// Trouble is what did not reach its reader, for the weekly letter.
	Trouble Trouble
	// AtOnce: hours and days are not waited for, and what was before Since is
	// owed too. For the first letters of a demo.
	AtOnce bool
}

// Decline is a kind of mail that a person will have no more of.
type Decline struct {
	Person string // Person.Slug
	Kind   NoticeKind
	At     time.Time
}

// Tasks are the tasks that a letter asks its reader for, the most pressing
// first: those that are answered with it.
func (l Letter) Tasks() []Task {
	if l.Task != nil {
		return []Task{*l.Task}
	}
	var out []Task
	for _, a := range l.Clocks {
		for _, t := range a.Tasks {
			if l.asks(t) {
				out = append(out, t)
			}
		}
	}
	slices.SortStableFunc(out, Pressing)
	return out
}

// soonAsked is how many days ahead a due-list asks for work (judgement, no
// source).
const soonAsked = 30

// asks reports whether a letter without a task of its own asks for one.
func (l Letter) asks(t Task) bool {
	switch l.Kind {
	case DueList:
		return t.State != Resting && (t.State != Ahead || !t.Due.After(l.Today.Add(soonAsked)))
	case ReadAgain:
		return t.Kind == Measuring && l.Outlook != nil && t.Subject == l.Outlook.Bearing.Code
	case ChangeWeek:
		return t.Kind == TimeChange && t.State != Resting
	}
	return false
}
