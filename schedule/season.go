package schedule

import (
	"fmt"
	"slices"
	"time"
)

// Figures of the seasons (judgement, no source).
const (
	// seasonEarly is how many days before its first good day seasonal work
	// counts as done.
	seasonEarly = 60
	// startEarly and startGrace are the days around the one on which a clock
	// that rests is to go again.
	startEarly, startGrace = 14, 3
)

// in is the day in a year; of one that the year does not have, the last of its
// month.
func (m MonthDay) in(year int) Date {
	last := time.Date(year, m.Month+1, 0, 0, 0, 0, 0, time.UTC).Day()
	return Date{year, m.Month, min(m.Day, last)}
}

// opens is the first good day of a season's occurrence that begins in a year,
// and closes the last.
func (s Season) opens(year int) Date { return s.From.in(year) }

func (s Season) closes(year int) Date {
	if to := s.To.in(year); !to.Before(s.From.in(year)) {
		return to
	}
	return s.To.in(year + 1)
}

// counts is the first day on which the work counts for the occurrence of a
// year: so many days before it opens, but not while the one before is open.
func (s Season) counts(year int) Date {
	early, before := s.opens(year).Add(-seasonEarly), s.closes(year-1).Add(1)
	if early.Before(before) {
		return before
	}
	return early
}

// season finds a season by its code.
func (c Clock) season(code string) (Season, bool) {
	i := slices.IndexFunc(c.Care.Seasons, func(s Season) bool { return s.Code == code && code != "" })
	if i < 0 {
		return Season{}, false
	}
	return c.Care.Seasons[i], true
}

// hazards are what can hurt somebody doing a task: the clock's, and those of
// the seasonal work.
func (a *Assessment) hazards(t Task) []Hazard {
	out := slices.Clone(a.Clock.Cautions)
	if s, ok := a.Clock.season(t.Subject); ok && t.Kind == Seasonal {
		for _, h := range s.Hazard {
			if !slices.Contains(out, h) {
				out = append(out, h)
			}
		}
	}
	return out
}

// seasonTasks are the tasks that the time of year asks for.
func seasonTasks(a *Assessment) []Task {
	var out []Task
	for _, s := range a.Clock.Care.Seasons {
		if s.Code != "" && s.From.real() && s.To.real() {
			out = append(out, a.seasonal(s))
		}
	}
	if t, ok := a.startAgain(); ok {
		out = append(out, t)
	}
	return out
}

// seasonal is the occurrence of a season that is to be done next. It stays
// until it is done, or until the next opens, which then says so.
func (a *Assessment) seasonal(s Season) Task {
	today := a.dayOf(a.Now)
	year := today.Year + 1 // the last occurrence that work of today counts for
	for s.counts(year).After(today) {
		year--
	}
	owed := func(year int) bool { return !s.closes(year).Before(a.Clock.InCare) }
	year = max(year, a.Clock.InCare.Year-1)
	for !owed(year) {
		year++
	}
	done, isDone := a.seasonDone(s, year)
	_, wasDone := a.seasonDone(s, year-1)
	missed := owed(year-1) && !wasDone
	switch {
	case isDone:
		year++
	case missed && today.Before(s.opens(year)):
		return a.occurrence(s, year-1, "")
	case missed:
		return a.occurrence(s, year, ", and last year's was not logged")
	}
	t := a.occurrence(s, year, "")
	if isDone {
		t.Evidence = "done for this season on " + a.dayOf(done.At).Words()
	}
	return t
}

// seasonDone is the entry that ticks the occurrence of a year.
func (a *Assessment) seasonDone(s Season, year int) (Entry, bool) {
	from, until := s.counts(year), s.counts(year+1)
	e := newest(a.Entries, func(e *Entry) bool {
		if e.Season != s.Code || e.Kind != Noted && e.Kind != Inspected {
			return false
		}
		on := a.dayOf(e.At)
		return !on.Before(from) && on.Before(until)
	})
	if e == nil {
		return Entry{}, false
	}
	return *e, true
}

// occurrence is the task of one year.
func (a *Assessment) occurrence(s Season, year int, missed string) Task {
	from, to := s.opens(year), s.closes(year)
	return Task{
		Kind: Seasonal, Subject: s.Code, About: s.Name, From: from, Due: to, Latest: to, Source: s.Source,
		Reason:     fmt.Sprintf("once a year from %s to %s%s", from.Words(), to.Words(), missed) + inBrackets(s.Reason),
		Confidence: "firm: by the calendar",
		Evidence:   "nothing is logged of it for this season",
	}
}

// startsAgain reports whether a task is to start a clock that rests.
func (t Task) startsAgain() bool { return t.Kind == Seasonal && t.Subject == "" }

// startAgain asks for a clock that rests to be started on its day, and goes on
// asking until it is.
func (a *Assessment) startAgain() (Task, bool) {
	if a.Going {
		return Task{}, false
	}
	stop, ok := lastStop(a)
	if !ok || stop.Until.IsZero() {
		return Task{}, false
	}
	return Task{
		Kind: Seasonal, About: "starting it again", From: stop.Until.Add(-startEarly), Due: stop.Until, Latest: stop.Until.Add(startGrace),
		Reason:     fmt.Sprintf("stopped on %s (%s), to go again on %s", a.dayOf(stop.At).Words(), stop.Cause, stop.Until.Words()),
		Source:     "the log",
		Confidence: "firm: the day that was given when it was stopped",
		Evidence:   "stopped on " + a.dayOf(stop.At).Words(),
		Next:       "Ask the conservator whether anything must be done before it goes, then wind it, start it, set it, and log the start.",
	}, true
}
