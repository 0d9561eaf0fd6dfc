package web

import (
	"fmt"
	"math"
	"net/http"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"golang.org/x/net/html"

	"endshake/schedule"
	"endshake/wear"
)

func date(y int, m time.Month, d int) schedule.Date { return schedule.Date{Year: y, Month: m, Day: d} }

// cared is the fixture with all that can be known of a clock's care put into
// its assessments by hand: corn-hall is locked and past its wind.
func cared() *desk {
	d := wearingDesk()
	careFor(d)
	return d
}

func careFor(d *desk) {
	snap := *d.snap
	snap.Clocks = slices.Clone(snap.Clocks)
	for i := range snap.Clocks {
		a := &snap.Clocks[i]
		a.Tasks, a.Trains = slices.Clone(a.Tasks), slices.Clone(a.Trains)
		switch a.Clock.Slug {
		case "corn-hall":
			careOfHall(a)
		case "mill":
			a.Trains[0].Wind = schedule.WindState{Known: true, Left: 77 * time.Hour, Share: .4, Turns: 12.2, Stops: now.Add(77 * time.Hour),
				Early: now.Add(60 * time.Hour), Late: now.Add(95 * time.Hour), Spare: 25 * time.Hour}
			a.Clock.Care.Points = []schedule.OilPoint{{Code: "p1", Train: "going"}}
		}
	}
	d.snap = &snap
}

func careOfHall(a *schedule.Assessment) {
	c, f := 14.0, func(v float64) *float64 { return &v }
	a.Locks = []schedule.Lock{{Kind: schedule.DoNotRun, Since: date(2026, 11, 3), Why: "a strand of the strike line is broken", Entry: "e1"}}
	a.Flags = []string{"The entry of 3 May 1987 says stopped, and the clock stood already"}
	a.Trains[0].Wind = schedule.WindState{Known: true, Past: true, Stops: now.Add(-26 * time.Hour), Early: now.Add(-40 * time.Hour), Late: now.Add(-12 * time.Hour)}
	a.Oils = []schedule.OilState{{Policy: schedule.Policy{Risk: .1}, About: "going train", Kind: schedule.MineralOil, Since: date(2025, 5, 24), TopUps: 2,
		Median: 2.14, Risk: .234, ByRisk: date(2027, 2, 3), Found: schedule.OilDarkened, Residue: schedule.ResidueBlack,
		Factors: []string{"a dusty room halves it", "four inspections of this fleet lengthen it by a tenth"}}, {About: "strike train", Governs: "pallets", Since: date(2024, 1, 1), Ended: date(2026, 3, 2), Median: 2, Risk: .9}, {About: "chime train"}}
	a.Clock.Care.Points = []schedule.OilPoint{
		{Code: "c-front", Bearing: "centre-front", Train: "going", Oil: "light clock oil", Kind: schedule.MineralOil, Amount: "1 drop", Drops: 1, NoSink: true},
		{Code: "pallets", Name: "pallet faces", Kind: schedule.SyntheticOil, Amount: "a touch", Drops: .5, Fast: true, Room: schedule.DustyRoom},
		{Code: "wheels", Name: "teeth of the wheels", Dry: true, Why: "oil there holds the dust and grinds"}}
	a.Lines = []schedule.LineState{{Line: schedule.Line{Code: "strike", Train: "strike", Construction: "7x19", Material: "galvanized steel", Diameter: wear.FromMM(8), Source: "conservator"},
		FittedAt: date(2014, 6, 1), Windings: 612, Checked: date(2026, 11, 3), Check: &schedule.LineCheck{Wires6: 7, Wires30: 15, Diameter: wear.FromMM(7.2), Strand: true, Rust: "light, outside"},
		Note: "more broken wires than a crane's rope may have", Past: true, Replace: date(2029, 6, 1)}, {Line: schedule.Line{Code: "going", Train: "going"}}}
	a.Time = schedule.Timekeeping{Known: true, Rate: 2.13, SD: .31, Give: .6, Wander: .184, ErrorKnown: true, Error: 44.4, ErrorSD: 6.21, Tolerance: 60, Reached: date(2026, 12, 2), Early: date(2026, 11, 29),
		Sentence: "Gains about 2 s a day and is about 44 s fast.",
		Errors:   []schedule.ErrorSeen{{At: now.AddDate(0, 0, -20), Seconds: 0, Left: true}, {At: now.AddDate(0, 0, -9), Seconds: 720, Aside: true}, {At: now.AddDate(0, 0, -3), Seconds: 38.2}},
		Stretches: []schedule.Stretch{{From: now.AddDate(0, -2, 0), To: now.AddDate(0, 0, -20), Errors: 4, Rate: -1.26, SD: .04, Celsius: &c},
			{From: now.AddDate(0, 0, -20), To: now, Errors: 1}},
		Regulations: []schedule.Regulation{{At: now.AddDate(0, -2, 0), Turns: .25, Total: 1.5, On: -3, Expected: f(6.2), Brought: f(5.9)}, {At: now.AddDate(0, -1, 0), Grams: 2, Undone: true}},
		PerDegree:   &schedule.Coefficient{Value: -.42, SD: .11, Stretches: 9},
		Signs:       []schedule.Sign{{Since: date(2026, 9, 1), Words: "The arc has fallen by a tenth since it was cleaned."}}}
	a.Change = &schedule.ChangeState{At: time.Date(2027, 3, 28, 1, 0, 0, 0, time.UTC), On: date(2027, 3, 28), By: time.Hour, How: "put the hands on by an hour, letting it strike"}
	a.Clock.Care.Tolerance = &schedule.Tolerance{Seconds: 60, Source: "conservator"}
	care := schedule.Caution(schedule.Locked, a.Site, nil)
	change := schedule.Caution(schedule.TimeChange, a.Site, nil)
	a.Tasks = append([]schedule.Task{{Clock: a.Clock.Slug, Kind: schedule.Locked, Rank: schedule.Danger, State: schedule.Due, Due: date(2026, 11, 3), Reason: "locked: do not run",
		Evidence: "noted on 3 Nov 2026", Next: "Ask who put the lock on what they saw.", Minutes: 120, Caution: care, Confidence: "firm: somebody's word"}}, a.Tasks...)
	a.Tasks = append(a.Tasks, schedule.Task{Clock: a.Clock.Slug, Kind: schedule.TimeChange, Rank: schedule.Plain, State: schedule.Ahead, From: date(2027, 3, 25), Due: date(2027, 3, 28),
		Latest: date(2027, 3, 30), Reason: "summer time begins", Minutes: 60, Caution: change, People: []string{"tom"}})
}

