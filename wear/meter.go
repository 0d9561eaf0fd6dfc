package wear

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"
)

// meterReading is what an hour meter shows.
type meterReading struct {
	event           int
	at              time.Duration
	shows, turnover float64
	renewed         bool
}

// meterSpan is two readings of one meter between which it was not replaced.
type meterSpan struct{ from, to meterReading }

// meterLag is how many hours two readings may be apart from when they are said
// to have been taken, beside a thousandth of the time between (judgement, no
// source).
const meterLag = 0.5

// turns is how many times the meter may have turned over between two readings,
// from least to most; ok is false where none fits the time passed.
func (s meterSpan) turns() (least, most float64, ok bool) {
	elapsed := (s.to.at - s.from.at).Hours()
	rise := s.to.shows - s.from.shows
	room := elapsed*1.001 + meterLag - rise
	if !(s.to.turnover > 0) {
		return 0, 0, rise >= 0 && room >= 0
	}
	least = math.Max(0, math.Ceil(-rise/s.to.turnover))
	most = math.Floor(room / s.to.turnover)
	return least, most, most >= least
}

// run is what the meter says, given what the log alone does.
func (s meterSpan) run(log time.Duration) time.Duration {
	rise := s.to.shows - s.from.shows
	if least, most, _ := s.turns(); s.to.turnover > 0 {
		k := math.Round((log.Hours() - rise) / s.to.turnover)
		rise += s.to.turnover * min(max(k, least), most)
	}
	passed := s.to.at - s.from.at
	return time.Duration(min(max(0, rise), passed.Hours()) * float64(time.Hour))
}

// meterReadings follows the readings of a train's meter.
type meterReadings struct {
	base, odd *meterReading // the last one that fits, and one since that does not
	spans     []meterSpan
}

// take takes the next reading. One that shows more than the time passed is not
// believed, unless the next fits it and not the one before; with is the event
// that it does not fit.
func (c *meterReadings) take(m meterReading, at time.Time) (with int, err error) {
	fits := func(from *meterReading) bool {
		if from == nil {
			return false
		}
		_, _, ok := meterSpan{*from, m}.turns()
		return ok
	}
	switch {
	case !(m.shows >= 0) || math.IsInf(m.shows, 0) || m.turnover > 0 && m.shows >= m.turnover:
		return -1, fmt.Errorf("the hour meter shows %v at %s, which cannot be: read it again", m.shows, at.Format(stampAs))
	case c.base == nil || m.renewed:
	case fits(c.base):
		c.spans = append(c.spans, meterSpan{*c.base, m})
	case fits(c.odd):
		c.spans = append(c.spans, meterSpan{*c.odd, m})
	case m.shows < c.base.shows: // replaced
	default:
		c.odd = &m
		return c.base.event, fmt.Errorf("the hour meter shows %.1f h at %s, %.1f h more than at its reading before, but only %.1f h have passed: read it again, correct the one before, or say that it was replaced",
			m.shows, at.Format(stampAs), m.shows-c.base.shows, (m.at - c.base.at).Hours())
	}
	c.base, c.odd = &m, nil
	return -1, nil
}

// byMeter has the three figures say what the meter does, where it does.
func (r *Running) byMeter(spans []meterSpan) {
	if len(spans) == 0 {
		return
	}
	var gaps []gap
	var metered stretches
	for _, s := range spans {
		from, to := s.from.at, s.to.at
		run := s.run(r.likely.until(to) - r.likely.until(from))
		gaps = append(gaps, gap{from, to})
		metered = append(metered, shared(from, to, run, r.upper.within(from, to))...)
	}
	for _, s := range []*stretches{&r.lower, &r.likely, &r.upper} {
		all := append(s.without(gaps), metered...)
		slices.SortFunc(all, func(a, b stretch) int { return cmp.Compare(a.start, b.start) })
		*s = nil
		for _, x := range all {
			s.addRun(x.start, x.end, x.run)
		}
	}
}

// shared spreads running evenly over the spans in which a train may have gone
// and, where those hold less, over the rest of the time.
func shared(from, to, run time.Duration, may []gap) stretches {
	total := time.Duration(0)
	for _, s := range may {
		total += s.to - s.from
	}
	var out stretches
	spread := func(s gap, run, total time.Duration) {
		if s.to > s.from && total > 0 {
			part := time.Duration(float64(s.to-s.from) / float64(total) * float64(run))
			out = append(out, stretch{start: s.from, end: s.to, run: min(part, s.to-s.from)})
		}
	}
	rest, restRun := to-from-total, run-total
	if restRun <= 0 {
		for _, s := range may {
			spread(s, run, total)
		}
		return out
	}
	at := from
	for _, s := range append(may, gap{to, to}) {
		spread(gap{at, s.from}, restRun, rest)
		if s.to > s.from {
			out = append(out, stretch{start: s.from, end: s.to, run: s.to - s.from})
		}
		at = s.to
	}
	return out
}

// with is the stretches with spans put in, which are in order.
func (s stretches) with(spans []gap) stretches {
	if len(spans) == 0 {
		return s
	}
	all := make([]gap, 0, len(s)+len(spans))
	for _, x := range s {
		all = append(all, gap{x.start, x.end})
	}
	all = append(all, spans...)
	slices.SortFunc(all, func(a, b gap) int { return cmp.Compare(a.from, b.from) })
	var out stretches
	at := time.Duration(0)
	for _, x := range all {
		out.add(max(at, x.from), x.to)
		at = max(at, x.to)
	}
	return out
}
