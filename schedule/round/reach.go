package round

import "cmp"

// reach is on which days one person can visit one site at all.
type reach struct {
	can        []bool
	prev, next []int32 // the nearest such day up to and from each; -1: none
}

// mark is a barred visit by what it is looked up with.
type mark struct{ site, person, day int }

func (pl *planner) barred(site, person, day int) bool {
	for _, m := range [4]mark{{site, person, day}, {-1, person, day}, {site, -1, day}, {-1, -1, day}} {
		if pl.bars[m] {
			return true
		}
	}
	return false
}

// alone reports whether a visit of so many minutes fits into a day on which it is
// the only one.
func (pl *planner) alone(person, site, day, minutes int) bool {
	h, o, home := pl.goes(person, day), pl.opens(site, day), pl.People[person].Home
	if !h.open() || !o.open() {
		return false
	}
	done := max(h.From+pl.ways.leg(home, site), o.From) + minutes
	return done <= o.To && done+pl.ways.leg(site, home) <= h.To
}

// reach gives the days on which a person can visit a site, which it works out
// once.
func (pl *planner) reach(person, site int) *reach {
	at := site*len(pl.People) + person
	if pl.reaches[at] != nil {
		return pl.reaches[at]
	}
	r := &reach{make([]bool, pl.days), make([]int32, pl.days), make([]int32, pl.days)}
	pl.reaches[at] = r
	s := pl.Sites[site]
	last := int32(-1)
	for d := range pl.days {
		r.can[d] = d >= s.Notice && pl.alone(person, site, d, s.Climb) && !pl.barred(site, person, d)
		if r.can[d] {
			last = int32(d)
		}
		r.prev[d] = last
	}
	last = -1
	for d := pl.days - 1; d >= 0; d-- {
		if r.can[d] {
			last = int32(d)
		}
		r.next[d] = last
	}
	return r
}

// fits reports whether a person can do a job on a day, were nothing else done.
func (pl *planner) fits(person int, j *Job, day int) bool {
	return pl.alone(person, j.Site, day, pl.Sites[j.Site].Climb+j.Minutes) && pl.mayCome(j, person, day)
}

// mayCome reports whether any of those who may be the second is out that day.
func (pl *planner) mayCome(j *Job, person, day int) bool {
	if !j.Two || len(j.With) == 0 {
		return true
	}
	for _, s := range j.With {
		if s != person && pl.goes(s, day).open() && !pl.barred(j.Site, s, day) {
			return true
		}
	}
	return false
}

// latest is the last day from first to last on which a person can do a job; -1:
// none.
func (pl *planner) latest(person int, j *Job, first, last int) int {
	r := pl.reach(person, j.Site)
	for d := min(last, pl.days-1); d >= max(0, first); d-- {
		if d = int(r.prev[d]); d < max(0, first) {
			return -1
		}
		if pl.fits(person, j, d) {
			return d
		}
	}
	return -1
}

// soonest is the first day from first on which a person can do a job; -1: none.
func (pl *planner) soonest(person int, j *Job, first int) int {
	r := pl.reach(person, j.Site)
	for d := max(0, first); d < pl.days; d++ {
		if d = int(r.next[d]); d < 0 {
			return -1
		}
		if pl.fits(person, j, d) {
			return d
		}
	}
	return -1
}

// second is who can come along on a day for all of the jobs that need two, first
// somebody who comes along that day already; -1: none of them names anybody, so that
// somebody will be found.
func (pl *planner) second(person, day int, jobs []int) (who int, ok bool) {
	who = -1
	for _, first := range jobs {
		if !pl.named(first) {
			continue
		}
		for _, s := range pl.Jobs[first].With {
			if !pl.free(s, person, day, pl.Jobs[first].Site) || !pl.withAll(s, jobs) {
				continue
			}
			if pl.along[s*pl.days+day] > 0 {
				return s, true
			}
			if who < 0 {
				who = s
			}
		}
		return who, who >= 0
	}
	return who, true
}

// named reports whether a job needs one of those whom it names as second.
func (pl *planner) named(job int) bool { return pl.Jobs[job].Two && len(pl.Jobs[job].With) > 0 }

func (pl *planner) withAll(s int, jobs []int) bool {
	for _, j := range jobs {
		if pl.named(j) && !contains(pl.Jobs[j].With, s) {
			return false
		}
	}
	return true
}

func contains(of []int, v int) bool {
	for _, o := range of {
		if o == v {
			return true
		}
	}
	return false
}

// free reports whether somebody can be second to a person on a day: who comes along
// to one site comes along to the others of that round.
func (pl *planner) free(s, person, day, site int) bool {
	at := s*pl.days + day
	return s != person && pl.goes(s, day).open() && pl.out[at] == nil && (pl.along[at] == 0 || pl.beside[at] == person) && !pl.barred(site, s, day)
}

// why says what keeps one occurrence of a job from its window.
func (pl *planner) why(j *Job, first, last int) Why {
	type pair struct{ person, day int }
	if len(j.By) == 0 {
		return NobodyMay
	}
	var left []pair
	for _, q := range j.By {
		for d := max(0, first); d <= min(last, pl.days-1); d++ {
			left = append(left, pair{q, d})
		}
	}
	climb := pl.Sites[j.Site].Climb
	for _, rule := range []struct {
		why Why
		may func(pair) bool
	}{
		{NobodyGoes, func(x pair) bool { return pl.goes(x.person, x.day).open() }},
		{Shut, func(x pair) bool {
			h, o := pl.goes(x.person, x.day), pl.opens(j.Site, x.day)
			return Hours{max(h.From, o.From), min(h.To, o.To)}.open()
		}},
		{TooSoon, func(x pair) bool { return x.day >= pl.Sites[j.Site].Notice }},
		{NoWay, func(x pair) bool { return pl.alone(x.person, j.Site, x.day, 0) }},
		{TooLong, func(x pair) bool { return pl.alone(x.person, j.Site, x.day, climb+j.Minutes) }},
		{ByHand, func(x pair) bool { return !pl.barred(j.Site, x.person, x.day) }},
		{NoSecond, func(x pair) bool { return pl.mayCome(j, x.person, x.day) && pl.someFree(j, x.person, x.day) }},
	} {
		kept := left[:0]
		for _, x := range left {
			if rule.may(x) {
				kept = append(kept, x)
			}
		}
		if left = kept; len(left) == 0 {
			return rule.why
		}
	}
	return Full
}

// someFree reports whether the plan as it stands leaves a second free, or has
// no room that day anyway.
func (pl *planner) someFree(j *Job, person, day int) bool {
	if !j.Two || len(j.With) == 0 {
		return true
	}
	for _, s := range j.With {
		if pl.free(s, person, day, j.Site) {
			return true
		}
	}
	return false
}

// byDay sorts days of rounds.
func byDay(a, b Day) int { return cmp.Or(cmp.Compare(a.Day, b.Day), cmp.Compare(a.Person, b.Person)) }
