package trend

import (
	"cmp"
	"maps"
	"math"
	"runtime/debug"
	"slices"

	"endshake/wear"
)

// log is a file taken in: its points in order of their first rows, and their
// readings, each point's together.
type log struct {
	points []*point
	byName map[string]*point
	groups map[string]string // one copy of each name
	blocks []*block          // while the file is read
	gauges []wear.Gauge      // after that
	lines  []uint32          // of each
	// guessed: no reading's uncertainty is given, in the file or beside it.
	guessed bool
}

// point is one measuring point.
type point struct {
	name, group string
	number      uint32 // its place among the points
	rows        int
	readings    int
	from        int     // of its readings among all
	last        float64 // hours
	line        uint32  // of its last row
	turns       []turn
	folded      bool // readings were drawn together
}

// age is how old the present part is, in the unit of last.
func (p *point) age() float64 {
	if n := len(p.turns); n > 0 {
		return p.last - p.turns[n-1].gauge.H
	}
	return p.last
}

// turn is a row that begins a part.
type turn struct {
	gauge  wear.Gauge // Y: NaN where no size is given; SD: 0 where none is
	before int        // readings of the point that precede it
	line   uint32
	known  bool   // a known size at the start, not one read off by a gauge
	work   string // fitted or repaired; empty: neither
}

// block is some readings as they come in, by column.
type block struct {
	n           int
	h, y        [blockSize]float64
	point, line [blockSize]uint32
	sd          []float64 // nil while none is given
}

const blockSize = 1 << 15

// manyBlocks is after how many blocks memory that is let go of is given back: a
// file of ten million rows would take twice what it needs.
const manyBlocks = 64

func (b *block) add(g wear.Gauge, point, line uint32) {
	if g.SD > 0 && b.sd == nil {
		b.sd = make([]float64, blockSize)
	}
	if b.sd != nil {
		b.sd[b.n] = g.SD
	}
	b.h[b.n], b.y[b.n], b.point[b.n], b.line[b.n] = g.H, g.Y, point, line
	b.n++
}

func (b *block) gauge(i int) wear.Gauge {
	g := wear.Gauge{H: b.h[i], Y: b.y[i]}
	if b.sd != nil {
		g.SD = b.sd[i]
	}
	return g
}

func newLog() *log { return &log{byName: map[string]*point{}, groups: map[string]string{}} }

func (l *log) find(name string) *point { return l.byName[name] }

// found adds a point. Its names are copied: a cell holds on to its whole row.
func (l *log) found(name, group string) *point {
	own, ok := l.groups[group]
	if !ok {
		own = string([]byte(group))
		l.groups[own] = own
	}
	p := &point{name: string([]byte(name)), group: own, number: uint32(len(l.points))}
	l.points = append(l.points, p)
	l.byName[p.name] = p
	return p
}

// add adds a row to a point.
func (l *log) add(p *point, g wear.Gauge, event string, knownStart bool, line uint32) {
	known := knownStart && p.rows == 0
	p.rows, p.last, p.line = p.rows+1, g.H, line
	if event != "" || known {
		p.turns = append(p.turns, turn{g, p.readings, line, known, event})
		return
	}
	p.readings++
	if n := len(l.blocks); n == 0 || l.blocks[n-1].n == blockSize {
		l.blocks = append(l.blocks, &block{})
	}
	l.blocks[len(l.blocks)-1].add(g, p.number, line)
}

// settle puts each point's readings together, letting go of the rows on the
// way, and looks for rows that repeat others.
func (l *log) settle(r *reader) error {
	n := 0
	next := make([]int, len(l.points))
	for i, p := range l.points {
		p.from, next[i] = n, n
		n += p.readings
	}
	l.byName = nil
	l.gauges, l.lines = make([]wear.Gauge, n), make([]uint32, n)
	for i, block := range l.blocks {
		for j := range block.n {
			at := next[block.point[j]]
			next[block.point[j]]++
			l.gauges[at], l.lines[at] = block.gauge(j), block.line[j]
		}
		if l.blocks[i] = nil; (i+1)%manyBlocks == 0 {
			debug.FreeOSMemory()
		}
	}
	l.blocks = nil
	return l.repeats(r)
}

// repeats refuses the first row in the file that says again what another of
// the same part has said: the same hours and the same value.
func (l *log) repeats(r *reader) error {
	var first, before uint32
	var of *point
	var spots []spot
	for _, p := range l.points {
		for _, s := range l.parts(p) {
			spots = spots[:0]
			if s.turn != nil {
				spots = append(spots, spot{s.turn.gauge.H, s.turn.gauge.Y, s.turn.line})
			}
			for i := s.from; i < s.to; i++ {
				spots = append(spots, spot{l.gauges[i].H, l.gauges[i].Y, l.lines[i]})
			}
			if a, b := firstTwice(spots); b > 0 && (first == 0 || b < first) {
				before, first, of = a, b, p
			}
		}
		for i := 1; i < len(p.turns); i++ {
			a, b := p.turns[i-1], p.turns[i]
			if a.gauge.H == b.gauge.H && a.before == b.before && cmp.Compare(a.gauge.Y, b.gauge.Y) == 0 && (first == 0 || b.line < first) {
				before, first, of = a.line, b.line, p
			}
		}
	}
	if first == 0 {
		return nil
	}
	return r.refuse(int(first), 1, "the row says again what line %d says of point %s, with the same hours and value: leave one out", before, quote(of.name))
}

// spot is a reading with its line.
type spot struct {
	h, y float64
	line uint32
}

