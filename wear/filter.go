package wear

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"sync"
)

// Prior is a log-normal belief about a rate of wear before any reading: the
// natural logarithm of the rate, in mm per unit of exposure, has mean Mu and
// standard deviation Om.
type Prior struct {
	Mu, Om float64
	From   string // where it comes from, in a short sentence
}

// Params are the filter's settings, common to a fleet.
type Params struct {
	Phi   float64 // mm: variance of wear per mm worn; 0: wear is perfectly even
	B     float64 // exponent of exposure; below 1: running-in
	C     float64 // factor on stated gauge uncertainties
	Eps   float64 // share of readings that are misread; 0: none
	Out   float64 // mm: standard deviation of a misread one
	Kappa float64 // changes of rate per unit of exposure; 0: none
	Stray float64 // deviation of a changed ln rate, besides that of its kind
	// Quicken is by how much of itself the rate grows per mm of size, up to the
	// size Reach in mm, and not beyond; 0: it does not depend on the size.
	Quicken, Reach float64
}

// DefaultParams are the settings for a fleet too small to fit them: grains of
// 0.01 mm, no running-in, gauges as stated, one reading in fifty misread by
// about 0.3 mm, a change of rate in some 330 units, to one a little further out
// than those of its kind.
func DefaultParams() Params {
	return Params{Phi: .01, B: 1, C: 1, Eps: .02, Out: .3, Kappa: .003, Stray: .5}
}

// Level is a normal belief about a size, in mm.
type Level struct{ Mean, SD float64 }

// Gauge is one reading as the filter takes it: exposure in units since the
// count began, the size read and its standard uncertainty in mm.
type Gauge struct{ H, Y, SD float64 }

// Segment is the life of one part in a bearing.
type Segment struct {
	H0    float64 // exposure when the part was fitted
	Start *Level  // size when fitted; nil: not known, the first reading starts it
	// Readings are in order of exposure.
	Readings []Gauge
	// Fresh: other materials rub from here on, so the rate starts again from
	// the prior and what came before is forgotten.
	Fresh bool
	// Carry: the same part goes on, cleaned or taken apart; its level carries
	// over with this much added uncertainty, mm, and its age is still counted
	// from its own fitting, H0 of the segment before. Zero: a part of its own.
	Carry float64
	// Redrawn: the part before wore out too soon, so that the rate from here on
	// may be another as likely as not.
	Redrawn bool
}

// Filter learns the level and the rate of wear of one bearing from the lives of
// its parts, oldest first. With no segment, or with nothing measured, the
// answer carries the prior rate and no level.
//
// The rate is constant but unknown, and positive; at each of 41 values of its
// logarithm the level is followed by a Kalman filter whose drift is the rate
// and whose variance grows with the wear. A reading may be misread
// ([Params].Eps), and the rate may have changed once since the present part
// was fitted ([Params].Kappa); all that is averaged over. At a repair the level
// starts anew and the rate is kept.
//
// Errors: a prior or parameter out of range, a number that is not finite or
// absurdly large, an uncertainty that is not above nothing (a millionth of a
// millimetre), exposure running backwards, a reading before its part was fitted.
func Filter(prior Prior, p Params, segs []Segment) (Posterior, error) {
	w := workers.Get().(*Worker)
	defer workers.Put(w)
	post, err := w.Filter(prior, p, segs)
	if err != nil {
		return Posterior{}, err
	}
	out := *post
	*post = Posterior{} // its memory is the caller's now
	return out, nil
}

// workers keeps the memory of workers between histories.
var workers = sync.Pool{New: func() any { return new(Worker) }}

// checked refuses what cannot be filtered, and leaves out and sorts as known.
func checked(prior Prior, p Params, segs []Segment) ([]Segment, error) {
	if err := checkSettings(prior, p); err != nil {
		return nil, fmt.Errorf("wear filter: %w", err)
	}
	at := math.Inf(-1)
	for i := range segs {
		if err := segs[i].check(&at); err != nil {
			return nil, fmt.Errorf("wear filter: part %d: %w", i+1, err)
		}
	}
	return known(segs), nil
}

// What is taken for a slip instead of a fact, and keeps the numbers finite.
const (
	widestPrior    = 10   // Om
	largestSize    = 1e5  // mm
	finestGauge    = 1e-6 // mm
	mostUnits      = 1e6  // of exposure, either way
	largestRate    = 50   // ln rate, either way
	mostQuickening = 20   // ln of how much the rate grows
)

