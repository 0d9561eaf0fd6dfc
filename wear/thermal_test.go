package wear

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// rod is a bearing under a steel rod of 8 ft in a brass frame.
func rod() Bearing {
	return Bearing{Code: "rod-foot", Form: ThrustFace, Shake: EndShake, Stand: FromMM(2438.4), Shaft: Steel, Frame: Brass}
}

func readAt(value Length, celsius float64) Reading {
	return Reading{Shake: EndShake, Value: value, Gauge: 30, Celsius: &celsius}
}

// TestExpansion: Grimthorpe, A Rudimentary Treatise on Clocks, Watches and
// Bells, 8th ed., p. 53, per million and °F: tempered steel 6.4, cast iron 6.6,
// brass 10.0. Steel agrees; the other two, taken from later tables from memory,
// within what alloys differ by.
func TestExpansion(t *testing.T) {
	for _, c := range []struct {
		m         Metal
		perF, rel float64
	}{{Steel, 6.4e-6, .005}, {Brass, 10e-6, .06}, {CastIron, 6.6e-6, .13}} {
		got, ok := Expansion(c.m)
		if !ok {
			t.Errorf("%s is not known", c.m)
		}
		nearRel(t, string(c.m), got, c.perF*1.8, c.rel)
	}
	for _, m := range []Metal{"", "wood"} {
		if a, ok := Expansion(m); ok || a != 0 {
			t.Errorf("%q grows by %v", m, a)
		}
	}
	// A seconds rod of plain steel loses half a second a day per °C, of brass
	// 0.82: half the expansion of 86,400 s (the same book, p. 52).
	steel, _ := Expansion(Steel)
	brass, _ := Expansion(Brass)
	near(t, "steel rod", 43200*steel, .4968, 1e-10)
	near(t, "brass rod", 43200*brass, .8208, 1e-10)
}

// TestGrowth: 2438.4 mm of steel grow 1.121664 mm by 40 °C, and a brass frame
// of the same length 0.731520 mm more. Worked by hand.
func TestGrowth(t *testing.T) {
	b := rod()
	near(t, "free", ThermalGrowth(2438.4, 11.5e-6, 40), 1.121664, 1e-9)
	near(t, "40 °C up", b.Growth(ReferenceCelsius+40), .731520, 1e-9)
	near(t, "40 °C down", b.Growth(ReferenceCelsius-40), -.731520, 1e-9)
	near(t, "from winter to summer", b.Growth(25)-b.Growth(-15), .731520, 1e-9)
	near(t, "at the reference", b.Growth(ReferenceCelsius), 0, 0)

	turned := b
	turned.Shaft, turned.Frame = Brass, Steel
	near(t, "a brass rod in steel", turned.Growth(40), -b.Growth(40), 1e-12)
	turned.Shaft = Steel
	near(t, "steel in steel", turned.Growth(40), 0, 0)
	turned.Frame = CastIron
	near(t, "steel in cast iron", turned.Growth(25), 2438.4*(10.4e-6-11.5e-6)*10, 1e-12)

	for name, change := range map[string]func(*Bearing){
		"no length": func(b *Bearing) { b.Stand = 0 },
		"no shaft":  func(b *Bearing) { b.Shaft = "" },
		"no frame":  func(b *Bearing) { b.Frame = "" },
		"wood":      func(b *Bearing) { b.Frame = "wood" },
	} {
		b := b
		change(&b)
		near(t, name, b.Growth(35), 0, 0)
	}
}

// TestCorrected: by hand, from 18.288 µm per °C of the rod in its frame; 2 °C
// and 8 °C of doubt by judgement, no source.
func TestCorrected(t *testing.T) {
	const perC = 2438.4 * 7.5e-6
	b := rod()
	for _, c := range []struct {
		name      string
		b         Bearing
		r         Reading
		value, sd float64
	}{
		{"warm", b, readAt(500, 25), .5 - 10*perC, math.Hypot(.03, 2*perC)},
		{"cold", b, readAt(500, -5), .5 + 20*perC, math.Hypot(.03, 2*perC)},
		{"as warm as the reference", b, readAt(500, 15), .5, math.Hypot(.03, 2*perC)},
		{"no temperature", b, Reading{Shake: EndShake, Value: 500, Gauge: 30}, .5, math.Hypot(.03, 8*perC)},
		{"no gauge", b, Reading{Shake: EndShake, Value: 500}, .5, math.Hypot(.03, 8*perC)},
		{"no long shaft", Bearing{}, readAt(500, 25), .5, .03},
		{"neither", Bearing{}, Reading{Value: 420, Gauge: 20}, .42, .02},
	} {
		value, sd := c.b.Corrected(c.r)
		near(t, c.name, value, c.value, 1e-12)
		near(t, c.name+": sd", sd, c.sd, 1e-12)
	}
}

