package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"endshake/daemon"
	sink "endshake/daemon/mail"
	"endshake/db"
	"endshake/schedule"
)

// TestKilledMakingTheLists kills the daemon while the month's due-lists are being
// owed (K23): each of their readers gets one all the same, and no more.
func TestKilledMakingTheLists(t *testing.T) {
	const readers = 6
	program := buildWithFailpoints(t)
	seeds := killSeeds
	if testing.Short() {
		seeds = 3
	}
	var runs []*killRun
	for seed := range seeds {
		r := &killRun{point: "K23", nth: 1 + seed%readers, dir: t.TempDir(), sink: sink.NewSink(100)}
		var err error
		if r.smtp, err = r.sink.Start("127.0.0.1:0"); err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { r.sink.Stop(context.Background()) })
		readersOf(t, filepath.Join(r.dir, "endshake.db"), readers)
		runs = append(runs, r)
	}
	two(runs, func(r *killRun) { r.die(t, program) })
	for _, r := range runs {
		if n := r.lists(t); len(n) != 0 {
			t.Errorf("killed at letter %d: %d letters are owed of a transaction that never ended", r.nth, len(n))
		}
	}
	two(runs, func(r *killRun) { r.finishLists(t, program, readers) })
	for _, r := range runs {
		got := map[string]int{}
		for _, n := range r.lists(t) {
			got[n.To]++
		}
		arrived := r.ledger(t)
		for _, n := range r.lists(t) {
			if arrived[n.MessageID] != 1 {
				t.Errorf("killed at letter %d: the list of %s came %d times", r.nth, n.To, arrived[n.MessageID])
			}
		}
		for i := range readers {
			if to := fmt.Sprintf("reader%d@example.org", i); got[to] != 1 {
				t.Errorf("killed at letter %d: %s is owed %d lists", r.nth, to, got[to])
			}
		}
	}
}

// readersOf makes a database with a clock that several people keep, each to have
// the due-list of the month by now.
func readersOf(t *testing.T, path string, readers int) {
	t.Helper()
	data, err := os.ReadFile(fleetFile)
	if err != nil {
		t.Fatal(err)
	}
	fleet, err := schedule.ParseFleet(data)
	if err != nil {
		t.Fatal(err)
	}
	now := time.Now().UTC()
	noon := fmt.Sprintf("Etc/GMT%+d", now.Hour()-12) // where it is about noon
	zone, err := time.LoadLocation(noon)
	if err != nil {
		t.Fatal(err)
	}
	fleet.People, fleet.Clocks = nil, fleet.Clocks[:1]
	fleet.Clocks[0].Duties = nil
	for i := range readers {
		slug := fmt.Sprintf("reader%d", i)
		day := min(28, schedule.DateOf(now, zone).Add(-1).Day)
		fleet.People = append(fleet.People, schedule.Person{Slug: slug, Name: "A reader", Email: slug + "@example.org", Zone: noon, Mail: schedule.Wishes{Day: day}})
		fleet.Clocks[0].Duties = append(fleet.Clocks[0].Duties, schedule.Duty{Person: slug, Role: schedule.Keeper})
	}
	ctx := context.Background()
	store, err := db.Open(ctx, "sqlite:"+path)
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	if _, _, err := store.Migrate(ctx); err != nil {
		t.Fatal(err)
	}
	if err := store.SaveFleet(ctx, "test", now, fleet, nil); err != nil {
		t.Fatal(err)
	}
	if _, _, err := store.Begin(ctx, daemon.LettersJob, "test", now.AddDate(0, 0, -40)); err != nil {
		t.Fatal(err)
	}
}

// lists are the due-lists that are owed, or were.
func (r *killRun) lists(t *testing.T) []schedule.Notice {
	t.Helper()
	store := r.open(t)
	defer store.Close()
	list, err := store.Notices(context.Background(), 100)
	if err != nil {
		t.Fatal(err)
	}
	var out []schedule.Notice
	for _, n := range list {
		if n.Kind == schedule.DueList {
			out = append(out, n)
		}
	}
	return out
}

// finishLists runs a daemon that nobody kills until all lists are sent.
func (r *killRun) finishLists(t *testing.T, program string, readers int) {
	cmd := r.command(program, "")
	if err := cmd.Start(); err != nil {
		t.Error(err)
		return
	}
	defer func() {
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
	}()
	for range 1500 {
		sent := 0
		for _, n := range r.lists(t) {
			if n.State == schedule.Sent {
				sent++
			}
		}
		if sent == readers {
			return
		}
		time.Sleep(20 * time.Millisecond)
	}
	t.Errorf("killed at letter %d: the lists are not all sent: %+v", r.nth, r.lists(t))
}
