package schedule

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"endshake/wear"
)

// read makes readings of the bush, one a year on 1 January from a year on.
func read(from int, sizes ...float64) []Entry {
	var out []Entry
	for i, v := range sizes {
		out = append(out, did(Measured, fmt.Sprintf("%d-01-01", from+i), gave(v)))
	}
	return out
}

// filtered is what the filter says of the bush by hand: fitted 0.10 ± 0.02 mm
// on 1 January 2020 and going ever since, read on given days.
func filtered(t *testing.T, p wear.Params, days []string, sizes []float64) wear.Posterior {
	t.Helper()
	s := wear.Segment{Start: &wear.Level{Mean: 0.10, SD: 0.02}}
	for i, day := range days {
		s.Readings = append(s.Readings, wear.Gauge{H: units(day), Y: sizes[i], SD: 0.01})
	}
	c := alone()
	b, a, tr, _ := c.Bearing("centre-front")
	post, err := wear.Filter(wear.RatePrior(b, a, tr), p, []wear.Segment{s})
	if err != nil {
		t.Fatal(err)
	}
	return post
}

// units of exposure, a thousand run-hours, from 1 January 2020 to a day.
func units(day string) float64 { return float64(d(day).Sub(d("2020-01-01"))) * 24 / 1000 }

// dayAfter is the day on which a clock that always goes comes to an exposure.
func dayAfter(h float64) Date { return d("2020-01-01").Add(int(h * 1000 / 24)) }

// The log comes to the same forecast as the filter fed by hand.
func TestForecastByHand(t *testing.T) {
	sizes := []float64{0.12, 0.14, 0.16, 0.18, 0.20}
	days := []string{"2021-01-01", "2022-01-01", "2023-01-01", "2024-01-01", "2025-01-01"}
	a := assess(alone(), book(read(2021, sizes...)...), "2026-01-01")
	o := outlookOf(t, a, "centre-front")
	post := filtered(t, wear.DefaultParams(), days, sizes)
	now := units("2026-01-01")
	for i, q := range []float64{.1, .5, .9} {
		c := post.Crossing(0.35, post.Now(), q)
		if got := []Date{o.Early, o.Likely, o.Late}[i]; got != dayAfter(c.H) {
			t.Errorf("%v crossing: %v, want %v", q, got, dayAfter(c.H))
		}
		if want := post.RateQuantile(q) * 8.766; math.Abs(o.PerYear[i]-want) > 1e-9 { // 8,766 run-hours a mean year
			t.Errorf("%v of the rate: %.5f mm a year, want %.5f", q, o.PerYear[i], want)
		}
	}
	if want := post.LevelQuantile(now, .5); math.Abs(o.Level.Mean-want) > 1e-9 {
		t.Errorf("level now %.5f, want %.5f", o.Level.Mean, want)
	}
	if want := (o.Level.Mean - 0.10) / (0.35 - 0.10); math.Abs(o.Used-want) > 1e-9 {
		t.Errorf("used %.5f, want %.5f", o.Used, want)
	}
	if o.Exposure.Likely != now*1000 || o.PerDay != 24 || o.Counter != wear.RunHours {
		t.Errorf("exposure %v at %v a day in %s, want %v at 24 in run-hours", o.Exposure, o.PerDay, o.Counter, now*1000)
	}
	// By eye: 0.02 mm a year for five years, so 0.35 mm is due seven and a half
	// years after the last reading of 0.20; the prior of 0.014 puts it later.
	if y := o.Likely.Year; !o.Known || !o.Taught || !o.Dated || y < 2032 || y > 2035 || o.Late.Before(o.Likely) || o.Likely.Before(o.Early) {
		t.Errorf("known %v, taught %v, dated %v: %v, %v, %v", o.Known, o.Taught, o.Dated, o.Early, o.Likely, o.Late)
	}
	// A fifth of a chance of having passed 0.25 mm, the limit to watch, comes
	// before the two years of policy are over.
	if want := "Likely to reach 0.35 mm (13.8 thou) between " + o.Early.MonthWords() + " and " + o.Late.MonthWords() + " (now about 0.21 mm, 8.3 thou); measure again by November 2026."; o.Sentence != want {
		t.Errorf("%q, want %q", o.Sentence, want)
	}
	if !strings.HasPrefix(o.Confidence, "fair: 5 readings over 4 years; 8 chances in 10 lie within ") {
		t.Errorf("confidence %q", o.Confidence)
	}
}

