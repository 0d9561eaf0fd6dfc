package daemon

import (
	"context"
	"errors"
	"log/slog"
	"slices"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"endshake/db"
	"endshake/schedule"
)

func day(t *testing.T, s string) schedule.Date {
	t.Helper()
	d, err := schedule.ParseDate(s)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func zone(t *testing.T, name string) *time.Location {
	t.Helper()
	z, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return z
}

// Every local date once, across both changes of clocks. The zones and times
// are those at which the cron library alone misses or doubles a run in the tz
// database's own rules (checked against robfig/cron v3.0.1).
func TestOccurrencesAcrossChangesOfClocks(t *testing.T) {
	tests := []struct {
		zone         string
		hour, minute int
		year         int
	}{
		{"Europe/London", 1, 30, 2026},
		{"Europe/Berlin", 2, 30, 2026},
		{"America/New_York", 2, 30, 2026},
		{"America/New_York", 1, 30, 2026},
		{"America/Sao_Paulo", 0, 0, 2018},
		{"Africa/Cairo", 0, 0, 2026},
		{"Asia/Beirut", 0, 0, 2026},
		{"America/Havana", 0, 0, 2026},
		{"Australia/Lord_Howe", 2, 15, 2026},
		{"Australia/Lord_Howe", 1, 45, 2026},
	}
	for _, tt := range tests {
		z := zone(t, tt.zone)
		j := Job{Name: "test", Hour: tt.hour, Minute: tt.minute}
		last := schedule.Date{Year: tt.year - 1, Month: time.December, Day: 31}
		var got []schedule.Date
		// Woken every ten minutes, as cron would at an unlucky pace.
		for now := time.Date(tt.year, 1, 1, 0, 0, 0, 0, z); now.Before(time.Date(tt.year+1, 1, 1, 0, 0, 0, 0, z)); now = now.Add(10 * time.Minute) {
			owed := j.Occurrences(last, now, z)
			if len(owed) > 0 {
				got, last = append(got, owed...), owed[len(owed)-1]
			}
		}
		if len(got) != 365 {
			t.Errorf("%s %02d:%02d: %d occurrences in %d, want 365", tt.zone, tt.hour, tt.minute, len(got), tt.year)
		}
		for i := 1; i < len(got); i++ {
			if got[i] != got[i-1].Add(1) {
				t.Errorf("%s: %v follows %v", tt.zone, got[i], got[i-1])
			}
		}
	}
}

func TestOccurrences(t *testing.T) {
	z := zone(t, "Europe/London")
	daily := Job{Name: "d", Hour: 6, Minute: 30}
	tests := []struct {
		name  string
		job   Job
		after string
		now   time.Time
		want  []string
	}{
		{"not yet today", daily, "2026-11-24", time.Date(2026, 11, 25, 6, 29, 59, 0, z), nil},
		{"on the minute", daily, "2026-11-24", time.Date(2026, 11, 25, 6, 30, 0, 0, z), []string{"2026-11-25"}},
		{"done already", daily, "2026-11-25", time.Date(2026, 11, 25, 23, 0, 0, 0, z), nil},
		{"three days down", daily, "2026-11-22", time.Date(2026, 11, 25, 8, 0, 0, 0, z), []string{"2026-11-23", "2026-11-24", "2026-11-25"}},
		{"over the new year", daily, "2026-12-31", time.Date(2027, 1, 1, 6, 30, 0, 0, z), []string{"2027-01-01"}},
		{"the clock stepped back", daily, "2026-11-25", time.Date(2026, 11, 20, 8, 0, 0, 0, z), nil},
	}
	for _, tt := range tests {
		var got []string
		for _, d := range tt.job.Occurrences(day(t, tt.after), tt.now, z) {
			got = append(got, d.String())
		}
		if !slices.Equal(got, tt.want) {
			t.Errorf("%s: Occurrences = %v, want %v", tt.name, got, tt.want)
		}
	}
	if got := daily.Occurrences(schedule.Date{}, time.Date(2026, 11, 25, 8, 0, 0, 0, z), z); len(got) > longestGap {
		t.Errorf("no history gives %d occurrences, want no more than %d", len(got), longestGap)
	}
}

// memoryBook keeps runs as the store does, without a database, so that time
// can be simulated.
type memoryBook struct {
	mu     sync.Mutex
	done   map[string]schedule.Date
	runs   []string // "job date"
	merged []schedule.Date
	claims int
	fail   int // FinishRun fails this often first
}

func (b *memoryBook) LastRun(_ context.Context, job string, _ time.Time) (schedule.Date, bool, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	d, ok := b.done[job]
	return d, ok, nil
}

func (b *memoryBook) ClaimRun(context.Context, string, schedule.Date, string, time.Time, time.Duration) (int, bool, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.claims++
	return b.claims, true, nil
}

func (b *memoryBook) FinishRun(_ context.Context, job string, occ schedule.Date, _ string, _ time.Time, _ string, _ []schedule.Notice, merged []schedule.Date) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.fail > 0 {
		b.fail--
		return errors.New("the lease was lost")
	}
	b.done[job] = occ
	b.runs = append(b.runs, job+" "+occ.String())
	b.merged = append(b.merged, merged...)
	return nil
}

