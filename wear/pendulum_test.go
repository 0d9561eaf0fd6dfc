package wear

import (
	"math"
	"testing"
)

// TestPendulum holds the arithmetic of pendulums to published figures. Where
// the book rounds, the closer value is worked out from its own formula with
// Python 3.11.
func TestPendulum(t *testing.T) {
	const inch, inHg = 25.4, 33.8638866667 // mm, and hPa of an inch of mercury (NIST SP 811)
	seconds := PendulumLength(1)
	radians := func(r float64) float64 { return r * 180 / math.Pi }
	for _, c := range []struct {
		source         string
		got, want, abs float64
	}{
		// Beckett, A Rudimentary Treatise on Clocks, Watches and Bells, 8th ed., 1903.
		{"p. 35: from 2½ to 2° is rather less than 4 s a day", CircularLoss(2.5) - CircularLoss(2), 3.70, .05},
		{"p. 35, exactly", CircularLoss(2.5) - CircularLoss(2), 3.701764, 1e-6},
		{"p. 35: 2° and 10' more, very nearly 1 s a day", CircularLoss(2+10./60) - CircularLoss(2), 1.10, .05},
		{"p. 35, exactly", CircularLoss(2+10./60) - CircularLoss(2), 1.142489, 1e-6},
		{"p. 35: 5400 a² at 2°", CircularLoss(2), 5400 * math.Pow(math.Pi/90, 2), 1e-3},
		{"p. 35, exactly, by SciPy 1.10.1 ellipk", CircularLoss(2), 6.580196, 1e-6},
		{"p. 50: a thread of length/720 gives a minute a turn", NutRate(FromMM(1000*seconds/720), seconds), 60, .1},
		{"p. 50: 1/18 in. on a seconds pendulum of 39.14 in.", NutRate(FromMM(inch/18), 39.14*inch/1000), 61.3, .5},
		{"p. 51: M/10800 at mid-length gains a second", AddedRate(1./10800, .5), 1, 1e-3},
		// He prints M/7200 at a third; by the formula beside it, it is M/9600.
		{"p. 51, his formula: M/9600 at a third", AddedRate(1./9600, 1./3), 1, 1e-3},
		{"p. 51, his formula: and at two thirds", AddedRate(1./9600, 2./3), 1, 1e-3},
		{"p. 51: a thousandth at mid-length, exactly", AddedRate(1e-3, .5), 10.796626, 1e-6},
		// The published effect is 0.4 s; the mass of the coin is from memory.
		{"BBC: a penny of 9.4 g on the 310 kg of Westminster", AddedRate(.0094/310, .5), .4, .25 * .4},
		{"p. 52: iron over 30 °F is a minute a week", -7 * 30 * HeatRate(7.0), 63.5, .1},
		{"p. 52, as he rounds it", -7 * 30 * HeatRate(7.0), 60, .08 * 60},
		{"p. 52: brass a minute in 5 days", -5 * 30 * HeatRate(10.0), 64.8, .1},
		{"p. 52: deal a minute in 3 weeks", -21 * 30 * HeatRate(2.3), 62.6, .1},
		{"p. 52: and 20 s in one", -7 * 30 * HeatRate(2.3), 20, 1},
		// An encyclopaedia prints 0.27 s per °C beside 16 s for 33 °C (60 °F): the
		// second is right, the first is by the degree Fahrenheit.
		{"steel of 11.3 ppm over 33 °C", -33 * HeatRate(11.3), 16, .2},
		{"and one degree Celsius", -HeatRate(11.3), .488, 1e-3},
		{"and one degree Fahrenheit", -HeatRate(11.3) / 1.8, .27, 2e-3},
		{"over 60 °F exactly", -HeatRate(11.3) * 60 / 1.8, 16.272, 1e-9},
		// Rates by 43,200 times the coefficient, per °C.
		{"steel", -HeatRate(11.5), .4968, 1e-9},
		{"brass", -HeatRate(19), .8208, 1e-9},
		{"Invar", -HeatRate(1.2), .05184, 1e-9},
		{"deal", -HeatRate(4.14), .178848, 1e-9},
		// Trinity College, Cambridge, its clock's pages.
		{"605 ms a day a degree is 14.0 ppm", .605 / -HeatRate(1), 14.0, .05},
		{"8.6 ms a day a millibar is 0.3 s an inch (Beckett p. 73)", .0086 * inHg, .3, .015},
		{"the same, closer", .0086 * inHg, .291, 1e-3},
		{"0.3 s an inch by the hectopascal", .3 / inHg, .008858991, 1e-8},
		{"4 to 3° gains 11.5 s (a page says 11)", CircularLoss(4) - CircularLoss(3), 11.5, .1},
		{"a seconds pendulum at standard gravity", seconds, .993621, 1e-6},
		{"one of two seconds is four times as long", PendulumLength(2), 4 * seconds, 1e-12},
		{"20 kg and 1 s a day", AddedRate(1.851852e-3/20, .5), 1, 1e-4},
		{"a vanishing arc", CircularLoss(0), 0, 0},
		{"5400 is the first term", CircularLoss(radians(1e-3)) / 1e-6, 5400, .01},
	} {
		if !(math.Abs(c.got-c.want) <= c.abs) {
			t.Errorf("%s: got %.7g, want %.7g ± %g", c.source, c.got, c.want, c.abs)
		}
	}
	// The printed 7200 at a third is a third too strong.
	if got := AddedRate(1./7200, 1./3); math.Abs(got-4./3) > 2e-3 {
		t.Errorf("M/7200 at a third gives %v s, want 4/3", got)
	}
}

// TestTolerances: what is published by the week (turret clock keeper's handbook,
// p. 17; Beckett 1903, p. 247), as rates.
func TestTolerances(t *testing.T) {
	for week, want := range map[float64]float64{60: 8.57, 15: 2.14, 5: .71} {
		r, ok := FitRate([]float64{0, 7, 14}, []float64{0, week, 2 * week}, 2)
		if !ok || math.Abs(r.PerDay-want) > .01 {
			t.Errorf("%v s a week: got %v, want %v s a day", week, r.PerDay, want)
		}
	}
}
