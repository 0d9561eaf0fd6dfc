package web

import (
	"fmt"
	"html/template"
	"math"
	"net/http"
	"slices"
	"time"

	"endshake/daemon/chart"
	"endshake/schedule"
	"endshake/wear"
)

// bearingPage is everything about one bearing.
type bearingPage struct {
	Clock       schedule.Clock
	Name        string
	Train       string
	Outlook     schedule.Outlook
	Chart, Slim template.HTML
	Level       string
	Rate        string
	Limits      []limitLine
	Used        string
	Measure     string
	Readings    []readingLine
	Line        string // what a plain line through the readings says; empty: too few
	Made        []string
	Fitted      string
}

// limitLine is one limit with who set it.
type limitLine struct{ Word, Size, Source string }

// readingLine is one reading, or the fitting of a part.
type readingLine struct {
	When, MM, Thou, Gauge, Who, Instrument, More string
	Repair                                       string // it is a repair: its words
}

func (s *server) bearing(w http.ResponseWriter, r *http.Request) {
	a, snap, ok := s.assessment(w, r)
	if !ok {
		return
	}
	o, ok := a.Outlook(r.PathValue("bearing"))
	if !ok {
		s.nowhere(w, r)
		return
	}
	page := bearingPage{
		Clock: a.Clock, Name: schedule.NameOf(o.Bearing.Name, o.Arbor.Name), Train: schedule.NameOfTrain(o.Train), Outlook: o,
		Chart: picture(chart.Bearing(o, a.Now, a.Zone, chart.Wide)),
		Slim:  picture(chart.Bearing(o, a.Now, a.Zone, chart.Narrow)),
		Level: "not measured", Measure: o.Measure.Words(), Rate: rateWords(o),
		Limits: limits(o.Bearing), Readings: readings(snap.Fleet, a, o),
		Line: lineWords(o), Made: madeOf(o), Fitted: fittedWords(o, a.Zone),
	}
	if o.Known {
		page.Level = fmt.Sprintf("%s, give or take %.2f mm", both(o.Level.Mean), o.Level.SD)
		if o.Limit != nil {
			page.Used = percent(o.Used) + " of the way from its size when fitted to its limit"
			if o.Bearing.Fitted == 0 && (len(o.Parts) == 0 || o.Parts[len(o.Parts)-1].Start == nil) {
				page.Used = percent(o.Used) + " of its limit (its size when fitted is not known)"
			}
		}
	}
	s.show(w, r, http.StatusOK, "bearing", view{Title: page.Name + ", " + a.Clock.Name, Here: "/", Body: page})
}

func rateWords(o schedule.Outlook) string {
	if math.IsNaN(o.PerYear[1]) || o.PerYear[2] == 0 {
		return "not known"
	}
	return fmt.Sprintf("about %s a year; 8 chances in 10 that it lies between %s and %s a year",
		rate(o.PerYear[1]), rate(o.PerYear[0]), rate(o.PerYear[2]))
}

func limits(b wear.Bearing) []limitLine {
	var out []limitLine
	if b.Watch != nil {
		out = append(out, limitLine{"watch (look closer)", b.Watch.Size.Both(wear.MM), b.Watch.Source})
	}
	if b.Act != nil {
		out = append(out, limitLine{"act (repair)", b.Act.Size.Both(wear.MM), b.Act.Source})
	}
	return out
}

func fittedWords(o schedule.Outlook, zone *time.Location) string {
	if len(o.Parts) == 0 {
		return "not known"
	}
	p := o.Parts[len(o.Parts)-1]
	out := "not known when"
	if !p.From.IsZero() {
		out = day(p.From, zone)
	}
	if p.Work != "" {
		out = string(p.Work) + ", " + out
	}
	if p.Start != nil {
		return out + ", with " + both(p.Start.Mean)
	}
	return out + ", its size then not known"
}

