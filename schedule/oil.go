package schedule

import (
	"math"
	"slices"
	"time"

	"endshake/wear"
)

// OilState is how the oil of one subject stands: of the points that one oiling
// policy is about.
type OilState struct {
	Policy  Policy
	Subject string // train or bearing code; empty: the whole clock
	About   string // in words
	Kind    OilKind
	Governs string // code of the point that is believed to want oil first; empty: none is described
	Since   Date   // last oiled, not merely topped up; zero: none is logged
	TopUps  int    // since then
	// Life is what is known of how long its oil lasts. The oiling now in place
	// is not among what was Seen, unless it has ended: what was found of it
	// stands in Good and Ended.
	Life wear.Life
	// Median is the middle of its life in years and Risk the chance, by now,
	// that it no longer does its work.
	Median, Risk float64
	// ByRisk is the day on which the chance reaches the policy's risk; zero: the
	// policy names none, or it is beyond two centuries.
	ByRisk Date
	// Good is when the oil now in place was last seen to do its work, Ended when
	// it was found not to; zero: it was not.
	Good, Ended Date
	// Factors say how the prior came about, one sentence each.
	Factors []string
	// Found is what was last found of it, and Residue; empty: nothing. Before is
	// what was found, on BeforeOn, of the oil that it took the place of, where
	// nothing was found since.
	Found    OilFound
	Residue  Residue
	Before   OilFound
	BeforeOn Date
	Looks    int // lives of its oil that somebody looked at

	fresh     float64         // years by which new oil comes to the policy's risk
	untaught  float64         // Life.Mu before the fleet taught anything
	told      bool            // its kind is recorded
	sightings []wear.Sighting // all, that of the oil now in place included
	missing   string          // what of it was never oiled, for a sentence
	last      Entry           // the oiling that Since is of
	lesson    OilLesson
	next      wear.LifePosterior // of the life of its oil
	asked     *Task              // the oiling that it asks for; nil: not worked out yet
	from      time.Time          // when the oil now in place was new, or is taken to have been
	goodAt    float64            // age in years at which it was last seen to do its work; 0: it was not
	drops     oilAmount
	foundAt   time.Time
	endedAs   OilFound // how it was found at Ended
	pastAs    OilFound // how the oil before was found, if past its work
	apart     string   // which places were gone to since, and which not, for a sentence
}

// good reports whether oil found so still does its work.
func (f OilFound) good() bool { return f == OilClean || f == OilDarkened }

// oilUnit is a place that must have been gone to for a subject to be oiled: a
// point of the clock's oil map or, where none is described, a train, a bearing
// or the clock.
type oilUnit struct {
	point          *OilPoint // nil: none is described
	train, bearing string
}

// covers reports whether an entry went to a place: one that names points went
// to those alone, one that names a bearing or a train to all on it.
func (e *Entry) covers(u oilUnit) bool {
	switch {
	case len(e.Points) > 0:
		return u.point != nil && slices.Contains(e.Points, u.point.Code)
	case e.Bearing != "":
		return e.Bearing == u.bearing
	}
	return e.Train == "" || e.Train == u.train
}

// unit is a point as a place.
func (c Clock) unit(p *OilPoint) oilUnit {
	u := oilUnit{point: p, train: p.Train, bearing: p.Bearing}
	if _, _, t, ok := c.Bearing(p.Bearing); ok && p.Bearing != "" {
		u.train = t.Code
	}
	return u
}

// oilUnits are the places that an oiling policy is about: the points that no
// other policy fits better, or where there is none, its trains.
func (c Clock) oilUnits(p Policy) []oilUnit {
	var out []oilUnit
	for i := range c.Care.Points {
		if u := c.unit(&c.Care.Points[i]); !u.point.Dry {
			if best, ok := c.policy(Oiling, u.train, u.bearing); ok && best == p {
				out = append(out, u)
			}
		}
	}
	if len(out) > 0 {
		return out
	}
	if _, _, t, ok := c.Bearing(p.Bearing); ok && p.Bearing != "" {
		return []oilUnit{{train: t.Code, bearing: p.Bearing}}
	}
	for _, t := range c.Trains {
		if p.Train == "" || p.Train == t.Code {
			out = append(out, oilUnit{train: t.Code})
		}
	}
	if len(out) == 0 {
		out = append(out, oilUnit{train: p.Train})
	}
	return out
}

