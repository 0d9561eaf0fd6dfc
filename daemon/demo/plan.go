package demo

import (
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// plan is a clock with what the simulation must know to live its years.
type plan struct {
	clock  schedule.Clock
	years  int // in care, up to today
	months int // and months

	keeper, winder, deputy string

	windEvery int          // days between full winds; zero: not wound by hand
	windOn    time.Weekday // for a weekly wind
	midweek   []string     // trains that are wound again three days later
	oilEvery  int          // days
	oil       string       // what oil
	measure   int          // years between measurements; zero: none was ever made
	visit     time.Month   // of the conservator's yearly visit
	seasons   bool         // visited half a year later every other year, and measured each time
	hourBack  string       // how the clock is put back in autumn
	outside   bool         // snow and birds can stop the hands
	room      float64      // mean temperature where it is measured, °C
	swing     float64      // half the difference of summer and winter there, °C
	told      telling      // what the log tells of its care
	story     story
}

// story is what must happen to a clock, whatever the lots say.
type story struct {
	draws       map[string]float64 // a bearing's draw, in deviations from Archard's rate
	few         string             // a bearing that was measured twice, lately, by feeler gauge
	past        string             // a bearing that is left in past its limit
	repair      string             // a bearing that had worn too fast and got a new bush
	repairYears int                // years ago
	after       float64            // its draw from then on: what wore it was found
	missed      *missed
	quiet       int    // days before today in which nobody logged anything
	winter      bool   // out of season from November to March
	bench       bool   // stopped for work now
	slip        string // a bearing with one reading mistyped and corrected
	oilTin      bool   // one oiling logged with the wrong oil and corrected
	misread     string // a bearing whose last reading is wrong, and stands
	lateOil     int    // days by which oil is always late; its bearings wear by the state of the oil
}

// missed is a stretch in which nobody oiled, and the bearing that paid for it.
type missed struct {
	bearing  string
	from, to int     // months ago
	factor   float64 // on the rate, from half a year into it
}

// Ways of putting a clock back an hour in autumn.
const (
	stopHour = "stopped for the hour"
	elevenOn = "advanced eleven hours, letting it strike"
	byMotor  = "hour taken off at the setting switch"
)

// A full wind of a train with an 8-day fall runs a third of a day longer, so
// that a late winder finds it going (E. Beckett, 1903, p. 197).
const (
	eightDay = 8*24*time.Hour + 8*time.Hour
	fourDay  = 4*24*time.Hour + 6*time.Hour
	thirty   = 31 * time.Hour
)

// Sources of intervals.
const (
	common   = "common practice, no source"
	beckett  = "E. Beckett, A Rudimentary Treatise on Clocks, Watches and Bells, 8th ed., 1903, p. "
	drops    = "Slow pivots in a large clock may not want oil even once a year; the old oil comes off first."
	forgets  = "The fall is made for eight days and a part, so that a forgotten day is survived."
	twoVisit = "Spring and autumn, before the hands meet the heat and the frost."
	dusty    = "Dust and damp reach the motion work: half the indoor interval."
)

// plans are the twelve clocks as they stand on today.
func plans(today schedule.Date) []plan {
	all := []plan{
		cornHall(), oldPriory(), marketHouse(), townHall(), fullingMill(), stableCourt(),
		stationPost(), quayPost(), regulator(), longcase(), almshouses(), readingRoom(),
	}
	for i := range all {
		p := &all[i]
		p.clock.InCare = back(today, p.years, p.months)
		fitted(&p.clock)
		p.describeCare()
		if p.story.bench {
			p.story.bench = !outOfSeason(today) // somebody rests in every season
		}
	}
	return all
}

// back is a day some years and months before.
func back(d schedule.Date, years, months int) schedule.Date {
	return schedule.DateOf(time.Date(d.Year-years, d.Month-time.Month(months), d.Day, 0, 0, 0, 0, time.UTC), time.UTC)
}

// outOfSeason reports whether a clock that rests for winter rests on d.
func outOfSeason(d schedule.Date) bool { return d.Month >= time.November || d.Month <= time.March }

// fitted dates every part of known size to the day the clock came into care,
// after an overhaul.
func fitted(c *schedule.Clock) {
	loc, err := time.LoadLocation(zone)
	if err != nil {
		loc = time.UTC
	}
	start := c.InCare.Start(loc).UTC()
	for _, t := range c.Trains {
		for _, a := range t.Arbors {
			for i := range a.Bearings {
				if a.Bearings[i].Fitted > 0 {
					a.Bearings[i].FittedAt = start
				}
			}
		}
	}
}

// going, strike and chime make the three trains.
func going(d wear.Drive, reserve time.Duration, arbors ...wear.Arbor) wear.Train {
	return wear.Train{Code: "going", Name: "going train", Kind: wear.Going, Drive: d, Reserve: reserve, Arbors: arbors}
}

func strike(d wear.Drive, reserve time.Duration, blows float64, arbors ...wear.Arbor) wear.Train {
	return wear.Train{Code: "strike", Name: "strike train", Kind: wear.Strike, Drive: d, Reserve: reserve, StrokesPerDay: blows, Arbors: arbors}
}

func chime(d wear.Drive, reserve time.Duration, blows float64, arbors ...wear.Arbor) wear.Train {
	return wear.Train{Code: "chime", Name: "chime train", Kind: wear.Chime, Drive: d, Reserve: reserve, StrokesPerDay: blows, Arbors: arbors}
}

// meshing are the wheels that the wear of a train moves.
func meshing(t wear.Train, meshes ...wear.Mesh) wear.Train {
	t.Meshes = meshes
	return t
}

// winding is the policy for one hand-wound train.
func winding(train string, days int, reason, source string) schedule.Policy {
	lead, grace := 2, 1
	if days < 7 {
		lead, grace = 1, 0
	}
	if days == 1 {
		lead = 0
	}
	return schedule.Policy{Task: schedule.Winding, Train: train, Days: days, Lead: lead, Grace: grace, Reason: reason, Source: source}
}

// care are the policies that every clock has: days between oilings with the
// reason and source, years between measurements.
func care(oilEvery int, reason, source string, years int) []schedule.Policy {
	return []schedule.Policy{
		{Task: schedule.Oiling, Days: oilEvery, Lead: min(30, oilEvery/4), Grace: oilEvery / 6, Reason: reason, Source: source},
		{Task: schedule.Inspection, Days: 365, Lead: 45, Grace: 45, Reason: "A yearly visit with a written report.", Source: common},
		{Task: schedule.Measuring, Days: 365 * years, Lead: 45, Grace: 60,
			Reason: "With the conservator's visit, while the weight is held anyway.", Source: common},
	}
}
