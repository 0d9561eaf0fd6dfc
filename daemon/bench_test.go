package daemon

import (
	"context"
	"database/sql"
	"fmt"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"endshake/db/dbtest"
	"endshake/schedule"
	"endshake/wear"
)

// tower is a fleet of one clock of ten bearings with twenty readings each, and
// 600 winds, as it stood on a day.
func tower() (schedule.Fleet, []schedule.Entry, time.Time) {
	from := time.Date(2011, 1, 3, 9, 0, 0, 0, time.UTC)
	train := wear.Train{Code: "going", Name: "going train", Kind: wear.Going, Drive: wear.HandWound, Reserve: 8 * 24 * time.Hour}
	log := make([]schedule.Entry, 0, 800)
	for i := range 10 {
		b := wear.Bearing{
			Code: fmt.Sprintf("b%d", i), Name: "bush", Form: wear.Bush, Shake: wear.SideShake, Pair: wear.SteelOnBrass, In: wear.Indoors,
			Load: 900, Bore: wear.FromMM(10.1), Pivot: wear.FromMM(10), Long: wear.FromMM(12), Act: &wear.Limit{Size: wear.FromMM(0.35), Source: "survey"},
		}
		train.Arbors = append(train.Arbors, wear.Arbor{Code: fmt.Sprintf("a%d", i), Name: "arbor", Revs: 1, Bearings: []wear.Bearing{b}})
		for k := range 20 {
			log = append(log, gauged(b.Code, from.AddDate(0, 0, 260*k+i), 0.11+0.006*float64(k)))
		}
	}
	for k := range 600 {
		log = append(log, schedule.Entry{Clock: "tower", Kind: schedule.Wound, At: from.AddDate(0, 0, 9*k), Source: "page"})
	}
	fleet := schedule.Fleet{
		Sites: []schedule.Site{{Slug: "yard", Name: "Yard", Zone: "Europe/London", Place: "by the gate"}},
		Clocks: []schedule.Clock{{
			Slug: "tower", Name: "Tower", Kind: schedule.Turret, Site: "yard", InCare: schedule.Date{Year: 2011, Month: 1, Day: 1}, Trains: []wear.Train{train},
		}},
	}
	return fleet, log, time.Date(2026, 1, 1, 12, 0, 0, 0, time.UTC)
}

func gauged(bearing string, at time.Time, size float64) schedule.Entry {
	return schedule.Entry{Clock: "tower", Kind: schedule.Measured, At: at, Bearing: bearing, Source: "page", Detail: schedule.Detail{
		Reading: &wear.Reading{Shake: wear.SideShake, Value: wear.FromMM(size), Gauge: wear.FromMM(0.01)},
	}}
}

// BenchmarkLog logs readings of a clock of 800 entries on SQLite, and winds,
// and both mixed as they are in that log, each checked, stored and on the disk,
// and its clock assessed anew, beside the bare thing: one row, inserted and
// committed, and a reading's bearing forecast anew.
func BenchmarkLog(b *testing.B) {
	fleet, log, now := tower()
	b.Run("baseline insert, commit and forecast", func(b *testing.B) {
		d, err := sql.Open("sqlite", filepath.Join(b.TempDir(), "bare")+"?_pragma=journal_mode(WAL)&_pragma=synchronous(FULL)&_txlock=immediate")
		must(b, err)
		defer d.Close()
		_, err = d.Exec(`CREATE TABLE bare (id INTEGER PRIMARY KEY, detail TEXT)`)
		must(b, err)
		one := lone(fleet, log, now)
		for b.Loop() {
			bare(b, d)
			if a := schedule.Assess(one, now); len(a.Outlooks) != 1 || !a.Outlooks[0].Known {
				b.Fatal(a.Problems)
			}
		}
	})
	for _, x := range []struct {
		name  string
		wound int // of so many entries
		of    int
	}{{"measured", 0, 1}, {"wound", 1, 1}, {"three wound to one measured", 3, 4}} {
		b.Run(x.name, func(b *testing.B) {
			ctx := context.Background()
			s := dbtest.Open(b, dbtest.SQLite(b))
			must(b, s.SaveFleet(ctx, "tester", now, fleet, nil))
			must(b, s.AppendAll(ctx, "tester", now, log))
			desk, err := OpenDesk(ctx, s, func() time.Time { return now })
			must(b, err)
			n := 0
			for b.Loop() {
				now = now.Add(time.Minute)
				if n++; n%10 == 0 { // that the log stays as long
					b.StopTimer()
					s = dbtest.Open(b, dbtest.SQLite(b))
					must(b, s.SaveFleet(ctx, "tester", now, fleet, nil))
					must(b, s.AppendAll(ctx, "tester", now, log))
					desk, err = OpenDesk(ctx, s, func() time.Time { return now })
					must(b, err)
					b.StartTimer()
				}
				e := gauged(fmt.Sprintf("b%d", n%10), now, 0.232)
				if n%x.of < x.wound {
					e = schedule.Entry{Clock: "tower", Kind: schedule.Wound, At: e.At, Source: "page"}
				}
				_, err := desk.Log(ctx, e)
				must(b, err)
			}
		})
	}
}

func must(b *testing.B, err error) {
	if err != nil {
		b.Helper()
		b.Fatal(err)
	}
}

func bare(b *testing.B, d *sql.DB) {
	tx, err := d.Begin()
	must(b, err)
	_, err = tx.Exec(`INSERT INTO bare (detail) VALUES ($1)`, "the same, day after day")
	must(b, err)
	must(b, tx.Commit())
}

// lone is one bearing of a fleet of one clock with its readings, and one more.
func lone(fleet schedule.Fleet, log []schedule.Entry, now time.Time) schedule.Facts {
	f := schedule.Facts{Clock: fleet.Clocks[0], Site: fleet.Sites[0]}
	train := f.Clock.Trains[0]
	train.Arbors = train.Arbors[3:4]
	f.Clock.Trains = []wear.Train{train}
	for _, e := range append(slices.Clip(log), gauged("b3", now, 0.232)) {
		if e.Bearing == "b3" {
			e.ID = fmt.Sprint(e.At)
			f.Entries = append(f.Entries, e)
		}
	}
	return f
}
