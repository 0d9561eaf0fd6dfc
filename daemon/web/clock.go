package web

import (
	"context"
	"fmt"
	"html/template"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"endshake/daemon/chart"
	"endshake/schedule"
)

// pageOfLog is how many entries a page of the log holds.
const pageOfLog = 30

// clockPage is everything about one clock.
type clockPage struct {
	Clock         schedule.Clock
	Site          schedule.Site
	Status        string
	Problems      []string
	Torn          bool // part of what is kept of it cannot be read
	Year, YearNar template.HTML
	Days          []dayLine // the year as a table
	Locks         []lockLine
	Flags         []string // entries from old books that do not fit
	Tasks         taskList
	Here          string // what to mind there whatever the work; empty: nothing
	Trains        []trainLine
	Time          timeView
	Oils          []oilLine
	OilMap        oilMap
	Lines         []lineLine
	LikeCranes    string
	Change        *changeLine // nil: its zone has none ahead
	Bearings      []bearingLine
	Log           []entryLine
	Older         string // address of the next page of the log; empty: none
	People        []dutyLine
	Kinds         []schedule.EntryKind
	Jobs          []jobLink // quick forms
	Mine          *nextWork // what its reader is asked for next; nil: nothing
	MineFirst     bool      // and it comes before how the clock stands
	Winds         bool      // its reader does no more here than wind it
	KeysFirst     bool      // the keys and whom to call stand near the top: for whoever goes up to it
	Unfolded      bool      // the rest of the page is asked for
	Latest        []entryLine
	// For who logs nothing here, and so owns it: the year's work in a sentence,
	// and the first tasks of it.
	Ahead  string
	Coming []pair
}

// taskLine is one task in a list.
type taskLine struct {
	schedule.Task
	ClockName string
	When      string   // where today stands in it
	Marks     []string // of its bearing: read again, rate changed
	Window    string
	Who       string // the first of those who should do it, and how many more
	All       string // all of them, where Who does not name them; else empty
	Said      bool   // how it presses stands above the list
	Takes     string // how long it takes; empty: not known
	Sure      string // how sure its date is, in a word; empty: not said
	ID        string // its place on the page
	Warn      warning
	locked    bool   // its clock is
	Form      string // address of the form that logs it; empty: none
	FormWords string
	Unwound   string // of a winding that presses: address of the form that says why it was not wound; else empty
}

// dutyLine is one person with their roles for the clock. Email is empty where
// the reader may not see it, or there is none.
type dutyLine struct{ Name, Roles, Email string }

// dayLine is one bar of the year strip in words.
type dayLine struct{ What, State, From, Due, Latest string }

func newDayLines(tasks []schedule.Task) []dayLine {
	day := func(d schedule.Date) string {
		if d.IsZero() {
			return "no day"
		}
		return d.Words()
	}
	var out []dayLine
	for _, t := range tasks {
		l := dayLine{t.What(), t.Heading(), day(t.From), day(t.Due), day(t.Latest)}
		if t.PastLimit != "" {
			l.From, l.Due, l.Latest = "none any more", t.PastLimit, "none any more"
		}
		out = append(out, l)
	}
	return out
}

