package schedule

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"endshake/wear"
)

// oiling is a clock of one bush, oiled every so many days.
func oiling(days int) Clock {
	c := alone()
	c.Policies = []Policy{{Task: Oiling, Days: days, Source: "keeper"}}
	c.Trains[0].Drive = wear.Electric // never runs down
	return c
}

func inForce() Model { return Model{Learned: &Learned{OilInForce: true}} }

func byModel(c Clock, log []Entry, m Model, now string) Assessment {
	f := fleetOf("UTC", c)
	return Assess(Facts{Clock: c, Site: f.Sites[0], Entries: log, Model: m}, utc(now))
}

// Oil is good until it is due, aged until twice the interval, then dry; shares
// are of running, not of the calendar.
func TestOilStates(t *testing.T) {
	const year = 365
	for _, tt := range []struct {
		name            string
		policy          Policy
		log             []Entry
		now             string
		good, aged, dry float64
	}{
		{"in time", Policy{Days: year}, []Entry{did(Oiled, "2020-12-31"), did(Oiled, "2021-12-31")}, "2022-12-31", 1, 0, 0},
		{"never, one interval", Policy{Days: year}, nil, "2020-12-31", 1, 0, 0},
		{"never, two intervals", Policy{Days: year}, nil, "2021-12-31", 0.5, 0.5, 0},
		{"never, four intervals", Policy{Days: year}, nil, "2023-12-31", 0.25, 0.25, 0.5},
		{"cleaned counts", Policy{Days: year}, []Entry{did(Cleaned, "2020-12-31")}, "2021-12-31", 1, 0, 0},
		{"oiled elsewhere does not", Policy{Days: year}, []Entry{did(Oiled, "2020-12-31", of("strike"))}, "2021-12-31", 0.5, 0.5, 0},
		{"late by half a year, once", Policy{Days: year}, []Entry{did(Oiled, "2021-07-01")}, "2022-07-01", 730. / 912, 182. / 912, 0},
		{"by run-hours", Policy{RunHours: 365 * 24}, nil, "2021-12-31", 0.5, 0.5, 0},
		{"the earlier of the two", Policy{Days: 2 * year, RunHours: 365 * 24}, nil, "2021-12-31", 0.5, 0.5, 0},
		{"stopped while it was dry", Policy{Days: year}, []Entry{did(Stopped, "2021-12-31", by(ByHand))}, "2026-01-01", 0.5, 0.5, 0},
		{"stopped for half of the first year", Policy{Days: year}, []Entry{did(Stopped, "2020-01-01 00:00", by(ByHand)), did(Started, "2020-07-01")}, "2021-12-31", 183. / 548, 365. / 548, 0},
	} {
		c := pump()
		c.Trains[0].Drive, c.Trains[1].Drive = wear.Electric, wear.Electric
		tt.policy.Task, tt.policy.Source = Oiling, "x"
		c.Policies = []Policy{tt.policy}
		o := outlookOf(t, assess(c, book(tt.log...), tt.now), "centre-front")
		if o.Oil == nil {
			t.Errorf("%s: nothing of its oil", tt.name)
			continue
		}
		if g := *o.Oil; math.Abs(g.Good-tt.good) > 0.002 || math.Abs(g.Aged-tt.aged) > 0.002 || math.Abs(g.Dry-tt.dry) > 0.002 || g.InForce {
			t.Errorf("%s: %.3f good, %.3f aged, %.3f dry; want %.3f, %.3f, %.3f", tt.name, g.Good, g.Aged, g.Dry, tt.good, tt.aged, tt.dry)
		}
	}
	if o := outlookOf(t, assess(alone(), nil, "2021-01-01"), "centre-front"); o.Oil != nil {
		t.Errorf("no interval is set, and yet %+v", o.Oil)
	}
	if o := outlookOf(t, assess(oiling(365), book(did(Stopped, "2020-01-01", by(ByHand))), "2021-01-01"), "centre-front"); o.Oil != nil {
		t.Errorf("it never ran, and yet %+v", o.Oil)
	}
}

