package schedule

import (
	"math"
	"slices"
	"sort"
	"time"

	"endshake/wear"
)

// usage is how much a bearing has been used, as its wear goes by it: its
// running, in units of exposure, worth more while it wears faster: with the oil
// old or gone, where the weighting by oil is in force, or after a change that is
// only thought of.
//
// A weight is on the wear. Of a part that wears as its exposure to the power b,
// a stretch of running from age x to age y under a weight w makes w (y^b - x^b)
// of it, and the weighted age is the b-th root of the sum. With b of 1 that is
// hours times weight.
type usage struct {
	running    wear.Running
	per, unit  float64   // of the counter: in an hour of running, and in a unit
	begin, now time.Time // what the running is known from and to
	from       time.Time // when it runs on: now, or the end of a rest
	perDay     float64   // run-hours a day from then on
	b          float64   // exponent of exposure, wear.Params.B
	fitted     []float64 // run-hours from which the age of each part counts; only where there are knots
	knots      []knot    // by run-hours; none: each hour counts as it is
}

// knot is where another weight or another part begins: at so many run-hours the
// weighted ones are so many.
type knot struct {
	run, worn float64
	weight    float64 // of wear from there on
	fitted    float64 // run-hours at which the part was fitted, and
	base      float64 // the weighted ones then
	wear      float64 // the weighted age here to the power b
}

// at is the weighted run-hours of plain ones beyond the knot.
func (k knot) at(run, b float64) float64 {
	if b == 1 {
		return k.worn + (run-k.run)*k.weight
	}
	return k.base + math.Pow(k.wear+k.weight*(math.Pow(run-k.fitted, b)-math.Pow(k.run-k.fitted, b)), 1/b)
}

// back is the plain run-hours of weighted ones beyond the knot.
func (k knot) back(worn, b float64) float64 {
	if b == 1 {
		return k.run + (worn-k.worn)/k.weight
	}
	return k.fitted + math.Pow((math.Pow(worn-k.base, b)-k.wear)/k.weight+math.Pow(k.run-k.fitted, b), 1/b)
}

// usageOf is the plain usage of a train's bearing, b being the exponent by which
// wear goes with exposure.
func usageOf(a *Assessment, st *TrainState, b float64) usage {
	return usage{
		running: st.Running, per: st.Train.PerRunHour(), unit: st.Train.Counter().PerUnit(),
		begin: a.inCare(), now: a.Now, from: a.runsOn(), perDay: st.PerDay, b: b,
	}
}

// fit takes in the parts of the bearing, before anything is weighed.
func (u *usage) fit(parts []Part) {
	u.fitted = u.fitted[:0]
	for i := range parts {
		u.fitted = append(u.fitted, u.hours(parts[i].begins(u.begin)))
	}
}

// begins is from when the age of a part counts: its fitting or, of one of
// unknown age, its first reading. Where there is neither it is the first day
// in care.
func (p *Part) begins(inCare time.Time) time.Time {
	switch {
	case !p.From.IsZero():
		return p.From
	case len(p.Readings) > 0:
		return p.Readings[0].At
	}
	return inCare
}

// weigh lets wear count by so much from so many run-hours on.
func (u *usage) weigh(run, weight float64) {
	if n := len(u.knots); n > 0 {
		for _, f := range u.fitted {
			if f > u.knots[n-1].run && f < run {
				u.knot(f, u.last())
			}
		}
	}
	u.knot(run, weight)
}

// knot adds a knot of the part then in place.
func (u *usage) knot(run, weight float64) {
	n := len(u.knots)
	if n > 0 && u.knots[n-1].run >= run {
		u.knots[n-1].weight = weight
		return
	}
	fitted := math.Inf(-1)
	for _, f := range u.fitted {
		if f <= run {
			fitted = math.Max(fitted, f)
		}
	}
	if math.IsInf(fitted, -1) { // no part's age counts yet
		fitted = run
		if n > 0 {
			fitted = u.knots[0].run
		}
	}
	k := knot{run: run, worn: u.worn(run), weight: weight, fitted: fitted, base: u.worn(fitted)}
	k.wear = math.Pow(k.worn-k.base, u.b)
	u.knots = append(slices.Clip(u.knots), k)
}

// last is the weight of running from now on.
func (u usage) last() float64 {
	if n := len(u.knots); n > 0 {
		return u.knots[n-1].weight
	}
	return 1
}

