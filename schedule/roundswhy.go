package schedule

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"endshake/schedule/round"
)

// at says a task with its clock: "oiling of the going train at Corn Hall".
func (r *rounding) at(t *Task) string {
	name := t.Clock
	if c, ok := r.s.Fleet.Clock(t.Clock); ok {
		name = c.Name
	}
	return t.What() + " at " + name
}

// whyStop says why a visit is on its day: what ties it, what goes along, and on
// which days it could be. Shared says that other sites are visited that day.
func (r *rounding) whyStop(d RoundDay, s round.Stop, stop RoundStop, shared bool) string {
	var out []string
	if s.Fixed {
		by := "Kept by hand."
		if m, ok := r.mark(stop.Site, d.Person, d.Day); ok {
			by = "Kept by hand by " + r.s.nameOf(m.By) + inBrackets(m.Why) + "."
		}
		out = append(out, by)
	}
	if len(stop.Tasks) == 0 {
		return strings.Join(append(out, "Nothing is left to do here: lift it."), " ")
	}
	ties := min(max(s.Binding, 0), len(stop.Tasks)-1)
	out = append(out, r.keptWords(stop.Tasks, d.Day)...)
	if t := &stop.Tasks[ties]; !t.Kept || t.Past != "" {
		out = append(out, r.tie(t, d.Day))
	}
	if along := r.along(stop.Tasks, ties); along != "" {
		out = append(out, along)
	}
	switch {
	case s.Fixed || stop.Tasks[ties].Latest.Before(d.Day):
	case stop.First == stop.Last:
		out = append(out, "No other day would do for all of it.")
	case stop.First.Before(stop.Last):
		out = append(out, fmt.Sprintf("Any day from %s to %s would do for all of it%s.", stop.First.Words(), stop.Last.Words(),
			map[bool]string{true: "; on this one other sites are visited too"}[shared]))
	}
	out = append(out, r.ahead(d.Day, stop)...)
	return strings.Join(out, " ")
}

// tie says what a visit must serve by when.
func (r *rounding) tie(t *RoundTask, day Date) string {
	what := Capital(r.at(&t.Task))
	switch {
	case t.Past != "":
		return what + ": " + t.Past + "."
	case t.Latest.Before(r.from):
		return fmt.Sprintf("%s is late since %s.", what, t.Latest.Words())
	case t.Latest.Before(day):
		return fmt.Sprintf("%s has its last good day on %s: no day before this one could be found.", what, t.Latest.Words())
	case t.Latest == day:
		return fmt.Sprintf("%s must be done by this day.", what)
	}
	return fmt.Sprintf("%s must be done by %s.", what, t.Latest.Words())
}

// along says what else a visit can do.
func (r *rounding) along(tasks []RoundTask, ties int) string {
	const most = 3
	var names []string
	for i := range tasks {
		t := &tasks[i]
		if i == ties || t.Kept { // said before
			continue
		}
		name := r.at(&t.Task)
		if !t.From.Before(r.from) {
			name += " (from " + t.From.Words() + ")"
		}
		names = append(names, name)
	}
	if n := len(names) - most; n > 1 {
		names = append(names[:most], fmt.Sprintf("%d more", n))
	}
	if len(names) == 0 {
		return ""
	}
	return "With it can be done " + And(names) + "."
}

// whyDay says why a day is as it is.
func (r *rounding) whyDay(d round.Day, day RoundDay) string {
	n := len(d.Stops)
	tied := r.firstTied(day)
	if n == 1 {
		out := "One site"
		if way := r.p.Travel[r.p.People[d.Person].Home][d.Stops[0].Site]; way > 0 {
			out += fmt.Sprintf(", %s from home", wayWords(way))
		}
		return out + "; " + tied
	}
	out := capitalNumber(n) + " sites"
	if far := r.apart(d); far > 0 {
		out += fmt.Sprintf(" that lie within %s of one another by road", kmWords(far))
	}
	return out + fmt.Sprintf(": visited each by itself they would take %d days; %s", n, tied)
}

// firstTied says which of a day's visits can wait least.
func (r *rounding) firstTied(day RoundDay) string {
	best, late := -1, ""
	for i, s := range day.Stops {
		if slices.ContainsFunc(s.Tasks, func(t RoundTask) bool { return t.Latest.Before(day.Day) }) && late == "" {
			late = r.s.siteName(s.Site) + " is late."
		}
		if len(s.Tasks) > 0 && (best < 0 || s.Last.Before(day.Stops[best].Last)) {
			best = i
		}
	}
	switch {
	case late != "":
		return late
	case best < 0:
		return "it was kept by hand."
	}
	s := day.Stops[best]
	name := r.s.siteName(s.Site)
	if s.Last == day.Day {
		return name + " can wait no longer."
	}
	return fmt.Sprintf("%s can wait until %s at most.", name, s.Last.Words())
}

// apart is how far the two sites of a day that lie farthest apart are from one
// another, in km; 0: not known.
func (r *rounding) apart(d round.Day) float64 {
	far := 0.0
	for i, s := range d.Stops {
		for _, o := range d.Stops[:i] {
			if r.km[s.Site][o.Site] < 0 {
				return 0
			}
			far = max(far, r.km[s.Site][o.Site])
		}
	}
	return far
}

