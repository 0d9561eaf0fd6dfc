package schedule

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"time"
)

// YearAhead is the work that the twelve months to come are likely to ask of a
// fleet, month by month. Winding stands apart: those who wind live near.
type YearAhead struct {
	From  Date `json:"from"`
	Until Date `json:"until"` // the first day beyond
	// Standing is what is late at From, or at its limit, with all that the visits
	// for it can do along; its Month is zero. The months leave it out.
	Standing MonthWork   `json:"standing"`
	Months   []MonthWork `json:"months"` // the one of From first, the one of Until last
	Total    MonthWork   `json:"total"`
	// Bearings are those that may come to their limit in the year, with a chance of
	// one in ten or more or a last reading above it: the likeliest first, then the one that is likely soonest.
	Bearings []LikelyWork `json:"bearings"`
	// Others is what all other bearings add to the counts.
	Others LeftOut `json:"others"`
	// Clocks are the same work clock by clock, the one whose bearings want most
	// first; their sums are those of Total.
	Clocks []ClockYear `json:"-"`

	firsts []int // the first day of each of Months, as Date.number tells it
}

// ClockYear is what the year ahead is likely to ask of one clock. A visit, or a
// climb, that serves several clocks of a site counts for the one that it is made
// for.
type ClockYear struct {
	Clock     string // Clock.Slug
	Visits    int
	Hours     float64 // of firm tasks, on the clock alone
	Climbs    int     // to wind
	WindHours float64
	Now       int          // bearings that are at their limit at From
	Works     float64      // how many bearings come to their limit, as expected
	WorkHours float64      // for those
	Bearings  []LikelyWork // in the order of YearAhead.Bearings
}

// MonthWork is the work of one month, or of the whole year.
type MonthWork struct {
	Month     Date             `json:"month"`  // its first day; zero: the whole year
	Visits    int              `json:"visits"` // days on which somebody goes to a site, what can be done together done together
	Tasks     map[TaskKind]int `json:"tasks"`  // firm ones, by kind
	Hours     float64          `json:"hours"`  // of firm tasks, on the clock alone
	Winds     int              `json:"winds"`  // of trains
	Climbs    int              `json:"climbs"` // for those, trains of one site wound together where they can be
	WindHours float64          `json:"windHours"`
	Drops     float64          `json:"drops"` // of oil, by the oil maps
	Parts     []string         `json:"parts"` // to have ready: lines that reach their age
	// Works is how many bearings come to their limit and want work: fewer in one
	// case in ten, as expected, more in one in ten. WorkHours is the same in hours.
	Works     [3]float64 `json:"works"`
	WorkHours [3]float64 `json:"workHours"`
}

// YearAhead works out the work of the twelve months from the day of the
// snapshot. Work that recurs is taken to be done on its last good day, and what
// one visit to a site can do together is one visit. A clock that rests asks for
// nothing until it is to go again.
func (s *Snapshot) YearAhead() YearAhead {
	from := s.Today()
	until := Date{from.Year + 1, from.Month, from.Day}.Add(0)
	var months []Date
	for m := (Date{from.Year, from.Month, 1}); m.Before(until); m = nextMonth(m) {
		months = append(months, m)
	}
	return s.workAhead(from, until, months, false)
}