// firstTwice gives the lines of the first spot that is like one before; 0: none.
func firstTwice(spots []spot) (before, first uint32) {
	for from := 0; from < len(spots); {
		to := from + 1
		for to < len(spots) && spots[to].h == spots[from].h {
			to++
		}
		if to-from > 1 {
			run := slices.Clone(spots[from:to])
			slices.SortFunc(run, func(a, b spot) int { return cmp.Or(cmp.Compare(a.y, b.y), cmp.Compare(a.line, b.line)) })
			for i := 1; i < len(run); i++ {
				if run[i].y == run[i-1].y && (first == 0 || run[i].line < first) {
					before, first = run[i-1].line, run[i].line
				}
			}
		}
		from = to
	}
	return before, first
}

// stretch is a part of a point: what begins it, if a row does, and where its
// readings are.
type stretch struct {
	turn     *turn
	from, to int
}

// parts gives the parts of a point, oldest first; there is at least one.
func (l *log) parts(p *point) []stretch {
	var out []stretch
	now := stretch{from: p.from, to: p.from + p.readings}
	for i := range p.turns {
		t := &p.turns[i]
		at := p.from + t.before
		if at > now.from || now.turn != nil {
			out = append(out, stretch{now.turn, now.from, at})
		}
		now = stretch{t, at, now.to}
	}
	return append(out, now)
}

// scales turn what a file says into what the filter takes: mm or the like, and
// units of exposure.
type scales struct{ value, hours float64 }

// scale chooses the scales, fills in the gauge where it is not given, and
// scales all.
func (l *log) scale(s *settings) (scales, error) {
	k := scales{s.mm, 1. / 1000}
	if s.mm == 0 {
		k = l.plainScales()
	}
	gauge := s.gauge * k.value
	switch {
	case !math.IsNaN(gauge):
	case s.mm > 0:
		gauge = wear.DefaultGauge.MM()
	default:
		gauge = plainGauge
	}
	l.guessed = math.IsNaN(s.gauge) && !slices.ContainsFunc(l.gauges, func(g wear.Gauge) bool { return g.SD > 0 })
	s.gauge = gauge / k.value
	for _, p := range l.points {
		for i := p.from; i < p.from+p.readings; i++ {
			if err := k.apply(&l.gauges[i], gauge, s, l.lines[i]); err != nil {
				return k, err
			}
		}
		for i := range p.turns {
			t := &p.turns[i]
			sd := gauge
			if t.known {
				sd = gauge / 100
			}
			if err := k.apply(&t.gauge, sd, s, t.line); err != nil {
				return k, err
			}
		}
		p.last *= k.hours
	}
	return k, nil
}

// The filter's own bounds ([wear.Filter]): sizes in mm or the like, exposure in
// units. And the gauge of a plain quantity, as a share of the median change.
const (
	mostScaled = 1e5
	mostUnits  = 1e6
	finest     = 1e-6
	plainGauge = .01
)

// apply scales one reading.
func (k scales) apply(g *wear.Gauge, gauge float64, s *settings, line uint32) error {
	g.H, g.Y = g.H*k.hours, g.Y*k.value
	if g.SD *= k.value; g.SD == 0 {
		g.SD = gauge
	}
	g.SD = max(g.SD, finest)
	if math.Abs(g.Y) > mostScaled || g.SD > mostScaled || g.H > mostUnits {
		r := reader{settings: s}
		return r.refuse(int(line), 1, "the row is out of all proportion to the others, more than %.0f times the usual: check it", mostUnits/100)
	}
	return nil
}

// plainScales make the median change of the points 1, and the median of their
// last hours 50.
func (l *log) plainScales() scales {
	var changes, hours []float64
	for _, p := range l.points {
		hours = append(hours, p.last)
		change := 0.0
		for _, s := range l.parts(p) {
			if low, high := l.ends(s); !math.IsNaN(low) {
				change += high - low
			}
		}
		if change = math.Abs(change); change > 0 {
			changes = append(changes, change)
		}
	}
	k := scales{1, 1}
	if m := median(changes); m > 0 {
		k.value = 1 / m
	} else if m := l.greatest(); m > 0 {
		k.value = 1 / m
	}
	if m := median(hours); m > 0 {
		k.hours = 50 / m
	} else if m := slices.Max(hours); m > 0 {
		k.hours = 50 / m
	}
	return k
}

// ends gives the first and the last size of a part; NaN where there are none.
func (l *log) ends(s stretch) (first, last float64) {
	first, last = math.NaN(), math.NaN()
	if s.turn != nil {
		first, last = s.turn.gauge.Y, s.turn.gauge.Y
	}
	if s.to > s.from {
		if last = l.gauges[s.to-1].Y; math.IsNaN(first) {
			first = l.gauges[s.from].Y
		}
	}
	return first, last
}

// falls reports whether most parts that changed became smaller.
func (l *log) falls() bool {
	up, down := 0, 0
	for _, p := range l.points {
		for _, s := range l.parts(p) {
			first, last := l.ends(s)
			if last > first {
				up++
			} else if last < first {
				down++
			}
		}
	}
	return down > up
}

// greatest is the greatest size in the file.
func (l *log) greatest() (most float64) {
	see := func(v float64) {
		if v = math.Abs(v); v > most {
			most = v
		}
	}
	for _, g := range l.gauges {
		see(g.Y)
	}
	for _, p := range l.points {
		for _, t := range p.turns {
			see(t.gauge.Y)
		}
	}
	return most
}

// median of some values; 0 for none.
func median(v []float64) float64 {
	if len(v) == 0 {
		return 0
	}
	slices.Sort(v)
	return (v[(len(v)-1)/2] + v[len(v)/2]) / 2
}

// names gives the groups in order.
func (l *log) names() []string { return slices.Sorted(maps.Keys(l.groups)) }
