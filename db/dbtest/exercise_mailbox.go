package dbtest

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"endshake/db"
	"endshake/schedule"
)

// turnedAway is a refusal that may be of this letter only.
func turnedAway(at time.Time) schedule.Outcome {
	return schedule.Outcome{State: schedule.Refused, At: at, Reply: "550 5.2.1 not now", Blame: schedule.TurnsUs}
}

// try owes a notice with a key at a minute, has it claimed, and settles it.
func try(t *testing.T, s *db.Store, key string, minute int, o schedule.Outcome) string {
	t.Helper()
	n := notice(key)
	n.ID, n.Created = "id-"+key, minutes(minute)
	_, err := s.Owe(t.Context(), minutes(minute), []schedule.Notice{n})
	must(t, err)
	if got := send(t, s, "a", minutes(minute)); len(got) != 1 || got[0].ID != n.ID {
		t.Fatalf("claimed %+v, want %s alone", got, n.ID)
	}
	must(t, settled(t, s, n.ID, "a", o))
	return n.ID
}

func wantStopped(t *testing.T, s *db.Store, want ...schedule.Mailbox) {
	t.Helper()
	got, err := s.Mailboxes(t.Context(), 10)
	must(t, err)
	wantEqual(t, "stopped mailboxes", got, want)
}

// noSuchMailbox: an address that leads nowhere is stopped at once, what is owed
// to it then or later is refused with the reason, and a person sets it going.
func noSuchMailbox(t *testing.T, address string, s *db.Store) {
	ctx := t.Context()
	waiting := notice("waiting")
	waiting.ID, waiting.NextTry, waiting.To = "id-waiting", minutes(500), strings.ToUpper(notice("x").To) // capitals make no other mailbox
	_, err := s.Owe(ctx, Day, []schedule.Notice{waiting})
	must(t, err)
	other := notice("other")
	other.ID, other.To, other.NextTry = "id-other", "other@example.org", minutes(500)
	_, err = s.Owe(ctx, Day, []schedule.Notice{other})
	must(t, err)
	id := try(t, s, "n", 1, schedule.Outcome{State: schedule.Refused, At: minutes(2), Reply: "550 5.1.1 nobody", Blame: schedule.NoSuch})
	box := schedule.Mailbox{Address: strings.ToLower(waiting.To), Refusals: 1, Stopped: minutes(2), Why: "550 5.1.1 nobody"}
	wantStopped(t, s, box)
	reason := "nothing is sent to this address since 25 Nov 2026: 550 5.1.1 nobody"
	if n := wantNotice(t, s, waiting.ID, schedule.Refused, 0, 0); n.Reply != reason {
		t.Errorf("the reason is %q, want %q", n.Reply, reason)
	}
	late := notice("late")
	late.ID = "id-late"
	_, err = s.Owe(ctx, minutes(3), []schedule.Notice{late})
	must(t, err)
	if got := send(t, s, "b", minutes(600)); len(got) != 1 || got[0].ID != other.ID {
		t.Errorf("claimed %+v, want the one to another address alone", got)
	}
	wantNotice(t, s, late.ID, schedule.Refused, 0, 0)
	wantCode(t, s.Resend(ctx, "tester", id, minutes(4)), schedule.Conflict)
	must(t, s.StopMailbox(ctx, late.To, "again", minutes(5))) // keeps its day and reason
	wantStopped(t, s, box)

	wantCode(t, s.StartMailbox(ctx, "tester", "never@example.org", minutes(6)), schedule.NotFound)
	rev := revision(t, s)
	must(t, s.StartMailbox(ctx, "the conservator", late.To, minutes(6)))
	wantStopped(t, s)
	rows, err := s.Audit(ctx, 1)
	must(t, err)
	if r := rows[0]; r.ID != rev+1 || r.Actor != "the conservator" || r.Action != "set going" || r.Subject != "mailbox "+box.Address {
		t.Errorf("audit row %+v", r)
	}
	wantCode(t, s.StartMailbox(ctx, "tester", late.To, minutes(6)), schedule.NotFound)
	must(t, s.Resend(ctx, "tester", id, minutes(7)))
	if got := send(t, s, "b", minutes(7)); len(got) != 1 || got[0].ID != id {
		t.Errorf("claimed %+v after it was set going", got)
	}
	wantCode(t, s.StopMailbox(ctx, "", "why", Day), schedule.Invalid)
	wantCode(t, s.StopMailbox(ctx, "a@example.org", "\x00", Day), schedule.Invalid)
}

