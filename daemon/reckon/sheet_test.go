package reckon

import (
	"encoding/json"
	"flag"
	"maps"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"
)

var update = flag.Bool("update", false, "write the golden files anew")

// golden compares with a file of testdata.
func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.MkdirAll("testdata", 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("%s differs; look at it, and if it is right run with -update:\n%s", path, got)
	}
}

// Each sheet's example, as people and as programs get it.
func TestGolden(t *testing.T) {
	for _, s := range Sheets {
		a, faults := s.Reckon(s.ExampleInputs(), today)
		if len(faults) > 0 {
			t.Fatalf("%s: its example: %v", s.Name, faults)
		}
		golden(t, s.Name+".txt", a.Text())
		b, err := json.MarshalIndent(a, "", "  ")
		if err != nil {
			t.Fatal(err)
		}
		golden(t, s.Name+".json", string(b)+"\n")
		golden(t, s.Name+"-help.txt", s.Help())
	}
	golden(t, "list.txt", List())
}

// An example is read from a command line as it is printed.
func TestExampleAsPrinted(t *testing.T) {
	for _, s := range Sheets {
		words := strings.NewReplacer(`"`, "", `\"`, `"`).Replace(s.ExampleWords())
		given, json, err := s.ParseArgs(strings.Fields(words))
		if err != nil || json || !maps.Equal(given, s.ExampleInputs()) {
			t.Errorf("%s: %s is read as %v, %v", s.Name, words, given, err)
		}
	}
}

// What holds for every sheet: one name each, a question asks something that the
// sheet looks at, and whatever can hurt has its caution, which defers.
func TestSheets(t *testing.T) {
	seen := map[string]bool{}
	for _, s := range Sheets {
		if seen[s.Name] || s.Title == "" || !strings.HasSuffix(s.About, ".") {
			t.Errorf("sheet %q: twice, or without its words", s.Name)
		}
		seen[s.Name] = true
		if !strings.HasSuffix(s.Caution, "Local rules and licensed people decide.") || len(s.Caution) < 80 {
			t.Errorf("sheet %s: caution %q", s.Name, s.Caution)
		}
		if found, ok := Find(s.Name); !ok || found.Title != s.Title {
			t.Errorf("sheet %s is not found by its name", s.Name)
		}
		names := map[string]bool{"json": true, "help": true}
		for _, in := range s.Inputs {
			if names[in.Name] || in.What == "" || in.example() == "" || in.Hint() == "" {
				t.Errorf("%s: input %q is there twice, or has no words", s.Name, in.Name)
			}
			names[in.Name] = true
			if in.Usual != "" {
				if _, err := in.parse(in.Usual); err != nil {
					t.Errorf("%s: the usual --%s %s: %v", s.Name, in.Name, in.Usual, err)
				}
			}
		}
	}
	if _, ok := Find("barometer"); ok {
		t.Error("a sheet that is not there is found")
	}
}

// A sheet looks at every input that it asks for, and at no other: a slip in a
// name would be a figure that never counts.
func TestEveryInputCounts(t *testing.T) {
	asked := map[string]map[string]bool{}
	note := func(name string, given map[string]string) {
		s, _ := Find(name)
		b := s.begin(given, today)
		s.reckon(b)
		if asked[name] == nil {
			asked[name] = map[string]bool{}
		}
		maps.Copy(asked[name], b.asked)
		for n := range b.read {
			if b.given == nil {
				t.Fatalf("%s: --%s was read, but is not shown", name, n)
			}
		}
	}
	for _, c := range append(append([]check{}, checks...), physics...) {
		s, _ := Find(c.sheet)
		given, _, err := s.ParseArgs(strings.Fields(c.args))
		if err != nil {
			t.Fatal(err)
		}
		note(c.sheet, given)
	}
	for _, s := range Sheets {
		note(s.Name, s.ExampleInputs())
		for n := range asked[s.Name] {
			if _, ok := s.input(n); !ok {
				t.Errorf("%s looks at %q, which it never asks for", s.Name, n)
			}
		}
		for _, in := range s.Inputs {
			if !asked[s.Name][in.Name] && in.Kind != Zone && in.Kind != Day && in.Kind != Wheels {
				t.Errorf("%s asks for --%s and never looks at it", s.Name, in.Name)
			}
		}
	}
}

