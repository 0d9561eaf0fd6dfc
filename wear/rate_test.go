package wear

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// Five errors of four weeks: the figures by SciPy 1.10.1 (linregress and
// stats.t), computed once.
var (
	weeksDays   = []float64{0, 7, 14, 21, 28}
	weeksErrors = []float64{0, 3, 7.5, 10, 14.5}
)

func TestFitRate(t *testing.T) {
	r, ok := FitRate(weeksDays, weeksErrors, 0)
	if !ok || r.N != 5 || r.Nu != 3 || r.Aside != nil {
		t.Fatalf("got %+v, %v", r, ok)
	}
	nearRel(t, "rate", r.PerDay, .5142857142857, 1e-9)
	nearRel(t, "its deviation", r.SD, .02474358, 1e-6)
	nearRel(t, "half of the 95 % interval", r.Within(.95), .0787451, 1e-6)
	zero := r.At(0)
	near(t, "error on the first day", zero.Level, -.2, 1e-12)
	median, ok := zero.Reaches(60, .5, 730)
	if !ok {
		t.Fatal("a minute fast is not reached")
	}
	near(t, "day of a minute fast", median, 117.05556, 1e-3) // the chance of a minute slow, with t of 3, shifts it a little

	// The line's own formulas agree.
	l, err := FitLine(weeksDays, weeksErrors)
	if err != nil {
		t.Fatal(err)
	}
	nearRel(t, "slope of the line", r.PerDay, l.Slope, 1e-12)
	nearRel(t, "its deviation by the line", r.SD, l.SlopeSE, 1e-9)
	nearRel(t, "the level's deviation by the line", zero.LevelSD, l.InterceptSE, 1e-9)
	for _, day := range []float64{-3, 14, 28, 200} {
		mean, sd := l.Predict(day)
		m, s := zero.At(day)
		near(t, "the error ahead", m, mean, 1e-9)
		nearRel(t, "and its deviation, without a reading's own", s, math.Sqrt(sd*sd-l.ResidualSD*l.ResidualSD), 1e-9)
	}
}

// Known noise holds a lucky scatter of few errors to what reading them can be;
// many speak for themselves.
func TestNoiseOrScatter(t *testing.T) {
	r, _ := FitRate(weeksDays, weeksErrors, 2)
	if r.Nu != 0 {
		t.Errorf("a scatter below the noise left %v degrees of freedom", r.Nu)
	}
	nearRel(t, "with noise of 2 s", r.SD, 2/math.Sqrt(490), 1e-12) // sum of squares 490 about day 14
	nearRel(t, "two errors, by the rule for a difference", must(t, []float64{0, 7}, []float64{0, 7}, 2).SD, 2*math.Sqrt2/7, 1e-12)
	r, _ = FitRate([]float64{0, 7, 14, 21}, []float64{0, 9, -9, 5}, 2)
	if r.Nu != 2 || r.SD <= 2/math.Sqrt(245) {
		t.Errorf("a scatter above the noise must count: %+v", r)
	}
	var days, exact []float64
	for i := 0.0; i < 30; i++ {
		days, exact = append(days, 7*i), append(exact, i)
	}
	if r := must(t, days, exact, 2); r.Nu != 28 || math.Abs(r.SD-.25/math.Sqrt(110127.5)) > 1e-9 { // 49 (30³-30)/12
		t.Errorf("thirty errors on a line: %+v", r)
	}
}

func must(t *testing.T, days, seconds []float64, noise float64) Rate {
	t.Helper()
	r, ok := FitRate(days, seconds, noise)
	if !ok {
		t.Fatalf("no rate of %v by %v", seconds, days)
	}
	return r
}

func TestNoRate(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for name, c := range map[string]struct {
		days, seconds []float64
		noise         float64
	}{
		"none":                       {nil, nil, 2},
		"one":                        {[]float64{1}, []float64{1}, 2},
		"two without noise":          {[]float64{1, 2}, []float64{1, 2}, 0},
		"at one instant":             {[]float64{3, 3, 3}, []float64{1, 2, 3}, 2},
		"an hour in two days":        {[]float64{0, 2}, []float64{0, 3600}, 2},
		"not alike":                  {[]float64{0, 2}, []float64{0}, 2},
		"not a number":               {[]float64{0, 2, nan}, []float64{0, 1, 2}, 2},
		"endless":                    {[]float64{0, 2, 3}, []float64{0, 1, inf}, 2},
		"noise that is no number":    {[]float64{0, 2, 3}, []float64{0, 1, 2}, nan},
		"noise that cannot be":       {[]float64{0, 2, 3}, []float64{0, 1, 2}, -1},
		"three at one, far asunder":  {[]float64{5, 5, 5}, []float64{0, 3600, 7200}, 2},
		"two alike and one far off":  {[]float64{5, 5, 9}, []float64{0, 0, 43200}, 2},
		"huge":                       {[]float64{0, 1e300, 1e308}, []float64{0, 1e308, -1e308}, 2},
		"four at one, one far off":   {[]float64{5, 5, 5, 5}, []float64{0, 0, 0, 43200}, 2},
		"a whole day in twelve hour": {[]float64{0, .5}, []float64{-43200, 43200}, 2},
	} {
		if r, ok := FitRate(c.days, c.seconds, c.noise); ok {
			t.Errorf("%s: got %+v", name, r)
		}
	}
}

