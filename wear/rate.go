package wear

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Figures behind a fitted rate (judgement, no source, where none is named).
const (
	// fewErrors is how many errors it takes for their own scatter to count
	// alone; of fewer, the noise that reading them is known to have counts where
	// it is the larger.
	fewErrors = 20
	// leastScatter is the least, as a share of the known noise, that many errors
	// can have: those noted in whole seconds may lie on a line to the hair.
	leastScatter = .125
	// surelyNormal is from how many degrees of freedom on Student's t is as good
	// as normal: at 5 % a hundredth of a deviation apart.
	surelyNormal = 100
	// An error is set aside as misread when it lies off the line of the others
	// by so many readings' noise and so many of the others' deviations.
	misreadNoise, misreadSD = 15.0, 6.0
	// believable is the most that a clock in care may go wrong in a day, in
	// seconds: a turn or more of any rating nut. Errors further apart are no rate.
	believable = 300.0
)

// Rate is the rate of a clock by least squares of its errors by time, in
// seconds a day, + gaining.
type Rate struct {
	PerDay, SD float64
	// Nu are the degrees of freedom with which SD is known, for Student's t; 0:
	// it rests on the known noise, and the normal law holds.
	Nu float64
	N  int // errors that it rests on
	// Scatter is the deviation of one error from the line that it rests on: the
	// known noise, or their own.
	Scatter float64
	// Aside are those that were misread, by their place.
	Aside []int

	mid, mean, spread float64 // day and error in the middle, sum of squares of days
}

// FitRate fits a rate to errors in seconds, + fast, at days that never fall.
// Noise is the deviation that reading one error is known to have; 0: not known.
// A single misread, or a few in many, are set aside. ok is false where the
// errors carry no rate: fewer than two, all at one instant, two without known
// noise, or a rate beyond all belief.
func FitRate(days, seconds []float64, noise float64) (r Rate, ok bool) {
	if len(days) != len(seconds) || !fits(days, seconds, 2) || !(noise >= 0) {
		return Rate{}, false
	}
	s := sumsOf(days, seconds, nil)
	var aside []int
	switch n := len(days); {
	case n == 3 && s.rss() > 9*misreadNoise*misreadNoise*noise*noise && noise > 0:
		aside = oddOfThree(days, seconds)
	case n > 3 && noise > 0:
		aside = misread(days, seconds, noise, s)
	}
	if aside != nil {
		s = sumsOf(days, seconds, aside)
	}
	return s.rate(noise, aside)
}

// sums are those of least squares about the means.
type sums struct{ n, mx, my, sxx, sxy, syy float64 }

func sumsOf(x, y []float64, without []int) sums {
	var s sums
	for i := range x {
		if len(without) == 0 || !slices.Contains(without, i) {
			s.n++
			s.mx += x[i]
			s.my += y[i]
		}
	}
	s.mx, s.my = s.mx/s.n, s.my/s.n
	var rx, ry float64 // what the means are out by, so that a common offset costs no digits
	for i := range x {
		if len(without) == 0 || !slices.Contains(without, i) {
			dx, dy := x[i]-s.mx, y[i]-s.my
			rx += dx
			ry += dy
			s.sxx += dx * dx
			s.sxy += dx * dy
			s.syy += dy * dy
		}
	}
	s.sxx, s.sxy, s.syy = s.sxx-rx*rx/s.n, s.sxy-rx*ry/s.n, s.syy-ry*ry/s.n
	s.mx, s.my = s.mx+rx/s.n, s.my+ry/s.n
	return s
}

// rss is what the line leaves, squared and summed.
func (s sums) rss() float64 {
	if s.sxx == 0 {
		return s.syy
	}
	return max(0, s.syy-s.sxy*s.sxy/s.sxx)
}

// off is how far a point lies off the line of the others, and its leverage
// there: the square of the first over the second is what it adds to the rest.
func (s sums) off(x, y float64) (residual, left float64) {
	slope, h := 0.0, 1/s.n
	if s.sxx > 0 {
		slope, h = s.sxy/s.sxx, 1/s.n+(x-s.mx)*(x-s.mx)/s.sxx
	}
	return y - s.my - slope*(x-s.mx), max(1-h, 1e-9)
}

