package schedule

import (
	"slices"
	"strings"
	"testing"

	"endshake/wear"
)

// kitFleet is a clock at a site with keys, whose oiling, measuring and old line fall
// on one day, and another there that is inspected.
func kitFleet() (*Snapshot, Rounds) {
	c, other := pump(), bare("mill")
	c.Cautions, c.Policies = []Hazard{Height}, []Policy{{Task: Oiling, Days: 180, Source: "x"}, {Task: Measuring, Days: 365, Source: "x"}}
	c.Care.Points = []OilPoint{
		{Code: "front", Train: "going", Oil: "fine clock oil", Drops: 1.5}, {Code: "back", Train: "going", Oil: "fine clock oil", Drops: 2},
		{Code: "fly", Train: "strike", Oil: "heavy oil"}, {Code: "clutch", Dry: true, Why: "it must grip"},
	}
	c.Care.Lines = []Line{{Code: "rope", Train: "going", Construction: "7x19", Diameter: mm(6), FittedAt: d("2017-03-01"), MostYears: 10, Source: "x"}}
	other.Cautions, other.Policies = []Hazard{Height}, []Policy{{Task: Inspection, Days: 182, Source: "x"}}
	f := fleetOf("Europe/London", c, other)
	f.Sites[0].Reach = Reach{Keys: "the lodge", Permit: "ask the warden", Lift: "hoist on the second floor"}
	f.People[2].Going = Going{Days: Week, From: 7 * 60, To: 20 * 60}
	f.Clocks[0].Duties = []Duty{{"cleo", Conservator}, {"ben", Winder}}
	f.Clocks[1].Duties = f.Clocks[0].Duties
	read := did(Measured, "2026-01-15 10:00", gave(.20), func(e *Entry) { e.Reading.Instrument = "the dial gauge no. 3" })
	log := map[string][]Entry{
		"pump-room": book(did(Oiled, "2026-08-20 10:00"), read, did(Set, "2026-10-25 12:00", func(e *Entry) { e.Change, e.ErrorFound = d("2026-10-25"), ptr(-44.0) })),
		"mill":      book(did(Inspected, "2026-08-20 10:00"), did(Set, "2026-10-25 12:00", func(e *Entry) { e.Change = d("2026-10-25") })),
	}
	s := Survey(f, log, Model{}, utc("2027-03-01 07:00"))
	return s, s.Rounds(RoundAsk{Months: 1}, s.Now)
}

func ptr[T any](v T) *T { return &v }

// What a day takes along, worked out by hand from the clock's description.
func TestKit(t *testing.T) {
	s, r := kitFleet()
	i := slices.IndexFunc(r.Days, func(day RoundDay) bool { return len(day.Stops) > 0 && len(day.Stops[0].Tasks) >= 4 })
	if i < 0 {
		t.Fatal(r.Text(s))
	}
	k := r.Kit(s, i)
	// Two points of 1.5 and 2 drops of the one oil, one point of the other that does
	// not say how much; the clutch stays dry.
	want := []KitOil{{Oil: "fine clock oil", Drops: 3.5, Points: 2, For: []string{"Pump Room"}}, {Oil: "heavy oil", Points: 1, Some: true, For: []string{"Pump Room"}}}
	if !slices.EqualFunc(k.Oils, want, func(a, b KitOil) bool {
		return a.Oil == b.Oil && a.Drops == b.Drops && a.Points == b.Points && a.Some == b.Some && slices.Equal(a.For, b.For)
	}) {
		t.Errorf("%+v", k.Oils)
	}
	if k.Oils[0].Words() != "2 points, 3.5 drops of fine clock oil" || k.Oils[1].Words() != "1 point, of heavy oil" {
		t.Errorf("%q, %q", k.Oils[0].Words(), k.Oils[1].Words())
	}
	text := k.Text()
	for _, want := range []string{
		"7x19, 6 mm (0.236 in) in diameter; measure its length before it is ordered (Pump Room)", "the dial gauge no. 3, as last time", "the lodge (Pump Yard)",
		"ask the warden (Pump Yard)", "if the work is up there: hoist on the second floor (Pump Yard)", "Ben Birchow comes along (Pump Yard)",
		"last 0.20 mm (7.9 thou) on 15 Jan 2026; watch from 0.25 mm (9.8 thou); act at 0.35 mm (13.8 thou)",
		"Must stay dry: clutch, because it must grip.", "dial: found 44 s slow on 25 Oct 2026", "At Pump Yard: Loose boards on the second floor.",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in\n%s", want, text)
		}
	}
	if len(k.Sheets) != 2 || k.Sheets[0].Clock == k.Sheets[1].Clock {
		t.Errorf("%d sheets", len(k.Sheets))
	}
}

