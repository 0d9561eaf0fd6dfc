package db

import (
	"fmt"
	"maps"
	"math"
	"reflect"
	"slices"
	"strings"

	"endshake/schedule"
	"endshake/wear"
)

// damage is what cannot be read, in sentences, by the short name of the clock that it
// belongs to; what belongs to a site stands under siteKey, to a person under personKey,
// and what belongs to nothing under nothing.
type damage map[string][]string

const (
	siteKey   = "site "
	personKey = "person "
)

// mostDamage bounds what is said of one clock.
const mostDamage = 5

func (d damage) add(of string, err error) {
	if len(d[of]) < mostDamage {
		d[of] = append(d[of], strings.ToValidUTF8(err.Error(), "\uFFFD"))
	}
}

// mark has each clock and person say what is damaged of it and of its site, and the
// fleet the rest, and makes what cannot be shown fit to be.
func (d damage) mark(f *schedule.Fleet) {
	told := map[string]bool{}
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
		told[c.Slug], told[siteKey+c.Site] = true, true
		c.Damage = slices.Concat(d[c.Slug], d[siteKey+c.Site])
		if len(c.Damage) > 0 { // what could be read of it may be as wrong as the rest
			c.Trains, c.Policies, c.Care, c.Cautions = nil, nil, schedule.Care{}, nil
			c.Name, c.Note = strings.ToValidUTF8(c.Name, "\uFFFD"), strings.ToValidUTF8(c.Note, "\uFFFD")
		}
	}
	d.markPeople(f.People, told)
	for _, of := range slices.Sorted(maps.Keys(d)) {
		if !told[of] {
			f.Damage = append(f.Damage, d[of]...)
		}
	}
}

// markPeople does so for people. Whoever cannot be read whole is written no letter: it
// may be one that they wish not to have, or go to an address that is none.
func (d damage) markPeople(people []schedule.Person, told map[string]bool) {
	for i := range people {
		p := &people[i]
		key := personKey + p.Slug
		if field, problem := checkValue(reflect.ValueOf(*p)); problem != "" {
			d.add(key, fmt.Errorf("person %s: %s: %s", p.Slug, strings.ToLower(field), problem))
		}
		told[key] = true
		if p.Damage = d[key]; len(p.Damage) > 0 {
			p.Email, p.Zone, p.Units, p.Mail, p.Going = "", "", "", schedule.Wishes{}, schedule.Going{}
			p.Name = strings.ToValidUTF8(p.Name, "\uFFFD")
		}
	}
}

// refuse refuses to save over what cannot be read, which would be lost for good.
func (d damage) refuse(f schedule.Fleet) error {
	no := func(field, what string, why []string) error {
		return refuse(schedule.Conflict, field, "%s cannot be changed while there is a %s with it (%s): tell whoever runs this service", what, schedule.DataProblem, strings.Join(why, "; "))
	}
	for _, c := range f.Clocks {
		if why := slices.Concat(c.Damage, d[c.Slug], d[siteKey+c.Site]); len(why) > 0 {
			return no("clocks", "the clock "+c.Slug, why)
		}
	}
	for _, p := range f.People {
		if why := append(p.Damage, d[personKey+p.Slug]...); len(why) > 0 {
			return no("people", "the person "+p.Slug, why)
		}
	}
	for _, s := range f.Sites {
		if why := d[siteKey+s.Slug]; len(why) > 0 {
			return no("sites", "the site "+s.Slug, why)
		}
	}
	return nil
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
