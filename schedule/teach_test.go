package schedule

import (
	"context"
	"math"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"endshake/wear"
)

// What the fleet learns from is what the forecasts rest on: the exposures of a
// bearing's history are those of its outlook, whatever the exponent, and with
// the weighting by oil as without.
func TestHistoriesMatchOutlooks(t *testing.T) {
	c := oiling(365)
	log := book(append(read(2021, 0.12, 0.15, 0.19), did(Oiled, "2022-06-01"), did(Repaired, "2023-06-01", left(0.10)), did(Measured, "2024-01-01", gave(0.12)))...)
	logs := map[string][]Entry{c.Slug: log}
	for _, power := range powers {
		for _, oil := range []bool{false, true} {
			m := bent(power, oil)
			got := Histories(fleetOf("UTC", c), logs, m, utc("2025-01-01"))
			if len(got) != 1 || len(got[0].Segments) != 2 {
				t.Fatalf("power %v: %+v", power, got)
			}
			o := outlookOf(t, byModel(c, log, m, "2025-01-01"), "centre-front")
			for i, s := range got[0].Segments {
				if s.H0 != o.Units(o.Parts[i].From) {
					t.Errorf("power %v, oil %v: part %d begins at %v, want %v", power, oil, i, s.H0, o.Units(o.Parts[i].From))
				}
				for k, x := range s.Readings {
					if want := o.Units(o.Parts[i].Readings[k].At); x.H != want {
						t.Errorf("power %v, oil %v: reading %d of part %d at %v, want %v", power, oil, k, i, x.H, want)
					}
				}
			}
			post, err := wear.Filter(o.Prior, m.params(), got[0].Segments)
			if err != nil || post.Evidence() != o.Wear.Evidence() {
				t.Errorf("power %v, oil %v: ln evidence %v, want %v (%v)", power, oil, post.Evidence(), o.Wear.Evidence(), err)
			}
		}
	}
}

// The weights hang on the exponent, so that a year under dry oil is the same
// ratio of wear in what is learned whatever the exponent is.
func TestHistoriesWeighTheWear(t *testing.T) {
	c := oiling(366) // good for 2020, aged for 2021
	logs := map[string][]Entry{c.Slug: book(read(2021, 0.12, 0.15)...)}
	for _, power := range powers {
		s := Histories(fleetOf("UTC", c), logs, bent(power, true), utc("2022-01-01"))[0].Segments[0]
		plain := Histories(fleetOf("UTC", c), logs, bent(power, false), utc("2022-01-01"))[0].Segments[0]
		wornIn := func(s wear.Segment, from, to int) float64 {
			at := func(i int) float64 {
				if i < 0 {
					return 0
				}
				return math.Pow(s.Readings[i].H-s.H0, power)
			}
			return at(to) - at(from)
		}
		for i, want := range []float64{1.5 / 6.55, 15 / 6.55} {
			if got := wornIn(s, i-1, i) / wornIn(plain, i-1, i); math.Abs(got-want) > 1e-6 {
				t.Errorf("power %v, year %d: %.5f times the wear, want %.5f", power, i+1, got, want)
			}
		}
	}
}

// What cannot be filtered is left out of what is learned, and a log with no
// reading tells nothing.
func TestHistoriesLeaveOut(t *testing.T) {
	for _, tt := range []struct {
		name   string
		change func(*Clock)
		log    []Entry
		want   int
	}{
		{"as it is", nil, read(2021, 0.12, 0.14), 1},
		{"never read", nil, []Entry{did(Oiled, "2021-01-01")}, 0},
		{"read before it was fitted", func(c *Clock) { c.Trains[0].Arbors[0].Bearings[0].FittedAt = utc("2022-01-01") }, read(2021, 0.12, 0.14), 0},
		{"read before the log began, fitted nobody knows when", func(c *Clock) {
			c.InCare = d("2021-06-01")
			c.Trains[0].Arbors[0].Bearings[0].FittedAt = time.Time{}
		}, read(2021, 0.12, 0.14), 1},
		{"started twice: the second counts for nothing", nil, append(read(2021, 0.12, 0.14), did(Started, "2021-06-01"), did(Started, "2021-07-01")), 1},
		{"a wind of less than nothing", func(c *Clock) { c.Trains[0].Reserve = -1 }, read(2021, 0.12, 0.14), 0},
	} {
		c := alone()
		if tt.change != nil {
			tt.change(&c)
		}
		got := Histories(fleetOf("UTC", c), map[string][]Entry{c.Slug: book(tt.log...)}, Model{}, utc("2024-01-01"))
		if len(got) != tt.want {
			t.Errorf("%s: %d histories, want %d", tt.name, len(got), tt.want)
		}
	}
}

// A fleet whose oil is followed is scored with it and without, and both scores
// are told even where the weighting does not come into force.
func TestTeachScoresBothWays(t *testing.T) {
	fleet, log := manyClocks(8, 4, 0)
	for i := range fleet.Clocks {
		fleet.Clocks[i].Policies = []Policy{{Task: Oiling, Days: 365, Source: "x"}}
	}
	l, err := Teach(t.Context(), fleet, log, utc("2025-06-01"))
	if err != nil {
		t.Fatal(err)
	}
	if l.OilInForce || l.WithOil.Next.Ours.Forecasts != l.Track.Next.Ours.Forecasts || l.Track.Next.Ours.Forecasts == 0 {
		t.Errorf("in force %v, %d forecasts with oil and %d without", l.OilInForce, l.WithOil.Next.Ours.Forecasts, l.Track.Next.Ours.Forecasts)
	}
	if got := l.InForce(); got != l.Track {
		t.Errorf("in force is %+v", got)
	}
	l.OilInForce = true
	if got := l.InForce(); got != l.WithOil {
		t.Errorf("with oil in force it is %+v", got)
	}
	if text := LessonText(l); !strings.Contains(text, "weighed by the state of the oil") {
		t.Errorf("%q", text)
	}
	// What is learned without weights is the same as with nobody oiling.
	bare, logs := manyClocks(8, 4, 0)
	plain, err := Teach(t.Context(), bare, logs, utc("2025-06-01"))
	if err != nil || plain.Model.Params != l.Model.Params || plain.Track != l.Track {
		t.Errorf("oil that is not in force changed what was learned: %+v, %+v (%v)", plain.Model.Params, l.Model.Params, err)
	}
}

// Teaching ends when it is told to, wherever it stands.
func TestTeachStops(t *testing.T) {
	fleet, log := manyClocks(6, 3, 0)
	fleet.Clocks[0].Policies = []Policy{{Task: Oiling, Days: 365, Source: "x"}}
	// A context that is done after so many looks at it stops each step in turn.
	for looks := range 6 {
		ctx := &patient{Context: t.Context()}
		ctx.left.Store(int64(looks))
		if _, err := Teach(ctx, fleet, log, utc("2025-06-01")); err == nil {
			t.Errorf("after %d looks it went on", looks)
		}
	}
}

// patient is a context that is cancelled once it has been looked at so often.
type patient struct {
	context.Context
	left atomic.Int64
}

func (p *patient) Err() error {
	if p.left.Add(-1) < 0 {
		return context.Canceled
	}
	return nil
}
