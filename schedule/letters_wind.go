package schedule

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"endshake/wear"
)

// Figures behind whose turn it is to wind a train (judgement, no source).
const (
	// wakeFrom and wakeTo are the hours of a day in which somebody can be
	// expected to climb a tower.
	wakeFrom, wakeTo = 7, 22
	// turnLeast are the waking hours that each turn has at least.
	turnLeast = 2 * time.Hour
	// askedSoonest is longer than anybody is asked before a train is due, or may
	// stop: wishes leave an hour of each day.
	askedSoonest = 72 * time.Hour
	// turnsLong bounds all turns together, where a train has days to spare, and
	// turnsUnknown where nobody knows when it stops.
	turnsLong, turnsUnknown = 7, 3
)

// asking is who is asked to wind a train, and from when on.
type asking struct {
	number int // 0 the first asked, 1 the deputy, 2 the conservator
	people []Person
	from   time.Time
}

// togetherDays is how many days later than the first another train of a clock may
// fall due to be asked for in the same letter: whoever climbs winds both
// (judgement, no source).
const togetherDays = 1

// toWind is a train that wants winding.
type toWind struct {
	st    TrainState
	task  Task
	stops time.Time // everybody must have been asked before
}

// windReminders owes the reminders to wind the trains of a clock: one letter for
// those that fall due together, by the first of them. Each of the others has a
// letter of its own as well, which that one covers while the first is not wound.
// Once that was wound alone, what falls due later is asked for afresh.
func (w *writer) windReminders(a Assessment) {
	var all []toWind
	place := func(x toWind) int {
		return slices.IndexFunc(a.Clock.Trains, func(t wear.Train) bool { return t.Code == x.st.Train.Code })
	}
	for _, t := range a.Tasks {
		if t.Kind != Winding || t.State == Resting {
			continue
		}
		st, ok := a.Train(t.Subject)
		if !ok || !st.Going && !st.unfit { // of one that stands its stop tells
			continue
		}
		if stops := a.stopsBy(st, t); w.m.AtOnce || stops.After(w.m.Since) {
			all = append(all, toWind{st, t, stops})
		}
	}
	slices.SortStableFunc(all, func(x, y toWind) int {
		return cmp.Or(x.task.Due.Sub(y.task.Due), x.stops.Compare(y.stops), place(x)-place(y))
	})
	for i := range all {
		to := i + 1
		for to < len(all) && !all[to].task.Due.After(all[i].task.Due.Add(togetherDays)) {
			to++
		}
		behind := i > 0 && !all[i].task.Due.After(all[i-1].task.Due.Add(togetherDays))
		w.askToWind(a, all[i:to], behind)
	}
}

// askToWind owes the letters by the first train of a group; behind: there is an
// earlier one, whose letters may have asked for it already.
func (w *writer) askToWind(a Assessment, group []toWind, behind bool) {
	st, t, stops := group[0].st, group[0].task, group[0].stops
	var with []Task
	for _, g := range group[1:] {
		with, stops = append(with, g.task), earlier(stops, g.stops)
	}
	subject := func(g toWind) string { return a.Clock.Slug + "/" + g.st.Train.Code }
	occurrence := func(g toWind, n int, behind bool) string {
		out := fmt.Sprintf("%s, turn %d", a.windMatter(g.st), n)
		if behind {
			out += ", behind another train"
		}
		return out
	}
	soonest := earlier(stops, t.Due.Start(a.Zone)).Add(-askedSoonest)
	if !w.m.AtOnce && w.now.Before(soonest) {
		return
	}
	turns := w.turns(a, st, t, stops)
	var asked []time.Time // when the first of each turn is
	for i, turn := range turns {
		if i > 0 {
			turn.from = later(turn.from, asked[i-1])
		}
		asked = append(asked, time.Time{})
		var next []Person
		for _, later := range turns[i+1:] {
			next = append(next, later.people...)
		}
		for _, p := range turn.people {
			key := func(g toWind, n int, behind bool) string {
				return NoticeKey(p.Slug, WindReminder, subject(g), occurrence(g, n, behind))
			}
			l := Letter{Kind: WindReminder, Person: p, Occurrence: occurrence(group[0], turn.number, behind), Clocks: []Assessment{a},
				Task: &t, With: with, Turn: i, Others: without(turn.people, p.Slug), Next: next}
			for n := range 3 { // whoever was asked in another turn knows, and who was asked for it alone
				if n != turn.number {
					l.Unless = append(l.Unless, key(group[0], n, behind))
				}
				if behind {
					l.Unless = append(l.Unless, key(group[0], n, false))
				}
			}
			if behind {
				l.Covers = append(l.Covers, key(group[0], turn.number, false))
			}
			for _, g := range group[1:] {
				l.Covers = append(l.Covers, key(g, turn.number, true))
				if !g.task.Due.After(t.Due) {
					l.Covers = append(l.Covers, key(g, turn.number, false))
				}
			}
			from := w.turnFor(p, a, st, turn.from, asked[:i], stops)
			if at := p.Mail.after(from, w.zone(p, l.Clocks)); asked[i].IsZero() || at.Before(asked[i]) {
				asked[i] = at
			}
			if w.m.AtOnce && from.After(w.now) {
				continue
			}
			w.owe(l, subject(group[0]), from)
		}
	}
}

