package mail

import (
	"fmt"
	"net/mail"
	"strings"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// frame is what every letter has around it. All text in a view is clean, and so
// are its links.
type frame struct {
	Name    string // of the reader
	Base    string // address of the pages, or empty
	Answer  string // who reads an answer
	Read    bool   // answers are read by this service first
	Waits   bool   // they come to it, but cannot tell of which task they are
	Why     string // why the reader gets it
	Title   string // the subject
	Head    string // what stands over the letter; empty: the subject
	Decline string // where to have no more of these letters; empty: nowhere
	Kind    string // of letter
	Duty    bool   // whoever declines it leaves a duty without letters
	Dates   bool   // a calendar is attached
	Locks   []lock // before anything else
}

// frame is that of a letter; what it is about is filled in with its words.
func (c Composer) frame(l schedule.Letter, from *mail.Address) frame {
	f := frame{Name: name(l.Person.Name), Base: c.base(), Answer: from.Name, Why: duties(l),
		Decline: c.declineLink(l), Kind: kindWords[l.Kind], Duty: l.Kind.Duty()}
	if p, _ := l.PassTo(schedule.Answering); c.answersTo(l) != "" {
		f.Read, f.Waits = p.Clock != "", p.Clock == ""
	}
	if f.Answer == "" {
		f.Answer = from.Address
	}
	return f
}

// kindWords are the kinds of letter as a reader would call them.
var kindWords = map[schedule.NoticeKind]string{
	schedule.DueList: "monthly due-lists", schedule.LimitReminder: "letters about bearings near their limit", schedule.ReadAgain: "letters about readings that do not fit",
	schedule.WindReminder: "winding letters", schedule.ChangeWeek: "letters before a change of time", schedule.Standing: "letters about clocks that stand or are locked",
	schedule.OwnersMonth: "monthly letters for owners", schedule.MailTrouble: "weekly letters about trouble with mail",
}

// ask is how a reader says what came of a task.
type ask struct {
	Link  string // where; empty: no page takes it
	Words string // what can be said there
	Reply string // how to say it by answering the letter; empty: that way is not open
	Small bool   // beside another that says more
}

// ask is how to answer to a task; nil where there is nothing but a person to
// tell, or where its page's form alone can hold it.
func (w writing) ask(a schedule.Assessment, t schedule.Task) *ask {
	p, ok := w.l.PassFor(t)
	choices := p.Choices(a)
	if !ok || len(choices) == 0 {
		return nil
	}
	out := ask{Link: w.c.answerLink(w.l, t), Words: linkWords(t, choices[0])}
	if first, _ := w.l.PassTo(schedule.Answering); w.Read && first.Token == p.Token {
		out.Reply = replyWords(a, t, choices[0], w.l.Person.Units)
	}
	if out.Link == "" && out.Reply == "" {
		return nil
	}
	return &out
}

// linkWords say what is likeliest to be said of a task.
func linkWords(t schedule.Task, likeliest schedule.Said) string {
	done := "it is done"
	switch {
	case likeliest == schedule.SaidRead:
		return "Give the reading, or say why there is none"
	case likeliest == schedule.SaidWell:
		done = "all is well"
	case t.Kind == schedule.Winding:
		done = "it is wound"
	case t.Kind == schedule.Oiling:
		done = "it is oiled"
	}
	return "Say that " + done + ", or why not"
}

// replyWords say how to answer a letter about one task in a word.
func replyWords(a schedule.Assessment, t schedule.Task, likeliest schedule.Said, u wear.Unit) string {
	const not = `; if not, "not done" and why`
	switch likeliest {
	case schedule.SaidRead:
		shake := wear.EndShake
		if b, _, _, ok := a.Clock.Bearing(t.Subject); ok && b.Shake != "" {
			shake = b.Shake
		}
		if u == wear.MM || u == "" {
			return fmt.Sprintf(`with the reading: "%s 0.42 mm", or "16 thou"%s`, shake, not)
		}
		return fmt.Sprintf(`with the reading: "%s 16 thou", or "0.42 mm"%s`, shake, not)
	case schedule.SaidWell:
		return `with two words: "all well"` + not
	}
	word := "done"
	if t.Kind == schedule.Winding {
		word = "wound"
	}
	if t.Kind == schedule.Winding && t.Subject == "" { // which of several trains, a link tells
		return fmt.Sprintf(`with one word: "%s"; if the clock stands, "the clock stopped"%s`, word, not)
	}
	if t.Kind == schedule.Winding {
		return fmt.Sprintf(`with one word: "%s"; if it stands, "stopped"%s`, word, not)
	}
	return fmt.Sprintf(`with one word: "%s"%s`, word, not)
}

// duties says why a person gets a letter: their roles and clocks.
func duties(l schedule.Letter) string {
	var parts []string
	for _, role := range schedule.Roles {
		var of []string
		for _, a := range l.Clocks {
			if a.Clock.Has(l.Person.Slug, role) {
				of = append(of, name(a.Clock.Name))
			}
		}
		if len(of) > fullClocks {
			parts = append(parts, fmt.Sprintf("%s (%d clocks)", role, len(of)))
		} else if len(of) > 0 {
			parts = append(parts, fmt.Sprintf("%s (%s)", role, strings.Join(of, ", ")))
		}
	}
	if len(parts) == 0 {
		return "You get this letter because you are named for these clocks."
	}
	return "You get this letter because of what you do for these clocks: " + strings.Join(parts, "; ") + "."
}

// dayWords is a date with its day of the week: "Saturday 28 Nov 2026".
func dayWords(d schedule.Date) string {
	if d.IsZero() {
		return "a day that is not set"
	}
	return d.Start(time.UTC).Weekday().String() + " " + d.Words()
}

// instantWords is an instant on the wall of a clock: "14:00 on Sunday 29 Nov 2026".
func instantWords(a schedule.Assessment, t time.Time) string {
	t = t.In(zoneOfClock(a))
	return t.Format("15:04") + " on " + dayWords(schedule.DateOf(t, t.Location()))
}

// zoneOfClock is the zone that a clock stands in.
func zoneOfClock(a schedule.Assessment) *time.Location {
	if a.Zone == nil {
		return time.UTC
	}
	return a.Zone
}

// spell says how long something lasts: "35 minutes", "5 hours", "3 days".
func spell(d time.Duration) string {
	switch hours := d.Hours(); {
	case hours < 2:
		return schedule.Count(int(d.Minutes()+.5), "minute", "minutes")
	case hours < 48:
		return schedule.Count(int(hours+.5), "hour", "hours")
	default:
		return schedule.Days(int(hours/24 + .5))
	}
}

// airy leaves at most two empty lines between paragraphs of plain text.
func airy(s string) string {
	for strings.Contains(s, "\n\n\n\n") {
		s = strings.ReplaceAll(s, "\n\n\n\n", "\n\n\n")
	}
	return s
}
