package db

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"endshake/db/failpoint"
	"endshake/schedule"
)

// The states of a run.
const (
	RunRunning = "running" // claimed
	RunDone    = "done"    // finished
	RunMerged  = "merged"  // missed, and made good by a later occurrence
)

// Run is one occurrence of a job.
type Run struct {
	Job        string
	Occurrence schedule.Date
	State      string // running, done, merged
	Attempt    int    // claims so far
	Owner      string
	DoneAt     time.Time // zero while running
	Note       string
}

// wrongBy is how far ahead of now something was kept that was kept under a clock
// that was wrong: no two machines differ by as much. Judgement, no source.
const wrongBy = time.Hour

// LastRun gives the latest occurrence of a job that is done or merged; false
// where there is none. What is done by an instant that is still far ahead of now is
// not: it may have been a night of years to come, by a clock that was wrong.
func (s *Store) LastRun(ctx context.Context, job string, now time.Time) (schedule.Date, bool, error) {
	var d schedule.Date
	err := s.db.QueryRowContext(ctx, `SELECT occurrence FROM job_run WHERE job = $1 AND state IN ('done', 'merged') AND done_at <= $2
		ORDER BY occurrence DESC LIMIT 1`, job, micro(now.Add(wrongBy))).Scan(day{&d})
	if errors.Is(err, sql.ErrNoRows) {
		return schedule.Date{}, false, nil
	}
	if err != nil {
		return schedule.Date{}, false, fmt.Errorf("read the last run of %s: %w", job, err)
	}
	return d, true, nil
}

// firstDay is the occurrence under which it is kept when a job was first begun;
// no job falls on it.
var firstDay = schedule.Date{Year: 1970, Month: time.January, Day: 1}

// Begin keeps now as when a job was first begun, if it never was, or by a clock that
// was wrong, and gives when it was; first tells that it is now.
func (s *Store) Begin(ctx context.Context, job, owner string, now time.Time) (at time.Time, first bool, err error) {
	err = s.write(ctx, "begin "+job, func(tx *sql.Tx) error {
		first, err = touched(tx.ExecContext(ctx, `INSERT INTO job_run (job, occurrence, state, attempt, owner, done_at, note)
			VALUES ($1, $2, 'done', 1, $3, $4, 'first begun') ON CONFLICT (job, occurrence) DO UPDATE
				SET owner = excluded.owner, done_at = excluded.done_at WHERE job_run.done_at > $5`,
			job, firstDay.String(), owner, micro(now), micro(now.Add(wrongBy))))
		if err != nil {
			return err
		}
		return tx.QueryRowContext(ctx, `SELECT done_at FROM job_run WHERE job = $1 AND occurrence = $2`, job, firstDay.String()).Scan(instant{&at})
	})
	return at, first && err == nil, err
}

// ClaimRun claims an occurrence of a job for an owner until the lease is over.
// ok is false where it is done, merged, or held by somebody whose lease is not
// over; what was so by a clock that was wrong is free. attempt counts the claims,
// from 1.
func (s *Store) ClaimRun(ctx context.Context, job string, occ schedule.Date, owner string, now time.Time, lease time.Duration) (attempt int, ok bool, err error) {
	if err := checkDay("occurrence", occ); err != nil {
		return 0, false, err
	}
	err = s.write(ctx, "claim a run of "+job, func(tx *sql.Tx) error {
		attempt, ok = 0, false
		if err := s.ahead(ctx, tx); err != nil {
			return err
		}
		by := s.leaseTime(now)
		err := tx.QueryRowContext(ctx, `INSERT INTO job_run (job, occurrence, state, attempt, owner, lease_until, note)
			VALUES ($1, $2, 'running', 1, $3, $4, '')
			ON CONFLICT (job, occurrence) DO UPDATE
				SET state = 'running', owner = excluded.owner, lease_until = excluded.lease_until, done_at = NULL, note = '', attempt = job_run.attempt + 1
				WHERE job_run.state = 'running' AND (job_run.lease_until < $5 OR job_run.lease_until > $6) OR job_run.done_at > $7
			RETURNING attempt`, job, occ.String(), owner, micro(by.Add(lease)), micro(by), micro(by.Add(lease+wrongBy)), micro(now.Add(wrongBy))).Scan(&attempt)
		if errors.Is(err, sql.ErrNoRows) {
			return nil
		}
		ok = err == nil
		failpoint.Hit("K11") // the claim is stored, and not committed
		return err
	})
	return attempt, ok && err == nil, err
}

// FinishRun marks an occurrence as done, with the notices it owes and the
// missed occurrences it makes good, in one transaction; what was done by a clock
// that was wrong is forgotten in it. Where the owner does
// not hold the occurrence any more nothing is stored and the error is a
// Conflict. A notice that is owed already is left as it is; so is a missed
// occurrence that is done, or that somebody else holds.
func (s *Store) FinishRun(ctx context.Context, job string, occ schedule.Date, owner string, now time.Time, note string, owed []schedule.Notice, merged []schedule.Date) error {
	if err := checkText("note", note); err != nil {
		return err
	}
	if err := checkNotices(owed); err != nil {
		return err
	}
	for _, m := range merged {
		if err := checkDay("merged", m); err != nil {
			return err
		}
	}
	return s.write(ctx, "finish a run of "+job, func(tx *sql.Tx) error {
		ok, err := touched(tx.ExecContext(ctx, `UPDATE job_run SET state = 'done', done_at = $1, note = $2, lease_until = NULL
			WHERE job = $3 AND occurrence = $4 AND owner = $5 AND state = 'running'`, micro(now), note, job, occ.String(), owner))
		if err != nil {
			return err
		}
		if !ok {
			return refuse(schedule.Conflict, "", "the run of %s for %s is not held by %s any more: nothing of it was stored", job, occ, owner)
		}
		if _, err := tx.ExecContext(ctx, `DELETE FROM job_run WHERE job = $1 AND done_at > $2`, job, micro(now.Add(wrongBy))); err != nil {
			return err
		}
		for _, m := range merged {
			_, err := tx.ExecContext(ctx, `INSERT INTO job_run (job, occurrence, state, attempt, owner, done_at, note)
				VALUES ($1, $2, 'merged', 0, $3, $4, $5)
				ON CONFLICT (job, occurrence) DO UPDATE
					SET state = 'merged', owner = excluded.owner, done_at = excluded.done_at, note = excluded.note, lease_until = NULL
					WHERE job_run.state = 'running' AND (job_run.lease_until < $6 OR job_run.owner = excluded.owner)`,
				job, m.String(), owner, micro(now), "made good by "+occ.String(), micro(s.leaseTime(now)))
			if err != nil {
				return err
			}
		}
		_, err = oweAll(ctx, tx, now, owed)
		failpoint.Hit("K13 open") // kept as done, and not committed
		return err
	})
}

// Runs lists runs, the latest occurrence first, at most limit.
func (s *Store) Runs(ctx context.Context, limit int) ([]Run, error) {
	var all []Run
	err := each(ctx, s.db, `SELECT job, occurrence, state, attempt, owner, done_at, note FROM job_run
		ORDER BY occurrence DESC, job LIMIT $1`, []any{limit}, func(rows *sql.Rows) error {
		var r Run
		err := rows.Scan(&r.Job, day{&r.Occurrence}, &r.State, &r.Attempt, &r.Owner, instant{&r.DoneAt}, &r.Note)
		all = append(all, r)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("read the runs: %w", err)
	}
	return all, nil
}