// Of 90 % good, 8 % aged and 2 % dry, oiling in time would have saved all but
// 1.5/6.55 of the wear (medians for steel on brass; arithmetic).
func TestLateOilCostsWear(t *testing.T) {
	if got := (OilWear{Good: .90, Aged: .08, Dry: .02}).late(wear.SteelOnBrass); math.Abs(got-(1-1.5/6.55)) > 1e-9 {
		t.Errorf("late oil made %.4f of the wear, want %.4f", got, 1-1.5/6.55)
	}
	if got := (OilWear{Good: 1}).late(wear.SteelOnBrass); got != 0 {
		t.Errorf("always in time: %v", got)
	}
	if got := (OilWear{Dry: 1}).late("oak on oak"); got != 0 {
		t.Errorf("unknown materials: %v", got)
	}
	for _, tt := range []struct {
		days, lasts     int
		good, aged, dry float64
	}{{365, 365, 1, 0, 0}, {182, 365, 1, 0, 0}, {730, 365, .5, .5, 0}, {1460, 365, .25, .25, .5}, {548, 365, 365. / 548, 183. / 548, 0}} {
		if g := oiledEvery(tt.days, tt.lasts); math.Abs(g.Good-tt.good) > 1e-12 || math.Abs(g.Aged-tt.aged) > 1e-12 || math.Abs(g.Dry-tt.dry) > 1e-12 {
			t.Errorf("every %d days an oil that lasts %d: %+v", tt.days, tt.lasts, g)
		}
	}
}

// A part is judged by the oil of its own time.
func TestOilOfThePresentPart(t *testing.T) {
	log := book(did(Repaired, "2024-01-01", left(0.10)))
	o := outlookOf(t, assess(oiling(365), log, "2024-12-30"), "centre-front")
	if o.Oil == nil || o.Oil.Good != 1 || o.Oil.Late != 0 {
		t.Errorf("a year after the repair, four dry ones before: %+v", o.Oil)
	}
}

// With the weighting in force an hour counts by the median of its oil against
// the usual mix of 6.55e-6, and the forecast goes on at the mix of late. The
// weights: 1.5/6.55, 15/6.55, 200/6.55.
func TestWeightedExposure(t *testing.T) {
	c := oiling(365)
	a := byModel(c, book(read(2021, 0.10, 0.113, 0.273)...), inForce(), "2024-01-01")
	o := outlookOf(t, a, "centre-front")
	if !o.Oil.InForce {
		t.Fatal("not in force")
	}
	const good, aged, dry = 1.5 / 6.55, 15 / 6.55, 200 / 6.55
	year := 365 * 24 / 1000.
	for _, tt := range []struct {
		when string
		want float64
	}{
		{"2020-01-01", 0}, {"2020-12-31", good * year}, {"2021-12-31", (good + aged) * year}, {"2022-12-31", (good + aged + dry) * year},
		{"2019-12-31", -0.024}, // before the log an hour is an hour
	} {
		if got := o.Units(utc(tt.when)); math.Abs(got-tt.want) > 1e-9*math.Abs(tt.want)+1e-9 {
			t.Errorf("%s: %.6f units, want %.6f", tt.when, got, tt.want)
		}
	}
	// Ahead: the mix of the last three years, 1 of 1096 days good, 365 aged, 730 dry.
	mix := (0*good + 365*aged + 731*dry) / 1096
	if got := o.Units(utc("2025-01-01")) - o.Units(utc("2024-01-01")); math.Abs(got/(366*24/1000.*mix)-1) > 0.01 {
		t.Errorf("a year ahead is %.4f units, want %.4f", got, 366*24/1000.*mix)
	}
	if o.Exposure.Likely != 1461*24 || o.Parts[0].Readings[0].Exposure != 366*24 {
		t.Errorf("the train's counter was weighted: %v, %v", o.Exposure.Likely, o.Parts[0].Readings[0].Exposure)
	}
	plain := outlookOf(t, byModel(c, book(read(2021, 0.10, 0.113, 0.273)...), Model{}, "2024-01-01"), "centre-front")
	if got, want := plain.Units(utc("2022-12-31")), units("2022-12-31"); got != want || plain.Oil.InForce {
		t.Errorf("not in force: %v units, want %v", got, want)
	}
	// Wear that goes by dry hours is better explained by them.
	if x, y := o.Wear.Evidence(), plain.Wear.Evidence(); !(x > y) {
		t.Errorf("ln evidence %.3f weighted, %.3f not", x, y)
	}
	// With no policy, or no materials, an hour is an hour.
	bare := oiling(365)
	bare.Trains[0].Arbors[0].Bearings[0].Pair = ""
	for name, c := range map[string]Clock{"no policy": alone(), "no materials": bare} {
		if o := outlookOf(t, byModel(c, nil, inForce(), "2024-01-01"), "centre-front"); o.Units(utc("2023-01-01")) != units("2023-01-01") {
			t.Errorf("%s: %v units", name, o.Units(utc("2023-01-01")))
		}
	}
}

