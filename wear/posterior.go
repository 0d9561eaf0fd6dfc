package wear

import "math"

// Posterior is what is known of a bearing after its readings: a mixture of
// normals over rates and over accounts of the history. It does not change and
// may be shared. Where there is no level ([Posterior.Known]) the methods that
// want one return NaN.
type Posterior struct {
	nodes       []node // of all branches together
	rates       []rates
	accounts    []account // of the branches, as rates are
	lnMean      float64   // of the rate
	lnSD        float64
	moments     moments
	known       bool
	origin, now float64
	phi, c, b   float64
	warp        warp // nodes are on its even scale
	readings    int
	after       int
	pChange     float64
	evidence    float64
}

// node is one rate r with the level it comes to, mean m and variance p, and
// its weight among all.
type node struct{ w, r, m, p float64 }

// moments are the means of size and rate over the nodes, by how much they vary from
// node to node and together, and the mean variance of the size at a node.
type moments struct{ m, r, mm, mr, rr, p float64 }

func momentsOf(nodes []node) (x moments) {
	for i := range nodes {
		n := &nodes[i]
		x.m += n.w * n.m
		x.r += n.w * n.r
		x.p += n.w * n.p
	}
	for i := range nodes {
		n := &nodes[i]
		m, r := n.m-x.m, n.r-x.r
		x.mm += n.w * m * m
		x.mr += n.w * m * r
		x.rr += n.w * r * r
	}
	return x
}

// rates are the weights of a branch's evenly spaced ln rates.
type rates struct {
	first, step float64
	w           []float64 // sum to the branch's weight
}

// negligible is the weight under which a node is left out of forecasts.
const negligible = 1e-6

// reset empties it for the next history, and keeps its memory.
func (p *Posterior) reset(by Params) {
	*p = Posterior{nodes: p.nodes[:0], rates: p.rates[:0], accounts: p.accounts[:0], phi: by.Phi, c: by.C, b: by.B, warp: warp{by.Quicken, by.Reach}, after: -1}
}

// take draws the branches together.
func (p *Posterior) take(branches []branch) {
	var squares, kept float64
	for i := range branches {
		b := &branches[i]
		of := p.another(b.n)
		p.accounts = append(p.accounts, b.account)
		of.first, of.step = b.first, b.step
		for j := range b.n {
			w := b.weight * b.w[j]
			of.w[j] = w
			if w > negligible {
				p.nodes = append(p.nodes, node{w, b.r[j], b.m[j], b.p[j]})
				kept += w
			}
		}
		mean, sd := b.lnRate(&b.w)
		p.lnMean += b.weight * mean
		squares += b.weight * (mean*mean + sd*sd)
	}
	p.lnSD = math.Sqrt(max(0, squares-p.lnMean*p.lnMean))
	for i := range p.nodes {
		p.nodes[i].w /= kept
	}
	p.moments = momentsOf(p.nodes)
}

// another gives the next rates to fill, n of them.
func (p *Posterior) another(n int) *rates {
	if len(p.rates) < cap(p.rates) {
		p.rates = p.rates[:len(p.rates)+1]
	} else {
		p.rates = append(p.rates, rates{})
	}
	of := &p.rates[len(p.rates)-1]
	if cap(of.w) < n {
		of.w = make([]float64, max(n, nodes))
	}
	of.w = of.w[:n]
	return of
}

// Horizon is how many units of exposure beyond now a crossing is looked for.
const Horizon = 1000

// CrossingState says what kind of answer a [Crossing] is.
type CrossingState string

// The crossing states.
const (
	At      CrossingState = "at"      // H is the exposure
	Already CrossingState = "already" // likely enough to be over now; H is now
	Beyond  CrossingState = "beyond"  // not within Horizon; H is where that ends
	Unknown CrossingState = "unknown" // no level, or no sense in the question; H is NaN
)

// Crossing is when a limit is crossed with some probability.
type Crossing struct {
	H     float64
	State CrossingState
}

// Known reports whether the size of the present part is known at all.
func (p Posterior) Known() bool { return p.known }

// Now returns the exposure of the last fact: the last reading of the present
// part, or its fitting.
func (p Posterior) Now() float64 { return p.now }

