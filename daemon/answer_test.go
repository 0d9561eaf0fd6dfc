package daemon

import (
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"endshake/db"
	"endshake/db/dbtest"
	"endshake/schedule"
)

// answering is one moot hall clock on a database, and two desks on it that know
// of each other only by the database.
func answering(t *testing.T, address string) (desks [2]*Desk, store *db.Store, now time.Time) {
	t.Helper()
	data, err := os.ReadFile("testdata/fleet.json")
	if err != nil {
		t.Fatal(err)
	}
	fleet, err := schedule.ParseFleet(data)
	if err != nil {
		t.Fatal(err)
	}
	now = at(t, "2026-11-25 10:00").UTC()
	store = dbtest.Open(t, address)
	if err := store.SaveFleet(t.Context(), "test", now, fleet, nil); err != nil {
		t.Fatal(err)
	}
	if err := store.AppendAll(t.Context(), "test", now.Add(-24*time.Hour), wound(t, "2026-01-01 09:00", "2026-11-17 09:00")); err != nil {
		t.Fatal(err)
	}
	stores := [2]*db.Store{store, dbtest.Open(t, address)}
	for i := range desks {
		if desks[i], err = OpenDesk(t.Context(), stores[i], func() time.Time { return now }); err != nil {
			t.Fatal(err)
		}
	}
	return desks, store, now
}

// winder is the pass of a person to wind the moot hall, one for each letter.
func winder(person, letter string, now time.Time) schedule.Pass {
	return schedule.Pass{Token: strings.Repeat(letter, 32), Deed: schedule.Answering, Person: person, Clock: "moot-hall", Task: schedule.Winding, Subject: "going", Made: now.Add(-2 * time.Hour)}
}

func onBoth(t *testing.T, do func(t *testing.T, address string)) {
	t.Run("sqlite", func(t *testing.T) { do(t, dbtest.SQLite(t)) })
	t.Run("postgres", func(t *testing.T) { do(t, dbtest.Postgres(t)) })
}

// Of many who answer for one task at once, at two desks and each with a letter
// of their own, one is logged; the others are told by whom it was.
func TestOneOfManyAnswersIsLogged(t *testing.T) {
	onBoth(t, func(t *testing.T, address string) {
		desks, store, now := answering(t, address)
		before, err := store.Entries(t.Context(), "moot-hall")
		if err != nil {
			t.Fatal(err)
		}
		var mu sync.Mutex
		logged, refused := 0, 0
		var wg sync.WaitGroup
		start := make(chan struct{})
		for i, letter := range strings.Split("abcdefgh", "") {
			desk, p := desks[i%2], winder([]string{"ned", "ada"}[i/2%2], letter, now)
			a, _ := desk.Snapshot().Clock("moot-hall")
			if err := p.Open(a, desk.Snapshot().Fleet, now); err != nil {
				t.Fatalf("judged before any is logged: %v", err)
			}
			e, err := p.Entry(schedule.Answer{Said: schedule.SaidDone}, a, now.Add(time.Duration(i-8)*time.Millisecond))
			if err != nil {
				t.Fatal(err)
			}
			wg.Go(func() {
				<-start
				_, err := desk.LogAnswer(t.Context(), p, e)
				mu.Lock()
				defer mu.Unlock()
				switch said := ""; {
				case err == nil:
					logged++
				default:
					said = err.Error()
					refused++
					if schedule.CodeOf(err) != schedule.Conflict || !strings.Contains(said, "logged as wound by Ned Sallowby at 09:59 on 25 Nov 2026") && !strings.Contains(said, "logged as wound by Ada Wintergarth at 09:59 on 25 Nov 2026") {
						t.Errorf("refused with %q", said)
					}
				}
			})
		}
		close(start)
		wg.Wait()
		after, err := store.Entries(t.Context(), "moot-hall")
		if err != nil || logged != 1 || refused != 7 || len(after) != len(before)+1 {
			t.Errorf("%d logged, %d refused, the log grew by %d, %v; want 1, 7 and 1", logged, refused, len(after)-len(before), err)
		}
		for i, d := range desks { // who was refused shows what was logged elsewhere
			if a, _ := d.Snapshot().Clock("moot-hall"); len(a.Entries) != len(after) {
				t.Errorf("desk %d knows of %d entries, want %d", i, len(a.Entries), len(after))
			}
		}
		// The task comes round: the next letter is answered.
		p := winder("ned", "z", now)
		p.Made = now.Add(time.Millisecond)
		a, _ := desks[1].Snapshot().Clock("moot-hall")
		e, err := p.Entry(schedule.Answer{Said: schedule.SaidStopped}, a, now)
		if err == nil {
			_, err = desks[1].LogAnswer(t.Context(), p, e)
		}
		if err != nil {
			t.Errorf("the next letter: %v", err)
		}
	})
}

// That it is not done, said twice on a day for one reason, is one fact, wherever
// it was said; on another day it is a new one.
func TestNotDoneAgain(t *testing.T) {
	onBoth(t, func(t *testing.T, address string) {
		desks, store, now := answering(t, address)
		p := winder("ned", "a", now)
		say := func(because string, when time.Time) (errs []error) {
			var mu sync.Mutex
			var wg sync.WaitGroup
			for i := range 6 {
				d := desks[i%2]
				a, _ := d.Snapshot().Clock("moot-hall")
				e, err := p.Entry(schedule.Answer{Said: schedule.SaidNot, Because: because}, a, when.Add(time.Duration(i)*time.Millisecond))
				if err != nil {
					t.Fatal(err)
				}
				e.Source = []string{"link", "reply"}[i/2%2]
				wg.Go(func() {
					_, err := d.LogAnswer(t.Context(), p, e)
					mu.Lock()
					defer mu.Unlock()
					errs = append(errs, err)
				})
			}
			wg.Wait()
			return errs
		}
		for i, c := range []struct {
			because string
			when    time.Time
			want    int
		}{
			{"ladder locked", now.Add(-30 * time.Minute), 1}, {"ladder locked", now.Add(-10 * time.Minute), 1}, {"ice on the stairs", now.Add(-5 * time.Minute), 2},
			{"ladder locked", now.AddDate(0, 0, -1), 3}, {"ladder locked", now.AddDate(0, 0, -7), 4},
		} {
			for _, err := range say(c.because, c.when) {
				if err != nil {
					t.Errorf("%d: %v", i, err)
				}
			}
			log, err := store.Entries(t.Context(), "moot-hall")
			if err != nil {
				t.Fatal(err)
			}
			n := 0
			for _, e := range log {
				if e.Kind == schedule.Noted {
					n++
				}
			}
			if n != c.want {
				t.Errorf("%d: %d notes, want %d", i, n, c.want)
			}
		}
	})
}
