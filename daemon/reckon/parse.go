package reckon

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// Kind is what an input is.
type Kind string

// The kinds, each with its base unit, in which its value is kept.
const (
	Length      Kind = "length"             // mm; see [wear.ParseMM]
	Lengths     Kind = "lengths"            // mm, with commas between them
	Number      Kind = "number"             // as Input.Unit says
	Numbers     Kind = "numbers"            // with commas between them
	Count       Kind = "count"              // a whole number
	Share       Kind = "share"              // of 1: 1/3, 0.33, 33 %
	Mass        Kind = "weight"             // kg
	Force       Kind = "force"              // N; a weight counts with what it weighs
	Temperature Kind = "temperature"        // °C
	Warming     Kind = "warming"            // °C of difference
	Angle       Kind = "angle"              // degrees
	Time        Kind = "time"               // hours
	AirRate     Kind = "rate by the air"    // s/day per hPa
	Choice      Kind = "choice"             // one of Input.Choices
	Wheels      Kind = "wheels and pinions" // 120:10,100:10
	Span        Kind = "hours of the day"   // 20-8
	Zone        Kind = "zone"               // IANA name
	Day         Kind = "day"                // 2026-11-25
)

// value is what was read.
type value struct {
	number float64
	list   []float64
	text   string
	gears  []wear.Gear
	zone   *time.Location
	day    schedule.Date
}

// unitKind is a kind that is a figure with a unit: its base unit, what each
// unit is in it, the most that it can be, how to write it.
type unitKind struct {
	base    string
	units   map[string]float64
	most    float64
	example string
}

var unitKinds = map[Kind]unitKind{
	Mass: {"kg", map[string]float64{"kg": 1, "g": .001, "mg": 1e-6, "t": 1000, "lb": .45359237, "lbs": .45359237, "oz": .45359237 / 16,
		"cwt": 112 * .45359237}, 1e5, "20 kg, 45 lb, 1 cwt or 9 g"},
	Force: {"N", map[string]float64{"n": 1, "kn": 1000, "kg": wear.StandardGravity, "g": wear.StandardGravity / 1000,
		"lb": .45359237 * wear.StandardGravity, "lbf": .45359237 * wear.StandardGravity, "cwt": 112 * .45359237 * wear.StandardGravity}, 1e6, "24 N, 2.4 kg or 5 lb"},
	Warming: {"°C", map[string]float64{"c": 1, "°c": 1, "k": 1, "f": 1 / 1.8, "°f": 1 / 1.8}, 200, "20 C or 30 F"},
	Angle: {"°", map[string]float64{"deg": 1, "degrees": 1, "°": 1, "arcmin": 1. / 60, "'": 1. / 60, "′": 1. / 60,
		"arcsec": 1. / 3600, "rad": 180 / math.Pi}, 360, "2.5 deg or 10 arcmin"},
	Time: {"h", map[string]float64{"s": 1. / 3600, "min": 1. / 60, "h": 1, "hour": 1, "hours": 1, "d": 24, "day": 24, "days": 24,
		"week": 168, "weeks": 168, "y": meanYear, "year": meanYear, "years": meanYear}, 1e8, "3 h, 15 min, 8 days or 100 years"},
	AirRate: {"s/day per hPa", map[string]float64{"/mbar": 1, "/hpa": 1, "/inhg": 1 / hPaPerInch, "/in": 1 / hPaPerInch}, 100, "-0.3 /inHg or -0.009 /hPa"},
}

const (
	meanYear   = 8766      // hours, of 365.25 days
	hPaPerInch = 33.863886 // of mercury at 0 °C (NIST SP 811)
)

// base is the unit of the number that a kind holds; ok is false where it holds
// none.
func (in Input) base() (unit string, ok bool) {
	if u, ok := unitKinds[in.Kind]; ok {
		return u.base, true
	}
	switch in.Kind {
	case Length:
		return "mm", true
	case Temperature:
		return "°C", true
	case Number, Count, Share:
		return in.Unit, true
	}
	return "", false
}

// example says how to write it.
func (in Input) example() string {
	if u, ok := unitKinds[in.Kind]; ok {
		return u.example
	}
	switch in.Kind {
	case Length:
		return "0.42 mm, 12 thou, 5/64 in, 3 ft or 10.3 m"
	case Lengths:
		return "0.2 mm, 0.3 mm, 0.5 mm"
	case Share:
		return "1/3 or 33 %"
	case Temperature:
		return "10 C or 50 F"
	case Count:
		return "12"
	case Number, Numbers:
		return "1.5"
	case Choice:
		return strings.Join(in.Choices, "; ")
	case Wheels:
		return "120:10,100:10"
	case Span:
		return "20-8"
	case Zone:
		return "Europe/London"
	case Day:
		return "2026-11-25"
	}
	return ""
}

