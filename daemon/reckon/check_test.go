package reckon

import (
	"math"
	"strings"
	"testing"

	"endshake/schedule"
)

// today is a day for sheets that ask for none.
var today = schedule.Date{Year: 2026, Month: 11, Day: 25}

// run reckons a sheet as a command line does.
func run(t *testing.T, sheet, args string) Answer {
	t.Helper()
	s, ok := Find(sheet)
	if !ok {
		t.Fatalf("no sheet %q", sheet)
	}
	given, _, err := s.ParseArgs(strings.Fields(args))
	if err != nil {
		t.Fatalf("%s %s: %v", sheet, args, err)
	}
	a, faults := s.Reckon(given, today)
	if len(faults) > 0 {
		t.Fatalf("%s %s: %v", sheet, args, faults)
	}
	return a
}

// figure is one figure of an answer.
func figure(t *testing.T, a Answer, key string) float64 {
	t.Helper()
	r, ok := a.Result(key)
	if !ok {
		t.Fatalf("%s gives no %q, only %v", a.Sheet, key, keys(a))
	}
	return r.Value
}

func keys(a Answer) (out []string) {
	for _, r := range a.Results {
		out = append(out, r.Key)
	}
	return out
}

// check is a published figure, or one worked out apart from this code, and the
// sheet that must give it.
type check struct {
	what        string
	sheet, args string
	key         string
	want, tol   float64 // tol is absolute; share is of want
	share       float64
	source      string
	printed     string // what the source prints, where that is rounder
}

const (
	worked = "worked apart from this code in Python 3.11"
)

