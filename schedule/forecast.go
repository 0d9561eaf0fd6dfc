package schedule

import (
	"fmt"
	"math"

	"endshake/wear"
)

// Figures behind a forecast (judgement, no source, unless marked).
const (
	// watchAhead is how many days ahead a limit that may be reached is watched.
	watchAhead = 2 * 365
	// watchShare of the allowance used makes a bearing one to watch.
	watchShare = 0.85
	// planAhead is as many days as anyone plans: where the early date is later,
	// none is given.
	planAhead = 40 * 365
	// widest ratio of the late date to the early one, from the last reading,
	// that still counts as a date; and of what lies ahead to what was observed,
	// where a level of today or a promise of forty years is to hang on it.
	widest = 10
	// soonest is the least sense in measuring again, in days: a gauge sees
	// nothing new in less.
	soonest = 30
	// usualMeasuring is the interval in days where no policy gives one.
	usualMeasuring = 730
	// Chances of a limit being crossed unseen before the next measurement.
	riskAct, riskWatch = 0.05, 0.20
)

// forecast works out what is likely of one bearing.
type forecast struct {
	a     Assessment
	st    TrainState
	o     *Outlook
	segs  []wear.Segment
	today Date
	at    float64 // exposure, in units, at which the level is given
	span  float64 // exposure over which the readings tell of the rate
}

func (p *forecast) make() {
	o := p.o
	o.seen = p.lastSeen()
	p.at, p.span = o.Wear.Now(), observed(p.segs)
	now := math.Max(p.at, o.Exposure.Likely/o.Counter.PerUnit())
	o.Taught = p.span > 0 && now-p.at <= widest*p.span
	o.Known = o.Wear.Known() && (o.Taught || len(p.part().Readings) > 0)
	if o.Taught {
		p.at = now
	}
	p.rates()
	if o.Known {
		o.Level = wear.Level{Mean: o.Wear.LevelQuantile(p.at, 0.5), SD: o.Wear.LevelAt(p.at).SD}
		o.Used = used(o)
	}
	p.measureBy()
	p.measureSooner()
	if o.Known && o.Limit != nil {
		p.cross()
	}
	p.judge()
	o.Confidence = p.confidence()
	o.Sentence = p.sentence()
}

// unfit leaves out the forecast of readings, or a log, that do not fit together.
func (p *forecast) unfit(m Model) {
	o := p.o
	o.Wear, _ = wear.Filter(o.Prior, m.params(), nil)
	o.seen = p.lastSeen()
	p.measureBy()
	o.Confidence = "weak: what is logged does not fit together"
	o.Sentence = "What is logged does not fit together, so there is no forecast; measure by " + p.by(o.Measure) + "."
}

// part is the one in the bearing now.
func (p *forecast) part() Part { return p.o.Parts[len(p.o.Parts)-1] }

func (p *forecast) rates() {
	perYear := p.o.PerDay / p.o.Counter.PerUnit() * 365.25
	for i, q := range []float64{0.1, 0.5, 0.9} {
		p.o.PerYear[i] = p.o.Wear.RateQuantile(q) * perYear
	}
}

// used is the share of the allowance that is gone.
func used(o *Outlook) float64 {
	if o.Limit == nil {
		return 0
	}
	base := o.Bearing.Fitted.MM()
	if s := o.Parts[len(o.Parts)-1].Start; s != nil {
		base = s.Mean
	}
	limit := o.Limit.Size.MM()
	if base >= limit {
		base = 0
	}
	return math.Max(0, (o.Level.Mean-base)/(limit-base))
}

// lastSeen is the day of the last reading, or of the fitting, or of the first
// day in care.
func (p *forecast) lastSeen() Date {
	part := p.part()
	if n := len(part.Readings); n > 0 {
		return p.a.dayOf(part.Readings[n-1].At)
	}
	if d := p.a.dayOf(part.From); !part.From.IsZero() && d.After(p.a.Clock.InCare) {
		return d
	}
	return p.a.Clock.InCare
}

// day is when the exposure reaches h units.
func (p *forecast) day(h float64) Date {
	return p.a.dayAt(p.st, h*p.o.Counter.PerUnit()/p.st.Train.PerRunHour())
}

