package demo

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat"

	"endshake/schedule"
	"endshake/wear"
)

// The fleet has meshes of every kind; the post clock's bevels bind before what
// the conservator set, and say so.
func TestMeshes(t *testing.T) {
	s := tell(t, aDay, 1)
	kinds := map[wear.MeshKind]int{}
	for _, a := range s.Clocks {
		for _, o := range a.Outlooks {
			for _, m := range o.Meshes {
				kinds[m.Mesh.Kind]++
				if err := m.Mesh.Validate(); err != nil || !m.Known || m.Source == "" {
					t.Errorf("%s: mesh %s: known %v, limits from %q, %v", a.Clock.Slug, m.Mesh.Code, m.Known, m.Source, err)
				}
			}
		}
	}
	if kinds[wear.Bevel] == 0 || kinds[wear.Contrate] == 0 || kinds[wear.Spur] == 0 {
		t.Errorf("meshes %v, wanted a bevel, a contrate and a spur", kinds)
	}
	o := s.outlook(t, "station-post", "bevel-washer")
	// A mitre bevel loses sin 45° of its drop in depth; it is to be mended at
	// 0.45 of the module of 1.5 mm, from the 0.40 mm it was fitted at, down to a
	// hundredth.
	want := wear.FromMM(0.40 + 0.45*1.5/math.Sin(math.Pi/4))
	if d := (o.Limit.Size - want).MM(); d > 0 || d < -0.01 || !strings.Contains(o.Limit.Source, "bevels in the head") {
		t.Errorf("limit %v (%s), wanted the mesh's %v", o.Limit.Size, o.Limit.Source, want)
	}
	if len(o.Meshes) != 1 || o.Meshes[0].Now.Lost <= 0 || o.Meshes[0].Now.Freedom <= 0 {
		t.Errorf("the post clock's bevels have not opened: %+v", o.Meshes)
	}
}

// A long shaft moves with the season: readings brought to one temperature lie
// far closer to a line than those as read (least squares, gonum).
func TestShaftMovesByTheSeason(t *testing.T) {
	for seed := uint64(1); seed <= 4; seed++ {
		o := tell(t, aDay, seed).outlook(t, "quay-post", "post-shaft-foot")
		var at, raw, brought []float64
		for _, r := range o.Parts[0].Readings {
			at, raw, brought = append(at, r.Exposure), append(raw, r.Reading.Value.MM()), append(brought, r.Value)
		}
		scatter := func(y []float64) float64 {
			a, b := stat.LinearRegression(at, y, nil, false)
			sum := 0.0
			for i := range y {
				sum += (y[i] - a - b*at[i]) * (y[i] - a - b*at[i])
			}
			return math.Sqrt(sum / float64(len(y)-2))
		}
		if len(at) < 12 || scatter(brought) > 0.6*scatter(raw) {
			t.Errorf("seed %d: %d readings scatter by %.3f mm as read, %.3f mm brought to one temperature", seed, len(at), scatter(raw), scatter(brought))
		}
	}
}

// The misread bearing is asked for again on whatever day the demo is looked at,
// and the log without that reading has no doubt.
func TestLastReadingIsMisread(t *testing.T) {
	for name, today := range someDays {
		s := tell(t, today, 2)
		o := s.outlook(t, "town-hall", "centre-front")
		if !o.ReadAgain || o.Condition != schedule.Watch || o.Over || !strings.Contains(o.Sentence, "does not fit") {
			t.Errorf("%s: read again %v, condition %s: %s", name, o.ReadAgain, o.Condition, o.Sentence)
		}
		k, ok := task(s.clock(t, "town-hall"), schedule.Measuring, "centre-front")
		if !ok || k.State == schedule.Late || !strings.HasPrefix(k.Reason, "read again") {
			t.Errorf("%s: the task to read again: %v, %s, %q", name, ok, k.State, k.Reason)
		}
		entries := s.log["town-hall"]
		var without []schedule.Entry
		for _, e := range entries {
			if e.Note != "With a borrowed gauge" {
				without = append(without, e)
			}
		}
		if len(without) != len(entries)-1 {
			t.Fatalf("%s: %d borrowed gauges", name, len(entries)-len(without))
		}
		a := s.clock(t, "town-hall")
		again := schedule.Assess(schedule.Facts{Clock: a.Clock, Site: a.Site, Entries: without}, a.Now)
		if o, _ := again.Outlook("centre-front"); o.ReadAgain || o.Condition != schedule.Sound {
			t.Errorf("%s: without the wrong reading: read again %v, %s", name, o.ReadAgain, o.Condition)
		}
	}
}

