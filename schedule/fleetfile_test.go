package schedule

import (
	"bytes"
	"math"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"
	"time"

	"endshake/wear"
)

// small is a fleet file with one thing of each kind, a line each.
const small = `{
  "sites": [
    {"slug": "quay", "name": "Quay", "zone": "America/New_York"}
  ],
  "people": [
    {"slug": "ann", "name": "Ann Arkwell", "email": "ann@example.org", "units": "in"}
  ],
  "clocks": [
    {"slug": "quay-post", "name": "Quay Post", "kind": "post", "site": "quay", "inCare": "2021-05-01",
      "cautions": ["height"], "duties": [{"person": "ann", "role": "keeper"}],
      "trains": [{"code": "going", "kind": "going", "drive": "hand", "reserveHours": 187.5, "arbors": [
        {"code": "centre", "revs": 1, "bearings": [
          {"code": "centre-front", "form": "bush", "shake": "side-shake", "pair": "steel on brass", "loadN": 30,
            "bore": "10,1 mm", "pivot": "10 mm", "long": "1/2 in", "stand": "2400 mm", "shaft": "steel", "frame": "cast iron", "fittedAt": "2021-05-01", "fitted": "4 thou",
            "act": {"size": "14 thou", "source": "conservator"}}]}], "meshes": [{"code": "motion", "bearing": "centre-front", "kind": "spur", "diametralPitch": 10, "cycloidal": true, "teeth": 12, "mate": 72, "drop": "opens", "mounted": "5 thou", "toHand": 1}]}],
      "policies": [
        {"task": "oiling", "days": 91, "source": "keeper"}
      ]}
  ]
}
`

func TestParseFleet(t *testing.T) {
	f, err := ParseFleet([]byte(small))
	if err != nil {
		t.Fatal(err)
	}
	c := f.Clocks[0]
	b := c.Trains[0].Arbors[0].Bearings[0]
	for name, ok := range map[string]bool{
		"in is thou":       f.People[0].Units == wear.Thou,
		"hours of reserve": c.Trains[0].Reserve == 187*time.Hour+30*time.Minute,
		"decimal comma":    b.Bore == 10100,
		"half an inch":     b.Long == 12700, // 25.4 mm to the inch exactly
		"4 thou":           b.Fitted == 102, // 101.6 µm
		"14 thou":          b.Act.Size == 356,
		"no watch limit":   b.Watch == nil,
		"stand":            b.Stand == 2400*wear.Millimetre && b.Shaft == wear.Steel && b.Frame == wear.CastIron,
		"mesh": reflect.DeepEqual(c.Trains[0].Meshes, []wear.Mesh{{Code: "motion", Bearing: "centre-front", Kind: wear.Spur,
			Module: 2.54, Cycloidal: true, Teeth: 12, Mate: 72, Drop: wear.Opens, Mounted: 127, ToHand: 1}}), // 25.4 mm / 10; 5 thou
		"day of the own zone":  b.FittedAt.Equal(utc("2021-05-01 04:00")),
		"first day":            c.InCare == d("2021-05-01"),
		"policy":               len(c.Policies) == 1 && c.Policies[0].Days == 91,
		"units of nobody else": len(f.People) == 1,
	} {
		if !ok {
			t.Errorf("%s: got %+v", name, f)
		}
	}
	if bare, err := ParseFleet([]byte(strings.Replace(small, `, "units": "in"`, "", 1))); err != nil || bare.People[0].Units != wear.MM {
		t.Errorf("no unit: %v, %v; wanted mm", bare.People, err)
	}
}

