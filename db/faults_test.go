package db_test

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math/rand/v2"
	"net"
	"reflect"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5/pgconn"

	"endshake/db"
	"endshake/db/dbtest"
	"endshake/schedule"
)

// described is a store with one clock, through a line that can be spoiled, and one
// beside it.
func described(t *testing.T) (p *dbtest.Proxy, spoiled, beside *db.Store) {
	t.Helper()
	address := dbtest.Postgres(t)
	beside = dbtest.Open(t, address)
	if err := beside.SaveFleet(t.Context(), "tester", dbtest.Day, dbtest.Fleet(1), nil); err != nil {
		t.Fatal(err)
	}
	p = dbtest.NewProxy(t, address)
	return p, dbtest.Open(t, p.Address), beside
}

// noted is an entry of that clock, under a key.
func noted(key string) schedule.Entry {
	return schedule.Entry{Clock: "clock-0", Kind: schedule.Noted, At: dbtest.Day, Note: key, Source: "test", Key: key}
}

// once sees that each key was logged once, and that the audit says so once.
func once(t *testing.T, s *db.Store, keys ...string) {
	t.Helper()
	all, err := s.Entries(t.Context(), "clock-0")
	if err != nil {
		t.Fatal(err)
	}
	times := map[string]int{}
	for _, e := range all {
		times[e.Key]++
	}
	for _, k := range keys {
		if times[k] != 1 {
			t.Errorf("%s is logged %d times, want once", k, times[k])
		}
	}
	rows, err := s.Audit(t.Context(), 10000)
	if err != nil {
		t.Fatal(err)
	}
	logged := 0
	for _, r := range rows {
		if r.Action == "logged" {
			logged++
		}
	}
	if logged != len(all) {
		t.Errorf("the audit tells of %d entries, and %d are logged", logged, len(all))
	}
}

// A commit whose answer is lost is settled by its key: the entry is there once,
// and who logged it is told so. Without a key nobody can know, and the error says that.
func TestCommitAnswerLost(t *testing.T) {
	p, s, beside := described(t)
	p.LoseCommits(1)
	stored, _, err := s.Append(t.Context(), "tester", dbtest.Day, noted("k"), nil)
	if err != nil || stored.Key != "k" || p.Lost() != 1 {
		t.Errorf("with a key: %q, %v, %d answers lost", stored.Key, err, p.Lost())
	}
	once(t, beside, "k")

	p.LoseCommits(1)
	if n, err := s.Owe(t.Context(), dbtest.Day, []schedule.Notice{{Key: "n", Kind: schedule.DueList, From: "a@example.org", To: "b@example.org"}}); err != nil || p.Lost() != 2 {
		t.Errorf("a notice: %d, %v", n, err)
	}
	if c, err := beside.NoticeCounts(t.Context()); err != nil || c[schedule.Owed] != 1 {
		t.Errorf("owed: %v, %v; want it once", c, err)
	}

	p.LoseCommits(1)
	_, _, err = s.Append(t.Context(), "tester", dbtest.Day, noted(""), nil)
	if !db.Unsettled(err) || !db.Passing(err) || !strings.Contains(err.Error(), "do it once more") {
		t.Errorf("without a key: %v", err)
	}
	p.LoseCommits(1)
	es := []schedule.Entry{noted("c 1"), noted("c 2")}
	_, err = s.AppendTogether(t.Context(), "tester", dbtest.Day, es, nil, func(map[string][]schedule.Entry, []schedule.Entry) error { return nil })
	if err != nil {
		t.Errorf("a card: %v", err)
	}
	all, err := beside.Entries(t.Context(), "clock-0")
	if err != nil || len(all) != 4 {
		t.Errorf("%d entries, %v; want four", len(all), err)
	}
}

// A server that ends a connection amid a transaction has it run again, whole.
func TestBackendTerminated(t *testing.T) {
	_, s, beside := described(t)
	runs := 0
	err := s.Write(t.Context(), "be ended", func(tx *sql.Tx) error {
		runs++
		if _, err := tx.ExecContext(t.Context(), `UPDATE clock SET note = note || 'x' WHERE slug = 'clock-0'`); err != nil || runs > 1 {
			return err
		}
		var pid int
		if err := tx.QueryRowContext(t.Context(), `SELECT pg_backend_pid()`).Scan(&pid); err != nil {
			return err
		}
		err := beside.Write(t.Context(), "end it", func(other *sql.Tx) error {
			_, err := other.ExecContext(t.Context(), `SELECT pg_terminate_backend($1, 5000)`, pid)
			return err
		})
		if err != nil {
			return err
		}
		_, err = tx.ExecContext(t.Context(), `SELECT 1`)
		return err
	})
	f, other := beside.Fleet(t.Context())
	if err != nil || other != nil || runs != 2 || f.Clocks[0].Note != "flatbedx" {
		t.Errorf("%v after %d runs, note %q, %v; want it done once, by the second", err, runs, f.Clocks[0].Note, other)
	}
}

