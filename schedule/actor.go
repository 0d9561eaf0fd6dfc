package schedule

import (
	"slices"
	"time"
)

// Actor is who asks for something. Its zero value may do nothing.
type Actor struct {
	Person      string   // Person.Slug; empty: no person
	Conservator bool     // of the whole fleet
	Machine     *Machine // a program with a token; nil: none
	Pass        *Pass    // a link of a letter, which opens one thing; nil: none
}

// ProgramPrefix begins the name of every program, and of no person.
const ProgramPrefix = "token "

// PagePrefix begins the source of an entry that one person logged in the name of
// another, or of nobody: what follows is who logged it.
const PagePrefix = "page, by "

// Name is how the audit names an actor.
func (a Actor) Name() string {
	switch {
	case a.Machine != nil:
		return ProgramPrefix + a.Machine.Name
	case a.Person != "":
		return a.Person
	case a.Conservator:
		return "conservator"
	}
	return "nobody"
}

// Account lets a person log in.
type Account struct {
	Person      string // Person.Slug
	Conservator bool   // of the whole fleet: runs it, and lets others in
	Hash        string // of the password, argon2id as PHC writes it; empty: none yet
	// Secret is that of their one-time codes (RFC 6238), in base32; empty: none.
	Secret   string
	LastCode int64     // the time step of the last code taken, which is not taken again
	Made     time.Time // when it was made
	Changed  time.Time // when its password was: what was let in before is let in no more
	Ended    time.Time // closed; zero: it is not
}

// Open reports whether somebody can log in with the account.
func (a Account) Open() bool { return a.Hash != "" && a.Ended.IsZero() }

// Reopen lets a closed account be used again. Whoever ran the fleet by it does so
// no more: that is given anew.
func (a *Account) Reopen() {
	if !a.Ended.IsZero() {
		a.Ended, a.Conservator = time.Time{}, false
	}
}

// Scope is what a machine's token is good for.
type Scope string

// The scopes.
const (
	ScopeRead    Scope = "read"    // clocks, their logs and wear
	ScopeLog     Scope = "log"     // entries
	ScopeMetrics Scope = "metrics" // the whole fleet's figures
)

// Scopes lists the scopes in the order in which a form offers them.
var Scopes = []Scope{ScopeRead, ScopeLog, ScopeMetrics}

// Machine is a program that a conservator gave a token.
type Machine struct {
	Name   string // unique among those that hold
	Token  string // 32 letters as of a Pass; kept only as its SHA-256
	Scopes []Scope
	Clocks []string // slugs; empty: the whole fleet
	Made   time.Time
	Ends   time.Time // a year after Made at the latest
	Ended  time.Time // taken back; zero: it was not
	Used   time.Time // last; zero: never
}

// Action is what an actor asks to do.
type Action string

// The actions. The first five are on one clock, the others on the fleet.
const (
	SeeClock  Action = "see"      // its state, log and wear
	LogEntry  Action = "log"      // add an entry: AllowEntry says of which kind
	Correct   Action = "correct"  // any entry, by whomever
	Describe  Action = "describe" // its policies, oils, limits, duties
	Export    Action = "export"   // its whole history
	RunPeople Action = "people"   // let in, give roles, end sessions, give tokens
	RunMail   Action = "mail"     // letters, what came in, addresses
	ReadAudit Action = "audit"
	Measure   Action = "metrics"
	Refuse    Action = "refuse" // have no more letters of a kind, by the link in one
)

// Actions lists them all.
var Actions = []Action{SeeClock, LogEntry, Correct, Describe, Export, RunPeople, RunMail, ReadAudit, Measure, Refuse}

// clockActions are on one clock.
var clockActions = Actions[:5]

// rights are what the roles of a clock let people do on it (judgement, no
// source). A winder logs what winding shows; an owner looks.
var rights = map[Role][]Action{
	Conservator: {SeeClock, LogEntry, Correct, Describe, Export},
	Keeper:      {SeeClock, LogEntry},
	Winder:      {SeeClock, LogEntry},
	Deputy:      {SeeClock, LogEntry},
	Clockmaker:  {SeeClock, LogEntry},
	Owner:       {SeeClock, Export},
}

// winders is what somebody logs who only winds.
var winders = []EntryKind{Wound, Inspected, Stopped, Started, Set, Noted}

// Allow answers for every way in (pages, programs, mail, calendars) whether an
// actor may do something to a clock, or to the fleet where none is named. A
// clock that is not theirs is NotFound, in the words for one that is not there;
// what they may not do to theirs is Forbidden. What is not allowed is refused.
func (f Fleet) Allow(by Actor, do Action, clock string) error {
	if !slices.Contains(clockActions, do) {
		if by.onFleet(do) {
			return nil
		}
		return forbidden("only a conservator of the fleet may do that")
	}
	c, ok := f.Clock(clock)
	switch {
	case !ok:
		return noClock(clock)
	case by.on(c, do):
		return nil
	case !by.on(c, SeeClock):
		return noClock(clock)
	}
	return forbidden("you may look at %s, and not do that: ask its conservator", c.Name)
}

func noClock(slug string) error { return notFound("clock", "there is no clock %q", slug) }

