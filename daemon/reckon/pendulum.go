package reckon

import (
	"math"

	"endshake/schedule"
	"endshake/wear"
)

const firstOrder = "to first order, "

// rods are materials of pendulum rods and how they grow, in millionths per °C.
var rods = []struct {
	name   string
	grows  float64
	source string
}{
	{"steel", 6.4 * 1.8, beckett("53") + ", tempered"}, {"iron", 7 * 1.8, beckett("53")}, {"cast iron", 6.6 * 1.8, beckett("53")},
	{"brass", 10 * 1.8, beckett("53") + "; handbook tables have 19, from memory"}, {"zinc", 16 * 1.8, beckett("53")}, {"lead", 16.5 * 1.8, beckett("53")},
	{"deal", 2.3 * 1.8, beckett("53")}, {"invar", 1.2, "from memory"},
}

var pendulum = Sheet{
	Name: "pendulum", Title: "Pendulum and rate", Caution: care(schedule.Setting),
	About: "What the rating nut, an added weight, a warmer rod, another arc and the air do to the rate.",
	Inputs: []Input{
		{Name: "length", What: "the length of the pendulum, to the middle of its swing", Kind: Length, Above: true, Most: 20000},
		{Name: "beat", What: "the time of one swing, instead of the length", Kind: Number, Unit: "s", Above: true, Most: 4},
		{Name: "pitch", What: "the pitch of the rating nut's thread", Kind: Length, Above: true, Most: 20},
		{Name: "turns", What: "the turns of the nut (negative: down)", Kind: Number, Usual: "1", Least: -200, Most: 200},
		{Name: "bob", What: "the weight of the bob", Kind: Mass, Above: true, Most: 2000},
		{Name: "added", What: "a small weight added", Kind: Mass, Least: -100, Most: 100},
		{Name: "place", What: "where it lies, as a share of the length below the suspension", Kind: Share, Usual: "1/2", Above: true, Most: 1},
		{Name: "rod", What: "the material of the rod", Kind: Choice, Choices: rodNames()},
		{Name: "expansion", What: "the growth of the rod, if it is known", Kind: Number, Unit: "millionths per °C", Least: -50, Most: 100},
		{Name: "warmer", What: "by how much it is warmer", Kind: Warming, Least: -100, Most: 100},
		{Name: "degree-rate", What: "the rate found for each degree warmer (negative: loses)", Kind: Number, Unit: "s/day per °C", Least: -10, Most: 10},
		{Name: "arc", What: "the swing from the middle to one side", Kind: Angle, Above: true, Most: 60},
		{Name: "arc-to", What: "another such swing, to go to", Kind: Angle, Above: true, Most: 60},
		{Name: "air", What: "the rate for each hPa or inch of mercury more (negative: loses)", Kind: AirRate, Least: -100},
		{Name: "gained", What: "what it gained over some days (negative: lost)", Kind: Number, Unit: "s", Least: -1e6, Most: 1e6},
		{Name: "gained-days", What: "the days in which it gained that", Kind: Number, Usual: "1", Above: true, Most: 40000},
		{Name: "days", What: "the days that the warmth lasts", Kind: Number, Usual: "1", Above: true, Most: 40000},
	},
	Example: []string{"length", "39.14 in", "pitch", "1/18 in", "bob", "20 kg", "added", "2 g", "rod", "steel", "warmer", "10 C", "arc", "2.5 deg", "arc-to", "2 deg"},
	reckon: func(b *bench) {
		if b.has("length", "beat") {
			b.fault("beat", "give the length or the time of a swing, not both")
			return
		}
		if b.has("gained") {
			b.result("rate", "Rate", b.of("gained")/b.of("gained-days"), "s/day", "seconds / days", arithmetic)
		}
		b.nut()
		b.added()
		b.warmth()
		b.swing()
		if b.has("air") {
			b.result("air", "Rate for each hPa (mbar) more", b.of("air"), "s/day per hPa", "rate per inch / 33.864", "units, NIST SP 811")
			b.result("air-inch", "Rate for each inch of mercury more", b.of("air")*hPaPerInch, "s/day per inHg", "rate per hPa × 33.864", "units, NIST SP 811")
			b.remark("About 0.3 s/day lost for each inch of mercury more is usual (%s).", beckett("73"))
		}
	},
}

func rodNames() []string {
	var out []string
	for _, r := range rods {
		out = append(out, r.name)
	}
	return out
}

// nut is what turning the rating nut does.
func (b *bench) nut() {
	metres := b.of("length") / 1000
	if beat := b.of("beat"); beat > 0 {
		metres = wear.PendulumLength(beat)
		b.result("length", "Length", 1000*metres, "mm", "g × (beat / π)², g = 9.80665 m/s²", "ISO 80000-3")
	}
	if !(metres > 0) {
		if b.has("pitch") {
			b.fault("length", "the nut needs the length, or the time of a swing (beat)")
		}
		return
	}
	b.result("beat", "One swing takes", math.Pi*math.Sqrt(metres/wear.Gravity), "s", "π × √(length / g), g = 9.80665 m/s²", "ISO 80000-3")
	b.result("minute-pitch", "Pitch that gives a minute a day for a turn", 1000*metres/720, "mm", "length / 720", beckett("50"))
	if b.has("pitch") {
		turn := wear.NutRate(wear.FromMM(b.of("pitch")), metres)
		b.result("nut", "One turn of the nut up", turn, "s/day", "43,200 × pitch / length", firstOrder+beckett("50"))
		if n := b.of("turns"); n != 1 {
			b.result("nut-turns", "The turns given", n*turn, "s/day", "turns × rate of one", arithmetic)
		}
	}
}

