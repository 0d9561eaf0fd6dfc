package schedule

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"endshake/wear"
)

// oilFleet is a fleet whose mineral oil lasts e^shift times as long as is
// believed, with what keepers logged of it: they oil it and look at it every
// year or so until it has failed, and some renew it before. true is the middle
// of the ln life of each clock.
type oilFleet struct {
	fleet Fleet
	log   map[string][]Entry
	truth []float64
	r     *rand.Rand
}

var lifeSpread, placeSpread, kindSpread = spreads(math.Log(1.8))

func simulateOil(r *rand.Rand, clocks int, shift float64) oilFleet {
	out := oilFleet{log: map[string][]Entry{}, r: r}
	var all []Clock
	for i := range clocks {
		c := mapped()
		c.Slug, c.InCare = fmt.Sprintf("clock-%d", i), d("2005-01-01")
		mu := math.Log(3) + shift + placeSpread*r.NormFloat64()
		all, out.truth = append(all, c), append(out.truth, mu)
		out.log[c.Slug] = out.keep(mu, r.Float64() < .5)
	}
	out.fleet = fleetOf("UTC", all...)
	return out
}

func (f oilFleet) life(mu float64) float64 { return math.Exp(mu + lifeSpread*f.r.NormFloat64()) }

// keep is the log of one clock over fifteen years.
func (f oilFleet) keep(mu float64, renews bool) []Entry {
	begin := d("2005-01-01").Start(time.UTC)
	at := func(years float64) time.Time { return begin.Add(time.Duration(years * yearHours * float64(time.Hour))) }
	now, log := 0.0, []Entry{doneAt(Oiled, begin)}
	life := f.life(mu)
	for age := 0.0; ; {
		step := .5 + f.r.Float64()
		if now, age = now+step, age+step; now > 15 {
			return book(log...)
		}
		found := []OilFound{OilClean, OilDarkened}[f.r.IntN(2)]
		if age > life {
			found = []OilFound{OilGummed, OilDry}[f.r.IntN(2)]
		}
		if age > life || renews && f.r.Float64() < .25 {
			log = append(log, doneAt(Oiled, at(now), oilFound(found)))
			age, life = 0, f.life(mu)
			continue
		}
		log = append(log, doneAt(Inspected, at(now), oilFound(found)))
	}
}

// A fleet teaches how long its oil lasts: the more clocks, the nearer.
func TestOilLessonFindsTheTruth(t *testing.T) {
	const seed = 17
	r := rand.New(rand.NewPCG(seed, 1))
	off := map[int]float64{}
	for _, shift := range []float64{-.6, -.2, 0, .3, .6} {
		for _, clocks := range []int{5, 200} {
			f := simulateOil(r, clocks, shift)
			l := learnOil(oilsOf(f.fleet, f.log, utc("2020-01-01")))[MineralOil]
			off[clocks] += math.Abs(l.Shift-shift) / 5
			if l.Clocks != clocks || l.Sightings < 2*clocks || !(l.SD > 0 && l.SD < kindSpread) {
				t.Errorf("seed %d: %+v of %d clocks", seed, l, clocks)
			}
			if x := math.Exp(l.Shift - shift); clocks == 200 && (x < .88 || x > 1.12) {
				t.Errorf("seed %d: learned a middle %.3f times the true one at shift %v (%+v)", seed, x, shift, l)
			}
		}
	}
	if off[200] > off[5]/2 {
		t.Errorf("seed %d: off by %v with 5 clocks and %v with 200", seed, off[5], off[200])
	}
}

// One oiling in ten that is due at a risk of one in ten is over before, for
// oil put in anew and for oil that was seen good a while ago, with what the
// fleet taught and what the clock itself did.
func TestOilRiskIsKept(t *testing.T) {
	fresh, freshOver, seen, seenOver := 0, 0, 0, 0
	for seed := range uint64(10) {
		r := rand.New(rand.NewPCG(seed, 7))
		f := simulateOil(r, 120, kindSpread*r.NormFloat64())
		m := Model{Learned: &Learned{OilLives: learnOil(oilsOf(f.fleet, f.log, utc("2020-01-01")))}}
		for i, c := range f.fleet.Clocks {
			a := open(Facts{Clock: c, Site: f.fleet.Sites[0], Entries: f.log[c.Slug], Model: m}, utc("2020-01-01"))
			o := oils(&a, m)[0]
			post := wear.Life{Mu: o.Life.Mu, S0: o.Life.S0, Sigma: o.Life.Sigma, Capped: o.Life.Capped, Seen: o.sightings}.Posterior()
			for range 5 {
				life := f.life(f.truth[i])
				fresh++
				if life < post.DueAt(.1, 0) {
					freshOver++
				}
				if good := post.Median() * r.Float64(); life > good {
					seen++
					if life < post.DueAt(.1, good) {
						seenOver++
					}
				}
			}
		}
	}
	for name, share := range map[string]float64{"fresh": float64(freshOver) / float64(fresh), "seen good": float64(seenOver) / float64(seen)} {
		t.Logf("%s: %.1f %% over before they were due", name, 100*share)
		if share < .07 || share > .13 {
			t.Errorf("seeds 0 to 9, %s: %.1f %% were over before they were due, want 7 to 13", name, 100*share)
		}
	}
}

