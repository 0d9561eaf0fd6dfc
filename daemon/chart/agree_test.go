package chart

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// someBearing is a random bearing with a random life: whatever a chart may have
// to draw.
func someBearing(rng *rand.Rand) schedule.Facts {
	act := .3 + 2*rng.Float64()
	b := wear.Bearing{Act: limit(act)}
	if rng.IntN(2) == 0 {
		b.Watch = limit(act * (.5 + .49*rng.Float64()))
	}
	if rng.IntN(8) == 0 {
		b.Act = nil
	}
	age := 3 + 20*rng.Float64()
	size := act * .5 * rng.Float64()
	if rng.IntN(2) == 0 {
		b.Fitted, b.FittedAt = wear.FromMM(max(.01, size)), now.Add(-time.Duration(age*float64(year)))
	}
	rate := act / 15 * math.Exp(rng.NormFloat64())
	var readings []took
	var repairs []schedule.Entry
	n := rng.IntN(9)
	for i := range n {
		years := age * (1 - (float64(i)+rng.Float64())/float64(n))
		mm := size + rate*(age-years) + .03*rng.NormFloat64()
		if rng.IntN(12) == 0 {
			mm += .5
		}
		if rng.IntN(12) == 0 {
			rate *= 4
		}
		readings = append(readings, took{years, max(0, mm)})
	}
	if n > 3 && rng.IntN(4) == 0 {
		repairs = append(repairs, schedule.Entry{ID: "r", Clock: "mill", Kind: schedule.Repaired, Bearing: "centre-front",
			At: now.Add(-time.Duration(age / 3 * float64(year))), Detail: schedule.Detail{Work: schedule.NewBush, Fitted: wear.FromMM(max(.01, size))}})
	}
	return facts(b, readings, repairs...)
}

// random calls for many random bearings; what fails says the seed.
func random(t *testing.T, n int, check func(t *testing.T, f schedule.Facts, o schedule.Outlook)) {
	seed := uint64(time.Now().UnixNano())
	rng := rand.New(rand.NewPCG(seed, 5))
	for i := range n {
		f := someBearing(rng)
		o, ok := schedule.Assess(f, now).Outlook("centre-front")
		if !ok {
			t.Fatalf("seed %d, bearing %d has no outlook", seed, i)
		}
		t.Run(fmt.Sprintf("seed %d, bearing %d", seed, i), func(t *testing.T) { check(t, f, o) })
		if t.Failed() {
			return
		}
	}
}

// A page has one level and one rate: the line ends, the fan begins and the
// sentence stands at the same size, the line comes in as the fan's middle goes on,
// and that is at the limit on the day that is stated.
func TestLineFanAndSentenceAgree(t *testing.T) {
	fans, dates := 0, 0
	random(t, 300, func(t *testing.T, _ schedule.Facts, o schedule.Outlook) {
		if !foreseen(o) {
			return
		}
		fans++
		d := newBearingChart(o, now, utc, Wide)
		line := d.paths[len(d.paths)-1]
		end, begin := line[len(line)-1], d.fan[0]
		// The level is told from medians near it: to a thousandth at the worst (wear.Median).
		if end.x != begin.t || math.Abs(end.y-max(0, begin.q[2])) > 1e-9 || math.Abs(begin.q[2]-o.Level.Mean) > 1e-3 {
			t.Errorf("the line ends at %v, the fan begins at %v, the level is %v", end, begin, o.Level.Mean)
		}
		if said := "ow about " + strings.Fields(wear.Hundredths(o.Level.Mean).String())[0] + " mm"; !strings.Contains(o.Sentence, said) && !strings.Contains(o.Sentence, "too old") && !strings.Contains(o.Sentence, "does not fit") {
			t.Errorf("the level is %s: %s", said, o.Sentence)
		}
		d.goesOnEvenly(t, line)
		if o.Dated && !o.Over && o.Limit != nil {
			if x, ok := d.middleAt(o.Limit.Size.MM()); ok {
				dates++
				if stated := d.x.at(seconds(o.Likely.Start(utc))); math.Abs(x-stated) > 1 {
					t.Errorf("the middle of the fan is at the limit %.1f units from the stated day, %v", x-stated, o.Likely)
				}
			}
		}
	})
	if !t.Failed() && (fans < 50 || dates < 10) {
		t.Errorf("%d fans and %d dates were looked at: too few", fans, dates)
	}
}