// Readings returns how many readings the present part has.
func (p Posterior) Readings() int { return p.readings }

// Evidence returns the ln probability density of the readings.
func (p Posterior) Evidence() float64 { return p.evidence }

// PChange returns the probability that the rate has changed since the present
// part was fitted.
func (p Posterior) PChange() float64 { return p.pChange }

// ChangeAfter returns the index of the present part's reading after which the
// rate most likely changed, in order of exposure; -1 when [Posterior.PChange]
// is one half or less.
func (p Posterior) ChangeAfter() int { return p.after }

// Level returns the size as of the last fact.
func (p Posterior) Level() Level { return p.LevelAt(p.now) }

// LevelAt returns the mean and deviation of the size at exposure h; at an h
// before the last fact, the size then.
func (p Posterior) LevelAt(h float64) Level {
	if !p.known {
		return Level{math.NaN(), math.NaN()}
	}
	dL := p.ahead(h)
	if x := &p.moments; p.warp.k == 0 {
		return Level{x.m + x.r*dL, math.Sqrt(x.p + dL*p.phi*x.r + max(0, x.mm+dL*(2*x.mr+dL*x.rr)))}
	}
	var mean, squares float64
	far := p.warp.from(p.nodes[0].m) // a size near them all, for the sake of digits
	for _, n := range p.nodes {
		sd := math.Sqrt(n.p + p.phi*n.r*dL)
		for _, x := range hermite {
			y := p.warp.from(n.m+n.r*dL+sd*x.z) - far
			mean += n.w * x.w * y
			squares += n.w * x.w * y * y
		}
	}
	return Level{far + mean, math.Sqrt(max(0, squares-mean*mean))}
}

// hermite are the points and weights by which a mean over a standard normal is
// taken (five-point Gauss-Hermite rule, exact to the ninth power).
var hermite = [5]struct{ z, w float64 }{
	{-2.8569700138728056, .011257411327720689}, {-1.3556261799742659, .22207592200561266},
	{0, .53333333333333333}, {1.3556261799742659, .22207592200561266}, {2.8569700138728056, .011257411327720689},
}

// Forecast returns the mean and deviation of a reading at exposure h by a
// gauge of standard uncertainty sd, in mm.
func (p Posterior) Forecast(h, sd float64) Level {
	l := p.LevelAt(h)
	return Level{l.Mean, math.Hypot(l.SD, p.c*sd)}
}

// LevelQuantile returns the size that is not exceeded at exposure h with
// probability prob, between 0 and 1, in mm.
func (p Posterior) LevelQuantile(h, prob float64) float64 {
	if !p.known || !(prob > 0 && prob < 1) {
		return math.NaN()
	}
	var room [320]bell // for nearly all: it is asked for over and over
	m, middle, sd := p.bells(p.ahead(h), room[:0])
	return p.warp.from(m.quantile(prob, middle, sd))
}

// bells are the normals of the size in wear time ahead of the last fact, in the memory
// that is given, with the mean and the deviation of all.
func (p *Posterior) bells(dL float64, room []bell) (m bells, middle, sd float64) {
	m = room
	spread := 0.0
	for i := range p.nodes {
		n := &p.nodes[i]
		b, v := bell{w: n.w, mean: n.m + n.r*dL}, n.p+p.phi*n.r*dL
		b.perSD = 1 / math.Sqrt(v)
		m = append(m, b)
		middle += n.w * b.mean
		spread += n.w * v
	}
	for _, b := range m {
		spread += b.w * (b.mean - middle) * (b.mean - middle)
	}
	return m, middle, math.Sqrt(spread)
}

// bell is a normal of a mixture, and its weight.
type bell struct{ w, mean, perSD float64 }

type bells []bell

