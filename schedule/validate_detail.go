package schedule

import (
	"slices"
	"time"

	"endshake/wear"
)

// validateDetail refuses what belongs to another kind of entry: it would be
// kept and never looked at.
func validateDetail(e Entry) error {
	for _, d := range details(e) {
		if d.given && !slices.Contains(d.kinds, e.Kind) {
			return invalid(d.field, "the %s of an entry is only for %s, not for %s: log the two apart", d.field, list(d.kinds), e.Kind)
		}
	}
	return nil
}

// detail is a field of an entry, whether it is given, and the kinds that it is
// for.
type detail struct {
	field string
	given bool
	kinds []EntryKind
}

// looks are the kinds of entry of somebody who looks at how a clock goes.
var looks = []EntryKind{Set, Regulated, Wound, Inspected}

// timeLooks are those, and a note that only the time was looked at.
var timeLooks = append(slices.Clone(looks), Noted)

// details lists what only some kinds of entry carry.
func details(e Entry) []detail {
	return slices.Concat(careDetails(e), runDetails(e), []detail{
		{"value", e.Reading != nil, []EntryKind{Measured}},
		{"sure", e.Sure, append(slices.Clone(timeLooks), Measured, Stopped)},
		{"errorFound", e.ErrorFound != nil, timeLooks},
		{"errorLeft", e.ErrorLeft != nil, looks},
		{"nutTurns", e.NutTurns != 0, []EntryKind{Regulated}},
		{"grams", e.Grams != 0, []EntryKind{Regulated}},
		{"celsius", e.Celsius != nil, timeLooks},
		{"pressure", e.Pressure != nil, timeLooks},
		{"arc", e.Arc != nil, timeLooks},
		{"weight", e.Weight != nil, timeLooks},
		{"corrector", e.Corrector != nil, timeLooks},
		{"change", !e.Change.IsZero(), []EntryKind{Set}},
	})
}

// runDetails are those that tell how a train ran.
func runDetails(e Entry) []detail {
	return []detail{
		{"turns", e.Turns != 0 || e.Part, []EntryKind{Wound}},
		{"fallLeft", e.FallLeft != nil, []EntryKind{Wound, Inspected}},
		{"meter", e.Meter != nil, []EntryKind{Wound, Inspected, Noted}},
		{"meterNew", e.MeterNew, []EntryKind{Wound, Inspected, Noted}},
		{"cutFrom", !e.CutFrom.IsZero(), []EntryKind{Noted}},
		{"cutTo", !e.CutTo.IsZero(), []EntryKind{Noted}},
		{"cause", e.Cause != "", []EntryKind{Stopped}},
		{"since", !e.Since.IsZero(), []EntryKind{Stopped}},
		{"until", !e.Until.IsZero(), []EntryKind{Stopped}},
	}
}

// careDetails are those of oil, lines, locks, seasons and repairs.
func careDetails(e Entry) []detail {
	return []detail{
		{"oil", e.Oil != "", []EntryKind{Oiled}},
		{"points", len(e.Points) > 0, []EntryKind{Oiled, Inspected}},
		{"topUp", e.TopUp, []EntryKind{Oiled}},
		{"oilFound", e.OilFound != "", []EntryKind{Oiled, Cleaned, Inspected}},
		{"residue", e.Residue != "", []EntryKind{Oiled, Cleaned, Inspected}},
		{"found", e.Found != "", []EntryKind{Inspected}},
		{"visit", e.Visit, []EntryKind{Inspected}},
		{"line", e.Line != "", []EntryKind{Inspected, Repaired}},
		{"check", e.Check != nil, []EntryKind{Inspected}},
		{"lock", e.Lock != "", []EntryKind{Noted}},
		{"clears", e.Clears != "", []EntryKind{Noted}},
		{"season", e.Season != "", []EntryKind{Noted, Inspected}},
		{"work", e.Work != "", []EntryKind{Repaired}},
		{"fitted", e.Fitted != 0 || e.FittedSD != 0, []EntryKind{Repaired}},
		{"pair", e.NewPair != "", []EntryKind{Repaired}},
	}
}

// mostMeter is beyond what any hour meter shows.
const mostMeter = 1e7

