package schedule

import (
	"slices"
	"time"

	"endshake/wear"
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
		return append([]Task{*l.Task}, l.With...)
	}
	var out []Task
	for _, a := range l.Clocks {
		for _, t := range a.Tasks {
			if l.asks(t) {
				out = append(out, t)
			}
		}
	}
	sortLarge(out, Pressing)
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
	case ReadAgain, LimitReminder:
		return (t.Kind == Measuring || t.Kind == NearLimit) && l.Outlook != nil && t.Subject == l.Outlook.Bearing.Code
	case ChangeWeek:
		return t.Kind == TimeChange && t.State != Resting
	}
	return false
}

// declineLife is how long a letter's link to have no more of its kind holds:
// longer than an answer is taken, for what is kept in a mailbox is read late
// (judgement, no source).
const declineLife = 2 * passLife

// windsAll reports whether a letter asks for the winding of several trains, and
// of all that its clock has to wind: then one answer can tell of them all.
func (l Letter) windsAll() bool {
	if l.Kind != WindReminder || l.Task == nil || len(l.With) == 0 || len(l.Clocks) != 1 {
		return false
	}
	return len(l.Clocks[0].Clock.handWound()) == 1+len(l.With)
}

// handWound are the trains of a clock that somebody winds.
func (c Clock) handWound() []wear.Train {
	return slices.DeleteFunc(slices.Clone(c.Trains), func(t wear.Train) bool { return t.Drive != wear.HandWound })
}

// Offers are the passes that a letter carries, without their tokens: one to
// answer each of its tasks that can be answered so, before them one for the
// letter as a whole where it has such tasks and others, and one to have no more of
// its kind. notice is the ID of the notice that it becomes.
func (l Letter) Offers(notice string, now time.Time) []Pass {
	made := func(deed Deed, life time.Duration) Pass {
		return Pass{Deed: deed, Notice: notice, Person: l.Person.Slug, Made: now, Ends: now.Add(life)}
	}
	var out []Pass
	tasks := l.Tasks()
	for _, t := range tasks {
		i := slices.IndexFunc(l.Clocks, func(a Assessment) bool { return a.Clock.Slug == t.Clock })
		if i < 0 {
			continue
		}
		p := made(Answering, passLife)
		p.Clock, p.Task, p.Subject = t.Clock, t.Kind, t.Subject
		if len(p.Choices(l.Clocks[i])) > 0 {
			out = append(out, p)
		}
	}
	if len(out) > 0 && len(tasks) != 1 {
		whole := made(Answering, passLife)
		if l.windsAll() {
			whole.Clock, whole.Task = l.Task.Clock, Winding
		}
		out = slices.Insert(out, 0, whole)
	}
	no := made(Declining, declineLife)
	no.Kind = l.Kind
	return append(out, no)
}
