package schedule

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"
)

// sentence is the one line of a clock's timekeeping.
func (k *timekeeper) sentence() string {
	t := &k.t
	if len(t.Errors) == 0 {
		return "No error is logged, so nothing is known of its rate."
	}
	out := k.rateSaid
	if seen := t.lastWords(k.a.dayOf); !t.Known && seen != "" {
		out += "; " + seen
	}
	if t.ErrorKnown {
		out += ", " + fastWords(t.Error) + " now"
	}
	if stands := k.a.standsWords(); stands != "" {
		out += "; " + stands + ", so its error now is not known"
	}
	if k.vague {
		out += "; its rate is not known well enough for a date: note its error when you are there"
	}
	out += t.reachWords(k.a.dayOf(k.a.Now)) + "."
	if t.Carried != "" {
		out += " The rate is taken over, " + t.Carried + "."
	}
	return out + k.asideSaid
}

// standsWords says why a clock does not go by its log; empty: it goes.
func (a *Assessment) standsWords() string {
	if len(a.Trains) == 0 {
		return ""
	}
	down := false
	for i := range a.Trains {
		st := &a.Trains[i]
		switch {
		case !a.Clock.speaks(st.Train) || !st.Going:
		case !st.Wind.Past:
			return ""
		default:
			down = true
		}
	}
	if down {
		return "by its log it has run down and stands"
	}
	return "it stands"
}

// rateWords says the rate: "Gains 0.5 s a day (give or take 0.1)".
func (t *Timekeeping) rateWords() string {
	switch {
	case !t.Known && t.close:
		return "Its rate is not known yet: the errors since it was last set or regulated lie too near one another in time, so note another a day or more after the first"
	case !t.Known:
		return "Its rate is not known yet: it takes two errors since it was last set or regulated"
	}
	digits := digitsFor(t.Give)
	give := fmt.Sprintf("(give or take %.*f", digits, max(t.Give, math.Pow10(-digits)))
	if words := perDay(t.Rate, digits); words != "" {
		return Capital(words) + " " + give + ")"
	}
	return "Neither gains nor loses " + give + " s a day)"
}

// lastWords are the last error that was not set aside: "found 44 s fast on
// 8 Jan 2026"; empty: there is none.
func (t *Timekeeping) lastWords(day func(time.Time) Date) string {
	for _, e := range slices.Backward(t.Errors) {
		if !e.Aside {
			return map[bool]string{false: "found ", true: "left "}[e.Left] + fastWords(e.Seconds) + " on " + day(e.At).Words()
		}
	}
	return ""
}

// outBy is by how much the error now, which is reckoned, may be out 19 times in 20.
func (t *Timekeeping) outBy() string { return Thousands(math.Ceil(normal95*t.ErrorSD)) + " s" }

// perDay says a rate: "gains 0.5 s a day", "loses 2 s a day"; empty where it is
// nothing in so many digits.
func perDay(rate float64, digits int) string {
	size := fmt.Sprintf("%.*f", digits, math.Abs(rate))
	switch {
	case strings.Trim(size, "0.") == "":
		return ""
	case rate > 0:
		return "gains " + size + " s a day"
	}
	return "loses " + size + " s a day"
}

// digitsFor is how many decimals a rate is worth that is known to within so much.
func digitsFor(give float64) int {
	switch {
	case give >= 5:
		return 0
	case give >= .05:
		return 1
	}
	return 2
}

// fastWords says an error: "14 s fast", "3 s slow", "right".
func fastWords(seconds float64) string {
	switch v := math.Round(math.Abs(seconds)); {
	case v == 0:
		return "right"
	case seconds > 0:
		return Thousands(v) + " s fast"
	default:
		return Thousands(v) + " s slow"
	}
}

// reachWords says when the error reaches the tolerance.
func (t *Timekeeping) reachWords(today Date) string {
	held := figure(t.Tolerance) + " s"
	switch {
	case t.Early.IsZero():
		return ""
	case t.past:
		return fmt.Sprintf("; beyond the %s that it is held to since %s", held, t.Reached.Words())
	case t.Reached.IsZero() && !t.Early.After(today):
		if !t.ErrorKnown {
			return fmt.Sprintf("; whether it is within the %s that it is held to is not known: log another error now", held)
		}
		return fmt.Sprintf("; that is reckoned, and may be out by %s, so whether it is within the %s that it is held to is not known: log another error now", t.outBy(), held)
	case t.Reached.IsZero():
		return fmt.Sprintf("; how it will be is not known well enough to say that it keeps within the %s that it is held to after %s: log another error by then", held, t.Early.Words())
	case t.Reached.Before(today):
		return fmt.Sprintf("; was expected to be %s wrong about %s", held, t.Reached.Words())
	case t.Early.Before(today):
		if !t.ErrorKnown {
			return fmt.Sprintf("; expected to be %s wrong about %s, or sooner", held, t.Reached.Words())
		}
		return fmt.Sprintf("; that is reckoned, and may be out by %s; expected to be %s wrong about %s, or sooner by as much", t.outBy(), held, t.Reached.Words())
	}
	return fmt.Sprintf("; expected to be %s wrong about %s, perhaps from %s", held, t.Reached.Words(), t.Early.Words())
}

// asideWords says which errors of the present stretch were set aside.
func (k *timekeeper) asideWords() string {
	now := k.spans[len(k.spans)-1]
	var out []string
	for _, i := range k.of[now.lo:now.hi] {
		if e := k.t.Errors[i]; e.Aside {
			out = append(out, fmt.Sprintf("that of %s (%s)", k.a.dayOf(e.At).Words(), fastWords(e.Seconds)))
		}
	}
	switch len(out) {
	case 0:
		return ""
	case 1:
		return " One error does not fit the others and is set aside: " + out[0] + "."
	}
	return " Errors that do not fit the others are set aside: " + And(out) + "."
}
