package demo

import (
	"math"
	"math/rand/v2"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// sim lives the years of one clock, day by day. It knows what truly happens;
// the log holds what people saw of it.
type sim struct {
	plan  plan
	r     *rand.Rand
	side  *rand.Rand // of what is told besides: it changes no lot of the rest
	loc   *time.Location
	today schedule.Date
	cut   time.Time // no entry is later

	now    time.Time // lived up to here
	going  bool
	trains []*runner
	points []*point
	fast   float64 // the dial's error in s, + fast
	rate   float64 // s/day, + gaining
	warm   float64 // °C, at the last stop for work

	day      schedule.Date
	weekday  time.Weekday
	left     int // days left to today
	tell     time.Time
	log      []schedule.Entry
	recorded time.Time

	nextWind, nextVisit, nextOil, nextLook schedule.Date
	oiledOn                                schedule.Date
	lastMeasured                           schedule.Date
	lateDay                                schedule.Date   // of a wind put off
	startOn                                schedule.Date   // stopped: when it is started again
	rounds                                 int             // measurements so far
	few                                    int             // readings of the story's bearing so far
	misread                                bool            // the wrong reading was taken
	strand                                 bool            // the broken strand was found
	grams                                  string          // the regulation to be taken back
	pending                                *schedule.Entry // a correction to be logged the day after
	jobs                                   []job           // repairs to come
}

func newSim(p plan, today schedule.Date, r *rand.Rand) *sim {
	loc, err := time.LoadLocation(zone)
	if err != nil {
		loc = time.UTC
	}
	start := p.clock.InCare
	s := &sim{
		plan: p, r: r, side: rand.New(rand.NewPCG(0, 0)), loc: loc, today: today, cut: today.At(6, 0, loc).UTC(),
		now: start.Start(loc).UTC(), going: true,
		nextWind: start, nextOil: start.Add(p.oilEvery), nextLook: start.Add(r.IntN(28)),
		nextVisit: start.Add(12 + r.IntN(20)), oiledOn: start,
	}
	if p.clock.Trains[0].Drive != wear.Electric {
		s.rate = 2 * r.NormFloat64()
	}
	perYear := 40 + 53*len(p.midweek)
	if p.windEvery > 0 {
		perYear += 365 / p.windEvery
	}
	s.log = make([]schedule.Entry, 0, (p.years+1)*perYear)
	if code := p.story.repair; code != "" {
		s.jobs = []job{{back(today, p.story.repairYears, 0), code}}
	}
	s.equip()
	return s
}

// job is a new bush to be fitted.
type job struct {
	day     schedule.Date
	bearing string
}

// live goes through the days of the clock's care. Nothing happens before 06:00
// on today, so yesterday is the last.
func (s *sim) live() {
	utc := s.plan.clock.InCare.Start(time.UTC)
	end := s.today.Start(time.UTC)
	for ; utc.Before(end); utc = utc.Add(24 * time.Hour) {
		s.day = schedule.DateOf(utc, time.UTC)
		s.weekday = utc.Weekday()
		s.left = int(end.Sub(utc) / (24 * time.Hour))
		s.tell = time.Time{}
		if s.left < s.plan.story.quiet {
			break
		}
		s.runTo(utc)
		s.liveDay()
	}
	s.runTo(s.cut)
}

func (s *sim) liveDay() {
	s.spoil()
	s.correct()
	if s.plan.story.winter && s.going && outOfSeason(s.day) {
		s.rest()
	}
	if !s.going {
		if s.day == s.startOn {
			s.clearLock()
			s.restart()
		}
		return
	}
	s.mishap()
	if s.going && s.timeChange() && !s.unchanged() {
		s.shiftHour()
	}
	if s.plan.story.bench && s.left == 12 {
		s.bench()
	}
	if s.going && s.plan.windEvery > 0 {
		s.windDay()
	} else if s.going {
		s.lookDay()
	}
	if s.going {
		s.visits()
	}
	if s.going && s.midweekDay() {
		s.midweek()
	}
	s.besides()
}

// quietEnd reports whether the end is so near that nothing unforeseen may
// happen any more: what today looks like is for the stories to say.
func (s *sim) quietEnd() bool { return s.left < s.plan.story.quiet+20 }

// timeChange reports whether the clocks change today.
func (s *sim) timeChange() bool {
	return s.weekday == time.Sunday && s.day.Day >= 25 && (s.day.Month == time.March || s.day.Month == time.October)
}

// at moves the telling of the day on to a wall time, or five minutes past what
// was told last, and lives up to it.
func (s *sim) at(hour, minute int) time.Time {
	t := s.day.At(hour, minute, s.loc).UTC()
	if !t.After(s.tell) {
		t = s.tell.Add(5 * time.Minute)
	}
	s.tell = t
	s.runTo(t)
	return t
}

// then moves on by some minutes.
func (s *sim) then(minutes int) time.Time {
	s.tell = s.tell.Add(time.Duration(minutes) * time.Minute)
	s.runTo(s.tell)
	return s.tell
}

// runTo lives on to an instant: trains run as far as their wind goes, and a
// going train that has run down stops the others. While it stands the dial loses.
func (s *sim) runTo(t time.Time) {
	dt := t.Sub(s.now)
	if dt <= 0 {
		return
	}
	s.now = t
	ran := time.Duration(0)
	if s.going {
		oil := s.oilState()
		ran = s.trains[0].run(dt, oil)
		for _, tr := range s.trains[1:] {
			tr.run(ran, oil)
		}
	}
	s.fast += s.rate*ran.Hours()/24 - (dt - ran).Seconds()
}

// ranDown reports whether the going train has used up its wind.
func (s *sim) ranDown() bool { return s.trains[0].hand && s.trains[0].left == 0 }

// chance is true with probability p.
func (s *sim) chance(p float64) bool { return s.r.Float64() < p }

// celsius is the temperature today where the clock is measured, to half a degree.
func (s *sim) celsius() float64 {
	season := -math.Cos(2 * math.Pi * (float64(s.day.Month) - 0.8 + float64(s.day.Day)/31) / 12)
	return math.Round(2*(s.plan.room+s.plan.swing*season+1.5*s.r.NormFloat64())) / 2
}

// winderToday is who winds: mostly the winder, now and then the deputy.
func (s *sim) winderToday() string {
	if s.chance(0.12) {
		return s.plan.deputy
	}
	return s.plan.winder
}
