package schedule

import (
	"math"
	"testing"
)

// Worked by hand from the table: 3 years of mineral oil, times a half in a dusty
// room, .7 with no sink, .8 damp, is .84; and what all factors together are held
// to.
func TestOilBelief(t *testing.T) {
	for _, c := range []struct {
		p             OilPoint
		damp, black   bool
		year          float64
		years, factor float64
	}{
		{OilPoint{Kind: MineralOil, Room: DustyRoom, NoSink: true}, true, false, 15, .84, 1.8},
		{OilPoint{Kind: MineralOil, Room: ClosedCase}, false, false, 15, 3, 1.8},
		{OilPoint{Kind: MineralOil, Room: ClosedCase}, false, false, math.NaN(), 3, 1.8},
		{OilPoint{Kind: SyntheticOil, Room: ClosedCase}, false, false, -40, 10, 1.8},                         // cold doubles it, no more
		{OilPoint{Kind: NaturalOil, Room: Wetted, NoSink: true, Fast: true}, true, true, 40, 1.5 * .15, 1.6}, // held to .15
		{OilPoint{Kind: Grease, Room: Sheltered}, false, false, 15, 1.5, 2},                                  // whose years are sheltered ones
	} {
		years, factor := c.p.Belief(Care{Damp: c.damp}, c.year, c.black)
		if math.Abs(years-c.years) > 1e-9 || factor != c.factor {
			t.Errorf("%+v at %g °C: %.6g years within %g, want %g within %g", c.p, c.year, years, factor, c.years, c.factor)
		}
	}
}
