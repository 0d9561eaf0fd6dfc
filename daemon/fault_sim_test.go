package daemon

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime/debug"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"endshake/daemon/mail"
	"endshake/db"
	"endshake/schedule"
)

// TestThirtyDaysOfFaults runs two daemons for thirty days on one database and a
// mail server, with faults that a seed decides: a daemon dies amid anything and
// comes back, a call of the store fails with or without having done its work,
// clocks of the two differ and step, jobs outlast their lease, and the server
// refuses, puts off, stalls and cuts the line. Each job is done once for each date,
// or made good by a later one; each letter is owed once and comes once, or twice
// where nobody could know that it had come.
//
// The first seeds run on a real store, the others on one in memory.
// ENDSHAKE_SIMS says how many seeds, ENDSHAKE_SEED the first.
func TestThirtyDaysOfFaults(t *testing.T) {
	seeds := simSeeds()
	first := uint64(time.Now().UnixNano())
	if n, err := strconv.ParseUint(os.Getenv("ENDSHAKE_SEED"), 10, 64); err == nil {
		first = n
	}
	var (
		mu    sync.Mutex
		total simCounts
	)
	defer debug.SetGCPercent(debug.SetGCPercent(800)) // little is held, and much is thrown away
	began := time.Now()
	t.Run("seeds", func(t *testing.T) {
		for i := range seeds {
			seed := first + uint64(i)
			t.Run(fmt.Sprint(seed), func(t *testing.T) {
				t.Parallel()
				t.Cleanup(func() {
					if t.Failed() {
						t.Logf("ENDSHAKE_SEED=%d ENDSHAKE_SIMS=1 runs it again", seed)
					}
				})
				dir := ""
				if i < simReal {
					dir = simFolder(t)
				}
				synctest.Test(t, func(t *testing.T) {
					s := newFaultSim(t, seed, dir)
					s.run()
					s.check()
					mu.Lock()
					defer mu.Unlock()
					total.add(s.counts)
				})
			})
		}
	})
	took := time.Since(began)
	t.Logf("seeds %d to %d, %d days, %v a seed: %+v", first, first+uint64(seeds)-1, seeds*simDays, (took / time.Duration(seeds)).Round(time.Millisecond), total)
	if total.Deaths == 0 || total.Failed == 0 || total.Twice == 0 && seeds > 20 {
		t.Error("nothing went wrong: the test shows nothing")
	}
}

// simSeeds is about as many as take a minute of two cores where nothing may be left out.
func simSeeds() int {
	n, err := strconv.Atoi(os.Getenv("ENDSHAKE_SIMS"))
	switch {
	case err == nil:
		return n
	case os.Getenv("ENDSHAKE_CI") != "":
		return 1000
	}
	return 8
}

// simFolder is in memory where the machine has a place for that.
func simFolder(t *testing.T) string {
	t.Helper()
	place := "/dev/shm"
	if _, err := os.Stat(place); err != nil {
		place = ""
	}
	dir, err := os.MkdirTemp(place, "endshake-sim-")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	return dir
}

const (
	simDays = 30
	// simReal is how many seeds run on a real store; the others on one in memory.
	simReal = 2
	// simSleep is the longest that a daemon sleeps between two wakes.
	simSleep = 4 * time.Hour
	// simQuiet is how long nothing goes wrong at the end, for what was put off.
	simQuiet = 60 * time.Hour
)

// simCounts are what happened.
type simCounts struct{ Wakes, Deaths, Failed, Runs, Merged, Letters, Twice, Parked int }

func (c *simCounts) add(d simCounts) {
	c.Wakes += d.Wakes
	c.Deaths += d.Deaths
	c.Failed += d.Failed
	c.Runs += d.Runs
	c.Merged += d.Merged
	c.Letters += d.Letters
	c.Twice += d.Twice
	c.Parked += d.Parked
}

// faultSim is one such month.
type faultSim struct {
	t        *testing.T
	store    simStore
	fleet    schedule.Fleet
	zone     *time.Location // of jobs
	from, to time.Time
	shift    time.Duration // from the time of the bubble
	server   *simServer

	mu     sync.Mutex
	counts simCounts
	done   map[string]int // finished runs, by job and date
}

