package main

import (
	"context"
	"database/sql"
	"slices"
	"strings"
	"time"

	"endshake/db"
	"endshake/schedule"
)

// jobs are the runs of today that are done, by job.
func (r *killRun) jobs(store *db.Store) map[string]int {
	runs, err := store.Runs(context.Background(), 100)
	if err != nil {
		r.errorf("%v", err)
	}
	done := map[string]int{}
	for _, run := range runs {
		if run.Occurrence == schedule.DateOf(r.stage.noon, time.UTC) && run.State == db.RunDone {
			done[run.Job]++
		}
	}
	return done
}

// half sees that whatever is in the database is there whole, right after a death.
func (r *killRun) half() {
	ctx := context.Background()
	store := r.open()
	defer store.Close()
	log, err := store.Entries(ctx, "moot-hall")
	if err != nil {
		r.errorf("%v", err)
	}
	rows, err := store.Audit(ctx, 10000)
	if err != nil {
		r.errorf("%v", err)
	}
	audited := map[string]int{}
	for _, row := range rows {
		if row.Action == "logged" {
			audited[row.Detail]++
		}
	}
	there := map[string]int{}
	for _, e := range log {
		there[e.Note]++
		if n := audited[string(e.Kind)+" "+e.ID]; n != 1 {
			r.errorf("the entry %q stands in the audit %d times, want once", e.Note, n)
		}
	}
	if len(audited) != len(log) {
		r.errorf("%d entries, and %d of them in the audit", len(log), len(audited))
	}
	if c, err := store.CheckAudit(ctx, r.at); err != nil || !c.Sound() {
		r.errorf("the audit does not fit together: %+v, %v", c, err)
	}
	for key := range r.acked {
		if strings.HasPrefix(key, "note") && there[key] != 1 {
			r.errorf("%q was acknowledged, and is there %d times", key, there[key])
		}
	}
	if n := len(r.notices(schedule.DueList)) - letters; n != 0 && n != readers {
		r.errorf("%d of %d due-lists are owed: they are owed in one transaction", n, readers)
	}
	if n, err := r.orphans(); err != nil || n != 0 {
		r.errorf("%d tokens are of letters that are not there, %v", n, err)
	}
	r.tally.audit = len(rows)
}

// orphans counts the tokens of letters that are not there.
func (r *killRun) orphans() (n int, err error) {
	engine, address := "pgx", r.database
	if !strings.Contains(address, "://") {
		if address, err = db.FileOf(address); err != nil {
			return 0, err
		}
		engine = "sqlite"
	}
	d, err := sql.Open(engine, address)
	if err != nil {
		return 0, err
	}
	defer d.Close()
	err = d.QueryRow(`SELECT count(*) FROM pass WHERE notice <> '' AND notice NOT IN (SELECT id FROM notice)`).Scan(&n)
	return n, err
}

// check compares all that was acknowledged, and all that arrived, with what is kept
// when the work is finished.
func (r *killRun) check() {
	r.half()
	store := r.open()
	defer store.Close()
	r.checkReplies(store)
	r.checkLetters(store)
	done := r.jobs(store)
	for _, job := range []string{"learn", "audit"} {
		if done[job] != 1 {
			r.errorf("the job %s of today was done %d times, want once", job, done[job])
		}
		r.tally.jobs += done[job]
	}
	runs, err := store.Runs(context.Background(), 100)
	if err != nil || slices.ContainsFunc(runs, func(run db.Run) bool { return run.State == db.RunRunning }) {
		r.errorf("a run goes on: %+v, %v", runs, err)
	}
}

