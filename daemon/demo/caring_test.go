package demo

import (
	"slices"
	"strings"
	"testing"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// How long a wind runs follows from the weight where that is described, and the
// blows of a day from the striking. 156 blows a day for hours alone is twice
// 1 + 2 + ... + 12.
func TestWindsFollowFromWeights(t *testing.T) {
	fleet := lived(aDay, 1).fleet
	weights, lines := 0, 0
	for _, c := range fleet.Clocks {
		lines += len(c.Care.Lines)
		for _, tr := range c.Trains {
			if tr.Weight == nil {
				continue
			}
			weights++
			want := eightDay
			if c.Slug == "old-priory" && tr.Code != "going" {
				want = fourDay
			}
			// To an hour: turns and falls are described in round figures.
			if run := tr.Run(); tr.Reserve != 0 || (run-want).Abs() > time.Hour {
				t.Errorf("%s: the %s runs %v by its weight, wanted %v, and states %v", c.Slug, tr.Name, run, want, tr.Reserve)
			}
		}
	}
	if weights < 8 || lines < 6 {
		t.Errorf("%d weights and %d lines are described", weights, lines)
	}
	for _, tt := range []struct {
		clock, train string
		blows        float64
	}{{"corn-hall", "strike", 156}, {"old-priory", "chime", 24 * (2 + 4 + 6 + 8)}, {"town-hall", "strike", 156 - (10 + 11 + 12 + 1 + 2 + 3 + 4 + 5 + 6)}} {
		tr, _ := clockOf(t, fleet, tt.clock).Train(tt.train)
		if tr.StrokesPerDay != 0 || tr.Blows() != tt.blows {
			t.Errorf("%s: the %s makes %v blows a day, want %v", tt.clock, tt.train, tr.Blows(), tt.blows)
		}
	}
}

// Every clock says how it is put back, and the rest of care is shown somewhere.
func TestCareIsShown(t *testing.T) {
	fleet := lived(aDay, 1).fleet
	maps, tolerances, pendulums, seasons, risks := 0, 0, 0, 0, 0
	tasks := map[schedule.TaskKind]int{}
	for _, s := range fleet.Sites {
		if s.Climate == nil || s.Climate.Source == "" {
			t.Errorf("%s has no climate", s.Slug)
		}
	}
	for _, c := range fleet.Clocks {
		if c.Care.Change == "" || c.Care.Room == "" {
			t.Errorf("%s: way back %q, room %q", c.Slug, c.Care.Change, c.Care.Room)
		}
		if (len(c.Care.Seasons) > 0) != (c.Kind == schedule.Post) {
			t.Errorf("%s, a %s clock, has %d seasons", c.Slug, c.Kind, len(c.Care.Seasons))
		}
		seasons += len(c.Care.Seasons)
		if len(c.Care.Points) > 0 {
			maps++
			if !slices.ContainsFunc(c.Care.Points, func(p schedule.OilPoint) bool { return p.Dry && p.Why != "" }) {
				t.Errorf("%s: its oil map has no place that stays dry", c.Slug)
			}
		}
		if c.Care.Tolerance != nil {
			tolerances++
		}
		if c.Care.Pendulum != nil {
			pendulums++
		}
		for _, p := range c.Policies {
			tasks[p.Task]++
			if p.Risk > 0 {
				risks++
			}
		}
	}
	if maps != 3 || tolerances < 6 || pendulums < 6 || seasons != 4 || risks < 2 || tasks[schedule.LineLook] < 3 || tasks[schedule.Visiting] < 3 {
		t.Errorf("%d oil maps, %d tolerances, %d pendulums, %d seasons, %d risks, policies %v", maps, tolerances, pendulums, seasons, risks, tasks)
	}
}

// Oil is found past its work the more often the longer it was left.
func TestOilIsFound(t *testing.T) {
	fresh, old := [2]int{}, [2]int{} // past its work, looked at
	for seed := range uint64(3) {
		log := lived(aDay, seed).log
		for slug, entries := range log {
			last := time.Time{}
			for _, e := range entries {
				if e.OilFound != "" && !last.IsZero() && slug != "station-post" && slug != "quay-post" {
					at := &fresh
					if e.At.Sub(last) > 300*24*time.Hour {
						at = &old
					}
					at[1]++
					if e.OilFound == schedule.OilGummed || e.OilFound == schedule.OilDry {
						at[0]++
					}
				}
				if e.Kind == schedule.Oiled && e.Replaces == "" {
					last = e.At
					if e.OilFound == "" && e.By != corin { // he had cleaned it
						t.Fatalf("%s: oiled on %v, and the old oil was not looked at", slug, e.At)
					}
				}
			}
		}
	}
	share := func(of [2]int) float64 { return float64(of[0]) / float64(of[1]) }
	if fresh[1] < 300 || old[1] < 60 || share(old) < 2*share(fresh) || share(old) < 0.1 || share(old) > 0.6 {
		t.Errorf("past its work: %v of fresh looks, %v of old ones", fresh, old)
	}
}

// Grams that were put on a pendulum were taken off again, by name.
func TestGramsAreUndone(t *testing.T) {
	for seed := uint64(1); seed <= 3; seed++ {
		log := lived(aDay, seed).log
		var put, off []schedule.Entry
		for _, e := range log["upper-row-regulator"] {
			switch {
			case e.Grams > 0:
				put = append(put, e)
			case e.Grams < 0:
				off = append(off, e)
			}
			if e.Kind == schedule.Wound && e.ErrorFound != nil && e.Celsius == nil {
				t.Fatalf("seed %d: the error was looked at on %v, and not the thermometer", seed, e.At)
			}
		}
		if len(put) != 1 || len(off) != 1 || off[0].Undoes != put[0].ID || off[0].Grams != -put[0].Grams || !off[0].At.After(put[0].At) {
			t.Errorf("seed %d: put on %v, taken off %v", seed, put, off)
		}
	}
}

// A broken strand stops its clock until the clockmaker clears it: nobody winds
// or starts it before.
func TestBrokenStrand(t *testing.T) {
	for name, today := range someDays {
		log := lived(today, 1).log
		found, stopped, renewed, cleared := false, false, false, false
		for _, e := range log["old-priory"] {
			switch {
			case e.Check != nil && e.Check.Strand:
				found = true
			case found && !cleared && e.Kind == schedule.Stopped:
				stopped = true
			case found && !cleared && (e.Kind == schedule.Wound || e.Kind == schedule.Started):
				t.Errorf("%s: %s on %v with a broken strand", name, e.Kind, e.At)
			case e.Work == schedule.NewLine:
				renewed = found && e.Line == "chime-line" && e.By == corin
			case e.Clears != "":
				cleared = true
				if !found || !stopped || !renewed || e.By != corin || e.Clears != schedule.DoNotRun || strings.TrimSpace(e.Note) == "" {
					t.Errorf("%s: found %v, stopped %v, renewed %v, cleared by %q: %q", name, found, stopped, renewed, e.By, e.Note)
				}
			}
		}
		if !found || !cleared {
			t.Errorf("%s: a strand found %v, cleared %v", name, found, cleared)
		}
	}
}

// Each change of time is ticked off on the day on which the zone's offset
// changes (the time zone database), by most clocks; one has not done its last.
func TestChangesAreTicked(t *testing.T) {
	loc := london(t)
	fleet, log := lived(aDay, 1).both()
	ticked, last := map[schedule.Date]int{}, map[string]schedule.Date{}
	for slug, entries := range log {
		for _, e := range entries {
			if e.Change.IsZero() {
				continue
			}
			_, before := e.Change.At(0, 30, loc).Zone()
			_, after := e.Change.At(12, 0, loc).Zone()
			if before == after || e.Kind != schedule.Set || schedule.DateOf(e.At, loc) != e.Change {
				t.Errorf("%s: %s on %v ticks a change on %v", slug, e.Kind, e.At, e.Change)
			}
			ticked[e.Change]++
			if last[slug] == e.Change {
				t.Errorf("%s ticks the change on %v twice", slug, e.Change)
			}
			last[slug] = e.Change
		}
	}
	if len(ticked) < 28 { // fifteen years of the oldest clock
		t.Errorf("%d changes were ticked off", len(ticked))
	}
	autumn := schedule.Date{Year: 2026, Month: time.October, Day: 25}
	if n := ticked[autumn]; n < 8 || n == len(fleet.Clocks) {
		t.Errorf("the last change was done on %d of %d clocks", n, len(fleet.Clocks))
	}
	if last["fulling-mill"] != (schedule.Date{Year: 2026, Month: time.March, Day: 29}) {
		t.Errorf("fulling-mill did its last change on %v", last["fulling-mill"])
	}
}

// The winders outlasted a cut of the mains, and the lights go on once a year but
// for the last.
func TestCutsAndSeasons(t *testing.T) {
	fleet, log := lived(aDay, 1).both()
	cuts := 0
	for _, e := range log["town-hall"] {
		if e.CutFrom.IsZero() {
			continue
		}
		cuts++
		if long := e.CutTo.Sub(e.CutFrom); long < 30*time.Minute || long > 2*time.Hour || e.CutTo.After(e.At) || e.Note == "" {
			t.Errorf("a cut from %v to %v, noted at %v", e.CutFrom, e.CutTo, e.At)
		}
	}
	if cuts != 2 {
		t.Errorf("%d cuts of the mains", cuts)
	}
	for _, slug := range []string{"station-post", "quay-post"} {
		c := clockOf(t, fleet, slug)
		years := map[string]map[int]int{"lights-on": {}, "gaskets": {}}
		for _, e := range log[slug] {
			if e.Season != "" {
				years[e.Season][e.At.Year()]++
			}
		}
		for code, done := range years {
			for year := c.InCare.Year + 1; year < aDay.Year; year++ {
				if done[year] > 1 {
					t.Errorf("%s: %s done %d times in %d", slug, code, done[year], year)
				}
			}
			if n := len(done); n < 8 {
				t.Errorf("%s: %s done in %d years", slug, code, n)
			}
		}
		if years["lights-on"][aDay.Year] != 0 {
			t.Errorf("%s: the lights of this year are on already", slug)
		}
	}
}

// An electric clock has no weight, and one that is described keeps within what
// can be: the whole demo passes schedule.Fleet.Validate (TestEverythingValidates).
func TestElectricHasNoWeight(t *testing.T) {
	fleet := lived(aDay, 1).fleet
	for _, tr := range clockOf(t, fleet, "station-post").Trains {
		if tr.Drive != wear.Electric || tr.Weight != nil {
			t.Errorf("the %s: %s, weight %v", tr.Name, tr.Drive, tr.Weight)
		}
	}
	if p := clockOf(t, fleet, "station-post").Care.Pendulum; p != nil {
		t.Errorf("a synchronous clock has a pendulum: %+v", p)
	}
}
