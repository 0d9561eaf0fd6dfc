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

// levelPaths is the level of each part through time, as seconds and mm: the
// median of what all its readings tell of it, by the very account that looks
// ahead, so that the present one runs into the middle of the fan; where no rate
// is known it ends with the last fact. What is known of a part no longer, since
// other materials rub, is the straight line that fits it best. Wear does not
// heal, so nothing stands above what comes after it.
func levelPaths(o schedule.Outlook, now time.Time) [][]point {
	past, paths := o.Past(), make([][]point, len(o.Parts))
	for i, part := range o.Parts {
		k, end := i-len(o.Parts)+past.Parts(), endOf(o, i)
		level := func(t time.Time) float64 { return past.At(k, o.Units(t)) }
		if k < 0 {
			level = straightLevel(o, part)
		}
		if i == len(o.Parts)-1 && o.Known {
			end = asOf(o, now)
			known := level
			level = func(t time.Time) float64 {
				if t.Equal(end) {
					return levelAt(o, end, 0.5)
				}
				return known(t)
			}
		}
		paths[i] = path(level, part, end)
	}
	return paths
}

// levelNow is the level of the present part.
func levelNow(o schedule.Outlook, now time.Time) []point {
	paths := levelPaths(o, now)
	if len(paths) == 0 {
		return nil
	}
	return paths[len(paths)-1]
}

// straightLevel is the straight line, by exposure, that fits a part best; NaN where it
// has too few facts for one.
func straightLevel(o schedule.Outlook, part schedule.Part) func(time.Time) float64 {
	level := throughAll(factsOf(o, part))
	return func(t time.Time) float64 {
		if level == nil {
			return math.NaN()
		}
		return level(o.Units(t))
	}
}

// path follows a level through the facts of a part until an end: exposure between
// two readings grows as the calendar does, and so does the level. What stands
// above something that comes after it is lowered to that.
func path(level func(time.Time) float64, part schedule.Part, end time.Time) []point {
	var stops []time.Time
	if part.Start != nil && !part.From.IsZero() {
		stops = append(stops, part.From)
	}
	for _, r := range part.Readings {
		stops = append(stops, r.At)
	}
	stops = slices.DeleteFunc(stops, func(t time.Time) bool { return !t.Before(end) })
	var out []point
	for _, t := range append(stops, end) {
		if mm := level(t); !math.IsNaN(mm) && !math.IsInf(mm, 0) {
			out = append(out, point{seconds(t), math.Max(0, mm)})
		}
	}
	for i := len(out) - 2; i >= 0; i-- {
		out[i].y = math.Min(out[i].y, out[i+1].y)
	}
	return out
}

// endOf is when part i was followed by the next.
func endOf(o schedule.Outlook, i int) time.Time {
	part := o.Parts[i]
	switch n := len(part.Readings); {
	case i+1 < len(o.Parts):
		return o.Parts[i+1].From
	case n > 0:
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
