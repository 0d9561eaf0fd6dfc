package wear

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/gonum/stat/distuv"
)

var day0 = time.Date(2024, 3, 1, 9, 0, 0, 0, time.UTC)

// day is an instant so many days after the start of the invented histories.
func day(d float64) time.Time { return day0.Add(time.Duration(d * 24 * float64(time.Hour))) }

func wound(d float64) RunEvent   { return RunEvent{At: day(d), Kind: RunWound} }
func started(d float64) RunEvent { return RunEvent{At: day(d), Kind: RunStarted} }
func seen(d float64) RunEvent    { return RunEvent{At: day(d), Kind: RunSeen} }
func byHand(d float64) RunEvent  { return RunEvent{At: day(d), Kind: RunStopped, Exact: true} }
func found(d float64) RunEvent   { return RunEvent{At: day(d), Kind: RunStopped} }
func foundSince(d, since float64) RunEvent {
	return RunEvent{At: day(d), Kind: RunStopped, Since: day(since)}
}

const days = 24 * time.Hour

func running(t *testing.T, reserve time.Duration, events ...RunEvent) Running {
	t.Helper()
	r, err := NewRunning(day0, reserve, events)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// TestEightDayClock: a hand-wound clock that runs eight days, wound full on
// days 0, 7 and 17 and looked at on day 24, has run 7 + 8 + 7 days: worked by
// hand, the Beta figures in SciPy.
func TestEightDayClock(t *testing.T) {
	for _, last := range [][]RunEvent{nil, {seen(24)}} {
		r := running(t, 8*days, append([]RunEvent{wound(0), wound(7), wound(17)}, last...)...)
		got := r.At(day(24))
		if want := (Exposure{22 * 24, 528, 24 * 24}); got != want {
			t.Errorf("run-hours %v, want %v", got, want)
		}
		near(t, "duty", r.Duty(day0, day(24)), .9166667, 1e-7)
		if since, ok := r.StoppedSince(day(16)); !ok || !since.Equal(day(15)) {
			t.Errorf("on day 16 stopped since %v, %v", since, ok)
		}
	}
	low, _, high := DutyBand(22, 2)
	nearRel(t, "5 %", low, .768960, 1e-5)
	nearRel(t, "95 %", high, .966480, 1e-5)
	near(t, "mean", distuv.Beta{Alpha: 23, Beta: 3}.Mean(), .8846154, 1e-7)
	// 5000 run-hours at a duty of 0.9.
	near(t, "days", 5000/.9/24, 231.4815, 1e-4)
}

// TestRunning goes through what a log can say; days, worked by hand.
func TestRunning(t *testing.T) {
	for _, c := range []struct {
		name                 string
		reserve              time.Duration
		events               []RunEvent
		at                   float64
		lower, likely, upper float64
		going                bool
	}{
		{"nothing logged", 0, nil, 10, 10, 10, 10, true},
		{"before the history", 0, nil, -3, 0, 0, 0, false},
		{"hand-wound, nothing logged", 8 * days, nil, 100, 100, 100, 100, true},
		{"starts later", 0, []RunEvent{started(4)}, 10, 6, 6, 6, true},
		{"wound, then started", 8 * days, []RunEvent{wound(3), started(4)}, 10, 6, 6, 6, true},
		{"before its start", 0, []RunEvent{started(4)}, 3, 0, 0, 0, false},
		{"stopped by hand", 0, []RunEvent{byHand(4)}, 10, 4, 4, 4, false},
		{"stopped and started", 0, []RunEvent{byHand(4), started(6)}, 10, 8, 8, 8, true},
		{"stopped and started at once", 0, []RunEvent{byHand(4), started(4)}, 10, 10, 10, 10, true},
		{"stopped since a known day", 0, []RunEvent{foundSince(7, 4), started(8)}, 10, 6, 6, 6, true},
		{"an exact stop ignores since", 0, []RunEvent{{At: day(4), Kind: RunStopped, Exact: true, Since: day(2)}}, 10, 4, 4, 4, false},
		{"found stopped", 0, []RunEvent{seen(2), found(6)}, 10, 2, 4, 6, false},
		{"found stopped, halfway", 0, []RunEvent{seen(2), found(6)}, 5, 2, 4, 5, false},
		{"found run down", 8 * days, []RunEvent{wound(0), found(20)}, 20, 0, 4, 8, false},
		{"found stopped after a sign of life", 8 * days, []RunEvent{wound(0), seen(6), found(20)}, 20, 6, 7, 8, false},
		{"wound while stopped", 8 * days, []RunEvent{byHand(4), wound(5), started(6), wound(13)}, 13, 11, 11, 11, true},
		{"looked at while stopped", 0, []RunEvent{byHand(4), seen(8)}, 10, 4, 4, 4, false},
		{"looked at while stopped, then started", 0, []RunEvent{byHand(4), seen(8), started(9)}, 10, 5, 5, 5, true},
		{"winds on time", 8 * days, []RunEvent{wound(0), wound(7), wound(14)}, 20, 20, 20, 20, true},
		{"one wind missed", 8 * days, []RunEvent{wound(0), wound(14)}, 14, 8, 8, 14, true},
		{"one wind missed, within", 8 * days, []RunEvent{wound(0), wound(14)}, 10, 8, 8, 10, false},
		{"twice the reserve", 8 * days, []RunEvent{wound(0), wound(16)}, 16, 8, 8, 16, true},
		{"winds not written down", 8 * days, []RunEvent{wound(0), wound(17)}, 17, 8, 17, 17, true},
		{"a long gap at the end", 8 * days, []RunEvent{wound(0)}, 30, 8, 30, 30, true},
		{"seen in time", 8 * days, []RunEvent{wound(0), seen(5), wound(14)}, 14, 8, 8, 14, true},
		{"seen beyond the reserve", 8 * days, []RunEvent{wound(0), seen(10)}, 12, 8, 12, 12, true},
		{"seen twice beyond it", 8 * days, []RunEvent{wound(0), seen(10), seen(14)}, 14, 12, 14, 14, true},
		{"stopped by hand beyond it", 8 * days, []RunEvent{wound(0), byHand(10)}, 12, 8, 10, 10, false},
		{"a stop saves the wind", 8 * days, []RunEvent{wound(0), byHand(4), started(10), wound(14)}, 14, 8, 8, 8, true},
		{"a stop saves the wind, then missed", 8 * days, []RunEvent{wound(0), byHand(4), started(10), wound(16)}, 16, 8, 8, 10, true},
		{"an automatic winder needs no wind", 0, []RunEvent{wound(0), wound(90)}, 100, 100, 100, 100, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := running(t, c.reserve, c.events...)
			got := r.At(day(c.at))
			if want := (Exposure{c.lower * 24, c.likely * 24, c.upper * 24}); got != want {
				t.Errorf("run-hours %v, want %v", got, want)
			}
			if g := r.Going(day(c.at)); g != c.going {
				t.Errorf("going: %v", g)
			}
			if _, stopped := r.StoppedSince(day(c.at)); stopped == c.going && c.at >= 0 {
				t.Errorf("stopped: %v", stopped)
			}
		})
	}
}

