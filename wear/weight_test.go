package wear

import (
	"math"
	"strings"
	"testing"
	"time"
)

const inch = 25400 * Micrometre

func inches(v float64) Length { return Length(math.Round(v * float64(inch))) }

// Trains of E. Beckett, A Rudimentary Treatise on Clocks, Watches and Bells,
// 8th ed. 1903. A year clock of 16 turns in 380 days, with pinions of 12, 10
// and 10, wants wheels whose teeth multiply to 684,000 (p. 138). A going train
// from a great wheel of three hours: 15 minutes, a minute and a half, nine
// seconds (p. 185). Motion work goes 12 to 1 (p. 224).
func TestGearing(t *testing.T) {
	year := []Gear{{100, 12}, {90, 10}, {76, 10}}
	near(t, "teeth of the year clock", Ratio(year)*12*10*10, 684000, 1e-6)
	near(t, "its barrel turns in hours", Weight{Gears: year, GearHours: 1}.HoursPerTurn(), 570, 1e-9)
	clock := Train{Kind: Going, Drive: HandWound, Weight: &Weight{Turns: 16, Gears: year, GearHours: 1}}
	if got := clock.Run(); got != 380*days {
		t.Errorf("the year clock runs %v, want 380 days", got)
	}
	going := []Gear{{120, 10}, {100, 10}, {90, 9}}
	for n, seconds := range []float64{3 * 3600, 15 * 60, 90, 9} {
		near(t, "seconds of an arbor", 3*3600/Ratio(going[:n]), seconds, 1e-9)
		if n > 0 {
			near(t, "the great wheel in hours", Weight{Gears: going[:n], GearHours: seconds / 3600}.HoursPerTurn(), 3, 1e-12)
		}
	}
	near(t, "motion work", Ratio([]Gear{{90, 25}, {100, 30}}), 12, 1e-12)
	near(t, "motion work", Ratio([]Gear{{72, 20}, {80, 24}}), 12, 1e-12)
	near(t, "no gears", Ratio(nil), 1, 0)
	near(t, "as stated, not as geared", Weight{TurnHours: 4, Gears: going, GearHours: 1}.HoursPerTurn(), 4, 0)
}

// A small turret clock: a great wheel of three hours wants 64 turns for eight
// days, and its weight has 30 ft to fall (Beckett 1903, pp. 184-185); on one,
// two or three lines the barrel that just uses it is 1.79, 3.58 or 5.37 in.
// between the middles of its lines (arithmetic).
func TestFallOfASmallTurretClock(t *testing.T) {
	for lines, pitch := range []float64{0, 1.79, 3.58, 5.37} {
		if lines == 0 {
			continue
		}
		w := Weight{Fall: inches(360), Barrel: inches(pitch - 0.25), Line: inches(0.25), Lines: lines, TurnHours: 3}
		near(t, "turns", w.FullTurns(), 64, .15)
		clock := Train{Kind: Going, Drive: HandWound, Weight: &w}
		near(t, "days", clock.Run().Hours()/24, 8, .02)
		near(t, "hours a turn", clock.PerTurn().Hours(), 3, 1e-5)
		near(t, "half of the fall", w.TurnsOf(w.Fall/2), w.FullTurns()/2, 1e-4)
	}
	w := Weight{Fall: inches(360), Barrel: inches(1.79)}
	near(t, "no lines said is one", w.FullTurns(), 64, .15)
}

// A drum of 30 cm that pays out 7 m a day turns 7.43 times in it, once in 3.23
// hours (a published example of a tower clock's winding, by H. van Hecke).
func TestDrum(t *testing.T) {
	w := Weight{Barrel: 300 * Millimetre}
	near(t, "turns a day", w.TurnsOf(7000*Millimetre), 7.43, .03)
	near(t, "hours a turn", 24/w.TurnsOf(7000*Millimetre), 3.23, .03)
}

