package schedule

import (
	"context"
	"maps"
	"math"
	"os"
	"runtime"
	"runtime/debug"
	"slices"
	"strconv"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"endshake/wear"
)

// simFleet is how many clocks the simulated fleet has: more where nothing may be
// left out, and as many as ENDSHAKE_FLEET says, 200 for the whole of it.
func simFleet() int {
	if n, err := strconv.Atoi(os.Getenv("ENDSHAKE_FLEET")); err == nil && n > 0 {
		return n
	}
	if os.Getenv("ENDSHAKE_CI") != "" {
		return 40
	}
	return 20
}

const (
	simSeed = 20160104
	simDays = 3652
)

// The engine beside ten years of a fleet whose truth it does not know: what is
// due stays due until it is answered, stops that can be foreseen are warned of,
// and what the fleet teaches of its oils comes near the truth.
func TestFleetSim(t *testing.T) {
	defer debug.SetGCPercent(debug.SetGCPercent(400)) // ten years of answers in a minute, and few are kept
	began := time.Now()
	lives := make([]*clockLife, simFleet())
	for i := range lives {
		lives[i] = newLife(i, simSeed)
		lives[i].believe()
	}
	var m Model
	var taught time.Duration
	first := d("2016-01-05")
	for from := 0; from < simDays; from += 91 {
		each(lives, func(l *clockLife) {
			for n := from; n < min(from+91, simDays); n++ {
				l.day(first.Add(n), m)
			}
		})
		start := time.Now()
		m = teachSim(t, lives, m, first.Add(min(from+91, simDays)), from/91%8 == 7)
		taught += time.Since(start)
	}
	t.Logf("seed %d, %d clocks, %d days: %v, of which %v for lessons", simSeed, len(lives), simDays, time.Since(began).Round(time.Millisecond), taught.Round(time.Millisecond))
	report(t, lives, m)
}

// each does something with every clock, several at a time.
func each[T any](lives []T, do func(T)) {
	var next atomic.Int64
	var wg sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for i := int(next.Add(1)) - 1; i < len(lives); i = int(next.Add(1)) - 1 {
				do(lives[i])
			}
		})
	}
	wg.Wait()
}

// teachSim is what the fleet teaches at the end of a quarter: of its oils, and
// every other year of its wear. The service does it each night.
func teachSim(t *testing.T, lives []*clockLife, m Model, day Date, wears bool) Model {
	l := Learned{Version: 1, FittedAt: day.Start(time.UTC)}
	if m.Learned != nil {
		l = *m.Learned
		l.Version++
	}
	all := make([]Assessment, len(lives))
	fleet, log := Fleet{}, map[string][]Entry{}
	for i, x := range lives {
		all[i], x.lessons = *x.before, true
		fleet.Clocks, fleet.Sites = append(fleet.Clocks, x.c), append(fleet.Sites, x.site)
		log[x.c.Slug] = x.log
	}
	l.OilLives = learnOil(all)
	if wears {
		var err error
		if l.Model, err = wear.Learn(context.Background(), Histories(fleet, log, m, day.Start(time.UTC)), wear.Teaching{}); err != nil {
			t.Fatal(err)
		}
	}
	return Model{Learned: &l}
}

