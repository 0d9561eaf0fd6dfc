package web

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"golang.org/x/net/html"

	"endshake/schedule"
	"endshake/wear"
)

// wearing is an invented clock whose bearings are in every state that a page
// must show, added to the fixture.
const wearing = "bell-house"

func wearingDesk() *desk {
	f := newFixture()
	c := turret(wearing, "Bell House clock", "corn-hall")
	young := thrust("young", "young washer", 0.8, 1.2)
	young.Fitted, young.FittedAt = wear.FromMM(.20), now.AddDate(-3, 0, 0)
	long := thrust("long", "lead-off shaft", 0.8, 1.2)
	long.Shaft, long.Frame, long.Stand = wear.Steel, wear.Brass, 400*wear.Millimetre
	meshed := thrust("meshed", "bevel washer", 0.8, 1.2)
	meshed.Act, meshed.Fitted, meshed.FittedAt = nil, wear.FromMM(.20), now.AddDate(-4, 0, 0)
	bush := thrust("bush", "back bush", 0.8, 1.2)
	bush.Form, bush.Outer, bush.Inner = wear.Bush, 0, 0
	c.Trains = c.Trains[:1]
	c.Trains[0].Arbors = []wear.Arbor{{Code: "centre", Name: "centre arbor", Revs: 1, Bearings: []wear.Bearing{young,
		thrust("worn", "worn washer", 0.8, 1.2), thrust("changed", "changed washer", 2.5, 3), thrust("misread", "misread washer", 0.8, 1.2),
		thrust("between", "washer once misread", 0.8, 1.2), thrust("untaught", "washer read once", 0.8, 1.2),
		thrust("repaired", "repaired washer", 0.8, 1.2), thrust("never", "washer never read", 0.8, 1.2), long, meshed, bush}}}
	c.Trains[0].Meshes = []wear.Mesh{
		{Code: "bevel", Name: "motion bevel", Bearing: "meshed", Kind: wear.Bevel, Module: 1, PressureAngle: 20, Teeth: 40, Mate: 40, Drop: wear.Opens, Backlash: wear.FromMM(.15), ToHand: 1},
		{Code: "spur", Bearing: "meshed", Kind: wear.Spur, Module: 2, Cycloidal: true, Teeth: 60, Mate: 10}}
	f.fleet.Clocks = append(f.fleet.Clocks, c)
	f.wear("young", .5, .22, .24)
	f.wear("worn", .5, .55, .66, .78, .88, .99)
	f.wear("changed", 1, .10, .12, .14, .16, .34, .52, .70)
	f.wear("misread", 1, .30, .32, .34, .36, .78)
	f.wear("between", 1, .30, .33, .80, .39, .42)
	f.wear("untaught", 1, .31)
	f.wear("meshed", 1, .26, .33, .38, .47)
	f.wear("bush", 1, .26, .33, .38, .47)
	f.add(900, schedule.Entry{Clock: wearing, Kind: schedule.Repaired, Bearing: "repaired", By: "edda", Detail: schedule.Detail{Work: schedule.NewWasher, Fitted: wear.FromMM(.25)}})
	f.read(2000, wearing, "repaired", .9)
	f.read(1500, wearing, "repaired", 1.05)
	f.read(600, wearing, "repaired", .32)
	f.read(100, wearing, "repaired", .41)
	for i, mm := range []float64{.27, .36, .345, .423} {
		celsius := []float64{5, 25, 10, 26}[i]
		f.read(2000-float64(i)*600, wearing, "long", mm)
		f.log[wearing][len(f.log[wearing])-1].Reading.Celsius = &celsius
	}
	for days := 4200.0; days > 0; days -= 200 { // each time a little late
		f.add(days, schedule.Entry{Clock: wearing, Kind: schedule.Oiled, By: "tom"})
	}
	return &desk{f: f, now: now, snap: f.snapshot()}
}

// wear logs readings so many years apart, the last one 60 days ago.
func (f *fixture) wear(bearing string, years float64, sizes ...float64) {
	for i, mm := range sizes {
		f.read(60+365.25*years*float64(len(sizes)-1-i), wearing, bearing, mm)
	}
}

