package main

import (
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/alecthomas/kong"

	"endshake/schedule"
	"endshake/wear"
)

// logged gives the entry that flags make.
func logged(t *testing.T, zone *time.Location, args ...string) (schedule.Entry, error) {
	t.Helper()
	var c logCmd
	parser, err := kong.New(&c)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := parser.Parse(args); err != nil {
		t.Fatalf("%q: %v", args, err)
	}
	return c.entry(zone)
}

func ptr[T any](v T) *T { return &v }

// Every detail of an entry has a flag.
func TestLogFlags(t *testing.T) {
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	day := schedule.Date{Year: 2026, Month: time.October, Day: 25}
	seen := map[string]bool{}
	for _, tt := range []struct {
		args string
		want schedule.Detail
	}{
		{"wound x --turns=30.5 --part --fall-left=8@ft --meter=9998.5 --meter-new --error=-4 --celsius=-3 --pressure=1013 --arc=1.75 --weight=75 --corrector=-0.5",
			schedule.Detail{Turns: 30.5, Part: true, FallLeft: ptr(wear.Length(2438400)), Meter: ptr(9998.5), MeterNew: true, ErrorFound: ptr(-4.0),
				Celsius: ptr(-3.0), Pressure: ptr(1013.0), Arc: ptr(1.75), Weight: ptr(75.0), Corrector: ptr(-0.5)}}, // 8 ft are 2438.4 mm
		{"wound x --fall-left=0@mm --meter=0", schedule.Detail{FallLeft: ptr(wear.Length(0)), Meter: ptr(0.0)}}, // down, and turned over
		{"oiled x --oil=no.@5 --points=p-1,p-2 --top-up --oil-found=gummed --residue=black", schedule.Detail{Oil: "no. 5",
			Points: []string{"p-1", "p-2"}, TopUp: true, OilFound: schedule.OilGummed, Residue: schedule.ResidueBlack}},
		{"inspected x --found=watch --visit", schedule.Detail{Found: schedule.Watch, Visit: true}},
		{"inspected x --line=rope --wires6=2 --wires30=5 --diameter=5.9@mm --strand --rust=at@the@pulley", schedule.Detail{Line: "rope",
			Check: &schedule.LineCheck{Wires6: 2, Wires30: 5, Diameter: 5900, Strand: true, Rust: "at the pulley"}}},
		{"inspected x --line=rope", schedule.Detail{Line: "rope", Check: &schedule.LineCheck{}}}, // looked at, and nothing found
		{"repaired x --line=rope --work=new@line", schedule.Detail{Line: "rope", Work: schedule.NewLine}},
		{"repaired x --work=new@bush --leaves=0.1@mm --new-pair=steel@on@brass", schedule.Detail{Work: schedule.NewBush, Fitted: 100, NewPair: wear.SteelOnBrass}},
		{"set x --left=0 --change=2026-10-25", schedule.Detail{ErrorLeft: ptr(0.0), Change: day}},
		{"set x --error=1:35@slow --left=2@min@fast", schedule.Detail{ErrorFound: ptr(-95.0), ErrorLeft: ptr(120.0)}},
		{"regulated x --nut=-0.25 --grams=-1.5 --undoes=0190", schedule.Detail{NutTurns: -0.25, Grams: -1.5, Undoes: "0190"}},
		{"noted x --cut-from=2026-01-02@10:00 --cut-to=2026-01-02@11:30", schedule.Detail{
			CutFrom: time.Date(2026, 1, 2, 9, 0, 0, 0, time.UTC), CutTo: time.Date(2026, 1, 2, 10, 30, 0, 0, time.UTC)}}, // Berlin is an hour ahead
		{"noted x --lock=do@not@run", schedule.Detail{Lock: schedule.DoNotRun}},
		{"noted x --clears=do@not@enter --season=lamps --old", schedule.Detail{Clears: schedule.DoNotEnter, Season: "lamps", Old: true}},
		{"stopped x --cause=out@of@season --since=2026-01-02 --until=2026-10-25", schedule.Detail{Cause: schedule.Rest, Until: day,
			Since: time.Date(2026, 1, 1, 23, 0, 0, 0, time.UTC)}},
		{"measured x --side-shake=0.4@mm --gauge=0.01@mm --with=dial --celsius=12 --load=off --sure", schedule.Detail{Sure: true,
			Reading: &wear.Reading{Shake: wear.SideShake, Value: 400, Gauge: 10, Instrument: "dial", Celsius: ptr(12.0), Load: wear.LoadOff}}},
	} {
		args := strings.Fields(tt.args)
		for i := range args {
			args[i] = strings.ReplaceAll(args[i], "@", " ")
		}
		e, err := logged(t, berlin, args...)
		if err != nil || !reflect.DeepEqual(e.Detail, tt.want) {
			t.Errorf("%s: %v\n got %+v\nwant %+v", tt.args, err, e.Detail, tt.want)
		}
		for v, i := reflect.ValueOf(tt.want), 0; i < v.NumField(); i++ {
			if !v.Field(i).IsZero() {
				seen[v.Type().Field(i).Name] = true
			}
		}
	}
	for typ, i := reflect.TypeFor[schedule.Detail](), 0; i < typ.NumField(); i++ {
		if name := typ.Field(i).Name; !seen[name] && name != "FittedSD" { // only the form asks how sure a fitted size is
			t.Errorf("no flag was tried for %s", name)
		}
	}
}

