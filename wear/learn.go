package wear

import (
	"context"
	"fmt"
	"math"
	"slices"
)

// History is the life of one bearing, for a fleet to learn from.
type History struct {
	Name     string // for messages
	Group    string // bearings of one group are taken to wear alike
	Prior    Prior  // what physics says, see [RatePrior]
	Segments []Segment
}

// Group is what a group of bearings has taught.
type Group struct {
	// Shift is added to the ln rate that physics says of a bearing: 0.7 is
	// twice as fast.
	Shift    float64
	Bearings int // that taught it: found at two sizes or more
}

// Learned is what a fleet has taught.
type Learned struct {
	Params   Params
	Om       float64 // spread of ln rates inside a group
	Groups   map[string]Group
	Bearings int  // that taught it: found at two sizes or more
	Readings int  // of theirs
	Taught   bool // false: too few, and the rest is as before any reading
	// Centre is added to every ln rate for an exponent other than 1, with which
	// rates have another unit.
	Centre float64
	Plain  bool // no physics behind it
}

// Teaching is how a fleet is learned from.
type Teaching struct {
	// Plain: there is no physics behind the rates, and the sizes may be any
	// quantity; they should change by about 1 in all, over about 50 units of
	// exposure. Priors are disregarded.
	Plain bool
	// Guessed: the gauge uncertainties are a guess, to be learned more freely.
	Guessed bool
}

// Figures behind what a fleet teaches (measured on simulated clock fleets and
// published wear series but for those marked as judgement).
const (
	groupSpread = 1.5 // of a group's shift from physics
	freeSpread  = 10  // the same where there is no physics
	startOm     = .5  // spread inside a group, as strong as spreadWeight bearings
	spreadCount = 6
	fewest      = 6    // bearings found at two sizes from which anything is learned
	enough      = 6    // bearings of three readings from which an exponent is (judgement)
	worthNats   = 3    // gain in evidence that an exponent must bring
	mostTaught  = 2000 // bearings; more teach nothing new and cost time (judgement)
	mostTried   = 400  // of them, for the search of the settings (judgement)
)

// Learn fits what a fleet has in common: how much faster or slower than physics
// says each group wears and how much its bearings differ, how unevenly wear
// goes, whether it slows or quickens with age, and whether gauges are as good as
// stated. It is the expectation-maximisation of a random ln rate (Dempster,
// Laird and Rubin 1977, from memory), each bearing's rate being integrated out
// on a grid, with weak priors towards physics: a small group stays near it.
//
// Of a fleet that cannot teach, physics alone comes back, with Taught false.
// The error is of ctx, or of a history that cannot be filtered.
func Learn(ctx context.Context, fleet []History, how Teaching) (Learned, error) {
	s := school{how: how, groups: map[string]int{}}
	if err := s.enrol(fleet); err != nil {
		return Learned{}, err
	}
	out := Learned{Params: s.start(), Om: archardOm, Groups: map[string]Group{}, Plain: how.Plain}
	out.Bearings, out.Readings = len(s.pupils), s.readings
	if len(s.pupils) < fewest {
		if how.Plain {
			out.Groups, out.Centre = nil, s.crude(out.Params)
		}
		return out, ctx.Err()
	}
	best, err := s.choose(ctx)
	if err != nil {
		return Learned{}, fmt.Errorf("learn from the fleet: %w", err)
	}
	out.Taught, out.Params, out.Om, out.Centre = true, best.p, best.om, best.centre
	out.Params.Phi *= s.spare(best.p)
	for name, g := range s.groups {
		out.Groups[name] = Group{best.shift[g], s.size[g]}
	}
	if how.Plain { // a group that nobody has seen is like the others
		out.Centre += mean(best.shift)
		for name, g := range out.Groups {
			g.Shift -= mean(best.shift)
			out.Groups[name] = g
		}
	}
	return out, nil
}

// Prior is what is believed of the rate of a bearing before its own readings,
// physics being what [RatePrior] says of it.
func (l Learned) Prior(group string, physics Prior) Prior {
	if l.Plain {
		physics.Mu = 0
	} else if !l.Taught {
		return physics
	}
	g := l.Groups[group]
	out := Prior{Mu: physics.Mu + l.Centre + g.Shift, From: physics.From}
	switch {
	case g.Bearings > 0: // what is not known of the group's own middle counts as well
		out.Om = l.Om * math.Sqrt(1+1/float64(g.Bearings))
		out.From = fmt.Sprintf("learned from %d of its kind", g.Bearings)
	case l.Plain: // nobody of its kind has taught
		out.Om = math.Hypot(l.Om, 1)
	default:
		out.Om = max(physics.Om, l.Om)
	}
	// No more than the filter can take.
	out.Mu, out.Om = max(-largestRate, min(largestRate, out.Mu)), min(widestPrior, out.Om)
	return out
}

