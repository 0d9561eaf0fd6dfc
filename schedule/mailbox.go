package schedule

import (
	"fmt"
	"slices"
	"strings"
	"time"
)

// Blame is what a refusal says of the address that a letter was for.
type Blame string

// The blames.
const (
	NoBlame Blame = ""                // nothing: the letter, the line or we ourselves are at fault
	TurnsUs Blame = "turned away"     // it is there, and does not take this
	NoSuch  Blame = "no such mailbox" // there is no such mailbox, or no such domain
)

// gone are the enhanced codes that say that an address leads nowhere: bad
// mailbox, bad system, bad syntax of the address (RFC 3463 3.2), and a domain
// that declares to take no mail (RFC 7505 4.2).
var gone = []string{"5.1.1", "5.1.2", "5.1.3", "5.1.10"}

// BlameFor is what a refusal for good of a recipient says of its address, by its
// enhanced status code, like 5.1.1; empty: the server gave none.
func BlameFor(status string) Blame {
	switch {
	case slices.Contains(gone, status):
		return NoSuch
	case strings.HasPrefix(status, "5.7."): // a policy, of a server that turns us away (RFC 3463 3.8)
		return NoBlame
	case status == "" || strings.HasPrefix(status, "5."):
		return TurnsUs
	}
	return NoBlame
}

// mostRefusals in a row stop an address that is there: judgement, no source.
const mostRefusals = 3

// Refused is a mailbox after one more refusal for good. An address that leads
// nowhere is stopped at once, any other at the third refusal in a row; one that
// is stopped stays as it is.
func (m Mailbox) Refused(b Blame, why string, now time.Time) Mailbox {
	if b == NoBlame || !m.Stopped.IsZero() {
		return m
	}
	m.Refusals++
	m.Why = why
	if b == NoSuch || m.Refusals >= mostRefusals {
		m.Stopped = now
	}
	return m
}

// Reason says in one line why nothing is sent to a mailbox that is stopped.
func (m Mailbox) Reason() string {
	return fmt.Sprintf("nothing is sent to this address since %s: %s", DateOf(m.Stopped, time.UTC).Words(), m.Why)
}

// Mark is what a sender has to have kept of a notice that it has claimed: that
// it is about to be handed over, or what became of it.
type Mark struct {
	Notice  string    // Notice.ID
	At      time.Time // of the hand-over; of an outcome, Outcome.At counts
	Outcome *Outcome  // nil: from now on it may have gone out
}

// Step is one step on the way of a notice.
type Step struct {
	At    time.Time
	What  StepKind
	Words string // the server's, or ours; may be empty
}

// StepKind is what a step is.
type StepKind string

// The steps.
const (
	StepOwed      StepKind = "owed"
	StepTried     StepKind = "tried"       // claimed by a sender
	StepPutOff    StepKind = "put off"     // it is tried again later
	StepUncertain StepKind = "uncertain"   // handed over, and no answer came
	StepParked    StepKind = "parked"      // uncertain twice: a person must look
	StepRefused   StepKind = "refused"     // for good
	StepSent      StepKind = "sent"        // the server took responsibility for it
	StepAgain     StepKind = "asked again" // a person had it owed anew
	StepBack      StepKind = "came back"   // a message said that it did not arrive
)
