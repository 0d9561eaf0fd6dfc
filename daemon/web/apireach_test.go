package web

import (
	"reflect"
	"strings"
	"testing"
	"time"

	"endshake/schedule"
)

// What a visit to a site takes is told to programs, as the description has it; where
// somebody lives is not, whoever asks.
func TestAPITellsHowASiteIsReached(t *testing.T) {
	d := newDesk()
	day := schedule.Date{Year: 2026, Month: time.December, Day: 24}
	want := schedule.Reach{At: &schedule.Where{Lat: 47.3, Lon: -31.2}, Open: []schedule.OpenHours{{Days: schedule.Weekdays{time.Monday}, From: 540, To: 1440}},
		Shut: []schedule.Span{{From: day, Until: day.Add(9), Why: "holidays"}}, Notice: 7, Climb: 15, Keys: "the porter", Permit: "the council", Lift: "a hoist"}
	d.f.fleet.Sites[0].Reach = want
	for i := range d.f.fleet.People {
		d.f.fleet.People[i].Going = schedule.Going{Home: &schedule.Where{Lat: 47.987654, Lon: -31.5}, Days: schedule.Week, From: 480, To: 1080}
	}
	d.snap = schedule.Survey(d.f.fleet, d.f.log, d.model(), d.now)
	_, router := described(t)
	h := apiSite(t, d, nil)
	var c struct {
		Place struct{ Reach schedule.Reach }
	}
	readJSON(t, h, "/api/clocks/corn-hall", &c)
	if !reflect.DeepEqual(c.Place.Reach, want) {
		t.Errorf("it is reached as %+v, want %+v", c.Place.Reach, want)
	}
	for _, p := range []string{"/api", "/api/fleet", "/api/due", "/api/outlook", "/api/clocks/corn-hall", "/api/clocks/corn-hall/log"} {
		res, body := held(t, router, h, bearer("GET", p, token("all"), ""))
		if res.StatusCode != 200 || strings.Contains(body, "47.987654") {
			t.Errorf("GET %s = %d, or it tells where somebody lives: %.300s", p, res.StatusCode, body)
		}
	}
}
