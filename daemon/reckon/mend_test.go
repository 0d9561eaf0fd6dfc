package reckon

import (
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

// says fails where an answer does not say something, or says it though it must
// not.
func says(t *testing.T, args string, a Answer, text string, want bool) {
	t.Helper()
	// Lines are wrapped where they are full.
	if strings.Contains(strings.Join(strings.Fields(a.Text()), " "), text) != want {
		t.Errorf("%s: %q is said: %v, want %v:\n%s", args, text, !want, want, a.Text())
	}
}

// Inputs that are each fit for a sheet, in any company: a figure has one key, and
// is a plain number.
func TestAnyCompany(t *testing.T) {
	const seed = 1903
	t.Logf("seed %d", seed)
	rng := rand.New(rand.NewPCG(seed, 2))
	fit := map[string]map[string][]string{}
	note := func(sheet string, given map[string]string) {
		if fit[sheet] == nil {
			fit[sheet] = map[string][]string{}
		}
		for name, text := range given {
			fit[sheet][name] = append(fit[sheet][name], text)
		}
	}
	for _, c := range slices.Concat(checks, physics) {
		s, _ := Find(c.sheet)
		given, _, err := s.ParseArgs(strings.Fields(c.args))
		if err != nil {
			t.Fatal(err)
		}
		note(c.sheet, given)
	}
	for _, s := range Sheets {
		note(s.Name, s.ExampleInputs())
		answered := 0
		for range 500 {
			given := map[string]string{}
			share := rng.Float64()
			for _, name := range slices.Sorted(maps.Keys(fit[s.Name])) {
				if texts := fit[s.Name][name]; rng.Float64() < share {
					given[name] = texts[rng.IntN(len(texts))]
				}
			}
			a, faults := s.Reckon(given, today)
			if len(faults) == 0 {
				answered++
				checkAnswer(t, s.Name, a)
			}
		}
		if answered < 5 {
			t.Errorf("%s: %d of 500 were answered: too few to show anything", s.Name, answered)
		}
	}
}

// A line paid out a day gives the time of a turn, from which the rest follows.
func TestLineADay(t *testing.T) {
	const args = "--barrel 300 mm --line-a-day 7 m --fall 14 m --want 3 days --wheels 120:10"
	a := run(t, "winding", args)
	turn := 24 * math.Pi * .3 / 7 // hours
	for key, want := range map[string]float64{"turn-time": turn, "run": 48, "want-turns": 72 / turn, "want-fall": 21000, "arbor-a": turn / 12 * 3600} {
		if got := figure(t, a, key); math.Abs(got-want) > 1e-9*want {
			t.Errorf("%s: %s is %g, want %g", args, key, got, want)
		}
	}
	says(t, args, a, "A full wind runs 48 h only", false) // 48 h are shown as days
	says(t, args, a, "A full wind runs 2 days only, not the 3 days that are wanted", true)
}

// Turns that take more fall than there is are said, and no work is told of a fall
// that is not the one.
func TestWindDeeperThanFall(t *testing.T) {
	const tower = "--fall 5 m --barrel 300 mm --weight 100 kg --turns "
	a := run(t, "winding", tower+"10") // π × 0.3 m × 10 = 9.425 m
	says(t, tower, a, "A full wind takes a fall of 9.425 m (30.92 ft), more than the 5 m (16.4 ft) that is given", true)
	if r, ok := a.Result("wind-work"); ok {
		t.Errorf("%s: %s %s", tower, r.Label, r.Text)
	}
	a = run(t, "winding", tower+"5")
	says(t, tower, a, "more than the", false)
	if got, want := figure(t, a, "wind-work"), 100*9.80665*math.Pi*1.5; math.Abs(got-want) > 1e-3*want {
		t.Errorf("the work of 5 turns is %g J, want %g", got, want)
	}
}

// Where the wheel comes to stand, from the places of the two faces: it is the
// middle between them, before and after.
func TestWheelPlace(t *testing.T) {
	for _, c := range []struct {
		args                          string
		made                          float64 // the end-shake as made
		facing, pocket, washer, other float64
		end                           string
	}{
		{"--end-shake 1.15 mm --pocket 0.90 mm --facing 1.00 mm --washer 1.00 mm", .25, 1, .9, 1, 0, ""},
		{"--end-shake 1.15 mm --pocket 0.90 mm --facing 1.00 mm --washer 0.60 mm", .25, 1, .9, .6, 0, "towards the washer's end"},
		{"--end-shake 1.15 mm --pocket 0.90 mm --washer 0.90 mm", .25, 0, .9, .9, 0, ""},
		{"--end-shake 1.15 mm --pocket 0.90 mm --facing 0.50 mm --washer 0.30 mm", .25, .5, .9, .3, 0, "towards the washer's end"},
		{"--end-shake 0.50 mm --facing 0.40 mm --washer 0.60 mm", .5, .4, 0, .6, 0, "towards the other end"},
		{"--end-shake 1 mm --washer 0.80 mm", 1, 0, 0, .8, 0, "towards the other end"},
		{"--end-shake 1 mm --other 0.80 mm", 1, 0, 0, 0, .8, "towards the washer's end"},
		{"--end-shake 1 mm --washer 0.30 mm --other 0.30 mm", 1, 0, 0, .3, .3, ""},
	} {
		a := run(t, "washer", c.args+" --cone 45 deg")
		// The faces are at 0 and made; this one goes down by facing or wear, and up
		// by its washer; the other comes in by its own.
		low, high := c.washer-max(c.facing, c.pocket), c.made-c.other
		shift := (low+high)/2 - c.made/2
		for key, want := range map[string]float64{"left": high - low, "shift": math.Abs(shift), "bevel-depth": math.Abs(shift) * math.Sqrt2 / 2,
			"bevel-backlash": math.Abs(shift) * math.Sqrt2 * math.Tan(math.Pi/9)} {
			if got := figure(t, a, key); math.Abs(got-want) > 1e-9 {
				t.Errorf("%s: %s is %g, want %g", c.args, key, got, want)
			}
		}
		r, _ := a.Result("shift")
		if named := strings.Contains(r.Label, "towards"); named != (c.end != "") || !strings.Contains(r.Label, c.end) {
			t.Errorf("%s: %q, want %q", c.args, r.Label, c.end)
		}
	}
}

// Days are taken with their fraction, of each question its own.
func TestDaysOfPendulum(t *testing.T) {
	a := run(t, "pendulum", "--rod brass --warmer 10 C --days 1.5 --gained 60 --gained-days 7")
	if got, want := figure(t, a, "drift"), -43200*18e-6*10*1.5; math.Abs(got-want) > 1e-9 {
		t.Errorf("over 1.5 days %g s, want %g", got, want)
	}
	if got := figure(t, a, "rate"); math.Abs(got-60./7) > 1e-9 {
		t.Errorf("60 s in 7 days are %g s/day", got)
	}
	says(t, "1.5 days", a, "Error over 1.5 days", true)
	says(t, "brass", a, "handbook tables have 19", true)
	says(t, "brass", run(t, "wear", "--rod 1 m --thick 10 mm --shaft steel --frame brass --warmer 10 C"), "Beckett 1903, p. 53 has 18", true)
}

// What the arc loses is told once, without a sign, and per what.
func TestArcLossWords(t *testing.T) {
	a := run(t, "pendulum", "--arc 2 deg")
	r, _ := a.Result("circular")
	if !strings.Contains(r.Label, "per day shown by the clock") || r.Text != "6.58 s" {
		t.Errorf("%s: %s", r.Label, r.Text)
	}
	says(t, "--arc 2 deg", a, "(loses)", false)
}

// A spur wheel has no cone, and a mesh that cannot turn is said.
func TestMeshWords(t *testing.T) {
	const bare = "--kind spur --teeth 30 --mate 30 --module 2 --backlash 0.1 mm "
	for _, c := range []struct {
		args, text string
		want       bool
	}{
		{bare + "--way across --shift 1 mm", "cone", false},
		{bare + "--way along --shift 60 mm", "cone", false},
		{bare + "--way along --shift 60 mm", "It ", false},
		{bare + "--way across --shift 4 mm", "It is out of mesh", true},
		{bare + "--way across --shift 1 mm", "It is out of mesh", false},
		{bare + "--way across --shift 1 mm", "It binds", false},
		{bare + "--way across --does closes --shift 0.1 mm", "It binds", false}, // after 0.1 / (2 tan 20°) = 0.137 mm
		{bare + "--way across --does closes --shift 0.2 mm", "It binds", true},
		{bare + "--way across --shift -0.2 mm", "It binds", true},
		{"--teeth 20 --mate 20 --module 2 --does closes --shift 0.6 mm", "It binds", false},
		{"--teeth 20 --mate 20 --module 2 --does closes --shift 0.8 mm", "It binds", true}, // 0.57 mm too deep, above a quarter of the module
	} {
		says(t, c.args, run(t, "mesh", c.args), c.text, c.want)
	}
}

// One of anything is not many.
func TestOneOnly(t *testing.T) {
	for _, c := range []struct{ sheet, args, text string }{
		{"wear", "--running 1 year", "1 year "}, {"line", "--strands 1 --wires 6", " 1 wire "}, {"strike", "--turn-blows 156", " 1 turn "},
	} {
		a := run(t, c.sheet, c.args)
		says(t, c.args, a, strings.TrimSpace(c.text), true)
		for _, r := range a.Results {
			if strings.HasPrefix(r.Text, "1 ") && strings.HasSuffix(r.Text, "s") && len(r.Text) > len("1 s") {
				t.Errorf("%s: %s: %s", c.args, r.Label, r.Text)
			}
		}
	}
}