// Lengths of three-line ropes from the diary of Trinity College's clock in
// Cambridge, 2021, in metres: three times the height of 10.3 less 0.1 and what
// the weight takes, and two leads, one of them of 2.25. The diary has 33.1,
// 31.8, 33.8 and 34.5.
func TestThreeLines(t *testing.T) {
	w := Weight{Barrel: 200 * Millimetre, Line: 4 * Millimetre, Lines: 3}
	for _, c := range []struct{ takes, lead, formula, diary float64 }{
		{0.75, 2.43, 33.03, 33.1}, {1.07, 2.08, 31.72, 31.8}, {0.73, 3.05, 33.71, 33.8}, {0.64, 3.50, 34.43, 34.5},
	} {
		fall := FromMM(1000 * (10.3 - 0.1 - c.takes))
		got := w.TurnsOf(fall)*w.Paid()/1000 + c.lead + 2.25
		near(t, "rope by the formula", got, c.formula, .006)
		near(t, "rope in the diary", got, c.diary, .10)
	}
}

// A gallery shortened the fall of an eight-day clock so that it ran five and a
// half (Wokingham): 69 % of it was left (arithmetic).
func TestShortenedFall(t *testing.T) {
	full := Weight{Fall: inches(480), Barrel: inches(6), Lines: 2}
	full.TurnHours = 8 * 24 / full.FullTurns()
	short := full
	short.Fall = Length(math.Round(float64(full.Fall) * .6875))
	for _, c := range []struct {
		w    Weight
		days float64
	}{{full, 8}, {short, 5.5}} {
		near(t, "days", Train{Kind: Going, Weight: &c.w}.Run().Hours()/24, c.days, 1e-3)
	}
	near(t, "share", short.FullTurns()/full.FullTurns(), .69, .005)
}

// A striking part of ten lifts to a turn: 156 blows a day are 15.6 turns, and
// the 35 or 36 of a two-day part 2.24 to 2.31 days (Beckett 1903, pp. 195-197).
func TestStrikingWeight(t *testing.T) {
	for turns, run := range map[float64]float64{15.6: 1, 16: 1.026, 35: 2.24, 36: 2.31} {
		clock := Train{Kind: Strike, Drive: HandWound, Striking: &Striking{Hours: true}, Weight: &Weight{Turns: turns, TurnBlows: 10}}
		near(t, "days", clock.Run().Hours()/24, run, .01)
	}
}

// What is stated goes before what follows from the description, and nothing
// comes of a description that does not tell.
func TestRunOfATrain(t *testing.T) {
	w := &Weight{Fall: inches(360), Turns: 64, TurnHours: 3, TurnBlows: 10}
	for _, c := range []struct {
		name      string
		t         Train
		run, turn time.Duration
	}{
		{"nothing said", Train{Kind: Going}, 0, 0},
		{"stated", Train{Kind: Going, Reserve: 30 * time.Hour}, 30 * time.Hour, 0},
		{"stated, and a weight", Train{Kind: Going, Reserve: 128 * time.Hour, Weight: w}, 128 * time.Hour, 2 * time.Hour},
		{"by the weight", Train{Kind: Going, Weight: w}, 192 * time.Hour, 3 * time.Hour},
		{"a strike without its blows", Train{Kind: Strike, Weight: w}, 0, 0},
		{"a strike by its blows", Train{Kind: Strike, StrokesPerDay: 160, Weight: w}, 96 * time.Hour, 90 * time.Minute},
		{"no turns", Train{Kind: Going, Weight: &Weight{TurnHours: 3}}, 0, 0},
		{"no hours", Train{Kind: Going, Weight: &Weight{Turns: 64}}, 0, 0},
		{"longer than there is", Train{Kind: Going, Weight: &Weight{Turns: 1e4, TurnHours: 1e4}}, longest, longest / 1e4},
	} {
		if run, turn := c.t.Run(), c.t.PerTurn(); run != c.run || turn != c.turn {
			t.Errorf("%s: runs %v, a turn %v; want %v, %v", c.name, run, turn, c.run, c.turn)
		}
	}
	near(t, "turns counted go before the barrel", Weight{Fall: 9000, Turns: 60, Barrel: 100 * Millimetre}.TurnsOf(3000), 20, 1e-12)
	near(t, "nothing known", Weight{Lines: 2}.TurnsOf(3000)+Weight{}.FullTurns()+Weight{Fall: 3000}.TurnsOf(100), 0, 0)
}