// goesOnEvenly holds that the line has no kink today: from the last fact on it is
// the middle of the very forecast that the fan is of, and that grows in a year by
// what the words say. The words' middle is that of the rate alone, the fan's of
// rate and level together, so they are not the same, and where the readings tell
// two tales the middle may go from the one to the other.
func (d *bearingChart) goesOnEvenly(t *testing.T, line []point) {
	facts := present(d.o).Readings
	if n, end := len(facts), line[len(line)-1]; len(line) > 1 && n > 0 && facts[n-1].At.Before(now) {
		last := line[len(line)-2]
		if want := min(end.y, max(0, d.o.Wear.LevelQuantile(d.o.Wear.Now(), .5))); last.x != seconds(facts[n-1].At) || math.Abs(last.y-want) > 1e-4+.02*d.o.Wear.Level().SD {
			t.Errorf("at the last reading the line stands at %v, and the forecast begins at %v", last, want)
		}
	}
	goes := levelAt(d.o, now.Add(year), .5) - d.fan[0].q[2]
	tales := d.o.Wear.PChange() > .1 || slices.ContainsFunc(facts, func(p schedule.Point) bool { return p.Doubt > .1 })
	if words := d.o.PerYear; !tales && (goes < words[0]*.95 || goes > words[2]*1.05) {
		t.Errorf("in a year the fan's middle grows by %v, the words say %v", goes, words)
	}
}

// middleAt is where the drawn middle of the fan comes to a size.
func (d *bearingChart) middleAt(mm float64) (x float64, ok bool) {
	y := d.y.at(mm)
	mid := d.edge(d.fan, 2)
	for i := 1; i < len(mid); i++ {
		if a, b := mid[i-1], mid[i]; a.y <= y && b.y >= y && b.y > a.y {
			return a.x + (b.x-a.x)*(y-a.y)/(b.y-a.y), true
		}
	}
	return 0, false
}

// The edges of the fan are at the limit on the days that are stated too, where the
// clock stood so often that nobody knows how much it will run.
func TestEdgesOfTheFanAreTheStatedDays(t *testing.T) {
	wide := 0
	for _, months := range []int{0, 2, 5, 9} {
		f := facts(wear.Bearing{Act: limit(.8)}, []took{{9, .20}, {7, .26}, {5, .33}, {3, .38}, {1, .47}})
		if months > 0 {
			for i := range 3 {
				off := now.AddDate(i-3, 0, 20)
				f.Entries = append(f.Entries,
					schedule.Entry{ID: fmt.Sprint("s", i), Clock: "mill", Kind: schedule.Stopped, At: off, Detail: schedule.Detail{Cause: schedule.ByHand}},
					schedule.Entry{ID: fmt.Sprint("g", i), Clock: "mill", Kind: schedule.Started, At: off.AddDate(0, months-i, 0)})
			}
		}
		o, ok := schedule.Assess(f, now).Outlook("centre-front")
		if !ok || !o.Dated {
			t.Fatalf("%d months: no date: %s", months, o.Sentence)
		}
		d := newBearingChart(o, now, utc, Wide)
		d.x.high = seconds(o.Late.Start(utc)) * 1.02
		d.fan = fanOf(o, now, time.Unix(int64(d.x.high), 0))
		d.y = d.heights()
		for k, day := range map[int]schedule.Date{4: o.Early, 2: o.Likely, 0: o.Late} {
			edge := make([]point, len(d.fan))
			for i, p := range d.fan {
				edge[i] = point{p.q[k], p.t}
			}
			at := time.Unix(int64(along(edge, .8)), 0)
			// The fan is drawn in ten straight stretches: a fiftieth of the way.
			ahead := day.Start(utc).Sub(now).Hours()
			if off := at.Sub(day.Start(utc)).Hours(); math.Abs(off) > 48+ahead/50 {
				t.Errorf("%d months, edge %d: at the limit %.0f days from the stated day, %v", months, k, off/24, day)
			}
			if h := o.Units(day.Start(utc)); k != 2 && math.Abs(o.Wear.Exceed(.8, h, o.Wear.Now())-[]float64{.9, 0, .5, 0, .1}[k]) > .02 {
				wide++ // by the wear alone it is another day
			}
		}
	}
	if wide == 0 {
		t.Error("no edge was set apart")
	}
}
