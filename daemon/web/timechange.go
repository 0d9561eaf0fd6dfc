package web

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"endshake/schedule"
)

// changePage is the fleet's list for a change of time.
type changePage struct {
	Lede     string
	Clocks   []changeLine
	Cautions []string // numbered, for the foot of a printed list
	Later    string   // clocks whose change comes on another day; empty: none
	None     string   // clocks without a change ahead; empty: none
}

// changeLine is one clock's change of time.
type changeLine struct {
	taskLine
	Slug, Site string
	When       string // on the clock's own wall, before the change
	By         string // "put on by 1 hour"
	How        string
	Note       string // who lets one in, and what is special
	Bell       bool   // its bell is silenced first
	Blows      string // that it strikes meanwhile; empty: none
	Done       bool
	On         schedule.Date
}

func (s *server) timeChange(w http.ResponseWriter, r *http.Request) {
	snap, ok := s.snapshot(w, r)
	if !ok {
		return
	}
	s.show(w, r, http.StatusOK, "timechange", view{Title: "Change of time", Here: "/due", Body: newChangePage(snap)})
}

// weekend is how far apart two changes are that go onto one list.
const weekend = 3

func newChangePage(snap *schedule.Snapshot) changePage {
	var page changePage
	var all []changeLine
	var none []string
	for _, a := range snap.Clocks {
		if l := newChangeLine(snap.Fleet, a); l != nil {
			all = append(all, *l)
		} else {
			none = append(none, a.Clock.Name)
		}
	}
	if len(none) > 0 {
		page.None = schedule.And(none)
	}
	slices.SortStableFunc(all, func(a, b changeLine) int { return a.On.Sub(b.On) })
	var later []string
	var tasks []taskLine
	for _, l := range all {
		if l.On.Sub(all[0].On) > weekend {
			later = append(later, l.ClockName+" on "+l.On.Words())
			continue
		}
		page.Clocks = append(page.Clocks, l)
		tasks = append(tasks, l.taskLine)
	}
	page.Later = schedule.And(later)
	list := newTaskLists([][]taskLine{tasks})[0]
	page.Cautions = list.Cautions
	for i := range page.Clocks {
		page.Clocks[i].taskLine = list.Lines[i]
	}
	page.Lede = changeLede(page.Clocks)
	return page
}

func changeLede(clocks []changeLine) string {
	if len(clocks) == 0 {
		return "No clock in care has a change of time ahead."
	}
	left := 0
	for _, c := range clocks {
		if !c.Done {
			left++
		}
	}
	first := clocks[0]
	out := fmt.Sprintf("On %s the hands are %s.", first.On.Start(time.UTC).Format("Monday 2 January 2006"), first.By)
	if left == 0 {
		return out + " All is done."
	}
	return out + fmt.Sprintf(" It is still to be done at %d of %s.", left, schedule.Count(len(clocks), "clock", "clocks"))
}

// newChangeLine is a clock's next change of time; nil where its zone has none
// ahead.
func newChangeLine(f schedule.Fleet, a schedule.Assessment) *changeLine {
	c := a.Change
	if c == nil {
		return nil
	}
	task := schedule.Task{Clock: a.Clock.Slug, Kind: schedule.TimeChange, Caution: schedule.Caution(schedule.TimeChange, a.Site, a.Clock.Cautions)}
	for _, t := range a.Tasks {
		if t.Kind == schedule.TimeChange {
			task = t
		}
	}
	l := changeLine{taskLine: newTaskLine(f, a, task), Slug: a.Clock.Slug, Site: a.Site.Name, On: c.On, When: wall(c.At, before(c, a.Zone)),
		How: c.How, Note: a.Clock.Care.ChangeNote, Bell: a.Clock.Care.Bell, Done: c.Done != "", By: "put back by " + hourWords(-c.By)}
	if l.Site == l.ClockName {
		l.Site = ""
	}
	if c.By > 0 {
		l.By = "put on by " + hourWords(c.By)
	}
	if c.Blows > 0 {
		l.Blows = schedule.Count(c.Blows, "blow", "blows")
	}
	l.Form = formFor(a, schedule.Set, url.Values{"change": {c.On.String()}})
	return &l
}

// before is the zone as it holds until the change.
func before(c *schedule.ChangeState, zone *time.Location) *time.Location {
	name, offset := c.At.Add(-time.Second).In(zone).Zone()
	return time.FixedZone(name, offset)
}

// hourWords says by how much hands are put on or back.
func hourWords(d time.Duration) string {
	if d%time.Hour == 0 {
		return schedule.Count(int(d.Hours()), "hour", "hours")
	}
	return schedule.Count(int(d.Minutes()), "minute", "minutes")
}

// changeLink says which change of time comes next; nothing where none does.
func changeLink(snap *schedule.Snapshot) string {
	page := newChangePage(snap)
	if len(page.Clocks) == 0 {
		return ""
	}
	return strings.TrimSuffix("change of time on "+page.Clocks[0].On.Words(), ".")
}
