package schedule

import (
	"fmt"
	"time"

	"endshake/wear"
)

// Bounds of what a look at a line can find.
const (
	mostWires   = 1000 // broken, in thirty diameters
	thickest    = 100 * wear.Millimetre
	grownLine   = 1.25 // times its diameter: beyond that the unit is wrong
	changeEarly = 4    // days before a change of time from which a setting may tick it
	changeLate  = 220  // days after it until which one may: the longest half of a year between two
	changeNigh  = 60   // days around a setting in which a change is near it
)

// validateCare refuses what an entry says of lines, locks, seasons and changes
// of time that the clock does not have, or that cannot be.
func validateCare(e Entry, c Clock, zone *time.Location) error {
	if err := validateLine(e, c); err != nil {
		return err
	}
	switch _, seasonal := c.season(e.Season); {
	case e.Season != "" && !seasonal:
		return notFound("season", "%s has no seasonal work %q: it has %s", c.Name, e.Season, seasonCodes(c))
	case e.Lock != "" && !known(LockKinds, e.Lock):
		return invalid("lock", "a lock %q is not known: use one of %s", e.Lock, list(LockKinds))
	case e.Clears != "" && !known(LockKinds, e.Clears):
		return invalid("clears", "a lock %q is not known: use one of %s", e.Clears, list(LockKinds))
	case e.Lock != "" && e.Clears != "":
		return invalid("lock", "one note cannot both put a lock on and clear one: log the two apart")
	case !e.Change.IsZero():
		return validateChange(e, c, zone)
	}
	return nil
}

func validateLine(e Entry, c Clock) error {
	l, ok := c.line(e.Line)
	switch {
	case e.Line == "" && e.Check != nil:
		return invalid("line", "say which line was looked at: %s has %s", c.Name, lineCodes(c))
	case e.Line == "":
		return nil
	case !ok:
		return notFound("line", "%s has no line %q: it has %s", c.Name, e.Line, lineCodes(c))
	case !e.concerns(l.Train):
		return invalid("line", "the line %s is on the train %q, not on %q: mend one of the two", l.Code, l.Train, e.Train)
	case e.Bearing != "":
		return invalid("bearing", "one entry cannot be about both the line %s and the bearing %s: log the two apart", e.Line, e.Bearing)
	case e.Check == nil:
		return nil
	}
	return e.Check.validate(l)
}

// validate reports the first thing that cannot be right about a look at a line.
func (k LineCheck) validate(l Line) error {
	switch {
	case k.Wires6 < 0 || k.Wires30 < 0 || k.Wires6 > mostWires || k.Wires30 > mostWires:
		return invalid("wires6", "%d and %d broken wires cannot be right: count those that are seen, from 0 to %d", k.Wires6, k.Wires30, mostWires)
	case k.Wires30 > 0 && k.Wires30 < k.Wires6:
		return invalid("wires30", "%d broken wires in 30 diameters cannot be fewer than the %d in 6 of them: count again", k.Wires30, k.Wires6)
	case k.Diameter < 0 || k.Diameter > thickest:
		return invalid("diameter", "a line %v thick cannot be right: check the unit", k.Diameter)
	case l.Diameter > 0 && float64(k.Diameter) > grownLine*float64(l.Diameter):
		return invalid("diameter", "%s is far above the %s that the line has: check the unit and the place", k.Diameter.Inches(), l.Diameter.Inches())
	}
	return checkTexts("rust", k.Rust)
}

// validateNewLine is for a repair that replaces a line.
func validateNewLine(e Entry, c Clock) error {
	switch {
	case e.Work != NewLine:
		return invalid("line", "the work %q is of a bearing and not of a line: choose %q, or leave the line empty", e.Work, NewLine)
	case e.Bearing != "":
		return invalid("bearing", "a new line is no work on a bearing: leave the bearing empty, and log its work apart")
	case e.Line == "":
		return invalid("line", "say which line was replaced: %s has %s", c.Name, lineCodes(c))
	case e.Fitted != 0 || e.FittedSD != 0 || e.NewPair != "":
		return invalid("fitted", "a new line leaves no freedom and no pair of materials: leave those empty")
	}
	return nil
}

// validateChange refuses to tick a change of time that never was, or was not
// near.
func validateChange(e Entry, c Clock, zone *time.Location) error {
	day := e.Change
	if day.Year < firstYear || day.Year > lastYear {
		return invalid("change", "a change of time in the year %d cannot be right: check the day", day.Year)
	}
	at, _, ok := NextChange(zone, day.Start(zone).Add(-1))
	if !ok || DateOf(at, zone) != day {
		near := "none is known of"
		if next, _, ok := NextChange(zone, e.At.AddDate(0, 0, -changeNigh)); ok {
			near = "the one near it is on " + DateOf(next, zone).Words()
		}
		return invalid("change", "the clocks of %s do not change on %s: %s", zone, day.Words(), near)
	}
	if day.Before(c.InCare) {
		return invalid("change", "the change of %s lies before the log of %s begins (%s): leave the day out", day.Words(), c.Name, c.InCare.Words())
	}
	if away := day.Sub(DateOf(e.At, zone)); away > changeEarly || away < -changeLate {
		return invalid("change", "the change of %s lies %s from this setting of %s: log it when it is done, %d days before at the earliest, and check both days",
			day.Words(), Days(away), c.Name, changeEarly)
	}
	if !c.moves(&e) {
		return invalid("change", "the %s train has no hands to put on or back: log the change of %s of the whole clock", e.Train, day.Words())
	}
	return nil
}

// validateTicked refuses to tick a change of time for the second time.
func validateTicked(e Entry, log []Entry) error {
	if e.Change.IsZero() {
		return nil
	}
	for i := range log {
		old := &log[i]
		if old.Kind == Set && old.Change == e.Change && old.ID != e.Replaces {
			return conflict("change", "the change of %s is logged already: correct that entry, or leave the change out of this one", e.Change.Words())
		}
	}
	return nil
}

func lineCodes(c Clock) string {
	var out []string
	for _, l := range c.Care.Lines {
		out = append(out, l.Code)
	}
	return few(out)
}

func seasonCodes(c Clock) string {
	var out []string
	for _, s := range c.Care.Seasons {
		out = append(out, fmt.Sprintf("%s (%s)", s.Code, s.Name))
	}
	return few(out)
}
