package schedule

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"endshake/wear"
)

// To wait moves no day: the day of the risk hangs on what is logged, not on when
// it is asked for; the chance that it has failed only grows.
func TestOilDayStandsStill(t *testing.T) {
	log := book(did(Oiled, "2022-01-01"), did(Inspected, "2022-12-01", oilFound(OilClean)), did(Oiled, "2024-01-01", oilFound(OilGummed)), did(Inspected, "2024-09-01", oilFound(OilDarkened)))
	first, last := oilAt(t, mapped(), "2024-09-02", log...), -1.0
	for i := range 100 {
		o := oilAt(t, mapped(), d("2024-09-02").Add(20*i).String(), log...)
		if o.ByRisk != first.ByRisk || o.Median != first.Median || o.Risk < last {
			t.Fatalf("day %d: due %v, risk %v; was %v, %v", 20*i, o.ByRisk, o.Risk, first.ByRisk, last)
		}
		if over := o.Risk > .1; over != d("2024-09-02").Add(20*i).After(o.ByRisk) {
			t.Errorf("day %d: risk %v, and the day of one in ten is %v", 20*i, o.Risk, o.ByRisk)
		}
		last = o.Risk
	}
	// As the clock stood on an earlier day, what was logged since counts for nothing.
	if o := oilAt(t, mapped(), "2023-06-01", log...); o.Since != d("2022-01-01") || o.Looks != 1 || !o.Ended.IsZero() {
		t.Errorf("%+v", o)
	}
	// Nor does the far end of time do any harm.
	if o := oilAt(t, mapped(), "9999-12-01", log...); !(o.Risk > .999 && o.Risk <= 1) {
		t.Errorf("risk %v after eight thousand years", o.Risk)
	}
}

// The smaller the risk that may be run, the sooner; and a later good look never
// brings the day forward.
func TestOilDayProperties(t *testing.T) {
	const seed = 19
	r := rand.New(rand.NewPCG(seed, 1))
	for range 60 {
		var log []Entry
		day := d("2020-01-01")
		for range 1 + r.IntN(8) {
			log = append(log, doneAt(Oiled, day.Start(time.UTC), oilFound(append(OilFounds, "")[r.IntN(5)])))
			day = day.Add(100 + r.IntN(600))
		}
		c := mapped(pt("front", func(p *OilPoint) { p.Kind, p.Room = OilKinds[r.IntN(4)], Rooms[r.IntN(5)] }))
		now := day.Add(1000).String()
		last := Date{}
		for _, risk := range []float64{.01, .05, .1, .2, .5} {
			c.Policies[0].Risk = risk
			o := oilAt(t, c, now, log...)
			if o.ByRisk.Before(last) {
				t.Errorf("seed %d: at a risk of %v due on %v, at a smaller one on %v", seed, risk, o.ByRisk, last)
			}
			last = o.ByRisk
		}
		since := oilAt(t, c, now, log...).Since
		for _, after := range []int{30, 200, 900} {
			seen := append(log[:len(log):len(log)], doneAt(Inspected, since.Add(after).Start(time.UTC), oilFound(OilClean)))
			o := oilAt(t, c, since.Add(after+1).String(), seen...)
			if o.ByRisk.Before(last) || o.ByRisk.Before(since.Add(after)) {
				t.Errorf("seed %d: seen good after %d days it is due on %v, unseen on %v", seed, after, o.ByRisk, last)
			}
			last = o.ByRisk
		}
	}
}

// A correction of the log corrects the oil.
func TestOilCorrected(t *testing.T) {
	log := book(did(Oiled, "2024-01-01"), did(Inspected, "2024-06-01", oilFound(OilDry), called("slip")))
	if o := oilAt(t, mapped(), "2024-07-01", log...); o.Ended.IsZero() {
		t.Error("dry oil has not failed")
	}
	log = append(log, did(Inspected, "2024-06-01", oilFound(OilClean), called("mended"), instead("slip", "looked at the wrong pivot")))
	if o := oilAt(t, mapped(), "2024-07-01", log...); !o.Ended.IsZero() || o.Good != d("2024-06-01") {
		t.Errorf("%+v", o)
	}
}

