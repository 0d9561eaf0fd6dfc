package schedule

import (
	"fmt"
	"math"
	"sort"
	"strings"

	"endshake/wear"
)

// Figures behind early signs (judgement, no source).
const (
	signValues = 4       // values that it takes to see a trend,
	signChance = .01     // and the chance that a steady thing would have shown it
	signDays   = 2 * 365 // how far back is looked
	leastFall  = .05     // degrees that an arc must have fallen,
	leastGain  = .2      // s/day that a rate must have gained,
	leastRise  = .2      // and the effort of a corrector risen
	leastAdded = .02     // share by which a driving weight must have grown
	pieceDays  = 28.0    // least length of a piece of a stretch
)

// Sign is an early sign of trouble in a clock: of old oil or of wear. It
// shortens nothing by itself.
type Sign struct {
	Since Date
	Words string // one sentence
}

// piece is a part of a stretch long enough to have a rate of its own.
type piece struct {
	from, to    float64 // days
	rate        wear.Rate
	regs        int     // of its stretch: regulations before it,
	expected    float64 // what they should have brought,
	unknown     int     // and how many of them nobody can tell
	first, last int     // errors
}

// pieces cuts the stretches since a day into pieces of four weeks or more; a
// stretch shorter than that is one.
func (k *timekeeper) pieces(since float64) []piece {
	var out []piece
	for i := range k.spans {
		s := &k.spans[i]
		if !s.ok || k.days[s.hi-1] <= since {
			continue
		}
		of := s.pieces
		if first := s.lo + sort.SearchFloat64s(k.days[s.lo:s.hi], since); first > s.lo {
			of = k.cut(s, first)
		}
		out = append(out, of...)
	}
	return out
}

// cut cuts a stretch into pieces from one of its errors on.
func (k *timekeeper) cut(s *span, first int) []piece {
	var out []piece
	for lo, i := first, first+1; i < s.hi; i++ {
		if i < s.hi-1 && (k.days[i]-k.days[lo] < pieceDays || k.days[s.hi-1]-k.days[i] < pieceDays) {
			continue
		}
		if r, ok := wear.FitRate(k.days[lo:i+1], k.secs[lo:i+1], readingNoise); ok {
			out = append(out, piece{k.days[lo], k.days[i], r, s.regs, s.expected, s.unknown, lo, i})
		}
		lo = i
	}
	return out
}

// influences works out how the rate goes with temperature and pressure.
func (k *timekeeper) influences() {
	if len(k.celsius) < wear.LeastStretches && len(k.pressure) < wear.LeastStretches {
		return
	}
	all := k.pieces(math.Inf(-1))
	of := func(seen []value, span float64) *Coefficient {
		var in []wear.Influence
		for _, p := range all {
			sum, n := 0.0, 0
			for len(seen) > 0 && seen[0].day <= p.to {
				if seen[0].day >= p.from {
					sum, n = sum+seen[0].v, n+1
				}
				if seen[0].day == p.to { // it may begin the next, too
					break
				}
				seen = seen[1:]
			}
			if n > 0 {
				in = append(in, wear.Influence{X: sum / float64(n), Rate: p.rate.PerDay, SD: p.rate.SD, Group: p.regs})
			}
		}
		slope, sd, n, ok := wear.Slope(in, span)
		if !ok {
			return nil
		}
		return &Coefficient{Value: slope, SD: sd, Stretches: n}
	}
	k.t.PerDegree, k.t.PerHectopascal = of(k.celsius, wear.LeastCelsius), of(k.pressure, wear.LeastHectopascal)
}

// signs looks for early signs of old oil and of wear, since the clock was last
// cleaned and no longer than two years back.
func (k *timekeeper) signs() {
	k.arcSign(k.late(k.arcs))
	k.weightSigns(k.late(k.weights))
	k.effortSign(k.late(k.efforts))
}

// late is what was seen since the clock was cleaned, of late.
func (k *timekeeper) late(seen []value) []value {
	from := max(k.cleaned, k.day(k.a.Now)-signDays)
	for len(seen) > 0 && seen[0].day < from {
		seen = seen[1:]
	}
	return seen
}

func (k *timekeeper) sign(from float64, format string, args ...any) {
	k.t.Signs = append(k.t.Signs, Sign{Since: k.dated(from), Words: fmt.Sprintf(format, args...)})
}

