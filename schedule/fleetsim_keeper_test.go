package schedule

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"endshake/wear"
)

// keeper is how those who look after one clock are.
type keeper struct {
	winds   float64 // chance to wind on a day on which it is due
	logs    float64 // chance to write a wind down
	deputy  bool    // somebody winds in the holidays
	works   float64 // chance a day to do other work that is due
	oils    float64 // the same for oiling: some late, some never
	repairs float64 // the same for a bearing near its limit
	sees    float64 // chance a day that a stopped clock is noticed
	away    Date    // on holiday until then
}

// clockLife is one clock of the simulated fleet as its days pass.
type clockLife struct {
	c      Clock
	site   Site
	zone   *time.Location
	w      *truth
	k      keeper
	log    []Entry
	before *Assessment
	since  map[string]Date // due or late without a break since, by task
	mended Date            // a stopped clock is being worked at until then
	found  bool            // the stop is logged
	told   map[string]bool // occurrences of reminders
	simCounts
}

// simCounts are what the report counts.
type simCounts struct {
	vanished  []string
	taught    []string // kinds of what left the list with a lesson
	repairs   int
	warned    map[string][2]int // by cause: stops, and those warned of
	unwarned  []string
	done      map[TaskKind][2]int // tasks done, and done late
	reminders int
	months    int
	listed    int // tasks due or late on the first of a month, windings left out
	bands     map[int][3]int
	entries   int
	lessons   bool // one was given since the last day
}

func newLife(i int, seed uint64) *clockLife {
	l := &clockLife{since: map[string]Date{}, told: map[string]bool{}}
	l.warned, l.done, l.bands = map[string][2]int{}, map[TaskKind][2]int{}, map[int][3]int{}
	l.c, l.site, l.w = simClock(i, seed)
	l.zone = l.site.Location()
	l.w.c = &l.c
	r := l.w.r
	l.k = keeper{
		winds: 0.9 + 0.095*r.Float64(), logs: 0.97 + 0.03*r.Float64(), deputy: r.IntN(2) == 0,
		works: []float64{0.15, 0.05, 0.02}[r.IntN(3)], oils: []float64{0.1, 0.03, 0.01, 0.003}[r.IntN(4)],
		repairs: []float64{0.05, 0.02, 0.004}[r.IntN(3)], sees: 0.4 + 0.5*r.Float64(),
	}
	return l
}

// believe sets the truth of the oil by what the engine believes beforehand.
func (l *clockLife) believe() {
	a := Assess(Facts{Clock: l.c, Site: l.site}, l.w.now)
	mu, sigma := math.Log(4), 0.4
	if len(a.Oils) > 0 && a.Oils[0].Life.Sigma > 0 {
		mu, sigma = a.Oils[0].Life.Mu, a.Oils[0].Life.Sigma
	}
	l.w.lnMedian = mu + math.Log(simOil[l.c.Care.Points[0].Kind]) + simSpread*l.w.normal()
	l.w.sigma = sigma
	l.w.oiled()
	l.entry(Oiled, func(e *Entry) { e.Oil = "clock oil" })
	for i := range l.w.c.Trains {
		l.windAll(i == 0)
	}
	for _, b := range l.w.bearings {
		l.measure(b.code)
	}
}

// entry logs something at the truth's now.
func (l *clockLife) entry(kind EntryKind, changes ...change) {
	at := l.w.now.UTC().Truncate(time.Microsecond)
	if n := len(l.log); n > 0 && !at.After(l.log[n-1].At) {
		at = l.log[n-1].At.Add(time.Minute)
	}
	e := Entry{ID: fmt.Sprintf("%s-%05d", l.c.Slug, len(l.log)), Clock: l.c.Slug, Kind: kind, At: at, RecordedAt: at, By: l.c.Duties[0].Person, Source: "page"}
	for _, f := range changes {
		f(&e)
	}
	l.log = append(l.log, e)
	l.entries++
}

