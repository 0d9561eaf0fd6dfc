package daemon

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"reflect"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"endshake/db"
	"endshake/db/dbtest"
	"endshake/schedule"
)

// beside starts another daemon on the database of a house, with the same sink.
func (h *house) beside(smtp string) *house {
	h.t.Helper()
	other := &house{t: h.t, dir: h.dir, sink: h.sink}
	now := h.clock()
	other.now.Store(&now)
	other.start(other.options(smtp))
	return other
}

// has reports whether a daemon shows an entry by its note.
func (h *house) has(note string) bool {
	for _, e := range h.assessment("moot-hall").Entries {
		if e.Note == note {
			return true
		}
	}
	return false
}

// Two daemons on one PostgreSQL do each job and send each letter once, and each
// shows what the other logs, fleet and lesson too.
func TestTwoDaemonsOnOneDatabase(t *testing.T) {
	h, smtp := furnish(t, dbtest.Postgres(t), "2026-11-25 10:00", func(*schedule.Fleet) {}, append(wound(t, "2018-01-01 09:00", "2026-11-23 09:00"),
		reading(t, "2020-01-10 10:00", 0.30), reading(t, "2023-01-10 10:00", 0.58), reading(t, "2026-06-10 10:00", 0.86))...)
	h.start(h.options(smtp))
	other := h.beside(smtp)
	const letters = 4 // three due-lists and a reminder
	h.settled(letters)
	h.log("moot-hall", "noted", map[string]string{"note": "said to the first"})
	until(t, "the second shows what was said to the first", func() bool { return other.has("said to the first") })
	other.log("moot-hall", "noted", map[string]string{"note": "said to the second"})
	until(t, "the first shows what was said to the second", func() bool { return h.has("said to the second") })

	// The jobs of a night and the letters of a day, with both awake at once.
	for _, when := range []string{"2026-11-26 05:00", "2026-12-01 08:00"} {
		h.set(when)
		other.set(when)
		done := make(chan bool)
		go func() { other.runner.Wake(context.Background()); close(done) }()
		h.runner.Wake(context.Background())
		<-done
		h.drain()
		other.drain()
	}
	runs, err := h.store.Runs(t.Context(), 100)
	if err != nil {
		t.Fatal(err)
	}
	attempts := 0
	for _, r := range runs {
		if r.Occurrence.Year > 1970 && r.State == db.RunDone {
			attempts++
			if r.Attempt != 1 {
				t.Errorf("%s of %v was begun %d times", r.Job, r.Occurrence, r.Attempt)
			}
		}
	}
	if attempts < 4 {
		t.Errorf("%d runs are done, want those of two jobs on two nights at least: %+v", attempts, runs)
	}
	until(t, "all letters are sent", func() bool {
		c, err := h.store.NoticeCounts(t.Context())
		return err == nil && c[schedule.Sent] > letters && c[schedule.Owed]+c[schedule.Sending] == 0
	})
	h.stop()
	other.stop()
	times := map[string]int{}
	for _, a := range h.sink.Arrivals() {
		for line := range strings.Lines(string(a.Raw)) {
			if id, ok := strings.CutPrefix(line, "Message-Id: "); ok {
				times[id]++
			} else if id, ok := strings.CutPrefix(line, "Message-ID: "); ok {
				times[id]++
			}
		}
	}
	if len(times) <= letters {
		t.Errorf("%d letters arrived", len(times))
	}
	for id, n := range times {
		if n != 1 {
			t.Errorf("letter %s arrived %d times", strings.TrimSpace(id), n)
		}
	}
}

