package schedule

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"
	"time"
)

// The haversine formula's own worked example, as it stands in the public collection
// of programs Rosetta Code ("Haversine formula"): 2886.44444283798 km on a ball of
// 6371.0 km.
func TestKmOfAWorkedExample(t *testing.T) {
	want := 2886.44444283798329974715782394574671655 / 6371.0 * 6371.0088
	if got := (Where{36.12, -86.67}).Km(Where{33.94, -118.40}); math.Abs(got-want) > 1e-9*want {
		t.Errorf("%v km, want %v", got, want)
	}
	// From pole to equator is a quarter of a great circle, to the antipode a half; a
	// metre is what the formula leaves open there.
	for _, tt := range []struct {
		a, b Where
		part float64
	}{{Where{90, 0}, Where{0, 77}, .25}, {Where{0, -90}, Where{0, 90}, .5}, {Where{35, 20}, Where{-35, -160}, .5}, {Where{0, 179}, Where{0, -179}, 1. / 180}, {Where{1, 2}, Where{1, 2}, 0}} {
		if got, want := tt.a.Km(tt.b), tt.part*2*math.Pi*6371.0088; math.Abs(got-want) > 1e-3 {
			t.Errorf("%v to %v: %v km, want %v", tt.a, tt.b, got, want)
		}
	}
}

// The angle between two places as vectors, by atan2 of their cross and dot products,
// is another way to the same.
func TestKmAsVectors(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 3))
	vector := func(w Where) [3]float64 {
		lat, lon := w.Lat*math.Pi/180, w.Lon*math.Pi/180
		return [3]float64{math.Cos(lat) * math.Cos(lon), math.Cos(lat) * math.Sin(lon), math.Sin(lat)}
	}
	for range 2000 {
		a := Where{180*r.Float64() - 90, 360*r.Float64() - 180}
		b := Where{180*r.Float64() - 90, 360*r.Float64() - 180}
		if r.IntN(2) == 0 { // as near as two towers of a town
			b = Where{max(-90, min(90, a.Lat+.02*r.Float64())), max(-180, min(180, a.Lon+.02*r.Float64()))}
		}
		u, v := vector(a), vector(b)
		cross := math.Hypot(math.Hypot(u[1]*v[2]-u[2]*v[1], u[2]*v[0]-u[0]*v[2]), u[0]*v[1]-u[1]*v[0])
		want := 6371.0088 * math.Atan2(cross, u[0]*v[0]+u[1]*v[1]+u[2]*v[2])
		if got := a.Km(b); math.Abs(got-want) > 1e-6*(1+want) || got != b.Km(a) {
			t.Fatalf("%v to %v: %v km and back %v, want %v", a, b, got, b.Km(a), want)
		}
	}
}

func TestMinutes(t *testing.T) {
	for text, want := range map[string]Minutes{"00:00": 0, "9:05": 545, "09:00": 540, " 17:30": 1050, "24:00": 1440} {
		if got, err := ParseMinutes(text); err != nil || got != want {
			t.Errorf("%q: %d, %v, want %d", text, got, err, want)
		}
	}
	for _, text := range []string{"", "9", "9:5", "09:60", "24:01", "25:00", "-1:00", "09:00:00", "9am", "09.00", "٠9:00", "9:+5"} {
		if got, err := ParseMinutes(text); err == nil || !strings.Contains(err.Error(), "like 09:00") {
			t.Errorf("%q was taken as %d: %v", text, got, err)
		}
	}
}