// Every figure is a plain number with words, a formula and a source; lengths,
// weights and temperatures stand in both systems; keys are told apart.
func checkAnswer(t *testing.T, what string, a Answer) {
	t.Helper()
	seen := map[string]bool{}
	for _, r := range a.Results {
		if r.Key == "" || r.Label == "" || r.Text == "" || r.Formula == "" || r.Source == "" {
			t.Errorf("%s: %+v lacks something", what, r)
		}
		if math.IsNaN(r.Value) || math.IsInf(r.Value, 0) || math.Signbit(r.Value) && r.Value == 0 {
			t.Errorf("%s: %s is %v", what, r.Key, r.Value)
		}
		if slices.Contains([]string{"mm", "m", "kg", "°C"}, r.Unit) && !strings.Contains(r.Text, "(") {
			t.Errorf("%s: %s is shown in one system only: %q", what, r.Key, r.Text)
		}
		if seen[r.Key] {
			t.Errorf("%s: %s stands twice", what, r.Key)
		}
		seen[r.Key] = true
	}
	for line := range strings.Lines(a.Text()) {
		if n := utf8.RuneCountInString(strings.TrimRight(line, "\n")); n > column+mostText || strings.HasSuffix(line, " \n") {
			t.Errorf("%s: a line of %d characters: %q", what, n, line)
		}
	}
	if strings.Contains(a.Text(), "NaN") || strings.Contains(a.Text(), "Inf") {
		t.Errorf("%s: %s", what, a.Text())
	}
}

func TestAnswers(t *testing.T) {
	for _, c := range append(append([]check{}, checks...), physics...) {
		checkAnswer(t, c.sheet+" "+c.args, run(t, c.sheet, c.args))
	}
}