// A day comes back from its exposure, whatever the weights.
func TestUsageThereAndBack(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 9))
	for range 200 {
		u := usage{b: 1}
		run := 0.0
		for range r.IntN(6) {
			u.weigh(run, math.Exp(3*r.NormFloat64()))
			run += r.Float64() * 1e4
		}
		last := math.Inf(-1)
		for h := -2e4; h < 8e4; h += 977 {
			w := u.worn(h)
			if back := u.run(w); math.Abs(back-h) > 1e-6*(1+math.Abs(h)) {
				t.Fatalf("%v run-hours are %v worn, and those %v: %+v", h, w, back, u.knots)
			}
			if w < last {
				t.Fatalf("worn falls at %v: %+v", h, u.knots)
			}
			last = w
		}
	}
}

// A clock at rest wears nothing until it is to go again.
func TestUnitsWhileResting(t *testing.T) {
	c := alone()
	c.Trains[0].Drive = wear.Electric
	o := outlookOf(t, assess(c, book(did(Stopped, "2021-01-01", by(Rest), until("2021-04-01"))), "2021-02-01"), "centre-front")
	stop := o.Units(utc("2021-01-01"))
	if got := o.Units(utc("2021-03-31")); got != stop || stop != units("2021-01-01") {
		t.Errorf("%v units in March, %v when it stopped", got, stop)
	}
	if o.Units(utc("2021-04-11")) <= stop {
		t.Error("it does not go on in April")
	}
}

// The model weighted by oil comes to the same dates in whatever order the log is.
func TestWeightedDates(t *testing.T) {
	c := oiling(182)
	c.Trains[0].Arbors[0].Bearings[0].Act = limitAt(0.50)
	var log []Entry
	for day := d("2020-03-01"); day.Before(d("2025-01-01")); day = day.Add(170) {
		log = append(log, doneAt(Oiled, day.Start(time.UTC)))
	}
	log = book(append(log, read(2021, 0.12, 0.14, 0.16, 0.18, 0.20)...)...)
	kept := outlookOf(t, byModel(c, log, inForce(), "2025-01-02"), "centre-front")
	plain := outlookOf(t, byModel(c, log, Model{}, "2025-01-02"), "centre-front")
	if !kept.Dated || !plain.Dated || math.Abs(float64(kept.Likely.Sub(plain.Likely))) > 0.35*float64(plain.Likely.Sub(d("2025-01-02"))) {
		t.Errorf("oiled in time: likely %v weighted, %v not", kept.Likely, plain.Likely)
	}
	if got := kept.Wear.Crossing(0.50, kept.Wear.Now(), 0.5); kept.day(t, got.H) != kept.Likely {
		t.Errorf("%v units are %v, not %v", got.H, kept.day(t, got.H), kept.Likely)
	}
}

// day finds by search when the units are reached.
func (o Outlook) day(t *testing.T, h float64) Date {
	t.Helper()
	for day := d("2025-01-02"); day.Year < 2100; day = day.Add(1) {
		if o.Units(day.Add(1).Start(time.UTC)) > h {
			return day
		}
	}
	t.Fatal("never")
	return Date{}
}
