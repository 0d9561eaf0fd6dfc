package oldbook

import (
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"

	"endshake/schedule"
)

// day is a date as a cell holds it: taken apart, and not yet understood where its
// parts can be read in several ways.
type day struct {
	year, month, day int // 0: not told apart yet
	parts            [3]int
	long             [3]int // how many figures each part has
	short            bool   // its year has two figures
	rest             string // the time behind it
}

var (
	numericDay = regexp.MustCompile(`^(\d{1,4})\s?[-/. ]\s?(\d{1,2})\s?[-/. ]\s?(\d{1,4})(?:\.?[T, ]+(\S.*))?$`)
	isoTail    = regexp.MustCompile(`(?:\.\d+)?Z?$`)
	ordinal    = regexp.MustCompile(`^(\d{1,2})(?:st|nd|rd|th)?$`)
	serialDay  = regexp.MustCompile(`^\d{4,6}(?:\.\d+)?$`)
)

var months = map[string]int{"jan": 1, "feb": 2, "mar": 3, "apr": 4, "may": 5, "jun": 6, "jul": 7, "aug": 8, "sep": 9, "sept": 9, "oct": 10, "nov": 11, "dec": 12}

// monthOf is the month that a word means, in full or by its first letters; 0: none.
func monthOf(word string) int {
	for m := time.January; m <= time.December; m++ {
		if strings.EqualFold(word, m.String()) {
			return int(m)
		}
	}
	return months[strings.ToLower(word)]
}

// splitDay takes a date apart; not ok: it is none.
func splitDay(cell string) (d day, ok bool) {
	cell = strings.TrimSpace(cell)
	if m := numericDay.FindStringSubmatch(cell); m != nil {
		for i := range d.parts {
			d.parts[i], _ = strconv.Atoi(m[i+1])
			d.long[i] = len(m[i+1])
		}
		d.rest = isoTail.ReplaceAllString(m[4], "")
		switch {
		case d.long[1] > 2, d.long[0] == 3, d.long[2] == 3, d.long[0] > 2 && d.long[2] > 2:
			return d, false
		case d.long[0] == 4:
			d.year, d.month, d.day = d.parts[0], d.parts[1], d.parts[2]
		case d.long[2] < 4:
			d.short = true
		}
		return d, true
	}
	return namedDay(cell)
}

// namedDay takes apart a date that has its month in letters: 3 Apr 2025, April 3rd,
// 2025, Mon 3-Apr-25 14:05.
func namedDay(cell string) (d day, ok bool) {
	if len(cell) > 60 || !strings.ContainsFunc(cell, func(r rune) bool { return r > '9' }) {
		return d, false
	}
	head, tail := cell, ""
	if i := strings.IndexByte(cell, ':'); i > 0 { // the hour before it, and all behind
		if j := strings.LastIndexAny(cell[:i], " T,"); j > 0 {
			head, tail = cell[:j], strings.TrimSpace(cell[j+1:])
		}
	}
	var numbers []string
	words := strings.FieldsFunc(head, func(r rune) bool { return strings.ContainsRune(" ,./-'", r) })
	for _, w := range words {
		switch m := ordinal.FindStringSubmatch(strings.ToLower(w)); {
		case monthOf(w) > 0 && d.month == 0:
			d.month = monthOf(w)
		case m != nil:
			numbers = append(numbers, m[1])
		case len(w) == 4 && strings.Trim(w, "0123456789") == "":
			numbers = append(numbers, w)
		case weekday(w), strings.EqualFold(w, "of"), strings.EqualFold(w, "the"):
		default:
			return d, false
		}
	}
	if d.month == 0 || len(numbers) != 2 {
		return d, false
	}
	first, last := numbers[0], numbers[1]
	if len(first) == 4 {
		first, last = last, first
	}
	if len(first) > 2 {
		return d, false
	}
	d.day, _ = strconv.Atoi(first)
	d.year, _ = strconv.Atoi(last)
	d.short, d.rest = len(last) < 4, tail
	return d, true
}

func weekday(w string) bool {
	for d := time.Sunday; d <= time.Saturday; d++ {
		if len(w) >= 2 && len(w) <= len(d.String()) && strings.EqualFold(w, d.String()[:len(w)]) {
			return true
		}
	}
	return false
}

// The orders in which a date of figures can be written.
const (
	dayFirst   = "day-first"
	monthFirst = "month-first"
	yearFirst  = "year-first"
)

var orders = []Choice{{dayFirst, "the day comes first: 3/4 is 3 April"}, {monthFirst, "the month comes first: 3/4 is 4 March"}}

// open reports whether the parts of a date are not told apart yet.
func (d day) open() bool { return d.month == 0 && d.year == 0 }