// The window has the policy's lead and grace, or the usual 21 and 30 days; a
// lead as long as the whole wait is cut to a quarter.
func TestOilWindows(t *testing.T) {
	for _, tt := range []struct {
		name        string
		p           Policy
		point       OilPoint
		lead, grace int
	}{
		{"usual", Policy{Risk: .1}, pt("front"), 21, 30},
		{"its own", Policy{Risk: .1, Lead: 40, Grace: 7}, pt("front"), 40, 7},
		// A natural oil in the rain with no sink is due at this risk within 48
		// days: 1.5 x .21 exp(-2.326348 ln 1.6) years, worked by hand: 38.
		{"too long a lead", Policy{Risk: .01, Lead: 60}, pt("front", func(p *OilPoint) { p.Kind, p.Room, p.NoSink = NaturalOil, Wetted, true }), 38 / 4, 30},
	} {
		c := mapped(tt.point)
		tt.p.Task, tt.p.Source = Oiling, "x"
		c.Policies = []Policy{tt.p}
		task := taskOf(t, assess(c, book(did(Oiled, "2024-01-01")), "2024-01-02"), Oiling, "")
		if task.Due.Sub(task.From) != tt.lead || task.Latest.Sub(task.Due) != tt.grace {
			t.Errorf("%s: %s, want %d days before and %d after", tt.name, windowOf(task), tt.lead, tt.grace)
		}
	}
	// Oil that has failed may be renewed at once, and is late after the grace.
	c := mapped()
	log := book(did(Oiled, "2024-01-01"), did(Inspected, "2024-06-01", oilFound(OilDry)))
	for now, want := range map[string]TaskState{"2024-06-02": Due, "2024-07-01": Due, "2024-07-02": Late} {
		if task := taskOf(t, assess(c, log, now), Oiling, ""); task.State != want || windowOf(task) != "2024-06-01 2024-06-01 2024-07-01" {
			t.Errorf("on %s: %s, %s", now, task.State, windowOf(task))
		}
	}
}

// Words about oil.
func TestOilWords(t *testing.T) {
	c := pump()
	c.Policies = []Policy{{Task: Oiling, Risk: .2, Reason: "A cold room.", Source: "conservator"}}
	var log []Entry
	for i := range 6 {
		found := OilDarkened
		if i%2 == 1 {
			found = OilGummed
		}
		log = append(log, doneAt(Oiled, d("2012-01-01").Add(700*i).Start(time.UTC), oilFound(found), withOil("no. 4")))
	}
	log = append(log, doneAt(Oiled, d("2022-01-01").Start(time.UTC), toppedUp), doneAt(Inspected, d("2022-02-01").Start(time.UTC), residue(ResidueBlack)))
	c.InCare = d("2011-01-01")
	a := assess(c, book(log...), "2022-06-01")
	task := taskOf(t, a, Oiling, "")
	for got, want := range map[string]string{
		task.Reason:     "oiled on 1 Aug 2021 with no. 4; one oiling in five is no longer good by ",
		task.Evidence:   "oiled on 1 Aug 2021 with no. 4; topped up once, which is no new oiling; the oil before it was found gummed on 1 Aug 2021; black with metal",
		task.Confidence: "firm: from 5 lives of its oil that somebody looked at",
	} {
		if !strings.HasPrefix(got, want) {
			t.Errorf("%q, want %q", got, want)
		}
	}
	if !strings.HasSuffix(task.Reason, " (A cold room)") {
		t.Errorf("%q", task.Reason)
	}
	for risk, want := range map[float64]string{.05: "one oiling in twenty is", .1: "one oiling in ten is", 1. / 3: "one oiling in three is", .5: "one oiling in two is", .25: "one oiling in four is", .15: "15 oilings in a hundred are", 1. / 7: "14.3 oilings in a hundred are"} {
		if got := oneIn(risk); got != want {
			t.Errorf("%v: %q", risk, got)
		}
	}
}

// What was never oiled is named, as far as it can be without a list of places.
func TestOilNeverDone(t *testing.T) {
	five := []OilPoint{pt("a"), pt("b"), pt("c"), pt("d", func(p *OilPoint) { p.Name = "fly pivot" }), pt("e")}
	for _, tt := range []struct {
		points []OilPoint
		log    []Entry
		want   string
	}{
		{five, nil, "no oiling is logged; "},
		{five, []Entry{did(Oiled, "2024-01-01", points("a", "b", "c"))}, "no oiling is logged for fly pivot and e; "},
		{five, []Entry{did(Oiled, "2024-01-01", points("a"))}, "no oiling is logged for 4 of its 5 places; "},
		{nil, []Entry{did(Oiled, "2024-01-01", of("going"))}, "no oiling is logged for the strike train; "},
	} {
		c := pump()
		c.Policies, c.Care.Points = []Policy{{Task: Oiling, Risk: .1, Source: "x"}}, tt.points
		task := taskOf(t, assess(c, book(tt.log...), "2024-06-01"), Oiling, "")
		if !strings.HasPrefix(task.Reason, tt.want) || !strings.HasPrefix(task.Confidence, "weak") {
			t.Errorf("%q, want %q", task.Reason, tt.want)
		}
		c.Policies[0].Risk, c.Policies[0].Days = 0, 365 // by interval it is named as well
		if task = taskOf(t, assess(c, book(tt.log...), "2024-06-01"), Oiling, ""); !strings.HasPrefix(task.Reason, tt.want+"every year") {
			t.Errorf("%q, want %q", task.Reason, tt.want)
		}
	}
}

