package schedule

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"
)

// owedAt are the keys of the letters that are owed at an instant of one clock and its log, of one kind or of all.
func owedAt(f Fleet, log map[string][]Entry, m MailRoom, now time.Time, kinds ...NoticeKind) []string {
	var keys []string
	for _, l := range Letters(Survey(f, log, Model{}, now), m, now) {
		if len(kinds) == 0 || slices.Contains(kinds, l.Kind) {
			keys = append(keys, l.Key)
		}
	}
	slices.Sort(keys)
	return keys
}

// who are the people of keys, without what they are told.
func who(keys []string) string {
	var out []string
	for _, k := range keys {
		p, _, _ := strings.Cut(k, "|")
		out = append(out, p)
	}
	return strings.Join(out, " ")
}

// firstOwed is when each key is first owed, looked at from one instant until
// another.
func firstOwed(f Fleet, log map[string][]Entry, m MailRoom, from, to time.Time, step time.Duration, kinds ...NoticeKind) map[string]time.Time {
	out, owing := map[string]time.Time{}, covering{}
	var s *Snapshot
	for now := from; now.Before(to); now = now.Add(step) {
		if s == nil {
			s = Survey(f, log, Model{}, now)
		} else {
			s = s.Again(log, Model{}, now)
		}
		for _, l := range Letters(s, m, now) {
			if _, known := out[l.Key]; known || len(kinds) > 0 && !slices.Contains(kinds, l.Kind) {
				continue
			}
			owing.take(out, l, now)
		}
	}
	return out
}

// covering are the keys of letters that were made needless.
type covering map[string]bool

// take owes a letter where nothing made it needless.
func (c covering) take(out map[string]time.Time, l Letter, now time.Time) bool {
	known := func(k string) bool { _, known := out[k]; return known || c[k] }
	if known(l.Key) || slices.ContainsFunc(l.Unless, known) {
		return false
	}
	out[l.Key] = now
	for _, k := range l.Covers {
		c[k] = true
	}
	return true
}

// rota is a clock with somebody for each turn, and an owner with mail.
func rota(reserve time.Duration, policies ...Policy) Fleet {
	c := wound(reserve, policies...)
	c.Duties = []Duty{{"ann", Keeper}, {"ben", Winder}, {"dan", Deputy}, {"cleo", Conservator}, {"dov", Owner}}
	f := fleetOf("Europe/London", c)
	f.People = append(f.People, Person{Slug: "dan", Name: "Dan Dalby", Email: "dan@example.org"})
	for i := range f.People {
		if f.People[i].Slug == "dov" {
			f.People[i].Email = "dov@example.org"
		}
	}
	return f
}

// wish changes how somebody wants their mail.
func wish(f Fleet, person string, change func(*Person)) Fleet {
	f.People = slices.Clone(f.People)
	for i := range f.People {
		if f.People[i].Slug == person {
			change(&f.People[i])
		}
	}
	return f
}

func logOf(entries ...Entry) map[string][]Entry {
	return map[string][]Entry{"pump-room": book(entries...)}
}

