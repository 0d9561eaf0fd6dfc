package wear

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"
)

func meterAt(d, shows float64) RunEvent {
	return RunEvent{At: day(d), Kind: RunMeter, Meter: shows, Turnover: 10000}
}

// TestMeter: what a meter shows between two readings, in hours, worked by hand.
// One of 10,000 h that goes from 9987.4 to 0012.9 has run 25.5.
func TestMeter(t *testing.T) {
	renewed := func(e RunEvent) RunEvent { e.Renewed = true; return e }
	endless := func(e RunEvent) RunEvent { e.Turnover = 0; return e }
	for _, c := range []struct {
		name                 string
		reserve              time.Duration
		events               []RunEvent
		from, to             float64 // days
		lower, likely, upper float64 // hours
		odd                  string
	}{
		{"turned over", 0, []RunEvent{meterAt(1, 9987.4), meterAt(3, 12.9)}, 1, 3, 25.5, 25.5, 25.5, ""},
		{"evenly in between", 0, []RunEvent{meterAt(1, 9987.4), meterAt(3, 12.9)}, 2, 3, 12.75, 12.75, 12.75, ""},
		{"too little time to turn over: replaced", 0, []RunEvent{meterAt(1, 9987.4), meterAt(2, 12.9)}, 1, 2, 24, 24, 24, ""},
		{"falls, and never turns over: replaced", 0, []RunEvent{endless(meterAt(1, 9987.4)), endless(meterAt(3, 12.9))}, 1, 3, 48, 48, 48, ""},
		{"replaced, as is said", 0, []RunEvent{meterAt(1, 100), renewed(meterAt(11, 120)), meterAt(21, 240)}, 1, 21, 240 + 120, 240 + 120, 240 + 120, ""},
		{"read a quarter of an hour late", 0, []RunEvent{meterAt(1, 100), meterAt(2, 124.25)}, 1, 2, 24, 24, 24, ""},
		{"more than the time passed", 0, []RunEvent{meterAt(1, 100), meterAt(2, 130)}, 1, 2, 24, 24, 24, "30.0 h more than at its reading before, but only 24.0 h have passed"},
		{"and the next fits the first", 0, []RunEvent{meterAt(1, 100), meterAt(2, 530), meterAt(3, 112)}, 1, 3, 12, 12, 12, "430.0 h more"},
		{"and the next fits only itself", 0, []RunEvent{meterAt(1, 100), meterAt(2, 530), meterAt(3, 540)}, 1, 3, 24 + 10, 24 + 10, 24 + 10, "430.0 h more"},
		{"turned over once or twice, and the log has it going", 0, []RunEvent{meterAt(0, 100), meterAt(900, 1000)}, 0, 900, 20900, 20900, 20900, ""},
		{"shared over what the log allows", 0, []RunEvent{meterAt(0, 0), byHand(2), started(8), meterAt(10, 48)}, 0, 2, 24, 24, 24, ""},
		{"nothing while the log has it stopped", 0, []RunEvent{meterAt(0, 0), byHand(2), started(8), meterAt(10, 48)}, 2, 8, 0, 0, 0, ""},
		{"more than the log allows: the rest while it stood", 0, []RunEvent{meterAt(0, 0), byHand(2), started(8), meterAt(10, 168)}, 2, 8, 72, 72, 72, ""},
		{"it stood all the time", 0, []RunEvent{meterAt(0, 7), meterAt(10, 7)}, 0, 10, 0, 0, 0, ""},
		{"of a weight that may have run down", 8 * days, []RunEvent{wound(0), meterAt(0, 0), wound(14), meterAt(14, 250)}, 0, 14, 250, 250, 250, ""},
		{"no number", 0, []RunEvent{meterAt(1, math.NaN())}, 1, 2, 24, 24, 24, "shows NaN"},
		{"beyond where it turns over", 0, []RunEvent{meterAt(1, 10000)}, 1, 2, 24, 24, 24, "shows 10000"},
	} {
		r, odd, err := Sift(day0, c.reserve, c.events)
		if err != nil {
			t.Fatal(err)
		}
		got := r.Between(day(c.from), day(c.to))
		for i, x := range [][2]float64{{got.Lower, c.lower}, {got.Likely, c.likely}, {got.Upper, c.upper}} {
			if math.Abs(x[0]-x[1]) > 1e-6 {
				t.Errorf("%s: figure %d is %v h, want %v", c.name, i, x[0], x[1])
			}
		}
		if (len(odd) > 0) != (c.odd != "") || len(odd) > 0 && !strings.Contains(odd[0].Why, c.odd) {
			t.Errorf("%s: %v, want %q", c.name, odd, c.odd)
		}
	}
}

