package schedule

import (
	"fmt"
	"slices"
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

// tower is a clock of ten bearings, each read so many times, and a log of 800
// entries over fifteen years.
func tower(readings int) (Facts, time.Time) {
	f, now := busy()
	t := &f.Clock.Trains[0]
	for i := len(t.Arbors); i < 10; i++ {
		b := t.Arbors[0].Bearings[0]
		b.Code = fmt.Sprintf("b%d", i)
		t.Arbors = append(t.Arbors, wear.Arbor{Code: fmt.Sprintf("a%d", i), Revs: 1, Bearings: []wear.Bearing{b}})
	}
	var log []Entry
	for i := range readings {
		at, size := d("2012-01-01").Add(5100/readings*i), 0.12+0.12*float64(i)/float64(readings)
		for j := range 10 {
			e := doneAt(Measured, at.At(10, j, time.UTC), gave(size+0.001*float64(j)))
			e.Bearing = fmt.Sprintf("b%d", j)
			log = append(log, e)
		}
	}
	for i := range 30 {
		log = append(log, doneAt(Oiled, d("2011-03-01").Add(182*i).Start(time.UTC)))
	}
	f.Entries = Effective(book(append(log, weekly("2011-01-03", 800-len(log))...)...)) // in order, as the store gives it
	return f, now
}

// BenchmarkAssess is the whole answer for a clock of ten bearings and 800
// entries: with nothing at hand; where one reading, or one wind, was added to
// an earlier answer; and where only a day has passed. Its bearings were read
// every other year, and as often again and more. BenchmarkEffective, on a log as
// long, is what ordering alone costs.
func BenchmarkAssess(b *testing.B) {
	for _, readings := range []int{8, 20} {
		b.Run(fmt.Sprintf("%d readings", readings), func(b *testing.B) { assessTower(b, readings) })
	}
}

func assessTower(b *testing.B, readings int) {
	f, now := tower(readings)
	before := Assess(f, now.Add(-24*time.Hour))
	reading, wind := f, f
	e := doneAt(Measured, now.Add(-time.Hour), gave(0.26))
	e.ID, e.Bearing, e.RecordedAt = "new", "b3", now
	reading.Entries = append(slices.Clone(f.Entries), e)
	wind.Entries = append(slices.Clone(f.Entries), book(doneAt(Wound, now.Add(-time.Hour), called("new")))...)
	for _, x := range []struct {
		name string
		f    Facts
	}{{"baseline cold", f}, {"a reading more", reading}, {"a wind more", wind}, {"a day later", f}} {
		b.Run(x.name, func(b *testing.B) {
			if x.name != "baseline cold" {
				x.f.Before = &before
			}
			b.ReportAllocs()
			for b.Loop() {
				if a := Assess(x.f, now); len(a.Outlooks) != 10 || len(a.Problems) != 0 {
					b.Fatal(a.Problems)
				}
			}
		})
	}
}

// BenchmarkNextDay is the next day of a small clock of one bearing whose log
// has not grown.
func BenchmarkNextDay(b *testing.B) {
	f, now := dozen()
	f.Entries = slices.DeleteFunc(f.Entries, func(e Entry) bool { return e.Kind != Measured && e.At.Before(now.AddDate(-2, 0, 0)) })
	before := Assess(f, now.Add(-24*time.Hour))
	f.Before = &before
	b.ReportAllocs()
	for b.Loop() {
		if a := Assess(f, now); len(a.Outlooks) != 1 || len(a.Problems) != 0 {
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
			r := (&Outlook{Bearing: o.Bearing}).gather(&a, Model{}, &a.Trains[0])
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
		if o, err := look(&a, f.Model, &st, arbor, arbor.Bearings[0], suppose{}); err != nil || !o.Known || len(o.Parts[0].Readings) != 12 {
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
