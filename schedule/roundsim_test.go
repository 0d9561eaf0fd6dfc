package schedule

import (
	"fmt"
	"math/rand/v2"
	"runtime/debug"
	"testing"
	"time"

	"endshake/wear"
)

// Ten years of the simulated fleet, kept twice: by going to each task on the day on
// which it falls due, and by rounds that are planned anew each month and followed
// for that month. Rounds take a quarter fewer days of visits at least, and a quarter
// fewer visits to sites, and no more clocks stop. What befalls the clocks is drawn alike in both.
func TestRoundsSim(t *testing.T) {
	defer debug.SetGCPercent(debug.SetGCPercent(400))
	began := time.Now()
	n := simFleet()
	due, rounds := newRoundSim(n), newRoundSim(n)
	due.live((*roundSim).whenDue)
	rounds.live((*roundSim).byRounds)
	t.Logf("seed %d, %d clocks, %d days: %v", simSeed, n, simDays, time.Since(began).Round(time.Millisecond))
	t.Logf("each when it falls due: %s", due)
	t.Logf("by rounds:              %s", rounds)
	days, visits := 1-float64(len(rounds.days))/float64(len(due.days)), 1-float64(len(rounds.visits))/float64(len(due.visits))
	t.Logf("days of visits: %.1f %% fewer; visits to sites: %.1f %% fewer", 100*days, 100*visits)
	if due.tasks < 10*n || rounds.tasks < due.tasks*9/10 {
		t.Errorf("%d tasks were done, by rounds %d: they are not the same work", due.tasks, rounds.tasks)
	}
	if days < .25 || visits < .25 {
		t.Errorf("rounds need %d days of visits and %d visits, going to each task when it falls due %d and %d: not a quarter fewer",
			len(rounds.days), len(rounds.visits), len(due.days), len(due.visits))
	}
	if a, b := due.stops(), rounds.stops(); b > a {
		t.Errorf("%d stops by rounds, %d when each task is done as it falls due", b, a)
	}
}

// roundSim is the simulated fleet with what was counted.
type roundSim struct {
	fleet  Fleet
	lives  []*roundLife
	plan   map[Date][]RoundDay
	days   map[string]bool // person and day on which they were out
	visits map[string]bool // site and day
	tasks  int
	late   int
}

// roundLife is one clock of it. Every draw is keyed by what it is for, so that the
// two ways of keeping meet the same luck.
type roundLife struct {
	*clockLife
	i      int
	oiled  int // how often
	stale  bool
	mended Date
}

// luck has what comes next drawn by its own key.
func (l *roundLife) luck(kind, n int) {
	l.w.r = rand.New(rand.NewPCG(simSeed+uint64(kind)<<40, uint64(l.i)<<32+uint64(n)))
}

func newRoundSim(n int) *roundSim {
	s := &roundSim{plan: map[Date][]RoundDay{}, days: map[string]bool{}, visits: map[string]bool{}}
	week := Weekdays{time.Monday, time.Tuesday, time.Wednesday, time.Thursday, time.Friday}
	person := func(slug string, at Where) {
		if _, ok := s.fleet.Person(slug); !ok {
			s.fleet.People = append(s.fleet.People, Person{Slug: slug, Name: slug, Going: Going{Home: &at, Days: week, From: 7 * 60, To: 19 * 60}})
		}
	}
	for i := range n {
		l := &roundLife{clockLife: newLife(i, simSeed), i: i, stale: true}
		at := Where{51 + float64(i/3%7)/7, -1 + float64(i/21)/7} // three clocks of a keeper lie within some kilometres
		person(l.c.Duties[0].Person, at)
		l.c.Duties[1].Person = fmt.Sprintf("near-%02d", i) // whoever winds it lives near
		s.fleet.People = append(s.fleet.People, Person{Slug: l.c.Duties[1].Person, Name: l.c.Duties[1].Person})
		l.site.Zone, l.zone = "Europe/London", location("Europe/London")
		l.site.Reach.At = &Where{at.Lat + .03*float64(i%3), at.Lon + .02*float64(i%2)}
		l.luck(1, 0)
		l.nextChance()
		l.luck(2, 0)
		l.believe()
		s.fleet.Sites, s.fleet.Clocks, s.lives = append(s.fleet.Sites, l.site), append(s.fleet.Clocks, l.c), append(s.lives, l)
	}
	person("maker", Where{51.5, -.7})
	return s
}

// nextChance draws the next stop that nobody can foresee, of a course of them that
// goes by the calendar alone.
func (l *roundLife) nextChance() {
	r := rand.New(rand.NewPCG(simSeed+7, uint64(l.i)))
	for at := l.w.c.InCare.At(8, 0, time.UTC); ; {
		if at = at.Add(simYears(5 * r.ExpFloat64())); at.After(l.w.now) {
			l.w.chance = at
			return
		}
	}
}

