package schedule

import "time"

// NoticeKind is a kind of mail that is owed.
type NoticeKind string

// The kinds of notice.
const (
	DueList       NoticeKind = "due-list"       // monthly, one for each person
	LimitReminder NoticeKind = "near its limit" // a bearing comes near its limit
	ReadAgain     NoticeKind = "read again"     // its last reading does not fit the others
	WindReminder  NoticeKind = "winding"        // a train wants winding before it stops
	ChangeWeek    NoticeKind = "change of time" // the clocks that change in the week ahead
	Standing      NoticeKind = "standing"       // a clock stopped, may have stopped, or was locked
	OwnersMonth   NoticeKind = "owner's month"  // monthly, what an owner should know
	MailTrouble   NoticeKind = "mail trouble"   // weekly, what did not reach its reader
)

// NoticeKinds lists the kinds in the order in which a person chooses them.
var NoticeKinds = []NoticeKind{WindReminder, Standing, DueList, LimitReminder, ReadAgain, ChangeWeek, OwnersMonth, MailTrouble}

// NoticeState is how far a notice has come.
type NoticeState string

// The states of a notice.
const (
	Owed    NoticeState = "owed"    // to be sent, or to be tried again
	Sending NoticeState = "sending" // claimed by a sender
	Sent    NoticeState = "sent"    // the server took responsibility for it
	Refused NoticeState = "refused" // the server will never take it
	Parked  NoticeState = "parked"  // it may have gone out twice: a person must look
)

// Notice is a mail that is owed to one person. Its Key says what it is for;
// the same key is never owed twice.
type Notice struct {
	ID         string   // UUIDv7
	Key        string   // person | kind | subject | occurrence
	Covers     []string // keys of letters that it makes needless; stored with it, never read back
	Kind       NoticeKind
	Person     string // Person.Slug
	Clock      string // Clock.Slug; empty: several
	Subject    string // bearing code; empty: none
	Occurrence string // local date or condition that makes it this one
	From, To   string // envelope addresses
	MessageID  string
	Title      string // Subject header
	Raw        []byte // the whole message, RFC 5322
	Passes     []Pass // what its reader may do by it; stored with it, never read back

	State     NoticeState
	Attempts  int       // tries begun
	Uncertain int       // times the outcome of a hand-over is not known
	Created   time.Time // when it came to be owed
	FirstTry  time.Time // when it was first tried, since it was last owed anew; zero: never
	NextTry   time.Time
	SentAt    time.Time
	Settled   time.Time // of one in Trouble: when it came to its state; else zero
	Reply     string    // the server's last word, or ours
}

// NoticeKey makes the key of a notice.
func NoticeKey(person string, kind NoticeKind, subject, occurrence string) string {
	return person + "|" + string(kind) + "|" + subject + "|" + occurrence
}

// Letter is what a notice has to say, as facts: daemon/mail finds the words.
type Letter struct {
	Key        string
	Kind       NoticeKind
	Person     Person
	Occurrence string
	Today      Date
	// Unless are keys of notices that, once owed, make this one needless.
	Unless []string
	// Covers are keys of letters that need not be written once this one is owed,
	// for it says the same.
	Covers []string
	// Clocks are the assessments of the reader's clocks (due-list), or the one
	// clock (reminder).
	Clocks []Assessment
	// Outlook is the bearing that a reminder is about, and Others are those who
	// get the same letter.
	Outlook *Outlook
	Others  []Person
	// Next are those who are asked to wind if nobody answers, in their order.
	Next []Person
	// Named are the people that the letter may have to name: those with a duty
	// for its clocks. Only Slug and Name are set.
	Named []Person
	// Task is what a winding reminder asks for, the first to come due, and With
	// are the windings of other trains that are best done with it. Task is also
	// what came of a clock that stands; Turn is whose turn it is: 0 the first asked, whatever their role, 1
	// and 2 those who are asked because nobody answered.
	Task *Task
	With []Task
	Turn int
	// Entry is what was logged of a clock that stands: its stop, or what locked
	// it. Nil: nothing was, its wind ran out by the log.
	Entry *Entry
	// Changes is the list of a change of time, of the reader's clocks alone.
	Changes *ChangeList
	Trouble *Trouble
	// Passes are what the reader may do by this letter: one for each task that
	// can be answered, the first for a reply to the letter as a whole, one to
	// have no more letters of its kind. Empty: no answers are taken.
	Passes []Pass
}

// Trouble is what did not reach its reader, and what came in and was not
// understood, since the last weekly letter.
type Trouble struct {
	Notices   []Notice  // refused, parked, or owed for more than a day; without Raw
	Mailboxes []Mailbox // that nothing is sent to any more
	Held      []Inward  // replies that wait for somebody to decide
	Declined  []Decline // duty kinds that somebody declined
}

// Mailbox is an address as a mail server sees it.
type Mailbox struct {
	Address  string
	Refusals int       // for good, since the last letter that went through
	Stopped  time.Time // nothing is sent there since; zero: it is in use
	Why      string    // the server's word
}

// Arrival is a message that a receiving server took.
type Arrival struct {
	Number int // counts from 1 and stays, whatever is dropped later
	At     time.Time
	From   string
	To     []string
	Raw    []byte
}

// Outcome is what became of a try to send a notice.
type Outcome struct {
	State   NoticeState // Sent, Owed (try again), Refused or Parked
	At      time.Time
	NextTry time.Time
	Reply   string // the server's last word, or ours
	// Uncertain: the message was handed over but no reply came, so it may or
	// may not have gone out. The second time the notice is parked.
	Uncertain bool
	Blame     Blame // what a refusal says of the address; else NoBlame
}
