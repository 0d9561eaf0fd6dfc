package wear

import (
	"context"
	"math"
)

// grades are the settings that are tried, smallest first.
type grades struct{ phi, c []float64 }

func (s *school) grades() grades {
	g := grades{c: []float64{.5, 1, 2, 4}}
	if s.how.Guessed {
		g.c = []float64{.0625, .125, .25, .5, 1, 2, 4, 8}
	}
	for _, x := range []float64{.05, .1, .2, .5, 1, 2, 5, 10, 20, 50} {
		g.phi = append(g.phi, x*s.start().Phi)
	}
	return g
}

// choose climbs to the best settings. Wear goes by the exposure alone unless
// that it slows or quickens with age, or with depth, explains the fleet clearly
// better; and with both only where that is clearly better again.
func (s *school) choose(ctx context.Context) (fit, error) {
	all := s.pupils
	if len(all) > mostTried {
		s.pupils = all[:mostTried]
		s.count()
	}
	best, err := s.climb(ctx, fit{p: s.start(), om: startOm})
	if err != nil {
		return best, err
	}
	if s.three >= enough {
		if best, err = s.shape(ctx, best); err != nil {
			return best, err
		}
	}
	best, err = s.middle(ctx, best)
	if err != nil {
		return best, err
	}
	if len(all) > len(s.pupils) {
		s.pupils, best.shift = all, nil
		s.count()
	}
	return s.fit(ctx, best)
}

// count counts the pupils of each group.
func (s *school) count() {
	clear(s.size)
	for i := range s.pupils {
		s.size[s.pupils[i].group]++
	}
}

// spare is by how much a grain comes out too small because other figures were
// fitted to the same bearings: as a variance about a fitted line does.
func (s *school) spare(p Params) float64 {
	n, fitted := float64(len(s.pupils)), float64(len(s.size)+1) // middles and spread
	if p.B != 1 {
		fitted++
	}
	if p.Quicken != 0 {
		fitted++
	}
	return n / max(n/2, n-fitted)
}

// middle moves the grain and the gauge factor from the best grades to their
// means over the grades about, each weighed by how well it explains the fleet:
// the two can hardly be told apart, and the best of a few grades is a toss-up.
func (s *school) middle(ctx context.Context, best fit) (fit, error) {
	const about = 2
	g := s.grades()
	i, j := nearest(g.phi, best.p.Phi), nearest(g.c, best.p.C)
	var sum, phi, c float64
	for _, x := range g.phi[max(0, i-about):min(len(g.phi), i+about+1)] {
		for _, y := range g.c[max(0, j-about):min(len(g.c), j+about+1)] {
			try := best
			try.p.Phi, try.p.C = x, y
			try, err := s.fit(ctx, try)
			if err != nil {
				return fit{}, err
			}
			w := math.Exp(try.value - best.value)
			sum, phi, c = sum+w, phi+w*math.Log(x), c+w*math.Log(y)
		}
	}
	best.p.Phi, best.p.C = math.Exp(phi/sum), math.Exp(c/sum)
	return best, nil
}

// bend is a step in the exponent, and in quickening times the typical depth.
type bend struct{ b, k float64 }

// shape tries wear that slows or quickens with age, with depth, and with both.
func (s *school) shape(ctx context.Context, even fit) (fit, error) {
	one := even
	for _, axis := range []bend{{.1, 0}, {0, .25}} {
		var from fit
		for _, far := range []float64{-4, -2, 2, 4} { // start beyond a shallow dip
			try, err := s.fit(ctx, s.bent(even, bend{axis.b * far, axis.k * far}))
			if err != nil {
				return fit{}, err
			}
			if from.p.B == 0 || try.value > from.value {
				from = try
			}
		}
		got, err := s.hill(ctx, from, []bend{axis, {-axis.b, -axis.k}})
		if err != nil {
			return fit{}, err
		}
		if got.value > max(one.value, even.value+worthNats) {
			one = got
		}
	}
	both := one
	for _, corner := range []bend{{-.3, 1}, {.3, -1}} {
		try, err := s.fit(ctx, s.bent(even, corner))
		if err != nil {
			return fit{}, err
		}
		if try.value > both.value {
			both = try
		}
	}
	both, err := s.hill(ctx, both, []bend{{.1, 0}, {-.1, 0}, {0, .25}, {0, -.25}, {.1, -.25}, {-.1, .25}, {.1, .25}, {-.1, -.25}})
	if err != nil {
		return fit{}, err
	}
	nats := float64(worthNats)
	if one.p == even.p {
		nats = 2 * worthNats
	}
	if both.p.B != 1 && both.p.Quicken != 0 && both.value > one.value+nats {
		return both, nil
	}
	return one, nil
}

