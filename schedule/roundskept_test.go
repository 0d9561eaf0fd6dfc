package schedule

import (
	"fmt"
	"slices"
	"strings"
	"testing"
)

// where gives the days on which a plan does the present occurrence of a task, and by
// whom: "2027-03-09 ann".
func where(r Rounds, ref TaskRef) (at []string) {
	for _, day := range r.Days {
		for _, stop := range day.Stops {
			for _, t := range stop.Tasks {
				if t.Ref() == ref && !t.Again {
					at = append(at, fmt.Sprint(day.Day, " ", day.Person))
				}
			}
		}
	}
	return at
}

// What a visit that was kept or moved is for stays with it: not done sooner by whoever
// passes by, nor by anybody else, whatever its own days. By hand: the mill is oiled well
// from 8 February to 20 March 2027.
func TestRoundsKeepTheWork(t *testing.T) {
	oil := TaskRef{"mill", Oiling, ""}
	s := twoSites(func(f *Fleet) {
		f.People[1].Going = f.People[0].Going
		f.Clocks[0].Duties = append(f.Clocks[0].Duties, Duty{f.People[1].Slug, Keeper})
	})
	for _, tt := range []struct {
		day  string
		want string
	}{
		{"2027-03-16", "Kept for this day by hand: oiling at Mill."},
		{"2027-03-25", "Oiling at Mill is kept for this day by hand, 5 days after its last good day."},
	} {
		keep := RoundMark{Kind: SetVisit, Site: "mill-lane", Person: "ann", Day: d(tt.day), By: "cleo", Tasks: []TaskRef{oil}}
		sooner := keep
		sooner.Day, sooner.Tasks = d("2027-03-09"), []TaskRef{{"mill", Inspection, ""}}
		r := s.Rounds(month(sooner, keep), s.Now)
		if got := where(r, oil); !slices.Equal(got, []string{tt.day + " ann"}) {
			t.Errorf("oiling that was kept for %s is done on %s\n%s", tt.day, got, r.Text(s))
		}
		if got := where(r, sooner.Tasks[0]); !slices.Equal(got, []string{"2027-03-09 ann"}) {
			t.Errorf("inspection that was kept for 9 March is done on %s", got)
		}
		for _, day := range r.Days {
			for _, stop := range day.Stops {
				if stop.Site == "mill-lane" && day.Day == keep.Day && !strings.Contains(stop.Why, tt.want) {
					t.Errorf("%q, want %q", stop.Why, tt.want)
				}
			}
		}
		if slices.ContainsFunc(r.Unmet, func(u UnmetTask) bool { return u.Ref() == oil }) {
			t.Error("what was kept by hand is not met")
		}
		// who keeps it by the plan keeps all that it does, and no next time
		if got := r.Refs("ann", "mill-lane", keep.Day); !slices.Contains(got, oil) || len(r.Refs("ann", "no-such", keep.Day))+len(r.Refs("ben", "mill-lane", keep.Day)) > 0 {
			t.Errorf("%s: %v", keep.Day, got)
		}
	}
}

// A task that is done falls away from the visit that was kept for it, and its next time
// is on its own days; the visit then has nothing to do.
func TestRoundsKeptAndDone(t *testing.T) {
	s := twoSites(nil)
	keep := RoundMark{Kind: SetVisit, Site: "mill-lane", Person: "ann", Day: d("2027-03-16"), By: "cleo", At: s.Now,
		Tasks: []TaskRef{{"mill", Oiling, ""}, {"mill", Inspection, ""}, {"mill", TimeChange, ""}, {"gone", Oiling, ""}}}
	log := map[string][]Entry{}
	for _, a := range s.Clocks {
		log[a.Clock.Slug] = a.Entries
	}
	later := utc("2027-03-03 07:00")
	log["mill"] = append(slices.Clone(log["mill"]), book(did(Oiled, "2027-03-02 10:00"), did(Inspected, "2027-03-02 10:00"),
		did(Set, "2027-03-28 12:00", func(e *Entry) { e.At, e.Change = utc("2027-03-02 10:00"), d("2027-03-28") }))...)
	done := Survey(s.Fleet, log, Model{}, later)
	r := done.Rounds(RoundAsk{Months: 12, Marks: []RoundMark{keep}}, later)
	for _, day := range r.Days {
		for _, stop := range day.Stops {
			if day.Day == keep.Day && stop.Site == keep.Site && (len(stop.Tasks) > 0 || !strings.Contains(stop.Why, "Nothing is left to do here: lift it.")) {
				t.Errorf("%q %+v", stop.Why, stop.Tasks)
			}
		}
	}
	if got := where(r, keep.Tasks[0]); len(got) != 1 || got[0] < "2027-07-01" {
		t.Errorf("the next oiling is on %s", got)
	}
}

// The same day is the same however many months are shown, and what is shown is cut.
func TestRoundsAhead(t *testing.T) {
	s := twoSites(nil)
	all := s.Rounds(RoundAsk{Months: 12}, s.Now)
	for months := range 13 {
		r := s.Rounds(RoundAsk{Months: months}, s.Now)
		n := 0
		for ; n < len(all.Days) && !all.Days[n].Day.After(r.Until); n++ {
		}
		if len(r.Days) != n || fmt.Sprint(r.Days) != fmt.Sprint(all.Days[:n]) || r.Winds > all.Winds {
			t.Errorf("%d months, until %s: %d days, want %d", months, r.Until, len(r.Days), n)
		}
		for _, u := range r.Unmet {
			if u.Latest.After(r.Until) {
				t.Errorf("%d months: unmet by %s", months, u.Latest)
			}
		}
	}
	if r := s.Rounds(RoundAsk{Months: 1}, s.Now); len(r.Days) == len(all.Days) {
		t.Error("a month shows as much as a year")
	}
}

