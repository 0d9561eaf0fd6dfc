package wear

import "math"

// HoistDiscard is how many broken wires in one lay put a mine hoist's rope out
// of use in the United States: in the whole rope, more than 5 % of its wires;
// in one strand, more than 15 % of the strand's (30 CFR 56.19024). Of another
// trade: something to compare a clock's line with, and no more.
func HoistDiscard(strands, wires int) (rope, strand int) {
	over := func(share, of int) int { return int(math.Floor(float64(share*of)/100)) + 1 }
	return over(5, strands*wires), over(15, wires)
}

// RopeLength is the line in metres that a weight on so many parts needs: each
// part from the pulley at the top down to the weight at its lowest, and besides
// the lead from the barrel to the top and what stays spare on the barrel. drop is
// from the top pulley to the floor, clear what stays free above the floor, and
// hung how far the weight's own pulley and hook reach down.
func RopeLength(parts int, drop, clear, hung, lead, spare float64) float64 {
	return float64(parts)*(drop-clear-hung) + lead + spare
}
