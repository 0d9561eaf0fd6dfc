package schedule

import (
	"slices"
	"time"

	"endshake/schedule/round"
)

// RoundAsk is what is asked of [Snapshot.Rounds].
type RoundAsk struct {
	Months int    // 1 to 12; 0: 3
	Person string // whose days alone are shown; empty: everybody's. The plan is the same.
	Travel Travel
	Marks  []RoundMark
}

// Rounds are the days of visits that are proposed.
type Rounds struct {
	From  Date        `json:"from"`
	Until Date        `json:"until"` // the last day that is shown
	Days  []RoundDay  `json:"days"`
	Unmet []UnmetTask `json:"unmet"`
	// Winds is how many winds the plan leaves to those who live near.
	Winds int      `json:"winds"`
	Notes []string `json:"notes"` // what the plan had to take for granted, a sentence each

	none  string             // why the person asked for has no days; empty: they go on rounds
	taken []string           // the notes but for what is left to those who live near
	left  map[TaskKind][]int // what is left to those who live near: the last good days
}

// RoundDay is one day of one person.
type RoundDay struct {
	Person string      `json:"person"` // Person.Slug
	Day    Date        `json:"day"`
	Leave  Minutes     `json:"leave"`
	Back   Minutes     `json:"back"`
	Travel float64     `json:"travelMinutes"` // on the way, whole minutes
	Km     float64     `json:"km"`            // 0: not known
	Stops  []RoundStop `json:"stops"`
	Why    string      `json:"why"` // why this day, in a sentence
}

// RoundStop is a visit to one site, in the order of the day.
type RoundStop struct {
	Site   string      `json:"site"` // Site.Slug
	Arrive Minutes     `json:"arrive"`
	Leave  Minutes     `json:"leave"`
	Tasks  []RoundTask `json:"tasks"`
	Two    bool        `json:"two"`    // a second person has to be there
	Second string      `json:"second"` // Person.Slug of who is free that day; empty: ask for one
	First  Date        `json:"first"`  // the first and the last of the days on which
	Last   Date        `json:"last"`   // the visit could be
	Why    string      `json:"why"`    // why it is on this day, in a sentence
	Set    bool        `json:"set"`    // kept by hand
	// Against says what speaks against a visit that was kept by hand, a sentence each: it
	// is in the plan all the same.
	Against []string `json:"against,omitempty"`
}

// RoundTask is a task as the day has it: its window is that of this occurrence.
type RoundTask struct {
	Task
	Again bool `json:"again"` // it is not due yet but will be once what is due now is done
	Kept  bool `json:"kept"`  // for this day by hand, whatever its own window
}

// UnmetTask is a task that no day of the plan holds in time.
type UnmetTask struct {
	Task
	Why string `json:"why"` // in a sentence, with what would mend it
	Day Date   `json:"day"` // on which it is done all the same; zero: on none
}

// Rounds plans the visits of the months to come: few days and little travel, such
// that no task passes its last good day where that can be helped. Days are those of
// each site's own calendar. The same snapshot, marks and day give the same plan, and
// what was kept by hand stays in it. It is made for mostMonths however many are shown:
// else a day would be another with more of them.
func (s *Snapshot) Rounds(ask RoundAsk, now time.Time) Rounds {
	return s.roundsOver(ask, now, mostMonths)
}

// roundsOver plans some months, and shows those that are asked for.
func (s *Snapshot) roundsOver(ask RoundAsk, now time.Time, months int) Rounds {
	r := s.rounding(ask, now, months)
	return r.told(round.Plan(r.p)).Ahead(ask.Months)
}

// How far ahead rounds are shown where nobody says, and planned.
const (
	usualMonths = 3
	mostMonths  = 12
)

// roundsEnd is the hour of a day from which its rounds are over (judgement, no
// source): until then whoever is out finds today's list.
const roundsEnd = 17

