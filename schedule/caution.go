package schedule

import "strings"

// Hazard is something about a clock that can hurt whoever works on it.
type Hazard string

// The hazards that a clock can carry.
const (
	Radium    Hazard = "radium"
	LeadPaint Hazard = "lead paint"
	Asbestos  Hazard = "asbestos"
	BirdDirt  Hazard = "bird droppings"
	Height    Hazard = "height"
	Mains     Hazard = "mains electricity"
	Bells     Hazard = "ringing bells"
	HeavyFall Hazard = "heavy weights"
)

// hazardWords is the usual caution for each hazard (common practice; for bird
// droppings after the UK Health and Safety Executive's page of 2021).
var hazardWords = map[Hazard]string{
	Radium:    "Luminous paint may hold radium: never scrape, sand or open it; ask the radiation authority.",
	LeadPaint: "Old paint may hold lead: have it tested before it is disturbed.",
	Asbestos:  "Boards or lagging may hold asbestos: stop and report, licensed people only.",
	BirdDirt:  "Bird droppings: wet them down, no dry sweeping, fitted FFP3 or P3 mask, wash afterwards.",
	Height:    "Work at height: somebody knows you are up and when you return; fence the ground below; not in wind or ice.",
	Mains:     "Mains electricity: isolate and prove dead; a competent electrician.",
	Bells:     "Bells left up can kill: two locked doors, nobody among them; hearing protection near a strike.",
	HeavyFall: "Never stand under a weight, and let nobody be below it.",
}

// taskWords is the usual caution for each kind of task (common practice).
var taskWords = map[TaskKind]string{
	Winding:    "Do not wind while it strikes or is about to; see that the click holds before you let go; keep clear of the handle; never stand under the weights.",
	Oiling:     "Stop and hold the train before your hands are in it; a drop, not a flood; take oily rags away with you.",
	Inspection: "Somebody knows you are up and when you return; light and footing first; look, do not reach into a moving train.",
	Measuring:  "Weight down or held, barrel blocked, fly and hammer tied before the load is taken off; the maintaining power may still drive.",
	Locked:     "Touch nothing and let nobody run it, or go in, until the lock is cleared by name; keep people out from below a weight that may fall.",
	PowerCheck: "Isolate and prove dead before a cover comes off; a motor may start by itself when the mains come back; keep clear of weights and fly.",
	LineLook:   "Thick gloves: broken wires cut; weight down or held before the line is slack; never stand under a weight, and let nobody be below it.",
	LineAge:    "Work for the clockmaker: lifting gear rated and examined, weight landed or held, nobody below.",
	Visiting:   "Somebody knows you are up and when you return; weight down or held, barrel blocked, fly and hammer tied before hands go in.",
	Setting:    "Do not set while it strikes or is about to; keep clear of the pendulum, the fly and the hands; a heavy bob is blocked up before its nut is turned.",
	TimeChange: "Silence the bell first where it is asked; never force the hands back; hearing protection near a striking bell; keep clear of the fly and the weights while it runs.",
	Seasonal:   "Isolate and prove dead before lamps or heaters are touched; somebody knows you are up and when you return.",
	Restart:    "A train that stopped by itself may run on the moment that it is freed: hands out, keep clear of the weights and the fly, force nothing; what is broken is the clockmaker's.",
	Mending:    "Work for the clockmaker: weight down or held, barrel blocked, springs let down before anything is taken apart.",
	NearLimit:  "Work for the clockmaker: weight down or held and springs let down before anything is taken apart.",
}

// saidByHazard takes out of a task's caution what a hazard of its clock says of
// every task, so that it is said once.
var saidByHazard = map[Hazard]*strings.Replacer{
	HeavyFall: strings.NewReplacer("; never stand under the weights", "", "; never stand under a weight, and let nobody be below it", ""),
	Height:    strings.NewReplacer("Somebody knows you are up and when you return; l", "L", "Somebody knows you are up and when you return; w", "W", "; somebody knows you are up and when you return", ""),
}

// deferral closes every caution: the program never says that a task is safe.
const deferral = "Local rules and licensed people decide."

// Caution puts together what can hurt somebody doing a task: the task's own
// caution, the site's, and the clock's hazards.
func Caution(kind TaskKind, site Site, hazards []Hazard) string {
	return strings.Join(append(cautions(kind, site, hazards), deferral), " ")
}

// cautions are the same one by one, but for what closes them.
func cautions(kind TaskKind, site Site, hazards []Hazard) []string {
	var parts []string
	if s := taskWords[kind]; s != "" {
		for _, h := range hazards {
			if said := saidByHazard[h]; said != nil {
				s = said.Replace(s)
			}
		}
		parts = append(parts, s)
	}
	if s := strings.TrimRight(strings.TrimSpace(site.Caution), "."); s != "" {
		parts = append(parts, s+".")
	}
	for _, h := range hazards {
		if w, ok := hazardWords[h]; ok {
			parts = append(parts, w)
		}
	}
	return parts
}
