package daemon

import (
	"os"
	"testing"
	"time"

	"endshake/db/dbtest"
	"endshake/schedule"
)

// Nothing is taught until the fleet was learned from; then the lesson is the
// one stored, and what the answers for a clock rest on.
func TestLesson(t *testing.T) {
	data, err := os.ReadFile("testdata/fleet.json")
	if err != nil {
		t.Fatal(err)
	}
	fleet, err := schedule.ParseFleet(data)
	if err != nil {
		t.Fatal(err)
	}
	store := dbtest.Open(t, t.TempDir())
	now := time.Date(2026, 11, 25, 10, 0, 0, 0, time.UTC)
	if err := store.SaveFleet(t.Context(), "test", now, fleet, nil); err != nil {
		t.Fatal(err)
	}
	desk, err := OpenDesk(t.Context(), store, func() time.Time { return now })
	if err != nil {
		t.Fatal(err)
	}
	if l, ok := desk.Lesson(); ok {
		t.Errorf("before anything was learned: %+v", l)
	}
	taught, err := desk.Teach(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	l, ok := desk.Lesson()
	if !ok || l.Version != 1 || taught.Version != 1 || !l.FittedAt.Equal(now) {
		t.Errorf("number %d of %v, %v", l.Version, l.FittedAt, ok)
	}
	f, err := desk.Facts(t.Context(), fleet.Clocks[0].Slug)
	if err != nil || f.Model.Learned == nil || f.Model.Learned.Version != 1 {
		t.Errorf("the facts rest on %+v, %v", f.Model.Learned, err)
	}
	// What was taught before is at hand after the next lesson, and after a restart.
	if was, ok := desk.Former(); ok {
		t.Errorf("before the first lesson there was %+v", was)
	}
	for range 2 {
		if _, err := desk.Teach(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	again, err := OpenDesk(t.Context(), store, func() time.Time { return now })
	if err != nil {
		t.Fatal(err)
	}
	for name, d := range map[string]*Desk{"the same desk": desk, "after a restart": again} {
		l, _ := d.Lesson()
		if was, ok := d.Former(); !ok || was.Version != 2 || l.Version != 3 {
			t.Errorf("%s: number %d, before it %d (%v)", name, l.Version, was.Version, ok)
		}
	}
	if _, err := again.Teach(t.Context()); err != nil {
		t.Fatal(err)
	}
	if ok, err := desk.Follow(t.Context()); err != nil || !ok {
		t.Fatalf("nothing was followed: %v", err)
	}
	if was, _ := desk.Former(); was.Version != 3 {
		t.Errorf("after another process learned there is number %d before", was.Version)
	}
}
