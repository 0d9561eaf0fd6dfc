package schedule

import (
	"cmp"
	"fmt"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"endshake/wear"
)

// Facts is all there is to know about one clock: its description and its whole
// log, corrections included, in any order. Entries may be added behind those
// given, but these must not be changed afterwards: the answer goes on using them.
type Facts struct {
	Clock   Clock
	Site    Site
	Entries []Entry
	Model   Model
	// Before is an earlier answer for the same clock, of which is taken over
	// what cannot have changed: the answer is the same, and sooner there. Nil: none.
	Before *Assessment
}

// Assess gives the whole answer for one clock at now: run-hours, outlooks on
// its bearings, and tasks. Entries after now are left out, so that a clock can
// be looked at as it stood on an earlier day. Facts that do not fit together
// become Problems; what they do not touch is assessed all the same.
func Assess(f Facts, now time.Time) Assessment {
	a := open(f, now)
	bearings := 0
	for _, t := range f.Clock.Trains {
		for _, arbor := range t.Arbors {
			bearings += len(arbor.Bearings)
		}
	}
	if bearings > 0 {
		a.Outlooks = make([]Outlook, 0, bearings) // growing little by little would copy them
	}
	for i := range a.Trains {
		st := &a.Trains[i]
		for _, arbor := range st.Train.Arbors {
			for _, b := range arbor.Bearings {
				a.Outlooks = append(a.Outlooks, Outlook{})
				if err := a.Outlooks[len(a.Outlooks)-1].look(&a, f.Model, st, arbor, b, suppose{}); err != nil {
					a.Problems = append(a.Problems, fmt.Sprintf("bearing %s: %v.", b.Code, err))
				}
			}
		}
	}
	a.Lines = lineStates(&a)
	a.Time = timekeeping(&a)
	a.Change = changeOf(&a)
	a.Findings = findings(&a)
	a.Tasks = tasks(&a)
	a.Status = status(&a)
	sortLarge(a.Outlooks, worstFirst)
	a.reuse = reuse{} // or each answer would hold all those before it
	return a
}

// open sorts a clock's log and works out how its trains ran and how its oil
// stands: what all else rests on.
func open(f Facts, now time.Time) Assessment {
	a := Assessment{Clock: f.Clock, Site: f.Site, Zone: f.Site.Location(), Now: now, model: f.Model, reuse: f.alike()}
	a.begin = a.inCare()
	a.Entries, a.reuse.kept, a.given = f.counted(now)
	a.reuse.plain = a.reuse.kept > 0 && plainEntries(a.Entries[a.reuse.kept:])
	if n := len(a.Entries); n > 0 {
		a.LastEntry = a.Entries[n-1].At
	}
	if was := a.but(); was != nil {
		a.Locks, a.lockFlags = was.Locks, was.lockFlags
	} else {
		a.Locks, a.lockFlags = locksOf(a.Clock, a.Entries, func(e *Entry) Date { return a.dayOf(e.At) }), lockFlags(&a)
	}
	a.Trains = slices.Grow(a.Trains, len(f.Clock.Trains))
	for _, t := range f.Clock.Trains {
		a.Trains = append(a.Trains, a.assessTrain(t))
	}
	a.Flags = append(a.Flags, a.lockFlags...)
	a.Going, a.Resting, a.Back = standing(&a)
	for i := range a.Trains {
		st := &a.Trains[i]
		st.Wind = windOf(&a, st)
		st.RunsDown = st.Wind.Stops
	}
	a.Flags = append(a.Flags, runFlags(&a)...)
	a.Oils = oils(&a, f.Model)
	return a
}

// inCare is the first instant of the clock in care.
func (a *Assessment) inCare() time.Time {
	if a.begin.IsZero() {
		return a.Clock.InCare.Start(a.Zone)
	}
	return a.begin
}

// Figures behind the duty to expect (judgement, no source).
const (
	// recent is how many years back duty is looked at: whole ones, so that a
	// winter rest counts as often as it comes.
	recent = 3
	// aSeason is the longest stop that may come again next year.
	aSeason = 365 * 24 * time.Hour
	// enough is the least history that a duty is taken from; before, a train
	// is expected to go on all day.
	enough = 30 * 24 * time.Hour
)

