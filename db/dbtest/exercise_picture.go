package dbtest

import (
	"context"
	"fmt"
	"sync"
	"testing"
	"time"

	"endshake/db"
	"endshake/schedule"
)

func photograph(words string) schedule.Picture {
	return schedule.Picture{Words: words, Width: 1600, Height: 1200, JPEG: []byte("\xff\xd8 large \x00 " + words), Small: []byte("\xff\xd8 small")}
}

// pictures: they are kept with their entry or not at all, and once.
func pictures(t *testing.T, address string, s *db.Store) {
	ctx := t.Context()
	withFleet(t, s, 2)
	e := measured("clock-1", Day, 1)
	e.Key = "form-1"
	two := []schedule.Picture{photograph("the centre arbor"), photograph("its bush")}
	no := fmt.Errorf("no")
	if _, _, err := s.AppendShown(ctx, "tester", Day, e, two, nil, func([]schedule.Entry) error { return no }); err != no {
		t.Fatalf("refused with %v", err)
	}
	empty := photograph("x")
	empty.JPEG = nil
	_, _, err := s.AppendShown(ctx, "tester", Day, e, []schedule.Picture{two[0], empty}, nil, nil)
	wantCode(t, err, schedule.Invalid)
	bad := photograph("a\x00b")
	_, _, err = s.AppendShown(ctx, "tester", Day, e, []schedule.Picture{bad}, nil, nil)
	wantCode(t, err, schedule.Invalid)
	if n := count(t, address, `SELECT count(*) FROM picture`) + count(t, address, `SELECT count(*) FROM entry`); n != 0 {
		t.Fatalf("%d rows are left of what was refused", n)
	}
	stored, already, err := s.AppendShown(ctx, "tester", Day, e, two, nil, nil)
	must(t, err)
	again, twice, err := s.AppendShown(ctx, "tester", Day, e, two, nil, nil)
	must(t, err)
	if already || !twice || again.ID != stored.ID {
		t.Errorf("sent twice: %v, %v", already, twice)
	}
	list, err := s.Pictures(ctx, "clock-1")
	must(t, err)
	if len(list) != 2 || list[0].JPEG != nil || list[0].ID == list[1].ID {
		t.Fatalf("pictures %+v", list)
	}
	for i, want := range two {
		want.ID, want.Clock, want.Entry, want.At = list[i].ID, "clock-1", stored.ID, stored.At
		got, err := s.Picture(ctx, want.ID)
		must(t, err)
		wantEqual(t, "picture", got, want)
	}
	for _, id := range []string{"", "none", "\x00", "' OR 1=1 --"} {
		_, err := s.Picture(ctx, id)
		wantCode(t, err, schedule.NotFound)
	}
	if none, err := s.Pictures(ctx, "clock-0"); err != nil || len(none) != 0 {
		t.Errorf("another clock has %v, %v", none, err)
	}
}

// appendTogether: all or none, once, and checked against the log that nobody
// else adds to.
func appendTogether(t *testing.T, address string, s *db.Store) {
	ctx := t.Context()
	withFleet(t, s, 2)
	card := make([]schedule.Entry, 3)
	for i := range card {
		card[i] = measured("clock-1", Day.Add(time.Duration(i)*time.Hour), i)
		card[i].Key = fmt.Sprintf("card-%d", i)
	}
	all := func(map[string][]schedule.Entry, []schedule.Entry) error { return nil }
	no := fmt.Errorf("no")
	_, err := s.AppendTogether(ctx, "tester", Day, card, nil, func(logs map[string][]schedule.Entry, fresh []schedule.Entry) error {
		if len(logs) != 1 || len(logs["clock-1"]) != 0 || len(fresh) != 3 || fresh[0].ID == "" {
			t.Errorf("checked with %v and %d", logs, len(fresh))
		}
		return no
	})
	if err != no || count(t, address, `SELECT count(*) FROM entry`) != 0 {
		t.Fatalf("refused with %v", err)
	}
	nowhere := []schedule.Entry{card[0], measured("clock-9", Day, 7)}
	_, err = s.AppendTogether(ctx, "tester", Day, nowhere, nil, all)
	wantCode(t, err, schedule.NotFound)
	if n := count(t, address, `SELECT count(*) FROM entry`); n != 0 {
		t.Fatalf("of a clock that is there and one that is not, %d entries are kept", n)
	}
	var done sync.WaitGroup
	for range 4 {
		done.Go(func() {
			if _, err := s.AppendTogether(context.WithoutCancel(ctx), "tester", Day, card, nil, all); err != nil {
				t.Error(err)
			}
		})
	}
	done.Wait()
	log, err := s.Entries(ctx, "clock-1")
	must(t, err)
	if len(log) != 3 || log[2].Reading == nil {
		t.Fatalf("sent four times: %d entries", len(log))
	}
	card[1].Note, card[2].Key = "another word", "card-9"
	_, err = s.AppendTogether(ctx, "tester", Day, card, map[string][]schedule.Entry{"clock-1": log}, all)
	wantCode(t, err, schedule.Conflict)
	if n := count(t, address, `SELECT count(*) FROM entry`); n != 3 {
		t.Errorf("%d entries", n)
	}
	rows, err := s.Audit(ctx, 1)
	must(t, err)
	if rows[0].Action != "logged together" || rows[0].Detail != "3 entries" {
		t.Errorf("audit %+v", rows[0])
	}
	appendToSeveral(t, address, s, log)
}

// appendToSeveral: of several clocks all or none too, with a row of the audit each.
func appendToSeveral(t *testing.T, address string, s *db.Store, known []schedule.Entry) {
	ctx := t.Context()
	several := []schedule.Entry{measured("clock-0", Day, 1), measured("clock-1", Day.Add(-time.Hour), 2), measured("clock-0", Day.Add(time.Hour), 3)}
	for i := range several {
		several[i].Key = fmt.Sprintf("several-%d", i)
	}
	no := fmt.Errorf("no")
	look := func(logs map[string][]schedule.Entry, fresh []schedule.Entry) error {
		if len(logs["clock-0"]) != 0 || len(logs["clock-1"]) != len(known) || len(fresh) != 3 {
			t.Errorf("checked with %d and %d and %d", len(logs["clock-0"]), len(logs["clock-1"]), len(fresh))
		}
		return no
	}
	for _, want := range []int{0, 3, 0} {
		stored, err := s.AppendTogether(ctx, "tester", Day, several, map[string][]schedule.Entry{"clock-1": known}, look)
		if len(stored) != want || want > 0 && err != nil {
			t.Fatalf("%d stored, %v, want %d", len(stored), err, want)
		}
		look = func(map[string][]schedule.Entry, []schedule.Entry) error { return nil }
	}
	if n := count(t, address, `SELECT count(*) FROM entry`); n != len(known)+3 {
		t.Errorf("%d entries", n)
	}
	rows, err := s.Audit(ctx, 2)
	must(t, err)
	if rows[0].Subject != "clock clock-1" || rows[0].Detail != "1 entry" || rows[1].Subject != "clock clock-0" || rows[1].Detail != "2 entries" {
		t.Errorf("audit %+v", rows)
	}
}
