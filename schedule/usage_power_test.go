package schedule

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"endshake/wear"
)

// Under a power b of 1/2 a weight w from the fitting makes w sqrt(x) of x hours,
// which is the wear of w^2 x; and 100 hours as they are with 300 under a weight
// of 3 make sqrt(100) + 3 (sqrt(400) - sqrt(100)) = 40, which is the wear of
// 1,600 (arithmetic).
func TestWeightsAreOnTheWear(t *testing.T) {
	whole := usage{b: 0.5, fitted: []float64{0}}
	whole.weigh(0, 4)
	if got := whole.worn(100); math.Abs(got-1600) > 1e-9 {
		t.Errorf("100 hours at four times the wear: %v, want 1,600", got)
	}
	u := usage{b: 0.5, fitted: []float64{0, 400}}
	u.weigh(100, 3)
	u.weigh(900, 2)
	for _, tt := range []struct {
		name      string
		run, want float64
	}{
		{"before the first weight", 81, 81},
		{"at it", 100, 100},
		{"beyond it", 400, 1600},
		{"a new part begins anew: 9 times", 500, 1600 + 900},
		{"until another weight", 900, 1600 + 9*500},
		// (3 sqrt 500 + 2 (sqrt 2000 - sqrt 500))^2 = (5 sqrt 500)^2
		{"and on under that", 2400, 1600 + 25*500},
	} {
		if got := u.worn(tt.run); math.Abs(got-tt.want) > 1e-9*tt.want {
			t.Errorf("%s: %v hours are %v, want %v", tt.name, tt.run, got, tt.want)
		}
		if got := u.run(tt.want); math.Abs(got-tt.run) > 1e-9*tt.run {
			t.Errorf("%s: %v are %v hours, want %v", tt.name, tt.want, got, tt.run)
		}
	}
	if u.last() != 2 || (usage{}).last() != 1 {
		t.Errorf("the weights of late are %v and %v, want 2 and 1", u.last(), usage{}.last())
	}
	// A part fitted long before the first weight is old already: its wear goes
	// slowly, and so does what a weight adds to it.
	old := usage{b: 0.5, fitted: []float64{-10000}}
	old.weigh(0, 2)
	if got, want := old.worn(100), math.Pow(100+2*(math.Sqrt(10100)-100), 2)-10000; math.Abs(got-want) > 1e-9*want {
		t.Errorf("an old part: %v, want %v", got, want)
	}
}

// A weight set twice at one place is the later, and weighing leaves what was
// copied before as it was.
func TestWeighedTwice(t *testing.T) {
	u := usage{b: 0.5, fitted: []float64{0}}
	u.weigh(0, 4)
	kept := u
	kept.knots = slices.Clone(u.knots)
	u.weigh(0, 2)
	if len(u.knots) != 1 || u.worn(100) != 400 || kept.worn(100) != 1600 {
		t.Errorf("%d knots, %v, and before %v", len(u.knots), u.worn(100), kept.worn(100))
	}
	a := u
	a.weigh(100, 3)
	u.weigh(100, 5)
	if a.last() != 3 || u.last() != 5 || a.worn(400) != math.Pow(20+3*10, 2) {
		t.Errorf("weights %v and %v, %v", a.last(), u.last(), a.worn(400))
	}
}

// A day comes back from its exposure, and exposure never falls, whatever the
// power, the weights and the parts; and equal weights throughout are one ratio
// of wear in every part.
func TestPowerThereAndBack(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 3))
	for range 300 {
		u := usage{b: math.Exp(0.5 * r.NormFloat64())}
		for range 1 + r.IntN(4) {
			u.fitted = append(u.fitted, 6e4*r.Float64()-1e4)
		}
		slices.Sort(u.fitted)
		run := 0.0
		for range r.IntN(8) {
			u.weigh(run, math.Exp(2*r.NormFloat64()))
			run += 1e4 * r.Float64()
		}
		last := math.Inf(-1)
		for h := -2e4; h < 8e4; h += 977 {
			w := u.worn(h)
			if back := u.run(w); math.Abs(back-h) > 1e-5*(1+math.Abs(h)) {
				t.Fatalf("%v run-hours are %v worn, and those %v: %+v", h, w, back, u)
			}
			if !(w >= last) {
				t.Fatalf("worn falls from %v to %v at %v: %+v", last, w, h, u)
			}
			last = w
		}
	}
	for _, b := range powers {
		u := usage{b: b, fitted: []float64{0, 700, 1500}}
		for _, run := range []float64{0, 300, 700, 1000, 1600} {
			u.weigh(run, 3)
		}
		for i, f := range u.fitted {
			if got := math.Pow(u.worn(f+200)-u.worn(f), b) / math.Pow(200, b); math.Abs(got-3) > 1e-9 {
				t.Errorf("power %v, part %d: %v times the wear, want 3", b, i, got)
			}
		}
	}
}