// school is a fleet being learned from.
type school struct {
	how      Teaching
	pupils   []pupil
	groups   map[string]int
	size     []int // of each group
	readings int
	three    int     // pupils with three sizes or more
	span     float64 // median last exposure, in units
	deep     float64 // size that nineteen readings of twenty are below
	change   float64 // what quickening is counted by: the median change of size, or a third of the deepest
	gauge    float64 // median gauge uncertainty, mm
}

// pupil is one bearing that teaches.
type pupil struct {
	segs    []Segment
	group   int
	physics float64 // ln rate
	course
	// What it came to last: evidence, and the mean and deviation of its ln rate.
	evidence, mean, sd float64
}

// enrol takes the bearings that were found at two sizes or more, or as many of
// them as are worth the time.
func (s *school) enrol(fleet []History) error {
	var ends, sds, changes, all []float64
	fleet = shuffled(fleet, 0) // the first of them are a fair share of all
	for _, h := range fleet {
		physics := Prior{Mu: h.Prior.Mu, Om: 1}
		if s.how.Plain {
			physics.Mu = 0
		}
		if _, err := checked(physics, DefaultParams(), h.Segments); err != nil {
			return fmt.Errorf("%s: %w", h.Name, err)
		}
		if len(s.pupils) >= mostTaught || sizes(known(h.Segments)) < 2 {
			continue
		}
		g, ok := s.groups[h.Group]
		if !ok {
			g = len(s.size)
			s.groups[h.Group] = g
			s.size = append(s.size, 0)
		}
		p := pupil{segs: known(h.Segments), group: g, physics: physics.Mu}
		if sizes(p.segs) >= 3 {
			s.three++
		}
		for _, seg := range p.segs {
			s.readings += len(seg.Readings)
			for _, r := range seg.Readings {
				sds = append(sds, r.SD)
				all = append(all, r.Y)
			}
			if n := len(seg.Readings); n > 0 {
				ends = append(ends, seg.Readings[n-1].H-seg.H0)
				from := seg.Readings[0].Y
				if seg.Start != nil {
					from = seg.Start.Mean
				}
				changes = append(changes, math.Abs(seg.Readings[n-1].Y-from))
			}
		}
		s.pupils = append(s.pupils, p)
	}
	s.count()
	// One misread among twenty must not say how deep wear goes.
	if slices.Sort(all); len(all) > 0 {
		s.deep = max(0, all[(len(all)-1)*19/20])
	}
	s.span, s.gauge, s.change = median(ends), median(sds), max(median(changes), s.deep/3, s.gauge)
	return nil
}

// sizes is at how many sizes one part was found, at most.
func sizes(segs []Segment) int {
	most, n := 0, 0
	for _, s := range segs {
		if s.Carry == 0 {
			n = 0
		}
		if s.Start != nil {
			n++
		}
		n += len(s.Readings)
		most = max(most, n)
	}
	return most
}

// start is where the search for the fleet's settings begins.
func (s *school) start() Params {
	p := DefaultParams()
	if s.how.Plain {
		p.Phi, p.Kappa = .02, .001
		if s.gauge > 0 {
			p.Out = 10 * s.gauge
		}
	}
	return p
}

// crude is the median ln rate of a fleet's bearings from their first and last
// sizes.
func (s *school) crude(by Params) float64 {
	var all []float64
	for i := range s.pupils {
		all = append(all, s.pupils[i].crude(by))
	}
	if len(all) == 0 {
		return math.Log(startingRate)
	}
	return median(all)
}

// crude is the ln rate from the first and the last size of its longest part.
func (p *pupil) crude(by Params) float64 {
	best, rate, w := -1.0, math.Log(startingRate), warp{by.Quicken, by.Reach}
	for _, s := range p.segs {
		if len(s.Readings) == 0 {
			continue
		}
		from, last := s.Readings[0], s.Readings[len(s.Readings)-1]
		if s.Start != nil {
			from = Gauge{s.H0, s.Start.Mean, s.Start.SD}
		}
		dL := math.Pow(last.H-s.H0, by.B) - math.Pow(from.H-s.H0, by.B)
		if last.H-from.H > best && dL > 0 {
			end, slope := w.to(last.Y)
			begin, _ := w.to(from.Y)
			best, rate = last.H-from.H, math.Log(max(end-begin, slope*last.SD)/dL)
		}
	}
	return rate
}
