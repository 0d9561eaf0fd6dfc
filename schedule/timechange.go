package schedule

import (
	"fmt"
	"math"
	"sort"
	"strings"
	"time"

	"endshake/wear"
)

// ChangeState is the next change of a clock's zone, or the last while it is not
// yet done.
type ChangeState struct {
	At    time.Time     // the instant at which the zone's clocks change
	On    Date          // the day of it there
	By    time.Duration // + put on, - put back
	How   string        // what to do with this clock, in words
	Blows int           // that its striking trains make while it is done
	Done  string        // Entry.ID that ticks it; empty: not done
	// Missed is the day of the change before, where that was not logged either.
	Missed Date
}

const (
	// changeYears is how many years a change that nobody has ticked is asked for
	// where no other follows it, and changeFound how many days after it an error
	// found may come of it (judgement, no source).
	changeYears, changeFound = 2, 60
	// changeShows is for how many days after a change a clock found right shows
	// that it was made: less than from one change to the next.
	changeShows = 150
	// changeNear is how near to the change of the hour the error must be that a
	// setting found, to count as that change (judgement, no source).
	changeNear = 10 * time.Minute
)

// NextChange is the first change of a zone's clocks after an instant; ok is
// false where none comes within two years. A zone's table also has bounds at
// which only a name changes: those are none.
func NextChange(zone *time.Location, after time.Time) (at time.Time, by time.Duration, ok bool) {
	until := after.AddDate(2, 0, 0)
	for t := after.In(zone); ; {
		_, before := t.Zone()
		_, end := zoneBounds(t)
		if end.IsZero() || end.After(until) {
			return time.Time{}, 0, false
		}
		if _, now := end.Zone(); now != before && end.After(after) {
			return end.UTC(), time.Duration(now-before) * time.Second, true
		}
		t = end
	}
}

// changeOf is the change that a clock waits for; nil: none. The last counts
// until it is done or the next is within its window, which then says so; not if
// it came before the clock into care.
func changeOf(a *Assessment) *ChangeState {
	from := a.Now.AddDate(-changeYears, 0, 0)
	if begin := a.inCare(); begin.After(from) {
		from = begin
	}
	var coming []ChangeState // the next, and before it two at most: what is older bears on none
	for at, by, ok := NextChange(a.Zone, from); ok; at, by, ok = NextChange(a.Zone, at) {
		if len(coming) == 2 && !at.After(a.Now) {
			coming = append(coming[:0], coming[1])
		}
		if coming = append(coming, ChangeState{At: at, By: by}); at.After(a.Now) {
			break
		}
	}
	var last *ChangeState
	say := func(s *ChangeState) *ChangeState {
		if s != nil {
			s.How, s.Blows = a.changeHow(*s)
		}
		return s
	}
	for _, c := range coming {
		s := a.changeAt(c.At, c.By)
		if last != nil {
			s.Missed = last.On
		}
		if s.At.After(a.Now) {
			if last != nil && s.Done == "" && a.dayOf(a.Now).Before(s.On.Add(-usual[TimeChange].lead)) {
				return say(last)
			}
			return say(&s)
		}
		if last = nil; s.Done == "" {
			last = &s
		}
	}
	return say(last)
}

// changeAt is one change of a clock's zone, but for how it is made.
func (a *Assessment) changeAt(at time.Time, by time.Duration) ChangeState {
	s := ChangeState{At: at, On: a.dayOf(at), By: by}
	first, last := at.AddDate(0, 0, -changeEarly-1), at.AddDate(0, 0, changeLate+1) // nothing before or after ticks it
	n := sort.Search(len(a.Entries), func(i int) bool { return a.Entries[i].At.After(last) })
	for i := n - 1; i >= 0 && !a.Entries[i].At.Before(first); i-- {
		if e := &a.Entries[i]; s.ticks(e, a.Zone) && a.Clock.moves(e) {
			s.Done = e.ID
			break
		}
	}
	return s
}

// ticks reports whether an entry says that a change was made: it
// names its day; it found the clock wrong by just the change, soon after it, and
// set it; or it found it right by the new time. An entry may have a day alone.
func (s ChangeState) ticks(e *Entry, zone *time.Location) bool {
	if e.Kind == Set && !e.Change.IsZero() {
		return e.Change == s.On
	}
	if e.ErrorFound == nil {
		return false
	}
	within := func(days int, seconds float64) bool {
		return math.Abs(seconds) <= changeNear.Seconds() && e.At.Before(s.At.AddDate(0, 0, days))
	}
	return (e.Kind == Set && within(changeFound, *e.ErrorFound+s.By.Seconds()) || e.At.After(s.At) && within(changeShows, *e.ErrorFound)) &&
		!DateOf(e.At, zone).Before(s.On)
}

// moves reports whether what an entry says of the hands is of the clock's own,
// and not of a train that only strikes.
func (c Clock) moves(e *Entry) bool {
	t, ok := c.Train(e.Train)
	return e.Train == "" || ok && c.speaks(t)
}

// ticked reports whether an entry ticks a change that one before it in the log
// ticks already.
func ticked(log []Entry, e *Entry) bool {
	for i := range log {
		old := &log[i]
		if old.ID == e.ID {
			return false
		}
		if old.Kind == Set && old.Change == e.Change {
			return true
		}
	}
	return false
}

