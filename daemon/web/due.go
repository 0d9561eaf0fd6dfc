package web

import (
	"fmt"
	"net/http"
	"slices"

	"endshake/schedule"
)

// daysAhead is how far ahead the due-list looks.
const daysAhead = 90

// duePage is the due-list over the fleet.
type duePage struct {
	Lede         string
	Groups       []dueGroup
	Cautions     []string // numbered, for the foot of a printed list
	Change       string   // link to the change of time, in words; empty: none is ahead
	Person, Kind string   // the filter
	People       []schedule.Person
	Kinds        []schedule.TaskKind
}

// dueGroup is the tasks that stand under one heading.
type dueGroup struct {
	Head  string // Task.Heading
	Words string // what it means
	Count string
	Tasks taskList
}

// headings are what tasks stand under, the most pressing first, each with what
// it means.
var headings = []struct{ head, words string }{
	{schedule.RankWords[schedule.Danger], "something may hurt somebody, or break"},
	{schedule.RankWords[schedule.MayHaveStopped], "by what is logged it has run down, or a power cut stopped it: find out how it stands"},
	{schedule.RankWords[schedule.StopsSoon], "without it the clock stops within days"},
	{schedule.RankWords[schedule.AtLimit], "a bearing or a line is at its limit"},
	{schedule.RankWords[schedule.PastItsDay], "past the last good day"},
	{string(schedule.Due), "wants doing now"},
	{string(schedule.Open), "may be done now"},
	{string(schedule.Ahead), fmt.Sprintf("its window opens within %d days", daysAhead)},
	{string(schedule.Resting), "the clock is out of season or stopped for work"},
}

func (s *server) due(w http.ResponseWriter, r *http.Request) {
	snap, ok := s.snapshot(w, r)
	if !ok {
		return
	}
	q := r.URL.Query()
	page := duePage{Person: q.Get("person"), Kind: q.Get("kind"), People: snap.Fleet.People, Kinds: schedule.TaskKinds}
	byHead := map[string][]taskLine{}
	shown := 0
	for _, t := range snap.DueList().Tasks {
		a, ok := snap.Clock(t.Clock)
		if !ok || !page.wants(a.Clock, t) {
			continue
		}
		if t.State == schedule.Ahead && t.From.Sub(schedule.DateOf(a.Now, a.Zone)) > daysAhead {
			continue
		}
		shown++
		byHead[t.Heading()] = append(byHead[t.Heading()], newTaskLine(by(r), snap.Fleet, a, t))
	}
	var lists [][]taskLine
	for _, h := range headings {
		if tasks := byHead[h.head]; len(tasks) > 0 {
			page.Groups = append(page.Groups, dueGroup{Head: h.head, Words: h.words, Count: schedule.Count(len(tasks), "task", "tasks")})
			lists = append(lists, tasks)
		}
	}
	for i, l := range newTaskLists(lists) {
		page.Groups[i].Tasks, page.Cautions = l, l.Cautions
	}
	page.Change = changeLink(snap)
	page.Lede = dueLede(page.Groups, shown)
	s.show(w, r, http.StatusOK, "due", view{Title: "Due", Here: "/due", Body: page})
}

// wants reports whether the filter lets a task through.
func (p duePage) wants(c schedule.Clock, t schedule.Task) bool {
	if p.Kind != "" && string(t.Kind) != p.Kind {
		return false
	}
	return p.Person == "" || slices.Contains(t.People, p.Person) || (len(t.People) == 0 && c.Has(p.Person))
}

func dueLede(groups []dueGroup, shown int) string {
	if shown == 0 {
		return fmt.Sprintf("Nothing is late, due or open, and nothing opens within %d days.", daysAhead)
	}
	counts := map[schedule.TaskState]int{}
	for _, g := range groups {
		for _, t := range g.Tasks.Lines {
			counts[t.State]++
		}
	}
	out := fmt.Sprintf("%s: %s", schedule.Count(shown, "task", "tasks"), stateWords(counts))
	for _, s := range []schedule.TaskState{schedule.Ahead, schedule.Resting} {
		if counts[s] > 0 {
			out += fmt.Sprintf(", %d %s", counts[s], s)
		}
	}
	out += "."
	if first := groups[0].Tasks.Lines[0]; pressing(first.State) {
		out += fmt.Sprintf(" First of all: %s at %s, %s.", first.What(), first.ClockName, first.When)
	}
	return out
}

// taskList is a list of tasks with the cautions that are numbered in print.
type taskList struct {
	Lines    []taskLine
	Cautions []string
}

// keepsCaution are the kinds of task whose caution stands in full with them in
// print too: what goes wrong there goes wrong at once.
var keepsCaution = []schedule.TaskKind{schedule.Locked, schedule.PowerCheck, schedule.NearLimit, schedule.LineLook, schedule.LineAge}

// newTaskLists numbers the cautions of lists that stand on one page. On paper a
// caution that comes again and again stands once at the foot, and each task
// names its number; the cautions of dangerous work stay where they are.
func newTaskLists(lists [][]taskLine) []taskList {
	times := map[string]int{}
	for _, l := range lists {
		for _, t := range l {
			times[t.Caution]++
		}
	}
	number := map[string]int{}
	var cautions []string
	out := make([]taskList, len(lists))
	for i, l := range lists {
		for j := range l {
			t := &l[j]
			if t.Rank == schedule.Danger || slices.Contains(keepsCaution, t.Kind) || times[t.Caution] < 2 || t.Caution == "" {
				continue
			}
			if number[t.Caution] == 0 {
				cautions = append(cautions, t.Caution)
				number[t.Caution] = len(cautions)
			}
			t.Number = number[t.Caution]
		}
		out[i].Lines = l
	}
	for i := range out {
		out[i].Cautions = cautions
	}
	return out
}