func (s *server) clock(w http.ResponseWriter, r *http.Request) {
	a, snap, ok := s.assessment(w, r)
	if !ok {
		return
	}
	history, err := s.history(r.Context(), a)
	if err != nil {
		s.fault(w, r, err)
		return
	}
	page := clockPage{
		Clock: a.Clock, Site: a.Site, Status: a.Status, Problems: a.Problems, Torn: len(a.Clock.Damage) > 0,
		Year: picture(chart.Year(a, chart.Wide)), YearNar: picture(chart.Year(a, chart.Narrow)), Days: newDayLines(a.Tasks),
		People: duties(snap.Fleet, a.Clock), Kinds: by(r).Kinds(a.Clock), Jobs: jobLinks(by(r), a), Locks: newLockLines(a), Flags: a.Flags,
		Time: newTimeView(a), OilMap: newOilMap(a.Clock), LikeCranes: likeCranes, Change: newChangeLine(a),
	}
	if page.Change != nil && !slices.Contains(page.Kinds, schedule.Set) {
		page.Change.Form = ""
	}
	if len(page.Kinds) == 0 {
		alone := &schedule.Snapshot{Now: snap.Now, Fleet: snap.Fleet, Clocks: []schedule.Assessment{a}}
		page.Ahead = strings.Replace(outlookLede(alone.YearAhead()), "on the clocks", "on this clock", 1)
		page.Coming = coming(snap.Fleet, a)
	}
	for i := range page.Locks {
		if !slices.Contains(page.Kinds, schedule.Noted) {
			page.Locks[i].Form = ""
		}
	}
	page.Tasks, page.Here = tasksHere(by(r), snap.Fleet, a)
	if page.Change != nil {
		page.Change.Warn = soloWarning(page.Change.Caution, page.Here)
	}
	for _, o := range a.Oils {
		page.Oils = append(page.Oils, newOilLine(a, o))
	}
	for _, l := range a.Lines {
		page.Lines = append(page.Lines, newLineLine(a, l))
	}
	for _, t := range a.Trains {
		page.Trains = append(page.Trains, newTrainLine(a, t))
	}
	for _, o := range a.Outlooks {
		page.Bearings = append(page.Bearings, newBearingLine(a, o))
	}
	page.Winds, page.Unfolded, page.Mine = windsOnly(by(r), a.Clock), r.URL.Query().Has("before"), nextWorkOf(by(r), a)
	page.MineFirst, page.KeysFirst = page.Mine != nil && page.Winds, !page.Winds && keepsHere(by(r), a.Clock)
	page.Jobs = slices.DeleteFunc(page.Jobs, func(j jobLink) bool { return page.Mine != nil && j.Head == page.Mine.job })
	page.Log, page.Older = logPage(by(r), s.Now(), snap.Fleet, a, history, r.URL.Query().Get("before"))
	shown, err := s.pictures(r.Context(), a.Clock.Slug)
	if err != nil {
		s.fault(w, r, err)
		return
	}
	for i := range page.Log {
		page.Log[i].Pictures = shown[page.Log[i].ID]
	}
	page.Latest = page.Log[:min(mostLatest, len(page.Log))]
	s.show(w, r, http.StatusOK, "clock", view{Title: a.Clock.Name, Here: "/", Body: page, Now: a.Now, Zone: a.Zone})
}

// mostComing is how many tasks an owner is told of before all else.
const mostComing = 5

// coming are the first tasks of a clock in few words, for its owner.
func coming(f schedule.Fleet, a schedule.Assessment) []pair {
	var out []pair
	for _, t := range a.Tasks[:min(mostComing, len(a.Tasks))] {
		l := newTaskLine(schedule.Actor{}, f, a, t)
		words := l.When
		if l.Who != "" {
			words += "; for " + l.Who
		}
		out = append(out, pair{schedule.Capital(t.What()), words})
	}
	return out
}

// tasksHere are the tasks of one clock as its page shows them, and what to mind
// there whatever the work.
func tasksHere(reader schedule.Actor, f schedule.Fleet, a schedule.Assessment) (list taskList, here string) {
	here = schedule.Caution("", a.Site, a.Clock.Cautions)
	var tasks []taskLine
	for _, t := range a.Tasks {
		l := newTaskLine(reader, f, a, t)
		l.ClockName = "" // the page says it
		if l.Rank != schedule.Danger {
			l.Caution = ownCaution(l.Caution, here)
		}
		tasks = append(tasks, l)
	}
	if here == deferral {
		here = ""
	}
	return newTaskLists([][]taskLine{tasks})[0], here
}

// assessment finds the clock that the address names, or answers that there is
// none.
func (s *server) assessment(w http.ResponseWriter, r *http.Request) (schedule.Assessment, *schedule.Snapshot, bool) {
	rd, ok := s.reader(w, r)
	if !ok {
		return schedule.Assessment{}, nil, false
	}
	i, ok := rd.index[r.PathValue("clock")]
	if !ok || !rd.sees(i) {
		s.nowhere(w, r)
		return schedule.Assessment{}, nil, false
	}
	return zoned(rd.snap.Clocks[i]), rd.seen, true
}

// history is the clock's whole log where it can be had, and otherwise what
// counts of it.
func (s *server) history(ctx context.Context, a schedule.Assessment) ([]schedule.Entry, error) {
	if s.History == nil || !s.answers() {
		return a.Entries, nil
	}
	all, err := s.History(ctx, a.Clock.Slug)
	if s.onlyPassing(err) {
		return a.Entries, nil
	}
	if err != nil {
		return nil, fmt.Errorf("read the log of %s: %w", a.Clock.Slug, err)
	}
	return all, nil
}

