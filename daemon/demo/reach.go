package demo

import (
	"time"

	"endshake/schedule"
)

// The Vale of Hethquern is on no map: the figures of its places lie in the open sea,
// as far from one another as its towns would be.

// weekdays are those on which offices are open.
var weekdays = schedule.Weekdays{time.Monday, time.Tuesday, time.Wednesday, time.Thursday, time.Friday}

// hours are those of some days of the week; of each day where none is named.
func hours(from, to schedule.Minutes, days ...time.Weekday) []schedule.OpenHours {
	return []schedule.OpenHours{{Days: days, From: from * 60, To: to * 60}}
}

// reaches are what whoever plans a visit must know of each site. The Corn Hall shuts
// for the next Christmas to come.
func reaches(today schedule.Date) map[string]schedule.Reach {
	place := func(lat, lon float64) *schedule.Where { return &schedule.Where{Lat: lat, Lon: lon} }
	christmas := schedule.Date{Year: today.Year, Month: time.December, Day: 24}
	return map[string]schedule.Reach{
		"corn-hall": {At: place(47.300, -31.200), Open: hours(9, 17, weekdays...), Climb: 15, Keys: "Key 4, at the hall office.",
			Shut: []schedule.Span{{From: christmas, Until: christmas.Add(9), Why: "the office is shut"}}},
		"old-priory": {At: place(47.304, -31.194), Climb: 20, Keys: "With the keeper.",
			Open: hours(9, 18, time.Monday, time.Tuesday, time.Wednesday, time.Friday, time.Saturday)},
		"market-house": {At: place(47.345, -31.110), Open: hours(6, 18), Climb: 10, Keys: "At the bakery opposite."},
		"town-hall": {At: place(47.347, -31.106), Open: hours(9, 17, weekdays...), Climb: 15, Notice: 7, Keys: "With the caretaker.",
			Permit: "A permit for work on the winders, from the caretaker, a week ahead."},
		"fulling-mill": {At: place(47.250, -31.150), Open: hours(7, 16, weekdays...), Climb: 20, Notice: 1, Keys: "Two keys, both with the mill office."},
		"stable-court": {At: place(47.390, -31.283), Open: hours(8, 16, weekdays...), Climb: 15, Notice: 14, Keys: "Gate code with the estate office."},
		"station-forecourt": {At: place(47.372, -31.250), Climb: 10, Notice: 2, Keys: "The square key.", Permit: "Tell the parking warden.",
			Lift: "A lift on a van for any work on the head, hired with its driver."},
		"quay-head": {At: place(47.246, -31.142), Open: hours(7, 19), Climb: 5, Keys: "T-key, with the harbour office."},
		"vennigold-house": {At: place(47.415, -31.330), Open: hours(10, 16, time.Tuesday, time.Thursday), Climb: 5, Notice: 10,
			Keys: "Ring at the garden door."},
		"mill-cottage": {At: place(47.252, -31.156), Open: hours(13, 17), Climb: 5, Notice: 3, Keys: "Somebody is at home."},
		"almshouses":   {At: place(47.412, -31.325), Open: hours(8, 18), Climb: 15, Keys: "In the porch box; the code is with the keeper."},
		"reading-room": {At: place(47.374, -31.247), Climb: 15, Keys: "At the desk.",
			Open: hours(10, 17, time.Tuesday, time.Wednesday, time.Thursday, time.Friday, time.Saturday)},
	}
}

// goings are who goes on rounds: the conservator, and the clockmaker.
func goings(today schedule.Date) map[string]schedule.Going {
	return map[string]schedule.Going{
		hestia: {Home: &schedule.Where{Lat: 47.312, Lon: -31.215}, Days: schedule.Weekdays{time.Monday, time.Wednesday, time.Thursday}, From: 8 * 60, To: 18 * 60,
			Away: []schedule.Span{{From: today.Add(40), Until: today.Add(47), Why: "holidays"}}},
		corin: {Home: &schedule.Where{Lat: 47.361, Lon: -31.232}, Days: schedule.Weekdays{time.Tuesday, time.Thursday, time.Friday}, From: 8*60 + 30, To: 17*60 + 30},
	}
}
