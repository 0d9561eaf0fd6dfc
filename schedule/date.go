package schedule

import (
	"fmt"
	"strconv"
	"time"
)

// Date is a day on the wall calendar of a clock's own zone. The zero Date is
// no date.
type Date struct {
	Year  int
	Month time.Month
	Day   int
}

// DateOf is the day that t falls on in a zone.
func DateOf(t time.Time, zone *time.Location) Date {
	y, m, d := t.In(zone).Date()
	return Date{y, m, d}
}

// ParseDate reads 2026-11-25. Anything else is refused: 03/04/2025 could be
// two days.
func ParseDate(s string) (Date, error) {
	t, err := time.Parse(time.DateOnly, s)
	if err != nil {
		return Date{}, fmt.Errorf("date %q is not a day: write it as year-month-day, like 2026-11-25", s)
	}
	return DateOf(t, time.UTC), nil
}

// IsZero reports whether there is no date.
func (d Date) IsZero() bool { return d == Date{} }

// Start is the first instant of the day in a zone; where a zone left the day
// out, the first of the next.
func (d Date) Start(zone *time.Location) time.Time { return d.At(0, 0, zone) }

// At is an instant of the day in a zone. A wall time that a change of clocks
// leaves out is moved on by the length of the gap; of one that comes twice it
// is the first. (time.Date promises neither, and moves some back.)
func (d Date) At(hour, minute int, zone *time.Location) time.Time {
	t, _ := onWall(time.Date(d.Year, d.Month, d.Day, hour, minute, 0, 0, time.UTC), zone)
	return t
}

// Add is the day n days on. No date stays no date.
func (d Date) Add(n int) Date {
	if d.IsZero() {
		return d
	}
	return DateOf(time.Date(d.Year, d.Month, d.Day+n, 0, 0, 0, 0, time.UTC), time.UTC)
}

// Sub is the number of days from e to d.
func (d Date) Sub(e Date) int {
	return int((d.utc() - e.utc()) / (24 * 3600))
}

// utc is when the day begins in UTC, which leaves none out, in Unix time.
func (d Date) utc() int64 { return time.Date(d.Year, d.Month, d.Day, 0, 0, 0, 0, time.UTC).Unix() }

// number counts the day from 1 Jan 1970.
func (d Date) number() int { return int(d.utc() / (24 * 3600)) }

// dayOfNumber is the day that counts so.
func dayOfNumber(n int) Date { return Date{1970, time.January, 1}.Add(n) }

// Before reports whether d is an earlier day than e.
func (d Date) Before(e Date) bool { return d.compare(e) < 0 }

// compare is below 0 where d is an earlier day than e, above where it is a later one.
func (d Date) compare(e Date) int {
	switch {
	case d.Year != e.Year:
		return d.Year - e.Year
	case d.Month != e.Month:
		return int(d.Month - e.Month)
	}
	return d.Day - e.Day
}

// After reports whether d is a later day than e.
func (d Date) After(e Date) bool { return e.Before(d) }

// String prints 2026-11-25, and nothing for no date.
func (d Date) String() string {
	if d.IsZero() {
		return ""
	}
	return d.Start(time.UTC).Format(time.DateOnly)
}

// Words prints 25 Nov 2026, which no reader takes for another day.
func (d Date) Words() string {
	if d.IsZero() {
		return "no date"
	}
	if d.Year < 1000 || d.Year > 9999 {
		return d.Start(time.UTC).Format("2 Jan 2006")
	}
	out := strconv.AppendInt(make([]byte, 0, len("25 Nov 2026")), int64(d.Day), 10)
	out = append(append(out, ' '), d.Month.String()[:3]...)
	return string(strconv.AppendInt(append(out, ' '), int64(d.Year), 10))
}

// MonthWords prints November 2026.
func (d Date) MonthWords() string {
	if d.IsZero() {
		return "no date"
	}
	if d.Year < 1000 || d.Year > 9999 {
		return d.Start(time.UTC).Format("January 2006")
	}
	return d.Month.String() + " " + strconv.Itoa(d.Year)
}

// MarshalText writes the date as String does.
func (d Date) MarshalText() ([]byte, error) { return []byte(d.String()), nil }

// UnmarshalText reads what MarshalText writes.
func (d *Date) UnmarshalText(b []byte) error {
	if len(b) == 0 {
		*d = Date{}
		return nil
	}
	v, err := ParseDate(string(b))
	if err != nil {
		return err
	}
	*d = v
	return nil
}

// earliest of two dates, where no date is later than any.
func earliest(a, b Date) Date {
	if a.IsZero() || (!b.IsZero() && b.Before(a)) {
		return b
	}
	return a
}
