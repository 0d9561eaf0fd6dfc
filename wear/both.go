package wear

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
)

// kgPerPound is exact (international yard and pound agreement, 1959).
const kgPerPound = 0.45359237

// String prints the length in both systems, mm first, as all lengths are told
// to people: "0.42 mm (16.5 thou)". [OwnFirst] turns it for whoever reads thou.
func (l Length) String() string { return l.Both(MM) }

// In prints the length in one unit: "0.42 mm" to a hundredth, "0.025 mm" to a
// thousandth where the micrometres matter, or "16.5 thou".
func (l Length) In(u Unit) string {
	if u == Thou {
		return strconv.FormatFloat(l.Thou(), 'f', 1, 64) + " thou"
	}
	if l%10 != 0 {
		return strconv.FormatFloat(l.MM(), 'f', 3, 64) + " mm"
	}
	return strconv.FormatFloat(l.MM(), 'f', 2, 64) + " mm"
}

// Both prints the length in both systems, the wanted unit first: "0.42 mm (16.5
// thou)". From 10 mm on it is as [Length.Inches] has it, and from 1 m on in metres
// and feet, "10.30 m (33 ft 10 in)".
func (l Length) Both(u Unit) string {
	both := l.In(MM) + " (" + l.In(Thou) + ")"
	switch size := max(l, -l); {
	case size >= 1000*Millimetre:
		inches := int(math.Round(l.MM() / Inch.MM()))
		both = fmt.Sprintf("%.2f m (%d ft %d in)", l.MM()/1000, inches/12, max(inches, -inches)%12)
	case size >= 10*Millimetre:
		both = l.Inches()
	}
	return OwnFirst(u, both)
}

// Inches prints a thickness or a distance in both systems, mm first: "6 mm (0.236
// in)", "400 mm (15.7 in)".
func (l Length) Inches() string {
	decimals := 3
	if max(l, -l) >= 100*Millimetre {
		decimals = 1
	}
	return strconv.FormatFloat(l.MM(), 'f', -1, 64) + " mm (" + strconv.FormatFloat(l.MM()/Inch.MM(), 'f', decimals, 64) + " in)"
}

// Hundredths rounds millimetres to what a gauge in a tower can tell.
func Hundredths(mm float64) Length { return FromMM(math.Round(mm*100) / 100) }

// Span prints two sizes in mm in both systems: "0.05 to 0.20 mm (2.0 to 7.9
// thou)". What stands between the figures is given: "to", "and".
func Span(low Length, between string, high Length) string {
	in := func(u Unit) string {
		unit := " " + string(u)
		return strings.TrimSuffix(low.In(u), unit) + " " + between + " " + high.In(u)
	}
	return in(MM) + " (" + in(Thou) + ")"
}

// leastFine is what a rate or a mean in mm is not told below; perMM is the thou in
// a millimetre.
const (
	leastFine = 0.0001
	perMM     = 1000 / 25.4
)

// Fine prints a rate of wear in mm, which is known finer than any one size: to
// two figures, in both systems, "0.0032 mm (0.13 thou)", and what would not be a
// hundredth of a millimetre in a century as next to nothing.
func Fine(mm float64) string { return fine(mm, 2) }

// Mean prints a mean of many sizes in mm as Fine does, to three figures.
func Mean(mm float64) string { return fine(mm, 3) }

func fine(mm float64, n int) string {
	switch {
	case math.IsNaN(mm) || math.IsInf(mm, 0):
		return "not known"
	case math.Abs(mm) < leastFine:
		return "next to nothing"
	}
	return figures(mm, n) + " mm (" + figures(mm*perMM, n) + " thou)"
}

// FineSpan prints two of them as Span does.
func FineSpan(low float64, between string, high float64) string {
	if !(low > leastFine) || math.IsInf(high, 0) || math.IsNaN(high) {
		return Fine(low) + " " + between + " " + Fine(high)
	}
	return fmt.Sprintf("%s %s %s mm (%s %s %s thou)", figures(low, 2), between, figures(high, 2), figures(low*perMM, 2), between, figures(high*perMM, 2))
}

// figures prints a number that is not nothing to so many figures, a large one whole.
func figures(v float64, n int) string {
	decimals := max(0, n-1-int(math.Floor(math.Log10(math.Abs(v)))))
	return strconv.FormatFloat(v, 'f', decimals, 64)
}

// Mass prints a weight in kg in both systems: "40 kg (88.2 lb)".
func Mass(kg float64) string {
	return trimmed(kg, 3) + fmt.Sprintf(" kg (%.1f lb)", kg/kgPerPound)
}

