package schedule

import (
	"slices"
	"time"
)

// Wishes are how a person wants their mail. The zero value fits all.
type Wishes struct {
	Not  []NoticeKind `json:"not,omitempty"`  // kinds that are not wanted
	Day  int          `json:"day,omitempty"`  // of the month, 1 to 28, for monthly letters; 0: the first
	Hour int          `json:"hour,omitempty"` // of the day, 1 to 23, from which letters come; 0: 7
	// Quiet are hours of the person's own day in which no letter is sent, like
	// 22 to 6; equal: none.
	QuietFrom int `json:"quietFrom,omitempty"`
	QuietTo   int `json:"quietTo,omitempty"`
}

// usualHour is the hour of a day from which letters come where nothing else is
// wished (judgement, no source).
const usualHour = 7

// Takes reports whether a letter may be sent at an instant of a person's own
// zone: from their hour on, and not while it is quiet.
func (w Wishes) Takes(at time.Time) bool { return w.takes(at.Hour()) }

func (w Wishes) takes(hour int) bool {
	from := w.Hour
	if from == 0 {
		from = usualHour
	}
	quiet := hour >= w.QuietFrom && hour < w.QuietTo
	if w.QuietFrom > w.QuietTo { // over midnight
		quiet = hour >= w.QuietFrom || hour < w.QuietTo
	}
	return hour >= from && !quiet
}

// firstHour is the first hour of a day at which a letter may be sent.
func (w Wishes) firstHour() int {
	for h := range 24 {
		if w.takes(h) {
			return h
		}
	}
	return usualHour // of wishes that validate refuses
}

// morning is the first instant of a day at which a letter may be sent.
func (w Wishes) morning(d Date, zone *time.Location) time.Time { return d.At(w.firstHour(), 0, zone) }

// monthly is the last day of monthly letters that has come, and its instant.
func (w Wishes) monthly(now time.Time, zone *time.Location) (Date, time.Time) {
	d := DateOf(now, zone)
	d.Day = max(1, min(w.Day, 28))
	if at := w.morning(d, zone); !at.After(now) {
		return d, at
	}
	if d.Month--; d.Month == 0 {
		d.Year, d.Month = d.Year-1, time.December
	}
	return d, w.morning(d, zone)
}

// after is the first instant from one on at which a letter may be sent.
func (w Wishes) after(at time.Time, zone *time.Location) time.Time {
	if w.Takes(at.In(zone)) {
		return at
	}
	day := DateOf(at, zone)
	for n := range 3 {
		for h := range 24 {
			if t := day.Add(n).At(h, 0, zone); t.After(at) && w.Takes(t.In(zone)) {
				return t
			}
		}
	}
	return at
}

// TakesMail is the first instant from one on at which a notice may go to its
// reader: that instant itself where nothing is known of them, where they asked
// for it themselves, as for a new password, and where it was written outside
// their hours, as at once.
func (s *Snapshot) TakesMail(n Notice, at time.Time) time.Time {
	p, ok := s.Fleet.Person(n.Person)
	if !ok || !known(NoticeKinds, n.Kind) {
		return at
	}
	clocks := s.of(p, Roles...)
	if a, ok := s.Clock(n.Clock); ok {
		clocks = []Assessment{a}
	}
	zone := (&writer{s: s}).zone(p, clocks)
	if !p.Mail.Takes(n.Created.In(zone)) {
		return at
	}
	return p.Mail.after(at, zone)
}

// lastStretch is the longest that a letter comes before its person's hours end
// where it must come before they begin again (judgement, no source).
const lastStretch = 3

// before is an instant before another at which a letter may be sent, with some
// of the person's hours left after it.
func (w Wishes) before(at time.Time, zone *time.Location) time.Time {
	day := DateOf(at, zone)
	var found time.Time
	left := 0
	for n := range 3 {
		for h := 23; h >= 0; h-- {
			t := day.Add(-n).At(h, 0, zone)
			switch takes := w.Takes(t.In(zone)); {
			case !t.Before(at):
			case takes && left < lastStretch:
				found, left = t, left+1
			case left > 0:
				return found
			}
		}
	}
	return found
}

func (w Wishes) validate(where string) error {
	for i, k := range w.Not {
		if !known(NoticeKinds, k) {
			return invalid(where, "%s: there is no mail of the kind %q: use one of %s", where, k, list(NoticeKinds))
		}
		if slices.Contains(w.Not[:i], k) {
			return invalid(where, "%s: mail of the kind %q is refused twice: name it once", where, k)
		}
	}
	switch {
	case w.Day < 0 || w.Day > 28:
		return invalid(where, "%s: mail on day %d of the month cannot be: use 1 to 28, which every month has", where, w.Day)
	case w.Hour < 0 || w.Hour > 23:
		return invalid(where, "%s: mail from hour %d cannot be: use 1 to 23", where, w.Hour)
	case w.QuietFrom < 0 || w.QuietFrom > 23 || w.QuietTo < 0 || w.QuietTo > 23:
		return invalid(where, "%s: quiet from hour %d to %d cannot be: use 0 to 23", where, w.QuietFrom, w.QuietTo)
	}
	for h := range 24 {
		if w.takes(h) {
			return nil
		}
	}
	return invalid(where, "%s: no hour is left for mail: it comes from hour %d on, and all of them are quiet; leave one free, or refuse the kinds", where, w.Hour)
}
