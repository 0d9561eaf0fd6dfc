package schedule

import (
	"slices"
	"time"
)

// Who is told of a clock that stands: those who see to it on the same day, and
// of a lock, which is a danger to people below or inside, the owner as well, who
// must keep them away (common practice, no source).
var (
	stopTold = []Role{Keeper, Conservator}
	lockTold = []Role{Keeper, Conservator, Owner}
)

// standing owes word of a clock that was locked, that stopped, or that may have
// stopped because its wind ran out by the log, or the mains were cut.
func (w *writer) standing(a Assessment) {
	barred := false
	for i, l := range a.Locks {
		e, ok := a.entry(l.Entry)
		if !ok {
			continue
		}
		barred = barred || l.Kind == DoNotRun
		w.stand(a, "", "locked "+matter(e), &e, a.lockTask(i), loggedAt(e), w.holders(a, lockTold...))
	}
	if barred || a.Resting { // the lock says it; a rest is no news
		return
	}
	if t, cut, ok := a.cutLook(); ok {
		w.stand(a, "", "power cut "+matter(cut), nil, &t, loggedAt(cut), without(w.holders(a, stopTold...), cut.By))
	}
	told := map[string]bool{}
	for _, st := range a.Trains {
		if e, from, ok := a.stopOf(st); ok && !told[e.ID] {
			told[e.ID] = true
			w.stand(a, "", "stopped "+matter(e), &e, a.windingOf(st, e.Cause == RanDown), from, without(w.holders(a, stopTold...), e.By))
		}
		if st.Wind.Past {
			w.stand(a, st.Train.Code, "ran out "+a.windMatter(st), nil, a.windingOf(st, true), st.Wind.Stops, w.holders(a, stopTold...))
		}
	}
}

// StopTold are those who see to a clock that was found stopped, but for whoever
// found it: the letter about it goes to those of them that can be reached.
func (f Fleet) StopTold(c Clock, by string) []Person {
	var out []Person
	for _, role := range stopTold {
		for _, d := range c.Duties {
			p, ok := f.Person(d.Person)
			if ok && d.Role == role && d.Person != by && !slices.ContainsFunc(out, func(x Person) bool { return x.Slug == p.Slug }) {
				out = append(out, p)
			}
		}
	}
	return out
}

// stand owes a letter about a clock that stands to each of several people; train
// is the code of one that ran down, or empty.
func (w *writer) stand(a Assessment, train, occurrence string, e *Entry, t *Task, from time.Time, people []Person) {
	if !w.m.AtOnce && from.Before(w.m.Since) {
		return
	}
	subject := a.Clock.Slug
	if train != "" {
		subject += "/" + train
	}
	others := slices.Clone(people)
	if train != "" { // its winding was asked for, of all whose turn it is
		for _, turn := range w.asked(a) {
			for _, p := range turn.people {
				if !slices.ContainsFunc(others, func(q Person) bool { return q.Slug == p.Slug }) {
					others = append(others, p)
				}
			}
		}
	}
	for _, p := range people {
		w.owe(Letter{Kind: Standing, Person: p, Occurrence: occurrence, Clocks: []Assessment{a},
			Entry: e, Task: t, Others: without(others, p.Slug)}, subject, from)
	}
}

// cutLook is the look that is asked for after a power cut that may have stopped a
// clock, with the cut.
func (a Assessment) cutLook() (Task, Entry, bool) {
	i := slices.IndexFunc(a.Tasks, func(t Task) bool { return t.Kind == PowerCheck && t.State != Resting })
	if i < 0 {
		return Task{}, Entry{}, false
	}
	cut := newest(a.Entries, func(e *Entry) bool { return e.Kind == Noted && !e.CutFrom.IsZero() })
	if cut == nil {
		return Task{}, Entry{}, false
	}
	return a.Tasks[i], *cut, true
}

// loggedAt is when an entry was logged.
func loggedAt(e Entry) time.Time {
	if e.RecordedAt.After(e.At) {
		return e.RecordedAt
	}
	return e.At
}

// entry finds an entry of the log that counts.
func (a Assessment) entry(id string) (Entry, bool) {
	i := slices.IndexFunc(a.Entries, func(e Entry) bool { return e.ID == id })
	if i < 0 || id == "" {
		return Entry{}, false
	}
	return a.Entries[i], true
}

// lockTask is the task of a lock, by its place among the locks.
func (a Assessment) lockTask(i int) *Task {
	want := lockTasks(&a)[i].Subject
	for _, t := range a.Tasks {
		if t.Kind == Locked && t.Subject == want {
			return &t
		}
	}
	return nil
}

// windingOf is the winding of a train, where it is asked for.
func (a Assessment) windingOf(st TrainState, asked bool) *Task {
	for _, t := range a.Tasks {
		if asked && t.Kind == Winding && t.Subject == st.Train.Code {
			return &t
		}
	}
	return nil
}

// stopOf is the entry by which a train stands against what is wished, and since
// when that is to be told. One that was stopped for the season, for work or to
// silence it is meant to stand, until the day on which it was to go again.
func (a Assessment) stopOf(st TrainState) (e Entry, from time.Time, ok bool) {
	if st.Going || st.unfit {
		return Entry{}, time.Time{}, false
	}
	stop := newest(a.Entries, func(e *Entry) bool { return e.Kind == Stopped && e.concerns(st.Train.Code) })
	if stop == nil {
		return Entry{}, time.Time{}, false
	}
	switch stop.Cause {
	case Silenced:
		return Entry{}, time.Time{}, false
	case Rest, ForWork:
		if stop.Until.IsZero() || !a.dayOf(a.Now).After(stop.Until) {
			return Entry{}, time.Time{}, false
		}
		return *stop, stop.Until.Add(1).Start(a.Zone), true
	}
	return *stop, loggedAt(*stop), true
}