// thirdInARow: other refusals stop an address at the third in a row; one that
// goes through begins the count anew, one put off does not.
func thirdInARow(t *testing.T, address string, s *db.Store) {
	try(t, s, "a", 1, turnedAway(minutes(1)))
	try(t, s, "b", 2, turnedAway(minutes(2)))
	try(t, s, "c", 3, schedule.Outcome{State: schedule.Sent, At: minutes(3), Reply: "250 ok"})
	try(t, s, "d", 4, turnedAway(minutes(4)))
	try(t, s, "e", 5, schedule.Outcome{State: schedule.Refused, At: minutes(5), Reply: "554 the letter"}) // not the address's fault
	try(t, s, "f", 6, turnedAway(minutes(6)))
	try(t, s, "g", 7, schedule.Outcome{State: schedule.Owed, At: minutes(7), NextTry: minutes(5000), Reply: "451 later"})
	wantStopped(t, s)
	try(t, s, "h", 8, turnedAway(minutes(8)))
	wantStopped(t, s, schedule.Mailbox{Address: "zoe@example.org", Refusals: 3, Stopped: minutes(8), Why: "550 5.2.1 not now"})
	wantNotice(t, s, "id-g", schedule.Refused, 1, 0)
}

// bounces: what comes back counts although the server had taken it.
func bounces(t *testing.T, address string, s *db.Store) {
	ctx := t.Context()
	taken := func(at int) schedule.Outcome {
		return schedule.Outcome{State: schedule.Sent, At: minutes(at), Reply: "250 ok"}
	}
	back := func(id string, at int) {
		t.Helper()
		got, err := s.Bounced(ctx, id, schedule.TurnsUs, "5.2.2 full", minutes(at))
		must(t, err)
		if got != "zoe@example.org" {
			t.Errorf("it came back from %q", got)
		}
	}
	for i, key := range []string{"a", "b"} {
		back(try(t, s, key, 10*i, taken(10*i+1)), 10*i+2)
	}
	back("id-b", 13) // reported once more, as by each server behind one address
	wantStopped(t, s)
	if n := wantNotice(t, s, "id-b", schedule.Refused, 1, 0); n.Reply != "came back: 5.2.2 full" {
		t.Errorf("reply %q", n.Reply)
	}
	// Two that do not come back: the first of them shows that letters arrive.
	try(t, s, "c", 30, taken(31))
	try(t, s, "d", 40, taken(41))
	back(try(t, s, "e", 50, taken(51)), 52)
	back(try(t, s, "f", 60, taken(61)), 62)
	wantStopped(t, s)
	back(try(t, s, "g", 70, taken(71)), 72)
	wantStopped(t, s, schedule.Mailbox{Address: "zoe@example.org", Refusals: 3, Stopped: minutes(72), Why: "5.2.2 full"})
	steps, err := s.Steps(ctx, "id-a")
	must(t, err)
	wantEqual(t, "steps", steps, []schedule.Step{{At: minutes(0), What: schedule.StepOwed}, {At: minutes(0), What: schedule.StepTried},
		{At: minutes(1), What: schedule.StepSent, Words: "250 ok"}, {At: minutes(2), What: schedule.StepBack, Words: "5.2.2 full"}})
	_, err = s.Bounced(ctx, "none", schedule.NoSuch, "", Day)
	wantCode(t, err, schedule.NotFound)
}

