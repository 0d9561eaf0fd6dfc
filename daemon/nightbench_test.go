package daemon

import (
	"context"
	"fmt"
	"os"
	"runtime"
	"strconv"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"endshake/db/dbtest"
	"endshake/schedule"
	"endshake/wear"
)

// nightClocks is how many clocks BenchmarkNight has, ENDSHAKE_CLOCKS where that is
// set: ten thousand have two million readings, and want 12 GB and some minutes.
func nightClocks(b *testing.B) int {
	n, err := strconv.Atoi(os.Getenv("ENDSHAKE_CLOCKS"))
	if err != nil || n < 100 {
		return 300
	}
	return n
}

// BenchmarkNight is the whole work of a night on a store where three clocks in a
// hundred were measured since, by somebody else: their logs are read, all clocks
// are assessed for the new day, and what letters are owed is worked out. Beside it
// stands the plainest that a database alone can do with the same rows: one statement
// of PostgreSQL that puts a straight line through the readings of each bearing,
// takes the last winding and oiling of each clock, and writes three dues a clock.
func BenchmarkNight(b *testing.B) {
	n, ctx := nightClocks(b), context.Background()
	one, log, now := tower()
	entries := make([]schedule.Entry, 0, 300) // 200 readings, 60 winds, 40 oilings
	for i, e := range log[:260] {
		entries = append(entries, e)
		if i >= 220 {
			entries = append(entries, schedule.Entry{Clock: "tower", Kind: schedule.Oiled, At: e.At.Add(time.Hour), Source: "page"})
		}
	}
	b.Run("baseline one statement of PostgreSQL", func(b *testing.B) { nightOfPostgres(b, n, entries) })
	b.Run(fmt.Sprintf("%d clocks, 3 in a hundred changed", n), func(b *testing.B) {
		store := dbtest.Open(b, dbtest.SQLite(b))
		fleet := schedule.Fleet{Sites: one.Sites}
		for i := range n {
			c := one.Clocks[0]
			c.Slug, c.Name = "tower-"+strconv.Itoa(i), "Tower "+strconv.Itoa(i)
			fleet.Clocks = append(fleet.Clocks, c)
		}
		must(b, store.SaveFleet(ctx, "tester", now, fleet, nil))
		for at := 0; at < n; at += 500 {
			var part []schedule.Entry
			for i := at; i < min(at+500, n); i++ {
				part = append(part, of(entries, fleet.Clocks[i].Slug)...)
			}
			must(b, store.AppendAll(ctx, "tester", now, part))
		}
		desk, err := OpenDesk(ctx, store, func() time.Time { return now })
		must(b, err)
		night := 0
		for b.Loop() {
			b.StopTimer()
			now = now.AddDate(0, 0, 1)
			for i := range n * 3 / 100 {
				e := gauged(fmt.Sprintf("b%d", night%10), now.Add(-time.Hour), 0.232)
				e.Clock = fleet.Clocks[(night*n*3/100+i)%n].Slug
				_, _, err := store.Append(ctx, "another", now, e, nil)
				must(b, err)
			}
			night++
			b.StartTimer()
			if seen, err := desk.Follow(ctx); err != nil || !seen {
				b.Fatal("nothing followed: ", err)
			}
			desk.Reassess(ctx)
			if schedule.Letters(desk.Snapshot(), schedule.MailRoom{}, now); len(desk.Snapshot().Clocks) != n {
				b.Fatal("clocks are missing")
			}
		}
		var m runtime.MemStats
		runtime.GC()
		runtime.ReadMemStats(&m)
		b.ReportMetric(float64(m.HeapAlloc)/float64(n)/1e3, "kB/clock")
		runtime.KeepAlive(desk)
	})
}

// of are entries of another clock.
func of(es []schedule.Entry, clock string) []schedule.Entry {
	out := make([]schedule.Entry, len(es))
	for i, e := range es {
		e.Clock = clock
		out[i] = e
	}
	return out
}

// nightOfPostgres has the same rows in tables as narrow as they can be.
func nightOfPostgres(b *testing.B, n int, entries []schedule.Entry) {
	ctx := context.Background()
	c, err := pgx.Connect(ctx, dbtest.Postgres(b))
	must(b, err)
	defer c.Close(ctx)
	do := func(q string) {
		_, err := c.Exec(ctx, q)
		must(b, err)
	}
	do(`CREATE TABLE reading (bearing int, at int, size float8); CREATE TABLE done (clock int, kind text, at int); CREATE TABLE due (clock int, kind text, at float8)`)
	var readings, others [][]any
	for i := range n {
		for _, e := range entries {
			day := int32(e.At.Unix() / 86400)
			if e.Kind == schedule.Measured {
				k, _ := strconv.Atoi(e.Bearing[1:])
				readings = append(readings, []any{int32(i*10 + k), day, float64(e.Reading.Value) / float64(wear.Millimetre)})
			} else {
				others = append(others, []any{int32(i), string(e.Kind), day})
			}
		}
	}
	_, err = c.CopyFrom(ctx, pgx.Identifier{"reading"}, []string{"bearing", "at", "size"}, pgx.CopyFromRows(readings))
	must(b, err)
	_, err = c.CopyFrom(ctx, pgx.Identifier{"done"}, []string{"clock", "kind", "at"}, pgx.CopyFromRows(others))
	must(b, err)
	do(`CREATE INDEX ON done (clock, kind, at)`)
	do(`VACUUM ANALYZE`)
	for b.Loop() {
		tx, err := c.Begin(ctx)
		must(b, err)
		_, err = tx.Exec(ctx, `DELETE FROM due`)
		must(b, err)
		got, err := tx.Exec(ctx, `WITH line AS (SELECT bearing, regr_slope(size, at) AS rate, regr_intercept(size, at) AS began FROM reading GROUP BY bearing),
			worst AS (SELECT bearing / 10 AS clock, MIN((0.35 - began) / rate) AS at FROM line WHERE rate > 0 GROUP BY 1),
			last AS (SELECT clock, kind, MAX(at) AS at FROM done GROUP BY 1, 2)
			INSERT INTO due SELECT clock, 'bearing', at FROM worst UNION ALL SELECT clock, kind, at + CASE kind WHEN 'wound' THEN 8 ELSE 180 END FROM last`)
		must(b, err)
		must(b, tx.Commit(ctx))
		if got.RowsAffected() != int64(3*n) {
			b.Fatal(got.RowsAffected())
		}
	}
}
