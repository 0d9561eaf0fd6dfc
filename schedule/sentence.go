package schedule

import (
	"fmt"
	"math"
	"strconv"

	"endshake/wear"
)

// wideBand is from how many days between the early and the late date a forecast
// is weak, whatever it rests on: nobody plans by it (judgement, no source).
const wideBand = 15 * 365

// confidence says how sure the forecast is, and why.
func (p *forecast) confidence() string {
	o, basis := p.o, p.basis()
	switch {
	case o.ReadAgain:
		return "weak: " + basis + ", and the last does not fit: re-measure before acting"
	case !o.Known || !o.Taught && !o.Dated && !o.Over && !o.held:
		return "weak: " + basis
	case o.past != nil && o.past.sure:
		return "firm: " + basis + ", and they leave no doubt that it is over the limit"
	case !o.Taught && !p.fitted:
		return "weak: " + basis + ", too old to tell its size now"
	case !o.Changed.IsZero():
		return fmt.Sprintf("weak: %s, and the rate changed after %s; after a change the forecast is less sure than it looks", basis, o.Changed.Words())
	case o.Limit == nil || o.Beyond:
		return "fair: " + basis
	case o.Over:
		return "fair: " + basis + ", over the limit more likely than not"
	case !o.Dated:
		return "weak: " + basis + " cannot carry a date"
	}
	band := o.Late.Sub(o.Early)
	how := "fair: "
	switch {
	case band > wideBand:
		how = "weak: "
	case len(p.part().Readings) >= 4 && float64(band) <= 0.75*math.Max(float64(o.Likely.Sub(o.seen)), 365):
		how = "firm: "
	}
	return how + basis + "; 8 chances in 10 lie within " + Days(band)
}

// basis says what the forecast rests on.
func (p *forecast) basis() string {
	switch {
	case p.fitted && p.o.Taught:
		return "work that is only thought of, at the rate shown so far"
	case p.fitted:
		return "work that is only thought of, at a rate that no reading has shown"
	case p.was != nil && p.a.reuse.clock && p.was.basis != "":
		p.memo.basis = p.was.basis
	case p.memo.basis == "":
		p.memo.basis = p.basisOf(p.part())
	}
	return p.memo.basis
}

// basisOf says what a forecast of a part rests on.
func (p *forecast) basisOf(part Part) string {
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
	return strconv.Itoa(n) + " readings over " + Days(span)
}

// telling is what a sentence of a bearing with a limit hangs on, beside its record.
type telling struct {
	limit, size          wear.Length // size in hundredths
	seen, changed        Date
	early, late, measure Date // the first two to the month

	taught, held, beyond, dated, readAgain, readOver bool

	reached, missed, soon bool // by today: the early date; the day to measure, or all but
}

// telling is the zero one for a bearing whose sentence hangs on more.
func (p *forecast) telling() telling {
	o := p.o
	if !o.Known || o.Limit == nil || o.Over || p.fitted {
		return telling{}
	}
	return telling{
		limit: o.Limit.Size, size: wear.Hundredths(o.Level.Mean), seen: o.seen, changed: o.Changed,
		early: Date{Year: o.Early.Year, Month: o.Early.Month}, late: Date{Year: o.Late.Year, Month: o.Late.Month}, measure: o.Measure,
		taught: o.Taught, held: o.held, beyond: o.Beyond, dated: o.Dated, readAgain: o.ReadAgain, readOver: p.readOver(),
		reached: !o.Early.After(p.today), missed: o.Measure.Before(p.today), soon: o.Measure.Sub(p.today) < 31,
	}
}

// sentence says what the chart says, in the words of the earlier answer where
// nothing that they hang on is otherwise.
func (p *forecast) sentence() string {
	by := p.telling()
	if p.was != nil && p.a.reuse.clock && by != (telling{}) && p.was.telling == by {
		p.memo.telling, p.memo.sentence = by, p.was.sentence
		return p.was.sentence
	}
	p.memo.telling, p.memo.sentence = by, p.said()
	return p.memo.sentence
}

