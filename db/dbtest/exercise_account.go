package dbtest

import (
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"endshake/db"
	"endshake/schedule"
)

func accountOf(person string, conservator bool) schedule.Account {
	return schedule.Account{Person: person, Conservator: conservator, Hash: "hash of " + person, Secret: "SECRET", LastCode: 7, Made: Day, Changed: Day.Add(time.Hour)}
}

// accounts: what is kept comes back, by person; a code is good once.
func accounts(t *testing.T, _ string, s *db.Store) {
	ctx := t.Context()
	_, err := s.Account(ctx, "a-keeper")
	wantCode(t, err, schedule.NotFound)
	boss, keeper := accountOf("boss", true), accountOf("a-keeper", false)
	must(t, s.KeepAccount(ctx, "tester", Day, boss, "let in"))
	must(t, s.KeepAccount(ctx, "tester", Day, keeper, "let in"))
	keeper.Hash, keeper.Ended = "another", Day.Add(2*time.Hour)
	must(t, s.KeepAccount(ctx, "tester", Day, keeper, "closed"))
	got, err := s.Accounts(ctx)
	must(t, err)
	wantEqual(t, "accounts", got, []schedule.Account{keeper, boss})
	one, err := s.Account(ctx, "boss")
	must(t, err)
	wantEqual(t, "account", one, boss)
	rows, err := s.Audit(ctx, 1)
	must(t, err)
	if rows[0].Action != "closed" || rows[0].Subject != "person a-keeper" || rows[0].Actor != "tester" || rows[0].Detail != "" {
		t.Errorf("audit %+v", rows[0])
	}
	must(t, s.KeepAccount(ctx, "another", Day, keeper, "closed again"))
	mine, err := s.AuditOf(ctx, "tester", 0, 10)
	must(t, err)
	if len(mine) != 3 || mine[0].ID != rows[0].ID || mine[0].ID <= mine[1].ID {
		t.Errorf("of the tester %+v", mine)
	}
	if older, err := s.AuditOf(ctx, "", mine[0].ID, 1); err != nil || len(older) != 1 || older[0] != mine[1] {
		t.Errorf("before that %+v, %v", older, err)
	}
	wantCode(t, s.KeepAccount(ctx, "tester", Day, schedule.Account{}, "let in"), schedule.Invalid)
	var taken atomic.Int32
	var all sync.WaitGroup
	for range 8 {
		all.Go(func() {
			ok, err := s.TakeCode(ctx, "boss", 8)
			if err != nil {
				t.Error(err)
			}
			if ok {
				taken.Add(1)
			}
		})
	}
	all.Wait()
	if taken.Load() != 1 {
		t.Errorf("a code was taken %d times", taken.Load())
	}
	if ok, err := s.TakeCode(ctx, "boss", 7); ok || err != nil {
		t.Errorf("an older code is taken: %v, %v", ok, err)
	}
}

// lastConservator: whoever else goes, one who can let others in stays; also
// where two go at once.
func lastConservator(t *testing.T, _ string, s *db.Store) {
	ctx := t.Context()
	one, two := accountOf("one", true), accountOf("two", true)
	must(t, s.KeepAccount(ctx, "tester", Day, one, "let in"))
	must(t, s.KeepAccount(ctx, "tester", Day, two, "let in"))
	var refused atomic.Int32
	var all sync.WaitGroup
	for _, a := range []schedule.Account{one, two} {
		all.Go(func() {
			a.Ended = Day
			switch err := s.KeepAccount(ctx, "tester", Day, a, "closed"); {
			case schedule.CodeOf(err) == schedule.Conflict:
				refused.Add(1)
			case err != nil:
				t.Error(err)
			}
		})
	}
	all.Wait()
	if refused.Load() != 1 {
		t.Errorf("%d of the last two conservators were kept", refused.Load())
	}
}