func TestNewRunningRefuses(t *testing.T) {
	for _, c := range []struct {
		name   string
		events []RunEvent
		want   string
	}{
		{"started while going", []RunEvent{seen(1), started(2)}, "started at 2024-03-03 09:00 UTC"},
		{"started twice", []RunEvent{started(1), started(2)}, "going already"},
		{"stopped twice", []RunEvent{byHand(1), found(2)}, "stopped at 2024-03-03 09:00 UTC"},
		{"out of order", []RunEvent{wound(3), wound(2)}, "in order of time"},
		{"before the history", []RunEvent{wound(-1)}, "before the history starts"},
		{"stood since later", []RunEvent{foundSince(2, 3)}, "since later"},
		{"stood since before it was seen", []RunEvent{seen(3), foundSince(5, 2)}, "last logged going, at 2024-03-04"},
		{"unknown", []RunEvent{{At: day(1), Kind: "rewound"}}, "unknown kind"},
		{"a slip of the year", []RunEvent{{At: day0.AddDate(2000, 0, 0), Kind: RunWound}}, "check the year"},
	} {
		if _, err := NewRunning(day0, 0, c.events); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got %v, want %q in it", c.name, err, c.want)
		}
	}
	if _, err := NewRunning(time.Time{}, 0, nil); err == nil {
		t.Error("a history without a start was taken")
	}
	if _, err := NewRunning(day0, -1, nil); err == nil {
		t.Error("a negative reserve was taken")
	}
}

func TestRunsDown(t *testing.T) {
	r := running(t, 8*days, wound(1), byHand(4), started(10), wound(12), byHand(13))
	for _, c := range []struct{ at, want float64 }{
		{1, 9},   // just wound
		{4, 9},   // about to stop
		{7, 12},  // three days stopped so far
		{11, 15}, // six days stopped
		{12, 20}, // wound again
		{18, 25}, // and stopped for five days
	} {
		if got, ok := r.RunsDown(day(c.at)); !ok || !got.Equal(day(c.want)) {
			t.Errorf("on day %v it runs down %v, %v, want day %v", c.at, got, ok, c.want)
		}
	}
	if at, ok := r.RunsDown(day(.5)); ok {
		t.Errorf("not wound yet, but runs down %v", at)
	}
	if at, ok := running(t, 0, wound(1)).RunsDown(day(2)); ok {
		t.Errorf("not hand-wound, but runs down %v", at)
	}
}

