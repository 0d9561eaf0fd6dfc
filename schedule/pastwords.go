package schedule

import (
	"fmt"
	"math"
	"time"
)

// mostStood is how many times of standing a sentence names.
const mostStood = 5

// GoingWords say on how many days it went, and why it stood on the others.
func (p Past) GoingWords(zone *time.Location) string {
	if !p.Known {
		return "not known"
	}
	out := fmt.Sprintf("on %d of %d days all day, as far as the log tells", p.Going, p.Days)
	if p.Unsure > 0 {
		out += fmt.Sprintf("; of %s it is not known, for it may have stopped about %s", Count(p.Unsure, "day", "days"), p.Lapsed.Words())
	}
	for i, s := range p.Stood {
		if i == mostStood {
			return out + fmt.Sprintf("; and %s more", Count(len(p.Stood)-mostStood, "time", "times"))
		}
		out += "; stood " + s.When(zone) + " (" + s.Why() + ")"
	}
	return out
}

// Why says the cause of a standstill.
func (s Standstill) Why() string {
	if s.Cause == NotKnown {
		return "the cause is not known"
	}
	return Visible(string(s.Cause))
}

// When is the time in which it stood: "5 to 7 Oct 2026".
func (s Standstill) When(zone *time.Location) string {
	if zone == nil {
		zone = time.UTC
	}
	from, to := DateOf(s.From, zone), DateOf(s.To.Add(-1), zone)
	if from != to {
		return from.Words() + " to " + to.Words()
	}
	long := s.To.Sub(s.From)
	if long < 2*time.Hour {
		return Count(int(long.Minutes()+.5), "minute", "minutes") + " on " + from.Words()
	}
	return spanWords(long) + " on " + from.Words()
}

// ErrorWords say how far wrong it was found, beside what it is held to, in
// seconds; 0: nothing.
func (p Past) ErrorWords(tolerance float64) string {
	if p.Errors == 0 {
		return "nobody logged how far wrong it was"
	}
	out := "looked at " + Count(p.Errors, "time", "times")
	if !math.IsNaN(p.Worst) && !math.IsInf(p.Worst, 0) {
		out += ", at worst " + FastSlow(math.Round(p.Worst))
	}
	if tolerance > 0 {
		out += fmt.Sprintf("; within the %.0f s it is held to %d of %d times", tolerance, p.Within, p.Errors)
	}
	return out
}

// WindingWords say how its winding was kept.
func (p Past) WindingWords() string {
	out := "logged " + Count(p.Windings, "time", "times")
	switch {
	case len(p.RanDown) > 0:
	case p.Unsure > 0 && p.Hand:
		return fmt.Sprintf("%s; nobody logged that it ran down, but it may have about %s", out, p.Lapsed.Words())
	case p.Windings == 0:
		return out + "; whether it ran down is not known"
	default:
		return out + "; it was never found run down"
	}
	var days []string
	for _, d := range p.RanDown {
		days = append(days, d.Words())
	}
	return out + "; missed, for it was found run down on " + And(days)
}
