package dbtest

import (
	"fmt"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"endshake/db"
	"endshake/schedule"
)

func date(day int) schedule.Date {
	return schedule.Date{Year: 2026, Month: time.November, Day: day}
}

func claim(t *testing.T, s *db.Store, occ schedule.Date, owner string, now time.Time) (int, bool) {
	t.Helper()
	attempt, ok, err := s.ClaimRun(t.Context(), "due-list", occ, owner, now, 10*time.Minute)
	must(t, err)
	return attempt, ok
}

func claimRun(t *testing.T, address string, s *db.Store) {
	for _, step := range []struct {
		what    string
		day     int
		owner   string
		minute  int
		attempt int
		ok      bool
	}{
		{"free", 1, "a", 0, 1, true},
		{"held", 1, "b", 5, 0, false},
		{"held, at the last instant", 1, "b", 10, 0, false},
		{"held, by itself", 1, "a", 5, 0, false},
		{"another day", 2, "b", 5, 1, true},
		{"lease over", 1, "b", 11, 2, true},
		{"lease anew", 1, "a", 12, 0, false},
	} {
		attempt, ok := claim(t, s, date(step.day), step.owner, minutes(step.minute))
		if attempt != step.attempt || ok != step.ok {
			t.Errorf("%s: attempt %d, %v; want %d, %v", step.what, attempt, ok, step.attempt, step.ok)
		}
	}
	if _, ok, err := s.LastRun(t.Context(), "due-list", Day); ok || err != nil {
		t.Errorf("a last run before any is done: %v, %v", ok, err)
	}
	// A day that could not be read back would hide every other.
	never := schedule.Date{Year: 10000, Month: 1, Day: 1}
	_, _, err := s.ClaimRun(t.Context(), "due-list", never, "a", Day, time.Minute)
	wantCode(t, err, schedule.Invalid)
	wantCode(t, s.FinishRun(t.Context(), "due-list", date(1), "b", Day, "", nil, []schedule.Date{never}), schedule.Invalid)
	if _, err := s.Runs(t.Context(), 10); err != nil {
		t.Error(err)
	}
}

// beginOnce: the first to begin a job says when that was, whoever asks later.
func beginOnce(t *testing.T, address string, s *db.Store) {
	var firsts atomic.Int32
	var wg sync.WaitGroup
	for i := range 4 {
		wg.Go(func() {
			_, first, err := s.Begin(t.Context(), "letters", fmt.Sprint("daemon ", i), Day)
			if err != nil {
				t.Error(err)
			}
			if first {
				firsts.Add(1)
			}
		})
	}
	wg.Wait()
	at, first, err := s.Begin(t.Context(), "letters", "later", minutes(90))
	must(t, err)
	if firsts.Load() != 1 || first || !at.Equal(Day) {
		t.Errorf("%d were the first; later it was begun at %v, first %v; want one, %v, and no", firsts.Load(), at, first, Day)
	}
	if _, first, err = s.Begin(t.Context(), "another", "later", minutes(90)); err != nil || !first {
		t.Errorf("another job: first %v, %v", first, err)
	}
	if _, known, err := s.LastRun(t.Context(), "learn", Day); known || err != nil {
		t.Errorf("a job that was not begun has a last run: %v, %v", known, err)
	}
}

func finishRun(t *testing.T, address string, s *db.Store) {
	ctx := t.Context()
	finish := func(day int, owner string, minute int, owed []schedule.Notice, merged ...schedule.Date) error {
		return s.FinishRun(ctx, "due-list", date(day), owner, minutes(minute), "done by "+owner, owed, merged)
	}
	claim(t, s, date(5), "a", minutes(0))
	claim(t, s, date(5), "b", minutes(11)) // a's lease is over
	wantCode(t, finish(5, "a", 12, []schedule.Notice{notice("late")}, date(4)), schedule.Conflict)
	if n := count(t, address, `SELECT count(*) FROM notice`); n != 0 {
		t.Errorf("%d notices of a run that was lost", n)
	}
	if runs, err := s.Runs(ctx, 10); err != nil || len(runs) != 1 || runs[0].State != db.RunRunning || runs[0].Owner != "b" {
		t.Errorf("runs after a lost one: %+v, %v", runs, err)
	}

	claim(t, s, date(3), "c", minutes(0)) // left behind
	claim(t, s, date(2), "c", minutes(13))
	must(t, finish(5, "b", 14, []schedule.Notice{notice("n1"), notice("n1"), notice("n2")}, date(2), date(3), date(4)))
	wantCode(t, finish(5, "b", 15, []schedule.Notice{notice("n3")}), schedule.Conflict)
	if n := count(t, address, `SELECT count(*) FROM notice`); n != 2 {
		t.Errorf("%d notices, want 2", n)
	}
	runs, err := s.Runs(ctx, 10)
	must(t, err)
	at := minutes(14)
	wantEqual(t, "runs", runs, []db.Run{
		{Job: "due-list", Occurrence: date(5), State: db.RunDone, Attempt: 2, Owner: "b", DoneAt: at, Note: "done by b"},
		{Job: "due-list", Occurrence: date(4), State: db.RunMerged, Owner: "b", DoneAt: at, Note: "made good by 2026-11-05"},
		{Job: "due-list", Occurrence: date(3), State: db.RunMerged, Attempt: 1, Owner: "b", DoneAt: at, Note: "made good by 2026-11-05"},
		{Job: "due-list", Occurrence: date(2), State: db.RunRunning, Attempt: 1, Owner: "c"}, // held by another
	})
	if few, err := s.Runs(ctx, 1); err != nil || len(few) != 1 {
		t.Errorf("limit 1 gives %d, %v", len(few), err)
	}
	last, ok, err := s.LastRun(ctx, "due-list", at)
	if err != nil || !ok || last != date(5) {
		t.Errorf("last run %v, %v, %v", last, ok, err)
	}
	for _, day := range []int{5, 4} {
		if _, ok := claim(t, s, date(day), "d", minutes(1000)); ok {
			t.Errorf("the %dth was claimed again", day)
		}
	}
}

