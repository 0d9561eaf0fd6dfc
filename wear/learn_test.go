package wear

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"
)

// lesson is the fleet of the check below: eight points in two groups.
func lesson() []History {
	var out []History
	for i, c := range []struct {
		group string
		h, y  []float64
	}{
		{"A", []float64{0, 16.6}, []float64{.08, .27}},
		{"B", []float64{0, 11.1}, []float64{.09, .37}},
		{"A", []float64{0, 11.8, 22.1}, []float64{.08, .32, .55}},
		{"B", []float64{0, 14.0, 28.9}, []float64{.09, .64, 1.25}},
		{"A", []float64{0, 18.2}, []float64{.12, .25}},
		{"B", []float64{0, 3.5, 18.5}, []float64{.07, .18, .61}},
		{"A", []float64{0, 8.1, 23.7, 39.0}, []float64{.07, .09, .24, .33}},
		{"B", []float64{0, 10.3, 26.2, 44.1}, []float64{.14, .37, .74, 1.19}},
	} {
		out = append(out, History{fmt.Sprint(i), c.group, Prior{Mu: math.Log(.013), Om: 1.2}, []Segment{{Readings: gauges(c.h, c.y)}}})
	}
	return out
}

// TestIteration: scipy's Nelder-Mead on the penalised evidence with a trapezoid
// of 801 nodes; means of the groups' ln rates and their spread within 5e-4.
func TestIteration(t *testing.T) {
	s := school{groups: map[string]int{}}
	if err := s.enrol(lesson()); err != nil {
		t.Fatal(err)
	}
	got, err := s.iterate(context.Background(), fit{p: plain(.01, 1), om: startOm}, 200, func(now, was fit) bool {
		if was.shift == nil {
			return false
		}
		return math.Abs(now.om-was.om)+math.Abs(now.shift[0]-was.shift[0])+math.Abs(now.shift[1]-was.shift[1]) < 1e-8
	})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "mean of group A", math.Log(.013)+got.shift[s.groups["A"]], -4.55722, 5e-4)
	near(t, "mean of group B", math.Log(.013)+got.shift[s.groups["B"]], -3.57241, 5e-4)
	near(t, "spread", got.om, .41979, 5e-4)
}

// grown is a fleet that wears by the law itself: six groups of known median
// rate, spread and grain, all even in time unless bent.
type grown struct {
	rng     *rand.Rand
	points  int
	om, phi float64
	quicken float64
	misread float64 // share
	change  float64 // share of points whose rate changes half way
	jump    float64 // deviation of a changed ln rate besides om
}

// fleet makes histories and keeps the rates they came from.
func (g grown) fleet() (out []History, rates []float64) {
	medians := []float64{.002, .004, .01, .02, .04, .08}
	for i := range g.points {
		group := i % len(medians)
		rate := medians[group] * math.Exp(g.om*g.rng.NormFloat64())
		n, level, h := 2+g.rng.IntN(11), .1, 0.0
		seg := Segment{}
		turn := n + 1
		if g.rng.Float64() < g.change {
			turn = n / 2
		}
		for k := range n {
			if k > 0 {
				dh := 4 + 18*g.rng.Float64()
				if k == turn {
					rate = medians[group] * math.Exp(math.Hypot(g.om, g.jump)*g.rng.NormFloat64())
				}
				for range 20 { // fine steps, for a rate that may hang on the level
					step := rate * dh / 20 * math.Exp(g.quicken*level)
					level += min(4, step+math.Sqrt(g.phi*step)*g.rng.NormFloat64())
				}
				h += dh
			}
			if level > 2 && g.quicken != 0 { // worn out
				break
			}
			sd := .02 + .02*g.rng.Float64()
			y := level + sd*g.rng.NormFloat64()
			if g.rng.Float64() < g.misread {
				y += .15 + .35*g.rng.Float64()
			}
			seg.Readings = append(seg.Readings, Gauge{h, math.Round(y*100) / 100, sd})
		}
		out = append(out, History{fmt.Sprint(i), fmt.Sprint("group ", group), Prior{Mu: math.Log(.013), Om: 1.2}, []Segment{seg}})
		rates = append(rates, rate)
	}
	return out, rates
}

