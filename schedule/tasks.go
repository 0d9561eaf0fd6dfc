package schedule

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"endshake/wear"
)

// window is the usual lead and grace in days of a kind of task, used where a
// policy gives none (common practice, no source).
type window struct{ lead, grace int }

var usual = map[TaskKind]window{
	Winding:    {1, 1},
	Oiling:     {21, 30},
	Inspection: {30, 45},
	Measuring:  {60, 60},
	NearLimit:  {180, 0},
	Mending:    {0, lookAgain},
	Locked:     {0, 0},
	PowerCheck: {0, 1},
	Restart:    {0, 7},
	LineLook:   {30, 30},
	LineAge:    {180, 90},
	Visiting:   {60, 60},
	Setting:    {7, 7},
	TimeChange: {3, 1},
	Seasonal:   {0, 0}, // its own days
}

// doers lists who does a kind of work, the first first.
var doers = map[TaskKind][]Role{
	Winding:    {Winder, Deputy, Keeper},
	Oiling:     {Keeper, Deputy, Conservator},
	Inspection: {Keeper, Conservator, Deputy},
	Measuring:  {Keeper, Conservator},
	NearLimit:  {Conservator, Clockmaker, Keeper},
	Mending:    {Conservator, Clockmaker, Keeper},
	Locked:     {Conservator, Clockmaker, Keeper},
	PowerCheck: {Keeper, Deputy, Winder},
	Restart:    {Keeper, Conservator, Clockmaker},
	LineLook:   {Keeper, Conservator, Winder},
	LineAge:    {Clockmaker, Conservator},
	Visiting:   {Clockmaker, Conservator},
	Setting:    {Keeper, Deputy, Winder},
	TimeChange: {Keeper, Deputy, Winder},
	Seasonal:   {Keeper, Deputy, Conservator},
}

// tasks works out all tasks of a clock, the most pressing first.
func tasks(a *Assessment) []Task {
	out := make([]Task, 0, 8)
	if a.reuse.from != nil { // about as many: growing little by little would copy them
		out = make([]Task, 0, len(a.reuse.from.Tasks)+1)
	}
	for i := range a.Trains {
		if t, ok := winding(a, &a.Trains[i]); ok {
			out = append(out, t)
		}
	}
	for _, of := range []func(*Assessment) []Task{lockTasks, powerChecks, restarts, mendings, oilings, inspections, lineTasks, settingTasks, changeTasks, seasonTasks} {
		out = append(out, of(a)...)
	}
	out = measuring(a, out)
	for i := range a.Outlooks {
		if t, ok := nearLimit(a, &a.Outlooks[i]); ok {
			out = append(out, t)
		}
	}
	for i := range out {
		a.showSigns(&out[i])
		a.finish(&out[i])
	}
	if len(out) == 0 {
		return nil
	}
	sortLarge(out, Pressing)
	return out
}

// finish fills in what every task has.
func (a *Assessment) finish(t *Task) {
	t.Clock = a.Clock.Slug
	t.State = stateOn(a.dayOf(a.Now), *t)
	if a.Resting && !t.pressesAtRest() || a.held(*t) {
		t.State = Resting
	}
	if was := a.reuse.task(t.Kind, t.Subject); was != nil && len(a.Locks) == 0 {
		t.Caution, t.People, t.Minutes = was.Caution, was.People, cmp.Or(t.Minutes, was.Minutes)
	} else {
		t.Caution = a.warned(Caution(t.Kind, a.Site, a.hazards(*t)))
		t.People = a.doing(t.Kind)
	}
	a.complete(t)
	a.bar(t)
}

// doing lists who does a kind of work on the clock, the first first.
func (a *Assessment) doing(kind TaskKind) []string {
	out := []string{}
	for _, role := range doers[kind] {
		for _, d := range a.Clock.Duties {
			if d.Role == role && !slices.Contains(out, d.Person) {
				out = append(out, d.Person)
			}
		}
	}
	return out
}

// pressesAtRest reports whether a task does not wait for its clock to go again:
// out of season is the time for the work on a worn bearing, a broken wire stays
// broken, and somebody must start the clock.
func (t Task) pressesAtRest() bool {
	return t.Kind == NearLimit || t.Kind == Locked || t.Rank != 0 && t.Rank <= AtLimit || t.startsAgain()
}

