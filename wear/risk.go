package wear

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// The laws here answer how long a thing may go unseen until the chance that it
// is over its limit reaches alpha, each from a few figures. [Posterior.Crossing]
// answers the same from readings and knows more; these are kept to check
// against and to compare with. Sizes are in mm; exposure is in any one unit,
// and rates are per that unit; answers are exposure from now. Nothing is left
// where the chance is alpha already, +Inf means never (or not within a million
// units), NaN that alpha is not between 0 and 1 or that a figure is no figure.

// upper is the standard normal deviate that is exceeded with probability alpha.
func upper(alpha float64) float64 { return math.Sqrt2 * math.Erfcinv(2*alpha) }

func share(alpha float64) bool { return alpha > 0 && alpha < 1 }

// LognormalWear is a size that is known, growing at a rate that is log-normal:
// its median and its geometric standard deviation, above 1.
type LognormalWear struct{ Size, Median, GSD float64 }

// Until returns how long until the chance to be over the limit is alpha.
func (w LognormalWear) Until(limit, alpha float64) float64 {
	if !share(alpha) || !(w.Median > 0) || !(w.GSD >= 1) {
		return math.NaN()
	}
	fast := w.Median * math.Exp(upper(alpha)*math.Log(w.GSD)) // exceeded with probability alpha
	return max(0, (limit-w.Size)/fast)
}

// NormalWear is a size and a rate that are normal, with their covariance and,
// for wear that is not even, a variance that grows by Process each unit.
type NormalWear struct {
	Size, Rate   Level
	Cov, Process float64
}

// Over returns the chance to be over the limit after so much exposure.
func (w NormalWear) Over(limit, after float64) float64 {
	mean := w.Size.Mean + w.Rate.Mean*after
	variance := w.Size.SD*w.Size.SD + w.Rate.SD*w.Rate.SD*after*after + (2*w.Cov+w.Process)*after
	switch {
	case variance > 0:
		return Phi((mean - limit) / math.Sqrt(variance))
	case math.IsNaN(mean+variance) || math.IsNaN(limit):
		return math.NaN()
	case mean >= limit:
		return 1
	}
	return 0
}

// Until returns how long until the chance to be over the limit is alpha.
func (w NormalWear) Until(limit, alpha float64) float64 {
	return firstAt(alpha, func(after float64) float64 { return w.Over(limit, after) })
}

// GammaWear is wear that only grows, by steps: over an exposure t it is gamma
// distributed with shape Shape·t and rate Rate per mm, so that its mean is
// Shape·t/Rate (van Noortwijk, Reliab. Eng. Syst. Saf. 94, 2009).
type GammaWear struct{ Shape, Rate float64 }

// Over returns the chance to wear more than left mm within so much exposure:
// the regularised upper incomplete gamma function.
func (w GammaWear) Over(left, after float64) float64 {
	switch {
	case !(w.Shape > 0) || !(w.Rate > 0) || math.IsNaN(left) || math.IsNaN(after):
		return math.NaN()
	case left <= 0:
		return 1
	case after <= 0:
		return 0
	}
	return mathext.GammaIncRegComp(w.Shape*after, w.Rate*left)
}

// Until returns how long until the chance to have worn more than left mm is alpha.
func (w GammaWear) Until(left, alpha float64) float64 {
	return firstAt(alpha, func(after float64) float64 { return w.Over(left, after) })
}

// WeibullLife is a life that follows Weibull's law: Scale is the age that
// 36.8 % reach, and Shape is above 1 where failing grows likelier with age.
type WeibullLife struct{ Scale, Shape float64 }

// Until returns how long, for what was found good at an age, until the chance
// that it has failed is alpha. With Shape 1, age does not matter.
func (w WeibullLife) Until(age, alpha float64) float64 {
	if !share(alpha) || !(w.Scale > 0) || !(w.Shape > 0) || !(age >= 0) {
		return math.NaN()
	}
	return w.Scale*math.Pow(math.Pow(age/w.Scale, w.Shape)-math.Log1p(-alpha), 1/w.Shape) - age
}

// firstAt returns where a chance that does not fall reaches alpha.
func firstAt(alpha float64, over func(after float64) float64) float64 {
	at := over(0)
	switch {
	case !share(alpha) || math.IsNaN(at):
		return math.NaN()
	case at >= alpha:
		return 0
	}
	for lo, hi := 0.0, 1e-6; hi <= mostUnits; lo, hi = hi, 2*hi {
		if over(hi) >= alpha {
			return solve(func(after float64) float64 { return over(after) - alpha }, lo, hi)
		}
	}
	return math.Inf(1)
}

// LookAgain returns within how long a thing is to be measured again: by the
// time unseen at which the chance that it is over its limit grows too large, by
// half of what is left of its life at the likeliest rate, and by the most that
// the conservator allows. Half the life left is the rule of API 510, 10th ed.,
// 6.5.1.1 for pressure vessels (from a published worksheet), taken over by
// judgement. All in one unit; +Inf: no such bound; NaN if any is.
func LookAgain(unseen, left, most float64) float64 { return max(0, min(unseen, left/2, most)) }
