package schedule

import (
	"math"
	"slices"
	"time"

	"endshake/wear"
)

// Change is something that could be done to a bearing; its zero value is
// nothing. Lengths are sizes above nothing; zero: not done, or as it is.
type Change struct {
	// Washer is the thickness of one put in; it takes so much from the
	// end-shake. Outer and Inner are the diameters of the face that rubs then.
	Washer, Outer, Inner wear.Length
	// FaceOff is the metal taken off the pocket; it adds to the end-shake.
	FaceOff wear.Length
	Pair    wear.Pair // the materials that rub then
	// Fitted is the freedom left where it is not to be worked out from the two.
	Fitted  wear.Length
	OilDays int // oil every so many days from now on
}

// repairs reports whether the bearing is taken apart for it.
func (c Change) repairs() bool { c.OilDays = 0; return c != Change{} }

// WhatIf gives the outlook on a bearing as it is, and as it would be with a
// change made now: the level after, and how long it would last at the rate
// that the bearing itself has shown. A washer of another width wears at a rate
// in the inverse ratio of the widths (uniform wear, see wear.ThrustDepth), and
// what is believed of the rate stays that of the face as it is; other materials
// begin at the rate of their kind, on a face of the width given. With another
// oiling interval wear goes on in the ratio of the mean coefficients of the two
// mixes of good, aged and dry oil. Nothing is logged.
//
// Errors are a *Error with the field of the change at fault.
func WhatIf(f Facts, now time.Time, bearing string, c Change) (before, after Outlook, err error) {
	b, arbor, t, ok := f.Clock.Bearing(bearing)
	if !ok {
		return before, after, notFound("bearing", "%s has no bearing %q: it has %s", f.Clock.Name, bearing, bearingCodes(f.Clock))
	}
	a := open(f, now)
	st, _ := a.Train(t.Code)
	if before, err = look(&a, f.Model, &st, arbor, b, suppose{}); err != nil || st.unfit {
		return before, after, conflict("bearing", "what is logged of %s does not fit together: mend that first", NameOf(b.Name, arbor.Name))
	}
	if err := c.validate(b); err != nil {
		return before, after, err
	}
	s, was := suppose{fitted: c.repairs(), ahead: 1}, pairNow(&a, b)
	fresh := c.Pair != "" && c.Pair != was
	if s.fitted {
		left, err := c.leaves(before)
		if err != nil {
			return before, after, err
		}
		a.Entries = append(slices.Clip(a.Entries), c.entry(&a, t, b, left, before))
		a.reuse.plain = false // a repair is not, so nothing of the bearing's record is lent
	}
	if c.OilDays > 0 {
		if s.ahead, err = c.oilRatio(&a, f.Model, &st, b, fresh); err != nil {
			return before, after, err
		}
	}
	wider := c.Outer > 0 && c.Inner > 0
	switch {
	case wider && fresh:
		b.Outer, b.Inner = c.Outer, c.Inner
	case wider && b.Outer <= b.Inner:
		return before, after, conflict("outer", "the diameters of the face of %s as it is are not recorded, so what another width does is not known: record them first, or leave the width out", b.Code)
	case wider:
		s.ahead *= float64(b.Outer-b.Inner) / float64(c.Outer-c.Inner)
	}
	if after, err = look(&a, f.Model, &st, arbor, b, s); wider {
		after.Bearing.Outer, after.Bearing.Inner = c.Outer, c.Inner
	}
	return before, after, err
}

// Under gives the outlook on a bearing as another lesson than that of the facts
// would have it, from the same log. ok is false where there is none.
func Under(f Facts, now time.Time, bearing string, l *Learned) (o Outlook, ok bool) {
	b, arbor, t, ok := f.Clock.Bearing(bearing)
	if !ok {
		return o, false
	}
	f.Before, f.Model = nil, Model{Learned: l}
	a := open(f, now)
	st, _ := a.Train(t.Code)
	o, err := look(&a, f.Model, &st, arbor, b, suppose{})
	return o, err == nil && !st.unfit
}

// movedShare is by which share of its own range the middle date of a forecast must
// move for that to be told (judgement, no source).
const movedShare = .1

// MovedFrom reports whether the middle date is plainly another than in an outlook of
// the same log under another lesson, or only one of the two has any.
func (o Outlook) MovedFrom(was Outlook) bool {
	switch {
	case o.Over || was.Over || !o.Dated && !was.Dated:
		return false
	case o.Dated != was.Dated:
		return true
	case o.Likely.MonthWords() == was.Likely.MonthWords():
		return false
	}
	return math.Abs(float64(o.Likely.Sub(was.Likely))) > movedShare*float64(o.Late.Sub(o.Early))
}

