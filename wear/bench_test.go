package wear

import (
	"fmt"
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

func BenchmarkFilter20(b *testing.B) {
	segs := []Segment{steady(20)}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Filter(tablePrior, DefaultParams(), segs); err != nil {
			b.Fatal(err)
		}
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
