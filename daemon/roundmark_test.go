package daemon

import (
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"endshake/db"
	"endshake/db/dbtest"
	"endshake/schedule"
)

// What one daemon is told of rounds the other knows at once; what cannot be right is
// refused before the store is asked, and a move is refused whole.
func TestRoundMarks(t *testing.T) {
	ctx, now := t.Context(), time.Date(2026, 12, 1, 9, 0, 0, 0, time.UTC)
	store := dbtest.Open(t, dbtest.SQLite(t))
	if err := store.SaveFleet(ctx, "test", now, dbtest.Fleet(2), nil); err != nil {
		t.Fatal(err)
	}
	var desks [2]*Desk
	for i := range desks {
		d, err := OpenDesk(ctx, store, func() time.Time { return now })
		if err != nil {
			t.Fatal(err)
		}
		desks[i] = d
	}
	day := func(n int) schedule.Date { return schedule.Date{Year: 2026, Month: 12, Day: n} }
	visit := schedule.RoundMark{Kind: schedule.SetVisit, Site: "tower", Person: "z-keeper", Day: day(9), Why: "they asked", By: "a-winder", At: now}
	if err := desks[0].MarkRound(ctx, visit); err != nil {
		t.Fatal(err)
	}
	want := func(what string, list ...schedule.RoundMark) {
		t.Helper()
		for i, d := range desks {
			if got, err := d.RoundMarks(ctx, day(1)); err != nil || !slices.EqualFunc(got, list, func(a, b schedule.RoundMark) bool { return reflect.DeepEqual(a, b) }) {
				t.Errorf("%s, daemon %d: %+v, %v; want %+v", what, i, got, err, list)
			}
		}
	}
	want("set", visit)
	if changed, err := desks[1].Follow(ctx); err != nil || !changed {
		t.Errorf("the other daemon follows: %v, %v", changed, err)
	}

	other := visit
	other.Day = day(11)
	past, strange := other, other
	past.Day, strange.Person = schedule.Date{Year: 2026, Month: 11, Day: 30}, "moon"
	for _, bad := range []schedule.RoundMark{past, strange} {
		for what, err := range map[string]error{"marked": desks[1].MarkRound(ctx, bad), "moved": desks[1].MoveRound(ctx, visit, bad), "moved from": desks[1].MoveRound(ctx, bad, visit)} {
			if code := schedule.CodeOf(err); code != schedule.Invalid && code != schedule.NotFound {
				t.Errorf("%s: %+v: %v", what, bad, err)
			}
		}
	}
	want("after what was refused", visit)

	if err := desks[1].MoveRound(ctx, visit, other); err != nil {
		t.Fatal(err)
	}
	bar := visit
	bar.Kind = schedule.BarVisit
	want("moved", bar, other)
	if err := desks[0].UnmarkRound(ctx, "a-winder", bar, now); err != nil {
		t.Fatal(err)
	}
	want("and the old day let go", other)
	if err := desks[0].UnmarkRound(ctx, "a-winder", bar, now); schedule.CodeOf(err) != schedule.NotFound || !strings.Contains(err.Error(), "taken back already") {
		t.Errorf("taken back twice: %v", err)
	}
	nobody := other
	nobody.By, nobody.Day = "", day(12)
	if err := desks[0].MarkRound(ctx, nobody); err != nil {
		t.Fatal(err)
	}
	if rows, err := store.Audit(ctx, 1); err != nil || rows[0].Actor != "conservator" {
		t.Errorf("by whoever runs the service it is audited as %+v, %v", rows, err)
	}
}

var _ RoundBook = (*db.Store)(nil)