// quantile finds where a mixture comes to a probability, given its mean and
// deviation: by Newton's steps, of which the last is so short that the next would
// be nothing, and where one leaves the bracket by halving that.
func (m bells) quantile(prob, middle, sd float64) float64 {
	// No quantile lies further out (Cantelli's inequality); a little more for rounding.
	sd = 1.001*sd + 1e-12
	lo, hi := middle-sd*math.Sqrt((1-prob)/prob), middle+sd*math.Sqrt(prob/(1-prob))
	x := min(hi, max(lo, middle-sd*math.Sqrt2*math.Erfcinv(2*prob)))
	for range 100 { // ends far sooner, unless something is not a number
		sum, slope := -prob, 0.0
		for i := range m {
			b := &m[i]
			phi, density := quickBell((x - b.mean) * b.perSD)
			sum += b.w * phi
			slope += b.w * b.perSD * density
		}
		if sum < 0 {
			lo = x
		} else {
			hi = x
		}
		next := x - sum/slope
		if !(next >= lo && next <= hi) {
			next = lo + (hi-lo)/2
		}
		step := math.Abs(next - x)
		if x = next; step <= 1e-7*sd || hi-lo <= 1e-10*sd {
			break
		}
	}
	return x
}

// LnRate returns the mean and deviation of the natural logarithm of the rate, as
// the filter counts it: in mm per unit of exposure to the power [Params].B, at a
// size of nothing.
func (p Posterior) LnRate() (mean, sd float64) { return p.lnMean, p.lnSD }

// Rate returns the median and the mean of the rate of wear as of the last fact,
// at the size and the age of then, in mm for the next unit of exposure.
func (p Posterior) Rate() (median, mean float64) {
	for _, n := range p.nodes {
		mean += n.w * n.r
	}
	return p.RateQuantile(.5), mean * p.pace()
}

// pace turns a rate as the filter counts it into one of today.
func (p *Posterior) pace() float64 {
	pace := 1.0
	if p.b != 1 {
		pace = p.ahead(p.now + 1)
	}
	if p.warp.k != 0 && p.known {
		_, slope := p.warp.to(p.LevelQuantile(p.now, .5))
		pace /= slope
	}
	return pace
}

// RateQuantile returns the rate, as [Posterior.Rate] counts it, that is not
// exceeded with probability prob, between 0 and 1.
func (p Posterior) RateQuantile(prob float64) float64 { return p.RateQuantiles(prob)[0] }

// RateQuantiles is RateQuantile for several probabilities at once.
func (p Posterior) RateQuantiles(probs ...float64) []float64 {
	laws := make([]rateLaw, len(p.rates))
	lo, hi := math.Inf(1), math.Inf(-1)
	for i := range p.rates {
		laws[i].draw(&p.rates[i])
		lo, hi = min(lo, p.rates[i].first), max(hi, p.rates[i].first+p.rates[i].step*float64(len(p.rates[i].w)-1))
	}
	out, pace := make([]float64, len(probs)), p.pace()
	for k, prob := range probs {
		if !(prob > 0 && prob < 1) {
			out[k] = math.NaN()
			continue
		}
		out[k] = pace * math.Exp(solve(func(x float64) float64 {
			sum := -prob
			for i := range laws {
				sum += laws[i].below(x)
			}
			return sum
		}, lo, hi))
	}
	return out
}

// within is how many points a rateLaw has to a node.
const within = 8

// rateLaw is the distribution function of a branch's ln rate.
type rateLaw struct {
	first, step float64
	sum         []float64
}

// cardinal is what a node gives, by Whittaker's cardinal series, to a point so many
// parts of a step away, for as many parts to a step as there are nodes.
func cardinal(nodes, within int) []float64 {
	out := make([]float64, (nodes-1)*within+1)
	for i := range out {
		if x := math.Pi * float64(i) / float64(within); i%within != 0 {
			out[i] = math.Sin(x) / x
		}
	}
	return out
}

var cardinalFew, cardinalMost = cardinal(nodes, within), cardinal(most, 2)

// draw fills in the law: the weights are joined by Whittaker's cardinal series,
// which is as exact as the grid itself, and summed.
func (d *rateLaw) draw(of *rates) {
	within, give := within, cardinalFew
	if len(of.w) > nodes {
		within, give = 2, cardinalMost
	}
	d.first, d.step = of.first, of.step/float64(within)
	d.sum = make([]float64, (len(of.w)-1)*within+1)
	whole, last, sum := 0.0, of.w[0], 0.0
	for i := 1; i < len(d.sum); i++ {
		density := of.w[i/within]
		if i%within != 0 {
			density = 0
			for j, w := range of.w[:i/within+1] {
				density += w * give[i-j*within]
			}
			for j, w := range of.w[i/within+1:] {
				density += w * give[(i/within+1+j)*within-i]
			}
			density = max(0, density)
		}
		sum += (last + density) / 2
		d.sum[i], last = sum, density
	}
	for _, w := range of.w {
		whole += w
	}
	for i := range d.sum {
		d.sum[i] *= whole / sum
	}
}

