package schedule

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"endshake/wear"
)

func pt(code string, changes ...func(*OilPoint)) OilPoint {
	p := OilPoint{Code: code, Train: "going", Kind: MineralOil, Room: ClosedCase, Drops: 1, Oil: "fine clock oil"}
	for _, c := range changes {
		c(&p)
	}
	return p
}

func dry(why string) func(*OilPoint) { return func(p *OilPoint) { p.Dry, p.Why = true, why } }
func onTrain(train string) func(*OilPoint) {
	return func(p *OilPoint) { p.Train = train }
}

// mapped is a clock whose oil is mineral in closed sinks, due at a risk of one
// in ten.
func mapped(points ...OilPoint) Clock {
	c := alone()
	c.Policies = []Policy{{Task: Oiling, Risk: .1, Source: "conservator"}}
	if len(points) == 0 {
		points = []OilPoint{pt("front")}
	}
	c.Care.Points = points
	return c
}

func oilFound(f OilFound) change    { return func(e *Entry) { e.OilFound = f } }
func residue(r Residue) change      { return func(e *Entry) { e.Residue = r } }
func points(codes ...string) change { return func(e *Entry) { e.Points = codes } }
func toppedUp(e *Entry)             { e.TopUp = true }
func withOil(s string) change       { return func(e *Entry) { e.Oil = s } }

// oilAt is the state of the first oiling policy.
func oilAt(t *testing.T, c Clock, now string, log ...Entry) OilState {
	t.Helper()
	a := assess(c, book(log...), now)
	if len(a.Problems) > 0 {
		t.Fatal(a.Problems)
	}
	if len(a.Oils) == 0 {
		t.Fatal("no oil is followed")
	}
	return a.Oils[0]
}

// Unseen mineral oil in a closed case has a middle life of 3 years within a
// factor of 1.8, so one in ten is over after 3 exp(-1.281552 ln 1.8) = 1.4125
// years: worked by hand.
func TestOilDueAtItsRisk(t *testing.T) {
	o := oilAt(t, mapped(), "2024-06-01", did(Oiled, "2024-01-01", withOil("fine clock oil")))
	if math.Abs(o.Median-3) > 1e-6 || o.Since != d("2024-01-01") {
		t.Errorf("median %v since %v", o.Median, o.Since)
	}
	if want := d("2024-01-01").Add(515); o.ByRisk != want {
		t.Errorf("due by %v, want %v", o.ByRisk, want)
	}
	// Half a year is over less often than one oiling in ten, three years as often as not.
	if !(o.Risk > 0 && o.Risk < .1) {
		t.Errorf("risk %v after five months", o.Risk)
	}
	if r := oilAt(t, mapped(), "2027-01-01", did(Oiled, "2024-01-01")).Risk; math.Abs(r-.5) > .01 {
		t.Errorf("risk %v after three years", r)
	}
	task := taskOf(t, assess(mapped(), book(did(Oiled, "2024-01-01", withOil("fine clock oil"))), "2024-06-01"), Oiling, "")
	if task.Due != o.ByRisk || !task.From.Before(task.Due) || !task.Latest.After(task.Due) {
		t.Errorf("window %s", windowOf(task))
	}
	for _, s := range []string{"oiled on 1 Jan 2024 with fine clock oil; one oiling in ten is no longer good by 30 May 2025"} {
		if !strings.Contains(task.Reason, s) {
			t.Errorf("reason %q does not say %q", task.Reason, s)
		}
	}
	if !strings.HasPrefix(task.Confidence, "weak: nobody logged how oil looked") || !strings.Contains(task.Next, "Wipe a pivot and look") || !strings.Contains(task.Next, "1 point, 1 drop of fine clock oil") {
		t.Errorf("%q, %q", task.Confidence, task.Next)
	}
}

