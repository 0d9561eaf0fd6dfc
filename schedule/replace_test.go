package schedule

import (
	"testing"
	"time"

	"endshake/wear"
)

// A new description must not leave entries of the log without what they are
// about, nor lie in the future.
func TestCanReplace(t *testing.T) {
	log := map[string][]Entry{"pump-room": book(
		did(Wound, "2020-02-01", of("strike")), did(Measured, "2021-01-01", gave(0.12)), did(Repaired, "2022-01-01", left(0.1)),
		did(Oiled, "2022-03-01", onBearing("second-back")),
		did(Measured, "2020-01-15", gave(0.9), called("slip")), did(Noted, "2021-01-15", note("wrong clock"), instead("slip", "of the other clock")),
	)}
	first := func(c *Clock) *wear.Bearing { return &c.Trains[0].Arbors[0].Bearings[0] }
	for _, tt := range []struct {
		name     string
		change   func(c *Clock)
		code     Code // empty: taken
		sentence string
	}{
		{"the same", func(*Clock) {}, "", ""},
		{"another name and limit", func(c *Clock) { c.Name = "Pump House"; first(c).Act = limitAt(0.4) }, "", ""},
		{"a bearing more", func(c *Clock) {
			c.Trains[1].Arbors[0].Bearings = append(c.Trains[1].Arbors[0].Bearings, wear.Bearing{Code: "new"})
		}, "", ""},
		{"a mesh comes", func(c *Clock) { *c = geared(*c) }, "", ""},
		{"another stand", func(c *Clock) { first(c).Stand, first(c).Shaft, first(c).Frame = mm(3000), wear.Steel, wear.CastIron }, "", ""},
		{"in care earlier", func(c *Clock) { c.InCare = d("2019-01-01") }, "", ""},
		{"in care up to the first entry", func(c *Clock) { c.InCare = d("2020-02-01") }, "", ""}, // the slip before it is corrected
		{"in care later", func(c *Clock) { c.InCare = d("2020-02-02") }, Conflict, "an entry (wound) of 1 Feb 2020 lies before the new first day 2 Feb 2020"},
		{"in care the day after tomorrow", func(c *Clock) { c.InCare = d("2026-06-03") }, Invalid, "its log begins on 3 Jun 2026, which lies in the future"},
		{"without the strike", func(c *Clock) { c.Trains = c.Trains[:1] }, Conflict, `about the train "strike", which is no longer described`},
		{"the strike renamed", func(c *Clock) { c.Trains[1].Code = "hours" }, Conflict, `about the train "strike"`},
		{"without a bearing that was oiled", func(c *Clock) { c.Trains[1].Arbors = nil }, Conflict, `about the bearing "second-back", which is no longer described: keep its code`},
		{"fitted up to its first reading", func(c *Clock) { first(c).FittedAt = utc("2021-01-01") }, "", ""},
		{"fitted after its first reading", func(c *Clock) { first(c).FittedAt = utc("2021-01-02") }, Conflict, "bearing centre-front was measured on 1 Jan 2021, before the new fittedAt 2 Jan 2021"},
		{"followed by the other shake", func(c *Clock) { first(c).Shake = wear.EndShake }, Conflict, "has readings of its side-shake, and the new description follows its end-shake"},
		{"fitted in the future", func(c *Clock) { c.Trains[1].Arbors[0].Bearings[0].FittedAt = utc("2026-07-01") }, Invalid, "bearing second-back was fitted on 1 Jul 2026, which lies in the future"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			c := pump()
			tt.change(&c)
			err := fleetOf("UTC", c).CanReplace(log, utc(validNow))
			if tt.code != "" {
				refused(t, err, tt.code, "clock pump-room", tt.sentence)
			} else if err != nil {
				t.Error(err)
			}
		})
	}
	if err := fleetOf("UTC", pump()).CanReplace(nil, utc(validNow)); err != nil {
		t.Errorf("no log: %v", err)
	}
	// Tomorrow in Auckland is today in New York.
	c := pump()
	c.InCare = DateOf(utc(validNow), location("Pacific/Auckland"))
	if err := fleetOf("Pacific/Auckland", c).CanReplace(nil, utc(validNow).Add(-time.Minute)); err != nil {
		t.Errorf("today in Auckland: %v", err)
	}
}
