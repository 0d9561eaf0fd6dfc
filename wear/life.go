package wear

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mathext"
)

// Life is what is known of how long something lasts: its log life is normal
// about a middle that is itself only known to be about Mu.
type Life struct {
	Mu, S0 float64 // of the middle of ln years: what is believed of it, and its deviation
	Sigma  float64 // deviation of one life about the middle, in ln years
	// Seen is what was found so far of other lives of the same middle.
	Seen []Sighting
	// Capped: what was seen may raise the middle above Mu only to the longest
	// age at which one was seen alive. Where things are renewed before they
	// end, what is seen only ever says "longer than that", and without a cap
	// that would raise the middle little by little for ever.
	Capped bool
}

// Sighting is what was found of one life: it ended after From and by To, in
// years. To of +Inf: it had not ended by From. From of 0: it had ended by To.
// Alike: it ended then. One that says nothing, or nothing that can be, is
// passed over.
type Sighting struct{ From, To float64 }

// Ages beyond these, in years, are taken as these.
const leastAge, mostAge = 1e-6, 1e6

// span is a sighting by ln age, in the order of a scale with no bounds; ok is
// false where it says nothing.
func (s Sighting) span() (from, to float64, ok bool) {
	switch {
	case !(s.From <= s.To), s.From < 0, math.IsInf(s.From, 1), s.From == 0 && math.IsInf(s.To, 1):
		return 0, 0, false
	}
	from, to = math.Inf(-1), math.Inf(1)
	if s.From > 0 || s.To == 0 {
		from = lnAge(s.From)
	}
	if !math.IsInf(s.To, 1) {
		to = lnAge(s.To)
	}
	return from, to, true
}

func lnAge(years float64) float64 { return math.Log(min(mostAge, max(leastAge, years))) }

// Ended reports whether the sighting says of a life that it has ended.
func (s Sighting) Ended() bool { return s.From <= s.To && !math.IsInf(s.To, 1) }

// LnLik is the natural logarithm of the likelihood of all that was seen, were
// the middle of ln years mu; of an exact age it takes the density in ln years.
func (l Life) LnLik(mu float64) float64 {
	sum := 0.0
	for _, s := range l.Seen {
		if from, to, ok := s.span(); ok {
			sum += lnLogNormal.lik((from-mu)/l.Sigma, (to-mu)/l.Sigma) - lnIfExact(from, to, l.Sigma)
		}
	}
	return sum
}

func lnIfExact(from, to, sigma float64) float64 {
	if from == to {
		return math.Log(sigma)
	}
	return 0
}

// LifePosterior is what is believed of the next life: a mixture of lognormal
// ones over the middles that are still possible.
type LifePosterior struct {
	middles, weights []float64 // of ln years; weights add up to 1
	sigma            float64   // of each
	mean, sd         float64   // of the middle
}

// The grid of middles: so many points over so many deviations each way. What is
// weighed is smooth, so that the sum is right to many digits as soon as a step
// is well below the deviation of what is left; where it is not, a second grid
// is laid over that alone. Finer ones change no answer by 1e-4.
const (
	lifePoints = 81
	lifeReach  = 6
)

// Posterior works out what is believed after what was seen.
func (l Life) Posterior() LifePosterior { return l.posterior(lifePoints) }

func (l Life) posterior(points int) LifePosterior {
	var spans [][2]float64
	most := l.Mu
	for _, s := range l.Seen {
		if from, to, ok := s.span(); ok {
			spans = append(spans, [2]float64{from, to})
			most = math.Max(most, from)
		}
	}
	if len(spans) == 0 || !(l.S0 > 0) {
		return LifePosterior{[]float64{l.Mu}, []float64{1}, math.Hypot(math.Max(0, l.S0), l.Sigma), l.Mu, math.Max(0, l.S0)}
	}
	p := LifePosterior{sigma: l.Sigma}
	lo, hi := l.Mu-lifeReach*l.S0, l.Mu+lifeReach*l.S0
	for range 20 { // narrows until the grid shows the shape: more than once only for hundreds of sightings
		p.grid(lo, hi, points)
		if !p.quick(l, spans) {
			p.slow(l, spans)
		}
		p.moments()
		step := (hi - lo) / float64(points-1)
		if p.sd >= 2*step || math.IsNaN(p.sd) {
			break
		}
		reach := math.Max(8*p.sd, 4*step)
		lo, hi = math.Max(lo, p.mean-reach), math.Min(hi, p.mean+reach)
	}
	if over := p.mean - most; l.Capped && over > 0 {
		p.mean = most
		for i := range p.middles {
			p.middles[i] -= over
		}
	}
	p.trim()
	return p
}

