package wear

import (
	"math"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// Score is how a way of forecasting did: the mean continuous ranked probability
// score and the mean absolute error of the median, in mm, and the share of
// readings that fell inside its 80 and 90 % bands.
type Score struct {
	Forecasts        int
	CRPS, MAE        float64
	Cover80, Cover90 float64
}

// add takes in one more forecast.
func (s *Score) add(o Score) {
	n := float64(s.Forecasts)
	s.Forecasts++
	s.CRPS += (o.CRPS - s.CRPS) / (n + 1)
	s.MAE += (o.MAE - s.MAE) / (n + 1)
	s.Cover80 += (o.Cover80 - s.Cover80) / (n + 1)
	s.Cover90 += (o.Cover90 - s.Cover90) / (n + 1)
}

// Versus is the score of the filter beside that of a straight line, over the
// same forecasts.
type Versus struct{ Ours, StraightLine Score }

// Track is how well readings would have been forecast: the next one, and the
// last one, from each number of readings before it.
type Track struct{ Next, Last Versus }

// judged scores one forecast by the law's distribution function.
func judged(below, crps, miss float64) Score {
	in := func(side float64) float64 {
		if below >= side && below <= 1-side {
			return 1
		}
		return 0
	}
	return Score{CRPS: crps, MAE: math.Abs(miss), Cover80: in(.1), Cover90: in(.05)}
}

// Judge scores the forecast of a reading.
func (p *Posterior) Judge(g Gauge) Score {
	if !p.known {
		return Score{CRPS: math.NaN(), MAE: math.NaN()}
	}
	s2 := p.c * p.c * g.SD * g.SD
	return judged(p.readingBelow(g.H, g.Y, s2), p.crps(g.H, g.Y, s2), g.Y-p.LevelQuantile(g.H, .5))
}

// readingBelow is the probability that a reading of variance s2 is below y.
func (p *Posterior) readingBelow(h, y, s2 float64) float64 {
	dL, sum := p.ahead(h), 0.0
	y, slope := p.warp.to(y)
	s2 *= slope * slope
	for _, n := range p.nodes {
		w := n.r * dL
		sum += n.w * quickPhi((y-n.m-w)/math.Sqrt(n.p+p.phi*w+s2))
	}
	return min(1, sum)
}

// crps is the continuous ranked probability score of a mixture of normals in
// closed form (Grimit, Gneiting, Berrocal and Johnson 2006, from memory).
// Nodes of next to no weight are left out.
func (p *Posterior) crps(h, y, s2 float64) float64 {
	if p.warp.k != 0 {
		return p.crpsWarped(h, y, s2)
	}
	type bell struct{ w, mean, v float64 }
	bells, dL, kept := make([]bell, 0, len(p.nodes)), p.ahead(h), 0.0
	for _, n := range p.nodes {
		if n.w > 1e-5 {
			bells = append(bells, bell{n.w, n.m + n.r*dL, n.p + p.phi*n.r*dL + s2})
			kept += n.w
		}
	}
	off := func(d, v float64) float64 {
		s := math.Sqrt(v)
		z := d / s
		return 2*s*math.Exp(-z*z/2-halfLn2Pi) + d*(2*quickPhi(z)-1)
	}
	var far, apart float64
	for i, a := range bells {
		far += a.w * off(y-a.mean, a.v)
		apart += a.w * a.w * off(0, 2*a.v) / 2
		for _, b := range bells[:i] {
			apart += a.w * b.w * off(a.mean-b.mean, a.v+b.v)
		}
	}
	return far/kept - apart/(kept*kept)
}

// crpsWarped is crps on a scale that is not even, by the midpoint rule to each side of the reading.
func (p *Posterior) crpsWarped(h, y, s2 float64) float64 {
	const steps = 300
	noise := 5 * math.Sqrt(s2)
	lo, hi := min(y, p.LevelQuantile(h, 1e-5)-noise), max(y, p.LevelQuantile(h, 1-1e-5)+noise)
	squares := func(from, to float64, of func(f float64) float64) (sum float64) {
		step := (to - from) / steps
		for i := range steps {
			f := of(p.readingBelow(h, from+(float64(i)+.5)*step, s2))
			sum += f * f * step
		}
		return sum
	}
	return squares(lo, y, func(f float64) float64 { return f }) + squares(y, hi, func(f float64) float64 { return 1 - f })
}

// judgeLine scores a straight line through points as the forecast of a reading,
// with the t interval of its residuals; through two points, which leave none,
// it has the reading's own uncertainty at both. ok is false where there is no
// line.
func judgeLine(x, y []float64, g Gauge) (s Score, ok bool) {
	if len(x) < 2 {
		return s, false
	}
	if len(x) == 2 {
		if x[0] == x[1] {
			return s, false
		}
		mean := y[1] + (y[1]-y[0])/(x[1]-x[0])*(g.H-x[1])
		t := (g.H - x[0]) / (x[1] - x[0])
		sd := g.SD * math.Sqrt(1+t*t+(1-t)*(1-t))
		z := (g.Y - mean) / sd
		return judged(Phi(z), sd*(z*(2*Phi(z)-1)+2*math.Exp(-z*z/2-halfLn2Pi)-1/math.Sqrt(math.Pi)), g.Y-mean), true
	}
	l, err := FitLine(x, y)
	if err != nil {
		return s, false
	}
	mean, sd := l.Predict(g.H)
	sd = max(sd, finestGauge)
	law := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(len(x) - 2)}
	z := (g.Y - mean) / sd
	return judged(law.CDF(z), sd*crpsT(z, law), g.Y-mean), true
}

// crpsT is the continuous ranked probability score of a standard Student's t in
// closed form (Jordan, Krueger and Lerch 2019, from memory). With one degree of
// freedom, where that form divides by nothing, it is the integral of 2F-1, as
// for every law, from 2 ln 2/pi at the middle.
func crpsT(z float64, law distuv.StudentsT) float64 {
	nu := law.Nu
	if nu == 1 {
		return 2 / math.Pi * (z*math.Atan(z) - math.Log1p(z*z)/2 + math.Ln2)
	}
	b := math.Exp(mathext.Lbeta(.5, nu-.5) - 2*mathext.Lbeta(nu/2, .5))
	return z*(2*law.CDF(z)-1) + 2*law.Prob(z)*(nu+z*z)/(nu-1) - 2*math.Sqrt(nu)/(nu-1)*b
}