// wrongClock: what was done, made good, claimed and begun under a clock that stood
// years ahead hinders nothing once it is right again, and goes with the next run.
func wrongClock(t *testing.T, address string, s *db.Store) {
	ctx, ahead := t.Context(), Day.AddDate(2, 0, 0)
	claim(t, s, date(9), "a", minutes(0))
	must(t, s.FinishRun(ctx, "due-list", date(9), "a", minutes(1), "true", nil, nil))
	wrong := schedule.DateOf(ahead, time.UTC)
	claim(t, s, wrong, "a", ahead)
	must(t, s.FinishRun(ctx, "due-list", wrong, "a", ahead, "false", nil, []schedule.Date{date(10), date(11)}))
	claim(t, s, date(12), "a", ahead) // and killed
	_, _, err := s.Begin(ctx, "letters", "a", ahead)
	must(t, err)
	if last, ok, err := s.LastRun(ctx, "due-list", minutes(20)); err != nil || !ok || last != date(9) {
		t.Errorf("the last run is %v, %v, %v; want that of the 9th", last, ok, err)
	}
	if _, ok := claim(t, s, date(9), "b", minutes(-59)); ok { // two machines may differ by so much
		t.Error("what was done an hour ahead was claimed again")
	}
	for _, day := range []int{12, 10} {
		if attempt, ok := claim(t, s, date(day), "b", minutes(20)); !ok || attempt != map[int]int{12: 2, 10: 1}[day] {
			t.Errorf("the %dth: attempt %d, %v", day, attempt, ok)
		}
	}
	must(t, s.FinishRun(ctx, "due-list", date(10), "b", minutes(21), "again", nil, nil))
	runs, err := s.Runs(ctx, 10)
	must(t, err)
	wantEqual(t, "runs", runs, []db.Run{
		{Job: "due-list", Occurrence: date(12), State: db.RunRunning, Attempt: 2, Owner: "b"},
		{Job: "due-list", Occurrence: date(10), State: db.RunDone, Attempt: 1, Owner: "b", DoneAt: minutes(21), Note: "again"},
		{Job: "due-list", Occurrence: date(9), State: db.RunDone, Attempt: 1, Owner: "a", DoneAt: minutes(1), Note: "true"},
		{Job: "letters", Occurrence: schedule.Date{Year: 1970, Month: 1, Day: 1}, State: db.RunDone, Attempt: 1, Owner: "a", DoneAt: ahead, Note: "first begun"},
	})
	if at, _, err := s.Begin(ctx, "letters", "b", minutes(30)); err != nil || !at.Equal(minutes(30)) {
		t.Errorf("letters were first begun at %v, %v", at, err)
	}
}

// runsSideBySide: twenty occurrences, eight workers over two stores, some of
// which give up in the middle: each is done once, with one notice.
func runsSideBySide(t *testing.T, address string, s *db.Store) {
	stores := []*db.Store{s, Open(t, address)}
	var finished atomic.Int32
	round := func(now time.Time, giveUp bool) {
		var wg sync.WaitGroup
		for w := range 8 {
			wg.Go(func() {
				owner := fmt.Sprintf("%d at %v", w, now)
				for day := 1; day <= 20; day++ {
					_, ok, err := stores[w%2].ClaimRun(t.Context(), "due-list", date(day), owner, now, 10*time.Minute)
					if err != nil {
						t.Error(err)
					}
					if !ok || (giveUp && day%3 == 0) {
						continue
					}
					err = stores[w%2].FinishRun(t.Context(), "due-list", date(day), owner, now, "", []schedule.Notice{notice(date(day).String())}, nil)
					if err != nil {
						t.Error(err)
					}
					finished.Add(1)
				}
			})
		}
		wg.Wait()
	}
	round(minutes(0), true)
	if n := finished.Load(); n != 14 {
		t.Errorf("%d finished, want 14", n)
	}
	round(minutes(11), false)
	if n := finished.Load(); n != 20 {
		t.Errorf("%d finished, want 20", n)
	}
	if n := count(t, address, `SELECT count(*) FROM notice`); n != 20 {
		t.Errorf("%d notices, want 20", n)
	}
}
