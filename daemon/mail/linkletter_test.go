package mail

import (
	"io"
	"mime/quotedprintable"
	"net/mail"
	"strings"
	"testing"
	"time"

	"endshake/schedule"
)

// A letter with a link holds that link whole, and is no letter that anything
// answers by itself (RFC 3834).
func TestLinkLetters(t *testing.T) {
	now := time.Date(2026, 11, 25, 10, 0, 0, 0, time.UTC)
	token := strings.Repeat("abcdefgh", 4)
	for kind, want := range map[schedule.NoticeKind][]string{
		schedule.Invitation:  {"Edda Quillfeather has invited you", "until 2 December 2026", "nothing happens"},
		schedule.NewPassword: {"within ten minutes", "your password stays as it is"},
	} {
		c := Composer{From: "Clock desk <desk@example.org>", Base: "https://clocks.a-rather-long-district-name.example.org/"}
		l := LinkLetter{Person: schedule.Person{Slug: "tom", Name: "Tom\r\nBcc: x@example.org", Email: "tom@example.org", Zone: "Europe/London"}, Kind: kind, By: "Edda Quillfeather",
			Pass: schedule.Pass{Token: token, Deed: schedule.Joining, Person: "tom", Ends: now.AddDate(0, 0, 7)}}
		n, err := c.Link(l, "id-1", now)
		if err != nil {
			t.Fatal(err)
		}
		m, err := mail.ReadMessage(strings.NewReader(string(n.Raw)))
		if err != nil {
			t.Fatal(err)
		}
		body, err := io.ReadAll(quotedprintable.NewReader(m.Body))
		if err != nil {
			t.Fatal(err)
		}
		text := strings.Join(strings.Fields(string(body)), " ")
		for _, w := range append(want, c.base()+"/join/"+token) {
			if !strings.Contains(text, w) {
				t.Errorf("%s does not say %q: %s", kind, w, text)
			}
		}
		if m.Header.Get("Bcc") != "" || m.Header.Get("Auto-Submitted") != "auto-generated" || len(m.Header["From"]) != 1 || strings.Contains(m.Header.Get("Subject"), token) {
			t.Errorf("%s has the head %v", kind, m.Header)
		}
		if len(n.Passes) != 1 || n.Passes[0].Token != token || n.Passes[0].Notice != "id-1" || n.To != "tom@example.org" || n.Kind != kind || n.State != schedule.Owed || strings.Contains(n.Key, token) {
			t.Errorf("the notice is %+v", n)
		}
		for _, broken := range []func(*Composer, *LinkLetter){func(c *Composer, _ *LinkLetter) { c.Base = "" }, func(_ *Composer, l *LinkLetter) { l.Person.Email = "" }} {
			c, l := c, l
			broken(&c, &l)
			if _, err := c.Link(l, "id-2", now); err == nil {
				t.Error("a letter is written that leads nowhere, or goes to nobody")
			}
		}
	}
}
