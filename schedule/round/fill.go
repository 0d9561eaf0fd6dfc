package round

import "slices"

// place plans the visit that a group must have by a day: on a day out that is
// there if that loses little, else on one of its own, and on any that has room if
// there is no other.
func (pl *planner) place(g *group, job, by int) bool {
	t := &pl.tasks[job]
	if t.late {
		return pl.fresh(g, job, by, by)
	}
	if pl.ride(g, job, by, pl.eager) || pl.fresh(g, job, max(0, t.first), pl.eve(g, max(0, t.first), by)) || pl.fresh(g, job, max(0, t.first), by) {
		return true
	}
	if pl.ride(g, job, by, never) {
		return true
	}
	by = pl.latest(g.person, &pl.Jobs[job], t.first, t.last)
	pl.loose = true
	ok := by >= 0 && (pl.ride(g, job, by, never) || pl.fresh(g, job, max(0, t.first), by))
	pl.loose = false
	return ok || pl.makeRoom(g, job)
}

// makeRoom plans a visit for a day that is full, from which another visit can
// move.
func (pl *planner) makeRoom(g *group, job int) bool {
	t, can := &pl.tasks[job], pl.reach(g.person, g.site).can
	for d := min(t.last, pl.days-1); d >= max(0, t.first); d-- {
		o := pl.out[g.person*pl.days+d]
		if o == nil || !can[d] {
			continue
		}
		if pl.unsteady(job, d) || pl.shut[g.person*pl.days+d] {
			continue
		}
		for _, v := range slices.Clone(o.ids) {
			if pl.visits[v].stuck == pl.changes || !pl.fitsFor(o, v, job, d) {
				continue
			}
			second, changes := pl.visits[v].with, pl.changes
			back, ok := pl.moveBest(v, never)
			if !ok {
				back, ok = pl.moveFresh(v)
			}
			switch {
			case !ok:
				pl.visits[v].stuck = changes
			case pl.tryOn(g, job, d):
				pl.beginAfter(v)
				return true
			default:
				pl.unmove(v, second, back)
				pl.changes = changes // all is as it was
			}
		}
	}
	return false
}

// fitsFor reports whether a day could have room for a job in place of one of its
// visits.
func (pl *planner) fitsFor(o *day, v, job, d int) bool {
	rest := &pl.trial
	rest.ways, rest.home, rest.hours, rest.sure = o.ways, o.home, o.hours, false
	rest.calls, rest.ids = append(rest.calls[:0], o.calls...), append(rest.ids[:0], o.ids...)
	return !rest.take(slices.Index(o.ids, v)) || rest.mayFit(pl.callFor(job, d))
}

// beginAfter begins again what comes next of the jobs that a visit does which has
// moved.
func (pl *planner) beginAfter(v int) {
	x := pl.visits[v]
	for i, j := range x.jobs {
		if first, last, comes := pl.Jobs[j].next(x.day); comes && x.again[i]+1 == len(pl.chain[j]) {
			if pl.tasks[j].on {
				pl.leave(j)
			}
			pl.begin(j, x.again[i]+1, first, last)
		}
	}
}

// fresh plans a visit for the latest day of a span that begins a new day out or,
// where that is the only day, is out already.
func (pl *planner) fresh(g *group, job, from, by int) bool {
	r := pl.reach(g.person, g.site)
	for d := by; d >= from; d-- {
		if d = int(r.prev[d]); d < from {
			return false
		}
		if (pl.out[g.person*pl.days+d] == nil || from == by) && pl.tryOn(g, job, d) {
			return true
		}
	}
	return false
}

// ride plans a visit for the best of the days on which its person is out
// already.
func (pl *planner) ride(g *group, job, by int, most float64) bool {
	r := pl.reach(g.person, g.site)
	type place struct {
		day  int
		cost float64
	}
	var places []place
	for d := max(0, pl.tasks[job].first); d <= by; d++ {
		o := pl.out[g.person*pl.days+d]
		if o == nil || !r.can[d] {
			continue
		}
		loss := pl.loss(g, d, by)
		if loss > most {
			continue
		}
		if _, cost, ok := o.room(pl.callFor(job, d)); ok {
			places = append(places, place{d, float64(cost) + visitWorth*loss})
		}
	}
	slices.SortStableFunc(places, func(a, b place) int {
		if a.cost < b.cost {
			return -1
		}
		return 1
	})
	for _, p := range places {
		if pl.tryOn(g, job, p.day) {
			return true
		}
	}
	return false
}

// visitWorth is what a whole visit more counts as, in minutes on the way.
const visitWorth = 40

// tryOn plans a visit of a group for a day if all that may be done or at least
// one job, which must be, fits.
func (pl *planner) tryOn(g *group, job, d int) bool {
	at := g.person*pl.days + d
	if pl.unsteady(job, d) || pl.along[at] > 0 || pl.shut[at] || pl.visitOn(g.person, g.site, d) >= 0 || !pl.tasks[job].due(d) {
		return false
	}
	if o := pl.out[at]; o != nil && !o.mayFit(pl.callFor(job, d)) {
		return false // what goes along need not be looked at
	}
	if !pl.roomForMore(g, job, d) {
		return pl.makeOne(g, job, d)
	}
	jobs, second, ok := pl.together(g, job, d)
	if !ok {
		return false
	}
	if !pl.make(g, jobs, second, d) && (len(jobs) == 1 || !pl.makeOne(g, job, d)) {
		return false
	}
	if o := pl.out[at]; len(o.ids) == 1 {
		pl.fill(g.person, d)
	}
	return true
}

