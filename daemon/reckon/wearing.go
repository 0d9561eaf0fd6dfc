package reckon

import (
	"fmt"
	"math"

	"endshake/schedule"
	"endshake/wear"
)

const (
	archard = "Archard's law"
	hertz   = "J. Lubr. Technol. 103, 1981, and judgement"
)

var wearing = Sheet{
	Name: "wear", Title: "Wear of washers and bushes", Caution: care(schedule.Measuring),
	About: "How deep a bearing may wear by Archard's law, which shows why oil matters and cannot give a date.",
	Inputs: []Input{
		{Name: "pair", What: "the materials that rub", Kind: Choice, Choices: words(pairsThatRub)},
		{Name: "oil", What: "the state of the oil", Kind: Choice, Choices: []string{"good", "aged", "dry", "gritty"}},
		{Name: "good", What: "or the share of running with good oil", Kind: Share, Most: 1},
		{Name: "aged", What: "with aged oil", Kind: Share, Most: 1},
		{Name: "dry", What: "and dry", Kind: Share, Most: 1},
		{Name: "k", What: "the wear coefficient, instead of all these", Kind: Number, Unit: "mm³/(N m)", Above: true, Most: 1},
		{Name: "other-k", What: "that of the other face, or of the pivot", Kind: Number, Unit: "mm³/(N m)", Above: true, Most: 1},
		{Name: "archard", What: "or Archard's K of a table, without unit", Kind: Number, Above: true, Most: 1},
		{Name: "hardness", What: "the hardness of the softer part", Kind: Number, Unit: "MPa", Above: true, Most: 50000},
		{Name: "load", What: "the load on the bearing", Kind: Force, Above: true},
		{Name: "rod", What: "the length of a hanging rod, instead of the load", Kind: Length, Above: true},
		{Name: "thick", What: "the diameter of the rod", Kind: Length, Above: true, Most: 500},
		{Name: "density", What: "its density", Kind: Number, Unit: "kg/m³", Usual: "7850", Least: 500, Most: 25000},
		{Name: "running", What: "how long it runs", Kind: Time, Above: true},
		{Name: "revs-per-hour", What: "its turns an hour", Kind: Number, Above: true, Most: 1e6},
		{Name: "revs", What: "its turns altogether, instead of both", Kind: Number, Above: true, Most: 1e12},
		{Name: "distance", What: "the way rubbed, instead of turns", Kind: Number, Unit: "m", Above: true, Most: 1e12},
		{Name: "outer", What: "the outer diameter of a thrust face", Kind: Length, Above: true, Most: 1000},
		{Name: "inner", What: "its inner diameter", Kind: Length, Above: true, Most: 1000},
		{Name: "long", What: "the length of a bush", Kind: Length, Above: true, Most: 1000},
		{Name: "pivot", What: "the diameter of its pivot", Kind: Length, Above: true, Most: 500},
		{Name: "hole", What: "the diameter of its hole", Kind: Length, Above: true, Most: 500},
		{Name: "shaft", What: "what the long shaft is made of", Kind: Choice, Choices: words(metals)},
		{Name: "frame", What: "what its frame is made of", Kind: Choice, Choices: words(metals)},
		{Name: "warmer", What: "by how much both are warmer", Kind: Warming, Least: -200},
	},
	Example: []string{"rod", "8 ft", "thick", "1/2 in", "outer", "24 mm", "inner", "13 mm", "pair", "steel on brass", "oil", "aged", "running", "100 years", "revs-per-hour", "1",
		"shaft", "steel", "frame", "brass", "warmer", "40 C"},
	reckon: func(b *bench) {
		b.faultsOfWear()
		load := b.load()
		k, gsd := b.coefficient()
		revs := b.turnsMade()
		w := worn{k: k, gsd: gsd, other: b.or("other-k", 0), load: load, revs: revs, metres: b.of("distance")}
		b.thrust(&w)
		b.bush(&w)
		b.result("volume", "Volume worn off", k*load*w.metres, "mm³", "k × load × distance", archard)
		b.growth()
		if k > 0 {
			b.remark("No wear coefficient is known better than fivefold either way, so this gives no date: measure, and let two readings say.")
		}
	},
}

var pairsThatRub = []wear.Pair{wear.SteelOnBrass, wear.SteelOnSteel, wear.BrassOnBrass, wear.SteelOnPlastic}

var metals = []wear.Metal{wear.Steel, wear.Brass, wear.CastIron}

