package schedule

import (
	"fmt"
	"slices"
)

// DueLetters works out the monthly due-lists: one for each person who can be
// reached by mail and has a duty, with only their clocks. The month is that of
// the given day.
func DueLetters(s *Snapshot, day Date) []Letter {
	month := fmt.Sprintf("%04d-%02d", day.Year, day.Month)
	var out []Letter
	for _, p := range s.Fleet.People {
		clocks := s.of(p)
		if p.Email == "" || len(clocks) == 0 {
			continue
		}
		out = append(out, Letter{
			Key: NoticeKey(p.Slug, DueList, "", month), Kind: DueList, Person: p,
			Occurrence: month, Today: clocks[0].dayOf(s.Now), Clocks: clocks,
		})
	}
	return out
}

// LimitLetters works out the reminders of bearings near their limit: one for
// each person who should act, and each change for the worse of each part.
// A repair makes a new part, and so can call for new reminders.
func LimitLetters(s *Snapshot) []Letter {
	var out []Letter
	for _, a := range s.Clocks {
		for _, o := range a.Outlooks {
			if o.Condition != Act && o.Condition != Watch {
				continue
			}
			for _, p := range s.told(a) {
				l := Letter{
					Kind: LimitReminder, Person: p, Occurrence: partOccurrence(o, o.Condition), Today: a.dayOf(s.Now),
					Clocks: []Assessment{a}, Outlook: &o,
				}
				key := func(occurrence string) string {
					return NoticeKey(p.Slug, LimitReminder, a.Clock.Slug+"/"+o.Bearing.Code, occurrence)
				}
				l.Key = key(l.Occurrence)
				if o.Condition == Watch { // no news once the worse has been told
					l.Unless = []string{key(partOccurrence(o, Act))}
				}
				l.Others = slices.DeleteFunc(s.told(a), func(other Person) bool { return other.Slug == p.Slug })
				out = append(out, l)
			}
		}
	}
	return out
}

// of gives the assessments of the clocks a person has a duty for.
func (s *Snapshot) of(p Person) []Assessment {
	return slices.DeleteFunc(slices.Clone(s.Clocks), func(a Assessment) bool { return !a.Clock.Has(p.Slug) })
}

// told are the people who are mailed about a clock's bearings.
func (s *Snapshot) told(a Assessment) []Person {
	return slices.DeleteFunc(slices.Clone(s.Fleet.People), func(p Person) bool {
		return p.Email == "" || !a.Clock.Has(p.Slug, doers[NearLimit]...)
	})
}

// partOccurrence names a condition of the part that is in a bearing now.
func partOccurrence(o Outlook, c Condition) string {
	return fmt.Sprintf("%s, part %d", c, len(o.Parts))
}