// workAhead works out the work from a day up to another, apart for each of the times
// that begin on the days given, the first of which is none after from. Where each is
// planned for itself, no visit of one does work whose last good day lies in the next.
func (s *Snapshot) workAhead(from, until Date, firsts []Date, each bool) YearAhead {
	y := YearAhead{From: from, Until: until}
	for _, first := range firsts {
		y.Months = append(y.Months, MonthWork{Month: first, Tasks: map[TaskKind]int{}, Parts: []string{}})
		y.firsts = append(y.firsts, first.number())
	}
	y.Standing = MonthWork{Tasks: map[TaskKind]int{}, Parts: []string{}}
	y.Total = MonthWork{Tasks: map[TaskKind]int{}, Parts: []string{}}
	sites, winds := map[string][]job{}, map[string][]job{}
	var wears []wearing
	y.Clocks = make([]ClockYear, len(s.Clocks))
	for i := range s.Clocks {
		a, c := &s.Clocks[i], &y.Clocks[i]
		c.Clock = a.Clock.Slug
		visits, climbs := sites[a.Clock.Site], winds[a.Clock.Site]
		a.jobs(c, from, y.Until, func(j job) {
			if j.Kind == Winding {
				climbs = append(climbs, j)
			} else {
				visits = append(visits, j)
			}
		})
		sites[a.Clock.Site], winds[a.Clock.Site] = visits, climbs
		for k := range a.Outlooks {
			o := wearing{Outlook: &a.Outlooks[k]}
			if o.Limit == nil {
				continue
			}
			o.maybe = o.perhaps()
			if w := o.likelyWork(a.Clock.Slug, from, y.Until); w.Chance > 0 || w.above {
				wears = append(wears, o)
				y.name(c, w)
			}
		}
	}
	for _, site := range slices.Sorted(maps.Keys(sites)) {
		for _, jobs := range y.planned(sites[site], each) {
			y.visit(jobs)
		}
	}
	for _, site := range slices.Sorted(maps.Keys(winds)) {
		for _, jobs := range y.planned(winds[site], each) {
			y.wind(jobs)
		}
	}
	y.wear(wears)
	y.sort()
	return y
}

// sort puts the worst first: bearings by their chance, clocks by how many are at
// their limit, then by how many are likely to come to it, then by visits.
func (y *YearAhead) sort() {
	likeliest := func(a, b LikelyWork) int {
		return cmp.Or(cmp.Compare(b.Chance, a.Chance), a.Likely.Start(time.UTC).Compare(b.Likely.Start(time.UTC)))
	}
	slices.SortStableFunc(y.Bearings, likeliest)
	for _, c := range y.Clocks {
		slices.SortStableFunc(c.Bearings, likeliest)
	}
	slices.SortStableFunc(y.Clocks, func(a, b ClockYear) int {
		return cmp.Or(cmp.Compare(b.Now, a.Now), cmp.Compare(b.Works, a.Works), cmp.Compare(b.Visits, a.Visits))
	})
}

// nextMonth is the first day of the month after.
func nextMonth(m Date) Date { return DateOf(m.Start(time.UTC).AddDate(0, 1, 0), time.UTC) }

// job is one occurrence of a task in the year ahead.
type job struct {
	*chore
	first, last int  // days as Date.number tells them
	over        bool // it is late before the year begins
}

// chore is a task with what each of its occurrences takes.
type chore struct {
	*Task
	of    *ClockYear
	drops float64
	part  string
}

// jobs gives the occurrences of a clock's firm tasks from a day up to another, those
// of a task after each other.
func (a *Assessment) jobs(of *ClockYear, from, until Date, give func(job)) {
	for i := range a.Tasks {
		t := &a.Tasks[i]
		if t.Wears || t.Kind == NearLimit {
			continue
		}
		begin, asks := a.asksFrom(t, from)
		if !asks {
			continue
		}
		j := job{&chore{Task: t, of: of, drops: a.drops(t)}, latestDay(t.From, begin).number(), latestDay(t.Latest, begin).number(), t.Latest.Before(from) && begin == from}
		if t.Kind == LineAge {
			j.part = fmt.Sprintf("%s: %s", a.Clock.Name, t.What())
			if line, ok := a.damagedLine(t.Subject); ok && begin == from { // now, and not for its age
				j.first, j.last, j.over = line.Found.number(), line.Found.number(), line.Found.Before(from)
			}
		}
		end := until.number()
		if j.last >= end {
			continue
		}
		again := a.recurs(t)
		for j.last < end {
			give(j)
			due := j.last + again.every
			if t.Kind == TimeChange {
				on, ok := a.changeAfter(dayOfNumber(j.last))
				if !ok {
					break
				}
				due = on.number()
			} else if again.every == 0 {
				break
			}
			j.over, j.first, j.last = false, due-again.lead, due+again.grace
		}
	}
}

