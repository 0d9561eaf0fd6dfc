package web

import (
	"cmp"
	"fmt"
	"html/template"
	"net/http"
	"slices"
	"strings"

	"endshake/daemon/chart"
	"endshake/schedule"
	"endshake/wear"
)

// mostWorst is how many bearings the fleet page lists as the worst.
const mostWorst = 10

// fleetPage is the fleet with the one thing to know first.
type fleetPage struct {
	Lede   string
	Clocks []clockLine
	Worst  []bearingLine
}

// clockLine is one clock in the fleet's table.
type clockLine struct {
	Slug, Name, Site string
	Standing         string // going, stopped or resting, with what to add
	Locked           string // against what; empty: it is not
	Head             string // Task.Heading of its first task
	State            schedule.TaskState
	What, When       string
	More             int // further tasks that are late, due or open
	Used             string
	Bearing          string // code of the worst bearing; empty: none has a limit
	BearingName      string
	Marks            []string // of the worst bearing: read again, rate changed
	Trend            template.HTML
	People           string
}

// byPressing puts the clocks with the most pressing task first, and those with
// none last.
func byPressing(clocks []schedule.Assessment) []schedule.Assessment {
	out := slices.Clone(clocks)
	slices.SortStableFunc(out, func(a, b schedule.Assessment) int {
		switch {
		case len(a.Tasks) == 0 || len(b.Tasks) == 0:
			return len(b.Tasks) - len(a.Tasks)
		}
		return schedule.Pressing(a.Tasks[0], b.Tasks[0])
	})
	return out
}

func (s *server) fleet(w http.ResponseWriter, r *http.Request) {
	snap, ok := s.snapshot(w, r)
	if !ok {
		return
	}
	page := fleetPage{Lede: fleetLede(snap)}
	for _, a := range byPressing(snap.Clocks) {
		page.Clocks = append(page.Clocks, s.clockLine(snap, a))
	}
	page.Worst = worstBearings(snap, mostWorst)
	s.show(w, r, http.StatusOK, "fleet", view{Title: "Fleet", Here: "/", Body: page})
}

// clockLine puts a clock into one line.
func (s *server) clockLine(snap *schedule.Snapshot, a schedule.Assessment) clockLine {
	l := clockLine{
		Slug: a.Clock.Slug, Name: a.Clock.Name, Site: a.Site.Name,
		Standing: standing(a), Locked: lockWords(a),
		People: schedule.And(peopleIn(snap.Fleet, a.Clock, schedule.Keeper, schedule.Winder)),
	}
	if l.Site == l.Name {
		l.Site = ""
	}
	if len(a.Tasks) > 0 {
		t := a.Tasks[0]
		l.State, l.Head, l.What, l.When = t.State, t.Heading(), t.What(), when(t, schedule.DateOf(a.Now, a.Zone))
		for _, t := range a.Tasks[1:] {
			if pressing(t.State) {
				l.More++
			}
		}
	}
	if o, ok := a.Worst(); ok {
		l.Used, l.Bearing = percent(o.Used)+" "+usedOf(o), o.Bearing.Code
		l.BearingName = schedule.NameOf(o.Bearing.Name, o.Arbor.Name)
		l.Trend, l.Marks = trend(o, a), marksOf(o)
	}
	return l
}

// trend is the small trend of a bearing, as part of a page.
func trend(o schedule.Outlook, a schedule.Assessment) template.HTML {
	return template.HTML(chart.Spark(o, a.Now).SVG()) // chart escapes every word it draws
}

// pressing reports whether a task in this state may be done now.
func pressing(s schedule.TaskState) bool {
	return s == schedule.Late || s == schedule.Due || s == schedule.Open
}

// peopleIn are the names of those with one of the roles, each once.
func peopleIn(f schedule.Fleet, c schedule.Clock, roles ...schedule.Role) []string {
	var out []string
	for _, role := range roles {
		for _, d := range c.Duties {
			if d.Role == role {
				if name := personName(f, d.Person); !slices.Contains(out, name) {
					out = append(out, name)
				}
			}
		}
	}
	return out
}

// personName is a person's name, or their short name where it is not known.
func personName(f schedule.Fleet, slug string) string {
	if p, ok := f.Person(slug); ok && p.Name != "" {
		return p.Name
	}
	return slug
}

func names(f schedule.Fleet, slugs []string) []string {
	out := make([]string, len(slugs))
	for i, slug := range slugs {
		out[i] = personName(f, slug)
	}
	return out
}

// noClocks is said where the fleet is empty, and how to fill it.
const noClocks = "There is no clock in care yet. Load a fleet file: endshake fleet load fleet.json."

