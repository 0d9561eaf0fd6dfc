package demo

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// The gamma sampler against closed forms of the law (Abramowitz & Stegun 6.5:
// P(1/2, x) = erf(sqrt x), P(1, x) = 1 - e^-x, P(3, x) = 1 - e^-x (1 + x + x²/2)).
func TestGammaFollowsItsLaw(t *testing.T) {
	const n = 40000
	laws := []struct {
		shape float64
		cdf   func(x float64) float64
	}{
		{0.5, func(x float64) float64 { return math.Erf(math.Sqrt(x)) }},
		{1, func(x float64) float64 { return 1 - math.Exp(-x) }},
		{3, func(x float64) float64 { return 1 - math.Exp(-x)*(1+x+x*x/2) }},
	}
	r := rand.New(rand.NewPCG(1, 2))
	for _, law := range laws {
		at := []float64{0.1 * law.shape, 0.5 * law.shape, law.shape, 2 * law.shape}
		below, sum := make([]int, len(at)), 0.0
		for range n {
			x := gamma(r, law.shape)
			sum += x
			for i := range at {
				if x <= at[i] {
					below[i]++
				}
			}
		}
		for i, x := range at {
			want := law.cdf(x)
			se := math.Sqrt(want * (1 - want) / n)
			if got := float64(below[i]) / n; math.Abs(got-want) > 4*se {
				t.Errorf("shape %v: P(X <= %v) is %.4f, wanted %.4f +- %.4f", law.shape, x, got, want, se)
			}
		}
		if se := math.Sqrt(law.shape / n); math.Abs(sum/n-law.shape) > 4*se {
			t.Errorf("shape %v: mean %.4f +- %.4f", law.shape, sum/n, se)
		}
	}
}

// Archard's law worked by hand (V = k F s; Archard, J. Appl. Phys. 24, 1953,
// from memory) for two bearings, with the coefficients of a well-kept clock:
// 0.90 x 1.5e-6 + 0.08 x 1.5e-5 + 0.02 x 2e-4 = 6.55e-6 mm³/(N m) for steel on
// brass indoors, 0.70 x 5e-6 + 0.22 x 5e-5 + 0.08 x 1e-3 = 9.45e-5 for steel on
// steel outdoors.
func TestCentresAreArchards(t *testing.T) {
	truths := lived(aDay, 1).truths
	const kBrass, kSteel = 6.55e-6, 9.45e-5
	cases := []struct {
		clock, bearing string
		want           float64 // mm per 1000 run-hours
	}{
		// 1.5 N on 6 mm, 400 turns an hour: bush by pi, pivot twice by a tenth.
		{"corn-hall", "escape-front", 1e-3 * kBrass * 1.5 * 400 * 1000 / 6 * (math.Pi + 0.2)},
		// 300 N on a face of 28/14 mm, one turn an hour.
		{"town-hall", "bevel-nest", 1e-3 * kSteel * 300 * 1000 / 7},
	}
	for _, c := range cases {
		found := false
		for _, x := range truths {
			if x.Clock != c.clock || x.Bearing != c.bearing {
				continue
			}
			found = true
			if math.Abs(x.Centre/c.want-1) > 1e-9 {
				t.Errorf("%s %s: centre %.6g mm per 1000 h, by hand %.6g", c.clock, c.bearing, x.Centre, c.want)
			}
		}
		if !found {
			t.Errorf("%s has no %s", c.clock, c.bearing)
		}
	}
}

// True rates lie log-normally about Archard's, and are of a size that shows on
// a chart without eating the clock.
func TestRatesAreDrawnAboutArchard(t *testing.T) {
	n, sum, squares, lively := 0.0, 0.0, 0.0, 0
	const seeds = 12
	for seed := uint64(1); seed <= seeds; seed++ {
		l := lived(aDay, seed)
		fleet, truths := l.fleet, l.truths
		for _, x := range truths {
			if !x.Story {
				z := math.Log(x.Drawn/x.Centre) / spread
				n, sum, squares = n+1, sum+z, squares+z*z
			}
			_, _, tr, _ := clockOf(t, fleet, x.Clock).Bearing(x.Bearing)
			year := x.Rate * 8766 * tr.PerRunHour() / tr.Counter().PerUnit()
			if year >= 0.01 && year <= 0.06 {
				lively++
			}
			if year > 0.16 {
				t.Errorf("seed %d: %s %s wears %.2f mm a year", seed, x.Clock, x.Bearing, year)
			}
		}
	}
	mean := sum / n
	if se := 1 / math.Sqrt(n); math.Abs(mean) > 4*se {
		t.Errorf("mean draw %.3f +- %.3f deviations over %.0f bearings, wanted 0", mean, se, n)
	}
	// A normal draw clipped at two deviations has a standard deviation of 0.96.
	if sd := math.Sqrt(squares/n - mean*mean); math.Abs(sd-0.96) > 4*0.7/math.Sqrt(n) {
		t.Errorf("draws have a deviation of %.3f, wanted 0.96", sd)
	}
	if lively < 12*seeds {
		t.Errorf("%d bearings in %d fleets wear 0.01 to 0.06 mm a year: nothing to see", lively, seeds)
	}
}

