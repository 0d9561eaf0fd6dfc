package mail

import (
	"net/mail"
	"regexp"
	"strings"
	"time"

	"github.com/emersion/go-message"
	gomail "github.com/emersion/go-message/mail"

	"endshake/schedule"
)

var (
	// noticeID is what may stand before the @ of a Message-ID without quoting.
	noticeID = regexp.MustCompile(`^[0-9A-Za-z-]{1,64}$`)
	// inID is a slug that may be part of one.
	inID = regexp.MustCompile(`^[0-9A-Za-z][0-9A-Za-z_-]{0,99}$`)
	// inLink is a token that may stand in an address, of the pages or of mail.
	inLink = regexp.MustCompile(`^[a-z2-7]{32}$`)
)

// listName is what the letters of one service are to a mail program (RFC 2919).
const listName = "endshake"

// headers are those of a letter, but for its content type.
func (c Composer) headers(l schedule.Letter, n schedule.Notice, from, to *mail.Address, date time.Time) message.Header {
	domain := domainOf(from.Address)
	var h gomail.Header // which writes the last first
	if url := c.declineLink(l); url != "" {
		h.Set("List-Unsubscribe-Post", "List-Unsubscribe=One-Click") // RFC 8058
		h.Set("List-Unsubscribe", "<"+url+">")
	}
	h.Set("List-Id", "<"+listName+"."+domain+">")
	h.Set("Auto-Submitted", "auto-generated") // RFC 3834: nothing answers it by itself
	if inID.MatchString(n.Clock) && inID.MatchString(n.Person) {
		root := []string{"clock." + n.Clock + "." + n.Person + "@" + domain} // all of one clock together
		h.SetMsgIDList("References", root)
		h.SetMsgIDList("In-Reply-To", root)
	}
	h.SetMessageID(strings.Trim(n.MessageID, "<>"))
	h.SetDate(date)
	h.SetSubject(n.Title)
	if at := c.answersTo(l); at != "" {
		h.Set("Reply-To", mailbox(from.Name, at))
	}
	h.Set("To", mailbox(to.Name, to.Address))
	h.Set("From", mailbox(from.Name, from.Address))
	return h.Header
}

// plus is the address that answers go to with a word after its name; empty
// where no answers are taken.
func (c Composer) plus(word string) string {
	a, err := schedule.ParseMail(c.Answers)
	if c.Answers == "" || err != nil {
		return ""
	}
	at := strings.LastIndexByte(a.Address, '@')
	return a.Address[:at] + "+" + word + a.Address[at:]
}

// answersTo is the address for a reply to a letter; empty: its sender.
func (c Composer) answersTo(l schedule.Letter) string {
	if p, ok := l.PassTo(schedule.Answering); ok && inLink.MatchString(p.Token) {
		return c.plus(p.Token)
	}
	return ""
}

// envelopeFrom is the address that is told where a letter did not arrive.
func (c Composer) envelopeFrom(from *mail.Address, id string) string {
	if at := c.plus("bounce-" + id); at != "" {
		return at
	}
	return envelope(from)
}

// link is an address of the pages that a pass opens; empty: there is none.
func (c Composer) link(way string, p schedule.Pass) string {
	if c.base() == "" || !inLink.MatchString(p.Token) {
		return ""
	}
	return c.base() + "/" + way + "/" + p.Token
}

// declineLink is where a reader asks for no more letters of this kind.
func (c Composer) declineLink(l schedule.Letter) string {
	p, _ := l.PassTo(schedule.Declining)
	return c.link("decline", p)
}

// answerLink is where a reader says what came of a task.
func (c Composer) answerLink(l schedule.Letter, t schedule.Task) string {
	p, _ := l.PassFor(t)
	return c.link("answer", p)
}
