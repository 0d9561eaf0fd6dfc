package wear

import (
	"fmt"
	"math"
	"math/rand/v2"
	"regexp"
	"strings"
	"testing"
)

// An inch is exactly 25.4 mm and a foot 304.8 mm (international yard and pound
// agreement, 1959; NIST SP 811, 2008, B.8); a thou is 0.0254 mm. The inches of
// 5/64 and 1/4 are in any engineer's table.
func TestLengthInBoth(t *testing.T) {
	for _, c := range []struct {
		l          Length
		both, thou string
	}{
		{254, "0.254 mm (10.0 thou)", "10.0 thou (0.254 mm)"},
		{420, "0.42 mm (16.5 thou)", "16.5 thou (0.42 mm)"},
		{25, "0.025 mm (1.0 thou)", "1.0 thou (0.025 mm)"},
		{1984, "1.984 mm (78.1 thou)", "78.1 thou (1.984 mm)"}, // 5/64 in
		{6350, "6.35 mm (250.0 thou)", "250.0 thou (6.35 mm)"}, // 1/4 in
		{0, "0.00 mm (0.0 thou)", "0.0 thou (0.00 mm)"},
		{-50, "-0.05 mm (-2.0 thou)", "-2.0 thou (-0.05 mm)"},
		{9999, "9.999 mm (393.7 thou)", "393.7 thou (9.999 mm)"},
		{12700, "12.7 mm (0.500 in)", "0.500 in (12.7 mm)"},
		{Inch, "25.4 mm (1.000 in)", "1.000 in (25.4 mm)"},
		{-Inch, "-25.4 mm (-1.000 in)", "-1.000 in (-25.4 mm)"},
		{24 * Inch, "609.6 mm (24.0 in)", "24.0 in (609.6 mm)"},
		{120 * Inch, "3.05 m (10 ft 0 in)", "10 ft 0 in (3.05 m)"},
		{406 * Inch, "10.31 m (33 ft 10 in)", "33 ft 10 in (10.31 m)"},
		{-406 * Inch, "-10.31 m (-33 ft 10 in)", "-33 ft 10 in (-10.31 m)"},
		{MaxLength, "200.00 m (656 ft 2 in)", "656 ft 2 in (200.00 m)"},
	} {
		if c.l.String() != c.both || c.l.Both(MM) != c.both || c.l.Both(Thou) != c.thou || c.l.Both("") != c.both {
			t.Errorf("%d: %s; mm %s; thou %s", c.l, c.l, c.l.Both(MM), c.l.Both(Thou))
		}
	}
	for l, want := range map[Length]string{5900: "5.9 mm (0.232 in)", 6000: "6 mm (0.236 in)", 101600: "101.6 mm (4.0 in)"} {
		if got := l.Inches(); got != want {
			t.Errorf("%d: %s, want %s", l, got, want)
		}
	}
}

// Rates, spans, weights and temperatures: a pound is exactly 0.45359237 kg, and
// 0 °C are 32 °F, 100 °C are 212 °F (NIST SP 811, 2008, B.8).
func TestBothOfTheRest(t *testing.T) {
	for _, c := range []struct{ got, want string }{
		{Span(50, "to", 200), "0.05 to 0.20 mm (2.0 to 7.9 thou)"},
		{Span(254, "and", 508), "0.254 and 0.508 mm (10.0 and 20.0 thou)"},
		{Fine(0.0254), "0.025 mm (1.0 thou)"}, {Fine(0.254), "0.25 mm (10 thou)"}, {Fine(2.54), "2.5 mm (100 thou)"},
		{Fine(0.00254), "0.0025 mm (0.10 thou)"}, {Fine(0.000254), "0.00025 mm (0.010 thou)"}, {Fine(-0.0254), "-0.025 mm (-1.0 thou)"},
		{Fine(0.00009), "next to nothing"}, {Fine(0), "next to nothing"}, {Fine(math.NaN()), "not known"}, {Fine(math.Inf(1)), "not known"},
		{FineSpan(0.0127, "to", 0.0254), "0.013 to 0.025 mm (0.50 to 1.0 thou)"},
		{FineSpan(0, "and", 0.0254), "next to nothing and 0.025 mm (1.0 thou)"}, {FineSpan(0.1, "and", math.Inf(1)), "0.10 mm (3.9 thou) and not known"},
		{Mean(0.0254), "0.0254 mm (1.00 thou)"}, {Mean(0.0312), "0.0312 mm (1.23 thou)"}, {Mean(math.NaN()), "not known"},
		{Mass(0.45359237), "0.454 kg (1.0 lb)"}, {Mass(45.359237), "45.359 kg (100.0 lb)"}, {Mass(60), "60 kg (132.3 lb)"},
		{Warmth(0), "0 °C (32 °F)"}, {Warmth(100), "100 °C (212 °F)"}, {Warmth(-40), "-40 °C (-40 °F)"}, {Warmth(36.6), "36.6 °C (97.9 °F)"},
		{Warmth(12.2222), "12.22 °C (54.0 °F)"},
		{Hundredths(0.4199).String(), "0.42 mm (16.5 thou)"},
	} {
		if c.got != c.want {
			t.Errorf("%q, want %q", c.got, c.want)
		}
	}
}

