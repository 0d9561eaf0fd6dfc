package schedule

import (
	"cmp"
	"fmt"
	"math"

	"endshake/wear"
)

// oilBase is how long oil of a kind does its work at 15 °C in a clean closed
// room: the middle in years, and the factor within which two lives in three
// lie. Published intervals of re-oiling (domestic clocks 2 to 5 years by
// several repairers, turret clocks 90 days to a year) are precautions and lie
// below these; the figures themselves are judgement, no source.
type oilBase struct{ years, factor float64 }

var (
	oilBases = map[OilKind]oilBase{
		MineralOil:   {3, 1.8},
		SyntheticOil: {5, 1.8},
		NaturalOil:   {1.5, 1.6},
		Grease:       {5, 1.8},
	}
	// outdoorGrease is that of open gearing, as in the head of a post clock. Its
	// years are sheltered ones already.
	outdoorGrease = oilBase{1.5, 2}
)

// roomFactors is by how much a life is longer in a room (judgement, no source).
var roomFactors = map[Room]float64{ClosedCase: 1, SweptRoom: .8, DustyRoom: .5, Sheltered: .5, Wetted: .3}

// Other factors of a life (judgement, no source), and what all together are
// held to.
const (
	dampFactor              = .8
	noSinkFactor            = .7
	fastFactor              = .7
	blackFactor             = .7
	leastFactor, mostFactor = .15, 2
)

// How the spread of ln lives is shared out: half of its variance lies between
// one oiling and the next of the same place, a quarter between places and a
// quarter between what is believed of a kind and what is so (judgement, no
// source).
func spreads(total float64) (life, place, kind float64) {
	return total / math.Sqrt2, total / 2, total / 2
}

// oilFactor is one reason why a life is longer or shorter.
type oilFactor struct {
	by  float64
	why string
}

// base is what an oil at a point starts from, and the factor of its room.
func (p OilPoint) base(c Care) (oilBase, Room, float64) {
	room := cmp.Or(p.Room, c.Room, SweptRoom)
	b, by := oilBases[cmp.Or(p.Kind, MineralOil)], roomFactors[room]
	if b.years == 0 {
		b = oilBases[MineralOil]
	}
	if by == 0 {
		by = roomFactors[SweptRoom]
	}
	if p.Kind == Grease && (room == Sheltered || room == Wetted) {
		b, by = outdoorGrease, by/roomFactors[Sheltered]
	}
	return b, room, by
}

// own is what a point's own nature does to a life.
func (p OilPoint) own() []oilFactor {
	var out []oilFactor
	if p.NoSink {
		out = append(out, oilFactor{noSinkFactor, "no oil sink holds it"})
	}
	if p.Fast {
		out = append(out, oilFactor{fastFactor, "a fast arbor throws it off"})
	}
	return out
}

// factors are all the reasons why a life at a point is longer or shorter; year is
// the steady temperature in °C of a year there, NaN where it is not known.
func (p OilPoint) factors(c Care, year float64, black bool) []oilFactor {
	_, room, by := p.base(c)
	out := []oilFactor{{by, "the room (" + string(room) + ")"}}
	if !math.IsNaN(year) {
		out = append(out, oilFactor{wear.TemperatureFactor(year), fmt.Sprintf("the year's temperatures age it as a steady %s", wear.Warmth(math.Round(10*year)/10))})
	}
	if c.Damp {
		out = append(out, oilFactor{dampFactor, "damp air for half the year"})
	}
	out = append(out, p.own()...)
	if black {
		out = append(out, oilFactor{blackFactor, "the oil was last found black, with metal in it"})
	}
	return out
}

// together is the product of factors, and what it is held to.
func together(factors []oilFactor) (product, held float64) {
	product = 1
	for _, f := range factors {
		product *= f.by
	}
	return product, min(mostFactor, max(leastFactor, product))
}

// Belief is the middle, in years, of the life that is believed of oil at a point
// before anybody looked at it, and the factor within which two lives in three
// lie. Year is the steady temperature in °C at which oil ages as in a year there
// (NaN: not known); black, whether it was last found so.
func (p OilPoint) Belief(c Care, year float64, black bool) (years, factor float64) {
	base, _, _ := p.base(c)
	_, held := together(p.factors(c, year, black))
	return base.years * held, base.factor
}

// governs is the index of the place that is believed to want oil first.
func governs(c Care, units []oilUnit) int {
	best, least := 0, math.Inf(1)
	for i, u := range units {
		if u.point == nil {
			continue
		}
		b, _, by := u.point.base(c)
		years := b.years * by
		for _, f := range u.point.own() {
			years *= f.by
		}
		if years < least {
			best, least = i, years
		}
	}
	return best
}

// believe fills in what is believed of the life of a subject's oil before it
// was looked at, and why.
func (o *OilState) believe(c Care, r oilRecord, year float64, m Model) {
	var p OilPoint
	if u := r.units[r.governs]; u.point != nil {
		p, o.Governs = *u.point, u.point.Code
	}
	o.Kind, o.told = cmp.Or(p.Kind, MineralOil), p.Kind != ""
	base, _, _ := p.base(c)
	in := "in a closed case"
	if base == outdoorGrease {
		in = "outdoors, sheltered"
	}
	o.say("%s starts from a middle life of %.3g years %s at %s%s (judgement, from published intervals).", Capital(string(o.Kind)), base.years, in, wear.Warmth(wear.OilReference), o.startWords(p, len(r.units)))
	if math.IsNaN(year) {
		o.say("The temperatures of the site are not recorded, and move nothing.")
	}
	factors := p.factors(c, year, o.Residue == ResidueBlack)
	for _, f := range factors {
		o.say("%s: times %.2f.", Capital(f.why), f.by)
	}
	product, held := together(factors)
	if held != product {
		o.say("All factors together would be %.2f and are held to %.2f.", product, held)
	}
	o.untaught = math.Log(base.years * held)
	o.teach(base, m)
}

// teach moves what is believed by what the fleet taught of the kind.
func (o *OilState) teach(base oilBase, m Model) {
	life, place, kind := spreads(math.Log(base.factor))
	o.Life = wear.Life{Mu: o.untaught, S0: math.Hypot(place, kind), Sigma: life, Capped: true}
	if m.Learned == nil {
		return
	}
	l, ok := m.Learned.OilLives[o.Kind]
	if !ok || !(l.SD >= 0) || math.IsInf(l.Shift, 0) || math.IsNaN(l.Shift) {
		return
	}
	o.lesson = l
	o.Life.Mu, o.Life.S0 = o.untaught+l.Shift, math.Hypot(place, min(l.SD, kind))
	o.say("%s of the fleet have shown that it lasts %s.", l.words(), lastsWords(l.Shift))
}

func (o *OilState) say(format string, args ...any) {
	o.Factors = append(o.Factors, fmt.Sprintf(format, args...))
}

// startWords says what the start takes for granted.
func (o *OilState) startWords(p OilPoint, places int) string {
	out := ""
	switch {
	case p.Code == "":
		out += "; no oil point is described"
	case !o.told:
		out += "; the kind is not recorded"
	}
	if p.Code != "" && places > 1 {
		out += fmt.Sprintf("; of %d points %s is believed to want oil first", places, p.called())
	}
	return out
}
