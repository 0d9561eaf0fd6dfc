package wear

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Length is a length in whole micrometres. The zero value is no length at all
// or exactly nothing, as the field that holds it says.
type Length int64

// Lengths that others are built from. An inch is exactly 25.4 mm
// (international yard and pound agreement, 1959).
const (
	Micrometre Length = 1
	Millimetre Length = 1000
	Inch       Length = 25400
)

// MaxLength bounds what any length can be: 200 m, for the fall of a weight in a
// tall tower. A longer figure is a slip of the unit. Readings
// ([Reading.Validate]) and parts ([Bearing.Validate]) have closer bounds.
const MaxLength = 200000 * Millimetre

// Unit is a unit that people read lengths in.
type Unit string

// The units a person can choose. Both systems are always shown, the person's
// own first.
const (
	MM   Unit = "mm"
	Thou Unit = "thou"
)

// ParseUnit reads a person's unit.
func ParseUnit(s string) (Unit, error) {
	switch u := Unit(strings.ToLower(strings.TrimSpace(s))); u {
	case MM, Thou:
		return u, nil
	case "":
		return MM, nil
	case "in", "inch", "inches":
		return Thou, nil
	}
	return "", fmt.Errorf("unit %q is not known: use mm or thou", s)
}

// FromMM rounds a length in millimetres to whole micrometres.
func FromMM(mm float64) Length { return Length(math.Round(mm * 1000)) }

// MM returns the length in millimetres.
func (l Length) MM() float64 { return float64(l) / 1000 }

// Thou returns the length in thousandths of an inch.
func (l Length) Thou() float64 { return float64(l) / 25.4 }

// ParseLength reads a length with its unit: "0.42 mm", "420 um", "0.016 in",
// "12 thou", "5/64 in", "1 5/64 in". A decimal comma is taken as a point.
// A figure with no unit is refused: a guess could be wrong by 25.4.
func ParseLength(s string) (Length, error) {
	mm, err := ParseMM(s)
	return FromMM(mm), err
}

// ParseMM reads a length as [ParseLength] does, into millimetres that are not
// rounded: for arithmetic, where 1/20 in is exactly 1.27 mm.
func ParseMM(s string) (float64, error) {
	figure, unit, err := splitUnit(s)
	if err != nil {
		return 0, err
	}
	perUnit, ok := micrometres[unit]
	if !ok {
		return 0, fmt.Errorf("length %q has an unknown unit %q: use mm, m, um, in, ft or thou", s, unit)
	}
	v, err := parseFigure(figure)
	if err != nil {
		return 0, fmt.Errorf("length %q: %w", s, err)
	}
	um := v * perUnit
	if math.IsNaN(um) || math.IsInf(um, 0) || math.Abs(um) > float64(MaxLength) {
		return 0, fmt.Errorf("length %q is beyond 200 m: check the unit", s)
	}
	return um / 1000, nil
}

// micrometres in one of each unit that is understood.
var micrometres = map[string]float64{
	"mm": 1000, "um": 1, "µm": 1, "μm": 1,
	"in": 25400, "inch": 25400, "inches": 25400, "\"": 25400,
	"thou": 25.4,
	"m":    1e6, "ft": 304800, "foot": 304800, "feet": 304800, // the fall of a weight, a rod
}

// splitUnit parts "0.42 mm" into its figure and its unit.
func splitUnit(s string) (figure, unit string, err error) {
	t := strings.TrimSpace(s)
	if t == "" {
		return "", "", fmt.Errorf("no length given: write it with its unit, like 0.42 mm or 12 thou")
	}
	end := strings.LastIndexAny(t, "0123456789.,")
	figure, unit = strings.TrimSpace(t[:end+1]), strings.ToLower(strings.TrimSpace(t[end+1:]))
	if figure == "" {
		return "", "", fmt.Errorf("length %q has no figure: write it like 0.42 mm or 12 thou", s)
	}
	if unit == "" {
		return "", "", fmt.Errorf("length %q has no unit: write mm, in or thou after it", s)
	}
	return figure, unit, nil
}

// parseFigure reads a decimal ("0.42", "0,42"), a fraction ("5/64") or a
// mixed number ("1 5/64").
func parseFigure(s string) (float64, error) {
	whole, frac, isFraction := 0.0, s, strings.Contains(s, "/")
	if !isFraction {
		return parseDecimal(s)
	}
	if head, tail, ok := strings.Cut(s, " "); ok {
		w, err := parseDecimal(head)
		if err != nil {
			return 0, err
		}
		if w < 0 {
			return 0, fmt.Errorf("%q: write a negative length as a decimal", s)
		}
		whole, frac = w, strings.TrimSpace(tail)
	}
	top, bottom, _ := strings.Cut(frac, "/")
	n, err := parseDecimal(strings.TrimSpace(top))
	if err != nil {
		return 0, err
	}
	d, err := parseDecimal(strings.TrimSpace(bottom))
	if err != nil {
		return 0, err
	}
	if d <= 0 {
		return 0, fmt.Errorf("%q divides by nothing", s)
	}
	return whole + n/d, nil
}

// parseDecimal reads plain decimal digits only: no exponents, no hexadecimal,
// no "NaN", so that a mistyped cell is refused instead of understood.
func parseDecimal(s string) (float64, error) {
	body := strings.TrimLeft(s, "+-")
	if len(s)-len(body) > 1 || body == "" || strings.Trim(body, "0123456789.,") != "" || len(body) > 20 {
		return 0, fmt.Errorf("%q is not a plain number", s)
	}
	if strings.Count(body, ".")+strings.Count(body, ",") > 1 {
		return 0, fmt.Errorf("%q could be read in two ways: leave out thousands marks", s)
	}
	v, err := strconv.ParseFloat(strings.Replace(s, ",", ".", 1), 64)
	if err != nil {
		return 0, fmt.Errorf("%q is not a plain number", s)
	}
	return v, nil
}
