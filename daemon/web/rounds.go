package web

import (
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"endshake/schedule"
)

// roundsPage is the days of visits that are proposed.
type roundsPage struct {
	Lede    string
	Done    string // what a form came to; empty: none was sent
	None    bool   // no day of a visit stands in it
	Runs    bool   // the reader runs the fleet
	Mine    string // address of one's own days; empty: there is no such page
	Ask     roundsAsk
	Months  []roundMonth
	Unmet   []unmetLine
	More    int // how many of those are not named
	Winds   string
	Decided []markLine
	Notes   []string
	Whose   string // see whose
}

// roundsAsk is what the address of the page asks for.
type roundsAsk struct {
	Months int
	Length string // in words
	Person string
	Of     []option // the people there are to choose from
	Some   []option // numbers of months
	Faults []string
}

// roundMonth is the days of one month.
type roundMonth struct {
	Head, ID string
	Days     []roundLine
}

// roundLine is one day in a list.
type roundLine struct {
	At     string // address of its page; empty: the reader does not know whose it is
	When   string
	Who    string
	Out    string // hours out and the way; empty: not for the reader
	Stops  []stopBrief
	Why    string
	Number int
}

// stopBrief is a visit in a line.
type stopBrief struct {
	Time, Site, Tasks, Second string
	Set                       bool
	Against                   []string // what speaks against a visit that was kept by hand
}

// unmetLine is a task that no day holds in time.
type unmetLine struct {
	What, Clock, ClockName, Days, Why, All string
}

// markLine is what was decided by hand, with what lifts it.
type markLine struct {
	ID, Words, Who, Why     string
	Kind, Site, Person, Day string
}

// mostUnmet is how many tasks that cannot be met a page names.
const mostUnmet = 60

func (s *server) allRounds(w http.ResponseWriter, r *http.Request) {
	ask, faults := readMonths(r.URL.Query())
	p, ok := s.plan(w, r, ask)
	if !ok {
		return
	}
	q := r.URL.Query()
	a := p.asked(q, faults)
	body := func() view {
		return view{Title: "Rounds", Here: "/rounds", Body: s.newRoundsPage(r, p, a, p.done(q))}
	}
	if q.Has("did") { // it is told once
		s.show(w, r, http.StatusOK, "rounds", body())
		return
	}
	key := "/rounds?" + url.Values{"person": {a.Person}, "plan": {p.key}, "months": {strconv.Itoa(p.months)}, "fault": a.Faults}.Encode()
	s.showKept(w, r, p.rd, key, "rounds", body)
}

