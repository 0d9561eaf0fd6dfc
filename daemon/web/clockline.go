package web

import (
	"bytes"
	"cmp"
	"fmt"
	"html/template"
	"slices"
	"strings"
	"sync"
	"time"

	"endshake/daemon/chart"
	"endshake/schedule"
)

// clockLine is what is derived from the answer for one clock: it holds as long
// as that does, for whoever may see the clock.
type clockLine struct {
	now     time.Time // the answer it is derived from, see holds
	entries int
	train   *schedule.TrainState
	task    *schedule.Task

	site        string
	duties      []schedule.Duty
	name, place string // to sort by
	text        string // that a search looks in, in small letters
	count       [3]int // of tasks late, due and open
	mayStand    bool   // a task stands under schedule.MayHaveStopped
	atLimit     bool   // and one under schedule.AtLimit
	stands      schedule.Stance
	locked      bool
	used        float64 // of the worst limit; -1: nothing to compare
	bearings    []bearingUse

	row    clockRowOnce
	sorted sync.Once
	groups []string // of the bearings, beside the outlooks
}

// bearingUse is how much of the limit of a bearing is used.
type bearingUse struct {
	outlook int // index of Assessment.Outlooks
	used    float64
}

// bearingAt is a bearing of a deck.
type bearingAt struct {
	clock, outlook int
	used           float64
}

func newClockLine(a *schedule.Assessment) *clockLine {
	l := &clockLine{site: a.Clock.Site, duties: a.Clock.Duties, now: a.Now, entries: len(a.Entries), train: first(a.Trains), task: first(a.Tasks),
		name: strings.ToLower(a.Clock.Name), place: strings.ToLower(a.Site.Name), locked: len(a.Locks) > 0, stands: a.Stance(), used: -1}
	l.text = l.name + "\n" + l.place + "\n" + strings.ToLower(a.Site.Place) + "\n" + a.Clock.Slug
	for i := range a.Tasks {
		l.mayStand = l.mayStand || a.Tasks[i].Rank == schedule.MayHaveStopped
		l.atLimit = l.atLimit || a.Tasks[i].Rank == schedule.AtLimit
		switch a.Tasks[i].State {
		case schedule.Late:
			l.count[0]++
		case schedule.Due:
			l.count[1]++
		case schedule.Open:
			l.count[2]++
		}
	}
	for i := range a.Outlooks {
		if o := &a.Outlooks[i]; o.Known && o.Limit != nil {
			l.bearings = append(l.bearings, bearingUse{i, o.Used})
			l.used = max(l.used, o.Used)
		}
	}
	return l
}

func first[T any](all []T) *T {
	if len(all) == 0 {
		return nil
	}
	return &all[0]
}

// holds reports whether the line is derived from this very answer: every answer
// has trains and tasks of its own.
func (l *clockLine) holds(a *schedule.Assessment) bool {
	return l.now.Equal(a.Now) && l.entries == len(a.Entries) && l.train == first(a.Trains) && l.task == first(a.Tasks)
}

// is reports whether a clock is in a state that a reader may ask for.
func (l *clockLine) is(state string) bool {
	switch state {
	case "late":
		return l.count[0] > 0
	case "due":
		return l.count[1] > 0
	case "open":
		return l.count[2] > 0
	case "may":
		return l.mayStand
	case "limit":
		return l.atLimit
	case "stopped":
		return l.stands == schedule.Stands || l.stands == schedule.RunOut
	case "unknown":
		return l.stands == schedule.Unknown
	case "locked":
		return l.locked
	case "resting":
		return l.stands == schedule.Rests
	}
	return false
}

