package schedule

import (
	"fmt"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"endshake/wear"
)

// twoSites are two clocks that want oil and a look, a degree of a hundredth apart,
// and somebody who goes on Tuesdays; worked out by hand below.
func twoSites(change func(*Fleet)) *Snapshot {
	weights := []Policy{
		{Task: Oiling, Days: 180, Lead: 20, Grace: 20, Source: "x", Minutes: 90},
		{Task: Inspection, Days: 365, Lead: 60, Grace: 30, Source: "x", Minutes: 30},
	}
	mill, yard := bare("mill"), bare("pump-room")
	mill.Site, mill.Policies, yard.Policies = "mill-lane", weights, weights
	f := fleetOf("Europe/London", mill, yard)
	f.Sites = append(f.Sites, Site{Slug: "mill-lane", Name: "Mill Lane", Zone: "Europe/London", Reach: Reach{At: &Where{51, -1.01}, Climb: 15}})
	f.Sites[0].Reach = Reach{At: &Where{51, -1}, Climb: 10}
	f.People[0].Going = Going{Home: &Where{51, -1}, Days: Weekdays{time.Tuesday}, From: 9 * 60, To: 17 * 60}
	if change != nil {
		change(&f)
	}
	// Both oiled on 1 September: due 28 February, good from 8 February to 20 March.
	// Inspected on 1 March 2026: due 1 March 2027, good from 31 December to 31 March.
	log := map[string][]Entry{}
	for _, c := range f.Clocks {
		log[c.Slug] = book(did(Oiled, "2026-09-01 10:00"), did(Inspected, "2026-03-01 10:00"),
			did(Set, "2026-10-25 12:00", func(e *Entry) { e.Change = d("2026-10-25") }))
	}
	return Survey(f, log, Model{}, utc("2027-03-01 07:00"))
}

// bare is a clock that asks for nothing but by its policies.
func bare(slug string) Clock {
	c := pump()
	c.Slug, c.Name = slug, Capital(slug)
	c.Trains = []wear.Train{{Code: "going", Name: "going train", Kind: wear.Going, Drive: wear.AutoWound}}
	return c
}

// month asks for a month from the day of the snapshot.
func month(marks ...RoundMark) RoundAsk { return RoundAsk{Months: 1, Marks: marks} }

// The work of two sites nearby is one day, on a Tuesday within all windows: by hand,
// 2, 9 or 16 March 2027. The change of time is left to whoever lives near only where
// the first who does it goes on no rounds: Ann does.
func TestRoundsTwoSites(t *testing.T) {
	s := twoSites(nil)
	r := s.Rounds(month(), s.Now)
	if r.From != d("2027-03-01") || r.Until != d("2027-03-31") || len(r.Unmet) != 2 {
		t.Fatalf("%s", r.Text(s))
	}
	for _, u := range r.Unmet { // 28 March is a Sunday, its window from 25 to 29 March holds no Tuesday
		if u.Kind != TimeChange || !strings.Contains(u.Why, "Nobody who may do it (Ann Arkwell) is out between 25 Mar 2027 and 29 Mar 2027") || u.Day != d("2027-03-30") {
			t.Errorf("%s: %s", u.What(), u.Why)
		}
	}
	if len(r.Days) != 2 {
		t.Fatalf("%s", r.Text(s))
	}
	day := r.Days[0]
	if !slices.Contains([]Date{d("2027-03-02"), d("2027-03-09"), d("2027-03-16")}, day.Day) || day.Person != "ann" || len(day.Stops) != 2 {
		t.Fatalf("%s", r.Text(s))
	}
	for _, stop := range day.Stops {
		if len(stop.Tasks) != 2 || stop.First != d("2027-02-08") || stop.Last != d("2027-03-20") {
			t.Errorf("%+v", stop)
		}
		if stop.Two || stop.Set || stop.Leave-stop.Arrive != 90+30+map[string]Minutes{"mill-lane": 15, "pump-yard": 10}[stop.Site] {
			t.Errorf("%+v", stop)
		}
		if !strings.HasPrefix(stop.Why, "Oiling at ") || !strings.Contains(stop.Why, " must be done by 20 Mar 2027. With it can be done inspection at ") {
			t.Error(stop.Why)
		}
	}
	// A hundredth of a degree of longitude at 51 degrees north is 0.6998 km on a ball
	// of 6371.0088 km (by hand): 0.91 km by road, there and back 1.82 km.
	if day.Km < 1.81 || day.Km > 1.83 || !strings.HasPrefix(day.Why, "Two sites that lie within 0.9 km (0.6 miles) of one another by road: visited each by itself they would take 2 days; ") {
		t.Errorf("%v km: %s", day.Km, day.Why)
	}
	if again := s.Rounds(month(), s.Now); !reflect.DeepEqual(r, again) {
		t.Error("asked twice, it is another plan")
	}
	if other := s.Rounds(RoundAsk{Months: 1, Person: "cleo"}, s.Now); len(other.Days)+len(other.Unmet) != 0 {
		t.Errorf("Cleo has no days: %s", other.Text(s))
	}
}

