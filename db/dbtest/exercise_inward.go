package dbtest

import (
	"fmt"
	"sync"
	"testing"
	"time"

	"endshake/db"
	"endshake/schedule"
)

// inward is a message that came in, with a mark.
func inward(mark string, at time.Time) schedule.Inward {
	return schedule.Inward{ID: "in-" + mark, Mark: mark, At: at, From: "zoe@example.org", To: "answers+x@example.org", Title: "Re: wind it",
		Raw: []byte("Subject: Re: wind it\r\n\r\nwound\x00\xff\r\n")}
}

// takeIn: the same message again has no new effect, whatever became of the first.
func takeIn(t *testing.T, address string, s *db.Store) {
	ctx := t.Context()
	want := inward("b", minutes(1))
	for i, m := range []schedule.Inward{want, inward("a", minutes(2)), want} {
		taken, err := s.TakeIn(ctx, m)
		must(t, err)
		if taken != (i < 2) {
			t.Errorf("message %d taken: %v", i, taken)
		}
	}
	want.State = schedule.Taken
	list, err := s.ToSettle(ctx, 10)
	must(t, err)
	if len(list) != 2 {
		t.Fatalf("%d to settle, want 2", len(list))
	}
	wantEqual(t, "the first that came", list[0], want)
	if list, err = s.ToSettle(ctx, 1); err != nil || len(list) != 1 || list[0].Mark != "b" {
		t.Errorf("one to settle: %+v, %v", list, err)
	}

	done := want
	done.State, done.Why, done.Person, done.Clock, done.Notice, done.Entry, done.Settled =
		schedule.Held, "it asks a question", "z-keeper", "clock-0", "n-1", "", minutes(3)
	owed := notice("told")
	must(t, s.SettleIn(ctx, done, owed))
	wantCode(t, s.SettleIn(ctx, done, notice("told twice")), schedule.Conflict)
	if n := count(t, address, `SELECT count(*) FROM notice`); n != 1 {
		t.Errorf("%d notices: what was refused is stored, or what was owed is not", n)
	}
	got, err := s.Inward(ctx, done.ID)
	must(t, err)
	wantEqual(t, "settled", got, done)
	if taken, err := s.TakeIn(ctx, want); err != nil || taken {
		t.Errorf("taken again after it was settled: %v, %v", taken, err)
	}
	done.Raw = nil
	held, err := s.Held(ctx)
	must(t, err)
	wantEqual(t, "held", held, []schedule.Inward{done})
	newest, err := s.Inwards(ctx, 1)
	must(t, err)
	if len(newest) != 1 || newest[0].Mark != "a" || newest[0].Raw != nil {
		t.Errorf("the newest: %+v", newest)
	}

	rows := count(t, address, `SELECT count(*) FROM audit`)
	must(t, s.CloseIn(ctx, "page", done.ID, "entry-1", minutes(4)))
	wantCode(t, s.CloseIn(ctx, "page", done.ID, "", minutes(5)), schedule.Conflict)
	wantCode(t, s.CloseIn(ctx, "page", "in-a", "", minutes(5)), schedule.Conflict) // not held
	wantCode(t, s.CloseIn(ctx, "page", "nowhere", "", minutes(5)), schedule.NotFound)
	if got, err = s.Inward(ctx, done.ID); err != nil || got.State != schedule.Closed || got.Entry != "entry-1" || got.Why != done.Why {
		t.Errorf("closed: %+v, %v", got, err)
	}
	if n := count(t, address, `SELECT count(*) FROM audit`); n != rows+1 {
		t.Errorf("closing wrote %d audit rows, want 1", n-rows)
	}
	if held, err = s.Held(ctx); err != nil || len(held) != 0 {
		t.Errorf("still held: %+v, %v", held, err)
	}
}

func takeInRefused(t *testing.T, address string, s *db.Store) {
	ctx := t.Context()
	for _, m := range []schedule.Inward{inward("", Day), {Mark: "m", Title: "a\x00b"}, {Mark: "m", From: "\xff"}} {
		_, err := s.TakeIn(ctx, m)
		wantCode(t, err, schedule.Invalid)
	}
	m := inward("m", Day)
	_, err := s.TakeIn(ctx, m)
	must(t, err)
	for _, state := range []schedule.InwardState{schedule.Taken, schedule.Closed, "lost", ""} {
		m.State = state
		wantCode(t, s.SettleIn(ctx, m), schedule.Invalid)
	}
	_, err = s.Inward(ctx, "none")
	wantCode(t, err, schedule.NotFound)
	if n := count(t, address, `SELECT count(*) FROM inward WHERE state = 'taken'`); n != 1 {
		t.Errorf("%d messages are taken, want 1", n)
	}
}

