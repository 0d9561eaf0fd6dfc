package daemon

import (
	"context"
	"fmt"
	"log/slog"
	"slices"
	"time"

	"github.com/google/uuid"

	"endshake/daemon/mail"
	"endshake/schedule"
)

// jobLease is how long a claimed run is left alone after its daemon died.
const jobLease = 10 * time.Minute

// Job is work that is owed once for each local date it falls on.
type Job struct {
	Name         string
	Hour, Minute int
	MonthDay     int // 0: every day
	// Letters says what mail it calls for; nil: none, it learns from the fleet.
	Letters func(*schedule.Snapshot, schedule.Date) []schedule.Letter
}

// Jobs lists the jobs: learning from the fleet at night, the monthly due-list on
// the first, and a daily look for bearings near their limit.
var Jobs = []Job{
	{Name: "learn", Hour: 3, Minute: 40},
	{Name: "due-list", Hour: 6, Minute: 0, MonthDay: 1, Letters: schedule.DueLetters},
	{Name: "limit-reminder", Hour: 6, Minute: 30, Letters: func(s *schedule.Snapshot, _ schedule.Date) []schedule.Letter {
		return schedule.LimitLetters(s)
	}},
}

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
		if (j.MonthDay == 0 || d.Day == j.MonthDay) && !d.At(j.Hour, j.Minute, zone).After(now) {
			out = append(out, d)
		}
	}
	return out
}

// runBook is the part of the store that keeps which job is done for which date.
type runBook interface {
	LastRun(ctx context.Context, job string) (schedule.Date, bool, error)
	ClaimRun(ctx context.Context, job string, occ schedule.Date, owner string, now time.Time, lease time.Duration) (attempt int, ok bool, err error)
	KnownKeys(ctx context.Context, keys []string) (map[string]bool, error)
	FinishRun(ctx context.Context, job string, occ schedule.Date, owner string, now time.Time, note string, owed []schedule.Notice, merged []schedule.Date) error
}

// runner does what the jobs owe.
type runner struct {
	book     runBook
	desk     *Desk
	compose  mail.Composer
	zone     *time.Location
	owner    string
	firstRun bool
	now      func() time.Time
	log      *slog.Logger
	done     func(job string, took time.Duration, now time.Time, err error)
	// mailless: there is no mail server, and jobs that call for mail must wait:
	// done without one they would be lost.
	mailless bool
}

// Wake does every job that is owed now. A job that fails is logged and tried
// again after its lease; it does not hold up the others.
func (r *runner) Wake(ctx context.Context) {
	for _, j := range Jobs {
		if r.mailless && j.Letters != nil {
			continue
		}
		now := r.now()
		did, err := r.run(ctx, j, now)
		if err != nil {
			r.log.Error("job failed", "job", j.Name, "error", err)
		}
		if did || err != nil {
			r.done(j.Name, r.now().Sub(now), now, err)
		}
	}
}

// run does the latest owed occurrence; earlier ones, missed while nothing ran,
// are merged into it.
func (r *runner) run(ctx context.Context, j Job, now time.Time) (bool, error) {
	last, known, err := r.book.LastRun(ctx, j.Name)
	if err != nil {
		return false, err
	}
	owed := j.Occurrences(last, now, r.zone)
	if len(owed) == 0 {
		return false, nil
	}
	occ, merged := owed[len(owed)-1], owed[:len(owed)-1]
	if !known {
		merged = nil
	}
	attempt, ok, err := r.book.ClaimRun(ctx, j.Name, occ, r.owner, now, jobLease)
	if err != nil || !ok {
		return false, err
	}
	if j.Letters == nil { // also before the first start: there is a log to learn from
		note, err := r.teach(ctx)
		if err != nil {
			return false, err
		}
		return true, r.book.FinishRun(ctx, j.Name, occ, r.owner, now, note, nil, merged)
	}
	if !known && !r.firstRun {
		return true, r.book.FinishRun(ctx, j.Name, occ, r.owner, now, "fell before the first start", nil, nil)
	}
	// The letters must speak of now, also after a night in which nothing ran.
	if _, err := r.desk.Follow(ctx); err != nil {
		return false, err
	}
	r.desk.Reassess(ctx)
	notices, err := r.notices(ctx, j, occ, now)
	if err != nil {
		return false, err
	}
	note := fmt.Sprintf("%d notices", len(notices))
	if attempt > 1 {
		note += fmt.Sprintf(", attempt %d", attempt)
	}
	r.log.Info("job done", "job", j.Name, "occurrence", occ.String(), "notices", len(notices), "merged", len(merged))
	return true, r.book.FinishRun(ctx, j.Name, occ, r.owner, now, note, notices, merged)
}

// notices composes the letters of a job from one snapshot, but for those that
// are owed already or made needless by one that was.
func (r *runner) notices(ctx context.Context, j Job, occ schedule.Date, now time.Time) ([]schedule.Notice, error) {
	letters := j.Letters(r.desk.Snapshot(), occ)
	var keys []string
	for _, l := range letters {
		keys = append(append(keys, l.Key), l.Unless...)
	}
	known, err := r.book.KnownKeys(ctx, keys)
	if err != nil {
		return nil, err
	}
	var out []schedule.Notice
	for _, l := range letters {
		if known[l.Key] || slices.ContainsFunc(l.Unless, func(k string) bool { return known[k] }) {
			continue
		}
		id, err := uuid.NewV7()
		if err != nil {
			return nil, fmt.Errorf("compose for %s: %w", l.Person.Slug, err)
		}
		n, err := r.compose.Compose(l, id.String(), now)
		if err != nil {
			// One letter that cannot be written must not hold up the others, and
			// the mail room must show it.
			r.log.Error("letter not composed", "person", l.Person.Slug, "kind", l.Kind, "error", err)
			n = mail.Unwritable(l, id.String(), now, err)
		}
		out = append(out, n)
	}
	return out, nil
}
