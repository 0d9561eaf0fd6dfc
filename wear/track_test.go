package wear

import (
	"fmt"
	"math"
	"slices"
	"testing"
)

// evenly is n readings from exposure h0 on, one a unit of 4, rising by rate.
func evenly(h0 float64, n int, rate float64) []Gauge {
	var out []Gauge
	for k := range n {
		h := 4 * float64(k+1)
		out = append(out, Gauge{h0 + h, .1 + rate*h + .01*float64(k%3), .03})
	}
	return out
}

func named(segs ...[]Segment) []History {
	var out []History
	for i, s := range segs {
		out = append(out, History{fmt.Sprint("point ", i), "all", Prior{Mu: math.Log(.01), Om: 1.2}, s})
	}
	return out
}

func record(t *testing.T, fleet []History, folds int) Track {
	t.Helper()
	r, err := TrackRecord(t.Context(), fleet, Teaching{}, folds)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// TestForecastsCounted: a line wants two sizes, so a part of n readings has n-2
// forecasts, n-1 with a size when fitted; one that is carried on is one part;
// of many readings every so many-th is judged, the last among them; by hand. A
// small fleet is dealt several times, but counted once.
func TestForecastsCounted(t *testing.T) {
	start := &Level{.1, .02}
	for _, c := range []struct {
		name string
		want int
		segs []Segment
	}{
		{"no part", 0, nil},
		{"two readings", 0, []Segment{{Readings: evenly(0, 2, .01)}}},
		{"six readings", 4, []Segment{{Readings: evenly(0, 6, .01)}}},
		{"six and a start", 5, []Segment{{Start: start, Readings: evenly(0, 6, .01)}}},
		{"one and a start", 0, []Segment{{Start: start, Readings: evenly(0, 1, .01)}}},
		{"two parts", 2 + 3, []Segment{{Readings: evenly(0, 4, .01)}, {H0: 20, Start: start, Readings: evenly(20, 4, .01)}}},
		{"carried on", 4 + 4 - 2, []Segment{{Readings: evenly(0, 4, .01)}, {H0: 20, Carry: .02, Readings: evenly(20, 4, .01)}}},
		{"carried on twice, unread between", 2 + 2 - 2, []Segment{{Readings: evenly(0, 2, .01)}, {H0: 9, Carry: .02}, {H0: 20, Carry: .02, Readings: evenly(20, 2, .01)}}},
		{"forgotten", 2, []Segment{{Readings: evenly(0, 9, .01)}, {H0: 40, Fresh: true, Readings: evenly(40, 4, .01)}}},
		{"twenty-four", 22, []Segment{{Readings: evenly(0, 24, .01)}}},
		{"twenty-five", 12, []Segment{{Readings: evenly(0, 25, .01)}}}, // the 3rd, 5th to 25th
		{"a hundred", 20, []Segment{{Readings: evenly(0, 100, .01)}}},  // the 5th, 10th to 100th
	} {
		r := record(t, named(c.segs, nil), 2)
		for _, s := range r.scores() {
			if s.Forecasts != c.want {
				t.Errorf("%s: %d forecasts, want %d", c.name, s.Forecasts, c.want)
			}
		}
	}
}

// TestDealsAreAveraged: of a fleet too small to teach every deal says the same,
// so the record is the mean of its forecasts, each made by hand here: the line
// through two sizes, and the filter with physics alone.
func TestDealsAreAveraged(t *testing.T) {
	fleet := named([]Segment{{Readings: evenly(0, 3, .01)}}, []Segment{{Readings: evenly(0, 3, .02)}}, []Segment{{Readings: evenly(0, 2, .01)}})
	r := record(t, fleet, 3)
	var ours, line, crps float64
	for _, h := range fleet[:2] {
		g := h.Segments[0].Readings
		line += math.Abs(g[2].Y-(2*g[1].Y-g[0].Y)) / 2
		post := filtered(t, h.Prior, DefaultParams(), Segment{Readings: g[:2]})
		ours += math.Abs(g[2].Y-post.LevelQuantile(g[2].H, .5)) / 2
		crps += post.Judge(g[2]).CRPS / 2
	}
	for _, v := range []Versus{r.Next, r.Last} { // the next reading is the last
		if v.Ours.Forecasts != 2 || v.StraightLine.Forecasts != 2 {
			t.Errorf("%d and %d forecasts, want 2", v.Ours.Forecasts, v.StraightLine.Forecasts)
		}
		near(t, "line's miss", v.StraightLine.MAE, line, 1e-12)
		near(t, "our miss", v.Ours.MAE, ours, 1e-12)
		near(t, "our score", v.Ours.CRPS, crps, 1e-12)
	}
}

// TestNotByItsOwnLesson: one bearing wears twenty times as fast as the others,
// which are read too seldom to be judged. Its own lesson would foresee it well
// from two sizes close together; the record must not; property.
func TestNotByItsOwnLesson(t *testing.T) {
	for _, group := range []string{"all", "its own"} {
		var fleet []History
		for i := range 11 {
			fleet = append(fleet, named([]Segment{{Readings: []Gauge{{0, .1, .03}, {40, .5 + .01*float64(i%3), .03}}}})...)
			fleet[i].Name = fmt.Sprint("slow ", i)
		}
		odd := named([]Segment{{Readings: []Gauge{{0, .1, .03}, {.1, .12, .03}, {40, 8.1, .03}}}})[0]
		odd.Name, odd.Group, odd.Prior.Om = "fast", group, .5
		fleet = append(fleet, odd)
		r := record(t, fleet, 3)
		if r.Next.Ours.Forecasts != 1 || r.Next.Ours.MAE < 7 {
			t.Errorf("group %q: %d forecasts, off by %v of 8", group, r.Next.Ours.Forecasts, r.Next.Ours.MAE)
		}
		if group == "all" {
			continue
		}
		l := learned(t, fleet, Teaching{})
		own, err := l.judge(t.Context(), fleet[11:])
		if err != nil {
			t.Fatal(err)
		}
		if own[0].Next.Ours.MAE > 5 {
			t.Errorf("by its own lesson it is off by %v: the check above tells nothing", own[0].Next.Ours.MAE)
		}
	}
}

// TestNamesDecideTheDeal: the order of the fleet changes no deal, other names
// do, and so does the number of the deal; bearings of one name keep their order;
// property.
func TestNamesDecideTheDeal(t *testing.T) {
	names := func(fleet []History) (out []string) {
		for _, h := range fleet {
			out = append(out, h.Name)
		}
		return out
	}
	fleet := aged(5, 24, 1, 1, .02, .02)
	turned := slices.Clone(fleet)
	slices.Reverse(turned)
	a := names(shuffled(fleet, 0))
	if b := names(shuffled(turned, 0)); !slices.Equal(a, b) {
		t.Errorf("dealt %v, and turned about %v", a, b)
	}
	if slices.Equal(a, names(fleet)) || slices.Equal(a, names(shuffled(fleet, 1))) {
		t.Errorf("dealt as given, or alike in two deals: %v", a)
	}
	sorted := slices.Sorted(slices.Values(a))
	if !slices.Equal(sorted, slices.Sorted(slices.Values(names(fleet)))) {
		t.Errorf("bearings were lost: %v", sorted)
	}
	alike := slices.Clone(fleet[:5])
	for i := range alike {
		alike[i].Name, alike[i].Group = "alike", fmt.Sprint(i)
	}
	for i, h := range shuffled(alike, 0) {
		if h.Group != fmt.Sprint(i) {
			t.Errorf("place %d of bearings of one name went to %s", i, h.Group)
		}
	}
	small := fleet[:9]
	was, again := record(t, small, 3), record(t, append(slices.Clone(small[5:]), small[:5]...), 3)
	near(t, "score, in another order", again.Next.Ours.CRPS, was.Next.Ours.CRPS, 1e-9)
	renamed := slices.Clone(small)
	for i := range renamed {
		renamed[i].Name = fmt.Sprint("bush ", i)
	}
	other := record(t, renamed, 3)
	if other.Next.Ours.CRPS == was.Next.Ours.CRPS {
		t.Error("other names, and every bearing is judged by the same lessons")
	}
	near(t, "the line's score, which learns nothing", other.Next.StraightLine.CRPS, was.Next.StraightLine.CRPS, 1e-12)
}
