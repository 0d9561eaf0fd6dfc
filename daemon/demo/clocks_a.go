package demo

import (
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// cornHall has a bearing worn past its limit.
func cornHall() plan {
	return plan{
		clock: schedule.Clock{
			Slug: "corn-hall", Name: "Corn Hall", Kind: schedule.Turret, Site: "corn-hall",
			Note:     "Flat-bed movement, pinwheel escapement, two dials of 5 ft. Count wheel: never turn the hands back.",
			Cautions: []schedule.Hazard{schedule.HeavyFall, schedule.Height},
			Duties:   duties(bram, tobin, linnet, odeline),
			Trains: []wear.Train{
				going(wear.HandWound, eightDay,
					arbor("great", "great wheel arbor", 1.0/3, bush("great-front", "front bush", greatSide, 900, 30, 30)),
					arbor("centre", "centre arbor", 1, asFound(bush("centre-front", "front bush", trainSide, 120, 12, 16))),
					arbor("escape", "escape arbor", 400, bush("escape-front", "front bush", escapeSide, 1.5, 4, 6)),
					arbor("leading-off", "leading-off shaft", 1, outdoors(of(wear.SteelOnSteel, face("bevel-foot", "foot washer", bevelEnd, 180, 24, 13))))),
				strike(wear.HandWound, eightDay, 156,
					arbor("strike-great", "strike great wheel arbor", 0.1, asFound(bush("strike-great-back", "back bush", greatSide, 1500, 35, 35))),
					arbor("strike-second", "strike second arbor", 1, bush("strike-second-back", "back bush", trainSide, 120, 10, 14)),
					arbor("fly", "fly arbor", 12, bush("fly-back", "back bush", escapeSide, 3, 5, 7))),
			},
			Policies: append(care(182, twoVisit, common, 1),
				winding("going", 7, forgets, beckett+"197"), winding("strike", 7, "Wound with the going train.", common)),
		},
		years: 15, keeper: bram, winder: tobin, deputy: linnet,
		windEvery: 7, windOn: time.Saturday, oilEvery: 182, oil: "light turret clock oil",
		measure: 1, visit: time.May, hourBack: elevenOn, outside: true, room: 11, swing: 8,
		story: story{past: "escape-front", draws: map[string]float64{"escape-front": 0.1, "fly-back": -0.3}, slip: "strike-second-back"},
	}
}

// oldPriory has a bearing that was repaired for excess wear.
func oldPriory() plan {
	return plan{
		clock: schedule.Clock{
			Slug: "old-priory", Name: "Old Priory", Kind: schedule.Turret, Site: "old-priory",
			Note:     "Three trains in a flat-bed frame, ting-tang quarters on two bells. Strike and chime weights last four days.",
			Cautions: []schedule.Hazard{schedule.Bells, schedule.HeavyFall, schedule.BirdDirt},
			Duties:   duties(idony, sefton, bram, odeline),
			Trains: []wear.Train{
				going(wear.HandWound, eightDay,
					arbor("centre", "centre arbor", 1, asFound(bush("centre-back", "back bush", trainSide, 140, 14, 18))),
					arbor("escape", "escape arbor", 240, bush("escape-back", "back bush", escapeSide, 0.8, 4, 6)),
					arbor("leading-off", "leading-off shaft", 1, outdoors(of(wear.SteelOnSteel, face("bevel-foot", "foot washer", bevelEnd, 240, 26, 13))))),
				strike(wear.HandWound, fourDay, 156,
					arbor("strike-second", "strike second arbor", 1, bush("strike-second-front", "front bush", trainSide, 150, 12, 16)),
					arbor("fly", "fly arbor", 14, bush("fly-front", "front bush", escapeSide, 5, 5, 7))),
				chime(wear.HandWound, fourDay, 480,
					arbor("chime-great", "chime great wheel arbor", 0.05, bush("chime-great-front", "front bush", greatSide, 1100, 30, 30)),
					arbor("chime-fly", "chime fly arbor", 5, bush("chime-fly-back", "back bush", escapeSide, 2, 4, 6))),
			},
			Policies: append(care(120, "Three times a year: it strikes all day and the room is open to the louvres.", common, 1),
				winding("going", 7, forgets, beckett+"197"),
				winding("strike", 4, "Large striking parts are wound every few days.", beckett+"197"),
				winding("chime", 4, "Wound with the strike.", common)),
		},
		years: 12, keeper: idony, winder: sefton, deputy: bram,
		windEvery: 7, windOn: time.Sunday, midweek: []string{"strike", "chime"}, oilEvery: 120, oil: "light turret clock oil",
		measure: 1, visit: time.September, hourBack: stopHour, outside: true, room: 10, swing: 8,
		story: story{
			draws:  map[string]float64{"fly-front": 1.3, "chime-fly-back": -0.6},
			repair: "fly-front", repairYears: 6, after: -0.3,
		},
	}
}

// marketHouse is wound every day and came into care lately.
func marketHouse() plan {
	return plan{
		clock: schedule.Clock{
			Slug: "market-house", Name: "Market House", Kind: schedule.Turret, Site: "market-house",
			Note:     "Small bird-cage movement of 30 hours, one dial. The baker winds it on the way to the oven.",
			Cautions: []schedule.Hazard{schedule.HeavyFall},
			Duties:   duties(linnet, tobin, idony, odeline),
			Trains: []wear.Train{
				going(wear.HandWound, thirty,
					arbor("great", "great wheel arbor", 1, asFound(bush("great-back", "back bush", greatSide, 500, 25, 20))),
					arbor("escape", "escape arbor", 400, asFound(bush("escape-back", "back bush", escapeSide, 1.2, 4, 5))),
					arbor("minute", "minute arbor", 1, outdoors(of(wear.BrassOnBrass, asFound(bush("minute-pipe", "minute pipe", motionSide, 60, 22, 22)))))),
				strike(wear.HandWound, thirty, 156,
					arbor("fly", "fly arbor", 10, asFound(bush("fly-back", "back bush", escapeSide, 2.5, 4, 6)))),
			},
			Policies: append(care(90, "Iron pivots in old brass, beside an oven: little and often.", common, 1),
				winding("going", 1, "Thirty hours of fall: every day.", common), winding("strike", 1, "Wound with the going train.", common)),
		},
		years: 2, keeper: linnet, winder: tobin, deputy: idony,
		windEvery: 1, oilEvery: 90, oil: "light turret clock oil",
		measure: 1, visit: time.March, hourBack: stopHour, outside: true, room: 14, swing: 6,
	}
}

// townHall has a bearing with too few readings to carry a date, and one whose
// last reading is wrong.
func townHall() plan {
	return plan{
		clock: schedule.Clock{
			Slug: "town-hall", Name: "Town Hall", Kind: schedule.Turret, Site: "town-hall",
			Note:     "Gravity escapement, four dials, weights rewound by motors. The front bell is silent from 22:00 to 7:00.",
			Cautions: []schedule.Hazard{schedule.Mains, schedule.Height},
			Duties:   duties(idony, "", tobin, odeline),
			Trains: []wear.Train{
				going(wear.AutoWound, 0,
					arbor("centre", "centre arbor", 1, bush("centre-front", "front bush", trainSide, 160, 14, 18)),
					arbor("escape", "escape arbor", 60, bush("escape-front", "front bush", escapeSide, 2.5, 4, 6)),
					arbor("leading-off", "leading-off shaft", 1, outdoors(of(wear.SteelOnSteel, face("bevel-nest", "bevel nest washer", bevelEnd, 300, 28, 14)))),
					arbor("north-minute", "north minute arbor", 1, outdoors(of(wear.BrassOnBrass, asFound(bush("north-pipe", "minute pipe", motionSide, 140, 24, 22)))))),
				strike(wear.AutoWound, 0, 102,
					arbor("strike-second", "strike second arbor", 1, bush("strike-second-front", "front bush", trainSide, 180, 12, 16)),
					arbor("fly", "fly arbor", 14, bush("fly-front", "front bush", escapeSide, 4, 5, 7))),
			},
			Policies: care(182, twoVisit, common, 2),
		},
		years: 14, keeper: idony, deputy: tobin,
		oilEvery: 182, oil: "light turret clock oil",
		measure: 2, visit: time.June, hourBack: byMotor, outside: true, room: 14, swing: 6,
		story: story{few: "north-pipe", misread: "centre-front", draws: map[string]float64{"north-pipe": -1, "bevel-nest": -0.3, "centre-front": -1.5}},
	}
}

// fullingMill was never measured.
func fullingMill() plan {
	return plan{
		clock: schedule.Clock{
			Slug: "fulling-mill", Name: "Fulling Mill", Kind: schedule.Turret, Site: "fulling-mill",
			Note:     "Mill clock, rewound by motor since the mill became workshops. Nobody has had a gauge on it yet.",
			Cautions: []schedule.Hazard{schedule.BirdDirt, schedule.Mains, schedule.Asbestos},
			Duties:   duties(tobin, "", sefton, odeline),
			Trains: []wear.Train{
				going(wear.AutoWound, 0,
					arbor("centre", "centre arbor", 1, asFound(bush("centre-back", "back bush", trainSide, 120, 12, 15))),
					arbor("escape", "escape arbor", 400, asFound(bush("escape-back", "back bush", escapeSide, 1.4, 4, 6))),
					arbor("leading-off", "leading-off shaft", 1, outdoors(of(wear.SteelOnSteel, asFound(face("bevel-foot", "foot washer", bevelEnd, 150, 24, 13)))))),
				strike(wear.AutoWound, 0, 156,
					arbor("strike-second", "strike second arbor", 1, asFound(bush("strike-second-back", "back bush", trainSide, 120, 10, 14))),
					arbor("fly", "fly arbor", 12, asFound(bush("fly-back", "back bush", escapeSide, 3, 5, 7)))),
			},
			Policies: care(365, drops, beckett+"192", 2),
		},
		years: 1, months: 10, keeper: tobin, deputy: sefton,
		oilEvery: 365, oil: "light turret clock oil",
		visit: time.October, hourBack: byMotor, outside: true, room: 11, swing: 8,
	}
}

// stableCourt rests every winter.
func stableCourt() plan {
	return plan{
		clock: schedule.Clock{
			Slug: "stable-court", Name: "Stable court", Kind: schedule.Turret, Site: "stable-court",
			Note:     "One dial over the arch. The iron is old and brittle in frost, so it rests from November to March.",
			Cautions: []schedule.Hazard{schedule.Height, schedule.HeavyFall},
			Duties:   duties(sefton, "", linnet, alder),
			Trains: []wear.Train{
				going(wear.HandWound, eightDay,
					arbor("great", "great wheel arbor", 1.0/3, bush("great-back", "back bush", greatSide, 700, 28, 26)),
					arbor("third", "third arbor", 40, bush("third-front", "front bush", trainSide, 9, 7, 8)),
					arbor("escape", "escape arbor", 400, bush("escape-front", "front bush", escapeSide, 1, 4, 6))),
				strike(wear.HandWound, eightDay, 156,
					arbor("strike-second", "strike second arbor", 1, bush("strike-second-front", "front bush", trainSide, 90, 10, 14)),
					arbor("fly", "fly arbor", 12, bush("fly-front", "front bush", escapeSide, 2.5, 4, 6))),
			},
			Policies: append(care(182, "At the spring start and before the autumn stop.", common, 2),
				winding("going", 7, forgets, beckett+"197"), winding("strike", 7, "Wound with the going train.", common)),
		},
		years: 12, keeper: sefton, winder: sefton, deputy: linnet,
		windEvery: 7, windOn: time.Friday, oilEvery: 182, oil: "light turret clock oil",
		measure: 2, visit: time.July, hourBack: elevenOn, outside: true, room: 12, swing: 8,
		story: story{winter: true, draws: map[string]float64{"escape-front": -0.5}},
	}
}
