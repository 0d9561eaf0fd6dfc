package web

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"endshake/schedule"
)

// roundPage is one person's day of visits.
type roundPage struct {
	Head   string
	Lede   string
	Why    string
	Done   string // what a form came to; empty: none was sent
	Gone   bool   // the plan holds no such day
	Plan   string // address of the plan
	Mine   string // address of one's own days; empty: it is another's day
	Stops  []stopView
	Whole  markForm // of the whole day
	Faults []fault
	Kit    kitView
}

// stopView is a visit to one site.
type stopView struct {
	ID, Time, Site string
	Arrive         string
	Place, Access  string
	Second         string
	Days           string // on which the visit could be
	Why            string
	Set            bool
	Against        []string // what speaks against a visit that was kept by hand
	Idle           bool     // it was kept, and nothing is left to do
	Lift           *markLine
	Clocks         []stopClock
	Form           markForm
}

// stopClock is what is to be done at one clock of a site.
type stopClock struct {
	Slug, Name, Sum string
	Tasks           []stopTask
}

// Few reports that its tasks need not be folded away.
func (c stopClock) Few() bool { return len(c.Tasks) <= 3 }

// stopTask is a task of a day.
type stopTask struct {
	What, Days, Reason string
	Again              bool
	Form, FormWords    string // where it is logged; empty: not yet, or not by the reader
}

// markForm keeps a visit, leaves it out or has it on another day.
type markForm struct {
	ID, Action, Site string
	What             string // "the visit to the quay", "the whole day"
	Why, To          string // as typed
	Least, Most      string // days that it can be moved to
	May              bool   // the reader may decide of it
	Open, Set        bool
	WhyFault, Fault  string
	Whose            string
}

// asked of a round: whose it is, and when.
type roundAsked struct {
	person, name string
	day          schedule.Date
}

// toRound reads the address of a day, and finds it in the plan; found is false where
// the plan does not hold it. Of a day that is not the reader's to see it answers that
// there is no such page.
func (s *server) toRound(w http.ResponseWriter, r *http.Request) (p planned, of roundAsked, d schedule.RoundDay, found, ok bool) {
	day, err := schedule.ParseDate(r.PathValue("day"))
	if err != nil {
		s.nowhere(w, r)
		return p, of, d, false, false
	}
	snap, ok := s.snapshot(w, r)
	if !ok {
		return p, of, d, false, false
	}
	months, faults := readMonths(r.URL.Query())
	if len(faults) > 0 || !r.URL.Query().Has("months") {
		months = reaching(snap.Today(), day)
	}
	if p, ok = s.plan(w, r, months); !ok {
		return p, of, d, false, false
	}
	of = roundAsked{person: r.PathValue("person"), day: day}
	name, known := p.person(of.person)
	d, found = p.day(of.person, day)
	if !known || !found && !p.may("", of.person) {
		s.nowhere(w, r)
		return p, of, d, false, false
	}
	of.name = name
	return p, of, d, found, true
}

// reaching is for how many months a plan must be asked to hold a day.
func reaching(today, day schedule.Date) int {
	n := 12*(day.Year-today.Year) + int(day.Month) - int(today.Month)
	if day.Day >= today.Day {
		n++
	}
	return min(max(n, usualMonths), mostMonths)
}

func (s *server) round(w http.ResponseWriter, r *http.Request) {
	p, of, d, found, ok := s.toRound(w, r)
	if !ok {
		return
	}
	s.showRound(w, r, http.StatusOK, p, of, d, found, markAsked{}, nil)
}

func (s *server) showRound(w http.ResponseWriter, r *http.Request, status int, p planned, of roundAsked, d schedule.RoundDay, found bool, asked markAsked, faults []fault) {
	page := roundPage{Head: dayWords(of.day) + ": " + of.name, Gone: !found, Plan: p.planAt(), Done: p.done(r.URL.Query()), Faults: faults}
	if s.Logins != nil && of.person == p.by.Person {
		page.Mine = "/me/rounds"
	}
	if found {
		page.Lede, page.Why = p.dayLede(d), d.Why
		for i, stop := range d.Stops {
			v := p.stopView(of.day, stop, i)
			v.Form = s.markForm(r, p, of, stop.Site, asked, faults)
			v.Form.ID, v.Form.What, v.Form.Set, v.Form.May = v.ID, "the visit to "+v.Site, stop.Set, p.may(stop.Site, of.person)
			if v.Idle = stop.Set && len(stop.Tasks) == 0; v.Idle {
				v.Lift = p.lifting(stop.Site, of)
			}
			page.Stops = append(page.Stops, v)
		}
		page.Whole = s.markForm(r, p, of, "", asked, faults)
		page.Whole.ID, page.Whole.What, page.Whole.May = "day", "the whole day", len(d.Stops) > 1 && p.may("", of.person)
		kit, err := s.kitView(p, d)
		if err != nil {
			s.fault(w, r, err)
			return
		}
		page.Kit = kit
	} else {
		page.Lede = fmt.Sprintf("The plan holds no visits of %s on %s.", of.name, dayWords(of.day))
	}
	title := page.Head
	if len(faults) > 0 {
		title = "Nothing was changed: " + title
	}
	s.show(w, r, status, "round", view{Title: title, Here: "/rounds", Body: page})
}

