package schedule

import (
	"math"
	"strings"
	"time"

	"endshake/wear"
)

// Bounds of what a clock's care can be (judgement, no source).
const (
	mostPoints  = 500  // oil points, lines or seasons of one clock
	mostYears   = 200  // of a line
	mostOnce    = 1000 // drops at one point, wires of one line
	mostBob     = 5000 // kg
	longestWind = 400 * 24 * time.Hour
	leastWind   = time.Hour
	leastTurn   = 1.0 / 60 // h
	apart       = 1.25     // two figures for the same may differ so much
)

func (c *Climate) validate(where string) error {
	if c == nil {
		return nil
	}
	for i, v := range c.Months {
		if !(v >= -60 && v <= 60) {
			return invalid(where, "%s: climate: a mean of %v °C in %s cannot be right: use degrees Celsius between -60 and 60", where, v, time.Month(i+1))
		}
	}
	switch {
	case !(c.Daily >= 0 && c.Daily <= 40):
		return invalid(where, "%s: climate: half a day's range of %v °C cannot be right: use 0 to 40", where, c.Daily)
	case strings.TrimSpace(c.Source) == "":
		return invalid(where, "%s: climate has no source: say whose figures they are", where)
	}
	return checkNames(where, c.Source)
}

// validateDriven holds what is said of a train's weight, striking and meter
// against the kind of train that it is.
func validateDriven(where string, t wear.Train) error {
	where += ": train " + t.Code
	switch m := t.MeterHours; {
	case m != 0 && !(m >= 10 && m <= 1e7):
		return invalid(where, "%s: an hour meter that turns over at %v h cannot be right: 10000 is one of four figures", where, m)
	case t.Striking != nil && t.Kind == wear.Going:
		return invalid(where, "%s: a going train does not strike: describe the striking with the train that has the hammer", where)
	case t.Weight != nil && t.Drive == wear.Electric:
		return invalid(where, "%s: an electric train has no weight: take out the weight, or mend the drive", where)
	}
	if t.Striking != nil {
		if err := t.Striking.Validate(); err != nil {
			return invalid(where, "%s: %v", where, err)
		}
		if n := float64(t.Striking.PerDay()); t.StrokesPerDay > 0 && math.Abs(t.StrokesPerDay-n) > 1 {
			return invalid(where, "%s: %v strokes a day do not fit its striking, which makes %v: leave out strokesPerDay, or mend the striking", where, t.StrokesPerDay, n)
		}
	}
	if t.Drive == wear.HandWound && t.Reserve > 0 && t.Reserve < leastWind {
		return invalid(where, "%s: a full wind that runs %v cannot be right: use an hour at least", where, t.Reserve)
	}
	if t.Weight == nil {
		return nil
	}
	if err := t.Weight.Validate(); err != nil {
		return invalid(where, "%s: %v", where, err)
	}
	return validateGearing(where, t)
}

func validateGearing(where string, t wear.Train) error {
	w := *t.Weight
	full := w.FullTurns()
	stated := t.Reserve
	t.Reserve = 0 // what the weight gives, whatever is stated
	switch {
	case t.Kind == wear.Going && w.TurnBlows != 0:
		return invalid(where, "%s: a going train makes no blows: give the hours that one turn of its barrel runs (turnHours), or its gears", where)
	case t.Kind != wear.Going && (len(w.Gears) > 0 || w.GearHours != 0 || w.TurnHours != 0):
		return invalid(where, "%s: a train that strikes is counted by blows: give turnBlows in place of gears and hours", where)
	case w.Fall > 0 && full == 0:
		return invalid(where, "%s: a fall of %v gives no turns: give the barrel's diameter too, or the turns of a full wind", where, w.Fall)
	case full != 0 && !(full >= 0.25 && full <= 10000):
		return invalid(where, "%s: %.3g turns of the barrel in a full wind cannot be right: check fall, barrel and line, and their units", where, full)
	case t.Run() > longestWind:
		return invalid(where, "%s: a full wind of %.4g turns that runs %.4g days cannot be right: check the turns, and the gears or blows of a turn",
			where, full, t.Run().Hours()/24)
	case w.TurnHours > 0 && w.TurnHours < leastTurn:
		return invalid(where, "%s: a turn of the barrel that runs %.3g h cannot be right: use a minute at least", where, w.TurnHours)
	case t.Run() > 0 && t.Run() < leastWind:
		return invalid(where, "%s: a full wind of %.4g turns that runs %v cannot be right: check the turns, and the gears or blows of a turn", where, full, t.Run())
	}
	return agree(where, w, stated, t.Run())
}

