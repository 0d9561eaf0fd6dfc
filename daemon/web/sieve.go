package web

import (
	"fmt"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"endshake/schedule"
)

// pageOfLines is how many lines a page of a long list holds.
const pageOfLines = 50

// mostChoices is how many things a list to choose from may offer; beyond that
// one writes a part of the name.
const mostChoices = 80

// mostWords is how much of what is searched for is read.
const mostWords = 80

// sieve is what a list of clocks or tasks is to show, as its address asks.
// Nothing in it is trusted: what is not known is said in Faults.
type sieve struct {
	Path                          string
	Place, Person, State, Kind, Q string // empty: any
	Order                         order
	Page                          int      // from 1
	Faults                        []string // what in the address is mistaken, as sentences
	None                          bool     // and nothing can match it

	sites, people map[string]bool // that Place and Person stand for; nil: all
	words         []string        // of Q, in small letters
}

// clockStates are the states that a reader may ask for.
var clockStates = []option{
	{"late", "with something late"}, {"due", "with something due"}, {"open", "with something open"}, {"may", schedule.RankWords[schedule.MayHaveStopped]},
	{"limit", schedule.RankWords[schedule.AtLimit]}, {"stopped", "stopped, or probably stopped"}, {"unknown", "not known to go since a power cut"}, {"locked", "locked"}, {"resting", "resting"},
}

// readSieve reads what an address asks for, of some states and orders.
func (rd *onlooker) readSieve(path string, q url.Values, states, orders []option) sieve {
	f := sieve{Path: path, Place: tame(q.Get("place")), Person: tame(q.Get("person")), State: tame(q.Get("state")),
		Kind: tame(q.Get("kind")), Q: tame(q.Get("q")), Order: order(tame(q.Get("order"))), Page: 1}
	rd.once.Do(rd.fill)
	f.sites = f.named("place", &f.Place, rd.places, rd.lies)
	f.people = f.named("person", &f.Person, rd.people, nil)
	if f.State != "" && !has(states, f.State) {
		f.wrong("There is no state “%s”: choose one from the list.", &f.State)
	}
	if f.Kind != "" && !slices.Contains(schedule.TaskKinds, schedule.TaskKind(f.Kind)) {
		f.wrong("There is no work called “%s”: choose one from the list.", &f.Kind)
	}
	if strings.Contains(f.Q, "@") {
		f.Q, f.None = "", true
		f.Faults = append(f.Faults, "Search by a clock's or a place's name, not by a mail address.")
	}
	f.words = strings.Fields(strings.ToLower(f.Q))
	if f.Order == "" {
		f.Order = byPressing
	} else if !has(orders, string(f.Order)) {
		f.Order = byPressing
		f.Faults = append(f.Faults, "There is no such order: what presses most comes first.")
	}
	if p := q.Get("page"); p != "" {
		n, err := strconv.Atoi(p)
		if err != nil || n < 1 {
			n = 1
			f.Faults = append(f.Faults, "Pages are counted from 1: this is the first.")
		}
		f.Page = n
	}
	return f
}

func (f *sieve) wrong(words string, v *string) {
	f.Faults = append(f.Faults, fmt.Sprintf(words, *v))
	*v, f.None = "", true
}

// named finds what a name stands for: the one whose short name it is, or all
// whose name, or where it is said to lie, holds it.
func (f *sieve) named(what string, v *string, all []option, lies map[string]string) map[string]bool {
	if *v == "" {
		return nil
	}
	out, part := map[string]bool{}, strings.ToLower(*v)
	for _, c := range all {
		if c.Value == *v {
			return map[string]bool{c.Value: true}
		}
		if strings.Contains(strings.ToLower(c.Label+"\n"+lies[c.Value]), part) {
			out[c.Value] = true
		}
	}
	if len(out) == 0 {
		f.wrong("No "+what+" here is called “%s”.", v)
	}
	return out
}

func has(all []option, v string) bool {
	return slices.ContainsFunc(all, func(c option) bool { return c.Value == v })
}