// cross finds when the limit is reached, seen from the last fact.
func (p *forecast) cross() {
	o := p.o
	from, limit := o.Wear.Now(), o.Limit.Size.MM()
	var days [3]Date
	for i, q := range []float64{0.1, 0.5, 0.9} {
		c := o.Wear.Crossing(limit, from, q)
		days[i] = p.today.Add(farAhead)
		if c.State != wear.Beyond {
			days[i] = p.day(c.H)
		}
	}
	early, late := days[0], days[2]
	whole := o.Taught && span(p.segs[len(p.segs)-1]) > 0
	o.Over = o.Wear.Exceed(limit, from, from) >= 0.5 || whole && o.Wear.Exceed(limit, p.at, from) >= 0.5
	far := early.Sub(p.today) > planAhead
	o.Beyond = far && o.Taught && p.span*o.Counter.PerUnit() >= planAhead/widest*24*p.st.Train.PerRunHour()
	o.Dated = !far && whole && late.Sub(p.today) < farAhead-1 && late.Sub(o.seen) <= widest*max(early.Sub(o.seen), 90)
	if o.Dated || o.Over {
		o.Early, o.Likely = days[0], days[1]
	}
	if o.Dated {
		o.Late = late
	}
}

// measuringPolicy is how often to measure a bearing; set tells whether the
// clock has a policy for it.
func (c Clock) measuringPolicy(train, bearing string) (p Policy, set bool) {
	if p, set = c.policy(Measuring, train, bearing); set {
		return p, true
	}
	return Policy{
		Task: Measuring, Days: usualMeasuring, Reason: "no interval is set",
		Source: "starting value, confirm; common practice, no source",
	}, false
}

// measureBy finds the day to measure again by policy.
func (p *forecast) measureBy() {
	o := p.o
	pol, _ := p.a.Clock.measuringPolicy(o.Train.Code, o.Bearing.Code)
	every := ""
	if pol.Days > 0 {
		o.Measure, every = o.seen.Add(pol.Days), everyWords(pol.Days)
	}
	if pol.RunHours > 0 {
		if d := p.a.runHoursAfter(o.seen, p.st, pol.RunHours); pol.Days == 0 || d.Before(o.Measure) {
			o.Measure, every = d, Thousands(pol.RunHours)+" run-hours"
		}
	}
	o.Why = fmt.Sprintf("%s after %s", every, o.seen.Words()) + inBrackets(pol.Reason)
}

// measureSooner brings the next measurement forward where the chance of
// crossing the limit unseen, or half the remaining life, says so.
func (p *forecast) measureSooner() {
	o := p.o
	if !o.Known || o.Limit == nil || len(p.part().Readings) == 0 {
		return
	}
	risk := riskAct
	if o.Bearing.Act == nil {
		risk = riskWatch
	}
	from, limit := o.Wear.Now(), o.Limit.Size.MM()
	sooner := func(h float64, why string) {
		if d := p.day(h); d.Before(o.Measure) {
			o.Measure, o.Why = d, why
		}
	}
	if c := o.Wear.Crossing(limit, from, risk); c.State != wear.Beyond {
		sooner(c.H, fmt.Sprintf("from then on the chance that it has passed %v unseen is over %.0f %%", o.Limit.Size, 100*risk))
	}
	if c := o.Wear.Crossing(limit, from, 0.5); c.State != wear.Beyond {
		sooner((from+c.H)/2, "half of its likely remaining life is gone by then")
	}
	least := o.seen.Add(soonest)
	if p.readOver() && least.Before(o.Measure) {
		o.Measure, o.Why = least, "its last reading is past the limit, and another must confirm it"
	}
	if o.Measure.Before(least) {
		o.Measure = least
	}
}

// judge puts the outlook into one word.
func (p *forecast) judge() {
	o := p.o
	if !o.Known {
		return
	}
	o.Condition = Sound
	watched := o.Bearing.Watch != nil && o.Wear.Exceed(o.Bearing.Watch.Size.MM(), p.at, p.at) >= 0.5
	near := o.Limit != nil && (o.Used >= watchShare || (o.Dated && o.Early.Sub(p.today) <= watchAhead))
	if watched || near || p.readOver() {
		o.Condition = Watch
	}
	if o.Over && o.Bearing.Act != nil {
		o.Condition = Act
	}
}

