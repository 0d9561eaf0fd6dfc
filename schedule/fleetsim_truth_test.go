package schedule

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"gonum.org/v1/gonum/stat/distuv"

	"endshake/wear"
)

// What is hidden from the engine in the simulated fleet (invented).
const (
	simGauge   = 0.015 // mm: what a gauge errs by, and says of itself
	simMisread = 0.01  // share of readings that are wrong by about 0.3 mm
	simPhi     = 0.01  // mm: grain of wear, as the engine's default
	simSpread  = 0.15  // deviation of ln oil life from clock to clock, beside that of single lives
	gumsInDays = 400.0 // mean days from the end of an oil's life until the clock stops for it
)

// simOil is by how much each kind of oil really lasts longer than the engine
// believes beforehand.
var simOil = map[OilKind]float64{MineralOil: 0.72, SyntheticOil: 1.35, Grease: 1.0}

// simStop is one stop of a train, as it really was.
type simStop struct {
	at    time.Time
	train string // code
	why   string // "ran down", "oil", "bearing", "chance"
	about string // bearing code
}

type simBearing struct {
	train       int
	code        string
	level, rate float64 // mm; mm per unit of exposure
	fails       float64 // the size at which the clock stops for it
	run         float64 // exposure not yet turned to wear, in units
}

// truth is how one clock really is.
type truth struct {
	c        *Clock
	r        *rand.Rand
	now      time.Time
	going    bool
	stop     simStop // why it stands
	left     []time.Duration
	reserve  []time.Duration // what a full wind really runs
	silent   []time.Time     // since when a striking train is down; zero: it strikes
	lnMedian float64         // of its oil's life, ln years
	sigma    float64
	oilEnds  time.Time
	oilStops time.Time
	lives    []float64 // ln years of the lives drawn
	chance   time.Time // the next stop that nobody can foresee
	bearings []simBearing
	fast     float64 // s, how wrong the hands are, + fast
	rate     float64 // s/day
	stops    []simStop
}

const simYear = 365.25 * 24 * float64(time.Hour)

// years is a span of time, of which a Duration holds 292.
func simYears(y float64) time.Duration { return time.Duration(math.Min(y, 250) * simYear) }

func (w *truth) normal() float64 { return w.r.NormFloat64() }

// oiled puts in fresh oil.
func (w *truth) oiled() {
	life := w.lnMedian + w.sigma*w.normal()
	w.lives = append(w.lives, life)
	w.oilEnds = w.now.Add(simYears(math.Exp(life)))
	w.oilStops = w.oilEnds.Add(simYears(w.r.ExpFloat64() * gumsInDays / 365.25))
}

// nextChance draws when birds or snow stop it next: about every fifth year.
func (w *truth) nextChance() { w.chance = w.now.Add(simYears(5 * w.r.ExpFloat64())) }

// advance lets time pass up to an instant.
func (w *truth) advance(to time.Time) {
	for w.now.Before(to) {
		next := w.now.Add(24 * time.Hour)
		if to.Before(next) {
			next = to
		}
		w.fast += w.rate * next.Sub(w.now).Hours() / 24
		if !w.going {
			w.now = next
			continue
		}
		why := simStop{}
		sooner := func(at time.Time, s simStop) {
			if at.Before(next) {
				next, why = at, s
				if next.Before(w.now) {
					next = w.now
				}
				why.at = next
			}
		}
		for i, t := range w.c.Trains {
			if t.Kind == wear.Going && t.Drive == wear.HandWound {
				sooner(w.now.Add(w.left[i]), simStop{train: t.Code, why: "ran down"})
			}
		}
		sooner(w.oilStops, simStop{train: "going", why: "oil"})
		sooner(w.chance, simStop{train: "going", why: "chance"})
		for _, b := range w.bearings {
			if b.level >= b.fails {
				sooner(w.now, simStop{train: "going", why: "bearing", about: b.code})
			}
		}
		w.run(next)
		if why.why != "" {
			w.going, w.stop = false, why
			w.stops = append(w.stops, why)
		}
	}
}

// run has it go up to an instant before which nothing stops it.
func (w *truth) run(to time.Time) {
	d := to.Sub(w.now)
	for i, t := range w.c.Trains {
		ran := d
		if t.Drive == wear.HandWound {
			ran = min(d, w.left[i])
			if w.left[i] -= ran; t.Kind != wear.Going && w.left[i] == 0 && w.silent[i].IsZero() && ran < d {
				w.silent[i] = w.now.Add(ran)
				w.stops = append(w.stops, simStop{at: w.silent[i], train: t.Code, why: "ran down"})
			}
		}
		units := ran.Hours() * t.PerRunHour() / t.Counter().PerUnit()
		for k := range w.bearings {
			if w.bearings[k].train == i {
				w.bearings[k].run += units
			}
		}
	}
	for k := range w.bearings {
		if b := &w.bearings[k]; b.run >= 0.05 {
			b.level += distuv.Gamma{Alpha: b.rate * b.run / simPhi, Beta: 1 / simPhi, Src: w.r}.Rand()
			b.run = 0
		}
	}
	w.now = to
}