// report prints what came of it, and holds the engine to it.
func report(t *testing.T, lives []*clockLife, m Model) {
	sum := simCounts{warned: map[string][2]int{}, done: map[TaskKind][2]int{}, bands: map[int][3]int{}}
	for _, l := range lives {
		sum.vanished, sum.unwarned = append(sum.vanished, l.vanished...), append(sum.unwarned, l.unwarned...)
		sum.taught = append(sum.taught, l.taught...)
		sum.reminders, sum.months, sum.listed, sum.entries = sum.reminders+l.reminders, sum.months+l.months, sum.listed+l.listed, sum.entries+len(l.log)
		for k, n := range l.warned {
			sum.warned[k] = [2]int{sum.warned[k][0] + n[0], sum.warned[k][1] + n[1]}
		}
		for k, n := range l.done {
			sum.done[k] = [2]int{sum.done[k][0] + n[0], sum.done[k][1] + n[1]}
		}
		for k, n := range l.bands {
			sum.bands[k] = [3]int{sum.bands[k][0] + n[0], sum.bands[k][1] + n[1]}
		}
	}
	t.Logf("%d entries; problems with the log of %d clocks", sum.entries, problems(lives))
	reportStops(t, lives, sum)
	for _, kind := range TaskKinds {
		if n := sum.done[kind]; n[0] > 0 {
			t.Logf("%s: done %d, late %d", kind, n[0], n[1])
		}
	}
	t.Logf("on the first of a month a clock asks for %.2f tasks besides winding; %.2f reminders a clock and year",
		float64(sum.listed)/float64(sum.months), float64(sum.reminders)/float64(len(lives))/10)
	low, high, held, all := 1.0, 0.0, 0, 0
	for _, n := range sum.bands {
		if held, all = held+n[1], all+n[0]; n[0] >= 30 {
			low, high = math.Min(low, float64(n[1])/float64(n[0])), math.Max(high, float64(n[1])/float64(n[0]))
		}
	}
	t.Logf("80 %% bands of the next reading held %.0f %% of %d; by year from %.0f to %.0f %%", 100*float64(held)/float64(max(1, all)), all, 100*low, 100*high)
	if share := float64(held) / float64(max(1, all)); all >= 100 && (share < 0.70 || share > 0.92) {
		t.Errorf("80 %% bands held %.0f %%", 100*share)
	}
	t.Logf("left the due-list with a lesson: %d, by kind %v", len(sum.taught), tallied(sum.taught))
	if len(sum.vanished) > 0 {
		t.Errorf("%d tasks vanished with no entry, as: %q", len(sum.vanished), sum.vanished[:min(12, len(sum.vanished))])
	}
	reportOil(t, lives, m)
}

// reportStops compares stops with what was warned of.
func reportStops(t *testing.T, lives []*clockLife, sum simCounts) {
	foreseen, warned := 0, 0
	for _, why := range slices.Sorted(maps.Keys(sum.warned)) {
		n := sum.warned[why]
		t.Logf("stopped, %s: %d, warned of %d (%.1f %%)", why, n[0], n[1], 100*float64(n[1])/float64(n[0]))
		if why != "chance" && (why != "oil" || followsOil(lives)) {
			foreseen, warned = foreseen+n[0], warned+n[1]
		}
	}
	if foreseen < 100 || float64(warned) < 0.95*float64(foreseen) {
		t.Errorf("of %d stops that can be foreseen %d were warned of: not of %q", foreseen, warned, sum.unwarned[:min(8, len(sum.unwarned))])
	}
	// Where all is done in time only what came too soon stops a clock, so of each
	// cause the stops with no warning are held against all that might have stopped it.
	parts, oils := 0, 0
	for _, l := range lives {
		parts, oils = parts+len(l.w.bearings)+l.repairs, oils+len(l.w.lives)
	}
	for _, x := range []struct {
		why string
		of  int
	}{{"oil", oils}, {"bearing", parts}} {
		n := sum.warned[x.why][0] - sum.warned[x.why][1]
		t.Logf("stopped with no warning, %s: %d of %d", x.why, n, x.of)
		if (x.why != "oil" || followsOil(lives)) && float64(n) > 0.05*float64(x.of) {
			t.Errorf("%d of %d stopped a clock with no warning (%s): %q", n, x.of, x.why, sum.unwarned[:min(8, len(sum.unwarned))])
		}
	}
}

// reportOil compares what was learned of each oil with the truth.
func reportOil(t *testing.T, lives []*clockLife, m Model) {
	if m.Learned.OilLives == nil {
		t.Log("nothing was learned of oil")
		return
	}
	for _, kind := range OilKinds {
		l, ok := m.Learned.OilLives[kind]
		if want := simOil[kind]; ok && want > 0 {
			t.Logf("%s: lasts %.2f times as long as believed; learned %.2f (sd %.2f, %d clocks, %d sightings)", kind, want, math.Exp(l.Shift), l.SD, l.Clocks, l.Sightings)
			if len(lives) >= 36 && math.Abs(l.Shift-math.Log(want)) > math.Log(1.2) { // fewer cannot tell it so closely
				t.Errorf("%s: learned %.2f, truth %.2f", kind, math.Exp(l.Shift), want)
			}
		}
	}
}

// followsOil reports whether the engine follows the oil of the fleet's clocks.
func followsOil(lives []*clockLife) bool { return len(lives[0].before.Oils) > 0 }

// tallied counts how often each is there.
func tallied(names []string) map[string]int {
	out := map[string]int{}
	for _, name := range names {
		out[name]++
	}
	return out
}

func problems(lives []*clockLife) int {
	n := 0
	for _, l := range lives {
		if len(l.before.Problems) > 0 {
			n++
		}
	}
	return n
}
