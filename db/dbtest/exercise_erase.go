package dbtest

import (
	"bytes"
	"encoding/gob"
	"fmt"
	"strings"
	"testing"
	"time"

	"endshake/db"
	"endshake/schedule"
)

// remembered is a session's data as the session manager of the pages writes it.
func remembered(t *testing.T, person string) []byte {
	t.Helper()
	var b bytes.Buffer
	must(t, gob.NewEncoder(&b).Encode(struct {
		Deadline time.Time
		Values   map[string]any
	}{Day, map[string]any{"person": person, "browser": "Firefox on Android", "seen": int64(7)}}))
	return b.Bytes()
}

// withTraces stores a fleet in which z-keeper has left every trace that a person
// leaves, and boss runs it.
func withTraces(t *testing.T, s *db.Store) {
	t.Helper()
	ctx := t.Context()
	f := Fleet(4)
	f.People = append(f.People, schedule.Person{Slug: "boss", Name: "Boss"})
	must(t, s.SaveFleet(ctx, "z-keeper", Day, f, nil))
	must(t, keepAccount(ctx, s, "boss", accountOf("boss", true), "let in"))
	must(t, keepAccount(ctx, s, "boss", accountOf("z-keeper", true), "let in"))
	first, _, err := s.Append(ctx, "z-keeper", Day, measured("clock-0", minutes(1), 1), nil)
	must(t, err)
	second := measured("clock-0", minutes(2), 2)
	second.By, second.Source = "a-winder", schedule.PagePrefix+"z-keeper"
	_, _, err = s.Append(ctx, "z-keeper", Day, second, nil)
	must(t, err)
	other := measured("clock-1", minutes(3), 3)
	other.By, other.Source = "a-winder", "xxxxxxxxxz-keeper"
	_, _, err = s.Append(ctx, "a-winder", Day, other, nil)
	must(t, err)
	pass := schedule.Pass{Token: tokenOf(1), Deed: schedule.Following, Person: "z-keeper"}
	must(t, s.GivePass(ctx, "z-keeper", Day, pass))
	must(t, s.Decline(ctx, Day, "z-keeper", schedule.ChangeWeek))
	must(t, s.MarkRound(ctx, markOf(schedule.SetVisit, "tower", "z-keeper", 3)))
	another := markOf(schedule.BarVisit, "tower", "a-winder", 4)
	another.By = "z-keeper"
	must(t, s.MarkRound(ctx, another))
	must(t, s.MarkRound(ctx, markOf(schedule.BarVisit, "annexe", "z-keeper", 5)))
	must(t, s.UnmarkRound(ctx, "boss", markOf(schedule.BarVisit, "annexe", "z-keeper", 5), Day))
	for i, who := range []string{"z-keeper", "boss"} {
		must(t, s.GiveMachine(ctx, who, minutes(i), schedule.Machine{Name: "of " + who, Token: tokenOf(2 + i), Scopes: []schedule.Scope{schedule.ScopeRead}, Made: minutes(i), Ends: Day.Add(24 * time.Hour)}))
	}
	sessions := s.Sessions(func() time.Time { return Day })
	for i, who := range []string{"z-keeper", "z-keeper", "boss", "z-keeperer"} {
		must(t, sessions.CommitCtx(ctx, fmt.Sprint("session ", i), remembered(t, who), Day.Add(time.Hour)))
	}
	theirs, others := notice("for z-keeper"), notice("for the winder")
	theirs.Covers, others.Person, others.To = []string{"covered for z-keeper"}, "a-winder", "winder@example.org"
	_, err = s.Owe(ctx, Day, []schedule.Notice{theirs, others})
	must(t, err)
	came := inward("a", minutes(1))
	_, err = s.TakeIn(ctx, came)
	must(t, err)
	came.State, came.Why, came.Person, came.Settled = schedule.Held, "zoe@example.org asks", "z-keeper", minutes(2)
	must(t, s.SettleIn(ctx, came))
	came = inward("b", minutes(3)) // nobody has looked whom it is from
	_, err = s.TakeIn(ctx, came)
	must(t, err)
	log, err := s.Entries(ctx, "clock-0")
	must(t, err)
	if len(log) != 2 || log[0].ID != first.ID || log[0].By != "z-keeper" {
		t.Fatalf("the log begins as %+v", log)
	}
}

