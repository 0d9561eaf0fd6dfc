package chart

import (
	"math"
	"time"

	"endshake/schedule"
)

// fanPoint is what is to be expected of the level at one instant: its 10, 25,
// 50, 75 and 90 % points in mm.
type fanPoint struct {
	t float64
	q [5]float64
}

// fanParts is the number of stretches that the time ahead is cut into, shorter
// ones first, where the bands bend. Each costs five quantiles of the posterior,
// which is most of what a chart costs.
const fanParts = 10

// fanOf gives the fan from today to a later instant; nothing where no level is
// known.
func fanOf(o schedule.Outlook, now, until time.Time) []fanPoint {
	if !o.Known || !until.After(now) {
		return nil
	}
	var fan []fanPoint
	for i := range fanParts + 1 {
		share := float64(i*i) / (fanParts * fanParts)
		t := now.Add(time.Duration(share * float64(until.Sub(now))))
		f := fanPoint{t: seconds(t)}
		for k, prob := range []float64{.10, .25, .50, .75, .90} {
			f.q[k] = levelAt(o, t.Sub(now), prob)
		}
		if !math.IsNaN(f.q[0]) && !math.IsInf(f.q[4], 0) && !math.IsNaN(f.q[4]) {
			fan = append(fan, f)
		}
	}
	return fan
}

// drawFan draws the 80 % band, the 50 % band within it, and the middle as a
// dashed line, each with its words.
func (d *bearingChart) drawFan(p *pen) {
	if len(d.fan) < 2 {
		return
	}
	d.drawBand(p, 0, 4, 0x26)
	d.drawBand(p, 1, 3, 0x40)
	var mid []point
	for _, f := range d.fan {
		if f.q[2] > d.y.high {
			break
		}
		mid = append(mid, d.at(f.t, max(f.q[2], d.y.low)))
	}
	p.line(brass, plain, mid, 5, 3)
}

// drawBand fills between two of the points of the fan, up to the top of the
// chart.
func (d *bearingChart) drawBand(p *pen, low, high int, opacity uint8) {
	var pts []point
	for _, f := range d.fan {
		pts = append(pts, d.at(f.t, max(f.q[high], d.y.low)))
	}
	for i := len(d.fan) - 1; i >= 0; i-- {
		pts = append(pts, d.at(d.fan[i].t, max(d.fan[i].q[low], d.y.low)))
	}
	c := brass
	c.A = opacity
	p.fill(c, below(pts, d.y.to))
}

// below cuts a polygon off at a height (after Sutherland and Hodgman, Commun.
// ACM 17, 1974, for the one edge).
func below(pts []point, top float64) []point {
	var out []point
	for i, b := range pts {
		a := pts[(i+len(pts)-1)%len(pts)]
		if (a.y > top) != (b.y > top) {
			out = append(out, point{a.x + (b.x-a.x)*(top-a.y)/(b.y-a.y), top})
		}
		if b.y <= top {
			out = append(out, b)
		}
	}
	return out
}

// fanAt is the height of one of the fan's points at a place on the picture.
func (d *bearingChart) fanAt(x float64, k int) float64 {
	for i := 1; i < len(d.fan); i++ {
		a, b := d.at(d.fan[i-1].t, d.fan[i-1].q[k]), d.at(d.fan[i].t, d.fan[i].q[k])
		if x <= b.x && b.x > a.x {
			return a.y + (b.y-a.y)*(x-a.x)/(b.x-a.x)
		}
	}
	return d.y.at(d.fan[len(d.fan)-1].q[k])
}
