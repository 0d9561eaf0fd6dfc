package mail

import (
	"cmp"
	"fmt"
	"net/url"
	"regexp"
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

// A letter about more than fullClocks tells in full of what presses, is late or is
// due alone; the rest it counts, where a page has it all (judgement, no source).
const fullClocks = 3

type dueView struct {
	frame
	Opening  string
	Sections []section
	NoLater  bool        // what falls due later than asked for has no links yet
	Counts   []siteCount // of a letter that does not tell all in full
	List     string      // where all of it stands; empty: not known
	Further  string      // what is due later still
	Watch    []eye
	Unseen   string // what else wants an eye
	Done     []pair
	Resting  []pair
	Cautions []pair
}

type section struct {
	Title string
	Sites []siteGroup
}

// siteGroup holds the tasks at one site.
type siteGroup struct {
	Name, Place, Access string
	Tasks               []taskLine
}

type taskLine struct {
	Clock, What, State, Due, For string
	Caution                      int    // its number at the end; 0: none
	More                         string // the first step, with how long the job takes
	Ask                          *ask   // how to say what came of it; nil: not by this letter
	NoLink                       string // why not
}

// siteCount counts the tasks of a site that a letter does not tell in full.
type siteCount struct {
	Name              string
	Open, Soon, Later int
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
	left := tally{}
	for _, t := range byPressing(l.Clocks) {
		counts[t.State]++
		i := shelf(t, horizon)
		if i == 0 && t.State == schedule.Ahead {
			soon++
		}
		title := t.Heading()
		if i >= 0 {
			title = titles[i]
		}
		switch {
		case i == resting:
		case i == beyond:
			further++
		case len(l.Clocks) > fullClocks && w.Base != "" && i != pressed:
			left.add(t, i)
		default:
			shelves[title] = append(shelves[title], t)
		}
	}
	v := dueView{frame: w.frame, Opening: opening(counts, soon, horizon[0]), Counts: left.bySite(l.Clocks)}
	v.Head = "Due-list " + periodOf(l)
	v.Title = fmt.Sprintf("%s: %s, %s", v.Head, pressing(counts), schedule.Count(len(l.Clocks), "clock", "clocks"))
	w.n.Title = v.Title
	if w.Base != "" {
		v.List = w.Base + "/due?person=" + url.QueryEscape(l.Person.Slug)
	}
	v.Locks = locks(l)
	told, warned := map[string]bool{}, newCautions()
	for _, title := range append(slices.Clone(headings), titles...) {
		if tasks := shelves[title]; len(tasks) > 0 {
			v.Sections = append(v.Sections, section{cmp.Or(headingWords[title], schedule.Capital(title)), w.bySite(tasks, told, warned)})
			v.NoLater = v.NoLater || title == titles[1] && w.Base != ""
		}
	}
	v.Cautions = warned.all()
	if further > 0 {
		v.Further = fmt.Sprintf("%s due after %s.", schedule.Count(further, "more thing falls", "more things fall"), horizon[1].Words())
	}
	var pictures []picture
	v.Watch, pictures = w.watched()
	for i := range v.Watch { // its page has the rest
		v.Watch[i].Level, v.Watch[i].Oil = "", ""
	}
	if n := len(v.Watch) - mostTrends; n > 0 && len(l.Clocks) > fullClocks {
		v.Watch, v.Unseen = fewEyes(v.Watch), schedule.Count(n, "more bearing wants", "more bearings want")+" an eye: see the pages of their clocks."
	}
	for _, a := range l.Clocks {
		if w := done(a, l.Today); w != "" {
			v.Done = append(v.Done, pair{clockName(l, a), w})
		}
		if a.Resting {
			v.Resting = append(v.Resting, pair{clockName(l, a), rest(a)})
		}
	}
	return w.render("duelist", v, pictures)
}

// fewEyes are those that are drawn, before others.
func fewEyes(all []eye) []eye {
	slices.SortStableFunc(all, func(x, y eye) int { return cmp.Compare(len(y.Trend), len(x.Trend)) })
	return all[:mostTrends]
}

// tally counts tasks by clock.
type tally map[string]siteCount

func (c tally) add(t schedule.Task, shelf int) {
	n := c[t.Clock]
	switch {
	case t.State == schedule.Open:
		n.Open++
	case shelf == 0:
		n.Soon++
	default:
		n.Later++
	}
	c[t.Clock] = n
}

// bySite adds the counts up, in the order of a reader's clocks.
func (c tally) bySite(clocks []schedule.Assessment) []siteCount {
	var out []siteCount
	place := map[string]int{}
	for _, a := range clocks {
		n, ok := c[a.Clock.Slug]
		if !ok {
			continue
		}
		i, known := place[a.Site.Slug]
		if !known {
			i = len(out)
			place[a.Site.Slug], out = i, append(out, siteCount{Name: name(a.Site.Name)})
		}
		o := &out[i]
		o.Open, o.Soon, o.Later = o.Open+n.Open, o.Soon+n.Soon, o.Later+n.Later
	}
	return out
}

// Words are the counts of a site that are not nothing.
func (c siteCount) Words() string {
	var parts []string
	for _, p := range []struct {
		n    int
		what string
	}{{c.Open, "open"}, {c.Soon, "within 30 days"}, {c.Later, "within 90"}} {
		if p.n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", p.n, p.what))
		}
	}
	return strings.Join(parts, ", ")
}

