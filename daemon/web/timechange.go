package web

import (
	"cmp"
	"fmt"
	"net/http"
	"net/url"
	"time"

	"endshake/schedule"
)

// changePage is the fleet's list for one weekend of a change of time.
type changePage struct {
	Lede     string
	Sites    []changeSite // where it is still to be done, or the clock rests
	Done     []changeLine
	Cautions []string // numbered, for the foot of a printed list
	Next     *pair    // the change after this one: its day for an address, and in words; nil: none
	Later    string   // clocks whose change comes on another day; empty: none
	None     string   // clocks without a change ahead; empty: none
}

// changeSite is the clocks of one site on that list.
type changeSite struct {
	Name, Place, Access string
	Clocks              []changeLine
}

// changeLine is one clock's change of time.
type changeLine struct {
	taskLine
	Slug  string
	State string // done, rests or to do
	When  string
	By    string // "put on by 1 hour"
	How   string
}

// Class is how its state looks.
func (l changeLine) Class() string {
	return map[string]string{"done": "sound", "to do": "open"}[l.State]
}

// Open reports that it is still to be done.
func (l changeLine) Open() bool { return l.State == "to do" }

// timeChange shows the list for the weekend of the change that comes next, or
// of a day that is asked for.
func (s *server) timeChange(w http.ResponseWriter, r *http.Request) {
	snap, ok := s.snapshot(w, r)
	if !ok {
		return
	}
	day, known := nextChange(snap)
	if text := r.URL.Query().Get("day"); text != "" {
		asked, err := changeDay(text, snap.Now)
		if err != nil {
			s.failed(w, r, err)
			return
		}
		day, known = asked, true
	}
	page := changePage{Lede: "No clock in care has a change of time ahead."}
	switch {
	case len(snap.Clocks) == 0:
		page.Lede = noClocks
	case known:
		page = newChangePage(by(r), snap, day)
	}
	s.show(w, r, http.StatusOK, "timechange", view{Title: "Change of time", Here: "/due", Body: page})
}

// mostChange is how many years from now changes of time may be asked for:
// further on no zone's rules are known (judgement, no source).
const mostChange = 50

// changeDay reads the day of a list that is asked for.
func changeDay(text string, now time.Time) (schedule.Date, error) {
	day, err := schedule.ParseDate(text)
	switch {
	case err != nil:
		return day, &schedule.Error{Code: schedule.Invalid, Field: "day",
			Message: fmt.Sprintf("The day %q is not understood: write it as year-month-day, like 2026-11-25", short(text))}
	case day.Year > now.Year()+mostChange || day.Year < now.Year()-mostChange:
		return day, &schedule.Error{Code: schedule.Invalid, Field: "day",
			Message: fmt.Sprintf("The changes of time of the year %d are not known: ask for a day within %d years of today", day.Year, mostChange)}
	}
	return day, nil
}

// nextChange is the day of the change that some clock waits for first.
func nextChange(snap *schedule.Snapshot) (first schedule.Date, ok bool) {
	for _, a := range snap.Clocks {
		if c := a.Change; c != nil && (!ok || c.On.Before(first)) {
			first, ok = c.On, true
		}
	}
	return first, ok
}

func newChangePage(reader schedule.Actor, snap *schedule.Snapshot, day schedule.Date) changePage {
	list := snap.ChangeList(day)
	var page changePage
	var tasks [][]taskLine
	for _, site := range list.Sites {
		lines := changeSite{Name: site.Name, Place: site.Place, Access: site.Access}
		var of []taskLine
		for _, c := range site.Clocks {
			l := newListedChange(c)
			if mayLog(snap.Fleet, reader, schedule.Clock{Slug: c.Clock}, schedule.Set) != nil {
				l.Form = ""
			}
			if l.State == "done" {
				page.Done = append(page.Done, l)
				continue
			}
			lines.Clocks, of = append(lines.Clocks, l), append(of, l.taskLine)
		}
		if len(of) > 0 {
			page.Sites, tasks = append(page.Sites, lines), append(tasks, of)
		}
	}
	for i, l := range newTaskLists(tasks) {
		page.Cautions = l.Cautions
		for j := range l.Lines {
			page.Sites[i].Clocks[j].taskLine = l.Lines[j]
		}
	}
	page.Lede = changeLede(list)
	page.Later, page.None = otherChanges(snap, list)
	page.Next = changeAfter(snap, list.To)
	return page
}

