package round

import (
	"cmp"
	"slices"
)

// visit is one stop as it is planned.
type visit struct {
	site, person, day int
	jobs              []int // what is done
	again             []int // which occurrence of each
	stay              int
	with              int // the second person; -1: none
	hand              bool
	stuck             int // at which count of changes it could not move
}

// planner is a plan in the making. Visits come about in the order in which they
// press; a day that has begun is filled with what is near and may be done.
type planner struct {
	Problem
	ways     ways
	days     int // that anybody could be out on
	bars     map[mark]bool
	reaches  []*reach   // by site, person
	steadies [][]steady // by job, turn of Job.By
	out      []*day     // by person, day: their own round
	along    []int      // by person, day: of how many visits they are the second
	beside   []int      // by person, day: whose visits those are
	shut     []bool     // by person, day: nothing beside what was kept by hand fits
	still    []bool     // by site: a visit was kept by hand there, so that none moves
	visits   []visit    // those kept by hand first
	byHand   int        // how many of them
	tasks    []task     // by job
	chain    [][]int    // by job: the visit of each occurrence
	groups   []*group   // by site, person
	listed   [][]*group // by person
	eager    float64    // how much of a visit may be lost to fill a day
	loose    bool       // what is done now need not come again in time
	changes  int        // of the visits so far, from 1 on
	trial    day
	scratch  []int
	left     []stretch
}

// eagernesses are what a plan is tried with; the best of the plans is taken.
var eagernesses = []float64{0.1, 0.3, 0.6, 1}

// Plan plans the days of a problem. It does what cannot be done in time as soon
// as it can be, and says so.
//
// Two things are exact: a day of up to nine stops has the order with the least way
// of all that hold, and a site whose jobs do not come again is visited as seldom as
// can be, were each visit free to be on any day. The rest is near the best: which
// visits share a day, which person goes, a day of more stops, and jobs that come
// again. Of 428 small problems, held to the best of all plans in the tests, one has a
// day too many, and the ways of the others are 0.8 % longer than the shortest.
//
// A window that ends before it begins ends where it begins, marks that name what is
// not there are passed over, and minutes on the way that were begun count whole.
func Plan(p Problem) Result {
	c := clean(p)
	var best *planner
	for _, e := range eagernesses {
		pl := newPlanner(c, e, best)
		pl.fillAll()
		pl.squeeze()
		if best == nil || pl.better(best) {
			best = pl
		}
	}
	best.polish()
	return best.result(p.From)
}

func newPlanner(c Problem, eager float64, known *planner) *planner {
	pl := &planner{Problem: c, eager: eager, bars: map[mark]bool{}, changes: 1}
	for _, q := range c.People {
		pl.days = max(pl.days, len(q.Goes))
	}
	for _, f := range c.Fixed {
		pl.days = max(pl.days, f.Day+1)
	}
	pl.days = min(pl.days, c.Until)
	pl.ways = newWays(c.Travel, len(c.Sites))
	for _, b := range c.Barred {
		pl.bars[mark{b.Site, b.Person, b.Day}] = true
	}
	cells := len(c.People) * pl.days
	pl.out, pl.along, pl.beside, pl.shut = make([]*day, cells), make([]int, cells), make([]int, cells), make([]bool, cells)
	pl.still = make([]bool, len(c.Sites))
	pairs := len(c.Sites) * len(c.People)
	pl.groups, pl.listed = make([]*group, pairs), make([][]*group, len(c.People))
	if pl.reaches, pl.steadies = make([]*reach, pairs), make([][]steady, len(c.Jobs)); known != nil {
		pl.reaches, pl.steadies = known.reaches, known.steadies
	}
	pl.tasks, pl.chain = make([]task, len(c.Jobs)), make([][]int, len(c.Jobs))
	pl.setByHand()
	for j, job := range c.Jobs {
		pl.begin(j, 0, job.First, job.Last)
	}
	return pl
}