// Who goes on no rounds is told so, and what would mend it.
func TestRoundsOfNoGoer(t *testing.T) {
	s := twoSites(nil)
	r := s.Rounds(RoundAsk{Person: "ben"}, s.Now)
	want := "Ben Birchow goes on no rounds, so no day is planned for them: say on the page of Ben Birchow on which days of the week they go."
	if !slices.Contains(r.Notes, want) || r.Sentence() != want || strings.Count(r.Text(s), want) != 1 {
		t.Errorf("%q\n%s", r.Notes, r.Text(s))
	}
	if r := s.Rounds(RoundAsk{Person: "ann"}, s.Now); strings.Contains(r.Text(s), "goes on no rounds") {
		t.Error(r.Text(s))
	}
}

// A file of ways that names what is not here is told of, five names at most.
func TestRoundsStrangeWays(t *testing.T) {
	s := twoSites(nil)
	for _, tt := range []struct {
		names []string
		want  string
	}{
		{[]string{"mill-lane", "home/ann"}, ""},
		{[]string{"mill-lane", "moot-hal"}, "The file of ways names moot-hal, which is no site here."},
		{[]string{"mill-lane", "home/nobody"}, "The file of ways names home/nobody, and there is no such person here."},
		{[]string{"a", "b", "c", "d", "e", "f", "g", "pump-yard"}, "The file of ways names a, b, c, d, e and 2 more, which are no sites or homes here."},
	} {
		ways := map[[2]string]Trip{}
		for i, name := range tt.names[1:] {
			ways[[2]string{tt.names[i], name}] = Trip{Minutes: 5}
		}
		r := s.Rounds(RoundAsk{Travel: Travel{Matrix: ways}}, s.Now)
		i := slices.IndexFunc(r.Notes, func(n string) bool { return strings.HasPrefix(n, "The file of ways names") })
		if i < 0 && tt.want != "" || i >= 0 && r.Notes[i] != tt.want {
			t.Errorf("%v: %q", tt.names, r.Notes)
		}
	}
}

// What has to be seen to before a visit stands with it.
func TestRoundsArranged(t *testing.T) {
	s := twoSites(func(f *Fleet) { f.Sites[1].Reach.Notice = 7 })
	for _, keep := range []bool{false, true} {
		ask := month()
		want := ", and keep it then: until it is kept it moves on."
		if keep {
			ask = month(RoundMark{Kind: SetVisit, Site: "mill-lane", Person: "ann", Day: d("2027-03-16")})
			want = "Arrange it by 9 Mar 2027."
		}
		n := 0
		for _, day := range s.Rounds(ask, s.Now).Days {
			for _, stop := range day.Stops {
				if stop.Site != "mill-lane" {
					continue
				}
				n++
				if !strings.Contains(stop.Why, "Arrange it by "+day.Day.Add(-7).Words()) || stop.Set == keep && !strings.Contains(stop.Why, want) {
					t.Errorf("%s: %q, want %q", day.Day, stop.Why, want)
				}
			}
		}
		if n == 0 {
			t.Error("nobody goes there")
		}
	}
	r := s.rounding(month(), s.Now, 1)
	for kind, want := range map[TaskKind]int{LineAge: 1, NearLimit: 1, Oiling: 0} {
		if got := r.ahead(d("2027-03-16"), RoundStop{Site: "pump-yard", Tasks: []RoundTask{{Task: Task{Kind: kind}}}}); len(got) != want ||
			want > 0 && got[0] != "Have the part in hand first." {
			t.Errorf("%s: %q", kind, got)
		}
	}
}

// What a visit is kept for is of a clock of its site, and of a kind that there is.
func TestRoundMarkTasks(t *testing.T) {
	s := twoSites(nil)
	good := RoundMark{Kind: SetVisit, Site: "mill-lane", Person: "ann", Day: d("2027-03-09"), Tasks: []TaskRef{{"mill", Oiling, ""}}}
	if err := good.Validate(s.Fleet, s.Now); err != nil {
		t.Error(err)
	}
	for _, tt := range []struct {
		change func(*RoundMark)
		want   string
	}{
		{func(m *RoundMark) { m.Kind = BarVisit }, "only a visit that is kept is for any"},
		{func(m *RoundMark) { m.Tasks = []TaskRef{{"pump-room", Oiling, ""}} }, `there is no clock "pump-room" at that site`},
		{func(m *RoundMark) { m.Tasks = []TaskRef{{"no-such", Oiling, ""}} }, `there is no clock "no-such" at that site`},
		{func(m *RoundMark) { m.Tasks = []TaskRef{{"mill", "dancing", ""}} }, `"dancing" is no kind of task`},
		{func(m *RoundMark) { m.Tasks = slices.Repeat(m.Tasks, 1001) }, "1001 tasks are too many"},
	} {
		m := good
		tt.change(&m)
		if err := m.Validate(s.Fleet, s.Now); err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%v, want %q", err, tt.want)
		}
	}
}
