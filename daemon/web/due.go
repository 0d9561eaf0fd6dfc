package web

import (
	"cmp"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"endshake/schedule"
)

// daysAhead is how far ahead the due-list looks.
const daysAhead = 90

// duePage is the due-list over the fleet.
type duePage struct {
	Lede     string
	Empty    bool // nothing is in care
	Sieve    sieve
	Form     sieveForm
	Kinds    []option
	Found    string // what the sieve has left; empty: all
	ByPlace  string // address of the same by place; empty: it is
	Groups   []dueGroup
	Others   []dueGroup // what is for others on their clocks; a conservator's is not told apart
	ForOther int        // how many tasks are, on all pages
	Pager    pager
	Cautions []string // numbered, for the foot of a printed list
	Change   string   // link to the change of time, in words; empty: none is ahead
}

// dueGroup is the tasks that stand under one heading: how they press, or a place.
type dueGroup struct {
	ID     string // its place on the page
	Head   string // Task.Heading, or a place
	Words  string // what it means, or where it is
	Access string // keys and stairs of a place
	Count  string
	Tasks  taskList
}

// headings are what tasks stand under, the most pressing first, each with what
// it means.
var headings = []struct{ head, words string }{
	{schedule.RankWords[schedule.Danger], "something may hurt somebody, or break"},
	{schedule.RankWords[schedule.MayHaveStopped], "by the log, or after a power cut"},
	{schedule.RankWords[schedule.StopsSoon], "without it the clock stops within days"},
	{schedule.RankWords[schedule.ToAct], "an inspection found it, and nothing is logged that mends it"},
	{schedule.RankWords[schedule.AtLimit], "a bearing or a line is at its limit"},
	{schedule.RankWords[schedule.PastItsDay], "past the last good day"},
	{string(schedule.Due), "wants doing now"},
	{string(schedule.Open), "may be done now"},
	{string(schedule.Ahead), fmt.Sprintf("its window opens within %d days", daysAhead)},
	{string(schedule.Resting), "the clock is out of season or stopped for work"},
}

// taskStates are the states of tasks that a reader may ask for.
var taskStates = []option{
	{string(schedule.Late), "late"}, {string(schedule.Due), "due"}, {string(schedule.Open), "open"},
	{string(schedule.Ahead), "ahead"}, {string(schedule.Resting), "resting"}, {thisWeek, "to be done by Sunday"},
}

// thisWeek asks for what is late, and what falls due before the week is over.
const thisWeek = "week"

// inState reports whether a task is in a state that a reader asks for.
func inState(a *schedule.Assessment, t *schedule.Task, state string) bool {
	if state != thisWeek {
		return state == "" || string(t.State) == state
	}
	today := schedule.DateOf(a.Now, a.Zone)
	sunday := today.Add((7 - int(today.Start(time.UTC).Weekday())) % 7)
	return t.State != schedule.Resting && !t.Due.IsZero() && !t.Due.After(sunday)
}

// dueOrders are the orders of the due-list.
var dueOrders = []option{{string(byPressing), "what presses most"}, {string(byPlace), "place by place"}}

func (s *server) due(w http.ResponseWriter, r *http.Request) {
	rd, ok := s.reader(w, r)
	if !ok {
		return
	}
	f := rd.readSieve("/due", r.URL.Query(), taskStates, dueOrders)
	s.showKept(w, r, rd, f.key(), "due", func() view {
		return view{Title: "Due", Here: "/due", Body: rd.duePage(by(r), f)}
	})
}

func (rd *onlooker) duePage(by schedule.Actor, f sieve) duePage {
	page := duePage{Kinds: kindOptions(), Empty: len(rd.seen.Clocks) == 0, Change: rd.change()}
	found := rd.siftTasks(&f)
	page.Lede = rd.dueLede(found, f.Order)
	if len(found) == 0 && f.Any() {
		page.Lede = "No task is like what was asked for."
	}
	if f.Order == byPlace {
		found = rd.placeByPlace(found)
	} else {
		g := f
		g.Order = byPlace
		page.ByPlace = g.at(1)
	}
	own := len(found)
	if !by.Conservator && f.people == nil {
		found, own = rd.ownFirst(by.Person, found)
	}
	page.ForOther = len(found) - own
	from, until := f.pageOf(len(found), pageOfLines)
	groups, lists := rd.dueGroups(by, f.Order, found[:own], min(from, own), min(until, own))
	mine := len(groups)
	others, theirs := rd.dueGroups(by, f.Order, found[own:], max(from, own)-own, max(until, own)-own)
	groups, lists = append(groups, others...), append(lists, theirs...)
	for i, l := range newTaskLists(lists) {
		groups[i].ID, groups[i].Tasks, page.Cautions = fmt.Sprint("head-", i), l, l.Cautions
	}
	page.Groups, page.Others = groups[:mine], groups[mine:]
	page.Pager = f.pager(len(found), pageOfLines)
	if f.Any() {
		page.Found = schedule.Count(len(found), "task", "tasks")
		if said := f.said(rd, taskStates); said != "" {
			page.Found += ": " + said
		}
		page.Found += "."
	}
	page.Form = rd.form(&f, taskStates, dueOrders)
	page.Sieve = f
	return page
}

