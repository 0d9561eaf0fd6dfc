package wear

import (
	"fmt"
	"math"
)

// Weight is what drives a hand-wound train: a weight on a line round a barrel.
type Weight struct {
	Fall   Length `json:"fall,omitempty"`   // vertical room the weight has
	Barrel Length `json:"barrel,omitempty"` // diameter of the barrel
	Line   Length `json:"line,omitempty"`   // diameter of the line
	Lines  int    `json:"lines,omitempty"`  // purchase: parts of line at the weight; 0 is 1
	// Turns of the barrel in a full wind; 0: as many as the fall gives.
	Turns float64 `json:"turns,omitempty"`
	// TurnHours is how long one turn of a going train's barrel runs; 0: as the
	// gearing gives.
	TurnHours float64 `json:"turnHours,omitempty"`
	// TurnBlows is the hammer lifts in one turn of a striking train's barrel.
	TurnBlows float64 `json:"turnBlows,omitempty"`
	// Gears lead from the great wheel to an arbor that turns once in GearHours.
	Gears     []Gear  `json:"gears,omitempty"`
	GearHours float64 `json:"gearHours,omitempty"`
}

// Gear is a wheel and the pinion that it drives, by teeth and leaves.
type Gear struct {
	Wheel  int `json:"wheel"`
	Pinion int `json:"pinion"`
}

// Ratio is how many turns the last pinion of a train of wheels makes to one of
// its first wheel.
func Ratio(gears []Gear) float64 {
	r := 1.0
	for _, g := range gears {
		r *= float64(g.Wheel) / float64(g.Pinion)
	}
	return r
}

// parts is the purchase.
func (w Weight) parts() float64 { return float64(max(1, w.Lines)) }

// Paid is the line that one turn of the barrel pays out, in millimetres, in a
// single layer: π times barrel and line (Beckett 1903; plain geometry).
func (w Weight) Paid() float64 { return math.Pi * (w.Barrel + w.Line).MM() }

// FullTurns is the turns of the barrel in a full wind; 0 where not known.
func (w Weight) FullTurns() float64 {
	switch {
	case w.Turns > 0:
		return w.Turns
	case w.Fall <= 0 || w.Barrel <= 0:
		return 0
	}
	return w.Fall.MM() * w.parts() / w.Paid()
}

// TurnsOf is the turns of the barrel that let the weight fall so far: by the
// whole fall where its turns were counted, else by the barrel; 0 where not
// known.
func (w Weight) TurnsOf(fall Length) float64 {
	switch {
	case w.Turns > 0 && w.Fall > 0:
		return w.Turns * float64(fall) / float64(w.Fall)
	case w.Barrel > 0:
		return fall.MM() * w.parts() / w.Paid()
	}
	return 0
}

// HoursPerTurn is how long one turn of a going train's barrel runs; 0 where not
// known.
func (w Weight) HoursPerTurn() float64 {
	if w.TurnHours > 0 || len(w.Gears) == 0 {
		return w.TurnHours
	}
	return w.GearHours * Ratio(w.Gears)
}

// RopeLength is the line in metres that a weight on so many parts needs: each
// part from the pulley at the top down to the weight at its lowest, and besides
// the lead from the barrel to the top and what stays spare on the barrel. drop is
// from the top pulley to the floor, clear what stays free above the floor, and
// hung how far the weight's own pulley and hook reach down.
func RopeLength(parts int, drop, clear, hung, lead, spare float64) float64 {
	return float64(parts)*(drop-clear-hung) + lead + spare
}

// Validate reports the first thing that cannot be right about a weight.
func (w Weight) Validate() error {
	for _, p := range []struct {
		name string
		size Length
		most Length
	}{{"fall", w.Fall, MaxLength}, {"barrel", w.Barrel, 5000 * Millimetre}, {"line", w.Line, 100 * Millimetre}} {
		if p.size < 0 || p.size > p.most {
			return fmt.Errorf("the %s of the weight, %v, must be between nothing and %v: check the unit", p.name, p.size, p.most)
		}
	}
	switch {
	case w.Lines < 0 || w.Lines > 8:
		return fmt.Errorf("a weight on %d parts of line cannot be right: count the parts at the weight, usually 1 to 3", w.Lines)
	case !(w.Turns >= 0) || w.Turns > 10000:
		return fmt.Errorf("%v turns of a full wind cannot be right: count those of the barrel", w.Turns)
	case !(w.TurnHours >= 0) || w.TurnHours > 10000 || !(w.GearHours >= 0) || w.GearHours > 10000:
		return fmt.Errorf("a barrel turn of %v h, or an arbor of %v h, cannot be right", w.TurnHours, w.GearHours)
	case !(w.TurnBlows >= 0) || w.TurnBlows > 1000:
		return fmt.Errorf("%v blows to a turn of the barrel cannot be right: count the lifting pins", w.TurnBlows)
	}
	return w.validateGears()
}

func (w Weight) validateGears() error {
	if len(w.Gears) > 12 {
		return fmt.Errorf("a train of %d wheels cannot be right: give those from the great wheel on, one pair each", len(w.Gears))
	}
	for _, g := range w.Gears {
		if g.Wheel < 6 || g.Wheel > 1000 || g.Pinion < 4 || g.Pinion > 200 {
			return fmt.Errorf("a wheel of %d teeth driving a pinion of %d leaves cannot be right: write wheel first, as 120:10", g.Wheel, g.Pinion)
		}
		if g.Wheel <= g.Pinion {
			return fmt.Errorf("a wheel of %d teeth cannot step a train up through %d leaves: write wheel first, as 120:10", g.Wheel, g.Pinion)
		}
	}
	if (len(w.Gears) > 0) != (w.GearHours > 0) {
		return fmt.Errorf("a gearing needs both its wheels and the hours in which the last arbor turns once")
	}
	return nil
}
