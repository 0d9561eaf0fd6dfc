package mail

import (
	"net/mail"
	"slices"
	"time"

	"endshake/daemon/calendar"
	"endshake/schedule"
	"endshake/wear"
)

// dates are the days that a letter sets, as a calendar to put into one's own;
// nil: it sets none.
func (c Composer) dates(l schedule.Letter, from *mail.Address, now time.Time) ([]byte, error) {
	var events []calendar.Event
	switch l.Kind {
	case schedule.WindReminder:
		for _, t := range l.Tasks() {
			if len(l.Clocks) == 1 && !t.Due.Before(l.Today) {
				events = append(events, calendar.Of(l.Clocks[0], t, c.base()))
			}
		}
	case schedule.DueList:
		events = c.dueDates(l)
	case schedule.ChangeWeek:
		if l.Changes == nil {
			return nil, nil
		}
		events = c.changeDates(l)
	}
	events = slices.DeleteFunc(events, func(e calendar.Event) bool { return e.Day.IsZero() })
	if len(events) == 0 {
		return nil, nil
	}
	for i := range events {
		events[i].Words = wear.OwnFirst(l.Person.Units, events[i].Words)
		events[i].Title, events[i].Where = clip(events[i].Title, 2*maxName), clip(events[i].Where, 2*maxName)
	}
	return calendar.Calendar{Name: "Clock care", From: from, Events: events}.Encode(now)
}

// dueDates are the tasks of a due-list that fall due in the next 30 days.
func (c Composer) dueDates(l schedule.Letter) []calendar.Event {
	var out []calendar.Event
	for _, a := range l.Clocks {
		for _, t := range a.Tasks {
			if t.State != schedule.Resting && t.Kind != schedule.Locked && !t.Due.Before(l.Today) && !t.Due.After(l.Today.Add(soonDays)) {
				out = append(out, calendar.Of(a, t, c.base()))
			}
		}
	}
	return out
}

// changeDates are the clocks that still want seeing to at a change of time.
func (c Composer) changeDates(l schedule.Letter) []calendar.Event {
	var out []calendar.Event
	for _, s := range l.Changes.Sites {
		for _, k := range s.Clocks {
			if k.Done || k.Rests {
				continue
			}
			a := schedule.Assessment{Clock: schedule.Clock{Slug: k.Clock, Name: k.Name}, Site: schedule.Site{Name: s.Name, Place: s.Place, Access: s.Access}}
			out = append(out, calendar.Of(a, schedule.Task{Clock: k.Clock, Kind: schedule.TimeChange, Due: k.On, Reason: k.How, Caution: k.Caution}, c.base()))
		}
	}
	return out
}
