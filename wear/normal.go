package wear

import "math"

// halfLn2Pi is ln(2π)/2.
const halfLn2Pi = 0.918938533204672741780329736405617640

// Phi is the standard normal distribution function.
func Phi(z float64) float64 { return 0.5 * math.Erfc(-z/math.Sqrt2) }

// LnPhi is the natural logarithm of [Phi], right far into the lower tail where
// Phi itself is nothing in floating point.
func LnPhi(z float64) float64 {
	switch {
	case z > 0:
		return math.Log1p(-0.5 * math.Erfc(z/math.Sqrt2))
	case z >= -30:
		return math.Log(0.5 * math.Erfc(-z/math.Sqrt2))
	}
	q := 1 / (z * z) // asymptotic series: erfc is nothing below z = -38.5
	return -z*z/2 - math.Log(-z) - halfLn2Pi + math.Log1p(q*(-1+q*(3+q*(-15+q*105))))
}

// Mixtures of hundreds of normals are summed over and over, for which erfc is
// slow. quickPhi interpolates a table of Phi and its slope with cubics; the
// error is below 1e-9, and below 1e-5 of the value down to -8.
const (
	tableEnd   = 8
	tableSteps = 64 // to the unit
)

type phiKnot struct{ value, slope float64 } // slope per step

var phiTable = func() (table [2*tableEnd*tableSteps + 1]phiKnot) {
	for i := range table {
		z := float64(i)/tableSteps - tableEnd
		table[i] = phiKnot{Phi(z), math.Exp(-z*z/2-halfLn2Pi) / tableSteps}
	}
	return table
}()

func quickPhi(z float64) float64 {
	t := (z + tableEnd) * tableSteps
	if !(t >= 0 && t < 2*tableEnd*tableSteps) {
		return tailPhi(z)
	}
	i := int(t)
	t -= float64(i)
	a, b := &phiTable[i], &phiTable[i+1]
	rise := b.value - a.value
	return a.value + t*(a.slope+t*(3*rise-2*a.slope-b.slope+t*(a.slope+b.slope-2*rise)))
}

// quickBell is quickPhi with its slope, the density, as far as the table goes;
// beyond it the slope is taken as nothing.
func quickBell(z float64) (phi, density float64) {
	t := (z + tableEnd) * tableSteps
	if !(t >= 0 && t < 2*tableEnd*tableSteps) {
		return tailPhi(z), 0
	}
	i := int(t)
	t -= float64(i)
	a, b := &phiTable[i], &phiTable[i+1]
	rise := b.value - a.value
	two, three := 3*rise-2*a.slope-b.slope, a.slope+b.slope-2*rise
	return a.value + t*(a.slope+t*(two+t*three)), tableSteps * (a.slope + t*(2*two+3*t*three))
}

// tailPhi is quickPhi beyond the table: above it 1, to 1e-15, and below it the
// asymptotic series (Abramowitz and Stegun 1964, 26.2.12), to 1e-6 of the value.
func tailPhi(z float64) float64 {
	switch {
	case z >= tableEnd:
		return 1
	case z > -37:
		q := 1 / (z * z)
		return quickExp(-z*z/2-halfLn2Pi) / -z * (1 - q*(1-q*(3-q*(15-q*105))))
	}
	return Phi(z)
}

// solve returns where a rising f passes from below nothing (at lo) to above
// (at hi), to about 1e-10 of the largest of hi-lo, lo and hi. It is
// Chandrupatla's method (1997, from memory): inverse quadratic interpolation
// wherever the last three points allow it, else bisection.
func solve(f func(float64) float64, lo, hi float64) float64 {
	return solveFrom(f, lo, hi, f(lo), f(hi))
}

// solveFrom is solve where f at both ends is known.
func solveFrom(f func(float64) float64, lo, hi, flo, fhi float64) float64 {
	switch {
	case flo >= 0:
		return lo
	case fhi <= 0:
		return hi
	}
	eps := 0.5e-10 * max(hi-lo, math.Abs(lo), math.Abs(hi))
	// a is the newest point, b the one across the root from it, c the last
	// that either took the place of.
	a, fa, b, fb := hi, fhi, lo, flo
	t := .5
	for range 200 { // ends far sooner, unless f is not a number
		x := a + t*(b-a)
		fx := f(x)
		c, fc := b, fb
		if (fx > 0) == (fa > 0) {
			c, fc = a, fa
		} else {
			b, fb = a, fa
		}
		a, fa = x, fx
		least := eps / math.Abs(b-a)
		if fa == 0 || least > .5 {
			return a
		}
		t = .5
		across, up := (a-b)/(c-b), (fa-fb)/(fc-fb)
		if up*up < across && (1-up)*(1-up) < 1-across {
			t = fa/(fb-fa)*fc/(fb-fc) + (c-a)/(b-a)*fa/(fc-fa)*fb/(fc-fb)
		}
		t = min(1-least, max(least, t))
	}
	return a
}

// The filter's inner loop is mostly exponentials. quickExp is exp(x) to 1e-13
// of its value: a table of powers of two in 64ths, and the rest by its series.
const expSteps = 64

var expTable = func() (table [expSteps]float64) {
	for i := range table {
		table[i] = math.Exp2(float64(i) / expSteps)
	}
	return table
}()

func quickExp(x float64) float64 {
	if !(x > -700 && x < 700) {
		return math.Exp(x)
	}
	k := int64(math.Floor(x*(expSteps/math.Ln2) + .5))
	r := x - float64(k)*(math.Ln2/expSteps)
	v := expTable[k&(expSteps-1)] * (1 + r*(1+r*(1./2+r*(1./6+r*(1./24)))))
	return v * math.Float64frombits(uint64(k>>6+1023)<<52)
}
