package wear

import (
	"math"
	"strings"
	"testing"
)

// TestParseLength: an inch is exactly 25.4 mm (international yard and pound
// agreement, 1959); the drill of 5/64 in is 1.984 mm in any engineer's table.
func TestParseLength(t *testing.T) {
	for _, c := range []struct {
		in   string
		want Length
		err  string // empty: taken
	}{
		{"0.42 mm", 420, ""},
		{" 0,42mm ", 420, ""},
		{"420 um", 420, ""},
		{"420 µm", 420, ""},
		{"420 μm", 420, ""},
		{"0.016 in", 406, ""},
		{"0.016\"", 406, ""},
		{"1 inch", 25400, ""},
		{"12 thou", 305, ""},
		{"12 THOU", 305, ""},
		{"5/64 in", 1984, ""},
		{"1 5/64 in", 27384, ""},
		{"1/2 mm", 500, ""},
		{"-0.05 mm", -50, ""},
		{"+0.05 mm", 50, ""},
		{"0 mm", 0, ""},
		{".5 mm", 500, ""},
		{"200000 mm", MaxLength, ""},
		{"200000.1 mm", 0, "beyond 200 m"},
		{"99999999999999999999 in", 0, "beyond 200 m"},
		{"", 0, "no length"},
		{"  ", 0, "no length"},
		{"mm", 0, "no figure"},
		{"0.42", 0, "no unit"},
		{"0.42 yd", 0, "unknown unit"},
		{"30 ft", 9144000, ""},
		{"1.25 m", 1250000, ""},
		{"0.4.2 mm", 0, "two ways"},
		{"1,234.5 mm", 0, "two ways"},
		{"1e3 mm", 0, "not a plain number"},
		{"0x10 mm", 0, "not a plain number"},
		{"NaN mm", 0, "no figure"},
		{"--1 mm", 0, "not a plain number"},
		{"+ mm", 0, "no figure"},
		{". mm", 0, "not a plain number"},
		{"1/0 in", 0, "divides by nothing"},
		{"1/2/3 in", 0, "not a plain number"},
		{"1/-2 in", 0, "divides by nothing"},
		{"-1 1/2 in", 0, "as a decimal"},
		{"1 2 mm", 0, "not a plain number"},
		{strings.Repeat("1", 400) + " mm", 0, "not a plain number"},
	} {
		got, err := ParseLength(c.in)
		switch {
		case c.err == "" && (err != nil || got != c.want):
			t.Errorf("%q: got %d, %v, want %d", c.in, got, err, c.want)
		case c.err != "" && (err == nil || !strings.Contains(err.Error(), c.err)):
			t.Errorf("%q: got %d, %v, want a refusal with %q", c.in, got, err, c.err)
		}
	}
}

func TestParseUnit(t *testing.T) {
	for in, want := range map[string]Unit{"mm": MM, " MM": MM, "": MM, "thou": Thou, "in": Thou, "inches": Thou} {
		if u, err := ParseUnit(in); u != want || err != nil {
			t.Errorf("%q: %q, %v", in, u, err)
		}
	}
	if u, err := ParseUnit("furlong"); err == nil {
		t.Errorf("furlong is taken as %q", u)
	}
}

// TestLengthRoundTrip: what is printed is read back, exactly in mm and within
// half a tenth of a thou in thou.
func TestLengthRoundTrip(t *testing.T) {
	for l := Length(-3000); l <= 3000; l += 7 {
		if got, err := ParseLength(l.In(MM)); err != nil || got != l {
			t.Fatalf("%s is read as %d, %v", l, got, err)
		}
		got, err := ParseLength(l.In(Thou))
		if err != nil || math.Abs(float64(got-l)) > .05*25.4+.5 {
			t.Fatalf("%s is read as %d, %v, not %d", l.In(Thou), got, err, l)
		}
		if FromMM(l.MM()) != l {
			t.Fatalf("%d is not itself through millimetres", l)
		}
	}
}

func FuzzParseLength(f *testing.F) {
	for _, s := range []string{"0.42 mm", "5/64 in", "1 5/64 in", "0,42 mm", "12 thou", "1e9 mm", "μ", "1/0 in", "\x00", "-1 mm"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		l, err := ParseLength(s)
		if err != nil {
			if l != 0 {
				t.Fatalf("%q is refused, but gives %d", s, l)
			}
			return
		}
		if l > MaxLength || l < -MaxLength {
			t.Fatalf("%q gives %d, beyond 200 m", s, l)
		}
		if again, err := ParseLength(l.In(MM)); err != nil || again != l {
			t.Fatalf("%q gives %s, which is read as %d, %v", s, l.In(MM), again, err)
		}
	})
}