func (c Change) validate(b wear.Bearing) error {
	const most = 100 * wear.Millimetre
	for _, x := range []struct {
		field string
		size  wear.Length
	}{{"washer", c.Washer}, {"outer", c.Outer}, {"inner", c.Inner}, {"faceOff", c.FaceOff}, {"fitted", c.Fitted}} {
		limit := most
		if x.field == "outer" || x.field == "inner" {
			limit = wear.MaxLength
		}
		if x.size < 0 || x.size > limit {
			return invalid(x.field, "%v cannot be right: give a plain size up to %v", x.size, limit)
		}
	}
	switch {
	case c == Change{}:
		return invalid("washer", "say what to change: a washer, the pocket, the freedom left, the materials, or how often it is oiled")
	case (c.Washer > 0 || c.FaceOff > 0 || c.Outer > 0 || c.Inner > 0) && b.Form != wear.ThrustFace:
		return invalid("washer", "%s is a %s and takes no washer: give the freedom that the work would leave", b.Code, b.Form)
	case (c.Outer > 0) != (c.Inner > 0):
		return invalid("outer", "give both diameters of the face, or neither")
	case c.Outer > 0 && c.Outer <= c.Inner:
		return invalid("outer", "the outer diameter %v must be larger than the inner %v", c.Outer, c.Inner)
	case c.Pair != "" && !wear.KnownPair(c.Pair):
		return invalid("pair", "the material pair %q is not known", c.Pair)
	case c.OilDays < 0 || c.OilDays > 36500:
		return invalid("oilDays", "oiling every %d days cannot be right: give from 1 to 36,500", c.OilDays)
	}
	return nil
}

// leaves is the freedom after the work.
func (c Change) leaves(before Outlook) (wear.Length, error) {
	left := c.Fitted
	name := NameOf(before.Bearing.Name, before.Arbor.Name)
	if left == 0 {
		if !before.Known {
			return 0, conflict("fitted", "the freedom of %s is not known, so what the work leaves cannot be worked out: measure it, or give the freedom left", name)
		}
		now := wear.FromMM(before.Level.Mean)
		left = wear.Hundredths((now - c.Washer + c.FaceOff).MM())
		if left <= 0 {
			return 0, conflict("washer", "a washer of %v leaves nothing of a freedom of about %v: choose a thinner one, or take more off the pocket",
				c.Washer, wear.Hundredths((now + c.FaceOff).MM()))
		}
	}
	if l := before.Limit; l != nil && left >= l.Size {
		return 0, conflict("fitted", "%v after the work is not below the limit of %v: leave less", left, l.Size)
	}
	return left, nil
}

// entry is the work as it would be logged.
func (c Change) entry(a *Assessment, t wear.Train, b wear.Bearing, left wear.Length, before Outlook) Entry {
	e := Entry{ID: "supposed", Clock: a.Clock.Slug, Kind: Repaired, At: a.Now, Train: t.Code, Bearing: b.Code}
	e.Work, e.Fitted, e.NewPair = OtherWork, left, c.Pair
	switch {
	case c.Washer > 0:
		e.Work = NewWasher
	case c.FaceOff > 0:
		e.Work = Refaced
	}
	if c.Fitted == 0 { // no surer than what it was worked out from
		e.FittedSD = wear.FromMM(math.Max(fittedSD, math.Min(before.Level.SD, wear.Millimetre.MM())))
	}
	return e
}

// oilRatio is how much faster wear goes with the oil renewed every OilDays;
// fresh says that other materials rub from now on.
func (c Change) oilRatio(a *Assessment, m Model, st *TrainState, b wear.Bearing, fresh bool) (float64, error) {
	pair := pairNow(a, b) // with the supposed work in place
	spans, ok := oilSpans(a, st, b)
	p, _ := a.Clock.policy(Oiling, st.Train.Code, b.Code)
	lasts := p.Days
	if p.Days == 0 && p.RunHours == 0 {
		lasts = int(a.oilYears(p, 1).Hours() / 24)
	}
	if byHours := p.RunHours / math.Max(st.PerDay, 1); p.RunHours > 0 && (lasts == 0 || byHours < float64(lasts)) {
		lasts = int(math.Max(1, byHours))
	}
	switch {
	case !ok || lasts == 0:
		return 0, conflict("oilDays", "no oiling interval is set for %s, so how long its oil lasts is not known: set one for the clock first", b.Code)
	case wear.WeightedCoefficient(pair, b.In) == 0:
		return 0, conflict("oilDays", "the materials of %s are not recorded, so what oil does for them is not known", b.Code)
	}
	b.Pair = pair
	usual := aheadBy(a, st, b, spans)
	if fresh && !m.oil() {
		usual = wear.WeightedCoefficient(pair, b.In) // a rate from physics takes the usual oil for granted
	}
	return oiledEvery(c.OilDays, lasts).coefficient(pair) / usual, nil
}
