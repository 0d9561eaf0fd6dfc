package wear

import "math"

// Medians are two medians of the size in wear times one step apart, from which those
// between them are told.
type Medians struct {
	step, cell float64 // wear time, and how many steps lie before the first
	ends       [2]middle
}

// middle is a median on the even scale, and how it grows with wear time.
type middle struct{ x, slope float64 }

// Figures behind the step from one median to the next (judgement, no source): by it
// those between are told to a millionth of a millimetre, or to less than a thousandth
// where the law has two humps and the median lies between them, see TestMedian.
const (
	stepShare = 0.125 // of the wear time in which the shape of the law changes
	mostSteps = 1e6
)

// Median returns LevelQuantile(h, 0.5), to much less than anybody can measure, and
// sooner by far where medians near it are at hand: by the cubic through two medians and their slopes. near
// is what an earlier call for the same posterior gave, or nil; the answer and what it
// was told from are the same with it and without.
func (p *Posterior) Median(h float64, near *Medians) (mm float64, by Medians) {
	if !p.known {
		return math.NaN(), by
	}
	dL := p.ahead(h)
	if near != nil && near.step > 0 {
		by.step = near.step
	} else {
		by.step = p.step()
	}
	if by.cell = math.Floor(dL / by.step); !(by.cell < mostSteps) {
		return p.LevelQuantile(h, .5), Medians{step: by.step}
	}
	for i := range by.ends {
		switch at := by.cell + float64(i); {
		case near != nil && near.step > 0 && near.cell == at && near.ends[0] != middle{}:
			by.ends[i] = near.ends[0]
		case near != nil && near.step > 0 && near.cell+1 == at && near.ends[1] != middle{}:
			by.ends[i] = near.ends[1]
		default:
			by.ends[i] = p.middle(at * by.step)
		}
	}
	return p.warp.from(by.at(dL)), by
}

// at is the median in a wear time between the two, by Hermite's cubic.
func (m *Medians) at(dL float64) float64 {
	a, b := &m.ends[0], &m.ends[1]
	t := dL/m.step - m.cell
	rise := b.x - a.x
	two, three := 3*rise-m.step*(2*a.slope+b.slope), m.step*(a.slope+b.slope)-2*rise
	return a.x + t*(m.step*a.slope+t*(two+t*three))
}

// step is a share of the shortest wear time in which the shape of the law changes: in
// which what the rate leaves open comes to as much as the size now leaves open, or the
// unevenness of wear to as much as the readings do.
func (p *Posterior) step() float64 {
	x := &p.moments
	return stepShare * min(math.Sqrt(x.p/x.rr), x.p/(p.phi*x.r), Horizon)
}

// middle finds the median in wear time ahead of the last fact, and its slope: by the
// rule for implicit functions.
func (p *Posterior) middle(dL float64) middle {
	var room [320]bell
	m, mean, sd := p.bells(dL, room[:0])
	x := m.quantile(.5, mean, sd)
	var sum, slope float64
	for i := range m {
		b, n := &m[i], &p.nodes[i]
		z := (x - b.mean) * b.perSD
		_, density := quickBell(z)
		w := b.w * b.perSD * density
		sum += w
		slope += w * n.r * (1 + z*p.phi*b.perSD/2)
	}
	return middle{x, slope / sum}
}
