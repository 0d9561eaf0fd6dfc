package web

import (
	"cmp"
	"context"
	"slices"
	"time"

	"endshake/schedule"
)

func (d *desk) RoundMarks(_ context.Context, from schedule.Date) ([]schedule.RoundMark, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	return slices.DeleteFunc(slices.Clone(d.marks), func(m schedule.RoundMark) bool { return m.Day.Before(from) }), d.err
}

// same reports whether two marks decide the same, whoever did so and why.
func sameMark(x, y schedule.RoundMark) bool {
	return x.Kind == y.Kind && x.Site == y.Site && x.Person == y.Person && x.Day == y.Day
}

func (d *desk) MarkRound(_ context.Context, m schedule.RoundMark) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.err != nil {
		return d.err
	}
	d.marks = append(slices.DeleteFunc(d.marks, func(x schedule.RoundMark) bool {
		x.Kind = m.Kind // one takes the place of the other
		return sameMark(x, m)
	}), m)
	return nil
}

func (d *desk) UnmarkRound(_ context.Context, actor string, m schedule.RoundMark, _ time.Time) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	n := len(d.marks)
	d.marks = slices.DeleteFunc(d.marks, func(x schedule.RoundMark) bool { return sameMark(x, m) })
	if len(d.marks) == n {
		return &schedule.Error{Code: schedule.NotFound, Message: "there is no such mark"}
	}
	d.saved = append(d.saved, actor+" lifted a mark")
	return d.err
}

func (d *desk) MoveRound(ctx context.Context, from, to schedule.RoundMark) error {
	if err := d.MarkRound(ctx, from); err != nil {
		return err
	}
	return d.MarkRound(ctx, to)
}

func (panicky) RoundMarks(context.Context, schedule.Date) ([]schedule.RoundMark, error) {
	panic("broken desk")
}
func (panicky) MarkRound(context.Context, schedule.RoundMark) error { panic("broken desk") }
func (panicky) UnmarkRound(context.Context, string, schedule.RoundMark, time.Time) error {
	panic("broken desk")
}
func (panicky) MoveRound(context.Context, schedule.RoundMark, schedule.RoundMark) error {
	panic("broken desk")
}

// simpleRounds plans one visit to each site, a week from now or later, by whoever is
// first asked there, and minds what was decided by hand: what pages make of a plan
// can be seen on it.
func simpleRounds(snap *schedule.Snapshot, ask schedule.RoundAsk, now time.Time) schedule.Rounds {
	return roundsBy(nil)(snap, ask, now)
}

// roundsBy plans so with other people at some sites.
func roundsBy(goers map[string]string) func(*schedule.Snapshot, schedule.RoundAsk, time.Time) schedule.Rounds {
	return func(snap *schedule.Snapshot, ask schedule.RoundAsk, _ time.Time) schedule.Rounds {
		return simplePlan(snap, ask, goers)
	}
}

func simplePlan(snap *schedule.Snapshot, ask schedule.RoundAsk, goers map[string]string) schedule.Rounds {
	today := snap.Today()
	r := schedule.Rounds{From: today, Until: schedule.DateOf(today.Start(time.UTC).AddDate(0, cmp.Or(ask.Months, 3), -1), time.UTC), Winds: 12,
		Notes: []string{"Where " + siteNames(snap) + " lie is not known, so no way is reckoned to them."}}
	for i, site := range snap.Fleet.Sites {
		stop, who := simpleStop(snap, site, goers[site.Slug])
		if who == "" {
			continue
		}
		who = cmp.Or(goers[site.Slug], who)
		day := today.Add(8 + 25*(i/2)) // two sites a day
		for barred(ask.Marks, site.Slug, who, day) {
			day = day.Add(1)
		}
		for _, m := range ask.Marks {
			if m.Kind == schedule.SetVisit && m.Site == site.Slug {
				who, day, stop.Set = m.Person, m.Day, true
			}
		}
		if day.After(r.Until) || len(stop.Tasks) == 0 && !stop.Set {
			continue
		}
		if i == 0 {
			r.Unmet = append(r.Unmet, schedule.UnmetTask{Task: stop.Tasks[0].Task, Why: "no day of Tom Barleymow is long enough: let somebody come along", Day: day})
		}
		k := slices.IndexFunc(r.Days, func(d schedule.RoundDay) bool { return d.Person == who && d.Day == day })
		if k < 0 {
			r.Days = append(r.Days, schedule.RoundDay{Person: who, Day: day, Leave: 8 * 60, Why: "the first day on which " + site.Name + " lets people in"})
			k = len(r.Days) - 1
		}
		d := &r.Days[k]
		stop.Arrive = d.Leave + 40 + schedule.Minutes(150*len(d.Stops))
		stop.Leave = stop.Arrive + 125
		d.Stops, d.Back, d.Km = append(d.Stops, stop), stop.Leave+40, d.Km+19.4
	}
	slices.SortStableFunc(r.Days, func(x, y schedule.RoundDay) int {
		return cmp.Or(x.Day.Sub(y.Day), cmp.Compare(x.Person, y.Person))
	})
	return r
}

// simpleWhy is what the planner of the tests gives as a reason.
const simpleWhy = "as late as its first task allows, with all that falls due there by then"