// tracesOf are what of somebody must be nowhere in the database, in small letters.
var tracesOf = []string{"zoë", "zo\\u00eb", "zoe@", "europe/paris", "47.123456"}

// wantNoTrace looks into every column of every table.
func wantNoTrace(t *testing.T, address string) {
	t.Helper()
	d := raw(t, address)
	for _, table := range []string{"site", "person", "clock", "duty", "policy", "train", "arbor", "bearing", "mesh", "entry", "reading", "audit", "job_run", "covered", "notice_event",
		"notice_body", "notice", "learned", "pass", "decline", "mailbox", "inward", "account", "session", "machine", "picture", "audit_check", "erased", "round_mark"} {
		rows, err := d.Query(`SELECT * FROM ` + table)
		must(t, err)
		columns, err := rows.Columns()
		must(t, err)
		values, at := make([]any, len(columns)), make([]any, len(columns))
		for i := range values {
			at[i] = &values[i]
		}
		for rows.Next() {
			must(t, rows.Scan(at...))
			for i, v := range values {
				if b, ok := v.([]byte); ok {
					v = string(b)
				}
				words := strings.ToLower(fmt.Sprint(v))
				for _, trace := range tracesOf {
					if strings.Contains(words, trace) {
						t.Errorf("%s.%s still has %q: %.200s", table, columns[i], trace, words)
					}
				}
			}
		}
		must(t, rows.Err())
		rows.Close()
	}
}

// erase: nothing stays of a person but what they did, under a number.
func erase(t *testing.T, address string, s *db.Store) {
	ctx := t.Context()
	withTraces(t, s)
	wantAudit(t, s, 0, "")
	must(t, s.Exported(ctx, "z-keeper", Day, []string{"clock-0", "clock-1"}))
	if rows, err := s.Audit(ctx, 1); err != nil || rows[0].Action != "exported" || rows[0].Actor != "z-keeper" || rows[0].Detail != "clock-0, clock-1" {
		t.Errorf("an export is audited as %+v, %v", rows, err)
	}
	before, err := s.Revision(ctx)
	must(t, err)
	at := Day.Add(time.Hour)
	e, err := s.Erase(ctx, "boss", at, "z-keeper")
	must(t, err)
	wantEqual(t, "erasure", e, schedule.Erasure{Person: "z-keeper", Number: 1, At: at})
	wantNoTrace(t, address)
	if c := wantAudit(t, s, 0, ""); c.Emptied < 2 || c.Rows != before+1 {
		t.Errorf("the audit after it: %+v; want the rows that described them emptied", c)
	}
	log, err := s.Log(ctx)
	must(t, err)
	if l := log["clock-0"]; len(l) != 2 || l[0].By != "person 1, erased" || l[1].By != "a-winder" || l[1].Source != "page, by person 1, erased" {
		t.Errorf("the log is %+v", l)
	}
	if l := log["clock-1"]; len(l) != 1 || l[0].Source != "xxxxxxxxxz-keeper" {
		t.Errorf("another source is read as %+v", l)
	}
	f, err := s.Fleet(ctx)
	must(t, err)
	if _, ok := f.Person("z-keeper"); ok || len(f.People) != 2 || f.Clocks[0].Has("z-keeper") || !f.Clocks[0].Has("a-winder") {
		t.Errorf("the fleet has %+v and %+v", f.People, f.Clocks[0].Duties)
	}
	rows, err := s.Audit(ctx, 100)
	must(t, err)
	if r := rows[0]; r.Actor != "boss" || r.Action != "erased" || r.Subject != "person 1, erased" || r.Detail != "gave up 6 duties" {
		t.Errorf("audited as %+v", r)
	}
	for _, r := range rows {
		if all := r.Actor + " " + r.Subject + " " + r.Detail; strings.Contains(all, "z-keeper") && !strings.HasSuffix(r.Subject, " of z-keeper") {
			t.Errorf("the audit still says %+v", r)
		}
	}
	theirs, err := s.AuditOf(ctx, "person 1, erased", 0, 100)
	must(t, err)
	if len(theirs) < 8 || theirs[0].Actor != "person 1, erased" {
		t.Errorf("what they changed: %d rows", len(theirs))
	}
	wantAllEnded(t, s)
	wantLettersEmptied(t, s)
	marks, err := s.RoundMarks(ctx, schedule.Date{})
	must(t, err)
	left := markOf(schedule.BarVisit, "tower", "a-winder", 4)
	left.By = "person 1, erased"
	wantEqual(t, "marks of rounds", marks, []schedule.RoundMark{left})
}

