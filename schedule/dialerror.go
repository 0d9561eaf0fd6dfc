package schedule

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
)

// The two ways in which the hands can be wrong.
const (
	Fast = "fast"
	Slow = "slow"
)

// How people write an error down: as on a watch, or with units. What follows hours
// alone says what it is: minutes or seconds.
var (
	clockedError = regexp.MustCompile(`^(?:(\d{1,2}):)?(\d{1,3}):([0-5]\d)$`)
	spelledError = regexp.MustCompile(`^(?:(\d{1,2}) ?(?:h|hrs?|hours?))? ?(?:(\d{1,4}(?:[.,]\d{1,6})?) ?(?:m|mins?|minutes?|'))? ?(?:(\d{1,9}(?:[.,]\d{1,6})?) ?(s|secs?|seconds?|")?)?$`)
	// twoFigures are what may be seconds and hundredths, or minutes and seconds.
	twoFigures = regexp.MustCompile(`^(\d{1,2})[.,]([0-5]\d)( ?(?:m|mins?|minutes?))?$`)
	sidedError = regexp.MustCompile(`^(?:(?:too )?(fast|slow),? ?(?:by )?(.*\d.*)|(.*\d.*?),? ?(?:too )?(fast|slow)\.?)$`)
)

// primes are how clockmakers write minutes and seconds, and signs of another
// alphabet for the usual ones.
var primes = strings.NewReplacer("\u2032", "'", "\u2033", `"`, "\u2019", "'", "\u201d", `"`, "''", `"`, "\u2212", "-", "\u00a0", " ", "\u202f", " ")

// ParseDialError reads how far the hands are wrong, as people write it: "90",
// "1:30 fast", "95 s", "2 min slow", "+95" or "1 min 35 s". The seconds are never
// below 0; way is Fast, Slow, or empty where it is not said, of which the caller
// must ask. What can be read in two ways is asked back by an Error of code
// Doubtful, all else that cannot be read is Invalid; both say how to write it.
func ParseDialError(text string) (seconds float64, way string, err error) {
	s := strings.Join(strings.Fields(primes.Replace(strings.ToLower(text))), " ")
	if m := sidedError.FindStringSubmatch(s); m != nil {
		s, way = m[2]+m[3], m[1]+m[4]
	}
	for sign, says := range map[string]string{"+": Fast, "-": Slow} {
		rest, ok := strings.CutPrefix(s, sign)
		if !ok {
			continue
		}
		if way != "" && way != says {
			return 0, "", invalid("", "%q is %s by its sign and %s by its word: take out one of the two", clipped(text), says, way)
		}
		s, way = strings.TrimSpace(rest), says
		break
	}
	if m := twoFigures.FindStringSubmatch(s); m != nil {
		return 0, "", twoReadings(text, m[1], m[2], m[3] != "")
	}
	seconds, ok := dialSeconds(s)
	if !ok {
		return 0, "", invalid("", "%q cannot be read as an error: write 90, 1:30 or 2 min, with fast or slow", clipped(text))
	}
	return seconds, way, nil
}

// twoReadings asks back what may be a decimal fraction, or minutes and seconds.
func twoReadings(text, whole, part string, minutes bool) error {
	decimal, plain := whole+"."+part+" s", whole+"."+part+" s"
	if minutes {
		v, _ := strconv.ParseFloat(whole+"."+part, 64) // figures alone
		decimal = whole + "." + part + " min"
		plain = strconv.FormatFloat(v*60, 'f', -1, 64) + " s"
	}
	clocked := whole + ":" + part
	part = strings.TrimPrefix(part, "0")
	return &Error{Doubtful, "", fmt.Sprintf("%q can be read in two ways, %s or %s min %s s: write %s or %s", clipped(text), decimal, whole, part, plain, clocked)}
}

// dialSeconds reads an error without its direction as seconds.
func dialSeconds(s string) (seconds float64, ok bool) {
	m := clockedError.FindStringSubmatch(s)
	if m == nil {
		m = spelledError.FindStringSubmatch(s)
	}
	if m == nil || m[1]+m[2]+m[3] == "" || len(m) > 4 && m[1] != "" && m[2] == "" && m[3] != "" && m[4] == "" {
		return 0, false
	}
	for i, of := range []float64{3600, 60, 1} {
		if v, err := strconv.ParseFloat(strings.Replace(m[i+1], ",", ".", 1), 64); err == nil {
			seconds += v * of
		}
	}
	return seconds, true
}
