package schedule

import (
	"strings"
	"testing"
	"time"

	"endshake/wear"
)

// lesson is an invented one.
func lesson() Learned {
	return Learned{
		Version: 4, FittedAt: time.Date(2026, 11, 24, 23, 40, 0, 0, time.UTC),
		Model: wear.Learned{
			Taught: true, Bearings: 37, Readings: 210, Om: .47, Params: wear.DefaultParams(),
			Groups: map[string]wear.Group{
				"steel on brass | indoors | by run-hours | rate from physics":  {Shift: .588, Bearings: 36},
				"steel on steel | outdoors | by run-hours | rate from physics": {Shift: -.693, Bearings: 1},
				"brass on brass | indoors | by strokes | rate from physics":    {Shift: .02},
			},
		},
		Track: wear.Track{
			Next: wear.Versus{Ours: wear.Score{Forecasts: 150, CRPS: .02, MAE: .03, Cover80: .81, Cover90: .9}, StraightLine: wear.Score{Forecasts: 150, CRPS: .04, MAE: .05, Cover80: .7, Cover90: .8}},
		},
	}
}

// The text says each thing once, in words a keeper can read; factors are worked
// by hand: e to the 0.588 is 1.8, to the 0.693 2.0, to the 0.47 1.6.
func TestLessonText(t *testing.T) {
	for _, tt := range []struct {
		name   string
		change func(*Learned)
		want   []string
		not    []string
	}{
		{"even wear, no oil", nil, []string{
			"The lesson of 24 Nov 2026 (lesson 4 of this fleet), from 37 bearings with 210 readings.",
			"steel on brass, indoors, by run-hours, rate from physics: wears 1.8 times as fast as expected before any reading (36 bearings).",
			"wears 2.0 times as slowly as expected before any reading (1 bearing).", "wears as expected before any reading (0 bearings).",
			"within a factor of 1.6 of its middle", "Wear goes evenly with running", "Gauges err about as much as stated.",
			"The state of the oil is not weighed: no oiling is planned",
			"Next reading: 150 forecasts judged; score (CRPS) 0.0200 mm (0.787 thou), a straight line 0.0400 mm (1.57 thou); mean error 0.0300 mm (1.18 thou), line 0.0500 mm (1.97 thou); 80 % bands held 81 %, line 70 %; 90 % bands held 90 %, line 80 %.",
			"Last reading: no forecast can be judged yet.",
		}, []string{"NaN", "%!", "|"}},
		{"bent wear and better gauges", func(l *Learned) {
			l.Model.Params.B, l.Model.Params.Quicken, l.Model.Params.Reach, l.Model.Params.C = .7, 1, 2, .5
		}, []string{"Wear slows with age (exponent 0.70) and quickens as it goes deeper by 11 % for each 0.10 mm (3.9 thou).", "Gauges err about 0.5 times as much as stated: they are better"}, []string{"evenly"}},
		{"the other way", func(l *Learned) {
			l.Model.Params.B, l.Model.Params.Quicken, l.Model.Params.Reach, l.Model.Params.C = 1.4, -1, 2, 2
		}, []string{"Wear quickens with age (exponent 1.40) and slows as it goes deeper by 10 % for each 0.10 mm (3.9 thou).", "Gauges err about 2 times as much as stated."}, nil},
		{"oil that helps", func(l *Learned) {
			l.OilInForce = true
			l.WithOil.Next.Ours = wear.Score{Forecasts: 150, CRPS: .015, MAE: .02}
		}, []string{"Running is weighed by the state of the oil: it forecasts better so (score 0.0150 mm, 0.591 thou against 0.0200 mm, 0.787 thou).", "score (CRPS) 0.0150 mm"}, nil},
		{"oil that does not", func(l *Learned) { l.WithOil.Next.Ours = wear.Score{Forecasts: 150, CRPS: .021} },
			[]string{"Running is not weighed by the state of the oil: it does not forecast clearly better so (score 0.0210 mm, 0.827 thou against 0.0200 mm, 0.787 thou).", "score (CRPS) 0.0200 mm"}, nil},
		{"too few", func(l *Learned) { l.Model.Taught, l.Model.Bearings, l.Model.Readings = false, 1, 1 },
			[]string{"from 1 bearing with 1 reading.", "Too few bearings were measured twice to teach anything"}, []string{"factor"}},
	} {
		l := lesson()
		if tt.change != nil {
			tt.change(&l)
		}
		got := LessonText(l)
		for _, want := range tt.want {
			if !strings.Contains(got, want) {
				t.Errorf("%s: does not say %q:\n%s", tt.name, want, got)
			}
		}
		for _, not := range tt.not {
			if strings.Contains(got, not) {
				t.Errorf("%s: says %q:\n%s", tt.name, not, got)
			}
		}
	}
	// Days are those of the zone asked for: it was already the 25th there.
	if got := lesson().Sentences(time.FixedZone("east", 3600))[0]; !strings.Contains(got, "25 Nov 2026") {
		t.Errorf("in a zone an hour ahead: %q", got)
	}
}
