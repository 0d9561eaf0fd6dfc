package schedule

import (
	"fmt"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"
)

func lineOf(t *testing.T, a Assessment, code string) LineState {
	t.Helper()
	for _, s := range a.Lines {
		if s.Line.Code == code {
			return s
		}
	}
	t.Fatalf("no line %s", code)
	return LineState{}
}

// What is recorded of a line: fitted, winds since, last look.
func TestLineState(t *testing.T) {
	k := LineCheck{Wires6: 1, Wires30: 2, Diameter: mm(4.9), Rust: "a bloom near the eye"}
	winds := []Entry{
		did(Wound, "2026-01-05"), did(Wound, "2026-01-12", of("going")), did(Wound, "2026-01-12 00:01", of("strike")), did(Wound, "2026-01-19", partly),
	}
	for _, tt := range []struct {
		name            string
		change          func(*Line)
		log             []Entry
		fitted, checked string
		windings        int
		looked          bool
	}{
		{"nothing logged", nil, nil, "2019-05-01", "", 0, false},
		{"winds of the clock and of its train, full or in part", nil, winds, "2019-05-01", "", 3, false},
		{"not known when it was fitted: all that are logged", func(l *Line) { l.FittedAt = Date{} }, winds, "", "", 3, false},
		{"described as fitted since: winds and looks before are the old line's", func(l *Line) { l.FittedAt = d("2026-01-12") }, append([]Entry{did(Inspected, "2026-01-06", ofLine("going-line", k))}, winds...), "2026-01-12", "", 2, false},
		{"a new line", nil, append([]Entry{did(Repaired, "2026-01-12 12:00", newLine("going-line"))}, winds...), "2026-01-12", "", 1, false},
		{"the other line new", nil, append([]Entry{did(Repaired, "2026-01-12 12:00", newLine("strike-line"))}, winds...), "2019-05-01", "", 3, false},
		{"a repair of a bearing", nil, append([]Entry{did(Repaired, "2026-01-12 12:00", left(0.1))}, winds...), "2019-05-01", "", 3, false},
		{"looked at", nil, []Entry{did(Inspected, "2026-02-01", ofLine("going-line", k))}, "2019-05-01", "2026-02-01", 0, true},
		{"looked at with nothing counted", nil, []Entry{did(Inspected, "2026-02-01", func(e *Entry) { e.Line = "going-line" })}, "2019-05-01", "2026-02-01", 0, false},
		{"the clock looked at", nil, []Entry{did(Inspected, "2026-02-01")}, "2019-05-01", "", 0, false},
		{"looked at before it was replaced", nil, []Entry{did(Inspected, "2026-02-01", ofLine("going-line", k)), did(Repaired, "2026-02-02", newLine("going-line"))}, "2026-02-02", "", 0, false},
	} {
		c := roped()
		if tt.change != nil {
			tt.change(&c.Care.Lines[0])
		}
		s := lineOf(t, assess(c, book(tt.log...), "2026-03-01"), "going-line")
		if s.FittedAt.String() != tt.fitted || s.Checked.String() != tt.checked || s.Windings != tt.windings || (s.Check != nil) != tt.looked {
			t.Errorf("%s: fitted %s, %d windings, looked at %s (%v)", tt.name, s.FittedAt, s.Windings, s.Checked, s.Check)
		}
		if tt.looked && (*s.Check != k || !s.Broken) {
			t.Errorf("%s: %+v", tt.name, s)
		}
	}
}

