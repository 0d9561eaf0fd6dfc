package trend

import (
	"context"
	"fmt"
	"io"
	"runtime"
	"sync"
	"sync/atomic"

	"endshake/wear"
)

// mostReadings is how many readings of a part are filtered one by one; more are
// drawn together, since the work grows with their square.
const mostReadings = 100

// Report is the answer to a file, with what it takes to draw it.
type Report struct {
	Document
	how     *settings
	k       scales
	log     *log
	learned wear.Learned
	physics wear.Prior
}

// Run reads a CSV file and answers it; the package's own words say what the
// file must be. The error is a sentence with file, line and column where the
// file is to blame, or that of the options, the reader or the context.
func Run(ctx context.Context, in io.Reader, o Options) (*Report, error) {
	s, err := o.understand()
	if err != nil {
		return nil, err
	}
	l, err := read(ctx, in, s)
	if err != nil {
		return nil, err
	}
	r := &Report{how: s, log: l}
	if r.k, err = l.scale(s); err != nil {
		return nil, err
	}
	r.physics = wear.RatePrior(wear.Bearing{}, wear.Arbor{}, wear.Train{Kind: wear.Going})
	fleet, err := r.histories(ctx)
	if err != nil {
		return nil, err
	}
	teaching := wear.Teaching{Plain: s.Plain, Guessed: l.guessed}
	if r.learned, err = wear.Learn(ctx, fleet, teaching); err != nil {
		return nil, fmt.Errorf("%s: %w", s.Name, err)
	}
	if err = r.answer(ctx, fleet); err != nil {
		return nil, err
	}
	if s.TrackRecord {
		t, err := wear.TrackRecord(ctx, fleet, teaching, s.Folds)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", s.Name, err)
		}
		r.TrackRecord = &Track{r.versus(t.Next), r.versus(t.Last)}
	}
	return r, nil
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

// histories gives each point's life as the filter takes it.
func (r *Report) histories(ctx context.Context) ([]wear.History, error) {
	fleet := make([]wear.History, len(r.log.points))
	return fleet, each(ctx, len(fleet), func(i int) error {
		p := r.log.points[i]
		fleet[i], p.folded = r.history(p)
		return nil
	})
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

// versus scales a score back.
func (r *Report) versus(v wear.Versus) Versus {
	return Versus{r.score(v.Ours), r.score(v.StraightLine)}
}

func (r *Report) score(s wear.Score) Score {
	if s.Forecasts == 0 {
		return Score{0, none, none, none, none}
	}
	return Score{s.Forecasts, Num(s.CRPS / r.k.value), Num(s.MAE / r.k.value), Num(s.Cover80), Num(s.Cover90)}
}
