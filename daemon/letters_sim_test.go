package daemon

import (
	"context"
	"fmt"
	"log/slog"
	"maps"
	"os"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"endshake/daemon/mail"
	"endshake/db"
	"endshake/db/dbtest"
	"endshake/schedule"
	"endshake/wear"
)

// simZones are the zones of the simulated clocks: two without changes, a half
// hour's change and a half hour's zone, three southern ones, and two that
// abolished their changes.
var simZones = []string{
	"Europe/London", "America/New_York", "Australia/Lord_Howe", "Australia/Sydney", "Asia/Kolkata", "Asia/Tokyo",
	"America/Sao_Paulo", "Africa/Cairo", "America/Havana", "Asia/Tehran", "Europe/Berlin", "Pacific/Auckland",
}

// simFleet is a clock in each zone, every third wound daily and the others
// weekly, with somebody for each role, who wish for their mail at many hours.
func simFleet() schedule.Fleet {
	f := schedule.Fleet{People: []schedule.Person{{Slug: "cleo", Name: "Cleo", Email: "cleo@example.org", Zone: "Europe/London",
		Mail: schedule.Wishes{Day: 24, Hour: 9, QuietFrom: 21, QuietTo: 8}}}}
	for i, zone := range simZones {
		slug := fmt.Sprintf("clock-%d", i)
		f.Sites = append(f.Sites, schedule.Site{Slug: slug, Name: slug, Zone: zone})
		reserve := 8 * 24 * time.Hour
		if i%3 == 0 {
			reserve = 30 * time.Hour
		}
		c := schedule.Clock{Slug: slug, Name: slug, Kind: schedule.Turret, Site: slug, InCare: schedule.Date{Year: 2026, Month: 1, Day: 1},
			Duties: []schedule.Duty{{Person: "cleo", Role: schedule.Conservator}},
			Trains: []wear.Train{{Code: "going", Kind: wear.Going, Drive: wear.HandWound, Reserve: reserve}}}
		for n, role := range []schedule.Role{schedule.Keeper, schedule.Winder, schedule.Deputy, schedule.Owner} {
			p := schedule.Person{Slug: fmt.Sprintf("%s-%d", role, i), Email: fmt.Sprintf("%s-%d@example.org", role, i)}
			p.Name = p.Slug
			p.Mail = schedule.Wishes{Day: 1 + (7*i+n)%28, Hour: 6 + (i+n)%4}
			if (i+n)%3 == 1 {
				p.Mail.QuietFrom, p.Mail.QuietTo = 20, 8
			}
			if i%5 == 2 && role == schedule.Deputy {
				p.Zone = simZones[(i+1)%len(simZones)]
			}
			f.People = append(f.People, p)
			c.Duties = append(c.Duties, schedule.Duty{Person: p.Slug, Role: role})
		}
		f.Clocks = append(f.Clocks, c)
	}
	return f
}

// sim is thirty days of the service, and of people who do as they are asked, or
// not.
type sim struct {
	t       *testing.T
	store   *db.Store
	fleet   schedule.Fleet
	server  mail.Server
	from    time.Time // of the first start
	down    [2]time.Time
	to      time.Time
	shift   time.Duration // from the time of the bubble
	winds   map[string][]schedule.Entry
	notices []schedule.Notice
}

func (s *sim) now() time.Time { return time.Now().Add(s.shift).UTC() }

// daemon runs one process, but for its pages, until the context ends.
func (s *sim) daemon(ctx context.Context, name string) {
	log := slog.New(slog.DiscardHandler)
	desk, err := OpenDesk(ctx, s.store, s.now)
	if err != nil {
		s.t.Error(err)
		return
	}
	owing := &newlyOwed{Store: s.store}
	compose := mail.Composer{From: "Clock desk <desk@example.org>", Base: "https://clocks.example.org"}
	r := &runner{book: s.store, desk: desk, zone: time.UTC, owner: name, now: s.now, log: log,
		done: func(_ string, _ time.Duration, _ time.Time, err error) {
			if err != nil && ctx.Err() == nil {
				s.t.Errorf("%s: %v", name, err)
			}
		},
		letters: &letterWriter{outbox: owing, facts: s.store, desk: desk, compose: compose, owner: name, log: log}}
	sender := &mail.Sender{Outbox: s.store, Server: s.server, Owner: name, Now: s.now, Log: log,
		Takes: func(n schedule.Notice, at time.Time) time.Time { return desk.Snapshot().TakesMail(n, at) }}
	wake(ctx, log, func(ctx context.Context) {
		// The service looks each minute; every fifth does for what is owed to the hour.
		if s.now().Minute()%5 > 0 {
			return
		}
		r.Wake(ctx)
		// What is to be tried again is looked for every ten minutes, to save time.
		if !owing.any && s.now().Minute()%10 > 0 {
			return
		}
		owing.any = false
		if _, err := sender.Drain(ctx); err != nil && ctx.Err() == nil {
			s.t.Errorf("%s: %v", name, err)
		}
	})
}