func (p *LifePosterior) grid(lo, hi float64, points int) {
	if len(p.middles) != points {
		p.middles, p.weights = make([]float64, points), make([]float64, points)
	}
	step := (hi - lo) / float64(points-1)
	for i := range p.middles {
		p.middles[i] = lo + float64(i)*step
	}
}

// quick weighs the middles by plain products, which are right as long as the
// best of them is not near the end of floating point: it says whether it is not.
func (p *LifePosterior) quick(l Life, spans [][2]float64) bool {
	w, first := p.weights, p.middles[0]
	step := p.middles[1] - first
	for i := range w {
		w[i] = 1
	}
	timesBell(w, (first-l.Mu)/l.S0, step/l.S0)
	by := 1 / l.Sigma
	for _, s := range spans {
		from, to := s[0], s[1]
		switch {
		case from == to:
			timesBell(w, (first-from)*by, step*by)
		case math.IsInf(to, 1):
			timesPhi(w, (first-from)*by, step*by)
		case math.IsInf(from, -1):
			timesPhi(w, (to-first)*by, -step*by)
		default:
			for i, m := range p.middles {
				w[i] *= between((from-m)*by, (to-m)*by)
			}
		}
	}
	return slices.Max(w) > 1e-200
}

// timesBell multiplies each of w by exp(-z²/2), of a z that grows by a step.
func timesBell(w []float64, z, step float64) {
	for i := range w {
		x := z + float64(i)*step
		w[i] *= quickExp(-x * x / 2)
	}
}

// timesPhi multiplies each of w by Phi of a z that grows by a step: quickPhi
// drawn into one loop, since nearly all sightings are of this kind.
func timesPhi(w []float64, z, step float64) {
	t0, dt := (z+tableEnd)*tableSteps, step*tableSteps
	for i := range w {
		t := t0 + float64(i)*dt
		if t >= 2*tableEnd*tableSteps {
			continue // 1 to within rounding
		}
		if !(t >= 0) {
			w[i] *= Phi(z + float64(i)*step)
			continue
		}
		k := int(t)
		t -= float64(k)
		a, b := &phiTable[k], &phiTable[k+1]
		rise := b.value - a.value
		w[i] *= a.value + t*(a.slope+t*(3*rise-2*a.slope-b.slope+t*(a.slope+b.slope-2*rise)))
	}
}

// between is the chance of a standard normal between two.
func between(a, b float64) float64 {
	if a > 0 { // the smaller tail keeps its digits
		a, b = -b, -a
	}
	return quickPhi(b) - quickPhi(a)
}

// slow does so by logarithms.
func (p *LifePosterior) slow(l Life, spans [][2]float64) {
	for i, m := range p.middles {
		z := (m - l.Mu) / l.S0
		sum := -z * z / 2
		for _, s := range spans {
			sum += lnLogNormal.lik((s[0]-m)/l.Sigma, (s[1]-m)/l.Sigma)
		}
		p.weights[i] = sum
	}
	top := slices.Max(p.weights)
	for i, lw := range p.weights {
		p.weights[i] = math.Exp(lw - top)
	}
}

