package trend

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"endshake/daemon/chart"
	"endshake/wear"
)

// figures are all that a point is answered with, by name.
func figures(p Point) map[string]float64 {
	out := map[string]float64{
		"hours": p.Hours, "level": float64(p.Level), "level_sd": float64(p.LevelSD), "rate": float64(p.Rate), "rate_low": float64(p.RateLow),
		"rate_high": float64(p.RateHigh), "change": float64(p.Change.Probability), "next": float64(p.NextMeasurement), "readings": float64(p.Readings),
	}
	if c := p.Crossing; c != nil {
		out["p10"], out["p50"], out["p90"] = float64(c.P10), float64(c.P50), float64(c.P90)
	}
	for i, a := range p.At {
		for name, v := range map[string]Num{"mean": a.Mean, "q05": a.Q05, "q10": a.Q10, "q50": a.Q50, "q90": a.Q90, "q95": a.Q95} {
			out[fmt.Sprint(name, i)] = float64(v)
		}
	}
	return out
}

// alike fails unless two points are answered alike, after each figure of the
// first is multiplied by what scale gives for its name.
func alike(t *testing.T, a, b Point, within float64, scale func(name string) float64) {
	t.Helper()
	fb := figures(b)
	for name, v := range figures(a) {
		v *= scale(name)
		if w := fb[name]; math.IsNaN(v) != math.IsNaN(w) || math.Abs(v-w) > within*max(math.Abs(v), math.Abs(w)) {
			t.Errorf("%s: %s is %v, want %v", a.Point, name, w, v)
		}
	}
}

func one(string) float64 { return 1 }

// Without physics a quantity means the same in whatever unit it is given, and so
// do the hours.
func TestScaling(t *testing.T) {
	scaled := func(size, hours float64) string {
		var s series
		for _, unit := range lasers {
			var u []float64
			for j := 0; j < len(unit); j += 2 {
				u = append(u, unit[j]*hours, unit[j+1]*size)
			}
			s = append(s, u)
		}
		return s.csv("laser", 4, false)
	}
	o := Options{Unit: "x", Limit: "10", Plain: true, KnownStart: true, At: []float64{5000}}
	want := answer(t, scaled(1, 1), o)
	for _, k := range []struct{ size, hours float64 }{{1000, 1}, {1.0 / 1024, 1}, {1, 60}, {25.4, 1.0 / 8}} {
		o.Limit, o.At = fmt.Sprint(10*k.size), []float64{5000 * k.hours}
		got := answer(t, scaled(k.size, k.hours), o)
		for i := range want.Points {
			alike(t, want.Points[i], got.Points[i], 1e-5, func(name string) float64 {
				switch {
				case name == "readings" || name == "change":
					return 1
				case name == "hours" || name == "next" || name == "p10" || name == "p50" || name == "p90":
					return k.hours
				case strings.HasPrefix(name, "rate"):
					return k.size / k.hours
				}
				return k.size
			})
		}
	}
}

// With physics the unit is a manner of speaking.
func TestUnits(t *testing.T) {
	mm := answer(t, liners.csv("liner", 1, true), Options{Limit: "4", KnownStart: true, At: []float64{60000}})
	for unit, perMM := range map[string]float64{"um": 1000, "in": 1 / 25.4, "thou": 1000 / 25.4} {
		var s series
		for _, u := range liners {
			u = slices.Clone(u)
			for j := 1; j < len(u); j += 2 {
				u[j] *= perMM
			}
			s = append(s, u)
		}
		got := answer(t, s.csv("liner", 1, true), Options{Unit: unit, Limit: fmt.Sprint(4 * perMM), KnownStart: true, At: []float64{60000}})
		for i := range mm.Points {
			alike(t, mm.Points[i], got.Points[i], 1e-5, func(name string) float64 {
				if strings.HasPrefix(name, "p") || slices.Contains([]string{"hours", "next", "readings", "change"}, name) {
					return 1
				}
				return perMM
			})
		}
	}
}

