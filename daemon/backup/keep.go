package backup

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"endshake/schedule"
)

// Keep says how many copies stay: the newest of each of so many days, weeks (from
// Monday) and months that have one, counted back from the newest copy. Days are
// those of UTC, as in the names of the copies.
type Keep struct{ Daily, Weekly, Monthly int }

// Usual is a week of days, a month of weeks and a year of months. Common practice,
// no source.
var Usual = Keep{Daily: 7, Weekly: 4, Monthly: 12}

// mostKept bounds each figure.
const mostKept = 10000

// ParseKeep reads "7,4,12": days, weeks and months.
func ParseKeep(s string) (k Keep, err error) {
	parts := strings.Split(s, ",")
	for i, to := range []*int{&k.Daily, &k.Weekly, &k.Monthly} {
		if len(parts) != 3 {
			break
		}
		n, bad := strconv.Atoi(strings.TrimSpace(parts[i]))
		if bad != nil || n < 0 || n > mostKept {
			return Keep{}, fmt.Errorf("%q is not a number of backups to keep: give days, weeks and months, like 7,4,12", parts[i])
		}
		*to = n
	}
	if len(parts) != 3 || k.Daily+k.Weekly+k.Monthly == 0 {
		return Keep{}, fmt.Errorf("%q does not say how many backups are kept: give days, weeks and months, like 7,4,12, and not all of them 0", s)
	}
	return k, nil
}

// String is what ParseKeep reads.
func (k Keep) String() string { return fmt.Sprintf("%d,%d,%d", k.Daily, k.Weekly, k.Monthly) }

// wrongBy is how far ahead of now the name of a copy is that was made by a clock that
// was wrong: no two machines differ by as much. Judgement, no source.
const wrongBy = time.Hour

// Ahead reports whether a copy claims to be of a time that is still to come.
func (f File) Ahead(now time.Time) bool { return f.At.Sub(now) > wrongBy }

// Newest is the newest of copies, newest first, that does not claim to be of a time
// to come; false: there is none.
func Newest(files []File, now time.Time) (File, bool) {
	i := slices.IndexFunc(files, func(f File) bool { return !f.Ahead(now) })
	if i < 0 {
		return File{}, false
	}
	return files[i], true
}

// surplus gives those of the copies, newest first, that need not stay. What claims to
// be of a time to come takes the place of none; it goes where now is sure to be right,
// and else stays, for it may be now that is wrong.
func (k Keep) surplus(files []File, now time.Time, sure bool) (out []File) {
	kept := map[string]bool{}
	for _, rule := range []struct {
		n      int
		period func(time.Time) string
	}{
		{k.Daily, func(t time.Time) string { return t.Format("2006-01-02") }},
		{k.Weekly, func(t time.Time) string { y, w := t.ISOWeek(); return fmt.Sprint(y, " ", w) }},
		{k.Monthly, func(t time.Time) string { return t.Format("2006-01") }},
	} {
		seen := map[string]bool{}
		for _, f := range files {
			if p := rule.period(f.At); !f.Ahead(now) && !seen[p] && len(seen) < rule.n {
				seen[p], kept[f.Path] = true, true
			}
		}
	}
	for _, f := range files {
		if !kept[f.Path] && (sure || !f.Ahead(now)) {
			out = append(out, f)
		}
	}
	return out
}

// Words says what is kept.
func (k Keep) Words() string {
	return fmt.Sprintf("the newest of %s, %s and %s", schedule.Count(k.Daily, "day", "days"), schedule.Count(k.Weekly, "week", "weeks"), schedule.Count(k.Monthly, "month", "months"))
}
