package schedule

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"endshake/wear"
)

// sureOver is from which chance that a bearing is past its limit that is said
// without a "probably" (judgement, no source).
const sureOver = .95

// past is how a bearing stands that is past its limit, by its readings.
type past struct {
	// sure: its readings, two of them at least, leave no doubt, so that none more
	// would decide anything.
	sure   bool
	excess float64 // share of the limit by which it is over
	since  Date    // about when it passed it; zero: before it was ever read
	// above is the first reading over the limit; zero: none is, only the rate says so.
	above Date
}

// WithWork reports that a bearing is past its limit beyond doubt: it is measured
// with the work that it wants, and not before.
func (o *Outlook) WithWork() bool { return o.past != nil && o.past.sure }

// passed finds since when a bearing is past its limit. Its dates are of the log
// alone: neither waiting nor measuring it again mends it. They lie after the last
// reading that was well below the limit, and at the first above it at the latest.
func (p *forecast) passed(limit float64) {
	o, r := p.o, p.part().Readings
	w := o.Wear
	o.past = &past{excess: math.Max(0, w.LevelQuantile(w.Now(), 0.5)/limit-1)}
	found := p.foundOver(limit)
	o.Early, o.Likely, o.latest = earliest(o.Early, found), earliest(o.Likely, found), earliest(o.latest, found)
	below := -1
	for i := range r {
		if r[i].Doubt < doubtful && r[i].Value+r[i].SD < limit {
			below = i
		}
	}
	above := slices.IndexFunc(r[below+1:], func(x Point) bool { return x.Doubt < doubtful && x.Value >= limit })
	if above >= 0 {
		above += below + 1
		o.past.above = p.a.dayOf(r[above].At)
		confirmed := slices.ContainsFunc(r[above+1:], func(x Point) bool { return x.Doubt < doubtful && x.Value >= limit })
		o.past.sure = confirmed && !o.ReadAgain && w.Exceed(limit, w.Now(), w.Now()) >= sureOver
	}
	h, size, known := 0.0, 0.0, true
	switch start := p.part().Start; {
	case below >= 0:
		h, size = o.use.at(r[below].At), r[below].Value
	case start != nil && start.Mean < limit:
		h, size = o.use.at(p.part().From), start.Mean
	default:
		known = false
	}
	switch {
	case known && above >= 0: // as if it wore evenly between the two
		at := o.use.at(r[above].At)
		o.past.since = p.day(h + (at-h)*math.Min(1, (limit-size)/math.Max(r[above].Value-size, 1e-9)))
	case known:
		o.past.since = latestDay(o.Likely, p.day(h))
	case above >= 0:
		o.Early = o.past.above
	default:
		o.past.since = o.Likely
	}
	if !o.past.since.IsZero() {
		o.Early = o.past.since
	}
	o.Likely, o.latest = o.Early, o.Early
	if o.Dated {
		o.Late = latestDay(o.Early, earliest(o.Late, latestDay(found, o.past.above)))
	}
}

// foundOver is the day of the reading that first showed the present part over a
// limit, as it now is; where none did but the rate, without a last reading that
// does not fit, the day by that.
func (p *forecast) foundOver(limit float64) Date {
	r, k := p.part().Readings, 0
	if p.was != nil && p.was.found >= 0 && p.was.limit == limit {
		k = p.was.found
	} else {
		for k = len(r) - 1; k > 0; k-- {
			if w, _, err := p.without(k); err == nil && w.Known() && w.Exceed(limit, w.Now(), w.Now()) >= 0.5 {
				break
			}
		}
	}
	if p.memo.found = max(k, 0); p.memo.found > 0 {
		return p.a.dayOf(r[len(r)-1-k].At)
	}
	if w, _, err := p.withoutLast(); p.o.ReadAgain && err == nil {
		return earliest(p.today, p.day(w.Crossing(limit, w.Now(), 0.5).H))
	}
	return p.today
}

// without is what is known without the last so many readings of the present part.
func (p *forecast) without(last int) (wear.Posterior, []wear.Segment, error) {
	segs := slices.Clone(p.segs)
	for i := len(segs) - 1; i >= 0 && last > 0; i-- {
		n := len(segs[i].Readings)
		drop := min(n, last)
		segs[i].Readings = segs[i].Readings[:n-drop]
		last -= drop
	}
	// A cleaning after what is left tells of a day that the rest does not reach.
	for i := len(segs) - 1; i > 0 && segs[i].Carry > 0 && len(segs[i].Readings) == 0; i-- {
		if n := len(segs[i-1].Readings); n == 0 && segs[i].H0 > segs[i-1].H0 || n > 0 && segs[i].H0 > segs[i-1].Readings[n-1].H {
			segs = segs[:i]
		}
	}
	w, err := wear.Filter(p.o.Prior, p.m.params(), segs)
	return w, segs, err
}

// PastWords say since when a bearing that is Over its limit is: "over 0.20 mm
// since about 2018 (first reading above it: 7 May 2019)"; else nothing.
func (o Outlook) PastWords() string {
	if o.past == nil {
		return ""
	}
	return o.past.words(o.Limit.Size)
}

// words say since when a bearing is over its limit.
func (x *past) words(limit wear.Length) string {
	over := "over " + limit.String()
	if !x.sure {
		over = "probably " + over
	}
	switch {
	case x.above.IsZero():
		return over + " since about " + x.since.MonthWords() + " (by its rate: no reading is above it yet)"
	case x.since.IsZero():
		return over + " when it was first read, on " + x.above.Words()
	case x.above.Sub(x.since) < 365:
		return fmt.Sprintf("%s since about %s (first reading above it: %s)", over, x.since.MonthWords(), x.above.Words())
	}
	return fmt.Sprintf("%s since about %d (first reading above it: %s)", over, x.since.Year, x.above.Words())
}

// short says the same without the figures of the limit and its readings.
func (x *past) short() string {
	out := "past its limit"
	if !x.sure {
		out = "probably " + out
	}
	switch {
	case x.since.IsZero():
		return out + " when it was first read"
	case x.above.IsZero() || x.above.Sub(x.since) < 365:
		return out + " since about " + x.since.MonthWords()
	}
	return fmt.Sprintf("%s since about %d", out, x.since.Year)
}

// PastWords say it all of what is Past its limit: "past its limit: over 0.20 mm
// since about 2018 (first reading above it: 7 May 2019)"; else nothing.
func (t Task) PastWords() string {
	if t.Past == "" {
		return ""
	}
	if words, doubt := strings.CutPrefix(t.Past, "probably "); doubt {
		return "probably past its limit: " + words
	}
	return "past its limit: " + t.Past
}

// times says how far a size is over a limit.
func times(excess float64) string {
	switch n := int(1 + excess + 1e-9); {
	case excess >= .95 && n == 1:
		return "about twice that"
	case n == 2:
		return "more than twice that"
	case n > 2:
		return fmt.Sprintf("more than %d times that", n)
	case excess < .005:
		return "just at that"
	}
	return percent(excess) + " over that"
}