// TestCorrectedIsWhatItWas: a shake that is so much at the reference, read at
// any temperature, comes back as it was, within the micrometre that a reading
// is rounded to; the doubt never falls below the gauge's own, and knowing the
// temperature never adds to it.
func TestCorrectedIsWhatItWas(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 12))
	metals := []Metal{Steel, Brass, CastIron}
	for range 500 {
		b := Bearing{Code: "x", Form: ThrustFace, Shake: EndShake, Stand: Length(rng.IntN(int(longestShaft))), Shaft: metals[rng.IntN(3)], Frame: metals[rng.IntN(3)]}
		if err := b.Validate(); err != nil {
			t.Fatalf("%+v: %v", b, err)
		}
		celsius, was := -20+60*rng.Float64(), 10+5*rng.Float64()
		r := readAt(FromMM(was+b.Growth(celsius)), celsius)
		value, sd := b.Corrected(r)
		near(t, "value", value, was, .00051)
		r.Celsius = nil
		_, blind := b.Corrected(r)
		if sd < .03 || blind < sd {
			t.Fatalf("%+v at %v °C: ± %v, and ± %v with no temperature", b, celsius, sd, blind)
		}
		// Warmer: more shake where the frame grows more than its shaft.
		shaft, _ := Expansion(b.Shaft)
		frame, _ := Expansion(b.Frame)
		if d := b.Growth(celsius+1) - b.Growth(celsius); d*(frame-shaft) < 0 || (d == 0) != (frame == shaft || b.Stand == 0) {
			t.Fatalf("%+v grows by %v per °C", b, d)
		}
		twice := b
		twice.Stand *= 2
		near(t, "twice as long", twice.Growth(celsius), 2*b.Growth(celsius), 1e-9)
	}
}

// TestSeasonsAreNotWear: twelve years of readings of a shake that does not
// change, taken in summer and in winter: corrected, none is far from the
// others, while as read they are 0.4 mm apart.
func TestSeasonsAreNotWear(t *testing.T) {
	b := rod()
	least, most := math.Inf(1), math.Inf(-1)
	lowest, highest := math.Inf(1), math.Inf(-1)
	for i := range 24 {
		celsius := 3 + 22*float64(i%2)
		r := readAt(FromMM(.6+b.Growth(celsius)), celsius)
		value, _ := b.Corrected(r)
		least, most = min(least, value), max(most, value)
		lowest, highest = min(lowest, r.Value.MM()), max(highest, r.Value.MM())
	}
	if most-least > .0011 || highest-lowest < .4 {
		t.Errorf("corrected %.4f mm apart, as read %.4f", most-least, highest-lowest)
	}
}

func TestBearingValidateSizesAndShaft(t *testing.T) {
	bush := Bearing{Code: "front", Form: Bush, Shake: SideShake, Bore: 10100, Pivot: 10000, Long: 12000}
	face := Bearing{Code: "top", Form: ThrustFace, Shake: EndShake, Outer: 24 * Millimetre, Inner: 13 * Millimetre}
	const metre = 1000 * Millimetre
	for _, c := range []struct {
		name   string
		b      Bearing
		change func(*Bearing)
		want   string // empty: sound
	}{
		{"a rod", rod(), func(*Bearing) {}, ""},
		{"up a tower", rod(), func(b *Bearing) { b.Stand = 30 * metre }, ""},
		{"metals, no length", rod(), func(b *Bearing) { b.Stand = 0 }, ""},
		{"a face of a metre", face, func(b *Bearing) { b.Outer = metre }, ""},
		{"negative shaft", rod(), func(b *Bearing) { b.Stand = -1 }, "between nothing and 30 m"},
		{"shaft of a mine", rod(), func(b *Bearing) { b.Stand = 30*metre + 1 }, "between nothing and 30 m"},
		{"wooden shaft", rod(), func(b *Bearing) { b.Shaft = "wood" }, `metal "wood"`},
		{"tin frame", rod(), func(b *Bearing) { b.Frame = "tin" }, `metal "tin"`},
		{"no shaft metal", rod(), func(b *Bearing) { b.Shaft = "" }, "both the shaft and its frame"},
		{"no frame metal", rod(), func(b *Bearing) { b.Frame = "" }, "both the shaft and its frame"},
		{"neither metal", rod(), func(b *Bearing) { b.Shaft, b.Frame = "", "" }, "moves by heat"},
		{"negative outer", face, func(b *Bearing) { b.Outer, b.Inner = -1, -2 }, "outer diameter -0.001 mm (-0.0 thou) is negative"},
		{"negative inner", face, func(b *Bearing) { b.Inner = -1 }, "inner diameter"},
		{"negative bore", bush, func(b *Bearing) { b.Bore, b.Pivot = -5, -10 }, "bore"},
		{"negative pivot", bush, func(b *Bearing) { b.Pivot = -1 }, "pivot"},
		{"negative length", bush, func(b *Bearing) { b.Long = -1 }, "length of the bush"},
		{"outer of a table", face, func(b *Bearing) { b.Outer = metre + 1 }, "outer diameter 1.00 m (3 ft 3 in) is beyond 1 m"},
		{"bore of a pipe", bush, func(b *Bearing) { b.Bore = 2 * metre }, "bore 2.00 m (6 ft 7 in) is beyond 1 m"},
		{"pivot of a beam", bush, func(b *Bearing) { b.Bore, b.Pivot = metre, metre-1; b.Long = metre + 1 }, "length of the bush"},
		{"fitted size of a door", face, func(b *Bearing) { b.Fitted = metre + 1 }, "check the unit"},
		{"fitted size that unsure", face, func(b *Bearing) { b.FittedSD = metre + 1 }, "check the unit"},
		{"limit of a door", face, func(b *Bearing) { b.Act = &Limit{metre + 1, "survey"} }, "beyond 1 m"},
	} {
		b := c.b
		c.change(&b)
		err := b.Validate()
		switch {
		case c.want == "" && err != nil:
			t.Errorf("%s: refused: %v", c.name, err)
		case c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)):
			t.Errorf("%s: got %v, want a refusal with %q", c.name, err, c.want)
		}
	}
}