// A clock with nothing described is still followed, and one with no policy is
// not.
func TestOilOfABareClock(t *testing.T) {
	c := Clock{Slug: "bare", Kind: Turret, InCare: d("2020-01-01"), Policies: []Policy{{Task: Oiling, Risk: .1, Source: "x"}}}
	o := oilAt(t, c, "2024-01-01", did(Oiled, "2023-01-01"))
	if o.Since != d("2023-01-01") || o.Subject != "" || o.Kind != MineralOil || !(o.Risk > 0) {
		t.Errorf("%+v", o)
	}
	c.Policies = nil
	if a := assess(c, nil, "2024-01-01"); a.Oils != nil {
		t.Errorf("%+v", a.Oils)
	}
}

// The spread of lives is shared out without loss, and the site's warmth moves
// the middle as its equivalent temperature does.
func TestOilSpreadAndClimate(t *testing.T) {
	for kind, b := range oilBases {
		life, place, of := spreads(math.Log(b.factor))
		if total := math.Sqrt(life*life + place*place + of*of); math.Abs(total-math.Log(b.factor)) > 1e-12 {
			t.Errorf("%s: shares of %v come to %v", kind, math.Log(b.factor), total)
		}
	}
	c := mapped()
	f := fleetOf("UTC", c)
	for _, climate := range []Climate{
		{Months: [12]float64{-4, -3, 2, 8, 14, 19, 22, 21, 17, 10, 4, -2}},
		{Months: [12]float64{-4, -3, 2, 8, 14, 19, 22, 21, 17, 10, 4, -2}, Daily: 6},
		{Months: [12]float64{28, 28, 28, 28, 28, 28, 28, 28, 28, 28, 28, 28}},
		{Months: [12]float64{math.NaN()}},
	} {
		f.Sites[0].Climate = &climate
		o := Assess(Facts{Clock: c, Site: f.Sites[0]}, utc("2024-01-01")).Oils[0]
		want := 3 * wear.TemperatureFactor(wear.EquivalentTemperature(climate.Months, climate.Daily, wear.OilActivation))
		if math.Abs(o.Median-want) > 1e-6 {
			t.Errorf("%v: median %v, want %v", climate, o.Median, want)
		}
	}
}

// Days are those of the clock's zone.
func TestOilDaysOfItsZone(t *testing.T) {
	c := mapped()
	f := fleetOf("Pacific/Auckland", c)
	log := book(doneAt(Oiled, utc("2024-01-01 20:00")))
	o := Assess(Facts{Clock: c, Site: f.Sites[0], Entries: log}, utc("2024-06-01")).Oils[0]
	if o.Since != d("2024-01-02") {
		t.Errorf("oiled on %v, but it was the 2nd there", o.Since)
	}
}

