package wear

import (
	"context"
	"math"
	"runtime"
	"sync"
	"sync/atomic"
)

// fit is the best that can be said of a fleet with given settings.
type fit struct {
	p      Params
	om     float64
	shift  []float64 // by group
	crude  []float64 // a first guess of it
	centre float64
	value  float64 // ln evidence of all, and of the settings
}

// How the iteration ends.
const (
	rounds    = 25
	fineRound = .02 // nats
)

// fit runs the expectation-maximisation, from the spread and the shifts given.
func (s *school) fit(ctx context.Context, at fit) (fit, error) {
	return s.iterate(ctx, at, rounds, func(now, was fit) bool { return math.Abs(now.value-was.value) < fineRound })
}

func (s *school) iterate(ctx context.Context, at fit, most int, settled func(now, was fit) bool) (fit, error) {
	at.p.Kappa = 0
	at.centre = 0
	if !s.how.Plain && at.p.B != 1 && s.span > 0 {
		at.centre = (1 - at.p.B) * math.Log(s.span)
	}
	for i := range s.pupils {
		p := &s.pupils[i]
		p.take(Prior{}, at.p, p.segs)
		p.sd = 0
	}
	s.begin(&at)
	was := fit{value: math.Inf(-1)}
	for range most {
		if err := s.expect(ctx, at); err != nil {
			return fit{}, err
		}
		now := at
		now.value = s.value(at)
		now.shift, now.om = s.maximise(at)
		if settled(now, was) {
			return s.named(now), nil
		}
		was, at = now, now
	}
	return s.named(was), nil
}

// named gives the settings their kappa back.
func (s *school) named(f fit) fit {
	f.p.Kappa = s.start().Kappa
	return f
}

// begin is a first guess of the groups' shifts: from first and last sizes alone,
// or what was fitted with other settings, moved as far as that guess has moved.
func (s *school) begin(at *fit) {
	crude := make([]float64, len(s.size))
	for i := range s.pupils {
		p := &s.pupils[i]
		crude[p.group] += p.crude(at.p) - p.physics - at.centre
	}
	shift := make([]float64, len(s.size))
	for g := range shift {
		switch {
		case s.size[g] == 0:
		case at.shift != nil:
			shift[g] = at.shift[g] + (crude[g]-at.crude[g])/float64(s.size[g])
		default:
			shift[g] = crude[g] / (float64(s.size[g]) + at.om*at.om/s.spread2())
		}
	}
	at.shift, at.crude = shift, crude
}

func (s *school) spread2() float64 {
	if s.how.Plain {
		return freeSpread * freeSpread
	}
	return groupSpread * groupSpread
}

// expect filters every bearing with the fleet's present guess.
func (s *school) expect(ctx context.Context, at fit) error {
	var next atomic.Int64
	var wg sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), len(s.pupils)) {
		wg.Go(func() {
			var b branch
			for i := int(next.Add(1)) - 1; i < len(s.pupils) && ctx.Err() == nil; i = int(next.Add(1)) - 1 {
				p := &s.pupils[i]
				p.learn(&b, Prior{Mu: p.physics + at.centre + at.shift[p.group], Om: at.om})
			}
		})
	}
	wg.Wait()
	return ctx.Err()
}

// learn works out a bearing's evidence and ln rate, on a grid about what it came
// to the round before.
func (p *pupil) learn(b *branch, prior Prior) {
	p.prior = prior
	x := p.last()
	wide := around(prior.Mu, prior.Om).with(p.course.peak(0, x.mean, x.v))
	over := wide
	if p.sd > 0 {
		over = around(p.mean, min(prior.Om, 1.2*p.sd))
		b.lay(over, half)
		p.history(&b.grid)
		p.evidence = b.weights(prior, &b.w)
		if !b.cut(&b.w) && !b.coarse(&b.w) {
			p.mean, p.sd = b.lnRate(&b.w)
			return
		}
		over = wide
	}
	p.evidence = p.whole(b, over, nodes)
	p.evidence = p.whole(b, b.next(prior, &b.w), half)
	p.mean, p.sd = b.lnRate(&b.w)
}

// value is how well the fleet is explained.
func (s *school) value(at fit) float64 {
	sum := s.prior(at.p)
	for i := range s.pupils {
		sum += s.pupils[i].evidence + s.pupils[i].bent
	}
	for _, x := range at.shift {
		sum -= x * x / (2 * s.spread2())
	}
	return sum
}

// maximise gives the shifts and the spread that fit what the bearings came to.
func (s *school) maximise(at fit) (shift []float64, om float64) {
	shift = make([]float64, len(s.size))
	off := func(p *pupil) float64 { return p.mean - p.physics - at.centre }
	for i := range s.pupils {
		shift[s.pupils[i].group] += off(&s.pupils[i])
	}
	for g := range shift {
		shift[g] /= float64(s.size[g]) + at.om*at.om/s.spread2()
	}
	sum := spreadCount * startOm * startOm
	for i := range s.pupils {
		p := &s.pupils[i]
		d := off(p) - shift[p.group]
		sum += p.sd*p.sd + d*d
	}
	return shift, math.Sqrt(sum / (float64(len(s.pupils)) + spreadCount))
}