// lifting is what takes a visit back that was kept by hand; nil: it is not the
// reader's to lift.
func (p planned) lifting(site string, of roundAsked) *markLine {
	for i, m := range p.decided() {
		if m.Kind == schedule.SetVisit && m.Site == site && m.Day == of.day && (m.Person == of.person || m.Person == "") {
			l := p.markLine(m, i+1)
			return &l
		}
	}
	return nil
}

// planAt is the address of the plan that a day is of.
func (p planned) planAt() string {
	if p.months == usualMonths {
		return "/rounds"
	}
	return fmt.Sprint("/rounds?months=", p.months)
}

// dayLede is the one thing to know of a day: how many sites, how long, how far.
func (p planned) dayLede(d schedule.RoundDay) string {
	n := 0
	for _, stop := range d.Stops {
		n += len(stop.Tasks)
	}
	out := schedule.Capital(numbered(len(d.Stops))) + " sites, "
	if len(d.Stops) == 1 {
		out = p.siteName(d.Stops[0].Site) + ", "
	}
	out += schedule.Count(n, "task", "tasks") + "."
	if d.Back > d.Leave {
		out += fmt.Sprintf(" Leave at %s, back by %s: %s", clockTime(d.Leave), clockTime(d.Back), outFor(int(d.Back-d.Leave)))
		if km := farWords(d.Km); km != "" {
			out += " and " + km
		}
		out += "."
	}
	return out
}

func (p planned) stopView(day schedule.Date, stop schedule.RoundStop, i int) stopView {
	v := stopView{ID: fmt.Sprint("stop-", i+1), Time: "about " + clockTime(stop.Arrive), Arrive: clockTime(stop.Arrive), Site: p.siteName(stop.Site),
		Second: p.second(stop), Why: stop.Why, Set: stop.Set, Against: stop.Against}
	if stop.Leave > stop.Arrive {
		v.Time = clockTime(stop.Arrive) + " to " + clockTime(stop.Leave)
	}
	if site, ok := p.site(stop.Site); ok {
		v.Place, v.Access = site.Place, site.Access
	}
	if stop.Why == "" && !stop.First.IsZero() && !stop.Last.IsZero() { // else it says so
		v.Days = "from " + stop.First.Words() + " to " + stop.Last.Words()
		if stop.First == stop.Last {
			v.Days = "on " + stop.First.Words() + " alone"
		}
	}
	minutes := map[string]int{}
	for _, t := range stop.Tasks {
		k := slices.IndexFunc(v.Clocks, func(c stopClock) bool { return c.Slug == t.Clock })
		if k < 0 {
			k = len(v.Clocks)
			v.Clocks = append(v.Clocks, stopClock{Slug: t.Clock, Name: t.Clock})
		}
		c := &v.Clocks[k]
		c.Tasks = append(c.Tasks, p.stopTask(day, t, c))
		minutes[t.Clock] += t.Minutes
	}
	for i := range v.Clocks {
		c := &v.Clocks[i]
		c.Sum = schedule.Count(len(c.Tasks), "task", "tasks")
		if n := minutes[c.Slug]; n > 0 {
			c.Sum += ", about " + outFor(n)
		}
	}
	return v
}

// stopTask is a task in words, with where it is logged once the day has come; it
// tells its clock what that is called.
func (p planned) stopTask(day schedule.Date, t schedule.RoundTask, c *stopClock) stopTask {
	out := stopTask{What: schedule.Capital(t.What()), Reason: t.Reason, Again: t.Again, Days: goodDays(t.Task)}
	i, ok := p.rd.index[t.Clock]
	if !ok {
		return out
	}
	a := &p.rd.snap.Clocks[i]
	c.Name = a.Clock.Name
	if !t.Again && !day.After(p.today) {
		l := newTaskLine(p.by, p.rd.seen.Fleet, zoned(*a), t.Task)
		out.Form, out.FormWords = l.Form, l.FormWords
	}
	return out
}

