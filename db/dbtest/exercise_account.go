package dbtest

import (
	"context"
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

// keepAccount has an account be as it is given, whatever it was.
func keepAccount(ctx context.Context, s *db.Store, actor string, a schedule.Account, what string) error {
	return s.ChangeAccount(ctx, actor, Day, a.Person, what, as(a))
}

// as makes an account what it is given.
func as(a schedule.Account) func(*schedule.Account) error {
	return func(is *schedule.Account) error {
		*is = a
		return nil
	}
}

// accounts: what is kept comes back, by person; a code is good once.
func accounts(t *testing.T, _ string, s *db.Store) {
	ctx := t.Context()
	_, err := s.Account(ctx, "a-keeper")
	wantCode(t, err, schedule.NotFound)
	boss, keeper := accountOf("boss", true), accountOf("a-keeper", false)
	must(t, keepAccount(ctx, s, "tester", boss, "let in"))
	must(t, keepAccount(ctx, s, "tester", keeper, "let in"))
	keeper.Hash, keeper.Ended = "another", Day.Add(2*time.Hour)
	must(t, keepAccount(ctx, s, "tester", keeper, "closed"))
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
	must(t, keepAccount(ctx, s, "another", keeper, "closed again"))
	mine, err := s.AuditOf(ctx, "tester", 0, 10)
	must(t, err)
	if len(mine) != 3 || mine[0].ID != rows[0].ID || mine[0].ID <= mine[1].ID {
		t.Errorf("of the tester %+v", mine)
	}
	if older, err := s.AuditOf(ctx, "", mine[0].ID, 1); err != nil || len(older) != 1 || older[0] != mine[1] {
		t.Errorf("before that %+v, %v", older, err)
	}
	wantCode(t, keepAccount(ctx, s, "tester", schedule.Account{}, "let in"), schedule.Invalid)
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

// accountMeanwhile: what is changed of an account at once is all kept, and a code
// that was taken stays taken.
func accountMeanwhile(t *testing.T, _ string, s *db.Store) {
	ctx := t.Context()
	must(t, keepAccount(ctx, s, "tester", accountOf("boss", true), "let in"))
	read := accountOf("a-keeper", true)
	must(t, keepAccount(ctx, s, "tester", read, "let in"))
	var all sync.WaitGroup
	for what, change := range map[string]func(*schedule.Account){
		"closed":               func(a *schedule.Account) { a.Ended = Day.Add(time.Hour) },
		"no longer conserving": func(a *schedule.Account) { a.Conservator = false },
		"password changed":     func(a *schedule.Account) { a.Hash, a.Changed = "another", Day.Add(2*time.Hour) },
	} {
		all.Go(func() {
			must(t, s.ChangeAccount(ctx, "tester", Day, "a-keeper", what, func(a *schedule.Account) error { change(a); return nil }))
		})
	}
	all.Go(func() {
		if ok, err := s.TakeCode(ctx, "a-keeper", 9); !ok || err != nil {
			t.Errorf("a code: %v, %v", ok, err)
		}
	})
	all.Wait()
	want := read
	want.Ended, want.Conservator, want.Hash, want.Changed, want.LastCode = Day.Add(time.Hour), false, "another", Day.Add(2*time.Hour), 9
	got, err := s.Account(ctx, "a-keeper")
	must(t, err)
	wantEqual(t, "account", got, want)
	must(t, s.ChangeAccount(ctx, "tester", Day, "a-keeper", "set back", func(a *schedule.Account) error { a.LastCode = 3; return nil }))
	if got, err := s.Account(ctx, "a-keeper"); err != nil || got.LastCode != 9 {
		t.Errorf("the last code is %d, %v", got.LastCode, err)
	}
	must(t, s.ChangeAccount(ctx, "tester", Day, "a-keeper", "new codes", func(a *schedule.Account) error { a.Secret, a.LastCode = "NEW", 3; return nil }))
	if got, err := s.Account(ctx, "a-keeper"); err != nil || got.LastCode != 3 {
		t.Errorf("the last code of another secret is %d, %v", got.LastCode, err)
	}
	before, err := s.Audit(ctx, 1)
	must(t, err)
	no := &schedule.Error{Code: schedule.Conflict, Message: "no"}
	wantCode(t, s.ChangeAccount(ctx, "tester", Day, "a-keeper", "refused", func(a *schedule.Account) error { a.Hash = "x"; return no }), schedule.Conflict)
	after, err := s.Audit(ctx, 1)
	must(t, err)
	if got, err := s.Account(ctx, "a-keeper"); err != nil || got.Hash == "x" || after[0].ID != before[0].ID {
		t.Errorf("what was refused is kept: %+v, %v", got, err)
	}
}

// passesOfClosedAccounts: with an account ends what its holder was given, but for
// having no more letters.
func passesOfClosedAccounts(t *testing.T, _ string, s *db.Store) {
	ctx := t.Context()
	answer, calendar, decline := pass(1), pass(2), pass(3)
	calendar.Deed, decline.Deed = schedule.Following, schedule.Declining
	for _, p := range []schedule.Pass{answer, calendar, decline} {
		must(t, s.GivePass(ctx, "tester", Day, p))
	}
	a := accountOf(answer.Person, false)
	must(t, keepAccount(ctx, s, "tester", a, "let in"))
	if p := passOf(t, s, answer.Token); !p.Ended.IsZero() {
		t.Errorf("ended on %v while the account is open", p.Ended)
	}
	a.Ended = Day.Add(3 * time.Hour)
	must(t, keepAccount(ctx, s, "tester", a, "access ended"))
	for token, want := range map[string]time.Time{answer.Token: a.Ended, calendar.Token: a.Ended, decline.Token: {}} {
		if p := passOf(t, s, token); !p.Ended.Equal(want) {
			t.Errorf("the pass to %s ended on %v, want %v", p.Deed, p.Ended, want)
		}
	}
}

// lastConservator: whoever else goes, one who can let others in stays; also
// where two go at once.
func lastConservator(t *testing.T, _ string, s *db.Store) {
	ctx := t.Context()
	one, two := accountOf("one", true), accountOf("two", true)
	must(t, keepAccount(ctx, s, "tester", one, "let in"))
	must(t, keepAccount(ctx, s, "tester", two, "let in"))
	var refused atomic.Int32
	var all sync.WaitGroup
	for _, a := range []schedule.Account{one, two} {
		all.Go(func() {
			a.Ended = Day
			switch err := keepAccount(ctx, s, "tester", a, "closed"); {
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
	wantCode(t, s.Join(ctx, Day, token, schedule.First, a.Person, "joined", as(a)), schedule.Conflict)
	wantCode(t, s.Join(ctx, Day.Add(2*time.Hour), token, schedule.Joining, a.Person, "joined", as(a)), schedule.Conflict)
	wantCode(t, s.Join(ctx, Day, tokenOf(9), schedule.Joining, a.Person, "joined", as(a)), schedule.Conflict)
	if _, err := s.Account(ctx, "a-keeper"); schedule.CodeOf(err) != schedule.NotFound {
		t.Errorf("a pass that does not hold made an account: %v", err)
	}
	must(t, s.Join(ctx, Day, token, schedule.Joining, a.Person, "joined", as(a)))
	wantCode(t, s.Join(ctx, Day, token, schedule.Joining, a.Person, "joined", as(a)), schedule.Conflict)
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
	must(t, kept.DeleteCtx(ctx, "two"))
	must(t, kept.DeleteCtx(ctx, "none"))
	// A request that was under way keeps what it knew of it, and in vain.
	for range 2 {
		must(t, kept.CommitCtx(ctx, "two", []byte("b"), Day.Add(48*time.Hour)))
		if _, found, err := kept.FindCtx(ctx, "two"); found || err != nil {
			t.Errorf("an ended session: %v, %v", found, err)
		}
		now = now.Add(time.Minute)
	}
	must(t, kept.CommitCtx(ctx, "three", []byte("c"), Day.Add(48*time.Hour)))
	now = Day.Add(time.Hour)
	for after, want := range []int64{0, 2} { // one past its end, one that was ended
		if n, err := s.EmptySessions(ctx, now.Add(time.Duration(after)*24*time.Hour)); n != want || err != nil {
			t.Errorf("emptied %d, %v, want %d", n, err, want)
		}
	}
	if _, found, err := kept.FindCtx(ctx, "three"); !found || err != nil {
		t.Errorf("a session that holds: %v, %v", found, err)
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
