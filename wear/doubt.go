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
	none, sum := c.likelihood(), 1.0
	for k := range out {
		r := &c.reads[x.lo+k]
		good := r.s2
		r.s2 += r.slope2 * out2
		out[k] = math.Exp(c.likelihood() - none + math.Log(eps/(1-eps)))
		r.s2 = good
		sum += out[k]
	}
	c.dim = nil
	for k := range out {
		out[k] /= sum
		if math.IsInf(sum, 1) { // beyond floating point: it is certain
			out[k] = 1
		}
	}
	return out
}

// hopeless is how many nats below the best a change of rate must be, with all
// readings as they are, to be left out of the table.
const hopeless = 7

// likelihood is the ln evidence, changes of rate included, without the forecast.
// Once it has been worked out, hopeless changes are passed over.
func (c *Worker) likelihood() float64 {
	c.forward(half)
	total := c.prefixes[len(c.prefixes)-1].evidence - c.Kappa*c.exposed()
	first := len(c.dim) == 0
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
