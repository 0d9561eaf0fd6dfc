package dbtest

import (
	"fmt"
	"sync"
	"testing"
	"time"

	"endshake/db"
	"endshake/schedule"
)

func owe(t *testing.T, address string, s *db.Store) {
	ctx := t.Context()
	full := notice("full")
	full.ID, full.State, full.Attempts, full.Uncertain, full.Reply = "id-1", schedule.Refused, 3, 1, "550 no"
	full.Created, full.FirstTry, full.NextTry, full.SentAt = minutes(-2), minutes(-1), minutes(5), minutes(4)
	added, err := s.Owe(ctx, Day, []schedule.Notice{full, notice("bare"), notice("bare")})
	must(t, err)
	if added != 2 {
		t.Errorf("%d added, want 2", added)
	}
	if added, err = s.Owe(ctx, minutes(9), []schedule.Notice{notice("bare")}); err != nil || added != 0 {
		t.Errorf("owed again: %d, %v", added, err)
	}
	got, err := s.Notice(ctx, "id-1")
	must(t, err)
	wantEqual(t, "notice", got, full)
	list, err := s.Notices(ctx, 10)
	must(t, err)
	full.Raw = nil
	if len(list) != 2 {
		t.Fatalf("%d notices", len(list))
	}
	wantEqual(t, "the older, without Raw", list[1], full)
	if n := list[0]; n.Key != "bare" || n.State != schedule.Owed || !n.Created.Equal(Day) || !n.NextTry.Equal(Day) || len(n.ID) != 36 {
		t.Errorf("a bare notice became %+v", n)
	}
	counts, err := s.NoticeCounts(ctx)
	must(t, err)
	wantEqual(t, "counts", counts, map[schedule.NoticeState]int{schedule.Refused: 1, schedule.Owed: 1})
	_, err = s.Notice(ctx, "none")
	wantCode(t, err, schedule.NotFound)
	_, err = s.Owe(ctx, Day, []schedule.Notice{notice("good"), {Person: "z-keeper"}})
	wantCode(t, err, schedule.Invalid)
	if _, err := s.Owe(ctx, Day, []schedule.Notice{notice("good"), {Key: "odd", State: "lost"}}); err == nil {
		t.Error("a state that is none was stored")
	}
	if n := count(t, address, `SELECT count(*) FROM notice`); n != 2 {
		t.Errorf("%d notices: half of a refused list was stored", n)
	}
}

// oweOne owes a notice with a key and gives its ID.
func oweOne(t *testing.T, s *db.Store, key string) string {
	t.Helper()
	n := notice(key)
	n.ID = "id-" + key
	_, err := s.Owe(t.Context(), Day, []schedule.Notice{n})
	must(t, err)
	return n.ID
}

// send claims all that can be claimed, for ten minutes.
func send(t *testing.T, s *db.Store, owner string, now time.Time) []schedule.Notice {
	t.Helper()
	list, err := s.ClaimNotices(t.Context(), owner, now, 10*time.Minute, 100)
	must(t, err)
	return list
}

// handed records a hand-over, and settled an outcome, each by itself.
func handed(t *testing.T, s *db.Store, id, owner string, now time.Time) error {
	t.Helper()
	return s.Record(t.Context(), owner, []schedule.Mark{{Notice: id, At: now}})[0]
}

func settled(t *testing.T, s *db.Store, id, owner string, o schedule.Outcome) error {
	t.Helper()
	return s.Record(t.Context(), owner, []schedule.Mark{{Notice: id, Outcome: &o}})[0]
}

func wantNotice(t *testing.T, s *db.Store, id string, state schedule.NoticeState, attempts, uncertain int) schedule.Notice {
	t.Helper()
	n, err := s.Notice(t.Context(), id)
	must(t, err)
	if n.State != state || n.Attempts != attempts || n.Uncertain != uncertain {
		t.Errorf("notice is %s after %d tries, %d uncertain; want %s, %d, %d", n.State, n.Attempts, n.Uncertain, state, attempts, uncertain)
	}
	return n
}

