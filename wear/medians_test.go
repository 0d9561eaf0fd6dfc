package wear

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Medians told from those near them are the medians themselves, to a millionth of a
// millimetre for the most part and to a thousandth at the worst, whatever the
// readings, by even wear and by wear that bends; and what was at hand makes no
// difference. (A gauge tells a hundredth.)
func TestMedian(t *testing.T) {
	seed := rand.Uint64()
	r := rand.New(rand.NewPCG(seed, 3))
	worst, coarse, all := 0.0, 0, 0
	for i := range 300 {
		by := DefaultParams()
		switch i % 4 {
		case 1:
			by.B = 0.6 + r.Float64()
		case 2:
			by.Quicken, by.Reach = 2*r.Float64(), 1
		}
		s := Segment{}
		h, y := 0.0, 0.1+0.1*r.Float64()
		rate := 0.01 * math.Exp(r.NormFloat64())
		for range 1 + r.IntN(14) {
			s.Readings = append(s.Readings, Gauge{h, y + 0.01*r.NormFloat64(), 0.002 + 0.03*r.Float64()})
			d := 0.3 + 9*r.Float64()
			h, y = h+d, y+rate*d*math.Exp(0.3*r.NormFloat64())
		}
		post, err := Filter(tablePrior, by, []Segment{s})
		if err != nil {
			t.Fatal(err)
		}
		var near *Medians
		for range 40 {
			at := post.Now() + 30*r.Float64()*r.Float64()
			if r.IntN(3) == 0 {
				at = post.Now() - 1 + 2*r.Float64()
			}
			want := post.LevelQuantile(at, .5)
			got, from := post.Median(at, near)
			cold, fresh := post.Median(at, nil)
			if got != cold || from != fresh {
				t.Fatalf("seed %d, case %d at %v: %v from %+v with medians at hand, %v from %+v without", seed, i, at, got, from, cold, fresh)
			}
			off := math.Abs(got-want) / max(1, post.LevelAt(at).SD)
			if off > 1e-6 {
				coarse++
			}
			if worst, all = max(worst, off), all+1; !(off <= 1e-3) {
				t.Errorf("seed %d, case %d at %v: %v, want %v (step %v)", seed, i, at, got, want, from.step)
			}
			near = &from
		}
		if got, _ := post.Median(post.Now(), near); got != post.LevelQuantile(post.Now(), .5) {
			t.Errorf("seed %d, case %d: the median of the last fact is told as %v", seed, i, got)
		}
	}
	if coarse > all/50 {
		t.Errorf("seed %d: %d of %d are off by more than a millionth", seed, coarse, all)
	}
	t.Logf("worst %.2g, %d of %d off by more than a millionth", worst, coarse, all)
}

// One median after another, day by day, is found anew seldom.
func TestMedianIsSeldomSought(t *testing.T) {
	post, err := Filter(tablePrior, DefaultParams(), []Segment{steady(20)})
	if err != nil {
		t.Fatal(err)
	}
	_, near := post.Median(post.Now(), nil)
	sought := 0
	for day := range 365 {
		_, by := post.Median(post.Now()+8.766*float64(day)/365.25, &near)
		if by.ends != near.ends {
			sought++
		}
		near = by
	}
	if sought == 0 || sought > 36 {
		t.Errorf("in a year a median was sought on %d days", sought)
	}
}

// Where there is no level, or it lies beyond all that is told, it is said as by
// LevelQuantile.
func TestMedianOfNothing(t *testing.T) {
	none, err := Filter(tablePrior, DefaultParams(), nil)
	if err != nil {
		t.Fatal(err)
	}
	if mm, by := none.Median(3, nil); !math.IsNaN(mm) || by != (Medians{}) {
		t.Errorf("of no part %v from %+v", mm, by)
	}
	post, err := Filter(tablePrior, DefaultParams(), []Segment{steady(5)})
	if err != nil {
		t.Fatal(err)
	}
	for _, h := range []float64{math.NaN(), math.Inf(-1), math.Inf(1), 1e300, 1e9} {
		got, by := post.Median(h, nil)
		if want := post.LevelQuantile(h, .5); got != want && !(math.IsNaN(got) && math.IsNaN(want)) && math.Abs(got-want) > 1e-6*want {
			t.Errorf("at %v it is %v, want %v", h, got, want)
		}
		if again, _ := post.Median(h, &by); again != got && !math.IsNaN(got) {
			t.Errorf("at %v it is %v and then %v", h, got, again)
		}
	}
}