// changeAfter is the first change of any clock's zone after a day; nil: none that
// may be asked for.
func changeAfter(snap *schedule.Snapshot, day schedule.Date) *pair {
	var first schedule.Date
	for _, a := range snap.Clocks {
		if a.Zone == nil {
			continue
		}
		if at, _, ok := schedule.NextChange(a.Zone, day.Add(1).Start(a.Zone)); ok {
			if on := schedule.DateOf(at, a.Zone); first.IsZero() || on.Before(first) {
				first = on
			}
		}
	}
	if first.IsZero() || first.Year > snap.Now.Year()+mostChange {
		return nil
	}
	return &pair{first.String(), first.Words()}
}

// otherChanges names the clocks that are not on a list, as their change comes on
// another weekend or they have none ahead.
func otherChanges(snap *schedule.Snapshot, list schedule.ChangeList) (later, none string) {
	var other, never []string
	listed := map[string]bool{}
	for _, s := range list.Sites {
		for _, c := range s.Clocks {
			listed[c.Clock] = true
		}
	}
	for _, a := range snap.Clocks {
		switch c := a.Change; {
		case c == nil && !listed[a.Clock.Slug]:
			never = append(never, a.Clock.Name)
		case !listed[a.Clock.Slug]:
			other = append(other, a.Clock.Name+" on "+c.On.Words())
		}
	}
	return schedule.And(other), schedule.And(never)
}

func changeLede(list schedule.ChangeList) string {
	n := 0
	var first schedule.ChangeClock
	for _, s := range list.Sites {
		if n == 0 {
			first = s.Clocks[0]
		}
		n += len(s.Clocks)
	}
	if n == 0 {
		return fmt.Sprintf("No clock of this fleet changes between %s and %s.", list.From.Words(), list.To.Words())
	}
	out := fmt.Sprintf("On %s %s.", first.On.Start(time.UTC).Format("Monday 2 January 2006"), moved(time.Duration(first.Minutes)*time.Minute))
	if first.Minutes < 0 {
		out += " Stop a clock for as long, or put its hands on round the dial, as stands with it: never force hands back."
	}
	if list.Open() == 0 {
		return out + " Nothing is left to do."
	}
	return out + fmt.Sprintf(" It is still to be done at %d of %s.", list.Open(), schedule.Count(n, "clock", "clocks"))
}

func newListedChange(c schedule.ChangeClock) changeLine {
	l := changeLine{Slug: c.Clock, State: "to do", When: c.On.Start(time.UTC).Format("Mon 2 Jan 2006"), By: moved(time.Duration(c.Minutes) * time.Minute), How: c.How}
	l.Task = schedule.Task{Clock: c.Clock, Kind: schedule.TimeChange, Caution: c.Caution}
	l.ClockName, l.Who, l.Form = c.Name, schedule.And(c.People), tickForm(c.Clock, c.On)
	switch {
	case c.Done:
		l.State = "done"
	case c.Rests:
		l.State = "rests"
	}
	return l
}

// tickForm is the address of the form that ticks a change off.
func tickForm(clock string, on schedule.Date) string {
	return formFor(clock, schedule.Set, url.Values{"change": {on.String()}})
}

// newChangeLine is the change of time that a clock waits for; nil where its
// zone has none ahead.
func newChangeLine(a schedule.Assessment) *changeLine {
	c := a.Change
	if c == nil {
		return nil
	}
	l := changeLine{Slug: a.Clock.Slug, State: cmp.Or(map[bool]string{true: "done"}[c.Done != ""], "to do"), When: wall(c.At, before(c, a.Zone)), By: moved(c.By), How: c.How}
	l.Task = schedule.Task{Kind: schedule.TimeChange, Caution: schedule.Caution(schedule.TimeChange, a.Site, a.Clock.Cautions)}
	l.Form = tickForm(a.Clock.Slug, c.On)
	return &l
}

// before is the zone as it holds until the change.
func before(c *schedule.ChangeState, zone *time.Location) *time.Location {
	name, offset := c.At.Add(-time.Second).In(zone).Zone()
	return time.FixedZone(name, offset)
}

// moved says what a change of time asks for: "the hands are put on by 1 hour", or
// "the time goes back by 1 hour", for hands are not to be turned back.
func moved(by time.Duration) string {
	words, way := "", "the hands are put on by "
	if by < 0 {
		by, way = -by, "the time goes back by "
	}
	if by%time.Hour == 0 {
		words = schedule.Count(int(by.Hours()), "hour", "hours")
	} else {
		words = schedule.Count(int(by.Minutes()), "minute", "minutes")
	}
	return way + words
}

// changeLink says which change of time comes next, or is not done everywhere;
// nothing where none is.
func changeLink(snap *schedule.Snapshot) string {
	day, ok := nextChange(snap)
	if !ok {
		return ""
	}
	words := "change of time on " + day.Words()
	if day.Before(snap.Today()) {
		words += ", still open at " + schedule.Count(snap.ChangeList(day).Open(), "clock", "clocks")
	}
	return words
}