// taught is a lesson as a fleet would have taught it.
func taught(oil bool) schedule.Learned {
	track := wear.Track{
		Next: wear.Versus{Ours: wear.Score{Forecasts: 84, CRPS: .0213, MAE: .0306, Cover80: .798, Cover90: .905}, StraightLine: wear.Score{Forecasts: 84, CRPS: .0371, MAE: .0489, Cover80: .71, Cover90: .83}},
		Last: wear.Versus{Ours: wear.Score{Forecasts: 84, CRPS: .0456, MAE: .0612, Cover80: .74, Cover90: .86}, StraightLine: wear.Score{Forecasts: 84, CRPS: .0911, MAE: .1200, Cover80: .55, Cover90: .69}}}
	l := schedule.Learned{Version: 3, FittedAt: now.Add(-7 * time.Hour), Track: track, WithOil: track, OilInForce: oil,
		Model: wear.Learned{Params: wear.DefaultParams(), Om: .8, Bearings: 37, Readings: 212, Taught: true,
			Groups: map[string]wear.Group{"steel on brass | indoors | by run-hours | rate from physics": {Shift: 3.9, Bearings: 31}}}}
	if l.WithOil.Next.Ours.CRPS = .0211; oil {
		l.WithOil.Next.Ours.CRPS = .0201
	}
	return l
}

// page gets the page of one of the wearing bearings.
func (s site) page(t *testing.T, bearing string) string {
	t.Helper()
	res, body := get(t, s, "/clock/"+wearing+"/bearing/"+bearing)
	if res.StatusCode != http.StatusOK {
		t.Fatalf("%s answers %d", bearing, res.StatusCode)
	}
	checkPage(t, bearing, body)
	return flat(t, body)
}

// flat is all words of a page's main part.
func flat(t *testing.T, body string) string {
	t.Helper()
	var words []string
	for _, n := range nodes(t, body) {
		if n.Data != "main" {
			continue
		}
		for c := range n.Descendants() {
			if c.Type == html.TextNode {
				words = append(words, strings.Fields(c.Data)...)
			}
		}
	}
	return strings.Join(words, " ")
}

// What a page of a bearing in each state must say, and must not.
func TestBearingsInEveryState(t *testing.T) {
	s := siteOf(t, wearingDesk())
	for bearing, tc := range map[string]struct{ says, not []string }{
		"young":    {[]string{"now about", "cannot carry a date", "size as fitted"}, []string{"read again?", "rate changed after", "No rate is known"}},
		"worn":     {[]string{"Likely to reach 1.20 mm", "act 1.20 mm", "this one binds", "8 chances in 10", "chance that it has changed"}, []string{"read again?", "No rate is known"}},
		"changed":  {[]string{"rate changed", "it probably changed after", "find out why"}, []string{"read again?"}},
		"misread":  {[]string{"read again?", "re-measure before acting", "it does not fit the others", "chance that it is misread", "Condition watch read again"}, []string{"rate changed after"}},
		"between":  {[]string{"misread?", "now about"}, []string{"read again?"}},
		"untaught": {[]string{"No rate is known yet: no forecast.", "as of the last reading", "no reading has shown it yet"}, []string{"now about 0.3", "half of the chances", "Likely to reach"}},
		"never":    {[]string{"Nothing has been measured yet", "Nothing is measured yet: no level, no forecast.", "Two readings with some running"}, []string{"half of the chances"}},
		"repaired": {[]string{"new washer, leaving 0.25 mm", "new washer,"}, nil},
		"long":     {[]string{"mm at 15 °C (59 °F)", "26 °C (79 °F)", "brought to 15 °C"}, nil},
		"meshed":   {[]string{"motion bevel", "Backlash added", "Its limit binds.", "Stop at", "stop (do not run on)", "does not drive the hands"}, []string{"What to write into the fleet file"}},
		"bush":     {[]string{"What to write into the fleet file", "None is described"}, []string{"Fit a washer"}},
	} {
		text := s.page(t, bearing)
		for _, want := range tc.says {
			if !strings.Contains(text, want) {
				t.Errorf("%s: the page does not say %q: %s", bearing, want, text)
			}
		}
		for _, not := range tc.not {
			if strings.Contains(text, not) {
				t.Errorf("%s: the page says %q", bearing, not)
			}
		}
	}
}

// The readings of a long shaft are brought to 15 °C: 0.4 m of steel in brass grow
// by 400 x (19 - 11.5)e-6 = 0.003 mm for each degree (arithmetic).
func TestReadingsAtOneTemperature(t *testing.T) {
	text := siteOf(t, wearingDesk()).page(t, "long")
	for _, want := range []string{"0.423 16.7 0.390", "0.36 14.2 0.330", "0.345 13.6 0.360", "0.27 10.6 0.300"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is missing in %s", want, text)
		}
	}
}