// wind winds a train fully.
func (w *truth) wind(i int) { w.left[i], w.silent[i] = w.reserve[i], time.Time{} }

// simClock is a clock of the simulated fleet with its truth.
func simClock(i int, seed uint64) (Clock, Site, *truth) {
	r := rand.New(rand.NewPCG(seed, uint64(i)))
	zone := []string{"Europe/London", "America/New_York", "Pacific/Auckland", "Asia/Kolkata", "Europe/London"}[i%5]
	site := Site{Slug: fmt.Sprintf("yard-%03d", i), Name: fmt.Sprintf("Yard %d", i), Zone: zone, Place: "by the gate"}
	c := Clock{
		Slug: fmt.Sprintf("clock-%03d", i), Name: fmt.Sprintf("Clock %d", i), Kind: Turret, Site: site.Slug, InCare: d("2016-01-04"),
		Duties: []Duty{{fmt.Sprintf("keeper-%02d", i/3), Keeper}, {fmt.Sprintf("keeper-%02d", i/3), Winder}, {"maker", Clockmaker}},
	}
	w := &truth{c: &c, r: r, going: true, now: c.InCare.At(8, 0, location(zone))}
	reserve, days := days8, 7
	if i%10 == 7 {
		reserve, days = 15*24*time.Hour, 14
	}
	drive := wear.HandWound
	if i%10 == 9 {
		drive = wear.AutoWound
	}
	going := wear.Train{Code: "going", Name: "going train", Kind: wear.Going, Drive: drive, Reserve: reserve}
	strike := wear.Train{Code: "strike", Name: "strike train", Kind: wear.Strike, Drive: drive, Reserve: reserve, StrokesPerDay: 156}
	w.addBearing(&going, 0, "centre-front", 1)
	w.addBearing(&going, 0, "escape-back", 30)
	c.Trains = []wear.Train{going}
	if i%5 < 3 {
		w.addBearing(&strike, 1, "hammer-front", 0.01)
		c.Trains = append(c.Trains, strike)
	}
	for range c.Trains {
		w.reserve = append(w.reserve, time.Duration(float64(reserve)*(1+0.02*r.NormFloat64())))
	}
	w.left, w.silent = append([]time.Duration(nil), w.reserve...), make([]time.Time, len(c.Trains))
	kind := []OilKind{MineralOil, SyntheticOil, Grease}[i%3]
	c.Care = Care{Room: Rooms[i%4], Points: []OilPoint{{Code: "all", Name: "all pivots", Kind: kind}}}
	if i%4 == 1 {
		c.Care.Tolerance = &Tolerance{Seconds: 60, Source: "the council"}
	}
	c.Policies = simPolicies(days, drive)
	w.rate = r.NormFloat64()
	w.nextChance()
	return c, site, w
}

func simPolicies(days int, drive wear.Drive) []Policy {
	out := []Policy{
		{Task: Oiling, Days: 3650, Risk: 0.1, Source: "conservator"}, {Task: Inspection, Days: 182, Source: "conservator"},
		{Task: Measuring, Days: 730, Source: "conservator"},
	}
	if drive == wear.HandWound {
		out = append(out, Policy{Task: Winding, Days: days, Source: "conservator"})
	}
	return out
}

// addBearing adds a bush whose rate by physics brings it to its limit in about
// fifteen years, and whose true one is drawn as the engine believes.
func (w *truth) addBearing(t *wear.Train, train int, code string, revs float64) {
	b := bush()
	b.Code, b.Name, b.FittedAt = code, code, time.Time{}
	b.Fitted, b.FittedSD = 0, 0
	arbor := wear.Arbor{Code: "of-" + code, Revs: revs}
	unit := math.Exp(wear.RatePrior(b, arbor, *t).Mu)
	b.Load *= 0.0025 * math.Exp(0.3*w.normal()) / unit
	prior := wear.RatePrior(b, arbor, *t)
	lifetime := 15 * 365.25 * 24 * t.PerRunHour() / t.Counter().PerUnit()
	act := math.Round(100*(0.1+math.Exp(prior.Mu)*lifetime)) / 100
	b.Watch, b.Act = nil, limitAt(act)
	arbor.Bearings = []wear.Bearing{b}
	t.Arbors = append(t.Arbors, arbor)
	level := 0.08 + 0.04*w.r.Float64()
	w.bearings = append(w.bearings, simBearing{train: train, code: code, level: level, rate: math.Exp(prior.Mu + prior.Om*w.normal()), fails: level + 1.3*(act-level)})
}
