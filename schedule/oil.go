package schedule

import "endshake/wear"

// OilState is how the oil of one subject stands: of the points that one oiling
// policy is about.
type OilState struct {
	Policy  Policy
	Subject string // train or bearing code; empty: the whole clock
	About   string // in words
	Kind    OilKind
	Since   Date // last oiled, not merely topped up; zero: none is logged
	TopUps  int  // since then
	Life    wear.Life
	// Median is the middle of its life in years and Risk the chance, by now,
	// that it no longer does its work.
	Median, Risk float64
	// ByRisk is the day on which the chance reaches the policy's risk; zero: the
	// policy names none.
	ByRisk Date
	// Factors say how the prior came about, one sentence each.
	Factors []string
	// Found is what was last found of it, and Residue; empty: nothing.
	Found   OilFound
	Residue Residue
}

// OilLesson is what the fleet's inspections taught of one kind of oil: by how
// much its log life differs from what was believed beforehand.
type OilLesson struct {
	Shift, SD float64
	Clocks    int // that taught it
	Sightings int
}

// oils works out how the oil of a clock stands.
func oils(a Assessment, m Model) []OilState { return nil }

// oilings are the oiling tasks of a clock.
func oilings(a Assessment) []Task {
	var out []Task
	for _, p := range a.Clock.Policies {
		if p.Task == Oiling {
			out = append(out, byPolicy(a, p))
		}
	}
	return out
}

// learnOil learns the lives of oils from what inspections of the whole fleet
// found, by kind of oil.
func learnOil(all []Assessment) map[OilKind]OilLesson { return nil }

// blackResidue is the day on which oil with metal in it was last found at a
// bearing since its last repair; zero: never.
func (a Assessment) blackResidue(bearing string) Date { return Date{} }