// Counts beside the figures for cranes (ISO 4309: 5 in 6 diameters and 10 in 30
// for 114 outer wires; 2 and 4 for the fewest) and a diameter 10 % down; any
// broken wire at all has the clock stopped by an owner's advice page of the
// trade (turretclocks.com, p. 3).
func TestLinePast(t *testing.T) {
	for _, tt := range []struct {
		line         string
		k            LineCheck
		past, broken bool
	}{
		{"going-line", LineCheck{}, false, false},
		{"going-line", LineCheck{Wires6: 1}, false, true},
		{"going-line", LineCheck{Wires30: 1}, false, true},
		{"going-line", LineCheck{Wires6: 4, Wires30: 9}, false, true},
		{"going-line", LineCheck{Wires6: 5}, true, false},
		{"going-line", LineCheck{Wires6: 1, Wires30: 10}, true, false},
		{"going-line", LineCheck{Wires6: 900, Wires30: 1000}, true, false},
		{"going-line", LineCheck{Strand: true}, true, false},
		{"going-line", LineCheck{Diameter: mm(4.75)}, false, false}, // 5 % down
		{"going-line", LineCheck{Diameter: mm(4.70)}, false, false}, // 6 %: a hoist's may
		{"going-line", LineCheck{Diameter: mm(4.69)}, false, true},
		{"going-line", LineCheck{Diameter: mm(4.50)}, true, false}, // 10 %
		{"going-line", LineCheck{Diameter: mm(5.20)}, false, false},
		{"strike-line", LineCheck{Wires6: 1, Wires30: 3}, false, true},
		{"strike-line", LineCheck{Wires6: 2}, true, false},
		{"strike-line", LineCheck{Wires30: 4}, true, false},
		{"strike-line", LineCheck{Diameter: mm(1)}, false, false}, // its own is not known
	} {
		a := assess(roped(), book(did(Inspected, "2026-02-01", ofLine(tt.line, tt.k))), "2026-03-01")
		s := lineOf(t, a, tt.line)
		if s.Past != tt.past || s.Broken != tt.broken {
			t.Errorf("%s, %+v: past %v, broken %v", tt.line, tt.k, s.Past, s.Broken)
		}
		if !strings.Contains(s.Note, "Figure for cranes, an analogue") || strings.Contains(s.Note, "stop using the clock") != (tt.past || tt.broken) {
			t.Errorf("%+v: %q", tt.k, s.Note)
		}
		if wires := tt.k.Strand || tt.k.Wires6 > 0 || tt.k.Wires30 > 0; strings.Contains(s.Note, "turretclocks.com") != wires {
			t.Errorf("%+v: it rests on the wrong source: %q", tt.k, s.Note)
		}
		checkWords(t, tt.line, s.Note)
		if !tt.past && !tt.broken {
			if len(a.Locks) > 0 {
				t.Errorf("%+v: %v", tt.k, a.Locks)
			}
			if titles(a.Tasks) != titles(assess(roped(), nil, "2026-03-01").Tasks) {
				t.Errorf("%+v: a task where nothing was found: %s", tt.k, titles(a.Tasks))
			}
			continue
		}
		x := taskOf(t, a, LineLook, tt.line)
		if lock, on := a.locked(DoNotRun); !on || !strings.HasPrefix(a.Status, "Do not run: "+lock.Why) || lock.Since != d("2026-02-01") {
			t.Errorf("%+v: %v, %q", tt.k, lock, a.Status)
		}
		if x.Rank != Danger || x.State != Late || windowOf(x) != "2026-02-01 2026-02-01 2026-02-01" ||
			!strings.Contains(x.Reason, "stop using the clock until a professional clears it") {
			t.Errorf("%+v: %+v", tt.k, x)
		}
	}
}

func TestLineNote(t *testing.T) {
	k := LineCheck{Wires6: 1, Wires30: 2, Diameter: mm(4.8), Rust: "a bloom near the eye."}
	c := roped()
	c.Care.Lines[0].MostYears, c.Care.Lines[0].Source = 15, "conservator, 2019"
	c.Care.Lines[1].MostYears = 20
	a := assess(c, book(did(Inspected, "2026-02-01", ofLine("going-line", k))), "2026-03-01")
	want := "Damage found on 1 Feb 2026: stop using the clock until a professional clears it (turretclocks.com, owner's advice, p. 3). " +
		"1 broken wire in 6 diameters; 2 broken wires in 30 diameters; 4.8 mm (0.189 in) thick, 4.0 % under 5 mm (0.197 in); and rust: a bloom near the eye on 1 Feb 2026. " +
		"Figure for cranes, an analogue: discarded at 5 in 6 diameters or 10 in 30 (ISO 4309, for 114 outer wires), a diameter 10 % down, or any broken strand. " +
		"Figure for US mine hoists, an analogue: retired at 7 in one lay or 3 in one strand of it, or over 6 % down (30 CFR 56.19024). " +
		"To be replaced for its age by 1 May 2034 (conservator, 2019)."
	if got := lineOf(t, a, "going-line").Note; got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
	if got := lineOf(t, a, "strike-line").Note; got != "Not looked at since it was fitted, as far as is logged. It is to be replaced after 20 years, but it is not known when it was fitted." {
		t.Errorf("%q", got)
	}
	clean := assess(c, book(did(Inspected, "2026-02-01", ofLine("strike-line", LineCheck{}))), "2026-03-01")
	if got := lineOf(t, clean, "strike-line").Note; !strings.HasPrefix(got, "No broken wire on 1 Feb 2026. Figure for cranes, an analogue: discarded at 2 in 6 diameters or 4 in 30 (ISO 4309, for the fewest outer wires, since theirs are not known)") || strings.Contains(got, "hoist") {
		t.Errorf("%q", got)
	}
}