// horizon is the days that are planned: from today, or from tomorrow once today's
// rounds are over.
func (s *Snapshot) horizon(now time.Time, months int) (from, until Date) {
	zone := time.UTC
	if len(s.Clocks) > 0 && s.Clocks[0].Zone != nil {
		zone = s.Clocks[0].Zone
	}
	if from = DateOf(now, zone); now.In(zone).Hour() >= roundsEnd {
		from = from.Add(1)
	}
	return from, from.monthsOn(months)
}

// monthsOn is the same day some months later; 0 stands for the usual number.
func (d Date) monthsOn(months int) Date {
	if months = min(max(months, 0), mostMonths); months == 0 {
		months = usualMonths
	}
	return Date{d.Year, d.Month + time.Month(months), d.Day}.Add(0)
}

// rounding is a plan in the making: the problem, and what its numbers stand for.
type rounding struct {
	s           *Snapshot
	ask         RoundAsk
	from, until Date
	sites       []Site
	people      []Person // those who go on rounds, then those who can only be second
	goers       int      // how many of them go
	taken       bool     // nobody goes on rounds: it is taken who would
	jobs        []roundJob
	km          [][]float64 // by place; below 0: not known
	p           round.Problem
	left        map[TaskKind][]int // what is left to those who live near: the last good days
	notes       []string
	numbers     roundNumbers
}

// roundNumbers finds what has a number.
type roundNumbers struct{ site, person map[string]int }

// roundJob is what a job of the problem stands for.
type roundJob struct {
	a     *Assessment
	t     Task // with the window of the job
	again bool // a later occurrence of a task that is asked for now
	kept  bool // for one day by hand
	recurrence
}

// rounding puts the fleet's due-list as a problem.
func (s *Snapshot) rounding(ask RoundAsk, now time.Time, months int) *rounding {
	r := &rounding{s: s, ask: ask, left: map[TaskKind][]int{}, numbers: roundNumbers{map[string]int{}, map[string]int{}}}
	r.from, r.until = s.horizon(now, months)
	r.p.From, r.p.Until = r.from.number(), r.until.number()
	r.staff()
	r.gather()
	r.seconds()
	r.open()
	r.travel()
	r.marks()
	return r
}

// The usual days of those who are taken to go on rounds where nobody said who does
// (common practice, no source).
var usualGoing = Going{
	Days: []time.Weekday{time.Monday, time.Tuesday, time.Wednesday, time.Thursday, time.Friday}, From: 9 * 60, To: 17 * 60,
}

// staff lists who goes on rounds, and says where that had to be taken for granted.
func (r *rounding) staff() {
	for _, p := range r.s.Fleet.People {
		if p.Going.Goes() {
			r.person(p)
		}
	}
	if r.taken = len(r.people) == 0; r.taken {
		r.take()
	}
	r.goers = len(r.people)
	for _, p := range r.people {
		hours := make([]round.Hours, r.until.Sub(r.from))
		for i := range hours {
			from, to, _ := p.Going.On(r.from.Add(i))
			hours[i] = round.Hours{From: int(from), To: int(to)}
		}
		r.p.People = append(r.p.People, round.Person{Goes: hours})
	}
}

func (r *rounding) person(p Person) int {
	n := len(r.people)
	r.people, r.numbers.person[p.Slug] = append(r.people, p), n
	return n
}

// take has conservators and keepers go on rounds on weekdays.
func (r *rounding) take() {
	on := map[string]bool{}
	for _, c := range r.s.Fleet.Clocks {
		for _, d := range c.Duties {
			on[d.Person] = on[d.Person] || d.Role == Conservator || d.Role == Keeper
		}
	}
	for _, p := range r.s.Fleet.People {
		if on[p.Slug] {
			away, home := p.Going.Away, p.Going.Home
			p.Going = usualGoing
			p.Going.Away, p.Going.Home = away, home
			r.person(p)
		}
	}
	if len(r.people) > 0 {
		r.note("Nobody has said who goes on rounds: conservators and keepers are taken as out on weekdays from 9 to 17. Say on the page of a person on which days they go.")
	}
}

