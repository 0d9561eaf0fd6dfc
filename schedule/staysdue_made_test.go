package schedule

import (
	"fmt"
	"math/rand/v2"
	"time"

	"endshake/wear"
)

// logMaker makes an invented clock and a log that can be logged: of one to three
// trains, wound, stopped, measured and oiled irregularly.
type logMaker struct {
	r       *rand.Rand
	fleet   Fleet
	log     []Entry
	now     time.Time
	n       int
	level   map[string]float64
	rate    map[string]float64 // mm a year
	stopped map[string]bool    // by train; empty: the clock
	meter   map[string]float64
}

func (k *logMaker) chance(p float64) bool { return k.r.Float64() < p }

func (k *logMaker) between(a, b float64) float64 { return a + (b-a)*k.r.Float64() }

func one[T any](k *logMaker, of ...T) T { return of[k.r.IntN(len(of))] }

func (k *logMaker) make() {
	c := k.clock()
	k.fleet = fleetOf(one(k, "UTC", "Europe/London", "America/New_York", "Pacific/Auckland", "Asia/Kolkata"), c)
	if err := k.fleet.Validate(); err != nil {
		panic(err)
	}
	k.stopped, k.meter = map[string]bool{}, map[string]float64{}
	zone := k.fleet.Sites[0].Location()
	k.now = c.InCare.At(9, 0, zone)
	days := 200 + k.r.IntN(2400)
	end := c.InCare.Add(days).At(9, 0, zone)
	for k.now.Before(end) {
		k.now = k.now.Add(time.Duration(k.between(0.2, 12) * 24 * float64(time.Hour))).Truncate(time.Minute)
		k.step(c)
	}
	if k.chance(0.5) { // it is left standing
		k.now = k.now.Add(26 * time.Hour)
		k.stop(c)
	}
}

func (k *logMaker) clock() Clock {
	c := pump()
	c.Trains = nil
	k.level, k.rate = map[string]float64{}, map[string]float64{}
	drive := one(k, wear.HandWound, wear.HandWound, wear.AutoWound, wear.Electric)
	for i := range 1 + k.r.IntN(3) {
		t := wear.Train{
			Code: []string{"going", "strike", "chime"}[i], Kind: []wear.TrainKind{wear.Going, wear.Strike, wear.Chime}[i],
			Drive: drive, Reserve: one(k, hour30, days8, days8+12*time.Hour, 15*24*time.Hour),
		}
		t.Name = t.Code + " train"
		if i > 0 {
			t.StrokesPerDay = one(k, 156.0, 400)
			if k.chance(0.5) {
				t.StrokesPerDay, t.Striking = 0, &wear.Striking{Hours: true}
			}
		}
		for n := range k.r.IntN(3) {
			arbor := wear.Arbor{Code: fmt.Sprintf("%s-arbor-%d", t.Code, n), Revs: one(k, 0, 1, 8, 60.0)}
			arbor.Name = arbor.Code
			arbor.Bearings = append(arbor.Bearings, k.bearing(fmt.Sprintf("%s-%c", t.Code, 'a'+n)))
			t.Arbors = append(t.Arbors, arbor)
		}
		c.Trains = append(c.Trains, t)
	}
	k.policies(&c)
	k.care(&c, drive)
	return c
}

func (k *logMaker) bearing(code string) wear.Bearing {
	b := bush()
	b.Code, b.Name = code, "bush "+code
	k.level[code], k.rate[code] = k.between(0.05, 0.15), k.between(0.005, 0.12)
	if k.chance(0.3) {
		b.Pair, b.Load, b.Bore, b.Pivot, b.Long = "", 0, 0, 0, 0
	}
	switch {
	case k.chance(0.3):
		b.FittedAt, b.Fitted, b.FittedSD = time.Time{}, 0, 0
	default:
		b.Fitted = mm(k.level[code])
	}
	if k.chance(0.3) {
		b.Watch = nil
	}
	if k.chance(0.15) {
		b.Act = nil
	}
	return b
}

func (k *logMaker) policies(c *Clock) {
	add := func(p float64, pol Policy) {
		if k.chance(p) {
			pol.Source = "conservator"
			c.Policies = append(c.Policies, pol)
		}
	}
	add(0.5, Policy{Task: Winding, Days: 1 + k.r.IntN(9)})
	add(0.8, Policy{Task: Oiling, Days: one(k, 0, 300, 1200), RunHours: one(k, 9000, 16000.0), Risk: one(k, 0, 0.1), Lead: k.r.IntN(40), Grace: k.r.IntN(40)})
	add(0.4, Policy{Task: Oiling, Train: "going", Risk: 0.15})
	add(0.8, Policy{Task: Inspection, Days: one(k, 0, 100, 700), RunHours: one(k, 3000.0, 9000)})
	add(0.7, Policy{Task: Measuring, Days: one(k, 0, 400, 900, 2000), RunHours: one(k, 5000.0, 17000)})
	add(0.3, Policy{Task: Measuring, Train: "going", RunHours: 8000})
	add(0.4, Policy{Task: Visiting, Days: 365})
	add(0.5, Policy{Task: LineLook, Days: 200})
}

