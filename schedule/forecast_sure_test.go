package schedule

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"endshake/wear"
)

// Principle of the next measurement: the chance that the limit is crossed
// unseen before it is at most alpha, 0.05 for a limit to act at and 0.20 for
// one to watch, and no more than half the remaining life goes by (the second
// after API 510, 10th ed., 6.5.1.1, from another trade). Checked by direct
// computation of the chance on the day and on the next.
func TestNextMeasurement(t *testing.T) {
	noWatch := func(b *wear.Bearing) { b.Watch = nil }
	for _, tt := range []struct {
		name   string
		limits func(*wear.Bearing)
		days   []string
		sizes  []float64
		limit  float64
		alpha  float64
		binds  string // risk, half or policy
	}{
		{"act, two readings", noWatch, []string{"2023-01-01", "2024-01-01"}, []float64{0.19, 0.23}, 0.35, 0.05, "risk"},
		{"act, one reading after the fitting", noWatch, []string{"2024-01-01"}, []float64{0.22}, 0.35, 0.05, "risk"},
		{"act, many readings near the limit", nil, []string{"2021-01-01", "2022-01-01", "2023-01-01", "2024-01-01"}, []float64{0.15, 0.20, 0.25, 0.30}, 0.35, 0.05, "risk"},
		{"watch before act", nil, []string{"2023-01-01", "2024-01-01"}, []float64{0.16, 0.18}, 0.25, 0.20, "risk"},
		{"watch passed already is no news", nil, []string{"2023-01-01", "2024-01-01"}, []float64{0.26, 0.28}, 0.35, 0.05, "risk"},
		{"watch alone, one reading", func(b *wear.Bearing) { b.Act, b.Fitted = nil, 0 }, []string{"2024-01-01"}, []float64{0.17}, 0.25, 0.20, "risk"},
		{"watch alone, two readings", func(b *wear.Bearing) { b.Act = nil }, []string{"2023-01-01", "2024-01-01"}, []float64{0.17, 0.19}, 0.25, 0.20, "half"},
		{"act, far off", nil, []string{"2021-01-01", "2022-01-01", "2023-01-01", "2024-01-01"}, []float64{0.11, 0.115, 0.12, 0.125}, 0.35, 0.05, "policy"},
	} {
		c := alone()
		if tt.limits != nil {
			tt.limits(&c.Trains[0].Arbors[0].Bearings[0])
		}
		c.Policies = []Policy{{Task: Measuring, Days: 5 * 365, Reason: "with the scaffold", Source: "x"}}
		var log []Entry
		for i, day := range tt.days {
			log = append(log, did(Measured, day, gave(tt.sizes[i])))
		}
		o := outlookOf(t, assess(c, book(log...), "2024-01-15"), "centre-front")
		post := o.Wear // checked against the filter by hand in TestForecastByHand
		from := post.Now()
		risk := func(day Date) float64 { return post.Exceed(tt.limit, units(day.String()), from) }
		life := 0.35 // to the limit that work is due at, where there is one
		if c.Trains[0].Arbors[0].Bearings[0].Act == nil {
			life = 0.25
		}
		half := dayAfter((from + post.Crossing(life, from, 0.5).H) / 2)
		policy := d("2024-01-01").Add(5 * 365)

		if p := risk(o.Measure); p > tt.alpha {
			t.Errorf("%s: on %v the chance of being over is %.4f, more than %v", tt.name, o.Measure, p, tt.alpha)
		}
		if o.Measure.After(half) || o.Measure.After(policy) {
			t.Errorf("%s: %v is later than half the life, %v, or policy, %v", tt.name, o.Measure, half, policy)
		}
		switch tt.binds {
		case "risk":
			if p := risk(o.Measure.Add(1)); p <= tt.alpha || !strings.Contains(o.Why, fmt.Sprintf("over %.0f %%", 100*tt.alpha)) {
				t.Errorf("%s: a day after %v the chance is %.4f, wanted over %v; %q", tt.name, o.Measure, p, tt.alpha, o.Why)
			}
		case "half":
			if o.Measure != half || o.Why != "half of its likely remaining life is gone by then" {
				t.Errorf("%s: %v, want %v; %q", tt.name, o.Measure, half, o.Why)
			}
		case "policy":
			if o.Measure != policy || o.Why != "5 years after 1 Jan 2024 (with the scaffold)" {
				t.Errorf("%s: %v, want %v; %q", tt.name, o.Measure, policy, o.Why)
			}
		}
	}
	// Never sooner than a gauge can see anything new.
	o := outlookOf(t, assess(alone(), book(read(2021, 0.20, 0.30, 0.40)...), "2023-01-02"), "centre-front")
	if o.Measure != d("2023-01-31") {
		t.Errorf("past its limit: measure by %v, want thirty days after the last reading", o.Measure)
	}
}