// Settings of the fleet reach the filter.
func TestForecastTakesTheModel(t *testing.T) {
	params := wear.DefaultParams()
	params.Phi, params.Kappa = 0.03, 0
	sizes := []float64{0.12, 0.14, 0.16}
	c := alone()
	a := Assess(Facts{Clock: c, Site: fleetOf("UTC", c).Sites[0], Entries: book(read(2021, sizes...)...), Model: Model{Params: &params}}, utc("2024-01-01"))
	want := filtered(t, params, []string{"2021-01-01", "2022-01-01", "2023-01-01"}, sizes)
	if got := outlookOf(t, a, "centre-front").Wear.Evidence(); got != want.Evidence() {
		t.Errorf("evidence %v, want %v", got, want.Evidence())
	}
}

// A reading moves the projection, the way it points.
func TestReadingMovesTheForecast(t *testing.T) {
	base := outlookOf(t, assess(alone(), book(read(2021, 0.12, 0.14, 0.16)...), "2025-01-01"), "centre-front")
	for _, tt := range []struct {
		name  string
		last  float64
		later bool
	}{{"much more", 0.24, false}, {"less", 0.16, true}} {
		o := outlookOf(t, assess(alone(), book(read(2021, 0.12, 0.14, 0.16, tt.last)...), "2025-01-01"), "centre-front")
		if o.Likely.After(base.Likely) != tt.later || o.Likely == base.Likely {
			t.Errorf("%s: likely %v, was %v", tt.name, o.Likely, base.Likely)
		}
		if (o.Level.Mean < base.Level.Mean) != tt.later {
			t.Errorf("%s: level %.3f, was %.3f", tt.name, o.Level.Mean, base.Level.Mean)
		}
	}
	// A correction takes the old reading out again.
	log := book(append(read(2021, 0.12, 0.14, 0.16), did(Measured, "2024-01-01", gave(0.81), called("slip")),
		did(Measured, "2024-01-01", gave(0.18), instead("slip", "thou read as hundredths")))...)
	plain := book(append(read(2021, 0.12, 0.14, 0.16), did(Measured, "2024-01-01", gave(0.18)))...)
	x, y := outlookOf(t, assess(alone(), log, "2025-01-01"), "centre-front"), outlookOf(t, assess(alone(), plain, "2025-01-01"), "centre-front")
	if x.Likely != y.Likely || x.Wear.Evidence() != y.Wear.Evidence() {
		t.Errorf("corrected: likely %v, want %v as if never misread", x.Likely, y.Likely)
	}
}

