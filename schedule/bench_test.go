package schedule

import (
	"fmt"
	"testing"
	"time"

	"endshake/wear"
)

// busy is a clock of eight bearings with a log of 800 entries: fifteen years of
// weekly winds, oil twice a year, and a reading of each bearing every other
// year.
func busy() (Facts, time.Time) {
	c := pump()
	c.InCare, c.Policies = d("2011-01-01"), []Policy{weeklyWind, {Task: Oiling, Days: 182, Source: "x"}, {Task: Measuring, Days: 730, Source: "x"}}
	c.Trains[0].Arbors = nil
	for i := range 8 {
		b := bush()
		b.Code, b.FittedAt = fmt.Sprintf("b%d", i), utc("2011-01-01")
		c.Trains[0].Arbors = append(c.Trains[0].Arbors, wear.Arbor{Code: fmt.Sprintf("a%d", i), Revs: 1, Bearings: []wear.Bearing{b}})
	}
	c.Trains = c.Trains[:1]
	var log []Entry
	for i := range 7 {
		for j := range 8 {
			e := doneAt(Measured, d("2012-01-01").Add(730*i).At(10, j, time.UTC), gave(0.12+0.02*float64(i)+0.001*float64(j)))
			e.Bearing = fmt.Sprintf("b%d", j)
			log = append(log, e)
		}
	}
	for i := range 30 {
		log = append(log, doneAt(Oiled, d("2011-03-01").Add(182*i).Start(time.UTC)))
	}
	log = append(log, weekly("2011-01-03", 800-len(log))...)
	return Facts{Clock: c, Site: fleetOf("UTC").Sites[0], Entries: book(log...)}, utc("2026-01-01")
}

// BenchmarkAssess is the whole answer for a clock of 800 entries and eight
// bearings; BenchmarkEffective, on the same log, is what ordering alone costs.
func BenchmarkAssess(b *testing.B) {
	f, now := busy()
	b.ReportAllocs()
	for b.Loop() {
		if a := Assess(f, now); len(a.Outlooks) != 8 || len(a.Problems) != 0 {
			b.Fatal(a.Problems)
		}
	}
}

// BenchmarkEffective is the baseline of BenchmarkAssess.
func BenchmarkEffective(b *testing.B) {
	f, _ := busy()
	b.ReportAllocs()
	for b.Loop() {
		if got := Effective(f.Entries); len(got) != 800 {
			b.Fatal(len(got))
		}
	}
}

// BenchmarkFilter is the other baseline: the readings of eight bearings through
// the filter and nothing else.
func BenchmarkFilter(b *testing.B) {
	f, now := busy()
	a := Assess(f, now)
	b.ReportAllocs()
	for b.Loop() {
		for _, o := range a.Outlooks {
			r := (&Outlook{Bearing: o.Bearing}).gather(a, Model{}, a.Trains[0])
			if _, err := wear.Filter(o.Prior, wear.DefaultParams(), r.segs); err != nil {
				b.Fatal(err)
			}
		}
	}
}

// BenchmarkValidate is one stop tried against the same log.
func BenchmarkValidate(b *testing.B) {
	f, now := busy()
	fleet := fleetOf("UTC", f.Clock)
	e := doneAt(Stopped, now.Add(-time.Hour), by(Fault))
	b.ReportAllocs()
	for b.Loop() {
		if err := Validate(e, fleet, f.Entries, Model{}, now); err != nil {
			b.Fatal(err)
		}
	}
}

// dozen is a clock of one bearing with twelve readings, and the rest of a busy
// log.
func dozen() (Facts, time.Time) {
	f, now := busy()
	f.Clock.Trains[0].Arbors = f.Clock.Trains[0].Arbors[:1]
	var log []Entry
	for _, e := range f.Entries {
		if e.Kind != Measured {
			log = append(log, e)
		}
	}
	for i := range 12 {
		e := doneAt(Measured, d("2012-01-01").Add(400*i).At(10, 0, time.UTC), gave(0.12+0.01*float64(i)))
		e.Bearing = "b0"
		log = append(log, e)
	}
	f.Entries = book(log...)
	return f, now
}

// BenchmarkReading is what one new reading costs: its bearing of twelve
// readings is forecast anew, with its doubts and its dates.
func BenchmarkReading(b *testing.B) {
	f, now := dozen()
	a := open(f, now)
	st := a.Trains[0]
	arbor := st.Train.Arbors[0]
	b.ReportAllocs()
	for b.Loop() {
		if o, err := look(a, f.Model, st, arbor, arbor.Bearings[0], suppose{}); err != nil || !o.Known || len(o.Parts[0].Readings) != 12 {
			b.Fatal(err)
		}
	}
}

// BenchmarkValidateReading is one reading tried against a log of 800 entries.
func BenchmarkValidateReading(b *testing.B) {
	f, now := dozen()
	fleet := fleetOf("UTC", f.Clock)
	e := doneAt(Measured, now.Add(-time.Hour), gave(0.24))
	e.Bearing = "b0"
	b.ReportAllocs()
	for b.Loop() {
		if err := Validate(e, fleet, f.Entries, Model{}, now); err != nil {
			b.Fatal(err)
		}
	}
}
