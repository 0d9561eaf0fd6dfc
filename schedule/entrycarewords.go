package schedule

import (
	"cmp"
	"fmt"
	"strings"
	"time"

	"endshake/wear"
)

// careWords say what a clock's care had an entry carry.
func careWords(c Clock, zone *time.Location, e Entry) []string {
	var parts []string
	say := func(yes bool, format string, args ...any) {
		if yes {
			parts = append(parts, fmt.Sprintf(format, args...))
		}
	}
	say(e.Visit, "the yearly visit, with a report")
	say(e.Line != "", "%s", lineName(c, e.Line))
	if e.Check != nil {
		parts = append(parts, LookWords(*e.Check)...)
	}
	say(len(e.Points) > 0, "at %s", pointNames(c, e.Points))
	say(e.OilFound != "", "old oil %s", e.OilFound)
	say(e.Residue != "", "residue %s", e.Residue)
	if e.FallLeft != nil {
		say(true, "%s of fall left", e.FallLeft)
	}
	if e.Meter != nil {
		say(true, "hour meter at %g h", *e.Meter)
	}
	say(e.MeterNew, "meter put back or replaced")
	say(!e.CutFrom.IsZero() && !e.CutTo.IsZero(), "mains cut from %s to %s", Instant(e.CutFrom, zone), Instant(e.CutTo, zone))
	say(!e.CutFrom.IsZero() && e.CutTo.IsZero(), "mains cut from %s", Instant(e.CutFrom, zone))
	say(e.CutFrom.IsZero() && !e.CutTo.IsZero(), "mains cut until %s", Instant(e.CutTo, zone))
	say(e.Lock != "", "lock put on: %s", e.Lock)
	say(e.Clears != "", "lock taken off: %s", e.Clears)
	say(e.Season != "", "%s", seasonName(c, e.Season))
	say(!e.Change.IsZero(), "for the change of time on %s", e.Change.Words())
	say(e.Old, "from an old book")
	return append(parts, goingWords(e)...)
}

// goingWords say what a look at the clock's going showed.
func goingWords(e Entry) []string {
	var parts []string
	if e.Celsius != nil {
		parts = append(parts, wear.Warmth(*e.Celsius))
	}
	if e.Weight != nil {
		parts = append(parts, "driving weight "+wear.Mass(*e.Weight))
	}
	for _, p := range []struct {
		figure *float64
		format string
	}{{e.Pressure, "%g hPa"}, {e.Arc, "arc %g° to one side"}, {e.Corrector, "corrector added %+g s a day"}} {
		if p.figure != nil {
			parts = append(parts, fmt.Sprintf(p.format, *p.figure))
		}
	}
	return parts
}

// RegulationWords say what was done to the pendulum.
func RegulationWords(e Entry) []string {
	var parts []string
	switch {
	case e.NutTurns > 0:
		parts = append(parts, fmt.Sprintf("bob raised by %g turns of the nut", e.NutTurns))
	case e.NutTurns < 0:
		parts = append(parts, fmt.Sprintf("bob lowered by %g turns of the nut", -e.NutTurns))
	}
	switch {
	case e.Grams > 0:
		parts = append(parts, fmt.Sprintf("%g g put on the pendulum", e.Grams))
	case e.Grams < 0:
		parts = append(parts, fmt.Sprintf("%g g taken off the pendulum", -e.Grams))
	}
	if e.Undoes != "" {
		parts = append(parts, "taking back an earlier one")
	}
	return parts
}

// LookWords says what a look at a line found.
func LookWords(c LineCheck) []string {
	var parts []string
	if c.Strand {
		parts = append(parts, "a strand broken")
	}
	if c.Wires6 > 0 {
		parts = append(parts, Count(c.Wires6, "broken wire", "broken wires")+" in six diameters")
	}
	if c.Wires30 > 0 {
		parts = append(parts, Count(c.Wires30, "broken wire", "broken wires")+" in thirty diameters")
	}
	if c.Wires6 == 0 && c.Wires30 == 0 && !c.Strand {
		parts = append(parts, "no broken wire seen")
	}
	if c.Diameter != 0 {
		parts = append(parts, c.Diameter.Inches()+" thick")
	}
	if c.Rust != "" {
		parts = append(parts, "rust: "+c.Rust)
	}
	return parts
}

func lineName(c Clock, code string) string {
	for _, l := range c.Care.Lines {
		if l.Code == code {
			return cmp.Or(l.Name, "line "+code)
		}
	}
	return "line " + code
}

func seasonName(c Clock, code string) string {
	for _, s := range c.Care.Seasons {
		if s.Code == code {
			return s.Name
		}
	}
	return code
}

// pointNames are the first few oil points by name, and how many more.
func pointNames(c Clock, codes []string) string {
	const most = 4
	var names []string
	for _, code := range codes[:min(most, len(codes))] {
		name := code
		for _, p := range c.Care.Points {
			if p.Code == code && p.Name != "" {
				name = p.Name
			}
		}
		names = append(names, name)
	}
	out := strings.Join(names, "; ")
	if more := len(codes) - most; more > 0 {
		out += fmt.Sprintf("; and %d more points", more)
	}
	return out
}
