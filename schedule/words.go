package schedule

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"endshake/wear"
)

// Days says a number of days as people do: "1 day", "12 days", "3 weeks",
// "5 months", "2 years".
func Days(n int) string {
	if n < 0 {
		n = -n
	}
	switch {
	case n < 21:
		return Count(n, "day", "days")
	case n < 70:
		return Count(int(math.Round(float64(n)/7)), "week", "weeks")
	case n < 730:
		return Count(int(math.Round(float64(n)/30.44)), "month", "months")
	}
	return Count(int(math.Round(float64(n)/365.25)), "year", "years")
}

// Count says a number of things: "1 clock", "3 clocks", "12,047 forecasts".
func Count(n int, one, many string) string {
	switch {
	case n == 1:
		return "1 " + one
	case n >= 0 && n < 1000:
		return strconv.Itoa(n) + " " + many
	}
	return Thousands(float64(n)) + " " + many
}

// percent prints a share: "25 %".
func percent(share float64) string { return strconv.FormatFloat(100*share, 'f', 0, 64) + " %" }

// chanceWords print a chance of something that nobody can be certain of.
func chanceWords(chance float64) string {
	switch {
	case chance < .005:
		return "under 1 %"
	case chance > .995:
		return "over 99 %"
	}
	return percent(chance)
}

// And joins words: "a", "a and b", "a, b and c"; with semicolons where one of them
// has a comma.
func And(words []string) string {
	comma, last := ", ", " and "
	if slices.ContainsFunc(words, func(w string) bool { return strings.Contains(w, ", ") }) {
		comma, last = "; ", "; and "
	}
	switch n := len(words); n {
	case 0:
		return ""
	case 1:
		return words[0]
	default:
		return strings.Join(words[:n-1], comma) + last + words[n-1]
	}
}

// everyWords says an interval behind "every", exactly: "year", "6 weeks", "90 days".
func everyWords(days int) string {
	return strings.TrimPrefix(spanOfDays(days), "1 ")
}

// spanOfDays prints a number of days in the unit that people plan in.
func spanOfDays(days int) string {
	switch {
	case days >= 365 && days%365 == 0:
		return Count(days/365, "year", "years")
	case days > 7 && days < 70 && days%7 == 0:
		return Count(days/7, "week", "weeks")
	}
	return Count(days, "day", "days")
}

// Thousands prints a whole number with its thousands apart: "26,298".
func Thousands(v float64) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "not known"
	}
	s := strconv.FormatFloat(math.Abs(v), 'f', 0, 64)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	if v <= -0.5 {
		return "−" + s
	}
	return s
}

// What says a task in words: "winding of the going train".
func (t Task) What() string {
	switch {
	case t.Kind == PowerCheck && t.About == "":
		return "check after the power cut"
	case t.Kind == PowerCheck:
		return "check of the " + t.About + " after the power cut"
	case t.About == "":
		return string(t.Kind)
	}
	switch t.Kind {
	case NearLimit:
		return "work on the " + t.About
	case LineAge:
		return "renewal of the " + t.About
	case Locked, Seasonal:
		return t.About
	case LineLook:
		if strings.HasPrefix(t.About, "line ") { // it has no name but its code
			return "inspection of the " + t.About
		}
	}
	return string(t.Kind) + " of the " + t.About
}

// NameOf is a bearing in words: "centre arbor, front bush".
func NameOf(bearing, arbor string) string {
	switch {
	case bearing == "":
		return arbor
	case arbor == "" || strings.HasPrefix(bearing, arbor):
		return bearing
	}
	return arbor + ", " + bearing
}

// NameOfTrain is a train in words: its name, or what it drives.
func NameOfTrain(t wear.Train) string {
	if t.Name != "" {
		return t.Name
	}
	return string(t.Kind) + " train"
}

// spanWords prints a running time: "30 hours", "8.5 days", "3 weeks".
func spanWords(d time.Duration) string {
	hours := int(math.Round(d.Hours()))
	switch {
	case hours == 1:
		return "1 hour"
	case hours < 72:
		return fmt.Sprintf("%d hours", hours)
	case hours < 21*24:
		return strings.TrimSuffix(fmt.Sprintf("%.1f", d.Hours()/24), ".0") + " days"
	}
	return Days(int(math.Round(d.Hours() / 24)))
}

// inBrackets adds a remark to a sentence, if there is one.
func inBrackets(s string) string {
	s = strings.TrimSuffix(strings.TrimSpace(s), ".")
	if s == "" {
		return ""
	}
	return " (" + s + ")"
}

// Capital makes the first letter a capital, to begin a sentence.
func Capital(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	if n == 0 {
		return s
	}
	return string(unicode.ToUpper(r)) + s[n:]
}