// A server that crashes amid work loses nothing that it acknowledged, and is used
// again once it is back.
func TestServerKilledAmidWork(t *testing.T) {
	server := dbtest.OwnServer(t, "fsync=on", "full_page_writes=on")
	s := dbtest.Open(t, server.Address)
	if err := s.SaveFleet(t.Context(), "tester", dbtest.Day, dbtest.Fleet(1), nil); err != nil {
		t.Fatal(err)
	}
	keys := make(chan string, 1000)
	ctx, stop := context.WithCancel(t.Context())
	var work sync.WaitGroup
	for w := range 3 {
		work.Go(func() {
			for i := 0; ctx.Err() == nil; i++ {
				key := fmt.Sprintf("%d-%d", w, i)
				for ctx.Err() == nil {
					_, _, err := s.Append(ctx, "tester", dbtest.Day, noted(key), nil)
					if err == nil {
						keys <- key
						break
					}
					if !db.Passing(err) && ctx.Err() == nil {
						t.Errorf("%s: %v is not seen to pass", key, err)
					}
					time.Sleep(20 * time.Millisecond)
				}
			}
		})
	}
	var acked []string
	more := func(n int) {
		for range n {
			acked = append(acked, <-keys)
		}
	}
	more(30)
	server.Kill()
	if err := s.Ready(t.Context()); err == nil || !db.Passing(err) {
		t.Errorf("with the server killed: %v", err)
	}
	began := time.Now()
	server.Start()
	more(30)
	t.Logf("back and logging %v after the start", time.Since(began).Round(10*time.Millisecond))
	stop()
	work.Wait()
	close(keys)
	for k := range keys {
		acked = append(acked, k)
	}
	if err := s.Ready(t.Context()); err != nil {
		t.Error(err)
	}
	once(t, s, acked...)
}

// Two stores that together want more connections than the server has queue for
// them, and neither fails.
func TestTooManyConnections(t *testing.T) {
	server := dbtest.OwnServer(t, "max_connections=8", "superuser_reserved_connections=0")
	first := dbtest.Open(t, withSetting(t, server.Address, "pool_max_conns", "4"))
	if err := first.SaveFleet(t.Context(), "tester", dbtest.Day, dbtest.Fleet(1), nil); err != nil {
		t.Fatal(err)
	}
	second := dbtest.Open(t, withSetting(t, server.Address, "pool_max_conns", "4"))
	var keys []string
	var work sync.WaitGroup
	for i := range 60 {
		key := fmt.Sprint("p ", i)
		keys = append(keys, key)
		work.Go(func() {
			s := first
			if i%2 == 1 {
				s = second
			}
			if _, _, err := s.Append(t.Context(), "tester", dbtest.Day, noted(key), nil); err != nil {
				t.Error(err)
			}
		})
	}
	work.Wait()
	once(t, first, keys...)
	if first.Waited() == 0 && second.Waited() == 0 {
		t.Error("nobody is said to have waited, with 60 at 8 places")
	}
	_, err := db.Open(t.Context(), withSetting(t, server.Address, "pool_max_conns", "none"))
	wantSentence(t, err, "cannot be read")
}

// A server that only reads is said to take no changes; what it holds can be read.
func TestReadOnlyServer(t *testing.T) {
	_, _, beside := described(t)
	address := addressOf(t, beside)
	s, err := db.Open(t.Context(), withSetting(t, address, "default_transaction_read_only", "on"))
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if err := s.Ready(t.Context()); !errors.Is(err, db.ErrReadOnly) {
		t.Errorf("asked whether it is ready: %v", err)
	}
	if _, _, err := s.Append(t.Context(), "tester", dbtest.Day, noted("k"), nil); !db.Passing(err) {
		t.Errorf("logging: %v", err)
	}
	if f, err := s.Fleet(t.Context()); err != nil || len(f.Clocks) != 1 {
		t.Errorf("reading: %d clocks, %v", len(f.Clocks), err)
	}
}

