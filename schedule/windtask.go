package schedule

import (
	"fmt"
	"strings"
	"time"

	"endshake/wear"
)

// windingPolicy is how often to wind a train; never is zero.
func (c Clock) windingPolicy(t wear.Train) (p Policy, every time.Duration) {
	if p, ok := c.policy(Winding, t.Code, ""); ok && p.Days > 0 {
		return p, time.Duration(p.Days) * 24 * time.Hour
	}
	run := t.Run()
	p = Policy{Reason: "a full wind runs " + spanWords(run), Source: "the train's reserve"}
	if t.Reserve == 0 {
		p.Source = "the train's weight and gearing"
	}
	return p, run - spareOf(run)
}

// winding is when a hand-wound train wants winding: by policy, or a day before
// its wind is used up, and never later. Time stopped does not count; but what
// was due when the train stopped, or at the last entry since, stays so, and what
// was not is not before it goes again.
func winding(a *Assessment, st *TrainState) (Task, bool) {
	if was := a.woundAs(st); was != nil {
		st.asked = was.asked
		return *was.asked, true
	}
	t, ok := windingNow(a, st)
	if ok && st.Going {
		st.asked = &t
		return t, ok
	}
	fact := later(st.until(a.Now), a.LastEntry)
	if !ok || !fact.Before(a.Now) {
		return t, ok
	}
	then, was := *a, *st
	then.Now, then.Resting = fact, false
	was.Wind = windOf(&then, st)
	switch before, _ := windingNow(&then, &was); {
	case !before.Due.After(a.dayOf(fact)):
		t.From, t.Due, t.Latest = before.From, before.Due, before.Latest
	case !t.Due.After(a.dayOf(a.Now)):
		t.Due = a.dayOf(a.Now).Add(1)
		if t.Latest.Before(t.Due) {
			t.Latest = t.Due
		}
	}
	return t, true
}

// woundAs is the earlier state of a train whose winding was asked for, by the
// same log, with all that it is worked out from; nil: there is none.
func (a *Assessment) woundAs(st *TrainState) *TrainState {
	if !a.sameLog() || !st.Going || !st.Wind.Known {
		return nil
	}
	was := a.reuse.train(st.Train.Code)
	if was == nil || was.asked == nil {
		return nil
	}
	w, before := &st.Wind, &was.Wind
	if w.Stops != before.Stops || w.Early != before.Early || w.Late != before.Late || w.stood != before.stood || w.fewer != before.fewer || w.more != before.more || w.Past != before.Past ||
		w.Stops.After(a.Now) != before.Stops.After(a.reuse.from.Now) {
		return nil
	}
	return was
}

// windingNow is the winding of a train that is taken to go on now.
func windingNow(a *Assessment, st *TrainState) (Task, bool) {
	t, f := st.Train, st.Wind.fact
	pol, every := a.Clock.windingPolicy(t)
	if t.Drive != wear.HandWound || every == 0 {
		return Task{}, false
	}
	days := int(every.Hours() / 24)
	w := pol.window(Winding, days)
	task := Task{Kind: Winding, Subject: t.Code, About: NameOfTrain(t), Source: pol.Source}
	if st.Wind.Known && st.Wind.Stops.IsZero() { // wound by nobody knows how much
		task.Due = a.dayOf(st.Wind.fact.vague)
		task.From, task.Latest = task.Due, task.Due.Add(w.grace)
		task.Reason = a.windWords(st, pol) + "; how long it goes is not known"
		task.Evidence, task.Confidence = a.windEvidence(st), a.windConfidence(st)
		task.Next = windAndLog
		return task, true
	}
	if st.Wind.Known {
		a.windingKnown(&task, st, pol, w)
		return task, true
	}
	task.Due = a.Clock.InCare.Add(days)
	task.Reason = "no full wind is logged" + inBrackets(pol.Reason)
	task.Confidence = "weak: counted from the first day in care"
	if !st.WoundAt.IsZero() { // but how long that runs is not known
		task.Due = a.dayOf(st.WoundAt.Add(f.stoodSince(a, st))).Add(days)
		task.Reason = "wound in full on " + a.dayOf(st.WoundAt).Words() + inBrackets(pol.Reason)
		task.Confidence = "firm: from the logged wind"
	}
	task.From, task.Latest = task.Due.Add(-w.lead), task.Due.Add(w.grace)
	return task, true
}

