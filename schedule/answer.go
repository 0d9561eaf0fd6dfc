package schedule

import (
	"time"

	"endshake/wear"
)

// Said is what an answer says of a task.
type Said string

// What may be said. Which of them fit a task, [Pass.Choices] tells.
const (
	SaidDone    Said = "done"     // as asked: wound, oiled, cleared the season's work
	SaidWell    Said = "all well" // looked over, and nothing found
	SaidRead    Said = "reading"  // measured, with the reading
	SaidStopped Said = "stopped"  // found stopped, or stopped it
	SaidNot     Said = "not done" // with the reason
)

// Answer is what somebody says of one task, by a page or a reply.
type Answer struct {
	Said Said
	// Because is the reason of what was not done, or what they wrote beside it.
	Because string
	Reading *wear.Reading // SaidRead
	Cause   StopCause     // SaidStopped; empty: not known
	At      time.Time     // when; zero: now
}

// Choices are what may be said of the task of a pass, the likeliest first;
// none where only a form of the pages can hold what there is to say.
func (p Pass) Choices(a Assessment) []Said { return nil }

// Open says in one sentence why a pass for an answer can be used no more: it
// ended, its task was done by somebody since, or its holder has no duty for the
// clock now. Nil: it can.
func (p Pass) Open(a Assessment, now time.Time) error { return nil }

// Entry is what an answer comes to in the log, with a Key that has a second use
// of the same pass for the same find the first. A *Error where it cannot be.
func (p Pass) Entry(ans Answer, a Assessment, now time.Time) (Entry, error) { return Entry{}, nil }