func TestParseFleetRefused(t *testing.T) {
	with := func(old, new string) string {
		if !strings.Contains(small, old) {
			t.Fatalf("%q is not in the file", old)
		}
		return strings.Replace(small, old, new, 1)
	}
	for _, tt := range []struct {
		name, file string
		code       Code
		field      string
		sentence   string
	}{
		{"empty", "", Invalid, "", "the fleet file is empty"},
		{"blank", " \n\n", Invalid, "", "the fleet file is empty"},
		{"no JSON", "sites:\n- quay\n", Invalid, "", "near line 1"},
		{"cut off", small[:strings.Index(small, `"clocks"`)], Invalid, "", "near line 8: unexpected EOF"},
		{"comma too many", with(`"revs": 1,`, `"revs": 1,,`), Invalid, "", "near line 12"},
		{"misspelt field", with(`"revs"`, `"revolutions"`), Invalid, "", `near line 12: json: unknown field "revolutions"`},
		{"misspelt at the top", with(`"people"`, `"persons"`), Invalid, "", `near line 5: json: unknown field "persons"`},
		{"no unit", with(`"4 thou"`, `"4"`), Invalid, "", `near line 14: length "4" has no unit`},
		{"unknown unit", with(`"10 mm"`, `"10 ell"`), Invalid, "", `near line 14: length "10 ell" has an unknown unit`},
		{"day in two ways", with(`"inCare": "2021-05-01"`, `"inCare": "01/05/2021"`), Invalid, "", `near line 9: date "01/05/2021" is not a day`},
		{"word for a number", with(`"loadN": 30`, `"loadN": "heavy"`), Invalid, "", "near line 13: loadN needs a plain number without quotation marks, not words in quotation marks; mend it there"},
		{"number for a word", with(`"name": "Quay"`, `"name": 5`), Invalid, "", "near line 3: name needs words in quotation marks, not a plain number"},
		{"number for a length", with(`"2400 mm"`, `2400`), Invalid, "", `near line 14: stand needs a length with its unit in quotation marks, like "32 ft", not a plain number`},
		{"number for a day", with(`"fittedAt": "2021-05-01"`, `"fittedAt": 2021`), Invalid, "", `near line 14: fittedAt needs a day in quotation marks, like "2026-11-25"`},
		{"word for yes", with(`"cycloidal": true`, `"cycloidal": "yes"`), Invalid, "", "near line 15: cycloidal needs true or false, not words"},
		{"word for a list", with(`["height"]`, `"height"`), Invalid, "", "near line 10: cautions needs a list in [ ], not words"},
		{"list for fields", with(`{"size": "14 thou", "source": "conservator"}`, `[]`), Invalid, "", "near line 15: act needs its fields in { }, not a list"},
		{"number for a season", with(`"policies": [`, `"care": {"seasons": [{"from": 10}]}, "policies": [`), Invalid, "", `from needs a month and day in quotation marks, like "10-15", not a plain number`},
		{"number for a gear", with(`"reserveHours"`, `"weight": {"gears": [6]}, "reserveHours"`), Invalid, "", `gears needs a wheel and its pinion in quotation marks, like "120:10"`},
		{"number for a fall", with(`"reserveHours"`, `"weight": {"fall": 32}, "reserveHours"`), Invalid, "", `near line 11: fall needs a length with its unit in quotation marks, like "32 ft", not a plain number`},
		{"not a number", with(`"loadN": 30`, `"loadN": NaN`), Invalid, "", "near line 13"},
		{"too large a number", with(`"loadN": 30`, `"loadN": 1e999`), Invalid, "", "near line 13"},
		{"module and pitch", with(`"diametralPitch": 10`, `"diametralPitch": 10, "module": 2.54`), Invalid, "clocks[0]", `clock "quay-post": train "going": mesh "motion": give either module (mm) or diametralPitch`},
		{"no module", with(`"diametralPitch": 10, `, ``), Invalid, "clocks[0]", `mesh "motion": give either module`},
		{"pitch of nothing", with(`"diametralPitch": 10`, `"diametralPitch": 0`), Invalid, "clocks[0]", "a diametral pitch of 0 cannot be right"},
		{"pitch below nothing", with(`"diametralPitch": 10`, `"diametralPitch": -4`), Invalid, "clocks[0]", "a diametral pitch of -4"},
		{"pitch of next to nothing", with(`"diametralPitch": 10`, `"diametralPitch": 1e-320`), Invalid, "clock quay-post", "mesh motion: module +Inf mm"},
		{"module of nothing", with(`"diametralPitch": 10`, `"module": 0`), Invalid, "clock quay-post", "train going: mesh motion: module 0 mm"},
		{"module with a unit", with(`"diametralPitch": 10`, `"module": "2 mm"`), Invalid, "", "near line 15"},
		{"misspelt in a mesh", with(`"toHand"`, `"turnsToHand"`), Invalid, "", `near line 15: json: unknown field "turnsToHand"`},
		{"half a tooth", with(`"teeth": 12`, `"teeth": 12.5`), Invalid, "", "near line 15: teeth needs a whole number without quotation marks, not 12.5"},
		{"unit of the depth", with(`"mounted": "5 thou"`, `"mounted": "5"`), Invalid, "", `near line 15: length "5" has no unit`},
		{"second fleet", small + small, Invalid, "", "goes on after its end, near line 20"},
		{"trailing comma", small + ",", Invalid, "", "goes on after its end"},
		{"trailing bracket", small + "}", Invalid, "", "goes on after its end"},
		{"misspelt in the care", with(`"policies": [`, `"care": {"oilPoints": []}, "policies": [`), Invalid, "", `json: unknown field "oilPoints"`},
		{"reserve of an age", with(`187.5`, `1e300`), Invalid, "clock quay-post", "cannot be right"},
		{"unknown site", with(`"site": "quay"`, `"site": "key"`), NotFound, "clock quay-post", `there is no site "key"`},
		{"a list", "[]", Invalid, "", "near line 1: it needs its fields in { }, not a list"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			f, err := ParseFleet([]byte(tt.file))
			refused(t, err, tt.code, tt.field, tt.sentence)
			if !reflect.DeepEqual(f, Fleet{}) {
				t.Errorf("a refused file left something: %+v", f)
			}
		})
	}
}

