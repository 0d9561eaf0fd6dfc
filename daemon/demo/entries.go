package demo

import (
	"encoding/hex"
	"math"
	"time"

	"endshake/schedule"
)

// add logs an entry a little after it happened, and drops what is later than
// the log may be. It returns the ID, empty when dropped.
func (s *sim) add(e schedule.Entry) string {
	return s.addLate(e, time.Duration(2+s.r.IntN(25))*time.Minute)
}

// addLate logs an entry some time after it happened.
func (s *sim) addLate(e schedule.Entry, late time.Duration) string {
	recorded := e.At.Add(late)
	if !recorded.After(s.recorded) {
		recorded = s.recorded.Add(time.Second)
	}
	id := s.id(recorded)
	if e.At.After(s.cut) || recorded.After(s.cut) {
		return ""
	}
	s.recorded = recorded
	e.ID, e.Clock, e.RecordedAt, e.Source = id, s.plan.clock.Slug, recorded, "demo"
	s.log = append(s.log, e)
	return id
}

// id is a UUID of version 7 (RFC 9562) from an instant and the generator, so
// that the same seed gives the same one.
func (s *sim) id(at time.Time) string {
	ms, a, b := uint64(at.UnixMilli()), s.r.Uint64(), s.r.Uint64()
	raw := [16]byte{byte(ms >> 40), byte(ms >> 32), byte(ms >> 24), byte(ms >> 16), byte(ms >> 8), byte(ms),
		0x70 | byte(a>>8)&0x0f, byte(a), 0x80 | byte(b>>56)&0x3f}
	for i := range 7 {
		raw[9+i] = byte(b >> (8 * i))
	}
	var out [36]byte
	hex.Encode(out[0:8], raw[0:4])
	hex.Encode(out[9:13], raw[4:6])
	hex.Encode(out[14:18], raw[6:8])
	hex.Encode(out[19:23], raw[8:10])
	hex.Encode(out[24:36], raw[10:16])
	out[8], out[13], out[18], out[23] = '-', '-', '-', '-'
	return string(out[:])
}

// note logs that something was seen.
func (s *sim) note(at time.Time, by, words string) {
	s.add(schedule.Entry{Kind: schedule.Noted, At: at, By: by, Note: words})
}

// wind winds trains fully and logs it as one entry: of one train, or of the
// whole clock where code is empty.
func (s *sim) wind(at time.Time, code, by string, found bool) {
	e := schedule.Entry{Kind: schedule.Wound, At: at, Train: code, By: by}
	for _, t := range s.trains {
		if t.hand && (code == "" || code == t.Code) {
			t.left = t.Run()
		}
	}
	if found {
		e.ErrorFound = whole(s.fast)
		e.Celsius = s.thermometer()
	}
	s.add(e)
}

// set puts the hands right to within a few seconds.
func (s *sim) set(at time.Time, by, words string) { s.setFor(schedule.Date{}, at, by, words) }

// setFor sets the hands, and ticks a change of time off by it where there is one.
func (s *sim) setFor(change schedule.Date, at time.Time, by, words string) {
	e := schedule.Entry{Kind: schedule.Set, At: at, By: by, Note: words}
	e.Change = change
	if math.Abs(s.fast) < 6*3600 { // beyond that a dial of twelve hours tells nothing
		e.ErrorFound = whole(s.fast)
	}
	s.fast = float64(s.r.IntN(7) - 2)
	e.ErrorLeft = whole(s.fast)
	s.add(e)
}

// whole is an error in whole seconds.
func whole(v float64) *float64 {
	r := math.Round(v)
	if r == 0 {
		r = 0 // never the minus sign of a negative nothing
	}
	return &r
}

// stop logs a stop seen or made at an instant; since is when it truly stopped,
// zero where nobody could tell.
func (s *sim) stop(at, since time.Time, cause schedule.StopCause, until schedule.Date, by, words string) {
	s.going = false
	e := schedule.Entry{Kind: schedule.Stopped, At: at, By: by, Note: words}
	e.Cause, e.Since, e.Until = cause, since, until
	s.add(e)
}

// start starts the clock: wound first where it is wound by hand, set after.
func (s *sim) start(by, words string) {
	if s.plan.windEvery > 0 {
		s.wind(s.then(6), "", by, false)
		s.nextWind = s.regularWind()
	}
	at := s.then(4)
	s.going = true
	s.add(schedule.Entry{Kind: schedule.Started, At: at, By: by})
	s.set(s.then(5), by, words)
}

// regularWind is the next regular day to wind after today.
func (s *sim) regularWind() schedule.Date {
	if s.plan.windEvery < 7 {
		return s.day.Add(s.plan.windEvery)
	}
	ahead := (int(s.plan.windOn) - int(s.weekday) + 7) % 7
	if ahead == 0 {
		ahead = 7
	}
	return s.day.Add(ahead)
}