// Each reason moves the middle by its factor, is said in a sentence, and all
// together are held to between .15 and 2. Bases and factors are judgement.
func TestOilFactors(t *testing.T) {
	cold := &Climate{Months: [12]float64{10, 10, 10, 10, 10, 10, 10, 10, 10, 10, 10, 10}, Source: "x"}
	for _, tt := range []struct {
		name   string
		change func(*OilPoint)
		care   Care
		site   *Climate
		log    []Entry
		want   float64
		says   string
	}{
		{"closed case", func(*OilPoint) {}, Care{}, nil, nil, 3, "Mineral oil starts from a middle life of 3 years"},
		{"synthetic", func(p *OilPoint) { p.Kind = SyntheticOil }, Care{}, nil, nil, 5, "Synthetic oil starts"},
		{"natural", func(p *OilPoint) { p.Kind = NaturalOil }, Care{}, nil, nil, 1.5, "Animal or vegetable oil"},
		{"grease", func(p *OilPoint) { p.Kind = Grease }, Care{}, nil, nil, 5, "Grease starts"},
		{"grease in a post head", func(p *OilPoint) { p.Kind, p.Room = Grease, Sheltered }, Care{}, nil, nil, 1.5, "outdoors, sheltered"},
		{"grease in the rain", func(p *OilPoint) { p.Kind, p.Room = Grease, Wetted }, Care{}, nil, nil, .9, "outdoors, wetted"},
		{"room of the clock", func(p *OilPoint) { p.Room = "" }, Care{Room: DustyRoom}, nil, nil, 1.5, "dusty or birds"},
		{"no room named", func(p *OilPoint) { p.Room = "" }, Care{}, nil, nil, 2.4, "swept yearly"},
		{"damp", func(*OilPoint) {}, Care{Damp: true}, nil, nil, 2.4, "Damp air"},
		{"no sink", func(p *OilPoint) { p.NoSink = true }, Care{}, nil, nil, 2.1, "No oil sink"},
		{"fast", func(p *OilPoint) { p.Fast = true }, Care{}, nil, nil, 2.1, "fast arbor"},
		// SciPy 1.10.1: at a steady 10 °C oil lasts 1.556179 times as long.
		{"cool", func(*OilPoint) {}, Care{}, cold, nil, 3 * 1.556179, "steady 10 °C (50 °F)"},
		{"black", func(*OilPoint) {}, Care{}, nil, []Entry{did(Inspected, "2024-02-01", residue(ResidueBlack))}, 2.1, "last found black"},
		{"black once, clear now", func(*OilPoint) {}, Care{}, nil, []Entry{did(Inspected, "2024-02-01", residue(ResidueBlack)), did(Inspected, "2024-03-01", residue(ResidueClear))}, 3, "Mineral oil"},
		{"all that is bad", func(p *OilPoint) { p.Room, p.NoSink, p.Fast = Wetted, true, true }, Care{Damp: true}, nil, nil, 3 * .15, "held to 0.15"},
		{"kind not recorded", func(p *OilPoint) { p.Kind = "" }, Care{}, nil, nil, 3, "the kind is not recorded"},
	} {
		p := pt("front", tt.change)
		c := mapped(p)
		c.Care.Room, c.Care.Damp = tt.care.Room, tt.care.Damp
		f := fleetOf("UTC", c)
		f.Sites[0].Climate = tt.site
		a := Assess(Facts{Clock: c, Site: f.Sites[0], Entries: book(append([]Entry{did(Oiled, "2024-01-01")}, tt.log...)...)}, utc("2024-06-01"))
		o := a.Oils[0]
		if math.Abs(o.Median-tt.want) > 1e-4 {
			t.Errorf("%s: median %v, want %v: %q", tt.name, o.Median, tt.want, o.Factors)
		}
		if got := strings.Join(o.Factors, " "); !strings.Contains(got, tt.says) || strings.Contains(got, "%!") {
			t.Errorf("%s: %q does not say %q", tt.name, got, tt.says)
		}
	}
	// With no oil map it is taken for mineral oil, and says so.
	c := mapped()
	c.Care.Points = nil
	if o := oilAt(t, c, "2024-06-01"); !strings.Contains(o.Factors[0], "no oil point is described") || o.Governs != "" {
		t.Errorf("%q", o.Factors)
	}
	// Of several the one that is believed to want oil first speaks for all.
	o := oilAt(t, mapped(pt("front"), pt("fly", func(p *OilPoint) { p.Fast, p.Name = true, "fly front pivot" }), pt("clutch", dry("it would slip"))), "2024-06-01")
	if o.Governs != "fly" || math.Abs(o.Median-2.1) > 1e-4 || !strings.Contains(o.Factors[0], "of 2 points fly front pivot") {
		t.Errorf("%q governs, median %v: %q", o.Governs, o.Median, o.Factors)
	}
}

