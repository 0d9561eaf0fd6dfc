package mail

import (
	"fmt"
	"strings"

	"endshake/schedule"
)

// changeView is the letter before a change of time.
type changeView struct {
	frame
	Opening string
	Sites   []changeSite
}

type changeSite struct {
	Name, Place, Access, Caution string
	Clocks                       []changeClock
}

type changeClock struct {
	Name, Words, Who string
	State            string // done, or rests; empty: wants doing
	Caution          string
	Ask              *ask
}

// changeWeek puts the list of the clocks that change in the week ahead into
// words.
func (w writing) changeWeek() (content, error) {
	l := *w.l.Changes
	v := changeView{frame: w.frame}
	v.Title, v.Opening = changeWords(l)
	v.Head = "The change of time"
	w.n.Title = v.Title
	for _, s := range l.Sites {
		site := changeSite{Name: name(s.Name), Place: clean(s.Place), Access: clean(s.Access)}
		for _, c := range s.Clocks {
			site.Clocks = append(site.Clocks, w.changeClock(c))
		}
		v.Sites = append(v.Sites, site)
	}
	return w.render("change", v, nil)
}

// changeWords are the subject and the one thing to know.
func changeWords(l schedule.ChangeList) (title, opening string) {
	var first schedule.ChangeClock
	others := false
	for _, s := range l.Sites {
		for _, c := range s.Clocks {
			switch {
			case c.Done || c.Rests:
			case first.Clock == "":
				first = c
			default:
				others = others || c.On != first.On || c.Minutes != first.Minutes
			}
		}
	}
	n := l.Open()
	switch {
	case n == 0:
		return "The clocks change: nothing is left to do",
			fmt.Sprintf("The clocks change between %s and %s, and each of yours is done or rests.", dayWords(l.From), dayWords(l.To))
	case others:
		return fmt.Sprintf("The clocks change: %s to see to", schedule.Count(n, "clock", "clocks")),
			fmt.Sprintf("Between %s and %s the clocks change: %s. The day of each stands with it.", dayWords(l.From), dayWords(l.To), wants(n))
	}
	how := ""
	if first.Minutes < 0 {
		how = " Stop a clock for as long, or put its hands on round the dial, as stands with it: never force hands back."
	}
	return fmt.Sprintf("The time goes %s on %s: %s to see to", wayWords(first.Minutes), shortDay(first.On), schedule.Count(n, "clock", "clocks")),
		fmt.Sprintf("On %s the time goes %s by %s: %s.", dayWords(first.On), wayWords(first.Minutes), sizeWords(first.Minutes), wants(n)) + how
}

func wants(n int) string { return schedule.Count(n, "of yours wants", "of yours want") + " seeing to" }

func wayWords(minutes int) string {
	if minutes < 0 {
		return "back"
	}
	return "forward"
}

// sizeWords is how far the clocks change: "1 hour", "30 minutes".
func sizeWords(minutes int) string {
	if minutes < 0 {
		minutes = -minutes
	}
	if minutes%60 == 0 {
		return schedule.Count(minutes/60, "hour", "hours")
	}
	return schedule.Count(minutes, "minute", "minutes")
}

func (w writing) changeClock(c schedule.ChangeClock) changeClock {
	out := changeClock{Name: name(c.Name), Caution: clean(c.Caution), Who: "nobody is named"}
	out.Words = dayWords(c.On) + ". " + clean(c.How)
	if c.Bell && !strings.Contains(strings.ToLower(c.How), "bell") {
		out.Words += " Silence the bell first."
	}
	var who []string
	for _, p := range c.People {
		who = append(who, name(p))
	}
	if len(who) > 0 {
		out.Who = schedule.And(who)
	}
	switch {
	case c.Done:
		out.State = "done"
	case c.Rests:
		out.State = "rests: nothing to do"
	default:
		for _, a := range w.l.Clocks {
			if a.Clock.Slug == c.Clock {
				out.Ask = w.askOf(a, schedule.TimeChange, "")
			}
		}
	}
	return out
}