// turnFor is from when on one person is asked whose turn begins at an instant. Where
// their hours begin too late after that they are asked sooner, but before the
// train may stop: after those of the turns before, when they are asked, as far as
// their hours allow it.
func (w *writer) turnFor(p Person, a Assessment, st TrainState, from time.Time, asked []time.Time, stops time.Time) time.Time {
	zone := w.zone(p, []Assessment{a})
	if p.Mail.after(from, zone).Before(stops) {
		return from
	}
	from = later(p.Mail.before(stops, zone), a.windAt(st))
	for _, before := range slices.Backward(asked) {
		if next := p.Mail.after(before, zone); from.Before(before) && next.Before(stops) {
			return next
		}
	}
	return from
}

// windMatter names the wind that a train goes by: the last entry that tells how
// much is left in it, or the first day in care.
func (a Assessment) windMatter(st TrainState) string {
	if e := st.Wind.told; e != nil {
		return "wind " + matter(*e)
	}
	return "in care " + a.Clock.InCare.String()
}

// stopsBy is the instant before which everybody must have been asked: that from
// which the train may stop, or, of one that runs for so long that this would lie
// before it is due, half a day before it stops. Where nobody knows, it is some
// days after the due day.
func (a Assessment) stopsBy(st TrainState, t Task) time.Time {
	w := st.Wind
	if w.Early.IsZero() || w.Lost != "" {
		return t.Due.Add(turnsUnknown).Start(a.Zone)
	}
	by := w.Early
	if half := w.Stops.Add(-spareDay / 2); half.After(by) && wakingBetween(t.Due.At(wakeFrom, 0, a.Zone), by, a.Zone) < 3*turnLeast {
		by = half
	}
	return earlier(by, t.Due.Add(turnsLong).Start(a.Zone))
}

// turns are whose turn it is to be asked for a winding, and when: the first
// asked on the morning of the due day, those after them in the last quarters of
// the waking hours that are left until it may stop. Where that is too short for
// turns they are asked sooner, and in the end together. Who cannot be reached is
// passed over.
func (w *writer) turns(a Assessment, st TrainState, t Task, stops time.Time) []asking {
	out := w.asked(a)
	start := t.Due.At(wakeFrom, 0, a.Zone)
	if w.m.Since.After(start) && !w.m.AtOnce {
		start = w.m.Since
	}
	if latest := wakingBefore(stops, turnLeast, a.Zone); latest.Before(start) {
		start = latest
	}
	if wound := a.windAt(st); start.Before(wound) {
		start = wound
	}
	if len(out) > 0 { // nobody before those who are asked first
		if first := w.firstTakes(out[0].people, a, start); first.Before(wakingBefore(stops, turnLeast, a.Zone)) {
			start = first
		}
	}
	share := wakingBetween(start, stops, a.Zone) / 4
	if len(out) == 2 {
		share *= 2
	}
	share = max(share, turnLeast)
	for i := range out {
		out[i].from = start
		if i > 0 {
			if at := wakingBefore(stops, share*time.Duration(len(out)-i), a.Zone); at.After(start) {
				out[i].from = at
			}
		}
	}
	return out
}

// firstTakes is when the first of several people takes mail, from an instant on.
func (w *writer) firstTakes(people []Person, a Assessment, from time.Time) time.Time {
	var first time.Time
	for _, p := range people {
		if at := p.Mail.after(from, w.zone(p, []Assessment{a})); first.IsZero() || at.Before(first) {
			first = at
		}
	}
	return first
}

// asked are those who are asked to wind a clock, turn by turn: its winders, or
// its keepers where no winder can be reached; its deputies, or else the keepers;
// its conservators. Nobody is asked in two turns.
func (w *writer) asked(a Assessment) []asking {
	var out []asking
	before := map[string]bool{}
	for n, roles := range [][]Role{{Winder, Keeper}, {Deputy, Keeper}, {Conservator}} {
		for _, role := range roles {
			people := slices.DeleteFunc(w.holders(a, role), func(p Person) bool { return before[p.Slug] || !w.reaches(p, WindReminder) })
			if len(people) == 0 {
				continue
			}
			for _, p := range people {
				before[p.Slug] = true
			}
			out = append(out, asking{number: n, people: people})
			break
		}
	}
	return out
}

// windAt is when the wind that a train goes by was last added to; zero: never.
func (a Assessment) windAt(st TrainState) time.Time {
	e := st.Wind.told
	if e != nil && e.Kind != Wound { // a look at its weight
		e = newest(a.Entries, func(e *Entry) bool { return e.Kind == Wound && e.concerns(st.Train.Code) })
	}
	if e == nil {
		return time.Time{}
	}
	return e.At
}

// wakingDay is the waking hours of a day; none of one that a zone left out.
func wakingDay(d Date, zone *time.Location) (from, to time.Time) {
	from, to = d.At(wakeFrom, 0, zone), d.At(wakeTo, 0, zone)
	if DateOf(from, zone) != d {
		return from, from
	}
	return from, to
}

// wakingBetween is how many waking hours lie between two instants; nothing
// where the second is not the later.
func wakingBetween(from, to time.Time, zone *time.Location) (sum time.Duration) {
	if !from.Before(to) {
		return 0
	}
	last := DateOf(to, zone)
	for d := DateOf(from, zone); !d.After(last); d = d.Add(1) {
		start, end := wakingDay(d, zone)
		sum += max(0, earlier(end, to).Sub(later(start, from)))
	}
	return sum
}

// wakingBefore is the instant from which so many waking hours are left until
// another.
func wakingBefore(to time.Time, hours time.Duration, zone *time.Location) time.Time {
	for d := DateOf(to, zone); hours > 0; d = d.Add(-1) {
		start, end := wakingDay(d, zone)
		end = earlier(end, to)
		if span := max(0, end.Sub(start)); span < hours {
			hours -= span
			continue
		}
		return end.Add(-hours)
	}
	return to
}
