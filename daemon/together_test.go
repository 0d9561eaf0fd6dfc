package daemon

import (
	"errors"
	"reflect"
	"slices"
	"testing"

	"endshake/db"
	"endshake/schedule"
)

// A card is logged whole or not at all, once, and with pictures kept in one go;
// the desk knows what the store holds.
func TestLogTogether(t *testing.T) {
	h := open(t, "2026-11-25 10:00")
	ctx := t.Context()
	c := h.desk.Snapshot().Fleet.Clocks[0]
	line := func(key, when string, kind schedule.EntryKind) schedule.Entry {
		e := schedule.Entry{Clock: c.Slug, Kind: kind, At: at(t, when), Source: "page", Key: key}
		if kind == schedule.Stopped {
			e.Cause = schedule.Birds
		}
		if kind == schedule.Inspected {
			e.Found = schedule.Sound
		}
		return e
	}
	// In the order of the paper the start comes first, and could not be logged.
	card := []schedule.Entry{line("c 1", "2026-11-24 09:00", schedule.Started), line("c 2", "2026-11-24 08:00", schedule.Stopped), line("c 3", "2026-11-26 08:00", schedule.Inspected)}
	before, err := h.store.Entries(ctx, c.Slug)
	if err != nil {
		t.Fatal(err)
	}
	_, err = h.desk.LogTogether(ctx, card)
	var one *schedule.OneOfMany
	if !errors.As(err, &one) || one.Key != "c 3" || schedule.CodeOf(err) != schedule.Invalid {
		t.Fatalf("a line that lies ahead: %v", err)
	}
	if after, err := h.store.Entries(ctx, c.Slug); err != nil || len(after) != len(before) {
		t.Fatalf("%d entries are kept of what was refused, %v", len(after)-len(before), err)
	}
	card[2].At = at(t, "2026-11-24 10:00")
	for _, want := range []int{3, 0} { // the second time it is there already
		stored, err := h.desk.LogTogether(ctx, card)
		if err != nil || len(stored) != want {
			t.Fatalf("%d stored, %v, want %d", len(stored), err, want)
		}
	}
	// Whoever typed it in did it, whoever the lines name.
	typed := line("by 1", "2026-11-24 11:00", schedule.Inspected)
	typed.By, typed.Source = c.Duties[0].Person, schedule.PagePrefix+"a-typist"
	if _, err := h.desk.LogTogether(ctx, []schedule.Entry{typed}); err != nil {
		t.Fatal(err)
	}
	rows, err := h.store.Audit(ctx, 2)
	rows = slices.DeleteFunc(rows, func(r db.AuditRow) bool { return r.Action == "learned" }) // at the start, sooner or later
	if err != nil || len(rows) == 0 || rows[0].Action != "logged together" || rows[0].Actor != "a-typist" {
		t.Errorf("the audit says %+v, %v", rows, err)
	}
	card[0].Note = "another word"
	if _, err := h.desk.LogTogether(ctx, card); schedule.CodeOf(err) != schedule.Conflict {
		t.Errorf("changed with the same key: %v", err)
	}
	p := schedule.Picture{Words: "Noted", Width: 4, Height: 3, JPEG: []byte("jpeg"), Small: []byte("small")}
	e := line("d", "2026-11-25 09:00", schedule.Noted)
	e.Note = "black paste"
	for range 2 {
		if _, err := h.desk.LogShown(ctx, e, []schedule.Picture{p}); err != nil {
			t.Fatal(err)
		}
	}
	all, err := h.store.Pictures(ctx, c.Slug)
	if err != nil || len(all) != 1 {
		t.Errorf("%d pictures, %v", len(all), err)
	}
	stored, err := h.store.Entries(ctx, c.Slug)
	if err != nil {
		t.Fatal(err)
	}
	if facts, err := h.desk.Facts(ctx, c.Slug); err != nil || !reflect.DeepEqual(stored, facts.Entries) {
		t.Errorf("the desk and the store do not say the same: %v", err)
	}
	if followed, err := h.desk.Follow(ctx); err != nil || followed {
		t.Errorf("the desk reads anew what it has written itself: %v, %v", followed, err)
	}
}
