package mail

import (
	"errors"
	"fmt"
	"strings"
	"time"

	gomail "github.com/emersion/go-message/mail"

	"endshake/schedule"
)

// LinkLetter lets its reader choose a password.
type LinkLetter struct {
	Person schedule.Person
	Kind   schedule.NoticeKind // schedule.Invitation or schedule.NewPassword
	By     string              // who invites; empty: nobody
	Pass   schedule.Pass       // with its token
}

// Link writes that letter. It cannot be written where the address of the pages is
// not known.
func (c Composer) Link(l LinkLetter, id string, now time.Time) (schedule.Notice, error) {
	if c.base() == "" {
		return schedule.Notice{}, errors.New("compose: a letter with a link needs the address of the pages: set --base-url")
	}
	n := schedule.Notice{ID: id, Key: schedule.NoticeKey(l.Person.Slug, l.Kind, "", id), Kind: l.Kind, Person: l.Person.Slug, Title: "Choose a new password"}
	if l.Kind == schedule.Invitation {
		n.Title = "The clocks: choose a password"
	}
	l.Pass.Notice = id
	n.Passes = []schedule.Pass{l.Pass}
	return c.short(n, l.Person, c.linkWords(l), now, func(h *gomail.Header, _ string) { h.Set("Auto-Submitted", "auto-generated") })
}

func (c Composer) linkWords(l LinkLetter) string {
	var b strings.Builder
	fmt.Fprintf(&b, "Dear %s,\n\n", name(l.Person.Name))
	ends := l.Pass.Ends.In(schedule.Site{Zone: l.Person.Zone}.Location())
	if l.Kind == schedule.Invitation {
		by := "You are"
		if l.By != "" {
			by = name(l.By) + " has"
		}
		if l.By == "" {
			by += " invited"
		} else {
			by += " invited you"
		}
		fmt.Fprintf(&b, "%s to the pages where the clocks you look after keep their logs. Choose a password, once, until %s:\n\n", by, ends.Format("2 January 2006"))
	} else {
		fmt.Fprintf(&b, "Somebody, you it is to be hoped, asked for a new password for you. Open this in the browser in which it was asked for, within ten minutes (until %s):\n\n", ends.Format("15:04 MST"))
	}
	fmt.Fprintf(&b, "  %s/join/%s\n\n", c.base(), l.Pass.Token)
	if l.Kind == schedule.Invitation {
		b.WriteString("If you do not know what this is about, leave it: nothing happens.\n\n")
	} else {
		b.WriteString("If it was not you, leave it: your password stays as it is.\n\n")
	}
	b.WriteString("Give the link to nobody. A program wrote this.\n")
	return b.String()
}
