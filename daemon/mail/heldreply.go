package mail

import (
	"bytes"
	"fmt"
	"strings"
	"time"

	"github.com/emersion/go-message"
	gomail "github.com/emersion/go-message/mail"

	"endshake/schedule"
)

// Way is how a reply that is held can be logged all the same.
type Way int

// The ways.
const (
	ByWords Way = iota // clearer ones, in another answer to the same letter
	ByLinks            // no answer to that letter tells of what: the link of each task does
	ByNewer            // its mark is of no use: a newer letter has one that is
)

// HeldReply is what tells a person that their reply was not logged.
type HeldReply struct {
	Person schedule.Person
	Clock  schedule.Clock // the zero value: not known
	Reply  Reply          // what they wrote
	To     string         // the address they wrote to; a second try may go there
	Key    string         // of the notice
	Why    string         // in one sentence
	Way    Way            // how it can be logged all the same
	When   string         // they wrote, in words
}

// Held writes that letter. It goes from the null sender and says that a program
// wrote it, so that nothing answers it by itself (RFC 3834 3.1, 3.3).
func (c Composer) Held(r HeldReply, id string, now time.Time) (schedule.Notice, error) {
	n := schedule.Notice{ID: id, Key: r.Key, Kind: schedule.ReplyHeld, Person: r.Person.Slug, Clock: r.Clock.Slug,
		Title: "Not logged yet: " + clip(clean(r.Reply.Title), 60)}
	return c.short(n, r.Person, c.heldWords(r), now, func(h *gomail.Header, from string) {
		h.Set("Auto-Submitted", "auto-replied")
		if theirs := strings.Trim(r.Reply.MessageID, "<>"); inReplyTo(theirs) {
			h.SetMsgIDList("References", []string{theirs})
			h.SetMsgIDList("In-Reply-To", []string{theirs})
		}
		if a, err := schedule.ParseMail(r.To); err == nil {
			h.Set("Reply-To", mailbox(from, a.Address))
		}
	})
}

// short writes a letter of a few plain words from the null sender. set puts what
// is its own into the head; from is the sender's name.
func (c Composer) short(n schedule.Notice, person schedule.Person, words string, now time.Time, set func(h *gomail.Header, from string)) (schedule.Notice, error) {
	from, err := schedule.ParseMail(c.From)
	if err != nil {
		return schedule.Notice{}, fmt.Errorf("compose: sender: %w", err)
	}
	to, err := schedule.ParseMail(person.Email)
	if err != nil {
		return schedule.Notice{}, fmt.Errorf("compose: letter to %s: %w", name(person.Slug), err)
	}
	from.Name, to.Name = name(from.Name), name(person.Name)
	n.To, n.MessageID = envelope(to), "<"+n.ID+"@"+domainOf(from.Address)+">"
	n.State, n.Created, n.NextTry = schedule.Owed, now, now
	var h gomail.Header // which writes the last first
	h.SetContentType("text/plain", map[string]string{"charset": "utf-8"})
	h.Set("Content-Transfer-Encoding", "quoted-printable")
	h.SetMessageID(strings.Trim(n.MessageID, "<>"))
	set(&h, from.Name)
	h.SetDate(now.UTC())
	h.SetSubject(n.Title)
	h.Set("To", mailbox(to.Name, to.Address))
	h.Set("From", mailbox(from.Name, from.Address))
	var b bytes.Buffer
	w, err := message.CreateWriter(&b, h.Header)
	if err == nil {
		_, err = w.Write([]byte(wrap(words, textWidth)))
	}
	if err == nil {
		err = w.Close()
	}
	if err != nil {
		return n, fmt.Errorf("compose: letter to %s: %w", name(person.Slug), err)
	}
	n.Raw = b.Bytes()
	if c.DKIM != nil {
		n.Raw, err = c.DKIM.sign(n.Raw, now)
	}
	return n, err
}

// inReplyTo reports whether a Message-ID may be named in a head.
func inReplyTo(id string) bool {
	return id != "" && plainASCII(id) && !strings.ContainsAny(id, "<> ") && len(id) < 250
}

func (c Composer) heldWords(r HeldReply) string {
	about := "your answer"
	if r.Clock.Name != "" {
		about += " about " + name(r.Clock.Name)
	}
	var b strings.Builder
	fmt.Fprintf(&b, "Dear %s,\n\n%s of %s was not logged, because %s.\n\n", name(r.Person.Name), schedule.Capital(about), r.When,
		strings.TrimSuffix(clean(r.Why), "."))
	b.WriteString("Nothing is lost: it waits in the mail room for the conservator. ")
	base := c.base()
	switch {
	case r.Way == ByLinks && base == "":
		b.WriteString("Another answer by mail would wait as well: tell the conservator which task you mean, and what you did.\n\n")
	case r.Way == ByLinks:
		b.WriteString("Another answer by mail would wait as well. To have it logged at once, open the letter that you answered and use the link beside each task that you did: it opens a page for that task alone.\n\n")
	case r.Way == ByNewer:
		b.WriteString("Another answer to the same letter would wait as well. If it is still to be logged, answer the newest letter about it.\n\n")
	default:
		b.WriteString("To have it logged at once, answer this letter with one short sentence in plain English and nothing else, such as\n\n" +
			"  wound\n  oiled\n  checked, all well\n  0.42 mm\n  stopped, snow on the hands\n  not done: ladder locked\n\n")
		if base != "" {
			b.WriteString("Or use the link in the letter that you answered.\n\n")
		}
	}
	if base != "" && r.Clock.Slug != "" && inID.MatchString(r.Clock.Slug) {
		fmt.Fprintf(&b, "Or log it at\n\n  %s/clock/%s/log\n\n", base, r.Clock.Slug)
	}
	b.WriteString("A program wrote this, and writes it once for each answer.\n")
	return b.String()
}
