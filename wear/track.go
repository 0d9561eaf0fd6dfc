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
// another for each deal; names that are the same keep the order given.
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
		return cmp.Or(cmp.Compare(a.h, b.h), cmp.Compare(fleet[a.place].Name, fleet[b.place].Name), cmp.Compare(a.place, b.place))
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

// mostJudged bounds how many forecasts of one part are judged; of more, so many
// evenly chosen ones are.
const mostJudged = 24

// judge scores one bearing.
func (c *Worker) judge(prior Prior, p Params, segs []Segment) (t Track, err error) {
	for i := 0; i < len(segs); {
		end := i + 1
		for end < len(segs) && segs[end].Carry > 0 { // the same part
			end++
		}
		if err := c.judgePart(&t, prior, p, segs, i, end); err != nil {
			return t, err
		}
		i = end
	}
	return t, nil
}

// judgePart scores the part whose segments are segs[from:to].
func (c *Worker) judgePart(t *Track, prior Prior, p Params, segs []Segment, from, to int) error {
	var x, y []float64
	if s := &segs[from]; s.Start != nil {
		x, y = append(x, s.H0), append(y, s.Start.Mean)
	}
	all := 0
	var end Gauge
	for _, s := range segs[from:to] {
		all += len(s.Readings)
		if n := len(s.Readings); n > 0 {
			end = s.Readings[n-1]
		}
	}
	every, place := (all+mostJudged-1)/mostJudged, 0
	for i := from; i < to; i++ {
		for k, g := range segs[i].Readings {
			if place++; (all-place)%max(1, every) == 0 {
				seen := slices.Clone(segs[:i+1])
				seen[i].Readings = segs[i].Readings[:k]
				if err := c.judgeOne(t, prior, p, seen, x, y, g, end); err != nil {
					return err
				}
			}
			x, y = append(x, g.H), append(y, g.Y)
		}
	}
	return nil
}

// judgeOne scores the forecasts of the next and the last reading from what was
// seen, the part's own sizes being x and y.
func (c *Worker) judgeOne(t *Track, prior Prior, p Params, seen []Segment, x, y []float64, next, end Gauge) error {
	line, ok := judgeLine(x, y, next)
	if !ok {
		return nil
	}
	lineEnd, _ := judgeLine(x, y, end)
	post, err := c.Filter(prior, p, seen)
	if err != nil {
		return err
	}
	t.Next.StraightLine.add(line)
	t.Last.StraightLine.add(lineEnd)
	t.Next.Ours.add(post.Judge(next))
	t.Last.Ours.add(post.Judge(end))
	return nil
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
