package round

import (
	"cmp"
	"math"
	"slices"
)

// result is the plan in the days of the problem as it was given.
func (pl *planner) result(from int) Result {
	var r Result
	works := pl.works()
	for person := range pl.People {
		for d := range pl.days {
			if o := pl.out[person*pl.days+d]; o != nil && len(o.ids) > 0 {
				r.Days = append(r.Days, pl.written(o, person, d, works, from))
			}
		}
	}
	slices.SortFunc(r.Days, byDay)
	r.Unmet = pl.unmet(from)
	return r
}

// works are what each visit does, with the windows that came out.
func (pl *planner) works() [][]Work {
	works := make([][]Work, len(pl.visits))
	for j, job := range pl.Jobs {
		first, last := job.First, job.Last
		for again, v := range pl.chain[j] {
			works[v] = append(works[v], Work{Job: j, First: first, Last: last, Again: again})
			first, last, _ = job.next(pl.visits[v].day)
		}
	}
	for _, w := range works {
		slices.SortFunc(w, byWindow)
	}
	return works
}

// written is one day of the result.
func (pl *planner) written(o *day, person, d int, works [][]Work, from int) Day {
	out := Day{Person: person, Day: d + from}
	o.sure = false
	for i := range o.calls {
		x := &pl.visits[o.ids[i]]
		o.calls[i].stay = pl.Sites[x.site].Climb
		for _, j := range x.jobs {
			o.calls[i].stay += pl.Jobs[j].Minutes
		}
	}
	if !o.hours.open() || !o.settle() && !o.arrange() {
		o.force()
	}
	leave, begin, back := o.times()
	out.Leave, out.Back = leave, back
	for i, v := range o.ids {
		x := &pl.visits[v]
		s := Stop{Site: x.site, Arrive: begin[i], Leave: begin[i] + o.calls[i].stay, Second: x.with, Fixed: x.hand, Binding: -1}
		for _, w := range works[v] {
			s.Work = append(s.Work, Work{w.Job, w.First + from, w.Last + from, w.Again})
			s.Two = s.Two || pl.Jobs[w.Job].Two
		}
		s.First, s.Last = pl.span(works[v], d)
		s.First, s.Last = s.First+from, s.Last+from
		if len(s.Work) > 0 {
			s.Binding = 0
		}
		out.Stops = append(out.Stops, s)
		out.Travel += pl.minutes(o.place(i-1), o.place(i))
	}
	out.Travel += pl.minutes(o.place(len(o.ids)-1), o.home)
	return out
}

// span are the days about d on which all of the work may be done.
func (pl *planner) span(works []Work, d int) (first, last int) {
	if len(works) == 0 {
		return d, d
	}
	first, last = works[0].First, works[0].Last
	for _, w := range works {
		first, last = max(first, w.First), min(last, w.Last)
	}
	return min(first, d), max(last, d)
}

// minutes are those on the way as they were given; where there is no way, none.
func (pl *planner) minutes(a, b int) float64 {
	if a == b || a >= len(pl.Travel) || b >= len(pl.Travel[a]) {
		return 0
	}
	if m := pl.Travel[a][b]; m > 0 && !math.IsInf(m, 1) {
		return m
	}
	return 0
}

// dayBreak is when somebody leaves who has no hours on a day that was set by
// hand, in minutes since midnight.
const dayBreak = 8 * 60

// force gives a day that was kept by hand times though they do not hold: sites
// that shut are not minded, and where there is no way it takes no time.
func (d *day) force() {
	w := ways{n: d.ways.n, min: slices.Clone(d.ways.min)}
	for i, m := range w.min {
		if m >= never {
			w.min[i] = 0
		}
	}
	d.ways, d.sure = w, false
	if !d.hours.open() {
		d.hours.From = dayBreak
	}
	d.hours.To = never
	for i := range d.calls {
		c := &d.calls[i]
		if c.shut <= c.open || c.open > 24*60 {
			c.open = 0
		}
		c.shut = never
	}
	d.arrange()
}

// unmet are the occurrences that no visit does in their window.
func (pl *planner) unmet(from int) []Unmet {
	var all []Unmet
	for j := range pl.Jobs {
		job := &pl.Jobs[j]
		first, last, comes := job.First, job.Last, true
		for again, v := range pl.chain[j] {
			d := pl.visits[v].day
			if last >= 0 && d > last {
				all = append(all, Unmet{Work{j, first + from, last + from, again}, pl.why(job, first, last), d + from})
			}
			first, last, comes = job.next(d)
		}
		if !comes || first >= pl.Until || last >= pl.Until {
			continue
		}
		u := Unmet{Work{j, first + from, last + from, len(pl.chain[j])}, pl.why(job, first, last), -1}
		if last < 0 {
			u.Why = pl.why(job, 0, pl.days-1)
		}
		all = append(all, u)
	}
	slices.SortStableFunc(all, func(a, b Unmet) int { return cmp.Compare(a.Last, b.Last) })
	return all
}