// readMonths reads for how many months a plan is asked.
func readMonths(q url.Values) (months int, faults []string) {
	text := strings.TrimSpace(q.Get("months"))
	if text == "" {
		return usualMonths, nil
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < 1 || n > mostMonths {
		return usualMonths, []string{fmt.Sprintf("Rounds are planned for 1 to %d months: this is the plan of %d.", mostMonths, usualMonths)}
	}
	return n, nil
}

// asked is what an address asks to be shown.
func (p planned) asked(q url.Values, faults []string) roundsAsk {
	a := roundsAsk{Months: p.months, Length: schedule.Count(p.months, "month", "months"), Of: p.goers(), Person: tame(q.Get("person")), Faults: faults}
	for n := 1; n <= mostMonths; n++ {
		a.Some = append(a.Some, option{strconv.Itoa(n), schedule.Count(n, "month", "months")})
	}
	if a.Person != "" && !has(a.Of, a.Person) {
		a.Faults = append(a.Faults, fmt.Sprintf("No days of “%s” stand in this plan: these are everybody's.", a.Person))
		a.Person = ""
	}
	return a
}

func (s *server) newRoundsPage(r *http.Request, p planned, a roundsAsk, done string) roundsPage {
	days, unmet := p.days(a.Person), p.unmet()
	page := roundsPage{Done: done, Ask: a, Runs: p.by.Conservator, None: len(days) == 0, Lede: p.lede(days, len(unmet)), Whose: s.whose(r)}
	if s.Logins != nil && p.by.Person != "" {
		page.Mine = "/me/rounds"
	}
	for i, d := range days {
		head := d.Day.MonthWords()
		if n := len(page.Months); n == 0 || page.Months[n-1].Head != head {
			page.Months = append(page.Months, roundMonth{Head: head, ID: "m" + d.Day.String()[:7]})
		}
		m := &page.Months[len(page.Months)-1]
		m.Days = append(m.Days, p.line(d, i+1))
	}
	for i, u := range unmet {
		if i >= mostUnmet {
			page.More = len(unmet) - mostUnmet
			break
		}
		page.Unmet = append(page.Unmet, p.unmetLine(u))
	}
	for i, m := range p.decided() {
		page.Decided = append(page.Decided, p.markLine(m, i+1))
	}
	page.Winds = "Winding stands in no plan of days: it is left to those who live near."
	if p.all() {
		page.Notes = p.rounds.Notes
		if n := p.rounds.Winds; n > 0 {
			page.Winds = fmt.Sprintf("%s are left to those who live near, and stand in none of these days.", schedule.Capital(schedule.Count(n, "winding", "windings")))
			if n == 1 {
				page.Winds = "1 winding is left to those who live near, and stands in none of these days."
			}
		}
	}
	return page
}

// lede is the one thing to know of some days.
func (p planned) lede(days []schedule.RoundDay, unmet int) string {
	var out string
	until := p.until()
	if len(days) == 0 {
		out = "No day of visits is planned" + until
	} else {
		d := days[0]
		who, _ := p.person(d.Person)
		out = fmt.Sprintf("%s of visits%s: the next on %s, %s at %s", schedule.Count(len(days), "day", "days"), until, weekday(d.Day.Start(time.UTC)), who, p.places(d))
	}
	if unmet > 0 {
		out += "; " + schedule.Count(unmet, "task", "tasks") + " cannot be met in time"
	}
	return out + "."
}

// places names the one site of a day, or counts them.
func (p planned) places(d schedule.RoundDay) string {
	if len(d.Stops) == 1 {
		return p.siteName(d.Stops[0].Site)
	}
	return numbered(len(d.Stops)) + " sites"
}

// numbered writes small numbers as words.
func numbered(n int) string {
	words := []string{"no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"}
	if n >= 0 && n < len(words) {
		return words[n]
	}
	return thousands(n)
}

// dayWords is a day as people say it, with the year: "Thu 3 Dec 2026".
func dayWords(d schedule.Date) string { return d.Start(time.UTC).Format("Mon ") + d.Words() }

// clockTime prints a time of day: "9:40".
func clockTime(m schedule.Minutes) string { return fmt.Sprintf("%d:%02d", int(m)/60, int(m)%60) }

// outFor prints hours and minutes: "4 h 10 min".
func outFor(minutes int) string {
	h, m := minutes/60, minutes%60
	switch {
	case h == 0:
		return fmt.Sprintf("%d min", m)
	case m == 0:
		return fmt.Sprintf("%d h", h)
	}
	return fmt.Sprintf("%d h %d min", h, m)
}

// farWords prints how far a day leads, in both systems; empty: not known.
func farWords(km float64) string {
	if !(km >= .5) || km > 1e5 {
		return ""
	}
	return fmt.Sprintf("%.0f km (%.0f miles)", km, km/schedule.Mile)
}

// outWords says how long a day is and how far it leads; empty: not for the reader.
func outWords(d schedule.RoundDay) string {
	if d.Back <= d.Leave {
		return ""
	}
	out := "Out " + outFor(int(d.Back-d.Leave)) + ", from " + clockTime(d.Leave) + " to " + clockTime(d.Back)
	if km := farWords(d.Km); km != "" {
		return out + "; " + km
	}
	return out
}

// roundAt is the address of a day.
func (p planned) roundAt(person string, day schedule.Date) string {
	at := "/rounds/" + url.PathEscape(person) + "/" + day.String()
	if p.months != usualMonths {
		at += "?months=" + strconv.Itoa(p.months)
	}
	return at
}

func (p planned) line(d schedule.RoundDay, number int) roundLine {
	who, known := p.person(d.Person)
	l := roundLine{When: weekday(d.Day.Start(time.UTC)), Who: who, Out: outWords(d), Why: d.Why, Number: number}
	if known {
		l.At = p.roundAt(d.Person, d.Day)
	}
	for _, stop := range d.Stops {
		l.Stops = append(l.Stops, stopBrief{Time: clockTime(stop.Arrive), Site: p.siteName(stop.Site), Tasks: taskCount(stop.Tasks),
			Second: p.second(stop), Set: stop.Set, Against: stop.Against})
	}
	return l
}

// taskCount names the one task of a visit, or counts them.
func taskCount(tasks []schedule.RoundTask) string {
	if len(tasks) == 1 {
		return tasks[0].What()
	}
	return schedule.Count(len(tasks), "task", "tasks")
}

// second says who comes along; empty: nobody has to.
func (p planned) second(stop schedule.RoundStop) string {
	switch {
	case !stop.Two:
		return ""
	case stop.Second == "":
		return "with a second person, to be asked"
	}
	name, _ := p.person(stop.Second)
	return "with " + name
}

// goodDays says between which days a task is to be done; empty: it has no such days.
func goodDays(t schedule.Task) string {
	if t.From.IsZero() || t.Latest.IsZero() || t.Past != "" {
		return ""
	}
	return "good days " + t.From.Words() + " to " + t.Latest.Words()
}

func (p planned) unmetLine(u schedule.UnmetTask) unmetLine {
	l := unmetLine{What: schedule.Capital(u.What()), Clock: u.Clock, ClockName: u.Clock, Why: u.Why, Days: goodDays(u.Task)}
	if i, ok := p.rd.index[u.Clock]; ok {
		l.ClockName = p.rd.snap.Clocks[i].Clock.Name
	}
	if !u.Day.IsZero() {
		l.All = "It is done all the same, late, on " + dayWords(u.Day) + "."
	}
	return l
}

// markLine is a mark in words.
func (p planned) markLine(m schedule.RoundMark, n int) markLine {
	l := markLine{ID: fmt.Sprint("mark-", n), Words: p.markWords(m), Why: m.Why, Kind: string(m.Kind), Site: m.Site, Person: m.Person, Day: m.Day.String()}
	who := "whoever runs the service"
	if m.By != "" {
		who, _ = p.person(m.By)
	}
	l.Who = "By " + who
	if !m.At.IsZero() {
		l.Who += ", " + day(m.At, time.UTC)
	}
	return l
}

// markWords says what a mark decides: "Wilma Fenn goes to the quay on Thu 3 Dec 2026".
func (p planned) markWords(m schedule.RoundMark) string {
	who := "somebody"
	if m.Person != "" {
		who, _ = p.person(m.Person)
	} else if m.Kind == schedule.BarVisit {
		who = "nobody"
	}
	where := " anywhere"
	if m.Site != "" {
		where = " to " + p.siteName(m.Site)
	}
	verb := " goes"
	if m.Kind == schedule.BarVisit && m.Person != "" {
		verb = " does not go"
	}
	return who + verb + where + " on " + dayWords(m.Day)
}
