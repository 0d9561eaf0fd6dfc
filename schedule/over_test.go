package schedule

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"endshake/wear"
)

// longWorn is a bush of unknown age that is cleaned after each second
// reading, with a limit of 0.20 mm.
func longWorn(sizes map[string]float64) (Clock, []Entry) {
	c := alone()
	b := &c.Trains[0].Arbors[0].Bearings[0]
	b.Watch, b.Act = nil, limitAt(0.20)
	b.Fitted, b.FittedAt = 0, time.Time{}
	var log []Entry
	days := make([]string, 0, len(sizes))
	for day := range sizes {
		days = append(days, day)
	}
	slices.Sort(days)
	for i, day := range days {
		log = append(log, did(Measured, day, gave(sizes[day]), func(e *Entry) { e.Reading.Gauge = mm(0.02) }))
		if i%2 == 1 {
			log = append(log, did(Cleaned, d(day).Add(1).String()))
		}
	}
	return c, log
}

// A bearing that went over its limit years ago: the day lies after its last
// reading below it and at its first above it at the latest, whatever cleanings
// came later. By hand: evenly from 0.17 mm on 14 May 2017, the last well below, to
// 0.30 on 7 May 2019, 0.20 mm is reached after 3/13 of 723 days, on 28 Oct 2017.
func TestSinceWhenPastItsLimit(t *testing.T) {
	c, log := longWorn(map[string]float64{
		"2011-12-11": .04, "2013-05-10": .10, "2014-05-08": .10, "2015-05-24": .10, "2016-05-10": .14, "2017-05-14": .17, "2018-05-25": .19,
		"2019-05-07": .30, "2020-05-14": .29, "2021-05-08": .28, "2022-05-08": .35, "2023-05-11": .35, "2024-05-06": .41, "2025-05-25": .44, "2026-05-19": .43})
	c.InCare = d("2011-11-26")
	for _, now := range []string{"2026-11-26", "2027-11-26"} {
		a := assess(c, book(log...), now)
		o := outlookOf(t, a, "centre-front")
		if !o.Over || o.Early != o.Likely || o.Likely.Before(d("2017-10-25")) || o.Likely.After(d("2017-10-31")) {
			t.Errorf("%s: over %v, passed on %v to %v, want 28 Oct 2017", now, o.Over, o.Early, o.Likely)
		}
		x := taskOf(t, a, NearLimit, "centre-front")
		if want := "over 0.20 mm (7.9 thou) since about 2017 (first reading above it: 7 May 2019)"; x.Past != want || o.PastWords() != want || x.PastLimit != "past its limit since about 2017" || x.PastWords() != "past its limit: "+want {
			t.Errorf("%s: %q, want %q", now, x.Past, want)
		}
		if !strings.HasPrefix(x.Reason, "Past its limit of 0.20 mm (7.9 thou): now about 0.4") || !strings.Contains(x.Reason, "more than twice that") || strings.Contains(x.Reason, "robably") {
			t.Errorf("%s: %q", now, x.Reason)
		}
		if want := "firm: 15 readings over 14 years, and they leave no doubt that it is over the limit"; x.Confidence != want {
			t.Errorf("%s: sure? %q", now, x.Confidence)
		}
		for _, y := range a.Tasks {
			if y.Kind == Measuring && y.Subject == "centre-front" {
				t.Errorf("%s: and it is to be measured: %s", now, y.Reason)
			}
		}
		if s := sentenceOf(x, a.dayOf(a.Now)); strings.Contains(s, "late") || !strings.Contains(s, "since about 2017") {
			t.Errorf("%s: %q", now, s)
		}
	}
}

// In doubt it is measured again: one reading alone above the limit, or none.
func TestMeasuredWhileInDoubt(t *testing.T) {
	for name, tt := range map[string]struct {
		log   []Entry
		now   string
		words string
		short string
	}{
		"one above":        {read(2021, 0.20, 0.30, 0.40), "2023-02-02", "probably over 0.35 mm (13.8 thou) since about July 2022 (first reading above it: 1 Jan 2023)", "probably past its limit since about July 2022"},
		"the first of all": {read(2024, 0.45), "2024-02-02", "probably over 0.35 mm (13.8 thou) since about 2022 (first reading above it: 1 Jan 2024)", "probably past its limit since about 2022"},
		"none above":       {read(2021, 0.16, 0.22, 0.28, 0.33), "2025-06-01", "(by its rate: no reading is above it yet)", "probably past its limit since about "},
	} {
		a := assess(alone(), book(tt.log...), tt.now)
		x := taskOf(t, a, NearLimit, "centre-front")
		if !strings.Contains(x.Past, tt.words) || !strings.HasPrefix(x.PastLimit, tt.short) || !strings.HasPrefix(x.PastWords(), "probably past its limit: over 0.35 mm (13.8 thou) since ") || !strings.HasPrefix(x.Past, "probably over") || !strings.HasPrefix(x.Reason, "Probably past") {
			t.Errorf("%s: %q; %q", name, x.Past, x.Reason)
		}
		if y := taskOf(t, a, Measuring, "centre-front"); strings.Contains(y.Reason, "from then on") && name != "none above" {
			t.Errorf("%s: %q", name, y.Reason)
		}
	}
}

