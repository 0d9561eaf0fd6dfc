package wear

import "math"

// branch is one account of the history, with its weight among the others.
type branch struct {
	account
	weight float64 // its logarithm until the branches are settled
	grid
	w [most]float64 // weights of the nodes
}

// slight is the weight under which a branch is left out of forecasts.
const slight = .002

// Worker filters one history after another in the same memory, for a fleet. It
// must not be used by two goroutines at once.
type Worker struct {
	course
	post     Posterior
	prefixes []prefix
	all      []branch
	try      branch
	dim      []bool // changes before which reading are passed over; nil: none
	marks    marks
}

// marks are how far a history had come after each reading of the present part, to
// go on from where another has the same up to there.
type marks struct {
	told     peak
	fine     int // nodes
	prefixes []prefix
	grids    []grid
	laid     []int // how often the grid was laid anew
}

// prefix is what the present part's first readings came to at one rate, on a grid
// of so many nodes over a span.
type prefix struct {
	mean, v, evidence float64
	over              span
	n                 int
}

// Filter is the function of that name; its answer holds until the next call.
func (c *Worker) Filter(prior Prior, p Params, segs []Segment) (*Posterior, error) {
	segs, err := checked(prior, p, segs)
	if err != nil {
		return nil, err
	}
	c.take(prior, p, segs)
	c.weigh()
	return &c.post, nil
}

// weigh filters the history: once without a change of rate, once with a rate
// drawn anew at the last repair where that is to be reckoned with, and once for
// each reading of the present part after which the rate may have changed.
func (c *Worker) weigh() {
	c.post.reset(c.Params)
	c.all = c.all[:0]
	if len(c.parts) == 0 {
		b := c.another()
		b.lay(around(c.prior.Mu, c.prior.Om), nodes)
		b.weight, c.post.evidence = 1, b.weights(c.prior, &b.w)
		c.post.take(c.all)
		return
	}
	x := c.last()
	c.post.origin, c.post.now, c.post.readings, c.post.known = x.h0, x.end, x.hi-x.lo, x.started || x.hi > x.lo
	over := c.forward(nodes, nil)
	b := c.another()
	b.weight = c.whole(b, over, over.grain(c.peak(0, x.mean, x.v), nodes)) - c.Kappa*c.exposed()
	total := b.weight
	if x.redrawn {
		b.weight -= math.Ln2
		total = c.anew(b.weight)
	}
	total = lnAdd(total, c.badStart(total))
	changed := c.changes(&total)
	c.post.evidence = total + c.bent
	if changed.p > .5 {
		c.post.after = changed.after
	}
	c.post.pChange = changed.p
	c.settle(total)
	c.finish()
	c.post.take(c.all)
}

// finish brings every branch to the last fact: what was done to the part since
// its last reading, and the wear up to then.
func (c *Worker) finish() {
	x := c.last()
	if x.tail == 0 {
		return
	}
	at, slope2 := 0.0, 1.0
	if x.hi > x.lo {
		at, slope2 = c.reads[x.hi-1].t, c.reads[x.hi-1].slope2
	}
	dL := c.age(x.end-x.h0) - at
	for i := range c.all {
		if dL > 0 {
			c.all[i].run(dL, c.Phi)
		}
		c.all[i].jolt(slope2 * x.tail)
	}
}

// badStart adds the branch in which the first reading of a part of unknown size
// is misread, if that matters beside the rest, and returns its ln weight: no
// later reading could outvote it otherwise.
func (c *Worker) badStart(rest float64) float64 {
	x := c.last()
	if x.started || x.hi-x.lo < 2 || c.Eps == 0 {
		return math.Inf(-1)
	}
	first := &c.reads[x.lo]
	good := first.s2
	first.s2 = c.misreadStart()
	defer func() { first.s2 = good }()
	told := c.peak(1, first.y, first.s2) // from the second on
	over := around(c.prior.Mu, c.prior.Om).with(told)
	odds := math.Log(c.Eps) - c.Kappa*c.exposed()
	if weight := c.whole(&c.try, over, over.grain(told, half)) + odds; weight-rest < math.Log(slight) {
		return weight
	}
	b := c.another()
	b.bad = true
	b.weight = c.whole(b, c.try.next(c.prior, &c.try.w), half) + odds
	return b.weight
}

// misreadStart is the variance of the present part's first reading if that is
// misread.
func (c *course) misreadStart() float64 {
	first := &c.reads[c.last().lo]
	return first.s2 + max(first.slope2*c.Out*c.Out, c.lonely(0)/far2)
}