// hall is corn-hall as cared for.
func hall(t *testing.T) schedule.Assessment {
	t.Helper()
	a, ok := cared().snap.Clock("corn-hall")
	if !ok {
		t.Fatal("corn-hall is gone")
	}
	return a
}

// pageText is the main part of a page without its markup.
func pageText(t *testing.T, h http.Handler, path string) string {
	t.Helper()
	res, body := get(t, h, path)
	if res.StatusCode != 200 {
		t.Fatalf("%s answers %d", path, res.StatusCode)
	}
	checkPage(t, path, body)
	for _, n := range nodes(t, body) {
		if n.Data == "main" {
			return apart(n)
		}
	}
	t.Fatalf("%s has no main part", path)
	return ""
}

func TestAClockPageSaysAllOfItsCare(t *testing.T) {
	s := siteOf(t, cared())
	text := pageText(t, s, "/clock/corn-hall")
	for _, want := range []string{
		"Locked: do not run Since 3 Nov 2026: a strand of the strike line is broken.", "until the lock is cleared by name", "Clear it, by name",
		"probably stopped", "past its run-down by what is logged it stopped about Tue 24 Nov 2026, 08:00, nine times in ten between Mon 23 Nov 2026, 18:00 and Tue 24 Nov 2026, 22:00, unless somebody wound it",
		"Gains about 2 s a day and is about 44 s fast.", "Error now 44 s fast, give or take 6.2 s.", "Held to To within 60 s (conservator).",
		"Its rate differs by about 0.18 s a day from month to month.", "12 min fast; does not fit the others, and is set aside",
		"−0.42 s a day for each °C more, give or take 0.11, from 9 stretches", "The arc has fallen by a tenth", "38 s fast", "right, as left", "loses 1.3 s a day, give or take 0.1", "14 °C", "too few errors, or too near in time, to tell",
		"+0.25 turns +1.5 turns, −3 g +6.2 s a day +5.9 s a day", "+2 g (taken back since)",
		"Going train, mineral oil 24 May 2025, 18 months ago; topped up 2 times since darkened, black: oil with metal in it 23 % 10 % on 3 Feb 2027",
		"Half of such oilings still do their work after 2.1 years.", "A dusty room halves it.", "Strike train 1 Jan 2024, 3 years ago not looked at past it: found so on 2 Mar 2026", "First to want oil is likely pallet faces. Half of such", "Chime train no oiling is logged not looked at not known",
		"3 places to go round, 1 of them to be kept dry; about 2 drops in all", "centre arbor, front washer c-front: 1 drop of light clock oil (mineral oil) No sink to hold the oil",
		"pallet faces pallets: a touch of synthetic oil Turns fast; dusty or birds", "teeth of the wheels wheels: keep dry, oil there holds the dust and grinds",
		"Line of the strike train 8 mm (0.315 in), 7x19, galvanized steel since 1 Jun 2014, 612 windings logged 3 Nov 2026 a strand broken; 7 broken wires in six diameters; 15 broken wires in thirty diameters; 7.2 mm (0.283 in) thick; rust: light, outside; 10 % thinner than new act more broken wires",
		"by 1 Jun 2029 (conservator)", "By analogy only", "Line of the going train 0 windings logged never",
		"On Sun 28 Mar 2027, 01:00, on its own wall, the hands are put on by 1 hour. to do Put the hands on by an hour, letting it strike.",
		"1 of the entries copied from old books does not fit the rest", "The entry of 3 May 1987",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	if lock, lede := strings.Index(text, "Locked: do not run"), strings.Index(text, hall(t).Status); lock < 0 || lock > lede {
		t.Errorf("the lock stands at %d, after the first sentence at %d", lock, lede)
	}
	// A clock of which nothing of that is known says so in one sentence, or not at all.
	text = pageText(t, s, "/clock/bell-house")
	for _, no := range []string{"Locked:", "Oil map", "Old books", "By analogy only"} {
		if strings.Contains(text, no) {
			t.Errorf("a clock without it says %q", no)
		}
	}
	if !strings.Contains(text, "Nothing tells how well it keeps time") {
		t.Error("a clock without errors does not say that nothing tells")
	}
}

func TestWindInWords(t *testing.T) {
	a := schedule.Assessment{Zone: time.UTC, Now: now}
	hand := func(w schedule.WindState) schedule.TrainState {
		return schedule.TrainState{Train: wear.Train{Drive: wear.HandWound}, Wind: w, Going: true}
	}
	in := func(h float64) time.Time { return now.Add(time.Duration(h * float64(time.Hour))) }
	for _, tc := range []struct {
		state      schedule.TrainState
		left, more string
	}{
		{schedule.TrainState{Train: wear.Train{Drive: wear.AutoWound}}, "wound by a motor", ""},
		{schedule.TrainState{Train: wear.Train{Drive: wear.Electric}}, "no weight to wind", ""},
		{hand(schedule.WindState{}), "no full wind is logged", ""},
		{hand(schedule.WindState{Known: true, Left: 76800 * time.Second, Share: math.NaN(), Turns: math.Inf(1)}), "21 hours left", ""},
		{hand(schedule.WindState{Known: true, Left: 76 * time.Hour, Share: .4, Turns: 12.2, Stops: in(76), Early: in(60), Late: in(92), Spare: 25 * time.Hour}),
			"3.2 days left (40 % of a full wind, about 12 turns of the barrel)",
			"stops about Sat 28 Nov 2026, 14:00, nine times in ten between Fri 27 Nov 2026, 22:00 and Sun 29 Nov 2026, 06:00; a day to spare after its winding falls due"},
		{hand(schedule.WindState{Known: true, Left: 40 * time.Minute, Stops: in(.67), Spare: time.Minute}), "40 minutes left", "stops about Wed 25 Nov 2026, 10:40; hardly anything to spare after its winding falls due"},
		{hand(schedule.WindState{Known: true, Left: 0, Stops: now, Early: in(1), Late: in(-1), Spare: -time.Hour}), "0 minutes left", "stops about Wed 25 Nov 2026, 10:00; it stops before its winding falls due"},
		{hand(schedule.WindState{Past: true}), "past its run-down", "by what is logged it has stopped, unless somebody wound it and did not write it down"},
		{schedule.TrainState{Train: wear.Train{Drive: wear.HandWound}, Going: true, Wind: schedule.WindState{Known: true, Stops: in(-2), Lost: "wound in part today: how much is not logged"}},
			"how much is left is not known", "wound in part today: how much is not logged"},
		{schedule.TrainState{Train: wear.Train{Drive: wear.HandWound}, WoundAt: in(-50), RunsDown: in(-2)}, "wound 23 Nov 2026", "will have run down about Wed 25 Nov 2026, 08:00"},
	} {
		if left, more := windWords(a, tc.state); left != tc.left || more != tc.more {
			t.Errorf("%+v: %q, %q", tc.state.Wind, left, more)
		}
	}
}

// A train that strikes speaks in the strokes that its bearings wear by, a day and
// in all: hours alone on a 12-hour rack are 2 x (1 + ... + 12) = 156 blows a day.
func TestATrainSpeaksInItsOwnCounter(t *testing.T) {
	run := wear.Exposure{Likely: 2400, Lower: 2160, Upper: 2640} // 100 days, give or take 10
	for _, tc := range []struct {
		train     wear.Train
		run, duty string
	}{
		{wear.Train{Kind: wear.Going}, "2,400 h, for certain between 2,160 and 2,640 h", "12.0 h a day"},
		{wear.Train{Kind: wear.Strike, StrokesPerDay: 156}, "15,600 strokes, for certain between 14,040 and 17,160 strokes", "78 strokes a day"},
		{wear.Train{Kind: wear.Chime, StrokesPerDay: 960}, "96,000 strokes, for certain between 86,400 and 105,600 strokes", "480 strokes a day"},
		{wear.Train{Kind: wear.Strike}, "2,400 h, for certain between 2,160 and 2,640 h", "12.0 h a day"}, // nothing tells how often it strikes
	} {
		l := newTrainLine(schedule.Assessment{Zone: time.UTC, Now: now}, schedule.TrainState{Train: tc.train, RunHours: run, PerDay: 12})
		if l.Run != tc.run || l.Duty != tc.duty {
			t.Errorf("%s: %q, %q; want %q, %q", tc.train.Kind, l.Run, l.Duty, tc.run, tc.duty)
		}
	}
}

func TestStandingOfClocks(t *testing.T) {
	going, strike := wear.Train{Code: "g", Kind: wear.Going}, wear.Train{Code: "s", Kind: wear.Strike}
	past := schedule.WindState{Past: true}
	for _, tc := range []struct {
		a            schedule.Assessment
		want, locked string
	}{
		{schedule.Assessment{Going: true}, "going", ""},
		{schedule.Assessment{}, "going", ""}, // no train is described
		{schedule.Assessment{Trains: []schedule.TrainState{{Train: going}}}, "stopped", ""},
		{schedule.Assessment{Resting: true, Back: date(2027, 4, 1)}, "resting until 1 Apr 2027", ""},
		{schedule.Assessment{Clock: schedule.Clock{Trains: []wear.Train{going, strike}}, Trains: []schedule.TrainState{{Train: going, Wind: past}}}, "probably stopped", ""},
		{schedule.Assessment{Going: true, Clock: schedule.Clock{Trains: []wear.Train{going, strike}}, Trains: []schedule.TrainState{{Train: strike, Wind: past}}}, "going", ""}, // it strikes no more, and goes
		{schedule.Assessment{Clock: schedule.Clock{Trains: []wear.Train{strike}}, Trains: []schedule.TrainState{{Train: strike, Wind: past}}}, "probably stopped", ""},
		{schedule.Assessment{Going: true, Tasks: []schedule.Task{{Kind: schedule.PowerCheck, Rank: schedule.MayHaveStopped}}}, "not known since the power cut", ""},
		{schedule.Assessment{Going: true, Tasks: []schedule.Task{{Kind: schedule.PowerCheck, Rank: schedule.MayHaveStopped, About: "strike train"}}}, "going, unless the power cut stopped the strike train", ""},
		{schedule.Assessment{Going: true, Tasks: []schedule.Task{{Kind: schedule.Winding, Rank: schedule.MayHaveStopped, About: "strike train"}, {Kind: schedule.Winding, Rank: schedule.StopsSoon, About: "going train"}}}, "going; strike train run down, perhaps", ""},
		{schedule.Assessment{Tasks: []schedule.Task{{Kind: schedule.PowerCheck, Rank: schedule.MayHaveStopped}}}, "probably stopped", ""},
		{schedule.Assessment{Going: true, Locks: []schedule.Lock{{Kind: schedule.DoNotRun}, {Kind: schedule.DoNotEnter}}}, "going", "locked: do not run and do not enter"},
	} {
		if got, locked := standing(tc.a), lockWords(tc.a); got != tc.want || locked != tc.locked {
			t.Errorf("%q, %q; want %q, %q", got, locked, tc.want, tc.locked)
		}
	}
	text := pageText(t, siteOf(t, cared()), "/")
	for _, want := range []string{"1 clock is locked: Corn Hall clock.", "1 clock has probably run down: Corn Hall clock.", "probably stopped; locked: do not run", "danger Lock"} {
		if !strings.Contains(strings.ReplaceAll(text, "danger lock", "danger Lock"), want) {
			t.Errorf("the fleet does not say %q", want)
		}
	}
}

// apart is the text of an element with its parts kept apart.
func apart(n *html.Node) string {
	var parts []string
	for c := range n.Descendants() {
		if c.Type == html.TextNode {
			parts = append(parts, strings.Fields(c.Data)...)
		}
	}
	return strings.NewReplacer(" ,", ",", " .", ".", " ;", ";", " :", ":").Replace(strings.Join(parts, " "))
}

// section gives the text of every section of a page by its heading.
func sections(t *testing.T, body string) (heads []string, texts map[string]string) {
	t.Helper()
	texts = map[string]string{}
	for _, n := range nodes(t, body) {
		if n.Data != "section" {
			continue
		}
		for c := range n.Descendants() {
			if c.Type == html.ElementNode && c.Data == "h2" {
				heads = append(heads, textOf(c))
				texts[textOf(c)] = textOf(n)
				break
			}
		}
	}
	return heads, texts
}

func TestDueStandsUnderItsHeadings(t *testing.T) {
	d := cared()
	for i := range d.snap.Clocks {
		if a := &d.snap.Clocks[i]; a.Clock.Slug == "mill" {
			for j, x := range []struct {
				rank  schedule.Rank
				state schedule.TaskState
			}{{schedule.StopsSoon, schedule.Due}, {schedule.AtLimit, schedule.Late}, {schedule.PastItsDay, schedule.Late}, {schedule.Plain, schedule.Due}, {schedule.Plain, schedule.Open}, {schedule.Plain, schedule.Resting}} {
				a.Tasks = append(a.Tasks, schedule.Task{Clock: "mill", Kind: schedule.Seasonal, About: fmt.Sprint("lamp ", j), Rank: x.rank, State: x.state, Due: date(2026, 11, 20),
					Latest: date(2026, 11, 22), From: date(2026, 11, 1), Reason: "r", Caution: "Isolate. Local rules and licensed people decide.", Evidence: "the fleet file", Next: "ask the sexton", Minutes: 90})
			}
		}
	}
	s := siteOf(t, d)
	_, body := get(t, s, "/due")
	checkPage(t, "/due", body)
	heads, texts := sections(t, body)
	var order []string
	for _, h := range heads {
		order = append(order, strings.Fields(h)[0])
	}
	want := "Danger May Stops To At Late Due Open Ahead Resting Cautions"
	if got := strings.Join(order, " "); got != want {
		t.Errorf("the headings are %s, want %s", got, want)
	}
	if got := texts[heads[0]]; !strings.Contains(heads[0], "1 task: something may hurt somebody") ||
		!strings.Contains(got, "Nobody is named for it. First step. Ask who put the lock on what they saw.") || !strings.Contains(got, "Takes about 2 hours.") || !strings.Contains(got, "Rests on: Noted on 3 Nov 2026. How sure: Firm: somebody's word.") {
		t.Errorf("under %q stands %s", heads[0], got)
	}
	if got := texts[heads[1]]; !strings.Contains(got, "Winding of the strike train") || strings.Contains(got, "the clock stops within days") {
		t.Errorf("what may have stopped is %s", got)
	}
	if got := texts[heads[2]]; !strings.Contains(got, "Lamp 0") || !strings.Contains(got, "Ask the sexton.") || !strings.Contains(got, "Takes about 1.5 hours.") {
		t.Errorf("what stops soon is %s", got)
	}
	for _, link := range []string{"/outlook", "/timechange"} {
		if !slices.Contains(links(t, "/due", body), link) {
			t.Errorf("Due does not lead to %s", link)
		}
	}
}

// On paper a caution that comes again stands once, and its number with each
// task; that of dangerous work stands with the task there too.
func TestCautionsOnPaper(t *testing.T) {
	_, body := get(t, siteOf(t, cared()), "/due")
	var foot []string
	for _, n := range nodes(t, body) {
		if class, _ := attr(n, "class"); n.Data == "section" && class == "paper" {
			for c := range n.Descendants() {
				if c.Type == html.ElementNode && c.Data == "li" {
					foot = append(foot, textOf(c))
				}
			}
		}
	}
	if len(foot) == 0 {
		t.Fatal("no caution is numbered")
	}
	seen := map[string]bool{}
	for _, f := range foot {
		if seen[f] || !strings.HasSuffix(f, "Local rules and licensed people decide.") {
			t.Errorf("at the foot stands twice or cut short: %s", f)
		}
		seen[f] = true
	}
	full, short := 0, 0
	stands := map[string]string{} // by the place of the task
	for _, n := range nodes(t, body) {
		if class, _ := attr(n, "class"); n.Data != "li" || class != "task" {
			continue
		}
		text := textOf(n)
		var own, number string
		id, _ := attr(n, "id")
		for c := range n.Descendants() {
			class := strings.Fields(func() string { v, _ := attr(c, "class"); return v }())
			switch {
			case slices.Contains(class, "caution"):
				own = strings.TrimPrefix(textOf(c), "Caution. ")
				if strings.HasPrefix(own, "As for the ") {
					for a := range c.Descendants() {
						if to, ok := attr(a, "href"); ok {
							own = stands[strings.TrimPrefix(to, "#")]
						}
					}
				}
				stands[id] = own
				if slices.Contains(class, "numbered") != seen[own] {
					t.Errorf("%s: %q", class, own)
				}
			case slices.Contains(class, "paper"):
				number = textOf(c)
			}
		}
		i := slices.Index(foot, own)
		switch {
		case own == "":
			t.Errorf("no caution stands with %s", text)
		case i >= 0 && number != fmt.Sprintf("Caution %d, at the foot of this list. Local rules and licensed people decide.", i+1):
			t.Errorf("%q is number %d, and the task says %q", own, i+1, number)
		case i >= 0:
			short++
		default:
			full++
		}
		for _, danger := range []string{" Lock ", "Work on the", "line inspection", "New line"} {
			if strings.Contains(text[:min(60, len(text))], danger) && number != "" {
				t.Errorf("dangerous work names only a number: %s", text)
			}
		}
	}
	if full == 0 || short == 0 {
		t.Errorf("%d cautions stand in full on paper and %d by number: want both", full, short)
	}
}

// On a page the same caution stands once for each clock, whole, and folded after
// its first words but for dangerous work: its beginning and its rest are all of it.
func TestCautionsStandOnce(t *testing.T) {
	here := "Low beam. Never stand under a weight. Local rules and licensed people decide."
	long := "Do not wind while it strikes or is about to; see that the click holds before you let go; keep clear of the handle and of the fly. " + here
	task := func(kind schedule.TaskKind, about string, rank schedule.Rank, caution string) taskLine {
		return taskLine{Task: schedule.Task{Clock: "a", Kind: kind, About: about, Rank: rank, Caution: caution}}
	}
	lists := [][]taskLine{{task(schedule.Winding, "going train", schedule.Plain, long), task(schedule.Locked, "", schedule.Danger, long),
		task(schedule.LineLook, "line", schedule.Plain, long), task(schedule.Oiling, "", schedule.Plain, "A drop, not a flood.")},
		{task(schedule.Winding, "strike train", schedule.PastItsDay, long)}}
	other := task(schedule.Winding, "going train", schedule.Plain, long)
	other.Clock = "b"
	locked := task(schedule.Winding, "chime train", schedule.Plain, long)
	locked.locked = true
	lists[1] = append(lists[1], other, locked)
	newTaskLists(lists)
	for i, want := range []struct {
		t            *taskLine
		folded, like bool
	}{{&lists[0][0], true, false}, {&lists[0][1], false, false}, {&lists[0][2], false, false}, {&lists[0][3], false, false},
		{&lists[1][0], false, true}, {&lists[1][1], true, false}, {&lists[1][2], false, false}} {
		w := want.t.Warn
		if (w.Rest != "") != want.folded || (w.Like != "") != want.like {
			t.Errorf("%d: %+v", i, w)
		}
		if got := strings.TrimSpace(w.First + " " + w.Rest); got != want.t.Caution {
			t.Errorf("%d: it says %q, want %q", i, got, want.t.Caution)
		}
	}
	if w := lists[1][0].Warn; w.LikeID != lists[0][0].ID || w.Like != "winding of the going train" {
		t.Errorf("it points to %+v", w)
	}
	if got := ownCaution("Mind the fly. "+here, here); got != "Mind the fly. Local rules and licensed people decide." {
		t.Errorf("what is the task's own is %q", got)
	}
	if got := ownCaution("Mind the fly.", here); got != "Mind the fly." {
		t.Errorf("without what holds there it is %q", got)
	}
}

func TestChangeOfTime(t *testing.T) {
	d := wearingDesk()
	// mill is ticked off and corn-hall was found right since; bell-house is still to do.
	d.f.add(30, schedule.Entry{Clock: "mill", Kind: schedule.Set, By: "tom", Detail: schedule.Detail{Change: date(2026, 10, 25)}})
	d.snap = d.f.snapshot()
	s := siteOf(t, d)
	list := d.snap.ChangeList(date(2026, 10, 25))
	open := fmt.Sprintf("It is still to be done at %d of 3 clocks.", list.Open())
	text := pageText(t, s, "/timechange")
	for _, want := range []string{"On Sunday 25 October 2026 the time goes back by 1 hour. Stop a clock for as long, or put its hands on round the dial, as stands with it: never force hands back. " + open, "Done at 2 clocks Corn Hall clock Old Mill clock The next after this: 1 Nov 2026.", "It is still to be done at 1 of 3 clocks.", "☐ to do Bell House clock",
		"Corn Hall Market square of Osmery. Access: Key at the porter's desk", "For Tom Barleymow.", "Caution.", "Local rules and licensed people decide.",
		"Quay post clock on ", `Without a change of time ahead: <script>alert(1)</script> & "clock".`} {
		if !strings.Contains(text, want) {
			t.Errorf("the list does not say %q: %s", want, text)
		}
	}
	for _, site := range list.Sites {
		for _, c := range site.Clocks {
			if !c.Done && !c.Rests && !strings.Contains(text, c.How) {
				t.Errorf("the list does not say how %s is done: %s", c.Name, c.How)
			}
		}
	}
	_, body := get(t, s, "/timechange")
	all := links(t, "/timechange", body)
	if tick := "/clock/%s/log?change=2026-10-25&kind=set"; !slices.Contains(all, fmt.Sprintf(tick, "bell-house")) || slices.Contains(all, fmt.Sprintf(tick, "corn-hall")) || slices.Contains(all, fmt.Sprintf(tick, "mill")) {
		t.Errorf("the ticks lead to %q", all)
	}
	// A day asked for shows the list of its weekend.
	for path, want := range map[string]string{"/timechange?day=2027-03-14": "On Sunday 14 March 2027 the hands are put on by 1 hour.", "/timechange?day=2027-07-01": "No clock of this fleet changes between 29 Jun 2027 and 5 Jul 2027.",
		"/timechange?day=": "On Sunday 25 October 2026"} {
		if text := pageText(t, s, path); !strings.Contains(text, want) {
			t.Errorf("%s does not say %q: %s", path, want, text)
		}
	}
	for day, want := range map[string]string{"x": `The day "x" is not understood: write it as year-month-day, like 2026-11-25.`,
		"2026-02-30": `The day "2026-02-30" is not understood`, "9999-12-31": "The changes of time of the year 9999 are not known: ask for a day within 50 years of today.",
		"0001-01-01": "of the year 1 are not known", strings.Repeat("9", 5000): "is not understood"} {
		if res, body := get(t, s, "/timechange?day="+day); res.StatusCode != 422 || !strings.Contains(strings.ReplaceAll(body, "&#34;", `"`), want) {
			t.Errorf("day %.20s answers %d: %.1500s", day, res.StatusCode, body)
		}
	}
	d.snap = &schedule.Snapshot{Now: now}
	for _, path := range []string{"/", "/timechange", "/outlook"} {
		if text := pageText(t, siteOf(t, d), path); !strings.Contains(text, "no clock in care yet.") || !strings.Contains(text, "endshake fleet load fleet.json") || strings.Contains(text, "Month by month") {
			t.Errorf("an empty fleet says %s at %s", text, path)
		}
	}
	for by, want := range map[time.Duration]string{time.Hour: "the hands are put on by 1 hour", -30 * time.Minute: "the time goes back by 30 minutes", 2 * time.Hour: "the hands are put on by 2 hours"} {
		if got := moved(by); got != want {
			t.Errorf("%v: %q, want %q", by, got, want)
		}
	}
}

func TestOutlook(t *testing.T) {
	y := schedule.YearAhead{From: date(2026, 11, 25), Until: date(2027, 11, 25), Months: []schedule.MonthWork{
		{Month: date(2026, 11, 1), Visits: 2, Hours: 3.25, Climbs: 1200, WindHours: 300, Drops: 13.2, Works: [3]float64{0, 1.26, 3}, WorkHours: [3]float64{0, 10.1, 24}, Parts: []string{"a"}},
		{Month: date(2026, 12, 1), Hours: math.NaN(), Works: [3]float64{0, .01, 0}, WorkHours: [3]float64{0, .08, 0}},
		{Month: date(2027, 1, 1), Works: [3]float64{0, .12, 0}, WorkHours: [3]float64{0, .96, 0}}, {Month: date(2027, 2, 1), Works: [3]float64{0, .04, 1}}},
		Total: schedule.MonthWork{Visits: 2, Hours: 3.25, Climbs: 1200, Tasks: map[schedule.TaskKind]int{schedule.Oiling: 2, schedule.Inspection: 1}, Parts: []string{"Corn Hall clock: new line"}}}
	page := newOutlookPage(y)
	if got, want := page.Months[0], (monthLine{"25 to 30 Nov 2026", "2", "3.2", "1,200", "300", "14", "1.3 (0 to 3)", "10.1 (0 to 24)", "1"}); got != want {
		t.Errorf("%+v, want %+v", got, want)
	}
	if got, want := page.Months[1], (monthLine{Month: "December 2026"}); got != want {
		t.Errorf("a month with nothing is %+v", got)
	}
	if a, b := page.Months[2], page.Months[3]; a.Works != "" || a.WorkHours != "" || b.Works != "0 (0 to 1)" {
		t.Errorf("months with little are %+v and %+v", a, b)
	}
	if want := []pair{{"oiling", "2 times"}, {"inspection", "1 time"}}; !reflect.DeepEqual(page.Kinds, want) {
		t.Errorf("%+v", page.Kinds)
	}
	// The sentence has the figures of the table: 3.2 hours, not 3; and winding
	// counts as a climb.
	for lede, total := range map[string]schedule.MonthWork{
		"The twelve months from 25 Nov 2026 ask for 2 visits and 3.2 hours of work on the clocks, beside 1,200 climbs to wind. No bearing is likely to come to its limit.": y.Total,
		"The twelve months from 25 Nov 2026 ask for 1 visit and 1 hour of work on the clocks, beside 1 climb to wind, 1.5 hours in all. Wear adds work on about 1.3 bearings, 10.1 hours of it (between 0 and 24).": {
			Visits: 1, Hours: 1, Climbs: 1, WindHours: 1.5, Works: [3]float64{0, 1.26, 3}, WorkHours: [3]float64{0, 10.1, 24}},
		"The twelve months from 25 Nov 2026 ask for 0 visits and hardly any hours of work on the clocks. No bearing is likely to come to its limit.": {Hours: math.NaN()},
	} {
		if got := outlookLede(schedule.YearAhead{From: y.From, Total: total}); got != lede {
			t.Errorf("%q, want %q", got, lede)
		}
	}
	d := cared()
	text := pageText(t, siteOf(t, d), "/outlook")
	year := d.snap.YearAhead()
	for _, want := range []string{outlookLede(year), newMonthLine(year.Total).WindHours, "The twelve months", "25 to 30 Nov 2026", "Winding"} {
		if want != "Winding" && !strings.Contains(text, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	if n := strings.Count(text, "2026") + strings.Count(text, "2027"); n < len(year.Months) {
		t.Errorf("%d months stand on the page, want %d", n, len(year.Months))
	}
	d.snap = &schedule.Snapshot{Now: now}
	pageText(t, siteOf(t, d), "/outlook")
}

// Figures that are none, and states that are empty, are said in words.
func TestCareSurvivesAnything(t *testing.T) {
	d := cared()
	nan, inf := math.NaN(), math.Inf(1)
	for i := range d.snap.Clocks {
		a := &d.snap.Clocks[i]
		a.Locks = []schedule.Lock{{}}
		a.Oils = []schedule.OilState{{Median: nan, Risk: nan, Since: date(1, 1, 1)}, {Median: inf, Risk: -3, Since: date(9999, 12, 31), ByRisk: date(9999, 12, 31)}}
		a.Lines = []schedule.LineState{{}, {Check: &schedule.LineCheck{Diameter: 1}, Replace: date(9999, 1, 1)}}
		a.Time = schedule.Timekeeping{Known: true, Rate: nan, SD: inf, Give: nan, Wander: inf, ErrorKnown: true, Error: -inf, ErrorSD: nan, Tolerance: nan, Errors: []schedule.ErrorSeen{{Seconds: nan}},
			Stretches: []schedule.Stretch{{SD: inf, Rate: nan, Celsius: &nan}}, Regulations: []schedule.Regulation{{Turns: nan, Expected: &inf, Brought: &nan}},
			PerDegree: &schedule.Coefficient{Value: nan, SD: nan}, Signs: []schedule.Sign{{}}}
		a.Change = &schedule.ChangeState{}
		a.Flags = []string{""}
		a.Clock.Care.Points = []schedule.OilPoint{{}, {Drops: nan}, {Dry: true}}
		for j := range a.Trains {
			a.Trains[j].Wind = schedule.WindState{Known: true, Left: -time.Hour, Share: nan, Turns: inf, Stops: time.Time{}.AddDate(9000, 0, 0), Spare: math.MinInt64}
		}
	}
	s := siteOf(t, d)
	for _, path := range []string{"/", "/due", "/timechange", "/outlook", "/clock/corn-hall", "/clock/quay"} {
		if text := pageText(t, s, path); strings.Contains(text, "NaN") || strings.Contains(text, "Inf") {
			t.Errorf("%s prints a figure that is none: %s", path, text)
		}
	}
}

// Whoever is about to log on a locked clock is told so on the form.
func TestTheFormOfALockedClock(t *testing.T) {
	s := siteOf(t, cared())
	for _, kind := range []string{"", "?kind=wound", "?kind=set&change=2027-03-28"} {
		if text := pageText(t, s, "/clock/corn-hall/log"+kind); !strings.Contains(text, "Locked: do not run Why, and since when") {
			t.Errorf("the form %q does not say that the clock is locked", kind)
		}
	}
	if text := pageText(t, s, "/clock/mill/log?kind=wound"); strings.Contains(text, "Locked") {
		t.Error("a clock that is not locked says so")
	}
}

// Where nobody noted how warm the room was, there is no column for it.
func TestNoEmptyColumn(t *testing.T) {
	for _, noted := range []bool{true, false} {
		d := cared()
		a := &d.snap.Clocks[slices.IndexFunc(d.snap.Clocks, func(a schedule.Assessment) bool { return a.Clock.Slug == "corn-hall" })]
		if !noted {
			a.Time.Stretches = slices.Clone(a.Time.Stretches)
			for i := range a.Time.Stretches {
				a.Time.Stretches[i].Celsius = nil
			}
		}
		text := pageText(t, siteOf(t, d), "/clock/corn-hall")
		if strings.Contains(text, "Errors Room") != noted || strings.Contains(text, "not noted") != noted {
			t.Errorf("noted %v: %s", noted, text)
		}
	}
}
