package wear

import "math"

// warp turns sizes into a scale on which wear goes evenly: on it a size grows by
// the rate alone, and so the size itself by the rate times exp(k y). A k above
// nothing is wear that quickens as it goes deeper, one below is wear that slows.
// Below nothing and beyond reach, the deepest that anybody has seen, the rate
// goes on as it is there.
type warp struct{ k, reach float64 }

// to returns a size on the even scale, and the slope of the scale there.
func (w warp) to(y float64) (u, slope float64) {
	switch {
	case w.k == 0 || y <= 0:
		return y, 1
	case y <= w.reach:
		return -math.Expm1(-w.k*y) / w.k, math.Exp(-w.k * y)
	}
	slope = math.Exp(-w.k * w.reach)
	return -math.Expm1(-w.k*w.reach)/w.k + slope*(y-w.reach), slope
}

// from is the size at a place on the even scale.
func (w warp) from(u float64) float64 {
	if w.k == 0 || u <= 0 {
		return u
	}
	if end, slope := w.to(w.reach); u > end {
		return w.reach + (u-end)/slope
	}
	return -math.Log1p(-w.k*u) / w.k
}
