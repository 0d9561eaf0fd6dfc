package web

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// trainLine is one train with its running and its wind.
type trainLine struct {
	Name, Going, Run, Duty string
	Wind, WindMore         string
	Past                   bool // by what is logged it has stopped
}

func newTrainLine(a schedule.Assessment, t schedule.TrainState) trainLine {
	l := trainLine{Name: schedule.NameOfTrain(t.Train), Going: "stopped", Past: t.Wind.Past}
	switch {
	case l.Past:
		l.Going = "probably stopped"
	case t.Going:
		l.Going = "going"
	}
	per, unit := 1.0, "h"
	l.Duty = fmt.Sprintf("%.1f h a day", t.PerDay)
	if n := t.Train.PerRunHour(); t.Train.Counter() == wear.Strokes && n > 0 { // what its bearings wear by
		per, unit = n, "strokes"
		l.Duty = hours(n*t.PerDay) + " strokes a day"
	}
	l.Run = hours(per*t.RunHours.Likely) + " " + unit
	if t.RunHours.Upper-t.RunHours.Lower >= 1 {
		l.Run += fmt.Sprintf(", for certain between %s and %s %s", hours(per*t.RunHours.Lower), hours(per*t.RunHours.Upper), unit)
	}
	l.Wind, l.WindMore = windWords(a, t)
	return l
}

// windWords says how a train stands for wind: what is left in a few words, and
// the rest.
func windWords(a schedule.Assessment, t schedule.TrainState) (left, more string) {
	w := t.Wind
	switch {
	case t.Train.Drive == wear.AutoWound:
		return "wound by a motor", ""
	case t.Train.Drive == wear.Electric:
		return "no weight to wind", ""
	case w.Past:
		left = "past its run-down"
		more = "by what is logged it has stopped, unless somebody wound it and did not write it down"
		if !w.Stops.IsZero() {
			more = "by what is logged it stopped about " + wall(w.Stops, a.Zone) + bandWords(a, w) + ", unless somebody wound it and did not write it down"
		}
		return left, more
	case w.Lost != "":
		return "how much is left is not known", w.Lost
	case w.Known:
		return leftWords(w), stopWords(a, t)
	case t.WoundAt.IsZero():
		return "no full wind is logged", ""
	case t.RunsDown.IsZero():
		return "wound " + day(t.WoundAt, a.Zone), ""
	case t.RunsDown.Before(a.Now):
		return "wound " + day(t.WoundAt, a.Zone), "will have run down about " + wall(t.RunsDown, a.Zone)
	}
	return "wound " + day(t.WoundAt, a.Zone), "runs down about " + wall(t.RunsDown, a.Zone)
}

// leftWords says how much wind is left.
func leftWords(w schedule.WindState) string {
	out := span(w.Left) + " left"
	var parts []string
	if finite(w.Share) && w.Share > 0 {
		parts = append(parts, percent(w.Share)+" of a full wind")
	}
	if finite(w.Turns) && w.Turns > 0 {
		parts = append(parts, fmt.Sprintf("about %.0f turns of the barrel", w.Turns))
	}
	if len(parts) > 0 {
		out += " (" + strings.Join(parts, ", ") + ")"
	}
	return out
}

// stopWords says when a train stops, in what band, and what there is to spare.
func stopWords(a schedule.Assessment, t schedule.TrainState) string {
	w := t.Wind
	if w.Stops.IsZero() {
		return ""
	}
	out := "stops about " + wall(w.Stops, a.Zone) + bandWords(a, w)
	switch {
	case w.Spare >= time.Hour:
		out += "; " + span(w.Spare) + " to spare after its winding falls due"
	case w.Spare > 0:
		out += "; hardly anything to spare after its winding falls due"
	case w.Spare < 0:
		out += "; it stops before its winding falls due"
	}
	return out
}

// bandWords is the band in which a train stops nine times in ten.
func bandWords(a schedule.Assessment, w schedule.WindState) string {
	if w.Early.IsZero() || w.Late.IsZero() || !w.Early.Before(w.Late) {
		return ""
	}
	return ", nine times in ten between " + wall(w.Early, a.Zone) + " and " + wall(w.Late, a.Zone)
}

// lockWords says what a clock is locked against; nothing where it is not.
func lockWords(a schedule.Assessment) string {
	var parts []string
	for _, l := range a.Locks {
		parts = append(parts, string(l.Kind))
	}
	if len(parts) == 0 {
		return ""
	}
	return "locked: " + schedule.And(parts)
}

// foundWords say what inspections found to act on, a sentence each.
func foundWords(a schedule.Assessment) []string {
	var out []string
	for _, f := range a.Findings {
		out = append(out, f.Words())
	}
	return out
}

// foundShort counts what inspections found to act on, for a line of the fleet;
// nothing where there is none.
func foundShort(a schedule.Assessment) string {
	var since []schedule.Date
	for _, f := range a.Findings {
		for _, w := range f.Said {
			since = append(since, w.Since)
		}
	}
	switch len(since) {
	case 0:
		return ""
	case 1:
		return "1 finding not mended, of " + since[0].Words()
	}
	oldest := slices.MinFunc(since, func(x, y schedule.Date) int { return x.Sub(y) })
	return fmt.Sprintf("%d findings not mended, the oldest of %s", len(since), oldest.Words())
}

// standing says whether a clock goes, and what speaks against it: the same as
// its tasks under schedule.MayHaveStopped.
func standing(a schedule.Assessment) string {
	if a.Resting && !a.Back.IsZero() {
		return "resting until " + a.Back.Words()
	}
	out := string(a.Stance())
	switch a.Stance() {
	case schedule.Unknown:
		return "not known since the power cut"
	case schedule.Rests, schedule.Stands, schedule.RunOut:
		return out
	}
	var down []string
	for _, t := range a.Tasks {
		switch {
		case t.Rank != schedule.MayHaveStopped:
		case t.Kind == schedule.PowerCheck:
			return "going, unless the power cut stopped the " + t.About
		case t.About != "":
			down = append(down, t.About)
		}
	}
	if len(down) > 0 {
		out += "; " + schedule.And(down) + " run down, perhaps"
	}
	return out
}
