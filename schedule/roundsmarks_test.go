package schedule

import (
	"slices"
	"strings"
	"testing"
)

// noted reports whether any note of a plan says so.
func noted(r Rounds, words string) bool {
	return slices.ContainsFunc(r.Notes, func(n string) bool { return strings.Contains(n, words) })
}

// Who goes on no rounds of their own and may come along says by hand on which days
// they do not: another comes along then, or the visit is another day.
func TestRoundsSecondRuledOut(t *testing.T) {
	s := twoSites(func(f *Fleet) {
		f.Clocks[0].Policies = slices.Clone(f.Clocks[0].Policies)
		f.Clocks[0].Policies[1].Two = true
	})
	seconds := func(marks ...RoundMark) (days []Date) {
		for _, day := range s.Rounds(month(marks...), s.Now).Days {
			for _, stop := range day.Stops {
				if stop.Second == "ben" {
					days = append(days, day.Day)
				}
			}
		}
		return days
	}
	was := seconds()
	if len(was) != 1 {
		t.Fatalf("Ben comes along on %v", was)
	}
	now := seconds(RoundMark{Kind: BarVisit, Person: "ben", Day: was[0], By: "ben"})
	if slices.Contains(now, was[0]) {
		t.Errorf("Ben ruled %s out, and comes along on %v", was[0], now)
	}
}

// A visit that was set stays where a whole day was ruled out, and that is said.
func TestRoundsSetOnADayRuledOut(t *testing.T) {
	s := twoSites(nil)
	set := RoundMark{Kind: SetVisit, Site: "mill-lane", Person: "ann", Day: d("2027-03-09"), By: "cleo"}
	for what, bar := range map[string]RoundMark{
		"all visits of Ann Arkwell": {Kind: BarVisit, Person: "ann", Day: set.Day, By: "ann", Why: "a cold"},
		"all visits there":          {Kind: BarVisit, Site: "mill-lane", Day: set.Day, By: "ann", Why: "a cold"},
	} {
		r := s.Rounds(month(set, bar), s.Now)
		if want := "The visit to Mill Lane that Cleo Catterick kept by hand for 9 Mar 2027 stays, though Ann Arkwell ruled out " + what + " on that day (a cold): take one of the two back."; !noted(r, want) {
			t.Errorf("no %q in %q", want, r.Notes)
		}
		if bar.Day = d("2027-03-16"); noted(s.Rounds(month(set, bar), s.Now), "stays, though") {
			t.Errorf("%s on another day is said to be of this one", what)
		}
	}
}

// A home that a file of ways knows to some sites alone is not next door to the
// others: the way there is taken as half an hour, and that is said.
func TestRoundsHomeInPart(t *testing.T) {
	s := twoSites(func(f *Fleet) { f.People[0].Going.Home = nil })
	ask := month()
	r := s.Rounds(ask, s.Now)
	if !noted(r, "It is not known where the days of Ann Arkwell begin") {
		t.Errorf("%q", r.Notes)
	}
	home := HomeOf("ann")
	ask.Travel.Matrix = map[[2]string]Trip{{home, "mill-lane"}: {Minutes: 5}, {"mill-lane", home}: {Minutes: 5}, {"mill-lane", "pump-yard"}: {Minutes: 60}, {"pump-yard", "mill-lane"}: {Minutes: 60}}
	r = s.Rounds(ask, s.Now)
	if !noted(r, "The file of ways leads from the home of Ann Arkwell to some sites alone: a way to another is taken as 30 minutes.") || noted(r, "days of Ann Arkwell begin") {
		t.Errorf("%q", r.Notes)
	}
	for _, day := range r.Days { // 30 there and back to the yard, 5 to the lane, 60 between
		if want := map[string]float64{"pump-yard": 60, "mill-lane": 10}[day.Stops[0].Site]; len(day.Stops) == 1 && day.Travel != want || len(day.Stops) == 2 && day.Travel != 95 {
			t.Errorf("%s: %v minutes on the way", day.Day, day.Travel)
		}
	}
}