// assessTrain works out how a train ran. What of its log does not fit is left
// out of that, and said.
func (a *Assessment) assessTrain(t wear.Train) TrainState {
	st := TrainState{Train: t, PerDay: 24, PerDayLow: 24, PerDayHigh: 24}
	st.sifted = a.sift(t)
	st.WoundAt = st.sifted.woundAt
	r, err := st.sifted.running, st.sifted.err
	if err != nil {
		st.unfit = true
		a.Problems = append(a.Problems, fmt.Sprintf("%s: %v.", NameOfTrain(t), err))
		return st
	}
	for _, o := range st.sifted.odd {
		if o.old {
			a.Flags = append(a.Flags, fmt.Sprintf("%s: %s. From the old book, it counts for nothing in its run-hours.", NameOfTrain(t), o.why))
		} else {
			a.Problems = append(a.Problems, fmt.Sprintf("%s: %s. Until then it counts for nothing in its run-hours.", NameOfTrain(t), o.why))
		}
	}
	st.Running, st.RunHours, st.Going = r, r.At(a.Now), r.Going(a.Now)
	until := st.until(a.Now)
	from := lately(a, st.sifted, until)
	if until.Sub(from) >= enough {
		st.PerDay = 24 * r.Duty(from, until)
	}
	st.duty = a.dutySums(r, from, until, t.Code)
	st.PerDayLow, st.PerDayHigh = min(24*st.duty.low, st.PerDay), max(24*st.duty.high, st.PerDay)
	return st
}

// until is the end of what tells how a train runs: now, or since when it stands.
// That it stands now does not make it run less when it goes again, the less the
// longer nobody starts it.
func (st *TrainState) until(now time.Time) time.Time {
	if since, stands := st.Running.StoppedSince(now); stands {
		return since
	}
	return now
}

// dutySums are the days that a train ran and stood, and the 5 and 95 % points of
// its duty by those.
type dutySums struct{ run, stood, low, high float64 }

// dutySums is how a train did of late. Of a log too short to tell its first month
// counts as if it went on as it does. From one day to the next the sums are often
// the same, and so is what comes of them.
func (a *Assessment) dutySums(r wear.Running, from, now time.Time, train string) dutySums {
	if now.Sub(from) < enough {
		now = from.Add(enough)
	}
	var d dutySums
	d.run, d.stood = r.DutyDays(from, now)
	if was := a.reuse.train(train); was != nil && !was.unfit && was.duty.run == d.run && was.duty.stood == d.stood {
		return was.duty
	}
	d.low, d.high = wear.DutyPoint(d.run, d.stood, .05), wear.DutyPoint(d.run, d.stood, .95)
	return d
}

// lately is since when a train's duty until an instant says what to expect:
// three years, or less where its log is shorter or it came back from a stop too
// long for a season.
func lately(a *Assessment, s *sifted, until time.Time) time.Time {
	from := a.inCare()
	if back := until.AddDate(-recent, 0, 0); back.After(from) {
		from = back
	}
	for _, at := range slices.Backward(s.starts) {
		if at.Before(from) {
			break
		}
		if since, ok := s.running.StoppedSince(at.Add(-1)); ok && at.Sub(since) > aSeason {
			return at
		}
	}
	return from
}

// ranDown reports that a train which stands has used up its last wind, and that
// none was put on since, not even in part.
func ranDown(a *Assessment, st *TrainState) bool {
	stop := newest(a.Entries, func(e *Entry) bool { return e.Kind == Stopped && a.stopsIt(e, st.Train) })
	if stop == nil || stop.Cause != RanDown {
		return false
	}
	wind := newest(a.Entries, func(e *Entry) bool { return e.Kind == Wound && e.concerns(st.Train.Code) })
	return wind == nil || stop.At.After(wind.At)
}

// foundDown reports whether an entry says that a train was found run down.
func (a *Assessment) foundDown(e *Entry, t wear.Train) bool {
	return e.Kind == Stopped && e.Cause == RanDown && a.stopsIt(e, t)
}

// stopsIt reports whether the cause of a stop is a train's own: its weight is
// down when it is named, or when it is the one that drives the hands.
func (a *Assessment) stopsIt(e *Entry, t wear.Train) bool {
	return e.Train == t.Code || e.Train == "" && a.Clock.speaks(t)
}