// When the oil counts as new: only when every point that takes oil was gone to,
// and not by topping up.
func TestOiledWhenAllPointsAre(t *testing.T) {
	two := []OilPoint{pt("front"), pt("back"), pt("clutch", dry("it would slip"))}
	striking := []OilPoint{pt("front"), pt("hammer", onTrain("strike"))}
	for _, tt := range []struct {
		name   string
		points []OilPoint
		log    []Entry
		since  string
		topUps int
	}{
		{"nothing logged", two, nil, "", 0},
		{"the whole clock", two, []Entry{did(Oiled, "2024-01-01")}, "2024-01-01", 0},
		{"cleaned", two, []Entry{did(Cleaned, "2024-01-01")}, "2024-01-01", 0},
		{"one point of two", two, []Entry{did(Oiled, "2024-01-01", points("front"))}, "", 0},
		{"both, the clutch left dry", two, []Entry{did(Oiled, "2024-01-01", points("front", "back"))}, "2024-01-01", 0},
		{"one after the other", two, []Entry{did(Oiled, "2024-01-01", points("front")), did(Oiled, "2024-03-01", points("back"))}, "2024-01-01", 0},
		{"the first again", two, []Entry{did(Oiled, "2024-01-01", points("front")), did(Oiled, "2024-03-01", points("back")), did(Oiled, "2024-05-01", points("front"))}, "2024-03-01", 0},
		{"topped up", two, []Entry{did(Oiled, "2024-01-01"), did(Oiled, "2024-03-01", toppedUp), did(Oiled, "2024-04-01", toppedUp)}, "2024-01-01", 2},
		{"topped up, then oiled", two, []Entry{did(Oiled, "2024-01-01"), did(Oiled, "2024-03-01", toppedUp), did(Oiled, "2024-04-01")}, "2024-04-01", 0},
		{"looked at", two, []Entry{did(Oiled, "2024-01-01"), did(Inspected, "2024-03-01")}, "2024-01-01", 0},
		{"one train", striking, []Entry{did(Oiled, "2024-01-01", of("going"))}, "", 0},
		{"one train after the other", striking, []Entry{did(Oiled, "2024-01-01", of("going")), did(Oiled, "2024-02-01", of("strike"))}, "2024-01-01", 0},
		{"no map, one train", nil, []Entry{did(Oiled, "2024-01-01", of("going"))}, "", 0},
		{"no map, both", nil, []Entry{did(Oiled, "2024-01-01", of("going")), did(Oiled, "2024-02-01", of("strike"))}, "2024-01-01", 0},
		{"another bearing", nil, []Entry{did(Oiled, "2024-01-01", onBearing("centre-front"))}, "", 0},
	} {
		c := pump()
		c.Policies, c.Care.Points = []Policy{{Task: Oiling, Days: 365, Source: "x"}}, tt.points
		o := oilAt(t, c, "2024-06-01", tt.log...)
		if o.Since.String() != tt.since || o.TopUps != tt.topUps {
			t.Errorf("%s: since %q with %d top-ups, want %q with %d", tt.name, o.Since, o.TopUps, tt.since, tt.topUps)
		}
	}
}

