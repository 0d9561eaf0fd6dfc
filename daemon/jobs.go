package daemon

import (
	"cmp"
	"context"
	"fmt"
	"log/slog"
	"time"

	"endshake/db/failpoint"
	"endshake/schedule"
)

// jobLease is how long a claimed run is left alone after its daemon died.
const jobLease = 10 * time.Minute

// Job is work that is owed once for each local date.
type Job struct {
	Name         string
	Hour, Minute int
	do           func(*runner, context.Context) (note string, err error)
	lease        time.Duration // zero: jobLease
}

// Jobs lists the jobs: at night, learning from the fleet and a look at whether the
// audit still fits together, and then a backup. Letters are no job: what is owed of them is worked out
// anew at each wake.
var Jobs = []Job{
	{Name: "learn", Hour: 3, Minute: 40, do: (*runner).night},
	{Name: auditJob, Hour: 4, Minute: 10, do: (*runner).checkAudit},
	{Name: backupJob, Hour: 4, Minute: 40, do: (*runner).backup, lease: backupLease},
}

// backupLease leaves a large database time to be copied; one that failed is tried
// again after it.
const backupLease = 2 * time.Hour

// auditJob is the job of looking at the audit.
const auditJob = "audit"

// longestGap bounds how far back missed occurrences are looked for.
const longestGap = 3 * 366

// Occurrences gives the local dates on which a job fell due after a date and
// no later than now, in order. A time of day that a change of clocks leaves
// out falls due after the gap; one that comes twice is one date all the same.
func (j Job) Occurrences(after schedule.Date, now time.Time, zone *time.Location) []schedule.Date {
	today := schedule.DateOf(now, zone)
	if far := today.Add(-longestGap); after.IsZero() || after.Before(far) {
		after = far
	}
	var out []schedule.Date
	for d := after.Add(1); !d.After(today); d = d.Add(1) {
		if !d.At(j.Hour, j.Minute, zone).After(now) {
			out = append(out, d)
		}
	}
	return out
}

// runBook is the part of the store that keeps which job is done for which date.
type runBook interface {
	LastRun(ctx context.Context, job string, now time.Time) (schedule.Date, bool, error)
	ClaimRun(ctx context.Context, job string, occ schedule.Date, owner string, now time.Time, lease time.Duration) (attempt int, ok bool, err error)
	FinishRun(ctx context.Context, job string, occ schedule.Date, owner string, now time.Time, note string, owed []schedule.Notice, merged []schedule.Date) error
}

// runner does what is owed: the jobs, and then the letters.
type runner struct {
	book    runBook
	desk    *Desk
	letters *letterWriter // nil: there is no mail server, and no letter is written
	zone    *time.Location
	owner   string
	now     func() time.Time
	log     *slog.Logger
	done    func(job string, took time.Duration, now time.Time, err error)
	// empty empties the bodies of mail that are older than they are kept; nil: it
	// is not done.
	empty   func(ctx context.Context, now time.Time) (inward, notices int, err error)
	audit   auditor  // nil: it is not looked at
	backups *backups // nil: none is made
	// doubt is why the time is not to be gone by; nil or empty: it is.
	doubt func() string
}

// auditor goes through the audit, and keeps what it found.
type auditor interface {
	CheckAudit(ctx context.Context, now time.Time) (schedule.AuditCheck, error)
	KeepAuditCheck(ctx context.Context, c schedule.AuditCheck) error
}

// Wake does every job that is owed now but that of the backup, and owes the letters
// of now. What fails is logged and tried again, a job after its lease and letters at
// the next wake; it does not hold up the others.
func (r *runner) Wake(ctx context.Context) {
	for _, j := range Jobs {
		if j.Name == auditJob && r.audit == nil || j.Name == backupJob {
			continue
		}
		r.timed(j.Name, func(now time.Time) (bool, error) { return r.run(ctx, j, now) })
	}
	if r.letters != nil {
		r.timed(LettersJob, func(now time.Time) (bool, error) { return true, r.letters.write(ctx, now) })
	}
}

// backUp makes the backup that is owed, beside all else: its disk may take long, or
// never answer.
func (r *runner) backUp(ctx context.Context) {
	for _, j := range Jobs {
		if j.Name == backupJob {
			r.timed(j.Name, func(now time.Time) (bool, error) { return r.run(ctx, j, now) })
		}
	}
	r.backups.look(ctx, r.now())
}

// timed does something, and tells how it went where it did anything.
func (r *runner) timed(name string, do func(now time.Time) (did bool, err error)) {
	if r.doubt != nil && r.doubt() != "" { // it may be doubted since the job before
		return
	}
	now := r.now()
	did, err := do(now)
	if err != nil {
		r.log.Error("job failed", "job", name, "error", err)
	}
	if did || err != nil {
		r.done(name, r.now().Sub(now), now, err)
	}
}

// run does the latest owed occurrence; earlier ones, missed while nothing ran,
// are merged into it.
func (r *runner) run(ctx context.Context, j Job, now time.Time) (bool, error) {
	last, known, err := r.book.LastRun(ctx, j.Name, now)
	if err != nil {
		return false, err
	}
	owed := j.Occurrences(last, now, r.zone)
	if len(owed) == 0 {
		return false, nil
	}
	failpoint.Hit("K10") // what is owed is known, and nothing kept of it
	occ, merged := owed[len(owed)-1], owed[:len(owed)-1]
	if !known {
		merged = nil
	}
	attempt, ok, err := r.book.ClaimRun(ctx, j.Name, occ, r.owner, now, cmp.Or(j.lease, jobLease))
	if err != nil || !ok {
		return false, err
	}
	failpoint.Hit("K12") // claimed, and not begun
	note, err := j.do(r, ctx)
	if err == nil {
		err = failpoint.Fail("K13") // done, and not kept as done
	}
	if err != nil {
		return false, err
	}
	if attempt > 1 {
		note += fmt.Sprintf(", attempt %d", attempt)
	}
	return true, r.book.FinishRun(ctx, j.Name, occ, r.owner, now, note, nil, merged)
}

// backup makes the copy of the night.
func (r *runner) backup(ctx context.Context) (note string, err error) {
	return r.backups.make(ctx, r.now)
}

// checkAudit looks whether every row of the audit fits those before it. One that
// does not is no failure of the job, which nothing would mend: the log, the page of
// the audit and the metrics say it until somebody has looked.
func (r *runner) checkAudit(ctx context.Context) (note string, err error) {
	c, err := r.audit.CheckAudit(ctx, r.now())
	if err != nil {
		return "", err
	}
	if err := r.audit.KeepAuditCheck(ctx, c); err != nil {
		return "", err
	}
	if !c.Sound() {
		r.log.Error("the audit was changed beside this service: compare it with a backup", "row", c.Broken, "why", c.Why, "rows before it", c.Rows)
		return fmt.Sprintf("row %d does not fit: %s", c.Broken, c.Why), nil
	}
	r.log.Info("the audit fits together", "rows", c.Rows, "emptied", c.Emptied, "last", c.Head)
	return fmt.Sprintf("%d rows fit", c.Rows), nil
}
