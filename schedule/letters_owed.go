package schedule

import (
	"cmp"
	"slices"
	"strings"
	"time"
)

// Letters works out the letters that are owed at an instant: what each person
// is to be told now, within their hours, and was not to be told before mail was
// switched on. What was owed already is among them, for as long as its matter
// stands: its key tells. Nothing is said of a clock that rests, nor to somebody
// who declined it or whose mailbox is stopped.
func Letters(s *Snapshot, m MailRoom, now time.Time) []Letter {
	w := &writer{s: s, m: m, now: now, people: map[string]Person{}, deaf: map[string]bool{}}
	for _, address := range m.Stopped {
		w.deaf[strings.ToLower(address)] = true
	}
	for _, d := range m.Declined {
		w.deaf[d.Person+"|"+string(d.Kind)] = true
	}
	for _, p := range s.Fleet.People {
		w.people[p.Slug] = p
	}
	for _, a := range s.Clocks {
		w.windReminders(a)
		w.standing(a)
	}
	w.bearings()
	for _, p := range s.Fleet.People {
		w.monthly(p)
		w.changeWeek(p)
		w.mailTrouble(p)
	}
	return w.out
}

// writer is one look for the letters that are owed.
type writer struct {
	s      *Snapshot
	m      MailRoom
	now    time.Time
	people map[string]Person
	// deaf holds addresses that are stopped, and what people declined.
	deaf map[string]bool
	out  []Letter
}

// reaches reports whether a person can be told by a kind of letter.
func (w *writer) reaches(p Person, kind NoticeKind) bool {
	return p.Email != "" && !w.deaf[strings.ToLower(p.Email)] && !w.deaf[p.Slug+"|"+string(kind)] && !slices.Contains(p.Mail.Not, kind)
}

// zone is the zone of a person's day: their own, else that of the clock.
func (w *writer) zone(p Person, clocks []Assessment) *time.Location {
	if p.Zone != "" {
		return Site{Zone: p.Zone}.Location()
	}
	if len(clocks) > 0 && clocks[0].Zone != nil {
		return clocks[0].Zone
	}
	return time.UTC
}

// owe owes a letter whose time has come, where its reader may be told and it is
// an hour for it. The letter needs its Person, Kind, Occurrence and Clocks.
func (w *writer) owe(l Letter, subject string, from time.Time) {
	zone := w.zone(l.Person, l.Clocks)
	if !w.m.AtOnce && (w.now.Before(from) || !l.Person.Mail.Takes(w.now.In(zone))) {
		return
	}
	if !w.reaches(l.Person, l.Kind) {
		return
	}
	l.Today = DateOf(w.now, zone)
	l.Key = NoticeKey(l.Person.Slug, l.Kind, subject, l.Occurrence)
	l.Named = w.named(l)
	w.out = append(w.out, l)
}

// named are the people that a letter may have to name.
func (w *writer) named(l Letter) []Person {
	slugs := map[string]bool{}
	for _, a := range l.Clocks {
		for _, d := range a.Clock.Duties {
			slugs[d.Person] = true
		}
	}
	if l.Trouble != nil {
		for _, n := range l.Trouble.Notices {
			slugs[n.Person] = true
		}
	}
	var out []Person
	for _, p := range w.s.Fleet.People {
		if slugs[p.Slug] {
			out = append(out, Person{Slug: p.Slug, Name: p.Name})
		}
	}
	return out
}

// dayAfter is the first instant for a letter on the day after another, for what
// is no news of the minute.
func (w *writer) dayAfter(at time.Time, p Person, clocks []Assessment) time.Time {
	zone := w.zone(p, clocks)
	return p.Mail.morning(DateOf(at, zone).Add(1), zone)
}

// settled is when a matter that has no beginning of its own may be told: on the
// day after mail was switched on.
func (w *writer) settled(p Person, clocks []Assessment) time.Time {
	if w.m.Since.IsZero() {
		return time.Time{}
	}
	return w.dayAfter(w.m.Since, p, clocks)
}

// holders are the people with one of the roles for a clock, in the order of
// its duties.
func (w *writer) holders(a Assessment, roles ...Role) []Person {
	var out []Person
	for _, role := range roles {
		for _, d := range a.Clock.Duties {
			p, ok := w.people[d.Person]
			if ok && d.Role == role && !slices.ContainsFunc(out, func(q Person) bool { return q.Slug == p.Slug }) {
				out = append(out, p)
			}
		}
	}
	return out
}

