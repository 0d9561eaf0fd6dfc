package db

import (
	"context"
	"database/sql"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"endshake/db/failpoint"
	"endshake/schedule"
)

// AppendTogether logs entries, of one clock or of several, in one transaction, all or
// none, with one audit row for each clock. An entry whose Key is stored already and
// that says the same is passed over; where it says something else that is a Conflict.
// Other errors are as for Append. None may correct another of them.
//
// check is asked with the whole logs of their clocks and with the entries that are
// new, as they will be stored: nobody else adds to those logs meanwhile. An error of
// it comes back as it is, and nothing is stored. known are logs as for AppendTo.
func (s *Store) AppendTogether(ctx context.Context, actor string, now time.Time, es []schedule.Entry, known map[string][]schedule.Entry,
	check func(logs map[string][]schedule.Entry, fresh []schedule.Entry) error) (stored []schedule.Entry, err error) {
	ready, clocks := make([]schedule.Entry, len(es)), map[string]int{}
	for i, e := range es {
		if ready[i], err = prepare(now, e); err != nil {
			return nil, err
		}
		clocks[e.Clock]++
	}
	slugs, write := slices.Sorted(maps.Keys(clocks)), s.writeKeyed
	if slices.ContainsFunc(ready, func(e schedule.Entry) bool { return e.Key == "" }) {
		write = s.write
	}
	err = write(ctx, "log entries together for "+fewSlugs(slugs), func(tx *sql.Tx) error {
		there, err := s.lockClocks(ctx, tx, slugs)
		if err != nil {
			return err
		}
		for _, slug := range slugs {
			if !there[slug] {
				return refuse(schedule.NotFound, "clock", "there is no clock %q: its short name stands at the end of the address of its page, and in what endshake fleet print prints", slug)
			}
		}
		fresh, err := withoutKnown(ctx, tx, ready)
		if err != nil {
			return err
		}
		if stored = fresh; len(fresh) == 0 {
			return nil
		}
		if err := checkTogether(ctx, tx, slugs, known, fresh, check); err != nil {
			return err
		}
		failpoint.Hit("K32") // all are found right, and none is stored
		if _, err := s.insertEntries(ctx, tx, fresh); err != nil {
			return err
		}
		failpoint.Hit("K32 stored") // and not in the audit
		err = s.dialect.auditTogether(ctx, tx, now, actor, slugs, fresh)
		failpoint.Hit("K32 open") // in the audit as well, and not committed
		return err
	})
	if s.dialect.fault(err) == uniqueFault {
		err = refuse(schedule.Conflict, "", "nothing was logged: an entry has an ID or a key that is taken, or corrects one that was corrected already")
	}
	if err != nil {
		return nil, err
	}
	failpoint.Hit("K32 kept") // committed, and not told
	return stored, nil
}

// checkTogether asks check, and sees that what is corrected is there.
func checkTogether(ctx context.Context, tx *sql.Tx, slugs []string, known map[string][]schedule.Entry, fresh []schedule.Entry,
	check func(map[string][]schedule.Entry, []schedule.Entry) error) (err error) {
	logs := make(map[string][]schedule.Entry, len(slugs))
	for _, slug := range slugs {
		if logs[slug], err = logNow(ctx, tx, slug, known[slug]); err != nil {
			return err
		}
	}
	if err := check(logs, fresh); err != nil {
		return refusal{err}
	}
	for _, e := range fresh {
		if err := checkReplaces(logs[e.Clock], e); err != nil {
			return err
		}
	}
	return nil
}

// auditTogether adds a row for each clock that has new entries.
func (d dialect) auditTogether(ctx context.Context, tx *sql.Tx, now time.Time, actor string, slugs []string, fresh []schedule.Entry) error {
	n := map[string]int{}
	for i := range fresh {
		n[fresh[i].Clock]++
	}
	for _, slug := range slugs {
		if n[slug] == 0 {
			continue
		}
		if err := d.audit(ctx, tx, now, actor, AuditRow{Action: actTogether, Subject: ofClock + slug, Detail: schedule.Count(n[slug], "entry", "entries")}); err != nil {
			return err
		}
	}
	return nil
}

// fewSlugs names the clocks of an error.
func fewSlugs(slugs []string) string {
	if len(slugs) > 3 {
		return fmt.Sprintf("%s and %d more", strings.Join(slugs[:3], ", "), len(slugs)-3)
	}
	return strings.Join(slugs, ", ")
}