// windAll winds all hand-wound trains; logged or not.
func (l *clockLife) windAll(logged bool) {
	for i, t := range l.c.Trains {
		if t.Drive == wear.HandWound {
			l.w.wind(i)
		}
	}
	if logged && l.c.Trains[0].Drive == wear.HandWound {
		l.entry(Wound)
	}
}

// day is one day of the clock: assessed in the morning, looked after by day.
func (l *clockLife) day(day Date, m Model) {
	n := len(l.w.stops)
	l.w.advance(day.At(7, 0, l.zone))
	for _, s := range l.w.stops[n:] {
		l.judge(s, day)
	}
	a := Assess(Facts{Clock: l.c, Site: l.site, Entries: l.log, Model: m, Before: l.before}, day.At(7, 0, l.zone))
	l.compare(a, day)
	l.before, l.entries, l.lessons = &a, 0, false
	n = len(l.w.stops)
	l.w.advance(day.At(10, 0, l.zone))
	l.keep(a, day)
	l.w.advance(day.At(18, 0, l.zone))
	for _, s := range l.w.stops[n:] {
		l.judge(s, day)
	}
}

// keep does what is done on one day.
func (l *clockLife) keep(a Assessment, day Date) {
	r := l.w.r
	if !day.Before(l.k.away) && r.Float64() < 2.5/365 {
		l.k.away = day.Add(7 + r.IntN(12))
	}
	if !l.w.going {
		l.standing(day)
		return
	}
	for i, t := range l.c.Trains { // a silent train is noticed
		if since := l.w.silent[i]; !since.IsZero() && r.Float64() < l.k.sees/2 && !day.Before(l.k.away) {
			l.entry(Stopped, of(t.Code), by(RanDown))
			l.w.wind(i)
			l.entry(Wound, of(t.Code))
			l.entry(Started, of(t.Code))
		}
	}
	wound := false
	for _, t := range a.Tasks {
		if t.State != Due && t.State != Late {
			continue
		}
		if t.Kind == Winding {
			if !wound && (!day.Before(l.k.away) || l.k.deputy) && r.Float64() < l.k.winds {
				wound = true
				l.did(t)
				l.windAll(r.Float64() < l.k.logs)
			}
			continue
		}
		if !day.Before(l.k.away) {
			l.work(a, t)
		}
	}
}

// did counts a task as done.
func (l *clockLife) did(t Task) {
	n := l.done[t.Kind]
	n[0]++
	if t.State == Late {
		n[1]++
	}
	l.done[t.Kind] = n
}

// work does one task that is due, or puts it off.
func (l *clockLife) work(a Assessment, t Task) {
	chance := map[TaskKind]float64{Oiling: l.k.oils, NearLimit: l.k.repairs, TimeChange: 4 * l.k.works}[t.Kind]
	if chance == 0 {
		chance = l.k.works
	}
	if l.w.r.Float64() < chance {
		l.perform(a, t)
	}
}

// perform does one task.
func (l *clockLife) perform(a Assessment, t Task) {
	l.did(t)
	switch t.Kind {
	case Oiling:
		found, residue := l.oilNow(), ResidueClear
		l.entry(Oiled, func(e *Entry) { e.Oil, e.OilFound, e.Residue = "clock oil", found, residue })
		l.w.oiled()
	case Inspection:
		found := l.oilNow()
		l.entry(Inspected, func(e *Entry) { e.Found, e.OilFound = Sound, found })
	case Visiting:
		l.entry(Inspected, func(e *Entry) { e.Found, e.Visit = Sound, true })
	case LineLook:
		l.entry(Inspected, func(e *Entry) { e.Line, e.Check = t.Subject, &LineCheck{} })
	case Measuring:
		for _, o := range a.Outlooks {
			if o.Bearing.Code == t.Subject || t.Subject == "" {
				l.scoreBand(o)
				l.measure(o.Bearing.Code)
			}
		}
	case NearLimit:
		l.repair(t.Subject)
	case Setting:
		l.set()
	case TimeChange:
		l.set(func(e *Entry) { e.Change = a.Change.On })
	case Seasonal:
		l.entry(Noted, note("done"), func(e *Entry) { e.Season = t.Subject })
	case PowerCheck:
		l.entry(Inspected, found(Sound))
	}
}

