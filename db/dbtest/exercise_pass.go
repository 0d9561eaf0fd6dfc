package dbtest

import (
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"endshake/db"
	"endshake/schedule"
)

// tokenOf is a token that is told apart by a number.
func tokenOf(n int) string {
	return strings.Map(func(r rune) rune { return 'a' + r - '0' }, fmt.Sprintf("%032d", n))
}

func pass(n int) schedule.Pass {
	return schedule.Pass{Token: tokenOf(n), Deed: schedule.Answering, Person: "z-keeper", Clock: "clock-0", Task: schedule.Winding, Subject: "strike",
		Kind: schedule.WindReminder, Made: Day.Add(time.Hour), Ends: Day.Add(45 * 24 * time.Hour)}
}

func passOf(t testing.TB, s *db.Store, token string) schedule.Pass {
	t.Helper()
	p, err := s.Pass(t.Context(), token)
	must(t, err)
	return p
}

// passes: what is given comes back by its token alone, of which nothing is kept;
// what no token can be is answered like one that nobody gave.
func passes(t *testing.T, address string, s *db.Store) {
	ctx := t.Context()
	want := pass(1)
	must(t, s.GivePass(ctx, "tester", Day, want))
	wantEqual(t, "pass", passOf(t, s, want.Token), want)
	wantEqual(t, "pass by capitals", passOf(t, s, strings.ToUpper(want.Token)), want)
	bare := schedule.Pass{Token: tokenOf(2), Deed: schedule.Following, Person: "z-keeper"}
	must(t, s.GivePass(ctx, "tester", Day, bare))
	bare.Made = Day
	wantEqual(t, "bare pass", passOf(t, s, bare.Token), bare)
	if n := count(t, address, `SELECT count(*) FROM pass WHERE hash LIKE '%`+want.Token+`%' OR notice || person || clock || subject LIKE '%`+want.Token+`%'`); n != 0 {
		t.Error("the token itself is kept")
	}
	_, unknown := s.Pass(ctx, tokenOf(3))
	wantCode(t, unknown, schedule.NotFound)
	for _, token := range []string{"", "x", want.Token[1:], want.Token + "=", want.Token + " ", "'; DROP TABLE pass; --", "\x00", "\xff", strings.Repeat("a", 1<<20), want.Token[:31] + "%"} {
		if _, err := s.Pass(ctx, token); schedule.CodeOf(err) != schedule.NotFound || err.Error() != unknown.Error() {
			t.Errorf("%.40q: %v, want what is said of an unknown one", token, err)
		}
	}
	rows, err := s.Audit(ctx, 1)
	must(t, err)
	if len(rows) != 1 || rows[0].Actor != "tester" || rows[0].Action != "pass given" || rows[0].Subject != "person z-keeper" || strings.Contains(rows[0].Detail, bare.Token) {
		t.Errorf("audit %+v", rows)
	}
}

// passesOfNotices: the passes of a notice are kept with it, and those of one
// that was owed already are not.
func passesOfNotices(t *testing.T, address string, s *db.Store) {
	ctx := t.Context()
	n := notice("n")
	n.ID, n.Passes = "0190", []schedule.Pass{pass(1), {Token: tokenOf(2), Deed: schedule.Declining, Person: "z-keeper", Kind: schedule.LimitReminder}}
	given := n.Passes[1]
	_, err := s.Owe(ctx, Day, []schedule.Notice{n})
	must(t, err)
	if n.Passes[1] != given {
		t.Error("the caller's passes were changed")
	}
	want := pass(1)
	want.Notice = "0190"
	wantEqual(t, "pass of a notice", passOf(t, s, want.Token), want)
	if p := passOf(t, s, tokenOf(2)); p.Notice != "0190" || !p.Made.Equal(Day) || p.Kind != schedule.LimitReminder || !p.Ends.IsZero() {
		t.Errorf("second pass %+v", p)
	}
	again := notice("n")
	again.Passes = []schedule.Pass{pass(3)}
	added, err := s.Owe(ctx, Day, []schedule.Notice{again})
	must(t, err)
	if n := count(t, address, `SELECT count(*) FROM pass`); n != 2 || added != 0 {
		t.Errorf("%d passes after a notice was owed again (%d added), want 2", n, added)
	}
	twice := notice("other")
	twice.Passes = []schedule.Pass{pass(4), pass(1)}
	_, err = s.Owe(ctx, Day, []schedule.Notice{twice})
	wantCode(t, err, schedule.Conflict)
	if n := count(t, address, `SELECT count(*) FROM pass`) + 10*count(t, address, `SELECT count(*) FROM notice`); n != 12 {
		t.Errorf("something is left of a notice whose pass was refused: %d", n)
	}
	read, err := s.Notice(ctx, "0190")
	must(t, err)
	if read.Passes != nil {
		t.Errorf("passes were read back: %+v", read.Passes)
	}
}

