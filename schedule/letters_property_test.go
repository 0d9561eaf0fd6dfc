package schedule

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"endshake/wear"
)

// anyTown is a few clocks in zones of many kinds, with people of many wishes,
// and a month of their log.
func anyTown(r *rand.Rand, from time.Time) (Fleet, map[string][]Entry) {
	zones := []string{"Europe/London", "America/St_Johns", "Australia/Lord_Howe", "Asia/Kolkata", "Pacific/Apia", "America/Sao_Paulo", "UTC"}
	var f Fleet
	log := map[string][]Entry{}
	for i := range 3 {
		zone := zones[r.IntN(len(zones))]
		slug := fmt.Sprintf("clock-%d", i)
		f.Sites = append(f.Sites, Site{Slug: slug, Name: slug, Zone: zone})
		c := Clock{Slug: slug, Name: slug, Kind: Turret, Site: slug, InCare: DateOf(from, time.UTC).Add(-100)}
		for _, role := range Roles {
			if r.IntN(4) == 0 {
				continue
			}
			p := Person{Slug: fmt.Sprintf("%s-%d", role, i), Name: "x", Email: fmt.Sprintf("%s-%d@example.org", role, i)}
			for p.Mail = anyWishes(r); p.Mail.validate("x") != nil; p.Mail = anyWishes(r) {
			}
			if r.IntN(3) == 0 {
				p.Zone = zones[r.IntN(len(zones))]
			}
			f.People, c.Duties = append(f.People, p), append(c.Duties, Duty{p.Slug, role})
		}
		reserve := []time.Duration{30 * time.Hour, days8, days8, 15 * 24 * time.Hour}[r.IntN(4)]
		c.Trains = []wear.Train{{Code: "going", Kind: wear.Going, Drive: wear.HandWound, Reserve: reserve}}
		f.Clocks = append(f.Clocks, c)
		at := from.Add(-time.Duration(r.IntN(100)) * time.Hour)
		for n := 0; at.Before(from.AddDate(0, 0, 20)); n++ {
			e := Entry{ID: fmt.Sprintf("%s-%d", slug, n), Clock: slug, Kind: Wound, At: at, RecordedAt: at, Source: "page"}
			log[slug] = append(log[slug], e)
			at = at.Add(time.Duration((0.6 + 0.6*r.Float64()) * float64(reserve)).Truncate(time.Minute))
		}
	}
	return f, log
}

func anyWishes(r *rand.Rand) Wishes {
	w := Wishes{Day: r.IntN(29), Hour: r.IntN(20)}
	if r.IntN(2) == 0 {
		w.QuietFrom, w.QuietTo = r.IntN(24), r.IntN(24)
	}
	for _, k := range NoticeKinds {
		if r.IntN(12) == 0 {
			w.Not = append(w.Not, k)
		}
	}
	return w
}

// lookedAt is what is owed of a town when it is looked at in steps but for a time
// away, and then for ten days more, in which its log stays as it is.
func lookedAt(f Fleet, log map[string][]Entry, from time.Time, step time.Duration, away [2]time.Time) map[string]time.Time {
	out, owing := map[string]time.Time{}, covering{}
	var s *Snapshot
	room := MailRoom{Since: from}
	for now := from; now.Before(from.AddDate(0, 0, 24)); now = now.Add(step) {
		if now.After(away[0]) && now.Before(away[1]) {
			continue
		}
		if s == nil {
			s = Survey(f, log, Model{}, now)
		} else {
			s = s.Again(log, Model{}, now)
		}
		for _, l := range Letters(s, room, now) {
			owing.take(out, l, now)
		}
	}
	return out
}

