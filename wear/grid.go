package wear

import "math"

// nodes is how many values of the rate's logarithm a grid holds. The weights
// form a bell over ten of its deviations, on which the trapezium rule is exact
// to far more digits than are needed even at half as many nodes; the branches
// with a change of rate, most of them slight, make do with half. After a few
// readings, one of which may be misread, the weights can be a narrow peak on a
// wide bell, for which a grid may have more.
const (
	nodes = 41
	half  = 21
	most  = 161
)

// span is the range of ln rates that a grid covers, ends included.
type span struct{ lo, hi float64 }

// around is five standard deviations each way.
func around(mean, sd float64) span { return span{mean - 5*sd, mean + 5*sd} }

// grid is a set of rates, each with a Kalman filter for the level.
type grid struct {
	n           int           // nodes in use
	first, step float64       // ln rate of the first node, and between nodes
	r           [most]float64 // rate
	m, p        [most]float64 // mean and variance of the level
	// The ln likelihood of the readings so far is l + ln(f)/2: a product costs
	// less than a logarithm.
	l, f [most]float64
}

// peak is where readings put the ln rate, and how narrowly. No sd: nowhere.
type peak struct {
	ln, sd float64
	// narrow: so few readings tell of it that it may stand beside what was
	// believed before them, and has to be looked for.
	narrow bool
}

// with is the span stretched to a peak outside it.
func (s span) with(p peak) span {
	if p.sd == 0 {
		return s
	}
	return span{min(s.lo, p.ln-4*p.sd), max(s.hi, p.ln+4*p.sd)}
}

// grain is how many nodes a span wants for a narrow peak to be seen, but at
// least so many.
func (s span) grain(p peak, least int) int {
	if !p.narrow {
		return least
	}
	return int(max(float64(least), min(most, 1+math.Ceil((s.hi-s.lo)/(1.5*p.sd)))))
}

// lay spreads n rates evenly over a span and forgets what was there.
func (g *grid) lay(over span, n int) {
	g.n, g.first, g.step = n, over.lo, (over.hi-over.lo)/float64(n-1)
	for j := range n {
		g.r[j] = math.Exp(g.first + float64(j)*g.step)
		g.l[j], g.f[j], g.m[j], g.p[j] = 0, 1, 0, 0
	}
}

// copy takes over the nodes of another.
func (g *grid) copy(of *grid) {
	g.n, g.first, g.step = of.n, of.first, of.step
	copy(g.r[:of.n], of.r[:])
	copy(g.m[:of.n], of.m[:])
	copy(g.p[:of.n], of.p[:])
	copy(g.l[:of.n], of.l[:])
	copy(g.f[:of.n], of.f[:])
}

// covered is the span that it is laid over.
func (g *grid) covered() span { return span{g.first, g.first + float64(g.n-1)*g.step} }

// set puts every node at one level.
func (g *grid) set(mean, variance float64) {
	for j := range g.n {
		g.m[j], g.p[j] = mean, variance
	}
}

// run carries every node over an exposure.
func (g *grid) run(dL, phi float64) {
	for j := range g.n {
		w := g.r[j] * dL
		g.m[j] += w
		g.p[j] += phi * w
	}
}

// jolt makes every level less sure by a variance.
func (g *grid) jolt(variance float64) {
	for j := range g.n {
		g.p[j] += variance
	}
}

// read takes a reading y of variance s2 into every node; a misread one's is
// that of the mixture times slope2.
func (g *grid) read(y, s2, slope2 float64, of *mixture) {
	if of.odds == 0 {
		g.readGood(y, s2)
		return
	}
	x := *of
	x.out2 *= slope2
	for j := range g.n {
		mean, variance, l, f, _ := x.update(g.m[j], g.p[j], y, s2)
		g.m[j], g.p[j] = mean, variance
		g.l[j] += l
		if g.f[j] *= f; g.f[j] > 1e120 || g.f[j] < 1e-120 {
			g.l[j] += math.Log(g.f[j]) / 2
			g.f[j] = 1
		}
	}
}

// readGood is read where no reading is misread, for speed.
func (g *grid) readGood(y, s2 float64) {
	n := g.n
	m, p, l, f := g.m[:n], g.p[:n], g.l[:n], g.f[:n]
	for j := range m {
		e, is := y-m[j], 1/(p[j]+s2)
		gain := p[j] * is
		m[j] += gain * e
		p[j] = gain * s2
		l[j] += -(e * e * is / 2) - halfLn2Pi
		if f[j] *= is; f[j] > 1e120 || f[j] < 1e-120 {
			l[j] += math.Log(f[j]) / 2
			f[j] = 1
		}
	}
}

// likelihood is the ln likelihood of the readings so far at a node.
func (g *grid) likelihood(j int) float64 { return g.l[j] + math.Log(g.f[j])/2 }

