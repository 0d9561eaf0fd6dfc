package reckon

import (
	"math"

	"endshake/schedule"
	"endshake/wear"
)

var washer = Sheet{
	Name: "washer", Title: "Washers and bushes", Caution: care(schedule.NearLimit),
	About: "What end-shake facing and washers leave, which washer to fit, where the wheel then stands, and whether a hole is worn.",
	Inputs: []Input{
		{Name: "end-shake", What: "the end-shake now", Kind: Length, Most: 100},
		{Name: "pocket", What: "the depth, from the first face, of the worn pocket that the shoulder runs in", Kind: Length, Usual: "0 mm", Most: 100},
		{Name: "facing", What: "how far the bush is faced down from its first face", Kind: Length, Usual: "0 mm", Most: 100},
		{Name: "washer", What: "the washer fitted at that end", Kind: Length, Most: 100},
		{Name: "other", What: "a second washer, at the other end", Kind: Length, Most: 100},
		{Name: "want", What: "the end-shake that is wanted", Kind: Length, Above: true, Most: 100},
		{Name: "stock", What: "the washers in stock, with commas between them", Kind: Lengths, Above: true, Most: 100},
		{Name: "least", What: "the least end-shake that may be left", Kind: Length, Usual: "0.1 mm", Most: 10},
		{Name: "cone", What: "the cone angle of a bevel wheel on the arbor, from its axis", Kind: Angle, Above: true, Most: 90},
		{Name: "pressure", What: "the pressure angle of its teeth", Kind: Angle, Usual: "20 deg", Least: 10, Most: 30},
		{Name: "pivot", What: "the diameter of the pivot", Kind: Length, Above: true, Most: 500},
		{Name: "hole", What: "the diameter of its hole", Kind: Length, Above: true, Most: 500},
	},
	Example: []string{"end-shake", "1.15 mm", "pocket", "0.90 mm", "facing", "1.00 mm", "washer", "1.00 mm", "cone", "45 deg"},
	reckon: func(b *bench) {
		if b.has("end-shake") {
			b.fit()
		}
		b.hole()
	},
}

// fit is the end-shake after facing and washers, and the washer to choose.
func (b *bench) fit() {
	const washers = "end-shake + metal removed − washers"
	e, removed := b.of("end-shake"), wear.FacedOff(b.of("facing"), b.of("pocket"))
	b.result("removed", "Metal removed where the shoulder runs", removed, "mm", "facing − pocket, never below nothing", geometry)
	if b.of("facing") > 0 && b.of("pocket") > 0 {
		b.remark("The shoulder ran at the bottom of the pocket already: only what is faced below it counts. To count the whole facing of %s is the common slip.", showLength(b.of("facing")))
	}
	if b.has("want") {
		t := wear.WasherFor(e, removed, b.of("want"))
		b.result("needed", "Washers for the end-shake wanted", t, "mm", "end-shake + metal removed − end-shake wanted", geometry)
		if t < 0 {
			b.remark("The end-shake is smaller than wanted already: no washer, but metal is to come off.")
		}
		b.fromStock(e, removed, t)
	}
	if one, other := b.or("washer", 0), b.or("other", 0); b.has("washer") || b.has("other") || !b.has("want") {
		b.left("left", "End-shake left", wear.EndShakeAfter(e, removed, one+other), washers)
		if gone := max(b.of("facing"), b.of("pocket")); one+other+gone > 0 {
			b.shifted(wear.WheelShift(one, gone, other))
		}
	}
}

// fromStock chooses the thickest washer that leaves at least what is wanted.
func (b *bench) fromStock(e, removed, t float64) {
	best := math.NaN()
	for _, s := range b.many("stock") {
		if s <= t+1e-9 && !(s <= best) {
			best = s
		}
	}
	if math.IsNaN(best) {
		if b.has("stock") && t > 0 {
			b.remark("No washer in stock is thin enough.")
		}
		return
	}
	b.result("stock", "Thickest in stock that is not above it", best, "mm", "the next below", "common practice, no source")
	b.left("stock-left", "End-shake left with it", wear.EndShakeAfter(e, removed, best), "end-shake + metal removed − washer")
}

// left adds an end-shake, and a word where it binds.
func (b *bench) left(key, label string, mm float64, how string) {
	b.result(key, label, mm, "mm", how, geometry)
	switch least := b.of("least"); {
	case mm <= 0:
		b.remark("It binds: there is no end-shake left.")
	case mm < least-1e-9:
		b.remark("Less than %s is left: heat and dirt may bind it.", showLength(least))
	}
}

// shifted is where the wheel stands, and what that does to a bevel.
func (b *bench) shifted(shift float64) {
	label := "The wheel stands off its first middle by"
	switch {
	case shift > 1e-9:
		label = "The wheel stands off its first middle, towards the other end, by"
	case shift < -1e-9:
		label = "The wheel stands off its first middle, towards the washer's end, by"
	}
	b.result("shift", label, math.Abs(shift), "mm",
		"(washer − facing − other) / 2, for each end moves the middle by half; the pocket instead of a facing less deep", geometry)
	b.remark("The first middle is that of the end-shake before wear, facing and washers; the other end is taken to be neither cut nor worn. A washer as thick as the facing brings the face back to its first place.")
	b.remark("Wear is often all on one end: a washer as thick as that wear brings the wheel back when it is fitted there, and moves it by as much again on the other end.")
	if !b.has("cone") {
		return
	}
	m := wear.Mesh{Kind: wear.Bevel, Module: 1, Teeth: 20, Mate: 20, PressureAngle: b.of("pressure"), Cone: b.of("cone")}
	g := m.Engage(wear.EndShake, math.Abs(shift))
	b.result("bevel-depth", "Depth of its bevel teeth changes by", g.Lost, "mm", "shift × sin(cone)", geometry)
	b.result("bevel-backlash", "Backlash of its bevel teeth changes by", g.Backlash, "mm", "2 × shift × sin(cone) × tan(pressure angle)", geometry)
	b.remark("Which way the wheel moves decides: out of mesh loses depth, into mesh takes up the backlash until it binds.")
}

// hole is how loose a pivot is.
func (b *bench) hole() {
	if b.has("pivot") != b.has("hole") {
		b.fault(map[bool]string{true: "hole", false: "pivot"}[b.has("pivot")], "a worn hole is judged by both: give the pivot and the hole")
		return
	}
	pivot, hole := b.of("pivot"), b.of("hole")
	if hole < pivot {
		b.fault("hole", "a hole of %s does not take a pivot of %s: check the two", showLength(hole), showLength(pivot))
		return
	}
	b.result("side-shake", "Side-shake", hole-pivot, "mm", "hole − pivot", arithmetic)
	b.result("ratio", "Hole to pivot", hole/pivot, "", "hole / pivot", arithmetic)
	switch r := hole / pivot; {
	case r > 1.25:
		b.remark("Above 1.25 a domestic clock is unreliable; opinions on heavy clocks differ widely (a repairer's calculator page; keepers' opinions).")
	case r > 1.10:
		b.remark("Above 1.10 a domestic pivot is usually bushed anew; of heavy clocks many say to leave 4 to 6 %% alone (a repairer's calculator page; keepers' opinions).")
	}
}