// In the evening today's rounds are over, and planning begins tomorrow; the day is
// that of the clocks' own zone.
func TestRoundsBegin(t *testing.T) {
	s := twoSites(nil)
	for at, want := range map[string]string{"2027-03-02 16:59": "2027-03-02", "2027-03-02 17:00": "2027-03-03", "2027-03-01 23:59": "2027-03-02"} {
		if r := s.Rounds(month(), utc(at)); r.From != d(want) {
			t.Errorf("at %s it begins on %s, want %s", at, r.From, want)
		}
	}
	if r := s.Rounds(RoundAsk{Months: 99}, s.Now); r.Until != d("2028-02-29") {
		t.Error(r.Until)
	}
	if r := s.Rounds(RoundAsk{}, s.Now); r.Until != d("2027-05-31") {
		t.Error(r.Until)
	}
}

// What was decided by hand holds, and says who decided and why.
func TestRoundsByHand(t *testing.T) {
	s := twoSites(nil)
	set := RoundMark{Kind: SetVisit, Site: "mill-lane", Person: "ann", Day: d("2027-03-09"), By: "cleo", Why: "the key is there"}
	r := s.Rounds(month(set), s.Now)
	i := slices.IndexFunc(r.Days, func(day RoundDay) bool { return day.Day == set.Day })
	if i < 0 {
		t.Fatal(r.Text(s))
	}
	k := slices.IndexFunc(r.Days[i].Stops, func(s RoundStop) bool { return s.Site == "mill-lane" })
	if k < 0 || !r.Days[i].Stops[k].Set || !strings.HasPrefix(r.Days[i].Stops[k].Why, "Kept by hand by Cleo Catterick (the key is there). Oiling at Mill ") {
		t.Fatal(r.Text(s))
	}
	var bars []RoundMark
	for _, day := range []string{"2027-03-02", "2027-03-09", "2027-03-16"} {
		bars = append(bars, RoundMark{Kind: BarVisit, Site: "mill-lane", Day: d(day), By: "cleo"})
	}
	r = s.Rounds(month(bars...), s.Now)
	barred := 0
	for _, day := range r.Days {
		for _, stop := range day.Stops {
			if stop.Site == "mill-lane" && day.Day.Before(d("2027-03-17")) {
				t.Errorf("a visit that was ruled out is planned for %s", day.Day)
			}
		}
	}
	for _, u := range r.Unmet {
		if u.Clock == "mill" && u.Kind == Oiling && strings.Contains(u.Why, "ruled out by hand") && strings.HasSuffix(u.Why, "It is planned for 23 Mar 2027, 3 days late.") {
			barred++
		}
	}
	if barred != 1 {
		t.Error(r.Text(s))
	}
	gone := RoundMark{Kind: SetVisit, Site: "no-such", Person: "ann", Day: d("2027-03-09"), By: "cleo"}
	stays := RoundMark{Kind: SetVisit, Site: "mill-lane", Person: "ben", Day: d("2027-03-09"), By: "cleo"}
	r = s.Rounds(month(gone, stays), s.Now)
	for _, want := range []string{"The visit to no-such that Cleo Catterick kept by hand for 9 Mar 2027 cannot be kept: the site is not described any more.", "Ben Birchow goes on no rounds."} {
		if !strings.Contains(strings.Join(r.Notes, "\n"), want) {
			t.Errorf("no %q in %q", want, r.Notes)
		}
	}
}

