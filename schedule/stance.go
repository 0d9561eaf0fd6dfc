package schedule

import "slices"

// Stance is how a clock stands, as far as its log tells. Every clock is in one
// of them, so that counts of a fleet's clocks add up.
type Stance string

// The stances.
const (
	Goes    Stance = "going"
	Rests   Stance = "resting"
	Stands  Stance = "stopped"          // by an entry, and no start since
	RunOut  Stance = "probably stopped" // by the log its wind is used up, or a power cut outlasted it, and nobody has looked since
	Unknown Stance = "not known"        // a power cut may have stopped it, and nobody has looked since
)

// Stances lists them all.
var Stances = []Stance{Goes, Stands, Rests, RunOut, Unknown}

// Stance tells how the clock stands.
func (a Assessment) Stance() Stance {
	cut := slices.ContainsFunc(a.Tasks, func(t Task) bool { return t.Kind == PowerCheck && a.ofTheHands(t) })
	stopped := func() bool { _, ok := lastStop(&a); return ok }
	switch {
	case a.Resting:
		return Rests
	case a.ProbablyStopped(), !a.Going && cut && !stopped():
		return RunOut
	case !a.Going && len(a.Trains) > 0:
		return Stands
	case cut:
		return Unknown
	}
	return Goes
}

// ofTheHands reports whether a look after a power cut is about a train that makes
// the clock go.
func (a Assessment) ofTheHands(t Task) bool {
	if len(t.trains) == 0 {
		return t.About == ""
	}
	return slices.ContainsFunc(t.trains, func(code string) bool {
		train, ok := a.Clock.Train(code)
		return ok && a.Clock.speaks(train)
	})
}