// clockRow is one clock in the fleet's table.
type clockRow struct {
	Slug, Name, Site string
	Standing         string // going, stopped or resting, with what to add
	Locked           string // against what; empty: it is not
	Found            string // what was found to act on, in a sentence; empty: nothing
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

// row is the line of a clock as it stands on the page, made once.
func (s *server) row(d *deck, i int) template.HTML {
	l := &d.lines[i].row
	l.once.Do(func() {
		var b bytes.Buffer
		row := newClockRow(d.snap, &d.snap.Clocks[i])
		if err := s.views.pages["fleet"].ExecuteTemplate(&b, "clockrow", row); err != nil {
			panic(fmt.Sprintf("the line of a clock: %v", err)) // a broken template; the page answers with a fault
		}
		l.html = template.HTML(b.String()) // the template escapes what it holds
	})
	return l.html
}

// clockRowOnce is the line of a clock as it stands on the fleet's page.
type clockRowOnce struct {
	once sync.Once
	html template.HTML
}

func newClockRow(snap *schedule.Snapshot, a *schedule.Assessment) clockRow {
	l := clockRow{
		Slug: a.Clock.Slug, Name: a.Clock.Name, Site: a.Site.Name,
		Standing: standing(*a), Locked: lockWords(*a),
		People: schedule.And(peopleIn(snap.Fleet, a.Clock, schedule.Keeper, schedule.Winder)),
	}
	l.Found = foundShort(*a)
	if l.Site == l.Name {
		l.Site = ""
	}
	zone := a.Zone
	if zone == nil {
		zone = time.UTC
	}
	if len(a.Tasks) > 0 {
		t := a.Tasks[0]
		l.State, l.Head, l.What, l.When = t.State, t.Heading(), t.What(), shortly(t, schedule.DateOf(a.Now, zone))
		for _, t := range a.Tasks[1:] {
			if pressing(t.State) {
				l.More++
			}
		}
	}
	if o, ok := a.Worst(); ok {
		l.Used, l.Bearing = percent(o.Used)+" "+towards(o), o.Bearing.Code
		l.BearingName = schedule.NameOf(o.Bearing.Name, o.Arbor.Name)
		l.Trend, l.Marks = trend(o, *a), marksOf(o)
	}
	return l
}

// shortly is when, for a line of the fleet.
func shortly(t schedule.Task, today schedule.Date) string {
	if n := today.Sub(t.Latest); t.State == schedule.Late && n > 0 && !t.Latest.IsZero() {
		return schedule.Days(n) + " late"
	}
	return when(t, today)
}

// towards says to which limit Outlook.Used counts; the list of the
// worst bearings says from where.
func towards(o schedule.Outlook) string {
	if chart.Way(o) != "" {
		return "of the way to " + o.Limit.Size.String()
	}
	return "of its limit of " + o.Limit.Size.String()
}

// trend is the small trend of a bearing, as part of a page.
func trend(o schedule.Outlook, a schedule.Assessment) template.HTML {
	return template.HTML(chart.Spark(o, a.Now).SVG()) // chart escapes every word it draws
}

// fill works out what a reader sees of the fleet as a whole.
func (rd *onlooker) fill() {
	rd.lede = rd.fleetLede()
	clocks := map[string]int{}
	keeps := map[string]bool{}
	rd.lies = map[string]string{}
	for i := range rd.lines {
		if !rd.sees(i) {
			continue
		}
		c := &rd.snap.Clocks[i].Clock
		clocks[c.Site]++
		for _, d := range c.Duties {
			keeps[d.Person] = true
		}
		for _, b := range rd.lines[i].bearings {
			rd.worst = among(rd.worst, bearingAt{i, b.outlook, b.used})
		}
	}
	for _, s := range rd.seen.Fleet.Sites {
		if clocks[s.Slug] > 0 {
			rd.places = append(rd.places, option{s.Slug, cmp.Or(s.Name, s.Slug)})
			rd.lies[s.Slug] = s.Place
		}
	}
	for _, p := range rd.seen.Fleet.People {
		if keeps[p.Slug] {
			rd.people = append(rd.people, option{p.Slug, cmp.Or(p.Name, p.Slug)})
		}
	}
	byLabel := func(a, b option) int {
		return cmp.Or(strings.Compare(strings.ToLower(a.Label), strings.ToLower(b.Label)), strings.Compare(a.Value, b.Value))
	}
	slices.SortFunc(rd.places, byLabel)
	slices.SortFunc(rd.people, byLabel)
}

// among puts a bearing among the worst, the worst first, and keeps no more than
// are shown.
func among(worst []bearingAt, b bearingAt) []bearingAt {
	at := len(worst)
	for at > 0 && worst[at-1].used < b.used {
		at--
	}
	if at >= mostWorst {
		return worst
	}
	return slices.Insert(worst, at, b)[:min(len(worst)+1, mostWorst)]
}

// fleetLede is the one thing to know about the fleet.
func (rd *onlooker) fleetLede() string {
	if len(rd.seen.Clocks) == 0 {
		return noClocks
	}
	out := schedule.Count(len(rd.seen.Clocks), "clock", "clocks") + " in care. " + rd.standingWords()
	counts := map[schedule.TaskState]int{}
	for i, l := range rd.lines {
		if rd.sees(i) {
			for k, state := range []schedule.TaskState{schedule.Late, schedule.Due, schedule.Open} {
				counts[state] += l.count[k]
			}
		}
	}
	if counts[schedule.Late]+counts[schedule.Due] == 0 {
		return out + sentence(stateWords(counts))
	}
	for _, i := range rd.in(byPressing) {
		if a := &rd.snap.Clocks[i]; rd.sees(i) && len(a.Tasks) > 0 {
			return out + fmt.Sprintf("%s; first of all %s at %s.", schedule.Capital(stateWords(counts)), a.Tasks[0].What(), a.Clock.Name)
		}
	}
	return out
}

// standingWords says which clocks are locked, stand, by their log have run down,
// or may have stopped in a power cut: each is counted once, as it stands, and a
// locked one beside. Nothing where none is.
func (rd *onlooker) standingWords() string {
	var locked, stopped, down, unknown []string
	for i, l := range rd.lines {
		if !rd.sees(i) {
			continue
		}
		name := rd.snap.Clocks[i].Clock.Name
		if l.locked {
			locked = append(locked, name)
		}
		switch l.stands {
		case schedule.RunOut:
			down = append(down, name)
		case schedule.Unknown:
			unknown = append(unknown, name)
		case schedule.Stands:
			stopped = append(stopped, name)
		}
	}
	return someClocks(locked, "clock is locked", "clocks are locked") + someClocks(stopped, "clock is stopped", "clocks are stopped") +
		someClocks(down, "clock has probably run down", "clocks have probably run down") +
		someClocks(unknown, "clock is not known to go, for nobody has checked it since the power cut", "clocks are not known to go, for nobody has checked them since a power cut")
}
