package web

import (
	"math"
	"strings"
	"testing"

	"endshake/schedule"
)

// The lines under "Which bearings" and the one for those that are not named add up
// to the bearings at their limit that the months have, however many there are.
func TestBearingsOfTheYearAddUp(t *testing.T) {
	d := cared()
	y := d.snap.YearAhead()
	a := d.snap.Clocks[0]
	name := a.Outlooks[0].Bearing.Code
	y.Bearings, y.Others = nil, schedule.LeftOut{Bearings: 3, ChanceNow: .05, Chance: .2}
	for range mostLikely + 10 {
		y.Bearings = append(y.Bearings, schedule.LikelyWork{Clock: a.Clock.Slug, Bearing: name, ChanceNow: .25, Chance: .5, Likely: date(2027, 3, 1)})
	}
	lines, rest := likelyLines(d.snap, y)
	if len(lines) != mostLikely || rest == nil || *rest != (restLine{"13 other bearings", "2.5", "5.2"}) { // 10 x 0.25 + 0.05, 10 x 0.5 + 0.2
		t.Errorf("%d lines, and the rest is %+v", len(lines), rest)
	}
	if l := lines[0]; l.ByNow != "25 %" || l.ByYear != "50 %" || l.Chance != "50 %" || l.When != "likely by March 2027" {
		t.Errorf("%+v", l)
	}
	for _, tt := range []struct {
		b                 schedule.LikelyWork
		when, now, within string
	}{
		{schedule.LikelyWork{Now: true, ChanceNow: 1, Chance: 1}, "at its limit now", "100 %", "100 %"},
		{schedule.LikelyWork{ChanceNow: .3, Chance: .3}, "perhaps past its limit now: read it again", "30 %", "30 %"},
		{schedule.LikelyWork{ChanceNow: .001, Chance: .2, Likely: date(2027, 9, 1)}, "likely by September 2027", "", "20 %"},
	} {
		if l := newLikelyLine(a, a.Outlooks[0], tt.b); l.When != tt.when || l.ByNow != tt.now || l.ByYear != tt.within {
			t.Errorf("%+v, want %+v", l, tt)
		}
	}
	// On the page of the fixture: the sums are those of the months.
	y = d.snap.YearAhead()
	now, year := y.Others.ChanceNow, y.Others.Chance
	for _, b := range y.Bearings {
		now, year = now+b.ChanceNow, year+b.Chance
	}
	if math.Abs(now-y.Standing.Works[1]) > .0051 || math.Abs(year-y.Total.Works[1]) > .0051 || len(y.Bearings) == 0 {
		t.Fatalf("%v and %v, %d named; the counts are %v and %v", now, year, len(y.Bearings), y.Standing.Works, y.Total.Works)
	}
	text := pageText(t, siteOf(t, d), "/outlook")
	if _, text, _ = strings.Cut(text, "Which bearings"); !strings.Contains(text, "All, as expected "+tenths(now)) && tenths(now) != "" || !strings.Contains(text, tenths(year)) {
		t.Errorf("now %v, in the year %v: %s", now, year, text)
	}
}