// validateWind holds the height of a weight and the hours of a meter to the
// train that they are of.
func validateWind(e Entry, c Clock) error {
	for _, t := range c.Trains { // counted, not reckoned: a tenth more is no slip
		if e.Turns > 0 && t.Drive == wear.HandWound && t.Weight != nil && c.its(&e, t) && t.Weight.FullTurns() > 0 && e.Turns > 1.1*t.Weight.FullTurns()+1 {
			return invalid("turns", "%v turns are more than a full wind of the %s holds, %.0f: count those of the barrel", e.Turns, NameOfTrain(t), t.Weight.FullTurns())
		}
	}
	if e.FallLeft != nil {
		if err := validateFall(e, c); err != nil {
			return err
		}
	}
	switch {
	case e.Meter == nil && e.MeterNew:
		return invalid("meter", "a meter that was replaced shows something: log what it shows from now on")
	case e.Meter == nil:
		return nil
	case !(*e.Meter >= 0) || *e.Meter > mostMeter:
		return invalid("meter", "an hour meter cannot show %v: read it again", *e.Meter)
	}
	for _, t := range c.Trains {
		switch {
		case !c.its(&e, t) && e.Train == "":
			return invalid("train", "say which train's hour meter it is: one of %s", trainCodes(c))
		case c.its(&e, t) && t.MeterHours > 0 && *e.Meter >= t.MeterHours:
			return invalid("meter", "the meter of the %s turns over at %v h and cannot show %v: read it again", NameOfTrain(t), t.MeterHours, *e.Meter)
		}
	}
	return nil
}

func validateFall(e Entry, c Clock) error {
	left := *e.FallLeft
	if left < 0 || left > wear.MaxLength {
		return invalid("fallLeft", "a weight cannot have %v left to fall: measure down to where it lands, and check the unit", left)
	}
	wound, its := false, false
	for _, t := range c.Trains {
		if t.Drive != wear.HandWound || !e.concerns(t.Code) {
			continue
		}
		wound, its = true, its || c.its(&e, t)
		if c.its(&e, t) && t.Weight != nil && t.Weight.Fall > 0 && left > t.Weight.Fall {
			return invalid("fallLeft", "%v left to fall is more than the whole fall of the %s, %v: measure again, and check the unit", left, NameOfTrain(t), t.Weight.Fall)
		}
	}
	switch {
	case !wound:
		return invalid("fallLeft", "there is no weight of a hand-wound train there: leave it out")
	case !its:
		return invalid("train", "say which train's weight it is: one of %s", trainCodes(c))
	}
	return nil
}

// longestCut is how long a cut of the mains may last before it is a slip of the
// date.
const longestCut = 366 * 24 * time.Hour

// needsNoMains reports whether all that an entry is about is wound by hand.
func (c Clock) needsNoMains(e Entry) bool {
	return len(c.Trains) > 0 && !slices.ContainsFunc(c.Trains, func(t wear.Train) bool {
		return e.concerns(t.Code) && t.Drive != wear.HandWound
	})
}

// validateCut holds a cut of the mains to what can be.
func validateCut(e Entry, c Clock, zone *time.Location, now time.Time) error {
	switch {
	case e.CutFrom.IsZero() && e.CutTo.IsZero():
		return nil
	case e.CutFrom.IsZero():
		return invalid("cutFrom", "say when the mains went, as well as when they came back")
	case c.needsNoMains(e):
		return conflict("cutFrom", "no train of %s there needs the mains: leave the cut out, or name the clock or train that it stopped", c.Name)
	case e.CutFrom.Before(c.InCare.Start(zone)):
		return invalid("cutFrom", "the mains cannot have gone before the log begins (%s): mend the time", c.InCare.Words())
	case e.CutFrom.After(e.At.Add(leeway)):
		return invalid("cutFrom", "the mains cannot have gone after this was noted: mend one of the two times")
	case e.CutTo.IsZero():
		return nil
	case !e.CutTo.After(e.CutFrom):
		return invalid("cutTo", "the mains cannot have come back before they went: mend one of the two times")
	case e.CutTo.After(now.Add(leeway)):
		return invalid("cutTo", "the mains cannot come back in the future: leave it empty until they have")
	case e.CutTo.Sub(e.CutFrom) > longestCut:
		return invalid("cutTo", "a cut of more than a year cannot be right: log the clock as stopped")
	}
	return nil
}
