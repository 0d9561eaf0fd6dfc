package db_test

import (
	"context"
	"database/sql"
	"fmt"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"endshake/db"
	"endshake/db/dbtest"
	"endshake/schedule"
)

var engines = []struct {
	name  string
	fresh func(testing.TB) string
}{{"sqlite", dbtest.SQLite}, {"postgres", dbtest.Postgres}}

// BenchmarkAppend logs readings one by one beside the bare thing: one row,
// inserted and committed, in the same kind of database. On SQLite both reach
// the disk; the private PostgreSQL of the tests does not.
func BenchmarkAppend(b *testing.B) {
	for _, engine := range engines {
		address := engine.fresh(b)
		s := fill(b, address, 1, 0)
		b.Run(engine.name+"/baseline insert and commit", func(b *testing.B) {
			driver, source := "pgx", address
			if path, ok := strings.CutPrefix(address, "sqlite:"); ok {
				driver, source = "sqlite", path+"?_pragma=synchronous(FULL)&_pragma=busy_timeout(5000)&_txlock=immediate"
			}
			d, err := sql.Open(driver, source)
			check(b, err)
			defer d.Close()
			_, err = d.Exec(`CREATE TABLE IF NOT EXISTS bare (id TEXT PRIMARY KEY, detail TEXT)`)
			check(b, err)
			for b.Loop() {
				tx, err := d.Begin()
				check(b, err)
				_, err = tx.Exec(`INSERT INTO bare (id, detail) VALUES ($1, $2)`, next(), "the same, day after day")
				check(b, err)
				check(b, tx.Commit())
			}
		})
		b.Run(engine.name+"/append", func(b *testing.B) {
			e := dbtest.Log(1, 1)[0]
			for b.Loop() {
				e.ID, e.Key = "", next()
				_, _, err := s.Append(context.Background(), "tester", dbtest.Day, e, nil)
				check(b, err)
			}
		})
	}
}

// BenchmarkAppendAll logs 10,000 entries at once, a third of them readings.
func BenchmarkAppendAll(b *testing.B) {
	for _, engine := range engines {
		b.Run(engine.name, func(b *testing.B) {
			s := fill(b, engine.fresh(b), 50, 0)
			list := dbtest.Log(50, 10000)
			for b.Loop() {
				for i := range list {
					list[i].ID, list[i].Key = next(), next()
				}
				check(b, s.AppendAll(context.Background(), "tester", dbtest.Day, list))
			}
		})
	}
}

// BenchmarkLog10000 reads a log of 10,000 entries, a third of them readings.
func BenchmarkLog10000(b *testing.B) {
	for _, engine := range engines {
		b.Run(engine.name, func(b *testing.B) {
			s := fill(b, engine.fresh(b), 50, 10000)
			for b.Loop() {
				log, err := s.Log(context.Background())
				check(b, err)
				if len(log) != 50 {
					b.Fatal(len(log))
				}
			}
		})
	}
}

// BenchmarkFleet50 reads a fleet of 50 clocks.
func BenchmarkFleet50(b *testing.B) {
	for _, engine := range engines {
		b.Run(engine.name, func(b *testing.B) {
			s := fill(b, engine.fresh(b), 50, 0)
			for b.Loop() {
				_, err := s.Fleet(context.Background())
				check(b, err)
			}
		})
	}
}

// BenchmarkMixed appends from one goroutine while four read a clock's log and
// the revision as fast as they can; it reports both rates.
func BenchmarkMixed(b *testing.B) {
	for _, engine := range engines {
		b.Run(engine.name, func(b *testing.B) {
			s := fill(b, engine.fresh(b), 50, 2000)
			var reads atomic.Int64
			ctx, stop := context.WithCancel(context.Background())
			defer stop()
			for range 4 {
				go func() {
					for ctx.Err() == nil {
						if _, err := s.Entries(ctx, "clock-7"); err == nil {
							reads.Add(1)
						}
						s.Revision(ctx)
					}
				}()
			}
			began := time.Now()
			e := dbtest.Log(1, 1)[0]
			for b.Loop() {
				e.ID, e.Key = "", next()
				_, _, err := s.Append(ctx, "tester", dbtest.Day, e, nil)
				check(b, err)
			}
			b.ReportMetric(float64(reads.Load())/time.Since(began).Seconds(), "reads/s")
		})
	}
}

var serial atomic.Int64

func next() string { return fmt.Sprintf("bench-%012d", serial.Add(1)) }

func check(b *testing.B, err error) {
	if err != nil {
		b.Helper()
		b.Fatal(err)
	}
}

// fill opens a database with a fleet of clocks and a log of n entries.
func fill(b *testing.B, address string, clocks, n int) *db.Store {
	b.Helper()
	s := dbtest.Open(b, address)
	check(b, s.SaveFleet(context.Background(), "tester", dbtest.Day, dbtest.Fleet(clocks), nil))
	var list []schedule.Entry
	if n > 0 {
		list = dbtest.Log(clocks, n)
	}
	check(b, s.AppendAll(context.Background(), "tester", dbtest.Day, list))
	return s
}
