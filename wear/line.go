package wear

import (
	"errors"
	"math"
	"slices"
)

// Line is a straight line fitted by least squares, with its uncertainty.
type Line struct {
	Intercept, Slope          float64
	InterceptSE, SlopeSE      float64 // standard errors
	ResidualSD                float64 // with N-2 degrees of freedom, or N-1 through zero
	N                         int
	meanX, spread, perOneMore float64 // mean of x, sum of squares about it, 1/N (0 through zero)
}

// errLine is what every unfit set of points is refused with.
var errLine = errors.New("fit a line: wants x and y alike in number, finite, with more points than figures to fit, and x not all alike")

// FitLine fits y = a + b x by ordinary least squares. It needs three points or
// more, with x not all alike.
func FitLine(x, y []float64) (Line, error) {
	if !fits(x, y, 3) {
		return Line{}, errLine
	}
	n := float64(len(x))
	mx, my := mean(x), mean(y)
	var sxx, sxy float64
	for i := range x {
		sxx += (x[i] - mx) * (x[i] - mx)
		sxy += (x[i] - mx) * (y[i] - my)
	}
	if sxx == 0 {
		return Line{}, errLine
	}
	b := sxy / sxx
	var rss float64
	for i := range x {
		e := (y[i] - my) - b*(x[i]-mx)
		rss += e * e
	}
	s := math.Sqrt(rss / (n - 2))
	return Line{
		Intercept: my - b*mx, Slope: b, ResidualSD: s, N: len(x),
		SlopeSE: s / math.Sqrt(sxx), InterceptSE: s * math.Sqrt(1/n+mx*mx/sxx),
		meanX: mx, spread: sxx, perOneMore: 1 / n,
	}, nil
}

// FitLineThroughZero fits y = b x by ordinary least squares. It needs two
// points or more, with x not all nothing.
func FitLineThroughZero(x, y []float64) (Line, error) {
	if !fits(x, y, 2) {
		return Line{}, errLine
	}
	var sxx, sxy float64
	for i := range x {
		sxx += x[i] * x[i]
		sxy += x[i] * y[i]
	}
	if sxx == 0 {
		return Line{}, errLine
	}
	b := sxy / sxx
	var rss float64
	for i := range x {
		e := y[i] - b*x[i]
		rss += e * e
	}
	s := math.Sqrt(rss / float64(len(x)-1))
	return Line{Slope: b, SlopeSE: s / math.Sqrt(sxx), ResidualSD: s, N: len(x), spread: sxx}, nil
}

// Predict returns the mean and the standard deviation of a new y at x. The
// error over the deviation follows Student's t with the degrees of freedom of
// ResidualSD.
func (l Line) Predict(x float64) (mean, sd float64) {
	d := x - l.meanX
	return l.Intercept + l.Slope*x, l.ResidualSD * math.Sqrt(1+l.perOneMore+d*d/l.spread)
}

// TheilSen returns the median of the slopes between all pairs of points, and
// the median of y - slope*x as the intercept (some packages take the medians
// of x and y apart instead). Both are NaN unless two x differ.
func TheilSen(x, y []float64) (slope, intercept float64) {
	if !fits(x, y, 2) {
		return math.NaN(), math.NaN()
	}
	slopes := make([]float64, 0, len(x)*(len(x)-1)/2)
	for i := range x {
		for j := i + 1; j < len(x); j++ {
			if x[i] != x[j] {
				slopes = append(slopes, (y[j]-y[i])/(x[j]-x[i]))
			}
		}
	}
	slope = median(slopes)
	rest := make([]float64, len(x))
	for i := range x {
		rest[i] = y[i] - slope*x[i]
	}
	return slope, median(rest)
}

func fits(x, y []float64, least int) bool {
	if len(x) != len(y) || len(x) < least {
		return false
	}
	for i := range x {
		if !finite(x[i]) || !finite(y[i]) {
			return false
		}
	}
	return true
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// mean is taken twice, the second time of what the first left over, so that a
// large common offset costs no digits.
func mean(v []float64) float64 {
	var sum, rest float64
	for _, x := range v {
		sum += x
	}
	m := sum / float64(len(v))
	for _, x := range v {
		rest += x - m
	}
	return m + rest/float64(len(v))
}

// median sorts v in place; NaN when it is empty.
func median(v []float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	slices.Sort(v)
	if half := len(v) / 2; len(v)%2 == 0 {
		return (v[half-1] + v[half]) / 2
	}
	return v[len(v)/2]
}