func (s *faultSim) now() time.Time { return time.Now().Add(s.shift).UTC() }

// calm reports that nothing goes wrong any more.
func (s *faultSim) calm() bool { return s.now().After(s.to.Add(-simQuiet)) }

func newFaultSim(t *testing.T, seed uint64, dir string) *faultSim {
	r := rand.New(rand.NewPCG(seed, 0))
	s := &faultSim{t: t, done: map[string]int{}, zone: zone(t, simZones[r.IntN(len(simZones))]), server: &simServer{taken: map[string][]*simHand{}, sure: map[string]map[*simHand]bool{}}}
	s.from = time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC).Add(time.Duration(r.Int64N(int64(365 * 24 * time.Hour)))).Truncate(time.Microsecond)
	s.to = s.from.Add(simDays * 24 * time.Hour)
	s.shift = time.Until(s.from)
	if s.store = simStore(newMemory()); dir != "" {
		store, err := db.Open(t.Context(), filepath.Join(dir, "endshake.db"))
		if err != nil {
			t.Fatal(err)
		}
		if _, _, err := store.Migrate(t.Context()); err != nil {
			t.Fatal(err)
		}
		s.store = store
	}
	s.fleet = someClocks(simFleet(), r.IntN(len(simZones)-1), 1+r.IntN(2))
	if err := s.store.SaveFleet(t.Context(), "test", s.now(), s.fleet, nil); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"one", "two"} {
		go s.daemon(name, rand.New(rand.NewPCG(seed, uint64(len(name))+uint64(name[0]))))
	}
	go s.winders(rand.New(rand.NewPCG(seed, 1)))
	return s
}

// someClocks leaves n clocks of a fleet, from a first, and who keeps them.
func someClocks(f schedule.Fleet, first, n int) schedule.Fleet {
	f.Clocks = f.Clocks[first : first+n]
	var people []schedule.Person
	for _, p := range f.People {
		for _, c := range f.Clocks {
			if c.Has(p.Slug) {
				people = append(people, p)
				break
			}
		}
	}
	f.People = people
	return f
}

// run waits for the end of the month, and of all that goes on then.
func (s *faultSim) run() {
	time.Sleep(s.to.Sub(s.now()) + 24*time.Hour)
	synctest.Wait()
}

// winders wind each clock about when it wants it, or too late.
func (s *faultSim) winders(r *rand.Rand) {
	for s.now().Before(s.to) {
		for _, c := range s.fleet.Clocks {
			if r.IntN(int(c.Trains[0].Reserve/time.Hour)) > 12 {
				continue
			}
			e := schedule.Entry{Clock: c.Slug, Kind: schedule.Wound, At: s.now(), Source: "command"}
			if _, _, err := s.store.AppendTo(context.Background(), "somebody", s.now(), e, nil, func([]schedule.Entry) error { return nil }); err != nil {
				s.t.Error(err)
			}
		}
		time.Sleep(12*time.Hour + time.Duration(r.Int64N(int64(time.Hour))))
	}
}

// daemon lives again and again, with rests between.
func (s *faultSim) daemon(name string, r *rand.Rand) {
	time.Sleep(time.Duration(r.Int64N(int64(time.Hour))))
	for life := 1; s.now().Before(s.to); life++ {
		h := &simHand{simStore: s.store, sim: s, rand: r}
		s.live(fmt.Sprintf("%s/%d", name, life), h)
		rest := time.Minute + time.Duration(r.Int64N(int64(6*time.Hour)))
		if r.IntN(4) == 0 {
			rest += 72 * time.Hour
		}
		// Nobody rests into the quiet end, or both might be away until it is over.
		time.Sleep(max(time.Minute, min(rest, s.to.Add(-simQuiet).Sub(s.now()))))
	}
}

