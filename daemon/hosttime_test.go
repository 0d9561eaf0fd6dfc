package daemon

import (
	"context"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"net/http"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"endshake/db"
	"endshake/schedule"
)

// TestHostTime goes through what the wall clock of a machine may do, one minute at a
// look: each step names what it is set on by, how long then goes by, and whether it is
// believed at the end.
func TestHostTime(t *testing.T) {
	const day, year = 24 * time.Hour, 365 * 24 * time.Hour
	now := time.Date(2026, 11, 25, 10, 0, 0, 0, time.UTC)
	type step struct {
		on       time.Duration // by how much the wall clock is set on
		then     time.Duration
		believed bool
		reckoned time.Duration // how far the time gone by is ahead of what really went by since the start
	}
	const min = time.Minute
	for _, c := range []struct {
		name   string
		starts time.Duration // where the wall clock stands at the start, from the newest change on
		steps  []step
	}{
		{"goes", time.Hour, []step{{0, 3 * day, true, 0}}},
		{"a correction on", time.Hour, []step{{90 * time.Second, min, true, 90 * time.Second}}}, // T01
		{"a correction back", time.Hour, []step{{-90 * time.Second, min, true, -90 * time.Second}}},
		{"an hour is a correction", 2 * time.Hour, []step{{time.Hour, 0, true, time.Hour}, {-time.Hour, 0, true, 0}}},
		{"a day on, and it stays", time.Hour, []step{{day, 9 * min, false, 0}, {0, min, true, day}}}, // T02
		{"a day back, and it stays", 9 * day, []step{{-day, 9 * min, false, 0}, {0, min, true, -day}}},
		{"a day back, before the newest change", time.Hour, []step{{-day, 60 * min, false, 0}, {day, 0, true, 0}}},
		{"ten years on, and it stays", time.Hour, []step{{10 * year, 9 * min, false, 0}, {0, min, true, 10 * year}}},
		{"ten years on, and put right", time.Hour, []step{{10 * year, 5 * min, false, 0}, {-10 * year, 0, true, 0}}},
		{"three hundred years on and back", time.Hour, []step{{290 * year, 5 * min, false, 0}, {-290 * year, 0, true, 0}}},
		{"on, and then it wanders", time.Hour, []step{{day, 8 * min, false, 0}, {2 * min, 8 * min, false, 0}, {0, 2 * min, true, day + 2*min}}},
		{"on, and on again", time.Hour, []step{{day, 8 * min, false, 0}, {day, 9 * min, false, 0}, {0, min, true, 2 * day}}},
		{"the machine slept for three days", time.Hour, []step{{3 * day, 9 * min, false, 0}, {0, min, true, 3 * day}}},     // T03
		{"it starts in 1970", -20000 * day, []step{{0, 2 * day, false, 20000 * day}, {20000 * day, 0, true, 20000 * day}}}, // T04
		{"it starts in 1970, and is set long after", -20000 * day, []step{{20100 * day, 9 * min, false, 20000 * day}, {0, min, true, 20100 * day}}},
		{"it starts in 1970, and is set to 2000", -20000 * day, []step{{10957 * day, 2 * day, false, 20000 * day}}},
		{"another machine's change bears a time a little later", -5 * min, []step{{0, min, true, 0}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			start := now.Add(c.starts)
			m := moment{wall: start, running: 7 * time.Hour}
			h := hostTimeAt(m, now)
			for i, s := range c.steps {
				m.wall = m.wall.Add(s.on)
				h = h.looked(m)
				for range s.then / min {
					m.wall, m.running = m.wall.Add(min), m.running+min
					h = h.looked(m)
				}
				if h.doubted == s.believed || (h.words() == "") != s.believed {
					t.Fatalf("step %d: doubted is %v, want %v: %s", i+1, h.doubted, !s.believed, h.words())
				}
				if got, want := h.reckoned(m), start.Add(m.running-7*time.Hour+s.reckoned); !got.Equal(want) {
					t.Errorf("step %d: the time is taken as %v, want %v", i+1, got, want)
				}
			}
		})
	}
}