// ProbablyStopped reports that the clock goes by its log, but has run down by
// its last logged wind, unless somebody wound it and did not write it down.
func (a Assessment) ProbablyStopped() bool {
	return slices.ContainsFunc(a.Trains, func(st TrainState) bool { return st.Wind.Past && a.Clock.speaks(st.Train) })
}

// speaks reports whether the clock goes when a train does: its going train, or
// any where no going train is described.
func (c Clock) speaks(t wear.Train) bool {
	return t.Kind == wear.Going || !slices.ContainsFunc(c.Trains, func(t wear.Train) bool { return t.Kind == wear.Going })
}

// standing tells whether the clock goes and, if it rests on purpose, until
// when. A rest ends with the day on which the clock was meant to go again,
// whether or not a start is logged.
func standing(a *Assessment) (going, resting bool, back Date) {
	for i := range a.Trains {
		st := &a.Trains[i]
		going = going || a.Clock.speaks(st.Train) && st.Going
	}
	if going {
		return true, false, Date{}
	}
	stop, ok := lastStop(a)
	if !ok || (stop.Cause != Rest && stop.Cause != ForWork) || (!stop.Until.IsZero() && a.dayOf(a.Now).After(stop.Until)) {
		return false, false, Date{}
	}
	return false, true, stop.Until
}

// lastStop is the stop of the clock that no start has ended.
func lastStop(a *Assessment) (Entry, bool) {
	e := newest(a.Entries, func(e *Entry) bool {
		if e.Kind != Started && e.Kind != Stopped {
			return false
		}
		t, ok := a.Clock.Train(e.Train)
		return e.Train == "" || ok && a.Clock.speaks(t)
	})
	if e == nil || e.Kind != Stopped {
		return Entry{}, false
	}
	return *e, true
}

// status is the one thing to know about a clock, as a sentence; locks lead it.
func status(a *Assessment) string {
	if s := a.lockWords(); s != "" {
		return s
	}
	if len(a.Problems) > 0 {
		return "Its log does not fit together: " + a.Problems[0]
	}
	next := "Nothing is due."
	if len(a.Tasks) > 0 && a.Tasks[0].State != Resting {
		next = sentenceOf(a.Tasks[0], a.dayOf(a.Now))
	}
	switch {
	case a.Resting && a.Back.IsZero():
		return "Resting, with no day set to go again."
	case a.Resting:
		return "Resting until " + a.Back.Words() + "."
	case a.Going || len(a.Trains) == 0:
		return pastWords(a) + next
	}
	stop, ok := lastStop(a)
	switch {
	case !ok && a.Stance() == RunOut:
		return pastWords(a) + next
	case !ok:
		return "Stopped, and was never logged as started. " + next
	case !stop.Until.IsZero():
		return fmt.Sprintf("Stopped since %s (%s): it was to go again on %s. %s", a.dayOf(stop.At).Words(), stop.Cause, stop.Until.Words(), next)
	}
	return fmt.Sprintf("Stopped since %s (%s). %s", a.dayOf(stop.At).Words(), stop.Cause, next)
}

// sentenceOf says where a task stands: "Winding of the going train is 3 days late."
func sentenceOf(t Task, today Date) string {
	what := Capital(t.What())
	if t.Past != "" {
		return fmt.Sprintf("%s: %s.", what, t.Past)
	}
	switch t.State {
	case Late:
		return fmt.Sprintf("%s is %s late.", what, Days(today.Sub(t.Latest)))
	case Due:
		return fmt.Sprintf("%s is due now, by %s.", what, t.Latest.Words())
	case Open:
		return fmt.Sprintf("%s may be done now, and is due on %s.", what, t.Due.Words())
	}
	return fmt.Sprintf("Next: %s, from %s.", t.What(), t.From.Words())
}

// sortLarge sorts what is large: each is moved once only, and within their own memory.
// Equal ones stay as they come.
func sortLarge[T any](all []T, by func(a, b *T) int) {
	order := make([]int, len(all)) // which belongs where
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(i, j int) int { return by(&all[i], &all[j]) })
	for i := range order {
		if order[i] == i {
			continue
		}
		first, to := all[i], i
		for order[to] != i {
			from := order[to]
			all[to], order[to] = all[from], to
			to = from
		}
		all[to], order[to] = first, to
	}
}

