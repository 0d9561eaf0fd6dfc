package mail

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"endshake/schedule"
)

// brief is the first page of a due-list: what wants doing, one line a task,
// under the headings under which the details stand too.
type brief struct {
	Title string
	Lines []string
}

// inBrief lists what presses or may be done now, the most pressing first.
func inBrief(l schedule.Letter) []brief {
	names := map[string]string{}
	for _, a := range l.Clocks {
		names[a.Clock.Slug] = name(a.Clock.Name)
	}
	lines := map[string][]string{}
	for _, t := range byPressing(l.Clocks) {
		line := name(schedule.Capital(t.What())) + ", " + names[t.Clock]
		if !t.Due.IsZero() {
			line += ", due " + t.Due.Words()
		}
		lines[t.Heading()] = append(lines[t.Heading()], line)
	}
	var out []brief
	for _, head := range append(slices.Clone(headings), string(schedule.Open)) {
		if of := lines[head]; len(of) > 0 {
			out = append(out, brief{cmp.Or(headingWords[head], schedule.Capital(head)), of})
		}
	}
	return out
}

// opening is the one thing to know: how many tasks are in each state, counted as
// in the subject, and how many more fall due soon.
func opening(counts map[schedule.TaskState]int, soon int, by schedule.Date) string {
	now := counts[schedule.Late]+counts[schedule.Due]+counts[schedule.Open] > 0
	switch {
	case now && soon > 0:
		return fmt.Sprintf("%s; by %s %s due.", pressing(counts), by.Words(), schedule.Count(soon, "more falls", "more fall"))
	case now:
		return fmt.Sprintf("%s; nothing more falls due by %s.", pressing(counts), by.Words())
	case soon > 0:
		return fmt.Sprintf("Nothing is late, due or open; %s due by %s.", schedule.Count(soon, "task falls", "tasks fall"), by.Words())
	}
	return fmt.Sprintf("Nothing is late, due or open, and nothing falls due by %s.", by.Words())
}

// pressing counts what is late, due and open, for the subject and the opening.
func pressing(counts map[schedule.TaskState]int) string {
	var parts []string
	for _, s := range []schedule.TaskState{schedule.Late, schedule.Due, schedule.Open} {
		if counts[s] > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", counts[s], s))
		}
	}
	return cmp.Or(strings.Join(parts, ", "), "nothing late, due or open")
}