// What is written is read again as the same, in a zone east, west and none.
func TestFleetFileRoundTrip(t *testing.T) {
	for _, zone := range []string{"Pacific/Auckland", "America/New_York", "UTC", "Asia/Kathmandu"} {
		c := pump()
		c.Note, c.Cautions = "Two lines\nof note; <b> & \"quotes\"", []Hazard{Radium, BirdDirt}
		c.Policies = []Policy{
			{Task: Oiling, Days: 182, Lead: 20, Grace: 10, Reason: "dusty room", Source: "keeper"},
			{Task: Measuring, Train: "going", Bearing: "centre-front", RunHours: 8766.5, Two: true, Source: "conservator"},
		}
		b := &c.Trains[0].Arbors[0].Bearings[0]
		b.FittedAt = d("2019-07-14").Start(location(zone)).UTC()
		b.Outer, b.Inner, b.FittedSD = mm(24), mm(13), 7
		c.Trains[1].Reserve = 30*time.Hour + 20*time.Minute
		f := fleetOf(zone, c)
		file, err := FormatFleet(f)
		if err != nil {
			t.Fatal(err)
		}
		back, err := ParseFleet(file)
		if err != nil {
			t.Fatalf("%v in\n%s", err, file)
		}
		if !reflect.DeepEqual(back, f) {
			t.Errorf("%s: read again as another fleet:\n got %+v\nwant %+v", zone, back, f)
		}
		for _, want := range []string{`"fittedAt": "2019-07-14"`, `"fitted": "0.10 mm"`, `"fittedSd": "0.007 mm"`, `"inCare": "2020-01-01"`} {
			if !bytes.Contains(file, []byte(want)) {
				t.Errorf("%s: no %s in\n%s", zone, want, file)
			}
		}
	}
	if file, err := FormatFleet(Fleet{}); err != nil || string(file) != "{\n  \"sites\": [],\n  \"people\": [],\n  \"clocks\": []\n}\n" {
		t.Errorf("an empty fleet: %s, %v", file, err)
	}
}

// Any fleet that holds is read again as exactly the same, figures and all.
func TestFleetFileProperty(t *testing.T) {
	meshes := 0
	for seed := range uint64(400) {
		f := anyFleet(rand.New(rand.NewPCG(seed, 1)))
		if err := f.Validate(); err != nil {
			t.Fatalf("seed %d: the fleet does not hold: %v", seed, err)
		}
		file, err := FormatFleet(f)
		if err != nil {
			t.Fatal(err)
		}
		back, err := ParseFleet(file)
		if err != nil {
			t.Fatalf("seed %d: %v in\n%s", seed, err, file)
		}
		if !reflect.DeepEqual(back, f) {
			t.Fatalf("seed %d: read again as another fleet:\n got %+v\nwant %+v", seed, back, f)
		}
		for _, c := range f.Clocks {
			for _, tr := range c.Trains {
				meshes += len(tr.Meshes)
			}
		}
		if bytes.Contains(file, []byte("diametralPitch")) {
			t.Fatalf("seed %d: a pitch is written beside the module", seed)
		}
	}
	if meshes < 1000 {
		t.Errorf("tried with %d meshes only", meshes)
	}
}

// anyFleet is a fleet with whatever sizes, metals and meshes may be.
func anyFleet(r *rand.Rand) Fleet {
	zone := pick(r, "UTC", "Pacific/Auckland", "America/New_York", "Asia/Kathmandu")
	var clocks []Clock
	for i := range 1 + r.IntN(2) {
		c := pump()
		c.Slug += strings.Repeat("x", i)
		b := &c.Trains[0].Arbors[0].Bearings[0]
		b.FittedAt = d("1890-01-01").Add(r.IntN(45000)).Start(location(zone)).UTC()
		b.Load, b.Long = r.Float64()*1e6, wear.Length(r.IntN(1e6))
		if r.IntN(2) == 0 {
			b.Stand = wear.Length(1 + r.Int64N(int64(30*1000*wear.Millimetre)))
			b.Shaft, b.Frame = pick(r, wear.Steel, wear.Brass), pick(r, wear.Brass, wear.CastIron)
		}
		c.Trains[0].Reserve = time.Duration(r.IntN(400*24*3600)) * time.Second
		for j := range c.Trains {
			for range r.IntN(4) {
				m := anyMesh(r)
				m.Code = "m" + strings.Repeat("m", len(c.Trains[0].Meshes)+len(c.Trains[1].Meshes))
				m.Bearing = pick(r, "centre-front", "second-back")
				c.Trains[j].Meshes = append(c.Trains[j].Meshes, m)
			}
		}
		anyDriven(r, c.Trains)
		c.Care = anyCare(r)
		clocks = append(clocks, c)
	}
	f := fleetOf(zone, clocks...)
	f.Sites[0].Climate = anyClimate(r)
	f.Sites[0].Reach, f.People[0].Going = anyReach(r), anyGoing(r)
	return f
}

