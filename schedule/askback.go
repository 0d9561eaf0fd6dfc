package schedule

import (
	"fmt"
	"math"
	"strings"

	"endshake/wear"
)

// When a reading is asked back (judgement, no source). Deviations are those of
// what the log so far leads one to expect of that gauge.
const (
	// A slip of the unit or the decimal point: so far off, as deviations and in
	// mm, while the figure without the slip is no more than so many away.
	slipFar, slipLeast, slipNear = 6, 0.25, 3
	// So far off without a slip that would explain it.
	strangeFar, strangeLeast = 10, 1.0
	// absurd is how many times its limit no bearing is ever worn.
	absurd = 8
	// The first reading of a part may well be over its limit; beyond so many
	// times that, it is asked whether it was a slip.
	firstFar = 2
)

// slips are the factors by which readings are written wrongly, and what the
// right figure would be called.
var slips = []struct {
	factor float64
	words  func(written, right wear.Length) string
}{
	{25.4, func(written, right wear.Length) string {
		return fmt.Sprintf("%v (%.3g in written as millimetres)", right, written.MM())
	}},
	{1 / 25.4, func(written, right wear.Length) string {
		return fmt.Sprintf("%v (%.3g mm written as inches)", right, right.MM())
	}},
	{10, func(_, right wear.Length) string { return fmt.Sprintf("%v (the decimal point)", right) }},
	{0.1, func(_, right wear.Length) string { return fmt.Sprintf("%v (the decimal point)", right) }},
}

const (
	sureWords    = "If it is right as written, say that you are sure."
	renewedWords = "If a part was renewed, log the repair first"
)

// validateFit asks back a reading that is far from what the clock's log leads
// one to expect, and names the slip that would explain it. It is never changed;
// Sure lets it in. The log is the one that counts.
func validateFit(e Entry, c Clock, site Site, log []Entry, m Model) error {
	if e.Kind != Measured || e.Sure {
		return nil
	}
	b, arbor, t, _ := c.Bearing(e.Bearing)
	written := e.Reading.Value
	f := foresee(e, c, site, log, m, b, arbor, t)
	value, sd := b.Corrected(*e.Reading)
	near := false
	if f.known {
		want := f.post.Forecast(f.at, sd)
		if err := farOff(written, value, want, wear.FromMM(math.Round(100*f.post.LevelQuantile(f.at, 0.5))/100)); err != nil {
			return err
		}
		near = math.Abs(value-want.Mean) <= slipNear*want.SD
	}
	if f.limit != nil && f.post.Readings() == 0 && !near && written > firstFar*f.limit.Size {
		if words := slipsBelow(written, f.limit.Size); words != "" {
			return askBack("value", "%v is more than %d times the limit of %v, and this part was never measured before. Was it %s? %s", written, firstFar, f.limit.Size, words, sureWords)
		}
	}
	if b.Act != nil && written > absurd*b.Act.Size {
		return askBack("value", "%v is more than %d times the limit of %v: check the unit and the point. %s", written, absurd, b.Act.Size, sureWords)
	}
	return nil
}

// farOff asks back a reading too far from what is wanted, about so much.
func farOff(written wear.Length, value float64, want wear.Level, about wear.Length) error {
	off, smaller := math.Abs(value-want.Mean), value < want.Mean
	words, slipped := slipOf(written, value, want)
	switch {
	case off > slipFar*want.SD && off > slipLeast && slipped && smaller:
		return askBack("value", "%v does not fit: about %v was expected. Was it %s? %s. %s", written, about, words, renewedWords, sureWords)
	case off > slipFar*want.SD && off > slipLeast && slipped:
		return askBack("value", "%v does not fit: about %v was expected. Was it %s? %s", written, about, words, sureWords)
	case off > strangeFar*want.SD && off > strangeLeast && smaller:
		return askBack("value", "%v does not fit: about %v was expected. %s; else check the unit and the point. %s", written, about, renewedWords, sureWords)
	case off > strangeFar*want.SD && off > strangeLeast:
		return askBack("value", "%v does not fit: about %v was expected. Check the unit and the point. %s", written, about, sureWords)
	}
	return nil
}

// slipsBelow names the slips without which a size is below a limit; empty: none.
func slipsBelow(written, limit wear.Length) string {
	var out []string
	for _, s := range slips {
		if right := wear.FromMM(written.MM() * s.factor); right > 0 && right < limit {
			out = append(out, s.words(written, right))
		}
	}
	return strings.Join(out, ", or ")
}

// slipOf finds the slip without which a reading fits best, if it then fits.
func slipOf(written wear.Length, value float64, want wear.Level) (words string, ok bool) {
	nearest := slipNear * want.SD
	for _, s := range slips {
		right := written.MM() * s.factor
		if off := math.Abs(right + value - written.MM() - want.Mean); right > 0 && off <= nearest {
			nearest, ok = off, true
			words = s.words(written, wear.FromMM(right))
		}
	}
	return words, ok
}

// foreseen is what the log before a reading tells of its bearing.
type foreseen struct {
	post  wear.Posterior
	at    float64     // the exposure that the reading was taken at
	limit *wear.Limit // the one that binds; nil: none, or the log does not fit together
	known bool        // the log tells a size
}

// foresee reads the log before a reading. Of one that does not fit together
// nothing comes.
func foresee(e Entry, c Clock, site Site, log []Entry, m Model, b wear.Bearing, arbor wear.Arbor, t wear.Train) foreseen {
	a := Assessment{Clock: c, Site: site, Zone: site.Location(), Now: e.At, Entries: make([]Entry, 0, len(log))}
	for _, old := range log {
		if !old.At.After(e.At) && (e.Replaces == "" || old.ID != e.Replaces) {
			a.Entries = append(a.Entries, old)
		}
	}
	st, err := assessTrain(a, t)
	if err != nil {
		return foreseen{}
	}
	o := Outlook{Bearing: b}
	r := o.gather(a, m, st)
	b.Pair = r.pair
	post, err := wear.Filter(m.prior(b, arbor, t, a.Zone), m.params(), r.segs)
	if err != nil {
		return foreseen{}
	}
	return foreseen{post: post, at: o.use.at(e.At), limit: o.Limit, known: post.Known()}
}
