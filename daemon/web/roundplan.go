package web

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"maps"
	"net/http"
	"slices"
	"strings"
	"sync"
	"time"

	"endshake/schedule"
)

// plans are the rounds worked out of one snapshot, by what was asked: a plan takes
// longer than a page, and follows from the snapshot, the marks and the hour.
type plans struct {
	mu sync.Mutex
	by map[string]*plan
}

// plan is one of them, worked out once however many ask for it at the same time.
type plan struct {
	once   sync.Once
	rounds schedule.Rounds
}

// mostPlans is how many a snapshot keeps: from before and after a mark.
const mostPlans = 12

// of gives a plan by its key.
func (p *plans) of(key string, work func() schedule.Rounds) schedule.Rounds {
	p.mu.Lock()
	one, ok := p.by[key]
	if !ok {
		if p.by == nil || len(p.by) >= mostPlans {
			p.by = map[string]*plan{} // they are soon made again
		}
		one = &plan{}
		p.by[key] = one
	}
	p.mu.Unlock()
	one.once.Do(func() { one.rounds = work() })
	return one.rounds
}

// planned is a plan beside its reader, who is shown of it what they may see.
type planned struct {
	rd     *onlooker
	by     schedule.Actor
	today  schedule.Date
	months int
	rounds schedule.Rounds // of everybody, in the months asked for
	year   schedule.Rounds // all that is planned: each page shows days of the one plan
	marks  []schedule.RoundMark
	key    string // tells plans apart
}

// The months that a plan is asked for.
const (
	usualMonths = 3
	mostMonths  = 12
)

// plan works out the rounds and cuts them to some months, from the whole fleet: a
// person's days hang on all clocks that they go to. What is shown of them goes by seen.
func (s *server) plan(w http.ResponseWriter, r *http.Request, months int) (planned, bool) {
	snap, ok := s.whole(w, r)
	if !ok {
		return planned{}, false
	}
	d := s.shelf.of(snap)
	p := planned{rd: d.reader(by(r)), by: by(r), today: snap.Today(), months: months}
	marks, err := s.Desk.RoundMarks(r.Context(), p.today)
	if err != nil {
		s.fault(w, r, err)
		return planned{}, false
	}
	now := s.Now()
	p.marks, p.key = marks, planKey(marks, now)
	ask := schedule.RoundAsk{Months: mostMonths, Travel: s.Travel, Marks: marks}
	p.year = d.plans.of(p.key, func() schedule.Rounds { return s.rounds(snap, ask, now) })
	p.rounds = p.year.Ahead(months)
	return p, true
}

// planKey tells plans of one snapshot apart: by the hour and the marks.
func planKey(marks []schedule.RoundMark, now time.Time) string {
	h := sha256.New()
	for _, m := range marks {
		fmt.Fprintf(h, "%q %q %q %q %q %q %q %d\n", m.Kind, m.Site, m.Person, m.Day, m.Tasks, m.Why, m.By, m.At.UnixNano())
	}
	return fmt.Sprint(now.Truncate(time.Hour).Unix(), " ", hex.EncodeToString(h.Sum(nil)[:12]))
}

// sees reports whether a clock is the reader's to see.
func (p planned) sees(clock string) bool {
	i, ok := p.rd.index[clock]
	return ok && p.rd.sees(i)
}

// all reports whether the reader sees every clock, and so all of the plan.
func (p planned) all() bool { return p.rd.mine == nil }

