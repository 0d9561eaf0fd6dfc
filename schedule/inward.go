package schedule

import "time"

// InwardState is how far a message that came in has come.
type InwardState string

// The states.
const (
	Taken    InwardState = "taken"     // kept, and not looked at yet
	Logged   InwardState = "logged"    // became an entry of the log
	Held     InwardState = "held"      // waits for the conservator to decide
	PassedBy InwardState = "passed by" // nothing for a person to do: automatic, a loop, a copy
	Bounced  InwardState = "bounced"   // told that a letter did not arrive
	Closed   InwardState = "closed"    // was held, and somebody has decided
)

// ReplyHeld is the letter that tells a person once that their reply is held. It
// is none of those that a person chooses.
const ReplyHeld NoticeKind = "reply held"

// Letters with a link by which their reader chooses a password. They are none of
// those that a person chooses, and their text is for their reader alone.
const (
	Invitation  NoticeKind = "invitation"
	NewPassword NoticeKind = "new password"
)

// Inward is a message that came in from outside.
type Inward struct {
	ID    string // UUIDv7
	Mark  string // what makes it the same message when it comes again; unique
	At    time.Time
	From  string // envelope sender; empty: a bounce
	To    string // envelope recipient
	Title string
	Raw   []byte

	State   InwardState
	Why     string // in words
	Person  string // Person.Slug; empty: not known
	Clock   string
	Notice  string // Notice.ID that it answers; empty: none
	Entry   string // Entry.ID that came of it; empty: none
	Settled time.Time
}
