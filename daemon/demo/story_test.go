package demo

import (
	"slices"
	"testing"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// told is a fleet as a reader of the program would see it.
type told struct {
	*schedule.Snapshot
	log map[string][]schedule.Entry
}

func tell(t *testing.T, today schedule.Date, seed uint64) told {
	t.Helper()
	l := lived(today, seed)
	snap := l.survey()
	for _, a := range snap.Clocks {
		if len(a.Problems) > 0 {
			t.Fatalf("%s: the facts do not fit together: %v", a.Clock.Slug, a.Problems)
		}
	}
	return told{snap, l.log}
}

func (s told) clock(t *testing.T, slug string) schedule.Assessment {
	t.Helper()
	a, ok := s.Clock(slug)
	if !ok {
		t.Fatalf("there is no clock %q", slug)
	}
	return a
}

func (s told) outlook(t *testing.T, slug, bearing string) schedule.Outlook {
	t.Helper()
	o, ok := s.clock(t, slug).Outlook(bearing)
	if !ok {
		t.Fatalf("%s has no bearing %q", slug, bearing)
	}
	return o
}

func task(a schedule.Assessment, kind schedule.TaskKind, subject string) (schedule.Task, bool) {
	for _, k := range a.Tasks {
		if k.Kind == kind && k.Subject == subject {
			return k, true
		}
	}
	return schedule.Task{}, false
}

// The stories must be there whatever the lots say.
func TestStories(t *testing.T) {
	for seed := uint64(1); seed <= 6; seed++ {
		s := tell(t, aDay, seed)

		worn := s.outlook(t, "corn-hall", "escape-front")
		if !worn.Over || worn.Condition != schedule.Act {
			t.Errorf("seed %d: corn-hall's escape bush is %s at %.2f mm, wanted past %v", seed, worn.Condition, worn.Level.Mean, worn.Limit.Size)
		}
		if _, ok := task(s.clock(t, "corn-hall"), schedule.NearLimit, "escape-front"); !ok {
			t.Errorf("seed %d: nobody is told of corn-hall's worn bush", seed)
		}

		few := s.outlook(t, "town-hall", "north-pipe")
		if !few.Known || few.Dated || few.Beyond || few.Over || few.Wear.Readings() != 2 || few.Measure.IsZero() {
			t.Errorf("seed %d: town-hall's north pipe: known %v dated %v beyond %v over %v, %d readings, measure %v", seed,
				few.Known, few.Dated, few.Beyond, few.Over, few.Wear.Readings(), few.Measure)
		}

		dry := s.outlook(t, "reading-room", "bevel-foot")
		if dry.Wear.PChange() <= 0.5 || dry.Wear.ChangeAfter() < 0 {
			t.Errorf("seed %d: reading-room's change of rate has probability %.2f", seed, dry.Wear.PChange())
		}
	}
}

func TestNeverMeasured(t *testing.T) {
	s := tell(t, aDay, 1)
	a := s.clock(t, "fulling-mill")
	if n := count(s.log["fulling-mill"], schedule.Measured); n != 0 {
		t.Errorf("%d readings of a clock that was never measured", n)
	}
	for _, o := range a.Outlooks {
		if o.Known || o.Dated || !o.Early.IsZero() {
			t.Errorf("%s has a level or a date without a reading", o.Bearing.Code)
		}
		if o.Measure.Sub(aDay) < 1 || o.Measure.Sub(aDay) > 120 {
			t.Errorf("%s is to be measured by %v, wanted soon after %v", o.Bearing.Code, o.Measure, aDay)
		}
	}
}

func TestRestingInEverySeason(t *testing.T) {
	for name, today := range someDays {
		s := tell(t, today, 2)
		winter, bench := s.clock(t, "stable-court"), s.clock(t, "quay-post")
		// Yesterday is the last day of the log.
		out := outOfSeason(today.Add(-1))
		if winter.Resting != out {
			t.Errorf("%s: stable-court resting %v, wanted %v", name, winter.Resting, out)
		}
		if out && (winter.Back.Month != time.April || winter.Back.Day != 1 || winter.Back.Before(today)) {
			t.Errorf("%s: stable-court is back on %v", name, winter.Back)
		}
		if bench.Resting == outOfSeason(today) {
			t.Errorf("%s: quay-post resting %v", name, bench.Resting)
		}
		if bench.Resting && bench.Back != today.Add(24) {
			t.Errorf("%s: quay-post is back on %v, wanted %v", name, bench.Back, today.Add(24))
		}
		if winter.Resting {
			if k, ok := task(winter, schedule.Winding, "going"); ok && k.State != schedule.Resting {
				t.Errorf("%s: a resting clock's winding is %s", name, k.State)
			}
		}
	}
}

func TestEveryWinter(t *testing.T) {
	log := lived(aDay, 1).log
	loc, rests, starts := london(t), map[int]int{}, map[int]int{}
	for _, e := range log["stable-court"] {
		d := schedule.DateOf(e.At, loc)
		if e.Kind == schedule.Stopped && e.Cause == schedule.Rest {
			rests[d.Year]++
			if e.Until != (schedule.Date{Year: d.Year + 1, Month: time.April, Day: 1}) && d.Month >= time.November {
				t.Errorf("put to rest on %v until %v", d, e.Until)
			}
		}
		if e.Kind == schedule.Started && d.Month == time.April && d.Day == 1 {
			starts[d.Year]++
		}
		if outOfSeason(d) && d.Day > 2 && d.Month != time.November && e.Kind == schedule.Wound {
			t.Errorf("wound on %v, out of season", d)
		}
	}
	for year := 2015; year <= 2026; year++ {
		if rests[year] == 0 || starts[year] != 1 {
			t.Errorf("%d: put to rest %d times, started in spring %d times", year, rests[year], starts[year])
		}
	}
}

func TestLateWinding(t *testing.T) {
	for name, today := range someDays {
		s := tell(t, today, 2)
		a := s.clock(t, "almshouses")
		for _, train := range []string{"going", "strike"} {
			if k, ok := task(a, schedule.Winding, train); !ok || k.State != schedule.Late {
				t.Errorf("%s: winding of the %s train is %q, wanted late", name, train, k.State)
			}
		}
		log := s.log["almshouses"]
		if d := schedule.DateOf(log[len(log)-1].At, london(t)); today.Sub(d) < 14 {
			t.Errorf("%s: somebody was there on %v", name, d)
		}
		for _, c := range s.Clocks {
			if c.Clock.Slug == "almshouses" {
				continue
			}
			for _, k := range c.Tasks {
				if k.Kind == schedule.Winding && k.State == schedule.Late {
					t.Errorf("%s: winding of %s is late too", name, k.Clock)
				}
			}
		}
	}
}

func TestRepairResetsTheReadings(t *testing.T) {
	s := tell(t, aDay, 1)
	o := s.outlook(t, "old-priory", "fly-front")
	if len(o.Parts) != 2 {
		t.Fatalf("old-priory's fly bush has had %d parts, wanted 2", len(o.Parts))
	}
	old, fresh := o.Parts[0].Readings, o.Parts[1].Readings
	if len(old) < 5 || len(fresh) < 5 || o.Parts[1].Work != schedule.NewBush {
		t.Fatalf("%d readings before, %d after %q", len(old), len(fresh), o.Parts[1].Work)
	}
	before, after := old[len(old)-1].Reading.Value, fresh[0].Reading.Value
	if before-after < 40*wear.Micrometre {
		t.Errorf("%v before the new bush, %v after: no gain", before, after)
	}
	if fresh[0].At.Sub(old[len(old)-1].At) > 24*time.Hour {
		t.Error("it was not measured on the day, before and after")
	}
}

func TestMissedOil(t *testing.T) {
	log := lived(aDay, 1).log
	loc, longest, last := london(t), 0, schedule.Date{}
	for _, e := range log["reading-room"] {
		if e.Kind != schedule.Oiled {
			continue
		}
		d := schedule.DateOf(e.At, loc)
		if !last.IsZero() {
			longest = max(longest, d.Sub(last))
		}
		last = d
	}
	if longest < 600 || longest > 1000 {
		t.Errorf("the longest stretch without oil was %d days, wanted some two years", longest)
	}
	if aDay.Sub(last) > 400 {
		t.Errorf("nobody has oiled since %v", last)
	}
}

func TestCorrections(t *testing.T) {
	log := lived(aDay, 1).log
	found := map[schedule.EntryKind]int{}
	for slug, entries := range log {
		for _, e := range entries {
			if e.Replaces == "" {
				continue
			}
			found[e.Kind]++
			i := slices.IndexFunc(entries, func(o schedule.Entry) bool { return o.ID == e.Replaces })
			if i < 0 || e.Why == "" || !entries[i].RecordedAt.Before(e.RecordedAt) || !entries[i].At.Equal(e.At) {
				t.Fatalf("%s: the correction of %v does not fit what it corrects", slug, e.At)
			}
			switch old := entries[i]; e.Kind {
			case schedule.Measured:
				if old.Reading.Value != 10*e.Reading.Value {
					t.Errorf("%v was corrected to %v, wanted a tenth", old.Reading.Value, e.Reading.Value)
				}
			case schedule.Oiled:
				if old.Oil == e.Oil {
					t.Error("the corrected oil is the same oil")
				}
			}
		}
	}
	if found[schedule.Measured] != 1 || found[schedule.Oiled] != 1 {
		t.Errorf("corrections %v, wanted a reading and an oiling", found)
	}
}

// Physics: no clock goes on longer than its wind runs, and one that was not
// wound in time was found stopped.
func TestWindsRunOut(t *testing.T) {
	down := 0
	for seed := uint64(1); seed <= 3; seed++ {
		fleet, log := lived(aDay, seed).both()
		for _, c := range fleet.Clocks {
			going := c.Trains[0]
			if going.Drive != wear.HandWound {
				continue
			}
			wound := time.Time{}
			for _, e := range log[c.Slug] {
				switch {
				case e.Kind == schedule.Stopped:
					wound = time.Time{}
					if e.Cause == schedule.RanDown {
						down++
					}
				case e.Kind == schedule.Wound && (e.Train == "" || e.Train == going.Code):
					if gap := e.At.Sub(wound); !wound.IsZero() && gap > going.Run() {
						t.Errorf("%s went on for %v at %v on a wind of %v", c.Slug, gap, e.At, going.Run())
					}
					wound = e.At
				}
			}
		}
	}
	if down < 10 {
		t.Errorf("clocks ran down %d times in three fleets: too good to be believed", down)
	}
}

func TestStopsHaveCausesAndEnds(t *testing.T) {
	fleet, log := lived(aDay, 1).both()
	causes := map[schedule.StopCause]int{}
	for _, c := range fleet.Clocks {
		stopped := false
		for _, e := range log[c.Slug] {
			switch e.Kind {
			case schedule.Stopped:
				stopped = true
				causes[e.Cause]++
			case schedule.Started:
				stopped = false
			}
		}
		if stopped != (c.Slug == "stable-court") {
			t.Errorf("%s ends stopped: %v", c.Slug, stopped)
		}
	}
	for _, want := range []schedule.StopCause{schedule.ByHand, schedule.Rest, schedule.ForWork, schedule.RanDown, schedule.Weather, schedule.Birds} {
		if causes[want] == 0 {
			t.Errorf("nothing ever stopped %s", want)
		}
	}
}
