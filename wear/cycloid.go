package wear

import "math"

// cycloidalDepth is the working depth, in modules, of a cycloidal wheel and
// the pinion it drives: the sum of their addenda. The pinion's are those of
// BS 978-2:1952, from a published table of its factors: other makers' pinions
// differ, so it is a size to compare with and no more.
func cycloidalDepth(wheel, leaves int) float64 {
	pinion := .625
	switch {
	case leaves <= 7:
		pinion = .855
	case leaves <= 9:
		pinion = .670
	}
	return CycloidalAddendum(wheel, leaves) + pinion
}

// CycloidalAddendum returns the addendum, in modules, of a cycloidal wheel of
// so many teeth that drives a pinion of so many leaves: 0.95 of the height at
// which the two flanks of a tooth meet, each an epicycloid of a circle of half
// the pinion's pitch radius rolling on the wheel's. It gives the factors that
// BS 978-2:1952 tabulates. Teeth and leaves must be above nothing.
func CycloidalAddendum(wheel, leaves int) float64 {
	pitch, rolling := float64(wheel)/2, float64(leaves)/4 // radii, module 1
	// The tip lies a quarter of the tooth's pitch from where the flank starts.
	quarter := math.Pi / (2 * float64(wheel))
	rolled := solve(func(b float64) float64 {
		sin, cos := math.Sincos(b)
		return b*rolling/pitch - math.Atan2(rolling*sin, pitch+rolling-rolling*cos) - quarter
	}, 0, math.Pi)
	centre := pitch + rolling
	tip := math.Sqrt(centre*centre + rolling*rolling - 2*rolling*centre*math.Cos(rolled))
	return .95 * (tip - pitch)
}