// Bad input is refused in one sentence that names the input and says how to mend
// it.
func TestRefused(t *testing.T) {
	for _, c := range []struct{ sheet, args, input, says string }{
		{"washer", "--end-shake 1.15", "end-shake", "no unit"},
		{"washer", "--end-shake NaN mm", "end-shake", "no figure"},
		{"washer", "--end-shake 1e9 mm", "end-shake", "not a plain number"},
		{"washer", "--end-shake 150 mm", "end-shake", "at most 100 mm"},
		{"washer", "--end-shake -1 mm", "end-shake", "at least 0 mm"},
		{"washer", "--end-shake 1 mm --stock 0.2, 0.3 mm", "stock", "no unit"},
		{"washer", "--pivot 5 mm", "hole", "give the pivot and the hole"},
		{"washer", "--pivot 5 mm --hole 4 mm", "hole", "does not take a pivot"},
		{"washer", "--pocket 1 mm", "", "give more, like --end-shake"},
		{"winding", "--last-time 1 h", "wheels", "write each wheel before its pinion"},
		{"winding", "--wheels 120-10", "wheels", "like 120:10"},
		{"winding", "--wheels 120:2", "wheels", "cannot be right"},
		{"winding", "--wheels " + strings.Repeat("120:10,", 12) + "120:10", "wheels", "13 wheels"},
		{"winding", "--lines 2.5", "lines", "not a whole number"},
		{"winding", "--lines 99", "lines", "at most 8"},
		{"winding", "--turn-time 3", "turn-time", "no unit"},
		{"winding", "--turn-time 3 h --wheels 120:10 --last-time 1 h", "turn-time", "instead of --last-time (the time in which the last arbor turns once)"},
		{"winding", "--turn-time 3 h --line-a-day 7 m --barrel 300 mm", "line-a-day", "instead of --turn-time"},
		{"winding", "--last-time 1 h --wheels 120:10 --line-a-day 7 m --barrel 300 mm", "line-a-day", "instead of --last-time"},
		{"winding", "--turn-time 3 fortnights", "turn-time", "unknown unit"},
		{"winding", "--turn-time h", "turn-time", "no figure"},
		{"winding", "--turn-time 0 h", "turn-time", "above 0 h"},
		{"strike", "--hours no", "hours", "never sounds"},
		{"strike", "--quarters 1.5,2,3,4", "quarters", "1.5 blows cannot be struck: give whole numbers"},
		{"strike", "--quarters 4", "quarters", "1 figure cannot be right"},
		{"strike", "--silent 5-5", "silent", "no span"},
		{"strike", "--half 101", "half", "at most 100 can be right, so check the figure"},
		{"line", "--zinc 3000", "zinc", "so check the unit"},
		{"strike", "--quarters 1,2,3", "quarters", "give four"},
		{"strike", "--silent 20", "silent", "like 20-8"},
		{"strike", "--silent 20-31", "silent", "0 to 23"},
		{"strike", "--hours perhaps", "hours", "one of yes; no"},
		{"strike", "--turn-blows 0x10", "turn-blows", "not a plain number"},
		{"line", "--strands 6", "wires", "give both"},
		{"line", "--outer 399", "outer", "at most 300"},
		{"line", "--drop 1 m --hung 2 m", "drop", "shorter"},
		{"pendulum", "--length 1 m --beat 1", "beat", "not both"},
		{"pendulum", "--pitch 1 mm", "length", "needs the length"},
		{"pendulum", "--added 2 g", "bob", "give that too"},
		{"pendulum", "--bob 1 kg --added -0.9 kg", "added", "cannot be taken off"},
		{"pendulum", "--warmer 10 C", "rod", "material"},
		{"pendulum", "--warmer 10", "warmer", "no unit"},
		{"pendulum", "--arc 2.5", "arc", "no unit"},
		{"pendulum", "--arc 75 deg", "arc", "at most 60 °"},
		{"pendulum", "--arc-to 2 deg", "arc", "first one"},
		{"pendulum", "--bob 20", "bob", "no unit"},
		{"pendulum", "--gained 1,000.5", "gained", "two ways"},
		{"pendulum", "--place 1/0 --bob 1 kg", "place", "divides by nothing"},
		{"pendulum", "--gained 1e999", "gained", "not a plain number"},
		{"pendulum", "--gained 1e99", "gained", "at most"},
		{"mesh", "--teeth 20", "mate", "it is needed"},
		{"mesh", "--teeth 20 --mate 20", "module", "give one of three"},
		{"mesh", "--teeth 20 --mate 20 --module 1 --dp 20", "dp", "instead of --module (the module)"},
		{"mesh", "--teeth 20 --mate 20 --diameter 5 in --dp 20", "diameter", "instead of --dp (the diametral pitch"},
		{"mesh", "--teeth 20 --mate 20 --diameter 5 m", "diameter", "module 250 mm must be"},
		{"mesh", "--teeth 20 --mate 20 --module 2 --backlash 15 mm", "backlash", "width of a tooth, 3.14 mm"},
		{"mesh", "--teeth 20 --mate 80 --module 2 --cone 80 deg", "cone", "cannot meet one of 80"},
		{"mesh", "--kind spur --way across --teeth 20 --mate 20 --module 2 --shift 4.1 mm", "shift", "two modules, 4 mm"},
		{"mesh", "--kind spur --way across --does closes --teeth 20 --mate 20 --module 2 --shift 60 mm", "shift", "check the shift"},
		{"mesh", "--teeth 20 --mate 20 --module 2 --shift -6 mm", "shift", "check the shift"},
		{"wear", "--outer 24 mm", "inner", "needed beside the outer"},
		{"wear", "--outer 24 mm --inner 25 mm", "inner", "cannot be"},
		{"wear", "--load 1 N --rod 1 m --thick 10 mm", "load", "not both"},
		{"wear", "--k 1e-5 --pair steel on brass --oil good", "k", "instead of --pair"},
		{"wear", "--k 1e-5 --archard 1e-6 --hardness 1200", "k", "instead of --archard"},
		{"wear", "--archard 1e-6 --hardness 1200 --pair steel on brass", "archard", "instead of --pair"},
		{"wear", "--pair steel on brass --oil good --good 1", "oil", "instead of --good"},
		{"wear", "--pair steel on brass --good 0.5 --aged 0.2", "good", "come to 70 %, not 100"},
		{"wear", "--pair steel on brass --good 0.9 --aged 0.2", "good", "come to 110 %, not 100"},
		{"wear", "--pair steel on brass --good 0.998", "good", "come to 99.8 %"},
		{"wear", "--pair steel on brass --dry 0", "good", "come to 0 %"},
		{"wear", "--revs 100 --running 1 year --revs-per-hour 1", "revs", "instead of --running (how long it runs) and --revs-per-hour"},
		{"wear", "--revs 100 --distance 5", "distance", "instead of --revs"},
		{"wear", "--distance 5 --running 1 year --revs-per-hour 1", "distance", "instead of --running"},
		{"oil", "--months 1,2,3", "months", "give twelve"},
		{"oil", "--months " + strings.Repeat("1,", 70) + "1", "months", "too many"},
		{"oil", "--months 1,2,x,4", "months", "not a plain number"},
		{"oil", "--at 10", "at", "no unit"},
		{"oil", "--at 10 K", "at", "unknown unit"},
		{"oil", "--at 10 C --months 1,2,3,4,5,6,7,8,9,10,11,12", "at", "not both"},
		{"oil", "--v40 32", "v100", "both"},
		{"oil", "--v40 5 --v100 32 --cold 0 C", "v100", "no oil is thicker"},
		{"oil", "--v40 32 --v100 5.4", "cold", "like -15 C"},
		{"thread", "--pitch 1 mm", "major", "it is needed"},
		{"thread", "--major 6 mm", "pitch", "one of the two"},
		{"thread", "--major 1 mm --pitch 3 mm", "pitch", "too coarse for a screw of 1.000 mm"},
		{"thread", "--major 1 mm --tpi 10 --form ba", "tpi", "too coarse"},
		{"thread", "--major 6 mm --pitch 1 mm --hole 7 mm", "hole", "no thread"},
		{"thread", "--major 6 mm --pitch 1 mm --percent 175", "percent", "at most 100 %"},
		{"thread", "--major 6 mm --pitch 1 mm --form square", "form", "metric; american"},
		{"timechange", "--zone Mars/Olympus", "zone", "Europe/London"},
		{"timechange", "--zone Local", "zone", "not a zone"},
		{"timechange", "--zone ../../etc/passwd", "zone", "not a zone"},
		{"timechange", "--zone Europe/London --from 03/04/2025", "from", "2026-11-25"},
		{"timechange", "--zone Europe/London --from 9999-12-31", "from", "between 1900 and 2200"},
		{"timechange", "--zone " + strings.Repeat("x", 300), "zone", "too many"},
	} {
		s, _ := Find(c.sheet)
		given, _, err := s.ParseArgs(strings.Fields(c.args))
		if err != nil {
			t.Fatalf("%s %s: %v", c.sheet, c.args, err)
		}
		a, faults := s.Reckon(given, today)
		if len(faults) == 0 {
			t.Errorf("%s %s: is taken: %v", c.sheet, c.args, keys(a))
			continue
		}
		f := faults[0]
		if f.Input != c.input || !strings.Contains(f.Message, c.says) || len(a.Results) > 0 {
			t.Errorf("%s %s: %q; want --%s and %q", c.sheet, c.args, f.Error(), c.input, c.says)
		}
		if c.input != "" && !strings.HasPrefix(f.Error(), "--"+c.input+": ") || strings.Contains(f.Error(), "\n") || strings.HasSuffix(f.Error(), ".") {
			t.Errorf("%s %s: %q is not one sentence that names the input", c.sheet, c.args, f.Error())
		}
	}
}

