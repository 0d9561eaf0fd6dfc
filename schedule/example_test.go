package schedule_test

import (
	"fmt"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// A clock wound on Monday morning, looked at on the Saturday after.
func ExampleAssess() {
	clock := schedule.Clock{
		Slug: "pump-room", Name: "Pump Room", Kind: schedule.Turret, Site: "pump-yard",
		InCare: schedule.Date{Year: 2026, Month: time.January, Day: 1},
		Duties: []schedule.Duty{{Person: "ben", Role: schedule.Winder}},
		Trains: []wear.Train{{Code: "going", Name: "going train", Kind: wear.Going, Drive: wear.HandWound, Reserve: 8 * 24 * time.Hour}},
		Policies: []schedule.Policy{
			{Task: schedule.Winding, Days: 7, Lead: 2, Grace: 1, Source: "keeper"},
			{Task: schedule.Oiling, Days: 90, Lead: 14, Grace: 14, Source: "keeper"},
		},
	}
	log := []schedule.Entry{
		{ID: "1", Kind: schedule.Oiled, At: time.Date(2026, time.January, 5, 10, 0, 0, 0, time.UTC)},
		{ID: "2", Kind: schedule.Wound, At: time.Date(2026, time.March, 2, 9, 0, 0, 0, time.UTC)},
	}
	facts := schedule.Facts{Clock: clock, Site: schedule.Site{Slug: "pump-yard", Zone: "Europe/London"}, Entries: log}

	a := schedule.Assess(facts, time.Date(2026, time.March, 7, 12, 0, 0, 0, time.UTC))
	fmt.Println(a.Status)
	for _, t := range a.Tasks {
		fmt.Printf("%s: %s, from %s, due %s, latest %s\n", t.What(), t.State, t.From, t.Due, t.Latest)
	}
	fmt.Println(schedule.Thousands(a.Trains[0].RunHours.Likely), "run-hours")
	// Output:
	// Going. Winding of the going train may be done now, and is due on 9 Mar 2026.
	// winding of the going train: open, from 2026-03-07, due 2026-03-09, latest 2026-03-09
	// time change: ahead, from 2026-03-26, due 2026-03-29, latest 2026-03-30
	// oiling: ahead, from 2026-03-22, due 2026-04-05, latest 2026-04-19
	// 1,572 run-hours
}

// A fleet file is JSON for people to write; a slip is answered with a sentence.
func ExampleParseFleet() {
	file := `{
  "sites": [{"slug": "quay", "name": "Quay", "zone": "Europe/London"}],
  "people": [{"slug": "ann", "name": "Ann Arkwell"}],
  "clocks": [
    {"slug": "quay-post", "name": "Quay Post", "kind": "post", "site": "quay", "inCare": "2021-05-01",
     "trains": [{"code": "going", "kind": "going", "drive": "electric", "arbors": [
       {"code": "centre", "revs": 1, "bearings": [
         {"code": "centre-front", "form": "bush", "shake": "side-shake", "fitted": "0.10 mm",
          "act": {"size": "14 thou", "source": "conservator"}}]}]}]}]
}`
	fleet, err := schedule.ParseFleet([]byte(file))
	fmt.Println(fleet.Clocks[0].Name, fleet.Clocks[0].InCare.Words(), err)
	b, _, _, _ := fleet.Clocks[0].Bearing("centre-front")
	fmt.Println(b.Act.Size.Both(wear.MM))

	_, err = schedule.ParseFleet([]byte(`{"sites": [{"slug": "quay", "name": "Quay", "zone": "Europe/Lundun"}]}`))
	fmt.Println(err)
	// Output:
	// Quay Post 1 May 2021 <nil>
	// 0.356 mm (14.0 thou)
	// sites[0]: zone "Europe/Lundun" is not known: use an IANA name, like Europe/London
}

// An entry is refused with the field at fault and how to mend it.
func ExampleValidate() {
	fleet := schedule.Fleet{
		Sites: []schedule.Site{{Slug: "quay", Name: "Quay", Zone: "Europe/London"}},
		Clocks: []schedule.Clock{{
			Slug: "quay-post", Name: "Quay Post", Kind: schedule.Post, Site: "quay", InCare: schedule.Date{Year: 2021, Month: time.May, Day: 1},
			Trains: []wear.Train{{Code: "going", Kind: wear.Going, Drive: wear.Electric}},
		}},
	}
	now := time.Date(2026, time.March, 7, 12, 0, 0, 0, time.UTC)
	stop := schedule.Entry{ID: "1", Clock: "quay-post", Kind: schedule.Stopped, At: now.Add(-48 * time.Hour), Detail: schedule.Detail{Cause: schedule.Fault}}
	again := stop
	again.ID, again.At = "2", now.Add(-24*time.Hour)

	fmt.Println(schedule.Validate(stop, fleet, nil, schedule.Model{}, now))
	err := schedule.Validate(again, fleet, []schedule.Entry{stop}, schedule.Model{}, now)
	fmt.Println(schedule.CodeOf(err))
	fmt.Println(err)
	// Output:
	// <nil>
	// conflict
	// going train: run-hours: stopped at 2026-03-06 12:00 GMT, but the log has it stopped already: log the start before it, or correct one of the two stops
}

// A reading that does not fit is asked back, with the slip that would explain
// it; it is never changed.
func ExampleValidate_askedBack() {
	fleet, log := quay()
	e := schedule.Entry{Clock: "quay-post", Kind: schedule.Measured, Bearing: "centre-front", At: time.Date(2026, time.January, 1, 12, 0, 0, 0, time.UTC)}
	inch, _ := wear.ParseLength("0.48 in")
	e.Reading = &wear.Reading{Shake: wear.SideShake, Value: inch}

	err := schedule.Validate(e, fleet, log, schedule.Model{}, e.At)
	fmt.Println(schedule.CodeOf(err))
	fmt.Println(err)
	e.Sure = true
	fmt.Println(schedule.Validate(e, fleet, log, schedule.Model{}, e.At))
	// Output:
	// doubtful
	// 12.192 mm (0.480 in) does not fit: about 0.48 mm (18.9 thou) was expected. Was it 0.48 mm, 18.9 thou (0.48 mm written as inches)? If it is right as written, say that you are sure.
	// <nil>
}

// What a new bush that leaves 0.12 mm would do for a bearing at half a
// millimetre: the dates come from the rate that the bearing itself has shown.
func ExampleWhatIf() {
	fleet, log := quay()
	facts := schedule.Facts{Clock: fleet.Clocks[0], Site: fleet.Sites[0], Entries: log}
	left, _ := wear.ParseLength("0.12 mm")

	before, after, err := schedule.WhatIf(facts, time.Date(2026, time.January, 1, 12, 0, 0, 0, time.UTC), "centre-front", schedule.Change{Fitted: left})
	fmt.Println(before.Sentence)
	fmt.Println(after.Likely.Year-before.Likely.Year, "years gained", err)
	// Output:
	// Likely to reach 0.60 mm (23.6 thou) between July 2026 and August 2028 (now about 0.48 mm, 18.9 thou); measure again now, for it was to be read by 6 Dec 2025.
	// 4 years gained <nil>
}

// quay is a clock with a bush that has worn 0.10 mm a year.
func quay() (schedule.Fleet, []schedule.Entry) {
	fleet := schedule.Fleet{
		Sites: []schedule.Site{{Slug: "quay", Name: "Quay", Zone: "Europe/London"}},
		Clocks: []schedule.Clock{{
			Slug: "quay-post", Name: "Quay Post", Kind: schedule.Post, Site: "quay", InCare: schedule.Date{Year: 2021, Month: time.January, Day: 1},
			Trains: []wear.Train{{Code: "going", Kind: wear.Going, Drive: wear.Electric, Arbors: []wear.Arbor{{Code: "centre", Revs: 1, Bearings: []wear.Bearing{{
				Code: "centre-front", Form: wear.Bush, Shake: wear.SideShake, Pair: wear.SteelOnBrass, Load: 900, Long: 12 * wear.Millimetre,
				Act: &wear.Limit{Size: 600, Source: "conservator"},
			}}}}}},
		}},
	}
	var log []schedule.Entry
	for year := range 4 {
		e := schedule.Entry{ID: fmt.Sprint(year), Clock: "quay-post", Kind: schedule.Measured, Bearing: "centre-front", At: time.Date(2021+year, time.July, 1, 12, 0, 0, 0, time.UTC)}
		e.Reading = &wear.Reading{Shake: wear.SideShake, Value: wear.Length(40 + 100*year), Gauge: 10}
		log = append(log, e)
	}
	return fleet, log
}