// headings are what pressing tasks stand under, the most pressing first.
var headings = []string{schedule.RankWords[schedule.Danger], schedule.RankWords[schedule.MayHaveStopped], schedule.RankWords[schedule.StopsSoon], schedule.RankWords[schedule.ToAct], schedule.RankWords[schedule.AtLimit],
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
	slices.SortStableFunc(out, func(a, b schedule.Task) int { return schedule.Pressing(&a, &b) })
	return out
}

// locks are the locks in force on a reader's clocks.
func locks(l schedule.Letter) []lock {
	var out []lock
	for _, a := range l.Clocks {
		for _, k := range a.Locks {
			line := lock{Clock: clockName(l, a), Kind: clean(string(k.Kind)), Words: "since " + k.Since.Words(),
				Caution: clean(schedule.Caution(schedule.Locked, a.Site, a.Clock.Cautions))}
			if k.Why != "" {
				line.Words += ": " + strings.TrimSuffix(clean(k.Why), ".")
			}
			out = append(out, line)
		}
	}
	return out
}

// periodOf is what a due-list is for, also when it is written late: a month, or
// the month from the day of it on which its reader has it.
func periodOf(l schedule.Letter) string {
	m, err := time.Parse("2006-01", l.Occurrence)
	if err != nil {
		return "for " + l.Today.MonthWords()
	}
	if day := l.Person.Mail.Day; day > 1 {
		return "from " + schedule.Date{Year: m.Year(), Month: m.Month(), Day: day}.Words()
	}
	return "for " + m.Format("January 2006")
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

// bySite groups tasks by site, in the order in which they press. Where a site is
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
	for _, t := range tasks {
		a := clocks[t.Clock]
		g := groups[a.Site.Slug]
		if len(g.Tasks) == 0 {
			order = append(order, a.Site.Slug)
		}
		line := w.lineOf(a, t)
		line.Caution = warned.of(a, t)
		g.Tasks = append(g.Tasks, line)
	}
	var out []siteGroup
	for _, slug := range order {
		g := groups[slug]
		if told[slug] || len(l.Clocks) > fullClocks { // whoever has many clocks knows their doors
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
		state = cmp.Or(t.Past, "late, "+schedule.Days(w.l.Today.Sub(t.Latest))+" past its last good day")
	case schedule.Due:
		state = "due now"
	case schedule.Open:
		state = "may be done now"
	}
	line := taskLine{Clock: name(a.Clock.Name), What: name(t.What()), State: clean(state), Due: t.Due.Words(), For: w.forWhom(t)}
	if t.State == schedule.Ahead && t.Due.Sub(w.l.Today) > soonDays {
		return line
	}
	line.Ask = w.ask(a, t)
	if t.State != schedule.Ahead {
		line.More = strings.Replace(firstStep(t), "The job takes about", "About", 1)
	}
	if t.Rank == schedule.MayHaveStopped {
		line.More = strings.TrimSpace(schedule.Capital(strings.TrimSuffix(inBrackets.ReplaceAllString(clean(t.Reason), ""), ".")) + ". " + line.More)
	}
	if line.Ask == nil && w.Base != "" {
		line.NoLink = noLink(t)
	}
	return line
}

// inBrackets is what a reason adds about the policy behind it.
var inBrackets = regexp.MustCompile(` \([^()]*\)`)

// forWhom says whose a task is: its reader's before all others.
func (w writing) forWhom(t schedule.Task) string {
	var names []string
	for _, slug := range t.People {
		if slug == w.l.Person.Slug {
			return "you"
		}
		names = append(names, readerName(w.l, slug))
	}
	if n := len(names); n > 1 {
		return strings.Join(names[:n-1], ", ") + " or " + names[n-1]
	}
	return strings.Join(names, "")
}

// noLink says why a task cannot be answered by a link.
func noLink(t schedule.Task) string {
	switch t.Kind {
	case schedule.Measuring, schedule.NearLimit:
		return "No link: each bearing wants its own reading, on the page of the clock."
	case schedule.Locked:
		return "No link: only a name on the page of the clock clears it."
	}
	return "No link: log it on the page of the clock, which asks for more than a word."
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

// window says the good days of a task; what is past its limit has none.
func window(t schedule.Task) string {
	if t.Past != "" {
		return schedule.Capital(clean(t.PastWords()))
	}
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
