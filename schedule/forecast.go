package schedule

import (
	"fmt"
	"math"
	"time"

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
	// A rate that has changed is looked at again within so many days.
	afterChange = 365
	// A bearing whose oil was found with metal in it is looked at within so many.
	afterBlack = 90
	// doubtful is from which probability of a misread a reading is asked for
	// again; and of a misread or a change before it where it lies more than
	// oddFar deviations off what the readings before it foretell.
	doubtful  = 0.5
	oddFar    = 4
	someDoubt = 0.1
)

// forecast works out what is likely of one bearing.
type forecast struct {
	suppose
	a     *Assessment
	m     Model
	st    *TrainState
	o     *Outlook
	segs  []wear.Segment
	today Date
	at    float64       // exposure, in units, at which the level is given
	span  float64       // exposure over which the readings tell of the rate
	told  float64       // exposure up to which they tell, and no later than now
	half  wear.Crossing // when the limit is reached as likely as not
	memo  *memo         // to keep for the next answer
	asked int           // of what is unseen in it
	was   *memo         // of the same record; nil: there is none
}

func (p *forecast) make() {
	o := p.o
	if p.was != nil && p.a.reuse.clock {
		o.seen, p.span = p.was.seen, p.was.span
	} else {
		o.seen, p.span = p.lastSeen(), observed(p.segs)
	}
	p.memo.seen, p.memo.span = o.seen, p.span
	p.at = o.Wear.Now()
	now := math.Max(p.at, o.use.at(p.a.Now))
	p.told = math.Min(now, p.at+widest*p.span)
	o.Taught = p.span > 0 && now <= p.told
	o.Ahead = p.fitted || o.Taught && sized(p.segs)
	o.Known = o.Wear.Known() && (p.span > 0 || p.fitted || len(p.part().Readings) > 0)
	if o.Taught {
		p.at = now
	}
	if p.was != nil {
		p.memo.median = p.was.median
	} else if o.Wear.Known() {
		p.memo.median = o.Wear.LevelQuantile(o.Wear.Now(), 0.5)
	}
	if o.Known {
		o.Level = wear.Level{Mean: p.median(), SD: o.Wear.LevelAt(p.at).SD}
		o.Used = o.used(o.Level.Mean)
	}
	p.rates()
	o.engage()
	p.suspect()
	if o.Known && o.Limit != nil {
		p.cross()
	}
	p.measureBy()
	p.measureSooner()
	p.judge()
	o.Confidence = p.confidence()
	o.Sentence = p.sentence()
}

// suspect finds what the readings themselves cast doubt on: the last of them,
// or the rate. A misread in the last place looks like a change just before it,
// so then only the reading is named.
func (p *forecast) suspect() {
	o := p.o
	r := p.part().Readings
	if len(r) == 0 {
		return
	}
	if p.was != nil {
		p.memo.readAgain, p.memo.rest = p.was.readAgain, p.was.rest
	} else {
		p.memo.readAgain = r[len(r)-1].Doubt >= doubtful || p.odd()
	}
	o.ReadAgain = p.memo.readAgain
	i := o.Wear.ChangeAfter()
	if i < 0 || i >= len(r) || o.ReadAgain && i >= len(r)-2 {
		return
	}
	o.Changed = p.a.dayOf(r[i].At)
}