// simpleStop is a visit for all that is asked for at a site, but winding; of some goer
// on their clocks alone.
func simpleStop(snap *schedule.Snapshot, site schedule.Site, goer string) (schedule.RoundStop, string) {
	stop, who := schedule.RoundStop{Site: site.Slug, Why: simpleWhy + " at " + site.Name}, ""
	if site.Slug == "quay" {
		stop.Why = "" // then the page says on which days it could be
	}
	for _, a := range snap.Clocks {
		for _, t := range a.Tasks {
			if a.Clock.Site != site.Slug || t.Kind == schedule.Winding || len(t.People) == 0 || goer != "" && !a.Clock.Has(goer) {
				continue
			}
			who = cmp.Or(who, t.People[0])
			stop.Tasks = append(stop.Tasks, schedule.RoundTask{Task: t})
			stop.First, stop.Last = snap.Today().Add(3), snap.Today().Add(40)
		}
	}
	return stop, who
}

func siteNames(snap *schedule.Snapshot) string {
	var names []string
	for _, s := range snap.Fleet.Sites {
		names = append(names, s.Name)
	}
	return schedule.And(names)
}

func barred(marks []schedule.RoundMark, site, person string, day schedule.Date) bool {
	return slices.ContainsFunc(marks, func(m schedule.RoundMark) bool {
		return m.Kind == schedule.BarVisit && m.Day == day && (m.Site == "" || m.Site == site) && (m.Person == "" || m.Person == person)
	})
}

// roundAt is the address of the day on which a site is visited, in the plan of three
// months.
func (e *entrance) roundAt(site string) string {
	return roundAt(e.desk.snap, site)
}

func roundAt(snap *schedule.Snapshot, site string) string {
	for _, d := range simpleRounds(snap, schedule.RoundAsk{}, now).Days {
		if slices.ContainsFunc(d.Stops, func(s schedule.RoundStop) bool { return s.Site == site }) {
			return "/rounds/" + d.Person + "/" + d.Day.String()
		}
	}
	return "/rounds/nobody/2026-12-24"
}

// simpleKit is a list with something under each heading, and a sheet for each clock
// of the day, from the tasks themselves.
func simpleKit(r schedule.Rounds, snap *schedule.Snapshot, day int) schedule.Kit {
	d := r.Days[day]
	k := schedule.Kit{Person: d.Person, Day: d.Day, Name: personName(snap.Fleet, d.Person),
		Oils:   []schedule.KitOil{{Oil: "light marine oil", Drops: 14, Points: 9, Some: true, For: []string{"Corn Hall clock", "Old Mill clock"}}, {Points: 3, For: []string{"Quay post clock"}}},
		Parts:  []schedule.KitThing{{What: "going line of steel, 28 m (92 ft)", For: []string{"Old Mill clock"}}},
		Gauges: []schedule.KitThing{{What: "dial indicator, 0.01 mm (0.4 thou)", For: []string{"Corn Hall clock"}}, {What: "feeler gauges"}},
		Tools:  []schedule.KitThing{{What: "block for the barrel, cord for fly and hammer"}, {What: "head lamp, gloves"}},
		Keys:   []schedule.KitThing{{What: "key at the porter's desk", For: []string{"Corn Hall"}}}, Permits: []schedule.KitThing{{What: "leave of the harbour office, a week ahead", For: []string{"The quay"}}},
		Lifts: []schedule.KitThing{{What: "platform on wheels, 4 m (13 ft)", For: []string{"The quay"}}}, Second: []schedule.KitThing{{What: "somebody to be asked", For: []string{"The quay"}}}}
	for _, stop := range d.Stops {
		for _, t := range stop.Tasks {
			if !slices.Contains(k.Cautions, t.Caution) {
				k.Cautions = append(k.Cautions, t.Caution)
			}
			n := slices.Index(k.Cautions, t.Caution) + 1
			i := slices.IndexFunc(k.Sheets, func(s schedule.KitSheet) bool { return s.Clock == t.Clock })
			if i < 0 {
				i = len(k.Sheets)
				k.Sheets = append(k.Sheets, simpleSheet(snap, t.Clock, stop))
			}
			s := &k.Sheets[i]
			if s.Tasks = append(s.Tasks, t); !slices.Contains(s.Cautions, n) {
				s.Cautions = append(s.Cautions, n)
			}
		}
	}
	return k
}

func simpleSheet(snap *schedule.Snapshot, clock string, stop schedule.RoundStop) schedule.KitSheet {
	a, _ := snap.Clock(clock)
	s := schedule.KitSheet{Clock: clock, Name: a.Clock.Name, Site: stop.Site, Place: a.Site.Place, Access: a.Site.Access, Arrive: stop.Arrive,
		Oiling: []string{"pallets, 1 drop of light marine oil", "lantern pinions: keep dry"}, Lines: []string{"going line: looked at on 3 May 2026, sound"},
		LastErrorFound: "12 s slow on 15 Nov 2026", Fields: []string{"error found, in seconds fast or slow", "room, in °C", "arc, in degrees"}}
	for i, o := range a.Outlooks {
		s.Readings = append(s.Readings, schedule.KitReading{Bearing: o.Bearing.Code, About: schedule.NameOf(o.Bearing.Name, o.Arbor.Name), Measure: i%2 == 0, Shake: string(o.Bearing.Shake),
			Last: "0.57 mm (22 thou), 3 Mar 2026", Watch: "0.80 mm (31 thou)", Act: "1.20 mm (47 thou)"})
	}
	return s
}
