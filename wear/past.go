package wear

import "math"

// Past is the size of each part through its life, as all readings tell it: the
// smoothed path of the very account that looks ahead, so that at the last fact
// it is where the forecast begins. Its zero value knows nothing.
type Past struct {
	parts []lived
	b     float64
	warp  warp
}

// lived is the course of one part: at each of its facts, its fitting where its
// size then is known and every reading, the size on the even scale.
type lived struct {
	h0   float64
	h, u []float64
}

// account is what a branch takes for granted, enough to follow it again: a
// change of rate before reading change of the present part, 0: none, and the
// rates before it.
type account struct {
	change    int
	anew      bool // the present part wears at a rate of its own
	bad       bool // its first reading is misread
	before    span // of ln rates before the change or the part, and how many nodes
	beforeFew int
}

// slack is by how many units an exposure may miss the fact that it is meant for:
// rounding.
const slack = 1e-6

// Parts is how many parts it knows, the present one last. Those before a change
// of materials are forgotten.
func (p Past) Parts() int { return len(p.parts) }

// At returns the median in mm of the size of part i, counted from the oldest
// that is known, at exposure h: between two facts as if it wore evenly, and of
// several at once by the last. It is NaN for a part that is not known, before its first fact, and after its last or
// where the next part followed it.
func (p Past) At(i int, h float64) float64 {
	if i < 0 || i >= len(p.parts) {
		return math.NaN()
	}
	x := &p.parts[i]
	n := len(x.h)
	if n == 0 || !(h >= x.h[0]-slack && h <= x.h[n-1]+slack) {
		return math.NaN()
	}
	h = min(x.h[n-1], max(x.h[0], h))
	k := 0
	for k < n-1 && x.h[k+1] <= h {
		k++
	}
	if k == n-1 {
		return p.warp.from(x.u[k])
	}
	age := func(h float64) float64 { return math.Pow(h-x.h0, p.b) }
	share := (age(h) - age(x.h[k])) / (age(x.h[k+1]) - age(x.h[k]))
	return p.warp.from(x.u[k] + share*(x.u[k+1]-x.u[k]))
}

// Past looks back. It takes the prior, the settings and the history that the
// posterior was learned from; it knows nothing where that is plainly another.
func (p Posterior) Past(prior Prior, params Params, segs []Segment) Past {
	segs, err := checked(prior, params, segs)
	if err != nil || len(segs) == 0 {
		return Past{}
	}
	w := workers.Get().(*Worker)
	defer workers.Put(w)
	w.take(prior, params, segs)
	if x := w.last(); x.h0 != p.origin || x.end != p.now || x.hi-x.lo != p.readings {
		return Past{}
	}
	return w.past(p.rates, p.accounts)
}

// past follows every branch again, there and back, and draws them together.
func (c *Worker) past(all []rates, accounts []account) Past {
	out := Past{parts: make([]lived, len(c.parts)), b: c.B, warp: c.warp}
	found := make([][]bells, len(c.parts)) // by part and fact
	for i := range c.parts {
		x, of := &c.parts[i], &out.parts[i]
		if of.h0 = x.h0; x.started {
			of.h = append(of.h, x.h0)
		}
		for k := x.lo; k < x.hi; k++ {
			of.h = append(of.h, c.reads[k].h)
		}
		if i+1 < len(c.parts) && len(of.h) > 0 {
			of.h = append(of.h, c.parts[i+1].h0)
		}
		found[i] = make([]bells, len(of.h))
	}
	for i := range all {
		c.recount(&all[i], accounts[i], found)
	}
	for i := range found {
		for _, of := range found[i] {
			out.parts[i].u = append(out.parts[i].u, of.median())
		}
	}
	return out
}

// median is where half of a mixture lies below.
func (m bells) median() float64 {
	sum, mean, squares := 0.0, 0.0, 0.0
	for i := range m {
		sum += m[i].w
		mean += m[i].w * m[i].mean
	}
	mean /= sum
	for i := range m {
		m[i].w /= sum
		d := m[i].mean - mean
		squares += m[i].w * (1/(m[i].perSD*m[i].perSD) + d*d)
	}
	return m.quantile(.5, mean, math.Sqrt(squares))
}

// recount adds what one branch says of each fact of each part.
func (c *Worker) recount(of *rates, how account, found [][]bells) {
	last := len(c.parts) - 1
	x := c.last()
	if how.bad {
		first := &c.reads[x.lo]
		good := first.s2
		first.s2 = c.misreadStart()
		defer func() { first.s2 = good }()
	}
	n := len(of.w)
	rate := func(j int) float64 { return math.Exp(of.first + float64(j)*of.step) }
	all := 0.0
	for _, w := range of.w {
		all += w
	}
	var back *prefixPast
	if how.anew || how.change > 0 {
		back = c.prefixPast(how, all, found[:last])
	}
	var t trail
	for j := range n {
		w := of.w[j]
		if !(w > negligible) {
			continue
		}
		if back == nil {
			for i := range c.parts[:last] {
				c.lives(&t, rate(j), i)
				t.add(w, found[i])
			}
		}
		if how.change == 0 {
			c.follows(&t, rate(j), x, x.hi)
			t.add(w, found[last])
			continue
		}
		t.begin(back.mean, back.v, c.reads[x.lo+how.change-1].t)
		c.pass(&t, rate(j), x.lo+how.change, x.hi)
		t.back()
		before := len(found[last]) - len(t.m)
		t.add(w, found[last][before:])
		for k := range before { // the change was after the fact at before
			gain := back.gain[k]
			m := back.m[k] + gain*(t.m[0]-back.mean)
			v := back.p[k] + gain*gain*(t.p[0]-back.v)
			found[last][k] = append(found[last][k], bellOf(w, m, v))
		}
	}
}