// below returns the branch's part of the probability that the ln rate is below x.
func (d *rateLaw) below(x float64) float64 {
	t, end := (x-d.first)/d.step, len(d.sum)-1
	switch {
	case t <= 0:
		return 0
	case t >= float64(end):
		return d.sum[end]
	}
	i := int(t)
	return d.sum[i] + (t-float64(i))*(d.sum[i+1]-d.sum[i])
}

// ahead is the wear time from the last fact to exposure h.
func (p Posterior) ahead(h float64) float64 {
	switch {
	case !(h > p.now):
		return 0
	case p.b == 1:
		return h - p.now
	}
	return math.Pow(h-p.origin, p.b) - math.Pow(p.now-p.origin, p.b)
}

// Exceed returns the probability that the size is over a limit in mm at
// exposure h, where it is now at exposure now, at or after the last fact. It
// never falls as h grows: what is over stays over.
func (p Posterior) Exceed(limit, h, now float64) float64 {
	if !p.known || math.IsNaN(limit) || math.IsNaN(h) || math.IsNaN(now) {
		return math.NaN()
	}
	return p.exceed(limit, p.ahead(max(h, now)), p.ahead(now))
}

// exceed is Exceed in wear time ahead of the last fact. At each node what is
// over now stays over: far above the limit, where the growing variance would
// bring some of it back, the law of now holds.
func (p *Posterior) exceed(limit, dL, now float64) float64 {
	limit, _ = p.warp.to(limit)
	sum := 0.0
	for i := range p.nodes {
		n := &p.nodes[i]
		w := n.r * dL
		z := (n.m + w - limit) / math.Sqrt(n.p+p.phi*w)
		if over := n.m - limit; over > 0 && p.phi*over > 2*n.p {
			w = n.r * now
			z = max(z, (n.m+w-limit)/math.Sqrt(n.p+p.phi*w))
		}
		sum += n.w * quickPhi(z)
	}
	return min(1, sum)
}

// Crossing returns the first exposure at which the size is over a limit in mm
// with probability prob, between 0 and 1; now as for [Posterior.Exceed].
func (p Posterior) Crossing(limit, now, prob float64) Crossing {
	if !p.known || !finite(limit) || !finite(now) || !(prob > 0 && prob < 1) {
		return Crossing{math.NaN(), Unknown}
	}
	now = max(now, p.now)
	return p.cross(limit, now, prob, now)
}

// Crossings returns where the probability is 10, 50 and 90 %.
func (p Posterior) Crossings(limit, now float64) (out [3]Crossing) {
	asked := finite(now)
	now = max(now, p.now)
	from := now
	for i, prob := range [3]float64{.1, .5, .9} {
		if !p.known || !finite(limit) || !asked {
			out[i] = Crossing{math.NaN(), Unknown}
			continue
		}
		out[i] = p.cross(limit, now, prob, from)
		from = out[i].H
	}
	return out
}

// cross finds a crossing that is known not to be before from.
func (p *Posterior) cross(limit, now, prob, from float64) Crossing {
	at := p.ahead(now)
	f := func(h float64) float64 { return p.exceed(limit, p.ahead(h), at) - prob }
	lo, flo := from, f(from)
	if flo >= 0 {
		if from > now {
			return Crossing{from, At}
		}
		return Crossing{now, Already}
	}
	for step := max(8, from-now); lo < now+Horizon; step *= 2 {
		hi := min(from+step, now+Horizon)
		fhi := f(hi)
		if fhi >= 0 {
			return Crossing{solveFrom(f, lo, hi, flo, fhi), At}
		}
		lo, flo = hi, fhi
	}
	return Crossing{now + Horizon, Beyond}
}