// Broken wires do not mend: that a keeper then sees none changes nothing. A
// clockmaker, a conservator or a new line does.
func TestWhoClearsALine(t *testing.T) {
	look := func(day string, wires int, changes ...change) Entry {
		return did(Inspected, day, append([]change{ofLine("going-line", LineCheck{Wires6: wires})}, changes...)...)
	}
	visit := func(e *Entry) { e.Visit = true }
	for _, tt := range []struct {
		name         string
		log          []Entry
		past, broken bool
		found        string
	}{
		{"seen again by the keeper, fewer", []Entry{look("2026-02-01", 5), look("2026-02-08", 1, doneBy("ann"))}, true, false, "2026-02-01"},
		{"seen again by the keeper, none", []Entry{look("2026-02-01", 2), look("2026-02-08", 0, doneBy("ann"))}, false, true, "2026-02-01"},
		{"seen again by nobody known", []Entry{look("2026-02-01", 5), look("2026-02-08", 0)}, true, false, "2026-02-01"},
		{"seen again, as many", []Entry{look("2026-02-01", 5), look("2026-02-08", 6)}, true, false, "2026-02-01"},
		{"more than before", []Entry{look("2026-02-01", 1), look("2026-02-08", 5)}, true, false, "2026-02-08"},
		{"by the conservator, fewer", []Entry{look("2026-02-01", 5), look("2026-02-08", 1, doneBy("cleo"))}, false, true, "2026-02-08"},
		{"by the conservator, none", []Entry{look("2026-02-01", 5), look("2026-02-08", 0, doneBy("cleo"))}, false, false, ""},
		{"at the yearly visit", []Entry{look("2026-02-01", 5), look("2026-02-08", 0, visit)}, false, false, ""},
		{"a look that counted nothing", []Entry{look("2026-02-01", 5), did(Inspected, "2026-02-08", doneBy("cleo"), func(e *Entry) { e.Line = "going-line" })}, true, false, "2026-02-01"},
		{"a new line", []Entry{look("2026-02-01", 5), did(Repaired, "2026-02-08", newLine("going-line"))}, false, false, ""},
		{"the other line new", []Entry{look("2026-02-01", 5), did(Repaired, "2026-02-08", newLine("strike-line"))}, true, false, "2026-02-01"},
		{"the lock cleared by name", []Entry{look("2026-02-01", 5), did(Noted, "2026-02-08", note("may run"), clearing(DoNotRun), doneBy("cleo"))}, false, false, ""},
		{"and found again", []Entry{look("2026-02-01", 5), did(Noted, "2026-02-08", note("may run"), clearing(DoNotRun), doneBy("cleo")), look("2026-02-15", 5)}, true, false, "2026-02-15"},
		{"the other lock cleared", []Entry{look("2026-02-01", 5), did(Noted, "2026-02-08", note("may go in"), clearing(DoNotEnter), doneBy("cleo"))}, true, false, "2026-02-01"},
		{"broken again", []Entry{look("2026-02-01", 5), look("2026-02-08", 0, doneBy("cleo")), look("2026-02-15", 1)}, false, true, "2026-02-15"},
	} {
		s := lineOf(t, assess(roped(), book(slices.Clone(tt.log)...), "2026-03-01"), "going-line")
		if s.Past != tt.past || s.Broken != tt.broken || s.Found.String() != tt.found {
			t.Errorf("%s: past %v, broken %v, found %s", tt.name, s.Past, s.Broken, s.Found)
		}
	}
}