// tame drops what cannot be part of a name, and cuts what is too long.
func tame(s string) string {
	s = strings.ReplaceAll(schedule.Visible(s), "\ufffd", "")
	if r := []rune(s); len(r) > mostWords {
		s = string(r[:mostWords])
	}
	return strings.TrimSpace(s)
}

// Any reports whether anything is left out.
func (f sieve) Any() bool {
	return f.None || f.Place+f.Person+f.State+f.Kind+f.Q != ""
}

// at is the address of a page of what is asked for.
func (f sieve) at(page int) string {
	q := url.Values{}
	for name, v := range map[string]string{"place": f.Place, "person": f.Person, "state": f.State, "kind": f.Kind, "q": f.Q} {
		if v != "" {
			q.Set(name, v)
		}
	}
	if f.Order != byPressing {
		q.Set("order", string(f.Order))
	}
	if page > 1 {
		q.Set("page", strconv.Itoa(page))
	}
	if len(q) == 0 {
		return f.Path
	}
	return f.Path + "?" + q.Encode()
}

// key tells apart what pages show.
func (f sieve) key() string { return f.at(f.Page) + "\n" + strings.Join(f.Faults, "\n") }

// pageOf cuts a page of some lines out of n: those from to until. A page that is not
// there is the last one.
func (f *sieve) pageOf(n, lines int) (from, until int) {
	last := max(1, (n+lines-1)/lines)
	if f.Page > last {
		f.Faults = append(f.Faults, fmt.Sprintf("There is no page %d: this is the last.", f.Page))
		f.Page = last
	}
	return (f.Page - 1) * lines, min(n, f.Page*lines)
}

// pager leads from page to page of a long list.
type pager struct {
	Page, Pages             int
	First, Before, Next, At string // addresses; empty: there is none
}

func (f sieve) pager(n, lines int) pager {
	p := pager{Page: f.Page, Pages: max(1, (n+lines-1)/lines)}
	if p.Page > 1 {
		p.First, p.Before = f.at(1), f.at(p.Page-1)
	}
	if p.Page < p.Pages {
		p.Next, p.At = f.at(p.Page+1), f.at(p.Pages)
	}
	return p
}

// said says what is asked for.
func (f sieve) said(rd *onlooker, states []option) string {
	var parts []string
	if f.State != "" {
		parts = append(parts, label(states, f.State))
	}
	if f.Kind != "" {
		parts = append(parts, f.Kind)
	}
	if f.Place != "" {
		parts = append(parts, "at "+label(rd.places, f.Place))
	}
	if f.Person != "" {
		parts = append(parts, "for "+label(rd.people, f.Person))
	}
	if f.Q != "" {
		parts = append(parts, "with “"+f.Q+"” in the name")
	}
	return strings.Join(parts, ", ")
}

func label(all []option, v string) string {
	for _, c := range all {
		if c.Value == v {
			return c.Label
		}
	}
	return "“" + v + "”"
}

// lets reports whether a clock of the deck passes, but for its State.
func (f *sieve) lets(rd *onlooker, i int) bool {
	l := rd.lines[i]
	if !rd.sees(i) || f.None || f.sites != nil && !f.sites[l.site] {
		return false
	}
	for _, w := range f.words {
		if !strings.Contains(l.text, w) {
			return false
		}
	}
	return true
}

// keeps reports whether one of those asked for looks after a clock.
func (f *sieve) keeps(l *clockLine) bool {
	return f.people == nil || slices.ContainsFunc(l.duties, func(d schedule.Duty) bool { return f.people[d.Person] })
}

// sift gives the clocks that an address asks for, as indexes of the deck, in
// their order.
func (rd *onlooker) sift(f *sieve) []int {
	all := rd.in(f.Order)
	if !f.Any() && rd.mine == nil {
		return all
	}
	var out []int
	for _, i := range all {
		if f.lets(rd, i) && f.keeps(rd.lines[i]) && (f.State == "" || rd.lines[i].is(f.State)) {
			out = append(out, i)
		}
	}
	return out
}