// stateOn says where a day stands in a task's window.
func stateOn(today Date, t Task) TaskState {
	switch {
	case today.After(t.Latest):
		return Late
	case !today.Before(t.Due):
		return Due
	case !today.Before(t.From):
		return Open
	}
	return Ahead
}

// window is a policy's lead and grace, the usual ones where it has none. A lead
// as long as the interval itself would have the work open as soon as it is
// done, so it is cut to a quarter.
func (p Policy) window(kind TaskKind, every int) window {
	w := usual[kind]
	if p.Lead > 0 {
		w.lead = p.Lead
	}
	if p.Grace > 0 {
		w.grace = p.Grace
	}
	if w.lead >= every {
		w.lead = every / 4
	}
	return w
}

// interval is the shortest that a policy can come to, in days.
func (p Policy) interval() int {
	n := int(p.RunHours / 24)
	if p.RunHours == 0 || (p.Days > 0 && p.Days < n) {
		n = p.Days
	}
	return n
}

// byPolicy is a task at an interval since it was last done.
func byPolicy(a *Assessment, p Policy) Task {
	last, missing := a.lastDone(p)
	return a.sinceLast(p, last, missing, Date{})
}

// sinceLast is a task at an interval since the last entry of it; where there is
// none it counts from the day on which its subject was fitted, or from the first
// day in care.
func (a *Assessment) sinceLast(p Policy, last Entry, missing string, fitted Date) Task {
	task := Task{Kind: p.Task, Source: p.Source}
	task.Subject, task.About = a.subjectOf(p)
	from := a.Clock.InCare
	task.Confidence = "weak: none is logged, counted from the first day in care, " + from.Words()
	if fitted.After(from) {
		from = fitted
		task.Confidence = "weak: none is logged, counted from the day of its fitting, " + from.Words()
	}
	since := "no " + string(p.Task) + " is logged" + missing
	done := !last.At.IsZero()
	if done {
		from = a.dayOf(last.At)
		task.Confidence = "firm: a fixed interval from what is logged on " + from.Words()
		since = string(last.Kind) + " on " + from.Words()
	}
	var every []string
	if p.Days > 0 {
		task.Due = from.Add(p.Days)
		every = append(every, everyWords(p.Days))
	}
	if p.RunHours > 0 {
		every = append(every, Thousands(p.RunHours)+" run-hours")
		if d := a.runHoursAfter(from, a.trainOf(p), p.RunHours); task.Due.IsZero() || d.Before(task.Due) {
			task.Due = d
			if done {
				task.Confidence = "fair: run-hours at the duty of late, from what is logged on " + from.Words() + a.dutyWords(p, from)
			}
		}
	}
	w := p.window(p.Task, p.interval())
	task.From, task.Latest = task.Due.Add(-w.lead), task.Due.Add(w.grace)
	task.Reason = since + "; every " + strings.Join(every, " or ") + inBrackets(p.Reason)
	return task
}

// lastDone is the entry from which a policy's interval counts. A policy for a
// whole clock of several trains counts from the train that waits longest; where
// one was never done there is no entry, and missing names it.
func (a *Assessment) lastDone(p Policy) (last Entry, missing string) {
	if o, ok := a.oilOf(p); ok {
		return o.last, o.missing
	}
	trains := a.Clock.Trains
	if p.Train != "" || p.Bearing != "" || len(trains) == 0 {
		trains = []wear.Train{a.trainOf(p).Train}
	}
	var never []string
	for _, t := range trains {
		e := newest(a.Entries, func(e *Entry) bool {
			return p.counts(e) && (p.Task != Inspection || a.looked(e)) && e.concerns(t.Code) && (e.Bearing == "" || e.Bearing == p.Bearing)
		})
		if e == nil {
			never = append(never, NameOfTrain(t))
		} else if last.At.IsZero() || e.At.Before(last.At) {
			last = *e
		}
	}
	switch len(never) {
	case 0:
		return last, ""
	case len(trains):
		return Entry{}, ""
	}
	return Entry{}, " for the " + strings.Join(never, " and the ")
}

