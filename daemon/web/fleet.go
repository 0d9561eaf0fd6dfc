package web

import (
	"cmp"
	"fmt"
	"html/template"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"endshake/daemon/chart"
	"endshake/schedule"
)

// mostWorst is how many bearings the fleet page lists as the worst.
const mostWorst = 10

// fleetPage is the fleet with the one thing to know first.
type fleetPage struct {
	Lede  string
	Empty bool // nothing is in care; Runs: its reader may load a fleet
	Runs  bool
	Sieve sieve
	Form  sieveForm
	Found string // what the sieve has left, as a sentence
	Rows  []template.HTML
	Pager pager
	Worst []bearingLine
}

// sieveForm is what the form of a sieve offers.
type sieveForm struct {
	Places, People, States, Kinds, Orders []option // too many places or people: none, they are written
}

func (rd *onlooker) form(f *sieve, states, orders []option) sieveForm {
	out := sieveForm{States: states, Orders: orders}
	if len(rd.places) <= mostChoices {
		out.Places = rd.places
	} else if has(rd.places, f.Place) {
		f.Place = label(rd.places, f.Place)
	}
	if len(rd.people) <= mostChoices {
		out.People = rd.people
	} else if has(rd.people, f.Person) {
		f.Person = label(rd.people, f.Person)
	}
	return out
}

func (s *server) fleet(w http.ResponseWriter, r *http.Request) {
	rd, ok := s.reader(w, r)
	if !ok {
		return
	}
	if only := s.onlyClock(rd, by(r)); only != "" && r.URL.RawQuery == "" {
		http.Redirect(w, r, "/clock/"+url.PathEscape(only), http.StatusSeeOther)
		return
	}
	f := rd.readSieve("/", r.URL.Query(), clockStates, orders)
	s.showKept(w, r, rd, f.key(), "fleet", func() view {
		return view{Title: "Fleet", Here: "/", Body: s.fleetPage(rd, f, by(r).Conservator)}
	})
}

// onlyClock is the clock of somebody who winds one and sees no other: the fleet's
// page leads there. Empty: there are more, or other work.
func (s *server) onlyClock(rd *onlooker, reader schedule.Actor) string {
	if len(rd.seen.Clocks) == 1 && windsOnly(reader, rd.seen.Clocks[0].Clock) {
		return rd.seen.Clocks[0].Clock.Slug
	}
	return ""
}

func (s *server) fleetPage(rd *onlooker, f sieve, runs bool) fleetPage {
	page := fleetPage{Lede: rd.lede, Runs: runs, Empty: len(rd.seen.Clocks) == 0}
	if page.Empty {
		return page
	}
	found := rd.sift(&f)
	from, until := f.pageOf(len(found), pageOfLines)
	for _, i := range found[from:until] {
		page.Rows = append(page.Rows, s.row(rd.deck, i))
	}
	page.Found, page.Pager = rd.foundWords(f, len(found)), f.pager(len(found), pageOfLines)
	if !f.Any() && f.Page == 1 {
		for _, at := range rd.worst {
			a := rd.snap.Clocks[at.clock]
			page.Worst = append(page.Worst, newBearingLine(a, a.Outlooks[at.outlook]))
		}
	}
	page.Form = rd.form(&f, clockStates, orders)
	page.Sieve = f
	return page
}

// foundWords says how many clocks a sieve has left of how many.
func (rd *onlooker) foundWords(f sieve, found int) string {
	all := len(rd.seen.Clocks)
	out := schedule.Count(all, "clock", "clocks")
	if f.Any() {
		out = fmt.Sprintf("%s of %s", thousands(found), schedule.Count(all, "clock", "clocks"))
		if said := f.said(rd, clockStates); said != "" {
			out += ": " + said
		}
	}
	if n := len(orders); n > 0 && found > 1 {
		out += "; in the order of " + label(orders, string(f.Order))
	}
	return out + "."
}

func thousands(n int) string { return schedule.Thousands(float64(n)) }

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
	if way := chart.Way(o); way != "" {
		return "of the way " + way
	}
	return "of its limit of " + o.Limit.Size.String()
}