// near reports that no point lies further off the line of the others than so
// much. Days never fall, so that the ends weigh most. Nearly always it is so.
func (s sums) near(x, y []float64, most float64) bool {
	_, first := s.off(x[0], 0)
	_, last := s.off(x[len(x)-1], 0)
	most *= min(first, last)
	slope := s.sxy / max(s.sxx, math.SmallestNonzeroFloat64)
	for i := range x {
		if e := y[i] - s.my - slope*(x[i]-s.mx); !(e <= most && -e <= most) {
			return false
		}
	}
	return true
}

func (s sums) rate(noise float64, aside []int) (Rate, bool) {
	r := Rate{N: int(s.n), Aside: aside, mid: s.mx, mean: s.my, spread: s.sxx, Scatter: noise}
	if s.n < 2 || s.sxx <= 0 || s.n == 2 && noise == 0 {
		return Rate{}, false
	}
	r.PerDay = s.sxy / s.sxx
	if s.n > 2 {
		if own := math.Sqrt(s.rss() / (s.n - 2)); own > noise || s.n > fewErrors {
			r.Scatter, r.Nu = max(own, leastScatter*noise), s.n-2
		}
	}
	r.SD = r.Scatter / math.Sqrt(s.sxx)
	return r, finite(r.SD) && math.Abs(r.PerDay) <= believable
}

// oddOfThree picks the one of three errors on no line that leaves the other two
// the slower rate: clocks go wrong by seconds, people by minutes and hours.
func oddOfThree(x, y []float64) []int {
	odd, slow := -1, math.Inf(1)
	for i := range x {
		j, k := (i+1)%3, (i+2)%3
		if v := math.Abs((y[k] - y[j]) / (x[k] - x[j])); v < slow {
			odd, slow = i, v
		}
	}
	if odd < 0 {
		return nil
	}
	return []int{odd}
}

// misread finds the errors that lie far off the line of the others: the worst
// is left out again and again, and the last to stand off judges for those
// before it, so that two misreads alike do not hide one another (Rosner 1983,
// generalized extreme Studentized deviate, from memory; the bound is ours). At
// most a fifth is set aside, and one of four.
func misread(x, y []float64, noise float64, s sums) []int {
	if s.near(x, y, misreadNoise*noise) {
		return nil
	}
	var out []int
	keep := 0
	for most := max(1, min(5, len(x)/5)); len(out) < most; {
		worst, far := -1, 0.0
		for i := range x {
			if len(out) > 0 && slices.Contains(out, i) {
				continue
			}
			e, left := s.off(x[i], y[i])
			if v := e * e / left; v > far {
				worst, far = i, v
			}
		}
		if worst < 0 {
			break
		}
		others := math.Sqrt(max(0, s.rss()-far) / max(1, s.n-3))
		out = append(out, worst)
		if math.Sqrt(far) > max(misreadNoise*noise, misreadSD*max(others, noise)) {
			keep = len(out)
		}
		s = sumsOf(x, y, out)
	}
	if keep == 0 {
		return nil
	}
	return out[:keep]
}

// Within is half the interval that holds the rate so often (.95).
func (r Rate) Within(share float64) float64 { return r.SD * studentQuantile((1+share)/2, r.Nu) }

// At is where the error stands on a day, by the line, and how fast it moves.
func (r Rate) At(day float64) Drift {
	d := day - r.mid
	return Drift{
		Level: r.mean + r.PerDay*d, LevelSD: r.Scatter * math.Sqrt(1/float64(r.N)+d*d/r.spread),
		Rate: r.PerDay, RateSD: r.SD, Cov: r.Scatter * r.Scatter * d / r.spread, Nu: r.Nu,
	}
}

// Drift is where something stands that moves evenly, and how fast, as far as is
// known: what is not known follows Student's t, or the normal law where Nu is 0.
type Drift struct {
	Level, LevelSD float64
	Rate, RateSD   float64 // a day
	Cov            float64 // of the two
	Nu             float64
}

// At is where it stands so many days on, with its deviation.
func (d Drift) At(days float64) (mean, sd float64) {
	return d.Level + d.Rate*days,
		math.Sqrt(max(0, d.LevelSD*d.LevelSD+2*days*d.Cov+days*days*d.RateSD*d.RateSD))
}

// Beyond is the chance that, so many days on, it is further than a limit from
// nothing, to either side.
func (d Drift) Beyond(limit, days float64) float64 {
	m, sd := d.At(days)
	if sd == 0 {
		if math.Abs(m) >= limit {
			return 1
		}
		return 0
	}
	return studentCDF((m-limit)/sd, d.Nu) + studentCDF((-m-limit)/sd, d.Nu)
}

