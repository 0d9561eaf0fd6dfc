package db

import (
	"context"
	"database/sql"
	"fmt"
	"time"

	"endshake/schedule"
)

// AppendTogether logs entries of one clock in one transaction, all or none, with
// one audit row. An entry whose Key is stored already and that says the same is
// passed over; where it says something else that is a Conflict. Other errors are
// as for Append. None may correct another of them.
//
// check is asked with the whole log of the clock and with the entries that are
// new, as they will be stored: nobody else adds to the log meanwhile. An error of
// it comes back as it is, and nothing is stored. known is as for AppendTo.
func (s *Store) AppendTogether(ctx context.Context, actor string, now time.Time, clock string, es, known []schedule.Entry,
	check func(log, fresh []schedule.Entry) error) (stored []schedule.Entry, err error) {
	ready := make([]schedule.Entry, len(es))
	for i, e := range es {
		if ready[i], err = prepare(now, e); err != nil {
			return nil, err
		}
		if e.Clock != clock {
			return nil, refuse(schedule.Invalid, "clock", "the entries are of several clocks: log those of %s alone", clock)
		}
	}
	err = s.write(ctx, "log entries together for "+clock, func(tx *sql.Tx) error {
		there, err := s.lockClocks(ctx, tx, []string{clock})
		if err != nil {
			return err
		}
		if !there[clock] {
			return refuse(schedule.NotFound, "clock", "there is no clock %q: its short name stands at the end of the address of its page, and in what endshake fleet print prints", clock)
		}
		fresh, err := withoutKnown(ctx, tx, ready)
		if err != nil {
			return err
		}
		stored = fresh
		if len(fresh) == 0 {
			return nil
		}
		log, err := logNow(ctx, tx, clock, known)
		if err != nil {
			return err
		}
		if err := check(log, fresh); err != nil {
			return refusal{err}
		}
		for _, e := range fresh {
			if err := checkReplaces(log, e); err != nil {
				return err
			}
		}
		if _, err := s.insertEntries(ctx, tx, fresh); err != nil {
			return err
		}
		return audit(ctx, tx, now, actor, AuditRow{Action: "logged together", Subject: "clock " + clock, Detail: fmt.Sprintf("%d entries", len(fresh))})
	})
	if s.dialect.fault(err) == uniqueFault {
		err = refuse(schedule.Conflict, "", "nothing was logged: an entry has an ID or a key that is taken, or corrects one that was corrected already")
	}
	if err != nil {
		return nil, err
	}
	return stored, nil
}