// Whatever the step at which a town is looked at, and whatever the time away
// that is shorter than a matter's life, the same letters are owed: all that a
// look at every quarter of an hour finds, but for winds that were made, and
// clocks that went again, before the next look. And each comes at an hour of its
// reader.
func TestLettersWhateverTheStep(t *testing.T) {
	const seed = 20261125
	r := rand.New(rand.NewPCG(seed, 1))
	from := utc("2026-10-01 09:00")
	for round := range 6 {
		f, log := anyTown(r, from)
		fine := lookedAt(f, log, from, 15*time.Minute, [2]time.Time{})
		if len(fine) < 10 {
			t.Fatalf("seed %d, round %d: only %d letters", seed, round, len(fine))
		}
		for key, at := range fine {
			slug, _, _ := strings.Cut(key, "|")
			p, _ := f.Person(slug)
			zone := location(map[bool]string{true: p.Zone, false: f.Sites[p.Slug[len(p.Slug)-1]-'0'].Zone}[p.Zone != ""])
			if h := at.In(zone).Hour(); h < p.Mail.Hour || p.Mail.Hour == 0 && h < 7 {
				t.Errorf("seed %d, round %d: %s at %d o'clock, wished from %d", seed, round, key, h, p.Mail.Hour)
			}
		}
		start := from.Add(time.Duration(24*(3+r.IntN(8))) * time.Hour)
		for name, other := range map[string]map[string]time.Time{
			"by the hour":                lookedAt(f, log, from, time.Hour, [2]time.Time{}),
			"every seven minutes of two": lookedAt(f, log, from, 27*time.Minute, [2]time.Time{}),
			"three days away":            lookedAt(f, log, from, 30*time.Minute, [2]time.Time{start, start.Add(72 * time.Hour)}),
		} {
			for key := range other {
				if _, ok := fine[key]; !ok {
					t.Errorf("seed %d, round %d, %s: %s is owed, and at finer steps it is not", seed, round, name, key)
				}
			}
			for key, at := range fine {
				if _, ok := other[key]; !ok && !passing(key, log, at, start.Add(72*time.Hour)) {
					t.Errorf("seed %d, round %d, %s: %s is not owed, and at finer steps it is at %v", seed, round, name, key, at)
				}
			}
		}
	}
}

// passing reports whether the matter of a letter was over within a day of its
// first look, or by the end of a time away and the night after it.
func passing(key string, log map[string][]Entry, at, back time.Time) bool {
	for _, entries := range log {
		for i, e := range entries[:max(0, len(entries)-1)] {
			if strings.Contains(key, "wind "+e.ID) {
				over := entries[i+1].At
				return over.Before(at.Add(24*time.Hour)) || at.Before(back) && over.Before(back.Add(24*time.Hour))
			}
		}
	}
	return strings.Contains(key, "|"+string(ChangeWeek)+"|") && at.Before(back) && at.AddDate(0, 0, 6).Before(back)
}

// Of hostile wishes and logs letters are written, or not, but nothing hangs.
func TestLettersSurvive(t *testing.T) {
	f := rota(days8)
	for i := range f.People {
		f.People[i].Mail = Wishes{Day: -5, Hour: 99, QuietFrom: 3, QuietTo: 2}
		f.People[i].Zone = "Nowhere/At all"
	}
	f.Clocks[0].Duties = append(f.Clocks[0].Duties, Duty{"nobody", Winder}, Duty{"ann", "king"})
	for _, now := range []time.Time{{}, utc("2026-03-09"), time.Date(9999, 12, 31, 23, 59, 59, 0, time.UTC), time.Date(1, 1, 1, 0, 0, 0, 0, time.UTC)} {
		for _, m := range []MailRoom{{}, {Since: time.Date(9999, 1, 1, 0, 0, 0, 0, time.UTC)}, {AtOnce: true}, {Declined: []Decline{{}}, Stopped: []string{""}}} {
			Letters(Survey(f, logOf(did(Wound, "2026-03-02 09:00")), Model{}, now), m, now)
			Letters(&Snapshot{}, m, now)
		}
	}
}

// A letter's offers: one pass for each task that it can be answered by, one for
// the whole before them where there are more, and one to decline.
func TestOffers(t *testing.T) {
	f := rota(days8)
	now := utc("2026-03-09 20:00")
	s := Survey(f, logOf(did(Wound, "2026-03-02 09:00", called("w"))), Model{}, now)
	for kind, want := range map[NoticeKind]string{
		WindReminder: "answer pump-room winding going; decline winding",
		DueList:      "answer   ; answer pump-room winding going; answer pump-room time change ; decline due-list",
		OwnersMonth:  "decline owner's month", // it asks for nothing, so there is nothing to answer
	} {
		l := owedOf(s, MailRoom{}, kind)[0]
		var got []string
		for _, p := range l.Offers("n", now) {
			what := fmt.Sprintf("%s %s %s %s", p.Deed, p.Clock, p.Task, p.Subject)
			if p.Deed == Declining {
				what = fmt.Sprintf("%s %s", p.Deed, p.Kind)
			}
			got = append(got, what)
			life := map[Deed]time.Duration{Answering: passLife, Declining: declineLife}[p.Deed]
			if p.Notice != "n" || p.Person != l.Person.Slug || p.Token != "" || !p.Ends.Equal(now.Add(life)) {
				t.Errorf("%s: %+v", kind, p)
			}
		}
		if s := strings.Join(got, "; "); s != want {
			t.Errorf("%s offers %q, want %q", kind, s, want)
		}
	}
}
