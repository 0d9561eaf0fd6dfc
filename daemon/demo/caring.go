package demo

import (
	"math"
	"time"

	"endshake/schedule"
)

// aside tells something besides, with lots of its own, so that what is told of
// the rest stays as it was.
func (s *sim) aside(tell func()) {
	main := s.r
	s.r = s.side
	tell()
	s.r = main
}

// besides are the things that happen beside winding and wear.
func (s *sim) besides() {
	if !s.going || s.ranDown() {
		return
	}
	s.aside(func() {
		s.seasonal()
		s.mainsCut()
		s.undoneGrams()
	})
	s.brokenStrand()
}

// unchanged reports whether the hands wait to be changed to the new time since
// the last change, which was lately: nobody has been up.
func (s *sim) unchanged() bool {
	if !s.plan.told.unchanged || s.left > 45 {
		return false
	}
	last := s.day
	for i := 0; !changesOn(last); i++ {
		if i > 45 {
			return false
		}
		last = last.Add(-1)
	}
	return s.today.Sub(last) <= 45
}

// changesOn reports whether the clocks of the district change on a day: the last
// Sunday of March and October (from memory).
func changesOn(d schedule.Date) bool {
	return d.Day >= 25 && (d.Month == time.March || d.Month == time.October) && d.Start(time.UTC).Weekday() == time.Sunday
}

// seasonal ticks the work of the season off on its tenth day, but for this
// year's last: nobody has done it yet.
func (s *sim) seasonal() {
	for _, k := range s.plan.clock.Care.Seasons {
		from := schedule.Date{Year: s.day.Year, Month: k.From.Month, Day: k.From.Day}
		if s.day.Sub(from) != 9 || s.left < 60 {
			continue
		}
		e := schedule.Entry{Kind: schedule.Noted, At: s.at(16, s.r.IntN(50)), By: s.plan.keeper, Note: "Done: " + k.Name}
		e.Season = k.Code
		s.add(e)
	}
}

// mainsCut notes a cut of the mains, which the winders outlasted.
func (s *sim) mainsCut() {
	for _, ago := range s.plan.told.cuts {
		if s.left != ago {
			continue
		}
		from := s.day.At(4, s.r.IntN(50), s.loc).UTC()
		e := schedule.Entry{Kind: schedule.Noted, At: s.at(9, s.r.IntN(40)), By: s.plan.keeper, Note: "Power was off in the night; the caretaker says the alarm showed it"}
		e.CutFrom, e.CutTo = from, from.Add(time.Duration(40+s.r.IntN(60))*time.Minute)
		s.add(e)
	}
}

// undoneGrams puts half a gram on a pendulum a year ago, and takes it off again
// when the clock gained by it.
func (s *sim) undoneGrams() {
	if !s.plan.told.undone {
		return
	}
	e := schedule.Entry{Kind: schedule.Regulated, By: s.plan.keeper}
	switch {
	case s.grams == "" && s.left <= 400 && s.left > 380:
		e.At, e.Grams, e.Note = s.at(18, s.r.IntN(40)), 0.5, "Half a gram on the tray, to see"
		s.grams = s.add(e)
	case s.grams != "" && s.left <= 372:
		e.At, e.Grams, e.Undoes, e.Note = s.at(18, s.r.IntN(40)), -0.5, s.grams, "Off again: it gained by it"
		s.add(e)
		s.plan.told.undone = false
	}
}

// thermometer is the temperature beside a clock that has one; nil: it has none.
func (s *sim) thermometer() (celsius *float64) {
	if s.plan.told.thermometer {
		s.aside(func() { v := s.celsius(); celsius = &v })
	}
	return celsius
}

// oilLeft is how the old oil was found: past its work with a chance that grows
// with its age (a Weibull law of shape 3 about the story's median).
func (s *sim) oilLeft() (found schedule.OilFound, left schedule.Residue) {
	life := float64(s.plan.told.oilLife)
	if life == 0 {
		return "", ""
	}
	s.aside(func() {
		age := float64(s.day.Sub(s.oiledOn)) / life
		gone := 1 - math.Pow(0.5, age*age*age)
		left = schedule.ResidueClear
		switch roll := s.r.Float64(); {
		case roll < gone/2:
			found, left = schedule.OilDry, schedule.ResidueGreen
		case roll < gone:
			found, left = schedule.OilGummed, schedule.ResidueGreen
		case age > 0.5:
			found = schedule.OilDarkened
		default:
			found = schedule.OilClean
		}
		if s.unoiled() || found == schedule.OilDry && s.r.IntN(3) == 0 {
			left = schedule.ResidueBlack
		}
	})
	return found, left
}

// lookAtLines feels every line of the clock with a gloved hand.
func (s *sim) lookAtLines() {
	for _, l := range s.plan.clock.Care.Lines {
		e := schedule.Entry{Kind: schedule.Inspected, At: s.then(6), By: hestia, Note: "Felt over its whole length with a thick glove"}
		e.Line, e.Check = l.Code, &schedule.LineCheck{Rust: "none"}
		s.add(e)
	}
}

// brokenStrand is found on a line five weeks ago, by a gloved hand: the clock
// stands until the line is renewed.
func (s *sim) brokenStrand() {
	code := s.plan.told.strand
	if code == "" || s.strand || s.left > 38 || s.left < 26 {
		return
	}
	s.strand = true
	at := s.at(17, 10)
	e := schedule.Entry{Kind: schedule.Inspected, At: at, By: s.plan.keeper, Note: "A strand has parted above the weight; nobody winds it"}
	e.Found, e.Line, e.Check = schedule.Act, code, &schedule.LineCheck{Wires6: 7, Wires30: 9, Strand: true, Rust: "none"}
	s.add(e)
	s.startOn = s.day.Add(3)
	s.stop(s.then(10), time.Time{}, schedule.ForWork, s.startOn, s.plan.keeper, "Stopped at once: a strand of the "+code+" is broken")
}

// clearLock renews the line of which a strand had parted, and clears the lock.
func (s *sim) clearLock() {
	if !s.strand || s.plan.told.strand == "" {
		return
	}
	code := s.plan.told.strand
	s.plan.told.strand = ""
	e := schedule.Entry{Kind: schedule.Repaired, At: s.at(9, 0), By: corin, Note: "New line, 7x19; the weight caught and lowered first"}
	e.Line, e.Work = code, schedule.NewLine
	s.add(e)
	e = schedule.Entry{Kind: schedule.Noted, At: s.then(20), By: corin, Note: "Line renewed and tried through a full fall: may run again"}
	e.Clears = schedule.DoNotRun
	s.add(e)
}
