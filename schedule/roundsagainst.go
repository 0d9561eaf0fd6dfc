package schedule

import (
	"fmt"
	"slices"

	"endshake/schedule/round"
)

// against says what speaks against a visit that was kept by hand: its site, its person,
// or who is to come along.
func (r *rounding) against(d round.Day, day RoundDay, s round.Stop, stop RoundStop) (out []string) {
	site, who := r.sites[s.Site], r.people[d.Person]
	from, to, why := site.Reach.On(day.Day)
	switch {
	case to <= from:
		out = append(out, fmt.Sprintf("%s is %s: ask whether they let you in.", site.Name, why))
	case stop.Arrive < from || stop.Leave > to:
		out = append(out, fmt.Sprintf("%s lets people in from %s to %s: ask whether they let you in then, or have less on this day.", site.Name, from, to))
	}
	if ahead := site.Reach.Notice; day.Day.Before(r.from.Add(ahead)) {
		out = append(out, fmt.Sprintf("A visit to %s is arranged %s ahead: ask whether they let you in sooner.", site.Name, Count(ahead, "day", "days")))
	}
	const instead = "have the visit on another day, or made by somebody else."
	from, to, why = who.Going.On(day.Day)
	switch {
	case slices.ContainsFunc(who.Going.Away, func(a Span) bool { return a.Holds(day.Day) }): // why is theirs
		out = append(out, who.Name+" is away: "+instead)
	case to <= from:
		out = append(out, fmt.Sprintf("%s is %s: %s", who.Name, why, instead))
	case day.Leave < from || day.Back > to:
		out = append(out, fmt.Sprintf("%s is out from %s to %s, and this day takes longer: have less on it.", who.Name, from, to))
	}
	if s.Two && s.Second < 0 && slices.ContainsFunc(s.Work, func(w round.Work) bool { return len(r.p.Jobs[w.Job].With) > 0 }) {
		out = append(out, "It takes two, and nobody who could come along is free: ask somebody, or have the visit on another day.")
	}
	return out
}

// ahead says what has to be seen to before a visit: the part, and leave to come.
func (r *rounding) ahead(day Date, stop RoundStop) (out []string) {
	if slices.ContainsFunc(stop.Tasks, func(t RoundTask) bool { return t.Kind == LineAge || t.Kind == NearLimit }) {
		out = append(out, "Have the part in hand first.")
	}
	site, _ := r.s.Fleet.Site(stop.Site)
	by := day.Add(-site.Reach.Notice)
	switch {
	case site.Reach.Notice == 0 || by.Before(r.from):
	case stop.Set:
		out = append(out, "Arrange it by "+by.Words()+".")
	default:
		out = append(out, "Arrange it by "+by.Words()+", and keep it then: until it is kept it moves on.")
	}
	return out
}
