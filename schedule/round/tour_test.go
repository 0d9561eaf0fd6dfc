package round

import (
	"bufio"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// known is a set of places with the length of the shortest tour over them.
type known struct {
	name, rule string
	best       int
	x, y       []float64
}

// tours reads testdata/tours.csv, which names its source.
func tours(t testing.TB) []known {
	t.Helper()
	f, err := os.Open("testdata/tours.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	number := func(s string) float64 {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	var all []known
	left := 0
	for s := bufio.NewScanner(f); s.Scan(); {
		c := strings.Split(s.Text(), ",")
		switch {
		case strings.HasPrefix(s.Text(), "#"):
		case left == 0:
			all = append(all, known{name: c[0], rule: c[1], best: int(number(c[2]))})
			left = int(number(c[3]))
		default:
			k := &all[len(all)-1]
			k.x, k.y = append(k.x, number(c[0])), append(k.y, number(c[1]))
			left--
		}
	}
	if len(all) != 6 || left != 0 {
		t.Fatalf("%d sets, %d places are missing", len(all), left)
	}
	return all
}

// ways are the distances between the places by the rules of TSPLIB 95 (G.
// Reinelt, 1995, section 2).
func (k known) ways() ways {
	w := ways{n: len(k.x), min: make([]int, len(k.x)*len(k.x))}
	rad := func(v float64) float64 {
		whole := math.Trunc(v)
		return 3.141592 * (whole + 5*(v-whole)/3) / 180
	}
	for i := range k.x {
		for j := range k.x {
			dx, dy := k.x[i]-k.x[j], k.y[i]-k.y[j]
			d := 0
			switch k.rule {
			case "EUC_2D":
				d = int(math.Sqrt(dx*dx+dy*dy) + 0.5)
			case "ATT":
				d = int(math.Ceil(math.Sqrt((dx*dx + dy*dy) / 10)))
			case "GEO":
				q1 := math.Cos(rad(k.y[i]) - rad(k.y[j]))
				q2, q3 := math.Cos(rad(k.x[i])-rad(k.x[j])), math.Cos(rad(k.x[i])+rad(k.x[j]))
				d = int(6378.388*math.Acos(0.5*((1+q1)*q2-(1-q1)*q3)) + 1)
			}
			if i != j {
				w.min[i*w.n+j] = d
			}
		}
	}
	return w
}

func tourLength(w ways, order []int) (sum int) {
	for i, p := range order {
		sum += w.leg(p, order[(i+1)%len(order)])
	}
	return sum
}

func isTour(order []int, n int) bool {
	s := slices.Clone(order)
	slices.Sort(s)
	for i, p := range s {
		if p != i {
			return false
		}
	}
	return len(s) == n
}

// fewKicks are those of at most 10 ms, and manyKicks of at most 100 ms, for the
// largest of the sets, as BenchmarkTour tells.
const fewKicks, manyKicks = 400, 5000

func TestShortestKnownTours(t *testing.T) {
	for _, k := range tours(t) {
		w := k.ways()
		var few, worst float64
		exact := 0
		for seed := range uint64(10) {
			o := tour(w, fewKicks, seed)
			if !isTour(o, w.n) {
				t.Fatalf("%s: %v is no tour", k.name, o)
			}
			gap := 100 * (float64(tourLength(w, o))/float64(k.best) - 1)
			if few, worst = few+gap/10, max(worst, gap); gap < 0 {
				t.Errorf("%s: %d is shorter than the shortest", k.name, tourLength(w, o))
			}
			if tourLength(w, tour(w, manyKicks, seed)) == k.best {
				exact++
			}
		}
		t.Logf("%-9s %3d places: %d kicks %.3f %% longer than the shortest (at most %.3f %%); %d kicks: the shortest for %d of 10 seeds", k.name, w.n, fewKicks, few, worst, manyKicks, exact)
		if few > 0.5 || exact != 10 {
			t.Errorf("%s: %.3f %% with %d kicks, %d of 10 exact with %d", k.name, few, fewKicks, exact, manyKicks)
		}
	}
}

// TestFewPlaces goes through all orders, ways there and back being as long and not.
func TestFewPlaces(t *testing.T) {
	for seed := range uint64(200) {
		r := rand.New(rand.NewPCG(seed, 2))
		n := r.IntN(8)
		w := ways{n: n, min: make([]int, n*n)}
		for i := range n {
			for j := range n {
				if i != j {
					w.min[i*n+j] = r.IntN(100)
				}
			}
		}
		o := tour(w, 10, seed)
		best := math.MaxInt
		permute(n, func(p []int) { best = min(best, tourLength(w, p)) })
		if !isTour(o, n) || tourLength(w, o) != best {
			t.Errorf("seed %d: %v is %d long, want %d", seed, o, tourLength(w, o), best)
		}
	}
}

// permute calls f with all orders of n.
func permute(n int, f func([]int)) {
	p := make([]int, n)
	for i := range p {
		p[i] = i
	}
	var rec func(int)
	rec = func(k int) {
		if k == n {
			f(p)
			return
		}
		for i := k; i < n; i++ {
			p[k], p[i] = p[i], p[k]
			rec(k + 1)
			p[k], p[i] = p[i], p[k]
		}
	}
	rec(0)
}

// TestOneWayTours holds that where the ways back are longer or shorter a tour is
// one, is no longer than to go to the nearest, and is the shortest where all
// places lie on a ring of one-way streets.
func TestOneWayTours(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	for range 50 {
		n := 12 + r.IntN(20)
		w := ways{n: n, min: make([]int, n*n)}
		ring := r.Perm(n)
		for i := range n {
			for j := range n {
				if ring[i] != ring[j] {
					w.min[ring[i]*n+ring[j]] = (j - i + n) % n
				}
			}
		}
		if o := tour(w, 200, 1); !isTour(o, n) || tourLength(w, o) != n {
			t.Errorf("ring of %d: %d", n, tourLength(w, o))
		}
		for i := range w.min {
			w.min[i] = r.IntN(1000)
		}
		if o := tour(w, 200, 1); !isTour(o, n) || tourLength(w, o) > tourLength(w, nearest(w)) {
			t.Errorf("%d places: %d, by the nearest %d", n, tourLength(w, o), tourLength(w, nearest(w)))
		}
	}
}

func BenchmarkTour(b *testing.B) {
	for _, k := range tours(b) {
		w := k.ways()
		for _, kicks := range []int{0, fewKicks, manyKicks} {
			b.Run(fmt.Sprintf("%s/%d", k.name, kicks), func(b *testing.B) {
				sum := 0
				for i := 0; b.Loop(); i++ {
					sum += tourLength(w, tour(w, kicks, uint64(i)))
				}
				b.ReportMetric(100*(float64(sum)/float64(b.N)/float64(k.best)-1), "%over")
			})
		}
	}
}