func (k *logMaker) care(c *Clock, drive wear.Drive) {
	c.Care.Room = one(k, Rooms...)
	c.Care.Change = one(k, append(ChangeHows, "")...)
	for i := range k.r.IntN(4) {
		p := OilPoint{Code: fmt.Sprintf("p%d", i), Name: fmt.Sprintf("point %d", i), Kind: one(k, OilKinds...), Fast: k.chance(0.2)}
		if k.chance(0.5) {
			p.Train = c.Trains[k.r.IntN(len(c.Trains))].Code
		}
		c.Care.Points = append(c.Care.Points, p)
	}
	if k.chance(0.6) {
		c.Care.Tolerance = &Tolerance{Seconds: one(k, 30.0, 60, 300), Source: "the council"}
	}
	if k.chance(0.5) {
		c.Care.Seasons = lit("11-15", "02-10").Care.Seasons
	}
	if drive == wear.HandWound && k.chance(0.6) {
		c.Care.Lines = []Line{{Code: "going-line", Name: "going line", Train: "going", MostYears: k.between(5, 15), FittedAt: d("2016-03-01"), Source: "conservator"}}
	}
}

// entry logs something now, if it can be.
func (k *logMaker) entry(kind EntryKind, changes ...change) bool {
	at := k.now.UTC()
	e := doneAt(kind, at, changes...)
	e.ID, e.RecordedAt = fmt.Sprintf("id-%04d", k.n), at.Add(time.Minute)
	k.n++
	if err := Validate(e, k.fleet, k.log, Model{}, at.Add(time.Hour)); err != nil {
		return false
	}
	k.log = append(k.log, e)
	return true
}

// step is one visit.
func (k *logMaker) step(c Clock) {
	train := one(k, append([]string{""}, codesOf(c)...)...)
	shows := func(e *Entry) {
		if k.chance(0.3) {
			v := k.between(-90, 90)
			e.ErrorFound = &v
		}
		if k.chance(0.1) {
			v := k.between(5, 25)
			e.Celsius = &v
		}
		e.Old = k.chance(0.05)
	}
	if k.chance(0.85) {
		k.entry(Wound, of(one(k, "", "", train)), shows, func(e *Entry) { e.Part = k.chance(0.05) })
	}
	switch k.r.IntN(16) {
	case 0, 1:
		for _, t := range c.Trains {
			for _, a := range t.Arbors {
				for _, b := range a.Bearings {
					if k.chance(0.6) {
						k.measure(c, b)
					}
				}
			}
		}
	case 2:
		k.entry(Oiled, of(one(k, "", train)), shows, func(e *Entry) {
			e.Oil, e.OilFound, e.Residue, e.TopUp, e.ErrorFound, e.Celsius = "clock oil", one(k, OilFounds...), one(k, append(Residues, "")...), k.chance(0.2), nil, nil
		})
	case 3:
		k.entry(Inspected, shows, found(one(k, Sound, Watch, Act)), func(e *Entry) {
			e.Visit = k.chance(0.2)
			if k.chance(0.4) {
				e.OilFound = one(k, OilFounds...)
			}
		})
	case 4:
		k.stop(c)
	case 5, 6, 7:
		k.entry(Started, of(train))
		k.entry(Started)
	case 8:
		k.entry(Set, shows, func(e *Entry) { v := k.between(-2, 2); e.ErrorLeft = &v })
	case 9:
		k.entry(Regulated, shows, func(e *Entry) { e.NutTurns = one(k, 0, 0.25, -0.5) })
	case 10:
		if len(c.Trains[0].Arbors) > 0 && k.chance(0.15) {
			b := c.Trains[0].Arbors[0].Bearings[0].Code
			if k.entry(Repaired, onBearing(b), func(e *Entry) { e.Work, e.Fitted = one(k, NewBush, OtherWork), mm(one(k, 0, 0.08)) }) {
				k.level[b] = 0.08
			}
		}
	case 11:
		k.entry(Noted, note("the mains were out"), func(e *Entry) {
			e.CutFrom = k.now.Add(-time.Duration(k.between(1, 60)) * time.Hour).UTC()
			if k.chance(0.7) {
				e.CutTo = k.now.Add(-time.Minute).UTC()
			}
		})
	case 12:
		k.entry(Noted, note("meter read"), of(train), func(e *Entry) {
			k.meter[train] += k.between(0, 20)
			v := k.meter[train]
			e.Meter = &v
		})
	case 13:
		if k.chance(0.3) {
			k.entry(Noted, note("done"), func(e *Entry) { e.Season = "lights" })
		}
		if k.chance(0.1) {
			k.entry(Cleaned)
		}
		if k.chance(0.1) {
			k.entry(Noted, note("loose stone"), locking(one(k, LockKinds...)))
		}
		k.entry(Noted, note("safe again"), clearing(one(k, LockKinds...)), doneBy("cleo"))
	}
}

func codesOf(c Clock) (out []string) {
	for _, t := range c.Trains {
		out = append(out, t.Code)
	}
	return out
}

func (k *logMaker) measure(c Clock, b wear.Bearing) {
	at := k.level[b.Code] + k.rate[b.Code]*k.now.Sub(c.InCare.Start(time.UTC)).Hours()/24/365 + k.between(-0.01, 0.01)
	if k.chance(0.05) {
		at += k.between(0, 0.2)
	}
	if at > 0 {
		k.entry(Measured, gave(at), onBearing(b.Code), func(e *Entry) { e.Sure, e.Old = k.chance(0.1), k.chance(0.05) })
	}
}

func (k *logMaker) stop(c Clock) {
	cause := one(k, StopCauses...)
	k.entry(Stopped, by(cause), func(e *Entry) {
		if len(c.Trains) > 1 && (cause == Silenced || k.chance(0.2)) {
			e.Train = c.Trains[1].Code
		}
		if (cause == Rest || cause == ForWork) && k.chance(0.6) {
			e.Until = DateOf(k.now, time.UTC).Add(1 + k.r.IntN(300))
		}
		if !cause.Deliberate() && k.chance(0.3) {
			e.Since = k.now.Add(-time.Duration(k.between(1, 40)) * time.Hour).UTC()
		}
	})
}