// A repair puts the level back to what was fitted and keeps the rate; other
// materials begin anew.
func TestRepairResetsTheLevel(t *testing.T) {
	worn := read(2021, 0.14, 0.18, 0.22, 0.26)
	at := func(now string, more ...Entry) Outlook {
		return outlookOf(t, assess(alone(), book(append(append([]Entry(nil), worn...), more...)...), now), "centre-front")
	}
	before := at("2024-06-01")
	mended := at("2024-06-02", did(Repaired, "2024-06-01", left(0.08)))
	if len(mended.Parts) != 2 || mended.Parts[1].Work != NewBush || len(mended.Parts[0].Readings) != 4 || len(mended.Parts[1].Readings) != 0 {
		t.Fatalf("parts %+v", mended.Parts)
	}
	if math.Abs(mended.Level.Mean-0.08) > 0.005 || mended.Used > 0.02 || mended.Condition != Sound {
		t.Errorf("a day after the repair: %.3f mm, used %.2f, %s; want 0.08 mm fitted", mended.Level.Mean, mended.Used, mended.Condition)
	}
	if r := mended.PerYear[1] / before.PerYear[1]; r < 0.95 || r > 1.05 {
		t.Errorf("the rate went from %.4f to %.4f mm a year: it should be kept", before.PerYear[1], mended.PerYear[1])
	}
	if mended.Dated || !mended.Late.IsZero() || mended.Measure != d("2024-06-01").Add(usualMeasuring) {
		t.Errorf("dated %v by a part that was never read; measure %v", mended.Dated, mended.Measure)
	}
	later := at("2028-01-02", did(Repaired, "2024-06-01", left(0.08)))
	if got, want := later.Level.Mean, 0.08+mended.PerYear[1]*3.587; math.Abs(got-want) > 0.02 || later.Over || later.Dated {
		t.Errorf("3.6 years later %.3f mm, want about %.3f; over %v, dated %v", got, want, later.Over, later.Dated)
	}
	read := at("2026-01-02", did(Repaired, "2024-06-01", left(0.08)), did(Measured, "2026-01-01", gave(0.14)))
	if !read.Dated || !strings.Contains(read.Confidence, "one reading since it was fitted") {
		t.Errorf("one reading since: dated %v, %q", read.Dated, read.Confidence)
	}
	// Not measured when it was fitted: nothing is known of it.
	blind := at("2024-06-02", did(Repaired, "2024-06-01", left(0)))
	if blind.Known || blind.Condition != "" || !strings.HasPrefix(blind.Sentence, "Not measured since the work of 1 Jun 2024, so there is no forecast; measure by") {
		t.Errorf("unmeasured: known %v, %q, %q", blind.Known, blind.Condition, blind.Sentence)
	}
	if blind.PerYear[1] < before.PerYear[1]*0.9 {
		t.Errorf("unmeasured: the rate went from %.4f to %.4f", before.PerYear[1], blind.PerYear[1])
	}
	// Steel on steel wears otherwise: the rate is the prior's of that pair.
	steel := at("2024-06-02", did(Repaired, "2024-06-01", left(0.08), pair(wear.SteelOnSteel)))
	c := alone()
	b, arbor, tr, _ := c.Bearing("centre-front")
	b.Pair = wear.SteelOnSteel
	if want := wear.RatePrior(b, arbor, tr); steel.Prior != want || steel.Taught || math.Abs(math.Log(steel.Wear.RateQuantile(.5))-want.Mu) > 0.01 {
		t.Errorf("steel on steel: prior %+v, want %+v; taught %v", steel.Prior, want, steel.Taught)
	}
	same := at("2024-06-02", did(Repaired, "2024-06-01", left(0.08), pair(wear.SteelOnBrass)))
	if same.PerYear != mended.PerYear {
		t.Error("the same materials named again begin the rate anew")
	}
}