func TestWhen(t *testing.T) {
	r := running(t, 8*days, wound(0), wound(14), byHand(20), started(22)) // 8 + 6 + on from 22
	for _, c := range []struct{ run, after, want float64 }{
		{0, 0, 0}, {3, 0, 3}, {8, 0, 8}, {9, 0, 15}, {14, 0, 20}, {15, 0, 23}, {100, 0, 108}, {3, 5, 5},
	} {
		if got := r.When(c.run*24, day(c.after)); !got.Equal(day(c.want)) {
			t.Errorf("%v days of running are reached %v, want day %v", c.run, got, c.want)
		}
	}
	for _, hours := range []float64{math.NaN(), math.Inf(1), 1e12} {
		if got := r.When(hours, day0); !got.IsZero() {
			t.Errorf("%v hours are reached at %v", hours, got)
		}
	}
	stopped := running(t, 0, byHand(5))
	if got := stopped.When(6*24, day0); !got.IsZero() {
		t.Errorf("a stopped train reaches day six at %v", got)
	}
	if got := stopped.When(5*24, day0); !got.Equal(day(5)) {
		t.Errorf("a stopped train reaches day five at %v", got)
	}
}

func TestDuty(t *testing.T) {
	r := running(t, 0, byHand(30), started(60), byHand(90))
	near(t, "half", r.Duty(day0, day(60)), .5, 0)
	near(t, "backwards", r.Duty(day(60), day0), 0, 0)
	// Two stops of thirty days each, sixty days run: Beta(1+2, 1+2).
	beta := distuv.Beta{Alpha: 3, Beta: 3} // gonum's quantile
	low, middle, high := DutyBand(r.DutyDays(day0, day(120)))
	near(t, "low", low, beta.Quantile(.05), 1e-9)
	near(t, "middle", middle, .5, 1e-9)
	near(t, "high", high, beta.Quantile(.95), 1e-9)
	// Never stopped in a hundred days: the chance that it never does is open.
	low, _, high = DutyBand(running(t, 0).DutyDays(day0, day(100)))
	nearRel(t, "low of a steady one", low, math.Pow(.05, 1./101), 1e-9)
	nearRel(t, "high of a steady one", high, math.Pow(.95, 1./101), 1e-9)
	low, middle, high = DutyBand(r.DutyDays(day0, day0))
	near(t, "nothing known", low+middle+high, 1.5, 1e-9)
}

// TestRunningIsALedger: over many invented logs the totals are ordered,
// additive, never run faster than time, and When inverts them.
func TestRunningIsALedger(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	for range 300 {
		var events []RunEvent
		going, at := true, 0.0
		for range rng.IntN(40) {
			last := at
			at += rng.ExpFloat64() * 6
			switch k := rng.IntN(8); {
			case k < 4:
				events = append(events, wound(at))
			case k == 4:
				events = append(events, seen(at))
			case going && k == 5:
				events, going = append(events, byHand(at)), false
			case going && k == 6:
				events, going = append(events, found(at)), false
			case going:
				events, going = append(events, foundSince(at, (last+at)/2)), false
			default:
				events, going = append(events, started(at)), true
			}
		}
		r := running(t, time.Duration(rng.IntN(3))*4*days, events...)
		checkLedger(t, r, at+10, rng)
		if t.Failed() {
			t.Fatalf("events: %v", events)
		}
	}
}

func checkLedger(t *testing.T, r Running, end float64, rng *rand.Rand) {
	t.Helper()
	for range 50 {
		d := []float64{rng.Float64() * end, rng.Float64() * end, rng.Float64() * end}
		slices.Sort(d)
		a, b, c := day(d[0]), day(d[1]), day(d[2])
		ab, bc, ac := r.Between(a, b), r.Between(b, c), r.Between(a, c)
		near(t, "lower adds up", ab.Lower+bc.Lower, ac.Lower, 1e-9)
		near(t, "likely adds up", ab.Likely+bc.Likely, ac.Likely, 1e-9)
		near(t, "upper adds up", ab.Upper+bc.Upper, ac.Upper, 1e-9)
		near(t, "At agrees", r.At(c).Likely-r.At(a).Likely, ac.Likely, 1e-9)
		if hours := c.Sub(a).Hours(); !(0 <= ac.Lower && ac.Lower <= ac.Likely && ac.Likely <= ac.Upper && ac.Upper <= hours+1e-9) {
			t.Errorf("%v in %v h", ac, hours)
		}
		total := r.At(b).Likely
		if at := r.When(total, day0); at.After(b.Add(time.Second)) || math.Abs(r.At(at).Likely-total) > 1e-9 {
			t.Errorf("%v h are reached at %v, but were at %v", total, at, b)
		}
		if going := r.Going(b); going != (r.Between(b, b.Add(time.Second)).Likely > 0) {
			t.Errorf("going at %v: %v", b, going)
		}
	}
}
