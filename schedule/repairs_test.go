package schedule

import (
	"math"
	"strings"
	"testing"

	"endshake/wear"
)

// recordFor is what the log holds of the bush.
func recordFor(c Clock, log []Entry, now string) (record, Outlook) {
	f := fleetOf("UTC", c)
	a := open(Facts{Clock: c, Site: f.Sites[0], Entries: log}, utc(now))
	b, _, _, _ := c.Bearing("centre-front")
	o := Outlook{Bearing: b}
	return o.gather(&a, Model{}, &a.Trains[0]), o
}

// A strip and clean carries the level on: the same part, with a little more
// doubt, and no more than once between two readings.
func TestCleaningCarriesTheLevelOn(t *testing.T) {
	clean := func(when string, changes ...change) Entry { return did(Cleaned, when, changes...) }
	for _, tt := range []struct {
		name   string
		more   []Entry
		carry  []float64 // by segment
		counts []int     // readings by segment
	}{
		{"never", nil, []float64{0}, []int{3}},
		{"after the last reading", []Entry{clean("2023-06-01")}, []float64{0, cleanedSD}, []int{3, 0}},
		{"between two", []Entry{clean("2022-06-01")}, []float64{0, cleanedSD}, []int{2, 1}},
		{"twice between two", []Entry{clean("2022-05-01"), clean("2022-06-01")}, []float64{0, cleanedSD}, []int{2, 1}},
		{"twice apart", []Entry{clean("2021-06-01"), clean("2022-06-01")}, []float64{0, cleanedSD, cleanedSD}, []int{1, 1, 1}},
		{"before the first, the fitted size known", []Entry{clean("2020-06-01")}, []float64{0, cleanedSD}, []int{0, 3}},
		{"on the day it was fitted", []Entry{clean("2020-01-01 15:00")}, []float64{0}, []int{3}},
		{"its train", []Entry{clean("2022-06-01", of("going"))}, []float64{0, cleanedSD}, []int{2, 1}},
		{"another train", []Entry{clean("2022-06-01", of("strike"))}, []float64{0}, []int{3}},
		{"itself alone", []Entry{clean("2022-06-01", onBearing("centre-front"))}, []float64{0, cleanedSD}, []int{2, 1}},
	} {
		r, o := recordFor(pump(), book(append(read(2021, 0.12, 0.14, 0.16), tt.more...)...), "2024-01-01")
		if len(r.segs) != len(tt.carry) || len(o.Parts) != 1 || len(o.Parts[0].Readings) != 3 {
			t.Errorf("%s: %d segments, want %d; %d parts", tt.name, len(r.segs), len(tt.carry), len(o.Parts))
			continue
		}
		for i, s := range r.segs {
			if s.Carry != tt.carry[i] || len(s.Readings) != tt.counts[i] || s.Redrawn || s.Fresh || i > 0 && s.Start != nil {
				t.Errorf("%s: segment %d: carry %v with %d readings, want %v with %d", tt.name, i, s.Carry, len(s.Readings), tt.carry[i], tt.counts[i])
			}
		}
	}
	c := alone()
	b := &c.Trains[0].Arbors[0].Bearings[0]
	b.Fitted, b.FittedAt = 0, utc("0001-01-01")
	if r, _ := recordFor(c, book(clean("2020-06-01"), did(Measured, "2021-01-01", gave(0.2))), "2022-01-01"); len(r.segs) != 1 {
		t.Errorf("%d segments where there was no level to carry on", len(r.segs))
	}
}

// After a strip and clean the next reading may jump by what the dirt held, and
// costs the rate less than without; no date is given until it is read.
func TestCleaningInTheForecast(t *testing.T) {
	c := alone()
	c.Trains[0].Arbors[0].Bearings[0].Act = limitAt(0.60)
	base := read(2021, 0.12, 0.14, 0.16, 0.18)
	jump := did(Measured, "2025-01-01", gave(0.26))
	clean := did(Cleaned, "2024-06-01")
	got := func(now string, more ...Entry) Outlook {
		return outlookOf(t, assess(c, book(append(append([]Entry(nil), base...), more...)...), now), "centre-front")
	}
	plain, cleaned := got("2025-01-02", jump), got("2025-01-02", clean, jump)
	if !(cleaned.PerYear[1] < plain.PerYear[1]) {
		t.Errorf("a jump of 0.06 mm: %.4f mm a year after a cleaning, %.4f without", cleaned.PerYear[1], plain.PerYear[1])
	}
	if x, y := cleaned.Parts[0].Readings[4].Doubt, plain.Parts[0].Readings[4].Doubt; !(x < y) {
		t.Errorf("misread with probability %.2f after a cleaning, %.2f without", x, y)
	}
	before, after := got("2024-05-31"), got("2024-06-02", clean)
	if !before.Dated || after.Dated || !after.Taught || !after.Late.IsZero() || !strings.HasPrefix(after.Sentence, "The readings cannot carry a date") {
		t.Errorf("before: dated %v; after: dated %v, taught %v, late %v, %q", before.Dated, after.Dated, after.Taught, after.Late, after.Sentence)
	}
	if !cleaned.Dated {
		t.Errorf("read since: no date, %q", cleaned.Sentence)
	}
	if math.Abs(after.Level.Mean-before.Level.Mean) > 0.003 || after.Level.SD <= before.Level.SD {
		t.Errorf("level %.4f ± %.4f, was %.4f ± %.4f", after.Level.Mean, after.Level.SD, before.Level.Mean, before.Level.SD)
	}
	if after.seen != d("2024-01-01") || len(after.Parts) != 1 || len(after.Parts[0].Cleaned) != 1 {
		t.Errorf("seen %v, parts %+v", after.seen, after.Parts)
	}
}

