package web

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"endshake/daemon/calendar"
	"endshake/schedule"
	"endshake/wear"
)

const (
	// feedDays is how far ahead a calendar looks: a year and what comes a little
	// late in it.
	feedDays = 400
	// mostEvents is how many events it holds, the most pressing of all.
	mostEvents = 2000
)

// calendar answers with the calendar of whoever a pass was given to.
func (s *server) calendar(w http.ResponseWriter, r *http.Request) {
	token, is := strings.CutSuffix(r.PathValue("file"), ".ics")
	if !is {
		token = ""
	}
	p, ok := s.pass(w, r, token, schedule.Following)
	if !ok {
		return
	}
	snap, ok := s.whole(w, r)
	if !ok {
		return
	}
	person, here := snap.Fleet.Person(p.Person)
	if why := taken(p, s.Now()); why != "" || !here {
		s.ended(w, r, "Whoever this calendar was given to follows no clock here any more")
		return
	}
	c := calendar.Calendar{Name: "Clocks of " + personName(snap.Fleet, person.Slug), Events: feed(snap.Seen(schedule.Actor{Pass: &p}), person, s.Base)}
	// The stamp is of the day, so that a calendar that has not changed is not
	// fetched anew.
	raw, err := c.Encode(snap.Now.UTC().Truncate(24 * time.Hour))
	if err != nil {
		s.fault(w, r, err)
		return
	}
	h := w.Header()
	h.Set("Content-Type", "text/calendar; charset=utf-8")
	h.Set("Content-Disposition", `inline; filename="clocks.ics"`)
	h.Set("Cache-Control", "private, no-cache")
	h.Set("ETag", fmt.Sprintf(`"%.16x"`, sha256.Sum256(raw)))
	http.ServeContent(w, r, "", time.Time{}, bytes.NewReader(raw))
}

// happening is an event and the day by which it comes before others.
type happening struct {
	calendar.Event
	on schedule.Date
}

// feed is what a person's clocks ask of them, and when those that they wind stop,
// up to feedDays ahead; where that is too much, what comes first. An owner, of
// whom nothing is asked, has what is asked of others.
func feed(snap *schedule.Snapshot, person schedule.Person, base string) []calendar.Event {
	var all []happening
	for _, a := range snap.Clocks {
		if !a.Clock.Has(person.Slug) {
			continue
		}
		owns := a.Clock.Has(person.Slug, schedule.Owner)
		winds := owns
		for _, t := range a.Tasks {
			if !owns && !slices.Contains(t.People, person.Slug) {
				continue
			}
			winds = winds || t.Kind == schedule.Winding
			if h, ok := taskEvent(a, t, base); ok {
				all = append(all, h)
			}
		}
		if winds {
			all = append(all, stopEvents(a, base)...)
		}
	}
	slices.SortStableFunc(all, func(x, y happening) int {
		return x.on.Start(time.UTC).Compare(y.on.Start(time.UTC))
	})
	var out []calendar.Event
	for _, h := range all[:min(len(all), mostEvents)] {
		h.Words = wear.OwnFirst(person.Units, h.Words)
		out = append(out, h.Event)
	}
	return out
}

// taskEvent is a task from the day on which it is due to its last good day; one
// that is late, or past its limit, stands at today, where it is seen. What rests is left out.
func taskEvent(a schedule.Assessment, t schedule.Task, base string) (happening, bool) {
	today := schedule.DateOf(a.Now, a.Zone)
	last := today.Add(feedDays)
	if t.State == schedule.Resting || t.Due.IsZero() || t.Due.After(last) {
		return happening{}, false
	}
	h := happening{Event: calendar.Of(a, t, base), on: t.Due}
	h.Until = t.Latest
	switch c := a.Change; {
	case t.Kind == schedule.TimeChange && c != nil && c.On == t.Due && c.At.After(a.Now):
		h.At = c.At
	case t.Past != "":
		past, _, _ := strings.Cut(t.PastWords(), ":")
		h.Title = schedule.Capital(past) + ": " + h.Title
		h.Day, h.Until = today, today
	case t.Latest.Before(today):
		h.Title = "Late: " + h.Title
		h.Day, h.Until = today, today
	case h.Until.After(last):
		h.Until = last
	}
	return h, true
}

// stopEvents are about when each train that goes stops if nobody winds it.
func stopEvents(a schedule.Assessment, base string) []happening {
	var out []happening
	for _, st := range a.Trains {
		w := st.Wind
		on := schedule.DateOf(w.Stops, a.Zone)
		if st.Train.Drive != wear.HandWound || !st.Going || w.Stops.IsZero() || !w.Stops.After(a.Now) || on.Sub(schedule.DateOf(a.Now, a.Zone)) > feedDays {
			continue
		}
		t := schedule.Task{Clock: a.Clock.Slug, Kind: schedule.Winding, Subject: st.Train.Code, About: schedule.NameOfTrain(st.Train)}
		for _, x := range a.Tasks {
			if x.Kind == t.Kind && x.Subject == t.Subject {
				t = x
			}
		}
		e := calendar.Of(a, t, base)
		e.UID = schedule.EventUID(t.Clock, "stops", t.Subject)
		e.At, e.Day = w.Stops.Truncate(time.Minute), on
		e.Title = a.Clock.Name + ": the " + schedule.NameOfTrain(st.Train) + " stops about now unless it is wound"
		if !w.Early.IsZero() && !w.Late.IsZero() {
			e.Words = "Nine times in ten between " + wall(w.Early, a.Zone) + " and " + wall(w.Late, a.Zone) + " there.\n" + e.Words
		}
		out = append(out, happening{Event: e, on: on})
	}
	return out
}