// Worn out too fast, then mended with its cause: less wear from then on.
func TestRepairedForExcessWear(t *testing.T) {
	excess := 0
	const seeds = 8
	for seed := uint64(1); seed <= seeds; seed++ {
		l := lived(aDay, seed)
		truths, a := l.truths, l.survey()
		clock, _ := a.Clock("old-priory")
		o, _ := clock.Outlook("fly-front")
		r := o.Parts[0].Readings
		if r[len(r)-1].Reading.Value >= o.Bearing.Act.Size*85/100 {
			excess++
		}
		for _, x := range truths {
			if x.Clock == "old-priory" && x.Bearing == "fly-front" && (!x.Changed || x.Rate > x.Drawn/2) {
				t.Errorf("seed %d: rate %.4f before, %.4f after the repair", seed, x.Drawn, x.Rate)
			}
		}
	}
	if excess < seeds-2 {
		t.Errorf("worn near its limit before the repair in %d of %d fleets", excess, seeds)
	}
}

// Late oil costs what the coefficients of its states say. By hand, for steel on
// steel outdoors: 5e-6, 5e-5 and 1e-3 mm³/(N m) for good, aged and dry, beside
// the usual mix of 0.70 x 5e-6 + 0.22 x 5e-5 + 0.08 x 1e-3 = 9.45e-5.
func TestLateOilCostsWear(t *testing.T) {
	var grown, want, inTime float64
	const seeds = 12
	for seed := uint64(1); seed <= seeds; seed++ {
		for _, late := range []int{130, 1} {
			p := stationPost()
			p.story.lateOil = late
			p.clock.InCare = back(aDay, p.years, 0)
			fitted(&p.clock)
			s := newSim(p, aDay, rand.New(rand.NewPCG(seed, 9)))
			start := s.point("bevel-washer").level
			s.live()
			x := s.point("bevel-washer")
			s.grow(x)
			if late == 1 {
				inTime += x.level - start
				continue
			}
			grown += x.level - start
			by := x.train.by
			want += x.truth.Rate / 1000 * (by[0]*5e-6 + by[1]*5e-5 + by[2]*1e-3) / 9.45e-5
			if by[1] < 0.3*x.train.hours || math.Abs(by[0]+by[1]+by[2]-x.train.hours) > 1e-6*x.train.hours {
				t.Errorf("seed %d: %.0f h with good, %.0f with aged, %.0f with dry oil, of %.0f", seed, by[0], by[1], by[2], x.train.hours)
			}
		}
	}
	// A gamma process of grain 0.01 mm: the sum has a deviation of sqrt(0.01 sum).
	if math.Abs(grown-want) > 4*math.Sqrt(grain*want) {
		t.Errorf("late oil wore %.3f mm in all, by hand %.3f", grown, want)
	}
	if inTime > 0.6*grown {
		t.Errorf("oiled in time it wore %.3f mm in all, late %.3f: lateness costs nothing", inTime, grown)
	}
	o := tell(t, aDay, 1).outlook(t, "station-post", "bevel-washer")
	if o.Oil == nil || o.Oil.Late < 0.5 {
		t.Errorf("the schedule does not see what late oil costs: %+v", o.Oil)
	}
}

// There is enough in the fleet for it to learn from.
func TestTheFleetTeaches(t *testing.T) {
	fleet, log := lived(aDay, 1).both()
	twice, groups := 0, map[string]int{}
	for _, h := range schedule.Histories(fleet, log, schedule.Model{}, aDay.At(6, 0, london(t))) {
		for _, s := range h.Segments {
			if len(s.Readings) >= 2 {
				twice++
				groups[h.Group]++
				break
			}
		}
	}
	if twice < 40 || len(groups) < 4 {
		t.Errorf("%d bearings were read twice, in the groups %v", twice, groups)
	}
}
