package reckon

import (
	"math"

	"endshake/schedule"
	"endshake/wear"
)

const (
	geometry   = "plain geometry"
	arithmetic = "arithmetic"
	mechanics  = "school mechanics"
)

// beckett cites the treatise that most rules of the trade go back to.
func beckett(page string) string { return "Beckett 1903, p. " + page }

var winding = Sheet{
	Name: "winding", Title: "Winding and gearing", Caution: care(schedule.Winding),
	About: "How long a wind lasts, how far the weight falls, and how fast each arbor turns.",
	Inputs: []Input{
		{Name: "fall", What: "the vertical room the weight has", Kind: Length, Above: true},
		{Name: "barrel", What: "the diameter of the barrel", Kind: Length, Above: true, Most: 5000},
		{Name: "line", What: "the diameter of the line", Kind: Length, Most: 100},
		{Name: "lines", What: "the parts of line at the weight", Kind: Count, Usual: "1", Least: 1, Most: 8},
		{Name: "turns", What: "the barrel turns of a full wind", Kind: Number, Above: true, Most: 10000},
		{Name: "turn-time", What: "how long one turn of the barrel runs", Kind: Time, Above: true, Most: 1e4},
		{Name: "wheels", What: "the wheels and pinions, from the great wheel on", Kind: Wheels},
		{Name: "last-time", What: "the time in which the last arbor turns once", Kind: Time, Above: true, Most: 1e4},
		{Name: "want", What: "the run that is wanted", Kind: Time, Above: true, Most: 1e5},
		{Name: "line-a-day", What: "the line that the barrel pays out a day", Kind: Length, Above: true},
		{Name: "weight", What: "the driving weight", Kind: Mass, Above: true, Most: 20000},
	},
	Example: []string{"fall", "30 ft", "barrel", "90 mm", "line", "6 mm", "lines", "2", "turn-time", "3 h", "want", "8 days", "weight", "60 kg"},
	reckon: func(b *bench) {
		w := wear.Weight{Fall: wear.FromMM(b.or("fall", 0)), Barrel: wear.FromMM(b.or("barrel", 0)), Line: wear.FromMM(b.or("line", 0)),
			Lines: b.count("lines"), Turns: b.or("turns", 0), Gears: b.read["wheels"].gears, GearHours: b.or("last-time", 0)}
		b.instead("turn-time", "last-time")
		b.instead("line-a-day", "turn-time")
		b.instead("line-a-day", "last-time")
		w.TurnHours = b.or("turn-time", 0)
		if day := b.or("line-a-day", 0); day > 0 && w.Barrel > 0 {
			w.TurnHours = 24 * w.Paid() / day
		}
		if w.GearHours > 0 && len(w.Gears) == 0 {
			b.fault("wheels", "the time of the last arbor needs them: write each wheel before its pinion, like 120:10,100:10")
			return
		}
		b.gearing(w)
		b.wind(w)
		b.wanted(w)
		b.drive(w)
		if w.Lines > 3 {
			b.remark("More than three lines to a weight lose too much to friction (%s).", beckett("190"))
		}
	},
}

// gearing is what the wheels say.
func (b *bench) gearing(w wear.Weight) {
	if len(w.Gears) == 0 {
		return
	}
	wheels, pinions := products(w.Gears)
	b.result("ratio", "Turns of the last arbor to one of the first", wear.Ratio(w.Gears), "", "product of wheels / product of pinions", arithmetic)
	b.result("wheel-product", "Product of the wheels", wheels, "", "teeth multiplied", arithmetic)
	b.result("pinion-product", "Product of the pinions", pinions, "", "leaves multiplied", arithmetic)
	if hours := w.HoursPerTurn(); hours > 0 && w.TurnHours > 0 {
		for i, g := range w.Gears {
			hours *= float64(g.Pinion) / float64(g.Wheel)
			b.shown("arbor-"+string(rune('a'+i)), "Arbor "+figures(float64(i+2), 2)+" turns once in", hours*3600, "s", showHours(hours),
				"time of the arbor before it × leaves / teeth", arithmetic)
		}
	}
}

func products(gears []wear.Gear) (wheels, pinions float64) {
	wheels, pinions = 1, 1
	for _, g := range gears {
		wheels, pinions = wheels*float64(g.Wheel), pinions*float64(g.Pinion)
	}
	return wheels, pinions
}

// hoursPerTurn is that of the barrel; NaN where it is not known.
func hoursPerTurn(w wear.Weight) float64 {
	if h := w.HoursPerTurn(); h > 0 {
		return h
	}
	return math.NaN()
}