// stoodSince is how long it stood since its last full wind, where nothing tells
// how long that runs.
func (windFact) stoodSince(a *Assessment, st *TrainState) (sum time.Duration) {
	for _, s := range st.Running.Stood(st.WoundAt, a.Now) {
		sum += s[1].Sub(s[0])
	}
	return sum
}

// windingKnown fills in the winding of a train whose run is known. The spare
// time before it stops is nobody's grace.
func (a *Assessment) windingKnown(task *Task, st *TrainState, pol Policy, w window) {
	wind := st.Wind
	due, wanted := wind.due(a, st)
	task.Due = a.windingDay(due, st)
	task.From = earliest(a.windingDay(wanted, st).Add(-w.lead), task.Due)
	task.Latest = a.windingDay(wind.spared(st), st)
	if grace := task.Due.Add(w.grace); pol.Grace > 0 && grace.Before(task.Latest) {
		task.Latest = grace
	}
	if task.Latest.Before(task.Due) { // a policy that leaves less to spare
		task.Latest = task.Due
	}
	task.Reason = a.windWords(st, pol) + "; " + runDownWords(a, st)
	task.Evidence = a.windEvidence(st)
	task.Confidence = a.windConfidence(st)
	switch {
	case wind.Past:
		task.Next = "Telephone somebody who can see the dial. If it goes, ask who wound it and log that; if not, log since when it stands."
	case st.Train.Weight != nil:
		task.Next = windAndLog
	}
}

// windingDay is the day of an instant; of a train that runs for a day or so not
// the one on which it was wound, unless it stops on that.
func (a *Assessment) windingDay(at time.Time, st *TrainState) Date {
	day, wound := a.dayOf(at), a.dayOf(st.Wind.fact.at)
	if st.Train.Run() < shortRun && !day.After(wound) && a.dayOf(st.Wind.Stops).After(wound) {
		return wound.Add(1)
	}
	return day
}

// runFlags names the trains that somebody winds and of which nothing tells when
// they want it.
func runFlags(a *Assessment) []string {
	var out []string
	for _, t := range a.Clock.Trains {
		if _, every := a.Clock.windingPolicy(t); t.Drive == wear.HandWound && every == 0 {
			out = append(out, fmt.Sprintf("The run of the %s is not described: give its reserve, or days for winding, and it can be said when it wants winding.", NameOfTrain(t)))
		}
	}
	return out
}

const windAndLog = "Wind it, and log the turns put on, or before you wind how far the weight can still fall."

// windWords says what the run left is reckoned from.
func (a *Assessment) windWords(st *TrainState, pol Policy) string {
	f := st.Wind.fact
	words := "wound in full on "
	switch {
	case f.down:
		words, pol.Reason = "found run down on ", ""
	case f.read && f.entry.Kind == Wound:
		words = fmt.Sprintf("wound in part, with %v left to fall before it, on ", *f.entry.FallLeft)
	case f.read:
		words = fmt.Sprintf("%v left to fall on ", *f.entry.FallLeft)
	}
	words += a.dayOf(f.entry.At).Words() + inBrackets(pol.Reason)
	if f.parts > 0 {
		words += fmt.Sprintf("; %s turns more put on until %s", oneFigure(f.turns), a.dayOf(f.at).Words())
	}
	if !f.vague.IsZero() {
		words += "; " + a.vagueWords(f)
	}
	return words
}

// vagueWords says of a wind in part why nobody knows how much it put on.
func (a *Assessment) vagueWords(f windFact) string {
	join := ": "
	if f.why == notLogged {
		join = ", and "
	}
	return "wound in part on " + a.dayOf(f.vague).Words() + join + f.why
}