// unitsAt are the places at which a bearing is oiled: itself, and each of its
// points.
func (c Clock) unitsAt(train, bearing string) []oilUnit {
	out := []oilUnit{{train: train, bearing: bearing}}
	for i := range c.Care.Points {
		if p := &c.Care.Points[i]; p.Bearing == bearing {
			out = append(out, c.unit(p))
		}
	}
	return out
}

// oilRecord is what the log holds of the oil of one subject.
type oilRecord struct {
	units   []oilUnit
	governs int // index of the unit that is believed to want oil first
	last    []int
	since   int      // index of the entry that the oil now in place is of; -1: none
	log     []*Entry // those of the clock that may bear on oil
	found   *Entry   // the newest that says how the oil was; nil: none does
	residue Residue
	topUps  int
	// Of the oil now in place: the ages in years at which it was last seen to do
	// its work, with no oil added before and at all, and was found not to; 0: it
	// was not.
	pure, good, bad float64
	goodAt, badAt   time.Time
	badAs           OilFound
	seen            []wear.Sighting // of oil before
	pastAs          OilFound        // the last of them, as found past its work
}

// yearHours turns hours into years.
const yearHours = 365.25 * 24

// read goes through the log.
func (r *oilRecord) read() {
	r.since, r.last = -1, make([]int, len(r.units))
	for i := range r.last {
		r.last[i] = -1
	}
	for i, e := range r.log {
		if !slices.ContainsFunc(r.units, e.covers) {
			continue
		}
		r.saw(e)
		switch {
		case e.Kind == Oiled && e.TopUp:
			r.topUps++
		case e.Kind != Inspected:
			r.renewed(i)
		}
	}
}

// renewed marks what an entry went to, and lets new oil count once it is in
// every place: of several the oldest counts.
func (r *oilRecord) renewed(i int) {
	oldest := i
	for k, u := range r.units {
		if r.log[i].covers(u) {
			r.last[k] = i
		}
		oldest = min(oldest, r.last[k])
	}
	if oldest <= r.since {
		return
	}
	if s, ok := r.sighting(); ok {
		r.seen, r.pastAs = append(r.seen, s), r.badAs
	}
	r.since, r.topUps = oldest, 0
	r.pure, r.good, r.bad, r.goodAt, r.badAt, r.badAs = 0, 0, 0, time.Time{}, time.Time{}, ""
}

// saw takes down how an entry found the oil. What is found on the day of an
// oiling is no age of it. Good oil somewhere else does not speak for the point
// that wants oil first, and where oil was added it does not speak for the old;
// oil that failed anywhere has failed.
func (r *oilRecord) saw(e *Entry) {
	if e.Residue != "" {
		r.residue = e.Residue
	}
	if e.OilFound == "" {
		return
	}
	r.found = e
	if r.since < 0 && !e.OilFound.good() { // of an age that nobody knows
		r.badAt, r.badAs = e.At, e.OilFound
	}
	if r.since < 0 || r.bad > 0 {
		return
	}
	age := e.At.Sub(r.log[r.since].At).Hours() / yearHours
	switch {
	case age < 1/365.25:
	case !e.OilFound.good():
		r.bad, r.badAt, r.badAs = age, e.At, e.OilFound
	case e.covers(r.units[r.governs]):
		r.good, r.goodAt = age, e.At
		if r.topUps == 0 {
			r.pure = age
		}
	}
}

// foundBefore reports whether what was found last is of the oil that the one now
// in place took the place of.
func (r *oilRecord) foundBefore() bool {
	return r.since >= 0 && !r.found.At.After(r.log[r.since].At)
}

// sighting is what was seen of the oil now in place; ok is false for nothing.
func (r *oilRecord) sighting() (s wear.Sighting, ok bool) {
	s = wear.Sighting{From: r.pure, To: math.Inf(1)}
	if r.bad > 0 {
		s.To = r.bad
	}
	return s, r.pure > 0 || r.bad > 0
}

