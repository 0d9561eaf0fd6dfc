package schedule

import (
	"math"
	"testing"
	"time"

	"endshake/wear"
)

// What the readings tell of the rate spans the longest time in which one part
// was found at two sizes, the size when fitted counting as one, a strip and
// clean breaking nothing and other materials forgetting what was before. A date
// wants two sizes of the present part.
func TestObservedAndSized(t *testing.T) {
	start := &wear.Level{Mean: 0.1, SD: 0.02}
	at := func(hs ...float64) []wear.Gauge {
		var out []wear.Gauge
		for _, h := range hs {
			out = append(out, wear.Gauge{H: h, Y: 0.1, SD: 0.01})
		}
		return out
	}
	for _, tt := range []struct {
		name  string
		segs  []wear.Segment
		span  float64
		sized bool
	}{
		{"nothing", []wear.Segment{{}}, 0, false},
		{"one reading", []wear.Segment{{Readings: at(5)}}, 0, false},
		{"two at once", []wear.Segment{{Readings: at(5, 5)}}, 0, false},
		{"two", []wear.Segment{{Readings: at(5, 12)}}, 7, true},
		{"fitted at a known size, never read", []wear.Segment{{Start: start}}, 0, false},
		{"fitted at a known size, read that day", []wear.Segment{{H0: 4, Start: start, Readings: at(4)}}, 0, false},
		{"fitted at a known size, read once", []wear.Segment{{H0: 4, Start: start, Readings: at(10)}}, 6, true},
		{"cleaned between two", []wear.Segment{{Readings: at(5)}, {H0: 5, Carry: 0.03, Readings: at(14)}}, 9, true},
		{"cleaned since", []wear.Segment{{Readings: at(5, 9)}, {H0: 9, Carry: 0.03}}, 4, false},
		{"renewed, and the one before was read longer", []wear.Segment{{Readings: at(5, 25)}, {H0: 26, Start: start, Readings: at(30)}}, 20, true},
		{"renewed, and not read since", []wear.Segment{{Readings: at(5, 25)}, {H0: 26, Start: start}}, 20, false},
		{"renewed at an unknown size, and read once", []wear.Segment{{Readings: at(5, 25)}, {H0: 26, Readings: at(30)}}, 20, false},
		{"renewed in other materials", []wear.Segment{{Readings: at(5, 25)}, {H0: 26, Fresh: true, Start: start, Readings: at(30)}}, 4, true},
	} {
		if got := observed(tt.segs); got != tt.span {
			t.Errorf("%s: observed over %v units, want %v", tt.name, got, tt.span)
		}
		if got := sized(tt.segs); got != tt.sized {
			t.Errorf("%s: sized %v", tt.name, got)
		}
	}
}

// Readings go to the part that was in when they were taken, in the train's
// counter and brought to one temperature.
func TestPartsOfABearing(t *testing.T) {
	c := alone()
	c.Trains[0].Drive = wear.Electric
	b := &c.Trains[0].Arbors[0].Bearings[0]
	b.Stand, b.Shaft, b.Frame = mm(400), wear.Steel, wear.Brass
	warm, cold := 25.0, 5.0
	withTemp := func(celsius *float64) change { return func(e *Entry) { e.Reading.Celsius = celsius } }
	log := book(
		did(Measured, "2021-01-01", gave(0.20), withTemp(&warm)), did(Measured, "2021-01-01 12:00", gave(0.20), withTemp(&cold)),
		did(Measured, "2021-02-01", gave(0.20)),
		did(Repaired, "2022-01-01", left(0)), did(Cleaned, "2022-01-01 15:00"), did(Cleaned, "2022-06-01"),
		did(Measured, "2022-07-01", gave(0.15)),
		did(Repaired, "2023-01-01", left(0.11)),
	)
	o := outlookOf(t, assess(c, log, "2023-02-01"), "centre-front")
	if len(o.Parts) != 3 {
		t.Fatalf("%d parts", len(o.Parts))
	}
	first, second, third := o.Parts[0], o.Parts[1], o.Parts[2]
	if len(first.Readings) != 3 || len(second.Readings) != 1 || len(third.Readings) != 0 || first.Work != "" || second.Work != NewBush {
		t.Errorf("%d, %d and %d readings; %q, %q", len(first.Readings), len(second.Readings), len(third.Readings), first.Work, second.Work)
	}
	if first.Start.Mean != 0.10 || first.Start.SD != 0.02 || second.Start != nil || third.Start.Mean != 0.11 || third.Start.SD != 0.01 {
		t.Errorf("fitted at %+v, %+v, %+v", first.Start, second.Start, third.Start)
	}
	if len(second.Cleaned) != 1 || !second.Cleaned[0].Equal(utc("2022-06-01")) || first.Cleaned != nil {
		t.Errorf("cleaned %v: what is new that day is clean", second.Cleaned)
	}
	if got := first.Readings[0].Exposure; got != 366*24 {
		t.Errorf("exposure %v run-hours, want %v", got, 366*24)
	}
	// The frame of brass grows by 19e-6, the shaft of steel by 12e-6 per degree
	// or thereabouts, over 400 mm: some 0.003 mm a degree, either way of 15.
	x, y, none := first.Readings[0], first.Readings[1], first.Readings[2]
	if !(x.Value < 0.20 && y.Value > 0.20) || math.Abs(x.Value+y.Value-0.40) > 1e-9 || none.Value != 0.20 || !(none.SD > x.SD) || x.Reading.Value != mm(0.20) {
		t.Errorf("read 0.20 mm: %.4f warm, %.4f cold, %.4f ± %.4f unknown", x.Value, y.Value, none.Value, none.SD)
	}
}

