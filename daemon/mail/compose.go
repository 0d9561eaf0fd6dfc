package mail

import (
	"embed"
	"errors"
	"fmt"
	htmltemplate "html/template"
	"net/mail"
	"regexp"
	"strings"
	texttemplate "text/template"
	"time"

	"endshake/daemon/chart"
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

// Check reports what is wrong with the sender that letters are to carry.
func (c Composer) Check() error {
	if _, err := schedule.ParseMail(c.From); err != nil {
		return fmt.Errorf("the sender cannot be used: %w", err)
	}
	return nil
}

// Compose writes one letter as a notice that is owed: text and HTML that say
// the same, with the Message-ID <id@domain of From>. The same letter, id and
// now give the same bytes. It fails where the letter has no sender or reader
// that mail can reach, or is of a kind that has no words.
func (c Composer) Compose(l schedule.Letter, id string, now time.Time) (schedule.Notice, error) {
	from, err := schedule.ParseMail(c.From)
	if err != nil {
		return schedule.Notice{}, fmt.Errorf("compose: sender: %w", err)
	}
	to, err := schedule.ParseMail(l.Person.Email)
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
	words, err := c.words(l, from, &n)
	if err != nil {
		return schedule.Notice{}, err
	}
	n.Raw, err = assemble(n, from, to, now.In(zoneOf(l)), words)
	return n, err
}

// Unwritable is the notice of a letter that Compose could not write. It is
// refused from the start and has no message, so that the mail room shows it
// with the reason.
func Unwritable(l schedule.Letter, id string, now time.Time, err error) schedule.Notice {
	return schedule.Notice{
		ID: id, Key: l.Key, Kind: l.Kind, Person: l.Person.Slug, Occurrence: l.Occurrence,
		Title: "Could not be written: " + name(string(l.Kind)), To: name(l.Person.Email),
		State: schedule.Refused, Created: now, NextTry: now, Reply: clip(clean(err.Error()), maxReply),
	}
}

// content is what a letter says, in two forms, and its picture.
type content struct {
	text, html string
	picture    []byte // PNG; nil: none
	cid        string // what html calls the picture by
}

// words finds the words of a letter, and fills in what the notice is about.
func (c Composer) words(l schedule.Letter, from *mail.Address, n *schedule.Notice) (content, error) {
	frame := frame{Name: name(l.Person.Name), Base: c.base(), Answer: from.Name}
	if frame.Answer == "" {
		frame.Answer = from.Address
	}
	switch l.Kind {
	case schedule.DueList:
		v := dueList(l, frame)
		n.Title = v.Title
		return render("duelist", v, content{})
	case schedule.LimitReminder, schedule.ReadAgain:
		if l.Outlook == nil || len(l.Clocks) != 1 {
			return content{}, errors.New("compose: a reminder needs its one clock and the outlook of its bearing")
		}
		say := reminder
		if l.Kind == schedule.ReadAgain {
			say = readAgain
		}
		v := say(l, frame)
		n.Title, n.Clock, n.Subject = v.Title, l.Clocks[0].Clock.Slug, l.Outlook.Bearing.Code
		drawn := draw(l, n.ID)
		if drawn.picture != nil {
			v.Chart = htmltemplate.URL("cid:" + drawn.cid) // an ID needs no quoting
		}
		return render("reminder", v, drawn)
	}
	return content{}, fmt.Errorf("compose: there are no words for a letter of the kind %q", clip(clean(string(l.Kind)), maxName))
}

// draw makes the chart of a reminder. The words say it all, so where it cannot
// be drawn the letter goes without.
func draw(l schedule.Letter, id string) content {
	a := l.Clocks[0]
	png, err := chart.Bearing(*l.Outlook, a.Now, a.Zone, chart.Wide).PNG(sharp)
	if err != nil {
		return content{}
	}
	return content{picture: png, cid: "chart@" + id}
}

// sharp is the pixels for each unit of a chart: twice as many as it is shown at.
const sharp = 1.5

// base is where the pages are, or nothing where no link can be made of it.
func (c Composer) base() string {
	if strings.HasPrefix(c.Base, "http://") || strings.HasPrefix(c.Base, "https://") {
		return strings.TrimRight(c.Base, "/")
	}
	return ""
}

func render(letter string, view any, c content) (content, error) {
	var t, h strings.Builder
	if err := textLetters.ExecuteTemplate(&t, letter+".txt.tmpl", view); err != nil {
		return c, fmt.Errorf("compose %s: %w", letter, err)
	}
	if err := htmlLetters.ExecuteTemplate(&h, letter+".html.tmpl", view); err != nil {
		return c, fmt.Errorf("compose %s: %w", letter, err)
	}
	c.text, c.html = wrap(t.String(), textWidth), h.String()
	return c, nil
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