// A point belongs to the policy that fits it best, so that going to it alone
// oils what that policy is about.
func TestOilPointsBelongToOnePolicy(t *testing.T) {
	c := pump()
	c.Policies = []Policy{{Task: Oiling, Days: 365, Source: "x"}, {Task: Oiling, Bearing: "centre-front", Days: 90, Source: "x"}, {Task: Oiling, Train: "strike", Days: 180, Source: "x"}}
	c.Care.Points = []OilPoint{pt("great"), pt("centre", func(p *OilPoint) { p.Train, p.Bearing = "", "centre-front" }), pt("hammer", onTrain("strike"))}
	a := assess(c, book(did(Oiled, "2024-01-01", points("great")), did(Oiled, "2024-02-01", onBearing("centre-front")), did(Oiled, "2024-03-01", of("strike"))), "2024-06-01")
	for i, want := range []struct{ governs, since, due string }{{"great", "2024-01-01", "2024-12-31"}, {"centre", "2024-02-01", "2024-05-01"}, {"hammer", "2024-03-01", "2024-08-28"}} {
		if o := a.Oils[i]; o.Governs != want.governs || o.Since != d(want.since) {
			t.Errorf("policy %d: %q since %v, want %+v", i, o.Governs, o.Since, want)
		}
		if task := taskOf(t, a, Oiling, a.Oils[i].Subject); task.Due != d(want.due) {
			t.Errorf("policy %d: due %v, want %v", i, task.Due, want.due)
		}
	}
}

// year is an age in years of oil put in at one day and looked at on another.
func year(from, to string) float64 { return utc(to).Sub(utc(from)).Hours() / (24 * 365.25) }

// What looks at the oil tell: good oil that its life is longer, oil that failed
// that it ended since it was last seen good in the same oiling.
func TestOilSightings(t *testing.T) {
	inf := math.Inf(1)
	for _, tt := range []struct {
		name string
		log  []Entry
		want []wear.Sighting // all, that of the oil in place last
	}{
		{"never looked at", []Entry{did(Oiled, "2020-01-01"), did(Oiled, "2021-01-01"), did(Inspected, "2021-06-01")}, nil},
		{"good as it was renewed", []Entry{did(Oiled, "2020-01-01"), did(Oiled, "2021-01-01", oilFound(OilDarkened))}, []wear.Sighting{{From: year("2020-01-01", "2021-01-01"), To: inf}}},
		{"gummed as it was renewed", []Entry{did(Oiled, "2020-01-01"), did(Cleaned, "2021-01-01", oilFound(OilGummed))}, []wear.Sighting{{From: 0, To: year("2020-01-01", "2021-01-01")}}},
		{"clean, then dry", []Entry{did(Oiled, "2020-01-01"), did(Inspected, "2020-07-01", oilFound(OilClean)), did(Inspected, "2021-01-01", oilFound(OilDry))},
			[]wear.Sighting{{From: year("2020-01-01", "2020-07-01"), To: year("2020-01-01", "2021-01-01")}}},
		{"seen twice counts once", []Entry{did(Oiled, "2020-01-01"), did(Inspected, "2020-07-01", oilFound(OilClean)), did(Inspected, "2021-01-01", oilFound(OilDarkened))},
			[]wear.Sighting{{From: year("2020-01-01", "2021-01-01"), To: inf}}},
		{"another oiling begins anew", []Entry{did(Oiled, "2020-01-01"), did(Inspected, "2020-07-01", oilFound(OilClean)), did(Oiled, "2021-01-01"), did(Inspected, "2022-01-01", oilFound(OilGummed))},
			[]wear.Sighting{{From: year("2020-01-01", "2020-07-01"), To: inf}, {From: 0, To: year("2021-01-01", "2022-01-01")}}},
		{"failed stays failed", []Entry{did(Oiled, "2020-01-01"), did(Inspected, "2020-07-01", oilFound(OilDry)), did(Inspected, "2020-09-01", oilFound(OilClean))}, []wear.Sighting{{From: 0, To: year("2020-01-01", "2020-07-01")}}},
		{"good because it was topped up", []Entry{did(Oiled, "2020-01-01"), did(Inspected, "2020-07-01", oilFound(OilClean)), did(Oiled, "2020-08-01", toppedUp), did(Inspected, "2021-01-01", oilFound(OilClean))},
			[]wear.Sighting{{From: year("2020-01-01", "2020-07-01"), To: inf}}},
		{"on the day of the oiling", []Entry{did(Oiled, "2020-01-01 08:00"), did(Inspected, "2020-01-01 12:00", oilFound(OilDry))}, nil},
		{"of no oiling that is known", []Entry{did(Inspected, "2021-01-01", oilFound(OilDry))}, nil},
		{"good elsewhere", []Entry{did(Oiled, "2020-01-01"), did(Inspected, "2021-01-01", oilFound(OilClean), points("back"))}, nil},
		{"failed elsewhere", []Entry{did(Oiled, "2020-01-01"), did(Inspected, "2021-01-01", oilFound(OilDry), points("back"))}, []wear.Sighting{{From: 0, To: year("2020-01-01", "2021-01-01")}}},
	} {
		c := mapped(pt("front", func(p *OilPoint) { p.Fast = true }), pt("back"))
		o := oilAt(t, c, "2024-06-01", tt.log...)
		if len(o.sightings) != len(tt.want) || o.Looks != len(tt.want) {
			t.Errorf("%s: %v, want %v", tt.name, o.sightings, tt.want)
			continue
		}
		for i, w := range tt.want {
			if g := o.sightings[i]; math.Abs(g.From-w.From) > 1e-9 || g.To != w.To && math.Abs(g.To-w.To) > 1e-9 {
				t.Errorf("%s: %v, want %v", tt.name, g, w)
			}
		}
	}
}

