package wear

import (
	"math"
	"strings"
	"testing"
)

func TestCounter(t *testing.T) {
	// Hours on a twelve-hour rack: twice 1+2+...+12 blows a day.
	strike := Train{Kind: Strike, StrokesPerDay: 2 * 12 * 13 / 2}
	near(t, "blows a day", strike.StrokesPerDay, 156, 0)
	for _, c := range []struct {
		t       Train
		counter Counter
		per     float64 // of the counter in an hour of running
		unit    float64
	}{
		{Train{Kind: Going}, RunHours, 1, 1000},
		{strike, Strokes, 6.5, 10000},
		{Train{Kind: Chime, StrokesPerDay: 960}, Strokes, 40, 10000},
	} {
		if c.t.Counter() != c.counter {
			t.Errorf("%s: counted in %s", c.t.Kind, c.t.Counter())
		}
		near(t, string(c.t.Kind), c.t.PerRunHour(), c.per, 0)
		near(t, string(c.t.Kind), c.t.Counter().PerUnit(), c.unit, 0)
	}
}

func TestKnownPair(t *testing.T) {
	for p, want := range map[Pair]bool{SteelOnBrass: true, SteelOnSteel: true, BrassOnBrass: true, SteelOnPlastic: true, "": false, "wood on stone": false} {
		if KnownPair(p) != want {
			t.Errorf("pair %q is known: %v", p, !want)
		}
	}
}

func TestBearingValidate(t *testing.T) {
	limit := func(l Length) *Limit { return &Limit{Size: l, Source: "conservator, 2019"} }
	face := Bearing{Code: "top", Form: ThrustFace, Shake: EndShake, Pair: SteelOnBrass, In: Outdoors, Load: 120,
		Outer: 24 * Millimetre, Inner: 13 * Millimetre, Fitted: 200, FittedSD: 20, Watch: limit(500), Act: limit(800)}
	bush := Bearing{Code: "front", Form: Bush, Shake: SideShake, Bore: 10100, Pivot: 10000, Long: 12000}
	for _, c := range []struct {
		name   string
		b      Bearing
		change func(*Bearing)
		want   string // empty: sound
	}{
		{"a face", face, func(*Bearing) {}, ""},
		{"a bush", bush, func(*Bearing) {}, ""},
		{"little known", face, func(b *Bearing) { *b = Bearing{Code: "x", Form: Bush, Shake: SideShake} }, ""},
		{"no code", face, func(b *Bearing) { b.Code = "" }, "no code"},
		{"no form", face, func(b *Bearing) { b.Form = "ball" }, `form "ball"`},
		{"no shake", face, func(b *Bearing) { b.Shake = "" }, "shake"},
		{"negative load", face, func(b *Bearing) { b.Load = -1 }, "load -1 N"},
		{"load not a number", face, func(b *Bearing) { b.Load = math.NaN() }, "load NaN N"},
		{"load of a ship", face, func(b *Bearing) { b.Load = 1e7 }, "load"},
		{"negative fitted size", face, func(b *Bearing) { b.Fitted = -1 }, "cannot be negative"},
		{"ring inside out", face, func(b *Bearing) { b.Outer = 12 * Millimetre }, "must be larger than inner"},
		{"pivot in a smaller bore", bush, func(b *Bearing) { b.Bore = 9000 }, "must be larger than the pivot"},
		{"unknown materials", face, func(b *Bearing) { b.Pair = "wood on stone" }, "material pair"},
		{"unknown surroundings", face, func(b *Bearing) { b.In = "at sea" }, "surroundings"},
		{"limit of nothing", face, func(b *Bearing) { b.Watch = limit(0) }, "above nothing"},
		{"limit under the fitted size", face, func(b *Bearing) { b.Watch = limit(150) }, "not above the fitted size"},
		{"limit out of the air", face, func(b *Bearing) { b.Act = &Limit{Size: 900} }, "has no source"},
		{"limits the wrong way round", face, func(b *Bearing) { b.Watch = limit(900) }, "must be below the act limit"},
		{"limits alike", face, func(b *Bearing) { b.Watch = limit(800) }, "must be below the act limit"},
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

func TestReadingValidate(t *testing.T) {
	celsius := func(c float64) *float64 { return &c }
	for _, c := range []struct {
		name string
		r    Reading
		want string // empty: sound
	}{
		{"plain", Reading{Shake: EndShake, Value: 420}, ""},
		{"full", Reading{Shake: SideShake, Value: 420, Gauge: 20, Instrument: "dial", Celsius: celsius(-8), Load: LoadOn}, ""},
		{"nothing to feel", Reading{Shake: EndShake}, ""},
		{"no shake", Reading{Value: 420}, "shake"},
		{"negative", Reading{Shake: EndShake, Value: -10}, "cannot be less than nothing"},
		{"inches for millimetres", Reading{Shake: EndShake, Value: 101 * Millimetre}, "beyond 100 mm"},
		{"negative gauge", Reading{Shake: EndShake, Value: 420, Gauge: -1}, "is negative"},
		{"a blind gauge", Reading{Shake: EndShake, Value: 420, Gauge: 6 * Millimetre}, "beyond 5 mm"},
		{"half loaded", Reading{Shake: EndShake, Value: 420, Load: "half"}, "load state"},
		{"fahrenheit", Reading{Shake: EndShake, Value: 420, Celsius: celsius(85)}, "°C"},
		{"no temperature", Reading{Shake: EndShake, Value: 420, Celsius: celsius(math.NaN())}, "°C"},
	} {
		err := c.r.Validate()
		switch {
		case c.want == "" && err != nil:
			t.Errorf("%s: refused: %v", c.name, err)
		case c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)):
			t.Errorf("%s: got %v, want a refusal with %q", c.name, err, c.want)
		}
	}
	near(t, "a gauge that is not named", Reading{}.SD(), .03, 0)
	near(t, "a gauge that is", Reading{Gauge: 20}.SD(), .02, 0)
}

// Only a source that calls the limit a starting value leaves it unconfirmed.
func TestConfirmedLimit(t *testing.T) {
	for source, want := range map[string]bool{
		"conservator, 2019 survey": true, "": true,
		"starting value, confirm with the conservator (common practice, no source)":        false,
		"mesh of great wheel and centre pinion, Starting value from a quarter of a module": false,
	} {
		if got := (Limit{Source: source}).Confirmed(); got != want {
			t.Errorf("%q counts as confirmed: %v", source, got)
		}
	}
}
