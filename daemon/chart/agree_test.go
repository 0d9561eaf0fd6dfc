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
	random(t, 150, func(t *testing.T, _ schedule.Facts, o schedule.Outlook) {
		if !foreseen(o) {
			return
		}
		fans++
		d := newBearingChart(o, now, utc, Wide)
		line := d.paths[len(d.paths)-1]
		end, begin := line[len(line)-1], d.fan[0]
		if end.x != begin.t || math.Abs(end.y-max(0, begin.q[2])) > 1e-9 || math.Abs(begin.q[2]-o.Level.Mean) > 1e-6 {
			t.Errorf("the line ends at %v, the fan begins at %v, the level is %v", end, begin, o.Level.Mean)
		}
		if said := "ow about " + strings.Fields(wear.Hundredths(begin.q[2]).String())[0] + " mm"; !strings.Contains(o.Sentence, said) && !strings.Contains(o.Sentence, "too old") && !strings.Contains(o.Sentence, "does not fit") {
			t.Errorf("the drawing has %s: %s", said, o.Sentence)
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