// agree refuses facts of a weight that contradict each other: the run that is
// stated and what the weight gives, the turns and the fall, an hour and the gears.
func agree(where string, w wear.Weight, stated, run time.Duration) error {
	byFall, byGears := w, w
	byFall.Turns, byGears.TurnHours = 0, 0
	for _, p := range []struct {
		first, second string
		a, b          float64
	}{
		{"a full wind of %.4g turns", "the %.4g turns that fall, barrel and line give", w.Turns, byFall.FullTurns()},
		{"a turn of the barrel of %.4g h", "the %.4g h that its gears give", w.TurnHours, byGears.HoursPerTurn()},
		{"a stated reserve of %.4g h", "the %.4g h that its weight gives", stated.Hours(), run.Hours()},
	} {
		if p.a > 0 && p.b > 0 && math.Max(p.a, p.b) > apart*math.Min(p.a, p.b) {
			return invalid(where, "%s: "+p.first+" does not fit "+p.second+": mend one of the two, or leave it out", where, p.a, p.b)
		}
	}
	return nil
}

func (c Clock) validateCare(where string) error {
	k := c.Care
	switch {
	case len(k.Points) > mostPoints || len(k.Lines) > mostPoints || len(k.Seasons) > mostPoints:
		return invalid(where, "%s: more than %d oil points, lines or seasons cannot be right: describe what there is once", where, mostPoints)
	case k.Room != "" && !known(Rooms, k.Room):
		return invalid(where, "%s: room %q is not known: use one of %s", where, k.Room, list(Rooms))
	case k.Change != "" && !known(ChangeHows, k.Change):
		return invalid(where, "%s: way to put the hands back %q is not known: use one of %s", where, k.Change, list(ChangeHows))
	}
	for _, check := range []func(string) error{c.validatePoints, c.validateLines, c.validateSeasons, k.validateTime} {
		if err := check(where); err != nil {
			return err
		}
	}
	return checkTexts(where, k.ChangeNote)
}

func (c Clock) validatePoints(where string) error {
	codes := map[string]bool{}
	for _, p := range c.Care.Points {
		if err := newCode(codes, where, "oil point", p.Code); err != nil {
			return err
		}
		if err := c.validatePoint(where+": oil point "+p.Code, p); err != nil {
			return err
		}
	}
	return nil
}

func (c Clock) validatePoint(where string, p OilPoint) error {
	if _, ok := c.Train(p.Train); p.Train != "" && !ok {
		return notFound(where, "%s names a train %q that is not described: it has %s", where, p.Train, trainCodes(c))
	}
	if p.Bearing != "" {
		_, _, t, ok := c.Bearing(p.Bearing)
		if !ok {
			return notFound(where, "%s names a bearing %q that is not described: it has %s", where, p.Bearing, bearingCodes(c))
		}
		if p.Train != "" && p.Train != t.Code {
			return invalid(where, "%s names bearing %s, which is not on the train %q: mend one of the two", where, p.Bearing, p.Train)
		}
	}
	switch {
	case p.Kind != "" && !known(OilKinds, p.Kind):
		return invalid(where, "%s: oil of kind %q is not known: use one of %s", where, p.Kind, list(OilKinds))
	case p.Room != "" && !known(Rooms, p.Room):
		return invalid(where, "%s: room %q is not known: use one of %s", where, p.Room, list(Rooms))
	case !(p.Drops >= 0 && p.Drops <= mostOnce):
		return invalid(where, "%s: %v drops cannot be right: use 0 to %d", where, p.Drops, mostOnce)
	case p.Dry && (p.Oil != "" || p.Kind != "" || p.Amount != "" || p.Drops != 0):
		return invalid(where, "%s must stay dry and yet names an oil: take out one of the two", where)
	}
	if err := checkTexts(where, p.Why); err != nil {
		return err
	}
	return checkNames(where, p.Name, p.Oil, p.Amount, p.Picture)
}

