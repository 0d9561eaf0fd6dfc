package calendar

import (
	"net/url"
	"strings"

	"endshake/schedule"
)

// Of is a task as an event of the day on which it is due, with why, how sure
// and what can hurt somebody. Base is the address of the pages; empty: no link.
func Of(a schedule.Assessment, t schedule.Task, base string) Event {
	e := Event{
		UID: schedule.EventUID(t.Clock, t.Kind, t.Subject), Day: t.Due,
		Title: schedule.Visible(a.Clock.Name) + ": " + schedule.Visible(t.What()),
	}
	if t.Past != "" {
		e.Words = schedule.Capital(schedule.Visible(t.PastWords())) + ".\n"
	} else if !t.From.IsZero() && !t.Latest.IsZero() {
		e.Words = "Good days: " + t.From.Words() + " to " + t.Latest.Words() + ".\n"
	}
	for _, part := range [][2]string{{"Why: ", t.Reason}, {"How sure: ", t.Confidence}, {"Caution: ", t.Caution}} {
		if part[1] != "" {
			e.Words += part[0] + schedule.Visible(part[1]) + "\n"
		}
	}
	e.Words = strings.TrimSuffix(e.Words, "\n")
	var where []string
	for _, part := range []string{a.Site.Name, a.Site.Place} {
		if part != "" {
			where = append(where, part)
		}
	}
	e.Where = strings.Join(where, ", ")
	if a.Site.Access != "" {
		e.Words += "\nAccess: " + schedule.Visible(a.Site.Access)
	}
	if base != "" {
		e.Page = strings.TrimRight(base, "/") + "/clock/" + url.PathEscape(t.Clock)
	}
	return e
}
