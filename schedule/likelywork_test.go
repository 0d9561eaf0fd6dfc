package schedule

import (
	"fmt"
	"math"
	"slices"
	"testing"
)

// holdsRows asks that the bearings of a year, named and not, add up to its counts:
// what is at its limit now to what stands over, and the chances to the year.
func holdsRows(t *testing.T, where string, y YearAhead) {
	t.Helper()
	now, year, sure := y.Others.ChanceNow, y.Others.Chance, 0
	for _, w := range y.Bearings {
		now, year = now+w.ChanceNow, year+w.Chance
		if w.Now {
			sure++
		}
		if !(w.ChanceNow >= 0 && w.ChanceNow <= w.Chance+1e-9 && w.Chance <= 1) || w.Chance < leastChance && !w.above || w.Now && (w.ChanceNow != 1 || !w.Likely.IsZero()) {
			t.Errorf("%s: %+v", where, w)
		}
	}
	// The counts are rounded to a hundredth.
	if math.Abs(now-y.Standing.Works[1]) > .0051 || math.Abs(year-y.Total.Works[1]) > .0051 {
		t.Errorf("%s: the rows add up to %.3f now and %.3f in the year, the counts are %v and %v", where, now, year, y.Standing.Works, y.Total.Works)
	}
	counted := 0
	for _, c := range y.Clocks {
		counted += c.Now
	}
	if counted != sure {
		t.Errorf("%s: %d bearings are at their limit by the clocks and %d by name", where, counted, sure)
	}
}

// A last reading above the limit that one reading alone cannot make sure of is
// named, and counted by its chance; before, it was neither.
func TestPerhapsAtItsLimit(t *testing.T) {
	now := utc("2026-03-03 12:00")
	for _, tt := range []struct {
		name  string
		sizes []float64
		named bool
		sure  bool
	}{
		{"never measured", nil, false, false},
		{"well below", []float64{0.11, 0.12, 0.13}, false, false},
		{"past it, twice", []float64{0.30, 0.60, 0.90}, true, true},
		{"well below, then one far above", []float64{0.11, 0.12, 0.13, 0.14, 0.60}, true, false},
	} {
		c := alone()
		year := 2026 - len(tt.sizes)
		log := book(read(year, tt.sizes...)...)
		s := Survey(fleetOf("UTC", c), map[string][]Entry{c.Slug: log}, Model{}, now)
		y := s.YearAhead()
		holdsRows(t, tt.name, y)
		if (len(y.Bearings) == 1) != tt.named || tt.named && y.Bearings[0].Now != tt.sure {
			t.Errorf("%s: %+v; %+v", tt.name, y.Bearings, s.Clocks[0].Outlooks[0].Sentence)
		}
		if o := s.Clocks[0].Outlooks[0]; tt.named && !tt.sure && !(y.Standing.Works[1] > 0 && y.Standing.Works[1] < 1) {
			t.Errorf("%s: standing over are %v; over %v, dated %v, %s", tt.name, y.Standing.Works, o.Over, o.Dated, o.Condition)
		}
	}
}

// Of a reading that the earlier ones do not bear out the list says no date.
func TestPerhapsIsUndated(t *testing.T) {
	o := wearing{Outlook: &Outlook{Known: true, held: true, Early: d("2026-01-01"), Likely: d("2027-01-01")}}
	for by, want := range map[string]float64{"2026-01-01": .1, "2027-01-01": .5, "2028-01-01": .9} {
		if got := o.reached(d(by)); math.Abs(got-want) > 1e-3 {
			t.Errorf("held, by %s: %v, want %v", by, got, want)
		}
	}
	if w := o.likelyWork("c", d("2026-03-01"), d("2027-03-01")); !w.Likely.IsZero() {
		t.Errorf("held: a date is told: %+v", w)
	}
	o = wearing{&Outlook{}, .3}
	if w := o.likelyWork("c", d("2026-03-01"), d("2027-03-01")); w.ChanceNow != .3 || w.Chance != .3 || !w.Likely.IsZero() || w.Now {
		t.Errorf("%+v", w)
	}
}

// For any made clock the rows add up to the counts, and what the due-list asks
// work for within the year is named.
func TestRowsAddUp(t *testing.T) {
	named, due := 0, 0
	for seed := range uint64(20) {
		l := leftAlone(staysSeed + seed)
		c := l.facts.Clock
		s := Survey(Fleet{Sites: []Site{l.facts.Site}, Clocks: []Clock{c}}, map[string][]Entry{c.Slug: l.facts.Entries}, l.facts.Model, l.day.At(7, 0, l.zone))
		y := s.YearAhead()
		holdsRows(t, fmt.Sprint("seed ", seed), y)
		named += len(y.Bearings)
		for _, a := range s.Clocks {
			for _, x := range a.Tasks {
				if x.Kind != NearLimit || !x.Due.Before(y.Until) {
					continue
				}
				due++
				if !slices.ContainsFunc(y.Bearings, func(w LikelyWork) bool { return w.Clock == a.Clock.Slug && w.Bearing == x.Subject }) {
					t.Errorf("seed %d: work on %s of %s is due %s, and not named", seed, x.Subject, a.Clock.Slug, x.Due)
				}
			}
		}
	}
	if named == 0 || due == 0 {
		t.Errorf("%d named, %d due: the fleets are too plain", named, due)
	}
}