// 2027-03-08 is a Monday, 2027-03-14 a Sunday (ISO 8601 week 10 of 2027).
func TestReachOn(t *testing.T) {
	r := Reach{
		Open: []OpenHours{{Days: Weekdays{time.Monday, time.Tuesday}, From: 540, To: 1020}, {Days: Weekdays{time.Saturday}, From: 600, To: 720}},
		Shut: []Span{{From: d("2027-03-15"), Until: d("2027-03-16"), Why: "paint"}, {From: d("2027-03-20"), Until: d("2027-03-20")}},
	}
	for day, want := range map[string]string{
		"2027-03-08": "09:00 17:00 ", "2027-03-13": "10:00 12:00 ", "2027-03-14": "00:00 00:00 shut on Sundays",
		"2027-03-15": "00:00 00:00 shut from 15 Mar 2027 to 16 Mar 2027 (paint)", "2027-03-16": "00:00 00:00 shut from 15 Mar 2027 to 16 Mar 2027 (paint)",
		"2027-03-17": "00:00 00:00 shut on Wednesdays", "2027-03-20": "00:00 00:00 shut on 20 Mar 2027", "2027-03-22": "09:00 17:00 ",
	} {
		from, to, why := r.On(d(day))
		if got := from.String() + " " + to.String() + " " + why; got != want {
			t.Errorf("%s: %q, want %q", day, got, want)
		}
	}
	if from, to, why := (Reach{}).On(d("2027-03-14")); from != 0 || to != 1440 || why != "" {
		t.Errorf("nothing known: %v %v %q, want the whole day", from, to, why)
	}
	if from, to, _ := (Reach{Open: []OpenHours{{From: 60, To: 120}}}).On(d("2027-03-14")); from != 60 || to != 120 {
		t.Errorf("each day: %v %v", from, to)
	}
}

func TestGoingOn(t *testing.T) {
	g := Going{Days: Weekdays{time.Monday}, From: 480, To: 1080, Away: []Span{{From: d("2027-03-15"), Until: d("2027-03-28")}}}
	for day, want := range map[string]string{
		"2027-03-08": "08:00 18:00 ", "2027-03-09": "00:00 00:00 not out on Tuesdays",
		"2027-03-15": "00:00 00:00 away from 15 Mar 2027 to 28 Mar 2027", "2027-03-29": "08:00 18:00 ",
	} {
		from, to, why := g.On(d(day))
		if got := from.String() + " " + to.String() + " " + why; got != want {
			t.Errorf("%s: %q, want %q", day, got, want)
		}
	}
	if from, to, why := (Going{From: 480, To: 1080}).On(d("2027-03-08")); to > from || why != "goes on no rounds" {
		t.Errorf("no days: %v %v %q", from, to, why)
	}
}

