package schedule

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"

	"endshake/wear"
)

// county is an invented fleet of three clocks with a little of everything: one
// late, one worn, one at rest.
func county() (Fleet, map[string][]Entry) {
	pumpRoom := pump()
	pumpRoom.Cautions = []Hazard{HeavyFall, BirdDirt}
	pumpRoom.Policies = []Policy{
		{Task: Winding, Days: 7, Lead: 2, Grace: 1, Reason: "Made for eight days and a fraction.", Source: "Beckett 1903, p. 197"},
		{Task: Oiling, Days: 182, Lead: 21, Grace: 30, Reason: "Twice a year.", Source: "keeper's checklist"},
		{Task: Inspection, Days: 365, Lead: 30, Grace: 45, Reason: "A yearly visit with a report.", Source: "common practice, no source"},
		{Task: Measuring, Days: 730, Lead: 60, Grace: 60, Reason: "With the yearly visit.", Source: "conservator"},
	}
	quay := Clock{
		Slug: "quay-post", Name: "Quay Post", Kind: Post, Site: "quay", InCare: d("2022-03-01"), Cautions: []Hazard{Mains, Height},
		Duties:   []Duty{{"ben", Keeper}, {"cleo", Conservator}},
		Trains:   []wear.Train{{Code: "going", Kind: wear.Going, Drive: wear.Electric}},
		Policies: []Policy{{Task: Oiling, RunHours: 8766, Reason: "Heads in the weather.", Source: "starting value, confirm"}, {Task: Inspection, Days: 30, Lead: 5, Grace: 7, Source: "AHS handbook, p. 14"}},
	}
	stable := Clock{
		Slug: "stable-yard", Name: "Stable Yard", Kind: Private, Site: "quay", InCare: d("2022-03-01"), Duties: []Duty{{"ann", Keeper}},
		Trains: []wear.Train{{Code: "going", Name: "going train", Kind: wear.Going, Drive: wear.HandWound, Reserve: hour30}},
		Policies: []Policy{
			{Task: Winding, Days: 1, Reason: "A day and a quarter.", Source: "Beckett 1903, p. 197"},
			{Task: Oiling, Days: 365, Source: "keeper"},
		},
	}
	f := fleetOf("Europe/London", pumpRoom, quay, stable)
	f.Sites = append(f.Sites, Site{Slug: "quay", Name: "Quay", Zone: "America/New_York"})
	log := map[string][]Entry{
		"pump-room": book(append(append(weekly("2026-09-01", 12), read(2022, 0.16, 0.20, 0.24, 0.28, 0.32)...),
			did(Oiled, "2026-03-02 10:00"), did(Inspected, "2026-01-01 10:00"),
			did(Measured, "2026-01-01 10:30", onBearing("second-back"), func(e *Entry) {
				e.Reading = &wear.Reading{Shake: wear.EndShake, Value: mm(0.42)}
			}))...),
		"quay-post":   book(did(Oiled, "2025-12-20 15:00"), did(Inspected, "2026-11-01 15:00"), did(Stopped, "2026-06-01 12:00", by(Weather)), did(Started, "2026-06-03 12:00")),
		"stable-yard": book(did(Wound, "2026-10-31 09:00"), did(Stopped, "2026-10-31 18:00", by(Rest), until("2027-04-01"))),
	}
	for slug, list := range log {
		for i := range list {
			list[i].Clock = slug
		}
	}
	return f, log
}

func TestDueListGolden(t *testing.T) {
	fleet, log := county()
	if err := fleet.Validate(); err != nil {
		t.Fatal(err)
	}
	s := Survey(fleet, log, Model{}, utc("2026-11-25 12:00"))
	for _, a := range s.Clocks {
		if len(a.Problems) > 0 {
			t.Fatalf("%s: %q", a.Clock.Slug, a.Problems)
		}
	}
	list := s.DueList()
	golden(t, "due.json", asJSON(t, list))
	golden(t, "due.txt", []byte(list.Text(s, 60)))
}

// The shape is what other programs read: these names, and no others.
func TestDueListShape(t *testing.T) {
	fleet, log := county()
	s := Survey(fleet, log, Model{}, utc("2026-11-25 12:00"))
	var got struct {
		Top   map[string]json.RawMessage
		Tasks []map[string]json.RawMessage
	}
	b := asJSON(t, s.DueList())
	if err := json.Unmarshal(b, &got.Top); err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(got.Top["tasks"], &got.Tasks); err != nil {
		t.Fatal(err)
	}
	keys := func(m map[string]json.RawMessage) string {
		var out []string
		for k := range m {
			out = append(out, k)
		}
		slices.Sort(out)
		return strings.Join(out, " ")
	}
	if k := keys(got.Top); k != "tasks today" {
		t.Errorf("top: %s", k)
	}
	if len(got.Tasks) < 8 {
		t.Fatalf("only %d tasks", len(got.Tasks))
	}
	for _, task := range got.Tasks {
		if k := keys(task); k != "caution clock confidence due evidence from kind latest minutes next people rank reason state subject" {
			t.Errorf("task: %s", k)
		}
		if p := string(task["people"]); !strings.HasPrefix(p, "[") {
			t.Errorf("people are %s, want a list", p)
		}
	}
	if string(got.Top["today"]) != `"2026-11-25"` {
		t.Errorf("today %s", got.Top["today"])
	}
	if b := asJSON(t, (&Snapshot{Now: utc("2026-11-25")}).DueList()); string(b) != "{\n  \"today\": \"2026-11-25\",\n  \"tasks\": []\n}\n" {
		t.Errorf("an empty fleet: %s", b)
	}
}

