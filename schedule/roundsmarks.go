package schedule

import (
	"cmp"
	"fmt"
	"slices"

	"endshake/schedule/round"
)

// marks puts into the problem what was decided by hand.
func (r *rounding) marks() {
	for _, m := range r.ask.Marks {
		day := m.Day.number()
		if day < r.p.From || day >= r.p.Until {
			continue
		}
		site, atSite := r.numbers.site[m.Site]
		person, known := r.numbers.person[m.Person]
		goes := known && person < r.goers
		switch {
		case m.Kind == SetVisit && (!atSite || m.Person != "" && !goes):
			r.note(fmt.Sprintf("The visit to %s that %s kept by hand for %s cannot be kept: %s.", r.s.siteName(m.Site), r.s.nameOf(m.By), m.Day.Words(),
				cmp.Or(map[bool]string{true: "the site is not described any more"}[!atSite], r.s.nameOf(m.Person)+" goes on no rounds")))
		case m.Kind == SetVisit:
			if m.Person == "" {
				if person, goes = r.anybody(site); !goes {
					r.note(fmt.Sprintf("The visit to %s that %s kept by hand for %s cannot be kept: nobody who looks after a clock there goes on rounds.",
						r.s.siteName(m.Site), r.s.nameOf(m.By), m.Day.Words()))
					continue
				}
			}
			r.p.Fixed = append(r.p.Fixed, round.Fixed{Site: site, Person: person, Day: day})
			r.keep(m, person)
			r.tellBarred(m)
		case m.Kind == BarVisit && (m.Site == "" || atSite) && (m.Person == "" || known): // of a second, too
			b := round.Barred{Site: -1, Person: -1, Day: day}
			if m.Site != "" {
				b.Site = site
			}
			if m.Person != "" {
				b.Person = person
			}
			r.p.Barred = append(r.p.Barred, b)
		}
	}
}

// tellBarred says that a visit was kept where a whole day was ruled out: the one visit
// says more than the day, and stays.
func (r *rounding) tellBarred(set RoundMark) {
	for _, m := range r.ask.Marks {
		if m.Kind != BarVisit || m.Day != set.Day || m.Site != "" && m.Site != set.Site || m.Person != "" && m.Person != set.Person {
			continue
		}
		what := "all visits there"
		if m.Site == "" {
			what = "all visits of " + r.s.nameOf(m.Person)
		}
		r.note(fmt.Sprintf("The visit to %s that %s kept by hand for %s stays, though %s ruled out %s on that day%s: take one of the two back.",
			r.s.siteName(set.Site), r.s.nameOf(set.By), set.Day.Words(), r.s.nameOf(m.By), what, inBrackets(m.Why)))
	}
}

// anybody is who would go to a site first.
func (r *rounding) anybody(site int) (int, bool) {
	for _, j := range r.p.Jobs {
		if j.Site == site && len(j.By) > 0 {
			return j.By[0], true
		}
	}
	return 0, false
}

// mark is what was decided by hand of a visit that is set.
func (r *rounding) mark(site, person string, day Date) (RoundMark, bool) {
	i := slices.IndexFunc(r.ask.Marks, func(m RoundMark) bool {
		return m.Kind == SetVisit && m.Site == site && (m.Person == "" || m.Person == person) && m.Day == day
	})
	if i < 0 {
		return RoundMark{}, false
	}
	return r.ask.Marks[i], true
}

// siteName is what a site is called.
func (s *Snapshot) siteName(slug string) string {
	site, _ := s.Fleet.Site(slug)
	return cmp.Or(site.Name, slug)
}

// nameOf is what a person is called.
func (s *Snapshot) nameOf(slug string) string {
	p, _ := s.Fleet.Person(slug)
	return cmp.Or(p.Name, slug, "somebody")
}