// asksFrom is the first day, from a day on, on which a task asks for anything; a
// clock that rests asks for nothing until it is to go again.
func (a *Assessment) asksFrom(t *Task, from Date) (begin Date, ok bool) {
	if t.State != Resting || t.Kind == Locked {
		return from, true
	}
	return latestDay(from, a.Back), !a.Back.IsZero()
}

// recurrence is how a task comes again: so many days after it was done it falls
// due, with a window around that. Where every is 0 it does not.
type recurrence struct{ every, lead, grace int }

// recurs is how a task comes again.
func (a *Assessment) recurs(t *Task) recurrence {
	return recurrence{a.every(t), t.Due.Sub(t.From), t.Latest.Sub(t.Due)}
}

// changeAfter is the day of the change of time that follows the one of which a day
// is the last good one.
func (a *Assessment) changeAfter(last Date) (Date, bool) {
	at, _, ok := NextChange(a.Zone, last.Add(7).Start(a.Zone))
	if !ok {
		return Date{}, false
	}
	return a.dayOf(at), true
}

// every is how many days after one occurrence of a task the next falls due; 0:
// it does not come again by itself.
func (a *Assessment) every(t *Task) int {
	switch t.Kind {
	case Winding:
		st, _ := a.Train(t.Subject)
		_, every := a.Clock.windingPolicy(st.Train)
		return max(1, int(every.Hours()/24))
	case Measuring:
		if o, ok := a.Outlook(t.Subject); ok {
			return max(soonest, o.Measure.Sub(o.seen))
		}
		if p, ok := a.Clock.policy(Measuring, "", ""); ok && p.interval() > 0 {
			return p.interval()
		}
		return usualMeasuring
	case Seasonal:
		return 365
	}
	p, ok := a.behind(*t)
	if !ok {
		return 0
	}
	every := p.interval()
	if p.RunHours > 0 {
		every = max(1, every)
	}
	if o, ok := a.oilOf(p); ok && p.Risk > 0 && o.fresh > 0 {
		if byRisk := int(math.Min(o.fresh*365.25, farAhead)); every == 0 || byRisk < every {
			every = max(1, byRisk)
		}
	}
	return every
}

// drops is the oil that an oiling takes, by the clock's oil map.
func (a *Assessment) drops(t *Task) float64 {
	if t.Kind != Oiling {
		return 0
	}
	sum := 0.0
	for _, p := range a.Clock.pointsOf(t.Subject) {
		sum += p.Drops
	}
	return sum
}

func latestDay(a, b Date) Date {
	if a.Before(b) {
		return b
	}
	return a
}

// in is the month that a job falls in.
func (y *YearAhead) in(j job) *MonthWork {
	if j.over {
		return &y.Standing
	}
	return &y.Months[y.month(j.last)]
}

// month is the number of the month of a day, as Date.number tells it.
func (y *YearAhead) month(day int) int {
	i, is := slices.BinarySearch(y.firsts, day)
	if !is {
		i--
	}
	return max(i, 0)
}

// wind puts the winds of one site onto the fewest climbs.
func (y *YearAhead) wind(jobs []job) {
	for _, j := range jobs {
		j.of.WindHours += float64(j.Minutes) / 60
	}
	y.group(jobs, func(m *MonthWork, c *ClockYear) { m.Climbs, c.Climbs = m.Climbs+1, c.Climbs+1 }, func(m *MonthWork, j job) {
		m.Winds++
		m.WindHours += float64(j.Minutes) / 60
	})
}

// visit puts the other jobs of one site onto the fewest days.
func (y *YearAhead) visit(jobs []job) {
	for _, j := range jobs {
		j.of.Hours += float64(j.Minutes) / 60
	}
	y.group(jobs, func(m *MonthWork, c *ClockYear) { m.Visits, c.Visits = m.Visits+1, c.Visits+1 }, func(m *MonthWork, j job) {
		m.Tasks[j.Kind]++
		m.Hours += float64(j.Minutes) / 60
		m.Drops += j.drops
		if j.part != "" {
			m.Parts = append(m.Parts, j.part)
		}
	})
}

