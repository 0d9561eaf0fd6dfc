package schedule

import (
	"math"
	"testing"
	"time"

	"endshake/wear"
)

// Hours alone are 156 blows a day on a twelve-hour rack, 12 x 13 / 2 twice
// (E. Beckett, A Rudimentary Treatise on Clocks, Watches and Bells, 8th ed.
// 1903, p. 196), so 56,940 in 365 days of running; with half-hours 180 and
// 65,700; quarters 40 an hour, 960 and 350,400 (arithmetic).
func TestStrokesOfAYear(t *testing.T) {
	for _, tt := range []struct{ perDay, year float64 }{{156, 56940}, {180, 65700}, {960, 350400}, {78, 28470}} {
		c := pump()
		c.InCare = d("2025-01-01")
		c.Trains[1].StrokesPerDay = tt.perDay
		o := outlookOf(t, assess(c, nil, "2026-01-01"), "second-back")
		if !near(o.Exposure.Likely, tt.year) || !near(o.PerDay, tt.perDay) || o.Counter != wear.Strokes {
			t.Errorf("%v a day: %v %s in a year, %v a day ahead; want %v", tt.perDay, o.Exposure.Likely, o.Counter, o.PerDay, tt.year)
		}
	}
	// Silent for half the year: half the strokes, while the going train ran on.
	c := pump()
	c.InCare = d("2025-01-01")
	a := assess(c, book(did(Stopped, "2025-07-02 12:00", by(Rest), of("strike"))), "2026-01-01")
	if got := outlookOf(t, a, "second-back").Exposure.Likely; !near(got, 56940/2.0) {
		t.Errorf("silent from 2 July at noon: %v strokes, want 28,470", got)
	}
	if got := outlookOf(t, a, "centre-front").Exposure.Likely; got != 8760 {
		t.Errorf("going train: %v run-hours, want 8,760", got)
	}
}

// A mean year is 365.25 days or 8,766 run-hours, and a million hours are 114.1
// years (arithmetic; W. R. Kennedy's figure for the age of a clock).
func TestRunHoursOfAYear(t *testing.T) {
	c := alone()
	c.InCare = d("2020-01-01")
	for now, want := range map[string]float64{"2024-01-01": 4 * 8766, "2021-01-01": 366 * 24, "2020-01-01 12:00": 12, "2019-06-01": 0} {
		if got := assess(c, nil, now).Trains[0].RunHours; got.Likely != want || got.Lower != want || got.Upper != want {
			t.Errorf("%s: %+v, want %v", now, got, want)
		}
	}
	c.InCare = d("1912-01-01")
	if got := assess(c, nil, "2026-02-01").Trains[0].RunHours.Likely; math.Abs(got/1e6-1) > 0.001 {
		t.Errorf("114.1 years: %v run-hours, want about a million", got)
	}
}

// An eight-day clock wound in full on days 0, 7 and 17 and looked at on day 24
// has run 7 + 8 + 7 = 22 days, 528 hours, a duty of 0.9166667 (arithmetic).
func TestWindLog(t *testing.T) {
	c := alone()
	c.InCare = d("2026-01-01")
	log := book(did(Wound, "2026-01-01"), did(Wound, "2026-01-08"), did(Wound, "2026-01-18"))
	a := assess(c, log, "2026-01-25")
	st := a.Trains[0]
	if got := st.RunHours; got.Lower != 528 || got.Likely != 528 || got.Upper != 576 {
		t.Errorf("%+v, want 528, 528, 576 at most", got)
	}
	if got := st.Running.Duty(utc("2026-01-01"), utc("2026-01-25")); math.Abs(got-0.9166667) > 1e-7 {
		t.Errorf("duty %v, want 0.9166667", got)
	}
	// 5,000 hours at a duty of 0.9 are 231.4815 days.
	if got := (&Assessment{Zone: time.UTC, Now: utc("2026-01-01")}).dayAt(&TrainState{PerDay: 0.9 * 24}, 5000); got != d("2026-01-01").Add(231) {
		t.Errorf("5,000 hours at 0.9: %v, want 231 days on", got)
	}
}