// The order of points in a file, and of the rows of different points, means
// nothing but the order of the answers.
func TestOrder(t *testing.T) {
	csv := fleet(t)
	o := Options{Limit: "0.8", At: []float64{40000}}
	want := answer(t, csv, o)
	lines := strings.Split(strings.TrimSpace(csv), "\n")
	head, rows := lines[:2], lines[2:]
	rnd := rand.New(rand.NewPCG(3, 9))
	for range 3 {
		// Deal the points' rows into one pile again, each point's in its order.
		byPoint, names := map[string][]string{}, []string{}
		for _, r := range rows {
			name, _, _ := strings.Cut(r, ",")
			if byPoint[name] == nil {
				names = append(names, name)
			}
			byPoint[name] = append(byPoint[name], r)
		}
		mixed := slices.Clone(head)
		for range rows {
			name := names[rnd.IntN(len(names))]
			for len(byPoint[name]) == 0 {
				name = names[rnd.IntN(len(names))]
			}
			mixed, byPoint[name] = append(mixed, byPoint[name][0]), byPoint[name][1:]
		}
		got := answer(t, strings.Join(mixed, "\n"), o)
		for _, p := range want.Points {
			i := slices.IndexFunc(got.Points, func(q Point) bool { return q.Point == p.Point })
			if i < 0 {
				t.Fatalf("point %s is gone", p.Point)
			}
			alike(t, p, got.Points[i], 1e-6, one)
		}
	}
}

// The same file gives the same answer, on however many processors.
func TestSameAgain(t *testing.T) {
	o := Options{Limit: "0.8", TrackRecord: true}
	if a, b := asJSON(t, answer(t, fleet(t), o)), asJSON(t, answer(t, fleet(t), o)); a != b {
		t.Error("the same file was answered in two ways")
	}
}

// What little data can say is said, and no more.
func TestLittle(t *testing.T) {
	rows := func(s string) string { return "point,group,hours,value,event\n" + s }
	t.Run("one reading", func(t *testing.T) {
		r := answer(t, rows("a,g,1000,0.2,\n"), Options{Limit: "0.8"})
		if p := r.Points[0]; math.Abs(float64(p.Level)-.2) > 1e-9 || p.Crossing == nil || !p.NextMeasurement.Real() || r.Learned.Taught {
			t.Errorf("%+v", p)
		}
	})
	t.Run("all equal", func(t *testing.T) {
		p := answer(t, rows("a,g,0,0.2,\na,g,10000,0.2,\na,g,20000,0.2,\na,g,30000,0.2,\n"), Options{Limit: "0.6"}).Points[0]
		if p.Rate > .01 || p.Crossing.Already {
			t.Errorf("nothing moved, yet the rate is %v and the crossing %+v", p.Rate, p.Crossing)
		}
		q := answer(t, rows("a,g,0,5,\na,g,10,5,\n"), Options{Unit: "dB", Plain: true, Limit: "9"}).Points[0]
		if !q.Rate.Real() || q.Crossing == nil {
			t.Errorf("%+v", q)
		}
	})
	t.Run("none after fitting", func(t *testing.T) {
		r := answer(t, rows("a,g,0,0.2,\na,g,10000,0.3,\na,g,12000,,repaired\n"), Options{Limit: "0.6", At: []float64{20000}})
		p := r.Points[0]
		if p.Level.Real() || p.Crossing != nil || p.NextMeasurement.Real() || p.At[0].Mean.Real() || !p.Rate.Real() || p.Hours != 12000 {
			t.Errorf("%+v", p)
		}
		if s := asText(t, r); !strings.Contains(s, "nothing read since the part was fitted") {
			t.Error(s)
		}
	})
	t.Run("fitted with a size", func(t *testing.T) {
		p := answer(t, rows("a,g,0,0.2,\na,g,10000,0.3,\na,g,12000,0.1,fitted\n"), Options{Limit: "0.6"}).Points[0]
		if math.Abs(float64(p.Level)-.1) > 1e-9 || !p.Crossing.P50.Real() || p.Crossing.P50 < 12000 {
			t.Errorf("%+v", p)
		}
	})
	t.Run("over already", func(t *testing.T) {
		p := answer(t, rows("a,g,0,0.3,\na,g,20000,0.5,\na,g,40000,0.75,\n"), Options{Limit: "0.6"}).Points[0]
		if c := p.Crossing; !c.Already || c.P10 != 40000 || c.P50 != 40000 || c.P90 != 40000 || p.NextMeasurement != 40000 {
			t.Errorf("%+v, %v", c, p.NextMeasurement)
		}
	})
	t.Run("too far to say", func(t *testing.T) {
		p := answer(t, rows("a,g,0,0.2,\na,g,20000,0.2001,\na,g,40000,0.2002,\n"), Options{Limit: "900"}).Points[0]
		if c := p.Crossing; !c.BeyondHorizon || c.P10.Real() || c.P50.Real() || c.Already || p.NextMeasurement.Real() {
			t.Errorf("%+v, %v", c, p.NextMeasurement)
		}
	})
	t.Run("a forecast of what is past", func(t *testing.T) {
		a := answer(t, rows("a,g,0,0.2,\na,g,20000,0.3,\n"), Options{At: []float64{10000, 20000}}).Points[0].At
		if a[0].Mean.Real() || !a[1].Mean.Real() {
			t.Errorf("%+v", a)
		}
	})
	t.Run("falling", func(t *testing.T) {
		r := answer(t, rows("a,g,0,9,\na,g,10,8,\na,g,20,7,\n"), Options{Unit: "dB", Plain: true})
		if s := asText(t, r); !strings.Contains(s, "Only growth is understood") {
			t.Error(s)
		}
	})
}

