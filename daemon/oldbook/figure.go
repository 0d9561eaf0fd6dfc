package oldbook

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"

	"endshake/wear"
)

// units are the spellings of units that [wear.ParseLength] does not read.
var units = map[string]string{
	"mm": "mm", "millimetre": "mm", "millimetres": "mm", "millimeter": "mm", "millimeters": "mm",
	"um": "um", "µm": "um", "μm": "um", "micron": "um", "microns": "um", "micrometre": "um", "micrometres": "um",
	"thou": "thou", "thous": "thou", "thousandths": "thou", "thousandths of an inch": "thou", "0.001 in": "thou", "0.001\"": "thou",
	"in": "in", "inch": "in", "inches": "in", "\"": "in", "″": "in", "”": "in", "''": "in",
}

// unitOf is a unit as it is written after a figure; empty: it is none.
func unitOf(word string) string {
	return units[strings.TrimSuffix(strings.Join(strings.Fields(strings.ToLower(word)), " "), ".")]
}

// unitChoices are the units that a column can be in.
var unitChoices = []Choice{{"mm", "millimetres"}, {"thou", "thousandths of an inch"}, {"in", "inches"}, {"um", "micrometres"}}

var (
	grouped  = regexp.MustCompile(`^[-+]?[1-9]\d{0,2},\d{3}$`)
	dotted   = regexp.MustCompile(`^[-+]?[1-9]\d{0,2}\.\d{3}$`)
	plainFig = regexp.MustCompile(`^[-+]?\d+(?:[.,]\d+)?$`)
)

// commas tells what a comma in the figures of a file is.
type commas struct {
	decimal, thousands Example // the first figure that shows it to be so; Row 0: none
	either             []Example
}

// The answers to what a comma is.
const (
	commaDecimal   = "decimal"
	commaThousands = "thousands"
)

var commaChoices = []Choice{{commaDecimal, "a decimal comma: 1,250 is one and a quarter"}, {commaThousands, "a thousands mark: 1,250 is one thousand two hundred and fifty"}}

// figureOf parts a cell into its figure and what stands behind it.
func figureOf(cell string) (figure, rest string) {
	end := strings.LastIndexAny(cell, "0123456789")
	return strings.TrimSpace(cell[:end+1]), strings.TrimSpace(cell[end+1:])
}

func (c *commas) see(cell string, e Example) {
	f, _ := figureOf(cell)
	if !strings.Contains(f, ",") || strings.ContainsAny(f, "/ ") {
		return
	}
	dot, comma := strings.LastIndexByte(f, '.'), strings.LastIndexByte(f, ',')
	switch {
	case grouped.MatchString(f):
		if len(c.either) < mostExamples {
			c.either = append(c.either, e)
		}
	case dot > comma, strings.Count(f, ",") > 1:
		if c.thousands.Row == 0 {
			c.thousands = e
		}
	case c.decimal.Row == 0:
		c.decimal = e
	}
}

// plain writes a figure with a decimal point and no thousands marks.
func plain(figure string, comma string) (string, error) {
	f := strings.ReplaceAll(figure, "\u202f", "")
	two := fmt.Errorf("%s can be read in two ways: write it with a decimal point and no thousands marks", quote(figure))
	switch dots, marks := strings.Count(f, "."), strings.Count(f, ","); {
	case strings.Contains(f, "/"): // a fraction, which wear reads
		return f, nil
	case marks == 0 && dots <= 1:
		if comma == commaDecimal && dotted.MatchString(f) {
			return "", two
		}
		return f, nil
	case marks == 1 && dots == 0:
		if comma == commaThousands && grouped.MatchString(f) {
			return strings.Replace(f, ",", "", 1), nil
		}
		if comma == commaThousands {
			return "", two
		}
		return strings.Replace(f, ",", ".", 1), nil
	case comma == commaThousands && groups(f, ",", "."):
		return strings.ReplaceAll(f, ",", ""), nil
	case comma == commaDecimal && groups(f, ".", ","):
		return strings.Replace(strings.ReplaceAll(f, ".", ""), ",", ".", 1), nil
	}
	return "", two
}

// groups reports whether marks part a figure into groups of three, up to its
// decimal mark.
func groups(f, mark, decimal string) bool {
	whole, _, _ := strings.Cut(strings.TrimLeft(f, "+-"), decimal)
	all := strings.Split(whole, mark)
	for i, g := range all {
		if i == 0 && (len(g) < 1 || len(g) > 3) || i > 0 && len(g) != 3 {
			return false
		}
	}
	return strings.Count(f, decimal) <= 1
}

// size is a length as a cell gives it, and to what it was rounded.
type size struct {
	wear.Length
	step float64 // micrometres in the last place that is written
}

// readSize reads a length. Where the cell names no unit, it is that of its column; no
// unit at all is errNoUnit.
func readSize(cell, unit, comma string) (size, error) {
	figure, behind := figureOf(cell)
	if figure == "" {
		return size{}, fmt.Errorf("%s is no figure: write it with its unit, like 0.42 mm or 12 thou", quote(cell))
	}
	if behind != "" {
		if unit = unitOf(behind); unit == "" {
			return size{}, fmt.Errorf("%s has an unknown unit: write mm, um, in or thou after the figure", quote(cell))
		}
	}
	text, err := plain(figure, comma)
	if err != nil {
		return size{}, err
	}
	if !strings.Contains(text, "/") && !plainFig.MatchString(text) {
		return size{}, fmt.Errorf("%s is no plain figure: write it like 0.42 mm or 12 thou", quote(cell))
	}
	if unit == "" {
		return size{}, errNoUnit
	}
	l, err := wear.ParseLength(text + " " + unit)
	if err != nil {
		return size{}, errors.New(strings.TrimPrefix(err.Error(), "length "))
	}
	one, err := wear.ParseMM("1 " + unit)
	if err != nil {
		return size{}, err
	}
	step := one * 1000
	if _, frac, ok := strings.Cut(text, "."); ok {
		step /= math.Pow10(len(frac))
	}
	if strings.Contains(text, "/") {
		step /= 64
	}
	return size{l, step}, nil
}

var errNoUnit = errors.New("no unit is given")

// alike reports whether two lengths may be one, rounded to steps of so many
// micrometres.
func alike(a, b wear.Length, step float64) bool {
	return math.Abs(float64(a-b)) <= step/2+1
}

// stepOf is to what a length looks rounded that is kept in whole micrometres: to
// the last place in mm, or in thou, that it can have been written in.
func stepOf(l wear.Length) float64 {
	step := 1.
	for s := 10.; s <= 1000 && int64(l)%int64(s) == 0; s *= 10 {
		step = s
	}
	if thou := l.Thou(); step < 10 && math.Abs(thou-math.Round(thou)) < .03 {
		step = 25.4
	}
	return step
}

// readNumber reads a plain figure.
func readNumber(cell, comma string) (float64, error) {
	text, err := plain(cell, comma)
	if err != nil {
		return 0, err
	}
	if len(text) > 20 || !plainFig.MatchString(text) {
		return 0, fmt.Errorf("%s is no plain figure: write it like 1250.5", quote(cell))
	}
	v, err := strconv.ParseFloat(strings.Replace(text, ",", ".", 1), 64)
	if err != nil {
		return 0, fmt.Errorf("%s is no plain figure: write it like 1250.5", quote(cell))
	}
	return v, nil
}
