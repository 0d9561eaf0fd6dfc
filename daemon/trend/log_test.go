package trend

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
)

// taken is a file taken in, as it stands.
func taken(t testing.TB, csv string, o Options) (*log, *settings) {
	t.Helper()
	o.Name = "fleet.csv"
	if o.Unit == "" {
		o.Unit = "mm"
	}
	s, err := o.understand()
	if err != nil {
		t.Fatal(err)
	}
	l, err := read(context.Background(), strings.NewReader(csv), s)
	if err != nil {
		t.Fatal(err)
	}
	return l, s
}

const withEvents = "point,group,hours,value,event\n"

// Where one part ends and another begins, and between which sizes each ran.
func TestParts(t *testing.T) {
	for _, tt := range []struct {
		name, rows string
		start      bool
		want       string // of each part: how it begins, its readings, its first and last size
		age        float64
	}{
		{"one", "a,g,5,1,\na,g,9,2,\n", false, "[- 2 1 2]", 9},
		{"known start", "a,g,5,1,\na,g,9,2,\n", true, "[start 1 1 2]", 4},
		{"known start alone", "a,g,5,1,\n", true, "[start 0 1 1]", 0},
		{"repaired", "a,g,5,1,\na,g,9,2,\na,g,9,,repaired\na,g,12,.5,\n", false, "[- 2 1 2][repaired 1 0.5 0.5]", 3},
		{"repaired at once", "a,g,5,1,fitted\na,g,9,2,\n", false, "[fitted 1 1 2]", 4},
		{"nothing between", "a,g,5,1,fitted\na,g,7,,fitted\na,g,9,2,\n", false, "[fitted 0 1 1][fitted 1 2 2]", 2},
		{"nothing after", "a,g,5,1,\na,g,7,,repaired\n", false, "[- 1 1 1][repaired 0 NaN NaN]", 0},
		{"started and repaired", "a,g,0,0,\na,g,3,1,\na,g,4,0,repaired\na,g,8,2,\n", true, "[start 1 0 1][repaired 1 0 2]", 4},
	} {
		l, _ := taken(t, withEvents+tt.rows, Options{KnownStart: tt.start})
		got := ""
		for _, s := range l.parts(l.points[0]) {
			begins := "-"
			if s.turn != nil {
				if begins = s.turn.work; s.turn.known {
					begins = "start"
				}
			}
			first, last := l.ends(s)
			got += fmt.Sprintf("[%s %d %v %v]", begins, s.to-s.from, first, last)
		}
		if got != tt.want || l.points[0].age() != tt.age {
			t.Errorf("%s: %s of age %v, want %s of %v", tt.name, got, l.points[0].age(), tt.want, tt.age)
		}
	}
}

// Readings of points by turns are put together, each with its own line and
// uncertainty, over the bounds of the blocks that they come in by.
func TestSettle(t *testing.T) {
	const points, rows = 7, blockSize/3 + 5
	var b strings.Builder
	b.WriteString("point,group,hours,value,sd\n")
	for i := range rows {
		for p := range points {
			sd := ""
			if i >= rows/2 && p == 3 { // the first uncertainty stands in a later block
				sd = "0.5"
			}
			fmt.Fprintf(&b, "p%d,g,%d,%d,%s\n", p, i, 10*p, sd)
		}
	}
	l, _ := taken(t, b.String(), Options{})
	if len(l.gauges) != points*rows {
		t.Fatalf("%d readings, want %d", len(l.gauges), points*rows)
	}
	for p, point := range l.points {
		for i := range rows {
			g, line := l.gauges[point.from+i], l.lines[point.from+i]
			sd := 0.0
			if i >= rows/2 && p == 3 {
				sd = .5
			}
			if g.H != float64(i) || g.Y != float64(10*p) || g.SD != sd || int(line) != 2+i*points+p {
				t.Fatalf("reading %d of point %d is %+v of line %d", i, p, g, line)
			}
		}
	}
}