func fullTurns(w wear.Weight) float64 {
	if t := w.FullTurns(); t > 0 {
		return t
	}
	return math.NaN()
}

// paid is the line of one turn; NaN where the barrel is not known.
func paid(w wear.Weight) float64 {
	if w.Barrel > 0 {
		return w.Paid()
	}
	return math.NaN()
}

// taken is the fall in mm that the turns of a full wind take; NaN where turns or
// barrel are not known.
func taken(w wear.Weight) float64 { return fullTurns(w) * paid(w) / float64(w.Lines) }

// tooDeep reports whether the turns take more fall than there is; a thousandth is
// for figures that were rounded.
func tooDeep(w wear.Weight) bool { return w.Fall > 0 && taken(w) > 1.001*w.Fall.MM() }

// wind is what a full wind gives.
func (b *bench) wind(w wear.Weight) {
	turns, hours := fullTurns(w), hoursPerTurn(w)
	switch {
	case b.has("line-a-day"):
		b.result("turns-a-day", "Turns of the barrel a day", b.of("line-a-day")/paid(w), "turns", "line a day / line paid out a turn", geometry)
		b.result("turn-time", "One turn of the barrel runs", hours, "h", "24 h / turns a day", arithmetic)
	case w.TurnHours == 0:
		b.result("turn-time", "One turn of the barrel runs", hours, "h", "time of the last arbor × wheels / pinions", arithmetic)
	}
	b.result("paid", "Line paid out a turn", paid(w), "mm", "π × (barrel + line), one layer", geometry)
	if w.Turns == 0 {
		b.result("turns", "Turns of a full wind", turns, "turns", "fall × lines / line paid out a turn", geometry)
	}
	b.result("line", "Line paid out by a full wind", turns*paid(w), "mm", "turns × line paid out a turn", geometry)
	if w.Turns > 0 {
		b.result("fall", "Fall that it takes", taken(w), "mm", "line paid out / lines", geometry)
	}
	if tooDeep(w) {
		b.remark("A full wind takes a fall of %s, more than the %s that is given: check the turns, the barrel, the lines and the fall.", showLength(taken(w)), showLength(w.Fall.MM()))
	}
	b.result("run", "A full wind runs", turns*hours, "h", "turns × time of a turn", arithmetic)
}

// wanted is what a run that is wanted would take.
func (b *bench) wanted(w wear.Weight) {
	want := b.of("want")
	if !(want > 0) {
		return
	}
	hours := hoursPerTurn(w)
	turns := want / hours
	b.result("want-turns", "Turns for the run wanted", turns, "turns", "run / time of a turn", arithmetic)
	b.result("want-fall", "Fall for it", turns*paid(w)/float64(w.Lines), "mm", "turns × line paid out a turn / lines", geometry)
	if w.Fall > 0 {
		b.result("want-barrel", "Barrel and line together that just use the fall", w.Fall.MM()*float64(w.Lines)/(math.Pi*turns), "mm",
			"fall × lines / (π × turns)", geometry)
	}
	if w.Turns > 0 && w.GearHours > 0 {
		_, pinions := products(w.Gears)
		b.result("want-wheels", "Product of the wheels for it", want/w.Turns/w.GearHours*pinions, "", "run / turns / time of the last arbor × product of pinions", beckett("138"))
	}
	if run := fullTurns(w) * hours; run < want {
		b.remark("A full wind runs %s only, not the %s that are wanted.", showHours(run), showHours(want))
	}
	b.remark("A going train is made for its days and a fraction, so that a forgotten day is survived (%s).", beckett("197"))
}

// drive is the pull and the work of the weight.
func (b *bench) drive(w wear.Weight) {
	kg := b.of("weight")
	if !(kg > 0) {
		return
	}
	pull := kg * wear.Gravity / float64(w.Lines)
	b.result("pull", "Pull on the barrel, less friction", pull, "N", "weight × g / lines", mechanics)
	if w.Fall > 0 && !tooDeep(w) {
		lift := w.Fall.MM()
		if t := taken(w); t < lift {
			lift = t // fewer turns than the fall would bear
		}
		b.result("wind-work", "Work of lifting it by a full wind", kg*wear.Gravity*lift/1000, "J", "weight × g × fall", mechanics)
	}
	day := b.or("line-a-day", 24*paid(w)/hoursPerTurn(w))
	b.result("day-work", "Work it does a day", pull*day/1000, "J", "pull × line paid out a day", mechanics)
	b.result("power", "Power that drives the train", pull*day/86400, "mW", "work a day / 86,400 s", mechanics)
	b.remark("Weight added to cure a stop is a warning: look for the wear, the dirt or the dry pulley that asks for it (common practice, no source).")
}
