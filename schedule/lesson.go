package schedule

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	"endshake/wear"
)

// Sentences says what the fleet has taught, one thing a sentence. Days are
// those of a zone.
func (l Learned) Sentences(zone *time.Location) []string {
	m := l.Model
	first := fmt.Sprintf("The lesson of %s (lesson %d of this fleet), from %s with %s.", DateOf(l.FittedAt, zone).Words(), l.Version,
		Count(m.Bearings, "bearing", "bearings"), Count(m.Readings, "reading", "readings"))
	if !m.Taught {
		return append([]string{first, "Too few bearings were measured twice to teach anything: the forecasts rest on physics and on each bearing's own readings."}, l.oilSentences()...)
	}
	out := []string{first}
	for _, name := range slices.Sorted(maps.Keys(m.Groups)) {
		g := m.Groups[name]
		out = append(out, fmt.Sprintf("%s: wears %s (%s).", strings.ReplaceAll(name, " | ", ", "), timesWords(math.Exp(g.Shift)), Count(g.Bearings, "bearing", "bearings")))
	}
	out = append(out,
		fmt.Sprintf("Two bearings in three of one group are within a factor of %.1f of its middle.", math.Exp(m.Om)),
		shapeWords(m.Params), gaugeWords(m.Params.C))
	return append(append(out, oilWords(l)), l.oilSentences()...)
}

func timesWords(x float64) string {
	switch {
	case x >= 1.1:
		return fmt.Sprintf("%.1f times as fast as expected before any reading", x)
	case x <= 1/1.1:
		return fmt.Sprintf("%.1f times as slowly as expected before any reading", 1/x)
	}
	return "as expected before any reading"
}

// shapeWords says whether wear goes evenly.
func shapeWords(p wear.Params) string {
	var out []string
	switch {
	case p.B > 1:
		out = append(out, fmt.Sprintf("quickens with age (exponent %.2f)", p.B))
	case p.B < 1:
		out = append(out, fmt.Sprintf("slows with age (exponent %.2f)", p.B))
	}
	switch k := math.Exp(p.Quicken * .1); {
	case k > 1:
		out = append(out, fmt.Sprintf("quickens as it goes deeper by %.0f %% for each %v", 100*(k-1), wear.Millimetre/10))
	case k < 1:
		out = append(out, fmt.Sprintf("slows as it goes deeper by %.0f %% for each %v", 100*(1-k), wear.Millimetre/10))
	}
	if len(out) == 0 {
		return "Wear goes evenly with running: nothing else explains the readings clearly better."
	}
	return "Wear " + And(out) + "."
}

func gaugeWords(c float64) string {
	switch {
	case c > 1:
		return fmt.Sprintf("Gauges err about %.3g times as much as stated.", c)
	case c < 1:
		return fmt.Sprintf("Gauges err about %.3g times as much as stated: they are better than they claim.", c)
	}
	return "Gauges err about as much as stated."
}

func oilWords(l Learned) string {
	plain, oil := l.Track.Next.Ours, l.WithOil.Next.Ours
	switch {
	case oil.Forecasts == 0:
		return "The state of the oil is not weighed: no oiling is planned for any clock."
	case l.OilInForce:
		return fmt.Sprintf("Running is weighed by the state of the oil: it forecasts better so (score %s against %s).", wear.WithinBrackets(wear.Mean(oil.CRPS)), wear.WithinBrackets(wear.Mean(plain.CRPS)))
	}
	return fmt.Sprintf("Running is not weighed by the state of the oil: it does not forecast clearly better so (score %s against %s).", wear.WithinBrackets(wear.Mean(oil.CRPS)), wear.WithinBrackets(wear.Mean(plain.CRPS)))
}

// InForce is the track record of the way of forecasting that is in force.
func (l Learned) InForce() wear.Track {
	if l.OilInForce {
		return l.WithOil
	}
	return l.Track
}

// LessonText is what the fleet has taught and how well its forecasts did, for
// people to read. Days are those of UTC.
func LessonText(l Learned) string {
	out := strings.Join(l.Sentences(time.UTC), "\n") + "\n"
	for _, v := range []struct {
		name string
		of   wear.Versus
	}{{"Next reading", l.InForce().Next}, {"Last reading", l.InForce().Last}} {
		if v.of.Ours.Forecasts == 0 {
			out += v.name + ": no forecast can be judged yet.\n"
			continue
		}
		out += fmt.Sprintf("%s: %s judged; score (CRPS) %s, a straight line %s; mean error %s, line %s; 80 %% bands held %.0f %%, line %.0f %%; 90 %% bands held %.0f %%, line %.0f %%.\n",
			v.name, Count(v.of.Ours.Forecasts, "forecast", "forecasts"), wear.Mean(v.of.Ours.CRPS), wear.Mean(v.of.StraightLine.CRPS), wear.Mean(v.of.Ours.MAE), wear.Mean(v.of.StraightLine.MAE),
			100*v.of.Ours.Cover80, 100*v.of.StraightLine.Cover80, 100*v.of.Ours.Cover90, 100*v.of.StraightLine.Cover90)
	}
	return out
}
