package chart

import (
	"math"
	"slices"
	"strings"
	"testing"
	"testing/quick"
	"time"

	"gonum.org/v1/gonum/stat"

	"endshake/schedule"
	"endshake/wear"
)

func TestScale(t *testing.T) {
	s := scale{10, 20, 100, 300}
	for v, want := range map[float64]float64{10: 100, 20: 300, 15: 200, 5: 0, 25: 400} {
		if got := s.at(v); got != want {
			t.Errorf("%v stands at %v, want %v", v, got, want)
		}
	}
	if s.of(2) != 40 || s.clamp(5) != 10 || s.clamp(99) != 20 || s.clamp(12) != 12 {
		t.Errorf("lengths %v, clamps %v %v %v", s.of(2), s.clamp(5), s.clamp(99), s.clamp(12))
	}
	for _, flat := range []scale{{5, 5, 1, 2}, {5, 4, 1, 2}, {math.NaN(), 4, 1, 2}} {
		if got := flat.at(7); got != 1 {
			t.Errorf("%v puts everything at %v, want its beginning", flat, got)
		}
	}
}

// A step is 1, 2 or 5 times a power of ten, and the least at or above.
func TestNiceStep(t *testing.T) {
	for v, want := range map[float64]float64{1: 1, 1.1: 2, 2: 2, 2.1: 5, 5.1: 10, 0.03: 0.05, 0.1: 0.1, 700: 1000, 0: 1, -3: 1, math.Inf(1): 1} {
		if got := niceStep(v); math.Abs(got-want) > 1e-12 {
			t.Errorf("step for %v is %v, want %v", v, got, want)
		}
	}
	if got := niceStep(math.NaN()); got != 1 {
		t.Errorf("step for no number is %v", got)
	}
	holds := func(x uint32) bool {
		v := float64(x)/1e4 + 1e-6
		s := niceStep(v)
		return s >= v*(1-1e-9) && s < v*2.5+1e-9
	}
	if err := quick.Check(holds, nil); err != nil {
		t.Error(err)
	}
}

func TestFigure(t *testing.T) {
	for _, tc := range []struct {
		v, step float64
		want    string
	}{{0.2, 0.1, "0.2"}, {0.25, 0.05, "0.25"}, {30, 10, "30"}, {1, 1, "1"}, {0, 0.001, "0.000"}} {
		if got := figure(tc.v, tc.step); got != tc.want {
			t.Errorf("%v by %v is %q, want %q", tc.v, tc.step, got, tc.want)
		}
	}
}

// New Years come in order, within the scale, no nearer than asked, and at
// midnight on the wall of the zone.
func TestYearTicks(t *testing.T) {
	zone, err := time.LoadLocation("Pacific/Auckland")
	if err != nil {
		t.Fatal(err)
	}
	for _, years := range []int{1, 2, 5, 9, 30, 130, 1000} {
		s := scale{seconds(now), seconds(now.AddDate(years, 0, 0)), 40, 720}
		got := yearTicks(s, zone, 46)
		for i, at := range got {
			if at.YearDay() != 1 || at.Hour() != 0 || at.Location() != zone {
				t.Errorf("over %d years: %v is no New Year", years, at)
			}
			if x := s.at(seconds(at)); x < 40 || x > 720 || i > 0 && x-s.at(seconds(got[i-1])) < 45 {
				t.Errorf("over %d years: %v stands at %.1f", years, at, x)
			}
		}
		if len(got) == 0 || len(got) > 100 {
			t.Errorf("over %d years: %d New Years", years, len(got))
		}
	}
	if got := yearTicks(scale{seconds(now), seconds(now), 0, 100}, utc, 46); len(got) != 0 {
		t.Errorf("no time at all holds %v", got)
	}
}

// What is cut off at a height lies below it and loses no more than it must:
// the area of a square cut in the middle is half of it.
func TestBelow(t *testing.T) {
	area := func(pts []point) (sum float64) { // the shoelace formula
		for i, b := range pts {
			a := pts[(i+len(pts)-1)%len(pts)]
			sum += a.x*b.y - b.x*a.y
		}
		return math.Abs(sum) / 2
	}
	for top, want := range map[float64]float64{5: 50, 10: 100, 20: 100, 0: 0, -5: 0, 2.5: 25} {
		got := below(box(0, 0, 10, 10), top)
		if math.Abs(area(got)-want) > 1e-9 {
			t.Errorf("cut at %v: area %v, want %v", top, area(got), want)
		}
		for _, p := range got {
			if p.y > top {
				t.Errorf("cut at %v: a corner at %v", top, p)
			}
		}
	}
	triangle := []point{{0, 0}, {10, 0}, {5, 10}}
	if got := area(below(triangle, 5)); math.Abs(got-37.5) > 1e-9 { // 50 less a like triangle of half the size
		t.Errorf("a triangle cut at half its height: %v", got)
	}
	if below(nil, 3) != nil {
		t.Error("nothing cut is something")
	}
}