// addressOf asks a store where it is: its database on the server of the tests.
func addressOf(t *testing.T, s *db.Store) string {
	t.Helper()
	var name, dir string
	err := s.Write(t.Context(), "ask", func(tx *sql.Tx) error {
		return tx.QueryRowContext(t.Context(), `SELECT current_database(), split_part(current_setting('unix_socket_directories'), ',', 1)`).Scan(&name, &dir)
	})
	if err != nil {
		t.Fatal(err)
	}
	return "postgres://postgres@localhost/" + name + "?host=" + dir
}

// A server whose disk is full says so by this SQLSTATE (PostgreSQL manual, appendix
// A); nothing is kept, and it goes on by itself once there is room. A trigger
// raises it here: a disk cannot be filled by whoever runs the tests.
func TestServerDiskFull(t *testing.T) {
	_, s, beside := described(t)
	change := func(text string) {
		t.Helper()
		if err := beside.Write(t.Context(), "change", func(tx *sql.Tx) error { _, err := tx.ExecContext(t.Context(), text); return err }); err != nil {
			t.Fatal(err)
		}
	}
	change(`CREATE FUNCTION full_up() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RAISE EXCEPTION 'could not extend file' USING ERRCODE = '53100'; END $$`)
	change(`CREATE TRIGGER full_up BEFORE INSERT ON audit FOR EACH ROW EXECUTE FUNCTION full_up()`)
	_, _, err := s.Append(t.Context(), "tester", dbtest.Day, noted("k"), nil)
	if !db.Passing(err) || !strings.Contains(err.Error(), "make room") {
		t.Errorf("with a full disk: %v", err)
	}
	if all, err := beside.Entries(t.Context(), "clock-0"); err != nil || len(all) != 0 {
		t.Errorf("%d entries are half there, %v", len(all), err)
	}
	change(`DROP TRIGGER full_up ON audit`)
	if _, _, err := s.Append(t.Context(), "tester", dbtest.Day, noted("k"), nil); err != nil {
		t.Errorf("with room again: %v", err)
	}
	once(t, beside, "k")
}

// Transactions that lose time and again are given up after five tries.
func TestSerializationFailures(t *testing.T) {
	_, s, _ := described(t)
	runs := 0
	err := s.Write(t.Context(), "lose", func(tx *sql.Tx) error {
		runs++
		_, err := tx.ExecContext(t.Context(), `DO $$ BEGIN RAISE EXCEPTION 'lost' USING ERRCODE = '40001'; END $$`)
		return err
	})
	if pg, ok := errors.AsType[*pgconn.PgError](err); !ok || pg.Code != "40001" || runs != db.Tries || !db.Passing(err) {
		t.Errorf("%d runs, %v; want %d and the server's word", runs, err, db.Tries)
	}
}

// What takes too long is ended by the server, and told as what may go through later.
func TestSlowStatement(t *testing.T) {
	_, _, beside := described(t)
	s := dbtest.Open(t, withSetting(t, addressOf(t, beside), "statement_timeout", "50"))
	err := s.Write(t.Context(), "wait", func(tx *sql.Tx) error { _, err := tx.ExecContext(t.Context(), `SELECT pg_sleep(20)`); return err })
	if pg, ok := errors.AsType[*pgconn.PgError](err); !ok || pg.Code != "57014" || !db.Passing(err) {
		t.Errorf("a statement of 20 s where 50 ms are allowed: %v", err)
	}
}

