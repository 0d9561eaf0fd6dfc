package schedule

import (
	"math"
	"slices"
	"time"

	"endshake/wear"
)

// Figures behind a clock's rate (judgement, no source, where none is named).
const (
	// readingNoise is the deviation in seconds of an error read by ear or eye
	// (1 to 5 s, common practice, no source).
	readingNoise = 2.0
	// No rate is told that is less sure than this deviation in s/day: two errors
	// read to readingNoise must lie 14 hours apart. Minutes apart they tell of the
	// reading alone.
	leastSureRate = 5.0
	// A rate taken over from an earlier stretch is as sure as that, but for what
	// a steel rod makes of a degree, and a quarter of what a regulation should
	// bring: published and computed effects of one small weight differ by as much.
	carriedSD, carriedShare = .5, .25
	// A rate wanders with the seasons and the oil: by so much, in s/day, as long
	// as the clock itself has not shown otherwise, which counts like so many of
	// its own four-week pieces of the last years.
	usualWander, wanderCounts, wanderDays = .2, 3.0, 3 * 365.0
	// Where the errors of a stretch lie on no line, by so many times their noise,
	// its rate has changed in it: then the last weeks alone say what it is now.
	bentRate, lateDays, lateErrors = 1.25, 56.0, 4
	// withinSetting is how far ahead, in days, a setting is foretold.
	withinSetting = 730.0
	// earlyRisk is the chance of being beyond the tolerance from which a clock
	// may be set.
	earlyRisk = .05
)

// Timekeeping is how well a clock keeps time. Rates are in seconds a day, +
// gaining; errors in seconds, + fast. A good rate is a steady one: Rate and
// Error are apart.
type Timekeeping struct {
	// Stretches lie between settings, regulations and stops, oldest first; the
	// last is the present one. One of no errors and no length is left out.
	Stretches []Stretch
	Errors    []ErrorSeen
	// Rate of the present stretch, or of its last weeks where it changed in it,
	// with its deviation; Known is false where nothing tells. Give is half of the interval that holds it 19 times in 20.
	Known          bool
	Rate, SD, Give float64
	// Wander is by how much its rate differs from month to month: the least is
	// the steadiest.
	Wander float64
	// Carried says in words where a rate comes from that the present stretch
	// does not show itself; empty: it does.
	Carried string
	// Error now, as far as the rate tells, and its deviation; meaningless unless
	// ErrorKnown: an error was seen since the hands were last moved, and it goes
	// as far as the log tells.
	ErrorKnown     bool
	Error, ErrorSD float64
	// Tolerance is what the clock is held to; 0: none.
	Tolerance float64
	// Reached is the day on which the error reaches it as likely as not, and
	// Early the day on which the chance is 5 %. Zero: not within two years, or
	// the errors cannot carry it.
	Reached, Early Date
	Regulations    []Regulation // oldest first
	// PerDegree and PerHectopascal are how the rate goes with temperature and
	// air pressure; nil: the data do not carry them.
	PerDegree, PerHectopascal *Coefficient
	Sentence                  string
	// Signs are early signs of old oil or of wear.
	Signs []Sign

	seen  int         // errors that Rate rests on
	since time.Time   // first of them
	last  time.Time   // last error of the present stretch
	past  bool        // beyond the tolerance when last seen
	close bool        // the errors of the present stretch lie too near one another in time to tell a rate
	read  *timekeeper // all that the log tells, whatever the day
}

// Stretch is a time in which nobody touched the clock's rate or hands.
type Stretch struct {
	From, To time.Time
	Errors   int
	Rate, SD float64 // SD of 0: the errors tell no rate, and Rate means nothing
	Celsius  *float64
}

// ErrorSeen is one error as found or left.
type ErrorSeen struct {
	At      time.Time
	Seconds float64 // without a change of time for which the hands were not moved yet
	Left    bool    // as left after setting
	Aside   bool    // does not fit the others of its stretch, and counts for nothing
	Entry   string
}

// Coefficient is a slope with its deviation.
type Coefficient struct {
	Value, SD float64
	Stretches int // of four weeks or more, or as long as nobody touched it
}

// timekeeping works out how well a clock keeps time.
func timekeeping(a *Assessment) Timekeeping {
	var read *timekeeper
	if was := a.but(); was != nil && (a.sameLog() || was.Time.read.hands.still.After(a.LastEntry)) {
		read = was.Time.read
	}
	if read == nil {
		read = readTime(a)
	}
	k := *read
	k.a, k.t.read = a, read
	k.t.Stretches = slices.Clone(k.t.Stretches)
	k.t.Stretches[len(k.t.Stretches)-1].To = a.Now
	k.present()
	k.signs()
	k.t.Sentence = k.sentence()
	return k.t
}

