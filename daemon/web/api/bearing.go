package api

import (
	"math"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// Brief is what is known of one bearing, in short.
type Brief struct {
	Bearing   string             `json:"bearing"` // code
	Name      string             `json:"name"`
	Train     string             `json:"train"`
	Arbor     string             `json:"arbor"`
	Shake     wear.Shake         `json:"shake"`
	Condition schedule.Condition `json:"condition"`
	// Level is the freedom now, its middle, or at the last reading where no rate
	// is taught; null: it was never measured.
	Level     Num           `json:"levelMm"`
	LevelLow  Num           `json:"levelLowMm"`
	LevelHigh Num           `json:"levelHighMm"`
	Limit     *Size         `json:"limit"` // the one that binds; null: none is set
	Used      Num           `json:"used"`  // share of the way from its fitted size to the limit
	MeasureBy schedule.Date `json:"measureBy"`
	// Confidence says how sure the date is, and why: "firm: ...", "fair: ...", "weak: ...".
	Confidence string `json:"confidence"`
	Sentence   string `json:"sentence"`
}

// Bearings are those of a clock, the worst first.
type Bearings struct {
	Clock    string    `json:"clock"`
	AsOf     time.Time `json:"asOf"`
	Bearings []Brief   `json:"bearings"`
}

// Bearing is everything about one bearing.
type Bearing struct {
	Clock string    `json:"clock"`
	AsOf  time.Time `json:"asOf"`
	Brief
	Form wear.Form `json:"form"`
	Pair wear.Pair `json:"pair"` // the materials that rub, as described
	// LevelSD is one standard deviation of the level. LevelOf says of when it is.
	LevelSD Num    `json:"levelSdMm"`
	LevelOf string `json:"levelOf"` // "today", "the last reading", or "" where there is none
	// Rate is the wear of the year to come at the duty to expect.
	Rate     Num  `json:"rateMmPerYear"`
	RateLow  Num  `json:"rateLowMmPerYear"`
	RateHigh Num  `json:"rateHighMmPerYear"`
	Taught   bool `json:"taught"` // its own readings show a rate
	Change   struct {
		Probability Num           `json:"probability"`
		After       schedule.Date `json:"after"`
	} `json:"change"`
	ReadAgain bool     `json:"readAgain"` // the last reading does not fit
	Limits    []Limit  `json:"limits"`
	Crossing  *Cross   `json:"crossing"` // null without a limit or a level
	Why       string   `json:"measureWhy"`
	Exposure  Exposure `json:"exposure"`
	Prior     string   `json:"priorFrom"` // where the rate came from before its own readings
	Parts     []Part   `json:"parts"`     // oldest first; the last is the present one
}

// Limit is one limit with who set it.
type Limit struct {
	Word   string `json:"word"` // watch, act, stop
	Size   *Size  `json:"size"`
	Source string `json:"source"`
	Binds  bool   `json:"binds"`
}

// Cross is when the limit is reached: the days by which that has happened with a
// chance of 10, 50 and 90 %. "" where the readings cannot carry a date.
type Cross struct {
	P10           schedule.Date `json:"p10"`
	P50           schedule.Date `json:"p50"`
	P90           schedule.Date `json:"p90"`
	Dated         bool          `json:"dated"`
	Already       bool          `json:"already"`       // over by now as likely as not
	BeyondHorizon bool          `json:"beyondHorizon"` // not before 40 years
}

// Exposure is what it wears by.
type Exposure struct {
	Counter wear.Counter `json:"counter"` // run-hours or strokes
	Likely  Num          `json:"likely"`  // since the clock came into care
	Low     Num          `json:"low"`
	High    Num          `json:"high"`
	PerDay  Num          `json:"perDay"` // to expect
}

// Part is the life of one part in a bearing.
type Part struct {
	From     *time.Time          `json:"from"` // null: not known
	Work     schedule.RepairWork `json:"work"` // how it came there; "": as found
	Fitted   Num                 `json:"fittedMm"`
	FittedSD Num                 `json:"fittedSdMm"`
	Cleaned  []time.Time         `json:"cleaned"`
	Readings []Point             `json:"readings"`
}

// Point is one reading with the exposure that it was taken at.
type Point struct {
	Entry    string    `json:"entry"`
	At       time.Time `json:"at"`
	By       string    `json:"by,omitempty"`
	Exposure Num       `json:"exposure"`
	Reading  Reading   `json:"reading"`
	// Value is the reading brought to one temperature, SD its uncertainty.
	Value Num `json:"valueMm"`
	SD    Num `json:"sdMm"`
	Doubt Num `json:"doubt"` // the chance that it is misread
}

// NewBrief writes one bearing of a clock in short.
func NewBrief(a schedule.Assessment, o schedule.Outlook) Brief {
	b := Brief{
		Bearing: o.Bearing.Code, Name: schedule.NameOf(o.Bearing.Name, o.Arbor.Name), Train: o.Train.Code, Arbor: o.Arbor.Code,
		Shake: o.Bearing.Shake, Condition: o.Condition, Level: none, LevelLow: none, LevelHigh: none, Used: none,
		MeasureBy: o.Measure, Confidence: o.Confidence, Sentence: o.Sentence,
	}
	if o.Known {
		h := o.Wear.Now()
		if o.Taught {
			h = math.Max(h, o.Units(a.Now))
		}
		b.Level = Num(o.Level.Mean)
		b.LevelLow, b.LevelHigh = Num(o.Wear.LevelQuantile(h, .1)), Num(o.Wear.LevelQuantile(h, .9))
	}
	if o.Limit != nil {
		b.Limit = sizeOf(o.Limit.Size)
		if o.Known {
			b.Used = Num(o.Used)
		}
	}
	return b
}

// NewBearings writes all bearings of a clock.
func NewBearings(a schedule.Assessment) Bearings {
	out := Bearings{Clock: a.Clock.Slug, AsOf: a.Now.UTC(), Bearings: []Brief{}}
	for _, o := range a.Outlooks {
		out.Bearings = append(out.Bearings, NewBrief(a, o))
	}
	return out
}

// NewBearing writes everything about one bearing of a clock.
func NewBearing(a schedule.Assessment, o schedule.Outlook) Bearing {
	b := Bearing{
		Clock: a.Clock.Slug, AsOf: a.Now.UTC(), Brief: NewBrief(a, o), Form: o.Bearing.Form, Pair: o.Bearing.Pair, LevelSD: none,
		RateLow: Num(o.PerYear[0]), Rate: Num(o.PerYear[1]), RateHigh: Num(o.PerYear[2]), Taught: o.Taught, ReadAgain: o.ReadAgain,
		Limits: limits(o), Why: o.Why, Prior: o.Prior.From, Parts: []Part{},
		Exposure: Exposure{o.Counter, Num(o.Exposure.Likely), Num(o.Exposure.Lower), Num(o.Exposure.Upper), Num(o.PerDay)},
	}
	if o.PerYear[2] == 0 { // there is no forecast
		b.RateLow, b.Rate, b.RateHigh = none, none, none
	}
	b.Change.Probability, b.Change.After = Num(o.Wear.PChange()), o.Changed
	if o.Known {
		b.LevelSD, b.LevelOf = Num(o.Level.SD), "the last reading"
		if o.Taught {
			b.LevelOf = "today"
		}
	}
	if o.Known && o.Limit != nil {
		b.Crossing = &Cross{o.Early, o.Likely, o.Late, o.Dated, o.Over, o.Beyond}
	}
	for _, p := range o.Parts {
		b.Parts = append(b.Parts, newPart(p))
	}
	return b
}

func limits(o schedule.Outlook) []Limit {
	out := []Limit{}
	for _, l := range []struct {
		word  string
		limit *wear.Limit
	}{{"watch", o.Watch}, {"act", o.Act}, {"stop", o.Stop}} {
		if l.limit != nil {
			out = append(out, Limit{l.word, sizeOf(l.limit.Size), l.limit.Source, l.limit == o.Limit})
		}
	}
	return out
}

func newPart(p schedule.Part) Part {
	out := Part{Work: p.Work, Fitted: none, FittedSD: none, Cleaned: []time.Time{}, Readings: []Point{}}
	if !p.From.IsZero() {
		from := p.From.UTC()
		out.From = &from
	}
	if p.Start != nil {
		out.Fitted, out.FittedSD = Num(p.Start.Mean), Num(p.Start.SD)
	}
	for _, t := range p.Cleaned {
		out.Cleaned = append(out.Cleaned, t.UTC())
	}
	for _, x := range p.Readings {
		r := x.Reading
		out.Readings = append(out.Readings, Point{
			Entry: x.Entry, At: x.At.UTC(), By: x.By, Exposure: Num(x.Exposure), Value: Num(x.Value), SD: Num(x.SD), Doubt: Num(x.Doubt),
			Reading: *readingOf(&r),
		})
	}
	return out
}
