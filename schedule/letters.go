package schedule

import (
	"fmt"
	"slices"
)

// monthOf names the month of a day.
func monthOf(d Date) string { return fmt.Sprintf("%04d-%02d", d.Year, d.Month) }

// LimitLetters works out the reminders about single bearings, one for each
// person who should act: that one is near its limit, once for each change for
// the worse of each part, and that its last reading does not fit, once for each
// reading. A repair makes a new part, and so can call for new reminders. A
// bearing that is only watched because its reading does not fit is no news of
// its limit. One of a clock that rests is asked to be read again when it goes;
// its rest is the time to mend one that is near its limit.
func LimitLetters(s *Snapshot) []Letter {
	var out []Letter
	for i := range s.Clocks {
		a := &s.Clocks[i]
		for j := range a.Outlooks {
			o := &a.Outlooks[j]
			if o.ReadAgain && !a.Resting {
				out = append(out, s.reminders(*a, *o, ReadAgain, readingOccurrence(*o))...)
			}
			if o.Condition == Act || o.Condition == Watch && !o.ReadAgain {
				out = append(out, s.reminders(*a, *o, LimitReminder, partOccurrence(*o, o.Condition))...)
			}
		}
	}
	return out
}

// reminders are the letters of one kind about a bearing.
func (s *Snapshot) reminders(a Assessment, o Outlook, kind NoticeKind, occurrence string) []Letter {
	var out []Letter
	told := s.told(a, kind)
	for _, p := range told {
		key := func(occurrence string) string {
			return NoticeKey(p.Slug, kind, a.Clock.Slug+"/"+o.Bearing.Code, occurrence)
		}
		l := Letter{
			Key: key(occurrence), Kind: kind, Person: p, Occurrence: occurrence, Today: a.dayOf(a.Now),
			Clocks: []Assessment{a}, Outlook: &o,
			Others: slices.DeleteFunc(slices.Clone(told), func(other Person) bool { return other.Slug == p.Slug }),
		}
		if kind == LimitReminder && o.Condition == Watch { // no news once the worse has been told
			l.Unless = []string{key(partOccurrence(o, Act))}
		}
		out = append(out, l)
	}
	return out
}

// of gives the assessments of the clocks for which a person has one of the roles.
func (s *Snapshot) of(p Person, roles ...Role) []Assessment {
	var out []Assessment
	for _, a := range s.Clocks {
		if a.Clock.Has(p.Slug, roles...) {
			out = append(out, a)
		}
	}
	return out
}

// told are the people who are mailed about a clock's bearings: those who can
// have them mended, or measured again.
func (s *Snapshot) told(a Assessment, kind NoticeKind) []Person {
	roles := doers[NearLimit]
	if kind == ReadAgain {
		roles = doers[Measuring]
	}
	return slices.DeleteFunc(slices.Clone(s.Fleet.People), func(p Person) bool {
		return p.Email == "" || !a.Clock.Has(p.Slug, roles...)
	})
}

// readingOccurrence names the last reading of the present part.
func readingOccurrence(o Outlook) string {
	r := o.Parts[len(o.Parts)-1].Readings
	return "reading " + r[len(r)-1].Entry
}

// partOccurrence names a condition of the part that is in a bearing now.
func partOccurrence(o Outlook, c Condition) string {
	return fmt.Sprintf("%s, part %d", c, len(o.Parts))
}