func (c Clock) validateLines(where string) error {
	codes := map[string]bool{}
	for _, l := range c.Care.Lines {
		if err := newCode(codes, where, "line", l.Code); err != nil {
			return err
		}
		t, ok := c.Train(l.Train)
		if !ok {
			return notFound(where, "%s: line %s names a train %q that is not described: it has %s", where, l.Code, l.Train, trainCodes(c))
		}
		if t.Drive != wear.HandWound && t.Drive != wear.AutoWound {
			return invalid(where, "%s: line %s: the train %q has no weight to hang on a line: mend the drive, or leave out the line", where, l.Code, l.Train)
		}
		if err := l.validate(where + ": line " + l.Code); err != nil {
			return err
		}
	}
	return nil
}

func (l Line) validate(where string) error {
	switch {
	case l.Diameter < 0 || l.Diameter > 100*wear.Millimetre:
		return invalid(where, "%s: a diameter of %v cannot be right: check the unit", where, l.Diameter)
	case l.OuterWires < 0 || l.OuterWires > mostOnce:
		return invalid(where, "%s: %d outer wires cannot be right: count those that bear the load, or leave it out", where, l.OuterWires)
	case !(l.MostYears >= 0 && l.MostYears <= mostYears) || l.MostYears > 0 && l.MostYears < .5:
		return invalid(where, "%s: an age of %v years cannot be right: use half a year to %d, or leave it out", where, l.MostYears, mostYears)
	case l.MostYears > 0 && strings.TrimSpace(l.Source) == "":
		return invalid(where, "%s: the age of %v years has no source: say who set it and why", where, l.MostYears)
	case !l.FittedAt.IsZero() && (l.FittedAt.Year < 1300 || l.FittedAt.Year > lastYear):
		return invalid(where, "%s: fitted in the year %d cannot be right: check the year", where, l.FittedAt.Year)
	}
	return checkNames(where, l.Name, l.Construction, l.Material, l.Source)
}

func (c Clock) validateSeasons(where string) error {
	codes := map[string]bool{}
	for _, s := range c.Care.Seasons {
		if err := newCode(codes, where, "season", s.Code); err != nil {
			return err
		}
		if err := s.validate(where + ": season " + s.Code); err != nil {
			return err
		}
	}
	return nil
}

func (s Season) validate(where string) error {
	switch {
	case strings.TrimSpace(s.Name) == "":
		return invalid(where, "%s has no name: say what is to be done", where)
	case !s.From.real() || !s.To.real():
		return invalid(where, "%s: from %02d-%02d to %02d-%02d are not days of the year: write month and day, as 10-15", where,
			int(s.From.Month), s.From.Day, int(s.To.Month), s.To.Day)
	case strings.TrimSpace(s.Source) == "":
		return invalid(where, "%s has no source: say who set it and why", where)
	}
	for _, h := range s.Hazard {
		if _, ok := hazardWords[h]; !ok {
			return invalid(where, "%s: caution %q is not known: use one of %s", where, h, hazardList())
		}
	}
	if err := checkTexts(where, s.Reason); err != nil {
		return err
	}
	return checkNames(where, s.Name, s.Source)
}

// real reports whether some year has the day.
func (m MonthDay) real() bool {
	if m.Month < time.January || m.Month > time.December || m.Day < 1 {
		return false
	}
	const leap = 2024
	return m.Day <= time.Date(leap, m.Month+1, 0, 0, 0, 0, 0, time.UTC).Day()
}

// validateTime is of what the clock's timekeeping is held to.
func (k Care) validateTime(where string) error {
	if t := k.Tolerance; t != nil {
		switch {
		case !(t.Seconds > 0 && t.Seconds <= 12*3600):
			return invalid(where, "%s: a tolerance of %v s cannot be right: use more than nothing, and 43,200 at most", where, t.Seconds)
		case strings.TrimSpace(t.Source) == "":
			return invalid(where, "%s: the tolerance has no source: say who set it and why", where)
		}
		if err := checkNames(where, t.Source); err != nil {
			return err
		}
	}
	p := k.Pendulum
	switch {
	case p == nil:
	case p.Beat != 0 && !(p.Beat >= 0.1 && p.Beat <= 10):
		return invalid(where, "%s: a pendulum of %v s to the beat cannot be right: use 0.1 to 10, one swing to one side", where, p.Beat)
	case p.Pitch < 0 || p.Pitch > 20*wear.Millimetre:
		return invalid(where, "%s: a rating nut's pitch of %v cannot be right: it is the rise of one turn", where, p.Pitch)
	case !(p.Bob >= 0 && p.Bob <= mostBob):
		return invalid(where, "%s: a bob of %v kg cannot be right: use 0 to %d", where, p.Bob, mostBob)
	}
	return nil
}
