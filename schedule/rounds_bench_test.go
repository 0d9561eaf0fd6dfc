package schedule

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"endshake/wear"
)

// shire is a fleet as a county may have it (invented): clocks on towers within
// about fifty kilometres of one another, two in one place now and then, looked
// after by people who each have some forty and go out two or three days a week; a
// clockmaker comes to all. Its log begins years back and is kept in time.
func shire(clocks int) (Fleet, map[string][]Entry, time.Time) {
	r := rand.New(rand.NewPCG(8, uint64(clocks)))
	f, log, now := Fleet{}, map[string][]Entry{}, utc("2026-03-02 08:00")
	keepers := (clocks + 39) / 40
	for i := range keepers {
		f.People = append(f.People, Person{Slug: fmt.Sprintf("goer-%d", i), Name: fmt.Sprintf("Goer %d", i), Going: Going{
			Home: &Where{51 + r.Float64()/2, -1 + r.Float64()/2}, From: 8 * 60, To: 17 * 60,
			Days: Weekdays{time.Tuesday, time.Wednesday, time.Thursday}[:2+i%2],
			Away: []Span{{From: d("2026-08-03"), Until: d("2026-08-16"), Why: "holiday"}},
		}})
	}
	f.People = append(f.People, Person{Slug: "maker", Name: "Maker", Going: Going{
		Home: &Where{51.25, -0.75}, Days: Weekdays{time.Monday, time.Tuesday, time.Wednesday, time.Thursday, time.Friday}, From: 7 * 60, To: 18 * 60}})
	for i := range clocks {
		if i%5 != 4 || len(f.Sites) == 0 { // each fifth clock stands beside the one before
			site := Site{Slug: fmt.Sprintf("tower-%03d", i), Name: fmt.Sprintf("Tower %d", i), Zone: "Europe/London", Place: "x"}
			site.Reach = Reach{At: &Where{51 + r.Float64()/2, -1 + r.Float64()/2}, Climb: 10 + r.IntN(20)}
			switch i % 4 {
			case 0:
				site.Reach.Open = []OpenHours{{Days: Weekdays{time.Monday, time.Tuesday, time.Wednesday, time.Thursday, time.Friday}, From: 9 * 60, To: 16 * 60}}
			case 1:
				site.Reach.Notice = 7
			}
			f.Sites = append(f.Sites, site)
		}
		site := f.Sites[len(f.Sites)-1]
		c := Clock{Slug: fmt.Sprintf("clock-%03d", i), Name: fmt.Sprintf("Clock %d", i), Kind: Turret, Site: site.Slug, InCare: d("2020-01-01")}
		near := fmt.Sprintf("near-%d", i)
		f.People = append(f.People, Person{Slug: near, Name: fmt.Sprintf("Neighbour %d", i)})
		c.Duties = []Duty{{near, Keeper}, {near, Winder}, {fmt.Sprintf("goer-%d", i*keepers/clocks), Conservator}, {"maker", Clockmaker}}
		c.Policies = []Policy{
			{Task: Winding, Days: 7, Source: "x"}, {Task: Oiling, Days: 182 + 183*(i%2), Source: "x"}, {Task: Inspection, Days: 182, Source: "x"},
			{Task: Visiting, Days: 365, Source: "x"}, {Task: LineLook, Days: 365, Source: "x"}, {Task: Measuring, Days: 730, Source: "x"},
		}
		b := bush()
		b.FittedAt = utc("2020-01-01")
		c.Trains = []wear.Train{{Code: "going", Name: "going train", Kind: wear.Going, Drive: wear.HandWound, Reserve: days8, Arbors: []wear.Arbor{{Code: "centre", Revs: 1, Bearings: []wear.Bearing{b}}}}}
		since := func(days int) time.Time { return d("2026-03-01").Add(-r.IntN(days)).At(11, 0, time.UTC) }
		log[c.Slug] = book(doneAt(Wound, d("2026-02-27").At(9, 0, time.UTC)), doneAt(Oiled, since(182+183*(i%2))), doneAt(Inspected, since(182)),
			doneAt(Inspected, since(365), func(e *Entry) { e.Visit = true }), doneAt(Set, d("2025-10-26").At(12, 0, time.UTC), func(e *Entry) { e.Change = d("2025-10-26") }),
			doneAt(Measured, since(730), func(e *Entry) {
				e.Bearing, e.Reading = b.Code, &wear.Reading{Shake: wear.SideShake, Value: mm(.2), Gauge: mm(.015)}
			}))
		f.Clocks = append(f.Clocks, c)
	}
	return f, log, now
}

// BenchmarkRounds plans 300 clocks over twelve months; BenchmarkYearAhead adds up
// the same work without days or ways.
func BenchmarkRounds(b *testing.B) {
	f, log, now := shire(300)
	s := Survey(f, log, Model{}, now)
	for b.Loop() {
		r := s.Rounds(RoundAsk{Months: 12}, now)
		b.ReportMetric(float64(len(r.Days)), "days")
		b.ReportMetric(float64(len(r.Unmet)), "unmet")
	}
}