// A misread is set aside wherever it lies, and leaves what the others say; two
// alike do not hide one another; honest scatter stays.
func TestMisread(t *testing.T) {
	for n := 3; n <= 20; n++ {
		for wrong := range n {
			for _, by := range []float64{-3600, 3600, 43200, 300} {
				if n < 6 && by == 300 {
					continue // too few to tell minutes from a changed rate
				}
				days, seconds := make([]float64, n), make([]float64, n)
				for i := range n {
					days[i], seconds[i] = float64(7*i), 3.5*float64(i)+float64(i%3-1)
				}
				seconds[wrong] += by
				r, ok := FitRate(days, seconds, 2)
				if !ok || len(r.Aside) != 1 || r.Aside[0] != wrong || math.Abs(r.PerDay-.5) > .3 {
					t.Errorf("%d errors, the %d. wrong by %v: got %+v", n, wrong+1, by, r)
				}
			}
		}
	}
	var days, seconds []float64
	for i := range 24 {
		days, seconds = append(days, float64(7*i)), append(seconds, float64(i))
	}
	seconds[5], seconds[6], seconds[20] = 3605, 3606, -3580
	if r := must(t, days, seconds, 2); len(r.Aside) != 3 || math.Abs(r.PerDay-1./7) > .02 {
		t.Errorf("three misreads of 24: %+v", r)
	}
}

func TestHonestScatterStays(t *testing.T) {
	const seed1, seed2, runs = 31, 7, 4000
	rng := rand.New(rand.NewPCG(seed1, seed2))
	for range runs {
		n := 3 + rng.IntN(40)
		days, seconds := make([]float64, n), make([]float64, n)
		for i := range n {
			days[i], seconds[i] = 7*float64(i)+rng.Float64(), 4*float64(i)+3*rng.NormFloat64() // half as noisy again
		}
		if r, ok := FitRate(days, seconds, 2); !ok || r.Aside != nil {
			t.Fatalf("seeds %d, %d: %d honest errors gave %+v", seed1, seed2, n, r)
		}
	}
}

// An error that moves evenly, by the normal law: figures by SciPy 1.10.1
// (norm.cdf and brentq), computed once.
func TestDrift(t *testing.T) {
	clock := Drift{Level: 14.2, LevelSD: .6, Rate: .514, RateSD: .0247}
	early, ok := clock.Reaches(60, .05, 730)
	if !ok {
		t.Fatal("never")
	}
	near(t, "5 % day", early, 82.3208, 1e-4)
	median, _ := clock.Reaches(60, .5, 730)
	near(t, "median day", median, 89.1051, 1e-4)

	bearing := Drift{Level: .30, LevelSD: .02, Rate: .02, RateSD: .005} // mm and years
	early, _ = bearing.Reaches(.50, .05, 100)
	near(t, "5 % year", early, 6.767392, 1e-6)
	for at, want := range map[float64]float64{4: 1.10452e-5, 6: .0132501, 8: .1855467} {
		nearRel(t, "chance", bearing.Beyond(.50, at), want, 1e-5)
	}

	// The other side, and both at once.
	slow := clock
	slow.Level, slow.Rate = -14.2, -.514
	if got, _ := slow.Reaches(60, .05, 730); math.Abs(got-82.3208) > 1e-4 {
		t.Errorf("losing as much: %v days", got)
	}
	steady := Drift{LevelSD: 1, RateSD: .1}
	got, _ := steady.Reaches(60, .05, 5000)
	nearRel(t, "either side", math.Sqrt(1+got*got*.01), 60/1.9599639845, 1e-6)
	// Coming back from the far side it first grows less likely.
	back := Drift{Level: -50, LevelSD: 3, Rate: 1, RateSD: .01}
	if got, ok := back.Reaches(60, .5, 730); !ok || math.Abs(got-110) > 1 {
		t.Errorf("from 50 slow, gaining 1 s a day: a minute fast in %v days, %v", got, ok)
	}
}

