package schedule

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"
	"time"

	"endshake/wear"
)

func TestGroup(t *testing.T) {
	c := pump()
	b, arbor, tr, _ := c.Bearing("centre-front")
	outdoors, steel, bare, unknown := b, b, b, b
	outdoors.In, steel.Pair, bare.Load, unknown.Pair = wear.Outdoors, wear.SteelOnSteel, 0, ""
	plain := b
	plain.In = ""
	groups := map[string]wear.Bearing{
		"steel on brass | indoors | by run-hours | rate from physics":                  b,
		"steel on brass | outdoors | by run-hours | rate from physics":                 outdoors,
		"steel on steel | indoors | by run-hours | rate from physics":                  steel,
		"steel on brass | indoors | by run-hours | rate from a starting value":         bare,
		"materials not recorded | indoors | by run-hours | rate from a starting value": unknown,
	}
	for want, b := range groups {
		if got := Group(b, arbor, tr); got != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
	if Group(plain, arbor, tr) != Group(b, arbor, tr) {
		t.Error("surroundings not given are not taken as indoors")
	}
	if got := Group(b, arbor, c.Trains[1]); got != "steel on brass | indoors | by strokes | rate from physics" {
		t.Errorf("got %q", got)
	}
	worn := b
	worn.Code, worn.Fitted, worn.Act, worn.Load = "another", 0, nil, 30
	if Group(worn, arbor, tr) != Group(b, arbor, tr) {
		t.Error("its code, its limits or its load make a group of their own")
	}
}

// taught is a model in which steel on brass indoors wears e times as fast as
// physics says.
func taught() Model {
	b, arbor, tr, _ := alone().Bearing("centre-front")
	l := &Learned{Version: 12, FittedAt: utc("2026-11-24 03:00"), Model: wear.Learned{
		Params: wear.DefaultParams(), Om: 0.4, Bearings: 37, Readings: 140, Taught: true,
		Groups: map[string]wear.Group{Group(b, arbor, tr): {Shift: 1, Bearings: 37}},
	}}
	l.Model.Params.Phi = 0.02
	return Model{Learned: l}
}

// A figure on a page can be traced to what it was learned from.
func TestPriorSaysWhereItComesFrom(t *testing.T) {
	b, arbor, tr, _ := alone().Bearing("centre-front")
	physics := wear.RatePrior(b, arbor, tr)
	m := taught()
	got := m.prior(b, arbor, tr, time.UTC)
	want := fmt.Sprintf("learned from 37 bearings, steel on brass, indoors, by the lesson of 24 Nov 2026; physics alone would say %.4f mm (%.3f thou) per 1,000 run-hours", math.Exp(physics.Mu), math.Exp(physics.Mu)/.0254)
	if got.From != want {
		t.Errorf("got %q, want %q", got.From, want)
	}
	if math.Abs(got.Mu-physics.Mu-1) > 1e-9 || got.Om >= physics.Om {
		t.Errorf("%+v, from %+v by a shift of 1 and a spread of 0.4", got, physics)
	}
	o := outlookOf(t, byModel(alone(), nil, m, "2027-01-01"), "centre-front")
	if o.Prior != got {
		t.Errorf("the outlook has %+v", o.Prior)
	}
	if m.params().Phi != 0.02 {
		t.Errorf("settings %+v", m.params())
	}
	other := b
	other.Pair = wear.SteelOnSteel
	if p := m.prior(other, arbor, tr, time.UTC); !strings.HasSuffix(p.From, "; no bearing like it has taught anything yet") || !strings.HasPrefix(p.From, "Archard's law for steel on steel") {
		t.Errorf("another pair: %q", p.From)
	}
	bare := b
	bare.Load = 0
	m.Learned.Model.Groups[Group(bare, arbor, tr)] = wear.Group{Bearings: 1}
	if p := m.prior(bare, arbor, tr, time.UTC); !strings.Contains(p.From, "learned from 1 bearing, steel") || !strings.Contains(p.From, "without it there would be a starting value of 0.010 mm (0.39 thou) per 1000 run-hours, because its load is not recorded") {
		t.Errorf("no load: %q", p.From)
	}
	for name, m := range map[string]Model{"nothing learned": {}, "too few": {Learned: &Learned{Model: wear.Learned{Params: wear.DefaultParams()}}}} {
		if p := m.prior(b, arbor, tr, time.UTC); p != physics {
			t.Errorf("%s: %+v", name, p)
		}
		if m.params() != wear.DefaultParams() {
			t.Errorf("%s: %+v", name, m.params())
		}
	}
	if (Model{Learned: &Learned{}}).params() != wear.DefaultParams() {
		t.Error("settings of nothing")
	}
}

// town of clocks that wear at e^shift of the rate of physics, each read so many
// times by a gauge good to 0.01 mm; made from a seed.
func manyClocks(n, readings int, shift float64) (Fleet, map[string][]Entry) {
	r := rand.New(rand.NewPCG(uint64(n), uint64(readings)))
	var clocks []Clock
	log := map[string][]Entry{}
	for i := range n {
		c := alone()
		c.Slug, c.Trains[0].Drive = fmt.Sprintf("clock-%d", i), wear.Electric
		b, arbor, tr, _ := c.Bearing("centre-front")
		rate := math.Exp(wear.RatePrior(b, arbor, tr).Mu + shift + 0.3*r.NormFloat64())
		var es []Entry
		for j := range readings {
			e := did(Measured, fmt.Sprintf("%d-01-01", 2021+j), gave(0))
			e.Clock = c.Slug
			size := 0.10 + rate*units(fmt.Sprintf("%d-01-01", 2021+j)) + 0.01*r.NormFloat64()
			e.Reading.Value = mm(math.Max(0, size))
			es = append(es, e)
		}
		log[c.Slug] = book(es...)
		clocks = append(clocks, c)
	}
	return fleetOf("UTC", clocks...), log
}

func TestHistories(t *testing.T) {
	fleet, log := manyClocks(4, 3, 0)
	log["clock-0"] = nil                                                                    // never measured
	fleet.Clocks[1].Trains[0].Drive, fleet.Clocks[1].Trains[0].Reserve = wear.HandWound, -1 // nothing is known of its running
	log["clock-2"] = append(log["clock-2"], did(Repaired, "2023-06-01", left(0.1), pair(wear.SteelOnSteel), called("r")), did(Measured, "2024-01-01", gave(0.2), called("s")))
	got := Histories(fleet, log, Model{}, utc("2025-01-01"))
	if len(got) != 2 {
		t.Fatalf("%d histories, want those of the two clocks that tell something", len(got))
	}
	steel, plain := got[0], got[1]
	if steel.Name != "clock-2/centre-front" || !strings.HasPrefix(steel.Group, "steel on steel | ") || len(steel.Segments) != 2 || !steel.Segments[1].Fresh {
		t.Errorf("%s, %s, %d parts", steel.Name, steel.Group, len(steel.Segments))
	}
	c := fleet.Clocks[3]
	b, arbor, tr, _ := c.Bearing("centre-front")
	if plain.Prior != wear.RatePrior(b, arbor, tr) || plain.Group != Group(b, arbor, tr) || len(plain.Segments) != 1 || len(plain.Segments[0].Readings) != 3 {
		t.Errorf("%+v", plain)
	}
	if h := plain.Segments[0].Readings[2].H; h != units("2023-01-01") {
		t.Errorf("exposure %v, want %v", h, units("2023-01-01"))
	}
	if early := Histories(fleet, log, Model{}, utc("2021-06-01")); len(early) != 2 {
		t.Errorf("%d histories of one reading each", len(early))
	}
	if got := Histories(Fleet{}, nil, Model{}, utc("2025-01-01")); len(got) != 0 {
		t.Errorf("%d histories of nothing", len(got))
	}
}

// A fleet that wears three times as fast as physics says teaches so, and a
// clock never read is believed to do the same.
func TestTeach(t *testing.T) {
	fleet, log := manyClocks(14, 4, math.Log(3))
	now := utc("2025-01-01")
	l, err := Teach(t.Context(), fleet, log, now)
	if err != nil {
		t.Fatal(err)
	}
	if !l.Model.Taught || l.Model.Bearings != 14 || l.Model.Readings != 56 || !l.FittedAt.Equal(now) || l.Version != 0 || l.OilInForce {
		t.Fatalf("%+v", l)
	}
	b, arbor, tr, _ := alone().Bearing("centre-front")
	physics, got := wear.RatePrior(b, arbor, tr), Model{Learned: &l}.prior(b, arbor, tr, time.UTC)
	if off := got.Mu - physics.Mu - math.Log(3); math.Abs(off) > 0.35 || got.Om >= physics.Om {
		t.Errorf("ln rate %+v, physics %+v: %.2f from threefold", got, physics, off)
	}
	if x := l.Track.Next; x.Ours.Forecasts < 14 || !(x.Ours.CRPS > 0) || x.Ours.CRPS >= x.StraightLine.CRPS {
		t.Errorf("track record %+v", x)
	}
	if l.WithOil != (wear.Track{}) {
		t.Errorf("scored by oil with no oil to go by: %+v", l.WithOil)
	}
	again, err := Teach(t.Context(), fleet, log, now)
	if err != nil || !reflect.DeepEqual(l, again) {
		t.Errorf("the same fleet taught something else: %v", err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := Teach(ctx, fleet, log, now); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
	none, err := Teach(t.Context(), fleetOf("UTC"), nil, now)
	if err != nil || none.Model.Taught || none.OilInForce {
		t.Errorf("an empty fleet taught %+v, %v", none, err)
	}
}

// The weighting by oil comes into force for a fiftieth better over thirty
// forecasts, and for no less.
func TestWhenOilIsInForce(t *testing.T) {
	track := func(n int, crps float64) wear.Track {
		return wear.Track{Next: wear.Versus{Ours: wear.Score{Forecasts: n, CRPS: crps}}}
	}
	for _, tt := range []struct {
		name            string
		plain, weighted wear.Track
		want            bool
	}{
		{"better by a twentieth", track(30, .100), track(30, .095), true},
		{"by a fiftieth", track(30, .100), track(30, .098), true},
		{"by a hundredth", track(30, .100), track(30, .099), false},
		{"worse", track(300, .100), track(300, .120), false},
		{"too few", track(29, .100), track(29, .050), false},
		{"other forecasts", track(40, .100), track(39, .050), false},
		{"none", track(0, 0), track(0, 0), false},
		{"no number", track(30, .1), track(30, math.NaN()), false},
	} {
		if got := oilHelps(tt.plain, tt.weighted); got != tt.want {
			t.Errorf("%s: %v", tt.name, got)
		}
	}
}

// A fleet whose wear goes by dry hours brings the weighting into force; one
// whose wear goes by run-hours does not.
func TestTeachByOil(t *testing.T) {
	for _, byOil := range []bool{true, false} {
		fleet, log := manyClocks(16, 5, 0)
		r := rand.New(rand.NewPCG(3, 5))
		for i := range fleet.Clocks {
			c := &fleet.Clocks[i]
			c.Policies = []Policy{{Task: Oiling, Days: 365, Source: "x"}}
			es := log[c.Slug]
			for year := 2020; year < 2025; year++ { // some oil, some years, some do not
				if r.IntN(2) == 0 {
					e := did(Oiled, fmt.Sprintf("%d-02-01", year), called(fmt.Sprintf("oil-%d", year)))
					e.Clock = c.Slug
					es = append(es, e)
				}
			}
			if byOil {
				f := Facts{Clock: *c, Site: fleet.Sites[0], Entries: es, Model: inForce()}
				b, arbor, tr, _ := c.Bearing("centre-front")
				rate := math.Exp(wear.RatePrior(b, arbor, tr).Mu + 0.3*r.NormFloat64())
				o := Outlook{Bearing: b}
				a := open(f, utc("2026-01-01"))
				o.gather(&a, f.Model, &a.Trains[0])
				for k := range es {
					if es[k].Reading != nil {
						es[k].Reading.Value = mm(0.10 + rate*o.Units(es[k].At) + 0.005*math.Abs(r.NormFloat64()))
					}
				}
			}
			log[c.Slug] = es
		}
		l, err := Teach(t.Context(), fleet, log, utc("2025-06-01"))
		if err != nil {
			t.Fatal(err)
		}
		if l.OilInForce != byOil || l.WithOil.Next.Ours.Forecasts == 0 {
			t.Errorf("wear by oil %v: in force %v; CRPS %.4f with, %.4f without, of %d", byOil, l.OilInForce,
				l.WithOil.Next.Ours.CRPS, l.Track.Next.Ours.CRPS, l.WithOil.Next.Ours.Forecasts)
		}
	}
}
