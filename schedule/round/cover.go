package round

import "slices"

// task is the occurrence of a job that is to be planned next.
type task struct {
	again       int
	first, last int
	// hi is the last day on which its person can do it in time; never: it need not
	// be done before the plan ends.
	hi   int
	late bool // its window is over; the sooner the better
	turn int  // which of Job.By does it
	on   bool
}

// due reports whether a task may be done on a day.
func (t *task) due(day int) bool { return t.first <= day && (day <= t.last || t.late) }

// group is what one person has to do at one site.
type group struct {
	site, person int
	jobs         []int // whose tasks are on
	// known are the visits ahead of it after a day, while its jobs are these.
	known map[int]int
}

// press is which job of a group must be done next, and by when; -1: none must.
//
// To go as late as what presses most allows, and then to do all that may be done,
// takes the fewest visits: it is the piercing of intervals by the fewest points.
// That holds for jobs that do not come again. One that does comes the sooner the
// sooner it was done; where to come a little sooner or to leave one for a later
// visit saves one, as far as can be seen from each visit alone, that is done (see
// ahead), and takes one visit more than the fewest on very few sites.
func (pl *planner) press(g *group) (job, by int) {
	job, by = -1, never
	for _, j := range g.jobs {
		if t := &pl.tasks[j]; t.hi < by {
			job, by = j, t.hi
		}
	}
	return job, by
}

// open are the jobs of a group that may be done on a day, the most pressing first.
func (pl *planner) open(g *group, day int) []int {
	jobs := pl.scratch[:0]
	for _, j := range g.jobs {
		if pl.tasks[j].due(day) {
			jobs = append(jobs, j)
		}
	}
	slices.SortStableFunc(jobs, func(a, b int) int { return pl.tasks[a].hi - pl.tasks[b].hi })
	pl.scratch = jobs
	return jobs
}

// until is the day by which a group must be visited again after a visit on a day.
func (pl *planner) until(g *group, day int) int {
	by := never
	for _, j := range g.jobs {
		t, job := &pl.tasks[j], &pl.Jobs[j]
		switch {
		case !t.due(day):
			by = min(by, t.last)
		case job.Every > 0:
			by = min(by, day+job.Every+job.Grace)
		}
	}
	return by
}

// loss is which part of a visit is lost by a visit on a day when it could wait
// until by: visits come the more often the earlier each of them is.
func (pl *planner) loss(g *group, day, by int) float64 {
	if by <= day {
		return 0
	}
	late, soon := pl.until(g, by), pl.until(g, day)
	const most = 1 << 20
	late, soon = min(late, most), min(soon, most)
	return max(0, float64(late-soon)/float64(max(1, late-by))) + float64(by-day)/10_000
}

// begin sets the task of a job to an occurrence and gives it to a person and, if
// a visit kept by hand falls into its window, to that visit; it goes on so until
// one is to be planned.
func (pl *planner) begin(j, again, first, last int) {
	for pl.ask(j, again, first, last) {
		visit := pl.hand(j)
		if visit < 0 {
			pl.join(j)
			return
		}
		pl.do(visit, j)
		job, comes := &pl.Jobs[j], false
		if first, last, comes = job.next(pl.visits[visit].day); !comes {
			return
		}
		again++
	}
}

// ask sets the task of a job to an occurrence and reports whether it is to be
// planned at all.
func (pl *planner) ask(j, again, first, last int) bool {
	job, t := &pl.Jobs[j], &pl.tasks[j]
	*t = task{again: again, first: first, last: last, hi: never}
	if len(job.By) == 0 || first >= pl.Until {
		return false
	}
	for t.turn = range job.By {
		if d := pl.best(j, t.turn, first, last); d >= 0 {
			if t.on = true; last < pl.Until {
				t.hi = d
			}
			return true
		}
	}
	if last < pl.Until {
		pl.lapse(j)
	}
	return t.on || pl.hand(j) >= 0
}

// lapse makes a task late: it is to be done on the first day that anybody can.
func (pl *planner) lapse(j int) {
	job, t := &pl.Jobs[j], &pl.tasks[j]
	t.late, t.on, t.hi = true, false, never
	for i, q := range job.By {
		if d := pl.soonest(q, job, max(t.first, t.last+1)); d >= 0 && d < t.hi {
			t.on, t.hi, t.turn = true, d, i
		}
	}
}

// hand is the first visit kept by hand at which the task of a job may be done; -1:
// none.
func (pl *planner) hand(j int) int {
	best, t, job := -1, &pl.tasks[j], &pl.Jobs[j]
	for v := range pl.byHand {
		x := &pl.visits[v]
		in := x.day <= t.last || t.late && (!t.on || x.day <= t.hi)
		if x.site == job.Site && x.day >= t.first && in && contains(job.By, x.person) && (best < 0 || x.day < pl.visits[best].day) {
			best = v
		}
	}
	return best
}

// join puts the task of a job into the group of its person.
func (pl *planner) join(j int) {
	job := &pl.Jobs[j]
	g := pl.group(job.Site, job.By[pl.tasks[j].turn])
	g.jobs = append(g.jobs, j)
	clear(g.known)
}

// leave takes the task of a job out of its group.
func (pl *planner) leave(j int) {
	job := &pl.Jobs[j]
	g := pl.group(job.Site, job.By[pl.tasks[j].turn])
	if i := slices.Index(g.jobs, j); i >= 0 {
		g.jobs = slices.Delete(g.jobs, i, i+1)
		clear(g.known)
	}
}

func (pl *planner) group(site, person int) *group {
	at := site*len(pl.People) + person
	if pl.groups[at] == nil {
		pl.groups[at] = &group{site: site, person: person}
		pl.listed[person] = append(pl.listed[person], pl.groups[at])
	}
	return pl.groups[at]
}