// faultsOfWear refuses figures that do not go together.
func (b *bench) faultsOfWear() {
	for _, two := range [][2]string{{"outer", "inner"}, {"rod", "thick"}, {"archard", "hardness"}, {"pivot", "hole"}, {"good", "pair"}, {"aged", "pair"}, {"dry", "pair"}, {"oil", "pair"}} {
		if b.has(two[0]) && !b.has(two[1]) {
			other, _ := b.sheet.input(two[0])
			b.fault(two[1], "it is needed beside %s", other.What)
		}
	}
	if b.of("inner") >= b.of("outer") {
		b.fault("inner", "a face from %s to %s across cannot be: check the two", showLength(b.of("inner")), showLength(b.of("outer")))
	}
	if b.of("hole") < b.of("pivot") {
		b.fault("hole", "a hole of %s does not take a pivot of %s: check the two", showLength(b.of("hole")), showLength(b.of("pivot")))
	}
	if b.has("load", "rod") {
		b.fault("load", "give the load or a hanging rod, not both")
	}
	for _, other := range []string{"pair", "oil", "good", "aged", "dry", "archard"} {
		b.instead("k", other)
	}
	b.instead("archard", "pair")
	shares := 0.0
	for _, state := range []string{"good", "aged", "dry"} {
		b.instead("oil", state)
		shares += b.or(state, 0)
	}
	if (b.has("good") || b.has("aged") || b.has("dry")) && math.Abs(shares-1) > .001 {
		b.fault("good", "the shares of good, aged and dry oil come to %s %%, not 100: give all the running", figures(100*shares, 4))
	}
	b.instead("revs", "running", "revs-per-hour")
	b.instead("distance", "revs")
	b.instead("distance", "running", "revs-per-hour")
}

// load in newtons, of a rod too.
func (b *bench) load() float64 {
	if !b.has("rod", "thick") {
		return b.of("load")
	}
	n := wear.RodWeight(b.of("rod"), b.of("thick"), b.of("density"))
	b.result("mass", "Weight of the rod", n/wear.StandardGravity, "kg", "density × length × π / 4 × diameter²", geometry)
	b.result("load", "Load of the rod", n, "N", "weight × g", mechanics)
	return n
}

// coefficient is k and how unsure it is (geometric standard deviation; 1: taken
// as given).
func (b *bench) coefficient() (k, gsd float64) {
	k, gsd = b.of("k"), 1
	pair := wear.Pair(b.word("pair"))
	good, aged, dry := b.or("good", 0), b.or("aged", 0), b.or("dry", 0)
	switch {
	case b.has("k"):
	case b.has("archard", "hardness"):
		k = wear.FromArchardK(b.of("archard"), b.of("hardness"), 1)
		b.result("k", "Wear coefficient, of V = K F s / H", k, "mm³/(N m)", "1000 × K / H", archard)
		b.result("k-third", "The same, of V = K F s / (3 H)", wear.FromArchardK(b.of("archard"), b.of("hardness"), 3), "mm³/(N m)", "1000 × K / (3 H)", archard)
		b.result("volume-third", "Volume worn off by the second", wear.FromArchardK(b.of("archard"), b.of("hardness"), 3)*b.of("load")*b.of("distance"), "mm³", "k × load × distance", archard)
		b.remark("Tables mix the two laws without saying which: they differ by 3. The first is used below.")
	case pair != "" && good+aged+dry > 0:
		k, gsd = wear.MixedCoefficient(pair, good, aged, dry), 5
		b.result("k", "Wear coefficient, mean of the medians", k, "mm³/(N m)", "Σ share × median of the state", hertz)
		b.result("dry-share", "Of the wear, made while dry", 100*dry/(good+aged+dry)*wear.MixedCoefficient(pair, 0, 0, 1)/k, "%", "dry share × median of dry / mean", hertz)
	case pair != "" && b.has("oil"):
		k, gsd, _ = wear.Coefficient(pair, wear.OilState(b.word("oil")))
		b.result("k", "Wear coefficient, median", k, "mm³/(N m)", "K of the pair and oil / hardness", hertz)
	}
	return k, gsd
}

// turnsMade are the turns in all the running; NaN where not known.
func (b *bench) turnsMade() float64 {
	hours := b.of("running")
	if hours > 0 {
		b.shown("hours", "Hours of running", hours, "h", figures(hours, 4)+" h", "8,766 h to a mean year", arithmetic)
		b.result("years", "Years of running day and night", hours/meanYear, "years", "hours / 8,766", arithmetic)
	}
	if b.has("revs") {
		return b.of("revs")
	}
	revs := hours * b.of("revs-per-hour")
	b.result("revs", "Turns", revs, "turns", "hours × turns an hour", arithmetic)
	return revs
}

// worn is what wear is reckoned from.
type worn struct{ k, gsd, other, load, revs, metres float64 }