// A winter's rest puts the crossing off, but what has worn stays worn.
func TestStopDelaysTheCrossing(t *testing.T) {
	log := read(2021, 0.12, 0.14, 0.16, 0.18)
	base := outlookOf(t, assess(alone(), book(log...), "2024-06-01"), "centre-front")
	stopped := outlookOf(t, assess(alone(), book(append(log, did(Stopped, "2024-02-01", by(ByHand)), did(Started, "2024-05-31"))...), "2024-06-01"), "centre-front")
	// 120 days of stop, and the duty of three years is 976/1096 from now on.
	ahead := float64(base.Likely.Sub(d("2024-06-01")) + 120)
	want := d("2024-06-01").Add(int(ahead * 1096 / 976))
	if off := stopped.Likely.Sub(want); off < -2 || off > 2 {
		t.Errorf("likely %v, want %v; without the stop %v", stopped.Likely, want, base.Likely)
	}
	if stopped.Level.Mean >= base.Level.Mean {
		t.Errorf("level %.4f after a stop, %.4f without", stopped.Level.Mean, base.Level.Mean)
	}
}

// A part fitted before the log began has run all the time before it: missing
// data is never read as a stop.
func TestPartOlderThanTheLog(t *testing.T) {
	c := alone()
	c.Trains[0].Arbors[0].Bearings[0].FittedAt = utc("2010-01-01")
	o := outlookOf(t, assess(c, book(read(2021, 0.22)...), "2021-06-01"), "centre-front")
	s := wear.Segment{H0: -float64(d("2020-01-01").Sub(d("2010-01-01"))) * 24 / 1000, Start: &wear.Level{Mean: 0.10, SD: 0.02},
		Readings: []wear.Gauge{{H: units("2021-01-01"), Y: 0.22, SD: 0.01}}}
	want, err := wear.Filter(o.Prior, wear.DefaultParams(), []wear.Segment{s})
	if err != nil || o.Wear.Evidence() != want.Evidence() {
		t.Errorf("evidence %v, want %v (%v)", o.Wear.Evidence(), want.Evidence(), err)
	}
	if y := o.PerYear[1]; y < 0.007 || y > 0.014 { // 0.12 mm in eleven years is 0.011 a year
		t.Errorf("%.4f mm a year", y)
	}
}

// How sure: firm for many readings that bound the date well.
func TestConfidence(t *testing.T) {
	var steady []float64
	for i := range 14 {
		steady = append(steady, 0.12+0.02*float64(i))
	}
	twenty := append(slices.Clone(steady), .40, .42, .44, .46, .48, .50)
	for _, tt := range []struct {
		name string
		log  []Entry
		now  string
		want string
	}{
		{"fourteen readings, the limit twenty years off", read(2011, steady...), "2024-01-02", "weak: 14 readings over 13 years; 8 chances in 10 lie within "},
		{"twenty readings", read(2011, twenty...), "2030-01-02", "firm: 20 readings over 19 years; 8 chances in 10 lie within "},
		{"three", read(2011, steady[:3]...), "2013-01-02", "weak: 3 readings over 2 years; 8 chances in 10 lie within "},
		{"two, the limit far", read(2011, 0.12, 0.121), "2012-01-02", "weak: 2 readings over 12 months cannot carry a date"},
		{"seven", read(2011, steady[:7]...), "2017-01-02", "weak: 7 readings over 6 years; 8 chances in 10 lie within "},
		{"a rate that has changed", read(2011, 0.12, 0.12, 0.12, 0.30, 0.48, 0.66), "2016-02-01", "weak: 6 readings over 5 years, and the rate changed after 1 Jan 2013; after a change the forecast is less sure than it looks"},
	} {
		c := alone()
		c.InCare = d("2010-01-01")
		b := &c.Trains[0].Arbors[0].Bearings[0]
		b.FittedAt, b.Watch, b.Act = utc("2010-01-01"), nil, limitAt(0.80)
		o := outlookOf(t, assess(c, book(tt.log...), tt.now), "centre-front")
		if !strings.HasPrefix(o.Confidence, tt.want) {
			t.Errorf("%s: %q, want %q (%v, %v, %v)", tt.name, o.Confidence, tt.want, o.Early, o.Likely, o.Late)
		}
		if o.Dated && (o.Late.Sub(o.seen) > widest*max(90, o.Early.Sub(o.seen)) || o.Early.Sub(d(tt.now)) > planAhead) {
			t.Errorf("%s: dated %v to %v, wider than ten to one or forty years on", tt.name, o.Early, o.Late)
		}
	}
}

