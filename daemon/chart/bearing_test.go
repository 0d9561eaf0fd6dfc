package chart

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/gonum/stat"

	"endshake/schedule"
	"endshake/wear"
)

func TestOddOutlooksAreDrawn(t *testing.T) {
	for name, o := range odd(t) {
		for _, size := range []Size{Wide, Narrow, {0, -1}, {math.NaN(), math.Inf(1)}} {
			t.Run(fmt.Sprint(name, size), func(t *testing.T) {
				p := Bearing(o, now, utc, size)
				d := takeApart(t, p.SVG())
				d.sound(t, p)
				if _, ok := d.has("today"); !ok {
					t.Errorf("today is not marked: %s", d.words())
				}
				if !o.Known && !strings.Contains(d.words(), "Nothing is measured yet") && !strings.Contains(d.words(), "Not measured since") {
					t.Errorf("the picture does not say that nothing is measured: %s", d.words())
				}
				if foreseen(o) != strings.Contains(d.words(), "| now ") {
					t.Errorf("rate known %v, and the words are %s", foreseen(o), d.words())
				}
				if o.Known && !foreseen(o) && !strings.Contains(d.words(), "No rate is known yet") && !strings.Contains(d.words(), "No forecast yet") {
					t.Errorf("the picture does not say why there is no fan: %s", d.words())
				}
			})
		}
		t.Run("trend of "+name, func(t *testing.T) {
			p := Spark(o, now)
			takeApart(t, p.SVG()).sound(t, p)
		})
	}
}

// A dot's place must be in proportion to its date and its size.
func TestDotsStandWhereTheyShould(t *testing.T) {
	o := worn(t)
	for _, size := range []Size{Wide, Narrow} {
		d := takeApart(t, Bearing(o, now, utc, size).SVG())
		var dots []mark
		for _, m := range d.dots {
			if m.word == "#1F2630" {
				dots = append(dots, m)
			}
		}
		low, ok1 := d.has("0.2")
		high, ok2 := d.has("0.8")
		if size == Wide && !(ok1 && ok2) {
			t.Fatalf("ticks are missing: %s", d.words())
		}
		readings := o.Parts[0].Readings
		if len(dots) != len(readings) {
			t.Fatalf("%d dots for %d readings", len(dots), len(readings))
		}
		first, last := readings[0], readings[len(readings)-1]
		a, z := dots[0], dots[len(dots)-1]
		for i, r := range readings {
			wantX := a.x + (z.x-a.x)*float64(r.At.Sub(first.At))/float64(last.At.Sub(first.At))
			wantY := a.y + (z.y-a.y)*(r.Reading.Value.MM()-first.Reading.Value.MM())/(last.Reading.Value.MM()-first.Reading.Value.MM())
			if math.Abs(dots[i].x-wantX) > 0.1 || math.Abs(dots[i].y-wantY) > 0.1 {
				t.Errorf("reading %d stands at %.1f, %.1f; want %.1f, %.1f", i, dots[i].x, dots[i].y, wantX, wantY)
			}
			if mm := 0.2 + 0.6*(dots[i].y-3.5-low.y)/(high.y-low.y); size == Wide && math.Abs(mm-r.Reading.Value.MM()) > 0.001 {
				t.Errorf("reading %d of %v stands at %.3f mm of the axis", i, r.Reading.Value, mm)
			}
			if i > 0 && dots[i].x <= dots[i-1].x {
				t.Errorf("reading %d is left of the one before", i)
			}
		}
	}
}

// The two axes must say the same size: an inch is exactly 25.4 mm
// (international yard and pound agreement, 1959).
func TestTheTwoAxesAgree(t *testing.T) {
	d := takeApart(t, Bearing(worn(t), now, utc, Wide).SVG())
	low, ok1 := d.has("0.2")
	high, ok2 := d.has("0.8")
	thou, ok3 := d.has("20")
	if !ok1 || !ok2 || !ok3 {
		t.Fatalf("ticks are missing: %s", d.words())
	}
	mm := 0.2 + 0.6*(thou.y-low.y)/(high.y-low.y)
	if math.Abs(mm-20*0.0254) > 0.002 {
		t.Errorf("20 thou stands at %.4f mm, want 0.508", mm)
	}
	if low.x >= thou.x {
		t.Error("mm must be left and thou right")
	}
	act, ok := d.has("act 0.80 mm (31.5 thou)")
	if !ok || math.Abs(act.y-4-(high.y+3.5)) > 0.5 {
		t.Errorf("the act limit's words at %v do not stand on 0.8 mm at %v", act, high)
	}
}

