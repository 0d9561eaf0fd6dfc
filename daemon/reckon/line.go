package reckon

import (
	"fmt"
	"strings"

	"endshake/schedule"
	"endshake/wear"
)

const (
	us30CFR = "30 CFR 56.19024, mine hoists, another trade"
	iso4309 = "ISO 4309:2017, cranes, another trade"
	iso9223 = "ISO 9223 and ISO 14713"
)

var line = Sheet{
	Name: "line", Title: "Lines and ropes", Caution: care(schedule.LineLook),
	About: "How long a new line must be, how many broken wires other trades bear, and how long zinc lasts.",
	Inputs: []Input{
		{Name: "lines", What: "the parts of line at the weight", Kind: Count, Usual: "1", Least: 1, Most: 8},
		{Name: "drop", What: "from the top pulley down to the floor", Kind: Length, Above: true},
		{Name: "clear", What: "what stays free above the floor", Kind: Length, Usual: "0 mm"},
		{Name: "hung", What: "how far the weight with its pulley reaches down from the line", Kind: Length, Usual: "0 mm"},
		{Name: "lead", What: "from the barrel to the top pulley", Kind: Length, Usual: "0 mm"},
		{Name: "spare", What: "what stays on the barrel and at the fastenings", Kind: Length, Usual: "0 mm"},
		{Name: "strands", What: "the strands of the rope", Kind: Count, Least: 1, Most: 40},
		{Name: "wires", What: "the wires in a strand", Kind: Count, Least: 1, Most: 100},
		{Name: "outer", What: "the load-bearing outer wires of the whole rope", Kind: Count, Least: 1, Most: 300},
		{Name: "zinc", What: "the zinc on its wires", Kind: Number, Unit: "g/m²", Above: true, Most: 2000},
		{Name: "air", What: "how the air corrodes: c1 dry indoors, c2 unheated indoors or country, c3 town, c4 industry or coast, c5 worse", Kind: Choice, Usual: "c3", Choices: []string{"c1", "c2", "c3", "c4", "c5"}},
	},
	Example: []string{"lines", "3", "drop", "10.3 m", "clear", "0.1 m", "hung", "0.75 m", "lead", "2.43 m", "spare", "2.25 m", "strands", "7", "wires", "19"},
	reckon: func(b *bench) {
		if b.has("drop") {
			m := func(name string) float64 { return b.of(name) / 1000 }
			b.result("length", "Line needed", wear.RopeLength(b.count("lines"), m("drop"), m("clear"), m("hung"), m("lead"), m("spare")), "m",
				"lines × (drop − clear − hung) + lead + spare", geometry)
			if b.of("drop") < b.of("clear")+b.of("hung") {
				b.fault("drop", "it is shorter than what stays free and what hangs together: check the three")
			}
		}
		b.brokenWires()
		b.zinc()
	},
}

func (b *bench) brokenWires() {
	strands, wires := b.count("strands"), b.count("wires")
	if (strands > 0) != (wires > 0) {
		missing := map[bool]string{true: "wires", false: "strands"}[strands > 0]
		b.fault(missing, "a rope is counted by strands and wires: give both, 7 and 19 for a rope of 7x19")
		return
	}
	if strands > 0 {
		all := float64(strands * wires)
		rope, strand := wear.HoistDiscard(strands, wires)
		b.result("all-wires", "Wires in the rope", all, "wires", "strands × wires", arithmetic)
		b.result("hoist-rope", "Broken in one lay of the rope: discard at", float64(rope), "wires", fmt.Sprintf("more than 5 %% of all, %s", figures(all*.05, 4)), us30CFR)
		b.result("hoist-strand", "Broken in one lay of a strand: discard at", float64(strand), "wires", fmt.Sprintf("more than 15 %% of its own, %s", figures(float64(wires)*.15, 4)), us30CFR)
	}
	if outer := b.count("outer"); outer > 0 {
		six, thirty := wear.CraneDiscard(outer)
		b.result("crane-6d", "Broken in 6 diameters: discard at", float64(six), "wires", "table by the load-bearing outer wires", iso4309)
		b.result("crane-30d", "Broken in 30 diameters: discard at", float64(thirty), "wires", "table by the load-bearing outer wires", iso4309)
	}
	if strands > 0 || b.has("outer") {
		b.remark("Those figures are for hoists and cranes. For a clock they are something to compare with: at any broken wire stop using it until a professional has cleared it, and a broken strand is the end of the line.")
	}
}

func (b *bench) zinc() {
	g := b.of("zinc")
	if !(g > 0) {
		return
	}
	thick, air := wear.ZincThickness(g), wear.Air(strings.ToUpper(b.word("air")))
	least, most := wear.ZincYears(thick, air)
	b.result("zinc", "Thickness of the zinc", thick, "µm", "g/m² / 7.14 g/cm³", arithmetic)
	b.result("zinc-least", "Years to the first rust, at least", least, "years", "thickness / greatest loss a year in air "+string(air), iso9223)
	b.result("zinc-most", "at most", most, "years", "thickness / least loss a year in air "+string(air), iso9223)
	b.remark("That is when the zinc is gone in the open air. It is not the life of the line: grease slows it, rubbing takes the zinc off sooner, and the trade disagrees on galvanised lines (against: %s).", beckett("187"))
}
