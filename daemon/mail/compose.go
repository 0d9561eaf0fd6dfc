package mail

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"errors"
	"fmt"
	htmltemplate "html/template"
	"net/mail"
	"regexp"
	"strings"
	texttemplate "text/template"
	"time"

	"github.com/emersion/go-message"
	gomail "github.com/emersion/go-message/mail"

	"endshake/schedule"
)

//go:embed template
var templates embed.FS

var (
	textLetters = texttemplate.Must(texttemplate.New("").Funcs(texttemplate.FuncMap{"upper": strings.ToUpper, "rule": rule}).
			ParseFS(templates, "template/*.txt.tmpl"))
	htmlLetters = htmltemplate.Must(htmltemplate.ParseFS(templates, "template/*.html.tmpl"))
)

// rule underlines a heading in plain text.
func rule(s string) string { return strings.Repeat("-", min(len([]rune(s)), textWidth)) }

// noticeID is what may stand before the @ of a Message-ID without quoting.
var noticeID = regexp.MustCompile(`^[0-9A-Za-z-]{1,64}$`)

// Composer writes letters.
type Composer struct {
	From string // who writes: "Name <addr>"; answers go there
	Base string // address of the pages, http or https; may be empty
}

// Compose writes one letter as a notice that is owed: text and HTML that say
// the same, with the Message-ID <id@domain of From>. The same letter, id and
// now give the same bytes. It fails where the letter has no sender or reader
// that mail can reach, or is of a kind that has no words.
func (c Composer) Compose(l schedule.Letter, id string, now time.Time) (schedule.Notice, error) {
	from, err := parseAddress(c.From)
	if err != nil {
		return schedule.Notice{}, fmt.Errorf("compose: sender: %w", err)
	}
	to, err := parseAddress(l.Person.Email)
	if err != nil {
		return schedule.Notice{}, fmt.Errorf("compose: letter to %s: %w", name(l.Person.Slug), err)
	}
	if !noticeID.MatchString(id) {
		return schedule.Notice{}, fmt.Errorf("compose: %q cannot be the ID of a notice: use letters, digits and hyphens, like a UUID", clip(clean(id), maxName))
	}
	from.Name, to.Name = name(from.Name), name(l.Person.Name)
	n := schedule.Notice{
		ID: id, Key: l.Key, Kind: l.Kind, Person: l.Person.Slug, Occurrence: l.Occurrence,
		From: envelope(from), To: envelope(to), MessageID: "<" + id + "@" + domainOf(from.Address) + ">",
		State: schedule.Owed, Created: now, NextTry: now,
	}
	text, html, err := c.words(l, from, &n)
	if err != nil {
		return schedule.Notice{}, err
	}
	n.Raw, err = assemble(n, from, to, now.In(zoneOf(l)), text, html)
	return n, err
}

// words finds the words of a letter, and fills in what the notice is about.
func (c Composer) words(l schedule.Letter, from *mail.Address, n *schedule.Notice) (text, html string, err error) {
	frame := frame{Name: name(l.Person.Name), Base: c.base(), Answer: from.Name}
	if frame.Answer == "" {
		frame.Answer = from.Address
	}
	switch l.Kind {
	case schedule.DueList:
		v := dueList(l, frame)
		n.Title = v.Title
		return render("duelist", v)
	case schedule.LimitReminder:
		if l.Outlook == nil || len(l.Clocks) != 1 {
			return "", "", errors.New("compose: a reminder needs its one clock and the outlook of its bearing")
		}
		v := reminder(l, frame)
		n.Title, n.Clock, n.Subject = v.Title, l.Clocks[0].Clock.Slug, l.Outlook.Bearing.Code
		return render("reminder", v)
	}
	return "", "", fmt.Errorf("compose: there are no words for a letter of the kind %q", clip(clean(string(l.Kind)), maxName))
}

// base is where the pages are, or nothing where no link can be made of it.
func (c Composer) base() string {
	if strings.HasPrefix(c.Base, "http://") || strings.HasPrefix(c.Base, "https://") {
		return strings.TrimRight(c.Base, "/")
	}
	return ""
}

func render(letter string, view any) (text, html string, err error) {
	var t, h strings.Builder
	if err := textLetters.ExecuteTemplate(&t, letter+".txt.tmpl", view); err != nil {
		return "", "", fmt.Errorf("compose %s: %w", letter, err)
	}
	if err := htmlLetters.ExecuteTemplate(&h, letter+".html.tmpl", view); err != nil {
		return "", "", fmt.Errorf("compose %s: %w", letter, err)
	}
	return wrap(t.String(), textWidth), h.String(), nil
}

// zoneOf is the zone in which a letter is dated.
func zoneOf(l schedule.Letter) *time.Location {
	if z, err := time.LoadLocation(l.Person.Zone); err == nil && l.Person.Zone != "" {
		return z
	}
	for _, a := range l.Clocks {
		if a.Zone != nil {
			return a.Zone
		}
	}
	return time.UTC
}

// assemble makes the message of RFC 5322: multipart/alternative, each part
// quoted-printable, so that no line is longer than 76 characters.
func assemble(n schedule.Notice, from, to *mail.Address, date time.Time, text, html string) ([]byte, error) {
	var h gomail.Header
	// "=_" never occurs in quoted-printable text (RFC 2045 6.7), and a boundary
	// that follows from the ID makes the bytes the same every time.
	sum := sha256.Sum256([]byte(n.ID))
	h.SetContentType("multipart/alternative", map[string]string{"boundary": fmt.Sprintf("=_%x", sum[:12])})
	h.Set("Auto-Submitted", "auto-generated") // RFC 3834: nothing answers it by itself
	h.SetMessageID(strings.Trim(n.MessageID, "<>"))
	h.SetDate(date)
	h.SetSubject(n.Title)
	h.SetAddressList("To", []*mail.Address{to})
	h.SetAddressList("From", []*mail.Address{from})

	var b bytes.Buffer
	w, err := message.CreateWriter(&b, h.Header)
	if err != nil {
		return nil, fmt.Errorf("compose: headers: %w", err)
	}
	err = errors.Join(part(w, "text/plain", text), part(w, "text/html", html), w.Close())
	if err != nil {
		return nil, fmt.Errorf("compose: body: %w", err)
	}
	return b.Bytes(), nil
}

func part(w *message.Writer, kind, body string) error {
	var h message.Header
	h.Set("Content-Transfer-Encoding", "quoted-printable")
	h.SetContentType(kind, map[string]string{"charset": "utf-8"})
	p, err := w.CreatePart(h)
	if err != nil {
		return err
	}
	if _, err := p.Write([]byte(body)); err != nil {
		return err
	}
	return p.Close()
}
