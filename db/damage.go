package db

import (
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"

	"endshake/schedule"
	"endshake/wear"
)

// damage is what cannot be read, in sentences, by the short name of the clock that it
// belongs to; what belongs to a site stands under siteKey, and what belongs to no
// clock under nothing.
type damage map[string][]string

const siteKey = "site "

// mostDamage bounds what is said of one clock.
const mostDamage = 5

func (d damage) add(of string, err error) {
	if len(d[of]) < mostDamage {
		d[of] = append(d[of], strings.ToValidUTF8(err.Error(), "\uFFFD"))
	}
}

// mark has each clock say what is damaged of it and of its site, and makes what
// cannot be shown fit to be.
func (d damage) mark(f *schedule.Fleet) {
	for i := range f.Clocks {
		c := &f.Clocks[i]
		if field, problem := checkValue(reflect.ValueOf(*c)); problem != "" {
			d.add(c.Slug, fmt.Errorf("%s: %s", strings.ToLower(field), problem))
		}
		if less := lessThanNothing(*c); less != "" {
			d.add(c.Slug, fmt.Errorf("%s is less than nothing", less))
		}
		if !slices.ContainsFunc(f.Sites, func(s schedule.Site) bool { return s.Slug == c.Site }) {
			d.add(c.Slug, fmt.Errorf("its site %q is not there", c.Site))
		}
		c.Damage = append(d[c.Slug], d[siteKey+c.Site]...)
		if len(c.Damage) > 0 { // what could be read of it may be as wrong as the rest
			c.Trains, c.Policies, c.Care, c.Cautions = nil, nil, schedule.Care{}, nil
			c.Name, c.Note = strings.ToValidUTF8(c.Name, "\uFFFD"), strings.ToValidUTF8(c.Note, "\uFFFD")
		}
	}
}

// lessThanNothing names a figure that cannot be negative and is; empty: none is.
func lessThanNothing(c schedule.Clock) string {
	type figure struct {
		name  string
		value float64
	}
	var all []figure
	for _, p := range c.Policies {
		what := fmt.Sprintf("the policy for %s: ", p.Task)
		all = append(all, figure{what + "its days", float64(p.Days)}, figure{what + "its run-hours", p.RunHours}, figure{what + "its risk", p.Risk})
	}
	for _, t := range c.Trains {
		what := "train " + t.Code + ": "
		all = append(all, figure{what + "its run on one wind", float64(t.Reserve)}, figure{what + "its blows a day", t.StrokesPerDay}, figure{what + "its hour meter", t.MeterHours})
		for _, a := range t.Arbors {
			all = append(all, figure{"arbor " + a.Code + ": its turns", a.Revs})
			for _, b := range a.Bearings {
				what := "bearing " + b.Code + ": "
				all = append(all, figure{what + "its load", b.Load})
				for _, l := range []wear.Length{b.Outer, b.Inner, b.Bore, b.Pivot, b.Long, b.Fitted, b.FittedSD, b.Stand} {
					all = append(all, figure{what + "a length", float64(l)})
				}
			}
		}
	}
	for _, f := range all {
		if f.value < 0 {
			return f.name
		}
	}
	return ""
}

// soundEntry says what is wrong with an entry that could be read, and that this
// program would never have stored.
func soundEntry(e schedule.Entry) error {
	for _, text := range []string{e.Note, e.Why, e.By, e.Source, e.Train, e.Bearing} {
		if problem := textProblem(text); problem != "" {
			return fmt.Errorf("entry %s: %s", e.ID, problem)
		}
	}
	if !slices.Contains(schedule.EntryKinds, e.Kind) {
		return fmt.Errorf("entry %s: there is no entry of kind %q", e.ID, e.Kind)
	}
	if r := e.Reading; r != nil {
		switch {
		case r.Value < 0 || r.Gauge < 0:
			return fmt.Errorf("entry %s: a reading less than nothing", e.ID)
		case r.Celsius != nil && (math.IsNaN(*r.Celsius) || math.IsInf(*r.Celsius, 0)):
			return fmt.Errorf("entry %s: a temperature that is no number", e.ID)
		}
	}
	if y := e.At.Year(); y < 1 || y > 9999 {
		return fmt.Errorf("entry %s: the year %d", e.ID, y)
	}
	return nil
}