// Looks fall due by policy: the line's own, else its train's, else the clock's.
func TestLineLooks(t *testing.T) {
	all, going, own := Policy{Task: LineLook, Days: 365, Source: "clock"}, Policy{Task: LineLook, Train: "going", Days: 90, Source: "train"}, Policy{Task: LineLook, Line: "going-line", Days: 30, Source: "line"}
	look := func(code, day string) Entry { return did(Inspected, day, ofLine(code, LineCheck{})) }
	for _, tt := range []struct {
		name     string
		policies []Policy
		log      []Entry
		going    string // due, and source
		strike   string
	}{
		{"none", nil, nil, "", ""},
		{"of the clock, never looked at", []Policy{all}, nil, "2020-12-31 clock", "2020-12-31 clock"},
		{"of the clock", []Policy{all}, []Entry{look("going-line", "2026-01-01")}, "2027-01-01 clock", "2020-12-31 clock"},
		{"of a train", []Policy{going}, []Entry{look("going-line", "2026-01-01")}, "2026-04-01 train", ""},
		{"the train before the clock", []Policy{all, going}, []Entry{look("going-line", "2026-01-01"), look("strike-line", "2026-01-01")}, "2026-04-01 train", "2027-01-01 clock"},
		{"the line before the train", []Policy{own, all, going}, []Entry{look("going-line", "2026-01-01")}, "2026-01-31 line", "2020-12-31 clock"},
		{"the clock inspected is no look at its lines", []Policy{all}, []Entry{did(Inspected, "2026-01-01")}, "2020-12-31 clock", "2020-12-31 clock"},
		{"a new line was looked at", []Policy{all}, []Entry{did(Repaired, "2026-01-01", newLine("going-line"))}, "2027-01-01 clock", "2020-12-31 clock"},
		{"for a bearing: none", []Policy{{Task: LineLook, Bearing: "centre-front", Days: 3, Source: "x"}}, nil, "", ""},
	} {
		c := roped()
		c.Policies = tt.policies
		a := assess(c, book(slices.Clone(tt.log)...), "2026-03-01")
		for code, want := range map[string]string{"going-line": tt.going, "strike-line": tt.strike} {
			got := ""
			for _, x := range a.Tasks {
				if x.Kind == LineLook && x.Subject == code {
					got = x.Due.String() + " " + x.Source
					checkTask(t, tt.name, x)
				}
			}
			if got != want {
				t.Errorf("%s: %s due %q, want %q", tt.name, code, got, want)
			}
		}
	}
	// Fitted since it came into care, and never looked at.
	c := roped()
	c.Policies, c.Care.Lines[0].FittedAt = []Policy{all}, d("2025-06-01")
	x := taskOf(t, assess(c, weekly("2026-01-05", 4), "2026-03-01"), LineLook, "going-line")
	if x.Due != d("2026-06-01") || x.Confidence != "weak: none is logged, counted from the day of its fitting, 1 Jun 2025" || x.Evidence != "4 windings logged since it was fitted" || x.What() != "line inspection of the going line" {
		t.Errorf("%+v", x)
	}
	if x.About = (Line{Code: "going-line"}).name(); x.What() != "inspection of the line going-line" { // it has no name
		t.Error(x.What())
	}
	// A policy with no line described still asks, as one task.
	bare := pump()
	bare.Policies = []Policy{all}
	if x := taskOf(t, assess(bare, book(did(Inspected, "2026-01-01")), "2026-03-01"), LineLook, ""); x.Due != d("2027-01-01") {
		t.Errorf("with no line described: %+v", x)
	}
}

func TestLineAge(t *testing.T) {
	for _, tt := range []struct {
		name   string
		fitted string
		years  float64
		log    []Entry
		want   string
	}{
		{"fifteen years", "2019-05-01", 15, nil, "2033-11-02 2034-05-01 2034-07-30"},
		{"two and a half", "2024-01-01", 2.5, nil, "2026-01-04 2026-07-03 2026-10-01"},
		{"from a leap day", "2024-02-29", 10, nil, "2033-09-01 2034-02-28 2034-05-29"},
		{"a new line starts it anew", "2004-05-01", 15, []Entry{did(Repaired, "2026-02-01", newLine("going-line"))}, "2040-08-05 2041-02-01 2041-05-02"},
		{"none set", "2019-05-01", 0, nil, ""},
		{"not known when fitted", "", 15, nil, ""},
		{"nonsense", "2019-05-01", 1e300, nil, ""},
		{"less than nothing", "2019-05-01", -5, nil, ""},
	} {
		c := roped()
		l := &c.Care.Lines[0]
		l.FittedAt, l.MostYears, l.Source = Date{}, tt.years, "conservator, 2019 survey"
		if tt.fitted != "" {
			l.FittedAt = d(tt.fitted)
		}
		got := ""
		for _, x := range assess(c, book(slices.Clone(tt.log)...), "2026-03-01").Tasks {
			if x.Kind == LineAge {
				got = windowOf(x)
				checkTask(t, tt.name, x)
				if x.Source != l.Source || !strings.Contains(x.Reason, "(conservator, 2019 survey)") || !strings.Contains(x.Confidence, "not foretold") || x.Wears || x.What() != "renewal of the going line" {
					t.Errorf("%s: %+v", tt.name, x)
				}
			}
		}
		if got != tt.want {
			t.Errorf("%s: %q, want %q", tt.name, got, tt.want)
		}
	}
}

