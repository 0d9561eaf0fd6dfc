package wear

import "math"

// branch is one account of the history, with its weight among the others.
type branch struct {
	weight float64
	grid
	w [nodes]float64 // weights of the nodes
}

// slight is the weight under which a branch is left out of forecasts.
const slight = .002

// posterior filters the history: once without a change of rate, and once for
// each reading of the present part after which the rate may have changed.
func (c *course) posterior() Posterior {
	post := Posterior{phi: c.Phi, c: c.C, b: c.B, after: -1}
	if len(c.segs) == 0 {
		only := make([]branch, 1)
		only[0].lay(c.atPrior(), nodes)
		only[0].weight, post.evidence = 1, only[0].weights(c.prior, &only[0].w)
		post.take(only)
		return post
	}
	s, n := c.last(), len(c.last().Readings)
	post.origin, post.now, post.readings = s.H0, s.H0, n
	if n > 0 {
		post.now = s.Readings[n-1].H
	}
	post.known = s.Start != nil || n > 0
	first := c.firstPass()
	kept := make([]branch, 1, 4)
	kept[0].weight = c.unchanged(&kept[0], first[n], nodes, n) - c.Kappa*c.exposed()
	kept, total, after := c.changes(kept, first)
	post.evidence = total
	post.pChange = max(0, -math.Expm1(kept[0].weight-total))
	if post.pChange > .5 {
		post.after = after
	}
	post.take(settle(kept, total))
	return post
}

// firstPass returns the span for the second pass, by a grid as wide as the
// prior, after each number of readings of the present part.
func (c *course) firstPass() []span {
	var g grid
	var w [nodes]float64
	s := c.last()
	out := make([]span, len(s.Readings)+1)
	g.lay(c.atPrior(), nodes)
	c.whole(&g, 0)
	started, h := s.Start != nil, s.H0
	for k := range out {
		if k > 0 {
			c.follow(&g, s, k-1, k, started, h)
			started, h = true, s.Readings[k-1].H
		}
		g.weights(c.prior, &w)
		out[k] = g.next(c.prior, &w)
	}
	return out
}

// unchanged filters all up to the n-th reading of the present part at a
// constant rate, by a grid of so many nodes, and returns the ln evidence.
func (c *course) unchanged(b *branch, over span, at, n int) float64 {
	return c.resolve(b, over, at, func(g *grid) { c.whole(g, n) })
}

// redrawn filters the present part's readings from the j-th on, at a rate
// drawn anew from the prior, with the level that b came to before them.
func (c *course) redrawn(b *branch, j int) float64 {
	mean, variance := b.level(&b.w)
	s := c.last()
	rest := func(g *grid) {
		g.set(mean, variance)
		c.follow(g, s, j, len(s.Readings), true, s.Readings[j-1].H)
	}
	b.lay(c.atPrior(), nodes)
	rest(&b.grid)
	b.weights(c.prior, &b.w)
	return c.resolve(b, b.next(c.prior, &b.w), half, rest)
}

// exposed is the exposure in which a change of rate could have shown.
func (c *course) exposed() float64 {
	s := c.last()
	n := len(s.Readings)
	switch {
	case n == 0:
		return 0
	case s.Start != nil:
		return s.Readings[n-1].H - s.H0
	}
	return s.Readings[n-1].H - s.Readings[0].H
}

// changes appends to kept, which holds the unchanged branch, each branch with
// a change of rate that could matter; weights are logarithms. It returns the
// ln sum of all weights, and the reading after which a change is likeliest.
func (c *course) changes(kept []branch, first []span) (all []branch, total float64, after int) {
	s := c.last()
	total, best, after := kept[0].weight, math.Inf(-1), -1
	if c.Kappa == 0 {
		return kept, total, after
	}
	from := 2
	if s.Start != nil {
		from = 1
	}
	for j := from; j < len(s.Readings); j++ {
		gap := s.Readings[j].H - s.Readings[j-1].H
		if gap == 0 {
			continue
		}
		var b branch
		b.weight = c.unchanged(&b, first[j], half, j) - c.Kappa*c.exposed() + math.Log(c.Kappa*gap)
		b.weight += c.redrawn(&b, j)
		total = lnAdd(total, b.weight)
		if b.weight > best {
			best, after = b.weight, j-1
		}
		if b.weight-total > math.Log(slight) {
			kept = append(kept, b)
		}
	}
	return kept, total, after
}

// lnAdd is ln(exp a + exp b).
func lnAdd(a, b float64) float64 {
	return max(a, b) + math.Log1p(math.Exp(-math.Abs(a-b)))
}

// settle drops the slight branches and makes the weights of the rest sum to 1.
func settle(all []branch, total float64) []branch {
	kept, sum := all[:0], 0.0
	for _, b := range all {
		if b.weight = math.Exp(b.weight - total); b.weight >= slight {
			kept = append(kept, b)
			sum += b.weight
		}
	}
	for i := range kept {
		kept[i].weight /= sum
	}
	return kept
}
