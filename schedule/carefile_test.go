package schedule

import (
	"encoding/json"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"
	"time"

	"endshake/wear"
)

// caredFor gives the pump room everything that a clock's care can hold.
func caredFor(c Clock) Clock {
	c.Trains[0].Weight = &wear.Weight{Fall: 30 * 12 * wear.Inch, Barrel: mm(200), Line: mm(6), Lines: 2,
		Gears: []wear.Gear{{Wheel: 120, Pinion: 10}}, GearHours: 1}
	c.Trains[0].MeterHours = 10000
	c.Trains[0].Reserve, c.Trains[1].Reserve = 0, 0 // the weights give them
	c.Trains[1].Weight = &wear.Weight{Turns: 60, TurnBlows: 20}
	c.Trains[1].Striking = &wear.Striking{Hours: true, Half: 1, Silent: [2]int{22, 7}, Lifted: true}
	c.Trains[1].StrokesPerDay = 0
	c.Care = Care{
		Points: []OilPoint{
			{Code: "centre", Name: "Centre, front", Train: "going", Bearing: "centre-front", Oil: "clock oil no. 5", Kind: SyntheticOil,
				Amount: "1 drop", Drops: 1, NoSink: true, Fast: true, Room: ClosedCase, Picture: "sheet 2"},
			{Code: "clutch", Name: "Hand-setting clutch", Dry: true, Why: "It slips, and the clock loses"},
		},
		Lines: []Line{{Code: "going-line", Name: "Going line", Train: "going", Construction: "7x19", Material: "galvanised steel",
			Diameter: mm(6), OuterWires: 72, FittedAt: d("2018-06-02"), MostYears: 20, Source: "conservator"}},
		Room: DustyRoom, Damp: true,
		Tolerance: &Tolerance{Seconds: 60, Source: "keeper"},
		Pendulum:  &Pendulum{Beat: 1.5, Pitch: mm(1.5), Bob: 75},
		Change:    StopAnHour, ChangeNote: "Key from the clerk", Bell: true,
		Seasons: []Season{{Code: "lamps", Name: "dial lights on", From: MonthDay{time.October, 15}, To: MonthDay{time.February, 29},
			Hazard: []Hazard{Mains}, Reason: "damp", Source: "keeper"}},
	}
	c.Policies = []Policy{
		{Task: Oiling, Days: 182, Risk: 0.1, Minutes: 90, Source: "keeper"},
		{Task: LineLook, Train: "going", Line: "going-line", Days: 365, Source: "keeper"},
		{Task: LineLook, Days: 730, Source: "keeper"},
		{Task: Visiting, Days: 365, Minutes: 240, Source: "owner"},
	}
	return c
}

func climate() *Climate {
	return &Climate{Months: [12]float64{3, 3, 5, 8, 11.5, 14, 16, 16, 14, 10, 6, 4}, Daily: 3, Source: "met office of the county"}
}

// Every field of a clock's care and of what drives it is written in the file,
// as people write it, and read again as the same.
func TestCareFile(t *testing.T) {
	f := fleetOf("Europe/London", caredFor(pump()))
	f.Sites[0].Climate = climate()
	for name, v := range map[string]any{"care": f.Clocks[0].Care, "climate": *f.Sites[0].Climate, "line": f.Clocks[0].Care.Lines[0],
		"pendulum": *f.Clocks[0].Care.Pendulum, "season": f.Clocks[0].Care.Seasons[0], "tolerance": *f.Clocks[0].Care.Tolerance} {
		if empty := emptyField(v); empty != "" {
			t.Fatalf("the %s leaves out %s: fill it in, or nothing sees whether it is kept", name, empty)
		}
	}
	if err := f.Validate(); err != nil {
		t.Fatal(err)
	}
	file, err := FormatFleet(f)
	if err != nil {
		t.Fatal(err)
	}
	back, err := ParseFleet(file)
	if err != nil {
		t.Fatalf("%v in\n%s", err, file)
	}
	if !reflect.DeepEqual(back, f) {
		t.Errorf("read again as another fleet:\n got %+v\nwant %+v", back, f)
	}
	flat := strings.Join(strings.Fields(string(file)), " ")
	for _, want := range []string{`"fall": "9144.00 mm"`, `"gears": [ "120:10" ]`, `"from": "10-15"`, `"to": "02-29"`, `"diameter": "6.00 mm"`,
		`"fittedAt": "2018-06-02"`, `"silentFrom": 22`, `"silentUntil": 7`, `"meterHours": 10000`, `"pitch": "1.50 mm"`, `"risk": 0.1`} {
		if !strings.Contains(flat, want) {
			t.Errorf("no %s in\n%s", want, file)
		}
	}
}