func TestFromLeft(t *testing.T) {
	path := []point{{0, 0}, {10, 10}, {20, 10}}
	for _, tc := range []struct {
		left float64
		want []point
	}{
		{-5, path}, {0, path}, {5, []point{{5, 5}, {10, 10}, {20, 10}}}, {10, []point{{10, 10}, {20, 10}}}, {15, []point{{15, 10}, {20, 10}}},
	} {
		if got := fromLeft(path, tc.left); !slices.Equal(got, tc.want) {
			t.Errorf("from %v: %v, want %v", tc.left, got, tc.want)
		}
	}
	if got := fromLeft(nil, 3); got != nil {
		t.Errorf("of nothing: %v", got)
	}
}

// The line of a part that is no more agrees with the weighted least squares of
// a library that knows nothing of clocks (gonum/stat).
func TestThroughAllIsWeightedLeastSquares(t *testing.T) {
	facts := []sized{{0, .20, 1}, {10, .27, 4}, {25, .31, 2}, {40, .45, 1}, {55, .47, 9}}
	var x, y, w []float64
	for _, f := range facts {
		x, y, w = append(x, f.h), append(y, f.mm), append(w, f.weight)
	}
	intercept, slope := stat.LinearRegression(x, y, w, false)
	line := throughAll(facts)
	for _, h := range []float64{0, 17, 60} {
		if got, want := line(h), intercept+slope*h; math.Abs(got-want) > 1e-12 {
			t.Errorf("at %v: %v, want %v", h, got, want)
		}
	}
	if throughAll(facts[:1]) != nil || throughAll(nil) != nil {
		t.Error("a line through one fact")
	}
	falling := throughAll([]sized{{0, .5, 1}, {10, .3, 1}})
	if falling(0) != falling(10) || math.Abs(falling(0)-.4) > 1e-12 {
		t.Errorf("wear that heals is drawn from %v to %v, want level at the mean", falling(0), falling(10))
	}
}

// A trend stands in proportion: the last reading right of the first, the limit
// along the top, the level now at the end of the line.
func TestSpark(t *testing.T) {
	o := worn(t)
	p := Spark(o, now)
	d := takeApart(t, p.SVG())
	d.sound(t, p)
	if p.Size != Small || len(d.texts) != 0 || len(d.dots) != 6 { // five readings and now
		t.Fatalf("%v with %d texts and %d dots", p.Size, len(d.texts), len(d.dots))
	}
	for i, r := range o.Parts[0].Readings {
		if want := 3 + (30-4-3)*r.Reading.Value.MM()/0.8; math.Abs(d.dots[i].y-want) > 0.1 {
			t.Errorf("reading %v stands at %.1f, want %.1f", r.Reading.Value, d.dots[i].y, want)
		}
		if i > 0 && d.dots[i].x <= d.dots[i-1].x {
			t.Errorf("reading %d is not right of the one before", i)
		}
	}
	if last := d.dots[5]; math.Abs(last.x-(120-5)) > 0.1 || last.word != "#7F521B" {
		t.Errorf("now stands at %v", last)
	}
	for _, tc := range []struct {
		o    schedule.Outlook
		want string
	}{
		{o, "5 readings, the first 0.20 mm (7.9 thou) in 2017, the last 0.47 mm (18.5 thou) in 2025. The limit is 0.80 mm (31.5 thou)."},
		{schedule.Outlook{}, "Nothing is measured yet."},
		{invent(t, wear.Bearing{Act: limit(.5)}, []took{{1, .3}}), "One reading of 0.30 mm (11.8 thou). The limit is 0.50 mm (19.7 thou)."},
		{repaired(t), "2 readings, the first 0.26 mm (10.2 thou) in 2024, the last 0.31 mm (12.2 thou) in 2026. The limit is 0.80 mm (31.5 thou)."},
	} {
		if got := Spark(tc.o, now).Desc; got != tc.want {
			t.Errorf("desc %q, want %q", got, tc.want)
		}
	}
}

func TestWordsForXML(t *testing.T) {
	for in, want := range map[string]string{
		"plain": "plain", "a\nb\tc": "a b c", "\x00\x1b[31m": "[31m", "\u202eklat\u2069": "klat", "\u0085x": "x", "\ufffe\uffff\ufffd": "", "é\u200f": "é",
	} {
		if got := clean(in); got != want {
			t.Errorf("%q becomes %q, want %q", in, got, want)
		}
	}
	for _, tc := range []struct {
		in   string
		most int
		want string
	}{{"short", 10, "short"}, {"exactly ten", 11, "exactly ten"}, {"a long name", 7, "a long…"}, {"bücher", 4, "büc…"}, {"", 5, ""}} {
		if got := short(tc.in, tc.most); got != tc.want {
			t.Errorf("%q in %d: %q, want %q", tc.in, tc.most, got, tc.want)
		}
	}
	for in, want := range map[string]string{
		"#7F521B": "#7F521B", "#7E511A": "#7F521B", "#805319": "#7F521B", "#123456": "#123456", "none": "none", "red": "red",
	} {
		if got := role(in); got != want {
			t.Errorf("colour %s becomes %s, want %s", in, got, want)
		}
	}
	got := attributes("fill:none;stroke:#7E511A;font-family:X;font-size:11px;font-variant:middle")
	if want := ` fill="none" stroke="#7F521B" font-size="11" text-anchor="middle"`; got != want {
		t.Errorf("attributes %s, want %s", got, want)
	}
	if got := attributes("font-variant:start"); strings.TrimSpace(got) != "" {
		t.Errorf("the usual anchor is written: %s", got)
	}
}