// worstFirst orders outlooks: those to act on, then by share of limit used.
func worstFirst(a, b *Outlook) int {
	return cmp.Or(cmp.Compare(a.Condition.rank(), b.Condition.rank()), cmp.Compare(b.Used, a.Used),
		cmp.Compare(a.Bearing.Code, b.Bearing.Code))
}

// rank orders conditions, the one to act on first.
func (c Condition) rank() int {
	switch c {
	case Act:
		return 0
	case Watch:
		return 1
	case Sound:
		return 2
	}
	return 3
}

// Survey assesses the whole fleet, several clocks at a time: no clock's answer
// depends on another's. The log is by Clock.Slug.
func Survey(fleet Fleet, log map[string][]Entry, m Model, now time.Time) *Snapshot {
	return survey(fleet, log, m, now, nil, never)
}

// survey is Survey, with an earlier snapshot at hand; nil: none. Clocks that
// stay keep their earlier answers.
func survey(fleet Fleet, log map[string][]Entry, m Model, now time.Time, before *Snapshot, stays func(Facts) bool) *Snapshot {
	s := &Snapshot{Now: now, Fleet: fleet, Clocks: make([]Assessment, len(fleet.Clocks))}
	sites := make(map[string]Site, len(fleet.Sites))
	for _, site := range fleet.Sites {
		sites[site.Slug] = site
	}
	old := map[string]*Assessment{}
	if before != nil {
		for i := range before.Clocks {
			old[before.Clocks[i].Clock.Slug] = &before.Clocks[i]
		}
	}
	var next atomic.Int64
	var wg sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), len(fleet.Clocks)) {
		wg.Go(func() {
			for i := int(next.Add(1)) - 1; i < len(fleet.Clocks); i = int(next.Add(1)) - 1 {
				c := fleet.Clocks[i]
				f := Facts{Clock: c, Site: sites[c.Site], Entries: log[c.Slug], Model: m, Before: old[c.Slug]}
				if f.Before != nil && stays(f) {
					s.Clocks[i] = *f.Before
					s.Clocks[i].Clock, s.Clocks[i].Site = f.Clock, f.Site // alike, and shared with the fleet
					continue
				}
				s.Clocks[i] = survive(f, now)
			}
		})
	}
	wg.Wait()
	return s
}

// never has every clock assessed anew.
func never(Facts) bool { return false }

// DataProblem is what it is called when what is kept of a clock cannot be read.
const DataProblem = "data problem"

// survive assesses a clock, unless what is kept of it cannot be read. A fault of the program in one must not take the
// others with it: it becomes a problem of that clock.
func survive(f Facts, now time.Time) (a Assessment) {
	defer func() {
		if r := recover(); r != nil {
			a = Assessment{Clock: f.Clock, Site: f.Site, Zone: f.Site.Location(), Now: now,
				Problems: []string{fmt.Sprintf("it could not be assessed, by a fault of the program: %v.", r)}}
			a.Status = "It could not be assessed; the other clocks could."
		}
	}()
	if len(f.Clock.Damage) > 0 {
		return Assessment{Clock: f.Clock, Site: f.Site, Zone: f.Site.Location(), Now: now, Problems: f.Clock.Damage,
			Status: "Data problem: what is kept of it cannot all be read, so nothing is worked out for it until that is mended; the other clocks are not touched."}
	}
	return Assess(f, now)
}

// With gives a new snapshot in which one clock is assessed anew, at now; the
// others keep their instant, and so does the whole. The old snapshot stays as
// it was.
func (s *Snapshot) With(clock string, entries []Entry, m Model, now time.Time) *Snapshot {
	next := &Snapshot{Now: s.Now, Fleet: s.Fleet, Clocks: slices.Clone(s.Clocks)}
	for i := range s.Clocks {
		if a := &s.Clocks[i]; a.Clock.Slug == clock {
			next.Clocks[i] = survive(Facts{a.Clock, a.Site, entries, m, a}, now)
		}
	}
	return next
}
