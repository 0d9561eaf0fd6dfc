package schedule

import (
	"fmt"
	"math"
	"testing"
	"time"

	"endshake/wear"
)

// exact is a setting without grains, changes and misreads, for arithmetic.
func exact(power float64) wear.Params {
	p := wear.DefaultParams()
	p.B, p.Phi, p.Kappa, p.Eps = power, 1e-6, 0, 0
	return p
}

func agedOutlook(t *testing.T, c Clock, p wear.Params, log []Entry, now string) Outlook {
	t.Helper()
	return outlookOf(t, byModel(c, book(log...), Model{Params: &p}, now), "centre-front")
}

// The wear of a year is that of the year to come. Of a new part it is the rate
// of the prior times 8.766 units to the power b, not 8.766 times what the first
// unit wears: under b = 1/2 a third of that (arithmetic; the quantiles are those
// of the log-normal prior, z = 1.2816).
func TestYearlyWearOfANewPart(t *testing.T) {
	for _, power := range powers {
		o := agedOutlook(t, alone(), exact(power), nil, "2020-01-01")
		for i, z := range []float64{-1.2815516, 0, 1.2815516} {
			want := math.Exp(o.Prior.Mu+z*o.Prior.Om) * math.Pow(8.766, power)
			if math.Abs(o.PerYear[i]/want-1) > 0.01 {
				t.Errorf("power %v: %.4f mm in its first year, want %.4f", power, o.PerYear[i], want)
			}
		}
		// What the forecast itself says of that year, in the mean.
		grows := o.Wear.LevelAt(8.766).Mean - o.Wear.LevelAt(0).Mean
		_, mean := o.Wear.Rate()
		if got := grows / mean; math.Abs(got*o.Wear.RateQuantile(0.5)/o.PerYear[1]-1) > 1e-6 {
			t.Errorf("power %v: the year grows by %.4f units' worth, the median by %.4f", power, got, o.PerYear[1]/o.Wear.RateQuantile(0.5))
		}
	}
}

// It is counted from now, not from the last fact: a size that grows as 0.10 mm
// times the root of the years, last read after four, is asked of after nine, and
// grows by 0.10 (sqrt 10 - sqrt 9) mm in the tenth (arithmetic).
func TestYearlyWearIsFromNow(t *testing.T) {
	c := alone()
	b := &c.Trains[0].Arbors[0].Bearings[0]
	b.FittedSD, b.Watch, b.Act = 1, nil, limitAt(3)
	var log []Entry
	for y := 1; y <= 4; y++ {
		log = append(log, did(Measured, fmt.Sprintf("%d-01-01", 2020+y), gave(0.10+0.10*math.Sqrt(float64(y)))))
	}
	for now, years := range map[string]float64{"2024-01-01": 4, "2026-01-01": 6, "2029-01-01": 9} {
		o := agedOutlook(t, c, exact(0.5), log, now)
		if want := 0.10 * (math.Sqrt(years+1) - math.Sqrt(years)); math.Abs(o.PerYear[1]/want-1) > 0.03 {
			t.Errorf("%s: %.5f mm in the year to come, want %.5f", now, o.PerYear[1], want)
		}
	}
	// A strip and clean leaves the age of the part as it is.
	log = append(log, did(Cleaned, "2024-02-01"))
	o := agedOutlook(t, c, exact(0.5), log, "2024-03-01")
	if want := 0.10 * (math.Sqrt(5) - 2); math.Abs(o.PerYear[1]/want-1) > 0.05 {
		t.Errorf("after a cleaning: %.5f mm in the year to come, want %.5f", o.PerYear[1], want)
	}
	// A new part begins anew, at the rate that the one before has shown.
	log = append(log, did(Repaired, "2024-02-01", left(0.10)))
	o = agedOutlook(t, c, exact(0.5), log, "2024-02-01")
	if math.Abs(o.PerYear[1]/0.10-1) > 0.05 {
		t.Errorf("a new part: %.5f mm in its first year, want 0.10", o.PerYear[1])
	}
}

