package dbtest

import (
	"fmt"
	"slices"
	"sync"
	"testing"

	"endshake/db"
	"endshake/schedule"
)

// markOf is a mark that boss made for a day of December 2026.
func markOf(kind schedule.MarkKind, site, person string, day int) schedule.RoundMark {
	return schedule.RoundMark{Kind: kind, Site: site, Person: person, Day: schedule.Date{Year: 2026, Month: 12, Day: day}, By: "boss", At: minutes(day)}
}

func wantMarks(t *testing.T, s *db.Store, what string, from int, want ...schedule.RoundMark) {
	t.Helper()
	got, err := s.RoundMarks(t.Context(), schedule.Date{Year: 2026, Month: 12, Day: from})
	must(t, err)
	wantEqual(t, what, got, want)
}

// wantRows sees that the audit has grown by these rows since a revision: actor,
// action, subject and detail of each.
func wantRows(t *testing.T, s *db.Store, since int64, want ...string) {
	t.Helper()
	rows, err := s.Audit(t.Context(), 20)
	must(t, err)
	var got []string
	for _, r := range rows {
		if r.ID > since {
			got = append(got, fmt.Sprintf("%s|%s|%s|%s", r.Actor, r.Action, r.Subject, r.Detail))
		}
	}
	slices.Reverse(got)
	wantEqual(t, "the audit", got, want)
}

// roundMarks: what was decided comes back from its day on, once each; a visit that is
// set and the bar for the same lift one another.
func roundMarks(t *testing.T, _ string, s *db.Store) {
	ctx := t.Context()
	withFleet(t, s, 1)
	set, everywhere, nobody := markOf(schedule.SetVisit, "tower", "z-keeper", 9), markOf(schedule.BarVisit, "", "a-winder", 9), markOf(schedule.BarVisit, "tower", "", 10)
	set.Why = "they asked; Größe"
	set.Tasks = []schedule.TaskRef{{Clock: "tower", Kind: schedule.Oiling}, {Clock: "tower", Kind: schedule.Measuring, Subject: "centre/front"}}
	n := revision(t, s)
	for _, m := range []schedule.RoundMark{nobody, set, everywhere, set} {
		must(t, s.MarkRound(ctx, m))
	}
	wantMarks(t, s, "all", 1, everywhere, set, nobody)
	wantMarks(t, s, "from the 10th", 10, nobody)
	wantMarks(t, s, "from the 11th", 11)
	wantRows(t, s, n, "boss|round marked|site tower|no visit to tower on 10 Dec 2026",
		"boss|round marked|person z-keeper|a visit to tower by z-keeper on 9 Dec 2026: they asked; Größe",
		"boss|round marked|person a-winder|no visit by a-winder on 9 Dec 2026")
	set.Tasks = set.Tasks[:1]
	must(t, s.MarkRound(ctx, set))
	wantMarks(t, s, "for one task alone", 1, everywhere, set, nobody)
	set.Why, set.By, set.Tasks = "another reason", "a-winder", nil
	must(t, s.MarkRound(ctx, set))
	wantMarks(t, s, "with another reason", 1, everywhere, set, nobody)

	n = revision(t, s)
	bar := set
	bar.Kind, bar.By = schedule.BarVisit, "boss"
	must(t, s.MarkRound(ctx, bar))
	wantMarks(t, s, "after a bar", 1, everywhere, bar, nobody)
	must(t, s.MarkRound(ctx, set))
	wantMarks(t, s, "set again", 1, everywhere, set, nobody)
	must(t, s.UnmarkRound(ctx, "a-winder", nobody, Day))
	wantMarks(t, s, "with one taken back", 1, everywhere, set)
	wantRows(t, s, n, "boss|mark of a round taken back|person z-keeper|a visit to tower by z-keeper on 9 Dec 2026: another reason",
		"boss|round marked|person z-keeper|no visit to tower by z-keeper on 9 Dec 2026: another reason",
		"a-winder|mark of a round taken back|person z-keeper|no visit to tower by z-keeper on 9 Dec 2026: another reason",
		"a-winder|round marked|person z-keeper|a visit to tower by z-keeper on 9 Dec 2026: another reason",
		"a-winder|mark of a round taken back|site tower|no visit to tower on 10 Dec 2026")
	wantAudit(t, s, 0, "")

	head, err := s.Head(ctx)
	must(t, err)
	must(t, s.MarkRound(ctx, nobody))
	must(t, s.UnmarkRound(ctx, "boss", set, Day))
	news, err := s.NewsSince(ctx, head)
	must(t, err)
	if news.All || news.Fleet || news.Logs || news.Lesson || news.Other || len(news.Logged) > 0 {
		t.Errorf("marks of rounds are news of %+v", news)
	}
}

