package round

import "slices"

// passes are how often all visits are looked at for a shorter way at most.
const passes = 4

// squeeze makes a plan that stands shorter: it empties days into others, moves
// visits to days on which they cost less way, and puts each day into its best
// order. No visit leaves the days on which all that it does may be done, and none
// that comes after has to move.
func (pl *planner) squeeze() {
	for i := range pl.visits {
		if pl.visits[i].hand {
			pl.trim(i)
		}
	}
	for range passes {
		moved := pl.emptyDays()
		for v := range pl.visits {
			moved = pl.nearer(v) || moved
		}
		for at, d := range pl.out {
			if d != nil && !pl.shut[at] {
				d.arrange()
			}
		}
		if !moved {
			return
		}
	}
}

// trim gives back the room that was kept at a visit kept by hand for jobs which
// are not done there.
func (pl *planner) trim(v int) {
	x := &pl.visits[v]
	x.stay = pl.Sites[x.site].Climb
	for _, j := range x.jobs {
		x.stay += pl.Jobs[j].Minutes
	}
	d := pl.out[x.person*pl.days+x.day]
	d.calls[slices.Index(d.ids, v)].stay = x.stay
	d.sure = false
	d.settle()
}

// window is when the occurrence of a job that a visit does may be done.
func (pl *planner) window(j, again int) (first, last int) {
	if again == 0 {
		return pl.Jobs[j].First, pl.Jobs[j].Last
	}
	first, last, _ = pl.Jobs[j].next(pl.visits[pl.chain[j][again-1]].day)
	return first, last
}

// free days are those to which a visit may move while all others stay: what it
// does stays in its windows, and so does what comes after. What is late moves no
// later. None: last is before first.
func (pl *planner) freeDays(v int) (first, last int) {
	x := &pl.visits[v]
	first, last = 0, pl.days-1
	if x.hand || pl.still[x.site] {
		return 0, -1
	}
	for i, j := range x.jobs {
		from, to := pl.window(j, x.again[i])
		first, last = max(first, from), min(last, max(to, x.day))
		job := &pl.Jobs[j]
		nextFirst, nextLast, comes := job.next(x.day)
		if !comes {
			continue
		}
		if after := x.again[i] + 1; after < len(pl.chain[j]) {
			d := pl.visits[pl.chain[j][after]].day
			if d > nextLast {
				return 0, -1
			}
			first, last = max(first, d-job.Every-job.Grace), min(last, d-1, d-job.Every+job.Lead)
		} else if nextFirst < pl.Until && nextLast < pl.Until {
			return 0, -1
		} else {
			first = max(first, pl.Until-job.Every-max(job.Grace, -job.Lead))
		}
	}
	return first, last
}

// undo is what a day was before it was changed.
type undo struct {
	at    int
	calls []call
	ids   []int
}

// move moves a visit to another day of its person if that has room, and gives
// back how to undo that.
func (pl *planner) move(v, to int) (back [2]undo, ok bool) {
	x := &pl.visits[v]
	from, base := x.day, x.person*pl.days
	if to == from || pl.along[base+to] > 0 || pl.shut[base+to] || !pl.reach(x.person, x.site).can[to] || pl.visitOn(x.person, x.site, to) >= 0 {
		return back, false
	}
	second, ok := pl.second(x.person, to, x.jobs)
	if !ok {
		return back, false
	}
	old, d := pl.out[base+from], pl.out[base+to]
	if d == nil {
		d = pl.newDay(x.person, to)
	}
	back = [2]undo{
		{base + from, slices.Clone(old.calls), slices.Clone(old.ids)},
		{base + to, slices.Clone(d.calls), slices.Clone(d.ids)},
	}
	if !d.fit(pl.call(v, to), v) {
		return back, false
	}
	if !old.take(slices.Index(old.ids, v)) && !old.arrange() {
		pl.restore(back[1])
		pl.restore(back[0])
		return back, false
	}
	pl.changes++
	pl.out[base+to] = d
	pl.take(v, -1)
	x.day = to
	pl.take(v, second)
	if len(old.ids) == 0 {
		pl.out[base+from] = nil
	}
	return back, true
}

