package wear

import "math"

// Gravity is the standard acceleration of free fall in m/s² (ISO 80000-3).
const Gravity = 9.80665

// Rates here are in seconds a day, + gaining.

// PendulumLength is the length in metres of a simple pendulum of so many
// seconds a beat (half a period).
func PendulumLength(beat float64) float64 { return Gravity * (beat / math.Pi) * (beat / math.Pi) }

// NutRate is the rate of one turn of a rating nut that raises the bob by a
// pitch: to first order 43,200 pitch/length (Beckett 1903, p. 50).
func NutRate(pitch Length, metres float64) float64 { return 43200 * pitch.MM() / (1000 * metres) }

// AddedRate is the rate that comes of a small mass put on a pendulum whose bob
// has another, at a share of the length below the suspension: it gains, most at
// mid-length. To first order 43,200 m/M x(1-x), which is 10,800 m/M at
// mid-length and 9,600 m/M at a third; Beckett (1903, p. 51) prints 7,200 for
// the third, which does not follow from the formula beside it. This is exact.
func AddedRate(ratio, share float64) float64 {
	return 86400 * (math.Sqrt((1+ratio*share)/(1+ratio*share*share)) - 1)
}

// CircularLoss is what a pendulum loses, in seconds for each day that its clock
// shows, by swinging a semi-arc of so
// many degrees instead of a vanishing one: exact, by the arithmetic-geometric
// mean. To first order 5,400 times the square of the radians (Beckett 1903, p. 35).
func CircularLoss(degrees float64) float64 {
	// The period is that of small swings over the mean of 1 and cos(a/2).
	a, b := 1.0, math.Cos(degrees*math.Pi/360)
	for range 8 {
		a, b = (a+b)/2, math.Sqrt(a*b)
	}
	return 86400 * (1/a - 1)
}

// HeatRate is the rate of one degree Celsius more on a rod that grows by so
// many millionths a degree.
func HeatRate(millionths float64) float64 { return -43200 * millionths * 1e-6 }

// The same by rule of thumb, to first order, as a book and a pencil give it.

// CircularRule is what a semi-arc of so many degrees loses in a day: 5,400
// times the square of its radians (Beckett 1903, p. 35).
func CircularRule(degrees float64) float64 { return 5400 * radians(degrees) * radians(degrees) }

// AddedRule is the rate of a small mass as a share of the bob's, put on at a
// share of the length: 43,200 m/M x(1-x) (Beckett 1903, p. 51).
func AddedRule(ratio, share float64) float64 { return 43200 * ratio * share * (1 - share) }

// MillionthsFor is the growth of a rod in millionths a degree that explains a
// rate found for a degree: the inverse of [HeatRate].
func MillionthsFor(rate float64) float64 { return -rate / 43200 * 1e6 }
