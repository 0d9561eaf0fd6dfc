package wear

import "math"

// course is one bearing's history being filtered.
type course struct {
	prior Prior
	Params
	segs []Segment
	mix  mixture
}

func newCourse(prior Prior, p Params, segs []Segment) *course {
	return &course{prior: prior, Params: p, segs: segs, mix: newMixture(&p)}
}

// last is the life of the present part; there must be one.
func (c *course) last() *Segment { return &c.segs[len(c.segs)-1] }

// age is exposure h in the time that wear runs by, counted from the fitting of
// the part.
func (c *course) age(s *Segment, h float64) float64 {
	if c.B == 1 {
		return h - s.H0
	}
	return math.Pow(h-s.H0, c.B)
}

// follow takes readings from to before to of a part into the grid. started
// says that the grid has a level, as of exposure h.
func (c *course) follow(g *grid, s *Segment, from, to int, started bool, h float64) {
	at := c.age(s, h)
	for _, y := range s.Readings[from:to] {
		s2 := c.C * c.C * y.SD * y.SD
		now := c.age(s, y.H)
		if !started {
			g.set(y.Y, s2)
			at, started = now, true
			continue
		}
		if now > at {
			g.run(now-at, c.Phi)
		}
		g.read(y.Y, s2, &c.mix)
		at = now
	}
}

// whole takes the history into the grid: all parts before the last, and the
// first n readings of that.
func (c *course) whole(g *grid, n int) {
	for i := range c.segs {
		c.enter(g, &c.segs[i])
		to := len(c.segs[i].Readings)
		if i == len(c.segs)-1 {
			to = n
		}
		c.follow(g, &c.segs[i], 0, to, c.segs[i].Start != nil, c.segs[i].H0)
	}
}

// enter puts the grid at the level of a new part, if that is known.
func (c *course) enter(g *grid, s *Segment) {
	if s.Start != nil {
		g.set(s.Start.Mean, s.Start.SD*s.Start.SD)
	}
}

// passes is how often at most a grid is laid anew because it was too coarse:
// each time the step shrinks about eightfold.
const passes = 4

// resolve runs the filter over a span of ln rates at n nodes, and again over
// narrower ones until the nodes are close enough together. It returns the ln
// evidence.
func (c *course) resolve(b *branch, over span, n int, run func(*grid)) (evidence float64) {
	for range passes {
		b.lay(over, n)
		run(&b.grid)
		evidence = b.weights(c.prior, &b.w)
		if !b.coarse(&b.w) {
			break
		}
		over = b.next(c.prior, &b.w)
	}
	return evidence
}

// atPrior is the first pass's span.
func (c *course) atPrior() span { return around(c.prior.Mu, c.prior.Om) }