// setByHand makes the visits that were kept by hand. Room is kept for all that
// could be done at each; where that does not fit, nothing is added to its day.
func (pl *planner) setByHand() {
	for _, f := range pl.Fixed {
		v := visit{site: f.Site, person: f.Person, day: f.Day, with: -1, hand: true, stay: pl.Sites[f.Site].Climb}
		for _, j := range pl.Jobs {
			if j.Site == f.Site && contains(j.By, f.Person) {
				v.stay += j.Minutes
			}
		}
		pl.still[f.Site] = true
		pl.visits = append(pl.visits, v)
		at := f.Person*pl.days + f.Day
		if pl.out[at] == nil {
			pl.out[at] = pl.newDay(f.Person, f.Day)
		}
		d := pl.out[at]
		d.put(len(d.ids), pl.call(len(pl.visits)-1, f.Day), len(pl.visits)-1)
	}
	pl.byHand = len(pl.visits)
	for at, d := range pl.out {
		if d != nil {
			pl.shut[at] = !d.hours.open() || !d.arrange()
		}
	}
}

func (pl *planner) newDay(person, d int) *day {
	return &day{ways: pl.ways, home: pl.People[person].Home, hours: pl.goes(person, d)}
}

// call is a visit as the order of a day sees it.
func (pl *planner) call(v, d int) call {
	x := &pl.visits[v]
	o := pl.opens(x.site, d)
	return call{x.site, o.From, o.To, x.stay}
}

// callFor is a visit for one job alone as the order of a day sees it.
func (pl *planner) callFor(j, d int) call {
	job := &pl.Jobs[j]
	o := pl.opens(job.Site, d)
	return call{job.Site, o.From, o.To, pl.Sites[job.Site].Climb + job.Minutes}
}

// do notes that a visit does the task of a job.
func (pl *planner) do(v, j int) {
	x := &pl.visits[v]
	pl.changes++
	x.jobs, x.again = append(x.jobs, j), append(x.again, pl.tasks[j].again)
	pl.chain[j] = append(pl.chain[j], v)
	pl.tasks[j].on = false
	if x.hand && pl.named(j) && (x.with < 0 || !contains(pl.Jobs[j].With, x.with)) {
		pl.take(v, -1)
		s, _ := pl.second(x.person, x.day, x.jobs)
		pl.take(v, s)
	}
}

// take makes somebody the second of a visit; -1: nobody.
func (pl *planner) take(v, s int) {
	x := &pl.visits[v]
	if x.with >= 0 {
		pl.along[x.with*pl.days+x.day]--
	}
	if x.with = s; s >= 0 {
		pl.along[s*pl.days+x.day]++
		pl.beside[s*pl.days+x.day] = x.person
	}
}

// fillAll plans what presses most until nothing presses.
func (pl *planner) fillAll() {
	for {
		var most *group
		job, by := -1, never
		for _, groups := range pl.listed {
			for _, g := range groups {
				if j, b := pl.press(g); j >= 0 && (b < by || b == by && pl.narrower(j, job)) {
					most, job, by = g, j, b
				}
			}
		}
		if most == nil {
			return
		}
		if !pl.place(most, job, by) {
			pl.giveOn(job)
		}
	}
}

// narrower reports whether a job that presses as much as another has fewer days
// or, with as many, fewer people to be done.
func (pl *planner) narrower(j, than int) bool {
	a, b := max(0, pl.tasks[j].first), max(0, pl.tasks[than].first)
	return a > b || a == b && len(pl.Jobs[j].By) < len(pl.Jobs[than].By)
}

// giveOn gives a task that its person cannot do in time to the next who can, and
// if there is none plans it for as soon as anybody can.
func (pl *planner) giveOn(j int) {
	job, t := &pl.Jobs[j], &pl.tasks[j]
	pl.leave(j)
	for i := t.turn + 1; i < len(job.By) && !t.late; i++ {
		if d := pl.best(j, i, t.first, t.last); d >= 0 {
			t.turn, t.hi = i, d
			pl.join(j)
			return
		}
	}
	t.late, t.on = true, true
	for d := max(0, t.first, t.last+1); d < pl.days; d++ {
		for i, q := range job.By {
			if t.turn = i; pl.placeLate(j, q, d) {
				return
			}
		}
	}
	t.on = false
}