// counts reports whether an entry starts a policy's interval anew, whatever
// train it is about.
func (p Policy) counts(e *Entry) bool {
	switch p.Task {
	case Oiling:
		return e.Kind == Oiled || e.Kind == Cleaned
	case Inspection: // a look at a line alone is none of the clock
		return e.Kind == Inspected && (e.Line == "" || e.Visit)
	case Visiting:
		return e.Kind == Inspected && e.Visit
	case LineLook:
		return p.Line == "" && e.Kind == Inspected || p.Line != "" && e.Line == p.Line && (e.Kind == Inspected || e.Work == NewLine)
	}
	return false
}

// trainOf is the train that a policy goes by: its bearing's, the one it names,
// the going train, or the first there is. A clock with no train gives one that
// is not known to have run.
func (a *Assessment) trainOf(p Policy) *TrainState {
	code := p.Train
	if _, _, t, ok := a.Clock.Bearing(p.Bearing); ok {
		code = t.Code
	}
	for i := range a.Trains {
		st := &a.Trains[i]
		if st.Train.Code == code || (code == "" && a.Clock.speaks(st.Train)) {
			return st
		}
	}
	return &TrainState{unfit: true}
}

// subjectOf is what a policy is about, as a code and in words. A fleet may call
// a bearing as one of the trains: then its code says which of the two is meant,
// so that no two tasks are alike.
func (a *Assessment) subjectOf(p Policy) (code, words string) {
	if b, arbor, _, ok := a.Clock.Bearing(p.Bearing); ok && p.Bearing != "" {
		if _, both := a.Clock.Train(b.Code); both {
			return "bearing/" + b.Code, NameOf(b.Name, arbor.Name)
		}
		return b.Code, NameOf(b.Name, arbor.Name)
	}
	if t, ok := a.Clock.Train(p.Train); ok && p.Train != "" {
		return t.Code, NameOfTrain(t)
	}
	return "", ""
}

// runHoursAfter is the day on which a train has run so many hours since a day;
// a stop puts it off. Where nothing is known of its running it is taken as
// going all the time.
func (a *Assessment) runHoursAfter(from Date, st *TrainState, hours float64) Date {
	if st.unfit {
		return from.Add(int(math.Min(hours/24, farAhead)))
	}
	return a.dayAt(st, st.Running.At(from.Start(a.Zone)).Likely+hours)
}

// fewDays is the longest spread of a day by run-hours that needs no words
// (judgement, no source).
const fewDays = 3

// dutyWords says between which days run-hours fall due, as how much a train runs
// varies; nothing where that is a few days.
func (a *Assessment) dutyWords(p Policy, from Date) string {
	st := a.trainOf(p)
	if st.unfit || st.PerDayLow <= 0 {
		return ""
	}
	slow, fast := *st, *st
	slow.PerDay, fast.PerDay = st.PerDayLow, st.PerDayHigh
	first, last := a.runHoursAfter(from, &fast, p.RunHours), a.runHoursAfter(from, &slow, p.RunHours)
	if last.Sub(first) <= fewDays {
		return ""
	}
	return fmt.Sprintf("; as its running varies, between %s and %s nine times in ten", first.Words(), last.Words())
}

// measuring adds what asks for readings: one task for each bearing that its own risk
// makes urgent, and one visit for the others that policy makes due together.
func measuring(a *Assessment, out []Task) []Task {
	var visits []*Outlook
	for i := range a.Outlooks {
		o := &a.Outlooks[i]
		pol, set := a.Clock.measuringPolicy(o.Train.Code, o.Bearing.Code)
		switch {
		case !set && o.Limit == nil && !o.ReadAgain:
		case o.past != nil && o.past.sure: // its work includes it
		case set && (o.Condition == Sound || o.Condition == "") && pol.Bearing == "":
			visits = append(visits, o)
		default:
			t := measuringTask(pol, o)
			t.Latest = earliest(t.Latest, t.Due.Add(30))
			out = append(out, t)
		}
	}
	slices.SortStableFunc(visits, func(x, y *Outlook) int {
		return cmp.Or(x.Measure.compare(y.Measure), cmp.Compare(x.Bearing.Code, y.Bearing.Code))
	})
	for first := true; len(visits) > 0; first = false {
		pol, _ := a.Clock.measuringPolicy(visits[0].Train.Code, visits[0].Bearing.Code)
		t := measuringTask(pol, visits[0])
		n := 0
		var names, codes []string
		for ; n < len(visits) && !visits[n].Measure.After(t.Due.Add(pol.window(Measuring, pol.interval()).lead)); n++ {
			names = append(names, NameOf(visits[n].Bearing.Name, visits[n].Arbor.Name))
			codes = append(codes, visits[n].Bearing.Code)
		}
		t.Minutes = cmp.Or(pol.Minutes, usualMinutes[Measuring]) + (n-1)*eachMinutes
		if n > 1 {
			t.About, t.bearings = fmt.Sprintf("%d bearings due together", n), codes
			if t.Reason == visits[0].own { // that is of one, not of all
				t.Reason = fmt.Sprintf("first the %s: %s; with it the %s", names[0], t.Reason, strings.Join(names[1:], "; the "))
			} else {
				t.Reason += ": " + strings.Join(names, "; ")
			}
			if first { // later visits keep a bearing's code, so that no two are alike
				t.Subject = ""
			}
		}
		visits = visits[n:]
		out = append(out, t)
	}
	return out
}

