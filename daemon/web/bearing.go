package web

import (
	"fmt"
	"html/template"
	"math"
	"net/http"
	"slices"
	"strings"
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
	Path        string // of the page itself
	Kind        string // address of the bearings of its kind
	MayMeasure  bool
	MayRepair   bool
	Outlook     schedule.Outlook
	Marks       []string
	Chart, Slim template.HTML
	Caption     []string // what the marks on the chart are
	Level       string
	Rate        string
	Change      string // how likely its rate has changed; empty: cannot be told yet
	Oil         oilNote
	Limits      []limitLine
	Used        string
	Why         string
	Unsure      string // that nobody has confirmed the limit
	Inches      bool   // the reader's unit is thou
	Measure     string
	Readings    []readingLine
	Celsius     bool // some reading is brought to another temperature
	Reference   string
	Meshes      []meshLine
	MeshExample string
	Runs        bool // its reader runs the fleet, and so may write into its file
	Sets        bool // and its limits can be set here
	Prior       priorNote
	Made        []string
	Line        string // what a plain line through the readings says; empty: too few
	Fitted      string
	Moved       string    // by the last lesson; empty: it did not
	NotKnown    string    // what is not known of it, in one line; empty: nothing
	Pair        wear.Pair // the materials that rub now
	WhatIf      whatIfPart
}

// limitLine is one limit with who set it.
type limitLine struct {
	Word, Size, Source string
	Binds              bool
}

// readingLine is one reading, or the fitting of a part.
type readingLine struct {
	When, MM, Thou, Gauge, Who, Instrument, More string
	At15                                         string // brought to one temperature, where that differs
	Doubt                                        string // that it may be misread, in a word
	DoubtWords                                   string
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
	page := func() bearingPage {
		page := newBearingPage(snap.Fleet, unitsOf(snap.Fleet, by(r)), a, o)
		page.Runs = by(r).Conservator
		page.Moved = s.movedWords(a, o)
		page.Sets = page.Runs && s.SaveFleet != nil
		kinds := by(r).Kinds(a.Clock)
		page.MayMeasure, page.MayRepair = slices.Contains(kinds, schedule.Measured), slices.Contains(kinds, schedule.Repaired)
		return page
	}
	title := schedule.NameOf(o.Bearing.Name, o.Arbor.Name) + ", " + a.Clock.Name
	if rd, ok := s.reader(w, r); ok && rd.seen == snap && r.URL.RawQuery == "" { // nothing is asked of it
		s.showKept(w, r, rd, r.URL.Path, "bearing", func() view {
			page := page()
			_, _ = s.whatIf(r, a, o, &page.WhatIf) // which asks nothing, and so finds no fault
			return view{Title: title, Here: "/", Body: page, Now: a.Now, Zone: a.Zone}
		})
		return
	}
	asked := page()
	status, err := s.whatIf(r, a, o, &asked.WhatIf)
	if err != nil {
		s.fault(w, r, err)
		return
	}
	if status != http.StatusOK {
		title = "Not worked out yet: " + title
	}
	s.show(w, r, status, "bearing", view{Title: title, Here: "/", Body: asked, Now: a.Now, Zone: a.Zone})
}

func newBearingPage(f schedule.Fleet, u wear.Unit, a schedule.Assessment, o schedule.Outlook) bearingPage {
	page := bearingPage{
		Clock: a.Clock, Name: schedule.NameOf(o.Bearing.Name, o.Arbor.Name), Train: schedule.NameOfTrain(o.Train), Outlook: o,
		Inches: u == wear.Thou, Path: bearingPath(a.Clock.Slug, o.Bearing.Code), Kind: comparePath(schedule.Group(o.Bearing, o.Arbor, o.Train)), Marks: marksOf(o),
		Chart:   named(f, u, chart.Bearing(o, a.Now, a.Zone, chart.Wide)),
		Slim:    named(f, u, chart.Bearing(o, a.Now, a.Zone, chart.Narrow)),
		Caption: captionOf(o), Why: o.Why, Measure: o.Measure.Words(), Change: changeWords(o), Oil: newOilNote(o),
		Limits: limits(o), Readings: readings(f, a, o), Reference: wear.Warmth(wear.ReferenceCelsius),
		Meshes: newMeshLines(o), MeshExample: meshExample(o.Bearing.Code), Prior: newPriorNote(o),
		Line: lineWords(a, o), Made: madeOf(o), Pair: pairOf(a, o),
		Unsure: unsure(f, a.Clock, o),
	}
	if o.WithWork() {
		page.Measure = ""
	}
	page.figures(o, a.Zone)
	page.Celsius = slices.ContainsFunc(page.Readings, func(l readingLine) bool { return l.At15 != "" })
	if o.Known && o.Limit != nil {
		page.Used = percent(o.Used) + " " + usedOf(o)
		if chart.Way(o) == "" {
			page.Used += " (its size when fitted is not known)"
		} else {
			page.Used += ", from its size when fitted to its limit"
		}
	}
	return page
}

// named puts a drawing into a page on which a pointer finds who took a reading,
// with the unit of its reader first.
func named(f schedule.Fleet, u wear.Unit, p chart.Picture) template.HTML {
	p.Units = u
	p.Name = func(slug string) string { return personName(f, slug) }
	return picture(p)
}

// present is the part in the bearing now.
func present(o schedule.Outlook) schedule.Part {
	if len(o.Parts) == 0 {
		return schedule.Part{}
	}
	return o.Parts[len(o.Parts)-1]
}