// band adds a depth with the range that nine coefficients in ten would give.
func (b *bench) band(key, label string, depth, gsd float64, formula string) {
	b.result(key, label, depth, "mm", formula, archard)
	if gsd > 1 {
		far := math.Pow(gsd, 1.6449) // the 95th percentile of the normal law
		b.result(key+"-least", "19 of 20 such wear more than", depth/far, "mm", "depth / spread^1.645, of a log-normal k", hertz)
		b.result(key+"-most", "and 19 of 20 less than", depth*far, "mm", "depth × spread^1.645", hertz)
	}
}

// thrust is the wear of an annular face.
func (b *bench) thrust(w *worn) {
	if !b.has("outer", "inner") {
		return
	}
	ro, ri := b.of("outer")/2, b.of("inner")/2
	mean := (ro + ri) / 2
	b.result("sliding", "Way rubbed an hour at the mean radius", wear.SlidingPerHour(mean, b.of("revs-per-hour")), "m", "2 π × mean radius × turns an hour", geometry)
	if !b.has("distance") {
		w.metres = wear.SlidingPerHour(mean, w.revs)
	}
	p := wear.Pressure(w.load, ro, ri)
	pv := p * wear.SlidingPerHour(mean, b.of("revs-per-hour")) / 3600
	b.result("pressure", "Pressure on the face", p, "MPa", "load / (π × (outer² − inner²)), radii", mechanics)
	b.result("pv", "Pressure × speed", pv, "MPa m/s", "pressure × speed at the mean radius", mechanics)
	b.result("pv-inch", "The same in the unit of handbooks", pv/psiFeet, "psi ft/min", "MPa m/s / 3.5025e-5", "units, NIST SP 811")
	b.band("depth", "Depth worn off the face", wear.ThrustDepth(w.k, w.load, w.revs, ro-ri), w.gsd, "k × load × turns / (outer − inner), radii")
	if w.other > 0 {
		b.result("end-shake", "End-shake grows, by both faces", wear.ThrustDepth(w.k+w.other, w.load, w.revs, ro-ri), "mm", "(k + other k) × load × turns / (outer − inner)", archard)
	}
}

// psiFeet is one psi ft/min in MPa m/s.
const psiFeet = 6894.757e-6 * .3048 / 60

// bush is the wear of a hole and its pivot.
func (b *bench) bush(w *worn) {
	long := b.of("long")
	if !(long > 0) {
		return
	}
	b.band("bush", "Depth worn into the bush", wear.BushDepth(w.k, w.load, w.revs, long), w.gsd, "π × k × load × turns / length")
	if pivot, hole := b.of("pivot")/2, b.of("hole")/2; pivot > 0 && hole > 0 {
		if !b.has("distance") {
			w.metres = wear.SlidingPerHour(pivot, w.revs)
		}
		b.result("bush-exact", "The same, from the crescent in a loose hole", wear.BushDepthExact(w.k, w.load, w.revs, long, hole, pivot), "mm", "depth whose crescent holds the volume", geometry+" and "+archard)
	}
	if w.other > 0 {
		loss := wear.PivotLoss(w.other, w.load, w.revs, long)
		b.result("pivot", "Radius worn off the pivot", loss, "mm", "other k × load × turns / length", archard)
		b.result("side-shake", "Side-shake grows by", wear.BushDepth(w.k, w.load, w.revs, long)+2*loss, "mm", "depth of the bush + 2 × loss of the pivot", archard)
	}
}

// expansionSources are where the growth of metals is from.
var expansionSources = map[wear.Metal]string{
	wear.Steel:    beckett("53"),
	wear.Brass:    "handbook tables from memory, where " + beckett("53") + " has 18",
	wear.CastIron: "handbook tables from memory, where " + beckett("53") + " has 11.9",
}

// expansionOf says how a metal grows, and where that is from.
func expansionOf(m wear.Metal) string {
	alpha, _ := wear.Expansion(m)
	return fmt.Sprintf("%s %s millionths per °C, %s", m, figures(1e6*alpha, 4), expansionSources[m])
}

// growth is what warmth does to a long shaft.
func (b *bench) growth() {
	alpha, ok := wear.Expansion(wear.Metal(b.word("shaft")))
	if !ok || !b.has("rod", "warmer") {
		return
	}
	source := expansionOf(wear.Metal(b.word("shaft")))
	b.result("growth", "The shaft grows by", wear.ThermalGrowth(b.of("rod"), alpha, b.of("warmer")), "mm", "length × growth per °C × warmth", source)
	if frame, ok := wear.Expansion(wear.Metal(b.word("frame"))); ok {
		if other := expansionOf(wear.Metal(b.word("frame"))); other != source {
			source += "; " + other
		}
		b.result("growth-frame", "The frame grows more than it by", wear.ThermalGrowth(b.of("rod"), frame-alpha, b.of("warmer")), "mm", "length × difference of growth × warmth", source)
	}
	b.remark("A long shaft moves more with the seasons than its washer wears in decades: note the temperature with each reading.")
}
