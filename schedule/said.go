package schedule

import (
	"fmt"
	"math"
	"slices"
	"time"
)

// validateSaid refuses a look that does not say what was found, and a setting
// that does not say how far the clock was out or how it was left: by such a one
// a date would move on nobody's word. What is copied from an old book says what
// it says, and so may the correction of an entry that said as little.
func validateSaid(e Entry, log []Entry) error {
	silent := func(e *Entry) bool {
		return e.Kind == Inspected && e.Found == "" && (e.Line == "" || e.Visit) ||
			e.Kind == Set && e.ErrorFound == nil && e.ErrorLeft == nil && e.Change.IsZero()
	}
	switch {
	case e.Old || !silent(&e):
		return nil
	case e.Replaces != "" && slices.ContainsFunc(log, func(old Entry) bool { return old.ID == e.Replaces && silent(&old) }):
		return nil
	case e.Kind == Set:
		return invalid("errorLeft", "say how far the clock was out when found, or how it was left: 0 when it was set right")
	}
	return invalid("found", "say what was found: %s, %s (look closer next time) or %s (it wants work)", Sound, Watch, Act)
}

// looked reports whether an inspected entry tells that the clock was inspected:
// it says what was found, or it is of somebody whose work that is. Entries of
// earlier days may say nothing; then the word of a winder or an owner counts only
// where nobody else is named for it.
func (a *Assessment) looked(e *Entry) bool {
	if e.Found != "" || e.By == "" || len(a.doing(Inspection)) == 0 {
		return true
	}
	return a.overlooks(e)
}

// Uncounted says in one sentence why an entry that is written down as an
// inspection does not count as one of the clock, and what to do; empty: it counts,
// or is no inspection.
func (a *Assessment) Uncounted(e Entry) string {
	switch {
	case e.Kind != Inspected:
		return ""
	case e.Line != "" && !e.Visit:
		name := "line " + e.Line
		if l, ok := a.Clock.line(e.Line); ok {
			name = l.name()
		}
		return fmt.Sprintf("It counts as a look at the %s and not as an inspection of the clock: log that apart, if the clock was looked over too.", name)
	case !a.looked(&e):
		return "It does not count as an inspection, since it does not say what was found and whoever made it only winds or owns the clock: correct it, and say sound, watch or act."
	}
	return ""
}

// When an error found is asked back (judgement, no source): within a day of the
// one before it, further from it than a dial is misread by and a clock that goes
// gains or loses.
const (
	jumpRead  = 60.0  // s
	jumpDrift = 120.0 // s in a day
)

// validateJump asks back an error found that a clock which nobody touched can
// hardly have come to since the last one. It is never changed; Sure lets it in.
// The log is the one that counts, in the order of its times.
func validateJump(e Entry, zone *time.Location, log []Entry) error {
	if e.ErrorFound == nil || e.Sure || e.Old || !e.Change.IsZero() {
		return nil
	}
	last := newest(log, func(old *Entry) bool {
		touched := old.Kind == Stopped || old.Kind == Started || old.Kind == Set || old.Kind == Regulated || !old.CutFrom.IsZero() || !old.CutTo.IsZero()
		return !old.At.After(e.At) && old.ID != e.Replaces && (touched || old.ErrorFound != nil || old.ErrorLeft != nil)
	})
	if last == nil || last.At.Before(e.At.Add(-againWithin)) {
		return nil
	}
	was := last.ErrorLeft
	if was == nil && last.Kind != Stopped && last.Kind != Started && last.Kind != Set && last.Kind != Regulated {
		was = last.ErrorFound
	}
	_, before := last.At.In(zone).Zone()
	_, after := e.At.In(zone).Zone()
	if was == nil || before != after {
		return nil
	}
	since := e.At.Sub(last.At)
	if math.Abs(*e.ErrorFound-*was) <= jumpRead+jumpDrift*since.Hours()/24 {
		return nil
	}
	return askBack("errorFound", "%s does not fit the %s of %s: no clock that goes moves so far in so short a time. %s",
		fastWords(*e.ErrorFound), fastWords(*was), last.At.In(zone).Format("15:04 on 2 Jan 2006"), sureWords)
}

// mostWound is the share of a wind that a train cannot have left when it is said
// to have run down (judgement, no source): a wind of a sixth less than was thought,
// or a heavy oil, leave less.
const mostWound = .5

// validateRanDown asks back that a train ran down which, by a wind logged shortly
// before, had half of it left and more: it stopped for another reason, or was not
// wound. It is never changed; Sure lets it in.
func validateRanDown(e Entry, c Clock, site Site, log []Entry, m Model) error {
	if e.Kind != Stopped || e.Cause != RanDown || e.Sure || e.Old {
		return nil
	}
	at := e.At
	if !e.Since.IsZero() {
		at = e.Since
	}
	then := e
	then.At = at
	a := open(Facts{Clock: c, Site: site, Entries: upTo(log, then), Model: m}, at)
	for i := range a.Trains {
		st := &a.Trains[i]
		if w := st.Wind; a.foundDown(&e, st.Train) && st.Going && w.Known && w.Lost == "" && w.Share >= mostWound && !st.WoundAt.IsZero() {
			return askBack("cause", "The %s was wound in full on %s, and by that %s of it was left: it cannot have run down. Say another cause, or not known; or if it really was down, say that you are sure.",
				NameOfTrain(st.Train), a.instant(st.WoundAt), percent(w.Share))
		}
	}
	return nil
}
