package dbtest

import (
	"fmt"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// Day is the now of most tests.
var Day = time.Date(2026, 11, 25, 9, 30, 0, 123456000, time.UTC)

// Fleet is an invented fleet of n clocks, called clock-0 and so on, that uses
// every field.
func Fleet(n int) schedule.Fleet {
	f := schedule.Fleet{
		Sites: []schedule.Site{
			{Slug: "tower", Name: "Tower", Zone: "Europe/London", Place: "by the market", Access: "key at the bakery", Caution: "steep ladder",
				Climate: &schedule.Climate{Months: [12]float64{3, 3.5, 5, 8, 11, 14, 16, 16, 14, 10, 6, 4}, Daily: 3.5, Source: "the county"},
				Reach: schedule.Reach{At: &schedule.Where{Lat: 47.3, Lon: -31.000001}, Open: []schedule.OpenHours{{Days: schedule.Weekdays{time.Monday, time.Sunday}, From: 540, To: 1440}},
					Shut:   []schedule.Span{{From: schedule.Date{Year: 2026, Month: 12, Day: 24}, Until: schedule.Date{Year: 2027, Month: 1, Day: 2}, Why: "holidays"}},
					Notice: 14, Climb: 15, Keys: "the bakery", Permit: "the council", Lift: "hoist"}},
			{Slug: "annexe", Name: "Annexe", Zone: "Asia/Kolkata", Reach: schedule.Reach{Open: []schedule.OpenHours{{From: 0, To: 1}}}},
		},
		People: []schedule.Person{
			{Slug: "z-keeper", Name: "Zoë Keeper", Email: "zoe@example.org", Zone: "Europe/Paris", Units: wear.Thou,
				Mail: schedule.Wishes{Not: []schedule.NoticeKind{schedule.ChangeWeek}, Day: 5, Hour: 8, QuietFrom: 22, QuietTo: 6},
				Going: schedule.Going{Home: &schedule.Where{Lat: 47.123456, Lon: -31.5}, Days: schedule.Weekdays{time.Tuesday}, From: 480, To: 1080,
					Away: []schedule.Span{{From: schedule.Date{Year: 2027, Month: 5, Day: 3}, Until: schedule.Date{Year: 2027, Month: 5, Day: 3}}}}},
			{Slug: "a-winder", Name: "Winder"},
		},
	}
	for i := range n {
		f.Clocks = append(f.Clocks, sampleClock(i))
	}
	return f
}

func sampleClock(i int) schedule.Clock {
	c := schedule.Clock{
		Slug: fmt.Sprintf("clock-%d", i), Name: fmt.Sprintf("Clock %d", i), Kind: schedule.Turret, Site: "tower",
		InCare: schedule.Date{Year: 2019, Month: time.March, Day: 1 + i%28}, Note: "flatbed",
		Cautions: []schedule.Hazard{schedule.HeavyFall, schedule.Bells},
		Duties:   []schedule.Duty{{Person: "z-keeper", Role: schedule.Keeper}, {Person: "a-winder", Role: schedule.Winder}, {Person: "z-keeper", Role: schedule.Deputy}},
		Policies: []schedule.Policy{
			{Task: schedule.Oiling, Train: "strike", Days: 365, Lead: 30, Grace: 14, Two: true, Reason: "dust", Source: "the conservator, 2024"},
			{Task: schedule.Measuring, Bearing: "centre-front", RunHours: 8765.25, Source: "the conservator, 2024"},
		},
	}
	if i%4 == 3 { // a clock with nothing described yet
		return schedule.Clock{Slug: c.Slug, Name: c.Name, Kind: schedule.Post, Site: "annexe", InCare: c.InCare}
	}
	c.Trains = []wear.Train{
		{Code: "strike", Name: "Striking", Kind: wear.Strike, Drive: wear.HandWound, Reserve: 41*time.Hour + time.Nanosecond, StrokesPerDay: 324},
		{Code: "going", Kind: wear.Going, Drive: wear.AutoWound, Arbors: []wear.Arbor{
			{Code: "great", Name: "Great wheel", Revs: 1.0 / 3},
			{Code: "centre", Revs: 1, Bearings: []wear.Bearing{
				{Code: "centre-front", Name: "Front", Form: wear.ThrustFace, Shake: wear.EndShake, Pair: wear.SteelOnBrass, In: wear.Indoors,
					Load: 12.5, Outer: 12000, Inner: 6000, FittedAt: time.Date(1898, 6, 1, 12, 0, 0, 1000, time.UTC), Fitted: 150, FittedSD: 20,
					Watch: &wear.Limit{Size: 400, Source: "survey"}, Act: &wear.Limit{Size: 600, Source: "survey"},
					Stand: 3200000, Shaft: wear.Steel, Frame: wear.CastIron},
				{Code: "centre-back", Form: wear.Bush, Shake: wear.SideShake, In: wear.Outdoors, Bore: 6100, Pivot: 6000, Long: 9000},
			}},
		}, Meshes: []wear.Mesh{
			{Code: "to-the-dial", Name: "Dial bevel", Bearing: "centre-front", Kind: wear.Bevel, Module: 25.4 / 7, PressureAngle: 14.5,
				Teeth: 30, Mate: 31, Cone: 44.0625, Drop: wear.Opens, Mounted: 250, Backlash: 120, ToHand: 1.0 / 3},
			{Code: "centre-pinion", Bearing: "centre-back", Kind: wear.Spur, Module: 2, Cycloidal: true, Teeth: 12, Mate: 96},
		}},
	}
	sampleCare(&c)
	return c
}

// measured is a measured entry of a clock in Fleet.
func measured(clock string, at time.Time, i int) schedule.Entry {
	e := schedule.Entry{Clock: clock, Kind: schedule.Measured, At: at, Train: "going", Bearing: "centre-front", By: "z-keeper", Source: "page"}
	celsius := float64(i%30) - 5.5
	e.Reading = &wear.Reading{Shake: wear.EndShake, Value: wear.Length(200 + i%300), Gauge: 30, Instrument: "dial", Celsius: &celsius, Load: wear.LoadOff}
	return e
}

// Log is an invented log of n entries spread over the clocks of Fleet(clocks),
// with IDs and keys; every third is a reading.
func Log(clocks, n int) []schedule.Entry {
	list := make([]schedule.Entry, n)
	left := -4.5
	for i := range list {
		at := Day.Add(time.Duration(i-n) * 17 * time.Minute)
		clock := fmt.Sprintf("clock-%d", i%clocks)
		var e schedule.Entry
		switch i % 3 {
		case 0:
			e = measured(clock, at, i)
		case 1:
			e = schedule.Entry{Clock: clock, Kind: schedule.Wound, At: at, Train: "strike", By: "a-winder", Source: "command"}
			e.Turns = 41.5
		default:
			e = schedule.Entry{Clock: clock, Kind: schedule.Stopped, At: at, Note: "found at ten to four", Source: "demo"}
			e.Cause, e.Since, e.Until, e.ErrorLeft = schedule.RanDown, at.Add(-time.Hour), schedule.Date{Year: 2027, Month: 3, Day: 28}, &left
		}
		e.ID = fmt.Sprintf("01900000-0000-7000-8000-%012d", i)
		e.Key = fmt.Sprintf("row-%d", i)
		e.RecordedAt = at.Add(time.Minute)
		list[i] = e
	}
	return list
}

// notice is an owed notice with a key.
func notice(key string) schedule.Notice {
	return schedule.Notice{Key: key, Kind: schedule.LimitReminder, Person: "z-keeper", Clock: "clock-0", Subject: "centre-front",
		Occurrence: "2026-11", From: "clocks@example.org", To: "zoe@example.org", MessageID: "<" + key + "@example.org>",
		Title: "A bearing comes near its limit", Raw: []byte("Subject: hello\r\n\r\nbody \x00\xff\r\n")}
}
