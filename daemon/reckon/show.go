package reckon

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"endshake/schedule"
)

// show prints a figure as people read it, lengths, weights and temperatures in
// both systems.
func show(v float64, unit string) string {
	v += 0 // no -0
	switch unit {
	case "mm":
		return showLength(v)
	case "m":
		return figures(v, 4) + " m (" + figures(v/.3048, 4) + " ft)"
	case "kg":
		return showMass(v)
	case "N":
		return figures(v, 4) + " N"
	case "°C":
		return strings.ReplaceAll(fmt.Sprintf("%.1f °C (%.1f °F)", v, v*1.8+32), "-", "−")
	case "s/day":
		return showRate(v)
	case "h":
		return showHours(v)
	case "%":
		return figures(v, 4) + " %"
	}
	return withUnit(v, unit)
}

// withUnit prints a figure beside its unit.
func withUnit(v float64, unit string) string {
	s := figures(v, 4)
	if one, ok := singular[unit]; ok && (s == "1" || s == "−1") {
		unit = one
	}
	return strings.TrimSpace(s + " " + unit)
}

// singular are units that are words, of one.
var singular = map[string]string{"years": "year", "days": "day", "turns": "turn", "blows": "blow", "wires": "wire"}

// showLength prints mm beside thou, inches or feet, whichever is nearest at hand.
func showLength(mm float64) string {
	switch size := math.Abs(mm); {
	case size < 2.54:
		return fixed(mm) + " mm (" + figures(mm/.0254, 3) + " thou)"
	case size < 1000:
		return figures(mm, 4) + " mm (" + figures(mm/25.4, 4) + " in)"
	}
	return figures(mm/1000, 4) + " m (" + figures(mm/304.8, 4) + " ft)"
}

// fixed prints a small length to a thousandth, a smaller one to three figures.
func fixed(mm float64) string {
	if size := math.Abs(mm); size >= .1-1e-9 || mm == 0 {
		return strings.Replace(strconv.FormatFloat(mm, 'f', 3, 64), "-", "−", 1)
	}
	return figures(mm, 3)
}

func showMass(kg float64) string {
	if math.Abs(kg) < 1 {
		return figures(kg*1000, 4) + " g (" + figures(kg/.45359237*16, 3) + " oz)"
	}
	return figures(kg, 4) + " kg (" + figures(kg/.45359237, 4) + " lb)"
}

// showRate says the sign in words too, for it is told both ways in books.
func showRate(v float64) string {
	s := figures(v, 4)
	switch {
	case v > 0:
		return "+" + s + " s/day (gains)"
	case v < 0:
		return s + " s/day (loses)"
	}
	return s + " s/day"
}

func showHours(h float64) string {
	switch size := math.Abs(h); {
	case size == 0:
		return "0 h"
	case size < 1./60:
		return figures(h*3600, 4) + " s"
	case size < 1:
		return figures(h*60, 4) + " min"
	case size < 48:
		return figures(h, 4) + " h"
	case size < 2*meanYear:
		return figures(h/24, 4) + " days"
	}
	return figures(h/meanYear, 4) + " years (" + figures(h, 4) + " h)"
}

// figures prints a number to so many significant figures, no more of them than
// it has: "684,000", "0.06443", "1.70 × 10⁻⁵".
func figures(v float64, n int) string {
	if v < 0 {
		return "−" + figures(-v, n)
	}
	size := v
	switch {
	case v == 0:
		return "0"
	case size < 1e-4 || size >= 1e9:
		return power(v, n-1)
	case size >= math.Pow(10, float64(n)) && size >= 10000:
		return schedule.Thousands(v)
	}
	whole := int(math.Floor(math.Log10(size))) + 1
	s := strconv.FormatFloat(v, 'f', max(0, n-whole), 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}

var raised = strings.NewReplacer("0", "⁰", "1", "¹", "2", "²", "3", "³", "4", "⁴", "5", "⁵", "6", "⁶", "7", "⁷", "8", "⁸", "9", "⁹", "-", "⁻")

// power prints a number as people write very small and very large ones.
func power(v float64, digits int) string {
	mantissa, exponent, _ := strings.Cut(strconv.FormatFloat(v, 'e', digits, 64), "e")
	if strings.Contains(mantissa, ".") {
		mantissa = strings.TrimRight(strings.TrimRight(mantissa, "0"), ".")
	}
	n, _ := strconv.Atoi(exponent)
	return mantissa + " × 10" + raised.Replace(strconv.Itoa(n))
}