// newlyOwed notes whether anything came to be owed.
type newlyOwed struct {
	*db.Store
	any bool
}

func (n *newlyOwed) Owe(ctx context.Context, now time.Time, notices []schedule.Notice) (int, error) {
	n.any = true
	return n.Store.Owe(ctx, now, notices)
}

// wind logs a full wind, as another process would.
func (s *sim) wind(clock string) {
	e := schedule.Entry{Clock: clock, Kind: schedule.Wound, At: s.now(), Source: "command"}
	stored, _, err := s.store.AppendTo(s.t.Context(), "somebody", s.now(), e, nil, func([]schedule.Entry) error { return nil })
	if err != nil {
		s.t.Fatal(err)
	}
	s.winds[clock] = append(s.winds[clock], stored)
}

// people wind their clocks two hours after they are told to: of every four
// clocks of one the winder, of the next the deputy, of the next the conservator,
// and of the last nobody before it stands. While the service is away they wind
// in time by themselves, but for the last.
func (s *sim) people() {
	for ; s.now().Before(s.to); time.Sleep(30 * time.Minute) {
		told, err := s.store.Notices(s.t.Context(), 100)
		if err != nil {
			s.t.Fatal(err)
		}
		away := s.now().After(s.down[0]) && s.now().Before(s.down[1])
		for i, c := range s.fleet.Clocks {
			last := s.winds[c.Slug][len(s.winds[c.Slug])-1]
			asked := slices.ContainsFunc(told, func(n schedule.Notice) bool {
				heeds := n.Kind == schedule.WindReminder && strings.HasSuffix(n.Occurrence, fmt.Sprintf("turn %d", i%4)) ||
					n.Kind == schedule.Standing && i%4 == 3
				return heeds && strings.HasPrefix(n.Key[strings.Index(n.Key, "|"):], "|"+string(n.Kind)+"|"+c.Slug+"/going|") &&
					strings.Contains(n.Occurrence, last.ID) && !n.SentAt.IsZero() && s.now().Sub(n.SentAt) >= 2*time.Hour
			})
			inTime := away && i%4 < 3 && s.now().Sub(last.At) > c.Trains[0].Reserve*3/4
			if asked || inTime {
				s.wind(c.Slug)
			}
		}
	}
}

// Thirty days with changes of clocks both ways, and the service away for three
// days in the middle, in which London changes. Where nothing may be left out,
// also those of spring.
func TestThirtyDaysOfLetters(t *testing.T) {
	months := []struct{ name, from, down string }{
		{"October", "2026-10-03 10:00", "2026-10-23 10:00"}, // on in the south, back in the north
	}
	if os.Getenv("ENDSHAKE_CI") != "" {
		months = append(months, struct{ name, from, down string }{"March", "2026-03-07 10:00", "2026-03-27 10:00"})
	}
	for _, tt := range months {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			box := &countingServer{got: map[string]int{}}
			server := box.start(t)
			synctest.Test(t, func(t *testing.T) {
				s := &sim{t: t, fleet: simFleet(), server: server, from: at(t, tt.from), winds: map[string][]schedule.Entry{}}
				s.down[0] = at(t, tt.down)
				s.down[1], s.to, s.shift = s.down[0].Add(72*time.Hour), s.from.Add(30*24*time.Hour), time.Until(s.from)
				s.run()
				s.check(box)
			})
		})
	}
}

// run is two processes one after the other, and at the end one beside the other.
func (s *sim) run() {
	ctx := s.t.Context()
	s.store = dbtest.Open(s.t, s.t.TempDir())
	defer s.store.Close()
	if err := s.store.SaveFleet(ctx, "test", s.now(), s.fleet, nil); err != nil {
		s.t.Fatal(err)
	}
	for _, c := range s.fleet.Clocks {
		s.wind(c.Slug)
	}
	until := func(to time.Time, name string) chan struct{} {
		ctx, cancel := context.WithCancel(ctx)
		time.AfterFunc(to.Sub(s.now()), cancel)
		ended := make(chan struct{})
		go func() {
			defer close(ended)
			s.daemon(ctx, name)
		}()
		return ended
	}
	acted := make(chan struct{})
	go func() {
		defer close(acted)
		s.people()
	}()
	<-until(s.down[0], "first")
	time.Sleep(s.down[1].Sub(s.now()))
	second := until(s.to, "second")
	time.Sleep(48 * time.Hour)
	third := until(s.to, "third")
	<-second
	<-third
	<-acted
	var err error
	if s.notices, err = s.store.Notices(ctx, 100000); err != nil {
		s.t.Fatal(err)
	}
}

