package dbtest

import (
	"fmt"
	"net/url"
	"strings"
	"sync"
	"sync/atomic"
	"testing"

	"endshake/db"
	"endshake/schedule"
)

// appendsSideBySide: eight writers over two stores, as of two processes, and a
// reader that never sees a revision without its entries.
func appendsSideBySide(t *testing.T, address string, s *db.Store) {
	withFleet(t, s, 4)
	stores := []*db.Store{s, Open(t, address)}
	const writers, each = 8, 20
	before := revision(t, s)
	var wg sync.WaitGroup
	for w := range writers {
		wg.Go(func() {
			for i := range each {
				e := measured(fmt.Sprintf("clock-%d", i%3), minutes(i), i)
				e.Key = fmt.Sprintf("%d-%d", w, i)
				if _, already, err := stores[w%2].Append(t.Context(), "tester", Day, e, nil, notice(e.Key)); err != nil || already {
					t.Errorf("writer %d: already %v, %v", w, already, err)
				}
			}
		})
	}
	var done atomic.Bool
	watched := make(chan int)
	go func() { watched <- watch(t, stores, before, &done) }()
	wg.Wait()
	done.Store(true)
	t.Logf("%d looks between %d writes", <-watched, writers*each)
	if got := revision(t, s); got != before+writers*each {
		t.Errorf("revision %d, want %d", got, before+writers*each)
	}
	for table, want := range map[string]int{"entry": writers * each, "reading": writers * each, "notice": writers * each} {
		if n := count(t, address, `SELECT count(*) FROM `+table); n != want {
			t.Errorf("%d rows in %s, want %d", n, table, want)
		}
	}
}

// watch reads the revision, then the log, again and again, and counts its looks.
func watch(t *testing.T, stores []*db.Store, before int64, done *atomic.Bool) (looks int) {
	for last := before; !done.Load(); looks++ {
		rev, err := stores[looks%2].Revision(t.Context())
		log, err2 := stores[looks%2].Log(t.Context())
		n := int64(0)
		for _, list := range log {
			n += int64(len(list))
		}
		if err != nil || err2 != nil || rev < last || n < rev-before {
			t.Errorf("revision %d after %d with %d entries: %v, %v", rev, last, n, err, err2)
			break
		}
		last = rev
	}
	return looks
}

func oneKeySideBySide(t *testing.T, address string, s *db.Store) {
	withFleet(t, s, 1)
	first, _, err := s.Append(t.Context(), "tester", Day, measured("clock-0", Day, 1), nil)
	must(t, err)
	stores := []*db.Store{s, Open(t, address)}
	var fresh, again, fixed, refused atomic.Int32
	var wg sync.WaitGroup
	for w := range 8 {
		wg.Go(func() {
			e := measured("clock-0", minutes(1), 1)
			e.Key = "one"
			switch _, already, err := stores[w%2].Append(t.Context(), "tester", Day, e, nil); {
			case err != nil:
				t.Error(err)
			case already:
				again.Add(1)
			default:
				fresh.Add(1)
			}
			e.Key, e.Replaces = "", first.ID
			switch _, _, err := stores[w%2].Append(t.Context(), "tester", Day, e, nil); schedule.CodeOf(err) {
			case schedule.Conflict:
				refused.Add(1)
			default:
				if err != nil {
					t.Error(err)
				}
				fixed.Add(1)
			}
		})
	}
	wg.Wait()
	if fresh.Load() != 1 || again.Load() != 7 || fixed.Load() != 1 || refused.Load() != 7 {
		t.Errorf("one key: %d stored, %d there already; one correction: %d stored, %d refused", fresh.Load(), again.Load(), fixed.Load(), refused.Load())
	}
}

// stopsSideBySide: two processes log a stop of one clock at the same time, each
// with a check that refuses a clock that stands. On PostgreSQL one of them comes
// in by an address that asks for an isolation under which a lock alone would not
// show what the other has just logged.
func stopsSideBySide(t *testing.T, address string, s *db.Store) {
	withFleet(t, s, 1)
	other := address
	if s.Engine() == "postgres" {
		u, err := url.Parse(address)
		must(t, err)
		q := u.Query()
		q.Set("default_transaction_isolation", "repeatable read")
		u.RawQuery = strings.ReplaceAll(q.Encode(), "+", "%20")
		other = u.String()
	}
	stores := []*db.Store{s, Open(t, other)}
	for round := range 20 {
		var stored, refused atomic.Int32
		var all sync.WaitGroup
		start := make(chan struct{})
		for _, store := range stores {
			all.Go(func() {
				<-start
				e := schedule.Entry{Clock: "clock-0", Kind: schedule.Stopped, At: minutes(2 * round), Source: "page"}
				switch _, _, err := store.Append(t.Context(), "tester", Day, e, runs); schedule.CodeOf(err) {
				case schedule.Conflict:
					refused.Add(1)
				default:
					if err != nil {
						t.Error(err)
					}
					stored.Add(1)
				}
			})
		}
		close(start)
		all.Wait()
		if stored.Load() != 1 || refused.Load() != 1 {
			t.Fatalf("round %d: %d stops stored, %d refused; want one each", round, stored.Load(), refused.Load())
		}
		_, _, err := s.Append(t.Context(), "tester", Day, schedule.Entry{Clock: "clock-0", Kind: schedule.Started, At: minutes(2*round + 1)}, nil)
		must(t, err)
	}
}

// runs refuses a clock that stands at the end of its log.
func runs(log []schedule.Entry) error {
	if len(log) > 0 && log[len(log)-1].Kind == schedule.Stopped {
		return &schedule.Error{Code: schedule.Conflict, Field: "kind", Message: "the clock stands already"}
	}
	return nil
}

// fleetSideBySide: a description that may not drop a bearing with readings, and
// a reading that may not name a bearing that is gone. One of them gives way.
func fleetSideBySide(t *testing.T, address string, s *db.Store) {
	other := Open(t, address)
	for round := range 20 {
		clock := fmt.Sprintf("clock-%d", 4*round) // one with trains
		bare := sampleClock(4 * round)
		full := schedule.Fleet{Sites: Fleet(0).Sites, People: Fleet(0).People, Clocks: []schedule.Clock{bare}}
		must(t, s.SaveFleet(t.Context(), "tester", Day, full, nil))
		bare.Trains = nil
		var all sync.WaitGroup
		start := make(chan struct{})
		var saved, logged error
		all.Go(func() {
			<-start
			saved = s.SaveFleet(t.Context(), "tester", Day, schedule.Fleet{Clocks: []schedule.Clock{bare}},
				func(_ schedule.Fleet, log map[string][]schedule.Entry) error {
					if len(log[clock]) > 0 {
						return &schedule.Error{Code: schedule.Conflict, Message: "the bearing has readings"}
					}
					return nil
				})
		})
		all.Go(func() {
			<-start
			_, _, logged = other.Append(t.Context(), "tester", Day, measured(clock, Day, 1), nil)
		})
		close(start)
		all.Wait()
		must(t, logged)
		rows, err := s.Audit(t.Context(), 2)
		must(t, err)
		if saved == nil && rows[0].Action != "logged" {
			t.Errorf("round %d: the bearing went although its reading came first: %s, then %s", round, rows[1].Subject, rows[0].Subject)
		}
		if saved != nil {
			wantCode(t, saved, schedule.Conflict)
		}
	}
}