// Whoever reads thou has them first, and alone where there is no room for both:
// 0.80 mm are 31.5 thou of 0.0254 mm.
func TestWordsInTheReadersUnit(t *testing.T) {
	for size, want := range map[Size][]string{Wide: {"act 31.5 thou (0.80 mm)", "now about 13.4 thou (0.34 mm)"}, Narrow: {"act 31.5 thou", "now 13.4 thou"}} {
		p := Bearing(repaired(t), now, utc, size)
		p.Units = wear.Thou
		d := takeApart(t, p.SVG())
		for _, w := range want {
			if _, ok := d.has(w); !ok {
				t.Errorf("%v: %q is missing among %s", size, w, d.words())
			}
		}
	}
}

func TestWordsStandOnTheMarks(t *testing.T) {
	for _, tc := range []struct {
		size Size
		want []string
	}{
		{Wide, []string{"mm", "thou", "act 0.80 mm (31.5 thou)", "watch 0.60 mm (23.6 thou)", "new bush, Nov 2023", "today", "now about 0.34 mm (13.4 thou)", "2026"}},
		{Narrow, []string{"mm", "thou", "act 0.80 mm", "watch 0.60 mm", "new bush", "today", "now 0.34 mm"}},
	} {
		d := takeApart(t, Bearing(repaired(t), now, utc, tc.size).SVG())
		for _, w := range tc.want {
			if _, ok := d.has(w); !ok {
				t.Errorf("%v: %q is missing among %s", tc.size, w, d.words())
			}
		}
	}
}

// The words for the level of today must not lie on a reading.
func TestWordsDoNotHideReadings(t *testing.T) {
	all := odd(t)
	all["worn"] = worn(t)
	all["last one high"] = invent(t, wear.Bearing{Act: limit(0.2)}, []took{
		{14, .04}, {12, .06}, {11, .04}, {10, .17}, {9, .13}, {8, .14}, {7, .21}, {6, .20}, {5, .17}, {4, .22}, {3, .21}, {2, .23}, {1.5, .24}, {.6, .30}})
	for name, o := range all {
		if name == "100 readings" {
			continue // there is nowhere else to go
		}
		for _, size := range []Size{Wide, Narrow} {
			d := takeApart(t, Bearing(o, now, utc, size).SVG())
			for _, m := range d.texts {
				if !strings.HasPrefix(m.word, "now about") {
					continue
				}
				for _, dot := range d.dots {
					if r := boxOf(m); dot.word == "#1F2630" && dot.x > r.x0 && dot.x < r.x1 && dot.y > m.y-3 && dot.y < m.y+small {
						t.Errorf("%s, %v: %q at %.0f, %.0f lies on the reading at %.0f, %.0f", name, size, m.word, m.x, m.y, dot.x, dot.y)
					}
				}
			}
		}
	}
}

// Each part has a level of its own: no line may run through a repair.
func TestARepairBreaksTheLine(t *testing.T) {
	o := repaired(t)
	d := newBearingChart(o, now, utc, Wide)
	if len(d.paths) != 2 {
		t.Fatalf("%d levels for two parts", len(d.paths))
	}
	repair := seconds(o.Parts[1].From)
	if end := d.paths[0][len(d.paths[0])-1]; end.x > repair || end.y < 0.75 {
		t.Errorf("the first part ends at %v, want at the repair and above 0.75 mm", end)
	}
	if begin := d.paths[1][0]; begin.x != repair || math.Abs(begin.y-0.22) > 0.03 {
		t.Errorf("the second part begins at %v, want at the repair with about 0.22 mm", begin)
	}
}

// The line of a part that is known no longer, since other materials rub, is the
// least-squares line, each reading with the weight of its gauge and of its being
// no misread, as a library works it out that knows nothing of clocks (gonum/stat).
func TestAForgottenLevelIsTheLeastSquaresLine(t *testing.T) {
	o := repaired(t, wear.SteelOnPlastic)
	if n := o.Past().Parts(); n != 1 {
		t.Fatalf("%d parts are known, want the present one alone", n)
	}
	var x, y, weights []float64
	for _, r := range o.Parts[0].Readings {
		x, y, weights = append(x, o.Units(r.At)), append(y, r.Value), append(weights, (1-r.Doubt)/(r.SD*r.SD))
	}
	intercept, slope := stat.LinearRegression(x, y, weights, false)
	path := levelPaths(o, now)[0]
	for i := range o.Parts[0].Readings {
		if want := intercept + slope*x[i]; math.Abs(path[i].y-want) > 1e-9 {
			t.Errorf("level at reading %d is %v, want %v", i, path[i].y, want)
		}
	}
}

