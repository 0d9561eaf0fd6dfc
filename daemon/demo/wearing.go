package demo

import (
	"math"
	"math/rand/v2"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

const (
	// spread of the natural logarithm of true rates about Archard's rate:
	// narrower than the prior, because these bearings are all kept by the same
	// hands (judgement, no source).
	spread = 0.6
	// grain of the gamma process in mm: the variance of wear per mm worn, as
	// the filter's default has it.
	grain = 0.01
	// What the gauges are worth, in mm: a dial indicator, and feelers.
	dialSD, feelerSD = 0.02, 0.04
)

// runner is a train that runs.
type runner struct {
	wear.Train
	hand  bool
	left  time.Duration // of the wind
	hours float64       // run since the clock came into care
	by    [3]float64    // the same, with good, aged and dry oil
}

// run runs the train for up to dt, with oil in a state, and returns for how long
// it did.
func (t *runner) run(dt time.Duration, oil int) time.Duration {
	if t.hand {
		dt = min(dt, t.left)
		t.left -= dt
	}
	t.hours += dt.Hours()
	t.by[oil] += dt.Hours()
	return dt
}

// point is a bearing that wears.
type point struct {
	wear.Bearing
	train *runner
	truth truth
	oil   [3]float64 // what running counts with good, aged and dry oil
	at    float64    // exposure lived up to, so counted, in units
	level float64    // mm, true
}

// equip makes the trains and the bearings, with the true rates.
func (s *sim) equip() {
	for _, t := range s.plan.clock.Trains {
		run := &runner{Train: t, hand: t.Drive == wear.HandWound, left: t.Run()}
		s.trains = append(s.trains, run)
		for _, a := range t.Arbors {
			for _, b := range a.Bearings {
				s.points = append(s.points, s.newPoint(b, a, run))
			}
		}
	}
}

// newPoint draws a bearing's true rate about Archard's.
func (s *sim) newPoint(b wear.Bearing, a wear.Arbor, run *runner) *point {
	centre := math.Exp(wear.RatePrior(b, a, run.Train).Mu)
	draw, told := s.plan.story.draws[b.Code]
	if !told {
		draw = max(-2, min(2, s.r.NormFloat64()))
	}
	rate := centre * math.Exp(spread*draw)
	p := &point{Bearing: b, train: run, oil: [3]float64{1, 1, 1}, truth: truth{
		Clock: s.plan.clock.Slug, Bearing: b.Code, Rate: rate, Drawn: rate, Centre: centre, Story: told,
	}}
	if s.plan.story.lateOil > 0 {
		for i, state := range []wear.OilState{wear.Good, wear.Aged, wear.Dry} {
			p.oil[i] = wear.OilWeight(b.Pair, b.In, state)
		}
	}
	if b.Fitted > 0 {
		p.level = b.Fitted.MM() + b.FittedSD.MM()*s.r.NormFloat64()
	} else {
		p.level = b.Watch.Size.MM() * (0.45 + 0.3*s.r.Float64())
	}
	return p
}

// grow wears a bearing up to now: a gamma process in exposure, whose mean is
// Archard's straight line and which never goes back.
func (s *sim) grow(p *point) {
	at := 0.0
	for i, hours := range p.train.by {
		at += hours * p.oil[i]
	}
	at *= p.train.PerRunHour() / p.train.Counter().PerUnit()
	mean := p.truth.Rate * (at - p.at)
	if mean <= 0 {
		return
	}
	p.at = at
	p.level += grain * gamma(s.r, mean/grain)
}

// gamma draws from the gamma law of a shape and unit scale (Marsaglia & Tsang,
// ACM Trans. Math. Softw. 26, 2000: from memory).
func gamma(r *rand.Rand, shape float64) float64 {
	if shape < 1 {
		return gamma(r, shape+1) * math.Pow(1-r.Float64(), 1/shape)
	}
	d := shape - 1.0/3
	c := 1 / math.Sqrt(9*d)
	for {
		x := r.NormFloat64()
		v := 1 + c*x
		if v <= 0 {
			continue
		}
		v *= v * v
		if math.Log(1-r.Float64()) < x*x/2+d*(1-v+math.Log(v)) {
			return d * v
		}
	}
}

// oilState is how the oil is today where wear goes by it, as the schedule has
// it: good until the oiling is due, aged for as long again, then dry.
func (s *sim) oilState() int {
	if s.plan.story.lateOil == 0 {
		return 0
	}
	return min(2, s.day.Sub(s.oiledOn)/s.plan.oilEvery)
}

// shaftNoise is by how many °C a long shaft differs from the air beside it.
const shaftNoise = 1.5

// read takes a gauge reading of a bearing, to a hundredth of a millimetre. A
// long shaft shifts it by the season.
func (s *sim) read(p *point, sd float64, instrument string) *wear.Reading {
	s.grow(p)
	celsius := s.warm
	size := p.level + sd*s.r.NormFloat64()
	if p.Stand > 0 {
		size += p.Growth(celsius + shaftNoise*s.r.NormFloat64())
	}
	value := max(0.01, size)
	return &wear.Reading{
		Shake: p.Shake, Value: wear.Length(math.Round(value*100)) * 10 * wear.Micrometre,
		Gauge: wear.FromMM(sd), Instrument: instrument, Celsius: &celsius, Load: wear.LoadOff,
	}
}

// point finds a bearing by its code.
func (s *sim) point(code string) *point {
	for _, p := range s.points {
		if p.Code == code {
			return p
		}
	}
	return nil
}

// spoil raises the rate of the bearing that went without oil.
func (s *sim) spoil() {
	m := s.plan.story.missed
	if m == nil || s.day != back(s.today, 0, m.from-6) {
		return
	}
	p := s.point(m.bearing)
	s.grow(p)
	p.truth.Rate *= m.factor
	p.truth.Changed = true
}

// unoiled reports whether this is the stretch in which nobody oiled.
func (s *sim) unoiled() bool {
	m := s.plan.story.missed
	return m != nil && !s.day.Before(back(s.today, 0, m.from)) && s.day.Before(back(s.today, 0, m.to))
}

// condition is what an eye that knows would call the clock: by its worst bearing,
// which it names where that is to be acted on.
func (s *sim) condition() (schedule.Condition, *point) {
	out := schedule.Sound
	for _, p := range s.points {
		s.grow(p)
		switch {
		case p.level > p.Act.Size.MM():
			return schedule.Act, p
		case p.level > p.Watch.Size.MM():
			out = schedule.Watch
		}
	}
	return out, nil
}

// truths are what only the simulation knows, as it is at the end.
func (s *sim) truths() []truth {
	out := make([]truth, 0, len(s.points))
	for _, p := range s.points {
		s.grow(p)
		p.truth.Level, p.truth.RunHours = p.level, p.train.hours
		out = append(out, p.truth)
	}
	return out
}
