package schedule

import (
	"cmp"
	"fmt"
	"math"
	"strings"
	"unicode/utf8"
)

// Sums are the rates that planning sums are reckoned with, as whoever runs the fleet
// gave them. The zero value gives none: nothing is made up.
type Sums struct {
	Hour     float64 // an hour of work on a clock; 0: not given
	Bearing  float64 // the work on one bearing, all in all; 0: by the hour
	Currency string  // how money is written: "EUR"
	Source   string  // where the rates come from
}

// mostRate is the largest rate that is believed.
const mostRate = 1e9

// Check refuses rates that cannot be right; names are those of the settings.
func (s Sums) Check() error {
	for _, x := range []struct {
		name string
		rate float64
	}{{"sum-hour", s.Hour}, {"sum-bearing", s.Bearing}} {
		if !(x.rate >= 0 && x.rate <= mostRate) {
			return fmt.Errorf("--%s: %v cannot be a rate: give a sum of money from 0 to %.0f, or leave it out", x.name, x.rate, mostRate)
		}
	}
	if !s.Given() {
		return nil
	}
	for _, x := range []struct{ name, text, what, like string }{{"sum-currency", s.Currency, "in which currency", "EUR"}, {"sum-source", s.Source, "where it comes from", "the clockmaker's offer of March 2026"}} {
		if text := Visible(x.text); text == "" || utf8.RuneCountInString(text) > 200 {
			return fmt.Errorf("--%s: a rate is given, so say %s, in at most 200 characters, like %q", x.name, x.what, x.like)
		}
	}
	return nil
}

// Given reports whether there is any rate.
func (s Sums) Given() bool { return s.Hour > 0 || s.Bearing > 0 }

// money prints a sum, to the whole unit.
func (s Sums) money(v float64) string {
	if utf8.RuneCountInString(s.Currency) == 1 {
		return s.Currency + Thousands(v)
	}
	return Thousands(v) + " " + s.Currency
}

// span prints a sum with the range it may come to, where that is one.
func (s Sums) span(low, mean, high float64) string {
	sums := rangeOf(low, mean, high)
	if utf8.RuneCountInString(s.Currency) == 1 {
		return s.Currency + sums
	}
	return sums + " " + s.Currency
}

// rangeOf prints a sum with the range it may come to, where that is one, as bare
// figures: for a column whose head names the money.
func rangeOf(low, mean, high float64) string {
	if math.Round(low) == math.Round(mean) && math.Round(high) == math.Round(mean) {
		return Thousands(mean)
	}
	return fmt.Sprintf("%s (%s to %s)", Thousands(mean), Thousands(low), Thousands(high))
}

// column names a column of sums.
func (s Sums) column(what string) string {
	if s.Hour == 0 {
		what += ", bearings only"
	}
	return what + ", " + s.Currency
}

// ofBearings is what the work on so many bearings comes to; ok is false where no
// rate says.
func (s Sums) ofBearings(n float64) (sum float64, ok bool) {
	if s.Bearing > 0 {
		return n * s.Bearing, true
	}
	return n * s.Hour * float64(usualMinutes[NearLimit]) / 60, s.Hour > 0
}

// ofNeed is what one piece of work comes to, as bare figures; empty: no rate says.
func (s Sums) ofNeed(n moneyNeed) string {
	if v, ok := s.needSum(n); ok {
		return Thousands(v)
	}
	return ""
}

// needSum is what one piece of work comes to; ok is false where no rate says.
func (s Sums) needSum(n moneyNeed) (sum float64, ok bool) {
	if n.task.Kind == NearLimit {
		return s.ofBearings(1)
	}
	return s.Hour * float64(n.task.Minutes) / 60, s.Hour > 0
}

// Words say the rates and where they come from.
func (s Sums) Words() string {
	if !s.Given() {
		return "No rates are given, so no sums of money are reckoned: hours are those on the clock alone, without the way there, and what work costs has to be asked for."
	}
	var rates []string
	if s.Hour > 0 {
		rates = append(rates, s.money(s.Hour)+" an hour of work on the clock")
	}
	if s.Bearing > 0 {
		rates = append(rates, s.money(s.Bearing)+" for the work on one bearing")
	}
	without := "Travel"
	if s.Hour == 0 {
		without = "All other hours of work, for which no rate is given and which are not reckoned, travel"
	}
	return fmt.Sprintf("Planning sums go by %s (source: %s). %s, new lines and other parts, hoists and taxes are not in them: ask for a price before money is given.",
		strings.Join(rates, " and "), cmp.Or(strings.TrimRight(Visible(s.Source), "."), "none given"), without)
}

// ofWork is what the work of a year, or of several, comes to: the firm hours, and the
// bearings fewer in one case in ten, as expected and more in one in ten.
func (s Sums) ofWork(m MonthWork) (low, mean, high float64) {
	firm := s.Hour * m.Hours
	few, many := band(m.Works)
	l, _ := s.ofBearings(few)
	b, _ := s.ofBearings(m.Works[1])
	h, _ := s.ofBearings(many)
	return firm + min(l, b), firm + b, firm + max(h, b)
}

// notReckoned stands where no rate says what work comes to.
const notReckoned = "not reckoned"

// saidOf says within a sentence what the work of some years comes to, and what is left
// out of that.
func (s Sums) saidOf(m MonthWork) string {
	sum := s.span(s.ofWork(m))
	switch s.workWords(m) {
	case "–":
		return ""
	case notReckoned:
		return "; what those hours come to is not reckoned, for no rate for an hour is given"
	}
	if s.Hour == 0 {
		return "; by the rate given the work on bearings comes to " + sum + ", and all other work is not reckoned, for no rate for an hour is given"
	}
	return "; by the rates given that is " + sum
}