// Where the data cannot carry a date there is none, but a day to measure by.
func TestNoInventedDates(t *testing.T) {
	bare := func(b *wear.Bearing) { b.FittedAt, b.Fitted, b.FittedSD = utc("0001-01-01"), 0, 0 }
	for _, tt := range []struct {
		name     string
		bearing  func(*wear.Bearing)
		log      []Entry
		known    bool
		measure  string // empty: sooner than the usual two years, by risk
		sentence string
		sure     string
	}{
		{"never measured", bare, nil, false, "2021-12-31", "Never measured, so there is no forecast; measure now, for it was to be read by 31 Dec 2021.", "weak: never measured"},
		{"fitted, and never measured", nil, nil, false, "2021-12-31", "Never measured, so there is no forecast; measure now, for it was to be read by", "weak: never measured"},
		{"one reading", bare, read(2024, 0.16), true, "", "The readings cannot carry a date for 0.35 mm (13.8 thou) yet (0.16 mm, 6.3 thou on 1 Jan 2024); measure again by", "weak: one reading"},
		{"two readings on one day", bare, append(read(2024, 0.16), read(2024, 0.17)...), true, "", "The readings cannot carry a date for 0.35 mm (13.8 thou) yet (0.17 mm, 6.7 thou on 1 Jan 2024)", "weak: 2 readings on one day"},
		{"two readings alike, a month apart", bare, append(read(2024, 0.16), did(Measured, "2024-02-01", gave(0.16))), true, "2026-01-31", "The readings cannot carry a date", "weak: 2 readings over 4 weeks cannot carry a date"},
		{"no limit", func(b *wear.Bearing) { b.Watch, b.Act = nil, nil }, read(2021, 0.12, 0.14, 0.16), true, "2024-12-31", "Now about 0.19 mm (7.5 thou), growing about 0.015 mm (0.59 thou) a year; no limit is set; measure again by 31 Dec 2024.", "fair: 3 readings over 2 years"},
		{"no limit and one reading", func(b *wear.Bearing) { bare(b); b.Watch, b.Act = nil, nil }, read(2024, 0.16), true, "2025-12-31", "0.16 mm (6.3 thou) on 1 Jan 2024; no limit is set; measure again by", "weak: one reading"},
	} {
		c := alone()
		if tt.bearing != nil {
			tt.bearing(&c.Trains[0].Arbors[0].Bearings[0])
		}
		o := outlookOf(t, assess(c, book(tt.log...), "2024-12-01"), "centre-front")
		if o.Known != tt.known || o.Dated || o.Over || o.Beyond || !o.Early.IsZero() || !o.Likely.IsZero() || !o.Late.IsZero() {
			t.Errorf("%s: known %v, dated %v, over %v, beyond %v, %v %v %v", tt.name, o.Known, o.Dated, o.Over, o.Beyond, o.Early, o.Likely, o.Late)
		}
		if !strings.HasPrefix(o.Sentence, tt.sentence) || !strings.HasPrefix(o.Confidence, tt.sure) {
			t.Errorf("%s: %q, %q; want %q, %q", tt.name, o.Sentence, o.Confidence, tt.sentence, tt.sure)
		}
		switch usual := o.seen.Add(usualMeasuring); {
		case tt.measure != "" && o.Measure != d(tt.measure):
			t.Errorf("%s: measure by %v, want %s", tt.name, o.Measure, tt.measure)
		case tt.measure == "" && (!o.Measure.Before(usual) || o.Measure.Before(o.seen.Add(soonest))):
			t.Errorf("%s: measure by %v, want it sooner than %v", tt.name, o.Measure, usual)
		}
		if o.Why == "" || o.Measure.IsZero() {
			t.Errorf("%s: measure by %v, because %q", tt.name, o.Measure, o.Why)
		}
	}
}

// One reading and years without another do not make a level of today: it stays
// what was read.
func TestOldReadingStaysOld(t *testing.T) {
	c := alone()
	b := &c.Trains[0].Arbors[0].Bearings[0]
	b.FittedAt, b.Fitted, b.Load = utc("0001-01-01"), 0, 0 // nothing known: the widest prior
	for _, now := range []string{"2021-01-02", "2023-01-01", "2030-01-01"} {
		o := outlookOf(t, assess(c, book(read(2021, 0.16)...), now), "centre-front")
		if math.Abs(o.Level.Mean-0.16) > 0.002 || o.Over || o.Condition != Sound || o.Used > 0.47 {
			t.Errorf("%s: %.3f mm, over %v, %s, used %.2f", now, o.Level.Mean, o.Over, o.Condition, o.Used)
		}
	}
}