func checkSettings(prior Prior, p Params) error {
	switch {
	case !(math.Abs(prior.Mu) <= largestRate) || !(prior.Om > 0 && prior.Om <= widestPrior):
		return fmt.Errorf("prior of mean %v and deviation %v: the mean must be within %v either way, the deviation above nothing and up to %v",
			prior.Mu, prior.Om, largestRate, widestPrior)
	case !(p.Phi >= 0 && p.Phi <= largestSize) || !(p.B > 0 && p.B <= 5) || !(p.C > 0 && p.C <= 1000):
		return fmt.Errorf("settings Phi %v, B %v, C %v: Phi must be nothing or more, B above nothing and up to 5, C above nothing and up to 1000", p.Phi, p.B, p.C)
	case !(p.Eps >= 0 && p.Eps < 1) || !(p.Kappa >= 0) || !finite(p.Kappa) || !(p.Stray >= 0 && p.Stray <= widestPrior):
		return fmt.Errorf("settings Eps %v, Kappa %v, Stray %v: Eps must be from 0 to below 1, the others nothing or more", p.Eps, p.Kappa, p.Stray)
	case !(math.Abs(p.Quicken*p.Reach) <= mostQuickening) || p.Quicken != 0 && !(p.Reach > 0):
		return fmt.Errorf("settings Quicken %v up to Reach %v: their product must be within %v either way", p.Quicken, p.Reach, mostQuickening)
	case p.Eps > 0 && !(p.Out >= finestGauge && p.Out <= largestSize):
		return fmt.Errorf("setting Out %v: it must be above nothing while readings can be misread", p.Out)
	}
	return nil
}

// check reports what is wrong with a segment; at is the exposure reached so far.
func (s *Segment) check(at *float64) error {
	switch l := s.Start; {
	case !(math.Abs(s.H0) <= mostUnits):
		return fmt.Errorf("fitted at exposure %v: it must be within %v units either way", s.H0, mostUnits)
	case s.H0 < *at:
		return fmt.Errorf("fitted at exposure %v, before what went before it at %v: put the parts in order", s.H0, *at)
	case !(s.Carry >= 0 && s.Carry <= largestSize) || s.Carry > 0 && (l != nil || s.Fresh || s.Redrawn):
		return fmt.Errorf("carried over with %v mm of doubt: it must be nothing or more, and the part that goes on has no size, materials or rate of its own", s.Carry)
	case l != nil && !sound(l.Mean, l.SD):
		return fmt.Errorf("size when fitted %v ± %v mm: the uncertainty must be above nothing, and both plain sizes", l.Mean, l.SD)
	}
	*at = s.H0
	for i, g := range s.Readings {
		switch {
		case !sound(g.Y, g.SD):
			return fmt.Errorf("reading %d: %v ± %v mm: the uncertainty must be above nothing, and both plain sizes", i+1, g.Y, g.SD)
		case !(math.Abs(g.H) <= mostUnits):
			return fmt.Errorf("reading %d: at exposure %v: it must be within %v units either way", i+1, g.H, mostUnits)
		case g.H < s.H0:
			return fmt.Errorf("reading %d: at exposure %v, before the part was fitted at %v", i+1, g.H, s.H0)
		case g.H < *at:
			return fmt.Errorf("reading %d: at exposure %v, after a reading at %v: exposure cannot run backwards", i+1, g.H, *at)
		}
		*at = g.H
	}
	return nil
}

// sound reports whether a size and its uncertainty can be reckoned with.
func sound(size, sd float64) bool {
	return math.Abs(size) <= largestSize && sd >= finestGauge && sd <= largestSize
}

// known leaves out what the last fresh start makes forgotten, and puts readings
// at one exposure in order of size, so that their order in the log, which means
// nothing, changes nothing.
func known(segs []Segment) []Segment {
	for i := len(segs) - 1; i > 0; i-- {
		if segs[i].Fresh {
			segs = segs[i:]
			break
		}
	}
	copied := false
	for i := range segs {
		if slices.IsSortedFunc(segs[i].Readings, byExposure) {
			continue
		}
		if !copied {
			segs, copied = slices.Clone(segs), true
		}
		segs[i].Readings = slices.SortedFunc(slices.Values(segs[i].Readings), byExposure)
	}
	return segs
}

// byExposure orders readings by exposure, then by size.
func byExposure(a, b Gauge) int {
	switch {
	case a.H != b.H:
		return cmp.Compare(a.H, b.H)
	case a.Y != b.Y:
		return cmp.Compare(a.Y, b.Y)
	}
	return cmp.Compare(a.SD, b.SD)
}