// checkReplies: each reply is there once, and came to one entry.
func (r *killRun) checkReplies(store *db.Store) {
	ctx := context.Background()
	list, err := store.Inwards(ctx, 1000)
	if err != nil {
		r.errorf("%v", err)
	}
	times := map[string]int{}
	for _, m := range list {
		times[m.To]++
		if m.State != schedule.Logged {
			r.errorf("a reply is %s: %s", m.State, m.Why)
		}
	}
	for _, token := range r.stage.tokens {
		if n := times["answers+"+token+"@clocks.example.org"]; n != 1 {
			r.errorf("a reply is there %d times, want once", n)
		}
	}
	log, err := store.Entries(ctx, "moot-hall")
	if err != nil {
		r.errorf("%v", err)
	}
	entries := map[string]int{}
	for _, e := range log {
		if e.Source == "reply" {
			entries[e.Key]++
		}
	}
	if len(entries) != replies {
		r.errorf("%d replies came to %d entries", replies, len(entries))
	}
	if len(log) != forms+replies {
		r.errorf("the log has %d entries, want %d", len(log), forms+replies)
	}
}

// checkLetters: each letter came once, but where nobody can know.
func (r *killRun) checkLetters(store *db.Store) {
	ctx := context.Background()
	list, err := store.Notices(ctx, 1000)
	if err != nil {
		r.errorf("%v", err)
	}
	arrived, readersGot := r.arrived(), map[string]int{}
	r.tally.letters = len(list)
	for _, n := range list {
		got := arrived[n.MessageID]
		delete(arrived, n.MessageID)
		switch {
		case got > 2:
			r.errorf("%s to %s came %d times", n.Kind, n.To, got)
		case got == 2:
			r.tally.twice++
		case got == 0 && n.State != schedule.Parked:
			r.errorf("%s to %s is %s, and never came", n.Kind, n.To, n.State)
		}
		switch n.State {
		case schedule.Sent:
		case schedule.Parked:
			r.tally.parked++
			r.checkParked(store, n)
		default:
			r.errorf("%s to %s is %s in the end: %s", n.Kind, n.To, n.State, n.Reply)
		}
		if n.Kind == schedule.DueList && !strings.HasPrefix(n.MessageID, stageNotice) {
			readersGot[n.To]++
		}
	}
	if len(arrived) > 0 {
		r.errorf("letters came that nobody owes: %v", arrived)
	}
	if r.tally.twice > r.twice || r.surely && r.tally.twice != r.twice {
		r.errorf("%d letters came twice, want %d", r.tally.twice, r.twice)
	}
	if r.tally.parked != r.parked {
		r.errorf("%d letters are parked, want %d", r.tally.parked, r.parked)
	}
	for to, n := range readersGot {
		if n != 1 {
			r.errorf("%s is owed %d due-lists", to, n)
		}
	}
	if n := len(r.notices(schedule.NewPassword)); r.name == "K33" && n != 1 {
		r.errorf("%d letters with a link to a new password, want one", n)
	}
}

// checkParked: a letter that is parked is shown to a person, in words that claim
// neither that it came nor that it did not.
func (r *killRun) checkParked(store *db.Store, n schedule.Notice) {
	if n.Uncertain != 2 || !strings.HasPrefix(n.Reply, "perhaps ") || !strings.Contains(n.Reply, "ask the reader") {
		r.errorf("it is parked with %d uncertain: %q; want 2, and words that doubt", n.Uncertain, n.Reply)
	}
	trouble, err := store.Trouble(context.Background(), r.stage.noon.Add(-48*time.Hour), r.at.Add(time.Hour)) // what the weekly letter tells
	if err != nil || !slices.ContainsFunc(trouble.Notices, func(m schedule.Notice) bool { return m.ID == n.ID && m.State == schedule.Parked }) {
		r.errorf("the weekly letter does not tell of it: %+v, %v", trouble.Notices, err)
	}
	steps, err := store.Steps(context.Background(), n.ID) // what the mail room shows
	if err != nil || len(steps) == 0 || steps[len(steps)-1].What != schedule.StepParked || steps[len(steps)-1].Words != n.Reply {
		r.errorf("the mail room shows %+v, %v", steps, err)
	}
}
