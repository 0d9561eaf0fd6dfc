package round

// steady is on which days one person can do a job that comes again such that it
// can be done again and again to the end of the plan, each time in its window.
type steady []int32 // the latest such day up to each; -1: none

// steady gives the days on which a job can be done by the turn-th of its people
// such that it can come again; it works them out once.
func (pl *planner) steady(j, turn int) steady {
	job := &pl.Jobs[j]
	for len(pl.steadies[j]) <= turn {
		pl.steadies[j] = append(pl.steadies[j], nil)
	}
	if s := pl.steadies[j][turn]; s != nil {
		return s
	}
	person := job.By[turn]
	can := pl.reach(person, job.Site).can
	after := make([]int32, pl.days+1) // the first such day from each on
	after[pl.days] = int32(pl.days)
	for d := pl.days - 1; d >= 0; d-- {
		after[d] = after[d+1]
		first, last, _ := job.next(d)
		again := last >= pl.Until || first < pl.days && int(after[first]) <= min(last, pl.days-1)
		if can[d] && again && pl.fits(person, job, d) {
			after[d] = int32(d)
		}
	}
	s := make(steady, pl.days)
	last := int32(-1)
	for d := range s {
		if after[d] == int32(d) {
			last = int32(d)
		}
		s[d] = last
	}
	pl.steadies[j][turn] = s
	return s
}

// on reports whether a day is one of them.
func (s steady) on(d int) bool { return d < len(s) && int(s[d]) == d }

// best is the last day of a window on which one of its people can do a job, of
// those on which it can come again if there is one; -1: none.
func (pl *planner) best(j, turn, first, last int) int {
	job := &pl.Jobs[j]
	if job.Every > 0 && pl.days > 0 && last >= 0 {
		if d := int(pl.steady(j, turn)[min(last, pl.days-1)]); d >= max(0, first) {
			return d
		}
	}
	return pl.latest(job.By[turn], job, first, last)
}

// unsteady reports whether a job that could be done steadily on a later day could
// not be if it were done on this one.
func (pl *planner) unsteady(j, d int) bool {
	t := &pl.tasks[j]
	return !t.late && pl.unsteadyIn(j, t.turn, t.first, t.last, d)
}

func (pl *planner) unsteadyIn(j, turn, first, last, d int) bool {
	if pl.loose || pl.Jobs[j].Every == 0 || pl.days == 0 {
		return false
	}
	s := pl.steady(j, turn)
	return !s.on(d) && int(s[max(0, min(last, pl.days-1))]) >= max(0, first)
}
