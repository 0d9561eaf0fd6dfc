package schedule

import (
	"math"
	"slices"
	"time"

	"endshake/wear"
)

// Past is what became of a clock on some days, as far as its log tells: what
// its owner asks first.
type Past struct {
	From, To Date // first and last day of them on which it was in care; zero: none
	Days     int
	// Known is false where its running does not fit together; then Going and
	// Stood mean nothing.
	Known bool
	Going int // days on which it did not stand, as far as is known
	// Unsure are days of which that is not known: from Lapsed on it may have stopped,
	// by its winding or by a power cut, and nobody has logged how it was found.
	Unsure int
	Lapsed Date
	Stood  []Standstill
	// Hand: it has trains that somebody winds. Windings are those logged; RanDown
	// the days on which it was found run down.
	Hand     bool
	Windings int
	RanDown  []Date
	// Errors were found, of which Within no more than it is held to, the worst
	// by so many seconds, + fast.
	Errors, Within int
	Worst          float64
	Looks          int // inspections
	Read           int // bearings measured
}

// Standstill is a time in which a clock stood.
type Standstill struct {
	From, To time.Time
	Cause    StopCause // NotKnown where none was logged
	Note     string
}

// PastOf gathers what became of a clock from one day to another, both among
// them, or to now.
func PastOf(a Assessment, from, to Date) Past {
	if a.Zone == nil {
		a.Zone = time.UTC
	}
	if from.Before(a.Clock.InCare) {
		from = a.Clock.InCare
	}
	to = earliest(to, a.dayOf(a.Now))
	if to.Before(from) {
		return Past{}
	}
	p := Past{From: from, To: to, Days: to.Sub(from) + 1}
	begin, end := from.Start(a.Zone), earlier(to.Add(1).Start(a.Zone), a.Now)
	for _, st := range a.Trains {
		p.Hand = p.Hand || st.Train.Drive == wear.HandWound
		if !a.Clock.speaks(st.Train) || p.Known || st.unfit {
			continue
		}
		p.Known = true
		for _, s := range st.Running.Stood(begin, end) {
			p.Stood = append(p.Stood, a.standstill(s[0], s[1]))
		}
	}
	stood := p.stoodOn(a)
	p.lapse(a, stood)
	p.Going = p.Days - len(stood) - p.Unsure
	read := map[string]bool{}
	for i := range a.Entries {
		if e := &a.Entries[i]; !e.At.Before(begin) && e.At.Before(end) {
			p.take(a, e, read)
		}
	}
	p.Read = len(read)
	p.seen(a.Time, begin, end)
	return p
}

// lapse counts the days from which on a clock may have stopped, but for those on which
// it stood by its log.
func (p *Past) lapse(a Assessment, stood map[Date]bool) {
	since := func(d Date) {
		if p.Lapsed.IsZero() || d.Before(p.Lapsed) {
			p.Lapsed = d
		}
	}
	for _, st := range a.Trains {
		if st.Wind.Past && a.Clock.speaks(st.Train) && !st.Wind.Stops.IsZero() {
			since(a.dayOf(st.Wind.Stops))
		}
	}
	for _, t := range a.Tasks {
		if t.Kind == PowerCheck && a.ofTheHands(t) {
			since(t.From)
		}
	}
	if p.Lapsed.IsZero() {
		return
	}
	for d := latestDay(p.Lapsed, p.From); !d.After(p.To); d = d.Add(1) {
		if !stood[d] {
			p.Unsure++
		}
	}
}

// stoodOn are the days on which it stood, if only for a part of them.
func (p Past) stoodOn(a Assessment) map[Date]bool {
	days := map[Date]bool{}
	for _, s := range p.Stood {
		for d, last := a.dayOf(s.From), a.dayOf(s.To.Add(-1)); !d.After(last); d = d.Add(1) {
			days[d] = true
		}
	}
	return days
}

// standstill finds why a clock stood: the stop that was logged last in that time
// or before it, unless a start came between.
func (a Assessment) standstill(from, to time.Time) Standstill {
	s := Standstill{From: from, To: to, Cause: NotKnown}
	for _, e := range slices.Backward(a.Entries) {
		t, ok := a.Clock.Train(e.Train)
		switch {
		case e.Kind != Stopped && e.Kind != Started || e.Train != "" && !(ok && a.Clock.speaks(t)):
		case e.Kind == Started && e.At.Before(to):
			return s
		case e.Kind == Stopped && !e.At.After(to):
			if e.Cause != "" {
				s.Cause = e.Cause
			}
			s.Note = e.Note
			return s
		}
	}
	return s
}

// take counts one entry.
func (p *Past) take(a Assessment, e *Entry, read map[string]bool) {
	switch e.Kind {
	case Wound:
		p.Windings++
	case Stopped:
		if e.Cause == RanDown {
			p.RanDown = append(p.RanDown, a.dayOf(e.At))
		}
	case Inspected:
		p.Looks++
	case Measured:
		read[e.Bearing] = true
	}
}

// seen counts the errors that were found, without those of a change of time for
// which the hands were not moved yet.
func (p *Past) seen(t Timekeeping, begin, end time.Time) {
	for _, e := range t.Errors {
		if e.Left || e.At.Before(begin) || !e.At.Before(end) {
			continue
		}
		p.Errors++
		if math.Abs(e.Seconds) <= t.Tolerance {
			p.Within++
		}
		if math.Abs(e.Seconds) >= math.Abs(p.Worst) {
			p.Worst = e.Seconds
		}
	}
}