// Oil that was seen to fail is due at once; seen good, it may wait longer.
func TestOilSeen(t *testing.T) {
	unseen := oilAt(t, mapped(), "2025-01-01", did(Oiled, "2024-01-01"))
	log := book(did(Oiled, "2024-01-01"), did(Inspected, "2024-12-01", oilFound(OilDarkened)))
	good := oilAt(t, mapped(), "2025-01-01", log...)
	if good.Good != d("2024-12-01") || !good.ByRisk.After(unseen.ByRisk) || good.Risk >= unseen.Risk || good.Found != OilDarkened {
		t.Errorf("seen good: %+v; unseen due %v at risk %v", good, unseen.ByRisk, unseen.Risk)
	}
	task := taskOf(t, assess(mapped(), log, "2025-01-01"), Oiling, "")
	if !strings.Contains(task.Reason, "still good on 1 Dec 2024") || !strings.Contains(task.Evidence, "last found darkened on 1 Dec 2024") || !strings.HasPrefix(task.Confidence, "fair: from 1 life of its oil") {
		t.Errorf("%q, %q, %q", task.Reason, task.Evidence, task.Confidence)
	}
	log = book(did(Oiled, "2024-01-01"), did(Inspected, "2024-12-01", oilFound(OilGummed)))
	for _, p := range []Policy{{Task: Oiling, Risk: .1, Source: "x"}, {Task: Oiling, Days: 3650, Source: "x"}} {
		c := mapped()
		c.Policies = []Policy{p}
		a := assess(c, log, "2024-12-05")
		task = taskOf(t, a, Oiling, "")
		if task.State != Due || task.Due != d("2024-12-01") || a.Oils[0].Risk != 1 || a.Oils[0].Ended != d("2024-12-01") || !strings.Contains(task.Reason, "found gummed on 1 Dec 2024, 11 months after it was oiled") {
			t.Errorf("%v: %s, %s: %q", p, task.State, windowOf(task), task.Reason)
		}
	}
	// Oiled again it begins anew, and the failure has taught that it lasts less long.
	again := oilAt(t, mapped(), "2025-01-01", append(log, did(Oiled, "2024-12-05"))...)
	if !again.Ended.IsZero() || again.Median >= 3 || again.Since != d("2024-12-05") {
		t.Errorf("%+v", again)
	}
}