// A mesh stands at the depth that package wear gives for the level shown, and
// its limits are beside those of the conservator.
func TestMeshesOfABearing(t *testing.T) {
	d := wearingDesk()
	a, _ := d.snap.Clock(wearing)
	o, _ := a.Outlook("meshed")
	e := o.Meshes[0].Mesh.Engage(wear.EndShake, o.Level.Mean-.2)
	text := siteOf(t, d).page(t, "meshed")
	for _, want := range []string{
		fmt.Sprintf("%.0f %% (%s lost) %+.2f mm (%+.1f thou) %.2f %.0f s", 100*e.Depth, wear.WithinBrackets(wear.Hundredths(e.Lost).String()), e.Backlash, e.Backlash/.0254, e.Contact, e.Freedom),
		"Limits of a mesh are given as end-shake of this bearing", o.Stop.Size.Both(wear.MM), "bevel, 40 and 40 teeth, module 1 mm (diametral pitch 25.4); wear opens it",
		"taken to be opened by wear, which is not recorded",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is missing in %s", want, text)
		}
	}
}

// What the page says to write into the fleet file is what a fleet file takes.
func TestTheMeshExampleIsAFleetFile(t *testing.T) {
	file, err := schedule.FormatFleet(wearingDesk().f.fleet)
	if err != nil {
		t.Fatal(err)
	}
	text := string(file)
	at := strings.Index(text, `"meshes": [`)
	end := at + strings.Index(text[at:], "]") + 1
	f, err := schedule.ParseFleet([]byte(text[:at] + meshExample("meshed") + text[end:]))
	if err != nil {
		t.Fatal(err)
	}
	c, _ := f.Clock(wearing)
	if m := c.Trains[0].Meshes; len(m) != 1 || m[0].Bearing != "meshed" || m[0].Module != 2 || m[0].Validate() != nil {
		t.Errorf("it is read as %+v", m)
	}
}

// Where a figure came from: what the fleet taught, by its number, with a way to
// its record; the oil, and whether it is reckoned with.
func TestWhereFiguresComeFrom(t *testing.T) {
	d := wearingDesk()
	s := siteOf(t, d)
	if text := s.page(t, "worn"); !strings.Contains(text, "was taken from Archard") || !strings.Contains(text, "The forecast does not weigh") && !strings.Contains(text, "does not weigh running") {
		t.Errorf("untaught: %s", text)
	}
	for _, oil := range []bool{false, true} {
		d.teach(taught(oil))
		text := s.page(t, "worn")
		for _, want := range []string{"Before any reading of its own the rate was learned from 31 bearings, steel on brass, indoors, by the lesson of 25 Nov 2026;",
			"What the fleet has taught, and how good its forecasts have been", "with good oil"} {
			if !strings.Contains(text, want) {
				t.Errorf("oil in force %v: %q is missing in %s", oil, want, text)
			}
		}
		if strings.Contains(text, "late oiling made") != oil {
			t.Errorf("oil in force %v: late oiling is told where the fleet does not bear it out, or not where it does: %s", oil, text)
		}
		if strings.Contains(text, "The forecast weighs running by it.") != oil {
			t.Errorf("oil in force %v: the page says otherwise", oil)
		}
		_, body := get(t, s, "/clock/"+wearing+"/bearing/worn")
		if !slices.Contains(links(t, "worn", body), "/reckoner") {
			t.Error("no link leads to the reckoner")
		}
	}
}

// The words "read again" and "rate changed" stand in the lists as well, at
// their own bearings only.
func TestDoubtsInLists(t *testing.T) {
	s := siteOf(t, wearingDesk())
	for path, want := range map[string]map[string]int{
		"/clock/" + wearing:   {"read again": 2, "rate changed": 2}, // in the table and at the task
		"/due?kind=measuring": {"read again": 1},
		"/clock/corn-hall":    {"read again": 0, "rate changed": 0},
		"/reckoner":           {"read again": 0},
		"/help":               {"read again": 1, "Rate changed": 1},
	} {
		_, body := get(t, s, path)
		got := map[string]int{}
		for _, n := range nodes(t, body) {
			if class, _ := attr(n, "class"); class == "condition doubt" {
				got[textOf(n)]++
			}
		}
		for word, n := range want {
			if got[word] != n {
				t.Errorf("%s: %q stands %d times, want %d", path, word, got[word], n)
			}
		}
	}
}

// Every page of the wearing clock holds to what every page must.
func TestEveryPageOfTheWearingClock(t *testing.T) {
	d := wearingDesk()
	d.teach(taught(true))
	s := siteOf(t, d)
	seen := map[string]bool{}
	for queue := []string{"/clock/" + wearing}; len(queue) > 0; queue = queue[1:] {
		path := queue[0]
		if seen[path] || !strings.HasPrefix(path, "/clock/"+wearing) && path != "/reckoner" {
			continue
		}
		seen[path] = true
		res, body := get(t, s, path)
		if res.StatusCode != http.StatusOK {
			t.Errorf("%s answers %d", path, res.StatusCode)
		}
		if printed(t, path, res, body) {
			continue
		}
		checkPage(t, path, body)
		queue = append(queue, links(t, path, body)...)
	}
	if len(seen) < 12 || !seen["/reckoner"] {
		t.Errorf("only %d pages", len(seen))
	}
}

