package schedule

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"endshake/schedule/round"
)

// told turns a plan back into days, sites, people and tasks, each with its reason.
func (r *rounding) told(plan round.Result) Rounds {
	out := Rounds{From: r.from, Until: r.until.Add(-1), Days: []RoundDay{}, Unmet: []UnmetTask{}, left: r.left}
	done := map[int]Date{} // by job: the day on which it is done last
	for _, d := range plan.Days {
		day := r.day(d, done)
		if r.ask.Person == "" || r.ask.Person == day.Person {
			out.Days = append(out.Days, day)
		}
	}
	for _, u := range plan.Unmet {
		t := r.unmet(u)
		if r.ask.Person == "" || slices.Contains(t.People, r.ask.Person) {
			out.Unmet = append(out.Unmet, t)
		}
	}
	slices.SortStableFunc(out.Unmet, func(a, b UnmetTask) int { return cmp.Or(a.Latest.compare(b.Latest), cmp.Compare(a.Clock, b.Clock)) })
	if p := r.ask.Person; p != "" && !r.goes(p) {
		name := r.s.nameOf(p)
		out.none = fmt.Sprintf("%s goes on no rounds, so no day is planned for them: say on the page of %s on which days of the week they go.", name, name)
		r.note(out.none)
	}
	out.taken = r.notes
	return out
}

// Ahead is the part of a plan that lies in its first months, from 1 to 12; 0: 3.
func (r Rounds) Ahead(months int) Rounds {
	last := r.From.monthsOn(months).Add(-1)
	if !last.Before(r.Until) {
		last = r.Until
	}
	out := r
	out.Until, out.Days, out.Unmet = last, []RoundDay{}, []UnmetTask{}
	for _, d := range r.Days {
		if !d.Day.After(last) {
			out.Days = append(out.Days, d)
		}
	}
	for _, u := range r.Unmet {
		if !u.Latest.After(last) {
			out.Unmet = append(out.Unmet, u)
		}
	}
	if r.left != nil {
		out.Winds, out.Notes = r.leftBy(Winding, last), append([]string{}, r.taken...)
		if near := r.nearbyWords(last); near != "" {
			out.Notes = append(out.Notes, near)
		}
	}
	return out
}

// leftBy counts the tasks of a kind that are left to those who live near, up to a day.
func (r Rounds) leftBy(kind TaskKind, last Date) (n int) {
	for _, day := range r.left[kind] {
		if day <= last.number() {
			n++
		}
	}
	return n
}

// nearbyWords say what is left to those who live near, up to a day; empty: nothing.
func (r Rounds) nearbyWords(last Date) string {
	words := map[TaskKind][2]string{
		Winding: {"wind", "winds"}, TimeChange: {"time change", "time changes"}, Setting: {"setting", "settings"},
		PowerCheck: {"look after a power cut", "looks after a power cut"},
	}
	var parts []string
	for _, kind := range nearby {
		if n := r.leftBy(kind, last); n > 0 {
			parts = append(parts, Count(n, words[kind][0], words[kind][1]))
		}
	}
	if len(parts) == 0 {
		return ""
	}
	return "Left to those who live near: " + And(parts) + ". Such work goes into the plan where the first person named for it goes on rounds."
}

// day is one person's round.
func (r *rounding) day(d round.Day, done map[int]Date) RoundDay {
	out := RoundDay{Person: r.people[d.Person].Slug, Day: dayOfNumber(d.Day), Leave: Minutes(d.Leave), Back: Minutes(d.Back), Travel: math.Round(d.Travel)}
	for _, s := range d.Stops {
		stop := RoundStop{
			Site: r.sites[s.Site].Slug, Arrive: Minutes(s.Arrive), Leave: Minutes(s.Leave), Two: s.Two,
			First: dayOfNumber(s.First), Last: dayOfNumber(s.Last), Set: s.Fixed,
		}
		if s.Two && s.Second >= 0 {
			stop.Second = r.people[s.Second].Slug
		}
		for _, w := range s.Work {
			stop.Tasks = append(stop.Tasks, r.taskOf(w, done[w.Job]))
			done[w.Job] = out.Day
		}
		if s.Fixed {
			stop.Against = r.against(d, out, s, stop)
		}
		stop.Why = r.whyStop(out, s, stop, len(d.Stops) > 1)
		out.Stops = append(out.Stops, stop)
	}
	out.Km = r.kmOf(d)
	out.Why = r.whyDay(d, out)
	return out
}

// kmOf is the length of a day's way; 0: not known.
func (r *rounding) kmOf(d round.Day) float64 {
	at, sum := r.p.People[d.Person].Home, 0.0
	for i := 0; i <= len(d.Stops); i++ {
		to := r.p.People[d.Person].Home
		if i < len(d.Stops) {
			to = d.Stops[i].Site
		}
		if r.km[at][to] < 0 {
			return 0
		}
		sum += r.km[at][to]
		at = to
	}
	return sum
}

// taskOf is one occurrence of a task.
func (r *rounding) taskOf(w round.Work, before Date) RoundTask {
	j := &r.jobs[w.Job]
	t := RoundTask{Task: j.t, Again: j.again || w.Again > 0, Kept: j.kept && w.Again == 0}
	if w.Again > 0 {
		first, latest := dayOfNumber(w.First), dayOfNumber(w.Last)
		reason := everyAgain(j.every)
		if !before.IsZero() {
			reason += ", planned for " + before.Words()
		}
		t.Task = t.on(first, latest.Add(-j.grace), latest, reason)
	}
	return t
}

// everyAgain says when what was done falls due again.
func everyAgain(days int) string { return spanOfDays(days) + " after it is done" }

// unmet is a task that is not done in time.
func (r *rounding) unmet(u round.Unmet) UnmetTask {
	t := UnmetTask{Task: r.taskOf(u.Work, Date{}).Task}
	if u.Day >= 0 {
		t.Day = dayOfNumber(u.Day)
	}
	t.Why = r.whyUnmet(u, t)
	return t
}