// group puts jobs onto the fewest days: whoever must go goes on the last good day
// of what presses most, and does all else that may be done then. For windows that
// is the least number of days there is.
func (y *YearAhead) group(jobs []job, day func(*MonthWork, *ClockYear), do func(*MonthWork, job)) {
	sorted := make([]job, len(jobs))
	for at, i := range byKey(len(jobs), func(i int) int {
		if jobs[i].over {
			return 2 * jobs[i].last
		}
		return 2*jobs[i].last + 1
	}) {
		sorted[at] = jobs[i]
	}
	jobs = sorted
	begins := func(i int) int { return min(jobs[i].first, jobs[i].last) } // no later than its last day, whatever its first
	ahead := byKey(len(jobs), begins)                                     // those that no day so far was late enough for
	done := make([]bool, len(jobs))
	var counted ClockYear // for the whole year: what is a clock's is counted already
	for i, j := range jobs {
		if done[i] {
			continue
		}
		months := []*MonthWork{y.in(j), &y.Total}
		day(months[0], j.of)
		day(months[1], &counted)
		n := 0
		for n < len(ahead) && begins(ahead[n]) <= j.last {
			n++
		}
		today := ahead[:n]
		ahead = ahead[n:]
		slices.Sort(today)
		for _, k := range today {
			done[k] = true
			for _, m := range months {
				do(m, jobs[k])
			}
		}
	}
}

// byKey are the numbers below n in the order of their keys, those of one key as
// they come. A key is within a billion of zero.
func byKey(n int, key func(i int) int) []int {
	keys := make([]int64, n)
	for i := range keys {
		keys[i] = int64(key(i))<<32 + int64(i)
	}
	slices.Sort(keys)
	order := make([]int, n)
	for at, k := range keys {
		order[at] = int(uint32(k))
	}
	return order
}

// Name is what the work of a month is headed with: its month, and where that is
// only in part of the year ahead its days.
func (y YearAhead) Name(m MonthWork) string {
	switch {
	case m.Month.IsZero():
		return "the year"
	case y.From.Day > 1 && m.Month == (Date{y.From.Year, y.From.Month, 1}):
		return fmt.Sprintf("%d to %s", y.From.Day, nextMonth(m.Month).Add(-1).Words())
	case y.Until.Day > 1 && m.Month == (Date{y.Until.Year, y.Until.Month, 1}):
		return "1 to " + y.Until.Add(-1).Words()
	}
	return m.Month.MonthWords()
}

// Text prints the year's work for a terminal or a sheet of paper.
func (y YearAhead) Text() string {
	out := y.Sentence() + "\n\nmonth            visits  hours  climbs to wind  hours of winding  oil, drops  bearings at their limit\n"
	rows := append(append([]MonthWork{y.Standing}, y.Months...), y.Total)
	for i, m := range rows {
		name := y.Name(m)
		if i == 0 {
			name = "standing over"
		}
		out += fmt.Sprintf("%-16s %6d  %5.1f  %14d  %16.1f  %10.0f  %s\n", name, m.Visits, m.Hours, m.Climbs, m.WindHours, m.Drops, m.WorksWords())
		for _, p := range m.Parts {
			if i < len(rows)-1 {
				out += "                 to have ready: " + p + "\n"
			}
		}
	}
	return out
}

// WorksWords says how many bearings are likely to want work.
func (m MonthWork) WorksWords() string {
	if m.Works[1] < .05 {
		return "hardly any"
	}
	return fmt.Sprintf("about %.1f (%.0f to %.0f)", m.Works[1], m.Works[0], m.Works[2])
}

// Sentence is the one thing to know of the year's work.
func (y YearAhead) Sentence() string {
	t := y.Total
	s := fmt.Sprintf("The twelve months from %s ask for %s and %s of work on the clocks, beside %s",
		y.From.Words(), Count(t.Visits, "visit", "visits"), Count(int(math.Round(t.Hours)), "hour", "hours"), Count(t.Climbs, "climb to wind", "climbs to wind"))
	return s + cmp.Or(map[bool]string{true: "; no bearing is likely to come to its limit."}[t.Works[1] < .05],
		fmt.Sprintf("; wear adds work on about %.1f bearings, %.0f hours of it (between %.0f and %.0f).", t.Works[1], t.WorkHours[1], t.WorkHours[0], t.WorkHours[2]))
}