// worn is the weighted run-hours of plain ones. Before the first knot, and so
// before the log, each counts as it is.
func (u usage) worn(run float64) float64 {
	i := sort.Search(len(u.knots), func(i int) bool { return u.knots[i].run > run }) - 1
	if i < 0 {
		return run
	}
	return u.knots[i].at(run, u.b)
}

// run is the plain run-hours of weighted ones.
func (u usage) run(worn float64) float64 {
	i := sort.Search(len(u.knots), func(i int) bool { return u.knots[i].worn > worn }) - 1
	if i < 0 {
		return worn
	}
	return u.knots[i].back(worn, u.b)
}

// hours is the run-hours at an instant. Before the log it is taken as going all
// the time: missing data is never read as a stop.
func (u usage) hours(t time.Time) float64 {
	switch {
	case t.Before(u.begin):
		return -u.begin.Sub(t).Hours()
	case t.After(u.from):
		return u.running.At(u.now).Likely + t.Sub(u.from).Hours()/24*u.perDay
	case t.After(u.now):
		t = u.now
	}
	return u.running.At(t).Likely
}

// at is the exposure in units at an instant.
func (u usage) at(t time.Time) float64 { return u.worn(u.hours(t)) * u.per / u.unit }

// inAYear is the exposure in units after another year at the duty to expect.
func (u usage) inAYear() float64 {
	return u.worn(u.hours(u.now)+365.25*u.perDay) * u.per / u.unit
}

// Units is the exposure, in the units that Wear goes by, at an instant: by the
// log up to now, and at the duty to expect beyond. It differs from the
// exposure on the train's counter where running is weighted by the state of
// the oil.
func (o Outlook) Units(at time.Time) float64 { return o.use.at(at) }

// oilSpan is running with the oil in one state, in run-hours.
type oilSpan struct {
	from, to float64
	state    wear.OilState
}

// oilRun is how a bearing's oil was while it ran, as far as the log alone tells:
// while each oil before lasted, and since when and until when the one now in
// place is good, and aged.
type oilRun struct {
	past              []oilSpan
	fresh, good, aged time.Time
}

// oilSpans tells how a bearing's oil was while it ran, by its oiling policy:
// good until its oiling is due, aged until twice the interval, then dry
// (judgement, no source). Of a policy with no interval but a risk it is good
// until new oil comes to that, and aged until half of the lives are over. It is taken as freshly oiled on the first day in
// care, as oiling is due from there, and at a repair. ok is false without a
// policy.
func oilSpans(a *Assessment, st *TrainState, b wear.Bearing) (spans []oilSpan, ok bool) {
	r, ok := oilRunOf(a, st, b)
	if !ok {
		return nil, false
	}
	return r.spans(st, a.Now), true
}

func oilRunOf(a *Assessment, st *TrainState, b wear.Bearing) (r oilRun, ok bool) {
	p, ok := a.Clock.policy(Oiling, st.Train.Code, b.Code)
	if !ok {
		return r, false
	}
	renew := func(at time.Time) {
		if !r.fresh.IsZero() {
			r.past = r.spans(st, at)
		}
		r.fresh, r.good, r.aged = at, a.oilLasts(p, st, at, 1), a.oilLasts(p, st, at, 2)
	}
	renew(a.inCare())
	at := a.Clock.unitsAt(st.Train.Code, b.Code)
	for i := range a.Entries {
		e := &a.Entries[i]
		oiled := (e.Kind == Oiled && !e.TopUp || e.Kind == Cleaned) && slices.ContainsFunc(at, e.covers)
		if oiled || e.Kind == Repaired && e.Bearing == b.Code {
			renew(e.At)
		}
	}
	return r, true
}

// spans are all until an instant.
func (r oilRun) spans(st *TrainState, until time.Time) []oilSpan {
	out := append(make([]oilSpan, 0, len(r.past)+3), r.past...)
	x := st.Running.At(r.fresh).Likely
	for _, s := range [...]struct {
		state wear.OilState
		end   time.Time
	}{{wear.Good, r.good}, {wear.Aged, r.aged}, {wear.Dry, until}} {
		end := earlier(until, s.end)
		y := st.Running.At(end).Likely
		if y > x {
			out = append(out, oilSpan{x, y, s.state})
		}
		if x = y; !end.Before(until) {
			break
		}
	}
	return out
}

