package web

import (
	"slices"
	"time"

	"endshake/schedule"
)

// mostLatest is how many entries a winder is shown before all else.
const mostLatest = 3

// nextWork is the first work on a clock that is its reader's own.
type nextWork struct {
	Link, Head string
	Words      string // by when, and when it stops without
	job        string // the quick form that it leads to
}

// windsOnly reports whether somebody does no more on a clock than wind it.
func windsOnly(reader schedule.Actor, c schedule.Clock) bool {
	winds := false
	for _, d := range c.Duties {
		if d.Person != reader.Person {
			continue
		}
		if d.Role != schedule.Winder && d.Role != schedule.Deputy {
			return false
		}
		winds = true
	}
	return winds && !reader.Conservator
}

// keepsHere reports whether somebody goes up to a clock as its keeper, winder or
// deputy, and does not run the fleet.
func keepsHere(reader schedule.Actor, c schedule.Clock) bool {
	return !reader.Conservator && slices.ContainsFunc(c.Duties, func(d schedule.Duty) bool {
		return d.Person == reader.Person && (d.Role == schedule.Keeper || d.Role == schedule.Winder || d.Role == schedule.Deputy)
	})
}

// nextWorkOf finds what a reader is asked for next on a clock: of what may be
// done now the most pressing, else the winding that is ahead.
func nextWorkOf(reader schedule.Actor, a schedule.Assessment) *nextWork {
	var best *schedule.Task
	for i := range a.Tasks {
		t := &a.Tasks[i]
		if !slices.Contains(t.People, reader.Person) || !slices.Contains(reader.Kinds(a.Clock), answeredBy[t.Kind]) || t.State == schedule.Resting {
			continue
		}
		if _, ok := jobOf(t.Kind); ok && (pressing(t.State) || t.Kind == schedule.Winding) && (best == nil || !pressing(best.State) && t.Due.Before(best.Due)) {
			best = t
		}
	}
	if best == nil {
		return nil
	}
	j, _ := jobOf(best.Kind)
	out := &nextWork{Link: j.address(a.Clock.Slug, best.Subject), Head: j.head, job: j.head}
	today := schedule.DateOf(a.Now, a.Zone)
	if best.Kind != schedule.Winding {
		out.Words = schedule.Capital(best.What()) + ", " + when(*best, today) + "."
		return out
	}
	hand := quick{entryForm: entryForm{a: a}}.wound()
	if len(hand) > 1 {
		out.Link, out.Head = j.address(a.Clock.Slug, ""), "Wind "+allTrains(len(hand))
	}
	out.Words = out.Head + " by " + weekday(best.Due.Start(a.Zone))
	switch {
	case !a.Going:
		out.Words = out.Head + ", set it going, and set the hands."
		return out
	case best.Due.Before(today):
		out.Words = out.Head + ", " + when(*best, today)
	}
	if st, ok := a.Train(best.Subject); ok && st.Wind.Lost == "" && !st.Wind.Stops.IsZero() {
		about := "; it stops about "
		if st.Wind.Past {
			about = "; by its log it stopped about "
		}
		out.Words += about + wall(st.Wind.Stops, a.Zone)
	}
	out.Words += "."
	return out
}

// weekday is a day as people say it: "Sat 28 Nov".
func weekday(t time.Time) string { return t.Format("Mon 2 Jan") }
