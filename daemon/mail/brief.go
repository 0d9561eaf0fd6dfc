package mail

import (
	"cmp"
	"fmt"
	"strings"

	"endshake/schedule"
)

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
