package wear

import "fmt"

// Striking is what a striking or chiming train sounds, by the dial.
type Striking struct {
	Hours    bool   `json:"hours,omitempty"`   // 1 to 12 blows at each full hour
	Half     int    `json:"half,omitempty"`    // blows at the half-hour
	Quarters [4]int `json:"quarters,omitzero"` // blows at a quarter past, half past, quarter to, the hour
	Silent   [2]int `json:"silent,omitzero"`   // first hour of the day without, first hour with again; alike: never silent
	Lifted   bool   `json:"lifted,omitempty"`  // in silence the hammer is held off, but the train runs
}

const dialDay = 24 * 60 // minutes

// At is the blows that the train makes at a minute of the dial's day.
func (s Striking) At(minute int) int {
	minute = ((minute % dialDay) + dialDay) % dialDay
	if minute%15 != 0 || s.quiet(minute) {
		return 0
	}
	n := s.Quarters[(minute/15+3)%4]
	switch minute % 60 {
	case 0:
		if s.Hours {
			n += (minute/60+11)%12 + 1
		}
	case 30:
		n += s.Half
	}
	return n
}

// quiet reports whether the train does not run at a minute.
func (s Striking) quiet(minute int) bool {
	from, to := s.Silent[0]*60, s.Silent[1]*60
	switch {
	case s.Lifted || from == to:
		return false
	case from < to:
		return minute >= from && minute < to
	}
	return minute >= from || minute < to
}

// PerDay is the blows of a day.
func (s Striking) PerDay() int { return s.between(0, dialDay) }

// Between is the blows after one minute of the dial up to and with another,
// both counted from the same midnight, which may lie days before them.
func (s Striking) Between(after, until int) int {
	if until <= after {
		return 0
	}
	days := (until - after) / dialDay
	return days*s.PerDay() + s.between(after+1, until-days*dialDay+1)
}

// between is the blows from a minute up to another, itself not counted.
func (s Striking) between(from, to int) int {
	n := 0
	for m := from + ((15 - from%15) % 15); m < to; m += 15 {
		n += s.At(m)
	}
	return n
}

// Advance is the blows that are struck when the hands are moved on by so many
// hours from a minute of the dial, every hour being let strike as it is passed.
func (s Striking) Advance(minute, hours int) int {
	s.Silent = [2]int{} // by hand it strikes at any hour
	return s.Between(minute, minute+60*hours)
}

// Validate reports the first thing that cannot be right about a striking.
func (s Striking) Validate() error {
	for _, h := range s.Silent {
		if h < 0 || h > 23 {
			return fmt.Errorf("silence from %d to %d o'clock cannot be right: use hours from 0 to 23", s.Silent[0], s.Silent[1])
		}
	}
	for _, n := range append(s.Quarters[:], s.Half) {
		if n < 0 || n > 100 {
			return fmt.Errorf("%d blows at a quarter cannot be right", n)
		}
	}
	if s.PerDay() == 0 {
		return fmt.Errorf("a striking that never sounds: say whether it strikes hours, half-hours or quarters")
	}
	return nil
}