// eachMinutes is how much longer it takes to measure one bearing more, once the
// train is let down and the gauge is out (judgement, no source).
const eachMinutes = 15

// measuringTask asks for a reading of one bearing, but not before half the time
// since its last is over.
func measuringTask(pol Policy, o *Outlook) Task {
	wait := max(0, o.Measure.Sub(o.seen))
	w := pol.window(Measuring, pol.interval())
	from := o.Measure.Add(-min(w.lead, wait/2))
	if o.ReadAgain { // at once: whoever read it may still be there
		from = o.seen
	}
	return Task{
		Kind: Measuring, Subject: o.Bearing.Code, About: NameOf(o.Bearing.Name, o.Arbor.Name),
		From: from, Due: o.Measure, Latest: o.Measure.Add(w.grace),
		Reason: o.Why, Source: pol.Source, Confidence: o.Confidence,
	}
}

// nearLimit asks for work on a bearing that comes near its limit. Its window
// runs from half a year before the early date to the likely date, which does not
// move on while the clock stands.
func nearLimit(a *Assessment, o *Outlook) (Task, bool) {
	if o.Limit == nil || !(o.Over || o.Dated || o.held) || o.Early.Sub(a.dayOf(a.Now)) > watchAhead {
		return Task{}, false
	}
	t := Task{
		Kind: NearLimit, Subject: o.Bearing.Code, About: NameOf(o.Bearing.Name, o.Arbor.Name),
		From: o.Early.Add(-usual[NearLimit].lead), Due: o.Early, Latest: o.latest,
		Reason:     o.Sentence + " Limit: " + strings.TrimSuffix(o.Limit.Source, ".") + ".",
		Source:     o.Limit.Source,
		Confidence: o.Confidence, Wears: true,
	}
	switch {
	case o.WithWork():
		t.Next = "Agree on the work with the clockmaker: its readings leave no doubt."
	case o.Measure.After(a.dayOf(a.Now)):
		t.Next = "Read the gauge once more by " + o.Measure.Words() + ", before anybody is booked."
	default:
		t.Next = "Read the gauge once more now, before anybody is booked."
	}
	if o.past != nil {
		t.Past, t.PastLimit, t.Excess = o.PastWords(), o.past.short(), o.past.excess
	}
	return t, true
}

// policy finds the policy that fits a task best: the bearing's own, else the
// train's, else the clock's.
func (c Clock) policy(kind TaskKind, train, bearing string) (Policy, bool) {
	return c.closest(kind, train, bearing, func(p Policy) string { return p.Bearing })
}

// closest finds the policy of a kind that is closest to a part of a train: its
// own, else the train's, else the clock's. own tells which part a policy names.
func (c Clock) closest(kind TaskKind, train, part string, own func(Policy) string) (best Policy, ok bool) {
	score := -1
	for _, p := range c.Policies {
		if p.Task != kind || (p.Train != "" && p.Train != train) || (own(p) != "" && own(p) != part) {
			continue
		}
		s := 0
		if p.Train != "" {
			s = 1
		}
		if own(p) != "" {
			s = 2
		}
		if s > score {
			best, score = p, s
		}
	}
	return best, score >= 0
}
