package oldbook

import (
	"maps"
	"slices"
	"strings"

	"endshake/schedule"
	"endshake/wear"
)

// names finds who and what a word of a logbook means, by the description of the
// fleet. Short names and codes go before names, and those before parts of names; what
// several are called alike finds them all.
type names struct {
	fleet    schedule.Fleet
	clocks   map[string][]string
	people   map[string][]string
	trains   map[string]map[string][]string // by clock
	bearings map[string]map[string][]string
}

func newNames(f schedule.Fleet) *names {
	n := &names{fleet: f, clocks: map[string][]string{}, people: map[string][]string{}, trains: map[string]map[string][]string{}, bearings: map[string]map[string][]string{}}
	for _, c := range f.Clocks {
		put(n.clocks, c.Slug, c.Slug, c.Name, strings.TrimSuffix(plainWord(c.Name), " clock"))
		trains, bearings := map[string][]string{}, map[string][]string{}
		for _, t := range c.Trains {
			put(trains, t.Code, t.Code, t.Name, string(t.Kind), string(t.Kind)+" train", strings.TrimSuffix(plainWord(t.Name), " train"))
			if t.Kind == wear.Strike {
				put(trains, t.Code, "striking", "striking train")
			}
			if t.Kind == wear.Chime {
				put(trains, t.Code, "chiming", "chiming train", "quarters", "quarter train")
			}
			for _, a := range t.Arbors {
				for _, b := range a.Bearings {
					put(bearings, b.Code, b.Code, strings.ReplaceAll(b.Code, "-", " "), schedule.NameOf(b.Name, a.Name), strings.ReplaceAll(schedule.NameOf(b.Name, a.Name), ",", ""), b.Name)
				}
			}
		}
		n.trains[c.Slug], n.bearings[c.Slug] = trains, bearings
	}
	n.placed()
	for _, p := range f.People {
		words := strings.Fields(plainWord(p.Name))
		put(n.people, p.Slug, p.Slug, p.Name)
		if len(words) > 1 {
			initials, first, last := "", words[0], words[len(words)-1]
			for _, w := range words {
				initials += letter(w)
			}
			put(n.people, p.Slug, first, last, initials, letter(first)+" "+last, first+" "+letter(last), strings.Join(strings.Split(initials, ""), " "))
		}
	}
	return n
}

// letter is the first of a word.
func letter(w string) string { return string([]rune(w)[:1]) }

// called notes that somebody is meant by less than their name.
func (b *Book) called(word, slug string) {
	if p, _ := b.fleet.Person(slug); plainName(word) != slug && plainName(word) != plainName(p.Name) {
		b.people[plainName(word)] = quote(word) + " is " + p.Name
	}
}

// sayWho says so, that nobody is taken for another unseen.
func (b *Book) sayWho() {
	const most = 12
	all := slices.Sorted(maps.Values(b.people))
	if n := len(all); n > most {
		all = append(all[:most], schedule.Count(n-most, "more", "more"))
	}
	if len(all) > 0 {
		b.Notes = append(b.Notes, "By initials, or part of a name: "+schedule.And(all)+".")
	}
}

// placed finds a clock by its site too, where no clock is called so.
func (n *names) placed() {
	words := map[string][]string{}
	for _, c := range n.fleet.Clocks {
		if s, ok := n.fleet.Site(c.Site); ok {
			put(words, c.Slug, s.Slug, s.Name)
		}
	}
	for w, clocks := range words {
		if len(n.clocks[w]) == 0 {
			n.clocks[w] = clocks
		}
	}
}

// put calls something by some words.
func put(in map[string][]string, what string, words ...string) {
	for _, w := range words {
		if w = plainName(w); w != "" && !slices.Contains(in[w], what) {
			in[w] = append(in[w], what)
		}
	}
}

// plainName is a name as it is compared: plain, and without points.
func plainName(s string) string {
	return strings.Join(strings.Fields(strings.Map(func(r rune) rune {
		if r == '.' || r == ',' || r == '_' {
			return ' '
		}
		return r
	}, plainWord(s))), " ")
}

// find looks up a word; a short name or code is its own alone.
func find(in map[string][]string, word string) []string {
	found := in[word]
	if len(found) > 1 && slices.Contains(found, word) {
		return []string{word}
	}
	return found
}

func (n *names) clock(word string) []string  { return find(n.clocks, plainName(word)) }
func (n *names) person(word string) []string { return find(n.people, plainName(word)) }

func (n *names) train(clock, word string) []string { return find(n.trains[clock], plainName(word)) }

// bearing finds a bearing of a clock.
func (n *names) bearing(clock, word string) []string {
	if found := find(n.bearings[clock], plainName(word)); len(found) > 0 {
		return found
	}
	return n.bearings[clock][strings.ReplaceAll(plainName(word), "-", " ")]
}

// roleOf is what a cell alone looks like; empty: nothing in particular.
func (n *names) roleOf(cell string) Role {
	if _, ok := splitDay(cell); ok {
		return IsDate
	}
	if _, err := readClockTime(cell); err == nil && strings.Contains(cell, ":") {
		return IsTime
	}
	if len(n.clock(cell)) > 0 {
		return IsClock
	}
	if _, ok := kindWords[plainWord(cell)]; ok {
		return IsWhat
	}
	if len(n.person(cell)) > 0 {
		return IsWho
	}
	for _, c := range n.fleet.Clocks {
		if len(n.bearing(c.Slug, cell)) > 0 {
			return IsBearing
		}
		if len(n.train(c.Slug, cell)) > 0 {
			return IsTrain
		}
	}
	if _, behind := figureOf(cell); behind != "" {
		if _, err := readSize(cell, "", ""); err == nil {
			return IsReading
		}
	}
	return ""
}

// inHeader finds the bearing that a header names, and the freedom if it names that
// too.
func (n *names) inHeader(header string) (code string, shake Role, ok bool) {
	head := headPlain(header)
	shake = IsReading
	for _, s := range []struct {
		role Role
		word string
	}{{IsEndShake, "end shake"}, {IsEndShake, "endshake"}, {IsSideShake, "side shake"}, {IsSideShake, "sideshake"}} {
		if rest, found := strings.CutSuffix(head, " "+s.word); found {
			head, shake = rest, s.role
		} else if rest, found := strings.CutPrefix(head, s.word+" "); found {
			head, shake = rest, s.role
		}
	}
	if u := headUnit(header); u != "" {
		head = strings.TrimSuffix(head, " "+u)
	}
	for _, c := range n.fleet.Clocks {
		if found := n.bearing(c.Slug, head); len(found) == 1 && head != "" {
			return found[0], shake, true
		}
	}
	return "", "", false
}