// The two printed traps stand in TestPrintedTraps.
var checks = []check{
	// striking and gearing
	{what: "hour blows a day", sheet: "strike", args: "--half 0", key: "a-day", want: 156, source: "Beckett 1903, pp. 195-197"},
	{what: "with half-hours", sheet: "strike", args: "--half 1", key: "a-day", want: 180, source: "arithmetic"},
	{what: "twelve hours' duty", sheet: "strike", args: "--silent 19-7", key: "a-day", want: 78, source: "arithmetic"},
	{what: "hour blows a year", sheet: "strike", args: "--half 0", key: "a-year", want: 56940, source: "arithmetic"},
	{what: "year clock, product of wheels needed", sheet: "winding", args: "--turns 16 --want 380 days --wheels 100:12,90:10,76:10 --last-time 1 h", key: "want-wheels", want: 684000, share: 1e-12, source: "Beckett 1903, p. 138"},
	{what: "year clock, product of its wheels", sheet: "winding", args: "--turns 16 --wheels 100:12,90:10,76:10", key: "wheel-product", want: 684000, source: "Beckett 1903, p. 138"},
	{what: "year clock runs", sheet: "winding", args: "--turns 16 --wheels 100:12,90:10,76:10 --last-time 1 h", key: "run", want: 380 * 24, share: 1e-12, source: "Beckett 1903, p. 138"},
	{what: "going train, second arbor", sheet: "winding", args: "--turn-time 3 h --wheels 120:10,100:10,90:9", key: "arbor-a", want: 900, share: 1e-12, source: "Beckett 1903, p. 185"},
	{what: "third arbor", sheet: "winding", args: "--turn-time 3 h --wheels 120:10,100:10,90:9", key: "arbor-b", want: 90, share: 1e-12, source: "Beckett 1903, p. 185"},
	{what: "escape arbor", sheet: "winding", args: "--turn-time 3 h --wheels 120:10,100:10,90:9", key: "arbor-c", want: 9, share: 1e-12, source: "Beckett 1903, p. 185"},
	{what: "motion work 90 × 100 / (25 × 30)", sheet: "winding", args: "--wheels 90:25,100:30", key: "ratio", want: 12, share: 1e-12, source: "Beckett 1903, p. 224"},
	{what: "motion work 72 × 80 / (20 × 24)", sheet: "winding", args: "--wheels 72:20,80:24", key: "ratio", want: 12, share: 1e-12, source: "Beckett 1903, p. 224"},
	{what: "two-day strike, 35 turns", sheet: "strike", args: "--turns 35 --turn-blows 10", key: "days", want: 2.24, tol: .01, source: "Beckett 1903, p. 197"},
	{what: "two-day strike, 36 turns", sheet: "strike", args: "--turns 36 --turn-blows 10", key: "days", want: 2.31, tol: .01, source: "Beckett 1903, p. 197"},
	{what: "barrel turns a day", sheet: "strike", args: "--turn-blows 10", key: "turns-a-day", want: 15.6, tol: 1e-9, source: "Beckett 1903, p. 195", printed: "16"},
	{what: "small turret clock, turns in 8 days", sheet: "winding", args: "--fall 30 ft --turn-time 3 h --want 8 days", key: "want-turns", want: 64, share: 1e-12, source: "Beckett 1903, p. 184"},
	{what: "its barrel, one line, mm", sheet: "winding", args: "--fall 30 ft --turn-time 3 h --want 8 days", key: "want-barrel", want: 1.79 * 25.4, tol: .005 * 25.4, source: "plain geometry from Beckett 1903, p. 184"},
	{what: "its barrel, three lines, mm", sheet: "winding", args: "--fall 30 ft --lines 3 --turn-time 3 h --want 8 days", key: "want-barrel", want: 5.37 * 25.4, tol: .005 * 25.4, source: "plain geometry from Beckett 1903, p. 184"},
	{what: "work of 18 lb through 6 ft a day, J", sheet: "winding", args: "--weight 18 lb --line-a-day 6 ft", key: "day-work", want: 146, tol: .5, source: "Beckett 1903, p. 103"},
	{what: "its power, mW", sheet: "winding", args: "--weight 18 lb --line-a-day 6 ft", key: "power", want: 1.69, tol: .005, source: "Beckett 1903, p. 103"},
	{what: "100 kg lifted 40 ft, J", sheet: "winding", args: "--weight 100 kg --fall 40 ft", key: "wind-work", want: 11960, tol: 5, source: "school mechanics"},
	// pendulum
	{what: "circular error, 2.5° to 2°", sheet: "pendulum", args: "--arc 2.5 deg --arc-to 2 deg", key: "arc", want: 3.70, tol: .05, source: "Beckett 1903, p. 35", printed: "rather less than 4"},
	{what: "2° and 10′ more", sheet: "pendulum", args: "--arc 130 arcmin --arc-to 2 deg", key: "arc", want: 1.10, tol: .05, source: "Beckett 1903, p. 35", printed: "very nearly 1"},
	{what: "4° to 3°", sheet: "pendulum", args: "--arc 4 deg --arc-to 3 deg", key: "arc", want: 11.5, tol: .6, source: "a physics teacher's page on clocks", printed: "11"},
	{what: "nut of length/720, mm of pitch", sheet: "pendulum", args: "--length 993.99 mm", key: "minute-pitch", want: 1.380542, share: 1e-6, source: "Beckett 1903, p. 50"},
	{what: "such a nut, s/day a turn", sheet: "pendulum", args: "--length 993.99 mm --pitch 1.380542 mm", key: "nut", want: 60, tol: .1, source: "Beckett 1903, p. 50"},
	{what: "1/18 in on a seconds pendulum", sheet: "pendulum", args: "--length 39.14 in --pitch 1/18 in", key: "nut", want: 61.3, tol: .5, source: "Beckett 1903, p. 50", printed: "60"},
	{what: "seconds pendulum, mm", sheet: "pendulum", args: "--beat 1", key: "length", want: 993.621, tol: .001, source: "ISO 80000-3"},
	{what: "small weight at mid-length, of the bob", sheet: "pendulum", args: "--bob 20 kg --place 1/2", key: "divisor", want: 10800, share: 1e-3, source: "Beckett 1903, p. 51"},
	{what: "at two thirds", sheet: "pendulum", args: "--bob 20 kg --place 2/3", key: "divisor", want: 9600, share: 1e-3, source: "Beckett 1903, p. 51, by its formula"},
	{what: "a penny of 9.4 g on 310 kg", sheet: "pendulum", args: "--bob 310 kg --added 9.4 g", key: "added", want: .4, share: .25, source: "a broadcaster's account of a great clock, with Beckett 1903, p. 51"},
	{what: "iron, 30 °F, a week", sheet: "pendulum", args: "--rod iron --warmer 30 F --days 7", key: "drift", want: -63.5, share: .001, source: "Beckett 1903, p. 52"},
	{what: "the same beside his minute", sheet: "pendulum", args: "--rod iron --warmer 30 F --days 7", key: "drift", want: -60, share: .08, source: "Beckett 1903, p. 52"},
	{what: "brass, 30 °F, 5 days", sheet: "pendulum", args: "--rod brass --warmer 30 F --days 5", key: "drift", want: -60, tol: 1e-9, share: .08, source: "Beckett 1903, p. 52"},
	{what: "deal, 30 °F, 3 weeks", sheet: "pendulum", args: "--rod deal --warmer 30 F --days 21", key: "drift", want: -60, share: .08, source: "Beckett 1903, p. 52"},
	{what: "steel of 11.3, 33 °C", sheet: "pendulum", args: "--expansion 11.3 --warmer 33 C", key: "warmer", want: -16.1, tol: .2, source: "an encyclopaedia on pendulums", printed: "16"},
	{what: "growth from 605 ms/day a °C", sheet: "pendulum", args: "--degree-rate -0.605", key: "found-expansion", want: 14.0, tol: .05, source: "clock pages of a Cambridge college"},
	{what: "barometer, −8.6 ms/day a mbar, to the inch", sheet: "pendulum", args: "--air -0.0086 /mbar", key: "air-inch", want: -.291, tol: .001, source: "clock pages of a Cambridge college"},
	{what: "the same beside the older 0.3", sheet: "pendulum", args: "--air -0.0086 /mbar", key: "air-inch", want: -.3, tol: .015, source: "Beckett 1903, p. 73"},
	// ropes
	{what: "three-line rope, going, m", sheet: "line", args: ropes + "--hung 0.75 m --lead 2.43 m", key: "length", want: 33.03, tol: .005, source: "plain geometry; clock diary of a Cambridge college, 2021", printed: "33.1"},
	{what: "quarters", sheet: "line", args: ropes + "--hung 1.07 m --lead 2.08 m", key: "length", want: 31.72, tol: .005, source: "the same", printed: "31.8"},
	{what: "strike", sheet: "line", args: ropes + "--hung 0.73 m --lead 3.05 m", key: "length", want: 33.71, tol: .005, source: "the same", printed: "33.8"},
	{what: "second strike", sheet: "line", args: ropes + "--hung 0.64 m --lead 3.50 m", key: "length", want: 34.43, tol: .005, source: "the same", printed: "34.5"},
	{what: "30 cm drum, 7 m a day: turns", sheet: "winding", args: "--barrel 300 mm --line-a-day 7 m", key: "turns-a-day", want: 7.43, tol: .03, source: "a tower clock owner's page", printed: "7.4"},
	{what: "and hours a turn", sheet: "winding", args: "--barrel 300 mm --line-a-day 7 m", key: "turn-time", want: 3.23, tol: .03, source: "a tower clock owner's page", printed: "3.24"},
	{what: "11 hours on from just after 2", sheet: "strike", args: "--advance 11 --from 2", key: "advance", want: 76, source: "arithmetic"},
	{what: "the fewest, from any hour", sheet: "strike", args: "--advance 11", key: "advance-least", want: 66, source: "arithmetic"},
	{what: "the most, from any hour", sheet: "strike", args: "--advance 11", key: "advance-most", want: 77, source: "arithmetic"},
	{what: "hours of a mean year", sheet: "wear", args: "--running 1 year", key: "hours", want: 8766, tol: .1, source: "arithmetic"},
	{what: "a million hours, years", sheet: "wear", args: "--running 1000000 h", key: "years", want: 114.1, tol: .1, source: "W. R. Kennedy to keepers of tower clocks"},
	{what: "rope 6x19, 5 %", sheet: "line", args: "--strands 6 --wires 19", key: "hoist-rope", want: 6, source: "30 CFR 56.19024"},
	{what: "rope 7x19, 5 %", sheet: "line", args: "--strands 7 --wires 19", key: "hoist-rope", want: 7, source: "30 CFR 56.19024"},
	{what: "strand of 19, 15 %", sheet: "line", args: "--strands 7 --wires 19", key: "hoist-strand", want: 3, source: "30 CFR 56.19024"},
	// washers and meshes
	{what: "hole 1.7, pivot 1.5", sheet: "washer", args: "--hole 1.7 mm --pivot 1.5 mm", key: "ratio", want: 1.133, tol: .001, source: "a repairer's calculator page"},
	{what: "washer of 1.00 over a pocket of 0.90, faced 1.00", sheet: "washer", args: "--end-shake 1.15 mm --pocket 0.90 mm --facing 1.00 mm --washer 1.00 mm", key: "left", want: .25, tol: 1e-12, source: "arithmetic of the trade"},
	{what: "metal that counts there", sheet: "washer", args: "--end-shake 1.15 mm --pocket 0.90 mm --facing 1.00 mm --washer 1.00 mm", key: "removed", want: .10, tol: 1e-12, source: "arithmetic of the trade"},
	{what: "washer for 0.25 from 0.60", sheet: "washer", args: "--end-shake 0.60 mm --want 0.25 mm", key: "needed", want: .35, tol: 1e-12, source: "arithmetic of the trade"},
	{what: "with stock of 0.30", sheet: "washer", args: "--end-shake 0.60 mm --want 0.25 mm --stock 0.2 mm, 0.30 mm, 0.4 mm", key: "stock-left", want: .30, tol: 1e-12, source: "arithmetic of the trade"},
	{what: "miter, 1 mm, 20°: backlash", sheet: "mesh", args: miter, key: "backlash", want: .515, tol: .001, source: "gear geometry"},
	{what: "miter, 1 mm, 14.5°: backlash", sheet: "mesh", args: miter + " --pressure 14.5 deg", key: "backlash", want: .366, tol: .001, source: "gear geometry"},
	{what: "contrate, 1 mm, 20°: backlash", sheet: "mesh", args: "--kind contrate --teeth 60 --mate 12 --module 1 --shift 1 mm", key: "backlash", want: .728, tol: .001, source: "gear geometry"},
	{what: "0.5 mm in a 5 in bevel, s of hand", sheet: "mesh", args: bevels + "--diameter 5 in", key: "freedom", want: 4.51, tol: .02, source: "geometry from Beckett 1903, p. 224"},
	{what: "in a 7 in bevel", sheet: "mesh", args: bevels + "--diameter 7 in", key: "freedom", want: 3.22, tol: .02, source: "geometry from Beckett 1903, p. 224"},
	{what: "in a 9 in bevel", sheet: "mesh", args: bevels + "--diameter 9 in", key: "freedom", want: 2.51, tol: .02, source: "geometry from Beckett 1903, p. 224"},
	{what: "lamp of 60,000 h, years", sheet: "wear", args: "--running 60000 h", key: "years", want: 6.84, tol: .01, source: "arithmetic"},
	{what: "1 min a week", sheet: "pendulum", args: "--gained 60 --gained-days 7", key: "rate", want: 8.57, tol: .01, source: "AHS handbook, p. 17"},
	{what: "15 s a week", sheet: "pendulum", args: "--gained 15 --gained-days 7", key: "rate", want: 2.14, tol: .01, source: "AHS handbook, p. 17"},
	{what: "5 s a week", sheet: "pendulum", args: "--gained 5 --gained-days 7", key: "rate", want: .71, tol: .01, source: "Beckett 1903, p. 60"},
}

