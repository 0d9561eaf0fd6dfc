package schedule

import "math"

// validateRate holds the figures of a clock's going to what can be.
func validateRate(e Entry) error {
	if !(math.Abs(e.Grams) <= 20000) {
		return invalid("grams", "%v g on a pendulum cannot be right: give grams, + put on and - taken off", e.Grams)
	}
	for _, v := range []struct {
		field    string
		value    *float64
		lo, hi   float64
		sentence string
	}{
		{"celsius", e.Celsius, -60, 70, "%v °C beside a clock cannot be right: check the unit"},
		{"pressure", e.Pressure, 500, 1100, "an air pressure of %v hPa cannot be right: give it as the barometer shows it where the clock is, not in mmHg or inches"},
		{"arc", e.Arc, .05, 30, "a semi-arc of %v degrees cannot be right: give the swing from the middle to one side, in degrees"},
		{"weight", e.Weight, .01, 5000, "a driving weight of %v kg cannot be right: check the unit"},
		{"corrector", e.Corrector, -600, 600, "a corrector that adds %v s a day cannot be right: give seconds a day"},
	} {
		if v.value != nil && !(*v.value >= v.lo && *v.value <= v.hi) {
			return invalid(v.field, v.sentence, *v.value)
		}
	}
	return nil
}

// validateUndoes holds a regulation that takes back another to one that is in
// force, and the correction of one that was taken back to what that takes back.
// The log is the one that counts.
func validateUndoes(e Entry, log []Entry) error {
	for i := range log {
		switch o := &log[i]; {
		case e.Replaces == "" || o.Kind != Regulated || o.Undoes != e.Replaces:
		case e.Kind != Regulated:
			return conflict("kind", "a later entry takes back the regulation that this one corrects, so it must stay %s: correct the later one first", Regulated)
		case e.At.After(o.At):
			return invalid("at", "a later entry takes back the regulation that this one corrects, and a regulation cannot be taken back before it was made: mend the time")
		}
	}
	if e.Undoes == "" {
		return nil
	}
	if e.Kind != Regulated {
		return invalid("undoes", "only a regulation takes back a regulation: log this one as %s", Regulated)
	}
	found := false
	for i := range log {
		switch o := &log[i]; {
		case o.ID == e.Replaces && o.ID != "": // corrected by this one
		case o.ID == e.Undoes && o.Kind != Regulated:
			return invalid("undoes", "the entry to take back is %s, not a regulation: name one of %s", o.Kind, Regulated)
		case o.ID == e.Undoes && o.At.After(e.At):
			return invalid("undoes", "a regulation cannot be taken back before it was made: mend the time")
		case o.ID == e.Undoes:
			found = true
		case o.Undoes == e.Undoes && o.Kind == Regulated:
			return conflict("undoes", "that regulation was taken back already: log what was done now as a regulation of its own")
		}
	}
	if !found {
		return notFound("undoes", "the regulation to take back is not in this clock's log, or was corrected since: name the newer entry")
	}
	return nil
}