// Each reason why a task is not met, in the words in which it can be mended.
func TestRoundsUnmetWords(t *testing.T) {
	whole := Going{Days: Week, From: 0, To: 24 * 60}
	for _, tt := range []struct {
		name   string
		change func(*Fleet)
		want   string
	}{
		{"nobody goes", func(f *Fleet) { f.People[0].Going, f.People[1].Going = Going{}, whole },
			"Nobody who does such work for this clock goes on rounds: say on the page of Ann Arkwell or Cleo Catterick on which days they go on rounds"},
		{"away", func(f *Fleet) {
			f.People[0].Going.Away = []Span{{From: d("2027-02-01"), Until: d("2027-03-25"), Why: "a course"}}
		},
			"Nobody who may do it (Ann Arkwell) is out between 1 Mar 2027 and 20 Mar 2027 (Ann Arkwell is away from 1 Feb 2027 to 25 Mar 2027): "},
		{"shut", func(f *Fleet) {
			f.Sites[1].Reach.Open = []OpenHours{{Days: Weekdays{time.Friday}, From: 9 * 60, To: 17 * 60}}
		}, "Mill Lane is shut between 1 Mar 2027 and 20 Mar 2027 whenever Ann Arkwell is out"},
		{"soon", func(f *Fleet) { f.Sites[1].Reach.Notice = 25 }, "A visit to Mill Lane is arranged 25 days ahead, and its last good day is 20 Mar 2027"},
		{"far", func(f *Fleet) { f.Sites[1].Reach.At = &Where{-51, 170} }, "The way to Mill Lane and back is longer than a day of Ann Arkwell"},
		{"long", func(f *Fleet) {
			f.Clocks[0].Policies = slices.Clone(f.Clocks[0].Policies)
			f.Clocks[0].Policies[0].Minutes = 600
		}, "It takes 10 h 15 min on the clock, longer than Ann Arkwell can be there in a day"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			s := twoSites(tt.change)
			r := s.Rounds(month(), s.Now)
			if !slices.ContainsFunc(r.Unmet, func(u UnmetTask) bool {
				return u.Clock == "mill" && u.Kind == Oiling && strings.Contains(u.Why, tt.want)
			}) {
				t.Errorf("no %q in\n%s", tt.want, r.Text(s))
			}
		})
	}
}

// Where nobody said who goes on rounds, conservators and keepers are taken to, on
// weekdays; whoever lives near winds and makes the change of time.
func TestRoundsTaken(t *testing.T) {
	s := twoSites(func(f *Fleet) {
		f.People[0].Going = Going{}
		for i := range f.Clocks {
			f.Clocks[i].Trains[0].Drive, f.Clocks[i].Trains[0].Reserve = wear.HandWound, days8
			f.Clocks[i].Policies = append(slices.Clone(f.Clocks[i].Policies), Policy{Task: Winding, Days: 7, Source: "x"})
		}
	})
	r := s.Rounds(month(), s.Now)
	if len(r.Days) == 0 || len(r.Unmet) != 0 || r.Winds < 8 || !strings.HasPrefix(r.Notes[0], "Nobody has said who goes on rounds: ") {
		t.Fatal(r.Text(s))
	}
	for _, day := range r.Days {
		if w := day.Day.Start(time.UTC).Weekday(); w == time.Saturday || w == time.Sunday || day.Leave < 9*60 || day.Back > 17*60 {
			t.Errorf("%s, %s to %s", day.Day, day.Leave, day.Back)
		}
	}
	if last := r.Notes[len(r.Notes)-1]; !strings.HasPrefix(last, "Left to those who live near: ") || !strings.Contains(last, "and 2 time changes") {
		t.Error(last)
	}
	// Where the first winder goes on rounds, winding is planned.
	s = twoSites(func(f *Fleet) {
		f.People[1].Going = Going{Days: Week, From: 8 * 60, To: 18 * 60}
		f.Clocks[0].Trains[0].Drive, f.Clocks[0].Trains[0].Reserve = wear.HandWound, days8
		f.Clocks[0].Policies = append(slices.Clone(f.Clocks[0].Policies), Policy{Task: Winding, Days: 7, Source: "x"})
	})
	r = s.Rounds(month(), s.Now)
	winds := 0
	for _, day := range r.Days {
		for _, stop := range day.Stops {
			for _, task := range stop.Tasks {
				if task.Kind == Winding && day.Person == "ben" {
					winds++
				}
			}
		}
	}
	if winds < 4 || winds > 5 || r.Winds != 0 { // 31 days, each week or a day later
		t.Errorf("%d winds of a month are planned:\n%s", winds, r.Text(s))
	}
}

// Two people: by policy, and always for a line or a worn bearing. Whoever holds a
// duty there and goes on no rounds may come along.
func TestRoundsTwo(t *testing.T) {
	s := twoSites(func(f *Fleet) {
		f.Clocks[0].Policies = slices.Clone(f.Clocks[0].Policies)
		f.Clocks[0].Policies[1].Two = true
	})
	r := s.Rounds(month(), s.Now)
	for _, day := range r.Days {
		for _, stop := range day.Stops {
			inspects := slices.ContainsFunc(stop.Tasks, func(t RoundTask) bool { return t.Kind == Inspection })
			if two := stop.Site == "mill-lane" && inspects; stop.Two != two || two && stop.Second != "ben" {
				t.Errorf("%s: %+v", day.Day, stop)
			}
		}
	}
	a, _ := s.Clock("mill")
	for kind, want := range map[TaskKind]bool{LineAge: true, NearLimit: true, Oiling: false, Inspection: true} {
		if got := a.takesTwo(&Task{Kind: kind}); got != want {
			t.Errorf("%s takes two: %v", kind, got)
		}
	}
}