// TestLearnFindsTheTruth: the fleet's own figures come back, and nothing that
// is not there.
func TestLearnFindsTheTruth(t *testing.T) {
	g := grown{rng: rand.New(rand.NewPCG(3, 1)), points: 160, om: .5, phi: .01, misread: .02}
	fleet, _ := g.fleet()
	l, err := Learn(context.Background(), fleet, Teaching{})
	if err != nil {
		t.Fatal(err)
	}
	if !l.Taught || l.Bearings != 160 || len(l.Groups) != 6 {
		t.Fatalf("learned %v from %d bearings in %d groups", l.Taught, l.Bearings, len(l.Groups))
	}
	if l.Params.B != 1 || l.Params.Quicken != 0 {
		t.Errorf("wear that goes evenly was taken for bent: exponent %v, quickening %v", l.Params.B, l.Params.Quicken)
	}
	near(t, "spread", l.Om, .5, .12)
	if l.Params.Phi < .004 || l.Params.Phi > .05 || l.Params.C < .5 || l.Params.C > 2 {
		t.Errorf("grain %v, gauge factor %v: true .01 and 1", l.Params.Phi, l.Params.C)
	}
	for i, m := range []float64{.002, .004, .01, .02, .04, .08} {
		p := l.Prior(fmt.Sprint("group ", i), Prior{Mu: math.Log(.013), Om: 1.2})
		near(t, fmt.Sprintf("ln median of group %d", i), p.Mu, math.Log(m), .4)
		if !strings.Contains(p.From, "learned") {
			t.Errorf("the prior does not say that it is learned: %q", p.From)
		}
	}
	if p := l.Prior("nobody knows", Prior{Mu: -5, Om: 1.2}); p.Mu != -5 || p.Om != 1.2 {
		t.Errorf("a group nobody taught has prior %v", p)
	}
}

// TestLearnSeesQuickening: wear that quickens as it goes deeper is seen, and
// wear that does not is not.
func TestLearnSeesQuickening(t *testing.T) {
	g := grown{rng: rand.New(rand.NewPCG(5, 1)), points: 60, om: .4, phi: .005, quicken: 1.2}
	fleet, _ := g.fleet()
	l, err := Learn(context.Background(), fleet, Teaching{})
	if err != nil {
		t.Fatal(err)
	}
	if l.Params.Quicken < .6 || l.Params.Quicken > 2 {
		t.Errorf("wear quickens by 1.2 of itself a mm, and %v was learned (exponent %v)", l.Params.Quicken, l.Params.B)
	}
}

// TestLearnTooFew: a fleet too small to teach leaves physics as it is.
func TestLearnTooFew(t *testing.T) {
	physics := Prior{Mu: -5, Om: 1.2, From: "physics"}
	for name, fleet := range map[string][]History{
		"nobody": nil, "five": lesson()[:5],
		"never read twice": {{"a", "g", physics, []Segment{{Readings: []Gauge{{1, 1, .1}}}}}, {"b", "g", physics, nil}},
	} {
		l, err := Learn(context.Background(), fleet, Teaching{})
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if l.Taught || l.Prior("A", physics) != physics || l.Params != DefaultParams() {
			t.Errorf("%s: learned %+v", name, l)
		}
	}
	free, err := Learn(context.Background(), lesson()[:5], Teaching{Plain: true})
	if err != nil {
		t.Fatal(err)
	}
	if p := free.Prior("A", physics); !(p.Mu > -6 && p.Mu < -2) {
		t.Errorf("without physics the few there are should say something: prior %v", p)
	}
}

