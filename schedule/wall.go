package schedule

import (
	"fmt"
	"time"
)

// firstYear is before any log begins, and lastYear beyond any plan: a year
// outside them is a slip.
const (
	firstYear = 1700
	lastYear  = 2200
)

// wallLayouts are how a wall time may be written; a day alone means its
// midnight.
var wallLayouts = []string{
	"2006-01-02T15:04", "2006-01-02T15:04:05", "2006-01-02 15:04", time.DateTime, time.DateOnly,
}

// ParseWall reads a time as the wall shows it in a zone, like 2027-03-09 14:05,
// with seconds or without, a day alone, or a whole RFC 3339 time. A wall time
// that comes twice means the first; one that a change of clocks leaves out is
// refused. Errors are one sentence.
func ParseWall(s string, zone *time.Location) (time.Time, error) {
	if t, err := time.Parse(time.RFC3339, s); err == nil {
		return t, checkYear(t)
	}
	for _, layout := range wallLayouts {
		wall, err := time.Parse(layout, s)
		if err != nil || wall.Format(layout) != s {
			continue
		}
		if err := checkYear(wall); err != nil {
			return time.Time{}, err
		}
		t, shown := onWall(wall, zone)
		if !shown {
			return time.Time{}, fmt.Errorf("%s does not exist in %s, for a change of clocks leaves it out: give the time that the wall showed",
				wall.Format("2 Jan 2006, 15:04"), zone)
		}
		return t, nil
	}
	return time.Time{}, fmt.Errorf("%.40q is no date and time: write it like 2027-03-09 14:05", s)
}

func checkYear(t time.Time) error {
	if y := t.Year(); y < firstYear || y > lastYear {
		return fmt.Errorf("the year %d cannot be right: give one from %d to %d", y, firstYear, lastYear)
	}
	return nil
}

// onWall is the first instant at which the wall in a zone shows what wall, in
// UTC, shows. Where a change of clocks leaves that out, shown is false and the
// instant is moved on by the length of the gap.
func onWall(wall time.Time, zone *time.Location) (t time.Time, shown bool) {
	if zone == time.UTC {
		return wall, true
	}
	// No zone was ever a day off, so a day around is enough.
	const around = 24 * time.Hour
	for at, until := wall.Add(-around).In(zone), wall.Add(around); !at.After(until); {
		_, offset := at.Zone()
		begin, end := zoneBounds(at)
		here := wall.Add(-time.Duration(offset) * time.Second).In(zone)
		switch {
		case !end.IsZero() && !here.Before(end):
			t = here // as the wall would have gone on
		case begin.IsZero() || !here.Before(begin):
			return here, true
		default:
			return t, false
		}
		at = end
	}
	return t, false
}

// zoneBounds is time.ZoneBounds, whose end does not lie before its instant: on
// the last day of a leap year beyond a zone's table it does (the year is taken
// to have 365 days, Go 1.26), and whoever went on from there would never arrive.
func zoneBounds(at time.Time) (begin, end time.Time) {
	begin, end = at.ZoneBounds()
	if !end.IsZero() && !end.After(at) {
		end = at.Add(time.Hour)
	}
	return begin, end
}
