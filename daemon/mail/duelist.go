package mail

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"endshake/schedule"
)

// How far a due-list looks ahead, in days.
const (
	soonDays  = 30
	aheadDays = 90
)

type dueView struct {
	frame
	Opening  string
	Brief    []brief // the first page
	Sections []section
	Further  string // what is due later still
	Watch    []eye
	Done     []pair
	Resting  []pair
}

type section struct {
	Title string
	Sites []siteGroup
}

// siteGroup holds the tasks at one site. Tasks in a block are of one clock and
// share one caution.
type siteGroup struct {
	Name, Place, Access string
	Blocks              []block
}

type block struct {
	Tasks   []taskLine
	Caution string
}

// Each says for how many tasks above it a caution stands.
func (b block) Each() string {
	if len(b.Tasks) > 1 {
		return fmt.Sprintf("Caution with each of these %d", len(b.Tasks))
	}
	return "Caution"
}

type taskLine struct {
	Clock, What, State, Window, Reason, Evidence, Confidence string
	Next                                                     string // the first step, with how long the job takes
	Ask                                                      *ask   // how to say what came of it; nil: not by this letter
}

// lock is what a clock is locked against, since when and why.
type lock struct{ Clock, Kind, Words, Caution string }

type pair struct{ Name, Words string }

// dueList puts a person's monthly letter into words.
func (w writing) dueList() (content, error) {
	l := w.l
	horizon := [2]schedule.Date{l.Today.Add(soonDays), l.Today.Add(aheadDays)}
	shelves := map[string][]schedule.Task{}
	counts := map[schedule.TaskState]int{}
	soon, further := 0, 0
	titles := []string{"In the next 30 days, to " + horizon[0].Words(), "Later, to " + horizon[1].Words()}
	for _, t := range byPressing(l.Clocks) {
		counts[t.State]++
		switch i := shelf(t, horizon); i {
		case resting:
		case beyond:
			further++
		case pressed:
			shelves[t.Heading()] = append(shelves[t.Heading()], t)
		default:
			if i == 0 && t.State == schedule.Ahead {
				soon++
			}
			shelves[titles[i]] = append(shelves[titles[i]], t)
		}
	}
	v := dueView{frame: w.frame, Opening: opening(counts, soon, horizon[0]), Brief: inBrief(l)}
	v.Title = fmt.Sprintf("Due-list for %s: %s, %s", monthOf(l), pressing(counts), schedule.Count(len(l.Clocks), "clock", "clocks"))
	v.Head = "Due-list for " + monthOf(l)
	w.n.Title = v.Title
	v.Locks = locks(l)
	told, warned := map[string]bool{}, newCautions()
	for _, title := range append(slices.Clone(headings), titles...) {
		if tasks := shelves[title]; len(tasks) > 0 {
			v.Sections = append(v.Sections, section{cmp.Or(headingWords[title], schedule.Capital(title)), w.bySite(tasks, told, warned)})
		}
	}
	if further > 0 {
		v.Further = fmt.Sprintf("%s due after %s.", schedule.Count(further, "more thing falls", "more things fall"), horizon[1].Words())
	}
	var pictures []picture
	v.Watch, pictures = w.watched()
	for _, a := range l.Clocks {
		if w := done(a, l.Today); w != "" {
			v.Done = append(v.Done, pair{name(a.Clock.Name), w})
		}
		if a.Resting {
			v.Resting = append(v.Resting, pair{name(a.Clock.Name), rest(a)})
		}
	}
	return render("duelist", v, pictures)
}

// headings are what pressing tasks stand under, the most pressing first.
var headings = []string{schedule.RankWords[schedule.Danger], schedule.RankWords[schedule.MayHaveStopped], schedule.RankWords[schedule.StopsSoon], schedule.RankWords[schedule.AtLimit],
	schedule.RankWords[schedule.PastItsDay], string(schedule.Due)}

// headingWords are longer words for some of them.
var headingWords = map[string]string{string(schedule.Due): "Due now", string(schedule.Open): "Open: may be done now"}

// byPressing are the tasks of clocks in the order in which a conservator would
// act.
func byPressing(clocks []schedule.Assessment) []schedule.Task {
	var out []schedule.Task
	for _, a := range clocks {
		out = append(out, a.Tasks...)
	}
	slices.SortStableFunc(out, schedule.Pressing)
	return out
}

// locks are the locks in force on a reader's clocks.
func locks(l schedule.Letter) []lock {
	var out []lock
	for _, a := range l.Clocks {
		for _, k := range a.Locks {
			line := lock{Clock: name(a.Clock.Name), Kind: clean(string(k.Kind)), Words: "since " + k.Since.Words(),
				Caution: clean(schedule.Caution(schedule.Locked, a.Site, a.Clock.Cautions))}
			if k.Why != "" {
				line.Words += ": " + strings.TrimSuffix(clean(k.Why), ".")
			}
			out = append(out, line)
		}
	}
	return out
}

// monthOf is the month that a due-list is for, also when it is written late.
func monthOf(l schedule.Letter) string {
	if m, err := time.Parse("2006-01", l.Occurrence); err == nil {
		return m.Format("January 2006")
	}
	return l.Today.MonthWords()
}

// Shelves beside those of the two sections of what is ahead.
const (
	resting = -1
	beyond  = -2
	pressed = -3
)