// The sooner of interval and risk; without a risk the interval alone.
func TestOilIntervalOrRisk(t *testing.T) {
	log := book(did(Oiled, "2024-01-01"))
	for _, tt := range []struct {
		p    Policy
		due  string
		says string
	}{
		{Policy{Days: 365}, "2024-12-31", "every year"},
		{Policy{Days: 365, Risk: .1}, "2024-12-31", "every year; by the state of its oil it could wait until 30 May 2025"},
		{Policy{Days: 730, Risk: .1}, "2025-05-30", "one oiling in ten"},
		{Policy{RunHours: 2400, Risk: .1}, "2024-04-10", "2,400 run-hours"},
		{Policy{Risk: .5}, "2026-12-31", "one oiling in two"},
		{Policy{Risk: .07}, "2025-04-05", "7 oilings in a hundred are"},
	} {
		c := mapped()
		tt.p.Task, tt.p.Source = Oiling, "x"
		c.Policies = []Policy{tt.p}
		a := assess(c, log, "2024-02-01")
		if task := taskOf(t, a, Oiling, ""); task.Due != d(tt.due) || !strings.Contains(task.Reason, tt.says) {
			t.Errorf("%+v: due %v because %q, want %s", tt.p, task.Due, task.Reason, tt.says)
		}
		if a.Oils[0].Median == 0 || (tt.p.Risk > 0) == a.Oils[0].ByRisk.IsZero() {
			t.Errorf("%+v: %+v", tt.p, a.Oils[0])
		}
	}
	// Nothing logged: from the first day in care, and weak.
	task := taskOf(t, assess(mapped(), nil, "2020-02-01"), Oiling, "")
	if task.Due != d("2020-01-01").Add(515) || !strings.HasPrefix(task.Confidence, "weak: no oiling is logged") || !strings.HasPrefix(task.Reason, "no oiling is logged; one oiling in ten") {
		t.Errorf("%v: %q, %q", task.Due, task.Confidence, task.Reason)
	}
}

// Oil renewed each year whatever it looks like, and always good, only says that
// it lasts longer than a year: that does not put it off without bound.
func TestOilInformativeTrap(t *testing.T) {
	var log []Entry
	for i := range 60 {
		log = append(log, doneAt(Oiled, d("1960-01-01").Add(365*i).Start(time.UTC), oilFound(OilClean)))
	}
	c := mapped()
	c.InCare = d("1959-06-01")
	o := oilAt(t, c, "2019-12-20", log...)
	if mean, _ := o.Life.Posterior().Middle(); o.Looks != 59 || math.Exp(mean) > 3+1e-9 {
		t.Errorf("after %d good years the middle is %v years", o.Looks, math.Exp(mean))
	}
}

// Metal in the oil of a bearing asks for a reading within 90 days, unless it
// was measured since.
func TestBlackOilAsksForAReading(t *testing.T) {
	c := mapped(pt("front", func(p *OilPoint) { p.Bearing = "centre-front" }), pt("back"))
	c.Policies = append(c.Policies, Policy{Task: Measuring, Days: 730, Source: "x"})
	log := read(2022, .12, .13)
	for _, tt := range []struct {
		name  string
		more  []Entry
		black string
		why   string
	}{
		{"clear", []Entry{did(Inspected, "2023-06-01", residue(ResidueClear))}, "", "2 years"},
		{"black", []Entry{did(Inspected, "2023-06-01", residue(ResidueBlack))}, "2023-06-01", "oil black with metal was found on 1 Jun 2023"},
		{"black at its point", []Entry{did(Oiled, "2023-06-01", residue(ResidueBlack), points("front"))}, "2023-06-01", "oil black with metal"},
		{"black at another", []Entry{did(Oiled, "2023-06-01", residue(ResidueBlack), points("back"))}, "", "2 years"},
		{"black, measured since", []Entry{did(Inspected, "2023-06-01", residue(ResidueBlack)), did(Measured, "2023-07-01", gave(.135))}, "2023-06-01", "2 years"},
		{"black, mended since", []Entry{did(Inspected, "2023-06-01", residue(ResidueBlack)), did(Repaired, "2023-07-01", left(.1))}, "", "2 years"},
	} {
		a := assess(c, book(append(append([]Entry(nil), log...), tt.more...)...), "2023-08-01")
		o := outlookOf(t, a, "centre-front")
		if got := a.blackResidue("centre-front"); got.String() != tt.black {
			t.Errorf("%s: black on %q, want %q", tt.name, got, tt.black)
		}
		if !strings.Contains(o.Why, tt.why) {
			t.Errorf("%s: measure by %v because %q, want %q", tt.name, o.Measure, o.Why, tt.why)
		}
		if sooner := strings.Contains(o.Why, "black"); sooner && o.Measure != d(tt.black).Add(90) {
			t.Errorf("%s: by %v", tt.name, o.Measure)
		}
	}
}

