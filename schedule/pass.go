package schedule

import (
	"strings"
	"time"
)

// Deed is what a pass lets its holder do.
type Deed string

// The deeds.
const (
	Answering Deed = "answer"   // say what became of one task, by a page or a reply
	Declining Deed = "decline"  // have no more mail of one kind
	Following Deed = "calendar" // read one person's calendar
	Joining   Deed = "join"     // choose a password for an account, once
	First     Deed = "first"    // be the first conservator, once
)

// Pass lets whoever holds its token do one thing on one clock, with no login.
// It opens nothing else, and never a session.
type Pass struct {
	Token   string // 32 of a to z and 2 to 7, 160 bits by chance; kept only as its SHA-256
	Deed    Deed
	Notice  string // Notice.ID of the letter that carries it; empty: none
	Person  string // Person.Slug of who it was given to
	Clock   string // Clock.Slug; empty: none
	Task    TaskKind
	Subject string     // of the task
	Kind    NoticeKind // what is declined
	Made    time.Time
	Ends    time.Time // zero: holds until it is taken back
	Ended   time.Time // taken back; zero: it was not
}

// tokenLength is how many letters a token has.
const tokenLength = 32

// ReadToken takes a token as it came back: some mail programs write an address
// all in capitals. ok is false for what no token can be.
func ReadToken(s string) (token string, ok bool) {
	if len(s) != tokenLength {
		return "", false
	}
	odd := func(r rune) bool { return (r < 'a' || r > 'z') && (r < 'A' || r > 'Z') && (r < '2' || r > '7') }
	if strings.ContainsFunc(s, odd) {
		return "", false
	}
	return strings.ToLower(s), true
}

// passLife is how long an answer to a task is taken.
const passLife = 45 * 24 * time.Hour

// PassFor finds the pass of a letter by which one of its tasks is answered.
func (l Letter) PassFor(t Task) (Pass, bool) {
	for _, p := range l.Passes {
		if p.Deed == Answering && p.Clock == t.Clock && p.Task == t.Kind && p.Subject == t.Subject {
			return p, true
		}
	}
	return Pass{}, false
}

// PassTo finds the first pass of a letter for a deed: for Answering the one that
// a reply to the letter comes under, which for a letter of many tasks is for
// none of them.
func (l Letter) PassTo(d Deed) (Pass, bool) {
	for _, p := range l.Passes {
		if p.Deed == d {
			return p, true
		}
	}
	return Pass{}, false
}