// away reports whether the service was away at an instant, or had not been back
// for a day, in which what was missed is made good.
func (s *sim) away(at time.Time) bool {
	return !at.Before(s.down[0]) && at.Before(s.down[1].Add(24*time.Hour))
}

// check holds what was sent against what should have been, reckoned apart from
// how the service does.
func (s *sim) check(box *countingServer) {
	seen := map[string]int{}
	for _, n := range s.notices {
		seen[string(n.Kind)]++
		if n.State != schedule.Sent || box.taken(n.MessageID) != 1 {
			s.t.Errorf("%s is %s, and came %d times: %s", n.Key, n.State, box.taken(n.MessageID), n.Reply)
		}
		p, _ := s.fleet.Person(n.Person)
		for _, at := range []time.Time{n.Created, n.SentAt} {
			hour := at.In(s.zone(p)).Hour()
			quiet := p.Mail.QuietFrom > 0 && (hour >= p.Mail.QuietFrom || hour < p.Mail.QuietTo)
			if hour < p.Mail.Hour || quiet {
				s.t.Errorf("%s at %s of their day (owed %v, sent %v), who wish for it from %d and not from %d to %d", n.Key, at.In(s.zone(p)).Format("15:04"), n.Created, n.SentAt, p.Mail.Hour, p.Mail.QuietFrom, p.Mail.QuietTo)
			}
		}
	}
	s.t.Logf("%d letters: %v", len(s.notices), seen)
	s.checkMonthly()
	s.checkChanges()
	for i := range s.fleet.Clocks {
		s.checkWinds(i)
	}
	if n := seen[string(schedule.MailTrouble)] + seen[string(schedule.LimitReminder)] + seen[string(schedule.ReadAgain)]; n > 0 {
		s.t.Errorf("%d letters of things that did not happen", n)
	}
}

func (s *sim) zone(p schedule.Person) *time.Location {
	name := p.Zone
	if i := strings.LastIndex(p.Slug, "-"); name == "" {
		var n int
		fmt.Sscan(p.Slug[i+1:], &n)
		name = simZones[n]
	}
	z, err := time.LoadLocation(name)
	if err != nil {
		s.t.Fatal(err)
	}
	return z
}

// of are the notices of a kind to a person, by their occurrence.
func (s *sim) of(kind schedule.NoticeKind, person string) map[string]schedule.Notice {
	out := map[string]schedule.Notice{}
	for _, n := range s.notices {
		if n.Kind == kind && n.Person == person {
			if _, twice := out[n.Occurrence]; twice {
				s.t.Errorf("%s was told twice: %s", person, n.Key)
			}
			out[n.Occurrence] = n
		}
	}
	return out
}

// firstHour is the first hour of a day that a person takes mail at.
func firstHour(p schedule.Person) int { return max(p.Mail.Hour, p.Mail.QuietTo) }

// in reports whether a letter that fell due at an instant was owed within some
// minutes, or was made good after the days away.
func (s *sim) inTime(n schedule.Notice, due time.Time) bool {
	if s.away(due) {
		return !n.Created.Before(due) && n.Created.Before(s.down[1].Add(25*time.Hour))
	}
	return !n.Created.Before(due) && n.Created.Sub(due) <= 6*time.Minute
}

func (s *sim) checkMonthly() {
	for _, p := range s.fleet.People {
		kind, other := schedule.DueList, schedule.OwnersMonth
		if strings.HasPrefix(p.Slug, "owner") {
			kind, other = other, kind
		}
		got, want := s.of(kind, p.Slug), 0
		for month := s.from.Month(); month <= s.to.Month(); month++ {
			due := time.Date(2026, month, p.Mail.Day, firstHour(p), 0, 0, 0, s.zone(p))
			if due.Before(s.from) || due.After(s.to.Add(-time.Hour)) {
				continue
			}
			want++
			if n, ok := got[due.Format("2006-01")]; !ok || !s.inTime(n, due) {
				s.t.Errorf("%s to %s, due %v: owed %v at %v", kind, p.Slug, due, ok, n.Created)
			}
		}
		if len(got) != want || len(s.of(other, p.Slug)) > 0 {
			s.t.Errorf("%s has %d of %s and %d of %s, want %d and none", p.Slug, len(got), kind, len(s.of(other, p.Slug)), other, want)
		}
	}
}