func claimsSideBySide(t *testing.T, address string, s *db.Store) {
	var list []schedule.Notice
	for i := range 200 {
		list = append(list, notice(fmt.Sprint("n", i)))
	}
	_, err := s.Owe(t.Context(), Day, list)
	must(t, err)
	stores := []*db.Store{s, Open(t, address)}
	var mu sync.Mutex
	times := map[string]int{}
	var wg sync.WaitGroup
	for w := range 8 {
		wg.Go(func() {
			for {
				got, err := stores[w%2].ClaimNotices(t.Context(), fmt.Sprint("sender ", w), Day, time.Minute, 7)
				if err != nil {
					t.Error(err)
					return
				}
				if len(got) == 0 {
					return
				}
				mu.Lock()
				for _, n := range got {
					times[n.ID]++
				}
				mu.Unlock()
			}
		})
	}
	wg.Wait()
	// A claim that lost its rows to another may come back empty, so look again.
	for _, n := range send(t, s, "last", Day) {
		times[n.ID]++
	}
	if len(times) != 200 {
		t.Errorf("%d notices claimed, want 200", len(times))
	}
	for id, n := range times {
		if n != 1 {
			t.Errorf("notice %s was claimed %d times", id, n)
		}
	}
}

// leaseOver: a sender that dies before it hands over costs nothing but a try.
func leaseOver(t *testing.T, address string, s *db.Store) {
	id := oweOne(t, s, "n")
	if got := send(t, s, "a", Day.Add(-time.Microsecond)); len(got) != 0 {
		t.Errorf("claimed before its time: %+v", got)
	}
	for i := range 5 {
		now := minutes(11 * i)
		got := send(t, s, fmt.Sprint("sender ", i), now)
		if len(got) != 1 || got[0].Attempts != i+1 || got[0].Uncertain != 0 || got[0].State != schedule.Sending || len(got[0].Raw) == 0 {
			t.Fatalf("round %d: %+v", i, got)
		}
		if again := send(t, s, "other", now.Add(10*time.Minute)); len(again) != 0 {
			t.Errorf("claimed under a lease: %+v", again)
		}
	}
	wantNotice(t, s, id, schedule.Sending, 5, 0)
}

// uncertainByLease: twice handed over and never answered is parked, so nothing
// goes out more than twice.
func uncertainByLease(t *testing.T, address string, s *db.Store) {
	id := oweOne(t, s, "n")
	other := oweOne(t, s, "other")
	send(t, s, "a", minutes(0))
	must(t, handed(t, s, id, "a", minutes(1)))
	got := send(t, s, "b", minutes(11))
	if len(got) != 2 {
		t.Fatalf("%d claimed, want 2", len(got))
	}
	wantNotice(t, s, id, schedule.Sending, 2, 1)
	wantNotice(t, s, other, schedule.Sending, 2, 0)
	must(t, handed(t, s, id, "b", minutes(12)))
	for i := range 3 {
		for _, n := range send(t, s, "c", minutes(22+11*i)) {
			if n.ID == id {
				t.Error("handed over a third time")
			}
		}
	}
	n := wantNotice(t, s, id, schedule.Parked, 2, 2)
	if n.Reply == "" {
		t.Error("parked without a word")
	}
}