// onFleet is what an actor may do to the fleet as a whole.
func (a Actor) onFleet(do Action) bool {
	switch {
	case a.Pass != nil:
		return do == Refuse && a.Pass.Deed == Declining
	case a.Machine != nil:
		return do == Measure && slices.Contains(a.Machine.Scopes, ScopeMetrics) && len(a.Machine.Clocks) == 0
	}
	return a.Conservator
}

// on is what an actor may do to a clock.
func (a Actor) on(c Clock, do Action) bool {
	switch {
	case a.Machine != nil:
		m := a.Machine
		return (len(m.Clocks) == 0 || slices.Contains(m.Clocks, c.Slug)) &&
			(do == SeeClock && slices.Contains(m.Scopes, ScopeRead) || do == LogEntry && slices.Contains(m.Scopes, ScopeLog))
	case a.Pass != nil:
		// Of no use to whoever looks after the clock no more.
		its := a.Pass.Clock == c.Slug || a.Pass.Clock == "" && a.Pass.Deed == Following
		return its && c.Has(a.Pass.Person) && (do == SeeClock || do == LogEntry && a.Pass.Deed == Answering)
	case a.Conservator:
		return true
	case a.Person == "":
		return false
	}
	for _, d := range c.Duties {
		if d.Person == a.Person && slices.Contains(rights[d.Role], do) {
			return true
		}
	}
	return false
}

// ownFor is how long somebody may correct an entry of their own (judgement, no
// source).
const ownFor = 14 * 24 * time.Hour

// AllowEntry answers whether an actor may log an entry: its kind, in whose name,
// and, where it corrects one, whether that one is theirs to correct. replaced is
// the entry corrected; nil: none is known.
func (f Fleet) AllowEntry(by Actor, e Entry, replaced *Entry, now time.Time) error {
	if err := f.Allow(by, LogEntry, e.Clock); err != nil {
		return err
	}
	c, _ := f.Clock(e.Clock)
	all := by.on(c, Correct)
	switch {
	case by.Machine != nil && e.Clears != "":
		return forbidden("a lock is cleared by a person, in their own name: a program cannot do that")
	case by.Machine != nil && e.By != "" && !c.Has(e.By):
		return forbidden("a program logs in the name of somebody who looks after %s, or of nobody", c.Name)
	case by.Machine != nil || by.Pass != nil || all:
	case (e.Clears != "" || e.Replaces != "" || replaced != nil) && e.By != by.Person:
		return forbidden("a lock is cleared, and an entry corrected, in your own name")
	case !by.logsKind(c, e.Kind):
		return forbidden("whoever winds %s logs what winding shows: %q is for its keeper", c.Name, e.Kind)
	case e.By != "" && e.By != by.Person && !c.Has(e.By):
		return forbidden("an entry is logged in your own name, or in that of somebody who looks after %s", c.Name)
	}
	if all || replaced == nil && e.Replaces == "" {
		return nil
	}
	// What is not known is nobody's to correct: another desk may know it.
	if replaced == nil || by.Machine != nil || by.Pass != nil || replaced.By != by.Person || now.Sub(replaced.RecordedAt) > ownFor {
		return forbidden("only entries of your own can be corrected, and for %s: tell the conservator what is wrong with this one", Count(int(ownFor.Hours()/24), "day", "days"))
	}
	return nil
}

// logsKind reports whether one of a person's roles logs entries of a kind.
func (a Actor) logsKind(c Clock, kind EntryKind) bool {
	for _, d := range c.Duties {
		if d.Person != a.Person || !slices.Contains(rights[d.Role], LogEntry) {
			continue
		}
		if d.Role != Winder && d.Role != Deputy || slices.Contains(winders, kind) {
			return true
		}
	}
	return false
}

// Kinds are the kinds of entry that an actor may log on a clock.
func (a Actor) Kinds(c Clock) []EntryKind {
	if !a.on(c, LogEntry) {
		return nil
	}
	var out []EntryKind
	for _, k := range EntryKinds {
		if a.Machine != nil || a.on(c, Correct) || a.logsKind(c, k) {
			out = append(out, k)
		}
	}
	return out
}

// Seen is the snapshot as an actor may see it: their clocks alone, the places of
// those, and whoever looks after them, without addresses that are not their own.
// A conservator of the fleet sees the snapshot itself.
func (s *Snapshot) Seen(by Actor) *Snapshot {
	if by.Conservator && by.Machine == nil && by.Pass == nil {
		return s
	}
	out := &Snapshot{Now: s.Now}
	sites, people := map[string]bool{}, map[string]bool{by.Person: true}
	for i := range s.Clocks {
		a := &s.Clocks[i]
		if !by.on(a.Clock, SeeClock) {
			continue
		}
		out.Clocks = append(out.Clocks, *a)
		out.Fleet.Clocks = append(out.Fleet.Clocks, a.Clock)
		sites[a.Clock.Site] = true
		for _, d := range a.Clock.Duties {
			people[d.Person] = true
		}
		for k := range a.Entries { // who did something once is named still
			people[a.Entries[k].By] = true
		}
	}
	for _, site := range s.Fleet.Sites {
		if sites[site.Slug] {
			out.Fleet.Sites = append(out.Fleet.Sites, site)
		}
	}
	for _, p := range s.Fleet.People {
		if !people[p.Slug] {
			continue
		}
		if p.Slug != by.Person {
			p = Person{Slug: p.Slug, Name: p.Name}
		}
		out.Fleet.People = append(out.Fleet.People, p)
	}
	return out
}
