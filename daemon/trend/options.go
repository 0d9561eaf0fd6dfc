package trend

import (
	"fmt"
	"math"
	"strings"
	"unicode"
	"unicode/utf8"

	"endshake/wear"
)

// Options say how a file is to be taken and what is asked of it.
type Options struct {
	Name string // of the file, for messages
	// Unit of the values: mm, um, in or thou; with Plain any word.
	Unit string
	// Limit and Gauge are sizes as typed, with or without the unit. Empty: no
	// limit, and a gauge of 0.03 mm ([wear.DefaultGauge]) or, with Plain, of a
	// hundredth of the points' median change.
	Limit, Gauge string
	At           []float64 // hours for which a reading is forecast
	KnownStart   bool      // the first row of a point is a known size, not a reading
	Plain        bool      // no physics: the values may be any quantity that grows
	TrackRecord  bool      // score forecasts of the file's own readings
	Folds        int       // of the track record
}

// What is taken for a slip instead of a fact.
const (
	mostHours  = 1e9
	mostMM     = 1000 // a metre
	mostValue  = 1e12 // in a plain quantity's unit
	leastValue = 1e-12
	mostName   = 200 // bytes
	mostUnit   = 20  // bytes
	mostAt     = 100 // forecasts a point
	mostFolds  = 100
)

// settings are options understood.
type settings struct {
	Options
	mm           float64 // in one of the unit; 0 for a plain quantity
	limit, gauge float64 // in the unit; NaN: not given
}

// millimetres in one of each unit, by all its spellings; an inch is exactly
// 25.4 mm (international yard and pound agreement, 1959).
var millimetres = map[string]float64{
	"mm": 1, "um": .001, "µm": .001, "μm": .001, "in": 25.4, "inch": 25.4, "inches": 25.4, `"`: 25.4, "thou": .0254,
}

// understand checks the options.
func (o Options) understand() (*settings, error) {
	o.Unit = strings.TrimSpace(o.Unit)
	s := &settings{Options: o, limit: math.NaN(), gauge: math.NaN()}
	switch mm, ok := millimetres[strings.ToLower(o.Unit)]; {
	case o.Plain && (o.Unit == "" || len(o.Unit) > mostUnit || !printable(o.Unit)):
		return nil, fmt.Errorf("--unit %.40q is not a word that can stand after a figure: use a short one, like dB", o.Unit)
	case o.Plain:
	case !ok:
		return nil, fmt.Errorf("--unit %.40q is not a length: use mm, um, in or thou, or --no-physics for another quantity", o.Unit)
	default:
		s.mm, s.Unit = mm, strings.ToLower(o.Unit)
	}
	for _, h := range o.At {
		if !(h >= 0 && h <= mostHours) {
			return nil, fmt.Errorf("--at %v must be hours from 0 to %.0f", h, float64(mostHours))
		}
	}
	if len(o.At) > mostAt {
		return nil, fmt.Errorf("--at is given %d times: up to %d are answered", len(o.At), mostAt)
	}
	if o.TrackRecord && (o.Folds < 2 || o.Folds > mostFolds) {
		return nil, fmt.Errorf("--folds %d must be from 2 to %d", o.Folds, mostFolds)
	}
	var err error
	if s.limit, err = s.flag("--limit", o.Limit); err != nil {
		return nil, err
	}
	s.gauge, err = s.flag("--gauge", o.Gauge)
	return s, err
}

// flag reads a size that must be above nothing.
func (s *settings) flag(name, text string) (float64, error) {
	if strings.TrimSpace(text) == "" {
		return math.NaN(), nil
	}
	v, problem := s.size(text)
	if _, unit := splitUnit(text); s.mm > 0 && unit != "" && !s.isUnit(unit) {
		if l, err := wear.ParseLength(text); err == nil {
			v, problem = l.MM()/s.mm, ""
		}
	}
	if problem == "" && !(v > 0) {
		problem = "must be above nothing"
	}
	if problem != "" {
		return 0, fmt.Errorf("%s %.40q %s", name, text, problem)
	}
	return v, nil
}

// size reads a value in the file's unit; problem says what is wrong with it
// and how to mend it, as the end of a sentence.
func (s *settings) size(text string) (v float64, problem string) {
	figure, unit := splitUnit(text)
	if v, problem = number(figure); problem != "" {
		return 0, problem
	}
	if unit != "" && !s.isUnit(unit) {
		return 0, fmt.Sprintf("is not in %s as the others are: convert it", s.Unit)
	}
	most := mostValue
	if s.mm > 0 {
		most = mostMM / s.mm
	}
	if math.Abs(v) > most {
		return 0, fmt.Sprintf("is beyond %v %s: check the unit", most, s.Unit)
	}
	return v, ""
}

// isUnit reports whether a word after a figure means the file's unit.
func (s *settings) isUnit(word string) bool {
	if s.mm > 0 {
		return millimetres[strings.ToLower(word)] == s.mm
	}
	return strings.EqualFold(word, s.Unit)
}

// splitUnit parts "0.42 mm" into its figure and the word after it.
func splitUnit(s string) (figure, unit string) {
	end := strings.LastIndexAny(s, "0123456789.") + 1
	return strings.TrimSpace(s[:end]), strings.TrimSpace(s[end:])
}

// number reads a plain figure, with an exponent if need be.
func number(s string) (v float64, problem string) {
	switch {
	case s == "":
		return 0, "is not a number: write it like 0.42"
	case strings.Contains(s, ",") && strings.Trim(s, "+-0123456789.,eE") == "":
		return 0, "has a comma: write a decimal point, and no thousands marks"
	case len(s) > 40 || strings.Trim(s, "+-0123456789.eE") != "":
		return 0, "is not a plain number: write it like 0.42"
	}
	v, ok := parseFloat(s)
	switch {
	case !ok:
		return 0, "is not a plain number: write it like 0.42"
	case math.Abs(v) > 1e15 || (v == 0 || math.Abs(v) < leastValue) && !nothing(s):
		return 0, "is no size that can be measured: check its exponent"
	}
	return v, ""
}

// nothing reports whether a figure is written as nothing.
func nothing(s string) bool {
	mantissa, _, _ := strings.Cut(strings.ToLower(s), "e")
	return !strings.ContainsAny(mantissa, "123456789")
}

// printable reports whether a text is of letters that can be seen.
func printable(s string) bool {
	if !utf8.ValidString(s) {
		return false
	}
	return strings.IndexFunc(s, func(r rune) bool { return !unicode.IsPrint(r) }) < 0
}