// What others change is followed as it is told, and as well where nothing is told:
// when it is next looked for. Both loops stop when they are told.
func TestFollowsWithAndWithoutBeingTold(t *testing.T) {
	address := dbtest.Postgres(t)
	h, _ := furnish(t, address, "2026-11-25 10:00", func(*schedule.Fleet) {})
	t.Cleanup(func() { _ = h.sink.Stop(context.Background()) })
	proxy := dbtest.NewProxy(t, address)
	ours, theirs, lineOfTold := dbtest.Open(t, address), dbtest.Open(t, address), dbtest.Open(t, proxy.Address)
	log := slog.New(slog.DiscardHandler)
	desk, err := OpenDesk(t.Context(), ours, h.clock)
	if err != nil {
		t.Fatal(err)
	}
	other, err := OpenDesk(t.Context(), theirs, h.clock)
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	told, heard := make(chan struct{}, 1), make(chan struct{}, 100)
	f := follower{desk: desk, pulse: newPulse(ours.Ready, h.clock, log, func() {}), log: log}
	watching, listening := make(chan struct{}), make(chan struct{})
	go func() { defer close(watching); f.watch(ctx, told) }()
	go func() {
		defer close(listening)
		listen(ctx, lineOfTold, func() { poke(told); heard <- struct{}{} }, log)
	}()
	<-heard // it listens
	n := 0
	change := func() {
		t.Helper()
		n++
		e := schedule.Entry{Clock: "moot-hall", Kind: schedule.Noted, At: h.clock(), Note: fmt.Sprint("note ", n), Source: "command"}
		if _, err := other.Log(t.Context(), e); err != nil {
			t.Fatal(err)
		}
	}
	shows := func() bool { a, _ := desk.Snapshot().Clock("moot-hall"); return len(a.Entries) == n }
	for range 3 {
		change()
		until(t, "followed as it was told", shows)
		<-heard // it was told, and not only looked for
	}
	proxy.Refuse()
	proxy.Cut()
	for range 3 {
		change()
		until(t, "followed as it was looked for", shows)
	}
	if len(heard) > 0 {
		t.Error("it was told over a line that is cut")
	}
	proxy.Carry()
	<-heard // over a new line
	change()
	until(t, "followed as it was told over a new line", shows)
	stop()
	<-watching
	<-listening
}

// The embedded database tells nothing, and the loop that would listen ends.
func TestNobodyTellsOfAFile(t *testing.T) {
	s := dbtest.Open(t, dbtest.SQLite(t))
	listen(t.Context(), s, func() { t.Error("told") }, slog.New(slog.DiscardHandler))
}

// tellerFunc is a teller.
type tellerFunc func(ctx context.Context, told func()) error

func (f tellerFunc) Listen(ctx context.Context, told func()) error { return f(ctx, told) }

// A line that breaks is begun again after a rest that grows to half a minute, and
// is short again once it held; the loop stops within a rest.
func TestListenRests(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var at []time.Time
		ctx, cancel := context.WithCancel(t.Context())
		ended := make(chan struct{})
		go func() {
			defer close(ended)
			listen(ctx, tellerFunc(func(_ context.Context, told func()) error {
				at = append(at, time.Now())
				if len(at) == 12 {
					told()
				}
				return errors.New("lost")
			}), func() {}, slog.New(slog.DiscardHandler))
		}()
		time.Sleep(6 * time.Minute)
		cancel()
		<-ended
		longest := time.Duration(0)
		for i := 1; i < len(at); i++ {
			longest = max(longest, at[i].Sub(at[i-1]))
		}
		if len(at) < 13 || longest > lastListen || longest < lastListen/2 || at[12].Sub(at[11]) > firstListen {
			t.Errorf("tried at %v", at)
		}
	})
}

// As many probes as anybody sends ask the database nothing.
func TestReadyAsksNothing(t *testing.T) {
	h := open(t, "2026-11-25 10:00")
	h.settled(3)
	p := newPulse(func(context.Context) error { t.Error("the database was asked"); return nil }, h.clock, h.o.Log, func() {})
	probe := readyz(h.desk, p, h.Daemon.clock)
	for _, tt := range []struct {
		is   stood
		code int
		says string
	}{
		{stood{answers: true, takes: true}, http.StatusOK, "ready"},
		{stood{answers: true}, http.StatusServiceUnavailable, "takes no changes"},
		{stood{answers: true, newer: true}, http.StatusServiceUnavailable, "newer than this endshake knows"},
		{stood{}, http.StatusServiceUnavailable, "does not answer"},
	} {
		p.state.Store(&tt.is)
		w := httptest.NewRecorder()
		probe(w, httptest.NewRequest(http.MethodGet, "/readyz", nil))
		if w.Code != tt.code || !strings.Contains(w.Body.String(), tt.says) {
			t.Errorf("%+v: %d %s", tt.is, w.Code, w.Body)
		}
		// What goes wrong by itself is ours, however the database stands.
		if passing, _ := p.Passing(errors.New("a bad template")); passing {
			t.Errorf("%+v: a fault of ours passes", tt.is)
		}
		if passing, _ := p.Passing(fmt.Errorf("log: %w", errAway)); !passing {
			t.Errorf("%+v: what was not asked does not pass", tt.is)
		}
	}
}