// fleetLede is the one thing to know about the fleet.
func fleetLede(snap *schedule.Snapshot) string {
	if len(snap.Clocks) == 0 {
		return noClocks
	}
	out := schedule.Count(len(snap.Clocks), "clock", "clocks") + " in care. " + standingWords(snap)
	tasks := snap.DueList().Tasks
	counts := map[schedule.TaskState]int{}
	for _, t := range tasks {
		counts[t.State]++
	}
	if counts[schedule.Late]+counts[schedule.Due] == 0 {
		return out + sentence(stateWords(counts))
	}
	first := tasks[0]
	name := first.Clock
	if a, ok := snap.Clock(first.Clock); ok {
		name = a.Clock.Name
	}
	return out + fmt.Sprintf("%s; first of all %s at %s.", schedule.Capital(stateWords(counts)), first.What(), name)
}

// stateWords counts tasks by their state: the one way in which sentences count
// them, on every page and in mail.
func stateWords(counts map[schedule.TaskState]int) string {
	var parts []string
	for _, s := range []schedule.TaskState{schedule.Late, schedule.Due, schedule.Open} {
		if counts[s] > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", counts[s], s))
		}
	}
	return cmp.Or(strings.Join(parts, ", "), "nothing late, due or open")
}

// standingWords says which clocks are locked, stand, or by their log have run
// down; nothing where none is.
func standingWords(snap *schedule.Snapshot) string {
	var locked, stopped, down []string
	for _, a := range snap.Clocks {
		if len(a.Locks) > 0 {
			locked = append(locked, a.Clock.Name)
		}
		switch {
		case a.Resting || len(a.Trains) == 0:
		case a.ProbablyStopped():
			down = append(down, a.Clock.Name)
		case !a.Going:
			stopped = append(stopped, a.Clock.Name)
		}
	}
	return someClocks(locked, "clock is locked", "clocks are locked") + someClocks(stopped, "clock is stopped", "clocks are stopped") +
		someClocks(down, "clock has probably run down", "clocks have probably run down")
}

// someClocks names a few clocks of which the same is to be said.
func someClocks(names []string, one, many string) string {
	n := len(names)
	if n == 0 {
		return ""
	}
	if n > 3 {
		names = append(names[:3:3], fmt.Sprintf("%d more", n-3))
	}
	return schedule.Count(n, one, many) + ": " + schedule.And(names) + ". "
}

// bearingLine is one bearing in a list.
type bearingLine struct {
	Clock, ClockName string
	Code, Name       string
	Condition        schedule.Condition
	Marks            []string // read again, rate changed
	Level, Limit     string
	Used, Way        string // the share used, and of what; empty: not known
	Sentence         string
	Confidence       string
	Trend            template.HTML
}

// bearingTable is a list of bearings, with a column for their clock or not.
type bearingTable struct {
	Lines []bearingLine
	Clock bool
}

func newBearingLine(a schedule.Assessment, o schedule.Outlook) bearingLine {
	l := bearingLine{
		Clock: a.Clock.Slug, ClockName: a.Clock.Name,
		Code: o.Bearing.Code, Name: schedule.NameOf(o.Bearing.Name, o.Arbor.Name),
		Condition: o.Condition, Marks: marksOf(o), Level: "not measured", Limit: "none set",
		Sentence: o.Sentence, Confidence: o.Confidence, Trend: trend(o, a),
	}
	if o.Known {
		l.Level = both(o.Level.Mean)
	}
	if o.Limit != nil {
		l.Limit = o.Limit.Size.String()
		if o.Known {
			l.Used, l.Way = percent(o.Used), usedOf(o)
		}
	}
	return l
}

// usedOf says of what Outlook.Used is a share, which is no share of the size.
func usedOf(o schedule.Outlook) string {
	if way := chart.Way(o, wear.MM); way != "" {
		return "of the way " + way
	}
	return "of its limit of " + o.Limit.Size.String()
}

// worstBearings are those of the fleet with the largest share of limit used.
func worstBearings(snap *schedule.Snapshot, most int) []bearingLine {
	type pair struct {
		a schedule.Assessment
		o schedule.Outlook
	}
	var all []pair
	for _, a := range snap.Clocks {
		for _, o := range a.Outlooks {
			if o.Known && o.Limit != nil {
				all = append(all, pair{a, o})
			}
		}
	}
	slices.SortStableFunc(all, func(x, y pair) int { return cmp.Compare(y.o.Used, x.o.Used) })
	var out []bearingLine
	for _, p := range all[:min(most, len(all))] {
		out = append(out, newBearingLine(p.a, p.o))
	}
	return out
}
