package schedule

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

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
	// So likely misread, by all that is known, that the page would ask for it
	// again; less than so many mm off is not worth a question.
	doubted, doubtedLeast = 0.5, 0.1
	// The first reading of a part may well be over its limit; beyond so many
	// times that, it is asked whether it was a slip.
	firstFar = 2
	// Two readings of a part within so long differ by what their gauges make of
	// it, and by no more than so many of their deviations taken together: in
	// so short a time nothing wears (judgement, no source).
	againFar, againWithin = 4, 24 * time.Hour
)

// slips are the factors by which readings are written wrongly, and what the
// right figure would be called.
var slips = []struct {
	factor float64
	words  func(written, right wear.Length) string
}{
	{25.4, func(written, right wear.Length) string {
		return fmt.Sprintf("%s (%.3g in written as millimetres)", slipped(right), written.MM())
	}},
	{1 / 25.4, func(written, right wear.Length) string {
		return fmt.Sprintf("%s (%.3g mm written as inches)", slipped(right), right.MM())
	}},
	{10, pointSlip}, {0.1, pointSlip},
	{0.01, pointSlip}, // from here on: see plainSlips
	{1 / 39.37, func(_, right wear.Length) string {
		return fmt.Sprintf("%s (%.3g thou written as millimetres)", slipped(right), right.Thou())
	}},
	{39.37, func(_, right wear.Length) string {
		return fmt.Sprintf("%s (%.3g mm written as thou)", slipped(right), right.MM())
	}},
	{1 / 2.54, func(written, right wear.Length) string {
		return fmt.Sprintf("%s (%.3g hundredths of a millimetre written as thou)", slipped(right), written.Thou())
	}},
	{2.54, func(_, right wear.Length) string {
		return fmt.Sprintf("%s (%.3g thou written as hundredths of a millimetre)", slipped(right), right.Thou())
	}},
}

// plainSlips is how many of the slips, the first ones, are likely enough to be
// named where nothing is expected but a size below the limit.
const plainSlips = 4

func pointSlip(_, right wear.Length) string { return slipped(right) + " (the decimal point)" }

// slipped is a size that has brackets of its own behind it.
func slipped(right wear.Length) string { return wear.WithinBrackets(right.String()) }

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
		if err := farOff(written, value, want, wear.Hundredths(f.post.LevelQuantile(f.at, 0.5))); err != nil {
			return err
		}
		if err := readTwice(e, b, site.Location(), log); err != nil {
			return err
		}
		near = math.Abs(value-want.Mean) <= slipNear*want.SD
		if math.Abs(value-want.Mean) >= doubtedLeast && f.doubt(value, sd) >= doubted {
			return askBack("value", "%v does not fit what was read before: about %v was expected. %s %s", written,
				wear.Hundredths(f.post.LevelQuantile(f.at, 0.5)), wasIt(written, value, want), sureWords)
		}
	}
	if f.limit != nil && f.post.Readings() == 0 && !near && written > firstFar*f.limit.Size {
		if words := slipsBelow(written, f.limit.Size); words != "" {
			return askBack("value", "%v is more than %d times the limit of %v, and this part was never measured before. Was it %s? %s", written, firstFar, f.limit.Size, words, sureWords)
		}
	}
	if b.Act != nil && written > absurd*b.Act.Size {
		return askBack("value", "%v is more than %d times the limit of %v: check the unit and the point. %s", written, absurd, b.Act.Size, sureWords)
	}
	return readTwice(e, b, site.Location(), log)
}

// readTwice asks back a reading that differs from one of the same part, taken
// shortly before or after, by more than the two gauges can explain.
func readTwice(e Entry, b wear.Bearing, zone *time.Location, log []Entry) error {
	value, sd := b.Corrected(*e.Reading)
	for i := range log {
		old := &log[i]
		// One that was asked back itself is to be read again: whatever comes of that.
		if old.Kind != Measured || old.Reading == nil || old.Sure || old.Bearing != e.Bearing || e.Replaces != "" && old.ID == e.Replaces || old.At.Sub(e.At).Abs() > againWithin {
			continue
		}
		was, its := b.Corrected(*old.Reading)
		if math.Abs(value-was) <= againFar*math.Hypot(sd, its) || renewedBetween(&e, old, log) {
			continue
		}
		mend := "Read it again."
		if value < was == e.At.After(old.At) {
			mend = renewedWords + "; else read it again."
		}
		return askBack("value", "%v differs from the %v read at %s by more than the two gauges can explain. %s %s",
			e.Reading.Value, old.Reading.Value, old.At.In(zone).Format("15:04 on 2 Jan 2006"), mend, sureWords)
	}
	return nil
}

// renewedBetween reports whether a part was repaired between two readings of it.
func renewedBetween(a, b *Entry, log []Entry) bool {
	if b.At.Before(a.At) {
		a, b = b, a
	}
	return newest(log, func(e *Entry) bool {
		return e.Kind == Repaired && e.Bearing == a.Bearing && !e.At.Before(a.At) && !e.At.After(b.At)
	}) != nil
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

// wasIt asks for the slip that would explain a reading, if there is one.
func wasIt(written wear.Length, value float64, want wear.Level) string {
	if words, ok := slipOf(written, value, want); ok {
		return "Was it " + words + "?"
	}
	if value < want.Mean {
		return renewedWords + "; else read it again."
	}
	return "Read it again."
}

// slipsBelow names the slips without which a size is below a limit; empty: none.
func slipsBelow(written, limit wear.Length) string {
	var out []string
	for _, s := range slips[:plainSlips] {
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
	prior wear.Prior
	by    wear.Params
	segs  []wear.Segment
}

// doubt is the probability that a reading, taken with all before it, is the one
// that was misread; 0 where it is not the newest.
func (f foreseen) doubt(value, sd float64) float64 {
	i := len(f.segs) - 1
	if i < 0 || f.at < f.post.Now() {
		return 0
	}
	segs := slices.Clone(f.segs)
	segs[i].Readings = append(slices.Clip(segs[i].Readings), wear.Gauge{H: f.at, Y: value, SD: sd})
	doubts, err := wear.Doubts(f.prior, f.by, segs)
	if err != nil || len(doubts) == 0 {
		return 0
	}
	return doubts[len(doubts)-1]
}

// foresee reads the log before a reading. What of it does not fit is left out.
func foresee(e Entry, c Clock, site Site, log []Entry, m Model, b wear.Bearing, arbor wear.Arbor, t wear.Train) foreseen {
	a := Assessment{Clock: c, Site: site, Zone: site.Location(), Now: e.At}
	a.Entries = upTo(log, e)
	st := a.assessTrain(t)
	if st.unfit {
		return foreseen{}
	}
	o := Outlook{Bearing: b}
	r := o.gather(&a, m, &st)
	b.Pair = r.pair
	prior := m.prior(b, arbor, t, a.Zone)
	post, err := wear.Filter(prior, m.params(), r.segs)
	if err != nil {
		return foreseen{}
	}
	return foreseen{post: post, at: o.use.at(e.At), limit: o.Limit, known: post.Known(), prior: prior, by: m.params(), segs: r.segs}
}