// changeHow says what to do with a clock at a change of time, and how many blows
// its striking trains make meanwhile.
//
// Putting on by an hour letting it strike, and back by standing an hour or going
// on eleven, after the Antiquarian Horological Society's Turret Clock Keeper's
// Handbook, p. 17. Never back by force: a rack allows it unless it has warned
// (Beckett 1903, p. 167), a count wheel may lose step with the hands (common
// practice, no source).
func (a *Assessment) changeHow(s ChangeState) (how string, blows int) {
	size, way, strikes := s.By.Abs(), a.Clock.Care.Change, a.strikes()
	words := minutesWords(size)
	round := 12*time.Hour - size // put on so far, the dial shows what it would put back
	striking := ""
	if strikes {
		striking = ", letting it strike every hour as it goes"
	}
	switch {
	case way == ByMotor && s.By > 0:
		how = fmt.Sprintf("Look whether its motor has put it on by %s by itself.", words)
	case way == ByMotor:
		how = fmt.Sprintf("Look whether its motor has taken off %s by itself.", words)
	case way == ByClutch && s.By > 0:
		how = fmt.Sprintf("Free the setting clutch and put the hands on by %s.", words)
	case s.By > 0:
		how = fmt.Sprintf("Put the hands on by %s%s.", words, striking)
		blows = a.blows(s.At, size)
	case way == StopAnHour:
		how = fmt.Sprintf("Stop the pendulum for %s.", words)
	case way == AdvanceEleven:
		how = fmt.Sprintf("Put the hands on by %s%s.", minutesWords(round), striking)
		blows = a.blows(s.At, round)
	case way == ByClutch:
		how = fmt.Sprintf("Free the setting clutch and turn the hands back by %s, only while they go freely and never when it has warned.", words)
	default:
		how = fmt.Sprintf("Stop it for %s, or put it on by %s%s: which of the two is not described for this clock.", words, minutesWords(round), striking)
	}
	if s.By < 0 && way != ByMotor {
		how += " Never force the hands back."
	}
	if strikes && way != ByMotor {
		how += " A striking with a count wheel can lose step with the hands: hear the next hour."
	}
	return how + a.changeExtras(blows), blows
}

// changeExtras is what else to know: the blows, the bell, and who lets one in.
func (a *Assessment) changeExtras(blows int) string {
	out := ""
	if len(a.Trains) > 0 && !a.Going {
		out += " By its log it stands: set it right when it is started."
	}
	if blows > 0 {
		out += fmt.Sprintf(" It makes %s on the way from the hour of the change; the wind loses as many.", Count(blows, "blow", "blows"))
	}
	if a.Clock.Care.Bell {
		out += " Silence the bell first."
	}
	if n := strings.TrimSpace(a.Clock.Care.ChangeNote); n != "" {
		out += " " + Capital(strings.TrimRight(n, ".")) + "."
	}
	return out
}

// strikes reports whether the clock has a striking or chiming train.
func (a *Assessment) strikes() bool {
	for _, t := range a.Clock.Trains {
		if t.Kind != wear.Going {
			return true
		}
	}
	return false
}

// blows is how many blows the clock's striking trains make while the hands are
// moved on by so long from where they stand at an instant, by hand and so at any
// hour. A train whose striking is not described adds none.
func (a *Assessment) blows(from time.Time, span time.Duration) int {
	_, offset := from.Add(-1).In(a.Zone).Zone() // as the wall shows it until then
	wall := from.UTC().Add(time.Duration(offset) * time.Second)
	minute := wall.Hour()*60 + wall.Minute()
	n := 0
	for _, t := range a.Clock.Trains {
		if t.Striking != nil {
			s := *t.Striking
			s.Silent = [2]int{}
			n += s.Between(minute, minute+int(span/time.Minute))
		}
	}
	return n
}

// minutesWords says a span as people do: "an hour", "30 minutes", "11 hours and
// 30 minutes".
func minutesWords(d time.Duration) string {
	h, m := int(d/time.Hour), int(d%time.Hour/time.Minute)
	switch {
	case h == 1 && m == 0:
		return "an hour"
	case m == 0:
		return Count(h, "hour", "hours")
	case h == 0:
		return Count(m, "minute", "minutes")
	}
	return Count(h, "hour", "hours") + " and " + Count(m, "minute", "minutes")
}

// changeTasks is the task of the next change of time.
func changeTasks(a *Assessment) []Task {
	s := a.Change
	if s == nil || s.Done != "" {
		return nil
	}
	w := usual[TimeChange]
	way := "forward"
	if s.By < 0 {
		way = "back"
	}
	missed := ""
	if !s.Missed.IsZero() {
		missed = ", and the change of " + s.Missed.Words() + " was not logged"
	}
	return []Task{{
		Kind: TimeChange, From: s.On.Add(-w.lead), Due: s.On, Latest: s.On.Add(w.grace), Source: "the zone's table (IANA tz database)",
		Reason:     s.How + " The time of day goes " + way + " by " + minutesWords(s.By.Abs()) + " on " + s.On.Words() + " (" + a.Zone.String() + ")" + missed + ".",
		Confidence: "firm: by the rules of the zone as they are known",
	}}
}
