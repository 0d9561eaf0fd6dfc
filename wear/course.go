package wear

import "math"

// course is one bearing's history being filtered, laid out flat.
type course struct {
	prior  Prior
	redraw Prior // of a rate that has changed
	Params
	mix   mixture
	warp  warp
	bent  float64 // ln of the scale's slope, summed over the readings that count
	parts []part  // oldest first
	reads []read  // of all parts, in order
}

// part is one part's life: its readings are reads[lo:hi].
type part struct {
	lo, hi  int
	h0      float64 // exposure when fitted
	end     float64 // exposure of the last fact
	started bool    // the size when fitted is known
	mean, v float64 // that size and its variance
	tail    float64 // variance of what was done to it since the last reading
	redrawn bool
}

// read is one reading at exposure h, t in wear time since its part was fitted.
type read struct {
	h        float64
	t, y, s2 float64 // y on the even scale
	slope2   float64 // of that scale, squared
	jolt     float64 // variance of what was done to the part since the one before
}

// take takes a checked history into the course.
func (c *course) take(prior Prior, p Params, segs []Segment) {
	c.prior, c.Params, c.mix, c.warp, c.bent = prior, p, newMixture(&p), warp{p.Quicken, p.Reach}, 0
	c.redraw = Prior{Mu: prior.Mu, Om: math.Hypot(prior.Om, p.Stray)}
	c.parts, c.reads = c.parts[:0], c.reads[:0]
	for i := range segs {
		s := &segs[i]
		if s.Carry == 0 || len(c.parts) == 0 {
			at := part{lo: len(c.reads), hi: len(c.reads), h0: s.H0, end: s.H0, redrawn: s.Redrawn && i > 0}
			if s.Start != nil {
				mean, slope := c.warp.to(s.Start.Mean)
				at.started, at.mean, at.v = true, mean, slope*slope*s.Start.SD*s.Start.SD
			}
			c.parts = append(c.parts, at)
		}
		x := &c.parts[len(c.parts)-1]
		x.end = s.H0
		if s.Carry > 0 {
			x.tail += s.Carry * s.Carry
		}
		for _, g := range s.Readings {
			y, slope := c.warp.to(g.Y)
			slope2 := slope * slope
			if x.started || len(c.reads) > x.lo {
				c.bent += math.Log(slope)
			}
			c.reads = append(c.reads, read{g.H, c.age(g.H - x.h0), y, slope2 * c.C * c.C * g.SD * g.SD, slope2, slope2 * x.tail})
			x.tail, x.end = 0, g.H
		}
		x.hi = len(c.reads)
	}
}

// age is exposure since the fitting of a part in the time that wear runs by.
func (c *course) age(h float64) float64 {
	if c.B == 1 {
		return h
	}
	return math.Pow(h, c.B)
}

// last is the present part; there must be one.
func (c *course) last() *part { return &c.parts[len(c.parts)-1] }

// before takes all parts before the present one into the grid, and enters that.
func (c *course) before(g *grid) {
	for i := range c.parts {
		x := &c.parts[i]
		if x.started {
			g.set(x.mean, x.v)
		}
		if i < len(c.parts)-1 {
			c.follow(g, x, x.lo, x.hi)
		}
	}
}

// follow takes readings from to before to of a part into a grid that has
// followed it up to there.
func (c *course) follow(g *grid, x *part, from, to int) {
	at, started := 0.0, x.started || from > x.lo
	if from > x.lo {
		at = c.reads[from-1].t
	}
	for i := from; i < to; i++ {
		y := &c.reads[i]
		if !started {
			g.set(y.y, y.s2)
			at, started = y.t, true
			continue
		}
		if y.t > at {
			g.run(y.t-at, c.Phi)
		}
		if y.jolt > 0 {
			g.jolt(y.jolt)
		}
		g.read(y.y, y.s2, y.slope2, &c.mix)
		at = y.t
	}
}

// history takes it all into the grid.
func (c *course) history(g *grid) {
	c.before(g)
	x := c.last()
	c.follow(g, x, x.lo, x.hi)
}

// passes is how often at most a grid is laid anew because it was too coarse:
// each time the step shrinks about eightfold.
const passes = 4

// whole filters the history, at a constant rate, over a span of ln rates, and
// again over narrower ones until the nodes are close enough together. It
// returns the ln evidence.
func (c *course) whole(b *branch, over span, n int) (evidence float64) {
	for range passes {
		b.lay(over, n)
		c.history(&b.grid)
		evidence = b.weights(c.prior, &b.w)
		if !b.coarse(&b.w) {
			break
		}
		over = b.next(c.prior, &b.w)
	}
	return evidence
}
