package round

import "slices"

// polish goes on where a squeezed plan has no more room to move one visit at a
// time: it lets visits of two days change places, and squeezes again.
func (pl *planner) polish() {
	for range passes {
		swapped := false
		for v := range pl.visits {
			swapped = pl.swapBest(v) || swapped
		}
		if !swapped {
			return
		}
		pl.squeeze()
	}
}

// without is a day less one of its visits, for trial; nil if that does not hold.
func (d *day) without(v int) *day {
	i := slices.Index(d.ids, v)
	c := &day{ways: d.ways, home: d.home, hours: d.hours, calls: slices.Clone(d.calls), ids: slices.Clone(d.ids)}
	if i < 0 || !c.take(i) {
		return nil
	}
	return c
}

// swappable reports whether a visit may change places at all.
func (pl *planner) swappable(v int) bool { return !pl.visits[v].hand && pl.visits[v].with < 0 }

// swapBest lets a visit change places with the one of another day of its person
// that saves most way, and reports whether any does.
func (pl *planner) swapBest(v int) bool {
	x := &pl.visits[v]
	first, last := pl.freeDays(v)
	if !pl.swappable(v) || first > last {
		return false
	}
	base := x.person * pl.days
	here := pl.out[base+x.day]
	rest := here.without(v)
	if rest == nil {
		return false
	}
	can := pl.reach(x.person, x.site).can
	with, most := -1, 0
	for to := last; to >= first; to-- {
		there := pl.out[base+to]
		if there == nil || there == here || !can[to] || pl.shut[base+to] || pl.visitOn(x.person, x.site, to) >= 0 {
			continue
		}
		for _, w := range there.ids {
			if saved := pl.saves(here, rest, there, v, w); saved > most {
				with, most = w, saved
			}
		}
	}
	return with >= 0 && pl.swapVisits(v, with)
}

// saves is how much way it saves to swap two visits; 0: it saves none, or may not
// be.
func (pl *planner) saves(here, rest, there *day, v, w int) int {
	x, y := &pl.visits[v], &pl.visits[w]
	if !pl.swappable(w) || !pl.reach(y.person, y.site).can[x.day] {
		return 0
	}
	other := there.without(w)
	if other == nil {
		return 0
	}
	_, cost, ok := other.room(pl.call(v, y.day))
	gain := here.travel - rest.travel + there.travel - other.travel - cost
	if !ok || gain <= 0 {
		return 0
	}
	_, cost, ok = rest.room(pl.call(w, x.day))
	if gain -= cost; !ok || gain <= 0 {
		return 0
	}
	first, last := pl.freeDays(w)
	if x.day < first || x.day > last || pl.visitOn(y.person, y.site, x.day) >= 0 {
		return 0
	}
	return gain
}

// swapVisits lets two visits of two days change places.
func (pl *planner) swapVisits(v, w int) bool {
	x, y := &pl.visits[v], &pl.visits[w]
	base := x.person * pl.days
	a, b := pl.out[base+x.day].without(v), pl.out[base+y.day].without(w)
	c, e := pl.call(w, x.day), pl.call(v, y.day)
	i, _, ok := a.room(c)
	k, _, fits := b.room(e)
	if !ok || !fits {
		return false
	}
	a.put(i, c, w)
	b.put(k, e, v)
	pl.out[base+x.day], pl.out[base+y.day] = a, b
	x.day, y.day = y.day, x.day
	return true
}