// roundMarksMoved: a move is a bar for where the visit was and a visit set for where
// it goes, or neither.
func roundMarksMoved(t *testing.T, _ string, s *db.Store) {
	ctx := t.Context()
	withFleet(t, s, 1)
	from, to := markOf(schedule.SetVisit, "tower", "z-keeper", 9), markOf(schedule.SetVisit, "tower", "a-winder", 11)
	to.Tasks = []schedule.TaskRef{{Clock: "tower", Kind: schedule.Oiling}}
	must(t, s.MarkRound(ctx, from)) // by hand, too
	bar, other := from, to
	bar.Kind, bar.At = schedule.BarVisit, to.At
	other.Kind = schedule.BarVisit
	must(t, s.MarkRound(ctx, other))
	n := revision(t, s)
	must(t, s.MoveRound(ctx, from, to))
	wantMarks(t, s, "moved", 1, bar, to)
	wantRows(t, s, n, "boss|mark of a round taken back|person z-keeper|a visit to tower by z-keeper on 9 Dec 2026",
		"boss|round marked|person z-keeper|no visit to tower by z-keeper on 9 Dec 2026",
		"boss|mark of a round taken back|person a-winder|no visit to tower by a-winder on 11 Dec 2026",
		"boss|round marked|person a-winder|a visit to tower by a-winder on 11 Dec 2026")
	n = revision(t, s)
	must(t, s.MoveRound(ctx, from, to))
	wantRows(t, s, n)
	elsewhere := to
	elsewhere.Day.Day = 12
	wantCode(t, s.MoveRound(ctx, from, elsewhere), schedule.Conflict) // from there it is gone
	wantMarks(t, s, "moved once", 1, bar, to)
	wantCode(t, s.MoveRound(ctx, to, to), schedule.Invalid)
	nowhere := to
	nowhere.Person = "moon"
	wantCode(t, s.MoveRound(ctx, to, nowhere), schedule.NotFound)
	wantMarks(t, s, "after moves that were refused", 1, bar, to)
	must(t, s.MoveRound(ctx, to, from)) // and back
	back, left := from, to
	back.By, left.Kind, left.At, left.Tasks = from.By, schedule.BarVisit, from.At, nil
	wantMarks(t, s, "moved back", 1, back, left)
}

// roundMarksRefused: what cannot be kept is not, and what is not there is not taken
// back.
func roundMarksRefused(t *testing.T, _ string, s *db.Store) {
	ctx := t.Context()
	withFleet(t, s, 1)
	good := markOf(schedule.SetVisit, "tower", "z-keeper", 9)
	n := revision(t, s)
	for code, list := range map[schedule.Code][]func(*schedule.RoundMark){
		schedule.NotFound: {func(m *schedule.RoundMark) { m.Site = "moon" }, func(m *schedule.RoundMark) { m.Person = "moon" }},
		schedule.Invalid: {func(m *schedule.RoundMark) { m.Kind = "maybe" }, func(m *schedule.RoundMark) { m.Day = schedule.Date{} },
			func(m *schedule.RoundMark) { m.Why = "a\x00b" }, func(m *schedule.RoundMark) { m.By = "a\xffb" },
			func(m *schedule.RoundMark) { m.Tasks = []schedule.TaskRef{{Clock: "a\x00b"}} },
			func(m *schedule.RoundMark) { m.Day = schedule.Date{Year: 2026, Month: 13, Day: 40} }},
	} {
		for i, change := range list {
			bad := good
			change(&bad)
			if err := s.MarkRound(ctx, bad); schedule.CodeOf(err) != code {
				t.Errorf("%s %d: %v", code, i, err)
			}
		}
	}
	wantCode(t, s.UnmarkRound(ctx, "boss", good, Day), schedule.NotFound)
	must(t, s.MarkRound(ctx, markOf(schedule.BarVisit, "tower", "z-keeper", 9)))
	wantCode(t, s.UnmarkRound(ctx, "boss", good, Day), schedule.NotFound)
	if got := revision(t, s); got != n+1 {
		t.Errorf("the revision went from %d to %d", n, got)
	}
}

// roundMarksSideBySide: of a bar and a visit set at once for the same, one stands.
func roundMarksSideBySide(t *testing.T, _ string, s *db.Store) {
	ctx := t.Context()
	withFleet(t, s, 1)
	var all sync.WaitGroup
	for i := range 8 {
		kind := []schedule.MarkKind{schedule.SetVisit, schedule.BarVisit}[i%2]
		all.Go(func() {
			for day := 1; day <= 5; day++ {
				if err := s.MarkRound(ctx, markOf(kind, "tower", "z-keeper", day)); err != nil {
					t.Error(err)
				}
			}
		})
	}
	all.Wait()
	got, err := s.RoundMarks(ctx, schedule.Date{})
	must(t, err)
	if len(got) != 5 {
		t.Errorf("%d marks stand of five days: %+v", len(got), got)
	}
	wantAudit(t, s, 0, "")
}