func uncertainByReply(t *testing.T, address string, s *db.Store) {
	id := oweOne(t, s, "n")
	lost := schedule.Outcome{State: schedule.Owed, At: minutes(2), NextTry: minutes(3), Reply: "no reply", Uncertain: true}
	send(t, s, "a", minutes(0))
	must(t, handed(t, s, id, "a", minutes(1)))
	must(t, settled(t, s, id, "a", lost))
	wantNotice(t, s, id, schedule.Owed, 1, 1)
	if got := send(t, s, "b", minutes(2)); len(got) != 0 {
		t.Error("claimed before the next try")
	}
	// A try that surely did not go out does not count, and does not forgive.
	send(t, s, "b", minutes(3))
	must(t, settled(t, s, id, "b", schedule.Outcome{State: schedule.Owed, At: minutes(4), Reply: "451 later"}))
	wantNotice(t, s, id, schedule.Owed, 2, 1)
	send(t, s, "c", minutes(5))
	must(t, handed(t, s, id, "c", minutes(5)))
	must(t, settled(t, s, id, "c", lost))
	wantNotice(t, s, id, schedule.Parked, 3, 2)
	if got := send(t, s, "d", minutes(1000)); len(got) != 0 {
		t.Error("claimed after it was parked")
	}
}

// claimLost: who has lost a claim can neither hand over nor settle.
func claimLost(t *testing.T, address string, s *db.Store) {
	id := oweOne(t, s, "n")
	wantCode(t, handed(t, s, id, "a", minutes(0)), schedule.Conflict) // never claimed
	send(t, s, "a", minutes(0))
	wantCode(t, handed(t, s, id, "b", minutes(1)), schedule.Conflict)  // somebody else's
	wantCode(t, handed(t, s, id, "a", minutes(11)), schedule.Conflict) // lease over
	send(t, s, "b", minutes(11))
	wantCode(t, handed(t, s, id, "a", minutes(12)), schedule.Conflict)
	wantCode(t, settled(t, s, id, "a", schedule.Outcome{State: schedule.Sent, At: minutes(12)}), schedule.Conflict)
	must(t, handed(t, s, id, "b", minutes(12)))
	wantCode(t, handed(t, s, id, "b", minutes(12)), schedule.Conflict) // once a claim
	must(t, settled(t, s, id, "b", schedule.Outcome{State: schedule.Sent, At: minutes(12), Reply: "250 ok"}))
	wantCode(t, settled(t, s, id, "b", schedule.Outcome{State: schedule.Owed, At: minutes(13)}), schedule.Conflict)
	wantNotice(t, s, id, schedule.Sent, 2, 0)
}

func settle(t *testing.T, address string, s *db.Store) {
	for _, o := range []schedule.Outcome{
		{State: schedule.Sent, At: minutes(2), Reply: "250 ok"},
		{State: schedule.Refused, At: minutes(2), Reply: "550 no such person"},
		{State: schedule.Owed, At: minutes(2), NextTry: minutes(30), Reply: "451 later"},
		{State: schedule.Parked, At: minutes(2), Reply: "tried for five days"},
	} {
		id := oweOne(t, s, string(o.State))
		send(t, s, "a", minutes(1))
		must(t, handed(t, s, id, "a", minutes(1)))
		must(t, settled(t, s, id, "a", o))
		n := wantNotice(t, s, id, o.State, 1, 0)
		if n.Reply != o.Reply || n.SentAt.IsZero() == (o.State == schedule.Sent) {
			t.Errorf("settled %+v, stored reply %q, sent at %v", o, n.Reply, n.SentAt)
		}
	}
	if got := send(t, s, "b", minutes(29)); len(got) != 0 {
		t.Errorf("settled notices were claimed: %+v", got)
	}
	if got := send(t, s, "b", minutes(30)); len(got) != 1 || got[0].Key != string(schedule.Owed) {
		t.Errorf("claimed at the next try: %+v", got)
	}
	for _, o := range []schedule.Outcome{{State: schedule.Sending}, {State: "lost"}, {State: schedule.Sent, Uncertain: true}, {State: schedule.Owed, Reply: "\x00"}} {
		wantCode(t, settled(t, s, "id-owed", "b", o), schedule.Invalid)
	}
}