// far2 is the square of how many of its deviations a misread one may lie off: one
// that lies further has a wider law, as a reading in another unit has, so that
// nothing is too far off to be misread.
const far2 = 9

// mixture is the law of a reading that may be misread: good, with a variance
// of its own, or, at odds, with variance out2.
type mixture struct{ lnGood, odds, lnOdds, out2 float64 }

func newMixture(p *Params) mixture {
	return mixture{math.Log1p(-p.Eps), p.Eps / (1 - p.Eps), math.Log(p.Eps / (1 - p.Eps)), p.Out * p.Out}
}

// update is the Kalman update of a level, mean m and variance p, by a reading y
// of variance s2. The reading's ln likelihood is l + ln(f)/2, and it was misread
// with probability bad: the two answers are weighed and drawn together to one
// normal of the same mean and variance.
func (x *mixture) update(m, p, y, s2 float64) (mean, variance, l, f, bad float64) {
	e, is := y-m, 1/(p+s2)
	gain := p * is
	qs := e * e * is / 2
	m1, p1 := m+gain*e, gain*s2 // positive, where p-gain*p may not be
	if x.odds == 0 {
		return m1, p1, -qs - halfLn2Pi, is, 0
	}
	out2 := x.out2
	if far := e * e * (1. / far2); far > out2 { // the builtin max costs much
		out2 = far
	}
	it := 1 / (p + out2)
	qt := e * e * it / 2
	if d := qs - qt; x.lnOdds+d < 100 {
		odds := x.odds * quickExp(d) * math.Sqrt(it*(p+s2))
		good := 1 / (1 + odds)
		bad = odds * good
		l, f = x.lnGood-qs-halfLn2Pi, (1+odds)*(1+odds)*is
	} else { // nothing is left of the good law
		bad = 1
		l, f = x.lnGood+x.lnOdds-qt-halfLn2Pi, it
	}
	gain = p * it
	d := m1 - m - gain*e
	return m1 - bad*d, (1-bad)*(p1+bad*d*d) + bad*gain*out2, l, f, bad
}

// weights fills w with the posterior weight of each node and returns the ln
// evidence.
func (g *grid) weights(prior Prior, w *[most]float64) (evidence float64) {
	top := math.Inf(-1)
	for j := range g.n {
		z := (g.first + float64(j)*g.step - prior.Mu) / prior.Om
		w[j] = g.likelihood(j) - z*z/2
		top = max(top, w[j])
	}
	sum := 0.0
	for j := range g.n {
		w[j] = quickExp(w[j] - top)
		sum += w[j]
	}
	for j := range g.n {
		w[j] /= sum
	}
	return top + math.Log(sum*g.step/prior.Om) - halfLn2Pi
}

// lnRate returns the mean and deviation of the ln rate under weights w.
func (g *grid) lnRate(w *[most]float64) (mean, sd float64) {
	var sum, squares float64 // in steps from the first node
	for j := range g.n {
		sum += w[j] * float64(j)
		squares += w[j] * float64(j) * float64(j)
	}
	return g.first + sum*g.step, math.Sqrt(max(0, squares-sum*sum)) * g.step
}

// next returns the span for another pass, given this one's weights: five
// deviations each way, a deviation being no wider than the prior's and no
// narrower than this grid can see; then out to the last node with some weight,
// or in to the first with next to none, for a law can be lopsided.
func (g *grid) next(prior Prior, w *[most]float64) span {
	mean, sd := g.lnRate(w)
	out := around(mean, min(prior.Om, math.Hypot(sd, g.step/2)))
	some, trace := g.reach(w, 1e-6), g.reach(w, 1e-9)
	return span{
		max(min(out.lo, some.lo), trace.lo-g.step),
		min(max(out.hi, some.hi), trace.hi+g.step),
	}
}

// reach returns the span of the nodes that weigh more than least.
func (g *grid) reach(w *[most]float64, least float64) span {
	lo, hi := 0, g.n-1
	for w[lo] <= least {
		lo++
	}
	for w[hi] <= least {
		hi--
	}
	return span{g.first + float64(lo)*g.step, g.first + float64(hi)*g.step}
}

// coarse reports that the nodes are too far apart for the weights to be right.
func (g *grid) coarse(w *[most]float64) bool {
	_, sd := g.lnRate(w)
	return sd < g.step
}

// cut reports that an end of the span still has some weight.
func (g *grid) cut(w *[most]float64) bool { return w[0] > 1e-6 || w[g.n-1] > 1e-6 }

// level returns the mean and variance of the level under weights w.
func (g *grid) level(w *[most]float64) (mean, variance float64) {
	for j := range g.n {
		mean += w[j] * g.m[j]
	}
	for j := range g.n {
		d := g.m[j] - mean
		variance += w[j] * (g.p[j] + d*d)
	}
	return mean, variance
}