// More wear never brings a later crossing.
func TestMoreWear(t *testing.T) {
	last := math.Inf(1)
	for _, mm := range []float64{.25, .30, .35, .40, .45} {
		p := answer(t, head+fmt.Sprintf("a,g,0,0.2\na,g,10000,0.22\na,g,20000,%v\n", mm), Options{Limit: "0.8"}).Points[0]
		if when := float64(p.Crossing.P50); when > last {
			t.Errorf("worn to %v mm it crosses at %v h, later than with less wear, %v h", mm, when, last)
		} else {
			last = when
		}
	}
}

// A point with very many readings is answered from its readings drawn together,
// and comes out as it must.
func TestManyReadings(t *testing.T) {
	var b strings.Builder
	b.WriteString(head)
	rnd := rand.New(rand.NewPCG(1, 2))
	for i := range 50000 {
		fmt.Fprintf(&b, "a,g,%d,%.4f\n", i, .2+1e-5*float64(i)+.03*rnd.NormFloat64())
	}
	r := answer(t, b.String(), Options{Limit: "1"})
	p := r.Points[0]
	if p.Readings != 50000 || math.Abs(float64(p.Level)-.7) > .01 || p.RateLow > .01 || p.RateHigh < .01 {
		t.Errorf("%d readings, level %v, rate %v to %v; want 50000, 0.7, and .01 inside", p.Readings, p.Level, p.RateLow, p.RateHigh)
	}
	if s := asText(t, r); !strings.Contains(s, "50,000 readings drawn together") {
		t.Error(s)
	}
}

func BenchmarkRead(b *testing.B) {
	var csv strings.Builder
	csv.WriteString(head)
	const points, rows = 1000, 20
	for i := range rows {
		for p := range points {
			fmt.Fprintf(&csv, "point-%d,group-%d,%d,%.3f\n", p, p%6, i*5000, .1+.01*float64(i))
		}
	}
	s, err := Options{Name: "fleet.csv", Unit: "mm"}.understand()
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	b.SetBytes(int64(csv.Len()))
	for b.Loop() {
		if _, err := read(context.Background(), strings.NewReader(csv.String()), s); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/(points*rows), "ns/row")
}

// What is written for programs says what is written for people: that only
// growth is understood, where values fall; null where there is nothing to say.
func TestNote(t *testing.T) {
	for _, tt := range []struct {
		name, csv string
		plain     bool
		want      string // empty: null
	}{
		{"falling", head + "a,g,0,9\na,g,10,8\na,g,20,7\n", true, falling},
		{"falling lengths", head + "a,g,0,9\na,g,10,8\na,g,20,7\n", false, falling},
		{"growing", head + "a,g,0,7\na,g,10,8\na,g,20,9\n", true, ""},
		{"as many up as down", head + "a,g,0,7\na,g,10,8\nb,g,0,8\nb,g,10,7\n", true, ""},
		{"still", head + "a,g,0,7\na,g,10,7\n", true, ""},
		{"down at a repair only", "point,group,hours,value,event\na,g,0,7,\na,g,10,8,\na,g,10,3,fitted\na,g,20,4,\n", true, ""},
	} {
		unit := map[bool]string{true: "dB", false: "mm"}[tt.plain]
		r := answer(t, tt.csv, Options{Unit: unit, Plain: tt.plain})
		var doc map[string]any
		if err := json.Unmarshal([]byte(asJSON(t, r)), &doc); err != nil {
			t.Fatal(err)
		}
		note, there := doc["note"]
		said, _ := note.(string)
		if !there || said != tt.want || (note == nil) != (tt.want == "") {
			t.Errorf("%s: the note is %v, want %q", tt.name, note, tt.want)
		}
		if strings.Contains(asText(t, r), falling) != (tt.want != "") {
			t.Errorf("%s: words and JSON differ", tt.name)
		}
	}
}

