package trend

import (
	"cmp"
	"context"
	"hash/fnv"
	"math"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"

	"endshake/wear"
)

// What very many points or readings are brought down to.
const (
	// mostReadings is how many readings of a part are filtered one by one; more
	// are drawn together, since the work grows with their square.
	mostReadings = 100
	// mostSampled is how many points are learned from and judged: [wear.Learn]
	// takes half as many itself, and each costs some kilobytes meanwhile.
	mostSampled = 4000
	// window is how many points are answered at once, before the first of them
	// is written.
	window = 1024
)

// inOrder works something out for each of n things, on all processors, and hands
// the results on in order, holding no more than a window of them. It stops at
// the first error of either, or when the context ends.
func inOrder[T any](ctx context.Context, n int, do func(i int) (T, error), take func(T) error) error {
	out := make([]T, min(n, window))
	for from := 0; from < n; from += window {
		some := out[:min(window, n-from)]
		err := each(ctx, len(some), func(i int) (err error) {
			some[i], err = do(from + i)
			return err
		})
		if err != nil {
			return err
		}
		for _, v := range some {
			if err := take(v); err != nil {
				return err
			}
		}
	}
	return ctx.Err()
}

// each does something for n things, on all processors, until the context ends
// or one of them fails; the error is of the first that failed.
func each(ctx context.Context, n int, do func(i int) error) error {
	errs := make([]error, n)
	var next atomic.Int64
	var failed atomic.Bool
	var wg sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), n) {
		wg.Go(func() {
			for i := int(next.Add(1)) - 1; i < n && ctx.Err() == nil && !failed.Load(); i = int(next.Add(1)) - 1 {
				if errs[i] = do(i); errs[i] != nil {
					failed.Store(true)
				}
			}
		})
	}
	wg.Wait()
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return ctx.Err()
}

// least keeps the few of many that come first in an order.
type least[T any] struct {
	most    int
	compare func(a, b T) int
	kept    []T
}

func (l *least[T]) add(v T) {
	if l.kept = append(l.kept, v); len(l.kept) >= 2*l.most+64 {
		l.kept = l.sorted()
	}
}

// sorted gives them in order.
func (l *least[T]) sorted() []T {
	slices.SortFunc(l.kept, l.compare)
	return l.kept[:min(len(l.kept), l.most)]
}

// sample gives the points to learn from, in the order of the file: all or, where
// there are more than most, so many of those that can teach, chosen by a hash of
// their names, which has nothing to do with what they are or where they stand.
func (l *log) sample(most int) []*point {
	if len(l.points) <= most {
		return l.points
	}
	type card struct {
		hash uint64
		of   *point
	}
	drawn := least[card]{most: most, compare: func(a, b card) int {
		return cmp.Or(cmp.Compare(a.hash, b.hash), cmp.Compare(a.of.name, b.of.name))
	}}
	for _, p := range l.points {
		if l.teaches(p) {
			h := fnv.New64a()
			h.Write([]byte(p.name)) // never fails
			drawn.add(card{h.Sum64(), p})
		}
	}
	var out []*point
	for _, c := range drawn.sorted() {
		out = append(out, c.of)
	}
	slices.SortFunc(out, func(a, b *point) int { return cmp.Compare(a.number, b.number) })
	return out
}

// teaches reports whether one part of a point was found at two sizes or more.
func (l *log) teaches(p *point) bool {
	return slices.ContainsFunc(l.parts(p), func(s stretch) bool {
		n := s.to - s.from
		if s.turn != nil && !math.IsNaN(s.turn.gauge.Y) {
			n++
		}
		return n >= 2
	})
}

// fold draws the readings of each part together where there are too many to
// filter one by one.
func (l *log) fold() {
	for _, p := range l.points {
		if p.readings <= mostReadings {
			continue
		}
		for _, s := range l.parts(p) {
			if len(fold(l.gauges[s.from:s.to])) < s.to-s.from {
				p.folded = true
			}
		}
	}
}

// fold draws neighbouring readings together, in place, where there are too many
// to filter one by one: their mean at their mean hours, as uncertain as one of
// them, for what a gauge is wrong by is not all chance.
func fold(g []wear.Gauge) []wear.Gauge {
	n := len(g)
	if n <= mostReadings {
		return g
	}
	for b := range mostReadings {
		from, to := b*n/mostReadings, (b+1)*n/mostReadings
		var sum wear.Gauge
		for _, x := range g[from:to] {
			sum.H, sum.Y, sum.SD = sum.H+x.H, sum.Y+x.Y, sum.SD+x.SD
		}
		k := float64(to - from)
		g[b] = wear.Gauge{H: sum.H / k, Y: sum.Y / k, SD: sum.SD / k}
	}
	return g[:mostReadings]
}

// history is a point's life as the filter takes it.
func (r *Report) history(p *point) wear.History {
	h := wear.History{Name: p.name, Group: p.group, Prior: r.physics}
	for _, s := range r.log.parts(p) {
		to := min(s.to, s.from+mostReadings) // beyond: drawn together
		seg := wear.Segment{Readings: r.log.gauges[s.from:to:to]}
		if s.turn != nil {
			if seg.H0 = s.turn.gauge.H; !math.IsNaN(s.turn.gauge.Y) {
				seg.Start = &wear.Level{Mean: s.turn.gauge.Y, SD: s.turn.gauge.SD}
			}
		}
		h.Segments = append(h.Segments, seg)
	}
	return h
}