func resend(t *testing.T, address string, s *db.Store) {
	ctx := t.Context()
	id := oweOne(t, s, "n")
	wantCode(t, s.Resend(ctx, "tester", id, Day), schedule.Conflict) // still owed
	wantCode(t, s.Resend(ctx, "tester", "none", Day), schedule.NotFound)
	send(t, s, "a", Day)
	must(t, settled(t, s, id, "a", schedule.Outcome{State: schedule.Parked, At: Day, Uncertain: true}))
	rev := revision(t, s)
	must(t, s.Resend(ctx, "the conservator", id, minutes(60)))
	n := wantNotice(t, s, id, schedule.Owed, 0, 0)
	if !n.FirstTry.IsZero() || !n.NextTry.Equal(minutes(60)) {
		t.Errorf("next try %v", n.NextTry)
	}
	rows, err := s.Audit(ctx, 1)
	must(t, err)
	if r := rows[0]; r.ID != rev+1 || r.Actor != "the conservator" || r.Action != "resend" || r.Subject != "notice "+id {
		t.Errorf("audit row %+v", r)
	}
	if got := send(t, s, "b", minutes(60)); len(got) != 1 {
		t.Errorf("%d claimed", len(got))
	}
}

// firstTry is when a notice was first claimed since it was last owed anew.
func firstTry(t *testing.T, address string, s *db.Store) {
	ctx := t.Context()
	id := oweOne(t, s, "n")
	want := func(when string, first time.Time) {
		t.Helper()
		n, err := s.Notice(ctx, id)
		must(t, err)
		if !n.FirstTry.Equal(first) {
			t.Errorf("%s: first tried %v, want %v", when, n.FirstTry, first)
		}
	}
	want("owed", time.Time{})
	if got := send(t, s, "a", minutes(1)); len(got) != 1 || !got[0].FirstTry.Equal(minutes(1)) {
		t.Errorf("claimed %+v", got)
	}
	must(t, settled(t, s, id, "a", schedule.Outcome{State: schedule.Owed, At: minutes(2), Reply: "451 later"}))
	want("put off", minutes(1))
	send(t, s, "b", minutes(3))
	want("tried again", minutes(1))
	send(t, s, "c", minutes(30)) // the lease is over
	must(t, settled(t, s, id, "c", schedule.Outcome{State: schedule.Refused, At: minutes(31)}))
	want("refused", minutes(1))
	must(t, s.Resend(ctx, "tester", id, minutes(60)))
	want("owed anew", time.Time{})
	send(t, s, "d", minutes(61))
	want("tried anew", minutes(61))
}

func knownKeys(t *testing.T, address string, s *db.Store) {
	oweOne(t, s, "one")
	oweOne(t, s, "two")
	send(t, s, "a", Day)
	must(t, settled(t, s, "id-two", "a", schedule.Outcome{State: schedule.Sent, At: Day}))
	ask := []string{"two", "three"}
	for i := range 200 { // more than one statement's worth
		ask = append(ask, fmt.Sprint("none-", i))
	}
	wide := notice("wide")
	wide.Covers = []string{"narrow", "three", "narrow"}
	for want := range 2 { // owed again it adds nothing
		wide.Covers = wide.Covers[:3-2*want]
		added, err := s.Owe(t.Context(), Day, []schedule.Notice{wide})
		must(t, err)
		if added != 1-want {
			t.Errorf("%d added at try %d", added, want)
		}
	}
	mute := notice("mute")
	mute.Raw, mute.Covers = nil, []string{"unsaid"}
	if _, err := s.Owe(t.Context(), Day, []schedule.Notice{mute}); err != nil {
		t.Error(err)
	}
	// What is covered is owed no more, also where another desk owes it that did not know.
	added, err := s.Owe(t.Context(), Day, []schedule.Notice{notice("narrow")})
	must(t, err)
	if added != 0 {
		t.Errorf("a letter that is covered was added %d times", added)
	}
	known, err := s.KnownKeys(t.Context(), append(ask, "one", "narrow", "unsaid"))
	must(t, err)
	wantEqual(t, "known keys", known, map[string]bool{"one": true, "two": true, "three": true, "narrow": true})
	if known, err := s.KnownKeys(t.Context(), nil); err != nil || len(known) != 0 {
		t.Errorf("of none: %v, %v", known, err)
	}
}