// placeLate does a late task on a day, at a visit that is there or at a new one.
func (pl *planner) placeLate(j, person, d int) bool {
	if v := pl.visitOn(person, pl.Jobs[j].Site, d); v >= 0 {
		return pl.add(v, j)
	}
	if !pl.reach(person, pl.Jobs[j].Site).can[d] {
		return false
	}
	if o := pl.out[person*pl.days+d]; o != nil && !o.mayFit(pl.callFor(j, d)) {
		return false
	}
	g := pl.group(pl.Jobs[j].Site, person)
	pl.join(j)
	if pl.tryOn(g, j, d) {
		return true
	}
	pl.leave(j)
	return false
}

// add does one more task at a visit that is there, if its day has room.
func (pl *planner) add(v, j int) bool {
	if !pl.visits[v].hand && !pl.lengthen(v, j) {
		return false
	}
	pl.do(v, j)
	pl.goOn(j, pl.visits[v].day)
	return true
}

// lengthen makes room for one more job at a visit.
func (pl *planner) lengthen(v, j int) bool {
	x := &pl.visits[v]
	had := x.with
	if pl.named(j) {
		pl.take(v, -1)
		s, ok := pl.second(x.person, x.day, append(slices.Clone(x.jobs), j))
		if !ok {
			pl.take(v, had)
			return false
		}
		pl.take(v, s)
	}
	d := pl.out[x.person*pl.days+x.day]
	if d.spare() < pl.Jobs[j].Minutes {
		pl.take(v, had)
		return false
	}
	d.sure = false
	d.calls[slices.Index(d.ids, v)].stay += pl.Jobs[j].Minutes
	if d.settle() || d.arrange() {
		x.stay += pl.Jobs[j].Minutes
		pl.changes++
		return true
	}
	d.calls[slices.Index(d.ids, v)].stay -= pl.Jobs[j].Minutes
	d.settle()
	pl.take(v, had)
	return false
}

// goOn begins the next occurrence of a job that was planned for a day.
func (pl *planner) goOn(j, day int) {
	if first, last, comes := pl.Jobs[j].next(day); comes {
		pl.begin(j, pl.tasks[j].again+1, first, last)
	}
}

// visitOn is the visit of a person to a site on a day; -1: none.
func (pl *planner) visitOn(person, site, d int) int {
	if o := pl.out[person*pl.days+d]; o != nil {
		for _, v := range o.ids {
			if pl.visits[v].site == site {
				return v
			}
		}
	}
	return -1
}

// better reports whether a plan is better than another: more of it in time, then
// fewer days, then less time on the way and at the door.
func (pl *planner) better(than *planner) bool {
	a, b := pl.worth(), than.worth()
	return slices.Compare(a[:], b[:]) < 0
}

// doorstep is what one more stop counts as, in minutes on the way.
const doorstep = 15

func (pl *planner) worth() [4]int {
	var w [4]int
	for j, job := range pl.Jobs {
		first, last := job.First, job.Last
		for _, v := range pl.chain[j] {
			if day := pl.visits[v].day; day > last {
				w[1]++
				w[3] += 10 * min(day-max(last, 0), 1000)
			}
			first, last, _ = job.next(pl.visits[v].day)
		}
		if _, _, comes := job.next(0); last < pl.Until && first < pl.Until && (comes || len(pl.chain[j]) == 0) {
			w[0]++
		}
	}
	for _, d := range pl.out {
		if d != nil {
			w[2]++
			w[3] += d.travel + doorstep*len(d.ids)
		}
	}
	return w
}

// byWindow is the order of what is done at a stop.
func byWindow(a, b Work) int {
	return cmp.Or(cmp.Compare(a.Last, b.Last), cmp.Compare(a.First, b.First), cmp.Compare(a.Job, b.Job))
}