// A daemon whose database another has brought to a newer schema is not ready, takes
// nothing, writes and sends nothing, and leaves the database as it is; it goes on by
// itself where that is taken back.
func TestSchemaBecomesNewer(t *testing.T) {
	for name, fresh := range map[string]func(testing.TB) string{"sqlite": dbtest.SQLite, "postgres": dbtest.Postgres} {
		t.Run(name, func(t *testing.T) {
			address := fresh(t)
			h := openOn(t, address, "2026-11-25 10:00", wound(t, "2026-10-01 09:00", "2026-11-23 09:00")...)
			h.settled(3)
			fields, _ := formOf(t, h.page("/clock/moot-hall/log?kind=noted"))
			raw(t, address, `INSERT INTO goose_db_version (version_id, is_applied) SELECT max(version_id) + 1, true FROM goose_db_version`)
			until(t, "it is not ready", func() bool {
				code, body := h.get("/readyz")
				return code == http.StatusServiceUnavailable && strings.Contains(body, "newer than this endshake knows")
			})
			before, err := h.store.Sums(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			h.set("2026-12-01 08:00") // letters are due
			h.work(context.Background())
			if _, err := h.sender.Drain(context.Background()); err != nil {
				t.Error(err)
			}
			fields.Set("note", "nobody is to keep this")
			if r, err := h.http.PostForm("http://"+h.Addr()+"/clock/moot-hall/log?kind=noted", fields); err != nil || r.StatusCode != http.StatusServiceUnavailable {
				t.Errorf("a form is answered %v, %v", r, err)
			}
			if code, _ := h.get("/clock/moot-hall"); code != http.StatusOK {
				t.Errorf("the clock's page: %d", code)
			}
			after, err := h.store.Sums(t.Context())
			if err != nil || !maps.Equal(before, after) {
				t.Errorf("it changed something: %v", err)
			}
			raw(t, address, `DELETE FROM goose_db_version WHERE version_id = (SELECT max(version_id) FROM goose_db_version)`)
			until(t, "it is ready again", func() bool {
				h.desk.Reassess(t.Context()) // else it comes with the next minute
				code, _ := h.get("/readyz")
				return code == http.StatusOK
			})
		})
	}
}

// The look before the minute's letters finds an older database before what follows
// changes does: none is written, none that waits is sent, and the mark stays.
func TestMarkNeverGoesDown(t *testing.T) {
	h := open(t, "2026-11-25 10:00", wound(t, "2026-10-01 09:00", "2026-11-23 09:00")...)
	h.settled(3)
	d, log := heardAfter(t, h, func(d *Daemon) {
		if err := d.keepMark(t.Context()); err != nil {
			t.Fatal(err)
		}
		raw(t, h.dir+"/endshake.db", `DROP TRIGGER audit_no_delete`, `DELETE FROM audit WHERE id = (SELECT max(id) FROM audit)`, `UPDATE revision SET n = n - 1`)
		d.work(context.Background())
	})
	if !d.wentBack.Load() || d.runner.letters != nil || !strings.Contains(log(), "is an older copy") {
		t.Errorf("went back %v, letters %v: %s", d.wentBack.Load(), d.runner.letters, log())
	}
	was := d.mark
	if _, err := d.store.Owe(t.Context(), d.o.Now(), []schedule.Notice{{Key: "waits", To: "ned@example.org", Raw: []byte("x")}}); err != nil {
		t.Fatal(err)
	}
	if tally, err := d.sender.Drain(t.Context()); err != nil || tally.Sent > 0 {
		t.Errorf("a batch went out: %+v, %v", tally, err)
	}
	if err := d.keepMark(t.Context()); err != nil || d.mark != was {
		t.Errorf("the mark became %+v, %v; it was %+v", d.mark, err, was)
	}
}

// heardAfter stops a service, does something to one that is opened on its database and
// does not run, and gives that and what it says.
func heardAfter(t *testing.T, h *house, do func(*Daemon)) (*Daemon, func() string) {
	t.Helper()
	h.stop()
	said := &lines{}
	o := h.options("127.0.0.1:1")
	o.Log = slog.New(slog.NewTextHandler(said, nil))
	d, err := New(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = d.life.stop() })
	do(d)
	return d, func() string { return said.b.String() }
}