// readings are those of all parts with the repairs between, newest first.
func readings(f schedule.Fleet, a schedule.Assessment, o schedule.Outlook) []readingLine {
	var out []readingLine
	for _, part := range o.Parts {
		if part.Work != "" {
			l := readingLine{When: day(part.From, a.Zone), Repair: string(part.Work)}
			if part.Start != nil {
				l.Repair += ", leaving " + both(part.Start.Mean)
			}
			out = append(out, l)
		}
		for _, p := range part.Readings {
			out = append(out, newReadingLine(f, a, p))
		}
	}
	slices.Reverse(out)
	return out
}

func newReadingLine(f schedule.Fleet, a schedule.Assessment, p schedule.Point) readingLine {
	r := p.Reading
	l := readingLine{
		When: day(p.At, a.Zone), MM: fmt.Sprintf("%.2f", r.Value.MM()), Thou: fmt.Sprintf("%.1f", r.Value.Thou()),
		Gauge: fmt.Sprintf("± %.3g mm", r.SD()), Who: "not recorded", Instrument: r.Instrument,
	}
	if r.Value%10 != 0 {
		l.MM = fmt.Sprintf("%.3f", r.Value.MM())
	}
	if r.Gauge == 0 {
		l.Gauge += " (taken)"
	}
	if p.By != "" {
		l.Who = personName(f, p.By)
	}
	if r.Load != "" {
		l.More = "load " + string(r.Load)
	}
	if r.Celsius != nil {
		if l.More != "" {
			l.More += ", "
		}
		l.More += fmt.Sprintf("%g °C", *r.Celsius)
	}
	return l
}

// lineWords says what a plain straight line through the present part's readings
// gives, as a check that needs no belief at all.
func lineWords(o schedule.Outlook) string {
	if len(o.Parts) == 0 {
		return ""
	}
	unit := o.Counter.PerUnit()
	var x, y []float64
	for _, r := range o.Parts[len(o.Parts)-1].Readings {
		x = append(x, r.Exposure/unit)
		y = append(y, r.Reading.Value.MM())
	}
	l, err := wear.FitLine(x, y)
	if err != nil {
		return ""
	}
	perYear := o.PerDay * 365.25 / unit
	return fmt.Sprintf("A plain straight line through the %d readings of the present part gives %.3f ± %.3f mm a year (one standard error). "+
		"It knows nothing of gauges, of other bearings or of wear that cannot heal; where it disagrees widely with the estimate above, look at the readings.",
		l.N, l.Slope*perYear, l.SlopeSE*perYear)
}

// madeOf says how the estimate came about, each step a sentence.
func madeOf(o schedule.Outlook) []string {
	out := []string{
		fmt.Sprintf("Wear follows the work done, so it is counted in %s: %s so far, and about %s a day ahead.",
			o.Counter, hours(o.Exposure.Likely), hours(o.PerDay)),
	}
	if o.Exposure.Upper-o.Exposure.Lower >= 1 {
		out = append(out, fmt.Sprintf("The log leaves a doubt about that count: it lies between %s and %s.",
			hours(o.Exposure.Lower), hours(o.Exposure.Upper)))
	}
	if o.Prior.From != "" {
		out = append(out, fmt.Sprintf("Before any reading the rate was taken from %s: about %s in each %s %s.",
			o.Prior.From, tiny(math.Exp(o.Prior.Mu)), hours(o.Counter.PerUnit()), o.Counter))
	}
	n := o.Wear.Readings()
	out = append(out, fmt.Sprintf("%s of the present part, each weighed by its gauge, moved that to the estimate above. One reading in fifty is taken to be a misread.",
		schedule.Capital(schedule.Count(n, "reading", "readings"))))
	if o.Wear.PChange() > 0.5 {
		out = append(out, "The rate has probably changed since the part was fitted: find out why, and measure again before acting.")
	}
	return append(out, "A repair starts the size anew and keeps what is known of the rate; other materials start the rate anew too.")
}