func TestReachRefused(t *testing.T) {
	site := func(change func(*Reach)) func(*Fleet, *Clock) {
		return func(f *Fleet, _ *Clock) { change(&f.Sites[0].Reach) }
	}
	hours := func(o ...OpenHours) func(*Fleet, *Clock) { return site(func(r *Reach) { r.Open = o }) }
	shut := func(s ...Span) func(*Fleet, *Clock) { return site(func(r *Reach) { r.Shut = s }) }
	person := func(g Going) func(*Fleet, *Clock) { return func(f *Fleet, _ *Clock) { f.People[1].Going = g } }
	mon := Weekdays{time.Monday}
	for _, w := range []wrongFleet{
		{"too far north", site(func(r *Reach) { r.At = &Where{90.01, 0} }), Invalid, "sites[0]", "a latitude of 90.01 cannot be right: give degrees from -90 to 90"},
		{"no number", site(func(r *Reach) { r.At = &Where{math.NaN(), 0} }), Invalid, "sites[0]", "a latitude of NaN"},
		{"round the Earth", site(func(r *Reach) { r.At = &Where{0, -181} }), Invalid, "sites[0]", "a longitude of -181 cannot be right"},
		{"without end", site(func(r *Reach) { r.At = &Where{0, math.Inf(1)} }), Invalid, "sites[0]", "a longitude of +Inf"},
		{"hours that end before", hours(OpenHours{mon, 1020, 540}), Invalid, "sites[0]", "open: from 17:00 to 09:00 are no hours of one day"},
		{"no hours", hours(OpenHours{}), Invalid, "sites[0]", "from 00:00 to 00:00"},
		{"past midnight", hours(OpenHours{mon, 0, 1441}), Invalid, "sites[0]", "the earlier first"},
		{"before midnight", hours(OpenHours{mon, -1, 60}), Invalid, "sites[0]", "two times"},
		{"a day twice", hours(OpenHours{Weekdays{time.Monday, time.Monday}, 540, 1020}), Invalid, "sites[0]", "open: Monday is given twice"},
		{"a day in two lines", hours(OpenHours{mon, 540, 720}, OpenHours{mon, 840, 1020}), Invalid, "sites[0]", "Monday is given twice"},
		{"a day and each day", hours(OpenHours{mon, 540, 720}, OpenHours{nil, 840, 1020}), Invalid, "sites[0]", "Monday is given twice"},
		{"an eighth day", hours(OpenHours{Weekdays{7}, 540, 720}), Invalid, "sites[0]", "day 7 of the week is not known: use Mon, Tue"},
		{"shut backwards", shut(Span{From: d("2027-01-02"), Until: d("2026-12-24")}), Invalid, "sites[0]", "shut from 2 Jan 2027 to 24 Dec 2026 ends before it begins"},
		{"shut from never", shut(Span{Until: d("2026-12-24")}), Invalid, "sites[0]", "no first or no last day"},
		{"shut until never", shut(Span{From: d("2026-12-24")}), Invalid, "sites[0]", "give both"},
		{"shut for ages", shut(Span{From: d("1026-12-24"), Until: d("2027-01-02")}), Invalid, "sites[0]", "check the years"},
		{"shut so often", shut(make([]Span, 401)...), Invalid, "sites[0]", "401 times shut are too many"},
		{"a long reason", shut(Span{d("2026-12-24"), d("2026-12-25"), strings.Repeat("x", 501)}), Invalid, "sites[0]", "a reason of 501 bytes is too long"},
		{"a reason on two lines", shut(Span{d("2026-12-24"), d("2026-12-25"), "a\nb"}), Invalid, "sites[0]", "several lines"},
		{"less than no notice", site(func(r *Reach) { r.Notice = -1 }), Invalid, "sites[0]", "notice of -1 days cannot be right"},
		{"notice of years", site(func(r *Reach) { r.Notice = 366 }), Invalid, "sites[0]", "use 0 to 365"},
		{"a climb of a day", site(func(r *Reach) { r.Climb = 481 }), Invalid, "sites[0]", "481 minutes for in, up and out"},
		{"a climb back in time", site(func(r *Reach) { r.Climb = -5 }), Invalid, "sites[0]", "use 0 to 480"},
		{"keys like a book", site(func(r *Reach) { r.Keys = strings.Repeat("k", 4001) }), Invalid, "sites[0]", "text of 4001 bytes"},
		{"a permit that rings", site(func(r *Reach) { r.Permit = "\x07" }), Invalid, "sites[0]", "control character"},
		{"a broken lift", site(func(r *Reach) { r.Lift = "\xff" }), Invalid, "sites[0]", "not valid UTF-8"},
		{"a home nowhere", person(Going{Home: &Where{-91, 0}}), Invalid, "people[1]", "home: a latitude of -91"},
		{"out at no hours", person(Going{Days: mon}), Invalid, "people[1]", "hours out: from 00:00 to 00:00"},
		{"hours and no days", person(Going{From: 600, To: 500}), Invalid, "people[1]", "hours out: from 10:00 to 08:20"},
		{"out twice on Mondays", person(Going{Days: Weekdays{time.Monday, time.Monday}, From: 1, To: 2}), Invalid, "people[1]", "days out: Monday is given twice"},
		{"away backwards", person(Going{Away: []Span{{From: d("2027-01-02"), Until: d("2027-01-01")}}}), Invalid, "people[1]", "away from 2 Jan 2027 to 1 Jan 2027 ends before"},
	} {
		w.check(t)
	}
}

