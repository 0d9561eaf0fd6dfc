package dbtest

import (
	"context"
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"endshake/db"
	"endshake/schedule"
)

// news: what was changed after a revision is told, and nothing else.
func news(t *testing.T, address string, s *db.Store) {
	ctx, at := t.Context(), head(t, s)
	one, older := measured("clock-1", Day, 1), measured("clock-1", Day.Add(-time.Hour), 2)
	together := []schedule.Entry{measured("clock-0", Day, 3), measured("clock-0", minutes(1), 4)}
	all := func(map[string][]schedule.Entry, []schedule.Entry) error { return nil }
	for _, test := range []struct {
		what   string
		change func() error
		want   db.News
		logged []string // the log is told with so many entries as this, by their notes
	}{
		{"nothing", func() error { return nil }, db.News{}, nil},
		{"a fleet", func() error { return s.SaveFleet(ctx, "tester", Day, Fleet(2), nil) }, db.News{Fleet: true}, nil},
		{"the same fleet", func() error { return s.SaveFleet(ctx, "tester", Day, Fleet(2), nil) }, db.News{}, nil},
		{"two entries", func() (err error) {
			if one, _, err = s.Append(ctx, "tester", Day, one, nil); err == nil {
				older, _, err = s.Append(ctx, "tester", minutes(1), older, nil)
			}
			return err
		}, db.News{}, []string{"clock-1"}},
		{"a card", func() error { _, err := s.AppendTogether(ctx, "tester", Day, together, nil, all); return err }, db.News{}, []string{"clock-0"}},
		{"a lesson", func() error { _, err := s.SaveLearned(ctx, lesson()); return err }, db.News{Lesson: true}, nil},
		{"what a desk need not know", func() error {
			if err := s.Exported(ctx, "tester", Day, []string{"clock-0"}); err != nil {
				return err
			}
			if err := s.ChangeAccount(ctx, "tester", Day, "z-keeper", "joined", func(*schedule.Account) error { return nil }); err != nil {
				return err
			}
			return s.Decline(ctx, Day, "a-winder", schedule.ChangeWeek)
		}, db.News{}, nil},
		{"a log brought in", func() error { return s.AppendAll(ctx, "tester", Day, Log(2, 4)) }, db.News{Logs: true}, nil},
		{"a person erased", func() error { _, err := s.Erase(ctx, "tester", Day, "a-winder"); return err }, db.News{All: true}, nil},
	} {
		must(t, test.change())
		got, err := s.NewsSince(ctx, at)
		must(t, err)
		test.want.Head = head(t, s)
		if at = got.Head; got.Head != test.want.Head || got.Other || got.All != test.want.All || !got.All && (got.Fleet != test.want.Fleet || got.Lesson != test.want.Lesson || got.Logs != test.want.Logs) {
			t.Errorf("after %s: %+v, want %+v", test.what, got, test.want)
		}
		if names := slices.Sorted(maps.Keys(got.Logged)); !got.All && !slices.Equal(names, test.logged) {
			t.Errorf("after %s the logs of %v are told, want %v", test.what, names, test.logged)
		}
		if test.what == "two entries" {
			wantEqual(t, "the entries that are told", got.Logged["clock-1"], []schedule.Entry{one, older})
		}
		if test.what == "a card" && got.Logged["clock-0"] != nil {
			t.Errorf("of a card %d entries are told, which its audit does not name", len(got.Logged["clock-0"]))
		}
	}
}