// The lesson is a middle weighed by prior and likelihood: with one exact life of
// one clock it is that of a normal mean, worked by hand. The share of what was
// seen that goes to the kind is its variance by that of all three.
func TestOilLessonClosedForm(t *testing.T) {
	one := oilPupil{"a", math.Log(3), []wear.Sighting{{From: 4, To: 4}}}
	l := oilLesson(MineralOil, []oilPupil{one})
	total := kindSpread*kindSpread + placeSpread*placeSpread + lifeSpread*lifeSpread
	share := kindSpread * kindSpread / total
	if want := share * math.Log(4./3); math.Abs(l.Shift-want) > 1e-5 {
		t.Errorf("shift %v, want %v", l.Shift, want)
	}
	if want := kindSpread * math.Sqrt(1-share); math.Abs(l.SD-want) > 1e-5 {
		t.Errorf("sd %v, want %v", l.SD, want)
	}
}

// Good oil alone never teaches that it lasts longer; what has no kind, or was
// never looked at, teaches nothing.
func TestOilLessonLeavesOut(t *testing.T) {
	good := book(did(Oiled, "2010-01-01"), did(Oiled, "2012-01-01", oilFound(OilClean)), did(Oiled, "2014-01-01", oilFound(OilClean)))
	c := mapped()
	c.InCare = d("2010-01-01")
	bare := c
	bare.Care.Points = nil
	for _, tt := range []struct {
		name string
		c    Clock
		log  []Entry
		want int
	}{
		{"good oil", c, good, 2},
		{"no kind", bare, good, 0},
		{"never looked at", c, good[:1], 0},
	} {
		got := learnOil(oilsOf(fleetOf("UTC", tt.c), map[string][]Entry{tt.c.Slug: tt.log}, utc("2016-01-01")))
		if tt.want == 0 {
			if got != nil {
				t.Errorf("%s: taught %v", tt.name, got)
			}
			continue
		}
		if l := got[MineralOil]; l.Sightings != tt.want || l.Clocks != 1 || l.Shift > 0 {
			t.Errorf("%s: %+v", tt.name, l)
		}
	}
}

// What was learned moves the middle of every clock with that kind of oil, says
// so, and survives being kept. A lesson that is no lesson moves nothing.
func TestOilLessonInUse(t *testing.T) {
	log := book(did(Oiled, "2024-01-01"))
	c := mapped()
	f := fleetOf("UTC", c)
	state := func(m Model) (OilState, Task) {
		a := Assess(Facts{Clock: c, Site: f.Sites[0], Entries: log, Model: m}, utc("2024-06-01"))
		return a.Oils[0], taskOf(t, a, Oiling, "")
	}
	plain, _ := state(Model{})
	l := Learned{Version: 1, FittedAt: utc("2024-01-01"), OilLives: map[OilKind]OilLesson{MineralOil: {Shift: math.Log(2), SD: .1, Clocks: 5, Sightings: 12, Ended: 3}}}
	kept, err := json.Marshal(l)
	if err != nil {
		t.Fatal(err)
	}
	var back Learned
	if err := json.Unmarshal(kept, &back); err != nil {
		t.Fatal(err)
	}
	taught, task := state(Model{Learned: &back})
	if math.Abs(taught.Median/plain.Median-2) > 1e-6 || !taught.ByRisk.After(plain.ByRisk) || !(taught.Life.S0 < plain.Life.S0) {
		t.Errorf("median %v after %v, due %v after %v", taught.Median, plain.Median, taught.ByRisk, plain.ByRisk)
	}
	if s := strings.Join(taught.Factors, " "); !strings.Contains(s, "12 lives of oil at 5 clocks of the fleet have shown that it lasts 2.0 times as long as was believed.") {
		t.Errorf("%q", s)
	}
	if !strings.HasPrefix(task.Confidence, "fair: from 12 lives of oil at 5 clocks of the fleet") {
		t.Errorf("%q", task.Confidence)
	}
	text := LessonText(l)
	if !strings.Contains(text, "Mineral oil lasts 2.0 times as long as was believed (12 lives of oil at 5 clocks, 3 found past their work: 27 %, likely 10 to 48).") {
		t.Errorf("%q", text)
	}
	for _, bad := range []OilLesson{{Shift: math.NaN(), SD: .1}, {Shift: math.Inf(1), SD: .1}, {Shift: 1, SD: math.NaN()}, {Shift: 1, SD: -1}} {
		l.OilLives = map[OilKind]OilLesson{MineralOil: bad}
		if got, _ := state(Model{Learned: &l}); got.Median != plain.Median {
			t.Errorf("%+v moved the median to %v", bad, got.Median)
		}
	}
	for shift, want := range map[float64]string{0: "about as long", -.5: "only 0.61 of the time", .5: "1.6 times"} {
		if got := lastsWords(shift); !strings.Contains(got, want) {
			t.Errorf("%v: %q", shift, got)
		}
	}
}

