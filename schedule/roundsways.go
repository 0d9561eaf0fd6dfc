package schedule

import (
	"fmt"
	"maps"
	"slices"
	"strings"
)

// tellWays says what had to be taken of ways.
func (r *rounding) tellWays(guessed map[int]bool, crow bool) {
	var names, homes, half []string
	for i := range r.sites {
		if guessed[i] {
			names = append(names, r.sites[i].Name)
		}
	}
	for i, p := range r.people[:r.goers] {
		switch {
		case p.Going.Home != nil:
		case !r.homeGiven(p.Slug):
			homes = append(homes, p.Name)
		case guessed[len(r.sites)+i]:
			half = append(half, p.Name)
		}
	}
	const most = 5
	if n := len(names); n > 0 {
		if n > most {
			names = append(names[:most], fmt.Sprintf("%d more", n-most))
		}
		r.note(fmt.Sprintf("It is not known where %s %s: a way there is taken as %.0f minutes. Say on the page of the site where it lies.",
			And(names), map[bool]string{true: "lies", false: "lie"}[n == 1], unknownWay))
	}
	if n := len(homes); n > 0 {
		if n > most {
			homes = append(homes[:most], fmt.Sprintf("%d more", n-most))
		}
		r.note(fmt.Sprintf("It is not known where the days of %s begin: they begin and end at the first and last site.", And(homes)))
	}
	if n := len(half); n > 0 {
		if n > most {
			half = append(half[:most], fmt.Sprintf("%d more", n-most))
		}
		r.note(fmt.Sprintf("The file of ways leads from the home of %s to some sites alone: a way to another is taken as %.0f minutes.", And(half), unknownWay))
	}
	r.tellStrangers()
	if crow {
		r.note(fmt.Sprintf("A way that no file of ways gives is taken as %.1f times the distance as the crow flies, at %.0f km/h (%.0f mph).",
			detour, r.ask.Travel.speed(), r.ask.Travel.speed()/Mile))
	}
}

// homeGiven reports whether a file of ways leads from a person's home to any site.
func (r *rounding) homeGiven(person string) bool {
	return slices.ContainsFunc(r.sites, func(s Site) bool {
		_, ok := r.ask.Travel.Matrix[[2]string{HomeOf(person), s.Slug}]
		return ok
	})
}

// tellStrangers names what the file of ways names and nobody knows here.
func (r *rounding) tellStrangers() {
	const most = 5
	strange := map[string]bool{}
	for way := range r.ask.Travel.Matrix {
		for _, name := range way {
			_, known := r.s.Fleet.Site(name)
			if person, home := strings.CutPrefix(name, homes); home {
				_, known = r.s.Fleet.Person(person)
			}
			strange[name] = !known
		}
	}
	maps.DeleteFunc(strange, func(_ string, is bool) bool { return !is })
	names := slices.Sorted(maps.Keys(strange))
	n := len(names)
	if n > most {
		names = append(names[:most], fmt.Sprintf("%d more", n-most))
	}
	switch {
	case n == 1 && strings.HasPrefix(names[0], homes):
		r.note(fmt.Sprintf("The file of ways names %s, and there is no such person here.", names[0]))
	case n == 1:
		r.note(fmt.Sprintf("The file of ways names %s, which is no site here.", names[0]))
	case n > 1:
		r.note(fmt.Sprintf("The file of ways names %s, which are no sites or homes here.", And(names)))
	}
}