// without leaves a person out of several.
func without(people []Person, slug string) []Person {
	return slices.DeleteFunc(slices.Clone(people), func(p Person) bool { return p.Slug == slug })
}

// matter names an entry, and stays the same however often that is corrected.
func matter(e Entry) string { return cmp.Or(e.first, e.Replaces, e.ID) }

// bearings owes the reminders about bearings, not on the day of the reading
// that they come of: whoever took it is there still, or mends a slip.
func (w *writer) bearings() {
	for _, l := range LimitLetters(w.s) {
		from := w.settled(l.Person, l.Clocks)
		if r := l.Outlook.Parts[len(l.Outlook.Parts)-1].Readings; len(r) > 0 {
			if next := w.dayAfter(r[len(r)-1].At, l.Person, l.Clocks); next.After(from) {
				from = next
			}
		}
		w.owe(l, l.Clocks[0].Clock.Slug+"/"+l.Outlook.Bearing.Code, from)
	}
}

// monthLate is how late a monthly letter still goes out.
const monthLate = 10 * 24 * time.Hour

// carers are all roles but that of an owner.
var carers = slices.DeleteFunc(slices.Clone(Roles), func(r Role) bool { return r == Owner })

// monthly owes a person's letters of the month, where its day has come.
func (w *writer) monthly(p Person) {
	for _, kind := range []NoticeKind{DueList, OwnersMonth} {
		roles := carers
		if kind == OwnersMonth {
			roles = []Role{Owner}
		}
		if !w.reaches(p, kind) {
			continue
		}
		first := slices.IndexFunc(w.s.Clocks, func(a Assessment) bool { return a.Clock.Has(p.Slug, roles...) })
		if first < 0 {
			continue
		}
		day, at := p.Mail.monthly(w.now, w.zone(p, w.s.Clocks[first:]))
		if !w.m.AtOnce && (at.Before(w.m.Since) || w.now.Sub(at) > monthLate) {
			continue
		}
		w.owe(Letter{Kind: kind, Person: p, Occurrence: monthOf(day), Clocks: w.s.of(p, roles...)}, "", at)
	}
}

// changeWeek owes a person the list of their clocks that change in this week.
func (w *writer) changeWeek(p Person) {
	if !w.reaches(p, ChangeWeek) {
		return
	}
	first := slices.IndexFunc(w.s.Clocks, func(a Assessment) bool { return a.Clock.Has(p.Slug, carers...) })
	if first < 0 {
		return
	}
	zone := w.zone(p, w.s.Clocks[first:])
	week := weekOf(DateOf(w.now, zone))
	if !w.changes(week, p) {
		return
	}
	clocks := w.s.of(p, carers...)
	mine := Snapshot{Now: w.s.Now, Fleet: w.s.Fleet, Clocks: clocks}
	list := mine.ChangeList(week.From)
	if list.Open() == 0 {
		return
	}
	from := p.Mail.morning(week.From, zone)
	if settled := w.settled(p, clocks); settled.After(from) {
		from = settled
	}
	l := Letter{Kind: ChangeWeek, Person: p, Occurrence: week.From.String(), Changes: &list}
	l.Clocks = slices.DeleteFunc(clocks, func(a Assessment) bool { return !list.has(a.Clock.Slug) })
	w.owe(l, "", from)
}

// changes reports whether any of a person's clocks changes within a week.
func (w *writer) changes(week ChangeList, p Person) bool {
	seen := map[*time.Location]bool{}
	for _, a := range w.s.Clocks {
		if a.Zone == nil || seen[a.Zone] || !a.Clock.Has(p.Slug, carers...) {
			continue
		}
		seen[a.Zone] = true
		if at, _, ok := NextChange(a.Zone, week.From.Start(a.Zone).Add(-1)); ok && !a.dayOf(at).After(week.To) {
			return true
		}
	}
	return false
}

func (l ChangeList) has(clock string) bool {
	return slices.ContainsFunc(l.Sites, func(s ChangeSite) bool {
		return slices.ContainsFunc(s.Clocks, func(c ChangeClock) bool { return c.Clock == clock })
	})
}