func (r *rounding) note(s string) { r.notes = append(r.notes, s) }

// site is the number of a clock's site.
func (r *rounding) site(site Site) int {
	n, ok := r.numbers.site[site.Slug]
	if !ok {
		n = len(r.sites)
		r.sites, r.numbers.site[site.Slug] = append(r.sites, site), n
	}
	return n
}

// nearby is the work that whoever lives near does, unless the first person named for
// it goes on rounds: it comes often, or must be done at once (common practice, no
// source).
var nearby = []TaskKind{Winding, TimeChange, Setting, PowerCheck}

// gather makes jobs of the tasks, but for those that are left to who lives near.
func (r *rounding) gather() {
	for i := range r.s.Clocks {
		a := &r.s.Clocks[i]
		left := map[*Task]bool{}
		for k := range a.Tasks {
			if t := &a.Tasks[k]; slices.Contains(nearby, t.Kind) && len(t.People) > 0 && (r.taken || !r.goes(t.People[0])) {
				left[t] = true
			} else {
				r.task(a, t)
			}
		}
		a.jobs(nil, r.from, r.until, func(j job) {
			if left[j.Task] {
				r.left[j.Kind] = append(r.left[j.Kind], j.last)
			}
		})
	}
}

func (r *rounding) goes(person string) bool {
	n, ok := r.numbers.person[person]
	return ok && n < r.goers
}

// task makes jobs of one task: one that comes again by itself, or of what has days
// of its own each time one for each.
func (r *rounding) task(a *Assessment, t *Task) {
	begin, asks := a.asksFrom(t, r.from)
	if !asks {
		return
	}
	j := roundJob{a: a, t: *t, recurrence: a.recurs(t)}
	if begin != r.from {
		j.t.From, j.t.Latest = latestDay(t.From, begin), latestDay(t.Latest, begin)
	}
	first := j.t
	switch t.Kind {
	case TimeChange:
		j.every = 0
		for last := t.Latest; ; {
			r.job(j)
			on, ok := a.changeAfter(last)
			if !ok || !on.Before(r.until) {
				return
			}
			j.again, last = true, on.Add(j.grace)
			j.t = first.on(on.Add(-j.lead), on, last, "the next change of time, on "+on.Words())
		}
	case Seasonal:
		j.every = 0
		r.job(j)
		if from := t.From.Add(365); !t.startsAgain() && from.Before(r.until) {
			j.again = true
			j.t = first.on(from, t.Due.Add(365), t.Latest.Add(365), "the same of the year after")
			r.job(j)
		}
	default:
		r.job(j)
	}
}

// on is a later occurrence of a task.
func (t Task) on(from, due, latest Date, reason string) Task {
	t.From, t.Due, t.Latest, t.Reason = from, due, latest, reason
	t.State, t.Rank, t.Past, t.PastLimit, t.Excess = Ahead, Plain, "", "", 0
	return t
}

// job takes a job in, unless it can wait until all that is planned is over.
func (r *rounding) job(j roundJob) {
	if !j.t.From.Before(r.until) {
		return
	}
	by := []int{}
	for _, p := range j.t.People {
		if n, ok := r.numbers.person[p]; ok {
			by = append(by, n)
		}
	}
	r.p.Jobs = append(r.p.Jobs, round.Job{
		Site: r.site(j.a.Site), First: j.t.From.number(), Last: max(j.t.From.number(), j.t.Latest.number()), Minutes: j.t.Minutes, By: by,
		Two: j.a.takesTwo(&j.t), Every: j.every, Lead: j.lead, Grace: j.grace,
	})
	r.jobs = append(r.jobs, j)
}