func TestUnknownInput(t *testing.T) {
	_, faults := washer.Reckon(map[string]string{"end-shake": "1 mm", "endshake": "1 mm"}, today)
	if len(faults) != 1 || !strings.Contains(faults[0].Error(), "--endshake is no input of the sheet washer: use --end-shake") {
		t.Errorf("%v", faults)
	}
}

// Whatever is typed, a sheet answers or refuses, and never with a figure that is
// none.
func FuzzReckon(f *testing.F) {
	for i, s := range Sheets {
		f.Add(uint8(i), s.ExampleWords())
	}
	f.Add(uint8(3), "--length 1e-300 m --pitch 200 m --bob 1e-9 kg --added 50 kg --arc 60 deg")
	f.Add(uint8(0), "--fall 0.001 mm --barrel 5 m --turn-time 1e-9 s --want 1 h")
	f.Fuzz(func(t *testing.T, which uint8, line string) {
		s := Sheets[int(which)%len(Sheets)]
		given, _, err := s.ParseArgs(strings.Fields(line))
		if err != nil {
			return
		}
		a, faults := s.Reckon(given, today)
		if (len(a.Results) > 0) == (len(faults) > 0) {
			t.Fatalf("%s %q: %d figures and %d faults", s.Name, line, len(a.Results), len(faults))
		}
		checkAnswer(t, s.Name+" "+line, a)
		if _, err := json.Marshal(a); err != nil {
			t.Fatal(err)
		}
	})
}

// Figures of any size that inputs allow: the same promises, over many draws.
func TestAnySize(t *testing.T) {
	const seed = 20261125
	t.Logf("seed %d", seed)
	rng := rand.New(rand.NewPCG(seed, 1))
	units := map[Kind][]string{Length: {"mm", "in", "m", "thou"}, Mass: {"kg", "g", "cwt"}, Force: {"N", "kg"}, Temperature: {"C", "F"}, Warming: {"C", "F"},
		Angle: {"deg", "arcmin"}, Time: {"s", "h", "years"}, AirRate: {"/hPa", "/inHg"}, Share: {"%", ""}, Number: {""}, Count: {""}}
	answered := 0
	for range 3000 {
		s := Sheets[rng.IntN(len(Sheets))]
		given := map[string]string{}
		for _, in := range s.Inputs {
			u, ok := units[in.Kind]
			if rng.IntN(3) == 0 {
				continue
			}
			if in.Kind == Choice {
				given[in.Name] = in.Choices[rng.IntN(len(in.Choices))]
			} else if ok {
				v := math.Pow(10, 5*rng.Float64()-2)
				if in.Kind == Count {
					v = math.Ceil(v)
				}
				given[in.Name] = strings.TrimSpace(strings.ReplaceAll(figures(v, 3), ",", "") + " " + u[rng.IntN(len(u))])
			}
		}
		a, faults := s.Reckon(given, today)
		if len(faults) == 0 {
			answered++
			checkAnswer(t, s.Name, a)
		}
	}
	if answered < 20 {
		t.Errorf("%d of 3000 draws were answered: too few to show anything", answered)
	}
}