// oilNow is how the oil is found.
func (l *clockLife) oilNow() OilFound {
	switch left := l.w.oilEnds.Sub(l.w.now); {
	case left <= 0:
		return OilGummed
	case left < simYears(1):
		return OilDarkened
	}
	return OilClean
}

func (l *clockLife) set(changes ...change) {
	was, is := l.w.fast, 0.5*l.w.normal()
	l.w.fast = is
	l.entry(Set, append(changes, func(e *Entry) { e.ErrorFound, e.ErrorLeft = &was, &is })...)
}

func (l *clockLife) bearing(code string) *simBearing {
	i := slices.IndexFunc(l.w.bearings, func(b simBearing) bool { return b.code == code })
	return &l.w.bearings[i]
}

func (l *clockLife) measure(code string) {
	b := l.bearing(code)
	size := b.level + simGauge*l.w.normal()
	if l.w.r.Float64() < simMisread {
		size += 0.3 * l.w.normal()
	}
	l.entry(Measured, onBearing(code), func(e *Entry) {
		e.Reading = &wear.Reading{Shake: wear.SideShake, Value: mm(max(0, size)), Gauge: mm(simGauge)}
	})
}

// scoreBand counts whether a reading about to be taken lies in its 80 % band, by
// year.
func (l *clockLife) scoreBand(o Outlook) {
	if !o.Known || !o.Taught {
		return
	}
	want := o.Wear.Forecast(o.Units(l.w.now), simGauge)
	off := math.Abs(l.bearing(o.Bearing.Code).level + simGauge*l.w.normal() - want.Mean)
	n := l.bands[l.w.now.Year()]
	n[0]++
	if off <= 1.2816*want.SD {
		n[1]++
	}
	l.bands[l.w.now.Year()] = n
}

// repair fits a new bush.
func (l *clockLife) repair(code string) {
	b := l.bearing(code)
	l.repairs++
	b.level = 0.08 + 0.04*l.w.r.Float64()
	l.entry(Repaired, onBearing(code), func(e *Entry) {
		e.Work, e.Fitted, e.FittedSD = NewBush, mm(b.level+simGauge*l.w.normal()), mm(simGauge)
	})
}

// standing is a day of a clock that stands: it is found, worked at, and started.
func (l *clockLife) standing(day Date) {
	w, r := l.w, l.w.r
	cause := map[string]StopCause{"ran down": RanDown, "oil": Fault, "bearing": Fault, "chance": Birds}[w.stop.why]
	if !l.found {
		if r.Float64() >= l.k.sees {
			return
		}
		l.found = true
		l.entry(Stopped, by(cause))
		wait := map[string]int{"ran down": 0, "oil": 3 + r.IntN(20), "bearing": 20 + r.IntN(60), "chance": r.IntN(3)}[w.stop.why]
		l.mended = day.Add(wait)
	}
	if day.Before(l.mended) || day.Before(l.k.away) {
		return
	}
	switch w.stop.why {
	case "oil":
		l.entry(Oiled, func(e *Entry) { e.Oil, e.OilFound = "clock oil", OilGummed })
		w.oiled()
	case "bearing": // what is taken out is measured first
		l.measure(w.stop.about)
		l.repair(w.stop.about)
	case "chance":
		w.nextChance()
	}
	l.windAll(true)
	l.entry(Started)
	w.going, l.found, w.stop = true, false, simStop{}
	l.set()
}

