package wear

import (
	"math"
	"slices"
)

// Doubts returns, for each reading of the present part in the order given, the
// probability that it is the one that was misread: by how much better the
// history is explained when that one's uncertainty is [Params].Out as well. All
// together with the probability that none was they make 1. The present part is
// the last segment with those that it carries on from. Errors are those of
// [Filter].
func Doubts(prior Prior, p Params, segs []Segment) ([]float64, error) {
	sorted, err := checked(prior, p, segs)
	if err != nil {
		return nil, err
	}
	w := workers.Get().(*Worker)
	defer workers.Put(w)
	out := w.doubts(prior, p, sorted)
	// Back to the order given: readings at one exposure were put in order of size.
	from := len(segs) - 1
	for from > 0 && segs[from].Carry > 0 {
		from--
	}
	back := make([]float64, len(out))
	at := 0
	for _, s := range segs[max(0, from):] {
		for i, j := range orderOf(s.Readings) {
			back[at+j] = out[at+i]
		}
		at += len(s.Readings)
	}
	return back, nil
}

// orderOf gives the places of readings in the order the filter takes them.
func orderOf(g []Gauge) []int {
	out := make([]int, len(g))
	for i := range out {
		out[i] = i
	}
	slices.SortStableFunc(out, func(i, j int) int { return byExposure(g[i], g[j]) })
	return out
}

// doubts works out the table for a checked history.
func (c *Worker) doubts(prior Prior, p Params, segs []Segment) []float64 {
	if len(segs) == 0 {
		return nil
	}
	eps, out2 := p.Eps, p.Out*p.Out
	p.Eps = 0
	c.take(prior, p, segs)
	x := c.last()
	out := make([]float64, x.hi-x.lo)
	if eps == 0 || len(out) == 0 {
		return out
	}
	c.dim = c.dim[:0]
	none := c.likelihood(-1)
	top := 0.0
	for k := range out {
		r := &c.reads[x.lo+k]
		good := r.s2
		r.s2 += max(r.slope2*out2, c.lonely(k)/far2)
		out[k] = c.likelihood(k) - none + math.Log(eps/(1-eps))
		r.s2 = good
		top = max(top, out[k])
	}
	c.dim = nil
	sum := math.Exp(-top) // none
	for k := range out {
		out[k] = math.Exp(out[k] - top)
		sum += out[k]
	}
	for k := range out {
		out[k] /= sum
	}
	return out
}

// lonely is the square of how far a reading of the present part lies from the
// nearer of its neighbours, or from the size when fitted.
func (c *course) lonely(k int) float64 {
	x, nearest := c.last(), math.Inf(1)
	if k == 0 && x.started {
		d := x.mean - c.reads[x.lo].y
		nearest = d * d
	}
	for _, i := range [2]int{k - 1, k + 1} {
		if i >= 0 && i < x.hi-x.lo {
			d := c.reads[x.lo+i].y - c.reads[x.lo+k].y
			nearest = min(nearest, d*d)
		}
	}
	if math.IsInf(nearest, 1) {
		return 0
	}
	return nearest
}

// hopeless is how many nats below the best a change of rate must be, with all
// readings as they are, to be left out of the table.
const hopeless = 7

// likelihood is the ln evidence, changes of rate included, without the forecast:
// first with all readings as they are, then where only reading k of the present
// part is another. Once it has been worked out, hopeless changes are passed over.
func (c *Worker) likelihood(k int) float64 {
	first := k < 0
	if first {
		c.forward(half, &c.marks)
	} else {
		c.forwardAgain(k, &c.marks)
	}
	total := c.prefixes[len(c.prefixes)-1].evidence - c.Kappa*c.exposed()
	if first {
		c.dim = make([]bool, len(c.prefixes))
	}
	weights := make([]float64, len(c.prefixes))
	c.weighChanges(func(h hypothesis) { total, weights[h.j] = lnAdd(total, h.weight), h.weight })
	for j, w := range weights {
		c.dim[j] = c.dim[j] || first && w != 0 && w < total-hopeless
	}
	return total
}