// under is a date by an order of its parts; not ok: no day is called so.
func (d day) under(order string) (day, bool) {
	p := d.parts
	switch order {
	case dayFirst:
		d.day, d.month, d.year = p[0], p[1], p[2]
	case monthFirst:
		d.month, d.day, d.year = p[0], p[1], p[2]
	case yearFirst:
		d.year, d.month, d.day = p[0], p[1], p[2]
		if d.long[0] != 2 {
			return d, false
		}
	}
	return d, d.month >= 1 && d.month <= 12 && d.day >= 1 && d.day <= 31
}

// orderOf looks through all dates of the file for an order in which each of them is
// a day. It is told by the dates where one order alone will do; else it is asked for.
// That an order does for no date at all does not speak for another.
type orderOf struct {
	fits  map[string]int
	by    map[string]Example // the first date that speaks against an order
	dates int
	first []Example
	short bool // a year of two figures may come first
}

func (o *orderOf) see(d day, e Example) {
	if !d.open() {
		return
	}
	if o.fits == nil {
		o.fits, o.by = map[string]int{}, map[string]Example{}
	}
	o.dates++
	o.short = o.short || d.long[0] == 2 && d.short
	if len(o.first) < mostExamples {
		o.first = append(o.first, e)
	}
	ways := 0
	for _, order := range []string{dayFirst, monthFirst, yearFirst} {
		if _, ok := d.under(order); ok {
			o.fits[order]++
			ways++
		}
	}
	if ways > 0 { // one that is no day in any order speaks for none
		for _, order := range []string{dayFirst, monthFirst, yearFirst} {
			if _, ok := d.under(order); !ok {
				if _, seen := o.by[order]; !seen {
					o.by[order] = e
				}
			}
		}
	}
}

// order is the one that all dates have; not ok: several would do, or none.
func (o *orderOf) order() (order string, by Example, ok bool) {
	for _, w := range []string{dayFirst, monthFirst, yearFirst} {
		if _, against := o.by[w]; against || o.fits[w] == 0 {
			continue
		}
		if order != "" {
			return "", Example{}, false
		}
		order = w
	}
	for _, w := range []string{dayFirst, monthFirst} {
		if e, against := o.by[w]; against && w != order {
			by = e
		}
	}
	return order, by, order != ""
}

// choices are the orders to choose from.
func (o *orderOf) choices() []Choice {
	if o.short {
		return append(orders[:2:2], Choice{yearFirst, "the year comes first: 25/04/03 is 3 April 2025"})
	}
	return orders
}

// The centuries of years with two figures.
var centuries = []Choice{
	{"latest", "the last century in which the day is not ahead of today"}, {"20", "20, as in 2025"}, {"19", "19, as in 1925"}, {"18", "18, as in 1825"},
}

// full is a date with its century.
func (d day) full(century string, today schedule.Date) day {
	if !d.short {
		return d
	}
	if century == "latest" {
		d.year += today.Year / 100 * 100
		if (schedule.Date{Year: d.year, Month: time.Month(d.month), Day: d.day}).After(today) {
			d.year -= 100
		}
		return d
	}
	c, _ := strconv.Atoi(century)
	d.year += 100 * c
	return d
}

// date is the day that it is; the error says why there is none.
func (d day) date() (schedule.Date, error) {
	t := time.Date(d.year, time.Month(d.month), d.day, 0, 0, 0, 0, time.UTC)
	if d.month < 1 || d.month > 12 || t.Month() != time.Month(d.month) || t.Day() != d.day {
		name := strconv.Itoa(d.month)
		if d.month >= 1 && d.month <= 12 {
			name = time.Month(d.month).String()[:3]
		}
		return schedule.Date{}, fmt.Errorf("there is no %d %s %d: mend the date", d.day, name, d.year)
	}
	return schedule.DateOf(t, time.UTC), nil
}

var clockTime = regexp.MustCompile(`^(\d{1,2})(?:[:.h](\d{2})(?::(\d{2})(?:\.0+)?)?)? ?(am|pm|a\.m\.|p\.m\.|h|hrs)?$`)

// readClockTime reads a time of the day as seconds from midnight: 14:05, 2.05 pm, 9am.
func readClockTime(cell string) (seconds int, err error) {
	low := strings.ToLower(strings.TrimSpace(cell))
	switch low {
	case "noon", "midday":
		return 12 * 3600, nil
	case "midnight":
		return 0, nil
	}
	m := clockTime.FindStringSubmatch(low)
	if m == nil || m[2] == "" && m[4] == "" {
		return 0, errors.New("is no time of day: write it like 14:05")
	}
	h, _ := strconv.Atoi(m[1])
	minute, _ := strconv.Atoi(m[2])
	second, _ := strconv.Atoi(m[3])
	switch half := strings.Trim(strings.ReplaceAll(m[4], ".", ""), " "); {
	case (half == "am" || half == "pm") && (h < 1 || h > 12):
		return 0, errors.New("is no time of day: write it like 14:05")
	case half == "am" && h == 12:
		h = 0
	case half == "pm" && h < 12:
		h += 12
	}
	if h > 23 || minute > 59 || second > 59 {
		return 0, errors.New("is no time of day: write it like 14:05")
	}
	return h*3600 + minute*60 + second, nil
}