func TestReachInAFleetFile(t *testing.T) {
	file := `{"sites":[{"slug":"a","name":"b","zone":"UTC","reach":{"at":{"lat":47.5,"lon":-31},"open":[{"days":["Mon","Tue"],"from":"09:00","to":"17:00"}],
"shut":[{"from":"2026-12-24","until":"2027-01-02","why":"holidays"}],"noticeDays":14,"climbMinutes":15,"keys":"k","permit":"p","lift":"l"}}],
"people":[{"slug":"p","name":"q","going":{"home":{"lat":47,"lon":-31.5},"days":["Mon"],"from":"08:00","to":"18:00","away":[{"from":"2027-05-03","until":"2027-05-03"}]}}],
"clocks":[]}`
	f, err := ParseFleet([]byte(file))
	if err != nil {
		t.Fatal(err)
	}
	reach := Reach{At: &Where{47.5, -31}, Open: []OpenHours{{Weekdays{time.Monday, time.Tuesday}, 540, 1020}},
		Shut: []Span{{d("2026-12-24"), d("2027-01-02"), "holidays"}}, Notice: 14, Climb: 15, Keys: "k", Permit: "p", Lift: "l"}
	going := Going{Home: &Where{47, -31.5}, Days: Weekdays{time.Monday}, From: 480, To: 1080, Away: []Span{{From: d("2027-05-03"), Until: d("2027-05-03")}}}
	if !reflect.DeepEqual(f.Sites[0].Reach, reach) || !reflect.DeepEqual(f.People[0].Going, going) {
		t.Errorf("read %+v and %+v", f.Sites[0].Reach, f.People[0].Going)
	}
	_, err = ParseFleet([]byte(strings.Replace(file, `"Tue"`, `"Tuesday"`, 1)))
	refused(t, err, Invalid, "", `line 1: day of the week "Tuesday" is not known: use Mon, Tue, Wed, Thu, Fri, Sat, Sun`)
	_, err = ParseFleet([]byte(strings.Replace(file, `"08:00"`, `"8 am"`, 1)))
	refused(t, err, Invalid, "", `line 3: time of day "8 am" is not understood`)
	_, err = ParseFleet([]byte(strings.Replace(file, `"08:00"`, `480`, 1)))
	refused(t, err, Invalid, "", `near line 3: from needs a time of day in quotation marks, like "09:00", not a plain number`)
	_, err = ParseFleet([]byte(strings.Replace(file, `["Mon"]`, `"Mon"`, 1)))
	refused(t, err, Invalid, "", `days of the week "Mon" are not understood`)
	_, err = ParseFleet([]byte(strings.Replace(file, `"keys"`, `"key"`, 1)))
	refused(t, err, Invalid, "", `unknown field "key"`)
}