// compare sees that nothing which was due or late has gone from the list without
// an entry, and keeps what the report counts.
func (l *clockLife) compare(a Assessment, day Date) {
	now, visit := map[string]Date{}, ""
	for _, t := range a.Tasks {
		if t.State != Due && t.State != Late {
			continue
		}
		key := string(t.Kind) + "|" + t.Subject
		if key == measuringVisit {
			visit = t.Reason
		}
		if now[key] = day; !l.since[key].IsZero() {
			now[key] = l.since[key]
		}
		if t.Kind != Winding && day.Day == 1 {
			l.listed++
		}
	}
	if day.Day == 1 {
		l.months++
	}
	for key, since := range l.since {
		_, bearing, measuring := strings.Cut(key, measuringVisit)
		if !now[key].IsZero() || l.entries > 0 || key == measuringVisit && asksToMeasure(now) || measuring && bearing != "" && strings.Contains(visit, bearing) {
			continue // a visit that falls apart into its bearings, or a bearing that joins one, is asked for all the same
		}
		if l.lessons {
			kind, _, _ := strings.Cut(key, "|")
			l.taught = append(l.taught, kind)
			continue
		}
		left := ""
		for _, t := range a.Tasks {
			if strings.HasPrefix(key, string(t.Kind)) {
				left += fmt.Sprintf("; %s %q %s, due %s: %s", t.Kind, t.Subject, t.State, t.Due, t.Reason)
			}
		}
		l.vanished = append(l.vanished, fmt.Sprintf("%s %s on %s, due since %s%s", l.c.Slug, key, day, since, left))
	}
	l.since = now
	for _, o := range a.Outlooks {
		l.remind(o)
	}
}

// measuringVisit is the task of reading several bearings at once.
const measuringVisit = string(Measuring) + "|"

// asksToMeasure reports whether any reading is due, of tasks by their names.
func asksToMeasure(tasks map[string]Date) bool {
	for key := range tasks {
		if strings.HasPrefix(key, measuringVisit) {
			return true
		}
	}
	return false
}

// remind counts the reminders that would be mailed of a bearing.
func (l *clockLife) remind(o Outlook) {
	what := ""
	switch {
	case o.Condition == Act || o.Condition == Watch && !o.ReadAgain:
		what = partOccurrence(o, o.Condition)
	case o.ReadAgain:
		what = readingOccurrence(o)
	default:
		return
	}
	if what = o.Bearing.Code + what; !l.told[what] {
		l.told[what] = true
		l.reminders++
	}
}

// judge sees whether a stop that the engine could foresee was warned of: a wind
// due before it, work on oil or a bearing a week before.
func (l *clockLife) judge(s simStop, day Date) {
	if s.why == "chance" {
		n := l.warned[s.why]
		l.warned[s.why] = [2]int{n[0] + 1, n[1]}
		return
	}
	keys, before := []string{"winding|" + s.train}, 0
	switch s.why {
	case "oil":
		keys, before = []string{"oiling|"}, 7
	case "bearing":
		keys, before = []string{"near its limit|" + s.about, "measuring|" + s.about, "measuring|"}, 7
	}
	n := l.warned[s.why]
	n[0]++
	if slices.ContainsFunc(keys, func(k string) bool { return !l.since[k].IsZero() && day.Sub(l.since[k]) >= before }) {
		n[1]++
	} else {
		what := ""
		if s.why == "oil" && len(l.before.Oils) > 0 {
			o := l.before.Oils[0]
			what = fmt.Sprintf(", oiled %s, median %.1f years, risk %.2f, due by it %s, its life ended %s", o.Since, o.Median, o.Risk, o.ByRisk, DateOf(l.w.oilEnds, l.zone))
		}
		l.unwarned = append(l.unwarned, fmt.Sprintf("%s: %s %s on %s%s", l.c.Slug, s.why, s.about, day, what))
	}
	l.warned[s.why] = n
}