// The oil map in lines, in order, and then what must stay dry.
func TestOilMap(t *testing.T) {
	c := pump()
	c.Care.Points = []OilPoint{
		pt("front", func(p *OilPoint) { p.Name, p.Amount = "front centre pivot", "1 drop" }),
		pt("clutch", func(p *OilPoint) { p.Name = "the setting clutch"; dry("it would slip.")(p) }),
		pt("hammer", func(p *OilPoint) { p.Train, p.Drops, p.Picture, p.Why = "strike", 2.5, "hammer.jpg", "wipe it first" }),
		{Code: "bare", Train: "going"},
	}
	a := assess(c, nil, "2024-01-01")
	for subject, want := range map[string]string{
		"": "1. Front centre pivot: 1 drop of fine clock oil.|2. Hammer: 2.5 drops of fine clock oil (wipe it first); see the picture hammer.jpg.|" +
			"3. Bare: oil and amount are not recorded.|Must stay dry: the setting clutch, because it would slip.",
		"strike":  "1. Hammer: 2.5 drops of fine clock oil (wipe it first); see the picture hammer.jpg.",
		"nowhere": "",
	} {
		if got := strings.Join(OilMap(a, subject), "|"); got != want {
			t.Errorf("%q: %s\nwant %s", subject, got, want)
		}
	}
}

// What an oiling takes is added up.
func TestOilAmount(t *testing.T) {
	for _, tt := range []struct {
		points []OilPoint
		want   string
	}{
		{[]OilPoint{pt("a"), pt("b", func(p *OilPoint) { p.Drops = 2 }), pt("c", dry("x"))}, "2 points, 3 drops of fine clock oil"},
		{[]OilPoint{pt("a"), pt("b", func(p *OilPoint) { p.Drops, p.Oil = 0, "" })}, "2 points, at least 1 drop of fine clock oil and mineral oil"},
		{[]OilPoint{{Code: "a"}}, "1 point"},
		{[]OilPoint{{Code: "a", Kind: Grease}}, "1 point, of grease"},
		{nil, ""},
	} {
		c := mapped()
		c.Care.Points = tt.points
		if got := oilAt(t, c, "2024-01-01").drops.words(); got != tt.want {
			t.Errorf("%q, want %q", got, tt.want)
		}
	}
}

