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
		want string
	}{
		{"as described", schedule.Outlook{Limit: limit, Bearing: fitted}, "from 0.05 to 0.20 mm (2.0 to 7.9 thou)"},
		{"to a thousandth", schedule.Outlook{Limit: &wear.Limit{Size: 508}, Bearing: wear.Bearing{Fitted: 250}}, "from 0.25 to 0.508 mm (9.8 to 20.0 thou)"}, // a thou is 0.0254 mm
		{"a new part", schedule.Outlook{Limit: limit, Bearing: fitted, Parts: []schedule.Part{{}, {Start: &wear.Level{Mean: 0.0812}}}}, "from 0.08 to 0.20 mm (3.1 to 7.9 thou)"},
		{"a part not measured", schedule.Outlook{Limit: limit, Parts: []schedule.Part{{}}}, ""},
		{"fitted beyond its limit", schedule.Outlook{Limit: limit, Bearing: wear.Bearing{Fitted: 300}}, ""},
		{"no figure", schedule.Outlook{Limit: limit, Parts: []schedule.Part{{Start: &wear.Level{Mean: math.NaN()}}}}, ""},
		{"no limit", schedule.Outlook{Bearing: fitted}, ""},
	} {
		if got := Way(tc.o); got != tc.want {
			t.Errorf("%s: %q, want %q", tc.what, got, tc.want)
		}
	}
}
