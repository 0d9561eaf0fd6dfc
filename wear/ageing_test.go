package wear

import (
	"math"
	"math/rand/v2"
	"testing"
)

func allYear(celsius float64) (months [12]float64) {
	for i := range months {
		months[i] = celsius
	}
	return months
}

// khonsari is the slope of log10 of life over the reciprocal temperature in
// Khonsari and Booser, Predicting lube life, Machine Design, 9 Jan 2003, as an
// activation energy in J/mol.
var khonsari = 4750 * math.Ln10 * gasConstant

// Computed independently (SciPy 1.10.1).
func TestEquivalentTemperature(t *testing.T) {
	near(t, "activation energy", khonsari, 90937.6, 1)
	for ea, want := range map[float64]float64{51200: 12.38026, 70000: 13.21188, 90937.6: 14.02645} {
		near(t, "a sine of 12 about 10", EquivalentTemperature(allYear(10), 12, ea), want, 1e-3)
	}
	year := [12]float64{-4, -3, 2, 8, 14, 19, 22, 21, 17, 10, 4, -2}
	near(t, "a cold year", EquivalentTemperature(year, 0, 51200), 11.77643, 1e-4)
	near(t, "a cold year, stronger", EquivalentTemperature(year, 0, 90930), 13.63352, 1e-4)
	near(t, "always alike", EquivalentTemperature(allYear(10), 0, OilActivation), 10, 1e-9)
	// Life shortens by this from t to t+10, so a year half at each ages as at
	// the temperature of the mean rate.
	for at, want := range map[float64]float64{0: 4.11294, 20: 3.42372, 120: 1.99383} {
		rate := math.Exp(khonsari / gasConstant * (1/(at+kelvin) - 1/(at+10+kelvin)))
		nearRel(t, "ten degrees", rate, want, 1e-4)
		half := allYear(at)
		for i := range 6 {
			half[i] = at + 10
		}
		teq := EquivalentTemperature(half, 0, khonsari)
		nearRel(t, "half of each", math.Exp(khonsari/gasConstant*(1/(at+kelvin)-1/(teq+kelvin))), (1+want)/2, 1e-4)
	}
}

// It lies between the mean and the hottest, and what cannot be is no number.
func TestEquivalentTemperatureBounds(t *testing.T) {
	const seed = 41
	r := rand.New(rand.NewPCG(seed, 1))
	for range 200 {
		var m [12]float64
		mean, top := 0.0, -100.0
		for i := range m {
			m[i] = 40*r.Float64() - 10
			mean, top = mean+m[i]/12, math.Max(top, m[i])
		}
		daily := 8 * r.Float64()
		for _, ea := range []float64{5000, OilActivation, 120000} {
			if got := EquivalentTemperature(m, daily, ea); got < mean || got > top+daily {
				t.Errorf("seed %d: %v of mean %v and most %v", seed, got, mean, top+daily)
			}
		}
	}
	for _, bad := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), -300} {
		if got := EquivalentTemperature(allYear(bad), 3, OilActivation); got > -kelvin && !math.IsInf(bad, 1) {
			t.Errorf("a year of %v ages as at %v", bad, got)
		}
		if f := TemperatureFactor(EquivalentTemperature(allYear(bad), 3, OilActivation)); !(f >= .5 && f <= 2) {
			t.Errorf("a year of %v has the factor %v", bad, f)
		}
	}
}

// Computed independently (SciPy 1.10.1); held to between a half and two.
func TestTemperatureFactor(t *testing.T) {
	for celsius, want := range map[float64]float64{10: 1.556179, 15: 1, 20: .652367, 0: 2, 30: .5, -400: 2, 1e300: .5} {
		near(t, "factor", TemperatureFactor(celsius), want, 1e-6)
	}
	if TemperatureFactor(math.NaN()) != 1 {
		t.Error("a temperature that is not known moves the life")
	}
}