// live is one process, until it dies: what Daemon.Run wakes, woken at odd times,
// for what is owed hangs on the database and not on when anybody looks.
func (s *faultSim) live(name string, h *simHand) {
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	log := slog.New(slog.DiscardHandler)
	desk, err := OpenDesk(ctx, h, h.now)
	if err != nil {
		return
	}
	var compose composer = mail.Composer{From: "Clock desk <desk@example.org>", Base: "https://clocks.example.org"}
	if _, ok := s.store.(*memory); ok {
		compose = shortComposer{}
	}
	runner := &runner{book: h, desk: desk, zone: s.zone, owner: name, now: h.now, log: log, audit: h,
		done:    func(string, time.Duration, time.Time, error) {},
		letters: &letterWriter{outbox: h, facts: h, desk: desk, compose: compose, owner: name, log: log}}
	sender := &mail.Sender{Outbox: h, Server: mail.Server{Host: "mail.example.org", Port: 25, TLS: mail.Clear}, Owner: name, Now: h.now, Log: log, Lines: 1,
		Takes: func(n schedule.Notice, at time.Time) time.Time { return desk.Snapshot().TakesMail(n, at) },
		Dial:  s.server.dial(h)}
	for !h.isDead() && s.now().Before(s.to) {
		s.counts.Wakes++
		runner.Wake(ctx)
		_, _ = desk.Follow(ctx)
		_, _ = sender.Drain(ctx)
		time.Sleep(time.Minute + h.upTo(simSleep-time.Minute))
	}
}

// shortComposer writes letters of one line: their words are tested elsewhere, and take
// longer to write than all else in the simulation.
type shortComposer struct{}

func (shortComposer) Compose(l schedule.Letter, id string, now time.Time) (schedule.Notice, error) {
	n := schedule.Notice{ID: id, Key: l.Key, Covers: l.Covers, Kind: l.Kind, Person: l.Person.Slug, Occurrence: l.Occurrence,
		From: "desk@example.org", To: l.Person.Email, MessageID: "<" + id + "@example.org>", Title: l.Key, State: schedule.Owed, Created: now, NextTry: now}
	n.Raw = fmt.Appendf(nil, "From: desk@example.org\r\nTo: %s\r\nSubject: %s\r\nMessage-ID: %s\r\n\r\n%s\r\n", n.To, n.Kind, n.MessageID, l.Key)
	return n, nil
}

// simHand is the store as one life sees it. From its death on it does nothing.
type simHand struct {
	simStore
	sim *faultSim

	mu   sync.Mutex
	rand *rand.Rand
	dead bool
	skew time.Duration // of its clock

	trouble   schedule.Trouble
	troubleAt time.Time
}

var errSim = errors.New("a fault of the simulation")

// now is the time by a clock that is up to a minute and a half wrong, and steps.
func (h *simHand) now() time.Time {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.rand.IntN(200) == 0 {
		h.skew = time.Duration(h.rand.IntN(181)-90) * time.Second
	}
	return h.sim.now().Add(h.skew)
}

func (h *simHand) isDead() bool {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.dead
}

func (h *simHand) upTo(d time.Duration) time.Duration {
	h.mu.Lock()
	defer h.mu.Unlock()
	return time.Duration(h.rand.Int64N(int64(d)))
}

// one reports true once in n times, unless nothing is to go wrong any more.
func (h *simHand) one(n int) bool {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.rand.IntN(n) == 0 && !h.sim.calm()
}

// dies has it die, once in n times, and reports whether it is dead.
func (h *simHand) dies(n int) bool {
	if !h.isDead() && h.one(n) {
		h.mu.Lock()
		h.dead = true
		h.mu.Unlock()
		h.sim.mu.Lock()
		h.sim.counts.Deaths++
		h.sim.mu.Unlock()
	}
	return h.isDead()
}

// fails does so for a failure.
func (h *simHand) fails(n int) bool {
	if !h.one(n) {
		return false
	}
	h.sim.mu.Lock()
	h.sim.counts.Failed++
	h.sim.mu.Unlock()
	return true
}