// join: a pass to join is good once, and not past its end; what fails keeps no
// account.
func join(t *testing.T, _ string, s *db.Store) {
	ctx := t.Context()
	give := func(n int) string {
		must(t, s.GivePass(ctx, "tester", Day, schedule.Pass{Token: tokenOf(n), Deed: schedule.Joining, Person: "a-keeper", Made: Day, Ends: Day.Add(time.Hour)}))
		return tokenOf(n)
	}
	a := accountOf("a-keeper", false)
	token := give(1)
	wantCode(t, s.Join(ctx, Day, token, schedule.First, a, "joined"), schedule.Conflict)
	wantCode(t, s.Join(ctx, Day.Add(2*time.Hour), token, schedule.Joining, a, "joined"), schedule.Conflict)
	wantCode(t, s.Join(ctx, Day, tokenOf(9), schedule.Joining, a, "joined"), schedule.Conflict)
	if _, err := s.Account(ctx, "a-keeper"); schedule.CodeOf(err) != schedule.NotFound {
		t.Errorf("a pass that does not hold made an account: %v", err)
	}
	must(t, s.Join(ctx, Day, token, schedule.Joining, a, "joined"))
	wantCode(t, s.Join(ctx, Day, token, schedule.Joining, a, "joined"), schedule.Conflict)
	rows, err := s.Audit(ctx, 1)
	must(t, err)
	if rows[0].Action != "joined" || rows[0].Actor != "a-keeper" {
		t.Errorf("audit %+v", rows[0])
	}
}

// sessions: what is remembered comes back until its end, and is forgotten when
// it is ended or emptied.
func sessions(t *testing.T, _ string, s *db.Store) {
	ctx := t.Context()
	now := Day
	kept := s.Sessions(func() time.Time { return now })
	must(t, kept.CommitCtx(ctx, "one", []byte{0, 1, 255}, Day.Add(time.Hour)))
	must(t, kept.CommitCtx(ctx, "one", []byte{0, 2, 255}, Day.Add(time.Hour)))
	must(t, kept.CommitCtx(ctx, "two", []byte("b"), Day.Add(2*time.Hour)))
	data, found, err := kept.FindCtx(ctx, "one")
	must(t, err)
	wantEqual(t, "session", data, []byte{0, 2, 255})
	if !found {
		t.Error("a session is not found")
	}
	now = Day.Add(time.Hour)
	if _, found, err := kept.FindCtx(ctx, "one"); found || err != nil {
		t.Errorf("a session past its end: %v, %v", found, err)
	}
	all, err := kept.AllCtx(ctx)
	must(t, err)
	wantEqual(t, "sessions", all, map[string][]byte{"two": []byte("b")})
	if n, err := s.EmptySessions(ctx, now); n != 1 || err != nil {
		t.Errorf("emptied %d, %v", n, err)
	}
	must(t, kept.DeleteCtx(ctx, "two"))
	if _, found, err := kept.FindCtx(ctx, "two"); found || err != nil {
		t.Errorf("an ended session: %v, %v", found, err)
	}
}

// programs: a token finds its program while it holds, and marks when it did.
func programs(t *testing.T, address string, s *db.Store) {
	ctx := t.Context()
	m := schedule.Machine{Name: "gauge", Token: tokenOf(1), Scopes: []schedule.Scope{schedule.ScopeRead, schedule.ScopeLog}, Clocks: []string{"clock-0"}, Made: Day, Ends: Day.Add(24 * time.Hour)}
	must(t, s.GiveMachine(ctx, "tester", Day, m))
	if n := count(t, address, `SELECT count(*) FROM machine WHERE hash LIKE '%`+m.Token+`%'`); n != 0 {
		t.Error("the token itself is kept")
	}
	again := m
	again.Token = tokenOf(2)
	wantCode(t, s.GiveMachine(ctx, "tester", Day, again), schedule.Conflict)
	wantCode(t, s.GiveMachine(ctx, "tester", Day, schedule.Machine{Name: "bare", Token: tokenOf(3)}), schedule.Invalid)
	want := m
	want.Token, want.Used = "", Day.Add(time.Hour)
	got, err := s.Machine(ctx, want.Used, m.Token)
	must(t, err)
	wantEqual(t, "program", got, want)
	got, err = s.Machine(ctx, want.Used.Add(time.Second), m.Token)
	must(t, err)
	wantEqual(t, "program a second later", got, want)
	for at, token := range map[time.Time]string{m.Ends: m.Token, Day: tokenOf(9), Day.Add(1): "", Day.Add(2): "\x00"} {
		_, err := s.Machine(ctx, at, token)
		wantCode(t, err, schedule.NotFound)
	}
	must(t, s.EndMachine(ctx, "tester", Day, "gauge"))
	wantCode(t, s.EndMachine(ctx, "tester", Day, "gauge"), schedule.NotFound)
	_, err = s.Machine(ctx, Day, m.Token)
	wantCode(t, err, schedule.NotFound)
	must(t, s.GiveMachine(ctx, "tester", Day, again)) // the name is free again
	list, err := s.Machines(ctx)
	must(t, err)
	if len(list) != 1 || list[0].Name != "gauge" {
		t.Errorf("programs %+v", list)
	}
}