// live lets ten years pass.
func (s *roundSim) live(keep func(*roundSim, Date)) {
	first := d("2016-01-05")
	for n := range simDays {
		day := first.Add(n)
		each(s.lives, func(l *roundLife) {
			l.luck(3, 2*n)
			l.w.advance(day.At(7, 0, l.zone))
			if l.stale || n%7 == l.i%7 || day.Day == 1 {
				l.assess(day)
			}
		})
		keep(s, day)
		each(s.lives, func(l *roundLife) {
			l.luck(3, 2*n+1)
			l.w.advance(day.At(18, 0, l.zone))
		})
	}
}

func (l *roundLife) assess(day Date) {
	a := Assess(Facts{Clock: l.c, Site: l.site, Entries: l.log, Before: l.before}, day.At(7, 0, l.zone))
	l.before, l.stale = &a, false
}

// out counts somebody as out at a clock.
func (s *roundSim) out(person string, l *roundLife, day Date) {
	s.days[person+" "+day.String()] = true
	s.visits[l.site.Slug+" "+day.String()] = true
}

// daily is what happens either way: whoever lives near winds each week, and a clock
// that stands is mended and started in a visit of its own.
func (s *roundSim) daily(l *roundLife, day Date) {
	l.w.advance(day.At(10, 0, l.zone))
	l.luck(4, day.number())
	if !l.w.going {
		s.standing(l, day)
		return
	}
	if (day.number()+l.i)%7 == 0 && l.c.Trains[0].Drive == wear.HandWound {
		l.windAll(true)
		l.stale = true
	}
}

func (s *roundSim) standing(l *roundLife, day Date) {
	if l.mended.IsZero() {
		cause := map[string]StopCause{"ran down": RanDown, "oil": Fault, "bearing": Fault, "chance": Birds}[l.w.stop.why]
		l.entry(Stopped, by(cause))
		l.mended, l.stale = day.Add(map[string]int{"oil": 10, "bearing": 40}[l.w.stop.why]), true
	}
	if day.Before(l.mended) {
		return
	}
	switch l.w.stop.why {
	case "oil":
		l.oil(func() { l.entry(Oiled, func(e *Entry) { e.Oil, e.OilFound = "clock oil", OilGummed }); l.w.oiled() })
	case "bearing":
		l.measure(l.w.stop.about)
		l.repair(l.w.stop.about)
	case "chance":
		l.nextChance()
	}
	l.windAll(true)
	l.entry(Started)
	l.w.going, l.w.stop, l.mended, l.stale = true, simStop{}, Date{}, true
	l.set()
	s.out(l.c.Duties[0].Person, l, day)
}

// oil draws the life of new oil by how often it was oiled.
func (l *roundLife) oil(do func()) {
	l.oiled++
	l.luck(5, l.oiled)
	do()
}

// do does a task, if it is still asked for.
func (s *roundSim) do(l *roundLife, kind TaskKind, subject, person string, day Date) {
	for _, t := range l.before.Tasks {
		if t.Kind != kind || t.Subject != subject || t.State == Resting || t.Kind == Winding {
			continue
		}
		if day.After(t.Latest) {
			s.late++
		}
		s.tasks++
		s.out(person, l, day)
		l.luck(6+len(kind), day.number())
		l.oil(func() { l.perform(*l.before, t) })
		if kind != Oiling {
			l.oiled--
		}
		l.stale = true
		return
	}
}

// whenDue goes to each task on the day on which it falls due.
func (s *roundSim) whenDue(day Date) {
	for _, l := range s.lives {
		s.daily(l, day)
		if !l.w.going {
			continue
		}
		var due []Task
		for _, t := range l.before.Tasks {
			if !day.Before(t.Due) && len(t.People) > 0 {
				due = append(due, t)
			}
		}
		for _, t := range due {
			s.do(l, t.Kind, t.Subject, t.People[0], day)
		}
	}
}

// byRounds plans on the first of a month, and follows that.
func (s *roundSim) byRounds(day Date) {
	if day.Day == 1 || len(s.plan) == 0 {
		snap := &Snapshot{Now: day.At(7, 0, location("Europe/London")), Fleet: s.fleet}
		for _, l := range s.lives {
			snap.Clocks = append(snap.Clocks, *l.before)
		}
		clear(s.plan)
		for _, d := range snap.roundsOver(RoundAsk{Months: 3}, snap.Now, 3).Days {
			s.plan[d.Day] = append(s.plan[d.Day], d)
		}
	}
	at := map[string]*roundLife{}
	for _, l := range s.lives {
		s.daily(l, day)
		at[l.c.Slug] = l
	}
	for _, d := range s.plan[day] {
		for _, stop := range d.Stops {
			for _, t := range stop.Tasks {
				if l := at[t.Clock]; l.w.going {
					s.do(l, t.Kind, t.Subject, d.Person, day)
				}
			}
		}
	}
}

// stops is how often a clock of the fleet stopped.
func (s *roundSim) stops() int {
	n := 0
	for _, l := range s.lives {
		n += len(l.w.stops)
	}
	return n
}

func (s *roundSim) String() string {
	why := map[string]int{}
	for _, l := range s.lives {
		for _, stop := range l.w.stops {
			why[stop.why]++
		}
	}
	return fmt.Sprintf("%d days of visits, %d visits to sites, %d tasks, %d of them late, %d stops %v", len(s.days), len(s.visits), s.tasks, s.late, s.stops(), why)
}