func anyMesh(r *rand.Rand) wear.Mesh {
	m := wear.Mesh{
		Name: pick(r, "", "Motion work", `"quoted" <b> & \ 'so'`, "Größe ½\u2028·", strings.Repeat("long ", 700)),
		Kind: pick(r, wear.Spur, wear.Bevel, wear.Contrate), Drop: pick(r, "", wear.Opens, wear.Closes),
		Module: 50 * math.Pow(r.Float64(), 4), Teeth: 4 + r.IntN(1997), Mate: 4 + r.IntN(1997), Cycloidal: r.IntN(2) == 0,
		Mounted: wear.Length(r.IntN(100001)), ToHand: pick(r, 0, 1, 1.0/12, 10000*r.Float64()),
	}
	m.Backlash = wear.Length(r.Float64() * m.Module * 1500)
	if !m.Cycloidal {
		m.PressureAngle = pick(r, 14.5, 20, 10+25*r.Float64())
	}
	if r.IntN(2) == 0 {
		return m
	}
	switch m.Kind {
	case wear.Contrate:
		m.Cone = 90 * r.Float64()
	case wear.Bevel: // the other cone must be there: their sines are as the teeth
		m.Cone = math.Asin(r.Float64()*min(1, float64(m.Teeth)/float64(m.Mate))) * 180 / math.Pi
	}
	return m
}

func pick[T any](r *rand.Rand, of ...T) T { return of[r.IntN(len(of))] }

// No file makes ParseFleet panic; what it takes is a fleet that holds, and
// comes back the same when it is written and read again.
func FuzzParseFleet(f *testing.F) {
	f.Add([]byte(small))
	if file, err := FormatFleet(fleetOf("UTC", geared(pump()))); err == nil {
		f.Add(file)
	}
	if file, err := FormatFleet(fleetOf("UTC", caredFor(pump()))); err == nil {
		f.Add(file)
	}
	for seed := range uint64(20) {
		if file, err := FormatFleet(anyFleet(rand.New(rand.NewPCG(seed, 1)))); err == nil {
			f.Add(file)
		}
	}
	f.Add([]byte(`{"sites":[{"slug":"a","name":"b","zone":"UTC","reach":{"at":{"lat":1e-7,"lon":-180},"open":[{"days":["Sun"],"from":"9:00","to":"24:00"},{"days":[]}],` +
		`"shut":[{"from":"2026-12-24","until":"2027-01-02"}],"noticeDays":14}}],"people":[{"slug":"p","name":"q","going":{"days":["Mon"],"from":"08:00","to":"18:00"}}]}`))
	f.Add([]byte(strings.Replace(small, `"diametralPitch": 10`, `"module": 0.1e-1`, 1)))
	f.Add([]byte(`{}`))
	f.Add([]byte(`null`))
	f.Add([]byte(`{"sites":[{"slug":"a","name":"b","zone":"UTC"}],"clocks":[{"slug":"c","name":"d","kind":"post","site":"a","inCare":"2020-01-01",` +
		`"trains":[{"code":"g","kind":"going","drive":"hand","reserveHours":0.7000000001}]}]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		fleet, err := ParseFleet(data)
		if err != nil {
			if CodeOf(err) == "" {
				t.Fatalf("%v is not an error to mend", err)
			}
			return
		}
		if err := fleet.Validate(); err != nil {
			t.Fatalf("took a fleet that does not hold: %v", err)
		}
		file, err := FormatFleet(fleet)
		if err != nil {
			t.Fatal(err)
		}
		again, err := ParseFleet(file)
		if err != nil {
			t.Fatalf("%v in what was written\n%s", err, file)
		}
		if twice, _ := FormatFleet(again); !bytes.Equal(file, twice) {
			t.Fatalf("written twice and not alike:\n%s\n%s", file, twice)
		}
	})
}