// Mile is a mile in kilometres (international yard and pound agreement, 1959).
const Mile = 1.609344

// kmWords prints a way in both systems: "12 km (7 miles)".
func kmWords(km float64) string {
	if km < 10 {
		return fmt.Sprintf("%.1f km (%.1f miles)", km, km/Mile)
	}
	return fmt.Sprintf("%.0f km (%.0f miles)", km, km/Mile)
}

// wayWords prints a span of minutes: "25 minutes", "1 h 5 min".
func wayWords(minutes float64) string {
	n := int(math.Round(minutes))
	if n < 60 {
		return Count(n, "minute", "minutes")
	}
	if n%60 == 0 {
		return fmt.Sprintf("%d h", n/60)
	}
	return fmt.Sprintf("%d h %d min", n/60, n%60)
}

// capitalNumber begins a sentence with a number.
func capitalNumber(n int) string {
	words := []string{"No", "One", "Two", "Three", "Four", "Five", "Six", "Seven", "Eight", "Nine", "Ten", "Eleven", "Twelve"}
	if n < len(words) {
		return words[n]
	}
	return fmt.Sprint(n)
}

// whyUnmet says why a task is not done in time, and what would mend it.
func (r *rounding) whyUnmet(u round.Unmet, t UnmetTask) string {
	j := &r.p.Jobs[u.Job]
	site, who := r.sites[j.Site], r.whoMay(j)
	from, last := latestDay(t.From, r.from), t.Latest
	window := "between " + from.Words() + " and " + last.Words()
	if !from.Before(last) {
		window = "on " + from.Words()
	}
	if last.Before(r.from) { // it could have been on any day of the plan
		last = r.until.Add(-1)
		window = "up to " + last.Words()
	}
	out := map[round.Why]string{
		round.NobodyMay:  "Nobody who does such work for this clock goes on rounds: " + r.mendStaff(&t.Task),
		round.NobodyGoes: fmt.Sprintf("Nobody who may do it (%s) is out %s%s: let somebody else have the duty too, or let one of them go out on a day more.", who, window, r.awayWords(j, from, last)),
		round.Shut:       fmt.Sprintf("%s is shut %s whenever %s is out%s: ask for another day there.", site.Name, window, who, r.shutWords(j, from, last)),
		round.TooSoon: fmt.Sprintf("A visit to %s is arranged %s ahead, and its last good day is %s: ask whether they let you in sooner.",
			site.Name, Count(site.Reach.Notice, "day", "days"), t.Latest.Words()),
		round.NoWay:    fmt.Sprintf("The way to %s and back is longer than a day of %s: let somebody nearer have the duty too, or let the day be longer.", site.Name, who),
		round.TooLong:  fmt.Sprintf("It takes %s on the clock, longer than %s can be there in a day: agree on it by itself, as work of several days, or set how long it takes.", wayWords(float64(j.Minutes+site.Reach.Climb)), who),
		round.ByHand:   fmt.Sprintf("The days on which it could be done %s were ruled out by hand: take one of them back.", window),
		round.NoSecond: fmt.Sprintf("It takes two, and nobody else is free %s: find somebody to come along, and keep the visit by hand.", window),
		round.Full:     fmt.Sprintf("The days of %s are full %s: let somebody else have the duty too, or let one of them go out on a day more.", who, window),
	}[u.Why]
	if out == "" {
		out = "No day was found for it " + window + "."
	}
	if !t.Day.IsZero() {
		out += fmt.Sprintf(" It is planned for %s, %s late.", t.Day.Words(), Days(t.Day.Sub(t.Latest)))
	}
	return out
}

// whoMay names those who may do a job.
func (r *rounding) whoMay(j *round.Job) string {
	var names []string
	for _, n := range j.By {
		names = append(names, r.people[n].Name)
	}
	return strings.Join(names, " or ")
}

// mendStaff says how somebody comes to go on rounds for a task.
func (r *rounding) mendStaff(t *Task) string {
	if names := r.s.names(t.People); len(names) > 0 {
		return fmt.Sprintf("say on the page of %s on which days they go on rounds, or give a duty for it to somebody who does.", strings.Join(names, " or "))
	}
	return "nobody is named for it. Give a duty for it to somebody who goes on rounds."
}

// awayWords says who of those who may do a job is away, and when. Why is theirs: what
// is not met is told to all who see the clock.
func (r *rounding) awayWords(j *round.Job, from, last Date) string {
	var out []string
	for _, n := range j.By {
		for d := from; !d.After(last) && d.Before(r.until); d = d.Add(1) {
			i := slices.IndexFunc(r.people[n].Going.Away, func(s Span) bool { return s.Holds(d) })
			if i < 0 {
				continue
			}
			away := r.people[n].Going.Away[i]
			away.Why = ""
			if words := r.people[n].Name + " is away " + away.words(); !slices.Contains(out, words) {
				out = append(out, words)
			}
		}
	}
	return inBrackets(strings.Join(out[:min(len(out), 2)], "; "))
}

// shutWords says why a site is shut, where that was said.
func (r *rounding) shutWords(j *round.Job, from, last Date) string {
	for d := from; !d.After(last) && d.Before(r.until); d = d.Add(1) {
		if begin, end, why := r.sites[j.Site].Reach.On(d); end <= begin && why != "" {
			return inBrackets(why)
		}
	}
	return ""
}
