package wear

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// aged is a fleet in two groups whose wear goes by the power b of exposure, read
// on six days up to 40 units by gauges of true deviation sd, stated as said, so
// many times a day.
func aged(seed uint64, points, times int, b, sd, said float64) []History {
	rng := rand.New(rand.NewPCG(seed, 73))
	var out []History
	for i := range points {
		// About as much wear in all as .01 and .02 a unit would bring.
		rate := .01 * float64(1+i%2) * math.Pow(40, 1-b) * math.Exp(.3*rng.NormFloat64())
		s, level, was := Segment{}, .1, 0.0
		for h := 0.0; h <= 40; h += 8 {
			step := rate * (math.Pow(h, b) - math.Pow(was, b))
			level += step + math.Sqrt(.003*step)*rng.NormFloat64()
			was = h
			for range times {
				s.Readings = append(s.Readings, Gauge{h, level + sd*rng.NormFloat64(), said})
			}
		}
		out = append(out, History{fmt.Sprint("point ", i), string(rune('A' + i%2)), Prior{Mu: math.Log(.01), Om: 1.2}, []Segment{s}})
	}
	return out
}

func learned(t *testing.T, fleet []History, how Teaching) Learned {
	t.Helper()
	l, err := Learn(t.Context(), fleet, how)
	if err != nil {
		t.Fatal(err)
	}
	return l
}

// TestLearnSeesAge: wear simulated to slow or quicken with age is seen as that;
// property. The centre is then (1-B) ln of the median last exposure, so that a
// bearing nobody has taught of wears over that exposure what physics says of it;
// by hand.
func TestLearnSeesAge(t *testing.T) {
	for _, b := range []float64{.6, 1.5} {
		l := learned(t, aged(1, 40, 1, b, .02, .02), Teaching{})
		near(t, "exponent", l.Params.B, b, .15)
		if l.Params.Quicken != 0 {
			t.Errorf("exponent %v: quickening %v by depth was learned, too", b, l.Params.Quicken)
		}
		near(t, "centre", l.Centre, (1-l.Params.B)*math.Log(40), 1e-12)
		stranger := l.Prior("nobody", Prior{Mu: math.Log(.03), Om: 1.2})
		nearRel(t, "wear of a stranger over it", math.Exp(stranger.Mu)*math.Pow(40, l.Params.B), .03*40, 1e-9)
		for g, want := range map[string]float64{"A": .01, "B": .02} {
			p := l.Prior(g, Prior{Mu: math.Log(.01), Om: 1.2})
			near(t, "ln wear of group "+g, p.Mu+l.Params.B*math.Log(40), math.Log(want*40), .25)
		}
	}
	if l := learned(t, aged(1, 40, 1, 1, .02, .02), Teaching{}); l.Params.B != 1 || l.Centre != 0 {
		t.Errorf("even wear: exponent %v, centre %v", l.Params.B, l.Centre)
	}
}

// TestLearnSeesGauges: gauges stated twice as good as they are, as they are, and
// half as good, simulated, are found out where they read twice a day, which
// tells them from uneven wear; property.
func TestLearnSeesGauges(t *testing.T) {
	for _, c := range []struct{ said, want float64 }{{.015, 2}, {.03, 1}, {.06, .5}} {
		for _, guessed := range []bool{false, true} {
			l := learned(t, aged(2, 25, 2, 1, .03, c.said), Teaching{Guessed: guessed})
			near(t, fmt.Sprintf("ln gauge factor, stated %v, guessed %v", c.said, guessed), math.Log(l.Params.C/c.want), 0, .35)
		}
	}
}

// TestPlainUnits: without physics priors are disregarded; a longer unit of
// exposure, sizes of another unit brought to a change of 1, and sizes from
// another zero give the same answer in those units; property.
func TestPlainUnits(t *testing.T) {
	base := aged(3, 14, 1, 1, .02, .02)
	change := func(by func(h *History, g *Gauge)) []History {
		out := make([]History, len(base))
		for i, h := range base {
			out[i] = h
			out[i].Segments = later(h.Segments, 0)
			for k := range out[i].Segments[0].Readings {
				by(&out[i], &out[i].Segments[0].Readings[k])
			}
		}
		return out
	}
	a := learned(t, base, Teaching{Plain: true})
	for _, c := range []struct {
		name    string
		by      func(h *History, g *Gauge)
		ln, tol float64
	}{
		{"other priors", func(h *History, _ *Gauge) { h.Prior = Prior{Mu: 3, Om: 2} }, 0, 1e-12},
		{"inches brought back", func(_ *History, g *Gauge) { g.Y, g.SD = g.Y/25.4*25.4, g.SD/25.4*25.4 }, 0, 1e-6},
		{"half the exposure", func(_ *History, g *Gauge) { g.H /= 2 }, math.Ln2, .02},
	} {
		b := learned(t, change(c.by), Teaching{Plain: true})
		near(t, c.name+": centre", b.Centre, a.Centre+c.ln, c.tol)
		near(t, c.name+": spread", b.Om, a.Om, c.tol)
		near(t, c.name+": ln grain", math.Log(b.Params.Phi), math.Log(a.Params.Phi), c.tol)
		near(t, c.name+": gauge factor", b.Params.C, a.Params.C, c.tol)
		for g := range a.Groups {
			near(t, c.name+": shift of "+g, b.Groups[g].Shift, a.Groups[g].Shift, c.tol)
		}
	}
	// A stranger is as the groups are on the whole: their shifts sum to nothing.
	near(t, "shifts in all", a.Groups["A"].Shift+a.Groups["B"].Shift, 0, 1e-12)
	near(t, "B beside A", a.Groups["B"].Shift-a.Groups["A"].Shift, math.Ln2, .5)
	p := a.Prior("nobody", Prior{Mu: 8, Om: 4})
	near(t, "stranger", p.Mu, a.Centre, 0)
	near(t, "its deviation", p.Om, math.Sqrt(1+a.Om*a.Om), 1e-12)
}

// TestGroupsOfOne: every bearing a group of its own still teaches how far apart
// they are, and its own prior is as wide as two of that spread together; by hand.
func TestGroupsOfOne(t *testing.T) {
	fleet := aged(4, 12, 1, 1, .02, .02)
	for i := range fleet {
		fleet[i].Group = fleet[i].Name
	}
	l := learned(t, fleet, Teaching{})
	if !l.Taught || len(l.Groups) != 12 || l.Bearings != 12 || l.Readings != 72 {
		t.Fatalf("taught %v, %d groups by %d bearings and %d readings", l.Taught, len(l.Groups), l.Bearings, l.Readings)
	}
	physics := Prior{Mu: math.Log(.01), Om: 1.2}
	for _, h := range fleet {
		p := l.Prior(h.Group, physics)
		if g := l.Groups[h.Group]; g.Bearings != 1 || p.From != "learned from 1 of its kind" {
			t.Errorf("%s: %+v, from %q", h.Name, g, p.From)
		}
		nearRel(t, "deviation", p.Om, l.Om*math.Sqrt2, 1e-12)
		own, _ := filtered(t, physics, l.Params, h.Segments...).LnRate()
		near(t, "own ln rate", p.Mu, own, .3)
	}
	// Of a group that nobody has taught, physics holds, and no more surely.
	for _, om := range []float64{.05, 1.2} {
		p := l.Prior("nobody", Prior{Mu: -3, Om: om, From: "physics"})
		near(t, "stranger", p.Mu, -3, 0)
		near(t, "its deviation", p.Om, max(om, l.Om), 0)
		if p.From != "physics" {
			t.Errorf("a stranger's rate is said to be from %q", p.From)
		}
	}
}
