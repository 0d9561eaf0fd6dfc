package schedule

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/stat/distuv"
)

// YearAhead is the work that the twelve months to come are likely to ask of a
// fleet, month by month. Winding stands apart: those who wind live near.
type YearAhead struct {
	From   Date        `json:"from"`
	Until  Date        `json:"until"`  // the first day beyond
	Months []MonthWork `json:"months"` // the one of From first, the one of Until last
	Total  MonthWork   `json:"total"`
}

// MonthWork is the work of one month, or of the whole year.
type MonthWork struct {
	Month     Date             `json:"month"`  // its first day; zero: the whole year
	Visits    int              `json:"visits"` // days on which somebody goes to a site, what can be done together done together
	Tasks     map[TaskKind]int `json:"tasks"`  // firm ones, by kind
	Hours     float64          `json:"hours"`  // of firm tasks, on the clock alone
	Winds     int              `json:"winds"`
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
	from := s.DueList().Today
	y := YearAhead{From: from, Until: Date{from.Year + 1, from.Month, from.Day}.Add(0)}
	for m := (Date{from.Year, from.Month, 1}); m.Before(y.Until); m = nextMonth(m) {
		y.Months = append(y.Months, MonthWork{Month: m, Tasks: map[TaskKind]int{}, Parts: []string{}})
	}
	y.Total = MonthWork{Tasks: map[TaskKind]int{}, Parts: []string{}}
	sites := map[string][]job{}
	var wears []Outlook
	for _, a := range s.Clocks {
		for _, j := range a.jobs(from, y.Until) {
			if j.Kind == Winding {
				y.wind(j)
			} else {
				sites[a.Clock.Site] = append(sites[a.Clock.Site], j)
			}
		}
		for _, o := range a.Outlooks {
			if o.Limit != nil && (o.Dated || o.Over) {
				wears = append(wears, o)
			}
		}
	}
	for _, jobs := range sites {
		y.visit(jobs)
	}
	y.wear(wears)
	return y
}

// nextMonth is the first day of the month after.
func nextMonth(m Date) Date { return DateOf(m.Start(time.UTC).AddDate(0, 1, 0), time.UTC) }

// job is one occurrence of a task in the year ahead.
type job struct {
	Task
	first, last Date
	drops       float64
	part        string
}

// jobs are the occurrences of a clock's firm tasks from a day up to another.
func (a *Assessment) jobs(from, until Date) []job {
	var out []job
	for _, t := range a.Tasks {
		if t.Wears || t.Kind == NearLimit {
			continue
		}
		begin := from
		if t.State == Resting && t.Kind != Locked {
			if a.Back.IsZero() {
				continue
			}
			begin = latestDay(from, a.Back)
		}
		j := job{Task: t, first: latestDay(t.From, begin), last: latestDay(t.Latest, begin), drops: a.drops(t)}
		if t.Kind == LineAge {
			j.part = fmt.Sprintf("%s: %s", a.Clock.Name, t.What())
		}
		for j.last.Before(until) {
			out = append(out, j)
			due, again := a.again(t, j.last)
			if !again {
				break
			}
			j.first, j.last = due.Add(-t.Due.Sub(t.From)), due.Add(t.Latest.Sub(t.Due))
		}
	}
	return out
}

// again is the day on which a task falls due the next time when it was done on
// another; ok is false where it does not come again by itself.
func (a *Assessment) again(t Task, done Date) (due Date, ok bool) {
	if t.Kind == TimeChange {
		at, _, ok := NextChange(a.Zone, done.Add(7).Start(a.Zone))
		return a.dayOf(at), ok
	}
	every := a.every(t)
	return done.Add(every), every > 0
}