// oils works out how the oil of a clock stands, in the order of its policies.
func oils(a *Assessment, m Model) []OilState {
	if !a.Clock.oiled() {
		return nil
	}
	if was := a.but(); was != nil && was.model == m {
		out := slices.Clone(was.Oils)
		for i := range out {
			out[i].chance(a.Now)
			if out[i].Policy.RunHours > 0 { // at the duty of late
				out[i].asked = nil
			}
		}
		return out
	}
	year := math.NaN()
	if c := a.Site.Climate; c != nil {
		year = wear.EquivalentTemperature(c.Months, c.Daily, wear.OilActivation)
	}
	var log []*Entry
	for i := range a.Entries {
		switch e := &a.Entries[i]; e.Kind {
		case Oiled, Cleaned, Inspected:
			log = append(log, e)
		}
	}
	var out []OilState
	for _, p := range a.Clock.Policies {
		if p.Task == Oiling {
			out = append(out, a.oil(p, log, year, m))
		}
	}
	return out
}

// oil works out how the oil of one policy's subject stands, from the entries
// that may bear on oil; year is what the temperatures of its site count as, in °C.
func (a *Assessment) oil(p Policy, log []*Entry, year float64, m Model) OilState {
	o := OilState{Policy: p}
	o.Subject, o.About = a.subjectOf(p)
	r := oilRecord{units: a.Clock.oilUnits(p), log: log}
	r.governs = governs(a.Clock.Care, r.units)
	r.read()
	o.Residue, o.TopUps = r.residue, r.topUps
	o.endedAs, o.pastAs, o.apart = r.badAs, r.pastAs, a.oiledApart(r)
	switch {
	case r.found == nil:
	case r.foundBefore():
		o.Before, o.BeforeOn = r.found.OilFound, a.dayOf(r.found.At)
	default:
		o.Found, o.foundAt = r.found.OilFound, r.found.At
	}
	o.believe(a.Clock.Care, r, year, m)
	o.drops = amountOf(r.units)
	from := a.inCare() // taken as oiled then where none is logged
	if r.since >= 0 {
		o.last = *r.log[r.since]
		o.Since, from = a.dayOf(o.last.At), o.last.At
	} else {
		o.missing = a.Clock.neverOiled(r)
	}
	o.Life.Seen, o.sightings = r.seen, r.seen
	if s, ok := r.sighting(); ok {
		o.sightings = append(slices.Clip(r.seen), s)
		if s.Ended() {
			o.Life.Seen = o.sightings
		}
	}
	o.Looks = len(o.sightings)
	o.foresee(a, r, from)
	return o
}

// foresee works out what is likely of the oil now in place.
func (o *OilState) foresee(a *Assessment, r oilRecord, from time.Time) {
	o.next, o.from, o.goodAt = o.Life.Posterior(), from, r.good
	o.Median, o.fresh = o.next.Median(), o.next.Quantile(o.Policy.Risk)
	if !r.badAt.IsZero() {
		o.Ended = a.dayOf(r.badAt)
	}
	o.chance(a.Now)
	if !o.Ended.IsZero() {
		return
	}
	if r.good > 0 {
		o.Good = a.dayOf(r.goodAt)
	}
	if o.Policy.Risk > 0 {
		if due := o.next.DueAt(o.Policy.Risk, r.good) * 365.25; due < farAhead {
			o.ByRisk = a.dayOf(from).Add(int(due + 1e-6)) // a whole number of days must not lose one to rounding
		}
	}
}

// chance works out by what chance it no longer does its work: all that hangs on
// the day.
func (o *OilState) chance(now time.Time) {
	o.Risk = 1
	if o.Ended.IsZero() {
		o.Risk = o.next.Risk(o.goodAt, now.Sub(o.from).Hours()/yearHours)
	}
}

// blackResidue is the day on which oil with metal in it was last found at a
// bearing since its last repair; zero: never. An entry that names neither
// points nor a bearing speaks for all on its train.
func (a *Assessment) blackResidue(bearing string) Date {
	_, _, t, _ := a.Clock.Bearing(bearing)
	at := a.Clock.unitsAt(t.Code, bearing)
	e := newest(a.Entries, func(e *Entry) bool {
		return e.Kind == Repaired && e.Bearing == bearing || e.Residue == ResidueBlack && slices.ContainsFunc(at, e.covers)
	})
	if e == nil || e.Residue != ResidueBlack {
		return Date{}
	}
	return a.dayOf(e.At)
}