// wantAllEnded sees that nothing lets z-keeper in any more, and all others.
func wantAllEnded(t *testing.T, s *db.Store) {
	t.Helper()
	ctx := t.Context()
	_, err := s.Account(ctx, "z-keeper")
	wantCode(t, err, schedule.NotFound)
	_, err = s.Pass(ctx, tokenOf(1))
	wantCode(t, err, schedule.NotFound)
	_, err = s.Machine(ctx, Day, tokenOf(2))
	wantCode(t, err, schedule.NotFound)
	if _, err := s.Machine(ctx, Day, tokenOf(3)); err != nil {
		t.Errorf("the program of another: %v", err)
	}
	open, err := s.Sessions(func() time.Time { return Day }).AllCtx(ctx)
	must(t, err)
	if len(open) != 2 || open["session 2"] == nil || open["session 3"] == nil {
		t.Errorf("%d sessions are open", len(open))
	}
	if declined, err := s.Declined(ctx); err != nil || len(declined) != 0 {
		t.Errorf("declined %+v, %v", declined, err)
	}
	f := schedule.Fleet{People: []schedule.Person{{Slug: "z-keeper", Name: "Another"}}}
	wantCode(t, s.SaveFleet(ctx, "boss", Day, f, nil), schedule.Conflict)
}

// wantLettersEmptied sees that letters to z-keeper say nothing any more, and are
// not sent, and that those to others are as they were.
func wantLettersEmptied(t *testing.T, s *db.Store) {
	t.Helper()
	ctx := t.Context()
	list, err := s.Notices(ctx, 10)
	must(t, err)
	var theirs, another schedule.Notice
	for _, n := range list {
		if n.Person == "a-winder" {
			another = n
		} else {
			theirs = n
		}
	}
	if theirs.Person != "person 1, erased" || theirs.To != "" || theirs.State != schedule.Refused || theirs.Kind != schedule.LimitReminder || theirs.Title == "" {
		t.Errorf("their letter is %+v", theirs)
	}
	if n, err := s.Notice(ctx, theirs.ID); err != nil || len(n.Raw) > 0 {
		t.Errorf("its body is %q, %v", n.Raw, err)
	}
	if n, err := s.Notice(ctx, another.ID); err != nil || n.To != "winder@example.org" || len(n.Raw) == 0 || n.Title != notice("").Title {
		t.Errorf("another's letter is %+v, %v", n, err)
	}
	claimed, err := s.ClaimNotices(ctx, "one", Day.Add(2*time.Hour), time.Minute, 10)
	must(t, err)
	if len(claimed) != 1 || claimed[0].ID != another.ID {
		t.Errorf("%d letters are to be sent", len(claimed))
	}
	came, err := s.Inwards(ctx, 10)
	must(t, err)
	for _, m := range came {
		if m.Person != "person 1, erased" || m.From != "" || m.State != schedule.Closed {
			t.Errorf("what came in from them is %+v", m)
		}
	}
	if len(came) != 2 {
		t.Errorf("%d messages are there", len(came))
	}
}