// every is how many days after one occurrence of a task the next falls due; 0:
// it does not come again by itself.
func (a *Assessment) every(t Task) int {
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
	p, ok := a.behind(t)
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
func (a *Assessment) drops(t Task) float64 {
	if t.Kind != Oiling {
		return 0
	}
	sum := 0.0
	for _, p := range a.Clock.Care.Points {
		if t.Subject == "" || p.Train == t.Subject || p.Bearing == t.Subject {
			sum += p.Drops
		}
	}
	return sum
}

func latestDay(a, b Date) Date {
	if a.Before(b) {
		return b
	}
	return a
}

// in is the month that a day falls in.
func (y *YearAhead) in(d Date) *MonthWork {
	i := (d.Year-y.Months[0].Month.Year)*12 + int(d.Month-y.Months[0].Month.Month)
	return &y.Months[min(max(i, 0), len(y.Months)-1)]
}

func (y *YearAhead) wind(j job) {
	for _, m := range []*MonthWork{y.in(j.last), &y.Total} {
		m.Winds++
		m.WindHours += float64(j.Minutes) / 60
	}
}

// visit puts the jobs of one site onto the fewest days: whoever must go goes on
// the last good day of what presses most, and does all else that may be done
// then. For windows that is the least number of days there is.
func (y *YearAhead) visit(jobs []job) {
	slices.SortStableFunc(jobs, func(a, b job) int { return a.last.Start(time.UTC).Compare(b.last.Start(time.UTC)) })
	for len(jobs) > 0 {
		day := jobs[0].last
		months := []*MonthWork{y.in(day), &y.Total}
		for _, m := range months {
			m.Visits++
		}
		jobs = slices.DeleteFunc(jobs, func(j job) bool {
			if j.first.After(day) {
				return false
			}
			for _, m := range months {
				m.Tasks[j.Kind]++
				m.Hours += float64(j.Minutes) / 60
				m.Drops += j.drops
				if j.part != "" {
					m.Parts = append(m.Parts, j.part)
				}
			}
			return true
		})
	}
}

// wear adds the work that wear is likely to ask for.
func (y *YearAhead) wear(outlooks []Outlook) {
	hours := float64(usualMinutes[NearLimit]) / 60
	add := func(m *MonthWork, from, to Date) {
		var chances []float64
		for _, o := range outlooks {
			if p := o.reached(to) - o.reached(from); p > 0 {
				chances = append(chances, p)
			}
		}
		m.Works = countBand(chances)
		for i, n := range m.Works {
			m.WorkHours[i] = n * hours
		}
	}
	long := Date{} // whatever is reached before the first day wants work in the first month
	for i := range y.Months {
		next := nextMonth(y.Months[i].Month)
		if y.Until.Before(next) {
			next = y.Until
		}
		add(&y.Months[i], long, next)
		long = next
	}
	add(&y.Total, Date{}, y.Until)
}

// reached is the chance that a bearing's limit is reached by a day, from the
// three dates of its forecast: straight between them in deviations of the
// normal law, and beyond them.
func (o Outlook) reached(by Date) float64 {
	if by.IsZero() {
		return 0
	}
	if o.Over || !o.Dated {
		return 1
	}
	const tenth = 1.2815515655446004 // of the normal law: nine in ten are below
	before, after := float64(max(1, o.Likely.Sub(o.Early))), float64(max(1, o.Late.Sub(o.Likely)))
	z := float64(by.Sub(o.Likely))
	if z < 0 {
		z *= tenth / before
	} else {
		z *= tenth / after
	}
	return distuv.UnitNormal.CDF(z)
}

// countBand is how many of things come true that each have a chance, one apart
// from another: the count that one case in ten stays below, the mean, and the
// count that one in ten goes beyond.
func countBand(chances []float64) [3]float64 {
	dist := []float64{1}
	mean := 0.0
	for _, p := range chances {
		mean += p
		next := make([]float64, len(dist)+1)
		for k, q := range dist {
			next[k] += q * (1 - p)
			next[k+1] += q * p
		}
		for len(next) > 1 && next[len(next)-1] < 1e-9 {
			next = next[:len(next)-1]
		}
		dist = next
	}
	at := func(q float64) float64 {
		sum := 0.0
		for k, p := range dist {
			if sum += p; sum >= q {
				return float64(k)
			}
		}
		return float64(len(dist) - 1)
	}
	return [3]float64{at(.1), math.Round(mean*100) / 100, at(.9)}
}

// Text prints the year's work for a terminal or a sheet of paper.
func (y YearAhead) Text() string {
	out := y.Sentence() + "\n\nmonth          visits  hours  winds  hours of winding  oil, drops  bearings at their limit\n"
	for _, m := range append(slices.Clone(y.Months), y.Total) {
		name := "the year"
		if !m.Month.IsZero() {
			name = m.Month.MonthWords()
		}
		out += fmt.Sprintf("%-14s %6d  %5.1f  %5d  %16.1f  %10.0f  %s\n", name, m.Visits, m.Hours, m.Winds, m.WindHours, m.Drops, m.WorksWords())
		for _, p := range m.Parts {
			if !m.Month.IsZero() {
				out += "               to have ready: " + p + "\n"
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
		y.From.Words(), Count(t.Visits, "visit", "visits"), Count(int(math.Round(t.Hours)), "hour", "hours"), Count(t.Winds, "winding", "windings"))
	return s + cmp.Or(map[bool]string{true: "; no bearing is likely to come to its limit."}[t.Works[1] < .05],
		fmt.Sprintf("; wear adds work on about %.1f bearings, %.0f hours of it (between %.0f and %.0f).", t.Works[1], t.WorkHours[1], t.WorkHours[0], t.WorkHours[2]))
}