// call does something with the store, where nothing goes wrong before it, and
// tells what came of it, where nothing does after it.
func call[T any](h *simHand, do func() (T, error)) (out T, err error) {
	var none T
	if h.dies(1200) || h.fails(1000) {
		return none, errSim
	}
	out, err = do()
	if h.dies(1200) || h.fails(2000) {
		return none, errSim
	}
	return out, err
}

func (h *simHand) LastRun(ctx context.Context, job string, now time.Time) (d schedule.Date, known bool, err error) {
	d, err = call(h, func() (d schedule.Date, err error) { d, known, err = h.simStore.LastRun(ctx, job, now); return d, err })
	return d, known, err
}

func (h *simHand) ClaimRun(ctx context.Context, job string, occ schedule.Date, owner string, now time.Time, lease time.Duration) (attempt int, ok bool, err error) {
	attempt, err = call(h, func() (a int, err error) {
		a, ok, err = h.simStore.ClaimRun(ctx, job, occ, owner, now, lease)
		return a, err
	})
	return attempt, ok && err == nil, err
}

func (h *simHand) FinishRun(ctx context.Context, job string, occ schedule.Date, owner string, now time.Time, note string, owed []schedule.Notice, merged []schedule.Date) error {
	_, err := call(h, func() (int, error) {
		err := h.simStore.FinishRun(ctx, job, occ, owner, now, note, owed, merged)
		if err == nil {
			h.sim.mu.Lock()
			h.sim.done[job+" "+occ.String()]++
			h.sim.mu.Unlock()
		}
		return 0, err
	})
	return err
}

func (h *simHand) SaveLearned(ctx context.Context, l schedule.Learned) (schedule.Learned, error) {
	if h.one(10) { // a lesson that outlasts its lease
		time.Sleep(jobLease + h.upTo(2*jobLease))
	}
	return call(h, func() (schedule.Learned, error) { return h.simStore.SaveLearned(ctx, l) })
}

func (h *simHand) CheckAudit(ctx context.Context, now time.Time) (schedule.AuditCheck, error) {
	if h.one(10) {
		time.Sleep(jobLease + h.upTo(2*jobLease))
	}
	return call(h, func() (schedule.AuditCheck, error) { return h.simStore.CheckAudit(ctx, now) })
}

func (h *simHand) KnownKeys(ctx context.Context, keys []string) (map[string]bool, error) {
	return call(h, func() (map[string]bool, error) { return h.simStore.KnownKeys(ctx, keys) })
}

func (h *simHand) Owe(ctx context.Context, now time.Time, notices []schedule.Notice) (int, error) {
	return call(h, func() (int, error) { return h.simStore.Owe(ctx, now, notices) })
}

func (h *simHand) Declined(ctx context.Context) ([]schedule.Decline, error) {
	return call(h, func() ([]schedule.Decline, error) { return h.simStore.Declined(ctx) })
}

// Trouble is asked for once a day: it is a quarter of all that a wake costs, and
// only the weekly letter tells of it.
func (h *simHand) Trouble(ctx context.Context, since, now time.Time) (schedule.Trouble, error) {
	if h.troubleAt.IsZero() || now.Sub(h.troubleAt) > 24*time.Hour {
		t, err := call(h, func() (schedule.Trouble, error) { return h.simStore.Trouble(ctx, since, now) })
		if err != nil {
			return t, err
		}
		h.trouble, h.troubleAt = t, now
	}
	return h.trouble, nil
}

func (h *simHand) ClaimNotices(ctx context.Context, owner string, now time.Time, lease time.Duration, n int) ([]schedule.Notice, error) {
	return call(h, func() ([]schedule.Notice, error) { return h.simStore.ClaimNotices(ctx, owner, now, lease, n) })
}

func (h *simHand) Record(ctx context.Context, owner string, marks []schedule.Mark) []error {
	errs, err := call(h, func() ([]error, error) {
		errs := h.simStore.Record(ctx, owner, marks)
		for i, m := range marks {
			if errs[i] == nil && m.Outcome != nil && m.Outcome.State == schedule.Sent {
				h.sim.server.kept(m.Notice, h)
			}
		}
		return errs, nil
	})
	if err != nil {
		errs = make([]error, len(marks))
		for i := range errs {
			errs[i] = err
		}
	}
	return errs
}

