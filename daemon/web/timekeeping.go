package web

import (
	"fmt"
	"html/template"
	"math"
	"slices"
	"strconv"
	"time"

	"endshake/daemon/chart"
	"endshake/schedule"
	"endshake/wear"
)

// mostTimes is how many errors, stretches and regulations a page shows.
const mostTimes = 10

// timeView is how well a clock keeps time. Its lists run from the newest on.
type timeView struct {
	Chart, Slim template.HTML // empty: no error of late
	Sentence    string
	Silent      string // no error is logged: when to look; empty: one is
	Facts       []pair
	Signs       []pair
	Errors      []pair
	Stretches   []stretchLine
	Regulations []regulationLine
	Older       bool // more was logged than is shown
}

// Warm reports that how warm the room was is known of some stretch.
func (v timeView) Warm() bool {
	return slices.ContainsFunc(v.Stretches, func(l stretchLine) bool { return l.Celsius != "" })
}

// pair is a thing and what is said of it.
type pair struct{ Name, Words string }

type stretchLine struct{ From, To, Rate, Errors, Celsius string }

type regulationLine struct{ When, What, Total, Expected, Brought string }

// Should reports that what some regulation should bring is known, Did what some
// one brought.
func (v timeView) Should() bool {
	return slices.ContainsFunc(v.Regulations, func(l regulationLine) bool { return l.Expected != "" })
}

func (v timeView) Did() bool {
	return slices.ContainsFunc(v.Regulations, func(l regulationLine) bool { return l.Brought != "" })
}

func newTimeView(a schedule.Assessment) timeView {
	t := a.Time
	v := timeView{Sentence: t.Sentence, Older: max(len(t.Errors), len(t.Stretches), len(t.Regulations)) > mostTimes}
	if len(t.Errors) == 0 {
		v.Silent = "when you look at it"
		if slices.ContainsFunc(a.Clock.Trains, func(t wear.Train) bool { return t.Drive == wear.HandWound }) {
			v.Silent = "when you wind it"
		}
	}
	if n := len(t.Errors); n > 1 && a.Now.Sub(t.Errors[n-1].At) < 2*365*24*time.Hour {
		v.Chart, v.Slim = picture(chart.Time(a, chart.Wide)), picture(chart.Time(a, chart.Narrow))
	}
	add := func(name, words string) { v.Facts = append(v.Facts, pair{name, words}) }
	if t.ErrorKnown {
		words := errorWords(t.Error)
		if finite(t.ErrorSD) && t.ErrorSD > 0 {
			words += ", give or take " + schedule.Seconds(max(rounded(t.ErrorSD), 0.1))
		}
		add("Error now", words)
	}
	if t.Tolerance > 0 && finite(t.Tolerance) {
		words := "to within " + schedule.Seconds(t.Tolerance)
		if p := a.Clock.Care.Tolerance; p != nil && p.Source != "" {
			words += " (" + p.Source + ")"
		}
		add("Held to", words)
	}
	if t.Wander > 0 && finite(t.Wander) {
		add("Steadiness", "its rate differs by about "+strconv.FormatFloat(t.Wander, 'g', 2, 64)+" s a day from month to month")
	}
	if c := t.PerDegree; c != nil {
		add("With temperature", slopeWords(*c, "°C")+fmt.Sprintf("; for each °F more %s", signed(c.Value/1.8)))
	}
	if c := t.PerHectopascal; c != nil {
		add("With air pressure", slopeWords(*c, "hPa"))
	}
	for _, s := range t.Signs {
		v.Signs = append(v.Signs, pair{"since " + s.Since.Words(), s.Words})
	}
	for _, e := range newest(t.Errors) {
		words := errorWords(e.Seconds)
		if e.Left {
			words += ", as left"
		}
		if e.Aside {
			words += "; does not fit the others, and is set aside"
		}
		v.Errors = append(v.Errors, pair{schedule.Instant(e.At, a.Zone), words})
	}
	for i, s := range newest(t.Stretches) {
		v.Stretches = append(v.Stretches, newStretchLine(a, s, i == 0))
	}
	for _, r := range newest(t.Regulations) {
		v.Regulations = append(v.Regulations, newRegulationLine(a, r))
	}
	return v
}

// newest are the last of a list, the last first.
func newest[T any](all []T) []T {
	out := slices.Clone(all[max(0, len(all)-mostTimes):])
	slices.Reverse(out)
	return out
}

func newStretchLine(a schedule.Assessment, s schedule.Stretch, present bool) stretchLine {
	l := stretchLine{From: day(s.From, a.Zone), To: day(s.To, a.Zone), Rate: "too few errors, or too near in time, to tell", Errors: strconv.Itoa(s.Errors)}
	if present {
		l.To = "now"
	}
	if s.SD > 0 {
		l.Rate = gainWords(s.Rate, s.SD)
	}
	if s.Celsius != nil && finite(*s.Celsius) {
		l.Celsius = wear.Warmth(math.Round(*s.Celsius))
	}
	return l
}

func newRegulationLine(a schedule.Assessment, r schedule.Regulation) regulationLine {
	l := regulationLine{When: day(r.At, a.Zone), What: nutAndGrams(r.Turns, r.Grams), Total: nutAndGrams(r.Total, r.On)}
	if r.Undone {
		l.What += " (taken back since)"
	}
	if r.Expected != nil {
		l.Expected = signed(*r.Expected) + " s a day"
	}
	if r.Brought != nil {
		l.Brought = signed(*r.Brought) + " s a day"
	}
	return l
}

// nutAndGrams says turns of a rating nut and grams on a pendulum.
func nutAndGrams(turns, grams float64) string {
	out := ""
	if turns != 0 {
		out = signed(turns) + " turns"
	}
	if grams != 0 {
		out = joined(out, signed(grams)+" g")
	}
	if out == "" {
		return "nothing"
	}
	return out
}

// gainWords says a rate: "gains 2.1 s a day, give or take 0.3".
func gainWords(rate, sd float64) string {
	if !finite(rate) {
		return "not known"
	}
	out := "neither gains nor loses"
	switch r := rounded(rate); {
	case r > 0:
		out = "gains " + seconds(r) + " s a day"
	case r < 0:
		out = "loses " + seconds(-r) + " s a day"
	}
	if finite(sd) && sd > 0 {
		out += ", give or take " + seconds(max(rounded(sd), 0.1))
	}
	return out
}

// errorWords says an error of the hands, no finer than it can be known.
func errorWords(v float64) string {
	if !finite(v) {
		return "not known"
	}
	return schedule.FastSlow(rounded(v))
}

// slopeWords says how the rate goes with something.
func slopeWords(c schedule.Coefficient, unit string) string {
	if !finite(c.Value) {
		return "not known"
	}
	return fmt.Sprintf("%s s a day for each %s more, give or take %.2g, from %s", signed(c.Value), unit, math.Abs(c.SD), schedule.Count(c.Stretches, "stretch", "stretches"))
}

// rounded is a figure in seconds to a tenth, or to a whole one from ten on.
func rounded(v float64) float64 {
	if math.Abs(v) >= 10 {
		return math.Round(v)
	}
	return math.Round(v*10) / 10
}

// seconds prints a figure without needless noughts.
func seconds(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// signed prints a figure to two decimals with its sign.
func signed(v float64) string {
	if !finite(v) {
		return "not known"
	}
	v = math.Round(v*100) / 100
	if v < 0 {
		return "−" + seconds(-v)
	}
	return "+" + seconds(v)
}