// A server that sorts letters in another order, and keeps another time, gives the
// same answers.
func TestOtherCollationAndZone(t *testing.T) {
	address := dbtest.Postgres(t)
	d, err := sql.Open("pgx", address)
	if err != nil {
		t.Fatal(err)
	}
	defer d.Close()
	const name = "endshake_swedish"
	if _, err := d.Exec(`CREATE DATABASE ` + name + ` TEMPLATE template0 LOCALE_PROVIDER icu ICU_LOCALE 'sv-u-kn-true' LOCALE 'C.UTF-8'`); err != nil {
		t.Fatal(err)
	}
	defer d.Exec(`DROP DATABASE ` + name + ` WITH (FORCE)`)
	before, after, _ := strings.Cut(address, "?")
	swedish := withSetting(t, before[:strings.LastIndex(before, "/")]+"/"+name+"?"+after, "TimeZone", "Asia/Kathmandu")
	var all [2]map[string][]schedule.Entry
	var fleets [2]schedule.Fleet
	for i, at := range []string{swedish, dbtest.SQLite(t)} {
		s := dbtest.Open(t, at)
		if err := s.SaveFleet(t.Context(), "tester", dbtest.Day, dbtest.Fleet(12), nil); err != nil {
			t.Fatal(err)
		}
		if err := s.AppendAll(t.Context(), "tester", dbtest.Day, dbtest.Log(12, 200)); err != nil {
			t.Fatal(err)
		}
		if fleets[i], err = s.Fleet(t.Context()); err != nil {
			t.Fatal(err)
		}
		if all[i], err = s.Log(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	if !reflect.DeepEqual(all[0], all[1]) || !reflect.DeepEqual(fleets[0], fleets[1]) {
		t.Error("the fleet or its log comes out otherwise where letters and time are kept otherwise")
	}
}

// A line of which the other end is gone without a word, or that swallows all, ends
// a wait with the caller's time; the next one goes over a new line.
func TestSwallowedLine(t *testing.T) {
	p, s, beside := described(t)
	p.Swallow()
	ctx, cancel := context.WithTimeout(t.Context(), 300*time.Millisecond)
	defer cancel()
	_, _, err := s.Append(ctx, "tester", dbtest.Day, noted("k"), nil)
	if !errors.Is(err, context.DeadlineExceeded) || !db.Passing(err) {
		t.Errorf("logged over a dead line: %v", err)
	}
	p.Carry()
	p.Cut()
	if _, _, err := s.Append(t.Context(), "tester", dbtest.Day, noted("k"), nil); err != nil {
		t.Errorf("once the line is back: %v", err)
	}
	once(t, beside, "k")
}

// A server that takes connections and then hangs is not waited for without end,
// though nobody sets a time: an answer is due soon after the server's own limit.
func TestHungServer(t *testing.T) {
	wait := db.AnswerWait("1000")
	if wait < time.Second || wait > time.Minute || db.AnswerWait("30000") > time.Minute || db.AnswerWait("0") != 0 {
		t.Errorf("an answer may take %v, %v", wait, db.AnswerWait("30000"))
	}
	near, far := net.Pipe()
	defer far.Close()
	l := db.NewLine(near, 50*time.Millisecond)
	if _, err := l.Read(make([]byte, 1)); err == nil || !db.Passing(err) || errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("nothing was said: %v", err)
	}
	if _, err := l.Read(make([]byte, 1)); err == nil {
		t.Error("the line is used on after an answer was missed")
	}
	// Whoever sets a time of their own has that.
	near, far2 := net.Pipe()
	defer far2.Close()
	l = db.NewLine(near, time.Millisecond)
	_ = l.SetDeadline(time.Now().Add(100 * time.Millisecond))
	go func() { time.Sleep(20 * time.Millisecond); _, _ = far2.Write([]byte("a")) }()
	if n, err := l.Read(make([]byte, 1)); n != 1 || err != nil {
		t.Errorf("within the user's own time: %d bytes, %v", n, err)
	}
}

// Two hundred cuts at random moments of two lines lose nothing that was
// acknowledged and double nothing; a run of a job has one owner at a time.
func TestFlappingLine(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	random := rand.New(rand.NewPCG(seed, 0))
	p, first, beside := described(t)
	q := dbtest.NewProxy(t, addressOf(t, beside))
	second := dbtest.Open(t, q.Address)
	ctx, stop := context.WithCancel(t.Context())
	var mu sync.Mutex
	var acked []string
	runs := map[string]int{}
	progress := make(chan bool, 1) // something was acknowledged
	var work sync.WaitGroup
	for w, s := range []*db.Store{first, second, first, second} {
		work.Go(func() {
			owner := fmt.Sprint("owner ", w)
			for i := 0; ctx.Err() == nil; i++ {
				key := fmt.Sprintf("%d-%d", w, i)
				for ctx.Err() == nil {
					if _, _, err := s.Append(ctx, "tester", dbtest.Day, noted(key), nil); err == nil {
						mu.Lock()
						acked = append(acked, key)
						mu.Unlock()
						select {
						case progress <- true:
						default:
						}
						break
					}
				}
				day := schedule.DateOf(dbtest.Day, time.UTC).Add(i)
				if _, ok, err := s.ClaimRun(ctx, "learn", day, owner, dbtest.Day, time.Hour); err == nil && ok {
					mu.Lock()
					runs[day.String()]++
					mu.Unlock()
				}
			}
		})
	}
	cut := 0
	for range 200 {
		<-progress
		time.Sleep(time.Duration(random.IntN(15)) * time.Millisecond)
		if random.IntN(4) == 0 {
			[]*dbtest.Proxy{p, q}[random.IntN(2)].LoseCommits(1)
			continue
		}
		cut += []*dbtest.Proxy{p, q}[random.IntN(2)].Cut()
	}
	stop()
	work.Wait()
	once(t, beside, acked...)
	for day, n := range runs {
		if n != 1 {
			t.Errorf("the run of %s was claimed %d times", day, n)
		}
	}
	t.Logf("%d lines cut, %d answers to commits lost, %d entries acknowledged, %d runs claimed", cut, p.Lost()+q.Lost(), len(acked), len(runs))
	if cut == 0 || p.Lost()+q.Lost() == 0 || len(acked) == 0 || len(runs) == 0 {
		t.Error("nothing was cut, lost or logged: the test shows nothing")
	}
}

// A service that is cut off while it holds a run is overtaken once its lease is
// over, and cannot end the run when it is back. Another's clock may go five minutes
// before or after: a lease lasts longer.
func TestCutOffOwner(t *testing.T) {
	p, cutOff, other := described(t)
	day, lease := schedule.DateOf(dbtest.Day, time.UTC), 10*time.Minute
	now := dbtest.Day
	if _, ok, err := cutOff.ClaimRun(t.Context(), "learn", day, "a", now, lease); err != nil || !ok {
		t.Fatal(ok, err)
	}
	p.Refuse()
	p.Cut()
	for _, skew := range []time.Duration{-5 * time.Minute, 5 * time.Minute} {
		if _, ok, err := other.ClaimRun(t.Context(), "learn", day, "b", now.Add(skew), lease); err != nil || ok {
			t.Errorf("claimed by a clock that differs by %v: %v, %v", skew, ok, err)
		}
	}
	if err := cutOff.FinishRun(t.Context(), "learn", day, "a", now, "late", nil, nil); !db.Passing(err) {
		t.Errorf("ended over a line that is cut: %v", err)
	}
	after := now.Add(lease + time.Second)
	if attempt, ok, err := other.ClaimRun(t.Context(), "learn", day, "b", after, lease); err != nil || !ok || attempt != 2 {
		t.Errorf("after the lease: attempt %d, %v, %v", attempt, ok, err)
	}
	p.Carry()
	if err := cutOff.FinishRun(t.Context(), "learn", day, "a", after, "late", nil, nil); schedule.CodeOf(err) != schedule.Conflict {
		t.Errorf("ended by who was overtaken: %v", err)
	}
	if err := other.FinishRun(t.Context(), "learn", day, "b", after, "done", nil, nil); err != nil {
		t.Error(err)
	}
}

// A second service on one file is refused; a command is not, and once the first
// has ended the next is let in.
func TestOneServiceOnOneFile(t *testing.T) {
	address := dbtest.SQLite(t)
	first, second := dbtest.Open(t, address), dbtest.Open(t, address)
	release, err := first.HoldFile()
	if err != nil {
		t.Fatal(err)
	}
	_, err = second.HoldFile()
	wantSentence(t, err, "another endshake serves")
	if err := second.SaveFleet(t.Context(), "command", dbtest.Day, dbtest.Fleet(1), nil); err != nil {
		t.Errorf("a command beside it: %v", err)
	}
	if err := release(); err != nil {
		t.Fatal(err)
	}
	if release, err = second.HoldFile(); err != nil {
		t.Fatal(err)
	}
	release()
}

// What is copied in may come slower than an idle transaction may last.
func TestCopyInWaits(t *testing.T) {
	address := dbtest.Postgres(t)
	sign := "?"
	if strings.Contains(address, "?") {
		sign = "&"
	}
	s := dbtest.Open(t, address+sign+"idle_in_transaction_session_timeout=100")
	err := s.CopyIn(t.Context(), "test", dbtest.Day, func(*db.Incoming) (string, error) {
		time.Sleep(time.Second)
		return "nothing", nil
	})
	if err != nil {
		t.Error(err)
	}
}