// picture puts a drawing into a page.
func picture(p chart.Picture) template.HTML {
	return template.HTML(p.SVG()) // chart escapes every word it draws
}

func newTaskLine(reader schedule.Actor, f schedule.Fleet, a schedule.Assessment, t schedule.Task) taskLine {
	l := taskLine{Task: t, ClockName: a.Clock.Name, Window: window(t),
		When: when(t, schedule.DateOf(a.Now, a.Zone)), Takes: takes(t.Minutes), locked: len(a.Locks) > 0}
	all := names(f, t.People)
	if l.Who = schedule.And(all); len(all) > 2 {
		l.Who, l.All = fmt.Sprintf("%s, or %d others", all[0], len(all)-1), l.Who
	}
	if word, _, ok := strings.Cut(t.Confidence, ":"); ok {
		l.Sure = word
	}
	if o, ok := a.Outlook(t.Subject); ok && (t.Kind == schedule.Measuring || t.Kind == schedule.NearLimit) {
		l.Marks = marksOf(o)
	}
	kind, ok := answeredBy[t.Kind]
	if !ok || !slices.Contains(reader.Kinds(a.Clock), kind) {
		return l
	}
	if j, ok := jobOf(t.Kind); ok {
		l.Form, l.FormWords = j.address(a.Clock.Slug, t.Subject), j.button
		if t.Kind == schedule.Winding && pressing(t.State) {
			l.Unwound = unwoundForm(reader, a, t.Subject)
		}
		return l
	}
	with := url.Values{}
	fillFromTask(with, a, t)
	l.Form = formFor(a.Clock.Slug, kind, with)
	l.FormWords = "Log it as " + string(kind)
	return l
}

// fillFromTask answers beforehand what a task tells of the entry that logs it.
func fillFromTask(q url.Values, a schedule.Assessment, t schedule.Task) {
	switch t.Kind {
	case schedule.LineLook, schedule.LineAge:
		q.Set("line", t.Subject)
		return
	case schedule.Seasonal:
		q.Set("season", t.Subject)
		return
	case schedule.Locked:
		for _, k := range schedule.LockKinds { // "do-not-run-2" is the second of its kind
			if strings.HasPrefix(strings.ReplaceAll(t.Subject, "-", " "), string(k)) {
				q.Set("clears", string(k))
			}
		}
		return
	case schedule.Visiting:
		q.Set("visit", "on")
	case schedule.TimeChange:
		q.Set("change", t.Due.String())
		if a.Change != nil {
			q.Set("change", a.Change.On.String())
		}
	}
	bearing, named := strings.CutPrefix(t.Subject, "bearing/") // a train has that code too
	if _, ok := a.Clock.Train(t.Subject); ok && !named {
		q.Set("train", t.Subject)
	} else if _, _, _, ok := a.Clock.Bearing(bearing); ok {
		q.Set("bearing", bearing)
	}
}

// answeredBy is the kind of entry that says that a task is done.
var answeredBy = map[schedule.TaskKind]schedule.EntryKind{
	schedule.Winding: schedule.Wound, schedule.Oiling: schedule.Oiled, schedule.Inspection: schedule.Inspected,
	schedule.Measuring: schedule.Measured, schedule.NearLimit: schedule.Repaired, schedule.Mending: schedule.Inspected, schedule.Locked: schedule.Noted,
	schedule.LineLook: schedule.Inspected, schedule.LineAge: schedule.Repaired, schedule.Visiting: schedule.Inspected,
	schedule.Setting: schedule.Set, schedule.TimeChange: schedule.Set, schedule.Seasonal: schedule.Noted, schedule.PowerCheck: schedule.Inspected, schedule.Restart: schedule.Started,
}

func duties(f schedule.Fleet, c schedule.Clock) []dutyLine {
	var order []string
	roles := map[string][]string{}
	for _, role := range schedule.Roles {
		for _, d := range c.Duties {
			if d.Role != role {
				continue
			}
			if !slices.Contains(order, d.Person) {
				order = append(order, d.Person)
			}
			roles[d.Person] = append(roles[d.Person], string(role))
		}
	}
	var out []dutyLine
	for _, slug := range order {
		l := dutyLine{Name: personName(f, slug), Roles: strings.Join(roles[slug], ", ")}
		if p, ok := f.Person(slug); ok {
			l.Email = p.Email
		}
		out = append(out, l)
	}
	return out
}