// emptyField names a field that is not filled in.
func emptyField(v any) string {
	x := reflect.ValueOf(v)
	for i := range x.NumField() {
		if x.Field(i).IsZero() {
			return x.Type().Field(i).Name
		}
	}
	return ""
}

// What people write: feet, hours of silence from midnight on, gears by teeth.
func TestCareFileByHand(t *testing.T) {
	care := `, "care": {"lines": [{"code": "rope", "train": "going", "diameter": "1/4 in"}], "tolerance": {"seconds": 30, "source": "k"},
      "seasons": [{"code": "rest", "name": "rest", "from": "11-1", "to": "03-31", "source": "k"}]}}
  ]`
	file := strings.Replace(small, "}\n  ]\n}\n", care+"\n}\n", 1)
	file = strings.Replace(file, `"reserveHours": 187.5,`, `"weight": {"fall": "30 ft", "barrel": "200 mm", "line": "6 mm", "gears": [" 120 : 10"], "gearHours": 1},`, 1)
	f, err := ParseFleet([]byte(file))
	if err != nil {
		t.Fatalf("%v in\n%s", err, file)
	}
	c := f.Clocks[0]
	w := c.Trains[0].Weight
	// 30 ft is 9144 mm; over π (200 + 6) mm it gives 14.13 turns, of 12 h each.
	if turns := w.FullTurns(); w.Fall != 9144*wear.Millimetre || turns < 14.12 || turns > 14.14 || w.HoursPerTurn() != 12 {
		t.Errorf("the weight is %+v: %.3f turns of %v h", *w, turns, w.HoursPerTurn())
	}
	if l := c.Care.Lines[0]; l.Diameter != 6350 {
		t.Errorf("a quarter of an inch is %v", l.Diameter)
	}
	if s := c.Care.Seasons[0]; s.From != (MonthDay{time.November, 1}) || s.To != (MonthDay{time.March, 31}) {
		t.Errorf("the season is %+v", s)
	}
	for _, tt := range []struct{ old, new, sentence string }{
		{`" 120 : 10"`, `"120/10"`, `gear "120/10" is not understood: write the teeth`},
		{`" 120 : 10"`, `"12e1:10"`, `is not understood`},
		{`" 120 : 10"`, `"-120:10"`, `is not understood`},
		{`" 120 : 10"`, `"120:"`, `is not understood`},
		{`" 120 : 10"`, `"99999999999:10"`, `is not understood`},
		{`" 120 : 10"`, `"10:120"`, `write wheel first, as 120:10`},
		{`"11-1"`, `"1 November"`, `day of the year "1 November" is not understood: write month and day, as 10-15`},
		{`"11-1"`, `"11-1-2"`, `is not understood`},
		{`"11-1"`, `"02-30"`, `season rest: from 02-30 to 03-31 are not days of the year`},
		{`"11-1"`, `"31-10"`, `are not days of the year`},
		{`"11-1"`, `""`, `is not understood`},
		{`"1/4 in"`, `"6"`, `length "6" has no unit`},
		{`"seasons"`, `"saisons"`, `unknown field "saisons"`},
		{`"diameter"`, `"size"`, `unknown field "size"`},
		{`"gearHours"`, `"hoursOfGear"`, `unknown field "hoursOfGear"`},
		{`"zone": "America/New_York"`, `"zone": "America/New_York", "climate": {"months": [1, 2, 3], "source": "x"}`, `3 months given: give the mean of each of the twelve`},
		{`"zone": "America/New_York"`, `"zone": "America/New_York", "climate": {"months": [1,2,3,4,5,6,7,8,9,10,11,12,13], "source": "x"}`, `13 months given`},
		{`"kind": "going", "drive"`, `"kind": "chime", "striking": {"quarters": [1, 2, 3]}, "drive"`, `blows of 3 quarters given`},
	} {
		if !strings.Contains(file, tt.old) {
			t.Fatalf("%q is not in the file", tt.old)
		}
		_, err := ParseFleet([]byte(strings.Replace(file, tt.old, tt.new, 1)))
		if err == nil || CodeOf(err) != Invalid || !strings.Contains(err.Error(), tt.sentence) {
			t.Errorf("%s: got %v, want %q", tt.new, err, tt.sentence)
		}
	}
}

