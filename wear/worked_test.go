package wear

import (
	"math"
	"testing"
)

// The volume worn from a bush by Archard's law, and its depth by the exact
// crescent: computed once with SciPy 1.10.1 (root of the lens area).
func TestBushVolume(t *testing.T) {
	const k, load, revs, long, pivot, bore = 2e-5, 30.0, 876600.0, 12.0, 5.0, 5.05
	volume := k * load * math.Pi * 2 * pivot * revs * 1e-3
	if math.Abs(volume-16.523521) > 1e-6*16.523521 {
		t.Errorf("volume = %.7f mm³, want 16.523521", volume)
	}
	h := BushDepthExact(k, load, revs, long, bore, pivot)
	if got := long * CrescentArea(bore, pivot, h); math.Abs(got-volume) > 1e-6*volume {
		t.Errorf("the depth %.8f mm takes away %.7f mm³, want the %.7f that wore", h, got, volume)
	}
}

// Pressure times speed of a hanging rod on its washer, and the unit that
// handbook limits come in: 1 psi ft/min = 3.5025e-5 MPa m/s (NIST SP 811
// factors: 6894.757 Pa, 0.3048 m, 60 s).
func TestPressureTimesSpeed(t *testing.T) {
	weight := RodWeight(2438.4, 12.7, 7850)
	pv := Pressure(weight, 12, 6.5) * SlidingPerHour(9.25, 1) / 3600
	if math.Abs(pv-1.200957e-6) > 1e-6*1.200957e-6 {
		t.Errorf("PV = %.7g MPa m/s, want 1.200957e-6", pv)
	}
	if got := 75000 * 6894.757e-6 * 0.3048 / 60; math.Abs(got-2.626902) > 1e-6*2.626902 {
		t.Errorf("75,000 psi ft/min = %.6f MPa m/s, want 2.626902", got)
	}
}