const (
	ropes  = "--lines 3 --drop 10.3 m --clear 0.1 m --spare 2.25 m "
	miter  = "--kind bevel --teeth 20 --mate 20 --module 2 --shift 1 mm"
	bevels = "--kind bevel --teeth 60 --mate 60 --backlash 0.5 mm --to-hand 1 "
)

// Every published figure that a sheet can give, computed beside printed.
func TestReckonAllCheckValues(t *testing.T) {
	all := append(append([]check{}, checks...), physics...)
	for _, c := range all {
		got := figure(t, run(t, c.sheet, c.args), c.key)
		tol := c.tol + c.share*math.Abs(c.want)
		printed := c.printed
		if printed == "" {
			printed = figures(c.want, 7)
		}
		t.Logf("%-10s %-50s %16s  printed %-20s %s", c.sheet, c.what, figures(got, 8), printed, c.source)
		if !(math.Abs(got-c.want) <= tol) {
			t.Errorf("%s: %s %s gives %s = %.10g, want %.10g within %.3g (%s)", c.what, c.sheet, c.args, c.key, got, c.want, tol, c.source)
		}
	}
}

// Two figures that are printed wrong, each beside the one that shows it.
func TestPrintedTraps(t *testing.T) {
	// Beckett 1903, p. 51 prints the bob over 7,200 for a third of the length; his
	// own formula, dT/T = -(m/2M)(d/l - d²/l²), gives 86,400/2 × 2/9 = 9,600.
	a := run(t, "pendulum", "--bob 9.6 kg --added 1 g --place 1/3")
	if got := figure(t, a, "divisor"); math.Abs(got-86400./2*(1./3-1./9)) > 1e-9 {
		t.Errorf("at a third the bob over %g gains 1 s/day, want 9,600", got)
	}
	if got := figure(t, a, "added"); math.Abs(got-1) > 1e-3 {
		t.Errorf("a gram on 9.6 kg gains %g s/day, want 1", got)
	}
	if !strings.Contains(a.Text(), "7,200") {
		t.Error("nothing is said of the 7,200 that is printed")
	}
	// An encyclopaedia prints 0.27 s/day per °C beside 16 s/day for 33 °C: the one
	// is the other only per °F.
	a = run(t, "pendulum", "--expansion 11.3 --warmer 33 C")
	perC, perF := figure(t, a, "heat"), figure(t, a, "heat-f")
	if math.Abs(perC*33+16) > .2 || math.Abs(perF+.27) > .005 || math.Abs(perC+.27) < .2 {
		t.Errorf("%g s/day per °C and %g per °F: want -0.488, 33 of which are 16, and -0.27", perC, perF)
	}
	if !strings.Contains(a.Text(), "0.27 is per °F") {
		t.Error("nothing is said of the 0.27 that is printed")
	}
}