// The materials that rub now are those of the last repair that names any.
func TestPairNow(t *testing.T) {
	for _, tt := range []struct {
		name string
		log  []Entry
		want wear.Pair
	}{
		{"as recorded", nil, wear.SteelOnBrass},
		{"a repair that names none", []Entry{did(Repaired, "2021-01-01", left(0.1))}, wear.SteelOnBrass},
		{"a new pair", []Entry{did(Repaired, "2021-01-01", left(0.1), pair(wear.SteelOnSteel))}, wear.SteelOnSteel},
		{"and kept by the next", []Entry{did(Repaired, "2021-01-01", left(0.1), pair(wear.SteelOnSteel)), did(Repaired, "2022-01-01", left(0.1))}, wear.SteelOnSteel},
		{"and changed again", []Entry{did(Repaired, "2021-01-01", left(0.1), pair(wear.SteelOnSteel)), did(Repaired, "2022-01-01", left(0.1), pair(wear.BrassOnBrass))}, wear.BrassOnBrass},
		{"another bearing", []Entry{did(Repaired, "2021-01-01", left(0.1), pair(wear.SteelOnSteel), onBearing("second-back"))}, wear.SteelOnBrass},
		{"not yet", []Entry{did(Repaired, "2024-01-01", left(0.1), pair(wear.SteelOnSteel))}, wear.SteelOnBrass},
	} {
		a := assess(pump(), book(tt.log...), "2023-01-01")
		if got := pairNow(&a, bush()); got != tt.want {
			t.Errorf("%s: %s, want %s", tt.name, got, tt.want)
		}
	}
}

// The limit that a conservator holds a bearing to is the one to act at, else
// the one to watch.
func TestBinding(t *testing.T) {
	watch, act := limitAt(0.25), limitAt(0.35)
	for _, tt := range []struct{ watch, act, want *wear.Limit }{{watch, act, act}, {watch, nil, watch}, {nil, act, act}, {nil, nil, nil}} {
		if got := binding(wear.Bearing{Watch: tt.watch, Act: tt.act}); got != tt.want {
			t.Errorf("watch %v, act %v: %v", tt.watch, tt.act, got)
		}
	}
}

// A single reading has nothing to be held against but a size when fitted.
func TestDoubtOfASingleReading(t *testing.T) {
	c := alone()
	one := book(read(2021, 0.90)...)
	o := outlookOf(t, assess(c, one, "2021-01-02"), "centre-front")
	if o.Parts[0].Readings[0].Doubt < 0.3 {
		t.Errorf("0.90 mm a year after it was fitted at 0.10: misread with probability %.3f", o.Parts[0].Readings[0].Doubt)
	}
	c.Trains[0].Arbors[0].Bearings[0].FittedAt = time.Time{}
	o = outlookOf(t, assess(c, one, "2021-01-02"), "centre-front")
	if o.Parts[0].Readings[0].Doubt != 0 || o.ReadAgain {
		t.Errorf("with nothing to hold it against: misread with probability %.3f", o.Parts[0].Readings[0].Doubt)
	}
}

// An instant that the log cannot place in its past is now, never later.
func TestDayAtInThePast(t *testing.T) {
	a := assess(alone(), book(did(Stopped, "2020-03-01", by(ByHand))), "2020-06-01")
	st := a.Trains[0]
	for hours, want := range map[float64]Date{0: d("2020-01-01"), 24: d("2020-01-02"), st.RunHours.Likely: d("2020-03-01")} {
		if got := a.dayAt(&st, hours); got != want {
			t.Errorf("%v run-hours: %v, want %v", hours, got, want)
		}
	}
}