func (pl *planner) restore(u undo) {
	if len(u.ids) == 0 {
		pl.out[u.at] = nil
		return
	}
	d := pl.out[u.at]
	if d == nil {
		d = pl.newDay(u.at/pl.days, u.at%pl.days)
		pl.out[u.at] = d
	}
	d.calls, d.ids, d.sure = u.calls, u.ids, false
	d.settle()
}

// unmove undoes a move from a day on which the visit had a second.
func (pl *planner) unmove(v, second int, back [2]undo) {
	pl.take(v, -1)
	pl.visits[v].day = back[0].at % pl.days
	pl.restore(back[1])
	pl.restore(back[0])
	pl.take(v, second)
}

// emptyDays moves all visits of a day to other days, the thinnest day first, and
// reports whether any day was emptied.
func (pl *planner) emptyDays() (any bool) {
	var thin []int
	for at, d := range pl.out {
		if d != nil && !pl.shut[at] {
			thin = append(thin, at)
		}
	}
	slices.SortStableFunc(thin, func(a, b int) int { return len(pl.out[a].ids) - len(pl.out[b].ids) })
	for _, at := range thin {
		if pl.out[at] != nil && pl.empty(at) {
			any = true
		}
	}
	return any
}

// empty moves all visits of one day to others, or none.
func (pl *planner) empty(at int) bool {
	type step struct {
		v, second int
		back      [2]undo
	}
	var steps []step
	for _, v := range slices.Clone(pl.out[at].ids) {
		second := pl.visits[v].with
		back, ok := pl.moveBest(v, never)
		if !ok {
			for _, s := range slices.Backward(steps) {
				pl.unmove(s.v, s.second, s.back)
			}
			return false
		}
		steps = append(steps, step{v, second, back})
	}
	return true
}

// moveBest moves a visit to the day on which it costs the least way, less than so
// much; of equal days to the later.
func (pl *planner) moveBest(v, most int) (back [2]undo, ok bool) {
	x := &pl.visits[v]
	first, last := pl.freeDays(v)
	best, tight := -1, -1
	can := pl.reach(x.person, x.site).can
	for to := last; to >= first; to-- {
		d := pl.out[x.person*pl.days+to]
		if d == nil || to == x.day || !can[to] {
			continue
		}
		if _, cost, ok := d.room(pl.call(v, to)); ok && cost < most {
			best, most = to, cost
		} else if !ok && tight < 0 && most == never && d.spare() >= x.stay {
			tight = to
		}
	}
	if best < 0 {
		best = tight
	}
	if best < 0 {
		return back, false
	}
	return pl.move(v, best)
}

// moveFresh moves a visit to a day on which its person was not out yet, the
// latest that can be.
func (pl *planner) moveFresh(v int) (back [2]undo, ok bool) {
	x := &pl.visits[v]
	first, last := pl.freeDays(v)
	r := pl.reach(x.person, x.site)
	for to := last; to >= first; to-- {
		if to = int(r.prev[to]); to < first {
			break
		}
		if pl.out[x.person*pl.days+to] == nil {
			if back, ok = pl.move(v, to); ok {
				return back, true
			}
		}
	}
	return back, false
}

// nearer moves a visit to a day on which it costs less way than where it is.
func (pl *planner) nearer(v int) bool {
	x := &pl.visits[v]
	if x.hand {
		return false
	}
	d := pl.out[x.person*pl.days+x.day]
	i := slices.Index(d.ids, v)
	a, b := d.place(i-1), d.place(i+1)
	saved := d.ways.leg(a, x.site) + d.ways.leg(x.site, b)
	if len(d.ids) > 1 {
		saved -= d.ways.leg(a, b)
	}
	_, ok := pl.moveBest(v, min(saved, never-1))
	return ok
}
