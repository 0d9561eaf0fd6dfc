package schedule

import "time"

// What nobody means (judgement, no source).
const (
	longestNotice = 365    // days ahead
	longestClimb  = 8 * 60 // minutes
	mostSpans     = 400    // times shut or away
	mostWhy       = 500    // bytes of a reason for a mark or a span
	markMonths    = 13     // how far ahead rounds are decided by hand
)

func (w *Where) validate(where, what string) error {
	switch {
	case w == nil:
		return nil
	case !(w.Lat >= -90 && w.Lat <= 90):
		return invalid(where, "%s: %s: a latitude of %v cannot be right: give degrees from -90 to 90, north counts up", where, what, w.Lat)
	case !(w.Lon >= -180 && w.Lon <= 180):
		return invalid(where, "%s: %s: a longitude of %v cannot be right: give degrees from -180 to 180, east counts up", where, what, w.Lon)
	}
	return nil
}

func validateHours(where, what string, from, to Minutes) error {
	if from < 0 || to > midnight || from >= to {
		return invalid(where, "%s: %s: from %s to %s are no hours of one day: give two times from 00:00 to 24:00, the earlier first", where, what, from, to)
	}
	return nil
}

// validateDays adds days to those seen, and refuses one that was seen before.
func validateDays(where, what string, days Weekdays, seen map[time.Weekday]bool) error {
	for _, d := range days {
		if d < time.Sunday || d > time.Saturday {
			return invalid(where, "%s: %s: day %d of the week is not known: use %s", where, what, int(d), Week)
		}
		if seen[d] {
			return invalid(where, "%s: %s: %s is given twice: name each day of the week once", where, what, d)
		}
		seen[d] = true
	}
	return nil
}

func validateSpans(where, what string, spans []Span) error {
	if len(spans) > mostSpans {
		return invalid(where, "%s: %d times %s are too many: keep to %d, and leave out what is long past", where, len(spans), what, mostSpans)
	}
	for _, s := range spans {
		switch {
		case s.From.IsZero() || s.Until.IsZero():
			return invalid(where, "%s: a time %s has no first or no last day: give both", where, what)
		case s.Until.Before(s.From):
			return invalid(where, "%s: %s from %s to %s ends before it begins: change the days over", where, what, s.From.Words(), s.Until.Words())
		case s.From.Year < 1850 || s.Until.Year > lastYear:
			return invalid(where, "%s: %s from %s to %s cannot be right: check the years", where, what, s.From.Words(), s.Until.Words())
		}
		if err := checkWhy(where, s.Why); err != nil {
			return err
		}
	}
	return nil
}

// checkWhy holds a reason to one line that fits a page.
func checkWhy(where, why string) error {
	if len(why) > mostWhy {
		return invalid(where, "%s: a reason of %d bytes is too long: keep it under %d", where, len(why), mostWhy)
	}
	return checkNames(where, why)
}

func (r Reach) validate(where string) error {
	if err := r.At.validate(where, "reach"); err != nil {
		return err
	}
	seen := map[time.Weekday]bool{}
	for _, o := range r.Open {
		days := o.Days
		if len(days) == 0 {
			days = Week
		}
		if err := validateDays(where, "open", days, seen); err != nil {
			return err
		}
		if err := validateHours(where, "open", o.From, o.To); err != nil {
			return err
		}
	}
	if err := validateSpans(where, "shut", r.Shut); err != nil {
		return err
	}
	switch {
	case r.Notice < 0 || r.Notice > longestNotice:
		return invalid(where, "%s: notice of %d days cannot be right: use 0 to %d", where, r.Notice, longestNotice)
	case r.Climb < 0 || r.Climb > longestClimb:
		return invalid(where, "%s: %d minutes for in, up and out cannot be right: use 0 to %d", where, r.Climb, longestClimb)
	}
	return checkTexts(where, r.Keys, r.Permit, r.Lift)
}