// dated is the day of a column's day, in the clock's zone.
func (k *timekeeper) dated(day float64) Date { return k.a.dayOf(k.begin.Add(spanOf(day))) }

// trend fits values by time: by how much they rose (or with sign of -1, fell)
// from first to last, and whether that can be no chance.
func trend(seen []value, sign float64) (change float64, sure bool) {
	if len(seen) < signValues {
		return 0, false
	}
	days, values := make([]float64, len(seen)), make([]float64, len(seen))
	for i, v := range seen {
		days[i], values[i] = v.day, sign*v.v
	}
	slope, chance, ok := wear.Rising(days, values)
	return slope * (days[len(days)-1] - days[0]), ok && chance <= signChance
}

// arcSign looks for an arc that falls while the rate gains: the smaller arc
// itself explains part of the gain.
func (k *timekeeper) arcSign(arcs []value) {
	fell, sure := trend(arcs, -1)
	if !sure || fell < leastFall {
		return
	}
	first, last := arcs[0], arcs[len(arcs)-1]
	a, b, ok := k.rates(first.day, last.day)
	if !ok {
		return
	}
	gain := b.rate.PerDay - b.expected - (a.rate.PerDay - a.expected)
	if gain < leastGain || gain < normal95*math.Hypot(a.rate.SD, b.rate.SD) {
		return
	}
	regulated := ""
	if a.regs != b.regs {
		regulated = ", what was regulated left out"
	}
	own := wear.CircularLoss(first.v) - wear.CircularLoss(first.v-fell)
	k.sign(first.day, "The arc fell from %.2f° on %s to %.2f° on %s, and the rate gained %.1f s a day%s: the smaller arc by itself makes it gain %.1f s a day. It is an early sign of old oil or of wear.",
		first.v, k.dated(first.day).Words(), last.v, k.dated(last.day).Words(), gain, regulated, own)
}

// rates are the first and the last piece between two days that can be compared.
func (k *timekeeper) rates(from, to float64) (a, b piece, ok bool) {
	for _, p := range k.pieces(from - pieceDays) {
		switch {
		case p.to <= from || p.from >= to:
		case !ok:
			a, b, ok = p, p, true
		default:
			b = p
		}
	}
	return a, b, ok && a.from != b.from && a.unknown == b.unknown
}

// weightSigns looks for more driving weight than before, by train.
func (k *timekeeper) weightSigns(seen []value) {
	for i, v := range seen {
		if v.v <= 0 {
			continue
		}
		for j := i - 1; j >= 0; j-- {
			if seen[j].train != v.train {
				continue
			}
			if before := seen[j]; v.v > before.v*(1+leastAdded) {
				k.sign(v.day, "The driving weight%s was %s on %s and is %s since %s: more weight to keep it going is an early sign of old oil or of wear.",
					k.ofTrain(v.train), wear.Mass(before.v), k.dated(before.day).Words(), wear.Mass(v.v), k.dated(v.day).Words())
			}
			break
		}
	}
}

func (k *timekeeper) ofTrain(code string) string {
	if t, ok := k.a.Clock.Train(code); ok {
		return " of the " + NameOfTrain(t)
	}
	return ""
}

// effortSign looks for a corrector that has to add more and more.
func (k *timekeeper) effortSign(seen []value) {
	rose, sure := trend(seen, 1)
	if !sure || rose < leastRise {
		return
	}
	first, last := seen[0], seen[len(seen)-1]
	k.sign(first.day, "The corrector had to make up %.1f s a day on %s and %.1f s a day on %s: its effort rises, which is an early sign of old oil or of wear.",
		first.v, k.dated(first.day).Words(), last.v, k.dated(last.day).Words())
}

// showSigns puts the early signs of a clock before whoever oils it: the parts
// that keep its time, not a striking train alone.
func (a *Assessment) showSigns(t *Task) {
	if t.Kind != Oiling || len(a.Time.Signs) == 0 {
		return
	}
	code := t.Subject
	if _, _, train, ok := a.Clock.Bearing(code); ok && code != "" {
		code = train.Code
	}
	if train, ok := a.Clock.Train(code); code != "" && !(ok && a.Clock.speaks(train)) {
		return
	}
	for _, s := range a.Time.Signs {
		t.Reason += "; early sign: " + strings.TrimSuffix(s.Words, ".")
	}
}