func passesRefused(t *testing.T, address string, s *db.Store) {
	for name, change := range map[string]func(*schedule.Pass){
		"no token":    func(p *schedule.Pass) { p.Token = "" },
		"short token": func(p *schedule.Pass) { p.Token = p.Token[1:] },
		"no deed":     func(p *schedule.Pass) { p.Deed = "" },
		"nobody":      func(p *schedule.Pass) { p.Person = "" },
		"NUL":         func(p *schedule.Pass) { p.Subject = "\x00" },
		"year 10000":  func(p *schedule.Pass) { p.Ends = time.Date(10000, 1, 1, 0, 0, 0, 0, time.UTC) },
	} {
		p := pass(1)
		change(&p)
		if err := s.GivePass(t.Context(), "tester", Day, p); schedule.CodeOf(err) != schedule.Invalid {
			t.Errorf("%s given: %v", name, err)
		}
		n := notice("n")
		n.Passes = []schedule.Pass{p}
		if _, err := s.Owe(t.Context(), Day, []schedule.Notice{n}); schedule.CodeOf(err) != schedule.Invalid {
			t.Errorf("%s owed: %v", name, err)
		}
	}
	if n := count(t, address, `SELECT count(*) FROM pass`) + count(t, address, `SELECT count(*) FROM notice`); n != 0 {
		t.Errorf("%d rows are left", n)
	}
}

// passesTakenBack: all of one person and deed, once.
func passesTakenBack(t *testing.T, address string, s *db.Store) {
	ctx := t.Context()
	for i := range 4 {
		p := pass(i)
		p.Deed = schedule.Following
		switch i {
		case 2:
			p.Person = "a-winder"
		case 3:
			p.Deed = schedule.Answering
		}
		must(t, s.GivePass(ctx, "tester", Day, p))
	}
	later := Day.Add(time.Hour)
	for _, want := range []int{2, 0} {
		n, err := s.EndPasses(ctx, "tester", later, "z-keeper", schedule.Following)
		must(t, err)
		if n != want {
			t.Errorf("%d taken back, want %d", n, want)
		}
		later = later.Add(time.Hour)
	}
	for i, want := range []time.Time{Day.Add(time.Hour), Day.Add(time.Hour), {}, {}} {
		if p := passOf(t, s, tokenOf(i)); !p.Ended.Equal(want) {
			t.Errorf("pass %d ended %v, want %v", i, p.Ended, want)
		}
	}
	if _, _, err := s.EmptyOldMail(ctx, Day.Add(366*24*time.Hour)); err != nil {
		t.Fatal(err)
	}
	_, err := s.Pass(ctx, tokenOf(3))
	wantCode(t, err, schedule.NotFound) // an answer of a year ago
	passOf(t, s, tokenOf(2))            // a calendar holds
}

func declines(t *testing.T, address string, s *db.Store) {
	ctx := t.Context()
	var wg sync.WaitGroup
	for range 4 {
		wg.Go(func() {
			if err := s.Decline(ctx, Day, "z-keeper", schedule.WindReminder); err != nil {
				t.Error(err)
			}
		})
	}
	wg.Wait()
	must(t, s.Decline(ctx, Day.Add(time.Hour), "z-keeper", schedule.WindReminder)) // the first day stays
	must(t, s.Decline(ctx, Day, "a-winder", schedule.DueList))
	list, err := s.Declined(ctx)
	must(t, err)
	wantEqual(t, "declined", list, []schedule.Decline{{Person: "a-winder", Kind: schedule.DueList, At: Day}, {Person: "z-keeper", Kind: schedule.WindReminder, At: Day}})
	must(t, s.Resume(ctx, Day, "z-keeper", schedule.WindReminder))
	must(t, s.Resume(ctx, Day, "z-keeper", schedule.WindReminder))
	must(t, s.Resume(ctx, Day, "nobody", schedule.WindReminder))
	list, err = s.Declined(ctx)
	must(t, err)
	wantEqual(t, "declined then", list, []schedule.Decline{{Person: "a-winder", Kind: schedule.DueList, At: Day}})
	wantCode(t, s.Decline(ctx, Day, "z-keeper", "rhubarb"), schedule.Invalid)
	wantCode(t, s.Decline(ctx, Day, "\x00", schedule.DueList), schedule.Invalid)
	rows, err := s.Audit(ctx, 9)
	must(t, err)
	if len(rows) != 3 || rows[0].Action != "resumed" || rows[0].Actor != "z-keeper" {
		t.Errorf("audit %+v", rows)
	}
}