// The first oil is the worked one of a published calculator of ASTM D341
// charts, which takes 273 for zero: 8.5 mm²/s at 80 °C. The others are computed
// independently (SciPy 1.10.1), with the dynamic viscosity of a VG 100 oil of
// 900 kg/m³ at -15 °C.
func TestViscosity(t *testing.T) {
	vg32, vg100 := Viscosity{32, 5.4}, Viscosity{100, 11.2}
	near(t, "at 80 °C, as published", vg32.At(80), 8.5, .05)
	for celsius, want := range map[float64]float64{80: 8.5332, 20: 86.2779, 0: 335.9996, -15: 1326.146, 40: 32, 100: 5.4} {
		nearRel(t, "VG 32", vg32.At(celsius), want, 1e-5)
	}
	near(t, "VG 100 in Pa s", vg100.At(-15)*1e-6*900, 8.477485, 1e-4)
	for _, bad := range []Viscosity{{}, {5, 5}, {4, 9}, {math.NaN(), 1}, {10, math.NaN()}, {10, -1}} {
		if v := bad.At(20); !math.IsNaN(v) {
			t.Errorf("%v gives %v", bad, v)
		}
	}
	if !math.IsNaN(vg32.At(-300)) || !math.IsNaN(vg32.At(math.NaN())) {
		t.Error("colder than anything can be")
	}
	last := math.Inf(1)
	for c := -40.0; c < 120; c += 5 {
		if v := vg32.At(c); !(v < last) {
			t.Errorf("thicker at %v °C than colder", c)
		} else {
			last = v
		}
	}
}

// An oil of 5,003 mm²/s at -15 °C (computed independently for a VG 68) is too
// stiff there for an escapement and not for a barrel.
func TestTooCold(t *testing.T) {
	vg68 := Viscosity{68, 8.7}
	nearRel(t, "VG 68", vg68.At(-15), 5003, 1e-3)
	for _, tt := range []struct {
		celsius, pour float64
		light, want   bool
	}{
		{-15, -30, true, true}, {-15, -30, false, false}, {-15, -18, false, true}, {20, -30, true, false},
		{-15, math.NaN(), true, true}, {-15, math.NaN(), false, false}, {math.NaN(), -30, true, false}, {-29, math.NaN(), false, true},
	} {
		if got := vg68.TooCold(tt.celsius, tt.pour, tt.light); got != tt.want {
			t.Errorf("at %v °C (%v mm²/s), pour point %v, light %v: %v", tt.celsius, vg68.At(tt.celsius), tt.pour, tt.light, got)
		}
	}
	if (Viscosity{}).TooCold(-20, math.NaN(), true) {
		t.Error("nothing is known of it")
	}
}

// Oils of the usual grades at -15 °C in mm²/s, from their viscosities at 40 and
// 100 °C: computed independently (SciPy 1.10.1), as printed to three or four
// digits.
func TestViscosityOfGrades(t *testing.T) {
	for _, tt := range []struct{ at40, at100, cold float64 }{
		{10, 2.65, 144}, {22, 4.3, 651}, {32, 5.4, 1326}, {46, 6.8, 2516}, {68, 8.7, 5003}, {100, 11.2, 9419}, {220, 18.9, 32855},
	} {
		v := Viscosity{tt.at40, tt.at100}
		nearRel(t, "cold", v.At(-15), tt.cold, 4e-3)
		nearRel(t, "at 40 °C", v.At(40), tt.at40, 1e-9)
		nearRel(t, "at 100 °C", v.At(100), tt.at100, 1e-9)
		// An oil too stiff for a barrel is too stiff for a fly.
		for c := -30.0; c < 30; c += 3 {
			if v.TooCold(c, -40, false) && !v.TooCold(c, -40, true) {
				t.Errorf("%v at %v °C: good for a fly and not for a barrel", v, c)
			}
		}
	}
}

// Warmth never lengthens a life, and one degree never moves it by a tenth.
func TestTemperatureFactorFalls(t *testing.T) {
	last := TemperatureFactor(-60)
	for c := -59.0; c < 80; c++ {
		f := TemperatureFactor(c)
		if f > last || f < .9*last {
			t.Errorf("from %v to %v at %v °C", last, f, c)
		}
		last = f
	}
}