// Of what is late before the plan begins the days of the plan are spoken of, not
// those that are past.
func TestRoundsLateWords(t *testing.T) {
	s := twoSites(func(f *Fleet) {
		f.People[0].Going.Away = []Span{{From: d("2027-03-20"), Until: d("2027-06-30"), Why: "a cure"}}
	})
	r := s.roundsOver(month(), utc("2027-03-22 07:00"), 1)
	found := 0
	for _, u := range r.Unmet {
		if u.Kind == Oiling {
			found++
			if u.Why != "Nobody who may do it (Ann Arkwell) is out up to 21 Apr 2027 (Ann Arkwell is away from 20 Mar 2027 to 30 Jun 2027): let somebody else have the duty too, or let one of them go out on a day more." {
				t.Error(u.Why)
			}
		}
	}
	if found != 2 {
		t.Error(r.Text(s))
	}
}

// A visit that was kept by hand is in the plan, and what speaks against it is said: the
// site is shut, or asks for notice, or the day is too short, or the person is not out.
// By hand: 9 March 2027 is a Tuesday, and the two visits with what can be done take 4 h
// 25. Why somebody is away is theirs.
func TestRoundsKeptAgainstTheFacts(t *testing.T) {
	set := []RoundMark{{Kind: SetVisit, Site: "mill-lane", Person: "ann", Day: d("2027-03-09"), By: "cleo"},
		{Kind: SetVisit, Site: "pump-yard", Person: "ann", Day: d("2027-03-09"), By: "cleo"}}
	for _, tt := range []struct {
		name   string
		change func(*Fleet)
		who    string // what is said against both visits, and against that to the lane
		site   string
	}{
		{"all is well", func(*Fleet) {}, "", ""},
		{"shut", func(f *Fleet) {
			f.Sites[1].Reach.Shut = []Span{{From: d("2027-03-09"), Until: d("2027-03-09"), Why: "a fair"}}
		}, "", "Mill Lane is shut on 9 Mar 2027 (a fair): ask whether they let you in."},
		{"early", func(f *Fleet) { f.Sites[1].Reach.Open = []OpenHours{{From: 6 * 60, To: 8 * 60}} },
			"", "Mill Lane lets people in from 06:00 to 08:00: ask whether they let you in then, or have less on this day."},
		{"notice", func(f *Fleet) { f.Sites[1].Reach.Notice = 9 }, "", "A visit to Mill Lane is arranged 9 days ahead: ask whether they let you in sooner."},
		{"notice in time", func(f *Fleet) { f.Sites[1].Reach.Notice = 8 }, "", ""},
		{"a short day", func(f *Fleet) { f.People[0].Going.To = 12 * 60 }, "Ann Arkwell is out from 09:00 to 12:00, and this day takes longer: have less on it.", ""},
		{"not out", func(f *Fleet) { f.People[0].Going.Days = Weekdays{1} },
			"Ann Arkwell is not out on Tuesdays: have the visit on another day, or made by somebody else.", ""},
		{"away", func(f *Fleet) {
			f.People[0].Going.Away = []Span{{From: d("2027-03-09"), Until: d("2027-03-09"), Why: "a course"}}
		}, "Ann Arkwell is away: have the visit on another day, or made by somebody else.", ""},
		{"alone", func(f *Fleet) {
			f.Clocks[0].Policies = slices.Clone(f.Clocks[0].Policies)
			f.Clocks[0].Policies[0].Two = true
			for i := range f.People[1:] {
				f.People[1+i].Going.Away = []Span{{From: d("2027-03-09"), Until: d("2027-03-09"), Why: "a course"}}
			}
		}, "", "It takes two, and nobody who could come along is free: ask somebody, or have the visit on another day."},
	} {
		t.Run(tt.name, func(t *testing.T) {
			s := twoSites(tt.change)
			r := s.Rounds(month(set...), s.Now)
			i := slices.IndexFunc(r.Days, func(day RoundDay) bool { return day.Day == set[0].Day })
			if i < 0 || len(r.Days[i].Stops) != 2 {
				t.Fatal(r.Text(s))
			}
			text, plain := r.Text(s), r.Days[i].Why
			for _, stop := range r.Days[i].Stops {
				var want []string
				if tt.who != "" {
					want = append(want, tt.who)
				}
				if stop.Site == "mill-lane" && tt.site != "" {
					want = append(want, tt.site)
				}
				if !slices.Equal(stop.Against, want) {
					t.Errorf("%s: %q, want %q", stop.Site, stop.Against, want)
				}
				for _, w := range want {
					if !strings.Contains(text, "    against: "+w+"\n") {
						t.Errorf("%q is not in %s", w, text)
					}
				}
				plain += stop.Why
			}
			if strings.Contains(plain, "But ") || strings.Contains(text, "a course") {
				t.Error(text)
			}
		})
	}
}