// steps: each change of a notice leaves its step, in order.
// bounceOvertakes: a bounce that comes before it is kept that the letter was taken
// is not lost, whatever is kept after it, and nothing goes out again.
func bounceOvertakes(t *testing.T, address string, s *db.Store) {
	ctx := t.Context()
	back := func(id string, at int) {
		t.Helper()
		_, err := s.Bounced(ctx, id, schedule.TurnsUs, "5.2.2 full", minutes(at))
		must(t, err)
	}
	refused := func(id string, uncertain int) {
		t.Helper()
		if n := wantNotice(t, s, id, schedule.Refused, 1, uncertain); n.Reply != "came back: 5.2.2 full" || n.SentAt.IsZero() {
			t.Errorf("%s: reply %q, sent %v", id, n.Reply, n.SentAt)
		}
	}
	claim := func(key string, at int) string {
		t.Helper()
		n := notice(key)
		n.ID, n.To, n.Created = "id-"+key, key+"@example.org", minutes(at)
		_, err := s.Owe(ctx, minutes(at), []schedule.Notice{n})
		must(t, err)
		if got := send(t, s, "a", minutes(at)); len(got) != 1 || got[0].ID != n.ID {
			t.Fatalf("claimed %+v", got)
		}
		return n.ID
	}
	for i, o := range []schedule.Outcome{{State: schedule.Sent, At: minutes(2), Reply: "250 ok"}, {State: schedule.Owed, Uncertain: true, At: minutes(2), Reply: "no answer"}} {
		id := claim(fmt.Sprint("handed", i), 0)
		must(t, handed(t, s, id, "a", minutes(1)))
		back(id, 1)
		refused(id, 0)
		must(t, settled(t, s, id, "a", o))
		refused(id, 0)
	}
	// A sender that died after it handed the letter over; the bounce settles that.
	id := claim("dead", 10)
	must(t, handed(t, s, id, "a", minutes(11)))
	must(t, settled(t, s, id, "a", schedule.Outcome{State: schedule.Owed, Uncertain: true, At: minutes(12), Reply: "no answer"}))
	back(id, 13)
	refused(id, 1)
	if got := send(t, s, "b", minutes(600)); len(got) != 0 {
		t.Errorf("sent again: %+v", got)
	}
	// Never handed over: what reports on it is mistaken, or forged.
	id = claim("young", 700)
	back(id, 701)
	wantNotice(t, s, id, schedule.Sending, 1, 0)
	must(t, handed(t, s, id, "a", minutes(702)))
	must(t, settled(t, s, id, "a", schedule.Outcome{State: schedule.Sent, At: minutes(703)}))
	wantNotice(t, s, id, schedule.Sent, 1, 0)
	// A claim that is another's stays a Conflict.
	wantCode(t, settled(t, s, id, "b", schedule.Outcome{State: schedule.Sent, At: minutes(704)}), schedule.Conflict)
}

func steps(t *testing.T, address string, s *db.Store) {
	ctx := t.Context()
	id := oweOne(t, s, "n")
	lost := schedule.Outcome{State: schedule.Owed, At: minutes(2), Reply: "no reply", Uncertain: true}
	send(t, s, "a", minutes(1))
	must(t, settled(t, s, id, "a", schedule.Outcome{State: schedule.Owed, At: minutes(1), Reply: "451 later"}))
	send(t, s, "a", minutes(2))
	must(t, handed(t, s, id, "a", minutes(2)))
	must(t, settled(t, s, id, "a", lost))
	send(t, s, "a", minutes(3))
	must(t, handed(t, s, id, "a", minutes(3)))
	send(t, s, "b", minutes(20)) // the lease is over: parked
	must(t, s.Resend(ctx, "ada", id, minutes(30)))
	send(t, s, "b", minutes(31))
	must(t, settled(t, s, id, "b", schedule.Outcome{State: schedule.Refused, At: minutes(32), Reply: "554 no"}))
	got, err := s.Steps(ctx, id)
	must(t, err)
	var words []string
	for i, st := range got {
		if i > 0 && st.At.Before(got[i-1].At) {
			t.Errorf("step %d is before the one before it", i)
		}
		words = append(words, strings.TrimSpace(string(st.What)+" "+st.Words))
	}
	wantEqual(t, "steps", words, []string{"owed", "tried", "put off 451 later", "tried", "uncertain no reply", "tried",
		"parked perhaps handed over twice, and never answered: ask the reader whether it came", "asked again by ada", "tried", "refused 554 no"})
}