// emptyLedger is a fleet of nothing.
type emptyLedger struct{ Ledger }

func (emptyLedger) ReadableFleet(context.Context) (schedule.Fleet, error) {
	return schedule.Fleet{}, nil
}
func (emptyLedger) ReadableLog(context.Context) (map[string][]schedule.Entry, map[string][]string, error) {
	return nil, nil, nil
}
func (emptyLedger) Head(context.Context) (db.Head, error) { return db.Head{Revision: 1}, nil }

func (emptyLedger) Learned(context.Context) (schedule.Learned, bool, error) {
	return schedule.Learned{}, false, nil
}

func (emptyLedger) LearnedVersion(context.Context, int) (schedule.Learned, bool, error) {
	return schedule.Learned{}, false, nil
}

func (emptyLedger) SaveLearned(_ context.Context, l schedule.Learned) (schedule.Learned, error) {
	l.Version = 1
	return l, nil
}

func testRunner(book *memoryBook, z *time.Location) *runner {
	desk, err := OpenDesk(context.Background(), emptyLedger{}, time.Now)
	if err != nil {
		panic(err)
	}
	return &runner{book: book, desk: desk, zone: z, owner: "test", now: time.Now, log: slog.New(slog.DiscardHandler),
		done: func(string, time.Duration, time.Time, error) {}}
}

// The real scheduler in simulated time: ninety days give ninety lessons, and the
// loop ends when it is told to.
func TestWakeRunsEveryOccurrenceOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		z := zone(t, "Europe/London")
		book := &memoryBook{done: map[string]schedule.Date{"learn": schedule.DateOf(time.Now(), z).Add(-1)}}
		r := testRunner(book, z)
		ctx, cancel := context.WithCancel(t.Context())
		ended := make(chan struct{})
		go func() {
			defer close(ended)
			wake(ctx, r.log, r.Wake)
		}()
		// The bubble's time starts on 1 Jan 2000.
		time.Sleep(90*24*time.Hour + time.Minute)
		cancel()
		<-ended
		if len(book.runs) != 90 || len(book.merged) != 0 {
			t.Errorf("90 days gave %d lessons, %d merged; want 90 and none", len(book.runs), len(book.merged))
		}
		if slices.Sort(book.runs); len(slices.Compact(book.runs)) != 90 {
			t.Error("an occurrence was run twice")
		}
	})
}

func TestWakeSurvivesAPanic(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		n := 0
		ctx, cancel := context.WithCancel(t.Context())
		ended := make(chan struct{})
		go func() {
			defer close(ended)
			wake(ctx, slog.New(slog.DiscardHandler), func(context.Context) {
				if n++; n%2 == 1 { // the first call too
					panic("a bad job")
				}
			})
		}()
		time.Sleep(10*wakeEvery + time.Second)
		cancel()
		<-ended
		if n < 11 {
			t.Errorf("woken %d times with panics between, want 11", n)
		}
	})
}

func TestRunnerMergesWhatWasMissed(t *testing.T) {
	z := zone(t, "Europe/London")
	book := &memoryBook{done: map[string]schedule.Date{"learn": day(t, "2026-11-22")}}
	r := testRunner(book, z)
	r.now = func() time.Time { return time.Date(2026, 11, 25, 9, 0, 0, 0, z) }
	r.Wake(t.Context())
	want := []string{"learn 2026-11-25"}
	if !slices.Equal(book.runs, want) || len(book.merged) != 2 {
		t.Errorf("ran %v after the downtime and merged %v, want the latest, %v, and two nights merged", book.runs, book.merged, want)
	}
	r.Wake(t.Context())
	if !slices.Equal(book.runs, want) {
		t.Errorf("a second wake ran again: %v", book.runs)
	}
}

// Before the first start there is a log to learn from, and nothing to make good.
func TestRunnerFirstStart(t *testing.T) {
	z := zone(t, "Europe/London")
	book := &memoryBook{done: map[string]schedule.Date{}}
	r := testRunner(book, z)
	r.now = func() time.Time { return time.Date(2026, 11, 25, 9, 0, 0, 0, z) }
	r.Wake(t.Context())
	if !slices.Equal(book.runs, []string{"learn 2026-11-25"}) || len(book.merged) != 0 {
		t.Errorf("first start: runs %v, merged %v; want one lesson and none merged", book.runs, book.merged)
	}
}

func TestRunnerReportsAFailureAndTriesAgain(t *testing.T) {
	z := zone(t, "Europe/London")
	book := &memoryBook{done: map[string]schedule.Date{"learn": day(t, "2026-11-24")}, fail: 1}
	r := testRunner(book, z)
	var errs []error
	r.done = func(_ string, _ time.Duration, _ time.Time, err error) { errs = append(errs, err) }
	r.now = func() time.Time { return time.Date(2026, 11, 25, 9, 0, 0, 0, z) }
	r.Wake(t.Context())
	r.Wake(t.Context())
	if len(errs) != 2 || errs[0] == nil || errs[1] != nil {
		t.Errorf("outcomes %v, want a failure and then none", errs)
	}
	if !slices.Equal(book.runs, []string{"learn 2026-11-25"}) {
		t.Errorf("runs %v, want the one occurrence once", book.runs)
	}
}
