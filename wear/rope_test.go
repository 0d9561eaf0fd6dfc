package wear

import (
	"math"
	"testing"
)

// The table of ISO 4309 (2010, 2017) at and beside the edges of its rows, as
// two rope makers print it.
func TestCraneDiscard(t *testing.T) {
	for _, tt := range []struct{ wires, in6, in30 int }{
		{1, 2, 4}, {50, 2, 4}, {51, 3, 6}, {75, 3, 6}, {76, 4, 8}, {100, 4, 8}, {101, 5, 10}, {114, 5, 10}, {120, 5, 10},
		{121, 6, 11}, {140, 6, 11}, {141, 6, 13}, {160, 6, 13}, {161, 7, 14}, {181, 8, 16}, {200, 8, 16}, {201, 9, 18}, {220, 9, 18},
		{221, 10, 19}, {240, 10, 19}, {241, 10, 21}, {260, 10, 21}, {261, 11, 22}, {280, 11, 22}, {281, 12, 24}, {300, 12, 24},
		{301, 12, 24}, {math.MaxInt, 12, 24}, // beyond the table: its last row, which is the stricter
		{0, 2, 4}, {-7, 2, 4}, {math.MinInt, 2, 4}, // not known: the strictest
	} {
		if in6, in30 := CraneDiscard(tt.wires); in6 != tt.in6 || in30 != tt.in30 {
			t.Errorf("%d outer wires: %d in 6 d, %d in 30 d; want %d, %d", tt.wires, in6, in30, tt.in6, tt.in30)
		}
	}
	// More wires never make the figure smaller, and 30 diameters hold the 6.
	for n, was6, was30 := 1, 0, 0; n <= 400; n++ {
		in6, in30 := CraneDiscard(n)
		if in6 < was6 || in30 < was30 || in30 < in6 {
			t.Fatalf("%d outer wires: %d and %d, after %d and %d", n, in6, in30, was6, was30)
		}
		was6, was30 = in6, in30
	}
}

// 30 CFR 56.19024: more than 5 % of all wires, or 15 % of a strand's. Of 6x19
// that is 5.7, so 6; of 7x19 6.65, so 7; of 19 wires 2.85, so 3. Where the share
// is a whole number it must be exceeded.
func TestHoistDiscard(t *testing.T) {
	for _, tt := range []struct{ strands, wires, all, strand int }{
		{6, 19, 6, 3}, {7, 19, 7, 3}, {5, 20, 6, 4}, {6, 7, 3, 2}, {6, 36, 11, 6},
	} {
		all, strand := HoistDiscard(tt.strands, tt.wires)
		if all != tt.all || strand != tt.strand {
			t.Errorf("%dx%d: %d and %d in a strand, want %d and %d", tt.strands, tt.wires, all, strand, tt.all, tt.strand)
		}
		n, w := float64(tt.strands*tt.wires), float64(tt.wires)
		if !(float64(all) > 0.05*n+1e-9) || float64(all-1) > 0.05*n+1e-9 || !(float64(strand) > 0.15*w+1e-9) || float64(strand-1) > 0.15*w+1e-9 {
			t.Errorf("%dx%d: %d and %d are not the first to exceed %.2f and %.2f", tt.strands, tt.wires, all, strand, 0.05*n, 0.15*w)
		}
	}
}

func TestRopeOf(t *testing.T) {
	for s, want := range map[string][2]int{
		"7x19": {7, 19}, "6x19": {6, 19}, " 6 × 36 IWRC": {6, 36}, "7X7": {7, 7}, "19x7 rotation-resistant": {19, 7},
		"": {}, "hemp": {}, "x": {}, "7x": {}, "x19": {}, "0x19": {}, "-7x19": {}, "7x-19": {}, "101x19": {}, "7x501": {},
		"7x99999999999999999999": {}, "∞x19": {}, "1.5x19": {}, "wax": {},
	} {
		strands, wires, ok := RopeOf(s)
		if got := [2]int{strands, wires}; got != want || ok != (want != [2]int{}) {
			t.Errorf("%q: %v, %v; want %v", s, got, ok, want)
		}
	}
}

// A coating of 60 g/m² of zinc at 7.14 g/cm³ is 8.403361 µm, and lasts so long
// to the first rust at the edges of the classes of ISO 9223 and ISO 14713.
func TestZinc(t *testing.T) {
	um := ZincThickness(60)
	if math.Abs(um-8.403361) > 1e-6 {
		t.Errorf("60 g/m² are %.6f µm, want 8.403361", um)
	}
	for _, tt := range []struct {
		air         Air
		least, most float64
	}{
		{C1, 84.03361, math.Inf(1)}, {C2, 12.00480, 84.03361}, {C3, 4.201681, 12.00480}, {C4, 2.100840, 4.201681}, {C5, 1.050420, 2.100840},
		{"C6", 0, 0}, {"", 0, 0},
	} {
		least, most := ZincYears(um, tt.air)
		if math.Abs(least-tt.least) > 1e-5 || most != tt.most && math.Abs(most-tt.most) > 1e-4 {
			t.Errorf("%s: %.6f to %.6f years, want %.6f to %.6f", tt.air, least, most, tt.least, tt.most)
		}
	}
	for _, v := range []float64{0, -1, math.NaN(), math.Inf(-1)} {
		if least, most := ZincYears(v, C3); least != 0 || most != 0 {
			t.Errorf("%v µm: %v to %v years", v, least, most)
		}
	}
}