func (p *forecast) said() string {
	o := p.o
	if !o.Known {
		return fmt.Sprintf("%s, so there is no forecast; %s", Capital(p.basis()), p.measure("measure"))
	}
	r, level := p.part().Readings, p.level()
	switch {
	case o.ReadAgain:
		last := r[len(r)-1]
		s := fmt.Sprintf("The reading of %s, %v, does not fit the others: re-measure before acting, by %s (%s).",
			p.a.dayOf(last.At).Words(), last.Reading.Value, p.by(o.Measure), level)
		if o.Over {
			s += fmt.Sprintf(" Without it too the limit of %v is probably passed.", o.Limit.Size)
		}
		return s
	case !o.Changed.IsZero() && (o.past == nil || !o.past.sure):
		return fmt.Sprintf("%s The rate changed after %s; after a change the forecast is less sure than it looks.", p.likely(level), o.Changed.Words())
	}
	return p.likely(level)
}

// level says what size it has, for within brackets where there is a limit or doubt.
func (p *forecast) level() string {
	o, r := p.o, p.part().Readings
	size := wear.Length.String
	if o.Limit != nil {
		size = wear.Length.Within
	}
	var level string
	switch {
	case o.Taught:
		level = "now about " + size(wear.Hundredths(o.Level.Mean))
	case len(r) == 0:
		level = "fitted at " + size(wear.FromMM(o.Level.Mean))
	default:
		level = size(r[len(r)-1].Reading.Value) + " on " + o.seen.Words()
	}
	if o.Limit == nil && o.Taught {
		level += ", growing about " + wear.Fine(o.PerYear[1]) + " a year"
	}
	if o.Limit == nil && o.ReadAgain {
		return wear.WithinBrackets(level)
	}
	return level
}

// likely says when the limit will be reached, as far as that can be told.
func (p *forecast) likely(level string) string {
	o, again := p.o, p.measure("measure again")
	if o.Limit == nil {
		return fmt.Sprintf("%s; no limit is set; %s", Capital(level), again)
	}
	size := o.Limit.Size.String()
	switch {
	case o.past != nil && o.past.sure:
		return fmt.Sprintf("Past its limit of %s: %s, %s; %s: plan the work now.", size, level, times(o.past.excess), o.past.words(o.Limit.Size))
	case !o.Taught && o.Over && o.Likely.After(o.seen):
		return fmt.Sprintf("Its readings are too old to tell its size now (%s), but by them it was probably past its limit of %v by %s: plan the work now, and %s", level, size, o.Likely.MonthWords(), again)
	case o.Over:
		return "Probably past its limit of " + size + " already (" + level + "): plan the work now, and " + again
	case p.readOver():
		return "The last reading is past the limit of " + size + ", but by the others it is not there yet (" + level + "); " + again
	case !o.Taught && o.held:
		return fmt.Sprintf("Its readings are too old to tell its size now (%s), but by them it may have reached %v by %s; %s", level, size, o.Early.MonthWords(), again)
	case o.Beyond:
		return "Not expected to reach " + size + " within 40 years (" + level + "); " + again
	case !o.Dated:
		return "The readings cannot carry a date for " + size + " yet (" + level + "); " + again
	case !o.Early.After(p.today):
		return "May have reached " + size + " already, and is likely to by " + o.Late.MonthWords() + " (" + level + "); " + again
	}
	return "Likely to reach " + size + " between " + o.Early.MonthWords() + " and " + o.Late.MonthWords() + " (" + level + "); " + again
}

// measure asks for a reading, in the words given.
func (p *forecast) measure(words string) string {
	if d := p.o.Measure; d.Before(p.today) {
		return words + " now, for it was to be read by " + d.Words() + "."
	}
	return words + " by " + p.by(p.o.Measure) + "."
}

// by prints a month ahead, and a day of this month or before as it is.
func (p *forecast) by(d Date) string {
	if d.Sub(p.today) < 31 {
		return d.Words()
	}
	return d.MonthWords()
}
