package schedule

import (
	"cmp"
	"slices"
	"strings"
	"time"
)

// dutyKinds are the kinds of mail that ask for work: who has no more of them is
// asked for nothing, and the conservator must know.
var dutyKinds = []NoticeKind{WindReminder, Standing, DueList, LimitReminder, ReadAgain, ChangeWeek}

// Duty reports whether mail of this kind asks for work: the conservator is told
// of who declines it.
func (k NoticeKind) Duty() bool { return slices.Contains(dutyKinds, k) }

// stillOwed is how long a notice may wait before it counts as one that does not
// arrive.
const stillOwed = 24 * time.Hour

// mailTrouble owes a conservator the week's letter, on Monday, of what did not
// arrive until then.
func (w *writer) mailTrouble(p Person) {
	if w.m.AtOnce || !w.reaches(p, MailTrouble) {
		return
	}
	clocks := w.s.of(p, Conservator)
	if len(clocks) == 0 {
		return
	}
	zone := w.zone(p, clocks)
	today := DateOf(w.now, zone)
	monday := today.Add(-(int(today.Start(time.UTC).Weekday()) + 6) % 7)
	at := p.Mail.morning(monday, zone)
	if at.Before(w.m.Since) {
		return
	}
	t := w.troubleOf(clocks, at)
	if t.empty() {
		return
	}
	w.owe(Letter{Kind: MailTrouble, Person: p, Occurrence: monday.String(), Clocks: clocks, Trouble: &t}, "", at)
}

func (t Trouble) empty() bool {
	return len(t.Notices) == 0 && len(t.Mailboxes) == 0 && len(t.Held) == 0 && len(t.Declined) == 0
}

// troubleOf is the trouble of before an instant that is about some clocks or
// their people, or of which nobody can tell what it is about.
func (w *writer) troubleOf(clocks []Assessment, at time.Time) Trouble {
	ofClock := func(slug string) bool {
		return slices.ContainsFunc(clocks, func(a Assessment) bool { return a.Clock.Slug == slug })
	}
	ofPerson := func(slug string) bool {
		return slices.ContainsFunc(clocks, func(a Assessment) bool { return a.Clock.Has(slug) })
	}
	var t Trouble
	for _, n := range w.m.Trouble.Notices {
		waits := n.State == Owed || n.State == Sending
		if (n.Clock != "" && ofClock(n.Clock) || n.Clock == "" && ofPerson(n.Person)) &&
			(waits && n.Created.Before(at.Add(-stillOwed)) || !waits && inWeek(cmp.Or(n.Settled, n.Created), at)) {
			t.Notices = append(t.Notices, n)
		}
	}
	for _, b := range w.m.Trouble.Mailboxes {
		holder := w.holderOf(b.Address)
		if b.Stopped.Before(at) && (holder == "" || ofPerson(holder)) {
			t.Mailboxes = append(t.Mailboxes, b)
		}
	}
	for _, in := range w.m.Trouble.Held {
		mine := ofClock(in.Clock) || in.Clock == "" && (in.Person == "" || ofPerson(in.Person))
		if mine && in.At.Before(at) {
			t.Held = append(t.Held, in)
		}
	}
	for _, d := range w.m.Declined {
		if slices.Contains(dutyKinds, d.Kind) && ofPerson(d.Person) && inWeek(d.At, at) {
			t.Declined = append(t.Declined, d)
		}
	}
	return t
}

// inWeek reports whether something was in the week before an instant: the letter
// of the week before told of what was earlier.
func inWeek(t, at time.Time) bool { return t.Before(at) && !t.Before(at.AddDate(0, 0, -7)) }

// holderOf is the person whose mail goes to an address; empty: nobody's.
func (w *writer) holderOf(address string) string {
	for _, p := range w.s.Fleet.People {
		if p.Email != "" && strings.EqualFold(p.Email, address) {
			return p.Slug
		}
	}
	return ""
}
