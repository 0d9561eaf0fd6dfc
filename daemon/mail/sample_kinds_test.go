package mail

import (
	"fmt"
	"strings"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// token is a token for a sample: as long as a real one, and the same each time.
func token(nth int) string { return strings.Repeat("a", 30) + "b" + string(rune('a'+nth)) }

// withPasses gives a letter one pass for each of its tasks, the first for a
// reply, and one to decline.
func withPasses(l schedule.Letter) schedule.Letter {
	l.Passes = nil
	tasks := l.Tasks()
	if len(tasks) > 1 {
		l.Passes = append(l.Passes, schedule.Pass{Token: token(20), Deed: schedule.Answering, Person: l.Person.Slug})
	}
	for i, t := range tasks {
		l.Passes = append(l.Passes, schedule.Pass{Token: token(i), Deed: schedule.Answering, Person: l.Person.Slug, Clock: t.Clock, Task: t.Kind, Subject: t.Subject})
	}
	l.Passes = append(l.Passes, schedule.Pass{Token: token(25), Deed: schedule.Declining, Person: l.Person.Slug, Kind: l.Kind})
	return l
}

// answeringComposer takes answers.
func answeringComposer() Composer {
	c := sampleComposer()
	c.Answers = "answers@clocks.example.org"
	return c
}

const windCaution = "Do not wind while it strikes or is about to; see that the click holds before you let go; keep clear of the handle; never stand under the weights. Local rules and licensed people decide."

// sampleWinding is about a going train that stops on Sunday.
func sampleWinding() schedule.Letter {
	l := sampleDueList()
	hall := l.Clocks[0]
	hall.Clock.Trains = []wear.Train{{Code: "going", Name: "going train", Kind: wear.Going, Drive: wear.HandWound, Reserve: 8 * 24 * time.Hour}}
	stops := time.Date(2026, 11, 29, 14, 0, 0, 0, time.UTC)
	hall.Going = true
	hall.Trains = []schedule.TrainState{{Train: hall.Clock.Trains[0], Going: true, Wind: schedule.WindState{Known: true, Left: stops.Sub(sampleNow), Share: 0.53,
		Turns: 42, Stops: stops, Early: stops.Add(-9 * time.Hour), Late: stops.Add(9 * time.Hour), Spare: 24 * time.Hour}}}
	t := schedule.Task{Clock: "corn-hall", Kind: schedule.Winding, Subject: "going", About: "going train", State: schedule.Open, From: day(2026, 11, 26), Due: day(2026, 11, 28), Latest: day(2026, 11, 28),
		Reason: "wound in full on 21 Nov 2026 (a full wind runs 8 days); runs down about 29 Nov 2026, 14:00", Evidence: "a full wind, 21 Nov 2026, 14:00",
		Confidence: "firm: from the logged wind", Caution: windCaution, People: []string{"ada"}, Next: "Wind it, and log the turns.", Minutes: 15}
	hall.Tasks = []schedule.Task{t}
	return withPasses(schedule.Letter{Key: "ada|winding|corn-hall/going|2026-11-28", Kind: schedule.WindReminder, Person: l.Person, Occurrence: "2026-11-28", Today: l.Today,
		Clocks: []schedule.Assessment{hall}, Task: &t, Next: []schedule.Person{{Slug: "dee", Name: "Dee Finch"}, {Slug: "bo", Name: "Bo Alder"}}})
}

// sampleBoth is about the going and the strike train, which stop within a day.
func sampleBoth() schedule.Letter {
	l := sampleWinding()
	hall := l.Clocks[0]
	strike := hall.Trains[0]
	strike.Train = wear.Train{Code: "strike", Name: "strike train", Kind: wear.Strike, Drive: wear.HandWound, Reserve: 8 * 24 * time.Hour}
	strike.Wind.Stops = strike.Wind.Stops.Add(20 * time.Hour)
	strike.Wind.Early, strike.Wind.Late = strike.Wind.Early.Add(20*time.Hour), strike.Wind.Late.Add(20*time.Hour)
	strike.Wind.Left, strike.Wind.Share, strike.Wind.Turns = strike.Wind.Left+20*time.Hour, 0.63, 50
	t := *l.Task
	t.Subject, t.About, t.Due, t.Latest = "strike", "strike train", day(2026, 11, 29), day(2026, 11, 29)
	hall.Clock.Trains = append(hall.Clock.Trains, strike.Train)
	hall.Trains, hall.Tasks = append(hall.Trains, strike), append(hall.Tasks, t)
	l.Clocks, l.With = []schedule.Assessment{hall}, []schedule.Task{t}
	l = withPasses(l)
	l.Passes[0].Clock, l.Passes[0].Task = "corn-hall", schedule.Winding
	return l
}

// sampleTurn is the same asked of the deputy, of a train that may have stopped.
func sampleTurn() schedule.Letter {
	l := sampleWinding()
	l.Turn, l.Next = 1, l.Next[1:]
	l.Person = schedule.Person{Slug: "dee", Name: "Dee Finch", Email: "dee@example.org", Units: wear.MM}
	st := &l.Clocks[0].Trains[0]
	st.Wind.Past, st.Wind.Left, st.Wind.Share, st.Wind.Stops = true, 0, 0, sampleNow.Add(-20*time.Hour)
	return l
}

// sampleStanding is about a clock that a storm stopped.
func sampleStanding() schedule.Letter {
	l := sampleWinding()
	e := schedule.Entry{ID: "e9", Clock: "corn-hall", Kind: schedule.Stopped, At: time.Date(2026, 11, 24, 16, 20, 0, 0, time.UTC), By: "bo", Note: "Ice on the hands of the north dial.",
		Detail: schedule.Detail{Cause: schedule.Weather, Since: time.Date(2026, 11, 24, 9, 5, 0, 0, time.UTC)}}
	l.Key, l.Kind, l.Occurrence, l.Task, l.Entry = "ada|standing|corn-hall|e9", schedule.Standing, "e9", nil, &e
	hall := &l.Clocks[0]
	hall.Going, hall.Status, hall.Tasks = false, "Stopped since 24 Nov 2026 (weather). Nothing is due.", nil
	l.Others = []schedule.Person{{Slug: "bo", Name: "Bo Alder"}}
	return withPasses(l)
}

// sampleLockedNow is about a clock that was locked.
func sampleLockedNow() schedule.Letter {
	l := sampleStanding()
	l.Entry = &schedule.Entry{ID: "e8", Clock: "corn-hall", Kind: schedule.Inspected, At: time.Date(2026, 11, 24, 16, 20, 0, 0, time.UTC), By: "bo"}
	l.Clocks[0].Locks = []schedule.Lock{{Kind: schedule.DoNotRun, Since: day(2026, 11, 24), Why: "broken strand found on 24 Nov 2026 (going line)", Entry: "e8"}}
	l.Clocks[0].Status = "Do not run: broken strand found on 24 Nov 2026 (going line). Cleared only by the conservator or the clockmaker, by name."
	l.Key, l.Occurrence = "ada|standing|corn-hall|e8", "e8"
	return withPasses(l)
}

// sampleMayStand is about a clock whose wind ran out by the log.
func sampleMayStand() schedule.Letter {
	l := sampleTurn()
	l.Turn, l.Entry, l.Kind, l.Key, l.Occurrence = 0, nil, schedule.Standing, "dee|standing|corn-hall|2026-11-24", "2026-11-24"
	l.Clocks[0].Status = "By its last logged wind it stopped about 24 Nov 2026, 11:30, unless somebody wound it and did not write it down. Winding of the going train is due now, by 28 Nov 2026."
	return withPasses(l)
}

func sampleChange() schedule.Letter {
	l := sampleDueList()
	care := "Silence the bell first where it is asked; never force the hands back; hearing protection near a striking bell; keep clear of the fly and the weights while it runs. Local rules and licensed people decide."
	sunday := day(2027, 3, 28)
	l.Today, l.Kind, l.Occurrence, l.Key = day(2027, 3, 22), schedule.ChangeWeek, "2027-03-28", "ada|change of time||2027-03-28"
	for i := range l.Clocks {
		l.Clocks[i].Tasks = []schedule.Task{{Clock: l.Clocks[i].Clock.Slug, Kind: schedule.TimeChange, State: schedule.Due, Due: sunday, Caution: care}}
	}
	l.Changes = &schedule.ChangeList{From: day(2027, 3, 23), To: day(2027, 3, 29), Sites: []schedule.ChangeSite{
		{Name: "Market Square", Zone: "Europe/London", Place: "Fernby, north side", Access: "key at the bakery, 61 stairs", Clocks: []schedule.ChangeClock{
			{Clock: "corn-hall", Name: "Corn hall clock", On: sunday, Minutes: 60, Bell: true, Blows: 2, People: []string{"Ada Örn", "Dee Finch"}, Caution: care,
				How: "Put the hands on by 1 hour, letting it strike every hour as it goes. It makes 2 blows on the way from the hour of the change; the wind loses as many. Silence the bell first."}}},
		{Name: "Old Quay", Zone: "Europe/London", Clocks: []schedule.ChangeClock{
			{Clock: "quay-post", Name: "Quay post clock", On: sunday, Minutes: 60, How: "Look whether its motor has put it on by 1 hour by itself.", Caution: care},
			{Clock: "quay-shed", Name: "Shed clock", On: sunday, Minutes: 60, Rests: true, How: "Free the setting clutch.", Caution: care}}},
	}}
	return withPasses(l)
}

func sampleOwner() schedule.Letter {
	l := sampleDueList()
	hall := &l.Clocks[0]
	hall.Clock.InCare = day(2020, 1, 1)
	hall.Clock.Trains = []wear.Train{{Code: "going", Name: "going train", Kind: wear.Going, Drive: wear.HandWound, Reserve: 8 * 24 * time.Hour}}
	hall.Clock.Cautions = []schedule.Hazard{schedule.BirdDirt}
	hall.Clock.Care.Tolerance = &schedule.Tolerance{Seconds: 60, Source: "the owner"}
	hall.Site.Caution = "Loose boards on the second landing"
	off, more := -42.0, 75.0
	at := func(m time.Month, d, h int) time.Time { return time.Date(2026, m, d, h, 0, 0, 0, time.UTC) }
	log := []schedule.Entry{}
	for i := range 26 {
		log = append(log, schedule.Entry{Clock: "corn-hall", Kind: schedule.Wound, At: at(5, 30, 9).AddDate(0, 0, 7*i)})
	}
	log = append(log, schedule.Entry{Clock: "corn-hall", Kind: schedule.Stopped, At: at(10, 5, 12), Detail: schedule.Detail{Cause: schedule.ForWork}},
		schedule.Entry{Clock: "corn-hall", Kind: schedule.Started, At: at(10, 7, 12)},
		schedule.Entry{Clock: "corn-hall", Kind: schedule.Inspected, At: at(10, 8, 12), Detail: schedule.Detail{Found: schedule.Sound, ErrorFound: &off}},
		schedule.Entry{Clock: "corn-hall", Kind: schedule.Noted, At: at(10, 20, 12), Detail: schedule.Detail{ErrorFound: &more}},
		schedule.Entry{Clock: "corn-hall", Kind: schedule.Oiled, At: at(10, 7, 11)})
	for i := range log {
		log[i].ID = fmt.Sprintf("e%d", i)
	}
	sortByTime(log)
	now := schedule.Assess(schedule.Facts{Clock: hall.Clock, Site: hall.Site, Entries: log}, sampleNow)
	now.Outlooks, now.Tasks = hall.Outlooks, hall.Tasks
	third := sampleOutlook()
	third.Bearing.Code, third.Bearing.Name, third.Condition, third.Changed = "centre-back", "back bush", schedule.Sound, schedule.Date{}
	fourth := third
	fourth.Bearing.Code, fourth.Bearing.Name, fourth.Known, fourth.Parts, fourth.Condition = "escape-front", "escape bush", false, nil, ""
	now.Outlooks = append(now.Outlooks, third, fourth)
	now.Outlooks[0] = *sampleMeasured()
	l.Clocks[0] = now
	l.Person = schedule.Person{Slug: "olive", Name: "Olive Pike, for Fernby council", Email: "council@example.org", Units: wear.MM}
	for i := range l.Clocks {
		l.Clocks[i].Clock.Duties = append(l.Clocks[i].Clock.Duties, schedule.Duty{Person: "olive", Role: schedule.Owner})
		for j := range l.Clocks[i].Tasks {
			l.Clocks[i].Tasks[j].People = []string{"ada", "bo"}
		}
	}
	l.Named = []schedule.Person{{Slug: "ada", Name: "Ada Örn"}, {Slug: "bo", Name: "Bo Alder"}}
	l.Kind, l.Key = schedule.OwnersMonth, "olive|owner's month||2026-11"
	return withPasses(l)
}

// sampleMeasured is a bearing with readings enough for a picture.
func sampleMeasured() *schedule.Outlook {
	o := sampleOutlook()
	o.Parts = []schedule.Part{{Readings: []schedule.Point{}}}
	for i, um := range []wear.Length{460, 530, 600, 670, 740} {
		o.Parts[0].Readings = append(o.Parts[0].Readings, schedule.Point{At: sampleNow.AddDate(2*i-9, 0, 0), Value: um.MM(), Reading: wear.Reading{Value: um}, Entry: fmt.Sprint("r", i)})
	}
	return &o
}

func sampleTrouble() schedule.Letter {
	l := sampleDueList()
	at := sampleNow.AddDate(0, 0, -2)
	l.Clocks, l.Kind, l.Key, l.Occurrence = nil, schedule.MailTrouble, "ada|mail trouble||2026-11-25", "2026-11-25"
	l.Named = []schedule.Person{{Slug: "cy", Name: "Cy Quill"}}
	l.Trouble = &schedule.Trouble{
		Notices: []schedule.Notice{
			{ID: "n1", Title: "Corn hall clock: wind the going train by Sat 28 Nov", Person: "cy", State: schedule.Refused, Created: at, Reply: "550 5.1.1 no such mailbox here"},
			{ID: "n2", Title: "Due-list for November 2026", Person: "cy", State: schedule.Parked, Created: at, Reply: "perhaps handed over twice, and never answered: ask the reader whether it came"}},
		Mailboxes: []schedule.Mailbox{{Address: "cy@example.net", Refusals: 3, Stopped: at, Why: "550 5.1.1 no such mailbox here"}},
		Held:      []schedule.Inward{{ID: "i1", At: at, From: "someone@example.net", Title: "Re: Corn hall clock", Why: "it says both done and not done"}},
		Declined:  []schedule.Decline{{Person: "cy", Kind: schedule.WindReminder, At: at}},
	}
	return withPasses(l)
}

// sampleAnswered is a due-list whose tasks can be answered, with pictures.
func sampleAnswered() schedule.Letter {
	l := sampleLocked()
	l.Clocks[0].Outlooks = []schedule.Outlook{*sampleMeasured()}
	for i, code := range []string{"going", "strike"} {
		l.Clocks[0].Tasks[i].Subject = code
		l.Clocks[0].Clock.Trains = append(l.Clocks[0].Clock.Trains, wear.Train{Code: code, Name: code + " train"})
	}
	return withPasses(l)
}

func sortByTime(log []schedule.Entry) {
	for i := range log {
		for j := i; j > 0 && log[j].At.Before(log[j-1].At); j-- {
			log[j], log[j-1] = log[j-1], log[j]
		}
	}
}

// samples is one letter of each kind and more, by the name of its golden files.
func samples() map[string]schedule.Letter {
	return map[string]schedule.Letter{
		"duelist": sampleDueList(), "locked": sampleLocked(), "answered": sampleAnswered(), "reminder": withPasses(sampleReminder()), "worn": sampleWorn(), "readagain": readAgainAsked(),
		"winding": sampleWinding(), "both": sampleBoth(), "turn": sampleTurn(), "standing": sampleStanding(), "lockednow": sampleLockedNow(), "maystand": sampleMayStand(),
		"change": sampleChange(), "owner": sampleOwner(), "trouble": sampleTrouble(),
	}
}

// readAgainAsked is a letter that asks for a reading and takes it.
func readAgainAsked() schedule.Letter {
	l := sampleReadAgain()
	a := &l.Clocks[0]
	a.Clock.Trains = []wear.Train{{Code: "going", Name: "going train", Kind: wear.Going, Arbors: []wear.Arbor{{Code: "centre", Bearings: []wear.Bearing{l.Outlook.Bearing}}}}}
	t := sampleTask("corn-hall", schedule.Measuring, "centre arbor, front bush", schedule.Due, day(2026, 12, 22), "Barrel blocked. Local rules and licensed people decide.")
	t.Subject = l.Outlook.Bearing.Code
	a.Tasks = append(a.Tasks, t)
	return withPasses(l)
}