// groupedMarks: one transaction, and each mark its own answer.
func groupedMarks(t *testing.T, address string, s *db.Store) {
	a, b, c, d := oweOne(t, s, "a"), oweOne(t, s, "b"), oweOne(t, s, "c"), oweOne(t, s, "d")
	send(t, s, "me", Day)
	errs := s.Record(t.Context(), "me", []schedule.Mark{
		{Notice: a, At: minutes(1)},
		{Notice: "none", At: minutes(1)},
		{Notice: b, Outcome: &schedule.Outcome{State: "lost"}},
		{Notice: a, Outcome: &schedule.Outcome{State: schedule.Sent, At: minutes(1), Reply: "250 ok"}},
		{Notice: c, At: minutes(1)},
	})
	errs = append(errs, handed(t, s, d, "me", minutes(11))) // the lease is over
	for i, want := range []schedule.Code{"", schedule.Conflict, schedule.Invalid, "", "", schedule.Conflict} {
		if schedule.CodeOf(errs[i]) != want || want == "" && errs[i] != nil {
			t.Errorf("mark %d: %v, want code %q", i, errs[i], want)
		}
	}
	wantNotice(t, s, a, schedule.Sent, 1, 0)
	wantNotice(t, s, b, schedule.Sending, 1, 0)
	wantNotice(t, s, c, schedule.Sending, 1, 0)
	if n := count(t, address, `SELECT count(*) FROM notice WHERE handed_at IS NOT NULL`); n != 1 {
		t.Errorf("%d are handed over, want 1", n)
	}
	if got := s.Record(t.Context(), "me", nil); len(got) != 0 {
		t.Errorf("of nothing: %v", got)
	}
}

// trouble is what a weekly letter has to tell.
func trouble(t *testing.T, address string, s *db.Store) {
	ctx := t.Context()
	week := 7 * 24 * 60
	try(t, s, "old", -week-10, schedule.Outcome{State: schedule.Refused, At: minutes(-week - 1), Reply: "554 no"})
	try(t, s, "sent", -60, schedule.Outcome{State: schedule.Sent, At: minutes(-60), Reply: "250 ok"})
	try(t, s, "refused", -50, schedule.Outcome{State: schedule.Refused, At: minutes(-50), Reply: "554 no"})
	slow := notice("slow")
	slow.ID, slow.Created, slow.FirstTry, slow.NextTry = "id-slow", minutes(-24*60-5), minutes(-24*60-1), minutes(100)
	fresh := notice("fresh")
	fresh.ID, fresh.Created, fresh.NextTry = "id-fresh", minutes(-48*60), minutes(-24*60+1) // it had to wait for its hour
	_, err := s.Owe(ctx, Day, []schedule.Notice{slow, fresh})
	must(t, err)
	must(t, s.StopMailbox(ctx, "gone@example.org", "550 5.1.1", minutes(-20)))
	got, err := s.Trouble(ctx, minutes(-week), Day)
	must(t, err)
	var keys []string
	for _, n := range got.Notices {
		keys = append(keys, n.Key)
	}
	wantEqual(t, "notices", keys, []string{"refused", "slow"})
	wantEqual(t, "mailboxes", got.Mailboxes, []schedule.Mailbox{{Address: "gone@example.org", Refusals: 1, Stopped: minutes(-20), Why: "550 5.1.1"}})
	n, oldest, err := s.MailStuck(ctx)
	must(t, err)
	if n != 1 || !oldest.Equal(slow.FirstTry) {
		t.Errorf("%d stopped, the oldest owed since %v", n, oldest)
	}
}

// nothingStuck: an empty outbox says so.
func nothingStuck(t *testing.T, address string, s *db.Store) {
	n, oldest, err := s.MailStuck(t.Context())
	must(t, err)
	if n != 0 || !oldest.IsZero() {
		t.Errorf("%d stopped, the oldest owed since %v", n, oldest)
	}
	got, err := s.Trouble(t.Context(), Day, Day)
	must(t, err)
	wantEqual(t, "trouble", got, schedule.Trouble{})
}