// eraseAgain: a list kept elsewhere erases once more whom a backup brought back,
// and nobody twice.
func eraseAgain(t *testing.T, address string, s *db.Store) {
	ctx := t.Context()
	withTraces(t, s)
	at := Day.Add(-time.Hour)
	list := []schedule.Erasure{{Person: "somebody-else", Number: 1, At: at}, {Person: "z-keeper", Number: 3, At: at}}
	done, err := s.EraseAgain(ctx, "serve", Day, list)
	must(t, err)
	wantEqual(t, "erased again", done, list)
	wantNoTrace(t, address)
	wantAudit(t, s, 0, "")
	log, err := s.Entries(ctx, "clock-0")
	must(t, err)
	if log[0].By != "person 3, erased" {
		t.Errorf("the log says %q", log[0].By)
	}
	before, err := s.Revision(ctx)
	must(t, err)
	done, err = s.EraseAgain(ctx, "serve", Day, list)
	if now, _ := s.Revision(ctx); err != nil || len(done) != 0 || now != before {
		t.Errorf("a second time: %+v, %v, revision %d after %d", done, err, now, before)
	}
	// A number that somebody else has meanwhile is not given twice.
	done, err = s.EraseAgain(ctx, "serve", Day, []schedule.Erasure{{Person: "a-winder", Number: 1, At: at}})
	must(t, err)
	wantEqual(t, "under another number", done, []schedule.Erasure{{Person: "a-winder", Number: 4, At: at}})
	known, err := s.Erasures(ctx)
	must(t, err)
	wantEqual(t, "the list", known, append(list, done...))
	for _, bad := range []schedule.Erasure{{Number: 9, At: at}, {Person: "boss", At: at}, {Person: "boss", Number: 9}, {Person: "bo\x00ss", Number: 9, At: at}} {
		_, err := s.EraseAgain(ctx, "serve", Day, []schedule.Erasure{bad})
		wantCode(t, err, schedule.Invalid)
	}
}

// eraseRefused: nobody unknown, nobody twice, and not the last who can let others
// in; then nothing is changed.
func eraseRefused(t *testing.T, _ string, s *db.Store) {
	ctx := t.Context()
	withTraces(t, s)
	before, err := s.Fleet(ctx)
	must(t, err)
	_, err = s.Erase(ctx, "boss", Day, "nobody")
	wantCode(t, err, schedule.NotFound)
	f, err := s.Fleet(ctx)
	must(t, err)
	wantEqual(t, "the fleet", f, before)
	_, err = s.Erase(ctx, "z-keeper", Day, "z-keeper") // of their own
	must(t, err)
	_, err = s.Erase(ctx, "boss", Day, "z-keeper")
	wantCode(t, err, schedule.NotFound)
	_, err = s.Erase(ctx, "boss", Day, "boss")
	wantCode(t, err, schedule.Conflict)
	if _, err := s.Account(ctx, "boss"); err != nil {
		t.Errorf("the last conservator: %v", err)
	}
	rows, err := s.Audit(ctx, 1)
	must(t, err)
	if rows[0].Actor != "person 1, erased" {
		t.Errorf("whoever erased themselves is audited as %+v", rows[0])
	}
	// Entries in their name from now on, as from an old file, are under the number.
	late := measured("clock-0", minutes(50), 1)
	_, _, err = s.Append(ctx, "z-keeper", Day, late, nil)
	must(t, err)
	log, err := s.Entries(ctx, "clock-0")
	must(t, err)
	if by := log[len(log)-1].By; by != "person 1, erased" {
		t.Errorf("an entry from an old file is by %q", by)
	}
}