// bent is the same with wear bent so much more.
func (s *school) bent(f fit, by bend) fit {
	f.p.B = math.Round((f.p.B+by.b)*100) / 100
	k := math.Round((f.p.Quicken*s.change+by.k)*100) / 100
	f.p.Quicken, f.p.Reach = k/s.change, s.deep
	if k == 0 {
		f.p.Quicken, f.p.Reach = 0, 0
	}
	return f
}

// hill climbs by the steps given, and by grain and gauge factor at its top.
func (s *school) hill(ctx context.Context, from fit, steps []bend) (fit, error) {
	best, err := s.fit(ctx, from)
	if err != nil {
		return fit{}, err
	}
	for moved := true; moved; {
		moved = false
		for _, step := range steps {
			did, err := s.ascend(ctx, &best, func(f fit) (fit, bool) {
				f = s.bent(f, step)
				return f, f.p.B >= .15 && f.p.B <= 1.85 && math.Abs(f.p.Quicken*s.change) <= 2.6
			})
			if err != nil {
				return fit{}, err
			}
			moved = moved || did
		}
		top, err := s.climb(ctx, best)
		if err != nil {
			return fit{}, err
		}
		moved = moved && top.p != best.p
		best = top
	}
	return best, nil
}

// climb moves the grain and the gauge factor, one grade at a time, to where
// neither is better any more.
func (s *school) climb(ctx context.Context, from fit) (fit, error) {
	g := s.grades()
	best, err := s.fit(ctx, from)
	if err != nil {
		return fit{}, err
	}
	for moved := true; moved; {
		moved = false
		for _, axis := range []struct {
			of []float64
			at func(*Params) *float64
		}{
			{g.phi, func(p *Params) *float64 { return &p.Phi }},
			{g.c, func(p *Params) *float64 { return &p.C }},
		} {
			for _, step := range []int{-1, 1} {
				did, err := s.ascend(ctx, &best, func(f fit) (fit, bool) {
					x := axis.at(&f.p)
					i := nearest(axis.of, *x) + step
					if i < 0 || i >= len(axis.of) {
						return f, false
					}
					*x = axis.of[i]
					return f, true
				})
				if err != nil {
					return fit{}, err
				}
				moved = moved || did
			}
		}
	}
	return best, nil
}

// ascend goes on by the step that next takes, which says when there is none, for
// as long as each explains the fleet better, and reports whether one did.
func (s *school) ascend(ctx context.Context, best *fit, next func(fit) (fit, bool)) (moved bool, err error) {
	for {
		try, ok := next(*best)
		if !ok {
			return moved, nil
		}
		if try, err = s.fit(ctx, try); err != nil || !(try.value > best.value) { // nor what is no number
			return moved, err
		}
		*best, moved = try, true
	}
}

// nearest is the index of the value nearest to x.
func nearest(of []float64, x float64) int {
	best := 0
	for i := range of {
		if math.Abs(math.Log(of[i]/x)) < math.Abs(math.Log(of[best]/x)) {
			best = i
		}
	}
	return best
}

// prior of the settings themselves, as ln density without its constant.
func (s *school) prior(p Params) float64 {
	sq := func(x, sd float64) float64 { return -(x / sd) * (x / sd) / 2 }
	loose := .5
	if s.how.Guessed {
		loose = 1
	}
	return sq(math.Log(p.C), loose) + sq(math.Log(p.Phi/s.start().Phi), 1.5) + sq(math.Log(p.B), .5) + sq(p.Quicken*s.change, 1)
}