// another gives the next branch to fill.
func (c *Worker) another() *branch {
	if len(c.all) == cap(c.all) {
		c.all = append(c.all, branch{})
	} else {
		c.all = c.all[:len(c.all)+1]
	}
	b := &c.all[len(c.all)-1]
	b.account = account{}
	return b
}

// forward filters the history at a constant rate and keeps what the present
// part comes to after each of its readings. It returns the span of rates to
// look at more closely. A grid, of so many nodes, that is too coarse for what it has
// seen is laid anew. keep is where to mark the way, nil: nowhere.
func (c *Worker) forward(fine int, keep *marks) span {
	b, x := &c.try, c.last()
	c.prefixes = c.prefixes[:0]
	told := c.peak(0, x.mean, x.v)
	over := around(c.prior.Mu, c.prior.Om).with(told)
	fine = over.grain(told, fine)
	b.lay(over, fine)
	c.before(&b.grid)
	if keep != nil {
		*keep = marks{told: told, fine: fine, grids: keep.grids[:0], laid: keep.laid[:0], prefixes: keep.prefixes[:0]}
	}
	return c.forwardFrom(0, 0, fine, keep)
}

// forwardAgain is forward, without its answer, where of what was marked only the
// present part's reading k is another.
func (c *Worker) forwardAgain(k int, by *marks) {
	x := c.last()
	if c.peak(0, x.mean, x.v) != by.told {
		c.forward(by.fine, nil)
		return
	}
	c.prefixes = append(c.prefixes[:0], by.prefixes[:k]...)
	c.try.grid.copy(&by.grids[k])
	c.forwardFrom(k, by.laid[k], by.fine, nil)
}

// forwardFrom is forward from the point after k readings, where the grid was laid
// anew so often.
func (c *Worker) forwardFrom(k, laid, fine int, keep *marks) span {
	b, x := &c.try, c.last()
	n := x.hi - x.lo
	for from := k; ; k++ {
		if k > from {
			c.follow(&b.grid, x, x.lo+k-1, x.lo+k)
		}
		evidence := b.weights(c.prior, &b.w)
		for ; laid < passes && b.coarse(&b.w); laid++ {
			b.lay(b.next(c.prior, &b.w), fine)
			c.before(&b.grid)
			c.follow(&b.grid, x, x.lo, x.lo+k)
			evidence = b.weights(c.prior, &b.w)
		}
		mean, v := b.level(&b.w)
		c.prefixes = append(c.prefixes, prefix{mean, v, evidence, b.covered(), b.n})
		if keep != nil {
			keep.mark(c.prefixes[k], &b.grid, laid)
		}
		if k == n {
			return b.next(c.prior, &b.w)
		}
	}
}

func (m *marks) mark(at prefix, g *grid, laid int) {
	if len(m.grids) == cap(m.grids) {
		m.grids = append(m.grids, grid{})
	} else {
		m.grids = m.grids[:len(m.grids)+1]
	}
	m.grids[len(m.grids)-1].copy(g)
	m.prefixes, m.laid = append(m.prefixes, at), append(m.laid, laid)
}

// anew adds the branch in which the present part wears at a rate of its own,
// and returns the ln sum of its weight and that of the other, kept.
func (c *Worker) anew(kept float64) (total float64) {
	x := c.last()
	start := func(g *grid) {
		if x.started {
			g.set(x.mean, x.v)
		}
		c.follow(g, x, x.lo, x.hi)
	}
	b := c.another()
	b.anew, b.before, b.beforeFew = true, c.prefixes[0].over, c.prefixes[0].n
	told := c.peak(0, x.mean, x.v)
	over := around(c.redraw.Mu, c.redraw.Om).with(told)
	evidence := c.drawn(b, over, over.grain(told, nodes), start)
	b.weight = c.prefixes[0].evidence + c.closer(b, evidence, told, start) - c.Kappa*c.exposed() - math.Ln2
	return lnAdd(kept, b.weight)
}

// drawn filters by run, at rates drawn anew, over a span of ln rates.
func (c *Worker) drawn(b *branch, over span, n int, run func(*grid)) (evidence float64) {
	b.lay(over, n)
	run(&b.grid)
	return b.weights(c.redraw, &b.w)
}

// closer filters again over a narrower span, until the nodes are close enough
// for forecasts.
func (c *Worker) closer(b *branch, evidence float64, told peak, run func(*grid)) float64 {
	for range passes {
		over := b.next(c.redraw, &b.w)
		fine := !b.coarse(&b.w)
		evidence = c.drawn(b, over, over.grain(told, half), run)
		if fine {
			break
		}
	}
	return evidence
}

