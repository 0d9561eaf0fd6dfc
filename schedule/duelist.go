package schedule

import (
	"cmp"
	"fmt"
	"strings"
)

// Tally is the due-list of the fleet: every task with its window, the most
// pressing first.
type Tally struct {
	Today Date   `json:"today"`
	Tasks []Task `json:"tasks"`
}

// DueList gathers the tasks of all clocks on a day in each clock's own zone.
func (s *Snapshot) DueList() Tally {
	tasks := []Task{}
	for i := range s.Clocks {
		tasks = append(tasks, s.Clocks[i].Tasks...)
	}
	sortLarge(tasks, Pressing)
	return Tally{s.Today(), tasks}
}

// Today is the day of the snapshot, in the zone of its first clock.
func (s *Snapshot) Today() Date {
	if len(s.Clocks) == 0 {
		return DateOf(s.Now, s.Now.Location())
	}
	return s.Clocks[0].dayOf(s.Clocks[0].Now)
}

// Text prints the due-list for a terminal or a sheet of paper: what is to be
// done within the given days, each with its reason and caution.
func (t Tally) Text(s *Snapshot, within int) string {
	var b strings.Builder
	count := map[TaskState]int{}
	var shown []Task
	for _, task := range t.Tasks {
		if task.State == Ahead && task.From.Sub(t.Today) > within {
			continue
		}
		count[task.State]++
		shown = append(shown, task)
	}
	fmt.Fprintf(&b, "Due-list for %s\n%d late, %d due, %d open; %d more within %s.\n", t.Today.Words(),
		count[Late], count[Due], count[Open], count[Ahead], Days(within))
	for i, task := range shown {
		if i == 0 || task.Heading() != shown[i-1].Heading() {
			fmt.Fprintf(&b, "\n%s\n", strings.ToUpper(task.Heading()))
		}
		name := task.Clock
		if a, ok := s.Clock(task.Clock); ok {
			name = a.Clock.Name
		}
		window := fmt.Sprintf("from %s, due %s, latest %s", task.From.Words(), task.Due.Words(), task.Latest.Words())
		fmt.Fprintf(&b, "\n%s: %s\n  %s\n  %s\n  rests on: %s\n  sure? %s\n  who:  %s\n  first step: %s\n  ! %s\n", name, task.What(),
			cmp.Or(task.Past, window), task.Reason, task.Evidence, task.Confidence,
			cmp.Or(strings.Join(s.names(task.People), ", "), "nobody is named"), task.Next, task.Caution)
	}
	return b.String()
}

// names turns slugs into the names of people.
func (s *Snapshot) names(slugs []string) []string {
	out := make([]string, 0, len(slugs))
	for _, slug := range slugs {
		if p, ok := s.Fleet.Person(slug); ok {
			out = append(out, p.Name)
		}
	}
	return out
}