// Whose turn it is, reckoned by hand: of an eight-day clock wound on Monday 2
// March 2026 at 09:00 the next wind is due on Monday the 9th, and it may stop
// from 9.6 hours before Tuesday at 09:00: from 23:24. From 07:00 to 22:00 are
// 15 waking hours: the deputy is asked at half of them, the conservator at three
// quarters.
func TestTurns(t *testing.T) {
	at9 := logOf(did(Wound, "2026-03-02 09:00", called("w")))
	eight, thirty := rota(days8), rota(hour30)
	not := func(kinds ...NoticeKind) func(*Person) { return func(p *Person) { p.Mail.Not = kinds } }
	for _, tt := range []struct {
		name  string
		fleet Fleet
		log   map[string][]Entry
		room  MailRoom
		want  string // person, number of the turn, day and hour
	}{
		{"each in turn", eight, at9, MailRoom{}, "ben 0 09 07:00, dan 1 09 14:30, cleo 2 09 18:15"},
		{"no deputy: the keeper instead", without1(eight, Deputy), at9, MailRoom{}, "ben 0 09 07:00, ann 1 09 14:30, cleo 2 09 18:15"},
		{"no winder", without1(eight, Winder), at9, MailRoom{}, "ann 0 09 07:00, dan 1 09 14:30, cleo 2 09 18:15"},
		{"no deputy and no winder", without1(without1(eight, Winder), Deputy), at9, MailRoom{}, "ann 0 09 07:00, cleo 2 09 14:30"},
		{"a conservator alone", without1(without1(without1(eight, Winder), Deputy), Keeper), at9, MailRoom{}, "cleo 2 09 07:00"},
		{"the winder declined: the next at once", wish(without1(eight, Keeper), "ben", not(WindReminder)), at9, MailRoom{}, "dan 1 09 07:00, cleo 2 09 14:30"},
		{"by a link", without1(eight, Keeper), at9, MailRoom{Declined: []Decline{{Person: "ben", Kind: WindReminder}}}, "dan 1 09 07:00, cleo 2 09 14:30"},
		{"another kind declined", eight, at9, MailRoom{Declined: []Decline{{Person: "ben", Kind: DueList}}}, "ben 0 09 07:00, dan 1 09 14:30, cleo 2 09 18:15"},
		{"the winder's mailbox is stopped", without1(eight, Keeper), at9, MailRoom{Stopped: []string{"BEN@example.org"}}, "dan 1 09 07:00, cleo 2 09 14:30"},
		{"nobody has mail", wish(wish(wish(wish(eight, "ann", noMail), "ben", noMail), "dan", noMail), "cleo", noMail), at9, MailRoom{}, ""},
		// Wound at 09:00 it is due within the next day's morning (a fifth of its
		// run is left from 09:00), and may stop from 13:30: 6.5 waking hours, so
		// two for each turn.
		{"30 hours", thirty, at9, MailRoom{}, "ben 0 03 07:00, dan 1 03 09:30, cleo 2 03 11:30"},
		// Wound at 21:00 it is due from 21:00 on the 3rd and may stop from 01:30 on the 4th.
		{"30 hours, wound at night", thirty, logOf(did(Wound, "2026-03-02 21:00", called("w"))), MailRoom{}, "ben 0 03 07:00, dan 1 03 14:30, cleo 2 03 18:15"},
		// Wound at 01:00 it is due on the 3rd from 01:00 and may stop from 05:30:
		// everybody must know on the evening before.
		{"30 hours, wound after midnight", thirty, logOf(did(Wound, "2026-03-02 01:00", called("w"))), MailRoom{}, "ben 0 02 20:00, dan 1 02 20:00, cleo 2 02 20:00"},
		// It may stop from 18:24: the quarters begin at 12:42 and 15:33.
		{"half a day", rota(12 * time.Hour), logOf(did(Wound, "2026-03-02 07:00", called("w"))), MailRoom{}, "ben 0 02 07:00, dan 1 02 12:45, cleo 2 02 15:45"},
		// Due on the 9th; it may stop from 12 hours before the 12th at 09:00, 44
		// waking hours later.
		{"by policy three days before it stops", rota(days8+48*time.Hour, weeklyWind), at9, MailRoom{}, "ben 0 09 07:00, dan 1 10 14:00, cleo 2 11 10:00"},
		// Mail was switched on at noon: the turns begin then.
		{"switched on meanwhile", eight, at9, MailRoom{Since: utc("2026-03-09 12:00")}, "ben 0 09 12:00, dan 1 09 17:00, cleo 2 09 19:30"},
		{"switched on too late", eight, at9, MailRoom{Since: utc("2026-03-10 08:00")}, ""},
		// The winder's mail comes from 18:00 on, and the turns begin then: four
		// waking hours are left, two for each after the winder.
		{"wishes", wish(wish(eight, "ben", func(p *Person) { p.Mail.Hour = 18 }), "dan", func(p *Person) { p.Mail.QuietFrom, p.Mail.QuietTo = 14, 19 }), at9, MailRoom{},
			"ben 0 09 18:00, dan 1 09 19:00, cleo 2 09 20:00"},
		// 18:15 in London is 01:15 in Vladivostok, ten hours ahead, where the
		// morning begins at 21:00 of London.
		{"another zone", wish(eight, "cleo", func(p *Person) { p.Zone = "Asia/Vladivostok" }), at9, MailRoom{}, "ben 0 09 07:00, dan 1 09 14:30, cleo 2 09 21:00"},
		// She takes mail for an hour from 07:00, which is before her turn; the next
		// such hour is too late.
		{"hours that begin too late", wish(eight, "cleo", func(p *Person) { p.Mail = Wishes{Hour: 7, QuietFrom: 8, QuietTo: 7} }), at9, MailRoom{}, "ben 0 09 07:00, cleo 2 09 07:00, dan 1 09 14:30"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			first := firstOwed(tt.fleet, tt.log, tt.room, tt.log["pump-room"][0].At, utc("2026-03-12 12:00"), 15*time.Minute, WindReminder)
			if got := turnsAsked(first); got != tt.want {
				t.Errorf("got  %s\nwant %s", got, tt.want)
			}
		})
	}
}

// Only who is asked after somebody else is told that nobody answered.
func TestFirstAskedIsFirst(t *testing.T) {
	log := logOf(did(Wound, "2026-03-02 09:00", called("w")))
	eight := rota(days8)
	for _, tt := range []struct {
		fleet Fleet
		want  string
	}{
		{eight, "ben 0, dan 1, cleo 2"},
		{without1(without1(eight, Winder), Keeper), "dan 0, cleo 1"},
		{without1(without1(without1(eight, Winder), Deputy), Keeper), "cleo 0"},
	} {
		var got []string
		for _, l := range owedOf(Survey(tt.fleet, log, Model{}, utc("2026-03-09 20:00")), MailRoom{}, WindReminder) {
			got = append(got, fmt.Sprintf("%s %d", l.Person.Slug, l.Turn))
		}
		if strings.Join(got, ", ") != tt.want {
			t.Errorf("got %v, want %s", got, tt.want)
		}
	}
}

func noMail(p *Person) { p.Email = "" }

// without1 takes the duties of a role from the only clock.
func without1(f Fleet, role Role) Fleet {
	c := f.Clocks[0]
	c.Duties = slices.DeleteFunc(slices.Clone(c.Duties), func(d Duty) bool { return d.Role == role })
	f.Clocks = []Clock{c}
	return f
}

// turnsAsked are reminders of turns in the order in which they are owed.
func turnsAsked(first map[string]time.Time) string {
	keys := slices.SortedFunc(maps.Keys(first), func(x, y string) int {
		return cmp.Or(first[x].Compare(first[y]), strings.Compare(x[len(x)-1:], y[len(y)-1:]))
	})
	var out []string
	for _, k := range keys {
		person, _, _ := strings.Cut(k, "|")
		out = append(out, fmt.Sprintf("%s %s %s", person, k[len(k)-1:], first[k].Format("02 15:04")))
	}
	return strings.Join(out, ", ")
}