// takeInSideBySide: of two servers that take the same message at once one keeps
// it, and of two loops that settle it one does.
func takeInSideBySide(t *testing.T, address string, s *db.Store) {
	stores := []*db.Store{s, Open(t, address)}
	var mu sync.Mutex
	took, settled := 0, 0
	var wg sync.WaitGroup
	for w := range 8 {
		wg.Go(func() {
			for i := range 10 {
				m := inward(fmt.Sprint("m", i), minutes(i))
				m.ID = fmt.Sprintf("%d-%d", w, i)
				taken, err := stores[w%2].TakeIn(t.Context(), m)
				if err != nil {
					t.Error(err)
				}
				m.State = schedule.Logged
				list, err := stores[w%2].ToSettle(t.Context(), 100)
				if err != nil {
					t.Error(err)
				}
				for _, m := range list {
					m.State = schedule.PassedBy
					if err := stores[w%2].SettleIn(t.Context(), m, notice(m.Mark)); err == nil {
						mu.Lock()
						settled++
						mu.Unlock()
					} else if schedule.CodeOf(err) != schedule.Conflict {
						t.Error(err)
					}
				}
				if taken {
					mu.Lock()
					took++
					mu.Unlock()
				}
			}
		})
	}
	wg.Wait()
	if took != 10 || settled != 10 {
		t.Errorf("taken %d times and settled %d times, want 10 each", took, settled)
	}
}

// bounceSettled: a bounce that is looked at twice blames the address once.
func bounceSettled(t *testing.T, address string, s *db.Store) {
	ctx := t.Context()
	n := notice("n")
	n.ID, n.State, n.SentAt, n.To = "n-1", schedule.Sent, Day, "zoe@example.org"
	_, err := s.Owe(ctx, Day, []schedule.Notice{n})
	must(t, err)
	m := inward("m", minutes(1))
	_, err = s.TakeIn(ctx, m)
	must(t, err)
	m.Why, m.Settled = "5.2.2 the mailbox is full", minutes(2)
	m.Notice = "nowhere"
	wantCode(t, s.SettleBounce(ctx, m, schedule.TurnsUs), schedule.NotFound)
	m.Notice = "n-1"
	must(t, s.SettleBounce(ctx, m, schedule.TurnsUs))
	wantCode(t, s.SettleBounce(ctx, m, schedule.TurnsUs), schedule.Conflict)
	if got, err := s.Inward(ctx, m.ID); err != nil || got.State != schedule.Bounced || got.Notice != "n-1" {
		t.Errorf("settled as %+v, %v", got, err)
	}
	if n := count(t, address, `SELECT refusals FROM mailbox`); n != 1 {
		t.Errorf("blamed %d times, want once", n)
	}
	steps, err := s.Steps(ctx, "n-1")
	must(t, err)
	if last := steps[len(steps)-1]; last.What != schedule.StepBack || last.Words != m.Why {
		t.Errorf("the last step is %+v", last)
	}
	if got, err := s.Notice(ctx, "n-1"); err != nil || got.State != schedule.Refused {
		t.Errorf("the notice is %s, %v", got.State, err)
	}
}

// oldMail: bodies go after their time, and what they were stays; a notice
// without its body is not owed anew.
func oldMail(t *testing.T, address string, s *db.Store) {
	ctx := t.Context()
	now := Day
	days := func(n int) time.Time { return now.Add(-time.Duration(n) * 24 * time.Hour) }
	for mark, age := range map[string]int{"old": 31, "young": 29, "unseen": 31} {
		m := inward(mark, days(age))
		_, err := s.TakeIn(ctx, m)
		must(t, err)
		if mark != "unseen" {
			m.State, m.Why, m.Settled = schedule.Held, "why", m.At
			must(t, s.SettleIn(ctx, m))
		}
	}
	for key, age := range map[string]int{"n-old": 91, "n-young": 89, "n-owed": 91} {
		n := notice(key)
		n.ID, n.Created, n.State, n.Attempts = key, days(age), schedule.Sent, 1
		if key == "n-owed" {
			n.State, n.Attempts = schedule.Owed, 0
		}
		_, err := s.Owe(ctx, now, []schedule.Notice{n})
		must(t, err)
	}
	for i, want := range [][2]int{{1, 1}, {0, 0}} {
		in, out, err := s.EmptyOldMail(ctx, now)
		must(t, err)
		if in != want[0] || out != want[1] {
			t.Errorf("round %d emptied %d and %d, want %v", i, in, out, want)
		}
	}
	m, err := s.Inward(ctx, "in-old")
	must(t, err)
	if m.Raw != nil || m.State != schedule.Held || m.Why != "why" || m.Title == "" || m.From == "" {
		t.Errorf("emptied: %+v", m)
	}
	if n := count(t, address, `SELECT count(*) FROM inward WHERE length(raw) > 0`); n != 2 {
		t.Errorf("%d bodies of what came in are left, want 2", n)
	}
	if n := count(t, address, `SELECT count(*) FROM notice_body`); n != 2 {
		t.Errorf("%d bodies of notices are left, want 2", n)
	}
	added, err := s.Owe(ctx, now, []schedule.Notice{notice("n-old")})
	if err != nil || added != 0 {
		t.Errorf("a notice whose body was emptied was owed anew: %d, %v", added, err)
	}
	known, err := s.KnownKeys(ctx, []string{"n-old"})
	if err != nil || !known["n-old"] {
		t.Errorf("a notice whose body was emptied is not known: %v, %v", known, err)
	}
	if n, err := s.NoticesTo(ctx, notice("x").Kind, notice("x").To, days(90)); err != nil || n != 1 {
		t.Errorf("notices of 90 days: %d, %v", n, err)
	}
}
