package demo

import (
	"math"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// visits are the conservator's: the yearly one, the extra ones of a story.
func (s *sim) visits() {
	s.fewReadings()
	s.misreading()
	if len(s.jobs) > 0 && !s.day.Before(s.jobs[0].day) {
		s.repair()
		return
	}
	if s.day.Before(s.nextVisit) {
		return
	}
	at := s.at(13, s.r.IntN(60))
	if s.ranDown() {
		return // another day
	}
	s.planVisit()
	found := schedule.Entry{Kind: schedule.Inspected, At: at, By: hestia, Note: s.inspectWords()}
	worn := (*point)(nil)
	if found.Found, worn = s.condition(); worn != nil {
		_, arbor, _, _ := s.plan.clock.Bearing(worn.Code)
		found.Note = "The " + schedule.NameOf(worn.Name, arbor.Name) + " has too much play: work for the clockmaker"
	}
	found.ErrorFound = whole(s.fast)
	found.Visit = s.plan.told.visits
	found.OilFound, found.Residue = s.oilLeft()
	s.add(found)
	s.lookAtLines()
	wait := 365*s.plan.measure - 60
	if s.plan.seasons {
		wait = 100
	}
	if s.plan.measure > 0 && (s.lastMeasured.IsZero() || s.day.Sub(s.lastMeasured) > wait) {
		s.measureAll()
	}
}

// inspectWords say what a yearly visit looked at.
func (s *sim) inspectWords() string {
	switch s.plan.clock.Kind {
	case schedule.Post:
		return "Yearly visit: movement, shaft, bevels, hands and head"
	case schedule.Private:
		return "Yearly visit: movement, lines, suspension, case"
	}
	return pick(s, towerWords)
}

// planVisit plans the next yearly visit in its month.
func (s *sim) planVisit() {
	year := s.day.Year + 1
	if s.day.Month < s.plan.visit-1 && s.rounds == 0 {
		year--
	}
	month := s.plan.visit
	if s.plan.seasons && year%2 == 1 {
		month = (month+5)%12 + 1
	}
	s.nextVisit = schedule.Date{Year: year, Month: month, Day: 4 + s.r.IntN(22)}
}

// measureAll holds the train and takes a reading of every bearing.
func (s *sim) measureAll() {
	s.lastMeasured = s.day
	s.rounds++
	sd, instrument := dialSD, "dial indicator, 0.01 mm"
	if s.left > 10*365 {
		sd, instrument = feelerSD, "feeler gauges"
	}
	held := "Train held and weight blocked for measuring"
	if s.plan.clock.Trains[0].Drive == wear.Electric {
		held = "Switched off and locked for measuring"
	}
	s.hold(held)
	for _, p := range s.points {
		if p.Code == s.plan.story.few {
			continue
		}
		s.planRepair(p, s.measure(p, sd, instrument, hestia))
	}
	s.release("Set after measuring")
}

// measure logs one reading and returns it; one of a story is mistyped and put
// right next day.
func (s *sim) measure(p *point, sd float64, instrument, by string) wear.Length {
	e := schedule.Entry{Kind: schedule.Measured, At: s.then(9), Train: p.train.Code, Bearing: p.Code, By: by}
	e.Reading = s.read(p, sd, instrument)
	value := e.Reading.Value
	if p.Code == s.plan.story.slip && s.rounds == 6 {
		right := e
		wrong := *e.Reading
		wrong.Value *= 10
		e.Reading, e.Sure = &wrong, true // asked back, and waved through
		right.Replaces, right.Why = s.add(e), "Decimal point slipped: the book has "+right.Reading.Value.In(wear.MM)
		s.pending = &right
		return value
	}
	s.add(e)
	return value
}

// hold stops the clock for work on the train.
func (s *sim) hold(words string) {
	at := s.then(15)
	s.warm = s.celsius()
	s.stop(at, time.Time{}, schedule.ForWork, schedule.Date{}, hestia, words)
}

// release sets it going again.
func (s *sim) release(words string) {
	at := s.then(10)
	s.going = true
	s.add(schedule.Entry{Kind: schedule.Started, At: at, By: hestia})
	s.set(s.then(4), hestia, words)
}

// fewReadings measures a bearing that came up lately: twice, with feelers.
func (s *sim) fewReadings() {
	if s.plan.story.few == "" || s.few > 1 || s.left > 230-s.few*160 {
		return
	}
	s.few++
	s.at(15, s.r.IntN(30))
	s.hold("Hands held for measuring from the lift")
	s.measure(s.point(s.plan.story.few), feelerSD, "feeler gauges", hestia)
	s.release("Set after measuring")
}

// misreading is a second look, days ago, with a gauge that nobody knew: it reads
// far too much, and nobody has asked again yet.
func (s *sim) misreading() {
	if s.plan.story.misread == "" || s.misread || s.left > 12 {
		return
	}
	s.misread = true
	s.at(15, s.r.IntN(30))
	s.hold("Train held for a second look")
	e := schedule.Entry{Kind: schedule.Measured, At: s.then(9), Bearing: s.plan.story.misread, By: s.plan.keeper, Note: "With a borrowed gauge"}
	p := s.point(e.Bearing)
	e.Train, e.Reading = p.train.Code, s.read(p, dialSD, "dial indicator, borrowed")
	e.Reading.Value += misreadBy
	s.add(e)
	s.release("Set after the second look")
}

// misreadBy is how wrong the story's reading is.
const misreadBy = 200 * wear.Micrometre

// planRepair has a bush that reads near its limit replaced some months later,
// when the money is there. Those of a story are left alone.
func (s *sim) planRepair(p *point, read wear.Length) {
	if p.Form != wear.Bush || read < p.Act.Size*9/10 || p.Code == s.plan.story.past || p.Code == s.plan.story.repair {
		return
	}
	for _, j := range s.jobs {
		if j.bearing == p.Code {
			return
		}
	}
	s.jobs = append(s.jobs, job{s.day.Add(90 + s.r.IntN(120)), p.Code})
}

// repair fits a new bush: measured before and after, cleaned, oiled, started.
func (s *sim) repair() {
	s.at(11, s.r.IntN(60))
	if s.ranDown() {
		return // another day
	}
	p := s.point(s.jobs[0].bearing)
	s.jobs = s.jobs[1:]
	s.hold("Stopped for a new bush")
	s.measure(p, dialSD, "dial indicator, 0.01 mm", corin)
	e := schedule.Entry{Kind: schedule.Repaired, At: s.then(150), Train: p.train.Code, Bearing: p.Code, By: corin,
		Note: "Gun-metal bush, pivot burnished first; old bush in the box by the clock"}
	e.Work, e.Fitted = schedule.NewBush, p.Bore-p.Pivot
	e.FittedSD = fittedSD(e.Fitted)
	p.level = e.Fitted.MM() + e.FittedSD.MM()*s.r.NormFloat64()
	if p.Code == s.plan.story.repair {
		p.truth.Rate, p.truth.Changed = p.truth.Centre*math.Exp(spread*s.plan.story.after), true
		e.Note += "; pivot trued, which had run out"
	}
	s.add(e)
	s.measure(p, dialSD, "dial indicator, 0.01 mm", corin)
	s.add(schedule.Entry{Kind: schedule.Cleaned, At: s.then(60), By: corin, Note: "Train taken down, cleaned and put together dry"})
	oiled := schedule.Entry{Kind: schedule.Oiled, At: s.then(15), By: corin, Note: "All pivots after cleaning"}
	oiled.Oil = s.plan.oil
	s.add(oiled)
	s.oiledOn = s.day
	s.nextOil = s.day.Add(s.plan.oilEvery)
	s.start(corin, "Set after the repair")
}
