package mail

import (
	"cmp"
	"embed"
	"fmt"
	htmltemplate "html/template"
	"slices"
	"strings"
	texttemplate "text/template"
	"time"

	"endshake/daemon/chart"
	"endshake/schedule"
	"endshake/wear"
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

// Composer writes letters.
type Composer struct {
	From string // who writes: "Name <addr>"
	Base string // address of the pages, http or https; may be empty
	// Answers is the address at which answers to letters are read; what follows
	// a "+" in it must reach the same place. Empty: answers go to From.
	Answers string
	DKIM    *DKIM // signs each letter; nil: none is signed
}

// Check reports what is wrong with the addresses that letters are to carry.
func (c Composer) Check() error {
	if _, err := schedule.ParseMail(c.From); err != nil {
		return fmt.Errorf("the sender cannot be used: %w", err)
	}
	if c.Answers == "" {
		return nil
	}
	a, err := schedule.ParseMail(c.Answers)
	if err != nil {
		return fmt.Errorf("the address for answers cannot be used: %w", err)
	}
	// RFC 5321 4.5.3.1.1: 64 octets before the @, and "+bounce-" with a UUID
	// takes 44 of them.
	const most = 20
	if local := a.Address[:strings.LastIndexByte(a.Address, '@')]; !inID.MatchString(local) || len(local) > most {
		return fmt.Errorf("the address for answers cannot be used: before its @ stand %q: use at most %d letters, digits, hyphens and underscores", clip(clean(local), maxName), most)
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
		ID: id, Key: l.Key, Covers: l.Covers, Kind: l.Kind, Person: l.Person.Slug, Occurrence: l.Occurrence,
		From: c.envelopeFrom(from, id), To: envelope(to), MessageID: "<" + id + "@" + domainOf(from.Address) + ">",
		State: schedule.Owed, Created: now, NextTry: now, Passes: slices.Clone(l.Passes),
	}
	for i := range n.Passes {
		n.Passes[i].Notice = cmp.Or(n.Passes[i].Notice, id)
	}
	dates, err := c.dates(l, from, now)
	if err != nil {
		return schedule.Notice{}, fmt.Errorf("compose: %w", err)
	}
	f := c.frame(l, from)
	f.Dates = dates != nil
	words, err := c.words(l, f, &n)
	if err != nil {
		return schedule.Notice{}, err
	}
	words.calendar = dates
	n.Raw, err = assemble(n, c.headers(l, n, from, to, now.In(zoneOf(l))), words)
	if err == nil && c.DKIM != nil {
		n.Raw, err = c.DKIM.sign(n.Raw, now)
	}
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

// words finds the words of a letter, and fills in what the notice is about.
func (c Composer) words(l schedule.Letter, f frame, n *schedule.Notice) (content, error) {
	w, known := letters[l.Kind]
	switch {
	case !known:
		return content{}, fmt.Errorf("compose: there are no words for a letter of the kind %q", clip(clean(string(l.Kind)), maxName))
	case w.ofOne && len(l.Clocks) != 1:
		return content{}, fmt.Errorf("compose: a letter of the kind %q needs its one clock, and has %d", l.Kind, len(l.Clocks))
	case w.lacks != nil && w.lacks(l) != "":
		return content{}, fmt.Errorf("compose: a letter of the kind %q needs %s", l.Kind, w.lacks(l))
	}
	if w.ofOne {
		n.Clock = l.Clocks[0].Clock.Slug
	}
	return w.say(writing{c, l, f, n})
}

// wording is how letters of one kind are put into words.
type wording struct {
	ofOne bool                         // of one clock
	lacks func(schedule.Letter) string // what is missing; empty: nothing
	say   func(writing) (content, error)
}

var letters = map[schedule.NoticeKind]wording{
	schedule.DueList:       {say: writing.dueList},
	schedule.LimitReminder: {true, noOutlook, writing.reminder},
	schedule.ReadAgain:     {true, noOutlook, writing.readAgain},
	schedule.WindReminder:  {true, noTask, writing.winding},
	schedule.ChangeWeek:    {false, noChanges, writing.changeWeek},
	schedule.Standing:      {true, nil, writing.standing},
	schedule.OwnersMonth:   {say: writing.ownersMonth},
	schedule.MailTrouble:   {false, noTrouble, writing.mailTrouble},
}

func noOutlook(l schedule.Letter) string {
	return lacking(l.Outlook == nil, "the outlook of its bearing")
}
func noTask(l schedule.Letter) string    { return lacking(l.Task == nil, "its task") }
func noChanges(l schedule.Letter) string { return lacking(l.Changes == nil, "its list of changes") }
func noTrouble(l schedule.Letter) string { return lacking(l.Trouble == nil, "what the trouble is") }

func lacking(it bool, what string) string {
	if it {
		return what
	}
	return ""
}

// writing is one letter while it is put into words.
type writing struct {
	c Composer
	l schedule.Letter
	frame
	n *schedule.Notice
}

// sharp is the pixels for each unit of a chart: it is the narrow one, so that its
// words can be read on a telephone, and is shown a little larger than drawn.
const sharp = 3

// chart draws the bearing of a reminder. The words say it all, so where it
// cannot be drawn the letter goes without.
func (w writing) chart() (htmltemplate.URL, []picture) {
	a := w.l.Clocks[0]
	drawn := chart.Bearing(*w.l.Outlook, a.Now, a.Zone, chart.Narrow)
	drawn.Units = w.l.Person.Units
	png, err := drawn.PNG(sharp)
	if err != nil {
		return "", nil
	}
	p := picture{cid: "chart@" + w.n.ID, name: "chart.png", png: png}
	return htmltemplate.URL("cid:" + p.cid), []picture{p} // an ID needs no quoting
}

// base is where the pages are, or nothing where no link can be made of it.
func (c Composer) base() string {
	if strings.HasPrefix(c.Base, "http://") || strings.HasPrefix(c.Base, "https://") {
		return strings.TrimRight(c.Base, "/")
	}
	return ""
}

// render puts a view into the two templates of a letter.
func (w writing) render(letter string, view any, pictures []picture) (content, error) {
	var t, h strings.Builder
	if err := textLetters.ExecuteTemplate(&t, letter+".txt.tmpl", view); err != nil {
		return content{}, fmt.Errorf("compose %s: %w", letter, err)
	}
	if err := htmlLetters.ExecuteTemplate(&h, letter+".html.tmpl", view); err != nil {
		return content{}, fmt.Errorf("compose %s: %w", letter, err)
	}
	u := w.l.Person.Units // stands first in all that is said in both systems
	return content{text: wrap(airy(wear.OwnFirst(u, t.String())), textWidth), html: wear.OwnFirst(u, h.String()), pictures: pictures}, nil
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
