package wear

import (
	"cmp"
	"context"
	"fmt"
	"hash/fnv"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"
)

// dealtUpTo bounds how many bearings are dealt in all: a small fleet is dealt
// several times, because what a few bearings teach hangs on the deal.
const (
	dealtUpTo = 100
	mostDeals = 5
)

// TrackRecord scores every forecast of a fleet that a later reading of the same
// part can judge, where a straight line could be drawn as well: from each number
// of readings the next one, and the last one. What is learned for a bearing
// comes from the other folds only: bearings are dealt out to so many, in an
// order that comes from their names alone, so that none is judged by what it
// taught itself. Scores of a small fleet are the mean of several deals. The
// error is of [Learn], or of fewer than two folds.
func TrackRecord(ctx context.Context, fleet []History, how Teaching, folds int) (Track, error) {
	if folds < 2 {
		return Track{}, fmt.Errorf("track record: %d folds: there must be two or more", folds)
	}
	deals := max(1, min(mostDeals, dealtUpTo/max(1, len(fleet))))
	var out Track
	for deal := range deals {
		all := shuffled(fleet, deal)
		for fold := range min(folds, len(fleet)) {
			part, err := trackFold(ctx, all, how, folds, fold)
			if err != nil {
				return Track{}, fmt.Errorf("track record: %w", err)
			}
			for _, t := range part {
				out.merge(t)
			}
		}
	}
	for _, s := range out.scores() {
		s.Forecasts /= deals
	}
	return out, nil
}

// trackFold scores the bearings of one fold by what the others teach.
func trackFold(ctx context.Context, fleet []History, how Teaching, folds, fold int) ([]Track, error) {
	var rest, these []History
	for i := range fleet {
		if i%folds == fold {
			these = append(these, fleet[i])
		} else {
			rest = append(rest, fleet[i])
		}
	}
	l, err := Learn(ctx, rest, how)
	if err != nil {
		return nil, err
	}
	return l.judge(ctx, these)
}

// scores are the four that a record is made of.
func (t *Track) scores() [4]*Score {
	return [4]*Score{&t.Next.Ours, &t.Next.StraightLine, &t.Last.Ours, &t.Last.StraightLine}
}

// merge takes in the forecasts of another record.
func (t *Track) merge(o Track) {
	from := o.scores()
	for i, s := range t.scores() {
		s.merge(*from[i])
	}
}

// shuffled puts a fleet in an order that has nothing to do with its own, and is
// another for each deal.
func shuffled(fleet []History, deal int) []History {
	type card struct {
		h     uint64
		place int
	}
	cards := make([]card, len(fleet))
	for i := range fleet {
		h := fnv.New64a()
		fmt.Fprintf(h, "%d %s", deal, fleet[i].Name)
		cards[i] = card{h.Sum64(), i}
	}
	slices.SortFunc(cards, func(a, b card) int {
		return cmp.Or(cmp.Compare(a.h, b.h), cmp.Compare(fleet[a.place].Name, fleet[b.place].Name))
	})
	out := make([]History, len(fleet))
	for i, c := range cards {
		out[i] = fleet[c.place]
	}
	return out
}

// judge scores bearings, each by itself.
func (l Learned) judge(ctx context.Context, fleet []History) ([]Track, error) {
	out, errs := make([]Track, len(fleet)), make([]error, len(fleet))
	var next atomic.Int64
	var wg sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), len(fleet)) {
		wg.Go(func() {
			var w Worker
			for i := int(next.Add(1)) - 1; i < len(fleet) && ctx.Err() == nil; i = int(next.Add(1)) - 1 {
				h := fleet[i]
				out[i], errs[i] = w.judge(l.Prior(h.Group, h.Prior), l.Params, known(h.Segments))
			}
		})
	}
	wg.Wait()
	for _, err := range errs {
		if err != nil {
			return nil, err
		}
	}
	return out, ctx.Err()
}

// judge scores one bearing.
func (c *Worker) judge(prior Prior, p Params, segs []Segment) (t Track, err error) {
	for i, s := range segs {
		var x, y []float64
		if s.Start != nil {
			x, y = append(x, s.H0), append(y, s.Start.Mean)
		}
		n := len(s.Readings)
		for k := range n {
			if k > 0 {
				x, y = append(x, s.Readings[k-1].H), append(y, s.Readings[k-1].Y)
			}
			next, ok := judgeLine(x, y, s.Readings[k])
			if !ok {
				continue
			}
			last, _ := judgeLine(x, y, s.Readings[n-1])
			seen := slices.Clone(segs[:i+1])
			seen[i].Readings = s.Readings[:k]
			post, err := c.Filter(prior, p, seen)
			if err != nil {
				return t, err
			}
			t.Next.StraightLine.add(next)
			t.Last.StraightLine.add(last)
			t.Next.Ours.add(post.Judge(s.Readings[k]))
			t.Last.Ours.add(post.Judge(s.Readings[n-1]))
		}
	}
	return t, nil
}

// merge takes in the forecasts of another score.
func (s *Score) merge(o Score) {
	n := s.Forecasts + o.Forecasts
	if n == 0 {
		return
	}
	by := func(x *float64, y float64) {
		*x = (*x*float64(s.Forecasts) + y*float64(o.Forecasts)) / float64(n)
	}
	by(&s.CRPS, o.CRPS)
	by(&s.MAE, o.MAE)
	by(&s.Cover80, o.Cover80)
	by(&s.Cover90, o.Cover90)
	s.Forecasts = n
}
