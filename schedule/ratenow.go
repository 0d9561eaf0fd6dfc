package schedule

import (
	"math"
	"sort"

	"endshake/wear"
)

// rated is what the log tells of the rate of the present stretch, whatever the day.
func (k *timekeeper) rated() {
	k.at, k.found = -1, -1
	now := k.ofLate()
	d, last, ok := k.lastSeen(&now)
	if ok {
		k.found = last
	}
	if now.ok {
		k.t.Known, k.t.Rate, k.t.SD, k.t.Give = true, now.rate.PerDay, now.rate.SD, now.rate.Within(.95)
		k.t.seen, k.t.since = now.rate.N, k.t.Errors[k.of[now.lo]].At
	}
	if rate, sd, words := k.carried(&now); words != "" && (!now.ok || sd < now.rate.SD) {
		k.t.Known, k.t.Rate, k.t.SD, k.t.Give, k.t.Carried = true, rate, sd, normal95*sd, words
		d = wear.Drift{Level: d.Level, LevelSD: readingNoise, Rate: rate, RateSD: sd}
		if ok { // the error as it was read last
			d.Level = k.secs[last]
		}
	}
	if !ok || !k.t.Known {
		return
	}
	k.t.Wander = k.wander(k.days[last])
	if k.t.Carried == "" { // what is carried over allows for it
		d.RateSD = math.Hypot(d.RateSD, k.t.Wander)
	}
	k.drift, k.at = d, last
}

// present is the error now, and when it reaches the tolerance.
func (k *timekeeper) present() {
	stands := k.a.standsWords() != ""
	if stands && !k.a.ProbablyStopped() { // by an entry; what has only run down by its log is to be set all the same
		return
	}
	if k.at < 0 {
		k.beyond()
		return
	}
	k.t.last = k.t.Errors[k.of[k.at]].At
	on := k.day(k.a.Now) - k.days[k.at]
	if k.t.ErrorKnown = !stands; k.t.ErrorKnown {
		k.t.Error, k.t.ErrorSD = k.drift.At(max(0, on))
	}
	k.reach(k.drift, max(0, on)+withinSetting)
	if k.vague = !k.t.Early.IsZero() && k.t.undatable(); k.vague {
		k.t.Early, k.t.Reached = Date{}, Date{}
	}
}

// beyond takes in that a clock whose rate is not known was found beyond what it is
// held to: it is to be set, whatever its rate.
func (k *timekeeper) beyond() {
	if k.found < 0 || !(k.t.Tolerance > 0) || math.Abs(k.secs[k.found]) < k.t.Tolerance {
		return
	}
	k.t.last = k.t.Errors[k.of[k.found]].At
	on := k.a.dayOf(k.t.last)
	k.t.Early, k.t.Reached, k.t.past = on, on, true
}

// ofLate is the present stretch, or the last weeks of one that is bent.
func (k *timekeeper) ofLate() span {
	s := k.spans[len(k.spans)-1]
	if !s.ok || s.rate.Scatter <= bentRate*readingNoise {
		return s
	}
	short := s
	short.lo += sort.SearchFloat64s(k.days[s.lo:s.hi], k.days[s.hi-1]-lateDays)
	if short.hi-short.lo < lateErrors {
		return s
	}
	if short.rate, short.ok = wear.FitRate(k.days[short.lo:s.hi], k.secs[short.lo:s.hi], readingNoise); !short.ok || short.rate.SD > leastSureRate {
		return s
	}
	return short
}

// wander is by how much the rate differs from piece to piece of its stretches,
// beyond what reading the errors makes of it, between regulations, in the years
// until a day: that of the last error, so that waiting changes nothing.
func (k *timekeeper) wander(until float64) float64 {
	sum, free := wanderCounts*usualWander*usualWander, wanderCounts
	var n, mean, m2, noise float64 // of the pieces between two regulations
	regs := -1
	end := func() {
		if n > 1 {
			sum, free = sum+max(0, m2-noise*(n-1)/n), free+n-1
		}
		n, mean, m2, noise = 0, 0, 0, 0
	}
	for _, p := range k.pieces(until - wanderDays) {
		if p.to-p.from < pieceDays {
			continue // too short to tell wandering from reading
		}
		if p.regs != regs {
			end()
			regs = p.regs
		}
		n++
		off := p.rate.PerDay - mean
		mean += off / n
		m2, noise = m2+off*(p.rate.PerDay-mean), noise+p.rate.SD*p.rate.SD
	}
	end()
	return math.Sqrt(sum / free)
}

// normal95 is the normal quantile of a two-sided interval of 95 %.
const normal95 = 1.959963984540054

// lastSeen is the last error of a stretch that was not set aside, and where
// things stood then.
func (k *timekeeper) lastSeen(s *span) (d wear.Drift, at int, ok bool) {
	for i := s.hi - 1; i >= s.lo; i-- {
		if k.t.Errors[k.of[i]].Aside {
			continue
		}
		if s.ok {
			d = s.rate.At(k.days[i])
		}
		return d, i, true
	}
	return d, 0, false
}

// carried is the rate that an earlier stretch showed, moved by what was
// regulated since, with words that say so; none where nothing tells.
func (k *timekeeper) carried(now *span) (rate, sd float64, words string) {
	for i := len(k.spans) - 2; i >= 0; i-- {
		s := &k.spans[i]
		if s.unknown != now.unknown {
			return 0, 0, "" // regulated by nobody knows how much
		}
		if !s.ok {
			continue
		}
		moved := now.expected - s.expected
		rate, sd = s.rate.PerDay+moved, math.Sqrt(s.rate.SD*s.rate.SD+carriedSD*carriedSD+carriedShare*carriedShare*moved*moved)
		words = "as it went before " + k.a.dayOf(s.to).Words()
		if s.regs != now.regs {
			words += " and with what the regulation since should bring"
		}
		return rate, sd, words
	}
	return 0, 0, ""
}

// reach works out when the error reaches the tolerance, counted from when it
// was last seen. A band of dates wider than 10:1, from 5 % to 95 %, gives no
// likely date.
func (k *timekeeper) reach(d wear.Drift, most float64) {
	tol := k.t.Tolerance
	early, ok := d.Reaches(tol, earlyRisk, most)
	if !ok {
		return
	}
	on := func(days float64) Date { return k.a.dayOf(k.t.last.Add(spanOf(days))) }
	k.t.Early = on(early)
	if _, ok := d.Reaches(tol, 1-earlyRisk, widest*max(early, 7)); !ok {
		return
	}
	if likely, ok := d.Reaches(tol, .5, most); ok {
		k.t.Reached, k.t.past = on(likely), likely == 0
	}
}

// aWeek is over how many days a rate must be known to within the tolerance for a
// day to be given from it (judgement, no source).
const aWeek = 7.0

// undatable reports that the days only say how little is known of the rate, which
// may as well be nothing. An error found beyond the tolerance needs no rate.
func (t *Timekeeping) undatable() bool {
	return !t.past && t.Give*aWeek > t.Tolerance && math.Abs(t.Rate) < t.Give
}