// oilLasts is when so many intervals of an oiling policy are over.
func (a *Assessment) oilLasts(p Policy, st *TrainState, at time.Time, intervals int) time.Time {
	if p.Days == 0 && p.RunHours == 0 {
		return at.Add(a.oilYears(p, intervals))
	}
	var end time.Time
	if p.Days > 0 {
		end = a.dayOf(at).Add(p.Days * intervals).Start(a.Zone)
	} else { // never
		end = at.AddDate(200, 0, 0)
	}
	if p.RunHours > 0 {
		if t := st.Running.When(st.Running.At(at).Likely+p.RunHours*float64(intervals), at); !t.IsZero() {
			end = earlier(end, t)
		}
	}
	return end
}

// oilYears is how long oil of a policy with a risk alone is good, and aged.
func (a *Assessment) oilYears(p Policy, intervals int) time.Duration {
	o, _ := a.oilOf(p)
	years := o.fresh
	if intervals > 1 {
		years = o.Median
	}
	return time.Duration(min(100, years) * yearHours * float64(time.Hour))
}

func earlier(a, b time.Time) time.Time {
	if b.Before(a) {
		return b
	}
	return a
}

// mixOf is the shares of running since so many run-hours in each state of the
// oil; ok is false where it has not run.
func mixOf(spans []oilSpan, since float64) (w OilWear, ok bool) {
	sum := 0.0
	for _, s := range spans {
		run := s.to - math.Max(s.from, since)
		if run <= 0 {
			continue
		}
		sum += run
		switch s.state {
		case wear.Good:
			w.Good += run
		case wear.Aged:
			w.Aged += run
		case wear.Dry:
			w.Dry += run
		}
	}
	if sum == 0 {
		return OilWear{}, false
	}
	w.Good, w.Aged, w.Dry = w.Good/sum, w.Aged/sum, w.Dry/sum
	return w, true
}

// coefficient is the mean wear coefficient of the mix; 0 for unknown materials.
func (w OilWear) coefficient(p wear.Pair) float64 {
	return wear.MixedCoefficient(p, w.Good, w.Aged, w.Dry)
}

// late is the share of wear that oil always good would have saved.
func (w OilWear) late(p wear.Pair) float64 {
	good, _, _ := wear.Coefficient(p, wear.Good)
	if k := w.coefficient(p); k > 0 {
		return 1 - good/k
	}
	return 0
}

// oiledEvery is the mix that comes of oiling every so many days an oil that
// lasts so many.
func oiledEvery(days, lasts int) OilWear {
	n, l := float64(days), float64(lasts)
	good := math.Min(n, l)
	aged := math.Min(n-good, l)
	return OilWear{Good: good / n, Aged: aged / n, Dry: (n - good - aged) / n}
}

// aheadBy is the mean coefficient of wear to expect ahead: by the mix of the
// last three years, or of all its running where it has not run in those, or the
// usual one where it has not run at all. It is 0 for unknown materials.
func aheadBy(a *Assessment, st *TrainState, b wear.Bearing, spans []oilSpan) float64 {
	for _, since := range []float64{st.Running.At(st.until(a.Now).AddDate(-recent, 0, 0)).Likely, 0} {
		if mix, ran := mixOf(spans, since); ran {
			return mix.coefficient(b.Pair)
		}
	}
	return wear.WeightedCoefficient(b.Pair, b.In)
}

// weighByOil weights a usage by the state of the oil.
func weighByOil(u *usage, a *Assessment, st *TrainState, b wear.Bearing, spans []oilSpan) {
	usual := wear.WeightedCoefficient(b.Pair, b.In)
	if len(spans) == 0 || !(usual > 0) {
		return
	}
	for _, s := range spans {
		u.weigh(s.from, wear.OilWeight(b.Pair, b.In, s.state))
	}
	u.weigh(st.RunHours.Likely, aheadBy(a, st, b, spans)/usual)
}

// oil fills in what the oil did to the present part and, where that is in
// force, weights the running by it.
func (o *Outlook) oil(a *Assessment, st *TrainState, b wear.Bearing, spans []oilSpan, inForce bool) {
	from := 0.0
	if p := o.Parts[len(o.Parts)-1]; !p.From.IsZero() {
		from = o.use.hours(p.From)
	}
	if mix, ran := mixOf(spans, from); ran {
		mix.Late, mix.InForce = mix.late(b.Pair), inForce
		o.Oil = &mix
	}
	if inForce {
		o.use.fit(o.Parts)
		weighByOil(&o.use, a, st, b, spans)
	}
}
