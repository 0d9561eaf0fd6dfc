package schedule

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// LikelyWork is a bearing that may come to its limit in the year ahead. The counts
// of a year are the sums of these chances and of what the others add, and of
// nothing else.
type LikelyWork struct {
	Clock     string  `json:"clock"`     // Clock.Slug
	Bearing   string  `json:"bearing"`   // code
	Now       bool    `json:"now"`       // it is at its limit at From, and counts as such
	ChanceNow float64 `json:"chanceNow"` // that it is at its limit at From
	Chance    float64 `json:"chance"`    // that it is before Until
	Likely    Date    `json:"likely"`    // as likely before as after; zero: at its limit now, or no date can be told
	above     bool    // its last reading is above its limit: it is named, however it fits
}

// LeftOut is what bearings that are not named add to the counts.
type LeftOut struct {
	Bearings  int     `json:"bearings"`
	ChanceNow float64 `json:"chanceNow"` // the sum
	Chance    float64 `json:"chance"`
}

// Add takes a bearing to those that are not named.
func (o *LeftOut) Add(w LikelyWork) {
	o.Bearings, o.ChanceNow, o.Chance = o.Bearings+1, o.ChanceNow+w.ChanceNow, o.Chance+w.Chance
}

// wearing is a bearing that may come to its limit.
type wearing struct {
	*Outlook
	maybe float64 // see perhaps
}

// likelyWork is what a bearing adds to the work of a year.
func (o wearing) likelyWork(clock string, from, until Date) LikelyWork {
	w := LikelyWork{clock, o.Bearing.Code, o.Over, o.reached(from), o.reached(until), o.Likely, o.readAbove()}
	if o.Over || !o.Dated {
		w.Likely = Date{}
	}
	return w
}

// name takes in what a bearing adds, and names it where that is worth it.
func (y *YearAhead) name(c *ClockYear, w LikelyWork) {
	c.Works += w.Chance
	c.WorkHours += w.Chance * float64(usualMinutes[NearLimit]) / 60
	if w.Now {
		c.Now++
	}
	if w.Chance < leastChance && !w.above {
		y.Others.Add(w)
		return
	}
	y.Bearings, c.Bearings = append(y.Bearings, w), append(c.Bearings, w)
}

// leastChance is the chance from which a bearing is named (judgement, no source).
const leastChance = 0.1

// wear adds the work that wear is likely to ask for.
func (y *YearAhead) wear(outlooks []wearing) {
	hours := float64(usualMinutes[NearLimit]) / 60
	by := func(d Date) []float64 {
		out := make([]float64, len(outlooks))
		for i, o := range outlooks {
			out[i] = o.reached(d)
		}
		return out
	}
	add := func(m *MonthWork, from, to []float64) {
		var chances []float64
		for i := range to {
			if p := to[i] - from[i]; p > 0 {
				chances = append(chances, p)
			}
		}
		m.Works = countBand(chances)
		for i, n := range m.Works {
			m.WorkHours[i] = n * hours
		}
	}
	never, long := by(Date{}), by(y.From)
	add(&y.Standing, never, long) // whatever is reached before the first day
	for i := range y.Months {
		next := y.Until
		if i+1 < len(y.Months) {
			next = y.Months[i+1].Month
		}
		reached := by(next)
		add(&y.Months[i], long, reached)
		long = reached
	}
	add(&y.Total, never, long) // the last month ends with the year
}

// readAbove reports that the last reading of the present part is above its limit.
func (o *Outlook) readAbove() bool {
	if o.Limit == nil || len(o.Parts) == 0 {
		return false
	}
	r := o.Parts[len(o.Parts)-1].Readings
	return len(r) > 0 && r[len(r)-1].Value >= o.Limit.Size.MM()
}

// reached is the chance that a bearing's limit is reached by a day, from the
// three dates of its forecast: straight between them in deviations of the
// normal law, and beyond them. Where its readings have grown too old for a late
// date it is as far from the likely one as the early is. Where they carry no date
// it is the chance that it is past its limit already.
func (o wearing) reached(by Date) float64 {
	switch {
	case by.IsZero():
		return 0
	case o.Over:
		return 1
	case !o.Dated && !o.held:
		return o.maybe
	}
	const tenth = 1.2815515655446004 // of the normal law: nine in ten are below
	before := float64(max(1, o.Likely.Sub(o.Early)))
	after := before
	if o.Dated {
		after = float64(max(1, o.Late.Sub(o.Likely)))
	}
	z := float64(by.Sub(o.Likely))
	if z < 0 {
		z *= tenth / before
	} else {
		z *= tenth / after
	}
	return distuv.UnitNormal.CDF(z)
}

// perhaps is the chance that a bearing is past its limit already, where no date
// tells and something speaks against calling it sound: its last reading is above
// the limit, or does not fit, or it was near when it was read.
func (o *Outlook) perhaps() float64 {
	if !o.Known || o.Limit == nil || o.Over || o.Dated || o.held || o.Condition == Sound || o.Condition == "" {
		return 0
	}
	now := o.Wear.Now()
	return o.Wear.Exceed(o.Limit.Size.MM(), now, now)
}

// countBand is how many of things come true that each have a chance, one apart
// from another: the count that one case in ten stays below, the mean, and the
// count that one in ten goes beyond.
func countBand(chances []float64) [3]float64 {
	dist := []float64{1}
	mean := 0.0
	for _, p := range chances {
		mean += p
		dist = append(dist, 0)
		for k := len(dist) - 1; k > 0; k-- {
			dist[k] = dist[k-1]*p + dist[k]*(1-p)
		}
		dist[0] *= 1 - p
		for len(dist) > 1 && dist[len(dist)-1] < 1e-9 {
			dist = dist[:len(dist)-1]
		}
	}
	at := func(q float64) float64 {
		sum := 0.0
		for k, p := range dist {
			if sum += p; sum >= q {
				return float64(k)
			}
		}
		return float64(len(dist) - 1)
	}
	return [3]float64{at(.1), math.Round(mean*100) / 100, at(.9)}
}