// A plain quantity is scaled so that the points' median change is 1 and their
// median last hours are 50 units.
func TestPlainScales(t *testing.T) {
	for _, tt := range []struct {
		name, rows   string
		value, hours float64
	}{
		{"growing", "a,g,0,10,\na,g,100,14,\nb,g,0,10,\nb,g,200,18,\nc,g,0,10,\nc,g,400,30,\n", 1. / 8, 50. / 200},
		{"falling", "a,g,0,10,\na,g,100,6,\n", 1. / 4, 50. / 100},
		{"two parts", "a,g,0,10,\na,g,50,13,\na,g,50,10,fitted\na,g,100,15,\n", 1. / 8, 50. / 100},
		{"still: by the greatest", "a,g,0,-5,\na,g,100,-5,\n", 1. / 5, 50. / 100},
		{"nothing anywhere", "a,g,0,0,\n", 1, 1},
		{"half at no hours", "a,g,0,1,\nb,g,0,1,\nc,g,30,1,\n", 1, 50. / 30},
	} {
		l, s := taken(t, withEvents+tt.rows, Options{Plain: true, Unit: "dB"})
		k, err := l.scale(s)
		if err != nil || math.Abs(k.value-tt.value) > 1e-12 || math.Abs(k.hours-tt.hours) > 1e-12 {
			t.Errorf("%s: %+v, %v, want %v and %v", tt.name, k, err, tt.value, tt.hours)
		}
		if want := plainGauge / k.value; math.Abs(s.gauge-want) > 1e-12*want || !l.guessed {
			t.Errorf("%s: a gauge of %v, want %v, a guess", tt.name, s.gauge, want)
		}
	}
}

// A reading has its own uncertainty, the gauge's, or the usual one of a gauge; a
// known start is known a hundred times better.
func TestUncertainty(t *testing.T) {
	const csv = "point,group,hours,value,sd\na,g,0,1,\na,g,10,2,0.2\na,g,20,3,\n"
	for _, tt := range []struct {
		o       Options
		start   float64 // NaN: it is a reading
		want    []float64
		guessed bool
	}{
		{Options{}, math.NaN(), []float64{.03, .2, .03}, false},
		{Options{Gauge: "0.1"}, math.NaN(), []float64{.1, .2, .1}, false},
		{Options{Gauge: "0.1", KnownStart: true}, .001, []float64{.2, .1}, false},
		{Options{Unit: "in"}, math.NaN(), []float64{.03, .2 * 25.4, .03}, false},
	} {
		l, s := taken(t, csv, tt.o)
		if _, err := l.scale(s); err != nil {
			t.Fatal(err)
		}
		var got []float64
		for _, g := range l.gauges {
			got = append(got, g.SD)
		}
		if !slices.EqualFunc(got, tt.want, func(a, b float64) bool { return math.Abs(a-b) < 1e-12 }) || l.guessed != tt.guessed {
			t.Errorf("%+v: uncertainties %v, guessed %v, want %v, %v", tt.o, got, l.guessed, tt.want, tt.guessed)
		}
		if turns := l.points[0].turns; !math.IsNaN(tt.start) && (len(turns) != 1 || math.Abs(turns[0].gauge.SD-tt.start) > 1e-12) {
			t.Errorf("%+v: begins with %+v", tt.o, turns)
		}
	}
}

func TestMedian(t *testing.T) {
	for _, tt := range []struct {
		of   []float64
		want float64
	}{{nil, 0}, {[]float64{3}, 3}, {[]float64{3, 1}, 2}, {[]float64{9, 1, 2}, 2}, {[]float64{4, 1, 2, 100}, 3}} {
		if got := median(slices.Clone(tt.of)); got != tt.want {
			t.Errorf("median of %v is %v, want %v", tt.of, got, tt.want)
		}
	}
}

// FuzzSize: whatever a cell holds, it is a size within bounds or a problem said
// in a few words; a size that is taken is the same with its unit written out.
func FuzzSize(f *testing.F) {
	for _, s := range []string{"0.42", "0.42 mm", "12 thou", "1e3", "-0", "0,42", "1_0", "0x1p4", "NaN", "", " ", "1e-400", "5 in", `5"`, "µ", "1.2.3", "+.5e+1mm", "e"} {
		f.Add(s, true)
		f.Add(s, false)
	}
	f.Fuzz(func(t *testing.T, text string, length bool) {
		o := Options{Unit: "dB", Plain: true}
		most := float64(mostValue)
		if length {
			o, most = Options{Unit: "mm"}, mostMM
		}
		s, err := o.understand()
		if err != nil {
			t.Fatal(err)
		}
		v, problem := s.size(text)
		if problem != "" {
			if v != 0 || strings.ContainsAny(problem, "\n\x00") {
				t.Errorf("%q: %v with the problem %q", text, v, problem)
			}
			return
		}
		if !(math.Abs(v) <= most) || v != 0 && math.Abs(v) < leastValue {
			t.Errorf("%q is taken as %v", text, v)
		}
		written := fmt.Sprintf("%v %s", v, s.Unit)
		if again, problem := s.size(written); again != v || problem != "" {
			t.Errorf("%q was %v, and %q is %v: %s", text, v, written, again, problem)
		}
	})
}
