package web

import (
	"fmt"
	"html/template"
	"math"
	"strings"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// helpers are the functions that templates use.
var helpers = template.FuncMap{
	"hours":    hours,
	"percent":  percent,
	"both":     both,
	"capital":  schedule.Capital,
	"sentence": sentence,
	"class":    func(words string) string { return strings.ReplaceAll(words, " ", "-") },
	"bearings": func(lines []bearingLine, clock bool) bearingTable { return bearingTable{lines, clock} },
}

// hours prints run-hours or strokes with their thousands apart.
func hours(v float64) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "not known"
	}
	return schedule.Thousands(v)
}

// percent prints a share: "52 %".
func percent(v float64) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "not known"
	}
	return fmt.Sprintf("%.0f %%", 100*v)
}

// chance prints a probability that is an estimate: never as sure as 0 or 100 %.
func chance(p float64) string {
	switch {
	case p < 0.01:
		return "less than 1 %"
	case p > 0.99:
		return "more than 99 %"
	}
	return percent(p)
}

// both prints a size in mm in both systems, to a hundredth of a millimetre.
func both(mm float64) string {
	if math.IsNaN(mm) || math.IsInf(mm, 0) {
		return "not known"
	}
	return wear.Hundredths(mm).String()
}

// sentence begins with a capital and ends with a stop.
func sentence(s string) string {
	s = strings.TrimSpace(s)
	if s == "" || strings.ContainsAny(s[len(s)-1:], ".!?") {
		return schedule.Capital(s)
	}
	return schedule.Capital(s) + "."
}

// day prints an instant as a day where the clock stands.
func day(t time.Time, zone *time.Location) string {
	if t.IsZero() {
		return "not known"
	}
	return t.In(zone).Format("2 Jan 2006")
}

// wall prints an instant where the clock stands, with its weekday.
func wall(t time.Time, zone *time.Location) string {
	if t.IsZero() {
		return "not known"
	}
	return t.In(zone).Format("Mon 2 Jan 2006, 15:04")
}

// span prints a running time: "40 minutes", "14 hours", "a day", "3.2 days".
func span(d time.Duration) string {
	switch h := d.Hours(); {
	case h < 0:
		return "nothing"
	case h < 1:
		return schedule.Count(int(d.Minutes()), "minute", "minutes")
	case h < 3 && int(d.Minutes())%60 > 0:
		return fmt.Sprintf("%d h %d min", int(h), int(d.Minutes())%60)
	case h >= 23 && h < 26:
		return "a day"
	case h < 48:
		return schedule.Count(int(math.Round(h)), "hour", "hours")
	default:
		return strings.TrimSuffix(fmt.Sprintf("%.1f", h/24), ".0") + " days"
	}
}

// takes says how long a job takes, for people who plan a day; nothing where
// that is not known.
func takes(minutes int) string {
	switch {
	case minutes <= 0:
		return ""
	case minutes < 90:
		return schedule.Count(minutes, "minute", "minutes")
	}
	return strings.TrimSuffix(fmt.Sprintf("%.1f", float64(minutes)/60), ".0") + " hours"
}

// when says where today stands in a task's window, in words.
func when(t schedule.Task, today schedule.Date) string {
	if t.Past != "" {
		return t.Past
	}
	switch t.State {
	case schedule.Late:
		if n := today.Sub(t.Latest); n > 0 && !t.Latest.IsZero() {
			return schedule.Days(n) + " past its last good day"
		}
		return "late"
	case schedule.Resting:
		return "resting; not before the clock goes again"
	case schedule.Ahead:
		return ahead("may be done from", t.From, today)
	}
	if t.Due.IsZero() {
		return "now"
	}
	switch n := t.Due.Sub(today); {
	case n > 0:
		return fmt.Sprintf("due %s, in %s", t.Due.Words(), schedule.Days(n))
	case n == 0:
		return "due today"
	default:
		return fmt.Sprintf("due since %s", t.Due.Words())
	}
}

func ahead(words string, d, today schedule.Date) string {
	if d.IsZero() {
		return "not yet"
	}
	if n := d.Sub(today); n > 0 {
		return fmt.Sprintf("%s %s, in %s", words, d.Words(), schedule.Days(n))
	}
	return words + " " + d.Words()
}

// window says a task's good days: "from 1 May to 9 June 2027, due 20 May 2027";
// nothing where it has none but the day it is due.
func window(t schedule.Task) string {
	if t.From.IsZero() || t.Latest.IsZero() || t.Past != "" {
		return ""
	}
	return fmt.Sprintf("from %s to %s, due %s", t.From.Words(), t.Latest.Words(), t.Due.Words())
}