func TestOver(t *testing.T) {
	for _, tt := range []struct {
		name      string
		log       []Entry
		now       string
		over      bool
		condition Condition
		task      bool
	}{
		{"read above the limit", read(2021, 0.20, 0.30, 0.40), "2023-01-02", true, Act, true},
		{"read above it once", read(2024, 0.45), "2024-01-02", true, Act, true},
		{"grown past it since", read(2021, 0.16, 0.22, 0.28, 0.33), "2025-06-01", true, Act, true},
		{"near", read(2021, 0.16, 0.21, 0.26, 0.32), "2024-01-02", false, Watch, true},
		{"past the watch limit, far from the other", read(2021, 0.24, 0.25, 0.26, 0.265), "2024-01-02", false, Watch, false},
		{"far", read(2021, 0.11, 0.12, 0.13, 0.14), "2024-01-02", false, Sound, false},
	} {
		a := assess(alone(), book(tt.log...), tt.now)
		o := outlookOf(t, a, "centre-front")
		if o.Over != tt.over || o.Condition != tt.condition {
			t.Errorf("%s: over %v, %s; want %v, %s (%s)", tt.name, o.Over, o.Condition, tt.over, tt.condition, o.Sentence)
		}
		var got *Task
		for i, x := range a.Tasks {
			if x.Kind == NearLimit {
				got = &a.Tasks[i]
			}
		}
		if (got != nil) != tt.task {
			t.Errorf("%s: asks for %s; want work on it %v", tt.name, titles(a.Tasks), tt.task)
		}
		if got == nil {
			continue
		}
		if got.Due != o.Early || got.Latest != o.Likely || got.Source != "conservator, first survey" || !slicesEqual(got.People, "cleo", "ann") {
			t.Errorf("%s: %s by %v, source %q; outlook %v to %v", tt.name, windowOf(*got), got.People, got.Source, o.Early, o.Likely)
		}
		if tt.over && (got.State != Late && got.State != Due || !strings.HasPrefix(got.Reason, "Probably past its limit of 0.35 mm (13.8 thou) already")) {
			t.Errorf("%s: %s, %q", tt.name, got.State, got.Reason)
		}
		if got.What() != "work on the centre arbor, front bush" || !strings.HasSuffix(got.Reason, " Limit: conservator, first survey.") {
			t.Errorf("%s: %q, %q", tt.name, got.What(), got.Reason)
		}
	}
}

func slicesEqual(got []string, want ...string) bool { return fmt.Sprint(got) == fmt.Sprint(want) }

// Slow wear is not dated beyond what anyone plans for.
func TestBeyondPlanning(t *testing.T) {
	c := alone()
	c.InCare = d("1990-01-01")
	b := &c.Trains[0].Arbors[0].Bearings[0]
	b.FittedAt, b.Act, b.Watch = utc("1990-01-01"), limitAt(3), nil
	var log []Entry
	for y := 1991; y < 2020; y += 4 {
		log = append(log, did(Measured, fmt.Sprintf("%d-01-01", y), gave(0.10+0.002*float64(y-1990))))
	}
	o := outlookOf(t, assess(c, book(log...), "2020-01-01"), "centre-front")
	if !o.Beyond || o.Dated || !o.Early.IsZero() || o.Condition != Sound || !strings.HasPrefix(o.Sentence, "Not expected to reach 3.00 mm (118.1 thou) within 40 years (now about 0.16 mm, 6.3 thou); measure again by ") {
		t.Errorf("beyond %v, dated %v, %v, %s: %q", o.Beyond, o.Dated, o.Early, o.Condition, o.Sentence)
	}
}

// A bush that was read when it was worn out tells how fast the next one goes:
// that is to be read in good time, though nobody has read it yet.
func TestNextPartIsReadInTime(t *testing.T) {
	log := book(
		did(Measured, "2020-01-02", gave(0.10)), did(Measured, "2021-03-01", gave(0.46)), did(Repaired, "2021-03-02", left(0.10)),
		did(Measured, "2022-05-01", gave(0.45)), did(Repaired, "2022-05-02", left(0.10)),
	)
	c := alone()
	c.Policies = []Policy{{Task: Measuring, Days: 730, Source: "x"}}
	o := outlookOf(t, assess(c, log, "2022-06-01"), "centre-front")
	if wornOut := d("2023-02-20"); !o.Measure.Before(wornOut) { // 0.25 mm at 0.36 mm in 14 months
		t.Errorf("measure by %s (%s), after it is likely at its limit", o.Measure, o.Why)
	}
	slow := book(did(Measured, "2020-01-02", gave(0.10)), did(Measured, "2021-03-01", gave(0.105)), did(Repaired, "2021-03-02", left(0.10)))
	if o := outlookOf(t, assess(c, slow, "2021-06-01"), "centre-front"); o.Measure != d("2023-03-02") {
		t.Errorf("measure by %s (%s), though it wears slowly", o.Measure, o.Why)
	}
}
