package schedule

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"endshake/wear"
)

// A year of one clock, worked out by hand: wound each week, oiled every half
// year, inspected once with the second oiling.
func TestYearAhead(t *testing.T) {
	c := pump()
	c.Trains = c.Trains[:1]
	c.Trains[0].Arbors = nil
	c.Policies = []Policy{
		{Task: Winding, Days: 7, Source: "x", Minutes: 12},
		{Task: Oiling, Days: 180, Lead: 20, Grace: 20, Source: "x", Minutes: 90},
		{Task: Inspection, Days: 365, Lead: 60, Grace: 30, Source: "x", Minutes: 30},
	}
	c.Care.Points = []OilPoint{{Code: "front", Train: "going", Drops: 1.5}, {Code: "clutch", Dry: true}, {Code: "back", Drops: 2}}
	log := book(did(Wound, "2026-03-02 09:00"), did(Oiled, "2026-03-01"), did(Inspected, "2026-03-01"))
	s := Survey(fleetOf("UTC", c), map[string][]Entry{c.Slug: log}, Model{}, utc("2026-03-03 12:00"))
	y := s.YearAhead()
	if y.From != d("2026-03-03") || y.Until != d("2027-03-03") || len(y.Months) != 13 {
		t.Fatalf("from %v until %v, %d months", y.From, y.Until, len(y.Months))
	}
	// Oiled on 1 March: due 28 August, last good day 17 September; done then, due
	// again on 16 March 2027, which is beyond. Inspection by 31 March 2027, beyond.
	if y.Total.Visits != 1 || y.Total.Tasks[Oiling] != 1 || y.Total.Tasks[Inspection] != 0 || y.Total.Hours != 1.5 || y.Total.Drops != 3.5 {
		t.Errorf("%+v", y.Total)
	}
	if m := y.Months[6]; m.Month != d("2026-09-01") || m.Visits != 1 || m.Drops != 3.5 {
		t.Errorf("September: %+v", m)
	}
	// Wound on the last good day each time: a day beyond the week, for a day of
	// grace is usual, but never past the reserve.
	if n := y.Total.Winds; n < 365/8 || n > 365/7+1 || math.Abs(y.Total.WindHours-float64(n)*.2) > 1e-9 {
		t.Errorf("%d winds in %v hours", n, y.Total.WindHours)
	}
	if y.Total.Climbs != y.Total.Winds {
		t.Errorf("%d climbs for %d winds of one train", y.Total.Climbs, y.Total.Winds)
	}
	if got := y.Sentence(); !strings.HasPrefix(got, "The twelve months from 3 Mar 2026 ask for 1 visit and 2 hours of work on the clocks, beside ") ||
		!strings.HasSuffix(got, "no bearing is likely to come to its limit.") {
		t.Error(got)
	}
	for _, want := range []string{"September 2026", "the year", "hardly any", "hours of winding",
		fmt.Sprintf(" %d %17.1f ", y.Total.Climbs, y.Total.WindHours)} {
		if !strings.Contains(y.Text(), want) {
			t.Errorf("no %q in\n%s", want, y.Text())
		}
	}
}