// A part that wore out too soon may be followed by one that wears otherwise.
func TestRepairForExcessWear(t *testing.T) {
	for _, tt := range []struct {
		name    string
		sizes   []float64
		pair    wear.Pair
		redrawn bool
		fresh   bool
	}{
		{"worn out", []float64{0.20, 0.25, 0.30}, "", true, false}, // 0.85 of 0.35 mm is 0.2975
		{"not yet", []float64{0.20, 0.25, 0.29}, "", false, false},
		{"never read", nil, "", false, false},
		{"worn out, other materials", []float64{0.20, 0.25, 0.30}, wear.SteelOnSteel, false, true},
		{"worn out, the same named", []float64{0.20, 0.25, 0.30}, wear.SteelOnBrass, true, false},
	} {
		log := append(read(2021, tt.sizes...), did(Repaired, "2024-06-01", left(0.10), pair(tt.pair)), did(Measured, "2025-01-01", gave(0.11)))
		r, o := recordFor(alone(), book(log...), "2025-06-01")
		if s := r.segs[1]; s.Redrawn != tt.redrawn || s.Fresh != tt.fresh || s.Carry != 0 {
			t.Errorf("%s: redrawn %v, fresh %v", tt.name, s.Redrawn, s.Fresh)
		}
		if r.segs[0].Redrawn || o.Parts[1].Work != NewBush {
			t.Errorf("%s: the first part, or %q", tt.name, o.Parts[1].Work)
		}
	}
	c := alone()
	b := &c.Trains[0].Arbors[0].Bearings[0]
	b.Watch, b.Act = nil, nil
	if r, _ := recordFor(c, book(append(read(2021, 3), did(Repaired, "2024-06-01", left(0.1)))...), "2025-06-01"); r.segs[1].Redrawn {
		t.Error("redrawn with no limit to wear out by")
	}
	// With the rate as likely another, the band after a repair is wider.
	mended := func(sizes ...float64) Outlook {
		return outlookOf(t, assess(alone(), book(append(read(2021, sizes...), did(Repaired, "2025-06-01", left(0.10)))...), "2025-06-02"), "centre-front")
	}
	worn, sound := mended(0.18, 0.22, 0.26, 0.30), mended(0.15, 0.19, 0.23, 0.27)
	if x, y := worn.PerYear[2]/worn.PerYear[0], sound.PerYear[2]/sound.PerYear[0]; !(x > 1.2*y) {
		t.Errorf("80 %% band of the rate: a factor of %.2f after excess wear, %.2f otherwise", x, y)
	}
}

// No date after any reset until there are two sizes, the fitted one counting.
func TestNoDateUntilTwoSizes(t *testing.T) {
	worn := read(2018, 0.12, 0.16, 0.20, 0.24)
	for _, tt := range []struct {
		name  string
		more  []Entry
		dated bool
	}{
		{"as it was", nil, true},
		{"new bush, measured", []Entry{did(Repaired, "2022-01-01", left(0.10))}, false},
		{"new bush, measured, and read since", []Entry{did(Repaired, "2022-01-01", left(0.10)), did(Measured, "2023-01-01", gave(0.14))}, true},
		{"new bush, measured twice on the day", []Entry{did(Repaired, "2022-01-01", left(0.10)), did(Measured, "2022-01-01", gave(0.10))}, false},
		{"new bush, not measured", []Entry{did(Repaired, "2022-01-01", left(0))}, false},
		{"new bush, read once since", []Entry{did(Repaired, "2022-01-01", left(0)), did(Measured, "2023-01-01", gave(0.14))}, false},
		{"new bush, read twice since", []Entry{did(Repaired, "2022-01-01", left(0)), did(Measured, "2022-06-01", gave(0.12)), did(Measured, "2023-01-01", gave(0.14))}, true},
		{"strip", []Entry{did(Cleaned, "2022-01-01")}, false},
		{"strip, and read since", []Entry{did(Cleaned, "2022-01-01"), did(Measured, "2023-01-01", gave(0.27))}, true},
	} {
		c := alone()
		c.InCare = d("2017-01-01")
		b := &c.Trains[0].Arbors[0].Bearings[0]
		b.FittedAt = utc("2017-01-01")
		o := outlookOf(t, assess(c, book(append(append([]Entry(nil), worn...), tt.more...)...), "2023-02-01"), "centre-front")
		if o.Dated != tt.dated || o.Ahead != tt.dated || !o.Dated && !o.Late.IsZero() || strings.HasPrefix(o.Sentence, "Likely to reach") && !tt.dated {
			t.Errorf("%s: dated %v, want %v: %q", tt.name, o.Dated, tt.dated, o.Sentence)
		}
	}
}