// TestLearnLarge: of a fleet too large to learn from whole, as many teach as are
// worth the time, and say the same.
func TestLearnLarge(t *testing.T) {
	fleet, _ := grown{rng: rand.New(rand.NewPCG(19, 1)), points: 4500, om: .5, phi: .01}.fleet()
	l, err := Learn(context.Background(), fleet, Teaching{})
	if err != nil {
		t.Fatal(err)
	}
	if l.Bearings > mostTaught || l.Bearings < mostTaught/2 {
		t.Errorf("%d bearings taught", l.Bearings)
	}
	near(t, "spread", l.Om, .5, .05)
	for i, m := range []float64{.002, .004, .01, .02, .04, .08} {
		p := l.Prior(fmt.Sprint("group ", i), Prior{Mu: math.Log(.013), Om: 1.2})
		near(t, fmt.Sprintf("ln median of group %d", i), p.Mu, math.Log(m), .15)
	}
}

func TestLearnStops(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Learn(ctx, lesson(), Teaching{}); !errors.Is(err, context.Canceled) {
		t.Errorf("a cancelled lesson ended with %v", err)
	}
	if _, err := TrackRecord(ctx, lesson(), Teaching{}, 4); !errors.Is(err, context.Canceled) {
		t.Errorf("a cancelled track record ended with %v", err)
	}
}

func TestLearnRefuses(t *testing.T) {
	bad := append(lesson(), History{Name: "tower, front bush", Segments: []Segment{{Readings: []Gauge{{5, .1, .03}, {4, .1, .03}}}}})
	if _, err := Learn(context.Background(), bad, Teaching{}); err == nil || !strings.Contains(err.Error(), "tower, front bush") {
		t.Errorf("hours running backwards: %v", err)
	}
}

// TestLearnScales: the answer does not depend on the order of the fleet, and
// without physics not on the unit of size.
func TestLearnScales(t *testing.T) {
	fleet, _ := grown{rng: rand.New(rand.NewPCG(7, 1)), points: 12, om: .4, phi: .01}.fleet()
	a, err := Learn(context.Background(), fleet, Teaching{})
	if err != nil {
		t.Fatal(err)
	}
	turned := make([]History, len(fleet))
	for i := range fleet {
		turned[len(fleet)-1-i] = fleet[i]
	}
	b, err := Learn(context.Background(), turned, Teaching{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "spread, fleet turned about", b.Om, a.Om, 1e-9)
	for g := range a.Groups {
		near(t, "shift of "+g, b.Groups[g].Shift, a.Groups[g].Shift, 1e-9)
	}
	x, err := TrackRecord(context.Background(), fleet, Teaching{}, 4)
	if err != nil {
		t.Fatal(err)
	}
	y, err := TrackRecord(context.Background(), turned, Teaching{}, 4)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "score, fleet turned about", y.Next.Ours.CRPS, x.Next.Ours.CRPS, 1e-9)
}

// TestLearnFromNothing: sizes that never change, or are nothing, or fall, or lie
// far apart, teach something finite, soon.
func TestLearnFromNothing(t *testing.T) {
	for name, size := range map[string]func(point, k int) float64{
		"all nothing": func(int, int) float64 { return 0 }, "all one size": func(int, int) float64 { return 1.5 },
		"all below nothing": func(int, int) float64 { return -.5 }, "falling": func(_, k int) float64 { return 3 - float64(k)/2 },
		"huge": func(i, k int) float64 { return 8e3 * float64(i+k) }, "tiny": func(_, k int) float64 { return 1e-6 * float64(k) },
	} {
		for _, plain := range []bool{false, true} {
			var fleet []History
			for i := range 9 {
				s := Segment{}
				for k := range 4 {
					s.Readings = append(s.Readings, Gauge{10 * float64(k), size(i, k), .03})
				}
				fleet = append(fleet, History{fmt.Sprint(i), "all", Prior{Mu: -5, Om: 1.2}, []Segment{s}})
			}
			ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
			defer cancel()
			l, err := Learn(ctx, fleet, Teaching{Plain: plain, Guessed: plain})
			if err != nil {
				t.Errorf("%s, plain %v: %v", name, plain, err)
				continue
			}
			p := l.Prior("all", fleet[0].Prior)
			if _, err := Filter(p, l.Params, fleet[0].Segments); err != nil {
				t.Errorf("%s, plain %v: what was learned cannot be used: %v", name, plain, err)
			}
		}
	}
	bad := lesson()
	bad[3].Prior.Mu = math.NaN()
	if _, err := Learn(t.Context(), bad, Teaching{}); err == nil || !strings.HasPrefix(err.Error(), "3: ") {
		t.Errorf("a prior that is no number: %v", err)
	}
	// One of a group, and two of one name.
	odd := append(lesson(), lesson()[0])
	odd[4].Group = "alone"
	if l, err := Learn(t.Context(), odd, Teaching{}); err != nil || l.Groups["alone"].Bearings != 1 {
		t.Errorf("one of a group: %v, %v", l.Groups, err)
	}
}