// Oil in force under a power of 1/2: in the first year, with good oil, a part
// wears 1.5/6.55 of what it would with the usual mix, and so its weighted age is
// the square of that; in the second, aged, 15/6.55 times what the second year
// wears (medians for steel on brass; arithmetic).
func TestOilWeightsTheWear(t *testing.T) {
	const good, aged = 1.5 / 6.55, 15 / 6.55
	o := outlookOf(t, byModel(oiling(366), book(read(2021, 0.10, 0.12)...), bent(0.5, true), "2022-01-01"), "centre-front")
	first, both := 366*24/1000., 731*24/1000.
	for _, tt := range []struct {
		when string
		want float64
	}{
		{"2020-01-01", 0},
		{"2021-01-01", good * math.Sqrt(first)},
		{"2022-01-01", good*math.Sqrt(first) + aged*(math.Sqrt(both)-math.Sqrt(first))},
	} {
		if got := math.Sqrt(o.Units(utc(tt.when))); math.Abs(got-tt.want) > 1e-9 {
			t.Errorf("%s: a wear time of %.6f, want %.6f", tt.when, got, tt.want)
		}
	}
}

// What is ahead goes by the oil of the last three years; of a clock that has
// not run in those by that of its whole life; and of one that never ran by the
// usual mix.
func TestOilAhead(t *testing.T) {
	for _, tt := range []struct {
		name string
		log  []Entry
		now  string
		want float64 // against the usual mix of 6.55e-6
	}{
		{"oiled in time", []Entry{did(Oiled, "2020-12-31"), did(Oiled, "2021-12-31")}, "2022-12-31", 1.5 / 6.55},
		{"stopped for four years, half good and half aged before", []Entry{did(Stopped, "2021-12-31", by(ByHand))}, "2025-12-31", (1.5 + 15) / 2 / 6.55},
		{"stopped for four years, and oiled yesterday", []Entry{did(Stopped, "2021-12-31", by(ByHand)), did(Oiled, "2025-12-30")}, "2025-12-31", (1.5 + 15) / 2 / 6.55},
		{"stopped for four years, good before", []Entry{did(Stopped, "2020-12-31", by(ByHand))}, "2025-12-31", 1.5 / 6.55},
		{"never ran", []Entry{did(Stopped, "2020-01-01", by(ByHand))}, "2025-12-31", 1},
	} {
		o := outlookOf(t, byModel(oiling(365), book(tt.log...), inForce(), tt.now), "centre-front")
		if got := o.use.last(); math.Abs(got/tt.want-1) > 0.001 {
			t.Errorf("%s: weight %.4f ahead, want %.4f", tt.name, got, tt.want)
		}
	}
	bare := oiling(365)
	bare.Trains[0].Arbors[0].Bearings[0].Pair = ""
	if o := outlookOf(t, byModel(bare, nil, inForce(), "2025-12-31"), "centre-front"); o.use.last() != 1 {
		t.Errorf("unknown materials weigh %v", o.use.last())
	}
	if mix, ran := mixOf(nil, 0); ran || mix != (OilWear{}) {
		t.Errorf("of no running %+v", mix)
	}
}

// A year ahead is at the duty to expect, whatever the clock does now.
func TestInAYear(t *testing.T) {
	c := alone()
	c.Trains[0].Drive = wear.Electric
	going := outlookOf(t, assess(c, nil, "2021-01-01"), "centre-front")
	if got := going.use.inAYear() - going.Units(utc("2021-01-01")); math.Abs(got-8.766) > 1e-9 {
		t.Errorf("%v units a year, want 8.766", got)
	}
	rest := outlookOf(t, assess(c, book(did(Stopped, "2021-01-01", by(Rest), until("2021-12-01"))), "2021-01-02"), "centre-front")
	now := rest.Units(utc("2021-01-02"))
	if got := rest.use.inAYear() - now; math.Abs(got-rest.PerDay*365.25/1000) > 1e-9 || rest.Units(utc("2022-01-02"))-now >= got {
		t.Errorf("at rest: %v units a year of %v hours a day", got, rest.PerDay)
	}
}

// The age of a part counts from its fitting, else from its first reading, else
// from the first day in care.
func TestWhereAgeBegins(t *testing.T) {
	care, fitted, first := utc("2020-01-01"), utc("2021-01-01"), utc("2022-01-01")
	point := []Point{{At: first}}
	for _, tt := range []struct {
		part Part
		want time.Time
	}{{Part{}, care}, {Part{Readings: point}, first}, {Part{From: fitted}, fitted}, {Part{From: fitted, Readings: point}, fitted}} {
		if got := tt.part.begins(care); !got.Equal(tt.want) {
			t.Errorf("%+v begins on %v, want %v", tt.part, got, tt.want)
		}
	}
}
