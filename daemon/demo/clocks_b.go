package demo

import (
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// stationPost is electric and carries old luminous paint. Its bevels open as
// their washer wears, which is oiled late and wears for it.
func stationPost() plan {
	return plan{
		clock: schedule.Clock{
			Slug: "station-post", Name: "Station post clock", Kind: schedule.Post, Site: "station-forecourt",
			Note:     "Synchronous movement in the head, two dials. The figures glowed once: treat the paint as radium.",
			Cautions: []schedule.Hazard{schedule.Radium, schedule.Mains, schedule.Height},
			Duties:   duties(linnet, "", tobin, odeline),
			Trains: []wear.Train{
				meshing(going(wear.Electric, 0,
					arbor("worm", "worm wheel arbor", 60, outdoors(bush("worm-bush", "front bush", trainSide, 2.5, 6, 8))),
					arbor("bevel", "bevel arbor", 1, outdoors(of(wear.SteelOnSteel, face("bevel-washer", "washer", bevelEnd, 220, 20, 10)))),
					arbor("minute", "minute arbor", 1, outdoors(of(wear.BrassOnBrass, bush("minute-pipe", "minute pipe", motionSide, 60, 20, 20)))),
					arbor("hour", "hour pipe", 1.0/12, outdoors(of(wear.BrassOnBrass, asFound(bush("hour-pipe", "hour pipe bush", motionSide, 70, 30, 22)))))),
					wear.Mesh{Code: "head-bevels", Name: "bevels in the head", Bearing: "bevel-washer", Kind: wear.Bevel, Module: 1.5, PressureAngle: 20,
						Teeth: 40, Mate: 40, Drop: wear.Opens, Backlash: 80, ToHand: 1},
					wear.Mesh{Code: "minute-wheel", Name: "minute wheel and pinion", Bearing: "minute-pipe", Kind: wear.Spur, Module: 1.25, PressureAngle: 20,
						Teeth: 36, Mate: 12, Drop: wear.Opens, Backlash: 60, ToHand: 1}),
			},
			Policies: care(182, dusty, common, 1),
		},
		years: 13, keeper: linnet, deputy: tobin,
		oilEvery: 182, oil: "light synthetic oil, grease on the bevels",
		measure: 1, visit: time.April, hourBack: byMotor, outside: true, room: 10, swing: 9,
		story: story{lateOil: 130, draws: map[string]float64{"bevel-washer": 1.8, "minute-pipe": 0.6}},
	}
}

// quayPost is wound by hand and painted with old lead paint. Its long shaft
// moves by the season, and as its foot wears draws a contrate wheel away from its
// pinion.
func quayPost() plan {
	return plan{
		clock: schedule.Clock{
			Slug: "quay-post", Name: "Quay post clock", Kind: schedule.Post, Site: "quay-head",
			Note:     "Weight-driven movement in the foot, a brass shaft of 14 ft to the head. Red and white lead under the green.",
			Cautions: []schedule.Hazard{schedule.LeadPaint, schedule.Height},
			Duties:   duties(tobin, tobin, linnet, odeline),
			Trains: []wear.Train{
				meshing(going(wear.HandWound, eightDay,
					arbor("great", "great wheel arbor", 1.0/3, bush("great-front", "front bush", greatSide, 350, 22, 20)),
					arbor("escape", "escape arbor", 240, bush("escape-front", "front bush", escapeSide, 0.5, 4, 5)),
					arbor("post-shaft", "post shaft", 1, outdoors(of(wear.SteelOnSteel, brassShaft(4270, face("post-shaft-foot", "foot washer", bevelEnd, 165, 24, 13))))),
					arbor("minute", "minute arbor", 1, outdoors(of(wear.BrassOnBrass, bush("minute-pipe", "minute pipe", motionSide, 55, 20, 20))))),
					wear.Mesh{Code: "foot-contrate", Name: "contrate wheel at the foot", Bearing: "post-shaft-foot", Kind: wear.Contrate, Module: 1.75, PressureAngle: 20,
						Teeth: 60, Mate: 20, Drop: wear.Opens, Backlash: 100, ToHand: 1}),
			},
			Policies: append(care(120, "Salt air: the head dries and rusts faster than it wears.", common, 1),
				winding("going", 7, forgets, beckett+"197")),
		},
		years: 15, keeper: tobin, winder: tobin, deputy: linnet,
		windEvery: 7, windOn: time.Monday, oilEvery: 120, oil: "light machine oil, grease on the bevels",
		measure: 1, visit: time.August, seasons: true, hourBack: elevenOn, outside: true, room: 11, swing: 8,
		story: story{bench: true, draws: map[string]float64{"post-shaft-foot": 0.3}},
	}
}

// regulator is a private wall clock whose owner thinks in thou.
func regulator() plan {
	return plan{
		clock: schedule.Clock{
			Slug: "upper-row-regulator", Name: "Upper Row regulator", Kind: schedule.Private, Site: "vennigold-house",
			Note:   "Wall regulator, dead-beat escapement, wooden rod. The owner winds it on Sundays before lunch.",
			Duties: duties(alder, alder, bram, alder),
			Trains: []wear.Train{
				going(wear.HandWound, eightDay,
					arbor("great", "great wheel arbor", 1.0/12, bush("great-back", "back hole", houseSide, 45, 3, 3)),
					arbor("third", "third arbor", 7.5, asFound(bush("third-front", "front hole", houseSide, 4, 1.8, 2.5))),
					arbor("escape", "escape arbor", 60, bush("escape-front", "front hole", houseSide, 0.35, 1.2, 2.5)),
					arbor("pallets", "pallet arbor", 20, bush("pallet-back", "back hole", houseSide, 1, 1.5, 2.5))),
			},
			Policies: append(care(365, "A closed case in a heated house; the maker's label says little and often.", common, 2),
				winding("going", 7, "Wound on the same day each week.", common)),
		},
		years: 10, keeper: alder, winder: alder, deputy: bram,
		windEvery: 7, windOn: time.Sunday, oilEvery: 365, oil: "synthetic clock oil",
		measure: 2, visit: time.November, hourBack: stopHour, room: 18, swing: 3,
	}
}

// longcase is a private clock in a cottage.
func longcase() plan {
	return plan{
		clock: schedule.Clock{
			Slug: "mill-cottage-longcase", Name: "Mill Cottage longcase", Kind: schedule.Private, Site: "mill-cottage",
			Note:   "Longcase of eight days with a painted dial, rack strike on one bell.",
			Duties: duties(odeline, odeline, sefton, odeline),
			Trains: []wear.Train{
				going(wear.HandWound, eightDay,
					arbor("great", "great wheel arbor", 1.0/12, bush("great-front", "front hole", houseSide, 55, 3.5, 3)),
					arbor("centre", "centre arbor", 1, asFound(face("centre-shoulder", "back shoulder", houseEnd, 8, 6, 3))),
					arbor("escape", "escape arbor", 60, bush("escape-back", "back hole", houseSide, 0.5, 1.3, 2.4))),
				strike(wear.HandWound, eightDay, 156,
					arbor("strike-great", "strike great wheel arbor", 0.08, bush("strike-great-front", "front hole", houseSide, 55, 3.5, 3)),
					arbor("fly", "fly arbor", 40, bush("fly-back", "back hole", houseSide, 0.25, 1, 2.4))),
			},
			Policies: append(care(365, "A room with a fire in it.", common, 2),
				winding("going", 7, "Wound on the same day each week.", common), winding("strike", 7, "Wound with the going train.", common)),
		},
		years: 11, keeper: odeline, winder: odeline, deputy: sefton,
		windEvery: 7, windOn: time.Sunday, oilEvery: 365, oil: "synthetic clock oil",
		measure: 2, visit: time.February, hourBack: stopHour, room: 17, swing: 3,
	}
}

// almshouses was last wound too long ago.
func almshouses() plan {
	return plan{
		clock: schedule.Clock{
			Slug: "almshouses", Name: "Almshouses", Kind: schedule.Turret, Site: "almshouses",
			Note:     "Plate-and-spacer movement, one dial to the street. The mark for full wind is a red thread on the rope.",
			Cautions: []schedule.Hazard{schedule.HeavyFall},
			Duties:   duties(bram, sefton, idony, odeline),
			Trains: []wear.Train{
				going(wear.HandWound, eightDay,
					arbor("great", "great wheel arbor", 1.0/3, bush("great-back", "back bush", greatSide, 600, 26, 24)),
					arbor("escape", "escape arbor", 400, bush("escape-back", "back bush", escapeSide, 0.6, 4, 6)),
					arbor("leading-off", "leading-off shaft", 1, outdoors(of(wear.SteelOnSteel, asFound(face("bevel-foot", "foot washer", bevelEnd, 110, 22, 12)))))),
				strike(wear.HandWound, eightDay, 156,
					arbor("strike-second", "strike second arbor", 1, bush("strike-second-back", "back bush", trainSide, 100, 10, 14)),
					arbor("fly", "fly arbor", 12, bush("fly-back", "back bush", escapeSide, 1.4, 4, 6))),
			},
			Policies: append(care(365, drops, beckett+"192", 2),
				winding("going", 7, forgets, beckett+"197"), winding("strike", 7, "Wound with the going train.", common)),
		},
		years: 15, keeper: bram, winder: sefton, deputy: idony,
		windEvery: 7, windOn: time.Wednesday, oilEvery: 365, oil: "light turret clock oil",
		measure: 2, visit: time.May, hourBack: stopHour, outside: true, room: 12, swing: 7,
		story: story{quiet: 16, oilTin: true, draws: map[string]float64{"escape-back": -0.2}},
	}
}

// readingRoom wore faster after nobody had oiled it.
func readingRoom() plan {
	return plan{
		clock: schedule.Clock{
			Slug: "reading-room", Name: "Reading Room", Kind: schedule.Turret, Site: "reading-room",
			Note:     "Rewound by motor, three dials. For nearly two years the keeper's post was vacant and nobody oiled.",
			Cautions: []schedule.Hazard{schedule.Mains, schedule.Height},
			Duties:   duties(sefton, "", idony, odeline),
			Trains: []wear.Train{
				meshing(going(wear.AutoWound, 0,
					arbor("centre", "centre arbor", 1, bush("centre-back", "back bush", trainSide, 130, 13, 16)),
					arbor("escape", "escape arbor", 240, bush("escape-front", "front bush", escapeSide, 1.1, 4, 6)),
					arbor("leading-off", "leading-off shaft", 1, of(wear.SteelOnSteel, face("bevel-foot", "foot washer", bevelEnd, 320, 26, 14)))),
					wear.Mesh{Code: "centre-wheel", Name: "centre wheel and escape pinion", Bearing: "centre-back", Kind: wear.Spur, Module: 2, Cycloidal: true,
						Teeth: 96, Mate: 8, Drop: wear.Opens}),
				strike(wear.AutoWound, 0, 156,
					arbor("strike-second", "strike second arbor", 1, asFound(bush("strike-second-front", "front bush", trainSide, 110, 11, 14))),
					arbor("fly", "fly arbor", 12, bush("fly-back", "back bush", escapeSide, 2.2, 5, 7))),
			},
			Policies: care(182, twoVisit, common, 1),
		},
		years: 15, keeper: sefton, deputy: idony,
		oilEvery: 182, oil: "light turret clock oil",
		measure: 1, visit: time.September, hourBack: byMotor, outside: true, room: 13, swing: 6,
		story: story{
			draws:  map[string]float64{"bevel-foot": -0.8},
			missed: &missed{bearing: "bevel-foot", from: 68, to: 46, factor: 10},
		},
	}
}