// shelf says in which section of the letter a task stands: under its heading
// where it presses, otherwise in the first or second section of what is ahead.
// What may be done now is shown however late it falls due.
func shelf(t schedule.Task, horizon [2]schedule.Date) int {
	switch {
	case slices.Contains(headings, t.Heading()):
		return pressed
	case t.State == schedule.Resting:
		return resting
	case !t.Due.After(horizon[0]):
		return 0
	case !t.Due.After(horizon[1]) || t.State == schedule.Open:
		return 1
	}
	return beyond
}

// bySite groups tasks by site, in the order in which they press. Tasks of one
// kind on one clock that follow one another share their caution. Where a site is
// and how to get in is told the first time only.
func (w writing) bySite(tasks []schedule.Task, told map[string]bool, warned *cautions) []siteGroup {
	l := w.l
	var order []string
	groups := map[string]*siteGroup{}
	clocks := map[string]schedule.Assessment{}
	for _, a := range l.Clocks {
		clocks[a.Clock.Slug] = a
		if groups[a.Site.Slug] == nil {
			groups[a.Site.Slug] = &siteGroup{Name: name(a.Site.Name), Place: clean(a.Site.Place), Access: clean(a.Site.Access)}
		}
	}
	last := map[string]schedule.Task{}
	for _, t := range tasks {
		a := clocks[t.Clock]
		g := groups[a.Site.Slug]
		if len(g.Blocks) == 0 {
			order = append(order, a.Site.Slug)
		}
		if prev, ok := last[a.Site.Slug]; !ok || prev.Clock != t.Clock || prev.Kind != t.Kind || prev.Caution != t.Caution {
			g.Blocks = append(g.Blocks, block{Caution: warned.say(a, t)})
		}
		last[a.Site.Slug] = t
		b := &g.Blocks[len(g.Blocks)-1]
		b.Tasks = append(b.Tasks, w.lineOf(a, t))
	}
	var out []siteGroup
	for _, slug := range order {
		g := groups[slug]
		if told[slug] {
			g.Place, g.Access = "", ""
		}
		told[slug] = true
		out = append(out, *g)
	}
	return out
}

func (w writing) lineOf(a schedule.Assessment, t schedule.Task) taskLine {
	state := string(t.State)
	switch t.State {
	case schedule.Late:
		if t.Latest.IsZero() {
			break
		}
		state = "late, " + schedule.Days(w.l.Today.Sub(t.Latest)) + " past its last good day"
	case schedule.Open:
		state = "open, may be done now"
	}
	return taskLine{Clock: name(a.Clock.Name), What: name(t.What()), State: clean(state), Window: window(t),
		Reason: clean(t.Reason), Evidence: clean(t.Evidence), Confidence: clean(t.Confidence), Next: firstStep(t), Ask: w.ask(a, t)}
}

// firstStep is the cheapest next step of a task and how long the whole takes;
// nothing where neither is known.
func firstStep(t schedule.Task) string {
	out := clean(t.Next)
	if t.Minutes > 0 {
		long := schedule.Count(t.Minutes, "minute", "minutes")
		if t.Minutes >= 90 {
			long = strings.TrimSuffix(fmt.Sprintf("%.1f", float64(t.Minutes)/60), ".0") + " hours"
		}
		out = strings.TrimSpace(out + " The job takes about " + long + ".")
	}
	return out
}

// window says the good days of a task.
func window(t schedule.Task) string {
	if t.From.IsZero() || t.Latest.IsZero() {
		return "Due " + t.Due.Words()
	}
	return fmt.Sprintf("Good days: %s to %s, due %s", t.From.Words(), t.Latest.Words(), t.Due.Words())
}

// done says what was logged for a clock in the month up to today.
func done(a schedule.Assessment, today schedule.Date) string {
	y, m, d := today.Start(time.UTC).AddDate(0, -1, 0).Date()
	return doneBetween(a, schedule.Date{Year: y, Month: m, Day: d}.Add(1), today, schedule.EntryKinds)
}

// doneBetween says what was logged of some kinds for a clock from one day to
// another.
func doneBetween(a schedule.Assessment, from, to schedule.Date, kinds []schedule.EntryKind) string {
	days := map[schedule.EntryKind][]string{}
	for _, e := range a.Entries {
		if day := schedule.DateOf(e.At, zoneOfClock(a)); !day.Before(from) && !day.After(to) {
			days[e.Kind] = append(days[e.Kind], day.Words())
		}
	}
	var parts []string
	for _, kind := range kinds {
		on := days[kind]
		switch {
		case len(on) == 0:
		case kind == schedule.Wound && len(on) > 1:
			parts = append(parts, fmt.Sprintf("wound %d times, last on %s", len(on), on[len(on)-1]))
		default:
			parts = append(parts, string(kind)+" on "+strings.Join(slices.Compact(on), ", "))
		}
	}
	return strings.Join(parts, "; ")
}

// rest says until when a clock rests.
func rest(a schedule.Assessment) string {
	n := 0
	for _, t := range a.Tasks {
		if t.State == schedule.Resting {
			n++
		}
	}
	until := "resting; no day is set for it to go again"
	if !a.Back.IsZero() {
		until = "resting until " + a.Back.Words()
	}
	if n == 0 {
		return until
	}
	return fmt.Sprintf("%s; %s until it goes again", until, schedule.Count(n, "task waits", "tasks wait"))
}