// seen is a day as its reader may see it: the visits to clocks of theirs, and no
// more. The hours, the way and the reasons of a day hang on all its places, so they
// are for those who see all, and of one's own day. ok is false where nothing is left.
func (p planned) seen(d schedule.RoundDay) (out schedule.RoundDay, ok bool) {
	if p.all() {
		return d, true
	}
	whole := p.by.Person != "" && d.Person == p.by.Person
	out = d
	out.Stops = nil
	for _, stop := range d.Stops {
		tasks := slices.DeleteFunc(slices.Clone(stop.Tasks), func(t schedule.RoundTask) bool { return !p.sees(t.Clock) })
		whole = whole && len(tasks) == len(stop.Tasks)
		stop.Tasks = tasks
		if len(tasks) > 0 {
			out.Stops = append(out.Stops, stop)
		}
	}
	if whole {
		return out, len(out.Stops) > 0
	}
	out.Leave, out.Back, out.Travel, out.Km, out.Why = 0, 0, 0, 0, ""
	for i := range out.Stops {
		stop := &out.Stops[i]
		stop.Why, stop.First, stop.Last = "", schedule.Date{}, schedule.Date{}
		if !p.may(stop.Site, d.Person) {
			stop.Against = nil
		}
		stop.Leave = stop.Arrive
		if stop.Second != p.by.Person {
			stop.Two, stop.Second = false, ""
		}
	}
	return out, len(out.Stops) > 0
}

// days are the days of the plan as the reader may see them, of one person where one
// is named.
func (p planned) days(person string) (out []schedule.RoundDay) {
	for _, d := range p.rounds.Days {
		if person != "" && d.Person != person {
			continue
		}
		if d, ok := p.seen(d); ok {
			out = append(out, d)
		}
	}
	return out
}

// day finds a person's day, as the reader may see it.
func (p planned) day(person string, day schedule.Date) (schedule.RoundDay, bool) {
	for _, d := range p.year.Days {
		if d.Person == person && d.Day == day {
			return p.seen(d)
		}
	}
	return schedule.RoundDay{}, false
}

// unmet is what the plan cannot meet, of the clocks that the reader sees.
func (p planned) unmet() (out []schedule.UnmetTask) {
	for _, u := range p.rounds.Unmet {
		if p.sees(u.Clock) {
			out = append(out, u)
		}
	}
	return out
}

// allows answers whether the reader may decide of a person's visits to a site, or of
// all their visits where none is named.
func (p planned) allows(site, person string) error {
	return p.rd.snap.Fleet.AllowRound(p.by, schedule.RoundMark{Site: site, Person: person})
}

func (p planned) may(site, person string) bool { return p.allows(site, person) == nil }

// decided are the marks that the reader may lift.
func (p planned) decided() (out []schedule.RoundMark) {
	for _, m := range p.marks {
		if p.may(m.Site, m.Person) {
			out = append(out, m)
		}
	}
	return out
}

// site finds a site that the reader sees something at.
func (p planned) site(slug string) (schedule.Site, bool) {
	for _, s := range p.rd.seen.Fleet.Sites {
		if s.Slug == slug {
			return s, true
		}
	}
	return schedule.Site{}, false
}

func (p planned) knowsSite(slug string) bool {
	_, ok := p.site(slug)
	return ok
}

// siteName is what a site is called; its short name where it has no other.
func (p planned) siteName(slug string) string {
	if s, ok := p.site(slug); ok && s.Name != "" {
		return s.Name
	}
	return slug
}

// person is what somebody is called; ok is false of those the reader does not know.
func (p planned) person(slug string) (name string, ok bool) {
	if _, ok := p.rd.seen.Fleet.Person(slug); !ok {
		return "somebody", false
	}
	return personName(p.rd.seen.Fleet, slug), true
}

// goers are those whose days stand in the plan, by name.
func (p planned) goers() (out []option) {
	names := map[string]string{}
	for _, d := range p.days("") {
		if name, ok := p.person(d.Person); ok {
			names[d.Person] = name
		}
	}
	for _, slug := range slices.Sorted(maps.Keys(names)) {
		out = append(out, option{slug, names[slug]})
	}
	slices.SortStableFunc(out, func(x, y option) int {
		return strings.Compare(strings.ToLower(x.Label), strings.ToLower(y.Label))
	})
	return out
}