// checkChanges finds the changes of clocks by their offsets, hour by hour.
func (s *sim) checkChanges() {
	want := map[string]map[string]time.Time{} // person, Tuesday
	for i, c := range s.fleet.Clocks {
		z, _ := time.LoadLocation(simZones[i])
		for at := s.from.Truncate(time.Hour); at.Before(s.to.AddDate(0, 0, 7)); at = at.Add(time.Hour) {
			_, before := at.Add(-time.Hour).In(z).Zone()
			if _, after := at.In(z).Zone(); before == after {
				continue
			}
			for _, d := range c.Duties {
				p, _ := s.fleet.Person(d.Person)
				pz := s.zone(p)
				day := at.In(z)
				tuesday := time.Date(day.Year(), day.Month(), day.Day()-(int(day.Weekday())+5)%7, firstHour(p), 0, 0, 0, pz)
				if d.Role == schedule.Owner || !tuesday.Before(s.to.Add(-time.Hour)) {
					continue
				}
				if want[p.Slug] == nil {
					want[p.Slug] = map[string]time.Time{}
				}
				want[p.Slug][tuesday.Format(time.DateOnly)] = tuesday
			}
		}
	}
	for _, p := range s.fleet.People {
		got := s.of(schedule.ChangeWeek, p.Slug)
		if !maps.Equal(keysOf(got), keysOf(want[p.Slug])) {
			s.t.Errorf("%s was told of the changes of %v, want %v", p.Slug, slices.Sorted(maps.Keys(got)), slices.Sorted(maps.Keys(want[p.Slug])))
		}
		for week, due := range want[p.Slug] {
			if due.Before(s.from) { // told on the day after mail was switched on
				due = time.Date(s.from.Year(), s.from.Month(), s.from.In(s.zone(p)).Day()+1, firstHour(p), 0, 0, 0, s.zone(p))
			}
			if !s.inTime(got[week], due) {
				s.t.Errorf("%s was told of the change in the week of %s at %v, want %v", p.Slug, week, got[week].Created, due)
			}
		}
	}
}

// takesBetween reports whether a person takes mail at some time between two
// instants.
func (s *sim) takesBetween(person string, from, to time.Time) bool {
	p, _ := s.fleet.Person(person)
	for t := from; t.Before(to); t = t.Add(time.Minute) {
		hour := t.In(s.zone(p)).Hour()
		if hour >= p.Mail.Hour && (p.Mail.QuietFrom == 0 || hour >= p.Mail.QuietTo && hour < p.Mail.QuietFrom) {
			return true
		}
	}
	return false
}

func keysOf[V any](m map[string]V) map[string]bool {
	out := map[string]bool{}
	for k := range m {
		out[k] = true
	}
	return out
}

// checkWinds goes through the winds of a clock: who was asked, in which order,
// and that it was before the clock may have stopped. A run is five per cent
// unsure (judgement, no source).
func (s *sim) checkWinds(i int) {
	c, reserve := s.fleet.Clocks[i], s.fleet.Clocks[i].Trains[0].Reserve
	askers := []string{fmt.Sprintf("winder-%d", i), fmt.Sprintf("deputy-%d", i), "cleo"}
	for k, wind := range s.winds[c.Slug] {
		early, stop, next := wind.At.Add(reserve*95/100), wind.At.Add(reserve), s.to
		if k+1 < len(s.winds[c.Slug]) {
			next = s.winds[c.Slug][k+1].At
		}
		var before time.Time
		for turn, person := range askers {
			n, told := s.of(schedule.WindReminder, person)[fmt.Sprintf("wind %s, turn %d", wind.ID, turn)]
			switch {
			case told && n.Created.After(next.Add(2*time.Minute)):
				s.t.Errorf("%s was asked to wind %s at %v, which was wound at %v", person, c.Slug, n.Created, next)
			case told && !n.Created.Before(early) && !s.away(early):
				s.t.Errorf("%s was asked to wind %s at %v, which may stop from %v", person, c.Slug, n.Created, early)
			case told && n.Created.Before(before) && s.takesBetween(person, before, early):
				s.t.Errorf("%s was asked to wind %s before those whose turn comes first", person, c.Slug)
			case !told && early.Before(next) && (!s.away(early) || next.After(s.down[1].Add(24*time.Hour))):
				s.t.Errorf("%s was never asked to wind %s, wound at %v and not again until %v", person, c.Slug, wind.At, next)
			}
			if told {
				before = n.Created
			}
		}
		for _, person := range []string{fmt.Sprintf("keeper-%d", i), "cleo"} {
			n, told := s.of(schedule.Standing, person)["ran out wind "+wind.ID]
			if stopped := stop.Before(next.Add(-24 * time.Hour)); stopped && !told || told && (n.Created.Before(stop) || n.Created.After(next.Add(2*time.Minute))) {
				s.t.Errorf("%s may have stopped at %v and was wound at %v: %s was told %v, at %v", c.Slug, stop, next, person, told, n.Created)
			}
		}
	}
	if len(s.winds[c.Slug]) < 4 {
		s.t.Errorf("%s was wound %d times in thirty days", c.Slug, len(s.winds[c.Slug]))
	}
}