// A flag that cannot be read is named.
func TestLogFlagsRefused(t *testing.T) {
	for _, tt := range []struct{ flag, want string }{
		{"--fall-left=8", `--fall-left: length "8" has no unit`},
		{"--fall-left=NaN mm", "--fall-left: "},
		{"--fall-left=201 m", `--fall-left: length "201 m" is beyond 200 m`},
		{"--diameter=6", `--diameter: length "6" has no unit`},
		{"--cut-from=yesterday", "--cut-from: "},
		{"--cut-to=25:00", "--cut-to: "},
		{"--change=25/10/2026", "--change: "},
		{"--until=soon", "--until: "},
		{"--since=soon", "--since: "},
		{"--leaves=1", "--leaves: "},
	} {
		if e, err := logged(t, time.UTC, "noted", "x", tt.flag); err == nil || !strings.HasPrefix(err.Error(), tt.want) {
			t.Errorf("%s: %v, %+v; want %q", tt.flag, err, e.Detail, tt.want)
		}
	}
}

// The help is read by kind of entry, and tells every flag.
func TestLogHelp(t *testing.T) {
	status, out, _ := program(t, "log", "--help")
	if status != 0 {
		t.Fatal(status)
	}
	last := -1
	for _, want := range []string{"Flags:", "Measured:", "--end-shake", "Wound, and a train's meter:", "--fall-left", "Oiled:", "--points",
		"Inspected, and lines:", "--wires30", "Repaired:", "--leaves", "Stopped:", "--cause", "Set and regulated", "--grams", "Noted:", "--clears"} {
		at := strings.Index(out, want)
		if at <= last {
			t.Errorf("%q does not stand where one looks for it", want)
		}
		last = at
	}
	for line := range strings.Lines(out) {
		if len(line) > 81 {
			t.Errorf("a line of %d characters: %q", len(line), line)
		}
	}
}

// What is said of a reading is refused where there is none, and so are two
// readings at once, by their flags.
func TestLogReadingFlagsRefused(t *testing.T) {
	for _, tt := range []struct {
		args []string
		want string
	}{
		{[]string{"--end-shake=0.4 mm", "--side-shake=0.3 mm"}, "--end-shake, --side-shake: a bearing is followed by one of the two"},
		{[]string{"--gauge=0.01 mm"}, "--gauge: only for a reading: give it with --end-shake or --side-shake"},
		{[]string{"--with=dial"}, "--with: only for a reading"},
		{[]string{"--load=off"}, "--load: only for a reading"},
		{[]string{"--gauge=0.01 mm", "--load=off", "--with=dial"}, "--gauge, --with, --load: only for a reading"},
		{[]string{"--gauge=0.01 mm", "--side-shake=0.3 mm", "--load=off", "--with=dial"}, ""},
		{[]string{"--end-shake=0.3 mm"}, ""},
		{[]string{"--celsius=12"}, ""}, // that of the room
	} {
		_, err := logged(t, time.UTC, append([]string{"measured", "x"}, tt.args...)...)
		if (err == nil) != (tt.want == "") || err != nil && !strings.HasPrefix(err.Error(), tt.want) {
			t.Errorf("%q: %v; want %q", tt.args, err, tt.want)
		}
	}
}