// TestMeterHasTheSay: over many logs with a meter that tells the truth, the
// three figures are the meter's between its first and its last reading, and
// those of the log alone outside.
func TestMeterHasTheSay(t *testing.T) {
	const seed = 15
	t.Logf("seed %d", seed)
	rng := rand.New(rand.NewPCG(seed, 1))
	for range 200 {
		var with, without []RunEvent
		shown, at, first, last, ran := rng.Float64()*9999, 0.0, -1.0, 0.0, 0.0
		going := true
		for range 2 + rng.IntN(20) {
			step := rng.Float64() * 30
			at += step
			switch k := rng.IntN(4); {
			case k < 2:
				part := 0.0
				if first >= 0 {
					part = (at - last) * 24 * rng.Float64()
					ran += part
				} else {
					first = at
				}
				shown, last = math.Mod(shown+part, 10000), at
				with = append(with, meterAt(at, shown))
				continue
			case going:
				with, going = append(with, byHand(at)), false
			default:
				with, going = append(with, started(at)), true
			}
			without = append(without, with[len(with)-1])
		}
		if first < 0 || last == first {
			continue
		}
		r, plain := running(t, 0, with...), running(t, 0, without...)
		got := r.Between(day(first), day(last))
		near(t, "lower", got.Lower, ran, 1e-4)
		near(t, "likely", got.Likely, ran, 1e-4)
		near(t, "upper", got.Upper, ran, 1e-4)
		near(t, "before", r.Between(day0, day(first)).Likely, plain.Between(day0, day(first)).Likely, 1e-9)
		near(t, "after", r.Between(day(last), day(at+9)).Likely, plain.Between(day(last), day(at+9)).Likely, 1e-9)
		checkLedger(t, r, at+10, rng)
	}
}

// TestOldGivesWay: of two events that contradict each other the one from an old
// book is left out, whichever came first; of two old ones the second.
func TestOldGivesWay(t *testing.T) {
	old := func(e RunEvent) RunEvent { e.Old = true; return e }
	for _, c := range []struct {
		name   string
		events []RunEvent
		out    []int
		likely float64 // days, at day 20
	}{
		{"old stop, stop", []RunEvent{old(byHand(2)), byHand(10)}, []int{0}, 10},
		{"stop, old stop", []RunEvent{byHand(2), old(byHand(10))}, []int{1}, 2},
		{"old stop, old stop", []RunEvent{old(byHand(2)), old(byHand(10))}, []int{1}, 2},
		{"stop, old start, start", []RunEvent{byHand(2), old(started(4)), started(10)}, []int{1}, 12},
		{"old look, stopped since before", []RunEvent{old(seen(8)), foundSince(10, 5)}, []int{0}, 5},
		{"look, old stop since before", []RunEvent{seen(8), old(foundSince(10, 5))}, []int{1}, 20},
		{"two old stops in a row, and a stop", []RunEvent{old(byHand(2)), old(byHand(4)), byHand(10)}, []int{0, 1}, 10},
		{"old meter, meter", []RunEvent{old(meterAt(2, 5000)), meterAt(4, 9000)}, []int{0}, 20},
		{"before the history", []RunEvent{wound(-3), byHand(10)}, []int{0}, 10},
		{"out of order", []RunEvent{seen(5), seen(3), byHand(10)}, []int{1}, 10},
	} {
		r, odd, err := Sift(day0, 0, c.events)
		if err != nil {
			t.Fatal(err)
		}
		var out []int
		for _, o := range odd {
			out = append(out, o.Event)
			if strings.TrimSpace(o.Why) == "" || strings.HasSuffix(o.Why, ".") {
				t.Errorf("%s: %q", c.name, o.Why)
			}
		}
		if got := r.At(day(20)).Likely / 24; !slices.Equal(out, c.out) || math.Abs(got-c.likely) > 1e-9 {
			t.Errorf("%s: left out %v, %v days; want %v, %v", c.name, out, got, c.out, c.likely)
		}
	}
}

// TestManyOldStops: an old book of nothing but stops is read in reasonable
// time, and what was logged since stands.
func TestManyOldStops(t *testing.T) {
	var events []RunEvent
	for i := range 3000 {
		e := byHand(float64(i))
		e.Old = true
		events = append(events, e)
	}
	for i := range 400 {
		e := started(3000 + float64(i))
		if i%2 == 1 {
			e = byHand(3000 + float64(i))
		}
		events = append(events, e)
	}
	r, odd, err := Sift(day0, 0, events)
	if err != nil || len(odd) < 2999 {
		t.Fatalf("%d left out, %v", len(odd), err)
	}
	near(t, "since", r.Between(day(3000), day(3400)).Likely/24, 200, 1e-9)
}
