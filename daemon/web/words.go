package web

import (
	"fmt"
	"html/template"
	"math"
	"strconv"
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
	return wear.FromMM(math.Round(mm*100) / 100).Both(wear.MM)
}

// rate prints a rate of wear a year in both systems, a slow one in micrometres.
func rate(mm float64) string {
	switch {
	case math.IsNaN(mm) || math.IsInf(mm, 0):
		return "not known"
	case mm < 0.00001:
		return "next to nothing"
	case mm < 0.005:
		return fmt.Sprintf("%s (%s thou)", tiny(mm), strconv.FormatFloat(mm*1000/25.4, 'g', 1, 64))
	}
	return fmt.Sprintf("%.3f mm (%.1f thou)", mm, mm*1000/25.4)
}

// tiny prints a size in mm to two figures, in micrometres where it is that small.
func tiny(mm float64) string {
	v, unit := mm, "mm"
	if mm < 0.01 {
		v, unit = mm*1000, "micrometres"
	}
	if math.IsNaN(v) || math.IsInf(v, 0) || v <= 0 {
		return "not known"
	}
	decimals := max(0, 1-int(math.Floor(math.Log10(v))))
	return strconv.FormatFloat(v, 'f', decimals, 64) + " " + unit
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

// instant prints an instant where the clock stands, to the minute.
func instant(t time.Time, zone *time.Location) string {
	if t.IsZero() {
		return "not known"
	}
	return t.In(zone).Format("2 Jan 2006, 15:04")
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

// fastSlow says an error of the hands in words.
func fastSlow(seconds float64) string {
	switch {
	case seconds > 0:
		return minutes(seconds) + " fast"
	case seconds < 0:
		return minutes(-seconds) + " slow"
	}
	return "right"
}

// minutes prints seconds, more than two minutes as people do: "75 s",
// "18 min 27 s", "1 h 2 min".
func minutes(seconds float64) string {
	if !(seconds > 120 && seconds < 1e9) {
		return fmt.Sprintf("%g s", seconds)
	}
	n := int(math.Round(seconds))
	var parts []string
	for _, unit := range []struct {
		of   int
		name string
	}{{3600, "h"}, {60, "min"}, {1, "s"}} {
		if k := n / unit.of; k > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", k, unit.name))
		}
		n %= unit.of
	}
	return strings.Join(parts, " ")
}

// far prints a length that is paced out and not gauged: "0.61 m (2 ft 0 in)".
func far(l wear.Length) string {
	if l < 0 || l < 100*wear.Millimetre && l > 0 {
		return fmt.Sprintf("%.0f mm (%.1f in)", l.MM(), l.MM()/25.4)
	}
	inches := int(math.Round(l.MM() / 25.4))
	return fmt.Sprintf("%.2f m (%d ft %d in)", l.MM()/1000, inches/12, inches%12)
}

// thick prints the diameter of a rope: "6 mm".
func thick(l wear.Length) string { return strconv.FormatFloat(l.MM(), 'f', -1, 64) + " mm" }