// To measure again is due by when the chance of being over passes one in twenty,
// or halfway to the likely crossing: whichever is sooner, and not sooner still.
func TestNextMeasurement(t *testing.T) {
	r := answer(t, fleet(t), Options{Limit: "0.8"})
	halved := 0
	for i, p := range r.Points {
		if p.Crossing == nil || p.Crossing.Already {
			continue
		}
		post, err := r.filter(r.history(r.log.points[i]))
		if err != nil {
			t.Fatal(err)
		}
		next, half := float64(p.NextMeasurement), (p.Hours+float64(p.Crossing.P50))/2
		risk := post.Exceed(.8, next/1000, r.log.points[i].last)
		switch {
		case next > half*(1+1e-9) || risk > .05+1e-6:
			t.Errorf("%s: at %v h, halfway is %v h and the risk %.4f", p.Point, next, half, risk)
		case math.Abs(next-half) < 1e-6*half:
			halved++
		case risk < .05-1e-4:
			t.Errorf("%s: at %v h for no reason: halfway is %v h and the risk %.4f", p.Point, next, half, risk)
		}
	}
	if halved == 0 || halved == len(r.Points) {
		t.Errorf("%d of the points are halved: the file should have both kinds", halved)
	}
}

// What is typical of a group is what its points do, and is told for the age and
// size that they have come to.
func TestTypical(t *testing.T) {
	for name, r := range map[string]answered{
		"liners": answer(t, liners.csv("liner", 1, true), Options{Gauge: "0.05", KnownStart: true}),
		"lasers": answer(t, lasers.csv("laser", 2, false), Options{Unit: "%", Plain: true, KnownStart: true}),
	} {
		var rates []float64
		for _, p := range r.Points {
			rates = append(rates, float64(p.Rate))
		}
		if g, want := r.Learned.Groups[0], median(rates); g.Points != len(r.Points) || off(g.Rate, want, .2*want) {
			t.Errorf("%s: %+v, want about %v, the median of the points' rates", name, g, want)
		}
	}
}

// The scale on which the picture draws wear that slows or quickens as a straight
// line is that of the filter: on it the likely size goes up evenly.
func TestEven(t *testing.T) {
	for _, q := range []float64{-.4, .3} {
		p := wear.Params{B: 1, C: 1, Quicken: q, Reach: 3}
		post, err := wear.Filter(wear.Prior{Mu: math.Log(.05), Om: 1e-3}, p, []wear.Segment{{Start: &wear.Level{Mean: .1, SD: 1e-6}}})
		if err != nil {
			t.Fatal(err)
		}
		from := even(.1, q, 3)
		for h := 1.; h < 90; h += 7 {
			size := post.LevelQuantile(h, .5)
			if got := even(size, q, 3) - from; math.Abs(got-.05*h) > 1e-3*.05*h {
				t.Errorf("quickening %v: after %v units, at %.4f mm, %.5f up, want %.5f", q, h, size, got, .05*h)
			}
		}
	}
}

// A picture of very many points shows those that reach the limit soonest, those
// that are over it first, the farthest over before.
func TestPressing(t *testing.T) {
	var b strings.Builder
	b.WriteString(head)
	const n = 3 * chart.MostTrends
	for i := range n {
		size := .2 + .01*float64((i*29)%n) // every size once, in no order
		fmt.Fprintf(&b, "p%d,g,0,0.1\np%d,g,30000,%.2f\n", (i*29)%n, (i*29)%n, size)
	}
	r := answer(t, b.String(), Options{Limit: "0.8"})
	pressing, err := r.pressing(context.Background())
	if err != nil || len(pressing) != chart.MostTrends {
		t.Fatalf("%d points, %v, want %d", len(pressing), err, chart.MostTrends)
	}
	for i, p := range pressing {
		if want := fmt.Sprint("p", n-1-i); p.name != want {
			t.Errorf("place %d is %s's, want %s's", i+1, p.name, want)
		}
	}
	picture, err := r.Picture(context.Background())
	if err != nil || !strings.Contains(picture.Title, "24 points, the most pressing of 72") {
		t.Errorf("%q, %v", picture.Title, err)
	}
	unlimited := answer(t, b.String(), Options{})
	first, err := unlimited.pressing(context.Background())
	if err != nil || first[0] != unlimited.log.points[0] || len(first) != chart.MostTrends {
		t.Errorf("without a limit: %d points, %v, want the first of the file", len(first), err)
	}
}

// even turns sizes into a scale on which wear goes evenly, where its rate grows
// by a share q of itself for each unit of size from nothing up to reach.
func even(size, q, reach float64) float64 {
	in := min(max(0, size), reach)
	return size - in - math.Expm1(-q*in)/q + (math.Exp(-q*reach)-1)*max(0, size-reach)
}