// Wear that quickens with depth wears more in the year to come than the rate of
// today says: dy/dt = r exp(k y) gives y = -ln(exp(-k y0) - k r t)/k
// (integration).
func TestYearlyWearThatQuickens(t *testing.T) {
	const k, r, y0 = 2.0, 0.06, 0.10
	at := func(years float64) float64 { return -math.Log(math.Exp(-k*y0)-k*r*years) / k }
	p := exact(1)
	p.Quicken, p.Reach = k, 2
	c := alone()
	b := &c.Trains[0].Arbors[0].Bearings[0]
	b.FittedSD, b.Watch, b.Act = 1, nil, limitAt(3)
	var log []Entry
	for y := 1; y <= 4; y++ {
		log = append(log, did(Measured, fmt.Sprintf("%d-01-01", 2020+y), gave(at(float64(y)))))
	}
	o := agedOutlook(t, c, p, log, "2024-01-01")
	if want := at(5) - at(4); math.Abs(o.PerYear[1]/want-1) > 0.05 {
		t.Errorf("%.4f mm in the year to come, want %.4f", o.PerYear[1], want)
	}
	// Where no size is known the rate is that of a bearing that has not worn.
	b.FittedAt, b.Fitted = time.Time{}, 0
	if o := agedOutlook(t, c, p, nil, "2024-01-01"); math.Abs(o.PerYear[1]/(math.Exp(o.Prior.Mu)*8.766)-1) > 0.01 {
		t.Errorf("never measured: %.4f mm a year", o.PerYear[1])
	}
}

// The age of a part fitted nobody knows when counts from its first reading, not
// from the first day in care: of readings 0.10 mm times the root of the years
// after the first, in its third year in care, the forecast is that of a filter
// whose part begins there, and the year to come that of the arithmetic.
func TestUnknownAgeBeginsWithTheFirstReading(t *testing.T) {
	c := alone()
	b := &c.Trains[0].Arbors[0].Bearings[0]
	b.FittedAt, b.Fitted, b.FittedSD, b.Watch, b.Act = time.Time{}, 0, 0, nil, limitAt(3)
	for _, care := range []string{"2020-01-01", "2023-01-01", "2024-06-01"} {
		c.InCare = d(care)
		var log []Entry
		s := wear.Segment{}
		for y := range 4 {
			day := fmt.Sprintf("%d-01-01", 2023+y)
			size := math.Round(1000*(0.20+0.10*math.Sqrt(float64(y)))) / 1000
			log = append(log, did(Measured, day, gave(size)))
			h := float64(d(day).Sub(c.InCare)) * 24 / 1000
			s.Readings = append(s.Readings, wear.Gauge{H: h, Y: size, SD: 0.01})
		}
		s.H0 = s.Readings[0].H
		p := exact(0.5)
		o := agedOutlook(t, c, p, log, "2026-01-01")
		want, err := wear.Filter(o.Prior, p, []wear.Segment{s})
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(o.Wear.Evidence()-want.Evidence()) > 1e-9 || !o.Known {
			t.Errorf("in care from %s: ln evidence %.4f, want %.4f; known %v", care, o.Wear.Evidence(), want.Evidence(), o.Known)
		}
		if want := 0.10 * (2 - math.Sqrt(3)); math.Abs(o.PerYear[1]/want-1) > 0.08 {
			t.Errorf("in care from %s: %.4f mm in the year to come, want %.4f", care, o.PerYear[1], want)
		}
	}
}

// Where wear goes evenly nothing hangs on where the age begins.
func TestEvenWearHasNoAge(t *testing.T) {
	c := alone()
	c.Trains[0].Arbors[0].Bearings[0].FittedAt = time.Time{}
	log := book(read(2022, 0.12, 0.15, 0.18, 0.21)...)
	o := outlookOf(t, assess(c, log, "2025-01-02"), "centre-front")
	late := c
	late.InCare = d("2022-01-01")
	x := outlookOf(t, assess(late, log, "2025-01-02"), "centre-front")
	if math.Abs(o.Wear.Evidence()-x.Wear.Evidence()) > 1e-9 || math.Abs(o.PerYear[1]-x.PerYear[1]) > 1e-9 || o.Likely != x.Likely {
		t.Errorf("two more years in care: ln evidence %v and %v, %v and %v mm a year, %v and %v", o.Wear.Evidence(), x.Wear.Evidence(), o.PerYear[1], x.PerYear[1], o.Likely, x.Likely)
	}
}