// newsOfTheUnreadable: where an entry cannot be read, its clock's log is to be read
// whole; where the audit lacks a row, anything may be another; and whoever was at a
// state that this database never was in is told so.
func newsOfTheUnreadable(t *testing.T, address string, s *db.Store) {
	withFleet(t, s, 2)
	before := head(t, s)
	odd := measured("clock-0", Day, 1)
	odd.ID = "odd one"
	for _, e := range []schedule.Entry{odd, measured("clock-0", minutes(1), 2), measured("clock-1", Day, 3)} {
		_, _, err := s.Append(t.Context(), "tester", Day, e, nil)
		must(t, err)
	}
	open := map[string][]string{
		"sqlite":   {`DROP TRIGGER entry_no_update`, `DROP TRIGGER audit_no_delete`},
		"postgres": {`ALTER TABLE entry DISABLE TRIGGER USER`, `ALTER TABLE audit DISABLE TRIGGER USER`},
	}[s.Engine()]
	d := raw(t, address)
	for _, q := range append(open, `UPDATE entry SET detail = '{"until":"10000-01-01"}' WHERE id = 'odd one'`) {
		_, err := d.Exec(q)
		must(t, err)
	}
	got, err := s.NewsSince(t.Context(), before)
	must(t, err)
	if es, told := got.Logged["clock-0"]; !told || es != nil || len(got.Logged["clock-1"]) != 1 || got.All {
		t.Errorf("told %+v", got)
	}
	last := head(t, s).Revision
	for _, row := range []int64{last - 1, last} {
		_, err = d.Exec(fmt.Sprintf(`DELETE FROM audit WHERE id = %d`, row))
		must(t, err)
		if got, err = s.NewsSince(t.Context(), before); err != nil || !got.All || got.Other || got.Head.Revision != last {
			t.Errorf("without row %d told %+v, %v", row, got, err)
		}
	}
	for what, h := range map[string]db.Head{"of another way": {Revision: before.Revision, Hash: "another"}, "ahead of it": {Revision: last + 7, Hash: before.Hash}} {
		if got, err = s.NewsSince(t.Context(), h); err != nil || !got.Other {
			t.Errorf("to whom was at a state %s told %+v, %v", what, got, err)
		}
	}
}

// head is the state of a database.
func head(t *testing.T, s *db.Store) db.Head {
	t.Helper()
	h, err := s.Head(t.Context())
	must(t, err)
	return h
}

// newsKeepsUp: whoever takes in what is told, again and again while others log, has
// the log as it is stored.
func newsKeepsUp(t *testing.T, address string, s *db.Store) {
	seed := rand.Uint64()
	r := rand.New(rand.NewPCG(seed, 1))
	withFleet(t, s, 3)
	ctx, at := t.Context(), head(t, s)
	log := map[string][]schedule.Entry{}
	done := make(chan error)
	go func() {
		for i := range 60 {
			e := measured(fmt.Sprintf("clock-%d", r.IntN(3)), Day.Add(time.Duration(r.IntN(5000))*time.Minute), i)
			var err error
			if i%7 == 6 {
				_, err = s.AppendTogether(context.WithoutCancel(ctx), "tester", Day, []schedule.Entry{e}, nil, func(map[string][]schedule.Entry, []schedule.Entry) error { return nil })
			} else {
				_, _, err = s.Append(context.WithoutCancel(ctx), "tester", Day, e, nil)
			}
			if err != nil {
				done <- err
				return
			}
		}
		done <- nil
	}()
	for ended := false; !ended; {
		select {
		case err := <-done:
			must(t, err)
			ended = true
		default:
		}
		n, err := s.NewsSince(ctx, at)
		must(t, err)
		for clock, es := range n.Logged {
			if es == nil {
				log[clock], err = s.Entries(ctx, clock)
				must(t, err)
			}
			for _, e := range es {
				if !slices.ContainsFunc(log[clock], func(old schedule.Entry) bool { return old.ID == e.ID }) {
					log[clock] = schedule.Grown(log[clock], e)
				}
			}
		}
		if at = n.Head; n.All || n.Other {
			t.Fatalf("seed %d: anything may have changed: %+v", seed, n)
		}
	}
	want, err := s.Log(ctx)
	must(t, err)
	wantEqual(t, fmt.Sprintf("log that was followed, seed %d", seed), log, want)
}
