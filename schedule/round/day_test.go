package round

import (
	"math/rand/v2"
	"slices"
	"testing"
)

// aDay is a random day with windows that are often tight.
func aDay(r *rand.Rand, n int) (w ways, h Hours, calls []call) {
	w = ways{n: n + 1, min: make([]int, (n+1)*(n+1))}
	for i := range w.min {
		if i/w.n != i%w.n {
			w.min[i] = 5 + r.IntN(60)
		}
	}
	h = Hours{r.IntN(200), 400 + r.IntN(500)}
	for i := range n {
		c := call{place: i, open: -100, shut: 2000, stay: r.IntN(60)}
		if r.IntN(2) == 0 {
			c.open = r.IntN(600)
			c.shut = c.open + r.IntN(400)
		}
		calls = append(calls, c)
	}
	return w, h, calls
}

// leastOfAll goes through all orders: the least travel of those that hold; -1:
// none does.
func leastOfAll(w ways, h Hours, calls []call) int {
	best := -1
	home := len(calls)
	permute(len(calls), func(p []int) {
		at, now, sum := home, h.From, 0
		for _, i := range p {
			sum += w.leg(at, i)
			now = max(now+w.leg(at, i), calls[i].open) + calls[i].stay
			if at = i; now > calls[i].shut {
				return
			}
		}
		if now+w.leg(at, home) <= h.To && (best < 0 || sum+w.leg(at, home) < best) {
			best = sum + w.leg(at, home)
		}
	})
	return best
}

// TestDayIsTheShortestThatHolds holds small days to all of their orders.
func TestDayIsTheShortestThatHolds(t *testing.T) {
	holds := 0
	for seed := range uint64(600) {
		r := rand.New(rand.NewPCG(seed, 4))
		n := 1 + r.IntN(7)
		w, h, calls := aDay(r, n)
		want := leastOfAll(w, h, calls)
		order, ok := bestOrder(w, n, h, calls)
		switch {
		case ok != (want >= 0):
			t.Errorf("seed %d: holds %v, least of all orders %d", seed, ok, want)
		case ok && (!isTour(order, n) || orderTravel(w, n, calls, order) != want):
			t.Errorf("seed %d: %v takes %d, want %d", seed, order, orderTravel(w, n, calls, order), want)
		}
		if ok {
			holds++
			checkTimes(t, seed, w, h, calls)
		}
	}
	if holds < 100 || holds > 500 {
		t.Errorf("%d of 600 days hold: the test tells too little", holds)
	}
	t.Logf("%d of 600 days can be done, each with the least travel", holds)
}

// checkTimes holds the times of a day to its windows.
func checkTimes(t *testing.T, seed uint64, w ways, h Hours, calls []call) {
	d := day{ways: w, home: len(calls), hours: h, calls: slices.Clone(calls)}
	for i := range calls {
		d.ids = append(d.ids, i)
	}
	if !d.arrange() {
		t.Fatalf("seed %d: there is an order but it is not taken", seed)
	}
	leave, begin, back := d.times()
	at, now := d.home, leave
	for i, c := range d.calls {
		if begin[i] < now+w.leg(at, c.place) || begin[i] < c.open || begin[i]+c.stay > c.shut {
			t.Errorf("seed %d: call %d begins at %d, %+v after %d", seed, i, begin[i], c, now)
		}
		at, now = c.place, begin[i]+c.stay
	}
	if leave < h.From || back > h.To || back < now+w.leg(at, d.home) {
		t.Errorf("seed %d: from %d to %d of %v", seed, leave, back, h)
	}
}

// TestLargerDays holds days with more calls than are searched through to what
// their orders must keep, and to a day of the same calls made one after another.
func TestLargerDays(t *testing.T) {
	none := 0
	for seed := range uint64(100) {
		r := rand.New(rand.NewPCG(seed, 5))
		n := mostExact + 1 + r.IntN(12)
		w, _, calls := aDay(r, n)
		// Windows about an order at random, so that there is one that holds.
		at, now, sum := n, 0, 0
		for _, i := range r.Perm(n) {
			now += w.leg(at, i)
			sum += w.leg(at, i)
			calls[i].open, calls[i].shut = now-r.IntN(120), now+calls[i].stay+60+r.IntN(200)
			now += calls[i].stay
			at = i
		}
		sum += w.leg(at, n)
		order, ok := bestOrder(w, n, Hours{0, now + w.leg(at, n) + 120}, calls)
		if !ok {
			none++
			continue
		}
		if !isTour(order, n) {
			t.Errorf("seed %d: %v", seed, order)
		}
		if got := orderTravel(w, n, calls, order); got > sum {
			t.Errorf("seed %d: %d on the way, %d in the order the windows were made from", seed, got, sum)
		}
	}
	t.Logf("no order found for %d of 100 days of %d to %d calls that have one", none, mostExact+1, mostExact+12)
	if none > 3 {
		t.Errorf("no order found for %d of 100 days that have one", none)
	}
}

// TestFarWays holds that a place to which no way leads is in no day.
func TestFarWays(t *testing.T) {
	w := newWays([][]float64{{0, 10, 1e300}, {10, 0, 5}, {3, 5, 0}}, 3)
	h := Hours{0, 1000}
	if _, ok := bestOrder(w, 0, h, []call{{1, 0, 1000, 5}, {2, 0, 1000, 5}}); !ok {
		t.Error("there is a way by way of place 1")
	}
	if _, ok := bestOrder(w, 0, h, []call{{2, 0, 1000, 5}}); ok {
		t.Error("no way leads there directly")
	}
}

func BenchmarkDay(b *testing.B) {
	r := rand.New(rand.NewPCG(6, 6))
	w, _, calls := aDay(r, mostExact)
	for i := range calls {
		calls[i].open, calls[i].shut = 0, 2000
	}
	for b.Loop() {
		bestOrder(w, mostExact, Hours{0, 2000}, calls)
	}
}