func TestOwnFirst(t *testing.T) {
	for _, c := range []struct{ mm, thou string }{
		{"reach 0.80 mm (31.5 thou) between March 2029 and May 2033", "reach 31.5 thou (0.80 mm) between March 2029 and May 2033"},
		{"from 0.05 to 0.20 mm (2.0 to 7.9 thou)", "from 2.0 to 7.9 thou (0.05 to 0.20 mm)"},
		{"between 0.254 and 0.508 mm (10.0 and 20.0 thou).", "between 10.0 and 20.0 thou (0.254 and 0.508 mm)."},
		{"0.42 mm (16.5 thou), give or take 0.02 mm (0.8 thou)", "16.5 thou (0.42 mm), give or take 0.8 thou (0.02 mm)"},
		{"(now about 0.17 mm, 6.7 thou); measure", "(now about 6.7 thou, 0.17 mm); measure"},
		{"about 0.00094 mm (0.037 thou) a year", "about 0.037 thou (0.00094 mm) a year"},
		{"+0.02 mm (+0.8 thou)", "+0.8 thou (+0.02 mm)"},
		{"60 kg (132.3 lb) at 12.5 °C (54.5 °F), 10.31 m (33 ft 10 in) down", "132.3 lb (60 kg) at 54.5 °F (12.5 °C), 33 ft 10 in (10.31 m) down"},
		{"a line 6 mm (0.236 in) thick", "a line 0.236 in (6 mm) thick"},
		{"0.62 mm (24.4 thou) in 2018, 1.14 mm (44.9 thou) in 2026", "24.4 thou (0.62 mm) in 2018, 44.9 thou (1.14 mm) in 2026"},
		{"0.05812 m (0.1907 ft)", "0.1907 ft (0.05812 m)"},
		// What does not say the same twice stays as it is: somebody else wrote it.
		{"0.42 mm (15.5 thou)", "0.42 mm (15.5 thou)"},
		{"a 3 mm line, 12 thou of rust", "a 3 mm line, 12 thou of rust"},
		{"0.20 mm, 30 thou", "0.20 mm, 30 thou"},
		{"10 °C (54 °F)", "10 °C (54 °F)"},
		{"0.05 to 0.20 mm (7.9 thou)", "0.05 to 0.20 mm (7.9 thou)"},
		{"module 2 mm (diametral pitch 12.7)", "module 2 mm (diametral pitch 12.7)"},
		{"5 m (1 ft 2 in)", "5 m (1 ft 2 in)"},
		{"", ""},
	} {
		if got := OwnFirst(Thou, c.mm); got != c.thou {
			t.Errorf("thou: %q, want %q", got, c.thou)
		}
		for _, u := range []Unit{MM, "", "furlong"} {
			if got := OwnFirst(u, c.mm); got != c.mm {
				t.Errorf("%q: %q, want %q", u, got, c.mm)
			}
		}
		if got := OwnFirst(Thou, c.thou); got != c.thou {
			t.Errorf("turned again: %q, want %q", got, c.thou)
		}
	}
	if got, want := WithinBrackets("now about 0.17 mm (6.7 thou) on 1 Mar (sic)"), "now about 0.17 mm, 6.7 thou on 1 Mar (sic)"; got != want {
		t.Errorf("within brackets: %q, want %q", got, want)
	}
}

// Whatever is printed in both systems is turned, and holds the same figures then.
func TestOwnFirstTurnsAllThatIsPrinted(t *testing.T) {
	const seed = 20261126
	r := rand.New(rand.NewPCG(seed, seed))
	metricFirst := regexp.MustCompile(`\d (?:mm|m|kg|°C)(?: \(|,)`)
	for range 20000 {
		size := Length(math.Exp(r.Float64()*math.Log(float64(MaxLength)))) * Length(1-2*r.IntN(2))
		small := Length(r.IntN(9999))
		rate := math.Exp(-9 * r.Float64())
		for _, s := range []string{size.String(), WithinBrackets(size.String()), max(size, -size).Inches(), Span(small, "to", small+Length(r.IntN(5000))),
			Fine(rate), Mean(rate), FineSpan(rate, "and", 2*rate), Mass(1000 * r.Float64()), Warmth(math.Round(10*(120*r.Float64()-60)) / 10)} {
			got := OwnFirst(Thou, "about "+s+" there")
			if s != "next to nothing" && !strings.Contains(s, "next to nothing") && metricFirst.MatchString(got) {
				t.Fatalf("seed %d: %q stays %q", seed, s, got)
			}
			if len(got) != len("about "+s+" there") {
				t.Fatalf("seed %d: %q becomes %q", seed, s, got)
			}
		}
	}
}

func FuzzOwnFirst(f *testing.F) {
	for _, s := range []string{"0.42 mm (16.5 thou)", "1 to 2 mm (39 to 79 thou)", "10.31 m (33 ft 10 in)", "-33 ft 10 in", "9 °C (48 °F)", strings.Repeat("9", 400) + " mm (1 thou)"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		got := OwnFirst(Thou, s)
		if len(got) != len(s) || OwnFirst(Thou, got) != got && !said.MatchString(got) {
			t.Fatalf("%q becomes %q", s, got)
		}
		_ = fmt.Sprint(WithinBrackets(s))
	})
}

// A length within brackets is its words without theirs, whatever its size.
func TestWithin(t *testing.T) {
	for l := Length(1); l < 1e12 && l > 0; l += 1 + l/7 {
		for _, l := range []Length{l, -l, l - l%10} {
			if got, want := l.Within(), WithinBrackets(l.String()); got != want || strings.Contains(got, "(") {
				t.Errorf("%d µm is %q, want %q", int64(l), got, want)
			}
		}
	}
}