// Hint says how to write it, for a form or a page of flags.
func (in Input) Hint() string {
	h := in.example()
	switch {
	case in.Kind == Choice:
		h = "one of " + h
	case in.Kind == Number && in.Unit != "":
		h = "a number in " + in.Unit
	case in.Kind == Number:
		h = "a number"
	case in.Kind == Count:
		h = "a whole number"
	case in.Kind == Numbers:
		h = "numbers with commas between them"
	default:
		h = "like " + h
	}
	if in.Usual != "" {
		h += "; usually " + in.Usual
	}
	return h
}

// mostText is the longest text that is read.
const mostText = 120

// parse reads one input.
func (in Input) parse(text string) (value, error) {
	if len(text) > mostText {
		return value{}, fmt.Errorf("%d characters are too many: write it like %s", len(text), in.example())
	}
	v := value{text: text}
	var err error
	switch in.Kind {
	case Lengths, Numbers:
		v.list, err = in.parseList(text)
		return v, err
	case Choice:
		v.text, err = in.parseChoice(text)
		return v, err
	case Wheels:
		v.gears, err = parseWheels(text)
		return v, err
	case Span:
		v.list, err = parseSpan(text)
		return v, err
	case Zone:
		v.zone, err = parseZone(text)
		return v, err
	case Day:
		if v.day, err = schedule.ParseDate(text); err == nil && (v.day.Year < 1900 || v.day.Year > 2200) {
			err = fmt.Errorf("%s is beyond what zones are known for: give a day between 1900 and 2200", text)
		}
		return v, err
	}
	v.number, err = in.parseFigure(text)
	if err == nil {
		err = in.bound(v.number, text)
	}
	return v, err
}

// parseFigure reads a number of any kind into its base unit.
func (in Input) parseFigure(text string) (float64, error) {
	switch in.Kind {
	case Length:
		return wear.ParseMM(text)
	case Temperature:
		return parseTemperature(text)
	case Share:
		if s, ok := strings.CutSuffix(text, "%"); ok {
			n, err := parseNumber(strings.TrimSpace(s))
			return n / 100, err
		}
		return parseNumber(text)
	case Count:
		n, err := parseNumber(text)
		if err == nil && n != math.Trunc(n) {
			err = fmt.Errorf("%q is not a whole number", text)
		}
		return n, err
	case Number:
		return parseNumber(strings.TrimSpace(strings.TrimSuffix(text, in.Unit)))
	}
	u := unitKinds[in.Kind]
	figure, unit := split(text)
	per, ok := u.units[strings.ToLower(unit)]
	switch {
	case figure == "":
		return 0, fmt.Errorf("%q has no figure: write it like %s", text, u.example)
	case unit == "":
		return 0, fmt.Errorf("%q has no unit: write it like %s", text, u.example)
	case !ok:
		return 0, fmt.Errorf("%q has an unknown unit %q: write it like %s", text, unit, u.example)
	}
	n, err := parseNumber(figure)
	return n * per, err
}

// bound refuses what is out of bounds.
func (in Input) bound(v float64, text string) error {
	most := in.Most
	if most == 0 {
		switch u := unitKinds[in.Kind]; {
		case u.most > 0:
			most = u.most
		case in.Kind == Length:
			most = wear.MaxLength.MM()
		case in.Kind == Temperature:
			most = 100
		default:
			most = 1e6
		}
	}
	unit, _ := in.base()
	switch {
	case math.IsNaN(v) || v > most:
		check := "unit"
		if unit == "" {
			check = "figure"
		}
		return fmt.Errorf("%q is too much: at most %s can be right, so check the %s", text, withUnit(most, unit), check)
	case v < in.Least:
		return fmt.Errorf("%q is too little: at least %s can be right", text, withUnit(in.Least, unit))
	case in.Above && v <= in.Least:
		return fmt.Errorf("%q is too little: it must be above %s", text, withUnit(in.Least, unit))
	}
	return nil
}

// split parts "2.5 deg" into its figure and its unit.
func split(s string) (figure, unit string) {
	end := strings.LastIndexAny(s, "0123456789")
	if dot := end + 1; dot < len(s) && (s[dot] == '.' || s[dot] == ',') {
		end = dot
	}
	return strings.TrimSpace(s[:end+1]), strings.TrimSpace(s[end+1:])
}

// parseNumber reads "0.42", "0,42", "1/12", "-0.605" and "1.7e-5"; nothing else:
// no hexadecimal, no "NaN", no thousands marks.
func parseNumber(s string) (float64, error) {
	if top, bottom, ok := strings.Cut(s, "/"); ok {
		n, err := parseDecimal(strings.TrimSpace(top), s)
		if err != nil {
			return 0, err
		}
		d, err := parseDecimal(strings.TrimSpace(bottom), s)
		if err == nil && d <= 0 {
			err = fmt.Errorf("%q divides by nothing", s)
		}
		if err != nil {
			return 0, err
		}
		return n / d, nil
	}
	return parseDecimal(s, s)
}