// myRounds shows somebody their own days, the next first.
func (s *server) myRounds(w http.ResponseWriter, r *http.Request) {
	p, ok := s.plan(w, r, usualMonths)
	if !ok {
		return
	}
	page := myRoundsPage{}
	for i, d := range p.days(p.by.Person) {
		m := myDay{At: p.roundAt(d.Person, d.Day), When: dayWords(d.Day), Ahead: aheadWords(d.Day, p.today), Out: outWords(d), Next: i == 0}
		for _, stop := range d.Stops {
			v := p.stopView(d.Day, stop, 0)
			v.ID = fmt.Sprintf("%s-%s", d.Day, stop.Site)
			m.Stops = append(m.Stops, v)
		}
		page.Days = append(page.Days, m)
	}
	for _, d := range p.rounds.Days {
		for _, stop := range d.Stops {
			if stop.Second == p.by.Person && p.by.Person != "" {
				page.Along = append(page.Along, p.along(d, stop))
			}
		}
	}
	page.Along = slices.DeleteFunc(page.Along, func(l string) bool { return l == "" })
	page.Lede = "No day of visits is planned for you" + p.until() + "."
	if n := len(page.Days); n > 0 {
		page.Lede = fmt.Sprintf("%s of yours%s.", schedule.Count(n, "day", "days"), p.until())
	}
	s.show(w, r, http.StatusOK, "myrounds", view{Title: "Your rounds", Here: "/rounds", Body: page})
}

// myRoundsPage is somebody's own days.
type myRoundsPage struct {
	Lede  string
	Days  []myDay
	Along []string // days on which they come along as the second, in words
}

// myDay is one of them.
type myDay struct {
	At, When, Ahead, Out string
	Next                 bool
	Stops                []stopView
}

// aheadWords says how far ahead a day is: "today", "tomorrow", "in 8 days".
func aheadWords(d, today schedule.Date) string {
	switch n := d.Sub(today); {
	case n <= 0:
		return "today"
	case n == 1:
		return "tomorrow"
	default:
		return "in " + schedule.Days(n)
	}
}

// along says when and where somebody comes along; empty where they may not see it.
func (p planned) along(d schedule.RoundDay, stop schedule.RoundStop) string {
	if !slices.ContainsFunc(stop.Tasks, func(t schedule.RoundTask) bool { return p.sees(t.Clock) }) {
		return ""
	}
	who, _ := p.person(d.Person)
	return fmt.Sprintf("%s, %s to %s: come along with %s to %s", dayWords(d.Day), clockTime(stop.Arrive), clockTime(stop.Leave), who, p.siteName(stop.Site))
}

// until says to which day the plan reaches; empty: that is not known.
func (p planned) until() string {
	if p.rounds.Until.IsZero() {
		return ""
	}
	return " until " + p.rounds.Until.Words()
}

// done says what a form came to, as the address tells; what it tells that is not
// known here is left out. Empty: none was sent.
func (p planned) done(q url.Values) string {
	m := schedule.RoundMark{Kind: schedule.SetVisit, Site: q.Get("site"), Person: q.Get("who")}
	m.Day, _ = schedule.ParseDate(q.Get("day"))
	known := !m.Day.IsZero() && (m.Site == "" || p.knowsSite(m.Site))
	if _, ok := p.person(m.Person); m.Person != "" && !ok {
		known = false
	}
	switch q.Get("did") {
	case "set":
		if known && m.Site != "" {
			return "Kept by hand: " + p.markWords(m) + ". The plan is made anew around it."
		}
		return "These visits are kept by hand. The plan is made anew around them."
	case "not":
		m.Kind = schedule.BarVisit
		if known {
			return "Ruled out by hand: " + p.markWords(m) + ". The plan is made anew around it."
		}
		return "That is ruled out by hand. The plan is made anew around it."
	case "moved":
		if known && m.Site != "" {
			return "Moved by hand: " + p.markWords(m) + ". The plan is made anew around it."
		}
		return "These visits are moved by hand. The plan is made anew around them."
	case "lifted":
		return "Lifted: the plan is made anew without it."
	}
	return ""
}

// dayFault reads the day that a visit is to be moved to, and says what is wrong with it.
func dayFault(text string, today, last, now schedule.Date) (schedule.Date, string) {
	day, err := schedule.ParseDate(strings.TrimSpace(text))
	switch {
	case strings.TrimSpace(text) == "":
		return day, "Say on which day it is to be instead."
	case err != nil:
		return day, sentence(tame(err.Error()))
	case day.Before(today):
		return day, dayWords(day) + " is over: choose a day from today on."
	case day == now:
		return day, "It is on that day already: choose another."
	case day.After(last):
		return day, fmt.Sprintf("Rounds are planned for %d months ahead: choose a day up to %s.", mostMonths, last.Words())
	}
	return day, ""
}

// lastDay is the last day that a visit can be moved to.
func (p planned) lastDay() schedule.Date {
	t := time.Date(p.today.Year, p.today.Month+mostMonths, p.today.Day, 0, 0, 0, 0, time.UTC)
	return schedule.DateOf(t, time.UTC).Add(-1)
}
