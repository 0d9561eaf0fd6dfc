package web

import (
	"fmt"
	"net/http"
	"slices"
	"strings"

	"endshake/schedule"
)

// daysAhead is how far ahead the due-list looks.
const daysAhead = 90

// duePage is the due-list over the fleet.
type duePage struct {
	Lede         string
	Groups       []dueGroup
	Person, Kind string // the filter
	People       []schedule.Person
	Kinds        []schedule.TaskKind
}

// dueGroup is the tasks in one state.
type dueGroup struct {
	State schedule.TaskState
	Words string // what the state means
	Tasks []taskLine
}

// stateWords says what each state means.
var stateWords = map[schedule.TaskState]string{
	schedule.Late:    "past the last good day",
	schedule.Due:     "wants doing now",
	schedule.Open:    "may be done now",
	schedule.Ahead:   fmt.Sprintf("its window opens within %d days", daysAhead),
	schedule.Resting: "the clock is out of season or stopped for work",
}

func (s *server) due(w http.ResponseWriter, r *http.Request) {
	snap, ok := s.snapshot(w, r)
	if !ok {
		return
	}
	q := r.URL.Query()
	page := duePage{Person: q.Get("person"), Kind: q.Get("kind"), People: snap.Fleet.People, Kinds: schedule.TaskKinds}
	byState := map[schedule.TaskState][]taskLine{}
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
		byState[t.State] = append(byState[t.State], newTaskLine(snap.Fleet, a, t))
	}
	for _, state := range schedule.TaskStates {
		if len(byState[state]) > 0 {
			page.Groups = append(page.Groups, dueGroup{state, stateWords[state], byState[state]})
		}
	}
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
	var parts []string
	for _, g := range groups {
		parts = append(parts, fmt.Sprintf("%d %s", len(g.Tasks), g.State))
	}
	out := "Tasks by state: " + strings.Join(parts, ", ") + "."
	if first := groups[0].Tasks[0]; pressing(first.State) {
		out += fmt.Sprintf(" First of all: %s at %s, %s.", first.What(), first.ClockName, first.When)
	}
	return out
}
