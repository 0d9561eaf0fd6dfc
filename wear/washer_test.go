package wear

import (
	"math/rand/v2"
	"testing"
)

// Worked by hand. A shoulder that runs 0.90 mm deep in a pocket: facing of 1.00
// mm takes 0.10 off where it bears, not 1.00.
func TestWasherArithmetic(t *testing.T) {
	for _, c := range []struct{ facing, pocket, want float64 }{{1, .9, .1}, {.9, .9, 0}, {.5, .9, 0}, {.5, 0, .5}, {0, 0, 0}} {
		near(t, "faced off", FacedOff(c.facing, c.pocket), c.want, 1e-12)
	}
	near(t, "left", EndShakeAfter(1.15, FacedOff(1, .9), 1), .25, 1e-12)
	near(t, "counted wrong", EndShakeAfter(1.15, 1, 1), 1.15, 1e-12)
	near(t, "washer", WasherFor(.60, 0, .25), .35, 1e-12)
	near(t, "with stock", EndShakeAfter(.60, 0, .30), .30, 1e-12)
	near(t, "it binds", EndShakeAfter(.2, 0, .3), -.1, 1e-12)
}

// The washer that is worked out leaves what was wanted, whatever the sizes; two
// alike leave the wheel in the middle, and changing them over moves it to the
// other side as far.
func TestWasherProperties(t *testing.T) {
	const seed = 7
	t.Logf("seed %d", seed)
	rng := rand.New(rand.NewPCG(seed, 1))
	for range 1000 {
		e, f, p, want := 3*rng.Float64(), rng.Float64(), rng.Float64(), .1+.4*rng.Float64()
		m := FacedOff(f, p)
		if m < 0 || m > f {
			t.Fatalf("a facing of %g over a pocket of %g takes off %g", f, p, m)
		}
		near(t, "left as wanted", EndShakeAfter(e, m, WasherFor(e, m, want)), want, 1e-12)
		near(t, "two alike", WheelShift(f, 0, f), 0, 0)
		near(t, "changed over", WheelShift(f, 0, p)+WheelShift(p, 0, f), 0, 1e-15)
		near(t, "a washer as thick as the facing", WheelShift(f, f, 0), 0, 0)
	}
	// All wear w on one end puts the wheel w/2 off the middle of its end-shake as
	// it was; a washer of w there moves the middle back by as much.
	near(t, "one end", WheelShift(.8, 0, 0), .4, 1e-15)
}