// Reaches is in how many days the chance that it is beyond a limit comes to so
// much; 0: it has by now. ok is false where it does not within most days, or
// anything is no number.
func (d Drift) Reaches(limit, chance, most float64) (days float64, ok bool) {
	short := func(days float64) float64 { return d.Beyond(limit, days) - chance }
	now := short(0)
	switch {
	case !(limit > 0) || !(most > 0) || !finite(now):
		return 0, false
	case now >= 0:
		return 0, true
	}
	// The chance may fall at first, while an error comes back towards nothing,
	// and rises ever after.
	for lo, flo, hi := 0.0, now, min(.5, most); ; hi = min(2*hi, most) {
		f := short(hi)
		if f >= 0 {
			return solveFrom(short, lo, hi, flo, f), true
		}
		if hi >= most || math.IsNaN(f) {
			return 0, false
		}
		lo, flo = hi, f
	}
}

// studentCDF is the distribution function of Student's t, or the normal one.
func studentCDF(z, nu float64) float64 {
	if nu == 0 || nu > surelyNormal {
		return Phi(z)
	}
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: nu}.CDF(z)
}

// studentQuantile is its inverse.
func studentQuantile(p, nu float64) float64 {
	if nu == 0 || nu > surelyNormal {
		return math.Sqrt2 * math.Erfinv(2*p-1)
	}
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: nu}.Quantile(p)
}

// Influence is one stretch of a clock's rate beside what it may hang on.
type Influence struct {
	X        float64 // mean temperature, or mean pressure, of the stretch
	Rate, SD float64
	// Group is alike for stretches between which nobody regulated; only
	// differences within a group tell anything.
	Group int
}

// What it takes to say how a rate goes with temperature or pressure: so many
// stretches over so many degrees (common practice) or hPa (judgement, no source).
const (
	LeastStretches   = 8
	LeastCelsius     = 15.0
	LeastHectopascal = 30.0
	rateWander       = .2 // s/day by which a rate differs from stretch to stretch for reasons of its own
)

// Slope is how the rate goes with X, by least squares within the groups, each
// weighted by how well its rate is known; n is how many stretches it rests on.
// ok is false below LeastStretches, or where X spans less than asked for.
func Slope(all []Influence, span float64) (slope, sd float64, n int, ok bool) {
	type sum struct{ w, x, y, n, lo, hi float64 }
	groups := map[int]sum{}
	for _, p := range all {
		if finite(p.X) && finite(p.Rate) && finite(p.SD) {
			g, old := groups[p.Group]
			if !old {
				g.lo, g.hi = p.X, p.X
			}
			w := 1 / (p.SD*p.SD + rateWander*rateWander)
			groups[p.Group] = sum{g.w + w, g.x + w*p.X, g.y + w*p.Rate, g.n + 1, min(g.lo, p.X), max(g.hi, p.X)}
		}
	}
	lo, hi, used := math.Inf(1), math.Inf(-1), 0
	for _, g := range groups {
		if g.n > 1 { // alone in its group it tells nothing
			n, used, lo, hi = n+int(g.n), used+1, min(lo, g.lo), max(hi, g.hi)
		}
	}
	if n < LeastStretches || hi-lo < span || n-used < 2 {
		return 0, 0, n, false
	}
	var sxx, sxy, syy float64
	for _, p := range all {
		if g := groups[p.Group]; g.n > 1 && finite(p.X) && finite(p.Rate) && finite(p.SD) {
			w := 1 / (p.SD*p.SD + rateWander*rateWander)
			x, y := p.X-g.x/g.w, p.Rate-g.y/g.w
			sxx += w * x * x
			sxy += w * x * y
			syy += w * y * y
		}
	}
	if !(sxx > 0) {
		return 0, 0, n, false
	}
	slope = sxy / sxx
	left := max(0, syy-sxy*sxy/sxx) / float64(n-used-1)
	return slope, math.Sqrt(max(1, left) / sxx), n, true
}

// Rising is the slope of a straight line through values by time, and the chance
// that values which do not rise would show one as steep. ok is false below three
// values, or where they were all seen at one time.
func Rising(days, values []float64) (slope, byChance float64, ok bool) {
	l, err := FitLine(days, values)
	switch {
	case err != nil:
		return 0, 1, false
	case l.SlopeSE > 0:
		return l.Slope, studentCDF(-l.Slope/l.SlopeSE, float64(len(days)-2)), true
	case l.Slope > 0: // all on the line
		return l.Slope, 0, true
	}
	return l.Slope, 1, true
}