// check holds what was done against what should have been.
func (s *faultSim) check() {
	defer s.store.Close()
	s.checkJobs()
	list, err := s.store.Notices(s.t.Context(), 100000)
	if err != nil {
		s.t.Fatal(err)
	}
	s.counts.Letters = len(list)
	monthly, keys := map[string]int{}, map[string]bool{}
	for _, n := range list {
		if keys[n.Key] {
			s.t.Errorf("%s is owed twice", n.Key)
		}
		keys[n.Key] = true
		if n.Kind == schedule.DueList || n.Kind == schedule.OwnersMonth {
			monthly[n.Person+" "+n.Occurrence]++
		}
		came, known := s.server.came(n.MessageID, n.ID)
		switch {
		case n.State == schedule.Parked && n.Uncertain == 2 && came <= 2:
			s.counts.Parked++
		case n.State != schedule.Sent && s.to.Sub(s.wanted(n)) > simSleep+5*time.Minute:
			s.t.Errorf("%s of %v is %s in the end: %s", n.Key, n.Created, n.State, n.Reply)
		case n.State == schedule.Sent && came == 0:
			s.t.Errorf("%s is sent, and never came", n.Key)
		case came > 2 || came == 2 && known:
			s.t.Errorf("%s came %d times, and that was known each time: %v", n.Key, came, known)
		}
		if came == 2 {
			s.counts.Twice++
		}
	}
	for _, p := range s.fleet.People {
		for month := s.from.Month(); ; month++ {
			due := time.Date(s.from.Year(), month, p.Mail.Day, firstHour(p), 0, 0, 0, s.zoneOf(p))
			if due.After(s.to.Add(-24 * time.Hour)) {
				break
			}
			if due.Before(s.from.Add(2 * time.Hour)) { // whether mail was switched on by then is open
				continue
			}
			if n := monthly[p.Slug+" "+due.Format("2006-01")]; n != 1 {
				s.t.Errorf("%s has %d letters of %s, due %v; want one", p.Slug, n, due.Format("2006-01"), due)
			}
		}
	}
}

// wanted is when a letter should go: as soon as it is written, or in the morning
// where it came into its reader's quiet hours unsent.
func (s *faultSim) wanted(n schedule.Notice) time.Time {
	i := slices.IndexFunc(s.fleet.People, func(p schedule.Person) bool { return p.Slug == n.Person })
	p := s.fleet.People[i]
	morning := n.NextTry.In(s.zoneOf(p))
	if h, m, sec := morning.Clock(); h == p.Mail.QuietTo && m == 0 && sec == 0 && n.NextTry.Sub(n.Created) < 24*time.Hour {
		return morning
	}
	return n.Created
}

func (s *faultSim) zoneOf(p schedule.Person) *time.Location {
	return (&sim{t: s.t, fleet: s.fleet}).zone(p)
}

// checkJobs: each date has its run, finished once, or was made good.
func (s *faultSim) checkJobs() {
	runs, err := s.store.Runs(s.t.Context(), 100000)
	if err != nil {
		s.t.Fatal(err)
	}
	state := map[string]string{}
	for _, r := range runs {
		state[r.Job+" "+r.Occurrence.String()] = r.State
	}
	for _, j := range Jobs {
		if j.Name == backupJob {
			continue
		}
		first, last := schedule.DateOf(s.from, s.zone).Add(1), schedule.DateOf(s.to.Add(-24*time.Hour), s.zone)
		for d := first; !d.After(last); d = d.Add(1) {
			key := j.Name + " " + d.String()
			switch n := s.done[key]; {
			case state[key] == db.RunDone && n == 1:
				s.counts.Runs++
			case state[key] == db.RunMerged && n == 0:
				s.counts.Merged++
			default:
				s.t.Errorf("%s is %q in the end, and was finished %d times", key, strings.TrimSpace(state[key]), n)
			}
		}
	}
}