// Two-day strike weights: 35 to 36 turns of ten lifts are 350 to 360 blows, or
// 2.24 to 2.31 days of 156 (Beckett 1903, p. 197); so the strike wants winding
// before the going train of eight days.
func TestStrikeWeightOfTwoDays(t *testing.T) {
	for _, turns := range []float64{35, 36} {
		c := pump()
		c.Trains[1].Reserve = time.Duration(turns * 10 / 156 * 24 * float64(time.Hour))
		a := assess(c, book(did(Wound, "2026-03-02 09:00")), "2026-03-02 10:00")
		strike := a.Trains[1]
		if days := strike.RunsDown.Sub(strike.WoundAt).Hours() / 24; days < 2.24 || days > 2.31 {
			t.Errorf("%v turns: %v days, want 2.24 to 2.31", turns, days)
		}
		// A day to spare; where it is set to be wound every two days, the few
		// hours beyond are what is left.
		if x, y := taskOf(t, a, Winding, "strike"), taskOf(t, a, Winding, "going"); x.Latest != d("2026-03-03") || !x.Latest.Before(y.Latest) || strike.Wind.Spare != 24*time.Hour {
			t.Errorf("%v turns: latest %v, going train %v, to spare %v", turns, x.Latest, y.Latest, strike.Wind.Spare)
		}
		c.Policies = []Policy{{Task: Winding, Train: "strike", Days: 2, Source: "Beckett 1903, p. 197"}}
		a = assess(c, book(did(Wound, "2026-03-02 09:00")), "2026-03-02 10:00")
		if x, w := taskOf(t, a, Winding, "strike"), a.Trains[1].Wind; x.Due != d("2026-03-04") || x.Latest != x.Due || w.Spare < 5*time.Hour || w.Spare > 8*time.Hour {
			t.Errorf("%v turns, every two days: %s, to spare %v", turns, windowOf(x), w.Spare)
		}
	}
}

// Strike points wear by strokes: the forecast in exposure is that of the filter
// in units of ten thousand.
func TestStrikeForecastByStrokes(t *testing.T) {
	c := pump()
	var log []Entry
	s := wear.Segment{}
	for i, v := range []float64{0.30, 0.38, 0.46, 0.54} {
		day := d("2021-01-01").Add(365 * i)
		log = append(log, doneAt(Measured, day.Start(time.UTC), func(e *Entry) {
			e.Bearing, e.Reading = "second-back", &wear.Reading{Shake: wear.EndShake, Value: mm(v), Gauge: mm(0.02)}
		}))
		s.Readings = append(s.Readings, wear.Gauge{H: float64(day.Sub(c.InCare)) * 156 / 10000, Y: v, SD: 0.02})
	}
	o := outlookOf(t, assess(c, book(log...), "2024-06-01"), "second-back")
	b, arbor, tr, _ := c.Bearing("second-back")
	want, err := wear.Filter(wear.RatePrior(b, arbor, tr), wear.DefaultParams(), []wear.Segment{s})
	if err != nil || math.Abs(o.Wear.Evidence()-want.Evidence()) > 1e-9 {
		t.Errorf("evidence %v, want %v (%v)", o.Wear.Evidence(), want.Evidence(), err)
	}
	at := want.Crossing(0.80, want.Now(), 0.5).H * 10000 / 156
	if got := o.Likely.Sub(c.InCare); math.Abs(float64(got)-at) > 1 {
		t.Errorf("0.80 mm on day %d, want %.1f", got, at)
	}
	if o.Used != o.Level.Mean/0.80 {
		t.Errorf("used %v of a limit of 0.80 with no fitted size, want %v", o.Used, o.Level.Mean/0.80)
	}
}
