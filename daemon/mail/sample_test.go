package mail

import (
	"flag"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// update rewrites the golden files: go test ./daemon/mail -update
var update = flag.Bool("update", false, "rewrite the golden files")

const sampleID = "01932f00-0000-7000-8000-000000000001"

var sampleNow = time.Date(2026, 11, 25, 7, 30, 0, 0, time.UTC)

func day(y int, m time.Month, d int) schedule.Date { return schedule.Date{Year: y, Month: m, Day: d} }

func sampleComposer() Composer {
	return Composer{From: "Clock Care <clocks@example.org>", Base: "https://clocks.example.org/"}
}

// All that follows is invented.
func samplePerson() schedule.Person {
	return schedule.Person{Slug: "ada", Name: "Ada Örn", Email: "ada@example.org", Zone: "Europe/London", Units: wear.Thou}
}

func sampleOutlook() schedule.Outlook {
	return schedule.Outlook{
		Bearing: wear.Bearing{Code: "centre-front", Name: "front bush", Shake: wear.EndShake, Fitted: 390, // (0.743 - 0.39) of (0.80 - 0.39) is 86 %
			Act: &wear.Limit{Size: 800, Source: "conservator, survey of 2019"}},
		Arbor: wear.Arbor{Code: "centre", Name: "centre arbor"}, Train: wear.Train{Code: "going", Name: "going train"},
		Parts:     []schedule.Part{{Readings: []schedule.Point{{At: sampleNow, Reading: wear.Reading{Value: 740}}}}},
		Condition: schedule.Act, Known: true, Level: wear.Level{Mean: 0.7431, SD: 0.028},
		Limit: &wear.Limit{Size: 800, Source: "conservator, survey of 2019"}, Used: 0.86,
		Measure: day(2027, 6, 12), Why: "half of its likely remaining life is gone by then",
		Sentence: "Likely to reach 0.80 mm (31.5 thou) between March 2029 and May 2033.", Confidence: "fair: four readings over nine years",
	}
}

func sampleTask(clock string, kind schedule.TaskKind, about string, state schedule.TaskState, due schedule.Date, caution string) schedule.Task {
	return schedule.Task{Clock: clock, Kind: kind, About: about, State: state, From: due.Add(-7), Due: due, Latest: due.Add(7),
		Reason: "last logged on 2 Oct 2026; every 5 weeks", Confidence: "firm: a fixed interval", Caution: caution,
		Evidence: string(kind) + " on 2 Oct 2026", Next: "Look first.", Minutes: 45}
}

func sampleClock(slug, name string, site schedule.Site) schedule.Assessment {
	zone, err := time.LoadLocation(site.Zone)
	if err != nil {
		panic(err)
	}
	return schedule.Assessment{
		Clock: schedule.Clock{Slug: slug, Name: name, Site: site.Slug, Duties: []schedule.Duty{
			{Person: "ada", Role: schedule.Keeper}, {Person: "bo", Role: schedule.Conservator}}},
		Site: site, Zone: zone, Now: sampleNow,
	}
}

func sampleDueList() schedule.Letter {
	market := schedule.Site{Slug: "market", Name: "Market Square", Zone: "Europe/London", Place: "Fernby, north side", Access: "key at the bakery, 61 stairs"}
	quay := schedule.Site{Slug: "quay", Name: "Old Quay", Zone: "Europe/London"}
	hall := sampleClock("corn-hall", "Corn hall clock", market)
	windCare := "Keep clear of the handle; never stand under the weights. Local rules and licensed people decide."
	hall.Tasks = []schedule.Task{
		sampleTask("corn-hall", schedule.Winding, "going train", schedule.Late, day(2026, 11, 10), windCare),
		sampleTask("corn-hall", schedule.Winding, "strike train", schedule.Due, day(2026, 11, 24), windCare),
		sampleTask("corn-hall", schedule.Oiling, "", schedule.Open, day(2026, 12, 1), "Hold the train first. Local rules and licensed people decide."),
		sampleTask("corn-hall", schedule.Inspection, "", schedule.Ahead, day(2027, 1, 20), "Light and footing first. Local rules and licensed people decide."),
		sampleTask("corn-hall", schedule.Measuring, "4 bearings", schedule.Ahead, day(2027, 8, 1), "Barrel blocked. Local rules and licensed people decide."),
	}
	hall.Outlooks = []schedule.Outlook{sampleOutlook()}
	for _, d := range []int{1, 8, 15, 22} {
		hall.Entries = append(hall.Entries, schedule.Entry{Kind: schedule.Wound, At: time.Date(2026, 11, d, 9, 0, 0, 0, time.UTC)})
	}
	hall.Entries = append(hall.Entries,
		schedule.Entry{Kind: schedule.Measured, At: time.Date(2026, 11, 22, 10, 0, 0, 0, time.UTC)},
		schedule.Entry{Kind: schedule.Oiled, At: time.Date(2026, 10, 25, 10, 0, 0, 0, time.UTC)}) // a month ago to the day: not in it
	post := sampleClock("quay-post", "Quay post clock", quay)
	post.Resting, post.Back = true, day(2027, 3, 28)
	post.Tasks = []schedule.Task{sampleTask("quay-post", schedule.Oiling, "", schedule.Resting, day(2026, 11, 1), "Work at height. Local rules and licensed people decide.")}
	p := samplePerson()
	return schedule.Letter{Key: schedule.NoticeKey(p.Slug, schedule.DueList, "", "2026-11"), Kind: schedule.DueList, Person: p,
		Occurrence: "2026-11", Today: day(2026, 11, 25), Clocks: []schedule.Assessment{hall, post}}
}

// sampleLocked is a due-list of which some presses: a lock, a train that stops
// soon, and a bearing at its limit, at two sites.
func sampleLocked() schedule.Letter {
	l := sampleDueList()
	hall, post := &l.Clocks[0], &l.Clocks[1]
	post.Resting, post.Back = false, schedule.Date{}
	post.Locks = []schedule.Lock{{Kind: schedule.DoNotRun, Since: day(2026, 11, 3), Why: "a strand of the strike line is broken."}}
	lock := sampleTask("quay-post", schedule.Locked, "", schedule.Due, day(2026, 11, 3), "Touch nothing. Local rules and licensed people decide.")
	lock.Rank, lock.From, lock.Latest, lock.Minutes, lock.Next = schedule.Danger, schedule.Date{}, schedule.Date{}, 120, "Ask who put the lock on what they saw."
	worn := sampleTask("quay-post", schedule.NearLimit, "centre arbor, front bush", schedule.Late, day(2026, 11, 1), "Springs let down first. Local rules and licensed people decide.")
	worn.Rank = schedule.AtLimit
	post.Tasks = append(post.Tasks, worn, lock)
	post.Tasks[0].State = schedule.Open
	hall.Tasks = slices.Clone(hall.Tasks)
	for i := range hall.Tasks {
		hall.Tasks[i].Rank = schedule.Plain
	}
	hall.Tasks[0].Rank, hall.Tasks[1].Rank = schedule.PastItsDay, schedule.StopsSoon
	return l
}

func sampleReminder() schedule.Letter {
	l := sampleDueList()
	hall, o := l.Clocks[0], sampleOutlook()
	second := sampleOutlook()
	second.Bearing.Code, second.Bearing.Name, second.Parts = "centre-back", "back bush", nil
	hall.Outlooks = append(hall.Outlooks, second)
	work := sampleTask("corn-hall", schedule.NearLimit, "centre arbor, front bush", schedule.Open, day(2029, 3, 1), "Springs let down first. Local rules and licensed people decide.")
	work.Subject = "centre-front"
	hall.Tasks = append(hall.Tasks, work)
	return schedule.Letter{Key: "ada|near its limit|corn-hall/centre-front|act, part 1", Kind: schedule.LimitReminder, Person: l.Person,
		Occurrence: "act, part 1", Today: l.Today, Clocks: []schedule.Assessment{hall}, Outlook: &o,
		Others: []schedule.Person{{Slug: "bo", Name: "Bo Alder"}, {Slug: "cy", Name: "Cy Quill"}}}
}

// sampleReadAgain is about a bearing whose last reading does not fit.
func sampleReadAgain() schedule.Letter {
	l := sampleReminder()
	warm := 11.5
	o := l.Outlook
	o.Condition, o.ReadAgain, o.Level = schedule.Watch, true, wear.Level{Mean: 0.4712, SD: 0.02}
	o.Parts = []schedule.Part{{Readings: []schedule.Point{
		{At: sampleNow.AddDate(-4, 0, 0), Value: 0.41, Reading: wear.Reading{Value: 410}},
		{At: sampleNow.AddDate(-2, 0, 0), Value: 0.44, Reading: wear.Reading{Value: 440}},
		{At: sampleNow.AddDate(0, 0, -3), Value: 0.78, By: "bo", Entry: "e3", Doubt: 0.96,
			Reading: wear.Reading{Value: 740, Instrument: "dial indicator", Celsius: &warm}},
	}}}
	o.Measure, o.Why = day(2026, 12, 22), "read again: the reading of 22 Nov 2026, 0.74 mm (29.1 thou), does not fit the others"
	o.Sentence = "The reading of 22 Nov 2026, 0.74 mm (29.1 thou), does not fit the others: re-measure before acting, by 22 Dec 2026 (now about 0.47 mm, 18.5 thou)."
	o.Confidence = "weak: 3 readings over 4 years, and the last does not fit: re-measure before acting"
	l.Key, l.Kind, l.Occurrence = "ada|read again|corn-hall/centre-front|reading e3", schedule.ReadAgain, "reading e3"
	return l
}

// sampleWorn is about a bearing whose mesh binds, whose rate changed, and which
// was oiled late.
func sampleWorn() schedule.Letter {
	l := sampleReminder()
	o := l.Outlook
	o.Used = 0.905 // (0.743 - 0.39) of (0.78 - 0.39)
	o.Taught, o.PerYear, o.Changed = true, [3]float64{0.02, 0.031, 0.05}, day(2024, 3, 2)
	o.Limit = &wear.Limit{Size: 780, Source: "motion bevels, bevel mesh, module 1 mm, cone 45°: 0.25, 0.45 and 0.70 of the module lost in depth (judgement); 0.80 mm (31.5 thou) is later (conservator, survey of 2019)"}
	o.Meshes = []schedule.MeshState{{Mesh: wear.Mesh{Code: "motion-bevels"}, Watch: 500, Act: 780, Stop: 1130}}
	o.Oil = &schedule.OilWear{Good: 0.7, Aged: 0.2, Dry: 0.1, Late: 0.612, InForce: true}
	l.Clocks[0].Outlooks[0] = *o
	return l
}

// golden compares with testdata/name, or rewrites it with -update.
func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.WriteFile(path, got, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatalf("golden file is missing: run go test ./daemon/mail -update: %v", err)
	}
	if string(want) != string(got) {
		t.Errorf("%s differs; if the change is meant, run go test ./daemon/mail -update\n%s", path, got)
	}
}
