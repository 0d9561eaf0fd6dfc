package wear

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// Each row of the table of misreads goes on from where the readings before it had
// come to: it is to the last bit as if all had been filtered from the first on.
func TestDoubtsFromMarks(t *testing.T) {
	const seed = 31
	rng := rand.New(rand.NewPCG(seed, 1))
	for trial := range 200 {
		var segs []Segment
		h, size := 0.0, .1
		for i := range 1 + rng.IntN(3) {
			s := Segment{H0: h, Redrawn: i > 0 && rng.IntN(3) == 0}
			if rng.IntN(2) == 0 {
				size = .05 + .1*rng.Float64()
				s.Start = &Level{size, .01 + .03*rng.Float64()}
			} else if i > 0 && rng.IntN(2) == 0 {
				s.Redrawn, s.Carry = false, .03
			}
			rate := .002 + .02*rng.Float64()
			for range rng.IntN(14) {
				step := 20 * rng.Float64() * float64(rng.IntN(4))
				h += step
				size += rate * step
				y := size + .02*rng.NormFloat64()
				if rng.IntN(9) == 0 {
					y *= 1 + 9*rng.Float64()
				}
				s.Readings = append(s.Readings, Gauge{h, y, .01 + .03*rng.Float64()})
			}
			segs = append(segs, s)
		}
		p := DefaultParams()
		if rng.IntN(3) == 0 {
			p.B, p.Quicken, p.Reach = .8, .5, 2
		}
		sorted, err := checked(tablePrior, p, segs)
		if err != nil {
			t.Fatal(err)
		}
		good := p
		good.Eps = 0
		w, plain := new(Worker), new(Worker)
		w.take(tablePrior, good, sorted)
		plain.take(tablePrior, good, sorted)
		w.likelihood(-1)
		for k := range w.last().hi - w.last().lo {
			at := w.last().lo + k
			was := w.reads[at].s2
			w.reads[at].s2, plain.reads[at].s2 = was+.09, was+.09
			w.forwardAgain(k, &w.marks)
			plain.forward(half, nil)
			if !slices.Equal(w.prefixes, plain.prefixes) {
				t.Fatalf("seed %d, trial %d, reading %d of %d: %v, want %v", seed, trial, k, w.last().hi-w.last().lo, w.prefixes, plain.prefixes)
			}
			w.reads[at].s2, plain.reads[at].s2 = was, was
		}
	}
}

// The mean and deviation of a size, told from the moments of the nodes, are those
// summed node by node.
func TestLevelAtFromMoments(t *testing.T) {
	const seed = 32
	rng := rand.New(rand.NewPCG(seed, 1))
	for trial := range 50 {
		s, size := Segment{}, .1
		for k := range 1 + rng.IntN(9) {
			size += .1 * rng.Float64()
			s.Readings = append(s.Readings, Gauge{8 * float64(k), size, .01 + .03*rng.Float64()})
		}
		p := filtered(t, tablePrior, DefaultParams(), s)
		for _, ahead := range []float64{0, 1, 30, 900} {
			mean, v := 0.0, 0.0
			for _, n := range p.nodes {
				mean += n.w * (n.m + n.r*ahead)
			}
			for _, n := range p.nodes {
				d := n.m + n.r*ahead - mean
				v += n.w * (n.p + p.phi*n.r*ahead + d*d)
			}
			got := p.LevelAt(p.Now() + ahead)
			if math.Abs(got.Mean-mean) > 1e-12*mean || math.Abs(got.SD*got.SD-v) > 1e-12*v {
				t.Errorf("seed %d, trial %d, %v ahead: %v, want %v and %v", seed, trial, ahead, got, mean, math.Sqrt(v))
			}
		}
	}
}