// Teaching teaches the oil too.
func TestTeachTeachesOil(t *testing.T) {
	f := simulateOil(rand.New(rand.NewPCG(3, 3)), 4, .5)
	l, err := Teach(t.Context(), f.fleet, f.log, utc("2020-01-01"))
	if err != nil || l.OilLives[MineralOil].Clocks != 4 || l.OilLives[MineralOil].Shift <= 0 {
		t.Errorf("%+v (%v)", l.OilLives, err)
	}
}

// The lesson hangs on what was seen alone: not on the order of the clocks, nor
// of their logs; and each kind of oil is learned by itself.
func TestOilLessonHangsOnWhatWasSeen(t *testing.T) {
	const seed = 23
	r := rand.New(rand.NewPCG(seed, 1))
	f := simulateOil(r, 12, .2)
	now := utc("2020-01-01")
	want := learnOil(oilsOf(f.fleet, f.log, now))[MineralOil]
	r.Shuffle(len(f.fleet.Clocks), func(i, j int) {
		f.fleet.Clocks[i], f.fleet.Clocks[j] = f.fleet.Clocks[j], f.fleet.Clocks[i]
	})
	for _, log := range f.log {
		r.Shuffle(len(log), func(i, j int) { log[i], log[j] = log[j], log[i] })
	}
	got := learnOil(oilsOf(f.fleet, f.log, now))[MineralOil]
	if math.Abs(got.Shift-want.Shift) > 1e-9 || math.Abs(got.SD-want.SD) > 1e-9 || got.Sightings != want.Sightings {
		t.Errorf("seed %d: %+v in another order, %+v before", seed, got, want)
	}
	// Half of the clocks with another oil, of longer life: two lessons, each less
	// sure, and what is the same oil to look at is less good for one that is
	// believed to last longer.
	for i := range f.fleet.Clocks[:6] {
		f.fleet.Clocks[i].Care.Points = []OilPoint{pt("front", func(p *OilPoint) { p.Kind = SyntheticOil })}
	}
	both := learnOil(oilsOf(f.fleet, f.log, now))
	if a, b := both[MineralOil], both[SyntheticOil]; a.Clocks != 6 || b.Clocks != 6 || a.Sightings+b.Sightings != want.Sightings || a.SD < want.SD || b.Shift > a.Shift {
		t.Errorf("seed %d: %+v, of all %+v", seed, both, want)
	}
	if all := learnOil(nil); all != nil {
		t.Errorf("nothing taught %v", all)
	}
}

// A clock is judged by the fleet and by itself: the more often its own oil was
// seen to fail, the nearer its median is to its own lives, whatever the fleet.
func TestOilOwnLivesWin(t *testing.T) {
	c := mapped()
	c.InCare = d("1990-01-01")
	m := Model{Learned: &Learned{OilLives: map[OilKind]OilLesson{MineralOil: {Shift: .3, SD: .05, Clocks: 50, Sightings: 300}}}}
	f := fleetOf("UTC", c)
	last := 3 * math.Exp(.3)
	for _, lives := range []int{1, 3, 9, 27} {
		log := []Entry{did(Oiled, "1990-01-01")}
		for i := range lives { // each found good at ten months and gone at a year
			at := d("1990-01-01").Add(365 * i)
			log = append(log, doneAt(Inspected, at.Add(305).Start(time.UTC), oilFound(OilClean)), doneAt(Oiled, at.Add(365).Start(time.UTC), oilFound(OilDry)))
		}
		o := Assess(Facts{Clock: c, Site: f.Sites[0], Entries: book(log...), Model: m}, utc("2020-01-01")).Oils[0]
		if o.Median >= last || o.Looks != lives {
			t.Errorf("after %d lives of a year the median is %v, before %v", lives, o.Median, last)
		}
		last = o.Median
	}
	if last > 1.15 {
		t.Errorf("after 27 lives of about a year the median is %v", last)
	}
}
