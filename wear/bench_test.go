package wear

import (
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"sync"
	"sync/atomic"
	"testing"
	"time"
)

// steady makes n readings of a steadily wearing bearing, 6 units apart.
func steady(n int) Segment {
	s := Segment{Readings: make([]Gauge, n)}
	for i := range s.Readings {
		h := 6 * float64(i)
		s.Readings[i] = Gauge{h, .1 + .012*h + .02*float64(i%3-1), .03}
	}
	return s
}

// BenchmarkFilter12 filters twelve readings with misreads and changes of rate;
// the baseline is what it replaces, a straight line through the same readings.
func BenchmarkFilter12(b *testing.B) {
	s := steady(12)
	x, y := make([]float64, 12), make([]float64, 12)
	for i, g := range s.Readings {
		x[i], y[i] = g.H, g.Y
	}
	b.Run("baseline=FitLine", func(b *testing.B) {
		for b.Loop() {
			if _, err := FitLine(x, y); err != nil {
				b.Fatal(err)
			}
		}
	})
	segs := []Segment{s}
	b.Run("Filter", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			if _, err := Filter(tablePrior, DefaultParams(), segs); err != nil {
				b.Fatal(err)
			}
		}
	})
}

// BenchmarkFilter20 forecasts a point of twenty readings as a fleet's is: the
// filter with misreads and changes of rate, and the three crossings, in memory
// used before. The baseline is a straight line through the same readings; the
// metric is per reading.
func BenchmarkFilter20(b *testing.B) {
	segs := []Segment{steady(20)}
	x, y := make([]float64, 20), make([]float64, 20)
	for i, g := range segs[0].Readings {
		x[i], y[i] = g.H, g.Y
	}
	perReading := func(b *testing.B) {
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/20, "ns/reading")
	}
	b.Run("baseline=FitLine", func(b *testing.B) {
		for b.Loop() {
			if _, err := FitLine(x, y); err != nil {
				b.Fatal(err)
			}
		}
		perReading(b)
	})
	for _, cross := range []bool{false, true} {
		b.Run(fmt.Sprintf("Filter/crossings=%v", cross), func(b *testing.B) {
			var w Worker
			b.ReportAllocs()
			for b.Loop() {
				p, err := w.Filter(tablePrior, DefaultParams(), segs)
				if err != nil {
					b.Fatal(err)
				}
				if cross {
					p.Crossings(2, p.Now())
				}
			}
			perReading(b)
		})
	}
}

// mixed is a fleet of points with twenty readings each: most of them steady, one
// in twelve with a change of rate, one in two with a misread.
func mixed() [][]Segment {
	rng := rand.New(rand.NewPCG(31, 1))
	var out [][]Segment
	for i := range 96 {
		s, level, rate := Segment{}, .1, .012*math.Exp(.5*rng.NormFloat64())
		for k := range 20 {
			if k == 11 && i%12 == 0 {
				rate *= 4
			}
			if k > 0 {
				level += 6 * rate
			}
			y := level + .03*rng.NormFloat64()
			if rng.Float64() < .025 {
				y += .4
			}
			s.Readings = append(s.Readings, Gauge{6 * float64(k), y, .03})
		}
		out = append(out, []Segment{s})
	}
	return out
}

// BenchmarkFleet20 forecasts such a fleet on one core and on all; the ratio of
// the two is what a second core is worth.
func BenchmarkFleet20(b *testing.B) {
	fleet := mixed()
	for _, workers := range []int{1, runtime.GOMAXPROCS(0)} {
		b.Run(fmt.Sprintf("workers=%d", workers), func(b *testing.B) {
			all := make([]Worker, workers)
			b.ReportAllocs()
			for b.Loop() {
				var next atomic.Int64
				var wg sync.WaitGroup
				for i := range all {
					wg.Go(func() {
						for k := int(next.Add(1)) - 1; k < len(fleet); k = int(next.Add(1)) - 1 {
							if _, err := all[i].Filter(tablePrior, DefaultParams(), fleet[k]); err != nil {
								b.Error(err)
							}
						}
					})
				}
				wg.Wait()
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(fleet))/20, "ns/reading")
		})
	}
}

// TestSteadyState: a worker that has seen a fleet filters it again, and foresees
// its crossings, without asking for memory.
func TestSteadyState(t *testing.T) {
	fleet := mixed()
	var w Worker
	all := func() {
		for _, h := range fleet {
			p, err := w.Filter(tablePrior, DefaultParams(), h)
			if err != nil {
				t.Fatal(err)
			}
			p.Crossings(2, p.Now())
		}
	}
	all()
	if n := testing.AllocsPerRun(3, all); n != 0 {
		t.Errorf("%v allocations for a fleet of %d in the steady state", n, len(fleet))
	}
}

func BenchmarkPosterior(b *testing.B) {
	for _, n := range []int{4, 12, 20} {
		post, err := Filter(tablePrior, DefaultParams(), []Segment{steady(n)})
		if err != nil {
			b.Fatal(err)
		}
		now := post.Now() + 1
		name := func(what string) string { return fmt.Sprintf("%s/readings=%d/nodes=%d", what, n, len(post.nodes)) }
		b.Run(name("Exceed"), func(b *testing.B) {
			for b.Loop() {
				post.Exceed(2, now+40, now)
			}
		})
		b.Run(name("Crossing"), func(b *testing.B) {
			for b.Loop() {
				post.Crossing(2, now, .1)
			}
		})
		b.Run(name("LevelQuantile"), func(b *testing.B) {
			for b.Loop() {
				post.LevelQuantile(now+40, .1)
			}
		})
		b.Run(name("RateQuantile"), func(b *testing.B) {
			for b.Loop() {
				post.RateQuantile(.1)
			}
		})
	}
}

// BenchmarkRunning has ten thousand events of a weekly wound clock, with a
// stop a year.
func BenchmarkRunning(b *testing.B) {
	var events []RunEvent
	for i := range 10000 {
		at := float64(i) * 7
		switch i % 52 {
		case 50:
			events = append(events, byHand(at))
		case 51:
			events = append(events, started(at))
		default:
			events = append(events, wound(at))
		}
	}
	b.Run("NewRunning", func(b *testing.B) {
		for b.Loop() {
			if _, err := NewRunning(day0, 8*days, events); err != nil {
				b.Fatal(err)
			}
		}
	})
	r, err := NewRunning(day0, 8*days, events)
	if err != nil {
		b.Fatal(err)
	}
	b.Run("At", func(b *testing.B) {
		t := day0.Add(30000 * 24 * time.Hour)
		for b.Loop() {
			r.At(t)
		}
	})
}

// BenchmarkDoubts makes the table of misreads; the baseline is the forecast of
// the same readings.
func BenchmarkDoubts(b *testing.B) {
	for _, n := range []int{12, 20} {
		segs := []Segment{steady(n)}
		b.Run(fmt.Sprintf("readings=%d/baseline=Filter", n), func(b *testing.B) {
			for b.Loop() {
				if _, err := Filter(tablePrior, DefaultParams(), segs); err != nil {
					b.Fatal(err)
				}
			}
		})
		b.Run(fmt.Sprintf("readings=%d/Doubts", n), func(b *testing.B) {
			for b.Loop() {
				if _, err := Doubts(tablePrior, DefaultParams(), segs); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