// readTime takes down what the log tells of a clock's rate, whatever the day.
func readTime(a *Assessment) *timekeeper {
	k := &timekeeper{a: a, begin: a.inCare(), cleaned: math.Inf(-1)}
	if tol := a.Clock.Care.Tolerance; tol != nil {
		k.t.Tolerance = tol.Seconds
	}
	k.spans = append(k.spans, span{from: k.begin})
	k.room()
	for i := range a.Entries { // by place: an entry is large
		k.read(&a.Entries[i])
	}
	k.close(time.Time{})
	k.t.Stretches = make([]Stretch, 0, len(k.spans))
	for i := range k.spans {
		k.fit(&k.spans[i], i == len(k.spans)-1)
	}
	k.brought()
	k.influences()
	k.rated()
	k.rateSaid, k.asideSaid = k.t.rateWords(), k.asideWords()
	k.a = nil // or each answer would hold the one before it
	return k
}

// timekeeper goes through a log once. What it reads is kept as columns; days
// count from the first day in care.
type timekeeper struct {
	a     *Assessment
	t     Timekeeping
	vague bool // its rate gives no day
	begin time.Time
	// Errors by stretch: one that ends a stretch and begins the next without the
	// hands being moved is in both.
	days, secs []float64
	of         []int // place in t.Errors
	spans      []span
	hands      hands
	// What else was seen.
	celsius, pressure, arcs, efforts, weights []value
	cleaned                                   float64  // day on which it was last cleaned
	step                                      struct { // of the rate, by all regulations so far
		expected float64
		unknown  int // of how many nobody can tell what they bring
	}
	// Of the present stretch: how it goes on from its last error, the place of
	// that, -1 where either is not known, and what is said of the rate and of
	// errors set aside.
	drift               wear.Drift
	at                  int
	found               int // the place of its last error; -1: it has none
	rateSaid, asideSaid string
}

// room makes room for all errors at once: growing little by little would cost
// more than all the rest.
func (k *timekeeper) room() {
	n, cuts := 0, 1
	for i := range k.a.Entries {
		e := &k.a.Entries[i]
		if e.ErrorFound != nil {
			n++
		}
		if e.ErrorLeft != nil || e.Kind == Regulated {
			n, cuts = n+1, cuts+1
		}
	}
	if n > 0 {
		k.t.Errors = make([]ErrorSeen, 0, n)
		k.days, k.secs, k.of = make([]float64, 0, n), make([]float64, 0, n), make([]int, 0, n)
		k.spans = append(make([]span, 0, cuts+2*n/50), k.spans...)
	}
}

// value is one thing seen on a day.
type value struct {
	day, v float64
	train  string
}

// span is a stretch with its errors [lo, hi).
type span struct {
	lo, hi   int
	from, to time.Time
	regs     int     // regulations before it
	expected float64 // rate that those should have brought
	unknown  int
	celsius  float64 // sum
	readings int     // of temperature
	rate     wear.Rate
	ok       bool
	pieces   []piece // of all of it
}

func (k *timekeeper) day(at time.Time) float64 {
	return float64(at.Sub(k.begin)) / (24 * float64(time.Hour))
}

// spanOf is so many days as a duration.
func spanOf(days float64) time.Duration { return time.Duration(days * 24 * float64(time.Hour)) }

// read takes in one entry.
func (k *timekeeper) read(e *Entry) {
	k.pass(e.At)
	k.around(e)
	if e.Kind == Cleaned && e.Train == "" {
		k.cleaned = k.day(e.At)
	}
	if e.ErrorFound != nil {
		k.see(e, *e.ErrorFound, false)
	}
	if !k.cuts(e) {
		return
	}
	k.close(e.At)
	if e.Kind == Regulated {
		k.regulate(e)
	}
	k.spans = append(k.spans, span{lo: len(k.days), from: e.At, regs: len(k.t.Regulations), expected: k.step.expected, unknown: k.step.unknown})
	switch {
	case e.ErrorLeft != nil:
		k.see(e, *e.ErrorLeft, true)
	case e.Kind == Regulated && e.ErrorFound != nil && plainError(*e.ErrorFound): // the hands stayed as they were
		of := len(k.t.Errors) - 1
		k.add(e.At, k.t.Errors[of].Seconds, of)
	}
	k.moves(e)
}

// cuts reports whether an entry ends a stretch.
func (k *timekeeper) cuts(e *Entry) bool {
	switch e.Kind {
	case Set, Regulated:
		return true
	case Stopped, Started:
		if e.Train == "" {
			return true
		}
		t, ok := k.a.Clock.Train(e.Train)
		return ok && k.a.Clock.speaks(t)
	}
	return e.ErrorLeft != nil || !e.Change.IsZero()
}

// plainError reports whether an error can be one.
func plainError(v float64) bool { return math.Abs(v) <= 12*3600 }

// see takes in one error. Where the zone's time changed since the last and the
// clock is not wrong by it, the hands were moved in between, whether that is
// logged or not.
func (k *timekeeper) see(e *Entry, seconds float64, left bool) {
	if !plainError(seconds) {
		return
	}
	since := k.hands.was.at
	if k.hands.off {
		since = k.t.Errors[len(k.t.Errors)-1].At
	}
	seconds, moved := k.whole(e, seconds, left)
	if s := &k.spans[len(k.spans)-1]; moved && s.lo < len(k.days) {
		k.close(since)
		k.spans = append(k.spans, span{lo: len(k.days), from: since, regs: s.regs, expected: s.expected, unknown: s.unknown})
	}
	k.t.Errors = append(k.t.Errors, ErrorSeen{At: e.At, Seconds: seconds, Left: left, Entry: e.ID})
	k.add(e.At, seconds, len(k.t.Errors)-1)
}