// Warmth prints a temperature in °C in both systems: "12.5 °C (54.5 °F)". The
// scales meet at 0 °C, 32 °F, and 5 of the one are 9 of the other (NIST SP 811,
// 2008, B.8).
func Warmth(celsius float64) string {
	decimals := 0
	if celsius != math.Trunc(celsius) {
		decimals = 1
	}
	return trimmed(celsius, 2) + fmt.Sprintf(" °C (%.*f °F)", decimals, celsius*1.8+32)
}

// trimmed prints a number with so many decimals, no more of them than it has.
func trimmed(v float64, decimals int) string {
	power := math.Pow10(decimals)
	return strconv.FormatFloat(math.Round(v*power)/power, 'f', -1, 64)
}

// said finds what is told in both systems, metric first: "0.42 mm (16.5 thou)",
// "0.05 to 0.20 mm (2.0 to 7.9 thou)", and within brackets "0.42 mm, 16.5 thou".
var said = func() *regexp.Regexp {
	const number = `[-+]?\d+(?:\.\d+)?`
	const span = number + ` (?:to|and) ` + number
	both := func(figure, more string) string {
		metric, other := figure+` (?:mm|m|kg|°C)`, more+figure+` (?:thou|in|ft|lb|°F)`
		return `(` + metric + `)(?: \((` + other + `)\)|, (` + other + `))`
	}
	return regexp.MustCompile(both(span, ``) + `|` + both(number, number+` ft \d+ in|`))
}()

// spans ends with the lower of two figures, the higher of which comes next.
var spans = regexp.MustCompile(`\d (?:to|and) $`)

// OwnFirst turns what a sentence tells in both systems, mm first, so that the
// unit u stands first; see [Unit]. It touches only what says the same in both,
// so that it changes the order and never the meaning, whoever wrote it.
func OwnFirst(u Unit, s string) string {
	if u != Thou {
		return s
	}
	var out strings.Builder
	end := 0
	for _, at := range said.FindAllStringSubmatchIndex(s, -1) {
		part := func(n int) string {
			if n = 2 * n; at[n] >= 0 {
				return s[at[n]:at[n+1]]
			}
			return ""
		}
		metric, before, after := part(1)+part(4), " (", ")"
		other := part(2) + part(5)
		if other == "" {
			other, before, after = part(3)+part(6), ", ", ""
		}
		if agree(metric, other) && (part(1) != "" || !spans.MatchString(s[:at[0]])) {
			out.WriteString(s[end:at[0]] + other + before + metric + after)
			end = at[1]
		}
	}
	return out.String() + s[end:]
}

// WithinBrackets takes the brackets out of what a sentence tells in both systems,
// for where brackets stand around it: "0.42 mm, 16.5 thou".
func WithinBrackets(s string) string {
	return said.ReplaceAllStringFunc(s, func(both string) string {
		return strings.NewReplacer(" (", ", ", ")", "").Replace(both)
	})
}

// Within is WithinBrackets of a length as String has it.
func (l Length) Within() string {
	if max(l, -l) >= 10*Millimetre {
		return WithinBrackets(l.String())
	}
	return l.In(MM) + ", " + l.In(Thou)
}

// agree reports whether two figures, or two spans, with their units are the same
// as far as their digits tell.
func agree(metric, other string) bool {
	x, y := readSizes(metric), readSizes(other)
	if len(x) != len(y) {
		return false
	}
	for i := range x {
		if math.Abs(x[i].value-y[i].value) > 1.01*(x[i].half+y[i].half) {
			return false
		}
	}
	return true
}

// sized is a figure in mm, kg or °C with half of what its last digit is worth.
type sized struct{ value, half float64 }

// per is one of each unit in mm, kg or °C.
var per = map[string]float64{"mm": 1, "m": 1000, "thou": 0.0254, "in": 25.4, "ft": 304.8, "kg": 1, "lb": kgPerPound, "°C": 1, "°F": 1 / 1.8}

// readSizes reads "0.05 to 0.20 mm", "33 ft 10 in".
func readSizes(s string) []sized {
	words := strings.Fields(s)
	unit := words[len(words)-1]
	var out []sized
	for i, w := range words {
		v, err := strconv.ParseFloat(w, 64)
		if err != nil {
			continue
		}
		_, decimals, _ := strings.Cut(w, ".")
		x := sized{v * per[unit], per[unit] * math.Pow10(-len(decimals)) / 2}
		switch {
		case unit == "°F":
			x.value = (v - 32) * per[unit]
		case unit == "in" && words[i+1] == "ft":
			inches, _ := strconv.Atoi(words[i+2])
			if strings.HasPrefix(w, "-") {
				inches = -inches
			}
			return []sized{{v*per["ft"] + float64(inches)*25.4, 12.7}}
		}
		out = append(out, x)
	}
	return out
}
