package schedule

import (
	"fmt"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"
	"time"

	"endshake/wear"
)

// nextEntry is the next entry of a log: of what bears on run-hours, on oil and on
// locks, whether or not it fits what is there.
func nextEntry(r *rand.Rand, c Clock, log []Entry, now time.Time) Entry {
	at := now.Add(-time.Duration(r.IntN(30*60)) * time.Minute)
	if n := len(log); n > 0 && r.IntN(8) > 0 && at.Before(log[n-1].At) {
		at = log[n-1].At.Add(time.Duration(r.IntN(3)) * time.Hour)
	}
	kinds := []EntryKind{Wound, Wound, Wound, Wound, Stopped, Stopped, Started, Started, Set, Regulated, Inspected, Noted, Noted, Oiled, Cleaned, Repaired, Measured}
	e := doneAt(kinds[r.IntN(len(kinds))], at)
	e.ID, e.RecordedAt, e.Old = fmt.Sprintf("%04d", len(log)), now, r.IntN(5) == 0
	switch r.IntN(4) {
	case 0:
		e.Train = c.Trains[r.IntN(len(c.Trains))].Code
	case 1:
		e.At = at.AddDate(0, 0, -r.IntN(2)*r.IntN(200)) // dated back
	}
	switch e.Kind {
	case Wound:
		e.Part = r.IntN(4) == 0
		seen := 10 * r.NormFloat64()
		for i, of := range []**float64{&e.ErrorFound, &e.Celsius, &e.Pressure, &e.Arc, &e.Weight, &e.Corrector} {
			if r.IntN(12) == i { // such a wind tells of more than the run
				*of = &seen
			}
		}
	case Stopped:
		e.Cause = []StopCause{RanDown, RanDown, ByHand, Fault}[r.IntN(4)]
		if r.IntN(4) == 0 {
			e.Since = e.At.Add(-time.Duration(r.IntN(300)) * time.Hour)
		}
	case Set:
		if r.IntN(2) == 0 {
			e.Change = []Date{d("2021-10-31"), d("2022-03-27"), d("2022-10-30")}[r.IntN(3)]
		}
	case Noted:
		e.Note = "seen"
		switch r.IntN(4) {
		case 0:
			e.CutFrom = e.At.Add(-time.Duration(r.IntN(90)) * time.Hour)
			if r.IntN(2) == 0 {
				e.CutTo = e.At.Add(-time.Hour)
			}
		case 1:
			e.Lock = DoNotRun
		case 2:
			e.Clears, e.By = DoNotRun, "cleo"
		}
	case Repaired:
		e.Train, e.Work, e.Fitted = "", NewBush, wear.FromMM(0.11)
		if r.IntN(2) == 0 {
			e.NewPair = wear.SteelOnBrass
		}
		e.Bearing = "centre-front"
	case Measured:
		e.Train, e.Bearing = "", "centre-front"
		gave(0.1 + 0.2*r.Float64())(&e)
	}
	if (e.Kind == Wound || e.Kind == Inspected || e.Kind == Noted) && r.IntN(4) == 0 {
		shows := 20 * float64(len(log))
		e.Meter, e.MeterNew = &shows, r.IntN(6) == 0
	}
	if len(log) > 0 && r.IntN(25) == 0 {
		e.Replaces, e.Why = log[r.IntN(len(log))].ID, "misread"
	}
	return e
}

// Logs that grow day by day at their end, in the same memory, as the desk's do:
// each answer that goes on from the one before is to the last bit the one made
// with nothing at hand, whatever was logged, dated back or corrected, and stays
// what it was as others go on from it.
func TestAgainAsTheLogGrows(t *testing.T) {
	readOn, spared := 0, 0
	for seed := range uint64(12) {
		r := rand.New(rand.NewPCG(seed, 23))
		c, _ := made(seed)
		site := fleetOf([]string{"Europe/London", "UTC", "Pacific/Auckland"}[seed%3]).Sites[0]
		now := utc("2021-08-01 07:00")
		f := Facts{Clock: c, Site: site, Model: []Model{{}, inForce()}[seed%2]}
		log := make([]Entry, 0, 400)
		var before *Assessment
		type then struct {
			a   Assessment
			now time.Time
			n   int
		}
		var kept []then
		for day := range 220 {
			now = now.Add(24 * time.Hour)
			for r.IntN(3) == 0 {
				e := nextEntry(r, c, log, now)
				if seed%4 == 3 { // that long stretches need no sorting
					e.Replaces, e.At = "", now.Add(-time.Minute)
				}
				if log = append(log, e); r.IntN(40) == 0 {
					log = append(make([]Entry, 0, 400), log...) // read anew
				}
				if r.IntN(2) == 0 {
					break
				}
			}
			if r.IntN(30) == 0 { // another asks what comes of something else
				other := Facts{Clock: c, Site: site, Model: f.Model, Before: before}
				other.Entries = append(slices.Clip(log), nextEntry(r, c, log, now))
				alone := other
				alone.Before = nil
				if got, want := Assess(other, now), Assess(alone, now); !reflect.DeepEqual(got, want) {
					t.Fatalf("seed %d, day %d, aside: %s", seed, day, unlike(want, got))
				}
			}
			f.Entries, f.Before = slices.Clone(log), nil
			cold := Assess(f, now)
			f.Entries, f.Before = log, before
			warm := Assess(f, now)
			if !reflect.DeepEqual(cold, warm) {
				t.Fatalf("seed %d, day %d, %d entries: %s", seed, day, len(log), unlike(cold, warm))
			}
			if before != nil && len(warm.Entries) > len(before.Entries) && len(before.Entries) > 0 && startsWith(warm.Entries, before.Entries) {
				readOn++
				if plainEntries(warm.Entries[len(before.Entries):]) && warm.Time.read == before.Time.read {
					spared++
				}
			}
			before = &warm
			kept = append(kept, then{warm, now, len(log)})
		}
		for _, x := range kept {
			f.Entries, f.Before = slices.Clone(log[:x.n]), nil
			if cold := Assess(f, x.now); !reflect.DeepEqual(cold, x.a) {
				t.Fatalf("seed %d: the answer of %v was changed since: %s", seed, x.now, unlike(cold, x.a))
			}
		}
	}
	if readOn < 100 {
		t.Errorf("only %d logs were read on", readOn)
	}
	if spared < 20 {
		t.Errorf("after only %d winds was the rest of a log not read again", spared)
	}
}