// Whatever the wall clock does, a time that is gone by never jumps by more than an hour
// unless the clock has gone evenly for ten minutes, and what has come right is believed.
func TestHostTimeAnyhow(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	r := rand.New(rand.NewPCG(seed, 0))
	for range 2000 {
		m := moment{wall: time.Date(2026, 11, 25, 10, 0, 0, 0, time.UTC)}
		h := hostTimeAt(m, m.wall)
		even := m.running
		for range 50 {
			before, was := h.reckoned(m), m
			m.running += time.Duration(r.Int64N(int64(3 * time.Minute)))
			m.wall = m.wall.Add(m.running - was.running)
			if r.IntN(8) == 0 {
				by := time.Duration(r.NormFloat64() * float64(36*time.Hour))
				if m.wall = m.wall.Add(by); by.Abs() > mostStep {
					even = m.running
				}
			}
			h = h.looked(m)
			jumped := (h.reckoned(m).Sub(before) - (m.running - was.running)).Abs()
			if jumped > mostStep && m.running-even < steadily {
				t.Fatalf("seed %d: the time jumped by %v, %v after the wall clock did", seed, jumped, m.running-even)
			}
			if right := m.wall.Sub(h.reckoned(m)).Abs() <= mostStep; right && h.doubted && !h.before(m) {
				t.Fatalf("seed %d: it came right, and is doubted: %+v", seed, h)
			}
		}
	}
}

// stepping is a house whose wall clock a test sets, and whose running clock goes with it
// unless it is told otherwise.
type stepping struct {
	*house
	running atomic.Int64
	said    *lines
}

// startStepping starts the service with both clocks.
func startStepping(t *testing.T, h *house, smtp string, more func(*Options)) *stepping {
	t.Helper()
	s := &stepping{house: h, said: &lines{}}
	o := h.options(smtp)
	o.FirstRun = false
	o.Running = func() time.Duration { return time.Duration(s.running.Load()) }
	o.Log = slog.New(slog.NewTextHandler(s.said, nil))
	if more != nil {
		more(&o)
	}
	h.start(o)
	return s
}

// pass has time go by on both clocks, a minute at a time, with what is owed done.
func (s *stepping) pass(d time.Duration) {
	for ; d > 0; d -= time.Minute {
		v := s.clock().Add(time.Minute)
		s.now.Store(&v)
		s.running.Add(int64(time.Minute))
		s.work(context.Background())
	}
}

// jump sets the wall clock on, and the other stands.
func (s *stepping) jump(d time.Duration) {
	v := s.clock().Add(d)
	s.now.Store(&v)
	s.work(context.Background())
}

// owedSoFar are the keys of the letters that were ever owed.
func (s *stepping) owedSoFar() map[string]bool {
	s.t.Helper()
	list, err := s.store.Notices(s.t.Context(), 1000)
	if err != nil {
		s.t.Fatal(err)
	}
	out := map[string]bool{}
	for _, n := range list {
		out[n.Key] = true
	}
	return out
}

// runsOf counts the runs of a job by state.
func (s *stepping) runsOf(job string) map[string]int {
	s.t.Helper()
	list, err := s.store.Runs(s.t.Context(), 10000)
	if err != nil {
		s.t.Fatal(err)
	}
	out := map[string]int{}
	for _, r := range list {
		if r.Job == job {
			out[r.State]++
		}
	}
	return out
}

