package demo

import (
	"endshake/schedule"
	"endshake/wear"
)

// zone of every site: the district is invented, its time is British.
const zone = "Europe/London"

// Short names of the people.
const (
	hestia  = "hestia-marrowby"
	bram    = "bram-ollerquay"
	idony   = "idony-pellfax"
	tobin   = "tobin-crakewell"
	linnet  = "linnet-oxbarrow"
	sefton  = "sefton-wrayle"
	corin   = "corin-thackmere"
	alder   = "alder-vennigold"
	odeline = "odeline-drumquist"
)

// people answer for the clocks. Anybody of such a name is not meant.
func people() []schedule.Person {
	person := func(slug, name string, u wear.Unit) schedule.Person {
		return schedule.Person{Slug: slug, Name: name, Email: slug + "@example.org", Units: u}
	}
	out := []schedule.Person{
		person(hestia, "Hestia Marrowby", wear.MM),
		person(bram, "Bram Ollerquay", wear.MM),
		person(idony, "Idony Pellfax", wear.MM),
		person(tobin, "Tobin Crakewell", wear.MM),
		person(linnet, "Linnet Oxbarrow", wear.MM),
		person(sefton, "Sefton Wrayle", wear.MM),
		person(corin, "Corin Thackmere", wear.MM),
		person(alder, "Alder Vennigold", wear.Thou),
		person(odeline, "Odeline Drumquist", wear.MM),
	}
	for i := range out {
		out[i].Mail = wishes[out[i].Slug]
	}
	return out
}

// wishes are how some of them want their mail.
var wishes = map[string]schedule.Wishes{
	hestia: {Day: 3, Hour: 8, QuietFrom: 20, QuietTo: 7},
	bram:   {Hour: 6},
	corin:  {Day: 28, Not: []schedule.NoticeKind{schedule.ChangeWeek}},
	alder:  {Day: 15, Hour: 10},
	sefton: {QuietFrom: 12, QuietTo: 14},
}

// duties: Hestia is everybody's conservator, Corin everybody's clockmaker.
func duties(keeper, winder, deputy, owner string) []schedule.Duty {
	out := []schedule.Duty{{Person: hestia, Role: schedule.Conservator}, {Person: keeper, Role: schedule.Keeper}}
	if winder != "" {
		out = append(out, schedule.Duty{Person: winder, Role: schedule.Winder})
	}
	return append(out, schedule.Duty{Person: deputy, Role: schedule.Deputy},
		schedule.Duty{Person: corin, Role: schedule.Clockmaker}, schedule.Duty{Person: owner, Role: schedule.Owner})
}

// vale is the weather of the district, invented with the rest.
func vale() *schedule.Climate {
	return &schedule.Climate{Months: [12]float64{4, 4, 6, 8.5, 11.5, 14.5, 16.5, 16.5, 14, 10.5, 7, 5}, Daily: 3.5,
		Source: "invented, of a mild coast"}
}

// sites of the district.
func sites() []schedule.Site {
	site := func(slug, name, place, access, caution string) schedule.Site {
		return schedule.Site{Slug: slug, Name: name, Zone: zone, Place: place, Access: access, Caution: caution, Climate: vale()}
	}
	return []schedule.Site{
		site("corn-hall", "Corn Hall", "Brackhoe, north side of the Beast Market",
			"Key 4 at the hall office, weekdays 9 to 5. 61 stairs, then a ladder of 12 rungs.",
			"The last ladder is steep and has no rail: go up one at a time with both hands free."),
		site("old-priory", "Old Priory tower", "Brackhoe, end of Cloister Row",
			"Key with the keeper. 88 stairs; the ringing room is let on Thursdays until 21:00.",
			"Bells are rung on Thursdays and Sundays: never go past the ringing room while they are up."),
		site("market-house", "Market House", "Pellumby, in the middle of the Shambles",
			"Key at the bakery opposite, from 6:00. 24 stairs behind the blue door.", ""),
		site("town-hall", "Town Hall", "Pellumby, Assize Square",
			"Ask for the caretaker at the side door. Lift to the third floor, 30 stairs.",
			"The winders start without warning: switch off and lock the isolator before your hands are in."),
		site("fulling-mill", "Fulling Mill bell tower", "Wendlequay, on the mill leat",
			"Two keys, both with the mill office. Send word a day ahead: the yard has lorries.",
			"Pigeons get in through the louvres: mask and gloves, and wash before you eat."),
		site("stable-court", "Stable court, Harrowquern Park", "Two miles out of Tarnoxby on the Oxquern road",
			"The house is shut from November to March. Gate code with the estate office.",
			"The loft floor is boarded over the joists only: keep to the walkway."),
		site("station-forecourt", "Station forecourt", "Tarnoxby, in front of the old station",
			"Open pavement. The foot of the post opens with the square key; tell the parking warden.",
			"Traffic passes close by: cones out, and no work on the head without a lift and a second person."),
		site("quay-head", "Quay head", "Wendlequay, where the ferry lands",
			"Open quay. Movement in the foot of the post, T-key with the harbour office.",
			"The quay edge is two steps away and wet at spring tides."),
		site("vennigold-house", "Vennigold House", "Oxquern, Upper Row",
			"By appointment; ring at the garden door. The clock hangs in the stair hall.", ""),
		site("mill-cottage", "Mill Cottage", "Wendlequay, Leat Lane",
			"By appointment in the afternoon. There is a dog; it is kind.", ""),
		site("almshouses", "Quillfax Almshouses", "Oxquern, Low Street",
			"Key in the porch box, code with the keeper. 40 stairs, low beam at the top.",
			"Low beam at the trap door: mind your head."),
		site("reading-room", "Reading Room", "Tarnoxby, Library Walk",
			"During opening hours, Tuesday to Saturday. 52 stairs from the map room.",
			"The winder is fed from the mains; its isolator is behind the map chest."),
	}
}
