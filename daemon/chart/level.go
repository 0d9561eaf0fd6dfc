package chart

import (
	"math"
	"slices"
	"time"

	"endshake/schedule"
)

// levelAt is the size in mm that the bearing does not exceed at an instant,
// with a given probability, if it goes on at its present duty.
func levelAt(o schedule.Outlook, at time.Time, prob float64) float64 {
	return o.Wear.LevelQuantile(math.Max(o.Units(at), o.Wear.Now()), prob)
}

// sized is a size known at an exposure, with its weight.
type sized struct{ h, mm, weight float64 }

// levelPath is the level of one part through time, as seconds and mm. A
// forecast filter looks ahead only, so the way there is drawn as the straight
// line, by exposure, that fits the part's readings best; for the present part
// it ends in the level now, or of the last fact where that is all that is
// known, and it has a bend where the rate has changed.
func levelPath(o schedule.Outlook, part schedule.Part, now time.Time, last bool) []point {
	facts := factsOf(o, part)
	if len(facts) == 0 {
		return nil
	}
	until := endOf(o, part)
	level := throughAll(facts)
	if last {
		until = asOf(o, now)
		if o.Known {
			if end := levelAt(o, until, 0.5); !math.IsNaN(end) {
				level = endingIn(facts, o.Units(until), end, bend(o))
			}
		}
	}
	if level == nil {
		return nil
	}
	var path []point
	for _, t := range stopsOf(part, until) {
		if mm := level(o.Units(t)); !math.IsNaN(mm) && !math.IsInf(mm, 0) {
			path = append(path, point{seconds(t), math.Max(0, mm)})
		}
	}
	return path
}

// stopsOf are the instants that the path runs through: exposure between two
// readings grows as the calendar does, and so does the level.
func stopsOf(part schedule.Part, until time.Time) []time.Time {
	var stops []time.Time
	if part.Start != nil && !part.From.IsZero() {
		stops = append(stops, part.From)
	}
	for _, r := range part.Readings {
		if r.At.Before(until) {
			stops = append(stops, r.At)
		}
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

// factsOf are the sizes of a part, those that may be misread with less weight.
func factsOf(o schedule.Outlook, part schedule.Part) []sized {
	var facts []sized
	add := func(t time.Time, mm, sd, sure float64) {
		if sd > 0 && !math.IsNaN(mm) {
			facts = append(facts, sized{o.Units(t), mm, max(sure, 1e-3) / (sd * sd)})
		}
	}
	if part.Start != nil && !part.From.IsZero() {
		add(part.From, part.Start.Mean, part.Start.SD, 1)
	}
	for _, r := range part.Readings {
		add(r.At, r.Value, r.SD, 1-r.Doubt)
	}
	return facts
}

// bend is the exposure at which the rate has likely changed; NaN for none.
func bend(o schedule.Outlook) float64 {
	if r, ok := changedAt(o); ok {
		return o.Units(r.At)
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