// prefixPast is what the present part's readings before a change of rate say of
// its facts up to then, drawn together over the rates: mean, variance, and how
// much of what is found of the last of them, whose mean and variance stand
// alone, goes for each.
type prefixPast struct {
	m, p, gain []float64
	mean, v    float64
}

// prefixPast follows the rates of before a change or a part of its own, and adds
// what they say of the parts before, with a weight in all.
func (c *Worker) prefixPast(how account, weight float64, found [][]bells) *prefixPast {
	x := c.last()
	b := &c.try
	b.lay(how.before, how.beforeFew)
	c.before(&b.grid)
	c.follow(&b.grid, x, x.lo, x.lo+how.change)
	b.weights(c.prior, &b.w)
	out := &prefixPast{}
	out.mean, out.v = b.level(&b.w)
	facts := how.change
	if x.started {
		facts++
	}
	facts = max(0, facts-1)
	out.m, out.p, out.gain = make([]float64, facts), make([]float64, facts), make([]float64, facts)
	squares := make([]float64, facts)
	var t trail
	for j := range b.n {
		w := b.w[j]
		for i := range found {
			if w*weight > negligible {
				c.lives(&t, b.r[j], i)
				t.add(w*weight, found[i])
			}
		}
		if facts == 0 {
			continue
		}
		c.follows(&t, b.r[j], x, x.lo+how.change)
		end, share := len(t.m)-1, 1.0
		for k := facts - 1; k >= 0; k-- {
			share *= t.gain[k+1]
			out.m[k] += w * t.m[k]
			squares[k] += w * (t.p[k] + t.m[k]*t.m[k])
			out.gain[k] += w * (share*t.p[end] + t.m[k]*(t.m[end]-out.mean))
		}
	}
	for k := range facts {
		out.p[k] = max(0, squares[k]-out.m[k]*out.m[k])
		out.gain[k] /= out.v
	}
	return out
}

// trail is one rate followed through facts: mean and variance of the level at
// each, and how much of a change in it goes back to the one before.
type trail struct {
	at         float64
	m, p, gain []float64
	mean, v    []float64 // as expected from the one before
}

func (t *trail) begin(mean, v, at float64) {
	t.at = at
	t.m, t.p, t.gain = append(t.m[:0], mean), append(t.p[:0], v), append(t.gain[:0], 0)
	t.mean, t.v = append(t.mean[:0], mean), append(t.v[:0], v)
}

// lives takes a part that is no more there and back, and on to where the next one
// followed it.
func (c *course) lives(t *trail, r float64, i int) {
	x := &c.parts[i]
	c.follows(t, r, x, x.hi)
	if n := len(t.m); n > 0 {
		w := r * max(0, c.age(c.parts[i+1].h0-x.h0)-t.at)
		t.m, t.p = append(t.m, t.m[n-1]+w), append(t.p, t.p[n-1]+c.Phi*w)
	}
}

// follows takes a part's readings before to there and back, at a rate.
func (c *course) follows(t *trail, r float64, x *part, to int) {
	from := x.lo
	switch {
	case x.started:
		t.begin(x.mean, x.v, 0)
	case from < to:
		t.begin(c.reads[from].y, c.reads[from].s2, c.reads[from].t)
		from++
	default:
		t.m, t.p = t.m[:0], t.p[:0]
		return
	}
	c.pass(t, r, from, to)
	t.back()
}

// pass takes readings as course.follow and grid.read do.
func (c *course) pass(t *trail, r float64, from, to int) {
	m, p := t.m[0], t.p[0]
	for i := from; i < to; i++ {
		y := &c.reads[i]
		was := p
		if y.t > t.at {
			w := r * (y.t - t.at)
			m, p = m+w, p+c.Phi*w
			t.at = y.t
		}
		p += y.jolt
		t.mean, t.v, t.gain = append(t.mean, m), append(t.v, p), append(t.gain, was/p)
		x := c.mix
		x.out2 *= y.slope2
		m, p, _, _, _ = x.update(m, p, y.y, y.s2)
		t.m, t.p = append(t.m, m), append(t.p, p)
	}
}

// back lets each fact know what those after it say (Rauch, Tung and Striebel,
// AIAA Journal 3, 1965, p. 1445, from memory).
func (t *trail) back() {
	for k := len(t.m) - 2; k >= 0; k-- {
		g := t.gain[k+1]
		t.m[k] += g * (t.m[k+1] - t.mean[k+1])
		t.p[k] += g * g * (t.p[k+1] - t.v[k+1])
	}
}

// add adds it to the mixtures of its facts.
func (t *trail) add(w float64, found []bells) {
	for k := range t.m {
		found[k] = append(found[k], bellOf(w, t.m[k], t.p[k]))
	}
}

func bellOf(w, mean, v float64) bell { return bell{w, mean, 1 / math.Sqrt(max(v, 1e-18))} }
