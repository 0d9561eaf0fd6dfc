package schedule

import (
	"slices"
	"time"
)

// CanReplace reports the first reason why a description of the fleet, valid in
// itself, cannot take the place of what is stored: it must not leave entries of
// the log without what they are about, nor lie in the future. The log holds
// the entries of the clocks that f names.
func (f Fleet) CanReplace(log map[string][]Entry, now time.Time) error {
	for _, c := range f.Clocks {
		site, _ := f.Site(c.Site)
		zone := site.Location()
		if tomorrow := DateOf(now, zone).Add(1); c.InCare.After(tomorrow) {
			return invalid("clock "+c.Slug, "clock %s: its log begins on %s, which lies in the future: mend inCare", c.Slug, c.InCare.Words())
		}
		for _, e := range Effective(log[c.Slug]) {
			if err := c.holds(e, zone); err != nil {
				return err
			}
		}
		if err := c.fittedBy(now, zone); err != nil {
			return err
		}
	}
	return nil
}

// CheckFigures refuses an entry that is brought from elsewhere with its log, and has
// figures that cannot be. What else Validate asks was asked when it was logged.
func CheckFigures(e Entry) error { return validateFigures(e) }

// holds reports what an entry would lose.
func (c Clock) holds(e Entry, zone *time.Location) error {
	where, when := "clock "+c.Slug, DateOf(e.At, zone).Words()
	if e.At.Before(c.InCare.Start(zone)) {
		return conflict(where, "%s: an entry (%s) of %s lies before the new first day %s: keep inCare as early as the log", where, e.Kind, when, c.InCare.Words())
	}
	if _, ok := c.Train(e.Train); e.Train != "" && !ok {
		return conflict(where, "%s: an entry (%s) of %s is about the train %q, which is no longer described: keep its code", where, e.Kind, when, e.Train)
	}
	if _, ok := c.line(e.Line); e.Line != "" && !ok {
		return conflict(where, "%s: an entry (%s) of %s is about the line %q, which is no longer described: keep its code", where, e.Kind, when, e.Line)
	}
	if _, ok := c.season(e.Season); e.Season != "" && !ok {
		return conflict(where, "%s: an entry (%s) of %s is about the seasonal work %q, which is no longer described: keep its code", where, e.Kind, when, e.Season)
	}
	for _, code := range e.Points {
		if !slices.ContainsFunc(c.Care.Points, func(p OilPoint) bool { return p.Code == code }) {
			return conflict(where, "%s: an entry (%s) of %s is about the oil point %q, which is no longer described: keep its code", where, e.Kind, when, code)
		}
	}
	if e.Bearing == "" {
		return nil
	}
	b, _, _, ok := c.Bearing(e.Bearing)
	switch {
	case !ok:
		return conflict(where, "%s: an entry (%s) of %s is about the bearing %q, which is no longer described: keep its code", where, e.Kind, when, e.Bearing)
	case slices.Contains([]EntryKind{Measured, Repaired}, e.Kind) && !b.FittedAt.IsZero() && e.At.Before(b.FittedAt):
		return conflict(where, "%s: bearing %s was %s on %s, before the new fittedAt %s: mend the day", where, b.Code, e.Kind, when, DateOf(b.FittedAt, zone).Words())
	case e.Reading != nil && e.Reading.Shake != b.Shake:
		return conflict(where, "%s: bearing %s has readings of its %s, and the new description follows its %s: keep it, or give it another code", where, b.Code, e.Reading.Shake, b.Shake)
	}
	return nil
}

func (c Clock) fittedBy(now time.Time, zone *time.Location) error {
	for _, t := range c.Trains {
		for _, a := range t.Arbors {
			for _, b := range a.Bearings {
				if b.FittedAt.After(now.Add(24 * time.Hour)) {
					return invalid("clock "+c.Slug, "clock %s: bearing %s was fitted on %s, which lies in the future: mend fittedAt", c.Slug, b.Code, DateOf(b.FittedAt, zone).Words())
				}
			}
		}
	}
	return nil
}
