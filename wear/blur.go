package wear

import "math"

// ReadingQuantile returns what a reading at exposure h, by a gauge of standard
// uncertainty sd, does not exceed with probability prob, between 0 and 1; in mm.
// A misreading is not reckoned with.
func (p Posterior) ReadingQuantile(h, sd, prob float64) float64 {
	level := p.LevelQuantile(h, prob)
	if math.IsNaN(level) || !(sd >= 0) {
		return math.NaN()
	}
	s2 := p.c * p.c * sd * sd
	far := max(8, 1/math.Sqrt(min(prob, 1-prob))) * math.Sqrt(s2)
	return solve(func(y float64) float64 { return p.readingBelow(h, y, s2) - prob }, level-far, level+far)
}