// A wall clock that jumps has nothing written or sent, no job done and nothing logged,
// until it has come right or gone evenly for ten minutes; the service says so once.
func TestWallClockJumps(t *testing.T) {
	const day = 24 * time.Hour
	for _, c := range []struct {
		by    time.Duration
		words string
	}{
		{day, "jumped on 24 hours, to 26 Nov 2026"}, {-day, "jumped back 24 hours, to 24 Nov 2026"}, {3652 * day, "jumped on 3,652 days, to 24 Nov 2036"},
	} {
		t.Run(c.by.String(), func(t *testing.T) {
			h, smtp := furnish(t, t.TempDir(), "2026-10-24 08:00", func(*schedule.Fleet) {}, wound(t, "2024-01-01 09:00", "2026-10-19 09:00")...)
			s := startStepping(t, h, smtp, nil)
			s.goOn(32 * day)
			before, jobs, shown := s.owedSoFar(), s.runsOf("learn"), s.desk.Snapshot().Now

			s.jump(c.by)
			s.pass(9 * time.Minute)
			if got := s.owedSoFar(); len(got) != len(before) {
				t.Errorf("%d letters are owed by a clock that jumped, %d before", len(got), len(before))
			}
			if got := s.runsOf("learn"); fmt.Sprint(got) != fmt.Sprint(jobs) {
				t.Errorf("runs of learn: %v, before the jump %v", got, jobs)
			}
			s.desk.Reassess(t.Context())
			if at := s.desk.Snapshot().Now; at.Sub(shown).Abs() > time.Hour {
				t.Errorf("the pages are worked out as of %v, and of %v before the jump", at, shown)
			}
			if page := textOf(s.page("/due")); !strings.Contains(page, c.words) {
				t.Errorf("the page does not say %q: %.600s", c.words, page)
			}
			if code, body := s.get("/readyz"); code != http.StatusServiceUnavailable || !strings.Contains(body, "jumped") {
				t.Errorf("/readyz answers %d: %s", code, body)
			}
			if v, ok := s.metric("endshake_time_believed"); !ok || v != 0 {
				t.Errorf("endshake_time_believed is %v, %v", v, ok)
			}
			if code, body := s.fill("moot-hall", "noted", map[string]string{"note": "a jackdaw in the louvres"}); code == http.StatusOK || !strings.Contains(textOf(body), "jumped") || !strings.Contains(body, "a jackdaw in the louvres") {
				t.Errorf("logging answers %d: %.600s", code, textOf(body))
			}

			s.jump(-c.by) // it is put right
			s.pass(time.Minute)
			if v, ok := s.metric("endshake_time_believed"); !ok || v != 1 {
				t.Errorf("put right, endshake_time_believed is %v, %v", v, ok)
			}
			s.log("moot-hall", "noted", map[string]string{"note": "a jackdaw in the louvres"})
			if got := s.owedSoFar(); len(got) != len(before) {
				t.Errorf("put right, %d letters are owed, %d before", len(got), len(before))
			}
			if said, again := s.said.of("jumped"), s.said.of("believed again"); said != 1 || again != 1 {
				t.Errorf("the log says %d times that it jumped, and %d times that it is believed again", said, again)
			}
		})
	}
}

// goOn has so much time go by on both clocks, and what is owed then done.
func (s *stepping) goOn(d time.Duration) {
	for ; d > 0; d -= 30 * time.Minute { // the service may look between the two
		v := s.clock().Add(30 * time.Minute)
		s.now.Store(&v)
		s.running.Add(int64(30 * time.Minute))
	}
	s.pass(time.Minute)
}

// A clock that jumped and stays is believed in the end, and so is that of a machine that
// slept: what is owed by then is owed once, and not for each day that nobody lived
// through; and when the clock turns out to have been wrong, jobs go on all the same.
func TestWallClockJumpsAndStays(t *testing.T) {
	const day = 24 * time.Hour
	for _, by := range []time.Duration{day, 3 * day, 3652 * day} {
		t.Run(by.String(), func(t *testing.T) {
			h, smtp := furnish(t, t.TempDir(), "2026-11-28 08:00", func(*schedule.Fleet) {}, wound(t, "2024-01-01 09:00", "2026-11-23 09:00")...)
			s := startStepping(t, h, smtp, nil)
			for s.runsOf("learn")["done"] == 0 { // that it was first begun: once the database is known to answer
				s.pass(time.Minute)
				time.Sleep(10 * time.Millisecond)
			}
			before := s.runsOf("learn")["done"]
			s.jump(by)
			s.pass(11 * time.Minute)
			if v, ok := s.metric("endshake_time_believed"); !ok || v != 1 {
				t.Errorf("after ten minutes, endshake_time_believed is %v, %v", v, ok)
			}
			if done := s.runsOf("learn")["done"]; done != before+1 {
				t.Errorf("learn was done %d times for the days that were missed, want one catch-up", done-before)
			}
			owed := s.owedSoFar()
			for n := 0; by >= 3*day && len(owed) == 0 && n < 300; n++ { // letters are written beside what else a minute brings
				s.pass(time.Minute)
				time.Sleep(10 * time.Millisecond)
				owed = s.owedSoFar()
			}
			kinds := map[string]int{}
			for k := range owed {
				part := strings.SplitN(k, "|", 3)
				kinds[part[0]+" "+part[1]]++
			}
			for kind, n := range kinds {
				if n > 1 {
					t.Errorf("%d letters are owed of one kind to one person after a jump (%s): a flood", n, kind)
				}
			}
			if by >= 3*day && len(kinds) == 0 {
				t.Error("nothing is owed: the test shows nothing")
			}
			s.jump(-by) // it was wrong after all
			s.pass(11 * time.Minute)
			s.goOn(day)
			list, err := s.store.Runs(t.Context(), 100)
			if err != nil {
				t.Fatal(err)
			}
			if !slices.ContainsFunc(list, func(r db.Run) bool {
				return r.Job == "learn" && r.State == db.RunDone && r.Occurrence.String() == "2026-11-29"
			}) {
				t.Errorf("the day after the clock was put right nothing was learned: %v", list)
			}
		})
	}
}