// A last reading past the limit that the others speak against may be misread;
// but the bearing is not called sound, and is to be measured again soon.
func TestReadingThatDoesNotFit(t *testing.T) {
	a := assess(alone(), book(read(2021, 0.12, 0.13, 0.14, 0.90)...), "2024-01-02")
	o := outlookOf(t, a, "centre-front")
	if o.Over || o.Condition != Watch || o.Measure != d("2024-01-31") || !strings.HasPrefix(o.Sentence, "The reading of 1 Jan 2024, 0.90 mm (35.4 thou), does not fit the others: re-measure before acting, by 31 Jan 2024 (now about 0.1") {
		t.Errorf("over %v, %s, measure by %v: %q", o.Over, o.Condition, o.Measure, o.Sentence)
	}
	if x := taskOf(t, a, Measuring, "centre-front"); x.State != Open || x.From != d("2024-01-01") { // at once
		t.Errorf("measuring is %s, %s", x.State, windowOf(x))
	}
}

// Readings that span a month carry neither a level years later nor a promise
// of forty years.
func TestReadingsTooCloseTogether(t *testing.T) {
	c := alone()
	b := &c.Trains[0].Arbors[0].Bearings[0]
	b.FittedAt, b.Fitted, b.Load = utc("0001-01-01"), 0, 0
	log := book(did(Measured, "2021-01-01", gave(0.12)), did(Measured, "2021-02-01", gave(0.13)))
	soon := outlookOf(t, assess(c, log, "2021-06-01"), "centre-front")
	late := outlookOf(t, assess(c, log, "2025-06-01"), "centre-front")
	if !soon.Taught || late.Taught || late.Over || late.Beyond || late.Dated || math.Abs(late.Level.Mean-0.13) > 0.01 {
		t.Errorf("four years after a month of readings: taught %v, then %v, level %.3f, over %v, beyond %v, dated %v", soon.Taught, late.Taught, late.Level.Mean, late.Over, late.Beyond, late.Dated)
	}
}

// A size when fitted without an uncertainty is taken to 0.03 mm, and a part
// fitted past its limit leaves no allowance to share out.
func TestStartOfAPart(t *testing.T) {
	if got := startLevel(mm(0.1), 0); got.Mean != 0.1 || got.SD != 0.03 {
		t.Errorf("no uncertainty: %+v", got)
	}
	if got := startLevel(mm(0.1), mm(0.02)); got.SD != 0.02 {
		t.Errorf("0.02 mm: %+v", got)
	}
	for _, tt := range []struct {
		start *wear.Level
		level float64
		want  float64
	}{
		{&wear.Level{Mean: 0.10}, 0.20, 0.4}, {&wear.Level{Mean: 0.10}, 0.08, 0}, {&wear.Level{Mean: 0.40}, 0.175, 0.5}, {nil, 0.20, 0.4},
	} {
		o := Outlook{Bearing: bush(), Limit: limitAt(0.35), Level: wear.Level{Mean: tt.level}, Parts: []Part{{Start: tt.start}}}
		if got := o.used(o.Level.Mean); math.Abs(got-tt.want) > 1e-12 {
			t.Errorf("%v mm of a part fitted at %+v: used %v, want %v", tt.level, tt.start, got, tt.want)
		}
	}
}

// A day that is never reached is a hundred years on, whatever the duty; and the
// day does not hang on the hour at which it is asked for.
func TestDayAt(t *testing.T) {
	c := alone()
	for _, tt := range []struct {
		now    string
		perDay float64
		hours  float64 // beyond those run by now
		want   int     // days from 2026-01-01
	}{
		{"2026-01-01", 24, 240, 10}, {"2026-01-01", 12, 240, 20}, {"2026-01-01 18:00", 24, 240 - 18, 10}, {"2026-01-01 23:59", 24, 240.01, 10},
		{"2026-01-01", 0, 1, farAhead}, {"2026-01-01", 24, 1e9, farAhead}, {"2026-01-01", 24, math.NaN(), farAhead}, {"2026-01-01 12:00", 24, 0, 0},
		{"2026-01-11", 24, -240, 0}, {"2026-01-11", 24, -1, 9},
	} {
		a := assess(c, nil, tt.now)
		st := a.Trains[0]
		st.PerDay = tt.perDay
		if got := a.dayAt(&st, st.RunHours.Likely+tt.hours).Sub(d("2026-01-01")); got != tt.want {
			t.Errorf("%s, %v hours on at %v a day: day %d, want %d", tt.now, tt.hours, tt.perDay, got, tt.want)
		}
	}
}

