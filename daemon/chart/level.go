package chart

import (
	"cmp"
	"math"
	"slices"
	"time"

	"endshake/schedule"
)

// levelAt is the size in mm that the bearing does not exceed, with a given
// probability, some time from now, if it goes on at its present duty.
func levelAt(o schedule.Outlook, ahead time.Duration, prob float64) float64 {
	counted := o.Exposure.Likely + math.Max(0, o.PerDay)*ahead.Hours()/24
	return o.Wear.LevelQuantile(math.Max(counted/o.Counter.PerUnit(), o.Wear.Now()), prob)
}

// sized is a size known at an exposure, with its weight.
type sized struct{ h, mm, weight float64 }

// levelPath is the level of one part through time, as seconds and mm. A
// forecast filter looks ahead only, so the way there is drawn as the straight
// line, by exposure, that fits the part's readings best; for the present part
// it ends in the level now, and it has a bend where the rate has changed.
func levelPath(o schedule.Outlook, part schedule.Part, now time.Time, last bool) []point {
	e := newExposures(o, now)
	facts := factsOf(part, e)
	if len(facts) == 0 {
		return nil
	}
	until := now
	if !last {
		until = endOf(o, part)
	}
	stops := stopsOf(o, part, until, last)
	var level func(h float64) float64
	if today := levelAt(o, 0, 0.5); last && o.Known && !math.IsNaN(today) {
		level = endingIn(facts, e.at(now), today, bend(o, part, e))
	} else {
		level = throughAll(facts)
	}
	if level == nil {
		return nil
	}
	var path []point
	for _, t := range stops {
		if mm := level(e.at(t)); !math.IsNaN(mm) && !math.IsInf(mm, 0) {
			path = append(path, point{seconds(t), math.Max(0, mm)})
		}
	}
	return path
}

// stopsOf are the instants that the path runs through: exposure between two
// readings grows as the calendar does, and so does the level.
func stopsOf(o schedule.Outlook, part schedule.Part, until time.Time, last bool) []time.Time {
	var stops []time.Time
	if part.Start != nil && !part.From.IsZero() {
		stops = append(stops, part.From)
	}
	for _, r := range part.Readings {
		if !r.At.After(until) {
			stops = append(stops, r.At)
		}
	}
	if last && !o.Known {
		return stops
	}
	return append(stops, until)
}

// endOf is when the part was followed by the next.
func endOf(o schedule.Outlook, part schedule.Part) time.Time {
	for i, p := range o.Parts[:max(0, len(o.Parts)-1)] {
		if p.From.Equal(part.From) && len(p.Readings) == len(part.Readings) {
			return o.Parts[i+1].From
		}
	}
	if n := len(part.Readings); n > 0 {
		return part.Readings[n-1].At
	}
	return part.From
}

func factsOf(part schedule.Part, e exposures) []sized {
	var facts []sized
	add := func(t time.Time, mm, sd float64) {
		if sd > 0 && !math.IsNaN(mm) {
			facts = append(facts, sized{e.at(t), mm, 1 / (sd * sd)})
		}
	}
	if part.Start != nil && !part.From.IsZero() {
		add(part.From, part.Start.Mean, part.Start.SD)
	}
	for _, r := range part.Readings {
		add(r.At, r.Reading.Value.MM(), r.Reading.SD())
	}
	return facts
}

// bend is the exposure at which the rate has likely changed; NaN for none.
func bend(o schedule.Outlook, part schedule.Part, e exposures) float64 {
	if i := o.Wear.ChangeAfter(); i >= 0 && i < len(part.Readings)-1 {
		return e.at(part.Readings[i].At)
	}
	return math.NaN()
}

// endingIn fits mm = end - s2 (past the bend) - s1 (before the bend) by
// weighted least squares; slopes below nothing are taken as nothing, for wear
// does not heal.
func endingIn(facts []sized, hEnd, end, bend float64) func(float64) float64 {
	if math.IsNaN(bend) {
		var xy, xx float64
		for _, f := range facts {
			x := hEnd - f.h
			xy += f.weight * x * (end - f.mm)
			xx += f.weight * x * x
		}
		s := slope(xy, xx)
		return func(h float64) float64 { return end - s*(hEnd-h) }
	}
	// After the bend first, then before it from where that begins.
	after := endingIn(since(facts, bend), hEnd, end, math.NaN())
	corner := after(bend)
	before := endingIn(until(facts, bend), bend, corner, math.NaN())
	return func(h float64) float64 {
		if h >= bend {
			return after(h)
		}
		return before(h)
	}
}

func since(facts []sized, h float64) []sized {
	return slices.DeleteFunc(slices.Clone(facts), func(f sized) bool { return f.h < h })
}

func until(facts []sized, h float64) []sized {
	return slices.DeleteFunc(slices.Clone(facts), func(f sized) bool { return f.h > h })
}

// throughAll fits a straight line through a part that is no more; nil for a
// single fact.
func throughAll(facts []sized) func(float64) float64 {
	if len(facts) < 2 {
		return nil
	}
	var w, mh, mm float64
	for _, f := range facts {
		w += f.weight
		mh += f.weight * f.h
		mm += f.weight * f.mm
	}
	mh, mm = mh/w, mm/w
	var xy, xx float64
	for _, f := range facts {
		xy += f.weight * (f.h - mh) * (f.mm - mm)
		xx += f.weight * (f.h - mh) * (f.h - mh)
	}
	s := slope(xy, xx)
	return func(h float64) float64 { return mm + s*(h-mh) }
}

func slope(xy, xx float64) float64 {
	if !(xx > 0) {
		return 0
	}
	return math.Max(0, xy/xx)
}

// exposures tells the exposure of a bearing at any instant, from what is known
// of it at its readings and now.
type exposures struct {
	known  []point // seconds and counter
	perDay float64
}

func newExposures(o schedule.Outlook, now time.Time) exposures {
	e := exposures{perDay: math.Max(0, o.PerDay)}
	for _, part := range o.Parts {
		for _, r := range part.Readings {
			e.known = append(e.known, point{seconds(r.At), r.Exposure})
		}
	}
	e.known = append(e.known, point{seconds(now), o.Exposure.Likely})
	slices.SortStableFunc(e.known, func(a, b point) int { return cmp.Compare(a.x, b.x) })
	return e
}

// at interpolates, and goes on at the present duty outside what is known.
func (e exposures) at(t time.Time) float64 {
	x := seconds(t)
	i, _ := slices.BinarySearchFunc(e.known, x, func(p point, x float64) int { return cmp.Compare(p.x, x) })
	switch {
	case i == 0:
		return e.known[0].y - (e.known[0].x-x)/86400*e.perDay
	case i == len(e.known):
		last := e.known[i-1]
		return last.y + (x-last.x)/86400*e.perDay
	}
	a, b := e.known[i-1], e.known[i]
	if b.x == a.x {
		return b.y
	}
	return a.y + (b.y-a.y)*(x-a.x)/(b.x-a.x)
}
