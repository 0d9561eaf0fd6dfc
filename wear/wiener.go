package wear

import (
	"math"

	"gonum.org/v1/gonum/integrate/quad"
)

// The laws here are those of a level that drifts and wanders both ways (a
// Wiener process) and is caught the first time it touches the limit. Wear only
// grows, for which [Posterior.Exceed] is better calibrated; these are kept to
// check against and to compare with.

// InverseGaussianCDF returns the probability that a level with drift r and
// variance s2 per unit of exposure has crossed a distance d within t units.
func InverseGaussianCDF(d, r, s2, t float64) float64 {
	switch {
	case d <= 0:
		return 1
	case t <= 0:
		return 0
	}
	sd := math.Sqrt(s2 * t)
	// The two factors of the second term overflow and vanish apart, so they
	// are joined in the exponent.
	second := math.Exp(min(0, 2*r*d/s2+LnPhi(-(d+r*t)/sd)))
	return min(1, Phi((r*t-d)/sd)+second)
}

// InverseGaussianQuantile returns the exposure by which the crossing of
// [InverseGaussianCDF] has happened with probability p, between 0 and 1. It is
// +Inf when r is not above nothing, for then the level may never cross.
func InverseGaussianQuantile(d, r, s2, p float64) float64 {
	switch {
	case d <= 0 || p <= 0:
		return 0
	case r <= 0 || p >= 1:
		return math.Inf(1)
	}
	hi := d / r
	for InverseGaussianCDF(d, r, s2, hi) < p {
		hi *= 2
	}
	return solve(func(t float64) float64 { return InverseGaussianCDF(d, r, s2, t) - p }, 0, hi)
}

// WienerCrossing returns the probability that a level now known only as
// normal, with mean m and variance p, is over the limit or crosses it within t
// units; r and s2 as for [InverseGaussianCDF].
func WienerCrossing(m, p, limit, r, s2, t float64) float64 {
	d, sd := limit-m, math.Sqrt(p)
	if sd == 0 {
		return InverseGaussianCDF(d, r, s2, t)
	}
	density := func(x float64) float64 {
		z := (x - d) / sd
		return math.Exp(-z*z/2-halfLn2Pi) / sd * InverseGaussianCDF(x, r, s2, t)
	}
	over := Phi(-d / sd)
	lo, hi := max(0, d-7*sd), d+7*sd
	if hi <= lo {
		return over
	}
	return min(1, over+quad.Fixed(density, lo, hi, 24, quad.Legendre{}, 1))
}
