package main

import (
	"reflect"
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
