package wear

import "testing"

// 30 CFR 56.19024: more than 5 % of all the wires in a lay, more than 15 % of
// those of a strand. 5 % of 114 is 5.7, of 133 6.65; 15 % of 19 is 2.85. A whole
// number is not passed by itself: 5 % of 120 is 6, so the seventh is too much.
func TestHoistDiscard(t *testing.T) {
	for _, c := range []struct{ strands, wires, rope, strand int }{
		{6, 19, 6, 3}, {7, 19, 7, 3}, {6, 20, 7, 4}, {1, 1, 1, 1}, {6, 7, 3, 2},
	} {
		rope, strand := HoistDiscard(c.strands, c.wires)
		if rope != c.rope || strand != c.strand {
			t.Errorf("%dx%d: %d and %d, want %d and %d", c.strands, c.wires, rope, strand, c.rope, c.strand)
		}
		if all := c.strands * c.wires; !(20*rope > all && 20*(rope-1) <= all) {
			t.Errorf("%dx%d: %d is not the first above 5 %%", c.strands, c.wires, rope)
		}
	}
}

// The lines of one clock: its keepers' diary of 2021 has 33.1, 31.8, 33.8 and
// 34.5 m, each a hand's breadth more than the sum.
func TestRopeLength(t *testing.T) {
	for _, c := range []struct{ hung, lead, diary float64 }{{.75, 2.43, 33.1}, {1.07, 2.08, 31.8}, {.73, 3.05, 33.8}, {.64, 3.50, 34.5}} {
		near(t, "rope", RopeLength(3, 10.3, .1, c.hung, c.lead, 2.25), c.diary, .10)
	}
	near(t, "one line", RopeLength(1, 10, 0, 0, 0, 0), 10, 0)
	near(t, "each part hangs as far", RopeLength(4, 10, .5, .5, 2, 1)-RopeLength(3, 10, .5, .5, 2, 1), 9, 1e-12)
}