// Each caution is said once, whichever tasks and clocks it is of; each sheet gives
// the numbers of all that its tasks carry, so that nothing of a task's own caution is
// lost; and local rules have the last word.
func TestKitCautions(t *testing.T) {
	s, r := kitFleet()
	for i := range r.Days {
		k := r.Kit(s, i)
		if last := k.Cautions[len(k.Cautions)-1]; last != deferral {
			t.Errorf("it ends with %q", last)
		}
		seen := map[string]bool{}
		for _, c := range k.Cautions {
			if seen[c] {
				t.Errorf("said twice: %s", c)
			}
			seen[c] = true
		}
		for _, sheet := range k.Sheets {
			said := deferral
			for _, n := range sheet.Cautions {
				said += " " + k.Cautions[n-1]
			}
			for _, task := range sheet.Tasks {
				for _, part := range strings.SplitAfter(task.Caution, ".") {
					if part = strings.TrimSpace(part); !strings.Contains(said, part) {
						t.Errorf("%s, %s: %q is not said", sheet.Name, task.What(), part)
					}
				}
			}
			if len(sheet.Cautions) == 0 || len(sheet.Fields) == 0 {
				t.Errorf("%+v", sheet)
			}
		}
	}
	if k := r.Kit(s, -1); !k.Day.IsZero() || k.Text() != "There is no such day.\n" {
		t.Errorf("%+v", k)
	}
	if k := r.Kit(s, len(r.Days)); !k.Day.IsZero() {
		t.Errorf("%+v", k)
	}
}

// What a worn bearing's work takes, by its description.
func TestKitParts(t *testing.T) {
	o := Outlook{Bearing: bush(), Arbor: wear.Arbor{Name: "centre arbor"}}
	if got := o.part(); got != "New bush for the centre arbor, front bush, steel on brass, for a pivot of 10 mm (0.394 in), 12 mm (0.472 in) long" {
		t.Error(got)
	}
	o.Bearing.Form, o.Bearing.Outer, o.Bearing.Inner, o.Bearing.Pair = wear.ThrustFace, mm(30), mm(12), ""
	if got := o.part(); got != "New washer or face for the centre arbor, front bush, 30 mm (1.181 in) outside, 12 mm (0.472 in) inside" {
		t.Error(got)
	}
	if got := (Line{Code: "rope", Train: "going"}).part(); got != "Line rope of the going train: its diameter is not described; measure it and its length before it is ordered" {
		t.Error(got)
	}
}

// What measures several bearings takes the gauges of those, though another of the same
// name is there and however its reason is worded, and so it does the next time; what
// is of one takes that one's, and what is of none takes all.
func TestKitReads(t *testing.T) {
	c := ten(Policy{Task: Measuring, Days: 365, Lead: 45, Grace: 60, Source: "x"})
	c.InCare = d("2020-01-01")
	for i := range c.Trains[0].Arbors {
		c.Trains[0].Arbors[i].Bearings[0].Name = "bush"
	}
	days := slices.Repeat([]string{"2024-05-01"}, 10)
	days[2], days[3] = "2024-09-01", "2024-09-02" // in another season, as in TestMeasuringVisits
	a := assess(c, book(flat(days...)...), "2025-01-15")
	read := func(t Task) string {
		var codes []string
		for i := range a.Outlooks {
			if code := a.Outlooks[i].Bearing.Code; t.reads(code) {
				codes = append(codes, code)
			}
		}
		slices.Sort(codes)
		return strings.Join(codes, " ")
	}
	first, second := taskOf(t, a, Measuring, ""), taskOf(t, a, Measuring, "b2")
	const all = "b0 b1 b2 b3 b4 b5 b6 b7 b8 b9"
	for _, tt := range []struct {
		name string
		task Task
		want string
	}{
		{"eight together", first, "b0 b1 b4 b5 b6 b7 b8 b9"},
		{"two together", second, "b2 b3"},
		{"the next time", second.on(d("2026-09-01"), d("2026-09-01"), d("2026-10-01"), everyAgain(365)), "b2 b3"},
		{"one", Task{Kind: Measuring, Subject: "b3"}, "b3"},
		{"one that is called as a train", Task{Kind: Measuring, Subject: "bearing/b3"}, "b3"},
		{"of none", Task{Kind: Measuring}, all},
		{"no measuring", Task{Kind: Oiling}, ""},
	} {
		if got := read(tt.task); got != tt.want {
			t.Errorf("%s: %q, want %q", tt.name, got, tt.want)
		}
	}
	// A new answer that takes over what it can asks for the same ones.
	again := Assess(Facts{Clock: c, Site: a.Site, Entries: a.Entries, Before: &a}, a.Now)
	if got := taskOf(t, again, Measuring, "b2"); !slices.Equal(got.bearings, second.bearings) {
		t.Errorf("again: %v, want %v", got.bearings, second.bearings)
	}
}

// The list says how much of an oil a point takes as the clock's own sheet does.
func TestKitOilWords(t *testing.T) {
	k := packing{}
	for _, p := range []OilPoint{{Oil: "grease", Amount: "a smear", Drops: 1}, {Oil: "light", Drops: 1}, {Oil: "mixed", Amount: "2 drops", Drops: 2},
		{Oil: "mixed", Amount: "a smear", Drops: 1}, {Oil: "mixed", Amount: "a smear"}, {Oil: "some", Drops: 2}, {Oil: "some"}} {
		k.bottle(&p, "x")
	}
	k.bottle(nil, "x")
	want := []string{"1 point, a smear of grease", "1 point, 1 drop of light", "3 points, 2 drops and a smear (2 times) of mixed", "2 points, at least 2 drops of some",
		"oil as the clock has it: no oil map is described"}
	for i, o := range k.Oils {
		if i >= len(want) || o.Words() != want[i] {
			t.Errorf("%q", o.Words())
		}
	}
	if len(k.Oils) != len(want) {
		t.Errorf("%d oils", len(k.Oils))
	}
}