// lostWords says why it is not known how much is left of a train that goes on.
func (a *Assessment) lostWords(w WindState) string {
	if f := w.fact; f.seen.After(w.Stops) {
		return fmt.Sprintf("it was seen going on %s, after its logged wind was used up, so somebody wound it and did not log it", a.dayOf(f.seen).Words())
	}
	return a.vagueWords(w.fact)
}

// oneFigure prints a number with one place at most.
func oneFigure(v float64) string { return strings.TrimSuffix(fmt.Sprintf("%.1f", v), ".0") }

func (a *Assessment) instant(t time.Time) string {
	t = t.In(a.Zone)
	hour, minute, _ := t.Clock()
	return DateOf(t, a.Zone).Words() + ", " + string([]byte{'0' + byte(hour/10), '0' + byte(hour%10), ':', '0' + byte(minute/10), '0' + byte(minute%10)})
}

// windEvidence is the entry that the winding rests on.
func (a *Assessment) windEvidence(st *TrainState) string {
	f := st.Wind.fact
	words := "a full wind, "
	switch {
	case f.down:
		words = "found run down, "
	case f.read:
		words = "the height of the weight, "
	case f.entry.Turns > 0:
		words = fmt.Sprintf("a full wind of %s turns, ", oneFigure(f.entry.Turns))
	}
	words += a.instant(f.entry.At)
	if f.parts > 0 {
		words += ", and " + Count(f.parts, "wind in part", "winds in part") + " since"
	}
	return words
}

// windConfidence says how sure it is when the train stops.
func (a *Assessment) windConfidence(st *TrainState) string {
	w := st.Wind
	f := w.fact
	sure := "firm: from the logged wind"
	switch {
	case f.seen.After(w.Stops) && !w.Stops.IsZero():
		return "weak: " + a.lostWords(w)
	case !f.vague.IsZero():
		sure = "weak: " + strings.Replace(f.why, "how much is", "how much was put on is", 1)
	case w.stood > 0:
		sure = "fair: from the logged wind and stops"
	case f.read:
		sure = "firm: from the height of the weight"
	}
	if st.Going && w.Stops.After(a.Now) {
		sure += "; nine times in ten it stops between " + a.instant(w.Early) + " and " + a.instant(w.Late)
	}
	return sure
}

func runDownWords(a *Assessment, st *TrainState) string {
	w := st.Wind
	when, since := a.instant(w.Stops), ""
	switch {
	case w.fewer >= time.Hour || w.more >= time.Hour:
		since = fmt.Sprintf("; it may have stood in between, nobody knows for how long: for %s at most", spanWords(w.stood+w.more))
	case w.stood >= time.Hour:
		since = fmt.Sprintf("; stopped for %s in between", spanWords(w.stood))
	}
	switch {
	case !st.Going && w.Stops.After(a.Now):
		return spanWords(w.Left) + " of run left when it goes again" + since
	case w.Stops.After(a.Now):
		return "runs down about " + when + since
	case !st.Going:
		return "ran down about " + when + since
	case !w.Past:
		return "would have run down about " + when + since
	}
	return "has run down about " + when + ", unless somebody wound it and did not log it" + since
}

// pastWords says of a clock that goes by its log whether its wind is used up.
func pastWords(a *Assessment) string {
	for _, speaks := range []bool{true, false} {
		for i := range a.Trains {
			st := &a.Trains[i]
			if !st.Wind.Past || a.Clock.speaks(st.Train) != speaks {
				continue
			}
			it, before := "it", ""
			if !speaks {
				it, before = "the "+NameOfTrain(st.Train), "Going, but "
			}
			return Capital(fmt.Sprintf("%sby its last logged wind %s stopped about %s, unless somebody wound it and did not write it down. ",
				before, it, a.instant(st.Wind.Stops)))
		}
	}
	if words := a.cutStatus(); words != "" {
		return words
	}
	return "Going. "
}