func (g Going) validate(where string) error {
	if err := g.Home.validate(where, "home"); err != nil {
		return err
	}
	if err := validateDays(where, "days out", g.Days, map[time.Weekday]bool{}); err != nil {
		return err
	}
	if g.Goes() || g.From != 0 || g.To != 0 {
		if err := validateHours(where, "hours out", g.From, g.To); err != nil {
			return err
		}
	}
	return validateSpans(where, "away", g.Away)
}

// Validate reports the first thing in the mark that cannot be right, as a *Error:
// the site and the people are those of the fleet, and the day is to come, within
// thirteen months.
func (m RoundMark) Validate(f Fleet, now time.Time) error {
	where := "round " + string(m.Kind)
	site, atSite := f.Site(m.Site)
	person, byPerson := f.Person(m.Person)
	switch {
	case !known(MarkKinds, m.Kind):
		return invalid(where, "mark a round: %q is not known: use %s", m.Kind, list(MarkKinds))
	case m.Site != "" && !atSite:
		return notFound(where, "mark a round: there is no site %q: choose one of the fleet", m.Site)
	case m.Person != "" && !byPerson:
		return notFound(where, "mark a round: there is no person %q: choose one of the fleet", m.Person)
	case m.Kind == SetVisit && m.Site == "":
		return invalid(where, "keep a visit: no site is given: say where it goes")
	case m.Kind == SetVisit && m.Person == "":
		return invalid(where, "keep a visit to %s: nobody is given: say who goes", m.Site)
	case m.Site == "" && m.Person == "":
		return invalid(where, "rule out a visit: neither a site nor a person is given: name one of them")
	case m.Day.IsZero():
		return invalid(where, "mark a round: no day is given: write it like 2027-03-09")
	}
	if _, ok := f.Person(m.By); m.By != "" && !ok {
		return notFound(where, "mark a round: whoever decided, %q, is not of the fleet: choose somebody who is", m.By)
	}
	if err := m.validateDay(where, DateOf(now, markZone(site, person))); err != nil {
		return err
	}
	if err := m.validateTasks(where, f); err != nil {
		return err
	}
	return checkWhy(where, m.Why)
}

// mostKept is how many tasks one visit may be kept for.
const mostKept = 1000

// validateTasks holds what a visit is kept for to the clocks of its site.
func (m RoundMark) validateTasks(where string, f Fleet) error {
	switch {
	case len(m.Tasks) > 0 && m.Kind != SetVisit:
		return invalid(where, "rule out a visit: it is for %s, and only a visit that is kept is for any", Count(len(m.Tasks), "task", "tasks"))
	case len(m.Tasks) > mostKept:
		return invalid(where, "keep a visit: %d tasks are too many for one: keep it for up to %d", len(m.Tasks), mostKept)
	}
	for _, t := range m.Tasks {
		if c, ok := f.Clock(t.Clock); !ok || c.Site != m.Site {
			return notFound(where, "keep a visit to %s: there is no clock %q at that site: look at the rounds again", m.Site, clipped(t.Clock))
		}
		if !known(TaskKinds, t.Kind) {
			return invalid(where, "keep a visit to %s: %q is no kind of task: look at the rounds again", m.Site, clipped(string(t.Kind)))
		}
	}
	return nil
}

func (m RoundMark) validateDay(where string, today Date) error {
	last := Date{today.Year, today.Month + markMonths, today.Day}.Add(0)
	switch {
	case m.Day.Before(today):
		return invalid(where, "mark a round: %s is past: choose %s or a later day", m.Day.Words(), today.Words())
	case m.Day.After(last):
		return invalid(where, "mark a round: %s is too far ahead: choose a day up to %s", m.Day.Words(), last.Words())
	}
	return nil
}

// markZone is the zone in which the day of a mark is one: the site's, else the
// person's.
func markZone(site Site, person Person) *time.Location {
	if site.Slug == "" {
		return Site{Zone: person.Zone}.Location()
	}
	return site.Location()
}

// Lifted reports whether a new mark takes this one away: a visit that is set the bar
// for the same site, person and day, and the bar what was set.
func (m RoundMark) Lifted(by RoundMark) bool {
	other := m
	other.Kind = by.Kind
	return m.Kind != by.Kind && other.Same(by)
}