// Everything that is asked for within the months is on a day, is said not to be, or
// is left to those who live near; nothing is after its last good day unsaid; and
// nobody is out at two places at once or on a day that is not theirs.
func TestRoundsProperty(t *testing.T) {
	f, log, now := shire(25)
	full := Survey(f, log, Model{}, now)
	for seed := range uint64(12) {
		r := rand.New(rand.NewPCG(8, seed))
		s := &Snapshot{Now: full.Now, Fleet: full.Fleet, Clocks: full.Clocks}
		ask := RoundAsk{Months: 1 + r.IntN(12)}
		for range r.IntN(5) {
			m := RoundMark{Kind: MarkKinds[r.IntN(2)], Site: f.Sites[r.IntN(len(f.Sites))].Slug, Day: d("2026-03-02").Add(r.IntN(120)), By: "maker"}
			if r.IntN(2) == 0 {
				m.Person = f.People[r.IntN(len(f.People))].Slug
			}
			ask.Marks = append(ask.Marks, m)
		}
		t.Run(fmt.Sprintf("seed %d", seed), func(t *testing.T) { holdsRounds(t, s, ask, s.Rounds(ask, now)) })
	}
}

func holdsRounds(t *testing.T, s *Snapshot, ask RoundAsk, r Rounds) {
	t.Helper()
	type key struct {
		clock, subject string
		kind           TaskKind
	}
	planned, unmet := map[key]bool{}, map[key]bool{}
	for _, u := range r.Unmet {
		unmet[key{u.Clock, u.Subject, u.Kind}] = true
		if u.Why == "" {
			t.Errorf("%s at %s is not met, and no reason is given", u.What(), u.Clock)
		}
	}
	for _, day := range r.Days {
		p, _ := s.Fleet.Person(day.Person)
		from, to, _ := p.Going.On(day.Day)
		set := false
		at := day.Leave
		for _, stop := range day.Stops {
			set = set || stop.Set
			if stop.Arrive < at || stop.Leave < stop.Arrive {
				t.Errorf("%s %s: at %s from %s, and was free from %s", day.Person, day.Day, stop.Site, stop.Arrive, at)
			}
			at = stop.Leave
			for _, task := range stop.Tasks {
				k := key{task.Clock, task.Subject, task.Kind}
				planned[k] = true
				if day.Day.Before(task.From) || day.Day.After(task.Latest) && !task.Latest.Before(r.From) && !unmet[k] {
					t.Errorf("%s at %s is on %s, good from %s to %s", task.What(), task.Clock, day.Day, task.From, task.Latest)
				}
				if !slices.Contains(task.People, day.Person) {
					t.Errorf("%s is to do the %s at %s", day.Person, task.What(), task.Clock)
				}
			}
			for _, m := range ask.Marks {
				if m.Kind == BarVisit && m.Day == day.Day && m.Site == stop.Site && (m.Person == "" || m.Person == day.Person) && !stop.Set {
					t.Errorf("%s goes to %s on %s, which was ruled out", day.Person, stop.Site, day.Day)
				}
			}
		}
		if !set && (day.Leave < from || day.Back > to || day.Back < at) {
			t.Errorf("%s is out on %s from %s to %s, and goes from %s to %s", day.Person, day.Day, day.Leave, day.Back, from, to)
		}
	}
	for i := range s.Clocks {
		for _, task := range s.Clocks[i].Tasks {
			k := key{task.Clock, task.Subject, task.Kind}
			near := slices.Contains(nearby, task.Kind) && strings.HasPrefix(task.People[0], "near-")
			if !near && task.State != Resting && !task.Latest.After(r.Until) && !planned[k] && !unmet[k] {
				t.Errorf("%s at %s, latest %s, is nowhere", task.What(), task.Clock, task.Latest)
			}
		}
	}
	for _, m := range ask.Marks {
		if m.Kind != SetVisit || m.Day.Before(r.From) || m.Day.After(r.Until) {
			continue
		}
		held := slices.ContainsFunc(r.Days, func(day RoundDay) bool {
			return day.Day == m.Day && (m.Person == "" || day.Person == m.Person) && slices.ContainsFunc(day.Stops, func(s RoundStop) bool { return s.Site == m.Site && s.Set })
		})
		if p, _ := s.Fleet.Person(m.Person); !held && (m.Person == "" || p.Going.Goes()) {
			t.Errorf("the visit to %s by %q on %s, kept by hand, is not in the plan: %q", m.Site, m.Person, m.Day, r.Notes)
		}
	}
}
