package schedule

import (
	"fmt"
	"math"
	"strings"
	"time"

	"endshake/wear"
)

// Model is what the fleet has taught. Its zero value is physics alone.
type Model struct {
	Learned *Learned     // nil: nothing yet
	Params  *wear.Params // nil: those learned, or wear.DefaultParams
}

func (m Model) params() wear.Params {
	switch {
	case m.Params != nil:
		return *m.Params
	case m.Learned != nil && m.Learned.Model.Params != wear.Params{}:
		return m.Learned.Model.Params
	}
	return wear.DefaultParams()
}

// oil reports whether running is weighted by the state of the oil.
func (m Model) oil() bool { return m.Learned != nil && m.Learned.OilInForce }

// Group names the bearings that are taken to wear alike: of the same
// materials, in the same surroundings, worn by the same counter, and alike in
// whether physics can tell their rate.
func Group(b wear.Bearing, arbor wear.Arbor, t wear.Train) string {
	how := "rate from physics"
	if !wear.RateKnown(b, arbor) {
		how = "rate from a starting value"
	}
	return strings.Join([]string{pairWords(b), inWords(b), "by " + string(t.Counter()), how}, " | ")
}

func pairWords(b wear.Bearing) string {
	if b.Pair == "" {
		return "materials not recorded"
	}
	return string(b.Pair)
}

func inWords(b wear.Bearing) string {
	if b.In == "" {
		return string(wear.Indoors)
	}
	return string(b.In)
}

// prior is what is believed of a bearing's rate before it was measured: what
// its group has taught, else physics.
func (m Model) prior(b wear.Bearing, arbor wear.Arbor, t wear.Train, zone *time.Location) wear.Prior {
	physics := wear.RatePrior(b, arbor, t)
	l := m.Learned
	if l == nil || !l.Model.Taught {
		return physics
	}
	group := Group(b, arbor, t)
	p := l.Model.Prior(group, physics)
	n := l.Model.Groups[group].Bearings
	if n == 0 {
		p.From = physics.From + "; no bearing like it has taught anything yet"
		return p
	}
	p.From = fmt.Sprintf("learned from %s, %s, %s, by the lesson of %s; ",
		Count(n, "bearing", "bearings"), pairWords(b), inWords(b), DateOf(l.FittedAt, zone).Words())
	if wear.RateKnown(b, arbor) {
		p.From += fmt.Sprintf("physics alone would say %s", WearPer(math.Exp(physics.Mu), t.Counter()))
	} else {
		p.From += "without it there would be " + physics.From
	}
	return p
}

// WearPer says a rate in mm per unit of a counter ([wear.Counter.PerUnit]): "0.012 mm
// (0.47 thou) per 1,000 run-hours"; a slow one for a hundred times as many.
func WearPer(mm float64, c wear.Counter) string {
	per := c.PerUnit()
	if mm < 0.001 {
		mm, per = 100*mm, 100*per
	}
	return fmt.Sprintf("%s per %s %s", wear.Fine(mm), Thousands(per), c)
}