// A database that is found older than it was, as after a failover to a copy that
// lacks the last seconds, is read anew, and no letter goes out until somebody looked.
func TestDatabaseWentBack(t *testing.T) {
	address := dbtest.Postgres(t)
	h := openOn(t, address, "2026-11-25 10:00", wound(t, "2026-10-01 09:00", "2026-11-23 09:00")...)
	h.settled(3)
	h.log("moot-hall", "noted", map[string]string{"note": "lost in the failover"})
	raw, err := sql.Open("pgx", address)
	if err != nil {
		t.Fatal(err)
	}
	defer raw.Close()
	// What a copy lacks: the last entry with its audit row, and the revision's step.
	for _, text := range []string{`SET session_replication_role = replica; DELETE FROM entry WHERE note = 'lost in the failover';
		DELETE FROM audit WHERE id = (SELECT n FROM revision); UPDATE revision SET n = n - 1`} {
		if _, err := raw.ExecContext(t.Context(), text); err != nil {
			t.Fatal(err)
		}
	}
	until(t, "it is read anew", func() bool { return !h.has("lost in the failover") })
	until(t, "letters are held", h.wentBack.Load)
	h.set("2026-12-01 08:00")
	h.work(context.Background())
	h.drain()
	h.stop()
	if n := len(h.sink.Arrivals()); n != 3 {
		t.Errorf("%d letters went out, want the three of before", n)
	}
}

// A desk that follows what another process logs, describes and teaches has, when it
// looks at all of it anew, the answers of a desk that was just opened, to the last bit;
// and it holds no entry twice that it logged itself.
func TestFollowsAsIfJustOpened(t *testing.T) {
	seed := rand.Uint64()
	r := rand.New(rand.NewPCG(seed, 5))
	address := t.TempDir() + "/endshake.db"
	h, _ := furnish(t, address, "2026-11-25 10:00", func(*schedule.Fleet) {}, append(wound(t, "2018-01-01 09:00", "2026-11-23 09:00"),
		reading(t, "2020-01-10 10:00", 0.30), reading(t, "2023-01-10 10:00", 0.58), reading(t, "2026-06-10 10:00", 0.86))...)
	t.Cleanup(func() { _ = h.sink.Stop(context.Background()) })
	ctx, now, store := t.Context(), h.clock(), dbtest.Open(t, address)
	clock := func() time.Time { return now }
	desk, err := OpenDesk(ctx, store, clock)
	if err != nil {
		t.Fatal(err)
	}
	note := func(i int) schedule.Entry {
		return schedule.Entry{Clock: []string{"moot-hall", "ferry-post"}[r.IntN(2)], Kind: schedule.Noted, At: now.Add(-time.Duration(r.IntN(9000)) * time.Minute),
			Note: fmt.Sprint("note ", i), Source: "command"}
	}
	for i := range 40 {
		now = now.Add(time.Duration(r.IntN(1000)) * time.Minute)
		switch what := r.IntN(8); what {
		case 0: // many at once
			err = store.AppendAll(ctx, "another", now, []schedule.Entry{note(i), note(i)})
		case 1: // a card
			_, err = store.AppendTogether(ctx, "another", now, []schedule.Entry{note(i), note(i)}, nil, func(map[string][]schedule.Entry, []schedule.Entry) error { return nil })
		case 2: // another description
			fleet := desk.Snapshot().Fleet
			fleet.Clocks = slices.Clone(fleet.Clocks)
			fleet.Clocks[0].Note = fmt.Sprint("described ", i)
			err = store.SaveFleet(ctx, "another", now, fleet, nil)
		case 3:
			_, err = store.SaveLearned(ctx, schedule.Learned{FittedAt: now})
		case 4:
			_, err = desk.Log(ctx, note(i))
		default:
			e := note(i)
			if _, _, err = store.Append(ctx, "another", now, e, nil); err == nil && what == 7 { // and one at the desk before it follows
				_, err = desk.Log(ctx, note(i))
			}
		}
		if err != nil {
			t.Fatal(err)
		}
		if _, err := desk.Follow(ctx); err != nil {
			t.Fatal(err)
		}
		if again, err := desk.Follow(ctx); again || err != nil {
			t.Fatalf("seed %d, step %d: there is news of what was followed: %v", seed, i, err)
		}
		desk.Reassess(ctx)
		fresh, err := OpenDesk(ctx, store, clock)
		if err != nil {
			t.Fatal(err)
		}
		if !reflect.DeepEqual(desk.log, fresh.log) {
			t.Fatalf("seed %d, step %d: the log that was followed is not as it is stored", seed, i)
		}
		for k, want := range fresh.Snapshot().Clocks {
			got := desk.Snapshot().Clocks[k]
			if got.Now != want.Now || got.Status != want.Status || !reflect.DeepEqual(got.Entries, want.Entries) || !reflect.DeepEqual(got.Tasks, want.Tasks) ||
				!reflect.DeepEqual(got.Outlooks, want.Outlooks) || !reflect.DeepEqual(got.Clock, want.Clock) {
				t.Fatalf("seed %d, step %d: %s is not as at a desk just opened", seed, i, want.Clock.Slug)
			}
		}
	}
	if desk.back.Load() {
		t.Errorf("seed %d: the database is taken for another", seed)
	}
}