// kindOptions are the kinds of task, in words.
func kindOptions() []option {
	var out []option
	for _, kind := range schedule.TaskKinds {
		out = append(out, option{string(kind), schedule.Task{Kind: kind}.What()})
	}
	return out
}

// ownFirst puts first what somebody is asked for, and what nobody is; it gives how
// many tasks that is.
func (rd *onlooker) ownFirst(person string, found []taskAt) (all []taskAt, own int) {
	var others []taskAt
	for _, at := range found {
		if people := rd.task(at).People; len(people) == 0 || slices.Contains(people, person) {
			all = append(all, at)
		} else {
			others = append(others, at)
		}
	}
	return append(all, others...), len(all)
}

// dueGroups puts a part of the tasks found under their headings, each counted
// over all that were found, and gives the tasks of each.
func (rd *onlooker) dueGroups(by schedule.Actor, order order, found []taskAt, from, until int) (groups []dueGroup, lists [][]taskLine) {
	head := func(at taskAt) string {
		if order == byPlace {
			return rd.snap.Clocks[at.clock].Clock.Site
		}
		return rd.task(at).Heading()
	}
	count := map[string]int{}
	for _, at := range found {
		count[head(at)]++
	}
	last := ""
	for i, at := range found[from:until] {
		a := &rd.snap.Clocks[at.clock]
		if h := head(at); i == 0 || h != last {
			last = h
			g := dueGroup{Head: h, Count: schedule.Count(count[h], "task", "tasks")}
			if order == byPlace {
				g.Head, g.Words, g.Access = cmp.Or(a.Site.Name, h), a.Site.Place, a.Site.Access
			}
			for _, known := range headings {
				if order != byPlace && known.head == h {
					g.Words = known.words
				}
			}
			if order != byPlace && h == schedule.RankWords[schedule.MayHaveStopped] {
				g.Words = rd.stoppedWords(found)
			}
			groups, lists = append(groups, g), append(lists, nil)
		}
		t := newTaskLine(by, rd.seen.Fleet, zoned(*a), *rd.task(at))
		t.Said = order != byPlace
		lists[len(lists)-1] = append(lists[len(lists)-1], t)
	}
	return groups, lists
}

// stoppedWords counts apart what by the log has stopped and what nobody knows of.
func (rd *onlooker) stoppedWords(found []taskAt) string {
	down, unknown := 0, 0
	for _, at := range found {
		switch t := rd.task(at); {
		case t.Rank != schedule.MayHaveStopped:
		case t.Unsure:
			unknown++
		default:
			down++
		}
	}
	var parts []string
	if down > 0 {
		parts = append(parts, fmt.Sprintf("%d by the log run down", down))
	}
	if unknown > 0 {
		parts = append(parts, fmt.Sprintf("%d not known since a power cut", unknown))
	}
	return strings.Join(parts, ", ")
}

// dueLede is the one thing to know of the tasks that are shown.
func (rd *onlooker) dueLede(found []taskAt, order order) string {
	if len(found) == 0 {
		return fmt.Sprintf("Nothing is late, due or open, and nothing opens within %d days.", daysAhead)
	}
	counts := map[schedule.TaskState]int{}
	for _, at := range found {
		counts[rd.task(at).State]++
	}
	out := fmt.Sprintf("%s: %s", schedule.Count(len(found), "task", "tasks"), stateWords(counts))
	for _, s := range []schedule.TaskState{schedule.Ahead, schedule.Resting} {
		if counts[s] > 0 {
			out += fmt.Sprintf(", %d %s", counts[s], s)
		}
	}
	out += "."
	if t, a := rd.task(found[0]), zoned(rd.snap.Clocks[found[0].clock]); order == byPlace && pressing(t.State) { // else it stands first below
		out += fmt.Sprintf(" First of all: %s at %s, %s.", t.What(), a.Clock.Name, when(*t, schedule.DateOf(a.Now, a.Zone)))
	}
	return out
}

// taskList is a list of tasks with the cautions that are numbered in print.
type taskList struct {
	Lines    []taskLine
	Cautions []string
}

// newTaskLists gives lists that stand on one page their places on it, and their
// cautions as they are shown there.
func newTaskLists(lists [][]taskLine) []taskList {
	n := 0
	for _, l := range lists {
		for j := range l {
			n++
			l[j].ID = fmt.Sprint("task-", n)
		}
	}
	cautions := warn(lists)
	out := make([]taskList, len(lists))
	for i, l := range lists {
		out[i] = taskList{Lines: l, Cautions: cautions}
	}
	return out
}
