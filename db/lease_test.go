package db_test

import (
	"fmt"
	"testing"
	"time"

	"endshake/db"
	"endshake/db/dbtest"
	"endshake/schedule"
)

// skewed is a service on a server, on a machine whose clock is so much ahead.
type skewed struct {
	*db.Store
	ahead time.Duration
}

func (s skewed) now() time.Time { return time.Now().Add(s.ahead) }

func newSkewed(t *testing.T, address string, ahead time.Duration) skewed {
	t.Helper()
	s := skewed{dbtest.Open(t, address), ahead}
	s.SetHost(s.now)
	return s
}

// Two services whose clocks differ by five minutes agree on when a lease is over, for
// the server's clock decides: neither takes a run or a letter while the other holds it,
// nor waits longer than the lease for it.
func TestLeasesGoByTheServersClock(t *testing.T) {
	for _, ahead := range []time.Duration{5 * time.Minute, -5 * time.Minute} {
		t.Run(ahead.String(), func(t *testing.T) {
			address := dbtest.Postgres(t)
			right, wrong := newSkewed(t, address, 0), newSkewed(t, address, ahead)
			if err := right.SaveFleet(t.Context(), "tester", dbtest.Day, dbtest.Fleet(1), nil); err != nil {
				t.Fatal(err)
			}
			const long, short = 2 * time.Minute, 500 * time.Millisecond
			for i, pair := range [][2]skewed{{right, wrong}, {wrong, right}} {
				a, b := pair[0], pair[1]
				day := schedule.Date{Year: 2026, Month: time.November, Day: 1 + i}
				claim := func(s skewed, owner string, lease time.Duration) bool {
					_, ok, err := s.ClaimRun(t.Context(), "learn", day, owner, s.now(), lease)
					if err != nil {
						t.Fatal(err)
					}
					return ok
				}
				if !claim(a, "a", short) {
					t.Fatal("what is free is not claimed")
				}
				time.Sleep(short + 100*time.Millisecond)
				if !claim(b, "b", long) {
					t.Error("a lease that is over is waited for, by another clock")
				}
				if claim(a, "a", long) {
					t.Error("a run is taken while its lease lasts, by another clock")
				}
				if err := b.FinishRun(t.Context(), "learn", day, "b", b.now(), "", nil, nil); err != nil {
					t.Error(err)
				}

				id := fmt.Sprintf("letter-%d", i)
				letter := schedule.Notice{ID: id, Key: id, Kind: schedule.DueList, Person: "keeper", From: "desk@example.org", To: "keeper@example.org",
					MessageID: "<" + id + "@example.org>", Raw: []byte("Subject: x\r\n\r\nx\r\n"), NextTry: dbtest.Day}
				if _, err := a.Owe(t.Context(), a.now(), []schedule.Notice{letter}); err != nil {
					t.Fatal(err)
				}
				letters := func(s skewed, owner string, lease time.Duration) int {
					list, err := s.ClaimNotices(t.Context(), owner, s.now(), lease, 10)
					if err != nil {
						t.Fatal(err)
					}
					return len(list)
				}
				if n := letters(a, "a", short); n != 1 {
					t.Fatalf("%d letters claimed, want one", n)
				}
				time.Sleep(short + 100*time.Millisecond)
				if n := letters(b, "b", long); n != 1 {
					t.Error("a lease of a letter that is over is waited for, by another clock")
				}
				if n := letters(a, "a", long); n != 0 {
					t.Error("a letter is taken while its lease lasts, by another clock")
				}
				sent := schedule.Outcome{State: schedule.Sent, At: b.now()}
				for _, m := range []schedule.Mark{{Notice: id, At: b.now()}, {Notice: id, Outcome: &sent}} {
					if err := b.Record(t.Context(), "b", []schedule.Mark{m})[0]; err != nil {
						t.Errorf("who holds a letter cannot hand it over: %v", err)
					}
				}
			}
		})
	}
}