// Two trains that are wound for the same day are one climb; what is late stands
// over, apart from the months; and a bearing at its limit is named.
func TestYearAheadStandingOver(t *testing.T) {
	c := pump()
	c.Policies = []Policy{{Task: Winding, Days: 7, Source: "x", Minutes: 12}, {Task: Oiling, Days: 180, Lead: 20, Grace: 20, Source: "x", Minutes: 90}}
	log := append(read(2023, 0.30, 0.60), did(Oiled, "2025-03-01"), did(Measured, "2026-02-01", gave(0.90)), did(Wound, "2026-03-02 09:00"))
	log = book(log...)
	y := Survey(fleetOf("UTC", c), map[string][]Entry{c.Slug: log}, Model{}, utc("2026-03-03 12:00")).YearAhead()
	if y.Total.Winds != 2*y.Total.Climbs || y.Total.Climbs < 365/8 {
		t.Errorf("%d winds of two trains in %d climbs", y.Total.Winds, y.Total.Climbs)
	}
	if y.Standing.Tasks[Oiling] != 1 || y.Standing.Visits != 1 || y.Months[0].Tasks[Oiling] != 0 || y.Months[0].Visits != 0 {
		t.Errorf("standing over %+v, and in March %+v", y.Standing, y.Months[0])
	}
	if len(y.Bearings) != 1 || !y.Bearings[0].Now || y.Bearings[0].Chance != 1 || y.Bearings[0].Bearing != "centre-front" || y.Standing.Works != [3]float64{1, 1, 1} || y.Months[0].Works[1] != 0 {
		t.Errorf("%+v, standing over %v, in March %v", y.Bearings, y.Standing.Works, y.Months[0].Works)
	}
	sum := y.Standing
	for _, m := range y.Months {
		sum.Visits, sum.Climbs, sum.Hours = sum.Visits+m.Visits, sum.Climbs+m.Climbs, sum.Hours+m.Hours
	}
	if sum.Visits != y.Total.Visits || sum.Climbs != y.Total.Climbs || math.Abs(sum.Hours-y.Total.Hours) > 1e-9 {
		t.Errorf("the parts add up to %d visits, %d climbs and %v hours, the year has %+v", sum.Visits, sum.Climbs, sum.Hours, y.Total)
	}
	holdsLines(t, y)
	if c := y.Clocks[0]; len(y.Clocks) != 1 || c.Clock != "pump-room" || c.Now != 1 || len(c.Bearings) != 1 {
		t.Errorf("the line of the clock is %+v", c)
	}
	for m, want := range map[int]string{0: "3 to 31 Mar 2026", 1: "April 2026", 12: "1 to 2 Mar 2027"} {
		if got := y.Name(y.Months[m]); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

// holdsLines asks that the lines of the clocks add up to the year.
func holdsLines(t *testing.T, y YearAhead) {
	t.Helper()
	var sum ClockYear
	bearings := 0
	for _, c := range y.Clocks {
		sum.Visits, sum.Hours, sum.Climbs, sum.WindHours = sum.Visits+c.Visits, sum.Hours+c.Hours, sum.Climbs+c.Climbs, sum.WindHours+c.WindHours
		sum.Works, sum.WorkHours, bearings = sum.Works+c.Works, sum.WorkHours+c.WorkHours, bearings+len(c.Bearings)
	}
	m := y.Total
	if sum.Visits != m.Visits || sum.Climbs != m.Climbs || bearings != len(y.Bearings) || math.Abs(sum.Hours-m.Hours) > 1e-9 ||
		math.Abs(sum.WindHours-m.WindHours) > 1e-9 || math.Abs(sum.Works-m.Works[1]) > .006 || math.Abs(sum.WorkHours-m.WorkHours[1]) > .006*8 {
		t.Errorf("the lines add up to %+v with %d bearings, the year has %+v with %d", sum, bearings, m, len(y.Bearings))
	}
}

// The lines of clocks that share a site add up too, and the worst is first.
func TestYearClockByClock(t *testing.T) {
	well, worn := pump(), pump()
	well.Slug, worn.Slug = "well", "worn"
	for _, c := range []*Clock{&well, &worn} {
		c.Policies = []Policy{{Task: Winding, Days: 7, Source: "x", Minutes: 12}, {Task: Oiling, Days: 90, Lead: 20, Grace: 20, Source: "x", Minutes: 90}}
	}
	oiled := did(Oiled, "2026-01-01")
	log := book(append(read(2023, 0.30, 0.60), oiled, did(Measured, "2026-02-01", gave(0.90)))...)
	y := Survey(fleetOf("UTC", well, worn), map[string][]Entry{"well": book(oiled), "worn": log}, Model{}, utc("2026-03-03 12:00")).YearAhead()
	holdsLines(t, y)
	if len(y.Clocks) != 2 || y.Clocks[0].Clock != "worn" || y.Clocks[0].Now != 1 || y.Clocks[1].Now != 0 {
		t.Errorf("the worst is not first: %+v", y.Clocks)
	}
	// Alike in oiling; the work on what is surely past its limit includes the
	// measuring, and the other's bearings are to be measured.
	if a, b := y.Clocks[0].Hours, y.Clocks[1].Hours; a <= 0 || b <= a {
		t.Errorf("they ask for %v and %v hours", a, b)
	}
}

// A resting clock asks for nothing until it is to go again, and never where no
// day is set.
func TestYearAheadOfARestingClock(t *testing.T) {
	c := pump()
	c.Policies = []Policy{{Task: Oiling, Days: 30, Source: "x"}}
	for _, tt := range []struct {
		until string
		most  int
		least int
	}{{"", 0, 0}, {"2026-12-01", 3, 1}} {
		log := book(did(Oiled, "2026-03-01"), did(Stopped, "2026-03-02 10:00", by(Rest), func(e *Entry) {
			if tt.until != "" {
				e.Until = d(tt.until)
			}
		}))
		s := Survey(fleetOf("UTC", c), map[string][]Entry{c.Slug: log}, Model{}, utc("2026-03-03 12:00"))
		y := s.YearAhead()
		if n := y.Total.Tasks[Oiling]; n < tt.least || n > tt.most {
			t.Errorf("until %q: %d oilings", tt.until, n)
		}
		for _, m := range y.Months {
			if m.Tasks[Oiling] > 0 && m.Month.Before(d("2026-12-01")) {
				t.Errorf("oiled in %s while it rests", m.Month.MonthWords())
			}
		}
	}
}

// The visits of a site are the fewest there can be: brute force over all sets
// of days agrees (interval stabbing; the greedy choice of the earliest end is
// optimal, a textbook result).
func TestVisitsAreTheFewest(t *testing.T) {
	const seed = 20261125
	rng := rand.New(rand.NewPCG(seed, 1))
	start := d("2026-01-01").number()
	for trial := range 300 {
		n := 1 + rng.IntN(7)
		var jobs []job
		for range n {
			first := rng.IntN(12)
			jobs = append(jobs, job{chore: &chore{of: new(ClockYear), Task: &Task{Kind: Oiling}}, first: start + first, last: start + first + rng.IntN(6)})
		}
		best := n
		for set := range 1 << 18 {
			days := 0
			for k := set; k > 0; k &= k - 1 {
				days++
			}
			if days >= best {
				continue
			}
			met := true
			for _, j := range jobs {
				lo, hi := j.first-start, j.last-start
				met = met && set>>lo&(1<<(hi-lo+1)-1) != 0
			}
			if met {
				best = days
			}
		}
		y := YearAhead{Months: []MonthWork{{Month: d("2026-01-01"), Tasks: map[TaskKind]int{}}}, Total: MonthWork{Tasks: map[TaskKind]int{}}}
		y.visit(append([]job(nil), jobs...))
		if y.Total.Visits != best || y.Total.Tasks[Oiling] != n {
			t.Fatalf("seed %d, trial %d: %d visits for %d of %d jobs, %d would do", seed, trial, y.Total.Visits, y.Total.Tasks[Oiling], n, best)
		}
	}
}

// Keys on both sides of zero, many of them alike, are put as the library's stable
// sort puts them.
func TestByKey(t *testing.T) {
	const seed = 20261126
	rng := rand.New(rand.NewPCG(seed, 1))
	for trial := range 100 {
		keys := make([]int, rng.IntN(200))
		want := make([]int, len(keys))
		for i := range keys {
			keys[i], want[i] = rng.IntN(40)-20, i
		}
		slices.SortStableFunc(want, func(i, j int) int { return keys[i] - keys[j] })
		if got := byKey(len(keys), func(i int) int { return keys[i] }); !slices.Equal(got, want) {
			t.Fatalf("seed %d, trial %d: %v for %v, want %v", seed, trial, got, keys, want)
		}
	}
}

// Of things with one chance the count is binomial (gonum's distuv).
func TestCountBand(t *testing.T) {
	for _, tt := range []struct {
		n int
		p float64
	}{{1, .5}, {10, .1}, {40, .25}, {200, .02}, {200, .97}} {
		chances := make([]float64, tt.n)
		for i := range chances {
			chances[i] = tt.p
		}
		got := countBand(chances)
		want := distuv.Binomial{N: float64(tt.n), P: tt.p}
		for i, q := range []float64{.1, 0, .9} {
			if i == 1 {
				if math.Abs(got[1]-want.Mean()) > .005 {
					t.Errorf("%v: mean %v", tt, got[1])
				}
				continue
			}
			if want.CDF(got[i]) < q-1e-9 || got[i] > 0 && want.CDF(got[i]-1) >= q+1e-9 {
				t.Errorf("%v: %v %% at %v", tt, 100*q, got[i])
			}
		}
	}
	if got := countBand(nil); got != [3]float64{} {
		t.Errorf("of nothing: %v", got)
	}
}

// The chance of a limit passes through the three dates of its forecast, and
// never falls.
func TestReached(t *testing.T) {
	o := wearing{Outlook: &Outlook{Dated: true, Early: d("2027-01-01"), Likely: d("2028-01-01"), Late: d("2031-01-01"), Limit: &wear.Limit{}}}
	for day, want := range map[string]float64{"2027-01-01": .1, "2028-01-01": .5, "2031-01-01": .9} {
		if got := o.reached(d(day)); math.Abs(got-want) > 1e-6 {
			t.Errorf("%s: %v, want %v", day, got, want)
		}
	}
	last := 0.0
	for i := range 200 {
		p := o.reached(d("2025-01-01").Add(30 * i))
		if p < last || p > 1 {
			t.Fatalf("after %d months: %v", i, p)
		}
		last = p
	}
	o.Over = true
	if o.reached(d("2026-01-01")) != 1 {
		t.Error("what is over has been reached")
	}
}

// Each task recurs by the policy that it comes of, and takes as long as that
// says: not by one for another part of the clock.
func TestThePolicyBehindATask(t *testing.T) {
	c := pump()
	c.Care.Lines = []Line{{Code: "a", Train: "going"}, {Code: "b", Train: "strike"}}
	c.Policies = []Policy{
		{Task: Inspection, Train: "strike", Days: 30, Minutes: 11, Source: "x"}, {Task: Inspection, Days: 365, Minutes: 22, Source: "x"},
		{Task: LineLook, Line: "b", Days: 60, Minutes: 33, Source: "x"}, {Task: LineLook, Days: 90, Minutes: 44, Source: "x"},
		{Task: Oiling, Train: "going", Risk: .1, Minutes: 55, Source: "x"}, {Task: Oiling, Train: "strike", RunHours: 12, Source: "x"},
		{Task: Measuring, Train: "going", Days: 700, Minutes: 66, Source: "x"},
	}
	log := book(did(Inspected, "2026-03-01"), did(Oiled, "2026-03-01"), did(Measured, "2026-03-01", gave(0.5)))
	a := assess(c, log, "2026-03-05")
	for _, tt := range []struct {
		kind           TaskKind
		subject        string
		every, minutes int
	}{
		{Inspection, "strike", 30, 11}, {Inspection, "", 365, 22}, {LineLook, "a", 90, 44}, {LineLook, "b", 60, 33},
		{Oiling, "strike", 1, usualMinutes[Oiling]},
	} {
		task := taskOf(t, a, tt.kind, tt.subject)
		if got := a.every(&task); got != tt.every || task.Minutes != tt.minutes {
			t.Errorf("%s of %q: every %d days, %d min; want %d, %d", tt.kind, tt.subject, got, task.Minutes, tt.every, tt.minutes)
		}
	}
	// Ahead of the first failure in ten, and not later than the middle life.
	task := taskOf(t, a, Oiling, "going")
	o, _ := a.oilOf(c.Policies[4])
	if n := a.every(&task); n < 90 || float64(n) > 365.25*o.Median || task.Minutes != 55 {
		t.Errorf("oiling by risk: every %d days, %d min, middle life %.1f years", n, task.Minutes, o.Median)
	}
	if o, ok := a.behind(Task{Kind: Measuring, Subject: "centre-front"}); !ok || o.Minutes != 66 {
		t.Errorf("measuring of a bearing by its train's policy: %+v", o)
	}
}
