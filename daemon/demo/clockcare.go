package demo

import (
	"slices"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// telling is what is told of a clock's care in its log, beside what its simulation
// brings.
type telling struct {
	visits      bool   // the yearly visit is the clockmaker's, with a report
	oilLife     int    // days until half of its oil is past its work; zero: nobody looks at it
	strand      string // the line on which a broken strand was found last month
	undone      bool   // grams were put on its pendulum and taken off again
	unchanged   bool   // the last change of time is not done yet, unless long ago
	cuts        []int  // days ago on which the mains were cut
	thermometer bool   // one hangs beside it, and is read
}

// describeCare gives a clock its care: where it is oiled, what its weights hang
// on, how well it must keep time, and what the seasons ask.
func (p *plan) describeCare() {
	c := &p.clock
	c.Care.Change = map[string]schedule.ChangeHow{stopHour: schedule.StopAnHour, elevenOn: schedule.AdvanceEleven, byMotor: schedule.ByMotor}[p.hourBack]
	c.Care.Room = map[schedule.ClockKind]schedule.Room{schedule.Turret: schedule.SweptRoom, schedule.Post: schedule.Sheltered, schedule.Private: schedule.ClosedCase}[c.Kind]
	c.Care.Bell = slices.Contains(c.Cautions, schedule.Bells)
	if slices.Contains(c.Cautions, schedule.BirdDirt) {
		c.Care.Room = schedule.DustyRoom
	}
	p.told.oilLife = 520
	if c.Kind == schedule.Post {
		p.told.oilLife = 300
		c.Care.Seasons = postSeasons()
	}
	if describe, ok := cared[c.Slug]; ok {
		describe(p)
	}
}

// cared describes further what somebody has gone into.
var cared = map[string]func(*plan){
	"corn-hall": func(p *plan) {
		drive(p, 0, wear.Weight{Fall: 9740 * wear.Millimetre, Barrel: 180 * wear.Millimetre, Line: 6 * wear.Millimetre,
			Gears: []wear.Gear{{Wheel: 96, Pinion: 8}}, GearHours: 1})
		drive(p, 1, wear.Weight{Fall: 15200 * wear.Millimetre, Barrel: 180 * wear.Millimetre, Line: 6 * wear.Millimetre, TurnBlows: 50})
		strikes(p, 1, wear.Striking{Hours: true})
		line(p, schedule.Line{Code: "going-line", Name: "going line", Train: "going", Diameter: 6 * wear.Millimetre, OuterWires: 72, MostYears: 20, Source: conservators})
		line(p, schedule.Line{Code: "strike-line", Name: "strike line", Train: "strike", Diameter: 6 * wear.Millimetre, OuterWires: 72})
		keepsTo(p, 60, schedule.Pendulum{Beat: 1.25, Pitch: 1500 * wear.Micrometre, Bob: 60})
		oilMap(p, schedule.OilPoint{Code: "setting-clutch", Name: "setting clutch", Train: "going", Dry: true, Why: "It slips, and the clock loses."},
			schedule.OilPoint{Code: "strike-pads", Name: "lifting pads of the strike", Train: "strike", Oil: "grease", Kind: schedule.Grease, Amount: "a smear", Drops: 1})
		p.told.visits = true
	},
	"old-priory": func(p *plan) {
		drive(p, 0, wear.Weight{Fall: 9500 * wear.Millimetre, Barrel: 240 * wear.Millimetre, Line: 5 * wear.Millimetre, TurnHours: 16.2})
		drive(p, 1, wear.Weight{Fall: 10600 * wear.Millimetre, Barrel: 120 * wear.Millimetre, Line: 5 * wear.Millimetre, TurnBlows: 24.6})
		drive(p, 2, wear.Weight{Fall: 13400 * wear.Millimetre, Barrel: 120 * wear.Millimetre, Line: 5 * wear.Millimetre, TurnBlows: 60})
		strikes(p, 1, wear.Striking{Hours: true})
		strikes(p, 2, wear.Striking{Quarters: [4]int{2, 4, 6, 8}})
		for _, t := range p.clock.Trains {
			line(p, schedule.Line{Code: t.Code + "-line", Name: t.Code + " line", Train: t.Code, Construction: "7x19", Material: "galvanised steel",
				Diameter: 5 * wear.Millimetre, OuterWires: 72, MostYears: 15, Source: conservators})
		}
		keepsTo(p, 45, schedule.Pendulum{Beat: 1.5, Pitch: 1250 * wear.Micrometre, Bob: 90})
		byRisk(p, 0.1)
		p.told.strand, p.told.visits = "chime-line", true
	},
	"market-house": func(p *plan) { keepsTo(p, 120, schedule.Pendulum{Beat: 1}) },
	"town-hall": func(p *plan) {
		strikes(p, 1, wear.Striking{Hours: true, Silent: [2]int{22, 7}})
		keepsTo(p, 30, schedule.Pendulum{Beat: 1.5, Pitch: 1250 * wear.Micrometre, Bob: 120})
		p.clock.Trains[0].MeterHours = 99999
		p.told.cuts, p.told.visits = []int{2, 320}, true
	},
	"fulling-mill": func(p *plan) { p.told.unchanged = true },
	"station-post": func(p *plan) {
		keepsTo(p, 30, schedule.Pendulum{})
		p.clock.Care.Pendulum = nil // it has none
		p.clock.Care.ChangeNote = "The warden lifts the bollard; the setting switch is behind the square door."
		oilMap(p, schedule.OilPoint{Code: "paint", Name: "figures and hands", Dry: true, Why: "Luminous paint: nothing touches it."})
		byRisk(p, 0.1)
	},
	"quay-post": func(p *plan) {
		drive(p, 0, wear.Weight{Fall: 2950 * wear.Millimetre, Barrel: 110 * wear.Millimetre, Line: 4 * wear.Millimetre, Lines: 2, TurnHours: 12.14})
		line(p, schedule.Line{Code: "post-line", Name: "line in the post", Train: "going", Construction: "7x19", Material: "stainless steel",
			Diameter: 4 * wear.Millimetre, MostYears: 10, Source: conservators})
		p.clock.Care.Room, p.clock.Care.Damp = schedule.Wetted, true
	},
	"upper-row-regulator": func(p *plan) {
		drive(p, 0, wear.Weight{Turns: 16, TurnHours: 12.5})
		keepsTo(p, 5, schedule.Pendulum{Beat: 1, Pitch: 800 * wear.Micrometre, Bob: 6})
		p.told.undone, p.told.thermometer = true, true
	},
	"mill-cottage-longcase": func(p *plan) { keepsTo(p, 120, schedule.Pendulum{Beat: 1, Bob: 2}) },
	"almshouses": func(p *plan) {
		drive(p, 0, wear.Weight{Fall: 8000 * wear.Millimetre, Barrel: 200 * wear.Millimetre, Line: 20 * wear.Millimetre, TurnHours: 17.3})
		strikes(p, 1, wear.Striking{Hours: true})
	},
	"reading-room": func(p *plan) {
		line(p, schedule.Line{Code: "winder-line", Name: "line of the winder", Train: "going", Diameter: 5 * wear.Millimetre})
		keepsTo(p, 45, schedule.Pendulum{Beat: 1.25, Pitch: 1500 * wear.Micrometre, Bob: 75})
		oilMap(p, schedule.OilPoint{Code: "wheel-teeth", Name: "teeth of the train", Train: "going", Dry: true, Why: "Oil there gathers dust and wears the pinions."})
	},
}

// conservators is the source of what the invented conservator has set.
const conservators = "the conservator's survey"

// drive gives a train its weight. How long it runs follows from that, and is not
// stated beside it.
func drive(p *plan, train int, w wear.Weight) {
	t := &p.clock.Trains[train]
	t.Weight, t.Reserve = &w, 0
}

// strikes says by the dial what was given as blows a day.
func strikes(p *plan, train int, s wear.Striking) {
	t := &p.clock.Trains[train]
	t.Striking, t.StrokesPerDay = &s, 0
}

// line hangs a weight on a rope, fitted when the clock came into care, and has it
// looked at.
func line(p *plan, l schedule.Line) {
	c := &p.clock
	if l.MostYears > 0 {
		l.FittedAt = c.InCare.Add(-200)
	}
	if len(c.Care.Lines) == 0 {
		c.Policies = append(c.Policies, schedule.Policy{Task: schedule.LineLook, Days: 365, Lead: 45, Grace: 45, Minutes: 30, Two: true,
			Reason: "With the yearly visit, by eye and gloved hand: one at the barrel, one at the weight.", Source: common})
		c.Policies = append(c.Policies, schedule.Policy{Task: schedule.Visiting, Days: 365, Lead: 45, Grace: 60,
			Reason: "A written report for the owner, and what is to be spent next year.", Source: common})
		p.told.visits = true
	}
	c.Care.Lines = append(c.Care.Lines, l)
}

// keepsTo says how far wrong a clock may be, and what its pendulum is.
func keepsTo(p *plan, seconds float64, pendulum schedule.Pendulum) {
	p.clock.Care.Tolerance = &schedule.Tolerance{Seconds: seconds, Source: "agreed with the owner"}
	p.clock.Care.Pendulum = &pendulum
}

// oilMap goes round the bearings as they are described, and then the rest.
func oilMap(p *plan, more ...schedule.OilPoint) {
	c := &p.clock
	for _, t := range c.Trains {
		for _, a := range t.Arbors {
			for _, b := range a.Bearings {
				point := schedule.OilPoint{Code: b.Code, Name: schedule.NameOf(b.Name, a.Name), Train: t.Code, Bearing: b.Code,
					Oil: p.oil, Kind: schedule.MineralOil, Amount: "1 drop", Drops: 1, Fast: a.Revs > 30, NoSink: b.Form == wear.ThrustFace}
				if b.In == wear.Outdoors {
					point.Room, point.Amount, point.Drops = schedule.Sheltered, "2 drops", 2
				}
				c.Care.Points = append(c.Care.Points, point)
			}
		}
	}
	c.Care.Points = append(c.Care.Points, more...)
}

// byRisk has the whole clock's oiling fall due by the chance that it comes too
// late, its calendar interval being the longest.
func byRisk(p *plan, risk float64) {
	for i := range p.clock.Policies {
		if pol := &p.clock.Policies[i]; pol.Task == schedule.Oiling && pol.Train == "" && pol.Bearing == "" {
			pol.Risk = risk
		}
	}
}

// postSeasons are what a clock on a pavement asks, once a year each.
func postSeasons() []schedule.Season {
	season := func(code, name, reason string, from, to schedule.MonthDay, hazards ...schedule.Hazard) schedule.Season {
		return schedule.Season{Code: code, Name: name, From: from, To: to, Hazard: hazards, Reason: reason, Source: common}
	}
	return []schedule.Season{
		season("lights-on", "dial lights on for the winter", "Their warmth keeps damp out of the head.",
			schedule.MonthDay{Month: time.October, Day: 1}, schedule.MonthDay{Month: time.November, Day: 10}, schedule.Mains),
		season("gaskets", "look at gaskets and drain of the head", "Before the summer's dust.",
			schedule.MonthDay{Month: time.April, Day: 10}, schedule.MonthDay{Month: time.May, Day: 20}, schedule.Height),
	}
}