func TestDriftEnds(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	d := Drift{Level: 10, LevelSD: 1, Rate: 1, RateSD: .1}
	for name, c := range map[string]struct {
		d           Drift
		limit, most float64
		want        float64 // -1: not reached
	}{
		"beyond already":    {Drift{Level: 70, LevelSD: 1, Rate: -1}, 60, 730, 0},
		"not in time":       {d, 60, 20, -1},
		"standing":          {Drift{Level: 10}, 60, 1e6, -1},
		"sure":              {Drift{Level: 10, Rate: 2}, 60, 730, 25},
		"no limit":          {d, 0, 730, -1},
		"limit no number":   {d, nan, 730, -1},
		"endless limit":     {d, inf, 730, -1},
		"no time":           {d, 60, 0, -1},
		"time no number":    {d, 60, nan, -1},
		"rate no number":    {Drift{Rate: nan, RateSD: 1}, 60, 730, -1},
		"deviation endless": {Drift{RateSD: inf}, 60, 730, -1},
	} {
		got, ok := c.d.Reaches(c.limit, .5, c.most)
		if ok != (c.want >= 0) || ok && math.Abs(got-c.want) > 1e-6 {
			t.Errorf("%s: got %v, %v, want %v", name, got, ok, c.want)
		}
	}
}

// The interval of a rate must hold it as often as it says, and the 5 % day must
// be after the true crossing in about 5 % of runs (exactly so with the scatter
// alone, for then it is Fieller's bound); known noise may only make both safer.
// Bounds are four binomial deviations.
func TestRateCoverage(t *testing.T) {
	const seed1, seed2, runs, tol = 84, 85, 6000, 60.0
	for _, c := range []struct {
		name       string
		known      float64 // noise as told to the fit
		n          int
		lo, hi     float64 // share of rates within the 95 % interval
		early, eLo float64 // share of runs over the limit before the 5 % day: at most, at least
	}{
		{"scatter alone, five errors", 0, 5, .95, .95, .05, .05},
		{"scatter alone, twelve errors", 0, 12, .95, .95, .05, .05},
		{"known noise, five errors", 2, 5, .95, 1, .05, 0},
		{"known noise, two errors", 2, 2, .95, .95, .05, .05},
		{"noise thought smaller, thirty errors", 1, 30, .945, .955, .055, .045},
	} {
		rng := rand.New(rand.NewPCG(seed1, seed2))
		within, before := 0, 0
		for range runs {
			rate := 1 + rng.Float64()
			days, seconds := make([]float64, c.n), make([]float64, c.n)
			for i := range c.n {
				days[i] = 7*float64(i) + rng.Float64()
				seconds[i] = rate*days[i] + 2*rng.NormFloat64()
			}
			r, ok := FitRate(days, seconds, c.known)
			if !ok {
				t.Fatalf("%s: no rate", c.name)
			}
			if math.Abs(r.PerDay-rate) <= r.Within(.95) {
				within++
			}
			limit := tol + rate*days[c.n-1]
			early, ok := r.At(days[c.n-1]).Reaches(limit, .05, 5000)
			if ok && tol/rate < early {
				before++
			}
		}
		share, over := float64(within)/runs, float64(before)/runs
		slack := func(p float64) float64 { return 4 * math.Sqrt(p*(1-p)/runs) }
		t.Logf("%s (seeds %d, %d): the interval holds %.3f, over before the 5 %% day %.3f", c.name, seed1, seed2, share, over)
		if share < c.lo-slack(.05) || share > c.hi+slack(.05) {
			t.Errorf("%s: the 95 %% interval holds %.3f of the rates", c.name, share)
		}
		if over > c.early+slack(.05) || over < c.eLo-slack(.05) {
			t.Errorf("%s: %.3f were over before the 5 %% day", c.name, over)
		}
	}
}

// Student's t beside its tables (Abramowitz and Stegun 1964, table 26.10).
func TestStudent(t *testing.T) {
	for _, c := range []struct{ nu, p, want float64 }{{1, .975, 12.706}, {3, .975, 3.182}, {10, .95, 1.812}, {30, .95, 1.697}, {0, .975, 1.960}, {200, .975, 1.960}} {
		near(t, "quantile", studentQuantile(c.p, c.nu), c.want, 6e-4)
		near(t, "and back", studentCDF(studentQuantile(c.p, c.nu), c.nu), c.p, 1e-9)
	}
	// Where the normal law takes over, it is near enough.
	near(t, "at the seam", studentQuantile(.95, surelyNormal+1), distuv.StudentsT{Mu: 0, Sigma: 1, Nu: surelyNormal + 1}.Quantile(.95), .02)
}