func TestWeightValidate(t *testing.T) {
	good := Weight{Fall: inches(360), Barrel: inches(6), Line: inches(.25), Lines: 2, Turns: 64, TurnHours: 3, Gears: []Gear{{120, 10}}, GearHours: .25}
	if err := good.Validate(); err != nil {
		t.Fatal(err)
	}
	for want, change := range map[string]func(*Weight){
		"the fall of the weight":      func(w *Weight) { w.Fall = -1 },
		"the barrel of the weight":    func(w *Weight) { w.Barrel = inches(400) },
		"the line of the weight":      func(w *Weight) { w.Line = inches(12) },
		"9 parts of line":             func(w *Weight) { w.Lines = 9 },
		"NaN turns":                   func(w *Weight) { w.Turns = math.NaN() },
		"barrel turn of +Inf h":       func(w *Weight) { w.TurnHours = math.Inf(1) },
		"an arbor of NaN h":           func(w *Weight) { w.GearHours = math.NaN() },
		"-1 blows to a turn":          func(w *Weight) { w.TurnBlows = -1 },
		"through 10 leaves":           func(w *Weight) { w.Gears[0].Wheel = 10 },
		"a wheel of 0 teeth":          func(w *Weight) { w.Gears[0] = Gear{} },
		"a train of 13 wheels":        func(w *Weight) { w.Gears = make([]Gear, 13) },
		"needs both its wheels":       func(w *Weight) { w.GearHours = 0 },
		"the hours in which the last": func(w *Weight) { w.Gears = nil },
	} {
		w := good
		w.Gears = []Gear{{120, 10}}
		if change(&w); w.Validate() == nil || !strings.Contains(w.Validate().Error(), want) {
			t.Errorf("%q: %v", want, w.Validate())
		}
	}
}

// FuzzWeight: any weight is refused or gives a run that can be.
func FuzzWeight(f *testing.F) {
	f.Add(int64(9144000), int64(50000), int64(6000), 2, 64.0, 3.0, 10.0, 120, 10, 0.25)
	f.Add(int64(0), int64(0), int64(0), 0, 0.0, 0.0, 0.0, 6, 4, 1e-9)
	f.Fuzz(func(t *testing.T, fall, barrel, line int64, lines int, turns, hours, blows float64, wheel, pinion int, gear float64) {
		w := Weight{Fall: Length(fall), Barrel: Length(barrel), Line: Length(line), Lines: lines, Turns: turns, TurnHours: hours, TurnBlows: blows}
		if gear != 0 {
			w.Gears, w.GearHours = []Gear{{wheel, pinion}}, gear
		}
		if w.Validate() != nil {
			return
		}
		for _, k := range []Train{{Kind: Going, Weight: &w}, {Kind: Strike, StrokesPerDay: 156, Weight: &w}} {
			run, turn := k.Run(), k.PerTurn()
			if run < 0 || run > longest || turn < 0 || turn > 0 && float64(turn)*w.FullTurns() > float64(run)*1.001+w.FullTurns() {
				t.Fatalf("%+v runs %v, a turn %v", w, run, turn)
			}
			if part, whole := w.TurnsOf(w.Fall/2), w.TurnsOf(w.Fall); !(part >= 0 && part <= whole) || !finite(whole) {
				t.Fatalf("%+v: %v turns, %v of half", w, whole, part)
			}
		}
	})
}