// Nobody is promised forty years on one year of readings, however slow the wear
// is believed to be; after four years the promise may be made.
func TestNoPromiseOnOneYear(t *testing.T) {
	c := alone()
	c.Trains[0].Arbors[0].Bearings[0].Load = 30
	for _, tt := range []struct {
		log    []Entry
		now    string
		beyond bool
	}{{read(2021, 0.10), "2021-02-01", false}, {read(2021, 0.10, 0.10, 0.10, 0.10), "2024-02-01", true}} {
		o := outlookOf(t, assess(c, book(tt.log...), tt.now), "centre-front")
		if o.Beyond != tt.beyond || o.Dated || !strings.HasPrefix(o.Sentence, map[bool]string{true: "Not expected to reach", false: "The readings cannot carry a date"}[tt.beyond]) {
			t.Errorf("%d readings: beyond %v, dated %v, %q", len(tt.log), o.Beyond, o.Dated, o.Sentence)
		}
	}
}

// A bearing that has used nearly all it may is one to watch, dated or not.
func TestNearlyUsedUp(t *testing.T) {
	c := alone()
	b := &c.Trains[0].Arbors[0].Bearings[0]
	b.FittedAt, b.Fitted, b.Watch = utc("0001-01-01"), 0, nil
	for size, want := range map[float64]Condition{0.29: Sound, 0.31: Watch} { // 0.85 of 0.35 mm is 0.2975
		o := outlookOf(t, assess(c, book(read(2024, size)...), "2024-01-02"), "centre-front")
		if o.Condition != want || o.Dated || o.Over {
			t.Errorf("%v mm of 0.35: %s, used %.2f, dated %v, over %v; want %s", size, o.Condition, o.Used, o.Dated, o.Over, want)
		}
	}
}

// More wear never lengthens a life: the larger the last reading, the sooner the
// limit, as long as it is believed.
func TestMoreWearNeverLengthensLife(t *testing.T) {
	for _, before := range [][]float64{{0.12, 0.14, 0.16}, {0.12, 0.16, 0.20}, {0.11}, {0.14, 0.14, 0.15, 0.15}} {
		last := math.Inf(1)
		base := before[len(before)-1]
		for step := 0; step <= 12; step++ {
			sizes := append(append([]float64(nil), before...), base+0.005*float64(step))
			o := outlookOf(t, assess(alone(), book(read(2021, sizes...)...), "2026-01-02"), "centre-front")
			if o.Parts[0].Readings[len(before)].Doubt > 0.1 {
				break
			}
			h := o.Wear.Crossing(0.35, units("2026-01-02"), 0.5).H
			if h > last*1.001 {
				t.Errorf("%v: reached at %.2f thousand run-hours, with less worn at %.2f", sizes, h, last)
			}
			last = h
		}
	}
}

// The part that is in now is judged alone: what an earlier one was misread by
// asks for nothing.
func TestDoubtOfAnEarlierPart(t *testing.T) {
	log := append(read(2021, 0.12, 0.14, 0.16, 0.60), did(Repaired, "2024-06-01", left(0.10)), did(Measured, "2025-01-01", gave(0.11)))
	o := outlookOf(t, assess(alone(), book(log...), "2025-02-01"), "centre-front")
	if o.ReadAgain || o.Parts[0].Readings[3].Doubt < 0.5 || o.Parts[1].Readings[0].Doubt > 0.3 {
		t.Errorf("read again %v, doubts %.2f of the old part and %.2f of the new", o.ReadAgain, o.Parts[0].Readings[3].Doubt, o.Parts[1].Readings[0].Doubt)
	}
}

// With an exponent other than one the wear of a year is that of the year to
// come, at the age of the part: with b = 1/2 and no gauge error a size that
// grew by 0.10 mm in the first year is 0.10 sqrt(4) mm larger after four, and
// grows by 0.10 (sqrt 5 - sqrt 4) mm in the fifth (arithmetic).
func TestYearlyWearOfRunningIn(t *testing.T) {
	params := wear.DefaultParams()
	params.B, params.Phi, params.Kappa, params.Eps = 0.5, 1e-6, 0, 0
	c := alone()
	b := &c.Trains[0].Arbors[0].Bearings[0]
	b.FittedSD, b.Watch, b.Act = 1, nil, limitAt(3)
	var log []Entry
	for y := 1; y <= 4; y++ {
		size := 0.10 + 0.10*math.Sqrt(float64(y))
		log = append(log, did(Measured, fmt.Sprintf("%d-01-01", 2020+y), gave(size)))
	}
	f := Facts{Clock: c, Site: fleetOf("UTC", c).Sites[0], Entries: book(log...), Model: Model{Params: &params}}
	o := outlookOf(t, Assess(f, utc("2024-01-01")), "centre-front")
	if want := 0.10 * (math.Sqrt(5) - 2); math.Abs(o.PerYear[1]/want-1) > 0.08 {
		t.Errorf("%.4f mm in the fifth year, want %.4f", o.PerYear[1], want)
	}
}
