package demo

import (
	"slices"
	"testing"

	"endshake/schedule"
)

// Rounds have something to show: every site lies somewhere in one invented vale in the
// open sea, a few kilometres from the others; hours, notices, keys, a permit and a lift
// are asked for somewhere; two people go out, and between them meet every site's hours.
func TestRoundsAreShown(t *testing.T) {
	fleet := lived(aDay, 1).fleet
	notices, hours, shut, keys, permits, lifts := 0, 0, 0, 0, 0, 0
	for _, s := range fleet.Sites {
		r := s.Reach
		// Mid-Atlantic, deep water; the nearest land is hundreds of kilometres off.
		if r.At == nil || r.At.Lat < 47 || r.At.Lat > 48 || r.At.Lon < -32 || r.At.Lon > -31 {
			t.Errorf("%s lies at %v", s.Slug, r.At)
			continue
		}
		for _, other := range fleet.Sites {
			if km := r.At.Km(*other.Reach.At); s.Slug != other.Slug && (km < .2 || km > 40) {
				t.Errorf("%s and %s are %.2f km apart", s.Slug, other.Slug, km)
			}
		}
		for n, has := range map[*int]bool{&notices: r.Notice > 0, &hours: len(r.Open) > 0, &shut: len(r.Shut) > 0, &keys: r.Keys != "", &permits: r.Permit != "", &lifts: r.Lift != ""} {
			if has {
				*n++
			}
		}
	}
	if notices < 3 || hours < 8 || shut < 1 || keys != len(fleet.Sites) || permits < 1 || lifts < 1 {
		t.Errorf("%d notices, %d hours, %d times shut, %d keys, %d permits, %d lifts", notices, hours, shut, keys, permits, lifts)
	}
	var goers []schedule.Person
	for _, p := range fleet.People {
		if p.Going.Goes() {
			goers = append(goers, p)
			if p.Going.Home == nil {
				t.Errorf("%s sets out from nowhere", p.Slug)
			}
		}
	}
	if len(goers) != 2 {
		t.Fatalf("%d people go on rounds", len(goers))
	}
	for _, s := range fleet.Sites {
		met := 0
		for n := range 28 {
			day := aDay.Add(n)
			from, to, _ := s.Reach.On(day)
			if slices.ContainsFunc(goers, func(p schedule.Person) bool {
				out, back, _ := p.Going.On(day)
				return min(to, back)-max(from, out) >= 120
			}) {
				met++
			}
		}
		if met < 4 {
			t.Errorf("somebody meets the hours of %s on %d days of four weeks", s.Slug, met)
		}
	}
	if !slices.ContainsFunc(fleet.Clocks, func(c schedule.Clock) bool {
		return slices.ContainsFunc(c.Policies, func(p schedule.Policy) bool { return p.Two })
	}) {
		t.Error("no job takes two people")
	}
}