// Whatever the log holds, a state is a state: chances are chances, and no day
// lies before the oiling that it counts from.
func TestOilOfAnyLog(t *testing.T) {
	const seed = 8
	r := rand.New(rand.NewPCG(seed, 1))
	kinds := []EntryKind{Oiled, Cleaned, Inspected, Noted, Repaired}
	for range 300 {
		c := mapped(pt("front"), pt("fly", func(p *OilPoint) { p.Fast = true }), pt("centre", func(p *OilPoint) { p.Bearing = "centre-front" }))
		c.Policies = append(c.Policies, Policy{Task: Oiling, Bearing: "centre-front", Risk: .01 + .49*r.Float64(), Source: "x"})
		var log []Entry
		for range r.IntN(30) {
			e := doneAt(kinds[r.IntN(len(kinds))], d("2020-01-01").Add(r.IntN(2000)).At(r.IntN(24), 0, time.UTC))
			e.OilFound, e.Residue, e.TopUp = append(OilFounds, "", "")[r.IntN(6)], append(Residues, "", "")[r.IntN(5)], r.IntN(4) == 0
			e.Points = [][]string{nil, nil, {"front"}, {"front", "fly"}, {"centre"}, {"nowhere"}}[r.IntN(6)]
			e.Bearing = []string{"", "", "centre-front"}[r.IntN(3)]
			log = append(log, e)
		}
		a := assess(c, book(log...), "2025-06-01")
		for _, o := range a.Oils {
			if !(o.Risk >= 0 && o.Risk <= 1) || !(o.Median > 0) || !o.ByRisk.IsZero() && o.ByRisk.Before(o.Since) ||
				!o.Good.IsZero() && o.Good.Before(o.Since) || o.Ended.IsZero() != (o.Risk < 1) || o.Looks != len(o.sightings) {
				t.Fatalf("seed %d: %+v", seed, o)
			}
		}
		for _, task := range a.Tasks {
			if task.Kind == Oiling && (task.Due.Before(task.From) || task.Latest.Before(task.Due) || task.Reason == "" || task.Confidence == "" || strings.Contains(fmt.Sprint(task), "%!")) {
				t.Fatalf("seed %d: %+v", seed, task)
			}
		}
	}
}

// tended is a clock with three oiling policies and fifteen years of oil twice a
// year, looked at each time, among weekly winds.
func tended() (Facts, time.Time) {
	f, now := busy()
	f.Clock.Care.Points = []OilPoint{pt("b0", func(p *OilPoint) { p.Bearing = "b0" }), pt("b1", func(p *OilPoint) { p.Bearing = "b1" }), pt("rest")}
	f.Clock.Policies = append(f.Clock.Policies[:1:1], Policy{Task: Oiling, Risk: .1, Source: "x"}, Policy{Task: Oiling, Bearing: "b0", Risk: .1, Source: "x"}, Policy{Task: Oiling, Bearing: "b1", Risk: .1, Source: "x"})
	for i, e := range f.Entries {
		if e.Kind == Oiled {
			f.Entries[i].OilFound = OilFounds[i%3]
		}
	}
	return f, now
}

// BenchmarkOils is how the oil of three policies stands, each looked at thirty
// times among 800 entries; BenchmarkEffective, the ordering of that log, is its
// baseline.
func BenchmarkOils(b *testing.B) {
	f, now := tended()
	a := open(f, now)
	b.ReportAllocs()
	for b.Loop() {
		if o := oils(&a, f.Model); len(o) != 3 || o[0].Looks < 29 {
			b.Fatal(o[0].Looks)
		}
	}
}

// BenchmarkOilsUnseen is the same where nobody logs how the oil looked.
func BenchmarkOilsUnseen(b *testing.B) {
	f, now := tended()
	for i := range f.Entries {
		f.Entries[i].OilFound = ""
	}
	a := open(f, now)
	for b.Loop() {
		oils(&a, f.Model)
	}
}

// Oil found to have failed wants renewing, also where nobody ever logged an
// oiling: that is no life of which the age is known.
func TestFailedOilOfUnknownAge(t *testing.T) {
	log := []Entry{did(Inspected, "2026-06-01", oilFound(OilDry))}
	o := oilAt(t, mapped(), "2026-06-10", log...)
	if o.Ended != d("2026-06-01") || o.Risk != 1 || o.Looks != 0 {
		t.Errorf("no oiling logged, and found dry: ended %v, risk %v, %d looks", o.Ended, o.Risk, o.Looks)
	}
	if task := taskOf(t, assess(mapped(), book(log...), "2026-06-10"), Oiling, ""); task.State != Due && task.State != Late {
		t.Errorf("the oiling is %s, %s", task.State, windowOf(task))
	}
	if o := oilAt(t, mapped(), "2026-06-10", append(log, did(Oiled, "2026-06-02"))...); !o.Ended.IsZero() || o.Since != d("2026-06-02") {
		t.Errorf("oiled since: ended %v, since %v", o.Ended, o.Since)
	}
}