// pairOf is the materials that rub now: those described, or of the last repair
// that changed them.
func pairOf(a schedule.Assessment, o schedule.Outlook) wear.Pair {
	for _, e := range slices.Backward(a.Entries) {
		if e.Kind == schedule.Repaired && e.Bearing == o.Bearing.Code && e.NewPair != "" {
			return e.NewPair
		}
	}
	return o.Bearing.Pair
}

// marksOf are the words for what the readings themselves cast doubt on.
func marksOf(o schedule.Outlook) []string {
	var out []string
	if o.ReadAgain {
		out = append(out, "read again")
	}
	if !o.Changed.IsZero() {
		out = append(out, "rate changed")
	}
	return out
}

// figures says what is known of the bearing, and in one line what is not.
func (p *bearingPage) figures(o schedule.Outlook, zone *time.Location) {
	var unknown []string
	if p.Level = levelWords(o); !o.Known {
		p.Level, unknown = "", append(unknown, "the "+string(o.Bearing.Shake)+" now")
	}
	if p.Rate = rateWords(o); p.Rate == "" {
		unknown = append(unknown, "how fast it wears")
	}
	fitted, missing := fittedWords(o, zone)
	p.Fitted, p.NotKnown = fitted, strings.Join(append(unknown, missing...), ", ")
}

// levelWords says the size now, or of the last reading where no rate is known.
func levelWords(o schedule.Outlook) string {
	if !o.Known {
		return "not measured"
	}
	out := fmt.Sprintf("%s, give or take %s", both(o.Level.Mean), both(o.Level.SD))
	if !o.Taught && !o.Dated {
		out += ", as of the last reading: no rate is known yet to carry it on to today"
	}
	return out
}

// rateWords says how fast it wears; nothing where that is not known.
func rateWords(o schedule.Outlook) string {
	if math.IsNaN(o.PerYear[1]) || o.PerYear[2] == 0 {
		return ""
	}
	out := fmt.Sprintf("about %s a year; 8 chances in 10 that it lies between %s a year",
		wear.Fine(o.PerYear[1]), wear.FineSpan(o.PerYear[0], "and", o.PerYear[2]))
	if !o.Taught {
		out += "; no reading has shown it yet"
	}
	return out
}

// limits are those that hold, with the one that binds marked.
func limits(o schedule.Outlook) []limitLine {
	var out []limitLine
	for _, l := range []struct {
		word  string
		limit *wear.Limit
	}{{"watch (look closer)", o.Watch}, {"act (repair)", o.Act}, {"stop (do not run on)", o.Stop}} {
		if l.limit != nil {
			out = append(out, limitLine{l.word, l.limit.Size.String(), l.limit.Source, l.limit == o.Limit})
		}
	}
	return out
}

// fittedWords says what is known of the fitting of the present part, and what is not.
func fittedWords(o schedule.Outlook, zone *time.Location) (words string, unknown []string) {
	p := present(o)
	var known []string
	if p.Work != "" {
		known = append(known, string(p.Work))
	}
	switch {
	case !p.From.IsZero():
		known = append(known, day(p.From, zone))
	case p.Start == nil:
		unknown = append(unknown, "when the present part was fitted and its size then")
	default:
		unknown = append(unknown, "when the present part was fitted")
	}
	switch {
	case p.Start != nil:
		known = append(known, "with "+both(p.Start.Mean))
	case !p.From.IsZero():
		unknown = append(unknown, "the size of the present part when it was fitted")
	}
	words = strings.Join(known, ", ")
	if n := len(p.Cleaned); n > 0 {
		words = strings.TrimPrefix(words+"; stripped and cleaned since on "+day(p.Cleaned[n-1], zone), "; ")
	}
	return words, unknown
}

// readings are those of all parts with the repairs between, newest first.
func readings(f schedule.Fleet, a schedule.Assessment, o schedule.Outlook) []readingLine {
	var out []readingLine
	for i, part := range o.Parts {
		if part.Work != "" {
			l := readingLine{When: day(part.From, a.Zone), Repair: string(part.Work)}
			if part.Start != nil {
				l.Repair += ", leaving " + both(part.Start.Mean)
			}
			out = append(out, l)
		}
		for k, p := range part.Readings {
			l := newReadingLine(f, a, p)
			if p.Doubt >= 0.5 {
				l.Doubt = "misread?"
				l.DoubtWords = fmt.Sprintf("it does not fit the others: %s chance that it is misread", chance(p.Doubt))
				if i == len(o.Parts)-1 && k == len(part.Readings)-1 {
					l.Doubt = "read again"
				}
			}
			out = append(out, l)
		}
	}
	slices.Reverse(out)
	return out
}

func newReadingLine(f schedule.Fleet, a schedule.Assessment, p schedule.Point) readingLine {
	r := p.Reading
	l := readingLine{
		When: day(p.At, a.Zone), MM: fmt.Sprintf("%.2f", r.Value.MM()), Thou: fmt.Sprintf("%.1f", r.Value.Thou()),
		Gauge: "± " + wear.FromMM(r.SD()).String(), Who: "not recorded", Instrument: r.Instrument,
	}
	if r.Value%10 != 0 {
		l.MM = fmt.Sprintf("%.3f", r.Value.MM())
	}
	if r.Gauge == 0 {
		l.Gauge += " (taken)"
	}
	if math.Abs(p.Value-r.Value.MM()) >= 0.0005 {
		l.At15 = fmt.Sprintf("%.3f", p.Value)
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
		l.More += wear.Warmth(*r.Celsius)
	}
	return l
}
