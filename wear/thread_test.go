package wear

import (
	"math"
	"testing"
)

// Tapping holes of published charts, and figures worked by hand from the
// conventions: 1/4-20 at 75 % is 0.2013 in, so that the number 7 drill of 0.201
// leaves 75.4 % (tap drill charts); M8 with 6.8 mm leaves 73.9 %.
func TestTapping(t *testing.T) {
	near(t, "1/4-20", TappingHole(6.35, 1.27, .75, American.FullThread())/25.4, .201286, 1e-6)
	near(t, "1/4-20 by the minor diameter", TappingHole(6.35, 1.27, .75, Unified.FullThread())/25.4, .209405, 1e-6)
	near(t, "M6, 70 %", TappingHole(6, 1, .7, Metric.FullThread()), 5.090672, 1e-9)
	near(t, "1/4 Whitworth, 70 %", TappingHole(6.35, 1.27, .7, Whitworth.FullThread())/25.4, .205177, 1e-6)
	near(t, "2 BA, 75 %", TappingHole(4.7, .81, .75, BA.FullThread()), 3.971, 1e-9)
	near(t, "number 7 drill", 100*ThreadShare(6.35, 1.27, .201*25.4, American.FullThread()), 75.44, .005)
	near(t, "M8, 6.8", 100*ThreadShare(8, 1.25, 6.8, Metric.FullThread()), 73.9, .005)
}

// The two measures of a 60° thread by school geometry: a sharp thread is √3/2 of
// the pitch high; American National's basic depth is 3/4 of that, the ISO minor
// diameter lies 5/8 of it in; Whitworth's depth is 2/3 of a sharp one of 55°.
func TestFullThread(t *testing.T) {
	sharp := math.Sqrt(3) / 2
	near(t, "charts", ChartThread, 2*.75*sharp, 1e-5)
	near(t, "minor diameter", MinorThread, 2*.625*sharp, 1e-5)
	near(t, "Whitworth", Whitworth.FullThread(), 2*2./3*.5/math.Tan(27.5*math.Pi/180), 1e-6)
	if ThreadForm("square").FullThread() != 0 {
		t.Error("an unknown form has a full thread")
	}
	for _, f := range ThreadForms {
		full := f.FullThread()
		if !(full > 1 && full < 1.4) {
			t.Errorf("%s: %v pitches", f, full)
		}
		// The share that a hole leaves is the one that it was reckoned for.
		for share := .5; share <= 1; share += .05 {
			near(t, string(f), ThreadShare(6, .9, TappingHole(6, .9, share, full), full), share, 1e-12)
		}
	}
}
