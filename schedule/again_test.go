package schedule

import (
	"fmt"
	"maps"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"
	"time"

	"endshake/wear"
)

// asLogged is a log as it stood when so many of its entries were logged.
func asLogged(log []Entry, n int) []Entry { return append([]Entry(nil), log[:n]...) }

// With an earlier answer at hand the answer is the same to the last bit: as the
// log grows entry by entry, corrections among them, as days pass, after a
// lesson, when the clock is described otherwise, and back in time.
func TestAgain(t *testing.T) {
	models := []Model{{}, inForce(), taught()}
	for seed := range uint64(12) {
		c, log := made(seed)
		r := rand.New(rand.NewPCG(seed, 11))
		site := fleetOf([]string{"UTC", "Europe/London", "Pacific/Auckland"}[seed%3]).Sites[0]
		m, n, now := models[seed%3], len(log)/3, utc("2022-01-01 07:00")
		f := Facts{Clock: c, Site: site, Model: m}
		var before *Assessment
		took := 0
		for step := range 90 {
			what := "a day passed"
			switch k := r.IntN(12); {
			case k < 4 && n < len(log):
				n++
				what = "an entry was added"
			case k == 4 && n < len(log)-5:
				n += 5
				what = "five entries were added"
			case k == 5:
				f.Model = models[r.IntN(3)]
				what = "another model"
			case k == 6:
				now = now.Add(-time.Duration(r.IntN(300*24)) * time.Hour)
				what = "back in time"
			case k == 7:
				f.Clock.Trains = append([]wear.Train(nil), f.Clock.Trains...)
				f.Clock.Trains[0].Arbors = append([]wear.Arbor(nil), f.Clock.Trains[0].Arbors...)
				b := bush()
				b.Act = limitAt(0.3 + 0.01*float64(r.IntN(20)))
				f.Clock.Trains[0].Arbors[0].Bearings = []wear.Bearing{b}
				what = "another limit"
			default:
				now = now.Add(time.Duration(r.IntN(72)) * time.Hour)
			}
			f.Entries, f.Before = asLogged(log, n), nil
			cold := Assess(f, now)
			f.Before = before
			warm := Assess(f, now)
			if !reflect.DeepEqual(cold, warm) {
				t.Fatalf("seed %d, step %d, %s, %v: %s", seed, step, what, now, unlike(cold, warm))
			}
			if before != nil && len(warm.Entries) > 0 && len(before.Entries) > 0 && &warm.Entries[0] == &before.Entries[0] {
				took++
			}
			before = &warm
		}
		if took == 0 {
			t.Errorf("seed %d: nothing was ever taken over", seed)
		}
	}
}

// So it is day after day for clocks that are kept as real ones are: with oils
// followed, errors heard, seasons, repairs and stops. Where nothing was logged,
// what the log tells is taken over and not worked out again.
func TestAgainDayAfterDay(t *testing.T) {
	models := []Model{{}, inForce(), taught()}
	took := 0
	for i := range 6 {
		l, m := newLife(i, simSeed), models[i%3]
		l.believe()
		for n := range 2 * 365 {
			day := d("2016-01-05").Add(n)
			if n%6 == i {
				f := Facts{Clock: l.c, Site: l.site, Entries: l.log, Model: m}
				cold := Assess(f, day.At(7, 0, l.zone))
				f.Before = l.before
				warm := Assess(f, day.At(7, 0, l.zone))
				if !reflect.DeepEqual(cold, warm) {
					t.Fatalf("seed %d, clock %d, %v: %.2000s", simSeed, i, day, unlike(cold, warm))
				}
				if l.before != nil && len(warm.Entries) == len(l.before.Entries) {
					if warm.Time.read != l.before.Time.read {
						t.Fatalf("seed %d, clock %d, %v: nothing was logged, and its log was read again", simSeed, i, day)
					}
					took++
				}
			}
			l.day(day, m)
		}
	}
	if took < 100 {
		t.Errorf("on %d days only nothing was logged", took)
	}
}