// odd reports that the last reading is far from what those before it foretell,
// so that it is misread or the rate changed just before it: neither may be the
// likelier, but together they are likelier than not. A change before others
// accounts for the last too, unless that is in some doubt even so.
func (p *forecast) odd() bool {
	r, after := p.part().Readings, p.o.Wear.ChangeAfter()
	last := r[len(r)-1]
	if last.Doubt+p.o.Wear.PChange() < doubtful || after >= 0 && after < len(r)-2 && last.Doubt < someDoubt {
		return false
	}
	w, _, err := p.withoutLast()
	if err != nil || !w.Known() {
		return false
	}
	want := w.Forecast(p.o.use.at(last.At), last.SD)
	return math.Abs(last.Value-want.Mean) > oddFar*want.SD
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

// rates gives the wear of the year to come.
func (p *forecast) rates() {
	scale := p.yearByUnit()
	if p.was != nil {
		p.memo.rates = p.was.rates
	} else {
		copy(p.memo.rates[:], p.o.Wear.RateQuantiles(0.1, 0.5, 0.9))
	}
	for i, rate := range p.memo.rates {
		p.o.PerYear[i] = rate * scale
	}
}

// yearByUnit is how many times as much is worn in the year from now on as in
// one unit from the last fact, which is what the rate tells: as the wear times
// of the two, or where wear quickens with the size as its means in the two.
func (p *forecast) yearByUnit() float64 {
	w, params := p.o.Wear, p.m.params()
	last, year := w.Now(), p.o.use.inAYear()
	now := math.Max(last, p.o.use.at(p.a.Now))
	year += now - p.o.use.at(p.a.Now)
	if params.Quicken != 0 && w.Known() {
		grown := func(from, to float64) float64 { return w.LevelAt(to).Mean - w.LevelAt(from).Mean }
		if s := grown(now, year) / grown(last, last+1); s > 0 && !math.IsInf(s, 0) {
			return s
		}
	}
	i := len(p.segs) - 1
	for i > 0 && p.segs[i].Carry > 0 {
		i--
	}
	worn := func(from, to float64) float64 {
		if params.B == 1 {
			return to - from
		}
		return math.Pow(to-p.segs[i].H0, params.B) - math.Pow(from-p.segs[i].H0, params.B)
	}
	return worn(now, year) / worn(last, last+1)
}

// used is the share of the allowance that is gone at a size in mm.
func (o *Outlook) used(size float64) float64 {
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
	return math.Max(0, (size-base)/(limit-base))
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
	return p.a.dayAt(p.st, p.runHours(h))
}

// runHours are those at which the exposure is h units.
func (p *forecast) runHours(h float64) float64 {
	return p.o.use.run(h * p.o.Counter.PerUnit() / p.st.Train.PerRunHour())
}

// cross finds when the limit is reached, seen from the last fact. What it may
// have reached while its readings told stays so when they have grown too old to
// tell more, or while its train stands: nobody has mended it by waiting.
func (p *forecast) cross() {
	o := p.o
	limit := o.Limit.Size.MM()
	crossings := p.crossings(limit)
	p.half = crossings[1]
	days := p.dates(crossings, p.a.runsOn())
	held := days
	if until := p.st.until(p.a.Now); until.Before(p.a.Now) && !days[0].After(p.today) {
		held = p.dates(crossings, until)
	}
	early, late := held[0], held[2]
	sized := p.span > 0 && sized(p.segs)
	o.Over = p.half.State == wear.Already || (p.fitted || sized) && p.half.State == wear.At && p.told >= p.half.H
	if o.Over && o.ReadAgain {
		o.Over = p.overWithout(limit)
	}
	far := early.Sub(p.today) > planAhead
	o.Beyond = far && o.Taught && p.span*o.Counter.PerUnit() >= planAhead/widest*24*p.st.Train.PerRunHour()
	carried := !far && late.Sub(p.today) < farAhead-1 && late.Sub(o.seen) <= widest*max(early.Sub(o.seen), 90)
	o.Dated = carried && o.Ahead
	o.held = carried && sized && crossings[0].H <= p.told
	if o.Dated || o.Over || o.held {
		o.Early, o.Likely, o.latest = days[0], days[1], held[1]
	}
	if o.Dated {
		o.Late = days[2]
	}
	if o.Over {
		p.passed(limit)
	}
}

// dates are the days of crossings, if its train runs on from an instant.
func (p *forecast) dates(crossings [3]wear.Crossing, from time.Time) (days [3]Date) {
	for i, c := range crossings {
		if c.State == wear.Beyond {
			days[i] = p.today.Add(farAhead)
		} else {
			days[i] = p.a.dayFrom(p.st, p.runHours(c.H), from)
		}
	}
	p.widen(&days, p.a.dayOf(from))
	return days
}

// widen sets the early and the late of three days further apart, by how much
// the running to come may differ from what it was of late: in quadrature, as
// parts of one in the logarithm of the days from when it runs on. The middle one
// stays, and nothing ahead comes to lie before the day after that.
func (p *forecast) widen(days *[3]Date, from Date) {
	middle := float64(days[1].Sub(from))
	if p.st.unfit || middle <= 0 || days[1].Sub(p.today) >= farAhead {
		return
	}
	spread := dutyOf(p.st)
	wider := func(d Date, z float64) Date {
		n := float64(d.Sub(from))
		far := spread.widen(n, middle, z)
		if n <= 0 || d.Sub(p.today) >= farAhead || far == n {
			return d
		}
		return from.Add(max(1, int(math.Round(math.Min(far, farAhead)))))
	}
	days[0], days[2] = wider(days[0], tenth), wider(days[2], -tenth)
}

// tenth is how many deviations from the middle of a normal law its 90 % point lies,
// twentieth its 95 % point.
const tenth, twentieth = 1.2815515655446004, 1.6448536269514722

// duty is how much more and how much less a train may run than it is expected to: as
// ln of a ratio, the 95 and the 5 % point.
type duty struct{ more, less float64 }

func dutyOf(st *TrainState) duty {
	ln := func(ratio float64) float64 {
		if !(ratio > 0) || math.IsInf(ratio, 0) {
			return 0
		}
		return math.Log(ratio)
	}
	return duty{max(0, ln(st.PerDayHigh/st.PerDay)), min(0, ln(st.PerDayLow/st.PerDay))}
}

// widen sets days further from the middle of what they are a point of, z deviations
// of a normal law to the early side of it (to the late one: below nothing).
func (d duty) widen(days, middle, z float64) float64 {
	part := z / twentieth * d.more
	if z < 0 {
		part = -z / twentieth * d.less
	}
	if math.Abs(part) < 1e-9 || !(days > 0 && middle > 0) {
		return days
	}
	return middle * math.Exp(math.Copysign(math.Hypot(part, math.Log(days/middle)), -part))
}

// Widened sets an instant at which a size is reached with some chance, z deviations
// of a normal law to the early side of an even one, further from the instant at which
// it is as likely as not, as Early and Late are: running may differ from what it was.
func (o Outlook) Widened(at, middle time.Time, z float64) time.Time {
	const day = 24 * time.Hour
	from := o.use.from
	days := at.Sub(from).Hours() / 24
	far := o.duty.widen(days, middle.Sub(from).Hours()/24, z)
	if far == days {
		return at
	}
	return from.Add(time.Duration(math.Min(far, farAhead) * float64(day)))
}

// over reports whether a limit is passed more likely than not: at the last fact
// or, where the rate can tell, now or when it last could.
func (p *forecast) over(w wear.Posterior, limit float64, whole bool) bool {
	from := w.Now()
	return w.Exceed(limit, from, from) >= 0.5 || whole && w.Exceed(limit, p.told, from) >= 0.5
}

// overWithout is over without the last reading, which does not fit: nobody
// should act on its strength alone.
func (p *forecast) overWithout(limit float64) bool {
	w, segs, err := p.withoutLast()
	return err == nil && w.Known() && p.over(w, limit, p.span > 0 && sized(segs))
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
	if p.was != nil && p.a.reuse.clock && p.was.byPolicy.why != "" && p.was.byPolicy.seen == o.seen {
		by := p.was.byPolicy
		p.memo.byPolicy, o.Measure, o.Why = by, by.by, by.why
		return
	}
	pol, _ := p.a.Clock.measuringPolicy(o.Train.Code, o.Bearing.Code)
	every := ""
	if pol.Days > 0 {
		o.Measure, every = o.seen.Add(pol.Days), spanOfDays(pol.Days)
	}
	if pol.RunHours > 0 {
		if d := p.a.runHoursAfter(o.seen, p.st, pol.RunHours); pol.Days == 0 || d.Before(o.Measure) {
			o.Measure, every = d, Thousands(pol.RunHours)+" run-hours"
		}
	}
	o.Why = every + " after " + o.seen.Words() + inBrackets(pol.Reason)
	if by := p.memo; by != nil && pol.RunHours == 0 {
		by.byPolicy.seen, by.byPolicy.by, by.byPolicy.why = o.seen, o.Measure, o.Why
	}
}

// measureSooner brings the next measurement forward where a doubt, the chance
// of crossing a limit unseen, half the remaining life, or metal in the oil, says
// so.
func (p *forecast) measureSooner() {
	o := p.o
	sooner := func(d Date, why string) {
		if d.Before(o.Measure) {
			o.Measure, o.Why = d, why
		}
	}
	if black := p.memo.black; black.After(o.seen) {
		sooner(black.Add(afterBlack), fmt.Sprintf("oil black with metal was found on %s, and it was not measured since", black.Words()))
	}
	r := p.part().Readings
	if !o.Known { // a part not yet read may yet wear as those before it did
		return
	}
	if o.past != nil && o.past.sure { // the work is what it wants
		o.Why = "its work at the limit includes it, and no reading is needed before"
		return
	}
	least := o.seen.Add(soonest)
	p.risk(func(h float64, why string) {
		o.own = why
		sooner(p.day(h), why)
	})
	if !o.Changed.IsZero() {
		sooner(o.seen.Add(afterChange), fmt.Sprintf("the rate changed after %s", o.Changed.Words()))
	}
	switch {
	case o.ReadAgain:
		last := r[len(r)-1]
		o.Measure = least
		o.Why = fmt.Sprintf("read again: the reading of %s, %v, does not fit the others", p.a.dayOf(last.At).Words(), last.Reading.Value)
	case o.Over:
		sooner(least, "it is probably past its limit, and another reading must confirm it")
	case p.readOver():
		sooner(least, "its last reading is past the limit, and another must confirm it")
	}
	if o.Measure.Before(least) {
		o.Measure = least
	}
}

// risk gives the exposure by which to look again where that is sooner than the
// day that policy sets ([wear.LookAgain]): a limit may be crossed unseen, or half
// of the likely remaining life is gone. A limit to watch that may be passed
// already, with one to act at beyond it, is no news.
func (p *forecast) risk(sooner func(h float64, why string)) {
	o, from := p.o, p.o.Wear.Now()
	unseen, left, most := math.Inf(1), math.Inf(1), o.use.at(o.Measure.Add(2).Start(p.a.Zone))-from
	words := func() string { return "" } // of the limit that may be passed first
	for _, l := range [...]struct {
		limit *wear.Limit
		name  string
		risk  float64
	}{{o.Act, "its limit", wear.UnseenAct}, {o.Stop, "the limit to stop at", wear.UnseenAct}, {o.Watch, "its watch limit", wear.UnseenWatch}} {
		if l.limit == nil {
			continue
		}
		c := p.crossing(l.limit.Size.MM(), l.risk)
		if c.State == wear.Beyond || c.State == wear.Already && l.limit != o.Limit {
			continue
		}
		if c.H-from < unseen {
			unseen = c.H - from
			words = func() string { return unseenWords(l.name, l.limit.Size, l.risk, c.State == wear.Already) }
		}
	}
	if o.Limit != nil && p.half.State != wear.Beyond {
		left = p.half.H - from
	}
	next := wear.LookAgain(unseen, left, most)
	if next >= most {
		return
	}
	if next < unseen {
		sooner(from+next, "half of its likely remaining life is gone by then")
		return
	}
	sooner(from+next, words())
}

// unseenWords say why to look again where a limit may be passed unseen.
func unseenWords(name string, size wear.Length, risk float64, already bool) string {
	words := "the chance that it has passed " + name + " of " + size.String()
	if already {
		return words + " is over " + percent(risk)
	}
	return "from then on " + words + " unseen is over " + percent(risk)
}

// judge puts the outlook into one word.
func (p *forecast) judge() {
	o := p.o
	if !o.Known {
		return
	}
	o.Condition = Sound
	watched := o.Watch != nil && p.reached(o.Watch.Size.MM())
	share := o.Used
	if !o.Taught && o.Limit != nil {
		share = o.used(p.medianTold())
	}
	near := o.Limit != nil && (share >= watchShare || ((o.Dated || o.held) && o.Early.Sub(p.today) <= watchAhead))
	if watched || near || o.ReadAgain || p.readOver() {
		o.Condition = Watch
	}
	if o.Over && o.Limit != o.Watch {
		o.Condition = Act
	}
}

// readOver reports that the last reading is past the limit. It may be misread,
// but until another says so nobody should call the bearing sound.
func (p *forecast) readOver() bool {
	return p.o.readAbove()
}
