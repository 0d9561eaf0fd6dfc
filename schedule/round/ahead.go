package round

// stretch is the window of a job's occurrence when visits are counted ahead.
type stretch struct{ job, first, last int }

// missed is what a window without a day counts as when visits are counted ahead.
const missed = 100

// ahead is how many visits a group takes after one on a day on which all is done
// but what waits (-1: nothing does), if each is as late as can be and all is done
// at each. It counts up to so many.
func (pl *planner) ahead(g *group, day, waits, most int) (visits int) {
	left := pl.left[:0]
	for _, j := range g.jobs {
		t := &pl.tasks[j]
		s := stretch{j, t.first, t.last}
		if t.due(day) && j != waits && !pl.unsteady(j, day) {
			var comes bool
			if s.first, s.last, comes = pl.Jobs[j].next(day); !comes {
				continue
			}
		}
		left = append(left, s)
	}
	pl.left = left
	for {
		by := never
		for i := 0; i < len(left); i++ {
			s := left[i]
			if s.first >= pl.Until || s.last >= pl.Until {
				continue
			}
			hi := pl.best(s.job, pl.tasks[s.job].turn, max(s.first, day+1), s.last)
			if hi < 0 {
				visits += missed
				left = append(left[:i], left[i+1:]...)
				i--
				continue
			}
			by = min(by, hi)
		}
		if by == never || visits >= most {
			return visits
		}
		day = by
		visits++
		left = pl.doAll(left, day)
	}
}

// doAll is what is left when all that may be is done on a day.
func (pl *planner) doAll(left []stretch, day int) []stretch {
	kept := left[:0]
	for _, s := range left {
		if s.first <= day && day <= s.last && !pl.unsteadyIn(s.job, pl.tasks[s.job].turn, s.first, s.last, day) {
			var comes bool
			if s.first, s.last, comes = pl.Jobs[s.job].next(day); !comes {
				continue
			}
		}
		kept = append(kept, s)
	}
	return kept
}

// waits reports whether it saves a visit to leave a job, which comes again, for
// a later one.
func (pl *planner) waits(g *group, j, day int) bool {
	t := &pl.tasks[j]
	if pl.Jobs[j].Every == 0 || t.late || t.hi <= day || len(g.jobs) < 2 {
		return false
	}
	all := pl.aheadOfAll(g, day)
	return pl.ahead(g, day, j, all) < all
}

// aheadOfAll is how many visits a group takes after one at which nothing waits,
// worked out once while its jobs stay.
func (pl *planner) aheadOfAll(g *group, day int) int {
	if pl.loose {
		return pl.ahead(g, day, -1, never)
	}
	n, is := g.known[day]
	if !is {
		if g.known == nil {
			g.known = map[int]int{}
		}
		n = pl.ahead(g, day, -1, never)
		g.known[day] = n
	}
	return n
}

// eve is the latest day up to by on which a visit leaves the fewest to come.
func (pl *planner) eve(g *group, first, by int) int {
	r := pl.reach(g.person, g.site)
	best, fewest := by, pl.aheadOfAll(g, by)
	for d := by - 1; d >= first && d > by-evenings; d-- {
		if d = int(r.prev[d]); d < first || d <= by-evenings {
			break
		}
		if n := pl.aheadOfAll(g, d); n < fewest {
			best, fewest = d, n
		}
	}
	return best
}

// evenings is how many days before the last that can be are looked at.
const evenings = 8