// A service that starts with a clock of 1970 or 2000 works out nothing by it, says so
// everywhere, and goes on when the clock is set right.
func TestStartWithAClockThatIsBehind(t *testing.T) {
	for _, start := range []string{"1970-01-01 01:00", "2000-01-01 00:00"} {
		t.Run(start[:4], func(t *testing.T) {
			h, smtp := furnish(t, t.TempDir(), "2026-11-25 08:00", func(*schedule.Fleet) {}, wound(t, "2024-01-01 09:00", "2026-11-23 09:00")...)
			right := h.clock()
			h.set(start)
			s := startStepping(t, h, smtp, nil)
			s.pass(2 * time.Hour)
			if got := s.owedSoFar(); len(got) > 0 {
				t.Errorf("letters are owed by a clock of %s: %v", start[:4], got)
			}
			if got := s.runsOf("learn"); len(got) > 0 {
				t.Errorf("jobs were run by a clock of %s: %v", start[:4], got)
			}
			s.desk.Reassess(t.Context())
			if at := s.desk.Snapshot().Now; at.Sub(right).Abs() > 3*time.Hour {
				t.Errorf("the pages are worked out as of %v, the newest change is of %v", at, right)
			}
			for _, path := range []string{"/", "/due", "/clock/moot-hall"} {
				if page := textOf(s.page(path)); !strings.Contains(page, "before the newest change in the database (25 Nov 2026 at 08:00:00 UTC)") || !strings.Contains(page, "--clock-is-right") {
					t.Errorf("%s does not say that the clock is wrong: %.600s", path, page)
				}
			}
			if code, _ := s.get("/readyz"); code != http.StatusServiceUnavailable {
				t.Errorf("/readyz answers %d", code)
			}
			if v, ok := s.metric("endshake_time_believed"); !ok || v != 0 {
				t.Errorf("endshake_time_believed is %v, %v", v, ok)
			}
			if n := s.said.of("is wrong"); n != 1 {
				t.Errorf("the log says it %d times", n)
			}
			s.jump(right.Add(72 * time.Hour).Sub(s.clock())) // a time server was reached
			s.pass(11 * time.Minute)
			if v, ok := s.metric("endshake_time_believed"); !ok || v != 1 {
				t.Errorf("set right, endshake_time_believed is %v, %v", v, ok)
			}
			if got := s.runsOf("learn")["done"]; got != 1 {
				t.Errorf("set right, learn was done %d times, want once", got)
			}
			if code, _ := s.get("/readyz"); code != http.StatusOK {
				t.Errorf("set right, /readyz answers %d", code)
			}
		})
	}
}

// Where the database holds a later change and the clock is right all the same, whoever
// runs the service says so once; what is then logged is the newest change.
func TestClockIsRight(t *testing.T) {
	h, smtp := furnish(t, t.TempDir(), "2036-11-25 08:00", func(*schedule.Fleet) {})
	h.set("2026-11-25 08:00")
	s := startStepping(t, h, smtp, func(o *Options) { o.ClockIsRight = true })
	s.pass(time.Minute)
	if doubt := s.Daemon.clock.doubt(); doubt != "" {
		t.Fatal(doubt)
	}
	s.house.log("moot-hall", "noted", map[string]string{"note": "the clock is right"})
	s.stop()
	h.http.CloseIdleConnections()
	h2 := &house{t: t, dir: h.dir, sink: h.sink}
	h2.set("2026-11-25 08:30")
	again := startStepping(t, h2, smtp, nil)
	if doubt := again.Daemon.clock.doubt(); doubt != "" {
		t.Errorf("started again: %s", doubt)
	}
}
