package reckon

import (
	"math"
	"strings"
	"testing"

	"endshake/wear"
)

// Units by their definitions: the pound of 1959 is 0.45359237 kg, a
// hundredweight 112 of them, standard gravity 9.80665 m/s² (NIST SP 811).
func TestParse(t *testing.T) {
	for _, c := range []struct {
		kind Kind
		text string
		want float64
	}{
		{Length, "0.42 mm", .42}, {Length, "5/64 in", 25.4 * 5 / 64}, {Length, "1/18 in", 25.4 / 18}, {Length, "8 ft", 2438.4}, {Length, "12 thou", .3048},
		{Mass, "20 kg", 20}, {Mass, "9.4 g", .0094}, {Mass, "1 cwt", 50.80234544}, {Mass, "1 lb", .45359237}, {Mass, "2,5 kg", 2.5},
		{Force, "24 N", 24}, {Force, "1 kg", 9.80665}, {Force, "1 lbf", 4.4482216152605},
		{Temperature, "10 C", 10}, {Temperature, "50 °F", 10}, {Temperature, "-15C", -15}, {Temperature, "-40 f", -40},
		{Warming, "30 F", 50. / 3}, {Warming, "20 °C", 20}, {Warming, "5 K", 5},
		{Angle, "2.5 deg", 2.5}, {Angle, "10 arcmin", 1. / 6}, {Angle, "10'", 1. / 6}, {Angle, "2°", 2}, {Angle, "1 rad", 57.29577951308232},
		{Time, "3 h", 3}, {Time, "15 min", .25}, {Time, "9 s", .0025}, {Time, "8 days", 192}, {Time, "1 year", 8766},
		{AirRate, "0.3 /inHg", .3 / 33.863886}, {AirRate, "0.009/hPa", .009},
		{Number, "1.7e-5", 1.7e-5}, {Number, "1/12", 1. / 12}, {Number, "+3", 3}, {Number, "0,5", .5}, {Number, ".5", .5},
		{Share, "1/3", 1. / 3}, {Share, "33 %", .33}, {Share, "0.5", .5}, {Count, "12", 12},
	} {
		in := Input{Name: "x", Kind: c.kind, Least: -1000}
		v, err := in.parse(c.text)
		if err != nil || math.Abs(v.number-c.want) > 1e-12*max(1, math.Abs(c.want)) {
			t.Errorf("%s %q = %.15g, %v; want %.15g", c.kind, c.text, v.number, err, c.want)
		}
	}
}

func TestParseRefuses(t *testing.T) {
	for _, c := range []struct {
		kind Kind
		text string
	}{
		{Length, "0.42"}, {Length, "ten mm"}, {Length, "0.42 ells"}, {Mass, "kg"}, {Mass, "12"}, {Mass, "1 stone"}, {Force, "NaN N"}, {Force, "+Inf N"},
		{Temperature, "warm"}, {Temperature, "10"}, {Temperature, "10 R"}, {Warming, "10"}, {Angle, "10"}, {Angle, "10 grad"}, {Time, "10"}, {Time, "1e300 h"},
		{Number, "NaN"}, {Number, "Inf"}, {Number, "0x1p4"}, {Number, "1_000"}, {Number, "--3"}, {Number, "1e"}, {Number, "1e+-3"}, {Number, "1.2.3"},
		{Number, "1/-2"}, {Number, "1/2/3"}, {Number, "."}, {Number, strings.Repeat("9", 25)}, {Count, "1.5"}, {Share, "%"}, {AirRate, "0.3"},
		{Wheels, "120"}, {Wheels, "120:10,"}, {Wheels, "-1:10"}, {Span, "8"}, {Span, "24-3"}, {Zone, "UTC+25"}, {Day, "tomorrow"}, {Day, "0001-01-01"},
	} {
		in := Input{Name: "x", Kind: c.kind, Least: -1000}
		if v, err := in.parse(c.text); err == nil {
			t.Errorf("%s %q is taken as %v", c.kind, c.text, v.number)
		} else if msg := err.Error(); strings.Contains(msg, "\n") || len(msg) > 400 {
			t.Errorf("%s %q: %q", c.kind, c.text, msg)
		}
	}
}

// Whatever is typed, a figure that is taken lies within its bounds.
func FuzzParse(f *testing.F) {
	kinds := []Kind{Length, Lengths, Number, Numbers, Count, Share, Mass, Force, Temperature, Warming, Angle, Time, AirRate, Choice, Wheels, Span, Zone, Day}
	for i, s := range []string{"0.42 mm", "0.2 mm, 0.3 mm", "1.7e-5", "-4,-3", "12", "1/3", "1 cwt", "24 N", "50 °F", "30 F", "10′", "3 h", "-0.3 /inHg", "yes", "120:10,100:10", "20-8", "Europe/London", "2026-11-25", "NaN", "1e99 kg", "9/0", "%", "°", ",", "-"} {
		f.Add(uint8(i), s)
	}
	f.Fuzz(func(t *testing.T, which uint8, text string) {
		in := Input{Name: "x", Kind: kinds[int(which)%len(kinds)], Choices: []string{"yes", "no"}, Least: -5, Most: 500}
		v, err := in.parse(text)
		if err != nil {
			return
		}
		for _, n := range append(v.list, v.number) {
			if !(n >= in.Least && n <= in.Most) {
				t.Fatalf("%s %q gives %g", in.Kind, text, n)
			}
		}
		for _, g := range v.gears {
			if r := wear.Ratio([]wear.Gear{g}); !(r > 0 && r < 1000) {
				t.Fatalf("%q gives %v", text, g)
			}
		}
	})
}

func TestParseArgs(t *testing.T) {
	given, json, err := pendulum.ParseArgs(strings.Fields("--degree-rate -0.605 --length 994 mm --arc=2.5 deg --json --days=7"))
	if err != nil || !json || given["degree-rate"] != "-0.605" || given["length"] != "994 mm" || given["arc"] != "2.5 deg" || given["days"] != "7" {
		t.Errorf("%v, %v, %v", given, json, err)
	}
	for args, says := range map[string]string{
		"994 mm":                  "stands alone",
		"-length 994 mm":          "stands alone",
		"--":                      "stands alone",
		"--length":                "its value is missing",
		"--length --arc 2 deg":    "its value is missing",
		"--length=":               "its value is missing",
		"--lenght 994 mm":         "--lenght is no input",
		"--arc 1 deg --arc 2 deg": "given twice",
		"--json=yes":              "--json is no input",
	} {
		if _, _, err := pendulum.ParseArgs(strings.Fields(args)); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%q: %v, want %q", args, err, says)
		}
	}
}
