package schedule

import (
	"fmt"
	"math"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"
)

// Days says a number of days as people do: "1 day", "12 days", "3 weeks",
// "5 months", "2 years".
func Days(n int) string {
	count := func(n int, unit string) string {
		if n == 1 {
			return "1 " + unit
		}
		return fmt.Sprintf("%d %ss", n, unit)
	}
	if n < 0 {
		n = -n
	}
	switch {
	case n < 21:
		return count(n, "day")
	case n < 70:
		return count(int(math.Round(float64(n)/7)), "week")
	case n < 730:
		return count(int(math.Round(float64(n)/30.44)), "month")
	}
	return count(int(math.Round(float64(n)/365.25)), "year")
}

// Thousands prints a whole number with its thousands apart: "26,298".
func Thousands(v float64) string {
	s := fmt.Sprintf("%.0f", math.Abs(v))
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
	if t.About == "" {
		return string(t.Kind)
	}
	if t.Kind == NearLimit {
		return "work on the " + t.About
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

func capital(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	if n == 0 {
		return s
	}
	return string(unicode.ToUpper(r)) + s[n:]
}