// moments makes the weights add up to 1 and takes mean and deviation.
func (p *LifePosterior) moments() {
	sum, first, second := 0.0, 0.0, 0.0
	for _, w := range p.weights {
		sum += w
	}
	for i, w := range p.weights {
		p.weights[i] = w / sum
		first += w / sum * p.middles[i]
	}
	for i, w := range p.weights {
		d := p.middles[i] - first
		second += w * d * d
	}
	p.mean, p.sd = first, math.Sqrt(second)
}

// trim leaves out the ends of the grid that weigh nothing.
func (p *LifePosterior) trim() {
	const nothing = 1e-12
	lo, hi := 0, len(p.weights)
	for lo < hi-1 && p.weights[lo] < nothing {
		lo++
	}
	for hi-1 > lo && p.weights[hi-1] < nothing {
		hi--
	}
	p.middles, p.weights = p.middles[lo:hi], p.weights[lo:hi]
}

// Middle is the mean and the deviation of the middle of ln years.
func (p LifePosterior) Middle() (mean, sd float64) { return p.mean, p.sd }

// Survives is the chance that a life is longer than so many years.
func (p LifePosterior) Survives(years float64) float64 {
	switch {
	case !(years > 0):
		return 1
	case math.IsInf(years, 1):
		return 0
	}
	return min(1, p.beyond(math.Log(years)))
}

func (p LifePosterior) beyond(ln float64) float64 {
	by, sum := 1/p.sigma, 0.0
	for i, m := range p.middles {
		sum += p.weights[i] * quickPhi((m-ln)*by)
	}
	return sum
}

// CDF is the chance that a life has ended by so many years.
func (p LifePosterior) CDF(years float64) float64 { return 1 - p.Survives(years) }

// Risk is the chance that a life that was good at an age has ended by another,
// both in years: (F(t)-F(t0)) / (1-F(t0)).
func (p LifePosterior) Risk(good, years float64) float64 {
	if !(years > good) {
		return 0
	}
	alive := p.Survives(good)
	if !(alive > 0) {
		return 1
	}
	return min(1, max(0, 1-p.Survives(years)/alive))
}

// DueAt is the age in years at which the chance that it has ended comes to
// risk, given that it was good at an age; good of 0: nothing was seen. It is
// good itself where so old a thing cannot be spoken of, and +Inf for a risk of
// 1 or more.
func (p LifePosterior) DueAt(risk, good float64) float64 {
	if !(good > 0) {
		good = 0
	}
	alive := p.Survives(good)
	switch {
	case risk >= 1:
		return math.Inf(1)
	case !(risk > 0) || !(alive > 0):
		return good
	}
	left := (1 - risk) * alive
	lo, hi := p.bracket(left)
	if good > 0 {
		lo = math.Max(lo, math.Log(good))
	}
	if hi <= lo {
		return good
	}
	return max(good, math.Exp(solve(func(ln float64) float64 { return left - p.beyond(ln) }, lo, hi)))
}

// bracket holds the ln age beyond which a share of lives goes on: it lies
// between those of the least and the largest middle.
func (p LifePosterior) bracket(share float64) (lo, hi float64) {
	first, last := p.middles[0], p.middles[len(p.middles)-1]
	if share < 1e-12 || share > 1-1e-12 { // where the inverse loses its digits
		return first - 40*p.sigma, last + 40*p.sigma
	}
	z := math.Sqrt2 * math.Erfcinv(2*share) * p.sigma
	return first + z - 1e-3, last + z + 1e-3
}

// Quantile is the age in years by which a share of lives has ended.
func (p LifePosterior) Quantile(share float64) float64 { return p.DueAt(share, 0) }

// Median is the age in years that half of the lives reach.
func (p LifePosterior) Median() float64 { return p.Quantile(.5) }

// Share is how large a share of things some is, of which so many were seen to
// be and so many not: 5 % point, mean and 95 % point of a Beta law that begins
// from Jeffreys' prior.
func Share(are, not int) (low, mean, high float64) {
	a, b := float64(max(are, 0))+.5, float64(max(not, 0))+.5
	return mathext.InvRegIncBeta(a, b, .05), a / (a + b), mathext.InvRegIncBeta(a, b, .95)
}