// Every field that an entry can be refused for is a flag or an argument of the
// command.
func TestEveryFieldHasAFlag(t *testing.T) {
	var c logCmd
	parser, err := kong.New(&c)
	if err != nil {
		t.Fatal(err)
	}
	known := map[string]bool{"<kind>": true, "<clock>": true}
	for _, f := range parser.Model.Flags {
		known["--"+f.Name] = true
	}
	sources, err := filepath.Glob("../../schedule/*.go")
	if err != nil {
		t.Fatal(err)
	}
	fields := map[string]bool{}
	// A field is what invalid, notFound and conflict are told first, or what
	// stands first in a list of details or figures.
	field := regexp.MustCompile(`(?:(?:invalid|notFound|conflict|doubtful)\(|\t\{)"([a-z][A-Za-z0-9]*)", `)
	for _, name := range sources {
		base := filepath.Base(name)
		if strings.HasSuffix(base, "_test.go") || !strings.HasPrefix(base, "validate") && base != "lock.go" || strings.Contains(base, "fleet") {
			continue
		}
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range field.FindAllSubmatch(text, -1) {
			fields[string(m[1])] = true
		}
	}
	if len(fields) < 35 {
		t.Fatalf("only %d fields were found: %v", len(fields), fields)
	}
	for f := range fields {
		if flag := c.flagOf(f); !known[flag] {
			t.Errorf("the field %s would be called %s, which is no flag", f, flag)
		}
	}
	for _, tt := range []struct {
		c           logCmd
		field, want string
	}{
		{logCmd{measuredFlags: measuredFlags{SideShake: "1 mm"}}, "value", "--side-shake"},
		{logCmd{}, "value", "--end-shake"},
		{logCmd{lookedFlags: lookedFlags{Strand: true}}, "check", "--strand"},
		{logCmd{lookedFlags: lookedFlags{Wires6: 1, Strand: true}}, "check", "--wires6"},
		{logCmd{lookedFlags: lookedFlags{Wires30: 5000}}, "wires6", "--wires30"},
		{logCmd{woundFlags: woundFlags{Part: true}}, "turns", "--part"},
		{logCmd{woundFlags: woundFlags{Part: true, Turns: 2}}, "turns", "--turns"},
		{logCmd{}, "fallLeft", "--fall-left"},
	} {
		if got := tt.c.flagOf(tt.field); got != tt.want {
			t.Errorf("%s: %s, want %s", tt.field, got, tt.want)
		}
	}
}

// A refused entry names the flag, not the field.
func TestLogRefusalNamesTheFlag(t *testing.T) {
	at := "--database=" + filepath.Join(t.TempDir(), "data")
	if status, _, stderr := program(t, "fleet", "load", at, fleetFile); status != 0 {
		t.Fatal(stderr)
	}
	for _, tt := range []struct{ args, want string }{
		{"repaired moot-hall --bearing=centre-front --work=refaced --leaves=99@mm", "endshake: --leaves: 99 mm (3.898 in) after the repair is not below the limit"},
		{"repaired moot-hall --bearing=centre-front --work=magic", "endshake: --work: say what was done"},
		{"oiled moot-hall --error=3", "endshake: --error: this is only for set, regulated, wound, inspected, noted, not for oiled"},
		{"wound moot-hall --error=1.35", "endshake: --error: \"1.35\" can be read in two ways, 1.35 s or 1 min 35 s: write 1.35 s or 1:35"},
		{"wound moot-hall --error -1.35", "endshake: --error: \"-1.35\" can be read in two ways"},
		{"wound moot-hall --error=2@min", "endshake: --error: \"2 min\" does not say which way: write fast or slow after it"},
		{"oiled moot-hall --leaves=1@mm", "endshake: --leaves: this is only for repaired"},
		{"wound moot-hall --strand", "endshake: --strand: this is only for inspected"},
		{"dusted moot-hall", "endshake: <kind>: an entry of kind \"dusted\" is not known"},
		{"wound elsewhere", "endshake: <clock>: there is no clock \"elsewhere\""},
		{"wound moot-hall --by=nobody", "endshake: --by: there is no person"},
	} {
		args := strings.Fields(tt.args)
		for i := range args {
			args[i] = strings.ReplaceAll(args[i], "@", " ")
		}
		status, _, stderr := program(t, append([]string{"log", at}, args...)...)
		if status == 0 || !strings.HasPrefix(stderr, tt.want) {
			t.Errorf("%s: status %d, %q; want %q", tt.args, status, stderr, tt.want)
		}
	}
}