// roomForMore reports whether a day could have room for the shortest of what may
// be done beside a job of the same group.
func (pl *planner) roomForMore(g *group, job, d int) bool {
	o := pl.out[g.person*pl.days+d]
	if o == nil {
		return true
	}
	least := never
	for _, j := range g.jobs {
		if j != job && pl.tasks[j].due(d) {
			least = min(least, pl.Jobs[j].Minutes)
		}
	}
	c := pl.callFor(job, d)
	c.stay += least
	return least < never && o.mayFit(c)
}

func (pl *planner) makeOne(g *group, job, d int) bool {
	s, ok := pl.second(g.person, d, []int{job})
	return ok && pl.make(g, []int{job}, s, d)
}

// together are the jobs that one visit of a group can do on a day, the one that
// must be done among them: as many as fit into a day of their own and as have
// one second for all.
func (pl *planner) together(g *group, job, d int) (jobs []int, second int, ok bool) {
	jobs = []int{job}
	if second, ok = pl.second(g.person, d, jobs); !ok {
		return nil, -1, false
	}
	minutes := pl.Sites[g.site].Climb + pl.Jobs[job].Minutes
	if !pl.alone(g.person, g.site, d, minutes) {
		return nil, -1, false
	}
	for _, j := range pl.open(g, d) {
		if j == job || pl.unsteady(j, d) || pl.waits(g, j, d) || !pl.alone(g.person, g.site, d, minutes+pl.Jobs[j].Minutes) {
			continue
		}
		if pl.named(j) {
			s, ok := pl.second(g.person, d, append(jobs, j))
			if !ok {
				continue
			}
			second = s
		}
		jobs, minutes = append(jobs, j), minutes+pl.Jobs[j].Minutes
	}
	return jobs, second, true
}

// make makes a visit if the day has room for it.
func (pl *planner) make(g *group, jobs []int, second, d int) bool {
	at := g.person*pl.days + d
	o := pl.out[at]
	if o == nil {
		o = pl.newDay(g.person, d)
	}
	v := visit{site: g.site, person: g.person, day: d, with: -1, stay: pl.Sites[g.site].Climb}
	for _, j := range jobs {
		v.stay += pl.Jobs[j].Minutes
	}
	hours := pl.opens(g.site, d)
	c := call{g.site, hours.From, hours.To, v.stay}
	if !o.fit(c, len(pl.visits)) {
		return false
	}
	pl.out[at] = o
	pl.visits = append(pl.visits, v)
	id := len(pl.visits) - 1
	pl.take(id, second)
	for _, j := range jobs {
		pl.leave(j)
		pl.do(id, j)
	}
	for _, j := range jobs {
		pl.goOn(j, d)
	}
	return true
}

// fit puts a call into the day where it costs least, in another order if need
// be, and reports whether there was room.
func (d *day) fit(c call, id int) bool {
	if at, _, ok := d.room(c); ok {
		d.put(at, c, id)
		return true
	}
	if len(d.calls) == 0 || d.spare() < c.stay {
		return false
	}
	d.put(len(d.calls), c, id)
	if d.loosen() {
		return true
	}
	d.take(len(d.calls) - 1)
	return false
}

// mayFit reports whether fit could find room for a call.
func (d *day) mayFit(c call) bool {
	_, _, ok := d.room(c)
	return ok || len(d.calls) > 0 && d.spare() >= c.stay
}

// spare is how many minutes of the day are neither work nor way.
func (d *day) spare() int {
	s := d.hours.To - d.hours.From - d.travel
	for _, c := range d.calls {
		s -= c.stay
	}
	return s
}

// fill fills a day out with what may be done then, the nearest and most pressing
// first.
func (pl *planner) fill(person, d int) {
	type offer struct {
		g    *group
		job  int
		loss float64
		by   int
	}
	var offers []offer
	for _, g := range pl.listed[person] {
		job, by := pl.press(g)
		if job < 0 || !pl.tasks[job].due(d) || !pl.reach(person, g.site).can[d] {
			continue
		}
		if loss := pl.loss(g, d, by); loss <= pl.eager {
			offers = append(offers, offer{g, job, loss, by})
		}
	}
	for len(offers) > 0 {
		best, least := -1, 0.0
		o := pl.out[person*pl.days+d]
		for i := 0; i < len(offers); i++ {
			x := offers[i]
			_, cost, ok := o.room(pl.callFor(x.job, d))
			if !ok {
				offers = slices.Delete(offers, i, i+1)
				i--
				continue
			}
			worth := float64(cost) + visitWorth*x.loss - visitWorth/(1+float64(max(0, x.by-d))/7)
			if best < 0 || worth < least {
				best, least = i, worth
			}
		}
		if best < 0 {
			return
		}
		x := offers[best]
		offers = slices.Delete(offers, best, best+1)
		pl.tryOn(x.g, x.job, d)
	}
}