// A check against the simulation's own truth: how often does the 80 % band of
// the level hold the true level? With some 600 bearings the share has a
// standard deviation of sqrt(0.8 x 0.2/600) = 0.016, so 0.70 and 0.95 are far
// outside chance for a band that is honest.
func TestBandsHoldTheTruth(t *testing.T) {
	held, n := 0, 0
	var off float64
	for seed := uint64(1); seed <= 12; seed++ {
		l := lived(aDay, seed)
		truths, snap := l.truths, l.survey()
		for _, x := range truths {
			a, _ := snap.Clock(x.Clock)
			o, ok := a.Outlook(x.Bearing)
			if !ok || !o.Known {
				continue
			}
			h := o.Exposure.Likely / o.Counter.PerUnit()
			n++
			if x.Level >= o.Wear.LevelQuantile(h, .1) && x.Level <= o.Wear.LevelQuantile(h, .9) {
				held++
			}
			off += (o.Level.Mean - x.Level) / o.Level.SD
		}
	}
	share := float64(held) / float64(n)
	t.Logf("the 80 %% band held the true level in %.3f of %d; mean offset %.2f deviations", share, n, off/float64(n))
	if n < 500 || share < 0.70 || share > 0.95 {
		t.Errorf("the 80 %% band held the true level in %.3f of %d bearings", share, n)
	}
	if math.Abs(off/float64(n)) > 0.3 {
		t.Errorf("levels are off by %.2f deviations on average: a bias", off/float64(n))
	}
}

// Run-hours from the log must hold what the trains truly ran, to a minute.
func TestRunHoursHoldTheTruth(t *testing.T) {
	const minute = 1.0 / 60
	for seed := uint64(1); seed <= 4; seed++ {
		l := lived(aDay, seed)
		truths, snap := l.truths, l.survey()
		for _, x := range truths {
			a, _ := snap.Clock(x.Clock)
			o, _ := a.Outlook(x.Bearing)
			st, ok := a.Train(o.Train.Code)
			if !ok {
				t.Fatalf("%s has lost a train", x.Clock)
			}
			h := st.RunHours
			if x.RunHours < h.Lower-minute || x.RunHours > h.Upper+minute {
				t.Errorf("seed %d: %s, %s ran %.1f h, the log says %.1f to %.1f", seed, x.Clock, st.Train.Name, x.RunHours, h.Lower, h.Upper)
			}
			// The quiet end of the late clock is what nobody can know. Of a stop that
			// nobody can date, half the time since anybody looked is taken as lost: half
			// a month where a clock is looked at monthly, some two or three times.
			if x.Clock != "almshouses" && math.Abs(h.Likely/x.RunHours-1) > 0.02 {
				t.Errorf("seed %d: %s, %s ran %.1f h, likely %.1f by the log", seed, x.Clock, st.Train.Name, x.RunHours, h.Likely)
			}
		}
	}
}

// Readings are to a hundredth, with a name, an instrument, a temperature and
// the noise that the gauge is said to have.
func TestReadings(t *testing.T) {
	fleet, log := lived(aDay, 1).both()
	gauges := map[wear.Length]int{}
	for slug, entries := range log {
		for _, e := range entries {
			if e.Kind != schedule.Measured {
				continue
			}
			r := e.Reading
			gauges[r.Gauge]++
			if r.Value%(10*wear.Micrometre) != 0 || r.Value <= 0 {
				t.Fatalf("%s: a reading of %d µm", slug, r.Value)
			}
			if e.By == "" || r.Instrument == "" || r.Celsius == nil || r.Load != wear.LoadOff {
				t.Fatalf("%s: a reading of %v lacks who, what or how warm", slug, e.At)
			}
			if c := *r.Celsius; c < -8 || c > 35 || c*2 != math.Round(c*2) {
				t.Errorf("%s: measured at %v °C", slug, c)
			}
			if b, _, _, _ := clockOf(t, fleet, slug).Bearing(e.Bearing); b.Shake != r.Shake {
				t.Errorf("%s: %s of %s", slug, r.Shake, e.Bearing)
			}
		}
	}
	if gauges[20] == 0 || gauges[40] == 0 || len(gauges) != 2 {
		t.Errorf("gauges %v, wanted some of 20 and some of 40 µm", gauges)
	}
	s := newSim(plans(aDay)[0], aDay, rand.New(rand.NewPCG(3, 4)))
	s.day = aDay
	p := s.points[3]
	var sum, squares float64
	const n = 4000
	for range n {
		d := s.read(p, dialSD, "dial").Value.MM() - p.level
		sum, squares = sum+d, squares+d*d
	}
	// Rounding to 0.01 mm adds 0.01/sqrt 12 in quadrature.
	want := math.Hypot(dialSD, 0.01/math.Sqrt(12))
	if sd := math.Sqrt(squares/n - sum/n*sum/n); math.Abs(sd/want-1) > 4/math.Sqrt(2*n) {
		t.Errorf("readings scatter by %.4f mm, wanted %.4f", sd, want)
	}
}

// The days of the time change against the zone's own table (IANA tzdata).
func TestTimeChangeDays(t *testing.T) {
	loc := london(t)
	s := &sim{}
	for d := (schedule.Date{Year: 2011, Month: time.January, Day: 1}); d.Year < 2030; d = d.Add(1) {
		s.day, s.weekday = d, d.Start(time.UTC).Weekday()
		_, before := d.Start(loc).Zone()
		_, after := d.At(12, 0, loc).Zone()
		if s.timeChange() != (before != after) {
			t.Fatalf("%v: change %v, the zone goes from %d to %d s", d, s.timeChange(), before, after)
		}
	}
}

// Hands are put on in spring and back in autumn, each clock in its own way.
func TestTimeChangesAreLogged(t *testing.T) {
	log := lived(aDay, 1).log
	spring, autumn := 0, 0
	for _, entries := range log {
		for _, e := range entries {
			if e.Kind != schedule.Set || e.ErrorFound == nil {
				continue
			}
			switch f := *e.ErrorFound; {
			case f < -3300 && f > -3900 && e.At.Month() == time.March:
				spring++
			case f > 3300 && f < 3900 && e.At.Month() == time.October:
				autumn++
			}
		}
	}
	if spring < 100 || autumn < 50 {
		t.Errorf("put on %d times in spring, put back %d times in autumn", spring, autumn)
	}
}