// Whatever was read, nothing passed its limit before the last reading well below
// it, nor after the first above; and waiting moves no such day.
func TestPassedBetweenReadings(t *testing.T) {
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	rnd := rand.New(rand.NewPCG(seed, 1))
	over := 0
	for range 60 {
		sizes, size := map[string]float64{}, .05+.1*rnd.Float64()
		day := d("2008-01-01").Add(rnd.IntN(300))
		for n := 3 + rnd.IntN(9); n > 0; n-- {
			sizes[day.String()] = math.Round(100*math.Max(.01, size+.02*rnd.NormFloat64())) / 100
			day, size = day.Add(200+rnd.IntN(500)), size+.06*rnd.Float64()
		}
		c, log := longWorn(sizes)
		c.InCare = d("2007-12-01")
		o := outlookOf(t, assess(c, book(log...), day.String()), "centre-front")
		if !o.Over {
			continue
		}
		over++
		a := assess(c, book(log...), day.String())
		last, first := Date{}, Date{}
		for _, x := range o.Parts[0].Readings {
			if x.Doubt < doubtful && x.Value+x.SD < .20 {
				last, first = a.dayOf(x.At), Date{}
			} else if x.Doubt < doubtful && x.Value >= .20 && first.IsZero() {
				first = a.dayOf(x.At)
			}
		}
		if o.Likely.Before(last) || !first.IsZero() && o.Likely.After(first) || o.Likely.After(a.dayOf(a.Now)) || o.Late.Before(o.Early) && o.Dated {
			t.Errorf("%v: passed about %v, the last below is of %v, the first above of %v", sizes, o.Likely, last, first)
		}
		later := outlookOf(t, assess(c, book(log...), day.Add(100).String()), "centre-front")
		if !first.IsZero() && later.Likely != o.Likely {
			t.Errorf("%v: passed about %v, and a hundred days later about %v", sizes, o.Likely, later.Likely)
		}
	}
	if over < 10 {
		t.Errorf("only %d of the bearings are over: the test shows nothing", over)
	}
}

// Of what is past its limit what is furthest comes first, whenever it passed.
func TestFurthestOverFirst(t *testing.T) {
	of := func(excess float64, latest string) Task {
		return Task{Kind: NearLimit, Rank: AtLimit, State: Late, Latest: d(latest), Excess: excess, Subject: fmt.Sprint(excess)}
	}
	tasks := []Task{of(.1, "2012-01-01"), of(1.2, "2025-01-01"), of(.5, "2011-01-01")}
	sortLarge(tasks, Pressing)
	if tasks[0].Excess != 1.2 || tasks[1].Excess != .5 || tasks[2].Excess != .1 {
		t.Errorf("%v", tasks)
	}
}

// How far over, in words that need no reckoning.
func TestTimesTheLimit(t *testing.T) {
	for excess, want := range map[float64]string{.03: "3 % over that", .97: "about twice that", 0: "just at that", .14: "14 % over that", 1: "more than twice that", 1.15: "more than twice that", 2.4: "more than 3 times that"} {
		if got := times(excess); got != want {
			t.Errorf("%v: %q, want %q", excess, got, want)
		}
	}
	for _, l := range []wear.Length{200, 350} {
		if got := (&past{since: d("2018-06-01"), above: d("2020-06-01"), sure: true}).words(l); got != "over "+l.String()+" since about 2018 (first reading above it: 1 Jun 2020)" {
			t.Error(got)
		}
	}
}

// The day to measure by, the first step of the work and the sentence say the same:
// beyond doubt no reading is asked for; else one is, by one day, in all of them.
func TestOneDayToMeasureBy(t *testing.T) {
	for _, tt := range []struct {
		name string
		log  []Entry
		now  string
		want string
	}{
		{"beyond doubt", append(read(2021, 0.20, 0.30, 0.40), did(Measured, "2024-01-01", gave(0.45))), "2024-03-01", "Agree on the work with the clockmaker: its readings leave no doubt."},
		{"read above it once", read(2021, 0.20, 0.30, 0.40), "2023-01-10", "Read the gauge once more by 31 Jan 2023, before anybody is booked."},
		{"and the day is past", read(2021, 0.20, 0.30, 0.40), "2023-06-10", "Read the gauge once more now, before anybody is booked."},
		{"near it", read(2021, 0.12, 0.20, 0.28), "2023-01-10", "Read the gauge once more by "},
	} {
		a := assess(alone(), book(slices.Clone(tt.log)...), tt.now)
		x, o := taskOf(t, a, NearLimit, "centre-front"), outlookOf(t, a, "centre-front")
		if !strings.HasPrefix(x.Next, tt.want) {
			t.Errorf("%s: %q, want %q", tt.name, x.Next, tt.want)
		}
		measuring := slices.ContainsFunc(a.Tasks, func(x Task) bool { return x.Kind == Measuring })
		if o.WithWork() == measuring || o.WithWork() != strings.HasPrefix(o.Why, "its work at the limit includes it") || strings.Contains(o.Why, "else") {
			t.Errorf("%s: with the work %v, asked for %v: %q", tt.name, o.WithWork(), measuring, o.Why)
		}
		if future := o.Measure.After(a.dayOf(a.Now)); !o.WithWork() && future != strings.Contains(x.Next, " by "+o.Measure.Words()) {
			t.Errorf("%s: measured by %s, and %q", tt.name, o.Measure.Words(), x.Next)
		}
	}
}