func TestRoundMark(t *testing.T) {
	f := fleetOf("Pacific/Auckland", pump())
	site, person := f.Sites[0].Slug, f.People[0].Slug
	now := time.Date(2027, 3, 8, 12, 0, 0, 0, time.UTC) // 9 Mar 01:00 there
	good := RoundMark{Kind: SetVisit, Site: site, Person: person, Day: d("2027-03-09"), Why: "they asked", By: person}
	change := func(change func(*RoundMark)) RoundMark { m := good; change(&m); return m }
	for name, m := range map[string]RoundMark{
		"today":              good,
		"in thirteen months": change(func(m *RoundMark) { m.Day = d("2028-04-09") }),
		"no visit":           change(func(m *RoundMark) { m.Kind = BarVisit }),
		"nobody there":       change(func(m *RoundMark) { m.Kind, m.Person = BarVisit, "" }),
		"not them anywhere":  change(func(m *RoundMark) { m.Kind, m.Site, m.Day = BarVisit, "", d("2027-03-08") }),
		"by the service":     change(func(m *RoundMark) { m.By = "" }),
	} {
		if err := m.Validate(f, now); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	for _, tt := range []struct {
		mark     RoundMark
		code     Code
		sentence string
	}{
		{change(func(m *RoundMark) { m.Kind = "maybe" }), Invalid, `"maybe" is not known: use set, not`},
		{change(func(m *RoundMark) { m.Site = "moon" }), NotFound, `there is no site "moon"`},
		{change(func(m *RoundMark) { m.Person = "moon" }), NotFound, `there is no person "moon"`},
		{change(func(m *RoundMark) { m.By = "moon" }), NotFound, `whoever decided, "moon"`},
		{change(func(m *RoundMark) { m.Site = "" }), Invalid, "no site is given"},
		{change(func(m *RoundMark) { m.Person = "" }), Invalid, "nobody is given: say who goes"},
		{change(func(m *RoundMark) { m.Kind, m.Site, m.Person = BarVisit, "", "" }), Invalid, "neither a site nor a person"},
		{change(func(m *RoundMark) { m.Day = Date{} }), Invalid, "no day is given"},
		{change(func(m *RoundMark) { m.Day = d("2027-03-08") }), Invalid, "8 Mar 2027 is past: choose 9 Mar 2027 or a later day"},
		{change(func(m *RoundMark) { m.Day = d("2028-04-10") }), Invalid, "10 Apr 2028 is too far ahead: choose a day up to 9 Apr 2028"},
		{change(func(m *RoundMark) { m.Why = "a\nb" }), Invalid, "several lines"},
		{change(func(m *RoundMark) { m.Why = strings.Repeat("a", 501) }), Invalid, "501 bytes is too long"},
	} {
		refused(t, tt.mark.Validate(f, now), tt.code, "round "+string(tt.mark.Kind), tt.sentence)
	}
	bar := change(func(m *RoundMark) { m.Kind, m.Why, m.By = BarVisit, "", "" })
	if !bar.Lifted(good) || !good.Lifted(bar) || good.Lifted(good) || bar.Lifted(change(func(m *RoundMark) { m.Day = d("2027-03-10") })) {
		t.Error("a visit that is set lifts the bar for the same, and the other way round, and nothing else")
	}
	if !good.Same(change(func(m *RoundMark) { m.Why, m.By, m.At = "", "", now })) || good.Same(bar) {
		t.Error("marks are the same by kind, site, person and day")
	}
	if got, want := bar.Words(), "no visit to "+site+" by "+person+" on 9 Mar 2027"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}

// Whatever holds comes back from JSON as it was: that is how it is kept.
func TestReachAsJSON(t *testing.T) {
	for seed := range uint64(300) {
		r := rand.New(rand.NewPCG(seed, 5))
		reach, going := anyReach(r), anyGoing(r)
		var reach2 Reach
		var going2 Going
		for _, pair := range [][2]any{{reach, &reach2}, {going, &going2}} {
			text, err := json.Marshal(pair[0])
			if err != nil {
				t.Fatal(err)
			}
			if err := json.Unmarshal(text, pair[1]); err != nil {
				t.Fatalf("seed %d: %v in %s", seed, err, text)
			}
		}
		if !reflect.DeepEqual(reach, reach2) || !reflect.DeepEqual(going, going2) {
			t.Fatalf("seed %d: %+v came back as %+v, %+v as %+v", seed, reach, reach2, going, going2)
		}
	}
}

func anyWhere(r *rand.Rand) *Where {
	if r.IntN(3) == 0 {
		return nil
	}
	return &Where{180*r.Float64() - 90, 360*r.Float64() - 180}
}

func anySpans(r *rand.Rand) []Span {
	var out []Span
	for range r.IntN(3) {
		from := d("2020-01-01").Add(r.IntN(4000))
		out = append(out, Span{from, from.Add(r.IntN(60)), pick(r, "", "holidays", `"<b>" & Größe`)})
	}
	return out
}

func anyReach(r *rand.Rand) Reach {
	out := Reach{At: anyWhere(r), Shut: anySpans(r), Notice: r.IntN(366), Climb: r.IntN(481),
		Keys: pick(r, "", "the verger\nring twice"), Permit: pick(r, "", "the council"), Lift: pick(r, "", "scaffold")}
	days := r.Perm(7)
	for len(days) > 0 && r.IntN(4) > 0 {
		n := 1 + r.IntN(len(days))
		var of Weekdays
		for _, d := range days[:n] {
			of = append(of, time.Weekday(d))
		}
		from := Minutes(r.IntN(1440))
		out.Open = append(out.Open, OpenHours{of, from, from + 1 + Minutes(r.IntN(1440-int(from)))})
		days = days[n:]
	}
	return out
}

func anyGoing(r *rand.Rand) Going {
	g := Going{Home: anyWhere(r), Away: anySpans(r)}
	for _, day := range r.Perm(7)[:r.IntN(8)] {
		g.Days = append(g.Days, time.Weekday(day))
	}
	if g.Goes() {
		g.From = Minutes(r.IntN(1440))
		g.To = g.From + 1 + Minutes(r.IntN(1440-int(g.From)))
	}
	return g
}