// anyCare is care for a clock of the two trains of the pump room, with whatever
// may be.
func anyCare(r *rand.Rand) Care {
	var k Care
	some := func(list ...string) string { return pick(r, append(list, "", "Größe ½ \"x\" <b>")...) }
	for i := range r.IntN(4) {
		p := OilPoint{Code: "p" + strings.Repeat("p", i), Name: some("pivot"), Train: pick(r, "", "going"), Bearing: pick(r, "", "centre-front"),
			NoSink: r.IntN(2) == 0, Fast: r.IntN(2) == 0, Room: pick(r, append(Rooms, "")...), Why: some("two\nlines"), Picture: some("p. 3")}
		if p.Dry = r.IntN(4) == 0; !p.Dry {
			p.Oil, p.Kind, p.Amount, p.Drops = some("thin"), pick(r, append(OilKinds, "")...), some("1 drop"), 1000*r.Float64()
		}
		k.Points = append(k.Points, p)
	}
	for i := range r.IntN(3) {
		l := Line{Code: "l" + strings.Repeat("l", i), Name: some("rope"), Train: pick(r, "going", "strike"), Construction: some("7x19"),
			Material: some("steel"), Diameter: wear.Length(r.IntN(100001)), OuterWires: r.IntN(1001), Source: "k"}
		if r.IntN(2) == 0 {
			l.FittedAt, l.MostYears = d("1890-01-01").Add(r.IntN(45000)), 0.5+199*r.Float64()
		}
		k.Lines = append(k.Lines, l)
	}
	k.Room, k.Damp, k.Bell = pick(r, append(Rooms, "")...), r.IntN(2) == 0, r.IntN(2) == 0
	k.Change, k.ChangeNote = pick(r, append(ChangeHows, "")...), some("by the clerk\nof works")
	if r.IntN(2) == 0 {
		k.Tolerance = &Tolerance{Seconds: 43200 * (1 - r.Float64()), Source: "k"}
		k.Pendulum = &Pendulum{Beat: pick(r, 0, 0.1+9.9*r.Float64()), Pitch: wear.Length(r.IntN(20001)), Bob: 5000 * r.Float64()}
	}
	for i := range r.IntN(3) {
		from, to := d("2024-01-01").Add(r.IntN(366)), d("2024-01-01").Add(r.IntN(366))
		k.Seasons = append(k.Seasons, Season{Code: "s" + strings.Repeat("s", i), Name: "lamps", From: MonthDay{from.Month, from.Day},
			To: MonthDay{to.Month, to.Day}, Hazard: pick(r, nil, []Hazard{Mains, Height}), Reason: some("damp"), Source: "k"})
	}
	return k
}

// anyDriven gives the pump room's trains weights, striking and a meter.
func anyDriven(r *rand.Rand, trains []wear.Train) {
	if r.IntN(2) == 0 {
		trains[0].MeterHours, trains[0].Reserve = pick(r, 100, 10000, 99999.9), 0
		trains[0].Weight = &wear.Weight{Fall: mm(2000) + wear.Length(r.IntN(2e7)), Barrel: mm(100) + wear.Length(r.IntN(400000)),
			Line: wear.Length(r.IntN(20000)), Lines: r.IntN(4), Gears: []wear.Gear{{Wheel: 60 + r.IntN(100), Pinion: 8 + r.IntN(10)}}, GearHours: 1}
	}
	if r.IntN(2) == 0 {
		trains[1].Striking = &wear.Striking{Hours: true, Half: r.IntN(101), Quarters: [4]int{r.IntN(9), r.IntN(9), r.IntN(9), r.IntN(9)},
			Silent: [2]int{r.IntN(24), r.IntN(24)}, Lifted: r.IntN(2) == 0}
		trains[1].StrokesPerDay, trains[1].Reserve = 0, 0
		days, turns := 400*r.Float64(), 0.25+100*r.Float64()
		trains[1].Weight = &wear.Weight{Turns: turns, TurnBlows: min(1000, days*float64(trains[1].Striking.PerDay())/turns)}
	}
}

func anyClimate(r *rand.Rand) *Climate {
	if r.IntN(2) == 0 {
		return nil
	}
	c := Climate{Daily: 40 * r.Float64(), Source: "k"}
	for i := range c.Months {
		c.Months[i] = 120*r.Float64() - 60
	}
	return &c
}

// What is kept as JSON elsewhere loses nothing either.
func TestCareAsJSON(t *testing.T) {
	for seed := range uint64(200) {
		want := anyCare(rand.New(rand.NewPCG(seed, 2)))
		text, err := json.Marshal(want)
		if err != nil {
			t.Fatal(err)
		}
		var got Care
		if err := json.Unmarshal(text, &got); err != nil || !reflect.DeepEqual(got, want) {
			t.Fatalf("seed %d: %v\n got %+v\nwant %+v", seed, err, got, want)
		}
	}
}
