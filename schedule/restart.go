package schedule

import (
	"fmt"

	"endshake/wear"
)

// restarts ask for the clock, or the train, that stands against what is wished to
// be looked at and set going: one task for each stop, until a start is logged. One
// that ran down and was not wound since wants winding, which asks already, and one
// that is locked waits for its lock to be cleared.
func restarts(a *Assessment) []Task {
	if len(a.Locks) > 0 {
		return nil
	}
	var out []Task
	seen := map[string]bool{}
	for i := range a.Trains {
		st := &a.Trains[i]
		stop, _, ok := a.stopOf(*st)
		if !ok || seen[stop.ID] || stop.Cause == RanDown && st.Train.Drive == wear.HandWound && !a.windAt(*st).After(stop.At) {
			continue
		}
		seen[stop.ID] = true
		on := a.dayOf(stop.At)
		if !stop.Until.IsZero() { // meant to stand, until then
			on = stop.Until.Add(1)
		}
		t := Task{
			Kind: Restart, From: on, Due: on, Latest: on.Add(usual[Restart].grace), Rank: ToAct,
			Reason: fmt.Sprintf("stopped since %s%s, and no start is logged since", a.dayOf(stop.At).Words(), inBrackets(string(stop.Cause))),
			Source: "common practice, no source", Confidence: "firm: it is logged", Evidence: "stopped, logged for " + a.dayOf(stop.At).Words(),
		}
		t.Subject, t.About = a.subjectOf(Policy{Train: stop.Train})
		out = append(out, t)
	}
	return out
}