// unlike names the first thing in which two assessments differ.
func unlike(a, b Assessment) string {
	x, y := reflect.ValueOf(a), reflect.ValueOf(b)
	for i := range x.NumField() {
		f := x.Type().Field(i)
		if !f.IsExported() {
			continue
		}
		if u, v := x.Field(i).Interface(), y.Field(i).Interface(); !reflect.DeepEqual(u, v) {
			return fmt.Sprintf("%s:\ncold %+v\nwarm %+v", f.Name, u, v)
		}
	}
	return "something unexported"
}

// A snapshot of another day with the earlier one at hand is as a fresh one, and
// the earlier stays as it was; so is one after another clock came first.
func TestSnapshotAgain(t *testing.T) {
	a, logA := made(3)
	b, logB := made(4)
	b.Slug = "gate-house"
	fleet := fleetOf("Europe/London", a, b)
	log := map[string][]Entry{"pump-room": logA, "gate-house": logB}
	now := utc("2025-03-01 12:00")
	first, kept := Survey(fleet, log, Model{}, now), Survey(fleet, log, Model{}, now)
	for _, m := range []Model{{}, taught()} {
		for _, later := range []time.Time{now, now.Add(30 * time.Hour), now.AddDate(-1, 0, 0)} {
			if got, want := first.Again(log, m, later), Survey(fleet, log, m, later); !reflect.DeepEqual(got, want) {
				t.Errorf("at %v the snapshot is not as a fresh one", later)
			}
		}
	}
	if !reflect.DeepEqual(first, kept) {
		t.Error("the old snapshot was changed")
	}
	turned := *first
	turned.Fleet.Clocks = []Clock{b, a}
	if got, want := turned.Again(log, Model{}, now), Survey(turned.Fleet, log, Model{}, now); !reflect.DeepEqual(got, want) {
		t.Error("clocks in another order are not as in a fresh snapshot")
	}
}

// A fleet that has changed is followed: a clock whose log grew, one that is
// described anew and one that is new are as in a fresh snapshot, and one that
// nothing befell keeps its answer.
func TestSnapshotFollowed(t *testing.T) {
	a, logA := made(3)
	b, logB := made(4)
	c, logC := made(5)
	d, logD := made(6)
	b.Slug, c.Slug, d.Slug = "gate-house", "mill", "priory"
	log := map[string][]Entry{a.Slug: logA[:len(logA)-2], b.Slug: logB, c.Slug: logC}
	now, later := utc("2025-03-01 12:00"), utc("2025-03-01 12:07")
	first := Survey(fleetOf("Europe/London", a, b, c), log, Model{}, now)
	log = maps.Clone(log)
	log[a.Slug], log[d.Slug] = logA, logD
	b.Cautions = append(slices.Clip(b.Cautions), "A wasps' nest behind the dial.")
	fleet := fleetOf("Europe/London", d, c, b, a)
	got, fresh := first.Followed(fleet, log, map[string]bool{a.Slug: true, d.Slug: true}, Model{}, later), Survey(fleet, log, Model{}, later)
	old, _ := first.Clock(c.Slug)
	fresh.Clocks[1], fresh.Now = old, now
	if !reflect.DeepEqual(got, fresh) {
		t.Error("what was followed is not as a fresh snapshot, but for the clock that nothing befell")
	}
	if got.Clocks[1].Now != now || got.Clocks[0].Now != later {
		t.Errorf("assessed at %v and %v", got.Clocks[1].Now, got.Clocks[0].Now)
	}
	if gone := got.Followed(fleetOf("Europe/London", a), log, nil, Model{}, later); len(gone.Clocks) != 1 || gone.Clocks[0].Clock.Slug != a.Slug {
		t.Errorf("%d clocks are left", len(gone.Clocks))
	}
}
