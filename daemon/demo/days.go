package demo

import (
	"math"
	"slices"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// rest stops the clock for winter.
func (s *sim) rest() {
	at := s.at(15, s.r.IntN(40))
	if s.ranDown() {
		s.foundDown(at, s.plan.keeper)
		at = s.then(10)
	}
	year := s.day.Year
	if s.day.Month >= time.November {
		year++
	}
	s.startOn = schedule.Date{Year: year, Month: time.April, Day: 1}
	s.stop(at, time.Time{}, schedule.Rest, s.startOn, s.plan.keeper, "Put to rest for the winter; weights let down")
}

// bench stops the clock for work that still goes on today.
func (s *sim) bench() {
	at := s.at(9, 20)
	s.startOn = s.today.Add(24)
	s.stop(at, time.Time{}, schedule.ForWork, s.startOn, hestia, "Stopped while the dials are out for new glass")
}

// restart starts a clock that stood.
func (s *sim) restart() {
	s.at(10, s.r.IntN(30))
	by := s.plan.keeper
	if s.plan.windEvery > 0 {
		by = s.plan.winder
	}
	s.start(by, "Set after standing")
}

// mishap stops the clock now and then: snow, birds, a fault.
func (s *sim) mishap() {
	if s.quietEnd() || s.day == s.plan.clock.InCare || s.day == s.nextWind || s.ranDown() || s.timeChange() {
		return
	}
	cause, words := schedule.StopCause(""), ""
	roll := s.r.Float64()
	switch m := s.day.Month; {
	case s.plan.outside && (m == time.December || m <= time.February) && roll < 0.0035:
		cause, words = schedule.Weather, pick(s, snowWords)
	case s.plan.outside && m >= time.April && m <= time.July && roll < 0.0012:
		cause, words = schedule.Birds, pick(s, birdWords)
	case roll > 0.9997:
		cause, words = schedule.Fault, pick(s, faultWords)
	default:
		return
	}
	s.at(1+s.r.IntN(6), s.r.IntN(60)) // when it truly stopped
	if s.ranDown() {
		return
	}
	s.going = false
	since := time.Time{}
	if s.chance(0.7) { // somebody passing by had seen it
		since = s.tell
	}
	s.stop(s.at(9+s.r.IntN(3), s.r.IntN(60)), since, cause, schedule.Date{}, s.plan.keeper, words)
	if s.chance(0.7) {
		s.then(40 + s.r.IntN(90))
		s.start(s.plan.keeper, "Set after the stop")
		return
	}
	s.startOn = s.day.Add(1 + s.r.IntN(3))
}

// shiftHour follows a time change in the clock's own way.
func (s *sim) shiftHour() {
	by := s.plan.keeper
	at := s.at(8, 20+s.r.IntN(30))
	if s.ranDown() {
		return // found and set when it is wound
	}
	if s.day.Month == time.March {
		s.fast -= 3600
		s.setFor(s.day, at, by, "Put on one hour for summer time")
		return
	}
	s.fast += 3600
	if s.plan.hourBack != stopHour {
		s.setFor(s.day, at, by, "Winter time: "+s.plan.hourBack)
		return
	}
	s.stop(at, time.Time{}, schedule.ByHand, schedule.Date{}, by, "Winter time: "+stopHour)
	at = s.then(60)
	s.going = true
	s.add(schedule.Entry{Kind: schedule.Started, At: at, By: by})
	s.setFor(s.day, s.then(3), by, "Winter time: "+stopHour)
}

// windDay winds on the day for it, or puts it off.
func (s *sim) windDay() {
	if s.day.Before(s.nextWind) {
		return
	}
	regular := s.lateDay.IsZero() && !s.quietEnd() && s.day != s.plan.clock.InCare
	if regular {
		if late := s.putOff(); late > 0 {
			s.lateDay = s.nextWind.Add(late)
			s.nextWind = s.lateDay
			return
		}
	}
	s.lateDay = schedule.Date{}
	by := s.winderToday()
	at := s.at(9+s.r.IntN(2), s.r.IntN(50))
	s.nextWind = s.regularWind()
	if s.ranDown() {
		s.foundDown(at, by)
		return
	}
	s.wind(at, "", by, s.chance(0.6))
	s.keep(by)
}

// putOff draws by how many days a wind is late: mostly none, seldom so many
// that the clock runs down.
func (s *sim) putOff() int {
	roll := s.r.Float64()
	switch {
	case s.plan.windEvery == 1 && roll < 0.008:
		return 1
	case s.plan.windEvery == 1:
		return 0
	case roll < 0.006:
		return 2 + s.r.IntN(2)
	case roll < 0.05:
		return 1
	}
	return 0
}

// foundDown starts a clock that was wound too late.
func (s *sim) foundDown(at time.Time, by string) {
	since := time.Time{}
	if s.chance(0.6) {
		since = s.downSince()
	}
	s.stop(at, since, schedule.RanDown, schedule.Date{}, by, pick(s, downWords))
	s.start(by, "Set after running down")
}

// downSince is when the going train used up its wind, as the hands tell: zero
// where it was stopped since it was wound, and nobody could reckon it.
func (s *sim) downSince() time.Time {
	for _, e := range slices.Backward(s.log) {
		switch {
		case e.Kind == schedule.Stopped:
			return time.Time{}
		case e.Kind == schedule.Wound && (e.Train == "" || e.Train == "going"):
			return e.At.Add(s.trains[0].Run())
		}
	}
	return time.Time{}
}

// midweekDay reports whether some trains are wound again today.
func (s *sim) midweekDay() bool {
	return len(s.plan.midweek) > 0 && s.weekday == (s.plan.windOn+3)%7
}

// midweek winds the trains that do not last the week.
func (s *sim) midweek() {
	if !s.quietEnd() && s.chance(0.01) {
		return
	}
	at, by := s.at(17, s.r.IntN(40)), s.winderToday()
	if s.ranDown() {
		return
	}
	for i, code := range s.plan.midweek {
		s.wind(at.Add(time.Duration(i)*12*time.Minute), code, by, false)
		s.then(12)
	}
}

// lookDay is a monthly look at a clock that winds itself: the error is written
// down, and put right where it is large.
func (s *sim) lookDay() {
	if s.day.Before(s.nextLook) || s.unchanged() {
		return
	}
	s.nextLook = s.day.Add(27 + s.r.IntN(6))
	at := s.at(10+s.r.IntN(4), s.r.IntN(60))
	words := pick(s, lookWords)
	if math.Abs(s.fast) > 60 {
		s.set(at, s.plan.keeper, words)
	} else {
		seen := schedule.Entry{Kind: schedule.Set, At: at, By: s.plan.keeper, Note: words + "; hands not touched"}
		seen.ErrorFound, seen.ErrorLeft = whole(s.fast), whole(s.fast)
		s.add(seen)
	}
	s.keep(s.plan.keeper)
}

// keep is what a keeper does besides, once there: hands, pendulum, oil, a note.
func (s *sim) keep(by string) {
	if math.Abs(s.fast) > 60 {
		s.set(s.then(6), by, "")
	}
	switch {
	case s.plan.clock.Trains[0].Drive == wear.Electric: // keeps the time of the mains
	case math.Abs(s.rate) > 3:
		s.regulate(by)
	default:
		s.rate += 0.35 * s.r.NormFloat64()
	}
	if !s.day.Before(s.nextOil) {
		s.oil(s.plan.keeper)
	}
	if s.plan.windEvery != 1 && s.chance(0.02) {
		s.note(s.then(8), by, pick(s, keeperWords))
	}
}

// regulate turns the rating nut: by what its pendulum says a turn brings, about
// half a minute a day where that is not known.
func (s *sim) regulate(by string) {
	e := schedule.Entry{Kind: schedule.Regulated, At: s.then(7), By: by, Note: "Rating nut; rate was steady but off"}
	turn := 30.0
	if p := s.plan.clock.Care.Pendulum; p != nil && p.Pitch > 0 {
		turn = wear.NutRate(p.Pitch, wear.PendulumLength(p.Beat))
	}
	e.NutTurns = math.Round(-s.rate/turn*20) / 20
	s.rate += turn*e.NutTurns + 0.4*s.r.NormFloat64()
	s.add(e)
}

// oil oils the whole clock and plans the next time, seldom late.
func (s *sim) oil(by string) {
	late := s.r.IntN(15) - 10
	if s.chance(0.1) {
		late = 20 + s.r.IntN(40)
	}
	s.nextOil = s.day.Add(s.plan.oilEvery + late + s.plan.story.lateOil)
	if s.unoiled() {
		s.nextOil = back(s.today, 0, s.plan.story.missed.to)
		return
	}
	e := schedule.Entry{Kind: schedule.Oiled, At: s.then(15), By: by, Note: pick(s, oilWords)}
	e.OilFound, e.Residue = s.oilLeft()
	s.oiledOn = s.day
	e.Oil = s.plan.oil
	if s.plan.story.oilTin && s.left < 6*365 {
		s.plan.story.oilTin = false
		right := e
		e.Oil = "heavy gear oil"
		right.Replaces, right.Why = s.add(e), "Wrong tin written down: it was the light oil, as always"
		s.pending = &right
		return
	}
	s.add(e)
}

// correct logs a correction the day after.
func (s *sim) correct() {
	c := s.pending
	if c == nil || c.Replaces == "" {
		return
	}
	s.pending = nil
	s.addLate(*c, s.day.At(7, 30, s.loc).UTC().Sub(c.At))
}