// FuzzLearn: whatever a fleet's readings are, learning ends, and what it says can
// be used.
func FuzzLearn(f *testing.F) {
	f.Add([]byte("\x00\x10\x20\x30\x40\x50\x60\x70\x80\x90"), true)
	f.Add([]byte("abcabcabcabcabcabcabcabcabcabcabc"), false)
	f.Fuzz(func(t *testing.T, data []byte, plain bool) {
		var fleet []History
		for i := 0; i+6 < len(data) && len(fleet) < 10; i += 6 {
			s, h := Segment{}, 0.0
			for _, b := range data[i : i+6] {
				h += float64(b%16) / 2
				s.Readings = append(s.Readings, Gauge{h, (float64(b) - 20) * math.Pow(10, float64(b%5)-3), .01 + float64(b%7)/100})
			}
			fleet = append(fleet, History{fmt.Sprint(i), string(rune('a' + data[i]%3)), Prior{Mu: -5, Om: 1.2}, []Segment{s}})
		}
		ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
		defer cancel()
		l, err := Learn(ctx, fleet, Teaching{Plain: plain, Guessed: plain})
		if err != nil {
			t.Fatal(err)
		}
		for _, h := range fleet {
			post, err := Filter(l.Prior(h.Group, h.Prior), l.Params, h.Segments)
			if err != nil {
				t.Fatal(err)
			}
			if level := post.Level(); !finite(level.Mean) || !finite(level.SD) {
				t.Fatalf("level %v", level)
			}
		}
	})
}

// TestLearnPastAMisread: one reading of a fleet a decimal point off teaches
// nothing about the others: what is foreseen of them stays as it was.
func TestLearnPastAMisread(t *testing.T) {
	rng := rand.New(rand.NewPCG(29, 1))
	fleet := func(slip float64) Learned {
		r := rand.New(rand.NewPCG(29, 2))
		var out []History
		for i := range 8 {
			s := Segment{}
			for k := range 4 {
				s.Readings = append(s.Readings, Gauge{4 * float64(k), .08 + .008*(1+.15*float64(i))*4*float64(k) + .012*r.NormFloat64(), .03})
			}
			out = append(out, History{fmt.Sprint(i), "pins", Prior{Mu: math.Log(.01), Om: 1.6}, []Segment{s}})
		}
		if slip != 0 {
			g := out[rng.IntN(8)].Segments[0].Readings
			g[1+rng.IntN(3)].Y *= slip
		}
		l, err := Learn(t.Context(), out, Teaching{})
		if err != nil {
			t.Fatal(err)
		}
		return l
	}
	want := fleet(0)
	for range 10 {
		for _, slip := range []float64{3, 10, 25.4} {
			got := fleet(slip)
			if got.Params.B != 1 || got.Params.Quicken != 0 {
				t.Errorf("a reading %v times too large: exponent %v, quickening %v", slip, got.Params.B, got.Params.Quicken)
			}
			p := Prior{Mu: math.Log(.01), Om: 1.6}
			near(t, "ln median rate", got.Prior("pins", p).Mu, want.Prior("pins", p).Mu, .12)
			near(t, "grain", math.Log(got.Params.Phi/want.Params.Phi), 0, .7)
		}
	}
}