// What is not known of a bearing stands in one line, and nowhere else among what
// we think of it.
func TestWhatIsNotKnownInOneLine(t *testing.T) {
	s := siteOf(t, wearingDesk())
	for bearing, want := range map[string]string{
		"never": "Not known The end-shake now, when the present part was fitted and its size then",
		"worn":  "Not known When the present part was fitted and its size then", "young": "",
	} {
		text := s.page(t, bearing)
		if want == "" && strings.Contains(text, "Not known") || !strings.Contains(text, want) || strings.Contains(text, "not measured") || strings.Contains(text, "not known when") {
			t.Errorf("%s: the page does not say %q alone: %s", bearing, want, text)
		}
	}
	at, start := time.Date(2020, 3, 9, 10, 0, 0, 0, time.UTC), &wear.Level{Mean: .2, SD: .02}
	for _, tc := range []struct {
		part           schedule.Part
		words, unknown string
	}{
		{schedule.Part{}, "", "when the present part was fitted and its size then"},
		{schedule.Part{From: at}, "9 Mar 2020", "the size of the present part when it was fitted"},
		{schedule.Part{Start: start}, "with 0.20 mm (7.9 thou)", "when the present part was fitted"},
		{schedule.Part{From: at, Start: start, Work: schedule.NewWasher, Cleaned: []time.Time{at.AddDate(1, 0, 0)}},
			"new washer, 9 Mar 2020, with 0.20 mm (7.9 thou); stripped and cleaned since on 9 Mar 2021", ""},
		{schedule.Part{Cleaned: []time.Time{at}}, "stripped and cleaned since on 9 Mar 2020", "when the present part was fitted and its size then"},
	} {
		words, unknown := fittedWords(schedule.Outlook{Parts: []schedule.Part{tc.part}}, time.UTC)
		if words != tc.words || strings.Join(unknown, ", ") != tc.unknown {
			t.Errorf("%+v: %q, not known %q", tc.part, words, unknown)
		}
	}
	// Asked what some work would do, figures that are known neither way stand in one
	// line too.
	_, body := s.ask(t, "never", url.Values{"fitted": {"0.25 mm"}})
	if text := flat(t, body); !strings.Contains(text, "Not known, as it is or then: limit reached at the earliest") || strings.Contains(text, "no date no date") {
		t.Errorf("what is not known either way is a row: %s", text)
	}
}

// A bearing's page says where the last lesson moved its date, or took it, and is
// silent where it did not.
func TestMovedByTheLesson(t *testing.T) {
	moved := map[bool]int{} // by whether there is a date still
	for _, by := range []float64{0, -1, -3} {
		d := wearingDesk()
		d.teach(taught(false))
		s := siteOf(t, d)
		if text := s.page(t, "meshed"); strings.Contains(text, "oved by the lesson") {
			t.Errorf("there was no lesson before: %s", text)
		}
		before, slower := d.snap, taught(false)
		slower.Version, slower.FittedAt = 4, now.Add(-time.Hour)
		for name, g := range slower.Model.Groups {
			g.Shift += by
			slower.Model.Groups[name] = g
		}
		d.teach(slower)
		for _, o := range clockOf(t, d.snap).Outlooks {
			was, _ := clockOf(t, before).Outlook(o.Bearing.Code)
			text, is := s.page(t, o.Bearing.Code), o.Likely.MonthWords()
			switch {
			case o.Beyond:
				is = "over 40 years ahead"
			case !o.Dated:
				is = "not to be told"
			}
			said := strings.Contains(text, "oved by the lesson")
			if said != o.MovedFrom(was) || said && was.Dated && !strings.Contains(text, fmt.Sprintf("Middle date Moved by the lesson of 25 Nov 2026: was %s, is %s; a middle", was.Likely.MonthWords(), is)) {
				t.Errorf("by %v, %s: was %v, is %v, and the page says so: %v", by, o.Bearing.Code, was.Likely, o.Likely, said)
			}
			if said && by == 0 {
				t.Errorf("%s: a lesson that says the same has moved its date", o.Bearing.Code)
			}
			if said {
				moved[o.Dated]++
			}
		}
	}
	if moved[true] == 0 || moved[false] == 0 {
		t.Errorf("moved, by whether there is a date still: %v", moved)
	}
}

func clockOf(t *testing.T, snap *schedule.Snapshot) schedule.Assessment {
	t.Helper()
	a, ok := snap.Clock(wearing)
	if !ok {
		t.Fatal("the wearing clock is gone")
	}
	return a
}
