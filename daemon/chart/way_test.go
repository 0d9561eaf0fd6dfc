package chart

import (
	"math"
	"testing"

	"endshake/schedule"
	"endshake/wear"
)

// The share used is one of the way from the size when fitted, of the present
// part, to the limit; of the whole limit where that size is not known.
func TestWay(t *testing.T) {
	limit := &wear.Limit{Size: 200}
	fitted := wear.Bearing{Fitted: 50}
	for _, tc := range []struct {
		what string
		o    schedule.Outlook
		unit wear.Unit
		want string
	}{
		{"as described", schedule.Outlook{Limit: limit, Bearing: fitted}, wear.MM, "from 0.05 to 0.20 mm"},
		{"in thou", schedule.Outlook{Limit: &wear.Limit{Size: 508}, Bearing: wear.Bearing{Fitted: 250}}, wear.Thou, "from 9.8 to 20.0 thou"}, // a thou is 0.0254 mm
		{"no unit", schedule.Outlook{Limit: limit, Bearing: fitted}, "", "from 0.05 to 0.20 mm"},
		{"a new part", schedule.Outlook{Limit: limit, Bearing: fitted, Parts: []schedule.Part{{}, {Start: &wear.Level{Mean: 0.0812}}}}, wear.MM, "from 0.08 to 0.20 mm"},
		{"a part not measured", schedule.Outlook{Limit: limit, Parts: []schedule.Part{{}}}, wear.MM, ""},
		{"fitted beyond its limit", schedule.Outlook{Limit: limit, Bearing: wear.Bearing{Fitted: 300}}, wear.MM, ""},
		{"no figure", schedule.Outlook{Limit: limit, Parts: []schedule.Part{{Start: &wear.Level{Mean: math.NaN()}}}}, wear.MM, ""},
		{"no limit", schedule.Outlook{Bearing: fitted}, wear.MM, ""},
	} {
		if got := Way(tc.o, tc.unit); got != tc.want {
			t.Errorf("%s: %q, want %q", tc.what, got, tc.want)
		}
	}
}
