package web

import (
	"cmp"
	"slices"

	"endshake/schedule"
)

// taskAt is a task of a deck; far: it begins beyond what the due-list looks ahead.
type taskAt struct {
	clock, task int32
	far         bool
}

func (d *deck) task(at taskAt) *schedule.Task { return &d.snap.Clocks[at.clock].Tasks[at.task] }

func (d *deck) tasksPress(x, y taskAt) int { return schedule.Pressing(d.task(x), d.task(y)) }

// due are the tasks of all clocks, the most pressing first.
func (d *deck) due() []taskAt {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.tasks == nil {
		d.tasks = d.dueOf(func(int) bool { return true })
	}
	return d.tasks
}

// dueOf are those of some clocks.
func (d *deck) dueOf(want func(clock int) bool) []taskAt {
	out := []taskAt{}
	for i := range d.snap.Clocks {
		if !want(i) {
			continue
		}
		a := zoned(d.snap.Clocks[i])
		today := schedule.DateOf(a.Now, a.Zone)
		for k := range a.Tasks {
			t := &a.Tasks[k]
			out = append(out, taskAt{int32(i), int32(k), t.State == schedule.Ahead && t.From.Sub(today) > daysAhead})
		}
	}
	slices.SortStableFunc(out, d.tasksPress)
	return out
}

// takeDue takes over the due-list of an earlier deck of the same clocks, but for
// those whose answer is another.
func (d *deck) takeDue(before *deck) {
	same := func(i int) bool { return d.lines[i] == before.lines[i] }
	changed := d.dueOf(func(i int) bool { return !same(i) })
	d.tasks = make([]taskAt, 0, len(before.tasks)+len(changed))
	for _, at := range before.tasks {
		if !same(int(at.clock)) {
			continue
		}
		for len(changed) > 0 && d.tasksPress(changed[0], at) < 0 {
			d.tasks, changed = append(d.tasks, changed[0]), changed[1:]
		}
		d.tasks = append(d.tasks, at)
	}
	d.tasks = append(d.tasks, changed...)
}

// siftTasks gives the tasks that an address asks for, the most pressing first.
func (rd *onlooker) siftTasks(f *sieve) []taskAt {
	let := make([]bool, len(rd.lines))
	for i := range let {
		let[i] = f.lets(rd, i)
	}
	var out []taskAt
	for _, at := range rd.due() {
		if at.far || !let[at.clock] {
			continue
		}
		t := rd.task(at)
		if f.Kind != "" && string(t.Kind) != f.Kind || !inState(&rd.snap.Clocks[at.clock], t, f.State) || !f.does(rd.lines[at.clock], t) {
			continue
		}
		out = append(out, at)
	}
	return out
}

// does reports whether a task is for one of those asked for: it is given to
// them, or to nobody on a clock of theirs.
func (f *sieve) does(l *clockLine, t *schedule.Task) bool {
	if f.people == nil {
		return true
	}
	if len(t.People) == 0 {
		return f.keeps(l)
	}
	return slices.ContainsFunc(t.People, func(p string) bool { return f.people[p] })
}

// placeByPlace puts tasks under their places, by name; at each the most pressing
// stays first.
func (rd *onlooker) placeByPlace(found []taskAt) []taskAt {
	at := map[string][]taskAt{}
	name := map[string]string{}
	for _, t := range found {
		site := rd.snap.Clocks[t.clock].Clock.Site
		at[site] = append(at[site], t)
		name[site] = rd.lines[t.clock].place
	}
	var sites []string
	for site := range at {
		sites = append(sites, site)
	}
	slices.SortFunc(sites, func(a, b string) int { return cmp.Or(cmp.Compare(name[a], name[b]), cmp.Compare(a, b)) })
	out := make([]taskAt, 0, len(found))
	for _, site := range sites {
		out = append(out, at[site]...)
	}
	return out
}
