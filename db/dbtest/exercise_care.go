package dbtest

import (
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"testing"
	"time"

	"endshake/db"
	"endshake/schedule"
	"endshake/wear"
)

// careRoundTrip: whatever a clock's care, its trains' drive, its policies and an
// entry's detail hold comes back as it was; lists that are empty come back as none.
func careRoundTrip(t *testing.T, address string, s *db.Store) {
	withFleet(t, s, 3)
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 3))
	for round := range 12 {
		f := Fleet(3)
		for i := range f.Sites {
			anyOf(r, reflect.ValueOf(&f.Sites[i].Climate).Elem())
		}
		for i := range f.Clocks {
			c := &f.Clocks[i]
			anyOf(r, reflect.ValueOf(&c.Care).Elem())
			for j := range c.Trains {
				tr := &c.Trains[j]
				for _, field := range []any{&tr.Weight, &tr.Striking, &tr.MeterHours} {
					anyOf(r, reflect.ValueOf(field).Elem())
				}
			}
			for j := range c.Policies {
				anyOf(r, reflect.ValueOf(&c.Policies[j]).Elem())
			}
		}
		must(t, s.SaveFleet(t.Context(), "tester", Day, f, nil))
		wantFleet(t, s, fmt.Sprintf("with any care, round %d", round), f)
		rev := revision(t, s)
		must(t, s.SaveFleet(t.Context(), "tester", Day, emptied(f), nil))
		if revision(t, s) != rev {
			t.Errorf("round %d: the same care with empty lists was a change", round)
		}

		e := schedule.Entry{Clock: "clock-0", Kind: schedule.Noted, At: minutes(round), Key: fmt.Sprint("any-", round)}
		anyOf(r, reflect.ValueOf(&e.Detail).Elem())
		stored, _, err := s.Append(t.Context(), "tester", Day, e, nil)
		must(t, err)
		wantEqual(t, "detail as returned", stored.Detail, e.Detail)
		log, err := s.Entries(t.Context(), "clock-0")
		must(t, err)
		wantEqual(t, "detail as read", log[len(log)-1].Detail, e.Detail)
		if _, already, err := s.Append(t.Context(), "tester", Day, e, nil); err != nil || !already {
			t.Errorf("round %d: the same form again: %v, %v", round, already, err)
		}
	}
}

// emptied is a fleet with empty lists where it has none.
func emptied(f schedule.Fleet) schedule.Fleet {
	for i := range f.Clocks {
		k := &f.Clocks[i].Care
		if k.Points == nil {
			k.Points = []schedule.OilPoint{}
		}
		if k.Lines == nil {
			k.Lines = []schedule.Line{}
		}
		if k.Seasons == nil {
			k.Seasons = []schedule.Season{}
		}
	}
	return f
}

// anyOf puts something that can be kept into every field there is, so that one
// which is added later is tried too. Pointers and lists are sometimes empty.
func anyOf(r *rand.Rand, v reflect.Value) {
	switch v.Kind() {
	case reflect.String:
		v.SetString([]string{"a", "Größe ½ \u2028", `"quoted" <b> & \`, "two\nlines\t", ""}[r.IntN(5)])
	case reflect.Bool:
		v.SetBool(r.IntN(2) == 0)
	case reflect.Int, reflect.Int64:
		v.SetInt(r.Int64N(1<<52) - 1<<51)
	case reflect.Float64:
		v.SetFloat((r.Float64() - 0.5) * math.Pow(10, float64(r.IntN(600)-300)))
	case reflect.Pointer:
		v.SetZero()
		if r.IntN(4) > 0 {
			v.Set(reflect.New(v.Type().Elem()))
			anyOf(r, v.Elem())
		}
	case reflect.Slice:
		v.SetZero()
		if n := r.IntN(4); n > 0 {
			v.Set(reflect.MakeSlice(v.Type(), n, n))
		}
		fallthrough
	case reflect.Array:
		for i := range v.Len() {
			anyOf(r, v.Index(i))
		}
	case reflect.Struct:
		anyStruct(r, v)
	default:
		panic(fmt.Sprintf("cannot fill a %s", v.Type()))
	}
}

func anyStruct(r *rand.Rand, v reflect.Value) {
	switch v.Interface().(type) {
	case time.Time:
		v.Set(reflect.ValueOf(Day.Add(time.Duration(r.IntN(1e9)) * time.Microsecond)))
		return
	case schedule.Date:
		v.Set(reflect.ValueOf(schedule.DateOf(Day, time.UTC).Add(r.IntN(80000) - 40000)))
		return
	}
	for i := range v.NumField() {
		anyOf(r, v.Field(i))
	}
}

// sampleCare gives a clock of the sample the care that uses every field.
func sampleCare(c *schedule.Clock) {
	c.Care = schedule.Care{
		Points: []schedule.OilPoint{
			{Code: "p-1", Name: "Centre, front", Train: "going", Bearing: "centre-front", Oil: "no. 5", Kind: schedule.MineralOil, Amount: "1 drop",
				Drops: 1.5, NoSink: true, Fast: true, Room: schedule.Wetted, Picture: "sheet 3"},
			{Code: "clutch", Dry: true, Why: "it slips"},
		},
		Lines: []schedule.Line{{Code: "rope", Name: "Strike rope", Train: "strike", Construction: "7x19", Material: "steel", Diameter: 6000,
			OuterWires: 72, FittedAt: schedule.Date{Year: 2019, Month: time.May, Day: 4}, MostYears: 12.5, Source: "survey"}},
		Room: schedule.DustyRoom, Damp: true,
		Tolerance: &schedule.Tolerance{Seconds: 30, Source: "the council"},
		Pendulum:  &schedule.Pendulum{Beat: 1.25, Pitch: 1270, Bob: 100},
		Change:    schedule.StopAnHour, ChangeNote: "the verger lets one in", Bell: true,
		Seasons: []schedule.Season{{Code: "lamps", Name: "dial lights on", From: schedule.MonthDay{Month: time.October, Day: 1},
			To: schedule.MonthDay{Month: time.February, Day: 29}, Hazard: []schedule.Hazard{schedule.Mains}, Reason: "damp", Source: "survey"}},
	}
	c.Trains[0].Weight = &wear.Weight{Fall: 9144000, Barrel: 200000, Line: 6000, Lines: 2, Turns: 28, TurnBlows: 20}
	c.Trains[0].Striking = &wear.Striking{Hours: true, Half: 1, Quarters: [4]int{0, 1, 2, 3}, Silent: [2]int{22, 7}, Lifted: true}
	c.Trains[1].Weight = &wear.Weight{TurnHours: 12.5, Gears: []wear.Gear{{Wheel: 120, Pinion: 10}}, GearHours: 1}
	c.Trains[1].MeterHours = 10000
	c.Policies = append(c.Policies,
		schedule.Policy{Task: schedule.Oiling, Days: 400, Risk: 0.1, Minutes: 90, Source: "survey"},
		schedule.Policy{Task: schedule.LineLook, Line: "rope", Days: 365, Source: "survey"})
}