// takesTwo reports whether a task takes a second person: where its policy says so,
// and the work on a line or a worn bearing always (common practice, no source).
func (a *Assessment) takesTwo(t *Task) bool {
	if t.Kind == LineAge || t.Kind == NearLimit {
		return true
	}
	p, ok := a.behind(*t)
	return ok && p.Two
}

// seconds finds who may come along where two are needed: whoever else goes on
// rounds, and who holds a duty for the clock.
func (r *rounding) seconds() {
	for i := range r.p.Jobs {
		j := &r.p.Jobs[i]
		if !j.Two {
			continue
		}
		c := &r.jobs[i].a.Clock
		for n := range r.goers {
			j.With = append(j.With, n)
		}
		for _, d := range c.Duties {
			if n, ok := r.numbers.person[d.Person]; d.Role != Owner && (!ok || n >= r.goers) {
				j.With = append(j.With, r.helper(d.Person))
			}
		}
	}
}

// helper is the number of somebody who goes on no rounds of their own, and may
// come along on any day on which they are not away.
func (r *rounding) helper(slug string) int {
	if n, ok := r.numbers.person[slug]; ok {
		return n
	}
	p, _ := r.s.Fleet.Person(slug)
	p.Slug = slug
	p.Going.Days, p.Going.From, p.Going.To = []time.Weekday{0, 1, 2, 3, 4, 5, 6}, 0, 24*60
	hours := make([]round.Hours, r.until.Sub(r.from))
	for i := range hours {
		from, to, _ := p.Going.On(r.from.Add(i))
		hours[i] = round.Hours{From: int(from), To: int(to)}
	}
	r.p.People = append(r.p.People, round.Person{Goes: hours})
	return r.person(p)
}

// open fills in when sites let people in.
func (r *rounding) open() {
	for _, m := range r.ask.Marks { // a site may be gone to that asks for nothing
		if site, ok := r.s.Fleet.Site(m.Site); ok && m.Kind == SetVisit {
			r.site(site)
		}
	}
	for _, site := range r.sites {
		to := round.Site{Climb: int(site.Reach.Climb), Notice: site.Reach.Notice}
		if len(site.Reach.Open)+len(site.Reach.Shut) > 0 {
			to.Open = make([]round.Hours, r.until.Sub(r.from))
			for i := range to.Open {
				from, until, _ := site.Reach.On(r.from.Add(i))
				to.Open[i] = round.Hours{From: int(from), To: int(until)}
			}
		}
		r.p.Sites = append(r.p.Sites, to)
	}
}

// travel fills in the ways between sites and homes.
func (r *rounding) travel() {
	var spots []spot
	for _, s := range r.sites {
		spots = append(spots, spot{name: s.Slug, at: s.Reach.At})
	}
	for i, p := range r.people {
		r.p.People[i].Home = len(spots)
		spots = append(spots, spot{name: HomeOf(p.Slug), at: p.Going.Home, near: p.Going.Home == nil && !r.homeGiven(p.Slug)})
	}
	guessed, crow := map[int]bool{}, false
	r.km, r.p.Travel = make([][]float64, len(spots)), make([][]float64, len(spots))
	for i := range spots {
		r.km[i], r.p.Travel[i] = make([]float64, len(spots)), make([]float64, len(spots))
		for j := range spots {
			trip, known := r.ask.Travel.way(spots[i], spots[j])
			r.p.Travel[i][j], r.km[i][j] = trip.Minutes, trip.Km
			if trip.Km == 0 && trip.Minutes > 0 {
				r.km[i][j] = -1
			}
			if !known {
				for _, k := range []int{i, j} {
					guessed[k] = guessed[k] || spots[k].at == nil
				}
			}
			_, given := r.ask.Travel.Matrix[[2]string{spots[i].name, spots[j].name}]
			crow = crow || known && !given && trip.Minutes > 0
		}
	}
	r.tellWays(guessed, crow)
}
