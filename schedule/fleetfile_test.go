package schedule

import (
	"bytes"
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
            "bore": "10,1 mm", "pivot": "10 mm", "long": "1/2 in", "fittedAt": "2021-05-01", "fitted": "4 thou",
            "act": {"size": "14 thou", "source": "conservator"}}]}]}],
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
		"in is thou":           f.People[0].Units == wear.Thou,
		"hours of reserve":     c.Trains[0].Reserve == 187*time.Hour+30*time.Minute,
		"decimal comma":        b.Bore == 10100,
		"half an inch":         b.Long == 12700, // 25.4 mm to the inch exactly
		"4 thou":               b.Fitted == 102, // 101.6 µm
		"14 thou":              b.Act.Size == 356,
		"no watch limit":       b.Watch == nil,
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
		{"word for a number", with(`"loadN": 30`, `"loadN": "heavy"`), Invalid, "", "near line 13"},
		{"number for a word", with(`"name": "Quay"`, `"name": 5`), Invalid, "", "near line 3"},
		{"not a number", with(`"loadN": 30`, `"loadN": NaN`), Invalid, "", "near line 13"},
		{"too large a number", with(`"loadN": 30`, `"loadN": 1e999`), Invalid, "", "near line 13"},
		{"second fleet", small + small, Invalid, "", "goes on after its end, near line 20"},
		{"trailing comma", small + ",", Invalid, "", "goes on after its end"},
		{"trailing bracket", small + "}", Invalid, "", "goes on after its end"},
		{"reserve of an age", with(`187.5`, `1e300`), Invalid, "clock quay-post", "cannot be right"},
		{"unknown site", with(`"site": "quay"`, `"site": "key"`), NotFound, "clock quay-post", `there is no site "key"`},
		{"a list", "[]", Invalid, "", "near line 1"},
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
			{Task: Measuring, Train: "going", Bearing: "centre-front", RunHours: 8766.5, Source: "conservator"},
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

// No file makes ParseFleet panic; what it takes is a fleet that holds, and
// comes back the same when it is written and read again.
func FuzzParseFleet(f *testing.F) {
	f.Add([]byte(small))
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