func (k *timekeeper) add(at time.Time, seconds float64, of int) {
	k.days, k.secs, k.of = append(k.days, k.day(at)), append(k.secs, seconds), append(k.of, of)
}

// around takes in what else an entry shows.
func (k *timekeeper) around(e *Entry) {
	if e.Celsius != nil && e.Kind != Measured {
		s := &k.spans[len(k.spans)-1]
		s.celsius, s.readings = s.celsius+*e.Celsius, s.readings+1
		k.celsius = append(k.celsius, value{k.day(e.At), *e.Celsius, ""})
	}
	if e.Pressure != nil {
		k.pressure = append(k.pressure, value{k.day(e.At), *e.Pressure, ""})
	}
	if e.Arc != nil {
		k.arcs = append(k.arcs, value{k.day(e.At), *e.Arc, ""})
	}
	if e.Weight != nil {
		k.weights = append(k.weights, value{k.day(e.At), *e.Weight, e.Train})
	}
	if e.Corrector != nil {
		k.efforts = append(k.efforts, value{k.day(e.At), math.Abs(*e.Corrector), ""})
	}
}

// close ends the present stretch.
func (k *timekeeper) close(at time.Time) {
	s := &k.spans[len(k.spans)-1]
	s.hi, s.to = len(k.days), at
}

// fit works out a stretch's rate, and sets aside what does not fit.
func (k *timekeeper) fit(s *span, present bool) {
	st := Stretch{From: s.from, To: s.to, Errors: s.hi - s.lo}
	if s.rate, s.ok = wear.FitRate(k.days[s.lo:s.hi], k.secs[s.lo:s.hi], readingNoise); s.ok && s.rate.SD > leastSureRate || !s.ok && st.Errors > 1 && k.days[s.hi-1]-k.days[s.lo] < 1 {
		s.ok, k.t.close = false, present
	}
	if s.ok {
		st.Rate, st.SD = s.rate.PerDay, s.rate.SD
		for _, i := range s.rate.Aside {
			k.t.Errors[k.of[s.lo+i]].Aside = true
		}
		s.pieces = k.cut(s, s.lo)
	}
	if s.readings > 0 {
		mean := s.celsius / float64(s.readings)
		st.Celsius = &mean
	}
	if present || st.Errors > 0 || st.To.After(st.From) {
		k.t.Stretches = append(k.t.Stretches, st)
	}
}

// Bands are the shares of the errors found since an instant that lie below each
// of some rising bounds in seconds, but not below the one before; the last is of
// those beyond all. So is a clock's year reported by Beckett (1903, p. 264).
// Errors as left, and those set aside, do not count; n is how many do.
func Bands(errors []ErrorSeen, since time.Time, bounds ...float64) (shares []float64, n int) {
	shares = make([]float64, len(bounds)+1)
	for _, e := range errors {
		if e.Left || e.Aside || e.At.Before(since) {
			continue
		}
		i, _ := slices.BinarySearchFunc(bounds, math.Abs(e.Seconds), func(bound, v float64) int {
			if bound <= v {
				return -1
			}
			return 1
		})
		shares[i]++
		n++
	}
	for i := range shares {
		shares[i] /= float64(max(1, n))
	}
	return shares, n
}

// settingTasks ask for the clock to be set or regulated before its error
// reaches what it is held to.
func settingTasks(a *Assessment) []Task {
	k := a.Time
	if k.Early.IsZero() || a.Clock.Care.Tolerance == nil {
		return nil
	}
	w := usual[Setting]
	t := Task{Kind: Setting, Source: a.Clock.Care.Tolerance.Source, Reason: k.Sentence, Confidence: k.confidence(a.dayOf), Evidence: k.lastWords(a.dayOf)}
	switch {
	case k.past: // found so, and left so
		t.From, t.Due, t.Latest = k.Reached, k.Reached, k.Reached.Add(w.grace)
	case !k.Reached.IsZero():
		t.From, t.Due, t.Latest = k.Early, k.Early.Add(k.Reached.Sub(k.Early)/2), k.Reached
	default: // no likely date: another error by then would tell
		t.From, t.Due, t.Latest = k.Early.Add(-w.lead), k.Early, k.Early.Add(w.grace)
	}
	return []Task{t}
}

// confidence says how sure the rate is, and why.
func (t Timekeeping) confidence(day func(time.Time) Date) string {
	basis := Count(t.seen, "error", "errors") + " over " + Days(day(t.last).Sub(day(t.since)))
	switch {
	case t.past && !t.Known:
		return "firm: found so on " + day(t.last).Words()
	case t.Carried != "":
		return "weak: the rate is taken over, " + t.Carried
	case t.Reached.IsZero():
		return "weak: " + basis + " cannot carry a likely date"
	case t.seen >= 4:
		return "firm: " + basis
	}
	return "fair: " + basis
}