// peak is where the readings of the present part from the j-th on put the ln
// rate, with the level that it had before them: where the last of them does if
// none is misread.
func (c *course) peak(j int, mean, v float64) peak {
	x := c.last()
	n, at := x.hi-x.lo-j, 0.0
	switch {
	case j > 0:
		at = c.reads[x.lo+j-1].t
	case !x.started && n > 0:
		mean, v, at, n = c.reads[x.lo].y, c.reads[x.lo].s2, c.reads[x.lo].t, n-1
	}
	if n < 1 {
		return peak{}
	}
	y := &c.reads[x.hi-1]
	w, dL := y.y-mean, y.t-at
	if w <= 0 || dL <= 0 {
		return peak{}
	}
	sd := math.Sqrt((v+y.s2+c.Phi*w)/float64(n)) / w
	if sd > .5 {
		return peak{}
	}
	return peak{math.Log(w / dL), sd, n <= 3 && c.Eps > 0}
}

// exposed is the exposure in which a change of rate could have shown.
func (c *course) exposed() float64 {
	x := c.last()
	switch {
	case x.hi == x.lo:
		return 0
	case x.started:
		return c.reads[x.hi-1].h - x.h0
	}
	return c.reads[x.hi-1].h - c.reads[x.lo].h
}

// change says how likely a change of rate is, and after which reading.
type change struct {
	p     float64
	after int
}

// changes adds the branches with a change of rate that matter; total is the ln
// sum of all weights, of the slight ones too.
func (c *Worker) changes(total *float64) change {
	out, best, sum := change{after: -1}, math.Inf(-1), math.Inf(-1)
	c.weighChanges(func(h hypothesis) {
		*total, sum = lnAdd(*total, h.weight), lnAdd(sum, h.weight)
		if h.weight > best {
			best, out.after = h.weight, h.j-1
		}
		if h.weight-*total > math.Log(slight) {
			b := c.another()
			*b = c.try
			b.account = account{change: h.j, before: c.prefixes[h.j].over, beforeFew: c.prefixes[h.j].n}
			run := func(g *grid) { c.after(g, h.j) }
			told := c.peak(h.j, c.prefixes[h.j].mean, c.prefixes[h.j].v)
			b.weight = h.weight - h.evidence + c.closer(b, h.evidence, told, run)
		}
	})
	out.p = math.Exp(min(0, sum-*total))
	return out
}

// hypothesis is that the rate changed before reading j of the present part; the
// worker's try holds its grid.
type hypothesis struct {
	j                int
	weight, evidence float64
}

// after takes the present part's readings from the j-th on into a grid, from the
// level that it had come to before them.
func (c *Worker) after(g *grid, j int) {
	x := c.last()
	g.set(c.prefixes[j].mean, c.prefixes[j].v)
	c.follow(g, x, x.lo+j, x.hi)
}

// weighChanges weighs each change of rate, the latest first.
func (c *Worker) weighChanges(take func(hypothesis)) {
	x := c.last()
	from := 2
	if x.started {
		from = 1
	}
	if c.Kappa == 0 {
		return
	}
	wide := around(c.redraw.Mu, c.redraw.Om)
	over := wide
	for j := x.hi - x.lo - 1; j >= from; j-- {
		gap := c.reads[x.lo+j].h - c.reads[x.lo+j-1].h
		if gap == 0 || c.dim != nil && len(c.dim) > j && c.dim[j] {
			continue
		}
		run := func(g *grid) { c.after(g, j) }
		b := &c.try
		told := c.peak(j, c.prefixes[j].mean, c.prefixes[j].v)
		over = over.with(told)
		evidence := c.drawn(b, over, over.grain(told, half), run)
		if b.cut(&b.w) { // not so near those of the reading after
			over = wide.with(told)
			evidence = c.drawn(b, over, over.grain(told, half), run)
		}
		if b.coarse(&b.w) {
			evidence = c.closer(b, evidence, told, run)
		}
		over = b.next(c.redraw, &b.w)
		base := c.prefixes[j].evidence - c.Kappa*c.exposed() + math.Log(c.Kappa*gap)
		take(hypothesis{j, base + evidence, evidence})
	}
}

// lnAdd is ln(exp a + exp b).
func lnAdd(a, b float64) float64 {
	top := max(a, b)
	if math.IsInf(top, -1) {
		return top
	}
	return top + math.Log1p(math.Exp(-math.Abs(a-b)))
}

// settle drops the slight branches and makes the weights of the rest sum to 1.
func (c *Worker) settle(total float64) {
	n, sum := 0, 0.0
	for i := range c.all {
		b := &c.all[i]
		if b.weight = math.Exp(b.weight - total); b.weight < slight {
			continue
		}
		sum += b.weight
		if n != i {
			c.all[n] = *b
		}
		n++
	}
	c.all = c.all[:n]
	for i := range c.all {
		c.all[i].weight /= sum
	}
}
