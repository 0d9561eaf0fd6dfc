package schedule

import (
	"cmp"
	"fmt"
	"strings"
	"time"
)

// ChangeList is the fleet's list for one week in which clocks change: what to
// do with each, who, and how to get in.
type ChangeList struct {
	From  Date         `json:"from"` // Tuesday
	To    Date         `json:"to"`   // Monday
	Sites []ChangeSite `json:"sites"`
}

// ChangeSite is the clocks of one site on that list.
type ChangeSite struct {
	Name    string        `json:"name"`
	Zone    string        `json:"zone"`
	Place   string        `json:"place,omitempty"`
	Access  string        `json:"access,omitempty"`
	Caution string        `json:"caution,omitempty"`
	Clocks  []ChangeClock `json:"clocks"`
}

// ChangeClock is one clock on that list.
type ChangeClock struct {
	Clock   string   `json:"clock"` // Clock.Slug
	Name    string   `json:"name"`
	On      Date     `json:"on"`
	Minutes int      `json:"minutes"` // + put on, - put back
	How     string   `json:"how"`
	Blows   int      `json:"blows"` // that it makes meanwhile
	Bell    bool     `json:"bell"`  // silence it first
	People  []string `json:"people"`
	Done    bool     `json:"done"`
	Rests   bool     `json:"rests"` // out of season, stopped for work or locked: nothing to do
	Caution string   `json:"caution"`
}

// ChangeList is the list for the week of a day, from Tuesday to Monday: most zones
// change on a Sunday, and the others are on some list too.
func (s *Snapshot) ChangeList(day Date) ChangeList {
	l := weekOf(day)
	at := map[string]int{} // site slug to its place on the list
	for _, a := range s.Clocks {
		clocks := s.changesOf(a, l)
		if len(clocks) == 0 {
			continue
		}
		i, ok := at[a.Site.Slug]
		if !ok {
			i = len(l.Sites)
			at[a.Site.Slug] = i
			l.Sites = append(l.Sites, ChangeSite{Name: a.Site.Name, Zone: a.Site.Zone, Place: a.Site.Place, Access: a.Site.Access, Caution: a.Site.Caution})
		}
		l.Sites[i].Clocks = append(l.Sites[i].Clocks, clocks...)
	}
	return l
}

// weekOf is the list of a day's week with no clock on it yet.
func weekOf(day Date) ChangeList {
	sunday := day.Add((7 - int(day.Start(time.UTC).Weekday())) % 7)
	if day.Start(time.UTC).Weekday() == time.Monday {
		sunday = day.Add(-1)
	}
	return ChangeList{From: sunday.Add(-5), To: sunday.Add(1), Sites: []ChangeSite{}}
}

// changesOf are the changes of one clock within a list's days.
func (s *Snapshot) changesOf(a Assessment, l ChangeList) []ChangeClock {
	if a.Zone == nil {
		return nil
	}
	var out []ChangeClock
	at, by, ok := NextChange(a.Zone, l.From.Start(a.Zone).Add(-1))
	for ; ok && !a.dayOf(at).After(l.To); at, by, ok = NextChange(a.Zone, at) {
		if at.Before(a.Clock.InCare.Start(a.Zone)) {
			continue
		}
		c := a.changeAt(at, by)
		c.How, c.Blows = a.changeHow(c)
		t := Task{Kind: TimeChange, From: c.On, Due: c.On, Latest: c.On}
		a.finish(&t)
		out = append(out, ChangeClock{
			Clock: a.Clock.Slug, Name: a.Clock.Name, On: c.On, Minutes: int(by / time.Minute), How: c.How, Blows: c.Blows,
			Bell: a.Clock.Care.Bell, People: s.names(t.People), Done: c.Done != "", Rests: t.State == Resting, Caution: t.Caution,
		})
	}
	return out
}

// Open is how many clocks of the list still want doing.
func (l ChangeList) Open() int {
	n := 0
	for _, s := range l.Sites {
		for _, c := range s.Clocks {
			if !c.Done && !c.Rests {
				n++
			}
		}
	}
	return n
}

// Text prints the list for paper: a box to tick before each clock.
func (l ChangeList) Text() string {
	var b strings.Builder
	fmt.Fprintf(&b, "Time change, %s to %s\n", l.From.Words(), l.To.Words())
	if len(l.Sites) == 0 {
		b.WriteString("\nNo clock of this fleet changes in this week.\n")
		return b.String()
	}
	fmt.Fprintf(&b, "%s to do.\n", Count(l.Open(), "clock", "clocks"))
	for _, s := range l.Sites {
		fmt.Fprintf(&b, "\n%s (%s)\n", s.Name, s.Zone)
		for _, line := range [][2]string{{"where: ", s.Place}, {"access:", s.Access}} {
			if line[1] != "" {
				fmt.Fprintf(&b, "  %s %s\n", line[0], line[1])
			}
		}
		for _, c := range s.Clocks {
			c.print(&b)
		}
	}
	return b.String()
}

func (c ChangeClock) print(b *strings.Builder) {
	box := "[ ]"
	switch {
	case c.Done:
		box = "[done]"
	case c.Rests:
		box = "[rests]"
	}
	who := cmp.Or(strings.Join(c.People, ", "), "nobody is named")
	fmt.Fprintf(b, "  %s %s, %s\n      %s\n      who: %s\n      ! %s\n", box, c.Name, c.On.Words(), c.How, who, c.Caution)
}