func parseDecimal(s, whole string) (float64, error) {
	mantissa, exponent, scaled := strings.Cut(strings.ToLower(s), "e")
	body := strings.TrimPrefix(strings.TrimPrefix(mantissa, "-"), "+")
	good := body != "" && len(body) <= 20 && strings.Trim(body, "0123456789.,") == "" && strings.ContainsAny(body, "0123456789")
	if scaled {
		digits := strings.TrimPrefix(strings.TrimPrefix(exponent, "-"), "+")
		good = good && digits != "" && len(digits) <= 2 && strings.Trim(digits, "0123456789") == ""
	}
	if good && strings.Count(body, ".")+strings.Count(body, ",") > 1 {
		return 0, fmt.Errorf("%q could be read in two ways: leave out thousands marks", whole)
	}
	v, err := strconv.ParseFloat(strings.Replace(strings.ToLower(s), ",", ".", 1), 64)
	if !good || err != nil {
		return 0, fmt.Errorf("%q is not a plain number: write it like 1.5, 1/12 or 1.7e-5", whole)
	}
	return v, nil
}

// parseTemperature reads "15 C", "59 °F" into °C.
func parseTemperature(s string) (float64, error) {
	figure, unit := split(s)
	n, err := parseNumber(figure)
	switch u := strings.ToUpper(strings.TrimPrefix(unit, "°")); {
	case err != nil:
		return 0, err
	case u == "C":
		return n, nil
	case u == "F":
		return (n - 32) / 1.8, nil
	case u == "":
		return 0, fmt.Errorf("%q has no unit: write it like 10 C or 50 F", s)
	}
	return 0, fmt.Errorf("%q has an unknown unit %q: write it like 10 C or 50 F", s, unit)
}

func (in Input) parseList(text string) ([]float64, error) {
	parts := strings.Split(text, ",")
	one := Input{Kind: Number, Unit: in.Unit, Least: in.Least, Most: in.Most, Above: in.Above}
	if in.Kind == Lengths {
		one.Kind = Length
	}
	if len(parts) > 60 {
		return nil, fmt.Errorf("%d are too many", len(parts))
	}
	out := make([]float64, len(parts))
	for i, p := range parts {
		v, err := one.parse(strings.TrimSpace(p))
		if err != nil {
			return nil, err
		}
		out[i] = v.number
	}
	return out, nil
}

func (in Input) parseChoice(text string) (string, error) {
	word := strings.ToLower(text)
	if !slices.Contains(in.Choices, word) {
		return "", fmt.Errorf("%q is not known: use one of %s", short(text), strings.Join(in.Choices, "; "))
	}
	return word, nil
}

// parseWheels reads "120:10,100:10": each wheel before the pinion that it
// drives.
func parseWheels(text string) ([]wear.Gear, error) {
	var out []wear.Gear
	for pair := range strings.SplitSeq(text, ",") {
		a, b, ok := strings.Cut(strings.TrimSpace(pair), ":")
		wheel, err := strconv.Atoi(strings.TrimSpace(a))
		pinion, err2 := strconv.Atoi(strings.TrimSpace(b))
		switch {
		case !ok || err != nil || err2 != nil:
			return nil, fmt.Errorf("%q is not a wheel and its pinion: write the wheel's teeth first, like 120:10,100:10", short(pair))
		case wheel < 6 || wheel > 1000 || pinion < 4 || pinion > 1000:
			return nil, fmt.Errorf("a wheel of %d teeth driving %d leaves cannot be right: write the wheel's teeth first, like 120:10", wheel, pinion)
		}
		out = append(out, wear.Gear{Wheel: wheel, Pinion: pinion})
	}
	if len(out) > 12 {
		return nil, fmt.Errorf("a train of %d wheels cannot be right: give one pair for each wheel that drives", len(out))
	}
	return out, nil
}

// parseSpan reads "20-8": from which full hour to which.
func parseSpan(text string) ([]float64, error) {
	a, b, _ := strings.Cut(text, "-")
	from, err := strconv.Atoi(strings.TrimSpace(a))
	to, err2 := strconv.Atoi(strings.TrimSpace(b))
	if err != nil || err2 != nil || from < 0 || from > 23 || to < 0 || to > 23 {
		return nil, fmt.Errorf("%q is not a span of hours: write the first hour and the one with which it ends, 0 to 23, like 20-8", short(text))
	}
	if from == to {
		return nil, fmt.Errorf("%q is no span: write the first hour and another with which it ends, like 20-8, or leave it out", short(text))
	}
	return []float64{float64(from), float64(to)}, nil
}

// parseZone reads a zone of the tz database.
func parseZone(text string) (*time.Location, error) {
	if text == "Local" || strings.TrimSpace(text) == "" {
		return nil, fmt.Errorf("%q is not a zone: write it like Europe/London", text)
	}
	zone, err := time.LoadLocation(text)
	if err != nil {
		return nil, fmt.Errorf("%q is not a zone that is known: write it like Europe/London or America/New_York", short(text))
	}
	return zone, nil
}

// short keeps what somebody typed from filling the page.
func short(s string) string {
	if r := []rune(s); len(r) > 40 {
		return string(r[:40]) + "…"
	}
	return s
}