// The line is what all readings tell of the size then, by the account that the fan
// is of: at each of them the median of wear.Past, lowered to what comes after it.
func TestTheLevelIsThePosteriors(t *testing.T) {
	for name, o := range odd(t) {
		past, paths := o.Past(), levelPaths(o, now)
		for i, part := range o.Parts {
			k := i - len(o.Parts) + past.Parts()
			for _, pt := range paths[i] {
				h := o.Units(time.Unix(int64(pt.x), 0))
				if size := past.At(k, h); k >= 0 && pt.y > math.Max(0, size)+2e-4 { // to a second
					t.Errorf("%s: part %d is drawn at %v, and its readings tell of %v", name, i, pt.y, size)
				}
			}
			if n := len(paths[i]); n == 0 && len(part.Readings) > 1 {
				t.Errorf("%s: part %d has %d readings and no line", name, i, len(part.Readings))
			}
		}
	}
	// Of an ordinary bearing nothing is lowered.
	o := worn(t)
	path := levelPaths(o, now)[0]
	for i, r := range o.Parts[0].Readings {
		if want := o.Past().At(0, o.Units(r.At)); path[i].y != want || math.Abs(path[i].y-r.Value) > 2*r.SD {
			t.Errorf("level at reading %d is %v, want %v, near %v", i, path[i].y, want, r.Value)
		}
	}
}

func TestThePresentLevelEndsInTheFan(t *testing.T) {
	for name, o := range odd(t) {
		d := newBearingChart(o, now, utc, Wide)
		if !o.Taught && !o.Dated {
			if len(d.fan) > 0 {
				t.Errorf("%s: a fan of %d, though no rate is known", name, len(d.fan))
			}
			for _, path := range d.paths {
				if r := present(o).Readings; len(path) > 0 && len(r) > 0 && path[len(path)-1].x > seconds(r[len(r)-1].At) {
					t.Errorf("%s: the level goes on after the last reading, though no rate is known", name)
				}
			}
			continue
		}
		path := d.paths[len(d.paths)-1]
		if len(path) == 0 || len(d.fan) == 0 {
			t.Errorf("%s: level of %d points, fan of %d", name, len(path), len(d.fan))
			continue
		}
		end, begin := path[len(path)-1], d.fan[0]
		if end.x != begin.t || math.Abs(end.y-math.Max(0, begin.q[2])) > 1e-6 {
			t.Errorf("%s: the level ends at %v and the fan begins at %v", name, end, begin)
		}
		for i := 1; i < len(path); i++ {
			if path[i].y < path[i-1].y-1e-9 {
				t.Errorf("%s: the level falls, but wear does not heal", name)
			}
		}
	}
}

// The bands are those of the posterior: 10, 25, 50, 75 and 90 % at the exposure
// that the duty gives.
func TestTheFanIsThePosterior(t *testing.T) {
	o := worn(t)
	until := now.Add(6 * year)
	fan := fanOf(o, now, until)
	if len(fan) != fanParts+1 {
		t.Fatalf("%d stretches", len(fan)-1)
	}
	last := fan[fanParts]
	h := o.Units(until)
	if want := (o.Exposure.Likely + 24*6*365.25) / 1000; math.Abs(h-want) > 1e-6 { // run-hours in thousands
		t.Fatalf("%v units in six years, want %v", h, want)
	}
	for i, prob := range []float64{.1, .25, .5, .75, .9} {
		if want := o.Wear.LevelQuantile(h, prob); math.Abs(last.q[i]-want) > 1e-6 {
			t.Errorf("%v %% in six years is %v, want %v", 100*prob, last.q[i], want)
		}
	}
	for _, f := range fan {
		for i := 1; i < 5; i++ {
			if f.q[i] < f.q[i-1] {
				t.Fatalf("the bands cross: %v", f.q)
			}
		}
	}
	if fan[0].t != seconds(now) || math.Abs(last.t-seconds(until)) > 60 {
		t.Errorf("the fan runs from %v to %v", fan[0].t, last.t)
	}
}

func TestTicks(t *testing.T) {
	for _, tc := range []struct {
		low, high float64
		n         int
		want      string
	}{
		{0, 0.9, 7, "0.0 0.2 0.4 0.6 0.8"},
		{0, 50, 5, "0 10 20 30 40 50"},
		{0.31, 0.33, 4, "0.310 0.315 0.320 0.325 0.330"},
		{0, 0, 5, "0"},
	} {
		values, step := scale{tc.low, tc.high, 0, 100}.ticks(tc.n)
		var got []string
		for _, v := range values {
			got = append(got, figure(v, step))
		}
		if s := strings.Join(got, " "); s != tc.want {
			t.Errorf("ticks from %v to %v: %s, want %s", tc.low, tc.high, s, tc.want)
		}
	}
}

// A late date of decades ahead must not overflow the look ahead.
func TestTheHorizonOfAFarDate(t *testing.T) {
	o := worn(t)
	for _, ahead := range []int{1, 5, 39, 100} {
		o.Dated, o.Late = true, schedule.DateOf(now.AddDate(ahead, 0, 0), utc)
		d := newBearingChart(o, now, utc, Wide)
		got := d.horizon().Sub(now).Hours() / 8766
		want := math.Min(math.Max(float64(ahead)*1.1, 4), 13.85) // one and a half times the 9 years of past shown and their margin
		if math.Abs(got-want) > 0.2 {
			t.Errorf("late in %d years: looks %.1f years ahead, want %.1f", ahead, got, want)
		}
	}
}