// What was found at an oiling is of the oil before; two such in a row say that an
// interval may be too long, and its day is not firm.
func TestOilPastItsInterval(t *testing.T) {
	for _, tt := range []struct {
		name       string
		p          Policy
		found      []OilFound // at the oilings of 2022, 2023 and 2024
		reason     string
		confidence string
	}{
		{"twice past", Policy{Days: 365}, []OilFound{"", OilDry, OilGummed}, "oiled on 1 Jan 2024; every year; the last oil looked at was found gummed after 12 months, and the one before it was past its work too: this interval may be too long", "fair: the interval is fixed, but the last two"},
		{"once past", Policy{Days: 365}, []OilFound{"", OilClean, OilGummed}, "oiled on 1 Jan 2024; every year", "firm: a fixed interval"},
		{"good since", Policy{Days: 365}, []OilFound{OilGummed, OilGummed, OilClean}, "oiled on 1 Jan 2024; every year", "firm: a fixed interval"},
		{"far beyond a short interval", Policy{Days: 90}, []OilFound{"", OilDry, OilGummed}, "oiled on 1 Jan 2024; every 90 days", "firm: a fixed interval"},
		{"a risk sees to it", Policy{Risk: .1, Days: 3650}, []OilFound{"", OilDry, OilGummed}, "oiled on 1 Jan 2024; one oiling in ten", "fair: from 2 lives"},
	} {
		c := mapped()
		tt.p.Task, tt.p.Source = Oiling, "x"
		c.Policies = []Policy{tt.p}
		var log []Entry
		for i, f := range tt.found {
			log = append(log, doneAt(Oiled, d("2022-01-01").Add(365*i).Start(time.UTC), oilFound(f)))
		}
		a := assess(c, book(log...), "2024-02-01")
		task, o := taskOf(t, a, Oiling, ""), a.Oils[0]
		last := tt.found[len(tt.found)-1]
		long := strings.Contains(tt.reason, "too long")
		if long && task.Reason != tt.reason || !long && (!strings.HasPrefix(task.Reason, tt.reason) || strings.Contains(task.Reason, "too long")) || !strings.HasPrefix(task.Confidence, tt.confidence) {
			t.Errorf("%s: %q, %q", tt.name, task.Reason, task.Confidence)
		}
		if strings.HasPrefix(task.Next, "Oil it sooner, or set a shorter interval.") != long {
			t.Errorf("%s: %q", tt.name, task.Next)
		}
		if o.Found != "" || o.Before != last || o.BeforeOn != d("2024-01-01") || strings.Contains(task.Evidence, "last found") || !strings.Contains(task.Evidence, "the oil before it was found "+string(last)+" on 1 Jan 2024") {
			t.Errorf("%s: found %q, before %q on %v: %q", tt.name, o.Found, o.Before, o.BeforeOn, task.Evidence)
		}
	}
}

// Oil that failed at one place, found as it was oiled there, is not forgotten
// for what was found elsewhere later.
func TestOilEndedAsFound(t *testing.T) {
	c := mapped(pt("front"), pt("back"))
	task := taskOf(t, assess(c, book(did(Oiled, "2024-01-01"), did(Oiled, "2024-11-01", points("front"), oilFound(OilDry)), did(Inspected, "2024-11-20", oilFound(OilClean), points("back"))), "2024-12-01"), Oiling, "")
	if !strings.HasPrefix(task.Reason, "found dry on 1 Nov 2024") || !strings.HasSuffix(task.Reason, "; front was oiled on 1 Nov 2024, still to do: back") {
		t.Errorf("%q", task.Reason)
	}
}

// Places that were oiled apart: which, and which not.
func TestOiledApart(t *testing.T) {
	five := []OilPoint{pt("a"), pt("b"), pt("c"), pt("d", func(p *OilPoint) { p.Name = "fly pivot" }), pt("e")}
	for _, tt := range []struct {
		name   string
		points []OilPoint
		log    []Entry
		want   string // at the end
	}{
		{"together", five, []Entry{did(Oiled, "2024-01-01")}, ""},
		{"in one round", five, []Entry{did(Oiled, "2024-01-01", points("a", "b", "c")), did(Oiled, "2024-01-20", points("d", "e"))}, ""},
		{"one", five[2:], []Entry{did(Oiled, "2024-01-01"), did(Oiled, "2024-05-01", points("d"))}, "; fly pivot was oiled on 1 May 2024, still to do: c and e"},
		{"one of many", five, []Entry{did(Oiled, "2024-01-01"), did(Oiled, "2024-05-01", points("d"))}, "; fly pivot was oiled on 1 May 2024, still to do: 4 of its 5 places"},
		{"one train", nil, []Entry{did(Oiled, "2024-01-01"), did(Oiled, "2024-05-01", of("strike"))}, "; the strike train was oiled on 1 May 2024, still to do: the going train"},
	} {
		c := pump()
		c.Policies, c.Care.Points = []Policy{{Task: Oiling, Days: 365, Source: "x"}}, tt.points
		task := taskOf(t, assess(c, book(tt.log...), "2024-06-01"), Oiling, "")
		if !strings.HasSuffix(task.Reason, tt.want) || strings.Contains(task.Reason, "still to do") != (tt.want != "") {
			t.Errorf("%s: %q, want %q", tt.name, task.Reason, tt.want)
		}
	}
}
