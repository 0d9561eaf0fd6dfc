package schedule

import (
	"fmt"
	"math"
	"slices"
)

// Figures of inspections (judgement, no source).
const (
	// leastShare is the least of its interval that an inspection is cut to as a
	// limit nears.
	leastShare = 0.25
	// lookAgain is after how many days a clock is inspected again where
	// something to act on was found and nothing is repaired since.
	lookAgain = 30
)

// inspections are the inspection tasks of a clock and its yearly visit.
func inspections(a *Assessment) []Task {
	var out []Task
	any := false
	for _, p := range a.Clock.Policies {
		switch p.Task {
		case Inspection:
			any = true
			out = append(out, a.inspection(p))
		case Visiting:
			out = append(out, byPolicy(a, p))
		}
	}
	if t, asked := a.actAgain(Policy{Task: Inspection}); asked && !any {
		out = append(out, t)
	}
	return out
}

// inspection is an inspection by policy: sooner where a bearing of its subject
// has used much of its limit, and soon where something was found.
func (a *Assessment) inspection(p Policy) Task {
	share, name := a.usedShare(p)
	t := byPolicy(a, p.shortened(share))
	if share > 0 {
		t.Reason += "; cut from every " + everyWords(p.interval()) + ", since the " + name + " had gone " + percent(share) + " of the way to its limit when last read (judgement, no source)"
	}
	if again, asked := a.actAgain(p); asked && !again.Due.After(t.Due) {
		again.Reason += "; else: " + t.Reason
		return again
	}
	return t
}

// shortened is a policy cut by what the worst bearing of its subject has used
// of its limit, by its last reading: the due date must not slide while nothing
// new is known.
func (p Policy) shortened(share float64) Policy {
	if share <= 0 {
		return p
	}
	w := p.window(p.Task, p.interval())
	keep := math.Max(leastShare, 1-share)
	cut := func(n int) int {
		if n <= 0 {
			return n
		}
		return max(1, int(math.Round(keep*float64(n))))
	}
	p.Days, p.Lead, p.Grace, p.RunHours = cut(p.Days), cut(w.lead), cut(w.grace), p.RunHours*keep
	return p
}

// usedShare is the most that any bearing of a policy's subject had used of its
// limit when it was last read, with its name; 0: none is known.
func (a *Assessment) usedShare(p Policy) (share float64, name string) {
	for i := range a.Outlooks {
		o := &a.Outlooks[i]
		if p.Bearing != "" && o.Bearing.Code != p.Bearing || p.Train != "" && o.Train.Code != p.Train || !o.Known || o.Limit == nil {
			continue
		}
		if u := o.used(o.memo.median); u > share {
			share, name = u, NameOf(o.Bearing.Name, o.Arbor.Name)
		}
	}
	return share, name
}

// actAgain asks for another look soon after one that found something to act
// on, unless something was repaired since, or another look found it better.
func (a *Assessment) actAgain(p Policy) (Task, bool) {
	code := p.Train
	if _, _, t, ok := a.Clock.Bearing(p.Bearing); ok {
		code = t.Code
	}
	about := func(e *Entry) bool {
		return (code == "" || e.concerns(code)) && (e.Bearing == "" || p.Bearing == "" || e.Bearing == p.Bearing)
	}
	last := newest(a.Entries, func(e *Entry) bool { return e.Kind == Inspected && e.Found != "" && p.counts(e) && about(e) })
	if last == nil || last.Found != Act {
		return Task{}, false
	}
	i := slices.IndexFunc(a.Entries, func(e Entry) bool { return e.ID == last.ID && e.At.Equal(last.At) })
	if slices.ContainsFunc(a.Entries[i+1:], func(e Entry) bool { return e.Kind == Repaired && about(&e) }) {
		return Task{}, false
	}
	on := a.dayOf(last.At)
	if seen, _ := a.lastDone(p); seen.At.After(last.At) {
		on = a.dayOf(seen.At)
	}
	t := Task{
		Kind: Inspection, Source: "judgement, no source", From: on.Add(lookAgain - lookAgain/4), Due: on.Add(lookAgain), Latest: on.Add(lookAgain + lookAgain/4),
		Reason:     fmt.Sprintf("every %s, since the inspection of %s found something to act on and no repair is logged", everyWords(lookAgain), a.dayOf(last.At).Words()),
		Confidence: "firm: from what is logged on " + on.Words(),
	}
	t.Subject, t.About = a.subjectOf(p)
	return t, true
}