// mended: a letter refused at an address that is its reader's no more is owed
// anew to the new one, once, and the old keeps its steps.
func mended(t *testing.T, address string, s *db.Store) {
	ctx := t.Context()
	f := Fleet(1)
	must(t, s.SaveFleet(ctx, "tester", Day, f, nil))
	oweOne(t, s, "x")
	send(t, s, "a", Day)
	must(t, settled(t, s, "id-x", "a", schedule.Outcome{State: schedule.Refused, At: Day, Reply: "550 5.1.1 nobody"}))
	known := func() bool {
		t.Helper()
		got, err := s.KnownKeys(ctx, []string{"x"})
		must(t, err)
		return got["x"]
	}
	again := notice("x")
	again.ID, again.To = "id-again", "zoe@new.example.org"
	if !known() {
		t.Error("a letter refused at its reader's address is owed anew")
	}
	for i := range f.People {
		if f.People[i].Slug == again.Person {
			f.People[i].Email = "Zoë <ZOE@example.org>" // the same, written otherwise
		}
	}
	must(t, s.SaveFleet(ctx, "tester", minutes(1), f, nil))
	if !known() {
		t.Error("the same address written otherwise counts as another")
	}
	for i := range f.People {
		if f.People[i].Slug == again.Person {
			f.People[i].Email = again.To
		}
	}
	must(t, s.SaveFleet(ctx, "tester", minutes(2), f, nil))
	if known() {
		t.Error("a letter refused at the old address is not owed anew")
	}
	for want := range 2 {
		added, err := s.Owe(ctx, minutes(3), []schedule.Notice{again})
		must(t, err)
		if added != 1-want {
			t.Errorf("%d added at try %d", added, want)
		}
	}
	if !known() {
		t.Error("owed anew, and not known")
	}
	wantNotice(t, s, "id-x", schedule.Refused, 1, 0)
	wantNotice(t, s, "id-again", schedule.Owed, 0, 0)
	if steps, err := s.Steps(ctx, "id-x"); err != nil || len(steps) < 2 {
		t.Errorf("its steps: %v, %v", steps, err)
	}
}

// unwritten: a notice whose letter could not be written does not stand for one
// that can be, and gives way to it.
func unwritten(t *testing.T, address string, s *db.Store) {
	ctx := t.Context()
	mute := notice("n")
	mute.ID, mute.To, mute.Raw, mute.State, mute.Reply = "mute", "", nil, schedule.Refused, "no such address"
	owe := func(n schedule.Notice, want int) {
		t.Helper()
		added, err := s.Owe(ctx, Day, []schedule.Notice{n})
		must(t, err)
		if added != want {
			t.Errorf("%s: %d added, want %d", n.ID, added, want)
		}
	}
	known := func(want bool) {
		t.Helper()
		got, err := s.KnownKeys(ctx, []string{"n"})
		must(t, err)
		if got["n"] != want {
			t.Errorf("known: %v, want %v", got["n"], want)
		}
	}
	owe(mute, 1)
	known(false)
	again := mute
	again.ID, again.Reply = "again", "still none" // the newest reason counts
	owe(again, 1)
	if n := wantNotice(t, s, "again", schedule.Refused, 0, 0); n.Reply != "still none" {
		t.Errorf("the reason is %q", n.Reply)
	}
	_, err := s.Notice(ctx, "mute")
	wantCode(t, err, schedule.NotFound)
	good := notice("n")
	good.ID = "good"
	owe(good, 1)
	known(true)
	owe(mute, 0) // what can be sent does not give way
	if got := send(t, s, "a", Day); len(got) != 1 || got[0].ID != "good" || string(got[0].Raw) != string(good.Raw) {
		t.Errorf("claimed %+v", got)
	}
	if n := count(t, address, `SELECT count(*) FROM notice`); n != 1 {
		t.Errorf("%d notices", n)
	}
}