// added is what a small weight on the rod or a tray does.
func (b *bench) added() {
	bob := b.of("bob")
	if !(bob > 0) {
		if b.has("added") {
			b.fault("bob", "the added weight is reckoned by its share of the bob's: give that too, like 20 kg")
		}
		return
	}
	x := b.of("place")
	per := wear.AddedRule(1, x) // s/day for a weight as heavy as the bob
	if per > 0 {
		b.result("divisor", "The bob over this many gains 1 s/day", per, "", "43,200 × x × (1 − x)", firstOrder+beckett("51"))
		b.result("second", "Weight there that gains 1 s/day", bob/per, "kg", "bob / (43,200 × x × (1 − x))", firstOrder+beckett("51"))
	}
	if b.has("added") {
		if b.of("added") < -bob/2 {
			b.fault("added", "so much cannot be taken off a bob of %s", showMass(bob))
			return
		}
		b.result("added", "The weight added there", wear.AddedRate(b.of("added")/bob, x), "s/day", "86,400 × (√((1 + r x) / (1 + r x²)) − 1), r = added / bob", "exact for a weightless rod")
		b.result("added-rule", "The same by rule of thumb", wear.AddedRule(b.of("added")/bob, x), "s/day", "43,200 × added / bob × x × (1 − x)", firstOrder+beckett("51"))
	}
	b.remark("x is the place as a share of the length below the suspension. A weight there makes the clock gain; taken off, it loses.")
	if math.Abs(x-1./3) < .01 || math.Abs(x-2./3) < .01 {
		b.remark("%s prints the bob over 7,200 for a third of the length; the formula beside it gives 9,600, which is used here.", beckett("51"))
	}
}

// warmth is what a warmer rod does.
func (b *bench) warmth() {
	if b.has("degree-rate") {
		b.result("found-expansion", "Growth that explains the rate found", wear.MillionthsFor(b.of("degree-rate")), "millionths per °C", "−rate per °C / 43,200", firstOrder+"the inverse of the rod's rule")
	}
	grows, source := b.of("expansion"), "as given"
	for _, r := range rods {
		if r.name == b.word("rod") && !b.has("expansion") {
			grows, source = r.grows, r.source
		}
	}
	if math.IsNaN(grows) {
		if b.has("warmer") {
			b.fault("rod", "give the material of the rod, or its growth (expansion)")
		}
		return
	}
	per := wear.HeatRate(grows)
	b.result("expansion", "Growth of the rod", grows, "millionths per °C", "from a table, or as given", source)
	b.result("heat", "Rate for each °C warmer", per, "s/day per °C", "−43,200 × growth", firstOrder+source)
	b.result("heat-f", "Rate for each °F warmer", per/1.8, "s/day per °F", "rate per °C / 1.8", "units")
	if b.has("warmer") {
		rate := per * b.of("warmer")
		b.result("warmer", "Rate while so much warmer", rate, "s/day", "rate per °C × warmth", firstOrder+source)
		if days := b.of("days"); days != 1 {
			b.result("drift", "Error over "+withUnit(days, "days"), rate*days, "s", "rate × days", arithmetic)
		}
	}
	b.remark("An encyclopaedia prints 0.27 s/day per °C for steel beside 16 s/day for 33 °C. The second is right; 0.27 is per °F.")
	if b.word("rod") == "deal" {
		b.remark("Damp moves a wooden rod more than warmth does, and cannot be reckoned.")
	}
}

// swing is the circular error of one arc, and the change to another.
func (b *bench) swing() {
	a, to := b.of("arc"), b.of("arc-to")
	if b.has("arc-to") && !b.has("arc") {
		b.fault("arc", "a change of arc needs the first one too")
		return
	}
	// A day by the sun would lose 86,400 (1 − M); books reckon by the clock's own.
	const exact, rule = "86,400 × (1 / M − 1) in each day that the clock shows, M the arithmetic-geometric mean of 1 and cos(a/2)", "5,400 × a², a in radians"
	b.result("circular", "Lost by the arc, per day shown by the clock", wear.CircularLoss(a), "s", exact, "exact per day shown")
	b.result("circular-rule", "Lost, by rule of thumb", wear.CircularRule(a), "s", rule, firstOrder+beckett("35"))
	if !b.has("arc-to") {
		return
	}
	b.result("arc", "From the one arc to the other", wear.CircularLoss(a)-wear.CircularLoss(to), "s/day", "loss by the first arc − loss by the other, per day shown by the clock", "difference of the exact losses")
	b.result("arc-rule", "The same by rule of thumb", wear.CircularRule(a)-wear.CircularRule(to), "s/day", "5,400 × (a² − b²), in radians", firstOrder+beckett("35"))
	if to < a {
		b.remark("A falling arc with a gaining rate is a sign of old oil, dirt or wear, before the clock stops.")
	}
}
