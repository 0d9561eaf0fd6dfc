package chart

import (
	"math"
	"slices"
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

// fanOf gives the fan from today to a later instant; nothing where what is
// known carries no forecast.
func fanOf(o schedule.Outlook, now, until time.Time) []fanPoint {
	if !foreseen(o) || !until.After(now) {
		return nil
	}
	var fan []fanPoint
	for i := range fanParts + 1 {
		share := float64(i*i) / (fanParts * fanParts)
		t := now.Add(time.Duration(share * float64(until.Sub(now))))
		f := fanPoint{t: seconds(t)}
		for k, prob := range []float64{.10, .25, .50, .75, .90} {
			f.q[k] = levelAt(o, t, prob)
		}
		if !math.IsNaN(f.q[0]) && !math.IsInf(f.q[4], 0) && !math.IsNaN(f.q[4]) {
			fan = append(fan, f)
		}
	}
	return widened(o, fan)
}

// points are how many deviations of a normal law the points of a fan lie above its
// middle.
var points = [5]float64{-1.2815515655446004, -.6744897501960817, 0, .6744897501960817, 1.2815515655446004}

// widened sets the edges of a fan further apart, as the dates that are stated are,
// by how much the running to come may differ from what it was.
func widened(o schedule.Outlook, fan []fanPoint) []fanPoint {
	n := len(fan)
	if n < 2 {
		return fan
	}
	instant := func(t float64) time.Time { return time.Unix(int64(t), 0) }
	middle := make([]point, n)
	for i, f := range fan {
		middle[i] = point{f.q[2], f.t} // when it is as likely as not
	}
	out := slices.Clone(fan)
	for k, z := range points {
		if z == 0 {
			continue
		}
		edge := make([]point, n)
		for i, f := range fan {
			edge[i] = point{seconds(o.Widened(instant(f.t), instant(along(middle, f.q[k])), z)), f.q[k]}
		}
		for i := range out {
			out[i].q[k] = along(edge, fan[i].t)
		}
	}
	return out
}

// along is the height of a path at a place, beyond its ends straight on.
func along(path []point, x float64) float64 {
	i := 1
	for i < len(path)-1 && path[i].x < x {
		i++
	}
	a, b := path[i-1], path[i]
	if !(b.x > a.x) {
		return b.y
	}
	return a.y + (b.y-a.y)*(x-a.x)/(b.x-a.x)
}

// drawFan draws the 80 % band, the 50 % band within it, and the middle as a
// dashed line, each with its words.
func (d *bearingChart) drawFan(p *pen) {
	if len(d.fan) < 2 {
		return
	}
	d.drawBand(p, brass, 0x26, d.fan, 0, 4)
	d.drawBand(p, brass, 0x40, d.fan, 1, 3)
	p.line(brass, plain, d.edge(d.fan, 2), 5, 3)
}

// drawThen draws what is to be expected with something done today, lighter: the
// 80 % band with its edges and the middle in finer dashes.
func (d *bearingChart) drawThen(p *pen) {
	if len(d.then) < 2 {
		return
	}
	d.drawBand(p, verdigris, 0x1C, d.then, 0, 4)
	p.line(verdigris, thin, d.edge(d.then, 0), 2, 2)
	p.line(verdigris, thin, d.edge(d.then, 4), 2, 2)
	p.line(verdigris, plain, d.edge(d.then, 2), 2, 3)
}

// drawThenCrossing marks when the limit would be reached then: on its line, or where
// that has the mark of as it is beside it, on the side where its words are not.
func (d *bearingChart) drawThenCrossing(p *pen) {
	a := d.after
	if a == nil || !a.Dated || a.Over || a.Limit == nil {
		return
	}
	beside := 0.0
	if d.o.Dated && !d.o.Over {
		beside = -6 // the uppermost line has its words above it
		for _, l := range d.limits() {
			if mm := l.limit.Size.MM(); mm > a.Limit.Size.MM() && mm <= d.y.high {
				beside = 6
			}
		}
	}
	d.crossing(p, verdigris, *a, d.y.at(a.Limit.Size.MM())+beside)
}

// edge is the line of one of the points of a fan, as far as the chart goes up.
func (d *bearingChart) edge(fan []fanPoint, k int) []point {
	var out []point
	for _, f := range fan {
		at := d.at(f.t, max(f.q[k], d.y.low))
		if at.y > d.y.to {
			if n := len(out); n > 0 {
				last := out[n-1]
				out = append(out, point{last.x + (at.x-last.x)*(d.y.to-last.y)/(at.y-last.y), d.y.to})
			}
			break
		}
		out = append(out, at)
	}
	return out
}

// drawBand fills between two of the points of a fan, up to the top of the
// chart.
func (d *bearingChart) drawBand(p *pen, c colour, opacity uint8, fan []fanPoint, low, high int) {
	var pts []point
	for _, f := range fan {
		pts = append(pts, d.at(f.t, max(f.q[high], d.y.low)))
	}
	for i := len(fan) - 1; i >= 0; i-- {
		pts = append(pts, d.at(fan[i].t, max(fan[i].q[low], d.y.low)))
	}
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
func (d *bearingChart) fanAt(x float64, k int) float64 { return d.heightAt(d.fan, x, k) }

func (d *bearingChart) heightAt(fan []fanPoint, x float64, k int) float64 {
	for i := 1; i < len(fan); i++ {
		a, b := d.at(fan[i-1].t, fan[i-1].q[k]), d.at(fan[i].t, fan[i].q[k])
		if x <= b.x && b.x > a.x {
			return a.y + (b.y-a.y)*(x-a.x)/(b.x-a.x)
		}
	}
	return d.y.at(fan[len(fan)-1].q[k])
}