// readOver reports that the last reading is past the limit. It may be misread,
// but until another says so nobody should call the bearing sound.
func (p *forecast) readOver() bool {
	r := p.part().Readings
	return p.o.Limit != nil && len(r) > 0 && r[len(r)-1].Reading.Value >= p.o.Limit.Size
}

func (p *forecast) confidence() string {
	o, basis := p.o, p.basis()
	switch {
	case !o.Known || !o.Taught:
		return "weak: " + basis
	case o.Wear.PChange() > 0.5:
		return "weak: " + basis + ", and the rate has changed"
	case o.Limit == nil || o.Beyond:
		return "fair: " + basis
	case !o.Dated:
		return "weak: " + basis + " cannot carry a date"
	}
	if o.Over {
		return "firm: " + basis + ", over the limit more likely than not"
	}
	band := o.Late.Sub(o.Early)
	out := fmt.Sprintf("%s; 80 %% band of %s", basis, Days(band))
	if len(p.part().Readings) >= 4 && float64(band) <= 0.75*math.Max(float64(o.Likely.Sub(o.seen)), 365) {
		return "firm: " + out
	}
	return "fair: " + out
}

// basis says what the forecast rests on.
func (p *forecast) basis() string {
	part := p.part()
	n := len(part.Readings)
	switch {
	case n == 0 && part.Work != "":
		return "not measured since the work of " + p.a.dayOf(part.From).Words()
	case n == 0:
		return "never measured"
	case n == 1 && part.Start != nil:
		return "one reading since it was fitted"
	case n == 1:
		return "one reading"
	}
	span := p.a.dayOf(part.Readings[n-1].At).Sub(p.a.dayOf(part.Readings[0].At))
	if span == 0 {
		return fmt.Sprintf("%d readings on one day", n)
	}
	return fmt.Sprintf("%d readings over %s", n, Days(span))
}

// sentence says what the chart says.
func (p *forecast) sentence() string {
	o := p.o
	again := "measure again by " + p.by(o.Measure) + "."
	if !o.Known {
		return fmt.Sprintf("%s, so there is no forecast; measure by %s.", Capital(p.basis()), p.by(o.Measure))
	}
	level := fmt.Sprintf("now about %v", wear.FromMM(math.Round(o.Level.Mean*100)/100))
	if !o.Taught {
		level = fmt.Sprintf("%v on %s", p.part().Readings[len(p.part().Readings)-1].Reading.Value, o.seen.Words())
	}
	if o.Limit == nil {
		if o.Taught {
			level += fmt.Sprintf(", growing about %.3f mm a year", o.PerYear[1])
		}
		return fmt.Sprintf("%s; no limit is set; %s", Capital(level), again)
	}
	size := o.Limit.Size
	switch {
	case o.Over:
		return fmt.Sprintf("Probably past its limit of %v already (%s): measure again and plan the work now.", size, level)
	case p.readOver():
		return fmt.Sprintf("The last reading is past the limit of %v, but does not fit the others (%s); %s", size, level, again)
	case o.Beyond:
		return fmt.Sprintf("Not expected to reach %v within 40 years (%s); %s", size, level, again)
	case !o.Dated:
		return fmt.Sprintf("The readings cannot carry a date for %v yet (%s); %s", size, level, again)
	case !o.Early.After(p.today):
		return fmt.Sprintf("May have reached %v already, and is likely to by %s (%s); %s", size, o.Late.MonthWords(), level, again)
	}
	return fmt.Sprintf("Likely to reach %v between %s and %s (%s); %s", size, o.Early.MonthWords(), o.Late.MonthWords(), level, again)
}

// by prints a month ahead, and a day of this month or before as it is.
func (p *forecast) by(d Date) string {
	switch {
	case d.Before(p.today):
		return d.Words() + " (that day has passed)"
	case d.Sub(p.today) < 31:
		return d.Words()
	}
	return d.MonthWords()
}
