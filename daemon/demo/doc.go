// Package demo invents a fleet of town clocks with years of log, for anybody
// who wants to look round before describing clocks of their own.
//
// [Fleet] is a seeded simulation: clocks are wound, forgotten, stopped by snow,
// oiled, measured and repaired by invented people in an invented district, and
// their bearings wear by Archard's law with a grain of their own. The same day
// and seed give the same bytes. Nothing here reads a clock, a file or a network.
package demo

import (
	"math/rand/v2"

	"endshake/schedule"
)

// Explain says in a short paragraph what the invented fleet is, for the top of
// a page.
func Explain() string {
	return "An invented fleet: twelve clocks in the Vale of Hethquern, a place that is on no map, whose bearings wear " +
		"by a seeded simulation. All mail goes to the mail room here: nothing leaves this machine."
}

// Fleet invents twelve clocks and their logs up to 06:00 local time on today.
// A log is by [schedule.Clock.Slug], in the order in which it was recorded:
// replaying it through [schedule.Validate] refuses nothing. today must be a
// real day; the same today and seed give the same result.
func Fleet(today schedule.Date, seed uint64) (schedule.Fleet, map[string][]schedule.Entry) {
	fleet, log, _ := invent(today, seed)
	return fleet, log
}

// truth is what really happened to a bearing, which only a simulation knows.
type truth struct {
	Clock, Bearing string
	Rate           float64 // mm per unit of exposure, as it is at the end
	Drawn          float64 // the same when it was drawn, before any story touched it
	Centre         float64 // Archard's median for it
	Story          bool    // the draw was set by the story, not by lot
	Changed        bool    // the rate rose or fell on the way
	Level          float64 // mm at the end
	RunHours       float64 // of its train since it came into care
}

// invent is Fleet with the truth beside it.
func invent(today schedule.Date, seed uint64) (schedule.Fleet, map[string][]schedule.Entry, []truth) {
	plans := plans(today)
	fleet := schedule.Fleet{Sites: sites(), People: people()}
	reach, going := reaches(today), goings(today)
	for i := range fleet.Sites {
		fleet.Sites[i].Reach = reach[fleet.Sites[i].Slug]
	}
	for i := range fleet.People {
		fleet.People[i].Going = going[fleet.People[i].Slug]
	}
	log := make(map[string][]schedule.Entry, len(plans))
	var truths []truth
	for i, p := range plans {
		s := newSim(p, today, rand.New(rand.NewPCG(seed, uint64(i))))
		s.side = rand.New(rand.NewPCG(seed, uint64(i)+1000))
		s.live()
		fleet.Clocks = append(fleet.Clocks, p.clock)
		log[p.clock.Slug] = s.log
		truths = append(truths, s.truths()...)
	}
	return fleet, log, truths
}