// A rate that hangs on temperature, regulated halfway: the slope comes out, and
// what was regulated does not count as warmth.
func TestSlope(t *testing.T) {
	const seed1, seed2, runs, true1 = 3, 33, 400, -.605 // Trinity College, Cambridge: s a day a degree
	rng := rand.New(rand.NewPCG(seed1, seed2))
	within := 0
	for range runs {
		var all []Influence
		for i := range 16 {
			warm := 10 + 10*math.Sin(2*math.Pi*float64(i)/13) + rng.NormFloat64()
			in := Influence{X: warm, SD: .1 + .2*rng.Float64(), Group: i / 8}
			in.Rate = true1*warm + 40*float64(in.Group) + math.Hypot(in.SD, rateWander)*rng.NormFloat64()
			all = append(all, in)
		}
		slope, sd, n, ok := Slope(all, LeastCelsius)
		if !ok || n != 16 {
			t.Fatalf("seeds %d, %d: got %v ± %v of %d, %v", seed1, seed2, slope, sd, n, ok)
		}
		if math.Abs(slope-true1) < 2*sd {
			within++
		}
	}
	if share := float64(within) / runs; share < .91 {
		t.Errorf("seeds %d, %d: two deviations hold the slope in %.3f of runs", seed1, seed2, share)
	}
}

func TestNoSlope(t *testing.T) {
	stretches := func(n int, span float64, group func(int) int) (out []Influence) {
		for i := range n {
			x := span * float64(i) / float64(n-1)
			out = append(out, Influence{X: x, Rate: -.5 * x, SD: .1, Group: group(i)})
		}
		return out
	}
	one := func(int) int { return 0 }
	if slope, _, n, ok := Slope(stretches(8, 15, one), LeastCelsius); !ok || n != 8 || math.Abs(slope+.5) > 1e-9 {
		t.Errorf("eight over 15 °C: %v of %d, %v", slope, n, ok)
	}
	bad := stretches(8, 15, one)
	bad[3].X = math.NaN()
	for name, all := range map[string][]Influence{
		"none":             nil,
		"seven":            stretches(7, 20, one),
		"14 °C":            stretches(12, 14, one),
		"each regulated":   stretches(12, 20, func(i int) int { return i }),
		"one no number":    bad,
		"alike in a group": {{0, 1, .1, 0}, {0, 1, .1, 0}, {0, 1, .1, 0}, {0, 1, .1, 0}, {20, 1, .1, 1}, {20, 1, .1, 1}, {20, 1, .1, 1}, {20, 1, .1, 1}},
	} {
		if slope, _, _, ok := Slope(all, LeastCelsius); ok {
			t.Errorf("%s: gave %v", name, slope)
		}
	}
}

func TestRising(t *testing.T) {
	for _, c := range []struct {
		name   string
		values []float64
		lo, hi float64 // chance; both -1: no line
	}{
		{"straight up", []float64{1, 2, 3, 4}, 0, 0},
		{"straight down", []float64{4, 3, 2, 1}, 1, 1},
		{"level", []float64{2, 2, 2, 2}, 1, 1},
		{"up with scatter", []float64{1, 2.1, 2.9, 4.2}, 0, .01},
		{"scatter alone", []float64{1, 3, 0, 2}, .2, .8},
		{"down with scatter", []float64{4.2, 2.9, 2.1, 1}, .99, 1},
		{"two", []float64{1, 2}, -1, -1},
		{"no number", []float64{1, 2, math.NaN(), 3}, -1, -1},
	} {
		days := []float64{0, 30, 60, 90}[:len(c.values)]
		_, chance, ok := Rising(days, c.values)
		if ok != (c.lo >= 0) || ok && (chance < c.lo || chance > c.hi) {
			t.Errorf("%s: chance %v, %v", c.name, chance, ok)
		}
	}
}

// BenchmarkFitRate is a rate of 800 errors; BenchmarkFitLine on the same is its
// baseline.
func BenchmarkFitRate(b *testing.B) {
	days, seconds := longBook()
	b.ReportAllocs()
	for b.Loop() {
		if _, ok := FitRate(days, seconds, 2); !ok {
			b.Fatal("no rate")
		}
	}
}

func BenchmarkFitLine(b *testing.B) {
	days, seconds := longBook()
	b.ReportAllocs()
	for b.Loop() {
		if _, err := FitLine(days, seconds); err != nil {
			b.Fatal(err)
		}
	}
}

func longBook() (days, seconds []float64) {
	rng := rand.New(rand.NewPCG(1, 2))
	for i := range 800 {
		days, seconds = append(days, 7*float64(i)), append(seconds, float64(i)+2*rng.NormFloat64())
	}
	return days, seconds
}