// Nothing of a line is foretold: whatever was found and however often it was
// wound, no date comes out but the day of a look or a fitting, one of a
// policy's interval, or the age that the conservator set.
func TestNothingOfALineIsForetold(t *testing.T) {
	const seed = 20260301
	r := rand.New(rand.NewPCG(seed, 1))
	for round := range 200 {
		c := roped()
		c.Care.Lines[0].MostYears = float64(r.IntN(3)) * 7
		days := r.IntN(2) * (1 + r.IntN(700))
		if days > 0 {
			c.Policies = []Policy{{Task: LineLook, Days: days, Source: "x"}}
		}
		known := map[Date]bool{{}: true, c.InCare: true, c.Care.Lines[0].FittedAt: true}
		var log []Entry
		for i := range 30 {
			at := utc("2020-01-02").Add(time.Duration(i*60+r.IntN(50)) * 24 * time.Hour)
			code := c.Care.Lines[r.IntN(2)].Code
			var e Entry
			switch r.IntN(4) {
			case 0:
				e = doneAt(Inspected, at, ofLine(code, LineCheck{Wires6: r.IntN(7), Wires30: r.IntN(12), Diameter: mm(4 + r.Float64()), Strand: r.IntN(9) == 0}))
			case 1:
				e = doneAt(Repaired, at, newLine(code))
			default:
				e = doneAt(Wound, at)
			}
			if e.Kind != Wound {
				known[DateOf(at, time.UTC)] = true
			}
			log = append(log, e)
		}
		a := assess(c, book(log...), "2025-03-01")
		if len(a.Lines) != 2 {
			t.Fatal("no lines")
		}
		for _, s := range a.Lines {
			capped := MonthDay{s.FittedAt.Month, s.FittedAt.Day}.in(s.FittedAt.Year + int(s.Line.MostYears))
			v := reflect.ValueOf(s)
			for i := range v.NumField() {
				on, is := v.Field(i).Interface().(Date)
				if is && !known[on] && !(v.Type().Field(i).Name == "Replace" && s.Line.MostYears > 0 && on == capped) {
					t.Fatalf("seed %d, round %d: %s of the %s is %v, which nobody logged or set", seed, round, v.Type().Field(i).Name, s.Line.name(), on)
				}
			}
		}
		for _, x := range a.Tasks {
			policy := x.Kind == LineLook && days > 0 && known[x.Due.Add(-days)]
			found := x.Kind == LineLook && known[x.Due] && x.Rank <= AtLimit
			age := x.Kind == LineAge && x.Due == lineOf(t, a, x.Subject).Replace
			if (x.Kind == LineLook || x.Kind == LineAge) && !policy && !found && !age {
				t.Fatalf("seed %d, round %d: %s %s due %v, which is no interval and no age", seed, round, x.Kind, x.Subject, x.Due)
			}
			if x.Wears && x.Kind != NearLimit {
				t.Fatalf("%s comes from wear", x.Kind)
			}
		}
	}
}

func TestNamesOfLines(t *testing.T) {
	c := roped()
	for code, want := range map[string]string{"going-line": "going line", "strike-line": "line strike-line of the strike train", "gone": "line gone", "": "a line"} {
		if got := c.nameOfLine(code); got != want {
			t.Errorf("%q: %q, want %q", code, got, want)
		}
	}
	if got := fmt.Sprint((Line{Code: "x"}).name()); got != "line x" {
		t.Errorf("%q", got)
	}
}
