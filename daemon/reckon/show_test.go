package reckon

import (
	"math"
	"strconv"
	"strings"
	"testing"
)

func TestShow(t *testing.T) {
	for _, c := range []struct {
		v          float64
		unit, want string
	}{
		{.25, "mm", "0.250 mm (9.84 thou)"}, {.06442884, "mm", "0.0644 mm (2.54 thou)"}, {0, "mm", "0.000 mm (0 thou)"}, {-.1, "mm", "−0.100 mm (−3.94 thou)"},
		{5.112664, "mm", "5.113 mm (0.2013 in)"}, {33030, "mm", "33.03 m (108.4 ft)"}, {33.03, "m", "33.03 m (108.4 ft)"},
		{.001851852, "kg", "1.852 g (0.0653 oz)"}, {2.424778, "kg", "2.425 kg (5.346 lb)"},
		{61.3142, "s/day", "+61.31 s/day (gains)"}, {-4.977, "s/day", "−4.977 s/day (loses)"}, {0, "s/day", "0 s/day"},
		{.25, "h", "15 min"}, {.0025, "h", "9 s"}, {3, "h", "3 h"}, {192, "h", "8 days"}, {876600, "h", "100 years (876,600 h)"}, {0, "h", "0 h"},
		{-4, "°C", "−4.0 °C (24.8 °F)"}, {75.44, "%", "75.44 %"}, {23.778946, "N", "23.78 N"}, {684000, "", "684,000"}, {1.7e-5, "mm³/(N m)", "1.7 × 10⁻⁵ mm³/(N m)"},
		{156, "blows", "156 blows"}, {math.Copysign(0, -1), "s", "0 s"}, {1e12, "", "1 × 10¹²"}, {12345.6, "", "12,346"}, {99999.9, "", "100,000"},
	} {
		if got := show(c.v, c.unit); got != c.want {
			t.Errorf("show(%v, %q) = %q, want %q", c.v, c.unit, got, c.want)
		}
	}
}

// A printed figure, read again, is the figure to the places it has.
func TestFiguresReadAgain(t *testing.T) {
	plain := strings.NewReplacer(",", "", "−", "-", " × 10", "e", "⁰", "0", "¹", "1", "²", "2", "³", "3", "⁴", "4", "⁵", "5", "⁶", "6", "⁷", "7", "⁸", "8", "⁹", "9", "⁻", "-")
	for e := -12; e <= 14; e++ {
		for _, m := range []float64{1, 1.2345678, 9.9999, -3.1415926} {
			v := m * math.Pow(10, float64(e))
			back, err := strconv.ParseFloat(plain.Replace(figures(v, 4)), 64)
			if err != nil || math.Abs(back-v) > 5.1e-4*math.Abs(v) {
				t.Errorf("%g is printed %q", v, figures(v, 4))
			}
		}
	}
}
