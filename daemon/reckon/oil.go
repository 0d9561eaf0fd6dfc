package reckon

import (
	"math"

	"endshake/schedule"
	"endshake/wear"
)

const judgement = "published intervals and judgement"

var oil = Sheet{
	Name: "oil", Title: "Oil", Caution: care(schedule.Oiling),
	About: "What the temperature of a room does to oil: how long it may lubricate, and how thick it is when cold.",
	Inputs: []Input{
		{Name: "months", What: "the mean temperatures of the twelve months in °C, January first", Kind: Numbers, Least: -60, Most: 60},
		{Name: "daily", What: "how far the day swings about its mean", Kind: Warming, Usual: "0 C", Most: 30},
		{Name: "energy", What: "the activation energy of its ageing", Kind: Number, Unit: "kJ/mol", Usual: "60", Least: 10, Most: 200},
		{Name: "kind", What: "the kind of oil", Kind: Choice, Choices: words(schedule.OilKinds)},
		{Name: "room", What: "where it is", Kind: Choice, Usual: string(schedule.ClosedCase), Choices: words(schedule.Rooms)},
		{Name: "sink", What: "whether an oil sink holds it", Kind: Choice, Usual: "yes", Choices: yesNo},
		{Name: "fast", What: "whether a fast arbor throws it off, as of a fly or escape wheel", Kind: Choice, Usual: "no", Choices: yesNo},
		{Name: "black", What: "whether it was found black", Kind: Choice, Usual: "no", Choices: yesNo},
		{Name: "damp", What: "whether it is damp for half the year", Kind: Choice, Usual: "no", Choices: yesNo},
		{Name: "at", What: "a steady temperature, instead of the months", Kind: Temperature, Least: -60},
		{Name: "v40", What: "its viscosity at 40 °C", Kind: Number, Unit: "mm²/s", Least: 2, Most: 1e5},
		{Name: "v100", What: "its viscosity at 100 °C", Kind: Number, Unit: "mm²/s", Least: 1.5, Most: 1e5},
		{Name: "cold", What: "the temperature at which its thickness is asked", Kind: Temperature, Least: -60},
	},
	Example: []string{"months", "-4,-3,2,8,14,19,22,21,17,10,4,-2", "kind", "mineral oil", "room", "swept yearly", "v40", "100", "v100", "11.2", "cold", "-15 C"},
	reckon: func(b *bench) {
		b.ageing()
		b.thickness()
	},
}

// ageing is the even temperature and the life that it leaves.
func (b *bench) ageing() {
	even := b.of("at")
	if b.has("at", "months") {
		b.fault("at", "give a steady temperature or the months, not both")
		return
	}
	if m := b.many("months"); len(m) > 0 {
		if len(m) != 12 {
			b.fault("months", "%s cannot be right: give twelve, January first", schedule.Count(len(m), "figure", "figures"))
			return
		}
		mean := 0.0
		for _, t := range m {
			mean += t / 12
		}
		even = wear.EquivalentTemperature([12]float64(m), b.of("daily"), 1000*b.of("energy"))
		b.result("mean", "Mean of the year", mean, "°C", "mean of the months", arithmetic)
		b.result("even", "Even temperature that ages oil as much", even, "°C", "−(E/R) / ln(mean of exp(−E / (R T)))", "Arrhenius's law")
	}
	if math.IsNaN(even) {
		return
	}
	const kelvin, gas = 273.15, 8.314462618
	rate := math.Exp(1000 * b.of("energy") / gas * (1/(kelvin+15) - 1/(kelvin+even)))
	b.result("ageing", "Ageing beside that at 15 °C", rate, "times", "exp(E/R × (1/288.15 − 1/T))", "Arrhenius's law")
	factor := wear.TemperatureFactor(even)
	b.result("factor", "Life beside that at 15 °C, kept within 0.5 and 2", factor, "times", "exp(E/R × (1/T − 1/288.15)), E = 60 kJ/mol", "Arrhenius's law and judgement")
	if b.has("kind") {
		b.oilLife(even)
	}
}

// oilLife is how long an oil may lubricate at an even temperature.
func (b *bench) oilLife(even float64) {
	p := schedule.OilPoint{Kind: schedule.OilKind(b.word("kind")), Room: schedule.Room(b.word("room")), NoSink: b.word("sink") == "no", Fast: b.word("fast") == "yes"}
	years, spread := p.Belief(schedule.Care{Damp: b.word("damp") == "yes"}, even, b.word("black") == "yes")
	b.result("life", "Middle of its life, until gummed or dry", years, "years", "life at 15 °C in a clean case × temperature × room × point × damp", judgement)
	b.result("life-early", "1 in 10 has gone by", years*math.Pow(spread, -1.2816), "years", "middle / spread^1.28", judgement)
	b.result("life-late", "9 in 10 have gone by", years*math.Pow(spread, 1.2816), "years", "middle × spread^1.28", judgement)
	b.remark("That is where to begin, no more: what is found at each oiling teaches better. Intervals are shorter than lives on purpose; they belong to the clock and the point.")
}

// thickness is the viscosity when cold.
func (b *bench) thickness() {
	if b.has("v40") != b.has("v100") {
		b.fault(map[bool]string{true: "v100", false: "v40"}[b.has("v40")], "thickness is reckoned from both: give the viscosity at 40 and at 100 °C")
		return
	}
	v40, v100, cold := b.of("v40"), b.of("v100"), b.of("cold")
	if !b.has("v40") {
		return
	}
	if v100 >= v40 {
		b.fault("v100", "no oil is thicker at 100 than at 40 °C: check the two")
		return
	}
	if !b.has("cold") {
		b.fault("cold", "give the temperature at which its thickness is asked, like -15 C")
		return
	}
	at := wear.Viscosity{At40: v40, At100: v100}.At(cold)
	b.result("viscosity", "Viscosity at that temperature", at, "mm²/s", "log log(ν + 0.7) = A − B log T", "ASTM D341")
	switch {
	case at > 20000:
		b.remark("Above 20,000 mm²/s any arbor may be held back (judgement, no source).")
	case at > 2000:
		b.remark("Above 2,000 mm²/s an escape arbor, pallets or a fly may be held back (judgement, no source); slow arbors do not mind.")
	}
	b.remark("Below its pour point oil is stiffer by far than this says.")
}