func TestDueListOrder(t *testing.T) {
	fleet, log := county()
	s := Survey(fleet, log, Model{}, utc("2026-11-25 12:00"))
	list := s.DueList()
	n := 0
	for _, a := range s.Clocks {
		n += len(a.Tasks)
	}
	if len(list.Tasks) != n {
		t.Errorf("%d tasks of %d", len(list.Tasks), n)
	}
	for i, x := range list.Tasks {
		if i > 0 && Pressing(&list.Tasks[i-1], &x) > 0 {
			t.Errorf("task %d, %s of %s, is out of order", i, x.Kind, x.Clock)
		}
	}
	late := Task{State: Late, Latest: d("2026-01-02")}
	for _, tt := range []struct{ first, then Task }{
		{late, Task{State: Due, Latest: d("2026-01-01")}},
		{Task{State: Due, Latest: d("2026-02-01")}, Task{State: Open, Latest: d("2026-01-01")}},
		{Task{State: Open}, Task{State: Ahead}},
		{Task{State: Ahead}, Task{State: Resting}},
		{Task{State: Late, Latest: d("2026-01-01")}, late},
		{Task{State: Late, Latest: d("2026-01-02"), Clock: "a"}, Task{State: Late, Latest: d("2026-01-02"), Clock: "b"}},
		{Task{Kind: Measuring}, Task{Kind: Winding}},
		{Task{Subject: "a"}, Task{Subject: "b"}},
	} {
		if Pressing(&tt.first, &tt.then) >= 0 || Pressing(&tt.then, &tt.first) <= 0 || Pressing(&tt.first, &tt.first) != 0 {
			t.Errorf("%+v does not come before %+v", tt.first, tt.then)
		}
	}
}

// Each clock's tasks stand on the day of its own zone.
func TestDueListZones(t *testing.T) {
	c := wound(days8, weeklyWind)
	west := c
	west.Slug, west.Site = "quay-post", "quay"
	f := fleetOf("Pacific/Auckland", c, west)
	f.Sites = append(f.Sites, Site{Slug: "quay", Name: "Quay", Zone: "America/New_York"})
	// 9 March in Auckland, still 8 March in New York.
	at := in("Pacific/Auckland", "2026-03-02 09:00")
	log := map[string][]Entry{"pump-room": book(doneAt(Wound, at)), "quay-post": book(doneAt(Wound, in("America/New_York", "2026-03-02 09:00")))}
	list := Survey(f, log, Model{}, utc("2026-03-08 20:00")).DueList()
	got := map[string]string{}
	for _, x := range list.Tasks {
		if x.Kind == Winding {
			got[x.Clock] = string(x.State) + " " + x.Due.String()
		}
	}
	if got["pump-room"] != "due 2026-03-09" || got["quay-post"] != "open 2026-03-09" || list.Today != d("2026-03-09") {
		t.Errorf("%v on %v", got, list.Today)
	}
}

func TestDueListText(t *testing.T) {
	fleet, log := county()
	s := Survey(fleet, log, Model{}, utc("2026-11-25 12:00"))
	list := s.DueList()
	near, far := list.Text(s, 0), list.Text(s, 36500)
	if strings.Count(far, "\n  ! ") != len(list.Tasks) || strings.Count(near, "\n  ! ") >= strings.Count(far, "\n  ! ") {
		t.Errorf("%d tasks of %d in the longest list, %d in the shortest", strings.Count(far, "\n  ! "), len(list.Tasks), strings.Count(near, "\n  ! "))
	}
	for _, bad := range []string{"NaN", "Inf", "%!", "no date", "\n\n\n"} {
		if strings.Contains(far, bad) {
			t.Errorf("holds %q:\n%s", bad, far)
		}
	}
	nobody := Tally{Today: d("2026-11-25"), Tasks: []Task{{Clock: "gone", Kind: Oiling, State: Due, People: []string{"eve"}}}}
	if got := nobody.Text(s, 30); !strings.Contains(got, "who:  nobody is named") || !strings.Contains(got, "gone: oiling") {
		t.Errorf("a task of nobody on a clock that is gone:\n%s", got)
	}
	if got := (Tally{Today: d("2026-11-25")}).Text(s, 30); got != "Due-list for 25 Nov 2026\n0 late, 0 due, 0 open; 0 more within 4 weeks.\n" {
		t.Errorf("nothing to do: %q", got)
	}
}
