package schedule

import (
	"fmt"
	"math"
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
		t.Reason += " instead of every " + everyWords(p.interval()) + ", since the " + name + " had gone " + percent(share) + " of the way to its limit when last read (judgement, no source)"
	}
	if again, asked := a.actAgain(p); asked && !again.Due.After(t.Due) {
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

// actAgain asks for another look soon while something is to act on.
func (a *Assessment) actAgain(p Policy) (Task, bool) {
	code := p.Train
	if _, _, t, ok := a.Clock.Bearing(p.Bearing); ok {
		code = t.Code
	}
	var f *Finding
	for i := range a.Findings {
		x := &a.Findings[i]
		about := (code == "" || x.train == "" || x.train == code) && (x.bearing == "" || p.Bearing == "" || x.bearing == p.Bearing)
		if about && (f == nil || !x.Last.Before(f.Last)) {
			f = x
		}
	}
	if f == nil {
		return Task{}, false
	}
	on := f.Last
	if seen, _ := a.lastDone(p); !seen.At.IsZero() {
		on = latestDay(on, a.dayOf(seen.At))
	}
	t := Task{
		Kind: Inspection, Source: "judgement, no source", From: on.Add(lookAgain - lookAgain/4), Due: on.Add(lookAgain), Latest: on.Add(lookAgain + lookAgain/4),
		Reason:     fmt.Sprintf("every %s, since the inspection of %s found something to act on and nothing is logged since that mends it", everyWords(lookAgain), f.Last.Words()),
		Confidence: "firm: from what is logged on " + on.Words(),
	}
	t.Subject, t.About = a.subjectOf(p)
	return t, true
}
