package chart

import (
	"math"
	"strconv"
	"time"
)

// scale maps values from low to high onto a stretch of the picture.
type scale struct{ low, high, from, to float64 }

func (s scale) at(v float64) float64 {
	if !(s.high > s.low) {
		return s.from
	}
	return s.from + (v-s.low)/(s.high-s.low)*(s.to-s.from)
}

// of is the length that a size takes up on the picture.
func (s scale) of(v float64) float64 { return s.at(s.low+v) - s.at(s.low) }

// clamp keeps a value within the scale.
func (s scale) clamp(v float64) float64 { return math.Min(math.Max(v, s.low), s.high) }

// seconds is calendar time as a number for a scale: seconds, exact enough.
func seconds(t time.Time) float64 { return float64(t.Unix()) }

// niceStep is the smallest of 1, 2, 5 times a power of ten at or above v.
func niceStep(v float64) float64 {
	if !(v > 0) || math.IsInf(v, 0) {
		return 1
	}
	power := math.Pow(10, math.Floor(math.Log10(v)))
	for _, m := range []float64{1, 2, 5} {
		if m*power >= v*(1-1e-9) {
			return m * power
		}
	}
	return 10 * power
}

// ticks gives round values within the scale, at most about n of them.
func (s scale) ticks(n int) (values []float64, step float64) {
	step = niceStep((s.high - s.low) / float64(n))
	for i := math.Ceil(s.low/step - 1e-9); i*step <= s.high*(1+1e-12) && len(values) < 50; i++ {
		values = append(values, i*step+0) // never minus nothing
	}
	return values, step
}

// figure prints a tick with the decimals that its step needs.
func figure(v, step float64) string {
	decimals := max(0, int(math.Ceil(-math.Log10(step)-1e-9)))
	return strconv.FormatFloat(v, 'f', decimals, 64)
}

// yearTicks gives the New Years within the scale, far enough apart to be read.
func yearTicks(s scale, zone *time.Location, apart float64) []time.Time {
	first := time.Unix(int64(s.low), 0).In(zone).Year()
	last := time.Unix(int64(s.high), 0).In(zone).Year()
	perYear := (s.to - s.from) / math.Max(1, (s.high-s.low)/(365.25*86400))
	step := int(math.Max(1, niceStep(apart/math.Max(perYear, 1e-6))))
	var out []time.Time
	for y := first - first%step; y <= last && len(out) < 100; y += step {
		t := time.Date(y, 1, 1, 0, 0, 0, 0, zone)
		if v := seconds(t); v >= s.low && v <= s.high {
			out = append(out, t)
		}
	}
	return out
}
